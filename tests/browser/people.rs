//! The page for everyone: other eyes, hands, ears, letters as large as they have to be. One walk through every
//! screen and state with the rules of axe, with colours reckoned here, and with the sizes of what is tapped.

use std::{env, fs};

use crate::page::{Brewer, host};
use batch::keep::{Envelope, encode, link};
use batch::testing::finished_batch;
use serde_json::{Value, json};

/// The rules, as their makers pack them.
const AXE: &str = include_str!("axe/axe.min.js");
/// What axe cannot see: colours in pictures, what sticks out, where the focus is.
const PEOPLE: &str = include_str!("people.js");

/// What axe does not judge by itself, and why that is well: contrast is reckoned here for all text; names of
/// controls are held to what they say here; a heading over rows of a table has no cells of its own.
const LEFT_OPEN: [&str; 3] = ["color-contrast", "label-content-name-mismatch", "th-has-data-cells"];

/// What the walk has found.
struct Found {
    states: u32,
    looks: u32,
    /// Looks by axe.
    axe: u32,
    violations: Vec<String>,
    /// What axe left open, and was reckoned here instead.
    open: usize,
    texts: u64,
    targets: u64,
    text: f64,
    shape: f64,
    target: f64,
}

impl Default for Found {
    fn default() -> Self {
        let (text, shape, target) = (f64::MAX, f64::MAX, f64::MAX);
        Self {
            states: 0,
            looks: 0,
            axe: 0,
            violations: Vec::new(),
            open: 0,
            texts: 0,
            targets: 0,
            text,
            shape,
            target,
        }
    }
}

fn lines(found: &Value) -> impl Iterator<Item = &str> {
    found.as_array().into_iter().flatten().filter_map(Value::as_str)
}

/// Gives the page the rules and the eyes; each load of the page forgets them.
async fn equip(brewer: &Brewer) {
    if brewer.value("typeof people").await == json!("undefined") {
        brewer.execute(AXE, Vec::new()).await.unwrap();
        brewer.execute(PEOPLE, Vec::new()).await.unwrap();
    }
}

async fn wear(brewer: &Brewer, theme: &str) {
    brewer.value(&format!("document.documentElement.dataset.theme = '{theme}'")).await;
}

impl Found {
    fn add(&mut self, screen: &str, what: &str, found: &Value) {
        self.violations.extend(lines(found).map(|line| format!("{screen}: {what}: {line}")));
    }

    /// One look: all rules, or the colours alone.
    async fn look(&mut self, brewer: &Brewer, screen: &str, whole: bool, by_axe: bool) {
        let found = brewer.value(&format!("people.look({whole}, {by_axe})")).await;
        self.looks += 1;
        if by_axe {
            self.axe += 1;
            self.add(screen, "axe", &found["axe"]["violations"]);
            assert!(found["axe"]["passes"].as_u64().unwrap() > 0, "{screen}: axe looked at nothing: {found}");
            for line in lines(&found["axe"]["incomplete"]) {
                if LEFT_OPEN.iter().any(|rule| line.starts_with(rule)) {
                    self.open += 1;
                } else {
                    self.violations.push(format!("{screen}: left open: {line}"));
                }
            }
        }
        self.add(screen, "text", &found["texts"]["below"]);
        self.add(screen, "shape", &found["shapes"]["below"]);
        self.texts += found["texts"]["count"].as_u64().unwrap();
        self.text = self.text.min(found["texts"]["lowest"].as_f64().unwrap());
        self.shape = self.shape.min(found["shapes"]["lowest"].as_f64().unwrap());
        if whole {
            self.add(screen, "target", &found["targets"]["small"]);
            self.add(screen, "outline", &found["outline"]);
            self.add(screen, "moves", &found["moving"]);
            self.targets += found["targets"]["count"].as_u64().unwrap();
            self.target = self.target.min(found["targets"]["least"].as_f64().unwrap());
        }
    }

    /// A state of a screen: by all rules as it comes, by its colours in the other looks.
    async fn state(&mut self, brewer: &Brewer, screen: &str) {
        self.state_of(brewer, screen, true).await;
    }

    /// The same. Axe takes long over the longest screens: of these it sees the first look only.
    async fn state_of(&mut self, brewer: &Brewer, screen: &str, by_axe: bool) {
        equip(brewer).await;
        self.states += 1;
        self.look(brewer, screen, true, true).await;
        for theme in ["dark", "sun"] {
            wear(brewer, theme).await;
            self.look(brewer, &format!("{screen}, {theme}"), false, by_axe).await;
        }
        wear(brewer, "device").await;
    }

