//! What is done to a wasm module before it is shipped: what no script calls goes, and so do its custom
//! sections; names shared with the script are shortened; functions and their variables are put in an order
//! that compresses better. What the module does stays as it was, instruction by instruction.

use std::collections::BTreeMap;
use std::fmt;

use wasm_encoder::reencode::{self, Reencode};
use wasm_encoder::{
    CodeSection, CustomSection, ExportSection, Function, FunctionSection, ImportSection, Instruction, Module,
    ValType,
};
use wasmparser::{
    CodeSectionReader, CustomSectionReader, Export, ExportSectionReader, FunctionBody, FunctionSectionReader,
    ImportSectionReader, KnownCustom, Name, Operator, Parser, Payload, TypeRef,
};

/// Why a file is not the wasm module it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WasmError(String);

impl WasmError {
    /// What is wrong, in a few words.
    pub fn of(what: &str) -> Self {
        Self(what.to_owned())
    }
}

impl fmt::Display for WasmError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the wasm module is not well formed: {}", self.0)
    }
}

impl From<wasmparser::BinaryReaderError> for WasmError {
    fn from(error: wasmparser::BinaryReaderError) -> Self {
        Self(error.to_string())
    }
}

/// The section that tells the wasm-bindgen step what scripts may call: pairs of a version and a declaration,
/// each behind its length in four bytes.
const DECLARATIONS: &str = "__wasm_bindgen_unstable";

/// How the name of an export begins that a part of the framework makes for a tool which nobody here uses. A hash
/// of the folder of crates ends it: with it, no two machines would build the same page.
const MARKER: &str = "_WASM_SPLIT_MARKER_";

/// Writes the module again without classes that are there for scripts nobody wrote.
struct WithoutClasses<'a> {
    /// How the names of the classes begin.
    classes: &'a str,
}

impl WithoutClasses<'_> {
    fn are_in(&self, declaration: &[u8]) -> bool {
        declaration.windows(self.classes.len()).any(|part| part == self.classes.as_bytes())
    }
}

impl Reencode for WithoutClasses<'_> {
    type Error = std::convert::Infallible;

    fn parse_export_section(
        &mut self,
        exports: &mut ExportSection,
        section: ExportSectionReader<'_>,
    ) -> Result<(), reencode::Error<Self::Error>> {
        for export in section {
            let export = export?;
            if !export.name.contains(&self.classes.to_lowercase()) && !export.name.starts_with(MARKER) {
                self.parse_export(exports, export)?;
            }
        }
        Ok(())
    }

    fn parse_custom_section(
        &mut self,
        module: &mut Module,
        section: CustomSectionReader<'_>,
    ) -> Result<(), reencode::Error<Self::Error>> {
        let mut data = section.data().to_vec();
        if section.name() == DECLARATIONS {
            let (mut kept, mut rest) = (Vec::new(), &data[..]);
            while let Some((_version, after)) = behind_length(rest) {
                let Some((declaration, next)) = behind_length(after) else { break };
                if !self.are_in(declaration) {
                    kept.extend_from_slice(&rest[..rest.len() - next.len()]);
                }
                rest = next;
            }
            kept.extend_from_slice(rest);
            data = kept;
        }
        module.section(&CustomSection { name: section.name().into(), data: data.into() });
        Ok(())
    }
}

/// What stands behind its length, and what follows it.
fn behind_length(data: &[u8]) -> Option<(&[u8], &[u8])> {
    let (length, rest) = data.split_first_chunk()?;
    rest.split_at_checked(u32::from_le_bytes(*length) as usize)
}

/// The module without the exports and declarations of classes whose names begin so, and without a marker of the
/// framework; what only they use is then left out by the wasm-bindgen step.
///
/// # Errors
/// When the bytes are not a well-formed module.
pub fn without_classes(module: &[u8], classes: &str) -> Result<Vec<u8>, WasmError> {
    let mut written = Module::new();
    WithoutClasses { classes }
        .parse_core_module(&mut written, Parser::new(0), module)
        .map_err(|error| WasmError(error.to_string()))?;
    Ok(written.finish())
}

