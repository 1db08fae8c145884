//! Simulated houses brew five batches each, and each batch begins with what the ones before it taught, by way
//! of `plan`, its lessons and `House::learn`. Batch 5 must be predicted no worse than batch 1.
//!
//! A house differs from the usual by more than the priors say: each of its numbers is drawn from a spread half
//! again as wide as the prior's and about another middle. Batches of one house differ by three quarters to five
//! quarters of what the priors say. Every reading errs, volumes by a mark of the kettle, and one in thirty by
//! eight times as much. Malts, water, the hardness reaction, packs and pitches lie anywhere in the bands that the
//! models give them, in part the same in each batch of a house; worts have curves of other shapes, fruit has
//! another Brix than its table. Nature follows the models of `calc` with these true numbers: this tries the learning,
//! not the models; those have trials of their own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops where it fails")]

use batch::demo::demo;
use batch::document::{
    Batch, Field, FruitAddition, FruitField, GristBy, MaltField, Reading, ReadingKind, Slot, Step,
};
use batch::house::{House, HouseNumber, Lesson, Rules};
use batch::moment::Moment;
use batch::plan::{Figure, Plan, plan};
use calc::brew::buffer::BufferCurve;
use calc::brew::ferment::{FRUIT_FERMENTABILITY, outcome};
use calc::brew::fruit::{FruitForm, FruitLoad, effect};
use calc::brew::grist::{MaltYield, runoff_of};
use calc::brew::heat::{Body, Coil};
use calc::brew::mash::{MaltShare, Mash};
use calc::brew::souring::{Conditions, Target, forecast, titratable_acidity};
use calc::brew::titration::titrated;
use calc::chem::water::Ions;
use calc::data::acids::{Acid, AcidKind};
use calc::data::fruits::Fruit;
use calc::quantity::{
    Amount, CellDensity, Concentration, Count, Duration, Estimate, Fraction, Mass, MolarConcentration, Ph,
    PhDifference, Plato, Quantity, Temperature, Volume, VolumePerMass, VolumeRate,
};

/// Half-width of an 80 % band in standard deviations.
const Z80: f64 = 1.281_551_565_544_600_4;
/// Deviation of the logarithm of the cells pitched, where they are not typed: the plan's band is a third to
/// three times.
const CELLS: f64 = 1.098_6 / Z80;
const ROOM: Temperature = Temperature::celsius(20.0);
const MASH_OUT: Temperature = Temperature::celsius(77.0);
const ACID: Acid = Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) };
const METER: f64 = 0.03;
const BATCHES: usize = 5;

/// What is compared, with the unit in which errors are told.
const QUANTITIES: [(&str, Figure); 10] = [
    ("pre-boil volume, L", Figure::PreBoilVolume),
    ("pre-boil gravity, °P", Figure::PreBoilGravity),
    ("original gravity, °P", Figure::OriginalGravity),
    ("fermenter volume, L", Figure::FermenterVolume),
    ("mash pH, nothing added", Figure::MashPhPlain),
    ("acid for the drop, mL", Figure::DropAcid),
    ("time to sour, h", Figure::SourTime),
    ("time to chill, min", Figure::ChillTime),
    ("final gravity, °P", Figure::FruitedGravity),
    ("packaged volume, L", Figure::PackagedVolume),
];

