//! Measures what can be felt: bytes to fetch, time to compute, time to load, time from key to paint; and how that
//! stands beside other people's libraries.
//!
//! Each group of measurements keeps its rows in a file of `tests/measured`; the README's tables are made of all
//! these files, those of longer trials too.

mod in_browser;
mod jobs;
mod ratios;
mod readme;
mod table;

use std::process::Command;
use std::thread::available_parallelism;

use xtask::browser::Browser;
use xtask::site::{Asset, Site};

use crate::compile::{Program, compile};
use crate::progress::Progress;
use crate::serve::build;
use crate::size::{self, Weight};
use crate::task::TaskError;
use crate::test::find_or_install;
use crate::workspace::{CommandError, Workspace, output};

pub use table::MeasuresError;
use table::Row;

/// The groups, in the order they are measured; what is quick to fail comes first.
pub const GROUPS: [&str; 8] = ["machine", "weight", "native", "wasm", "ratios", "load", "book", "typing"];

/// Measures one group or all, keeps the rows, and brings the README's tables up to date.
///
/// # Errors
/// When something does not build, there is no browser to load the page in, or rows cannot be kept.
pub fn bench(workspace: &Workspace, only: Option<&str>) -> Result<(), TaskError> {
    let progress = Progress::begin();
    let wanted: Vec<&str> =
        GROUPS.into_iter().filter(|group| only.is_none_or(|only| only == *group)).collect();
    let needs_page = |group: &str| matches!(group, "weight" | "load" | "book" | "typing");
    let browser = find_or_install(&progress)?;
    if wanted.iter().any(|group| needs_page(group)) {
        build(workspace, &progress)?;
    }
    for group in wanted {
        progress.step(&format!("Measuring: {group}"));
        let rows = measured(workspace, &browser, group)?;
        table::keep(workspace, group, &rows)?;
        table::print(&rows);
    }
    tables(workspace)
}

/// Brings the README's tables up to date with what was measured before.
///
/// # Errors
/// When rows cannot be read, or the README has no place for them.
pub fn tables(workspace: &Workspace) -> Result<(), TaskError> {
    readme::rewrite(workspace, &table::all(workspace)?)?;
    Ok(())
}

fn measured(workspace: &Workspace, browser: &Browser, group: &str) -> Result<Vec<Row>, TaskError> {
    let page = |test| in_browser::measure(workspace, browser, &workspace.dist(), test);
    match group {
        "machine" => Ok(machine(workspace, browser)?),
        "weight" => weight(workspace),
        "native" => jobs::native(workspace),
        "wasm" => jobs::wasm(workspace, browser),
        "ratios" => ratios::measure(workspace),
        "load" => page("load::slow_phone"),
        "book" => page("load::book"),
        _ => page("typing::every_field"),
    }
}

/// What it was measured on, without a name.
fn machine(workspace: &Workspace, browser: &Browser) -> Result<Vec<Row>, CommandError> {
    let words = |what: &str, value: &str| Row {
        what: what.to_owned(),
        value: value.trim().to_owned(),
        unit: String::new(),
        limit: None,
    };
    let cores = available_parallelism().map_or(1, usize::from);
    let browser = output(Command::new(&browser.chrome).arg("--version"))?;
    // What a distribution adds to the version is a name as well.
    let version: Vec<&str> = browser.split_whitespace().take(2).collect();
    let compiler = output(Command::new("rustc").current_dir(&workspace.root).arg("--version"))?;
    let compiler: Vec<&str> = compiler.split_whitespace().skip(1).take(1).collect();
    // The date of the version that was measured: the one thing about the day that can be checked.
    let date = output(Command::new("git").current_dir(&workspace.root).args(["log", "-1", "--format=%cs"]))?;
    Ok(vec![
        words("processor cores", &cores.to_string()),
        words("browser", &version.join(" ")),
        words("Rust", &compiler.join(" ")),
        words("version of Tartwright of", &date),
    ])
}

fn weight(workspace: &Workspace) -> Result<Vec<Row>, TaskError> {
    let floor = compile(workspace, Program::Floor)?;
    let floor = [Asset::new("app.wasm", floor.wasm), Asset::new("app.js", floor.script.into_bytes())];
    let floor: Weight = floor.iter().map(Weight::of).sum();
    let all = size::total(&Site::load(&workspace.dist(), "/")?);
    let bytes = |what, value: usize| Row::new(what, value as f64 / 1000.0, "kB");
    Ok(vec![
        bytes("almost empty page, raw", floor.raw),
        bytes("almost empty page, brotli", floor.brotli),
        bytes("everything needed offline, raw", all.raw),
        bytes("everything needed offline, brotli", all.brotli).at_most(size::BUDGET as f64 / 1000.0),
    ])
}