/// Writes the module again with its functions and their variables in another order and with other names.
struct Shipped {
    /// How many functions are imported; their places stay.
    imported: u32,
    /// The functions of the module by their old places, in the new order.
    order: Vec<u32>,
    /// The new place of each.
    places: Vec<u32>,
    /// How many parameters each has, by its old place; parameters stay the first of its variables.
    parameters: Vec<u32>,
    /// The new names of imports and exports.
    names: BTreeMap<String, String>,
}

type Outcome<T> = Result<T, reencode::Error<std::convert::Infallible>>;

impl Shipped {
    /// A function with its variables sorted by type, and within a type by how often they are used. Functions
    /// that do alike then look more alike, and a variable that is never used is gone.
    fn function(&mut self, body: &FunctionBody<'_>, parameters: u32) -> Outcome<Function> {
        let mut types = Vec::new();
        for group in body.get_locals_reader()? {
            let (count, kind) = group?;
            types.extend((0..count).map(|_| kind));
        }
        let instructions = body.get_operators_reader()?.into_iter().collect::<Result<Vec<_>, _>>()?;
        let mut uses = vec![0_usize; types.len()];
        let mut order = Vec::new();
        for &local in instructions.iter().filter_map(local_of) {
            let own = local.checked_sub(parameters).map(|own| own as usize);
            if let Some((own, uses)) = own.and_then(|own| Some((own, uses.get_mut(own)?))) {
                if *uses == 0 {
                    order.push(own);
                }
                *uses += 1;
            }
        }
        // Those used as often stay in the order of their first use.
        order.sort_by_key(|&own| (types.get(own).map(place_of), usize::MAX - uses.get(own).unwrap_or(&0)));
        let mut groups: Vec<(u32, ValType)> = Vec::new();
        let mut renamed: Vec<u32> = (0..).take(parameters as usize + types.len()).collect();
        for (place, &own) in (parameters..).zip(&order) {
            if let Some(kind) = types.get(own) {
                let kind = self.val_type(*kind)?;
                match groups.last_mut() {
                    Some((count, last)) if *last == kind => *count += 1,
                    _ => groups.push((1, kind)),
                }
            }
            if let Some(slot) = renamed.get_mut(parameters as usize + own) {
                *slot = place;
            }
        }
        let mut function = Function::new(groups);
        let now = |local: u32| renamed.get(local as usize).copied().unwrap_or(local);
        for instruction in instructions {
            function.instruction(&match instruction {
                Operator::LocalGet { local_index } => Instruction::LocalGet(now(local_index)),
                Operator::LocalSet { local_index } => Instruction::LocalSet(now(local_index)),
                Operator::LocalTee { local_index } => Instruction::LocalTee(now(local_index)),
                other => self.instruction(other)?,
            });
        }
        Ok(function)
    }
}

/// The variable that an instruction is about.
fn local_of<'a>(instruction: &'a Operator<'_>) -> Option<&'a u32> {
    match instruction {
        Operator::LocalGet { local_index }
        | Operator::LocalSet { local_index }
        | Operator::LocalTee { local_index } => Some(local_index),
        _ => None,
    }
}

/// Where variables of a type stand among those of other types.
fn place_of(kind: &wasmparser::ValType) -> u8 {
    match kind {
        wasmparser::ValType::I32 => 0,
        wasmparser::ValType::I64 => 1,
        wasmparser::ValType::F64 => 2,
        wasmparser::ValType::F32 => 3,
        wasmparser::ValType::V128 => 4,
        wasmparser::ValType::Ref(_) => 5,
    }
}

impl Reencode for Shipped {
    type Error = std::convert::Infallible;

    fn function_index(&mut self, function: u32) -> Outcome<u32> {
        let own = function.checked_sub(self.imported).and_then(|own| self.places.get(own as usize));
        Ok(own.map_or(function, |place| self.imported + place))
    }

    fn parse_import_section(
        &mut self,
        imports: &mut ImportSection,
        section: ImportSectionReader<'_>,
    ) -> Outcome<()> {
        for import in section.into_imports() {
            let import = import?;
            let kind = self.entity_type(import.ty)?;
            imports.import(import.module, self.names.get(import.name).map_or(import.name, |name| name), kind);
        }
        Ok(())
    }

    fn parse_export(&mut self, exports: &mut ExportSection, export: Export<'_>) -> Outcome<()> {
        let name = self.names.get(export.name).cloned();
        let export = Export { name: name.as_deref().unwrap_or(export.name), ..export };
        reencode::utils::parse_export(self, exports, export)
    }

