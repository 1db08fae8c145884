//! Speciation against PHREEQC, whose results lie in `phreeqc/acid_to_ph.csv`; how they came about
//! is told at the head of that file and in the script beside it.
//!
//! A dose is compared relative to itself, or to 0.05 mEq/L where it is smaller: a water with next
//! to no alkalinity takes next to no acid, and a share of nothing says nothing.
#![allow(clippy::expect_used, clippy::panic, reason = "a test stops where it fails")]

use calc::chem::carbonate::Carbonate;
use calc::chem::meter::{Compensation, water_at_room};
use calc::chem::titration::{ClosedWater, Titrant};
use calc::chem::water::Ions;
use calc::data::acids::AcidKind;
use calc::quantity::{AbsolutePressure, Amount, Concentration, Dimension, Ph, Temperature};
use std::fmt::Write as _;
use std::path::Path;

const TARGET: Ph = Ph::new(5.4);
/// Doses smaller than this are compared to it, mEq/L.
const FLOOR: f64 = 0.05;
/// Share by which a dose may differ from the reference with the same simplifications.
const REDUCED: f64 = 0.003;
/// Share by which a dose may differ from the full database.
const FULL: f64 = 0.04;
/// The acids, in the order of the columns.
const ACIDS: [(&str, Titrant); 3] = [
    ("strong", Titrant::Strong),
    ("lactic", Titrant::Weak(AcidKind::Lactic)),
    ("phosphoric", Titrant::Weak(AcidKind::Phosphoric)),
];

/// One line of the file.
struct Row {
    said: String,
    water: Ions,
    ph: Ph,
    at: Temperature,
    /// mmol/L of each acid.
    reduced: [f64; 3],
    full: [f64; 3],
    /// mmol/L.
    carbon: f64,
    calcite: f64,
    room_ph: f64,
    air_ph: f64,
}

fn read() -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/phreeqc/acid_to_ph.csv");
    let text = std::fs::read_to_string(path).expect("the reference data");
    // Remarks, then the names of the columns.
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
            let [
                ca,
                mg,
                na,
                cl,
                so4,
                alkalinity,
                t,
                ph,
                s,
                l,
                p,
                fs,
                fl,
                fp,
                carbon,
                calcite,
                room_ph,
                air_ph,
            ] = cells[..]
            else {
                panic!("{} cells: {line}", cells.len());
            };
            let as_calcium_carbonate = Dimension::Alkalinity
                .units()
                .iter()
                .find(|unit| unit.key == "mg_per_l_caco3")
                .expect("a unit");
            let water = Ions {
                calcium: Concentration::mg_per_l(ca),
                magnesium: Concentration::mg_per_l(mg),
                sodium: Concentration::mg_per_l(na),
                chloride: Concentration::mg_per_l(cl),
                sulfate: Concentration::mg_per_l(so4),
                alkalinity: Amount::from_unit(Dimension::Alkalinity, as_calcium_carbonate, alkalinity)
                    .typed(),
                ..Ions::default()
            };
            Row {
                said: line.split(',').take(8).collect::<Vec<_>>().join(" "),
                water,
                ph: Ph::new(ph),
                at: Temperature::celsius(t),
                reduced: [s, l, p],
                full: [fs, fl, fp],
                carbon,
                calcite,
                room_ph,
                air_ph,
            }
        })
        .collect()
}

/// Asserts that every share lies below the limit; prints the five worst when tables are wanted.
fn judge(what: &str, limit: f64, mut found: Vec<(f64, String)>) {
    found.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let mut worst = String::new();
    for (apart, said) in found.iter().take(5) {
        let _ = writeln!(worst, "  {apart:+.5} of {limit} allowed  {said}");
    }
    if std::env::var_os("TARTWRIGHT_TABLE").is_some() {
        println!("{what}: {} compared; the worst:\n{worst}", found.len());
    }
    // NaN is no number below the limit.
    assert!(found.iter().all(|(apart, _)| apart.abs() <= limit), "{what}:\n{worst}");
}

fn doses(what: &str, limit: f64, reference: fn(&Row) -> [f64; 3]) {
    let rows = read();
    assert!(rows.len() >= 150, "only {} waters", rows.len());
    for (place, (name, titrant)) in ACIDS.into_iter().enumerate() {
        let found = rows.iter().map(|row| {
            let dose = ClosedWater::new(&row.water, row.ph, row.at).acid_to(TARGET, titrant);
            let (got, expected) = (dose.amount.as_mmol_per_l(), reference(row)[place]);
            let said = format!("{got:.4} for {expected:.4} mmol/L: Ca Mg Na Cl SO4 alk t pH {}", row.said);
            ((got - expected) / expected.max(FLOOR), said)
        });
        judge(&format!("{name} acid to pH 5.4, {what}"), limit, found.collect());
    }
}

#[test]
fn doses_agree_with_the_same_simplifications() {
    doses("same simplifications", REDUCED, |row| row.reduced);
}

#[test]
fn doses_agree_with_the_full_database() {
    doses("full database", FULL, |row| row.full);
}

#[test]
fn carbon_and_saturation_agree() {
    let rows = read();
    let (mut carbon, mut calcite) = (Vec::new(), Vec::new());
    let (mut cooled, mut air) = (Vec::new(), Vec::new());
    for row in &rows {
        let vessel = ClosedWater::new(&row.water, row.ph, row.at);
        carbon
            .push(((vessel.carbon().as_mmol_per_l() - row.carbon) / row.carbon.max(FLOOR), row.said.clone()));
        calcite.push((vessel.calcite_saturation().value() - row.calcite, row.said.clone()));
        let room = water_at_room(&row.water, row.ph, row.at, Compensation::Automatic);
        cooled.push((room.value() - row.room_ph, row.said.clone()));
        let soft = Ions { calcium: Concentration::ZERO, magnesium: Concentration::ZERO, ..row.water };
        let system = Carbonate::new(row.at, soft.ionic_strength());
        let pressure = AbsolutePressure::kpa(101.325 * 10_f64.powf(-3.38));
        let (ph, _) = system.under_gas(soft.alkalinity, pressure);
        air.push((ph.value() - row.air_ph, row.said.clone()));
    }
    judge("inorganic carbon, share", REDUCED, carbon);
    judge("saturation index of calcite", 0.01, calcite);
    judge("pH at 20 °C", 0.005, cooled);
    judge("pH in the air without calcium and magnesium", 0.02, air);
}
