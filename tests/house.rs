//! The house in order: what each part may know of the others, and that every
//! part, table row and command is accounted for.
//!
//! `cargo test -p checks --test house`
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops where it fails")]

use batch::document::{
    Field, FruitField, HopField, MaltField, RestField, SaltField, SampleField, Spec, WaterField,
};
use batch::house::HouseNumber;
use batch::keep::SCHEMA;
use batch::plan::Figure;
use calc::brew::package::PackageKind;
use calc::brew::water::FINISH_SOURCE;
use calc::brew::{
    bitterness, buffer, correction, dosing, drop, ferment, fruit, grist, heat, kill, mash, package, serving,
    souring, titration, treatment, yeast,
};
use calc::chem::meter::{ELECTRODE_SOURCE, SHIFT_SOURCE, SOUR_SHIFT_SOURCE};
use calc::chem::{gas, pairs, report};
use calc::data::Source;
use calc::data::acid_notes::{HAZARD_SOURCE, SOURNESS_SOURCE, TASTE_SOURCE};
use calc::data::acids::{
    LACTIC_DENSITY_SOURCE, PHOSPHORIC_DENSITY_SOURCE, PKA_SOURCE, PKA_TEMPERATURE_SOURCE,
    SOLID_DENSITY_SOURCE,
};
use calc::data::cultures::{Culture, DRY_MASS_SOURCE, Form};
use calc::data::fruits::{self, Fruit};
use calc::data::malts::{CURVATURE_SOURCE, EXTRACT_SOURCE, MaltClass};
use calc::data::salts::{CHALK_SOURCE, SOLUTION_DENSITY_SOURCE, SOLUTION_SOURCE, Salt, WEIGHTS_SOURCE};
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

fn read(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Every file below a folder, hidden ones left out, by its path relative to that folder.
fn files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display())) {
        let entry = entry.unwrap();
        let name = entry.file_name().into_string().unwrap();
        if name.starts_with('.') {
            continue;
        }
        if entry.path().is_dir() {
            found.extend(files(&entry.path()).into_iter().map(|below| format!("{name}/{below}")));
        } else {
            found.push(name);
        }
    }
    found.sort();
    found
}

/// Names of all crates that a crate is built from, tests left out.
fn built_from(package: &str) -> Vec<String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let tree = Command::new(cargo)
        .current_dir(root())
        .args(["tree", "--offline", "--locked", "--package", package, "--edges", "normal,build"])
        .args(["--target", "wasm32-unknown-unknown", "--prefix", "none", "--format", "{p}"])
        .output()
        .unwrap();
    assert!(tree.status.success(), "{}", String::from_utf8_lossy(&tree.stderr));
    let text = String::from_utf8(tree.stdout).unwrap();
    text.lines().filter_map(|line| line.split(' ').next()).map(str::to_owned).collect()
}

fn of_a_browser(name: &str) -> bool {
    let families =
        ["wasm-bindgen", "web-sys", "js-sys", "gloo", "leptos", "reactive", "tachys", "console_error"];
    families.iter().any(|family| name.starts_with(family))
}

#[test]
fn the_calculation_needs_no_browser() {
    let (calc, batch) = (built_from("calc"), built_from("batch"));
    assert!(batch.contains(&"calc".to_owned()) && batch.contains(&"serde_json".to_owned()), "{batch:?}");
    for name in calc.iter().chain(&batch) {
        assert!(!of_a_browser(name), "{name}");
    }
    assert!(!calc.iter().any(|name| name.starts_with("serde")), "calc knows no JSON");
    // The same look at what the app itself asks for finds what it looks for.
    let app = read("app/Cargo.toml");
    assert!(app.lines().filter_map(|line| line.split(' ').next()).any(of_a_browser));
}

/// Every path that begins with `calc::`, with the braces of `use` opened up. Comments must be gone.
fn calc_paths(code: &str) -> Vec<String> {
    let code: String = code.split_whitespace().collect::<Vec<_>>().join(" ");
    let mut found = Vec::new();
    for (at, _) in code.match_indices("calc::") {
        let part_of_a_longer_name = code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_');
        if !part_of_a_longer_name {
            follow("calc", code[at + "calc".len()..].trim_start(), &mut found);
        }
    }
    found
}

