//! Classes of malt and other mash goods: what is taken for a bag that says nothing.
//!
//! pH in distilled water and buffering are the largest uncertainty of the mash
//! model: every row carries a spread, and its mark says what it rests on.

use super::Source;
use crate::quantity::{Estimate, Fraction, MaltBuffering, Ph};

/// What is known of a class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltData {
    /// The trade's name.
    pub name: &'static str,
    /// pH of a mash of it alone in distilled water, at room temperature.
    pub mash_ph: Estimate<Ph>,
    /// Buffering at that pH.
    pub buffering: Estimate<MaltBuffering>,
    /// What is added to the mean buffering for each unit of pH below that pH.
    pub curvature: Estimate<MaltBuffering>,
    /// Fine-grind extract, dry basis.
    pub extract: Fraction,
    /// Moisture.
    pub moisture: Fraction,
    /// Where pH and buffering come from.
    pub source: Source,
}

/// Where extract and moisture of every class come from.
pub const EXTRACT_SOURCE: Source =
    Source::common_practice("usual figures of maltsters' analyses; the bag's own are better");

/// Where the curvature of every class but pale wheat malt comes from.
pub const CURVATURE_SOURCE: Source = Source::our_estimate(
    "no titration with curvature at hand: none, give or take 15 % of the buffering; the one lot known, of wheat, has 13 %",
);

const TITRATED: Source =
    Source::from_memory("distilled-water mash pH and titrations quoted around deLange 2015, MBAA TQ 52(1):3");
const MUNICH: Source =
    Source::from_memory("mash pH 5.45 to 5.55 in distilled water; buffering as of pale malts");
const WHEAT: Source = Source::from_memory(
    "one titrated lot of pale wheat malt by deLange (6.07; 44.9 and -6.0 mEq/kg), quoted second hand; not checked against print",
);
const BETWEEN: Source = Source::our_estimate("between neighbouring classes");
const LIKE_WHEAT: Source =
    Source::our_estimate("taken as wheat malt, with more spread: naked or lightly kilned grain");
const UNMALTED: Source = Source::our_estimate(
    "unmalted grain: no acids of germination and kilning, less free phosphate, so higher pH and less buffering than malt",
);
const STARCH: Source = Source::our_estimate("degermed starch with little protein and phosphate");
const CARAMEL: Source = Source::our_estimate(
    "popular texts put caramel malt at 4.5 to 4.8 and light ones higher; buffering by its acids, estimated",
);
const ROASTED: Source = Source::our_estimate(
    "popular texts: chocolate malt 4.3 to 4.7, black malt 4.0 to 4.5 in distilled water; buffering estimated",
);
const ACIDULATED: Source = Source::from_memory(
    "20 to 30 g of lactic acid per kg, 222 to 333 mEq; the rule of 1 % for 0.1 pH would need 400 beside malts of 40 mEq/(kg·pH): the band spans both",
);
const HUSK: Source = Source::our_estimate("rinsed husk: next to no buffering");

