//! Souring bacteria: where they grow, how fast, what acid they make, how they bear hops.

use super::Source;
use crate::quantity::{Bitterness, Cells, Count, Fraction, Ph, Temperature};

/// Bacteria for souring, named by species.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Culture {
    /// *Lactiplantibacillus plantarum*.
    #[default]
    LPlantarum,
    /// *Levilactobacillus brevis*.
    LBrevis,
    /// Several species of lactic acid bacteria together.
    Mixed,
}

/// Temperatures between which a culture grows, and its fastest growth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThermalLimits {
    /// No growth at or below.
    pub least: Temperature,
    /// Fastest growth.
    pub best: Temperature,
    /// No growth at or above.
    pub most: Temperature,
    /// Growth rate at the best temperature and pH in laboratory broth, per hour.
    pub fastest_per_hour: Count,
    /// Where these come from.
    pub source: Source,
}

/// pH between which a culture grows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhLimits {
    /// No growth at or below.
    pub least: Ph,
    /// Fastest growth.
    pub best: Ph,
    /// No growth at or above.
    pub most: Ph,
    /// Where these come from.
    pub source: Source,
}

/// What acid the cells make, after Luedeking and Piret: a share with growth, a share with time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AcidYield {
    /// Lactic acid made while a gram of dry cells grows, mmol/g.
    pub with_growth_mmol_per_g: Count,
    /// Lactic acid that a gram of dry cells makes without growth at 30 °C before acid slows it, mmol/(g·h).
    pub with_time_mmol_per_g_h: Count,
    /// Where these come from.
    pub source: Source,
}

/// What of the laboratory holds in wort. All of it our estimate, fitted once to published courses of souring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WortFit {
    /// Growth rate in wort as a share of that in laboratory broth.
    pub growth_share: Fraction,
    /// Rate of acid without growth as a share of [`AcidYield::with_time_mmol_per_g_h`].
    pub acid_share: Fraction,
    /// Undissociated lactic acid that stops growth, mmol/L. Twenty strains of *L. plantarum* stopped at 29
    /// to 38 at pH 4.5 (Aryani et al. 2016); in the fit to wort the limit lies higher.
    pub growth_stops_mmol_per_l: Count,
    /// Undissociated lactic acid that stops acid making, mmol/L.
    pub acid_stops_mmol_per_l: Count,
    /// No acid is made at or below this pH.
    pub lowest_ph: Ph,
    /// What it was fitted to.
    pub source: Source,
}

/// Bitterness that a culture bears.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HopLimits {
    /// Up to this bitterness no slowing is to be expected.
    pub borne: Bitterness,
    /// From this bitterness on, expect souring to fail.
    pub fails: Bitterness,
    /// Where these come from.
    pub source: Source,
}

/// Source of the temperatures of *L. brevis*.
const BREVIS_THERMAL: Source = Source::our_estimate(
    "set so that wort soured at 20, 30 and 37 °C follows a published master's thesis on L. brevis in wort of 1.043",
);

impl Culture {
    /// Every culture.
    pub const ALL: &[Self] = &[Self::LPlantarum, Self::LBrevis, Self::Mixed];

