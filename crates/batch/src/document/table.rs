//! The table of everything a person can type: one row says the field's name
//! in the document, its type and unit, its range, its label and what is
//! assumed when it is empty. Reading, writing, validation and the entry
//! fields of the app all come from these rows.

use super::Batch;
use crate::json::{Json, Object, Writer};
use crate::keep::KeepError;
use calc::data::Source;
use calc::quantity::{Amount, Dimension, Quantity, settled};

/// What an entry field is: the row of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spec {
    /// What the person reads beside the field.
    pub label: &'static str,
    /// The key in the document, with its unit.
    pub key: &'static str,
    /// Kind of quantity, for the choice of unit.
    pub dimension: Dimension,
    /// Smallest value allowed.
    pub low: Amount,
    /// Largest value allowed.
    pub high: Amount,
    /// What is assumed when the field is empty, and on what grounds.
    pub assumed: Option<(Amount, Source)>,
}

/// A value outside its field's range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange {
    /// The field.
    pub spec: &'static Spec,
    /// The value.
    pub value: Amount,
}

impl Spec {
    /// Passes a value that is finite and in range, with the digits that are kept of it: what passes here must pass
    /// when it is read again, and the plan be the same.
    ///
    /// # Errors
    /// [`OutOfRange`] otherwise.
    pub fn check(&'static self, value: Amount) -> Result<Amount, OutOfRange> {
        let unit = &self.dimension.units()[0];
        let kept = Amount::in_base(value.dimension, settled(value.base()));
        let number = kept.in_unit(unit);
        // Not `low <= x`: a NaN must fail as well. The slack is for unit conversion at the very ends.
        let (low, high) = (self.low.in_unit(unit), self.high.in_unit(unit));
        let slack = 1e-9 * (high - low);
        if number >= low - slack && number <= high + slack {
            Ok(kept)
        } else {
            Err(OutOfRange { spec: self, value })
        }
    }
}