    fn rows(&self) -> String {
        format!(
            "people: states of screens\t{}\t\npeople: looks, in three themes\t{}\t\npeople: looks by axe\t{}\t\npeople: texts whose contrast was \
             reckoned\t{}\t\npeople: axe violations\t{}\t\t0\npeople: lowest contrast of text\t{:.2}\t: 1\t\n\
             people: lowest contrast of borders and lines\t{:.2}\t: 1\t\npeople: targets measured\t{}\t\npeople: \
             smallest target\t{:.1}\tpx\t\n",
            self.states,
            self.looks,
            self.axe,
            self.texts,
            self.violations.len(),
            self.text,
            self.shape,
            self.targets,
            self.target
        )
    }
}

async fn put(brewer: &Brewer, key: &str, text: &str) {
    brewer.value(&format!("localStorage.setItem({}, {})", json!(key), json!(text))).await;
}

/// A text as an early version stored it.
fn record(id: &str, name: &str) -> String {
    json!({
        "schema": 1, "app": "0.1.0", "revision": 1, "saved_s": 1_754_300_000,
        "data": { "id": id, "name": name, "begun_s": 1_754_200_000, "numbers": { "batch_volume_l": 20 } }
    })
    .to_string()
}

async fn put_batch(brewer: &Brewer, envelope: &Envelope) {
    put(brewer, &format!("tartwright.batch.{}", envelope.data.id), &encode(envelope).unwrap()).await;
}

/// A finished batch, and the same once more under another name.
fn two_finished() -> [Envelope; 2] {
    let first = finished_batch();
    let mut second = first.clone();
    second.data.id = "twin".to_owned();
    second.data.name = "Raspberry and plum, autumn".to_owned();
    [first, second]
}

async fn go(brewer: &Brewer, address: &str, until: &str) {
    brewer.value(&format!("location.hash = {}", json!(address))).await;
    brewer.until(&format!("document.querySelector({})", json!(until))).await;
    // The focus and the title follow with the next frame.
    brewer.value("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))").await;
}

async fn walks_the_book(found: &mut Found, brewer: &Brewer) {
    found.state(brewer, "welcome").await;
    brewer.value("dispatchEvent(new Event('beforeinstallprompt'))").await;
    brewer.until("document.querySelector('[data-test=install]')").await;
    found.state(brewer, "invited to install").await;

    for envelope in two_finished() {
        put_batch(brewer, &envelope).await;
    }
    for n in 0..32 {
        put(
            brewer,
            &format!("tartwright.batch.n{n}"),
            &record(&format!("n{n}"), &format!("Batch number {n}")),
        )
        .await;
    }
    put(
        brewer,
        "tartwright.batch.torn",
        &record("torn", "Torn").replace("\"revision\":1", "\"revision\":\"one\""),
    )
    .await;
    put(
        brewer,
        "tartwright.batch.new",
        &record("new", "From years to come").replace("\"schema\":1", "\"schema\":999"),
    )
    .await;
    brewer.reload().await;
    brewer.tap("[data-test=batch]:nth-child(2) .menu summary").await;
    brewer
        .value(
            "document.querySelectorAll('[data-test=unreadable] details').forEach((fold) => fold.open = true)",
        )
        .await;
    found.state(brewer, "book").await;
    brewer.write("input[name=find]", "no such words").await;
    brewer.until_says("[data-test=found]", "0 of").await;
    found.state(brewer, "nothing found").await;
    brewer.write("input[name=find]", "plum").await;
    brewer.tap("[data-test=compare]").await;
    brewer.tap("[data-test=batch]:nth-child(1) .toggle").await;
    brewer.tap("[data-test=batch]:nth-child(2) .toggle").await;
    found.state(brewer, "ticking what to compare").await;
    brewer.tap("[data-test=compare-now]").await;
    brewer.tap("[data-test=all-rows]").await;
    found.state(brewer, "side by side").await;
    go(brewer, "#/trends", "figure").await;
    brewer.value("document.querySelectorAll('details').forEach((fold) => fold.open = true)").await;
    found.state(brewer, "trends").await;

    go(brewer, "#/", "[data-test=batch]").await;
    brewer.tap("[data-test=batch]:nth-child(2) .menu summary").await;
    brewer.tap("[data-test=batch]:nth-child(2) [data-test=delete]").await;
    brewer.tap("[data-test=deleted] summary").await;
    found.state(brewer, "deleted, with the way back").await;
    brewer.close_message().await;
    for (id, screen) in [("torn", "a text that cannot be read"), ("new", "a batch of years to come")] {
        go(brewer, &format!("#/b/{id}"), "main > .banner.stop").await;
        found.state(brewer, screen).await;
    }
}

