//! What fruit is made of. A lot of fruit differs from these figures by a fifth
//! and more; a refractometer and a pH meter on the fruit at hand are better.

use super::Source;
use super::acids::AcidKind;
use crate::quantity::{Fraction, Ph, Plato};

const USDA: Source = Source::published("USDA National Nutrient Database for Standard Reference, release 28");
/// Source of the sugars by kind and of the minerals in [`FruitData`].
pub const KINDS_SOURCE: Source = USDA;
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
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
    /// Sugars by kind, where the nutrient database has them. It lists no sorbitol for fruit: that is
    /// no sugar there, and so none of what ferments. Source: [`KINDS_SOURCE`].
    pub kinds: Option<SugarKinds>,
    /// Minerals, where the nutrient database has the fruit. Source: [`KINDS_SOURCE`].
    pub minerals: Option<Minerals>,
}

/// Sugars by kind, as shares of the edible portion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SugarKinds {
    /// Sucrose.
    pub sucrose: Fraction,
    /// Glucose.
    pub glucose: Fraction,
    /// Fructose.
    pub fructose: Fraction,
}

/// Minerals that water has too, as shares of the edible portion.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Minerals {
    /// Calcium.
    pub calcium: Fraction,
    /// Magnesium.
    pub magnesium: Fraction,
    /// Sodium.
    pub sodium: Fraction,
    /// Potassium.
    pub potassium: Fraction,
}

/// What a lot of fruit is made of: the table's figures, or a person's own in
/// their place. Shares are of the edible portion, except the refuse.
#[derive(Clone, Copy, Debug, PartialEq)]
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
    /// Sucrose, part of the sugars already counted; zero when not known.
    pub sucrose: Fraction,
    /// Minerals, part of the solids already counted; zero when not known.
    pub minerals: Minerals,
    /// Relative half-width of the 80 % band of the sugars. Source: [`LOT_SOURCE`].
    pub sugar_band: Fraction,
    /// Relative half-width of the 80 % band of the acid. Source: [`LOT_SOURCE`].
    pub acid_band: Fraction,
}

/// Relative half-width of the 80 % band of a table fruit's sugar.
const SUGAR_BAND: Fraction = Fraction::of_one(0.20);
/// Relative half-width of the 80 % band of a table fruit's acid.
const ACID_BAND: Fraction = Fraction::of_one(0.25);
/// Half-width of either once it is read from the lot at hand.
const READ_BAND: Fraction = Fraction::of_one(0.10);
/// Source of the bands.
pub const LOT_SOURCE: Source =
    Source::our_estimate("Lots differ by variety, ripeness and year: sugar 20 %, acid 25 %; 10 % once read");

/// Share of sugar in what is dissolved and no acid, of a fruit that no table has.
const OWN_SUGAR: f64 = 0.85;
const OWN_SUGAR_BAND: Fraction = Fraction::of_one(0.25);
/// Share of acid in what is dissolved, where nobody has titrated.
const OWN_ACID: f64 = 0.13;
const OWN_ACID_BAND: Fraction = Fraction::of_one(1.0);
/// Pulp in a purée of it.
const OWN_PULP: f64 = 0.02;
/// Source of what [`FruitComposition::own`] takes for usual.
pub const OWN_SOURCE: Source = Source::derived(
    "Middle and spread of the fruit in the table: 85 % of the solids that are no acid are sugar, 13 % of all are acid, 2 % of the fruit is pulp",
);

