//! What the souring forecast promises.
#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use calc::brew::buffer::BufferCurve;
use calc::brew::souring::*;
use calc::data::cultures::{Culture, Form};
use calc::quantity::*;
use proptest::prelude::*;

/// A batch: what the tests vary, the rest as usual.
#[derive(Clone, Debug)]
struct House {
    culture: Culture,
    start: f64,
    celsius: f64,
    plato: f64,
    buffering: f64,
    cells: f64,
    bitterness: f64,
    temperatures: Vec<(f64, f64)>,
}

impl Default for House {
    fn default() -> Self {
        Self {
            culture: Culture::LPlantarum,
            start: 4.5,
            celsius: 24.0,
            plato: 10.7,
            buffering: 1.0,
            cells: 10.0,
            bitterness: 0.0,
            temperatures: Vec::new(),
        }
    }
}

impl House {
    fn toward(&self, target: Target, readings: &[(f64, f64)]) -> Forecast {
        let gravity = Plato::degrees(self.plato);
        let factor = Count::of(self.buffering);
        let curve = BufferCurve::prior(gravity, Estimate::relative(factor, 0.19));
        let temperatures: Vec<_> = self
            .temperatures
            .iter()
            .map(|(at, celsius)| (Duration::hours(*at), Temperature::celsius(*celsius)))
            .collect();
        let cells = CellDensity::millions_per_ml(self.cells);
        let conditions = Conditions {
            start_ph: Ph::new(self.start),
            curve: &curve,
            gravity,
            lactic_before: Concentration::ZERO,
            acidity_before: titratable_acidity(Estimate::exact(Concentration::ZERO), gravity),
            temperature: Temperature::celsius(self.celsius),
            temperatures: &temperatures,
            culture: self.culture,
            cells: Estimate { value: cells, low: cells * 0.5, high: cells * 2.0 },
            bitterness: Bitterness::ibu(self.bitterness),
            speed: first_speed(),
            meter_error: PhDifference::units(0.03),
        };
        let readings: Vec<_> = readings.iter().map(|(at, ph)| (Duration::hours(*at), Ph::new(*ph))).collect();
        forecast(&conditions, target, &readings)
    }
    fn to(&self, ph: f64, readings: &[(f64, f64)]) -> Forecast {
        self.toward(Target::Ph(Ph::new(ph)), readings)
    }
    /// Median hours to a pH before any reading; infinite when it never gets there.
    fn hours(&self, ph: f64) -> f64 {
        self.to(ph, &[]).to_target.map_or(f64::INFINITY, |time| time.value.as_hours())
    }
}

fn hours(time: Estimate<Duration>) -> [f64; 3] {
    [time.low, time.value, time.high].map(Duration::as_hours)
}

/// The median course at some hours.
fn median_at(course: &[CurvePoint], hours: f64) -> f64 {
    let after = course.iter().position(|point| point.at.as_hours() >= hours).unwrap().max(1);
    let (a, b) = (course[after - 1], course[after]);
    let share = (hours - a.at.as_hours()) / (b.at - a.at).as_hours();
    a.value.value() + share * (b.value - a.value).as_units()
}

#[test]
fn the_usual_batch_takes_one_and_a_half_to_four_days() {
    let told = House::default().to(3.4, &[]);
    let [low, value, high] = hours(told.to_target.unwrap());
    assert!((36.0..=96.0).contains(&value), "{value}");
    assert!(low < 0.7 * value && high > 1.5 * value, "{low} {value} {high}");
    assert!(told.alarms.is_empty() && told.speed_seen.is_none(), "{:?}", told.alarms);
    assert!(told.chance.as_of_one() > 0.9);
    let acidity = told.acidity_then.value.as_g_per_l_lactic();
    assert!((4.0..7.0).contains(&acidity), "{acidity}");
}

