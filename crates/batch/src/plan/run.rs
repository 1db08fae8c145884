//! The run list: the steps of a batch in order, how each stands, and when it was done or is to be expected.

use super::next::{NextMove, TimerOffer, sour_enough, words_of};
use super::{Known, Plan};
use crate::document::{Batch, Field, HopField, HopTime, ReadingKind, RestField, Slot, Step};
use crate::moment::Moment;
use crate::say::{Piece, Sentence, say};
use calc::brew::drop::Rung;
use calc::quantity::{Amount, Dimension, Duration, Estimate, Ph, Quantity, Volume};

/// How a step stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RunState {
    /// Ticked, at this time.
    Done(Moment),
    /// Left out; when that was said.
    Skipped(Moment),
    /// Not ticked, but a later tick or a reading shows that it is behind, at the latest by then.
    Behind(Moment),
    /// To be done now.
    Now,
    /// To be done later.
    Later,
}

impl RunState {
    /// Since when it is behind; nothing while it is still to be done.
    pub const fn past(self) -> Option<Moment> {
        match self {
            Self::Done(at) | Self::Skipped(at) | Self::Behind(at) => Some(at),
            Self::Now | Self::Later => None,
        }
    }
}

/// When something is expected, with the band that is right four times of five.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Due {
    /// Early end.
    pub early: Moment,
    /// The middle.
    pub about: Moment,
    /// Late end.
    pub late: Moment,
}

impl Due {
    const fn at(moment: Moment) -> Self {
        Self { early: moment, about: moment, late: moment }
    }

    fn after(self, time: Estimate<Duration>) -> Self {
        Self { early: self.early + time.low, about: self.about + time.value, late: self.late + time.high }
    }

    fn not_before(self, other: Self) -> Self {
        Self {
            early: self.early.max(other.early),
            about: self.about.max(other.about),
            late: self.late.max(other.late),
        }
    }
}

/// One step of the run list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RunItem {
    /// The step.
    pub step: Step,
    /// How it stands.
    pub state: RunState,
    /// When it began or is expected to: as soon as the step before it was ticked. Nothing where what comes before
    /// takes a time that is not known.
    pub starts: Option<Due>,
    /// When it was ticked or is expected to be done: never before now while it is not. Nothing where its time is not
    /// known.
    pub ends: Option<Due>,
}

impl RunItem {
    /// What is said of it. Allocates: ask for what is shown only.
    pub fn words(&self, batch: &Batch, plan: &Plan, now: Moment) -> NextMove {
        words_of(self, batch, plan, now)
    }
}

/// Steps that a batch without their stuff does not have.
fn applies(batch: &Batch, step: Step) -> bool {
    match step {
        Step::FruitIn => !batch.fruit.is_empty(),
        Step::SetAside => batch.value(Field::StarterWort).is_some_and(|aside: Volume| aside > Volume::ZERO),
        _ => true,
    }
}

/// The last step that must be behind when this is measured. A reading never shows the step that asks for it.
const fn shown_by(kind: ReadingKind) -> Step {
    match kind {
        ReadingKind::MashAcid | ReadingKind::MashBase | ReadingKind::MashPh | ReadingKind::MashGravity => {
            Step::MashIn
        }
        ReadingKind::PreBoilVolume | ReadingKind::PreBoilGravity | ReadingKind::PreBoilBrix => Step::MashOut,
        ReadingKind::DropAcid | ReadingKind::WortPh => Step::Cooled,
        ReadingKind::SourPh | ReadingKind::SourTemperature | ReadingKind::SourAcidity => Step::Culture,
        ReadingKind::ChillTime
        | ReadingKind::PostBoilVolume
        | ReadingKind::OriginalGravity
        | ReadingKind::FermenterVolume => Step::MainBoil,
        ReadingKind::Gravity | ReadingKind::Brix | ReadingKind::BeerPh => Step::Yeast,
        ReadingKind::PackagedVolume => Step::Stable,
    }
}

/// When each step was first seen to be behind, by its own tick or by a reading.
struct Seen([Option<Moment>; Step::ALL.len()]);

impl Seen {
    fn of(batch: &Batch) -> Self {
        let mut seen = Self([None; Step::ALL.len()]);
        let ticks = batch.ticks.iter().map(|tick| (tick.0, tick.1));
        for (step, at) in ticks.chain(batch.readings.iter().map(|read| (shown_by(read.kind), read.at))) {
            let first = &mut seen.0[step as usize];
            *first = Some(first.map_or(at, |first| first.min(at)));
        }
        seen
    }

