//! Whole steps of a scale that bring sums into their ranges at the least cost, proven.

use super::bounded::{EQUATIONS, PULL, Relaxed, Row, Task, UNKNOWNS, dot};

/// Two costs this near count as one; beside it comes what rounding may do to a large cost.
const SAME: f64 = 1e-12;
/// After so many looks the search for a proof is given up and the best answer found is kept: some
/// milliseconds. The committed questions take less than a hundredth of it.
pub(crate) const PROOF: u32 = 200_000;
/// The same where a good answer will do.
pub(crate) const TRIAL: u32 = 5_000;
/// Looks spent on a good answer before the proof.
const FIRST_LOOKS: u32 = 60;

/// Whole steps.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Weighed {
    /// How many steps of each.
    pub steps: Row,
    /// Whether nothing can cost less.
    pub proven: bool,
}

/// The whole steps, at most `most` of each and of at most `things` of them other than none, that cost
/// least when every thing weighed costs a fee. Between equal costs fewer things
/// win, then the smaller numbers in order.
///
/// Branch and bound: a thing is used or not (its fee), then the whole steps of
/// those used are enumerated inside the ellipsoid that could still hold a better
/// answer (Fincke & Pohst 1985, Math. Comp. 44:463, in the order of Schnorr &
/// Euchner 1994, Math. Programming 66:181). Every bound is the floor of a
/// relaxation or lies under the cost by convexity. It is given up after so many `looks`.
pub(crate) fn weigh(task: &Task<'_>, most: &Row, fee: f64, things: usize, looks: u32) -> Weighed {
    let none = [0.0; UNKNOWNS];
    let mut search =
        Search { task, fee, things, best: (task.cost(&task.sums(&none)), 0, none), looks, proven: true };
    let relaxed = task.relax(&none, most, &none);
    search.branch(none, *most, &relaxed, 0);
    Weighed { steps: search.best.2, proven: search.proven }
}

struct Search<'a> {
    task: &'a Task<'a>,
    fee: f64,
    things: usize,
    /// Cost with fees, things used, steps.
    best: (f64, usize, Row),
    looks: u32,
    proven: bool,
}

/// What is left to enumerate: the unknowns in order, the innermost first.
struct Lattice {
    size: usize,
    places: [usize; UNKNOWNS],
    /// Squares of what is new in each unknown beside those further in.
    new: Row,
    /// How far the centre of each moves with those further out.
    tilt: [Row; UNKNOWNS],
    low: Row,
    high: Row,
    relaxed: Relaxed,
    used: usize,
}

