//! The batch document: what is planned, what was measured, and with which kit.

mod check;
mod reading;
mod step;
mod table;

pub use check::{DocumentError, MOST_ITEMS, MOST_READINGS, MOST_TEXT};
pub use reading::{Reading, ReadingKind, Readings};
pub use step::{Stage, Step};
pub use table::{Fallback, OutOfRange, Slot, Spec};

use crate::house::House;
use crate::moment::Moment;
use calc::brew::extract::WORT_CORRECTION_SOURCE;
use calc::brew::package::PackageKind;
use calc::brew::treatment::{Disinfectant, RESIDUAL_SOURCE, Softening, Sulfite};
use calc::brew::water::{Finish, Ion, SaltAtHand};
use calc::chem::meter::Compensation;
use calc::data::Source;
use calc::data::acids::AcidKind;
use calc::data::cultures::{Culture, Form};
use calc::data::fruits::Fruit;
use calc::data::malts::MaltClass;
use calc::data::salts::{CHALK_SOURCE, SOLUTION_SOURCE, Salt, calcium_chloride_share};
use calc::quantity::{
    Altitude, Amount, Bitterness, Carbonation, CellDensity, Cells, ChargeConcentration, Concentration,
    Conductivity, Count, Density, Dimension, Duration, Fraction, GaugePressure, MaltBuffering, Mass, Ph,
    PhDifference, Plato, Power, Quantity, Temperature, TitratableAcidity, Volume, VolumePerMass, VolumeRate,
};
use serde::{Deserialize, Serialize};
use table::fields;

const KIT: Source = Source::our_estimate("A common size; type your own kit's figure.");
const TRADE: Source = Source::common_practice("Usual for quick-soured beer.");
const ESTIMATE: Source = Source::our_estimate("Our estimate until your readings teach a better one.");

