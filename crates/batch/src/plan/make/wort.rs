//! The wort through the day, readings in their places, with its spread.

use super::*;

impl Maker<'_> {
    pub(super) fn boiling_point(&mut self) {
        let outside = Unknown::OutsideModel(Stage::Aim);
        // A barometer leaves the weather out of it.
        let (point, band) = match self.batch.numbers.barometer() {
            Some(pressure) => (boiling_point(pressure).map_err(|_| outside), 0.15),
            None => (
                value(self.batch, Field::Altitude)
                    .and_then(|height| boiling_point_at(height).map_err(|_| outside)),
                0.5,
            ),
        };
        let wort =
            self.batch.value(Field::WantedGravity).map_or(Plato::degrees(0.0), |gravity: Plato| gravity);
        let point = point.and_then(|at| predicted(Estimate::normal(at + elevation(wort), band)));
        self.figures().set(key::boiling_point, point);
    }

    pub(super) fn habits(&self) -> Result<(Habits, [f64; 4]), Unknown> {
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
    pub(super) fn run(&self, weighed: &WeighedIn, habits: Habits) -> Result<Course, Unknown> {
        let batch = self.batch;
        let boils_at = middle(&self.plan.figures.boiling_point())?;
        let mash_out: Temperature = value(batch, Field::MashOut)?;
        let predicted =
            runoff_of(weighed.water, weighed.potential * habits.efficiency, weighed.grain, habits.absorption)
                .map_err(|_| Unknown::TooLittleWort)?;
        // The grain keeps its share of the water's minerals.
        let share = if self.minerals.is_empty() { 0.0 } else { predicted.water / self.minerals.water };
        let predicted = predicted.with_ions_of(&self.minerals, Fraction::of_one(share));
        let gravity = self.pre_boil_gravity();
        let known = gravity.is_some();
        let runoff =
            self.read_wort(predicted, (ReadingKind::PreBoilVolume, mash_out), gravity, Rebase::Strength);
        let after_first = runoff.boil(habits.evaporation, value(batch, Field::ClearBoil)?).map_err(ledger)?;
        let (set_aside, souring) =
            after_first.take(value(batch, Field::StarterWort)?, ROOM).map_err(ledger)?;
        let after_boil = souring.boil(habits.evaporation, value(batch, Field::MainBoil)?).map_err(ledger)?;
        let after_boil = {
            let gravity = batch.readings.last(ReadingKind::OriginalGravity).map(gravity_of);
            // Once the extract was read before the boil, a difference after it is water.
            let before = known && batch.readings.last(ReadingKind::PreBoilVolume).is_some();
            let keep = if before || gravity.is_none() { Rebase::Extract } else { Rebase::Strength };
            self.read_wort(after_boil, (ReadingKind::PostBoilVolume, boils_at), gravity, keep)
        };
        let (_, fermenter) = after_boil.take(habits.kettle_loss, ROOM).map_err(ledger)?;
        if fermenter.is_empty() {
            return Err(Unknown::TooLittleWort);
        }
        let fermenter = match batch.readings.last(ReadingKind::FermenterVolume) {
            Some(reading) => {
                let at = reading.temperature.unwrap_or(ROOM);
                fermenter.rebased(Some((reading.value.typed(), at)), None, Rebase::Strength)
            }
            None => fermenter,
        };
        Ok(Course { runoff, set_aside, souring, after_boil, fermenter })
    }

    /// Gravity before the boil by the newest reading, whichever instrument took it.
    fn pre_boil_gravity(&self) -> Option<Plato> {
        let reading = newest(self.batch, ReadingKind::PreBoilGravity, ReadingKind::PreBoilBrix)?;
        if reading.kind == ReadingKind::PreBoilBrix {
            refractometer_wort(reading.value.typed(), self.batch.value(Field::RefractometerFactor)?).ok()
        } else {
            Some(gravity_of(reading))
        }
    }

    /// A wort with its newest volume and gravity readings in place of the predicted ones.
    fn read_wort(
        &self,
        wort: Wort,
        (volume, hot): (ReadingKind, Temperature),
        gravity: Option<Plato>,
        keep: Rebase,
    ) -> Wort {
        let volume = self.batch.readings.last(volume);
        let volume = volume.map(|reading| (reading.value.typed(), reading.temperature.unwrap_or(hot)));
        wort.rebased(volume, gravity, keep)
    }

    /// The heater in its kettle.
    pub(super) fn heater(&self) -> Result<Heater, Unknown> {
        Ok(Heater {
            power: value(self.batch, Field::HeatingPower)?,
            loss: usual_loss(value(self.batch, Field::KettleVolume)?).value,
            room: value(self.batch, Field::Room)?,
        })
    }

    /// A wort in its kettle, to be heated or chilled.
    pub(super) fn in_kettle(&self, wort: &Wort) -> Result<Body, Unknown> {
        let vessel = value(self.batch, Field::KettleWeight)?;
        Ok(Body { liquid: wort.mass(), extract: wort.plato(), grain: Mass::ZERO, vessel })
    }

    /// How full the kettle is at the points of the day.
    pub(super) fn levels(&mut self, course: &Course) {
        let figures = &self.plan.figures;
        let (Ok(boils_at), Some(mash_out), Some(souring)) = (
            middle(&figures.boiling_point()),
            self.batch.value::<Temperature>(Field::MashOut),
            self.batch.value::<Temperature>(Field::SourTemperature),
        ) else {
            return;
        };
        let after_first = course.souring + course.set_aside;
        let mash = figures.mash_level().map(|known| ("Mash, with grain", known.estimate.value));
        self.plan.kettle = mash
            .into_iter()
            .chain([
                ("Basket lifted", course.runoff.volume(mash_out)),
                ("First boil, start", course.runoff.volume(boils_at)),
                ("First boil, end", after_first.volume(boils_at)),
                ("Souring", course.souring.volume(souring)),
                ("Main boil, start", course.souring.volume(boils_at)),
                ("Main boil, end", course.after_boil.volume(boils_at)),
            ])
            .collect();
    }

    pub(super) fn course(&mut self, weighed: &WeighedIn) -> Result<Course, Unknown> {
        let batch = self.batch;
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
        let boils_at = middle(&self.plan.figures.boiling_point())?;
        let mash_out: Temperature = value(batch, Field::MashOut)?;
        let souring_at: Temperature = value(batch, Field::SourTemperature)?;
        let heater = self.heater()?;
        let kettle: Volume = value(batch, Field::KettleVolume)?;
        let heating = heater.time(&self.in_kettle(&course.runoff)?, mash_out, boils_at);
        let evaporation: VolumeRate = value(batch, Field::Evaporation)?;
        let most = heater.evaporation(boils_at);
        let gravity_read = self.pre_boil_gravity().is_some();
        let both = has(ReadingKind::PreBoilVolume) && gravity_read;
        let steps = batch.readings.last(ReadingKind::MashGravity).map(|reading| {
            let moisture = weighed.grain * self.mean_moisture();
            let water = Wort::of_water(weighed.water, ROOM).water + moisture;
            let in_kettle = both.then_some(course.runoff.extract);
            efficiency_steps(gravity_of(reading), water, weighed.potential, in_kettle)
        });
        let step = |share: Option<Fraction>| match share {
            Some(share) => measured(Estimate::relative(share, 0.03)),
            None if steps.is_none() => Err(Unknown::Reading(ReadingKind::MashGravity)),
            None => Err(Unknown::Reading(ReadingKind::PreBoilGravity)),
        };
        let (conversion, lauter) =
            (step(steps.and_then(|s| s.conversion)), step(steps.and_then(|s| s.lauter)));

        let kept = (course.fermenter.extract + course.set_aside.extract) / course.runoff.extract;
        // A wort that was read to be water, or next to it, has no extract to keep a share of.
        let kettle_share = if course.runoff.plato() >= Plato::degrees(0.1) {
            predicted(Estimate::relative(Fraction::of_one(kept), 0.02))
        } else {
            Err(Unknown::OutsideModel(Stage::MainBoil))
        };
        let figures = self.figures();
        figures.set(key::conversion, conversion);
        figures.set(key::lauter, lauter);
        figures.set(key::kettle_share, kettle_share);
        figures.set(
            key::pre_boil_volume,
            Ok(Value {
                estimate: around(&course, &others, |c| c.runoff.volume(mash_out)),
                origin: known(has(ReadingKind::PreBoilVolume)),
            }),
        );
        figures.set(
            key::pre_boil_gravity,
            Ok(Value {
                estimate: around(&course, &others, |c| c.runoff.plato()),
                origin: known(gravity_read),
            }),
        );
        if both {
            figures.set(key::kettle_extract, measured(Estimate::exact(course.runoff.extract)));
        }
        figures.set(
            key::boil_heating,
            heating.map_or(Err(Unknown::OutsideModel(Stage::FirstBoil)), |time| {
                predicted(Estimate::relative(time, 0.08))
            }),
        );
        figures.set(key::sour_volume, predicted(around(&course, &others, |c| c.souring.volume(souring_at))));
        figures.set(key::sour_gravity, predicted(around(&course, &others, |c| c.souring.plato())));
        figures.set(
            key::post_boil_volume,
            Ok(Value {
                estimate: around(&course, &others, |c| c.after_boil.volume(boils_at)),
                origin: known(has(ReadingKind::PostBoilVolume)),
            }),
        );
        figures.set(
            key::original_gravity,
            Ok(Value {
                estimate: around(&course, &others, |c| c.fermenter.plato()),
                origin: known(has(ReadingKind::OriginalGravity)),
            }),
        );
        figures.set(
            key::fermenter_volume,
            Ok(Value {
                estimate: around(&course, &others, |c| c.fermenter.volume(ROOM)),
                origin: known(has(ReadingKind::FermenterVolume)),
            }),
        );
        self.figures().set(
            key::evaporation_power,
            most.map_or(Err(Unknown::OutsideModel(Stage::FirstBoil)), |rate| {
                predicted(Estimate::relative(rate, 0.1))
            }),
        );
        if most.is_ok_and(|most| evaporation > most * 1.1) {
            self.warn(
                Stage::FirstBoil,
                Level::Caution,
                say![
                    evaporation.amount(),
                    " of evaporation is more than this heater can drive off. Check the evaporation and the heating power."
                ],
            );
        }
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
}
