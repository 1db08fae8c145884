//! Targets that edit a sound batch as a person could, with values that no person would type.

use crate::{sound, texts};
use arbitrary::{Result, Unstructured};
use batch::document::{
    Batch, Chiller, Choices, FruitAddition, FruitForm, FruitPlace, Gas, GristBy, Hop, HopTime, Malt,
    MaltNumbers, Preserved, Reading, ReadingKind, Rest, SaltLine, SampleNumbers, Slot, Spec, Step, Tasting,
    Water, WaterField,
};
use batch::house::{House, HouseNumber, Lesson, Rules};
use batch::keep::Envelope;
use batch::moment::Moment;
use batch::plan::plan;
use batch::timer;
use calc::brew::bitterness::HopForm;
use calc::brew::package::PackageKind;
use calc::brew::treatment::{Disinfectant, Softening, Sulfite};
use calc::brew::water::Finish;
use calc::brew::yeast::YeastForm;
use calc::chem::meter::Compensation;
use calc::data::acids::AcidKind;
use calc::data::cultures::{Culture, Form};
use calc::data::fruits::Fruit;
use calc::data::malts::MaltClass;
use calc::data::salts::Salt;
use calc::quantity::{Amount, Duration, Temperature};

/// The most that the browser's clock can say, in seconds.
const CLOCK: i64 = 8_640_000_000_000;

/// What people put where a word is asked for, and what others put there.
const TEXTS: [&str; 10] = [
    "",
    "<img src=x onerror=alert(1)>",
    "=HYPERLINK(\"x\")",
    "\"],\"until_s\":1,\"heard\":",
    "\u{202e}\u{200b}\u{feff}e\u{301}😀",
    "\0\u{1}\u{7f}\r\n\t",
    "\\u0000\\",
    "¡¢£",
    "null",
    "1e999",
];

/// What a field refuses it leaves as it was.
fn forget<T, E>(_: std::result::Result<T, E>) {}

fn pick<T: Copy>(all: &[T], u: &mut Unstructured<'_>) -> Result<T> {
    u.choose(all).copied()
}

fn text(u: &mut Unstructured<'_>) -> Result<String> {
    Ok(match u.arbitrary::<u8>()? % 16 {
        place @ 0..=9 => TEXTS[usize::from(place)].to_owned(),
        10 => TEXTS[1].repeat(u.int_in_range(1..=160)?),
        _ => {
            let length = u.int_in_range(0..=24)?;
            String::from_utf8_lossy(u.bytes(length.min(u.len()))?).into_owned()
        }
    })
}

fn moment(around: Moment, u: &mut Unstructured<'_>) -> Result<Moment> {
    Ok(match u.arbitrary::<u8>()? {
        0 => Moment::from_seconds(u.arbitrary()?),
        1 => Moment::from_seconds(CLOCK),
        2 => Moment::from_seconds(i64::MIN),
        3 => around,
        kind => {
            // Days, hours or minutes.
            let far = [86_400, 3_600, 60][usize::from(kind % 3)];
            Moment::from_seconds(around.as_seconds().saturating_add(far * i64::from(u.arbitrary::<i8>()?)))
        }
    })
}

/// A value for a field: within its range, at its ends, just beyond them, or far outside.
fn value(spec: &Spec, u: &mut Unstructured<'_>) -> Result<Amount> {
    let (low, high) = (spec.low.base(), spec.high.base());
    let base = match u.arbitrary::<u8>()? % 16 {
        0 => low,
        1 => high,
        // Inside of what the check lets pass for the sake of unit conversion.
        2 => low - 0.9e-9 * (high - low),
        3 => high + 0.999_999_9e-9 * (high - low),
        4 => high + 0.5e-9 * (high - low),
        5 => f64::from_bits(u.arbitrary()?),
        6 => pick(
            &[0.0, -0.0, f64::MIN_POSITIVE, 5e-324, f64::EPSILON, -1.0, 1e308, f64::NAN, f64::INFINITY],
            u,
        )?,
        // Hard by an end.
        7 => low + (high - low) * f64::from(u.arbitrary::<u16>()?) * 1e-12,
        _ => low + (high - low) * f64::from(u.arbitrary::<u16>()?) / 65_535.0,
    };
    Ok(Amount::in_base(spec.dimension, base))
}