/// Declares the classes with their rows: pH, buffering and curvature, each with its half band.
macro_rules! malts {
    ($( $(#[$doc:meta])* $variant:ident $name:literal, $ph:literal +- $ph_band:literal, $b:literal +- $b_band:literal, $c:literal +- $c_band:literal, $extract:literal, $moisture:literal, $source:expr; )+) => {
        /// A class of malt or other mash good.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum MaltClass { $( $(#[$doc])* $variant, )+ }

        impl MaltClass {
            /// Every class.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The class's row.
            pub const fn data(self) -> MaltData {
                match self {
                    $( Self::$variant => MaltData {
                        name: $name,
                        mash_ph: Estimate { value: Ph::new($ph), low: Ph::new($ph - $ph_band), high: Ph::new($ph + $ph_band) },
                        buffering: Estimate {
                            value: MaltBuffering::meq_per_kg_ph($b),
                            low: MaltBuffering::meq_per_kg_ph($b - $b_band),
                            high: MaltBuffering::meq_per_kg_ph($b + $b_band),
                        },
                        curvature: Estimate {
                            value: MaltBuffering::meq_per_kg_ph($c),
                            low: MaltBuffering::meq_per_kg_ph($c - $c_band),
                            high: MaltBuffering::meq_per_kg_ph($c + $c_band),
                        },
                        extract: Fraction::percent($extract),
                        moisture: Fraction::percent($moisture),
                        source: $source,
                    }, )+
                }
            }
        }
    };
}

malts! {
    /// Pilsner or other pale two-row malt.
    Pilsner "Pilsner malt", 5.75 +- 0.07, 40.0 +- 8.0, 0.0 +- 6.0, 81.0, 4.5, TITRATED;
    /// Pale ale malt.
    PaleAle "Pale ale malt", 5.65 +- 0.08, 42.0 +- 8.0, 0.0 +- 6.5, 81.0, 4.0, TITRATED;
    /// Vienna malt.
    Vienna "Vienna malt", 5.60 +- 0.10, 40.0 +- 10.0, 0.0 +- 6.0, 80.0, 4.5, BETWEEN;
    /// Munich malt.
    Munich "Munich malt", 5.50 +- 0.08, 38.0 +- 10.0, 0.0 +- 5.5, 80.0, 4.5, MUNICH;
    /// Pale wheat malt.
    Wheat "Wheat malt", 6.05 +- 0.06, 45.0 +- 6.0, -6.0 +- 6.0, 83.0, 5.0, WHEAT;
    /// Rye malt.
    Rye "Rye malt", 6.00 +- 0.12, 45.0 +- 10.0, 0.0 +- 7.0, 82.0, 5.0, LIKE_WHEAT;
    /// Malted oats.
    MaltedOats "Malted oats", 5.90 +- 0.15, 35.0 +- 10.0, 0.0 +- 5.0, 70.0, 5.0, BETWEEN;
    /// Spelt malt.
    Spelt "Spelt malt", 6.00 +- 0.12, 45.0 +- 10.0, 0.0 +- 7.0, 80.0, 5.5, LIKE_WHEAT;
    /// Raw or flaked wheat.
    FlakedWheat "Wheat, raw or flaked", 6.00 +- 0.12, 30.0 +- 10.0, 0.0 +- 4.5, 76.0, 10.0, UNMALTED;
    /// Raw or flaked oats.
    FlakedOats "Oats, flaked", 6.00 +- 0.12, 30.0 +- 10.0, 0.0 +- 4.5, 70.0, 9.0, UNMALTED;
    /// Raw or flaked barley.
    FlakedBarley "Barley, raw or flaked", 5.90 +- 0.15, 30.0 +- 10.0, 0.0 +- 4.5, 72.0, 9.0, UNMALTED;
    /// Flaked maize or rice.
    FlakedMaize "Maize or rice, flaked", 5.90 +- 0.20, 15.0 +- 8.0, 0.0 +- 2.0, 82.0, 9.0, STARCH;
    /// Dextrin malt.
    Dextrin "Dextrin malt", 5.55 +- 0.15, 45.0 +- 12.0, 0.0 +- 7.0, 75.0, 5.5, BETWEEN;
    /// Light caramel malt.
    CaramelLight "Caramel malt, light", 5.20 +- 0.20, 55.0 +- 15.0, 0.0 +- 8.0, 76.0, 5.0, CARAMEL;
    /// Dark caramel malt.
    CaramelDark "Caramel malt, dark", 4.70 +- 0.20, 70.0 +- 15.0, 0.0 +- 10.5, 74.0, 4.5, CARAMEL;
    /// Chocolate malt.
    Chocolate "Chocolate malt", 4.50 +- 0.20, 70.0 +- 15.0, 0.0 +- 10.5, 70.0, 3.5, ROASTED;
    /// Black malt.
    Black "Black malt", 4.25 +- 0.25, 70.0 +- 15.0, 0.0 +- 10.5, 68.0, 3.0, ROASTED;
    /// Acidulated malt.
    Acidulated "Acidulated malt", 3.50 +- 0.10, 150.0 +- 55.0, 0.0 +- 0.0, 75.0, 6.0, ACIDULATED;
    /// Rice hulls: room between the grains, no extract.
    RiceHulls "Rice hulls", 6.30 +- 0.40, 5.0 +- 4.0, 0.0 +- 1.0, 0.0, 9.0, HUSK;
}

impl MaltClass {
    /// It brings no husk, and none stands in for it. Common practice, no source.
    pub const fn is_huskless(self) -> bool {
        matches!(
            self,
            Self::Wheat
                | Self::Rye
                | Self::Spelt
                | Self::FlakedWheat
                | Self::FlakedOats
                | Self::FlakedBarley
                | Self::FlakedMaize
        )
    }

    /// It brings much beta-glucan or other gum. Common practice, no source.
    pub const fn is_gummy(self) -> bool {
        matches!(
            self,
            Self::Rye | Self::MaltedOats | Self::FlakedOats | Self::FlakedBarley | Self::FlakedWheat
        )
    }
}