fields! {
    /// Everything a person can type that is a single number.
    Numbers, Field {
        /// Beer in the fermenter before fruit.
        batch_volume BatchVolume "batch_volume_l": Volume as Volume,
            "Beer in the fermenter, before fruit", 4.0..=60.0, or 18.0 KIT;
        /// Original gravity wanted.
        wanted_gravity WantedGravity "wanted_gravity_plato": Plato as Gravity,
            "Original gravity wanted", 4.0..=25.0, or 11.0 TRADE;

        /// Kettle to the brim.
        kettle_volume KettleVolume "kettle_volume_l": Volume as Volume,
            "Kettle, to the brim", 5.0..=120.0, or 35.0 KIT;
        /// Fermenter to the brim.
        fermenter_volume FermenterVolume "fermenter_volume_l": Volume as Volume,
            "Fermenter, to the brim", 4.0..=120.0, or 30.0 KIT;
        /// Electric heating power.
        heating_power HeatingPower "heating_power_kw": Power as Power,
            "Heating power", 0.3..=15.0, or 2.5 KIT;
        /// Height above the sea.
        altitude Altitude "altitude_m": Altitude as Altitude,
            "Height above the sea", -400.0..=4500.0, or 0.0 KIT;
        /// Share of the grist's fine-grind extract that reaches the kettle.
        efficiency Efficiency "efficiency": Fraction as Percent,
            "Extract that reaches the kettle", 0.3..=1.0, or 0.75 ESTIMATE;
        /// Water kept by the grain.
        absorption Absorption "absorption_l_per_kg": VolumePerMass as VolumePerMass,
            "Water kept by the grain", 0.1..=2.0, or 0.8 ESTIMATE;
        /// Water lost per hour of boil.
        evaporation Evaporation "evaporation_l_per_h": VolumeRate as VolumeRate,
            "Evaporation at the boil", 0.0..=20.0, or 2.2 ESTIMATE;
        /// Wort left in the kettle, hoses and chiller.
        kettle_loss KettleLoss "kettle_loss_l": Volume as Volume,
            "Left in kettle and hoses", 0.0..=15.0, or 1.0 ESTIMATE;
        /// Beer left with yeast and fruit at packaging.
        fermenter_loss FermenterLoss "fermenter_loss_l": Volume as Volume,
            "Left under the beer at packaging", 0.0..=15.0, or 0.8 ESTIMATE;
        /// Smallest step of the scale.
        scale_step ScaleStep "scale_step_g": Mass as SmallMass,
            "Smallest step of your scale", 0.01..=10.0, or 0.1 KIT;
        /// Highest pressure on the fermenter's plate.
        fermenter_pressure FermenterPressure "fermenter_pressure_limit_kpa": GaugePressure as Pressure,
            "Highest pressure on the fermenter's plate", 0.0..=1000.0;

        /// Free or combined chlorine in the water from the tap.
        chlorine Chlorine "chlorine_mg_per_l": Concentration as Concentration, "Chlorine in the tap water", 0.0..=10.0, or 4.0 RESIDUAL_SOURCE;
        /// Share of distilled or reverse-osmosis water.
        distilled Distilled "distilled_share": Fraction as Percent,
            "Distilled or reverse-osmosis share", 0.0..=1.0,
            or 0.0 Source::our_estimate("Water from the tap alone.");

        /// Water kept back to rinse the grain.
        rinse Rinse "rinse_water_l": Volume as Volume, "Water kept back to rinse the grain", 0.0..=60.0,
            or 0.0 Source::our_estimate("All the water goes into the mash, as is usual with a grain basket.");
        /// pH wanted in the rinse water.
        rinse_ph RinsePh "rinse_ph_wanted": Ph as Ph, "pH of the rinse water", 5.0..=8.0,
            or 5.8 Source::common_practice("Below 6, so that rinsing draws no astringency from the husks.");
        /// Temperature of the grain before mashing in.
        grain_temperature GrainTemperature "grain_temperature_c": Temperature as Temperature,
            "Grain temperature", -10.0..=45.0, or 20.0 KIT;
        /// Temperature of the mash.
        mash_temperature MashTemperature "mash_temperature_c": Temperature as Temperature,
            "Mash temperature", 35.0..=78.0, or 66.0 TRADE;
        /// Length of the mash.
        mash_time MashTime "mash_time_min": Duration as Minutes, "Mash time", 10.0..=720.0, or 60.0 TRADE;
        /// Mash-out temperature.
        mash_out MashOut "mash_out_c": Temperature as Temperature, "Mash-out", 60.0..=82.0,
            or 77.0 Source::common_practice("77 °C (170 °F) for about 10 minutes.");
        /// pH wanted in the mash.
        mash_ph MashPh "mash_ph_wanted": Ph as Ph, "Mash pH wanted", 4.8..=6.2,
            or 5.4 Source::common_practice("5.2 to 5.6 at room temperature.");

        /// Strength of the acid at hand.
        acid_strength AcidStrength "acid_strength": Fraction as Percent,
            "Strength of your acid", 0.01..=1.0, or 0.8 Source::our_estimate("Read it off the bottle.");
        /// Length of the sanitising boil.
        clear_boil ClearBoil "sanitising_boil_min": Duration as Minutes, "Sanitising boil", 0.0..=120.0,
            or 15.0 Source::common_practice("A short boil of about 15 minutes.");
        /// Unsoured wort set aside for the yeast starter.
        starter_wort StarterWort "starter_wort_l": Volume as Volume,
            "Unsoured wort set aside for the yeast", 0.0..=10.0, or 1.0 TRADE;
        /// pH to pre-acidify to before pitching the souring bacteria.
        drop_ph DropPh "drop_ph_wanted": Ph as Ph, "pH before the bacteria", 3.8..=5.6,
            or 4.5 Source::common_practice("Drop to pH 4.5 after the short boil.");
        /// Error of the pH meter, one standard deviation.
        meter_error MeterError "meter_error_ph": PhDifference as PhDifference,
            "Give or take of your pH meter", 0.005..=0.3,
            or 0.03 Source::our_estimate("A calibrated pocket meter.");

        /// Temperature of the souring.
        sour_temperature SourTemperature "sour_temperature_c": Temperature as Temperature,
            "Souring temperature", 5.0..=50.0,
            or 24.0 Source::common_practice("L. plantarum held near 24 °C (75 °F).");
        /// pH wanted at the end of souring.
        sour_ph SourPh "sour_ph_wanted": Ph as Ph, "Sour to", 3.0..=4.4,
            or 3.4 Source::common_practice("pH 3.2 to 3.5 for a fruited sour.");
        /// Living bacteria pitched, per mL of wort.
        bacteria Bacteria "bacteria_million_per_ml": CellDensity as CellDensity,
            "Living bacteria pitched", 0.01..=1000.0, or 10.0 ESTIMATE;

        /// Drops that the person's dropper makes of a millilitre.
        dropper Dropper "drops_per_ml": Count as Count, "Drops in 1 mL from your dropper", 5.0..=80.0;
        /// Wort that is titrated in a glass.
        sample Sample "sample_l": Volume as SmallVolume, "Wort in the titrated sample", 0.02..=1.0,
            or 0.1 Source::our_estimate("A glass of 100 mL.");
        /// Titratable acidity wanted at the end of souring, in place of a pH.
        sour_acidity SourAcidity "sour_acidity_wanted_g_per_l_lactic": TitratableAcidity as TitratableAcidity,
            "Or sour to this acidity", 2.0..=25.0;
        /// Culture pitched, in the unit of its form.
        pack_amount PackAmount "pack_amount": Count as Count, "Culture pitched: capsules, g or mL", 0.01..=100000.0;
        /// Living cells in one capsule, gram or millilitre.
        pack_cells PackCells "pack_cells_billion": Cells as Cells,
            "Living cells in one of these, by the pack", 0.001..=10000.0;
        /// Age of the culture.
        pack_age PackAge "pack_age_min": Duration as Days, "Age of the culture", 0.0..=5000000.0,
            or 43200.0 Source::our_estimate("A month old; read the date on the pack.");
        /// Temperature at which the culture was kept.
        pack_kept PackKept "pack_kept_c": Temperature as Temperature, "The culture was kept at", -30.0..=50.0,
            or 4.0 Source::our_estimate("Kept in a fridge.");
        /// Strength of a manganese sulfate stock.
        manganese_stock ManganeseStock "manganese_stock_mg_per_l": Concentration as Load,
            "Manganese sulfate stock, if you dose it", 100.0..=100000.0;
        /// Temperature of a hold in place of the boil.
        hold HoldTemperature "kill_hold_c": Temperature as Temperature,
            "Hold instead of boiling, at", 60.0..=100.0;

        /// Length of the main boil.
        main_boil MainBoil "main_boil_min": Duration as Minutes, "Main boil", 0.0..=240.0, or 30.0 TRADE;
        /// Bitterness wanted.
        wanted_bitterness WantedBitterness "wanted_bitterness_ibu": Bitterness as Bitterness,
            "Bitterness wanted", 0.0..=100.0;

        /// Attenuation of the wort's extract, apparent.
        attenuation Attenuation "attenuation": Fraction as Percent,
            "Apparent attenuation", 0.4..=1.0, or 0.78 ESTIMATE;
        /// What a refractometer reads in wort over the extract that is there.
        refractometer_factor RefractometerFactor "refractometer_factor": Count as Count,
            "Refractometer factor, Brix over Plato", 0.9..=1.2, or 1.04 WORT_CORRECTION_SOURCE;
        /// Fermentation temperature.
        ferment_temperature FermentTemperature "ferment_temperature_c": Temperature as Temperature,
            "Fermentation temperature", 4.0..=40.0, or 20.0 TRADE;
        /// Pressure held during fermentation.
        ferment_pressure FermentPressure "ferment_pressure_kpa": GaugePressure as Pressure,
            "Pressure during fermentation", 0.0..=300.0,
            or 10.0 Source::common_practice("Kept under about 14 kPa (2 psi) gauge.");
        /// Pitch rate for wort that is not sour.
        pitch_rate PitchRate "pitch_million_per_ml_plato": CellDensity as PitchRate,
            "Yeast to pitch, before the extra for sourness", 0.1..=5.0,
            or 0.75 Source::from_memory("0.75 to 1.0 million per mL and degree Plato for ales.");

        /// Beer in the glass of a taste trial.
        trial_glass TrialGlass "trial_glass_l": Volume as SmallVolume, "Taste trial: beer in the glass", 0.02..=1.0,
            or 0.1 Source::our_estimate("A glass of 100 mL.");
        /// Diluted acid that made the glass sour enough.
        trial_acid TrialAcid "trial_acid_l": Volume as SmallVolume,
            "Taste trial: tenfold diluted acid in it", 0.0..=0.1;
        /// The smallest part of it that was added at a time.
        trial_part TrialPart "trial_part_l": Volume as SmallVolume, "Taste trial: added at a time", 0.00001..=0.02,
            or 0.0005 Source::our_estimate("Half a millilitre.");

        /// Carbonation wanted.
        carbonation Carbonation "carbonation_vol": Carbonation as Carbonation,
            "Carbonation wanted", 0.5..=5.0, or 2.6 TRADE;
        /// Temperature at which the beer is served and carbonated.
        serving_temperature ServingTemperature "serving_temperature_c": Temperature as Temperature,
            "Serving temperature", -1.0..=25.0, or 4.0 TRADE;
        /// Warmest the package will ever be.
        warmest Warmest "warmest_storage_c": Temperature as Temperature,
            "Warmest the package could get", 0.0..=60.0,
            or 30.0 Source::our_estimate("A warm room or a car boot in summer.");
        /// Gas space in the package, as a share of its volume.
        headspace Headspace "package_headspace": Fraction as Percent,
            "Gas space in the package", 0.005..=0.6, or 0.04 KIT;
        /// Pressure the package is rated for.
        package_limit PackageLimit "package_pressure_limit_kpa": GaugePressure as Pressure,
            "Working pressure on the package's mark", 50.0..=3000.0;
        /// Hours between the two last equal gravity readings.
        stable_hours StableHours "stable_gravity_min": Duration as Hours,
            "Gravity unchanged for", 0.0..=120000.0;
    }
}

