//! A text made small for a link.
//!
//! Each bit is foretold from the bits seen so far after the same zero to three bytes, and written by
//! arithmetic coding, so that what was foretold well takes next to no room. The two ends reckon the same, from
//! the same beginning: [`PRIMER`]. Nothing here may ever change, or links made before would not open; another
//! way would need another letter at the head of a link.

/// A stored batch as they mostly are: from it is known at the first byte what comes often. Its numbers are invented.
const PRIMER: &str = "\
    {¡:4,¢:\"0.1.0\",£:57,¤:1794200000,¦:{ª:1793000000,¬:{¸:Å,´:\"even\",¾:\"dry\",·:È,º:\"keg\",ĝ:\"dry\"},\
    ſ:\"mh2k7q0x3w1a\",°:[{°:\"peach\",\u{ad}:{û:1000}},{¾:\"frozen\",°:\"raspberry\",\u{ad}:{û:1800,Ą:3.2}}],\
    ®:[{½:\"pale_ale\",¨:\"\",\u{ad}:{û:2100}},{½:\"wheat\",\u{ad}:{û:1400}},{½:\"pilsner\",\u{ad}:{ü:0.45}},\
    {½:\"flaked_oats\",\u{ad}:{ü:0.1}}],¯:[{\u{ad}:{ā:0.045,Ă:15,û:12}}],±:{Ò:[0.7188345121,0.02143345781,2],\
    Ģ:[3.104512216,0.2512345678,2],Ĥ:[1.5,0.18,1],ħ:[0.08,0.21,1],Ħ:[0.05,0.09,1]},\
    §:\"mi0c8v5r2k7e\",¨:\"Sour with peach and raspberry\",«:\"\",\u{ad}:{Ì:19,õ:2.5,Ï:30,Î:40,ï:20,ã:66,í:3.4,ì:38,ð:5,Í:12.5},\
    ²:{đ:[[600000,3.5]],Ċ:[[7200,0.01]],Ï:[[180000,19.5]],Ÿ:1793003600,Đ:[[216000,12.1],[86400,6.2],\
    [86400,3.1],[86400,2.5]],Ć:[[300,0.003]],ć:[[0,5.55],[600,5.41]],ď:[[170000,12.2]],\
    Ē:[[1200000,18.5]],Ď:[[169000,21.5]],ĉ:[[5400,10.9]],Ĉ:[[5300,26.5]],Č:[[10800,4.51],[7200,4.33],\
    [7200,4.02],[7200,3.76],[7200,3.58],[7200,3.47]],ì:[[12000,37.5],[20000,37]],ċ:[[7000,5.35],\
    [360,4.52]]},³:{ę:3600,Ĝ:3600,Ę:1800,¹:600,ē:1793002000,ĕ:3600},\
    Ī:[{\u{ad}:{Þ:1.9,Ù:45,Ü:18,Ú:5,Ą:7.4,Û:10,Ý:28}}]}}";

/// How many bytes before, at most, tell what comes next.
const ORDERS: usize = 4;
/// Places for what was seen; two that meet in one spoil the foretelling a little, and nothing else.
const PLACES: usize = 1 << 18;

/// Beyond this many times the newest always counts as much.
const MOST_TIMES: f32 = 255.0;

/// What is foretold of the next bit.
struct Model {
    /// What was seen after the same bytes: how far the chance of a one is above a half, and how often it was seen.
    /// All zeros at first, which a browser hands out for nothing.
    seen: Vec<[f32; 2]>,
    /// The last bytes, the newest lowest.
    before: u32,
    /// The bits of this byte so far, behind a one.
    bits: u32,
    /// Where it is kept what came after the last bytes and these bits, for none to three of them.
    places: [usize; ORDERS],
}

impl Model {
    fn new() -> Self {
        let mut model = Self { seen: vec![[0.0; 2]; PLACES], before: 0, bits: 1, places: [0; ORDERS] };
        for byte in PRIMER.bytes() {
            for place in (0..8).rev() {
                model.learn(byte >> place & 1 == 1);
            }
        }
        model
    }

    /// Chance of a one, of 65,536, never quite none or all. What is surer counts more, and so does what was seen
    /// more often or after more of the same bytes.
    fn chance(&self) -> u32 {
        let (mut sum, mut weights, mut weight) = (0.000_5_f32, 0.001_f32, 1.0_f32);
        for place in self.places {
            let [above, times] = self.seen[place];
            let one = 0.5 + above;
            let counts = weight * times / (times + 3.0) / (one * (1.0 - one) + 0.002);
            sum += counts * one;
            weights += counts;
            weight *= 3.0;
        }
        ((sum / weights * 65_536.0) as u32).clamp(16, 65_520)
    }

