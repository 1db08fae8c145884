//! Pictures for people who look rather than read: ions, the course of the pH, the fermenter's level. They are drawn
//! from the plan; at a key only the shapes that are others then are changed.

use crate::preferences::Preferences;
use crate::signals::Memo;
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::live;
use batch::compare::Trend;
use batch::document::{Batch, Field, ReadingKind, Slot, Step};
use batch::moment::Moment;
use batch::plan::{Brought, Plan, cooled};
use calc::quantity::{Amount, Dimension, Estimate, Ph, Quantity, Unit, Volume, fixed};
use std::fmt::Write as _;

/// Width of every picture, in its own units; about a phone's pixels.
const WIDE: f64 = 340.0;

/// A picture, drawn anew when the plan changes; nothing while there is nothing to see.
fn picture(title: &'static str, draw: fn(&Batch, &Plan, &Preferences) -> Option<Drawing>) -> View {
    let (shared, open) = (Shared::here(), Open::here());
    let drawn = Memo::new(move || {
        open.document.with(|batch| open.plan.with(|plan| shared.preferences.with(|p| draw(batch, plan, p))))
    });
    let shown = move || drawn.get().map(|drawing| drawing.figure(title));
    live(shown)
}

/// A drawing and the words that stand in for it.
#[derive(Clone, Default, PartialEq)]
struct Drawing {
    high: f64,
    shapes: Vec<Shape>,
    words: String,
}

/// A shape of a drawing: its element, what it says of itself, and the words in it.
#[derive(Clone, PartialEq)]
struct Shape {
    name: &'static str,
    parts: Vec<(&'static str, String)>,
    class: &'static str,
    words: String,
}

impl Drawing {
    fn figure(self, title: &'static str) -> View {
        let shapes: Vec<View> = self.shapes.into_iter().map(Shape::view).collect();
        let svg = tag("svg")
            .set("viewBox", format!("0 0 {} {}", fixed(WIDE, 0), fixed(self.high, 0)))
            .set("role", "img")
            .set("aria-label", [title, ". ", &self.words].concat())
            .child(shapes);
        tag("figure")
            .class("picture")
            .child(tag("figcaption").child(title))
            .child(tag("div").child(svg))
            .view()
    }

    fn shape(&mut self, name: &'static str, lengths: &[(&'static str, f64)], class: &'static str) {
        let parts = lengths.iter().map(|&(name, length)| (name, fixed(length, 1))).collect();
        self.shapes.push(Shape { name, parts, class, words: String::new() });
    }

    fn text(&mut self, x: f64, y: f64, class: &'static str, words: &str) {
        self.shape("text", &[("x", x), ("y", y)], class);
        if let Some(shape) = self.shapes.last_mut() {
            words.clone_into(&mut shape.words);
        }
    }

    fn rect(&mut self, (x, y): (f64, f64), (wide, high): (f64, f64), class: &'static str) {
        let lengths = [("x", x), ("y", y), ("width", wide.max(0.0)), ("height", high.max(0.0))];
        self.shape("rect", &lengths, class);
    }

    fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), class: &'static str) {
        self.shape("line", &[("x1", x1), ("y1", y1), ("x2", x2), ("y2", y2)], class);
    }

    fn dot(&mut self, x: f64, y: f64) {
        self.shape("circle", &[("cx", x), ("cy", y), ("r", 5.0)], "reading");
    }

    fn path(&mut self, points: impl Iterator<Item = (f64, f64)>, class: &'static str) {
        let mut along = String::new();
        for (place, (x, y)) in points.enumerate() {
            // Writing to a string cannot fail.
            let _ = write!(along, "{}{} {}", if place == 0 { "M" } else { "L" }, fixed(x, 1), fixed(y, 1));
        }
        self.shapes.push(Shape { name: "path", parts: vec![("d", along)], class, words: String::new() });
    }
}

