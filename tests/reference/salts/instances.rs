//! Reads the questions and answers of `optimum.csv`.

use calc::brew::water::{Goal, Recipe, SaltAtHand, SaltQuestion};
use calc::chem::water::Ions;
use calc::data::salts::Salt;
use calc::quantity::{Concentration, Fraction, Mass, Volume};

/// One question about salts and what an exact solver says.
pub struct Instance {
    /// What kind of question.
    pub kind: String,
    /// The question.
    pub question: SaltQuestion,
    /// The sums without free salts, what they should come to, and what a step of each free salt brings.
    pub sums: Sums,
    /// The most steps of each free salt that can be of use, or are allowed.
    pub most: Vec<f64>,
    /// The cost of the solver's answer.
    pub cost: f64,
    /// The cost of the continuous optimum, rounded: with all salts, and with those of the best answer.
    pub rounded: [f64; 2],
}

/// What is minimised, in the numbers of the file alone.
pub struct Sums {
    start: Vec<f64>,
    low: Vec<f64>,
    high: Vec<f64>,
    middle: Vec<f64>,
    columns: Vec<Vec<f64>>,
}

impl Sums {
    /// The cost of so many steps of each free salt.
    fn cost(&self, steps: &[f64]) -> f64 {
        let mut cost = 0.01 * steps.iter().filter(|steps| **steps > 0.0).count() as f64;
        for place in 0..self.start.len() {
            let brought: f64 =
                self.columns.iter().zip(steps).map(|(column, steps)| column[place] * steps).sum();
            let sum = self.start[place] + brought;
            let out = (self.low[place] - sum).max(sum - self.high[place]).max(0.0);
            let off = sum - self.middle[place];
            cost += out * out + 0.02 * off * off;
        }
        cost
    }
}

impl Instance {
    /// The cost of a recipe, from the numbers of the file; `None` when it weighs what is no
    /// whole number of steps, or what it should not.
    pub fn cost_of(&self, recipe: &Recipe) -> Option<f64> {
        let mut left = recipe.amounts.clone();
        let mut steps = Vec::new();
        for at_hand in &self.question.salts {
            // Each salt is listed once.
            let place = left.iter().position(|(salt, _)| *salt == at_hand.salt);
            let mass = place.map_or(Mass::ZERO, |place| left.swap_remove(place).1);
            match at_hand.locked {
                Some(locked) if locked == mass => {}
                Some(_) => return None,
                None if at_hand.salt.is_alkaline() => {}
                None => steps.push(mass / self.question.step),
            }
        }
        let whole: Vec<f64> = steps.iter().map(|steps| steps.round()).collect();
        let kept = whole.iter().zip(&steps).all(|(whole, steps)| (whole - steps).abs() < 1e-9);
        let fits = whole.iter().zip(&self.most).all(|(whole, most)| whole <= most);
        (kept && fits && left.is_empty() && whole.len() == self.sums.columns.len())
            .then(|| self.sums.cost(&whole))
    }
}

fn numbers(cell: &str) -> Option<Vec<f64>> {
    cell.split_whitespace().map(|word| word.parse().ok()).collect()
}

fn salt(text: &str) -> Option<SaltAtHand> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let [name, share, locked, most] = words[..] else { return None };
    let plain = name.replace('_', "");
    let grams = |word: &str| word.parse().ok().map(Mass::grams);
    Some(SaltAtHand {
        salt: *Salt::ALL.iter().find(|salt| format!("{salt:?}").to_lowercase() == plain)?,
        purity: Fraction::of_one(share.parse().ok()?),
        locked: grams(locked),
        most: grams(most),
    })
}

fn instance(line: &str) -> Option<Instance> {
    let cells: Vec<&str> = line.split(',').collect();
    let [
        kind,
        ranges,
        water,
        litres,
        step,
        salts,
        start,
        low,
        high,
        middle,
        columns,
        most,
        _,
        cost,
        _,
        rounded,
        same,
    ] = cells[..]
    else {
        return None;
    };
    let mg = Concentration::mg_per_l;
    let ends = numbers(ranges)?;
    let mut goal = Goal { ranges: [(Concentration::ZERO, Concentration::ZERO); 5] };
    for (range, ends) in goal.ranges.iter_mut().zip(ends.chunks_exact(2)) {
        *range = (mg(ends[0]), mg(ends[1]));
    }
    let [calcium, magnesium, sodium, chloride, sulfate] = numbers(water)?[..] else { return None };
    let water = Ions {
        calcium: mg(calcium),
        magnesium: mg(magnesium),
        sodium: mg(sodium),
        chloride: mg(chloride),
        sulfate: mg(sulfate),
        ..Ions::default()
    };
    Some(Instance {
        kind: kind.to_owned(),
        question: SaltQuestion {
            goal,
            water,
            volume: Volume::litres(litres.parse().ok()?),
            salts: salts.split(';').map(salt).collect::<Option<_>>()?,
            step: Mass::grams(step.parse().ok()?),
        },
        sums: Sums {
            start: numbers(start)?,
            low: numbers(low)?,
            high: numbers(high)?,
            middle: numbers(middle)?,
            columns: columns.split(';').map(numbers).collect::<Option<_>>()?,
        },
        most: numbers(most)?,
        cost: cost.parse().ok()?,
        rounded: [rounded.parse().ok()?, same.parse().ok()?],
    })
}

/// All instances of the file's text.
///
/// # Errors
/// The line that can't be read.
pub fn instances(text: &str) -> Result<Vec<Instance>, String> {
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| instance(line).ok_or_else(|| format!("can't read: {line}"))).collect()
}
