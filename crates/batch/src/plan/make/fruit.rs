//! What the fruit does.

use super::*;

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
        let mut of = addition.fruit.composition();
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
        let room = room_left(vessel, volume, &loads, FOAM).map_err(outside(Stage::Fruit))?;
        let ph = fruited_ph(volume, self.beer_ph()?, self.plan.figures.buffering()?.estimate, &loads)
            .map_err(outside(Stage::Fruit))?;
        let sugar: Mass = loads.iter().map(|load| load.sugar).sum();
        let mass: Mass = batch.fruit.iter().filter_map(|addition| addition.numbers.mass()).sum();
        let after = effect.mixed.volume(ROOM);
        let fruit_acid: Charge = loads.iter().map(FruitLoad::titratable).sum();
        let some_fruit = !loads.is_empty();
        let only_with_fruit = |known: Known<Volume>| if some_fruit { known } else { Err(Unknown::NoFruit) };

        let (bitterness, acidity) = (self.plan.figures.bitterness(), self.plan.figures.acidity());
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
        // The fruit's acid is known within a quarter.
        figures.set(
            key::fruited_acidity,
            acidity.map(|value| {
                let from_fruit = fruit_acid.as_meq() * LACTIC_GRAMS_PER_MEQ / after.as_litres();
                let share = volume / after;
                let deviation = (value.estimate.deviation() * share).hypot(0.2 * from_fruit);
                let both = TitratableAcidity::g_per_l_lactic(
                    value.estimate.value.as_g_per_l_lactic() * share + from_fruit,
                );
                Value { estimate: Estimate::normal(both, deviation), origin: Origin::Predicted }
            }),
        );
        self.plan.level =
            Some(VesselLevel { vessel, beer: volume, with_fruit: room.filled, foam: room.foam });
        self.fruit_warnings(vessel, room.filled, room.foam, mass, volume);
        self.package(&effect.mixed, effect.held, &end.beer, sugar)
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
}
