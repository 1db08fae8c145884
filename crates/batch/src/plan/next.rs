//! The next move: the one thing to do now, with its amount.

use super::make::acid_name;
use super::run::{RunItem, RunState, acid_unread, done_by, pitched, run_list, timers};
use super::{Figure, Plan, Unknown};
use crate::document::{
    Batch, Field, FruitField, HopField, HopTime, Malt, MaltField, MaltNumbers, ReadingKind, Slot, Stage, Step,
};
use crate::moment::Moment;
use crate::say::{Sentence, say};
use calc::brew::drop::Rung;
use calc::brew::mash::Worth;
use calc::brew::treatment::Softening;
use calc::data::malts::MaltClass;
use calc::data::salts::{Salt, calcium_chloride_density};
use calc::quantity::{Amount, Dimension, Duration, Fraction, Mass, Quantity};

/// What is to be done at a step, in words: the next move when it is the step to be done now.
#[derive(Clone, Debug, PartialEq)]
pub struct NextMove {
    /// Where in the day it belongs.
    pub stage: Stage,
    /// The step that a tick completes; none when the batch is finished or something must be typed first.
    pub step: Option<Step>,
    /// Steps before the next move that are not ticked, though a later tick or a reading shows that they are behind.
    pub behind: Vec<Step>,
    /// What to do, in one sentence with its amount.
    pub says: Sentence,
    /// What helps doing it, a sentence each.
    pub details: Vec<Sentence>,
    /// The reading that is wanted now.
    pub reading: Option<ReadingKind>,
    /// What must be clean or sanitised, by common practice; empty where nothing must.
    pub sanitise: &'static str,
    /// The usual caution; empty where there is none.
    pub caution: &'static str,
    /// Timers worth starting.
    pub timers: Vec<TimerOffer>,
    /// What can be taken with one tap in place of typing.
    pub offer: Option<Offer>,
}

/// An answer to what must be typed first that many people would give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Offer {
    /// Two thirds pale malt and one third wheat.
    UsualGrist,
    /// No water from the tap.
    DistilledOnly,
}

impl Offer {
    /// What the button says.
    pub const fn words(self) -> &'static str {
        match self {
            Self::UsualGrist => "Begin with 65 % pilsner malt, 35 % wheat",
            Self::DistilledOnly => "I use distilled or reverse-osmosis water only",
        }
    }

    /// Puts it into the batch. Common practice for quick-soured beer: a third wheat, for foam and body.
    pub fn take(self, batch: &mut Batch) {
        match self {
            Self::UsualGrist => {
                for (class, percent) in [(MaltClass::Pilsner, 65.0), (MaltClass::Wheat, 35.0)] {
                    batch.grist.push(Malt { class, name: String::new(), numbers: MaltNumbers::default() });
                    let share = Slot::Malt(batch.grist.len() - 1, MaltField::Share);
                    // In range by its own table row.
                    let _ = share.set(batch, Some(Fraction::percent(percent).amount()));
                }
            }
            Self::DistilledOnly => {
                let _ = Slot::Of(Field::Distilled).set(batch, Some(Fraction::ALL.amount()));
            }
        }
    }
}

/// A timer that a step can do with.
#[derive(Clone, Debug, PartialEq)]
pub struct TimerOffer {
    /// What it is for.
    pub name: Sentence,
    /// How long from now until it rings.
    pub lasts: Duration,
}

/// A move that no tick completes.
fn said(stage: Stage, says: Sentence) -> NextMove {
    NextMove {
        stage,
        step: None,
        behind: Vec::new(),
        says,
        details: Vec::new(),
        reading: None,
        sanitise: "",
        caution: "",
        timers: Vec::new(),
        offer: None,
    }
}

/// What is to be typed before anything can be planned.
fn typed_first(batch: &Batch, plan: &Plan) -> Option<NextMove> {
    if batch.grist.is_empty() {
        let mut next = said(
            Stage::Grist,
            say!["Say what you brew: add the malts of the grist, with shares or weights."],
        );
        next.offer = Some(Offer::UsualGrist);
        return Some(next);
    }
    if let Err(unknown) = plan.figures.total_water() {
        return Some(said(Stage::Grist, unknown.sentence()));
    }
    (plan.figures.alkalinity_after() == Err(Unknown::NoWater)).then(|| {
        let mut next = said(Stage::Water, Unknown::NoWater.sentence());
        next.details.push(say!["Your supplier publishes it."]);
        next.offer = Some(Offer::DistilledOnly);
        next
    })
}

