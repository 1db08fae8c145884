//! One course of souring: how growth, acid and buffers turn time into pH.
//!
//! All rates scale alike with temperature, so a course is laid out in *warm
//! hours*, hours at the culture's best temperature, and a [`Clock`] turns them
//! into hours of the batch, whatever its temperature did. Apart from that the
//! rates depend on the acid made alone, so a course is a sum over pH, with no
//! steps of time.

use super::super::buffer::{BufferCurve, charge_in_wort};
use super::{Conditions, LONGEST_HOURS};
use crate::data::Source;
use crate::data::acids::AcidKind;
use crate::data::cultures::{Culture, PhLimits};
use crate::numeric::power::ten_to;
use crate::quantity::{Count, Ph, Temperature};

/// Source of [`ctmi`].
pub const CTMI_SOURCE: Source = Source::published("Rosso, Lobry & Flandrois 1993, J. Theor. Biol. 162:447");
/// Source of [`cpm`].
pub const CPM_SOURCE: Source =
    Source::published("Rosso, Lobry, Bajard & Flandrois 1995, Appl. Environ. Microbiol. 61:610");

/// How long a pitch waits before it grows, times its growth rate after; our estimate.
const LAG: f64 = 1.0;
/// The acid rates of [`Culture::acid`] hold at this temperature.
const ACID_RATE_AT: Temperature = Temperature::celsius(30.0);
/// From this far above the lowest pH on, acid without growth dies away; our estimate.
const FADES_WITHIN: f64 = 0.3;

/// Growth slower than this share of the fastest is none.
pub(super) const STANDSTILL: f64 = 1e-4;
/// Cells of the pH axis.
const CELLS: usize = 32;
const NODES: usize = CELLS + 1;
/// The buffering curve is asked at every so many nodes.
const KNOT: usize = 4;
const KNOTS: usize = CELLS / KNOT + 1;

/// Growth at a temperature as a share of the fastest: the cardinal temperature
/// model with inflection of Rosso et al. 1993. Zero outside the limits.
pub fn ctmi(at: Temperature, culture: Culture) -> Count {
    let limits = culture.thermal();
    let (t, least) = (at.as_celsius(), limits.least.as_celsius());
    let (best, most) = (limits.best.as_celsius(), limits.most.as_celsius());
    if !(t > least && t < most) {
        return Count::of(0.0);
    }
    let below = best - least;
    let share = (t - most) * (t - least).powi(2)
        / (below * (below * (t - best) - (best - most) * (best + least - 2.0 * t)));
    Count::of(share.clamp(0.0, 1.0))
}

/// Growth at a pH as a share of the fastest: the cardinal pH model of Rosso et
/// al. 1995. Zero outside the limits.
pub fn cpm(ph: Ph, culture: Culture) -> Count {
    Count::of(share_of_ph(ph.value(), &culture.ph()).clamp(0.0, 1.0))
}

/// [`cpm`] with the limits at hand.
fn share_of_ph(ph: f64, limits: &PhLimits) -> f64 {
    let (least, most) = (limits.least.value(), limits.most.value());
    if !(ph > least && ph < most) {
        return 0.0;
    }
    let product = (ph - least) * (ph - most);
    product / (product - (ph - limits.best.value()).powi(2))
}

/// What no two sourings share; all factors are on what is expected.
#[derive(Clone, Copy)]
pub(super) struct Traits {
    /// On the speed of everything.
    pub speed: f64,
    /// On the wait before growth.
    pub lag: f64,
    /// Dry cells pitched, g/L, and in them what acid a cell makes: the two act alike.
    pub cells: f64,
    /// On the acid made without growth.
    pub upkeep: f64,
    /// On the acid that stops the culture.
    pub stops: f64,
    /// How much lower than expected the culture's pH limits lie.
    pub shift: f64,
    /// Standard deviations of the buffering above the middle of its curve.
    pub buffer: f64,
}

/// The pH axis of a batch, from the start to below where any culture ends, and
/// what takes the wort there. All members of the ensemble share it.
pub(super) struct Axis {
    pub start: f64,
    step: f64,
    /// Charge from the start to each node, mmol/L, and its standard deviation.
    charge: [f64; NODES],
    spread: [f64; NODES],
    /// Lactic acid undissociated for each that is dissociated.
    ratio: [f64; NODES],
    /// Lactic acid that was there before the bacteria, mmol/L.
    before: f64,
    fastest: f64,
    with_growth: f64,
    with_time: f64,
    growth_stops: f64,
    acid_stops: f64,
    lowest: f64,
    limits: PhLimits,
}

