//! Units: what a quantity is called and scaled by when people see or type it.

use super::{Plato, SpecificGravity};
use crate::chem::density::{plato_from_sg, sg_from_plato};

/// The default set of units.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum System {
    /// Litres, grams, °C, degrees Plato, kPa.
    #[default]
    Metric,
    /// US gallons, pounds, °F, specific gravity, psi.
    Us,
}

/// How a number in a unit becomes a number in the base unit.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Scale {
    /// base = value * factor + offset.
    Linear { factor: f64, offset: f64 },
    /// Specific gravity shown for a quantity kept in degrees Plato.
    SpecificGravity,
    /// Degrees Plato shown for a quantity kept as specific gravity.
    Plato,
}

/// One unit of a dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// What is written after the number.
    pub symbol: &'static str,
    /// The unit in a JSON key: lower case, no signs.
    pub key: &'static str,
    /// Digits after the point when shown.
    pub decimals: u8,
    /// What one press of a stepper adds.
    pub step: f64,
    scale: Scale,
}

impl Unit {
    const fn linear(symbol: &'static str, key: &'static str, decimals: u8, step: f64, factor: f64) -> Self {
        Self { symbol, key, decimals, step, scale: Scale::Linear { factor, offset: 0.0 } }
    }

    /// The number in this unit for a number in the base unit.
    pub fn from_base(&self, base: f64) -> f64 {
        match self.scale {
            Scale::Linear { factor, offset } => (base - offset) / factor,
            Scale::SpecificGravity => sg_from_plato(Plato::degrees(base)).as_ratio(),
            Scale::Plato => plato_from_sg(SpecificGravity::ratio(base)).as_degrees(),
        }
    }

    /// The number in the base unit for a number in this unit.
    pub fn to_base(&self, value: f64) -> f64 {
        match self.scale {
            Scale::Linear { factor, offset } => value * factor + offset,
            Scale::SpecificGravity => plato_from_sg(SpecificGravity::ratio(value)).as_degrees(),
            Scale::Plato => sg_from_plato(Plato::degrees(value)).as_ratio(),
        }
    }
}

const SG: Unit = Unit { symbol: "SG", key: "sg", decimals: 3, step: 0.001, scale: Scale::SpecificGravity };
const FAHRENHEIT: Unit = Unit {
    symbol: "°F",
    key: "f",
    decimals: 0,
    step: 1.0,
    scale: Scale::Linear { factor: 5.0 / 9.0, offset: -160.0 / 9.0 },
};

const LITRE: Unit = Unit::linear("L", "l", 1, 0.5, 1.0);
const MILLILITRE: Unit = Unit::linear("mL", "ml", 1, 0.5, 1e-3);
const KILOGRAM: Unit = Unit::linear("kg", "kg", 3, 0.1, 1e3);
const GRAM: Unit = Unit::linear("g", "g", 1, 0.1, 1.0);
const POUND: Unit = Unit::linear("lb", "lb", 2, 0.25, 453.592_37);
const OUNCE: Unit = Unit::linear("oz", "oz", 2, 0.1, 28.349_523_125);
const GALLON: Unit = Unit::linear("gal", "gal", 2, 0.1, 3.785_411_784);
const QUART: f64 = 0.946_352_946;
const KILOPASCAL: Unit = Unit::linear("kPa", "kpa", 0, 1.0, 1.0);
const BAR: Unit = Unit::linear("bar", "bar", 2, 0.05, 100.0);
const PSI: Unit = Unit::linear("psi", "psi", 1, 0.5, 6.894_757_293_168);

const MG: Unit = Unit::linear("mg/L", "mg_per_l", 0, 5.0, 1.0);
const MEQ: Unit = Unit::linear("mEq/L", "meq_per_l", 2, 0.1, 1.0);
/// mEq/L in 1 mg/L of calcium carbonate, of half its molar mass 100.086 g/mol.
const PER_MG_CACO3: f64 = 1.0 / 50.043;
/// mEq/L in a German degree: 10 mg/L of calcium oxide, of half its molar mass 56.077 g/mol.
const GERMAN: f64 = 10.0 / 28.0385;

