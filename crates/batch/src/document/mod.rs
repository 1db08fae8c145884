//! The batch document: what is planned, what was measured, and with which kit.

mod check;
mod reading;
mod step;
mod table;

pub use check::{DocumentError, MOST_ITEMS, MOST_NOTED, MOST_READINGS, MOST_TEXT};
pub use reading::{Reading, ReadingKind, Readings};
pub use step::{Stage, Step};
pub use table::{Fallback, OutOfRange, Slot, Spec};

use crate::house::House;
use crate::json::{Json, Kept, Object, Usual, Writer, by_field, by_name, name};
use crate::keep::KeepError;
use crate::moment::Moment;
use calc::brew::bitterness::HopForm;
use calc::brew::extract::WORT_CORRECTION_SOURCE;
use calc::brew::package::PackageKind;
use calc::brew::treatment::{Disinfectant, RESIDUAL_SOURCE, Softening, Sulfite};
use calc::brew::water::{Finish, Ion, SaltAtHand};
use calc::brew::yeast::YeastForm;
use calc::chem::meter::Compensation;
use calc::data::Source;
use calc::data::acids::AcidKind;
use calc::data::cultures::{Culture, Form};
use calc::data::fruits::Fruit;
use calc::data::malts::MaltClass;
use calc::data::salts::{CHALK_SOURCE, SOLUTION_SOURCE, Salt, calcium_chloride_share};
use calc::quantity::{
    AbsolutePressure, AlcoholByVolume, Altitude, Amount, Bitterness, Carbonation, CellDensity, Cells,
    ChargeConcentration, Concentration, Conductivity, Count, Density, Dimension, Duration, Fraction,
    GaugePressure, MaltBuffering, Mass, Ph, PhDifference, Plato, Power, Quantity, Temperature,
    TitratableAcidity, Volume, VolumePerMass, VolumeRate,
};
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
        /// Air pressure, in place of the height.
        barometer Barometer "barometer_kpa": AbsolutePressure as AirPressure,
            "Barometer, not reduced to sea level", 50.0..=110.0;
        /// Weight of the empty kettle.
        kettle_weight KettleWeight "kettle_weight_g": Mass as Mass,
            "Empty kettle with its heater", 500.0..=60000.0, or 6000.0 KIT;
        /// Most grain the basket takes.
        basket_grain BasketGrain "basket_grain_g": Mass as Mass, "Most grain the basket holds", 500.0..=50000.0;
        /// Temperature of the room.
        room Room "room_c": Temperature as Temperature, "The room", -5.0..=45.0, or 20.0 KIT;
        /// Temperature of the water from the tap.
        tap Tap "tap_water_c": Temperature as Temperature, "Water from the tap", 0.5..=35.0, or 15.0 KIT;
        /// Flow of the cooling water.
        cooling_flow CoolingFlow "cooling_flow_l_per_h": VolumeRate as Flow,
            "Cooling water", 12.0..=3000.0, or 240.0 KIT;
        /// Flow of wort through a plate chiller.
        chiller_flow ChillerFlow "chiller_flow_l_per_h": VolumeRate as Flow,
            "Wort through the plate chiller", 12.0..=3000.0, or 120.0 KIT;
        /// Share of the cooling water's cold that reaches the wort.
        chilling Chilling "chiller_effectiveness": Fraction as Percent,
            "Cold of the water that reaches the wort", 0.02..=1.0, or 0.4 ESTIMATE;
        /// Effectiveness of the plate chiller.
        plate_cooling PlateCooling "plate_effectiveness": Fraction as Percent,
            "Heat the plates exchange, of all that could be", 0.05..=1.0, or 0.85 ESTIMATE;
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
        /// Hot stand after the boil.
        stand Stand "stand_min": Duration as Minutes, "Hot stand before chilling", 0.0..=240.0,
            or 0.0 Source::our_estimate("Chilled at once.");
        /// Share of the iso-alpha acids that stays in the beer.
        iso_kept IsoKept "iso_alpha_kept": Fraction as Percent, "Bitterness left by trub and yeast", 0.2..=1.0,
            or 0.55 Source::our_estimate("Half to six tenths stay.");
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

        /// Living yeast in one unit of its form, when fresh.
        yeast_cells YeastCells "yeast_cells_billion": Cells as Cells,
            "Living cells by the pack, in 1 g, 1 mL or 1 pack", 0.01..=2000.0;
        /// Age of the yeast.
        yeast_age YeastAge "yeast_age_min": Duration as Days, "Age of the yeast", 0.0..=3000000.0,
            or 43200.0 Source::our_estimate("A month old; read the date on the pack.");
        /// Temperature at which the yeast was kept.
        yeast_kept YeastKept "yeast_kept_c": Temperature as Temperature, "The yeast was kept at", -30.0..=50.0,
            or 4.0 Source::our_estimate("Kept in a fridge.");
        /// Yeast that goes into the starter, in the unit of its form.
        starter_yeast StarterYeast "starter_yeast": Count as Count,
            "Yeast into the starter: g, mL or packs", 0.01..=2000.0;
        /// Oxygen wanted in the wort.
        oxygen Oxygen "oxygen_mg_per_l": Concentration as Concentration, "Oxygen in the wort", 2.0..=20.0,
            or 9.0 Source::common_practice("8 to 10 mg/L for ale yeast.");
        /// Flow of pure oxygen.
        oxygen_flow OxygenFlow "oxygen_flow_l_per_h": VolumeRate as Flow,
            "Flow of pure oxygen", 3.0..=600.0, or 60.0 KIT;
        /// Size of the room the fermenter stands in.
        ferment_room FermentRoom "ferment_room_l": Volume as Room,
            "Room the fermenter stands in", 1000.0..=1000000.0, or 25000.0 KIT;

        /// A second vessel, for what does not fit.
        second_vessel SecondVessel "second_vessel_l": Volume as Volume, "A second fermenter, to the brim", 1.0..=120.0;
        /// Fruit wanted per litre.
        wanted_load WantedLoad "fruit_load_wanted_mg_per_l": Concentration as Load,
            "Fruit wanted per litre of beer", 5000.0..=800000.0;
        /// Alcohol that fruit is to add.
        wanted_alcohol WantedAlcohol "fruit_alcohol_wanted": AlcoholByVolume as Alcohol,
            "Or alcohol wanted from fruit", 0.001..=0.1;
        /// pH wanted with fruit.
        wanted_ph WantedFruitPh "fruited_ph_wanted": Ph as Ph, "Or pH wanted with fruit", 2.8..=4.4;
        /// Beer in the glass of a taste trial.
        trial_glass TrialGlass "trial_glass_l": Volume as SmallVolume, "Taste trial: beer in the glass", 0.02..=1.0,
            or 0.1 Source::our_estimate("A glass of 100 mL.");
        /// Diluted acid that made the glass sour enough.
        trial_acid TrialAcid "trial_acid_l": Volume as SmallVolume,
            "Taste trial: tenfold diluted acid in it", 0.0..=0.1;
        /// The smallest part of it that was added at a time.
        trial_part TrialPart "trial_part_l": Volume as SmallVolume, "Taste trial: added at a time", 0.00001..=0.02,
            or 0.0005 Source::our_estimate("Half a millilitre.");

        /// Share of the fruit's volume that ends as beer in the package.
        fruit_yield FruitYield "fruit_yield": Fraction as Percent,
            "Of the fruit's volume, ends in the package", 0.0..=1.0;

        /// Carbonation wanted.
        carbonation Carbonation "carbonation_vol": Carbonation as Carbonation,
            "Carbonation wanted", 0.5..=5.0, or 2.6 TRADE;
        /// Temperature at which the beer is served and carbonated.
        serving_temperature ServingTemperature "serving_temperature_c": Temperature as Temperature,
            "Serving temperature", -1.0..=25.0, or 4.0 TRADE;
        /// One bottle, can or keg, to the brim.
        package_volume PackageVolume "package_volume_l": Volume as Volume,
            "One bottle, can or keg, to the brim", 0.1..=60.0, or 19.0 KIT;
        /// One glass.
        serving Serving "serving_l": Volume as Volume, "One glass", 0.05..=2.0, or 0.33 KIT;
        /// What all but the fruit has cost.
        other_cost OtherCost "other_cost": Count as Count, "All but the fruit has cost, in your money", 0.0..=1000000.0;
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
        /// Age of the hops.
        age Age "age_min": Duration as Days, "Age since harvest", 0.0..=5000000.0,
            or 0.0 Source::our_estimate("The pack's alpha acid is still there.");
        /// Temperature at which they were kept.
        kept Kept "kept_c": Temperature as Temperature, "Kept at", -30.0..=40.0,
            or 4.0 Source::our_estimate("Kept in a fridge.");
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
        /// What a kilogram costs.
        price Price "price_per_kg": Count as Count, "Price of 1 kg, in your money", 0.0..=10000.0;
    }
}