/// Follows one path from behind its first name; gives what is left of the text.
fn follow<'a>(before: &str, mut rest: &'a str, found: &mut Vec<String>) -> &'a str {
    let mut path = before.to_owned();
    while let Some(after) = rest.trim_start().strip_prefix("::") {
        rest = after.trim_start();
        if let Some(list) = rest.strip_prefix('{') {
            rest = list.trim_start();
            while !rest.starts_with('}') && !rest.is_empty() {
                let end =
                    rest.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == '*')).unwrap_or(rest.len());
                rest = follow(&format!("{path}::{}", &rest[..end]), &rest[end..], found);
                // A comma, or the new name behind `as`.
                let next = rest.find([',', '}']).unwrap_or(rest.len());
                rest = rest[next..].trim_start_matches(',').trim_start();
            }
            return rest.strip_prefix('}').unwrap_or(rest);
        }
        let end = rest.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == '*')).unwrap_or(rest.len());
        path = format!("{path}::{}", &rest[..end]);
        rest = &rest[end..];
    }
    found.push(path);
    rest
}

/// What the app may name of trade and chemistry: kinds, answers and words, no computation.
const NAMES_OF_THE_TRADE: [&str; 18] = [
    "PackageKind",
    "HopForm",
    "YeastForm",
    "Finish",
    "Ion",
    "Verdict",
    "BurstReason",
    "CurvePoint",
    "Disinfectant",
    "Softening",
    "Sulfite",
    "Compensation",
    "Check",
    "WaterRead",
    "PROCEDURE",
    "DROPPER_PROCEDURE",
    "STIR_AND_MEASURE",
    "ADVICE",
];

/// Why the app must not use this path, if it must not.
fn refused(path: &str) -> Option<&'static str> {
    let names: Vec<&str> = path.split("::").collect();
    let first_type = names.iter().find(|name| name.starts_with(char::is_uppercase)).copied();
    match (names.get(1).copied().unwrap_or_default(), first_type) {
        ("quantity", _) => None,
        ("data", Some(_)) => None,
        ("data", None) => Some("only named rows and marks"),
        ("brew" | "chem", Some(name)) if NAMES_OF_THE_TRADE.contains(&name) => None,
        ("brew" | "chem", _) => Some("only the names of the trade"),
        _ => Some("only quantities, data and names of the trade"),
    }
}