    fn learn(&mut self, bit: bool) {
        let target = if bit { 0.5 } else { -0.5 };
        for place in self.places {
            let [above, times] = &mut self.seen[place];
            *above += (target - *above) / (*times + 1.3);
            *times = (*times + 1.0).min(MOST_TIMES);
        }
        self.bits = self.bits << 1 | u32::from(bit);
        if self.bits > 0xff {
            self.before = self.before << 8 | self.bits & 0xff;
            self.bits = 1;
        }
        for (order, place) in self.places.iter_mut().enumerate() {
            let bytes = self.before & ((1_u64 << (8 * order)) - 1) as u32;
            let mixed = bytes.wrapping_mul(0x9e37_79b1) ^ (self.bits << 2 | order as u32);
            *place = (mixed.wrapping_mul(0x85eb_ca6b) >> 14) as usize;
        }
    }
}

/// The span of numbers that what was written so far leaves open, both ends in it.
struct Span {
    low: u32,
    high: u32,
}

impl Span {
    /// The whole, with nothing written.
    const ALL: Self = Self { low: 0, high: u32::MAX };

    /// The last number that stands for a one.
    fn middle(&self, chance: u32) -> u32 {
        self.low + ((u64::from(self.high - self.low) * u64::from(chance)) >> 16) as u32
    }

    fn narrow(&mut self, middle: u32, bit: bool) {
        if bit {
            self.high = middle;
        } else {
            self.low = middle + 1;
        }
    }

    /// The first byte of every number in the span, once it is settled; it is then dropped.
    fn settled(&mut self) -> Option<u8> {
        if (self.low ^ self.high) >> 24 != 0 {
            return None;
        }
        let byte = (self.low >> 24) as u8;
        self.low <<= 8;
        self.high = self.high << 8 | 0xff;
        Some(byte)
    }
}

/// The text made small. It must hold no NUL, which marks its end; JSON holds none.
pub(super) fn squeeze(text: &str) -> Vec<u8> {
    let (mut model, mut span, mut out) = (Model::new(), Span::ALL, Vec::new());
    for byte in text.bytes().chain([0]) {
        for place in (0..8).rev() {
            let bit = byte >> place & 1 == 1;
            let middle = span.middle(model.chance());
            span.narrow(middle, bit);
            model.learn(bit);
            while let Some(byte) = span.settled() {
                out.push(byte);
            }
        }
    }
    // The ends differ in their first byte, so this one with nothing but zeros behind it is in the span.
    out.push((span.low >> 24) as u8 + 1);
    out
}

/// The text that was made small, when it is no longer than `most` bytes.
pub(super) fn unsqueeze(small: &[u8], most: usize) -> Option<String> {
    let (mut model, mut span, mut out) = (Model::new(), Span::ALL, Vec::new());
    let mut bytes = small.iter().copied().chain(std::iter::repeat(0));
    let mut next = move || u32::from(bytes.next().unwrap_or_default());
    let mut code = 0;
    for _ in 0..4 {
        code = code << 8 | next();
    }
    while out.len() <= most {
        for _ in 0..8 {
            let middle = span.middle(model.chance());
            let bit = code <= middle;
            span.narrow(middle, bit);
            model.learn(bit);
            while span.settled().is_some() {
                code = code << 8 | next();
            }
        }
        match model.before as u8 {
            0 => return String::from_utf8(out).ok(),
            byte => out.push(byte),
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_was_squeezed_once_opens_for_ever() {
        let text = "{¡:4,¦:{¨:\"Sour, “é” 😀\"}} 0123";
        let small = squeeze(text);
        assert_eq!(
            small,
            [
                18, 28, 2, 35, 142, 198, 150, 189, 151, 53, 136, 123, 67, 47, 144, 121, 225, 210, 137, 29, 5,
                213, 174, 91, 28, 59, 134, 245, 234, 80, 113, 191
            ]
        );
        assert_eq!(unsqueeze(&small, 99).as_deref(), Some(text));
    }

    proptest! {
        #[test]
        fn what_is_squeezed_comes_back(text in "[^\\x00]{0,300}") {
            let small = squeeze(&text);
            prop_assert_eq!(unsqueeze(&small, text.len()), Some(text));
        }

        #[test]
        fn junk_never_brings_it_down(junk in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = unsqueeze(&junk, 2_000);
        }
    }
}
