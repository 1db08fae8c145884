//! What a person does with the page and reads from it, in the page's own words.

use std::fs;
use std::ops::Deref;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use crate::harness::{self, Visitor};
use serde_json::{Value, json};
use thirtyfour::error::WebDriverErrorInner;
use thirtyfour::prelude::*;
use xtask::server::Server;

/// A brew day in a minute: the page's clock can be put forward, and the timers that save a moment after
/// typing can be held, so that only what runs at the very end of a page can save.
const CLOCK: &str = "
    const kept = (key) => { try { return Number(sessionStorage.getItem(key) ?? 0); } catch { return 0; } };
    const now = Date.now.bind(Date);
    Date.now = () => now() + kept('test.later-ms');
    const later = setTimeout;
    globalThis.setTimeout = (run, wait, ...rest) => kept('test.held') && wait >= 200 ? 0 : later(run, wait, ...rest);
";

/// Everything on the page that a finger aims at. A link inside a sentence is as tall as its line.
const TARGETS: &str =
    "button, .button, a.open, summary, select, label.toggle, textarea, input:not([type=checkbox])";

/// Where nothing may stick out to the side.
const STICKS_OUT: &str = "
    (() => {
        const wide = document.documentElement.clientWidth;
        const out = [...document.querySelectorAll('body *')].filter((element) => {
            const box = element.getBoundingClientRect();
            if (!element.checkVisibility() || box.width === 0 || element.closest('.unseen, svg')) return false;
            return box.right > wide + 1 || box.left < -1;
        });
        const rolled = document.documentElement.scrollWidth > wide ? ['the page itself'] : [];
        return rolled.concat(out.map((element) => element.outerHTML.slice(0, 160)));
    })()";

/// A host of the page, on a port of its own.
pub fn host() -> Server {
    harness::host("/")
}

/// The stages, in order.
pub const STAGES: [&str; 11] = [
    "aim",
    "water",
    "grist",
    "mash",
    "first_boil",
    "acid_drop",
    "souring",
    "main_boil",
    "ferment",
    "fruit",
    "package",
];

/// A visitor who brews. Derefs to the visitor.
pub struct Brewer {
    visitor: Visitor,
    url: String,
    downloads: PathBuf,
}

impl Deref for Brewer {
    type Target = Visitor;

    fn deref(&self) -> &Visitor {
        &self.visitor
    }
}

impl Drop for Brewer {
    fn drop(&mut self) {
        // It may never have been made.
        let _ = fs::remove_dir_all(&self.downloads);
    }
}

impl Brewer {
    /// A phone that opens the page for the first time.
    pub async fn arrives(url: &str) -> Self {
        Self::with(Visitor::phone().await, url).await
    }

    /// The same at a desk.
    pub async fn at_a_desk(url: &str) -> Self {
        Self::with(Visitor::desktop().await, url).await
    }

    async fn with(visitor: Visitor, url: &str) -> Self {
        let downloads = std::env::temp_dir().join(format!("tartwright-{}", visitor.session_id()));
        let brewer = Self { visitor, url: url.to_owned(), downloads };
        brewer.prepare().await;
        brewer.open(url).await;
        brewer
    }

    /// Sets this tab up; every tab has its own.
    pub async fn prepare(&self) {
        self.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": CLOCK })).await;
        // What a test waits for should not also wait for a smooth scroll.
        let still = json!({ "features": [{ "name": "prefers-reduced-motion", "value": "reduce" }] });
        self.cdp("Emulation.setEmulatedMedia", still).await;
        let folder = json!({ "behavior": "allow", "downloadPath": self.downloads });
        self.cdp("Browser.setDownloadBehavior", folder).await;
    }

    /// Lets time pass on the page's clock.
    pub async fn wait_hours(&self, hours: f64) {
        self.value(&format!(
            "(sessionStorage.setItem('test.later-ms', \
             Number(sessionStorage.getItem('test.later-ms') ?? 0) + {}), dispatchEvent(new Event('focus')))",
            hours * 3_600_000.0
        ))
        .await;
    }

    /// Holds back what would run a moment later, as in a tab that is killed before.
    pub async fn hold_timers(&self) {
        self.value("sessionStorage.setItem('test.held', '1')").await;
    }

    /// Brings what matches to the middle of the screen, as a thumb does.
    pub async fn show(&self, css: &str) -> WebElement {
        let quoted = json!(css);
        self.until(&format!("document.querySelector({quoted})")).await;
        let middle = "{ block: 'center', behavior: 'instant' }";
        self.value(&format!("document.querySelector({quoted})?.scrollIntoView({middle})")).await;
        self.find(By::Css(css)).await.unwrap_or_else(|problem| panic!("{css}: {problem}"))
    }