async fn walks_the_settings(found: &mut Found, brewer: &Brewer) {
    go(brewer, "#/more", "[data-test=keepsake]").await;
    found.state(brewer, "settings").await;
    brewer
        .value(
            "(document.querySelectorAll('details').forEach((fold) => fold.open = true), \
             document.querySelectorAll('[data-house] .line').forEach((line) => line.click()))",
        )
        .await;
    brewer.tap("[data-house]:nth-child(1) [data-test=freeze]").await;
    brewer.tap("[data-test=export]").await;
    let coming = batch::keep::write(&two_finished(), batch::moment::Moment::default()).unwrap();
    brewer.pastes_a_keepsake(&coming).await;
    brewer.until("document.querySelector('[data-test=import-preview]')").await;
    found.state(brewer, "settings with all of it open").await;
    brewer.pastes_a_keepsake("no keepsake").await;
    brewer.until("document.querySelector('[data-test=import-refused]')").await;
    found.state(brewer, "a keepsake that is refused").await;
    brewer.close_message().await;
    go(brewer, "#/words", "[data-test=words]").await;
    found.state(brewer, "words").await;
}

async fn walks_a_batch(found: &mut Found, brewer: &Brewer) {
    go(brewer, "#/", "[data-test=new-batch]").await;
    brewer.begins().await;
    found.state(brewer, "new batch").await;
    brewer.fill("aim", "batch_volume_l", "-5").await;
    brewer.until_says("[data-stage=aim] .wrong .note", "is out of range").await;
    found.state(brewer, "an entry in error").await;
    brewer.fill("aim", "batch_volume_l", "20").await;
    brewer.fold_all_stages().await;
    brewer.tap(".timers summary").await;
    for (name, minutes) in [("Mash", "60"), ("Foam", "0.02")] {
        brewer.write("input[name=timer_name]", name).await;
        brewer.write("input[name=timer_min]", minutes).await;
        brewer.tap("[data-test=start-own]").await;
        brewer.until_says(".timer strong", name).await;
    }
    brewer.until("document.querySelector('.timer.rung')").await;
    found.state(brewer, "one timer runs, one rang").await;
    brewer.until_saved().await;
    go(brewer, "#/", "[data-test=rings]").await;
    found.state(brewer, "a timer rang elsewhere").await;

    brewer.opens_the_example().await;
    found.state(brewer, "example, folded").await;
    brewer.tap("[data-test=quick]").await;
    found.state(brewer, "the quick note").await;
    brewer.tap("[data-test=quick-all]").await;
    brewer.tap(".quick .choice[data-test=sour_ph]").await;
    brewer.until("document.querySelector('.quick .form')").await;
    found.state(brewer, "the quick note's form").await;
    brewer.tap("[data-test=quick-close]").await;
    brewer.tap("[data-test=whole-day]").await;
    brewer.tap("[data-test=day] li:nth-child(3) > .line").await;
    brewer.tap("[data-test=done-earlier]").await;
    found.state(brewer, "the whole day, a step done earlier").await;
    brewer.tap("[data-test=whole-day]").await;

    // A doubtful reading, with what was probably meant.
    brewer.open_stage("main_boil").await;
    let form = "[data-stage=main_boil] [data-reading=original_gravity_plato]";
    brewer.tap(&format!("{form} [data-test=add-reading]")).await;
    brewer.write(&format!("{form} input"), "1045").await;
    brewer.until(&format!("document.querySelector('{form} [data-test=take]')")).await;
    found.state(brewer, "a slip of the hand, with what was meant").await;
    brewer.tap(&format!("{form} [data-test=take]")).await;
    brewer.write(&format!("{form} input"), "28").await;
    brewer.tap(&format!("{form} [data-test=save-reading]")).await;
    brewer.until("document.querySelector('.toast p')").await;
    found.state(brewer, "a doubtful reading").await;
    brewer.close_message().await;
    brewer.fold_all_stages().await;

    brewer.tap("[data-test=add-tasting]").await;
    brewer.tap("[data-scale=sourness] .marks button:nth-child(2)").await;
    found.state(brewer, "tasting").await;
    brewer.open_everything().await;
    brewer
        .value("document.querySelectorAll('.ledger .line, .day .line').forEach((line) => line.click())")
        .await;
    found.state_of(brewer, "example with everything open", false).await;
}

