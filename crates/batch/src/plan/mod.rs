//! What comes out: every number of the batch, with its spread, its
//! assumptions and its warnings.

mod figures;
mod lessons;
mod make;
mod next;
mod run;
#[cfg(test)]
mod tests;
mod warning;

pub use figures::{Figure, Figures, Input, Known, Origin, Shown, Value, Why};
pub use make::{cooled, plan};
pub use next::{NextMove, Offer, TimerOffer, next_move};
pub use run::{Due, RunItem, RunState, SouringDay, catch_up, run_list, souring_days};
pub use warning::{Level, Warning};

use crate::document::{Batch, Field, ReadingKind, Spec, Stage};
use crate::house::Lesson;
use crate::moment::Moment;
use crate::say::{Sentence, say};
use calc::brew::drop::Rung;
use calc::brew::mash::{Correction, Mash, Worth, acid_for};
use calc::brew::package::{BurstQuestion, BurstReason, Verdict, burst_check};
use calc::brew::serving::Allergens;
use calc::brew::souring::CurvePoint;
use calc::brew::water::{Ion, Recipe};
use calc::chem::report::WaterRead;
use calc::data::acids::Acid;
use calc::data::malts::MaltClass;
use calc::data::salts::Salt;
use calc::quantity::{
    AlcoholByVolume, Bitterness, Concentration, Count, Duration, Estimate, Fraction, GaugePressure, Mass, Ph,
    PhDifference, Temperature, TitratableAcidity, Volume,
};

/// Why a figure is not known yet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unknown {
    /// The plan did not come this far.
    NotReached,
    /// An entry field is empty and nothing may be assumed for it.
    Empty(&'static Spec),
    /// A reading is needed first.
    Reading(ReadingKind),
    /// No water report says enough.
    NoWater,
    /// There is no malt yet.
    NoGrist,
    /// There is no fruit yet.
    NoFruit,
    /// It does not apply to what was chosen.
    NotUsed,
    /// The boil drives off more water than there is.
    BoiledDry,
    /// More is set aside or lost than there is.
    TooLittleWort,
    /// The values do not fit the model's range; says which stage.
    OutsideModel(Stage),
    /// The pH wanted is never reached under these conditions.
    NeverReached,
}

impl Unknown {
    /// The reason in words.
    pub fn sentence(self) -> Sentence {
        match self {
            Self::NotReached => say!["Something earlier in the day is not known yet."],
            Self::Empty(spec) => say!["Type first: ", spec.label, "."],
            Self::Reading(kind) => say!["Measure first: ", kind.spec().label, "."],
            Self::NoWater => say!["Type your water report: hardness or calcium, and alkalinity, at least."],
            Self::NoGrist => say!["Add a malt with its weight or share first."],
            Self::NoFruit => say!["No fruit is planned."],
            Self::NotUsed => say!["Not needed for what is chosen."],
            Self::BoiledDry => say![
                "The boil would drive off more water than there is: shorten it or lower the evaporation."
            ],
            Self::TooLittleWort => say!["More wort is set aside or lost than there is."],
            Self::OutsideModel(stage) => {
                say!["The values given at “", stage.title(), "” lie outside what the model serves."]
            }
            Self::NeverReached => say!["The pH wanted is not reached under these conditions."],
        }
    }
}

/// One malt with its weight and share, whichever was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaltLine {
    /// Its class.
    pub class: MaltClass,
    /// Weight, once known.
    pub mass: Option<Mass>,
    /// Share by weight, once known.
    pub share: Option<Fraction>,
}

/// An ion before and after salts, with the range wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IonLine {
    /// Which ion.
    pub ion: Ion,
    /// In the blend, before salts.
    pub before: Concentration,
    /// After salts.
    pub after: Concentration,
    /// Lower end of the range.
    pub low: Concentration,
    /// Upper end of the range.
    pub high: Concentration,
}