fn without_comments(code: &str) -> String {
    let lines = code.lines().map(|line| if line.trim_start().starts_with("//") { "" } else { line });
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_app_holds_no_formula() {
    let sources = root().join("app/src");
    let mut seen = 0;
    for name in files(&sources) {
        let code = without_comments(&std::fs::read_to_string(sources.join(&name)).unwrap());
        assert!(!code.contains("calc as ") && !code.contains("extern crate"), "{name} renames calc");
        for path in calc_paths(&code) {
            seen += 1;
            assert_eq!(refused(&path), None, "app/src/{name}: {path}");
        }
    }
    assert!(seen > 10, "only {seen} uses of calc were found: this test does not look where the app is");
}

#[test]
fn a_formula_in_the_app_would_be_seen() {
    let code = "use calc::{brew::{mash::Mash as M, water::Finish}, chem::gas, quantity::{Ph, Volume}};\
                fn f() { calc::numeric::root::bisect(); recalc::x(); calc::data::salts::Salt::ALL; }";
    assert_eq!(
        calc_paths(code),
        [
            "calc::brew::mash::Mash",
            "calc::brew::water::Finish",
            "calc::chem::gas",
            "calc::quantity::Ph",
            "calc::quantity::Volume",
            "calc::numeric::root::bisect",
            "calc::data::salts::Salt::ALL",
        ]
    );
    for path in
        ["calc::brew::mash::Mash", "calc::brew::package::*", "calc::chem::gas", "calc::numeric::root::bisect"]
    {
        assert!(refused(path).is_some(), "{path}");
    }
    for path in ["calc::brew::water::Finish", "calc::quantity::Ph", "calc::data::salts::Salt::ALL"] {
        assert_eq!(refused(path), None, "{path}");
    }
}

/// The tasks that `cargo xtask help` lists.
fn tasks() -> Vec<String> {
    let main = read("crates/xtask/src/main.rs");
    let help = main.split("Tasks:\n").nth(1).unwrap().split("\";").next().unwrap();
    let named = help.lines().filter_map(|line| line.strip_prefix("  ").filter(|rest| !rest.starts_with(' ')));
    named.filter_map(|line| line.split(' ').next()).map(str::to_owned).collect()
}

#[test]
fn every_module_and_every_task_is_on_the_map() {
    let map = read("DEVELOPERS.md");
    let mut missing = Vec::new();
    for package in ["calc", "batch"] {
        for name in files(&root().join("crates").join(package).join("src")) {
            if !map.contains(&format!("`{package}/src/{name}`")) {
                missing.push(format!("`{package}/src/{name}`"));
            }
        }
    }
    let tasks = tasks();
    assert!(tasks.len() >= 5 && tasks.contains(&"serve".to_owned()), "{tasks:?}");
    missing
        .extend(tasks.iter().map(|task| format!("`cargo xtask {task}`")).filter(|task| !map.contains(task)));
    assert!(missing.is_empty(), "DEVELOPERS.md does not mention {missing:?}");
}

#[test]
fn every_module_on_the_map_exists() {
    for package in ["calc", "batch"] {
        let prefix = format!("`{package}/src/");
        let map = read("DEVELOPERS.md");
        let named: Vec<&str> = map.split(&prefix).skip(1).filter_map(|rest| rest.split('`').next()).collect();
        assert!(!named.is_empty());
        for name in named {
            assert!(
                root().join("crates").join(package).join("src").join(name).exists(),
                "{package}/src/{name}"
            );
        }
    }
}

#[test]
fn every_field_and_figure_is_described() {
    let map = read("DEVELOPERS.md");
    let fields = Field::ALL.iter().map(|field| field.spec());
    let fields = fields.chain(WaterField::ALL.iter().map(|field| field.spec()));
    let fields = fields.chain(SampleField::ALL.iter().map(|field| field.spec()));
    let fields = fields.chain(SaltField::ALL.iter().map(|field| field.spec()));
    let fields = fields.chain(MaltField::ALL.iter().map(|field| field.spec()));
    let fields = fields.chain(RestField::ALL.iter().map(|field| field.spec()));
    let fields = fields.chain(HopField::ALL.iter().map(|field| field.spec()));
    let fields = fields.chain(FruitField::ALL.iter().map(|field| field.spec()));
    let keys = fields.map(|spec: &Spec| spec.key).chain(Figure::ALL.iter().map(|figure| figure.key()));
    let missing: Vec<&str> = keys.filter(|key| !map.contains(&format!("`{key}`"))).collect();
    assert!(missing.is_empty(), "DEVELOPERS.md does not describe {missing:?}");
}

/// A source that says too little to be one.
fn says_nothing(source: &Source) -> bool {
    source.text.chars().filter(|c| c.is_alphanumeric()).count() < 8
}

#[test]
fn every_table_row_says_where_it_comes_from() {
    let mut sources: Vec<(String, Source)> = Vec::new();
    let mut add = |what: String, source: Source| sources.push((what, source));
    for &malt in MaltClass::ALL {
        add(format!("{malt:?}"), malt.data().source);
    }
    for &fruit in Fruit::ALL {
        let data = fruit.data();
        for (what, source) in [
            ("water", data.water.source),
            ("sugars", data.sugars.source),
            ("refuse", data.refuse.source),
            ("acid", data.acid.source),
            ("main acid", data.main_acid.source),
            ("pH", data.ph_source),
        ] {
            add(format!("{fruit:?} {what}"), source);
        }
        let others = data.pectin.map(|quoted| quoted.source).into_iter();
        for source in others.chain(data.juice_brix.map(|quoted| quoted.source)) {
            add(format!("{fruit:?} pectin or Brix"), source);
        }
    }
    for &culture in Culture::ALL {
        for source in [
            culture.thermal().source,
            culture.ph().source,
            culture.acid().source,
            culture.wort_fit().source,
            culture.usual_end().1,
            culture.hops().source,
        ] {
            add(format!("{culture:?}"), source);
        }
    }
    for &form in Form::ALL {
        add(format!("{form:?}"), form.usual().source);
    }
    for advice in souring::ADVICE {
        add(advice.says.to_owned(), advice.source);
    }
    for &kind in PackageKind::ALL {
        add(format!("{kind:?}"), kind.limits().source);
    }
    // Salts are reckoned from atomic weights, so one source stands for all rows: none may weigh nothing.
    for &salt in Salt::ALL {
        assert!(salt.molar_mass().as_g_per_mol() > 50.0 && !salt.name().is_empty(), "{salt:?}");
        add(format!("{salt:?}"), WEIGHTS_SOURCE);
    }
    for source in [
        PKA_SOURCE,
        LACTIC_DENSITY_SOURCE,
        PHOSPHORIC_DENSITY_SOURCE,
        SOLID_DENSITY_SOURCE,
        EXTRACT_SOURCE,
        DRY_MASS_SOURCE,
        PKA_TEMPERATURE_SOURCE,
        CURVATURE_SOURCE,
        pairs::SOURCE,
        ELECTRODE_SOURCE,
        SHIFT_SOURCE,
        SOUR_SHIFT_SOURCE,
        mash::SPREAD_SOURCE,
        mash::HARDNESS_SOURCE,
        mash::WORTH_SOURCE,
        titration::METHOD_SOURCE,
        report::CHECKS_SOURCE,
        report::CONDUCTANCE_SOURCE,
        report::SHARES_SOURCE,
        report::LABORATORY_SOURCE,
        treatment::DECHLORINATION_SOURCE,
        treatment::EXCESS_SOURCE,
        treatment::RESIDUAL_SOURCE,
        treatment::SULFITE_SOURCE,
        treatment::CHALK_SOURCE,
        buffer::GROUPS_SOURCE,
        buffer::AMOUNTS_SOURCE,
        buffer::SHAPE_SOURCE,
        buffer::WORT_STRENGTH_SOURCE,
        drop::WORT_BUFFERING_SOURCE,
        drop::LADDER_SOURCE,
        drop::REMEDY_SOURCE,
        dosing::DOSING_SOURCE,
        kill::HARDIEST_SOURCE,
        kill::STRAINS_SOURCE,
        kill::WANTED_SOURCE,
        kill::SHORTEST_SOURCE,
        souring::MANGANESE_CEILING_SOURCE,
        souring::MANGANESE_DOSE_SOURCE,
        souring::MANGANESE_IN_WORT_SOURCE,
        TASTE_SOURCE,
        SOURNESS_SOURCE,
        HAZARD_SOURCE,
        CHALK_SOURCE,
        SOLUTION_SOURCE,
        SOLUTION_DENSITY_SOURCE,
        FINISH_SOURCE,
        bitterness::TINSETH_SOURCE,
        bitterness::RAGER_SOURCE,
        bitterness::MALOWICKI_SOURCE,
        bitterness::SOUR_SOURCE,
        bitterness::FORM_SOURCE,
        bitterness::AGE_SOURCE,
        bitterness::SOLUBILITY_SOURCE,
        bitterness::HARSH_SOURCE,
        correction::DRY_EXTRACT_SOURCE,
        correction::WORTH_SOURCE,
        fruit::PULP_SOURCE,
        fruit::HELD_SOURCE,
        fruit::YIELD_SOURCE,
        fruit::DRIED_SOURCE,
        fruit::FRUITED_PH_SOURCE,
        fruit::FOAM_SOURCE,
        fruit::INTENSITY_SOURCE,
        fruit::SULFITE_DECLARED_SOURCE,
        fruit::PRESERVED_SOURCE,
        fruit::HINDRANCE_SOURCE,
        fruit::PURGE_SOURCE,
        grist::ABSORPTION_SOURCE,
        grist::LAUTER_SOURCE,
        grist::DISPLACEMENT_SOURCE,
        heat::STRIKE_SOURCE,
        heat::WORT_HEAT_SOURCE,
        heat::LATENT_SOURCE,
        heat::STEEL_SOURCE,
        heat::LOSS_SOURCE,
        heat::BOILING_SOURCE,
        package::PRIMING_SOURCE,
        package::MALT_EXTRACT_SOURCE,
        package::BURST_SOURCE,
        package::UNITS_SOURCE,
        package::PASTEURISING_SOURCE,
        serving::ENERGY_SOURCE,
        serving::ALLERGEN_SOURCE,
        yeast::PITCH_SOURCE,
        yeast::SOUR_PITCH_SOURCE,
        yeast::STARTER_SOURCE,
        yeast::FRESH_SOURCE,
        yeast::VIABILITY_SOURCE,
        yeast::OXYGEN_SOURCE,
        yeast::UPTAKE_SOURCE,
        ferment::FRUIT_FERMENTABILITY_SOURCE,
        ferment::ROOM_SOURCE,
        gas::GRAMS_PER_VOLUME_SOURCE,
        gas::TABLE_FIT_SOURCE,
        gas::HENRY_SOURCE,
        gas::BEER_SOURCE,
        gas::VIRIAL_SOURCE,
        gas::EXPANSION_SOURCE,
        fruits::KINDS_SOURCE,
        fruits::LOT_SOURCE,
        fruits::OWN_SOURCE,
        fruits::STONES_SOURCE,
    ] {
        add("a table's own".to_owned(), source);
    }
    for &field in Field::ALL {
        if let Some((_, source)) = field.spec().assumed {
            add(format!("{field:?}"), source);
        }
    }
    for &number in HouseNumber::ALL {
        for source in number.sources() {
            add(format!("{number:?}"), source);
        }
    }
    for &figure in Figure::ALL {
        let why = figure.why();
        assert!(!why.sources.is_empty() && !why.says.is_empty() && !why.spread.is_empty(), "{figure:?}");
        for &source in why.sources {
            add(format!("{figure:?}"), source);
        }
    }
    let silent: Vec<&String> =
        sources.iter().filter(|(_, source)| says_nothing(source)).map(|(what, _)| what).collect();
    assert!(silent.is_empty(), "{silent:?}");
    assert!(says_nothing(&Source::published("")) && says_nothing(&Source::our_estimate("a, b")));
}

#[test]
fn the_topmost_entry_of_the_changes_is_of_this_version_and_names_the_schema() {
    let manifest = read("Cargo.toml");
    let version = manifest.split("version = \"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
    // All crates have the one version, and the app shows and stores it.
    assert_eq!(version, env!("CARGO_PKG_VERSION"));
    for package in ["app", "crates/batch", "crates/calc", "crates/xtask"] {
        let of_package = read(&format!("{package}/Cargo.toml"));
        assert!(of_package.contains("version.workspace = true"), "{package}");
    }
    let changes = read("CHANGELOG.md");
    let entries: Vec<&str> = changes.split("\n## ").skip(1).collect();
    let topmost = entries.first().unwrap();
    let (title, says) = topmost.split_once('\n').unwrap();
    let (of, when) = title.split_once(", ").unwrap();
    assert_eq!(of, version, "CHANGELOG.md begins with another version");
    let a_day = when.len() == 10 && when.bytes().all(|c| c.is_ascii_digit() || c == b'-');
    assert!(when == "unreleased" || a_day, "{when:?} is no day");
    // The newest schema that is named anywhere is the one that is written.
    let named = says.split_whitespace().collect::<Vec<_>>().join(" ");
    let newest = named.split("schema ").skip(1).filter_map(|rest| {
        rest.split(|c: char| !c.is_ascii_digit()).next().and_then(|digits| digits.parse::<u32>().ok())
    });
    assert_eq!(newest.max(), Some(SCHEMA), "CHANGELOG.md does not name the schema");
    // Each entry once, the newest first.
    let versions: Vec<Vec<u32>> = entries
        .iter()
        .map(|entry| entry.split(',').next().unwrap().split('.').map(|part| part.parse().unwrap()).collect())
        .collect();
    assert!(versions.is_sorted_by(|newer, older| newer > older), "{versions:?}");
}

/// The first absolute path of somebody's own machine in a text.
fn own_path(text: &str) -> Option<&str> {
    // In pieces, so that this file does not hold what it looks for.
    let places =
        ["work", "home", "Users", "root", "tmp", "mnt", "workspace"].map(|place| format!("/{place}/"));
    let starts = |at: usize| {
        !text[..at]
            .ends_with(|c: char| c.is_alphanumeric() || matches!(c, '_' | '-' | '.' | '/' | '}' | ')' | '*'))
    };
    places
        .iter()
        .flat_map(|place| text.match_indices(place.as_str()))
        .filter(|&(at, _)| starts(at))
        .map(|(at, _)| text[at..].split_whitespace().next().unwrap_or_default())
        .next()
}

#[test]
fn no_file_knows_the_machine_it_was_written_on() {
    let mut names: Vec<String> = [
        "Cargo.toml",
        "Cargo.lock",
        "index.html",
        "README.md",
        "DEVELOPERS.md",
        ".cargo/config.toml",
        ".ci/run",
        ".github/workflows/pages.yml",
    ]
    .map(str::to_owned)
    .to_vec();
    for folder in ["app", "crates", "tests"] {
        names.extend(files(&root().join(folder)).into_iter().map(|name| format!("{folder}/{name}")));
    }
    let mut texts = 0;
    for name in names {
        let bytes = std::fs::read(root().join(&name)).unwrap_or_else(|error| panic!("{name}: {error}"));
        // Pictures are no text.
        let Ok(text) = String::from_utf8(bytes) else { continue };
        texts += 1;
        assert_eq!(own_path(&text), None, "{name}");
    }
    assert!(texts > 100, "{texts}");
    let seen = format!("see {}work/notes.md", '/');
    assert_eq!(own_path(&seen), Some(&seen[4..]));
    let inside = format!("https://example.org{0}work{0} app{0}work{0}x frame-work{0}", '/');
    assert_eq!(own_path(&inside), None);
}