/// The next move of a batch: what is to be typed first, else the step of the
/// [`run_list`] that is to be done now, with the amounts of the plan as the readings have it.
pub fn next_move(batch: &Batch, plan: &Plan, now: Moment) -> NextMove {
    let list = run_list(batch, plan, now);
    // Once something is done the day goes on, whatever is not typed.
    if !list.iter().any(|item| item.state.past().is_some())
        && let Some(first) = typed_first(batch, plan)
    {
        return first;
    }
    let Some(item) = list.iter().find(|item| item.state == RunState::Now) else {
        return said(
            Stage::Package,
            say![
                "This batch is done. Keep it cold, note how it tastes, and brew it again with one thing changed."
            ],
        );
    };
    let before =
        list.iter().filter(|other| other.step < item.step && matches!(other.state, RunState::Behind(_)));
    let behind: Vec<Step> = before.map(|other| other.step).collect();
    let mut next = item.words(batch, plan, now);
    if !behind.is_empty() {
        let mut says = say!["What you noted since shows that these are done, though not ticked: "];
        for (place, step) in behind.iter().enumerate() {
            says.extend(say![if place > 0 { ", " } else { "" }, step.title()]);
        }
        says.extend(say!["."]);
        next.details.insert(0, says);
    }
    next.behind = behind;
    next
}

/// A figure's value as an amount in its own kind of unit.
fn amount(figure: Figure, plan: &Plan) -> Option<Amount> {
    figure.of(&plan.figures).ok().map(|shown| shown.value)
}

/// A field's value in use.
fn field(field: Field, batch: &Batch) -> Option<Amount> {
    Slot::Of(field).effective(batch)
}

/// Joins words and amounts; a sentence with an unknown amount is left out.
macro_rules! with_amounts {
    ($into:expr; $($piece:expr),+ $(,)?) => {
        if let Some(sentence) = (|| -> Option<Sentence> { Some(say![$($piece),+]) })() {
            $into.push(sentence);
        }
    };
}

