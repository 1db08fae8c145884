//! Tabs and browsers killed at moments of chance while somebody types: what was typed stays.
//!
//! `cargo xtask kill` kills five hundred; `cargo xtask test` a few. The seed is printed, and taken from
//! `TARTWRIGHT_SEED`.

use std::fmt::Write as _;
use std::fs;
use std::time::{Duration, Instant, SystemTime};
use std::{env, thread};

use crate::chromium::{Chromium, Profile, Tab};
use crate::page::host;
use batch::demo::demo;
use batch::keep::{Envelope, Opened, decode, encode, stored_text};
use batch::moment::Moment;
use serde_json::{Value, json};

/// The promise: what was typed this long ago is stored.
const PROMISE_MS: u32 = 300;

/// Batches in the book beside the one that is typed into.
const OTHERS: usize = 19;

/// Tells of every change once it is as old as the promise, by the page's own clock: a busy computer may run the
/// whole page late, but never one timer before an earlier one.
fn tell_kept() -> String {
    format!(
        "addEventListener('input', () => setTimeout(() => kept(''), {PROMISE_MS}), true);
         addEventListener('click', (event) => {{
             if (event.target.closest('[data-test=done]')) setTimeout(() => kept(''), {PROMISE_MS});
         }}, true);"
    )
}

/// Numbers of chance that come again with their seed.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        // SplitMix64, by Steele, Lea and Flood.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }
}

/// What the trial changes in a batch.
#[derive(Debug, Clone, PartialEq)]
struct Shown {
    name: String,
    volume: Option<f64>,
    gravity: Option<f64>,
    ticks: usize,
}

impl Shown {
    fn of(envelope: &Envelope) -> Self {
        let text = encode(envelope).unwrap();
        let json: Value = serde_json::from_str(&text).unwrap();
        let number = |key: &str| json["data"]["numbers"][key].as_f64();
        Self {
            name: envelope.data.name.clone(),
            volume: number("batch_volume_l"),
            gravity: number("wanted_gravity_plato"),
            ticks: envelope.data.ticks.len(),
        }
    }
}

/// What the trial never changes in a batch.
fn rest(mut envelope: Envelope) -> Value {
    envelope.data.name.clear();
    envelope.data.ticks.clear();
    let mut json: Value = serde_json::from_str(&encode(&envelope).unwrap()).unwrap();
    let numbers = json["data"]["numbers"].as_object_mut().unwrap();
    numbers.remove("batch_volume_l");
    numbers.remove("wanted_gravity_plato");
    json["data"].take()
}

/// What came out.
#[derive(Default)]
struct Outcome {
    tabs: usize,
    browsers: usize,
    /// Changes made in all.
    changes: usize,
    /// Kills that came between a change and its save.
    caught: usize,
    /// For each killed browser, the seconds of changes that it lost though the page had stored them.
    lost_s: Vec<f64>,
}

/// A batch of the book, as the trial knows it.
struct Known {
    id: String,
    /// What the trial never changes in it.
    rest: Value,
    revision: u32,
    /// Every state that was on the screen since the browser was started, each with the moment at which it was
    /// known to be older than the promise.
    states: Vec<(Shown, Option<Instant>)>,
    /// The place of the state that was found stored last.
    stored: usize,
}

impl Known {
    fn of(envelope: Envelope) -> Self {
        Self {
            id: envelope.data.id.clone(),
            revision: envelope.revision,
            states: vec![(Shown::of(&envelope), None)],
            stored: 0,
            rest: rest(envelope),
        }
    }

    /// Holds a stored text to what was on the screen. Gives the seconds of stored changes that a killed browser
    /// lost, and whether any state is missing.
    fn hold(&mut self, text: &str, killed: Option<Instant>) -> (f64, bool) {
        let Ok(Opened::Current(envelope)) = decode(text) else { panic!("torn: {text}") };
        let shown = Shown::of(&envelope);
        // What a killed browser had not written goes back further, but never to what was not there.
        let from = if killed.is_some() { 0 } else { self.stored };
        let Some(place) = self.states[from..].iter().rposition(|(state, _)| *state == shown) else {
            panic!("{}: {shown:?} was not on the screen; from {from}: {:#?}", self.id, self.states);
        };
        let place = from + place;
        let behind = self.states.len() - place - 1;
        let owed = self.states[place + 1..].iter().find_map(|(_, known)| *known);
        let lost = match (killed, owed) {
            (_, None) => 0.0,
            (Some(killed), Some(known)) => killed.saturating_duration_since(known).as_secs_f64(),
            (None, Some(_)) => {
                panic!("{}: {shown:?} is stored, newer is owed: {:#?}", self.id, &self.states[from..])
            }
        };
        if killed.is_some() {
            self.states = vec![(shown, None)];
            self.stored = 0;
        } else {
            assert!(envelope.revision >= self.revision, "{} after {}", envelope.revision, self.revision);
            self.states.truncate(place + 1);
            // Now it is known to be stored, were it never told before.
            self.states[place].1.get_or_insert_with(Instant::now);
            self.stored = place;
        }
        self.revision = envelope.revision;
        assert_eq!(rest(*envelope), self.rest, "{}: the rest of it is as it was", self.id);
        (lost, behind > 0)
    }
}