impl FruitComposition {
    /// A fruit that no table has, by what is read at home or stands on the pack: the Brix of its
    /// juice or purée, 1..=80, its pH, 1.8..=7.5, and its titratable acid, 0..=0.3 of the weight;
    /// outside, the nearest end holds. Sugar, pulp and, without a titration, acid are those of the
    /// usual fruit, with wide bands; without stones. Source: [`OWN_SOURCE`].
    pub fn own(brix: Plato, ph: Ph, acid: Option<(Fraction, FruitAcid)>) -> Self {
        let juice = 1.0 - OWN_PULP;
        let solids = juice * (brix.as_degrees() / 100.0).clamp(0.01, 0.8);
        let (acid, main_acid, acid_band) = match acid {
            Some((share, kind)) => (share.as_of_one().clamp(0.0, 0.3).min(solids), kind, READ_BAND),
            None => (OWN_ACID * solids, FruitAcid::Citric, OWN_ACID_BAND),
        };
        let sugars = OWN_SUGAR * (solids - acid);
        Self {
            water: Fraction::of_one(juice - solids),
            sugars: Fraction::of_one(sugars),
            other: Fraction::of_one(solids - acid - sugars),
            acid: Fraction::of_one(acid),
            main_acid,
            insoluble: Fraction::of_one(OWN_PULP),
            pectin: Fraction::ZERO,
            refuse: Fraction::ZERO,
            ph: (ph, ph, ph),
            sucrose: Fraction::ZERO,
            minerals: Minerals::default(),
            sugar_band: OWN_SUGAR_BAND,
            acid_band,
        }
        .with_ph(ph)
    }

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
            sucrose: self.sucrose * factor,
            minerals: Minerals {
                calcium: self.minerals.calcium * factor,
                magnesium: self.minerals.magnesium * factor,
                sodium: self.minerals.sodium * factor,
                potassium: self.minerals.potassium * factor,
            },
            sugar_band: self.sugar_band.min(READ_BAND),
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
        Self {
            water: self.water + self.acid - acid,
            acid,
            main_acid: counted_as,
            acid_band: READ_BAND,
            ..self
        }
    }
}

/// Declares the fruit and their rows. Figures in percent; a letter after a
/// figure names its source: u nutrient database, b textbook table, m memory,
/// e estimate, s single paper, f list of pH.
macro_rules! fruits {
    ($( $(#[$doc:meta])* $name:ident = $label:literal $ndb:expr,
        water $water:literal $ws:ident, sugars $sugars:literal $ss:ident, refuse $refuse:literal $rs:ident,
        acid $acid:literal $acs:ident $main:ident, pectin $pectin:expr,
        ph $low:literal..$high:literal $ps:ident, brix $brix:expr,
        kinds $kinds:expr, minerals $minerals:expr; )+) => {
        /// Fruit for beer.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
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
                        kinds: $kinds,
                        minerals: $minerals,
                    };
                    DATA
                } )+ }
            }

            /// Its name.
            pub const fn name(self) -> &'static str {
                match self { $( Self::$name => $label, )+ }
            }

            /// The figures without their sources: what a phone has to carry.
            const fn figures(self) -> &'static [f32; 14] {
                match self { $( Self::$name => const { &bare(Self::$name.data()) }, )+ }
            }
        }
    };
}

/// The figures of a row in the order that [`Fruit::composition`] reads them; nothing where there is none.
const fn bare(data: &FruitData) -> [f32; 14] {
    let pectin = match &data.pectin {
        Some(pectin) => pectin.value.as_of_one(),
        None => 0.0,
    };
    let brix = match &data.juice_brix {
        Some(brix) => brix.value.as_degrees(),
        None => 0.0,
    };
    let sucrose = match &data.kinds {
        Some(kinds) => kinds.sucrose.as_of_one(),
        None => 0.0,
    };
    let [calcium, magnesium, sodium, potassium] = match &data.minerals {
        Some(m) => {
            [m.calcium.as_of_one(), m.magnesium.as_of_one(), m.sodium.as_of_one(), m.potassium.as_of_one()]
        }
        None => [0.0; 4],
    };
    [
        data.water.value.as_of_one() as f32,
        data.sugars.value.as_of_one() as f32,
        data.refuse.value.as_of_one() as f32,
        data.acid.value.as_of_one() as f32,
        data.main_acid.value as u8 as f32,
        pectin as f32,
        data.ph_low.value() as f32,
        data.ph_high.value() as f32,
        brix as f32,
        sucrose as f32,
        calcium as f32,
        magnesium as f32,
        sodium as f32,
        potassium as f32,
    ]
}

