//! Names and notes that nobody meant well with: typed, in a link, in a keepsake, in the store. On every screen they
//! are text and nothing else, and the page's own policy would stop what they ask for.

use crate::page::{Brewer, host};
use batch::document::{Hop, Malt, MaltNumbers, Slot, Tasting, Timer, Water, WaterField};
use batch::keep::{Envelope, link, stored_text, write};
use batch::moment::Moment;
use batch::testing::finished_batch;
use calc::brew::water::Finish;
use calc::data::malts::MaltClass;
use calc::quantity::Amount;
use serde_json::{Value, json};
use std::io::Read as _;
use std::net::TcpListener;
use std::time::Duration;

/// What would run, load or break out, were it not shown as text.
const PAYLOADS: [&str; 13] = [
    "<img src=x onerror=globalThis.ran=1>",
    "<script>globalThis.ran=2</script>",
    "\"><svg onload=globalThis.ran=3>",
    "'><iframe srcdoc='<script>parent.ran=4</script>'></iframe>",
    "javascript:globalThis.ran=5",
    "&lt;b&gt;&amp;&#60;i&#62;",
    "</textarea><style>*{display:none}</style>",
    "${globalThis.ran=6}{{globalThis.ran=7}}",
    "=HYPERLINK(\"http://127.0.0.1:9/\",\"x\")",
    "\u{202e}txet\u{202c}\u{200b}\u{200d}\u{feff}",
    "😀👩‍👩‍👧e\u{301}\u{1f3f4}",
    "\u{1}\u{b}\u{7f}\\u003cimg src=x\\u003e",
    // No markup, but a word that no screen is wide enough for.
    "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
];

/// Records, from before the app starts, what scripts ran, what was put on the page that no screen has, and what
/// the policy refused.
const WATCH: &str = "
    globalThis.ran = 0;
    globalThis.strange = [];
    globalThis.refused = [];
    addEventListener('securitypolicyviolation', (event) => refused.push(event.effectiveDirective));
    const odd = 'img, iframe, object, embed, audio, video, base, form[action], [formaction], math, template, foreignObject, animate, use, i, style, body script, body link, body meta';
    const look = (node) => {
        if (node.nodeType !== 1) return;
        for (const element of [node, ...node.querySelectorAll('*')]) {
            const on = [...element.attributes].filter(({ name, value }) =>
                /^on|^srcdoc$|^style$/i.test(name) || /^\\s*(javascript|data|vbscript):/i.test(value) && /^(href|src|action|xlink:href)$/i.test(name));
            if (element.matches(odd) || on.length > 0) strange.push(element.outerHTML.slice(0, 120));
        }
    };
    new MutationObserver((changes) => changes.forEach((change) => {
        change.addedNodes.forEach(look);
        if (change.type === 'attributes' && change.target.nodeType === 1) look(change.target.cloneNode(false));
    })).observe(document, { subtree: true, childList: true, attributes: true });
";

/// A visitor on whose pages everything strange is recorded.
async fn watched(url: &str) -> Brewer {
    let brewer = Brewer::arrives(url).await;
    brewer.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": WATCH })).await;
    brewer.reload().await;
    brewer
}

/// Nothing of what is on the page came from a name or a note.
async fn assert_only_text(brewer: &Brewer, screen: &str) {
    let found = brewer.value("[globalThis.ran, globalThis.strange, globalThis.refused]").await;
    assert_eq!(found, json!([0, [], []]), "{screen}");
    // A page wider than the phone moves what a thumb aims at.
    let wide = "document.documentElement.scrollWidth > document.documentElement.clientWidth";
    let sticking = "[...document.querySelectorAll('body *')].filter((element) => \
        element.getBoundingClientRect().right > innerWidth || element.scrollWidth > element.clientWidth + 1 && \
        getComputedStyle(element).overflowX === 'visible').map((element) => element.outerHTML.slice(0, 160))";
    assert_eq!(
        brewer.value(wide).await,
        json!(false),
        "{screen} rolls to the side: {}",
        brewer.value(sticking).await
    );
}

