//! The README's pictures, taken from the running app.

use crate::progress::Progress;
use crate::serve::build;
use crate::task::TaskError;
use crate::test::{browser_test, find_or_install};
use crate::workspace::{Workspace, run};

/// Takes the pictures and says where they are.
///
/// # Errors
/// When the app does not build, there is no browser, or the scenario fails.
pub fn screenshots(workspace: &Workspace) -> Result<(), TaskError> {
    let progress = Progress::begin();
    build(workspace, &progress)?;
    let browser = find_or_install(&progress)?;
    progress.step("Taking the pictures");
    let folder = workspace.root.join("app").join("screenshots");
    let mut cargo = browser_test(workspace, &browser);
    run(cargo.args(["--ignored", "--exact", "screenshots::readme"]).env("TARTWRIGHT_PICTURES", &folder))?;
    println!("{}", folder.display());
    Ok(())
}
