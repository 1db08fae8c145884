//! House numbers, learned from every batch of the book that is not invented.

use crate::book::lessons;
use crate::clock;
use crate::signals::{Memo, RwSignal};
use crate::state::Shared;
use crate::view::{Shows, View, tag};
use crate::widgets::{button, give_or_take, live, source_view};
use batch::house::{House, HouseNumber, Lesson, Rules};
use batch::plan::{Origin, Shown};
use calc::quantity::{Amount, Count};

/// Batches of which a number's own value is shown.
const LAST: usize = 6;

/// All house numbers, with what can be done about them.
pub fn house(shared: Shared) -> View {
    // Planning every batch anew takes a while: once for each change of the book, not of the rules.
    let lessons = Memo::new(move || {
        shared.stored.track();
        lessons()
    });
    let rows: Vec<View> = HouseNumber::ALL.iter().map(|&number| row(shared, lessons, number)).collect();
    tag("section")
        .set("data-test", "house")
        .child(tag("h2").child("House numbers"))
        .child(tag("p").class("aside").child(
            "What your kit and your hands taught, from the readings of all batches. New batches start from these. A batch \
             that is begun keeps those it began with.",
        ))
        .child(tag("ul").child(rows))
        .view()
}

/// How the house now has a number.
fn shown(number: HouseNumber, house: &House) -> (Shown, u32) {
    let (expected, batches) = house.expect::<Count>(number);
    let seen = |count: Count| Amount::in_base(number.dimension(), count.value());
    let [value, low, high] = [expected.value, expected.low, expected.high].map(seen);
    (Shown { value, low, high, origin: Origin::Predicted }, batches)
}

fn row(shared: Shared, lessons: Memo<Vec<Lesson>>, number: HouseNumber) -> View {
    let rules = move || shared.preferences.with(|p| p.rules.clone());
    let now = Memo::new(move || lessons.with(|lessons| shown(number, &House::learn(lessons, &rules()))));
    let text = move || shared.preferences.with(|p| p.text(now.get().0.value));
    let under = move || {
        let (shown, batches) = now.get();
        let rests = match batches {
            0 => "nothing learned yet".to_owned(),
            1 => "from 1 batch".to_owned(),
            more => format!("from {more} batches"),
        };
        let spread = shared.preferences.with(|p| give_or_take(&shown, p));
        let frozen = if rules().is_frozen(number) { "frozen · " } else { "" };
        let dot = if spread.is_empty() { "" } else { " · " };
        [frozen, &spread, dot, &rests].concat()
    };
    let expanded = RwSignal::new(false);
    tag("li")
        .class("figure")
        .set("data-house", batch::json::name(&number))
        .child(
            tag("button")
                .set("type", "button")
                .class("line")
                .live("aria-expanded", move || expanded.get().to_string())
                .on("click", move |_| expanded.update(|open| *open = !*open))
                .child(tag("span").class("what").child(number.label()))
                .child(tag("span").class("number").child(live(text)))
                .child(tag("span").class("spread").child(live(under))),
        )
        .child(live(move || expanded.get().then(|| details(shared, lessons, number))))
        .view()
}

/// Where a number comes from, and what the person can decide about it.
fn details(shared: Shared, lessons: Memo<Vec<Lesson>>, number: HouseNumber) -> View {
    let (usual, _) = shown(number, &House::default());
    let began = move || {
        shared.preferences.with(|p| {
            let spread = give_or_take(&usual, p);
            let comma = if spread.is_empty() { "" } else { ", " };
            ["Began from the usual value: ", &p.text(usual.value), comma, &spread, "."].concat()
        })
    };
    let seen = move || {
        shared.preferences.with(|p| {
            let seen = lessons.with(|lessons| p.rules.observed(number, lessons));
            let last = &seen[seen.len().saturating_sub(LAST)..];
            (!last.is_empty()).then(|| {
                let marks = last.iter().map(|amount| tag("li").child(p.text(*amount)).view());
                View::many(vec![
                    tag("h3").child("As the last batches had it, newest last").view(),
                    tag("ol").class("seen").set("data-test", "seen").child(marks.collect::<Vec<_>>()).view(),
                ])
            })
        })
    };
    let decided = move |change: &dyn Fn(&mut Rules), says: &str| {
        let before = shared.preferences.with_untracked(|p| p.rules.clone());
        shared.preferences.update(|p| change(&mut p.rules));
        shared.tell_with_undo(says, move || {
            let before = before.clone();
            shared.preferences.update(|p| p.rules = before);
        });
    };
    let frozen = Memo::new(move || shared.preferences.with(|p| p.rules.is_frozen(number)));
    let since = Memo::new(move || shared.preferences.with(|p| p.rules.since(number)));
    let freeze = button(
        "",
        "freeze",
        live(move || if frozen.get() { "Let it learn again" } else { "Freeze it as it is" }),
        move || {
            if frozen.get_untracked() {
                decided(&|rules| rules.thaw(number), "Learns again.");
            } else {
                let house = lessons
                    .with_untracked(|all| shared.preferences.with_untracked(|p| House::learn(all, &p.rules)));
                decided(&|rules| rules.freeze(number, &house), "Frozen: new batches take it as it is now.");
            }
        },
    );
    let reset = button(
        "",
        "reset",
        live(move || if since.get().is_some() { "Count all batches again" } else { "Begin anew" }),
        move || {
            let from = since.get_untracked().is_none().then(clock::now);
            let says = if from.is_some() {
                "Only batches begun from now on count."
            } else {
                "All batches count again."
            };
            decided(&|rules| rules.count_from(number, from), says);
        },
    );
    let said = move || {
        let words =
            since.get().map(|since| ["Counts batches begun from ", &clock::day(since), " on."].concat());
        words.map(|words| tag("p").child(words).view())
    };
    tag("div")
        .class("why")
        .child(tag("p").child(live(began)))
        .child(live(seen))
        .child(live(said))
        .child(tag("div").class("actions").child(freeze).child(reset))
        .child(tag("p").class("aside").child(
            "Begin anew after a change of kit: older batches are then left out. Both can be taken back.",
        ))
        .child(tag("h3").child("The usual value rests on"))
        .child(
            tag("ul")
                .class("sources")
                .child(number.sources().into_iter().map(|s| source_view(&s)).collect::<Vec<_>>()),
        )
        .view()
}