/// Pseudo-random numbers, the same on every run: xorshift64*.
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let (a, b) = (self.unit().max(1e-12), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// A number's true mean in a house, and how it varies between its batches.
#[derive(Clone, Copy)]
struct True {
    mean: f64,
    within: f64,
}

impl True {
    fn draw(self, dice: &mut Dice) -> f64 {
        self.mean + self.within * dice.normal()
    }
}

/// The spreads that `house.rs` states: middle, between houses, within a house; of the logarithm for buffering
/// and speed. The houses drawn here are wider and lie elsewhere.
fn usual(number: HouseNumber) -> (f64, f64, f64) {
    match number {
        HouseNumber::Efficiency => (0.75, 0.05, 0.02),
        HouseNumber::Evaporation => (2.2, 0.8, 0.25),
        HouseNumber::Absorption => (0.8, 0.15, 0.05),
        HouseNumber::KettleLoss => (1.0, 0.5, 0.2),
        HouseNumber::Attenuation => (0.78, 0.05, 0.02),
        HouseNumber::MashPhShift => (0.0, 0.08, 0.04),
        HouseNumber::WortBuffering => (0.0, 0.19, 0.08),
        HouseNumber::SouringSpeed => (0.0, 0.5, 0.25),
        HouseNumber::Chilling => (0.4, 0.15, 0.05),
        HouseNumber::FermenterLoss => (0.8, 0.4, 0.15),
        HouseNumber::FruitYield => (1.0, 0.4, 0.2),
    }
}

/// How wide houses are drawn, against the priors.
const WIDER: f64 = 1.5;
/// How far the middle of the houses lies from the priors', in deviations between houses.
const ELSEWHERE: f64 = 0.25;

struct Nature {
    numbers: Vec<True>,
    /// How the house's malts lie in the bands of their classes: pH and buffering of each, in deviations.
    malts: [[f64; 2]; 4],
    /// Cells that its packs hold, on the logarithm.
    cells: f64,
    /// How its culture, its hardness reaction and its water lie in their bands, in deviations.
    culture: f64,
    hardness: f64,
    water: f64,
}

/// Share of the variance of malts, and of pitches, that stays the same in one house.
const SAME: f64 = 0.6;

/// In deviations: a part that stays the same in the house, and one that is drawn for the batch.
fn mixed(same: f64, dice: &mut Dice) -> f64 {
    SAME.sqrt() * same + (1.0 - SAME).sqrt() * dice.normal()
}

impl Nature {
    fn new(dice: &mut Dice) -> Self {
        let numbers = HouseNumber::ALL.iter().map(|&number| {
            let (middle, between, within) = usual(number);
            let away = WIDER * dice.normal() + ELSEWHERE;
            // What cannot be below nothing, and chillers that never end, are drawn to what there is.
            let least = match number {
                HouseNumber::Efficiency => 0.5,
                HouseNumber::Evaporation => 0.4,
                HouseNumber::Absorption => 0.3,
                HouseNumber::KettleLoss | HouseNumber::FermenterLoss => 0.1,
                HouseNumber::Attenuation => 0.6,
                HouseNumber::Chilling => 0.12,
                HouseNumber::FruitYield => 0.2,
                _ => f64::NEG_INFINITY,
            };
            let most = match number {
                HouseNumber::Efficiency => 0.92,
                HouseNumber::Attenuation => 0.92,
                HouseNumber::Chilling => 0.9,
                _ => f64::INFINITY,
            };
            let mean = (middle + between * away).clamp(least, most);
            True { mean, within: within * (0.75 + 0.5 * dice.unit()) }
        });
        let numbers = numbers.collect();
        let malts = std::array::from_fn(|_| [dice.normal(), dice.normal()]);
        let [cells, culture, hardness, water] = std::array::from_fn(|_| dice.normal());
        Self { numbers, malts, cells, culture, hardness, water }
    }

    /// A number as this batch has it.
    fn of(&self, number: HouseNumber, dice: &mut Dice) -> f64 {
        let drawn = self.numbers[number as usize].draw(dice);
        match number {
            HouseNumber::WortBuffering | HouseNumber::SouringSpeed => drawn.exp(),
            HouseNumber::MashPhShift => drawn,
            HouseNumber::Chilling => drawn.clamp(0.08, 1.0),
            HouseNumber::Efficiency | HouseNumber::Attenuation => drawn.clamp(0.3, 0.95),
            _ => drawn.max(0.02),
        }
    }
}

fn set(batch: &mut Batch, slot: Slot, base: f64) {
    slot.set(batch, Some(Amount::in_base(slot.spec().dimension, base))).unwrap();
}

/// Brews with a clock and with meters that err.
struct Brewer<'a> {
    batch: Batch,
    dice: &'a mut Dice,
    at: Moment,
}