impl Shape {
    fn view(self) -> View {
        let mut shape = tag(self.name).class(self.class);
        for (name, value) in self.parts {
            shape = shape.set(name, value);
        }
        shape.child((!self.words.is_empty()).then_some(self.words)).view()
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

/// Where the plane of a chart lies in its picture.
const LEFT: f64 = 34.0;
const DOWN: f64 = 190.0;
const FOOT: f64 = 24.0;

/// A chart of pH, from the top down, against something along the foot.
struct Chart {
    drawing: Drawing,
    low: f64,
    high: f64,
    end: f64,
}

impl Chart {
    /// A chart that holds all these values, with a line every `every` and a mark every `step` along the foot.
    fn new(values: impl Iterator<Item = f64>, every: f64, (end, step, unit): (f64, f64, &str)) -> Self {
        let (low, high) = values.fold((f64::MAX, f64::MIN), |(low, high), ph| (low.min(ph), high.max(ph)));
        let (low, high) = ((low / every).floor() * every, (high / every).ceil() * every);
        let mut chart = Self { drawing: Drawing { high: DOWN + FOOT, ..Drawing::default() }, low, high, end };
        let mut grid = low;
        while grid <= high + 1e-9 {
            let at = chart.y(grid);
            chart.drawing.line((LEFT, at), (WIDE, at), "grid");
            chart.drawing.text(LEFT - 5.0, at + 4.0, "small end", &fixed(grid, 1));
            grid += every;
        }
        let mut mark = 0.0;
        while mark <= end {
            let at = chart.x(mark);
            chart.drawing.line((at, DOWN), (at, DOWN + 5.0), "grid");
            if at < WIDE - 20.0 {
                chart.drawing.text(
                    at,
                    DOWN + 19.0,
                    "small middle",
                    &format!("{} {unit}", fixed(mark, u8::from(step < 1.0))),
                );
            }
            mark += step;
        }
        chart
    }

    fn x(&self, along: f64) -> f64 {
        LEFT + (WIDE - LEFT) * along / self.end
    }

    fn y(&self, ph: f64) -> f64 {
        8.0 + (DOWN - 8.0) * (self.high - ph) / (self.high - self.low).max(0.1)
    }

    /// The curve with its band: along the foot, low, middle, high.
    fn curve(&mut self, points: &[[f64; 4]]) {
        let place = |along: f64, ph: f64| (self.x(along), self.y(ph));
        let up = points.iter().map(|point| place(point[0], point[3]));
        let down = points.iter().rev().map(|point| place(point[0], point[1]));
        let band: Vec<(f64, f64)> = up.chain(down).collect();
        let middle: Vec<(f64, f64)> = points.iter().map(|point| place(point[0], point[2])).collect();
        self.drawing.path(band.into_iter(), "band");
        self.drawing.path(middle.into_iter(), "curve");
    }

    /// The ends of a band, as dashed lines.
    fn edges(&mut self, points: &[[f64; 4]]) {
        for end in [1, 3] {
            let edge: Vec<(f64, f64)> =
                points.iter().map(|point| (self.x(point[0]), self.y(point[end]))).collect();
            self.drawing.path(edge.into_iter(), "edge");
        }
    }

    /// The pH wanted, with its words on the left, where the pH is still far from it.
    fn wanted(&mut self, wanted: Amount, preferences: &Preferences) {
        let y = self.y(wanted.base());
        self.drawing.line((LEFT, y), (WIDE, y), "target");
        let words = format!("wanted {}", preferences.text(wanted));
        self.drawing.text(LEFT + 4.0, y - 5.0, "small", &words);
    }

    fn readings(&mut self, readings: &[(f64, f64)]) {
        for &(along, ph) in readings {
            self.drawing.dot(self.x(along), self.y(ph));
        }
        let _ = match readings.len() {
            0 => write!(self.drawing.words, "No reading yet."),
            1 => write!(self.drawing.words, "One reading."),
            count => write!(self.drawing.words, "{count} readings."),
        };
    }
}

/// The pH of this mash against the acid stirred in, with the readings.
pub fn mash() -> View {
    picture("Mash pH against acid", |batch, plan, preferences| {
        let course = plan.mash_course(batch);
        let wanted = Slot::Of(Field::MashPh).effective(batch)?;
        let unit = preferences.unit(Dimension::SmallVolume);
        let points = points(&course, &unit);
        let end = points.last()?[0];
        let readings = read_against(batch, ReadingKind::MashPh, ReadingKind::MashAcid, &unit);
        let end = readings.iter().map(|reading| reading.0).fold(end, f64::max);
        let all = points.iter().flat_map(|point| [point[1], point[3]]);
        let all = all.chain(readings.iter().map(|reading| reading.1)).chain([wanted.base()]);
        let mut chart = Chart::new(all, 0.2, (end, step_along(end), unit.symbol));
        chart.curve(&points);
        chart.wanted(wanted, preferences);
        let (none, full) = (points.first()?, points.last()?);
        let ph = |value: f64| preferences.text(Amount::in_base(Dimension::Ph, value));
        let _ = write!(
            chart.drawing.words,
            "Without acid {}, likely {} to {}; with {} {} of it {}. ",
            ph(none[2]),
            ph(none[1]),
            ph(none[3]),
            fixed(full[0], 1),
            unit.symbol,
            ph(full[2])
        );
        chart.readings(&readings);
        Some(chart.drawing)
    })
}

/// The wort's pH against the acid of the drop: as first believed, as the doses have it, with the readings.
pub fn drop() -> View {
    picture("Wort pH against acid", |batch, plan, preferences| {
        let wanted = Slot::Of(Field::DropPh).effective(batch)?;
        let unit = preferences.unit(Dimension::SmallVolume);
        let [before, now] = plan.drop_course().map(|course| points(&course, &unit));
        let end = now.last()?[0];
        let readings = read_against(batch, ReadingKind::WortPh, ReadingKind::DropAcid, &unit);
        let all = before.iter().chain(&now).flat_map(|point| [point[1], point[3]]);
        let all = all.chain(readings.iter().map(|reading| reading.1)).chain([wanted.base()]);
        let mut chart = Chart::new(all, 0.5, (end, step_along(end), unit.symbol));
        chart.edges(&before);
        chart.curve(&now);
        chart.wanted(wanted, preferences);
        let (none, full) = (now.first()?, now.last()?);
        let ph = |value: f64| preferences.text(Amount::in_base(Dimension::Ph, value));
        let _ = write!(
            chart.drawing.words,
            "Without acid {}; with {} {} of it {}, likely {} to {}. Dashed: as expected before any reading. ",
            ph(none[2]),
            fixed(full[0], 1),
            unit.symbol,
            ph(full[2]),
            ph(full[1]),
            ph(full[3])
        );
        chart.readings(&readings);
        Some(chart.drawing)
    })
}

/// A course of pH against a volume as numbers to draw: volume, low, middle, high.
fn points(course: &[(Volume, Estimate<Ph>)], unit: &Unit) -> Vec<[f64; 4]> {
    course
        .iter()
        .map(|(acid, ph)| {
            let [low, value, high] = [ph.low, ph.value, ph.high].map(|ph| ph.amount().base());
            [acid.amount().in_unit(unit), low, value, high]
        })
        .collect()
}

/// Readings of a pH against all the acid poured before each.
fn read_against(batch: &Batch, ph: ReadingKind, acid: ReadingKind, unit: &Unit) -> Vec<(f64, f64)> {
    batch
        .readings
        .of(ph)
        .map(|reading| {
            let before = batch.readings.of(acid).filter(|dose| dose.at <= reading.at);
            (before.map(|dose| dose.value.in_unit(unit)).sum(), cooled(batch, reading).value.amount().base())
        })
        .collect()
}

/// The same for hours.
fn hours_along(end: f64) -> f64 {
    [6.0, 12.0, 24.0, 48.0, 96.0, 168.0].into_iter().find(|step| end <= 6.0 * step).unwrap_or(336.0)
}

/// How far apart the marks along the foot are.
fn step_along(end: f64) -> f64 {
    let steps = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
    steps.into_iter().find(|step| end <= 7.0 * step).unwrap_or(100.0)
}

/// The pH since the bacteria went in: forecast with its band, readings, and the pH wanted.
pub fn course() -> View {
    picture("pH while souring", |batch, plan, preferences| {
        let end = plan.course.last()?.at.as_hours().max(1.0);
        let wanted = Slot::Of(Field::SourPh).effective(batch)?;
        let pitched = batch.ticked(Step::Culture);
        let readings: Vec<(f64, f64)> = pitched
            .map(|pitched| {
                let since = batch.readings.of(ReadingKind::SourPh).filter(|reading| reading.at >= pitched);
                let ph = |reading| cooled(batch, reading).value.amount().base();
                since.map(|reading| ((reading.at - pitched).as_hours(), ph(reading))).collect()
            })
            .unwrap_or_default();
        let end = readings.iter().map(|reading| reading.0).fold(end, f64::max);
        let points: Vec<[f64; 4]> = plan
            .course
            .iter()
            .map(|point| {
                let [low, value, high] = [point.low, point.value, point.high].map(|ph| ph.amount().base());
                [point.at.as_hours(), low, value, high]
            })
            .collect();
        let all = points.iter().flat_map(|point| [point[1], point[3]]);
        let all = all.chain(readings.iter().map(|reading| reading.1)).chain([wanted.base()]);
        let mut chart = Chart::new(all, 0.5, (end, hours_along(end), "h"));
        chart.curve(&points);
        chart.wanted(wanted, preferences);
        if let Ok(time) = plan.figures.sour_time().map(|time| time.estimate) {
            let x = chart.x(time.value.as_hours());
            let (early, late) = (chart.x(time.low.as_hours()), chart.x(time.high.as_hours()).min(WIDE));
            chart.drawing.rect((early, DOWN - 6.0), (late - early, 6.0), "window");
            chart.drawing.line((x, chart.y(wanted.base())), (x, DOWN), "target");
            let seen = |t: calc::quantity::Duration| preferences.text(t.amount().seen_as(Dimension::Hours));
            let _ = write!(
                chart.drawing.words,
                "Wanted {}, expected after {}, likely between {} and {}. ",
                preferences.text(wanted),
                seen(time.value),
                seen(time.low),
                seen(time.high)
            );
        }
        chart.readings(&readings);
        Some(chart.drawing)
    })
}

/// The fermenter before and after fruit.
pub fn level() -> View {
    picture("Level in the fermenter", |_, plan, preferences| {
        const TOP: f64 = 12.0;
        const HIGH: f64 = 200.0;
        const LEFT: f64 = 8.0;
        const BROAD: f64 = 120.0;
        let level = plan.level.clone()?;
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
        let mut marks = vec![(y(beer), "Beer".to_owned(), preferences.text(beer))];
        for (name, filled) in &level.additions {
            let filled = seen(*filled);
            marks.push((y(filled), format!("With {name}"), preferences.text(filled)));
        }
        marks.push((y(foam), "With foam".to_owned(), preferences.text(foam)));
        let place = marks.iter().position(|mark| mark.0 < y(vessel)).unwrap_or(marks.len());
        marks.insert(place, (y(vessel), "Brim".to_owned(), preferences.text(vessel)));
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

/// How full the kettle is through the day, against its brim.
pub fn kettle() -> View {
    picture("Level in the kettle", |batch, plan, preferences| {
        const ROW: f64 = 40.0;
        let brim = Slot::Of(Field::KettleVolume).effective(batch)?;
        let most = plan.kettle.iter().map(|(_, level)| level.amount().base()).fold(brim.base(), f64::max);
        plan.kettle.first()?;
        let mut drawing = Drawing { high: ROW * plan.kettle.len() as f64 + 20.0, ..Drawing::default() };
        let edge = WIDE * brim.base() / most;
        for (place, (name, level)) in plan.kettle.iter().enumerate() {
            let (top, level) = (ROW * place as f64, level.amount());
            let amount = preferences.text(level);
            drawing.text(0.0, top + 14.0, "label", name);
            drawing.text(WIDE, top + 14.0, "end", &amount);
            drawing.rect((0.0, top + 20.0), (WIDE * level.base() / most, 12.0), "bar");
            drawing.line((edge, top + 17.0), (edge, top + 35.0), "before");
            drawing.words.push_str(name);
            let over = if level.base() > brim.base() { ", over the brim" } else { "" };
            let _ = write!(drawing.words, ": {amount}{over}. ");
        }
        let foot = drawing.high - 18.0;
        let words = format!("brim {}", preferences.text(brim));
        drawing.text(edge.min(WIDE), foot + 14.0, "end", &words);
        drawing.words.push_str(&words);
        Some(drawing)
    })
}

/// How one measured quantity went from batch to batch.
pub fn trend(shared: Shared, trend: &Trend) -> View {
    shared.preferences.with_untracked(|preferences| {
        const HIGH: f64 = 110.0;
        let mut drawing = Drawing { high: HIGH, ..Drawing::default() };
        let bases = trend.points.iter().map(|point| point.2.base());
        let (low, high) =
            bases.fold((f64::MAX, f64::MIN), |(low, high), base| (low.min(base), high.max(base)));
        let last = trend.points.len().max(2) - 1;
        let place = |(place, point): (usize, &(Moment, String, Amount))| {
            let up = (point.2.base() - low) / (high - low).max(1e-9);
            (8.0 + (WIDE - 16.0) * place as f64 / last as f64, HIGH - 28.0 - (HIGH - 58.0) * up)
        };
        let points: Vec<(f64, f64)> = trend.points.iter().enumerate().map(place).collect();
        drawing.path(points.iter().copied(), "curve");
        for &(x, y) in &points {
            drawing.dot(x, y);
        }
        let seen = |base: f64, of: &Amount| preferences.text(Amount::in_base(of.dimension, base));
        if let (Some(first), Some(newest)) = (trend.points.first(), trend.points.last()) {
            let (top, foot) = (seen(high, &first.2), seen(low, &first.2));
            drawing.text(0.0, 14.0, "small", &format!("highest {top}"));
            drawing.text(0.0, HIGH - 4.0, "small", &format!("lowest {foot}"));
            drawing.text(WIDE, 14.0, "end", &format!("newest {}", preferences.text(newest.2)));
            let _ = write!(
                drawing.words,
                "{} batches, from {} to {}, lowest {foot}, highest {top}.",
                points.len(),
                preferences.text(first.2),
                preferences.text(newest.2)
            );
        }
        drawing.figure(trend.label)
    })
}

/// How the bitterness builds up from mash-out to the end of chilling.
pub fn bitterness() -> View {
    picture("Bitterness through the hot side", |_, plan, preferences| {
        let course = plan.bitterness_course();
        let points: Vec<[f64; 4]> = course
            .iter()
            .map(|(at, ibu)| {
                let ibu = ibu.amount().base();
                [at.amount().base(), ibu, ibu, ibu]
            })
            .collect();
        let last = course.last()?;
        let end = points.last()?[0];
        let most = points.iter().map(|point| point[2]).fold(1.0, f64::max);
        let every =
            [0.5, 1.0, 2.0, 5.0, 10.0, 20.0].into_iter().find(|step| most <= 6.0 * step).unwrap_or(50.0);
        let along = [5.0, 10.0, 20.0, 30.0].into_iter().find(|step| end <= 6.0 * step).unwrap_or(60.0);
        let mut chart = Chart::new([0.0, most].into_iter(), every, (end, along, "min"));
        let line: Vec<(f64, f64)> =
            points.iter().map(|point| (chart.x(point[0]), chart.y(point[2]))).collect();
        chart.drawing.path(line.into_iter(), "curve");
        let _ = write!(
            chart.drawing.words,
            "Along heating, boil, stand and chilling, the days of souring left out; it ends at {}.",
            preferences.text(last.1.amount())
        );
        Some(chart.drawing)
    })
}

/// Sugar, acid and alcohol, stacked by where they come from.
pub fn sources() -> View {
    picture("Where sugar, acid and alcohol come from", |_, plan, preferences| {
        const ROW: f64 = 44.0;
        const FILLS: [&str; 3] = ["range", "bar", "foam"];
        if plan.brought.len() < 2 {
            return None;
        }
        let mut drawing =
            Drawing { high: 3.0 * ROW + 22.0 * plan.brought.len() as f64, ..Drawing::default() };
        for (row, name) in ["Sugar that ferments", "Acid", "Alcohol"].into_iter().enumerate() {
            let of = |from: &Brought| match row {
                0 => from.sugar.amount().seen_as(Dimension::DissolvedAcid),
                1 => from.acid.amount(),
                _ => from.alcohol.amount(),
            };
            let all: f64 = plan.brought.iter().map(|from| of(from).base()).sum();
            let top = ROW * row as f64;
            let whole = plan.brought.first().map(|from| Amount::in_base(of(from).dimension, all))?;
            let whole = preferences.text(whole);
            drawing.text(0.0, top + 14.0, "label", name);
            drawing.text(WIDE, top + 14.0, "end", &whole);
            let _ = write!(drawing.words, "{name} {whole}: ");
            let mut left = 0.0;
            for (place, from) in plan.brought.iter().enumerate() {
                let wide = WIDE * of(from).base() / all.max(1e-9);
                drawing.rect((left, top + 20.0), (wide, 16.0), FILLS[place % FILLS.len()]);
                left += wide;
                let amount = preferences.text(of(from));
                let _ = write!(drawing.words, "source {} {amount}, ", place + 1);
            }
        }
        for (place, from) in plan.brought.iter().enumerate() {
            let y = 3.0 * ROW + 22.0 * place as f64 + 8.0;
            drawing.rect((0.0, y), (18.0, 12.0), FILLS[place % FILLS.len()]);
            drawing.text(26.0, y + 11.0, "small", &from.name);
        }
        Some(drawing)
    })
}

/// The pressure a package could come to, against the warmth, with what it is made for.
pub fn pressure() -> View {
    picture("Pressure in the package by warmth", |_, plan, preferences| {
        let (course, limit) = plan.pressure_course();
        // Numbers on both sides are in the person's units.
        let (force, warmth) =
            (preferences.unit(Dimension::Pressure), preferences.unit(Dimension::Temperature));
        let seen = |p: calc::quantity::GaugePressure| p.amount().in_unit(&force);
        let points: Vec<[f64; 4]> = course
            .iter()
            .map(|(at, p)| [at.amount().in_unit(&warmth), seen(p.low), seen(p.value), seen(p.high)])
            .collect();
        let (first, last) = (points.first()?, points.last()?);
        let start = first[0];
        let most = points.iter().map(|point| point[3]).fold(seen(limit), f64::max);
        let every = [0.5, 1.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0]
            .into_iter()
            .find(|step| most <= 7.0 * step)
            .unwrap_or(500.0);
        let end = last[0] - start;
        let shifted: Vec<[f64; 4]> = points.iter().map(|p| [p[0] - start, p[1], p[2], p[3]]).collect();
        let mut chart = Chart::new([0.0, most].into_iter(), every, (end, end / 5.0, warmth.symbol));
        chart.curve(&shifted);
        let y = chart.y(seen(limit));
        chart.drawing.line((LEFT, y), (WIDE, y), "target");
        let words = format!("made for {}", preferences.text(limit.amount()));
        chart.drawing.text(LEFT + 4.0, y - 5.0, "small", &words);
        let _ = write!(
            chart.drawing.words,
            "From {} to {} {} it could rise to {} {}; {words}.",
            fixed(start, 0),
            fixed(last[0], 0),
            warmth.symbol,
            fixed(last[3], 0),
            force.symbol
        );
        Some(chart.drawing)
    })
}
