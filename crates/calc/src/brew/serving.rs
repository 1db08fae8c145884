//! What people ask of a glass: alcohol, energy, allergens.

use super::fruit::SULFITE_DECLARED;
use crate::data::Source;
use crate::data::malts::MaltClass;
use crate::quantity::{AlcoholByVolume, Concentration, Energy, Estimate, Mass, Volume};

/// What of the beer feeds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contents {
    /// Alcohol.
    pub alcohol: Estimate<AlcoholByVolume>,
    /// Real extract without the acid: carbohydrate and protein.
    pub extract: Estimate<Concentration>,
    /// Organic acids, mostly lactic.
    pub acid: Estimate<Concentration>,
}

/// A glass, bottle or can of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Serving {
    /// Alcohol in it.
    pub alcohol: Estimate<Mass>,
    /// Energy in it.
    pub energy: Estimate<Energy>,
}

/// Density of ethanol at 20 °C, g/L (OIML R 22).
const ETHANOL: f64 = 789.24;
/// kJ in a gram of alcohol, of carbohydrate or protein, of organic acid.
const FACTORS: [f64; 3] = [29.0, 17.0, 13.0];
/// Source of the energy factors. They are the same factors as 7, 4 and 3 kcal/g, rounded on their own:
/// converted by 4.184 the sums differ by up to 4 %.
pub const ENERGY_SOURCE: Source = Source::published(
    "Regulation (EU) 1169/2011, annex XIV: alcohol 29, carbohydrate and protein 17, organic acids 13 kJ/g",
);

/// Alcohol and energy of a serving at 20 °C. All extract counts as carbohydrate: its ash, 0.1 to 0.2 g in
/// 100 g, makes that a little too much. Nothing below zero is counted.
pub fn serving(volume: Volume, beer: &Contents) -> Serving {
    let litres = volume.as_litres().max(0.0);
    let [ethanol, carbohydrate, acid] = FACTORS;
    let end = |alcohol: AlcoholByVolume, extract: Concentration, acids: Concentration| {
        let grams = alcohol.as_of_one().max(0.0) * ETHANOL * litres;
        let rest = carbohydrate * extract.as_g_per_l().max(0.0) + acid * acids.as_g_per_l().max(0.0);
        (Mass::grams(grams), Energy::kilojoules(ethanol * grams + rest * litres))
    };
    let (a, e, acids) = (beer.alcohol, beer.extract, beer.acid);
    let (mass, energy) = end(a.value, e.value, acids.value);
    // More alcohol comes of less extract: the ends of the two are never met together.
    let (least, strong) = end(a.low, e.high, acids.low);
    let (most, weak) = end(a.high, e.low, acids.high);
    Serving { alcohol: Estimate::band(mass, least, most), energy: Estimate::band(energy, strong, weak) }
}

/// Something that has to be named on a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Allergen {
    /// Barley.
    Barley,
    /// Wheat, spelt too.
    Wheat,
    /// Rye.
    Rye,
    /// Oats.
    Oats,
    /// Milk, as lactose.
    Milk,
    /// Sulfite, from 10 mg/L as SO₂.
    Sulfite,
}

/// Source of the allergens.
pub const ALLERGEN_SOURCE: Source = Source::from_memory(
    "Regulation (EU) 1169/2011, annex II: cereals with gluten (wheat, spelt, rye, barley, oats), milk with lactose, sulfur dioxide above 10 mg/L; 21 CFR 101.100: sulfite from 10 mg/kg",
);

impl Allergen {
    /// Every one, in the order of the label.
    pub const ALL: [Self; 6] = [Self::Barley, Self::Wheat, Self::Rye, Self::Oats, Self::Milk, Self::Sulfite];

    /// Its name on a label.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Barley => "barley",
            Self::Wheat => "wheat",
            Self::Rye => "rye",
            Self::Oats => "oats",
            Self::Milk => "milk",
            Self::Sulfite => "sulfites",
        }
    }
}

/// Allergens as a set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Allergens(u8);

impl Allergens {
    /// True when this one is among them.
    pub const fn has(self, allergen: Allergen) -> bool {
        self.0 & (1 << allergen as u8) != 0
    }
    /// The set with this one.
    #[must_use]
    pub const fn with(self, allergen: Allergen) -> Self {
        Self(self.0 | 1 << allergen as u8)
    }
    /// Each of them, in the order of the label.
    pub fn iter(self) -> impl Iterator<Item = Allergen> {
        Allergen::ALL.into_iter().filter(move |allergen| self.has(*allergen))
    }
}

