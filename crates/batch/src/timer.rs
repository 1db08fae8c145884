//! Timers by the wall clock: a start and an end, nothing that counts. A phone may sleep, the page may be
//! closed; what is left is the end less the time now.

use crate::document::{DocumentError, MOST_NOTED, MOST_TEXT, Spec, Timer};
use crate::keep::unpack;
use crate::moment::Moment;
use crate::say::{Sentence, say};
use calc::quantity::{Amount, Dimension, Duration, Quantity as _};

/// How long a timer may run, in minutes: a bit over a second to 30 days. The row of the field it is typed in.
pub const LASTS: &Spec = &Spec {
    label: "Rings in",
    key: "timer_min",
    dimension: Dimension::Minutes,
    low: Amount::in_base(Dimension::Minutes, 0.02),
    high: Amount::in_base(Dimension::Minutes, LONGEST.as_minutes()),
    assumed: None,
};

/// The longest a timer may run.
const LONGEST: Duration = Duration::hours(720.0);

/// A start so little ahead of the clock is what a phone does that sets its clock by the network.
const CLOCK_SLIP: Duration = Duration::minutes(1.0);

/// After so long nobody is at the kettle to see the screen.
const SEEN_WITHIN: Duration = Duration::hours(1.0);

/// Where a timer stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Left {
    /// It rings in so long; more than nothing, never more than 30 days and a minute.
    Running(Duration),
    /// It rang so long ago.
    Rung(Duration),
    /// It was started later than now, or for longer than any timer: the clock was set back, and what is left
    /// cannot be told.
    Untold,
}

/// Where a timer stands at this time.
pub fn left(timer: &Timer, now: Moment) -> Left {
    if timer.until <= now {
        Left::Rung(now - timer.until)
    } else if timer.from > now + CLOCK_SLIP || timer.until > timer.from + LONGEST {
        Left::Untold
    } else {
        Left::Running(timer.until - now)
    }
}

/// Starts a timer. Where the document has as many as it may, the oldest that was heard makes room.
///
/// # Errors
/// [`DocumentError`] for a length outside [`LASTS`], a name that is too long, or when no timer was heard that
/// could make room; then nothing is changed.
pub fn start(
    timers: &mut Vec<Timer>,
    name: String,
    lasts: Duration,
    now: Moment,
) -> Result<(), DocumentError> {
    LASTS.check(lasts.amount()).map_err(DocumentError::OutOfRange)?;
    let length = name.chars().count();
    if length > MOST_TEXT {
        return Err(DocumentError::TextTooLong("name of a timer", length));
    }
    while timers.len() >= MOST_NOTED {
        // They stand in the order they were started in.
        let Some(oldest) = timers.iter().position(|timer| timer.heard) else {
            return Err(DocumentError::ListTooLong("timers", timers.len() + 1, MOST_NOTED));
        };
        timers.remove(oldest);
    }
    timers.push(Timer { name, from: now, until: now + lasts, heard: false });
    Ok(())
}

/// Lets a timer run longer, never longer than 30 days in all. One that rang, or cannot be told, starts anew.
pub fn add(timer: &mut Timer, more: Duration, now: Moment) {
    if !matches!(left(timer, now), Left::Running(_)) {
        (timer.from, timer.until) = (now, now);
    }
    timer.until = (timer.until + more).min(timer.from + LONGEST);
    timer.heard = false;
}

/// The running timer that rings next.
pub fn next<'a>(timers: impl Iterator<Item = &'a Timer>, now: Moment) -> Option<&'a Timer> {
    let running = timers.filter(|timer| !timer.heard && matches!(left(timer, now), Left::Running(_)));
    running.min_by_key(|timer| timer.until)
}

/// True while the screen should stay on for it: it runs, or rang within the hour.
pub fn watched(timer: &Timer, now: Moment) -> bool {
    match left(timer, now) {
        Left::Running(_) => !timer.heard,
        Left::Rung(ago) => !timer.heard && ago < SEEN_WITHIN,
        Left::Untold => false,
    }
}

/// True when a stored text, packed or not, has a timer that nobody heard. Only the names of its fields are
/// looked at, so that a long batch book costs little.
pub fn unheard_in(stored: &str) -> bool {
    // Inside a text of the document the quotes would have a backslash before them.
    let text = unpack(stored);
    text.matches("\"until_s\":").count() > text.matches("\"heard\":").count()
}

/// What is left as a clock shows it: `4:05`, `1:04:05`.
pub fn countdown(left: Duration) -> String {
    let seconds = left.as_seconds().round() as i64;
    let (hours, minutes, seconds) = (seconds / 3_600, seconds / 60 % 60, seconds % 60);
    if hours == 0 { format!("{minutes}:{seconds:02}") } else { format!("{hours}:{minutes:02}:{seconds:02}") }
}