fields! {
    /// What a water report gives of one water.
    WaterNumbers, WaterField {
        /// Share of all the water.
        share Share "share": Fraction as Percent, "Share of all the water", 0.0..=1.0;
        /// Calcium.
        calcium Calcium "calcium_mg_per_l": Concentration as Calcium, "Calcium", 0.0..=1000.0;
        /// Magnesium.
        magnesium Magnesium "magnesium_mg_per_l": Concentration as Magnesium, "Magnesium", 0.0..=500.0;
        /// Sodium.
        sodium Sodium "sodium_mg_per_l": Concentration as Sodium, "Sodium", 0.0..=2000.0;
        /// Potassium.
        potassium Potassium "potassium_mg_per_l": Concentration as Potassium, "Potassium", 0.0..=500.0;
        /// Chloride.
        chloride Chloride "chloride_mg_per_l": Concentration as Chloride, "Chloride", 0.0..=3000.0;
        /// Sulfate.
        sulfate Sulfate "sulfate_mg_per_l": Concentration as Sulfate, "Sulfate", 0.0..=2000.0;
        /// Nitrate.
        nitrate Nitrate "nitrate_mg_per_l": Concentration as Nitrate, "Nitrate", 0.0..=500.0;
        /// Alkalinity.
        alkalinity Alkalinity "alkalinity_meq_per_l": ChargeConcentration as Alkalinity,
            "Alkalinity", 0.0..=20.0;
        /// Calcium and magnesium together.
        hardness Hardness "hardness_meq_per_l": ChargeConcentration as Hardness, "Total hardness", 0.0..=60.0;
        /// pH.
        ph Ph "ph": Ph as Ph, "pH of the water", 5.0..=10.5;
        /// Electrical conductivity at 25 °C.
        conductivity Conductivity "conductivity_us_per_cm": Conductivity as Conductivity,
            "Conductivity", 0.0..=6000.0;
        /// Everything dissolved, by weight of the dry rest.
        dissolved_solids DissolvedSolids "dissolved_solids_mg_per_l": Concentration as Concentration,
            "Total dissolved solids", 0.0..=6000.0;
    }
}

