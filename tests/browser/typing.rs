//! How long a key takes to reach the screen on a cheap phone whose book holds a thousand batches, typed into
//! every field that can be seen. Measured by `cargo xtask bench`; alone, after `cargo xtask dist`:
//!
//! ```sh
//! cargo test -p checks --features browser --test browser -- --ignored --exact --nocapture typing::every_field
//! ```
//!
//! With `TYPING_ONLY=one`, `five` or `all` only that many stages are opened. To the error stream go the slowest
//! fields and what moved.
//!
//! A time begins when the browser got the key (the key event's own time stamp), and ends after the frame that
//! was drawn next (`first`), or after the last frame before the next key that changed anything on the page but
//! the word *Saved* (`all`): work that is put off past the first frame still counts. Keys come as a hurried
//! thumb sends them, some so late that what was typed is being saved.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::time::Duration;

use crate::harness::Visitor;
use crate::load::report;
use crate::page::{Brewer, STAGES, host};
use batch::keep::stored_text;
use batch::testing::finished_batch;
use serde_json::{Value, json};

/// How many batches are in the book.
const BOOK: usize = 1000;

/// Milliseconds from one key to the next, over and over. What was typed is saved 250 after the last.
const PACE: [u64; 4] = [130, 200, 320, 260];

/// The most a key may take, 95 of 100 times, in milliseconds.
const BUDGET: f64 = 50.0;

/// At most so many characters are typed into a field.
const CHARACTERS: usize = 4;

/// Notes for each key when it came and when what came of it was on the screen, and every shift of the layout.
/// Browsers leave shifts soon after a key out of their score; here all count.
pub const NOTE: &str = "
    globalThis.typing = { keys: [], shifts: [], fields: [], slow: [] };
    {
        const channel = new MessageChannel();
        const waiting = [];
        channel.port1.onmessage = () => {
            const now = performance.now();
            for (const painted of waiting.splice(0)) painted(now);
        };
        // A message sent from the frame's own callback comes when the frame is out of the page's hands.
        const once_painted = (painted) => requestAnimationFrame(() => {
            waiting.push(painted);
            channel.port2.postMessage(0);
        });
        let key = null;
        addEventListener('keydown', (event) => {
            key = { begun: event.timeStamp, field: event.target.name ?? '', first: null, all: null };
            typing.keys.push(key);
        }, true);
        addEventListener('input', () => {
            const mine = key;
            once_painted((now) => { mine.first ??= now - mine.begun; mine.all ??= mine.first; });
        }, true);
        const word = (node) => (node.nodeType === 1 ? node : node.parentElement)?.closest('[data-test=saved]');
        new MutationObserver((changes) => {
            const mine = key;
            if (mine && !changes.every((change) => word(change.target))) {
                once_painted((now) => { if (mine === key) mine.all = now - mine.begun; });
            }
        }).observe(document, { subtree: true, childList: true, characterData: true, attributes: true });
        new PerformanceObserver((list) => {
            for (const entry of list.getEntries()) typing.shifts.push([
                key?.field ?? '', entry.value, entry.hadRecentInput,
                entry.sources.map((source) => source.node?.outerHTML?.slice(0, 120) ?? source.node?.nodeName ?? ''),
            ]);
        }).observe({ type: 'layout-shift', buffered: true });
        new PerformanceObserver((list) => {
            for (const entry of list.getEntries()) if (entry.name === 'keydown') typing.slow.push(entry.duration);
        }).observe({ type: 'event', durationThreshold: 16 });
    }
";

/// Finds every field that can be seen, and what will be typed into it: what it holds or would assume.
const FIELDS: &str = "
    (() => {
        const all = [...document.querySelectorAll('main :is(input, textarea)')].filter((field) =>
            !['checkbox', 'radio', 'file', 'datetime-local', 'range'].includes(field.type)
            && !field.readOnly && field.checkVisibility());
        typing.fields = all;
        return all.map((field) => [
            field.closest('[data-stage]')?.dataset.stage ?? '', field.name, field.value, field.placeholder,
            field.inputMode,
        ]);
    })()";

/// A field as it stands before anything is typed.
struct Found {
    stage: String,
    name: String,
    held: bool,
    text: String,
}

impl Found {
    fn read(value: &Value) -> Self {
        let word = |place: usize| value[place].as_str().unwrap().replace(['\u{202f}', '\u{a0}'], "");
        let (stage, name, held, assumed) = (word(0), word(1), word(2), word(3));
        let number = word(4) == "decimal";
        let words = if number { "2" } else { "Plum" };
        let seen =
            [held.as_str(), assumed.as_str(), words].into_iter().find(|text| !text.is_empty()).unwrap();
        let typed = |sign: &char| !number || sign.is_ascii_digit() || matches!(sign, '.' | ',' | '-');
        let text = seen.replace('–', "-");
        let text = text.chars().filter(|sign| sign.is_ascii()).filter(typed).take(CHARACTERS).collect();
        Self { stage, name, held: !held.is_empty(), text }
    }
}

