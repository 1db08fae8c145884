//! Documents as JSON, read from and written to text.
//!
//! A value is the piece of text it stands in. The text is looked through once, and then every value in it is
//! found by passing over those before it: nothing is built that the document does not hold. All kinds of
//! thing go through the same few functions here, whatever their number, because the code of each is
//! downloaded.

use crate::keep::KeepError;
use crate::moment::Moment;
use calc::quantity::{read_decimal, settled_text};
use std::fmt::Debug;

/// A value in a text that is sound JSON.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Json<'a>(&'a str);

impl<'a> Json<'a> {
    /// The value that a text is.
    ///
    /// # Errors
    /// [`KeepError::CutShort`] where the text ends too early, [`KeepError::NotJson`] where it is garbled.
    pub fn of(text: &'a str) -> Result<Self, KeepError> {
        let bytes = text.as_bytes();
        let end = end_of_value(bytes, 0).map(|end| past_space(bytes, end));
        match end {
            Ok(end) if end == bytes.len() => Ok(Self(text.trim_matches(SPACE))),
            Ok(fault) | Err(fault) => Err(fault_in(bytes, fault)),
        }
    }

    /// The value as it stands in the text.
    pub fn text(self) -> &'a str {
        self.0
    }

    /// The entries of an object, each under its name.
    ///
    /// # Errors
    /// [`KeepError::Damaged`] for what is no object.
    pub fn entries(self) -> Result<Vec<(&'a str, Self)>, KeepError> {
        if self.0.starts_with('{') { Ok(self.inner()) } else { Err(self.wrong("an object")) }
    }

    /// The elements of a list.
    pub(crate) fn elements(self) -> Result<impl ExactSizeIterator<Item = Self>, KeepError> {
        if !self.0.starts_with('[') {
            return Err(self.wrong("a list"));
        }
        Ok(self.inner().into_iter().map(|(_, element)| element))
    }

    /// What an object or a list holds, the elements of a list under no name.
    fn inner(self) -> Vec<(&'a str, Self)> {
        let (text, bytes) = (self.0, self.0.as_bytes());
        let (mut found, mut at) = (Vec::new(), 1);
        loop {
            at = past_space(bytes, at);
            let mut key = "";
            if text.starts_with('{')
                && let Ok(end) = end_of_string(bytes, at)
            {
                key = text.get(at + 1..end - 1).unwrap_or_default();
                // Behind the colon.
                at = past_space(bytes, past_space(bytes, end) + 1);
            }
            // The end is no value, and nothing else can be wrong in a text that was looked through.
            let Ok(end) = end_of_value(bytes, at) else { return found };
            found.push((key, Self(text.get(at..end).unwrap_or_default())));
            // Behind the comma.
            at = past_space(bytes, end) + 1;
        }
    }

    /// A number.
    pub(crate) fn number(self) -> Result<f64, KeepError> {
        let number = read_decimal(self.0);
        number.filter(|number| number.is_finite()).ok_or_else(|| self.wrong("a number"))
    }

    /// The number under a key.
    pub(crate) fn number_at(self, key: &str) -> Result<f64, KeepError> {
        self.number().map_err(|why| inside(key, why))
    }

    /// A whole number.
    pub(crate) fn whole(self) -> Result<i64, KeepError> {
        self.0.parse().map_err(|_| self.wrong("a whole number"))
    }

    /// The place of a name among an enum's values.
    pub(crate) fn place(self, count: usize, of: &dyn Fn(usize) -> String) -> Result<usize, KeepError> {
        let inner = self.quoted().ok_or_else(|| self.wrong("a name"))?;
        let place = (0..count).find(|&place| of(place) == inner);
        place.ok_or_else(|| {
            KeepError::Damaged(["unknown variant `", &crate::keep::short(inner), "`"].concat())
        })
    }

    /// What stands between the quotes of a text, escapes as they are.
    fn quoted(self) -> Option<&'a str> {
        self.0.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'))
    }

    /// A text with its escapes undone; `None` for another kind of value and for half a surrogate pair.
    pub fn string(self) -> Option<String> {
        let mut rest = self.quoted()?;
        let mut text = String::with_capacity(rest.len());
        while let Some((plain, escape)) = rest.split_once('\\') {
            text.push_str(plain);
            let (letter, after) = escape.split_at_checked(1)?;
            rest = after;
            text.push(match letter {
                "n" => '\n',
                "t" => '\t',
                "r" => '\r',
                "b" => '\u{8}',
                "f" => '\u{c}',
                "u" => {
                    let mut unit = sixteen_bits(&mut rest)?;
                    if (0xd800..0xdc00).contains(&unit) {
                        rest = rest.strip_prefix("\\u")?;
                        let low = sixteen_bits(&mut rest)?.checked_sub(0xdc00).filter(|low| *low < 0x400)?;
                        unit = 0x1_0000 + ((unit - 0xd800) << 10) + low;
                    }
                    char::from_u32(unit)?
                }
                other => other.chars().next()?,
            });
        }
        text.push_str(rest);
        Some(text)
    }

    /// This should have been something else.
    #[cold]
    pub(crate) fn wrong(self, wanted: &str) -> KeepError {
        KeepError::Damaged(["found ", &crate::keep::short(self.0), " in place of ", wanted].concat())
    }
}