impl WaterField {
    /// The ions that a finish has a range for.
    pub const WANTED: [(Self, Ion); 5] = [
        (Self::Calcium, Ion::Calcium),
        (Self::Magnesium, Ion::Magnesium),
        (Self::Sodium, Ion::Sodium),
        (Self::Chloride, Ion::Chloride),
        (Self::Sulfate, Ion::Sulfate),
    ];
}

fields! {
    /// Numbers of one salt at hand.
    SaltNumbers, SaltField {
        /// Exactly so much of it.
        locked Locked "locked_g": Mass as SmallMass, "Use exactly", 0.0..=500.0;
        /// At most so much of it.
        most Most "most_g": Mass as SmallMass, "Use at most", 0.0..=500.0;
        /// Share of the salt in what is weighed.
        purity Purity "purity": Fraction as Percent, "Salt in what you weigh", 0.01..=1.0;
        /// Density of a solution whose bottle gives no strength.
        density Density "density_kg_per_m3": Density as Density, "Density of the solution, if that is given", 1000.0..=1500.0;
    }
}

fields! {
    /// One point of a titrated sample.
    SampleNumbers, SampleField {
        /// Diluted acid in it so far.
        acid Acid "acid_l": Volume as SmallVolume, "Tenfold diluted acid, in all", 0.0..=0.1;
        /// pH then.
        ph Ph "ph": Ph as Ph, "pH then", 2.5..=7.0;
    }
}