async fn walks_the_ways_out(found: &mut Found, brewer: &Brewer) {
    let finished = &two_finished()[1];
    go(brewer, "#/b/twin", "[data-test=next-move]").await;
    found.state(brewer, "finished batch").await;
    for (how, width, height) in [("at a desk", 1280, 900), ("on its side", 844, 390)] {
        be(brewer, width, height).await;
        found.state_of(brewer, &format!("finished batch {how}"), false).await;
    }
    be(brewer, 390, 844).await;
    brewer.open_all_stages().await;
    found.state_of(brewer, "finished batch, all stages open", false).await;
    go(brewer, "#/out/twin", "[data-test=qr]").await;
    found.state(brewer, "print, share, link").await;
    go(brewer, "#/again/twin/0", "[data-test=change]").await;
    found.state(brewer, "brew again").await;
    let text = link::write(finished, link::Part::Whole).unwrap();
    go(brewer, &format!("#/open/{text}"), "[data-test=import-preview]").await;
    found.state(brewer, "a batch in a link").await;
    go(brewer, &format!("#/open/{}", &text[..text.len() - 9]), "[data-test=import-refused]").await;
    found.state(brewer, "a broken link").await;
}

async fn walks_into_trouble(found: &mut Found, brewer: &Brewer) {
    go(brewer, "#/", "[data-test=new-batch]").await;
    brewer.begins().await;
    brewer.until_saved().await;
    let address = brewer.current_url().await.unwrap();
    let first = brewer.window().await.unwrap();
    let second = brewer.new_tab().await.unwrap();
    brewer.switch_to_window(second).await.unwrap();
    brewer.open(address.as_str()).await;
    brewer.fill("aim", "wanted_gravity_plato", "12.5").await;
    brewer.until_saved().await;
    brewer.close_window().await.unwrap();
    brewer.switch_to_window(first).await.unwrap();
    brewer.until_says("[data-test=not-saved]", "was changed in another tab").await;
    found.state(brewer, "changed in another tab").await;
    brewer.tap("[data-test=load-theirs]").await;

    brewer
        .value(
            "(() => { for (let size = 1 << 22, n = 0; size >= 1; size >>= 1) {
                try { for (;;) localStorage.setItem(`filler${n++}`, 'x'.repeat(size)); } catch {}
            } })()",
        )
        .await;
    brewer.write("input.name", "A name that is longer than what is left of the store").await;
    brewer.value("document.activeElement.blur()").await;
    brewer.until_says("[data-test=not-saved]", "is full").await;
    found.state(brewer, "the store is full").await;
    brewer
        .value("Object.keys(localStorage).filter((key) => key.startsWith('filler')).forEach((key) => localStorage.removeItem(key))")
        .await;
}

/// The page before the app is there, for someone whose browser cannot start it.
async fn fails_to_start(found: &mut Found, brewer: &Brewer) {
    let source = "Object.defineProperty(globalThis, 'WebAssembly', { value: undefined })";
    brewer.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": source })).await;
    brewer.goto(&format!("{}?other", brewer.url())).await.unwrap();
    brewer.until("document.querySelector('.shell-stopped')").await;
    found.state(brewer, "the app does not start").await;
}

async fn walks(found: &mut Found, brewer: &Brewer) {
    walks_the_book(found, brewer).await;
    walks_the_settings(found, brewer).await;
    walks_a_batch(found, brewer).await;
    walks_the_ways_out(found, brewer).await;
    walks_into_trouble(found, brewer).await;
    fails_to_start(found, brewer).await;
}

#[tokio::test]
async fn every_state_of_every_screen_is_for_everyone() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let mut found = Found::default();
    walks(&mut found, &brewer).await;
    match env::var_os("TARTWRIGHT_MEASURES") {
        Some(file) => fs::write(file, found.rows()).unwrap(),
        None => println!("{}left open by axe, reckoned here: {}", found.rows(), found.open),
    }
    assert!(
        found.violations.is_empty(),
        "{} found:\n{}",
        found.violations.len(),
        found.violations.join("\n")
    );
}

// Letters twice as large, narrow screens, a phone on its side.

