//! Worts that know nothing of the model, and people who acidify them.

use calc::brew::buffer::{BufferCurve, Step, Titration};
use calc::brew::drop::{Rung, ladder};
use calc::data::acids::{Acid, AcidKind};
use calc::quantity::{Count, Estimate, Fraction, MolarConcentration, Ph, PhDifference, Plato, Volume};

/// A small generator of random numbers (SplitMix64), the same on every machine.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }
    /// Uniform between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * ((x ^ (x >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
    /// Normal with mean 0 and deviation 1 (Box & Muller).
    pub fn normal(&mut self) -> f64 {
        let (radius, angle) = (self.between(1e-12, 1.0), self.between(0.0, std::f64::consts::TAU));
        (-2.0 * radius.ln()).sqrt() * angle.cos()
    }
}

/// Where the worts come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum World {
    /// Capacity as the prior has it: mean 1, deviation 0.19 of it; shape near the published one.
    Inside,
    /// Capacity anywhere from 0.5 to 1.7 times the published one; nine groups spread over the
    /// range, each anywhere near its place and from a quarter to four times as much as the next.
    Outside,
    /// Capacity as outside; groups of any pKa and proportion, as no wort has them.
    Wild,
}

/// How the pH is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meter {
    /// Deviation of one reading.
    pub error: f64,
    /// Deviation of what all readings of a day are off together.
    pub bias: f64,
}

/// Capacity of published worts between pH 5 and 3.4, mEq/(L·pH) per degree Plato, without the free
/// protons: that of the thesis on souring wort.
const PUBLISHED: f64 = 0.78;
pub const TARGET: f64 = 4.5;
/// Both sides of the target that count as there.
pub const NEAR: f64 = 0.05;

/// A wort as it truly is.
pub struct Wort {
    groups: Vec<(f64, f64)>,
    activity: f64,
    acid: Acid,
    acid_pka: [f64; 3],
    /// Litres, as they are and as they are believed to be.
    litres: f64,
    believed_litres: f64,
    believed_plato: f64,
    start: f64,
    /// Capacity against the published one.
    pub scale: f64,
}

impl Wort {
    pub fn draw(chance: &mut Chance, world: World) -> Self {
        let plato = chance.between(8.0, 16.0);
        let (scale, mut groups): (f64, Vec<(f64, f64)>) = match world {
            World::Inside => {
                let scale = (1.0 + 0.19 * chance.normal()).max(0.4);
                let near = [
                    (2.6, 0.62),
                    (3.4, 0.83),
                    (4.2, 0.48),
                    (5.0, 0.80),
                    (5.9, 0.32),
                    (6.9, 0.34),
                    (8.3, 0.30),
                ];
                let groups = near.map(|(pka, amount)| {
                    (pka + chance.between(-0.3, 0.3), amount * (1.0 + 0.35 * chance.normal()).max(0.1))
                });
                (scale, groups.to_vec())
            }
            World::Outside => {
                let scale = chance.between(0.5, 1.7);
                let groups = (0..9)
                    .map(|k| {
                        (
                            2.0 + 0.8 * f64::from(k) + chance.between(-0.4, 0.4),
                            4_f64.powf(chance.between(-0.5, 0.5)),
                        )
                    })
                    .collect();
                (scale, groups)
            }
            World::Wild => {
                let scale = chance.between(0.5, 1.7);
                let groups =
                    (0..9).map(|_| (chance.between(1.8, 9.0), -chance.between(1e-6, 1.0).ln())).collect();
                (scale, groups)
            }
        };
        let capacity: f64 = groups.iter().map(|(pka, a)| a * (share(*pka, 5.0) - share(*pka, 3.4))).sum();
        let factor = scale * PUBLISHED * 1.6 * plato / capacity;
        for (_, amount) in &mut groups {
            *amount *= factor;
        }
        let kind = [AcidKind::Lactic, AcidKind::Lactic, AcidKind::Phosphoric, AcidKind::Citric]
            [chance.between(0.0, 4.0) as usize];
        let percent = match kind {
            AcidKind::Lactic => 80.0,
            AcidKind::Phosphoric => 10.0,
            _ => 50.0,
        };
        // Among the salts of wort, each wort a little other than the next.
        let off = chance.between(-0.05, 0.05);
        let acid_pka = match kind {
            AcidKind::Lactic => [3.75 + off, 99.0, 99.0],
            AcidKind::Phosphoric => [2.05 + off, 6.9 + off, 99.0],
            _ => [3.02 + off, 4.48 + off, 5.95 + off],
        };
        let litres = chance.between(10.0, 30.0);
        Self {
            groups,
            activity: chance.between(0.80, 1.0),
            acid: Acid { kind, strength: Fraction::percent(percent) },
            acid_pka,
            litres,
            believed_litres: litres * (1.0 + 0.02 * chance.normal()),
            believed_plato: plato + 0.2 * chance.normal(),
            start: chance.between(5.0, 5.6),
            scale,
        }
    }

