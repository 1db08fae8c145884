//! One measured number per row.

/// What was measured, and what it should stay under.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    what: String,
    value: f64,
    unit: String,
    budget: Option<f64>,
}

impl Row {
    /// A measured value in `unit`.
    pub fn new(what: impl Into<String>, value: f64, unit: impl Into<String>) -> Self {
        Self { what: what.into(), value, unit: unit.into(), budget: None }
    }

    /// Adds the most the value should be, in the same unit.
    pub fn at_most(self, budget: f64) -> Self {
        Self { budget: Some(budget), ..self }
    }

    /// Reads a line that a measuring test wrote: what, value, unit and possibly a budget, between tabs.
    pub fn parse(line: &str) -> Option<Self> {
        let mut fields = line.split('\t');
        let row = Self::new(fields.next()?, fields.next()?.parse().ok()?, fields.next()?);
        match fields.next() {
            Some(budget) => Some(row.at_most(budget.parse().ok()?)),
            None => Some(row),
        }
    }
}

/// Prints the rows under each other.
pub fn print(rows: &[Row]) {
    println!("{:<60} {:>10} {:<4} {:>10}", "measured", "value", "", "budget");
    for Row { what, value, unit, budget } in rows {
        let verdict = match budget {
            Some(most) if value > most => format!("{most:>10} OVER"),
            Some(most) => format!("{most:>10}"),
            None => String::new(),
        };
        println!("{what:<60} {value:>10.1} {unit:<4} {verdict}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_read_with_and_without_budget() {
        assert_eq!(Row::parse("load\t12.5\tms"), Some(Row::new("load", 12.5, "ms")));
        assert_eq!(Row::parse("load\t12.5\tms\t20"), Some(Row::new("load", 12.5, "ms").at_most(20.0)));
        assert_eq!(Row::parse("test load ... ok"), None);
    }
}
