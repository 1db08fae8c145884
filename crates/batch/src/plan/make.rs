//! The one way through the house: a document goes in, a plan comes out.
//!
//! Each stage is a function of the document and of what the stages before it
//! found. A reading replaces what was predicted, and everything behind it
//! follows from the reading. Spreads of volume and gravity come from running
//! the day again with each uncertain number moved by its deviation.

use super::figures::{Known, Origin, Value};
use super::lessons::lessons;
use super::warning::{Level, Warning};
use super::{Figures, IonLine, MaltLine, Plan, Unknown, VesselLevel};
use crate::document::{
    Batch, Field, FruitAddition, FruitField, FruitForm, Gas, GristBy, HopField, Malt, Reading, ReadingKind,
    Slot, Stage, Step,
};
use crate::house::HouseNumber;
use crate::say::say;
use calc::brew::bitterness::{BoilingWort, HopCharge};
use calc::brew::drop::{DoseStep, needed, next_dose, prior_buffering, update_buffering};
use calc::brew::extract::hydrometer;
use calc::brew::ferment::{FRUIT_FERMENTABILITY, cells_to_pitch, dry_yeast, outcome, spunding};
use calc::brew::fruit::{FruitLoad, effect, fruited_ph, room_left};
use calc::brew::grist::{Day, MaltYield, grist_for, mash_fit, runoff_needed, runoff_of, water_for};
use calc::brew::heat::{boiling_point_at, heating_time, strike};
use calc::brew::ledger::{LedgerError, Wort};
use calc::brew::mash::{MaltShare, Mash, acid_for, baking_soda_for};
use calc::brew::package::{BurstQuestion, PrimingSugar, Verdict, burst_check, keg_pressure, priming};
use calc::brew::souring::{Alarm, Conditions, Forecast, forecast, lactic_formed, titratable_acidity};
use calc::brew::water::{Ion, advice, salts_for, water_with};
use calc::chem::density::{plato_from_sg, sg_from_plato};
use calc::chem::gas::dissolved;
use calc::chem::water::Ions;
use calc::data::acids::{Acid, AcidKind};
use calc::data::fruits::FruitAcid;
use calc::quantity::{
    Bitterness, Buffering, Carbonation, CellDensity, Charge, Concentration, Count, Duration, Estimate,
    Fraction, GaugePressure, Mass, Ph, PhDifference, Plato, Power, Quantity, SpecificGravity, Temperature,
    TitratableAcidity, Volume, VolumePerMass, VolumeRate,
};

/// Volumes without a named temperature are at room temperature.
pub(super) const ROOM: Temperature = Temperature::celsius(20.0);
/// Water from the tap before it is heated.
const TAP: Temperature = Temperature::celsius(15.0);
/// Hydrometers are made for 20 °C.
const CALIBRATION: Temperature = Temperature::celsius(20.0);
/// Share of the heating power that the vessel gives off.
const HEAT_LOSS: f64 = 0.1;
/// Share of the fermenter kept for foam.
const FOAM: Fraction = Fraction::of_one(0.1);
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
    let mut maker = Maker { batch, plan: &mut plan };
    maker.day();
    plan.warnings.sort_by_key(|warning| (std::cmp::Reverse(warning.level), warning.stage));
    if !batch.invented {
        plan.lessons = lessons(batch, &plan);
    }
    plan
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

struct Maker<'a> {
    batch: &'a Batch,
    plan: &'a mut Plan,
}

