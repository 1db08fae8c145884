//! The hot side: bitterness along the day's temperatures, chilling, corrections of the wort.

use super::*;

impl Maker<'_> {
    pub(super) fn early_hops(&mut self) {
        let main: Option<Duration> = self.batch.value(Field::MainBoil);
        let long = |hop: &Hop| {
            hop.time == HopTime::Boil
                && hop.numbers.minutes().zip(main).is_some_and(|(minutes, main)| minutes > main)
        };
        let early = |hop: &Hop| {
            hop.time == HopTime::BeforeSouring && hop.numbers.mass().is_some_and(|mass| mass > Mass::ZERO)
        };
        if self.batch.hops.iter().any(long) {
            self.warn(
                Stage::MainBoil,
                Level::Caution,
                say!["A hop charge is to boil longer than the main boil lasts. It must not go in before the bacteria have finished: they bear almost no hop."],
            );
        }
        if self.batch.hops.iter().any(early) {
            self.warn(
                Stage::FirstBoil,
                Level::Caution,
                say!["Hops before the bacteria slow or stop them. Keep them for the main boil."],
            );
        }
    }

    /// How warm the wort is from mash-out to the fermenter, and when the hops go in.
    pub(super) fn hot_side(&mut self, course: &Course) -> Result<Hot, Unknown> {
        let batch = self.batch;
        let outside = Unknown::OutsideModel(Stage::MainBoil);
        let boils_at = middle(&self.plan.figures.boiling_point())?;
        let mash_out: Temperature = value(batch, Field::MashOut)?;
        let souring: Temperature = value(batch, Field::SourTemperature)?;
        let first: Duration = value(batch, Field::ClearBoil)?;
        let main: Duration = value(batch, Field::MainBoil)?;
        let stand: Duration = value(batch, Field::Stand)?;
        let pitch: Temperature = value(batch, Field::FermentTemperature)?;
        let heater = self.heater()?;
        let (sour, end) = (self.in_kettle(&course.souring)?, self.in_kettle(&course.after_boil)?);
        let coil = self.coil()?;
        // Cooled with the coil in both cases: plates come after the boil.
        let tap: Temperature = value(batch, Field::Tap)?;
        let cooling = coil.chill(&sour, boils_at, souring.max(tap + TemperatureDifference::kelvin(1.0)));
        let rise = |body: &Body, from: Temperature| heater.time(body, from, boils_at).map_err(|_| outside);
        let runoff = self.in_kettle(&course.runoff)?;
        let mut legs = vec![
            Leg { time: rise(&runoff, mash_out)?, from: mash_out, to: boils_at, toward: None },
            Leg::steady(boils_at, first),
        ];
        if let Ok(cooling) = cooling {
            legs.push(Leg { time: cooling.time, from: boils_at, to: cooling.end, toward: Some(tap) });
        }
        let soured_from = legs.iter().map(|leg| leg.time).sum();
        // The days in between are too cool to count; they only part the two halves of the day.
        legs.push(Leg { time: rise(&sour, souring)?, from: souring, to: boils_at, toward: None });
        let heat_up = soured_from;
        let boil = heat_up + legs.last().map_or(Duration::ZERO, |leg| leg.time);
        legs.push(Leg::steady(boils_at, main));
        let mut now = boils_at;
        if stand > Duration::ZERO {
            let room = heater.room;
            let cooled = heater.cooled(&end, boils_at, stand).map_err(|_| outside)?;
            legs.push(Leg { time: stand, from: boils_at, to: cooled, toward: Some(room) });
            now = cooled;
        }
        let chilling = match batch.choices.chiller {
            Chiller::Coil => coil.chill(&end, now, pitch).ok().inspect(|chill| {
                legs.push(Leg { time: chill.time, from: now, to: chill.end, toward: Some(tap) });
            }),
            // Half of the wort has left the hot kettle after half of the time.
            Chiller::Plates => {
                self.plates()?.chill(course.after_boil.volume(ROOM), now).ok().inspect(|chill| {
                    legs.push(Leg::steady(now, chill.time * 0.5));
                })
            }
        };
        let chilled = chilling.ok_or(outside);
        // Plates chill in the time that the wort takes to pass.
        let band = match batch.choices.chiller {
            Chiller::Coil => {
                let (share, spread) = self.habit::<Fraction>(HouseNumber::Chilling, Field::Chilling)?;
                (spread / share.as_of_one()).min(0.5)
            }
            Chiller::Plates => 0.2,
        };
        let figures = self.figures();
        figures
            .set(key::chill_time, chilled.and_then(|chill| predicted(Estimate::relative(chill.time, band))));
        figures.set(
            key::chill_water,
            chilled.and_then(|chill| predicted(Estimate::relative(chill.water, band))),
        );
        if chilling.is_none_or(|chill| chill.end > pitch + TemperatureDifference::kelvin(0.5)) {
            self.warn(
                Stage::MainBoil,
                Level::Caution,
                say![
                    "The cooling water at ",
                    tap.amount(),
                    " does not bring the wort to ",
                    pitch.amount(),
                    ". Chill as far as it goes, then cool the closed fermenter in the cold before pitching."
                ],
            );
        }
        let end_of_boil = boil + main;
        let kept: Fraction = value(batch, Field::IsoKept)?;
        let all = course.souring.volume(ROOM) + course.set_aside.volume(ROOM);
        let charges = batch.hops.iter().enumerate().map(|(place, hop)| {
            let slot = |field| Slot::Hop(place, field).effective(batch).ok_or(Unknown::Empty(field.spec()));
            let mass: Mass = hop.numbers.mass().ok_or(Unknown::Empty(HopField::Mass.spec()))?;
            let alpha: Fraction = slot(HopField::Alpha)?.typed();
            let left = alpha_left(slot(HopField::Age)?.typed(), slot(HopField::Kept)?.typed())
                .map_err(|_| outside)?;
            let minutes = hop.numbers.minutes().unwrap_or(main).min(main);
            let (at, share) = match hop.time {
                HopTime::BeforeSouring => {
                    (legs.first().map_or(Duration::ZERO, |leg| leg.time), course.souring.volume(ROOM) / all)
                }
                HopTime::FirstWort => (heat_up, 1.0),
                HopTime::Boil => (end_of_boil - minutes, 1.0),
                HopTime::Stand => (end_of_boil, 1.0),
                HopTime::Cold => (Duration::hours(1e5), 1.0),
            };
            // What goes into the wort that is set aside never reaches the beer.
            Ok(HopCharge { mass: mass * share, alpha: alpha * left.value, form: hop.form, at })
        });
        Ok(Hot {
            charges: charges.collect::<Result<_, Unknown>>()?,
            legs,
            volume: course.after_boil.volume(ROOM),
            ph: match middle(&self.plan.figures.sour_ph()) {
                Ok(ph) => ph,
                Err(_) => value(batch, Field::SourPh)?,
            },
            kept: Estimate::relative(kept, 0.09),
            soured_from,
        })
    }

    /// Bitterness of the wort when the bacteria go in.
    pub(super) fn before_souring(hot: &Hot) -> Bitterness {
        if hot.charges.iter().all(|charge| charge.at >= hot.soured_from) {
            return Bitterness::ZERO;
        }
        let mut end = Duration::ZERO;
        let legs: Vec<Leg> = hot
            .legs
            .iter()
            .copied()
            .take_while(|leg| {
                end += leg.time;
                end <= hot.soured_from
            })
            .collect();
        // Nothing is lost to yeast yet, and the wort is not sour.
        let side =
            HotSide { legs: &legs, ph: Ph::new(5.2), kept: Estimate::exact(Fraction::ALL), ..hot.side() };
        side.bitterness(&hot.charges).map_or(Bitterness::ZERO, |(total, _)| total.value)
    }

    fn coil(&self) -> Result<Coil, Unknown> {
        Ok(Coil {
            flow: value(self.batch, Field::CoolingFlow)?,
            water: value(self.batch, Field::Tap)?,
            effectiveness: value(self.batch, Field::Chilling)?,
        })
    }

    fn plates(&self) -> Result<Plates, Unknown> {
        Ok(Plates {
            wort: value(self.batch, Field::ChillerFlow)?,
            flow: value(self.batch, Field::CoolingFlow)?,
            water: value(self.batch, Field::Tap)?,
            effectiveness: value(self.batch, Field::PlateCooling)?,
        })
    }

    /// What the chill of this batch says of the coil.
    pub(super) fn learned_chill(&self, course: &Course, hot: &Hot) -> Option<Fraction> {
        let took: Duration = self.batch.readings.last(ReadingKind::ChillTime)?.value.typed();
        // After a stand the wort is no longer at the boil.
        let from = hot.legs.last()?.from;
        let to: Temperature = self.batch.value(Field::FermentTemperature)?;
        if self.batch.choices.chiller != Chiller::Coil {
            return None;
        }
        self.coil().ok()?.learned(&self.in_kettle(&course.after_boil).ok()?, from, to, took).ok()
    }

    pub(super) fn main_boil(&mut self, course: &Course, hot: Result<Hot, Unknown>) {
        let outside = Unknown::OutsideModel(Stage::MainBoil);
        self.plan.chilling = hot.as_ref().ok().and_then(|hot| self.learned_chill(course, hot));
        let told = hot.as_ref().map_err(|unknown| *unknown).and_then(|hot| {
            let (total, each) = hot.side().bitterness(&hot.charges).map_err(|_| outside)?;
            let (before, after) = (course.souring.sg().as_ratio(), course.after_boil.sg().as_ratio());
            let gravity = SpecificGravity::ratio((before + after) / 2.0);
            let formula =
                |formula| hot.side().by_formula(&hot.charges, gravity, formula).map_err(|_| outside);
            Ok((total, each, formula(tinseth)?, formula(rager)?))
        });
        let wanted = self.batch.numbers.wanted_bitterness().ok_or(Unknown::NotUsed);
        let hop_mass = wanted.and_then(|wanted| {
            let hot = hot.as_ref().map_err(|unknown| *unknown)?;
            if hot.charges.is_empty() {
                return Err(Unknown::NotUsed);
            }
            predicted(hot.side().hops_for(wanted, &hot.charges).map_err(|_| outside)?)
        });
        let part = |known: Result<Estimate<Bitterness>, Unknown>| known.and_then(predicted);
        let known = told.as_ref().map_err(|unknown| *unknown);
        let figures = self.figures();
        figures.set(key::bitterness, part(known.map(|told| told.0)));
        figures.set(key::tinseth_bitterness, part(known.map(|told| Estimate::exact(told.2))));
        figures.set(key::rager_bitterness, part(known.map(|told| Estimate::exact(told.3))));
        figures.set(key::hop_mass, hop_mass);
        if let Ok((total, each, ..)) = told {
            self.plan.hops = each;
            if total.value > HARSH {
                self.warn(
                    Stage::MainBoil,
                    Level::Note,
                    say![
                        total.value.amount(),
                        " beside this much acid tastes harsh to most people; 5 to 15 is usual in sour beer."
                    ],
                );
            }
        }
        self.plan.hot = hot.ok();
        self.fixes(course);
    }

    /// What to do when the gravity is off, once it was read.
    fn fixes(&mut self, course: &Course) {
        let batch = self.batch;
        let read = |kind| batch.readings.last(kind).is_some();
        let after = read(ReadingKind::OriginalGravity);
        let before = read(ReadingKind::PreBoilVolume)
            && (read(ReadingKind::PreBoilGravity) || read(ReadingKind::PreBoilBrix));
        let (Some(wanted), Some(main), Some(rate)) = (
            batch.value::<Plato>(Field::WantedGravity),
            batch.value::<Duration>(Field::MainBoil),
            batch.value::<VolumeRate>(Field::Evaporation),
        ) else {
            return;
        };
        // Before the boils the wort to be set aside is still in the kettle, and takes its part of what is added.
        let (now, boil, share) = if after {
            (course.after_boil, Duration::ZERO, 1.0)
        } else if before {
            (course.souring, main, (course.souring + course.set_aside).mass() / course.souring.mass())
        } else {
            return;
        };
        let Ok(ways) = corrections(&now, boil, rate, wanted) else { return };
        self.plan.fixes = ways.iter().map(|way| self.fix_words(way, wanted, share)).collect();
    }

    fn fix_words(&self, way: &WortCorrection, wanted: Plato, share: f64) -> Sentence {
        let volume = way.result.volume(ROOM).amount();
        match way.fix {
            Fix::Leave => {
                let alcohol = |original: Plato| {
                    let end = original.as_degrees()
                        * self.attenuation().map_or(0.22, |a| a.value.rest().as_of_one());
                    fermented_after_souring(original, Plato::degrees(end), Fraction::ZERO)
                        .map_or(0.0, |beer| beer.alcohol.as_of_one())
                };
                let off = (alcohol(way.result.plato()) - alcohol(wanted)).abs();
                say![
                    "Leave it: the wort ends at ",
                    way.result.plato().amount(),
                    ", which is ",
                    AlcoholByVolume::of_one(off).amount(),
                    " of alcohol off."
                ]
            }
            Fix::BoilOn(time) => say!["Boil ", time.amount(), " longer: ", volume, " are left."],
            Fix::Dilute(water) => {
                say!["Add ", (water * share).amount(), " of boiled water: ", volume, " in the end."]
            }
            Fix::MaltExtract(mass) => {
                say!["Stir in ", (mass * share).amount(), " of dry malt extract: ", volume, " in the end."]
            }
            Fix::Sugar(mass) => say![
                "Or ",
                (mass * share).amount(),
                " of table sugar, which thins the body: ",
                volume,
                " in the end."
            ],
        }
    }
}