fields! {
    /// Numbers of one rest of the mash.
    RestNumbers, RestField {
        /// Temperature of the rest.
        temperature Temperature "temperature_c": Temperature as Temperature, "Rest at", 35.0..=80.0;
        /// Length of the rest.
        time Time "time_min": Duration as Minutes, "For", 0.0..=240.0,
            or 20.0 Source::common_practice("A rest of 10 to 30 minutes.");
    }
}

fields! {
    /// How a beer tasted, on scales from hardly any to very much.
    TasteNumbers, TasteField {
        /// Sourness.
        sourness Sourness "sourness": Count as Count, "Sourness", 1.0..=5.0;
        /// Body.
        body Body "body": Count as Count, "Body", 1.0..=5.0;
        /// Fruit.
        fruit Fruit "fruitiness": Count as Count, "Fruit", 1.0..=5.0;
        /// Cleanness.
        clean Clean "cleanness": Count as Count, "Clean", 1.0..=5.0;
    }
}

/// One tasting of the beer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tasting {
    /// When.
    pub at: Moment,
    /// On the scales.
    pub numbers: TasteNumbers,
    /// In words.
    pub note: String,
}

by_field!(Tasting, Self::default(), { at "at_s" } { numbers "numbers", note "note" });

/// A timer by the wall clock: a phone may sleep meanwhile.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timer {
    /// What it is for, in the person's words or the plan's.
    pub name: String,
    /// When it was started.
    pub from: Moment,
    /// When it rings.
    pub until: Moment,
    /// The person has heard it.
    pub heard: bool,
}