/// A batch brewed to its end, with these words wherever a person can put words.
fn batch_of(id: &str, words: &str) -> Envelope {
    let mut envelope = finished_batch();
    let batch = &mut envelope.data;
    let text = || words.to_owned();
    batch.id = id.to_owned();
    batch.name = text();
    batch.notes = text();
    batch.from = text();
    batch.waters =
        vec![Water { name: text(), ..batch.waters[0].clone() }, Water { name: text(), ..Water::default() }];
    batch.own_finish.name = text();
    let low = Amount::in_base(WaterField::Calcium.spec().dimension, 50.0);
    Slot::Finish(WaterField::Calcium).set(batch, Some(low)).unwrap();
    batch.choices.finish = Finish::ALL[0];
    batch.grist.push(Malt { class: MaltClass::ALL[0], name: text(), numbers: MaltNumbers::default() });
    batch.grist.iter_mut().for_each(|malt| malt.name = text());
    batch.hops.iter_mut().for_each(|hop| hop.name = text());
    batch.hops.push(Hop { name: text(), ..Hop::default() });
    batch.fruit.iter_mut().for_each(|fruit| fruit.name = text());
    let readings: Vec<_> = batch.readings.iter().cloned().collect();
    for (place, mut reading) in readings.into_iter().enumerate() {
        reading.note = text();
        batch.readings.replace(place, reading);
    }
    let far = Moment::from_seconds(4_000_000_000);
    batch.timers = vec![
        Timer { name: text(), from: batch.begun, until: batch.begun, heard: true },
        Timer { name: text(), from: far, until: far, heard: false },
    ];
    batch.tastings = vec![Tasting { at: batch.begun, note: text(), ..Tasting::default() }];
    envelope
}

/// The payloads two by two; what counts only at the beginning stands there.
fn pairs() -> Vec<String> {
    PAYLOADS.chunks(2).map(|pair| pair.join(" ")).collect()
}

/// One batch for each pair of payloads, and one with all of them, as long as a field may be.
fn book() -> Vec<Envelope> {
    let single = pairs().into_iter().enumerate().map(|(place, words)| batch_of(&format!("p{place}"), &words));
    let all: String = PAYLOADS.concat().chars().cycle().take(4_000).collect();
    let mut book: Vec<Envelope> = single.collect();
    // Sixty readings with the longest of notes are no longer a batch that a browser's store takes by the dozen.
    let mut long = batch_of("long", PAYLOADS[0]);
    (long.data.notes, long.data.name) = (all.clone(), all);
    book.push(long);
    book
}

async fn store(brewer: &Brewer, key: &str, text: &str) {
    brewer.value(&format!("localStorage.setItem({}, {})", json!(key), json!(text))).await;
}

async fn go(brewer: &Brewer, address: &str) {
    brewer.value(&format!("location.hash = {}", json!(address))).await;
    // The screen is drawn in the turn after the address changed.
    brewer.value("new Promise((done) => setTimeout(done, 100))").await;
}

/// The words as a screen shows them: all their letters, however the lines are broken.
fn shown(within: &str, words: &str) -> String {
    format!(
        "(() => {{
            const bare = (text) => text.replace(/[\\s\\u0000-\\u001f]+/g, '');
            const seen = document.querySelector({})?.textContent ?? '';
            const held = [...document.querySelectorAll('input, textarea')].map((field) => field.value);
            return [seen, ...held].some((text) => bare(text).includes(bare({})));
        }})()",
        json!(within),
        json!(words)
    )
}

/// Opens every fold that is on the screen, and those that come out of them.
async fn unfold(brewer: &Brewer) {
    brewer
        .value(
            "(async () => {
                for (let folds; (folds = document.querySelectorAll('details:not([open])')).length > 0;) {
                    folds.forEach((fold) => fold.open = true);
                    await new Promise((done) => setTimeout(done, 50));
                }
            })()",
        )
        .await;
}