/// Four hexadecimal digits at the beginning of the text, which are taken off it.
fn sixteen_bits(text: &mut &str) -> Option<u32> {
    let (digits, after) = text.split_at_checked(4)?;
    *text = after;
    u32::from_str_radix(digits, 16).ok()
}

const SPACE: [char; 4] = [' ', '\t', '\n', '\r'];

fn past_space(text: &[u8], mut at: usize) -> usize {
    while let Some(b' ' | b'\t' | b'\n' | b'\r') = text.get(at) {
        at += 1;
    }
    at
}

/// Where the value ends that begins here, behind space or at once; or where it stops being JSON. Nothing is
/// called anew for what is inside, so no text is too deep.
fn end_of_value(text: &[u8], mut at: usize) -> Result<usize, usize> {
    // The brackets that are to be closed.
    let mut open = Vec::new();
    loop {
        at = past_space(text, at);
        match text.get(at) {
            Some(&bracket @ (b'{' | b'[')) => {
                // Each stands two places before its closing one.
                let close = bracket + 2;
                at = past_space(text, at + 1);
                if text.get(at) != Some(&close) {
                    open.push(close);
                    if close == b'}' {
                        at = past_key(text, at)?;
                    }
                    continue;
                }
                at += 1;
            }
            Some(b'"') => at = end_of_string(text, at)?,
            Some(b't') => at = past(text, at, b"true")?,
            Some(b'f') => at = past(text, at, b"false")?,
            Some(b'n') => at = past(text, at, b"null")?,
            _ => at = end_of_number(text, at)?,
        }
        loop {
            let Some(&close) = open.last() else { return Ok(at) };
            at = past_space(text, at);
            match text.get(at) {
                Some(b',') => {
                    at += 1;
                    if close == b'}' {
                        at = past_key(text, at)?;
                    }
                    break;
                }
                Some(byte) if *byte == close => {
                    open.pop();
                    at += 1;
                }
                _ => return Err(at),
            }
        }
    }
}

fn past_key(text: &[u8], at: usize) -> Result<usize, usize> {
    let end = end_of_string(text, past_space(text, at))?;
    past(text, past_space(text, end), b":")
}

/// Passes these characters, which must be there.
fn past(text: &[u8], mut at: usize, word: &[u8]) -> Result<usize, usize> {
    for byte in word {
        if text.get(at) != Some(byte) {
            return Err(at);
        }
        at += 1;
    }
    Ok(at)
}