const fn pectin(percent: f64) -> Option<Quoted<Fraction>> {
    Some(quoted(Fraction::percent(percent), BELITZ))
}
const fn brix(degrees: f64) -> Option<Quoted<Plato>> {
    Some(quoted(Plato::degrees(degrees), CFR))
}
const fn kinds(sucrose: f64, glucose: f64, fructose: f64) -> Option<SugarKinds> {
    Some(SugarKinds {
        sucrose: Fraction::percent(sucrose),
        glucose: Fraction::percent(glucose),
        fructose: Fraction::percent(fructose),
    })
}
/// From mg in 100 g.
const fn minerals(calcium: f64, magnesium: f64, sodium: f64, potassium: f64) -> Option<Minerals> {
    Some(Minerals {
        calcium: Fraction::of_one(calcium * 1e-5),
        magnesium: Fraction::of_one(magnesium * 1e-5),
        sodium: Fraction::of_one(sodium * 1e-5),
        potassium: Fraction::of_one(potassium * 1e-5),
    })
}
const MANGO_PH: Source =
    Source::from_memory("3.4 to 4.8; the FDA list prints ripe and green the wrong way round, it seems");
const BELITZ_SUGAR: Source = BELITZ;

fruits! {
    /// Raspberry.
    Raspberry = "raspberry" Some("09302"), water 85.75 USDA, sugars 4.42 USDA, refuse 4.0 USDA,
        acid 2.1 BELITZ Citric, pectin pectin(0.4), ph 3.22..3.95 MEMORY, brix brix(9.2),
        kinds kinds(0.20, 1.86, 2.35), minerals minerals(25.0, 22.0, 1.0, 151.0);
    /// Blackberry.
    Blackberry = "blackberry" Some("09042"), water 88.15 USDA, sugars 4.88 USDA, refuse 4.0 USDA,
        acid 1.7 BELITZ Citric, pectin pectin(0.5), ph 3.85..4.50 FDA, brix brix(10.0),
        kinds kinds(0.07, 2.31, 2.40), minerals minerals(29.0, 20.0, 1.0, 162.0);
    /// Blueberry.
    Blueberry = "blueberry" Some("09050"), water 84.21 USDA, sugars 9.96 USDA, refuse 5.0 USDA,
        acid 0.6 MEMORY Citric, pectin None, ph 3.12..3.33 FDA, brix brix(10.0),
        kinds kinds(0.11, 4.88, 4.97), minerals minerals(6.0, 6.0, 1.0, 77.0);
    /// Sour cherry; the pH is of fruit packed in water.
    SourCherry = "sour cherry" Some("09063"), water 86.13 USDA, sugars 8.49 USDA, refuse 10.0 USDA,
        acid 1.8 BELITZ Malic, pectin pectin(0.3), ph 3.25..3.82 FDA, brix brix(14.0),
        kinds kinds(0.80, 4.18, 3.51), minerals minerals(16.0, 9.0, 3.0, 173.0);
    /// Sweet cherry.
    SweetCherry = "sweet cherry" Some("09070"), water 82.25 USDA, sugars 12.82 USDA, refuse 8.0 USDA,
        acid 1.0 BELITZ Malic, pectin pectin(0.3), ph 4.01..4.54 FDA, brix brix(20.0),
        kinds kinds(0.15, 6.59, 5.37), minerals minerals(13.0, 11.0, 0.0, 222.0);
    /// Peach.
    Peach = "peach" Some("09236"), water 88.87 USDA, sugars 8.39 USDA, refuse 4.0 USDA,
        acid 0.6 BELITZ Malic, pectin pectin(0.5), ph 3.30..4.05 FDA, brix brix(10.5),
        kinds kinds(4.76, 1.95, 1.53), minerals minerals(6.0, 9.0, 0.0, 190.0);
    /// Apricot.
    Apricot = "apricot" Some("09021"), water 86.35 USDA, sugars 9.24 USDA, refuse 7.0 USDA,
        acid 1.4 BELITZ Malic, pectin pectin(1.0), ph 3.30..4.80 FDA, brix brix(11.7),
        kinds kinds(5.87, 2.37, 0.94), minerals minerals(13.0, 10.0, 1.0, 259.0);
    /// Mango.
    Mango = "mango" Some("09176"), water 83.46 USDA, sugars 13.66 USDA, refuse 29.0 USDA,
        acid 0.3 BELITZ Citric, pectin pectin(0.5), ph 3.4..4.8 MANGO_PH, brix brix(13.0),
        kinds kinds(6.97, 2.01, 4.68), minerals minerals(11.0, 10.0, 1.0, 168.0);
    /// Passion fruit, the pulp with its seeds.
    PassionFruit = "passion fruit" Some("09231"), water 72.93 USDA, sugars 11.20 USDA, refuse 48.0 USDA,
        acid 3.5 MEMORY Citric, pectin None, ph 2.8..3.3 MEMORY, brix brix(14.0),
        kinds None, minerals minerals(12.0, 29.0, 28.0, 348.0);
    /// Passion fruit juice, yellow.
    PassionFruitJuice = "passion fruit juice" Some("09233"), water 84.21 USDA, sugars 14.25 USDA, refuse 0.0 USDA,
        acid 3.5 MEMORY Citric, pectin None, ph 2.8..3.3 MEMORY, brix brix(14.0),
        kinds None, minerals minerals(4.0, 17.0, 6.0, 278.0);
    /// Pineapple.
    Pineapple = "pineapple" Some("09266"), water 86.00 USDA, sugars 9.85 USDA, refuse 49.0 USDA,
        acid 0.7 BELITZ Citric, pectin None, ph 3.2..4.0 MEMORY, brix brix(12.8),
        kinds kinds(5.99, 1.73, 2.12), minerals minerals(13.0, 12.0, 1.0, 109.0);
    /// Guava; the pH is of canned fruit.
    Guava = "guava" Some("09139"), water 80.80 USDA, sugars 8.92 USDA, refuse 22.0 USDA,
        acid 0.9 BELITZ Citric, pectin pectin(0.7), ph 3.4..4.1 MEMORY, brix brix(7.7),
        kinds None, minerals minerals(18.0, 22.0, 2.0, 417.0);
    /// Strawberry.
    Strawberry = "strawberry" Some("09316"), water 90.95 USDA, sugars 4.89 USDA, refuse 6.0 USDA,
        acid 1.1 BELITZ Citric, pectin pectin(0.5), ph 3.0..3.9 FDA, brix brix(8.0),
        kinds kinds(0.47, 1.99, 2.44), minerals minerals(16.0, 13.0, 1.0, 153.0);
    /// Blackcurrant.
    Blackcurrant = "blackcurrant" Some("09083"), water 81.96 USDA, sugars 6.3 BELITZ_SUGAR, refuse 2.0 USDA,
        acid 2.6 BELITZ Citric, pectin pectin(1.7), ph 2.9..3.3 MEMORY, brix brix(11.0),
        kinds None, minerals minerals(55.0, 24.0, 2.0, 322.0);
    /// Cranberry; the pH is of the juice.
    Cranberry = "cranberry" Some("09078"), water 87.32 USDA, sugars 4.27 USDA, refuse 2.0 USDA,
        acid 2.4 MEMORY Citric, pectin None, ph 2.3..2.5 MEMORY, brix brix(7.5),
        kinds kinds(0.16, 3.44, 0.67), minerals minerals(8.0, 6.0, 2.0, 80.0);
    /// Plum.
    Plum = "plum" Some("09279"), water 87.23 USDA, sugars 9.92 USDA, refuse 6.0 USDA,
        acid 1.5 BELITZ Malic, pectin pectin(0.9), ph 2.8..4.3 MEMORY, brix brix(14.3),
        kinds kinds(1.57, 5.07, 3.07), minerals minerals(6.0, 7.0, 0.0, 157.0);
    /// Papaya.
    Papaya = "papaya" Some("09226"), water 88.06 USDA, sugars 7.82 USDA, refuse 38.0 USDA,
        acid 0.1 BELITZ Citric, pectin pectin(0.6), ph 5.2..6.0 MEMORY, brix brix(11.5),
        kinds kinds(0.00, 4.09, 3.73), minerals minerals(20.0, 21.0, 8.0, 182.0);
    /// Banana.
    Banana = "banana" Some("09040"), water 74.91 USDA, sugars 12.23 USDA, refuse 36.0 USDA,
        acid 0.6 BELITZ Malic, pectin pectin(0.9), ph 4.5..5.2 FDA, brix brix(22.0),
        kinds kinds(2.39, 4.98, 4.85), minerals minerals(5.0, 27.0, 1.0, 358.0);
    /// Orange.
    Orange = "orange" Some("09200"), water 86.75 USDA, sugars 9.35 USDA, refuse 27.0 USDA,
        acid 1.1 BELITZ Citric, pectin None, ph 3.69..4.34 FDA, brix brix(11.8),
        kinds None, minerals minerals(40.0, 10.0, 0.0, 181.0);
    /// Lemon.
    Lemon = "lemon" Some("09150"), water 88.98 USDA, sugars 2.50 USDA, refuse 47.0 USDA,
        acid 4.9 BELITZ Citric, pectin None, ph 2.0..2.6 FDA, brix None,
        kinds None, minerals minerals(26.0, 8.0, 2.0, 138.0);
    /// Lime.
    Lime = "lime" Some("09159"), water 88.26 USDA, sugars 1.69 USDA, refuse 16.0 USDA,
        acid 6.0 MEMORY Citric, pectin None, ph 2.0..2.8 FDA, brix None,
        kinds None, minerals minerals(33.0, 6.0, 2.0, 102.0);
    /// Grapefruit.
    Grapefruit = "grapefruit" Some("09111"), water 90.89 USDA, sugars 6.98 USDA, refuse 50.0 USDA,
        acid 1.5 BELITZ Citric, pectin None, ph 3.0..3.75 FDA, brix brix(10.0),
        kinds None, minerals minerals(12.0, 8.0, 0.0, 139.0);
    /// Green kiwi fruit.
    Kiwi = "kiwi" Some("09148"), water 83.07 USDA, sugars 8.99 USDA, refuse 24.0 USDA,
        acid 1.2 MEMORY Citric, pectin None, ph 3.1..4.0 MEMORY, brix brix(15.4),
        kinds kinds(0.15, 4.11, 4.35), minerals minerals(34.0, 17.0, 3.0, 312.0);
    /// Pomegranate.
    Pomegranate = "pomegranate" Some("09286"), water 77.93 USDA, sugars 13.67 USDA, refuse 44.0 USDA,
        acid 1.5 MEMORY Citric, pectin None, ph 2.93..3.20 FDA, brix brix(16.0),
        kinds None, minerals minerals(10.0, 12.0, 3.0, 236.0);
    /// Dragon fruit; water is of purée, refuse our estimate.
    DragonFruit = "dragon fruit" None, water 82.0 ESTIMATE, sugars 8.0 ESTIMATE, refuse 35.0 ESTIMATE,
        acid 0.30 SEW Malic, pectin None, ph 3.86..4.21 SEW, brix Some(quoted(Plato::degrees(11.6), SEW)),
        kinds None, minerals None;
    /// Coconut water.
    CoconutWater = "coconut water" Some("12119"), water 94.99 USDA, sugars 2.61 USDA, refuse 0.0 USDA,
        acid 0.05 MEMORY Malic, pectin None, ph 5.5..7.8 MEMORY, brix None,
        kinds None, minerals minerals(24.0, 25.0, 105.0, 250.0);
    /// Rhubarb; oxalic acid comes on top.
    Rhubarb = "rhubarb" Some("09307"), water 93.61 USDA, sugars 1.10 USDA, refuse 25.0 USDA,
        acid 1.3 MEMORY Malic, pectin None, ph 3.1..3.4 FDA, brix brix(5.7),
        kinds None, minerals minerals(86.0, 12.0, 4.0, 288.0);
}

