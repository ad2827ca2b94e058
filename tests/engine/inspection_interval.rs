//! How long the interval between inspections may be, against closed forms and against plans that are written out one by one.

use crate::delay_time::{self, Model};
use crate::support::{ALLOWED, ByNumber, Lived};
use serrata::Study;
use serrata::model::limits::LossLimits;
use serrata::simulation::{Held, InspectionInterval, IntervalQuestion, LimitVerdict, Run, Verdict};

const MODEL: Model = Model { crack_rate: 1e-4, failure_rate: 0.5, pod: 1.0, blades: 20 };
const YEARS: u32 = 12;

/// Chance of a loss in a year that begins so long after a look that found all cracks: these begin and fail at constant rates
/// (Christer and Waller 1984, integrated); while cracks are few, to some parts in a thousand.
fn chance(years_since_look: f64) -> f64 {
    let Model { crack_rate, failure_rate, blades, .. } = MODEL;
    let there = |years: f64| (-failure_rate * years).exp() / failure_rate;
    let failures = crack_rate * (1.0 - there(years_since_look) + there(years_since_look + 1.0));
    -(-f64::from(blades) * failures).exp_m1()
}

fn asked(row_limit: f64) -> IntervalQuestion {
    IntervalQuestion {
        most_outages: 4,
        limits: Some(LossLimits { row: Some(row_limit), unit: None, fleet: None, basis: None }),
        run: Run { trials: 1_000, planted_lives: 20_000, seed: 3, ..Run::default() },
        ..IntervalQuestion::default()
    }
}

fn worst(held: &Held) -> LimitVerdict {
    assert_eq!(held.limits.len(), 1);
    held.limits[0]
}

#[test]
fn the_chance_in_the_last_year_before_a_look_has_its_closed_form() {
    let study = delay_time::study(MODEL, YEARS, "first_outage = 1, every_outages = 1").study();
    // Between that of looks at every second outage and that at every third.
    let limit = (chance(1.0) * chance(2.0)).sqrt();
    let answer = study.inspection_interval(&asked(limit)).expect("an answer");
    // The plan's own looks, and its technique by itself, which is the same.
    assert_eq!(answer.ways.len(), 2);
    for way in &answer.ways {
        for (held, every) in way.held.iter().zip(1..) {
            let line = worst(held);
            let exact = chance(f64::from(every) - 1.0);
            let z = (line.chance.value - exact) / line.chance.standard_error;
            assert!(z.abs() < ALLOWED, "every {every}: {} against {exact}, {z:.1} standard errors", line.chance.value);
            assert_eq!((held.every_outages, held.years), (Some(every), [f64::from(every); 2]));
            // A year that ends with a look.
            assert_eq!((line.year as u32 + 1) % every, 0, "{line:?}");
        }
        assert_eq!((way.longest(), way.shortest_missed()), (Some(2), Some(3)));
    }
    let unseen = worst(&answer.unseen);
    let exact = chance(f64::from(YEARS) - 1.0);
    let z = (unseen.chance.value - exact) / unseen.chance.standard_error;
    assert!(z.abs() < ALLOWED && answer.unseen.every_outages.is_none(), "{unseen:?} against {exact}");
    assert_eq!(answer.unseen.verdict, Verdict::Misses);
}

#[test]
fn nothing_is_long_enough_to_miss_a_loose_limit_and_nothing_short_enough_to_keep_a_strict_one() {
    let study = delay_time::study(MODEL, YEARS, "first_outage = 1, every_outages = 1").study();
    let longest = |limit: f64| {
        let answer = study.inspection_interval(&asked(limit)).expect("an answer");
        (answer.ways[1].longest(), answer.ways[1].shortest_missed(), answer.unseen.verdict)
    };
    assert_eq!(longest(0.5), (Some(4), None, Verdict::Meets));
    assert_eq!(longest(0.5 * chance(0.0)), (None, Some(1), Verdict::Misses));
}

fn y1c() -> String {
    include_str!("data/y1c.toml").to_owned()
}

fn mapped(text: &str, limit: f64) -> InspectionInterval {
    let question = IntervalQuestion {
        techniques: vec!["bench".to_owned()],
        map_of: Some("bench".to_owned()),
        most_outages: 3,
        run: Run { trials: 6_000, seed: 5, ..Run::default() },
        ..asked(limit)
    };
    Study::parse(text, "y1c").expect("a study").inspection_interval(&question).expect("an answer")
}

