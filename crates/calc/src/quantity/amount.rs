//! A quantity whose kind is known only at run time: what views show and edit.

use super::number::shown_back;
use super::{Dimension, NumberError, Unit, fixed, parse_number, parse_range};

/// A typed quantity that can be shown: it names its dimension and its base unit.
pub trait Quantity: Copy {
    /// The kind of quantity.
    const DIMENSION: Dimension;
    /// From a number in the base unit of the type.
    fn from_base(value: f64) -> Self;
    /// The number in the base unit of the type.
    fn base(self) -> f64;
    /// The quantity with its kind as a value.
    fn amount(self) -> Amount {
        Amount { dimension: Self::DIMENSION, base: self.base() }
    }
}

/// A number with its dimension, kept in the dimension's base unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    /// The kind of quantity.
    pub dimension: Dimension,
    base: f64,
}

impl Amount {
    /// The number in the given unit of this amount's dimension.
    pub fn in_unit(&self, unit: &Unit) -> f64 {
        unit.from_base(self.base)
    }

    /// An amount from a number in the dimension's base unit (see each type's own documentation).
    pub const fn in_base(dimension: Dimension, base: f64) -> Self {
        Self { dimension, base }
    }

    /// The number in the dimension's base unit.
    pub const fn base(&self) -> f64 {
        self.base
    }

    /// An amount from a number in a unit of the dimension.
    pub fn from_unit(dimension: Dimension, unit: &Unit, value: f64) -> Self {
        Self { dimension, base: unit.to_base(value) }
    }

    /// The same quantity seen as another dimension with the same base unit
    /// (a mass as a small mass, minutes as hours).
    #[must_use]
    pub const fn seen_as(self, dimension: Dimension) -> Self {
        Self { dimension, base: self.base }
    }

    /// The typed quantity. The caller names the type that the dimension stands for.
    pub fn typed<Q: Quantity>(&self) -> Q {
        Q::from_base(self.base)
    }

    /// False for NaN and infinities.
    pub const fn is_finite(&self) -> bool {
        self.base.is_finite()
    }

    /// Reads a typed text in the given unit.
    ///
    /// # Errors
    /// [`NumberError`] when the text is no finite number.
    pub fn parse(dimension: Dimension, unit: &Unit, text: &str) -> Result<Self, NumberError> {
        let amount = Self::from_unit(dimension, unit, parse_number(text)?);
        if amount.is_finite() { Ok(amount) } else { Err(NumberError::TooLarge(shown_back(text))) }
    }

    /// Reads a typed text that may be a range; the second amount is its upper end.
    ///
    /// # Errors
    /// [`NumberError`] when the text is neither a finite number nor a range of two.
    pub fn parse_range(
        dimension: Dimension,
        unit: &Unit,
        text: &str,
    ) -> Result<(Self, Option<Self>), NumberError> {
        let (one, other) = parse_range(text)?;
        let amount = |value| Self::from_unit(dimension, unit, value);
        let (one, other) = (amount(one), other.map(amount));
        if one.is_finite() && other.is_none_or(|other| other.is_finite()) {
            Ok((one, other))
        } else {
            Err(NumberError::TooLarge(shown_back(text)))
        }
    }

    /// The number as text in the given unit, with the unit's digits and a
    /// decimal point; a minus zero loses its sign. Parses back to itself.
    pub fn number_text(&self, unit: &Unit) -> String {
        fixed(self.in_unit(unit), unit.decimals)
    }

    /// The number and the unit's symbol, joined by a narrow no-break space.
    pub fn text(&self, unit: &Unit) -> String {
        let mut text = self.number_text(unit);
        if !unit.symbol.is_empty() {
            text.push('\u{202f}');
            text.push_str(unit.symbol);
        }
        text
    }

