//! What was measured.

use super::Spec;
use super::step::Stage;
use crate::json::{Json, Kept, Object, Writer, read};
use crate::keep::KeepError;
use crate::moment::Moment;
use calc::quantity::{Amount, Dimension, Temperature, settled};

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
    /// Base stirred into the mash since the last reading: the one that the plan names.
    MashBase "mash_base_g" in Mash as SmallMass, "Base added to the mash", 0.0..=200.0;
    /// pH of the mash, cooled to room temperature.
    MashPh "mash_ph" in Mash as Ph, "Mash pH", 3.5..=8.0;
    /// Gravity of the liquid at the end of the mash, before the basket is lifted.
    MashGravity "mash_gravity_plato" in Mash as Gravity, "Gravity at the end of the mash", 0.0..=35.0;
    /// Volume in the kettle before the sanitising boil, hot.
    PreBoilVolume "pre_boil_volume_l" in FirstBoil as Volume, "Volume before the boil, hot", 1.0..=120.0;
    /// Gravity before the sanitising boil.
    PreBoilGravity "pre_boil_gravity_plato" in FirstBoil as Gravity, "Gravity before the boil", 0.0..=30.0;
    /// Soluble solids before the sanitising boil, by refractometer.
    PreBoilBrix "pre_boil_brix" in FirstBoil as Brix, "Refractometer before the boil", 0.0..=40.0;
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
    /// Time the chiller took.
    ChillTime "chill_time_min" in MainBoil as Minutes, "Time to chill", 1.0..=1440.0;
    /// Volume in the kettle after the main boil, hot.
    PostBoilVolume "post_boil_volume_l" in MainBoil as Volume, "Volume after the boil, hot", 1.0..=120.0;
    /// Original gravity.
    OriginalGravity "original_gravity_plato" in MainBoil as Gravity, "Original gravity", 0.0..=35.0;
    /// Volume in the fermenter.
    FermenterVolume "fermenter_volume_l" in MainBoil as Volume, "Volume in the fermenter", 1.0..=120.0;
    /// Gravity during fermentation, by hydrometer.
    Gravity "gravity_plato" in Ferment as Gravity, "Gravity now, by hydrometer", -5.0..=35.0;
    /// Soluble solids during fermentation, by refractometer.
    Brix "brix" in Ferment as Brix, "Refractometer now", 0.0..=40.0;
    /// pH of the beer.
    BeerPh "beer_ph" in Fruit as Ph, "Beer pH", 2.5..=6.0;
    /// Volume packaged.
    PackagedVolume "packaged_volume_l" in Package as Volume, "Volume packaged", 0.5..=120.0;
}

impl ReadingKind {
    fn from_key(key: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|kind| kind.spec().key == key)
    }

    /// Whether the sample's temperature changes what the reading means: a meter and a hydrometer err in a warm one.
    pub fn by_temperature(self) -> bool {
        matches!(self.spec().dimension, Dimension::Ph | Dimension::Gravity)
    }

    /// The kinds that make sense at a stage: the wanted one first, then those of the stage, then those of the
    /// stages beside it, in the order of the day. Before the mash those of the mash. Never empty.
    pub fn near(wanted: Option<Self>, stage: Stage) -> Vec<Self> {
        let stage = stage.max(Stage::Mash);
        let away = |kind: Self| (kind.stage() as i32 - stage as i32).abs();
        let of = |steps: i32| {
            Self::ALL.iter().copied().filter(move |&kind| Some(kind) != wanted && away(kind) == steps)
        };
        wanted.into_iter().chain(of(0)).chain(of(1)).collect()
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

    /// Adds one at its place in time; behind others of the same second and kind. Tells its place in
    /// [`Readings::iter`].
    pub fn add(&mut self, mut reading: Reading) -> usize {
        // As it is kept, so that the plan is the same before and after.
        reading.value = Amount::in_base(reading.value.dimension, settled(reading.value.base()));
        reading.temperature =
            reading.temperature.map(|warm| Temperature::celsius(settled(warm.as_celsius())));
        // Within one second an acid dose counts as poured before the pH was read.
        let place = self.0.partition_point(|other| (other.at, other.kind) <= (reading.at, reading.kind));
        self.0.insert(place, reading);
        place
    }

    /// Takes one out by its place in [`Readings::iter`].
    pub fn remove(&mut self, place: usize) -> Option<Reading> {
        (place < self.0.len()).then(|| self.0.remove(place))
    }

    /// Puts another in the place of one; tells its place in [`Readings::iter`], which a new time may have moved.
    pub fn replace(&mut self, place: usize, reading: Reading) -> usize {
        self.remove(place);
        self.add(reading)
    }
}

/// The key of the time from which all readings are counted.
const FROM: &str = "from_s";

/// One reading as it is stored: seconds since the one before, the value, and
/// temperature and note where there are any.
fn stored(reading: Json<'_>) -> Result<(i64, f64, Option<f64>, String), KeepError> {
    let mut parts = reading.elements()?;
    let (Some(since), Some(value)) = (parts.next(), parts.next()) else {
        return Err(reading.wrong("seconds and a value"));
    };
    let mut further = || parts.next().filter(|part| part.text() != "null");
    let (temperature, note) = (further(), further());
    let note = note.map(read).transpose()?.unwrap_or_default();
    Ok((since.whole()?, value.number()?, temperature.map(Json::number).transpose()?, note))
}

impl Kept for Readings {
    fn fill(&mut self, value: Json<'_>) -> Result<(), KeepError> {
        let mut groups = Object::of(value)?;
        let from: Moment = groups.read(FROM)?;
        self.0.clear();
        for (key, group) in groups.rest() {
            let kind = ReadingKind::from_key(key).ok_or_else(|| crate::json::unknown(key))?;
            let mut at = from.as_seconds();
            for reading in group.elements()? {
                let (since, value, temperature, note) = stored(reading)?;
                at = at.wrapping_add(since);
                self.add(Reading {
                    kind,
                    value: Amount::in_base(kind.spec().dimension, value),
                    at: Moment::from_seconds(at),
                    temperature: temperature.map(Temperature::celsius),
                    note,
                });
            }
        }
        Ok(())
    }

    fn write(&self, out: &mut Writer) {
        let from = self.0.first().map_or(0, |reading| reading.at.as_seconds());
        out.open('{');
        out.key(FROM);
        out.whole(from);
        for &kind in ReadingKind::ALL {
            let mut before = None;
            for reading in self.of(kind) {
                if before.is_none() {
                    out.key(kind.spec().key);
                    out.open('[');
                }
                out.open('[');
                // Wrapping, both here and on the way back, keeps even absurd times exact.
                out.whole(reading.at.as_seconds().wrapping_sub(before.unwrap_or(from)));
                before = Some(reading.at.as_seconds());
                out.number(reading.value.base());
                match reading.temperature {
                    Some(temperature) => out.number(temperature.as_celsius()),
                    None if reading.note.is_empty() => {}
                    None => out.plain("null"),
                }
                if !reading.note.is_empty() {
                    out.string(&reading.note);
                }
                out.close(']');
            }
            if before.is_some() {
                out.close(']');
            }
        }
        out.close('}');
    }
}