#[test]
fn readings_of_a_slow_batch_move_the_forecast_and_narrow_it() {
    let house = House::default();
    let before = house.to(3.4, &[]);
    let late = |h: f64| (h, median_at(&before.course, 0.6 * h));
    let after = house.to(3.4, &[late(12.0), late(30.0), late(45.0), late(60.0)]);
    let (b, a) = (hours(before.to_target.unwrap()), hours(after.to_target.unwrap()));
    assert!(a[1] > 1.25 * b[1] && a[1] < 2.2 * b[1], "{a:?} {b:?}");
    assert!(a[2] / a[0] < 0.7 * (b[2] / b[0]), "{a:?} {b:?}");
    let seen = after.speed_seen.unwrap();
    assert!(seen.value < Count::of(0.9) && after.speed.value < Count::of(0.9), "{seen:?}");
    assert!(after.speed.low >= seen.low, "the prior can only add: {:?} {seen:?}", after.speed);
}

#[test]
fn wort_that_does_not_move_is_told_so() {
    let house = House { celsius: 30.0, ..House::default() };
    let dead = house.to(3.4, &[(8.0, 4.5), (24.0, 4.49), (40.0, 4.5)]);
    assert!(dead.alarms.contains(&Alarm::WeakPitch), "{:?}", dead.alarms);
    assert!(!dead.alarms.contains(&Alarm::Stalled), "{:?}", dead.alarms);
    assert!(!dead.alarms.contains(&Alarm::Hops));
    let bitter = House { bitterness: 6.0, ..house.clone() }.to(3.4, &[(8.0, 4.5), (24.0, 4.49), (40.0, 4.5)]);
    assert!(bitter.alarms.contains(&Alarm::Hops) && !bitter.alarms.contains(&Alarm::WeakPitch));
    assert!(House { bitterness: 20.0, ..house }.to(3.4, &[]).alarms.contains(&Alarm::Hops));
    let high = House { start: 5.2, ..House::default() };
    let warned = high.to(3.4, &[(10.0, 5.15), (25.0, 4.9)]);
    assert!(warned.alarms.contains(&Alarm::AboveSafePh));
    assert!(
        House { start: 5.2, celsius: 18.0, ..House::default() }
            .to(3.4, &[])
            .alarms
            .contains(&Alarm::SlowToSafePh)
    );
}

#[test]
fn a_course_that_stands_still_half_way_is_a_stall() {
    let house = House::default();
    assert!(house.to(3.4, &[(24.0, 4.2), (36.0, 3.9), (60.0, 3.89)]).alarms.contains(&Alarm::Stalled));
    assert!(house.to(3.3, &[(24.0, 4.2), (36.0, 3.9), (60.0, 3.5)]).alarms.is_empty());
}

#[test]
fn a_ph_that_rises_or_plunges_is_the_meters() {
    let house = House::default();
    let drifts = |last: f64| {
        house.to(3.3, &[(20.0, 4.3), (30.0, 4.05), (34.0, last)]).alarms.contains(&Alarm::MeterDrift)
    };
    assert!(drifts(4.3) && drifts(3.35));
    assert!(!drifts(3.95) && !drifts(4.08));
}

#[test]
fn hot_and_cold_are_told_apart() {
    let at = |celsius: f64| House { celsius, ..House::default() }.to(3.4, &[]);
    assert!(matches!(at(42.0).to_target, Err(SouringError::TooHot { .. })));
    assert!(matches!(at(1.0).to_target, Err(SouringError::TooCold { .. })));
    assert!(at(40.0).alarms.contains(&Alarm::TooHot));
    assert!(at(11.0).alarms.contains(&Alarm::TooCold));
    assert!(at(36.0).alarms.is_empty());
}

#[test]
fn says_why_it_never_gets_there() {
    let brevis = House { culture: Culture::LBrevis, celsius: 30.0, ..House::default() };
    let told = brevis.to(2.9, &[]);
    assert!(matches!(told.to_target, Err(SouringError::NeverReaches { .. })), "{:?}", told.to_target);
    assert!(told.chance.as_of_one() < 0.5 && told.alarms.contains(&Alarm::BelowUsualEnd));
    let thin = House { plato: 0.3, buffering: 20.0, ..House::default() };
    assert!(matches!(thin.to(3.2, &[]).to_target, Err(SouringError::NotEnoughExtract { .. })));
}

