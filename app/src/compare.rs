//! Batches side by side, and what was measured from batch to batch.

use crate::clock;
use crate::page::{BOOK, batch_address, mark_root};
use crate::pictures;
use crate::signals::RwSignal;
use crate::state::Shared;
use crate::store::Store;
use crate::view::{Shows, View, tag};
use crate::widgets::{button, live};
use batch::compare::{Part, Row, compare, trends};
use batch::document::Batch;
use batch::plan::{Plan, plan};

/// Batches that a trend goes over: the newest. More would be drawn too closely to be seen.
const MOST: usize = 60;

fn framed(title: &'static str, inside: View) -> View {
    mark_root("data-fruit", "red");
    View::many(vec![
        tag("header")
            .class("top")
            .child(tag("a").class("button quiet").set("href", BOOK).child("Batch book"))
            .view(),
        tag("main").set("tabindex", "-1").child(tag("h1").child(title)).child(inside).view(),
    ])
}

fn planned(batches: &[Batch]) -> Vec<Plan> {
    batches.iter().map(plan).collect()
}

/// The batches of these identities, which stand between commas, side by side.
pub fn screen(shared: Shared, ids: &str) -> View {
    let (mut batches, mut problems) = (Vec::new(), Vec::new());
    for id in ids.split(',') {
        match Store::load(id) {
            Ok(envelope) => batches.push(envelope.data),
            Err(problem) => problems.push(tag("p").set("role", "alert").child(problem.to_string()).view()),
        }
    }
    let plans = planned(&batches);
    let sides: Vec<(&Batch, &Plan)> = batches.iter().zip(&plans).collect();
    let rows = compare(&sides);
    let heads: Vec<(String, String)> =
        batches.iter().map(|batch| (batch_address(&batch.id), batch.name.clone())).collect();
    let all = RwSignal::new(false);
    let words = move || if all.get() { "Only what differs" } else { "Show all rows" };
    framed(
        "Side by side",
        View::many(vec![
            problems.view(),
            button("", "all-rows", live(words), move || all.update(|all| *all = !*all)),
            tag("div")
                .class("sides")
                .set("role", "region")
                .set("aria-label", "Comparison")
                .set("tabindex", "0")
                .child(live(move || table(shared, &heads, &rows, all.get())))
                .view(),
        ]),
    )
}

fn table(shared: Shared, heads: &[(String, String)], rows: &[Row], all: bool) -> View {
    let names = heads.iter().map(|(address, name)| {
        tag("th").set("scope", "col").child(tag("a").set("href", address.clone()).child(name.clone())).view()
    });
    let names: Vec<View> = names.collect();
    let mut parts = Vec::new();
    for &part in Part::ALL {
        let shown = rows.iter().filter(|row| row.part == part && (all || row.differs));
        let lines: Vec<View> = shown.map(|row| line(shared, row)).collect();
        if !lines.is_empty() {
            let head = tag("th").set("scope", "rowgroup").set("colspan", (heads.len() + 1).to_string());
            parts.push(
                tag("tbody")
                    .child(tag("tr").class("part").child(head.child(tag("span").child(part.title()))))
                    .child(lines)
                    .view(),
            );
        }
    }
    if parts.is_empty() {
        return tag("p").child("Nothing differs.").view();
    }
    tag("table").child(tag("thead").child(tag("tr").child(tag("td")).child(names))).child(parts).view()
}

fn line(shared: Shared, row: &Row) -> View {
    let cells = row.cells.iter().map(|says| {
        let words = shared.preferences.with(|p| p.say(says, shared.now.get_untracked()));
        tag("td").child(if words.is_empty() { "–".to_owned() } else { words }).view()
    });
    let cells: Vec<View> = cells.collect();
    tag("tr")
        .child(
            tag("th")
                .set("scope", "row")
                .child(row.label.clone())
                // What came out belongs to the whole day.
                .child((row.part < Part::Out).then(|| tag("span").class("spread").child(row.stage.title()))),
        )
        .child(cells)
        .view()
}

/// What was measured, as lines over the batches.
pub fn trends_screen(shared: Shared) -> View {
    let mut batches: Vec<Batch> = Vec::new();
    for envelope in Store::envelopes().unwrap_or_default() {
        let batch = envelope.data;
        if envelope.deleted.is_none() && !batch.invented && !batch.readings.is_empty() {
            let place = batches.partition_point(|other| other.begun >= batch.begun);
            batches.insert(place, batch);
        }
    }
    batches.truncate(MOST);
    let plans = planned(&batches);
    let sides: Vec<(&Batch, &Plan)> = batches.iter().zip(&plans).collect();
    let found = trends(&sides);
    let pictures = found.into_iter().map(|trend| {
        let rows = trend.points.iter().map(|(begun, name, amount)| {
            let value = shared.preferences.with_untracked(|p| p.text(*amount));
            tag("li")
                .child(tag("span").class("what").child(name.clone()))
                .child(tag("span").class("number").child(value))
                .child(tag("span").class("spread").child(clock::day(*begun)))
                .view()
        });
        let rows: Vec<View> = rows.collect();
        View::many(vec![
            pictures::trend(shared, &trend),
            tag("details")
                .class("fold")
                .child(tag("summary").child("Every value"))
                .child(tag("ul").class("ledger").child(rows))
                .view(),
        ])
    });
    let pictures: Vec<View> = pictures.collect();
    let inside = if pictures.is_empty() {
        tag("p").child("Two batches with the same thing measured make the first line.").view()
    } else {
        pictures.view()
    };
    framed("From batch to batch", inside)
}
