//! What goes wrong in souring, and how it shows.

use super::filter::{Belief, Read, Residual, TRAITS};
use super::growth::{Course, ctmi};
use super::{Conditions, Expected, Forecast, SAFE_PH, SAFE_WITHIN};
use crate::quantity::{Bitterness, Ph};

/// What to look at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alarm {
    /// The pH fell and then has not moved for 12 hours where it should have.
    Stalled,
    /// Read above pH 4.6 after 24 hours: unsafe.
    AboveSafePh,
    /// Expected to be above pH 4.6 still after 24 hours.
    SlowToSafePh,
    /// Warmer than the culture's best temperature by more than 2 K.
    TooHot,
    /// So cold that the culture grows at less than a tenth of its best.
    TooCold,
    /// The pH wanted is lower than where this culture usually ends.
    BelowUsualEnd,
    /// More bitterness than the culture bears: souring is expected to fail, or it is slow and this may be why.
    Hops,
    /// The wort has not moved when nine in ten pitches would have moved it.
    WeakPitch,
    /// The pH rose, or fell faster than bacteria can make it: check the meter before believing it.
    MeterDrift,
    /// The last reading lies above nearly all that was to be expected: slower than before.
    Slowing,
}

/// Standard deviations that an honest reading hardly ever lies off.
const FAR: f64 = 2.6;
/// A stall is no movement for as long as this, hours.
const STALL_HOURS: f64 = 12.0;

/// Alarms that readings raise without any model.
pub(super) fn measured(read: &[(f64, f64)], conditions: &Conditions<'_>, alarms: &mut Vec<Alarm>) {
    let Some(&(at, ph)) = read.last() else { return };
    if at >= SAFE_WITHIN.as_hours() && ph > SAFE_PH.value() {
        alarms.push(Alarm::AboveSafePh);
    }
    let before = match read.len() {
        1 => conditions.start_ph.value(),
        more => read[more - 2].1,
    };
    // Bacteria never raise the pH; the difference of two readings has the error of both.
    let noise = std::f64::consts::SQRT_2 * conditions.meter_error.as_units().clamp(0.01, 1.0);
    if ph - before > FAR * noise {
        alarms.push(Alarm::MeterDrift);
    }
}

/// Alarms from what was to be expected. Only one cause of slowness is named.
pub(super) fn expected(of: &Expected<'_>, target: Ph, forecast: &mut Forecast) {
    let (conditions, culture) = (of.conditions, of.conditions.culture);
    let alarms = &mut forecast.alarms;
    let thermal = culture.thermal();
    let at = conditions.temperature;
    let hot = at >= thermal.best && (at - thermal.best).as_kelvin() > 2.0;
    let cold = at < thermal.best && ctmi(at, culture).value() < 0.1;
    if hot {
        alarms.push(Alarm::TooHot);
    } else if cold {
        alarms.push(Alarm::TooCold);
    }
    if target < culture.usual_end().0 {
        alarms.push(Alarm::BelowUsualEnd);
    }
    let mut slow = false;
    if let Some((last, before)) = of.read.split_last()
        && !alarms.contains(&Alarm::MeterDrift)
    {
        let (mean, deviation) = foreseen(of, before, last);
        let off = (last.ph - mean) / deviation;
        if off < -FAR {
            alarms.push(Alarm::MeterDrift);
        }
        let unmoved = unmoved(of, last);
        let stalled = last.ph > target.value() + 0.1 && stalled(of, last, before);
        slow = stalled || unmoved || off > FAR;
        if stalled {
            alarms.push(Alarm::Stalled);
        } else if off > FAR {
            alarms.push(Alarm::Slowing);
        }
        let hops = conditions.bitterness > culture.hops().borne;
        if unmoved && !hot && !cold && !hops {
            alarms.push(Alarm::WeakPitch);
        }
    }
    let limit: Bitterness = if slow { culture.hops().borne } else { culture.hops().fails };
    if conditions.bitterness > limit {
        alarms.push(Alarm::Hops);
    }
    let safe_within = SAFE_WITHIN.as_hours();
    if of.read.last().is_none_or(|last| last.at < safe_within)
        && forecast
            .course
            .iter()
            .rfind(|point| point.at.as_hours() <= safe_within)
            .is_some_and(|point| point.value > SAFE_PH)
    {
        alarms.push(Alarm::SlowToSafePh);
    }
}

/// Mean and standard deviation of a reading, from those before it.
fn foreseen(of: &Expected<'_>, before: &[Read], last: &Read) -> (f64, f64) {
    let belief = Belief::learned(of.axis, of.prior, before, of.meter);
    let ph =
        |z: &[f64; TRAITS], at: &Read| Course::new(of.axis, &of.prior.traits(z)).at_time(of.axis, at.warm);
    let mut residual = Residual::new(of.meter);
    let mut off = 0.0;
    for (place, reading) in before.iter().enumerate() {
        residual.pass_to(reading.at);
        if place + 1 == before.len() {
            off = residual.of_reading().1 * (reading.ph - ph(&belief.mean, reading));
        }
        residual.read();
    }
    off *= residual.pass_to(last.at);
    let mut variance = residual.of_reading().0;
    for column in 0..TRAITS {
        let mut unit = [0.0; TRAITS];
        unit[column] = 1.0;
        let more = ph(&belief.point(&unit), last);
        unit[column] = -1.0;
        variance += (0.5 * (more - ph(&belief.point(&unit), last))).powi(2);
    }
    (ph(&belief.mean, last) + off, variance.sqrt())
}

/// The wort has not moved, and a pitch at the slow end of what is usual would have moved it.
fn unmoved(of: &Expected<'_>, last: &Read) -> bool {
    // Speed, wait and pitch together at the slow tenth.
    let slow = [-0.74, 0.74, -0.74, 0.0, 0.0, 0.0];
    let late = Course::new(of.axis, &of.prior.traits(&slow)).at_time(of.axis, last.warm);
    let noise = of.meter.max(0.02);
    last.ph > of.axis.start - 2.0 * noise && late < of.axis.start - 3.0 * noise
}

/// No reading of 12 hours ago or more before the last differs from it by more
/// than two meter errors, on a part of the course where the usual batch moves.
fn stalled(of: &Expected<'_>, last: &Read, before: &[Read]) -> bool {
    let noise = (2.0 * of.meter).max(0.05);
    let Some(earlier) = before.iter().rfind(|reading| last.at - reading.at >= STALL_HOURS) else {
        return false;
    };
    // Wort that has not moved at all is another matter: see `unmoved`.
    if earlier.ph - last.ph >= noise || last.ph > of.axis.start - noise {
        return false;
    }
    let usual = Course::new(of.axis, &of.prior.traits(&[0.0; TRAITS]));
    let Some(here) = usual.at_ph(of.axis, last.ph.min(of.axis.start)) else { return false };
    let then = usual.at_time(of.axis, here + (last.warm - of.clock.warm(last.at - STALL_HOURS)));
    last.ph - then > 2.0 * noise
}