#[test]
fn a_target_that_was_read_is_a_fact() {
    let told = House::default().to(3.5, &[(30.0, 3.6), (50.0, 3.4), (60.0, 3.3)]);
    let [low, value, high] = hours(told.to_target.unwrap());
    assert!((value - 40.0).abs() < 1e-9 && low == 30.0 && high == 50.0);
    assert_eq!(told.measure_next, None);
    let zero = House::default().to(4.6, &[]).to_target.unwrap();
    assert_eq!(zero, Estimate::exact(Duration::ZERO));
}

#[test]
fn an_acidity_wanted_is_reached_with_the_ph_that_has_it() {
    let house = House::default();
    let by_ph = house.to(3.4, &[]);
    let by_acid = house.toward(Target::Acidity(by_ph.acidity_then.value), &[]);
    assert!((by_acid.ph_then.value - Ph::new(3.4)).as_units().abs() < 0.01, "{:?}", by_acid.ph_then);
    let (a, b) = (hours(by_acid.to_target.unwrap()), hours(by_ph.to_target.unwrap()));
    assert!((a[1] - b[1]).abs() < 0.1 * b[1], "{a:?} {b:?}");
    // The acidity is fixed, so what spreads is the pH; and the other way round.
    assert!(by_acid.ph_then.deviation() > 0.02 && by_ph.ph_then.deviation() == 0.0);
    // What was sour enough at the start is there.
    let none = house.toward(Target::Acidity(TitratableAcidity::g_per_l_lactic(0.5)), &[]);
    assert_eq!(none.to_target.unwrap(), Estimate::exact(Duration::ZERO));
}

#[test]
fn temperatures_count_as_they_were() {
    let steady = House { temperatures: vec![(0.0, 24.0), (20.0, 24.0)], ..House::default() };
    assert!((steady.hours(3.4) - House::default().hours(3.4)).abs() < 1e-6);
    // A warm first day brings it sooner, a cold one later; both less than if it stayed so.
    let first_day = |celsius: f64| {
        House { temperatures: vec![(0.0, celsius), (24.0, celsius)], ..House::default() }.hours(3.4)
    };
    let all = |celsius: f64| House { celsius, ..House::default() }.hours(3.4);
    assert!(all(34.0) < first_day(34.0) && first_day(34.0) < all(24.0));
    assert!(all(24.0) < first_day(12.0) && first_day(12.0) < all(12.0));
}

#[test]
fn packs_hold_what_they_say_less_what_died() {
    let pack = Pack {
        form: Form::Capsules,
        amount: Count::of(10.0),
        label: Some(Cells::billions(15.0)),
        age: Duration::ZERO,
        kept_at: Temperature::celsius(4.0),
    };
    let fresh = living_cells(&pack).unwrap();
    assert!((fresh.value.as_billions() - 150.0).abs() < 1e-9 && fresh.is_sound());
    let old = Pack { age: Duration::hours(24.0 * 365.0), kept_at: Temperature::celsius(22.0), ..pack };
    let old = living_cells(&old).unwrap();
    assert!(old.value < fresh.value * 0.3 && old.high / old.low > 2.0 * (fresh.high / fresh.low));
    // 150 billion cells in 20 L.
    let rate = pitch_rate(fresh, Volume::litres(20.0)).unwrap();
    assert!((rate.value.as_millions_per_ml() - 7.5).abs() < 1e-9);
}

#[test]
fn manganese_stays_below_the_ceiling() {
    let wort = Volume::litres(20.0);
    let stock = Concentration::g_per_l(1.0);
    // 0.2 mg/L in 20 L is 4 mg of manganese, 12.3 mg of the sulfate, 12.3 mL of stock.
    let dose = manganese_stock(wort, MANGANESE_IN_WORT, stock).unwrap();
    assert!((dose.as_millilitres() - 12.3).abs() < 0.05, "{dose:?}");
    let less = manganese_stock(wort, Concentration::mg_per_l(0.3), stock).unwrap();
    assert!((less / dose - 0.5).abs() < 1e-9);
    assert_eq!(manganese_stock(wort, Concentration::mg_per_l(0.5), stock), Ok(Volume::ZERO));
}

