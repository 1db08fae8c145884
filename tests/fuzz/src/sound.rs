//! What must hold of every batch that was accepted, from wherever it came.

use batch::again::{Target, again};
use batch::change::{Wish, change, pointed};
use batch::compare::{compare, trends};
use batch::document::{Batch, Reading, Slot};
use batch::doubt::{doubt, expected};
use batch::effect::effect;
use batch::house::{House, Rules};
use batch::keep::{Envelope, Opened, decode, encode, pack, peek, stored_text, unpack};
use batch::label::label;
use batch::moment::Moment;
use batch::plan::{Figure, Plan, catch_up, next_move, plan, run_list, souring_days};
use batch::report::plan_json;
use batch::say::{Piece, Sentence};
use batch::sheet::sheet;
use batch::table_text::readings_table;
use batch::timer;
use calc::quantity::{Amount, Duration, Estimate, Quantity};

/// Characters of the program's own words that a batch may bring about, beside those of its own texts.
const OWN_WORDS: usize = 400_000;

/// A number that can be shown, in every unit that a person may choose.
pub fn shows(amount: Amount, what: &str) {
    assert!(amount.is_finite(), "{what}: {amount:?}");
    for unit in amount.dimension.units() {
        // What is finite has a text: the target `number` sees to that.
        assert!(amount.in_unit(unit).is_finite(), "{what}: {amount:?} in {}", unit.symbol);
    }
}

fn band<Q: Quantity>(found: Estimate<Q>, what: &str) {
    let (low, value, high) = (found.low.base(), found.value.base(), found.high.base());
    assert!(
        low.is_finite() && high.is_finite() && low <= value && value <= high,
        "{what}: {low} {value} {high}"
    );
}

/// A sentence that can be shown; how long it is.
fn says(sentence: &Sentence, what: &str) -> usize {
    let mut length = 0;
    for piece in sentence {
        length += match piece {
            Piece::Words(words) => words.len(),
            Piece::Name(name) => name.len(),
            Piece::Amount(amount) => {
                shows(*amount, what);
                20
            }
            Piece::Time(_) => 20,
        };
    }
    length
}

/// Characters of the batch's own texts.
fn own_texts(batch: &Batch) -> usize {
    let names =
        batch.grist.iter().map(|malt| malt.name.len()).chain(batch.hops.iter().map(|hop| hop.name.len()));
    let names = names.chain(batch.fruit.iter().map(|fruit| fruit.name.len()));
    let notes = batch.readings.iter().map(|reading| reading.note.len());
    let names = names.chain(batch.timers.iter().map(|timer| timer.name.len()));
    let notes = notes.chain(batch.tastings.iter().map(|tasting| tasting.note.len()));
    let waters = batch.waters.iter().map(|water| water.name.len());
    batch.name.len() + batch.notes.len() + names.sum::<usize>() + notes.sum::<usize>() + waters.sum::<usize>()
}

/// The plan of a sound batch is total, finite and in order, and so is everything that is shown of it.
///
/// `which` chooses what is looked at beside the figures: all of it takes ten times as long as the plan.
pub fn planned(batch: &Batch, now: Moment, which: u8) -> Plan {
    batch.check().unwrap();
    let plan = plan(batch);
    for &figure in Figure::ALL {
        match figure.of(&plan.figures) {
            Ok(shown) => {
                for amount in [shown.low, shown.value, shown.high] {
                    shows(amount, figure.label());
                }
                assert!(
                    shown.low.base() <= shown.value.base() && shown.value.base() <= shown.high.base(),
                    "{figure:?} {shown:?}"
                );
            }
            Err(unknown) => assert!(says(&unknown.sentence(), figure.label()) > 0),
        }
    }
    for point in &plan.course {
        assert!(point.at.is_finite(), "{point:?}");
        band(Estimate { low: point.low, value: point.value, high: point.high }, "course");
    }
    for lesson in &plan.lessons {
        assert!(lesson.observed.is_finite(), "{lesson:?}");
    }
    band_of(plan.buffer_scale, "buffering");
    band_of(plan.souring_speed, "speed");
    band_of(plan.mash_ph_shift, "shift");
    band_of(plan.attenuation_seen, "attenuation");
    band_of(plan.pulp_kept, "pulp");
    band_of(plan.left_under, "left under");
    for salt in &plan.salts {
        shows(salt.all().amount(), "salt");
        assert!(salt.mash.base() >= 0.0 && salt.rinse.base() >= 0.0, "{salt:?}");
    }
    for ion in &plan.ions {
        for amount in [ion.before, ion.after, ion.low, ion.high] {
            shows(amount.amount(), "ion");
        }
    }
    for line in &plan.malts {
        line.mass.into_iter().for_each(|mass| shows(mass.amount(), "malt"));
        line.share.into_iter().for_each(|share| shows(share.amount(), "malt"));
    }
    for bitterness in &plan.hops {
        shows(bitterness.amount(), "hops");
    }
    if let Some(level) = &plan.level {
        let additions = level.additions.iter().map(|addition| addition.1);
        for volume in [level.vessel, level.beer, level.with_fruit, level.foam].into_iter().chain(additions) {
            shows(volume.amount(), "level");
        }
    }
    for (what, volume) in &plan.kettle {
        shows(volume.amount(), what);
    }
    for brought in &plan.brought {
        shows(brought.sugar.amount(), &brought.name);
        shows(brought.acid.amount(), &brought.name);
        shows(brought.alcohol.amount(), &brought.name);
    }
    shows(plan.sulfite.amount(), "sulfite");
    if which & 0x18 == 0 {
        pictures(batch, &plan);
    }
    if which & 0x60 == 0 {
        words(batch, &plan, now);
    } else {
        says(&next_move(batch, &plan, now).says, "next move");
    }
    plan
}