    /// When the step was seen to be behind: by itself, or by a step that cannot come before it.
    fn by(&self, step: Step) -> Option<Moment> {
        let proofs = &self.0[step.proof() as usize..];
        proofs.iter().chain([&self.0[step as usize]]).copied().flatten().min()
    }
}

/// When a step was ticked, or else seen to be behind.
pub(super) fn done_by(batch: &Batch, step: Step) -> Option<Moment> {
    batch.ticked(step).or_else(|| Seen::of(batch).by(step))
}

/// When the bacteria went in: as ticked, or as the plan takes it, at the first pH that was read of the souring.
pub(super) fn pitched(batch: &Batch) -> Option<Moment> {
    let first = || batch.readings.of(ReadingKind::SourPh).next().map(|reading| reading.at);
    batch.ticked(Step::Culture).or_else(first)
}

/// Ticks every step that is seen to be behind, each at the latest time at which it can have been done.
pub fn catch_up(batch: &mut Batch) {
    let seen = Seen::of(batch);
    for &step in Step::ALL {
        if applies(batch, step)
            && !batch.passed(step)
            && let Some(at) = seen.by(step)
        {
            batch.tick(step, Some(at));
        }
    }
}

/// The steps that a batch has, in order, each as it stands now.
///
/// What was ticked is a fact. What is to come counts from the newest fact, or from now where that is later, and
/// takes the plan's times of heating, boiling, cooling and souring, and our estimates of what hands do.
pub fn run_list(batch: &Batch, plan: &Plan, now: Moment) -> Vec<RunItem> {
    let seen = Seen::of(batch);
    let mut list: Vec<RunItem> = Vec::with_capacity(Step::ALL.len());
    let mut newest: Option<Moment> = None;
    // When what is not done yet can begin; the inner one is missing while that is not known.
    let mut next: Option<Option<Due>> = None;
    for &step in Step::ALL.iter().filter(|&&step| applies(batch, step)) {
        let skipped = batch.skips.iter().find(|skip| skip.0 == step);
        let state = match (batch.ticked(step), skipped, seen.by(step)) {
            (Some(at), ..) => RunState::Done(at),
            (None, Some(skip), _) => RunState::Skipped(skip.1),
            (None, None, Some(at)) => RunState::Behind(at),
            (None, None, None) if next.is_none() => RunState::Now,
            (None, None, None) => RunState::Later,
        };
        let (starts, ends) = if let Some(at) = state.past() {
            let starts = newest.map_or(at, |newest| newest.min(at));
            newest = newest.max(Some(at));
            next = next.map(|due| due.map(|due| due.not_before(Due::at(at))));
            (Some(Due::at(starts)), Some(Due::at(at)))
        } else {
            let starts = next.unwrap_or_else(|| Some(Due::at(newest.unwrap_or(now))));
            let ends = starts.and_then(|starts| ends(step, starts, &list, batch, plan));
            let ends = ends.map(|ends| ends.not_before(Due::at(now)));
            next = Some(ends);
            (starts, ends)
        };
        list.push(RunItem { step, state, starts, ends });
    }
    list
}

/// Fermentation up to its peak, and from then or from the fruit until it is stable. Our estimate of warm ale
/// fermentation in sour wort; the gravity decides, not the day.
const FERMENTS: Estimate<Duration> =
    Estimate { low: Duration::hours(48.0), value: Duration::hours(96.0), high: Duration::hours(192.0) };
const SETTLES: Estimate<Duration> =
    Estimate { low: Duration::hours(120.0), value: Duration::hours(168.0), high: Duration::hours(336.0) };

