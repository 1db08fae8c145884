//! Numbers as decimal digits, written and read.
//!
//! What the standard library has for this is right to the last bit of any number and carries tables for
//! that, a twentieth of the whole app. What is shown, typed and kept here has few digits, and for those
//! whole-number arithmetic is exact too.

/// Digits of a number as it is kept: more than any kit can measure and one more than an entry field shows.
const DIGITS: i32 = 10;
/// A whole number of this many digits more than fits an f64.
const MOST: f64 = 1e18;
/// The last power of ten that an f64 holds exactly.
const EXACT: i32 = 22;

/// Ten to the power of `places`, exact for 0 to [`EXACT`].
fn power_of_ten(places: i32) -> f64 {
    (0..places).fold(1.0, |power, _| power * 10.0)
}

/// A number times ten to the power of `places`. The product is rounded once, and so as right as an f64
/// can be, where `places` is between -[`EXACT`] and [`EXACT`].
fn shifted(number: f64, places: i32) -> f64 {
    let (mut number, mut left) = (number, places.clamp(-700, 700));
    while left != 0 {
        let step = left.clamp(-EXACT, EXACT);
        number = if step < 0 { number / power_of_ten(-step) } else { number * power_of_ten(step) };
        left -= step;
    }
    number
}

/// The number as text with this many digits (at most 9) behind its decimal point; a minus zero has no sign.
/// Numbers of 10¹⁸ and more of the last digit keep ten digits, with zeros behind them. What is not finite
/// gives a question mark.
pub fn fixed(value: f64, decimals: u8) -> String {
    if !value.is_finite() {
        return "?".to_owned();
    }
    let places = i32::from(decimals.min(9));
    let whole = shifted(value.abs(), places).round();
    let (digits, places) = if whole < MOST { (whole as u64, places) } else { ten_digits(value) };
    let mut text = if value < 0.0 && digits > 0 { "-".to_owned() } else { String::new() };
    text.push_str(&pointed(digits, places));
    text
}

/// The digits of a whole number, the last `places` of them behind a point.
fn pointed(digits: u64, places: i32) -> String {
    let mut text = digits.to_string();
    if places <= 0 {
        text.extend((places..0).map(|_| '0'));
        return text;
    }
    let places = places.unsigned_abs() as usize;
    while text.len() <= places {
        text.insert(0, '0');
    }
    text.insert(text.len() - places, '.');
    text
}

/// The size of a number as a whole number of at most ten digits and how many of them lie behind the point.
fn ten_digits(value: f64) -> (u64, i32) {
    let size = value.abs();
    if size == 0.0 || !size.is_finite() {
        return (0, 0);
    }
    // With no more places than that, reading the text again is exact.
    let mut places = (DIGITS - 1 - size.log10().floor() as i32).min(EXACT);
    let mut digits = shifted(size, places).round();
    // The logarithm is a hair off beside a power of ten.
    if digits >= power_of_ten(DIGITS) {
        places -= 1;
        digits = shifted(size, places).round();
    }
    (digits as u64, places)
}

/// The number as it is kept: rounded to ten significant digits and 22 places. Settled numbers read back
/// exactly from [`settled_text`], with any reader that multiplies or divides whole digits by a power of ten.
pub fn settled(value: f64) -> f64 {
    // Whole numbers of that length are settled already.
    if !value.is_finite() || (value.fract() == 0.0 && value.abs() < power_of_ten(DIGITS)) {
        return value;
    }
    let (digits, places) = ten_digits(value);
    shifted(digits as f64, -places).copysign(value)
}

/// A [`settled`] number in its shortest decimal form; a number that is not settled is rounded as that does.
pub fn settled_text(value: f64) -> String {
    let (mut digits, mut places) = ten_digits(value);
    if digits == 0 {
        return "0".to_owned();
    }
    while digits.is_multiple_of(10) {
        digits /= 10;
        places -= 1;
    }
    let mut text = if value < 0.0 { "-".to_owned() } else { String::new() };
    if (-DIGITS..=EXACT).contains(&places) {
        text.push_str(&pointed(digits, places));
    } else {
        text.push_str(&digits.to_string());
        text.push('e');
        text.push_str(&(-places).to_string());
    }
    text
}

