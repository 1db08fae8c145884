//! Sums that should lie in ranges, from unknowns that have bounds: the least cost, and a bound below
//! which no answer can cost.

/// Most unknowns.
pub(crate) const UNKNOWNS: usize = 12;
/// Number of sums.
pub(crate) const EQUATIONS: usize = 6;

/// One number for each unknown.
pub(crate) type Row = [f64; UNKNOWNS];

/// Share of the squared distance to the middle of a range that counts beside the squared distance to
/// the range. It decides between answers inside the ranges. Our choice: small, so that it never
/// keeps an ion out of its range.
pub(crate) const PULL: f64 = 0.02;

/// Rounds of the relaxation. Each ends lower, and five are rarely needed; what
/// is not settled after so many is bounded all the same.
const ROUNDS: usize = 60;
/// Added to the diagonal, relative to it: keeps two unknowns that bring the same from dividing by zero.
const RIDGE: f64 = 1e-11;
/// A slope below this is none.
const FLAT: f64 = 1e-13;

/// What one sum should come to.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Wish {
    /// The sum with every unknown at zero.
    pub start: f64,
    /// From here up to `high` there is no distance.
    pub low: f64,
    /// At least `low`.
    pub high: f64,
    /// Where it would best be.
    pub middle: f64,
}

impl Wish {
    /// Squared distance to the range, and the pull to the middle.
    fn cost(&self, sum: f64) -> f64 {
        let (out, off) = (sum - sum.max(self.low).min(self.high), sum - self.middle);
        out * out + PULL * off * off
    }

    /// Half the derivative of the cost.
    fn slope(&self, sum: f64) -> f64 {
        (sum - sum.max(self.low).min(self.high)) + PULL * (sum - self.middle)
    }

    /// Half the second derivative of the cost.
    pub(crate) fn curvature(&self, sum: f64) -> f64 {
        if sum < self.low || sum > self.high { 1.0 + PULL } else { PULL }
    }

    /// The largest `k` with `cost(t) >= cost(sum) + 2 slope(sum) (t - sum) + k (t - sum)²` for every
    /// `t` that is at most `reach` from `sum`.
    pub(crate) fn curvature_within(&self, sum: f64, reach: f64) -> f64 {
        // How far it is into the range, where the curvature ends.
        let depth = (self.low - sum).max(sum - self.high);
        let kept = match () {
            () if depth <= 0.0 => 0.0,
            () if depth >= reach => 1.0,
            () => {
                // Beyond the range the cost rises again, which only helps: that part is left out.
                let share = depth / reach;
                share * (2.0 - share)
            }
        };
        PULL + kept
    }
}

/// The sums wanted and what each unknown brings to them.
pub(crate) struct Task<'a> {
    /// What one of each unknown brings to each sum; nothing negative.
    pub columns: &'a [[f64; EQUATIONS]],
    /// What the sums should come to.
    pub wishes: [Wish; EQUATIONS],
}

/// The least cost within bounds.
#[derive(Clone, Copy)]
pub(crate) struct Relaxed {
    /// Where it is.
    pub x: Row,
    /// The sums there.
    pub sums: [f64; EQUATIONS],
    /// Twice this is the derivative of the cost by each unknown.
    pub slopes: Row,
    /// No point within the bounds costs less, whether or not the search above has settled.
    pub floor: f64,
}