/// Every screen of these batches.
async fn walk(brewer: &Brewer, ids: &[String], words: &[String]) {
    for (id, words) in ids.iter().zip(words) {
        go(brewer, &format!("#/b/{id}")).await;
        // Which stages are open is remembered from batch to batch; here each begins with none.
        brewer.reload().await;
        brewer.until("document.querySelector('[data-test=next-move]')").await;
        brewer.open_everything().await;
        brewer.until(&shown("main", words)).await;
        assert_only_text(brewer, &format!("the batch {words}")).await;
        go(brewer, &format!("#/out/{id}")).await;
        brewer.until("document.querySelector('[data-test=sheet]')").await;
        brewer.until(&shown("[data-test=sheet]", words)).await;
        brewer.until("document.querySelector('[data-test=qr] svg path, [data-test=no-qr]')").await;
        assert_only_text(brewer, &format!("the ways out of {words}")).await;
        go(brewer, &format!("#/again/{id}")).await;
        brewer.until("document.querySelector('[data-test=begin-again]')").await;
        assert_only_text(brewer, &format!("brewing {words} again")).await;
    }
    if ids.len() > 1 {
        go(brewer, &format!("#/compare/{}", ids.join(","))).await;
        brewer.until("document.querySelector('.sides tr')").await;
        brewer.tap("[data-test=all-rows]").await;
        brewer.until(&shown(".sides", &words[0])).await;
        assert_only_text(brewer, "side by side").await;
    }
    for (address, there) in [
        ("#/trends", "main :is(figure svg, p)"),
        ("#/words", "[data-test=words]"),
        ("#/more", "[data-test=keepsake]"),
    ] {
        go(brewer, address).await;
        brewer.until(&format!("document.querySelector('{there}')")).await;
        unfold(brewer).await;
        assert_only_text(brewer, address).await;
    }
}

#[tokio::test]
async fn what_is_stored_is_text_on_every_screen() {
    let host = host();
    let brewer = watched(&host.url()).await;
    let book = book();
    for envelope in &book {
        store(&brewer, &format!("tartwright.batch.{}", envelope.data.id), &stored_text(envelope).unwrap())
            .await;
    }
    // Texts that cannot be read are shown too; and a key, and what another version wrote.
    for (place, words) in PAYLOADS.iter().enumerate() {
        let key = format!("tartwright.batch.torn{place}{words}");
        store(&brewer, &key, &format!("{{\"schema\":4,\"{words}")).await;
        let newer = json!({ "schema": 99, "data": { "id": format!("n{place}"), "name": words } });
        store(&brewer, &format!("tartwright.batch.n{place}"), &newer.to_string()).await;
        let unknown = json!({ "schema": 4, *words: 1, "data": { "id": words, "name": words } });
        store(&brewer, &format!("tartwright.batch.u{place}"), &unknown.to_string()).await;
    }
    // Half of a character, which no sound text has.
    brewer
        .value(
            "localStorage.setItem('tartwright.batch.half', JSON.stringify({ schema: 4, app: '', revision: 1, \
             saved_s: 1, data: { id: 'half', name: 'x' } }).replace('x', '\\ud800<img src=x onerror=ran=8>'))",
        )
        .await;
    brewer.reload().await;
    brewer
        .until(
            "document.querySelector('[data-test=batch]') && document.querySelector('[data-test=unreadable]')",
        )
        .await;
    while brewer.value("Boolean(document.querySelector('[data-test=show-more]'))").await == json!(true) {
        brewer.tap("[data-test=show-more]").await;
    }
    unfold(&brewer).await;
    for words in PAYLOADS {
        brewer.until(&shown("main", words)).await;
    }
    assert_only_text(&brewer, "the book").await;
    for words in PAYLOADS {
        brewer
            .value(&format!(
                "(() => {{ const find = document.querySelector('input[name=find]'); find.value = {};
                 find.dispatchEvent(new InputEvent('input', {{ bubbles: true }})); }})()",
                json!(words)
            ))
            .await;
        brewer.until("document.querySelector('[data-test=found]')").await;
        assert_only_text(&brewer, &format!("searching {words}")).await;
    }
    let ids: Vec<String> = book.iter().map(|envelope| envelope.data.id.clone()).collect();
    let mut words = pairs();
    words.push(PAYLOADS[0].to_owned());
    walk(&brewer, &ids, &words).await;
    brewer.cdp("Page.printToPDF", json!({})).await;
    assert_only_text(&brewer, "on paper").await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn what_comes_in_a_link_or_a_keepsake_is_text() {
    let host = host();
    let brewer = watched(&host.url()).await;
    for (place, words) in PAYLOADS.iter().enumerate() {
        let envelope = batch_of(&format!("l{place}"), words);
        go(&brewer, &format!("#/open/{}", link::write(&envelope, link::Part::Whole).unwrap())).await;
        brewer.until(&shown("[data-test=link-name]", words)).await;
        brewer.until("document.querySelector('[data-test=import-preview]')").await;
        assert_only_text(&brewer, &format!("a link with {words}")).await;
        // An address that is itself hostile.
        for address in ["#/open/", "#/b/", "#/out/", "#/again/", "#/compare/", "#/"] {
            go(&brewer, &format!("{address}{words}")).await;
            brewer.until("document.querySelector('main')").await;
            assert_only_text(&brewer, &format!("the address {address}{words}")).await;
        }
    }
    // A batch whose identity is markup, in a link and brought in.
    let odd = batch_of(PAYLOADS[2], "Odd");
    go(&brewer, &format!("#/open/{}", link::write(&odd, link::Part::Whole).unwrap())).await;
    brewer.tap("[data-test=import-confirm]").await;
    brewer.value("new Promise((done) => setTimeout(done, 300))").await;
    assert_only_text(&brewer, "an identity").await;

    go(&brewer, "#/more").await;
    let book = book();
    brewer.pastes_a_keepsake(&write(&book, Moment::default()).unwrap()).await;
    for words in PAYLOADS {
        brewer.until(&shown("[data-test=import-preview]", words)).await;
    }
    assert_only_text(&brewer, "what a keepsake holds").await;
    brewer.tap("[data-test=import-confirm]").await;
    brewer.until("!document.querySelector('[data-test=import-preview]')").await;
    // Refused, and damaged, with the words in the reason.
    for words in PAYLOADS {
        let damaged = json!({ "schema": 4, words: 1, "data": { "id": "d", "name": words } });
        let file = json!({ "tartwright_keepsake": 1, "batches": [damaged], "set_aside": [{ "key": words, "text": words }] });
        for text in [
            file.to_string(),
            json!({ "tartwright_keepsake": 1, "batches": [], words: 1 }).to_string(),
            words.to_owned(),
        ] {
            brewer.pastes_a_keepsake(&text).await;
            brewer
                .until("document.querySelector('[data-test=import-preview], [data-test=import-refused]')")
                .await;
            assert_only_text(&brewer, &format!("a keepsake with {words}")).await;
        }
    }
    let ids: Vec<String> = (0..3).map(|place| format!("p{place}")).collect();
    walk(&brewer, &ids, &pairs()[..3]).await;
    brewer.assert_quiet(brewer.url()).await;
}

