//! Documents as JSON: every kind of thing is read from one kind of value and written as one, so that the
//! program holds one copy of the code that does it, whatever the number of kinds.

use crate::keep::KeepError;
use crate::moment::Moment;
use serde_json::{Map, Number, Value};
use std::fmt::Debug;

/// What is kept as JSON. It is read into something that is there already, so that fields of all kinds can be
/// read by one piece of code.
pub trait Kept {
    /// Takes the place of what is here.
    ///
    /// # Errors
    /// [`KeepError::UnknownField`] for a name that is not known, [`KeepError::Damaged`] for what has the wrong form.
    fn fill(&mut self, value: Value) -> Result<(), KeepError>;

    /// Writes it.
    fn to_json(&self) -> Value;
}

/// What stands where nothing was written.
pub(crate) trait Usual: Sized {
    fn usual() -> Self;
}

/// Reads something new.
///
/// # Errors
/// As [`Kept::fill`].
pub(crate) fn read<T: Kept + Default>(value: Value) -> Result<T, KeepError> {
    let mut read = T::default();
    read.fill(value)?;
    Ok(read)
}

/// A field of a struct: its key, and whether it must be there.
pub(crate) type Place<'a, T> = (&'static str, bool, &'a mut T);

/// Reads a struct field by field.
pub(crate) fn fill_fields(value: Value, fields: &mut [Place<dyn Kept>]) -> Result<(), KeepError> {
    let mut object = Object::of(value)?;
    for (key, needed, field) in fields {
        match object.take(key) {
            Some(value) => field.fill(value).map_err(|why| inside(key, why))?,
            None if *needed => return Err(KeepError::Damaged(["the field ", *key, " is missing"].concat())),
            None => {}
        }
    }
    object.end()
}

/// Writes a struct field by field; what need not be there is left out where it is as usual.
pub(crate) fn write_fields(fields: &[(&str, bool, &dyn Kept, &dyn Kept)]) -> Value {
    let mut entries = Map::new();
    for (key, needed, field, usual) in fields {
        let value = field.to_json();
        if *needed || value != usual.to_json() {
            entries.insert((*key).to_owned(), value);
        }
    }
    Value::Object(entries)
}

/// What should have been something else.
#[cold]
fn wrong(value: &Value, wanted: &str) -> KeepError {
    let mut found = value.to_string();
    if let Some((end, _)) = found.char_indices().nth(60) {
        found.truncate(end);
        found.push('…');
    }
    KeepError::Damaged(["found ", &found, " in place of ", wanted].concat())
}

/// What is wrong, with the field in which it is.
#[cold]
fn inside(key: &str, why: KeepError) -> KeepError {
    match why {
        KeepError::Damaged(what) => KeepError::Damaged([key, ": ", &what].concat()),
        other => other,
    }
}

/// An object that is being read: what is left at the end is not known.
pub(crate) struct Object(Map<String, Value>);

impl Object {
    /// The object that a value is.
    pub(crate) fn of(value: Value) -> Result<Self, KeepError> {
        match value {
            Value::Object(entries) => Ok(Self(entries)),
            other => Err(wrong(&other, "an object")),
        }
    }

    /// Takes a field that must be there.
    pub(crate) fn read<T: Kept + Default>(&mut self, key: &str) -> Result<T, KeepError> {
        let missing = || KeepError::Damaged(["the field ", key, " is missing"].concat());
        read(self.take(key).ok_or_else(missing)?).map_err(|why| inside(key, why))
    }

    /// Takes a field, or nothing where it is missing.
    pub(crate) fn read_or_none<T: Kept + Default>(&mut self, key: &str) -> Result<Option<T>, KeepError> {
        self.take(key).map(read).transpose().map_err(|why| inside(key, why))
    }

    /// Takes a field as it is.
    pub(crate) fn take(&mut self, key: &str) -> Option<Value> {
        self.0.remove(key)
    }

    /// The entries that were not taken, each under its name.
    pub(crate) fn rest(self) -> impl Iterator<Item = (String, Value)> {
        self.0.into_iter()
    }

    /// Refuses what is left.
    pub(crate) fn end(self) -> Result<(), KeepError> {
        self.rest().next().map_or(Ok(()), |(key, _)| Err(unknown(&key)))
    }
}

/// Reads an object of numbers, handing each to `take`, which says whether it knows the key.
pub(crate) fn fill_numbers(value: Value, take: &mut dyn FnMut(&str, f64) -> bool) -> Result<(), KeepError> {
    for (key, value) in Object::of(value)?.rest() {
        let number = read(value).map_err(|why| inside(&key, why))?;
        if !take(&key, number) {
            return Err(unknown(&key));
        }
    }
    Ok(())
}

/// A name that is not known.
#[cold]
pub(crate) fn unknown(key: &str) -> KeepError {
    KeepError::UnknownField(crate::keep::short(key))
}