/// Declares a struct of optional quantities together with the enum of its
/// fields and their table rows.
macro_rules! fields {
    (
        $(#[$doc:meta])* $owner:ident, $enum:ident {
            $( $(#[$field_doc:meta])*
               $field:ident $variant:ident $key:literal : $quantity:ident as $dimension:ident,
               $label:literal, $low:literal ..= $high:literal $(, or $assumed:literal $source:expr)? ; )+
        }
    ) => {
        $(#[$doc])*
        ///
        /// One place for each field, in its base unit; a field's own method gives it typed.
        #[derive(Clone, Debug, PartialEq)]
        pub struct $owner([Option<f64>; $enum::ALL.len()]);

        impl Default for $owner {
            fn default() -> Self {
                Self([None; $enum::ALL.len()])
            }
        }

        impl $owner {
            $( $(#[$field_doc])*
            pub fn $field(&self) -> Option<$quantity> {
                self.0[$enum::$variant as usize].map($quantity::from_base)
            } )+
        }

        impl crate::json::Usual for $owner {
            fn usual() -> Self {
                Self::default()
            }
        }

        impl Kept for $owner {
            fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
                table::fill_numbers(value, $enum::SPECS, &mut self.0)
            }

            fn write(&self, out: &mut Writer) {
                table::write_numbers(out, $enum::SPECS, &self.0);
            }
        }

        #[doc = concat!("The fields of [`", stringify!($owner), "`].")]
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $enum {
            $( #[doc = $label] $variant, )+
        }

        impl $enum {
            /// Every field.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// Every table row, each at its field's place.
            const SPECS: &[Spec] = &[ $( Spec {
                label: $label,
                key: $key,
                dimension: Dimension::$dimension,
                low: Amount::in_base(Dimension::$dimension, $low as f64),
                high: Amount::in_base(Dimension::$dimension, $high as f64),
                assumed: fields!(@assumed $dimension $($assumed, $source)?),
            } ),+ ];

            /// The field's table row.
            pub fn spec(self) -> &'static Spec {
                &Self::SPECS[self as usize]
            }

            /// What the person typed, if anything.
            pub fn get(self, owner: &$owner) -> Option<Amount> {
                owner.0[self as usize].map(|base| Amount::in_base(self.spec().dimension, base))
            }

            /// Stores a value, or clears the field.
            ///
            /// # Errors
            /// [`OutOfRange`]; the document is then unchanged.
            pub fn set(self, owner: &mut $owner, value: Option<Amount>) -> Result<(), OutOfRange> {
                let checked = value.map(|amount| self.spec().check(amount)).transpose()?;
                owner.0[self as usize] = checked.map(|amount| amount.base());
                Ok(())
            }
        }
    };
    (@assumed $dimension:ident) => { None };
    (@assumed $dimension:ident $assumed:literal, $source:expr) => {
        Some((Amount::in_base(Dimension::$dimension, $assumed as f64), $source))
    };
}

pub(crate) use fields;

/// Reads an object of numbers, each into the place of the row that has its key.
///
/// # Errors
/// [`KeepError`] for a key of no row, and for what is no number.
pub(super) fn fill_numbers(
    value: Json<'_>,
    specs: &[Spec],
    numbers: &mut [Option<f64>],
) -> Result<(), KeepError> {
    let mut object = Object::of(value)?;
    for (number, spec) in numbers.iter_mut().zip(specs) {
        *number = object.take(spec.key).map(|value| value.number_at(spec.key)).transpose()?.map(settled);
    }
    object.end()
}

/// Writes the numbers that there are, each under the key of its row.
pub(super) fn write_numbers(out: &mut Writer, specs: &[Spec], numbers: &[Option<f64>]) {
    out.open('{');
    for (spec, number) in specs.iter().zip(numbers) {
        if let Some(number) = number {
            out.key(spec.key);
            out.number(*number);
        }
    }
    out.close('}');
}

/// Any entry field of a batch document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Slot {
    /// A field of the batch itself.
    Of(super::Field),
    /// A figure of the water at this place, or the lower end of its range.
    Water(usize, super::WaterField),
    /// The upper end of the range of a figure of the water at this place.
    WaterTo(usize, super::WaterField),
    /// The lower end of the range wanted of an ion.
    Finish(super::WaterField),
    /// The upper end of the range wanted of an ion.
    FinishTo(super::WaterField),
    /// A field of the salt at this place.
    Salt(usize, super::SaltField),
    /// A point of the titrated sample.
    Sample(usize, super::SampleField),
    /// A field of the rest at this place.
    Rest(usize, super::RestField),
    /// A field of the malt at this place.
    Malt(usize, super::MaltField),
    /// A field of the hop charge at this place.
    Hop(usize, super::HopField),
    /// A field of the fruit addition at this place.
    Fruit(usize, super::FruitField),
    /// A scale of the tasting at this place.
    Taste(usize, super::TasteField),
}

impl Slot {
    /// The field's table row.
    pub fn spec(self) -> &'static Spec {
        match self {
            Self::Of(field) => field.spec(),
            Self::Water(_, field) | Self::WaterTo(_, field) | Self::Finish(field) | Self::FinishTo(field) => {
                field.spec()
            }
            Self::Salt(_, field) => field.spec(),
            Self::Sample(_, field) => field.spec(),
            Self::Rest(_, field) => field.spec(),
            Self::Malt(_, field) => field.spec(),
            Self::Hop(_, field) => field.spec(),
            Self::Fruit(_, field) => field.spec(),
            Self::Taste(_, field) => field.spec(),
        }
    }

    /// What the person typed; `None` when empty or when the place does not exist.
    pub fn get(self, batch: &Batch) -> Option<Amount> {
        match self {
            Self::Of(field) => field.get(&batch.numbers),
            Self::Water(place, field) => batch.waters.get(place).and_then(|item| field.get(&item.numbers)),
            Self::WaterTo(place, field) => batch.waters.get(place).and_then(|item| field.get(&item.upper)),
            Self::Finish(field) => field.get(&batch.own_finish.numbers),
            Self::FinishTo(field) => field.get(&batch.own_finish.upper),
            Self::Salt(place, field) => batch.salts.get(place).and_then(|item| field.get(&item.numbers)),
            Self::Sample(place, field) => batch.sample.get(place).and_then(|point| field.get(point)),
            Self::Rest(place, field) => batch.rests.get(place).and_then(|item| field.get(&item.numbers)),
            Self::Malt(place, field) => batch.grist.get(place).and_then(|item| field.get(&item.numbers)),
            Self::Hop(place, field) => batch.hops.get(place).and_then(|item| field.get(&item.numbers)),
            Self::Fruit(place, field) => batch.fruit.get(place).and_then(|item| field.get(&item.numbers)),
            Self::Taste(place, field) => batch.tastings.get(place).and_then(|item| field.get(&item.numbers)),
        }
    }

    /// Stores a value, or clears the field. A place that does not exist is left alone.
    ///
    /// # Errors
    /// [`OutOfRange`]; the document is then unchanged.
    pub fn set(self, batch: &mut Batch, value: Option<Amount>) -> Result<(), OutOfRange> {
        match self {
            Self::Of(field) => field.set(&mut batch.numbers, value),
            Self::Water(place, field) => {
                batch.waters.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
            Self::WaterTo(place, field) => {
                batch.waters.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.upper, value))
            }
            Self::Finish(field) => field.set(&mut batch.own_finish.numbers, value),
            Self::FinishTo(field) => field.set(&mut batch.own_finish.upper, value),
            Self::Salt(place, field) => {
                batch.salts.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
            Self::Sample(place, field) => {
                batch.sample.get_mut(place).map_or(Ok(()), |point| field.set(point, value))
            }
            Self::Rest(place, field) => {
                batch.rests.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
            Self::Malt(place, field) => {
                batch.grist.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
            Self::Hop(place, field) => {
                batch.hops.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
            Self::Fruit(place, field) => {
                batch.fruit.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
            Self::Taste(place, field) => {
                batch.tastings.get_mut(place).map_or(Ok(()), |item| field.set(&mut item.numbers, value))
            }
        }
    }

    /// Every field of this document, lists included.
    pub fn all(batch: &Batch) -> impl Iterator<Item = Self> + '_ {
        use super::WaterField;
        let own = super::Field::ALL.iter().map(|&field| Self::Of(field));
        let waters = (0..batch.waters.len()).flat_map(|place| {
            WaterField::ALL.iter().flat_map(move |&field| {
                let slot = Self::Water(place, field);
                std::iter::once(slot).chain(slot.upper())
            })
        });
        let finish =
            WaterField::WANTED.iter().flat_map(|&(field, _)| [Self::Finish(field), Self::FinishTo(field)]);
        let salts = (0..batch.salts.len())
            .flat_map(|place| super::SaltField::ALL.iter().map(move |&field| Self::Salt(place, field)));
        let sample = (0..batch.sample.len())
            .flat_map(|place| super::SampleField::ALL.iter().map(move |&field| Self::Sample(place, field)));
        let rests = (0..batch.rests.len())
            .flat_map(|place| super::RestField::ALL.iter().map(move |&field| Self::Rest(place, field)));
        let malts = (0..batch.grist.len())
            .flat_map(|place| super::MaltField::ALL.iter().map(move |&field| Self::Malt(place, field)));
        let hops = (0..batch.hops.len())
            .flat_map(|place| super::HopField::ALL.iter().map(move |&field| Self::Hop(place, field)));
        let fruit = (0..batch.fruit.len())
            .flat_map(|place| super::FruitField::ALL.iter().map(move |&field| Self::Fruit(place, field)));
        let tastings = (0..batch.tastings.len())
            .flat_map(|place| super::TasteField::ALL.iter().map(move |&field| Self::Taste(place, field)));
        own.chain(waters)
            .chain(finish)
            .chain(salts)
            .chain(sample)
            .chain(rests)
            .chain(malts)
            .chain(hops)
            .chain(fruit)
            .chain(tastings)
    }

    /// Where the upper end is kept when this field takes a range.
    pub const fn upper(self) -> Option<Self> {
        match self {
            Self::Water(_, super::WaterField::Share) => None,
            Self::Water(place, field) => Some(Self::WaterTo(place, field)),
            Self::Finish(field) => Some(Self::FinishTo(field)),
            _ => None,
        }
    }

    /// What the plan uses for this field: what was typed, else what the house
    /// taught, else what is assumed.
    pub fn effective(self, batch: &Batch) -> Option<Amount> {
        self.get(batch).or_else(|| self.fallback(batch).map(|(amount, _)| amount))
    }

    /// What stands in for an empty field, and why.
    pub fn fallback(self, batch: &Batch) -> Option<(Amount, Fallback)> {
        let spec = self.spec();
        if let Self::Of(field) = self
            && let Some(learned) = batch.house.for_field(field)
        {
            return Some((learned.0.seen_as(spec.dimension), Fallback::House { batches: learned.1 }));
        }
        if let Self::Salt(place, super::SaltField::Purity) = self {
            let (share, source) = batch.salts.get(place)?.usual_share();
            return Some((share.amount(), Fallback::Assumed(source)));
        }
        spec.assumed.map(|(amount, source)| (amount, Fallback::Assumed(source)))
    }
}

/// Why an empty field still has a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fallback {
    /// A house number that rests on so many batches.
    House {
        /// How many batches it rests on.
        batches: u32,
    },
    /// An assumption with its grounds.
    Assumed(Source),
}
