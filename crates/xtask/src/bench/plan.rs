//! Computing times of the plan.

use xtask::browser::Browser;

use super::in_browser;
use super::table::Row;
use crate::compile::{Program, compile};
use crate::dist;
use crate::task::TaskError;
use crate::workspace::{Workspace, output};

/// The most a whole plan may take on this machine itself, in microseconds.
const BUDGET: f64 = 100.0;

/// A souring that is read again and again: each reading is weighed anew, so it may take more, in the
/// browser as well as here.
const WATCHED: &str = "souring";
const WATCHED_BUDGET: f64 = 5000.0;

/// Times the whole plan on this machine.
///
/// # Errors
/// When the measuring program does not build or fails.
pub fn native(workspace: &Workspace) -> Result<Vec<Row>, TaskError> {
    let arguments = ["bench", "--locked", "--package", "batch", "--features", "testing", "--bench", "plan"];
    let report = output(workspace.cargo(arguments).args(["--", "--noplot"]))?;
    Ok(rows(&report))
}

/// Times the whole plan in the browser, which knows what it may take there.
///
/// # Errors
/// When the measuring page does not build or does not do its work in the browser.
pub fn wasm(workspace: &Workspace, browser: &Browser) -> Result<Vec<Row>, TaskError> {
    let compiled = compile(workspace, Program::PlanClock)?;
    let page = [
        ("index.html", b"<!doctype html>".to_vec()),
        ("app.js", compiled.script.into_bytes()),
        ("app_bg.wasm", compiled.wasm),
    ];
    let folder = workspace.target.join("plan-clock");
    dist::write(&folder, page.map(|(name, bytes)| (name.to_owned(), bytes)).into())?;
    in_browser::measure(workspace, browser, &folder, "load::plan_in_wasm")
}

/// Reads the middle of each `name   time:   [low unit middle unit high unit]`.
fn rows(report: &str) -> Vec<Row> {
    let mut rows = Vec::new();
    // A long name stands on a line of its own, before its time.
    let mut above = "";
    for line in report.lines() {
        if let Some((name, times)) = line.split_once("time:") {
            let name = if name.trim().is_empty() { above } else { name.trim() };
            let budget = if name.contains(WATCHED) { WATCHED_BUDGET } else { BUDGET };
            rows.extend(
                middle(times).map(|time| Row::new(format!("native: {name}"), time, "us").at_most(budget)),
            );
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
        let row = |name, time| Row::new(name, time, "us").at_most(BUDGET);
        let long = "native: a rather long name of a measurement";
        assert_eq!(rows(report), [row("native: short", 0.9), row(long, 2000.0)]);
    }
}
