//! Hostile input, by the million.
//!
//! `cargo xtask fuzz` builds this with the compiler's coverage counters, under which libFuzzer looks for input that
//! reaches new code. Built as usual it tries the files it is given, so that what was found can be looked into:
//!
//! ```text
//! cargo run -p fuzz -- edits FILE...
//! ```
//!
//! Each [`TARGETS`] entry takes any bytes and says whether they were accepted as what they should be. It must never
//! panic, take longer than [`PATIENCE`] or a gigabyte, or accept what is not sound: [`sound`] says what that is.
#![cfg_attr(fuzzing, no_main)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a panic is how a find is reported"
)]

mod edits;
mod seeds;
mod sound;
mod texts;

/// The preferences live in the app and know no browser: the very same file is tried here.
#[path = "../../../app/src/preferences.rs"]
#[allow(dead_code, reason = "the app uses the rest")]
mod preferences;

/// What the preferences ask of the app's clock, which in the app is the browser's.
mod clock {
    use batch::moment::Moment;

    pub fn short(moment: Moment, _now: Moment) -> String {
        moment.as_seconds().to_string()
    }
}

use cpu_time::ThreadTime;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Takes any bytes; true when they were what they should be.
type Target = fn(&[u8]) -> bool;

/// The targets by name. Their shares of all inputs are in `crates/xtask/src/fuzz.rs`.
const TARGETS: [(&str, Target); 10] = [
    ("stored", texts::stored),
    ("keepsake", texts::keepsake),
    ("keeping", texts::keeping),
    ("link", texts::link),
    ("preferences", texts::preferences),
    ("number", texts::number),
    ("table", texts::table),
    ("code", texts::code),
    ("edits", edits::edits),
    ("water", edits::water),
];

/// The longest that one input may take.
const PATIENCE: Duration = Duration::from_secs(1);

/// How often the counts are said.
const SAID_EVERY: u64 = 1_000;

static TRIED: AtomicU64 = AtomicU64::new(0);
static ACCEPTED: AtomicU64 = AtomicU64::new(0);
static SLOWEST: AtomicU64 = AtomicU64::new(0);

fn target(name: &str) -> Target {
    let found = TARGETS.iter().find(|(known, _)| *known == name);
    found.unwrap_or_else(|| panic!("no target {name}; there are {:?}", TARGETS.map(|(known, _)| known))).1
}

/// How long an input keeps the processor. Other programs take it away too: what seems slow is timed once more by the
/// time that this thread had it.
fn time(target: Target, input: &[u8]) -> (bool, Duration) {
    let begun = Instant::now();
    let accepted = target(input);
    let took = begun.elapsed();
    if took < Duration::from_millis(1) || took.as_micros() <= u128::from(SLOWEST.load(Ordering::Relaxed)) {
        return (accepted, took);
    }
    let begun = ThreadTime::now();
    target(input);
    (accepted, begun.elapsed())
}

/// Tries one input, and says from time to time how many were tried.
fn attempt(target: Target, input: &[u8]) {
    let (accepted, took) = time(target, input);
    assert!(took < PATIENCE, "a hang: {took:?}");
    let tried = TRIED.fetch_add(1, Ordering::Relaxed) + 1;
    let all = ACCEPTED.fetch_add(u64::from(accepted), Ordering::Relaxed) + u64::from(accepted);
    let took = took.as_micros() as u64;
    let slowest = SLOWEST.fetch_max(took, Ordering::Relaxed).max(took);
    if tried.is_multiple_of(SAID_EVERY) {
        eprintln!("counted: tried {tried} accepted {all} slowest_us {slowest}");
    }
}

#[cfg(fuzzing)]
mod fuzzing {
    use super::{Target, attempt, seeds, target};
    use std::sync::OnceLock;

    static CHOSEN: OnceLock<Target> = OnceLock::new();

    fn chosen() -> Target {
        *CHOSEN.get_or_init(|| target(&std::env::var("TARTWRIGHT_FUZZ").unwrap_or_default()))
    }

    libfuzzer_sys::fuzz_target!(
        init: {
            if let Some(folder) = std::env::var_os("TARTWRIGHT_FUZZ_SEEDS") {
                seeds::write_to(&std::env::var("TARTWRIGHT_FUZZ").unwrap_or_default(), folder.as_ref());
            }
        },
        |input: &[u8]| attempt(chosen(), input)
    );
}

#[cfg(not(fuzzing))]
fn main() {
    let mut words = std::env::args().skip(1);
    let target = target(&words.next().unwrap_or_default());
    for file in words {
        let input = std::fs::read(&file).unwrap_or_else(|error| panic!("{file}: {error}"));
        attempt(target, &input);
        println!("{file}: held");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_target_accepts_its_seeds() {
        for (name, target) in TARGETS {
            let seeds = seeds::of(name);
            let accepted = seeds.iter().filter(|seed| target(seed)).count();
            assert!(accepted * 2 > seeds.len() && !seeds.is_empty(), "{name}: {accepted} of {}", seeds.len());
        }
    }
}
