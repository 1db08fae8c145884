//! A wasm module taken apart for the way to the browser: what its code is made of lies sorted by kind, all
//! operations, then all variables, all constants, and so on, because alike beside alike packs a tenth better.
//! `app/together.js` puts it together again while it arrives, and the browser compiles what is there while the
//! rest is still on its way; [`together`] does the same here, and no module leaves [`apart`] that it does not
//! give back.
//!
//! How addresses are aligned is not sent. A module says it with every load and store, as a hint without meaning;
//! it comes out as the hint that is usual for the operation.
//!
//! The file begins with how long its parts are, numbers of four bytes, the lowest first: of what stands before the
//! code; of each of two blocks of functions, how many they are, how long they are together, and how long each of
//! their streams is. Then come the parts, and last what stands behind the code. Sizes of functions are not sent; they
//! are written anew, in five bytes each, which wasm permits.

use xtask::site::{BLOCKS, LENGTHS, STREAMS};

use crate::wasm::WasmError;

/// Operations.
const OPERATIONS: usize = 0;
/// Variables that are read and written.
const VARIABLES: usize = 1;
/// Constants of 32 bits.
const INTEGERS: usize = 2;
/// How far behind its address a load or store is.
const OFFSETS: usize = 3;
/// Functions that are called.
const CALLS: usize = 4;
/// Constants with a point.
const FLOATS: usize = 5;
/// Constants of 64 bits.
const LONG: usize = 6;
/// Where branches go.
const BRANCHES: usize = 7;
/// The variables that a function has.
const DECLARATIONS: usize = 8;
/// Types of blocks and of functions called by their place, tables, memories, globals.
const REST: usize = 9;
/// So many bytes of code, about, make the last block; all before it is the first. More blocks pack worse, by half
/// a kilobyte each. The first is compiled while the last arrives, and little is left to do then.
const LAST: usize = 200_000;

/// So much `app/together.js` has room for.
const ROOM: usize = 1 << 21;

/// The section of a module that holds the code.
const CODE: u8 = 10;
/// What wasm permits the size of a section or function to be written in.
const SIZE_BYTES: usize = 5;

/// What follows an operation.
enum Holds {
    /// A number in each of these streams.
    Numbers(&'static [usize]),
    /// An address: a hint how it is aligned, and what is added to it.
    Address,
    /// So many bytes of [`FLOATS`].
    Bytes(usize),
    /// How many branches there are, these, and one more.
    Table,
    /// A second part of the operation.
    Second,
}

/// What follows an operation; none for those that the page does not know.
fn holds(operation: u8) -> Option<Holds> {
    Some(match operation {
        // Blocks, loops and conditions.
        0x02..=0x04 => Holds::Numbers(&[REST]),
        0x0c | 0x0d => Holds::Numbers(&[BRANCHES]),
        0x0e => Holds::Table,
        0x10 => Holds::Numbers(&[CALLS]),
        0x11 => Holds::Numbers(&[REST, REST]),
        0x20..=0x22 => Holds::Numbers(&[VARIABLES]),
        // Globals, tables, the size of the memory, a reference to nothing.
        0x23..=0x26 | 0x3f | 0x40 | 0xd0 => Holds::Numbers(&[REST]),
        0x28..=0x3e => Holds::Address,
        0x41 => Holds::Numbers(&[INTEGERS]),
        0x42 => Holds::Numbers(&[LONG]),
        0x43 => Holds::Bytes(4),
        0x44 => Holds::Bytes(8),
        0xfc => Holds::Second,
        0x00 | 0x01 | 0x05 | 0x0b | 0x0f | 0x1a | 0x1b | 0x45..=0xc4 => Holds::Numbers(&[]),
        _ => return None,
    })
}

/// How the addresses of loads and stores are usually aligned, from the first of these operations on: the size of
/// what they load or store, as a power of two.
const ALIGNED: &[u8; 23] = b"23230011001122232301012";

/// What follows an operation in two parts: conversions that end at a bound, copying and filling of
/// memory, tables.
fn holds_second(operation: u64) -> Option<Holds> {
    Some(match operation {
        0..=7 => Holds::Numbers(&[]),
        10 => Holds::Numbers(&[REST, REST]),
        11 | 15..=17 => Holds::Numbers(&[REST]),
        _ => return None,
    })
}

/// Reading bytes one after the other.
struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Reader<'a> {
    fn take(&mut self, count: usize) -> Result<&'a [u8], WasmError> {
        let end = self.at.checked_add(count);
        let taken = end.and_then(|end| self.bytes.get(self.at..end)).ok_or_else(short)?;
        self.at += count;
        Ok(taken)
    }

    /// A number as wasm writes it, and its value as far as that is not negative.
    fn number(&mut self) -> Result<(&'a [u8], u64), WasmError> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let length = rest.iter().position(|byte| *byte < 128).ok_or_else(short)? + 1;
        let digits = self.take(length)?;
        let value = digits.iter().rev().fold(0_u64, |value, byte| value << 7 | u64::from(byte & 127));
        Ok((digits, value))
    }

    fn size(&mut self) -> Result<usize, WasmError> {
        usize::try_from(self.number()?.1).map_err(|_| short())
    }
}

