//! Computing times of the jobs in `batch::jobs`, on this machine itself and in the browser.

use xtask::browser::Browser;

use super::in_browser;
use super::table::{Limit, Row};
use crate::compile::{Program, compile};
use crate::dist;
use crate::task::TaskError;
use crate::workspace::{Workspace, output};

/// What a job may take at most, in microseconds: words of its name, on this machine, in the browser. Of the plan,
/// a souring that is read again and again may take more: each reading is weighed anew.
const LIMITS: [(&str, f64, f64); 4] = [
    ("plan of the example", 100.0, 400.0),
    ("plan of a finished batch", 100.0, 400.0),
    ("plan of a souring read 60 times", 5000.0, 5000.0),
    ("proven best salts", 2000.0, 2000.0),
];

/// Jobs that differ only in how much there is to do, and how much that is.
const GROWING: [(&str, [u32; 3]); 3] = [
    ("forecast of a souring, readings", [1, 10, 60]),
    ("list the book, batches", [10, 100, 1000]),
    ("open and learn from the whole book, batches", [10, 100, 1000]),
];

/// Times all jobs on this machine, and counts the recipes that an exact solver did better.
///
/// # Errors
/// When a measuring program does not build or fails.
pub fn native(workspace: &Workspace) -> Result<Vec<Row>, TaskError> {
    let arguments =
        ["bench", "--locked", "--package", "batch", "--features", "jobs,testing", "--bench", "jobs"];
    let report = output(workspace.cargo(arguments).args(["--", "--noplot"]))?;
    let mut rows = rows(&report);
    rows.extend(growth("native", &rows));
    // It ends with a failure when one recipe is worse, so a row that is there says none.
    let arguments = ["run", "--quiet", "--locked", "--profile", "bench", "--package", "calc"];
    let questions = "tests/reference/salts/optimum.csv";
    let told = output(workspace.cargo(arguments).args(["--example", "optimum", "--", questions]))?;
    rows.extend(told.lines().filter_map(compared).flatten());
    Ok(rows.into_iter().map(|row| limited(row, |limits| limits.1)).collect())
}

/// Times all jobs in the browser, as it is and four times slower.
///
/// # Errors
/// When the measuring page does not build or does not do its work in the browser.
pub fn wasm(workspace: &Workspace, browser: &Browser) -> Result<Vec<Row>, TaskError> {
    let compiled = compile(workspace, Program::Clock)?;
    let page = [
        ("index.html", b"<!doctype html>".to_vec()),
        ("app.js", compiled.script.into_bytes()),
        ("app_bg.wasm", compiled.wasm),
    ];
    let folder = workspace.target.join("clock");
    dist::write(&folder, page.map(|(name, bytes)| (name.to_owned(), bytes)).into())?;
    let mut rows = in_browser::measure(workspace, browser, &folder, "load::jobs_in_wasm")?;
    for processor in ["wasm", "wasm, 4x slower"] {
        rows.extend(growth(processor, &rows));
    }
    // The budget is meant for the browser as it is.
    let limit = |row: Row| if row.what.starts_with("wasm:") { limited(row, |limits| limits.2) } else { row };
    Ok(rows.into_iter().map(limit).collect())
}

/// The row with the limit of its job.
fn limited(row: Row, of: impl Fn(&(&str, f64, f64)) -> f64) -> Row {
    let limits = LIMITS.iter().find(|(words, ..)| row.unit == "us" && row.what.contains(words));
    limits.map_or(row.clone(), |limits| Row { limit: Some(Limit::AtMost(of(limits))), ..row })
}

/// How many times as long the bigger jobs of a kind take as the smaller ones.
fn growth(processor: &str, rows: &[Row]) -> Vec<Row> {
    let time = |name: &str, count: u32| {
        let name = format!("{processor}: {name}: {count}");
        rows.iter().find(|row| row.what == name).and_then(Row::number)
    };
    let mut grown = Vec::new();
    for (name, counts) in GROWING {
        for pair in counts.windows(2) {
            let [less, more] = pair else { continue };
            let what = format!("{processor}: {name}: {more} beside {less}, {} times as many", more / less);
            grown.push(match (time(name, *less), time(name, *more)) {
                (Some(short), Some(long)) => Row::new(what, long / short, "times"),
                _ => Row::missing(what, "no time of one of them"),
            });
        }
    }
    grown
}

/// What the comparison with an exact solver says: how many questions, and how many recipes were worse.
fn compared(line: &str) -> Option<[Row; 2]> {
    let fields: Vec<&str> = line.split('\t').collect();
    let ["all", "worse", count, worse] = fields[..] else { return None };
    let count = Row::new("salts: questions that an exact solver answered as well", count.parse().ok()?, "");
    let worse = Row::new("salts: recipes worse than the exact solver's", worse.parse().ok()?, "");
    Some([count, worse.at_most(0.0)])
}

/// Reads the middle of each `name   time:   [low unit middle unit high unit]`.
fn rows(report: &str) -> Vec<Row> {
    let mut rows = Vec::new();
    // A long name stands on a line of its own, before its time.
    let mut above = "";
    for line in report.lines() {
        if let Some((name, times)) = line.split_once("time:") {
            let name = if name.trim().is_empty() { above } else { name.trim() };
            rows.extend(middle(times).map(|time| Row::new(format!("native: {name}"), time, "us")));
        }
        above = line.trim();
    }
    rows
}

/// The middle of three times, in microseconds.
fn middle(times: &str) -> Option<f64> {
    let mut words = times.trim().trim_start_matches('[').split_whitespace().skip(2);
    let value: f64 = words.next()?.parse().ok()?;
    let microseconds = match words.next()? {
        "ns" => 1e-3,
        "\u{b5}s" | "us" => 1.0,
        "ms" => 1e3,
        "s" => 1e6,
        _ => return None,
    };
    Some(value * microseconds)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_on_the_same_line_and_on_the_one_above_are_read() {
        let report = "short  time:   [800.1 ns 900.0 ns 1.1 \u{b5}s]\n\
                      a rather long name of a measurement\n\
                      \x20       time:   [1.0 ms 2.0 ms 3.0 ms]\n";
        let row = |name, time| Row::new(name, time, "us");
        let long = "native: a rather long name of a measurement";
        assert_eq!(rows(report), [row("native: short", 0.9), row(long, 2000.0)]);
    }

    #[test]
    fn a_job_has_the_limit_of_its_name() {
        let row = limited(Row::new("native: plan of the example", 90.0, "us"), |limits| limits.1);
        assert_eq!(row.limit, Some(Limit::AtMost(100.0)));
        assert_eq!(limited(Row::new("native: next move", 90.0, "us"), |limits| limits.1).limit, None);
    }

    #[test]
    fn growth_is_told_for_each_step_and_what_is_missing_is_said() {
        let row = |count, time| Row::new(format!("native: list the book, batches: {count}"), time, "us");
        let grown = growth("native", &[row(10, 5.0), row(100, 50.0)]);
        assert_eq!(grown.len(), 6);
        let find = |words: &str| grown.iter().find(|row| row.what.contains(words)).and_then(Row::number);
        assert_eq!(find("list the book, batches: 100 beside 10, 10 times as many"), Some(10.0));
        assert_eq!(find("list the book, batches: 1000 beside 100"), None);
    }

    #[test]
    fn the_solver_s_comparison_is_read() {
        let rows = compared("all\tworse\t264\t1").expect("rows");
        assert_eq!((rows[0].number(), rows[1].number()), (Some(264.0), Some(1.0)));
        assert!(compared("all\tbest\t264\t1\t2\t3").is_none());
    }
}
