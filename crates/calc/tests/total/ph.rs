//! Water, acid and souring: whatever finite numbers go in, an answer or an error comes out: never
//! NaN, never an infinity.

use crate::{number, sound};
use calc::brew::buffer::{BufferCurve, Step, Titration};
use calc::brew::drop::{after_overshoot, ladder};
use calc::brew::kill::{hold_needed, reductions};
use calc::brew::mash::{MaltShare, Mash, MashReading, acid_for, acidulated_malt_for, worth};
use calc::brew::souring::{Conditions, Target, cpm, ctmi, forecast, lactic_formed, titratable_acidity};
use calc::brew::titration::{MaltBufferingEstimate, TitrationPoint, titrated};
use calc::brew::water::{Finish, Goal, SaltAtHand, SaltQuestion, advice, salts, split};
use calc::chem::activity::activity_exponent;
use calc::chem::carbonate::{Carbonate, constants};
use calc::chem::water::Ions;
use calc::data::acids::{Acid, AcidKind};
use calc::data::cultures::Culture;
use calc::data::malts::MaltClass;
use calc::data::salts::Salt;
use calc::quantity::*;
use proptest::prelude::*;

fn band<Q: Quantity>(value: Q, deviation: f64) -> Estimate<Q> {
    Estimate::normal(value, deviation)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn every_answer_about_ph_is_finite(
        a in number(), b in number(), c in number(), d in number(), e in number(), f in number(), g in number(),
        kind in 0..AcidKind::ALL.len(), finish in 0..Finish::ALL.len(), culture in 0..Culture::ALL.len(),
    ) {
        let mg = Concentration::mg_per_l;
        let ions = Ions {
            calcium: mg(a), magnesium: mg(b), sodium: mg(c), potassium: mg(d), chloride: mg(e), sulfate: mg(f),
            alkalinity: ChargeConcentration::meq_per_l(g),
        };
        let at = Temperature::celsius(a);
        let strength = MolarConcentration::mmol_per_l(b);
        sound("ions", (ions.cations(), ions.anions(), ions.residual_alkalinity(), ions.ionic_strength()))?;
        sound("blended", ions.blended(Fraction::of_one(a), &Ions::default()))?;
        sound("activity", activity_exponent(2, strength, at))?;
        sound("constants", constants(at))?;
        let carbonate = Carbonate::new(at, strength);
        sound("carbon", carbonate.carbon(ions.alkalinity, Ph::new(c)))?;
        sound("acid_to", carbonate.acid_to(ions.alkalinity, Ph::new(c), Ph::new(d)))?;

        let acid = Acid { kind: AcidKind::ALL[kind], strength: Fraction::of_one(e) };
        let (ph, other) = (Ph::new(a), Ph::new(b));
        sound("charge", (acid.kind.charge_per_mol(ph), acid.density(), acid.equivalents_per_litre(ph)))?;
        sound("volume_for", acid.volume_for(Charge::meq(c), ph))?;

        // Some of the salts, with odd shares, amounts and maxima, for ranges that nobody would ask for.
        let mut at_hand: Vec<SaltAtHand> =
            Salt::ALL.iter().skip(2 * kind).take(6).map(|&salt| SaltAtHand::usual(salt)).collect();
        at_hand[0] = SaltAtHand { purity: Fraction::of_one(d), locked: Some(Mass::grams(e)), ..at_hand[0] };
        at_hand[1].most = Some(Mass::grams(f));
        let odd = [(mg(c), mg(d)), (mg(e), mg(f)), (mg(g), mg(a)), (mg(b), mg(b)), (mg(f), mg(c))];
        let goal = if culture == 0 { Finish::ALL[finish].goal() } else { Goal { ranges: odd } };
        let question =
            SaltQuestion { goal, water: ions, volume: Volume::litres(a), salts: at_hand, step: Mass::grams(b) };
        let answer = salts(&question);
        sound("salts", &answer)?;
        sound("split", split(&answer.best, Fraction::of_one(c), question.step))?;
        sound("advice", advice(&ions).collect::<Vec<_>>())?;

        let meter = PhDifference::units(f);
        let points = [
            TitrationPoint { charge_per_kilogram: Charge::meq(a), read: ph },
            TitrationPoint { charge_per_kilogram: Charge::meq(b), read: other },
        ];
        sound("point", TitrationPoint::measured(&acid, Volume::litres(c), Mass::grams(d), ph))?;
        for class in [MaltClass::Pilsner, MaltClass::RiceHulls] {
            sound("titrated", titrated(class, Some(other), &points, meter))?;
        }
        let buffering = |b: f64, deviation: f64| band(MaltBuffering::meq_per_kg_ph(b), deviation);
        let malt = MaltShare {
            mass: Mass::grams(a),
            malt: MaltBufferingEstimate { mash_ph: band(Ph::new(b), c), buffering: buffering(d, e), curvature: buffering(f, g) },
        };
        let mash = Mash::new(&[malt, malt], ions, ph, Volume::litres(f));
        sound("mash", mash)?;
        if let Ok(mash) = mash {
            let stirred_in = Charge::meq(c);
            let readings = [MashReading { stirred_in, read: ph }, MashReading { stirred_in, read: other }];
            let prior = mash.alkalinity_within(ChargeConcentration::meq_per_l(d)).with_prior(band(PhDifference::units(e), f));
            for mash in [mash, prior, prior.after_readings(&readings, meter)] {
                sound("mash ph", mash.ph(&acid, Volume::litres(g)))?;
                sound("course", mash.course(&acid, Volume::litres(g), 5))?;
                let charge = mash.charge_to(other);
                sound("charge_to", (charge, mash.correction(other, stirred_in), mash.shift()))?;
                sound("correct", (acid_for(charge, &acid, other), acidulated_malt_for(charge, other)))?;
                for salt in Salt::ALL {
                    sound("base", mash.base_for(charge, *salt, other))?;
                }
            }
        }
        sound("worth", worth(ph, other, meter, Duration::minutes(a), Duration::minutes(b)))?;

        let factor = band(Count::of(c), d);
        let wort = Volume::litres(g);
        let curve = BufferCurve::prior(Plato::degrees(b), factor);
        let steps = [Step { acid: MolarConcentration::mmol_per_l(c), read: Some(other) }];
        let titration = Titration::new(&curve, band(ph, f), &steps, acid.kind, meter);
        sound("ladder", ladder(&titration, other, wort, &acid, meter))?;
        sound("overshoot", after_overshoot(&titration, other, wort))?;

        let culture = Culture::ALL[culture];
        sound("rates", (ctmi(at, culture), cpm(ph, culture)))?;
        let lactic = lactic_formed(ph, other, &curve);
        sound("lactic", lactic)?;
        let acidity = titratable_acidity(lactic, Plato::degrees(b));
        sound("acidity", acidity)?;
        let conditions = Conditions {
            start_ph: ph, curve: &curve, gravity: Plato::degrees(b), lactic_before: mg(f), acidity_before: acidity,
            temperature: at, temperatures: &[(Duration::minutes(d), Temperature::celsius(e))], culture,
            cells: band(CellDensity::millions_per_ml(c), d), bitterness: Bitterness::ibu(e), speed: factor,
            meter_error: meter,
        };
        let readings = [(Duration::minutes(e * 10.0), Ph::new(f)), (Duration::minutes(g * 10.0), Ph::new(d))];
        sound("forecast", forecast(&conditions, Target::Ph(other), &readings))?;
        sound("kill", (hold_needed(at), reductions(at, Duration::minutes(b))))?;
    }
}
