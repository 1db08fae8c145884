//! Reference checks: every row of the tables beside this file names a check, its inputs, the value
//! expected, a tolerance, how far the value can be trusted, and where it comes from.
//!
//! `TARTWRIGHT_TABLE=1 cargo test -p checks --test reference -- --nocapture` prints them all.

mod extract_checks;
mod fruit_checks;
mod kinetics_checks;
mod package_checks;
mod ph_checks;
mod phreeqc_checks;
mod report_checks;
mod salt_checks;
mod weight_checks;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// First line of every table.
const HEADER: &str = "check,inputs,unit,expected,tolerance,mark,source";
/// How far a value can be trusted: the marks of `calc::data::Mark`, in snake case.
const MARKS: [&str; 5] = ["published", "derived", "common_practice", "from_memory", "our_estimate"];
/// Fewer rows than this means a table got lost.
const FEWEST_ROWS: usize = 60;

/// One row.
struct Check {
    table: String,
    line: usize,
    name: String,
    inputs: String,
    unit: String,
    expected: f64,
    tolerance: f64,
    mark: String,
    source: String,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference")
}

/// Reads one row. Values hold no comma, so that any program, or none, can read the tables.
fn read_row(table: &str, line: usize, text: &str) -> Result<Check, String> {
    let place = format!("{table}:{line}");
    let cells: Vec<&str> = text.split(',').map(str::trim).collect();
    let [name, inputs, unit, expected, tolerance, mark, source] = cells[..] else {
        return Err(format!("{place}: {} cells, not 7", cells.len()));
    };
    let number = |cell: &str, what: &str| match cell.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("{place}: {what} is not a number: {cell:?}")),
    };
    let tolerance = number(tolerance, "tolerance")?;
    if tolerance <= 0.0 {
        return Err(format!("{place}: tolerance must be above zero, not {tolerance}"));
    }
    if !MARKS.contains(&mark) {
        return Err(format!("{place}: unknown mark {mark:?}; one of {}", MARKS.join(", ")));
    }
    if source.is_empty() || unit.is_empty() || name.is_empty() {
        return Err(format!("{place}: check, unit and source must not be empty"));
    }
    Ok(Check {
        table: table.to_owned(),
        line,
        name: name.to_owned(),
        inputs: inputs.to_owned(),
        unit: unit.to_owned(),
        expected: number(expected, "expected value")?,
        tolerance,
        mark: mark.to_owned(),
        source: source.to_owned(),
    })
}

/// All rows of all tables, and what is wrong with the tables.
fn read_all() -> (Vec<Check>, Vec<String>) {
    let (mut checks, mut faults) = (Vec::new(), Vec::new());
    let files = match std::fs::read_dir(folder()) {
        Ok(files) => files,
        Err(error) => return (checks, vec![format!("{}: {error}", folder().display())]),
    };
    let mut paths: Vec<PathBuf> = files
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|extension| extension == "csv"))
        .collect();
    paths.sort();
    for path in paths {
        let table = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) => {
                faults.push(format!("{table}: {error}"));
                continue;
            }
        };
        let mut lines = text.lines();
        if lines.next() != Some(HEADER) {
            faults.push(format!("{table}: the first line must be {HEADER}"));
        }
        for (line, text) in (2..).zip(lines).filter(|(_, text)| !text.trim().is_empty()) {
            match read_row(&table, line, text) {
                Ok(check) => checks.push(check),
                Err(fault) => faults.push(fault),
            }
        }
    }
    (checks, faults)
}

fn compute(check: &Check) -> Option<f64> {
    let inputs: Vec<&str> = check.inputs.split(';').map(str::trim).collect();
    ph_checks::compute(&check.name, &inputs)
        .or_else(|| extract_checks::compute(&check.name, &inputs))
        .or_else(|| fruit_checks::compute(&check.name, &inputs))
        .or_else(|| package_checks::compute(&check.name, &inputs))
        .or_else(|| report_checks::compute(&check.name, &inputs))
}

#[test]
fn every_reference_value_is_met() {
    let (checks, mut faults) = read_all();
    let mut table = String::new();
    let _ = writeln!(
        table,
        "{:<14} {:<32} {:<28} {:>12} {:>12} {:>9} {:<11} {:<15} source",
        "table", "check", "inputs", "expected", "got", "give/take", "unit", "mark"
    );
    for check in &checks {
        let place = format!("{}:{} {} {}", check.table, check.line, check.name, check.inputs);
        let got = compute(check);
        let _ = writeln!(
            table,
            "{:<14} {:<32} {:<28} {:>12} {:>12} {:>9} {:<11} {:<15} {}",
            check.table,
            check.name,
            check.inputs,
            check.expected,
            got.map_or_else(|| "-".to_owned(), |got| format!("{got:.5}")),
            check.tolerance,
            check.unit,
            check.mark,
            check.source
        );
        match got {
            None => faults.push(format!("{place}: no such check, or inputs it does not know")),
            // The expected value is written with few digits: its own last bit must not decide.
            Some(got) if (got - check.expected).abs() <= check.tolerance * (1.0 + 1e-9) => {}
            Some(got) => faults.push(format!(
                "{place}: {got:.6} {}, expected {} give or take {}",
                check.unit, check.expected, check.tolerance
            )),
        }
    }
    if checks.len() < FEWEST_ROWS {
        faults.push(format!("only {} rows; at least {FEWEST_ROWS} are expected", checks.len()));
    }
    if std::env::var_os("TARTWRIGHT_TABLE").is_some() {
        println!("{table}{} rows", checks.len());
    }
    assert!(faults.is_empty(), "{} of {} rows fail:\n{}", faults.len(), checks.len(), faults.join("\n"));
}

#[test]
fn a_faulty_row_is_refused() {
    let good = "charge,lactic;3.4,1,0.258,0.002,derived,Somebody 2002";
    assert!(read_row("t", 2, good).is_ok());
    for (what, text) in [
        ("no source", "charge,lactic;3.4,1,0.258,0.002,derived,"),
        ("unknown mark", "charge,lactic;3.4,1,0.258,0.002,guessed,Somebody 2002"),
        ("no tolerance", "charge,lactic;3.4,1,0.258,0,derived,Somebody 2002"),
        ("NaN tolerance", "charge,lactic;3.4,1,0.258,NaN,derived,Somebody 2002"),
        ("no number", "charge,lactic;3.4,1,high,0.002,derived,Somebody 2002"),
        ("a comma too many", "charge,lactic;3.4,1,0.258,0.002,derived,Somebody, 2002"),
    ] {
        assert!(read_row("t", 2, text).is_err(), "{what}");
    }
}
