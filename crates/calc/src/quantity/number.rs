//! Reading a number as people type it.

use super::decimal::read_decimal;

/// Why a text is not a number.
#[derive(Clone, Debug, PartialEq)]
pub enum NumberError {
    /// Nothing was typed.
    Empty,
    /// The text is not a number; carries it.
    NotANumber(String),
    /// A number beyond what can be computed with; carries the text.
    TooLarge(String),
}

impl std::fmt::Display for NumberError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => f.write_str("Type a number."),
            Self::NotANumber(text) => {
                f.write_str("“")?;
                f.write_str(text)?;
                f.write_str("” is not a number. Use digits with one point or comma, like 1.5 or 1,5.")
            }
            Self::TooLarge(text) => {
                f.write_str("“")?;
                f.write_str(text)?;
                f.write_str("” is too large a number.")
            }
        }
    }
}

/// The text as a refusal shows it: long pasted text would push the message off the screen.
pub(super) fn shown_back(text: &str) -> String {
    text.trim().chars().take(24).collect()
}

/// Reads a number typed with a decimal point or comma.
///
/// A single separator is the decimal one ("1,5" is 1.5). With both kinds, the
/// last is the decimal separator and the others group thousands, and the groups
/// must be of three. Spaces (also narrow and non-breaking ones) may group
/// thousands. A typographic minus is a minus.
///
/// # Errors
/// [`NumberError`] for an empty text, a text that is no number, and a number
/// that is not finite. The answer is always finite.
pub fn parse_number(text: &str) -> Result<f64, NumberError> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(NumberError::Empty);
    }
    let shown = || shown_back(trimmed);
    let wrong = || NumberError::NotANumber(shown());

    let compact: String = trimmed
        .chars()
        .map(|c| match c {
            '\u{2212}' => '-',
            '\u{a0}' | '\u{202f}' | '\u{2009}' => ' ',
            other => other,
        })
        .collect();
    let decimal_at = compact.rfind(['.', ',']);
    let (whole, rest) = match decimal_at {
        Some(at) => (&compact[..at], Some(&compact[at + 1..])),
        None => (compact.as_str(), None),
    };
    let decimal = decimal_at.map(|at| compact.as_bytes()[at]);
    let grouped = whole.contains([' ', '.', ',']);
    let mut plain = String::with_capacity(compact.len());
    if grouped {
        let sign_len = whole.len() - whole.trim_start_matches(['+', '-']).len();
        plain.push_str(&whole[..sign_len]);
        for (place, group) in whole[sign_len..].split([' ', '.', ',']).enumerate() {
            let right_size = if place == 0 { (1..=3).contains(&group.len()) } else { group.len() == 3 };
            if !right_size || !group.bytes().all(|b| b.is_ascii_digit()) {
                return Err(wrong());
            }
            plain.push_str(group);
        }
        // "1.000.000" and "1,000,000" have no decimal part; "1.000,5" has one.
        let same_kind = decimal.is_some_and(|d| whole.as_bytes().contains(&d));
        if same_kind {
            let digits = rest.unwrap_or_default();
            if digits.len() != 3 || !digits.bytes().all(|b| b.is_ascii_digit()) {
                return Err(wrong());
            }
            plain.push_str(digits);
        } else if let Some(digits) = rest {
            plain.push('.');
            plain.push_str(digits);
        }
    } else {
        plain.push_str(whole);
        if let Some(digits) = rest {
            plain.push('.');
            plain.push_str(digits);
        }
    }
    // Rust also reads "inf" and "nan"; people do not mean those.
    let looks_numeric = plain.bytes().any(|b| b.is_ascii_digit())
        && plain.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    if !looks_numeric {
        return Err(wrong());
    }
    let value = read_decimal(&plain).ok_or_else(wrong)?;
    if value.is_finite() { Ok(value) } else { Err(NumberError::TooLarge(shown())) }
}