    fn parse_function_section(
        &mut self,
        functions: &mut FunctionSection,
        section: FunctionSectionReader<'_>,
    ) -> Outcome<()> {
        let types = section.into_iter().collect::<Result<Vec<u32>, _>>()?;
        for &old in &self.order {
            if let Some(&kind) = types.get(old as usize) {
                functions.function(kind);
            }
        }
        Ok(())
    }

    fn parse_code_section(&mut self, code: &mut CodeSection, section: CodeSectionReader<'_>) -> Outcome<()> {
        let bodies = section.into_iter().collect::<Result<Vec<_>, _>>()?;
        for old in self.order.clone() {
            let parameters = self.parameters.get(old as usize).copied().unwrap_or_default();
            if let Some(body) = bodies.get(old as usize) {
                code.function(&self.function(body, parameters)?);
            }
        }
        Ok(())
    }

    // None of them has a meaning for a browser; to be done after the wasm-bindgen step, which reads some.
    fn parse_custom_section(&mut self, _: &mut Module, _: CustomSectionReader<'_>) -> Outcome<()> {
        Ok(())
    }
}

/// The module and its script as they are shipped: without custom sections (names, producers, target features),
/// with functions sorted by type and code, so that alike stands beside alike, one in place of several that are
/// the same, and with a few letters for each
/// of the long names by which module and script know each other's functions. Beside them, for reports, what each
/// function was called, in their order; of several that were the same, one name.
///
/// # Errors
/// When the bytes are not a well-formed module.
pub fn shipped(module: &[u8], script: &str) -> Result<(Vec<u8>, String, Vec<String>), WasmError> {
    let called = names_of_functions(module)?;
    ordered(module, script, &called)
}

/// What the module's functions are called, imported ones left out; what has no name is empty.
fn names_of_functions(module: &[u8]) -> Result<Vec<String>, WasmError> {
    let (mut imported, mut own, mut called) = (0, 0, BTreeMap::new());
    for payload in Parser::new(0).parse_all(module) {
        match payload? {
            Payload::ImportSection(section) => {
                for import in section.into_imports() {
                    imported += u32::from(matches!(import?.ty, TypeRef::Func(_) | TypeRef::FuncExact(_)));
                }
            }
            Payload::FunctionSection(section) => own = section.count(),
            Payload::CustomSection(section) => {
                let KnownCustom::Name(subsections) = section.as_known() else { continue };
                for subsection in subsections {
                    let Name::Function(names) = subsection? else { continue };
                    for naming in names {
                        let naming = naming?;
                        called.insert(naming.index, naming.name.to_owned());
                    }
                }
            }
            _ => {}
        }
    }
    Ok((imported..imported + own).map(|place| called.remove(&place).unwrap_or_default()).collect())
}