/// When a step that starts then is expected to be done.
fn ends(step: Step, starts: Due, before: &[RunItem], batch: &Batch, plan: &Plan) -> Option<Due> {
    let typed = |field: Field| batch.value::<Duration>(field).unwrap_or(Duration::ZERO);
    let since = |step: Step| before.iter().find(|item| item.step == step).and_then(|item| item.ends);
    let known = |figure: Known<Duration>| figure.ok().map(|value| value.estimate);
    let exact = Estimate::exact;
    let figures = &plan.figures;
    let ready = match step {
        Step::Salts | Step::MashAcid | Step::SetAside | Step::AcidDrop | Step::Culture => starts,
        Step::FruitIn | Step::Packaged => starts,
        Step::MashIn => starts.after(known(figures.strike_heating())?),
        Step::MashOut => {
            let rests =
                plan.rests.iter().map(heating_said).chain(rests(batch).map(|rest| rest.1)).sum::<Duration>();
            let mashed = since(Step::MashIn)?.after(exact(typed(Field::MashTime) + rests));
            mashed.not_before(starts).after(known(figures.mash_out_heating())?)
        }
        Step::FirstBoil => starts.after(known(figures.boil_heating())?).after(exact(typed(Field::ClearBoil))),
        Step::Cooled => starts.after(exact(stretch(plan, Stretch::Cooling)?)),
        Step::Soured if sour_enough(batch, plan).1 => starts,
        Step::Soured => {
            let from = pitched(batch).map_or(starts, Due::at);
            from.after(known(figures.sour_time())?).not_before(starts)
        }
        Step::MainBoil => {
            let boil = typed(Field::MainBoil) + typed(Field::Stand);
            starts.after(exact(stretch(plan, Stretch::Reheating)? + boil))
        }
        Step::Chilled => starts.after(known(figures.chill_time())?),
        Step::Yeast => starts.after(known(figures.oxygen_time()).unwrap_or(exact(Duration::ZERO))),
        Step::PastPeak => starts.after(FERMENTS),
        Step::Stable => starts.after(SETTLES),
    };
    Some(ready.after(exact(step.handwork())))
}

/// A stretch of the hot side that no figure of its own tells.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Stretch {
    /// From the sanitising boil to the bacteria's temperature.
    Cooling,
    /// From the bacteria's temperature to the main boil.
    Reheating,
}

fn stretch(plan: &Plan, wanted: Stretch) -> Option<Duration> {
    // Behind heating up and boiling comes the cooling, unless the water is too warm for it, then the heating again.
    let mut legs = plan.hot.as_ref()?.legs.iter().skip(2);
    let first = legs.next()?;
    let cooling = first.toward.is_some();
    match wanted {
        Stretch::Cooling => cooling.then_some(first.time),
        Stretch::Reheating if cooling => legs.next().map(|leg| leg.time),
        Stretch::Reheating => Some(first.time),
    }
}

/// The time that the sentence about a rest gives for heating to it.
fn heating_said(says: &Sentence) -> Duration {
    let time = |piece: &Piece| match piece {
        Piece::Amount(amount) if amount.dimension == Dimension::Minutes => amount.typed(),
        _ => Duration::ZERO,
    };
    says.iter().map(time).sum()
}

/// The rests after the first, each with its temperature and its length.
pub(super) fn rests(batch: &Batch) -> impl Iterator<Item = (Amount, Duration)> {
    batch.rests.iter().enumerate().filter_map(|(place, rest)| {
        let time = Slot::Rest(place, RestField::Time).effective(batch)?.typed();
        Some((rest.numbers.temperature()?.amount(), time))
    })
}

/// A sample needs this long until it is at room temperature. Our estimate for a spoonful in a cold glass.
const SAMPLE_COOLS: f64 = 10.0;

