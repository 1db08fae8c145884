//! Typed quantities, their units, and how they are read and written.
//!
//! Each type wraps one number in one base unit, named by its constructor and
//! its accessor (`Volume::litres`, `Volume::as_litres`). Differences of
//! temperature and pH are types of their own: two absolute temperatures cannot
//! be added.
//!
//! ```compile_fail
//! use calc::quantity::Temperature;
//! let _ = Temperature::celsius(20.0) + Temperature::celsius(20.0);
//! ```

mod amount;
mod decimal;
mod estimate;
mod number;
mod unit;

pub use amount::{Amount, Quantity};
pub use decimal::{fixed, read_decimal, settled, settled_text};
pub use estimate::Estimate;
pub use number::{NumberError, parse_number, parse_range};
pub use unit::{Dimension, System, Unit};

use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// Declares a wrapped number with its base unit, constructor and accessor.
macro_rules! wrapped {
    ($(#[$doc:meta])* $name:ident, $new:ident, $get:ident, $dimension:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// Makes the quantity from a number in the unit this constructor names.
            pub const fn $new(value: f64) -> Self {
                Self(value)
            }
            /// The number in the unit this accessor names.
            pub const fn $get(self) -> f64 {
                self.0
            }
            /// The smaller of two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
            /// The larger of two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
            /// False for NaN and infinities.
            pub const fn is_finite(self) -> bool {
                self.0.is_finite()
            }
        }

        impl Quantity for $name {
            const DIMENSION: Dimension = Dimension::$dimension;
            fn from_base(value: f64) -> Self {
                Self(value)
            }
            fn base(self) -> f64 {
                self.0
            }
        }
    };
}