impl Maker<'_> {
    fn warn(&mut self, stage: Stage, level: Level, says: crate::say::Sentence) {
        self.plan.warnings.push(Warning { stage, level, says });
    }

    fn figures(&mut self) -> &mut Figures {
        &mut self.plan.figures
    }

    fn day(&mut self) {
        self.early_hops();
        let weighed = match self.weigh_in() {
            Ok(weighed) => weighed,
            Err(unknown) => return self.unknown_day(unknown),
        };
        let ions = self.water(&weighed);
        self.mash(&weighed, ions);
        let course = match self.course(&weighed) {
            Ok(course) => course,
            Err(unknown) => return self.unknown_wort(unknown),
        };
        self.plan.day = Some(course);
        self.plan.weighed = Some(weighed);
        let lactic = self.souring(&course);
        self.main_boil(&course);
        self.ferment_and_after(&course, lactic);
    }

    /// Without a grist most of the plan waits for the same thing.
    fn unknown_day(&mut self, unknown: Unknown) {
        let figures = self.figures();
        macro_rules! all { ($($field:ident),+) => { $( figures.$field = Err(unknown); )+ } }
        all!(
            total_water,
            tap_water,
            distilled_water,
            calcium_after,
            magnesium_after,
            sodium_after,
            chloride_after,
            sulfate_after,
            alkalinity_after,
            residual_alkalinity,
            hardness,
            grist_mass,
            kettle_extract,
            mash_water,
            thickness,
            strike,
            strike_heating,
            mash_level,
            mash_ph_plain,
            mash_acid,
            mash_base,
            mash_ph
        );
        self.report_balance();
        self.boiling_point();
        self.unknown_wort(unknown);
    }

    fn unknown_wort(&mut self, unknown: Unknown) {
        if unknown == Unknown::BoiledDry {
            self.warn(Stage::FirstBoil, Level::Stop, say!["These boils would run the kettle dry and burn out the heater: shorten them or check the evaporation."]);
        }
        if unknown == Unknown::TooLittleWort {
            self.warn(
                Stage::FirstBoil,
                Level::Stop,
                say!["More wort is set aside or lost than there is: check the volumes."],
            );
        }
        let figures = self.figures();
        macro_rules! all { ($($field:ident),+) => { $( figures.$field = Err(unknown); )+ } }
        all!(
            pre_boil_volume,
            pre_boil_gravity,
            boil_heating,
            sour_volume,
            sour_gravity,
            wort_ph,
            buffering,
            drop_acid,
            next_dose,
            sour_time,
            lactic,
            acidity,
            bitterness,
            hop_mass,
            post_boil_volume,
            original_gravity,
            fermenter_volume,
            yeast_cells,
            dry_yeast,
            final_gravity,
            alcohol,
            fruit_load,
            fruit_sugar,
            fruited_volume,
            room_left,
            fruited_alcohol,
            fruited_gravity,
            fruited_bitterness,
            fruited_ph,
            fruited_acidity,
            packaged_volume,
            priming,
            potential_carbonation,
            package_pressure
        );
        self.sour_reading();
        self.gas();
    }

    fn boiling_point(&mut self) {
        let point = value(self.batch, Field::Altitude)
            .and_then(|height| boiling_point_at(height).map_err(|_| Unknown::OutsideModel(Stage::Aim)));
        self.figures().boiling_point = point.and_then(|at| predicted(Estimate::normal(at, 0.5)));
    }

    /// The mean of a house number in use and its deviation: what was typed is
    /// trusted as the house's own mean.
    fn habit<Q: Quantity>(&self, number: HouseNumber, field: Field) -> Result<(Q, f64), Unknown> {
        let used = value::<Q>(self.batch, field)?;
        let deviation = if field.get(&self.batch.numbers).is_some() {
            number.within()
        } else {
            self.batch.house.expect::<Q>(number).0.deviation()
        };
        Ok((used, deviation))
    }

    fn malt_yield(malt: &Malt) -> MaltYield {
        let data = malt.class.data();
        MaltYield {
            extract: malt.numbers.extract.unwrap_or(data.extract),
            moisture: malt.numbers.moisture.unwrap_or(data.moisture),
        }
    }

    /// Grist and water from the beer wanted.
    fn weigh_in(&mut self) -> Result<WeighedIn, Unknown> {
        let batch = self.batch;
        let efficiency: Fraction = value(batch, Field::Efficiency)?;
        let day = |gravity: Plato| -> Result<Day, Unknown> {
            Ok(Day {
                batch: value(batch, Field::BatchVolume)?,
                gravity,
                kettle_loss: value(batch, Field::KettleLoss)?,
                evaporation: value(batch, Field::Evaporation)?,
                main_boil: value(batch, Field::MainBoil)?,
                set_aside: value(batch, Field::StarterWort)?,
                first_boil: value(batch, Field::ClearBoil)?,
            })
        };
        let yields: Vec<MaltYield> = batch.grist.iter().map(Self::malt_yield).collect();
        let wanted: Plato = value(batch, Field::WantedGravity)?;
        let (masses, runoff) = match batch.choices.grist_by {
            GristBy::Shares => {
                let given: Fraction = batch.grist.iter().filter_map(|malt| malt.numbers.share).sum();
                self.plan.malts = batch
                    .grist
                    .iter()
                    .map(|malt| MaltLine { class: malt.class, mass: None, share: malt.numbers.share })
                    .collect();
                if given <= Fraction::ZERO {
                    return Err(Unknown::NoGrist);
                }
                if (given.as_of_one() - 1.0).abs() > 0.005 {
                    self.warn(
                        Stage::Grist,
                        Level::Note,
                        say![
                            "The shares add up to ",
                            given.amount(),
                            "; they are taken as parts of the whole."
                        ],
                    );
                }
                let runoff = runoff_needed(&day(wanted)?).map_err(outside(Stage::Aim))?.runoff;
                let shares: Vec<Fraction> =
                    batch.grist.iter().map(|malt| malt.numbers.share.unwrap_or(Fraction::ZERO)).collect();
                let parts: Vec<(Fraction, MaltYield)> =
                    shares.iter().copied().zip(yields.iter().copied()).collect();
                let total = grist_for(runoff.extract, &parts, efficiency).map_err(|_| Unknown::NoGrist)?;
                (calc::brew::grist::amounts(total, &shares), runoff)
            }
            GristBy::Weights => {
                let masses: Vec<Mass> =
                    batch.grist.iter().map(|malt| malt.numbers.mass.unwrap_or(Mass::ZERO)).collect();
                let potential = Self::potential(&masses, &yields)?;
                let extract = potential * efficiency;
                if extract <= Mass::ZERO {
                    return Err(Unknown::NoGrist);
                }
                // The gravity that this extract gives in the volumes wanted: extract is nearly
                // proportional to gravity, so the steps shrink fast.
                let mut gravity = wanted;
                let mut runoff = runoff_needed(&day(gravity)?).map_err(outside(Stage::Aim))?.runoff;
                for _ in 0..12 {
                    let ratio = extract / runoff.extract;
                    gravity = Plato::degrees((gravity.as_degrees() * ratio).clamp(0.1, 40.0));
                    runoff = runoff_needed(&day(gravity)?).map_err(outside(Stage::Aim))?.runoff;
                    if (ratio - 1.0).abs() < 1e-10 {
                        break;
                    }
                }
                (masses, runoff)
            }
        };
        let grain: Mass = masses.iter().copied().sum();
        let shares = calc::brew::grist::shares(&masses);
        self.plan.malts = batch
            .grist
            .iter()
            .zip(masses.iter().zip(shares))
            .map(|(malt, (&mass, share))| MaltLine {
                class: malt.class,
                mass: Some(mass),
                share: Some(share),
            })
            .collect();
        let absorption = value(batch, Field::Absorption)?;
        let water = water_for(&runoff, grain, absorption).map_err(outside(Stage::Aim))?;
        let potential = Self::potential(&masses, &yields)?;

        let relative =
            self.habit::<Fraction>(HouseNumber::Efficiency, Field::Efficiency)?.1 / efficiency.as_of_one();
        let by_shares = batch.choices.grist_by == GristBy::Shares;
        let figures = self.figures();
        figures.grist_mass =
            if by_shares { predicted(Estimate::relative(grain, relative)) } else { exact(grain) };
        figures.kettle_extract = predicted(Estimate::relative(potential * efficiency, relative));
        let of_absorption = self.habit::<VolumePerMass>(HouseNumber::Absorption, Field::Absorption)?.1;
        let of_loss = self.habit::<Volume>(HouseNumber::KettleLoss, Field::KettleLoss)?.1;
        let hours = value::<Duration>(batch, Field::MainBoil)? + value::<Duration>(batch, Field::ClearBoil)?;
        let of_evaporation =
            self.habit::<VolumeRate>(HouseNumber::Evaporation, Field::Evaporation)?.1 * hours.as_hours();
        let spread = (of_absorption * grain.as_kilograms()).hypot(of_loss).hypot(of_evaporation);
        self.figures().total_water = predicted(Estimate::normal(water, spread));
        Ok(WeighedIn { grain, potential, water })
    }

    fn potential(masses: &[Mass], yields: &[MaltYield]) -> Result<Mass, Unknown> {
        masses.iter().zip(yields).try_fold(Mass::ZERO, |sum, (&mass, malt)| {
            malt.potential(mass).map(|more| sum + more).map_err(|_| Unknown::OutsideModel(Stage::Grist))
        })
    }

    /// The source water as reported; unnamed ions count as none.
    fn report(&self) -> Result<Ions, Unknown> {
        let numbers = &self.batch.numbers;
        if numbers.distilled == Some(Fraction::ALL) {
            return Ok(Ions::default());
        }
        let zero = Concentration::ZERO;
        Ok(Ions {
            calcium: numbers.calcium.ok_or(Unknown::Empty(Field::Calcium.spec()))?,
            alkalinity: numbers.alkalinity.ok_or(Unknown::Empty(Field::Alkalinity.spec()))?,
            magnesium: numbers.magnesium.unwrap_or(zero),
            sodium: numbers.sodium.unwrap_or(zero),
            chloride: numbers.chloride.unwrap_or(zero),
            sulfate: numbers.sulfate.unwrap_or(zero),
            potassium: zero,
        })
    }

    fn report_balance(&mut self) {
        let report = self.report();
        self.figures().imbalance = report.and_then(|ions| exact(ions.imbalance()));
        let Ok(ions) = report else { return };
        let numbers = &self.batch.numbers;
        let missing = [
            (Field::Magnesium, numbers.magnesium),
            (Field::Sodium, numbers.sodium),
            (Field::Chloride, numbers.chloride),
            (Field::Sulfate, numbers.sulfate),
        ];
        let all_given = missing.iter().all(|(_, given)| given.is_some());
        if numbers.distilled != Some(Fraction::ALL) {
            for (field, _) in missing.iter().filter(|(_, given)| given.is_none()) {
                self.warn(
                    Stage::Water,
                    Level::Note,
                    say![field.spec().label, " is not given and counts as none."],
                );
            }
        }
        if all_given && !ions.is_balanced() {
            let (plus, minus) = (ions.cations(), ions.anions());
            let lacking = if plus < minus {
                "positive ions (calcium, magnesium, sodium)"
            } else {
                "negative ions (alkalinity, sulfate, chloride)"
            };
            self.warn(
                Stage::Water,
                Level::Caution,
                say![
                    "The water report does not balance: its charges differ by ",
                    ions.imbalance().amount(),
                    ". A figure is wrong, in another unit or missing among the ",
                    lacking,
                    "."
                ],
            );
        }
    }

    /// Salts and the water they make; the ions of the mash.
    fn water(&mut self, weighed: &WeighedIn) -> Result<Ions, Unknown> {
        let batch = self.batch;
        let distilled: Fraction = value(batch, Field::Distilled)?;
        let total = self.plan.figures.total_water;
        let part = |share: Fraction| {
            total.map(|v| Value { estimate: v.estimate.map(|water| water * share), origin: v.origin })
        };
        let figures = self.figures();
        figures.tap_water = part(distilled.rest());
        figures.distilled_water = part(distilled);
        self.report_balance();
        let blend = self.report().map(|report| report.blended(distilled, &Ions::default()));
        let step = value(batch, Field::ScaleStep)?;
        let made = blend.map(|blend| {
            let own = &batch.choices.own_salts;
            if own.is_empty() {
                let recipe =
                    salts_for(batch.choices.finish, blend, weighed.water, &batch.choices.salts, step);
                self.plan.salts = recipe.amounts;
                recipe.water
            } else {
                self.plan.salts = own.iter().map(|dose| (dose.salt, dose.mass)).collect();
                water_with(blend, &self.plan.salts, weighed.water)
            }
        });
        let figures = self.figures();
        let ion = |ion: Ion| made.and_then(|made| exact(ion.of(&made)));
        figures.calcium_after = ion(Ion::Calcium);
        figures.magnesium_after = ion(Ion::Magnesium);
        figures.sodium_after = ion(Ion::Sodium);
        figures.chloride_after = ion(Ion::Chloride);
        figures.sulfate_after = ion(Ion::Sulfate);
        figures.alkalinity_after = made.and_then(|made| exact(made.alkalinity));
        figures.residual_alkalinity = made.and_then(|made| exact(made.residual_alkalinity()));
        figures.hardness = made.and_then(|made| exact(made.hardness()));
        let (before, after) = (blend?, made?);
        let finish = batch.choices.finish;
        self.plan.ions = Ion::ALL
            .iter()
            .map(|&ion| {
                let (low, high) = finish.range(ion);
                IonLine { ion, before: ion.of(&before), after: ion.of(&after), low, high }
            })
            .collect();
        // Half a step of the scale may round an ion out of its range; that is no warning.
        let slack = |range: Concentration| range * 0.05;
        let unmet: Vec<IonLine> = self
            .plan
            .ions
            .iter()
            .copied()
            .filter(|line| {
                let slack = slack(line.high - line.low);
                line.after < line.low - slack || line.after > line.high + slack
            })
            .collect();
        for line in unmet {
            let says = if line.after < line.low {
                say![
                    line.ion.name(),
                    " stays at ",
                    line.after.amount(),
                    ", below the ",
                    line.low.amount(),
                    " of this finish: a salt that brings it is not at hand or brings too much else."
                ]
            } else {
                say![
                    line.ion.name(),
                    " is ",
                    line.after.amount(),
                    ", above the ",
                    line.high.amount(),
                    " of this finish: only distilled or reverse-osmosis water lowers it."
                ]
            };
            self.warn(Stage::Water, Level::Note, says);
        }
        for advice in advice(&after) {
            self.warn(
                Stage::Water,
                Level::Note,
                say![
                    advice.ion.name(),
                    " at ",
                    advice.holds.amount(),
                    " is above the taste value for drinking water, ",
                    advice.limit.amount(),
                    ". A salty beer does so on purpose; tell guests on a low-salt diet."
                ],
            );
        }
        Ok(after)
    }

    fn acid(&self) -> Result<Acid, Unknown> {
        Ok(Acid { kind: self.batch.choices.acid, strength: value(self.batch, Field::AcidStrength)? })
    }

    fn meter(&self) -> Result<PhDifference, Unknown> {
        value(self.batch, Field::MeterError)
    }

    fn mash(&mut self, weighed: &WeighedIn, ions: Result<Ions, Unknown>) {
        if let Err(unknown) = self.mash_heat(weighed) {
            let figures = self.figures();
            for figure in [&mut figures.mash_water, &mut figures.mash_level] {
                *figure = Err(unknown);
            }
            figures.thickness = Err(unknown);
            figures.strike = Err(unknown);
            figures.strike_heating = Err(unknown);
        }
        if let Err(unknown) = ions.and_then(|ions| self.mash_ph(weighed, ions)) {
            let reading =
                self.batch.readings.last(ReadingKind::MashPh).map(|reading| reading.value.typed::<Ph>());
            let meter = self.meter();
            let figures = self.figures();
            figures.mash_ph_plain = Err(unknown);
            figures.mash_acid = Err(unknown);
            figures.mash_base = Err(unknown);
            figures.mash_ph = match (reading, meter) {
                (Some(ph), Ok(meter)) => measured(Estimate::normal(ph, meter.as_units())),
                _ => Err(unknown),
            };
        }
    }

    fn mash_heat(&mut self, weighed: &WeighedIn) -> Result<(), Unknown> {
        let batch = self.batch;
        let rinse: Volume = value(batch, Field::Rinse)?;
        let water = weighed.water - rinse;
        if water <= Volume::ZERO {
            return Err(Unknown::TooLittleWort);
        }
        let total = self.plan.figures.total_water;
        let thickness = VolumePerMass::l_per_kg(water.as_litres() / weighed.grain.as_kilograms());
        let mash_temperature: Temperature = value(batch, Field::MashTemperature)?;
        let moisture = self.mean_moisture();
        let at = strike(mash_temperature, value(batch, Field::GrainTemperature)?, thickness, moisture);
        let power: Power = value(batch, Field::HeatingPower)?;
        let kettle: Volume = value(batch, Field::KettleVolume)?;
        let level = mash_fit(kettle, water, weighed.grain, mash_temperature);

        let figures = self.figures();
        figures.mash_water =
            total.map(|v| Value { estimate: v.estimate.map(|all| all - rinse), origin: v.origin });
        figures.thickness = exact(thickness);
        // Heat lost while mashing in, and what the basket takes up, differ between kits.
        figures.strike =
            at.map_or(Err(Unknown::OutsideModel(Stage::Mash)), |at| predicted(Estimate::normal(at, 0.55)));
        figures.mash_level = predicted(Estimate::normal(level.filled, 0.04 * weighed.grain.as_kilograms()));
        if let Ok(at) = at {
            let time = heating_time(
                Wort::of_water(water, ROOM).mass(),
                Plato::degrees(0.0),
                TAP,
                at,
                power,
                power * HEAT_LOSS,
            );
            figures.strike_heating = time.map_or(Err(Unknown::OutsideModel(Stage::Mash)), |time| {
                predicted(Estimate::relative(time, 0.12))
            });
        } else {
            figures.strike_heating = Err(Unknown::OutsideModel(Stage::Mash));
        }
        if !level.fits() {
            self.warn(
                Stage::Mash,
                Level::Stop,
                say![
                    "Water and grain come to ",
                    level.filled.amount(),
                    " and the kettle holds ",
                    kettle.amount(),
                    ": hot water would run over. Keep some back to rinse with, or brew less."
                ],
            );
        }
        Ok(())
    }

    fn mean_moisture(&self) -> Fraction {
        let (mut water, mut all) = (Mass::ZERO, Mass::ZERO);
        for (malt, line) in self.batch.grist.iter().zip(&self.plan.malts) {
            let mass = line.mass.unwrap_or(Mass::ZERO);
            water += mass * Self::malt_yield(malt).moisture;
            all += mass;
        }
        if all > Mass::ZERO { Fraction::of_one(water / all) } else { Fraction::ZERO }
    }

    fn mash_ph(&mut self, weighed: &WeighedIn, ions: Ions) -> Result<(), Unknown> {
        let batch = self.batch;
        let volume = weighed.water - value::<Volume>(batch, Field::Rinse)?;
        if volume <= Volume::ZERO {
            return Err(Unknown::TooLittleWort);
        }
        let malts: Vec<MaltShare> = batch
            .grist
            .iter()
            .zip(&self.plan.malts)
            .map(|(malt, line)| {
                let data = malt.class.data();
                // A figure measured for this bag errs less than its class: half as much.
                let own = |class: Estimate<Ph>, own: Option<Ph>| {
                    own.map_or(class, |ph| Estimate::normal(ph, class.deviation() / 2.0))
                };
                MaltShare {
                    mass: line.mass.unwrap_or(Mass::ZERO),
                    mash_ph: own(data.mash_ph, malt.numbers.own_ph),
                    buffering: malt
                        .numbers
                        .buffering
                        .map_or(data.buffering, |b| Estimate::normal(b, data.buffering.deviation() / 2.0)),
                }
            })
            .collect();
        let shift: PhDifference = batch.house.expect(HouseNumber::MashPhShift).0.value;
        let mash = Mash::new(&malts, ions, value(batch, Field::WaterPh)?, volume)
            .map_err(|_| Unknown::NoGrist)?
            .shifted(shift);
        let (acid, wanted) = (self.acid()?, value::<Ph>(batch, Field::MashPh)?);
        let plain = mash.ph(&acid, Volume::ZERO).map_err(outside(Stage::Mash))?;
        self.figures().mash_ph_plain = predicted(plain);

        let doses: Volume =
            batch.readings.of(ReadingKind::MashAcid).map(|reading| reading.value.typed::<Volume>()).sum();
        let last = batch.readings.last(ReadingKind::MashPh);
        let (still, now) = match last {
            None => {
                let all = mash.charge_to(wanted);
                let planned = acid_for(all, &acid, wanted).value;
                let ph = mash.ph(&acid, planned.max(doses)).map_err(outside(Stage::Mash))?;
                let given = acid.charge_of(doses, wanted);
                (all.map(|charge| charge - given), predicted(ph))
            }
            Some(reading) => {
                let read: Ph = reading.value.typed();
                let meter = self.meter()?;
                // Acid stirred in after the reading has already taken part of the way.
                let since: Volume = batch
                    .readings
                    .of(ReadingKind::MashAcid)
                    .filter(|dose| dose.at > reading.at)
                    .map(|dose| dose.value.typed::<Volume>())
                    .sum();
                let left = mash.charge_after_reading(read, wanted, meter);
                let given = acid.charge_of(since, wanted);
                (left.map(|charge| charge - given), measured(Estimate::normal(read, meter.as_units())))
            }
        };
        let figures = self.figures();
        figures.mash_acid = predicted(acid_for(still, &acid, wanted));
        figures.mash_base = predicted(baking_soda_for(still, wanted));
        figures.mash_ph = now;
        if let Some(reading) = last {
            if reading.temperature.is_some_and(|at| at.as_celsius() > 35.0) {
                self.warn(
                    Stage::Mash,
                    Level::Note,
                    say!["That mash pH was read hot. A hot mash really is about 0.2 to 0.3 lower in pH, which no meter corrects: cool the sample to 20 °C and read again."],
                );
            }
            let read: Ph = reading.value.typed();
            if (read - plain.value).as_units().abs() > 0.8 {
                self.warn(
                    Stage::Mash,
                    Level::Caution,
                    say!["The mash reads ", read.amount(), " where ", plain.value.amount(),
                         " was expected before acid. Check the meter in its buffers, the water report and the grist before adding more."],
                );
            }
        }
        Ok(())
    }

    fn habits(&self) -> Result<(Habits, [f64; 4]), Unknown> {
        let (efficiency, of_efficiency) = self.habit(HouseNumber::Efficiency, Field::Efficiency)?;
        let (absorption, of_absorption) = self.habit(HouseNumber::Absorption, Field::Absorption)?;
        let (evaporation, of_evaporation) = self.habit(HouseNumber::Evaporation, Field::Evaporation)?;
        let (kettle_loss, of_loss) = self.habit(HouseNumber::KettleLoss, Field::KettleLoss)?;
        Ok((
            Habits { efficiency, absorption, evaporation, kettle_loss },
            [of_efficiency, of_absorption, of_evaporation, of_loss],
        ))
    }

    /// The day with these habits, readings in their places.
    fn run(&self, weighed: &WeighedIn, habits: Habits) -> Result<Course, Unknown> {
        let batch = self.batch;
        let boils_at = middle(&self.plan.figures.boiling_point)?;
        let mash_out: Temperature = value(batch, Field::MashOut)?;
        let predicted =
            runoff_of(weighed.water, weighed.potential * habits.efficiency, weighed.grain, habits.absorption)
                .map_err(|_| Unknown::TooLittleWort)?;
        let runoff =
            self.read_wort(predicted, ReadingKind::PreBoilVolume, mash_out, ReadingKind::PreBoilGravity);
        let after_first = runoff.boil(habits.evaporation, value(batch, Field::ClearBoil)?).map_err(ledger)?;
        let (set_aside, souring) =
            after_first.take(value(batch, Field::StarterWort)?, ROOM).map_err(ledger)?;
        let after_boil = souring.boil(habits.evaporation, value(batch, Field::MainBoil)?).map_err(ledger)?;
        let after_boil =
            self.read_wort(after_boil, ReadingKind::PostBoilVolume, boils_at, ReadingKind::OriginalGravity);
        let (_, fermenter) = after_boil.take(habits.kettle_loss, ROOM).map_err(ledger)?;
        if fermenter.is_empty() {
            return Err(Unknown::TooLittleWort);
        }
        let fermenter = match batch.readings.last(ReadingKind::FermenterVolume) {
            Some(reading) => {
                Wort::of_wort(reading.value.typed(), fermenter.plato(), reading.temperature.unwrap_or(ROOM))
            }
            None => fermenter,
        };
        Ok(Course { runoff, set_aside, souring, after_boil, fermenter })
    }

    /// A wort with its newest volume and gravity readings in place of the
    /// predicted ones. A volume alone changes the water, a gravity alone the extract.
    fn read_wort(&self, wort: Wort, volume: ReadingKind, hot: Temperature, gravity: ReadingKind) -> Wort {
        let readings = &self.batch.readings;
        let read_gravity = readings.last(gravity).map(gravity_of);
        match (readings.last(volume), read_gravity) {
            (None, None) => wort,
            (Some(reading), gravity) => Wort::of_wort(
                reading.value.typed(),
                gravity.unwrap_or_else(|| wort.plato()),
                reading.temperature.unwrap_or(hot),
            ),
            (None, Some(gravity)) => Wort::of_wort(wort.volume(ROOM), gravity, ROOM),
        }
    }

    fn course(&mut self, weighed: &WeighedIn) -> Result<Course, Unknown> {
        let batch = self.batch;
        self.boiling_point();
        let (habits, deviations) = self.habits()?;
        let course = self.run(weighed, habits)?;
        // One run for each uncertain habit, moved by its deviation.
        let moved = |place: usize| {
            let by = deviations[place];
            let mut other = habits;
            match place {
                0 => other.efficiency = (other.efficiency - Fraction::of_one(by)).max(Fraction::percent(5.0)),
                1 => other.absorption += VolumePerMass::l_per_kg(by),
                2 => other.evaporation += VolumeRate::l_per_h(by),
                _ => other.kettle_loss += Volume::litres(by),
            }
            self.run(weighed, other).ok()
        };
        let others: Vec<Course> = (0..deviations.len()).filter_map(moved).collect();
        fn around<Q: Quantity>(
            course: &Course,
            others: &[Course],
            read: impl Fn(&Course) -> Q,
        ) -> Estimate<Q> {
            let value = read(course);
            let square: f64 = others.iter().map(|other| (read(other).base() - value.base()).powi(2)).sum();
            Estimate::normal(value, square.sqrt())
        }
        let has = |kind: ReadingKind| batch.readings.last(kind).is_some();
        let known = |is_read: bool| if is_read { Origin::Measured } else { Origin::Predicted };
        let boils_at = middle(&self.plan.figures.boiling_point)?;
        let mash_out: Temperature = value(batch, Field::MashOut)?;
        let souring_at: Temperature = value(batch, Field::SourTemperature)?;
        let power: Power = value(batch, Field::HeatingPower)?;
        let kettle: Volume = value(batch, Field::KettleVolume)?;
        let heating = heating_time(
            course.runoff.mass(),
            course.runoff.plato(),
            mash_out,
            boils_at,
            power,
            power * HEAT_LOSS,
        );
        let both = has(ReadingKind::PreBoilVolume) && has(ReadingKind::PreBoilGravity);

        let figures = self.figures();
        figures.pre_boil_volume = Ok(Value {
            estimate: around(&course, &others, |c| c.runoff.volume(mash_out)),
            origin: known(has(ReadingKind::PreBoilVolume)),
        });
        figures.pre_boil_gravity = Ok(Value {
            estimate: around(&course, &others, |c| c.runoff.plato()),
            origin: known(has(ReadingKind::PreBoilGravity)),
        });
        if both {
            figures.kettle_extract = measured(Estimate::exact(course.runoff.extract));
        }
        figures.boil_heating = heating.map_or(Err(Unknown::OutsideModel(Stage::FirstBoil)), |time| {
            predicted(Estimate::relative(time, 0.12))
        });
        figures.sour_volume = predicted(around(&course, &others, |c| c.souring.volume(souring_at)));
        figures.sour_gravity = predicted(around(&course, &others, |c| c.souring.plato()));
        figures.post_boil_volume = Ok(Value {
            estimate: around(&course, &others, |c| c.after_boil.volume(boils_at)),
            origin: known(has(ReadingKind::PostBoilVolume)),
        });
        figures.original_gravity = Ok(Value {
            estimate: around(&course, &others, |c| c.fermenter.plato()),
            origin: known(has(ReadingKind::OriginalGravity)),
        });
        figures.fermenter_volume = Ok(Value {
            estimate: around(&course, &others, |c| c.fermenter.volume(ROOM)),
            origin: known(has(ReadingKind::FermenterVolume)),
        });
        let hot = course.runoff.volume(boils_at);
        if hot > kettle {
            self.warn(
                Stage::FirstBoil,
                Level::Stop,
                say![
                    "At the boil the wort takes ",
                    hot.amount(),
                    " and the kettle holds ",
                    kettle.amount(),
                    ": it would boil over. Brew less or boil in two parts."
                ],
            );
        } else if hot > kettle * 0.9 {
            self.warn(
                Stage::FirstBoil,
                Level::Caution,
                say![
                    "At the boil only ",
                    (kettle - hot).amount(),
                    " are left to the brim: stay with it, skim the foam, turn the heat down as it rises."
                ],
            );
        }
        Ok(course)
    }

    fn sour_reading(&mut self) {
        let newest = self.batch.readings.last(ReadingKind::SourPh).map(|reading| reading.value.typed::<Ph>());
        let meter = self.meter();
        self.figures().sour_ph = match (newest, meter) {
            (Some(ph), Ok(meter)) => measured(Estimate::normal(ph, meter.as_units())),
            _ => Err(Unknown::Reading(ReadingKind::SourPh)),
        };
    }

    /// Acid drop and souring; lactic acid in the sour wort at the end.
    fn souring(&mut self, course: &Course) -> Mass {
        self.sour_reading();
        self.acid_drop(course)
            .and_then(|(start, buffering)| self.sour(course, start, buffering))
            .unwrap_or_else(|unknown| {
                let figures = self.figures();
                for figure in [&mut figures.drop_acid, &mut figures.next_dose] {
                    if *figure == Err(Unknown::NotReached) {
                        *figure = Err(unknown);
                    }
                }
                if figures.wort_ph == Err(Unknown::NotReached) {
                    figures.wort_ph = Err(unknown);
                }
                if figures.buffering == Err(Unknown::NotReached) {
                    figures.buffering = Err(unknown);
                }
                figures.sour_time = Err(unknown);
                figures.lactic = Err(unknown);
                figures.acidity = Err(unknown);
                Mass::ZERO
            })
    }

    /// The pH in the wort now and its buffering.
    fn acid_drop(&mut self, course: &Course) -> Result<(Estimate<Ph>, Estimate<Buffering>), Unknown> {
        let batch = self.batch;
        let (acid, meter) = (self.acid()?, self.meter()?);
        let wort = course.souring.volume(ROOM);
        let prior = prior_buffering(course.souring.plato(), batch.house.expect(HouseNumber::WortBuffering).0);
        // Doses between two readings belong to the step between them.
        let mut steps = Vec::new();
        let (mut before, mut poured) = (None::<Ph>, Volume::ZERO);
        for reading in batch.readings.iter() {
            match reading.kind {
                ReadingKind::DropAcid => poured += reading.value.typed::<Volume>(),
                ReadingKind::WortPh => {
                    let after: Ph = reading.value.typed();
                    if let Some(before) = before
                        && poured > Volume::ZERO
                    {
                        steps.push(DoseStep { acid: poured, before, after });
                    }
                    (before, poured) = (Some(after), Volume::ZERO);
                }
                _ => {}
            }
        }
        let buffering = update_buffering(prior, &steps, wort, &acid, meter);
        self.figures().buffering = Ok(Value {
            estimate: buffering,
            origin: if steps.is_empty() { Origin::Predicted } else { Origin::Measured },
        });
        let read = match before {
            Some(read) => measured(Estimate::normal(read, meter.as_units())),
            None => self.plan.figures.mash_ph.map(|mash| Value {
                estimate: Estimate::normal(
                    mash.estimate.value - BOIL_PH_DROP,
                    mash.estimate.deviation().hypot(BOIL_PH_DROP.as_units() / 2.0),
                ),
                origin: Origin::Predicted,
            }),
        };
        // Acid poured since the newest reading has moved the pH; by how much is a prediction.
        let now = if poured > Volume::ZERO {
            read.map(|read| {
                let given =
                    acid.charge_of(poured, value(batch, Field::DropPh).unwrap_or(read.estimate.value)) / wort;
                let moved = |buffering: Buffering| {
                    PhDifference::units(given.as_meq_per_l() / buffering.as_meq_per_l_ph().max(0.1))
                };
                let half = (moved(buffering.low) - moved(buffering.high)).as_units() / 2.56;
                Value {
                    estimate: Estimate::normal(
                        Ph::new((read.estimate.value - moved(buffering.value)).value().max(2.8)),
                        read.estimate.deviation().hypot(half),
                    ),
                    origin: Origin::Predicted,
                }
            })
        } else {
            read
        };
        self.figures().wort_ph = now;
        let target: Ph = value(batch, Field::DropPh)?;
        let now = now?.estimate;
        let whole = needed(now, target, buffering, wort, &acid).map_err(outside(Stage::AcidDrop))?;
        let dose = next_dose(now, target, buffering, wort, &acid, meter).map_err(outside(Stage::AcidDrop))?;
        let figures = self.figures();
        figures.drop_acid = predicted(whole);
        figures.next_dose = exact(dose);
        if now.value < target - PhDifference::units(0.15) && batch.ticked(Step::Culture).is_none() {
            self.warn(
                Stage::AcidDrop,
                Level::Note,
                say![
                    "The wort is at ",
                    now.value.amount(),
                    ", below the ",
                    target.amount(),
                    " wanted. The bacteria start more slowly but will work: do not add base."
                ],
            );
        }
        Ok((now, buffering))
    }

    fn sour(
        &mut self,
        course: &Course,
        now: Estimate<Ph>,
        buffering: Estimate<Buffering>,
    ) -> Result<Mass, Unknown> {
        let batch = self.batch;
        let target: Ph = value(batch, Field::SourPh)?;
        let drop: Ph = value(batch, Field::DropPh)?;
        let gravity = course.souring.plato();
        let pitched = batch
            .ticked(Step::Culture)
            .or_else(|| batch.readings.of(ReadingKind::SourPh).next().map(|reading| reading.at));
        // Once the drop is done its last reading is the start; before that, what the drop aims at.
        let start = if batch.ticked(Step::AcidDrop).is_some() { now.value } else { now.value.min(drop) };
        let readings: Vec<(Duration, Ph)> = pitched.map_or_else(Vec::new, |pitched| {
            batch
                .readings
                .of(ReadingKind::SourPh)
                .filter(|reading| reading.at >= pitched)
                .map(|reading| (reading.at - pitched, reading.value.typed()))
                .collect()
        });
        let temperature = match batch.readings.last(ReadingKind::SourTemperature) {
            Some(reading) => reading.value.typed(),
            None => value(batch, Field::SourTemperature)?,
        };
        let Forecast { to_target, speed, curve, alarms } = forecast(
            &Conditions {
                start_ph: start,
                temperature,
                gravity,
                buffering,
                culture: batch.choices.culture,
                cells: value::<CellDensity>(batch, Field::Bacteria)?,
                speed: batch.house.expect::<Count>(HouseNumber::SouringSpeed).0,
                meter_error: self.meter()?,
            },
            target,
            &readings,
        );
        self.plan.course = curve;
        self.plan.souring_speed = (readings.len() > 1).then_some(speed.value);
        self.figures().sour_time = match to_target {
            Ok(time) => predicted(time),
            Err(_) => Err(Unknown::NeverReached),
        };
        if let Err(problem) = to_target {
            self.warn(Stage::Souring, Level::Caution, say![problem.to_string()]);
        }
        for alarm in alarms {
            let (level, says) = alarm_words(alarm);
            self.warn(Stage::Souring, level, say![says]);
        }
        let formed = lactic_formed(start, target, buffering);
        let mash_ph = middle(&self.plan.figures.mash_ph).unwrap_or(Ph::new(5.2));
        // Acid poured before the bacteria counts as acid as well.
        let added = lactic_formed((mash_ph - BOIL_PH_DROP).max(start), start, buffering);
        let all = Estimate {
            value: formed.value + added.value,
            low: formed.low + added.low,
            high: formed.high + added.high,
        };
        let acidity = match batch.readings.last(ReadingKind::SourAcidity) {
            Some(reading) => measured(Estimate::exact(reading.value.typed::<TitratableAcidity>())),
            None => predicted(titratable_acidity(all, gravity)),
        };
        let figures = self.figures();
        figures.lactic = predicted(formed);
        figures.acidity = acidity;
        Ok(formed.value * course.souring.volume(ROOM))
    }

    fn early_hops(&mut self) {
        let late = self.batch.hops.iter().any(|hop| {
            hop.numbers.minutes.is_some_and(|minutes| {
                self.batch.value(Field::MainBoil).is_some_and(|boil: Duration| minutes > boil)
            })
        });
        if late {
            self.warn(
                Stage::MainBoil,
                Level::Caution,
                say!["A hop charge is to boil longer than the main boil lasts. It must not go in before the bacteria have finished: they bear almost no hop."],
            );
        }
    }

    fn main_boil(&mut self, course: &Course) {
        let batch = self.batch;
        let boil = self.boil(course);
        let charges = boil.and_then(|_| {
            let main: Duration = value(batch, Field::MainBoil)?;
            batch
                .hops
                .iter()
                .enumerate()
                .map(|(place, hop)| {
                    let alpha = Slot::Hop(place, HopField::Alpha)
                        .effective(batch)
                        .ok_or(Unknown::Empty(HopField::Alpha.spec()))?;
                    Ok(HopCharge {
                        mass: hop.numbers.mass.ok_or(Unknown::Empty(HopField::Mass.spec()))?,
                        alpha: alpha.typed(),
                        time: hop.numbers.minutes.unwrap_or(main).min(main),
                    })
                })
                .collect::<Result<Vec<HopCharge>, Unknown>>()
        });
        let outside = Unknown::OutsideModel(Stage::MainBoil);
        self.figures().bitterness = match (boil, charges) {
            (Ok(boil), Ok(charges)) => {
                if charges.is_empty() {
                    exact(Bitterness::ZERO)
                } else {
                    boil.bitterness(&charges).map_or(Err(outside), predicted)
                }
            }
            (Err(unknown), _) | (_, Err(unknown)) => Err(unknown),
        };
        self.figures().hop_mass = boil.and_then(|boil| {
            let wanted = batch.numbers.wanted_bitterness.ok_or(Unknown::NotUsed)?;
            let main: Duration = value(batch, Field::MainBoil)?;
            let first = batch.hops.first();
            let alpha = first
                .and_then(|hop| hop.numbers.alpha)
                .or_else(|| HopField::Alpha.spec().assumed.map(|(alpha, _)| alpha.typed()))
                .ok_or(Unknown::Empty(HopField::Alpha.spec()))?;
            let time = first.and_then(|hop| hop.numbers.minutes).unwrap_or(main).min(main);
            let mass =
                boil.hop_for(wanted, alpha, time).map_err(|_| Unknown::OutsideModel(Stage::MainBoil))?;
            exact(mass)
        });
        if let Ok(bitterness) = middle(&self.plan.figures.bitterness)
            && bitterness > Bitterness::ibu(20.0)
        {
            self.warn(
                Stage::MainBoil,
                Level::Note,
                say![
                    bitterness.amount(),
                    " beside this much acid tastes harsh to most people; 5 to 15 is usual in sour beer."
                ],
            );
        }
    }

    fn boil(&self, course: &Course) -> Result<BoilingWort, Unknown> {
        let (before, after) = (course.souring.sg().as_ratio(), course.after_boil.sg().as_ratio());
        let ph = match middle(&self.plan.figures.sour_ph) {
            Ok(ph) => ph,
            Err(_) => value(self.batch, Field::SourPh)?,
        };
        Ok(BoilingWort {
            volume: course.after_boil.volume(ROOM),
            gravity: SpecificGravity::ratio((before + after) / 2.0),
            ph,
        })
    }

    /// pH of the sour beer: read, or what the souring aims at.
    fn beer_ph(&self) -> Result<Estimate<Ph>, Unknown> {
        let meter = self.meter()?;
        let soured = self.batch.ticked(Step::Soured).is_some();
        let ph = match (soured, middle(&self.plan.figures.sour_ph)) {
            (true, Ok(ph)) => ph,
            _ => value(self.batch, Field::SourPh)?,
        };
        // Yeast moves the pH of an already sour wort by little.
        Ok(Estimate::normal(ph, meter.as_units().hypot(0.05)))
    }

    fn ferment_and_after(&mut self, course: &Course, lactic: Mass) {
        self.gas();
        if let Err(unknown) = self.ferment(course, lactic) {
            let figures = self.figures();
            figures.yeast_cells = Err(unknown);
            figures.dry_yeast = Err(unknown);
            figures.final_gravity = Err(unknown);
            figures.alcohol = Err(unknown);
        }
        if let Err(unknown) = self.fruit_and_package(course, lactic) {
            let figures = self.figures();
            macro_rules! all { ($($field:ident),+) => { $( figures.$field = Err(unknown); )+ } }
            all!(
                fruit_load,
                fruit_sugar,
                fruited_volume,
                room_left,
                fruited_alcohol,
                fruited_gravity,
                fruited_bitterness,
                fruited_ph,
                fruited_acidity,
                packaged_volume,
                priming,
                potential_carbonation,
                package_pressure
            );
        }
    }

    /// What gas does at the temperatures given; needs no wort.
    fn gas(&mut self) {
        let batch = self.batch;
        let outside = Unknown::OutsideModel(Stage::Package);
        let (wanted, serving, warm, held, limit) = (
            value::<Carbonation>(batch, Field::Carbonation),
            value::<Temperature>(batch, Field::ServingTemperature),
            value::<Temperature>(batch, Field::FermentTemperature),
            value::<GaugePressure>(batch, Field::FermentPressure),
            batch.numbers.fermenter_pressure,
        );
        // Gauge and table each err by a few kPa.
        const BAND_KPA: f64 = 4.0;
        let at = |temperature: Result<Temperature, Unknown>| {
            wanted.and_then(|wanted| {
                keg_pressure(wanted, temperature?)
                    .map_or(Err(outside), |p| predicted(Estimate::normal(p, BAND_KPA)))
            })
        };
        let keg = at(serving);
        let valve = wanted.and_then(|wanted| {
            spunding(wanted, warm?, None).map_or(Err(outside), |p| predicted(Estimate::normal(p, BAND_KPA)))
        });
        let inside = held.and_then(|held| {
            dissolved(held, warm?).map_or(Err(outside), |c| predicted(Estimate::relative(c, 0.06)))
        });
        let figures = self.figures();
        figures.keg_pressure = keg;
        figures.spunding = valve;
        figures.dissolved = inside;
        if let (Ok(held), Some(limit)) = (held, limit)
            && held > limit
        {
            self.warn(
                Stage::Ferment,
                Level::Stop,
                say![
                    "The pressure planned, ",
                    held.amount(),
                    ", is above the ",
                    limit.amount(),
                    " on the fermenter's plate. The plate decides."
                ],
            );
        }
        if let (Ok(valve), Some(limit)) = (middle(&self.plan.figures.spunding), limit)
            && valve > limit
        {
            self.warn(
                Stage::Ferment,
                Level::Caution,
                say![
                    "Carbonating fully in this fermenter would take ",
                    valve.amount(),
                    "; its plate allows ",
                    limit.amount(),
                    ". Carbonate in the keg instead."
                ],
            );
        }
        if let Ok(held) = held
            && held > GaugePressure::kpa(14.0)
            && limit.is_none()
        {
            self.warn(
                Stage::Ferment,
                Level::Caution,
                say![held.amount(), " is more than the 14 kPa (2 psi) that unrated fermenters are kept under. Read the vessel's own plate."],
            );
        }
    }

    fn ferment(&mut self, course: &Course, lactic: Mass) -> Result<(), Unknown> {
        let batch = self.batch;
        let ph = self.beer_ph()?.value;
        let cells = cells_to_pitch(
            course.fermenter.volume(ROOM),
            course.fermenter.plato(),
            value(batch, Field::PitchRate)?,
            ph,
        )
        .map_err(outside(Stage::Ferment))?;
        let dry = dry_yeast(cells).map_err(outside(Stage::Ferment))?;
        let end = outcome(
            &course.fermenter,
            self.attenuation()?,
            self.lactic_in(course, lactic),
            &[],
            Fraction::ALL,
        )
        .map_err(outside(Stage::Ferment))?;
        let figures = self.figures();
        figures.yeast_cells = predicted(cells);
        figures.dry_yeast = predicted(dry);
        figures.final_gravity = predicted(end.apparent);
        figures.alcohol = predicted(end.alcohol);
        Ok(())
    }

    fn attenuation(&self) -> Result<Fraction, Unknown> {
        value(self.batch, Field::Attenuation)
    }

    /// Lactic acid in the fermenter: its share of what the souring made.
    fn lactic_in(&self, course: &Course, lactic: Mass) -> Mass {
        let share = (course.fermenter.extract / course.souring.extract).clamp(0.0, 1.0);
        (lactic * share).min(course.fermenter.extract)
    }

    fn load(&self, place: usize, addition: &FruitAddition) -> Result<FruitLoad, Unknown> {
        use calc::brew::fruit::FruitForm as Form;
        let numbers = &addition.numbers;
        let form = match addition.form {
            FruitForm::Whole => Form::Whole,
            FruitForm::Frozen => Form::Frozen,
            FruitForm::Puree => Form::Puree,
            FruitForm::Juice => Form::Juice,
            FruitForm::Concentrate => Form::Concentrate {
                brix: numbers.brix.ok_or(Unknown::Empty(Slot::Fruit(place, FruitField::Brix).spec()))?,
            },
            FruitForm::Dried => Form::Dried,
        };
        let mut of = addition.fruit.composition();
        // A concentrate's Brix is that of the concentrate, not of the fruit.
        if let Some(brix) = numbers.brix
            && addition.form != FruitForm::Concentrate
        {
            of = of.with_brix(brix);
        }
        if let Some(acid) = numbers.acid {
            of = of.with_acid(acid, FruitAcid::Citric);
        }
        if let Some(ph) = numbers.ph {
            of = of.with_ph(ph);
        }
        let mass = numbers.mass.ok_or(Unknown::Empty(Slot::Fruit(place, FruitField::Mass).spec()))?;
        FruitLoad::new(mass, form, &of).map_err(|_| Unknown::OutsideModel(Stage::Fruit))
    }

    fn fruit_and_package(&mut self, course: &Course, lactic: Mass) -> Result<(), Unknown> {
        let batch = self.batch;
        let loads: Vec<FruitLoad> = batch
            .fruit
            .iter()
            .enumerate()
            .map(|(place, addition)| self.load(place, addition))
            .collect::<Result<_, _>>()?;
        let lactic = self.lactic_in(course, lactic);
        let attenuation = self.attenuation()?;
        let beer = outcome(&course.fermenter, attenuation, lactic, &[], Fraction::ALL)
            .map_err(outside(Stage::Fruit))?
            .beer;
        let volume = beer.volume(ROOM);
        let fermenter = self.plan.figures.fermenter_volume?;
        let volume_band = fermenter.estimate.deviation();
        let end = outcome(&course.fermenter, attenuation, lactic, &loads, FRUIT_FERMENTABILITY)
            .map_err(outside(Stage::Fruit))?;
        let effect = effect(&beer, &loads).map_err(outside(Stage::Fruit))?;
        let vessel: Volume = value(batch, Field::FermenterVolume)?;
        let room = room_left(vessel, volume, &loads, FOAM).map_err(outside(Stage::Fruit))?;
        let ph = fruited_ph(volume, self.beer_ph()?, self.plan.figures.buffering?.estimate, &loads)
            .map_err(outside(Stage::Fruit))?;
        let sugar: Mass = loads.iter().map(|load| load.sugar).sum();
        let mass: Mass = batch.fruit.iter().filter_map(|addition| addition.numbers.mass).sum();
        let after = effect.mixed.volume(ROOM);
        let fruit_acid: Charge = loads.iter().map(FruitLoad::titratable).sum();
        let some_fruit = !loads.is_empty();
        let only_with_fruit = |known: Known<Volume>| if some_fruit { known } else { Err(Unknown::NoFruit) };

        let (bitterness, acidity) = (self.plan.figures.bitterness, self.plan.figures.acidity);
        let measured_ph = batch
            .readings
            .last(ReadingKind::BeerPh)
            .filter(|reading| batch.ticked(Step::FruitIn).is_some_and(|at| reading.at >= at))
            .map(|reading| reading.value.typed::<Ph>());
        let meter = self.meter()?;
        let figures = self.figures();
        if some_fruit {
            let load = Concentration::g_per_l(mass.as_grams() / volume.as_litres());
            figures.fruit_load = predicted(Estimate::relative(load, volume_band / volume.as_litres()));
            let band = effect.sugar.deviation() / effect.sugar.value.as_mg_per_l().max(1e-9);
            figures.fruit_sugar = predicted(Estimate::relative(sugar, band));
        } else {
            figures.fruit_load = Err(Unknown::NoFruit);
            figures.fruit_sugar = Err(Unknown::NoFruit);
        }
        figures.fruited_volume = only_with_fruit(predicted(Estimate::normal(room.filled, volume_band)));
        figures.room_left = predicted(Estimate::normal(vessel - room.filled, volume_band));
        figures.fruited_alcohol = predicted(end.alcohol);
        figures.fruited_gravity = predicted(end.apparent);
        figures.fruited_bitterness = bitterness.map(|value| Value {
            estimate: value.estimate.map(|ibu| ibu * effect.bitterness_left),
            origin: value.origin,
        });
        figures.fruited_ph = match measured_ph {
            Some(ph) => measured(Estimate::normal(ph, meter.as_units())),
            None => predicted(ph),
        };
        // The fruit's acid is known within a quarter.
        figures.fruited_acidity = acidity.map(|value| {
            let from_fruit = fruit_acid.as_meq() * LACTIC_GRAMS_PER_MEQ / after.as_litres();
            let share = volume / after;
            let deviation = (value.estimate.deviation() * share).hypot(0.2 * from_fruit);
            let both = TitratableAcidity::g_per_l_lactic(
                value.estimate.value.as_g_per_l_lactic() * share + from_fruit,
            );
            Value { estimate: Estimate::normal(both, deviation), origin: Origin::Predicted }
        });
        self.plan.level =
            Some(VesselLevel { vessel, beer: volume, with_fruit: room.filled, foam: room.foam });
        self.fruit_warnings(vessel, room.filled, room.foam, mass, volume);
        self.package(&effect.mixed, effect.held, &end.beer, sugar)
    }

    fn fruit_warnings(&mut self, vessel: Volume, filled: Volume, foam: Volume, mass: Mass, beer: Volume) {
        let batch = self.batch;
        if filled > vessel {
            self.warn(
                Stage::Fruit,
                Level::Stop,
                say!["Beer and fruit come to ", filled.amount(), " and the fermenter holds ", vessel.amount(),
                     ": it would run over or block its valve. Use less fruit, or split the beer over two vessels."],
            );
        } else if vessel - filled < foam {
            self.warn(
                Stage::Fruit,
                Level::Caution,
                say!["Only ", (vessel - filled).amount(), " stay free above beer and fruit, and foam wants about ",
                     foam.amount(), ". Foam with pulp can block the valve and build pressure: fit a blow-off hose or split the beer."],
            );
        }
        if batch.fruit.iter().any(|addition| addition.preserved) {
            self.warn(
                Stage::Fruit,
                Level::Caution,
                say!["Fruit with sorbate or sulfite slows or stops yeast: the sugar may stay and ferment later. Sulfite also needs a word to guests who do not bear it."],
            );
        }
        if mass / Mass::grams(beer.as_litres().max(1e-9)) > 400.0 {
            self.warn(
                Stage::Fruit,
                Level::Note,
                say!["That is more than twice what is usually called heavily fruited (about 175 g of purée per litre)."],
            );
        }
    }

    /// Since when the gravity has stood still, by the readings or as typed.
    fn stable_for(&self) -> Option<Duration> {
        let batch = self.batch;
        let fruit_in = batch.ticked(Step::FruitIn);
        let waits = !batch.fruit.is_empty();
        if waits && fruit_in.is_none() {
            return None;
        }
        let mut run = batch
            .readings
            .of(ReadingKind::Gravity)
            .filter(|reading| fruit_in.is_none_or(|at| reading.at >= at))
            .rev();
        let by_readings = run.next().map(|newest| {
            let first = run
                .take_while(|reading| {
                    (gravity_of(reading).as_degrees() - gravity_of(newest).as_degrees()).abs() < UNCHANGED
                })
                .last()
                .unwrap_or(newest);
            newest.at - first.at
        });
        match (batch.numbers.stable_hours, by_readings) {
            (Some(typed), Some(read)) => Some(typed.max(read)),
            (typed, read) => typed.or(read),
        }
    }

    fn package(
        &mut self,
        mixed: &Wort,
        held: Estimate<Volume>,
        beer: &Wort,
        fruit_sugar: Mass,
    ) -> Result<(), Unknown> {
        let batch = self.batch;
        let left: Volume = value(batch, Field::FermenterLoss)?;
        let after = mixed.volume(ROOM);
        let out = |held: Volume| (beer.volume(ROOM).min(after) - held - left).max(Volume::ZERO);
        let band = self.plan.figures.fermenter_volume?.estimate.deviation();
        let of_pulp = (out(held.low) - out(held.high)).as_litres() / 2.56;
        let packaged = match batch.readings.last(ReadingKind::PackagedVolume) {
            Some(reading) => measured(Estimate::exact(reading.value.typed::<Volume>())),
            None => {
                let middle = Estimate::normal(out(held.value), band.hypot(of_pulp));
                predicted(Estimate { low: middle.low.max(Volume::ZERO), ..middle })
            }
        };
        self.figures().packaged_volume = packaged;
        let volume = middle(&packaged)?;

        let wanted: Carbonation = value(batch, Field::Carbonation)?;
        let inside = self.plan.figures.dissolved;
        let sugar = match batch.choices.gas {
            Gas::Cylinder => None,
            Gas::PrimingSucrose => Some(PrimingSugar::Sucrose),
            Gas::PrimingGlucose => Some(PrimingSugar::GlucoseMonohydrate),
        };
        let weight = sugar.map_or(Err(Unknown::NotUsed), |sugar| {
            priming(volume, middle(&inside)?, wanted, sugar).map_err(|_| Unknown::NotUsed)
        });
        let weight_band = inside.map_or(0.0, |inside| inside.estimate.deviation())
            * sugar.map_or(0.0, |sugar| sugar.per_volume().as_g_per_l() * volume.as_litres());
        self.figures().priming = weight.and_then(|mass| predicted(Estimate::normal(mass, weight_band)));
        let per_litre = |mass: Mass| {
            if volume > Volume::ZERO {
                Concentration::g_per_l(mass.as_grams() / volume.as_litres())
            } else {
                Concentration::ZERO
            }
        };
        // Priming counts as the glucose it becomes: sucrose takes up water and weighs 5 % more.
        let primed = weight.map_or(Concentration::ZERO, |mass| {
            per_litre(mass) * if sugar == Some(PrimingSugar::Sucrose) { 1.053 } else { 0.909 }
        });
        let stable = self.stable_for();
        let settled = stable.is_some_and(|time| time >= Duration::hours(72.0));
        let unfermented = if settled { Some(Concentration::ZERO) } else { self.unfermented(beer) };
        let answer = burst_check(&BurstQuestion {
            kind: batch.choices.package,
            limit: batch.numbers.package_limit,
            warmest: batch.value(Field::Warmest),
            gas_space: batch.value(Field::Headspace),
            // Gas from the cylinder is what is wanted; otherwise what the fermentation left.
            present: if sugar.is_none() { Some(wanted) } else { middle(&inside).ok() },
            fermentable: unfermented,
            fruit_sugar: Some(if settled {
                Concentration::ZERO
            } else {
                Concentration::g_per_l(fruit_sugar.as_grams() / after.as_litres())
            }),
            priming: primed,
            stable_for: stable,
        });
        let figures = self.figures();
        let outside = Unknown::OutsideModel(Stage::Package);
        let missing = Unknown::Reading(ReadingKind::Gravity);
        figures.potential_carbonation = answer.carbonation.map_or(Err(missing), predicted);
        figures.package_pressure = match (answer.pressure, answer.carbonation) {
            (Some(pressure), _) => predicted(pressure),
            (None, None) => Err(missing),
            (None, Some(_)) => Err(outside),
        };
        let reasons: Vec<_> = answer.reasons.iter().collect();
        // Before the yeast has done its part every plan would be a bomb; the verdict itself is shown all the same.
        let near = batch.ticked(Step::PastPeak).is_some();
        if near && answer.verdict == Verdict::Stop {
            self.warn(
                Stage::Package,
                Level::Stop,
                say!["Burst check: do not close this package like this. Finish the fermentation in the keg or fermenter, keep it cold, or stabilise it first; the package's own rating decides."],
            );
        }
        self.plan.verdict = Some((answer.verdict, reasons));
        if middle(&inside).is_ok_and(|inside| inside > wanted) && sugar.is_some() {
            self.warn(
                Stage::Package,
                Level::Caution,
                say!["The beer already holds more gas than wanted: add no priming sugar."],
            );
        }
        Ok(())
    }

    /// Extract still to ferment by the newest gravity, on top of the fruit's sugar; unknown without a reading.
    fn unfermented(&self, end: &Wort) -> Option<Concentration> {
        let newest = self.batch.readings.last(ReadingKind::Gravity)?;
        let apparent = gravity_of(newest).as_degrees() - end.plato().as_degrees();
        // One degree of apparent extract is 0.8192 of real extract, by Balling.
        let grams_per_litre = apparent.max(0.0) * 0.819_2 * end.density(ROOM).as_kg_per_m3() / 100.0;
        Some(Concentration::g_per_l(grams_per_litre))
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
