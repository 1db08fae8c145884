//! Finds the browser and its driver.

use std::ffi::OsString;
use std::process::{Command, Stdio};
use std::{env, fmt};

/// The programs a browser test starts.
#[derive(Debug, Clone)]
pub struct Browser {
    /// Chromium or Chrome.
    pub chrome: OsString,
    /// The driver that belongs to it.
    pub driver: OsString,
}

/// Why browser tests cannot run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BrowserError {
    /// No working Chromium or Chrome.
    NoChrome,
    /// No working chromedriver.
    NoDriver,
}

impl fmt::Display for BrowserError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoChrome => f.write_str("no working Chromium or Chrome found (set CHROME to name one)"),
            Self::NoDriver => f.write_str("no working chromedriver found (set CHROMEDRIVER to name one)"),
        }
    }
}

impl std::error::Error for BrowserError {}

/// Looks for a browser and a driver that answer `--version`.
///
/// The environment variables CHROME and CHROMEDRIVER come first; then the usual names on the path.
/// Asking for the version sorts out stand-ins that exist but only say how to install the real thing.
///
/// # Errors
/// When either is missing or does not run.
pub fn find() -> Result<Browser, BrowserError> {
    let chrome = first_working("CHROME", &["chromium", "chromium-browser", "google-chrome", "chrome"])
        .ok_or(BrowserError::NoChrome)?;
    let driver = first_working("CHROMEDRIVER", &["chromedriver", "/usr/lib/chromium-browser/chromedriver"])
        .ok_or(BrowserError::NoDriver)?;
    Ok(Browser { chrome, driver })
}

fn first_working(variable: &str, names: &[&str]) -> Option<OsString> {
    env::var_os(variable).into_iter().chain(names.iter().map(OsString::from)).find(|name| {
        Command::new(name)
            .arg("--version")
            .stdin(Stdio::null())
            .stderr(Stdio::null())
            .output()
            .is_ok_and(|answer| answer.status.success() && !answer.stdout.is_empty())
    })
}
