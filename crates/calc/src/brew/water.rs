//! Salts for the finish wanted, and what a water's ions mean for people.

use crate::chem::water::Ions;
use crate::data::Source;
use crate::data::salts::{Brings, Salt};
use crate::numeric::bounded::{EQUATIONS, Row, Task, UNKNOWNS, Wish};
use crate::numeric::weigh::{PROOF, TRIAL, weigh};
use crate::quantity::{Concentration, Count, Fraction, Mass, Volume};

/// What the water should do for the beer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Finish {
    /// Dries.
    Lean,
    /// Neither dries nor rounds.
    Even,
    /// Rounds.
    #[default]
    Plush,
    /// Tastes of salt.
    Saline,
}

/// An ion that a finish asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ion {
    /// Calcium.
    Calcium,
    /// Magnesium.
    Magnesium,
    /// Sodium.
    Sodium,
    /// Chloride.
    Chloride,
    /// Sulfate.
    Sulfate,
}

impl Ion {
    /// Every ion that finishes name.
    pub const ALL: &[Self] = &[Self::Calcium, Self::Magnesium, Self::Sodium, Self::Chloride, Self::Sulfate];

    /// The ion's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Calcium => "Calcium",
            Self::Magnesium => "Magnesium",
            Self::Sodium => "Sodium",
            Self::Chloride => "Chloride",
            Self::Sulfate => "Sulfate",
        }
    }

    /// How much of it a water holds.
    pub const fn of(self, ions: &Ions) -> Concentration {
        match self {
            Self::Calcium => ions.calcium,
            Self::Magnesium => ions.magnesium,
            Self::Sodium => ions.sodium,
            Self::Chloride => ions.chloride,
            Self::Sulfate => ions.sulfate,
        }
    }
}

/// Source of the ranges of every finish.
pub const FINISH_SOURCE: Source = Source::common_practice(
    "calcium 50 to 150 mg/L, sulfate seen as drying and chloride as rounding; the ranges are our choice inside that",
);

impl Finish {
    /// Every finish.
    pub const ALL: &[Self] = &[Self::Lean, Self::Even, Self::Plush, Self::Saline];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lean => "Lean",
            Self::Even => "Even",
            Self::Plush => "Plush",
            Self::Saline => "Saline",
        }
    }

    /// What it does, in one line.
    pub const fn reason(self) -> &'static str {
        match self {
            Self::Lean => "dries: more sulfate than chloride",
            Self::Even => "neither dries nor rounds",
            Self::Plush => "rounds: more chloride than sulfate",
            Self::Saline => "tastes of salt: sodium and chloride well above what drinking water should hold",
        }
    }

    /// The ranges it asks for. Source: [`FINISH_SOURCE`].
    pub fn goal(self) -> Goal {
        let mut ranges = [(Concentration::ZERO, Concentration::ZERO); 5];
        for (range, &ion) in ranges.iter_mut().zip(Ion::ALL) {
            *range = self.range(ion);
        }
        Goal { ranges }
    }

    /// The range wanted of an ion. Source: [`FINISH_SOURCE`].
    pub const fn range(self, ion: Ion) -> (Concentration, Concentration) {
        let (low, high) = match (self, ion) {
            (Self::Lean, Ion::Calcium) => (50.0, 110.0),
            (Self::Even, Ion::Calcium) => (50.0, 100.0),
            (Self::Plush | Self::Saline, Ion::Calcium) => (50.0, 120.0),
            (_, Ion::Magnesium) => (0.0, 25.0),
            (Self::Lean, Ion::Sodium) => (0.0, 40.0),
            (Self::Even, Ion::Sodium) => (0.0, 60.0),
            (Self::Plush, Ion::Sodium) => (0.0, 80.0),
            (Self::Saline, Ion::Sodium) => (150.0, 300.0),
            (Self::Lean, Ion::Chloride) => (30.0, 70.0),
            (Self::Even, Ion::Chloride) => (60.0, 110.0),
            (Self::Plush, Ion::Chloride) => (120.0, 200.0),
            (Self::Saline, Ion::Chloride) => (250.0, 450.0),
            (Self::Lean, Ion::Sulfate) => (120.0, 220.0),
            (Self::Even, Ion::Sulfate) => (60.0, 110.0),
            (Self::Plush | Self::Saline, Ion::Sulfate) => (20.0, 80.0),
        };
        (Concentration::mg_per_l(low), Concentration::mg_per_l(high))
    }
}