/// Reads a number or a range, as water reports print them: `40`, `40-60`,
/// `40 – 60`, `40 to 60`, `40..60` or `40,,60` (a phone's numeric keypad has no dash); `<5` is the range from nothing to 5. The
/// second number is the upper end of a range. Ends in either order are put right.
///
/// # Errors
/// [`NumberError`] when either end is no finite number.
pub fn parse_range(text: &str) -> Result<(f64, Option<f64>), NumberError> {
    let range = |one: f64, other: f64| (one.min(other), (one != other).then(|| one.max(other)));
    if let Some(most) = text.trim().strip_prefix('<') {
        return Ok(range(0.0, parse_number(most)?));
    }
    let dash = text
        .char_indices()
        .skip_while(|(_, c)| c.is_whitespace())
        .skip(1)
        .find(|&(at, c)| matches!(c, '–' | '—') || (c == '-' && !text[..at].ends_with(['e', 'E'])));
    let ends = text
        .split_once("..")
        .or_else(|| text.split_once(",,"))
        .or_else(|| text.split_once(" to "))
        .or_else(|| dash.map(|(at, c)| (&text[..at], &text[at + c.len_utf8()..])));
    let Some((one, other)) = ends else { return Ok((parse_number(text)?, None)) };
    Ok(range(parse_number(one)?, parse_number(other)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_what_people_type() {
        for (text, value) in [
            ("1.5", 1.5),
            ("1,5", 1.5),
            (" 18 ", 18.0),
            ("1 234,5", 1234.5),
            ("1.234,5", 1234.5),
            ("1,234.5", 1234.5),
            ("1,234,567", 1_234_567.0),
            ("\u{2212}3", -3.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("1e3", 1000.0),
            ("1,045", 1.045),
        ] {
            assert_eq!(parse_number(text), Ok(value), "{text}");
        }
    }

    #[test]
    fn refuses_what_is_no_number() {
        assert_eq!(parse_number(""), Err(NumberError::Empty));
        assert_eq!(parse_number("  "), Err(NumberError::Empty));
        for text in ["abc", "nan", "inf", "-", ".", "1.2.3", "12 34", "1,23,456", "1e", "5 L", "--5"] {
            assert_eq!(parse_number(text), Err(NumberError::NotANumber(text.to_owned())), "{text}");
        }
        assert_eq!(parse_number("1e400"), Err(NumberError::TooLarge("1e400".to_owned())));
    }

    #[test]
    fn ranges_are_read_as_reports_print_them() {
        for (text, expected) in [
            ("40", (40.0, None)),
            ("40-60", (40.0, Some(60.0))),
            (" 40 – 60 ", (40.0, Some(60.0))),
            ("40,5—60", (40.5, Some(60.0))),
            ("60 to 40", (40.0, Some(60.0))),
            ("7.2..7.6", (7.2, Some(7.6))),
            ("7,2,,7,6", (7.2, Some(7.6))),
            ("<5", (0.0, Some(5.0))),
            ("< 0,5", (0.0, Some(0.5))),
            ("<0", (0.0, None)),
            ("<-5", (-5.0, Some(0.0))),
            ("-3", (-3.0, None)),
            ("-3 - -1", (-3.0, Some(-1.0))),
            ("1e-3", (1e-3, None)),
            ("5-5", (5.0, None)),
        ] {
            assert_eq!(parse_range(text), Ok(expected), "{text}");
        }
        for text in ["", "-", "40-", "–60", "40-60-80", "<", "forty to fifty"] {
            assert!(parse_range(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn any_text_gives_a_finite_number_or_an_error(text in ".{0,40}") {
            if let Ok(value) = parse_number(&text) {
                prop_assert!(value.is_finite());
            }
        }

        #[test]
        fn comma_and_point_mean_the_same(value in -1e6..1e6f64) {
            let text = format!("{value:.3}");
            prop_assert_eq!(parse_number(&text), parse_number(&text.replace('.', ",")));
        }
    }
}
