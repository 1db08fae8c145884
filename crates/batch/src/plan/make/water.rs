//! The waters, their treatment, the salts and the water they make.

use super::*;

/// A single figure given for an ion's range is met within a tenth, and within this.
const NARROWEST: Concentration = Concentration::mg_per_l(5.0);

/// The widest tolerance of a charge balance in Standard Methods 1030 E, from memory.
const LOOSEST_BALANCE: f64 = 0.05;

/// The water that goes into kettle and mash.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Made {
    /// What the mash water holds.
    pub(super) mash: Ions,
    /// What the rinse water holds.
    pub(super) rinse: Ions,
    /// Standard deviations of what the reports say, after blending.
    pub(super) spread: Ions,
    /// Its pH.
    pub(super) ph: Ph,
}

/// The report of a water as typed: single figures, or ranges where two ends are given.
fn report_of(water: &Water) -> WaterReport {
    fn estimate<Q: Quantity>(water: &Water, get: impl Fn(&WaterNumbers) -> Option<Q>) -> Option<Estimate<Q>> {
        let one = get(&water.numbers)?;
        Some(get(&water.upper).map_or_else(
            || Estimate::exact(one),
            |other| Estimate::band(Q::from_base(0.5 * (one.base() + other.base())), one, other),
        ))
    }
    WaterReport {
        calcium: estimate(water, WaterNumbers::calcium),
        magnesium: estimate(water, WaterNumbers::magnesium),
        sodium: estimate(water, WaterNumbers::sodium),
        potassium: estimate(water, WaterNumbers::potassium),
        chloride: estimate(water, WaterNumbers::chloride),
        sulfate: estimate(water, WaterNumbers::sulfate),
        nitrate: estimate(water, WaterNumbers::nitrate),
        alkalinity: estimate(water, WaterNumbers::alkalinity),
        hardness: estimate(water, WaterNumbers::hardness),
        conductivity: estimate(water, WaterNumbers::conductivity),
        dissolved_solids: estimate(water, WaterNumbers::dissolved_solids),
        ph: estimate(water, WaterNumbers::ph),
    }
}

