//! From older schemas to this one, one pure step at a time.

use super::KeepError;
use crate::json::{Json, Writer};

/// The schema this version writes. Raise it with every change after which an
/// older document would read differently or not at all: a field renamed, moved
/// or taken away, a field or a choice added, a range narrowed, a default changed. Add the step to
/// [`STEPS`] and a stored batch of the schema left behind to `tests/fixtures`.
pub const SCHEMA: u32 = 4;

/// Turns the document of one schema into that of the next.
type Step = for<'a> fn(Value<'a>) -> Result<Value<'a>, KeepError>;

/// The step at place n turns a document of schema n + 1 into one of schema n + 2.
/// From 3 to 4 there was only something to add: steps left out, timers, tastings, the batch it came from, and
/// what fruit yields.
const STEPS: &[Step] = &[several_waters, named_preservatives, |value| Ok(value)];

const _: () = assert!(STEPS.len() + 1 == SCHEMA as usize, "every older schema needs its step");

/// A document that is being changed: a piece of text until a step looks into it.
#[derive(Clone, Debug)]
enum Value<'a> {
    /// As it stands in the text.
    Plain(Json<'a>),
    /// A name that a step writes.
    Name(&'static str),
    /// A list that was looked into.
    List(Vec<Value<'a>>),
    /// An object that was looked into.
    Object(Entries<'a>),
}

/// The entries of an object, each under its name.
#[derive(Clone, Debug, Default)]
struct Entries<'a>(Vec<(&'a str, Value<'a>)>);

impl<'a> Value<'a> {
    /// Its entries, if it is an object.
    fn object(&mut self) -> Option<&mut Entries<'a>> {
        if let Self::Plain(json) = self {
            let entries = json.entries().ok()?.into_iter();
            *self = Self::Object(Entries(entries.map(|(key, value)| (key, Self::Plain(value))).collect()));
        }
        if let Self::Object(entries) = self { Some(entries) } else { None }
    }

    /// Its elements, if it is a list.
    fn list(&mut self) -> Option<&mut Vec<Self>> {
        if let Self::Plain(json) = self {
            *self = Self::List(json.elements().ok()?.map(Self::Plain).collect());
        }
        if let Self::List(elements) = self { Some(elements) } else { None }
    }

    fn write(&self, out: &mut Writer) {
        match self {
            Self::Plain(json) => out.plain(json.text()),
            Self::Name(name) => out.string(name),
            Self::List(elements) => {
                out.open('[');
                for element in elements {
                    element.write(out);
                }
                out.close(']');
            }
            Self::Object(Entries(entries)) => {
                out.open('{');
                for (key, value) in entries {
                    out.key(key);
                    value.write(out);
                }
                out.close('}');
            }
        }
    }
}

impl<'a> Entries<'a> {
    /// An object of one entry.
    fn one(key: &'static str, value: Value<'a>) -> Value<'a> {
        Value::Object(Self(vec![(key, value)]))
    }

    fn get(&mut self, key: &str) -> Option<&mut Value<'a>> {
        self.0.iter_mut().find(|entry| entry.0 == key).map(|entry| &mut entry.1)
    }

    fn take(&mut self, key: &str) -> Option<Value<'a>> {
        let place = self.0.iter().position(|entry| entry.0 == key)?;
        Some(self.0.remove(place).1)
    }

    /// Puts the value under the name, in place of what was there.
    fn put(&mut self, key: &'static str, value: Value<'a>) {
        self.take(key);
        self.0.push((key, value));
    }
}