/// A length of time in the unit that people say it in.
fn spoken(length: Duration) -> Amount {
    let dimension = match length.as_minutes() {
        ..2.0 => Dimension::Seconds,
        ..300.0 => Dimension::Minutes,
        _ => Dimension::Hours,
    };
    length.amount().seen_as(dimension)
}

/// The words of the button that starts a timer.
pub fn start_words(name: String, lasts: Duration) -> Sentence {
    say!["Start ", spoken(lasts), ": ", name]
}

/// Where a timer stands, in words beside its name and its countdown.
pub fn says(timer: &Timer, now: Moment) -> Sentence {
    match left(timer, now) {
        Left::Running(_) => say!["rings at ", timer.until],
        Left::Rung(ago) if ago < Duration::minutes(1.0) => say!["rang just now"],
        Left::Rung(ago) => say!["rang ", spoken(ago), " ago, at ", timer.until],
        Left::Untold => {
            say!["The clock was set back since it was started. Stop it, or give it minutes from now."]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keep::{encode, stored_text};
    use crate::say::Piece;
    use crate::testing::{any_envelope, any_moment};
    use proptest::collection::vec;
    use proptest::prelude::*;

    fn at(seconds: i64) -> Moment {
        Moment::from_seconds(seconds)
    }

    fn timer(from: i64, until: i64) -> Timer {
        Timer { name: "mash".to_owned(), from: at(from), until: at(until), heard: false }
    }

    /// A timer that was started, and what was done to it, whatever the clock said each time.
    fn any_started() -> impl Strategy<Value = Timer> {
        let lasts = (2.0..43_200.0_f64).prop_map(Duration::minutes);
        (lasts.clone(), any_moment(), vec((lasts, any_moment()), 0..4)).prop_map(|(lasts, now, more)| {
            let mut timers = Vec::new();
            start(&mut timers, "own".to_owned(), lasts, now).unwrap();
            let mut timer = timers.remove(0);
            for (more, now) in more {
                add(&mut timer, more, now);
            }
            timer
        })
    }

    #[test]
    fn what_is_left_is_the_end_less_the_time_now() {
        let timer = timer(1_000, 4_600);
        assert_eq!(left(&timer, at(1_000)), Left::Running(Duration::minutes(60.0)));
        assert_eq!(left(&timer, at(4_599)), Left::Running(Duration::seconds(1.0)));
        assert_eq!(left(&timer, at(4_600)), Left::Rung(Duration::minutes(0.0)));
        // Asleep for three hours.
        assert_eq!(left(&timer, at(1_000 + 3 * 3_600)), Left::Rung(Duration::hours(2.0)));
    }

    #[test]
    fn a_clock_that_was_set_back_is_told() {
        let timer = timer(1_000_000, 1_003_600);
        // The network sets a phone's clock by seconds; a person by hours or years.
        assert_eq!(left(&timer, at(999_990)), Left::Running(Duration::seconds(3_610.0)));
        assert_eq!(left(&timer, at(1_000_000 - 3_600)), Left::Untold);
        assert_eq!(left(&timer, at(0)), Left::Untold);
        // One that came with a file and claims to run for years.
        assert_eq!(left(&super::tests::timer(0, 100_000_000), at(10)), Left::Untold);
        // Minutes given to it count from now.
        let mut given = timer;
        add(&mut given, Duration::minutes(5.0), at(0));
        assert_eq!(left(&given, at(0)), Left::Running(Duration::minutes(5.0)));
    }

    #[test]
    fn a_length_outside_the_range_starts_nothing() {
        for minutes in [0.0, -1.0, 0.01, 43_201.0, f64::NAN, f64::INFINITY] {
            let mut timers = Vec::new();
            let outcome = start(&mut timers, String::new(), Duration::minutes(minutes), at(0));
            assert!(matches!(outcome, Err(DocumentError::OutOfRange(_))), "{minutes}");
            assert!(timers.is_empty());
        }
        for minutes in [0.02, 1.0, 43_200.0] {
            start(&mut Vec::new(), String::new(), Duration::minutes(minutes), at(0)).unwrap();
        }
    }

    #[test]
    fn the_oldest_that_was_heard_makes_room_and_none_that_was_not() {
        let mut timers: Vec<Timer> = (0..MOST_NOTED as i64).map(|place| timer(place, place + 60)).collect();
        let hour = Duration::hours(1.0);
        assert!(matches!(
            start(&mut timers, "more".to_owned(), hour, at(500)),
            Err(DocumentError::ListTooLong("timers", _, MOST_NOTED))
        ));
        assert_eq!(timers.len(), MOST_NOTED);
        timers[7].heard = true;
        timers[9].heard = true;
        start(&mut timers, "more".to_owned(), hour, at(500)).unwrap();
        assert_eq!(timers.len(), MOST_NOTED);
        assert!(!timers.iter().any(|timer| timer.from == at(7)));
        assert!(timers.iter().any(|timer| timer.from == at(9)) && timers.last().unwrap().name == "more");
    }

    #[test]
    fn minutes_given_to_one_that_rang_count_from_now_and_it_rings_again() {
        let mut rang = timer(0, 60);
        rang.heard = true;
        add(&mut rang, Duration::minutes(5.0), at(1_000));
        assert_eq!((rang.until, rang.heard), (at(1_300), false));
        // While it runs they are added to its end.
        add(&mut rang, Duration::minutes(1.0), at(1_100));
        assert_eq!(rang.until, at(1_360));
    }

    #[test]
    fn the_screen_stays_on_while_one_runs_and_an_hour_longer() {
        let mut timer = timer(0, 600);
        assert!(watched(&timer, at(10)) && watched(&timer, at(4_199)) && !watched(&timer, at(4_200)));
        timer.heard = true;
        assert!(!watched(&timer, at(601)));
    }

    #[test]
    fn times_are_shown_as_a_clock_shows_them() {
        for (seconds, text) in [(1.0, "0:01"), (245.0, "4:05"), (3_599.0, "59:59"), (3_845.0, "1:04:05")] {
            assert_eq!(countdown(Duration::seconds(seconds)), text);
        }
        let ago = |seconds: i64| match says(&timer(0, 60), at(60 + seconds)).get(1) {
            Some(Piece::Amount(amount)) => Some((amount.dimension, amount.base())),
            _ => None,
        };
        assert_eq!(ago(10), None);
        assert_eq!(ago(720), Some((Dimension::Minutes, 12.0)));
        assert_eq!(ago(9_900), Some((Dimension::Minutes, 165.0)));
        assert_eq!(ago(172_800), Some((Dimension::Hours, 2_880.0)));
        assert_eq!(start_words("mash".to_owned(), Duration::minutes(60.0)).len(), 4);
    }

    proptest! {
        #[test]
        fn none_claims_to_run_longer_than_any_may(from in any_moment(), until in any_moment(), now in any_moment()) {
            let timer = Timer { from, until, ..Timer::default() };
            match left(&timer, now) {
                Left::Running(left) => {
                    prop_assert!(left.as_seconds() > 0.0 && left <= LONGEST + CLOCK_SLIP);
                    prop_assert!(from <= now + CLOCK_SLIP);
                }
                Left::Rung(ago) => prop_assert!(ago.as_seconds() >= 0.0 && until <= now),
                Left::Untold => prop_assert!(until > now),
            }
        }

        #[test]
        fn as_time_passes_one_that_was_started_only_runs_then_rings(timer in any_started(), mut times in vec(0.0..60_000.0_f64, 1..20)) {
            times.sort_by(f64::total_cmp);
            let mut rung = false;
            for minutes in times {
                let now = timer.from + Duration::minutes(minutes);
                match left(&timer, now) {
                    Left::Running(left) => prop_assert!(!rung && now + left == timer.until),
                    Left::Rung(ago) => {
                        rung = true;
                        prop_assert_eq!(timer.until + ago, now);
                    }
                    Left::Untold => prop_assert!(false, "it was started at {:?}", timer.from),
                }
            }
        }

        #[test]
        fn the_next_to_ring_rings_before_the_others(ends in vec((0..100_000_i64, any::<bool>()), 0..8), now in 0..100_000_i64) {
            let timers: Vec<Timer> = ends.iter().map(|(end, heard)| Timer { heard: *heard, ..timer(0, *end) }).collect();
            let soonest = ends.iter().filter(|(end, heard)| *end > now && !heard).map(|(end, _)| at(*end)).min();
            prop_assert_eq!(next(timers.iter(), at(now)).map(|timer| timer.until), soonest);
        }

        #[test]
        fn a_stored_text_tells_whether_one_is_unheard(envelope in any_envelope()) {
            let unheard = envelope.data.timers.iter().any(|timer| !timer.heard);
            prop_assert_eq!(unheard_in(&stored_text(&envelope).unwrap()), unheard);
            prop_assert_eq!(unheard_in(&encode(&envelope).unwrap()), unheard);
        }
    }

    #[test]
    fn a_name_that_looks_like_the_fields_of_a_timer_fools_nobody() {
        let mut envelope = crate::keep::Envelope::new(crate::demo::demo("id".to_owned(), at(0)));
        for heard in [false, true] {
            envelope.data.timers =
                vec![Timer { heard, name: r#""heard":"until_s":"#.to_owned(), ..timer(0, 60) }];
            assert_eq!(unheard_in(&stored_text(&envelope).unwrap()), !heard);
        }
    }
}
