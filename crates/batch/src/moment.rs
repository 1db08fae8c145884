//! A point in time.

use calc::quantity::Duration;
use std::ops::{Add, Sub};

/// A point in time, in whole seconds since 1970-01-01 00:00 UTC. The view turns
/// it into the person's own clock.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(i64);

impl Moment {
    /// From whole seconds since 1970 UTC. Anything a phone's clock can say is valid.
    pub const fn from_seconds(seconds: i64) -> Self {
        Self(seconds)
    }

    /// Whole seconds since 1970 UTC.
    pub const fn as_seconds(self) -> i64 {
        self.0
    }
}

impl Sub for Moment {
    type Output = Duration;
    fn sub(self, other: Self) -> Duration {
        Duration::seconds(self.0.saturating_sub(other.0) as f64)
    }
}

impl Add<Duration> for Moment {
    type Output = Self;
    fn add(self, later: Duration) -> Self {
        // `as` saturates, so an absurd duration stays a moment.
        Self(self.0.saturating_add(later.as_seconds().round() as i64))
    }
}