/// What came of typing into some fields.
#[derive(Default)]
struct Typed {
    fields: usize,
    first: Vec<f64>,
    all: Vec<f64>,
    /// The browser's own account of the same, in steps of 8 ms, only of keys that took 16 or more.
    slow: Vec<f64>,
    shift: f64,
    scored: f64,
    /// The slowest key of each field, for whoever makes it quicker.
    worst: BTreeMap<String, f64>,
    moved: Vec<String>,
}

/// The value that this share of them does not exceed.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = (share * sorted.len() as f64).ceil() as usize;
    sorted.get(place.saturating_sub(1)).copied().unwrap()
}

impl Typed {
    /// The browser's own time that 95 of 100 keys do not exceed; those it leaves out took less than 16 ms.
    fn slow(&self) -> f64 {
        let mut all = self.slow.clone();
        all.resize(self.first.len().max(all.len()), 16.0);
        quantile(&all, 0.95)
    }

    fn rows(&self, name: &str) -> String {
        let mut rows = String::new();
        let (first, all) = (&self.first, &self.all);
        let mut row = |what: &str, value: f64, unit: &str, most: Option<f64>| {
            let most = most.map(|most| format!("\t{most}")).unwrap_or_default();
            let _ = writeln!(rows, "typing, {name}: {what}\t{value}\t{unit}{most}");
        };
        row("fields", self.fields as f64, "", None);
        row("keys", first.len() as f64, "", None);
        row("key to next frame, median", quantile(first, 0.5), "ms", None);
        row("key to next frame, 95 of 100", quantile(first, 0.95), "ms", Some(BUDGET));
        row("key to next frame, longest", quantile(first, 1.0), "ms", None);
        row("key to last change, median", quantile(all, 0.5), "ms", None);
        row("key to last change, 95 of 100", quantile(all, 0.95), "ms", Some(BUDGET));
        row("key to last change, longest", quantile(all, 1.0), "ms", None);
        row("by the browser's own account, 95 of 100", self.slow(), "ms", Some(BUDGET));
        row("layout shift as browsers score it", self.scored, "", Some(0.0));
        // What moves because of what was typed, a warning that comes, is no fault of the layout.
        row("layout shift, those after a key as well", self.shift, "", None);
        rows
    }

    fn add(&mut self, other: Self) {
        self.fields += other.fields;
        self.first.extend(other.first);
        self.all.extend(other.all);
        self.slow.extend(other.slow);
        self.shift += other.shift;
        self.scored += other.scored;
        self.worst.extend(other.worst);
        self.moved.extend(other.moved);
    }

    /// Which fields are slow and what moved: not for the table, but for whoever looks into it.
    fn tell(&self, name: &str) {
        let mut worst: Vec<_> = self.worst.iter().collect();
        worst.sort_by(|one, other| other.1.total_cmp(one.1));
        for (field, time) in worst.iter().take(10) {
            eprintln!("{name}: {field}: {time:.1} ms");
        }
        for moved in self.moved.iter().take(40) {
            eprintln!("{name}: moved: {moved}");
        }
    }
}

/// One key, as a keyboard sends it.
pub async fn press(visitor: &Visitor, sign: Option<char>) {
    let (key, code, number) = match sign {
        None => ("Backspace".to_owned(), "Backspace".to_owned(), 8),
        Some('.') => (".".to_owned(), "Period".to_owned(), 190),
        Some(',') => (",".to_owned(), "Comma".to_owned(), 188),
        Some('-') => ("-".to_owned(), "Minus".to_owned(), 189),
        Some(' ') => (" ".to_owned(), "Space".to_owned(), 32),
        Some(sign) if sign.is_ascii_digit() => (sign.to_string(), format!("Digit{sign}"), u32::from(sign)),
        Some(sign) => {
            let large = sign.to_ascii_uppercase();
            (sign.to_string(), format!("Key{large}"), u32::from(large))
        }
    };
    let mut down = json!({
        "type": "keyDown", "key": key, "code": code, "windowsVirtualKeyCode": number,
    });
    if sign.is_some() {
        down["text"] = json!(key);
    }
    visitor.cdp("Input.dispatchKeyEvent", down).await;
    let up = json!({ "type": "keyUp", "key": key, "code": code, "windowsVirtualKeyCode": number });
    visitor.cdp("Input.dispatchKeyEvent", up).await;
}

