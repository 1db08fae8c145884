//! What is timed: the same jobs on this machine itself (`benches/jobs.rs`) and in a browser
//! (`app/examples/clock.rs`). Behind the feature `jobs`, because the app has no use for them.

use std::hint::black_box;

use crate::demo::demo;
use crate::document::Batch;
use crate::house::{House, Lesson, Rules};
use crate::keep::link::{Part, read, write};
use crate::keep::{Envelope, Opened, decode, peek, stored_text};
use crate::moment::Moment;
use crate::plan::{next_move, plan, run_list};
use calc::brew::buffer::{BufferCurve, Step, Titration};
use calc::brew::drop::{DropError, Ladder, ladder};
use calc::brew::souring::{Conditions, Forecast, Target, first_speed, forecast, titratable_acidity};
use calc::brew::water::best_salts;
use calc::chem::titration::{ClosedWater, Titrant};
use calc::chem::water::Ions;
use calc::data::acids::{Acid, AcidKind};
use calc::data::cultures::Culture;
use calc::quantity::{
    Bitterness, CellDensity, ChargeConcentration, Concentration, Count, Duration, Estimate, Fraction,
    MolarConcentration, Ph, PhDifference, Plato, Temperature, Volume,
};
use instances::instances;

#[path = "../../../tests/reference/salts/instances.rs"]
#[allow(dead_code, reason = "the checks of the recipes need all of it, a clock only the questions")]
mod instances;

/// Questions about salts that an exact solver answered as well.
const SALTS: &str = include_str!("../../../tests/reference/salts/optimum.csv");
/// Waters that a geochemistry engine brought to a pH as well.
const WATERS: &str = include_str!("../../../tests/reference/phreeqc/acid_to_ph.csv");
/// The pH that the waters are brought to.
const WATER_PH: Ph = Ph::new(5.4);
/// How many batches a book has.
pub const BOOKS: [usize; 3] = [10, 100, 1000];
/// How many readings a souring has.
pub const READINGS: [usize; 3] = [1, 10, 60];

/// What one job does, once.
type Run = Box<dyn FnMut()>;

/// One thing that is timed.
pub struct Job {
    /// What it is called in the tables.
    pub name: String,
    run: Run,
}

impl Job {
    fn new<T>(name: impl Into<String>, mut run: impl FnMut() -> T + 'static) -> Self {
        Self { name: name.into(), run: Box::new(move || _ = black_box(run())) }
    }

    /// Does it once.
    pub fn run(&mut self) {
        (self.run)();
    }
}

/// A finished batch under other identities, as a book keeps them.
fn book(finished: &Envelope, count: usize) -> Option<Vec<String>> {
    let mut envelope = finished.clone();
    (0..count)
        .map(|number| {
            envelope.data.id = format!("n{number:011}");
            stored_text(&envelope).ok()
        })
        .collect()
}

/// As a new batch needs it: every batch opened, planned, and its lessons weighed.
fn learned(texts: &[String]) -> House {
    let mut lessons: Vec<Lesson> = Vec::new();
    for text in texts {
        if let Ok(Opened::Current(envelope)) = decode(text) {
            lessons.extend(plan(&envelope.data).lessons);
        }
    }
    House::learn(&lessons, &Rules::default())
}

/// The waters of the table, in its order.
fn waters() -> Option<Vec<(Ions, Ph, Temperature)>> {
    let rows = WATERS.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(|line| {
        let cells: Vec<f64> = line.split(',').map_while(|cell| cell.parse().ok()).collect();
        let [ca, mg, na, cl, so4, alkalinity, t, ph, ..] = cells[..] else { return None };
        let water = Ions {
            calcium: Concentration::mg_per_l(ca),
            magnesium: Concentration::mg_per_l(mg),
            sodium: Concentration::mg_per_l(na),
            chloride: Concentration::mg_per_l(cl),
            sulfate: Concentration::mg_per_l(so4),
            // From mg/L of calcium carbonate.
            alkalinity: ChargeConcentration::meq_per_l(alkalinity / 50.043),
            ..Ions::default()
        };
        Some((water, Ph::new(ph), Temperature::celsius(t)))
    })
    .collect()
}

