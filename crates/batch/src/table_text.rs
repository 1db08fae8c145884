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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::any_batch;
    use proptest::prelude::*;

    #[test]
    fn a_moment_by_its_date() {
        // 2000-02-29 and 1900-03-01: one century has its leap day, the other has none.
        for (seconds, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_399, "2000-02-28T23:59:59Z"),
            (951_868_799, "2000-02-29T23:59:59Z"),
            (-2_203_891_200, "1900-03-01T00:00:00Z"),
            (-2_203_891_201, "1900-02-28T23:59:59Z"),
            (4_107_542_399, "2100-02-28T23:59:59Z"),
            (4_107_542_400, "2100-03-01T00:00:00Z"),
        ] {
            assert_eq!(iso(Moment::from_seconds(seconds)), text);
        }
        let _ = (iso(Moment::from_seconds(i64::MAX)), iso(Moment::from_seconds(i64::MIN)));
    }

    /// The seconds of such a text, by counting the days of every year and month before it.
    fn seconds(text: &str) -> i64 {
        let part = |from: usize, to: usize| text[from..to].parse::<i64>().unwrap();
        let (year, month, day) = (part(0, 4), part(5, 7), part(8, 10));
        let leap = |year: i64| i64::from(year % 4 == 0 && (year % 100 != 0 || year % 400 == 0));
        let years: i64 = (1970..year).map(|year| 365 + leap(year)).sum();
        let lengths = [31, 28 + leap(year), 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
        let days = years + lengths[..month as usize - 1].iter().sum::<i64>() + day - 1;
        ((days * 24 + part(11, 13)) * 60 + part(14, 16)) * 60 + part(17, 19)
    }

    proptest! {
        #[test]
        fn another_reader_finds_every_reading(batch in any_batch()) {
            let table = readings_table(&batch);
            let mut reader = csv::ReaderBuilder::new().from_reader(table.as_bytes());
            let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
            prop_assert_eq!(head, ["kind", "value", "unit", "time_utc", "temperature_c", "note"]);
            let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
            prop_assert_eq!(rows.len(), batch.readings.len());
            for (row, reading) in rows.iter().zip(batch.readings.iter()) {
                let spec = reading.kind.spec();
                prop_assert_eq!(&row[0], spec.key);
                let unit = spec.dimension.units().iter().find(|unit| unit.symbol == &row[2]).unwrap();
                let value = unit.to_base(row[1].parse().unwrap());
                prop_assert!((value - reading.value.base()).abs() <= 1e-9 * value.abs(), "{} {:?}", &row[1], reading);
                let at = reading.at.as_seconds();
                if (0..253_402_300_800).contains(&at) {
                    prop_assert_eq!(seconds(&row[3]), at);
                }
                let warm = reading.temperature.map(|warm| warm.as_celsius());
                prop_assert_eq!(row[4].parse().ok(), warm);
                // Nothing is left that a spreadsheet would reckon with, and nothing is lost.
                prop_assert!(!row[5].starts_with(['=', '+', '-', '@', '\t', '\r', '\n']), "{}", &row[5]);
                let guarded = reading.note.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
                prop_assert_eq!(if guarded { &row[5][1..] } else { &row[5] }, &reading.note);
            }
        }
    }
}
