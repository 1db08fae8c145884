//! Where the bytes of the page go: by file, by section of the module, by crate, by module of ours, by function.
//!
//! A crate's share of what is sent under brotli is how much less the module would be if the crate's code did
//! nothing and its data were zeros. What two crates have alike is saved only when both go, so the shares do not
//! add up to the whole. For modules and functions that would take hours; they have the bytes before packing.

use std::collections::{BTreeMap, BTreeSet};
use std::convert::Infallible;
use std::fmt::Write as _;
use std::fs;
use std::ops::Range;

use wasm_encoder::reencode::{self, Reencode};
use wasm_encoder::{CodeSection, Function, Module};
use wasmparser::{
    CodeSectionReader, ConstExpr, DataKind, FunctionBody, Operator, Parser, Payload, SectionLimited,
};
use xtask::site::{Asset, Site};

use crate::apart::apart;
use crate::compile::{Compiled, Program, compile, ensure_target};
use crate::dist::assemble;
use crate::progress::Progress;
use crate::size::{self, Weight};
use crate::task::TaskError;
use crate::wasm::WasmError;
use crate::workspace::Workspace;

/// How many modules and functions are shown.
const SHOWN: usize = 40;

/// Crates with at least this many bytes are shown by themselves.
const LEAST: usize = 2000;

/// One function of the module.
struct Piece {
    /// Its name as it stands in the source, without a hash.
    name: String,
    /// The crate whose code it is.
    owner: String,
    /// Its bytes in the module, with those that say how many.
    bytes: usize,
}

/// A module taken to pieces.
#[derive(Default)]
struct Pieces {
    /// The sections by name, in their order, each with its head.
    sections: Vec<(&'static str, usize)>,
    /// The functions, in their order.
    functions: Vec<Piece>,
    /// The data by crate: which bytes of the module, as far as code or other data points to them.
    data: BTreeMap<String, Vec<Range<usize>>>,
}

/// What nobody is known to use.
const NOBODY: &str = "(not known whose)";

impl Pieces {
    /// Takes a module to pieces, whose own functions were called so.
    fn of(module: &[u8], names: &[String]) -> Result<Self, WasmError> {
        let mut pieces = Self::default();
        let (mut bodies, mut segments, mut end) = (Vec::new(), Vec::new(), 8);
        pieces.sections.push(("head", end));
        for payload in Parser::new(0).parse_all(module) {
            let payload = payload?;
            if let Some((kind, range)) = payload.as_section() {
                pieces.sections.push((section_name(kind), range.end - end));
                end = range.end;
            }
            match payload {
                Payload::CodeSectionEntry(body) => bodies.push(body),
                Payload::DataSection(section) => segments = placed(section)?,
                _ => {}
            }
        }
        for (place, body) in bodies.iter().enumerate() {
            let name = names.get(place).map(String::as_str).unwrap_or_default();
            let name = readable(name);
            let length = body.range().len();
            let bytes = length + digits(length);
            pieces.functions.push(Piece { owner: owner(&name), name, bytes });
        }
        pieces.data = pieces.whose(module, &bodies, &segments)?;
        Ok(pieces)
    }