fn short() -> WasmError {
    WasmError::of("it stops too early")
}

/// A number in as many bytes as a size is given here.
fn size_in_full(size: usize) -> [u8; SIZE_BYTES] {
    std::array::from_fn(|place| {
        let more = if place + 1 < SIZE_BYTES { 128 } else { 0 };
        (size >> (7 * place) & 127) as u8 | more
    })
}

/// From where code is read and to where it goes, whole or apart.
trait Flow {
    /// Passes on bytes of a stream.
    fn bytes(&mut self, stream: usize, count: usize) -> Result<u8, WasmError>;
    /// Passes on a number of a stream.
    fn number(&mut self, stream: usize) -> Result<u64, WasmError>;
    /// Passes by a hint, which is usually this.
    fn hint(&mut self, usual: u8) -> Result<(), WasmError>;
}

/// Passes a function on, between its size and the next.
fn function(flow: &mut dyn Flow) -> Result<(), WasmError> {
    for _ in 0..flow.number(DECLARATIONS)? {
        flow.number(DECLARATIONS)?;
        flow.number(DECLARATIONS)?;
    }
    let mut depth = 1;
    while depth > 0 {
        let operation = flow.bytes(OPERATIONS, 1)?;
        match operation {
            0x02..=0x04 => depth += 1,
            0x0b => depth -= 1,
            _ => {}
        }
        let mut held = holds(operation);
        if matches!(held, Some(Holds::Second)) {
            held = holds_second(flow.number(OPERATIONS)?);
        }
        match held {
            Some(Holds::Numbers(streams)) => {
                for stream in streams {
                    flow.number(*stream)?;
                }
            }
            Some(Holds::Address) => {
                let usual = ALIGNED.get(usize::from(operation) - 0x28).copied().unwrap_or(b'0');
                flow.hint(usual - b'0')?;
                flow.number(OFFSETS)?;
            }
            Some(Holds::Bytes(count)) => {
                flow.bytes(FLOATS, count)?;
            }
            Some(Holds::Table) => {
                for _ in 0..=flow.number(BRANCHES)? {
                    flow.number(BRANCHES)?;
                }
            }
            Some(Holds::Second) | None => {
                return Err(WasmError::of(&format!(
                    "app/together.js does not know operation {operation:#x}"
                )));
            }
        }
    }
    Ok(())
}

/// Takes code apart.
struct Apart<'a> {
    code: Reader<'a>,
    streams: [Vec<u8>; STREAMS],
}

impl Flow for Apart<'_> {
    fn bytes(&mut self, stream: usize, count: usize) -> Result<u8, WasmError> {
        let bytes = self.code.take(count)?;
        self.streams[stream].extend_from_slice(bytes);
        bytes.first().copied().ok_or_else(short)
    }

    fn number(&mut self, stream: usize) -> Result<u64, WasmError> {
        let (digits, value) = self.code.number()?;
        self.streams[stream].extend_from_slice(digits);
        Ok(value)
    }

    fn hint(&mut self, _: u8) -> Result<(), WasmError> {
        // Six bits for the hint; above them would stand the number of another memory, of which there is none.
        match self.code.take(1)? {
            [0..64] => Ok(()),
            _ => Err(WasmError::of("app/together.js does not know a second memory")),
        }
    }
}

/// Puts code together.
struct Together<'a> {
    streams: [Reader<'a>; STREAMS],
    code: Vec<u8>,
}

impl Flow for Together<'_> {
    fn bytes(&mut self, stream: usize, count: usize) -> Result<u8, WasmError> {
        let bytes = self.streams[stream].take(count)?;
        self.code.extend_from_slice(bytes);
        bytes.first().copied().ok_or_else(short)
    }

    fn number(&mut self, stream: usize) -> Result<u64, WasmError> {
        let (digits, value) = self.streams[stream].number()?;
        self.code.extend_from_slice(digits);
        Ok(value)
    }

    fn hint(&mut self, usual: u8) -> Result<(), WasmError> {
        self.code.push(usual);
        Ok(())
    }
}