/// Where the trial stands.
struct Trial {
    url: String,
    chance: Chance,
    batches: Vec<Known>,
    /// The place of the batch that is typed into.
    open: usize,
    outcome: Outcome,
}

fn key(id: &str) -> String {
    format!("tartwright.batch.{id}")
}

impl Trial {
    /// Stores batches in a new profile, and waits until they are on the disk.
    fn begin(url: String, seed: u64, profile: &Profile) -> Self {
        let mut browser = Chromium::start(profile);
        let tab = browser.open(&format!("{url}manifest.webmanifest"), "");
        browser.until(&tab, &format!("location.href.startsWith({})", json!(url)));
        let mut batches = Vec::new();
        for number in 0..=OTHERS {
            let mut envelope = Envelope::new(demo(format!("k{number}"), Moment::from_seconds(1_754_300_000)));
            envelope.revision = 1;
            let text = stored_text(&envelope).unwrap();
            let store = format!("localStorage.setItem({}, {})", json!(key(&envelope.data.id)), json!(text));
            browser.value(&tab, &store).unwrap();
            batches.push(Known::of(envelope));
        }
        browser.quit();
        Self { url, chance: Chance(seed), batches, open: 0, outcome: Outcome::default() }
    }

    /// Opens the book, holds it to what was there before, and opens a batch.
    fn look(&mut self, browser: &mut Chromium, killed: Option<Instant>) -> Tab {
        let tab = browser.open(&self.url, &tell_kept());
        browser.until(&tab, "performance.getEntriesByName('tartwright-ready').length > 0");
        browser.until(&tab, &format!("document.querySelectorAll('[data-test=batch]').length > {OTHERS}"));
        let odd = browser.value(&tab, "document.querySelector('[data-test=unreadable]')?.innerText ?? ''");
        assert_eq!(odd, Some(json!("")), "nothing is unreadable");
        let stored = "Object.fromEntries(Object.entries(localStorage).filter(([key]) => key.startsWith('tartwright.')))";
        let stored = browser.value(&tab, stored).unwrap();
        let stored = stored.as_object().unwrap();
        let aside: Vec<&String> =
            stored.keys().filter(|key| key.starts_with("tartwright.set-aside")).collect();
        assert!(aside.is_empty(), "{aside:?}");
        let (mut lost, mut caught) = (0.0_f64, false);
        for batch in &mut self.batches {
            let text = stored.get(&key(&batch.id)).and_then(Value::as_str);
            let text = text.unwrap_or_else(|| panic!("{} is gone", batch.id));
            let (seconds, missing) = batch.hold(text, killed);
            lost = lost.max(seconds);
            caught |= missing;
        }
        if killed.is_some() {
            self.outcome.lost_s.push(lost);
        } else {
            self.outcome.caught += usize::from(caught);
        }

        // Now and then another batch.
        if self.chance.below(4) == 0 {
            self.open = self.chance.below(self.batches.len() as u64) as usize;
        }
        browser.value(&tab, &format!("location.hash = '#/b/{}'", self.batches[self.open].id));
        browser.until(&tab, "document.querySelector('[data-test=next-move]')");
        browser.until(
            &tab,
            "(() => {
                const line = document.querySelector('[data-stage=aim] .stage-line');
                if (line.getAttribute('aria-expanded') !== 'true') line.click();
                return document.querySelector('[data-stage=aim] input[name=batch_volume_l]');
            })()",
        );
        tab
    }

    /// Types and ticks for so long. The last change is only sent, not waited for: the kill meets it anywhere.
    fn brew(&mut self, browser: &mut Chromium, tab: &Tab, length: Duration) {
        let begun = Instant::now();
        let states = &mut self.batches[self.open].states;
        let mut known = states.len();
        browser.events("Runtime.bindingCalled");
        loop {
            let mut shown = states[states.len() - 1].0.clone();
            let last = begun.elapsed() >= length;
            // Where, what is typed, and whether over what is there or behind it.
            let (aim, typed, over) = match self.chance.below(8) {
                0 => {
                    shown.ticks += 1;
                    ("[data-test=done]", None, false)
                }
                1 | 2 => {
                    let volume = (1_000 + self.chance.below(3_000)) as f64 / 100.0;
                    shown.volume = Some(volume);
                    ("[data-stage=aim] input[name=batch_volume_l]", Some(volume.to_string()), true)
                }
                3 | 4 => {
                    let gravity = (800 + self.chance.below(800)) as f64 / 100.0;
                    shown.gravity = Some(gravity);
                    ("[data-stage=aim] input[name=wanted_gravity_plato]", Some(gravity.to_string()), true)
                }
                _ => {
                    let letter = char::from(b'a' + self.chance.below(26) as u8).to_string();
                    // Names may grow to two hundred letters.
                    let over = shown.name.len() > 150;
                    shown.name = if over { letter.clone() } else { [shown.name, letter.clone()].concat() };
                    ("input.name", Some(letter), over)
                }
            };
            // A field that holds this already is not changed by it.
            if shown == states[states.len() - 1].0 {
                continue;
            }
            let ready = browser.value(
                tab,
                &format!(
                    "(() => {{
                        const aim = document.querySelector({});
                        if (aim?.tagName === 'INPUT') {{
                            aim.focus();
                            if ({over}) aim.select(); else aim.setSelectionRange(aim.value.length, aim.value.length);
                        }}
                        return Boolean(aim);
                    }})()",
                    json!(aim)
                ),
            );
            // All steps may be ticked.
            if ready != Some(json!(true)) {
                continue;
            }
            let (method, parameters) = match typed {
                Some(text) => ("Input.insertText", json!({ "text": text })),
                None => (
                    "Runtime.evaluate",
                    json!({ "expression": format!("document.querySelector('{aim}').click()") }),
                ),
            };
            states.push((shown, None));
            self.outcome.changes += 1;
            if last {
                browser.tell(Some(tab), method, parameters);
                // From before the change has reached the page until after it is stored.
                thread::sleep(Duration::from_micros(self.chance.below(400_000)));
            } else {
                browser.ask(Some(tab), method, parameters).unwrap();
                thread::sleep(Duration::from_millis(self.chance.below(120)));
            }
            for (at, _) in browser.events("Runtime.bindingCalled") {
                states[known].1 = Some(at);
                known += 1;
            }
            if last {
                return;
            }
        }
    }

    /// Kills so many tabs, and so many whole browsers in between.
    fn run(&mut self, profile: &Profile, tabs: usize, browsers: usize) {
        let mut browser = Chromium::start(profile);
        let mut tab = self.look(&mut browser, None);
        let all = tabs + browsers;
        for number in 0..all {
            // Spread evenly.
            let whole = (number + 1) * browsers / all > number * browsers / all;
            // A browser writes to the disk every few seconds, so it is also killed after some.
            let length = if whole { 12_000 } else { 900 };
            let length = Duration::from_millis(self.chance.below(length));
            let renderers = browser.renderers();
            self.brew(&mut browser, &tab, length);
            if whole {
                self.outcome.browsers += 1;
                let killed = Instant::now();
                browser.die();
                browser = Chromium::start(profile);
                tab = self.look(&mut browser, Some(killed));
            } else {
                self.outcome.tabs += 1;
                browser.kill(&renderers);
                let dead = tab;
                tab = self.look(&mut browser, None);
                browser.close(&dead);
            }
            if (number + 1) % 50 == 0 {
                println!("{} kills", number + 1);
            }
        }
    }
}