/// Types into every field that can be seen and that `wanted` takes.
async fn type_everywhere(brewer: &Brewer, wanted: impl Fn(&Found) -> bool) -> Typed {
    // What opening a stage put up must not be taken for what a key did.
    tokio::time::sleep(Duration::from_millis(800)).await;
    let found = brewer.value(FIELDS).await;
    brewer.value("(typing.keys.length = 0, typing.shifts.length = 0, typing.slow.length = 0)").await;
    let mut pace = PACE.into_iter().cycle().map(Duration::from_millis);
    let (mut fields, mut keys) = (0, 0);
    for (place, field) in found.as_array().unwrap().iter().map(Found::read).enumerate() {
        if !wanted(&field) {
            continue;
        }
        let ready = brewer
            .value(&format!(
                "(() => {{
                    const field = typing.fields[{place}];
                    field.scrollIntoView({{ block: 'center', behavior: 'instant' }});
                    field.focus();
                    field.select();
                    return field.isConnected && document.activeElement === field;
                }})()"
            ))
            .await;
        assert_eq!(ready, json!(true), "{}/{} takes the keys", field.stage, field.name);
        tokio::time::sleep(Duration::from_millis(100)).await;
        fields += 1;
        for sign in field.text.chars() {
            press(brewer, Some(sign)).await;
            keys += 1;
            tokio::time::sleep(pace.next().unwrap()).await;
        }
        // An empty field is left empty.
        if !field.held {
            brewer.value("document.activeElement.select()").await;
            press(brewer, None).await;
            keys += 1;
        }
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    let notes = brewer.value("({ keys: typing.keys, shifts: typing.shifts, slow: typing.slow })").await;
    let mut typed = Typed { fields, ..Typed::default() };
    for key in notes["keys"].as_array().unwrap() {
        let name = key["field"].as_str().unwrap();
        let time = |what: &str| key[what].as_f64().unwrap_or_else(|| panic!("a key in {name} wrote nothing"));
        let (first, all) = (time("first"), time("all"));
        typed.first.push(first);
        typed.all.push(all);
        let worst = typed.worst.entry(name.to_owned()).or_default();
        *worst = worst.max(all);
    }
    assert_eq!(typed.first.len(), keys, "every key came");
    typed.slow = notes["slow"].as_array().unwrap().iter().map(|time| time.as_f64().unwrap()).collect();
    for shift in notes["shifts"].as_array().unwrap() {
        let value = shift[1].as_f64().unwrap();
        typed.shift += value;
        if shift[2] == json!(false) {
            typed.scored += value;
        }
        typed.moved.push(format!("{}: {value:.4} {}", shift[0], shift[3]));
    }
    typed
}

/// Puts so many finished batches into the book, with names that tell them apart. How many the browser took, and
/// the characters of all.
pub async fn fill_book(visitor: &Visitor, count: usize) -> (usize, usize) {
    let batch = finished_batch();
    let text = stored_text(&batch).unwrap();
    assert!(text.contains(&batch.data.id) && text.contains(&batch.data.name), "{text}");
    // One text is sent and made many there: a thousand would be two megabytes on the way.
    let taken = visitor
        .value(&format!(
            "(() => {{
                for (const key of Object.keys(localStorage)) {{
                    if (key.startsWith('tartwright.batch.')) localStorage.removeItem(key);
                }}
                let taken = 0;
                let characters = 0;
                for (let n = 0; n < {count}; n += 1) {{
                    const id = 'n' + String(n).padStart(11, '0');
                    const name = {name} + ' ' + n;
                    const text = {text}.replaceAll({id}, id).replaceAll({name}, name);
                    try {{ localStorage.setItem('tartwright.batch.' + id, text); }} catch {{ break; }}
                    taken += 1;
                    characters += 'tartwright.batch.'.length + id.length + text.length;
                }}
                return [taken, characters];
            }})()",
            text = json!(text),
            id = json!(batch.data.id),
            name = json!(batch.data.name),
        ))
        .await;
    let number = |place: usize| usize::try_from(taken[place].as_u64().unwrap()).unwrap();
    (number(0), number(1))
}

/// The address of one of them.
fn address(url: &str) -> String {
    format!("{url}#/b/n00000000000")
}

/// Notes how much is written on the page, and what of it was there before.
const WRITTEN: &str = "
    globalThis.written = { count: 0, again: [] };
    const part = (node) => node.outerHTML ?? node.data;
    new MutationObserver((changes) => {
        written.count += changes.length;
        const come = new Map();
        const parts = (nodes) => [...nodes].filter((node) => node.nodeType !== 8).map(part);
        for (const { type, target, addedNodes } of changes) {
            if (type === 'childList') come.set(target, (come.get(target) ?? []).concat(parts(addedNodes)));
        }
        for (const { type, target, attributeName, oldValue, removedNodes } of changes) {
            const again = type === 'childList'
                ? parts(removedNodes).some((gone) => come.get(target).includes(gone))
                : oldValue === (type === 'attributes' ? target.getAttribute(attributeName) : target.data);
            if (again) written.again.push([type, attributeName, part(target).slice(0, 99)]);
        }
    }).observe(document.querySelector('main'), {
        subtree: true, childList: true, characterData: true, characterDataOldValue: true, attributes: true,
        attributeOldValue: true,
    });