/// Where the string ends that begins with a quote here.
fn end_of_string(text: &[u8], at: usize) -> Result<usize, usize> {
    let mut at = past(text, at, b"\"")?;
    loop {
        match text.get(at) {
            Some(b'"') => return Ok(at + 1),
            Some(b'\\') => {
                at += 1;
                match text.get(at) {
                    Some(b'u') => {
                        for _ in 0..4 {
                            at += 1;
                            if !text.get(at).is_some_and(u8::is_ascii_hexdigit) {
                                return Err(at);
                            }
                        }
                    }
                    Some(b'"' | b'\\' | b'/' | b'b' | b'f' | b'n' | b'r' | b't') => {}
                    _ => return Err(at),
                }
            }
            None | Some(..0x20) => return Err(at),
            Some(_) => {}
        }
        at += 1;
    }
}

/// Where the number ends that begins here.
fn end_of_number(text: &[u8], mut at: usize) -> Result<usize, usize> {
    let digits = |from: usize| {
        let mut at = from;
        while text.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        if at > from { Ok(at) } else { Err(at) }
    };
    if text.get(at) == Some(&b'-') {
        at += 1;
    }
    // A zero has no digit behind it.
    at = if text.get(at) == Some(&b'0') { at + 1 } else { digits(at)? };
    if text.get(at) == Some(&b'.') {
        at = digits(at + 1)?;
    }
    if let Some(b'e' | b'E') = text.get(at) {
        at += 1;
        if let Some(b'+' | b'-') = text.get(at) {
            at += 1;
        }
        at = digits(at)?;
    }
    Ok(at)
}

/// What is wrong with a text that stops being JSON here.
#[cold]
fn fault_in(text: &[u8], fault: usize) -> KeepError {
    let (before, rest) = text.split_at_checked(fault).unwrap_or((text, &[]));
    let line = 1 + before.iter().filter(|byte| **byte == b'\n').count();
    let column = 1 + before.iter().rev().take_while(|byte| **byte != b'\n').count();
    if rest.is_empty() { KeepError::CutShort { line, column } } else { KeepError::NotJson { line, column } }
}

/// Compact JSON that is being written.
#[derive(Debug, Default)]
pub struct Writer(String);

impl Writer {
    /// The text written.
    pub fn done(self) -> String {
        self.0
    }

    /// A comma where something stands before.
    fn separate(&mut self) {
        if !matches!(self.0.as_bytes().last(), None | Some(b'{' | b'[' | b':')) {
            self.0.push(',');
        }
    }

    /// Opens an object or a list.
    pub fn open(&mut self, bracket: char) {
        self.separate();
        self.0.push(bracket);
    }

    /// Closes an object or a list.
    pub fn close(&mut self, bracket: char) {
        self.0.push(bracket);
    }

    /// The name of what comes next.
    pub fn key(&mut self, key: &str) {
        self.string(key);
        self.0.push(':');
    }

    /// A value that is JSON already.
    pub fn plain(&mut self, json: &str) {
        self.separate();
        self.0.push_str(json);
    }

    /// A text.
    pub fn string(&mut self, text: &str) {
        self.separate();
        self.0.push('"');
        for letter in text.chars() {
            let short = match letter {
                '"' => '"',
                '\\' => '\\',
                '\n' => 'n',
                '\t' => 't',
                '\r' => 'r',
                '\u{8}' => 'b',
                '\u{c}' => 'f',
                _ => '\0',
            };
            if short != '\0' {
                self.0.push('\\');
                self.0.push(short);
            } else if letter < ' ' {
                self.0.push_str("\\u00");
                for digit in [u32::from(letter) >> 4, u32::from(letter) & 15] {
                    self.0.extend(char::from_digit(digit, 16));
                }
            } else {
                self.0.push(letter);
            }
        }
        self.0.push('"');
    }

    /// A number as it is kept, see [`settled_text`]: amounts typed in one unit and kept in another have
    /// seventeen digits, of which the last are noise and would double the size of a stored batch. What is no number gives a zero; a sound document has none.
    pub fn number(&mut self, number: f64) {
        self.plain(&settled_text(number));
    }