/// Functions that are sent together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Block {
    functions: usize,
    /// Their code with its sizes.
    bytes: usize,
    streams: [usize; STREAMS],
}

/// How long the parts of the file are, as it begins.
fn lengths(head: usize, blocks: &[Block; BLOCKS]) -> Result<Vec<u8>, WasmError> {
    let numbers =
        blocks.iter().flat_map(|block| [block.functions, block.bytes].into_iter().chain(block.streams));
    let mut bytes = Vec::with_capacity(LENGTHS);
    for number in [head].into_iter().chain(numbers) {
        bytes.extend(u32::try_from(number).map_err(|_| short())?.to_le_bytes());
    }
    Ok(bytes)
}

/// Where the code of a module begins, the size of its section not counted, and where it ends.
fn code(module: &[u8]) -> Result<(usize, usize, usize), WasmError> {
    let mut from = Reader { bytes: module, at: 0 };
    // What every module begins with.
    from.take(8)?;
    loop {
        let section = from.take(1)?;
        let before = from.at;
        let size = from.size()?;
        let start = from.at;
        from.take(size)?;
        if section == [CODE] {
            return Ok((before, start, from.at));
        }
    }
}

/// The module taken apart.
///
/// # Errors
/// When the bytes are not a well-formed module with code, hold an operation that `app/together.js` does not
/// know, are more than it has room for, or cannot be put together again.
pub fn apart(module: &[u8]) -> Result<Vec<u8>, WasmError> {
    let (before, start, end) = code(module)?;
    let mut from = Reader { bytes: module.get(..end).unwrap_or_default(), at: start };
    let (count, functions) = from.number()?;
    let mut taken = Apart { code: from, streams: Default::default() };
    let (mut blocks, mut packed, mut place) = ([Block::default(); BLOCKS], Vec::new(), 0);
    for number in 1..=functions {
        let size = taken.code.size()?;
        let start = taken.code.at;
        function(&mut taken)?;
        if taken.code.at - start != size {
            return Err(WasmError::of("a function has another size than it says"));
        }
        blocks[place].functions += 1;
        blocks[place].bytes += SIZE_BYTES + size;
        if number == functions || (place == 0 && end - taken.code.at <= LAST) {
            let streams = std::mem::take(&mut taken.streams);
            blocks[place].streams = std::array::from_fn(|stream| streams[stream].len());
            packed.extend(streams.concat());
            place = BLOCKS - 1;
        }
    }
    if taken.code.at != end {
        return Err(WasmError::of("its code has another size than it says"));
    }
    let size = count.len() + blocks.iter().map(|block| block.bytes).sum::<usize>();
    let head = [module.get(..before).unwrap_or_default(), &size_in_full(size), count].concat();
    let file =
        [&lengths(head.len(), &blocks)?, &head, &packed, module.get(end..).unwrap_or_default()].concat();
    if file.len() > ROOM {
        return Err(WasmError::of("app/together.js has no room for it"));
    }
    if same(module, &together(&file)?)? {
        Ok(file)
    } else {
        Err(WasmError::of("it is another one when put together again"))
    }
}

/// Whether two modules differ in nothing but how sizes are written and addresses are aligned.
fn same(one: &[u8], other: &[u8]) -> Result<bool, WasmError> {
    let parts = |module| -> Result<_, WasmError> {
        let (before, start, end) = code(module)?;
        let mut taken = Apart {
            code: Reader { bytes: module.get(..end).unwrap_or_default(), at: start },
            streams: Default::default(),
        };
        let mut sizes = Vec::new();
        for _ in 0..taken.code.number()?.1 {
            sizes.push(taken.code.size()?);
            function(&mut taken)?;
        }
        Ok((module.get(..before), taken.streams, sizes, module.get(end..)))
    };
    Ok(parts(one)? == parts(other)?)
}

