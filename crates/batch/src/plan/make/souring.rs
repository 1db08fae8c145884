//! Acid drop and souring.

use super::*;

/// A belief about the souring speed so wide that two readings outweigh it.
const ANY_SPEED: Estimate<Count> =
    Estimate { value: Count::of(1.0), low: Count::of(0.02), high: Count::of(50.0) };

impl Maker<'_> {
    pub(super) fn sour_reading(&mut self) {
        let newest = self.batch.readings.last(ReadingKind::SourPh).map(|reading| reading.value.typed::<Ph>());
        let meter = self.meter();
        self.figures().sour_ph = match (newest, meter) {
            (Some(ph), Ok(meter)) => measured(Estimate::normal(ph, meter.as_units())),
            _ => Err(Unknown::Reading(ReadingKind::SourPh)),
        };
    }

    /// Acid drop and souring; lactic acid in the sour wort at the end.
    pub(super) fn souring(&mut self, course: &Course) -> Mass {
        self.acid_drop(course)
            .and_then(|(start, buffering)| self.sour(course, start, buffering))
            .unwrap_or_else(|unknown| {
                self.figures().wait(Stage::AcidDrop..=Stage::Souring, unknown);
                Mass::ZERO
            })
    }

    /// The pH in the wort now and its buffering.
    pub(super) fn acid_drop(
        &mut self,
        course: &Course,
    ) -> Result<(Estimate<Ph>, Estimate<Buffering>), Unknown> {
        let batch = self.batch;
        let (acid, meter) = (self.acid()?, self.meter()?);
        let wort = course.souring.volume(ROOM);
        let prior = prior_buffering(course.souring.plato(), batch.house.expect(HouseNumber::WortBuffering).0);
        // Doses between two readings belong to the step between them.
        let mut steps = Vec::new();
        let (mut before, mut poured) = (None::<Ph>, Volume::ZERO);
        for reading in batch.readings.iter() {
            match reading.kind {
                ReadingKind::DropAcid => poured += reading.value.typed::<Volume>(),
                ReadingKind::WortPh => {
                    let after: Ph = reading.value.typed();
                    if let Some(before) = before
                        && poured > Volume::ZERO
                    {
                        steps.push(DoseStep { acid: poured, before, after });
                    }
                    (before, poured) = (Some(after), Volume::ZERO);
                }
                _ => {}
            }
        }
        let buffering = update_buffering(prior, &steps, wort, &acid, meter);
        self.figures().buffering = Ok(Value {
            estimate: buffering,
            origin: if steps.is_empty() { Origin::Predicted } else { Origin::Measured },
        });
        let read = match before {
            Some(read) => measured(Estimate::normal(read, meter.as_units())),
            None => self.plan.figures.mash_ph.map(|mash| Value {
                estimate: Estimate::normal(
                    mash.estimate.value - BOIL_PH_DROP,
                    mash.estimate.deviation().hypot(BOIL_PH_DROP.as_units() / 2.0),
                ),
                origin: Origin::Predicted,
            }),
        };
        // Acid poured since the newest reading has moved the pH; by how much is a prediction.
        let now = if poured > Volume::ZERO {
            read.map(|read| {
                let given =
                    acid.charge_of(poured, value(batch, Field::DropPh).unwrap_or(read.estimate.value)) / wort;
                let moved = |buffering: Buffering| {
                    PhDifference::units(given.as_meq_per_l() / buffering.as_meq_per_l_ph().max(0.1))
                };
                let half = (moved(buffering.low) - moved(buffering.high)).as_units() / 2.56;
                Value {
                    estimate: Estimate::normal(
                        Ph::new((read.estimate.value - moved(buffering.value)).value().max(2.8)),
                        read.estimate.deviation().hypot(half),
                    ),
                    origin: Origin::Predicted,
                }
            })
        } else {
            read
        };
        self.figures().wort_ph = now;
        let target: Ph = value(batch, Field::DropPh)?;
        let now = now?.estimate;
        let whole = needed(now, target, buffering, wort, &acid).map_err(outside(Stage::AcidDrop))?;
        let dose = next_dose(now, target, buffering, wort, &acid, meter).map_err(outside(Stage::AcidDrop))?;
        let figures = self.figures();
        figures.drop_acid = predicted(whole);
        figures.next_dose = exact(dose);
        if now.value < target - PhDifference::units(0.15) && batch.ticked(Step::Culture).is_none() {
            self.warn(
                Stage::AcidDrop,
                Level::Note,
                say![
                    "The wort is at ",
                    now.value.amount(),
                    ", below the ",
                    target.amount(),
                    " wanted. The bacteria start more slowly but will work: do not add base."
                ],
            );
        }
        Ok((now, buffering))
    }

    pub(super) fn sour(
        &mut self,
        course: &Course,
        now: Estimate<Ph>,
        buffering: Estimate<Buffering>,
    ) -> Result<Mass, Unknown> {
        let batch = self.batch;
        let target: Ph = value(batch, Field::SourPh)?;
        let drop: Ph = value(batch, Field::DropPh)?;
        let gravity = course.souring.plato();
        let pitched = batch
            .ticked(Step::Culture)
            .or_else(|| batch.readings.of(ReadingKind::SourPh).next().map(|reading| reading.at));
        // Once the drop is done its last reading is the start; before that, what the drop aims at.
        let start = if batch.ticked(Step::AcidDrop).is_some() { now.value } else { now.value.min(drop) };
        let readings: Vec<(Duration, Ph)> = pitched.map_or_else(Vec::new, |pitched| {
            batch
                .readings
                .of(ReadingKind::SourPh)
                .filter(|reading| reading.at >= pitched)
                .map(|reading| (reading.at - pitched, reading.value.typed()))
                .collect()
        });
        let temperature = match batch.readings.last(ReadingKind::SourTemperature) {
            Some(reading) => reading.value.typed(),
            None => value(batch, Field::SourTemperature)?,
        };
        let conditions = Conditions {
            start_ph: start,
            temperature,
            gravity,
            buffering,
            culture: batch.choices.culture,
            cells: value::<CellDensity>(batch, Field::Bacteria)?,
            speed: batch.house.expect::<Count>(HouseNumber::SouringSpeed).0,
            meter_error: self.meter()?,
        };
        let Forecast { to_target, curve, alarms, .. } = forecast(&conditions, target, &readings);
        self.plan.course = curve;
        if readings.len() > 1 {
            // The house learns from what the readings say alone, not from what it believed before.
            let open_minded = Conditions { speed: ANY_SPEED, ..conditions };
            self.plan.souring_speed = Some(forecast(&open_minded, target, &readings).speed.value);
        }
        self.figures().sour_time = match to_target {
            Ok(time) => predicted(time),
            Err(_) => Err(Unknown::NeverReached),
        };
        if let Err(problem) = to_target {
            self.warn(Stage::Souring, Level::Caution, never_sour(problem));
        }
        for alarm in alarms {
            let (level, says) = alarm_words(alarm);
            self.warn(Stage::Souring, level, say![says]);
        }
        let formed = lactic_formed(start, target, buffering);
        let mash_ph = middle(&self.plan.figures.mash_ph).unwrap_or(Ph::new(5.2));
        // Acid poured before the bacteria counts as acid as well.
        let added = lactic_formed((mash_ph - BOIL_PH_DROP).max(start), start, buffering);
        let all = Estimate {
            value: formed.value + added.value,
            low: formed.low + added.low,
            high: formed.high + added.high,
        };
        let acidity = match batch.readings.last(ReadingKind::SourAcidity) {
            Some(reading) => measured(Estimate::exact(reading.value.typed::<TitratableAcidity>())),
            None => predicted(titratable_acidity(all, gravity)),
        };
        let figures = self.figures();
        figures.lactic = predicted(formed);
        figures.acidity = acidity;
        Ok(formed.value * course.souring.volume(ROOM))
    }
}
