//! Classes of malt and other mash goods: what is taken for a bag that says nothing.
//!
//! pH in distilled water and buffering are the largest uncertainty of the mash
//! model: every row carries a spread, and its mark says what it rests on.

use super::Source;
use crate::quantity::{Estimate, Fraction, MaltBuffering, Ph};
use serde::{Deserialize, Serialize};

/// What is known of a class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltData {
    /// The trade's name.
    pub name: &'static str,
    /// pH of a mash of it alone in distilled water, at room temperature.
    pub mash_ph: Estimate<Ph>,
    /// Buffering.
    pub buffering: Estimate<MaltBuffering>,
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

const TITRATED: Source =
    Source::from_memory("distilled-water mash pH and titrations quoted around deLange 2015, MBAA TQ 52(1):3");
const WHEAT: Source = Source::from_memory(
    "one titrated lot of pale wheat malt by deLange, quoted second hand; not checked against print",
);
const GUESS: Source = Source::our_estimate("between neighbouring classes");
const ACIDULATED: Source =
    Source::from_memory("20 to 30 g of lactic acid per kg; the rule of 1 % for 0.1 pH implies a little less");

/// Declares the classes with their rows: pH and its half band, buffering and its half band.
macro_rules! malts {
    ($( $(#[$doc:meta])* $variant:ident $name:literal, $ph:literal +- $ph_band:literal, $b:literal +- $b_band:literal, $extract:literal, $moisture:literal, $source:expr; )+) => {
        /// A class of malt or other mash good.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
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
    Pilsner "Pilsner malt", 5.75 +- 0.07, 40.0 +- 8.0, 81.0, 4.5, TITRATED;
    /// Pale ale malt.
    PaleAle "Pale ale malt", 5.65 +- 0.08, 42.0 +- 8.0, 81.0, 4.0, TITRATED;
    /// Vienna malt.
    Vienna "Vienna malt", 5.60 +- 0.10, 40.0 +- 10.0, 80.0, 4.5, GUESS;
    /// Munich malt.
    Munich "Munich malt", 5.50 +- 0.08, 38.0 +- 10.0, 80.0, 4.5, GUESS;
    /// Pale wheat malt.
    Wheat "Wheat malt", 6.05 +- 0.06, 45.0 +- 6.0, 83.0, 5.0, WHEAT;
    /// Rye malt.
    Rye "Rye malt", 6.00 +- 0.12, 45.0 +- 10.0, 82.0, 5.0, GUESS;
    /// Malted oats.
    MaltedOats "Malted oats", 5.90 +- 0.15, 35.0 +- 10.0, 70.0, 5.0, GUESS;
    /// Spelt malt.
    Spelt "Spelt malt", 6.00 +- 0.12, 45.0 +- 10.0, 80.0, 5.5, GUESS;
    /// Raw or flaked wheat.
    FlakedWheat "Wheat, raw or flaked", 6.00 +- 0.12, 30.0 +- 10.0, 76.0, 10.0, GUESS;
    /// Raw or flaked oats.
    FlakedOats "Oats, flaked", 6.00 +- 0.12, 30.0 +- 10.0, 70.0, 9.0, GUESS;
    /// Raw or flaked barley.
    FlakedBarley "Barley, raw or flaked", 5.90 +- 0.15, 30.0 +- 10.0, 72.0, 9.0, GUESS;
    /// Flaked maize or rice.
    FlakedMaize "Maize or rice, flaked", 5.90 +- 0.20, 15.0 +- 8.0, 82.0, 9.0, GUESS;
    /// Dextrin malt.
    Dextrin "Dextrin malt", 5.55 +- 0.15, 45.0 +- 12.0, 75.0, 5.5, GUESS;
    /// Light caramel malt.
    CaramelLight "Caramel malt, light", 5.20 +- 0.15, 55.0 +- 15.0, 76.0, 5.0, GUESS;
    /// Dark caramel malt.
    CaramelDark "Caramel malt, dark", 4.70 +- 0.20, 70.0 +- 15.0, 74.0, 4.5, GUESS;
    /// Chocolate malt.
    Chocolate "Chocolate malt", 4.50 +- 0.20, 70.0 +- 15.0, 70.0, 3.5, GUESS;
    /// Black malt.
    Black "Black malt", 4.25 +- 0.25, 70.0 +- 15.0, 68.0, 3.0, GUESS;
    /// Acidulated malt.
    Acidulated "Acidulated malt", 3.50 +- 0.10, 130.0 +- 30.0, 75.0, 6.0, ACIDULATED;
    /// Rice hulls: room between the grains, no extract.
    RiceHulls "Rice hulls", 6.30 +- 0.40, 5.0 +- 4.0, 0.0, 9.0, GUESS;
}