/// The ions wanted: a finish's, or a person's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goal {
    /// The range of each ion, in the order of [`Ion::ALL`]. A range that begins at nothing asks for
    /// nothing: the less the better. One that ends below its beginning counts as its beginning alone.
    pub ranges: [(Concentration, Concentration); 5],
}

/// A salt that may be weighed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SaltAtHand {
    /// Which.
    pub salt: Salt,
    /// The share of what is weighed that is the named compound and ends up dissolved, 0 to 1.
    /// See [`Salt::usual_share`].
    pub purity: Fraction,
    /// This amount and no other, whatever it does. It need not be whole steps of the scale.
    pub locked: Option<Mass>,
    /// No more than this.
    pub most: Option<Mass>,
}

impl SaltAtHand {
    /// A salt as it usually comes, as much as is wanted.
    pub const fn usual(salt: Salt) -> Self {
        Self { salt, purity: salt.usual_share(), locked: None, most: None }
    }

    /// What a gram of it brings.
    pub fn brings(&self) -> Brings {
        self.salt.brings().share(Fraction::of_one(self.purity.as_of_one().clamp(0.0, 1.0)))
    }

    /// Whether it may be weighed freely. Basic salts are not: they raise the mash's pH, which is decided at the
    /// mash.
    fn is_free(&self) -> bool {
        self.locked.is_none() && !self.salt.is_alkaline()
    }
}

/// What to weigh for which goal.
#[derive(Clone, Debug, PartialEq)]
pub struct SaltQuestion {
    /// The ions wanted.
    pub goal: Goal,
    /// The water without salts.
    pub water: Ions,
    /// How much of it. With none there is nothing to weigh.
    pub volume: Volume,
    /// Salts at hand; what is not here is not used. The first of them win where two
    /// recipes are as good as each other. At most twelve are weighed freely, the first twelve.
    pub salts: Vec<SaltAtHand>,
    /// What the scale can tell apart; every free amount is a multiple of it.
    pub step: Mass,
}

/// Salts to weigh, and the water they make.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Amounts for all the water, in the order of the question, none zero.
    pub amounts: Vec<(Salt, Mass)>,
    /// The water with them.
    pub water: Ions,
    /// How far that water is from the goal, in squared widths of its ranges; the fees of the salts are not in it.
    pub miss: Count,
    /// Whether no other recipe comes nearer for its number of salts. False for amounts that no water
    /// holds, and when the search was given up: with many salts that can stand in for each other, each with
    /// a maximum, on a scale to 0.01 g, one question in some ten thousand.
    pub proven: bool,
}

/// An ion outside its range, and what would help.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MissedIon {
    /// The ion.
    pub ion: Ion,
    /// What the best recipe reaches.
    pub reached: Concentration,
    /// Where its range begins.
    pub low: Concentration,
    /// Where its range ends.
    pub high: Concentration,
    /// What would bring it into its range.
    pub remedy: Remedy,
}

/// What brings an ion into its range. Each was tried by weighing again with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remedy {
    /// A salt that is not at hand, or more of one than its maximum; no ion that was in its range leaves it.
    Salt(Salt),
    /// This share of the water replaced by distilled water, in whole percent, and salts weighed anew.
    Dilute(Fraction),
    /// The salts at hand could, but then this ion misses its range by more.
    Conflict(Ion),
    /// None of these.
    Nothing,
}

/// The best recipe, a simpler one, and what can't be reached.
#[derive(Clone, Debug, PartialEq)]
pub struct SaltAnswer {
    /// The best recipe.
    pub best: Recipe,
    /// The best with at least one salt fewer; `None` when the best needs none that is free to choose.
    pub simpler: Option<Recipe>,
    /// The ions that the best recipe leaves outside their ranges by more than the scale's step explains.
    pub missed: Vec<MissedIon>,
}

/// Potassium that counts as much as the width of another ion's range. No finish
/// asks for it and wort is full of it, but it tastes bitter: our estimate.
const POTASSIUM_WIDTH: f64 = 50.0;
/// A salt that brings the sum of squared misses down by less is not worth
/// weighing: a miss of a tenth of one ion's range.
const FEE: f64 = 0.01;
/// Ranges narrower than this, in mg/L, count their misses in it: nobody knows a water better.
const NARROWEST: f64 = 10.0;
/// How much more an ion counts when the question is whether it can be brought into its range at all.
const STRESS: f64 = 10.0;
/// Salts proposed when the ones at hand don't reach a goal: one form of each compound, without potassium.
const PROPOSED: [Salt; 6] = [
    Salt::Gypsum,
    Salt::CalciumChlorideDihydrate,
    Salt::Epsom,
    Salt::MagnesiumChloride,
    Salt::TableSalt,
    Salt::SodiumSulfate,
];

