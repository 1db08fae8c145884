//! A guess at mistakes: a reading that does not fit the plan or the reading before it, and what was probably
//! meant. A doubt never changes a value; the person does, or does not.

use crate::document::{Batch, Field, Reading, ReadingKind, Slot, Spec, Step};
use crate::moment::Moment;
use crate::plan::{Figure, Plan};
use crate::say::{Sentence, say};
use calc::chem::density::plato_from_sg;
use calc::quantity::{Amount, Dimension, Duration, Quantity, SpecificGravity, Unit, parse_number};

/// Further from what is expected than this many deviations is worth a word.
const FAR: f64 = 4.0;
/// Another way to read a number must fit this well to be offered, in deviations.
const FITS: f64 = 3.0;
/// 80 % band in standard deviations.
const BAND: f64 = 2.0 * 1.281_551_565_544_600_4;
/// Clocks differ by so much, and a time is typed in whole minutes.
const SLACK: Duration = Duration::minutes(2.0);
/// What a hydrometer's specific gravity looks like.
const LIKE_SG: std::ops::RangeInclusive<f64> = 0.98..=1.17;

/// What is odd about a reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// What is odd, in words for the person.
    pub says: Sentence,
    /// The value that was probably meant, in range; none where nothing better is known.
    pub meant: Option<Amount>,
}

/// What is expected of a reading, in the base unit of its kind.
struct Expected {
    /// The likeliest value.
    likely: f64,
    /// All between these two is as good.
    ends: [f64; 2],
    /// Standard deviation below and above them, the meter's own included.
    deviations: [f64; 2],
}

impl Expected {
    /// How many deviations a value lies outside.
    fn off(&self, base: f64) -> f64 {
        let [low, high] = self.ends;
        ((low - base) / self.deviations[0]).max((base - high) / self.deviations[1]).max(0.0)
    }
}

/// Standard deviation of one reading by usual means, in base units: our own estimates of kettles' marks,
/// hydrometers, refractometers, meters and thermometers in use, not of their makers.
fn instrument(batch: &Batch, dimension: Dimension, likely: f64) -> f64 {
    match dimension {
        Dimension::Ph => field(batch, Field::MeterError).unwrap_or(0.05).hypot(0.05),
        Dimension::Gravity | Dimension::Brix => (0.03 * likely).hypot(0.3),
        Dimension::Volume => (0.03 * likely).hypot(0.3),
        Dimension::Temperature => 4.0,
        _ => 0.3 * likely.abs() + 1e-3,
    }
}

fn field(batch: &Batch, field: Field) -> Option<f64> {
    Slot::Of(field).effective(batch).map(|amount| amount.base())
}

/// The figures between which a reading of a kind lies, the likeliest first.
const fn figures(kind: ReadingKind) -> &'static [Figure] {
    match kind {
        ReadingKind::MashAcid => &[Figure::MashAcid],
        ReadingKind::MashBase => &[Figure::MashBase],
        ReadingKind::MashPh => &[Figure::MashPhNow, Figure::MashPhPlain],
        ReadingKind::MashGravity | ReadingKind::PreBoilGravity | ReadingKind::PreBoilBrix => {
            &[Figure::PreBoilGravity]
        }
        ReadingKind::PreBoilVolume => &[Figure::PreBoilVolume],
        ReadingKind::DropAcid => &[Figure::DropAcid],
        ReadingKind::WortPh => &[Figure::WortPh],
        ReadingKind::SourPh => &[Figure::PhThen, Figure::WortPh],
        ReadingKind::SourTemperature => &[],
        ReadingKind::SourAcidity => &[Figure::TitratableAcidityFigure],
        ReadingKind::ChillTime => &[Figure::ChillTime],
        ReadingKind::PostBoilVolume => &[Figure::PostBoilVolume],
        ReadingKind::OriginalGravity => &[Figure::OriginalGravity],
        ReadingKind::FermenterVolume => &[Figure::FermenterVolume],
        ReadingKind::Gravity | ReadingKind::Brix => &[Figure::FinalGravity, Figure::OriginalGravity],
        ReadingKind::BeerPh => &[Figure::FruitedPh, Figure::PhThen],
        ReadingKind::PackagedVolume => &[Figure::PackagedVolume],
    }
}