impl Axis {
    pub fn new(conditions: &Conditions<'_>) -> Self {
        let culture = conditions.culture;
        let (fit, acid) = (culture.wort_fit(), culture.acid());
        let lowest = fit.lowest_ph.value();
        let start = conditions.start_ph.value();
        let step = (start - (lowest - 0.25)).max(0.05) / CELLS as f64;
        let mut axis = Self {
            start,
            step,
            charge: [0.0; NODES],
            spread: [0.0; NODES],
            ratio: [0.0; NODES],
            before: conditions.lactic_before.as_mg_per_l().max(0.0) / LACTIC_MASS,
            fastest: culture.thermal().fastest_per_hour.value() * fit.growth_share.as_of_one(),
            with_growth: acid.with_growth_mmol_per_g.value(),
            with_time: acid.with_time_mmol_per_g_h.value() * fit.acid_share.as_of_one()
                / ctmi(ACID_RATE_AT, culture).value().max(STANDSTILL),
            growth_stops: fit.growth_stops_mmol_per_l.value(),
            acid_stops: fit.acid_stops_mmol_per_l.value(),
            lowest,
            limits: culture.ph(),
        };
        axis.lay_out(conditions.curve);
        axis
    }

    /// The curve is asked at every fourth node; it is so smooth that a parabola through three
    /// of these is within 0.01 mEq/L of it between them.
    fn lay_out(&mut self, curve: &BufferCurve) {
        let from = Ph::new(self.start);
        let mut known = [(0.0, 0.0); KNOTS];
        for (knot, slot) in known.iter_mut().enumerate().skip(1) {
            let demand = curve.demand(from, Ph::new(self.ph((knot * KNOT) as f64)));
            *slot = (demand.value.as_meq_per_l(), demand.deviation());
        }
        let down = ten_to(self.step);
        let mut ratio = undissociated_ratio(from);
        let mut least = 0.0;
        for node in 0..NODES {
            let first = (node / KNOT).min(KNOTS - 3);
            let place = (node - first * KNOT) as f64 / KNOT as f64;
            let [a, b, c] =
                [0.5 * (place - 1.0) * (place - 2.0), place * (2.0 - place), 0.5 * place * (place - 1.0)];
            let (one, two, three) = (known[first], known[first + 1], known[first + 2]);
            // Acid never raises the pH, whatever the curve says.
            let charge = (a * one.0 + b * two.0 + c * three.0).max(least);
            self.charge[node] = charge;
            least = charge + 1e-6;
            self.spread[node] = (a * one.1 + b * two.1 + c * three.1).max(0.0);
            self.ratio[node] = ratio;
            ratio *= down;
        }
    }

    /// pH of a place along the axis, counted in cells.
    fn ph(&self, place: f64) -> f64 {
        self.start - self.step * place
    }

    /// Charge at a node for a buffering this many deviations above the middle.
    fn charge_at(&self, node: usize, buffer: f64) -> f64 {
        (self.charge[node] + buffer * self.spread[node]).max(0.2 * self.charge[node])
    }

    /// Lactic acid formed at a node, mmol/L.
    pub fn formed_at(&self, node: usize, buffer: f64) -> f64 {
        self.charge_at(node, buffer) * (1.0 + self.ratio[node])
    }

    /// Lactic acid formed at a pH, mmol/L; below the axis that of its end.
    pub fn formed_to(&self, ph: f64, buffer: f64) -> f64 {
        let place = ((self.start - ph) / self.step).clamp(0.0, CELLS as f64);
        let cell = (place as usize).min(CELLS - 1);
        let (a, b) = (self.formed_at(cell, buffer), self.formed_at(cell + 1, buffer));
        a + (b - a) * (place - cell as f64)
    }

    /// The lowest pH of the axis.
    pub fn bottom(&self) -> f64 {
        self.ph(CELLS as f64)
    }

