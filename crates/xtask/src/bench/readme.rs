//! The README's tables: what was promised with what was measured beside it, then everything that was measured.

use std::fmt::Write as _;
use std::fs;

use crate::workspace::Workspace;

use super::table::{Limit, MeasuresError, Row};

use Limit::{AtLeast, AtMost};

/// The group of the page's bytes. Of its many rows only these are for the README.
const SIZE: &str = "size";
const SHOWN_OF_SIZE: [&str; 2] = ["section ", "crate "];

/// Around the tables in the README.
const BEGINS: &str = "<!-- bench -->\n";
const ENDS: &str = "<!-- /bench -->";

/// The group of facts about where it was measured.
const MACHINE: &str = "machine";

/// What the rows of a promise are called.
enum Named {
    /// Exactly this.
    As(&'static str),
    /// With this in it; of several the worst counts.
    With(&'static str),
}

/// One promise of the design, and where the measured value is.
struct Promise {
    what: &'static str,
    limit: Option<Limit>,
    unit: &'static str,
    group: &'static str,
    row: Named,
}

const fn promise(
    what: &'static str,
    limit: Option<Limit>,
    unit: &'static str,
    group: &'static str,
    row: Named,
) -> Promise {
    Promise { what, limit, unit, group, row }
}

/// Every number that the design promises, in its order.
const PROMISES: [Promise; 33] = [
    promise(
        "Everything needed offline, brotli",
        Some(AtMost(300.0)),
        "kB",
        "weight",
        Named::As("everything needed offline, brotli"),
    ),
    promise(
        "Beside it: an almost empty page with the same settings",
        None,
        "kB",
        "weight",
        Named::As("almost empty page, brotli"),
    ),
    promise(
        "Slow phone, first visit: largest paint",
        Some(AtMost(1500.0)),
        "ms",
        "load",
        Named::As("cold: largest paint"),
    ),
    promise(
        "Slow phone, first visit: interactive",
        Some(AtMost(3000.0)),
        "ms",
        "load",
        Named::As("cold: interactive"),
    ),
    promise(
        "Slow phone, from the cache: interactive",
        Some(AtMost(700.0)),
        "ms",
        "load",
        Named::As("from cache: interactive"),
    ),
    promise(
        "Slow phone, offline: interactive",
        Some(AtMost(700.0)),
        "ms",
        "load",
        Named::As("offline: interactive"),
    ),
    promise("Layout shift while loading", Some(AtMost(0.0)), "", "load", Named::With("layout shift")),
    promise(
        "Key to painted result, 1,000 batches stored, one stage open, 95 of 100",
        Some(AtMost(50.0)),
        "ms",
        "typing",
        Named::As("typing, one stage open: key to last change, 95 of 100"),
    ),
    promise(
        "The same, five stages open",
        Some(AtMost(50.0)),
        "ms",
        "typing",
        Named::As("typing, five stages open: key to last change, 95 of 100"),
    ),
    promise(
        "The same, all stages, folds and forms open",
        Some(AtMost(50.0)),
        "ms",
        "typing",
        Named::As("typing, all open: key to last change, 95 of 100"),
    ),
    promise(
        "Layout shift while typing, as browsers score it",
        Some(AtMost(0.0)),
        "",
        "typing",
        Named::With("layout shift as browsers score it"),
    ),
    promise(
        "Plan of the example, native",
        Some(AtMost(100.0)),
        "us",
        "native",
        Named::As("native: plan of the example"),
    ),
    promise(
        "Plan of a finished batch with 60 readings, native",
        Some(AtMost(100.0)),
        "us",
        "native",
        Named::As("native: plan of a finished batch with 60 readings"),
    ),
    promise(
        "Plan of the example, in the browser",
        Some(AtMost(400.0)),
        "us",
        "wasm",
        Named::As("wasm: plan of the example"),
    ),
    promise(
        "Plan of a finished batch with 60 readings, in the browser",
        Some(AtMost(400.0)),
        "us",
        "wasm",
        Named::As("wasm: plan of a finished batch with 60 readings"),
    ),
    promise(
        "Speciation and titration to a pH, times as fast as PHREEQC, the least of all acids and databases",
        Some(AtLeast(300.0)),
        "times",
        "ratios",
        Named::With("water: times as fast as PHREEQC"),
    ),
    promise(
        "Best salts, native, the longest of all questions",
        Some(AtMost(2000.0)),
        "us",
        "native",
        Named::With("proven best salts in whole steps, the longest"),
    ),
    promise(
        "Best salts, in the browser, the longest of all questions",
        Some(AtMost(2000.0)),
        "us",
        "wasm",
        Named::With("wasm: proven best salts in whole steps, the longest"),
    ),
    promise(
        "Recipes of these that are worse than the exact solver's",
        Some(AtMost(0.0)),
        "",
        "native",
        Named::As("salts: recipes worse than the exact solver's"),
    ),
    promise(
        "Times as fast as that solver, medians",
        None,
        "times",
        "ratios",
        Named::As("salts: times as fast as SCIP, medians"),
    ),
    promise(
        "Stored size of a finished batch with 60 readings",
        Some(AtMost(2000.0)),
        "characters",
        "book",
        Named::As("stored size of a finished batch with 60 readings"),
    ),
    promise(
        "Of 1,000 such batches, in the browser's store at once",
        Some(AtLeast(1000.0)),
        "",
        "book",
        Named::As("of 1,000 batches, stored at once"),
    ),
    promise("Accessibility: states checked", None, "", "people", Named::With("states")),
    promise("Accessibility: axe violations", Some(AtMost(0.0)), "", "people", Named::With("axe violations")),
    promise("Smallest target", Some(AtLeast(48.0)), "px", "people", Named::With("smallest target")),
    promise(
        "Lowest contrast of text, three looks",
        Some(AtLeast(7.0)),
        ": 1",
        "people",
        Named::With("lowest contrast of text"),
    ),
    promise(
        "Book of 1,000 batches on a slow phone: opened, the list painted",
        None,
        "ms",
        "book",
        Named::As("book of 1000 batches, 4x slower: opening to painted list"),
    ),
    promise(
        "Kills of the tab while somebody types",
        None,
        "",
        "kills",
        Named::As("kills of a tab while typing"),
    ),
    promise(
        "Records lost, torn or mixed by a kill",
        Some(AtMost(0.0)),
        "",
        "kills",
        Named::With("records lost, torn or mixed"),
    ),
    promise(
        "Changes older than 300 ms lost by the kill of a tab",
        Some(AtMost(0.0)),
        "",
        "kills",
        Named::With("changes older than 300 ms"),
    ),
    promise(
        "Hostile inputs tried: documents, keepsakes, links, every field",
        Some(AtLeast(1e7)),
        "",
        "fuzz",
        Named::As("hostile inputs tried"),
    ),
    promise("Of them, crashed", Some(AtMost(0.0)), "", "fuzz", Named::As("hostile inputs that crashed")),
    promise("Of them, hung", Some(AtMost(0.0)), "", "fuzz", Named::As("hostile inputs that hung")),
];

impl Promise {
    /// The number that was measured, if there is one.
    fn number(&self, groups: &[(String, Vec<Row>)]) -> Option<f64> {
        let rows = groups.iter().filter(|(name, _)| name == self.group).flat_map(|(_, rows)| rows);
        let mine = rows.filter(|row| match self.row {
            Named::As(name) => row.what == name,
            Named::With(words) => row.what.contains(words),
        });
        // One that was not measured makes the worst of them unknown.
        let numbers: Option<Vec<f64>> = mine.map(Row::number).collect();
        let worse = |one, other| self.limit.map_or(one, |limit| limit.worse(one, other));
        numbers?.into_iter().reduce(worse)
    }

    fn line(&self, groups: &[(String, Vec<Row>)]) -> String {
        let number = self.number(groups);
        let measured = number.map_or_else(|| "not measured".to_owned(), |number| amount(number, self.unit));
        let verdict = match (self.limit, number) {
            (None, _) => "",
            (Some(_), None) => "**not measured**",
            (Some(limit), Some(number)) if limit.holds(number) => "met",
            (Some(_), Some(_)) => "**missed**",
        };
        format!("| {} | {} | {measured} | {verdict} |\n", self.what, bound(self.limit, self.unit))
    }
}

/// A number with groups of three figures.
fn grouped(number: f64) -> String {
    let text = number.to_string();
    let (whole, rest) =
        text.split_once('.').map_or((text.as_str(), None), |(whole, rest)| (whole, Some(rest)));
    let (sign, digits) = whole.strip_prefix('-').map_or(("", whole), |digits| ("-", digits));
    let mut out = sign.to_owned();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if let Some(rest) = rest {
        out.push('.');
        out.push_str(rest);
    }
    out
}

fn amount(number: f64, unit: &str) -> String {
    let unit = if unit == "us" { "µs" } else { unit };
    format!("{} {unit}", grouped(number)).trim_end().to_owned()
}

fn bound(limit: Option<Limit>, unit: &str) -> String {
    match limit {
        None => String::new(),
        Some(AtMost(0.0)) => "0".to_owned(),
        Some(AtMost(most)) => format!("≤ {}", amount(most, unit)),
        Some(AtLeast(least)) => format!("≥ {}", amount(least, unit)),
    }
}

/// The tables, from all groups of rows.
pub fn tables(groups: &[(String, Vec<Row>)]) -> String {
    let mut text = String::from("\n| promise | budget | measured | |\n|---|---|---|---|\n");
    for promise in &PROMISES {
        text += &promise.line(groups);
    }
    for (_, rows) in groups.iter().filter(|(name, _)| name == MACHINE) {
        let facts: Vec<String> = rows.iter().map(|row| format!("{}: {}", row.what, row.value)).collect();
        let _ = write!(text, "\nWhere: {}.\n", facts.join("; "));
    }
    text += "\n<details><summary>All that was measured</summary>\n\n| measured | value | limit |\n|---|---|---|\n";
    for (name, rows) in groups.iter().filter(|(name, _)| name != MACHINE) {
        let _ = writeln!(text, "| **{name}** | | |");
        let shown =
            |row: &&Row| name != SIZE || SHOWN_OF_SIZE.iter().any(|start| row.what.starts_with(start));
        for row in rows.iter().filter(shown) {
            let value = row.number().map_or_else(|| row.value.clone(), |number| amount(number, &row.unit));
            let missed = match (row.limit, row.number()) {
                (Some(limit), Some(number)) if !limit.holds(number) => " **missed**",
                _ => "",
            };
            let _ = writeln!(text, "| {} | {value} | {}{missed} |", row.what, bound(row.limit, &row.unit));
        }
    }
    text += "\n</details>\n\n";
    text
}

/// The README with these tables in the place of its own.
fn with_tables(readme: &str, tables: &str) -> Option<String> {
    let (before, rest) = readme.split_once(BEGINS)?;
    let (_, after) = rest.split_once(ENDS)?;
    Some([before, BEGINS, tables, ENDS, after].concat())
}

/// Puts the tables into the README.
///
/// # Errors
/// When the README cannot be read or written, or has no place for them.
pub fn rewrite(workspace: &Workspace, groups: &[(String, Vec<Row>)]) -> Result<(), MeasuresError> {
    let path = workspace.root.join("README.md");
    let unreadable = |error| MeasuresError::Unreadable(path.clone(), error);
    let readme = fs::read_to_string(&path).map_err(unreadable)?;
    let new = with_tables(&readme, &tables(groups)).ok_or(MeasuresError::NoPlace)?;
    fs::write(&path, new).map_err(unreadable)
}

#[cfg(test)]
mod tests {
    use super::super::table;
    use super::*;

    #[test]
    fn the_tables_of_the_readme_are_those_of_the_files() {
        let workspace = Workspace::find();
        let readme = fs::read_to_string(workspace.root.join("README.md")).expect("a README");
        let groups = table::all(&workspace).expect("rows");
        let new = with_tables(&readme, &tables(&groups)).expect("a place for the tables");
        assert!(new == readme, "`cargo xtask bench --table` brings the README up to date");
    }

    #[test]
    fn every_promise_has_its_line_and_what_was_not_measured_says_so() {
        let nothing = tables(&[]);
        for promise in &PROMISES {
            let line = nothing.lines().find(|line| line.starts_with(&format!("| {} |", promise.what)));
            assert!(line.is_some_and(|line| line.contains("not measured")), "{}", promise.what);
        }
    }

    #[test]
    fn every_promise_finds_its_row_in_the_files_that_the_bench_writes() {
        let groups = table::all(&Workspace::find()).expect("rows");
        let written: Vec<&str> = groups.iter().map(|(name, _)| name.as_str()).collect();
        for promise in PROMISES.iter().filter(|promise| written.contains(&promise.group)) {
            let found =
                groups.iter().filter(|(name, _)| name == promise.group).flat_map(|(_, rows)| rows).any(
                    |row| match promise.row {
                        Named::As(name) => row.what == name,
                        Named::With(words) => row.what.contains(words),
                    },
                );
            assert!(found, "{}: no such row in {}.tsv", promise.what, promise.group);
        }
    }

    #[test]
    fn a_missed_budget_is_called_missed() {
        let group = |value, unit| {
            vec![("weight".to_owned(), vec![Row::new("everything needed offline, brotli", value, unit)])]
        };
        assert!(tables(&group(299.0, "kB")).contains("| ≤ 300 kB | 299 kB | met |"));
        assert!(tables(&group(301.0, "kB")).contains("| ≤ 300 kB | 301 kB | **missed** |"));
    }

    #[test]
    fn of_several_rows_the_worst_counts_and_one_that_is_missing_hides_nothing() {
        let ratio = |times| Row::new("water: times as fast as PHREEQC, x", times, "times");
        let met = |rows| tables(&[("ratios".to_owned(), rows)]);
        assert!(met(vec![ratio(900.0), ratio(310.0)]).contains("| 310 times | met |"));
        assert!(met(vec![ratio(900.0), ratio(290.0)]).contains("| 290 times | **missed** |"));
        let gone = Row::missing("water: times as fast as PHREEQC, y", "no Python");
        assert!(!met(vec![ratio(900.0), gone]).contains("900 times | met"));
    }

    #[test]
    fn long_numbers_are_read_in_groups() {
        assert_eq!(amount(1_234_567.0, "us"), "1,234,567 µs");
        assert_eq!(amount(-1234.5, ""), "-1,234.5");
        assert_eq!(amount(0.25, "ms"), "0.25 ms");
    }
}
