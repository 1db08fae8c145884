//! What only a browser can tell; the browser tests know how to take it.

use std::fs;
use std::path::Path;

use xtask::browser::Browser;

use super::table::{self, Row};
use crate::task::TaskError;
use crate::test::browser_test;
use crate::workspace::{Workspace, run};

/// Runs one of the browser tests that measure, against the page in `folder`.
///
/// # Errors
/// When the browser cannot be driven or the page does not do its work in it.
pub fn measure(
    workspace: &Workspace,
    browser: &Browser,
    folder: &Path,
    test: &str,
) -> Result<Vec<Row>, TaskError> {
    let file = workspace.target.join("measures.tsv");
    let _ = fs::remove_file(&file);
    let mut cargo = browser_test(workspace, browser);
    cargo.env("TARTWRIGHT_DIST", folder).env("TARTWRIGHT_MEASURES", &file);
    run(cargo.args(["--ignored", "--exact", test]))?;
    Ok(table::read(&file)?)
}