/// The needed capability against plans with other curves, written out one by one and lived with another seed.
#[test]
fn the_capability_that_is_needed_is_that_of_a_fine_scan() {
    const LIMIT: f64 = 0.16;
    let answer = mapped(&y1c(), LIMIT);
    let map = answer.capability.expect("a map");
    // A logistic curve is at 0.9 a factor of 9 to its spread above the half.
    assert!((map.own_q90_mm - 15.0).abs() < 1e-9);
    let worst_of = |every: u32, q90_mm: f64| {
        let text = y1c().replace("q50_mm = 5,", &format!("q50_mm = {},", q90_mm / 3.0)).replace(
            "first_outage = 3, every_outages = 3",
            &format!("first_outage = {every}, every_outages = {every}"),
        );
        let study = Study::parse(&text, "scan").expect("a study");
        let comparison = study.simulate(&Run { trials: 6_000, seed: 77, ..Run::default() }).expect("lives");
        let years = comparison.fleet_any_loss_by_year(comparison.strategy_number(2));
        years.iter().map(|year| year.value).fold(0.0, f64::max)
    };
    let mut found = 0;
    for needed in &map.needed {
        let every = needed.every_outages;
        assert!(needed.surely_mm <= needed.q90_mm && needed.q90_mm <= needed.surely_not_mm, "{needed:?}");
        if needed.q90_mm == 0.0 || needed.q90_mm == f64::INFINITY {
            continue;
        }
        // The first size of a fine scan whose plan passes the limit lies where the answer is unsure.
        let scan = (-24..=24).map(|step| map.own_q90_mm * 2.0_f64.powf(f64::from(step) / 8.0));
        let first =
            scan.filter(|q90_mm| *q90_mm >= 0.5 * needed.surely_mm).find(|q90_mm| worst_of(every, *q90_mm) > LIMIT);
        let first = first.expect("a size that is too large");
        let step = 2.0_f64.powf(1.0 / 8.0);
        assert!(
            first >= needed.surely_mm && first / step <= needed.surely_not_mm,
            "every {every}: {first} for {needed:?}"
        );
        found += 1;
    }
    assert!(found >= 2, "{:?}", map.needed);
    // Longer intervals need sharper looks.
    let sizes: Vec<f64> = map.needed.iter().map(|needed| needed.q90_mm).collect();
    assert!(sizes.is_sorted_by(|one, other| one > other || *one == 0.0), "{sizes:?}");
}

#[test] // by hand: Paris' law integrated
fn the_plain_check_is_the_growth_time_from_the_size_that_is_found_with_nine_tenths() {
    let answer = mapped(&y1c(), 0.16);
    let check =
        answer.ways.iter().find(|way| way.technique.is_some()).and_then(|way| way.check.clone()).expect("a check");
    assert!(!check.has_confidence && check.outage_years == 1.0 && check.hot_spot == "root.fillet", "{check:?}");
    // 15 mm long and so 3 mm deep, to 4 mm, with the exponent 3.
    let rate = 1.65e-11 * (0.73 * 1000.0 * std::f64::consts::PI.sqrt()).powi(3);
    let years = 2.0 * (0.003_f64.powf(-0.5) - 0.004_f64.powf(-0.5)) / rate / 100.0;
    let sigma = 0.35;
    // Standard error of a median of 400 normal numbers, and of their twentieth quantile.
    let error = |density: f64, share: f64| sigma * (share * (1.0 - share) / 400.0_f64).sqrt() / density;
    let off = (check.years.value / years).ln() / error(0.3989, 0.5);
    assert!(off.abs() < ALLOWED, "{} years against {years}: {off:.1} standard errors", check.years.value);
    let fast = years * (-1.644_853_6_f64 * sigma).exp();
    let off = (check.fast_years.value / fast).ln() / error(0.1031, 0.05);
    assert!(off.abs() < ALLOWED, "{} years against {fast}: {off:.1} standard errors", check.fast_years.value);
}

#[test]
fn what_cannot_be_asked_is_refused() {
    let study = delay_time::study(MODEL, YEARS, "first_outage = 1, every_outages = 1").study();
    let refusal = |question: IntervalQuestion| study.inspection_interval(&question).expect_err("a refusal").to_string();
    let none = refusal(IntervalQuestion { limits: None, ..asked(0.1) });
    assert!(none.contains("limits = none") && none.contains("[limits]"), "{none}");
    let unknown = refusal(IntervalQuestion { techniques: vec!["loook".to_owned()], ..asked(0.1) });
    assert!(unknown.contains("technique = loook") && unknown.contains("choose one of look"), "{unknown}");
    let never = refusal(IntervalQuestion { most_outages: 0, ..asked(0.1) });
    assert!(never.contains("most_outages = 0") && never.contains("from 1 to the 11"), "{never}");
    let over = refusal(asked(1.5));
    assert!(over.contains("row_limit = 1.5"), "{over}");
    // Its curve is flat: no size is found with more than with others.
    let flat = refusal(IntervalQuestion { map_of: Some("look".to_owned()), ..asked(0.1) });
    assert!(flat.contains("map_of = look") && flat.contains("from 0.999999999 to 1"), "{flat}");
}
