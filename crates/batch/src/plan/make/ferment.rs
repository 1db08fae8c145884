//! Yeast, fermentation and gas.

use super::*;

impl Maker<'_> {
    /// What gas does at the temperatures given; needs no wort.
    pub(super) fn gas(&mut self) {
        let batch = self.batch;
        let outside = Unknown::OutsideModel(Stage::Package);
        let (wanted, serving, warm, held, limit) = (
            value::<Carbonation>(batch, Field::Carbonation),
            value::<Temperature>(batch, Field::ServingTemperature),
            value::<Temperature>(batch, Field::FermentTemperature),
            value::<GaugePressure>(batch, Field::FermentPressure),
            batch.numbers.fermenter_pressure(),
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
        figures.set(key::keg_pressure, keg);
        figures.set(key::spunding, valve);
        figures.set(key::dissolved, inside);
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
        if let (Ok(valve), Some(limit)) = (middle(&self.plan.figures.spunding()), limit)
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

    pub(super) fn ferment(&mut self, course: &Course, lactic: Mass) -> Result<(), Unknown> {
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
        figures.set(key::yeast_cells, predicted(cells));
        figures.set(key::dry_yeast, predicted(dry));
        figures.set(key::final_gravity, predicted(end.apparent));
        figures.set(key::alcohol, predicted(end.alcohol));
        Ok(())
    }

    /// Apparent extract of the beer by a reading of either instrument.
    pub(super) fn beer_gravity(&self, reading: &Reading) -> Option<Estimate<Plato>> {
        if reading.kind == ReadingKind::Brix {
            let original = middle(&self.plan.figures.original_gravity()).ok()?;
            let factor = self.batch.value(Field::RefractometerFactor)?;
            refractometer_beer(original, reading.value.typed(), factor).ok()
        } else {
            // A line of the scale is half a point of gravity.
            Some(Estimate::normal(gravity_of(reading), 0.08))
        }
    }

    /// Where the fermentation stands by the newest reading; fruit hides what the wort has done.
    pub(super) fn so_far(&mut self, course: &Course, lactic: Mass) -> Result<(), Unknown> {
        let missing = Unknown::Reading(ReadingKind::Gravity);
        let newest = newest(self.batch, ReadingKind::Gravity, ReadingKind::Brix).ok_or(missing)?;
        let now = self.beer_gravity(newest).ok_or(Unknown::OutsideModel(Stage::Ferment))?;
        self.figures().set(key::gravity_now, measured(now));
        if self.batch.ticked(Step::FruitIn).is_some_and(|at| newest.at >= at) {
            return Err(Unknown::NotUsed);
        }
        let original = middle(&self.plan.figures.original_gravity())?;
        let acid = Fraction::of_one(self.lactic_in(course, lactic) / course.fermenter.mass());
        // A reading above the original gravity is one of wort: nothing has fermented.
        let beer = |apparent: Plato| fermented_after_souring(original, apparent.min(original), acid);
        if beer(now.value).is_err() {
            return Err(Unknown::OutsideModel(Stage::Ferment));
        }
        let figures = self.figures();
        figures.set(
            key::attenuation_now,
            measured(now.map(|now| beer(now).map(|beer| beer.apparent_attenuation).unwrap_or_default())),
        );
        figures.set(
            key::alcohol_now,
            measured(now.map(|now| beer(now).map(|beer| beer.alcohol).unwrap_or_default())),
        );
        Ok(())
    }

    pub(super) fn attenuation(&self) -> Result<Fraction, Unknown> {
        value(self.batch, Field::Attenuation)
    }

    /// Lactic acid in the fermenter: its share of what the souring made.
    pub(super) fn lactic_in(&self, course: &Course, lactic: Mass) -> Mass {
        let share = (course.fermenter.extract / course.souring.extract).clamp(0.0, 1.0);
        (lactic * share).min(course.fermenter.extract)
    }

    /// pH of the sour beer: read, or what the souring aims at.
    pub(super) fn beer_ph(&self) -> Result<Estimate<Ph>, Unknown> {
        let meter = self.meter()?;
        let soured = self.batch.ticked(Step::Soured).is_some();
        let ph = match (soured, middle(&self.plan.figures.sour_ph())) {
            (true, Ok(ph)) => ph,
            _ => value(self.batch, Field::SourPh)?,
        };
        // Yeast moves the pH of an already sour wort by little.
        Ok(Estimate::normal(ph, meter.as_units().hypot(0.05)))
    }
}
