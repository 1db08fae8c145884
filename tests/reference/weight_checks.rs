//! Every salt and every acid stands in the table made from atomic weights, `molar_masses.csv`.

use crate::folder;
use calc::data::acids::AcidKind;
use calc::data::salts::Salt;

#[test]
fn every_salt_and_acid_is_weighed() {
    let text = std::fs::read_to_string(folder().join("molar_masses.csv")).expect("the table");
    let salts = Salt::ALL.iter().map(|salt| ("salt_molar_mass", format!("{salt:?}")));
    let acids = AcidKind::ALL.iter().map(|acid| ("acid_molar_mass", format!("{acid:?}")));
    for (check, name) in salts.chain(acids) {
        let row = text.lines().any(|line| {
            let mut cells = line.split(',');
            // `CalciumChloride` and `calcium_chloride` are one name.
            cells.next() == Some(check)
                && cells.next().is_some_and(|word| word.replace('_', "") == name.to_lowercase())
        });
        assert!(row, "no row of {check} for {name}");
    }
}
