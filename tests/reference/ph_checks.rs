//! Checks of water, carbonate, acids, mash, acid drop and souring.

use calc::brew::buffer::{BufferCurve, Step, Titration, charge_in_wort};
use calc::brew::kill::{KillError, hold_needed, reductions};
use calc::brew::mash::{MaltShare, Mash, acid_for};
use calc::brew::souring::{
    Conditions, Forecast, Target, cpm, ctmi, first_speed, forecast, lactic_formed, manganese_stock,
    titratable_acidity,
};
use calc::brew::titration::MaltBufferingEstimate;
use calc::brew::water::{Ion, advice};
use calc::chem::activity::activity_exponent;
use calc::chem::carbonate::{Carbonate, Constants, constants};
use calc::chem::water::Ions;
use calc::data::acids::{Acid, AcidKind};
use calc::data::cultures::Culture;
use calc::data::malts::MaltClass;
use calc::data::salts::Salt;
use calc::quantity::{
    Amount, Bitterness, CellDensity, ChargeConcentration, Concentration, Count, Dimension, Duration,
    Estimate, Fraction, MaltBuffering, Mass, MolarConcentration, Ph, PhDifference, Plato, Quantity,
    Temperature, Volume,
};

/// Water of the checks: at room temperature, its ions too few to matter.
const ROOM: Temperature = Temperature::celsius(20.0);

