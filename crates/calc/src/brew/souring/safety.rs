//! Advice about souring, each with where it comes from. Advice, not law: local
//! rules and the brewer's own judgement decide.

use crate::data::Source;

/// When advice is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Occasion {
    /// Before the bacteria go in.
    BeforePitch,
    /// While they work.
    WhileSouring,
    /// The pH is still above 4.6 after a day.
    StillHigh,
    /// Wort kept unsoured for the yeast's starter.
    SetAside,
    /// Signs that the wort is spoiled.
    ThrowOut,
}

/// One piece of advice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Advice {
    /// When it is wanted.
    pub when: Occasion,
    /// What it says.
    pub says: &'static str,
    /// Where it comes from.
    pub source: Source,
}

const fn advice(when: Occasion, says: &'static str, source: Source) -> Advice {
    Advice { when, says, source }
}

/// All advice about souring.
pub const ADVICE: &[Advice] = &[
    advice(
        Occasion::BeforePitch,
        "Boil the wort, cool it, move it into clean vessels, and bring it to pH 4.2 to 4.5 with acid before the \
         bacteria go in. Then nothing dangerous can grow in the time they need.",
        Source::our_estimate(
            "pH 4.6 is the line of 21 CFR 114 for acidified food; the boil and the acid are there before the souring must be",
        ),
    ),
    advice(
        Occasion::BeforePitch,
        "No hops before souring is best. Up to 2 or 3 IBU most cultures bear; above 8 expect it to fail.",
        Source::our_estimate(
            "sensitive lactic bacteria stop at 3.6 to 14.5 mg/L of iso-alpha-acid (Simpson 1993, J. Inst. Brew. 99:405)",
        ),
    ),
    advice(
        Occasion::WhileSouring,
        "Keep air out: fill to the top, flush with carbon dioxide or lay film on the wort. Air feeds what smells of \
         cheese and vinegar; these bacteria need none.",
        Source::common_practice("oxygen is kept from souring wort"),
    ),
    advice(
        Occasion::WhileSouring,
        "Below pH 4.6 bacteria of botulism no longer grow. Measure within the first day.",
        Source::from_memory("21 CFR 114.3: acidified food is at pH 4.6 or below"),
    ),
    advice(
        Occasion::WhileSouring,
        "Other germs bear more acid than these: E. coli was seen to grow at pH 4.0 and not at 3.7. The boil after \
         souring is part of the method.",
        Source::published("Presser, Ratkowsky & Ross 1997, Appl. Environ. Microbiol. 63:2355"),
    ),
    advice(
        Occasion::StillHigh,
        "Still above pH 4.6 after a day: don't taste it and don't wait. The safe choice is to throw it out. If the \
         acid drop was forgotten and the wort was boiled and kept clean for less than a day, it can be acidified \
         to 4.5, boiled again and pitched afresh: whoever does so decides on their own.",
        Source::our_estimate("nothing published for home-soured wort; the line is that of 21 CFR 114"),
    ),
    advice(
        Occasion::SetAside,
        "Wort set aside for the yeast is not acid and keeps like fresh milk: into a clean closed vessel while hot, \
         cold within the hour, in the fridge for two days at most or frozen, and boiled again for ten minutes \
         before use. Never sealed and warm.",
        Source::our_estimate(
            "unacidified wort above pH 4.6 without air is where bacteria of botulism can grow",
        ),
    ),
    advice(
        Occasion::ThrowOut,
        "Mould of any colour, slime or ropes, a smell of vomit, rotten eggs, cheese or nail polish, gas in a closed \
         vessel before any yeast, or a pH that rises: throw it out untasted.",
        Source::common_practice("signs of spoilage in souring wort"),
    ),
];

/// The advice for an occasion.
pub fn advice_for(when: Occasion) -> impl Iterator<Item = &'static Advice> {
    ADVICE.iter().filter(move |advice| advice.when == when)
}