    /// Charge of a mole of the acid.
    fn charge(&self, ph: f64) -> f64 {
        let [a, b, c] = self.acid_pka.map(|pka| 10_f64.powf(ph - pka));
        (a + 2.0 * a * b + 3.0 * a * b * c) / (1.0 + a + a * b + a * b * c)
    }

    /// Charge that a litre takes from the start to a pH.
    fn taken(&self, ph: f64) -> f64 {
        let free = |ph: f64| 1e3 * 10_f64.powf(-ph) / self.activity;
        let groups: f64 =
            self.groups.iter().map(|(pka, a)| a * (share(*pka, self.start) - share(*pka, ph))).sum();
        groups + free(ph) - free(self.start)
    }

    /// True pH with so many millimoles of acid in it.
    fn ph(&self, mmol: f64) -> f64 {
        let (mut low, mut high) = (1.0, self.start);
        for _ in 0..50 {
            let ph = 0.5 * (low + high);
            if self.taken(ph) > mmol / self.litres * self.charge(ph) { low = ph } else { high = ph }
        }
        0.5 * (low + high)
    }

    /// Acid truly still to go, mmol; below zero when the target is passed.
    fn to_go(&self, mmol: f64) -> f64 {
        self.taken(TARGET) * self.litres / self.charge(TARGET) - mmol
    }

    fn mmol_in(&self, acid: Volume) -> f64 {
        acid.as_litres() * self.acid.molarity().as_mmol_per_l()
    }
}

fn share(pka: f64, ph: f64) -> f64 {
    1.0 / (1.0 + 10_f64.powf(pka - ph))
}

/// Who doses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Hand {
    /// The dose ladder.
    Ladder,
    /// So many millilitres for each 0.1 of pH, once and again until the meter says it is there.
    FixedPerTenth,
    /// Half of that, then half of what is left again.
    HalfAgain,
}

/// What came of it.
#[derive(Clone, Copy, Debug)]
pub struct Outcome {
    pub doses: usize,
    /// Doses until the true pH was near the target; none if it never was.
    pub near_after: Option<usize>,
    pub end: f64,
    /// Whether the ladder's 80 % band held the acid that was truly to go, before any dose and after
    /// the last reading. False for the other hands.
    pub in_band: [bool; 2],
}