    /// Text for an entry field: as many digits as the amount needs, so that
    /// what was typed is shown again, not rounded away.
    pub fn entry_text(&self, unit: &Unit) -> String {
        let value = self.in_unit(unit);
        // Unit conversion leaves noise in the last bits; nine significant digits hold every reading.
        let mut text = fixed(value, 9_u8.saturating_sub(integer_digits(value)).min(6));
        if text.contains('.') {
            text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
        }
        text
    }
}

fn integer_digits(value: f64) -> u8 {
    let mut magnitude = value.abs();
    let mut digits = 1;
    while magnitude >= 10.0 && digits < 9 {
        magnitude /= 10.0;
        digits += 1;
    }
    digits
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Mass, Plato, System, Temperature, Volume};
    use proptest::prelude::*;

    #[test]
    fn known_conversions() {
        // Exact by definition of the international pound and the US gallon.
        let unit = |d: Dimension| d.default_unit(System::Us);
        assert_eq!(Mass::grams(453.592_37).amount().number_text(&unit(Dimension::Mass)), "1.00");
        assert_eq!(Volume::litres(3.785_411_784).amount().number_text(&unit(Dimension::Volume)), "1.00");
        assert_eq!(Temperature::celsius(100.0).amount().number_text(&unit(Dimension::Temperature)), "212");
        assert_eq!(Temperature::celsius(77.0).amount().text(&unit(Dimension::Temperature)), "171\u{202f}°F");
        assert_eq!(Plato::degrees(12.0).amount().number_text(&unit(Dimension::Gravity)), "1.048");
    }

    #[test]
    fn entry_text_keeps_what_was_typed() {
        let unit = Dimension::Volume.default_unit(System::Metric);
        for text in ["18", "18.25", "0.125", "1000"] {
            let amount = Amount::parse(Dimension::Volume, &unit, text).unwrap();
            assert_eq!(amount.entry_text(&unit), text);
        }
    }

    #[test]
    fn a_long_text_that_is_refused_is_shown_back_short() {
        let [unit, ..] = Dimension::Mass.units() else { panic!("no unit") };
        let long = format!("{}1e308", "0".repeat(5_000));
        for refused in [
            Amount::parse(Dimension::Mass, unit, &long).map(|_| ()),
            Amount::parse_range(Dimension::Mass, unit, &long).map(|_| ()),
            Amount::parse_range(Dimension::Mass, unit, &format!("1..{long}")).map(|_| ()),
        ] {
            let words = refused.unwrap_err().to_string();
            assert!(words.contains("too large") && words.chars().count() < 60, "{words}");
        }
    }

    #[test]
    fn minus_zero_is_zero() {
        let unit = Dimension::Volume.default_unit(System::Metric);
        assert_eq!(Volume::litres(-0.001).amount().number_text(&unit), "0.0");
    }

    proptest! {
        #[test]
        fn units_round_trip(place in 0..Dimension::ALL.len(), choice in 0usize..8, value in 0.5..40.0f64) {
            let dimension = Dimension::ALL[place];
            let unit = dimension.units()[choice % dimension.units().len()];
            // A specific gravity outside 0.99..1.17 has no degrees Plato.
            let value = if unit.key == "sg" { 0.995 + value / 250.0 } else { value };
            let back = Amount::from_unit(dimension, &unit, value).in_unit(&unit);
            prop_assert!((back - value).abs() <= 1e-9 * value.abs().max(1.0), "{} {back} {value}", unit.symbol);
        }

        #[test]
        fn shown_text_reads_back_as_itself(place in 0..Dimension::ALL.len(), choice in 0usize..8, value in 0.5..40.0f64) {
            let dimension = Dimension::ALL[place];
            let unit = dimension.units()[choice % dimension.units().len()];
            let value = if unit.key == "sg" { 0.995 + value / 250.0 } else { value };
            let text = Amount::from_unit(dimension, &unit, value).number_text(&unit);
            let again = Amount::parse(dimension, &unit, &text).unwrap();
            prop_assert_eq!(again.number_text(&unit), text);
        }
    }
}