    /// pH at which so much lactic acid was formed, mmol/L; `None` below the axis.
    pub fn ph_where(&self, formed: f64, buffer: f64) -> Option<f64> {
        let after = (0..NODES).find(|&node| self.formed_at(node, buffer) >= formed)?;
        if after == 0 {
            return Some(self.start);
        }
        let (a, b) = (self.formed_at(after - 1, buffer), self.formed_at(after, buffer));
        Some(self.ph((after - 1) as f64 + (formed - a) / (b - a).max(f64::MIN_POSITIVE)))
    }
}

/// Lactic acid that is not dissociated in wort of this pH, for each that is.
pub(super) fn undissociated_ratio(ph: Ph) -> f64 {
    let dissociated = charge_in_wort(AcidKind::Lactic, ph).value().max(1e-9);
    (1.0 - dissociated).max(0.0) / dissociated
}

/// Molar mass of lactic acid, g/mol.
pub(super) const LACTIC_MASS: f64 = 90.08;

/// A course: warm hours at equal steps of pH downwards.
pub(super) struct Course {
    hours: [f64; NODES],
    /// Nodes in use; the culture does not get beyond the last.
    len: usize,
}

impl Course {
    /// Integrates along the axis to where the culture stops. Within a cell growth
    /// and acid rate are those of its middle, and the time is exact: cells grow
    /// by `mu / rate` per acid made, so it is `ln(X1 / X0) / mu`.
    pub fn new(axis: &Axis, traits: &Traits) -> Self {
        let (growth_room, acid_room) =
            ((axis.growth_stops * traits.stops).recip(), (axis.acid_stops * traits.stops).recip());
        let with_time = axis.with_time * traits.upkeep;
        let lowest = axis.lowest - traits.shift;
        let first = axis.fastest * share_of_ph(axis.start + traits.shift, &axis.limits);
        let slow = traits.speed.recip();
        let mut cells = traits.cells;
        let mut time = if first > 1e-6 { LAG * traits.lag / first } else { 0.0 };
        let mut hours = [0.0; NODES];
        hours[0] = time * slow;
        let undissociated =
            |node: usize, charge: f64| (charge + axis.before / (1.0 + axis.ratio[node])) * axis.ratio[node];
        let (mut before, mut free) = (0.0, undissociated(0, 0.0));
        let mut len = 1;
        for (node, slot) in hours.iter_mut().enumerate().skip(1) {
            let charge = axis.charge_at(node, traits.buffer);
            let after = charge * (1.0 + axis.ratio[node]);
            let free_after = undissociated(node, charge);
            let middle_free = 0.5 * (free + free_after);
            let middle = axis.ph(node as f64 - 0.5);
            let growth = axis.fastest
                * share_of_ph(middle + traits.shift, &axis.limits)
                * (1.0 - middle_free * growth_room).max(0.0);
            let fades = ((middle - lowest) / FADES_WITHIN).clamp(0.0, 1.0);
            let rate =
                axis.with_growth * growth + with_time * (1.0 - middle_free * acid_room).max(0.0) * fades;
            if rate <= 1e-9 {
                break;
            }
            let acid = (after - before).max(0.0);
            let grown = growth / rate * acid;
            let share = grown / cells;
            // ln(1 + x) / x; near zero the quotient of two lines is within 0.2 % of it.
            let mean =
                if share > 0.5 { (1.0 + share).ln() / share } else { (6.0 + share) / (6.0 + 4.0 * share) };
            time += mean * acid / (rate * cells);
            if time.is_nan() || time > LONGEST_HOURS * 100.0 {
                break;
            }
            cells += grown;
            (before, free) = (after, free_after);
            *slot = time * slow;
            len = node + 1;
        }
        Self { hours, len }
    }

    /// Where on the axis this pH lies, in cells; `None` below where the culture stops.
    fn place(&self, axis: &Axis, ph: f64) -> Option<f64> {
        let place = ((axis.start - ph) / axis.step).max(0.0);
        (place <= (self.len - 1) as f64).then_some(place)
    }

    /// Warm hours at which the course has this pH; that of the end of the wait at and above the start.
    pub fn at_ph(&self, axis: &Axis, ph: f64) -> Option<f64> {
        let place = self.place(axis, ph)?;
        let cell = (place as usize).min(self.len.saturating_sub(2));
        let (a, b) = (self.hours[cell], self.hours[(cell + 1).min(self.len - 1)]);
        Some(a + (b - a) * (place - cell as f64))
    }