    /// Whose the data are: every address that code or data names begins a piece, which goes up to the next
    /// one and belongs to the crate of the first function that names it, or else of the data that do.
    fn whose(
        &self,
        module: &[u8],
        bodies: &[FunctionBody<'_>],
        segments: &[Segment],
    ) -> Result<BTreeMap<String, Vec<Range<usize>>>, WasmError> {
        let inside = |address: u32| segments.iter().any(|segment| segment.holds(address));
        let mut starts: BTreeMap<u32, Option<&str>> =
            segments.iter().map(|segment| (segment.address, None)).collect();
        for (body, piece) in bodies.iter().zip(&self.functions) {
            for operator in body.get_operators_reader()? {
                let Operator::I32Const { value } = operator? else { continue };
                let address = value.cast_unsigned();
                if inside(address) {
                    starts.entry(address).or_default().get_or_insert(&piece.owner);
                }
            }
        }
        // Words of the data that are addresses of data: slices, texts, tables of functions.
        let mut named_by_data = Vec::new();
        for segment in segments {
            let bytes = module.get(segment.bytes.clone()).unwrap_or_default();
            let aligned = (4 - segment.address % 4) as usize % 4;
            for (place, word) in bytes.get(aligned..).unwrap_or_default().as_chunks().0.iter().enumerate() {
                let address = u32::from_le_bytes(*word);
                if inside(address) {
                    named_by_data.push((segment.address + (aligned + 4 * place) as u32, address));
                }
            }
        }
        for &(_, to) in &named_by_data {
            starts.entry(to).or_default();
        }
        // Data that point to data that point to data: until nothing more becomes known.
        loop {
            let mut learned = false;
            for &(from, to) in &named_by_data {
                let owner = starts.range(..=from).next_back().and_then(|(_, owner)| *owner);
                if let (Some(owner), Some(slot @ None)) = (owner, starts.get_mut(&to)) {
                    *slot = Some(owner);
                    learned = true;
                }
            }
            if !learned {
                break;
            }
        }
        let mut data: BTreeMap<String, Vec<Range<usize>>> = BTreeMap::new();
        for segment in segments {
            let until = segment.address + segment.bytes.len() as u32;
            let inside: Vec<(u32, Option<&str>)> =
                starts.range(segment.address..until).map(|(&start, &owner)| (start, owner)).collect();
            for (place, &(start, owner)) in inside.iter().enumerate() {
                let end = inside.get(place + 1).map_or(until, |&(next, _)| next);
                let from = segment.bytes.start + (start - segment.address) as usize;
                let owned = data.entry(owner.unwrap_or(NOBODY).to_owned()).or_default();
                owned.push(from..from + (end - start) as usize);
            }
        }
        Ok(data)
    }

    /// Bytes of code and of data by crate, most first.
    fn crates(&self) -> Vec<(String, usize, usize)> {
        let mut by_name: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
        for piece in &self.functions {
            by_name.entry(&piece.owner).or_default().0 += piece.bytes;
        }
        for (owner, ranges) in &self.data {
            by_name.entry(owner).or_default().1 += ranges.iter().map(Range::len).sum::<usize>();
        }
        let mut crates: Vec<_> =
            by_name.into_iter().map(|(name, (code, data))| (name.to_owned(), code, data)).collect();
        crates.sort_by_key(|(_, code, data)| usize::MAX - code - data);
        crates
    }

    /// Bytes of code by what a function's name gives, most first.
    fn by(&self, key: impl Fn(&Piece) -> Option<String>) -> Vec<(String, usize)> {
        let mut by_name: BTreeMap<String, usize> = BTreeMap::new();
        for piece in &self.functions {
            if let Some(name) = key(piece) {
                *by_name.entry(name).or_default() += piece.bytes;
            }
        }
        let mut sorted: Vec<_> = by_name.into_iter().collect();
        sorted.sort_by_key(|(_, bytes)| usize::MAX - bytes);
        sorted
    }

    /// The module with code that does nothing and zeros in the data of these crates.
    fn without(&self, module: &[u8], crates: &BTreeSet<&str>) -> Result<Vec<u8>, WasmError> {
        let mut module = module.to_vec();
        for (_, ranges) in self.data.iter().filter(|(owner, _)| crates.contains(owner.as_str())) {
            for range in ranges {
                module.get_mut(range.clone()).unwrap_or_default().fill(0);
            }
        }
        let gone = self.functions.iter().map(|piece| crates.contains(piece.owner.as_str())).collect();
        let mut written = Module::new();
        Without { gone }
            .parse_core_module(&mut written, Parser::new(0), &module)
            .map_err(|error| WasmError::of(&error.to_string()))?;
        Ok(written.finish())
    }
}

/// Writes a module again, some functions doing nothing.
struct Without {
    gone: Vec<bool>,
}

impl Reencode for Without {
    type Error = Infallible;

