//! Hostile input by the million: builds `tests/fuzz` with coverage counters and lets libFuzzer search.
//!
//! The counters are a pass of the compiler's own that the stable toolchain takes; the runtime is C++, which the
//! machine's compiler builds. Both are there for this task alone.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::{fmt, fs, io, thread};

use crate::progress::Progress;
use crate::task::TaskError;
use crate::workspace::{CommandError, Workspace, output, run};

/// Inputs over all targets unless another number is asked for.
pub const INPUTS: u64 = 10_000_000;

/// What makes the compiler count which code an input reaches, and tell libFuzzer of comparisons.
const COUNTERS: &str = "-Cpasses=sancov-module \
    -Cllvm-args=-sanitizer-coverage-level=4 \
    -Cllvm-args=-sanitizer-coverage-inline-8bit-counters \
    -Cllvm-args=-sanitizer-coverage-pc-table \
    -Cllvm-args=-sanitizer-coverage-trace-compares \
    --cfg fuzzing";

/// A target of `tests/fuzz`, its share of all inputs in thousandths, and the most bytes of one input. What plans a whole
/// batch takes a thousand times as long as what reads a number: the shares give each a good part of the time.
struct Target {
    name: &'static str,
    share: u64,
    most: u32,
}

const TARGETS: [Target; 10] = [
    Target { name: "edits", share: 5, most: 1_024 },
    Target { name: "stored", share: 25, most: 16_384 },
    Target { name: "link", share: 4, most: 4_096 },
    Target { name: "keepsake", share: 6, most: 32_768 },
    Target { name: "water", share: 8, most: 512 },
    Target { name: "keeping", share: 15, most: 8_192 },
    Target { name: "preferences", share: 220, most: 2_048 },
    Target { name: "number", share: 668, most: 64 },
    Target { name: "table", share: 45, most: 1_024 },
    Target { name: "code", share: 4, most: 3_200 },
];

/// The most megabytes that a target may take.
const MEMORY: u32 = 1_024;

/// Why the search ended with no good news.
#[derive(Debug)]
pub enum FuzzError {
    /// An input was found that is not borne; where it lies, and the end of what was said of it.
    Found(String),
    /// It said nothing that could be counted.
    Uncounted(&'static str),
    /// Somebody ended it before its time.
    Interrupted(&'static str),
    /// A folder or file could not be written or read.
    Files(io::Error),
}

impl fmt::Display for FuzzError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Found(what) => f.write_str(what),
            Self::Uncounted(target) => write!(f, "{target} ended without saying how many inputs it tried"),
            Self::Interrupted(target) => write!(f, "{target} was ended before it had tried its inputs"),
            Self::Files(error) => write!(f, "the folders of the search cannot be used: {error}"),
        }
    }
}

impl From<io::Error> for FuzzError {
    fn from(error: io::Error) -> Self {
        Self::Files(error)
    }
}

/// What a target tried.
struct Tried {
    name: &'static str,
    inputs: u64,
    accepted: u64,
    slowest: f64,
    memory: u64,
    crashes: u64,
    hangs: u64,
    words: String,
}

