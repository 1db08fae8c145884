//! Times the proven best salts of the reference questions, and shows what rounding would lose.
//!
//! `cargo run --profile bench -p calc --example optimum -- tests/reference/salts/optimum.csv` prints for each
//! kind of question, and for all, the median, the 95th percentile and the longest time of one answer in
//! nanoseconds: of the best recipe alone (`best`), and with the simpler one and the remedies (`answer`);
//! then how many questions there were and how many recipes were worse than the solver's; then the costs that
//! rounding leaves, as multiples of the best.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use calc::brew::water::{best_salts, salts};
use instances::{Instance, instances};

#[path = "../../../tests/reference/salts/instances.rs"]
mod instances;

/// How often each question is answered; the shortest time counts, for what is not ours only lengthens it.
const ROUNDS: usize = 15;

/// The shortest of some runs in nanoseconds.
fn shortest(mut run: impl FnMut()) -> u128 {
    let time = |_| {
        let begun = Instant::now();
        run();
        begun.elapsed().as_nanos()
    };
    (0..ROUNDS).map(time).min().unwrap_or_default()
}

/// The value that this share of them does not exceed.
fn quantile<T: Copy + PartialOrd>(values: &mut [T], share: f64) -> Option<T> {
    values.sort_by(|one, other| one.partial_cmp(other).unwrap_or(std::cmp::Ordering::Equal));
    let place = (share * values.len() as f64).ceil() as usize;
    values.get(place.saturating_sub(1)).copied()
}

fn row<T: Copy + PartialOrd>(mut values: Vec<T>) -> Option<[T; 3]> {
    Some([quantile(&mut values, 0.5)?, quantile(&mut values, 0.95)?, quantile(&mut values, 1.0)?])
}

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("which file of questions?")?;
    let all = instances(&std::fs::read_to_string(path)?)?;
    let mut times = Vec::new();
    for Instance { kind, question, .. } in &all {
        let best = shortest(|| _ = black_box(best_salts(black_box(question))));
        let answer = shortest(|| _ = black_box(salts(black_box(question))));
        times.push((kind.as_str(), best, answer));
    }
    let mut kinds: Vec<&str> = times.iter().map(|(kind, _, _)| *kind).collect();
    kinds.dedup();
    kinds.push("all");
    for wanted in kinds {
        let of = |what: fn(&(&str, u128, u128)) -> u128| -> Vec<u128> {
            times.iter().filter(|time| wanted == "all" || time.0 == wanted).map(what).collect()
        };
        for (name, values) in [("best", of(|time| time.1)), ("answer", of(|time| time.2))] {
            let count = values.len();
            let [half, most, longest] = row(values).ok_or("no questions")?;
            println!("{wanted}\t{name}\t{count}\t{half}\t{most}\t{longest}");
        }
    }
    // The recipes that were timed are the ones that the solver found, or better.
    let mut worse = Vec::new();
    for instance in &all {
        let cost = instance.cost_of(&best_salts(&instance.question)).ok_or("not what was asked for")?;
        if cost > instance.cost * (1.0 + 1e-9) + 1e-12 {
            worse.push(format!("{}: {cost} is not as good as {}", instance.kind, instance.cost));
        }
    }
    println!("all\tworse\t{}\t{}", all.len(), worse.len());
    if let Some(first) = worse.into_iter().next() {
        return Err(first.into());
    }
    for (place, name) in ["rounded", "rounded_same"].into_iter().enumerate() {
        let losses = all.iter().map(|instance| instance.rounded[place] / instance.cost).collect();
        let [half, most, longest]: [f64; 3] = row(losses).ok_or("no questions")?;
        println!("all\t{name}\t{}\t{half:.3}\t{most:.3}\t{longest:.3}", all.len());
    }
    Ok(())
}