fn trial(tabs: usize, browsers: usize) -> Outcome {
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap().as_millis() as u64;
    let seed = env::var("TARTWRIGHT_SEED").map_or(now, |seed| seed.parse().unwrap());
    println!("seed {seed}");
    let host = host();
    let profile = Profile::new("kills");
    let mut trial = Trial::begin(host.url(), seed, &profile);
    trial.run(&profile, tabs, browsers);
    let Outcome { tabs, browsers, changes, caught, .. } = &trial.outcome;
    println!("{tabs} tabs and {browsers} browsers killed, {changes} changes, {caught} kills before a save");
    trial.outcome
}

#[test]
fn what_was_typed_outlives_a_killed_tab_and_a_killed_browser() {
    let outcome = trial(16, 2);
    // Without changes that were not yet stored it would have shown nothing.
    assert!(outcome.caught > 0 && outcome.changes > 16);
}

#[test]
#[ignore = "takes minutes; run by cargo xtask kill"]
fn killed_hundreds_of_times() {
    let times: usize = env::var("TARTWRIGHT_KILLS").map_or(500, |times| times.parse().unwrap());
    let browsers = times / 6;
    let mut outcome = trial(times - browsers, browsers);
    outcome.lost_s.sort_by(f64::total_cmp);
    let mut rows = String::new();
    let mut row = |what: &str, value: &str, unit: &str, limit: &str| {
        let _ = writeln!(rows, "{what}\t{value}\t{unit}{limit}");
    };
    // The trial stops at the first loss, so to have come here is the zero.
    row("kills of a tab while typing", &outcome.tabs.to_string(), "", "");
    row("kills of the whole browser while typing", &outcome.browsers.to_string(), "", "");
    row("changes typed and ticked meanwhile", &outcome.changes.to_string(), "", "");
    row("kills that came before the newest change was stored", &outcome.caught.to_string(), "", "");
    row("records lost, torn or mixed by a kill", "0", "", "\t0");
    row("changes older than 300 ms lost by the kill of a tab", "0", "", "\t0");
    if let (Some(worst), Some(middle)) = (outcome.lost_s.last(), outcome.lost_s.get(outcome.lost_s.len() / 2))
    {
        row(
            "stored changes that a killed browser had not written to the disk, worst",
            &format!("{worst:.1}"),
            "s",
            "",
        );
        row("the same, median", &format!("{middle:.1}"), "s", "");
    }
    match env::var_os("TARTWRIGHT_MEASURES") {
        Some(file) => fs::write(file, rows).unwrap(),
        None => println!("{rows}"),
    }
}