impl Search<'_> {
    /// Keeps an answer when it is better.
    fn offer(&mut self, steps: &Row) {
        let used = steps.iter().filter(|steps| **steps > 0.0).count();
        let cost = self.task.cost(&self.task.sums(steps)) + self.fee * used as f64;
        let same = self.same();
        let better = cost < self.best.0 - same
            || cost <= self.best.0 + same && (used, steps.as_slice()) < (self.best.1, self.best.2.as_slice());
        if better && used <= self.things {
            // An equal cost never raises the mark.
            self.best = (cost.min(self.best.0), used, *steps);
        }
    }

    /// How near two costs must be to count as one.
    fn same(&self) -> f64 {
        SAME + 4.0 * f64::EPSILON * self.best.0
    }

    /// How much an answer with so many things may cost above a floor and still not be worse than the best.
    fn room(&self, floor: f64, used: usize) -> f64 {
        self.best.0 + self.same() - self.fee * used as f64 - floor
    }

    fn look(&mut self) -> bool {
        self.proven &= self.looks > 0;
        self.looks = self.looks.saturating_sub(1);
        self.proven
    }

    /// Unknowns with a lower bound of one are used, those with an upper bound of
    /// zero are not; the others are decided here, one after the other.
    fn branch(&mut self, low: Row, mut high: Row, relaxed: &Relaxed, used: usize) {
        if self.room(relaxed.floor, used) < 0.0 || !self.look() {
            return;
        }
        let open = |high: &Row, i: usize| low[i] == 0.0 && high[i] > 0.0;
        if used == self.things && (0..UNKNOWNS).any(|i| open(&high, i)) {
            for i in 0..UNKNOWNS {
                if open(&high, i) {
                    high[i] = 0.0;
                }
            }
            let relaxed = self.task.relax(&low, &high, &relaxed.x);
            return self.branch(low, high, &relaxed, used);
        }
        // What brings most is decided first: leaving it out costs most.
        let weight = |i: usize| {
            relaxed.x[i] * self.task.columns.get(i).map_or(0.0, |column| dot(column, column).sqrt())
        };
        let next = (0..UNKNOWNS)
            .filter(|&i| open(&high, i))
            .max_by(|&one, &other| weight(one).total_cmp(&weight(other)));
        let Some(next) = next else {
            return self.enumerate(low, high, relaxed, used);
        };
        let (mut with, mut without) = (low, high);
        with[next] = 1.0;
        without[next] = 0.0;
        let on = if relaxed.x[next] >= 1.0 { *relaxed } else { self.task.relax(&with, &high, &relaxed.x) };
        let off = if relaxed.x[next] <= 0.0 { *relaxed } else { self.task.relax(&low, &without, &relaxed.x) };
        if on.floor + self.fee < off.floor {
            self.branch(with, high, &on, used + 1);
            self.branch(low, without, &off, used);
        } else {
            self.branch(low, without, &off, used);
            self.branch(with, high, &on, used + 1);
        }
    }

    /// Every choice of whole steps between these bounds that could be the best.
    fn enumerate(&mut self, low: Row, high: Row, relaxed: &Relaxed, used: usize) {
        // A good answer first, with the curvature at the least cost.
        let mut weights = [0.0; EQUATIONS];
        for ((weight, wish), sum) in weights.iter_mut().zip(&self.task.wishes).zip(&relaxed.sums) {
            *weight = wish.curvature(*sum);
        }
        let lattice = self.lattice(&low, &high, relaxed, used, &weights);
        let kept = (self.looks, self.proven);
        self.looks = FIRST_LOOKS;
        let mut steps = relaxed.x.map(f64::round);
        self.descend(&lattice, lattice.size, 0.0, &mut steps.clone());
        (self.looks, self.proven) = kept;
        // Then all of them. Whatever costs no more than the best lies so near that each sum stays
        // within a reach, and within it the cost bends at least so much; which shortens the reach.
        let room = self.room(relaxed.floor, used);
        if room < 0.0 {
            return;
        }
        let mut reaches = [(room / PULL).sqrt(); EQUATIONS];
        for _ in 0..4 {
            for i in 0..EQUATIONS {
                weights[i] = self.task.wishes[i].curvature_within(relaxed.sums[i], reaches[i]);
                reaches[i] = (room / weights[i]).sqrt();
            }
        }
        let lattice = self.lattice(&low, &high, relaxed, used, &weights);
        match lattice.size.checked_sub(1).map(|last| (lattice.new[last], lattice.places[last])) {
            Some((0.0, place)) => self.slices(low, high, relaxed, used, place),
            _ => self.descend(&lattice, lattice.size, 0.0, &mut steps),
        }
    }

    /// Enumerates with one number of steps after the other of an unknown that the
    /// others can stand in for: no ellipsoid bounds it, only how far their bounds let them.
    fn slices(&mut self, low: Row, high: Row, relaxed: &Relaxed, used: usize, place: usize) {
        let middle = relaxed.x[place].floor();
        let mut sides = [(middle, -1.0, relaxed.x), (middle + 1.0, 1.0, relaxed.x)];
        let mut open = [true; 2];
        while open != [false; 2] {
            for ((count, next, near), open) in sides.iter_mut().zip(&mut open).filter(|(_, open)| **open) {
                if *count < low[place] || *count > high[place] || !self.look() {
                    *open = false;
                    continue;
                }
                let (mut low, mut high) = (low, high);
                low[place] = *count;
                high[place] = *count;
                let slice = self.task.relax(&low, &high, near);
                // The least cost rises to both sides: what lies further out costs more still.
                *open = self.room(slice.floor, used) >= 0.0;
                if *open {
                    self.enumerate(low, high, &slice, used);
                }
                *near = slice.x;
                *count += *next;
            }
        }
    }

    /// Orders the unknowns and triangulates their weighted squares.
    fn lattice(
        &self,
        low: &Row,
        high: &Row,
        relaxed: &Relaxed,
        used: usize,
        weights: &[f64; EQUATIONS],
    ) -> Lattice {
        let mut lattice = Lattice {
            size: 0,
            places: [0; UNKNOWNS],
            new: [0.0; UNKNOWNS],
            tilt: [[0.0; UNKNOWNS]; UNKNOWNS],
            low: *low,
            high: *high,
            relaxed: *relaxed,
            used,
        };
        let room = self.room(relaxed.floor, used);
        for i in 0..self.task.columns.len() {
            // What can't leave its bound without costing more than the best stays there.
            let slope = relaxed.slopes[i];
            let corner = if slope > 0.0 { low[i] } else { high[i] };
            let stuck = relaxed.x[i] == corner && 2.0 * slope.abs() > room;
            if low[i] < high[i] && !stuck {
                lattice.places[lattice.size] = i;
                lattice.size += 1;
            }
        }
        let size = lattice.size;
        let mut gram = [[0.0; UNKNOWNS]; UNKNOWNS];
        let mut whole = [0.0; UNKNOWNS];
        for i in 0..size {
            let mut weighted = self.task.columns[lattice.places[i]];
            for (cell, weight) in weighted.iter_mut().zip(weights) {
                *cell *= weight;
            }
            for (cell, &place) in gram[i].iter_mut().zip(&lattice.places[..size]) {
                *cell = dot(&weighted, &self.task.columns[place]);
            }
            whole[i] = gram[i][i];
        }
        for k in 0..size {
            // What brings least new goes innermost, so that the outer ones have few choices.
            let next =
                (k..size).min_by(|&one, &other| gram[one][one].total_cmp(&gram[other][other])).unwrap_or(k);
            lattice.places.swap(k, next);
            whole.swap(k, next);
            gram.swap(k, next);
            for row in &mut gram[..size] {
                row.swap(k, next);
            }
            for row in &mut lattice.tilt[..k] {
                row.swap(k, next);
            }
            let pivot = gram[k][k];
            // Nothing new but rounding: no bound from it.
            if pivot <= 1e-10 * whole[k] {
                continue;
            }
            lattice.new[k] = pivot;
            let above = gram[k];
            for (i, row) in gram.iter_mut().enumerate().take(size).skip(k + 1) {
                let tilt = above[i] / pivot;
                lattice.tilt[k][i] = tilt;
                for (cell, upper) in row.iter_mut().zip(&above).take(size).skip(k + 1) {
                    *cell -= tilt * upper;
                }
            }
        }
        lattice
    }

    /// Chooses the steps of the unknown at `level - 1`, those further out being chosen, nearest first.
    fn descend(&mut self, lattice: &Lattice, level: usize, spent: f64, steps: &mut Row) {
        let Some(level) = level.checked_sub(1) else {
            return self.offer(steps);
        };
        let place = lattice.places[level];
        let (new, slope) = (lattice.new[level], lattice.relaxed.slopes[place]);
        let mut centre = lattice.relaxed.x[place];
        for outer in level + 1..lattice.size {
            let other = lattice.places[outer];
            centre -= lattice.tilt[level][outer] * (steps[other] - lattice.relaxed.x[other]);
        }
        let (low, high) = (lattice.low[place], lattice.high[place]);
        // Least where 2 slope + 2 new (steps - centre) is zero.
        let least = match () {
            () if new > 0.0 => centre - slope / new,
            () if slope > 0.0 => low,
            () if slope < 0.0 => high,
            () => lattice.relaxed.x[place],
        };
        // The floor has the tangent at its least corner already; from there it only rises.
        let corner = if slope > 0.0 { low } else { high };
        let price = |steps: f64| {
            let off = steps - centre;
            spent + 2.0 * slope * (steps - corner) + new * off * off
        };
        let nearest = least.max(low).min(high).round();
        let (mut down, mut up) = (nearest, nearest + 1.0);
        loop {
            let (below, above) = (
                if down >= low { price(down) } else { f64::INFINITY },
                if up <= high { price(up) } else { f64::INFINITY },
            );
            if below.min(above) > self.room(lattice.relaxed.floor, lattice.used) || !self.look() {
                return;
            }
            let (taken, price) = if below <= above { (&mut down, below) } else { (&mut up, above) };
            steps[place] = *taken;
            *taken += if below <= above { -1.0 } else { 1.0 };
            self.descend(lattice, level, price, steps);
        }
    }
}

