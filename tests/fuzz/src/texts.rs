//! Targets that take a text as it may lie in the store, in a file, behind a link or in a field.

use crate::preferences::Preferences;
use crate::sound;
use batch::document::{Field, MaltField, Reading, ReadingKind, Slot, Spec, WaterField};
use batch::doubt::meant;
use batch::json::Json;
use batch::keep::link::{self, LinkError, Part, forged};
use batch::keep::{
    Contents, Envelope, KeepError, Keepsake, Opened, Peeked, SetAside, decode, encode, merge, pack, peek,
    preview, read, unpack, write,
};
use batch::moment::Moment;
use batch::qr;
use batch::timer::unheard_in;
use calc::quantity::{Amount, Dimension, NumberError, Unit, parse_number, parse_range, settled_text};
use std::cell::OnceCell;

/// What a store, a file or a field can hold: text. Broken bytes become U+FFFD, as the browser makes them.
fn text_of(input: &[u8]) -> String {
    String::from_utf8_lossy(input).into_owned()
}

fn opened(envelope: &Envelope) {
    let batch = &envelope.data;
    let now = Moment::from_seconds(1_754_300_000);
    let which = envelope.saved.as_seconds() as u8;
    let plan = sound::planned(batch, now, which);
    sound::tabled(batch);
    sound::kept(envelope);
    sound::used(batch, &plan, now, which);
}

/// A reason is words, and few of them, whatever was in the text.
fn reason(why: &KeepError) {
    let words = why.to_string();
    assert!(!words.is_empty() && words.chars().count() < 2_000, "{words}");
}

/// One stored record: opened, or refused with its reason.
pub fn stored(input: &[u8]) -> bool {
    let text = text_of(input);
    let plain = unpack(&text);
    assert!(plain.len() <= 40 * text.len());
    if Json::of(&text).is_ok() {
        assert_eq!(unpack(&text), text, "plain JSON was unpacked");
        assert_eq!(unpack(&pack(&text)), text, "packing lost something");
    }
    let _ = unheard_in(&text);
    let peeked = peek(&text);
    match decode(&text) {
        Ok(Opened::Current(envelope)) => {
            assert_eq!(peeked, Ok(Peeked::Current(envelope.summary())));
            opened(&envelope);
            true
        }
        Ok(Opened::Newer(newer)) => {
            assert_eq!(newer.raw, text);
            assert_eq!(peeked, Ok(Peeked::Newer(newer)));
            true
        }
        Err(why) => {
            reason(&why);
            peeked.err().iter().for_each(reason);
            false
        }
    }
}

thread_local! {
    static SPECS: OnceCell<Vec<&'static Spec>> = const { OnceCell::new() };
    static BOOK: OnceCell<Vec<Envelope>> = const { OnceCell::new() };
}

/// The book that keepsakes are brought into: it has other states of what the seeds hold.
fn book() -> Vec<Envelope> {
    BOOK.with(|book| {
        book.get_or_init(|| {
            let mut book = crate::seeds::book();
            for (place, kept) in book.iter_mut().enumerate() {
                kept.data.notes.push_str("ours");
                kept.revision = place as u32;
            }
            book
        })
        .clone()
    })
}

/// A keepsake file: read and brought in without losing anything, or refused with its reason.
pub fn keepsake(input: &[u8]) -> bool {
    let keepsake = match read(&text_of(input)) {
        Ok(keepsake) => keepsake,
        Err(why) => {
            reason(&why);
            return false;
        }
    };
    keepsake.damaged.iter().for_each(|damaged| reason(&damaged.why));
    brought_in(&keepsake);
    !keepsake.batches.is_empty()
}

fn brought_in(keepsake: &Keepsake) {
    let book = book();
    let merged = merge(&book, keepsake);
    assert_eq!(merged.lines.len(), keepsake.batches.len());
    assert_eq!(merged.lines, preview(&book, keepsake));
    let after = merged.onto(book.clone());
    for kept in &book {
        assert!(after.contains(kept) || merged.replaced.contains(kept), "{} is lost", kept.data.id);
    }
    for kept in &after {
        kept.data.check().unwrap();
        assert_eq!(after.iter().filter(|other| other.data.id == kept.data.id).count(), 1, "{}", kept.data.id);
    }
    assert_eq!(merge(&after, keepsake).changed, [], "brought in twice");
    // All of it can be kept again.
    let again = read(&write(&after, Moment::default()).unwrap()).unwrap();
    assert_eq!((again.batches.len(), again.damaged.len()), (after.len(), 0));
}

