//! What was measured: one number a row, each group of rows in a file of its own.
//!
//! A file is `tests/measured/GROUP.tsv`, a row a line: what, value, unit and limit between tabs. The limit may be
//! missing; it is the most the value should be, or with `>=` before it the least. A value that is no number was
//! not measured; it says why.

use std::path::{Path, PathBuf};
use std::{fmt, fs, io};

use crate::workspace::Workspace;

/// What a value should keep to, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// No more than this.
    AtMost(f64),
    /// No less than this.
    AtLeast(f64),
}

impl Limit {
    /// Whether a value keeps to it.
    pub fn holds(self, value: f64) -> bool {
        match self {
            Self::AtMost(most) => value <= most,
            Self::AtLeast(least) => value >= least,
        }
    }

    /// The worse of two values.
    pub fn worse(self, one: f64, other: f64) -> f64 {
        match self {
            Self::AtMost(_) => one.max(other),
            Self::AtLeast(_) => one.min(other),
        }
    }

    fn parse(text: &str) -> Option<Self> {
        match text.strip_prefix(">=") {
            Some(least) => least.trim().parse().ok().map(Self::AtLeast),
            None => text.strip_prefix("<=").unwrap_or(text).trim().parse().ok().map(Self::AtMost),
        }
    }
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AtMost(most) => write!(f, "{most}"),
            Self::AtLeast(least) => write!(f, ">={least}"),
        }
    }
}

/// What was measured, and what it should keep to.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What.
    pub what: String,
    /// The number as it was written, or why there is none.
    pub value: String,
    /// Its unit, or nothing.
    pub unit: String,
    /// What it should keep to.
    pub limit: Option<Limit>,
}

impl Row {
    /// A measured value in `unit`.
    pub fn new(what: impl Into<String>, value: f64, unit: impl Into<String>) -> Self {
        // Four figures are more than any of these is good for.
        let digits = if value == 0.0 { 0.0 } else { (3.0 - value.abs().log10().floor()).clamp(0.0, 6.0) };
        let value = (value * 10_f64.powf(digits)).round() / 10_f64.powf(digits);
        Self { what: what.into(), value: value.to_string(), unit: unit.into(), limit: None }
    }

    /// What could not be measured, and why.
    pub fn missing(what: impl Into<String>, why: impl fmt::Display) -> Self {
        Self { what: what.into(), value: format!("not measured: {why}"), unit: String::new(), limit: None }
    }

    /// Adds the most the value should be, in the same unit.
    pub fn at_most(self, most: f64) -> Self {
        Self { limit: Some(Limit::AtMost(most)), ..self }
    }

    /// The number, where there is one.
    pub fn number(&self) -> Option<f64> {
        self.value.parse().ok()
    }

    /// Reads a line: what, value, unit and possibly a limit, between tabs.
    pub fn parse(line: &str) -> Option<Self> {
        let fields: Vec<&str> = line.trim_end_matches(['\r', '\n']).split('\t').collect();
        let (what, value, unit, limit) = match fields[..] {
            [what, value] => (what, value, "", ""),
            [what, value, unit] => (what, value, unit, ""),
            [what, value, unit, limit] => (what, value, unit, limit),
            _ => return None,
        };
        let limit = if limit.trim().is_empty() { None } else { Some(Limit::parse(limit)?) };
        if what.trim().is_empty() || value.trim().is_empty() {
            return None;
        }
        match value.parse::<f64>() {
            Ok(number) => Some(Self { limit, ..Self::new(what, number, unit) }),
            Err(_) => Some(Self { what: what.into(), value: value.into(), unit: unit.into(), limit }),
        }
    }

    fn line(&self) -> String {
        let limit = self.limit.map(|limit| format!("\t{limit}")).unwrap_or_default();
        format!("{}\t{}\t{}{limit}\n", self.what, self.value, self.unit)
    }
}

/// Why measurements cannot be read or written.
#[derive(Debug)]
pub enum MeasuresError {
    /// The file or folder is not where it should be, or may not be touched.
    Unreadable(PathBuf, io::Error),
    /// A line of it is no row.
    NoRow(PathBuf, String),
    /// The README has no place for the tables.
    NoPlace,
}

impl fmt::Display for MeasuresError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable(path, error) => write!(f, "{}: {error}", path.display()),
            Self::NoRow(path, line) => write!(f, "{}: this is no measured row: {line:?}", path.display()),
            Self::NoPlace => write!(f, "README.md has no lines <!-- bench --> and <!-- /bench -->"),
        }
    }
}