/// What a plan that does not know a reading yet expects of it.
fn expectation(batch: &Batch, plan: &Plan, kind: ReadingKind, at: Moment) -> Option<Expected> {
    let shown = figures(kind).iter().filter_map(|figure| figure.of(&plan.figures).ok());
    // Value and deviation of all that it lies between.
    let mut points: Vec<[f64; 2]> =
        shown.map(|shown| [shown.value.base(), (shown.high.base() - shown.low.base()) / BAND]).collect();
    let wanted = match kind {
        ReadingKind::MashPh => field(batch, Field::MashPh),
        ReadingKind::WortPh => field(batch, Field::DropPh),
        ReadingKind::SourTemperature => batch
            .readings
            .last(kind)
            .map(|reading| reading.value.base())
            .or_else(|| field(batch, Field::SourTemperature)),
        // What the wort has before any bacteria, about.
        ReadingKind::SourAcidity => Some(1.0),
        _ => None,
    };
    points.extend(wanted.map(|wanted| [wanted, 0.0]));
    if kind == ReadingKind::SourPh
        && let Some(start) = batch.ticked(Step::Culture)
    {
        let since = at - start;
        let later = plan.course.iter().position(|point| point.at >= since);
        // Both neighbours in time: the pH falls between them. Behind the forecast its last point holds.
        let behind = later.unwrap_or(plan.course.len());
        let near = plan.course.get(behind.saturating_sub(1)..(behind + 1).min(plan.course.len()));
        let near: Vec<[f64; 2]> = near
            .unwrap_or_default()
            .iter()
            .map(|point| [point.value.base(), (point.high.base() - point.low.base()) / BAND])
            .collect();
        if !near.is_empty() {
            points = near;
        }
    }
    let &[likely, _] = points.first()?;
    let scale = if kind == ReadingKind::PreBoilBrix || kind == ReadingKind::Brix {
        field(batch, Field::RefractometerFactor).unwrap_or(1.0)
    } else {
        1.0
    };
    let ends = points
        .iter()
        .fold([f64::MAX, f64::MIN], |[low, high], &[value, _]| [low.min(value), high.max(value)]);
    let spread = points.iter().fold(0.0, |most: f64, &[_, deviation]| most.max(deviation));
    let spec = kind.spec();
    let deviation = spread.hypot(instrument(batch, spec.dimension, likely));
    let mut expected =
        Expected { likely: likely * scale, ends: ends.map(|end| end * scale), deviations: [deviation; 2] };
    match kind {
        // A dose may be any part of what is asked for, but hardly a thousandth.
        ReadingKind::MashAcid | ReadingKind::DropAcid | ReadingKind::MashBase => {
            let least = 2e-2 * spec.high.base();
            expected.ends = [likely / 40.0, likely + 2.0 * spread + least / 4.0];
            expected.deviations = [(likely / 200.0).max(1e-9), 0.5 * likely + spread + least / 4.0];
        }
        // Water that rinses the grain thins the wort only later.
        ReadingKind::MashGravity => expected.ends[1] *= 1.4,
        // Alcohol makes a refractometer show more than there is.
        ReadingKind::Brix => expected.deviations[1] *= 1.5,
        _ => {}
    }
    Some(expected)
}

/// What the plan expects of a reading, to start an entry field from; none where it expects nothing.
///
/// `plan` is the batch's own, `at` when it is read.
pub fn expected(batch: &Batch, plan: &Plan, kind: ReadingKind, at: Moment) -> Option<Amount> {
    let likely = expectation(batch, plan, kind, at)?.likely;
    let amount = Amount::in_base(kind.spec().dimension, likely);
    kind.spec().check(amount).ok()
}

/// A specific gravity as the amount of a field for gravity or a refractometer: both count extract by weight.
fn from_sg(dimension: Dimension, sg: f64) -> Amount {
    Amount::in_base(dimension, plato_from_sg(SpecificGravity::ratio(sg)).base())
}

fn is_gravity(dimension: Dimension) -> bool {
    matches!(dimension, Dimension::Gravity | Dimension::Brix)
}

/// A number with the point of a specific gravity and the digits of one, where degrees are read in tenths.
fn looks_like_sg(number: f64) -> bool {
    let tenths = number * 10.0;
    let thousandths = number * 1e3;
    LIKE_SG.contains(&number)
        && (tenths - tenths.round()).abs() > 1e-6
        && (thousandths - thousandths.round()).abs() < 1e-6
}

/// What was probably meant by a text that its field refuses: another unit, a point left out. `unit` is the
/// one the field shows; `near` is what the field would be near to, if that is known. In range, or none.
pub fn meant(spec: &'static Spec, unit: &Unit, text: &str, near: Option<Amount>) -> Option<Amount> {
    let number = parse_number(text).ok()?;
    let dimension = spec.dimension;
    let of = |unit: &Unit, number: f64| Amount::from_unit(dimension, unit, number);
    let mut ways: Vec<Amount> = Vec::new();
    // Four figures of a specific gravity are nothing else.
    if is_gravity(dimension) && LIKE_SG.contains(&(number / 1e3)) {
        ways.push(from_sg(dimension, number / 1e3));
    } else {
        let others = || dimension.units().iter().filter(|other| other.key != unit.key);
        ways.extend(others().map(|other| of(other, number)));
        for power in [10.0, 100.0, 1e3, 0.1] {
            ways.push(of(unit, number / power));
        }
        if is_gravity(dimension) {
            for power in [1e3, 10.0, 100.0] {
                let sg = if power == 1e3 { 1.0 + number / power } else { number / power };
                if LIKE_SG.contains(&sg) {
                    ways.push(from_sg(dimension, sg));
                }
            }
        }
    }
    ways.retain(|way| spec.check(*way).is_ok());
    let Some(near) = near.map(|near| near.base()) else { return ways.first().copied() };
    let away = |way: &Amount| (way.base() - near).abs();
    // Twice or half of what is usual is still a guess; more is none.
    ways.retain(|way| near == 0.0 || away(way) <= near.abs());
    ways.into_iter().min_by(|one, other| away(one).total_cmp(&away(other)))
}

