//! The one way through the house: a document goes in, a plan comes out.
//!
//! Each stage is a function of the document and of what the stages before it
//! found. A reading replaces what was predicted, and everything behind it
//! follows from the reading. Spreads of volume and gravity come from running
//! the day again with each uncertain number moved by its deviation.

mod boil;
mod ferment;
mod fruit;
mod grist;
mod mash;
mod package;
mod souring;
mod water;
mod wort;

pub(super) use souring::Drop;
use water::Made;

use super::figures::{Known, Origin, Value, key};
use super::lessons::{GRAVITY_ERROR, VOLUME_ERROR, lessons};
use super::warning::{Level, Warning};
use super::{Brought, Figures, IonLine, MaltLine, Plan, SaltAmount, Unknown, VesselLevel};
use crate::document::{
    Batch, Chiller, Field, FruitAddition, FruitField, FruitForm, FruitPlace, Gas, GristBy, Hop, HopField,
    HopTime, Malt, Preserved, Reading, ReadingKind, SaltLine, Slot, Stage, Step, Water, WaterField,
    WaterNumbers,
};
use crate::house::HouseNumber;
use crate::moment::Moment;
use crate::say::{Sentence, say};
use calc::brew::bitterness::{HARSH, HopCharge, HotSide, Leg, alpha_left, rager, tinseth};
use calc::brew::buffer::{BufferCurve, Step as DropStep, Titration};
use calc::brew::correction::{Correction as WortCorrection, Fix, corrections};
use calc::brew::dosing::{BenchTrial, Trial, measured_out, sample_steps, scaled_up};
use calc::brew::drop::{Remedy as AcidRemedy, Rung, after_overshoot, ladder};
use calc::brew::extract::{fermented_after_souring, hydrometer, refractometer_beer, refractometer_wort};
use calc::brew::ferment::{FRUIT_FERMENTABILITY, ROOM_LIMIT, gas_in_room, outcome, spunding};
use calc::brew::fruit::{
    FOAM_AFTER_PEAK, FOAM_KEG, FOAM_PRIMARY, FruitLoad, Hindrance, SULFITE_DECLARED, SourBeer, Wanted,
    additions, amount_for as fruit_for, effect, fruited_acidity, fruited_ph, purge, room_left,
    split as split_over,
};
use calc::brew::grist::{
    Day, LauterRisk, MaltYield, efficiency_steps, grist_for, lauter_risk, mash_fit, runoff_needed, runoff_of,
    water_for,
};
use calc::brew::heat::{
    Body, Coil, Heater, Plates, boiling_point, boiling_point_at, elevation, strike, usual_loss,
    vessel_as_water,
};
use calc::brew::kill::hold_needed;
use calc::brew::ledger::{LedgerError, Rebase, Wort};
use calc::brew::mash::{MaltShare, Mash, MashReading, acid_for, acidulated_malt_for, worth};
use calc::brew::package::{
    BurstQuestion, COOLEST_BATH, PrimingSugar, Verdict, burst_check, in_bath, keg_pressure,
    pasteurising_time, priming, remedies, warmest_safe,
};
use calc::brew::serving::{Contents, allergens, serving};
use calc::brew::souring::{
    Alarm, Conditions, MANGANESE_IN_WORT, Pack, SouringError, Target, forecast, living_cells,
    manganese_stock, pitch_rate, titratable_acidity,
};
use calc::brew::titration::{TitrationPoint, titrated};
use calc::brew::treatment::{
    DECLARED_SULFITE, DISTILLED_PH, Disinfectant, LIME_CAUTION, SULFITE_CAUTION, Softening, boiled,
    dechlorinate, limed, mixed,
};
use calc::brew::water::{Goal, Ion, Remedy, SaltAnswer, SaltAtHand, SaltQuestion, advice, salts, split};
use calc::brew::yeast::{YeastForm, amount_for, cells_to_pitch, living, oxygen_time, starter_cells};
use calc::chem::density::{plato_from_sg, sg_from_plato, water_density};
use calc::chem::gas::dissolved;
use calc::chem::meter::at_room;
use calc::chem::report::{Check, Suspect, WaterRead, WaterReport, read};
use calc::chem::titration::{ClosedWater, Titrant};
use calc::chem::water::Ions;
use calc::data::acids::{Acid, AcidKind};
use calc::data::fruits::{FruitAcid, FruitComposition};
use calc::data::malts::MaltClass;
use calc::data::salts::Salt;
use calc::quantity::{
    AlcoholByVolume, Bitterness, Buffering, Carbonation, CellDensity, Cells, Charge, ChargeConcentration,
    Concentration, Count, Dimension, Duration, Estimate, Fraction, GaugePressure, Mass, MolarConcentration,
    Ph, PhDifference, Plato, Quantity, SpecificGravity, Temperature, TemperatureDifference,
    TitratableAcidity, Volume, VolumePerMass, VolumeRate,
};
use std::cmp::Reverse;