    fn parse_code_section(
        &mut self,
        code: &mut CodeSection,
        section: CodeSectionReader<'_>,
    ) -> Result<(), reencode::Error<Infallible>> {
        for (place, body) in section.into_iter().enumerate() {
            if self.gone.get(place) == Some(&true) {
                let mut nothing = Function::new([]);
                nothing.instructions().unreachable().end();
                code.function(&nothing);
            } else {
                self.parse_function_body(code, body?)?;
            }
        }
        Ok(())
    }
}

/// Data that lie together from an address on.
struct Segment {
    address: u32,
    /// Which bytes of the module.
    bytes: Range<usize>,
}

impl Segment {
    fn holds(&self, address: u32) -> bool {
        address.checked_sub(self.address).is_some_and(|behind| (behind as usize) < self.bytes.len())
    }
}

/// The segments whose address stands in the module.
fn placed(section: SectionLimited<'_, wasmparser::Data<'_>>) -> Result<Vec<Segment>, WasmError> {
    let mut segments = Vec::new();
    for data in section {
        let data = data?;
        let DataKind::Active { offset_expr, .. } = data.kind else { continue };
        if let Some(address) = constant(&offset_expr)? {
            segments.push(Segment { address, bytes: data.range.end - data.data.len()..data.range.end });
        }
    }
    Ok(segments)
}

fn constant(expression: &ConstExpr<'_>) -> Result<Option<u32>, WasmError> {
    let first = expression.get_operators_reader().into_iter().next().transpose()?;
    Ok(if let Some(Operator::I32Const { value }) = first { Some(value.cast_unsigned()) } else { None })
}

/// How many bytes wasm takes to write a length.
fn digits(length: usize) -> usize {
    (length.max(1).ilog2() / 7 + 1) as usize
}

fn section_name(kind: u8) -> &'static str {
    match kind {
        1 => "types",
        2 => "imports",
        3 => "functions",
        4 => "table",
        5 => "memory",
        6 => "globals",
        7 => "exports",
        8 => "start",
        9 => "elements",
        10 => "code",
        11 => "data",
        12 => "data count",
        _ => "custom",
    }
}

/// A name as it stands in the source: without the hash behind a crate, and without the number that the
/// wasm-bindgen step gives to names that come again.
fn readable(name: &str) -> String {
    let name = format!("{:#}", rustc_demangle::demangle(name));
    let mut text = String::with_capacity(name.len());
    let mut rest = name.as_str();
    while let Some((before, after)) = rest.split_once('[') {
        text.push_str(before);
        let digits = after.bytes().take_while(u8::is_ascii_hexdigit).count();
        let behind = after.get(digits..).and_then(|behind| behind.strip_prefix(']'));
        // Shorter ones may be types: `[f64]`.
        match behind {
            Some(behind) if digits > 8 || behind.is_empty() => rest = behind,
            _ => {
                text.push('[');
                rest = after;
            }
        }
    }
    text.push_str(rest);
    text
}

/// The path by which code is told whose it is: of the closure that was built into code written for any; else what
/// the name begins with, from the crate on: of the type for a method of a trait, of the trait where the type is
/// no path, of the thing dropped for the code that drops it.
fn path(name: &str) -> &str {
    let of_a_path = |letter: char| letter.is_alphanumeric() || matches!(letter, '_' | ':');
    let closure = name.split(['<', ',', ' ', '(', '[', '&']).rev().find(|part| part.contains("::{closure"));
    let candidates = [
        closure.filter(|part| part.starts_with(char::is_lowercase)),
        name.strip_prefix("core::ptr::drop_in_place").map(|rest| rest.trim_start_matches(':')),
        name.strip_prefix('<').and_then(|rest| rest.split_once(" as ")).map(|(of, _)| of),
        name.strip_prefix('<').and_then(|rest| rest.split_once(" as ")).map(|(_, of)| of),
        name.strip_prefix('<'),
        Some(name),
    ];
    let paths = candidates.into_iter().flatten().map(|rest| {
        let rest = rest.trim_start_matches(['&', '*', '[', '(', '<']);
        let rest = ["mut ", "const ", "dyn "]
            .into_iter()
            .fold(rest, |rest, word| rest.strip_prefix(word).unwrap_or(rest));
        rest.split(|letter| !of_a_path(letter)).next().unwrap_or_default()
    });
    let mut paths = paths.filter(|path| path.contains("::") && path.starts_with(char::is_lowercase));
    paths.next().unwrap_or_default()
}

/// The crate whose code a function of this name is.
fn owner(name: &str) -> String {
    let first = path(name).split("::").next().unwrap_or_default();
    let owner = match first {
        "" if name.starts_with("__wbindgen")
            || name.starts_with("__wbg")
            || name.starts_with("__externref") =>
        {
            "wasm_bindgen"
        }
        // Copying and comparing of memory, arithmetic that the machine lacks; the program's start.
        "" => "(without a crate)",
        other => other,
    };
    owner.to_owned()
}

/// The file of ours that a function stands in, as far as its name tells: the path down to the first name that is
/// a type's, a closure's or the function's own.
fn module_of(piece: &Piece) -> Option<String> {
    if !["app", "batch", "calc"].contains(&piece.owner.as_str()) {
        return None;
    }
    let names: Vec<&str> = path(&piece.name).split("::").filter(|name| !name.is_empty()).collect();
    let modules = names.iter().take_while(|name| name.starts_with(char::is_lowercase)).count();
    // Of a path without a type, the last name is the function.
    let modules = if modules == names.len() { modules.saturating_sub(1) } else { modules };
    Some(names.get(..modules.max(1))?.join("::"))
}

fn brotli(module: &[u8]) -> Result<usize, WasmError> {
    Ok(Asset::new("app.wasm", apart(module)?).brotli.len())
}

/// Prints where the bytes go, keeps the figures, and holds the page to its budget.
///
/// # Errors
/// When it cannot be built, or weighs too much.
pub fn size(workspace: &Workspace) -> Result<(), TaskError> {
    let progress = Progress::begin();
    progress.step("Building the app for the browser");
    ensure_target(workspace)?;
    let compiled = compile(workspace, Program::App)?;
    let Compiled { wasm, names, .. } = compiled.clone();
    assemble(workspace, compiled)?;
    progress.step("Building an almost empty page with the same settings");
    let floor = compile(workspace, Program::Floor)?;
    let floor_wasm = apart(&floor.wasm)?;
    let floor = [Asset::new("app.wasm", floor_wasm), Asset::new("app.js", floor.script.into_bytes())];
    let floor: Weight = floor.iter().map(Weight::of).sum();
    progress.step("Taking the module to pieces");
    let pieces = Pieces::of(&wasm, &names)?;
    let site = Site::load(&workspace.dist(), "/")?;

    let mut rows = String::new();
    let mut row = |what: &str, value: usize, limit: &str| {
        let _ = writeln!(rows, "{what}\t{value}\tB{limit}");
    };
    for (name, asset) in site.assets() {
        let weight = Weight::of(asset);
        row(&format!("file {}, raw", plain(name)), weight.raw, "");
        row(&format!("file {}, brotli", plain(name)), weight.brotli, "");
    }
    row("almost empty page, raw", floor.raw, "");
    row("almost empty page, brotli", floor.brotli, "");
    row("all that is needed offline, raw", size::total(&site).raw, "");
    row("all that is needed offline, brotli", size::total(&site).brotli, &format!("\t{}", size::BUDGET));

    println!("\n{:<36} {:>9}", "section of the module (bytes)", "raw");
    for (name, bytes) in &pieces.sections {
        println!("{name:<36} {bytes:>9}");
        row(&format!("section {name}"), *bytes, "");
    }
    println!("{:<36} {:>9}", "the module", wasm.len());

    println!("\n{:<70} {:>9}", "module of ours (bytes of code)", "raw");
    for (name, bytes) in pieces.by(module_of).into_iter().take(SHOWN) {
        println!("{name:<70} {bytes:>9}");
        row(&format!("module {name}"), bytes, "");
    }
    println!("\n{:<110} {:>9}", "function (bytes of code, alike names together)", "raw");
    for (name, bytes) in pieces.by(|piece| Some(piece.name.clone())).into_iter().take(SHOWN) {
        let short: String = name.chars().take(110).collect();
        println!("{short:<110} {bytes:>9}");
    }
    let whole = brotli(&wasm)?;
    println!("\n{:<36} {:>9} {:>9} {:>9}", "crate (bytes)", "code", "data", "brotli");
    let crates = pieces.crates();
    let (large, small): (Vec<_>, Vec<_>) = crates.iter().partition(|(_, code, data)| code + data >= LEAST);
    let others = ("all others".to_owned(), small.iter().map(|c| c.1).sum(), small.iter().map(|c| c.2).sum());
    let own = |name: &str| BTreeSet::from([name.to_owned()]);
    let mut lines: Vec<_> = large.into_iter().map(|line| (line, own(&line.0))).collect();
    lines.push((&others, small.iter().map(|line| line.0.clone()).collect()));
    for ((name, code, data), members) in lines {
        let members = members.iter().map(String::as_str).collect();
        let share = whole.saturating_sub(brotli(&pieces.without(&wasm, &members)?)?);
        println!("{name:<36} {code:>9} {data:>9} {share:>9}");
        row(&format!("crate {name}, code"), *code, "");
        row(&format!("crate {name}, data"), *data, "");
        row(&format!("crate {name}, brotli share"), share, "");
    }
    println!("{:<36} {:>9} {:>9} {whole:>9}", "the module, taken apart", "", "");
    println!("brotli: how much less it would be without the crate; shares do not add up.");

    println!("\n{:<36} {:>9} {:>9}", "almost empty page", floor.raw, floor.brotli);
    size::print(&site);

    let path = workspace.root.join("tests/measured/size.tsv");
    let folder = path.parent().unwrap_or(&workspace.root);
    let unwritable = |error| TaskError::Unwritable(path.clone(), error);
    fs::create_dir_all(folder).map_err(unwritable)?;
    fs::write(&path, rows).map_err(unwritable)?;
    size::check(&site)?;
    Ok(())
}

/// A file's name without its hash, which changes with every version.
fn plain(name: &str) -> String {
    match (name.rsplit_once('-'), name.rsplit_once('.')) {
        (Some((stem, rest)), Some((_, extension)))
            if rest.len() == xtask::site::HASH_DIGITS + 1 + extension.len() =>
        {
            format!("{stem}.{extension}")
        }
        _ => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wasm_encoder::{
        ConstExpr as Constant, DataSection, FunctionSection, MemorySection, MemoryType, TypeSection, ValType,
    };

    /// Two functions, of which the first names the address 16 and the second 24; at 20 lies the address 28.
    fn module() -> Vec<u8> {
        let mut module = Module::new();
        let mut types = TypeSection::new();
        types.ty().function([], [ValType::I32]);
        module.section(&types);
        module.section(FunctionSection::new().function(0).function(0));
        let mut memories = MemorySection::new();
        memories.memory(MemoryType {
            minimum: 1,
            maximum: None,
            memory64: false,
            shared: false,
            page_size_log2: None,
        });
        module.section(&memories);
        let mut code = CodeSection::new();
        for address in [16, 24] {
            let mut function = Function::new([]);
            function.instructions().i32_const(address).end();
            code.function(&function);
        }
        module.section(&code);
        let mut data = DataSection::new();
        data.active(0, &Constant::i32_const(16), *b"abcd\x1c\0\0\0efghijkl");
        module.section(&data);
        module.finish()
    }

    fn names() -> Vec<String> {
        ["_ZN4calc4brew4mash3run17h0123456789abcdefE", "_ZN3app4view3tag17h0123456789abcdefE"]
            .map(str::to_owned)
            .to_vec()
    }

    #[test]
    fn every_byte_of_the_module_is_in_one_section() {
        let module = module();
        let pieces = Pieces::of(&module, &names()).unwrap();
        let sections: usize = pieces.sections.iter().map(|(_, bytes)| bytes).sum();
        assert_eq!(sections, module.len());
        let code: usize = pieces.functions.iter().map(|piece| piece.bytes).sum();
        let section = pieces.sections.iter().find(|(name, _)| *name == "code").unwrap().1;
        // Its kind, its length, and how many functions there are.
        assert_eq!(code + 3, section);
    }

    #[test]
    fn data_belong_to_the_code_that_names_them_or_to_the_data_that_do() {
        let pieces = Pieces::of(&module(), &names()).unwrap();
        // "abcd" and the address by calc's code, "ijkl" by calc's data; "efgh" by the app's code.
        assert_eq!(pieces.crates(), [("calc".to_owned(), 5, 12), ("app".to_owned(), 5, 4)],);
    }

    #[test]
    fn a_crate_that_is_left_out_does_nothing_and_the_others_stay() {
        let module = module();
        let pieces = Pieces::of(&module, &names()).unwrap();
        let without = pieces.without(&module, &BTreeSet::from(["calc"])).unwrap();
        assert!(wasmparser::validate(&without).is_ok());
        let mut expected = module.clone();
        let zeros = |bytes: &mut [u8], text: &[u8]| {
            let at = bytes.windows(text.len()).position(|part| part == text).unwrap();
            bytes[at..at + text.len()].fill(0);
        };
        zeros(&mut expected, b"abcd\x1c");
        zeros(&mut expected, b"ijkl");
        let data = |module: &[u8]| module[module.len() - 16..].to_vec();
        assert_eq!(data(&without), data(&expected));
        assert!(pieces.without(&module, &BTreeSet::new()).unwrap() == module);
    }

    #[test]
    fn a_name_is_read_without_hashes_and_numbers() {
        for (name, read) in [
            (
                "<core[0123456789abcdef]::iter::Map<[f64], [u8; 4]>>::next[12]",
                "<core::iter::Map<[f64], [u8; 4]>>::next",
            ),
            ("_ZN4calc4brew4mash3run17h0123456789abcdefE", "calc::brew::mash::run"),
            ("memcpy", "memcpy"),
        ] {
            assert_eq!(readable(name), read);
        }
    }

    #[test]
    fn a_name_tells_the_crate() {
        for (name, crate_name, module) in [
            ("calc::brew::mash::Mash::ph", "calc", Some("calc::brew::mash")),
            ("batch::keep::link::write::{{closure}}", "batch", Some("batch::keep::link")),
            ("<app::view::View as core::fmt::Debug>::fmt", "app", Some("app::view")),
            ("<&T as core::fmt::Debug>::fmt", "core", None),
            ("<&mut batch::json::Writer as core::fmt::Write>::write_str", "batch", Some("batch::json")),
            ("<alloc::vec::Vec<T,A> as core::ops::drop::Drop>::drop", "alloc", None),
            ("core::ptr::drop_in_place<app::state::Shared>", "app", Some("app::state")),
            ("core::ptr::drop_in_place::<app::state::Shared>", "app", Some("app::state")),
            ("core::ptr::drop_in_place<[f64]>", "core", None),
            ("<alloc::vec::Vec<app::view::View>>::push", "alloc", None),
            ("<batch::plan::make::Maker>::brew", "batch", Some("batch::plan::make")),
            ("<calc::data::malts::MaltClass>::data", "calc", Some("calc::data::malts")),
            (
                "app::widgets::live::<app::view::View, app::book::screen::{closure#1}>::{closure#0}",
                "app",
                Some("app::book"),
            ),
            (
                "<core::iter::Map<I, batch::say::words::{closure#0}> as core::iter::Iterator>::next",
                "batch",
                Some("batch::say"),
            ),
            ("__wbindgen_malloc", "wasm_bindgen", None),
            ("memcpy", "(without a crate)", None),
        ] {
            let piece = Piece { name: name.to_owned(), owner: owner(name), bytes: 1 };
            assert_eq!(piece.owner, crate_name, "{name}");
            assert_eq!(module_of(&piece).as_deref(), module, "{name}");
        }
    }

    #[test]
    fn a_file_keeps_its_name_and_loses_its_hash() {
        assert_eq!(plain("app-0123456789abcdef.wasm"), "app.wasm");
        assert_eq!(plain("icons/apple-touch-icon.png"), "icons/apple-touch-icon.png");
        assert_eq!(plain("index.html"), "index.html");
    }
}