fn band_of<Q: Quantity>(found: Option<Estimate<Q>>, what: &str) {
    found.into_iter().for_each(|found| band(found, what));
}

/// What is drawn has places that can be drawn.
fn pictures(batch: &Batch, plan: &Plan) {
    for (acid, ph) in plan.mash_course(batch).into_iter().chain(plan.drop_course().into_iter().flatten()) {
        shows(acid.amount(), "course of acid");
        band(ph, "course of pH");
    }
    for (time, bitterness) in plan.bitterness_course() {
        assert!(time.is_finite());
        shows(bitterness.amount(), "course of bitterness");
    }
    let (pressures, limit) = plan.pressure_course();
    shows(limit.amount(), "limit of pressure");
    for (temperature, pressure) in pressures {
        shows(temperature.amount(), "course of pressure");
        band(pressure, "course of pressure");
    }
}

/// All that is said, and not endlessly much of it.
fn words(batch: &Batch, plan: &Plan, now: Moment) {
    let mut length = 0;
    let lists = [&plan.rests, &plan.fixes, &plan.fruit];
    for sentence in lists.into_iter().flatten().chain(plan.warnings.iter().map(|warning| &warning.says)) {
        length += says(sentence, "plan");
    }
    let next = next_move(batch, plan, now);
    assert!(!next.says.is_empty());
    length += says(&next.says, "next move");
    for item in run_list(batch, plan, now) {
        let words = item.words(batch, plan, now);
        assert!(!words.says.is_empty(), "{item:?}");
        length += says(&words.says, "run list");
        length += words.details.iter().map(|detail| says(detail, "run list")).sum::<usize>();
        for offer in &words.timers {
            assert!(offer.lasts.is_finite());
            length += says(&offer.name, "timer");
        }
        let due =
            |due: batch::plan::Due| assert!(due.early <= due.about && due.about <= due.late, "{item:?}");
        item.starts.into_iter().chain(item.ends).for_each(due);
    }
    length += souring_days(batch, plan, now).iter().map(|day| says(&day.says, "souring days")).sum::<usize>();
    for section in sheet(batch, plan) {
        assert!(!section.lines.is_empty());
        length += section.lines.iter().map(|line| says(line, section.title)).sum::<usize>();
    }
    length += label(batch, plan).iter().map(|line| says(line, "label")).sum::<usize>();
    for timer in &batch.timers {
        length += says(&timer::says(timer, now), "timer");
        if let timer::Left::Running(left) = timer::left(timer, now) {
            assert!(timer::countdown(left).len() < 12);
        }
        let _ = timer::watched(timer, now);
    }
    let most = OWN_WORDS + 40 * own_texts(batch);
    assert!(length <= most, "{length} characters of words, {most} is the most");
}

/// The readings as a table: every row there, no note that a spreadsheet would reckon with.
pub fn tabled(batch: &Batch) {
    let table = readings_table(batch);
    let mut reader = csv::ReaderBuilder::new().from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), batch.readings.len());
    for (row, reading) in rows.iter().zip(batch.readings.iter()) {
        for (column, cell) in row.iter().enumerate() {
            // A year before the first has a minus; a time is digits and signs that no person typed.
            let a_time =
                column == 3 && cell.bytes().all(|byte| byte.is_ascii_digit() || b"-:TZ".contains(&byte));
            let formula = cell.starts_with(['=', '+', '@', '\t', '\r', '\n', '-']);
            assert!(!formula || a_time || cell.parse::<f64>().is_ok(), "{cell:?}");
        }
        assert!(row[5] == reading.note || row[5].strip_prefix('\'') == Some(&reading.note), "{row:?}");
    }
}

