//! The readings as a table in plain text, for any spreadsheet.

use crate::document::Batch;
use crate::moment::Moment;
use calc::quantity::settled_text;

/// The first line of the table.
const HEAD: &str = "kind,value,unit,time_utc,temperature_c,note\r\n";

/// All readings as comma-separated values by RFC 4180: one line each in the order of their times, under
/// a line of headings.
///
/// - `kind`: what was measured, by its key in the document;
/// - `value` and `unit`: in the base unit, with a point for the decimals;
/// - `time_utc`: by ISO 8601, in UTC;
/// - `temperature_c`: of the sample in °C, empty where none was noted;
/// - `note`: as it was typed. A note that a spreadsheet could take for a formula, because it begins with
///   `=`, `+`, `-`, `@`, a tab or the end of a line, gets an apostrophe before it.
pub fn readings_table(batch: &Batch) -> String {
    let mut out = HEAD.to_owned();
    for reading in batch.readings.iter() {
        let spec = reading.kind.spec();
        let unit = &spec.dimension.units()[0];
        let value = settled_text(reading.value.in_unit(unit));
        let warm = reading.temperature.map(|warm| settled_text(warm.as_celsius())).unwrap_or_default();
        for cell in [spec.key, &value, unit.symbol, &iso(reading.at), &warm] {
            out.push_str(cell);
            out.push(',');
        }
        quote(&mut out, &reading.note);
        out.push_str("\r\n");
    }
    out
}

/// A text that may hold anything, in quotes.
fn quote(out: &mut String, text: &str) {
    if text.is_empty() {
        return;
    }
    out.push('"');
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        out.push('\'');
    }
    for letter in text.chars() {
        if letter == '"' {
            out.push('"');
        }
        out.push(letter);
    }
    out.push('"');
}

/// Year, month and day of a day counted from 1970-01-01, in the Gregorian calendar, which repeats itself
/// every 400 years.
fn civil(days: i64) -> (i64, i64, i64) {
    // Years from March on, so that the odd day of a leap year is the last one.
    let days = days + 719_468;
    let (era, day) = (days.div_euclid(146_097), days.rem_euclid(146_097));
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let of_year = day - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let of_month = of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    (era * 400 + year + i64::from(month <= 2), month, of_month)
}

/// A moment by ISO 8601, in UTC.
fn iso(moment: Moment) -> String {
    let seconds = moment.as_seconds();
    let (year, month, day) = civil(seconds.div_euclid(86_400));
    let of_day = seconds.rem_euclid(86_400);
    format!("{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z", of_day / 3_600, of_day / 60 % 60, of_day % 60)
}