/// What is wanted of an ion that a water holds so much of, and the mg/L that count as one.
///
/// There is no distance inside the middle half of its range. A range that begins at nothing asks for
/// nothing: only its upper quarter is too much, and the least is best.
fn wish((low, high): (Concentration, Concentration), present: Concentration) -> (Wish, f64) {
    let low = low.as_mg_per_l();
    let high = high.as_mg_per_l().max(low);
    let width = (high - low).max(NARROWEST);
    let quarter = (high - low) / 4.0;
    let (floor, middle) =
        if low > 0.0 { (low + quarter, low + 2.0 * quarter) } else { (f64::NEG_INFINITY, 0.0) };
    let wish = Wish {
        start: present.as_mg_per_l() / width,
        low: floor / width,
        high: (high - quarter) / width,
        middle: middle / width,
    };
    (wish, width)
}

/// A question in the numbers the search works on.
struct Problem {
    /// The water with what is locked.
    locked: Ions,
    /// Places in the question of the salts that are free.
    free: Vec<usize>,
    columns: Vec<[f64; EQUATIONS]>,
    wishes: [Wish; EQUATIONS],
    most: Row,
}

impl Problem {
    /// `None` when there is nothing to weigh, or in amounts that no number holds. One ion may
    /// be stressed: then its misses count more.
    fn new(question: &SaltQuestion, stressed: Option<Ion>) -> Option<Self> {
        let SaltQuestion { goal, water, volume, salts, step } = question;
        if !(*volume > Volume::ZERO && *step > Mass::ZERO) {
            return None;
        }
        let locked = salts.iter().fold(*water, |ions, salt| {
            ions.with_salt(salt.brings(), salt.locked.unwrap_or(Mass::ZERO), *volume)
        });
        let mut widths = [POTASSIUM_WIDTH; EQUATIONS];
        let mut wishes = [Wish::default(); EQUATIONS];
        for (place, (&ion, &range)) in Ion::ALL.iter().zip(&goal.ranges).enumerate() {
            (wishes[place], widths[place]) = wish(range, ion.of(&locked));
            if stressed == Some(ion) {
                let Wish { start, low, high, middle } = wishes[place];
                widths[place] /= STRESS;
                wishes[place] = Wish {
                    start: start * STRESS,
                    low: low * STRESS,
                    high: high * STRESS,
                    middle: middle * STRESS,
                };
            }
        }
        let free: Vec<usize> =
            (0..salts.len()).filter(|&place| salts[place].is_free()).take(UNKNOWNS).collect();
        let columns: Vec<[f64; EQUATIONS]> = free
            .iter()
            .map(|&place| {
                let added = Ions::default().with_salt(salts[place].brings(), *step, *volume);
                let mut column = [0.0; EQUATIONS];
                for (cell, &ion) in column.iter_mut().zip(Ion::ALL) {
                    *cell = ion.of(&added).as_mg_per_l();
                }
                column[Ion::ALL.len()] = added.potassium.as_mg_per_l();
                for (cell, width) in column.iter_mut().zip(&widths) {
                    *cell /= width;
                }
                column
            })
            .collect();
        let mut problem = Self { locked, free, columns, wishes, most: [0.0; UNKNOWNS] };
        let tops = problem.task().tops();
        for (place, column) in problem.columns.iter().enumerate() {
            let mut most = f64::INFINITY;
            for (cell, room) in column.iter().zip(&tops).filter(|(cell, _)| **cell > 0.0) {
                most = most.min(room / cell);
            }
            if let Some(limit) = salts[problem.free[place]].most {
                // A maximum written as so many steps is so many, whatever the last bit says.
                most = most.min(limit / *step + 1e-9);
            }
            problem.most[place] = if most.is_finite() { most.floor().max(0.0) } else { 0.0 };
        }
        let sound = tops.iter().all(|top| top.is_finite())
            && problem.columns.iter().flatten().all(|cell| cell.is_finite());
        sound.then_some(problem)
    }