by_field!(Timer, Self::default(), { name "name", from "from_s", until "until_s" } { heard "heard" });

/// A rest after the first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rest {
    /// Reached by pouring in boiling water that was kept back, not by the heater.
    pub infusion: bool,
    /// Its numbers.
    pub numbers: RestNumbers,
}

by_field!(Rest, Self::default(), {  } { infusion "infusion", numbers "numbers" });

/// One malt of the grist.
#[derive(Clone, Debug, PartialEq)]
pub struct Malt {
    /// The class, for what the bag does not say.
    pub class: MaltClass,
    /// The person's own name for it.
    pub name: String,
    /// Its numbers.
    pub numbers: MaltNumbers,
}

by_field!(Malt, Self { class: MaltClass::Pilsner, name: String::new(), numbers: MaltNumbers::default() }, { class "class" } { name "name", numbers "numbers" });

/// When hops go in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum HopTime {
    /// In the main boil, for the minutes given.
    #[default]
    Boil,
    /// As the wort heats up to the main boil.
    FirstWort,
    /// At the end of the main boil, for the hot stand.
    Stand,
    /// In the cold, in the fermenter.
    Cold,
    /// In the sanitising boil, before the bacteria.
    BeforeSouring,
}

impl HopTime {
    /// Every time.
    pub const ALL: &[Self] = &[Self::Boil, Self::FirstWort, Self::Stand, Self::Cold, Self::BeforeSouring];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Boil => "In the main boil",
            Self::FirstWort => "While it heats to the main boil",
            Self::Stand => "In the hot stand",
            Self::Cold => "Cold, in the fermenter",
            Self::BeforeSouring => "In the sanitising boil, before the bacteria",
        }
    }
}

