//! Pictures for people who look rather than read: ions, the course of the pH,
//! the fermenter's level. They are drawn from the plan, as text: one small
//! string costs less than a tree of elements, and holds nothing a person typed.

use crate::preferences::Preferences;
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::live;
use batch::document::{Batch, Field, ReadingKind, Slot, Step};
use batch::plan::Plan;
use calc::quantity::{Amount, Dimension, Quantity};
use leptos::prelude::*;
use std::fmt::Write as _;

/// Width of every picture, in its own units; about a phone's pixels.
const WIDE: f64 = 340.0;

/// A picture, drawn anew when the plan changes; nothing while there is nothing to see.
fn picture(title: &'static str, draw: fn(&Batch, &Plan, &Preferences) -> Option<Drawing>) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let drawn = Memo::new(move |_| {
        open.document.with(|batch| open.plan.with(|plan| shared.preferences.with(|p| draw(batch, plan, p))))
    });
    let shown = move || {
        drawn.get().map(|drawing| {
            tag("figure")
                .class("picture")
                .child(tag("figcaption").child(title))
                .child(tag("div").html(drawing.svg(title)))
                .view()
        })
    };
    live(shown)
}

/// A drawing and the words that stand in for it.
#[derive(Clone, Default, PartialEq)]
struct Drawing {
    high: f64,
    body: String,
    words: String,
}

impl Drawing {
    fn svg(&self, title: &str) -> String {
        format!(
            "<svg viewBox=\"0 0 {WIDE:.0} {:.0}\" role=\"img\" aria-label=\"{title}. {}\">{}</svg>",
            self.high, self.words, self.body
        )
    }

    // Writing to a string cannot fail.
    fn text(&mut self, x: f64, y: f64, class: &str, words: &str) {
        let _ = write!(self.body, "<text x=\"{x:.1}\" y=\"{y:.1}\" class=\"{class}\">{words}</text>");
    }

    fn rect(&mut self, (x, y): (f64, f64), (wide, high): (f64, f64), class: &str) {
        let (wide, high) = (wide.max(0.0), high.max(0.0));
        let _ = write!(
            self.body,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{wide:.1}\" height=\"{high:.1}\" class=\"{class}\"/>"
        );
    }

    fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), class: &str) {
        let _ = write!(
            self.body,
            "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" class=\"{class}\"/>"
        );
    }

    fn path(&mut self, points: impl Iterator<Item = (f64, f64)>, class: &str) {
        self.body.push_str("<path d=\"");
        for (place, (x, y)) in points.enumerate() {
            let _ = write!(self.body, "{}{x:.1} {y:.1}", if place == 0 { "M" } else { "L" });
        }
        let _ = write!(self.body, "\" class=\"{class}\"/>");
    }
}

/// The ions against the range the finish wants, before and after salts.
pub fn ions() -> View {
    picture("Ions against the finish", |_, plan, preferences| {
        const ROW: f64 = 46.0;
        if plan.ions.is_empty() {
            return None;
        }
        let mut drawing = Drawing { high: ROW * plan.ions.len() as f64 + 22.0, ..Drawing::default() };
        for (place, line) in plan.ions.iter().enumerate() {
            let seen = |c: calc::quantity::Concentration| c.amount().seen_as(Dimension::Concentration);
            let [before, after, low, high] = [line.before, line.after, line.low, line.high].map(seen);
            // Each ion has its own scale: what matters is where it stands in its range.
            let most = [before, after, high].iter().map(Amount::base).fold(1e-9, f64::max) * 1.1;
            let x = |amount: Amount| WIDE * amount.base() / most;
            let top = ROW * place as f64;
            let state = if after.base() < low.base() {
                "below"
            } else if after.base() > high.base() {
                "above"
            } else {
                "in range"
            };
            let (now, name) = (preferences.text(after), line.ion.name());
            drawing.text(0.0, top + 14.0, "label", name);
            drawing.text(WIDE, top + 14.0, "end", &format!("{now} · {state}"));
            drawing.rect((x(low), top + 20.0), (x(high) - x(low), 18.0), "range");
            drawing.rect((0.0, top + 25.0), (x(after), 8.0), "bar");
            drawing.line((x(before), top + 20.0), (x(before), top + 38.0), "before");
            let _ = write!(
                drawing.words,
                "{name}: {}, wanted {} to {}, {state}. ",
                now,
                preferences.text(low),
                preferences.text(high)
            );
        }
        let foot = drawing.high - 4.0;
        drawing.rect((0.0, foot - 11.0), (18.0, 12.0), "range");
        drawing.text(24.0, foot, "small", "wanted");
        drawing.line((88.0, foot - 12.0), (88.0, foot + 2.0), "before");
        drawing.text(96.0, foot, "small", "before salts");
        drawing.rect((188.0, foot - 8.0), (18.0, 7.0), "bar");
        drawing.text(212.0, foot, "small", "with salts");
        Some(drawing)
    })
}

