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
pub fn start(timers: &mut Vec<Timer>, name: String, lasts: Duration, now: Moment) -> Result<(), DocumentError> {
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

/// Lets a timer run longer: one that rang rings again so long from now. Never longer than 30 days in all.
pub fn add(timer: &mut Timer, more: Duration, now: Moment) {
    if left(timer, now) == Left::Untold {
        (timer.from, timer.until) = (now, now);
    }
    timer.until = (timer.until.max(now) + more).min(timer.from.max(now) + LONGEST);
    timer.heard = false;
}

/// The running timer that rings next.
pub fn next(timers: &[Timer], now: Moment) -> Option<&Timer> {
    let running = timers.iter().filter(|timer| matches!(left(timer, now), Left::Running(_)));
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
    say!["Start ", name, ", ", spoken(lasts)]
}

/// Where a timer stands, in words beside its name and its countdown.
pub fn says(timer: &Timer, now: Moment) -> Sentence {
    match left(timer, now) {
        Left::Running(_) => say!["rings at ", timer.until],
        Left::Rung(ago) if ago < Duration::minutes(1.0) => say!["rang just now"],
        Left::Rung(ago) => say!["rang ", spoken(ago), " ago, at ", timer.until],
        Left::Untold => say!["The clock was set back since it was started. Stop it, or give it minutes from now."],
    }
}
