//! The table of computed against published values.

use crate::task::TaskError;
use crate::workspace::{Workspace, run};

/// Runs the reference checks so that they print every row.
///
/// # Errors
/// When a value lies outside its tolerance.
pub fn references(workspace: &Workspace) -> Result<(), TaskError> {
    let mut cargo = workspace.cargo(["test", "--package", "checks", "--test", "reference"]);
    run(cargo.args(["--", "--nocapture"]).env("TARTWRIGHT_TABLE", "1"))?;
    Ok(())
}