/// All rows of a text.
///
/// # Errors
/// When a line is no row: what was measured must not be lost without a word.
pub fn rows(path: &Path, text: &str) -> Result<Vec<Row>, MeasuresError> {
    let lines = text.lines().filter(|line| !line.trim().is_empty());
    lines
        .map(|line| Row::parse(line).ok_or_else(|| MeasuresError::NoRow(path.to_owned(), line.to_owned())))
        .collect()
}

/// Reads a file of rows.
///
/// # Errors
/// When it cannot be read, or a line is no row.
pub fn read(path: &Path) -> Result<Vec<Row>, MeasuresError> {
    let text = fs::read_to_string(path).map_err(|error| MeasuresError::Unreadable(path.to_owned(), error))?;
    rows(path, &text)
}

/// Every group with its rows, by name.
///
/// # Errors
/// When a file cannot be read, or a line is no row.
pub fn all(workspace: &Workspace) -> Result<Vec<(String, Vec<Row>)>, MeasuresError> {
    let folder = folder(workspace);
    let entries = fs::read_dir(&folder).map_err(|error| MeasuresError::Unreadable(folder.clone(), error))?;
    let mut groups = Vec::new();
    for entry in entries {
        let path = entry.map_err(|error| MeasuresError::Unreadable(folder.clone(), error))?.path();
        if path.extension().is_some_and(|extension| extension == "tsv") {
            let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            groups.push((name, read(&path)?));
        }
    }
    groups.sort_by(|one, other| one.0.cmp(&other.0));
    Ok(groups)
}

/// Keeps the rows of a group.
///
/// # Errors
/// When the file cannot be written.
pub fn keep(workspace: &Workspace, group: &str, rows: &[Row]) -> Result<(), MeasuresError> {
    let folder = folder(workspace);
    let path = folder.join(format!("{group}.tsv"));
    let text: String = rows.iter().map(Row::line).collect();
    fs::create_dir_all(&folder)
        .and_then(|()| fs::write(&path, text))
        .map_err(|error| MeasuresError::Unreadable(path, error))
}

fn folder(workspace: &Workspace) -> PathBuf {
    workspace.root.join("tests/measured")
}

/// Prints the rows under each other.
pub fn print(rows: &[Row]) {
    for row in rows {
        let Row { what, value, unit, limit } = row;
        let verdict = match (limit, row.number()) {
            (Some(limit), Some(number)) if !limit.holds(number) => format!("{limit:>10} MISSED"),
            (Some(limit), _) => format!("{limit:>10}"),
            (None, _) => String::new(),
        };
        println!("{what:<80} {value:>10} {unit:<5} {verdict}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_read_with_and_without_limit() {
        assert_eq!(Row::parse("load\t12.5\tms"), Some(Row::new("load", 12.5, "ms")));
        assert_eq!(Row::parse("load\t12.5\tms\t20"), Some(Row::new("load", 12.5, "ms").at_most(20.0)));
        let ratio = Row::parse("ratio\t412\ttimes\t>=300").expect("a row");
        assert_eq!(ratio.limit, Some(Limit::AtLeast(300.0)));
        assert_eq!(Row::parse("ratio\tnot measured: no Python\t\t>=300").expect("a row").number(), None);
    }

    #[test]
    fn what_is_no_row_is_said_and_not_left_out() {
        for line in ["test load ... ok", "a\tb\tc\tmany", "a\t\tms", "a\t1\tms\t2\t3"] {
            assert_eq!(Row::parse(line), None, "{line:?}");
        }
        assert!(rows(Path::new("x.tsv"), "load\t1\tms\nnonsense\n").is_err());
    }

    #[test]
    fn a_kept_row_reads_back() {
        for row in [
            Row::new("a", 1234.567, "us").at_most(0.25),
            Row { limit: Some(Limit::AtLeast(300.0)), ..Row::new("b", 0.000_123, "") },
            Row::missing("c", "no Python"),
        ] {
            assert_eq!(Row::parse(&row.line()), Some(row));
        }
    }

    #[test]
    fn a_limit_is_kept_to_from_its_own_side() {
        assert!(Limit::AtMost(50.0).holds(50.0) && !Limit::AtMost(50.0).holds(50.1));
        assert!(Limit::AtLeast(300.0).holds(300.0) && !Limit::AtLeast(300.0).holds(299.0));
        assert!(!Limit::AtMost(50.0).holds(f64::NAN), "what is no number keeps to nothing");
    }
}
