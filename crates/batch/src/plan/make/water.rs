//! The water report, salts and the water they make.

use super::*;

impl Maker<'_> {
    /// The source water as reported; unnamed ions count as none.
    pub(super) fn report(&self) -> Result<Ions, Unknown> {
        let numbers = &self.batch.numbers;
        if numbers.distilled() == Some(Fraction::ALL) {
            return Ok(Ions::default());
        }
        let zero = Concentration::ZERO;
        Ok(Ions {
            calcium: numbers.calcium().ok_or(Unknown::Empty(Field::Calcium.spec()))?,
            alkalinity: numbers.alkalinity().ok_or(Unknown::Empty(Field::Alkalinity.spec()))?,
            magnesium: numbers.magnesium().unwrap_or(zero),
            sodium: numbers.sodium().unwrap_or(zero),
            chloride: numbers.chloride().unwrap_or(zero),
            sulfate: numbers.sulfate().unwrap_or(zero),
            potassium: zero,
        })
    }

    pub(super) fn report_balance(&mut self) {
        let report = self.report();
        self.figures().imbalance = report.and_then(|ions| exact(ions.imbalance()));
        let Ok(ions) = report else { return };
        let numbers = &self.batch.numbers;
        let missing = [
            (Field::Magnesium, numbers.magnesium()),
            (Field::Sodium, numbers.sodium()),
            (Field::Chloride, numbers.chloride()),
            (Field::Sulfate, numbers.sulfate()),
        ];
        let all_given = missing.iter().all(|(_, given)| given.is_some());
        if numbers.distilled() != Some(Fraction::ALL) {
            for (field, _) in missing.iter().filter(|(_, given)| given.is_none()) {
                self.warn(
                    Stage::Water,
                    Level::Note,
                    say![field.spec().label, " is not given and counts as none."],
                );
            }
        }
        if all_given && !ions.is_balanced() {
            let (plus, minus) = (ions.cations(), ions.anions());
            let lacking = if plus < minus {
                "positive ions (calcium, magnesium, sodium)"
            } else {
                "negative ions (alkalinity, sulfate, chloride)"
            };
            self.warn(
                Stage::Water,
                Level::Caution,
                say![
                    "The water report does not balance: its charges differ by ",
                    ions.imbalance().amount(),
                    ". A figure is wrong, in another unit or missing among the ",
                    lacking,
                    "."
                ],
            );
        }
    }

    /// Salts and the water they make; the ions of the mash.
    pub(super) fn water(&mut self, weighed: &WeighedIn) -> Result<Ions, Unknown> {
        let batch = self.batch;
        let distilled: Fraction = value(batch, Field::Distilled)?;
        let total = self.plan.figures.total_water;
        let part = |share: Fraction| {
            total.map(|v| Value { estimate: v.estimate.map(|water| water * share), origin: v.origin })
        };
        let figures = self.figures();
        figures.tap_water = part(distilled.rest());
        figures.distilled_water = part(distilled);
        let blend = self.report().map(|report| report.blended(distilled, &Ions::default()));
        let step = value(batch, Field::ScaleStep)?;
        let made = blend.map(|blend| {
            let own = &batch.choices.own_salts;
            if own.is_empty() {
                let recipe =
                    salts_for(batch.choices.finish, blend, weighed.water, &batch.choices.salts, step);
                self.plan.salts = recipe.amounts;
                recipe.water
            } else {
                self.plan.salts = own.iter().map(|dose| (dose.salt, dose.mass)).collect();
                water_with(blend, &self.plan.salts, weighed.water)
            }
        });
        let figures = self.figures();
        let ion = |ion: Ion| made.and_then(|made| exact(ion.of(&made)));
        figures.calcium_after = ion(Ion::Calcium);
        figures.magnesium_after = ion(Ion::Magnesium);
        figures.sodium_after = ion(Ion::Sodium);
        figures.chloride_after = ion(Ion::Chloride);
        figures.sulfate_after = ion(Ion::Sulfate);
        figures.alkalinity_after = made.and_then(|made| exact(made.alkalinity));
        figures.residual_alkalinity = made.and_then(|made| exact(made.residual_alkalinity()));
        figures.hardness = made.and_then(|made| exact(made.hardness()));
        let (before, after) = (blend?, made?);
        let finish = batch.choices.finish;
        self.plan.ions = Ion::ALL
            .iter()
            .map(|&ion| {
                let (low, high) = finish.range(ion);
                IonLine { ion, before: ion.of(&before), after: ion.of(&after), low, high }
            })
            .collect();
        // Half a step of the scale may round an ion out of its range; that is no warning.
        let slack = |range: Concentration| range * 0.05;
        let unmet: Vec<IonLine> = self
            .plan
            .ions
            .iter()
            .copied()
            .filter(|line| {
                let slack = slack(line.high - line.low);
                line.after < line.low - slack || line.after > line.high + slack
            })
            .collect();
        for line in unmet {
            let says = if line.after < line.low {
                say![
                    line.ion.name(),
                    " stays at ",
                    line.after.amount(),
                    ", below the ",
                    line.low.amount(),
                    " of this finish: a salt that brings it is not at hand or brings too much else."
                ]
            } else {
                say![
                    line.ion.name(),
                    " is ",
                    line.after.amount(),
                    ", above the ",
                    line.high.amount(),
                    " of this finish: only distilled or reverse-osmosis water lowers it."
                ]
            };
            self.warn(Stage::Water, Level::Note, says);
        }
        for advice in advice(&after) {
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
        Ok(after)
    }
}