/// Whatever lies in the store, the keepsake made of it can be read, and nothing of it is missing.
pub fn keeping(input: &[u8]) -> bool {
    let text = text_of(input);
    let parts: Vec<&str> = text.split('\u{1}').collect();
    let kept = |text: &&str| SetAside { key: "tartwright.batch.x".to_owned(), text: (*text).to_owned() };
    let contents = Contents {
        batches: parts.iter().map(kept).collect(),
        set_aside: parts.iter().take(2).map(kept).collect(),
        preferences: parts.last().map(|text| (*text).to_owned()),
    };
    let file = contents.write(Moment::default());
    let found = read(&file).unwrap_or_else(|why| panic!("{why}\n{file}"));
    let batches = found.batches.len() + found.newer.len() + found.damaged.len();
    assert_eq!(batches + found.set_aside.len(), parts.len() + parts.len().min(2));
    for aside in &found.set_aside {
        assert!(parts.contains(&aside.text.as_str()), "{aside:?}");
    }
    batches > 0
}

/// A link, or what only somebody who knows its form could make: any bytes or any text in a sound frame.
pub fn link(input: &[u8]) -> bool {
    let Some((kind, rest)) = input.split_first() else { return false };
    let text = match kind % 3 {
        0 => text_of(rest),
        1 => forged::of_bytes(rest),
        _ => forged::of_text(&text_of(rest).replace('\0', "")),
    };
    match link::read(&text) {
        Ok(envelope) => {
            opened(&envelope);
            for part in [Part::Whole, Part::Recipe] {
                match link::write(&envelope, part) {
                    Ok(text) => {
                        let read = link::read(&text).unwrap();
                        if part == Part::Whole {
                            assert_eq!(encode(&read).unwrap(), encode(&envelope).unwrap());
                        } else {
                            assert!(read.data.readings.is_empty() && read.data.ticks.is_empty());
                        }
                    }
                    Err(LinkError::TooLong(_)) => {}
                    Err(why) => panic!("{why}"),
                }
            }
            true
        }
        Err(why) => {
            let words = why.to_string();
            assert!(!words.is_empty() && words.chars().count() < 2_000, "{words}");
            false
        }
    }
}

/// The preferences in the store or in a keepsake.
pub fn preferences(input: &[u8]) -> bool {
    let Ok(read) = Preferences::of_text(&text_of(input)) else { return false };
    let text = read.to_text();
    let again = Preferences::of_text(&text).unwrap();
    assert_eq!(again.to_text(), text);
    let mut turned = again;
    for &dimension in Dimension::ALL {
        let unit = turned.unit(dimension);
        assert!(dimension.units().contains(&unit));
        turned.next_unit(dimension);
        assert!(dimension.units().len() == 1 || turned.unit(dimension) != unit);
    }
    // A wish for a house number never reaches a plan unsound.
    let house = batch::house::House::learn(&[], &turned.rules);
    let mut batch = batch::demo::demo("x".to_owned(), Moment::from_seconds(1_754_300_000));
    batch.house = house;
    batch.check().unwrap();
    if input.len().is_multiple_of(16) {
        sound::planned(&batch, batch.begun, 0);
    }
    text != Preferences::default().to_text()
}

/// Every unit of every kind of quantity.
fn units() -> impl Iterator<Item = (Dimension, &'static Unit)> {
    Dimension::ALL.iter().flat_map(|&dimension| dimension.units().iter().map(move |unit| (dimension, unit)))
}