/// Ways of making room scarce: how, and how to take it back.
const SCARCE: [(&str, &str, &str); 2] = [
    (
        "letters twice as large",
        "(document.documentElement.style.fontSize = '200%')",
        "(document.documentElement.style.fontSize = '')",
    ),
    (
        "letters and lines set apart",
        "(() => {
            const apart = new CSSStyleSheet();
            apart.replaceSync('* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important } p { margin-bottom: 2em !important }');
            document.adoptedStyleSheets.push(apart);
        })()",
        "void document.adoptedStyleSheets.pop()",
    ),
];

async fn be(brewer: &Brewer, width: u32, height: u32) {
    // As at a desk: a phone would zoom out of what is too wide, and hide it.
    let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
    brewer.cdp("Emulation.setDeviceMetricsOverride", metrics).await;
    brewer.until(&format!("innerWidth === {width} && innerHeight === {height}")).await;
}

async fn holds(found: &mut Vec<String>, brewer: &Brewer, screen: &str) {
    equip(brewer).await;
    let mut note = |how: &str, spoilt: &Value| {
        found.extend(lines(spoilt).map(|line| format!("{screen}, {how}: {line}")));
    };
    for (how, make, unmake) in SCARCE {
        brewer.value(make).await;
        note(how, &brewer.value("people.spoilt()").await);
        brewer.value(unmake).await;
    }
    // 320 is a desk's window at 400 %; 195 is this phone at 200 %.
    for width in [320, 195] {
        be(brewer, width, 844).await;
        note(&format!("{width} px wide"), &brewer.value("people.spoilt()").await);
    }
    be(brewer, 844, 390).await;
    note("on its side", &brewer.value("people.spoilt()").await);
    let standing = brewer.value("people.standing()").await.as_f64().unwrap();
    if standing > 0.4 {
        note("on its side", &json!([format!("{standing:.2} of the screen stands still")]));
    }
    be(brewer, 390, 844).await;
}

/// Starts a timer that rings at once.
async fn rings(brewer: &Brewer) {
    brewer.tap(".timers summary").await;
    brewer.write("input[name=timer_name]", "Mash").await;
    brewer.write("input[name=timer_min]", "0.02").await;
    brewer.tap("[data-test=start-own]").await;
    brewer.until("document.querySelector('.timer.rung')").await;
}

/// Opens every fold of the settings, and what is behind every house number.
async fn open_the_settings(brewer: &Brewer) {
    go(brewer, "#/more", "[data-test=keepsake]").await;
    brewer
        .value(
            "(document.querySelectorAll('details').forEach((fold) => fold.open = true), \
             document.querySelectorAll('[data-house] .line').forEach((line) => line.click()))",
        )
        .await;
}

/// A book of two batches, ticked to be compared.
async fn fill_the_book(brewer: &Brewer) {
    for envelope in two_finished() {
        put_batch(brewer, &envelope).await;
    }
    put(brewer, "tartwright.batch.torn", "torn").await;
    brewer.reload().await;
    brewer.tap("[data-test=batch]:nth-child(1) .menu summary").await;
    brewer.tap("[data-test=compare]").await;
}

#[tokio::test]
async fn large_letters_and_narrow_screens_cut_and_cover_nothing() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let mut found = Vec::new();
    holds(&mut found, &brewer, "welcome").await;
    fill_the_book(&brewer).await;
    holds(&mut found, &brewer, "book").await;
    go(&brewer, "#/compare/twin,x,twin", ".sides").await;
    holds(&mut found, &brewer, "side by side").await;
    go(&brewer, "#/trends", "figure").await;
    holds(&mut found, &brewer, "trends").await;
    go(&brewer, "#/out/twin", "[data-test=qr]").await;
    holds(&mut found, &brewer, "print, share, link").await;
    go(&brewer, "#/again/twin/0", "[data-test=change]").await;
    holds(&mut found, &brewer, "brew again").await;
    open_the_settings(&brewer).await;
    holds(&mut found, &brewer, "settings").await;

    go(&brewer, "#/", "[data-test=demo]").await;
    brewer.opens_the_example().await;
    be(&brewer, 844, 390).await;
    brewer.value("scrollTo(0, 0)").await;
    let read = "document.querySelector('.next .says').getBoundingClientRect().bottom < document.querySelector('.quick').getBoundingClientRect().top";
    assert_eq!(brewer.value(read).await, json!(true), "on its side the next move is read at once");
    be(&brewer, 390, 844).await;
    rings(&brewer).await;
    brewer.done("Salts are in the water").await;
    holds(&mut found, &brewer, "a timer rang, a step was ticked").await;
    brewer.open_everything().await;
    holds(&mut found, &brewer, "everything open").await;
    assert!(found.is_empty(), "{} found:\n{}", found.len(), found.join("\n"));
}

