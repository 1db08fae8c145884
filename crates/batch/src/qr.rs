//! QR codes by ISO/IEC 18004: bytes at level L, the one that holds most, for a code on a screen is never torn.
//!
//! Always with the first of the eight masks. They are there against large plain patches, and what is coded here
//! looks like chance.

/// The most bytes that a code holds.
pub const MOST: usize = 2_953;
/// The most bytes up to which a phone reads a code on another phone's screen with ease: 117 modules across. Our
/// estimate.
pub const READS_WELL: usize = 1_273;
/// Modules that must stay light on each side.
const QUIET: usize = 4;

/// Bytes of correction in each block, for each version from 1 to 40.
const CORRECTION: &[u8; 40] = &[
    7, 10, 15, 20, 26, 18, 20, 24, 30, 18, 20, 24, 26, 30, 22, 24, 28, 30, 28, 28, 28, 28, 30, 30, 26, 28,
    30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30,
];
/// Blocks of each version.
const BLOCKS: &[u8; 40] = &[
    1, 1, 1, 1, 1, 2, 2, 2, 2, 4, 4, 4, 4, 4, 6, 6, 6, 6, 7, 8, 8, 9, 9, 10, 12, 12, 12, 13, 14, 15, 16, 17,
    18, 19, 19, 20, 21, 22, 24, 25,
];

/// A code as a drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Code {
    /// How many modules it is wide and high, with the quiet zone.
    pub size: usize,
    /// Its dark modules as the path of an SVG, a module being one unit.
    pub path: String,
}

/// The code of a text; nothing when it has more than [`MOST`] bytes.
pub fn code(text: &str) -> Option<Code> {
    let bytes = text.as_bytes();
    let version = (1..=40).find(|&version| bytes.len() + head(version) <= room(version))?;
    let mut grid = Grid::new(version);
    grid.patterns(version);
    grid.fill(&corrected(bytes, version));
    Some(Code { size: grid.size + 2 * QUIET, path: grid.path() })
}

/// Bytes that the head takes: four bits for the kind, eight or sixteen for the length, and the end.
const fn head(version: usize) -> usize {
    if version < 10 { 2 } else { 3 }
}

/// Bytes of a version, corrections and all.
const fn all(version: usize) -> usize {
    let mut modules = (16 * version + 128) * version + 64;
    if version > 1 {
        let across = version / 7 + 2;
        modules -= (25 * across - 10) * across - 55;
        if version > 6 {
            modules -= 36;
        }
    }
    modules / 8
}

fn counts(version: usize) -> (usize, usize) {
    (usize::from(CORRECTION[version - 1]), usize::from(BLOCKS[version - 1]))
}

/// Bytes of a version without the corrections.
fn room(version: usize) -> usize {
    let (correction, blocks) = counts(version);
    all(version) - correction * blocks
}

/// Product in the field of 256 elements.
fn times(a: u8, b: u8) -> u8 {
    (0..8).rev().fold(0, |product: u8, bit| {
        let doubled = product << 1 ^ if product & 0x80 == 0 { 0 } else { 0x1d };
        doubled ^ if b >> bit & 1 == 0 { 0 } else { a }
    })
}

