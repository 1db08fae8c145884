//! From older schemas to this one, one pure step at a time.

use super::KeepError;
use serde_json::{Map, Value, json};

/// The schema this version writes. Raise it with every change after which an
/// older document would read differently or not at all: a field renamed, moved
/// or taken away, a field or a choice added, a range narrowed, a default changed. Add the step to
/// [`STEPS`] and a stored batch of the schema left behind to `tests/fixtures`.
pub const SCHEMA: u32 = 4;

/// Turns the document of one schema into that of the next.
type Step = fn(Value) -> Result<Value, KeepError>;

/// The step at place n turns a document of schema n + 1 into one of schema n + 2.
/// From 3 to 4 there was only something to add: steps left out, timers, tastings, the batch it came from, and
/// what fruit yields.
const STEPS: &[Step] = &[several_waters, named_preservatives, Ok];

const _: () = assert!(STEPS.len() + 1 == SCHEMA as usize, "every older schema needs its step");

/// From 1 to 2: one water report among the numbers became a list of waters;
/// salts, chosen by name, became lines with numbers of their own. One own
/// amount used to make the whole list one's own: then only those lines stay,
/// each locked to its amount.
fn several_waters(mut value: Value) -> Result<Value, KeepError> {
    let batch = value.as_object_mut().ok_or(KeepError::NotAnEnvelope)?;
    let mut report = Map::new();
    if let Some(Value::Object(numbers)) = batch.get_mut("numbers") {
        for (old, new) in [
            ("calcium_mg_per_l", "calcium_mg_per_l"),
            ("magnesium_mg_per_l", "magnesium_mg_per_l"),
            ("sodium_mg_per_l", "sodium_mg_per_l"),
            ("chloride_mg_per_l", "chloride_mg_per_l"),
            ("sulfate_mg_per_l", "sulfate_mg_per_l"),
            ("alkalinity_meq_per_l", "alkalinity_meq_per_l"),
            ("water_ph", "ph"),
        ] {
            report.extend(numbers.remove(old).map(|number| (new.to_owned(), number)));
        }
    }
    batch.insert("waters".to_owned(), json!([{ "numbers": report }]));
    if let Some(Value::Object(choices)) = batch.get_mut("choices") {
        let own = choices.remove("own_salts").unwrap_or_default();
        let at_hand = choices.remove("salts").unwrap_or_default();
        let own = own.as_array().map_or(&[][..], Vec::as_slice);
        let lines: Option<Vec<Value>> = if own.is_empty() {
            at_hand.as_array().map(|salts| salts.iter().map(|salt| json!({ "salt": salt })).collect())
        } else {
            let locked =
                |dose: &Value| json!({ "salt": dose["salt"], "numbers": { "locked_g": dose["mass_g"] } });
            Some(own.iter().map(locked).collect())
        };
        if let Some(lines) = lines {
            batch.insert("salts".to_owned(), Value::Array(lines));
        }
    }
    Ok(value)
}

/// From 2 to 3: that a pack names sorbate or sulfite became which of them; where
/// only that was known, it may be either.
fn named_preservatives(mut value: Value) -> Result<Value, KeepError> {
    let batch = value.as_object_mut().ok_or(KeepError::NotAnEnvelope)?;
    if let Some(Value::Array(fruit)) = batch.get_mut("fruit") {
        for addition in fruit.iter_mut().filter_map(Value::as_object_mut) {
            if let Some(Value::Bool(preserved)) = addition.get("preserved") {
                let now = if *preserved { "either" } else { "no" };
                addition.insert("preserved".to_owned(), json!(now));
            }
        }
    }
    Ok(value)
}

/// Brings a document (the envelope's `data`) from the schema it was written in
/// to [`SCHEMA`]. The envelope's own keys never change.
///
/// # Errors
/// [`KeepError::NoSuchSchema`] for schema zero and those yet to come; what a
/// step found when the document is not what its schema says.
pub fn migrate(value: Value, from: u32) -> Result<Value, KeepError> {
    along(STEPS, value, from)
}

