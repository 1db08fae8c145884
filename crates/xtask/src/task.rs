//! What was asked for, and what can go wrong with it.

use std::fmt;

use xtask::browser::BrowserError;
use xtask::server::ServerError;
use xtask::site::SiteError;

use crate::compile::CompileError;
use crate::dist::DistError;
use crate::fuzz::FuzzError;
use crate::size::OverBudget;
use crate::workspace::CommandError;

/// A task with its options.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Task {
    /// Build and serve.
    Serve {
        /// The first port to try.
        port: u16,
        /// The path to serve below.
        base: String,
    },
    /// Run every check.
    Test {
        /// Leave out what needs a browser.
        skip_browser: bool,
    },
    /// Build the finished page.
    Dist,
    /// Measure.
    Bench,
    /// Rebuild the check data, or print the reference table.
    References {
        /// Only print the table.
        table: bool,
    },
    /// Try hostile input.
    Fuzz {
        /// How many inputs over all targets.
        inputs: u64,
    },
    /// Take the README's pictures.
    Screenshots,
    /// Explain.
    Help,
}

/// Words this program does not understand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ArgumentError {
    /// No such task.
    UnknownTask(String),
    /// The task has no such option.
    UnknownOption(String),
    /// The option needs a value after it.
    ValueMissing(String),
    /// Not a port number.
    NotAPort(String),
    /// Not a number of inputs.
    NotACount(String),
}

impl fmt::Display for ArgumentError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownTask(word) => write!(f, "there is no task {word:?}"),
            Self::UnknownOption(word) => write!(f, "this task has no option {word:?}"),
            Self::ValueMissing(option) => write!(f, "{option} needs a value after it"),
            Self::NotAPort(word) => write!(f, "{word:?} is not a port (1 to 65535)"),
            Self::NotACount(word) => write!(f, "{word:?} is not a number of inputs (1000 or more)"),
        }
    }
}

/// Why a task ended early.
#[derive(Debug)]
pub enum TaskError {
    /// A command it runs failed.
    Command(CommandError),
    /// The app does not build.
    Compile(CompileError),
    /// The page could not be assembled.
    Dist(DistError),
    /// The page cannot be served.
    Site(SiteError),
    /// No port is free.
    Server(ServerError),
    /// The app is too heavy.
    Size(OverBudget),
    /// No browser, and none could be installed; with what to do about it.
    Browser(BrowserError, &'static str),
    /// The scripts of the check data are not where they should be.
    ScriptsUnreadable(std::io::Error),
    /// Hostile input did harm.
    Fuzz(FuzzError),
    /// The measurements of the browser are not where they should be.
    MeasuresUnreadable(std::io::Error),
}

impl fmt::Display for TaskError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Command(error) => error.fmt(f),
            Self::Compile(error) => error.fmt(f),
            Self::Dist(error) => error.fmt(f),
            Self::Site(error) => error.fmt(f),
            Self::Server(error) => error.fmt(f),
            Self::Size(error) => error.fmt(f),
            Self::Fuzz(error) => error.fmt(f),
            Self::Browser(error, advice) => write!(f, "{error}\n{advice}"),
            Self::ScriptsUnreadable(error) => {
                write!(f, "the scripts of the check data cannot be read: {error}")
            }
            Self::MeasuresUnreadable(error) => {
                write!(f, "the browser's measurements cannot be read: {error}")
            }
        }
    }
}

macro_rules! from {
    ($($variant:ident($error:ty)),* $(,)?) => {$(
        impl From<$error> for TaskError {
            fn from(error: $error) -> Self {
                Self::$variant(error)
            }
        }
    )*};
}
from!(
    Command(CommandError),
    Compile(CompileError),
    Dist(DistError),
    Site(SiteError),
    Server(ServerError),
    Size(OverBudget),
    Fuzz(FuzzError),
);

/// Understands the words after `cargo xtask`.
///
/// # Errors
/// On a task or option there is none of, and on a value that is missing or no port.
pub fn parse(words: impl IntoIterator<Item = String>) -> Result<Task, ArgumentError> {
    let mut words = words.into_iter();
    let name = words.next().unwrap_or_else(|| "help".to_owned());
    let mut task = match name.as_str() {
        "serve" => Task::Serve { port: 8080, base: "/".to_owned() },
        "test" => Task::Test { skip_browser: false },
        "dist" => Task::Dist,
        "bench" => Task::Bench,
        "references" => Task::References { table: false },
        "fuzz" => Task::Fuzz { inputs: crate::fuzz::INPUTS },
        "screenshots" => Task::Screenshots,
        "help" | "--help" | "-h" => return Ok(Task::Help),
        _ => return Err(ArgumentError::UnknownTask(name)),
    };
    while let Some(option) = words.next() {
        if matches!(option.as_str(), "--help" | "-h") {
            return Ok(Task::Help);
        }
        let mut value = || words.next().ok_or_else(|| ArgumentError::ValueMissing(option.clone()));
        match (&mut task, option.as_str()) {
            (Task::Serve { port, .. }, "--port") => {
                let word = value()?;
                *port = match word.parse() {
                    Ok(number) if number > 0 => number,
                    _ => return Err(ArgumentError::NotAPort(word)),
                };
            }
            (Task::Serve { base, .. }, "--base") => *base = value()?,
            (Task::Fuzz { inputs }, "--inputs") => {
                let word = value()?;
                *inputs = match word.parse() {
                    Ok(number) if number >= 1_000 => number,
                    _ => return Err(ArgumentError::NotACount(word)),
                };
            }
            (Task::References { table }, "--table") => *table = true,
            (Task::Test { skip_browser }, "--skip-browser") => *skip_browser = true,
            _ => return Err(ArgumentError::UnknownOption(option)),
        }
    }
    Ok(task)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(line: &str) -> Result<Task, ArgumentError> {
        parse(line.split_whitespace().map(str::to_owned))
    }

    #[test]
    fn options_belong_to_their_task() {
        let serve = Task::Serve { port: 9000, base: "/a/".to_owned() };
        assert_eq!(parsed("serve --port 9000 --base /a/"), Ok(serve));
        assert_eq!(parsed("references --table"), Ok(Task::References { table: true }));
        assert_eq!(parsed("fuzz --inputs 5000"), Ok(Task::Fuzz { inputs: 5_000 }));
        assert_eq!(parsed("test --skip-browser"), Ok(Task::Test { skip_browser: true }));
        assert_eq!(parsed("dist --port 1"), Err(ArgumentError::UnknownOption("--port".to_owned())));
    }

    #[test]
    fn what_is_not_understood_is_named() {
        assert_eq!(parsed("brew"), Err(ArgumentError::UnknownTask("brew".to_owned())));
        assert_eq!(parsed("serve --port"), Err(ArgumentError::ValueMissing("--port".to_owned())));
        assert_eq!(parsed("fuzz --inputs 9"), Err(ArgumentError::NotACount("9".to_owned())));
        assert_eq!(parsed("serve --port 0"), Err(ArgumentError::NotAPort("0".to_owned())));
    }

    #[test]
    fn help_is_never_far() {
        for line in ["", "help", "--help", "serve --help"] {
            assert_eq!(parsed(line), Ok(Task::Help), "{line}");
        }
    }
}