    /// A whole number.
    pub fn whole(&mut self, number: i64) {
        self.plain(&number.to_string());
    }
}

/// What is kept as JSON. It is read into something that is there already, so that fields of all kinds can be
/// read by one piece of code.
pub trait Kept {
    /// Takes the place of what is here.
    ///
    /// # Errors
    /// [`KeepError::UnknownField`] for a name that is not known, [`KeepError::Damaged`] for what has the wrong form.
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError>;

    /// Writes it.
    fn write(&self, out: &mut Writer);
}

/// The JSON text of something.
pub fn text_of(kept: &dyn Kept) -> String {
    let mut out = Writer::default();
    kept.write(&mut out);
    out.done()
}

/// What stands where nothing was written.
pub(crate) trait Usual: Sized {
    fn usual() -> Self;
}

/// Reads something new.
///
/// # Errors
/// As [`Kept::fill`].
pub(crate) fn read<T: Kept + Default>(value: Json<'_>) -> Result<T, KeepError> {
    let mut read = T::default();
    read.fill(value)?;
    Ok(read)
}

/// A field of a struct: its key, and whether it must be there.
pub(crate) type Place<'a> = (&'static str, bool, &'a mut dyn Kept);

/// Reads a struct field by field.
pub(crate) fn fill_fields(value: Json<'_>, fields: &mut [Place<'_>]) -> Result<(), KeepError> {
    let mut object = Object::of(value)?;
    for (key, needed, field) in fields {
        match object.take(key) {
            Some(value) => field.fill(value).map_err(|why| inside(key, why))?,
            None if *needed => return Err(missing(key)),
            None => {}
        }
    }
    object.end()
}

/// Writes a struct field by field; what need not be there is left out where it is as usual.
pub(crate) fn write_fields(out: &mut Writer, fields: &[(&str, bool, &dyn Kept, &dyn Kept)]) {
    out.open('{');
    for (key, needed, field, usual) in fields {
        let before = out.0.len();
        out.key(key);
        let behind = out.0.len();
        field.write(out);
        if !needed && out.0.get(behind..) == Some(text_of(*usual).as_str()) {
            out.0.truncate(before);
        }
    }
    out.close('}');
}

/// What is wrong, with the field in which it is.
#[cold]
fn inside(key: &str, why: KeepError) -> KeepError {
    match why {
        KeepError::Damaged(what) => KeepError::Damaged([key, ": ", &what].concat()),
        other => other,
    }
}

#[cold]
fn missing(key: &str) -> KeepError {
    KeepError::Damaged(["the field ", key, " is missing"].concat())
}

/// An object that is being read: what is left at the end is not known.
pub(crate) struct Object<'a>(Vec<(&'a str, Json<'a>)>);

impl<'a> Object<'a> {
    /// The object that a value is. A name that comes twice is refused.
    pub(crate) fn of(value: Json<'a>) -> Result<Self, KeepError> {
        let entries = value.entries()?;
        for (place, (key, _)) in entries.iter().enumerate() {
            if entries.iter().take(place).any(|other| other.0 == *key) {
                return Err(KeepError::Damaged(["the field ", key, " is there twice"].concat()));
            }
        }
        Ok(Self(entries))
    }

    /// Takes a field that must be there.
    pub(crate) fn read<T: Kept + Default>(&mut self, key: &str) -> Result<T, KeepError> {
        self.read_or_none(key)?.ok_or_else(|| missing(key))
    }

    /// Takes a field, or nothing where it is missing.
    pub(crate) fn read_or_none<T: Kept + Default>(&mut self, key: &str) -> Result<Option<T>, KeepError> {
        self.take(key).map(read).transpose().map_err(|why| inside(key, why))
    }

