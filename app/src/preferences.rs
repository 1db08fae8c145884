//! What a person prefers: units and look.

use batch::say::{Piece, Sentence};
use calc::quantity::{Amount, Dimension, System, Unit};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Theme {
    /// As the device says.
    #[default]
    Device,
    /// Ink on paper.
    Light,
    /// Paper on ink.
    Dark,
    /// Hardest contrast, for direct sun.
    Sun,
}

impl Theme {
    /// Every theme with its name.
    pub const ALL: &[(Self, &str)] =
        &[(Self::Device, "As the device"), (Self::Light, "Light"), (Self::Dark, "Dark"), (Self::Sun, "Sun")];

    /// The value of the page's `data-theme`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Device => "device",
            Self::Light => "light",
            Self::Dark => "dark",
            Self::Sun => "sun",
        }
    }
}

/// What a person prefers.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Preferences {
    /// Default units.
    pub system: System,
    /// Units chosen where they are shown, by key.
    pub units: BTreeMap<Dimension, String>,
    /// The look.
    pub theme: Theme,
    /// Words of help at each stage.
    pub hide_help: bool,
}

impl Preferences {
    /// The unit in use for a kind of quantity.
    pub fn unit(&self, dimension: Dimension) -> Unit {
        self.units
            .get(&dimension)
            .and_then(|key| dimension.units().iter().find(|unit| unit.key == key))
            .copied()
            .unwrap_or_else(|| dimension.default_unit(self.system))
    }

    /// Changes to the next unit of this kind.
    pub fn next_unit(&mut self, dimension: Dimension) {
        let units = dimension.units();
        let current = self.unit(dimension);
        let place = units.iter().position(|unit| unit.key == current.key).unwrap_or(0);
        let next = &units[(place + 1) % units.len()];
        self.units.insert(dimension, next.key.to_owned());
    }

    /// Changes all units to a system's, forgetting single choices.
    pub fn set_system(&mut self, system: System) {
        self.system = system;
        self.units.clear();
    }

    /// An amount with its unit.
    pub fn text(&self, amount: Amount) -> String {
        amount.text(&self.unit(amount.dimension))
    }

    /// A sentence in this person's units and time.
    pub fn say(&self, sentence: &Sentence, now: batch::moment::Moment) -> String {
        let mut text = String::new();
        for piece in sentence {
            match piece {
                Piece::Words(words) => text.push_str(words),
                Piece::Name(name) => text.push_str(name),
                Piece::Amount(amount) => text.push_str(&self.text(*amount)),
                Piece::Time(moment) => text.push_str(&crate::clock::short(*moment, now)),
            }
        }
        text
    }
}
