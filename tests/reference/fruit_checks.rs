//! Checks of fruit: rows of the tables, every figure of the nutrient database, and the pH of mixed
//! acids against PHREEQC.
#![allow(clippy::expect_used, clippy::panic, reason = "a test stops where it fails")]

use calc::brew::fruit::{
    FruitForm, FruitLoad, Intensity, Preserved, Purge, SourBeer, blend_ph, fruited_ph, purge,
};
use calc::brew::ledger::Wort;
use calc::chem::density::sucrose_density;
use calc::data::Mark;
use calc::data::acids::AcidKind;
use calc::data::fruits::{Fruit, FruitAcid, FruitData, KINDS_SOURCE};
use calc::quantity::{
    Buffering, ChargeConcentration, Estimate, Fraction, GaugePressure, Mass, MolarConcentration, Ph, Plato,
    Temperature, TitratableAcidity, Volume,
};
use std::fmt::Write as _;
use std::path::Path;

const ROOM: Temperature = Temperature::celsius(20.0);

/// The value of a check, or `None` when this module does not know it or its inputs.
pub fn compute(check: &str, inputs: &[&str]) -> Option<f64> {
    let number = |place: usize| inputs.get(place)?.trim().parse::<f64>().ok();
    Some(match check {
        "acid_charge" => {
            let acid = match *inputs.first()? {
                "citric" => AcidKind::Citric,
                "malic" => AcidKind::Malic,
                "tartaric" => AcidKind::Tartaric,
                _ => return None,
            };
            acid.charge_per_mol(Ph::new(number(1)?)).value()
        }
        "fruit_sugar" => load(inputs.first()?, FruitForm::Puree, number(1)?)?.sugar.as_grams(),
        "fruit_liquid_of_whole" => {
            let load = load(inputs.first()?, FruitForm::Whole, number(1)?)?;
            (load.water + load.sugar).as_grams()
        }
        "fruit_alcohol" => {
            load(inputs.first()?, FruitForm::Puree, number(1)?)?.alcohol().value.as_millilitres()
        }
        "purge_cycles" => f64::from(purged(Volume::litres(1.0), number(0)?, number(1)?)?.cycles),
        "purge_gas_grams" => purged(Volume::litres(number(0)?), number(1)?, number(2)?)?.gas.as_grams(),
        "heavily_fruited_from" => Intensity::Heavy.puree().low.as_g_per_l(),
        "sulfur_dioxide_in_beer" => {
            let (fruit, beer) = (Mass::grams(number(0)?), Volume::litres(number(1)?));
            Preserved::Sulfite.in_beer(fruit, beer, Ph::new(3.4)).dose.value.as_mg_per_l()
        }
        "sugar_points" => {
            // The extract that holds this many grams in a litre of solution.
            let grams = number(0)?;
            let mut share = grams / 1000.0;
            for _ in 0..20 {
                share = grams / sucrose_density(Plato::degrees(100.0 * share), ROOM).as_kg_per_m3();
            }
            let water = sucrose_density(Plato::degrees(0.0), ROOM);
            1000.0 * (sucrose_density(Plato::degrees(100.0 * share), ROOM) / water - 1.0)
        }
        _ => return None,
    })
}

fn purged(space: Volume, kpa: f64, percent_left: f64) -> Option<Purge> {
    purge(space, GaugePressure::kpa(kpa), Fraction::percent(percent_left)).ok()
}

fn load(name: &str, form: FruitForm, grams: f64) -> Option<FruitLoad> {
    let wanted = name.replace('_', " ");
    let fruit = Fruit::ALL.iter().find(|fruit| fruit.data().name == wanted)?;
    FruitLoad::new(Mass::grams(grams), form, &fruit.composition()).ok()
}

/// The lines of a data file, without remarks and the names of the columns.
fn lines(file: &str) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference").join(file);
    let text = std::fs::read_to_string(path).expect("the reference data");
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().expect("a number")
}