/// From 1 to 2: one water report among the numbers became a list of waters;
/// salts, chosen by name, became lines with numbers of their own. One own
/// amount used to make the whole list one's own: then only those lines stay,
/// each locked to its amount.
fn several_waters(mut value: Value<'_>) -> Result<Value<'_>, KeepError> {
    let batch = value.object().ok_or(KeepError::NotAnEnvelope)?;
    let mut report = Entries::default();
    if let Some(numbers) = batch.get("numbers").and_then(Value::object) {
        for (old, new) in [
            ("calcium_mg_per_l", "calcium_mg_per_l"),
            ("magnesium_mg_per_l", "magnesium_mg_per_l"),
            ("sodium_mg_per_l", "sodium_mg_per_l"),
            ("chloride_mg_per_l", "chloride_mg_per_l"),
            ("sulfate_mg_per_l", "sulfate_mg_per_l"),
            ("alkalinity_meq_per_l", "alkalinity_meq_per_l"),
            ("water_ph", "ph"),
        ] {
            if let Some(number) = numbers.take(old) {
                report.put(new, number);
            }
        }
    }
    batch.put("waters", Value::List(vec![Entries::one("numbers", Value::Object(report))]));
    if let Some(choices) = batch.get("choices").and_then(Value::object) {
        let (mut own, mut at_hand) = (choices.take("own_salts"), choices.take("salts"));
        let own = own.as_mut().and_then(Value::list).filter(|own| !own.is_empty());
        let lines: Option<Vec<Value>> = match (own, at_hand.as_mut().and_then(Value::list)) {
            (Some(own), _) => Some(own.iter_mut().filter_map(Value::object).map(locked).collect()),
            (None, Some(salts)) => Some(salts.drain(..).map(|salt| Entries::one("salt", salt)).collect()),
            (None, None) => None,
        };
        if let Some(lines) = lines {
            batch.put("salts", Value::List(lines));
        }
    }
    Ok(value)
}

/// The line of an own amount of a salt.
fn locked<'a>(dose: &mut Entries<'a>) -> Value<'a> {
    let mut line = Entries::default();
    if let Some(salt) = dose.take("salt") {
        line.put("salt", salt);
    }
    if let Some(mass) = dose.take("mass_g") {
        line.put("numbers", Entries::one("locked_g", mass));
    }
    Value::Object(line)
}

