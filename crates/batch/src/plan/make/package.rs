//! Packaging and the burst check.

use super::*;
use calc::brew::package::Remedy;

/// Pulp that keeps less than this is nothing that a volume read could tell of. Our estimate.
const TOLD_APART: Volume = Volume::litres(0.01);

impl Maker<'_> {
    /// Since when the gravity has stood still, by the readings or as typed.
    pub(super) fn stable_for(&self) -> Option<Duration> {
        let batch = self.batch;
        let fruit_in = batch.ticked(Step::FruitIn);
        let waits = !batch.fruit.is_empty();
        if waits && fruit_in.is_none() {
            return None;
        }
        let by_readings = newest(batch, ReadingKind::Gravity, ReadingKind::Brix).and_then(|newest| {
            // One instrument is compared with itself only: two never agree to a tenth.
            let end = self.beer_gravity(newest)?.value.as_degrees();
            let first = batch
                .readings
                .of(newest.kind)
                .rev()
                .take_while(|reading| fruit_in.is_none_or(|at| reading.at >= at))
                .take_while(|reading| {
                    self.beer_gravity(reading).is_some_and(|g| (g.value.as_degrees() - end).abs() < UNCHANGED)
                })
                .last()?;
            Some(newest.at - first.at)
        });
        match (batch.numbers.stable_hours(), by_readings) {
            (Some(typed), Some(read)) => Some(typed.max(read)),
            (typed, read) => typed.or(read),
        }
    }

    pub(super) fn package(
        &mut self,
        mixed: &Wort,
        (held, usual): (Estimate<Volume>, Volume),
        beer: &Wort,
        (fruit_sugar, in_keg, pulp): (Mass, Mass, Volume),
    ) -> Result<(), Unknown> {
        let batch = self.batch;
        let (left, of_left) = self.habit::<Volume>(HouseNumber::FermenterLoss, Field::FermenterLoss)?;
        let after = mixed.volume(ROOM);
        let there = beer.volume(ROOM).min(after);
        let out = |held: Volume| (there - held - left).max(Volume::ZERO);
        if let Some(packaged) = batch.readings.last(ReadingKind::PackagedVolume)
            && batch.readings.last(ReadingKind::FermenterVolume).is_some()
        {
            let lost = there - packaged.value.typed::<Volume>();
            let noise = VOLUME_ERROR.hypot(VOLUME_ERROR);
            if batch.fruit.is_empty() {
                self.plan.left_under = Some(Estimate::normal(lost, noise));
            } else if usual > TOLD_APART {
                let noise = noise.hypot(HouseNumber::FermenterLoss.within());
                let kept = Estimate::normal(lost - left, noise);
                self.plan.pulp_kept = Some(kept.map(|kept| Count::of(kept / usual)));
            }
        }
        let band = self.plan.figures.fermenter_volume()?.estimate.deviation();
        let of_pulp = (out(held.low) - out(held.high)).as_litres() / 2.56;
        let packaged = match batch.readings.last(ReadingKind::PackagedVolume) {
            Some(reading) => measured(Estimate::exact(reading.value.typed::<Volume>())),
            None => {
                let middle = Estimate::normal(out(held.value), band.hypot(of_pulp).hypot(of_left));
                predicted(Estimate { low: middle.low.max(Volume::ZERO), ..middle })
            }
        };
        self.figures().set(key::packaged_volume, packaged);
        let volume = middle(&packaged)?;

        let acid = self
            .plan
            .figures
            .fruited_acidity()?
            .estimate
            .map(|acidity| Concentration::g_per_l(acidity.as_g_per_l_lactic()));
        let real = Concentration::g_per_l(
            beer.real_extract().as_degrees() * 0.01 * beer.density(ROOM).as_kg_per_m3(),
        );
        let glass = serving(
            value(batch, Field::Serving)?,
            &Contents {
                alcohol: self.plan.figures.fruited_alcohol()?.estimate,
                // The acid is part of the extract.
                extract: Estimate::relative((real - acid.value).max(Concentration::ZERO), 0.1),
                acid,
            },
        );
        let classes: Vec<MaltClass> = batch.grist.iter().map(|malt| malt.class).collect();
        self.plan.allergens = allergens(classes, Estimate::exact(self.plan.sulfite), false);
        let price = |item: &FruitAddition| {
            item.numbers
                .price()
                .zip(item.numbers.mass())
                .map(|(price, mass)| price.value() * mass.as_kilograms())
        };
        let fruit: f64 = batch.fruit.iter().filter_map(price).sum();
        let spent = fruit + batch.numbers.other_cost().map_or(0.0, |cost| cost.value());
        let each = value::<Volume>(batch, Field::PackageVolume)?
            * value::<Fraction>(batch, Field::Headspace)?.rest();
        let packages = packaged.map(|known| Value {
            estimate: known.estimate.map(|volume| Count::of(volume / each)),
            origin: known.origin,
        });
        if pulp > Volume::ZERO {
            let keg: Volume = value(batch, Field::PackageVolume)?;
            let kegs = (volume / keg).ceil().max(1.0);
            let (filled, takes) = (volume + pulp, keg * (kegs * FOAM_KEG.rest().as_of_one()));
            self.warn(
                Stage::Package,
                if filled > takes { Level::Stop } else { Level::Caution },
                say![
                    "With the fruit in it the keg is filled to ",
                    filled.amount(),
                    " of ",
                    takes.amount(),
                    ". Fruit clogs posts and valve: bag it, and mind that its sugar ferments in there."
                ],
            );
        }
        let figures = self.figures();
        figures.set(key::packages, packages);
        figures.set(key::glass_alcohol, predicted(glass.alcohol));
        figures.set(key::glass_energy, predicted(glass.energy));
        figures.set(
            key::litre_cost,
            if spent > 0.0 && volume > Volume::ZERO {
                predicted(Estimate::relative(Count::of(spent / volume.as_litres()), 0.05))
            } else {
                Err(Unknown::NotUsed)
            },
        );
        let minerals = mixed.ion_load();
        let known = self.plan.figures.sodium_after().map(|_| ());
        let figures = self.figures();
        let load = |of: Concentration| known.and_then(|()| predicted(Estimate::relative(of, 0.1)));
        figures.set(key::sodium_in_beer, load(minerals.sodium));
        figures.set(key::chloride_in_beer, load(minerals.chloride));

        let wanted: Carbonation = value(batch, Field::Carbonation)?;
        let inside = self.plan.figures.dissolved();
        let sugar = match batch.choices.gas {
            Gas::Cylinder => None,
            Gas::PrimingSucrose => Some(PrimingSugar::Sucrose),
            Gas::PrimingGlucose => Some(PrimingSugar::GlucoseMonohydrate),
            Gas::PrimingExtract => Some(PrimingSugar::MaltExtract),
        };
        let weight = sugar.map_or(Err(Unknown::NotUsed), |sugar| {
            priming(volume, middle(&inside)?, wanted, sugar).map_err(|_| Unknown::NotUsed)
        });
        let weight_band = inside.map_or(0.0, |inside| inside.estimate.deviation())
            * sugar.map_or(0.0, |sugar| sugar.per_volume().as_g_per_l() * volume.as_litres());
        let known = weight
            .and_then(|mass| predicted(Estimate::normal(mass.value, weight_band.hypot(mass.deviation()))));
        self.figures().set(key::priming, known);
        let primed = match (sugar, weight) {
            (Some(sugar), Ok(mass)) if volume > Volume::ZERO => sugar.fermentable(mass.value / volume),
            _ => Concentration::ZERO,
        };
        let stable = self.stable_for();
        let settled = stable.is_some_and(|time| time >= Duration::hours(72.0));
        let unfermented = if settled { Some(Concentration::ZERO) } else { self.unfermented(beer) };
        let question = BurstQuestion {
            kind: batch.choices.package,
            limit: batch.numbers.package_limit(),
            warmest: batch.value(Field::Warmest),
            gas_space: batch.value(Field::Headspace),
            filled_at: None,
            // Gas from the cylinder is what is wanted; otherwise what the fermentation left.
            present: if sugar.is_none() { Some(wanted) } else { middle(&inside).ok() },
            fermentable: unfermented,
            // What goes into the keg comes after the last reading.
            fruit_sugar: Some(if settled { in_keg / after } else { fruit_sugar / after }),
            priming: primed,
            stable_for: stable,
        };
        let answer = burst_check(&question);
        self.plan.package = Some(question);
        let bath = burst_check(&in_bath(&question, COOLEST_BATH));
        let figures = self.figures();
        let outside = Unknown::OutsideModel(Stage::Package);
        let missing = Unknown::Reading(ReadingKind::Gravity);
        figures.set(key::potential_carbonation, answer.carbonation.map_or(Err(missing), predicted));
        figures.set(
            key::package_pressure,
            match (answer.pressure, answer.carbonation) {
                (Some(pressure), _) => predicted(pressure),
                (None, None) => Err(missing),
                (None, Some(_)) => Err(outside),
            },
        );
        figures.set(key::warmest_safe, warmest_safe(&question).map_or(Err(missing), exact));
        let time = pasteurising_time(COOLEST_BATH);
        figures.set(key::bath_time, time.map_or(Err(outside), exact));
        figures.set(key::bath_pressure, bath.pressure.map_or(Err(missing), predicted));
        let reasons: Vec<_> = answer.reasons.iter().collect();
        // Before the yeast has done its part every plan would be a bomb: no verdict yet.
        let fermenting = batch.ticked(Step::PastPeak).is_some()
            || newest(batch, ReadingKind::Gravity, ReadingKind::Brix).is_some();
        if fermenting && answer.verdict == Verdict::Stop {
            self.warn(
                Stage::Package,
                Level::Stop,
                say!["Burst check: do not close this package like this. Finish the fermentation in the keg or fermenter, keep it cold, or stabilise it first; the package's own rating decides."],
            );
        }
        self.plan.verdict = fermenting.then_some((answer.verdict, reasons));
        self.plan.remedies =
            if fermenting { remedies(&question).iter().map(Remedy::words).collect() } else { Vec::new() };
        if middle(&inside).is_ok_and(|inside| inside > wanted) && sugar.is_some() {
            self.warn(
                Stage::Package,
                Level::Caution,
                say!["The beer already holds more gas than wanted: add no priming sugar."],
            );
        }
        Ok(())
    }

    /// Extract still to ferment by the newest gravity, on top of the fruit's sugar; unknown without a reading.
    pub(super) fn unfermented(&self, end: &Wort) -> Option<Concentration> {
        let newest = newest(self.batch, ReadingKind::Gravity, ReadingKind::Brix)?;
        let apparent = self.beer_gravity(newest)?.value.as_degrees() - end.plato().as_degrees();
        // One degree of apparent extract is 0.8192 of real extract, by Balling.
        let grams_per_litre = apparent.max(0.0) * 0.819_2 * end.density(ROOM).as_kg_per_m3() / 100.0;
        Some(Concentration::g_per_l(grams_per_litre))
    }
}