/// The least cost of all choices of whole steps, each one looked at.
#[cfg(test)]
pub(crate) fn weigh_by_hand(task: &Task<'_>, most: &Row, fee: f64, things: usize) -> f64 {
    let mut steps = [0.0; UNKNOWNS];
    let mut best = f64::INFINITY;
    loop {
        let used = steps.iter().filter(|steps| **steps > 0.0).count();
        if used <= things {
            best = best.min(task.cost(&task.sums(&steps)) + fee * used as f64);
        }
        // Counts up, the first place fastest.
        let Some(place) = (0..UNKNOWNS).find(|&place| steps[place] < most[place]) else { return best };
        steps[place] += 1.0;
        steps[..place].fill(0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::super::bounded::Wish;
    use super::*;
    use proptest::prelude::*;

    fn wishes() -> impl Strategy<Value = [Wish; EQUATIONS]> {
        proptest::array::uniform6((0.0..1.0f64, 0.0..3.0f64, 0.0..1.0f64, 0.0..1.0f64).prop_map(
            |(start, low, width, middle)| Wish {
                start,
                low,
                high: low + width,
                middle: low + width * middle,
            },
        ))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(600))]

        /// Columns of any shape, also ones that bring the same in other proportions or
        /// nothing: the same cost as looking at every choice.
        #[test]
        fn as_good_as_looking_at_every_choice(
            mut columns in proptest::collection::vec(proptest::array::uniform6(prop_oneof![Just(0.0), 0.0..0.8f64]), 1..=4),
            twin in 0..4usize, ratio in 0.2..3.0f64, wishes in wishes(), fee in prop_oneof![Just(0.0), Just(0.01), Just(0.3)],
            most in proptest::array::uniform4(0..7u32), things in 0..=4usize,
        ) {
            if twin + 1 < columns.len() {
                columns[twin + 1] = columns[twin].map(|cell| cell * ratio);
            }
            let mut limits = [0.0; UNKNOWNS];
            for (limit, most) in limits.iter_mut().zip(&most[..columns.len()]) {
                *limit = f64::from(*most);
            }
            let task = Task { columns: &columns, wishes };
            let weighed = weigh(&task, &limits, fee, things, PROOF);
            let used = weighed.steps.iter().filter(|steps| **steps > 0.0).count();
            let cost = task.cost(&task.sums(&weighed.steps)) + fee * used as f64;
            prop_assert!(weighed.proven && used <= things);
            prop_assert!(weighed.steps.iter().zip(&limits).all(|(steps, limit)| steps.fract() == 0.0 && (0.0..=*limit).contains(steps)));
            let best = weigh_by_hand(&task, &limits, fee, things);
            prop_assert!((cost - best).abs() < 1e-11, "{cost} {best}");
        }

        /// No point within the bounds costs less than the floor, and the floor is no lower than need be.
        #[test]
        fn the_floor_lies_just_under_every_cost(
            columns in proptest::collection::vec(proptest::array::uniform6(prop_oneof![Just(0.0), 0.0..0.8f64]), 1..=7),
            wishes in wishes(), low in proptest::collection::vec(0.0..2.0f64, 7), width in proptest::collection::vec(0.0..9.0f64, 7),
            start in proptest::collection::vec(0.0..9.0f64, 7), points in proptest::collection::vec(proptest::collection::vec(0.0..=1.0f64, 7), 20),
        ) {
            let task = Task { columns: &columns, wishes };
            let (mut lows, mut highs, mut from) = ([0.0; UNKNOWNS], [0.0; UNKNOWNS], [0.0; UNKNOWNS]);
            for i in 0..columns.len() {
                (lows[i], highs[i], from[i]) = (low[i], low[i] + width[i], start[i]);
            }
            let relaxed = task.relax(&lows, &highs, &from);
            let reached = task.cost(&relaxed.sums);
            prop_assert!(relaxed.floor <= reached && reached - relaxed.floor < 1e-9, "{} {reached}", relaxed.floor);
            for point in points {
                let mut x = lows;
                for i in 0..columns.len() {
                    x[i] += point[i] * width[i];
                }
                prop_assert!(task.cost(&task.sums(&x)) >= relaxed.floor);
            }
        }
    }

    #[test]
    fn between_equals_the_first_wins() {
        let columns = [[0.5, 0.0, 0.0, 0.0, 0.0, 0.0]; 3];
        let mut wishes = [Wish::default(); EQUATIONS];
        wishes[0] = Wish { start: 0.0, low: 2.0, high: 2.0, middle: 2.0 };
        let mut most = [0.0; UNKNOWNS];
        most[..3].fill(9.0);
        let weighed = weigh(&Task { columns: &columns, wishes }, &most, 0.01, 3, PROOF);
        assert!(weighed.proven);
        assert_eq!(weighed.steps[..3], [0.0, 0.0, 4.0]);
    }
}