/// What is said of a step of the run list.
pub(super) fn words_of(item: &RunItem, batch: &Batch, plan: &Plan, now: Moment) -> NextMove {
    let step = item.step;
    let mut next = said(step.stage(), Vec::new());
    next.step = Some(step);
    next.sanitise = step.sanitise();
    next.caution = step.caution();
    next.timers = timers(step, batch, plan, now);
    let figure = |figure: Figure| amount(figure, plan);
    let typed = |of: Field| field(of, batch);
    let acid = acid_name(batch);
    let mut lines: Vec<Sentence> = Vec::new();
    match step {
        Step::Salts => {
            with_amounts!(lines; "Fill the kettle with ", figure(Figure::TotalWater)?, " of water and weigh in the salts.");
            if typed(Field::Distilled).is_some_and(|share| share.base() > 0.0) {
                with_amounts!(lines; figure(Figure::TapWater)?, " from the tap, ", figure(Figure::DistilledWater)?, " distilled or reverse-osmosis.");
            }
            if batch.choices.softening == Softening::Boil {
                lines.push(say!["Boil the tap water for half an hour first, let it cool and settle, and draw the clear water off the chalk."]);
            }
            with_amounts!(lines; figure(Figure::SofteningLime)?, " of slaked lime into the tap water: stir, let it settle for some hours, draw the clear water off.");
            with_amounts!(lines; figure(Figure::Metabisulfite)?, " of ", batch.choices.sulfite.name(), " into the tap water; stir, wait five minutes.");
            let small = |mass: Mass| mass.amount().seen_as(Dimension::SmallMass);
            for line in &plan.salts {
                let mut says = say![small(line.all()), " ", line.salt.name()];
                let solution = batch.salts.iter().find(|own| own.salt == Salt::CalciumChlorideSolution);
                if let Some(own) = solution.filter(|own| own.salt == line.salt)
                    && let Ok(density) = calcium_chloride_density(own.at_hand().purity)
                {
                    let volume = density.volume_of(line.all()).amount().seen_as(Dimension::SmallVolume);
                    says.extend(say![", which is ", volume]);
                }
                if line.rinse > Mass::ZERO {
                    says.extend(say![
                        ": ",
                        small(line.mash),
                        " into the mash water, ",
                        small(line.rinse),
                        " into the rest"
                    ]);
                }
                says.extend(say!["."]);
                lines.push(says);
            }
            if plan.salts.is_empty() {
                lines.push(say!["No salt is needed, or none at hand helps."]);
            }
            if let Some(rinse) = typed(Field::Rinse).filter(|rinse| rinse.base() > 0.0) {
                lines.push(say!["Keep ", rinse, " of it back to rinse the grain."]);
                with_amounts!(lines; "Into that: ", figure(Figure::RinseAcid)?, " of ", acid, ", for pH ", typed(Field::RinsePh)?, ".");
            }
        }
        Step::MashIn => {
            with_amounts!(lines; "Heat the water to ", figure(Figure::StrikeTemperature)?, " and stir in ", figure(Figure::GristMass)?, " of malt.");
            with_amounts!(lines; "Heating takes about ", figure(Figure::StrikeHeating)?, ".");
            for line in &plan.malts {
                if let Some(mass) = line.mass.filter(|mass| *mass > Mass::ZERO) {
                    lines.push(say![mass.amount(), " ", line.class.data().name, "."]);
                }
            }
            with_amounts!(lines; "The mash should settle at ", typed(Field::MashTemperature)?, ".");
            if batch.rests.iter().any(|rest| rest.infusion) {
                with_amounts!(lines; "That is with ", figure(Figure::MashWater)?, " of water; the rest is poured in later, boiling.");
            }
        }
        Step::MashAcid => {
            next.reading = Some(ReadingKind::MashPh);
            let wanted = typed(Field::MashPh);
            let acid_left = plan.figures.mash_acid().map_or(0.0, |v| v.estimate.value.as_millilitres());
            let base_left = plan.figures.mash_base().map_or(0.0, |v| v.estimate.value.as_grams());
            let base = plan.mash_base_salt.map_or("baking soda", Salt::name);
            let worth = plan.mash_worth;
            if matches!(worth, None | Some(Worth::Add | Worth::Optional)) {
                if acid_left >= 0.1 {
                    with_amounts!(lines; "Stir in ", figure(Figure::MashFirst)?, " of ", acid, "; ", figure(Figure::MashAcid)?, " may be needed in all.");
                } else if base_left >= 0.1 {
                    with_amounts!(lines; "Stir in ", figure(Figure::MashBase)?, " of ", base, ", half of it first.");
                }
            }
            if let Some(worth) = worth {
                lines.push(say![worth.words()]);
            }
            if matches!(worth, None | Some(Worth::Add | Worth::Optional)) {
                lines.push(say!["After stirring, wait ten minutes, cool a spoonful to 20 °C, read the pH and type it here."]);
            }
            with_amounts!(lines; "Wanted: ", wanted?, "; expected before acid: ", figure(Figure::MashPhPlain)?, ".");
        }
        Step::MashOut => {
            with_amounts!(lines; "Mash for ", typed(Field::MashTime)?, ", then heat to ", typed(Field::MashOut)?, " for ten minutes and lift the basket.");
            let rests = batch.rests.iter().filter(|rest| rest.numbers.temperature().is_some());
            for (rest, reached) in rests.zip(&plan.rests) {
                if let Some(at) = rest.numbers.temperature() {
                    let mut says = say!["Before that, rest at ", at.amount(), ". "];
                    says.extend(reached.iter().cloned());
                    lines.push(says);
                }
            }
            with_amounts!(lines; "Heating to mash-out takes about ", figure(Figure::MashOutHeating)?, ".");
            if let Some(rinse) = typed(Field::Rinse).filter(|rinse| rinse.base() > 0.0) {
                lines.push(say!["Rinse with the ", rinse, " kept back."]);
            }
            if let Some(since) = batch.ticked(Step::MashIn)
                && let Some(time) = typed(Field::MashTime)
            {
                lines.push(say!["The mash is done at ", since + time.typed::<Duration>(), "."]);
            }
            with_amounts!(lines; "You should have ", figure(Figure::PreBoilVolume)?, " at ", figure(Figure::PreBoilGravity)?, ".");
        }
        Step::FirstBoil => {
            next.reading = Some(if batch.readings.last(ReadingKind::PreBoilVolume).is_none() {
                ReadingKind::PreBoilVolume
            } else {
                ReadingKind::PreBoilGravity
            });
            with_amounts!(lines; "Boil for ", typed(Field::ClearBoil)?, ". No hops now.");
            with_amounts!(lines; "It boils at ", figure(Figure::BoilingPoint)?, ", in about ", figure(Figure::BoilHeating)?, ".");
            lines.push(say![
                "Before it heats up, read volume and gravity: everything after follows from them."
            ]);
            lines.extend(plan.fixes.iter().cloned());
        }
        Step::SetAside => {
            with_amounts!(lines; "Draw off ", typed(Field::StarterWort)?, " of boiling wort into a sanitised jar for the yeast.");
        }
        Step::Cooled => {
            with_amounts!(lines; "Cool the wort to ", typed(Field::SourTemperature)?, ".");
            with_amounts!(lines; "You should have about ", figure(Figure::SourVolume)?, " at ", figure(Figure::SourGravity)?, ".");
        }
        Step::AcidDrop => {
            next.reading = Some(ReadingKind::WortPh);
            drop_lines(&mut lines, batch, plan, acid);
        }
        Step::Culture => {
            lines.push(say!["Pitch the ", batch.choices.culture.name(), ", keep air out and hold it warm."]);
            with_amounts!(lines; "Hold ", typed(Field::SourTemperature)?, ". Expected at ", typed(Field::SourPh)?, " after about ", figure(Figure::SourTime)?, ".");
            lines.push(say!["No hops have gone in, and none do until it is sour."]);
        }
        Step::Soured => {
            next.reading = Some(ReadingKind::SourPh);
            sour_lines(&mut lines, batch, plan, now);
        }
        Step::MainBoil => {
            with_amounts!(lines; "Boil for ", typed(Field::MainBoil)?, " to stop the bacteria and isomerise the hops.");
            for (place, hop) in batch.hops.iter().enumerate() {
                let minutes = hop.numbers.minutes().map(|m| m.amount()).or_else(|| typed(Field::MainBoil));
                let (Some(mass), Some(minutes)) = (Slot::Hop(place, HopField::Mass).get(batch), minutes)
                else {
                    continue;
                };
                lines.push(match hop.time {
                    HopTime::Boil => say![mass, " of hops, boiled for ", minutes, "."],
                    HopTime::FirstWort => say![mass, " of hops, in before it heats up."],
                    HopTime::Stand => say![mass, " of hops, in when the heat goes off."],
                    HopTime::Cold | HopTime::BeforeSouring => continue,
                });
            }
            if typed(Field::Stand).is_some_and(|stand| stand.base() > 0.0) {
                with_amounts!(lines; "Let it stand hot for ", typed(Field::Stand)?, " before chilling.");
            }
            with_amounts!(lines; "Bitterness then: about ", figure(Figure::BitternessFigure)?, ".");
        }
        Step::Chilled => {
            next.reading = Some(if batch.readings.last(ReadingKind::OriginalGravity).is_none() {
                ReadingKind::OriginalGravity
            } else {
                ReadingKind::FermenterVolume
            });
            with_amounts!(lines; "Chill to ", typed(Field::FermentTemperature)?, " and run the wort into the fermenter.");
            with_amounts!(lines; "You should have ", figure(Figure::FermenterVolume)?, " at ", figure(Figure::OriginalGravity)?, ".");
            with_amounts!(lines; "Chilling takes about ", figure(Figure::ChillTime)?, " and ", figure(Figure::ChillWater)?, " of water. Note how long it took: the next forecast is yours.");
            lines.extend(plan.fixes.iter().cloned());
        }
        Step::Yeast => {
            with_amounts!(lines; "Let pure oxygen through the stone for ", figure(Figure::OxygenTime)?, " and pitch ", figure(Figure::YeastCells)?, ".");
            with_amounts!(lines; "That is about ", figure(Figure::DryYeast)?, " of dry yeast.");
            with_amounts!(lines; "That is about ", figure(Figure::YeastPacks)?, " packs of liquid yeast.");
            with_amounts!(lines; "That is about ", figure(Figure::YeastSlurry)?, " of thick slurry.");
            with_amounts!(lines; "The starter gives ", figure(Figure::StarterCells)?, " of them.");
            lines.push(say![
                "Sour wort is hard on yeast: start it in the wort set aside, and pitch it lively."
            ]);
        }
        Step::PastPeak => {
            next.reading = Some(ReadingKind::Gravity);
            with_amounts!(lines; "Let it ferment at ", typed(Field::FermentTemperature)?, " under at most ", typed(Field::FermentPressure)?, ".");
            with_amounts!(lines; "It should end near ", figure(Figure::FinalGravity)?, " with ", figure(Figure::AlcoholBeforeFruit)?, " of alcohol.");
            lines.push(say!["Past the peak the foam falls and the gravity drops by less each day: that is the time for fruit."]);
        }
        Step::FruitIn => {
            with_amounts!(lines; "Add the fruit: ", figure(Figure::FruitLoad)?, " of it.");
            for (place, addition) in batch.fruit.iter().enumerate() {
                if let Some(mass) = Slot::Fruit(place, FruitField::Mass).get(batch) {
                    lines.push(say![mass, " ", addition.called(), "."]);
                }
            }
            with_amounts!(lines; "Room left then: ", figure(Figure::RoomLeft)?, ". Alcohol ends near ", figure(Figure::FruitedAlcohol)?, ".");
        }
        Step::Stable => {
            next.reading = Some(ReadingKind::Gravity);
            lines.push(say!["Read the gravity now and again in three days: it must not have moved."]);
            with_amounts!(lines; "It should end near ", figure(Figure::FruitedGravity)?, ".");
        }
        Step::Packaged => {
            next.reading = Some(ReadingKind::PackagedVolume);
            if plan.figures.priming().is_ok() {
                with_amounts!(lines; "Package with ", figure(Figure::PrimingSugar)?, " of priming sugar for ", figure(Figure::PackagedVolume)?, ".");
            } else {
                with_amounts!(lines; "Package and carbonate at ", figure(Figure::KegPressure)?, " and ", typed(Field::ServingTemperature)?, ".");
            }
            with_amounts!(lines; "Burst check: up to ", figure(Figure::PackagePressure)?, " at ", typed(Field::Warmest)?, ".");
        }
    }
    if item.state == RunState::Now {
        stood(&mut lines, step, batch, now);
    }
    let mut lines = lines.into_iter();
    next.says = lines.next().unwrap_or_else(|| say![step.done(), "? Then tick it."]);
    next.details = lines.collect();
    // The souring says itself when it is expected.
    if let Some(ends) =
        item.ends.filter(|ends| item.state.past().is_none() && ends.about > now && step != Step::Soured)
    {
        let mut says = say!["Likely done at about ", ends.about];
        if (ends.late - ends.early).as_hours() > 1.0 {
            says.extend(say![", between ", ends.early, " and ", ends.late]);
        }
        says.extend(say!["."]);
        next.details.push(says);
    }
    next
}

