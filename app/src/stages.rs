//! What each stage shows: which entry fields at once and which under a fold,
//! which figure stands on its folded line, and its words of help.

use batch::document::{Field, Stage};
use batch::plan::Figure;

/// What stands on the folded line of a stage.
#[derive(Clone, Copy)]
pub enum Headline {
    /// An entry field, typed or assumed.
    Field(Field),
    /// A figure of the plan.
    Figure(Figure),
}

/// What a stage shows.
pub struct Layout {
    /// Its one number.
    pub headline: Headline,
    /// Fields that nearly everyone fills.
    pub fields: &'static [Field],
    /// The name of the fold with the others.
    pub fold: &'static str,
    /// Fields that are rarely touched.
    pub rare: &'static [Field],
    /// Help for someone who does this for the first time.
    pub help: &'static str,
}

/// What this stage shows.
pub const fn layout(stage: Stage) -> &'static Layout {
    match stage {
        Stage::Aim => &Layout {
            headline: Headline::Field(Field::BatchVolume),
            fields: &[Field::BatchVolume, Field::WantedGravity],
            fold: "Your kit",
            rare: &[
                Field::KettleVolume,
                Field::KettleWeight,
                Field::BasketGrain,
                Field::FermenterVolume,
                Field::SecondVessel,
                Field::HeatingPower,
                Field::Tap,
                Field::Room,
                Field::Efficiency,
                Field::Evaporation,
                Field::Absorption,
                Field::KettleLoss,
                Field::FermenterLoss,
                Field::ScaleStep,
                Field::MeterError,
                Field::FermenterPressure,
                Field::Altitude,
                Field::Barometer,
            ],
            help: "Say how much beer you want and how strong the wort should be. Everything else has a usual value to \
                   start from, and your own readings replace it batch by batch.",
        },
        Stage::Water => &Layout {
            headline: Headline::Figure(Figure::TotalWater),
            fields: &[Field::Distilled],
            fold: "",
            rare: &[],
            help: "Copy your supplier's report, in the units it has, and pick how the beer should finish. A range is typed \
                   as 40..60 or <5. What the report lacks is inferred, and what does not fit is named. No recipe for your \
                   scale and salts comes nearer to the finish than the one to weigh.",
        },
        Stage::Grist => &Layout {
            headline: Headline::Figure(Figure::GristMass),
            fields: &[],
            fold: "",
            rare: &[],
            help: "Wheat and oats give a sour beer body, as its sugar ferments far down. Shares are enough: the weights \
                   follow from the gravity you want.",
        },
        Stage::Mash => &Layout {
            headline: Headline::Figure(Figure::MashPhNow),
            fields: &[Field::MashTemperature, Field::MashPh],
            fold: "More about the mash",
            rare: &[
                Field::MashTime,
                Field::MashOut,
                Field::Rinse,
                Field::RinsePh,
                Field::GrainTemperature,
                Field::AcidStrength,
            ],
            help: "Stir the grain into the strike water, wait ten minutes, cool a spoonful to room temperature and read \
                   its pH. Add acid in parts: the first, stir, read, then what is left. Every reading teaches the plan this \
                   mash, and the last 0.05 is not worth chasing.",
        },
        Stage::FirstBoil => &Layout {
            headline: Headline::Figure(Figure::PreBoilVolume),
            fields: &[Field::ClearBoil, Field::StarterWort],
            fold: "",
            rare: &[],
            help: "A short boil leaves nothing alive but what you pitch. No hops yet: they would stop the bacteria. Set \
                   some wort aside unsoured, so that the yeast can be woken in it.",
        },
        Stage::AcidDrop => &Layout {
            headline: Headline::Figure(Figure::DropAcid),
            fields: &[Field::DropPh, Field::AcidStrength],
            fold: "More about acid and meter",
            rare: &[Field::MeterError],
            help: "A little acid now keeps other germs out while the bacteria start. Climb the dose ladder: pour part, \
                   stir, read, note both; each reading makes the next dose surer.",
        },
        Stage::Souring => &Layout {
            headline: Headline::Figure(Figure::SourTime),
            fields: &[Field::SourPh, Field::SourTemperature],
            fold: "More about the souring",
            rare: &[Field::SourAcidity, Field::Bacteria, Field::ManganeseStock],
            help: "Keep it warm, keep air out, and read the pH a few times. Two readings hours apart are enough to tell \
                   when it will be sour enough.",
        },
        Stage::MainBoil => &Layout {
            headline: Headline::Figure(Figure::OriginalGravity),
            fields: &[Field::MainBoil, Field::WantedBitterness],
            fold: "Stand, chilling, or a hold instead of the boil",
            rare: &[
                Field::Stand,
                Field::IsoKept,
                Field::CoolingFlow,
                Field::Chilling,
                Field::ChillerFlow,
                Field::PlateCooling,
                Field::HoldTemperature,
            ],
            help: "This boil ends the souring. Hops go in only now; few are needed, as bitterness and sourness fight each \
                   other.",
        },
        Stage::Ferment => &Layout {
            headline: Headline::Figure(Figure::FinalGravity),
            fields: &[Field::FermentTemperature, Field::Attenuation],
            fold: "Pack, starter, oxygen, room",
            rare: &[
                Field::YeastCells,
                Field::YeastAge,
                Field::YeastKept,
                Field::StarterYeast,
                Field::Oxygen,
                Field::OxygenFlow,
                Field::PitchRate,
                Field::FermentPressure,
                Field::FermentRoom,
                Field::RefractometerFactor,
            ],
            help: "Sour wort is hard on yeast: give it oxygen, a fresh and generous pitch, and a start in the unsoured \
                   wort if you set some aside.",
        },
        Stage::Fruit => &Layout {
            headline: Headline::Figure(Figure::RoomLeft),
            fields: &[],
            fold: "More about the fruit",
            rare: &[Field::FruitYield],
            help: "Fruit goes in past the peak, when foam has settled. It ferments again, takes room and thins the beer; \
                   the figures below count all three.",
        },
        Stage::Package => &Layout {
            headline: Headline::Figure(Figure::PackagedVolume),
            fields: &[Field::Carbonation, Field::ServingTemperature, Field::StableHours],
            fold: "More about the package",
            rare: &[
                Field::PackageVolume,
                Field::Headspace,
                Field::PackageLimit,
                Field::Warmest,
                Field::Serving,
                Field::OtherCost,
                Field::FermenterLoss,
            ],
            help: "Nothing is closed before the gravity is stable: fruit sugar left in a closed package can burst it. The \
                   burst check reckons with the warmest place it could stand.",
        },
    }
}

/// Figures that belong under a fold of their own: the finished water, ion by ion.
pub const IONS: &[Figure] = &[
    Figure::CalciumAfter,
    Figure::MagnesiumAfter,
    Figure::SodiumAfter,
    Figure::ChlorideAfter,
    Figure::SulfateAfter,
    Figure::AlkalinityAfter,
    Figure::Hardness,
];