/// A salt to weigh, and where it goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SaltAmount {
    /// Which salt.
    pub salt: Salt,
    /// Into the mash water.
    pub mash: Mass,
    /// Into the water that rinses the grain.
    pub rinse: Mass,
}

impl SaltAmount {
    /// All of it.
    pub fn all(&self) -> Mass {
        self.mash + self.rinse
    }
}

/// The fermenter before and after fruit.
#[derive(Clone, Debug, PartialEq)]
pub struct VesselLevel {
    /// To the brim.
    pub vessel: Volume,
    /// Beer.
    pub beer: Volume,
    /// Beer with fruit.
    pub with_fruit: Volume,
    /// Foam to allow for.
    pub foam: Volume,
    /// After each addition in turn, the last of which is beer with fruit.
    pub additions: Vec<(String, Volume)>,
}

/// What one source brings to a litre of the beer with its fruit.
#[derive(Clone, Debug, PartialEq)]
pub struct Brought {
    /// The wort, or the fruit's name.
    pub name: String,
    /// Sugar that ferments.
    pub sugar: Concentration,
    /// Titratable acid.
    pub acid: TitratableAcidity,
    /// Alcohol.
    pub alcohol: AlcoholByVolume,
}

/// Everything that comes out of a batch document.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// Every figure.
    pub figures: Figures,
    /// What each water's report says once it is read; `None` where it says too little.
    pub waters: Vec<Option<WaterRead>>,
    /// Salts to weigh.
    pub salts: Vec<SaltAmount>,
    /// The best recipe with one salt fewer, when a recipe with several was found.
    pub simpler: Option<Recipe>,
    /// The ions against the finish; empty while the water is not known.
    pub ions: Vec<IonLine>,
    /// The malts.
    pub malts: Vec<MaltLine>,
    /// The forecast of pH from pitching on; empty while not known.
    pub course: Vec<CurvePoint>,
    /// When to read the pH of the souring next.
    pub measure_next: Option<Moment>,
    /// What to do with the acid of the drop now.
    pub rung: Option<Rung>,
    /// The wort's buffering against the published middle, as its readings alone have it.
    pub buffer_scale: Option<Estimate<Count>>,
    /// Souring speed as the readings have it, against the first forecast.
    pub souring_speed: Option<Estimate<Count>>,
    /// The base that would raise the mash.
    pub mash_base_salt: Option<Salt>,
    /// Whether a correction is worth making after the newest mash reading.
    pub mash_worth: Option<Worth>,
    /// What the mash readings say the malts' pH differs from the tables.
    pub mash_ph_shift: Option<Estimate<PhDifference>>,
    /// What each hop charge gives; empty while not known.
    pub hops: Vec<Bitterness>,
    /// How to reach each rest of the mash after the first.
    pub rests: Vec<Sentence>,
    /// What can be done when the wort's gravity is off, the most sensible first; empty before it was read.
    pub fixes: Vec<Sentence>,
    /// What each addition of fruit brings; empty while not known.
    pub fruit: Vec<Sentence>,
    /// Sugar, acid and alcohol by source, the wort first; empty without fruit.
    pub brought: Vec<Brought>,
    /// Sulfite that fruit could bring, as sulfur dioxide.
    pub sulfite: Concentration,
    /// How full the kettle is at the points of the day.
    pub kettle: Vec<(&'static str, Volume)>,
    /// What the chill of this batch says of the coil.
    pub chilling: Option<Fraction>,
    /// Attenuation of the wort by the end of the fruited beer.
    pub attenuation_seen: Option<Estimate<Fraction>>,
    /// What the pulp kept by the volumes read, against the usual.
    pub pulp_kept: Option<Estimate<Count>>,
    /// What was left under a beer without fruit by the volumes read.
    pub left_under: Option<Estimate<Volume>>,
    /// The fermenter's level.
    pub level: Option<VesselLevel>,
    /// What would make the package safe, each on its own; none before the beer ferments.
    pub remedies: Vec<&'static str>,
    /// What guests may have to be told of.
    pub allergens: Allergens,
    /// Whether the package is safe to close; no verdict before the beer ferments.
    pub verdict: Option<(Verdict, Vec<BurstReason>)>,
    /// What to beware of, in the order of the day.
    pub warnings: Vec<Warning>,
    /// What this batch taught about the house.
    pub lessons: Vec<Lesson>,
    /// The mash as its readings have it, the acid, and what is still to be given.
    mash: Option<(Mash, Acid, Correction)>,
    /// The wort and the acid of its drop.
    drop: Option<make::Drop>,
    /// What is asked of the package, for the picture of its pressure.
    package: Option<BurstQuestion>,
    /// The hot side, for the picture of bitterness.
    hot: Option<make::Hot>,
    /// The wort at the points of the day, for what the batch teaches.
    day: Option<make::Course>,
    /// What was weighed in.
    weighed: Option<make::WeighedIn>,
}