/// One charge of hops.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hop {
    /// The person's own name for it.
    pub name: String,
    /// In which form.
    pub form: HopForm,
    /// When it goes in.
    pub time: HopTime,
    /// Its numbers.
    pub numbers: HopNumbers,
}

by_field!(Hop, Self::default(), {  } { name "name", form "form", time "time", numbers "numbers" });

/// The form fruit comes in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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

impl FruitForm {
    /// Every form.
    pub const ALL: &[Self] =
        &[Self::Whole, Self::Frozen, Self::Puree, Self::Juice, Self::Concentrate, Self::Dried];
}

/// What keeps fruit from fermenting in its pack.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Preserved {
    /// Nothing.
    #[default]
    No,
    /// Sulfite.
    Sulfite,
    /// Sorbate.
    Sorbate,
    /// One of the two or both; the pack was not read closely.
    Either,
}

impl Preserved {
    /// Every way.
    pub const ALL: &[Self] = &[Self::No, Self::Sulfite, Self::Sorbate, Self::Either];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::No => "No preservative",
            Self::Sulfite => "With sulfite",
            Self::Sorbate => "With sorbate",
            Self::Either => "With sulfite, sorbate or both",
        }
    }

    /// Sulfite is in it, or may be.
    pub const fn sulfite(self) -> bool {
        matches!(self, Self::Sulfite | Self::Either)
    }
}

/// Where fruit goes in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FruitPlace {
    /// Into the fermenter, past the peak.
    #[default]
    Fermenter,
    /// Into the keg, at packaging.
    Keg,
}

impl FruitPlace {
    /// Both.
    pub const ALL: &[Self] = &[Self::Fermenter, Self::Keg];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fermenter => "Into the fermenter, past the peak",
            Self::Keg => "Into the keg",
        }
    }
}

/// One addition of fruit.
#[derive(Clone, Debug, PartialEq)]
pub struct FruitAddition {
    /// Which fruit.
    pub fruit: Fruit,
    /// Another fruit than that, told by its Brix, pH and acid alone.
    pub own: bool,
    /// In which form.
    pub form: FruitForm,
    /// The person's own name for it.
    pub name: String,
    /// What preserves it.
    pub preserved: Preserved,
    /// Where it goes in.
    pub place: FruitPlace,
    /// Its numbers.
    pub numbers: FruitNumbers,
}

by_field!(FruitAddition, Self::new(Fruit::SourCherry), { fruit "fruit" } { own "own", form "form", name "name", preserved "preserved", place "place", numbers "numbers" });

impl FruitAddition {
    /// What it is called: the person's own name, or the fruit's.
    pub fn called(&self) -> String {
        match (self.name.is_empty(), self.own) {
            (false, _) => self.name.clone(),
            (true, true) => "own fruit".to_owned(),
            (true, false) => self.fruit.name().to_owned(),
        }
    }