/// A length of time for people: in hours, from two days on in days.
fn ago(time: Duration) -> Amount {
    time.amount().seen_as(if time.as_hours() < 48.0 { Dimension::Hours } else { Dimension::Days })
}

/// What to do first when the step before was long ago. The limits are our estimates; they are generous to a mash
/// that stands over night. That boiling does not save wort which stood warm is in the advice on souring.
fn stood(lines: &mut Vec<Sentence>, step: Step, batch: &Batch, now: Moment) {
    let (since, hours, says) = match step {
        Step::MashAcid
        | Step::MashOut
        | Step::FirstBoil
        | Step::SetAside
        | Step::Cooled
        | Step::AcidDrop
        | Step::Culture => {
            let mash: Option<Duration> = batch.value(Field::MashTime);
            (
                Step::MashIn,
                12.0 + mash.map_or(0.0, Duration::as_hours),
                " Wort that stood warm and was not sour all that time is not safe, and boiling does not make it so: throw it away, untasted, unless it was above 60 °C, in the fridge or frozen.",
            )
        }
        Step::Soured => (Step::Culture, 2.0, ""),
        Step::MainBoil => (Step::Soured, 6.0, " It goes on souring until it boils: read the pH, then boil."),
        Step::Chilled => (
            Step::MainBoil,
            6.0,
            " If it has cooled by itself, bring it to the boil once more, then chill it.",
        ),
        Step::Yeast => (
            Step::Chilled,
            12.0,
            " Pitch now: wort without yeast is anybody's. Foam or a bad smell before any yeast means that it is spoiled.",
        ),
        Step::PastPeak => (Step::Yeast, 24.0, ""),
        Step::FruitIn => (Step::PastPeak, 24.0, ""),
        Step::Stable => {
            (if batch.ticked(Step::FruitIn).is_some() { Step::FruitIn } else { Step::PastPeak }, 24.0, "")
        }
        Step::Packaged => (Step::Stable, 24.0, ""),
        Step::Salts | Step::MashIn => return,
    };
    let Some(at) = done_by(batch, since) else { return };
    let time = now - at;
    if time.as_hours() >= hours {
        // A plain length of time comes behind what is to be done.
        let place = usize::from(says.is_empty()).min(lines.len());
        lines.insert(place, say![since.done(), ": ", ago(time), " ago.", says]);
    }
}