    /// Takes a field as it is.
    pub(crate) fn take(&mut self, key: &str) -> Option<Json<'a>> {
        let place = self.0.iter().position(|entry| entry.0 == key)?;
        Some(self.0.remove(place).1)
    }

    /// The entries that were not taken, each under its name.
    pub(crate) fn rest(self) -> impl Iterator<Item = (&'a str, Json<'a>)> {
        self.0.into_iter()
    }

    /// Refuses what is left.
    pub(crate) fn end(self) -> Result<(), KeepError> {
        self.rest().next().map_or(Ok(()), |(key, _)| Err(unknown(key)))
    }
}

/// A name that is not known.
#[cold]
pub(crate) fn unknown(key: &str) -> KeepError {
    KeepError::UnknownField(crate::keep::short(key))
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

/// Enums whose values are kept by name.
macro_rules! by_name {
    ($($type:ty),+ $(,)?) => { $(
        impl $crate::json::Kept for $type {
            fn fill(&mut self, value: $crate::json::Json<'_>) -> Result<(), $crate::keep::KeepError> {
                let place = value.place(Self::ALL.len(), &|place| {
                    Self::ALL.get(place).map_or_else(String::new, |value| $crate::json::name(value))
                })?;
                *self = Self::ALL.get(place).copied().unwrap_or(*self);
                Ok(())
            }

            fn write(&self, out: &mut $crate::json::Writer) {
                out.string(&$crate::json::name(self));
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
            fn fill(&mut self, value: $crate::json::Json<'_>) -> Result<(), $crate::keep::KeepError> {
                $crate::json::fill_fields(value, &mut [
                    $( ($needed_key, true, &mut self.$needed), )*
                    $( ($key, false, &mut self.$field), )*
                ])
            }

            fn write(&self, out: &mut $crate::json::Writer) {
                let usual: Self = $crate::json::Usual::usual();
                $crate::json::write_fields(out, &[
                    $( ($needed_key, true, &self.$needed, &usual.$needed), )*
                    $( ($key, false, &self.$field, &usual.$field), )*
                ]);
            }
        }
    };
}

pub(crate) use {by_field, by_name};

impl Kept for String {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        *self = value.string().ok_or_else(|| value.wrong("a text"))?;
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.string(self);
    }
}

impl Kept for bool {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        *self = match value.0 {
            "true" => true,
            "false" => false,
            _ => return Err(value.wrong("true or false")),
        };
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.plain(if *self { "true" } else { "false" });
    }
}

impl Kept for Moment {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        *self = Self::from_seconds(value.whole()?);
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.whole(self.as_seconds());
    }
}

/// A count.
impl Kept for u32 {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        *self = Self::try_from(value.whole()?).map_err(|_| value.wrong("a count"))?;
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.whole(i64::from(*self));
    }
}

impl<T: Kept + Usual> Kept for Vec<T> {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        self.clear();
        for element in value.elements()? {
            self.push(T::usual());
            if let Some(last) = self.last_mut() {
                last.fill(element)?;
            }
        }
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        out.open('[');
        for kept in self {
            kept.write(out);
        }
        out.close(']');
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde::de::IgnoredAny;