// By keyboard and by ear.

/// Presses Tab from the top to the end, and says what is out of order, unseen or not marked.
async fn tabs_through(found: &mut Vec<String>, brewer: &Brewer, screen: &str) -> usize {
    equip(brewer).await;
    // From the very top: otherwise Tab goes on from what was tapped last.
    brewer.value("(document.body.tabIndex = -1, document.body.focus(), scrollTo(0, 0))").await;
    let mut seen: Vec<Value> = Vec::new();
    loop {
        let key = json!({ "type": "rawKeyDown", "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9 });
        brewer.cdp("Input.dispatchKeyEvent", key).await;
        let at = brewer.value("people.focused()").await;
        if at.is_null() || seen.first().is_some_and(|first| first["number"] == at["number"]) {
            break;
        }
        // Day, month and year of a date are stops of their own within one field.
        if seen.last().is_some_and(|last| last["number"] == at["number"]) {
            continue;
        }
        let number = |of: &Value, what: &str| of[what].as_f64().unwrap();
        let what = at["what"].as_str().unwrap();
        let mut note = |problem: &str| found.push(format!("{screen}: {problem}: {what}"));
        if at["bare"] != json!(true) {
            note("focused, but nowhere to be seen");
        }
        if number(&at, "line") < 2.0 || number(&at, "contrast") < 3.0 {
            note(&format!("the focus is not marked, {:.2} : 1", number(&at, "contrast")));
        }
        let before =
            seen.last().filter(|before| before["stays"] == json!(false) && at["stays"] == json!(false));
        if let Some(before) = before {
            let middle = number(&at, "top") + number(&at, "high") / 2.0;
            let same_line = (number(&at, "top") - number(before, "top")).abs() < 4.0;
            if middle < number(before, "top") || (same_line && number(&at, "left") < number(before, "left")) {
                note(&format!("comes after {}", before["what"]));
            }
        }
        seen.push(at);
    }
    seen.len()
}

#[tokio::test]
async fn the_focus_goes_down_every_screen_and_is_always_seen() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    let mut found = Vec::new();
    assert!(tabs_through(&mut found, &brewer, "welcome").await >= 3);
    fill_the_book(&brewer).await;
    tabs_through(&mut found, &brewer, "book").await;
    go(&brewer, "#/compare/twin,x,twin", ".sides").await;
    tabs_through(&mut found, &brewer, "side by side").await;
    go(&brewer, "#/out/twin", "[data-test=qr]").await;
    tabs_through(&mut found, &brewer, "print, share, link").await;
    open_the_settings(&brewer).await;
    tabs_through(&mut found, &brewer, "settings").await;
    go(&brewer, "#/", "[data-test=demo]").await;
    brewer.opens_the_example().await;
    rings(&brewer).await;
    brewer.done("Salts are in the water").await;
    brewer.open_stage("mash").await;
    brewer.open_stage("souring").await;
    let count = tabs_through(&mut found, &brewer, "a timer rang, a step was ticked, two stages open").await;
    assert!(count > 60, "only {count} stops");
    brewer.fold_all_stages().await;
    for theme in ["dark", "sun"] {
        wear(&brewer, theme).await;
        tabs_through(&mut found, &brewer, theme).await;
    }
    wear(&brewer, "device").await;
    be(&brewer, 1280, 900).await;
    brewer.open_stage("mash").await;
    tabs_through(&mut found, &brewer, "at a desk").await;
    assert!(found.is_empty(), "{} found:\n{}", found.len(), found.join("\n"));
}

/// What a screen reader is given, in its order: role, name and what else is said of it.
async fn read_out(brewer: &Brewer) -> Vec<(String, String, Value)> {
    let tree = brewer.cdp("Accessibility.getFullAXTree", json!({})).await;
    let nodes = tree["nodes"].as_array().unwrap();
    let by_id = |id: &Value| nodes.iter().find(|node| node["nodeId"] == *id);
    let mut waiting = vec![&nodes[0]];
    let mut read = Vec::new();
    while let Some(node) = waiting.pop() {
        if node["ignored"] != json!(true) {
            let text = |of: &str| node[of]["value"].as_str().unwrap_or_default().to_owned();
            let more = node["properties"].as_array().into_iter().flatten();
            let more = more.map(|p| (p["name"].as_str().unwrap().to_owned(), p["value"]["value"].clone()));
            read.push((text("role"), text("name"), more.collect::<serde_json::Map<_, _>>().into()));
        }
        let below = node["childIds"].as_array().into_iter().flatten().filter_map(by_id);
        waiting.extend(below.collect::<Vec<_>>().into_iter().rev());
    }
    read
}

#[tokio::test]
async fn a_screen_reader_hears_the_next_move_first_and_then_the_day_in_order() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.until("document.title === 'Cherry and apricot · Tartwright'").await;
    brewer.write("input.name", "Cherries").await;
    brewer.value("document.activeElement.blur()").await;
    brewer.until("document.title === 'Cherries · Tartwright'").await;
    brewer.fill("aim", "batch_volume_l", "-5").await;
    brewer.until("document.querySelector('.wrong .note')").await;
    brewer.until_saved().await;

    let read = read_out(&brewer).await;
    let headings = read.iter().filter(|(role, ..)| role == "heading");
    let headings: Vec<&str> = headings.map(|(_, name, _)| name.as_str()).collect();
    let place = |role: &str, name: &str| {
        let found = read.iter().position(|(its, called, _)| its == role && called.starts_with(name));
        found.unwrap_or_else(|| panic!("no {role} “{name}” among {headings:?}"))
    };
    assert_eq!((read[0].0.as_str(), read[0].1.as_str()), ("RootWebArea", "Cherries · Tartwright"));
    assert_eq!(headings[..4], ["Cherries", "Next move", "The day", "Timers"]);
    let order = [
        place("banner", ""),
        place("main", ""),
        place("heading", "Cherries"),
        place("textbox", "Name of the batch"),
        place("region", "Next move"),
        place("button", "Salts are in the water"),
        place("region", "The day"),
        place("region", "Timers"),
        place("region", "Warnings"),
        place("button", "Aim"),
        place("button", "Package"),
        place("button", "Note a reading"),
    ];
    assert!(order.is_sorted(), "{order:?}");

    // Each control has a name; folds say whether they are open, and what is wrong is said with its field.
    for (role, name, more) in &read {
        if more["focusable"] == json!(true) && !["RootWebArea", "main"].contains(&role.as_str()) {
            assert!(!name.trim().is_empty(), "a {role} without a name: {more}");
        }
    }
    assert_eq!(read[place("button", "Aim")].2["expanded"], json!(true));
    assert_eq!(read[place("button", "Package")].2["expanded"], json!(false));
    let wrong = read.iter().find(|(role, _, more)| role == "textbox" && more["invalid"] == json!("true"));
    assert!(wrong.is_some(), "the field is wrong to the ear too");
    assert!(read.iter().any(|(role, ..)| role == "alert"), "and that is said at once");

    // What changes by itself is said in a pause; what rings is said at once, and stands before the next move.
    let polite =
        read.iter().filter(|(role, _, more)| role == "status" && more["live"] == json!("polite")).count();
    assert!(polite >= 2, "messages, and whether all is saved");
    rings(&brewer).await;
    let read = read_out(&brewer).await;
    let rang =
        read.iter().position(|(role, name, _)| role == "StaticText" && name.contains(" rang")).unwrap();
    let next = read.iter().position(|(role, name, _)| role == "region" && name == "Next move").unwrap();
    let alert = read[..rang].iter().rposition(|(role, ..)| role == "alert").unwrap();
    assert!(rang - alert < 4 && rang < next, "{alert} {rang} {next}");

    // Every screen has a name of its own.
    let mut titles = vec![brewer.title().await.unwrap()];
    let id = brewer.current_url().await.unwrap().fragment().unwrap().replace("/b/", "");
    let again = format!("#/again/{id}");
    for address in ["#/", "#/more", "#/words", "#/trends", "#/compare/x", "#/b/x", "#/open/x", &again] {
        go(&brewer, address, "main").await;
        titles.push(brewer.title().await.unwrap());
    }
    let count = titles.len();
    titles.sort();
    titles.dedup();
    assert_eq!(titles.len(), count, "{titles:?}");
}

