//! The dose ladder on worts that know nothing of its model, beside the rules of thumb that people
//! use. `cargo run -p calc --example ladder` prints the whole table.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test stops where it fails")]

#[allow(dead_code, reason = "the example of the same name prints more than is tested")]
mod worlds;

use worlds::{Hand, Meter, Tally, World, tally};

const WORTS: usize = 2000;
const METER: Meter = Meter { error: 0.03, bias: 0.0 };

fn of(world: World, hand: Hand) -> Tally {
    tally(WORTS, world, hand, METER, &|_| true)
}

/// At most one wort of twenty overshoots, and half are there after three doses or fewer.
fn holds(world: World) {
    let ladder = of(world, Hand::Ladder);
    assert!(ladder.overshot <= 0.05, "{world:?}: {} overshot", ladder.overshot);
    assert!(ladder.median_doses.is_some_and(|doses| doses <= 3), "{world:?}: {:?}", ladder.median_doses);
    // Stopping early is no way to be safe.
    assert!(ladder.near >= 0.85, "{world:?}: {} near", ladder.near);
    for rule in [Hand::FixedPerTenth, Hand::HalfAgain] {
        let rule = of(world, rule);
        assert!(ladder.overshot < rule.overshot && ladder.near > rule.near, "{world:?}");
        assert!(rule.median_doses.is_none_or(|doses| ladder.median_doses.unwrap() <= doses), "{world:?}");
    }
}

#[test]
fn inside_the_prior() {
    holds(World::Inside);
    // The band says what it promises: the truth four times out of five.
    for share in of(World::Inside, Hand::Ladder).in_band {
        assert!((0.75..0.9).contains(&share), "{share}");
    }
}

#[test]
fn outside_the_prior() {
    holds(World::Outside);
}

/// Titration curves with steps and gaps as no wort has them: no promise of 5 %, but still fewer
/// overshoots than any rule and as few doses.
#[test]
fn curves_that_no_wort_has() {
    let [ladder, fixed, half] =
        [Hand::Ladder, Hand::FixedPerTenth, Hand::HalfAgain].map(|h| of(World::Wild, h));
    assert!(ladder.overshot < fixed.overshot && ladder.overshot < half.overshot && ladder.overshot < 0.12);
    assert!(ladder.near > fixed.near && ladder.near > half.near);
}