/// A number or a range as somebody typed it into a field of any unit.
pub fn number(input: &[u8]) -> bool {
    let Some((which, rest)) = input.split_first() else { return false };
    let text = text_of(rest);
    let (dimension, unit) = units().nth(usize::from(*which) % units().count()).unwrap();
    match parse_number(&text) {
        Ok(value) => {
            assert!(value.is_finite());
            let kept = settled_text(value);
            assert_eq!(settled_text(parse_number(&kept).unwrap()), kept);
        }
        Err(why) => refused(&why),
    }
    if let Ok((low, high)) = parse_range(&text) {
        assert!(low.is_finite() && high.is_none_or(|high| high.is_finite() && low < high), "{low} {high:?}");
    }
    let one = match Amount::parse(dimension, unit, &text) {
        Ok(amount) => {
            reads_back(amount, unit);
            true
        }
        Err(why) => {
            refused(&why);
            false
        }
    };
    let range = match Amount::parse_range(dimension, unit, &text) {
        Ok((low, high)) => {
            [Some(low), high].into_iter().flatten().for_each(|amount| reads_back(amount, unit));
            assert!(!one || high.is_none() || text.contains(['.', ',', '-', '–', '—']), "{text}");
            true
        }
        Err(why) => {
            refused(&why);
            false
        }
    };
    let of_kind = SPECS.with(|all| {
        all.get_or_init(|| {
            let malts = MaltField::ALL.iter().map(|field| field.spec());
            let waters = WaterField::ALL.iter().map(|field| field.spec());
            let read = ReadingKind::ALL.iter().map(|kind| kind.spec());
            Field::ALL.iter().map(|field| field.spec()).chain(malts).chain(waters).chain(read).collect()
        })
        .iter()
        .filter(|spec| spec.dimension == dimension)
        .copied()
        .collect::<Vec<_>>()
    });
    for spec in of_kind.iter().take(4) {
        for near in [None, Some(spec.low), Some(spec.high)] {
            if let Some(meant) = meant(spec, unit, &text, near) {
                spec.check(meant).unwrap();
            }
        }
        if let Ok(amount) = Amount::parse(dimension, unit, &text)
            && spec.check(amount).is_ok()
        {
            sound::shows(amount, spec.label);
        }
    }
    one || range
}

fn refused(why: &NumberError) {
    let words = why.to_string();
    assert!(words.chars().count() < 200, "{words}");
}

/// What was accepted is finite, and its field's own text reads back as it.
fn reads_back(amount: Amount, unit: &Unit) {
    assert!(amount.is_finite());
    let dimension = amount.dimension;
    for text in [amount.entry_text(unit), amount.number_text(unit)] {
        assert!(text.len() < 400, "{text}");
        // Specific gravity is a curve that turns back beyond all sugar; a field keeps nothing from there.
        let a_curve = dimension.units().iter().any(|unit| unit.key == "sg");
        let sg = match dimension {
            Dimension::SpecificGravity => amount.base(),
            _ => Amount::in_base(Dimension::Gravity, amount.base()).in_unit(&Dimension::Gravity.units()[1]),
        };
        if !amount.in_unit(unit).is_finite() || (a_curve && !(0.9..=1.4).contains(&sg)) {
            continue;
        }
        let again =
            Amount::parse(dimension, unit, &text).unwrap_or_else(|why| panic!("{amount:?} {text}: {why}"));
        let (was, is) = (amount.in_unit(unit), again.in_unit(unit));
        let shown = if text == amount.number_text(unit) {
            0.51 * 0.1f64.powi(i32::from(unit.decimals))
        } else {
            1e-6
        };
        assert!(
            (was - is).abs() <= shown.max(1e-8 * was.abs()),
            "{was} shown as {text}, read as {is} {}",
            unit.symbol
        );
    }
}

/// Notes of readings on their way into a spreadsheet.
pub fn table(input: &[u8]) -> bool {
    let mut batch = batch::demo::demo("x".to_owned(), Moment::from_seconds(1_754_300_000));
    let text = text_of(input);
    for (place, note) in text.split('\u{1}').take(8).enumerate() {
        let kind = ReadingKind::ALL[place % ReadingKind::ALL.len()];
        let at = Moment::from_seconds(
            input.iter().fold(0, |sum: i64, byte| sum.wrapping_mul(251) + i64::from(*byte)),
        );
        batch.readings.add(Reading {
            kind,
            value: kind.spec().low,
            at,
            temperature: None,
            note: note.to_owned(),
        });
    }
    sound::tabled(&batch);
    true
}

/// Any text as a code: it fits and is a drawing, or it is too long.
pub fn code(input: &[u8]) -> bool {
    let text = text_of(input);
    let Some(code) = qr::code(&text) else {
        assert!(text.len() > qr::MOST);
        return false;
    };
    assert!(text.len() <= qr::MOST);
    assert!((29..=185).contains(&code.size) && (code.size - 8 - 17) % 4 == 0, "{}", code.size);
    assert!(code.path.bytes().all(|byte| byte.is_ascii_alphanumeric() || b" ,.-".contains(&byte)));
    assert!(code.path.len() < 400_000);
    true
}

/// Every field refuses what is no number, and what is out of its range.
pub fn refuses_what_is_none(batch: &mut batch::document::Batch, slot: Slot) {
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN] {
        assert!(
            slot.set(batch, Some(Amount::in_base(slot.spec().dimension, value))).is_err(),
            "{slot:?} {value}"
        );
    }
}