/// Volumes without a named temperature are at room temperature.
pub(super) const ROOM: Temperature = Temperature::celsius(20.0);
/// Hydrometers are made for 20 °C.
const CALIBRATION: Temperature = Temperature::celsius(20.0);
/// Gravity counts as unchanged within one point of specific gravity.
const UNCHANGED: f64 = 0.26;
/// What the boil takes off the pH: calcium phosphate forms.
const BOIL_PH_DROP: PhDifference = PhDifference::units(0.1);
/// The acid whose mass titratable acidity is counted in.
const LACTIC_GRAMS_PER_MEQ: f64 = 0.090_08;

fn predicted<Q>(estimate: Estimate<Q>) -> Known<Q> {
    Ok(Value { estimate, origin: Origin::Predicted })
}

fn measured<Q>(estimate: Estimate<Q>) -> Known<Q> {
    Ok(Value { estimate, origin: Origin::Measured })
}

fn exact<Q: Quantity>(value: Q) -> Known<Q> {
    predicted(Estimate::exact(value))
}

/// The value of a figure, without its spread.
fn middle<Q: Quantity>(known: &Known<Q>) -> Result<Q, Unknown> {
    known.as_ref().map(|value| value.estimate.value).map_err(|unknown| *unknown)
}

/// What a model's refusal means for the plan: values outside its range, at this stage.
fn outside<E>(stage: Stage) -> impl Fn(E) -> Unknown {
    move |_| Unknown::OutsideModel(stage)
}

/// A field that has an assumption is always known.
fn value<Q: Quantity>(batch: &Batch, field: Field) -> Result<Q, Unknown> {
    batch.value(field).ok_or(Unknown::Empty(field.spec()))
}

fn ledger(error: LedgerError) -> Unknown {
    match error {
        LedgerError::BoiledDry { .. } => Unknown::BoiledDry,
        _ => Unknown::TooLittleWort,
    }
}

/// The newest reading of two instruments for the same thing.
pub(super) fn newest(batch: &Batch, one: ReadingKind, other: ReadingKind) -> Option<&Reading> {
    let last = [batch.readings.last(one), batch.readings.last(other)];
    last.into_iter().flatten().max_by_key(|reading| reading.at)
}

/// A gravity reading at 20 °C, corrected for the sample's temperature where it was noted.
pub(super) fn gravity_of(reading: &Reading) -> Plato {
    let read: Plato = reading.value.typed();
    reading
        .temperature
        .and_then(|at| hydrometer(sg_from_plato(read), at, CALIBRATION).ok())
        .map_or(read, |corrected| plato_from_sg(corrected.gravity))
}

/// Plans a batch. Total: every document that passes its check gives a plan,
/// and what can't be computed says why.
pub fn plan(batch: &Batch) -> Plan {
    let mut plan = Plan::default();
    let mut maker = Maker { batch, plan: &mut plan, minerals: Wort::NOTHING };
    maker.day();
    if !batch.invented {
        plan.lessons = lessons(batch, &plan);
    }
    plan
}

