//! From Rust to what a browser loads: a wasm module and the script that starts it.

use std::path::PathBuf;
use std::{fmt, fs, io};

use wasm_bindgen_cli_support::Bindgen;

use crate::wasm::{WasmError, shipped, without_classes};
use crate::workspace::{CommandError, WASM, Workspace, output, run};

/// Which program of the `app` package to build.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Program {
    /// The app itself.
    App,
    /// An almost empty page: what the framework alone weighs.
    Floor,
    /// A page that times the plan.
    PlanClock,
}

/// A program ready for the browser.
#[derive(Debug, Clone)]
pub struct Compiled {
    /// The module script; it fetches `app_bg.wasm` from beside itself unless told otherwise.
    pub script: String,
    /// The module.
    pub wasm: Vec<u8>,
    /// What its own functions were called before their names were taken off, in their order.
    pub names: Vec<String>,
}

/// Why no program came out.
#[derive(Debug)]
pub enum CompileError {
    /// Cargo or rustup failed.
    Command(CommandError),
    /// Cargo's result is not where it should be.
    Unreadable(PathBuf, io::Error),
    /// The wasm-bindgen step failed, for the reason it gave.
    Bindgen(String),
    /// A dependency brings scripts of its own, which the list of files does not know.
    Snippets(Vec<String>),
    /// The wasm-bindgen step wrote no proper module.
    Wasm(WasmError),
}

impl fmt::Display for CompileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Command(error) => error.fmt(f),
            Self::Unreadable(path, error) => write!(f, "{} cannot be read: {error}", path.display()),
            Self::Bindgen(reason) => write!(f, "the wasm-bindgen step failed: {reason}"),
            Self::Snippets(names) => {
                write!(f, "these dependencies bring scripts of their own: {}", names.join(", "))
            }
            Self::Wasm(error) => error.fmt(f),
        }
    }
}

impl From<CommandError> for CompileError {
    fn from(error: CommandError) -> Self {
        Self::Command(error)
    }
}

/// Makes sure that rustc can build for the page: the target, and the library's sources.
///
/// # Errors
/// When one is missing and rustup cannot add it.
pub fn ensure_target(workspace: &Workspace) -> Result<(), CommandError> {
    let rustup = |arguments: &[&str]| {
        let mut command = std::process::Command::new("rustup");
        command.current_dir(&workspace.root).args(arguments);
        command
    };
    for (kind, name) in [("target", WASM), ("component", "rust-src")] {
        let installed = output(&mut rustup(&[kind, "list", "--installed"]))?;
        if !installed.lines().any(|line| line.trim() == name) {
            run(&mut rustup(&[kind, "add", name]))?;
        }
    }
    Ok(())
}

/// How the names of the classes begin that the framework offers to scripts for streaming answers of a server.
/// There is neither, and they would be 4 kB of the download.
const STREAMS: &str = "IntoUnderlying";

/// Builds a program in release mode and prepares it for the browser.
///
/// # Errors
/// When cargo or the wasm-bindgen step fails, or a dependency brings scripts of its own.
pub fn compile(workspace: &Workspace, program: Program) -> Result<Compiled, CompileError> {
    let (choice, built) = match program {
        Program::App => (["--bin", "app"], "app.wasm"),
        Program::Floor => (["--example", "floor"], "examples/floor.wasm"),
        Program::PlanClock => (["--example", "plan_clock"], "examples/plan_clock.wasm"),
    };
    run(workspace.cargo_page(["build", "--package", "app", "--release", "--locked"]).args(choice))?;

    let path = workspace.target.join(WASM).join("release").join(built);
    let bytes = fs::read(&path).map_err(|error| CompileError::Unreadable(path, error))?;
    let bytes = without_classes(&bytes, STREAMS).map_err(CompileError::Wasm)?;
    let bindgen = |error: &dyn fmt::Debug| CompileError::Bindgen(format!("{error:?}"));
    let mut output = Bindgen::new()
        .input_bytes("app", bytes)
        .web(true)
        .map_err(|error| bindgen(&error))?
        .omit_default_module_path(false)
        .typescript(false)
        .remove_producers_section(true)
        .generate_output()
        .map_err(|error| bindgen(&error))?;
    let inline = output.snippets().iter().filter(|(_, scripts)| !scripts.is_empty());
    let snippets: Vec<String> =
        inline.map(|(name, _)| name).chain(output.local_modules().keys()).cloned().collect();
    if !snippets.is_empty() {
        return Err(CompileError::Snippets(snippets));
    }
    let script = output.js().to_owned();
    let (wasm, script, names) =
        shipped(&output.wasm_mut().emit_wasm(), &script).map_err(CompileError::Wasm)?;
    Ok(Compiled { script, wasm, names })
}