#[tokio::test]
async fn a_tap_that_takes_its_button_away_leaves_the_focus_beside_it() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    for envelope in two_finished() {
        put_batch(&brewer, &envelope).await;
    }
    brewer.reload().await;
    let lost = std::cell::RefCell::new(Vec::new());
    let tapped = async |css: &str, gone: bool| {
        brewer.show(css).await;
        brewer.value(&format!("(globalThis.testTapped = document.querySelector({}), 0)", json!(css))).await;
        brewer.tap(css).await;
        if gone {
            brewer.until("!testTapped.isConnected").await;
        }
        brewer
            .value("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 150))))")
            .await;
        if brewer.value("document.activeElement === document.body").await == json!(true) {
            lost.borrow_mut().push(css.to_owned());
        }
    };
    tapped("[data-test=batch]:nth-child(2) .menu summary", false).await;
    tapped("[data-test=batch]:nth-child(2) [data-test=delete]", true).await;
    tapped(".toast [aria-label='Close this message']", true).await;
    tapped("[data-test=deleted] summary", false).await;
    tapped("[data-test=restore]", true).await;
    brewer.opens_the_example().await;
    tapped("[data-test=done]", false).await;
    tapped(".toast button", true).await;
    tapped("[data-test=whole-day]", false).await;
    tapped("[data-test=day] li:nth-child(2) > .line", false).await;
    tapped("[data-test=done-earlier]", false).await;
    tapped("[data-test=save-done-at]", true).await;
    brewer.open_stage("grist").await;
    tapped("[data-stage=grist] .help button", true).await;
    tapped("[data-stage=grist] [data-item=malt]:nth-child(2) [data-test=remove]", false).await;
    brewer.open_stage("mash").await;
    let form = "[data-stage=mash] [data-reading=mash_ph]";
    tapped(&format!("{form} [data-test=add-reading]"), true).await;
    tapped(&format!("{form} .form > button.quiet"), true).await;
    brewer.write(&format!("{form} input[name='reading.mash_ph']"), "5.4").await;
    tapped(&format!("{form} [data-test=save-reading]"), true).await;
    tapped(&format!("{form} .line"), false).await;
    tapped(&format!("{form} [data-test=delete-reading]"), true).await;
    tapped("[data-test=quick]", true).await;
    tapped("[data-test=quick-all]", true).await;
    tapped("[data-test=quick-close]", true).await;
    tapped("[data-test=add-tasting]", false).await;
    tapped("[data-test=delete-tasting]", true).await;
    brewer.until_saved().await;
    go(&brewer, "#/again/twin/0", "[data-test=change]").await;
    tapped("[data-test=take]", true).await;
    go(&brewer, "#/more", "[data-test=keepsake]").await;
    let text = batch::keep::write(&two_finished(), batch::moment::Moment::default()).unwrap();
    brewer.pastes_a_keepsake(&text).await;
    tapped("[data-test=import-leave]", true).await;
    assert!(lost.borrow().is_empty(), "{lost:#?}");
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn wishes_of_the_device_are_heard() {
    let host = host();
    let brewer = Brewer::arrives(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.tap("[data-test=add-tasting]").await;
    brewer.tap("[data-scale=sourness] .marks button:nth-child(2)").await;
    brewer.open_stage("mash").await;
    brewer.open_stage("souring").await;
    equip(&brewer).await;
    let wish = async |name: &str, value: &str| {
        let features = json!({ "features": [{ "name": name, "value": value }] });
        brewer.cdp("Emulation.setEmulatedMedia", features).await;
    };
    wish("prefers-reduced-motion", "no-preference").await;
    assert_ne!(brewer.value("people.moving()").await, json!([]), "who asked for no stillness sees it roll");
    wish("prefers-reduced-motion", "reduce").await;
    assert_eq!(brewer.value("people.moving()").await, json!([]));

    let lowest = async || brewer.value("people.texts()").await["lowest"].as_f64().unwrap();
    let edge = "getComputedStyle(document.querySelector('.stage')).borderBottomColor";
    let (before, hairline) = (lowest().await, brewer.value(edge).await);
    wish("prefers-contrast", "more").await;
    assert!(lowest().await >= before);
    assert_ne!(brewer.value(edge).await, hairline, "hairlines stand out");

    // With the device's own colours: words and pictures in them, and what is chosen is still told from what is not.
    wish("forced-colors", "active").await;
    let looks = brewer.value("people.texts()").await;
    assert!(looks["lowest"].as_f64().unwrap() >= 7.0, "{looks:#}");
    let told = "(() => {
        const line = (css) => getComputedStyle(document.querySelector(css)).textDecorationLine;
        return [line('.marks [aria-pressed=true]'), line('.marks [aria-pressed=false]')];
    })()";
    assert_eq!(brewer.value(told).await, json!(["underline", "none"]));
}
