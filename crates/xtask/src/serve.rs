//! Building the page, and showing it.

use xtask::server::{Port, Server};
use xtask::site::{PACKED, Site};

use crate::compile::{Program, compile, ensure_target};
use crate::dist::assemble;
use crate::progress::Progress;
use crate::reproduce::{checksum, checksums};
use crate::size;
use crate::task::TaskError;
use crate::workspace::Workspace;

/// Builds the finished page into the dist folder.
///
/// # Errors
/// When the app does not build or the folder cannot be written.
pub fn build(workspace: &Workspace, progress: &Progress) -> Result<(), TaskError> {
    progress.step("Building the app for the browser");
    ensure_target(workspace)?;
    let compiled = compile(workspace, Program::App)?;
    progress.step("Assembling the page");
    assemble(workspace, compiled)?;
    Ok(())
}

/// Builds the finished page, prints what it weighs and holds it to its budget. With `brotli`, each file that
/// packing makes smaller gets a packed copy beside it.
///
/// # Errors
/// When it cannot be built or weighs too much.
pub fn dist(workspace: &Workspace, brotli: bool) -> Result<(), TaskError> {
    build(workspace, &Progress::begin())?;
    weigh(workspace)?;
    if brotli {
        let site = Site::load(&workspace.dist(), "/")?;
        for (name, asset) in site.assets().filter(|(_, asset)| asset.brotli.len() < asset.raw.len()) {
            let path = workspace.dist().join(format!("{name}{PACKED}"));
            std::fs::write(&path, &asset.brotli).map_err(|error| TaskError::Unwritable(path, error))?;
        }
    }
    Ok(())
}

/// Where the checksums of the page's files are written: beside it, for it is no file that the app needs.
fn list_of_checksums(workspace: &Workspace) -> std::path::PathBuf {
    workspace.dist().with_extension("sha256")
}

/// Prints what the built page weighs and holds it to its budget.
///
/// # Errors
/// When it was never built or weighs too much.
pub fn weigh(workspace: &Workspace) -> Result<(), TaskError> {
    let site = Site::load(&workspace.dist(), "/")?;
    size::print(&site);
    let list = list_of_checksums(workspace);
    std::fs::write(&list, checksums(&site)).map_err(|error| TaskError::Unwritable(list, error))?;
    println!("SHA-256 of the whole page: {}", checksum(&site));
    size::check(&site)?;
    Ok(())
}

/// Builds the page and serves it until interrupted. The last line printed is its address.
///
/// # Errors
/// When it cannot be built or no port is free.
pub fn serve(workspace: &Workspace, port: u16, base: &str) -> Result<(), TaskError> {
    let progress = Progress::begin();
    build(workspace, &progress)?;
    progress.step("Serving until interrupted (Ctrl-C)");
    let server = Server::start(Site::load(&workspace.dist(), base)?, Port::From(port))?;
    println!("{}", server.url());
    server.wait();
    Ok(())
}