/// The value of a check, or `None` when this module does not know it or its inputs.
pub fn compute(check: &str, inputs: &[&str]) -> Option<f64> {
    let word = |place: usize| inputs.get(place).copied();
    let number = |place: usize| word(place)?.parse::<f64>().ok();
    let ph = |place| number(place).map(Ph::new);
    let one_gram = || salt(word(0)?).map(in_one_litre);
    let pk = |of: fn(Constants) -> Count| number(0).map(|t| of(constants(Temperature::celsius(t))).value());
    Some(match check {
        "salt_molar_mass" => salt(word(0)?)?.molar_mass().as_g_per_mol(),
        "ion_per_gram" if word(1)? == "potassium" => one_gram()?.potassium.as_mg_per_l(),
        "ion_per_gram" => ion(word(1)?)?.of(&one_gram()?).as_mg_per_l(),
        "alkalinity_per_gram" => one_gram()?.alkalinity.as_meq_per_l(),
        "alkalinity_in" => Amount::in_base(Dimension::Alkalinity, number(0)?)
            .in_unit(Dimension::Alkalinity.units().iter().find(|unit| Some(unit.key) == word(1))?),
        "hardness" => hard_water(number(0)?, number(1)?, 0.0).hardness().as_meq_per_l(),
        "residual_alkalinity_meq" => {
            hard_water(number(0)?, number(1)?, number(2)?).residual_alkalinity().as_meq_per_l()
        }
        "residual_alkalinity" => {
            as_calcium_carbonate(hard_water(number(0)?, number(1)?, number(2)?).residual_alkalinity())?
        }
        "taste_limit" => taste_limit(ion(word(0)?)?)?,

        "pk1" => pk(|k| k.pk1)?,
        "pk2" => pk(|k| k.pk2)?,
        "pkh" => pk(|k| k.pkh)?,
        "pkw" => pk(|k| k.pkw)?,
        "activity_coefficient" => {
            let charge = if number(0)? > 1.5 { 2 } else { 1 };
            let strength = MolarConcentration::mmol_per_l(number(1)?);
            10_f64.powf(activity_exponent(charge, strength, Temperature::celsius(number(2)?)).value())
        }
        "debye_hueckel_a" => {
            let strength = MolarConcentration::mmol_per_l(10.0);
            let exponent = activity_exponent(1, strength, Temperature::celsius(number(0)?)).value();
            -exponent / (0.1 / 1.1 - 0.003)
        }
        "carbon" => pure_carbonate().carbon(from_calcium_carbonate(number(0)?)?, ph(1)?).as_mmol_per_l(),
        "acid_for_water" => {
            pure_carbonate().acid_to(from_calcium_carbonate(number(0)?)?, ph(1)?, ph(2)?).as_meq_per_l()
        }

        "charge_per_mol" => acid_kind(word(0)?)?.charge_per_mol(ph(1)?).value(),
        "acid_molar_mass" => acid_kind(word(0)?)?.molar_mass().as_g_per_mol(),
        "density" => acid(word(0)?, number(1)?)?.density().as_kg_per_m3(),
        "charge_per_ml" => acid(word(0)?, number(1)?)?.equivalents_per_litre(ph(2)?).as_meq_per_l() / 1e3,
        "moles_per_litre" => {
            let acid = acid(word(0)?, number(1)?)?;
            // At any pH the charge of a litre is its moles times the charge of one.
            let ph = Ph::new(5.0);
            acid.equivalents_per_litre(ph).as_meq_per_l() / acid.kind.charge_per_mol(ph).value() / 1e3
        }

        "mash_ph" => {
            let mash = mash(from_calcium_carbonate(number(0)?)?, number(1)?, inputs.get(2..)?)?;
            mash.ph(&acid("lactic", 80.0)?, Volume::ZERO).ok()?.value.value()
        }
        "charge_to" => {
            mash(ChargeConcentration::ZERO, 0.0, inputs.get(1..)?)?.charge_to(ph(0)?).value.as_meq()
        }
        "acid_ml_to" => {
            let charge = mash(ChargeConcentration::ZERO, 0.0, inputs.get(3..)?)?.charge_to(ph(0)?);
            acid_for(charge, &acid(word(1)?, number(2)?)?, ph(0)?).value.as_millilitres()
        }
        "ph_per_charge" => {
            // One kilogram of malt in so many litres; pH moved by a charge of one mEq in each litre.
            let mash = mash_of(number(0)?, 0.0, 0.0, &format!("1*5.75*{}", word(1)?))?;
            let charge = |ph: f64| mash.charge_to(Ph::new(ph)).value.as_meq();
            number(0)? * 0.2 / (charge(5.65) - charge(5.85))
        }
        "ph_per_alkalinity" => {
            let ph = |alkalinity: f64| {
                plain_ph(&mash_of(number(0)?, alkalinity, 0.0, &format!("1*5.75*{}", word(1)?))?)
            };
            ph(1.0)? - ph(0.0)?
        }
        "acid_of_acidulated_malt" => {
            let row = MaltClass::Acidulated.data();
            row.buffering.value.as_meq_per_kg_ph() * (ph(0)? - row.mash_ph.value).as_units()
        }

        "growth_rate" => {
            let culture = culture(word(0)?)?;
            let fastest = culture.thermal().fastest_per_hour.value();
            fastest * ctmi(Temperature::celsius(number(1)?), culture).value()
        }
        "growth_by_ph" => cpm(ph(1)?, culture(word(0)?)?).value(),
        "lactic_formed" => lactic_formed(ph(1)?, ph(2)?, &curve(number(0)?)).value.as_g_per_l(),
        "titratable_acidity" => {
            let lactic = lactic_formed(ph(1)?, ph(2)?, &curve(number(0)?));
            titratable_acidity(lactic, Plato::degrees(number(0)?)).value.as_g_per_l_lactic()
        }
        "titratable_acidity_less_lactic" => {
            let lactic = Concentration::g_per_l(4.0);
            let whole = titratable_acidity(Estimate::exact(lactic), Plato::degrees(number(0)?));
            whole.value.as_g_per_l_lactic() - lactic.as_g_per_l()
        }
        "course_ph" => {
            let hours = number(4)?;
            let course = souring(inputs, 2.9)?.course;
            let after = course.iter().position(|point| point.at.as_hours() >= hours)?;
            let (a, b) = (course.get(after.checked_sub(1)?)?, course.get(after)?);
            let share = (hours - a.at.as_hours()) / (b.at - a.at).as_hours();
            a.value.value() + share * (b.value - a.value).as_units()
        }
        "hours_to_ph" => souring(inputs, number(4)?)?.to_target.ok()?.value.as_hours(),
        "least_ph" => culture(word(0)?)?.ph().least.value(),
        "growth_stops" => culture(word(0)?)?.wort_fit().growth_stops_mmol_per_l.value(),
        "manganese_stock" => {
            let (in_wort, stock) = (Concentration::mg_per_l(number(1)?), Concentration::g_per_l(number(2)?));
            manganese_stock(Volume::litres(number(0)?), in_wort, stock).ok()?.as_millilitres()
        }

        // At a temperature and after minutes: the middle, the hardiest, the weakest strain.
        "kill" => killed(inputs).ok()?.value.value(),
        "kill_least" => killed(inputs).ok()?.low.value(),
        "kill_most" => killed(inputs).ok()?.high.value(),
        "hold" => hold_needed(Temperature::celsius(number(0)?)).ok()?.high.as_minutes(),

        "buffering_from_lactic" => {
            // The lactic acid of one litre in one dose, when hardly anything is known of the wort.
            let unknown = Estimate::normal(Count::of(1.0), 3.0);
            let acid = lactic_of(number(2)?);
            let step = Step { acid, read: Some(ph(1)?) };
            let start = Estimate::normal(ph(0)?, 0.001);
            let meter = PhDifference::units(0.001);
            let prior = BufferCurve::prior(Plato::degrees(10.7), unknown);
            let curve = prior.updated(start, &[step], AcidKind::Lactic, meter);
            // Groups alone, as a mean over the span.
            let water = BufferCurve::prior(Plato::degrees(0.0), unknown).demand(ph(0)?, ph(1)?).value;
            let groups = curve.demand(ph(0)?, ph(1)?).value - water;
            groups.as_meq_per_l() / (ph(0)? - ph(1)?).as_units()
        }
        "wort_capacity_per_plato" => {
            let groups = curve(10.0).demand(ph(0)?, ph(1)?).value - curve(0.0).demand(ph(0)?, ph(1)?).value;
            groups.as_meq_per_l() / (ph(0)? - ph(1)?).as_units() / 10.0
        }
        "wort_capacity_spread" => curve(10.0).scale().deviation(),
        "wort_acidity" => {
            let base = -curve(number(0)?).demand(ph(1)?, ph(2)?).value.as_meq_per_l();
            base * AcidKind::Lactic.molar_mass().as_g_per_mol() / 1e3
        }
        "pka_in_wort" => {
            // Where half of an acid with one proton has given it.
            let kind = acid_kind(word(0)?)?;
            let charge = charge_in_wort(kind, Ph::new(4.0)).value();
            4.0 - (charge / (1.0 - charge)).log10()
        }
        "calcium_drop" => {
            // A kilogram of malt whose mash has pH 5.74, in so many litres.
            let malt = format!("1*5.74*{}", word(2)?);
            let ph = |calcium: f64| plain_ph(&mash_of(number(1)?, 0.0, calcium, &malt)?);
            ph(0.0)? - ph(number(0)?)?
        }
        "lactic_needed" => lactic_needed(number(0)?, ph(1)?, ph(2)?)?,
        _ => return None,
    })
}