/// It is read back as it was written, packed or not.
pub fn kept(envelope: &Envelope) {
    let text = encode(envelope).unwrap();
    let read = opened(&text);
    // Numbers have the digits that are kept, from the second time on.
    assert_eq!(encode(&read).unwrap(), text);
    let packed = stored_text(&read).unwrap();
    assert_eq!(unpack(&packed), text);
    assert_eq!(pack(&text), packed);
    assert_eq!(opened(&packed), read);
    assert_eq!(peek(&packed), Ok(batch::keep::Peeked::Current(read.summary())));
    let unheard = read.data.timers.iter().any(|timer| !timer.heard);
    assert_eq!(timer::unheard_in(&packed), unheard);
}

/// The batch in a text that has just been written.
fn opened(text: &str) -> Envelope {
    match decode(text) {
        Ok(Opened::Current(envelope)) => *envelope,
        other => panic!("written, but not read: {other:?}\n{text}"),
    }
}

/// What is made of a batch with others: compared, changed, brewed again, doubted.
pub fn used(batch: &Batch, plan: &Plan, now: Moment, which: u8) {
    match which % 8 {
        0 => {
            for row in compare(&[(batch, plan), (batch, plan)]) {
                assert!(!row.differs, "{row:?}");
                row.cells.iter().for_each(|cell| {
                    let _ = says(cell, &row.label);
                });
            }
            for trend in trends(&[(batch, plan), (batch, plan)]) {
                trend.points.iter().for_each(|point| shows(point.2, trend.label));
            }
        }
        1 => {
            for &wish in Wish::ALL {
                let Some(found) = change(wish, batch) else { continue };
                says(&found.says, "change");
                found.effect.iter().for_each(|line| {
                    let _ = says(line, "effect of a change");
                });
                let mut changed = batch.clone();
                found.make(&mut changed);
                changed.check().unwrap();
            }
            let _ = pointed(batch);
        }
        2 => {
            let volume =
                Slot::Of(batch::document::Field::BatchVolume).effective(batch).map(|volume| volume.base());
            let target = Target {
                volume: volume.map(|litres| Quantity::from_base(litres * 1.5)),
                kit_of: Some(batch),
            };
            let new = again(batch, target, "new".to_owned(), "New".to_owned(), now, batch.house.clone());
            new.batch.check().unwrap();
            new.says.iter().for_each(|line| {
                let _ = says(line, "again");
            });
        }
        3 => {
            let readings: Vec<&Reading> = batch.readings.iter().take(8).collect();
            for reading in readings {
                if let Some(expected) = expected(batch, plan, reading.kind, reading.at) {
                    reading.kind.spec().check(expected).unwrap();
                }
                if let Some(doubt) = doubt(batch, reading, plan, now) {
                    says(&doubt.says, "doubt");
                    doubt.meant.into_iter().for_each(|meant| {
                        let _ = reading.kind.spec().check(meant).unwrap();
                    });
                }
            }
        }
        4 => {
            let mut before = batch.clone();
            if let Some(last) = before.readings.len().checked_sub(1) {
                let taken = before.readings.remove(last).unwrap();
                let earlier = batch::plan::plan(&before);
                for line in effect((&before, &earlier), (batch, plan), taken.kind, now) {
                    says(&line, "effect");
                }
            }
        }
        5 => {
            let house = House::learn(&plan.lessons, &Rules::default());
            let mut learned = batch.clone();
            learned.house = house;
            learned.check().unwrap();
            planned(&learned, now, !0);
        }
        6 => {
            let mut caught = batch.clone();
            catch_up(&mut caught);
            caught.check().unwrap();
            if let Some(offer) = next_move(&caught, &batch::plan::plan(&caught), now).offer {
                offer.take(&mut caught);
            }
            for timer in &mut caught.timers {
                timer::add(timer, Duration::minutes(5.0), now);
                assert!(matches!(timer::left(timer, now), timer::Left::Running(_)));
            }
        }
        _ => {
            let text = plan_json(batch, plan, now).to_string();
            assert!(text.len() < OWN_WORDS + 40 * own_texts(batch));
            tabled(batch);
        }
    }
}