/// The bytes with their head, filling and corrections, in the order they are drawn.
fn corrected(bytes: &[u8], version: usize) -> Vec<u8> {
    let mut nibbles = vec![4_usize];
    let digits = if version < 10 { 2 } else { 4 };
    nibbles.extend((0..digits).rev().map(|place| bytes.len() >> (4 * place) & 15));
    nibbles.extend(bytes.iter().flat_map(|&byte| [usize::from(byte >> 4), usize::from(byte & 15)]));
    nibbles.push(0);
    let mut data: Vec<u8> = nibbles.chunks(2).map(|pair| (pair[0] << 4 | pair[1]) as u8).collect();
    let room = room(version);
    for filling in [0xec, 0x11].into_iter().cycle().take(room - data.len()) {
        data.push(filling);
    }

    let (correction, blocks) = counts(version);
    // The product of (x - 2^k), without its first coefficient, which is one.
    let mut divisor = vec![0_u8; correction];
    divisor[correction - 1] = 1;
    let mut root = 1;
    for _ in 0..correction {
        for place in 0..correction {
            let next = divisor.get(place + 1).copied().unwrap_or_default();
            divisor[place] = times(divisor[place], root) ^ next;
        }
        root = times(root, 2);
    }
    // The first blocks are one byte shorter when the bytes do not go up evenly.
    let short = blocks - room % blocks;
    let mut parts = Vec::with_capacity(blocks);
    let mut rest = &data[..];
    for block in 0..blocks {
        let (part, others) = rest.split_at(room / blocks + usize::from(block >= short));
        rest = others;
        let mut remainder = vec![0_u8; correction];
        for byte in part {
            let factor = byte ^ remainder.remove(0);
            remainder.push(0);
            for (kept, &coefficient) in remainder.iter_mut().zip(&divisor) {
                *kept ^= times(coefficient, factor);
            }
        }
        parts.push((part, remainder));
    }
    let mut out = Vec::with_capacity(all(version));
    for place in 0..=room / blocks {
        out.extend(parts.iter().filter_map(|(part, _)| part.get(place)));
    }
    for place in 0..correction {
        out.extend(parts.iter().map(|(_, remainder)| remainder[place]));
    }
    out
}

/// The modules: dark or light, and whether they are settled before the bytes come.
struct Grid {
    size: usize,
    dark: Vec<bool>,
    settled: Vec<bool>,
}

impl Grid {
    fn new(version: usize) -> Self {
        let size = 17 + 4 * version;
        Self { size, dark: vec![false; size * size], settled: vec![false; size * size] }
    }

    fn settle(&mut self, x: usize, y: usize, dark: bool) {
        self.dark[y * self.size + x] = dark;
        self.settled[y * self.size + x] = true;
    }

    /// Squares one in the other around a middle: those at the distances named are light.
    fn squares(&mut self, x: usize, y: usize, reach: usize, light: [usize; 2]) {
        let last = self.size - 1;
        for row in y.saturating_sub(reach)..=(y + reach).min(last) {
            for column in x.saturating_sub(reach)..=(x + reach).min(last) {
                let away = row.abs_diff(y).max(column.abs_diff(x));
                self.settle(column, row, !light.contains(&away));
            }
        }
    }

    /// All that is no data.
    fn patterns(&mut self, version: usize) {
        let size = self.size;
        for place in 0..size {
            self.settle(6, place, place % 2 == 0);
            self.settle(place, 6, place % 2 == 0);
        }
        let last = size - 4;
        for (x, y) in [(3, 3), (last, 3), (3, last)] {
            self.squares(x, y, 4, [2, 4]);
        }
        if version > 1 {
            let across = version / 7 + 2;
            let step = (version * 8 + across * 3 + 5) / (across * 4 - 4) * 2;
            let at = |place: usize| if place == 0 { 6 } else { size - 7 - step * (across - 1 - place) };
            for row in 0..across {
                for column in 0..across {
                    let corners = (row == 0 && column + 1 == across) || (column == 0 && row + 1 == across);
                    if !corners && (row, column) != (0, 0) {
                        self.squares(at(column), at(row), 2, [1, 1]);
                    }
                }
            }
        }
        // Level L is 01, the mask 000; the rest corrects them, and a pattern is laid over.
        let format = guarded(0b01_000, 10, 0x537) ^ 0x5412;
        for place in 0..15 {
            let dark = format >> place & 1 == 1;
            let (x, y) = match place {
                0..6 => (8, place),
                6 | 7 => (8, place + 1),
                8 => (7, 8),
                _ => (14 - place, 8),
            };
            self.settle(x, y, dark);
            let (x, y) = if place < 8 { (size - 1 - place, 8) } else { (8, size - 15 + place) };
            self.settle(x, y, dark);
        }
        self.settle(8, size - 8, true);
        if version > 6 {
            let bits = guarded(version, 12, 0x1f25);
            for place in 0..18 {
                let (along, across) = (place / 3, size - 11 + place % 3);
                let dark = bits >> place & 1 == 1;
                self.settle(along, across, dark);
                self.settle(across, along, dark);
            }
        }
    }