/// A quantity that may be added to its own kind and scaled by a plain number.
macro_rules! linear {
    ($(#[$doc:meta])* $name:ident, $new:ident, $get:ident, $dimension:ident) => {
        wrapped!($(#[$doc])* $name, $new, $get, $dimension);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);
        }
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                self.0 -= other.0;
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl Mul<Fraction> for $name {
            type Output = Self;
            fn mul(self, share: Fraction) -> Self {
                Self(self.0 * share.0)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
                items.fold(Self::ZERO, Add::add)
            }
        }
    };
}

/// An absolute scale: only differences may be added to it.
macro_rules! absolute {
    ($name:ident, $difference:ident) => {
        impl Sub for $name {
            type Output = $difference;
            fn sub(self, other: Self) -> $difference {
                $difference(self.0 - other.0)
            }
        }
        impl Add<$difference> for $name {
            type Output = Self;
            fn add(self, other: $difference) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub<$difference> for $name {
            type Output = Self;
            fn sub(self, other: $difference) -> Self {
                Self(self.0 - other.0)
            }
        }
    };
}

/// `A * B = C`, with the divisions that follow from it. The factor converts
/// the product of the base units to the base unit of the result.
macro_rules! product {
    ($a:ident * $b:ident = $c:ident, $factor:expr) => {
        impl Mul<$b> for $a {
            type Output = $c;
            fn mul(self, other: $b) -> $c {
                $c(self.0 * other.0 * $factor)
            }
        }
        impl Mul<$a> for $b {
            type Output = $c;
            fn mul(self, other: $a) -> $c {
                $c(self.0 * other.0 * $factor)
            }
        }
        impl Div<$a> for $c {
            type Output = $b;
            fn div(self, other: $a) -> $b {
                $b(self.0 / (other.0 * $factor))
            }
        }
        impl Div<$b> for $c {
            type Output = $a;
            fn div(self, other: $b) -> $a {
                $a(self.0 / (other.0 * $factor))
            }
        }
    };
}

linear!(/** Volume of a liquid, base litre. */ Volume, litres, as_litres, Volume);
linear!(/** Mass, base gram. */ Mass, grams, as_grams, Mass);
linear!(/** Mass in a volume of solution, base mg/L. */ Concentration, mg_per_l, as_mg_per_l, Concentration);
linear!(/** Amount of charge, or of acid or base that neutralises it, base mEq. */ Charge, meq, as_meq, Charge);
linear!(/** Electrical conductivity at 25 °C, base µS/cm. */ Conductivity, us_per_cm, as_us_per_cm, Conductivity);
linear!(/** Charge in a volume, base mEq/L. Alkalinity and acidity are of this type. */ ChargeConcentration, meq_per_l, as_meq_per_l, Alkalinity);
linear!(/** Amount of substance in a volume, base mmol/L. */ MolarConcentration, mmol_per_l, as_mmol_per_l, MolarConcentration);
linear!(/** Molar mass, base g/mol. */ MolarMass, g_per_mol, as_g_per_mol, MolarMass);
linear!(/** Density, base kg/m³ (the same number as g/L). */ Density, kg_per_m3, as_kg_per_m3, Density);
linear!(/** A temperature difference, base kelvin. */ TemperatureDifference, kelvin, as_kelvin, TemperatureDifference);
linear!(/** A pH difference. */ PhDifference, units, as_units, PhDifference);
linear!(/** A length of time, base minute. */ Duration, minutes, as_minutes, Minutes);
linear!(/** Pressure above the air's, base kPa. */ GaugePressure, kpa, as_kpa, Pressure);
linear!(/** Pressure above vacuum, base kPa. */ AbsolutePressure, kpa, as_kpa, Pressure);
linear!(/** Energy of food, base kJ. */ Energy, kilojoules, as_kilojoules, Energy);
linear!(/** Heating power, base kW. */ Power, kilowatts, as_kilowatts, Power);
linear!(/** Bitterness in IBU: mg of iso-alpha-acids per litre. */ Bitterness, ibu, as_ibu, Bitterness);
linear!(/** Carbon dioxide dissolved, in volumes of gas at 0 °C and 1 atm per volume of beer. */ Carbonation, volumes, as_volumes, Carbonation);
linear!(/** Evaporation or flow, base L/h. */ VolumeRate, l_per_h, as_l_per_h, VolumeRate);
linear!(/** Litres per kilogram: mash thickness, absorption. */ VolumePerMass, l_per_kg, as_l_per_kg, VolumePerMass);
linear!(/** Buffer capacity of a solution, base mEq/(L·pH). */ Buffering, meq_per_l_ph, as_meq_per_l_ph, Buffering);
linear!(/** Buffer capacity of a solid, base mEq/(kg·pH). */ MaltBuffering, meq_per_kg_ph, as_meq_per_kg_ph, MaltBuffering);
linear!(/** A number of cells, base 10⁹. */ Cells, billions, as_billions, Cells);
linear!(/** Cells in a volume, base 10⁶/mL. */ CellDensity, millions_per_ml, as_millions_per_ml, CellDensity);
linear!(/** Acid found by titration to pH 8.2, base g/L as lactic acid. */ TitratableAcidity, g_per_l_lactic, as_g_per_l_lactic, TitratableAcidity);
linear!(/** A share of a whole: 1 is all of it. */ Fraction, of_one, as_of_one, Percent);
linear!(/** Alcohol by volume at 20 °C, as a share of one. */ AlcoholByVolume, of_one, as_of_one, Alcohol);
linear!(/** Height above the sea, base metre. */ Altitude, metres, as_metres, Altitude);

wrapped!(/** Temperature, base °C. */ Temperature, celsius, as_celsius, Temperature);
wrapped!(/** pH of a solution at room temperature unless a name says otherwise. */ Ph, new, value, Ph);
wrapped!(/** Extract in grams per 100 g of solution (degrees Plato). */ Plato, degrees, as_degrees, Gravity);
wrapped!(/** Specific gravity 20/20 °C. */ SpecificGravity, ratio, as_ratio, SpecificGravity);
wrapped!(/** A plain number without a unit. */ Count, of, value, Count);

absolute!(Temperature, TemperatureDifference);
absolute!(Ph, PhDifference);

product!(Concentration * Volume = Mass, 1e-3);
product!(ChargeConcentration * Volume = Charge, 1.0);
product!(VolumePerMass * Mass = Volume, 1e-3);
product!(VolumeRate * Duration = Volume, 1.0 / 60.0);
product!(CellDensity * Volume = Cells, 1.0);
product!(Buffering * PhDifference = ChargeConcentration, 1.0);

impl Density {
    /// The mass of a volume of this density.
    pub const fn mass_of(self, volume: Volume) -> Mass {
        Mass(self.0 * volume.0)
    }
    /// The volume of a mass of this density.
    pub const fn volume_of(self, mass: Mass) -> Volume {
        Volume(mass.0 / self.0)
    }
}

impl Fraction {
    /// All of it.
    pub const ALL: Self = Self(1.0);

    /// Makes the share from a percentage.
    pub const fn percent(value: f64) -> Self {
        Self(value / 100.0)
    }
    /// The share as a percentage.
    pub const fn as_percent(self) -> f64 {
        self.0 * 100.0
    }
    /// What is left of the whole.
    #[must_use]
    pub const fn rest(self) -> Self {
        Self(1.0 - self.0)
    }
}

impl AlcoholByVolume {
    /// The alcohol as a percentage by volume.
    pub const fn as_percent(self) -> f64 {
        self.0 * 100.0
    }
}

impl Duration {
    /// Makes the duration from seconds.
    pub const fn seconds(value: f64) -> Self {
        Self(value / 60.0)
    }
    /// The duration in seconds.
    pub const fn as_seconds(self) -> f64 {
        self.0 * 60.0
    }
    /// Makes the duration from hours.
    pub const fn hours(value: f64) -> Self {
        Self(value * 60.0)
    }
    /// The duration in hours.
    pub const fn as_hours(self) -> f64 {
        self.0 / 60.0
    }
}

impl Mass {
    /// Makes the mass from kilograms.
    pub const fn kilograms(value: f64) -> Self {
        Self(value * 1e3)
    }
    /// The mass in kilograms.
    pub const fn as_kilograms(self) -> f64 {
        self.0 / 1e3
    }
}

impl Volume {
    /// Makes the volume from millilitres.
    pub const fn millilitres(value: f64) -> Self {
        Self(value / 1e3)
    }
    /// The volume in millilitres.
    pub const fn as_millilitres(self) -> f64 {
        self.0 * 1e3
    }
}

impl Concentration {
    /// Makes the concentration from g/L.
    pub const fn g_per_l(value: f64) -> Self {
        Self(value * 1e3)
    }
    /// The concentration in g/L.
    pub const fn as_g_per_l(self) -> f64 {
        self.0 / 1e3
    }
}

impl Temperature {
    /// The temperature in kelvin.
    pub const fn as_kelvin(self) -> f64 {
        self.0 + 273.15
    }
}

/// Standard atmosphere, 101.325 kPa.
pub const ATMOSPHERE: AbsolutePressure = AbsolutePressure::kpa(101.325);

impl GaugePressure {
    /// The pressure above vacuum, at sea level.
    pub const fn absolute(self) -> AbsolutePressure {
        AbsolutePressure(self.0 + ATMOSPHERE.0)
    }
}

impl AbsolutePressure {
    /// The pressure above the air's, at sea level.
    pub const fn gauge(self) -> GaugePressure {
        GaugePressure(self.0 - ATMOSPHERE.0)
    }
}
