//! The bitterness of 50 days against an independent solver of the same equations.
//! `kinetics/make_histories.py` says how the file was made.

use calc::brew::bitterness::{HopCharge, HopForm, HotSide, Leg};
use calc::quantity::{Duration, Estimate, Fraction, Mass, Ph, Temperature, Volume};

/// Largest relative difference allowed.
const ALLOWED: f64 = 1e-6;

fn leg(text: &str) -> Option<Leg> {
    let cells: Vec<&str> = text.split(':').collect();
    let number = |place: usize| cells.get(place)?.parse::<f64>().ok();
    let celsius = |place| number(place).map(Temperature::celsius);
    Some(Leg { time: Duration::minutes(number(0)?), from: celsius(1)?, to: celsius(2)?, toward: celsius(3) })
}

#[test]
fn the_kinetics_agree_with_an_independent_solver() {
    let path = super::folder().join("kinetics").join("histories.csv");
    let text = std::fs::read_to_string(path).unwrap();
    let (mut worst, mut rows, mut histories) = (0.0_f64, 0, std::collections::BTreeSet::new());
    for line in text.lines().skip(1) {
        let [history, legs, at, share] = line.split(',').collect::<Vec<_>>()[..] else {
            panic!("not four cells: {line}");
        };
        let legs: Vec<Leg> = legs.split(';').map(leg).collect::<Option<_>>().unwrap();
        // A litre with a gram of pure alpha acid ten times over, nothing lost, not sour: IBU is the share.
        let side = HotSide {
            legs: &legs,
            volume: Volume::litres(1.0),
            ph: Ph::new(5.2),
            kept: Estimate::exact(Fraction::ALL),
        };
        let charge = HopCharge {
            mass: Mass::grams(10.0),
            alpha: Fraction::of_one(0.1),
            form: HopForm::Extract,
            at: Duration::minutes(at.parse().unwrap()),
        };
        let got = side.bitterness(&[charge]).unwrap().1[0].as_ibu() / 1e3;
        let expected: f64 = share.parse().unwrap();
        worst = worst.max((got / expected - 1.0).abs());
        rows += 1;
        histories.insert(history.to_owned());
    }
    println!("{rows} charges in {} histories; worst relative difference {worst:.1e}", histories.len());
    assert_eq!(histories.len(), 50);
    assert!(worst < ALLOWED, "{worst:e}");
}