/// The cereal with gluten that a class of malt is made of. Dextrin, caramel and roasted malts are taken
/// for barley: wheat is sold as such too, so the bag has the last word.
const fn cereal(malt: MaltClass) -> Option<Allergen> {
    use MaltClass as M;
    match malt {
        M::FlakedMaize | M::RiceHulls => None,
        M::Wheat | M::Spelt | M::FlakedWheat => Some(Allergen::Wheat),
        M::Rye => Some(Allergen::Rye),
        M::MaltedOats | M::FlakedOats => Some(Allergen::Oats),
        _ => Some(Allergen::Barley),
    }
}

/// Allergens of a grist with what else is in the beer. Sulfite is named when the upper end of its band
/// reaches 10 mg/L as SO₂.
pub fn allergens(
    malts: impl IntoIterator<Item = MaltClass>,
    sulfite: Estimate<Concentration>,
    lactose: bool,
) -> Allergens {
    let mut found = Allergens::default();
    for cereal in malts.into_iter().filter_map(cereal) {
        found = found.with(cereal);
    }
    if lactose {
        found = found.with(Allergen::Milk);
    }
    if sulfite.high >= SULFITE_DECLARED {
        found = found.with(Allergen::Sulfite);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn contents(alcohol: [f64; 3], extract: [f64; 3]) -> Contents {
        let [a, low, high] = alcohol.map(AlcoholByVolume::of_one);
        let [e, less, more] = extract.map(Concentration::g_per_l);
        Contents {
            alcohol: Estimate { value: a, low, high },
            extract: Estimate { value: e, low: less, high: more },
            acid: Estimate::exact(Concentration::g_per_l(6.0)),
        }
    }

    proptest! {
        #[test]
        fn more_of_anything_feeds_more(a in 0.0..0.12f64, e in 0.0..80.0f64, litres in 0.01..1.0f64, more in 0.001..0.02f64) {
            let of = |a: f64, e: f64, l: f64| serving(Volume::litres(l), &contents([a; 3], [e; 3]));
            let base = of(a, e, litres);
            for other in [of(a + more, e, litres), of(a, e + more, litres), of(a, e, litres + more)] {
                prop_assert!(other.energy.value > base.energy.value);
                prop_assert!(other.alcohol.value >= base.alcohol.value);
            }
            let band = serving(Volume::litres(litres), &contents([a, a * 0.9, a * 1.1], [e, e * 0.8, e * 1.2]));
            prop_assert!(band.energy.is_sound() && band.alcohol.is_sound());
        }
    }

    #[test]
    fn a_fermented_gram_feeds_less_than_it_did() {
        // 2.0665 g of extract make 1 g of alcohol: 35.1 kJ against 29.
        let wort = serving(Volume::litres(1.0), &contents([0.0; 3], [120.0; 3]));
        let beer = serving(Volume::litres(1.0), &contents([0.0487; 3], [46.7; 3]));
        assert!(beer.energy.value < wort.energy.value);
    }

    #[test]
    fn allergens_of_a_gose() {
        let none = Estimate::exact(Concentration::ZERO);
        let grist = [MaltClass::Pilsner, MaltClass::Wheat, MaltClass::RiceHulls];
        let names = |set: Allergens| set.iter().collect::<Vec<_>>();
        assert_eq!(names(allergens(grist, none, false)), [Allergen::Barley, Allergen::Wheat]);
        let doubt = Estimate::band(
            Concentration::mg_per_l(4.0),
            Concentration::mg_per_l(1.0),
            Concentration::mg_per_l(12.0),
        );
        let all = allergens([MaltClass::FlakedOats, MaltClass::Rye], doubt, true);
        assert_eq!(names(all), [Allergen::Rye, Allergen::Oats, Allergen::Milk, Allergen::Sulfite]);
        assert_eq!(names(allergens([MaltClass::FlakedMaize], none, false)), []);
    }

    #[test]
    fn every_class_of_malt_is_sorted() {
        let without: Vec<_> = MaltClass::ALL.iter().filter(|malt| cereal(**malt).is_none()).collect();
        assert_eq!(without, [&MaltClass::FlakedMaize, &MaltClass::RiceHulls]);
    }
}
