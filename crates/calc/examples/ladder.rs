//! Prints how the dose ladder and two rules of thumb fare on simulated worts: `cargo run --release -p
//! calc --example ladder`. The worts and the rules are those of `calc/tests/ladder`.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "an example stops where it fails")]

#[path = "../tests/ladder/worlds.rs"]
mod worlds;

use calc::brew::buffer::{BufferCurve, Step, Titration};
use calc::data::acids::AcidKind;
use calc::quantity::{Count, Estimate, MolarConcentration, Ph, PhDifference, Plato};
use std::time::Instant;
use worlds::{Hand, Meter, World, Wort, tally};

const WORTS: usize = 10_000;

fn line(name: &str, world: World, hand: Hand, meter: Meter, keep: &dyn Fn(&Wort) -> bool) {
    let tally = tally(WORTS, world, hand, meter, keep);
    let doses = tally.median_doses.map_or_else(|| "never".to_owned(), |doses| doses.to_string());
    print!(
        "{:<34} {:<14} {:>8.1} % {:>8.1} % {:>9} {:>9.1}",
        name,
        format!("{hand:?}"),
        100.0 * tally.overshot,
        100.0 * tally.near,
        doses,
        tally.mean_doses
    );
    match hand {
        Hand::Ladder => println!(" {:>7.0} % {:>7.0} %", 100.0 * tally.in_band[0], 100.0 * tally.in_band[1]),
        _ => println!(),
    }
}

fn main() {
    println!("{WORTS} worts a row, target 4.5, dosing error 2 %, by the true pH.");
    println!(
        "{:<34} {:<14} {:>10} {:>10} {:>9} {:>9} {:>9} {:>9}",
        "worts", "hand", "below 4.45", "4.45-4.55", "median", "mean", "in first", "in last"
    );
    let sharp = Meter { error: 0.03, bias: 0.0 };
    let off = Meter { error: 0.03, bias: 0.03 };
    for (name, world, meter) in [
        ("inside the prior", World::Inside, sharp),
        ("outside the prior", World::Outside, sharp),
        ("as no wort is", World::Wild, sharp),
        ("inside, meter off by 0.03 all day", World::Inside, off),
        ("outside, meter off by 0.03 all day", World::Outside, off),
    ] {
        for hand in [Hand::Ladder, Hand::FixedPerTenth, Hand::HalfAgain] {
            line(name, world, hand, meter, &|_| true);
        }
    }
    for (low, high) in [(0.5, 0.7), (0.7, 0.9), (0.9, 1.1), (1.1, 1.4), (1.4, 1.7)] {
        let name = format!("outside, capacity {low} to {high}");
        line(&name, World::Outside, Hand::Ladder, sharp, &|wort| wort.scale >= low && wort.scale < high);
    }

    let curve = BufferCurve::prior(Plato::degrees(11.0), Estimate::exact(Count::of(1.0)));
    let start = Estimate::normal(Ph::new(5.3), 0.03);
    for readings in [1_u32, 5, 60] {
        let dose = MolarConcentration::mmol_per_l(8.0 / f64::from(readings));
        let steps: Vec<Step> = (1..=readings)
            .map(|place| {
                let ph = curve.ph_with(Ph::new(5.3), AcidKind::Lactic, dose * f64::from(place));
                Step { acid: dose, read: Some(ph) }
            })
            .collect();
        let meter = PhDifference::units(0.03);
        let began = Instant::now();
        for _ in 0..1000 {
            std::hint::black_box(Titration::new(
                &curve,
                start,
                std::hint::black_box(&steps),
                AcidKind::Lactic,
                meter,
            ));
        }
        println!("update with {readings} readings: {:.1} microseconds", began.elapsed().as_secs_f64() * 1e3);
    }
}
