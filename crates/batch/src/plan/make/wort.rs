//! The wort through the day, readings in their places, with its spread.

use super::*;

impl Maker<'_> {
    pub(super) fn boiling_point(&mut self) {
        let point = value(self.batch, Field::Altitude)
            .and_then(|height| boiling_point_at(height).map_err(|_| Unknown::OutsideModel(Stage::Aim)));
        self.figures().set(key::boiling_point, point.and_then(|at| predicted(Estimate::normal(at, 0.5))));
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
        let runoff = self.read_wort(predicted, ReadingKind::PreBoilVolume, mash_out, self.pre_boil_gravity());
        let after_first = runoff.boil(habits.evaporation, value(batch, Field::ClearBoil)?).map_err(ledger)?;
        let (set_aside, souring) =
            after_first.take(value(batch, Field::StarterWort)?, ROOM).map_err(ledger)?;
        let after_boil = souring.boil(habits.evaporation, value(batch, Field::MainBoil)?).map_err(ledger)?;
        let after_boil = {
            let gravity = batch.readings.last(ReadingKind::OriginalGravity).map(gravity_of);
            self.read_wort(after_boil, ReadingKind::PostBoilVolume, boils_at, gravity)
        };
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

    /// Gravity before the boil by the newest reading, whichever instrument took it.
    fn pre_boil_gravity(&self) -> Option<Plato> {
        let reading = newest(self.batch, ReadingKind::PreBoilGravity, ReadingKind::PreBoilBrix)?;
        if reading.kind == ReadingKind::PreBoilBrix {
            refractometer_wort(reading.value.typed(), self.batch.value(Field::RefractometerFactor)?).ok()
        } else {
            Some(gravity_of(reading))
        }
    }

    /// A wort with its newest volume and gravity readings in place of the
    /// predicted ones. A volume alone changes the water, a gravity alone the extract.
    pub(super) fn read_wort(
        &self,
        wort: Wort,
        volume: ReadingKind,
        hot: Temperature,
        gravity: Option<Plato>,
    ) -> Wort {
        let readings = &self.batch.readings;
        match (readings.last(volume), gravity) {
            (None, None) => wort,
            (Some(reading), gravity) => Wort::of_wort(
                reading.value.typed(),
                gravity.unwrap_or_else(|| wort.plato()),
                reading.temperature.unwrap_or(hot),
            ),
            (None, Some(gravity)) => Wort::of_wort(wort.volume(ROOM), gravity, ROOM),
        }
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
        let gravity_read = self.pre_boil_gravity().is_some();
        let both = has(ReadingKind::PreBoilVolume) && gravity_read;

        let figures = self.figures();
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
                predicted(Estimate::relative(time, 0.12))
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