fn water_jobs() -> Option<Vec<Job>> {
    let all = waters()?;
    // Each run takes the next water, so that many runs tell the mean of all.
    let turn = || all.clone().into_iter().cycle();
    let mut waters = turn();
    let mut jobs = vec![Job::new("speciation of a water", move || {
        waters.next().map(|(water, ph, at)| ClosedWater::new(black_box(&water), ph, at))
    })];
    for (name, acid) in [
        ("a strong acid", Titrant::Strong),
        ("lactic acid", Titrant::Weak(AcidKind::Lactic)),
        ("phosphoric acid", Titrant::Weak(AcidKind::Phosphoric)),
    ] {
        let mut waters = turn();
        let name = format!("speciation of a water and its titration with {name} to a pH");
        jobs.push(Job::new(name, move || {
            waters
                .next()
                .map(|(water, ph, at)| ClosedWater::new(black_box(&water), ph, at).acid_to(WATER_PH, acid))
        }));
    }
    Some(jobs)
}

/// The questions with the middle, the 95th of 100 and the longest time, by a clock in milliseconds.
fn salt_jobs(clock: &dyn Fn() -> f64) -> Option<Vec<Job>> {
    /// A browser's clock goes in steps of a tenth of a millisecond.
    const LONG_ENOUGH: f64 = 2.0;
    let mut timed = Vec::new();
    for instance in instances(SALTS).ok()? {
        // Twice, and the shorter counts: what is not ours only lengthens it.
        let mut shortest = f64::INFINITY;
        for _ in 0..2 {
            let (begun, mut runs) = (clock(), 0.0);
            let each = loop {
                black_box(best_salts(black_box(&instance.question)));
                runs += 1.0;
                let passed = clock() - begun;
                if passed >= LONG_ENOUGH {
                    break passed / runs;
                }
            };
            shortest = shortest.min(each);
        }
        timed.push((shortest, instance.question));
    }
    timed.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut jobs = Vec::new();
    for (name, share) in [("the middle one", 0.5), ("the 95th of 100", 0.95), ("the longest", 1.0)] {
        let place = ((share * timed.len() as f64).ceil() as usize).saturating_sub(1);
        let question = timed.get(place)?.1.clone();
        let name = format!("proven best salts in whole steps, {name} of {} questions", timed.len());
        jobs.push(Job::new(name, move || best_salts(black_box(&question))));
    }
    Some(jobs)
}

/// What every dose asks: the wort's titration from its beginning, and the next dose.
fn next_dose(steps: &[Step]) -> Result<Ladder, DropError> {
    let acid = Acid { kind: AcidKind::Lactic, strength: Fraction::of_one(0.8) };
    let meter = PhDifference::units(0.03);
    let curve = BufferCurve::prior(Plato::degrees(11.0), Estimate::exact(Count::of(1.0)));
    let start = Estimate::normal(Ph::new(5.3), 0.03);
    let titration = Titration::new(&curve, start, steps, acid.kind, meter);
    ladder(&titration, Ph::new(4.5), Volume::litres(22.0), &acid, meter)
}

/// Three doses, each with the pH after it.
fn doses() -> [Step; 3] {
    [(6.0, 4.93), (3.0, 4.74), (1.5, 4.66)]
        .map(|(acid, ph)| Step { acid: MolarConcentration::mmol_per_l(acid), read: Some(Ph::new(ph)) })
}

/// What every reading of a souring asks: the forecast from all of them.
fn expected(curve: &BufferCurve, readings: &[(Duration, Ph)]) -> Forecast {
    let gravity = Plato::degrees(11.0);
    let lactic = Concentration::mg_per_l(900.0);
    let cells = CellDensity::millions_per_ml(10.0);
    let conditions = Conditions {
        start_ph: Ph::new(4.52),
        curve,
        gravity,
        lactic_before: lactic,
        acidity_before: titratable_acidity(Estimate::exact(lactic), gravity),
        temperature: Temperature::celsius(35.0),
        temperatures: &[],
        culture: Culture::default(),
        cells: Estimate::band(cells, cells / 3.0, cells * 3.0),
        bitterness: Bitterness::ZERO,
        speed: first_speed(),
        meter_error: PhDifference::units(0.03),
    };
    forecast(&conditions, Target::Ph(Ph::new(3.4)), readings)
}

/// A souring read so many times, once an hour.
fn course(count: usize) -> Vec<(Duration, Ph)> {
    let ph = |place: usize| 3.38 + 1.14 * (-0.045 * (place + 3) as f64).exp();
    let read = |place| (Duration::hours(1.0 + place as f64), Ph::new((ph(place) * 100.0).round() / 100.0));
    (0..count).map(read).collect()
}

/// The jobs of the day at the kettle.
fn kettle_jobs() -> Vec<Job> {
    let steps = doses();
    let mut jobs =
        vec![Job::new("dose ladder: the next dose after three", move || next_dose(black_box(&steps)))];
    for count in READINGS {
        let readings = course(count);
        let curve = BufferCurve::prior(Plato::degrees(11.0), Estimate::exact(Count::of(1.0)));
        jobs.push(Job::new(format!("forecast of a souring, readings: {count}"), move || {
            expected(&curve, black_box(&readings))
        }));
    }
    jobs
}

