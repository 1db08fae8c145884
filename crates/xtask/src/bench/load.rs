//! Loading times in a throttled browser; the browser tests know how to take them.

use std::fs;

use xtask::browser::Browser;

use super::table::Row;
use crate::task::TaskError;
use crate::test::browser_test;
use crate::workspace::{Workspace, run};

/// Loads the built page cold, from cache and offline on a slowed-down browser.
///
/// # Errors
/// When the browser cannot be driven or the page does not start in it.
pub fn slow_phone(workspace: &Workspace, browser: &Browser) -> Result<Vec<Row>, TaskError> {
    let file = workspace.target.join("measures.tsv");
    let _ = fs::remove_file(&file);
    let mut cargo = browser_test(workspace, browser);
    run(cargo.args(["--ignored", "--exact", "load::slow_phone"]).env("TARTWRIGHT_MEASURES", &file))?;
    let lines = fs::read_to_string(&file).map_err(TaskError::MeasuresUnreadable)?;
    Ok(lines.lines().filter_map(Row::parse).collect())
}