    /// The species' name, or what it is a mix of.
    pub const fn name(self) -> &'static str {
        match self {
            Self::LPlantarum => "L. plantarum",
            Self::LBrevis => "L. brevis",
            Self::Mixed => "Mixed lactic bacteria",
        }
    }

    /// Temperatures of growth. Strains differ: some *L. plantarum* are reported to grow to 43 to 45 °C.
    pub const fn thermal(self) -> ThermalLimits {
        let (least, best, most, fastest, source) = match self {
            Self::LPlantarum => (
                2.0,
                36.6,
                41.0,
                0.81,
                Source::published(
                    "Matejčeková et al. 2019, J. Food Nutr. Res. 58:125: L. plantarum in MRS broth",
                ),
            ),
            Self::LBrevis => (4.0, 36.0, 45.0, 0.82, BREVIS_THERMAL),
            Self::Mixed => (
                4.0,
                36.0,
                43.0,
                0.80,
                Source::our_estimate("between L. plantarum and L. brevis; what is in a mix is not known"),
            ),
        };
        ThermalLimits {
            least: Temperature::celsius(least),
            best: Temperature::celsius(best),
            most: Temperature::celsius(most),
            fastest_per_hour: Count::of(fastest),
            source,
        }
    }

    /// pH of growth.
    pub const fn ph(self) -> PhLimits {
        let (least, source) = match self {
            Self::LPlantarum => (
                3.3,
                Source::our_estimate(
                    "least 3.2 to 3.5 among 20 strains (Aryani, den Besten & Zwietering 2016, Appl. Environ. Microbiol., abstract), best 5.5 to 6.5 among reports; not in wort",
                ),
            ),
            Self::LBrevis | Self::Mixed => {
                (3.5, Source::our_estimate("as L. plantarum; the least set by courses of souring in wort"))
            }
        };
        PhLimits { least: Ph::new(least), best: Ph::new(5.8), most: Ph::new(8.5), source }
    }

    /// Acid made by the cells.
    pub const fn acid(self) -> AcidYield {
        AcidYield {
            with_growth_mmol_per_g: Count::of(51.9),
            with_time_mmol_per_g_h: Count::of(7.2),
            source: match self {
                Self::LPlantarum => Source::published(
                    "Passos, Fleming, Ollis, Felder & McFeeters 1994, Appl. Environ. Microbiol. 60:2627: 51.9 ± 4.2 mmol/g and 7.2 ± 0.9 mmol/(g·h), L. plantarum in cucumber juice",
                ),
                Self::LBrevis | Self::Mixed => {
                    Source::our_estimate("taken as for L. plantarum in Passos et al. 1994")
                }
            },
        }
    }

    /// What of the laboratory holds in wort.
    pub const fn wort_fit(self) -> WortFit {
        let (growth, acid, growth_stops, acid_stops, lowest, source) = match self {
            Self::LPlantarum => (
                0.55,
                0.3,
                45.0,
                60.0,
                3.05,
                Source::our_estimate(
                    "fitted to final pH 3.18 to 3.54 and pH below 3.8 in 48 h (Tenhovirta 2019) and to the malt medium of Charalampopoulos et al. 2002, J. Appl. Microbiol. 92:851",
                ),
            ),
            Self::LBrevis => (
                0.55,
                0.17,
                35.0,
                45.0,
                3.2,
                Source::our_estimate(
                    "fitted to a published master's thesis on L. brevis in wort of 1.043: pH 3.77 at 24 h and 3.48 at 72 h at 30 °C",
                ),
            ),
            Self::Mixed => {
                (0.55, 0.2, 40.0, 50.0, 3.1, Source::our_estimate("between L. plantarum and L. brevis"))
            }
        };
        WortFit {
            growth_share: Fraction::of_one(growth),
            acid_share: Fraction::of_one(acid),
            growth_stops_mmol_per_l: Count::of(growth_stops),
            acid_stops_mmol_per_l: Count::of(acid_stops),
            lowest_ph: Ph::new(lowest),
            source,
        }
    }

    /// Lowest pH at which a batch usually ends; a lower target takes long or is never met.
    pub const fn usual_end(self) -> (Ph, Source) {
        match self {
            Self::LPlantarum => (
                Ph::new(3.2),
                Source::from_memory(
                    "Tenhovirta 2019 (thesis), quoted second hand: six cultures in wort ended at pH 3.18 to 3.54",
                ),
            ),
            Self::LBrevis | Self::Mixed => (
                Ph::new(3.4),
                Source::our_estimate("pH 3.41 after 72 h at 37 °C in a published master's thesis"),
            ),
        }
    }

    /// Bitterness before souring.
    pub const fn hops(self) -> HopLimits {
        let (borne, fails, source) = match self {
            Self::LPlantarum => (
                2.5,
                8.0,
                Source::our_estimate(
                    "sensitive lactic bacteria stop at 3.6 to 14.5 mg/L of iso-alpha-acid (Simpson 1993, J. Inst. Brew. 99:405); best no hops at all",
                ),
            ),
            Self::LBrevis => (
                5.0,
                30.0,
                Source::our_estimate(
                    "spoilage strains bear 33 to 72 mg/L (Simpson & Fernandez 1994), others no more than L. plantarum",
                ),
            ),
            Self::Mixed => {
                (2.5, 8.0, Source::our_estimate("as its most sensitive member, L. plantarum or one like it"))
            }
        };
        HopLimits { borne: Bitterness::ibu(borne), fails: Bitterness::ibu(fails), source }
    }
}