fn plan_jobs(finished: &Envelope, watched: Batch) -> Vec<Job> {
    let example = demo("x".to_owned(), Moment::default());
    let mut jobs = Vec::new();
    for (name, batch) in [
        ("plan of the example", example),
        ("plan of a finished batch with 60 readings", finished.data.clone()),
        ("plan of a souring read 60 times", watched.clone()),
    ] {
        jobs.push(Job::new(name, move || plan(black_box(&batch))));
    }
    let now = watched.readings.iter().last().map_or_else(Moment::default, |reading| reading.at);
    let (batch, planned) = (watched.clone(), plan(&watched));
    jobs.push(Job::new("run list", move || run_list(black_box(&batch), &planned, now)));
    let (planned, batch) = (plan(&watched), watched);
    jobs.push(Job::new("next move", move || next_move(black_box(&batch), &planned, now)));
    jobs
}

fn keeping_jobs(finished: &Envelope) -> Option<Vec<Job>> {
    let text = stored_text(finished).ok()?;
    let link = write(finished, Part::Whole).ok()?;
    let held = [finished.clone(), finished.clone()];
    let [to_store, to_link] = held;
    let mut jobs = vec![
        Job::new("store one finished batch", move || stored_text(black_box(&to_store))),
        Job::new("open one finished batch", move || decode(black_box(&text))),
        Job::new("link from a finished batch", move || write(black_box(&to_link), Part::Whole)),
        Job::new("batch from a link", move || read(black_box(&link))),
    ];
    for count in BOOKS {
        let texts = book(finished, count)?;
        jobs.push(Job::new(format!("list the book, batches: {count}"), move || {
            texts.iter().filter_map(|text| peek(black_box(text)).ok()).collect::<Vec<_>>()
        }));
    }
    for count in BOOKS {
        let texts = book(finished, count)?;
        let name = format!("open and learn from the whole book, batches: {count}");
        jobs.push(Job::new(name, move || learned(black_box(&texts))));
    }
    Some(jobs)
}

/// All jobs, made from a finished batch and one whose souring is watched; `clock` tells milliseconds. `None` when
/// a table or a batch cannot be read, which the tests of both would show.
pub fn jobs(finished: &Envelope, watched: Batch, clock: &dyn Fn() -> f64) -> Option<Vec<Job>> {
    let mut jobs = plan_jobs(finished, watched);
    jobs.extend(water_jobs()?);
    jobs.extend(salt_jobs(clock)?);
    jobs.extend(kettle_jobs());
    jobs.extend(keeping_jobs(finished)?);
    Some(jobs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{finished_batch, watched_souring};
    use calc::brew::drop::Rung;

    #[test]
    fn every_job_can_be_made_and_does_something() {
        // The tables, the batches: whatever cannot be read would leave a job out. A clock that leaps keeps it short.
        let ticks = std::cell::Cell::new(0.0);
        let clock = || {
            ticks.set(ticks.get() + 10.0);
            ticks.get()
        };
        let all =
            jobs(&finished_batch(), watched_souring(), &clock).expect("tables and batches that can be read");
        let mut names: Vec<&str> = all.iter().map(|job| job.name.as_str()).collect();
        assert_eq!(names.len(), 5 + 4 + 3 + 1 + 3 + 4 + 6);
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), all.len(), "two jobs of one name");
    }

    #[test]
    fn what_is_timed_is_an_answer_and_no_refusal() {
        let next = next_dose(&doses()).expect("a dose that can be told");
        assert!(matches!(next.now, Rung::Pour(_)), "{next:?}");
        let curve = BufferCurve::prior(Plato::degrees(11.0), Estimate::exact(Count::of(1.0)));
        for count in READINGS {
            let told = expected(&curve, &course(count));
            assert!(told.to_target.is_ok() && !told.course.is_empty(), "{told:?}");
            assert_ne!(told.to_target, expected(&curve, &[]).to_target, "{count} readings change nothing");
        }
        assert!(!learned(&book(&finished_batch(), 3).expect("texts")).is_empty(), "nothing was learned");
        for (water, ph, at) in waters().expect("waters") {
            let acid = ClosedWater::new(&water, ph, at).acid_to(WATER_PH, Titrant::Strong);
            assert!(acid.charge > ChargeConcentration::ZERO, "{water:?} takes {acid:?}");
        }
    }
}