    fn task(&self) -> Task<'_> {
        Task { columns: &self.columns, wishes: self.wishes }
    }
}

/// The best recipe of at most so many free salts.
fn recipe(question: &SaltQuestion, problem: &Problem, things: usize, looks: u32) -> Recipe {
    let task = problem.task();
    let weighed = weigh(&task, &problem.most, FEE, things, looks);
    let mut amounts: Vec<(Salt, Mass)> = Vec::new();
    let mut water = problem.locked;
    for (place, salt) in question.salts.iter().enumerate() {
        let free = problem.free.iter().position(|&free| free == place);
        let mass = match (salt.locked, free) {
            (Some(mass), _) => mass,
            (None, Some(free)) => question.step * weighed.steps[free],
            (None, None) => continue,
        };
        if free.is_some() {
            water = water.with_salt(salt.brings(), mass, question.volume);
        }
        if mass > Mass::ZERO {
            amounts.push((salt.salt, mass));
        }
    }
    let miss = task.cost(&task.sums(&weighed.steps));
    Recipe { amounts, water, miss: Count::of(miss), proven: weighed.proven }
}

/// Weighs again to see what a remedy does: a good recipe, mostly the best; `None` when that can't be done.
fn again(question: &SaltQuestion, stressed: Option<Ion>) -> Option<Recipe> {
    Problem::new(question, stressed).map(|problem| recipe(question, &problem, UNKNOWNS, TRIAL))
}

/// How far each ion is outside its range in mg/L, less what half a step of one salt explains.
fn outside(question: &SaltQuestion, water: &Ions) -> [Concentration; 5] {
    let mut apart = [Concentration::ZERO; 5];
    for ((apart, &ion), (low, high)) in apart.iter_mut().zip(Ion::ALL).zip(question.goal.ranges) {
        let slack = question
            .salts
            .iter()
            .filter(|salt| salt.is_free())
            .map(|salt| {
                ion.of(&Ions::default().with_salt(salt.brings(), question.step * 0.5, question.volume))
            })
            .fold(Concentration::ZERO, Concentration::max);
        let value = ion.of(water);
        let beyond = (low - value).max(value - high.max(low));
        if beyond > slack {
            *apart = beyond;
        }
    }
    apart
}

/// Amounts of the salts at hand that bring a water nearest to a goal, in whole
/// steps of the scale and with as few salts as will do: proven, not searched for.
///
/// Nearest: the least sum over the ions of the squared distance to the middle
/// half of its range, in widths of the range, with a small pull to the
/// middle itself, potassium counted against an estimate of what can be
/// tasted, and a fee for each salt. Between equals fewer salts win, then less of those that come
/// first. Basic salts are only counted where an amount is locked: they raise the mash's pH, which
/// is decided at the mash.
pub fn best_salts(question: &SaltQuestion) -> Recipe {
    Problem::new(question, None)
        .map_or_else(|| nothing(question), |problem| recipe(question, &problem, UNKNOWNS, PROOF))
}

/// No recipe.
fn nothing(question: &SaltQuestion) -> Recipe {
    Recipe { amounts: Vec::new(), water: question.water, miss: Count::of(0.0), proven: false }
}

/// The best recipe ([`best_salts`]), the best with a salt fewer, and what would bring the ions into
/// their ranges that the best recipe leaves outside.
pub fn salts(question: &SaltQuestion) -> SaltAnswer {
    let Some(problem) = Problem::new(question, None) else {
        return SaltAnswer { best: nothing(question), simpler: None, missed: Vec::new() };
    };
    let best = recipe(question, &problem, UNKNOWNS, PROOF);
    let locked =
        question.salts.iter().filter(|salt| salt.locked.is_some_and(|mass| mass > Mass::ZERO)).count();
    let used = best.amounts.len() - locked;
    let simpler = used.checked_sub(1).map(|fewer| recipe(question, &problem, fewer, PROOF));
    let apart = outside(question, &best.water);
    // What each proposed salt would make of it, weighed once for all the ions missed.
    let mut trials = None;
    let mut missed = Vec::new();
    for ((&ion, (low, high)), apart_here) in Ion::ALL.iter().zip(question.goal.ranges).zip(apart) {
        if apart_here > Concentration::ZERO {
            let reached = ion.of(&best.water);
            // Too much of it before a salt is chosen: only other water helps.
            let remedy = if ion.of(&problem.locked) > high.max(low) {
                dilution(question, ion, high.max(low), reached)
            } else {
                let trials = trials.get_or_insert_with(|| trials_of(question));
                remedy(question, trials, ion, &apart)
            };
            missed.push(MissedIon { ion, reached, low, high, remedy });
        }
    }
    SaltAnswer { best, simpler, missed }
}

