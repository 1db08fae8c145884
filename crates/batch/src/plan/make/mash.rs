//! Mash: volumes, heat and pH.

use super::*;

impl Maker<'_> {
    pub(super) fn mash(&mut self, weighed: &WeighedIn, made: Result<Made, Unknown>) {
        if let Err(unknown) = made.and_then(|made| self.mash_ph(weighed, &made)) {
            let reading =
                self.batch.readings.last(ReadingKind::MashPh).map(|reading| reading.value.typed::<Ph>());
            let meter = self.meter();
            let figures = self.figures();
            figures.set(key::mash_ph_plain, Err(unknown));
            figures.set(key::mash_acid, Err(unknown));
            figures.set(key::rinse_acid, Err(unknown));
            figures.set(key::mash_first, Err(unknown));
            figures.set(key::mash_acid_malt, Err(unknown));
            figures.set(key::mash_base, Err(unknown));
            figures.set(
                key::mash_ph,
                match (reading, meter) {
                    (Some(ph), Ok(meter)) => measured(Estimate::normal(ph, meter.as_units())),
                    _ => Err(unknown),
                },
            );
        }
        if let Err(unknown) = self.mash_heat(weighed) {
            self.figures().wait(Stage::Mash..=Stage::Mash, unknown);
        }
    }

    pub(super) fn mash_heat(&mut self, weighed: &WeighedIn) -> Result<(), Unknown> {
        let batch = self.batch;
        let (water, rests) = self.mash_water(weighed)?;
        let kept_back = weighed.water - water;
        let total = self.plan.figures.total_water();
        let thickness = VolumePerMass::l_per_kg(water.as_litres() / weighed.grain.as_kilograms());
        let mash_temperature: Temperature = value(batch, Field::MashTemperature)?;
        let moisture = self.mean_moisture();
        // The kettle is heated with its water, and holds as much heat as so much more of it.
        let steel = vessel_as_water(value(batch, Field::KettleWeight)?);
        let stirred = VolumePerMass::l_per_kg((water + steel).as_litres() / weighed.grain.as_kilograms());
        let at = strike(mash_temperature, value(batch, Field::GrainTemperature)?, stirred, moisture);
        let heater = self.heater()?;
        let tap: Temperature = value(batch, Field::Tap)?;
        let body = self.in_kettle(&Wort::of_water(water, ROOM))?;
        let mash_out: Temperature = value(batch, Field::MashOut)?;
        let kettle: Volume = value(batch, Field::KettleVolume)?;
        let level = mash_fit(kettle, water, weighed.grain, mash_temperature);

        let figures = self.figures();
        figures.set(
            key::mash_water,
            total.map(|v| Value { estimate: v.estimate.map(|all| all - kept_back), origin: v.origin }),
        );
        figures.set(key::thickness, exact(thickness));
        // Heat lost while mashing in, and what the basket takes up, differ between kits.
        figures.set(
            key::strike,
            at.map_or(Err(Unknown::OutsideModel(Stage::Mash)), |at| predicted(Estimate::normal(at, 0.55))),
        );
        figures.set(
            key::mash_level,
            predicted(Estimate::normal(level.filled, 0.04 * weighed.grain.as_kilograms())),
        );
        if let Ok(at) = at {
            let time = heater.time(&body, tap, at);
            figures.set(
                key::strike_heating,
                time.map_or(Err(Unknown::OutsideModel(Stage::Mash)), |time| {
                    predicted(Estimate::relative(time, 0.08))
                }),
            );
        } else {
            figures.set(key::strike_heating, Err(Unknown::OutsideModel(Stage::Mash)));
        }
        let (mut now, mut mash) = (mash_temperature, Body { grain: weighed.grain, ..body });
        self.plan.rests.clear();
        for &(to, poured) in &rests {
            let says = match poured {
                Some(water) => {
                    mash.liquid += water;
                    let litres = water_density(ROOM).volume_of(water);
                    say!["Pour in ", litres.amount(), " of boiling water."]
                }
                None => match heater.time(&mash, now, to) {
                    Ok(time) => say!["Heat for about ", time.amount(), "."],
                    Err(_) => say!["This heater does not get there."],
                },
            };
            self.plan.rests.push(says);
            now = to;
        }
        let out = heater.time(&mash, now, mash_out);
        self.figures().set(
            key::mash_out_heating,
            out.map_or(Err(Unknown::OutsideModel(Stage::Mash)), |time| {
                predicted(Estimate::relative(time, 0.1))
            }),
        );
        if let Some(most) = batch.numbers.basket_grain()
            && weighed.grain > most
        {
            self.warn(
                Stage::Grist,
                Level::Stop,
                say![
                    weighed.grain.amount(),
                    " of grain do not go into a basket for ",
                    most.amount(),
                    ": brew less, or weaker, or mash twice."
                ],
            );
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

    /// Water in the mash at its start, and each rest with the water poured in for it. What is poured in later is
    /// kept back from the start.
    #[expect(clippy::type_complexity, reason = "read in one place")]
    fn mash_water(&self, weighed: &WeighedIn) -> Result<(Volume, Vec<(Temperature, Option<Mass>)>), Unknown> {
        let batch = self.batch;
        let start: Temperature = value(batch, Field::MashTemperature)?;
        let boils_at = middle(&self.plan.figures.boiling_point())?;
        let vessel: Mass = value(batch, Field::KettleWeight)?;
        let all = weighed.water - value::<Volume>(batch, Field::Rinse)?;
        let mut water = all;
        let mut rests = Vec::new();
        // The less stands in the mash the less has to be poured in: a few rounds settle both.
        for _ in 0..12 {
            let liquid = Wort::of_water(water, ROOM).mass();
            let mut body = Body { liquid, extract: Plato::degrees(0.0), grain: weighed.grain, vessel };
            let mut now = start;
            rests.clear();
            let mut poured = Mass::ZERO;
            for rest in &batch.rests {
                let Some(to) = rest.numbers.temperature() else { continue };
                let infusion = if rest.infusion {
                    let more = body.infusion(now, to, boils_at).map_err(outside(Stage::Mash))?;
                    body.liquid += more;
                    poured += more;
                    Some(more)
                } else {
                    None
                };
                rests.push((to, infusion));
                now = to;
            }
            let next = all - water_density(ROOM).volume_of(poured);
            if next <= Volume::ZERO {
                return Err(Unknown::TooLittleWort);
            }
            let settled = (next - water).as_litres().abs() < 1e-6;
            water = next;
            if settled {
                break;
            }
        }
        Ok((water, rests))
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

    /// The malts as their classes, bags and home tests have them.
    fn malt_shares(&self, acid: &Acid, meter: PhDifference) -> Vec<MaltShare> {
        let share = |malt: &Malt, line: &MaltLine| {
            let numbers = &malt.numbers;
            let tested = numbers.tested().unwrap_or(Mass::ZERO);
            let points: Vec<TitrationPoint> =
                [(numbers.first_acid(), numbers.first_ph()), (numbers.second_acid(), numbers.second_ph())]
                    .into_iter()
                    .filter_map(|(stirred_in, read)| {
                        TitrationPoint::measured(acid, stirred_in?, tested, read?)
                    })
                    .collect();
            let mut own = titrated(malt.class, numbers.own_ph(), &points, meter);
            if let Some(buffering) = numbers.buffering() {
                // A figure measured for this bag errs less than its class: half as much.
                own.buffering = Estimate::normal(buffering, own.buffering.deviation() / 2.0);
            }
            MaltShare { mass: line.mass.unwrap_or(Mass::ZERO), malt: own }
        };
        self.batch.grist.iter().zip(&self.plan.malts).map(|(malt, line)| share(malt, line)).collect()
    }

    /// The base to raise a mash with: the first of these at hand, else baking soda.
    fn mash_base(&self) -> Salt {
        let bases = [Salt::BakingSoda, Salt::PotassiumBicarbonate, Salt::SlakedLime, Salt::Chalk];
        let at_hand = |base: &Salt| self.batch.salts.iter().any(|line| line.salt == *base);
        bases.into_iter().find(at_hand).unwrap_or(Salt::BakingSoda)
    }

    fn rinse_acid(&mut self, made: &Made) -> Result<(), Unknown> {
        let batch = self.batch;
        let (rinse, wanted, acid) =
            (value::<Volume>(batch, Field::Rinse)?, value(batch, Field::RinsePh)?, self.acid()?);
        let needed = |alkalinity: ChargeConcentration| {
            let water = Ions { alkalinity, ..made.rinse };
            let dose = ClosedWater::new(&water, made.ph, ROOM).acid_to(wanted, Titrant::Weak(acid.kind));
            dose.volume(&acid, rinse).max(Volume::ZERO)
        };
        self.figures().set(
            key::rinse_acid,
            if rinse > Volume::ZERO {
                let alkalinity = Estimate::normal(made.rinse.alkalinity, made.spread.alkalinity.base());
                predicted(alkalinity.map(needed))
            } else {
                Err(Unknown::NotUsed)
            },
        );
        Ok(())
    }

    fn mash_ph(&mut self, weighed: &WeighedIn, made: &Made) -> Result<(), Unknown> {
        let batch = self.batch;
        let (volume, _) = self.mash_water(weighed)?;
        if volume <= Volume::ZERO {
            return Err(Unknown::TooLittleWort);
        }
        self.rinse_acid(made)?;
        let (acid, wanted, meter) = (self.acid()?, value::<Ph>(batch, Field::MashPh)?, self.meter()?);
        let tabled = Mash::new(&self.malt_shares(&acid, meter), made.mash, made.ph, volume)
            .map_err(|_| Unknown::NoGrist)?
            .alkalinity_within(made.spread.alkalinity);
        let believed = match batch.house.expect::<PhDifference>(HouseNumber::MashPhShift) {
            (_, 0) => tabled,
            (learned, _) => tabled.in_house(learned),
        };
        let plain = believed.ph(&acid, Volume::ZERO).map_err(outside(Stage::Mash))?;
        self.figures().set(key::mash_ph_plain, predicted(plain));

        let base = self.mash_base();
        // Grams of base for one mEq on the way to this pH.
        let per_charge = |ph: Ph| {
            let one = believed.base_for(Estimate::exact(Charge::meq(-1.0)), base, ph);
            one.map_or(Mass::ZERO, |grams| grams.value)
        };
        // Acid less base stirred in until then, as charge at this pH.
        let stirred_in = |until: Option<Moment>, ph: Ph| {
            let amount = |kind: ReadingKind| {
                let doses = batch.readings.of(kind).filter(|dose| until.is_none_or(|until| dose.at <= until));
                doses.map(|dose| dose.value.base()).sum::<f64>()
            };
            let added = Volume::from_base(amount(ReadingKind::MashAcid));
            let taken = Mass::from_base(amount(ReadingKind::MashBase));
            let taken = if taken > Mass::ZERO { Charge::meq(taken / per_charge(ph)) } else { Charge::ZERO };
            acid.charge_of(added, ph) - taken
        };
        let mut error = meter.as_units();
        let mut readings = Vec::new();
        for reading in batch.readings.of(ReadingKind::MashPh) {
            let cooled = self.at_room(reading, meter);
            error = error.max(cooled.deviation());
            readings.push(MashReading {
                stirred_in: stirred_in(Some(reading.at), cooled.value),
                read: cooled.value,
            });
        }
        let mash = believed.after_readings(&readings, PhDifference::units(error));
        let correction = mash.correction(wanted, stirred_in(None, wanted));
        let last = batch.readings.last(ReadingKind::MashPh);
        let now = match last {
            None => {
                let doses = batch.readings.of(ReadingKind::MashAcid);
                let doses: Volume = doses.map(|dose| dose.value.typed::<Volume>()).sum();
                let planned = acid_for(correction.all, &acid, wanted).value + doses;
                predicted(mash.ph(&acid, planned).map_err(outside(Stage::Mash))?)
            }
            Some(reading) => {
                // What the readings alone say teaches the house, not what was believed before them.
                let open = tabled.with_prior(Estimate::normal(PhDifference::ZERO, 1.0));
                let shift = open.after_readings(&readings, PhDifference::units(error)).shift();
                // What else is unsure of malts and water comes back in the house's next mash, and is learned as shift.
                self.plan.mash_ph_shift = Some(Estimate::normal(shift.value, error));
                measured(self.at_room(reading, meter))
            }
        };
        self.plan.mash_base_salt = Some(base);
        self.plan.mash_worth = last.map(|reading| {
            let since = batch.ticked(Step::MashIn).map_or(Duration::ZERO, |start| reading.at - start);
            let length = value(batch, Field::MashTime).unwrap_or(Duration::ZERO);
            worth(self.at_room(reading, meter).value, wanted, meter, since, length)
        });
        self.plan.mash = Some((mash, acid, correction));
        let figures = self.figures();
        figures.set(key::mash_acid, predicted(acid_for(correction.all, &acid, wanted)));
        figures.set(key::mash_first, predicted(acid_for(Estimate::exact(correction.first), &acid, wanted)));
        figures.set(key::mash_acid_malt, predicted(acidulated_malt_for(correction.all, wanted)));
        figures.set(
            key::mash_base,
            if correction.all.value < Charge::ZERO {
                mash.base_for(correction.all, base, wanted).map_or(Err(Unknown::NotUsed), predicted)
            } else {
                Err(Unknown::NotUsed)
            },
        );
        figures.set(key::mash_ph, now);
        if let Some(reading) = last {
            if let Some(at) = reading.temperature.filter(|at| at.as_celsius() > 35.0) {
                self.warn(
                    Stage::Mash,
                    Level::Note,
                    say!["That mash pH was read at ", at.amount(), ". A hot mash really is lower in pH, which no meter corrects: it counts as ",
                         self.at_room(reading, meter).value.amount(), " at room temperature, with a wider spread. A cooled sample tells more and spares the electrode."],
                );
            }
            let read = self.at_room(reading, meter).value;
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
