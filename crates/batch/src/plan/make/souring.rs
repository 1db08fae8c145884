//! Acid drop and souring.

use super::*;

/// pH between which a wort's buffering is told as one number.
const BUFFERING_FROM: Ph = Ph::new(5.0);
const BUFFERING_TO: Ph = Ph::new(3.4);
/// Where titratable acidity is titrated to.
const TITRATED_TO: Ph = Ph::new(8.2);

/// The wort with the acid of its drop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::plan) struct Drop {
    /// Before anything was read of this wort, for the picture.
    pub(in crate::plan) before: Titration,
    /// As its readings have it.
    pub(in crate::plan) now: Titration,
    pub(in crate::plan) acid: Acid,
    pub(in crate::plan) wort: Volume,
}

impl Maker<'_> {
    pub(super) fn sour_reading(&mut self) {
        let newest = self.batch.readings.last(ReadingKind::SourPh);
        let meter = self.meter();
        let read = match (newest, meter) {
            (Some(reading), Ok(meter)) => measured(self.at_room(reading, meter)),
            _ => Err(Unknown::Reading(ReadingKind::SourPh)),
        };
        self.figures().set(key::sour_ph, read);
    }

    /// Acid drop and souring; lactic acid in the sour wort at the end.
    pub(super) fn souring(&mut self, course: &Course, hot: Option<&Hot>) -> Mass {
        self.acid_drop(course).and_then(|drop| self.sour(course, &drop, hot)).unwrap_or_else(|unknown| {
            self.figures().wait(Stage::AcidDrop..=Stage::Souring, unknown);
            Mass::ZERO
        })
    }

    /// The points of the titrated sample, in any order.
    fn sample(&self, acid: &Acid) -> Result<Vec<DropStep>, Unknown> {
        let points: Vec<(Volume, Ph)> =
            self.batch.sample.iter().filter_map(|point| Some((point.acid()?, point.ph()?))).collect();
        sample_steps(&points, value(self.batch, Field::Sample)?, &acid.diluted())
            .map_err(outside(Stage::AcidDrop))
    }

    /// The wort's titration: its prior, what a sample taught, what was poured and read.
    fn acid_drop(&mut self, course: &Course) -> Result<Drop, Unknown> {
        let batch = self.batch;
        let (acid, meter) = (self.acid()?, self.meter()?);
        let wort = course.souring.volume(ROOM);
        let gravity = course.souring.plato();
        let predicted_start = self.plan.figures.mash_ph().map(|mash| {
            Estimate::normal(
                mash.estimate.value - BOIL_PH_DROP,
                mash.estimate.deviation().hypot(BOIL_PH_DROP.as_units() / 2.0),
            )
        });
        // Doses between two readings belong to the step between them.
        let (mut start, mut steps) = (None, Vec::new());
        let mut poured = MolarConcentration::ZERO;
        for reading in batch.readings.iter() {
            match reading.kind {
                ReadingKind::DropAcid => poured += acid.molarity() * (reading.value.typed::<Volume>() / wort),
                ReadingKind::WortPh if start.is_none() && poured <= MolarConcentration::ZERO => {
                    start = Some(self.at_room(reading, meter));
                }
                ReadingKind::WortPh => {
                    steps.push(DropStep { acid: poured, read: Some(self.at_room(reading, meter).value) });
                    poured = MolarConcentration::ZERO;
                }
                _ => {}
            }
        }
        let told = start.is_some() || !steps.is_empty();
        let unread = poured > MolarConcentration::ZERO;
        if unread {
            steps.push(DropStep { acid: poured, read: None });
        }
        let start = start.map_or(predicted_start, Ok)?;
        let sample = self.sample(&acid)?;
        let follow = |curve: &BufferCurve| {
            Titration::new(curve, start, &sample, acid.kind, meter).emptied().poured(&steps, meter)
        };
        let prior = BufferCurve::prior(gravity, batch.house.expect(HouseNumber::WortBuffering).0);
        let before = Titration::new(&prior, start, &[], acid.kind, meter);
        let now = follow(&prior);
        let learned = steps.iter().chain(&sample).any(|step| step.read.is_some());
        if learned {
            // What the readings alone say teaches the house, not what was believed before them.
            let open = BufferCurve::prior(gravity, Estimate::normal(Count::of(1.0), 3.0));
            self.plan.buffer_scale = Some(follow(&open).curve().scale());
        }
        let origin = if learned { Origin::Measured } else { Origin::Predicted };
        let span = (BUFFERING_FROM - BUFFERING_TO).as_units();
        let buffering = now
            .curve()
            .demand(BUFFERING_FROM, BUFFERING_TO)
            .map(|charge| Buffering::meq_per_l_ph(charge.as_meq_per_l() / span));
        self.figures().set(key::buffering, Ok(Value { estimate: buffering, origin }));
        let ph = now.ph_at(now.acid());
        let newest = batch.readings.last(ReadingKind::WortPh).filter(|_| !unread);
        let ph_now = match newest {
            Some(reading) => measured(self.at_room(reading, meter)),
            None => predicted(if told || unread { ph } else { start }),
        };
        self.figures().set(key::wort_ph, ph_now);
        let drop = Drop { before, now, acid, wort };
        self.plan.drop = Some(drop);
        self.dose(&drop, meter)?;
        Ok(drop)
    }

    /// What is still to pour, and how it is measured out.
    fn dose(&mut self, drop: &Drop, meter: PhDifference) -> Result<(), Unknown> {
        let batch = self.batch;
        let target: Ph = value(batch, Field::DropPh)?;
        let rung =
            ladder(&drop.now, target, drop.wort, &drop.acid, meter).map_err(outside(Stage::AcidDrop))?;
        let dose = if let Rung::Pour(dose) = rung.now { dose } else { Volume::ZERO };
        let measured = measured_out(dose, &drop.acid, value(batch, Field::ScaleStep)?)
            .map_err(outside(Stage::AcidDrop))?;
        let dropper = batch.numbers.dropper();
        self.plan.rung = Some(rung.now);
        let figures = self.figures();
        figures.set(key::drop_acid, predicted(rung.whole.map(|whole| whole.max(Volume::ZERO))));
        figures.set(key::next_dose, exact(dose));
        figures.set(key::dose_weight, exact(measured.mass));
        let used = |known: bool| if known { Ok(()) } else { Err(Unknown::NotUsed) };
        figures.set(key::dose_stock, used(measured.dilutions > 0).and_then(|()| exact(measured.volume)));
        figures.set(
            key::dose_drops,
            dropper
                .ok_or(Unknown::NotUsed)
                .and_then(|drops| exact(Count::of(measured.volume.as_millilitres() * drops.value()))),
        );
        let molar_mass = drop.acid.kind.molar_mass().as_g_per_mol();
        let in_all = drop.now.to_go(target).map(|more| {
            let amount = drop.now.acid() + more.max(MolarConcentration::ZERO);
            Concentration::mg_per_l(amount.as_mmol_per_l() * molar_mass)
        });
        self.figures().set(key::acid_in_wort, predicted(in_all));
        let over = after_overshoot(&drop.now, target, drop.wort);
        if let Some(over) = over.filter(|_| batch.ticked(Step::Culture).is_none()) {
            let mut says =
                say!["The wort is about ", over.below.amount(), " below the pH wanted. ", over.remedy.text()];
            match (over.remedy, over.unsoured) {
                (AcidRemedy::Blend, Some(volume)) => says.extend(say![" About ", volume.amount(), " of it."]),
                (AcidRemedy::BakingSoda, _) => says.extend(say![
                    " About ",
                    over.baking_soda.amount().seen_as(Dimension::SmallMass),
                    " in all; it adds ",
                    over.sodium.amount(),
                    " of sodium."
                ]),
                _ => {}
            }
            self.warn(Stage::AcidDrop, Level::Note, says);
        }
        Ok(())
    }

    /// Living bacteria per millilitre: typed, from the pack, or assumed.
    fn cells(&self, wort: Volume) -> Result<Estimate<CellDensity>, Unknown> {
        let (batch, numbers) = (self.batch, &self.batch.numbers);
        let within = |cells: CellDensity, factor: f64| Estimate::band(cells, cells / factor, cells * factor);
        if let Some(cells) = numbers.bacteria() {
            return Ok(within(cells, 1.6));
        }
        let Some(amount) = numbers.pack_amount() else {
            // A speed that the house has learned holds what its packs have in common.
            let learned = batch.house.expect::<Count>(HouseNumber::SouringSpeed).1 > 0;
            return Ok(within(value(batch, Field::Bacteria)?, if learned { 2.0 } else { 3.0 }));
        };
        let pack = Pack {
            form: batch.choices.form,
            amount,
            label: numbers.pack_cells(),
            age: value(batch, Field::PackAge)?,
            kept_at: value(batch, Field::PackKept)?,
        };
        living_cells(&pack).and_then(|cells| pitch_rate(cells, wort)).map_err(outside(Stage::Souring))
    }

    fn sour(&mut self, course: &Course, drop: &Drop, hot: Option<&Hot>) -> Result<Mass, Unknown> {
        let batch = self.batch;
        let target = batch.numbers.sour_acidity().map_or_else(
            || value(batch, Field::SourPh).map(Target::Ph),
            |acidity| Ok(Target::Acidity(acidity)),
        )?;
        let gravity = course.souring.plato();
        let pitched = batch
            .ticked(Step::Culture)
            .or_else(|| batch.readings.of(ReadingKind::SourPh).next().map(|reading| reading.at));
        // Once the drop is done its last reading is the start; before that, or where nobody read it, what the drop
        // aims at.
        let (read, aim): (Ph, Ph) = (middle(&self.plan.figures.wort_ph())?, value(batch, Field::DropPh)?);
        let done =
            batch.ticked(Step::AcidDrop).is_some() && batch.readings.last(ReadingKind::WortPh).is_some();
        let start = if done { read } else { read.min(aim) };
        let still = if done { MolarConcentration::ZERO } else { drop.now.to_go(aim).value };
        let added = drop.now.acid() + still.max(MolarConcentration::ZERO);
        let meter = self.meter()?;
        let since = |kind: ReadingKind| {
            pitched.into_iter().flat_map(move |pitched| {
                batch
                    .readings
                    .of(kind)
                    .filter(move |reading| reading.at >= pitched)
                    .map(move |reading| (reading.at - pitched, reading))
            })
        };
        let readings: Vec<(Duration, Ph)> = since(ReadingKind::SourPh)
            .map(|(at, reading)| (at, self.at_room(reading, meter).value))
            .collect();
        let temperatures: Vec<(Duration, Temperature)> =
            since(ReadingKind::SourTemperature).map(|(at, reading)| (at, reading.value.typed())).collect();
        let temperature = match temperatures.last() {
            Some(newest) => newest.1,
            None => value(batch, Field::SourTemperature)?,
        };
        let cells = self.cells(drop.wort)?;
        self.figures().set(key::cells, predicted(cells));
        // All acid that was poured counts in the acidity; only lactic acid slows the bacteria as their own does.
        let as_lactic = added.as_mmol_per_l()
            * drop.acid.kind.charge_per_mol(TITRATED_TO).value()
            * AcidKind::Lactic.molar_mass().as_g_per_mol();
        let lactic_before = if drop.acid.kind == AcidKind::Lactic { as_lactic } else { 0.0 };
        let curve = drop.now.curve();
        let conditions = Conditions {
            start_ph: start,
            curve: &curve,
            gravity,
            lactic_before: Concentration::mg_per_l(lactic_before),
            acidity_before: titratable_acidity(Estimate::exact(Concentration::mg_per_l(as_lactic)), gravity),
            temperature,
            temperatures: &temperatures,
            culture: batch.choices.culture,
            cells,
            bitterness: hot.map_or(Bitterness::ZERO, Self::before_souring),
            speed: batch.house.expect::<Count>(HouseNumber::SouringSpeed).0,
            meter_error: meter,
        };
        let told = forecast(&conditions, target, &readings);
        self.plan.course = told.course;
        self.plan.souring_speed = told.speed_seen.filter(|_| readings.len() > 1);
        self.plan.measure_next = pitched.zip(told.measure_next).map(|(pitched, after)| pitched + after);
        if let Err(problem) = told.to_target {
            self.warn(Stage::Souring, Level::Caution, never_sour(problem));
        }
        for alarm in told.alarms {
            let (level, says) = alarm_words(alarm);
            self.warn(Stage::Souring, level, say![says]);
        }
        self.manganese(drop.wort)?;
        let acidity = match batch.readings.last(ReadingKind::SourAcidity) {
            Some(reading) => measured(Estimate::exact(reading.value.typed::<TitratableAcidity>())),
            None => predicted(told.acidity_then),
        };
        let figures = self.figures();
        figures.set(key::sour_time, told.to_target.map_or(Err(Unknown::NeverReached), predicted));
        figures.set(key::sour_chance, exact(told.chance));
        figures.set(key::ph_then, predicted(told.ph_then));
        figures.set(key::lactic, predicted(told.lactic_then));
        figures.set(key::acidity, acidity);
        Ok(told.lactic_then.value * course.souring.volume(ROOM))
    }

    fn manganese(&mut self, wort: Volume) -> Result<(), Unknown> {
        let stock = self.batch.numbers.manganese_stock();
        self.figures().set(
            key::manganese,
            stock.ok_or(Unknown::NotUsed).and_then(|stock| {
                manganese_stock(wort, MANGANESE_IN_WORT, stock)
                    .map_err(outside(Stage::Souring))
                    .and_then(exact)
            }),
        );
        Ok(())
    }

    /// The hold that may end the souring in place of the boil.
    pub(super) fn hold(&mut self) {
        let at = self.batch.numbers.hold();
        self.figures().set(
            key::hold,
            at.ok_or(Unknown::NotUsed)
                .and_then(|at| hold_needed(at).map_err(outside(Stage::MainBoil)).and_then(predicted)),
        );
    }

    /// Acid for the finished beer from a taste trial in a glass.
    pub(super) fn taste_trial(&mut self) {
        let trial = self.trial();
        let kind = self.batch.choices.acid;
        if let (Ok(trial), Some(noticed)) = (&trial, kind.taste_threshold()) {
            let more = trial.more.as_mmol_per_l() * kind.molar_mass().as_g_per_mol();
            let more = Concentration::mg_per_l(more).amount();
            self.warn(
                Stage::Package,
                Level::Note,
                say![
                    "The glass says ",
                    more,
                    " more of ",
                    acid_name(self.batch),
                    " in the beer; half of all tasters notice ",
                    noticed.amount(),
                    " of it."
                ],
            );
        }
        let figures = self.figures();
        figures.set(key::trial_acid, trial.and_then(|trial| predicted(trial.ladder.whole)));
        figures.set(
            key::trial_first,
            trial.and_then(|trial| match trial.ladder.now {
                Rung::Pour(first) => exact(first),
                _ => exact(Volume::ZERO),
            }),
        );
    }

    fn trial(&self) -> Result<Trial, Unknown> {
        let batch = self.batch;
        let (acid, added) = (self.acid()?, batch.numbers.trial_acid().ok_or(Unknown::NotUsed)?);
        let trial = BenchTrial {
            glass: value(batch, Field::TrialGlass)?,
            added,
            liquid: acid.diluted(),
            part: value(batch, Field::TrialPart)?,
        };
        let beer =
            middle(&self.plan.figures.fruited_volume()).or(middle(&self.plan.figures.fermenter_volume()))?;
        scaled_up(&trial, beer, &acid).map_err(outside(Stage::Package))
    }
}
