//! What was measured.

use super::Spec;
use super::step::Stage;
use crate::moment::Moment;
use calc::quantity::{Amount, Dimension, Temperature};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Declares the kinds of reading with their table rows.
macro_rules! readings {
    ($( $(#[$doc:meta])* $name:ident $key:literal in $stage:ident as $dimension:ident, $label:literal, $low:literal ..= $high:literal; )+) => {
        /// What was measured.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum ReadingKind { $( $(#[$doc])* $name, )+ }

        impl ReadingKind {
            /// Every kind, in the order of the day.
            pub const ALL: &[Self] = &[$(Self::$name),+];

            /// The stage it belongs to.
            pub const fn stage(self) -> Stage {
                match self { $( Self::$name => Stage::$stage, )+ }
            }

            /// Label, unit and range of the reading.
            pub fn spec(self) -> &'static Spec {
                match self {
                    $( Self::$name => {
                        const SPEC: &Spec = &Spec {
                            label: $label,
                            key: $key,
                            dimension: Dimension::$dimension,
                            low: Amount::in_base(Dimension::$dimension, $low as f64),
                            high: Amount::in_base(Dimension::$dimension, $high as f64),
                            assumed: None,
                        };
                        SPEC
                    } )+
                }
            }
        }
    };
}

readings! {
    /// Acid stirred into the mash since the last reading.
    MashAcid "mash_acid_l" in Mash as SmallVolume, "Acid added to the mash", 0.0..=0.5;
    /// pH of the mash, cooled to room temperature.
    MashPh "mash_ph" in Mash as Ph, "Mash pH", 3.5..=8.0;
    /// Volume in the kettle before the sanitising boil, hot.
    PreBoilVolume "pre_boil_volume_l" in FirstBoil as Volume, "Volume before the boil, hot", 1.0..=120.0;
    /// Gravity before the sanitising boil.
    PreBoilGravity "pre_boil_gravity_plato" in FirstBoil as Gravity, "Gravity before the boil", 0.0..=30.0;
    /// Acid stirred into the wort since the last reading.
    DropAcid "drop_acid_l" in AcidDrop as SmallVolume, "Acid added to the wort", 0.0..=1.0;
    /// pH of the wort before the souring bacteria.
    WortPh "wort_ph" in AcidDrop as Ph, "Wort pH", 3.0..=7.5;
    /// pH during souring.
    SourPh "sour_ph" in Souring as Ph, "pH while souring", 2.5..=7.0;
    /// Temperature during souring.
    SourTemperature "sour_temperature_c" in Souring as Temperature, "Temperature while souring", 0.0..=60.0;
    /// Titratable acidity of the sour wort.
    SourAcidity "sour_acidity_g_per_l_lactic" in Souring as TitratableAcidity, "Titratable acidity", 0.0..=40.0;
    /// Volume in the kettle after the main boil, hot.
    PostBoilVolume "post_boil_volume_l" in MainBoil as Volume, "Volume after the boil, hot", 1.0..=120.0;
    /// Original gravity.
    OriginalGravity "original_gravity_plato" in MainBoil as Gravity, "Original gravity", 0.0..=35.0;
    /// Volume in the fermenter.
    FermenterVolume "fermenter_volume_l" in MainBoil as Volume, "Volume in the fermenter", 1.0..=120.0;
    /// Gravity during fermentation, by hydrometer.
    Gravity "gravity_plato" in Ferment as Gravity, "Gravity now, by hydrometer", -5.0..=35.0;
    /// pH of the beer.
    BeerPh "beer_ph" in Fruit as Ph, "Beer pH", 2.5..=6.0;
    /// Volume packaged.
    PackagedVolume "packaged_volume_l" in Package as Volume, "Volume packaged", 0.5..=120.0;
}

impl ReadingKind {
    fn from_key(key: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|kind| kind.spec().key == key)
    }
}

/// A measured value with its time.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What was measured.
    pub kind: ReadingKind,
    /// The value.
    pub value: Amount,
    /// When.
    pub at: Moment,
    /// Temperature of the sample or the vessel, where it was noted.
    pub temperature: Option<Temperature>,
    /// Free note.
    pub note: String,
}