/// A proposed salt, how far the best recipe with it is from the goal, and what it leaves outside the ranges.
type Trial = (Salt, Count, [Concentration; 5]);

/// The best recipe with each salt that is not at hand, or of which more may be weighed.
fn trials_of(question: &SaltQuestion) -> Vec<Trial> {
    let mut trials = Vec::new();
    for salt in PROPOSED {
        let mut tried = question.clone();
        match tried.salts.iter_mut().find(|at_hand| at_hand.salt == salt) {
            Some(SaltAtHand { locked: None, most: most @ Some(_), .. }) => *most = None,
            Some(_) => continue,
            None => tried.salts.push(SaltAtHand::usual(salt)),
        }
        if let Some(recipe) = again(&tried, None) {
            trials.push((salt, recipe.miss, outside(&tried, &recipe.water)));
        }
    }
    trials
}

/// What brings this ion into its range.
fn remedy(question: &SaltQuestion, trials: &[Trial], ion: Ion, apart: &[Concentration; 5]) -> Remedy {
    let place = ion as usize;
    let reached = |distance: Concentration| distance == Concentration::ZERO;
    let helps = |after: &[Concentration; 5]| {
        reached(after[place])
            && after.iter().zip(apart).all(|(after, before)| reached(*after) || !reached(*before))
    };
    let best = trials
        .iter()
        .filter(|(_, _, after)| helps(after))
        .min_by(|(_, one, _), (_, other, _)| one.value().total_cmp(&other.value()));
    if let Some((salt, ..)) = best {
        return Remedy::Salt(*salt);
    }
    let Some(forced) = again(question, Some(ion)) else { return Remedy::Nothing };
    let after = outside(question, &forced.water);
    if !reached(after[place]) {
        return Remedy::Nothing;
    }
    let worse = |other: usize| {
        let (low, high) = question.goal.ranges[other];
        (after[other] - apart[other]).as_mg_per_l() / (high - low).as_mg_per_l().max(NARROWEST)
    };
    let most = Ion::ALL
        .iter()
        .filter(|&&other| worse(other as usize) > 0.0)
        .max_by(|&&one, &&other| worse(one as usize).total_cmp(&worse(other as usize)));
    most.map_or(Remedy::Nothing, |other| Remedy::Conflict(*other))
}

/// The least share of distilled water, in whole percent, with which the ion comes down into its range.
fn dilution(question: &SaltQuestion, ion: Ion, high: Concentration, reached: Concentration) -> Remedy {
    let mut tried = question.clone();
    let mut share: f64 = 0.0;
    let mut holds = reached;
    // Each round takes off what is still too much; salts weighed anew may bring a little of it back.
    for _ in 0..4 {
        let over = 1.0 - high / holds;
        share = (((share + (1.0 - share) * over) * 100.0 - 1e-9).ceil() / 100.0).min(1.0);
        let share = Fraction::of_one(share);
        tried.water = question.water.blended(share, &Ions::default());
        let Some(recipe) = again(&tried, None) else { break };
        if outside(&tried, &recipe.water)[ion as usize] == Concentration::ZERO {
            return Remedy::Dilute(share);
        }
        holds = ion.of(&recipe.water);
    }
    Remedy::Nothing
}

/// A recipe shared between the mash water and the rest: the salt, how much of it into the mash, and
/// how much into the rest. In proportion to the volumes in whole steps of the scale; basic salts
/// go into the mash. The two parts of each make its amount.
pub fn split(recipe: &Recipe, mash_share: Fraction, step: Mass) -> Vec<(Salt, Mass, Mass)> {
    let share = mash_share.as_of_one().clamp(0.0, 1.0);
    let into_mash = |salt: Salt, mass: Mass| {
        if salt.is_alkaline() || share >= 1.0 || step <= Mass::ZERO {
            return mass;
        }
        (step * (mass * share / step).round()).min(mass)
    };
    recipe
        .amounts
        .iter()
        .map(|&(salt, mass)| {
            let mash = into_mash(salt, mass);
            (salt, mash, mass - mash)
        })
        .collect()
}

