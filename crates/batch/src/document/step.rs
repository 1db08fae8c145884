//! The stages of a batch and the steps that are ticked in them.

use calc::quantity::Duration;

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

/// Declares the steps: the stage, the step whose tick shows that this one is behind, minutes of handwork, the short
/// title, the tick's words, what is to be clean, and the caution.
macro_rules! steps {
    ($( $(#[$doc:meta])* $name:ident in $stage:ident, shown by $proof:ident, $minutes:literal min,
        $title:literal, $done:literal, $sanitise:literal, $caution:literal; )+) => {
        /// A step of the batch that can be ticked, in order.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Step { $( $(#[$doc])* $name, )+ }

        struct Row {
            stage: Stage,
            proof: Step,
            minutes: f64,
            title: &'static str,
            done: &'static str,
            sanitise: &'static str,
            caution: &'static str,
        }

        const ROWS: &[Row] = &[$( Row {
            stage: Stage::$stage, proof: Step::$proof, minutes: $minutes as f64,
            title: $title, done: $done, sanitise: $sanitise, caution: $caution,
        } ),+];

        impl Step {
            /// Every step, in order.
            pub const ALL: &[Self] = &[$(Self::$name),+];
        }
    };
}

impl Step {
    const fn row(self) -> &'static Row {
        &ROWS[self as usize]
    }

    /// The stage it belongs to.
    pub const fn stage(self) -> Stage {
        self.row().stage
    }

    /// The first later step that cannot be done before this one: once it is, this one is behind, ticked or not.
    /// Wort can still be set aside from cooled wort, but not from wort with bacteria in it.
    pub const fn proof(self) -> Self {
        self.row().proof
    }

    /// Time for what hands do in it, without heating, boiling and waiting. Our estimate for one person and about
    /// 20 litres.
    pub const fn handwork(self) -> Duration {
        Duration::minutes(self.row().minutes)
    }

    /// What it is called in a list.
    pub const fn title(self) -> &'static str {
        self.row().title
    }

    /// What the tick says.
    pub const fn done(self) -> &'static str {
        self.row().done
    }

    /// What must be clean or sanitised for it, by common practice; empty where nothing must.
    pub const fn sanitise(self) -> &'static str {
        self.row().sanitise
    }

    /// The usual caution at this step; empty where there is none.
    pub const fn caution(self) -> &'static str {
        self.row().caution
    }
}

steps! {
    /// Salts are in the water.
    Salts in Water, shown by MashIn, 20 min, "Water and salts", "Salts are in the water",
        "",
        "";
    /// Grain is in.
    MashIn in Mash, shown by MashAcid, 10 min, "Grain in", "Grain is in",
        "",
        "Hot water scalds: heat off, stir from the side, keep children and pets away.";
    /// Mash pH is settled.
    MashAcid in Mash, shown by MashOut, 20 min, "Mash pH", "Mash pH is settled",
        "",
        "Acid burns eyes and skin: wear goggles and gloves, pour acid into water or wort, never the reverse, and never near chlorine cleaners.";
    /// Mash-out is over, basket lifted.
    MashOut in Mash, shown by FirstBoil, 20 min, "Mash and mash-out", "Mash-out done, basket lifted",
        "",
        "The full basket is heavy and drips near boiling: lift with a hoist or a second person.";
    /// Sanitising boil is over.
    FirstBoil in FirstBoil, shown by Cooled, 0 min, "Sanitising boil", "Sanitising boil done",
        "The boil sanitises the kettle and what is in it: put the clean chiller coil in for its last ten minutes.",
        "Wort foams over as it comes to the boil: stay with it and leave head room.";
    /// Unsoured wort is set aside.
    SetAside in FirstBoil, shown by Culture, 5 min, "Wort set aside", "Unsoured wort set aside",
        "Sanitise the jar and its lid.",
        "Unsoured wort is food for any germ, also dangerous ones: boil it, cool it at once, keep it in the fridge and use it within two days, or freeze it. Never store it warm and closed.";
    /// Wort is at pitching temperature.
    Cooled in FirstBoil, shown by Culture, 5 min, "Cool for the bacteria", "Cooled to souring temperature",
        "From here on sanitise all that touches the wort: lid, spoon, thermometer, hoses.",
        "";
    /// Acid drop is done.
    AcidDrop in AcidDrop, shown by Culture, 20 min, "Acid drop", "pH is where the bacteria want it",
        "Sanitise syringe and spoon. Read the pH in a sample and pour that away; the probe stays out of the wort.",
        "Acid burns eyes and skin: wear goggles and gloves, pour acid into wort, never the reverse, and never near chlorine cleaners. Read the bottle's own safety sheet.";
    /// Bacteria are pitched.
    Culture in Souring, shown by Soured, 10 min, "Bacteria in", "Bacteria pitched",
        "Sanitise the pack, the scissors, the lid and the airlock.",
        "Keep air out: purge or cover the wort. If it is still above pH 4.6 after a day, throw it away; do not taste it.";
    /// Souring has reached its target.
    Soured in Souring, shown by MainBoil, 0 min, "Souring", "Sour enough",
        "Sanitise pipette or tap before each sample.",
        "A closed vessel that makes gas builds pressure: leave a vent or an airlock.";
    /// Main boil is over.
    MainBoil in MainBoil, shown by Chilled, 0 min, "Main boil", "Main boil done",
        "The boil ends the bacteria. What touched them outside the kettle must be cleaned and sanitised before the yeast. Put the clean chiller coil in for the last ten minutes.",
        "Wort foams over as it comes to the boil: stay with it and leave head room. Hops go in only now, never before the bacteria.";
    /// Wort is chilled and in the fermenter.
    Chilled in MainBoil, shown by Yeast, 15 min, "Chill", "Chilled and in the fermenter",
        "Clean, then sanitise: fermenter, lid, airlock, hoses, tap, plate chiller.",
        "Let hot glass cool slowly. Sanitise all that touches the wort from here on.";
    /// Yeast is pitched.
    Yeast in Ferment, shown by PastPeak, 10 min, "Oxygen and yeast", "Oxygen given, yeast pitched",
        "Boil or sanitise the oxygen stone; sanitise the pack and the scissors.",
        "Pure oxygen feeds fire: no flame, no grease, open room, close the cylinder.";
    /// The peak of fermentation is over.
    PastPeak in Ferment, shown by FruitIn, 0 min, "Fermentation", "Past the peak of fermentation",
        "Sanitise the tap or the pipette before each sample.",
        "Fermentation fills a closed room with carbon dioxide: air the room. Never exceed the pressure on the vessel's plate; the relief valve must work.";
    /// Fruit is in.
    FruitIn in Fruit, shown by Packaged, 30 min, "Fruit in", "Fruit is in",
        "Wipe the packs with sanitiser; sanitise scissors, funnel and spoon.",
        "Fruit starts a second fermentation: leave room, keep valves and posts free of pulp, release pressure slowly before opening. Tell guests which fruit it is; some are allergic.";
    /// Gravity has stopped falling.
    Stable in Fruit, shown by Packaged, 0 min, "Wait until it is stable", "Gravity is stable",
        "Sanitise the tap or the pipette before each sample.",
        "Two equal readings at least three days apart, temperature and alcohol allowed for. No package before that.";
    /// The beer is packaged.
    Packaged in Package, shown by Packaged, 90 min, "Package", "Packaged",
        "Clean, then sanitise: keg or bottles, caps, hoses, filler.",
        "Carbon dioxide can kill in a closed room: air it. Set the regulator before you open the cylinder; stay under the rating on the keg or bottle. Sugar left in a closed package can burst it.";
}