/// Reads digits with at most one point and at most one exponent, behind a sign or none: exact for up to
/// fifteen digits and 22 places, right to the last bits for others. May give an infinity, never a NaN.
pub fn read_decimal(text: &str) -> Option<f64> {
    let (mantissa, exponent) = match text.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().ok()?),
        None => (text, 0),
    };
    let size = mantissa.strip_prefix(['-', '+']).unwrap_or(mantissa);
    let (whole, behind) = size.split_once('.').unwrap_or((size, ""));
    if whole.is_empty() && behind.is_empty() {
        return None;
    }
    let (mut digits, mut places) = (0_u64, 0_i32);
    for (at, digit) in whole.bytes().chain(behind.bytes()).enumerate() {
        if !digit.is_ascii_digit() {
            return None;
        }
        let is_behind = at >= whole.len();
        if digits < u64::MAX / 100 {
            digits = digits * 10 + u64::from(digit - b'0');
            places += i32::from(is_behind);
        } else {
            places -= i32::from(!is_behind);
        }
    }
    let size = if digits == 0 { 0.0 } else { shifted(digits as f64, exponent.saturating_sub(places)) };
    Some(if mantissa.starts_with('-') { -size } else { size })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn digits_are_written_as_people_write_them() {
        for (value, decimals, text) in [
            (0.0, 0, "0"),
            (-0.001, 1, "0.0"),
            (-0.06, 1, "-0.1"),
            (0.05, 3, "0.050"),
            (12.0, 2, "12.00"),
            (999.96, 1, "1000.0"),
            (1e15, 0, "1000000000000000"),
            (1.5e19, 2, "15000000000000000000"),
            (f64::NAN, 1, "?"),
            (f64::INFINITY, 1, "?"),
        ] {
            assert_eq!(fixed(value, decimals), text, "{value}");
        }
    }

    #[test]
    fn settled_numbers_are_short() {
        for (value, text) in [
            (0.0, "0"),
            (-0.0, "0"),
            (18.0, "18"),
            (-2.5, "-2.5"),
            (5.1, "5.1"),
            (1.0 / 3.0, "0.3333333333"),
            (2e-5 / 3.0, "0.000006666666667"),
            (9_999_999_999.0, "9999999999"),
            (99_999_999_999.0, "1e11"),
            (1e-30, "0"),
            (1.25e30, "125e28"),
        ] {
            assert_eq!(settled_text(value), text, "{value}");
        }
    }

    #[test]
    fn absurd_numbers_stay_numbers() {
        for (text, value) in [
            ("1e400", f64::INFINITY),
            ("-1e400", f64::NEG_INFINITY),
            ("1e-400", 0.0),
            ("0e999999999", 0.0),
            ("1e-2147483648", 0.0),
            ("1e2147483647", f64::INFINITY),
        ] {
            assert_eq!(read_decimal(text), Some(value), "{text}");
        }
        for text in ["", ".", "-", "+.", "1e", "e5", "1.2.3", "--5", "1e5e5", "1e99999999999", "0x1"] {
            assert_eq!(read_decimal(text), None, "{text}");
        }
    }

    proptest! {
        // The standard library is right to the last bit: it is the measure.
        #[test]
        fn reads_as_the_standard_library_does(digits in 0..1_000_000_000_000_000_u64, places in -22..=22_i32) {
            let text = format!("{digits}e{places}");
            prop_assert_eq!(read_decimal(&text), text.parse::<f64>().ok());
        }

        #[test]
        fn reads_long_numbers_nearly_as_the_standard_library_does(value in -1e18..1e18f64, places in -30..30_i32) {
            let value = value * 10f64.powi(places);
            let text = format!("{value}");
            let found = read_decimal(&text).unwrap();
            prop_assert!((found - value).abs() <= 1e-15 * value.abs(), "{found} {value}");
        }

        #[test]
        fn writes_as_the_standard_library_does(value in -1e6..1e6f64, decimals in 0..=6_u8) {
            let (text, exact) = (fixed(value, decimals), format!("{value:.*}", usize::from(decimals)));
            // Halfway between two last digits the binary number decides there, the decimal one here.
            let apart = (text.parse::<f64>().unwrap() - exact.parse::<f64>().unwrap()).abs();
            let scaled = value.abs() * 10f64.powi(i32::from(decimals));
            let halfway = (scaled.fract() - 0.5).abs() < 1e-6 * scaled.max(1.0);
            prop_assert!(apart == 0.0 || (halfway && apart <= 1.01 * 0.1f64.powi(i32::from(decimals))), "{text} {exact}");
        }

        #[test]
        fn a_settled_number_stays_as_it_is(value in -1e9..1e9f64, places in 0..30_i32) {
            let settled = super::settled(value * 10f64.powi(-places));
            prop_assert_eq!(super::settled(settled), settled);
            let text = settled_text(settled);
            prop_assert_eq!(text.parse::<f64>().unwrap(), settled, "{}", text);
            prop_assert_eq!(read_decimal(&text), Some(settled));
        }

        #[test]
        fn no_number_brings_the_writers_down(bits: u64, decimals: u8) {
            let value = f64::from_bits(bits);
            fixed(value, decimals);
            let settled = super::settled(value);
            prop_assert!(settled.is_nan() == value.is_nan());
            settled_text(value);
        }

        #[test]
        fn no_text_brings_the_reader_down(text in "[-+0-9.eE]{0,30}|.{0,30}") {
            prop_assert!(read_decimal(&text).is_none_or(|value| !value.is_nan()));
        }
    }
}