/// Where the nutrient database has a figure, the table has the same; where it has none, the table
/// names another source.
#[test]
fn the_fruit_table_is_the_nutrient_database() {
    let rows = lines("fruit_table/sr28.csv");
    let mut faults = String::new();
    for fruit in Fruit::ALL {
        let FruitData { name, ndb, water, sugars, refuse, kinds, minerals, .. } = fruit.data();
        let Some(ndb) = ndb else {
            assert!(kinds.is_none() && minerals.is_none(), "{name}");
            assert!(
                [water.source, sugars.source, refuse.source].iter().all(|s| *s != KINDS_SOURCE),
                "{name}"
            );
            continue;
        };
        let row = rows.iter().find(|row| row[0] == *ndb).unwrap_or_else(|| panic!("no {ndb} {name}"));
        let mut same = |what: &str, cell: &str, unit: f64, ours: Option<Fraction>| {
            let theirs = (!cell.is_empty()).then(|| number(cell) * unit);
            let equal = match (theirs, ours) {
                (Some(theirs), Some(ours)) => (theirs - ours.as_of_one()).abs() < 1e-9,
                (None, None) => true,
                _ => false,
            };
            if !equal {
                let _ = writeln!(faults, "{name} {what}: {theirs:?}, here {ours:?}");
            }
        };
        let quoted = |figure: calc::data::fruits::Quoted<Fraction>| {
            (figure.source == KINDS_SOURCE).then_some(figure.value)
        };
        same("water", &row[3], 1e-2, quoted(*water));
        same("sugars", &row[4], 1e-2, quoted(*sugars));
        same("refuse", &row[12], 1e-2, quoted(*refuse));
        let minerals = minerals.map(|m| [m.calcium, m.magnesium, m.sodium, m.potassium]);
        for (place, what) in ["calcium", "magnesium", "sodium", "potassium"].into_iter().enumerate() {
            same(what, &row[8 + place], 1e-5, minerals.map(|minerals| minerals[place]));
        }
        let kinds = kinds.map(|kinds| [kinds.sucrose, kinds.glucose, kinds.fructose]);
        for (place, what) in ["sucrose", "glucose", "fructose"].into_iter().enumerate() {
            same(what, &row[5 + place], 1e-2, kinds.map(|kinds| kinds[place]));
        }
    }
    assert!(KINDS_SOURCE.mark == Mark::Published && faults.is_empty(), "{faults}");
    let known = Fruit::ALL.iter().filter(|fruit| fruit.data().ndb.is_some()).count();
    assert_eq!(rows.len(), known);
}

/// Furthest that a pH may lie from the reference.
const PH_LIMIT: f64 = 0.02;

/// Asserts that every pH lies near; prints how far the worst lies when tables are wanted.
fn judge(what: &str, found: &[(f64, String)]) {
    let worst = found.iter().fold(0.0_f64, |worst, (apart, _)| worst.max(apart.abs()));
    let mean = found.iter().map(|(apart, _)| apart.abs()).sum::<f64>() / found.len() as f64;
    if std::env::var_os("TARTWRIGHT_TABLE").is_some() {
        println!("{what}: {} compared, mean {mean:.5}, worst {worst:.5} of {PH_LIMIT} allowed", found.len());
    }
    assert!(found.len() >= 100, "only {} compared", found.len());
    for (apart, said) in found {
        // NaN is no number below the limit.
        assert!(apart.abs() <= PH_LIMIT, "{what}: {apart:+.4} {said}");
    }
}

#[test]
fn mixed_acids_have_the_ph_of_the_equilibrium() {
    let kinds =
        [AcidKind::Lactic, AcidKind::Phosphoric, AcidKind::Citric, AcidKind::Malic, AcidKind::Tartaric];
    let mut found = Vec::new();
    for row in lines("fruit_acids/blends.csv") {
        let mmol = |place: usize| MolarConcentration::mmol_per_l(number(&row[place]));
        let acids: Vec<_> = kinds.iter().enumerate().map(|(place, kind)| (*kind, mmol(place))).collect();
        let base = ChargeConcentration::meq_per_l(number(&row[5]));
        let ph = blend_ph(&acids, base, mmol(6));
        found.push((ph.value() - number(&row[7]), row.join(" ")));
    }
    judge("pH of mixed acids", &found);
}

/// Beer whose only buffer is its lactate, and juice of one acid.
#[test]
fn beer_and_juice_have_the_ph_of_the_equilibrium() {
    let empty =
        FruitLoad::new(Mass::ZERO, FruitForm::Juice, &Fruit::Raspberry.composition()).expect("a load");
    let mut found = Vec::new();
    for row in lines("fruit_acids/beers.csv") {
        let at = |place: usize| number(&row[place]);
        let main_acid = match row[3].as_str() {
            "Cit" => FruitAcid::Citric,
            "Mal" => FruitAcid::Malic,
            _ => FruitAcid::Tartaric,
        };
        let beer = SourBeer {
            beer: Wort::of_water(Volume::litres(1.0), ROOM),
            ph: Estimate::exact(Ph::new(at(0))),
            buffering: Estimate::exact(Buffering::meq_per_l_ph(1e-9)),
            lactic: Mass::grams(at(1)),
            acidity: Estimate::exact(TitratableAcidity::ZERO),
        };
        let millimoles = at(6) * at(2) / f64::from(main_acid.protons());
        let own = Ph::new(at(4));
        let mut juice = FruitLoad {
            acid: Mass::grams(1e-3 * millimoles * main_acid.kind().molar_mass().as_g_per_mol()),
            main_acid,
            ph: (own, own, own),
            as_puree: Mass::kilograms(at(2)),
            ..empty
        };
        // Water up to the volume.
        for _ in 0..3 {
            let missing = at(2) - juice.liquid_volume().as_litres();
            juice.water += Mass::kilograms(0.9982 * missing);
        }
        let ph = fruited_ph(&beer, &[juice]).expect("a pH").value;
        found.push((ph.value() - at(7), row.join(" ")));
    }
    judge("pH of beer and juice", &found);
}
