//! The browser killed again and again while somebody types.

use crate::progress::Progress;
use crate::serve::build;
use crate::task::TaskError;
use crate::test::{browser_test, find_or_install};
use crate::workspace::{Workspace, run};

/// Kills so often, and writes down what came out.
///
/// # Errors
/// When the app does not build, there is no browser, or anything was lost.
pub fn kill(workspace: &Workspace, times: u32) -> Result<(), TaskError> {
    let progress = Progress::begin();
    build(workspace, &progress)?;
    let browser = find_or_install(&progress)?;
    progress.step("Killing");
    let measured = workspace.root.join("tests").join("measured").join("kills.tsv");
    let mut cargo = browser_test(workspace, &browser);
    cargo.args(["--ignored", "--exact", "--nocapture", "kills::killed_hundreds_of_times"]);
    run(cargo.env("TARTWRIGHT_KILLS", times.to_string()).env("TARTWRIGHT_MEASURES", &measured))?;
    println!("{}", measured.display());
    Ok(())
}