/// The module put together again, as `app/together.js` does it.
fn together(file: &[u8]) -> Result<Vec<u8>, WasmError> {
    let mut from = Reader { bytes: file, at: 0 };
    let numbers = from.take(LENGTHS)?.as_chunks::<4>().0.iter();
    let mut numbers = numbers.map(|number| u32::from_le_bytes(*number) as usize);
    let mut number = || numbers.next().ok_or_else(short);
    let mut module = from.take(number()?)?.to_vec();
    for _ in 0..BLOCKS {
        let (functions, bytes) = (number()?, number()?);
        let mut built =
            Together { streams: [const { Reader { bytes: &[], at: 0 } }; STREAMS], code: Vec::new() };
        for stream in &mut built.streams {
            stream.bytes = from.take(number()?)?;
        }
        let begun = module.len();
        for _ in 0..functions {
            function(&mut built)?;
            module.extend(size_in_full(built.code.len()));
            module.append(&mut built.code);
        }
        if module.len() - begun != bytes {
            return Err(short());
        }
    }
    module.extend_from_slice(file.get(from.at..).unwrap_or_default());
    Ok(module)
}

#[cfg(test)]
mod tests {
    use super::*;
    use wasm_encoder::{
        BlockType, CodeSection, DataSection, Function, FunctionSection, MemArg, MemorySection, MemoryType,
        Module, TypeSection, ValType,
    };

    /// A module whose functions hold every kind of thing that may follow an operation.
    fn module() -> Vec<u8> {
        let mut module = Module::new();
        let mut types = TypeSection::new();
        types.ty().function([ValType::I32], [ValType::F64]);
        module.section(&types);
        module.section(FunctionSection::new().function(0).function(0));
        let memory =
            MemoryType { minimum: 1, maximum: None, memory64: false, shared: false, page_size_log2: None };
        module.section(MemorySection::new().memory(memory));
        let mut code = CodeSection::new();
        for constant in [1.5, -2.0] {
            let mut function = Function::new([(2, ValType::I32), (1, ValType::F64)]);
            let mut write = function.instructions();
            write.block(BlockType::Empty).loop_(BlockType::Empty).local_get(0);
            write.br_table((0..200).map(|place| place % 2), 1).end().end();
            write.local_get(0).i64_const(-9).i64_store(MemArg { offset: 1 << 20, align: 2, memory_index: 0 });
            write.i32_const(-70_000).local_get(1).i32_const(9).memory_copy(0, 0);
            write.f64_const(f64::into(constant)).i32_trunc_sat_f64_s().call(1).end();
            code.function(&function);
        }
        module.section(&code);
        module.section(DataSection::new().active(0, &wasm_encoder::ConstExpr::i32_const(5), *b"data"));
        module.finish()
    }

    #[test]
    fn a_module_is_put_together_again() {
        let module = module();
        assert!(wasmparser::validate(&module).is_ok());
        let file = apart(&module).unwrap();
        let again = together(&file).unwrap();
        assert!(wasmparser::validate(&again).is_ok());
        // Three sizes, of the code and of two functions, are each written in three bytes more.
        assert_eq!(again.len(), module.len() + 9);
        assert_eq!(apart(&again).unwrap(), file);
    }

    #[test]
    fn what_cannot_be_put_together_is_refused() {
        let module = module();
        for end in 0..module.len() - 1 {
            let _ = apart(&module[..end]);
        }
        assert!(apart(b"nothing").is_err());
        let mut code = CodeSection::new();
        let mut odd = Function::new([]);
        odd.instructions().ref_func(0).drop().end();
        code.function(&odd);
        let mut module = Module::new();
        module.section(&code);
        assert!(apart(&module.finish()).unwrap_err().to_string().contains("0xd2"));
        // What stands behind the code has no length of its own, the browser finds out.
        let file = apart(&self::module()).unwrap();
        let code = file.len() - b"\x0b\x0a\x01\0\x41\x05\x0b\x04data".len();
        for end in 0..code {
            assert!(together(&file[..end]).is_err(), "{end}");
        }
    }

    #[test]
    fn more_code_than_one_block_holds_is_put_together_again() {
        let mut module = Module::new();
        let mut types = TypeSection::new();
        types.ty().function([], []);
        module.section(&types);
        let (mut functions, mut code) = (FunctionSection::new(), CodeSection::new());
        for place in 0..5000 {
            functions.function(0);
            let mut function = Function::new([]);
            for number in 0..place % 97 {
                function.instructions().i32_const(number).drop();
            }
            function.instructions().end();
            code.function(&function);
        }
        module.section(&functions).section(&code);
        let module = module.finish();
        let file = apart(&module).unwrap();
        // The first length of the second block: how many functions it has.
        assert_ne!(file[4 * (1 + 2 + STREAMS)..][..4], [0; 4]);
        assert!(wasmparser::validate(&together(&file).unwrap()).is_ok());
    }
}