/// As [`shipped`], with the names of the functions as they stand.
fn ordered(
    module: &[u8],
    script: &str,
    called: &[String],
) -> Result<(Vec<u8>, String, Vec<String>), WasmError> {
    let (mut imported, mut bodies) = (0, Vec::new());
    let (mut parameters_of_types, mut types, mut names) = (Vec::new(), Vec::new(), BTreeMap::new());
    for payload in Parser::new(0).parse_all(module) {
        match payload? {
            Payload::TypeSection(section) => {
                for kind in section.into_iter_err_on_gc_types() {
                    parameters_of_types.push(u32::try_from(kind?.params().len()).unwrap_or(u32::MAX));
                }
            }
            Payload::ImportSection(section) => {
                for import in section.into_imports() {
                    let import = import?;
                    if matches!(import.ty, TypeRef::Func(_) | TypeRef::FuncExact(_)) {
                        names.insert(import.name.to_owned(), format!("${imported}"));
                        imported += 1;
                    }
                }
            }
            Payload::FunctionSection(section) => {
                types = section.into_iter().collect::<Result<Vec<u32>, _>>()?
            }
            Payload::ExportSection(section) => {
                for (place, export) in section.into_iter().enumerate() {
                    let name = export?.name;
                    // Others may be known by their names outside the script.
                    if name.starts_with("wasm_bindgen_") {
                        names.insert(name.to_owned(), format!("$_{place}"));
                    }
                }
            }
            Payload::CodeSectionEntry(body) => bodies.push(body.as_bytes()),
            _ => {}
        }
    }
    let mut order: Vec<u32> = (0..).take(bodies.len()).collect();
    order.sort_by_key(|&old| (types.get(old as usize), bodies.get(old as usize)));
    // Of functions that are the same, one stays.
    let mut places = vec![0; order.len()];
    let (mut before, mut place) = (None, 0);
    order.retain(|&old| {
        let now = (types.get(old as usize), bodies.get(old as usize));
        let other = before != Some(now);
        place += u32::from(other && before.is_some());
        before = Some(now);
        if let Some(slot) = places.get_mut(old as usize) {
            *slot = place;
        }
        other
    });
    let twins = order.len() < bodies.len();
    let parameters =
        types.iter().map(|&kind| parameters_of_types.get(kind as usize).copied().unwrap_or_default());
    let parameters = parameters.collect();
    let script = renamed(script, &names);
    let called: Vec<String> =
        order.iter().map(|&old| called.get(old as usize).cloned().unwrap_or_default()).collect();
    let mut written = Module::new();
    Shipped { imported, order, places, parameters, names }
        .parse_core_module(&mut written, Parser::new(0), module)
        .map_err(|error| WasmError(error.to_string()))?;
    // Functions that called twins may be twins now.
    if twins { ordered(&written.finish(), &script, &called) } else { Ok((written.finish(), script, called)) }
}