fn along(steps: &[Step], value: Value, from: u32) -> Result<Value, KeepError> {
    let behind = from.checked_sub(1).and_then(|place| usize::try_from(place).ok());
    let left = behind.and_then(|place| steps.get(place..)).ok_or(KeepError::NoSuchSchema(from))?;
    left.iter().try_fold(value, |value, step| step(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rename_volume(mut value: Value) -> Result<Value, KeepError> {
        let fields = value.as_object_mut().ok_or(KeepError::NotAnEnvelope)?;
        if let Some(volume) = fields.remove("volume") {
            fields.insert("volume_l".to_owned(), volume);
        }
        Ok(value)
    }

    fn hectolitres_to_litres(mut value: Value) -> Result<Value, KeepError> {
        let volume = value["volume_l"].as_f64().ok_or_else(|| KeepError::Damaged("no volume".to_owned()))?;
        value["volume_l"] = json!(volume * 100.0);
        Ok(value)
    }

    const CHAIN: &[Step] = &[rename_volume, hectolitres_to_litres];

    #[test]
    fn each_schema_takes_the_steps_it_is_behind_in_order() {
        assert_eq!(along(CHAIN, json!({"volume": 0.5}), 1), Ok(json!({"volume_l": 50.0})));
        assert_eq!(along(CHAIN, json!({"volume_l": 0.5}), 2), Ok(json!({"volume_l": 50.0})));
        assert_eq!(along(CHAIN, json!({"volume_l": 50.0}), 3), Ok(json!({"volume_l": 50.0})));
    }

    #[test]
    fn a_step_that_cannot_do_its_work_says_so() {
        assert_eq!(along(CHAIN, json!([]), 1), Err(KeepError::NotAnEnvelope));
        assert_eq!(along(CHAIN, json!({}), 1), Err(KeepError::Damaged("no volume".to_owned())));
    }

    #[test]
    fn one_water_becomes_a_list_and_salts_become_lines() {
        let old = json!({
            "numbers": { "calcium_mg_per_l": 40.0, "water_ph": 7.6, "batch_volume_l": 18.0 },
            "choices": { "acid": "lactic", "salts": ["gypsum", "epsom"], "own_salts": [] },
        });
        let new = json!({
            "numbers": { "batch_volume_l": 18.0 },
            "choices": { "acid": "lactic" },
            "waters": [{ "numbers": { "calcium_mg_per_l": 40.0, "ph": 7.6 } }],
            "salts": [{ "salt": "gypsum" }, { "salt": "epsom" }],
        });
        assert_eq!(migrate(old.clone(), 1), Ok(new));
        let mut own = old;
        own["choices"]["own_salts"] = json!([{ "salt": "epsom", "mass_g": 2.5 }]);
        let lines = json!([{ "salt": "epsom", "numbers": { "locked_g": 2.5 } }]);
        assert_eq!(migrate(own, 1).map(|new| new["salts"].clone()), Ok(lines));
        assert_eq!(migrate(json!({}), 1), Ok(json!({ "waters": [{ "numbers": {} }] })));
    }

    #[test]
    fn a_preserved_pack_may_hold_either() {
        let old = json!({ "fruit": [{ "fruit": "mango", "preserved": true }, { "fruit": "guava" }] });
        let new = json!({ "fruit": [{ "fruit": "mango", "preserved": "either" }, { "fruit": "guava" }] });
        assert_eq!(migrate(old, 2), Ok(new));
        assert_eq!(migrate(json!([]), 2), Err(KeepError::NotAnEnvelope));
    }

    #[test]
    fn schemas_that_never_were_are_refused() {
        assert_eq!(along(CHAIN, json!({}), 0), Err(KeepError::NoSuchSchema(0)));
        assert_eq!(along(CHAIN, json!({}), 4), Err(KeepError::NoSuchSchema(4)));
        assert_eq!(migrate(json!({}), 0), Err(KeepError::NoSuchSchema(0)));
        assert_eq!(migrate(json!({}), SCHEMA), Ok(json!({})));
    }
}