/// From 2 to 3: that a pack names sorbate or sulfite became which of them; where
/// only that was known, it may be either.
fn named_preservatives(mut value: Value<'_>) -> Result<Value<'_>, KeepError> {
    let batch = value.object().ok_or(KeepError::NotAnEnvelope)?;
    for addition in batch.get("fruit").and_then(Value::list).into_iter().flatten() {
        if let Some(preserved) = addition.object().and_then(|addition| addition.get("preserved"))
            && let Value::Plain(json) = preserved
        {
            match json.text() {
                "true" => *preserved = Value::Name("either"),
                "false" => *preserved = Value::Name("no"),
                _ => {}
            }
        }
    }
    Ok(value)
}

/// Brings a document (the envelope's `data`) from the schema it was written in
/// to [`SCHEMA`], as text. The envelope's own keys never change.
///
/// # Errors
/// [`KeepError::NoSuchSchema`] for schema zero and those yet to come; what a
/// step found when the document is not what its schema says.
pub(super) fn migrate(data: Json<'_>, from: u32) -> Result<String, KeepError> {
    along(STEPS, data, from)
}

fn along(steps: &[Step], data: Json<'_>, from: u32) -> Result<String, KeepError> {
    let behind = from.checked_sub(1).and_then(|place| usize::try_from(place).ok());
    let left = behind.and_then(|place| steps.get(place..)).ok_or(KeepError::NoSuchSchema(from))?;
    let mut out = Writer::default();
    left.iter().try_fold(Value::Plain(data), |value, step| step(value))?.write(&mut out);
    Ok(out.done())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rename_volume(mut value: Value<'_>) -> Result<Value<'_>, KeepError> {
        let fields = value.object().ok_or(KeepError::NotAnEnvelope)?;
        if let Some(volume) = fields.take("volume") {
            fields.put("volume_l", volume);
        }
        Ok(value)
    }

    fn volume_as_text(mut value: Value<'_>) -> Result<Value<'_>, KeepError> {
        let volume = value.object().and_then(|fields| fields.get("volume_l"));
        *volume.ok_or_else(|| KeepError::Damaged("no volume".to_owned()))? = Value::Name("half");
        Ok(value)
    }

    const CHAIN: &[Step] = &[rename_volume, volume_as_text];

    fn through(steps: &[Step], old: &str, from: u32) -> Result<String, KeepError> {
        along(steps, Json::of(old).unwrap(), from)
    }

    #[test]
    fn each_schema_takes_the_steps_it_is_behind_in_order() {
        let now = r#"{"volume_l":"half"}"#.to_owned();
        assert_eq!(through(CHAIN, r#"{"volume": 0.5}"#, 1), Ok(now.clone()));
        assert_eq!(through(CHAIN, r#"{"volume_l": 0.5}"#, 2), Ok(now.clone()));
        assert_eq!(through(CHAIN, &now, 3), Ok(now));
    }

    #[test]
    fn a_step_that_cannot_do_its_work_says_so() {
        assert_eq!(through(CHAIN, "[]", 1), Err(KeepError::NotAnEnvelope));
        assert_eq!(through(CHAIN, "{}", 1), Err(KeepError::Damaged("no volume".to_owned())));
    }

    #[test]
    fn one_water_becomes_a_list_and_salts_become_lines() {
        let old = r#"{"numbers":{"calcium_mg_per_l":40.0,"water_ph":7.6,"batch_volume_l":18.0},
            "choices":{"acid":"lactic","salts":["gypsum","epsom"],"own_salts":[]}}"#;
        let new = concat!(
            r#"{"numbers":{"batch_volume_l":18.0},"choices":{"acid":"lactic"},"#,
            r#""waters":[{"numbers":{"calcium_mg_per_l":40.0,"ph":7.6}}],"#,
            r#""salts":[{"salt":"gypsum"},{"salt":"epsom"}]}"#
        );
        let step: &[Step] = &[several_waters];
        assert_eq!(through(step, old, 1).as_deref(), Ok(new));
        let own = old.replace(r#""own_salts":[]"#, r#""own_salts":[{"salt":"epsom","mass_g":2.5}]"#);
        let lines = r#""salts":[{"salt":"epsom","numbers":{"locked_g":2.5}}]"#;
        assert!(through(step, &own, 1).unwrap().contains(lines));
        assert_eq!(through(step, "{}", 1).as_deref(), Ok(r#"{"waters":[{"numbers":{}}]}"#));
    }

    #[test]
    fn a_preserved_pack_may_hold_either() {
        let step = |text| along(STEPS, Json::of(text).unwrap(), 2);
        let old = r#"{"fruit":[{"fruit":"mango","preserved":true},{"fruit":"guava"},{"preserved":false}]}"#;
        let new =
            r#"{"fruit":[{"fruit":"mango","preserved":"either"},{"fruit":"guava"},{"preserved":"no"}]}"#;
        assert_eq!(step(old).as_deref(), Ok(new));
        assert_eq!(step("[]"), Err(KeepError::NotAnEnvelope));
    }

    #[test]
    fn a_text_of_any_depth_is_carried_along() {
        let deep = ["[".repeat(100_000), "]".repeat(100_000)].concat();
        let old = [r#"{"notes":"#, &deep, "}"].concat();
        assert_eq!(along(STEPS, Json::of(&old).unwrap(), 2).as_ref(), Ok(&old));
    }

    #[test]
    fn schemas_that_never_were_are_refused() {
        assert_eq!(through(CHAIN, "{}", 0), Err(KeepError::NoSuchSchema(0)));
        assert_eq!(through(CHAIN, "{}", 4), Err(KeepError::NoSuchSchema(4)));
        assert_eq!(through(STEPS, "{}", 0), Err(KeepError::NoSuchSchema(0)));
        assert_eq!(through(STEPS, "{}", SCHEMA).as_deref(), Ok("{}"));
    }
}