    /// This fruit as purée, past the peak, with no weight yet.
    pub fn new(fruit: Fruit) -> Self {
        Self {
            fruit,
            own: false,
            form: FruitForm::default(),
            name: String::new(),
            preserved: Preserved::default(),
            place: FruitPlace::default(),
            numbers: FruitNumbers::default(),
        }
    }
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
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Water {
    /// The person's own name for it; what has a name is offered to other batches.
    pub name: String,
    /// Single figures, and the lower ends of ranges.
    pub numbers: WaterNumbers,
    /// Upper ends of ranges.
    pub upper: WaterNumbers,
}

by_field!(Water, Self::default(), {  } { name "name", numbers "numbers", upper "upper" });

/// One salt at hand.
#[derive(Clone, Debug, PartialEq)]
pub struct SaltLine {
    /// Which salt.
    pub salt: Salt,
    /// Its numbers.
    pub numbers: SaltNumbers,
}

by_field!(SaltLine, Self::new(Salt::Gypsum), { salt "salt" } { numbers "numbers" });

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

/// Before anything is typed there is one water with an empty report.
fn one_water() -> Vec<Water> {
    vec![Water::default()]
}

/// Whether the grist is given by weights or by shares of a wanted gravity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum GristBy {
    /// Shares and the wanted gravity give the weights.
    #[default]
    Shares,
    /// Weights give the gravity.
    Weights,
}

impl GristBy {
    /// Both.
    pub const ALL: &[Self] = &[Self::Shares, Self::Weights];
}

/// How the beer gets its gas.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Gas {
    /// From a cylinder.
    #[default]
    Cylinder,
    /// From sugar added at packaging.
    PrimingSucrose,
    /// From glucose monohydrate (corn sugar) added at packaging.
    PrimingGlucose,
    /// From dry malt extract added at packaging.
    PrimingExtract,
}

impl Gas {
    /// Every way.
    pub const ALL: &[Self] =
        &[Self::Cylinder, Self::PrimingSucrose, Self::PrimingGlucose, Self::PrimingExtract];
}

/// How the wort is chilled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Chiller {
    /// A coil in the kettle.
    #[default]
    Coil,
    /// Plates, in one pass to the fermenter.
    Plates,
}

impl Chiller {
    /// Both.
    pub const ALL: &[Self] = &[Self::Coil, Self::Plates];

    /// Name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Coil => "A coil in the kettle",
            Self::Plates => "Plates, on the way to the fermenter",
        }
    }
}

/// Everything a person chooses from a list.
#[derive(Clone, Debug, Default, PartialEq)]
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
    /// What chills the wort.
    pub chiller: Chiller,
    /// How the yeast comes.
    pub yeast: YeastForm,
    /// The package.
    pub package: PackageKind,
    /// Where the gas comes from.
    pub gas: Gas,
}

by_field!(Choices, Self::default(), {  } { finish "finish", softening "softening", disinfectant "disinfectant", sulfite "sulfite", compensation "compensation", grist_by "grist_by", acid "acid", culture "culture", form "form", chiller "chiller", yeast "yeast", package "package", gas "gas" });

/// A step that was ticked, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tick(
    /// The step.
    pub Step,
    /// When it was ticked.
    pub Moment,
);

/// One batch: everything that is planned and everything that was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    /// Identifies the batch for ever, also across devices.
    pub id: String,
    /// What the person calls it.
    pub name: String,
    /// An invented example, labelled as such wherever it is shown.
    pub invented: bool,
    /// When the document was begun.
    pub begun: Moment,
    /// Free notes.
    pub notes: String,
    /// Everything chosen from a list.
    pub choices: Choices,
    /// Every single number typed.
    pub numbers: Numbers,
    /// The waters; never none.
    pub waters: Vec<Water>,
    /// Own ranges of ions in place of the chosen finish's.
    pub own_finish: Water,
    /// Salts at hand.
    pub salts: Vec<SaltLine>,
    /// Rests of the mash after the first.
    pub rests: Vec<Rest>,
    /// A titrated sample of the wort.
    pub sample: Vec<SampleNumbers>,
    /// The grist.
    pub grist: Vec<Malt>,
    /// The hops.
    pub hops: Vec<Hop>,
    /// The fruit.
    pub fruit: Vec<FruitAddition>,
    /// What the kit and the hands had taught when this batch was begun.
    pub house: House,
    /// What was measured.
    pub readings: Readings,
    /// Steps that are done.
    pub ticks: Vec<Tick>,
    /// Steps that were left out, and when that was said.
    pub skips: Vec<Tick>,
    /// Timers, running and rung.
    pub timers: Vec<Timer>,
    /// What it tasted like.
    pub tastings: Vec<Tasting>,
    /// The identity of the batch that this one was brewed again from; empty for none.
    pub from: String,
}