fn drop_lines(lines: &mut Vec<Sentence>, batch: &Batch, plan: &Plan, acid: &'static str) {
    let figure = |figure: Figure| amount(figure, plan);
    let wanted = field(Field::DropPh, batch);
    if acid_unread(batch) {
        lines.push(say!["Stir for five minutes, then read the pH and type it here."]);
        with_amounts!(lines; "Expected now: ", figure(Figure::WortPh)?, "; wanted: ", wanted?, ".");
    } else if batch.readings.last(ReadingKind::WortPh).is_none() {
        lines.push(say!["Read the wort's pH at room temperature and type it here."]);
        with_amounts!(lines; "Then pour about ", figure(Figure::NextDose)?, " of ", acid, " as the first dose; ", figure(Figure::DropAcid)?, " may be needed in all.");
    } else {
        match plan.rung {
            Some(Rung::Pour(_)) => {
                if plan.figures.dose_stock().is_ok() {
                    with_amounts!(lines; "Pour ", figure(Figure::DoseStock)?, " of a tenfold dilution of ", acid, " and stir for two minutes.");
                } else {
                    with_amounts!(lines; "Pour ", figure(Figure::NextDose)?, " of ", acid, " and stir for two minutes.");
                }
                with_amounts!(lines; "On the scale: ", figure(Figure::DoseWeight)?, ".");
                with_amounts!(lines; "By the dropper: ", figure(Figure::DoseDrops)?, " drops.");
                with_amounts!(lines; "Note ", figure(Figure::NextDose)?, " as “Acid added to the wort”, wait three minutes, read the pH. Wanted: ", wanted?, "; in all about ", figure(Figure::DropAcid)?, " still to go.");
            }
            Some(Rung::Measure) => {
                lines.push(say!["Measure again before any more acid: too little is known for a safe dose."])
            }
            Some(Rung::Arrived) => lines.push(say![
                "The pH is where the bacteria want it, as near as the meter can tell. Pour no more."
            ]),
            Some(Rung::Past(_)) => {
                lines.push(say!["The pH is past the one wanted. Pour no more; the warnings say what helps."])
            }
            None => lines.extend(plan.figures.next_dose().err().map(Unknown::sentence)),
        }
    }
}

