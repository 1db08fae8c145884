//! What the words mean, for who does this for the first time.

use crate::page::MORE;
use crate::view::{Shows, View, tag};
use crate::widgets::back;

/// Each word with its meaning, in the order of the alphabet.
const WORDS: &[(&str, &str)] = &[
    (
        "Acid drop",
        "Lowering the wort's pH with acid before the bacteria go in, so that little else can grow.",
    ),
    ("Alkalinity", "How much acid a water takes up before its pH falls; dissolved carbonate makes it."),
    ("Alpha acid", "The part of hops that boiling turns bitter."),
    (
        "Attenuation",
        "The share of the extract that yeast has used up. Apparent, because alcohol makes a hydrometer read low.",
    ),
    ("Batch book", "All your batches, on this device."),
    ("Bitterness, IBU", "Milligrams of bitter acids in a litre. Sour beer needs few: 5 to 15."),
    (
        "Brew again",
        "A new batch from an old one, with the newest house numbers and, best, one thing changed.",
    ),
    ("Brix", "What a refractometer reads: roughly grams of sugar in 100 g."),
    ("Buffering", "How much acid it takes to move the pH. Wort resists more than water."),
    (
        "Burst check",
        "The highest pressure a closed package could reach at its warmest, against what it is rated for.",
    ),
    ("Carbonation", "Litres of gas in a litre of beer, called volumes. Most sour beer has 2.4 to 3."),
    ("Dose ladder", "Adding a part of the acid, stirring, measuring, and only then the rest."),
    ("Extract", "Everything dissolved from the malt, nearly all of it sugar."),
    (
        "Finish",
        "What the water does to the last sip: lean dries, even does neither, plush rounds, saline salts.",
    ),
    ("Give or take", "Eight times in ten the true value lies within this much of the one shown."),
    ("Gravity", "How dense the wort is, as specific gravity (1.045) or degrees Plato (11.2 % of extract)."),
    ("Grist", "The malts and grains of the mash."),
    ("Headspace", "The gas above the liquid in a closed vessel."),
    ("House number", "What your kit and your hands taught, such as how fast your kettle boils off water."),
    ("Keepsake", "A file with your whole batch book, to keep elsewhere."),
    ("Mash", "Malt in hot water, where its starch becomes sugar."),
    ("Mash-out", "Heating the mash to about 77 °C at the end, so that it runs off well."),
    ("Next move", "The one thing to do now, with its amount."),
    (
        "pH",
        "How sour, on a scale on which less is more: wort 5.4, sour beer 3.3. One step down is ten times as much.",
    ),
    ("Pitch", "Adding bacteria or yeast."),
    ("Priming", "Sugar at bottling, which the yeast turns into the gas."),
    ("Purée", "Fruit made fine, most often heated and packed clean."),
    ("Reading", "What you measured, with its time."),
    (
        "Residual alkalinity",
        "Alkalinity less what calcium and magnesium take away in the mash: what pulls the mash pH up.",
    ),
    ("Room left", "The space above the beer, foam counted."),
    ("Runoff", "The wort that leaves the grain."),
    ("Sanitise", "Killing nearly all germs on something that is clean already."),
    (
        "Souring bacteria",
        "Lactobacillus and its kin, which turn sugar into lactic acid. Hops and cold stop them.",
    ),
    ("Spunding", "Closing the fermenter under a valve, so that the beer keeps its own gas."),
    ("Starter", "Yeast woken up in a little wort before the batch."),
    ("Strike water", "The hot water into which the malt is stirred."),
    (
        "Titratable acidity",
        "How much acid there is, by the base it takes to undo it. The tongue follows it better than pH.",
    ),
    ("Wort", "What beer is before yeast."),
];

/// The glossary.
pub fn screen() -> View {
    let words = WORDS
        .iter()
        .flat_map(|(word, meaning)| [tag("dt").child(*word).view(), tag("dd").child(*meaning).view()]);
    View::many(vec![
        back(MORE, "Settings"),
        tag("main")
            .set("tabindex", "-1")
            .child(tag("h1").child("What the words mean"))
            .child(tag("dl").set("data-test", "words").child(words.collect::<Vec<View>>()))
            .view(),
    ])
}