/// The script with other words in place of these.
fn renamed(script: &str, names: &BTreeMap<String, String>) -> String {
    let of_a_word = |letter: char| letter.is_ascii_alphanumeric() || letter == '_' || letter == '$';
    let mut text = String::with_capacity(script.len());
    let mut rest = script;
    while let Some(start) = rest.find(of_a_word) {
        let (before, from_word) = rest.split_at(start);
        let end = from_word.find(|letter| !of_a_word(letter)).unwrap_or(from_word.len());
        let (word, after) = from_word.split_at(end);
        text.push_str(before);
        text.push_str(names.get(word).map_or(word, String::as_str));
        rest = after;
    }
    text.push_str(rest);
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A module of two functions: the first calls an import and the second and is exported as `f`; the second
    /// has two variables of one type and one of another, and uses the last most.
    fn module(swapped: bool) -> Vec<u8> {
        use wasm_encoder::{EntityType, ExportKind, NameMap, NameSection, TypeSection, ValType};
        let mut module = Module::new();
        let mut types = TypeSection::new();
        types.ty().function([], [ValType::I32]);
        module.section(&types);
        let mut imports = ImportSection::new();
        imports.import("./app_bg.js", "__wbg_now_0123", EntityType::Function(0));
        module.section(&imports);
        let mut functions = FunctionSection::new();
        functions.function(0).function(0);
        module.section(&functions);
        let (first, second) = if swapped { (2, 1) } else { (1, 2) };
        let mut exports = ExportSection::new();
        exports.export("f", ExportKind::Func, first).export(
            "wasm_bindgen_0123_call",
            ExportKind::Func,
            second,
        );
        module.section(&exports);
        let mut calling = Function::new([]);
        calling.instructions().call(0).call(second).i32_add().end();
        let mut counting = Function::new([(1, ValType::I32), (1, ValType::F64), (2, ValType::I32)]);
        counting.instructions().local_get(0).local_tee(3).local_get(3).i32_add().end();
        let mut code = CodeSection::new();
        for function in if swapped { [&counting, &calling] } else { [&calling, &counting] } {
            code.function(function);
        }
        module.section(&code);
        let mut named = NameMap::new();
        for (place, name) in
            [(first, "calling"), (second, "counting")].into_iter().collect::<BTreeMap<_, _>>()
        {
            named.append(place, name);
        }
        let mut names = NameSection::new();
        names.functions(&named);
        module.section(&names);
        module.finish()
    }

    #[test]
    fn functions_change_places_and_still_find_each_other() {
        let (bytes, ..) = shipped(&module(false), "").unwrap();
        assert!(wasmparser::validate(&bytes).is_ok());
        assert_eq!(shipped(&module(true), "").unwrap().0, bytes);
        // Two variables of one type, the one used twice first; then the call of both functions.
        let counting = [&b"\x01\x02\x7f\x20\x01\x22\x00\x20\x00\x6a\x0b"[..], b"\x00\x10\x00\x10"];
        for code in counting {
            assert!(bytes.windows(code.len()).any(|part| part == code), "{bytes:x?}");
        }
        assert!(!bytes.windows(4).any(|part| part == b"name"));
        for swapped in [false, true] {
            assert_eq!(shipped(&module(swapped), "").unwrap().2, ["calling", "counting"]);
        }
    }

    #[test]
    fn of_functions_that_are_the_same_one_stays() {
        use wasm_encoder::{ExportKind, TypeSection};
        let mut module = Module::new();
        let mut types = TypeSection::new();
        types.ty().function([], [ValType::I32]);
        module.section(&types);
        module.section(FunctionSection::new().function(0).function(0).function(0).function(0));
        let mut exports = ExportSection::new();
        exports.export("f", ExportKind::Func, 1).export("g", ExportKind::Func, 3);
        module.section(&exports);
        let mut code = CodeSection::new();
        // The callers are the same only once what they call is.
        for call in [None, Some(0), None, Some(2)] {
            let mut function = Function::new([]);
            let mut write = function.instructions();
            match call {
                Some(other) => write.call(other).end(),
                None => write.i32_const(7).end(),
            };
            code.function(&function);
        }
        module.section(&code);
        let (bytes, ..) = shipped(&module.finish(), "").unwrap();
        assert!(wasmparser::validate(&bytes).is_ok());
        let bodies =
            Parser::new(0).parse_all(&bytes).filter(|part| matches!(part, Ok(Payload::CodeSectionEntry(_))));
        assert_eq!(bodies.count(), 2);
    }

    #[test]
    fn module_and_script_agree_on_the_new_names() {
        let script =
            "{ __wbg_now_0123: () => 1, __wbg_now_01234: f }; wasm.wasm_bindgen_0123_call(); wasm.f()";
        let (bytes, script, _) = shipped(&module(false), script).unwrap();
        assert_eq!(script, "{ $0: () => 1, __wbg_now_01234: f }; wasm.$_1(); wasm.f()");
        for (name, there) in [("$0", true), ("$_1", true), ("__wbg_now", false), ("wasm_bindgen", false)] {
            assert_eq!(bytes.windows(name.len()).any(|part| part == name.as_bytes()), there, "{name}");
        }
    }

    #[test]
    fn classes_that_no_script_asks_for_are_left_out() {
        use wasm_encoder::{ExportKind, TypeSection};
        let mut module = Module::new();
        let mut types = TypeSection::new();
        types.ty().function([], []);
        module.section(&types);
        module.section(FunctionSection::new().function(0));
        let mut exports = ExportSection::new();
        for name in ["stream_pull", "_WASM_SPLIT_MARKER_0123456789abcdefversion", "f"] {
            exports.export(name, ExportKind::Func, 0);
        }
        module.section(&exports);
        let mut code = CodeSection::new();
        let mut nothing = Function::new([]);
        nothing.instructions().end();
        code.function(&nothing);
        module.section(&code);
        let part = |text: &[u8]| [&[text.len() as u8, 0, 0, 0][..], text].concat();
        let declarations = |words: &[&str]| {
            words.iter().flat_map(|word| [part(b"v1"), part(word.as_bytes())].concat()).collect::<Vec<u8>>()
        };
        let custom = |data: Vec<u8>| CustomSection { name: DECLARATIONS.into(), data: data.into() };
        module.section(&custom(declarations(&["a Stream", "an f"])));
        let bytes = without_classes(&module.finish(), "Stream").unwrap();
        assert!(wasmparser::validate(&bytes).is_ok());
        assert!(bytes.ends_with(&declarations(&["an f"])));
        for gone in [&b"Stream"[..], b"stream", b"MARKER"] {
            assert!(!bytes.windows(gone.len()).any(|part| part == gone));
        }
    }

    #[test]
    fn what_is_no_module_is_refused() {
        assert!(shipped(b"\0asm\x01\0\0\0\x01\x09", "").is_err());
        assert!(shipped(b"nothing", "").is_err());
        assert!(without_classes(b"nothing", "x").is_err());
    }
}