/// The timers that a step can do with.
pub(super) fn timers(step: Step, batch: &Batch, plan: &Plan, now: Moment) -> Vec<TimerOffer> {
    let mut offers = Vec::new();
    let mut offer = |name: Sentence, lasts: Option<Duration>| {
        if let Some(lasts) = lasts.filter(|lasts| *lasts > Duration::ZERO) {
            offers.push(TimerOffer { name, lasts });
        }
    };
    let typed = |field: Field| batch.value::<Duration>(field);
    let minutes = |minutes: f64| Some(Duration::minutes(minutes));
    // What is left of the mash, once it is known when it began.
    let mash = || {
        let whole = typed(Field::MashTime)?;
        let left = batch.ticked(Step::MashIn).map_or(whole, |begun| (begun + whole) - now);
        // Whole minutes: the offer does not change while somebody reaches for it.
        Some(Duration::minutes(left.as_minutes().ceil()).min(whole))
    };
    match step {
        Step::MashIn => offer(say!["Mash"], mash()),
        Step::MashAcid => {
            offer(say!["Mash sample cool"], minutes(SAMPLE_COOLS));
            offer(say!["Mash"], mash());
        }
        Step::MashOut => {
            offer(say!["Mash"], mash());
            for (temperature, time) in rests(batch) {
                offer(say!["Rest at ", temperature], Some(time));
            }
        }
        Step::FirstBoil => offer(say!["Sanitising boil"], typed(Field::ClearBoil)),
        Step::AcidDrop => {
            match plan.rung {
                _ if acid_unread(batch) => offer(say!["Acid stirred in: read the pH"], minutes(5.0)),
                Some(Rung::Pour(_)) => offer(say!["Acid stirred in: read the pH"], minutes(3.0)),
                _ => {}
            }
            offer(say!["Wort sample cool"], minutes(SAMPLE_COOLS));
        }
        Step::Soured => offer(say!["Sour sample cool"], minutes(SAMPLE_COOLS)),
        Step::MainBoil => {
            let boil = typed(Field::MainBoil).unwrap_or(Duration::ZERO);
            offer(say!["Main boil"], Some(boil));
            for (place, hop) in batch.hops.iter().enumerate() {
                let in_boil = match hop.time {
                    HopTime::Boil => hop.numbers.minutes().unwrap_or(boil).min(boil),
                    HopTime::Stand => Duration::ZERO,
                    HopTime::FirstWort | HopTime::Cold | HopTime::BeforeSouring => continue,
                };
                let mut name = if hop.name.is_empty() {
                    say!["Hop ", (place + 1).to_string()]
                } else {
                    say![hop.name.clone()]
                };
                name.extend(say![" in"]);
                if let Some(mass) = Slot::Hop(place, HopField::Mass).get(batch) {
                    name.extend(say![": ", mass]);
                }
                offer(name, Some(boil - in_boil));
            }
            offer(say!["Hot stand"], typed(Field::Stand));
        }
        Step::Yeast => {
            offer(say!["Oxygen"], plan.figures.oxygen_time().ok().map(|time| time.estimate.value));
        }
        _ => {}
    }
    offers
}

/// True when acid was poured into the wort after its pH was last read.
pub(super) fn acid_unread(batch: &Batch) -> bool {
    let read = batch.readings.last(ReadingKind::WortPh);
    let poured = batch.readings.last(ReadingKind::DropAcid);
    poured.is_some_and(|dose| read.is_none_or(|read| dose.at > read.at))
}

/// One line of the souring days.
#[derive(Clone, Debug, PartialEq)]
pub struct SouringDay {
    /// When.
    pub at: Moment,
    /// True when it was, false when it is to come.
    pub past: bool,
    /// What was read or is to be done.
    pub says: Sentence,
}

/// Two readings to come are not nearer to each other than this. Our estimate of what somebody does of their own will.
const APART: Duration = Duration::hours(2.0);
/// So many readings are foreseen at most; each new one changes the rest.
const FORESEEN: usize = 5;

/// The souring by days: what was read, when to read next, and until when; empty before the bacteria are in.
///
/// The next reading is the plan's, or now when that is past. Each further one halves the time that is left to the
/// expected end, so that they lie closer as the end comes near.
pub fn souring_days(batch: &Batch, plan: &Plan, now: Moment) -> Vec<SouringDay> {
    let mut days = Vec::new();
    let Some(from) = pitched(batch) else { return days };
    days.push(SouringDay { at: from, past: true, says: say![Step::Culture.done()] });
    for reading in batch.readings.iter() {
        if matches!(reading.kind, ReadingKind::SourPh | ReadingKind::SourAcidity) {
            let says = say![reading.value, " read"];
            days.push(SouringDay { at: reading.at, past: true, says });
        }
    }
    if batch.passed(Step::Soured) || Seen::of(batch).by(Step::Soured).is_some() {
        return days;
    }
    let (wanted, reached) = sour_enough(batch, plan);
    if reached {
        days.push(SouringDay { at: now, past: false, says: say!["Sour enough: on to the main boil"] });
        return days;
    }
    let end = plan.figures.sour_time().ok().map(|time| Due::at(from).after(time.estimate));
    let mut at = plan.measure_next.unwrap_or(now).max(now);
    for _ in 0..FORESEEN {
        let mut says = say!["Read the pH"];
        if let Some(ph) = course_at(plan, at - from) {
            says.extend(say![", about ", ph.amount(), " by then"]);
        }
        days.push(SouringDay { at, past: false, says });
        let Some(end) = end else { break };
        let next = at + ((end.about - at) * 0.5).max(APART);
        if next + APART > end.about {
            break;
        }
        at = next;
    }
    if let (Some(end), Some(wanted)) = (end, wanted) {
        let says = say![wanted, " expected, likely between ", end.early, " and ", end.late];
        days.push(SouringDay { at: end.about.max(at), past: false, says });
    }
    days
}

