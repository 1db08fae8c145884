//! Where things are, and how commands are run there.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus, Stdio};
use std::{env, fmt, io};

/// The target the page is built for.
pub const WASM: &str = "wasm32-unknown-unknown";

/// The checkout and its build folder.
#[derive(Debug, Clone)]
pub struct Workspace {
    /// The folder that holds the workspace's Cargo.toml.
    pub root: PathBuf,
    /// Cargo's build folder.
    pub target: PathBuf,
}

/// Why a command that a task needs gave no result.
#[derive(Debug)]
pub enum CommandError {
    /// It could not be started.
    NotStarted(String, io::Error),
    /// It ran and said no.
    Failed(String, ExitStatus),
}

impl fmt::Display for CommandError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotStarted(command, error) => write!(f, "`{command}` could not be started: {error}"),
            Self::Failed(command, status) => write!(f, "`{command}` failed ({status})"),
        }
    }
}

impl Workspace {
    /// The workspace cargo runs this program from.
    pub fn find() -> Self {
        // What cargo says now comes before what it said when this was built: two checkouts may share one
        // build folder, and then this program too.
        let here = env::var_os("CARGO_MANIFEST_DIR").unwrap_or_else(|| env!("CARGO_MANIFEST_DIR").into());
        let here = Path::new(&here);
        let root = here.ancestors().nth(2).unwrap_or(here).to_owned();
        let target = env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from);
        // A relative build folder is meant from where cargo was called.
        let target = std::path::absolute(&target).unwrap_or(target);
        Self { root, target }
    }

    /// Where the finished page goes.
    pub fn dist(&self) -> PathBuf {
        self.target.join("dist")
    }

    /// A cargo command in this workspace.
    pub fn cargo<S: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = S>) -> Command {
        let mut command = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
        command.current_dir(&self.root).args(arguments);
        command
    }

    /// A cargo command that builds for the page, with flags that make it small and keep this
    /// machine out of it.
    pub fn cargo_wasm<S: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = S>) -> Command {
        let mut command = self.cargo(arguments);
        command.env("CARGO_ENCODED_RUSTFLAGS", self.wasm_flags().join("\u{1f}"));
        command
    }

    fn wasm_flags(&self) -> Vec<String> {
        // Panic messages name source files. Where a contributor keeps them must not change a byte.
        let remap = |from: &Path, to| format!("--remap-path-prefix={}={to}", from.display());
        vec![
            remap(&self.cargo_home().join("registry/src"), "crates"),
            remap(&self.root, "."),
            // Leptos then shares one piece of code between views of all shapes instead of making one for
            // each: a tenth less to download, for a few allocations more.
            "--cfg=erase_components".to_owned(),
        ]
    }

    /// A cargo command for the page itself: as [`Workspace::cargo_wasm`], with the standard library built
    /// together with it, for size, and with panics that stop at once. Nobody could read a panic's words on a
    /// phone; they weigh 10 kB. These flags are unstable, which is why the toolchain file names one version.
    pub fn cargo_page<S: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = S>) -> Command {
        let mut command = self.cargo_wasm(arguments);
        let library = self.sysroot().join("lib/rustlib/src/rust");
        let flags = self.wasm_flags().into_iter().chain([
            format!("--remap-path-prefix={}=std", library.display()),
            "-Zunstable-options".to_owned(),
            "-Cpanic=immediate-abort".to_owned(),
            // Names of variants are all that is ever written that way.
            "-Zfmt-debug=shallow".to_owned(),
        ]);
        command
            .args(["--target", WASM, "-Zbuild-std=std,panic_abort", "-Zbuild-std-features=optimize_for_size"])
            .env("CARGO_ENCODED_RUSTFLAGS", flags.collect::<Vec<_>>().join("\u{1f}"))
            .env("RUSTC_BOOTSTRAP", "1");
        command
    }

    /// Folders of this machine, none of which a built file may name.
    pub fn places(&self) -> Vec<PathBuf> {
        let own = [self.root.clone(), self.target.clone(), self.cargo_home(), self.sysroot()];
        let mut places: Vec<PathBuf> = own.into_iter().chain(env::home_dir()).collect();
        // A checkout may be reached by a link.
        places.extend(places.clone().iter().filter_map(|place| place.canonicalize().ok()));
        places.retain(|place| place.is_absolute() && place.components().count() > 1);
        places
    }

    /// Where the toolchain keeps its libraries.
    fn sysroot(&self) -> PathBuf {
        let mut rustc = Command::new("rustc");
        rustc.current_dir(&self.root).args(["--print", "sysroot"]);
        output(&mut rustc).map_or_else(|_| PathBuf::new(), |path| PathBuf::from(path.trim()))
    }

    /// Where cargo keeps the crates it fetched.
    pub fn cargo_home(&self) -> PathBuf {
        env::var_os("CARGO_HOME").map_or_else(
            || env::home_dir().unwrap_or_else(|| self.root.clone()).join(".cargo"),
            PathBuf::from,
        )
    }
}

/// Runs a command to its end, its output passing through.
///
/// # Errors
/// When it cannot be started or fails.
pub fn run(command: &mut Command) -> Result<(), CommandError> {
    let status = command.status().map_err(|error| CommandError::NotStarted(describe(command), error))?;
    if status.success() { Ok(()) } else { Err(CommandError::Failed(describe(command), status)) }
}

/// Runs a command to its end and gives what it printed.
///
/// # Errors
/// When it cannot be started or fails.
pub fn output(command: &mut Command) -> Result<String, CommandError> {
    let output = command
        .stderr(Stdio::inherit())
        .output()
        .map_err(|error| CommandError::NotStarted(describe(command), error))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        Err(CommandError::Failed(describe(command), output.status))
    }
}

fn describe(command: &Command) -> String {
    let words = std::iter::once(command.get_program()).chain(command.get_args());
    words.map(|word| word.to_string_lossy()).collect::<Vec<_>>().join(" ")
}