/// All readings of a batch, in the order of their times.
///
/// In JSON they are grouped by kind, each as `[seconds, value]`, with a
/// temperature in °C and a note behind it where there are any. The seconds
/// count from the reading before it of the same kind; those of the first of a
/// kind from `from_s`, which counts from 1970. A batch with sixty readings
/// stays small that way.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings(Vec<Reading>);

impl Readings {
    /// True when nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// All, in the order of their times.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &Reading> {
        self.0.iter()
    }

    /// Those of one kind, in the order of their times.
    pub fn of(&self, kind: ReadingKind) -> impl DoubleEndedIterator<Item = &Reading> {
        self.0.iter().filter(move |reading| reading.kind == kind)
    }

    /// The newest of one kind.
    pub fn last(&self, kind: ReadingKind) -> Option<&Reading> {
        self.of(kind).next_back()
    }

    /// Adds one at its place in time; behind others of the same second and kind.
    pub fn add(&mut self, reading: Reading) {
        // Within one second an acid dose counts as poured before the pH was read.
        let place = self.0.partition_point(|other| (other.at, other.kind) <= (reading.at, reading.kind));
        self.0.insert(place, reading);
    }

    /// Takes one out by its place in [`Readings::iter`].
    pub fn remove(&mut self, place: usize) -> Option<Reading> {
        (place < self.0.len()).then(|| self.0.remove(place))
    }
}

/// One reading as it is stored: a tuple that leaves out what is empty at its end.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum Stored {
    Noted(i64, f64, Option<f64>, String),
    Warm(i64, f64, f64),
    Plain(i64, f64),
}

/// Stored readings of one kind, or the time from which all are counted.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum Group {
    From(i64),
    Readings(Vec<Stored>),
}

/// The key of the time from which all readings are counted.
const FROM: &str = "from_s";

impl Serialize for Readings {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let from = self.0.first().map_or(0, |reading| reading.at.as_seconds());
        let kinds = ReadingKind::ALL.iter().filter(|&&kind| self.of(kind).next().is_some());
        let groups = kinds.map(|&kind| {
            let mut before = from;
            let stored = self.of(kind).map(|reading| {
                // Wrapping, both here and on the way back, keeps even absurd times exact.
                let since = reading.at.as_seconds().wrapping_sub(before);
                before = reading.at.as_seconds();
                let value = reading.value.base();
                let warm = reading.temperature.map(Temperature::as_celsius);
                match (warm, reading.note.is_empty()) {
                    (None, true) => Stored::Plain(since, value),
                    (Some(warm), true) => Stored::Warm(since, value, warm),
                    (warm, false) => Stored::Noted(since, value, warm, reading.note.clone()),
                }
            });
            (kind.spec().key, Group::Readings(stored.collect()))
        });
        serializer.collect_map(std::iter::once((FROM, Group::From(from))).chain(groups))
    }
}

impl<'de> Deserialize<'de> for Readings {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        use serde::de::Error;
        let mut grouped = std::collections::BTreeMap::<String, Group>::deserialize(deserializer)?;
        let Some(Group::From(from)) = grouped.remove(FROM) else {
            return Err(D::Error::missing_field(FROM));
        };
        let mut all = Vec::new();
        for (key, group) in grouped {
            let kind = ReadingKind::from_key(&key)
                .ok_or_else(|| D::Error::custom(format!("unknown kind of reading {key}")))?;
            let Group::Readings(group) = group else {
                return Err(D::Error::custom(format!("{key} is no list of readings")));
            };
            let mut at = from;
            all.extend(group.into_iter().map(|stored| {
                let (since, value, temperature, note) = match stored {
                    Stored::Plain(since, value) => (since, value, None, String::new()),
                    Stored::Warm(since, value, warm) => (since, value, Some(warm), String::new()),
                    Stored::Noted(since, value, warm, note) => (since, value, warm, note),
                };
                at = at.wrapping_add(since);
                Reading {
                    kind,
                    value: Amount::in_base(kind.spec().dimension, value),
                    at: Moment::from_seconds(at),
                    temperature: temperature.map(Temperature::celsius),
                    note,
                }
            }));
        }
        all.sort_by_key(|reading| (reading.at, reading.kind));
        Ok(Self(all))
    }
}