fields! {
    /// Numbers of one malt.
    MaltNumbers, MaltField {
        /// Weight.
        mass Mass "mass_g": Mass as Mass, "Weight", 0.0..=30000.0;
        /// Share of the grist by weight.
        share Share "share": Fraction as Percent, "Share of the grist", 0.0..=1.0;
        /// Fine-grind extract, dry basis.
        extract Extract "extract": Fraction as Percent, "Fine-grind extract, dry", 0.0..=1.0;
        /// Moisture.
        moisture Moisture "moisture": Fraction as Percent, "Moisture", 0.0..=0.4;
        /// pH of a mash of this malt alone in distilled water.
        own_ph OwnPh "distilled_mash_ph": Ph as Ph, "pH in distilled water", 3.0..=7.0;
        /// Buffering.
        buffering Buffering "buffering_meq_per_kg_ph": MaltBuffering as MaltBuffering,
            "Buffering", 5.0..=400.0;
        /// Malt weighed in for the home test.
        tested TestedMass "tested_g": Mass as SmallMass, "Home test: malt weighed", 10.0..=500.0;
        /// Diluted acid of the home test up to its first reading.
        first_acid FirstAcid "first_acid_l": Volume as SmallVolume, "Home test: diluted acid, first", 0.0..=0.1;
        /// pH after the first acid of the home test.
        first_ph FirstPh "first_ph": Ph as Ph, "Home test: pH after it", 3.0..=7.0;
        /// Diluted acid of the home test up to its second reading.
        second_acid SecondAcid "second_acid_l": Volume as SmallVolume, "Home test: diluted acid, in all", 0.0..=0.1;
        /// pH after all the acid of the home test.
        second_ph SecondPh "second_ph": Ph as Ph, "Home test: pH after all of it", 3.0..=7.0;
    }
}

