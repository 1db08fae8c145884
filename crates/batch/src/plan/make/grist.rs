//! Grist and water counted back from the beer wanted.

use super::*;

impl Maker<'_> {
    /// The mean of a house number in use and its deviation: what was typed is
    /// trusted as the house's own mean.
    pub(super) fn habit<Q: Quantity>(&self, number: HouseNumber, field: Field) -> Result<(Q, f64), Unknown> {
        let used = value::<Q>(self.batch, field)?;
        let deviation = if field.get(&self.batch.numbers).is_some() {
            number.within()
        } else {
            self.batch.house.expect::<Q>(number).0.deviation()
        };
        Ok((used, deviation))
    }

    pub(super) fn malt_yield(malt: &Malt) -> MaltYield {
        let data = malt.class.data();
        MaltYield {
            extract: malt.numbers.extract().unwrap_or(data.extract),
            moisture: malt.numbers.moisture().unwrap_or(data.moisture),
        }
    }

    /// Grist and water from the beer wanted.
    pub(super) fn weigh_in(&mut self) -> Result<WeighedIn, Unknown> {
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
                let given: Fraction = batch.grist.iter().filter_map(|malt| malt.numbers.share()).sum();
                self.plan.malts = batch
                    .grist
                    .iter()
                    .map(|malt| MaltLine { class: malt.class, mass: None, share: malt.numbers.share() })
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
                    batch.grist.iter().map(|malt| malt.numbers.share().unwrap_or(Fraction::ZERO)).collect();
                let parts: Vec<(Fraction, MaltYield)> =
                    shares.iter().copied().zip(yields.iter().copied()).collect();
                let total = grist_for(runoff.extract, &parts, efficiency).map_err(|_| Unknown::NoGrist)?;
                (calc::brew::grist::amounts(total, &shares), runoff)
            }
            GristBy::Weights => {
                let masses: Vec<Mass> =
                    batch.grist.iter().map(|malt| malt.numbers.mass().unwrap_or(Mass::ZERO)).collect();
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
        let grist: Vec<(MaltClass, Fraction)> =
            self.plan.malts.iter().filter_map(|line| Some((line.class, line.share?))).collect();
        let runs_off = match lauter_risk(&grist) {
            LauterRisk::None => None,
            LauterRisk::Husks => Some(say![
                "Most of this grist has no husk and runs off slowly: stir in rice hulls, a tenth of its weight, rinsed."
            ]),
            LauterRisk::Gums => Some(say![
                "Oats, rye or unmalted grain make the mash gummy: rest first at 40 to 48 °C for 15 minutes, stir in rice hulls, and lift the basket slowly."
            ]),
        };
        if let Some(says) = runs_off {
            self.warn(Stage::Grist, Level::Note, says);
        }
        let absorption = value(batch, Field::Absorption)?;
        let water = water_for(&runoff, grain, absorption).map_err(outside(Stage::Aim))?;
        let potential = Self::potential(&masses, &yields)?;

        let relative =
            self.habit::<Fraction>(HouseNumber::Efficiency, Field::Efficiency)?.1 / efficiency.as_of_one();
        let by_shares = batch.choices.grist_by == GristBy::Shares;
        let figures = self.figures();
        figures.set(
            key::grist_mass,
            if by_shares { predicted(Estimate::relative(grain, relative)) } else { exact(grain) },
        );
        figures.set(key::kettle_extract, predicted(Estimate::relative(potential * efficiency, relative)));
        let of_absorption = self.habit::<VolumePerMass>(HouseNumber::Absorption, Field::Absorption)?.1;
        let of_loss = self.habit::<Volume>(HouseNumber::KettleLoss, Field::KettleLoss)?.1;
        let hours = value::<Duration>(batch, Field::MainBoil)? + value::<Duration>(batch, Field::ClearBoil)?;
        let of_evaporation =
            self.habit::<VolumeRate>(HouseNumber::Evaporation, Field::Evaporation)?.1 * hours.as_hours();
        let spread = (of_absorption * grain.as_kilograms()).hypot(of_loss).hypot(of_evaporation);
        self.figures().set(key::total_water, predicted(Estimate::normal(water, spread)));
        Ok(WeighedIn { grain, potential, water })
    }

    pub(super) fn potential(masses: &[Mass], yields: &[MaltYield]) -> Result<Mass, Unknown> {
        masses.iter().zip(yields).try_fold(Mass::ZERO, |sum, (&mass, malt)| {
            malt.potential(mass).map(|more| sum + more).map_err(|_| Unknown::OutsideModel(Stage::Grist))
        })
    }
}