by_field!(Batch, Self::new(String::new(), String::new(), Moment::default(), House::default()), { id "id", name "name", begun "begun_s" } { invented "invented", notes "notes", choices "choices", numbers "numbers", waters "waters", own_finish "own_finish", salts "salts", rests "rests", sample "sample", grist "grist", hops "hops", fruit "fruit", house "house", readings "readings", ticks "ticks", skips "skips", timers "timers", tastings "tastings", from "from" });

/// Ticks in JSON: under each step the seconds since the ticked step before it;
/// under the first, since 1970. Seventeen steps stay small that way.
impl Kept for Vec<Tick> {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        let mut object = Object::of(value)?;
        let mut at = 0_i64;
        self.clear();
        for &step in Step::ALL {
            // A time that is not there is no tick.
            if let Some(since) = object.take(&name(&step)) {
                at = at.wrapping_add(since.whole()?);
                self.push(Tick(step, Moment::from_seconds(at)));
            }
        }
        object.end()
    }

    fn write(&self, out: &mut Writer) {
        let mut before = 0;
        out.open('{');
        for Tick(step, at) in self {
            out.key(&name(step));
            out.whole(at.as_seconds().wrapping_sub(before));
            before = at.as_seconds();
        }
        out.close('}');
    }
}

/// Puts a step at its place among those marked, or takes it out.
fn mark(marked: &mut Vec<Tick>, step: Step, at: Option<Moment>) {
    marked.retain(|tick| tick.0 != step);
    if let Some(at) = at {
        let place = marked.partition_point(|tick| tick.0 < step);
        marked.insert(place, Tick(step, at));
    }
}

by_name!(HopTime, FruitForm, Preserved, FruitPlace, GristBy, Gas, Chiller);

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
            rests: Vec::new(),
            sample: Vec::new(),
            grist: Vec::new(),
            hops: Vec::new(),
            fruit: Vec::new(),
            house,
            readings: Readings::default(),
            ticks: Vec::new(),
            skips: Vec::new(),
            timers: Vec::new(),
            tastings: Vec::new(),
            from: String::new(),
        }
    }

    /// Reads a document of the present schema.
    ///
    /// # Errors
    /// [`KeepError`] for a name that is not known or something of the wrong form.
    pub fn read(value: Json<'_>) -> Result<Self, KeepError> {
        let mut batch: Self = Usual::usual();
        batch.fill(value)?;
        Ok(batch)
    }

    /// When the step was ticked, if it was.
    pub fn ticked(&self, step: Step) -> Option<Moment> {
        self.ticks.iter().find(|tick| tick.0 == step).map(|tick| tick.1)
    }

    /// True when the step is behind: done or left out.
    pub fn passed(&self, step: Step) -> bool {
        self.ticks.iter().chain(&self.skips).any(|tick| tick.0 == step)
    }

    /// Ticks a step as done, or takes back that it was done or left out.
    pub fn tick(&mut self, step: Step, at: Option<Moment>) {
        mark(&mut self.skips, step, None);
        mark(&mut self.ticks, step, at);
    }

    /// Leaves a step out.
    pub fn skip(&mut self, step: Step, at: Moment) {
        mark(&mut self.ticks, step, None);
        mark(&mut self.skips, step, Some(at));
    }

    /// The typed value in use for a field of the batch: typed, learned or assumed.
    pub(crate) fn value<Q: Quantity>(&self, field: Field) -> Option<Q> {
        Slot::Of(field).effective(self).map(|amount| amount.typed())
    }
}