impl Task<'_> {
    /// The sums for these unknowns.
    pub(crate) fn sums(&self, x: &Row) -> [f64; EQUATIONS] {
        let mut sums = self.wishes.map(|wish| wish.start);
        for (column, &x) in self.columns.iter().zip(x).filter(|(_, x)| **x != 0.0) {
            for (sum, brought) in sums.iter_mut().zip(column) {
                *sum += brought * x;
            }
        }
        sums
    }

    /// How much each sum may still grow before it alone costs more than nothing at all does.
    pub(crate) fn tops(&self) -> [f64; EQUATIONS] {
        let root = self.cost(&self.wishes.map(|wish| wish.start)).sqrt();
        self.wishes.map(|wish| (wish.high + root).min(wish.middle + root / PULL.sqrt()) - wish.start)
    }

    /// What these sums cost.
    pub(crate) fn cost(&self, sums: &[f64; EQUATIONS]) -> f64 {
        self.wishes.iter().zip(sums).map(|(wish, sum)| wish.cost(*sum)).sum()
    }

    /// Half the derivative of the cost by each unknown.
    fn slopes(&self, sums: &[f64; EQUATIONS]) -> Row {
        let mut pulls = [0.0; EQUATIONS];
        for ((pull, wish), sum) in pulls.iter_mut().zip(&self.wishes).zip(sums) {
            *pull = wish.slope(*sum);
        }
        let mut slopes = [0.0; UNKNOWNS];
        for (slope, column) in slopes.iter_mut().zip(self.columns) {
            *slope = dot(column, &pulls);
        }
        slopes
    }

    /// The least cost with every unknown between its bounds, from a start near
    /// it: an active-set method. The unknowns that are not held at a bound move to where the cost
    /// is least as seen from the present ranges, as far along that line as the
    /// true cost falls and no bound is hit; then the held one that gains most is let go.
    ///
    /// The floor needs no settled search: the cost is convex, so the tangent at
    /// any point bounds it from below, and the least of the tangent within the bounds is at a corner.
    pub(crate) fn relax(&self, low: &Row, high: &Row, start: &Row) -> Relaxed {
        let count = self.columns.len();
        let mut x = *start;
        let mut free = [false; UNKNOWNS];
        for i in 0..count {
            x[i] = x[i].max(low[i]).min(high[i]);
            free[i] = low[i] < x[i] && x[i] < high[i];
        }
        let mut sums = self.sums(&x);
        let mut slopes = self.slopes(&sums);
        let mut settled = !free[..count].contains(&true);
        for _ in 0..ROUNDS {
            if settled {
                let gain = |i: usize| if x[i] <= low[i] { -slopes[i] } else { slopes[i] };
                let next = (0..count)
                    .filter(|&i| !free[i] && low[i] < high[i] && gain(i) > FLAT)
                    .max_by(|&one, &other| gain(one).total_cmp(&gain(other)));
                let Some(next) = next else { break };
                free[next] = true;
            }
            let ahead = self.direction(&sums, &slopes, &free);
            let mut limit = (f64::INFINITY, UNKNOWNS);
            for i in (0..count).filter(|&i| free[i] && ahead[i] != 0.0) {
                let bound = if ahead[i] < 0.0 { low[i] } else { high[i] };
                let share = ((bound - x[i]) / ahead[i]).max(0.0);
                if share < limit.0 {
                    limit = (share, i);
                }
            }
            let (share, bent) = self.along(&sums, &ahead, limit.0);
            for i in (0..count).filter(|&i| free[i]) {
                x[i] = (x[i] + share * ahead[i]).max(low[i]).min(high[i]);
            }
            let hit = share >= limit.0;
            if hit && limit.1 < count {
                x[limit.1] = if ahead[limit.1] < 0.0 { low[limit.1] } else { high[limit.1] };
                free[limit.1] = false;
            }
            sums = self.sums(&x);
            slopes = self.slopes(&sums);
            settled = !(hit || bent) || !free[..count].contains(&true);
        }
        let mut floor = self.cost(&sums);
        for i in 0..count {
            let away = if slopes[i] > 0.0 { low[i] - x[i] } else { high[i] - x[i] };
            floor += 2.0 * slopes[i] * away;
        }
        Relaxed { x, sums, slopes, floor }
    }

    /// From here to the least cost over the free unknowns, as if the sums stayed
    /// on their side of each range; by Cholesky's method.
    fn direction(&self, sums: &[f64; EQUATIONS], slopes: &Row, free: &[bool; UNKNOWNS]) -> Row {
        let mut weights = [0.0; EQUATIONS];
        for ((weight, wish), sum) in weights.iter_mut().zip(&self.wishes).zip(sums) {
            *weight = wish.curvature(*sum);
        }
        let mut places = [0; UNKNOWNS];
        let mut size = 0;
        for place in (0..self.columns.len()).filter(|&place| free[place]) {
            places[size] = place;
            size += 1;
        }
        let mut factor = [[0.0; UNKNOWNS]; UNKNOWNS];
        let mut ahead = [0.0; UNKNOWNS];
        for i in 0..size {
            let mut weighted = self.columns[places[i]];
            for (cell, weight) in weighted.iter_mut().zip(&weights) {
                *cell *= weight;
            }
            let mut right = -slopes[places[i]];
            for j in 0..=i {
                let mut cell = dot(&weighted, &self.columns[places[j]]);
                if i == j {
                    cell += RIDGE * cell;
                }
                cell -= factor[i].iter().zip(&factor[j]).take(j).map(|(p, q)| p * q).sum::<f64>();
                // Rounding may leave nothing, or less, of a column that brings nothing new.
                factor[i][j] = if i == j { cell.max(f64::MIN_POSITIVE).sqrt() } else { cell / factor[j][j] };
                if j < i {
                    right -= factor[i][j] * ahead[j];
                }
            }
            ahead[i] = right / factor[i][i];
        }
        for i in (0..size).rev() {
            for k in i + 1..size {
                ahead[i] -= factor[k][i] * ahead[k];
            }
            ahead[i] /= factor[i][i];
        }
        let mut out = [0.0; UNKNOWNS];
        for i in 0..size {
            out[places[i]] = if ahead[i].is_finite() { ahead[i] } else { 0.0 };
        }
        out
    }

    /// How far along a line the cost falls, at most `limit`, and whether a sum crossed into or out of its
    /// range on the way.
    fn along(&self, sums: &[f64; EQUATIONS], ahead: &Row, limit: f64) -> (f64, bool) {
        let mut moves = [0.0; EQUATIONS];
        for (column, ahead) in self.columns.iter().zip(ahead).filter(|(_, ahead)| **ahead != 0.0) {
            for (moved, brought) in moves.iter_mut().zip(column) {
                *moved += brought * ahead;
            }
        }
        let mut share = 0.0;
        let mut bent = false;
        // Every sum has two edges to cross.
        for _ in 0..=2 * EQUATIONS {
            let (mut slope, mut bend, mut edge) = (0.0, 0.0, f64::INFINITY);
            for ((wish, sum), moved) in self.wishes.iter().zip(sums).zip(moves) {
                let at = sum + share * moved;
                slope += wish.slope(at) * moved;
                // Just beyond an edge it is already on the other side.
                bend += wish.curvature(at + 1e-9 * moved) * moved * moved;
                for side in [wish.low, wish.high] {
                    let crossing = (side - sum) / moved;
                    if crossing > share + 1e-9 && crossing < edge {
                        edge = crossing;
                    }
                }
            }
            let least = share - slope / bend;
            if slope >= 0.0 || !least.is_finite() {
                return (share, bent);
            }
            if least <= edge.min(limit) {
                return (least, bent);
            }
            if limit <= edge {
                return (limit, bent);
            }
            share = edge;
            bent = true;
        }
        (share, bent)
    }
}

/// The sum of products.
pub(crate) fn dot(one: &[f64; EQUATIONS], other: &[f64; EQUATIONS]) -> f64 {
    one.iter().zip(other).map(|(p, q)| p * q).sum()
}
