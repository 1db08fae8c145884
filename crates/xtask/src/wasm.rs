//! The little that has to be known of a wasm file: its custom sections can go.

use std::fmt;

/// Why a file is not the wasm module it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WasmError {
    /// It does not start as a module of version 1 does.
    NotAModule,
    /// A section claims more bytes than there are, at this offset.
    CutShort(usize),
}

impl fmt::Display for WasmError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotAModule => f.write_str("not a wasm module of version 1"),
            Self::CutShort(offset) => write!(f, "the wasm section at byte {offset} is cut short"),
        }
    }
}

const HEADER: &[u8] = b"\0asm\x01\0\0\0";
const CUSTOM: u8 = 0;

/// Leaves out every custom section: names, producers, target features. None of them has a meaning for a
/// browser. To be done after the wasm-bindgen step, which reads some of them.
///
/// # Errors
/// When the bytes are not a well-formed module.
pub fn without_custom_sections(module: &[u8]) -> Result<Vec<u8>, WasmError> {
    let mut kept = HEADER.to_vec();
    let mut rest = module.strip_prefix(HEADER).ok_or(WasmError::NotAModule)?;
    while let Some((&id, after_id)) = rest.split_first() {
        let cut_short = WasmError::CutShort(module.len() - rest.len());
        let (length, body) = leb128(after_id).ok_or(cut_short)?;
        let next = body.get(length..).ok_or(cut_short)?;
        if id != CUSTOM {
            kept.extend_from_slice(&rest[..rest.len() - next.len()]);
        }
        rest = next;
    }
    Ok(kept)
}

/// An unsigned LEB128 number of at most 32 bits and what follows it.
fn leb128(bytes: &[u8]) -> Option<(usize, &[u8])> {
    let mut value = 0;
    for (index, &byte) in bytes.iter().take(5).enumerate() {
        value |= usize::from(byte & 0x7f) << (7 * index);
        if byte & 0x80 == 0 {
            return Some((value, &bytes[index + 1..]));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn module(sections: &[&[u8]]) -> Vec<u8> {
        [HEADER, &sections.concat()].concat()
    }

    #[test]
    fn custom_sections_go_and_others_stay() {
        let whole = module(&[&[1, 2, 9, 9], &[0, 3, 1, b'x', 7], &[10, 0x81, 0, 5]]);
        assert_eq!(without_custom_sections(&whole), Ok(module(&[&[1, 2, 9, 9], &[10, 0x81, 0, 5]])));
    }

    #[test]
    fn what_is_cut_short_is_refused() {
        assert_eq!(without_custom_sections(&module(&[&[1, 3, 9]])), Err(WasmError::CutShort(8)));
        assert_eq!(without_custom_sections(b"\0asm"), Err(WasmError::NotAModule));
    }
}