impl Maker<'_> {
    /// Reads every water's report and says what does not fit in it.
    pub(super) fn reports(&mut self) {
        self.plan.waters = self.batch.waters.iter().map(|water| read(&report_of(water)).ok()).collect();
        for place in 0..self.plan.waters.len() {
            let Some(water) = &self.plan.waters[place] else { continue };
            let Some(says) = what_is_wrong(water) else { continue };
            // Honest analyses miss the strict tolerance by a little; without a culprit that is only worth a note.
            let far = water.balance.as_of_one().abs() > LOOSEST_BALANCE;
            let level = if water.culprit.is_some() || far { Level::Caution } else { Level::Note };
            let name = &self.batch.waters[place].name;
            let mut whole = if name.is_empty() {
                say!["The water report does not fit: "]
            } else {
                say![name.clone(), " does not fit: "]
            };
            whole.extend(says);
            self.warn(Stage::Water, level, whole);
        }
    }

    /// The share of each water in all the water, in their order, and that of
    /// distilled water. What is not given shares the rest evenly.
    fn shares(&mut self) -> Result<(Vec<Fraction>, Fraction), Unknown> {
        let distilled: Fraction = value(self.batch, Field::Distilled)?;
        let rest = distilled.rest();
        let typed: Vec<Option<Fraction>> =
            self.batch.waters.iter().map(|water| water.numbers.share()).collect();
        let given: Fraction = typed.iter().flatten().copied().sum();
        let open = typed.iter().filter(|share| share.is_none()).count();
        let each = (rest - given).max(Fraction::ZERO) / (open as f64).max(1.0);
        let sum = given + each * open as f64;
        if rest > Fraction::ZERO && (sum - rest).as_of_one().abs() > 0.005 {
            self.warn(
                Stage::Water,
                Level::Note,
                say![
                    "The shares of the waters come to ",
                    (sum + distilled).amount(),
                    "; they are used in proportion."
                ],
            );
        }
        let scale = if sum > Fraction::ZERO { rest / sum } else { 0.0 };
        Ok((typed.into_iter().map(|share| share.unwrap_or(each) * scale).collect(), distilled))
    }

    /// The tap waters mixed, treated, and blended with distilled water.
    fn blend(&mut self, all: Known<Volume>) -> Result<(Ions, Ions, Ph), Unknown> {
        let batch = self.batch;
        let (shares, distilled) = self.shares()?;
        let tap = distilled.rest();
        let mut parts = Vec::with_capacity(shares.len());
        let (mut spread, mut so_far) = (Ions::default(), Fraction::ZERO);
        for (share, water) in
            shares.into_iter().zip(&self.plan.waters).filter(|(share, _)| *share > Fraction::ZERO)
        {
            let water = water.as_ref().ok_or(Unknown::NoWater)?;
            parts.push((Fraction::of_one(share / tap), water.ions, water.ph.value));
            // Reports err independently; their mean spread is on the wide side.
            so_far += share;
            spread = spread.blended(Fraction::of_one(share / so_far), &water.spread);
        }
        let volume = middle(&all).map(|all| all * tap);
        let (mut ions, mut ph) = mixed(&parts);
        let figures = self.figures();
        figures.set(key::softening_lime, Err(Unknown::NotUsed));
        figures.set(key::metabisulfite, Err(Unknown::NotUsed));
        if tap > Fraction::ZERO {
            let soft = match batch.choices.softening {
                Softening::None => None,
                Softening::Boil => Some(boiled(ions, ph, volume?)),
                Softening::Lime => {
                    let lime = batch.salts.iter().find(|line| line.salt == Salt::SlakedLime);
                    let purity = lime.and_then(|line| line.numbers.purity()).unwrap_or(Fraction::ALL);
                    let soft = limed(ions, ph, volume?, purity, value(batch, Field::ScaleStep)?);
                    self.figures().set(key::softening_lime, exact(soft.lime));
                    self.warn(Stage::Water, Level::Caution, say![LIME_CAUTION]);
                    Some(soft)
                }
            };
            if let Some(soft) = soft {
                (ions, ph) = (soft.ions, soft.ph);
                // How much chalk stays in solution varies more than the report does.
                let left = ChargeConcentration::meq_per_l(soft.alkalinity.deviation());
                spread.alkalinity = spread.alkalinity.max(left);
            }
            let disinfectant = batch.choices.disinfectant;
            if disinfectant != Disinfectant::None {
                let residual = value(batch, Field::Chlorine)?;
                let clean = dechlorinate(ions, residual, disinfectant, batch.choices.sulfite, volume?);
                ions = clean.ions;
                self.figures().set(key::metabisulfite, exact(clean.mass));
                self.warn(Stage::Water, Level::Note, say![SULFITE_CAUTION]);
                if clean.sulfite_left >= DECLARED_SULFITE {
                    self.warn(
                        Stage::Water,
                        Level::Caution,
                        say![
                            "About ",
                            clean.sulfite_left.amount(),
                            " of sulfite (as SO₂) is left: declare it to guests."
                        ],
                    );
                }
            }
        }
        let (ions, ph) = mixed(&[(tap, ions, ph), (distilled, Ions::default(), DISTILLED_PH)]);
        Ok((ions, Ions::default().blended(tap, &spread), ph))
    }

    /// The goal of the salts: the finish's ranges, or own ones in their place.
    fn goal(&self) -> Goal {
        let mut goal = self.batch.choices.finish.goal();
        let own = &self.batch.own_finish;
        for (range, (field, _)) in goal.ranges.iter_mut().zip(WaterField::WANTED) {
            let end =
                |numbers: &WaterNumbers| field.get(numbers).map(|amount| amount.typed::<Concentration>());
            let Some(from) = end(&own.numbers).or_else(|| end(&own.upper)) else { continue };
            let to = end(&own.upper).unwrap_or(from);
            let (low, high) = (from.min(to), from.max(to));
            let narrow = (high * 0.1).max(NARROWEST) - (high - low) * 0.5;
            let slack = narrow.max(Concentration::ZERO);
            *range = ((low - slack).max(Concentration::ZERO), high + slack);
        }
        goal
    }

    /// Salts and the water they make; the ions of the mash.
    pub(super) fn water(&mut self, weighed: &WeighedIn) -> Result<Made, Unknown> {
        let batch = self.batch;
        let distilled: Fraction = value(batch, Field::Distilled)?;
        let total = self.plan.figures.total_water();
        let part = |share: Fraction| {
            total.map(|v| Value { estimate: v.estimate.map(|water| water * share), origin: v.origin })
        };
        let figures = self.figures();
        figures.set(key::tap_water, part(distilled.rest()));
        figures.set(key::distilled_water, part(distilled));
        let blend = self.blend(total);
        let goal = self.goal();
        let step = value(batch, Field::ScaleStep)?;
        let rinse: Volume = value(batch, Field::Rinse)?;
        let made = blend.map(|(water, spread, ph)| {
            let at_hand: Vec<SaltAtHand> = batch.salts.iter().map(SaltLine::at_hand).collect();
            let question = SaltQuestion { goal, water, volume: weighed.water, salts: at_hand, step };
            let answer = salts(&question);
            let share = Fraction::of_one(((weighed.water - rinse) / weighed.water).clamp(0.0, 1.0));
            let split = split(&answer.best, share, step);
            self.plan.salts =
                split.iter().map(|&(salt, mash, rinse)| SaltAmount { salt, mash, rinse }).collect();
            let (mut in_mash, mut in_rinse) = (water, water);
            for line in &self.plan.salts {
                if let Some(at_hand) = question.salts.iter().find(|at_hand| at_hand.salt == line.salt) {
                    in_mash = in_mash.with_salt(at_hand.brings(), line.mash, weighed.water * share);
                    in_rinse = in_rinse.with_salt(at_hand.brings(), line.rinse, weighed.water * share.rest());
                }
            }
            (water, answer, Made { mash: in_mash, rinse: in_rinse, spread, ph })
        });
        let figures = self.figures();
        // What the salts bring is weighed; what the report says is as uncertain as it is.
        let known = made.as_ref().map_err(|unknown| *unknown);
        let ion = |of: fn(&Ions) -> Concentration| {
            known.and_then(|(_, answer, made)| {
                predicted(not_below_zero(of(&answer.best.water), of(&made.spread).base()))
            })
        };
        figures.set(key::calcium_after, ion(|ions| ions.calcium));
        figures.set(key::magnesium_after, ion(|ions| ions.magnesium));
        figures.set(key::sodium_after, ion(|ions| ions.sodium));
        figures.set(key::chloride_after, ion(|ions| ions.chloride));
        figures.set(key::sulfate_after, ion(|ions| ions.sulfate));
        let charge = |of: fn(&Ions) -> ChargeConcentration, spread: fn(&Ions) -> ChargeConcentration| {
            known.and_then(|(_, answer, made)| {
                predicted(Estimate::normal(of(&answer.best.water), spread(&made.spread).base()))
            })
        };
        figures.set(key::alkalinity_after, charge(|ions| ions.alkalinity, |ions| ions.alkalinity));
        figures.set(key::residual_alkalinity, charge(Ions::residual_alkalinity, |ions| ions.alkalinity));
        figures.set(key::hardness, charge(Ions::hardness, Ions::hardness));
        let (before, answer, made) = made?;
        let after = answer.best.water;
        self.plan.ions = Ion::ALL
            .iter()
            .zip(&goal.ranges)
            .map(|(&ion, &(low, high))| IonLine {
                ion,
                before: ion.of(&before),
                after: ion.of(&after),
                low,
                high,
            })
            .collect();
        self.salt_warnings(&answer);
        self.plan.simpler = answer.simpler;
        Ok(made)
    }

    fn salt_warnings(&mut self, answer: &SaltAnswer) {
        for missed in &answer.missed {
            let low = missed.reached < missed.low;
            let mut says = say![
                missed.ion.name(),
                if low { " stays at " } else { " is " },
                missed.reached.amount(),
                if low { ", below the " } else { ", above the " },
                if low { missed.low.amount() } else { missed.high.amount() },
                " of this finish. "
            ];
            match missed.remedy {
                Remedy::Salt(salt) => says.extend(say![salt.name(), " would reach it."]),
                Remedy::Dilute(share) => says
                    .extend(say![share.amount(), " of distilled or reverse-osmosis water would reach it."]),
                Remedy::Conflict(ion) => says.extend(say!["More would push ", ion.name(), " too far."]),
                Remedy::Nothing => says.extend(say!["No salt known here reaches it."]),
            }
            self.warn(Stage::Water, Level::Note, says);
        }
        if !answer.best.proven {
            self.warn(
                Stage::Water,
                Level::Note,
                say!["The salts are a good recipe, but not proven to be the best one."],
            );
        }
        let used: Vec<Salt> = self.plan.salts.iter().map(|line| line.salt).collect();
        for caveat in used.into_iter().filter_map(Salt::caveat) {
            self.warn(Stage::Water, Level::Note, say![caveat]);
        }
        for advice in advice(&answer.best.water) {
            self.warn(
                Stage::Water,
                Level::Note,
                say![
                    advice.ion.name(),
                    " at ",
                    advice.holds.amount(),
                    " is above the taste value for drinking water, ",
                    advice.limit.amount(),
                    ". A salty beer does so on purpose; tell guests on a low-salt diet."
                ],
            );
        }
    }
}