#[tokio::test]
async fn what_is_typed_is_text_and_comes_back_as_it_was() {
    let host = host();
    let brewer = watched(&host.url()).await;
    brewer.opens_the_example().await;
    brewer.tap("[data-test=add-tasting]").await;
    brewer.open_everything().await;
    let all = PAYLOADS.concat();
    // Into every field for words, by the browser's own way of entering text.
    let css = "main :is(input[type=text], input:not([type]), textarea):not([inputmode=decimal], [readonly])";
    let fields =
        brewer.value(&format!("document.querySelectorAll({}).length", json!(css))).await.as_u64().unwrap();
    assert!(fields >= 10, "only {fields} fields for words");
    for place in 0..fields {
        let field = format!("document.querySelectorAll({})[{place}]", json!(css));
        let before = brewer.value(&format!("{field}.maxLength")).await;
        brewer.value(&format!("({field}.focus(), {field}.select())")).await;
        brewer.cdp("Input.insertText", json!({ "text": all })).await;
        let most = before.as_i64().filter(|most| *most > 0).unwrap_or(4_000) as usize;
        let held = brewer.value(&format!("{field}.value")).await;
        let held = held.as_str().unwrap();
        assert!(held.encode_utf16().count() <= most, "{held}");
        assert!(held.starts_with(PAYLOADS[0]), "{place}: {held}");
    }
    // A lone half of a character, and nothing at all.
    let name = "document.querySelector('input.name')";
    brewer
        .value(&format!(
            "({name}.value = '\\ud800\\0<img src=x onerror=ran=9>', {name}.dispatchEvent(new InputEvent('input', {{ bubbles: true }})))"
        ))
        .await;
    assert_only_text(&brewer, "half a character").await;
    brewer.value(&format!("({name}.focus(), {name}.select())")).await;
    brewer.cdp("Input.insertText", json!({ "text": PAYLOADS[0] })).await;
    brewer.until_saved().await;
    let address = brewer.current_url().await.unwrap();
    let id = address.fragment().unwrap().replace("/b/", "");
    brewer.reload().await;
    brewer.open_everything().await;
    assert_eq!(brewer.held("input.name").await, PAYLOADS[0]);
    brewer.until(&shown("main", PAYLOADS[1])).await;
    assert_only_text(&brewer, "read again").await;

    // A reading and a timer with such words.
    brewer.reload().await;
    brewer.open_stage("souring").await;
    let form = "[data-stage=souring] [data-reading=sour_ph]";
    brewer.tap(&format!("{form} [data-test=add-reading]")).await;
    brewer.write(&format!("{form} input[name='reading.sour_ph']"), "3.9").await;
    brewer.tap_words(form, "Earlier, temperature or note").await;
    brewer
        .value(&format!(
            "document.querySelector({}).focus()",
            json!(format!("{form} input[type=text]:not([inputmode=decimal])"))
        ))
        .await;
    brewer.cdp("Input.insertText", json!({ "text": PAYLOADS[8] })).await;
    brewer.tap(&format!("{form} [data-test=save-reading]")).await;
    brewer.until_says(".toast", "Reading saved").await;
    brewer.close_message().await;
    brewer.until_saved().await;
    walk(&brewer, std::slice::from_ref(&id), &[PAYLOADS[0].to_owned()]).await;

    // No spreadsheet takes the note for a formula.
    go(&brewer, &format!("#/out/{id}")).await;
    brewer
        .value(
            "(() => {
                const make = URL.createObjectURL.bind(URL);
                URL.createObjectURL = (file) => (file.text().then((text) => globalThis.saved = text), make(file));
            })()",
        )
        .await;
    brewer.tap("[data-test=save-table]").await;
    brewer.until("globalThis.saved").await;
    let table = brewer.value("globalThis.saved").await;
    let table = table.as_str().unwrap();
    assert!(table.contains(",\"'=HYPERLINK(\"\"http"), "{table}");
    assert_only_text(&brewer, "the table").await;
    brewer.assert_quiet(brewer.url()).await;
}