/// The pH since the bacteria went in: forecast with its band, readings, and the pH wanted.
pub fn course() -> View {
    picture("pH while souring", |batch, plan, preferences| {
        const LEFT: f64 = 34.0;
        const HIGH: f64 = 190.0;
        const FOOT: f64 = 24.0;
        let end = plan.course.last()?.at.as_hours().max(1.0);
        let wanted = Slot::Of(Field::SourPh).effective(batch)?;
        let pitched = batch.ticked(Step::Culture);
        let readings: Vec<(f64, f64)> = pitched
            .map(|pitched| {
                let since = batch.readings.of(ReadingKind::SourPh).filter(|reading| reading.at >= pitched);
                since.map(|reading| ((reading.at - pitched).as_hours(), reading.value.base())).collect()
            })
            .unwrap_or_default();
        let end = readings.iter().map(|reading| reading.0).fold(end, f64::max);
        let all =
            plan.course.iter().flat_map(|point| [point.low.amount().base(), point.high.amount().base()]);
        let all = all.chain(readings.iter().map(|reading| reading.1)).chain([wanted.base()]);
        let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), ph| (low.min(ph), high.max(ph)));
        let (low, high) = ((low * 2.0).floor() / 2.0, (high * 2.0).ceil() / 2.0);
        let x = |hours: f64| LEFT + (WIDE - LEFT) * hours / end;
        let y = |ph: f64| 8.0 + (HIGH - 8.0) * (high - ph) / (high - low).max(0.1);
        let mut drawing = Drawing { high: HIGH + FOOT, ..Drawing::default() };
        let mut grid = low;
        while grid <= high + 1e-9 {
            drawing.line((LEFT, y(grid)), (WIDE, y(grid)), "grid");
            drawing.text(LEFT - 5.0, y(grid) + 4.0, "small end", &format!("{grid:.1}"));
            grid += 0.5;
        }
        let days = if end > 60.0 { 24.0 } else { 12.0 };
        let mut hours = 0.0;
        while hours <= end {
            drawing.line((x(hours), HIGH), (x(hours), HIGH + 5.0), "grid");
            if x(hours) < WIDE - 20.0 {
                drawing.text(x(hours), HIGH + 19.0, "small middle", &format!("{hours:.0} h"));
            }
            hours += days;
        }
        let up = plan.course.iter().map(|point| (x(point.at.as_hours()), y(point.high.amount().base())));
        let down =
            plan.course.iter().rev().map(|point| (x(point.at.as_hours()), y(point.low.amount().base())));
        drawing.path(up.chain(down), "band");
        drawing.path(
            plan.course.iter().map(|point| (x(point.at.as_hours()), y(point.value.amount().base()))),
            "curve",
        );
        drawing.line((LEFT, y(wanted.base())), (WIDE, y(wanted.base())), "target");
        let above = y(wanted.base()) - 5.0;
        // On the left, where the pH is still far above it.
        drawing.text(LEFT + 4.0, above, "small", &format!("wanted {}", preferences.text(wanted)));
        for &(hours, ph) in &readings {
            let _ = write!(
                drawing.body,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"5\" class=\"reading\"/>",
                x(hours),
                y(ph)
            );
        }
        let when = plan.figures.sour_time.ok().map(|time| time.estimate);
        if let Some(time) = when {
            let hours = time.value.as_hours();
            drawing.line((x(hours), y(wanted.base())), (x(hours), HIGH), "target");
            let seen = |t: calc::quantity::Duration| preferences.text(t.amount().seen_as(Dimension::Hours));
            let _ = write!(
                drawing.words,
                "Wanted {}, expected after {}, likely between {} and {}. ",
                preferences.text(wanted),
                seen(time.value),
                seen(time.low),
                seen(time.high)
            );
        }
        let _ = match readings.len() {
            0 => write!(drawing.words, "No reading yet."),
            1 => write!(drawing.words, "One reading."),
            count => write!(drawing.words, "{count} readings."),
        };
        Some(drawing)
    })
}

/// The fermenter before and after fruit.
pub fn level() -> View {
    picture("Level in the fermenter", |_, plan, preferences| {
        const TOP: f64 = 12.0;
        const HIGH: f64 = 200.0;
        const LEFT: f64 = 8.0;
        const BROAD: f64 = 120.0;
        let level = plan.level?;
        let seen = |v: calc::quantity::Volume| v.amount();
        let (vessel, beer, fruit) = (seen(level.vessel), seen(level.beer), seen(level.with_fruit));
        let foam = seen(level.with_fruit + level.foam);
        let most = [vessel, fruit, foam].iter().map(Amount::base).fold(1e-9, f64::max);
        let y = |amount: Amount| TOP + (HIGH - TOP) * (1.0 - amount.base() / most);
        let mut drawing = Drawing { high: HIGH + 8.0, ..Drawing::default() };
        drawing.rect((LEFT, y(foam)), (BROAD, y(fruit) - y(foam)), "foam");
        drawing.rect((LEFT, y(fruit)), (BROAD, y(beer) - y(fruit)), "bar");
        drawing.rect((LEFT, y(beer)), (BROAD, HIGH - y(beer)), "range");
        drawing.rect((LEFT, y(vessel)), (BROAD, HIGH - y(vessel)), "vessel");
        let fits = foam.base() <= vessel.base();
        // From the bottom up, each label at its level or just above the one below it.
        let mut marks = vec![
            (y(beer), "Beer", preferences.text(beer)),
            (y(fruit), "With fruit", preferences.text(fruit)),
            (y(foam), "With foam", preferences.text(foam)),
        ];
        let place = marks.iter().position(|mark| mark.0 < y(vessel)).unwrap_or(marks.len());
        marks.insert(place, (y(vessel), "Brim", preferences.text(vessel)));
        let mut free = HIGH + 4.0;
        for (at, name, amount) in &marks {
            let label = (at + 5.0).min(free).max(14.0);
            free = label - 18.0;
            drawing.line((LEFT + BROAD, *at), (LEFT + BROAD + 22.0, label - 5.0), "grid");
            drawing.text(LEFT + BROAD + 28.0, label, "label", name);
            drawing.text(WIDE, label, "end", amount);
            let _ = write!(drawing.words, "{name}: {amount}. ");
        }
        drawing.words.push_str(if fits { "It fits, foam included." } else { "It does not fit." });
        Some(drawing)
    })
}
