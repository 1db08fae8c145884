//! From older schemas to this one, one pure step at a time.

use super::KeepError;
use serde_json::Value;

/// The schema this version writes. Raise it with every change after which an
/// older document would read differently or not at all: a field renamed, moved
/// or taken away, a field or a choice added, a range narrowed, a default changed. Add the step to
/// [`STEPS`] and a stored batch of the schema left behind to `tests/fixtures`.
pub const SCHEMA: u32 = 1;

/// Turns the document of one schema into that of the next.
type Step = fn(Value) -> Result<Value, KeepError>;

/// The step at place n turns a document of schema n + 1 into one of schema n + 2.
const STEPS: &[Step] = &[];

const _: () = assert!(STEPS.len() + 1 == SCHEMA as usize, "every older schema needs its step");

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
    use serde_json::json;

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
    fn schemas_that_never_were_are_refused() {
        assert_eq!(along(CHAIN, json!({}), 0), Err(KeepError::NoSuchSchema(0)));
        assert_eq!(along(CHAIN, json!({}), 4), Err(KeepError::NoSuchSchema(4)));
        assert_eq!(migrate(json!({}), 0), Err(KeepError::NoSuchSchema(0)));
        assert_eq!(migrate(json!({}), SCHEMA), Ok(json!({})));
    }
}