/// What of a report does not fit, and what it would be if the likeliest mistake were put right.
fn what_is_wrong(water: &WaterRead) -> Option<Sentence> {
    if let Some(culprit) = &water.culprit {
        let suspect = |suspect: &Suspect| {
            say![suspect.item.name(), " ", suspect.misreading.text(), ": ", suspect.remedy, " would fit"]
        };
        let mut says = suspect(&culprit.first);
        if let Some(second) = &culprit.second {
            says.extend(say!["; or "]);
            says.extend(suspect(second));
        }
        says.extend(say!["."]);
        return Some(says);
    }
    let off = |check: &Option<Check>| check.as_ref().is_some_and(|check| !check.ok);
    if water.balance_ok == Some(false) {
        let lacking = if water.balance < Fraction::ZERO {
            "positive ions (calcium, magnesium, sodium)"
        } else {
            "negative ions (alkalinity, sulfate, chloride)"
        };
        return Some(say![
            "its charges differ by ",
            water.balance.amount(),
            ". A figure is wrong, in another unit or missing among the ",
            lacking,
            "."
        ]);
    }
    [
        (&water.hardness, "total hardness is not that of calcium and magnesium."),
        (&water.conductivity, "conductivity is not that of the ions."),
        (&water.solids, "dissolved solids are not the sum of the ions."),
        (&water.solids_by_conductivity, "dissolved solids and conductivity contradict each other."),
    ]
    .into_iter()
    .find(|(check, _)| off(check))
    .map(|(_, words)| say![words])
}

/// A normal estimate of something that can't be negative.
fn not_below_zero(value: Concentration, deviation: f64) -> Estimate<Concentration> {
    let Estimate { value, low, high } = Estimate::normal(value, deviation);
    Estimate { value, low: low.max(Concentration::ZERO).min(value), high }
}