fields! {
    /// Numbers of one hop charge.
    HopNumbers, HopField {
        /// Weight.
        mass Mass "mass_g": Mass as SmallMass, "Weight", 0.0..=1000.0;
        /// Alpha acid.
        alpha Alpha "alpha": Fraction as Percent, "Alpha acid", 0.0..=0.3,
            or 0.08 Source::common_practice("Ordinary hops hold 4 to 12 %; read the pack.");
        /// Minutes in the main boil.
        minutes Minutes "boil_min": Duration as Minutes, "Boiled for", 0.0..=240.0;
    }
}

fields! {
    /// Numbers of one fruit addition.
    FruitNumbers, FruitField {
        /// Weight as bought.
        mass Mass "mass_g": Mass as Mass, "Weight", 0.0..=40000.0;
        /// Degrees Brix from the pack or a refractometer.
        brix Brix "brix": Plato as Brix, "Brix, from the pack or read", 0.5..=80.0;
        /// pH from a meter.
        ph Ph "ph": Ph as Ph, "pH, read", 1.8..=7.5;
        /// Titratable acid as citric acid.
        acid Acid "acid_as_citric": Fraction as Percent, "Acid, as citric", 0.0..=0.5;
    }
}

/// One malt of the grist.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Malt {
    /// The class, for what the bag does not say.
    pub class: MaltClass,
    /// The person's own name for it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// Its numbers.
    #[serde(default, skip_serializing_if = "is_default")]
    pub numbers: MaltNumbers,
}

/// One charge of hops in the main boil.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hop {
    /// The person's own name for it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// Its numbers.
    #[serde(default, skip_serializing_if = "is_default")]
    pub numbers: HopNumbers,
}

/// The form fruit comes in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FruitForm {
    /// Fresh, with stones and skins.
    Whole,
    /// Frozen, then thawed.
    Frozen,
    /// Purée.
    #[default]
    Puree,
    /// Juice.
    Juice,
    /// Concentrate.
    Concentrate,
    /// Dried.
    Dried,
}

/// One addition of fruit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FruitAddition {
    /// Which fruit.
    pub fruit: Fruit,
    /// In which form.
    #[serde(default, skip_serializing_if = "is_default")]
    pub form: FruitForm,
    /// The pack names sorbate or sulfite.
    #[serde(default, skip_serializing_if = "is_default")]
    pub preserved: bool,
    /// Its numbers.
    #[serde(default, skip_serializing_if = "is_default")]
    pub numbers: FruitNumbers,
}

/// The table row of the temperature that can be noted with a reading.
pub const SAMPLE_TEMPERATURE: &Spec = &Spec {
    label: "Temperature of the sample, if noted",
    key: "temperature_c",
    dimension: Dimension::Temperature,
    low: Amount::in_base(Dimension::Temperature, -10.0),
    high: Amount::in_base(Dimension::Temperature, 110.0),
    assumed: None,
};

/// Figures of a water: what its report says, or what is wanted of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Water {
    /// The person's own name for it; what has a name is offered to other batches.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// Single figures, and the lower ends of ranges.
    #[serde(skip_serializing_if = "is_default")]
    pub numbers: WaterNumbers,
    /// Upper ends of ranges.
    #[serde(skip_serializing_if = "is_default")]
    pub upper: WaterNumbers,
}

/// One salt at hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaltLine {
    /// Which salt.
    pub salt: Salt,
    /// Its numbers.
    #[serde(default, skip_serializing_if = "is_default")]
    pub numbers: SaltNumbers,
}

impl SaltLine {
    /// A salt at hand, used as the plan sees fit.
    pub fn new(salt: Salt) -> Self {
        Self { salt, numbers: SaltNumbers::default() }
    }

