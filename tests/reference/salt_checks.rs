//! The best salts against an exact mixed-integer solver, whose answers lie in `salts/optimum.csv`;
//! what is minimised is told in the script beside it.
#![allow(clippy::expect_used, reason = "a test stops where it fails")]

#[path = "salts/instances.rs"]
mod instances;

use calc::brew::water::{Remedy, salts};
use instances::{Instance, instances};
use std::path::Path;

/// Fewer questions than this means that some got lost.
const FEWEST: usize = 200;
/// Share by which an answer may cost more than the solver's, and what both may be off by rounding.
const SHARE: f64 = 1e-9;
const ROUNDING: f64 = 1e-12;

fn all() -> Vec<Instance> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/salts/optimum.csv");
    instances(&std::fs::read_to_string(path).expect("the reference data")).expect("readable data")
}

#[test]
fn no_recipe_costs_more_than_an_exact_solver_finds() {
    let (mut faults, mut better) = (Vec::new(), 0);
    let (mut worst, mut most_saved) = (0.0_f64, 0.0_f64);
    let all = all();
    for (place, instance) in all.iter().enumerate() {
        let answer = salts(&instance.question);
        let name = format!("question {place} ({})", instance.kind);
        if !answer.best.proven || answer.simpler.is_some_and(|simpler| !simpler.proven) {
            faults.push(format!("{name}: not proven"));
        }
        let Some(cost) = instance.cost_of(&answer.best) else {
            faults.push(format!("{name}: not whole steps, or too much of a salt: {:?}", answer.best));
            continue;
        };
        if cost > instance.cost * (1.0 + SHARE) + ROUNDING {
            faults.push(format!("{name}: {cost}, the solver {}", instance.cost));
        }
        better += usize::from(cost < instance.cost * (1.0 - SHARE) - ROUNDING);
        worst = worst.max(cost / instance.cost - 1.0);
        most_saved = most_saved.max(1.0 - cost / instance.cost);
    }
    println!(
        "{} questions about salts: at most {worst:.1e} dearer than the exact solver, {better} cheaper (by up to \
         {most_saved:.1e})",
        all.len()
    );
    assert!(all.len() >= FEWEST, "only {} questions", all.len());
    assert!(faults.is_empty(), "{} of {} fail:\n{}", faults.len(), all.len(), faults.join("\n"));
}

#[test]
fn rounding_the_continuous_optimum_loses() {
    let all = all();
    for instance in &all {
        for rounded in instance.rounded {
            assert!(rounded >= instance.cost * (1.0 - SHARE) - ROUNDING, "{}: {rounded}", instance.kind);
        }
    }
    let twice = all.iter().filter(|instance| instance.rounded[0] > 2.0 * instance.cost).count();
    assert!(twice > 0, "rounding would do as well");
}

#[test]
fn targets_out_of_reach_are_told() {
    let all = all();
    let missing: Vec<&Instance> = all.iter().filter(|instance| instance.kind == "out of reach").collect();
    assert!(!missing.is_empty());
    let mut helped = 0;
    for instance in missing {
        let answer = salts(&instance.question);
        // A distance of a quarter width and more lies outside a range.
        let far = answer.best.miss.value() > 5.0 * (1.0 / 16.0 + 0.02) + 1.0;
        assert!(!far || !answer.missed.is_empty(), "{answer:?}");
        for missed in &answer.missed {
            assert!(missed.reached < missed.low || missed.reached > missed.high, "{missed:?}");
            helped += usize::from(missed.remedy != Remedy::Nothing);
        }
    }
    assert!(helped > 0);
}
