//! What fruit is made of. A lot of fruit differs from these figures by a fifth
//! and more; a refractometer and a pH meter on the fruit at hand are better.

use super::Source;
use super::acids::AcidKind;
use crate::quantity::{Fraction, Ph, Plato};
use serde::{Deserialize, Serialize};

const USDA: Source = Source::published("USDA National Nutrient Database for Standard Reference, file ABBREV");
const BELITZ: Source = Source::published("Belitz, Grosch & Schieberle, Food Chemistry, table 18.3");
const FDA: Source = Source::published("US FDA/CFSAN 2003, Approximate pH of Foods and Food Products");
const CFR: Source = Source::published("21 CFR 101.30(h), Brix of single-strength juice");
const SEW: Source = Source::published("Sew et al. 2013, Acta Horticulturae 1012:149");
const MEMORY: Source = Source::from_memory("Usual figure, no source at hand");
const ESTIMATE: Source = Source::our_estimate("Our estimate");
const MAIN_ACID: Source = Source::from_memory("The acid that makes up most of the fruit's acidity");
/// A figure with its source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quoted<Q> {
    /// The figure.
    pub value: Q,
    /// Where it stands.
    pub source: Source,
}

const fn quoted<Q: Copy>(value: Q, source: Source) -> Quoted<Q> {
    Quoted { value, source }
}

/// The acid that a fruit's acidity is counted as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FruitAcid {
    /// Citric acid.
    Citric,
    /// Malic acid.
    Malic,
    /// Tartaric acid.
    Tartaric,
}

impl FruitAcid {
    /// Every acid.
    pub const ALL: &[Self] = &[Self::Citric, Self::Malic, Self::Tartaric];

    /// The acid itself, with its molar mass and constants.
    pub const fn kind(self) -> AcidKind {
        match self {
            Self::Citric => AcidKind::Citric,
            Self::Malic => AcidKind::Malic,
            Self::Tartaric => AcidKind::Tartaric,
        }
    }

    /// Protons that titration to pH 8.2 counts.
    pub const fn protons(self) -> u8 {
        match self {
            Self::Citric => 3,
            Self::Malic | Self::Tartaric => 2,
        }
    }
}

/// What the tables say of a fruit, per edible portion unless noted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FruitData {
    /// Name.
    pub name: &'static str,
    /// Number in the nutrient database, where it is listed.
    pub ndb: Option<&'static str>,
    /// Water.
    pub water: Quoted<Fraction>,
    /// Total sugars.
    pub sugars: Quoted<Fraction>,
    /// Stones, peel and stems, as a share of the fruit as bought.
    pub refuse: Quoted<Fraction>,
    /// Titratable acid, counted as the main acid.
    pub acid: Quoted<Fraction>,
    /// The acid it is counted as.
    pub main_acid: Quoted<FruitAcid>,
    /// Pectin.
    pub pectin: Option<Quoted<Fraction>>,
    /// Lowest pH quoted.
    pub ph_low: Ph,
    /// Highest pH quoted.
    pub ph_high: Ph,
    /// Source of the two.
    pub ph_source: Source,
    /// Brix of single-strength juice; lemon and lime are rated by acid instead and have none.
    pub juice_brix: Option<Quoted<Plato>>,
}

/// What a lot of fruit is made of: the table's figures, or a person's own in
/// their place. Shares are of the edible portion, except the refuse.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FruitComposition {
    /// Water.
    pub water: Fraction,
    /// Sugars.
    pub sugars: Fraction,
    /// Other dissolved solids: salts, sorbitol, soluble fibre.
    pub other: Fraction,
    /// Titratable acid, as the main acid.
    pub acid: Fraction,
    /// The acid it is counted as.
    pub main_acid: FruitAcid,
    /// Solids that don't dissolve.
    pub insoluble: Fraction,
    /// Pectin, part of the solids already counted; zero when not known.
    pub pectin: Fraction,
    /// Stones, peel and stems, as a share of the fruit as bought.
    pub refuse: Fraction,
    /// pH: lowest, likely and highest.
    pub ph: (Ph, Ph, Ph),
}

