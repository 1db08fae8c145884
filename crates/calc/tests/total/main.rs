//! Whatever finite numbers go in, an answer or an error comes out: never NaN, never an infinity.

mod day;
mod fruit;
mod ph;

use proptest::prelude::*;
use std::fmt::Debug;

/// Numbers a person may type, and numbers nobody should.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => 0.0..120.0f64,
        2 => 3.0..8.0f64,
        2 => 0.0..1.2f64,
        1 => -100.0..0.0f64,
        1 => Just(0.0),
        1 => -1e6..1e6f64,
    ]
}

fn sound(name: &str, answer: impl Debug) -> Result<(), TestCaseError> {
    let text = format!("{answer:?}");
    // An error may carry what was typed; that is finite too.
    prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{} gave {}", name, text);
    Ok(())
}
