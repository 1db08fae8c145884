//! The stages of a batch and the steps that are ticked in them.

/// A stage of the batch, in the order they happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// What is wanted, and the kit.
    Aim,
    /// Source water and salts.
    Water,
    /// Malts.
    Grist,
    /// Mash and mash pH.
    Mash,
    /// Sanitising boil and wort set aside.
    FirstBoil,
    /// Acid before the bacteria.
    AcidDrop,
    /// Souring.
    Souring,
    /// Main boil and hops.
    MainBoil,
    /// Yeast and fermentation.
    Ferment,
    /// Fruit.
    Fruit,
    /// Carbonation and package.
    Package,
}

impl Stage {
    /// Every stage, in order.
    pub const ALL: &[Self] = &[
        Self::Aim,
        Self::Water,
        Self::Grist,
        Self::Mash,
        Self::FirstBoil,
        Self::AcidDrop,
        Self::Souring,
        Self::MainBoil,
        Self::Ferment,
        Self::Fruit,
        Self::Package,
    ];

    /// The stage's title.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Aim => "Aim and kit",
            Self::Water => "Water",
            Self::Grist => "Grist",
            Self::Mash => "Mash",
            Self::FirstBoil => "Sanitising boil",
            Self::AcidDrop => "Acid drop",
            Self::Souring => "Souring",
            Self::MainBoil => "Main boil",
            Self::Ferment => "Yeast and fermentation",
            Self::Fruit => "Fruit",
            Self::Package => "Package",
        }
    }

    /// The stage's key in the plan's JSON.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Aim => "aim",
            Self::Water => "water",
            Self::Grist => "grist",
            Self::Mash => "mash",
            Self::FirstBoil => "first_boil",
            Self::AcidDrop => "acid_drop",
            Self::Souring => "souring",
            Self::MainBoil => "main_boil",
            Self::Ferment => "ferment",
            Self::Fruit => "fruit",
            Self::Package => "package",
        }
    }
}

/// Declares the steps with the stage, the tick's words and the caution shown there.
macro_rules! steps {
    ($( $(#[$doc:meta])* $name:ident in $stage:ident, $done:literal, $caution:literal; )+) => {
        /// A step of the batch that can be ticked, in order.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Step { $( $(#[$doc])* $name, )+ }

        impl Step {
            /// Every step, in order.
            pub const ALL: &[Self] = &[$(Self::$name),+];

            /// The stage it belongs to.
            pub const fn stage(self) -> Stage {
                match self { $( Self::$name => Stage::$stage, )+ }
            }

            /// What the tick says.
            pub const fn done(self) -> &'static str {
                match self { $( Self::$name => $done, )+ }
            }

            /// The usual caution at this step; empty where there is none.
            pub const fn caution(self) -> &'static str {
                match self { $( Self::$name => $caution, )+ }
            }
        }
    };
}

steps! {
    /// Salts are in the water.
    Salts in Water, "Salts are in the water", "";
    /// Grain is in.
    MashIn in Mash, "Grain is in", "Hot water scalds: heat off, stir from the side, keep children and pets away.";
    /// Mash pH is settled.
    MashAcid in Mash, "Mash pH is settled", "Acid burns eyes and skin: wear goggles and gloves, pour acid into water or wort, never the reverse, and never near chlorine cleaners.";
    /// Mash-out is over, basket lifted.
    MashOut in Mash, "Mash-out done, basket lifted", "The full basket is heavy and drips near boiling: lift with a hoist or a second person.";
    /// Sanitising boil is over.
    FirstBoil in FirstBoil, "Sanitising boil done", "Wort foams over as it comes to the boil: stay with it and leave head room.";
    /// Unsoured wort is set aside.
    SetAside in FirstBoil, "Unsoured wort set aside", "Unsoured wort is food for any germ, also dangerous ones: boil it, cool it at once, keep it in the fridge and use it within two days, or freeze it. Never store it warm and closed.";
    /// Wort is at pitching temperature.
    Cooled in FirstBoil, "Cooled to souring temperature", "";
    /// Acid drop is done.
    AcidDrop in AcidDrop, "pH is where the bacteria want it", "Acid burns eyes and skin: wear goggles and gloves, pour acid into wort, never the reverse, and never near chlorine cleaners. Read the bottle's own safety sheet.";
    /// Bacteria are pitched.
    Culture in Souring, "Bacteria pitched", "Keep air out: purge or cover the wort. If it is still above pH 4.6 after a day, throw it away; do not taste it.";
    /// Souring has reached its target.
    Soured in Souring, "Sour enough", "A closed vessel that makes gas builds pressure: leave a vent or an airlock.";
    /// Main boil is over.
    MainBoil in MainBoil, "Main boil done", "Wort foams over as it comes to the boil: stay with it and leave head room. Hops go in only now, never before the bacteria.";
    /// Wort is chilled and in the fermenter.
    Chilled in MainBoil, "Chilled and in the fermenter", "Let hot glass cool slowly. Sanitise all that touches the wort from here on.";
    /// Yeast is pitched.
    Yeast in Ferment, "Oxygen given, yeast pitched", "Pure oxygen feeds fire: no flame, no grease, open room, close the cylinder.";
    /// The peak of fermentation is over.
    PastPeak in Ferment, "Past the peak of fermentation", "Fermentation fills a closed room with carbon dioxide: air the room. Never exceed the pressure on the vessel's plate; the relief valve must work.";
    /// Fruit is in.
    FruitIn in Fruit, "Fruit is in", "Fruit starts a second fermentation: leave room, keep valves and posts free of pulp, release pressure slowly before opening. Tell guests which fruit it is; some are allergic.";
    /// Gravity has stopped falling.
    Stable in Fruit, "Gravity is stable", "Two equal readings at least three days apart, temperature and alcohol allowed for. No package before that.";
    /// The beer is packaged.
    Packaged in Package, "Packaged", "Carbon dioxide can kill in a closed room: air it. Set the regulator before you open the cylinder; stay under the rating on the keg or bottle. Sugar left in a closed package can burst it.";
}