impl Brewer<'_> {
    fn wait(&mut self, hours: f64) {
        self.at = self.at + Duration::hours(hours);
    }

    fn tick(&mut self, step: Step) {
        self.batch.tick(step, Some(self.at));
    }

    /// Notes what was done, as it is.
    fn note(&mut self, kind: ReadingKind, base: f64) {
        let spec = kind.spec();
        let value = base.clamp(spec.low.base(), spec.high.base());
        let value = Amount::in_base(spec.dimension, value);
        self.batch.readings.add(Reading { kind, value, at: self.at, temperature: None, note: String::new() });
    }

    /// Reads a meter with this standard deviation; one in thirty times by eight of them.
    fn read(&mut self, kind: ReadingKind, truth: f64, error: f64) {
        let slip = if self.dice.unit() < 1.0 / 30.0 { 8.0 } else { 1.0 };
        let read = truth + error * slip * self.dice.normal();
        self.note(kind, read);
        self.wait(0.02);
    }

    fn plan(&self) -> Plan {
        plan(&self.batch)
    }
}

/// One error of prediction and whether the band held the truth.
#[derive(Clone, Copy)]
struct Outcome {
    off: f64,
    held: bool,
}

/// The exact dose of acid that takes a litre of the true wort to a pH.
fn dose_to(curve: &BufferCurve, start: Ph, to: Ph) -> MolarConcentration {
    let (mut low, mut high) = (0.0, 400.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if curve.ph_with(start, ACID.kind, MolarConcentration::mmol_per_l(middle)) > to {
            low = middle;
        } else {
            high = middle;
        }
    }
    MolarConcentration::mmol_per_l(low)
}

