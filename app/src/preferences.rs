//! What a person prefers: units and look.

use batch::house::Rules;
use batch::json::{Json, Kept as _, Writer, name};
use batch::keep::KeepError;
use batch::say::{Piece, Sentence};
use calc::quantity::{Amount, Dimension, System, Unit};

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
    /// Units chosen where they are shown, by key; one for a dimension, in the order of the dimensions.
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
        let mut read = Self::default();
        for (key, value) in Json::of(text)?.entries()? {
            let word = value.string().unwrap_or_default();
            match key {
                "system" if word == "us" => read.system = System::Us,
                "theme" => {
                    let theme = Theme::ALL.iter().find(|(theme, _)| theme.key() == word);
                    read.theme = theme.map_or(Theme::Device, |(theme, _)| *theme);
                }
                "hide_help" => read.hide_help = value.text() == "true",
                "units" => {
                    for (key, unit) in value.entries()? {
                        let dimension = Dimension::ALL.iter().find(|dimension| name(*dimension) == key);
                        if let Some((&dimension, unit)) = dimension.zip(unit.string()) {
                            read.choose(dimension, unit);
                        }
                    }
                }
                // What is no object leaves all numbers learning.
                "house" => drop(read.rules.fill(value)),
                _ => {}
            }
        }
        Ok(read)
    }

    /// The preferences as JSON.
    pub fn to_text(&self) -> String {
        let mut out = Writer::default();
        out.open('{');
        out.key("system");
        out.string(&name(&self.system));
        out.key("units");
        out.open('{');
        for (dimension, unit) in &self.units {
            out.key(&name(dimension));
            out.string(unit);
        }
        out.close('}');
        out.key("theme");
        out.string(self.theme.key());
        out.key("hide_help");
        out.plain(if self.hide_help { "true" } else { "false" });
        out.key("house");
        self.rules.write(&mut out);
        out.close('}');
        out.done()
    }

    fn choose(&mut self, dimension: Dimension, unit: String) {
        self.units.retain(|chosen| chosen.0 != dimension);
        let place = self.units.partition_point(|chosen| chosen.0 < dimension);
        self.units.insert(place, (dimension, unit));
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
        self.choose(dimension, next.key.to_owned());
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