/// Pulp that a fruit holds at the least, where water and Brix of two tables
/// leave none. Our estimate, from the fibre of the most watery fruits.
pub const LEAST_PULP: Fraction = Fraction::of_one(0.015);

/// Source of [`Fruit::has_stones`].
pub const STONES_SOURCE: Source = Source::from_memory(
    "EFSA Journal 2016;14(4):4424: kernels of apricot and its kin hold amygdalin, which gives off hydrogen cyanide",
);

impl Fruit {
    /// True for rows that are of juice already, without pulp.
    pub const fn is_juice(self) -> bool {
        matches!(self, Self::PassionFruitJuice | Self::CoconutWater)
    }

    /// True for fruit whose kernels can give off hydrogen cyanide: stones left in should stay whole and
    /// come out early. Source: [`STONES_SOURCE`].
    pub const fn has_stones(self) -> bool {
        matches!(self, Self::SourCherry | Self::SweetCherry | Self::Peach | Self::Apricot | Self::Plum)
    }

    /// The composition the tables give. What is dissolved follows from the
    /// water and the Brix of single-strength juice, and is never less than
    /// sugars and acid; the rest is pulp, [`LEAST_PULP`] if the sugars leave that much. Where there
    /// is no Brix, half of what is neither water, sugar nor acid counts as dissolved.
    pub fn composition(self) -> FruitComposition {
        let figures = self.figures().map(f64::from);
        let [water, sugars, refuse, acid, main_acid, pectin, low, high, brix, sucrose, minerals @ ..] =
            figures;
        let [water, acid] = [water, acid].map(Fraction::of_one);
        let [calcium, magnesium, sodium, potassium] = minerals.map(Fraction::of_one);
        let solids = water.rest();
        let least_pulp = if self.is_juice() { Fraction::ZERO } else { LEAST_PULP };
        // Sugars by difference hold the acid too; where the parts exceed the solids, they give way.
        let sugars = Fraction::of_one(sugars).min(solids - acid);
        let known = sugars + acid;
        let dissolved = if self.is_juice() {
            solids
        } else if brix > 0.0 {
            water * (brix / (100.0 - brix))
        } else {
            (known + solids) / 2.0
        };
        let dissolved = dissolved.min(solids - least_pulp).max(known);
        let other = dissolved - known;
        FruitComposition {
            water,
            sugars,
            other,
            acid,
            main_acid: FruitAcid::ALL.get(main_acid as usize).copied().unwrap_or(FruitAcid::Citric),
            insoluble: solids - dissolved,
            pectin: Fraction::of_one(pectin),
            refuse: Fraction::of_one(refuse),
            ph: (Ph::new(low), Ph::new((low + high) / 2.0), Ph::new(high)),
            sucrose: Fraction::of_one(sucrose),
            minerals: Minerals { calcium, magnesium, sodium, potassium },
            sugar_band: SUGAR_BAND,
            acid_band: ACID_BAND,
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

    /// The shares taken for a fruit that no table has are those of the fruit in the table: the middle
    /// lies near, and the band holds at least four of five.
    #[test]
    fn an_unknown_fruit_is_like_the_known() {
        let table: Vec<_> = Fruit::ALL.iter().filter(|f| !f.is_juice()).map(|f| f.composition()).collect();
        let usual = |taken: f64, band: Fraction, mut found: Vec<f64>| {
            found.sort_by(f64::total_cmp);
            let band = taken * band.as_of_one();
            let inside = found.iter().filter(|share| (*share - taken).abs() <= band).count();
            (found[found.len() / 2] - taken, inside as f64 / found.len() as f64)
        };
        let solids = |c: &FruitComposition| (c.sugars + c.other + c.acid).as_of_one();
        let of_sugar =
            table.iter().map(|c| c.sugars.as_of_one() / (solids(c) - c.acid.as_of_one())).collect();
        let (off, inside) = usual(OWN_SUGAR, OWN_SUGAR_BAND, of_sugar);
        assert!(off.abs() < 0.03 && inside >= 0.8, "{off} {inside}");
        let of_acid = table.iter().map(|c| c.acid.as_of_one() / solids(c)).collect();
        let (off, inside) = usual(OWN_ACID, OWN_ACID_BAND, of_acid);
        assert!(off.abs() < 0.01 && inside >= 0.8, "{off} {inside}");
        let (off, _) =
            usual(OWN_PULP, OWN_ACID_BAND, table.iter().map(|c| c.insoluble.as_of_one()).collect());
        assert!(off.abs() < 0.005, "{off}");
    }

    proptest! {
        #[test]
        fn own_fruit_has_the_readings(b in 1.0..70.0f64, ph in 2.0..7.0f64, acid in 0.0..0.3f64) {
            for titrated in [None, Some((Fraction::of_one(acid), FruitAcid::Malic))] {
                let c = FruitComposition::own(Plato::degrees(b), Ph::new(ph), titrated);
                prop_assert!((whole(&c) - 1.0).abs() < 1e-12);
                prop_assert!((c.brix().as_degrees() - b).abs() < 1e-9);
                prop_assert!(c.ph.0 <= c.ph.1 && c.ph.1 == Ph::new(ph) && c.ph.1 <= c.ph.2);
                prop_assert!(c.sugars >= Fraction::ZERO && c.other >= Fraction::ZERO);
            }
        }

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
