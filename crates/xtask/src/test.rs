//! Everything that has to hold, in the order that finds a mistake soonest.

use std::path::Path;
use std::process::{Command, Stdio};

use xtask::browser::{self, Browser, BrowserError};

use crate::progress::Progress;
use crate::serve::{build, weigh};
use crate::task::TaskError;
use crate::workspace::{CommandError, WASM, Workspace, run};

const NATIVE: [&str; 4] = ["calc", "batch", "xtask", "checks"];

/// Runs every check.
///
/// # Errors
/// At the first check that fails, or when something it needs is missing and cannot be installed.
pub fn test(workspace: &Workspace, skip_browser: bool) -> Result<(), TaskError> {
    let progress = Progress::begin();
    // Found out first: a missing browser should not show after minutes of other work.
    let browser = if skip_browser { None } else { Some(find_or_install(&progress)?) };
    let native = || NATIVE.into_iter().flat_map(|package| ["--package", package]);

    progress.step("Format");
    run(&mut workspace.cargo(["fmt", "--all", "--check"]))?;

    progress.step("Lints of the native crates");
    let deny = ["--", "--deny", "warnings"];
    let features = ["--features", "checks/browser,xtask/wasm-tests"];
    run(workspace.cargo(["clippy", "--locked", "--all-targets"]).args(native()).args(features).args(deny))?;

    progress.step("Lints of the app");
    crate::compile::ensure_target(workspace)?;
    let lint_app = ["clippy", "--locked", "--all-targets", "--package", "app", "--target", WASM];
    run(workspace.cargo_wasm(lint_app).args(deny))?;

    progress.step("Native and reference tests");
    run(workspace.cargo(["test", "--locked"]).args(native()))?;

    build(workspace, &progress)?;
    weigh(workspace)?;

    let Some(browser) = browser else {
        progress.step("Done, without the browser tests");
        return Ok(());
    };
    progress.step("The app's unit tests in the browser");
    app_tests(workspace, &browser)?;

    progress.step("The whole app in the browser");
    run(&mut browser_test(workspace, &browser))?;

    progress.step("Done");
    Ok(())
}

fn app_tests(workspace: &Workspace, browser: &Browser) -> Result<(), CommandError> {
    let runner =
        ["build", "--locked", "--package", "xtask", "--features", "wasm-tests", "--bin", "wasm-tests"];
    run(&mut workspace.cargo(runner))?;
    run(workspace
        .cargo_wasm(["test", "--locked", "--package", "app", "--lib", "--tests", "--target", WASM])
        .env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUNNER", workspace.target.join("debug/wasm-tests"))
        .env("CHROMEDRIVER", &browser.driver))
}

/// The command that runs the end-to-end tests against the built page; words for the test program can
/// be added.
pub fn browser_test(workspace: &Workspace, browser: &Browser) -> Command {
    // One test at a time: each drives a whole browser, and some of them measure.
    let mut command = workspace.cargo(["test", "--locked", "--package", "checks", "--features", "browser"]);
    command
        .args(["--test", "browser", "--", "--test-threads=1"])
        .env("TARTWRIGHT_DIST", workspace.dist())
        .env("CHROME", &browser.chrome)
        .env("CHROMEDRIVER", &browser.driver);
    command
}

/// Finds the browser, or installs it where the system's packages have it.
///
/// # Errors
/// When there is none and it cannot be installed; the error says what to install.
pub fn find_or_install(progress: &Progress) -> Result<Browser, TaskError> {
    const ADVICE: &str = "\
        Install Chromium and its driver, then run this again:\n\
        \x20 Debian:  apt-get install chromium chromium-driver\n\
        \x20 Ubuntu:  snap install chromium  (it brings chromium.chromedriver; set CHROMEDRIVER to it),\n\
        \x20          or Google Chrome and the chromedriver of the same version\n\
        \x20 others:  any Chrome or Chromium with its chromedriver; set CHROME and CHROMEDRIVER\n\
        To run everything else: cargo xtask test --skip-browser";
    let error = match browser::find() {
        Ok(browser) => return Ok(browser),
        Err(error) => error,
    };
    if is_debian() {
        progress.step("Installing Chromium and its driver");
        if let Err(failure) = install() {
            eprintln!("{failure}");
        }
        return browser::find().map_err(|error: BrowserError| TaskError::Browser(error, ADVICE));
    }
    Err(TaskError::Browser(error, ADVICE))
}

/// Ubuntu's packages of these names only point to a snap, which a container cannot install.
fn is_debian() -> bool {
    Path::new("/usr/bin/apt-get").exists()
        && std::fs::read_to_string("/etc/os-release")
            .is_ok_and(|release| release.lines().any(|line| line == "ID=debian"))
}

fn install() -> Result<(), CommandError> {
    let apt = |arguments: &[&str]| {
        let mut command = if is_root() {
            Command::new("apt-get")
        } else {
            // Never ask for a password in the middle of a run.
            let mut sudo = Command::new("sudo");
            sudo.args(["--non-interactive", "DEBIAN_FRONTEND=noninteractive", "apt-get"]);
            sudo
        };
        command.args(arguments).env("DEBIAN_FRONTEND", "noninteractive").stdin(Stdio::null());
        command
    };
    run(&mut apt(&["update", "--quiet"]))?;
    run(&mut apt(&["install", "--yes", "--quiet", "--no-install-recommends", "chromium", "chromium-driver"]))
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|answer| answer.stdout == b"0\n")
}