    /// Taps what matches. Fails when something else lies on top of it.
    pub async fn tap(&self, css: &str) {
        // A line of the page may be drawn anew between finding and touching it.
        for _ in 0..5 {
            match self.show(css).await.click().await {
                Ok(()) => return,
                Err(problem) if matches!(*problem, WebDriverErrorInner::StaleElementReference(_)) => {}
                Err(problem) => panic!("{css} cannot be tapped: {problem}"),
            }
        }
        panic!("{css} never holds still");
    }

    /// Taps the button inside `within` that says this.
    pub async fn tap_words(&self, within: &str, words: &str) {
        let mark = format!(
            "(() => {{
                document.querySelectorAll('[test-aim]').forEach((element) => element.removeAttribute('test-aim'));
                const all = document.querySelectorAll({within} + ' :is(button, a, summary)');
                const found = [...all].find((element) => element.innerText.includes({words}));
                found?.setAttribute('test-aim', '');
                return Boolean(found);
            }})()",
            within = json!(within),
            words = json!(words)
        );
        self.until(&mark).await;
        self.tap("[test-aim]").await;
    }

    /// Types into a field over what it holds, with the keys of a real keyboard.
    pub async fn write(&self, css: &str, text: &str) {
        self.tap(css).await;
        assert_eq!(
            self.value(&format!("document.activeElement === document.querySelector({})", json!(css))).await,
            json!(true),
            "{css} takes the keys"
        );
        self.value("document.activeElement.select()").await;
        let field = self.find(By::Css(css)).await.unwrap();
        if text.is_empty() { field.send_keys(Key::Backspace).await } else { field.send_keys(text).await }
            .unwrap();
    }

    /// Picks an entry of a menu by its words.
    pub async fn choose(&self, css: &str, entry: &str) {
        let menu = self.show(css).await;
        menu.find(By::XPath(format!("option[contains(., '{entry}')]"))).await.unwrap().click().await.unwrap();
    }

    /// The words of what matches; empty where nothing does.
    pub async fn words(&self, css: &str) -> String {
        let text = self.value(&format!("document.querySelector({})?.innerText ?? ''", json!(css))).await;
        // Numbers and units are joined by a narrow space that must not break.
        text.as_str().unwrap_or_default().replace(['\u{202f}', '\u{a0}'], " ")
    }

    /// Waits until what matches says this.
    pub async fn until_says(&self, css: &str, words: &str) {
        self.until(&format!(
            "[...document.querySelectorAll({})].some((element) => \
             element.innerText.replace(/[\\u202f\\u00a0]/g, ' ').includes({}))",
            json!(css),
            json!(words)
        ))
        .await;
    }

    /// What a field holds.
    pub async fn held(&self, css: &str) -> String {
        self.until(&format!("document.querySelector({})", json!(css))).await;
        let held = self.value(&format!("document.querySelector({}).value", json!(css))).await;
        held.as_str().unwrap_or_default().to_owned()
    }

    /// Waits until all that is on the screen is stored.
    pub async fn until_saved(&self) {
        self.until_says("[data-test=saved]", "Saved").await;
    }

    // The next move.

    /// What the next move says first.
    pub async fn says(&self) -> String {
        self.words(".next .says").await
    }

    /// All words of the next move.
    pub async fn next(&self) -> String {
        self.words("[data-test=next-move]").await
    }

    /// Ticks the next move, which must be this one.
    pub async fn done(&self, words: &str) {
        self.until_says("[data-test=done]", words).await;
        self.tap("[data-test=done]").await;
        let other = format!(
            "!document.querySelector('[data-test=done]') || \
             !document.querySelector('[data-test=done]').innerText.includes({})",
            json!(words)
        );
        self.until(&other).await;
    }

    /// Types a reading into the next move and saves it.
    pub async fn reads(&self, kind: &str, value: &str) {
        self.write(&format!("[data-test=next-move] input[name='next.{kind}']"), value).await;
        self.tap("[data-test=next-move] [data-test=save-reading]").await;
        self.until_says(".toast", "Reading saved").await;
        self.close_message().await;
    }

    /// Saves a reading at its stage, at a time on the page's clock so many hours ago.
    pub async fn notes(&self, stage: &str, kind: &str, value: &str, hours_ago: f64) {
        self.open_stage(stage).await;
        let form = format!("[data-stage={stage}] [data-reading={kind}]");
        self.tap(&format!("{form} [data-test=add-reading]")).await;
        self.write(&format!("{form} input[name='reading.{kind}']"), value).await;
        if hours_ago > 0.0 {
            self.tap_words(&form, "Earlier, temperature or note").await;
            self.tap_words(&form, "Other time").await;
            self.set_time(&format!("{form} input[type=datetime-local]"), hours_ago).await;
        }
        self.tap(&format!("{form} [data-test=save-reading]")).await;
        self.until_says(".toast", "Reading saved").await;
        self.close_message().await;
    }

    /// Sets a time field as the phone's own clock picker does, which no script can tap.
    pub async fn set_time(&self, css: &str, hours_ago: f64) {
        self.show(css).await;
        self.value(&format!(
            "(() => {{
                const time = new Date(Date.now() - {} - new Date().getTimezoneOffset() * 60000);
                const field = document.querySelector({});
                field.value = time.toISOString().slice(0, 16);
                field.dispatchEvent(new InputEvent('input', {{ bubbles: true }}));
            }})()",
            hours_ago * 3_600_000.0,
            json!(css)
        ))
        .await;
    }

    /// Closes the message at the edge of the screen.
    pub async fn close_message(&self) {
        self.tap(".toast [aria-label='Close this message']").await;
        self.until("!document.querySelector('.toast')").await;
    }

    // Stages, fields and figures.

    /// Opens a stage, if it is folded.
    pub async fn open_stage(&self, stage: &str) {
        let line = format!("[data-stage={stage}] .stage-line");
        self.until(&format!("document.querySelector({})", json!(line))).await;
        let open =
            format!("document.querySelector({}).getAttribute('aria-expanded') === 'true'", json!(line));
        if self.value(&open).await != json!(true) {
            self.tap(&line).await;
            self.until(&open).await;
        }
    }

    /// Opens every stage.
    pub async fn open_all_stages(&self) {
        for stage in STAGES {
            self.open_stage(stage).await;
        }
    }

    /// Opens every stage, every fold, every form for a reading and every why.
    pub async fn open_everything(&self) {
        self.open_all_stages().await;
        self.value(
            "(async () => {
                const turn = () => new Promise((done) => setTimeout(done, 50));
                // What is inside a fold is built when it opens, and may hold folds.
                for (let folds; (folds = document.querySelectorAll('main details:not([open])')).length > 0; await turn()) {
                    folds.forEach((fold) => fold.open = true);
                }
                document.querySelectorAll('[data-test=add-reading], .figure .line').forEach((line) => line.click());
                await turn();
            })()",
        )
        .await;
        self.until("document.querySelector('.why') && document.querySelector('[data-reading] .form')").await;
    }

    /// Folds every stage again.
    pub async fn fold_all_stages(&self) {
        for stage in STAGES {
            let line = format!("[data-stage={stage}] .stage-line");
            let open =
                format!("document.querySelector({}).getAttribute('aria-expanded') === 'true'", json!(line));
            if self.value(&open).await == json!(true) {
                self.tap(&line).await;
            }
        }
    }

    /// Opens the fold of a stage that is called this.
    pub async fn open_fold(&self, stage: &str, name: &str) {
        self.open_stage(stage).await;
        self.tap_words(&format!("[data-stage={stage}] details:not([open])"), name).await;
    }

    /// Types into a field of a stage.
    pub async fn fill(&self, stage: &str, name: &str, text: &str) {
        self.open_stage(stage).await;
        self.write(&field(stage, name), text).await;
    }

    /// The message under a field of a stage.
    pub async fn message(&self, stage: &str, name: &str) -> String {
        let css = json!(field(stage, name));
        let under =
            format!("document.querySelector({css}).closest('.field').querySelector('.note').innerText");
        let text = self.value(&under).await;
        text.as_str().unwrap_or_default().replace(['\u{202f}', '\u{a0}'], " ")
    }

    /// The number of a figure with its unit, as shown.
    pub async fn figure(&self, stage: &str, key: &str) -> String {
        self.open_stage(stage).await;
        let css = format!("[data-stage={stage}] [data-figure={key}] .line .number");
        self.until(&format!("document.querySelector({})", json!(css))).await;
        self.words(&css).await
    }

    /// The number of a figure.
    pub async fn number(&self, stage: &str, key: &str) -> f64 {
        let shown = self.figure(stage, key).await;
        first_number(&shown).unwrap_or_else(|| panic!("{stage}/{key} is a number: {shown}"))
    }

    /// Everything that is on the screen: fields, menus, ticks, figures, readings, warnings, the next move.
    pub async fn snapshot(&self) -> Vec<String> {
        self.open_all_stages().await;
        let lines = self
            .value(
                "[...document.querySelectorAll('.next .says, .next .details li, .stage-line, .stage input, \
                 .stage select, .stage textarea, .figure .line, .ledger li, .item .result, .verdict, .warning')]
                 .map((element) => {
                     const place = element.closest('[data-stage]')?.dataset.stage ?? 'top';
                     const held = 'value' in element && element.tagName !== 'LI' && element.tagName !== 'BUTTON'
                         ? `${element.name}=${element.type === 'checkbox' ? element.checked : element.value}`
                         : element.innerText;
                     return `${place}: ${held}`;
                 })",
            )
            .await;
        lines.as_array().unwrap().iter().map(|line| line.as_str().unwrap().to_owned()).collect()
    }

    /// The stored texts of all batches, by key.
    pub async fn stored(&self) -> Value {
        self.value(
            "Object.fromEntries(Object.entries(localStorage).filter(([key]) => key.startsWith('tartwright.')))",
        )
        .await
    }

    // The book, the settings.

    /// Begins a new batch from the book.
    pub async fn begins(&self) {
        self.tap("[data-test=new-batch]").await;
        self.until("document.querySelector('[data-test=next-move]')").await;
    }

    /// Opens the invented example from the book.
    pub async fn opens_the_example(&self) {
        self.tap("[data-test=demo]").await;
        self.until("document.querySelector('[data-test=next-move]')").await;
    }

    /// Goes to the batch book.
    pub async fn to_the_book(&self) {
        self.tap("[data-test=back]").await;
        self.until("document.querySelector('[data-test=more]')").await;
    }

    /// Goes to the settings from the book.
    pub async fn to_the_settings(&self) {
        self.tap("[data-test=more]").await;
        self.until("document.querySelector('[data-test=keepsake]')").await;
    }

    /// Pastes a text where keepsakes are brought in, and asks what it would do. Pasting is one event of the
    /// field, however long the text.
    pub async fn pastes_a_keepsake(&self, text: &str) {
        if self.value("Boolean(document.querySelector('[data-test=keepsake] details[open]'))").await
            != json!(true)
        {
            self.tap_words("[data-test=keepsake]", "Or paste its text").await;
        }
        self.tap("[data-test=import-text]").await;
        self.value("document.activeElement.select()").await;
        self.cdp("Input.insertText", json!({ "text": text })).await;
        self.tap("[data-test=import-open]").await;
    }

    /// The file that the page had the browser save, once it is there.
    pub async fn downloaded(&self) -> PathBuf {
        let begun = Instant::now();
        let mut before = None;
        loop {
            let files = fs::read_dir(&self.downloads).into_iter().flatten().filter_map(Result::ok);
            let file =
                files.map(|file| file.path()).find(|path| path.extension().is_some_and(|e| e == "json"));
            // Under its name the file may still be empty, or not yet whole.
            let size = file.as_ref().and_then(|file| fs::metadata(file).ok()).map(|file| file.len());
            match file {
                Some(file) if size > Some(0) && size == before => return file,
                _ => before = size,
            }
            assert!(begun.elapsed() < Duration::from_secs(10), "no file in {}", self.downloads.display());
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// What the origin's address is.
    pub fn url(&self) -> &str {
        &self.url
    }

    // Looks.

    /// Makes the screen so wide, in CSS pixels.
    pub async fn be_wide(&self, width: u32) {
        let metrics =
            json!({ "width": width, "height": 844, "deviceScaleFactor": 1, "mobile": width < 1000 });
        self.cdp("Emulation.setDeviceMetricsOverride", metrics).await;
        self.until(&format!("innerWidth === {width}")).await;
    }

    /// What sticks out to the side.
    pub async fn sticking_out(&self) -> Value {
        self.value(STICKS_OUT).await
    }

    /// What a finger aims at that is less high or wide than so many pixels.
    pub async fn smaller_than(&self, pixels: u32) -> Value {
        self.value(&format!(
            "[...document.querySelectorAll({})].flatMap((element) => {{
                const box = element.getBoundingClientRect();
                const small = element.checkVisibility() && box.width > 0 && (box.height < {pixels} - .5 || box.width < {pixels} - .5);
                return small ? [`${{box.width}}x${{box.height}} ${{element.outerHTML.slice(0, 140)}}`] : [];
            }})",
            json!(TARGETS)
        ))
        .await
    }
}

/// Where a field of a stage is.
pub fn field(stage: &str, name: &str) -> String {
    format!("[data-stage={stage}] input[name='{name}']")
}

/// The first number in a text.
pub fn first_number(text: &str) -> Option<f64> {
    let begins = text.find(|c: char| c.is_ascii_digit() || c == '-')?;
    let rest = &text[begins..];
    let ends = rest[1..].find(|c: char| !c.is_ascii_digit() && c != '.').map_or(rest.len(), |at| at + 1);
    rest[..ends].parse().ok()
}