";

#[tokio::test]
async fn a_key_writes_only_what_is_another_then() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    for stage in ["water", "grist", "souring"] {
        brewer.open_stage(stage).await;
    }
    unfold(&brewer).await;
    brewer.value(&format!("(() => {{ {WRITTEN} }})()")).await;
    for field in ["water0.calcium_mg_per_l", "salt0.locked_g", "malt0.share", "sour_ph_wanted"] {
        let focus = format!("document.querySelector('main input[name=\"{field}\"]')");
        brewer.value(&format!("({focus}.focus(), {focus}.select(), written.count = 0)")).await;
        for sign in "3.3".chars() {
            press(&brewer, Some(sign)).await;
            tokio::time::sleep(Duration::from_millis(120)).await;
        }
        brewer.until_saved().await;
        let written = brewer.value("written").await;
        assert!(written["count"].as_u64().unwrap() > 3, "{field} changes something");
        assert_eq!(written["again"], json!([]), "{field}");
    }
}

#[tokio::test]
async fn what_browsers_do_at_a_key_is_kept_small() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.open_everything().await;
    let odd = brewer
        .value(
            "(() => {
                const odd = [];
                const all = (css) => [...document.querySelectorAll(css)].filter((one) => one.checkVisibility());
                const fields = all('main input[inputmode=decimal]');
                for (const field of fields) {
                    const filled = [...(field.form?.elements ?? [])].filter((one) => one.matches('input, select, textarea'));
                    if (filled.length !== 1) odd.push(`${field.name} is not alone in its form`);
                    if (!getComputedStyle(field).contain.includes('size')) odd.push(`${field.name} is not laid out alone`);
                }
                for (const one of all('.stage, .fold, .item, .picture')) {
                    if (getComputedStyle(one).contain !== 'content') odd.push(`${one.className} is not painted alone`);
                }
                for (const one of all('main *')) {
                    if (getComputedStyle(one).touchAction !== 'auto' && !one.matches('.step')) odd.push(`touches: ${one.outerHTML.slice(0, 99)}`);
                }
                return [fields.length, odd];
            })()",
        )
        .await;
    assert!(odd[0].as_u64().unwrap() > 100, "{odd}");
    assert_eq!(odd[1], json!([]));
}

#[tokio::test]
#[ignore = "measures; run by cargo xtask bench"]
async fn every_field() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    assert_eq!(fill_book(&brewer, BOOK).await.0, BOOK, "all of them are stored");
    brewer.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": NOTE })).await;
    brewer.goto("about:blank").await.unwrap();
    brewer.open(&address(&host.url())).await;
    brewer.until("document.querySelector('[data-test=next-move]')").await;
    brewer.cdp("Emulation.setCPUThrottlingRate", json!({ "rate": 4 })).await;

    // Whoever makes one of them quicker need not wait for the others.
    let only = std::env::var("TYPING_ONLY").ok();
    let wanted = |name: &str| only.as_deref().is_none_or(|only| only == name);
    let mut rows = String::new();
    if wanted("one") {
        let mut alone = Typed::default();
        for stage in STAGES {
            brewer.fold_all_stages().await;
            brewer.open_stage(stage).await;
            unfold(&brewer).await;
            alone.add(type_everywhere(&brewer, |field| field.stage == stage).await);
        }
        rows += &alone.rows("one stage open");
        alone.tell("one stage open");
    }
    if wanted("five") {
        let five = ["water", "grist", "mash", "souring", "package"];
        brewer.fold_all_stages().await;
        for stage in five {
            brewer.open_stage(stage).await;
        }
        unfold(&brewer).await;
        let typed = type_everywhere(&brewer, |field| five.contains(&field.stage.as_str())).await;
        rows += &typed.rows("five stages open");
        typed.tell("five stages open");
    }
    if wanted("all") {
        brewer.open_everything().await;
        let typed = type_everywhere(&brewer, |_| true).await;
        rows += &typed.rows("all open");
        typed.tell("all open");
    }
    report(&rows);
}

/// Opens every fold inside the open stages.
async fn unfold(brewer: &Brewer) {
    brewer
        .value(
            "(async () => {
                const closed = () => document.querySelectorAll('[data-stage] details:not([open])');
                for (let folds; (folds = closed()).length > 0; ) {
                    folds.forEach((fold) => fold.open = true);
                    await new Promise((done) => setTimeout(done, 50));
                }
            })()",
        )
        .await;
}