/// A pH that was read, as the sample has it at room temperature where its own was noted, with the spread of that.
pub fn cooled(batch: &Batch, reading: &Reading) -> Estimate<Ph> {
    let read: Ph = reading.value.typed();
    let correct = |at: Temperature| at_room(read, at, batch.choices.compensation);
    reading.temperature.map_or_else(|| Estimate::exact(read), correct)
}

/// The numbers of the day that differ from batch to batch.
#[derive(Clone, Copy)]
struct Habits {
    efficiency: Fraction,
    absorption: VolumePerMass,
    evaporation: VolumeRate,
    kettle_loss: Volume,
}

/// The wort at the points of the day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Course {
    pub(super) runoff: Wort,
    pub(super) set_aside: Wort,
    pub(super) souring: Wort,
    pub(super) after_boil: Wort,
    pub(super) fermenter: Wort,
}

/// What was weighed in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct WeighedIn {
    pub(super) grain: Mass,
    /// Extract of the grist if all of it were won.
    pub(super) potential: Mass,
    pub(super) water: Volume,
}

/// The hot side of the day, for the picture of bitterness.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hot {
    pub(super) legs: Vec<Leg>,
    pub(super) charges: Vec<HopCharge>,
    pub(super) volume: Volume,
    pub(super) ph: Ph,
    pub(super) kept: Estimate<Fraction>,
    /// When the wort is ready for the bacteria.
    pub(super) soured_from: Duration,
}

impl Hot {
    pub(super) fn side(&self) -> HotSide<'_> {
        HotSide { legs: &self.legs, volume: self.volume, ph: self.ph, kept: self.kept }
    }
}

struct Maker<'a> {
    batch: &'a Batch,
    plan: &'a mut Plan,
    /// Minerals of all the water, salts included, from the water on.
    minerals: Wort,
}

impl Maker<'_> {
    fn warn(&mut self, stage: Stage, level: Level, says: Sentence) {
        // Worst first, then in the order of the day.
        let warnings = &mut self.plan.warnings;
        let place =
            warnings.partition_point(|other| (Reverse(other.level), other.stage) <= (Reverse(level), stage));
        warnings.insert(place, Warning { stage, level, says });
    }

    fn figures(&mut self) -> &mut Figures {
        &mut self.plan.figures
    }

    fn day(&mut self) {
        // What needs no wort is known from the start.
        self.early_hops();
        self.reports();
        self.boiling_point();
        self.sour_reading();
        self.gas();
        if let Err(unknown) = self.brew() {
            self.no_wort(unknown);
            self.figures().wait(Stage::Aim..=Stage::Package, unknown);
        }
    }

    fn brew(&mut self) -> Result<(), Unknown> {
        let weighed = self.weigh_in()?;
        self.plan.weighed = Some(weighed);
        let made = self.water(&weighed);
        if let Ok(made) = made {
            let rinse: Volume = value(self.batch, Field::Rinse)?;
            self.minerals = Wort::of_water(weighed.water, ROOM)
                .with_ions(&made.mash, weighed.water - rinse)
                .with_ions(&made.rinse, rinse);
        }
        self.mash(&weighed, made);
        let course = self.course(&weighed)?;
        self.plan.day = Some(course);
        self.levels(&course);
        let hot = self.hot_side(&course);
        let lactic = self.souring(&course, hot.as_ref().ok());
        self.main_boil(&course, hot);
        self.hold();
        let so_far = self.so_far(&course, lactic);
        if let Err(unknown) = self.ferment(&course, lactic).and(so_far) {
            self.figures().wait(Stage::Ferment..=Stage::Ferment, unknown);
        }
        if let Err(unknown) = self.fruit_and_package(&course, lactic) {
            self.figures().wait(Stage::Fruit..=Stage::Package, unknown);
        }
        self.taste_trial();
        Ok(())
    }

    fn no_wort(&mut self, unknown: Unknown) {
        let says = match unknown {
            Unknown::BoiledDry => {
                "These boils would run the kettle dry and burn out the heater: shorten them or check the evaporation."
            }
            Unknown::TooLittleWort => "More wort is set aside or lost than there is: check the volumes.",
            _ => return,
        };
        self.warn(Stage::FirstBoil, Level::Stop, say![says]);
    }

    fn acid(&self) -> Result<Acid, Unknown> {
        Ok(Acid { kind: self.batch.choices.acid, strength: value(self.batch, Field::AcidStrength)? })
    }

    /// A pH that was read, as it is at room temperature, with the spread of meter and correction.
    fn at_room(&self, reading: &Reading, meter: PhDifference) -> Estimate<Ph> {
        let cooled = cooled(self.batch, reading);
        Estimate::normal(cooled.value, cooled.deviation().hypot(meter.as_units()))
    }

    fn meter(&self) -> Result<PhDifference, Unknown> {
        value(self.batch, Field::MeterError)
    }
}

