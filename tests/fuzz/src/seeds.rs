//! What the search begins from: sound input, so that it needs not find out first what a batch looks like.

use batch::demo::demo;
use batch::document::Batch;
use batch::house::House;
use batch::keep::link::{self, Part};
use batch::keep::{Envelope, encode, pack, stored_text, write};
use batch::moment::Moment;
use batch::testing::{any_envelope, finished_batch, watched_souring};
use proptest::strategy::{Strategy as _, ValueTree as _};
use proptest::test_runner::TestRunner;
use std::cell::OnceCell;
use std::path::Path;

const BEGUN: Moment = Moment::from_seconds(1_754_294_400);

/// Texts that were stored by every version so far.
const FIXTURES: [&str; 9] = [
    include_str!("../../fixtures/batch-schema-1.json"),
    include_str!("../../fixtures/batch-schema-2.json"),
    include_str!("../../fixtures/batch-schema-3.json"),
    include_str!("../../fixtures/batch-schema-4.json"),
    include_str!("../../fixtures/batch-schema-1.packed"),
    include_str!("../../fixtures/batch-schema-2.packed"),
    include_str!("../../fixtures/batch-schema-3.packed"),
    include_str!("../../fixtures/batch-schema-4.packed"),
    include_str!("../../fixtures/newer-schema.json"),
];

const KEEPSAKES: [&str; 4] = [
    include_str!("../../fixtures/keepsake-schema-1.json"),
    include_str!("../../fixtures/keepsake-schema-2.json"),
    include_str!("../../fixtures/keepsake-schema-3.json"),
    include_str!("../../fixtures/keepsake-schema-4.json"),
];

/// The batches that edits begin from.
pub fn bases() -> &'static [Batch] {
    thread_local! {
        static BASES: OnceCell<&'static [Batch]> = const { OnceCell::new() };
    }
    BASES.with(|bases| {
        *bases.get_or_init(|| {
            let empty = Batch::new("b".to_owned(), String::new(), BEGUN, House::default());
            let made = vec![empty, demo("x".to_owned(), BEGUN), finished_batch().data, watched_souring()];
            Box::leak(made.into_boxed_slice())
        })
    })
}

/// Batches of all kinds, always the same.
fn any(count: usize) -> Vec<Envelope> {
    let mut runner = TestRunner::deterministic();
    (0..count).map(|_| any_envelope().new_tree(&mut runner).unwrap().current()).collect()
}

/// Batches for a book, each with an identity of its own.
pub fn book() -> Vec<Envelope> {
    let mut book: Vec<Envelope> = bases().iter().cloned().map(Envelope::new).collect();
    for (place, kept) in book.iter_mut().enumerate() {
        kept.data.id = format!("b{place}");
    }
    book
}

fn small(envelope: &Envelope) -> Envelope {
    let mut small = envelope.clone();
    small.data.salts.clear();
    small
}

fn with_kind(kind: u8, rest: &[u8]) -> Vec<u8> {
    [&[kind], rest].concat()
}

/// The seeds of a target.
pub fn of(target: &str) -> Vec<Vec<u8>> {
    let texts = |texts: Vec<String>| texts.into_iter().map(String::into_bytes).collect::<Vec<_>>();
    let all: Vec<Envelope> = book().into_iter().chain(any(24)).collect();
    match target {
        "stored" => {
            let mut found: Vec<String> = all.iter().map(|kept| encode(kept).unwrap()).collect();
            found.extend(all.iter().map(|kept| stored_text(kept).unwrap()));
            found.extend(FIXTURES.map(str::to_owned));
            found.push(encode(&small(&all[0])).unwrap());
            texts(found)
        }
        "keepsake" => {
            let mut found: Vec<String> = KEEPSAKES.map(str::to_owned).to_vec();
            found.extend(all.chunks(3).map(|some| write(some, BEGUN).unwrap()));
            // The same batch in two states, and with the identity of a copy.
            let (one, mut other) = (small(&all[0]), small(&all[0]));
            other.data.notes = "theirs".to_owned();
            found.push(write(&[one.clone(), other.clone(), one, other], BEGUN).unwrap());
            texts(found)
        }
        "keeping" => {
            let mut found: Vec<String> =
                all.chunks(2).map(|some| some.iter().map(|kept| stored_text(kept).unwrap()).collect::<Vec<_>>().join("\u{1}")).collect();
            found.extend(FIXTURES.map(pack));
            texts(found)
        }
        "link" => {
            let whole = all.iter().filter_map(|kept| link::write(kept, Part::Whole).ok());
            let recipes = all.iter().filter_map(|kept| link::write(kept, Part::Recipe).ok());
            let mut found: Vec<Vec<u8>> =
                whole.chain(recipes).map(|text| with_kind(0, text.as_bytes())).collect();
            found.extend(all.iter().map(|kept| with_kind(2, stored_text(kept).unwrap().as_bytes())));
            found.extend(FIXTURES.map(|text| with_kind(2, pack(text).as_bytes())));
            found.push(with_kind(1, &[18, 28, 2, 35, 142, 198, 150, 189]));
            found
        }
        "preferences" => texts(
            [
                r#"{"system":"us","units":{"volume":"gal","gravity":"sg"},"theme":"sun","hide_help":true,"house":{"evaporation":{"frozen":[2.5,0.25,3],"since":1754294400}}}"#,
                r#"{"system":"us","units":{"alkalinity":"german_degrees"},"theme":"dark","hide_help":false,"house":{}}"#,
                r#"{"house":{"efficiency":{"frozen":[0.75,0.05,1]},"souring_speed":{"frozen":[1.2,0.1,2],"since":1},"mash_ph_shift":{"since":-5}}}"#,
                r#"{"theme":"light"}"#,
            ]
            .map(str::to_owned)
            .to_vec(),
        ),
        "number" => {
            let typed = [
                "1.5", "1,5", " 18 ", "1 234,5", "1.234,5", "1,234,567", "\u{2212}3", ".5", "5.", "1e3", "1,045", "40-60",
                "40 – 60", "60 to 40", "7.2..7.6", "7,2,,7,6", "<5", "-3 - -1", "1e-3", "1e308", "0.000001", "1.048", "12",
            ];
            (0..=255).zip(typed.iter().cycle()).map(|(unit, text)| with_kind(unit, text.as_bytes())).collect()
        }
        "table" => texts(["=1+1\u{1}@x\u{1}-3", "a \"quoted\" note\u{1}\r\n", "plain, with a comma"].map(str::to_owned).to_vec()),
        "code" => texts(vec!["https://example.org/#/open/aAAA".to_owned(), "é".repeat(700), "x".repeat(2_953)]),
        // Bytes that stand for edits: any will do.
        _ => {
            let mut odd = 1_u32;
            let mut byte = move || {
                odd = odd.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (odd >> 24) as u8
            };
            (4..64).map(|length| (0..length * 4).map(|_| byte()).collect()).collect()
        }
    }
}

/// Writes the seeds of a target into a folder, one file each.
#[cfg_attr(not(fuzzing), allow(dead_code, reason = "only the search needs files"))]
pub fn write_to(target: &str, folder: &Path) {
    std::fs::create_dir_all(folder).unwrap();
    for (place, seed) in of(target).into_iter().enumerate() {
        std::fs::write(folder.join(format!("seed-{place:03}")), seed).unwrap();
    }
}