/// Brews one batch to its end; gives its lessons, how each quantity was predicted, and the batch.
fn brew(nature: &Nature, house: &House, place: usize, dice: &mut Dice) -> (Vec<Lesson>, Vec<Outcome>, Batch) {
    let begun = Moment::from_seconds(1_700_000_000 + 1_800_000 * place as i64);
    let mut batch = demo(format!("b{place}"), begun);
    batch.invented = false;
    batch.house = house.clone();
    batch.hops.clear();
    // Beers differ.
    set(&mut batch, Slot::Of(Field::BatchVolume), 16.0 + 5.0 * dice.unit());
    set(&mut batch, Slot::Of(Field::WantedGravity), 10.0 + 3.0 * dice.unit());
    set(&mut batch, Slot::Of(Field::SourTemperature), 26.0 + 8.0 * dice.unit());
    set(&mut batch, Slot::Of(Field::MainBoil), 20.0 + 40.0 * dice.unit());
    let fruits = [Fruit::SourCherry, Fruit::Raspberry, Fruit::Apricot, Fruit::Blackcurrant];
    let fruit = fruits[(dice.unit() * 3.999) as usize];
    batch.fruit = vec![FruitAddition::new(fruit)];
    let mass = 2000.0 + 3000.0 * dice.unit();
    set(&mut batch, Slot::Fruit(0, FruitField::Mass), mass);
    let truth: Vec<f64> = HouseNumber::ALL.iter().map(|&number| nature.of(number, dice)).collect();
    let truly = |number: HouseNumber| truth[number as usize];
    let mut brewer = Brewer { batch, dice, at: begun };

    let planned = brewer.plan();
    let figures = &planned.figures;
    let water = figures.total_water().unwrap().estimate.value;
    let masses: Vec<Mass> = planned.malts.iter().map(|line| line.mass.unwrap()).collect();
    let grain: Mass = masses.iter().copied().sum();
    let mut found = [f64::NAN; QUANTITIES.len()];

    // The mash, on the water as it was made.
    let of = |known: Result<Concentration, batch::plan::Unknown>| known.unwrap();
    let report = planned.waters[0].as_ref().unwrap();
    let ions = Ions {
        // The reaction is in proportion to it.
        calcium: of(figures.calcium_after().map(|v| v.estimate.value))
            * (1.0 + 0.26 * nature.hardness).max(0.1),
        magnesium: of(figures.magnesium_after().map(|v| v.estimate.value)),
        sodium: of(figures.sodium_after().map(|v| v.estimate.value)),
        potassium: Concentration::ZERO,
        chloride: of(figures.chloride_after().map(|v| v.estimate.value)),
        sulfate: of(figures.sulfate_after().map(|v| v.estimate.value)),
        alkalinity: figures.alkalinity_after().unwrap().estimate.value
            + report.spread.alkalinity * nature.water,
    };
    let meter = PhDifference::units(METER);
    let shares: Vec<MaltShare> = planned
        .malts
        .iter()
        .zip(&masses)
        .zip(nature.malts)
        .map(|((line, &mass), own)| {
            let mut malt = titrated(line.class, None, &[], meter);
            let mut off = own.map(|own| mixed(own, brewer.dice));
            off[0] *= malt.mash_ph.deviation();
            off[1] *= malt.buffering.deviation() / malt.buffering.value.base();
            malt.mash_ph = malt.mash_ph.map(|ph| ph + PhDifference::units(off[0]));
            malt.buffering = malt.buffering.map(|b| b * (1.0 + off[1]).max(0.3));
            MaltShare { mass, malt }
        })
        .collect();
    let water_ph = report.ph.value;
    let mash_water = figures.mash_water().unwrap().estimate.value;
    let shift = PhDifference::units(truly(HouseNumber::MashPhShift));
    let mash = Mash::new(&shares, ions, water_ph, mash_water).unwrap().shifted(shift);
    let plain = mash.ph(&ACID, Volume::ZERO).unwrap().value;
    found[4] = plain.value();
    brewer.tick(Step::MashIn);
    brewer.wait(0.2);
    brewer.read(ReadingKind::MashPh, plain.value(), METER);
    let mut poured = Volume::ZERO;
    for _ in 0..2 {
        let more = brewer.plan().figures.mash_first().map_or(Volume::ZERO, |first| first.estimate.value);
        if more < Volume::millilitres(0.3) {
            break;
        }
        poured += more;
        brewer.note(ReadingKind::MashAcid, more.as_litres());
        brewer.wait(0.2);
        let now = mash.ph(&ACID, poured).unwrap().value.value();
        brewer.read(ReadingKind::MashPh, now, METER);
    }
    let mashed = mash.ph(&ACID, poured).unwrap().value;

    // The wort through the day.
    let potential: Mass = planned
        .malts
        .iter()
        .zip(&masses)
        .map(|(line, &mass)| {
            let data = line.class.data();
            MaltYield { extract: data.extract, moisture: data.moisture }.potential(mass).unwrap()
        })
        .sum();
    let extract = potential * truly(HouseNumber::Efficiency);
    let absorption = VolumePerMass::l_per_kg(truly(HouseNumber::Absorption));
    let runoff = runoff_of(water, extract, grain, absorption).unwrap();
    let evaporation = VolumeRate::l_per_h(truly(HouseNumber::Evaporation));
    let typed = |field: Field| Slot::Of(field).effective(&brewer.batch).unwrap();
    let (clear, main): (Duration, Duration) =
        (typed(Field::ClearBoil).typed(), typed(Field::MainBoil).typed());
    let (aside, pitch): (Volume, Temperature) =
        (typed(Field::StarterWort).typed(), typed(Field::FermentTemperature).typed());
    let sour_at: Temperature = typed(Field::SourTemperature).typed();
    let (tap, flow): (Temperature, VolumeRate) =
        (typed(Field::Tap).typed(), typed(Field::CoolingFlow).typed());
    let vessel: Mass = typed(Field::KettleWeight).typed();
    let (drop_to, sour_to): (Ph, Ph) = (typed(Field::DropPh).typed(), typed(Field::SourPh).typed());
    let bacteria: CellDensity = typed(Field::Bacteria).typed();
    let boils_at = figures.boiling_point().unwrap().estimate.value;
    let (_, souring) = runoff.boil(evaporation, clear).unwrap().take(aside, ROOM).unwrap();
    let after_boil = souring.boil(evaporation, main).unwrap();
    let loss = Volume::litres(truly(HouseNumber::KettleLoss));
    let (_, fermenter) = after_boil.take(loss, ROOM).unwrap();
    found[0] = runoff.volume(MASH_OUT).as_litres();
    found[1] = runoff.plato().as_degrees();
    found[2] = fermenter.plato().as_degrees();
    found[3] = fermenter.volume(ROOM).as_litres();
    brewer.tick(Step::MashOut);
    brewer.read(ReadingKind::PreBoilVolume, found[0], 0.2);
    brewer.read(ReadingKind::PreBoilGravity, found[1], 0.08);

    // The drop: a wort with its own curve.
    let about = BufferCurve::prior(
        souring.plato(),
        Estimate::normal(Count::of(truly(HouseNumber::WortBuffering)), 1e-3),
    );
    let curve = about.members()[(brewer.dice.unit() * 5.999) as usize];
    let start = mashed - PhDifference::units(0.1 + 0.03 * brewer.dice.normal());
    let wort = souring.volume(ROOM);
    let litres = |amount: MolarConcentration| wort * (amount / ACID.molarity());
    found[5] = litres(dose_to(&curve, start, drop_to)).as_millilitres();
    brewer.read(ReadingKind::WortPh, start.value(), METER);
    let mut acid = Volume::ZERO;
    let mut now = start;
    for _ in 0..4 {
        let dose = brewer.plan().figures.next_dose().map_or(Volume::ZERO, |dose| dose.estimate.value);
        if dose < Volume::millilitres(0.2) {
            break;
        }
        acid += dose;
        brewer.note(ReadingKind::DropAcid, dose.as_litres());
        brewer.wait(0.2);
        now = curve.ph_with(start, ACID.kind, ACID.molarity() * (acid / wort));
        brewer.read(ReadingKind::WortPh, now.value(), METER);
    }
    brewer.tick(Step::AcidDrop);
    brewer.tick(Step::Culture);

    // The souring, told before its first reading.
    let at_pitching = brewer.plan();
    let lactic = ACID.molarity() * (acid / wort);
    let dosed =
        Concentration::mg_per_l(lactic.as_mmol_per_l() * AcidKind::Lactic.molar_mass().as_g_per_mol());
    let conditions = Conditions {
        start_ph: now,
        curve: &curve,
        gravity: souring.plato(),
        lactic_before: dosed,
        acidity_before: titratable_acidity(Estimate::exact(dosed), souring.plato()),
        temperature: sour_at,
        temperatures: &[],
        culture: brewer.batch.choices.culture,
        cells: Estimate::exact(bacteria * (CELLS * mixed(nature.cells, brewer.dice)).exp()),
        bitterness: calc::quantity::Bitterness::ZERO,
        speed: Estimate::exact(Count::of(truly(HouseNumber::SouringSpeed))),
        meter_error: meter,
    };
    let told = forecast(&conditions, Target::Ph(sour_to), &[]);
    // Lag, vigour and limits differ from pitch to pitch by what the forecast says of them when speed and cells
    // are known.
    let off = mixed(nature.culture, brewer.dice);
    let spread = told.to_target.as_ref().map_or(0.0, |time| {
        let ratio = if off > 0.0 { time.high / time.value } else { time.value / time.low };
        ratio.ln() / Z80
    });
    let pace = (spread * off).exp();
    let arrives = told.to_target.as_ref().map_or(f64::NAN, |time| time.value.as_hours() * pace);
    found[6] = arrives;
    let pitched = brewer.at;
    // Twice a day and at the end.
    let ph_at = |hours: f64| {
        let hours = hours / pace;
        let after = told.course.iter().position(|point| point.at.as_hours() >= hours);
        let place = after.unwrap_or(told.course.len() - 1).max(1);
        let (a, b) = (told.course[place - 1], told.course[place]);
        let part = (hours - a.at.as_hours()) / (b.at.as_hours() - a.at.as_hours()).max(1e-9);
        a.value.value() + (b.value.value() - a.value.value()) * part.clamp(0.0, 1.0)
    };
    if arrives.is_finite() {
        let step = (arrives / 6.0).max(4.0);
        let mut hours = step;
        while hours < arrives {
            brewer.at = pitched + Duration::hours(hours);
            brewer.read(ReadingKind::SourPh, ph_at(hours), METER);
            hours += step;
        }
        brewer.at = pitched + Duration::hours(arrives);
        brewer.read(ReadingKind::SourPh, sour_to.value(), METER);
    }
    brewer.tick(Step::Soured);

    // Boil, chill, ferment.
    let body = Body { liquid: after_boil.mass(), extract: after_boil.plato(), grain: Mass::ZERO, vessel };
    let coil = Coil { flow, water: tap, effectiveness: Fraction::of_one(truly(HouseNumber::Chilling)) };
    found[7] = coil.chill(&body, boils_at, pitch).unwrap().time.as_minutes();
    brewer.tick(Step::MainBoil);
    brewer.read(ReadingKind::PostBoilVolume, after_boil.volume(boils_at).as_litres(), 0.2);
    brewer.read(ReadingKind::OriginalGravity, found[2], 0.08);
    brewer.read(ReadingKind::ChillTime, found[7], 0.05 * found[7]);
    brewer.read(ReadingKind::FermenterVolume, found[3], 0.2);
    brewer.tick(Step::Chilled);
    brewer.tick(Step::Yeast);
    brewer.wait(96.0);
    brewer.tick(Step::PastPeak);
    let composition = fruit.composition();
    let brix = Plato::degrees(composition.brix().as_degrees() * (1.0 + 0.08 * brewer.dice.normal()));
    let load = FruitLoad::new(Mass::grams(mass), FruitForm::Puree, &composition.with_brix(brix)).unwrap();
    let made = told.lactic_then.value * wort;
    let share = (fermenter.extract / souring.extract).clamp(0.0, 1.0);
    let attenuation = Fraction::of_one(truly(HouseNumber::Attenuation));
    let attenuation = Estimate::exact(attenuation);
    let end = outcome(&fermenter, attenuation, made * share, &[load], FRUIT_FERMENTABILITY).unwrap();
    found[8] = end.apparent.value.as_degrees();
    let beer = outcome(&fermenter, attenuation, made * share, &[], Fraction::ALL).unwrap().beer;
    let mixed = effect(&beer, &[load]).unwrap();
    brewer.tick(Step::FruitIn);
    brewer.wait(240.0);
    brewer.read(ReadingKind::Gravity, found[8], 0.08);
    brewer.wait(72.0);
    brewer.read(ReadingKind::Gravity, found[8], 0.08);
    brewer.tick(Step::Stable);
    let there = end.beer.volume(ROOM).min(mixed.mixed.volume(ROOM));
    let kept = mixed.held.value * truly(HouseNumber::FruitYield);
    found[9] = (there - kept).as_litres() - truly(HouseNumber::FermenterLoss);
    brewer.read(ReadingKind::PackagedVolume, found[9], 0.2);
    brewer.tick(Step::Packaged);

    let outcomes = QUANTITIES.iter().zip(found).map(|(&(_, figure), truth)| {
        let from = if figure == Figure::SourTime { &at_pitching } else { &planned };
        let Ok(shown) = figure.of(&from.figures) else { return Outcome { off: f64::NAN, held: false } };
        let told = match figure {
            Figure::DropAcid => {
                [shown.value, shown.low, shown.high].map(|a| a.typed::<Volume>().as_millilitres())
            }
            Figure::SourTime => {
                [shown.value, shown.low, shown.high].map(|a| a.typed::<Duration>().as_hours())
            }
            Figure::ChillTime => {
                [shown.value, shown.low, shown.high].map(|a| a.typed::<Duration>().as_minutes())
            }
            _ => [shown.value, shown.low, shown.high].map(|a| a.base()),
        };
        let held = told[1] <= truth && truth <= told[2];
        Outcome { off: told[0] - truth, held }
    });
    let outcomes = outcomes.collect();
    (brewer.plan().lessons, outcomes, brewer.batch)
}