impl FruitComposition {
    /// Dissolved solids of the juice: the refractometer's Brix.
    pub fn brix(&self) -> Plato {
        let solids = self.sugars + self.other + self.acid;
        let juice = solids + self.water;
        Plato::degrees(if juice > Fraction::ZERO { 100.0 * (solids / juice) } else { 0.0 })
    }

    /// With the Brix read from this lot's juice, 0..=80 (the nearest end holds
    /// outside): the dissolved solids grow or shrink together, the pulp stays.
    #[must_use]
    pub fn with_brix(self, brix: Plato) -> Self {
        let old = self.brix().as_degrees();
        if old <= 0.0 {
            return self;
        }
        let new = brix.as_degrees().clamp(0.0, 80.0);
        let juice = self.insoluble.rest();
        let factor = new / old * (juice / (self.water + self.sugars + self.other + self.acid));
        Self {
            water: juice * (1.0 - new / 100.0),
            sugars: self.sugars * factor,
            other: self.other * factor,
            acid: self.acid * factor,
            ..self
        }
    }

    /// With the pH read from this lot, 1.8..=7.5 (the nearest end holds outside).
    #[must_use]
    pub fn with_ph(self, ph: Ph) -> Self {
        let ph = ph.max(Ph::new(1.8)).min(Ph::new(7.5));
        Self { ph: (Ph::new(ph.value() - 0.05), ph, Ph::new(ph.value() + 0.05)), ..self }
    }

    /// With this lot's titratable acid, 0..=0.3 of the edible portion as the acid named.
    /// What it gains or loses is water.
    #[must_use]
    pub fn with_acid(self, acid: Fraction, counted_as: FruitAcid) -> Self {
        let acid = acid.max(Fraction::ZERO).min(Fraction::of_one(0.3)).min(self.acid + self.water);
        Self { water: self.water + self.acid - acid, acid, main_acid: counted_as, ..self }
    }
}

/// Declares the fruit and their rows. Figures in percent; a letter after a
/// figure names its source: u nutrient database, b textbook table, m memory,
/// e estimate, s single paper, f list of pH.
macro_rules! fruits {
    ($( $(#[$doc:meta])* $name:ident = $label:literal $ndb:expr,
        water $water:literal $ws:ident, sugars $sugars:literal $ss:ident, refuse $refuse:literal $rs:ident,
        acid $acid:literal $acs:ident $main:ident, pectin $pectin:expr,
        ph $low:literal..$high:literal $ps:ident, brix $brix:expr; )+) => {
        /// Fruit for beer.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Fruit { $( $(#[$doc])* $name, )+ }

        impl Fruit {
            /// Every fruit.
            pub const ALL: &[Self] = &[$(Self::$name),+];

            /// What the tables say.
            pub const fn data(self) -> &'static FruitData {
                match self { $( Self::$name => {
                    const DATA: &FruitData = &FruitData {
                        name: $label,
                        ndb: $ndb,
                        water: quoted(Fraction::percent($water), $ws),
                        sugars: quoted(Fraction::percent($sugars), $ss),
                        refuse: quoted(Fraction::percent($refuse), $rs),
                        acid: quoted(Fraction::percent($acid), $acs),
                        main_acid: quoted(FruitAcid::$main, MAIN_ACID),
                        pectin: $pectin,
                        ph_low: Ph::new($low),
                        ph_high: Ph::new($high),
                        ph_source: $ps,
                        juice_brix: $brix,
                    };
                    DATA
                } )+ }
            }
        }
    };
}

const fn pectin(percent: f64) -> Option<Quoted<Fraction>> {
    Some(quoted(Fraction::percent(percent), BELITZ))
}
const fn brix(degrees: f64) -> Option<Quoted<Plato>> {
    Some(quoted(Plato::degrees(degrees), CFR))
}
const MANGO_PH: Source =
    Source::from_memory("3.4 to 4.8; the FDA list prints ripe and green the wrong way round, it seems");
