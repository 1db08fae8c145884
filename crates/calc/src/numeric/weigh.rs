//! Least squares in whole steps of a scale, with as few things to weigh as will do.

use super::nnls::{EQUATIONS, UNKNOWNS, nnls};

/// Rounds of improvement; each ends nearer, and three are rarely needed.
const ROUNDS: usize = 50;

/// Squared distance between what these whole steps bring and what is wanted.
fn miss(columns: &[[f64; EQUATIONS]], wanted: &[f64; EQUATIONS], steps: &[f64; UNKNOWNS]) -> f64 {
    let mut left = *wanted;
    for (column, count) in columns.iter().zip(steps).filter(|(_, count)| **count > 0.0) {
        for (left, brought) in left.iter_mut().zip(column) {
            *left -= brought * count;
        }
    }
    left.iter().map(|left| left * left).sum()
}

/// Whole numbers of steps, none negative, that bring nearly the least squared
/// distance to what is wanted, where every thing weighed costs a fee.
///
/// From the least-squares answer, once with everything and once without what is
/// worth less than the fee, rounded and then moved by single steps, alone and in
/// pairs, as long as that brings it nearer. The answer is no proven optimum, but
/// where the steps are fine it nearly always is one.
pub(crate) fn weigh(columns: &[[f64; EQUATIONS]], wanted: &[f64; EQUATIONS], fee: f64) -> [f64; UNKNOWNS] {
    let columns = &columns[..columns.len().min(UNKNOWNS)];
    let all = nnls(columns, wanted);
    let few = without_the_useless(columns, wanted, fee, all);
    let price = |steps: &[f64; UNKNOWNS]| {
        miss(columns, wanted, steps) + fee * steps.iter().filter(|count| **count > 0.0).count() as f64
    };
    let (one, other) = (nearer(all, columns.len(), price), nearer(few, columns.len(), price));
    if other.0 <= one.0 { other.1 } else { one.1 }
}

/// The least-squares answer without what is worth less than the fee, the least useful left out first.
fn without_the_useless(
    columns: &[[f64; EQUATIONS]],
    wanted: &[f64; EQUATIONS],
    fee: f64,
    all: [f64; UNKNOWNS],
) -> [f64; UNKNOWNS] {
    let mut columns = columns.to_vec();
    let mut best = (miss(&columns, wanted, &all), all);
    loop {
        let least = (0..columns.len())
            .filter(|&place| best.1[place] > 0.0)
            .map(|place| {
                // A column of zeros is never used.
                let column = std::mem::take(&mut columns[place]);
                let without = nnls(&columns, wanted);
                columns[place] = column;
                (miss(&columns, wanted, &without), without, place)
            })
            .min_by(|one, other| one.0.total_cmp(&other.0));
        match least {
            Some((miss, without, place)) if miss - best.0 < fee => {
                columns[place] = [0.0; EQUATIONS];
                best = (miss, without);
            }
            _ => return best.1,
        }
    }
}

/// Rounded, then moved by single steps, alone and in pairs, as long as that makes it cheaper.
fn nearer(
    from: [f64; UNKNOWNS],
    count: usize,
    price: impl Fn(&[f64; UNKNOWNS]) -> f64,
) -> (f64, [f64; UNKNOWNS]) {
    let from = from.map(f64::round);
    let mut best = (price(&from), from);
    for _ in 0..ROUNDS {
        let steps = best.1;
        let before = best.0;
        let mut look = |candidate: [f64; UNKNOWNS]| {
            if candidate.iter().all(|count| *count >= 0.0) {
                let price = price(&candidate);
                if price < best.0 {
                    best = (price, candidate);
                }
            }
        };
        for one in 0..count {
            let mut none = steps;
            none[one] = 0.0;
            look(none);
            for change in [-1.0, 1.0] {
                let mut alone = steps;
                alone[one] += change;
                look(alone);
                for other in one + 1..count {
                    for second in [-1.0, 1.0] {
                        let mut both = alone;
                        both[other] += second;
                        look(both);
                    }
                }
            }
        }
        if best.0 >= before {
            break;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against every whole answer in a box around the optimum: never worse than
        /// rounding, and near the best one.
        #[test]
        fn near_the_best_whole_answer(
            columns in proptest::collection::vec(proptest::array::uniform8(0.0..0.5f64), 3),
            wanted in proptest::array::uniform8(0.0..1.5f64),
        ) {
            let got = weigh(&columns, &wanted, 0.0);
            let rounded = nnls(&columns, &wanted).map(f64::round);
            prop_assert!(got.iter().all(|count| *count >= 0.0 && count.fract() == 0.0));
            let cost = miss(&columns, &wanted, &got);
            prop_assert!(cost <= miss(&columns, &wanted, &rounded) + 1e-12);
            let mut best = f64::INFINITY;
            for a in 0..9 {
                for b in 0..9 {
                    for c in 0..9 {
                        let mut steps = [0.0; UNKNOWNS];
                        steps[..3].copy_from_slice(&[f64::from(a), f64::from(b), f64::from(c)]);
                        best = best.min(miss(&columns, &wanted, &steps));
                    }
                }
            }
            let floor = miss(&columns, &wanted, &nnls(&columns, &wanted));
            prop_assert!(cost <= best + 0.5 * (best - floor) + 0.02, "{cost} {best} {floor}");
        }
    }
}
