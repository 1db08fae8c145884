//! What is done to a wasm module before it is shipped: its custom sections go, and its functions are put in an
//! order that compresses better.

use std::fmt;

use wasm_encoder::reencode::{self, Reencode};
use wasm_encoder::{CodeSection, FunctionSection, Module};
use wasmparser::{CodeSectionReader, CustomSectionReader, FunctionSectionReader, Parser, Payload, TypeRef};

/// Why a file is not the wasm module it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WasmError(String);

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

/// Writes the module again with its functions in another order.
struct Reordered {
    /// How many functions are imported; their places stay.
    imported: u32,
    /// The functions of the module by their old places, in the new order.
    order: Vec<u32>,
    /// The new place of each.
    places: Vec<u32>,
}

impl Reencode for Reordered {
    type Error = std::convert::Infallible;

    fn function_index(&mut self, function: u32) -> Result<u32, reencode::Error<Self::Error>> {
        let own = function.checked_sub(self.imported).and_then(|own| self.places.get(own as usize));
        Ok(own.map_or(function, |place| self.imported + place))
    }

    fn parse_function_section(
        &mut self,
        functions: &mut FunctionSection,
        section: FunctionSectionReader<'_>,
    ) -> Result<(), reencode::Error<Self::Error>> {
        let types = section.into_iter().collect::<Result<Vec<u32>, _>>()?;
        for &old in &self.order {
            if let Some(&kind) = types.get(old as usize) {
                functions.function(kind);
            }
        }
        Ok(())
    }

    fn parse_code_section(
        &mut self,
        code: &mut CodeSection,
        section: CodeSectionReader<'_>,
    ) -> Result<(), reencode::Error<Self::Error>> {
        let bodies = section.into_iter().collect::<Result<Vec<_>, _>>()?;
        for old in self.order.clone() {
            if let Some(body) = bodies.get(old as usize) {
                self.parse_function_body(code, body.clone())?;
            }
        }
        Ok(())
    }

    // None of them has a meaning for a browser; to be done after the wasm-bindgen step, which reads some.
    fn parse_custom_section(
        &mut self,
        _: &mut Module,
        _: CustomSectionReader<'_>,
    ) -> Result<(), reencode::Error<Self::Error>> {
        Ok(())
    }
}

/// The module without custom sections (names, producers, target features), its functions sorted by their
/// code: alike stands beside alike, which takes some kilobytes off what is sent.
///
/// # Errors
/// When the bytes are not a well-formed module.
pub fn shipped(module: &[u8]) -> Result<Vec<u8>, WasmError> {
    let (mut imported, mut bodies) = (0, Vec::new());
    for payload in Parser::new(0).parse_all(module) {
        match payload? {
            Payload::ImportSection(section) => {
                for import in section.into_imports() {
                    if matches!(import?.ty, TypeRef::Func(_) | TypeRef::FuncExact(_)) {
                        imported += 1;
                    }
                }
            }
            Payload::CodeSectionEntry(body) => bodies.push(body.as_bytes().to_vec()),
            _ => {}
        }
    }
    let mut order: Vec<u32> = (0..).take(bodies.len()).collect();
    order.sort_by(|one, other| bodies.get(*one as usize).cmp(&bodies.get(*other as usize)));
    let mut places = vec![0; order.len()];
    for (place, old) in (0..).zip(&order) {
        if let Some(slot) = places.get_mut(*old as usize) {
            *slot = place;
        }
    }
    let mut written = Module::new();
    Reordered { imported, order, places }
        .parse_core_module(&mut written, Parser::new(0), module)
        .map_err(|error| WasmError(error.to_string()))?;
    Ok(written.finish())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A module of two functions, the first of which calls the second and is exported as `f`.
    const MODULE: &[u8] = b"\0asm\x01\0\0\0\x01\x05\x01\x60\0\x01\x7f\x03\x03\x02\0\0\x07\x05\x01\x01f\0\0\
        \x0a\x0b\x02\x04\0\x10\x01\x0b\x04\0\x41\x07\x0b\0\x06\x04nameX";

    #[test]
    fn functions_change_places_and_still_find_each_other() {
        // Sorted by code, the call (0x10) stands before the constant (0x41).
        let swapped = shipped(MODULE).unwrap();
        assert!(swapped.windows(4).any(|bytes| bytes == b"\0\x10\x01\x0b"), "{swapped:x?}");
        assert!(!swapped.windows(4).any(|bytes| bytes == b"name"));
        assert!(wasmparser::validate(&swapped).is_ok());
        let mut other = MODULE.to_vec();
        // The same module with its functions the other way round.
        let code = other.len() - 18;
        other[code..code + 10].copy_from_slice(b"\x04\0\x41\x07\x0b\x04\0\x10\0\x0b");
        let export = other.iter().position(|&byte| byte == b'f').unwrap() + 2;
        other[export] = 1;
        assert!(wasmparser::validate(&other).is_ok());
        assert_eq!(shipped(&other).unwrap(), swapped);
    }

    #[test]
    fn what_is_no_module_is_refused() {
        assert!(shipped(b"\0asm\x01\0\0\0\x01\x09").is_err());
        assert!(shipped(b"nothing").is_err());
    }
}
