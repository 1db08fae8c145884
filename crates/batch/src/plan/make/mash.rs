//! Mash: volumes, heat and pH.

use super::*;

impl Maker<'_> {
    pub(super) fn mash(&mut self, weighed: &WeighedIn, ions: Result<Ions, Unknown>) {
        if let Err(unknown) = ions.and_then(|ions| self.mash_ph(weighed, ions)) {
            let reading =
                self.batch.readings.last(ReadingKind::MashPh).map(|reading| reading.value.typed::<Ph>());
            let meter = self.meter();
            let figures = self.figures();
            figures.mash_ph_plain = Err(unknown);
            figures.mash_acid = Err(unknown);
            figures.mash_acid_malt = Err(unknown);
            figures.mash_base = Err(unknown);
            figures.mash_ph = match (reading, meter) {
                (Some(ph), Ok(meter)) => measured(Estimate::normal(ph, meter.as_units())),
                _ => Err(unknown),
            };
        }
        if let Err(unknown) = self.mash_heat(weighed) {
            self.figures().wait(Stage::Mash..=Stage::Mash, unknown);
        }
    }

    pub(super) fn mash_heat(&mut self, weighed: &WeighedIn) -> Result<(), Unknown> {
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

    pub(super) fn mean_moisture(&self) -> Fraction {
        let (mut water, mut all) = (Mass::ZERO, Mass::ZERO);
        for (malt, line) in self.batch.grist.iter().zip(&self.plan.malts) {
            let mass = line.mass.unwrap_or(Mass::ZERO);
            water += mass * Self::malt_yield(malt).moisture;
            all += mass;
        }
        if all > Mass::ZERO { Fraction::of_one(water / all) } else { Fraction::ZERO }
    }

    pub(super) fn mash_ph(&mut self, weighed: &WeighedIn, ions: Ions) -> Result<(), Unknown> {
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
                    mash_ph: own(data.mash_ph, malt.numbers.own_ph()),
                    buffering: malt
                        .numbers
                        .buffering()
                        .map_or(data.buffering, |b| Estimate::normal(b, data.buffering.deviation() / 2.0)),
                }
            })
            .collect();
        let learned: PhDifference = batch.house.expect(HouseNumber::MashPhShift).0.value;
        let mash = Mash::new(&malts, ions, value(batch, Field::WaterPh)?, volume)
            .map_err(|_| Unknown::NoGrist)?
            .shifted(learned);
        let (acid, wanted) = (self.acid()?, value::<Ph>(batch, Field::MashPh)?);
        let plain = mash.ph(&acid, Volume::ZERO).map_err(outside(Stage::Mash))?;
        self.figures().mash_ph_plain = predicted(plain);

        let doses: Volume =
            batch.readings.of(ReadingKind::MashAcid).map(|reading| reading.value.typed::<Volume>()).sum();
        if let Some(first) = batch.readings.of(ReadingKind::MashPh).next() {
            let before = batch.readings.of(ReadingKind::MashAcid).filter(|dose| dose.at <= first.at);
            let added: Volume = before.map(|dose| dose.value.typed::<Volume>()).sum();
            // The mash holds what was learned before; the reading tells what is missing on top.
            self.plan.mash_ph_shift =
                mash.shift_from(first.value.typed(), &acid, added).ok().map(|shift| shift + learned);
        }
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
        figures.mash_acid_malt = predicted(acidulated_malt_for(still, wanted));
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
}
