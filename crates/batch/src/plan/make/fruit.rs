//! What the fruit does.

use super::*;
use calc::brew::fruit::Preserved as Preservative;

/// Share of the fruit's dissolved solids by which the end of a fruited beer is in doubt; our estimate.
const OF_SOLIDS: f64 = 0.05;

impl Maker<'_> {
    pub(super) fn load(&self, place: usize, addition: &FruitAddition) -> Result<FruitLoad, Unknown> {
        use calc::brew::fruit::FruitForm as Form;
        let numbers = &addition.numbers;
        let form = match addition.form {
            FruitForm::Whole => Form::Whole,
            FruitForm::Frozen => Form::Frozen,
            FruitForm::Puree => Form::Puree,
            FruitForm::Juice => Form::Juice,
            FruitForm::Concentrate => Form::Concentrate {
                brix: numbers.brix().ok_or(Unknown::Empty(Slot::Fruit(place, FruitField::Brix).spec()))?,
            },
            FruitForm::Dried => Form::Dried,
        };
        let slot = |field| Unknown::Empty(Slot::Fruit(place, field).spec());
        let mut of = if addition.own {
            let brix = numbers.brix().ok_or(slot(FruitField::Brix))?;
            FruitComposition::own(brix, numbers.ph().ok_or(slot(FruitField::Ph))?, None)
        } else {
            addition.fruit.composition()
        };
        // A concentrate's Brix is that of the concentrate, not of the fruit.
        if let Some(brix) = numbers.brix()
            && addition.form != FruitForm::Concentrate
        {
            of = of.with_brix(brix);
        }
        if let Some(acid) = numbers.acid() {
            of = of.with_acid(acid, FruitAcid::Citric);
        }
        if let Some(ph) = numbers.ph() {
            of = of.with_ph(ph);
        }
        let mass = numbers.mass().ok_or(Unknown::Empty(Slot::Fruit(place, FruitField::Mass).spec()))?;
        FruitLoad::new(mass, form, &of).map_err(|_| Unknown::OutsideModel(Stage::Fruit))
    }

    pub(super) fn fruit_and_package(&mut self, course: &Course, lactic: Mass) -> Result<(), Unknown> {
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
        let fermenter = self.plan.figures.fermenter_volume()?;
        let volume_band = fermenter.estimate.deviation();
        let end = outcome(&course.fermenter, attenuation, lactic, &loads, FRUIT_FERMENTABILITY)
            .map_err(outside(Stage::Fruit))?;
        let effect = effect(&beer, &loads).map_err(outside(Stage::Fruit))?;
        let vessel: Volume = value(batch, Field::FermenterVolume)?;
        // What goes into the keg is not in the fermenter.
        let in_fermenter: Vec<FruitLoad> = batch
            .fruit
            .iter()
            .zip(&loads)
            .filter(|(addition, _)| addition.place == FruitPlace::Fermenter)
            .map(|(_, load)| *load)
            .collect();
        let room =
            room_left(vessel, volume, &in_fermenter, FOAM_AFTER_PEAK).map_err(outside(Stage::Fruit))?;
        let acidity = self.plan.figures.acidity()?;
        let poured = self.plan.drop.as_ref().map_or(Mass::ZERO, |drop| {
            let lactic = drop.acid.kind == AcidKind::Lactic;
            let molar = AcidKind::Lactic.molar_mass().as_g_per_mol();
            let grams = drop.now.acid().as_mmol_per_l().max(0.0) * volume.as_litres() * molar / 1e3;
            if lactic { Mass::grams(grams) } else { Mass::ZERO }
        });
        let sour = SourBeer {
            beer,
            ph: self.beer_ph()?,
            buffering: self.plan.figures.buffering()?.estimate,
            lactic: lactic + poured,
            acidity: acidity.estimate,
        };
        let ph = fruited_ph(&sour, &loads).map_err(outside(Stage::Fruit))?;
        let with_acid = fruited_acidity(&sour, &loads).map_err(outside(Stage::Fruit))?;
        self.amount_wanted(&sour, &loads);
        self.sources(&sour, &course.fermenter, &loads, &effect.mixed);
        let sugar: Mass = loads.iter().map(|load| load.sugar).sum();
        let mass: Mass = batch.fruit.iter().filter_map(|addition| addition.numbers.mass()).sum();
        let after = effect.mixed.volume(ROOM);
        let some_fruit = !loads.is_empty();
        let only_with_fruit = |known: Known<Volume>| if some_fruit { known } else { Err(Unknown::NoFruit) };

        let bitterness = self.plan.figures.bitterness();
        let measured_ph = batch
            .readings
            .last(ReadingKind::BeerPh)
            .filter(|reading| batch.ticked(Step::FruitIn).is_some_and(|at| reading.at >= at))
            .map(|reading| reading.value.typed::<Ph>());
        let meter = self.meter()?;
        let figures = self.figures();
        if some_fruit {
            let load = Concentration::g_per_l(mass.as_grams() / volume.as_litres());
            figures
                .set(key::fruit_load, predicted(Estimate::relative(load, volume_band / volume.as_litres())));
            let band = effect.sugar.deviation() / effect.sugar.value.as_mg_per_l().max(1e-9);
            figures.set(key::fruit_sugar, predicted(Estimate::relative(sugar, band)));
        } else {
            figures.set(key::fruit_load, Err(Unknown::NoFruit));
            figures.set(key::fruit_sugar, Err(Unknown::NoFruit));
        }
        figures
            .set(key::fruited_volume, only_with_fruit(predicted(Estimate::normal(room.filled, volume_band))));
        figures.set(key::room_left, predicted(Estimate::normal(vessel - room.filled, volume_band)));
        figures.set(key::fruited_alcohol, predicted(end.alcohol));
        figures.set(key::fruited_gravity, predicted(end.apparent));
        figures.set(
            key::fruited_bitterness,
            bitterness.map(|value| Value {
                estimate: value.estimate.map(|ibu| ibu * effect.bitterness_left),
                origin: value.origin,
            }),
        );
        figures.set(
            key::fruited_ph,
            match measured_ph {
                Some(ph) => measured(Estimate::normal(ph, meter.as_units())),
                None => predicted(ph),
            },
        );
        figures.set(key::fruited_acidity, predicted(with_acid));
        let foam = vec![FOAM_AFTER_PEAK; in_fermenter.len()];
        let names = batch.fruit.iter().filter(|addition| addition.place == FruitPlace::Fermenter);
        let additions = names
            .zip(additions(vessel, &beer, &in_fermenter, &foam))
            .filter_map(|(addition, level)| Some((addition.called(), level.ok()?.1.filled)))
            .collect();
        self.plan.level =
            Some(VesselLevel { vessel, beer: volume, with_fruit: room.filled, foam: room.foam, additions });
        let plate = batch.numbers.fermenter_pressure().map(|plate| plate.min(GaugePressure::kpa(100.0)));
        let pressure = plate.map_or_else(|| value(batch, Field::FermentPressure), Ok)?;
        let space = (vessel - room.filled).max(Volume::ZERO);
        let cycles = purge(space, pressure, Fraction::of_one(0.01));
        self.figures().set(
            key::purge,
            cycles.map_or(Err(Unknown::OutsideModel(Stage::Fruit)), |purge| {
                exact(Count::of(purge.cycles.into()))
            }),
        );
        self.fruit_warnings(vessel, room.filled, room.foam, mass, volume);
        self.hindrances(after, ph.value);
        let pulp: Volume = batch
            .fruit
            .iter()
            .zip(&loads)
            .filter(|(addition, _)| addition.place == FruitPlace::Keg)
            .map(|(_, load)| load.solid_volume())
            .sum();
        let in_keg = loads.iter().map(|load| load.sugar).sum::<Mass>()
            - in_fermenter.iter().map(|load| load.sugar).sum();
        self.attenuation_by_the_end(&course.fermenter, lactic, &loads, attenuation.value, end.apparent.value);
        let held = self.pulp_keeps(&effect.held, &loads)?;
        self.package(&effect.mixed, (held, effect.held.value), &end.beer, (sugar, in_keg, pulp))
    }

    /// What the wort fermented to, by a reading of the fruited beer once it is stable: the attenuation at which
    /// the plan would end there. Apparent extract falls all but straight with it.
    fn attenuation_by_the_end(
        &mut self,
        wort: &Wort,
        lactic: Mass,
        loads: &[FruitLoad],
        attenuation: Fraction,
        ends: Plato,
    ) {
        let ends = ends.as_degrees();
        const STEP: Fraction = Fraction::of_one(0.05);
        let fruit_in = self.batch.ticked(Step::FruitIn);
        let newest = newest(self.batch, ReadingKind::Gravity, ReadingKind::Brix);
        let Some(reading) = newest.filter(|read| fruit_in.is_some_and(|at| read.at >= at)) else { return };
        let (Some(seen), Ok(less)) = (
            self.beer_gravity(reading),
            outcome(wort, Estimate::exact(attenuation - STEP), lactic, loads, FRUIT_FERMENTABILITY),
        ) else {
            return;
        };
        let falls = (less.apparent.value.as_degrees() - ends) / STEP.as_of_one();
        if loads.is_empty() || falls <= 0.0 {
            return;
        }
        let off = (ends - seen.value.as_degrees()) / falls;
        // A twentieth of the fruit's dissolved solids: what of them ferments is not known better.
        let solids: Mass = loads.iter().map(|load| load.sugar + load.other + load.acid).sum();
        let doubt = seen.deviation().max(GRAVITY_ERROR).hypot(OF_SOLIDS * 100.0 * (solids / wort.mass()));
        let seen = Estimate::normal(Fraction::of_one(attenuation.as_of_one() + off), doubt / falls);
        self.plan.attenuation_seen = Some(seen);
    }

    /// Beer that the pulp keeps: by the yield that was typed, or as the house has it against the usual.
    fn pulp_keeps(&self, usual: &Estimate<Volume>, loads: &[FruitLoad]) -> Result<Estimate<Volume>, Unknown> {
        let batch = self.batch;
        let (factor, _) = batch.house.expect::<Count>(HouseNumber::FruitYield);
        let kept = match batch.numbers.fruit_yield() {
            Some(share) => {
                let juice: Volume = loads.iter().map(FruitLoad::liquid_volume).sum();
                let solid: Volume = loads.iter().map(FruitLoad::solid_volume).sum();
                let kept = juice - (juice + solid) * share.as_of_one();
                Estimate::normal(kept, (usual.value * HouseNumber::FruitYield.within()).as_litres())
            }
            None => factor.map(|factor| usual.value * factor.value()),
        };
        Ok(kept.map(|kept| kept.max(Volume::ZERO)))
    }

    /// The weight of the first fruit that gives what is wanted, the others left out.
    fn amount_wanted(&mut self, sour: &SourBeer, loads: &[FruitLoad]) {
        let numbers = &self.batch.numbers;
        let wanted = numbers
            .wanted_load()
            .map(Wanted::Puree)
            .or_else(|| {
                let more = numbers.wanted_alcohol()?;
                Some(Wanted::Alcohol(sour.beer.alcohol() + more))
            })
            .or_else(|| numbers.wanted_ph().map(Wanted::Ph));
        let mass = match (wanted, loads.first()) {
            (None, _) => Err(Unknown::NotUsed),
            (_, None) => Err(Unknown::NoFruit),
            (Some(wanted), Some(load)) => {
                fruit_for(wanted, sour, load).map_err(|_| Unknown::OutsideModel(Stage::Fruit))
            }
        };
        let known = mass.and_then(|mass| predicted(Estimate::relative(mass, 0.2)));
        self.figures().set(key::fruit_wanted, known);
    }

    /// What wort and fruit bring to a litre of the mixture, and what that costs.
    fn sources(&mut self, sour: &SourBeer, wort: &Wort, loads: &[FruitLoad], mixed: &Wort) {
        let after = mixed.volume(ROOM);
        let share = sour.beer.volume(ROOM) / after;
        let alcohol = sour.beer.alcohol() * share;
        self.plan.brought = vec![Brought {
            name: "wort".to_owned(),
            sugar: (wort.extract - sour.beer.extract).max(Mass::ZERO) / after,
            acid: sour.acidity.value * share,
            alcohol,
        }];
        for (addition, load) in self.batch.fruit.iter().zip(loads) {
            let acid = load.titratable().as_meq() * LACTIC_GRAMS_PER_MEQ / after.as_litres();
            let brought = Brought {
                name: addition.called(),
                sugar: load.fermentable().value / after,
                acid: TitratableAcidity::g_per_l_lactic(acid),
                alcohol: AlcoholByVolume::of_one(load.alcohol().value / after),
            };
            let grams = |of: Concentration| of.amount().seen_as(Dimension::DissolvedAcid);
            let mut says = say![
                "Brings ",
                grams(brought.sugar),
                " of sugar that ferments, ",
                brought.alcohol.amount(),
                " of alcohol, ",
                brought.acid.amount(),
                " of acid, ",
                grams(load.body() / after),
                " of body; is ",
                Fraction::of_one(load.liquid_volume() / after).amount(),
                " of the beer."
            ];
            if let (Some(price), Some(mass)) = (addition.numbers.price(), addition.numbers.mass()) {
                let cost = Count::of(price.value() * mass.as_kilograms() / after.as_litres());
                says.extend(say![" Costs ", cost.amount(), " a litre."]);
            }
            self.plan.fruit.push(says);
            self.plan.brought.push(brought);
        }
    }

    /// What preserves fruit hinders yeast; stones and raw fruit bring things of their own.
    fn hindrances(&mut self, after: Volume, ph: Ph) {
        let batch = self.batch;
        let mut worst = Hindrance::None;
        let (mut sulfite, mut stones, mut raw) = (Concentration::ZERO, false, false);
        for addition in &batch.fruit {
            let mass = addition.numbers.mass().unwrap_or(Mass::ZERO);
            let kinds: &[Preservative] = match addition.preserved {
                Preserved::No => &[],
                Preserved::Sulfite => &[Preservative::Sulfite],
                Preserved::Sorbate => &[Preservative::Sorbate],
                Preserved::Either => &[Preservative::Sulfite, Preservative::Sorbate],
            };
            for kind in kinds {
                let found = kind.in_beer(mass, after, ph);
                if *kind == Preservative::Sulfite {
                    sulfite += found.dose.high;
                }
                if found.yeast as u8 > worst as u8 {
                    worst = found.yeast;
                }
            }
            let fresh = matches!(addition.form, FruitForm::Whole | FruitForm::Frozen);
            raw |= fresh && mass > Mass::ZERO;
            stones |= addition.form == FruitForm::Whole && addition.fruit.has_stones() && !addition.own;
        }
        self.plan.sulfite = sulfite;
        match worst {
            Hindrance::None => {}
            Hindrance::Slowed => self.warn(
                Stage::Fruit,
                Level::Note,
                say!["At usual levels the preservative in this fruit slows the yeast: its sugar ferments late."],
            ),
            Hindrance::MayStop => self.warn(
                Stage::Fruit,
                Level::Caution,
                say!["The preservative in this fruit may stop the yeast: the sugar may stay and ferment later, in the package. Sweet is not stable."],
            ),
        }
        if sulfite >= SULFITE_DECLARED {
            self.warn(
                Stage::Fruit,
                Level::Caution,
                say![
                    "The beer may hold up to ",
                    sulfite.amount(),
                    " of sulfite. From 10 mg/L on people must be told: some cannot bear it."
                ],
            );
        }
        if stones {
            self.warn(
                Stage::Fruit,
                Level::Caution,
                say!["Stones left in give off a little hydrogen cyanide, cracked ones more: take them out, or take the fruit off within days."],
            );
        }
        if raw {
            self.warn(
                Stage::Fruit,
                Level::Note,
                say!["Fresh and frozen fruit brings yeasts and bacteria of its own, which may ferment what yours leaves: heat it to 75 °C for some minutes, or keep the beer cold."],
            );
        }
    }

    pub(super) fn fruit_warnings(
        &mut self,
        vessel: Volume,
        filled: Volume,
        foam: Volume,
        mass: Mass,
        beer: Volume,
    ) {
        let batch = self.batch;
        if filled > vessel {
            self.warn(
                Stage::Fruit,
                Level::Stop,
                say!["Beer and fruit come to ", filled.amount(), " and the fermenter holds ", vessel.amount(),
                     ": it would run over or block its valve. Use less fruit, or split the beer over two vessels."],
            );
        }
        let both =
            batch.numbers.second_vessel().map(|second| split_over(filled, [vessel, second], FOAM_AFTER_PEAK));
        if filled + foam > vessel
            && let Some(both) = both
        {
            self.warn(
                Stage::Fruit,
                Level::Note,
                match both {
                    Ok([one, other]) => {
                        say![
                            "Split over both vessels: ",
                            one.amount(),
                            " in the first, ",
                            other.amount(),
                            " in the second, each with its part of the fruit."
                        ]
                    }
                    Err(_) => say!["Both vessels together are too small as well."],
                },
            );
        }
        if filled <= vessel && vessel - filled < foam {
            self.warn(
                Stage::Fruit,
                Level::Caution,
                say!["Only ", (vessel - filled).amount(), " stay free above beer and fruit, and foam wants about ",
                     foam.amount(), ". Foam with pulp can block the valve and build pressure: fit a blow-off hose or split the beer."],
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
}