/// Declares the dimensions: for each, the units a person can choose from.
/// The first is the base unit's natural form (metric); `us` is the default in
/// the US system.
macro_rules! dimensions {
    ($( $(#[$doc:meta])* $name:ident = [$($unit:expr),+ $(,)?] us $us:literal; )+) => {
        /// What kind of quantity a number is, for choosing its unit at run time.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Dimension {
            $( $(#[$doc])* $name, )+
        }

        impl Dimension {
            /// Every dimension.
            pub const ALL: &[Dimension] = &[$(Dimension::$name),+];

            /// The units a person can choose from. Never empty.
            pub const fn units(self) -> &'static [Unit] {
                match self {
                    $( Dimension::$name => {
                        const UNITS: &[Unit] = &[$($unit),+];
                        UNITS
                    } )+
                }
            }

            /// The unit shown unless the person chose another.
            pub const fn default_unit(self, system: System) -> Unit {
                let place = match system {
                    System::Metric => 0,
                    System::Us => match self { $( Dimension::$name => $us, )+ },
                };
                self.units()[place]
            }
        }
    };
}

dimensions! {
    /// Wort, beer and water.
    Volume = [LITRE, GALLON, Unit::linear("mL", "ml", 0, 10.0, 1e-3)] us 1;
    /// Liquids in small measure: acids, cultures.
    SmallVolume = [MILLILITRE, Unit::linear("tsp", "tsp", 2, 0.25, 0.004_928_921_593_75), LITRE] us 0;
    /// Malt and fruit.
    Mass = [KILOGRAM, GRAM, POUND, OUNCE] us 2;
    /// Salts, hops, acids, yeast.
    SmallMass = [GRAM, OUNCE, Unit::linear("mg", "mg", 0, 10.0, 1e-3)] us 0;
    /// Temperature.
    Temperature = [Unit::linear("°C", "c", 1, 0.5, 1.0), FAHRENHEIT] us 1;
    /// A temperature difference.
    TemperatureDifference = [Unit::linear("K", "k", 1, 0.5, 1.0), Unit::linear("°F", "f", 1, 1.0, 5.0 / 9.0)] us 1;
    /// Extract, kept in degrees Plato.
    Gravity = [Unit::linear("°P", "plato", 1, 0.1, 1.0), SG] us 1;
    /// Specific gravity, kept as such.
    SpecificGravity = [
        Unit::linear("SG", "sg", 3, 0.001, 1.0),
        Unit { symbol: "°P", key: "plato", decimals: 1, step: 0.1, scale: Scale::Plato }
    ] us 0;
    /// Ions and other solutes.
    Concentration = [MG] us 0;
    /// Fruit per volume of beer, and other large loads.
    Load = [Unit::linear("g/L", "g_per_l", 0, 10.0, 1e3), Unit::linear("lb/gal", "lb_per_gal", 2, 0.1, 119_826.427_316_9)] us 1;
    /// A dissolved acid, by weight.
    DissolvedAcid = [Unit::linear("g/L", "g_per_l", 1, 0.1, 1e3)] us 0;
    /// Alkalinity.
    Alkalinity = [
        Unit::linear("mg/L CaCO₃", "mg_per_l_caco3", 0, 5.0, PER_MG_CACO3),
        MEQ,
        Unit::linear("mg/L HCO₃", "mg_per_l_hco3", 0, 5.0, 1.0 / 61.016),
        Unit::linear("°dH", "german_degrees", 1, 0.5, GERMAN),
        Unit::linear("°fH", "french_degrees", 1, 0.5, 10.0 * PER_MG_CACO3)
    ] us 0;
    /// Calcium and magnesium together, kept as charge.
    Hardness = [
        Unit::linear("mg/L CaCO₃", "mg_per_l_caco3", 0, 5.0, PER_MG_CACO3),
        Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 2.0),
        MEQ,
        Unit::linear("°dH", "german_degrees", 1, 0.5, GERMAN),
        Unit::linear("°fH", "french_degrees", 1, 0.5, 10.0 * PER_MG_CACO3)
    ] us 0;
    /// Calcium in a water report.
    Calcium = [
        MG,
        Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 40.078),
        Unit::linear("mEq/L", "meq_per_l", 2, 0.1, 20.039),
        Unit::linear("mg/L CaCO₃", "mg_per_l_caco3", 0, 5.0, 20.039 * PER_MG_CACO3),
        Unit::linear("°dH", "german_degrees", 1, 0.5, 20.039 * GERMAN),
        Unit::linear("°fH", "french_degrees", 1, 0.5, 200.39 * PER_MG_CACO3)
    ] us 0;
    /// Magnesium in a water report.
    Magnesium = [
        MG,
        Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 24.305),
        Unit::linear("mEq/L", "meq_per_l", 2, 0.1, 12.1525),
        Unit::linear("mg/L CaCO₃", "mg_per_l_caco3", 0, 5.0, 12.1525 * PER_MG_CACO3),
        Unit::linear("°dH", "german_degrees", 1, 0.5, 12.1525 * GERMAN),
        Unit::linear("°fH", "french_degrees", 1, 0.5, 121.525 * PER_MG_CACO3)
    ] us 0;
    /// Sodium in a water report.
    Sodium = [MG, Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 22.990)] us 0;
    /// Potassium in a water report.
    Potassium = [MG, Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 39.098)] us 0;
    /// Chloride in a water report.
    Chloride = [MG, Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 35.45)] us 0;
    /// Sulfate in a water report.
    Sulfate = [
        MG,
        Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 96.056),
        Unit::linear("mEq/L", "meq_per_l", 2, 0.1, 48.028),
        Unit::linear("mg/L as S", "mg_per_l_s", 1, 1.0, 96.056 / 32.06)
    ] us 0;
    /// Nitrate in a water report.
    Nitrate = [
        MG,
        Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 62.004),
        Unit::linear("mg/L as N", "mg_per_l_n", 1, 1.0, 62.004 / 14.007)
    ] us 0;
    /// Electrical conductivity at 25 °C.
    Conductivity = [
        Unit::linear("µS/cm at 25 °C", "us_per_cm", 0, 10.0, 1.0),
        Unit::linear("mS/cm", "ms_per_cm", 3, 0.01, 1000.0),
        Unit::linear("mS/m", "ms_per_m", 1, 1.0, 10.0),
        // ISO 7888, from memory: natural waters conduct 1.116 times as well at 25 °C as at 20 °C.
        Unit::linear("µS/cm at 20 °C", "us_per_cm_at_20_c", 0, 10.0, 1.116)
    ] us 0;
    /// Charge.
    Charge = [Unit::linear("mEq", "meq", 0, 1.0, 1.0)] us 0;
    /// Amount of substance in a volume.
    MolarConcentration = [Unit::linear("mmol/L", "mmol_per_l", 2, 0.1, 1.0)] us 0;
    /// Molar mass.
    MolarMass = [Unit::linear("g/mol", "g_per_mol", 2, 1.0, 1.0)] us 0;
    /// Density.
    Density = [Unit::linear("g/mL", "g_per_ml", 3, 0.001, 1e3)] us 0;
    /// pH.
    Ph = [Unit::linear("pH", "ph", 2, 0.01, 1.0)] us 0;
    /// A pH difference.
    PhDifference = [Unit::linear("pH", "ph", 2, 0.01, 1.0)] us 0;
    /// Minutes of a brew day.
    Minutes = [Unit::linear("min", "min", 0, 1.0, 1.0)] us 0;
    /// Seconds of oxygen, kept in minutes.
    Seconds = [Unit::linear("s", "s", 0, 5.0, 1.0 / 60.0), Unit::linear("min", "min", 1, 0.5, 1.0)] us 0;
    /// Hours of souring and cooling.
    Hours = [Unit::linear("h", "h", 0, 1.0, 60.0), Unit::linear("days", "days", 1, 0.5, 1440.0)] us 0;
    /// Days and weeks of keeping, kept in minutes.
    Days = [Unit::linear("days", "days", 0, 1.0, 1440.0), Unit::linear("weeks", "weeks", 1, 1.0, 10_080.0)] us 0;
    /// Pressure.
    Pressure = [KILOPASCAL, BAR, PSI] us 2;
    /// The air's own pressure.
    AirPressure = [Unit::linear("hPa", "hpa", 0, 1.0, 0.1), Unit::linear("inHg", "inhg", 2, 0.01, 3.386_389)] us 1;
    /// Energy of food.
    Energy = [Unit::linear("kJ", "kj", 0, 10.0, 1.0), Unit::linear("kcal", "kcal", 0, 10.0, 4.184)] us 1;
    /// Heating power.
    Power = [Unit::linear("kW", "kw", 1, 0.1, 1.0)] us 0;
    /// Bitterness.
    Bitterness = [Unit::linear("IBU", "ibu", 0, 1.0, 1.0)] us 0;
    /// Dissolved carbon dioxide.
    Carbonation = [Unit::linear("vol", "vol", 1, 0.1, 1.0), Unit::linear("g/L", "g_per_l", 1, 0.1, 1.0 / 1.965)] us 0;
    /// Evaporation.
    VolumeRate = [Unit::linear("L/h", "l_per_h", 1, 0.1, 1.0), Unit::linear("gal/h", "gal_per_h", 2, 0.1, 3.785_411_784)] us 1;
    /// Water or gas that flows, kept in litres per hour.
    Flow = [Unit::linear("L/min", "l_per_min", 1, 0.5, 60.0), Unit::linear("gal/min", "gal_per_min", 2, 0.1, 227.124_707)] us 1;
    /// A room, kept in litres.
    Room = [Unit::linear("m³", "m3", 0, 5.0, 1000.0), Unit::linear("ft³", "ft3", 0, 100.0, 28.316_847)] us 1;
    /// Mash thickness and absorption.
    VolumePerMass = [Unit::linear("L/kg", "l_per_kg", 2, 0.1, 1.0), Unit::linear("qt/lb", "qt_per_lb", 2, 0.05, QUART / 0.453_592_37)] us 1;
    /// Buffer capacity of wort.
    Buffering = [Unit::linear("mEq/(L·pH)", "meq_per_l_ph", 1, 0.1, 1.0)] us 0;
    /// Buffer capacity of malt.
    MaltBuffering = [Unit::linear("mEq/(kg·pH)", "meq_per_kg_ph", 0, 1.0, 1.0)] us 0;
    /// A number of cells.
    Cells = [Unit::linear("× 10⁹ cells", "billion_cells", 0, 10.0, 1.0)] us 0;
    /// Cells in a volume.
    CellDensity = [Unit::linear("× 10⁶/mL", "million_per_ml", 1, 0.5, 1.0)] us 0;
    /// Yeast pitched per volume and degree Plato.
    PitchRate = [Unit::linear("× 10⁶/(mL·°P)", "million_per_ml_plato", 2, 0.05, 1.0)] us 0;
    /// Soluble solids of fruit: the refractometer's own scale.
    Brix = [Unit::linear("°Bx", "brix", 1, 0.5, 1.0)] us 0;
    /// Titratable acidity.
    TitratableAcidity = [Unit::linear("g/L lactic", "g_per_l_lactic", 1, 0.1, 1.0)] us 0;
    /// A share.
    Percent = [Unit::linear("%", "percent", 1, 1.0, 0.01)] us 0;
    /// Alcohol.
    Alcohol = [Unit::linear("% vol", "percent_vol", 1, 0.1, 0.01)] us 0;
    /// Height above the sea.
    Altitude = [Unit::linear("m", "m", 0, 50.0, 1.0), Unit::linear("ft", "ft", 0, 100.0, 0.3048)] us 1;
    /// How many times, or how many of a thing.
    Times = [Unit::linear("×", "times", 0, 1.0, 1.0)] us 0;
    /// A plain number.
    Count = [Unit::linear("", "count", 2, 0.1, 1.0)] us 0;
}