    /// pH at these warm hours.
    pub fn at_time(&self, axis: &Axis, hours: f64) -> f64 {
        let used = &self.hours[..self.len];
        let after = used.partition_point(|&h| h <= hours);
        if after == 0 {
            return axis.start;
        }
        if after == self.len {
            return axis.ph((self.len - 1) as f64);
        }
        let (a, b) = (used[after - 1], used[after]);
        axis.ph((after - 1) as f64 + (hours - a) / (b - a))
    }

    /// The lowest pH the course comes to.
    pub fn lowest(&self, axis: &Axis) -> f64 {
        axis.ph((self.len - 1) as f64)
    }
}

/// Turns hours since the pitch into warm hours and back.
pub(super) struct Clock {
    /// Hours, and warm hours by then, at each temperature read.
    knots: Vec<(f64, f64)>,
    /// Warm hours per hour after the last of them.
    pub pace: f64,
}

impl Clock {
    /// Between two temperatures the pace is the mean of both; before the first it is the first's.
    pub fn new(conditions: &Conditions<'_>) -> Self {
        let pace = |at: Temperature| ctmi(at, conditions.culture).value();
        let mut read: Vec<(f64, f64)> = Vec::with_capacity(conditions.temperatures.len());
        for (at, temperature) in conditions.temperatures {
            let at = at.as_hours();
            if (0.0..=LONGEST_HOURS).contains(&at) {
                read.insert(read.partition_point(|earlier| earlier.0 <= at), (at, pace(*temperature)));
            }
        }
        let (mut last, mut warm) = ((0.0, read.first().map_or(0.0, |first| first.1)), 0.0);
        for (at, slot) in &mut read {
            warm += 0.5 * (last.1 + *slot) * (*at - last.0);
            last = (*at, *slot);
            *slot = warm;
        }
        Self { knots: read, pace: pace(conditions.temperature) }
    }

    /// Warm hours at these hours since the pitch.
    pub fn warm(&self, hours: f64) -> f64 {
        let after = self.knots.partition_point(|knot| knot.0 <= hours);
        let from = if after == 0 { (0.0, 0.0) } else { self.knots[after - 1] };
        match self.knots.get(after) {
            Some(to) => from.1 + (to.1 - from.1) * (hours - from.0) / (to.0 - from.0),
            None => from.1 + self.pace * (hours - from.0),
        }
    }