/// Searches every target, and writes what was tried to `tests/measured/fuzz.tsv`.
///
/// # Errors
/// When an input panics, hangs or takes too much memory; the file is written all the same.
pub fn fuzz(workspace: &Workspace, inputs: u64) -> Result<(), TaskError> {
    let progress = Progress::begin();
    progress.step("Building with coverage counters");
    let host = host()?;
    let target = workspace.target.join("fuzz-search");
    let build = ["build", "--locked", "--package", "fuzz", "--profile", "fuzz", "--target", &host];
    run(workspace.cargo(build).env("RUSTFLAGS", COUNTERS).env("CARGO_TARGET_DIR", &target))?;
    let program = target.join(&host).join("fuzz/fuzz");

    progress.step(&format!("{inputs} inputs"));
    let folder = target.join("found");
    let waiting = Mutex::new(TARGETS.iter());
    let next = || waiting.lock().ok().and_then(|mut waiting| waiting.next());
    let searching = || {
        let mut tried = Vec::new();
        while let Some(target) = next() {
            let found = search(&program, &folder, target, inputs * target.share / 1_000)?;
            println!(
                "{:12} {:9} inputs, {:9} accepted, slowest {:7.2} ms, {:4} MB{}",
                found.name,
                found.inputs,
                found.accepted,
                found.slowest,
                found.memory,
                if found.crashes + found.hangs > 0 { ", FAILED" } else { "" },
            );
            tried.push(found);
        }
        Ok(tried)
    };
    let at_once = thread::available_parallelism().map_or(1, usize::from);
    let all: Result<Vec<Vec<Tried>>, FuzzError> = thread::scope(|scope| {
        let threads: Vec<_> = (0..at_once).map(|_| scope.spawn(searching)).collect();
        threads.into_iter().filter_map(|thread| thread.join().ok()).collect()
    });
    let mut all: Vec<Tried> = all?.into_iter().flatten().collect();
    all.sort_by_key(|tried| TARGETS.iter().position(|target| target.name == tried.name));
    if all.len() < TARGETS.len() {
        return Err(FuzzError::Uncounted("a target").into());
    }
    write_down(&workspace.root.join("tests/measured"), inputs, &all)?;
    match all.into_iter().find(|tried| tried.crashes + tried.hangs > 0) {
        Some(found) => Err(FuzzError::Found(found.words).into()),
        None => Ok(()),
    }
}

/// What this machine is called by the compiler. With a target named, build scripts are built without counters.
fn host() -> Result<String, CommandError> {
    let said = output(Command::new("rustc").arg("-vV"))?;
    let host = said.lines().find_map(|line| line.strip_prefix("host: "));
    Ok(host.unwrap_or("x86_64-unknown-linux-gnu").to_owned())
}

fn search(program: &Path, folder: &Path, target: &Target, inputs: u64) -> Result<Tried, FuzzError> {
    let here = folder.join(target.name);
    let (corpus, seeds, found) = (here.join("corpus"), here.join("seeds"), here.join("crashes"));
    for folder in [&corpus, &seeds, &found] {
        fs::create_dir_all(folder)?;
    }
    let log = here.join("log");
    let said = fs::File::create(&log)?;
    let status = Command::new(program)
        .args([&corpus, &seeds])
        .arg(format!("-runs={inputs}"))
        .arg(format!("-max_len={}", target.most))
        .arg(format!("-rss_limit_mb={MEMORY}"))
        // The program itself holds every input to a second, the best of three; this ends what never ends.
        .args(["-timeout=10", "-print_final_stats=1"])
        .arg(format!("-artifact_prefix={}/", found.display()))
        .env("TARTWRIGHT_FUZZ", target.name)
        .env("TARTWRIGHT_FUZZ_SEEDS", &seeds)
        .stdout(Stdio::null())
        .stderr(said)
        .status()?;
    let log = String::from_utf8_lossy(&fs::read(log)?).into_owned();
    if log.contains("libFuzzer: run interrupted") {
        return Err(FuzzError::Interrupted(target.name));
    }
    let mut tried = read(target.name, &log).ok_or(FuzzError::Uncounted(target.name))?;
    if !status.success() {
        let hang = log.contains("a hang: ") || log.contains("ERROR: libFuzzer: timeout");
        (tried.crashes, tried.hangs) = (u64::from(!hang), u64::from(hang));
        let from = log.find("panicked at").or_else(|| log.find("ERROR: ")).unwrap_or_default();
        let why: String = log[from..].chars().take(1_500).collect();
        tried.words = format!("{}: {why}\nThe input lies in {}", target.name, found.display());
    }
    Ok(tried)
}

