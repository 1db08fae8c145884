//! The figures of a plan: one row each, with its words, its inputs and its sources.

use crate::document::{Field, Stage, WaterField};
use calc::brew::bitterness::{
    AGE_SOURCE, FORM_SOURCE, MALOWICKI_SOURCE, RAGER_SOURCE, SOLUBILITY_SOURCE, SOUR_SOURCE, TINSETH_SOURCE,
};
use calc::brew::buffer::{AMOUNTS_SOURCE, GROUPS_SOURCE};
use calc::brew::dosing::DOSING_SOURCE;
use calc::brew::drop::LADDER_SOURCE;
use calc::brew::ferment::ROOM_SOURCE;
use calc::brew::fruit::{FRUITED_PH_SOURCE, INTENSITY_SOURCE, PURGE_SOURCE};
use calc::brew::heat::{LATENT_SOURCE, LOSS_SOURCE, STEEL_SOURCE, WORT_HEAT_SOURCE};
use calc::brew::kill::{HARDIEST_SOURCE, HOLD_ASSUMES, SHORTEST_SOURCE, STRAINS_SOURCE, WANTED_SOURCE};
use calc::brew::mash::{HARDNESS_SOURCE, SPREAD_SOURCE as MASH_SPREAD};
use calc::brew::package::{PASTEURISING_SOURCE, UNITS_SOURCE};
use calc::brew::serving::ENERGY_SOURCE;
use calc::brew::souring::{
    FORECAST_SOURCE, MANGANESE_CEILING_SOURCE, MANGANESE_DOSE_SOURCE, MANGANESE_IN_WORT_SOURCE,
};
use calc::brew::treatment::{CHALK_SOURCE, DECHLORINATION_SOURCE, EXCESS_SOURCE};
use calc::brew::yeast::{FRESH_SOURCE, OXYGEN_SOURCE, STARTER_SOURCE, UPTAKE_SOURCE, VIABILITY_SOURCE};
use calc::chem::gas::{BEER_SOURCE, EXPANSION_SOURCE, VIRIAL_SOURCE};
use calc::chem::pairs::SOURCE as PAIRS;
use calc::data::Source;
use calc::data::acid_notes::TASTE_SOURCE;
use calc::quantity::{
    AlcoholByVolume, Amount, Bitterness, Buffering, Carbonation, CellDensity, Cells, ChargeConcentration,
    Concentration, Count, Dimension, Duration, Energy, Estimate, Fraction, GaugePressure, Mass, Ph, Plato,
    Quantity, Temperature, TitratableAcidity, Volume, VolumePerMass, VolumeRate,
};

use super::Unknown;
use std::marker::PhantomData;
use std::ops::RangeInclusive;

/// Where a figure comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Computed from the plan.
    Predicted,
    /// Measured, or computed from the newest measurement.
    Measured,
}

/// A figure that is known: its estimate and where it comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value<Q> {
    /// Median and 80 % band.
    pub estimate: Estimate<Q>,
    /// Predicted or measured.
    pub origin: Origin,
}

/// A figure: its value, or why it is not known yet.
pub type Known<Q> = Result<Value<Q>, Unknown>;

/// A figure of any kind, for showing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// The median.
    pub value: Amount,
    /// Lower end of the 80 % band.
    pub low: Amount,
    /// Upper end of the 80 % band.
    pub high: Amount,
    /// Predicted or measured.
    pub origin: Origin,
}

/// What a figure was computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input {
    /// An entry field.
    Field(Field),
    /// A figure of the water reports.
    Report(WaterField),
    /// Another figure.
    Figure(Figure),
}

/// How a figure comes about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Why {
    /// The equation in words.
    pub says: &'static str,
    /// What it was computed from.
    pub inputs: &'static [Input],
    /// Where the equation and its constants come from.
    pub sources: &'static [Source],
    /// Where the spread comes from.
    pub spread: &'static str,
}

/// The place of a figure of this quantity.
pub(super) struct Key<Q>(Figure, PhantomData<Q>);