/// What is wanted of the souring, and whether the newest reading of it is there.
pub(super) fn sour_enough(batch: &Batch, plan: &Plan) -> (Option<Amount>, bool) {
    let acidity = batch.numbers.sour_acidity();
    let wanted = acidity.map_or_else(|| field(Field::SourPh, batch), |acidity| Some(acidity.amount()));
    let newest = match acidity {
        Some(_) => batch.readings.last(ReadingKind::SourAcidity).map(|reading| reading.value.base()),
        None => amount(Figure::SourPhNow, plan).map(|ph| ph.base()),
    };
    let reached = newest.zip(wanted).is_some_and(|(newest, wanted)| {
        if acidity.is_some() { newest >= wanted.base() } else { newest <= wanted.base() }
    });
    (wanted, reached)
}

fn sour_lines(lines: &mut Vec<Sentence>, batch: &Batch, plan: &Plan, now: Moment) {
    let (wanted, reached) = sour_enough(batch, plan);
    if reached {
        lines.push(say!["Sour enough. Taste a cooled sample, then go on to the main boil."]);
        return;
    }
    let start = pitched(batch);
    match (start, plan.figures.sour_time()) {
        (Some(start), Ok(time)) => {
            let at = |after: Duration| start + after;
            let (early, middle, late) =
                (at(time.estimate.low), at(time.estimate.value), at(time.estimate.high));
            match plan.measure_next.filter(|next| *next > now) {
                Some(next) => lines.push(say!["Wait. Read the pH next at about ", next, "."]),
                None => lines.push(say!["Read the pH now and type it here."]),
            }
            if let Some(wanted) = wanted {
                lines.push(say![
                    wanted,
                    " is expected at ",
                    middle,
                    ", likely between ",
                    early,
                    " and ",
                    late,
                    "."
                ]);
            }
        }
        (_, Err(unknown)) => {
            lines.push(say!["Read the pH and type it here."]);
            lines.push(unknown.sentence());
        }
        (None, Ok(time)) => lines.push(say![
            "It sours for about ",
            time.estimate.value.amount().seen_as(Dimension::Hours),
            ". Read its pH within the first day, then when this list says so."
        ]),
    }
    lines.push(say!["Take the sample with a sanitised pipette, do not pour it back, let no air in."]);
}