/// The elements of an array.
pub(crate) fn elements(value: Value) -> Result<Vec<Value>, KeepError> {
    match value {
        Value::Array(elements) => Ok(elements),
        other => Err(wrong(&other, "a list")),
    }
}

/// The name of one of an enum's values: that of its variant, in snake case. The fixtures of saved batches hold it.
pub fn name(value: &dyn Debug) -> String {
    let mut name = String::new();
    for letter in format!("{value:?}").chars() {
        if letter.is_ascii_uppercase() && !name.is_empty() {
            name.push('_');
        }
        name.push(letter.to_ascii_lowercase());
    }
    name
}

/// The place of a name among an enum's values.
pub(crate) fn place(value: &Value, count: usize, of: &dyn Fn(usize) -> String) -> Result<usize, KeepError> {
    let Some(found) = value.as_str() else { return Err(wrong(value, "a name")) };
    let known = (0..count).find(|&place| of(place) == found);
    known.ok_or_else(|| KeepError::Damaged(["unknown variant `", &crate::keep::short(found), "`"].concat()))
}

/// Enums whose values are kept by name.
macro_rules! by_name {
    ($($type:ty),+ $(,)?) => { $(
        impl $crate::json::Kept for $type {
            fn fill(&mut self, value: serde_json::Value) -> Result<(), $crate::keep::KeepError> {
                let place = $crate::json::place(&value, Self::ALL.len(), &|place| {
                    Self::ALL.get(place).map_or_else(String::new, |value| $crate::json::name(value))
                })?;
                *self = Self::ALL.get(place).copied().unwrap_or(*self);
                Ok(())
            }

            fn to_json(&self) -> serde_json::Value {
                serde_json::Value::String($crate::json::name(self))
            }
        }
    )+ };
}

/// Structs kept field by field: those that must be there, then those that are left out where they are as usual.
macro_rules! by_field {
    ($type:ident, $usual:expr, { $($needed:ident $needed_key:literal),* $(,)? } { $($field:ident $key:literal),* $(,)? }) => {
        impl $crate::json::Usual for $type {
            fn usual() -> Self {
                $usual
            }
        }

        impl $crate::json::Kept for $type {
            fn fill(&mut self, value: serde_json::Value) -> Result<(), $crate::keep::KeepError> {
                $crate::json::fill_fields(value, &mut [
                    $( ($needed_key, true, &mut self.$needed), )*
                    $( ($key, false, &mut self.$field), )*
                ])
            }

            fn to_json(&self) -> serde_json::Value {
                let usual: Self = $crate::json::Usual::usual();
                $crate::json::write_fields(&[
                    $( ($needed_key, true, &self.$needed, &usual.$needed), )*
                    $( ($key, false, &self.$field, &usual.$field), )*
                ])
            }
        }
    };
}

pub(crate) use {by_field, by_name};

impl Kept for String {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        match value {
            Value::String(text) => *self = text,
            other => return Err(wrong(&other, "a text")),
        }
        Ok(())
    }

    fn to_json(&self) -> Value {
        Value::String(self.clone())
    }
}

impl Kept for bool {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        *self = value.as_bool().ok_or_else(|| wrong(&value, "true or false"))?;
        Ok(())
    }

    fn to_json(&self) -> Value {
        Value::Bool(*self)
    }
}

impl Kept for f64 {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        *self = value.as_f64().ok_or_else(|| wrong(&value, "a number"))?;
        Ok(())
    }

    fn to_json(&self) -> Value {
        Number::from_f64(*self).map_or(Value::Null, Value::Number)
    }
}

impl Kept for i64 {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        *self = value.as_i64().ok_or_else(|| wrong(&value, "a whole number"))?;
        Ok(())
    }

    fn to_json(&self) -> Value {
        Value::Number((*self).into())
    }
}

impl Kept for Moment {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        *self = Self::from_seconds(read(value)?);
        Ok(())
    }

    fn to_json(&self) -> Value {
        self.as_seconds().to_json()
    }
}

impl<T: Kept + Usual> Kept for Vec<T> {
    fn fill(&mut self, value: Value) -> Result<(), KeepError> {
        self.clear();
        for element in elements(value)? {
            self.push(T::usual());
            if let Some(last) = self.last_mut() {
                last.fill(element)?;
            }
        }
        Ok(())
    }

    fn to_json(&self) -> Value {
        Value::Array(self.iter().map(T::to_json).collect())
    }
}

by_name!(
    calc::brew::water::Finish,
    calc::brew::treatment::Softening,
    calc::brew::treatment::Disinfectant,
    calc::brew::treatment::Sulfite,
    calc::brew::bitterness::HopForm,
    calc::brew::package::PackageKind,
    calc::brew::yeast::YeastForm,
    calc::chem::meter::Compensation,
    calc::data::acids::AcidKind,
    calc::data::cultures::Culture,
    calc::data::cultures::Form,
    calc::data::fruits::Fruit,
    calc::data::malts::MaltClass,
    calc::data::salts::Salt,
);