    /// Hours since the pitch at these warm hours; infinite when the wort stays too cold or too hot.
    pub fn hours(&self, warm: f64) -> f64 {
        let after = self.knots.partition_point(|knot| knot.1 < warm);
        let from = if after == 0 { (0.0, 0.0) } else { self.knots[after - 1] };
        match self.knots.get(after) {
            Some(to) => from.0 + (to.0 - from.0) * (warm - from.1) / (to.1 - from.1).max(f64::MIN_POSITIVE),
            None if self.pace > STANDSTILL => from.0 + (warm - from.1) / self.pace,
            None => f64::INFINITY,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{first_speed, titratable_acidity};
    use super::*;
    use crate::quantity::{Bitterness, CellDensity, Concentration, Duration, Estimate, PhDifference, Plato};

    fn conditions<'a>(curve: &'a BufferCurve, temperatures: &'a [(Duration, Temperature)]) -> Conditions<'a> {
        let gravity = Plato::degrees(10.7);
        Conditions {
            start_ph: Ph::new(4.5),
            curve,
            gravity,
            lactic_before: Concentration::g_per_l(0.5),
            acidity_before: titratable_acidity(Estimate::exact(Concentration::g_per_l(0.5)), gravity),
            temperature: Temperature::celsius(24.0),
            temperatures,
            culture: Culture::LPlantarum,
            cells: Estimate::exact(CellDensity::millions_per_ml(10.0)),
            bitterness: Bitterness::ZERO,
            speed: first_speed(),
            meter_error: PhDifference::units(0.03),
        }
    }

    fn curve() -> BufferCurve {
        BufferCurve::prior(Plato::degrees(10.7), Estimate::exact(Count::of(1.0)))
    }

    const USUAL: Traits =
        Traits { speed: 1.0, lag: 1.0, cells: 3e-3, upkeep: 1.0, stops: 1.0, shift: 0.0, buffer: 0.0 };

    #[test]
    fn the_sum_over_ph_agrees_with_small_steps_of_time() {
        let curve = curve();
        let conditions = conditions(&curve, &[]);
        let axis = Axis::new(&conditions);
        let course = Course::new(&axis, &USUAL);
        let lactic = |ph: f64| {
            let charge = curve.demand(Ph::new(4.5), Ph::new(ph)).value.as_meq_per_l();
            charge * (1.0 + undissociated_ratio(Ph::new(ph)))
        };
        let dosed = 0.5e3 / LACTIC_MASS;
        let (mut ph, mut cells, mut made) = (4.5, USUAL.cells, 0.0);
        let mut hours = LAG / (axis.fastest * cpm(Ph::new(4.5), conditions.culture).value());
        let step = 0.01;
        while ph > 3.4 {
            let ratio = undissociated_ratio(Ph::new(ph));
            let free = (made + dosed) * ratio / (1.0 + ratio);
            let growth = axis.fastest
                * cpm(Ph::new(ph), conditions.culture).value()
                * (1.0 - free / axis.growth_stops).max(0.0);
            let rate = axis.with_growth * growth
                + axis.with_time
                    * (1.0 - free / axis.acid_stops).max(0.0)
                    * ((ph - axis.lowest) / FADES_WITHIN).clamp(0.0, 1.0);
            made += rate * cells * step;
            cells += growth * cells * step;
            hours += step;
            while lactic(ph) < made {
                ph -= 1e-4;
            }
        }
        let sum = course.at_ph(&axis, 3.4).unwrap();
        assert!((sum - hours).abs() < 0.02 * hours, "{sum} {hours}");
    }

    #[test]
    fn the_axis_follows_the_buffering_curve() {
        let curve = curve();
        let axis = Axis::new(&conditions(&curve, &[]));
        for node in 0..NODES {
            let demand = curve.demand(Ph::new(4.5), Ph::new(axis.ph(node as f64)));
            let off = axis.charge[node] - demand.value.as_meq_per_l();
            assert!(off.abs() < 0.02, "{node}: {off}");
            assert!((axis.spread[node] - demand.deviation()).abs() < 0.1, "{node}");
        }
        let formed = axis.formed_to(3.37, 0.4);
        assert!((axis.ph_where(formed, 0.4).unwrap() - 3.37).abs() < 1e-9);
        assert_eq!(axis.ph_where(1e6, 0.0), None);
    }

    #[test]
    fn places_and_times_of_a_course_agree() {
        let curve = curve();
        let axis = Axis::new(&conditions(&curve, &[]));
        let course = Course::new(&axis, &USUAL);
        for ph in [4.49, 4.1, 3.7, 3.4, 3.3] {
            assert!((course.at_time(&axis, course.at_ph(&axis, ph).unwrap()) - ph).abs() < 1e-9);
        }
        assert_eq!(course.at_time(&axis, 0.0), 4.5);
        assert_eq!(course.at_ph(&axis, course.lowest(&axis) - 0.01), None);
        let twice = Course::new(&axis, &Traits { speed: 2.0, ..USUAL });
        let (once, twice) = (course.at_ph(&axis, 3.6).unwrap(), twice.at_ph(&axis, 3.6).unwrap());
        assert!((once - 2.0 * twice).abs() < 1e-9);
    }

    #[test]
    fn the_clock_turns_back() {
        let curve = curve();
        let at = |hours: f64, celsius: f64| (Duration::hours(hours), Temperature::celsius(celsius));
        // Out of order, two at once, and half a day too cold for any growth.
        let read =
            [at(10.0, 30.0), at(0.0, 20.0), at(10.0, 30.0), at(20.0, 1.0), at(32.0, 1.0), at(40.0, 24.0)];
        let clock = Clock::new(&conditions(&curve, &read));
        let pace = |celsius: f64| ctmi(Temperature::celsius(celsius), Culture::LPlantarum).value();
        assert!((clock.warm(10.0) - 5.0 * (pace(20.0) + pace(30.0))).abs() < 1e-9);
        assert!((clock.warm(50.0) - clock.warm(45.0) - 5.0 * pace(24.0)).abs() < 1e-9);
        for hours in [0.5, 9.0, 15.0, 35.0, 41.0, 100.0] {
            assert!((clock.hours(clock.warm(hours)) - hours).abs() < 1e-9, "{hours}");
        }
        let cold = Conditions { temperature: Temperature::celsius(1.0), ..conditions(&curve, &read) };
        assert_eq!(Clock::new(&cold).hours(1e3), f64::INFINITY);
    }
}