#[test]
fn advice_is_there_for_every_occasion() {
    use Occasion::*;
    for when in [BeforePitch, WhileSouring, StillHigh, SetAside, ThrowOut] {
        assert!(advice_for(when).count() > 0, "{when:?}");
    }
    assert!(ADVICE.iter().all(|advice| advice.says.len() > 40 && !advice.source.text.is_empty()));
}

/// Numbers a person may type, and numbers nobody should.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![4 => 0.0..8.0f64, 2 => 0.0..120.0f64, 1 => Just(0.0), 1 => -100.0..0.0f64, 1 => -1e6..1e6f64]
}

proptest! {
    #[test]
    fn warmer_is_faster_up_to_the_best(place in 0..Culture::ALL.len(), celsius in 12.0..34.0f64, target in 3.6..4.0f64) {
        let at = |celsius: f64| House { culture: Culture::ALL[place], celsius, ..House::default() }.hours(target);
        prop_assert!(at(celsius + 1.0) < at(celsius));
    }

    #[test]
    fn more_buffering_is_slower(place in 0..Culture::ALL.len(), buffering in 0.5..1.6f64, target in 3.6..4.2f64) {
        let with = |buffering: f64| House { culture: Culture::ALL[place], buffering, ..House::default() }.hours(target);
        prop_assert!(with(buffering * 1.1) > with(buffering));
    }

    #[test]
    fn more_cells_and_a_higher_target_are_faster(place in 0..Culture::ALL.len(), cells in 0.3..300.0f64, target in 3.6..4.2f64) {
        let with = |cells: f64| House { culture: Culture::ALL[place], cells, ..House::default() };
        prop_assert!(with(cells * 1.2).hours(target) < with(cells).hours(target));
        prop_assert!(with(cells).hours(target + 0.05) < with(cells).hours(target));
    }

    // Not close to the culture's end: there the late end of the band may be never.
    #[test]
    fn readings_on_the_course_narrow_the_band(celsius in 18.0..34.0f64, start in 4.3..5.2f64, target in 3.5..3.8f64) {
        let house = House { celsius, start, ..House::default() };
        let before = house.to(target, &[]);
        let [low, value, high] = hours(before.to_target.unwrap());
        let on = |share: f64| (share * value, median_at(&before.course, share * value));
        let mut width = high / low;
        for readings in [vec![on(0.5)], vec![on(0.3), on(0.5), on(0.75)]] {
            let [low, middle, high] = hours(house.to(target, &readings).to_target.unwrap());
            prop_assert!(high / low < width, "{} {} {}", low, high, width);
            prop_assert!((middle / value - 1.0).abs() < 0.5, "{} {}", middle, value);
            width = high / low;
        }
    }

    #[test]
    fn the_next_reading_comes_before_the_target_is_missed(celsius in 15.0..36.0f64, start in 4.3..5.2f64, first in 6.0..24.0f64, fall in 0.0..0.3f64) {
        let house = House { celsius, start, ..House::default() };
        for readings in [vec![], vec![(first, start - fall)]] {
            let told = house.to(3.4, &readings);
            let Ok(time) = told.to_target else { continue };
            let (next, last) = (told.measure_next.unwrap().as_hours(), readings.last().map_or(0.0, |reading| reading.0));
            prop_assert!(next > last && next <= time.low.as_hours().max(last + 1.0) + 1e-9);
        }
    }

    #[test]
    fn the_same_readings_give_the_same_forecast(fall in 0.0..0.9f64, at in 1.0..60.0f64) {
        let house = House::default();
        let readings = [(at, 4.5 - fall), (at + 8.0, 4.45 - fall)];
        let turned = [readings[1], readings[0]];
        prop_assert_eq!(house.to(3.4, &readings), house.to(3.4, &turned));
        // A reading from before the pitch tells nothing.
        let early = [readings[0], readings[1], (-3.0, 5.0)];
        prop_assert_eq!(house.to(3.4, &readings), house.to(3.4, &early));
    }

    #[test]
    fn every_forecast_is_sound(
        start in 3.8..5.6f64, target in 3.0..4.4f64, celsius in 5.0..50.0f64, plato in 4.0..25.0f64,
        cells in 0.01..1000.0f64, place in 0..Culture::ALL.len(), acidity in 0.1..20.0f64,
        readings in proptest::collection::vec((0.0..400.0f64, 2.5..7.0f64), 0..8),
        temperatures in proptest::collection::vec((-10.0..400.0f64, -5.0..60.0f64), 0..5),
    ) {
        let house = House { culture: Culture::ALL[place], start, celsius, plato, cells, temperatures, ..House::default() };
        for target in [Target::Ph(Ph::new(target)), Target::Acidity(TitratableAcidity::g_per_l_lactic(acidity))] {
            let told = house.toward(target, &readings);
            if let Ok(time) = told.to_target {
                prop_assert!(time.is_sound() && time.low >= Duration::ZERO, "{:?}", time);
            }
            prop_assert!(told.speed.is_sound() && told.ph_then.is_sound() && told.lactic_then.is_sound());
            prop_assert!(told.acidity_then.is_sound() && (0.0..=1.0).contains(&told.chance.as_of_one()));
            for point in &told.course {
                prop_assert!(point.at.is_finite() && point.low.is_finite() && point.high.is_finite());
                prop_assert!(point.low <= point.value && point.value <= point.high);
            }
            prop_assert!(told.course.windows(2).all(|pair| pair[0].at < pair[1].at));
        }
    }

    #[test]
    fn no_finite_number_makes_a_nan(
        a in number(), b in number(), c in number(), d in number(), e in number(), place in 0..Culture::ALL.len(),
    ) {
        let curve = BufferCurve::prior(Plato::degrees(a), Estimate::band(Count::of(b), Count::of(c), Count::of(a)));
        let temperatures = [(Duration::hours(b), Temperature::celsius(c)), (Duration::hours(b), Temperature::celsius(a))];
        let grams = TitratableAcidity::g_per_l_lactic;
        let usual = |cells: f64| Estimate::exact(CellDensity::millions_per_ml(cells));
        let wild = Conditions {
            start_ph: Ph::new(c),
            curve: &curve,
            gravity: Plato::degrees(e),
            lactic_before: Concentration::g_per_l(d),
            acidity_before: Estimate::band(grams(a), grams(b), grams(c)),
            temperature: Temperature::celsius(d),
            temperatures: &temperatures,
            culture: Culture::ALL[place],
            cells: Estimate::band(CellDensity::millions_per_ml(b), CellDensity::millions_per_ml(a), CellDensity::millions_per_ml(b)),
            bitterness: Bitterness::ibu(e),
            speed: Estimate::band(Count::of(a), Count::of(b), Count::of(c)),
            meter_error: PhDifference::units(b),
        };
        let tame = Conditions {
            start_ph: Ph::new(4.5), gravity: Plato::degrees(11.0), lactic_before: Concentration::ZERO,
            cells: usual(10.0), speed: first_speed(), meter_error: PhDifference::units(0.03),
            temperature: Temperature::celsius(24.0), ..wild
        };
        let readings = [(a, b), (c, d), (e, a), (e, b), (e, e)].map(|(at, ph)| (Duration::hours(at), Ph::new(ph)));
        for conditions in [wild, tame] {
            for target in [Target::Ph(Ph::new(e)), Target::Ph(Ph::new(3.4)), Target::Acidity(grams(a))] {
                let text = format!("{:?}", forecast(&conditions, target, &readings));
                prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
            }
        }
        let pack = Pack {
            form: Form::ALL[place], amount: Count::of(a), label: Some(Cells::billions(b)), age: Duration::hours(c),
            kept_at: Temperature::celsius(d),
        };
        let text = format!(
            "{:?} {:?} {:?} {:?}",
            living_cells(&pack),
            pitch_rate(Estimate::exact(Cells::billions(a)), Volume::litres(b)),
            manganese_stock(Volume::litres(a), Concentration::mg_per_l(b), Concentration::g_per_l(c)),
            lactic_formed(Ph::new(a), Ph::new(b), &curve)
        );
        prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
    }
}
