//! Least squares with unknowns that can't be negative.

/// Most unknowns.
pub(crate) const UNKNOWNS: usize = 10;
/// Most equations.
pub(crate) const EQUATIONS: usize = 8;

/// Solves `min |A x - b|²` for `x >= 0`, with `A` given by columns, by the active-set method of
/// Lawson & Hanson (Solving Least Squares Problems, 1974, chapter 23) on the
/// normal equations: the problems here are small and well scaled. A ridge of
/// 1e-9 keeps two salts that bring the same ions from dividing by zero.
pub(crate) fn nnls(columns: &[[f64; EQUATIONS]], b: &[f64; EQUATIONS]) -> [f64; UNKNOWNS] {
    let count = columns.len().min(UNKNOWNS);
    let dot = |one: &[f64; EQUATIONS], other: &[f64; EQUATIONS]| {
        one.iter().zip(other).map(|(p, q)| p * q).sum::<f64>()
    };
    let mut gram = [[0.0; UNKNOWNS]; UNKNOWNS];
    let mut right = [0.0; UNKNOWNS];
    for i in 0..count {
        for j in 0..count {
            gram[i][j] = dot(&columns[i], &columns[j]);
        }
        gram[i][i] += 1e-9;
        right[i] = dot(&columns[i], b);
    }
    let mut x = [0.0; UNKNOWNS];
    let mut free = [false; UNKNOWNS];
    // Each round frees one unknown; three times their number is far beyond what the method needs.
    for _ in 0..3 * UNKNOWNS {
        let gradient = |i: usize| right[i] - (0..count).map(|j| gram[i][j] * x[j]).sum::<f64>();
        let best = (0..count)
            .filter(|&i| !free[i])
            .map(|i| (i, gradient(i)))
            .filter(|(_, slope)| *slope > 1e-10)
            .max_by(|p, q| p.1.total_cmp(&q.1));
        let Some((enter, _)) = best else { break };
        free[enter] = true;
        loop {
            let z = solve(&gram, &right, &free, count);
            let short = (0..count)
                .filter(|&i| free[i] && z[i] <= 0.0)
                .map(|i| x[i] / (x[i] - z[i]))
                .filter(|share| share.is_finite())
                .fold(None, |least: Option<f64>, share| Some(least.map_or(share, |l| l.min(share))));
            let Some(share) = short else {
                x = z;
                break;
            };
            for i in 0..count {
                if free[i] {
                    x[i] += share * (z[i] - x[i]);
                    if x[i] <= 1e-12 {
                        x[i] = 0.0;
                        free[i] = false;
                    }
                }
            }
        }
    }
    x
}

/// The least-squares answer over the free unknowns, the others zero, by Gaussian elimination with pivoting.
fn solve(
    gram: &[[f64; UNKNOWNS]; UNKNOWNS],
    right: &[f64; UNKNOWNS],
    free: &[bool; UNKNOWNS],
    count: usize,
) -> [f64; UNKNOWNS] {
    let mut places = [0; UNKNOWNS];
    let mut size = 0;
    for (place, _) in free.iter().enumerate().take(count).filter(|(_, free)| **free) {
        places[size] = place;
        size += 1;
    }
    let mut a = [[0.0; UNKNOWNS + 1]; UNKNOWNS];
    for i in 0..size {
        for j in 0..size {
            a[i][j] = gram[places[i]][places[j]];
        }
        a[i][UNKNOWNS] = right[places[i]];
    }
    for column in 0..size {
        let pivot = (column..size)
            .max_by(|&p, &q| a[p][column].abs().total_cmp(&a[q][column].abs()))
            .unwrap_or(column);
        a.swap(column, pivot);
        for row in column + 1..size {
            let factor = a[row][column] / a[column][column];
            let above = a[column];
            for (cell, upper) in a[row].iter_mut().zip(above).skip(column) {
                *cell -= factor * upper;
            }
        }
    }
    let mut x = [0.0; UNKNOWNS];
    for row in (0..size).rev() {
        let sum: f64 = (row + 1..size).map(|k| a[row][k] * x[places[k]]).sum();
        x[places[row]] = (a[row][UNKNOWNS] - sum) / a[row][row];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The optimum of a convex problem is where no unknown wants to move: the
        /// gradient is zero for those above zero and points outward for those at it.
        #[test]
        fn no_unknown_wants_to_move(
            columns in proptest::collection::vec(proptest::array::uniform8(0.0..3.0f64), 1..8),
            b in proptest::array::uniform8(-2.0..5.0f64),
        ) {
            let x = nnls(&columns, &b);
            for (i, column) in columns.iter().enumerate() {
                let slope: f64 = (0..EQUATIONS)
                    .map(|e| column[e] * (b[e] - (0..columns.len()).map(|j| columns[j][e] * x[j]).sum::<f64>()))
                    .sum();
                prop_assert!(x[i] >= 0.0);
                prop_assert!(slope <= 1e-5, "unknown {i} should grow: {slope}");
                prop_assert!(x[i] == 0.0 || slope.abs() <= 1e-5, "unknown {i} should move: {slope}");
            }
        }
    }
}