/// The word of a choice as saved batches spell it.
fn chosen<T: Copy + std::fmt::Debug>(all: &[T], word: &str) -> Option<T> {
    let plain = |text: &str| text.to_lowercase().replace('_', "");
    all.iter().copied().find(|one| plain(&format!("{one:?}")) == plain(word))
}

fn salt(word: &str) -> Option<Salt> {
    chosen(Salt::ALL, word)
}

fn ion(word: &str) -> Option<Ion> {
    chosen(Ion::ALL, word)
}

fn acid_kind(word: &str) -> Option<AcidKind> {
    chosen(AcidKind::ALL, word)
}

fn acid(word: &str, percent: f64) -> Option<Acid> {
    Some(Acid { kind: acid_kind(word)?, strength: Fraction::percent(percent) })
}

fn in_one_litre(salt: Salt) -> Ions {
    Ions::default().with_salt(salt, Mass::grams(1.0), Volume::litres(1.0))
}

fn calcium_carbonate() -> Option<&'static calc::quantity::Unit> {
    Dimension::Alkalinity.units().iter().find(|unit| unit.key == "mg_per_l_caco3")
}

fn from_calcium_carbonate(mg_per_l: f64) -> Option<ChargeConcentration> {
    Some(Amount::from_unit(Dimension::Alkalinity, calcium_carbonate()?, mg_per_l).typed())
}

fn as_calcium_carbonate(alkalinity: ChargeConcentration) -> Option<f64> {
    Some(alkalinity.amount().in_unit(calcium_carbonate()?))
}

/// Calcium and magnesium in mg/L, alkalinity in mg/L as calcium carbonate.
fn hard_water(calcium: f64, magnesium: f64, alkalinity: f64) -> Ions {
    Ions {
        calcium: Concentration::mg_per_l(calcium),
        magnesium: Concentration::mg_per_l(magnesium),
        alkalinity: from_calcium_carbonate(alkalinity).unwrap_or_default(),
        ..Ions::default()
    }
}

/// Where advice about an ion begins, by a water far above it.
fn taste_limit(ion: Ion) -> Option<f64> {
    let much = Concentration::g_per_l(10.0);
    let water = Ions { sodium: much, chloride: much, sulfate: much, ..Ions::default() };
    advice(&water).find(|advice| advice.ion == ion).map(|advice| advice.limit.as_mg_per_l())
}

