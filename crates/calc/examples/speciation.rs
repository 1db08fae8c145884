//! Times the acid that brings waters to pH 5.4 in a closed vessel.
//!
//! `cargo run --profile bench -p calc --example speciation -- tests/reference/phreeqc/acid_to_ph.csv`
//! prints for each acid the mean time for one water in nanoseconds.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use calc::chem::titration::{ClosedWater, Titrant};
use calc::chem::water::Ions;
use calc::data::acids::AcidKind;
use calc::quantity::{ChargeConcentration, Concentration, Ph, Temperature};

/// How often all waters are reckoned.
const ROUNDS: u32 = 400;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("which file of waters?")?;
    let text = std::fs::read_to_string(path)?;
    let mut waters = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells = line.split(',').map(str::parse).collect::<Result<Vec<f64>, _>>()?;
        let [ca, mg, na, cl, so4, alkalinity, t, ph, ..] = cells[..] else {
            return Err(format!("too few cells: {line}").into());
        };
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
        waters.push((water, Ph::new(ph), Temperature::celsius(t)));
    }
    let acids = [
        ("strong", Titrant::Strong),
        ("lactic", Titrant::Weak(AcidKind::Lactic)),
        ("phosphoric", Titrant::Weak(AcidKind::Phosphoric)),
    ];
    for (name, acid) in acids {
        let begun = Instant::now();
        for _ in 0..ROUNDS {
            for (water, ph, at) in &waters {
                let vessel = ClosedWater::new(black_box(water), *ph, *at);
                black_box(vessel.acid_to(black_box(Ph::new(5.4)), acid));
            }
        }
        let each = begun.elapsed().as_secs_f64() / f64::from(ROUNDS) / waters.len() as f64;
        println!("{name} {:.0}", 1e9 * each);
    }
    Ok(())
}