    #[test]
    fn what_is_in_an_object_is_found_in_its_order() {
        let text = r#" { "a" : [1, {"b": "]}"} ,[ ]] , "c":{}, "d\n": -1.5e-3 } "#;
        let entries = Json::of(text).unwrap().entries().unwrap();
        let found: Vec<(&str, &str)> = entries.iter().map(|(key, value)| (*key, value.text())).collect();
        assert_eq!(found, [("a", r#"[1, {"b": "]}"} ,[ ]]"#), ("c", "{}"), (r"d\n", "-1.5e-3")]);
        let list: Vec<&str> = entries[0].1.elements().unwrap().map(Json::text).collect();
        assert_eq!(list, ["1", r#"{"b": "]}"}"#, "[ ]"]);
        assert_eq!(entries[1].1.entries(), Ok(Vec::new()));
    }

    #[test]
    fn what_has_the_wrong_form_says_what_it_is() {
        let wrong = |json: &str, read: fn(Json<'_>) -> Option<KeepError>| match read(Json::of(json).unwrap())
        {
            Some(KeepError::Damaged(what)) => what,
            other => panic!("{json}: {other:?}"),
        };
        assert_eq!(wrong("[1]", |json| json.entries().err()), "found [1] in place of an object");
        assert_eq!(wrong("{}", |json| json.elements().err()), "found {} in place of a list");
        assert_eq!(wrong("\"5\"", |json| json.number().err()), "found \"5\" in place of a number");
        assert_eq!(wrong("1e999", |json| json.number().err()), "found 1e999 in place of a number");
        assert_eq!(wrong("null", |json| json.number().err()), "found null in place of a number");
        assert_eq!(wrong("1.0", |json| json.whole().err()), "found 1.0 in place of a whole number");
        assert_eq!(wrong("3", |json| read::<String>(json).err()), "found 3 in place of a text");
        assert_eq!(wrong("0", |json| read::<bool>(json).err()), "found 0 in place of true or false");
        assert_eq!(wrong("-1", |json| read::<u32>(json).err()), "found -1 in place of a count");
        assert_eq!(
            wrong("\"nut\"", |json| read::<calc::brew::bitterness::HopForm>(json).err()),
            "unknown variant `nut`"
        );
        assert_eq!(
            wrong(r#""\ud83d!""#, |json| read::<String>(json).err()),
            r#"found "\ud83d!" in place of a text"#
        );
        assert_eq!(wrong(r#"{"a":1,"a":2}"#, |json| Object::of(json).err()), "the field a is there twice");
    }

    #[test]
    fn a_fault_is_named_by_its_place() {
        for (text, line, column) in
            [("", 1, 1), ("{\"a\":\n1", 2, 2), ("[1,", 1, 4), ("\"\\u00", 1, 6), ("-", 1, 2)]
        {
            assert_eq!(Json::of(text), Err(KeepError::CutShort { line, column }), "{text}");
        }
        for (text, line, column) in
            [("{]", 1, 2), ("[1,\n 2 3]", 2, 4), ("01", 1, 2), ("{} x", 1, 4), ("\"\t\"", 1, 2)]
        {
            assert_eq!(Json::of(text), Err(KeepError::NotJson { line, column }), "{text}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]

        #[test]
        fn the_same_texts_are_json_as_for_another_reader(text in "[\\[\\]{}:,\"\\\\ 0-2.eE+ntrufalsb-]{0,14}") {
            prop_assert_eq!(Json::of(&text).is_ok(), serde_json::from_str::<IgnoredAny>(&text).is_ok());
        }

        #[test]
        fn texts_are_written_and_read_as_others_do(text in ".{0,20}|[\u{0}-\u{2f}\\\\\"é😀]{0,20}", escaped in "(\\\\(u[0-9a-dA-D]{4}|[\"\\\\/bfnrt])|x){0,4}") {
            let written = text_of(&text);
            prop_assert_eq!(&written, &serde_json::to_string(&text).unwrap());
            prop_assert_eq!(Json::of(&written).unwrap().string(), Some(text));
            let quoted = ["\"", &escaped, "\""].concat();
            prop_assert_eq!(Json::of(&quoted).unwrap().string(), serde_json::from_str::<String>(&quoted).ok());
        }

        #[test]
        fn numbers_are_read_as_others_do(text in "-?(0|[1-9][0-9]{0,8})(\\.[0-9]{1,6})?([eE][+-]?[0-9])?") {
            prop_assert_eq!(Json::of(&text).unwrap().number().ok(), serde_json::from_str::<f64>(&text).ok());
            prop_assert_eq!(Json::of(&text).unwrap().whole().ok().filter(|_| text != "-0"), serde_json::from_str::<i64>(&text).ok());
        }
    }
}