pub fn acidify(wort: &Wort, hand: Hand, meter: Meter, chance: &mut Chance) -> Outcome {
    let bias = meter.bias * chance.normal();
    let read =
        |wort: &Wort, mmol: f64, chance: &mut Chance| wort.ph(mmol) + bias + meter.error * chance.normal();
    let first = read(wort, 0.0, chance);
    let (mut mmol, mut last) = (0.0, first);
    let mut steps: Vec<Step> = Vec::new();
    let prior = BufferCurve::prior(Plato::degrees(wort.believed_plato), Estimate::exact(Count::of(1.0)));
    let mut outcome = Outcome { doses: 0, near_after: None, end: wort.start, in_band: [false; 2] };
    let litres = Volume::litres(wort.believed_litres);
    while outcome.doses < 10 {
        let pour = match hand {
            Hand::Ladder => {
                let from = Estimate::normal(Ph::new(first), meter.error);
                let titration =
                    Titration::new(&prior, from, &steps, wort.acid.kind, PhDifference::units(meter.error));
                let meter = PhDifference::units(meter.error);
                let rung = ladder(&titration, Ph::new(TARGET), litres, &wort.acid, meter).unwrap();
                let truth = wort.to_go(mmol);
                let [low, high] = [rung.whole.low, rung.whole.high].map(|end| wort.mmol_in(end));
                outcome.in_band[1] = low <= truth && truth <= high;
                if outcome.doses == 0 {
                    outcome.in_band[0] = outcome.in_band[1];
                }
                match rung.now {
                    Rung::Pour(dose) => dose,
                    _ => Volume::ZERO,
                }
            }
            Hand::FixedPerTenth | Hand::HalfAgain => {
                let gap = last - TARGET;
                // The rule knows no gravity: it is right for published worts of 12 °P.
                let charge = PUBLISHED * 12.0 * gap / wort.acid.kind.charge_per_mol(Ph::new(TARGET)).value();
                let all = litres * (charge / wort.acid.molarity().as_mmol_per_l());
                if gap <= NEAR {
                    Volume::ZERO
                } else if hand == Hand::HalfAgain {
                    all * 0.5
                } else {
                    all
                }
            }
        };
        if pour <= Volume::ZERO {
            break;
        }
        mmol += wort.mmol_in(pour) * (1.0 + 0.02 * chance.normal());
        outcome.doses += 1;
        outcome.end = wort.ph(mmol);
        if outcome.near_after.is_none() && (outcome.end - TARGET).abs() <= NEAR {
            outcome.near_after = Some(outcome.doses);
        }
        last = read(wort, mmol, chance);
        steps.push(Step {
            acid: MolarConcentration::mmol_per_l(wort.mmol_in(pour) / wort.believed_litres),
            read: Some(Ph::new(last)),
        });
    }
    outcome
}

/// Many worts, one hand.
#[derive(Clone, Copy)]
pub struct Tally {
    /// Share that ended more than 0.05 below the target, by the true pH.
    pub overshot: f64,
    /// Share that ended within 0.05 of it.
    pub near: f64,
    /// Median of the doses until the true pH was within 0.05; `None` when half never were.
    pub median_doses: Option<usize>,
    /// Mean of all doses.
    pub mean_doses: f64,
    /// Share of worts whose acid to go lay in the ladder's 80 % band: before the first dose, and
    /// after the last reading.
    pub in_band: [f64; 2],
}

/// The same worts for every hand; `keep` picks some of them.
pub fn tally(worts: usize, world: World, hand: Hand, meter: Meter, keep: &dyn Fn(&Wort) -> bool) -> Tally {
    let mut chance = Chance::new(20);
    let mut outcomes = Vec::new();
    while outcomes.len() < worts {
        let wort = Wort::draw(&mut chance, world);
        // Readings and doses have a chance of their own, so that a hand that doses more often does
        // not change the worts after it.
        let seed = (chance.between(0.0, 1.0) * 1e15) as u64;
        if keep(&wort) {
            outcomes.push(acidify(&wort, hand, meter, &mut Chance::new(seed)));
        }
    }
    let share = |count: usize| count as f64 / worts as f64;
    let mut near: Vec<usize> = outcomes.iter().map(|o| o.near_after.unwrap_or(usize::MAX)).collect();
    near.sort_unstable();
    Tally {
        overshot: share(outcomes.iter().filter(|o| o.end < TARGET - NEAR).count()),
        near: share(outcomes.iter().filter(|o| (o.end - TARGET).abs() <= NEAR).count()),
        median_doses: Some(near[worts / 2]).filter(|doses| *doses < usize::MAX),
        mean_doses: outcomes.iter().map(|o| o.doses as f64).sum::<f64>() / worts as f64,
        in_band: [0, 1].map(|when| share(outcomes.iter().filter(|o| o.in_band[when]).count())),
    }
}