/// What the words of a search say was tried; nothing when they do not.
fn read(name: &'static str, log: &str) -> Option<Tried> {
    let statistic =
        |name: &str| log.lines().find_map(|line| line.strip_prefix(name)?.trim().parse::<u64>().ok());
    let counts = log.lines().rev().find_map(|line| line.strip_prefix("counted: "));
    let words: Vec<&str> = counts.unwrap_or("tried 0 accepted 0 slowest_us 0").split(' ').collect();
    let after = |name: &str| {
        words.iter().position(|word| *word == name).and_then(|at| words.get(at + 1)?.parse::<u64>().ok())
    };
    Some(Tried {
        name,
        inputs: statistic("stat::number_of_executed_units:").or_else(|| after("tried"))?,
        accepted: after("accepted")?,
        slowest: after("slowest_us")? as f64 / 1e3,
        memory: statistic("stat::peak_rss_mb:").unwrap_or_default(),
        crashes: 0,
        hangs: 0,
        words: String::new(),
    })
}

fn write_down(folder: &Path, inputs: u64, all: &[Tried]) -> Result<(), FuzzError> {
    let mut out = String::new();
    let sum = |of: fn(&Tried) -> u64| all.iter().map(of).sum::<u64>();
    let slowest = all.iter().map(|tried| tried.slowest).fold(0.0, f64::max);
    let memory = all.iter().map(|tried| tried.memory).max().unwrap_or_default();
    out.push_str(&format!("hostile inputs tried\t{}\tinputs\t>={inputs}\n", sum(|tried| tried.inputs)));
    out.push_str(&format!("hostile inputs accepted and used\t{}\tinputs\n", sum(|tried| tried.accepted)));
    out.push_str(&format!("hostile inputs that crashed\t{}\tinputs\t0\n", sum(|tried| tried.crashes)));
    out.push_str(&format!("hostile inputs that hung\t{}\tinputs\t0\n", sum(|tried| tried.hangs)));
    out.push_str(&format!("slowest hostile input\t{slowest:.2}\tms\t1000\n"));
    out.push_str(&format!("most memory under hostile input\t{memory}\tMB\t{MEMORY}\n"));
    for tried in all {
        out.push_str(&format!("hostile input: {}\t{}\tinputs\n", tried.name, tried.inputs));
        out.push_str(&format!("hostile input: {}, accepted\t{}\tinputs\n", tried.name, tried.accepted));
        out.push_str(&format!("hostile input: {}, slowest\t{:.2}\tms\t1000\n", tried.name, tried.slowest));
    }
    fs::create_dir_all(folder)?;
    Ok(fs::write(folder.join("fuzz.tsv"), out)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_inputs_are_shared_out() {
        assert_eq!(TARGETS.iter().map(|target| target.share).sum::<u64>(), 1_000);
    }

    #[test]
    fn the_targets_are_those_there_are() {
        let main = include_str!("../../../tests/fuzz/src/main.rs");
        let list =
            main.split("const TARGETS").nth(1).and_then(|rest| rest.split("];").next()).unwrap_or_default();
        let there: Vec<&str> = list.split("(\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
        let mut here: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
        assert_eq!(here.len(), there.len());
        here.retain(|name| !there.contains(name));
        assert!(here.is_empty(), "{here:?}");
    }

    #[test]
    fn what_a_search_says_is_understood() {
        let log = "INFO: Seed: 1\ncounted: tried 1000 accepted 4 slowest_us 900\n#2000 pulse\n\
                   counted: tried 2000 accepted 9 slowest_us 1500\nstat::number_of_executed_units: 2345\n\
                   stat::peak_rss_mb:              77\n";
        let tried = read("stored", log).expect("counts");
        assert_eq!((tried.inputs, tried.accepted, tried.slowest, tried.memory), (2345, 9, 1.5, 77));
        assert!(read("stored", "nothing").is_none_or(|tried| tried.inputs == 0));
    }
}