/// The pH that the forecast expects so long after pitching.
fn course_at(plan: &Plan, since: Duration) -> Option<Ph> {
    let place = plan.course.partition_point(|point| point.at < since);
    let (before, after) = (plan.course.get(place.checked_sub(1)?)?, plan.course.get(place)?);
    let share = (since - before.at) / (after.at - before.at);
    Some(Ph::new(before.value.value() + (after.value - before.value).as_units() * share))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::demo;
    use crate::document::{Reading, Stage};
    use crate::plan::{next_move, plan};
    use crate::testing::any_batch;
    use proptest::prelude::*;
    use proptest::sample::select;

    const START: Moment = Moment::from_seconds(1_764_000_000);

    fn example() -> Batch {
        demo("x".to_owned(), START)
    }

    fn after(hours: f64) -> Moment {
        START + Duration::hours(hours)
    }

    fn read(batch: &mut Batch, kind: ReadingKind, value: f64, at: Moment) {
        let value = Amount::in_base(kind.spec().dimension, value);
        batch.readings.add(Reading { kind, value, at, temperature: None, note: String::new() });
    }

    /// Ticks all steps up to this one, a quarter of an hour apart, the last of them then.
    fn ticked_to(last: Step, at: Moment) -> Batch {
        let mut batch = example();
        for (place, &step) in Step::ALL[..=last as usize].iter().enumerate() {
            let before = 0.25 * (last as usize - place) as f64;
            batch.tick(step, Some(at + Duration::hours(-before)));
        }
        batch
    }

    fn text(sentence: &Sentence) -> String {
        let word = |piece: &Piece| match piece {
            Piece::Words(words) => (*words).to_owned(),
            Piece::Name(name) => name.clone(),
            Piece::Amount(amount) => format!("{:.1} {:?}", amount.base(), amount.dimension),
            Piece::Time(at) => format!("{:.1} h", (*at - START).as_hours()),
        };
        sentence.iter().map(word).collect()
    }

    fn next_at(batch: &Batch, now: Moment) -> (NextMove, String) {
        let next = next_move(batch, &plan(batch), now);
        let all = [vec![next.says.clone()], next.details.clone()].concat();
        let all = all.iter().map(text).collect::<Vec<_>>().join("\n");
        (next, all)
    }

    fn item(list: &[RunItem], step: Step) -> RunItem {
        *list.iter().find(|item| item.step == step).unwrap()
    }

    /// What must hold of any batch at any time.
    fn holds(batch: &Batch, now: Moment) -> Result<(), TestCaseError> {
        let plan = plan(batch);
        let list = run_list(batch, &plan, now);
        let steps: Vec<Step> = list.iter().map(|item| item.step).collect();
        let wanted: Vec<Step> = Step::ALL.iter().copied().filter(|&step| applies(batch, step)).collect();
        prop_assert_eq!(steps, wanted);
        let first_open = list.iter().position(|item| item.state.past().is_none());
        let mut ended = now;
        for (place, item) in list.iter().enumerate() {
            if let Some(at) = batch.ticked(item.step) {
                prop_assert_eq!(item.state, RunState::Done(at));
                prop_assert_eq!(item.ends, Some(Due::at(at)));
            } else if batch.passed(item.step) {
                prop_assert!(matches!(item.state, RunState::Skipped(_)));
            }
            prop_assert_eq!(item.state == RunState::Now, Some(place) == first_open);
            for due in [item.starts, item.ends].into_iter().flatten() {
                prop_assert!(due.early <= due.about && due.about <= due.late, "{:?}", item);
            }
            if let (Some(starts), Some(ends)) = (item.starts, item.ends) {
                prop_assert!(starts.about <= ends.about, "{:?}", item);
                if item.state.past().is_none() {
                    prop_assert!(ends.about >= ended, "{:?} ends before what comes before it", item);
                    ended = ends.about;
                }
            }
            let words = item.words(batch, &plan, now);
            prop_assert!(!words.says.is_empty());
            for offer in &words.timers {
                prop_assert!(offer.lasts > Duration::ZERO && offer.lasts.is_finite());
                prop_assert!(!offer.name.is_empty());
            }
        }
        let next = next_move(batch, &plan, now);
        if list.iter().any(|item| item.state.past().is_some()) || next.step.is_some() {
            prop_assert_eq!(next.step, first_open.map(|place| list[place].step));
        }
        for &step in &next.behind {
            prop_assert!(!batch.passed(step));
        }
        let days = souring_days(batch, &plan, now);
        for pair in days.windows(2) {
            prop_assert!(!pair[1].past || pair[0].past);
            prop_assert!(pair[1].past || pair[0].past || pair[0].at <= pair[1].at);
        }
        let mut caught_up = batch.clone();
        catch_up(&mut caught_up);
        let after = run_list(&caught_up, &plan, now);
        prop_assert!(after.iter().all(|item| !matches!(item.state, RunState::Behind(_))));
        let open = |list: &[RunItem]| {
            list.iter().filter(|item| item.state.past().is_none()).map(|item| item.step).collect::<Vec<_>>()
        };
        prop_assert_eq!(open(&after), open(&list), "catching up ticks what is behind and nothing else");
        Ok(())
    }

    /// What a person does.
    #[derive(Clone, Copy, Debug)]
    enum Deed {
        Tick(Step),
        TickedEarlier(Step, f64),
        Skip(Step),
        Undo(Step),
        Read(ReadingKind, f64),
    }

    fn any_deed() -> impl Strategy<Value = Deed> {
        prop_oneof![
            4 => select(Step::ALL).prop_map(Deed::Tick),
            2 => (select(Step::ALL), 0.0..60.0f64).prop_map(|(step, hours)| Deed::TickedEarlier(step, hours)),
            1 => select(Step::ALL).prop_map(Deed::Skip),
            2 => select(Step::ALL).prop_map(Deed::Undo),
            2 => (select(ReadingKind::ALL), 0.0..1.0f64).prop_map(|(kind, share)| Deed::Read(kind, share)),
        ]
    }

    /// Said plainly and slowly: a step is behind when it was ticked or left out, when something that cannot come
    /// before it was ticked, or when something was measured that cannot be measured before it.
    fn first_open(batch: &Batch) -> Option<Step> {
        let behind = |step: Step| {
            let later = |other: Step| other >= step.proof() && other > step;
            batch.passed(step)
                || Step::ALL.iter().any(|&other| later(other) && batch.ticked(other).is_some())
                || batch
                    .readings
                    .iter()
                    .any(|reading| shown_by(reading.kind) == step || later(shown_by(reading.kind)))
        };
        Step::ALL.iter().copied().find(|&step| applies(batch, step) && !behind(step))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]

        #[test]
        fn any_batch_has_a_sound_list_at_any_time(
            batch in any_batch(),
            now in prop_oneof![
                -1_000_000..3_000_000_000_i64,
                any::<i64>(),
                Just(i64::MIN),
                Just(i64::MAX),
            ],
        ) {
            holds(&batch, Moment::from_seconds(now))?;
        }

        #[test]
        fn the_next_move_is_the_first_open_step_whatever_was_done_before(
            deeds in proptest::collection::vec((any_deed(), 0.0..40.0f64), 1..14),
        ) {
            let (mut batch, mut now) = (example(), START);
            for (deed, hours) in deeds {
                now = now + Duration::hours(hours);
                match deed {
                    Deed::Tick(step) => batch.tick(step, Some(now)),
                    Deed::TickedEarlier(step, hours) => batch.tick(step, Some(now + Duration::hours(-hours))),
                    Deed::Skip(step) => batch.skip(step, now),
                    Deed::Undo(step) => batch.tick(step, None),
                    Deed::Read(kind, share) => {
                        let (low, high) = (kind.spec().low.base(), kind.spec().high.base());
                        read(&mut batch, kind, low + share * (high - low), now);
                    }
                }
                holds(&batch, now)?;
                prop_assert_eq!(next_move(&batch, &plan(&batch), now).step, first_open(&batch));
            }
        }
    }

    #[test]
    fn a_late_start_counts_from_now_and_the_day_adds_up() {
        let (batch, now) = (example(), after(5.0));
        let plan = plan(&batch);
        let list = run_list(&batch, &plan, now);
        assert_eq!(list[0].starts, Some(Due::at(now)));
        assert!(list.iter().all(|item| item.ends.is_some()), "the example knows all its times");
        let hours = |step: Step| (item(&list, step).ends.unwrap().about - now).as_hours();
        // Twenty minutes of salts; heating as planned and ten minutes of stirring in.
        let heating = plan.figures.strike_heating().unwrap().estimate.value.as_hours();
        assert!((hours(Step::MashIn) - heating - 0.5).abs() < 0.001);
        // The mash runs from mash-in, while its pH is read.
        let out = plan.figures.mash_out_heating().unwrap().estimate.value.as_hours();
        assert!((hours(Step::MashOut) - hours(Step::MashIn) - 1.0 - out - 20.0 / 60.0).abs() < 0.001);
        // A day of six to ten hours, then souring as forecast.
        assert!((4.0..10.0).contains(&hours(Step::Culture)), "{}", hours(Step::Culture));
        let souring = plan.figures.sour_time().unwrap().estimate.value.as_hours();
        assert!((hours(Step::Soured) - hours(Step::Culture) - souring).abs() < 0.001);
        let sour = item(&list, Step::Soured).ends.unwrap();
        assert!(sour.early < sour.about && sour.about < sour.late);
        assert!(hours(Step::Packaged) > 24.0 * 8.0 && hours(Step::Packaged) < 24.0 * 40.0);
    }

    #[test]
    fn grain_in_two_days_ago_and_nothing_since_is_not_safe() {
        let batch = ticked_to(Step::MashIn, START);
        let (next, all) = next_at(&batch, after(48.0));
        assert_eq!((next.step, next.reading), (Some(Step::MashAcid), Some(ReadingKind::MashPh)));
        assert!(text(&next.says).starts_with("Grain is in: 2880.0 Days ago."), "{all}");
        assert!(text(&next.says).contains("not safe"), "{all}");
        assert!(next.timers.iter().all(|offer| text(&offer.name) != "Mash"), "the mash is long over");
        // Nor is it once somebody ticks on, until the bacteria are in.
        let mut ticked_on = batch.clone();
        for step in [Step::MashAcid, Step::MashOut, Step::FirstBoil] {
            ticked_on.tick(step, Some(after(48.1)));
        }
        assert!(next_at(&ticked_on, after(48.2)).1.contains("not safe"));
        // A mash of an hour is.
        let (soon, all) = next_at(&batch, after(0.4));
        assert!(!all.contains("ago"), "{all}");
        let mash = soon.timers.iter().find(|offer| text(&offer.name) == "Mash").unwrap();
        assert!((mash.lasts.as_hours() - 0.6).abs() < 0.001, "what is left of it");
        // A clock that lags behind the tick makes no mash longer.
        let (at_once, _) = next_at(&batch, after(-0.01));
        assert!(at_once.timers.iter().all(|offer| offer.lasts.as_hours() <= 1.0));
    }

    #[test]
    fn bacteria_in_two_days_ago_asks_for_the_ph_now() {
        let batch = ticked_to(Step::Culture, START);
        let (next, all) = next_at(&batch, after(48.0));
        assert_eq!((next.step, next.reading), (Some(Step::Soured), Some(ReadingKind::SourPh)));
        assert_eq!(text(&next.says), "Read the pH now and type it here.");
        assert!(all.contains("Bacteria pitched: 2880.0 Days ago."), "{all}");
        assert!(next.behind.is_empty());
        let list = run_list(&batch, &plan(&batch), after(48.0));
        assert_eq!(item(&list, Step::Soured).starts, Some(Due::at(START)));
        assert!(item(&list, Step::Soured).ends.unwrap().about >= after(48.0));
    }

    #[test]
    fn the_boil_yesterday_says_so() {
        let batch = ticked_to(Step::MainBoil, START);
        let (next, all) = next_at(&batch, after(24.0));
        assert_eq!(next.step, Some(Step::Chilled));
        assert!(text(&next.says).starts_with("Main boil done: 1440.0 Hours ago. If it has cooled"), "{all}");
        // The sanitising boil yesterday is another thing: that wort is not sour.
        let (next, all) = next_at(&ticked_to(Step::FirstBoil, START), after(24.0));
        assert_eq!(next.step, Some(Step::SetAside));
        assert!(text(&next.says).contains("not safe"), "{all}");
    }

    #[test]
    fn a_sour_reading_shows_that_the_bacteria_are_in() {
        let mut batch = example();
        read(&mut batch, ReadingKind::SourPh, 3.9, after(20.0));
        let (next, all) = next_at(&batch, after(21.0));
        assert_eq!(next.step, Some(Step::Soured));
        assert_eq!(next.behind.len(), 9);
        assert!(text(&next.details[0]).contains("not ticked: Water and salts, Grain in"), "{all}");
        catch_up(&mut batch);
        assert_eq!(batch.ticked(Step::Culture), Some(after(20.0)));
        let (next, _) = next_at(&batch, after(21.0));
        assert_eq!((next.step, next.behind.len()), (Some(Step::Soured), 0));
    }

    #[test]
    fn wort_can_be_set_aside_until_the_bacteria_are_in() {
        let mut batch = ticked_to(Step::FirstBoil, START);
        batch.tick(Step::Cooled, Some(after(1.0)));
        assert_eq!(next_at(&batch, after(1.0)).0.step, Some(Step::SetAside));
        batch.tick(Step::Culture, Some(after(2.0)));
        let (next, _) = next_at(&batch, after(2.0));
        assert_eq!((next.step, next.behind), (Some(Step::Soured), vec![Step::SetAside, Step::AcidDrop]));
    }

    #[test]
    fn a_batch_begun_on_paper_goes_on_without_its_grist() {
        let mut batch = Batch::new("x".to_owned(), String::new(), START, Default::default());
        assert_eq!(next_at(&batch, START).0.stage, Stage::Grist);
        batch.tick(Step::Culture, Some(START));
        assert_eq!(next_at(&batch, after(30.0)).0.step, Some(Step::Soured));
    }

    #[test]
    fn the_souring_days_foresee_readings_that_lie_closer_as_the_end_comes_near() {
        let mut batch = ticked_to(Step::Culture, START);
        assert!(souring_days(&example(), &plan(&example()), START).is_empty());
        read(&mut batch, ReadingKind::SourPh, 4.45, after(3.0));
        let plan = plan(&batch);
        let days = souring_days(&batch, &plan, after(3.1));
        let texts: Vec<String> = days.iter().map(|day| text(&day.says)).collect();
        assert_eq!((days[0].at, days[1].at), (START, after(3.0)), "{texts:?}");
        assert!(days[1].past && !days[2].past);
        assert_eq!(Some(days[2].at), plan.measure_next, "{texts:?}");
        assert!(days.len() >= 5, "{texts:?}");
        let to_come: Vec<f64> =
            days[2..].windows(2).map(|pair| (pair[1].at - pair[0].at).as_hours()).collect();
        assert!(to_come[..to_come.len() - 1].windows(2).all(|pair| pair[1] <= pair[0] + 0.01), "{to_come:?}");
        assert!(texts.last().unwrap().contains("expected, likely between"), "{texts:?}");
        read(&mut batch, ReadingKind::SourPh, 3.2, after(60.0));
        let days = souring_days(&batch, &super::super::plan(&batch), after(60.0));
        assert!(text(&days.last().unwrap().says).starts_with("Sour enough"));
    }

    #[test]
    fn every_hop_charge_of_the_boil_has_its_timer() {
        let mut batch = example();
        let boil = batch.value::<Duration>(Field::MainBoil).unwrap();
        batch.hops = [HopTime::Boil, HopTime::Stand, HopTime::Cold, HopTime::Boil]
            .map(|time| crate::document::Hop { time, ..Default::default() })
            .to_vec();
        batch.hops[1].name = "Late".to_owned();
        for (place, minutes) in [(0, 10.0), (3, 200.0)] {
            let minutes = Amount::in_base(Dimension::Minutes, minutes);
            Slot::Hop(place, HopField::Minutes).set(&mut batch, Some(minutes)).unwrap();
        }
        Slot::Hop(0, HopField::Mass)
            .set(&mut batch, Some(Amount::in_base(Dimension::SmallMass, 8.0)))
            .unwrap();
        let offers = timers(Step::MainBoil, &batch, &plan(&batch), START);
        let told: Vec<(String, f64)> =
            offers.iter().map(|offer| (text(&offer.name), (boil - offer.lasts).as_hours() * 60.0)).collect();
        let named: Vec<&str> = told.iter().map(|(name, _)| name.as_str()).collect();
        // What boils from the start and what goes in cold rings nothing.
        assert_eq!(named, ["Main boil", "Hop 1 in: 8.0 SmallMass", "Late in"]);
        assert!((told[1].1 - 10.0).abs() < 1e-9 && told[2].1.abs() < 1e-9, "{told:?}");
    }
}