/// Another way to read an accepted number that fits what is expected.
fn other_way(spec: &'static Spec, base: f64, expected: &Expected) -> Option<Amount> {
    let dimension = spec.dimension;
    let units = dimension.units();
    let mut ways: Vec<Amount> = Vec::new();
    // Typed in one unit, meant in another.
    for typed in units {
        let number = typed.from_base(base);
        ways.extend(
            units
                .iter()
                .filter(|other| other.key != typed.key)
                .map(|other| Amount::from_unit(dimension, other, number)),
        );
    }
    if is_gravity(dimension) {
        ways.push(from_sg(dimension, base));
    }
    // A point in the wrong place.
    for power in [10.0, 0.1, 100.0, 0.01, 1e3, 1e-3] {
        ways.push(Amount::in_base(dimension, base / power));
    }
    ways.retain(|way| spec.check(*way).is_ok() && expected.off(way.base()) < FITS);
    let away = |way: &Amount| (way.base() - expected.likely).abs();
    ways.into_iter().min_by(|one, other| away(one).total_cmp(&away(other)))
}

/// What cannot be between this reading and one before it; in words, with the reading before.
fn against_nature(batch: &Batch, reading: &Reading) -> Option<(Amount, &'static str)> {
    let kind = reading.kind;
    let before =
        |kind: ReadingKind| batch.readings.of(kind).filter(|other| other.at < reading.at).next_back();
    let (last, room, why) = match kind {
        ReadingKind::SourPh => (before(kind)?, 1.0, ", and souring only lowers the pH."),
        ReadingKind::Gravity | ReadingKind::Brix => {
            let last = before(kind)?;
            if batch.ticked(Step::FruitIn).is_some_and(|fruit| fruit >= last.at) {
                return None;
            }
            (last, 1.0, ", and fermentation only lowers the gravity.")
        }
        // Both are read hot; at the boil it takes a little more room than at mash-out.
        ReadingKind::PostBoilVolume => {
            (before(ReadingKind::PreBoilVolume)?, 1.03, ", and a boil only drives water off.")
        }
        _ => return None,
    };
    let most = last.value.base() * room;
    let meters = std::f64::consts::SQRT_2 * instrument(batch, kind.spec().dimension, most) / 2.0;
    (reading.value.base() > most + FAR * meters).then_some((last.value, why))
}

/// What is odd about a reading, and what may have been meant; none for one that fits. The value stays as it is.
///
/// `plan` is that of the batch without this reading, and so is `batch`; `now` is the person's clock.
pub fn doubt(batch: &Batch, reading: &Reading, plan: &Plan, now: Moment) -> Option<Doubt> {
    let spec = reading.kind.spec();
    let base = reading.value.base();
    let expected = expectation(batch, plan, reading.kind, reading.at);
    let far = expected.as_ref().filter(|expected| expected.off(base) > FAR);
    let mut meant = far.and_then(|expected| other_way(spec, base, expected));
    let mut says = Vec::new();
    if is_gravity(spec.dimension) && looks_like_sg(base) {
        // Nobody reads thousandths of a degree, and a finished beer may well have one degree.
        meant = Some(from_sg(spec.dimension, base)).filter(|way| spec.check(*way).is_ok());
        says = say!["That looks like a specific gravity typed as degrees."];
    } else if let Some((last, why)) = against_nature(batch, reading) {
        says = say!["It was ", last, " before", why];
    } else if let Some(expected) = far {
        says = say![
            reading.value,
            " is far from the ",
            Amount::in_base(spec.dimension, expected.likely),
            " expected."
        ];
    }
    if !says.is_empty() {
        match meant {
            Some(meant) => says.extend(say![" Was ", meant, " meant?"]),
            None => says.extend(say![" Read it again."]),
        }
    }
    let odd_time = if reading.at > now + SLACK {
        Some("The time is still to come.")
    } else if reading.at + SLACK < batch.begun {
        Some("The time is before this batch began.")
    } else {
        None
    };
    if let Some(odd) = odd_time {
        if !says.is_empty() {
            says.extend(say![" "]);
        }
        says.extend(say![odd]);
    }
    (!says.is_empty()).then_some(Doubt { says, meant })
}
