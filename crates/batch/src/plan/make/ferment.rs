//! Yeast, fermentation and gas.

use super::*;

/// Time in which most of the gas comes; our estimate.
const GASSING: Duration = Duration::hours(72.0);

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
                    .map_or(Err(outside), |keg| predicted(Estimate::normal(keg.pressure, BAND_KPA)))
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
        let stage = outside(Stage::Ferment);
        let form = batch.choices.yeast;
        let alive = form.viability(value(batch, Field::YeastAge)?, value(batch, Field::YeastKept)?);
        let each = alive
            .map(|alive| living(batch.numbers.yeast_cells(), form, alive))
            .map_err(outside(Stage::Ferment));
        let amount = each.and_then(|each| amount_for(cells, each).map_err(stage));
        let only = |wanted: YeastForm| if form == wanted { amount } else { Err(Unknown::NotUsed) };
        let starter = batch.numbers.starter_yeast().ok_or(Unknown::NotUsed).and_then(|put_in| {
            let (each, grown) =
                (each?, starter_cells(course.set_aside.extract).map_err(outside(Stage::Ferment))?);
            let all = |each: Cells, grown: Cells| each * put_in.value() + grown;
            predicted(Estimate {
                value: all(each.value, grown.value),
                low: all(each.low, grown.low),
                high: all(each.high, grown.high),
            })
        });
        let warm: Temperature = value(batch, Field::FermentTemperature)?;
        let oxygen = oxygen_time(
            course.fermenter.volume(ROOM),
            value(batch, Field::Oxygen)?,
            value(batch, Field::OxygenFlow)?,
            warm,
            course.fermenter.plato(),
        );
        let end = outcome(
            &course.fermenter,
            self.attenuation()?,
            self.lactic_in(course, lactic),
            &[],
            Fraction::ALL,
        )
        .map_err(outside(Stage::Ferment))?;
        let room = gas_in_room(end.gas, GASSING, value(batch, Field::FermentRoom)?);
        let figures = self.figures();
        figures.set(key::yeast_cells, predicted(cells));
        figures.set(
            key::dry_yeast,
            only(YeastForm::Dry).and_then(|n| predicted(n.map(|n| Mass::grams(n.value())))),
        );
        figures.set(key::yeast_packs, only(YeastForm::Liquid).and_then(predicted));
        figures.set(
            key::yeast_slurry,
            only(YeastForm::Slurry).and_then(|n| predicted(n.map(|n| Volume::millilitres(n.value())))),
        );
        figures.set(key::starter_cells, starter);
        figures.set(key::oxygen_time, oxygen.map_or(Err(Unknown::OutsideModel(Stage::Ferment)), predicted));
        figures.set(
            key::room_gas,
            room.map_or(Err(Unknown::OutsideModel(Stage::Ferment)), |share| {
                predicted(Estimate::relative(share, 0.4))
            }),
        );
        figures.set(key::final_gravity, predicted(end.apparent));
        figures.set(key::alcohol, predicted(end.alcohol));
        let vessel: Volume = value(batch, Field::FermenterVolume)?;
        let filled = course.fermenter.volume(ROOM);
        if filled > vessel * FOAM_PRIMARY.rest() {
            self.warn(
                Stage::Ferment,
                if filled > vessel { Level::Stop } else { Level::Caution },
                say![
                    filled.amount(),
                    " in a fermenter of ",
                    vessel.amount(),
                    ": the first foam wants about a fifth of it. Fit a blow-off hose, or ferment less in it."
                ],
            );
        }
        if let Some(share) = room.filter(|share| *share > ROOM_LIMIT) {
            self.warn(
                Stage::Ferment,
                Level::Caution,
                say!["Shut, that room could come to ", share.amount(), " of carbon dioxide, more than the 0.5 % allowed where people work. Air it, and never put your head into fermenter or fridge."],
            );
        }
        if let Ok(starter) = middle(&starter)
            && starter < cells.low
        {
            self.warn(
                Stage::Ferment,
                Level::Note,
                say![
                    "The starter gives ",
                    starter.amount(),
                    ", less than the ",
                    cells.value.amount(),
                    " to pitch: add the rest from a pack."
                ],
            );
        }
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
            Some(Estimate::normal(gravity_of(reading), GRAVITY_ERROR))
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

    /// Apparent attenuation of the wort alone, with its band.
    pub(super) fn attenuation(&self) -> Result<Estimate<Fraction>, Unknown> {
        let (share, deviation) = self.habit(HouseNumber::Attenuation, Field::Attenuation)?;
        Ok(Estimate::normal(share, deviation))
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