/// Declares the keys of typed figures and the enum that names them.
macro_rules! figures {
    ($( $stage:ident { $(
        $(#[$doc:meta])* $field:ident $variant:ident : $quantity:ident as $dimension:ident, $label:literal,
        $says:literal, [$($input:expr),* $(,)?], [$($source:expr),+ $(,)?], $spread:expr;
    )+ } )+) => {
        /// The keys of the figures, each with its quantity.
        #[expect(non_upper_case_globals, reason = "named as the figures are")]
        pub(super) mod key {
            use super::{Figure, Key, PhantomData};
            $($( pub(in crate::plan) const $field: Key<super::$quantity> = Key(Figure::$variant, PhantomData); )+)+
        }

        impl Figures {
            $($( $(#[$doc])* pub fn $field(&self) -> Known<$quantity> { self.typed(key::$field) } )+)+
        }

        /// The name of a figure.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Figure { $($( #[doc = $label] $variant, )+)+ }

        impl Figure {
            /// Every figure, in the order of the day.
            pub const ALL: &[Self] = &[$($(Self::$variant),+),+];

            /// The stage it belongs to.
            pub const fn stage(self) -> Stage {
                match self { $($( Self::$variant => Stage::$stage, )+)+ }
            }

            /// What the person reads beside it.
            pub const fn label(self) -> &'static str {
                match self { $($( Self::$variant => $label, )+)+ }
            }

            /// The key in the plan's JSON, without its unit.
            pub const fn key(self) -> &'static str {
                match self { $($( Self::$variant => stringify!($field), )+)+ }
            }

            /// Kind of quantity, for the choice of unit.
            pub const fn dimension(self) -> Dimension {
                match self { $($( Self::$variant => Dimension::$dimension, )+)+ }
            }

            /// How it comes about.
            pub fn why(self) -> &'static Why {
                match self { $($( Self::$variant => {
                    const WHY: &Why = &Why {
                        says: $says,
                        inputs: &[$($input),*],
                        sources: &[$($source),+],
                        spread: $spread,
                    };
                    WHY
                } )+)+ }
            }

            /// The figure's value in a plan.
            ///
            /// # Errors
            /// [`Unknown`] says why there is none yet.
            pub fn of(self, figures: &Figures) -> Result<Shown, Unknown> {
                let Value { estimate, origin } = figures.0[self as usize]?;
                let seen = |count: Count| Amount::in_base(self.dimension(), count.base());
                Ok(Shown { value: seen(estimate.value), low: seen(estimate.low), high: seen(estimate.high), origin })
            }
        }
    };
}

/// Every figure of the plan: one place for each, in the base unit of its
/// quantity; a figure's own method gives it typed.
#[derive(Clone, Debug, PartialEq)]
pub struct Figures([Known<Count>; Figure::ALL.len()]);

impl Default for Figures {
    fn default() -> Self {
        Self([Err(Unknown::NotReached); Figure::ALL.len()])
    }
}

/// The same numbers as another quantity of the same base unit: the types say which it is.
fn turned<P: Quantity, Q: Quantity>(known: Known<P>) -> Known<Q> {
    let Value { estimate: Estimate { value, low, high }, origin } = known?;
    let [value, low, high] = [value, low, high].map(|quantity| Q::from_base(quantity.base()));
    Ok(Value { estimate: Estimate { value, low, high }, origin })
}

impl Figures {
    fn typed<Q: Quantity>(&self, key: Key<Q>) -> Known<Q> {
        turned(self.0[key.0 as usize])
    }

    // One copy of the code that stores, however many quantities there are.
    #[inline(never)]
    fn put(&mut self, figure: Figure, known: Known<Count>) {
        self.0[figure as usize] = known;
    }

    /// Sets a figure.
    pub(super) fn set<Q: Quantity>(&mut self, key: Key<Q>, known: Known<Q>) {
        self.put(key.0, turned(known));
    }

    /// Says of every figure of these stages that was not reached what it waits for.
    pub(super) fn wait(&mut self, stages: RangeInclusive<Stage>, unknown: Unknown) {
        for &figure in Figure::ALL {
            let known = &mut self.0[figure as usize];
            if stages.contains(&figure.stage()) && *known == Err(Unknown::NotReached) {
                *known = Err(unknown);
            }
        }
    }
}

const fn field(field: Field) -> Input {
    Input::Field(field)
}
const fn report(field: WaterField) -> Input {
    Input::Report(field)
}
const fn figure(figure: Figure) -> Input {
    Input::Figure(figure)
}

const BALANCE: Source = Source::derived("Balance of mass over the brew day.");
const ICUMSA: Source = Source::published(
    "Density of sucrose solutions: ICUMSA SPS-4; Bettin, Emmerich, Spieweck, Toth 1998, Zuckerindustrie 123:341.",
);
const PLATO: Source = Source::published("Plato and specific gravity: cubic fit of the ASBC table.");
const WEIGHTS: Source = Source::from_memory("IUPAC abridged atomic weights 2021.");
const KOLBACH: Source = Source::from_memory("Kolbach 1953, Monatsschrift für Brauerei 6:49.");
const PROTONS: Source =
    Source::published("Proton balance of the grist: deLange 2015, MBAA Technical Quarterly 52(1):3.");
const CARBONATE: Source =
    Source::published("Carbonate constants: Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011.");
const PKA: Source =
    Source::from_memory("Acid constants: Goldberg, Kishore & Lennen 2002, J. Phys. Chem. Ref. Data 31:231.");
const WORT_BUFFER: Source = Source::derived(
    "Wort buffering 0.8 ± 0.15 mEq/(L·pH) per degree Plato, from published lactic additions to wort of two gravities.",
);
const CARDINAL: Source = Source::published(
    "Growth by temperature and pH: Rosso et al. 1993, J. Theor. Biol. 162:447; Rosso et al. 1995, Appl. Environ. Microbiol. 61:610.",
);
const PLANTARUM: Source =
    Source::published("L. plantarum by temperature: Matejčeková et al. 2019, J. Food Nutr. Res. 58:125.");
const STRIKE: Source = Source::published("Pauls & Whites Brewing Room Book 1984/85.");
const BALLING: Source = Source::from_memory("Balling 1865; ASBC method Beer-6A.");
const FRUIT: Source = Source::published(
    "Composition: USDA SR; acids: Belitz, Grosch & Schieberle, Food Chemistry, table 18.3; pH: FDA list 2003.",
);
const CO2_FIT: Source =
    Source::from_memory("CO₂ in beer: deLange 2011 fit of the ASBC table, used inside its range.");
const HENRY: Source =
    Source::published("Henry's law for CO₂ with headspace, constants of Plummer & Busenberg 1982.");
const PITCH: Source = Source::from_memory("Pitch rates for ale; more for sour wort is our estimate.");
const ALTITUDE: Source = Source::from_memory("ISA pressure by height and Antoine's equation for water.");

figures! {
    Water {
        /// Water in all.
        total_water TotalWater: Volume as Volume, "Water in all",
            "Counted back from the beer wanted: what stays in kettle and hoses, what both boils drive off, the wort set aside, what the grain keeps; all as mass, turned to litres at 20 °C.",
            [field(Field::BatchVolume), field(Field::KettleLoss), field(Field::Evaporation), field(Field::ClearBoil),
             field(Field::MainBoil), field(Field::StarterWort), field(Field::Absorption), figure(Figure::GristMass)],
            [BALANCE, ICUMSA],
            "Spread of evaporation, absorption and kettle loss between batches.";
        /// Tap water.
        tap_water TapWater: Volume as Volume, "From the tap",
            "Water in all less the distilled share.", [figure(Figure::TotalWater), field(Field::Distilled)],
            [BALANCE], "As the water in all.";
        /// Distilled water.
        distilled_water DistilledWater: Volume as Volume, "Distilled or reverse-osmosis",
            "Water in all times the distilled share.", [figure(Figure::TotalWater), field(Field::Distilled)],
            [BALANCE], "As the water in all.";
        /// Calcium after salts.
        calcium_after CalciumAfter: Concentration as Concentration, "Calcium",
            "The blend's calcium plus what the salts bring.", [report(WaterField::Calcium), field(Field::Distilled), figure(Figure::TotalWater)],
            [WEIGHTS], "Of the report: a range it gives, or what had to be inferred. The weights count as exact.";
        /// Magnesium after salts.
        magnesium_after MagnesiumAfter: Concentration as Concentration, "Magnesium",
            "The blend's magnesium plus what the salts bring.", [report(WaterField::Magnesium), field(Field::Distilled), figure(Figure::TotalWater)],
            [WEIGHTS], "Of the report: a range it gives, or what had to be inferred. The weights count as exact.";
        /// Sodium after salts.
        sodium_after SodiumAfter: Concentration as Concentration, "Sodium",
            "The blend's sodium plus what the salts bring.", [report(WaterField::Sodium), field(Field::Distilled), figure(Figure::TotalWater)],
            [WEIGHTS], "Of the report: a range it gives, or what had to be inferred. The weights count as exact.";
        /// Chloride after salts.
        chloride_after ChlorideAfter: Concentration as Concentration, "Chloride",
            "The blend's chloride plus what the salts bring.", [report(WaterField::Chloride), field(Field::Distilled), figure(Figure::TotalWater)],
            [WEIGHTS], "Of the report: a range it gives, or what had to be inferred. The weights count as exact.";
        /// Sulfate after salts.
        sulfate_after SulfateAfter: Concentration as Concentration, "Sulfate",
            "The blend's sulfate plus what the salts bring.", [report(WaterField::Sulfate), field(Field::Distilled), figure(Figure::TotalWater)],
            [WEIGHTS], "Of the report: a range it gives, or what had to be inferred. The weights count as exact.";
        /// Alkalinity after salts.
        alkalinity_after AlkalinityAfter: ChargeConcentration as Alkalinity, "Alkalinity",
            "The blend's alkalinity plus what basic salts bring.", [report(WaterField::Alkalinity), field(Field::Distilled), figure(Figure::TotalWater)],
            [WEIGHTS], "Of the report: a range it gives, or what had to be inferred. The weights count as exact.";
        /// Residual alkalinity.
        residual_alkalinity ResidualAlkalinity: ChargeConcentration as Alkalinity, "Residual alkalinity",
            "Alkalinity less calcium / 3.5 and magnesium / 7, all in mEq/L.",
            [figure(Figure::AlkalinityAfter), figure(Figure::CalciumAfter), figure(Figure::MagnesiumAfter)],
            [KOLBACH], "Exact for the ions given.";
        /// Total hardness.
        hardness Hardness: ChargeConcentration as Hardness, "Hardness",
            "Calcium and magnesium as charge.", [figure(Figure::CalciumAfter), figure(Figure::MagnesiumAfter)],
            [WEIGHTS], "Exact for the ions given.";
        /// Metabisulfite against chlorine.
        metabisulfite Metabisulfite: Mass as SmallMass, "Metabisulfite against the chlorine",
            "Chlorine times the tap water's volume, one molecule of sulfite for each, and a fifth more to be sure.",
            [field(Field::Chlorine), figure(Figure::TapWater)], [DECHLORINATION_SOURCE, EXCESS_SOURCE], "As the chlorine given and the volume.";
        /// Lime that softens the water.
        softening_lime SofteningLime: Mass as SmallMass, "Slaked lime to soften the tap water",
            "Lime that turns bicarbonate and dissolved carbon dioxide into carbonate, which falls out as chalk.",
            [report(WaterField::Alkalinity), report(WaterField::Ph), figure(Figure::TapWater)], [CHALK_SOURCE, CARBONATE],
            "As the report. Lime that stood open has turned to chalk in part.";
    }
    Grist {
        /// All malt.
        grist_mass GristMass: Mass as Mass, "Malt in all",
            "Extract wanted in the kettle over the extract one kilogram gives: fine-grind extract times dry matter times the share that reaches the kettle.",
            [field(Field::WantedGravity), field(Field::BatchVolume), field(Field::Efficiency)],
            [BALANCE, PLATO], "Spread of the efficiency between batches.";
        /// Extract in the kettle.
        kettle_extract KettleExtract: Mass as Mass, "Extract in the kettle",
            "Malt times fine-grind extract times dry matter times the share that reaches the kettle; from the readings once volume and gravity before the boil are known.",
            [figure(Figure::GristMass), field(Field::Efficiency)], [BALANCE], "Spread of the efficiency between batches.";
    }
    Mash {
        /// Water for the mash.
        mash_water MashWater: Volume as Volume, "Mash water",
            "Water in all less what is kept back to rinse the grain.", [figure(Figure::TotalWater), field(Field::Rinse)],
            [BALANCE], "As the water in all.";
        /// Mash thickness.
        thickness Thickness: VolumePerMass as VolumePerMass, "Thickness",
            "Mash water per kilogram of malt.", [figure(Figure::MashWater), figure(Figure::GristMass)],
            [BALANCE], "Exact for the amounts weighed in.";
        /// Strike temperature.
        strike StrikeTemperature: Temperature as Temperature, "Strike water",
            "Heat balance of water, kettle and grain, less the heat the grain gives off when wetted. The kettle is as hot as its water.",
            [field(Field::MashTemperature), field(Field::GrainTemperature), field(Field::KettleWeight), figure(Figure::Thickness)],
            [STRIKE, STEEL_SOURCE], "About ±0.7 K: heat lost while mashing in differs between kits.";
        /// Time to heat the strike water.
        strike_heating StrikeHeating: Duration as Minutes, "Time to heat the strike water",
            "Heat that water and kettle take from the tap to strike, over the heating power less what the kettle gives off, which grows with the temperature.",
            [figure(Figure::MashWater), figure(Figure::StrikeTemperature), field(Field::HeatingPower), field(Field::Tap), field(Field::Room)],
            [BALANCE, LOSS_SOURCE], "About ±10 %: losses and mains voltage.";
        /// Time from the last rest to mash-out.
        mash_out_heating MashOutHeating: Duration as Minutes, "Time to heat to mash-out",
            "Heat that water, grain and kettle take from the last rest on, over the heating power less what the kettle gives off.",
            [figure(Figure::MashWater), figure(Figure::GristMass), field(Field::HeatingPower), field(Field::KettleWeight), field(Field::MashOut)],
            [BALANCE, LOSS_SOURCE, STEEL_SOURCE], "About ±13 %.";
        /// Level in the kettle with grain.
        mash_level MashLevel: Volume as Volume, "Level in the kettle with grain",
            "Hot water plus the volume of the grain.", [figure(Figure::MashWater), figure(Figure::GristMass)],
            [Source::common_practice("One kilogram of malt displaces about 0.67 L.")], "About ±0.05 L per kg of malt.";
        /// Mash pH without acid.
        mash_ph_plain MashPhPlain: Ph as Ph, "Mash pH, nothing added",
            "The pH at which acid given by the malts, calcium and magnesium equals acid taken up by malts and alkalinity.",
            [figure(Figure::AlkalinityAfter), figure(Figure::CalciumAfter), figure(Figure::MagnesiumAfter), figure(Figure::Thickness)],
            [PROTONS, CARBONATE, HARDNESS_SOURCE, MASH_SPREAD],
            "Carried through from malts (pH, buffering, curvature), what all malts share, the hardness reaction, the water report and the volume. Largest uncertainty of the plan: measure.";
        /// Acid for the mash.
        mash_acid MashAcid: Volume as SmallVolume, "Acid for the mash",
            "Charge needed to move grist and water to the wanted pH over the charge one millilitre gives at that pH.",
            [field(Field::MashPh), field(Field::AcidStrength), figure(Figure::MashPhPlain)],
            [PROTONS, CARBONATE, PKA], "From the spread of the malts, the water and the meter. Pour the first part, stir, wait ten minutes, measure.";
        /// The first part of that acid.
        mash_first MashFirst: Volume as SmallVolume, "Of it, pour first",
            "So much that the mash passes the wanted pH by more than 0.1 in at most one case of twenty.",
            [figure(Figure::MashAcid), field(Field::MeterError)], [PROTONS, MASH_SPREAD], "A safe share of the whole, chosen from its spread.";
        /// Base for the mash when it is too sour.
        mash_base MashBase: Mass as SmallMass, "Base for the mash",
            "Charge needed to raise the mash to the wanted pH over the charge one gram of the base at hand gives: baking soda, potassium bicarbonate, slaked lime or chalk, in this order.",
            [field(Field::MashPh), figure(Figure::MashPhPlain)],
            [PROTONS, CARBONATE, WEIGHTS], "From the spread of the malts, the water and the meter.";
        /// Acidulated malt in place of the acid.
        mash_acid_malt MashAcidMalt: Mass as Mass, "Or acidulated malt instead",
            "Charge needed over what one kilogram of acidulated malt gives down to the wanted pH.",
            [field(Field::MashPh), figure(Figure::MashAcid)],
            [Source::from_memory("20 to 30 g of lactic acid per kilogram of acidulated malt.")],
            "From the spread of the malts and of the acidulated malt itself.";
        /// Acid for the rinse water.
        rinse_acid RinseAcid: Volume as SmallVolume, "Acid for the rinse water",
            "Acid that brings the rinse water, with its salts, to the wanted pH in a closed vessel: carbonate, ion pairs, activities and the acid's own dissociation.",
            [field(Field::Rinse), field(Field::RinsePh), field(Field::AcidStrength), figure(Figure::AlkalinityAfter)],
            [CARBONATE, PAIRS, PKA], "Of the water report's alkalinity.";
        /// Mash pH after acid, or measured.
        mash_ph MashPhNow: Ph as Ph, "Mash pH",
            "Predicted with the acid above; the newest reading as soon as there is one.",
            [figure(Figure::MashPhPlain), figure(Figure::MashAcid)], [PROTONS], "As the plain mash pH; of a reading, the meter's.";
    }
    FirstBoil {
        /// Share of the grist's extract that dissolved.
        conversion Conversion: Fraction as Percent, "Of the grist's extract, dissolved in the mash",
            "Extract in the mash's liquid by its gravity at the end, water and moisture counted, over what the grist could give.",
            [figure(Figure::TotalWater), figure(Figure::GristMass)], [BALANCE], "A line of the hydrometer is about 4 %.";
        /// Share of that which reached the kettle.
        lauter Lauter: Fraction as Percent, "Of that, in the kettle",
            "Extract in the kettle over what had dissolved; the rest stays in the grain.",
            [figure(Figure::Conversion), figure(Figure::KettleExtract)], [BALANCE], "As both readings.";
        /// Volume before the boil, hot.
        pre_boil_volume PreBoilVolume: Volume as Volume, "In the kettle before the boil, hot",
            "All water less what the grain keeps, with the extract, at mash-out temperature.",
            [figure(Figure::TotalWater), field(Field::Absorption), figure(Figure::KettleExtract), field(Field::MashOut)],
            [BALANCE, ICUMSA], "Spread of absorption between batches.";
        /// Gravity before the boil.
        pre_boil_gravity PreBoilGravity: Plato as Gravity, "Gravity before the boil",
            "Extract in the kettle over the mass of wort.", [figure(Figure::KettleExtract), figure(Figure::PreBoilVolume)],
            [BALANCE, PLATO], "Spread of efficiency and absorption.";
        /// Boiling point.
        boiling_point BoilingPoint: Temperature as Temperature, "Boils at",
            "Air pressure by barometer, or of the standard atmosphere at your height; the temperature at which water's vapour has it; and 0.025 K for each degree Plato.",
            [field(Field::Altitude), field(Field::Barometer), field(Field::WantedGravity)], [ALTITUDE], "Weather moves it by about ±0.7 K where no barometer is read.";
        /// Time to reach the boil.
        boil_heating BoilHeating: Duration as Minutes, "Time to reach the boil",
            "Heat that wort and kettle take from mash-out to the boil, over the heating power less what the kettle gives off.",
            [figure(Figure::PreBoilVolume), figure(Figure::BoilingPoint), field(Field::HeatingPower), field(Field::MashOut)],
            [BALANCE, LOSS_SOURCE], "About ±10 %.";
        /// The most that can evaporate.
        evaporation_power EvaporationPower: VolumeRate as VolumeRate, "This heater can drive off, at most",
            "Heating power less what the kettle gives off at the boil, over the heat that evaporates water there. A lid or a heater turned down leave less.",
            [field(Field::HeatingPower), field(Field::KettleVolume), figure(Figure::BoilingPoint)], [LATENT_SOURCE, LOSS_SOURCE], "About ±13 %.";
        /// Wort after the sanitising boil and after setting some aside, cooled.
        sour_volume SourVolume: Volume as Volume, "Wort to sour, cooled",
            "After the boil's evaporation and the wort set aside, at souring temperature.",
            [figure(Figure::PreBoilVolume), field(Field::Evaporation), field(Field::ClearBoil), field(Field::StarterWort), field(Field::SourTemperature)],
            [BALANCE, ICUMSA], "Spread of evaporation and absorption.";
        /// Gravity of the wort to sour.
        sour_gravity SourGravity: Plato as Gravity, "Gravity of the wort to sour",
            "The same extract in less water.", [figure(Figure::PreBoilGravity), field(Field::Evaporation), field(Field::ClearBoil)],
            [BALANCE, PLATO], "Spread of efficiency and evaporation.";
    }
    AcidDrop {
        /// Wort pH before the drop.
        wort_ph WortPh: Ph as Ph, "Wort pH now",
            "The newest reading. Before one, the mash pH less about 0.1 for the boil.",
            [figure(Figure::MashPhNow)], [Source::our_estimate("The boil lowers pH by about 0.1 as calcium phosphate forms.")],
            "Before a reading, the mash pH's spread; of a reading, the meter's.";
        /// Wort buffering.
        buffering WortBuffering: Buffering as Buffering, "Buffering of this wort",
            "A curve of seven groups that take acid, in the mean from pH 5.0 to 3.4: published range times the gravity and your house number; narrowed by each dose and the pH read after it, and by a titrated sample.",
            [figure(Figure::SourGravity)], [WORT_BUFFER, AMOUNTS_SOURCE, GROUPS_SOURCE], "Published spread; each reading narrows it by the meter's error.";
        /// Acid still needed for the drop.
        drop_acid DropAcid: Volume as SmallVolume, "Acid to the wanted pH, in all from here",
            "Charge that the wort takes along its curve, over what a millilitre gives in wort of that pH.",
            [field(Field::DropPh), figure(Figure::WortPh), figure(Figure::WortBuffering), figure(Figure::SourVolume), field(Field::AcidStrength)],
            [WORT_BUFFER, PKA], "Spread of the curve and of the pH now.";
        /// Next dose.
        next_dose NextDose: Volume as SmallVolume, "Pour now",
            "The dose that passes the wanted pH by more than 0.05 in at most one wort of twenty; of the first, half of what is expected at most.",
            [figure(Figure::DropAcid), field(Field::MeterError)], [WORT_BUFFER, LADDER_SOURCE],
            "A safe share of the whole, chosen from its spread. Stir, wait, measure, then see the next dose.";
        /// The same on the scale.
        dose_weight DoseWeight: Mass as SmallMass, "That is, weighed",
            "Volume times density, of the acid or of the dilution below.", [figure(Figure::NextDose), field(Field::AcidStrength), field(Field::ScaleStep)], [DOSING_SOURCE], "Of the scale.";
        /// The same as a dilution, when the dose is too small.
        dose_stock DoseStock: Volume as SmallVolume, "Too small to measure: of a tenfold dilution",
            "One part of acid into nine of water by weight, again where that is still too small: ten steps of the scale and a millilitre at least.",
            [figure(Figure::NextDose), field(Field::ScaleStep)], [DOSING_SOURCE], "Of scale and syringe.";
        /// The same in drops.
        dose_drops DoseDrops: Count as Count, "In drops of your dropper",
            "Volume of the dose, or of its dilution, times the drops in a millilitre.", [figure(Figure::NextDose), field(Field::Dropper)], [DOSING_SOURCE],
            "Drops of one dropper differ by about 5 %.";
        /// Acid from the bottle in the wort.
        acid_in_wort AcidInWort: Concentration as DissolvedAcid, "Acid from the bottle in the wort then",
            "What was poured and what is still to pour, over the wort. Half of all tasters notice lactic acid in beer from about 0.7 g/L; the souring makes several times that. For the other acids no figure was found.",
            [figure(Figure::DropAcid), field(Field::AcidStrength)], [DOSING_SOURCE, TASTE_SOURCE], "As the acid still to go.";
    }
    Souring {
        /// pH now.
        sour_ph SourPhNow: Ph as Ph, "pH at the newest reading",
            "The newest reading.", [], [Source::our_estimate("Your meter.")], "The meter's error.";
        /// Bacteria pitched.
        cells PitchedCells: CellDensity as CellDensity, "Living bacteria pitched",
            "What was typed; else the pack's amount and count, less what died since, over the wort; else an assumption.",
            [field(Field::Bacteria), field(Field::PackAmount), field(Field::PackCells), field(Field::PackAge)],
            [Source::our_estimate("counts that packs state; death by age and warmth")], "Packs differ by a factor of two and more.";
        /// Time from pitching to what is wanted.
        sour_time SourTime: Duration as Hours, "From pitching until it is sour enough",
            "Growth by temperature and pH, acid from growth and upkeep, slowed by the acid itself, turned to pH by this wort's own curve. Six traits of the souring are learned from your readings, and the model's own error is counted.",
            [field(Field::SourPh), field(Field::SourTemperature), figure(Figure::PitchedCells), figure(Figure::WortPh), figure(Figure::WortBuffering)],
            [CARDINAL, PLANTARUM, WORT_BUFFER, FORECAST_SOURCE], "Strains and pitches differ widely; each reading narrows it. A late end of 60 days means that it may never come.";
        /// Chance that it gets there.
        sour_chance SourChance: Fraction as Percent, "Chance that it gets there",
            "Share of the likely courses that reach what is wanted within 60 days.", [figure(Figure::SourTime)], [CARDINAL], "Of the model.";
        /// pH then.
        ph_then PhThen: Ph as Ph, "pH then",
            "What is wanted, or the pH at the acidity wanted.", [field(Field::SourPh), field(Field::SourAcidity)], [WORT_BUFFER, PKA], "Spread of the buffering.";
        /// Lactic acid formed.
        lactic LacticFormed: Concentration as DissolvedAcid, "Lactic acid formed by then",
            "Charge that the wort takes along its curve, over the share of lactic acid that has given its proton.",
            [figure(Figure::WortPh), field(Field::SourPh), figure(Figure::WortBuffering)], [WORT_BUFFER, PKA],
            "Spread of the buffering.";
        /// Titratable acidity.
        acidity TitratableAcidityFigure: TitratableAcidity as TitratableAcidity, "Titratable acidity then",
            "Acid formed and added, plus what the wort itself takes up to pH 8.2.",
            [figure(Figure::LacticFormed), figure(Figure::SourGravity)], [WORT_BUFFER, PKA],
            "Spread of the buffering. pH alone does not fix it.";
        /// Manganese stock.
        manganese Manganese: Volume as SmallVolume, "Manganese sulfate stock, once",
            "So much that the wort gains 0.2 mg/L of manganese, or less where 0.4 mg/L in all come first. A try for pitches that were slow again and again; wort usually holds enough.",
            [field(Field::ManganeseStock), figure(Figure::SourVolume)], [MANGANESE_DOSE_SOURCE, MANGANESE_CEILING_SOURCE, MANGANESE_IN_WORT_SOURCE], "What the wort holds already is an estimate.";
    }
    MainBoil {
        /// Bitterness.
        bitterness BitternessFigure: Bitterness as Bitterness, "Bitterness",
            "Alpha acid per litre of wort after the boil, isomerised and lost again along the temperatures of the day: heating up, boil, stand, chilling; then what trub and yeast leave of it.",
            [field(Field::MainBoil), field(Field::Stand), field(Field::IsoKept), figure(Figure::BoilingPoint), figure(Figure::ChillTime), figure(Figure::FermenterVolume)],
            [MALOWICKI_SOURCE, SOUR_SOURCE, SOLUBILITY_SOURCE, AGE_SOURCE, FORM_SOURCE], "Alpha acid on the pack, rates, trub and yeast; and nobody has published how much isomerises at this pH: half to all of it. Below 90 °C the rates extrapolate.";
        /// The same by Tinseth's formula.
        tinseth_bitterness TinsethBitterness: Bitterness as Bitterness, "For comparison: by Tinseth's formula",
            "Alpha acid per litre times 1.65 × 0.000125^(SG − 1) × (1 − e^(−0.04 t)) / 4.15, the boil's minutes for t. Sourness is not in it.",
            [field(Field::MainBoil), figure(Figure::SourGravity), figure(Figure::FermenterVolume)], [TINSETH_SOURCE], "It gives none.";
        /// The same by Rager's formula.
        rager_bitterness RagerBitterness: Bitterness as Bitterness, "For comparison: by Rager's formula",
            "Alpha acid per litre times (18.11 + 13.86 tanh((t − 31.32) / 18.27)) %, the boil's minutes for t. Sourness is not in it.",
            [field(Field::MainBoil), figure(Figure::SourGravity), figure(Figure::FermenterVolume)], [RAGER_SOURCE], "It gives none.";
        /// Time to chill.
        chill_time ChillTime: Duration as Minutes, "Time to chill",
            "By coil: heat of wort and kettle over what the water carries off, its share your house's. By plates: the wort's volume over its flow.",
            [field(Field::CoolingFlow), field(Field::Tap), field(Field::Chilling), field(Field::ChillerFlow), field(Field::FermentTemperature)],
            [WORT_HEAT_SOURCE], "About ±25 % until a chill was timed.";
        /// Cooling water.
        chill_water ChillWater: Volume as Volume, "Cooling water for it",
            "Flow times time.", [figure(Figure::ChillTime), field(Field::CoolingFlow)], [BALANCE], "As the time.";
        /// Hold in place of the boil.
        hold Hold: Duration as Minutes, "Hold all of it at that temperature for",
            "Twelve powers of ten fewer bacteria by their D and z values, ten minutes at least. Hold for the late end: that is the hardiest strain published.",
            [field(Field::HoldTemperature)], [HARDIEST_SOURCE, STRAINS_SOURCE, WANTED_SOURCE, SHORTEST_SOURCE], HOLD_ASSUMES;
        /// Hops for the wanted bitterness.
        hop_mass HopMass: Mass as SmallMass, "Hops for the bitterness wanted",
            "The bitterness wanted, less what the other charges give, over what one gram of the first gives.",
            [field(Field::WantedBitterness)], [MALOWICKI_SOURCE, SOUR_SOURCE], "As the bitterness.";
        /// Volume after the main boil, hot.
        post_boil_volume PostBoilVolume: Volume as Volume, "In the kettle after the boil, hot",
            "Wort to sour less the main boil's evaporation, at the boiling point.",
            [figure(Figure::SourVolume), field(Field::Evaporation), field(Field::MainBoil)], [BALANCE, ICUMSA],
            "Spread of evaporation.";
        /// Share of the kettle's extract that reaches the fermenter.
        kettle_share KettleShare: Fraction as Percent, "Of the kettle's extract, kept to the fermenter",
            "Extract in the fermenter and in the wort set aside, over the extract before the boil; the rest stays in kettle and hoses.",
            [figure(Figure::KettleExtract), figure(Figure::OriginalGravity), figure(Figure::FermenterVolume)], [BALANCE], "As the readings.";
        /// Original gravity.
        original_gravity OriginalGravity: Plato as Gravity, "Original gravity",
            "The extract that is left in the water that is left. Souring takes a little sugar and gives the same weight of acid, so gravity hardly moves.",
            [figure(Figure::KettleExtract), figure(Figure::PostBoilVolume)], [BALANCE, PLATO],
            "Spread of efficiency and evaporation.";
        /// Volume in the fermenter.
        fermenter_volume FermenterVolume: Volume as Volume, "In the fermenter",
            "After the boil, cooled to 20 °C, less what stays in kettle and hoses.",
            [figure(Figure::PostBoilVolume), field(Field::KettleLoss)], [BALANCE, ICUMSA], "Spread of losses and evaporation.";
    }
    Ferment {
        /// Yeast cells.
        yeast_cells YeastCells: Cells as Cells, "Yeast to pitch",
            "Pitch rate times volume times gravity, and more for sour wort.",
            [field(Field::PitchRate), figure(Figure::FermenterVolume), figure(Figure::OriginalGravity), field(Field::SourPh)],
            [PITCH], "Pitch rates are a habit, not a law: ±30 % does little.";
        /// Dry yeast.
        dry_yeast DryYeast: Mass as SmallMass, "That is dry yeast of about",
            "Cells over what a gram holds alive: by the pack or as usual, less what died by age and warmth.",
            [figure(Figure::YeastCells), field(Field::YeastCells), field(Field::YeastAge), field(Field::YeastKept)], [FRESH_SOURCE, VIABILITY_SOURCE], "From what packs hold.";
        /// Packs of liquid yeast.
        yeast_packs YeastPacks: Count as Count, "That is packs of liquid yeast",
            "Cells over what a pack holds alive: by the pack or as usual, less what died by age and warmth.",
            [figure(Figure::YeastCells), field(Field::YeastCells), field(Field::YeastAge), field(Field::YeastKept)], [FRESH_SOURCE, VIABILITY_SOURCE], "From what packs hold.";
        /// Slurry of another batch.
        yeast_slurry YeastSlurry: Volume as SmallVolume, "That is thick slurry of about",
            "Cells over what a millilitre holds alive: as counted or as usual, less what died by age and warmth.",
            [figure(Figure::YeastCells), field(Field::YeastCells), field(Field::YeastAge), field(Field::YeastKept)], [FRESH_SOURCE, VIABILITY_SOURCE], "Slurries differ three-fold: count, or settle and measure.";
        /// Cells from the starter.
        starter_cells StarterCells: Cells as Cells, "Living cells from the starter",
            "What goes in alive and what grows on the extract of the wort set aside.",
            [field(Field::StarterYeast), field(Field::StarterWort), figure(Figure::SourGravity)], [STARTER_SOURCE, VIABILITY_SOURCE], "Strains differ five-fold.";
        /// Time of pure oxygen.
        oxygen_time OxygenTime: Duration as Seconds, "Pure oxygen through a fine stone for",
            "Oxygen wanted in all of the wort, over the flow and the share of it that dissolves on its way up.",
            [field(Field::Oxygen), field(Field::OxygenFlow), figure(Figure::FermenterVolume)], [OXYGEN_SOURCE, UPTAKE_SOURCE],
            "15 to 60 % dissolves. Too little slows the yeast; far too much harms it.";
        /// Gas in the room.
        room_gas RoomGas: Fraction as Percent, "Carbon dioxide in the shut room",
            "All gas of the fermentation let out evenly over three days into the room, whose air changes 0.3 times in an hour, always mixed.",
            [field(Field::FermentRoom), figure(Figure::FermenterVolume), figure(Figure::OriginalGravity)], [ROOM_SOURCE], "The floor, a pit or a fridge hold far more.";
        /// Final gravity without fruit.
        final_gravity FinalGravity: Plato as Gravity, "Final gravity, before fruit",
            "Original gravity times what the yeast leaves; the newest reading once it is past.",
            [figure(Figure::OriginalGravity), field(Field::Attenuation)], [BALLING], "Of the attenuation: that of your house once it was learned, wide before.";
        /// Alcohol without fruit.
        alcohol AlcoholBeforeFruit: AlcoholByVolume as Alcohol, "Alcohol, before fruit",
            "Balling's balance: 2.0665 g of extract give 1 g of alcohol.",
            [figure(Figure::OriginalGravity), figure(Figure::FinalGravity)], [BALLING], "Spread of original and final gravity.";
        /// Gravity at the newest reading.
        gravity_now GravityNow: Plato as Gravity, "Gravity at the newest reading",
            "The newest hydrometer reading at 20 °C, or what a refractometer's reading means with alcohol in the beer.",
            [field(Field::RefractometerFactor), figure(Figure::OriginalGravity)],
            [ICUMSA, BALLING, Source::derived("0.41 °Bx for each percent of ethanol, from handbook refractive indices.")],
            "Of a hydrometer about ±0.1 °P; of a refractometer about ±0.4 °P.";
        /// Attenuation at the newest reading.
        attenuation_now AttenuationNow: Fraction as Percent, "Apparent attenuation at that reading",
            "The fall in gravity over the original gravity.",
            [figure(Figure::GravityNow), figure(Figure::OriginalGravity)], [BALLING], "As the two gravities.";
        /// Alcohol at the newest reading.
        alcohol_now AlcoholNow: AlcoholByVolume as Alcohol, "Alcohol at that reading",
            "Balling's balance between original gravity and the reading; acid from the souring is no alcohol.",
            [figure(Figure::GravityNow), figure(Figure::OriginalGravity)], [BALLING], "As the two gravities.";
        /// Spunding pressure.
        spunding Spunding: GaugePressure as Pressure, "Spunding valve for the carbonation wanted",
            "The pressure at which beer of the fermentation temperature holds the carbonation wanted.",
            [field(Field::Carbonation), field(Field::FermentTemperature)], [CO2_FIT], "About ±5 kPa for the fit and the gauge.";
    }
    Fruit {
        /// Of the first fruit, for what is wanted.
        fruit_wanted FruitWanted: Mass as Mass, "Of the first fruit, for what you want",
            "The weight at which the load, the alcohol or the pH comes out as wanted, the other fruit left out.",
            [field(Field::WantedLoad), field(Field::WantedAlcohol), field(Field::WantedFruitPh), figure(Figure::FermenterVolume)],
            [FRUIT, INTENSITY_SOURCE, FRUITED_PH_SOURCE], "Lots of fruit differ by a fifth and more.";
        /// Times to purge the headspace.
        purge Purge: Count as Times, "Fill with gas and let out, times",
            "Each filling, to the plate's pressure but no more than 100 kPa or else to that of the fermentation, thins the air by the ratio of absolute pressures, until 1 % is left.",
            [field(Field::FermentPressure), field(Field::FermenterPressure)], [PURGE_SOURCE], "Exact for a space that mixes.";
        /// Fruit per litre.
        fruit_load FruitLoad: Concentration as Load, "Fruit per litre of beer",
            "Weight of fruit over the beer in the fermenter.", [figure(Figure::FermenterVolume)],
            [Source::common_practice("About 175 g of purée per litre is heavily fruited.")], "As the volume.";
        /// Sugar from the fruit.
        fruit_sugar FruitSugar: Mass as Mass, "Sugar the fruit brings",
            "Edible weight times the fruit's sugar; not its Brix, which also counts acids and fibre.",
            [], [FRUIT], "Ripeness moves it by about ±20 %.";
        /// Volume with fruit.
        fruited_volume FruitedVolume: Volume as Volume, "In the fermenter with fruit",
            "Beer plus the fruit's juice and pulp.", [figure(Figure::FermenterVolume)], [FRUIT, ICUMSA], "Spread of volume and of the fruit's water.";
        /// Room left.
        room_left RoomLeft: Volume as Volume, "Room left in the fermenter",
            "The fermenter to the brim less beer and fruit.", [field(Field::FermenterVolume), figure(Figure::FruitedVolume)],
            [BALANCE], "As the volume with fruit.";
        /// Alcohol with fruit.
        fruited_alcohol FruitedAlcohol: AlcoholByVolume as Alcohol, "Alcohol when the fruit is fermented",
            "Balling's balance over wort and fruit sugar, in the volume with the fruit's water.",
            [figure(Figure::AlcoholBeforeFruit), figure(Figure::FruitSugar), figure(Figure::FruitedVolume)], [BALLING, FRUIT], "Spread of wort and fruit.";
        /// Final gravity with fruit.
        fruited_gravity FruitedGravity: Plato as Gravity, "Final gravity with fruit",
            "What is left of wort and fruit solids, and the alcohol, in one density.",
            [figure(Figure::FinalGravity), figure(Figure::FruitSugar)], [BALLING, FRUIT], "Spread of attenuation and fruit.";
        /// Bitterness with fruit.
        fruited_bitterness FruitedBitterness: Bitterness as Bitterness, "Bitterness with fruit",
            "The same bitter matter in the larger volume.", [figure(Figure::BitternessFigure), figure(Figure::FruitedVolume)],
            [BALANCE], "As the bitterness.";
        /// pH with fruit.
        fruited_ph FruitedPh: Ph as Ph, "pH with fruit",
            "The pH at which beer and fruit, each with its own buffering, agree.",
            [figure(Figure::SourPhNow), figure(Figure::WortBuffering)], [FRUIT, PKA, WORT_BUFFER], "Fruit's acid differs by variety and ripeness.";
        /// Acidity with fruit.
        fruited_acidity FruitedAcidity: TitratableAcidity as TitratableAcidity, "Titratable acidity with fruit",
            "Acid of the beer and of the fruit over the larger volume.",
            [figure(Figure::TitratableAcidityFigure), figure(Figure::FruitedVolume)], [FRUIT, PKA], "Spread of both.";
    }
    Package {
        /// Warmest the package may get.
        warmest_safe WarmestSafe: Temperature as Temperature, "Warmest it may ever get",
            "The warmest at which the burst check gives no reason to stop and the pressure stays below eight tenths of the limit.",
            [figure(Figure::PotentialCarbonation), field(Field::Headspace), field(Field::PackageLimit)], [HENRY, VIRIAL_SOURCE], "The upper end of the pressure decides.";
        /// Time in a pasteurising bath.
        bath_time BathTime: Duration as Minutes, "To pasteurise at 60 °C, hold its middle for",
            "A hundred units, one of which is a minute at 60 °C.", [], [PASTEURISING_SOURCE, UNITS_SOURCE], "Of the thermometer in the middle of the fullest package.";
        /// Pressure in that bath.
        bath_pressure BathPressure: GaugePressure as Pressure, "Pressure in that bath",
            "The same balance at 60 °C, with nothing left to ferment.", [figure(Figure::PotentialCarbonation), field(Field::Headspace)], [HENRY, VIRIAL_SOURCE], "Above the package's mark: do not.";
        /// Packages to fill.
        packages Packages: Count as Times, "Packages it fills",
            "Volume to package over what one takes below its gas space.",
            [figure(Figure::PackagedVolume), field(Field::PackageVolume), field(Field::Headspace)], [BALANCE], "As the volume.";
        /// Alcohol in a glass.
        glass_alcohol GlassAlcohol: Mass as SmallMass, "Alcohol in one glass",
            "Alcohol of beer and fruit, over the volume, times the glass.", [field(Field::Serving), figure(Figure::FruitedAlcohol)], [BALANCE], "As the alcohol.";
        /// Energy in a glass.
        glass_energy GlassEnergy: Energy as Energy, "Energy in one glass",
            "Ethanol, extract and acid of the finished beer, each times its energy.",
            [field(Field::Serving), figure(Figure::FruitedAlcohol), figure(Figure::FruitedGravity)], [ENERGY_SOURCE], "As alcohol and final gravity.";
        /// Cost of a litre.
        litre_cost LitreCost: Count as Count, "Cost of a litre, in your money",
            "Fruit by weight and price, and what all else has cost, over the volume packaged.",
            [field(Field::OtherCost), figure(Figure::PackagedVolume)], [BALANCE], "As the volume.";
        /// Sodium in the beer.
        sodium_in_beer SodiumInBeer: Concentration as Concentration, "Sodium in the beer, of water and salts",
            "What water and salts brought, less what grain, losses and the wort set aside kept, in the beer with its fruit. Malt and fruit bring little.",
            [figure(Figure::SodiumAfter), figure(Figure::PackagedVolume)], [BALANCE, WEIGHTS], "Of the report.";
        /// Chloride in the beer.
        chloride_in_beer ChlorideInBeer: Concentration as Concentration, "Chloride in the beer, of water and salts",
            "As the sodium. Malt brings some hundred mg/L more.",
            [figure(Figure::ChlorideAfter), figure(Figure::PackagedVolume)], [BALANCE, WEIGHTS], "Of the report.";
        /// Acid by a taste trial.
        trial_acid TrialAcid: Volume as SmallVolume, "Acid for all the beer, by the glass",
            "Acid in the glass over the glass, times the beer.", [field(Field::TrialAcid), field(Field::TrialGlass), field(Field::TrialPart), field(Field::AcidStrength)],
            [DOSING_SOURCE], "Glass, batch and dose, 2 % each, and the part that taste can't tell.";
        /// First part of it.
        trial_first TrialFirst: Volume as SmallVolume, "Of it, pour first",
            "Three quarters, or less where the trial was coarse. Then stir, taste, and pour the rest.", [figure(Figure::TrialAcid)], [DOSING_SOURCE],
            "A safe share of the whole.";
        /// Volume packaged.
        packaged_volume PackagedVolume: Volume as Volume, "To package",
            "The volume with fruit less what the pulp and the yeast keep.",
            [figure(Figure::FruitedVolume), field(Field::FermenterLoss)], [BALANCE, FRUIT], "Spread of volume and of the pulp's share.";
        /// Keg pressure.
        keg_pressure KegPressure: GaugePressure as Pressure, "Regulator at serving temperature",
            "The pressure at which cold beer holds the carbonation wanted.",
            [field(Field::Carbonation), field(Field::ServingTemperature)], [CO2_FIT], "About ±5 kPa for the fit and the gauge.";
        /// CO2 already dissolved.
        dissolved Dissolved: Carbonation as Carbonation, "Carbon dioxide already in the beer",
            "What beer of the fermentation temperature holds under the pressure kept.",
            [field(Field::FermentTemperature), field(Field::FermentPressure)], [CO2_FIT], "Less if the beer was warmer later or stood open.";
        /// Priming sugar.
        priming PrimingSugar: Mass as SmallMass, "Priming sugar for all the beer",
            "Carbon dioxide still wanted over what one gram of the sugar gives.",
            [field(Field::Carbonation), figure(Figure::Dissolved), figure(Figure::PackagedVolume)],
            [Source::derived("Stoichiometry of fermentation, 5 % of the sugar goes to yeast.")], "Spread of what is dissolved and of the volume.";
        /// CO2 if all sugar left ferments.
        potential_carbonation PotentialCarbonation: Carbonation as Carbonation, "Carbon dioxide if all sugar left ferments",
            "What is dissolved or added, plus what the sugar not yet fermented would give.",
            [figure(Figure::Dissolved), figure(Figure::FruitSugar), figure(Figure::FruitedGravity)],
            [Source::derived("Stoichiometry of fermentation."), BALLING], "Reckoned on the safe side: all sugar counts as fermentable.";
        /// Pressure then.
        package_pressure PackagePressure: GaugePressure as Pressure, "Pressure then, at the warmest",
            "Carbon dioxide shared between beer and gas space at the warmest temperature, with the air and vapour there, the gas not ideal and the beer swollen.",
            [figure(Figure::PotentialCarbonation), field(Field::Warmest), field(Field::Headspace)], [HENRY, BEER_SOURCE, VIRIAL_SOURCE, EXPANSION_SOURCE], "Reckoned on the safe side.";
    }
}