const BELITZ_SUGAR: Source = BELITZ;

fruits! {
    /// Raspberry.
    Raspberry = "raspberry" Some("09302"), water 85.75 USDA, sugars 4.42 USDA, refuse 4.0 USDA,
        acid 2.1 BELITZ Citric, pectin pectin(0.4), ph 3.22..3.95 MEMORY, brix brix(9.2);
    /// Blackberry.
    Blackberry = "blackberry" Some("09042"), water 88.15 USDA, sugars 4.88 USDA, refuse 4.0 USDA,
        acid 1.7 BELITZ Citric, pectin pectin(0.5), ph 3.85..4.50 FDA, brix brix(10.0);
    /// Blueberry.
    Blueberry = "blueberry" Some("09050"), water 84.21 USDA, sugars 9.96 USDA, refuse 5.0 USDA,
        acid 0.6 MEMORY Citric, pectin None, ph 3.12..3.33 FDA, brix brix(10.0);
    /// Sour cherry; the pH is of fruit packed in water.
    SourCherry = "sour cherry" Some("09063"), water 86.13 USDA, sugars 8.49 USDA, refuse 10.0 USDA,
        acid 1.8 BELITZ Malic, pectin pectin(0.3), ph 3.25..3.82 FDA, brix brix(14.0);
    /// Sweet cherry.
    SweetCherry = "sweet cherry" Some("09070"), water 82.25 USDA, sugars 12.82 USDA, refuse 8.0 USDA,
        acid 1.0 BELITZ Malic, pectin pectin(0.3), ph 4.01..4.54 FDA, brix brix(20.0);
    /// Peach.
    Peach = "peach" Some("09236"), water 88.87 USDA, sugars 8.39 USDA, refuse 4.0 USDA,
        acid 0.6 BELITZ Malic, pectin pectin(0.5), ph 3.30..4.05 FDA, brix brix(10.5);
    /// Apricot.
    Apricot = "apricot" Some("09021"), water 86.35 USDA, sugars 9.24 USDA, refuse 7.0 USDA,
        acid 1.4 BELITZ Malic, pectin pectin(1.0), ph 3.30..4.80 FDA, brix brix(11.7);
    /// Mango.
    Mango = "mango" Some("09176"), water 83.46 USDA, sugars 13.66 USDA, refuse 29.0 USDA,
        acid 0.3 BELITZ Citric, pectin pectin(0.5), ph 3.4..4.8 MANGO_PH, brix brix(13.0);
    /// Passion fruit, the pulp with its seeds.
    PassionFruit = "passion fruit" Some("09231"), water 72.93 USDA, sugars 11.20 USDA, refuse 48.0 USDA,
        acid 3.5 MEMORY Citric, pectin None, ph 2.8..3.3 MEMORY, brix brix(14.0);
    /// Passion fruit juice, yellow.
    PassionFruitJuice = "passion fruit juice" Some("09233"), water 84.21 USDA, sugars 14.25 USDA, refuse 0.0 USDA,
        acid 3.5 MEMORY Citric, pectin None, ph 2.8..3.3 MEMORY, brix brix(14.0);
    /// Pineapple.
    Pineapple = "pineapple" Some("09266"), water 86.00 USDA, sugars 9.85 USDA, refuse 49.0 USDA,
        acid 0.7 BELITZ Citric, pectin None, ph 3.2..4.0 MEMORY, brix brix(12.8);
    /// Guava; the pH is of canned fruit.
    Guava = "guava" Some("09139"), water 80.80 USDA, sugars 8.92 USDA, refuse 22.0 USDA,
        acid 0.9 BELITZ Citric, pectin pectin(0.7), ph 3.4..4.1 MEMORY, brix brix(7.7);
    /// Strawberry.
    Strawberry = "strawberry" Some("09316"), water 90.95 USDA, sugars 4.89 USDA, refuse 6.0 USDA,
        acid 1.1 BELITZ Citric, pectin pectin(0.5), ph 3.0..3.9 FDA, brix brix(8.0);
    /// Blackcurrant.
    Blackcurrant = "blackcurrant" Some("09083"), water 81.96 USDA, sugars 6.3 BELITZ_SUGAR, refuse 2.0 USDA,
        acid 2.6 BELITZ Citric, pectin pectin(1.7), ph 2.9..3.3 MEMORY, brix brix(11.0);
    /// Cranberry; the pH is of the juice.
    Cranberry = "cranberry" Some("09078"), water 87.13 USDA, sugars 4.04 USDA, refuse 2.0 USDA,
        acid 2.4 MEMORY Citric, pectin None, ph 2.3..2.5 MEMORY, brix brix(7.5);
    /// Plum.
    Plum = "plum" Some("09279"), water 87.23 USDA, sugars 9.92 USDA, refuse 6.0 USDA,
        acid 1.5 BELITZ Malic, pectin pectin(0.9), ph 2.8..4.3 MEMORY, brix brix(14.3);
    /// Papaya.
    Papaya = "papaya" Some("09226"), water 88.06 USDA, sugars 7.82 USDA, refuse 38.0 USDA,
        acid 0.1 BELITZ Citric, pectin pectin(0.6), ph 5.2..6.0 MEMORY, brix brix(11.5);
    /// Banana.
    Banana = "banana" Some("09040"), water 74.91 USDA, sugars 12.23 USDA, refuse 36.0 USDA,
        acid 0.6 BELITZ Malic, pectin pectin(0.9), ph 4.5..5.2 FDA, brix brix(22.0);
    /// Orange.
    Orange = "orange" Some("09200"), water 86.75 USDA, sugars 9.35 USDA, refuse 27.0 USDA,
        acid 1.1 BELITZ Citric, pectin None, ph 3.69..4.34 FDA, brix brix(11.8);
    /// Lemon.
    Lemon = "lemon" Some("09150"), water 88.98 USDA, sugars 2.50 USDA, refuse 47.0 USDA,
        acid 4.9 BELITZ Citric, pectin None, ph 2.0..2.6 FDA, brix None;
    /// Lime.
    Lime = "lime" Some("09159"), water 88.26 USDA, sugars 1.69 USDA, refuse 16.0 USDA,
        acid 6.0 MEMORY Citric, pectin None, ph 2.0..2.8 FDA, brix None;
    /// Grapefruit.
    Grapefruit = "grapefruit" Some("09111"), water 90.89 USDA, sugars 6.98 USDA, refuse 50.0 USDA,
        acid 1.5 BELITZ Citric, pectin None, ph 3.0..3.75 FDA, brix brix(10.0);
    /// Green kiwi fruit.
    Kiwi = "kiwi" Some("09148"), water 83.07 USDA, sugars 8.99 USDA, refuse 24.0 USDA,
        acid 1.2 MEMORY Citric, pectin None, ph 3.1..4.0 MEMORY, brix brix(15.4);
    /// Pomegranate.
    Pomegranate = "pomegranate" Some("09286"), water 77.93 USDA, sugars 13.67 USDA, refuse 44.0 USDA,
        acid 1.5 MEMORY Citric, pectin None, ph 2.93..3.20 FDA, brix brix(16.0);
    /// Dragon fruit; water is of purée, refuse our estimate.
    DragonFruit = "dragon fruit" None, water 82.0 ESTIMATE, sugars 8.0 ESTIMATE, refuse 35.0 ESTIMATE,
        acid 0.30 SEW Malic, pectin None, ph 3.86..4.21 SEW, brix Some(quoted(Plato::degrees(11.6), SEW));
    /// Coconut water.
    CoconutWater = "coconut water" Some("12119"), water 94.99 USDA, sugars 2.61 USDA, refuse 0.0 USDA,
        acid 0.05 MEMORY Malic, pectin None, ph 5.5..7.8 MEMORY, brix None;
    /// Rhubarb; oxalic acid comes on top.
    Rhubarb = "rhubarb" Some("09307"), water 93.61 USDA, sugars 1.10 USDA, refuse 25.0 USDA,
        acid 1.3 MEMORY Malic, pectin None, ph 3.1..3.4 FDA, brix brix(5.7);
}

