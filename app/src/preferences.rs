//! What a person prefers: units and look.

use batch::house::Rules;
use batch::json::{Kept, name};
use batch::keep::KeepError;
use batch::say::{Piece, Sentence};
use calc::quantity::{Amount, Dimension, System, Unit};
use serde_json::{Map, Value};

/// The look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Preferences {
    /// Default units.
    pub system: System,
    /// Units chosen where they are shown, by key.
    pub units: Vec<(Dimension, String)>,
    /// The look.
    pub theme: Theme,
    /// Words of help at each stage.
    pub hide_help: bool,
    /// Which house numbers are frozen or begun anew.
    pub rules: Rules,
}

impl Preferences {
    /// Reads what [`Preferences::to_text`] wrote. What it does not know it leaves at the usual.
    ///
    /// # Errors
    /// [`KeepError`] for a text that is no JSON object.
    pub fn of_text(text: &str) -> Result<Self, KeepError> {
        let Value::Object(entries) = serde_json::from_str(text)? else {
            return Err(KeepError::NotAnEnvelope);
        };
        let word = |key: &str| entries.get(key).and_then(Value::as_str).unwrap_or_default();
        let theme = Theme::ALL.iter().find(|(theme, _)| theme.key() == word("theme"));
        let mut read = Self {
            system: if word("system") == "us" { System::Us } else { System::Metric },
            theme: theme.map_or(Theme::Device, |(theme, _)| *theme),
            hide_help: entries.get("hide_help") == Some(&Value::Bool(true)),
            units: Vec::new(),
            rules: Rules::default(),
        };
        // What is no object leaves all numbers learning.
        let _ = read.rules.fill(entries.get("house").cloned().unwrap_or_default());
        for &dimension in Dimension::ALL {
            let unit =
                entries.get("units").and_then(|units| units.get(name(&dimension))).and_then(Value::as_str);
            read.units.extend(unit.map(|unit| (dimension, unit.to_owned())));
        }
        Ok(read)
    }

    /// The preferences as JSON.
    pub fn to_text(&self) -> String {
        let units: Map<String, Value> = self
            .units
            .iter()
            .map(|(dimension, unit)| (name(dimension), Value::String(unit.clone())))
            .collect();
        let mut entries = Map::new();
        entries.insert("system".to_owned(), Value::String(name(&self.system)));
        entries.insert("theme".to_owned(), Value::String(self.theme.key().to_owned()));
        entries.insert("hide_help".to_owned(), Value::Bool(self.hide_help));
        entries.insert("units".to_owned(), Value::Object(units));
        entries.insert("house".to_owned(), self.rules.to_json());
        Value::Object(entries).to_string()
    }

    /// The unit in use for a kind of quantity.
    pub fn unit(&self, dimension: Dimension) -> Unit {
        self.units
            .iter()
            .find(|chosen| chosen.0 == dimension)
            .and_then(|(_, key)| dimension.units().iter().find(|unit| unit.key == key))
            .copied()
            .unwrap_or_else(|| dimension.default_unit(self.system))
    }

    /// Changes to the next unit of this kind.
    pub fn next_unit(&mut self, dimension: Dimension) {
        let units = dimension.units();
        let current = self.unit(dimension);
        let place = units.iter().position(|unit| unit.key == current.key).unwrap_or(0);
        let next = &units[(place + 1) % units.len()];
        self.units.retain(|chosen| chosen.0 != dimension);
        self.units.push((dimension, next.key.to_owned()));
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