/// What drinking-water rules or tasters say about an ion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advice {
    /// The ion.
    pub ion: Ion,
    /// How much the water holds.
    pub holds: Concentration,
    /// Where the advice begins.
    pub limit: Concentration,
    /// Who says it.
    pub source: Source,
}

/// Ions above the taste or notice values for drinking water. A salty beer
/// exceeds them on purpose: advice, not a ban.
pub fn advice(water: &Ions) -> impl Iterator<Item = Advice> + '_ {
    const WHO: Source = Source::from_memory("WHO drinking-water guidelines, taste and notice values");
    [(Ion::Sodium, 200.0), (Ion::Chloride, 250.0), (Ion::Sulfate, 500.0)]
        .into_iter()
        .map(|(ion, limit)| Advice {
            ion,
            holds: ion.of(water),
            limit: Concentration::mg_per_l(limit),
            source: WHO,
        })
        .filter(|advice| advice.holds > advice.limit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::weigh::weigh_by_hand;
    use proptest::prelude::*;
    use proptest::sample::subsequence;

    fn mg(value: f64) -> Concentration {
        Concentration::mg_per_l(value)
    }

    fn question(finish: Finish, water: Ions, salts: &[Salt]) -> SaltQuestion {
        SaltQuestion {
            goal: finish.goal(),
            water,
            volume: Volume::litres(25.0),
            salts: salts.iter().map(|&salt| SaltAtHand::usual(salt)).collect(),
            step: Mass::grams(0.1),
        }
    }

    fn cost(recipe: &Recipe) -> f64 {
        recipe.miss.value() + FEE * recipe.amounts.len() as f64
    }

    fn waters() -> impl Strategy<Value = Ions> {
        (0.0..150.0f64, 0.0..40.0f64, 0.0..100.0f64, 0.0..200.0f64, 0.0..200.0f64).prop_map(
            |(ca, na, mag, cl, so4)| Ions {
                calcium: mg(ca),
                magnesium: mg(na),
                sodium: mg(mag),
                chloride: mg(cl),
                sulfate: mg(so4),
                ..Ions::default()
            },
        )
    }

    fn free_salts() -> Vec<Salt> {
        Salt::ALL.iter().copied().filter(|salt| !salt.is_alkaline()).collect()
    }

    /// Free salts, two forms of a compound at most.
    const FORMS: &[Salt] = &[
        Salt::Gypsum,
        Salt::CalciumChlorideDihydrate,
        Salt::CalciumChlorideSolution,
        Salt::Epsom,
        Salt::MagnesiumSulfateAnhydrous,
        Salt::MagnesiumChloride,
        Salt::TableSalt,
        Salt::SodiumSulfate,
        Salt::PotassiumChloride,
        Salt::PotassiumSulfate,
    ];

    #[test]
    fn pure_water_reaches_every_finish_with_all_salts() {
        for &finish in Finish::ALL {
            let answer = salts(&question(finish, Ions::default(), Salt::ALL));
            assert!(answer.missed.is_empty() && answer.best.proven, "{finish:?}: {answer:?}");
            assert!(!answer.best.amounts.iter().any(|(salt, _)| salt.is_alkaline()));
            assert!(answer.best.water.potassium < mg(40.0), "{answer:?}");
        }
    }

    #[test]
    fn what_can_not_be_reached_comes_with_what_would() {
        let plush = |water, salts: &[Salt]| salts_missed(&question(Finish::Plush, water, salts));
        fn salts_missed(question: &SaltQuestion) -> Vec<(Ion, Remedy)> {
            salts(question).missed.iter().map(|missed| (missed.ion, missed.remedy)).collect()
        }
        // Gypsum brings calcium, but nothing brings chloride.
        let missed = plush(Ions::default(), &[Salt::Gypsum]);
        assert!(
            missed.contains(&(Ion::Chloride, Remedy::Salt(Salt::CalciumChlorideDihydrate))),
            "{missed:?}"
        );
        // Twice as much sulfate as the finish bears: a little more than half must go.
        let missed = plush(Ions { sulfate: mg(160.0), ..Ions::default() }, Salt::ALL);
        let [(Ion::Sulfate, Remedy::Dilute(share))] = missed[..] else { panic!("{missed:?}") };
        assert!((0.5..0.6).contains(&share.as_of_one()), "{share:?}");
        // The salty finish from table salt alone: no calcium, and nothing is proposed that harms.
        let missed = salts_missed(&question(Finish::Saline, Ions::default(), &[Salt::TableSalt]));
        assert!(
            missed.iter().any(|(ion, remedy)| *ion == Ion::Calcium && matches!(remedy, Remedy::Salt(_))),
            "{missed:?}"
        );
        // A maximum keeps the chloride short: more of the same would do.
        let mut short =
            question(Finish::Plush, Ions::default(), &[Salt::CalciumChlorideDihydrate, Salt::Gypsum]);
        short.salts[0].most = Some(Mass::grams(1.0));
        let missed = salts_missed(&short);
        assert!(
            missed.contains(&(Ion::Chloride, Remedy::Salt(Salt::CalciumChlorideDihydrate))),
            "{missed:?}"
        );
        // Sulfate without calcium, of salts that all bring a cation whose range is full.
        let full = Ions {
            calcium: mg(120.0),
            magnesium: mg(25.0),
            sodium: mg(40.0),
            chloride: mg(60.0),
            ..Ions::default()
        };
        let missed =
            salts_missed(&question(Finish::Lean, full, &[Salt::Gypsum, Salt::Epsom, Salt::SodiumSulfate]));
        assert!(missed.iter().any(|(_, remedy)| matches!(remedy, Remedy::Conflict(_))), "{missed:?}");
    }

    #[test]
    fn basic_salts_go_into_the_mash_and_parts_make_the_whole() {
        let amounts = vec![(Salt::Gypsum, Mass::grams(3.7)), (Salt::BakingSoda, Mass::grams(2.0))];
        let recipe = Recipe { amounts, water: Ions::default(), miss: Count::of(0.0), proven: true };
        let parts = split(&recipe, Fraction::of_one(0.6), Mass::grams(0.1));
        let grams: Vec<(f64, f64)> =
            parts.iter().map(|part| (part.1.as_grams(), part.2.as_grams())).collect();
        assert!((grams[0].0 - 2.2).abs() < 1e-12 && (grams[0].1 - 1.5).abs() < 1e-12, "{grams:?}");
        assert_eq!(grams[1], (2.0, 0.0));
    }

    proptest! {
        #[test]
        fn parts_are_whole_steps_and_make_the_whole(steps in 1..400u32, share in 0.0..1.0f64, step in prop_oneof![Just(0.01), Just(0.1), Just(1.0)]) {
            let step = Mass::grams(step);
            let whole = step * f64::from(steps);
            let recipe = Recipe { amounts: vec![(Salt::Epsom, whole)], water: Ions::default(), miss: Count::of(0.0), proven: true };
            let (_, mash, rest) = split(&recipe, Fraction::of_one(share), step)[0];
            prop_assert!(mash >= Mass::ZERO && rest >= Mass::ZERO);
            prop_assert!((mash + rest - whole).as_grams().abs() < 1e-12);
            for part in [mash / step, rest / step] {
                prop_assert!((part - part.round()).abs() < 1e-9);
            }
            prop_assert!((mash / step - share * f64::from(steps)).abs() <= 0.5 + 1e-9);
        }

        /// Another salt at hand never makes the answer worse, nor does a missing maximum.
        #[test]
        fn more_salts_are_never_worse(
            place in 0..4usize, water in waters(), own in subsequence(free_salts(), 0..=4), other in 0..12usize, most in 0.0..5.0f64,
        ) {
            let all = free_salts();
            let mut fewer = question(Finish::ALL[place], water, &own);
            let before = salts(&fewer).best;
            prop_assert!(before.proven);
            if !own.contains(&all[other]) {
                fewer.salts.push(SaltAtHand { most: Some(Mass::grams(most)), ..SaltAtHand::usual(all[other]) });
            }
            let between = salts(&fewer).best;
            for salt in &mut fewer.salts {
                salt.most = None;
            }
            let after = salts(&fewer).best;
            prop_assert!(between.proven && after.proven);
            prop_assert!(cost(&between) <= cost(&before) + 1e-12);
            prop_assert!(cost(&after) <= cost(&between) + 1e-12);
        }

        /// Locked amounts stay as they are, maxima are kept, the rest are whole steps, and the
        /// water told is the water made.
        #[test]
        fn locks_and_maxima_are_kept(
            place in 0..4usize, water in waters(), own in subsequence(Salt::ALL, 1..=7), locked in 0.0..6.0f64, most in 0.0..6.0f64, purity in 0.3..1.0f64,
        ) {
            let mut question = question(Finish::ALL[place], water, &own);
            question.salts[0].locked = Some(Mass::grams(locked));
            question.salts[0].purity = Fraction::of_one(purity);
            for salt in &mut question.salts[1..] {
                salt.most = Some(Mass::grams(most));
            }
            let answer = salts(&question);
            let mut made = water;
            for recipe in [Some(&answer.best), answer.simpler.as_ref()].into_iter().flatten() {
                prop_assert!(recipe.proven);
                for &(salt, mass) in &recipe.amounts {
                    if salt == own[0] {
                        prop_assert_eq!(mass.as_grams(), locked);
                    } else {
                        let steps = mass / question.step;
                        prop_assert!((steps - steps.round()).abs() < 1e-9 && mass > Mass::ZERO);
                        prop_assert!(mass.as_grams() <= most + 1e-9 && !salt.is_alkaline());
                    }
                }
            }
            for &(salt, mass) in &answer.best.amounts {
                let at_hand = question.salts.iter().find(|at_hand| at_hand.salt == salt).unwrap();
                made = made.with_salt(at_hand.brings(), mass, question.volume);
            }
            for &ion in Ion::ALL {
                prop_assert!((ion.of(&made) - ion.of(&answer.best.water)).as_mg_per_l().abs() < 1e-9);
            }
            if let Some(simpler) = &answer.simpler {
                prop_assert!(simpler.amounts.len() < answer.best.amounts.len());
                prop_assert!(cost(simpler) >= cost(&answer.best) - 1e-12);
            }
        }

        /// Against every choice of whole steps, each one looked at: equal cost, for as many salts as wanted.
        #[test]
        fn as_good_as_looking_at_every_recipe(
            place in 0..4usize, water in waters(), own in subsequence(free_salts(), 2..=4), most in proptest::array::uniform4(0..14u32), litres in 4.0..30.0f64, things in 0..=4usize,
        ) {
            let step = Mass::grams(1.0);
            let mut question = question(Finish::ALL[place], water, &own);
            (question.step, question.volume) = (step, Volume::litres(litres));
            for (salt, most) in question.salts.iter_mut().zip(most) {
                salt.most = Some(step * f64::from(most));
            }
            let problem = Problem::new(&question, None).unwrap();
            let mut limits = [0.0; UNKNOWNS];
            for (limit, most) in limits.iter_mut().zip(&most[..own.len()]) {
                *limit = f64::from(*most);
            }
            let by_hand = weigh_by_hand(&problem.task(), &limits, FEE, things);
            let found = recipe(&question, &problem, things, PROOF);
            prop_assert!(found.proven);
            prop_assert!((cost(&found) - by_hand).abs() < 1e-11, "{} {}", cost(&found), by_hand);
        }

        /// Seven salts at hand, at most two of them forms of one compound, on kitchen scales: the
        /// search comes to its end.
        #[test]
        fn seven_salts_are_always_proven(
            place in 0..4usize, water in waters(), own in subsequence(FORMS, 7), litres in 3.0..60.0f64, step in prop_oneof![Just(0.1), Just(0.5), Just(2.0)], most in proptest::option::of(0.0..9.0f64),
        ) {
            let mut question = question(Finish::ALL[place], water, &own);
            (question.step, question.volume) = (Mass::grams(step), Volume::litres(litres));
            for salt in &mut question.salts {
                salt.most = most.map(Mass::grams);
            }
            let answer = salts(&question);
            prop_assert!(answer.best.proven && answer.simpler.is_none_or(|simpler| simpler.proven));
        }

        /// Inside its range a salt more is never spent on an ion: the fee is larger than all that the pull could save.
        #[test]
        fn a_water_in_the_middle_is_left_alone(place in 0..4usize) {
            let finish = Finish::ALL[place];
            let middle = |ion: Ion| {
                let (low, high) = finish.range(ion);
                if low > Concentration::ZERO { (low + high) * 0.5 } else { low }
            };
            let water = Ions {
                calcium: middle(Ion::Calcium), magnesium: middle(Ion::Magnesium), sodium: middle(Ion::Sodium),
                chloride: middle(Ion::Chloride), sulfate: middle(Ion::Sulfate), ..Ions::default()
            };
            let answer = salts(&question(finish, water, Salt::ALL));
            prop_assert!(answer.best.amounts.is_empty() && answer.simpler.is_none() && answer.missed.is_empty());
        }
    }
}
