//! Main boil and bitterness.

use super::*;

impl Maker<'_> {
    pub(super) fn early_hops(&mut self) {
        let late = self.batch.hops.iter().any(|hop| {
            hop.numbers.minutes().is_some_and(|minutes| {
                self.batch.value(Field::MainBoil).is_some_and(|boil: Duration| minutes > boil)
            })
        });
        if late {
            self.warn(
                Stage::MainBoil,
                Level::Caution,
                say!["A hop charge is to boil longer than the main boil lasts. It must not go in before the bacteria have finished: they bear almost no hop."],
            );
        }
    }

    pub(super) fn main_boil(&mut self, course: &Course) {
        let batch = self.batch;
        let boil = self.boil(course);
        let charges = boil.and_then(|_| {
            let main: Duration = value(batch, Field::MainBoil)?;
            batch
                .hops
                .iter()
                .enumerate()
                .map(|(place, hop)| {
                    let alpha = Slot::Hop(place, HopField::Alpha)
                        .effective(batch)
                        .ok_or(Unknown::Empty(HopField::Alpha.spec()))?;
                    Ok(HopCharge {
                        mass: hop.numbers.mass().ok_or(Unknown::Empty(HopField::Mass.spec()))?,
                        alpha: alpha.typed(),
                        time: hop.numbers.minutes().unwrap_or(main).min(main),
                    })
                })
                .collect::<Result<Vec<HopCharge>, Unknown>>()
        });
        let outside = Unknown::OutsideModel(Stage::MainBoil);
        self.figures().set(
            key::bitterness,
            match (boil, charges) {
                (Ok(boil), Ok(charges)) => {
                    if charges.is_empty() {
                        exact(Bitterness::ZERO)
                    } else {
                        boil.bitterness(&charges).map_or(Err(outside), predicted)
                    }
                }
                (Err(unknown), _) | (_, Err(unknown)) => Err(unknown),
            },
        );
        self.figures().set(
            key::hop_mass,
            boil.and_then(|boil| {
                let wanted = batch.numbers.wanted_bitterness().ok_or(Unknown::NotUsed)?;
                let main: Duration = value(batch, Field::MainBoil)?;
                let first = batch.hops.first();
                let alpha = first
                    .and_then(|hop| hop.numbers.alpha())
                    .or_else(|| HopField::Alpha.spec().assumed.map(|(alpha, _)| alpha.typed()))
                    .ok_or(Unknown::Empty(HopField::Alpha.spec()))?;
                let time = first.and_then(|hop| hop.numbers.minutes()).unwrap_or(main).min(main);
                let mass =
                    boil.hop_for(wanted, alpha, time).map_err(|_| Unknown::OutsideModel(Stage::MainBoil))?;
                // As uncertain as the bitterness that this weight gives.
                let given = boil
                    .bitterness(&[HopCharge { mass, alpha, time }])
                    .map_err(|_| Unknown::OutsideModel(Stage::MainBoil))?;
                let for_yield =
                    |ibu: Bitterness| if ibu > Bitterness::ZERO { mass * (wanted / ibu) } else { mass };
                predicted(given.map(for_yield))
            }),
        );
        if let Ok(bitterness) = middle(&self.plan.figures.bitterness())
            && bitterness > Bitterness::ibu(20.0)
        {
            self.warn(
                Stage::MainBoil,
                Level::Note,
                say![
                    bitterness.amount(),
                    " beside this much acid tastes harsh to most people; 5 to 15 is usual in sour beer."
                ],
            );
        }
    }

    pub(super) fn boil(&self, course: &Course) -> Result<BoilingWort, Unknown> {
        let (before, after) = (course.souring.sg().as_ratio(), course.after_boil.sg().as_ratio());
        let ph = match middle(&self.plan.figures.sour_ph()) {
            Ok(ph) => ph,
            Err(_) => value(self.batch, Field::SourPh)?,
        };
        Ok(BoilingWort {
            volume: course.after_boil.volume(ROOM),
            gravity: SpecificGravity::ratio((before + after) / 2.0),
            ph,
        })
    }
}