/// How a culture comes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Form {
    /// Capsules or tablets, counted.
    Capsules,
    /// Dried powder, weighed.
    #[default]
    Dry,
    /// A liquid culture from a maker.
    Liquid,
    /// A starter grown at home.
    Starter,
}

/// What a culture of one form usually holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsualPack {
    /// Living cells in one capsule, gram or millilitre when fresh.
    pub cells: Cells,
    /// Factor to either side within which that lies four times out of five.
    pub doubt: Count,
    /// The same for a count that the pack states.
    pub label_doubt: Count,
    /// Share of the living that dies in a day at 4 °C.
    pub dies_per_day: Count,
    /// Where these come from.
    pub source: Source,
}

impl Form {
    /// Every form.
    pub const ALL: &[Self] = &[Self::Capsules, Self::Dry, Self::Liquid, Self::Starter];

    /// What its amount is counted in.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Capsules => "capsules",
            Self::Dry => "g",
            Self::Liquid | Self::Starter => "mL",
        }
    }

    /// What it usually holds.
    pub const fn usual(self) -> UsualPack {
        const DRY: Source = Source::our_estimate(
            "counts that packs state; dried L. plantarum, well protected, died at 0.00075 a day at 4 °C and 0.018 at 30 °C (Int. Food Res. J. 2017 24:787), taken twice as fast",
        );
        let (cells, doubt, label_doubt, dies, source) = match self {
            Self::Capsules => (10.0, 2.5, 1.6, 0.0015, DRY),
            Self::Dry => (100.0, 3.0, 1.6, 0.0015, DRY),
            Self::Liquid => (0.5, 4.0, 2.0, 0.01, Source::our_estimate("makers rarely say; kept cold")),
            Self::Starter => (
                1.0,
                5.0,
                2.0,
                0.05,
                Source::our_estimate(
                    "10^8.1 to 10^10.1 cells per mL in malt medium (Charalampopoulos et al. 2002, J. Appl. Microbiol. 92:851); acid kills them in days",
                ),
            ),
        };
        UsualPack {
            cells: Cells::billions(cells),
            doubt: Count::of(doubt),
            label_doubt: Count::of(label_doubt),
            dies_per_day: Count::of(dies),
            source,
        }
    }
}

/// Dry mass of 10⁹ cells in grams. Source: [`DRY_MASS_SOURCE`].
pub(crate) const DRY_GRAMS_PER_BILLION_CELLS: f64 = 3e-4;
/// Source of the dry mass of a cell.
pub const DRY_MASS_SOURCE: Source =
    Source::our_estimate("0.3 pg of dry mass per cell, the usual order of size for rods of 1 to 2 µm³");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_in_order() {
        for culture in Culture::ALL {
            let (t, p, h) = (culture.thermal(), culture.ph(), culture.hops());
            assert!(t.least < t.best && t.best < t.most);
            assert!(p.least < p.best && p.best < p.most);
            assert!(h.borne < h.fails);
            assert!(culture.wort_fit().lowest_ph < culture.usual_end().0);
        }
    }
}
