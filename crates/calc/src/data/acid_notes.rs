//! Acids on the tongue and in the hand.

use super::Source;
use super::acids::{Acid, AcidKind};
use crate::quantity::{Concentration, Fraction};

/// Source of [`AcidKind::taste_threshold`].
pub const TASTE_SOURCE: Source =
    Source::published("Shayevitz et al. 2022, J. ASBC 80:258, as quoted by a supplier: lactic acid in beer");
/// Source of [`SOURNESS`].
pub const SOURNESS_SOURCE: Source = Source::published(
    "Da Conceicao Neta, Johanningsmeier, Drake & McFeeters, A chemical basis for sour taste perception of acid solutions and fresh-pack dill pickles, J. Food Sci., abstract",
);
/// What makes the sourness, in words.
pub const SOURNESS: &str = "What tastes sour is the acid that still holds its proton, mole for mole the same for every organic acid, together with the free protons.";
/// Source of the hazards.
pub const HAZARD_SOURCE: Source = Source::common_practice(
    "how concentrated acids are handled everywhere; the bottle's own safety sheet counts before it",
);

/// What to say when an acid is about to be handled.
pub const HAZARDS: [&str; 4] = [
    "Wear goggles and gloves; rinse splashes with much water for 15 minutes, and see a doctor about an eye.",
    "Pour acid into water or wort, never the reverse, slowly and while stirring.",
    "Keep it away from chlorine cleaners, bleach and sanitisers with chlorine: they give off poisonous gas.",
    "Label every dilution with acid, strength and date, close it, and keep it from children and from drinks.",
];

impl AcidKind {
    /// Concentration from which half the tasters notice the acid in beer; `None` where no figure
    /// is known to us. Source: [`TASTE_SOURCE`].
    pub const fn taste_threshold(self) -> Option<Concentration> {
        match self {
            Self::Lactic => Some(Concentration::mg_per_l(686.0)),
            Self::Phosphoric | Self::Citric | Self::Malic | Self::Tartaric => None,
        }
    }

    /// True for what is sold as crystals.
    pub const fn is_solid(self) -> bool {
        matches!(self, Self::Citric | Self::Malic | Self::Tartaric)
    }
}

impl Acid {
    /// What this acid does to people: the first thing to read before it is poured. Source: [`HAZARD_SOURCE`].
    pub fn hazard(&self) -> &'static str {
        let strong = self.strength > Fraction::percent(25.0);
        match self.kind {
            AcidKind::Phosphoric if strong => {
                "Strong phosphoric acid burns skin and blinds; it also dissolves stone and metal."
            }
            AcidKind::Lactic if strong => "Strong lactic acid burns eyes and skin.",
            AcidKind::Citric | AcidKind::Malic | AcidKind::Tartaric
                if self.strength > Fraction::percent(90.0) =>
            {
                "The crystals and their dust hurt eyes and irritate skin and breath."
            }
            _ => "Even diluted it hurts the eyes.",
        }
    }
}
