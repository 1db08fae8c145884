//! This code beside other people's libraries, in one run on one machine.

use std::fs;

use super::table::{self, Limit, MeasuresError, Row};
use crate::references;
use crate::task::TaskError;
use crate::workspace::Workspace;

/// What must be among the rows, also where there is nothing to measure against: words of it, its limit.
const PROMISED: [(&str, Option<Limit>); 2] = [
    ("water: times as fast as PHREEQC", Some(Limit::AtLeast(300.0))),
    ("salts: times as fast as SCIP, medians", None),
];

/// Runs the scripts that measure, each of which adds its rows to one file. What Python, a library or a script did
/// not give is there as a row that says so.
///
/// # Errors
/// When the file of rows cannot be made or read.
pub fn measure(workspace: &Workspace) -> Result<Vec<Row>, TaskError> {
    let file = workspace.target.join("ratios.tsv");
    fs::create_dir_all(&workspace.target)
        .and_then(|()| fs::write(&file, ""))
        .map_err(|error| MeasuresError::Unreadable(file.clone(), error))?;
    // A script that finds its ratio too low fails after it told it: the row says that better.
    if let Err(error) = references::measure(workspace, &file) {
        eprintln!("{error}");
    }
    Ok(complete(table::read(&file)?))
}

fn complete(mut rows: Vec<Row>) -> Vec<Row> {
    for (what, limit) in PROMISED {
        if !rows.iter().any(|row| row.what.starts_with(what)) {
            let row = Row::missing(what, "Python, or a library it needs, is missing or failed");
            rows.push(Row { limit, ..row });
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_that_nobody_measured_is_not_left_out() {
        let water = Row::new("water: times as fast as PHREEQC, lactic", 400.0, "times");
        let rows = complete(vec![water.clone()]);
        assert_eq!(rows[0], water);
        assert!(rows[1].what.starts_with("salts") && rows[1].number().is_none(), "{rows:?}");
        assert_eq!(complete(Vec::new()).len(), PROMISED.len());
    }
}