impl Plan {
    /// pH against acid stirred into this mash, with its band, for a picture; empty while the mash is not
    /// known. Not a field: it costs as much as half of the plan.
    pub fn mash_course(&self, batch: &Batch) -> Vec<(Volume, Estimate<Ph>)> {
        const POINTS: usize = 15;
        let Some((mash, acid, correction)) = &self.mash else { return Vec::new() };
        let wanted = batch.value(Field::MashPh).unwrap_or(Ph::new(5.4));
        let given =
            batch.readings.of(ReadingKind::MashAcid).map(|dose| dose.value.typed::<Volume>()).sum::<Volume>();
        let all = acid_for(correction.all, acid, wanted).high + given;
        mash.course(acid, (all * 1.25).max(Volume::millilitres(2.0)), POINTS)
    }

    /// How the bitterness builds up from mash-out to the end of chilling, for a picture; empty without hops. The
    /// souring takes no time in it.
    pub fn bitterness_course(&self) -> Vec<(Duration, Bitterness)> {
        const POINTS: u32 = 41;
        match &self.hot {
            Some(hot) if !hot.charges.is_empty() => hot.side().course(&hot.charges, POINTS),
            _ => Vec::new(),
        }
    }

    /// The pressure that the package could come to at a row of temperatures, for a picture, with what it is
    /// made for; empty while that is not known.
    pub fn pressure_course(&self) -> (Vec<(Temperature, Estimate<GaugePressure>)>, GaugePressure) {
        let Some(question) = self.package else { return (Vec::new(), GaugePressure::ZERO) };
        let at = |place: i32| {
            let warmest = Temperature::celsius(f64::from(place) * 3.0);
            let answer = burst_check(&BurstQuestion { warmest: Some(warmest), ..question });
            Some((warmest, answer.pressure?))
        };
        let limit = question.limit.unwrap_or_else(|| question.kind.limits().pressure);
        ((0..=15).filter_map(at).collect(), limit)
    }

    /// pH against acid poured into the wort of the drop, for a picture: first as it was believed before
    /// anything was read, then as the readings have it. Empty while the wort is not known.
    pub fn drop_course(&self) -> [Vec<(Volume, Estimate<Ph>)>; 2] {
        const POINTS: u32 = 15;
        let Some(drop) = &self.drop else { return Default::default() };
        let per_litre = |volume: Volume| drop.acid.molarity() * (volume / drop.wort);
        let given = drop.wort * (drop.now.acid() / drop.acid.molarity());
        let left = self.figures.drop_acid().map_or(Volume::ZERO, |whole| whole.estimate.high);
        let end = ((given + left) * 1.2).max(Volume::millilitres(1.0));
        [&drop.before, &drop.now].map(|titration| {
            (0..POINTS)
                .map(|place| {
                    let acid = end * (f64::from(place) / f64::from(POINTS - 1));
                    (acid, titration.ph_at(per_litre(acid)))
                })
                .collect()
        })
    }
}
