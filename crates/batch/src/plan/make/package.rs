//! Packaging and the burst check.

use super::*;

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
        held: Estimate<Volume>,
        beer: &Wort,
        fruit_sugar: Mass,
    ) -> Result<(), Unknown> {
        let batch = self.batch;
        let left: Volume = value(batch, Field::FermenterLoss)?;
        let after = mixed.volume(ROOM);
        let out = |held: Volume| (beer.volume(ROOM).min(after) - held - left).max(Volume::ZERO);
        let band = self.plan.figures.fermenter_volume()?.estimate.deviation();
        let of_pulp = (out(held.low) - out(held.high)).as_litres() / 2.56;
        let packaged = match batch.readings.last(ReadingKind::PackagedVolume) {
            Some(reading) => measured(Estimate::exact(reading.value.typed::<Volume>())),
            None => {
                let middle = Estimate::normal(out(held.value), band.hypot(of_pulp));
                predicted(Estimate { low: middle.low.max(Volume::ZERO), ..middle })
            }
        };
        self.figures().set(key::packaged_volume, packaged);
        let volume = middle(&packaged)?;

        let wanted: Carbonation = value(batch, Field::Carbonation)?;
        let inside = self.plan.figures.dissolved();
        let sugar = match batch.choices.gas {
            Gas::Cylinder => None,
            Gas::PrimingSucrose => Some(PrimingSugar::Sucrose),
            Gas::PrimingGlucose => Some(PrimingSugar::GlucoseMonohydrate),
        };
        let weight = sugar.map_or(Err(Unknown::NotUsed), |sugar| {
            priming(volume, middle(&inside)?, wanted, sugar).map_err(|_| Unknown::NotUsed)
        });
        let weight_band = inside.map_or(0.0, |inside| inside.estimate.deviation())
            * sugar.map_or(0.0, |sugar| sugar.per_volume().as_g_per_l() * volume.as_litres());
        self.figures()
            .set(key::priming, weight.and_then(|mass| predicted(Estimate::normal(mass, weight_band))));
        let per_litre = |mass: Mass| {
            if volume > Volume::ZERO {
                Concentration::g_per_l(mass.as_grams() / volume.as_litres())
            } else {
                Concentration::ZERO
            }
        };
        // Priming counts as the glucose it becomes: sucrose takes up water and weighs 5 % more.
        let primed = weight.map_or(Concentration::ZERO, |mass| {
            per_litre(mass) * if sugar == Some(PrimingSugar::Sucrose) { 1.053 } else { 0.909 }
        });
        let stable = self.stable_for();
        let settled = stable.is_some_and(|time| time >= Duration::hours(72.0));
        let unfermented = if settled { Some(Concentration::ZERO) } else { self.unfermented(beer) };
        let answer = burst_check(&BurstQuestion {
            kind: batch.choices.package,
            limit: batch.numbers.package_limit(),
            warmest: batch.value(Field::Warmest),
            gas_space: batch.value(Field::Headspace),
            // Gas from the cylinder is what is wanted; otherwise what the fermentation left.
            present: if sugar.is_none() { Some(wanted) } else { middle(&inside).ok() },
            fermentable: unfermented,
            fruit_sugar: Some(if settled {
                Concentration::ZERO
            } else {
                Concentration::g_per_l(fruit_sugar.as_grams() / after.as_litres())
            }),
            priming: primed,
            stable_for: stable,
        });
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