    /// How it may be weighed.
    pub(crate) fn at_hand(&self) -> SaltAtHand {
        let numbers = &self.numbers;
        let solution = numbers.density().filter(|_| self.salt == Salt::CalciumChlorideSolution);
        let purity =
            numbers.purity().or_else(|| solution.and_then(|density| calcium_chloride_share(density).ok()));
        SaltAtHand {
            salt: self.salt,
            purity: purity.unwrap_or(self.salt.usual_share()),
            locked: numbers.locked(),
            most: numbers.most(),
        }
    }

    /// What its share is taken for while none is typed, and on what grounds.
    fn usual_share(&self) -> (Fraction, Source) {
        let source = match self.salt {
            Salt::Chalk => CHALK_SOURCE,
            Salt::CalciumChlorideSolution => SOLUTION_SOURCE,
            _ => Source::our_estimate("The pure salt, dry."),
        };
        (self.at_hand().purity, source)
    }
}

/// The salts that most brewers have at hand.
fn usual_salts() -> Vec<SaltLine> {
    [Salt::Gypsum, Salt::CalciumChlorideDihydrate, Salt::Epsom, Salt::TableSalt, Salt::BakingSoda]
        .map(SaltLine::new)
        .to_vec()
}

fn are_usual(salts: &[SaltLine]) -> bool {
    *salts == usual_salts()
}

/// Before anything is typed there is one water with an empty report.
fn one_water() -> Vec<Water> {
    vec![Water::default()]
}

fn is_one_water(waters: &[Water]) -> bool {
    *waters == one_water()
}

/// Whether the grist is given by weights or by shares of a wanted gravity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GristBy {
    /// Shares and the wanted gravity give the weights.
    #[default]
    Shares,
    /// Weights give the gravity.
    Weights,
}

/// How the beer gets its gas.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gas {
    /// From a cylinder.
    #[default]
    Cylinder,
    /// From sugar added at packaging.
    PrimingSucrose,
    /// From glucose monohydrate (corn sugar) added at packaging.
    PrimingGlucose,
}

/// Everything a person chooses from a list.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Choices {
    /// The water goal.
    pub finish: Finish,
    /// How the tap water is softened.
    pub softening: Softening,
    /// What keeps the tap water free of germs.
    pub disinfectant: Disinfectant,
    /// The sulfite against it.
    pub sulfite: Sulfite,
    /// How the pH meter takes the temperature into account.
    pub compensation: Compensation,
    /// Weights or shares.
    pub grist_by: GristBy,
    /// The acid at hand.
    pub acid: AcidKind,
    /// The souring bacteria.
    pub culture: Culture,
    /// How they come.
    pub form: Form,
    /// The package.
    pub package: PackageKind,
    /// Where the gas comes from.
    pub gas: Gas,
}

/// A step that was ticked, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tick(
    /// The step.
    pub Step,
    /// When it was ticked.
    pub Moment,
);

/// One batch: everything that is planned and everything that was measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Batch {
    /// Identifies the batch for ever, also across devices.
    pub id: String,
    /// What the person calls it.
    pub name: String,
    /// An invented example, labelled as such wherever it is shown.
    #[serde(default, skip_serializing_if = "is_default")]
    pub invented: bool,
    /// When the document was begun.
    #[serde(rename = "begun_s")]
    pub begun: Moment,
    /// Free notes.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// Everything chosen from a list.
    #[serde(default, skip_serializing_if = "is_default")]
    pub choices: Choices,
    /// Every single number typed.
    #[serde(default, skip_serializing_if = "is_default")]
    pub numbers: Numbers,
    /// The waters; never none.
    #[serde(default = "one_water", skip_serializing_if = "is_one_water")]
    pub waters: Vec<Water>,
    /// Own ranges of ions in place of the chosen finish's.
    #[serde(default, skip_serializing_if = "is_default")]
    pub own_finish: Water,
    /// Salts at hand.
    #[serde(default = "usual_salts", skip_serializing_if = "are_usual")]
    pub salts: Vec<SaltLine>,
    /// A titrated sample of the wort.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sample: Vec<SampleNumbers>,
    /// The grist.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub grist: Vec<Malt>,
    /// The hops.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hops: Vec<Hop>,
    /// The fruit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fruit: Vec<FruitAddition>,
    /// What the kit and the hands had taught when this batch was begun.
    #[serde(default, skip_serializing_if = "is_default")]
    pub house: House,
    /// What was measured.
    #[serde(default, skip_serializing_if = "Readings::is_empty")]
    pub readings: Readings,
    /// Steps that are done.
    #[serde(default, skip_serializing_if = "Vec::is_empty", with = "since")]
    pub ticks: Vec<Tick>,
}