fn pure_carbonate() -> Carbonate {
    Carbonate::new(ROOM, MolarConcentration::ZERO)
}

/// A malt written as kilograms*pH*buffering, or with *curvature after them.
fn malt(text: &str) -> Option<MaltShare> {
    let mut numbers = text.split('*').map(|part| part.trim().parse::<f64>().ok());
    let (kilograms, ph, buffering) = (numbers.next()??, numbers.next()??, numbers.next()??);
    let exact = |b: f64| Estimate::exact(MaltBuffering::meq_per_kg_ph(b));
    let malt = MaltBufferingEstimate {
        mash_ph: Estimate::exact(Ph::new(ph)),
        buffering: exact(buffering),
        curvature: exact(numbers.next().flatten().unwrap_or(0.0)),
    };
    Some(MaltShare { mass: Mass::kilograms(kilograms), malt })
}

/// A mash of one malt in so many litres of water of this alkalinity in mEq/L and calcium in mg/L.
fn mash_of(litres: f64, alkalinity: f64, calcium: f64, text: &str) -> Option<Mash> {
    let alkalinity = ChargeConcentration::meq_per_l(alkalinity);
    let water = Ions { alkalinity, ..hard_water(calcium, 0.0, 0.0) };
    Mash::new(&[malt(text)?], water, Ph::new(7.5), Volume::litres(litres)).ok()
}

fn plain_ph(mash: &Mash) -> Option<f64> {
    Some(mash.ph(&acid("lactic", 80.0)?, Volume::ZERO).ok()?.value.value())
}

/// A mash in 20 L of water of this alkalinity and calcium in mg/L.
fn mash(alkalinity: ChargeConcentration, calcium: f64, malts: &[&str]) -> Option<Mash> {
    let malts: Vec<MaltShare> = malts.iter().map(|text| malt(text)).collect::<Option<_>>()?;
    let water = Ions { alkalinity, ..hard_water(calcium, 0.0, 0.0) };
    Mash::new(&malts, water, Ph::new(7.0), Volume::litres(20.0)).ok()
}

fn culture(word: &str) -> Option<Culture> {
    chosen(Culture::ALL, word)
}

/// Powers of ten by which bacteria are down; inputs: degrees Celsius; minutes.
fn killed(inputs: &[&str]) -> Result<Estimate<Count>, KillError> {
    let number = |place: usize| inputs.get(place).and_then(|text| text.parse().ok()).unwrap_or(0.0);
    reductions(Temperature::celsius(number(0)), Duration::minutes(number(1)))
}

/// Inputs: culture; degrees Plato; pH at the start; temperature.
fn souring(inputs: &[&str], target: f64) -> Option<Forecast> {
    let number = |place: usize| inputs.get(place)?.parse::<f64>().ok();
    let gravity = Plato::degrees(number(1)?);
    let cells = CellDensity::millions_per_ml(10.0);
    let conditions = Conditions {
        start_ph: Ph::new(number(2)?),
        curve: &curve(number(1)?),
        gravity,
        lactic_before: Concentration::ZERO,
        acidity_before: titratable_acidity(Estimate::exact(Concentration::ZERO), gravity),
        temperature: Temperature::celsius(number(3)?),
        temperatures: &[],
        culture: culture(inputs.first()?)?,
        cells: Estimate { value: cells, low: cells * 0.5, high: cells * 2.0 },
        bitterness: Bitterness::ZERO,
        speed: first_speed(),
        meter_error: PhDifference::units(0.03),
    };
    Some(forecast(&conditions, Target::Ph(Ph::new(target)), &[]))
}

/// What is expected of wort of this gravity in degrees Plato.
fn curve(gravity: f64) -> BufferCurve {
    BufferCurve::prior(Plato::degrees(gravity), Estimate::exact(Count::of(1.0)))
}

/// So many grams of lactic acid in a litre.
fn lactic_of(grams: f64) -> MolarConcentration {
    MolarConcentration::mmol_per_l(1e3 * grams / AcidKind::Lactic.molar_mass().as_g_per_mol())
}

/// Grams of lactic acid that bring a litre of wort from one pH to another.
fn lactic_needed(gravity: f64, from: Ph, to: Ph) -> Option<f64> {
    let meter = PhDifference::units(0.03);
    let titration = Titration::new(&curve(gravity), Estimate::exact(from), &[], AcidKind::Lactic, meter);
    Some(titration.to_go(to).value / lactic_of(1.0))
}