/// Types into a field: a value, or a text in one of its units, as the entry field reads it.
fn entry(batch: &mut Batch, slot: Slot, u: &mut Unstructured<'_>) -> Result<()> {
    let spec = slot.spec();
    match u.arbitrary::<u8>()? % 16 {
        0 => forget(slot.set(batch, None)),
        1 => texts::refuses_what_is_none(batch, slot),
        2 => {
            let unit = u.choose(spec.dimension.units())?;
            let typed = text(u)?;
            match slot.upper() {
                Some(upper) => {
                    if let Ok((low, high)) = Amount::parse_range(spec.dimension, unit, &typed) {
                        forget(slot.set(batch, Some(low)));
                        forget(upper.set(batch, high));
                    }
                }
                None => {
                    if let Ok(amount) = Amount::parse(spec.dimension, unit, &typed) {
                        forget(slot.set(batch, Some(amount)));
                    }
                }
            }
        }
        _ => {
            let value = value(spec, u)?;
            let before = batch.clone();
            if slot.set(batch, Some(value)).is_err() {
                assert_eq!(*batch, before, "refused, but changed");
            }
        }
    }
    Ok(())
}

fn any_slot(batch: &Batch, u: &mut Unstructured<'_>) -> Result<Slot> {
    let count = Slot::all(batch).count();
    let place = usize::from(u.arbitrary::<u16>()?) % count;
    Ok(Slot::all(batch).nth(place).unwrap())
}

fn choose(choices: &mut Choices, u: &mut Unstructured<'_>) -> Result<()> {
    match u.arbitrary::<u8>()? % 13 {
        0 => choices.finish = pick(Finish::ALL, u)?,
        1 => choices.softening = pick(Softening::ALL, u)?,
        2 => choices.disinfectant = pick(Disinfectant::ALL, u)?,
        3 => choices.sulfite = pick(Sulfite::ALL, u)?,
        4 => choices.compensation = pick(Compensation::ALL, u)?,
        5 => choices.grist_by = pick(GristBy::ALL, u)?,
        6 => choices.acid = pick(AcidKind::ALL, u)?,
        7 => choices.culture = pick(Culture::ALL, u)?,
        8 => choices.form = pick(Form::ALL, u)?,
        9 => choices.chiller = pick(Chiller::ALL, u)?,
        10 => choices.yeast = pick(YeastForm::ALL, u)?,
        11 => choices.package = pick(PackageKind::ALL, u)?,
        _ => choices.gas = pick(Gas::ALL, u)?,
    }
    Ok(())
}

fn reading(batch: &mut Batch, u: &mut Unstructured<'_>) -> Result<()> {
    let kind = pick(ReadingKind::ALL, u)?;
    let at = moment(batch.begun, u)?;
    let temperature = if u.ratio(1_u8, 4)? {
        Some(Temperature::celsius(-10.0 + 120.0 * f64::from(u.arbitrary::<u8>()?) / 255.0))
    } else {
        None
    };
    let value = value(kind.spec(), u)?;
    let note = if u.ratio(1_u8, 8)? { text(u)? } else { String::new() };
    // As the app does: what is out of range is not taken.
    if kind.spec().check(value).is_ok() {
        batch.readings.add(Reading { kind, value, at, temperature, note });
    }
    Ok(())
}

fn lists(batch: &mut Batch, u: &mut Unstructured<'_>) -> Result<()> {
    match u.arbitrary::<u8>()? % 16 {
        0 => {
            let class = pick(MaltClass::ALL, u)?;
            batch.grist.push(Malt { class, name: text(u)?, numbers: MaltNumbers::default() });
        }
        1 => {
            batch.grist.pop();
        }
        2 => {
            let (form, time) = (pick(HopForm::ALL, u)?, pick(HopTime::ALL, u)?);
            batch.hops.push(Hop { name: text(u)?, form, time, ..Hop::default() });
        }
        3 => {
            batch.hops.pop();
        }
        4 => {
            let mut fruit = FruitAddition::new(pick(Fruit::ALL, u)?);
            fruit.own = u.arbitrary()?;
            fruit.form = pick(FruitForm::ALL, u)?;
            fruit.preserved = pick(Preserved::ALL, u)?;
            fruit.place = pick(FruitPlace::ALL, u)?;
            fruit.name = text(u)?;
            batch.fruit.push(fruit);
        }
        5 => {
            batch.fruit.pop();
        }
        6 => batch.rests.push(Rest { infusion: u.arbitrary()?, ..Rest::default() }),
        7 => {
            batch.rests.pop();
        }
        8 => batch.sample.push(SampleNumbers::default()),
        9 => {
            batch.sample.pop();
        }
        10 => batch.salts.push(SaltLine::new(pick(Salt::ALL, u)?)),
        11 => {
            batch.salts.pop();
        }
        12 => batch.waters.push(Water { name: text(u)?, ..Water::default() }),
        13 => {
            batch.waters.pop();
        }
        14 => {
            let at = moment(batch.begun, u)?;
            batch.tastings.push(Tasting { at, note: text(u)?, ..Tasting::default() });
        }
        _ => batch.own_finish.name = text(u)?,
    }
    Ok(())
}