/// Every outcome: by house, batch and quantity.
fn simulate(houses: usize, seed: u64) -> Vec<Vec<Vec<Outcome>>> {
    let rules = Rules::default();
    (0..houses)
        .map(|place| {
            let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (place as u64 + 1) << 20);
            for _ in 0..8 {
                dice.unit();
            }
            let nature = Nature::new(&mut dice);
            let mut lessons = Vec::new();
            (0..BATCHES)
                .map(|batch| {
                    let (taught, outcomes, _) =
                        brew(&nature, &House::learn(&lessons, &rules), batch, &mut dice);
                    lessons.extend(taught);
                    outcomes
                })
                .collect()
        })
        .collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn report(all: &[Vec<Vec<Outcome>>]) {
    println!(
        "{:<24} {:>19} {:>19}  {:>13}  {:>13}",
        "", "median error, 1→5", "mean error, 1→5", "bias 1→5", "held 1→5"
    );
    for (place, (name, _)) in QUANTITIES.iter().enumerate() {
        let at = |batch: usize| -> Vec<Outcome> {
            all.iter().map(|house| house[batch][place]).filter(|o| o.off.is_finite()).collect()
        };
        let errors = |batch: usize| -> Vec<f64> { at(batch).iter().map(|o| o.off.abs()).collect() };
        let bias = |batch: usize| mean(&at(batch).iter().map(|o| o.off).collect::<Vec<_>>());
        let held = |batch: usize| {
            let at = at(batch);
            at.iter().filter(|o| o.held).count() as f64 / at.len() as f64
        };
        println!(
            "{name:<24} {:>8.3} → {:>8.3} {:>8.3} → {:>8.3}  {:>6.2} {:>6.2}  {:>5.2} → {:.2}  ({} of {})",
            median(errors(0)),
            median(errors(4)),
            mean(&errors(0)),
            mean(&errors(4)),
            bias(0),
            bias(4),
            held(0),
            held(4),
            at(4).len(),
            all.len(),
        );
    }
}