/// Ticks in JSON: under each step the seconds since the ticked step before it;
/// under the first, since 1970. Seventeen steps stay small that way.
mod since {
    use super::{Moment, Step, Tick};
    use serde::Serializer;
    use serde::de::{Deserializer, MapAccess, Visitor};

    pub(super) fn serialize<S: Serializer>(ticks: &[Tick], serializer: S) -> Result<S::Ok, S::Error> {
        let before = std::iter::once(0).chain(ticks.iter().map(|tick| tick.1.as_seconds()));
        serializer.collect_map(
            ticks.iter().zip(before).map(|(tick, before)| (tick.0, tick.1.as_seconds().wrapping_sub(before))),
        )
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<Tick>, D::Error> {
        struct Steps;

        impl<'de> Visitor<'de> for Steps {
            type Value = Vec<Tick>;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("an object of steps")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Vec<Tick>, A::Error> {
                let mut since: Vec<(Step, i64)> = Vec::new();
                while let Some(entry) = map.next_entry::<Step, i64>()? {
                    // A step named twice counts as its last.
                    since.retain(|other| other.0 != entry.0);
                    let place = since.partition_point(|other| other.0 < entry.0);
                    since.insert(place, entry);
                }
                let mut at = 0_i64;
                let ticks = since.into_iter().map(|(step, since)| {
                    at = at.wrapping_add(since);
                    Tick(step, Moment::from_seconds(at))
                });
                Ok(ticks.collect())
            }
        }

        deserializer.deserialize_map(Steps)
    }
}

pub(crate) fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

impl Batch {
    /// An empty batch with the house numbers known at its beginning.
    pub fn new(id: String, name: String, begun: Moment, house: House) -> Self {
        Self {
            id,
            name,
            invented: false,
            begun,
            notes: String::new(),
            choices: Choices::default(),
            numbers: Numbers::default(),
            waters: one_water(),
            own_finish: Water::default(),
            salts: usual_salts(),
            sample: Vec::new(),
            grist: Vec::new(),
            hops: Vec::new(),
            fruit: Vec::new(),
            house,
            readings: Readings::default(),
            ticks: Vec::new(),
        }
    }

    /// A new batch from this one: the same plan and kit, the newest house
    /// numbers, nothing measured and nothing ticked.
    #[must_use]
    pub fn again(&self, id: String, name: String, begun: Moment, house: House) -> Self {
        Self {
            id,
            name,
            begun,
            invented: false,
            house,
            // The sample was of that wort.
            sample: Vec::new(),
            readings: Readings::default(),
            ticks: Vec::new(),
            ..self.clone()
        }
    }

    /// When the step was ticked, if it was.
    pub fn ticked(&self, step: Step) -> Option<Moment> {
        self.ticks.iter().find(|tick| tick.0 == step).map(|tick| tick.1)
    }

    /// Ticks a step, or takes the tick back.
    pub fn tick(&mut self, step: Step, at: Option<Moment>) {
        self.ticks.retain(|tick| tick.0 != step);
        if let Some(at) = at {
            let place = self.ticks.partition_point(|tick| tick.0 < step);
            self.ticks.insert(place, Tick(step, at));
        }
    }

    /// The typed value in use for a field of the batch: typed, learned or assumed.
    pub(crate) fn value<Q: Quantity>(&self, field: Field) -> Option<Q> {
        Slot::Of(field).effective(self).map(|amount| amount.typed())
    }
}