fn edit(batch: &mut Batch, u: &mut Unstructured<'_>) -> Result<()> {
    match u.arbitrary::<u8>()? % 16 {
        0..=5 => {
            let slot = any_slot(batch, u)?;
            entry(batch, slot, u)?;
        }
        6 | 7 => lists(batch, u)?,
        8 | 9 => reading(batch, u)?,
        10 => choose(&mut batch.choices, u)?,
        11 => {
            let (step, at) = (pick(Step::ALL, u)?, moment(batch.begun, u)?);
            match u.arbitrary::<u8>()? % 3 {
                0 => batch.tick(step, Some(at)),
                1 => batch.skip(step, at),
                _ => batch.tick(step, None),
            }
        }
        12 => {
            let (name, at) = (text(u)?, moment(batch.begun, u)?);
            let lasts = Duration::minutes(f64::from(u.arbitrary::<u16>()?));
            forget(timer::start(&mut batch.timers, name, lasts, at));
            if let Some(timer) = batch.timers.last_mut() {
                timer.heard = u.arbitrary()?;
            }
        }
        13 => match u.arbitrary::<u8>()? % 4 {
            0 => batch.name = text(u)?,
            1 => batch.notes = text(u)?,
            2 => batch.begun = moment(batch.begun, u)?,
            _ => batch.from = text(u)?,
        },
        14 => {
            let number = pick(HouseNumber::ALL, u)?;
            let observed = match number.field() {
                Some(field) => value(field.spec(), u)?,
                None => Amount::in_base(number.dimension(), f64::from(u.arbitrary::<u16>()?) / 8_192.0),
            };
            let sound = number.field().is_none_or(|field| field.spec().check(observed).is_ok());
            if sound {
                let lessons: Vec<Lesson> = (0..u.int_in_range(1..=4)?)
                    .map(|_| Lesson::exact(number, observed, batch.begun))
                    .collect();
                batch.house = House::learn(&lessons, &Rules::default());
            }
        }
        _ => {
            let plan = plan(batch);
            batch.house = House::learn(&plan.lessons, &Rules::default());
        }
    }
    Ok(())
}

fn run(
    mut batch: Batch,
    u: &mut Unstructured<'_>,
    most: usize,
    edit: fn(&mut Batch, &mut Unstructured<'_>) -> Result<()>,
) -> bool {
    let which = u.arbitrary::<u8>().unwrap_or_default();
    let now = moment(batch.begun, u).unwrap_or_default();
    let now = Moment::from_seconds(now.as_seconds().clamp(-CLOCK, CLOCK));
    for _ in 0..most {
        if u.is_empty() || edit(&mut batch, u).is_err() {
            break;
        }
    }
    // Lists and texts can grow too long here; the app lets them not, and nothing of the kind is written.
    if batch.check().is_err() {
        let envelope = Envelope::new(batch);
        assert!(batch::keep::encode(&envelope).is_err());
        return false;
    }
    let plan = sound::planned(&batch, now, which);
    sound::used(&batch, &plan, now, which);
    sound::kept(&Envelope { revision: u32::from(which), ..Envelope::new(batch) });
    true
}

/// Up to 48 edits of an empty batch, the example, one that was brewed to its end, or a souring that is watched.
pub fn edits(input: &[u8]) -> bool {
    let mut u = Unstructured::new(input);
    let bases = crate::seeds::bases();
    let base = usize::from(u.arbitrary::<u8>().unwrap_or_default()) % bases.len();
    run(bases[base].clone(), &mut u, 48, edit)
}

/// Water reports alone: any figures of two waters, and of the ions wanted.
pub fn water(input: &[u8]) -> bool {
    let mut u = Unstructured::new(input);
    let mut batch = crate::seeds::bases()[1].clone();
    batch.waters = vec![Water::default(), Water::default()];
    run(batch, &mut u, 40, |batch, u| {
        let (place, field) = (usize::from(u.arbitrary::<bool>()?), pick(WaterField::ALL, u)?);
        let slots = [
            Slot::Water(place, field),
            Slot::WaterTo(place, field),
            Slot::Finish(field),
            Slot::FinishTo(field),
        ];
        match u.arbitrary::<u8>()? % 8 {
            0 => choose(&mut batch.choices, u),
            kind => entry(batch, slots[usize::from(kind) % 4], u),
        }
    })
}