#[test]
fn no_number_learns_from_what_was_typed_or_learned_of_itself() {
    let mut dice = Dice(0x5EED);
    let nature = Nature::new(&mut dice);
    let (_, _, mut batch) = brew(&nature, &House::default(), 0, &mut dice);
    // By weights: else what is typed changes what is weighed in, and with it rightly the lesson.
    for (place, line) in plan(&batch).malts.iter().enumerate() {
        set(&mut batch, Slot::Malt(place, MaltField::Mass), line.mass.unwrap().as_grams());
    }
    batch.choices.grist_by = GristBy::Weights;
    let taught = |batch: &Batch, number: HouseNumber| {
        let lesson = plan(batch).lessons.into_iter().find(|lesson| lesson.number == number);
        lesson.unwrap_or_else(|| panic!("{number:?}")).observed.base()
    };
    for number in [
        HouseNumber::Efficiency,
        HouseNumber::Evaporation,
        HouseNumber::KettleLoss,
        HouseNumber::Attenuation,
        HouseNumber::Chilling,
    ] {
        let (field, (_, between, within)) = (number.field().unwrap(), usual(number));
        let before = taught(&batch, number);
        let assumed = field.spec().assumed.unwrap().0.base();
        let mut typed = batch.clone();
        set(&mut typed, Slot::Of(field), assumed + between);
        assert!((taught(&typed, number) - before).abs() < 0.1 * within, "{number:?} typed");
        let mut learned = batch.clone();
        let lesson =
            Lesson::exact(number, Amount::in_base(number.dimension(), assumed - between), batch.begun);
        learned.house = House::learn(&[lesson; 5], &Rules::default());
        assert!((taught(&learned, number) - before).abs() < 0.1 * within, "{number:?} learned");
    }
}

