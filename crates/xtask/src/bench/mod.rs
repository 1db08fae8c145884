//! Measures what can be felt: bytes to fetch, time to compute, time to load.

mod in_browser;
mod plan;
mod table;

use xtask::site::{Asset, Site};

use crate::compile::{Program, compile};
use crate::progress::Progress;
use crate::serve::build;
use crate::size::{self, Weight};
use crate::task::TaskError;
use crate::test::find_or_install;
use crate::workspace::Workspace;

use table::Row;

/// Measures everything and prints one table.
///
/// # Errors
/// When something does not build, or there is no browser to load the page in.
pub fn bench(workspace: &Workspace) -> Result<(), TaskError> {
    let progress = Progress::begin();
    let browser = find_or_install(&progress)?;
    build(workspace, &progress)?;

    progress.step("Building an almost empty page with the same settings");
    let floor = compile(workspace, Program::Floor)?;
    let floor = [Asset::new("app.wasm", floor.wasm), Asset::new("app.js", floor.script.into_bytes())];
    let floor: Weight = floor.iter().map(Weight::of).sum();
    let all = size::total(&Site::load(&workspace.dist(), "/")?);
    let bytes = |what, value: usize| Row::new(what, value as f64 / 1000.0, "kB");
    let mut rows = vec![
        bytes("almost empty page, raw", floor.raw),
        bytes("almost empty page, brotli", floor.brotli),
        bytes("everything needed offline, raw", all.raw),
        bytes("everything needed offline, brotli", all.brotli).at_most(size::BUDGET as f64 / 1000.0),
    ];

    progress.step("Timing the plan");
    rows.extend(plan::native(workspace)?);
    progress.step("Timing the plan in the browser");
    rows.extend(plan::wasm(workspace, &browser)?);
    progress.step("Loading the page as on a slow phone");
    rows.extend(in_browser::measure(workspace, &browser, &workspace.dist(), "load::slow_phone")?);

    println!();
    table::print(&rows);
    Ok(())
}