/// Pulp that a fruit holds at the least, where water and Brix of two tables
/// leave none. Our estimate, from the fibre of the most watery fruits.
pub const LEAST_PULP: Fraction = Fraction::of_one(0.015);

impl Fruit {
    /// True for rows that are of juice already, without pulp.
    pub const fn is_juice(self) -> bool {
        matches!(self, Self::PassionFruitJuice | Self::CoconutWater)
    }

    /// The composition the tables give. What is dissolved follows from the
    /// water and the Brix of single-strength juice, and is never less than
    /// sugars and acid; the rest is pulp, [`LEAST_PULP`] if the sugars leave that much. Where there
    /// is no Brix, half of what is neither water, sugar nor acid counts as dissolved.
    pub fn composition(self) -> FruitComposition {
        let data = self.data();
        let (water, acid) = (data.water.value, data.acid.value);
        let solids = water.rest();
        let least_pulp = if self.is_juice() { Fraction::ZERO } else { LEAST_PULP };
        // Sugars by difference hold the acid too; where the parts exceed the solids, they give way.
        let sugars = data.sugars.value.min(solids - acid);
        let known = sugars + acid;
        let dissolved = match data.juice_brix {
            _ if self.is_juice() => solids,
            Some(brix) => {
                let b = brix.value.as_degrees() / 100.0;
                water * (b / (1.0 - b))
            }
            None => (known + solids) / 2.0,
        };
        let dissolved = dissolved.min(solids - least_pulp).max(known);
        let other = dissolved - known;
        let ph = Ph::new((data.ph_low.value() + data.ph_high.value()) / 2.0);
        FruitComposition {
            water,
            sugars,
            other,
            acid,
            main_acid: data.main_acid.value,
            insoluble: solids - dissolved,
            pectin: data.pectin.map_or(Fraction::ZERO, |p| p.value),
            refuse: data.refuse.value,
            ph: (data.ph_low, ph, data.ph_high),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn whole(c: &FruitComposition) -> f64 {
        (c.water + c.sugars + c.other + c.acid + c.insoluble).as_of_one()
    }

    #[test]
    fn every_row_adds_up_and_stays_in_range() {
        for fruit in Fruit::ALL {
            let c = fruit.composition();
            assert!((whole(&c) - 1.0).abs() < 1e-12, "{fruit:?}");
            for share in [c.water, c.sugars, c.other, c.acid, c.insoluble, c.pectin, c.refuse] {
                assert!((0.0..1.0).contains(&share.as_of_one()), "{fruit:?} {c:?}");
            }
            assert!(c.ph.0 <= c.ph.1 && c.ph.1 <= c.ph.2);
            assert!(c.insoluble.as_percent() < 20.0, "{fruit:?} {c:?}");
        }
    }

    proptest! {
        #[test]
        fn own_readings_keep_the_whole(place in 0..Fruit::ALL.len(), b in 1.0..70.0f64, acid in 0.0..0.08f64) {
            let c = Fruit::ALL[place].composition().with_acid(Fraction::of_one(acid), FruitAcid::Malic);
            prop_assert!((whole(&c) - 1.0).abs() < 1e-12);
            let c = c.with_brix(Plato::degrees(b));
            prop_assert!((whole(&c) - 1.0).abs() < 1e-9);
            prop_assert!((c.brix().as_degrees() - b).abs() < 1e-9);
        }
    }
}
