//! The check data: rebuilding them with other people's libraries, and the table of computed against
//! published values.
//!
//! Scripts are `tests/reference/*/*.py`. Each writes its data file beside itself, or among the
//! tables above it, with the versions it used. A script whose name ends in `_ratio` writes none:
//! it prints how fast the program is beside a library, and runs after the others.

use std::env::consts::EXE_SUFFIX;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::{fs, io};

use crate::progress::Progress;
use crate::task::TaskError;
use crate::workspace::{Workspace, output, run};

/// Runs the reference checks so that they print every row.
///
/// # Errors
/// When a value lies outside its tolerance.
pub fn table(workspace: &Workspace) -> Result<(), TaskError> {
    let mut cargo = workspace.cargo(["test", "--package", "checks", "--test", "reference"]);
    run(cargo.args(["--", "--nocapture"]).env("TARTWRIGHT_TABLE", "1"))?;
    Ok(())
}

/// Runs every script in a new Python environment below the build folder, and says which files changed.
///
/// # Errors
/// When Python is missing, a library cannot be installed, or a script fails.
pub fn rebuild(workspace: &Workspace) -> Result<(), TaskError> {
    let progress = Progress::begin();
    let folder = workspace.root.join("tests/reference");

    progress.step("Making a Python environment");
    let python = environment(workspace, true)?;
    for script in scripts(&folder).map_err(TaskError::ScriptsUnreadable)? {
        progress.step(&script.strip_prefix(&workspace.root).unwrap_or(&script).display().to_string());
        run(&mut python_script(workspace, &python, &script))?;
    }

    progress.step("What changed");
    let changed = output(
        Command::new("git").current_dir(&workspace.root).args(["status", "--short", "--"]).arg(&folder),
    )?;
    println!("{}", if changed.is_empty() { "nothing" } else { changed.trim_end() });
    Ok(())
}

/// Runs the scripts that only measure; each adds rows to `file`. All of them get their turn.
///
/// # Errors
/// When Python is missing, a library cannot be installed, or a script failed.
pub fn measure(workspace: &Workspace, file: &Path) -> Result<(), TaskError> {
    let python = environment(workspace, false)?;
    let found = scripts(&workspace.root.join("tests/reference")).map_err(TaskError::ScriptsUnreadable)?;
    let mut outcome = Ok(());
    for script in found.iter().filter(|script| measures(script)) {
        let mut command = python_script(workspace, &python, script);
        if let Err(error) = run(command.env("TARTWRIGHT_MEASURES", file)) {
            outcome = outcome.and(Err(error.into()));
        }
    }
    outcome
}

/// The Python of an environment with the libraries; a new one, or the one that is there.
fn environment(workspace: &Workspace, anew: bool) -> Result<PathBuf, TaskError> {
    let environment = workspace.target.join("references");
    let programs = environment.join(if cfg!(windows) { "Scripts" } else { "bin" });
    let python = programs.join(format!("python{EXE_SUFFIX}"));
    if anew || !python.exists() {
        let system = if cfg!(windows) { "python" } else { "python3" };
        run(Command::new(system).args(["-m", "venv", "--clear"]).arg(&environment))?;
    }
    let install = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--requirement"];
    run(Command::new(&python).args(install).arg(workspace.root.join("tests/reference/requirements.txt")))?;
    Ok(python)
}

fn python_script(workspace: &Workspace, python: &Path, script: &Path) -> Command {
    let mut command = Command::new(python);
    // A script may import its neighbour, and may build a program to compare with.
    command
        .arg("-B")
        .arg(script)
        .current_dir(&workspace.root)
        .env("CARGO", workspace.cargo([""; 0]).get_program());
    command
}

/// Every script one folder down, by name, those that only measure last.
fn scripts(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let below = entry?.path();
        if below.is_dir() {
            for entry in fs::read_dir(below)? {
                let path = entry?.path();
                if path.extension().is_some_and(|extension| extension == "py") {
                    found.push(path);
                }
            }
        }
    }
    found.sort_by_key(|path| (measures(path), path.clone()));
    Ok(found)
}

fn measures(script: &Path) -> bool {
    script.file_stem().is_some_and(|stem| stem.to_string_lossy().ends_with("_ratio"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn data_come_before_measurements() {
        let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference");
        let found = scripts(&here).expect("the scripts");
        let first_measure = found.iter().position(|path| measures(path)).expect("one that measures");
        assert!(first_measure > 0 && found[first_measure..].iter().all(|path| measures(path)), "{found:?}");
        assert!(found.iter().any(|path| path.ends_with("phreeqc/acid_to_ph.py")), "{found:?}");
    }
}