/// Why the wort never gets as sour as wanted.
fn never_sour(problem: SouringError) -> Sentence {
    match problem {
        SouringError::TooCold { at, least } => {
            say!["At ", at.amount(), " these bacteria do not grow; they need more than ", least.amount(), "."]
        }
        SouringError::TooHot { at, most } => {
            say!["At ", at.amount(), " these bacteria die; they grow below ", most.amount(), "."]
        }
        SouringError::NeverReaches { target, lowest } => {
            say![
                "These bacteria stop near ",
                lowest.amount(),
                "; ",
                target.amount(),
                " is out of their reach."
            ]
        }
        SouringError::NotEnoughExtract { gravity, .. } => {
            say!["Wort of ", gravity.amount(), " does not hold enough sugar for that much acid."]
        }
        _ => say!["The values given for the souring lie outside what the model serves."],
    }
}

/// What a souring alarm says.
const fn alarm_words(alarm: Alarm) -> (Level, &'static str) {
    match alarm {
        Alarm::AboveSafePh => (
            Level::Stop,
            "Above pH 4.6 after a day of warmth: germs that make people ill can have grown. Throw the wort away; do not taste it.",
        ),
        Alarm::SlowToSafePh => (
            Level::Caution,
            "At this temperature and pitch the wort would still be above pH 4.6 after a day. Drop it to 4.5 or below with acid first, or pitch more or warmer.",
        ),
        Alarm::Stalled => (
            Level::Caution,
            "The pH has not moved for half a day. Check the meter in its buffers and the temperature; hops, air or a weak pitch also stall bacteria. A fresh pitch can help.",
        ),
        Alarm::TooHot => {
            (Level::Caution, "Warmer than these bacteria like: they slow down and can die. Cool it.")
        }
        Alarm::TooCold => (Level::Caution, "So cold that these bacteria hardly grow. Warm it."),
        Alarm::Hops => {
            (Level::Caution, "The wort is more bitter than these bacteria bear: expect slow souring or none.")
        }
        Alarm::WeakPitch => (
            Level::Caution,
            "Nothing has happened in a time in which nine in ten pitches are at work: too few living bacteria. Pitch again, fresh.",
        ),
        Alarm::MeterDrift => (
            Level::Caution,
            "The pH rose, or fell faster than bacteria can make it. Rinse the meter, check it in its buffers, and measure again.",
        ),
        Alarm::Slowing => (
            Level::Note,
            "The newest reading is higher than was to be expected from those before. Measure again before believing it.",
        ),
        Alarm::BelowUsualEnd => (
            Level::Note,
            "The pH wanted is lower than where this culture usually stops. It may take very long or not get there.",
        ),
    }
}

/// The acid's name with its strength, for sentences.
pub(super) fn acid_name(batch: &Batch) -> &'static str {
    match batch.choices.acid {
        AcidKind::Lactic => "lactic acid",
        AcidKind::Phosphoric => "phosphoric acid",
        AcidKind::Citric => "citric acid",
        AcidKind::Malic => "malic acid",
        AcidKind::Tartaric => "tartaric acid",
    }
}
