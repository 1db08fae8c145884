//! How long one plan takes in a browser: plans the batch whose text is the page's, many times over, and
//! leaves the microseconds of one plan in the page's title. `cargo xtask bench` builds it with the app's
//! own settings and prints what it finds.
use std::hint::black_box;

use batch::keep::{Opened, decode};
use batch::plan::plan;
use leptos::prelude::{document, window};

/// A browser's clock goes in steps of a tenth of a millisecond; a group takes hundreds of them.
const PLANS_OF_A_GROUP: u32 = 200;

/// An odd number, so that the median is one of the measurements.
const GROUPS: usize = 11;

fn main() {
    let text = document().body().and_then(|body| body.text_content()).unwrap_or_default();
    let (Ok(Opened::Current(envelope)), Some(clock)) = (decode(&text), window().performance()) else {
        return document().set_title("no batch, or no clock");
    };
    let microseconds_each = || {
        let begun = clock.now();
        for _ in 0..PLANS_OF_A_GROUP {
            black_box(plan(black_box(&envelope.data)));
        }
        (clock.now() - begun) * 1000.0 / f64::from(PLANS_OF_A_GROUP)
    };
    // While the first group runs, the browser still compiles what it finds to be used most.
    microseconds_each();
    let mut groups = [(); GROUPS].map(|()| microseconds_each());
    groups.sort_by(f64::total_cmp);
    document().set_title(&groups[GROUPS / 2].to_string());
}