    /// Lays the bytes out in pairs of columns from the right, up and down in turn, under the mask.
    fn fill(&mut self, bytes: &[u8]) {
        let mut bits = bytes.iter().flat_map(|byte| (0..8).rev().map(move |bit| byte >> bit & 1 == 1));
        let mut upward = true;
        let mut right = self.size - 1;
        while right > 0 {
            // The column of the clock is passed over.
            if right == 6 {
                right = 5;
            }
            for step in 0..self.size {
                let y = if upward { self.size - 1 - step } else { step };
                for x in [right, right - 1] {
                    if !self.settled[y * self.size + x] {
                        // A few modules may be left over; they count as zeros.
                        let bit = bits.next().unwrap_or_default();
                        self.dark[y * self.size + x] = bit ^ ((x + y) % 2 == 0);
                    }
                }
            }
            upward = !upward;
            right = right.saturating_sub(2);
        }
    }

    /// The dark modules, one stroke for each run of a row.
    fn path(&self) -> String {
        let mut path = String::new();
        for (y, row) in self.dark.chunks(self.size).enumerate() {
            let mut x = 0;
            while x < self.size {
                let run = row[x..].iter().take_while(|dark| **dark).count();
                if run > 0 {
                    path.push_str(&format!("M{} {}h{run}v1h-{run}z", x + QUIET, y + QUIET));
                }
                x += run + 1;
            }
        }
        path
    }
}

/// Bits with those behind them that correct them.
fn guarded(bits: usize, count: usize, divisor: usize) -> usize {
    let rest = (0..count).fold(bits, |rest, _| (rest << 1) ^ ((rest >> (count - 1)) * divisor));
    bits << count | rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bounds_are_those_of_the_standard() {
        assert_eq!((room(1), room(7), room(40)), (19, 156, 2_956));
        assert_eq!((MOST, READS_WELL), (room(40) - head(40), room(25) - head(25)));
        assert_eq!(code(&"x".repeat(MOST)).map(|code| code.size), Some(177 + 8));
        assert_eq!(code(&"x".repeat(MOST + 1)), None);
        assert_eq!(code("").map(|code| code.size), Some(21 + 8));
    }

    /// The code as a picture with so many points to a module, drawn from its path.
    fn picture(code: &Code, points: usize) -> Vec<Vec<bool>> {
        let mut dark = vec![vec![false; code.size * points]; code.size * points];
        for stroke in code.path.split('M').skip(1) {
            let (x, rest) = stroke.split_once(' ').unwrap();
            let (y, rest) = rest.split_once('h').unwrap();
            let (run, _) = rest.split_once('v').unwrap();
            let [x, y, run] = [x, y, run].map(|number| number.parse::<usize>().unwrap() * points);
            for row in &mut dark[y..y + points] {
                row[x..x + run].fill(true);
            }
        }
        dark
    }

    #[test]
    fn another_reader_reads_codes_of_every_size() {
        let letters = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
        let mut odd = 7_u32;
        for version in 1..=40 {
            // The least and the most that need this version.
            let least = if version == 1 { 1 } else { room(version - 1) - head(version - 1) + 1 };
            for length in [least, room(version) - head(version)] {
                let text: String = "https://example.org/#/open/a"
                    .chars()
                    .chain(std::iter::repeat_with(|| {
                        odd = odd.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        char::from(letters[(odd >> 26) as usize])
                    }))
                    .take(length)
                    .collect();
                let code = code(&text).unwrap();
                assert_eq!(code.size, 17 + 4 * version + 8, "{length}");
                let dark = picture(&code, 3);
                let shade = |x: usize, y: usize| if dark[y][x] { 0 } else { 255 };
                let mut image = rqrr::PreparedImage::prepare_from_greyscale(dark.len(), dark.len(), shade);
                let grids = image.detect_grids();
                assert_eq!(grids.len(), 1, "version {version}");
                let (meta, read) = grids[0].decode().unwrap();
                assert_eq!((meta.version.0, read), (version, text));
            }
        }
    }
}
