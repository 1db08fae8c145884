//! How well the souring forecast does on sourings of other laws: `cargo run --release -p calc --example souring_study`.

#[path = "../tests/souring_worlds/mod.rs"]
mod souring_worlds;

use souring_worlds::{Dice, Souring, World, score};
use std::hint::black_box;
use std::time::Instant;

fn main() {
    println!(
        "law        readings sourings  too fast  never  covered  early  late   error h  line h  arrival h  left h  band h"
    );
    for (world, seed) in [(World::Monod, 1), (World::Logistic, 2), (World::Gompertz, 3), (World::Approach, 4)]
    {
        for count in [0, 1, 2, 3, 5] {
            let s = score(world, seed, 1000, count);
            println!(
                "{:10} {count:8} {:8} {:9} {:6} {:7.1} % {:4.1} % {:4.1} % {:7.1} {:7.1} {:9.1} {:8.1} {:7.1}",
                format!("{world:?}"),
                s.sourings,
                s.too_fast,
                s.never,
                100.0 * s.covered,
                100.0 * s.early,
                100.0 * s.late,
                s.error,
                s.line_error,
                s.arrival,
                s.left,
                s.width
            );
            if count == 3 {
                let rung = s.alarms.iter().map(|(alarm, share)| format!("{alarm:?} {:.1} %", 100.0 * share));
                println!("           alarms after three readings: {}", rung.collect::<Vec<_>>().join(", "));
            }
        }
    }
    // The worlds' own readings are 6 to 14 hours apart; sixty of them fill the 600 hours of a souring.
    let souring = Souring::new(World::Logistic, &mut Dice(5));
    for count in [0, 3, souring.readings.len()] {
        let (rounds, begun) = (1000, Instant::now());
        for _ in 0..rounds {
            black_box(souring.forecast(black_box(count)));
        }
        println!("one forecast from {count} readings: {:?}", begun.elapsed() / rounds);
    }
}