/// What the page asks its browser to refuse is refused: were a name to become markup after all, it would do nothing.
#[tokio::test]
async fn the_policy_refuses_every_way_in_and_out() {
    let host = host();
    // Nobody may ask for anything here.
    let elsewhere = TcpListener::bind("127.0.0.1:0").unwrap();
    elsewhere.set_nonblocking(true).unwrap();
    let brewer = watched(&host.url()).await;
    let policy =
        brewer.value("document.querySelector('meta[http-equiv=Content-Security-Policy]').content").await;
    let policy = policy.as_str().unwrap();
    assert_eq!(policy, xtask::policy::CONTENT_SECURITY_POLICY);
    let sources: Vec<&str> = policy.split([' ', ';']).collect();
    for refused in ["'unsafe-inline'", "'unsafe-eval'", "*", "data:", "blob:", "http:", "https:"] {
        assert!(!sources.contains(&refused), "{policy}");
    }
    let header =
        brewer.value("fetch('./').then((page) => page.headers.get('content-security-policy'))").await;
    assert!(header.as_str().unwrap().starts_with(policy), "{header}");

    let url = format!("http://{}/", elsewhere.local_addr().unwrap());
    let ws = url.replace("http:", "ws:");
    let add = |name: &str, set: &str| {
        format!(
            "(() => {{ const it = document.createElement('{name}'); {set}; document.body.append(it); }})()"
        )
    };
    // The remote control's own scripts may make programs of texts; the page's may not.
    let later = |script: &str| {
        format!(
            "new Promise((done) => setTimeout(() => {{ \
                 try {{ {script}; done('done'); }} catch (refused) {{ done(String(refused)); }} }}))"
        )
    };
    for (what, script, directive) in [
        ("an inline script", add("script", "it.append('globalThis.ran = 1')"), ""),
        (
            "a script from elsewhere",
            add("script", &format!("it.setAttribute('src', '{url}app.js')")),
            "script-src-elem",
        ),
        (
            "a handler",
            add("div", "it.setAttribute('onclick', 'globalThis.ran = 1'); setTimeout(() => it.click())"),
            "script-src-attr",
        ),
        (
            "markup from text",
            "document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=globalThis.ran=1>')"
                .to_owned(),
            "require-trusted-types-for",
        ),
        (
            "a drawing with a handler",
            "document.querySelector('main').innerHTML = '<svg onload=\"globalThis.ran=1\"></svg>'".to_owned(),
            "require-trusted-types-for",
        ),
        ("a text as a program", later("eval('globalThis.ran = 1')"), "require-trusted-types-for"),
        ("a program from text", later("new Function('globalThis.ran = 1')()"), "require-trusted-types-for"),
        ("a timer of text", later("setTimeout('globalThis.ran = 1')"), "require-trusted-types-for"),
        (
            "another worker",
            "navigator.serviceWorker.register('other.js')".to_owned(),
            "require-trusted-types-for",
        ),
        ("an inline style", add("style", "it.append('* { display: none }')"), "style-src-elem"),
        ("a picture from elsewhere", add("img", &format!("it.src = '{url}icons/mark.svg'")), "img-src"),
        (
            "a picture in its address",
            add("img", "it.src = 'data:image/gif;base64,R0lGODlhAQABAAAAACw='"),
            "img-src",
        ),
        ("a frame", add("iframe", &format!("it.src = '{url}'")), "frame-src"),
        ("a film", add("video", &format!("it.src = '{url}a.mp4'")), "media-src"),
        ("a plug-in", add("object", &format!("it.data = '{url}'")), "object-src"),
        (
            "a style sheet from elsewhere",
            add("link", &format!("it.rel = 'stylesheet'; it.href = '{url}style.css'")),
            "style-src-elem",
        ),
        ("another base", add("base", &format!("it.href = '{url}'")), "base-uri"),
        (
            "a form",
            add("form", &format!("it.action = '{url}'; setTimeout(() => it.submit())")),
            "form-action",
        ),
        ("a fetch", format!("fetch('{url}?batch')"), "connect-src"),
        ("a beacon", format!("navigator.sendBeacon('{url}?batch', 'x')"), "connect-src"),
        ("a socket", format!("new WebSocket('{ws}')"), "connect-src"),
        ("a stream of events", format!("new EventSource('{url}')"), "connect-src"),
        ("a font", format!("new FontFace('x', 'url({url}x.woff2)').load()"), "font-src"),
    ] {
        brewer.value("(globalThis.refused = [], true)").await;
        let _ = brewer.console_problems().await;
        let tried: Value = brewer
            .value(&format!("(async () => {{ try {{ await ({script}); }} catch (refused) {{ return String(refused); }} }})()"))
            .await;
        if directive.is_empty() {
            // The browser tells of this one in its console only.
            let told = brewer.console_problems().await;
            assert!(told.iter().any(|line| line.contains("will not be executed")), "{what}: {told:?}");
        } else {
            // Trusted types are asked before the policy's other words, where a text would become a program.
            let typed = directive.starts_with("script-src") || directive == "object-src";
            brewer
                .until(&format!(
                    "globalThis.refused.includes('{directive}') || \
                     {typed} && globalThis.refused.includes('require-trusted-types-for')"
                ))
                .await;
        }
        assert_eq!(brewer.value("globalThis.ran").await, json!(0), "{what}: {tried}");
    }
    // The watch that the other tests rest on saw what was put there.
    assert!(brewer.value("globalThis.strange.length").await.as_u64().unwrap() >= 8);
    // The browser lists what it refused as well; none of it reached anybody.
    let refused = brewer.requests_leaving(brewer.url()).await;
    assert!(refused.iter().all(|address| address.starts_with(&url)), "{refused:?}");
    // It may open a connection ahead of asking the policy; then nothing is asked over it.
    while let Ok((mut stream, _)) = elsewhere.accept() {
        stream.set_nonblocking(false).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(1))).unwrap();
        let mut asked = [0; 64];
        let count = stream.read(&mut asked).unwrap_or_default();
        assert_eq!(String::from_utf8_lossy(&asked[..count]), "");
    }
    // And the app goes on.
    let _ = brewer.console_problems().await;
    brewer.reload().await;
    brewer.opens_the_example().await;
    brewer.assert_quiet(brewer.url()).await;
}