/// No quantity is worse in batch 5 than in batch 1, by median and by mean, and the band of batch 5 holds the
/// truth in 70 to 90 % of the houses; means and shares within two standard errors of so many houses.
fn learns(houses: usize, seed: u64) {
    let all = simulate(houses, seed);
    report(&all);
    for (place, (name, _)) in QUANTITIES.iter().enumerate() {
        let both = all.iter().map(|house| [house[0][place], house[BATCHES - 1][place]]);
        // A souring that never ends has no time.
        let both: Vec<[Outcome; 2]> = both.filter(|pair| pair.iter().all(|o| o.off.is_finite())).collect();
        let count = both.len() as f64;
        assert!(count > 0.97 * houses as f64, "{name}");
        let errors = |batch: usize| both.iter().map(|pair| pair[batch].off.abs()).collect::<Vec<f64>>();
        assert!(median(errors(1)) < median(errors(0)), "{name}");
        let worse: Vec<f64> = both.iter().map(|[first, fifth]| fifth.off.abs() - first.off.abs()).collect();
        let square = mean(&worse.iter().map(|by| (by - mean(&worse)).powi(2)).collect::<Vec<_>>());
        assert!(mean(&worse) < 2.0 * (square / count).sqrt(), "{name}");
        let held = both.iter().filter(|pair| pair[1].held).count() as f64 / count;
        let slack = 2.0 * (0.8 * 0.2 / count).sqrt();
        assert!((0.7 - slack..=0.9 + slack).contains(&held), "{name}: {held}");
    }
}

#[test]
fn the_fifth_batch_is_predicted_better_than_the_first() {
    learns(80, 1);
}

#[test]
#[ignore = "takes a minute or more; the figures of the documentation come from it"]
fn the_same_of_many_houses() {
    learns(1000, 2);
}
