//! Expected losses by quadrature: against a separately written quadrature, closed forms, and the engine itself.

use crate::support::Lived;
use serde_json::Value;
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::StudyParts;
use serrata::model::fleet::Side;
use serrata::model::growth::Limit;
use serrata::model::initiation::InitiationShape;
use serrata::model::strategy::{Action, AfterLoss, Disposition, Sample, When};
use serrata::simulation::{Quantity, Run, Screened, Screening};

/// Largest accepted relative distance to numbers by another quadrature.
const FIGURES: f64 = 2e-5;

fn load(name: &str) -> StudyParts {
    let path = format!("{}/tests/engine/data/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    Study::load(path).expect("a valid study").into_parts()
}

fn screened(parts: &StudyParts) -> Screening {
    parts.study().screen().unwrap_or_else(|error| panic!("{error}"))
}

#[track_caller]
fn assert_is(what: &str, number: Screened, exact: f64, tolerance: f64) {
    let distance = number.value / exact - 1.0;
    eprintln!(
        "{what}: {:e}, relative distance {distance:.1e}, said {:.1e}",
        number.value,
        number.numerical_error / exact
    );
    assert!(distance.abs() <= tolerance, "{what}: {} against {exact}, {distance:.1e} apart", number.value);
}

/// Every number that a quadrature by another program has, of the strategies under which blades are independent.
fn compare_with_yardstick(problem: &str, screening: &Screening) -> usize {
    let study = screening.study();
    let expected: Value = serde_json::from_str(include_str!("data/yardstick_expected.json")).expect("JSON");
    let row = study.row_ids().next().expect("a row");
    let mut compared = 0;
    for (strategy, of) in study.strategy_ids().map(|id| (id, &study.strategy(id).id)) {
        let expected = &expected["problems"][problem][of];
        if expected["method"] != "quadrature" {
            assert!(screening.losses(row, strategy).is_none(), "{of} is screened");
            continue;
        }
        let number = |key: &str| expected[key].as_f64().expect("a number");
        let what = |key: &str| format!("{problem} {of} {key}");
        let losses = screening.losses(row, strategy).expect("screened");
        assert_is(&what("losses"), losses, number("failures"), FIGURES);
        let any = screening.p_any_loss(row, strategy).expect("screened");
        assert_is(&what("p_any_loss"), any, number("p_any_failure"), FIGURES);
        let replaced = screening.blades_replaced(row, strategy).expect("screened");
        if number("replaced") > 0.0 {
            assert_is(&what("blades_replaced"), replaced, number("replaced"), FIGURES);
        } else {
            assert_eq!(replaced.value, 0.0);
        }
        let by_year = screening.losses_by_year(row, strategy).expect("screened");
        let mut worst: f64 = 0.0;
        for (year, ours) in by_year.iter().enumerate() {
            let exact = expected["yearly_failures"][year].as_f64().expect("a number");
            // The first years have next to nothing.
            if exact > 1e-3 * losses.value {
                worst = worst.max((ours.value / exact - 1.0).abs());
                compared += 1;
            }
        }
        eprintln!("{}: {worst:.1e}", what("losses by year, worst"));
        assert!(worst <= 10.0 * FIGURES, "{problem} {of}: a year is {worst:.1e} apart");
        compared += 3;
    }
    compared
}

#[test]
fn independent_blades_are_as_another_quadrature_has_them() {
    for (problem, at_least) in [("y1a", 50), ("y1c", 50), ("y3", 20)] {
        let compared = compare_with_yardstick(problem, &screened(&load(problem)));
        assert!(compared >= at_least, "{problem}: only {compared} numbers");
    }
    let mut rarer = load("y3");
    rarer.initiation[0].shape = InitiationShape::Weibull { shape: 3.0, scale: 400_000.0 };
    assert!(compare_with_yardstick("y3s", &screened(&rarer)) >= 20);
}

#[test]
#[should_panic(expected = "apart")]
fn a_slightly_wrong_growth_exponent_is_noticed() {
    let mut wrong = load("y1a");
    wrong.growth[0].exponent = 3.00002;
    compare_with_yardstick("y1a", &screened(&wrong));
}

/// Values by importance sampling (`data/yardstick_expected_rare.json`), within four standard errors: several origins on a
/// blade, and in y2 row factors, false calls and effects that persist in cracks or are shared by a look as well.
#[test]
fn several_origins_and_effects_of_every_kind_are_as_another_program_has_them() {
    let expected: Value = serde_json::from_str(include_str!("data/yardstick_expected_rare.json")).expect("JSON");
    for (problem, strategies) in [("y1b", 2), ("y2", 2)] {
        let screening = screened(&load(problem));
        let study = screening.study();
        let row = study.row_ids().next().expect("a row");
        let mut compared = 0;
        for strategy in study.strategy_ids() {
            let id = &study.strategy(strategy).id;
            let of = &expected["problems"][problem][id];
            let (Some(ours), Some(losses)) = (screening.losses(row, strategy), of["failures"].as_f64()) else {
                continue;
            };
            let z = (ours.value - losses) / of["failures_se"].as_f64().expect("a number");
            eprintln!("{problem} {id}: {ours:?} against {losses:e}: {z:.1} standard errors apart");
            assert!(z.abs() <= 4.0, "{problem} {id}: {} against {losses}: {z:.1} standard errors apart", ours.value);
            assert_eq!(screening.p_any_loss(row, strategy).is_none(), problem == "y2");
            compared += 1;
        }
        assert_eq!(compared, strategies);
    }
}

/// A row in which cracks start at a rate in a year, each lost after a lognormal time unless a look calls it, whatever its
/// size; as many blades as there may be, so that no two cracks meet on one.
struct Thinned {
    per_year: f64,
    median_years: f64,
    sigma_log: f64,
    every: u32,
    pod: f64,
}

impl Thinned {
    const BLADES: u32 = 1000;
    const STARTS_PER_YEAR: f64 = 100.0;

    fn study(&self) -> StudyParts {
        let mut study = load("y3");
        study.rows[0].blades = Self::BLADES;
        let mean = Self::STARTS_PER_YEAR * f64::from(Self::BLADES) / self.per_year;
        study.initiation[0].shape = InitiationShape::Exponential { mean };
        study.strategies[0].looks[0].when = When::every(self.every, self.every);
        let spot = &mut study.roots[0].hot_spots[0];
        spot.initial_depth_mm = Distribution::Fixed(0.3);
        // From 0.3 to 4 mm by Paris' law with m = 3 and K = 0.73 S sqrt(pi a), in closed form.
        let fall = |depth_mm: f64| (depth_mm / 1e3_f64).powf(-0.5);
        let per_coefficient = 0.5 * (0.73 * 1000.0_f64).powi(3) * std::f64::consts::PI.powf(1.5);
        let starts = Self::STARTS_PER_YEAR * self.median_years;
        study.growth[0].coefficient_m_per_start = (fall(0.3) - fall(4.0)) / per_coefficient / starts;
        study.growth[0].crack_sigma_log = self.sigma_log;
        // Flat: its ends lie a hair apart.
        (study.techniques[0].pod.floor, study.techniques[0].pod.ceiling) = (self.pod - 1e-14, self.pod);
        study
    }

    fn losses(&self, change: impl Fn(&mut StudyParts)) -> [Screened; 2] {
        let mut study = self.study();
        change(&mut study);
        let screening = screened(&study);
        let (row, strategy) = (screening.study().row_ids().next(), screening.study().strategy_ids().next());
        let (row, strategy) = (row.expect("a row"), strategy.expect("a strategy"));
        let any = screening.p_any_loss(row, strategy).expect("screened");
        [screening.losses(row, strategy).expect("screened"), any]
    }
}

/// How much rarer cracks are than in the values below, which are of a place that may have many at once.
const RARER: f64 = 1e-2;

/// Thinned numbers of losses at 0.02 cracks a year over 30 years, by quadrature (computed; agrees with two simulations);
/// and where 5 % of cracks can never be called: those have closed mouths.
#[test]
fn losses_are_the_thinned_numbers_that_quadrature_gives() {
    for (median_years, sigma_log, every, pod, losses, with_some_unseen) in [
        (10.0, 0.4, 1, 0.9, 6.174_438_985_757_743e-6, 0.019_185_287_769_467_037),
        (10.0, 0.25, 1, 0.9, 1.273_849_292_012_840_5e-7, 0.019_682_696_081_867_755),
        (10.0, 0.3, 1, 0.95, 4.807_261_290_469_638e-8, 0.019_540_060_350_257_425),
        (10.0, 0.25, 2, 0.8, 6.414_263_610_735_788e-4, 0.020_291_930_109_204_91),
        (6.0, 0.5, 2, 0.7, 0.032_910_866_895_117_38, f64::NAN),
    ] {
        let thinned = Thinned { per_year: 0.02 * RARER, median_years, sigma_log, every, pod };
        let what = format!("median {median_years}, {sigma_log}, every {every}, POD {pod}");
        let [seen, _] = thinned.losses(|_| ());
        assert_is(&what, seen, losses * RARER, FIGURES);
        if with_some_unseen.is_finite() {
            let [unseen, _] = thinned.losses(|study| {
                study.surfaces[0].closed_mouth_probability = Some(0.05);
                study.techniques[0].closed_mouth_factor = 0.0;
            });
            // Cracks at 0.02 a year, of which 5 % are lost at the last.
            let expected = (0.95 * losses + (with_some_unseen - 0.95 * losses)) * RARER;
            assert_is(&format!("{what}, 5 % unseen"), unseen, expected, FIGURES);
        }
    }
}

/// The same by size: length 1 mm exp(g years), g lognormal, lost at 20 mm, logistic POD of q50 4 mm and spread 0.3. Values
/// by Gauss-Legendre quadrature in beginning and loss, cell by cell, in another language (own, computed; 8 and 14 nodes
/// agree in 12 figures).
#[test]
fn exponential_growth_meets_looks_as_quadrature_has_it() {
    for (g, sigma_log, every, losses) in [
        (0.15, 0.3, 1, 2.526_908_155_068_76e-8),
        (0.15, 0.3, 2, 1.883_777_749_901_95e-5),
        (0.2, 0.4, 1, 7.165_048_516_724_77e-6),
        (0.1, 0.25, 1, 5.369_015_131_351_6e-12),
    ] {
        let thinned = Thinned { per_year: 0.02 * RARER, median_years: 1.0, sigma_log, every, pod: 1.0 };
        let [ours, _] = thinned.losses(|study| {
            study.growth[0].exponent = 2.0;
            let per_coefficient = (0.73 * 1000.0_f64).powi(2) * std::f64::consts::PI;
            study.growth[0].coefficient_m_per_start = g / Thinned::STARTS_PER_YEAR / per_coefficient;
            study.roots[0].hot_spots[0].initial_depth_mm = Distribution::Fixed(0.2);
            let pod = &mut study.techniques[0].pod;
            (pod.floor, pod.ceiling, pod.q50_mm, pod.spread) = (0.0, 1.0, 4.0, 0.3);
        });
        assert_is(&format!("g {g}, {sigma_log}, every {every}"), ours, losses * RARER, FIGURES);
    }
}

/// With a gamma row factor of variance v and mean losses m, P(any) = 1 - (1 + v m)^(-1/v); values as above.
#[test]
fn row_factors_mix_rows_with_and_without_losses() {
    let thinned = Thinned { per_year: 0.02, median_years: 6.0, sigma_log: 0.5, every: 2, pod: 0.7 };
    // While a place has a crack it starts no other: 0.02 / 1000 a year times about ten years.
    let one_at_a_time = 2.5e-4;
    for (variance, exact) in
        [(0.0, 0.032_375_196_851_537_15), (0.5, 0.032_115_986_809_631_06), (2.0, 0.031_370_449_812_074_624)]
    {
        let factor = |study: &mut StudyParts| {
            if variance > 0.0 {
                study.scatter.row_factor = Distribution::Gamma { mean: 1.0, cov: f64::sqrt(variance) };
            }
        };
        let [_, any] = thinned.losses(factor);
        assert_is(&format!("any loss, variance {variance}"), any, exact, one_at_a_time);
    }
    // 1e-6 losses: the chance of any is below that by half of it, times 1 + v; two on one place are left out.
    let rare = Thinned { per_year: 0.02 * 1e-6 / 0.032_910_866_895_117_38, ..thinned };
    for (variance, exact) in [(0.5, 9.999_992_500_005e-7), (2.0, 9.999_985_000_025e-7)] {
        let [losses, any] = rare.losses(|study| {
            study.scatter.row_factor = Distribution::Gamma { mean: 1.0, cov: f64::sqrt(variance) };
        });
        assert_is(&format!("rare losses, variance {variance}"), losses, 1e-6, FIGURES);
        let below = 1.0 - any.value / losses.value;
        let expected = 1.0 - exact / 1e-6;
        assert!((below / expected - 1.0).abs() < 3e-3, "{below} below for {expected}");
    }
}

/// Every number of the screening within four standard errors of the engine's, for a run in which all are frequent.
fn compare_with_lives(parts: &StudyParts, trials: u64, at_least: usize) {
    let comparison = parts.simulate(&Run { trials, seed: 5, ..Run::default() }).expect("a run");
    let screening = screened(parts);
    let study = screening.study();
    let mut compared = 0;
    for (row, strategy) in study.row_ids().flat_map(|row| study.strategy_ids().map(move |strategy| (row, strategy))) {
        let Some(losses) = screening.losses(row, strategy) else { continue };
        let id = &study.strategy(strategy).id;
        let mut check = |what: &str, ours: Screened, lived: serrata::simulation::Estimate| {
            if lived.standard_error == 0.0 {
                assert!((ours.value - lived.value).abs() < 1e-6, "{id} {what}: {} for {}", ours.value, lived.value);
                return;
            }
            let z = (ours.value - lived.value) / lived.standard_error;
            eprintln!("{id} {what}: {:.6} ({:.0e}) lived {:.6}, {z:.1}", ours.value, ours.numerical_error, lived.value);
            assert!(z.abs() <= 4.0, "{id} {what}: {} for {}: {z:.1} standard errors apart", ours.value, lived.value);
            assert!(ours.numerical_error <= 5e-2 * ours.value, "{id} {what}: {ours:?}");
            compared += 1;
        };
        let lived = |quantity| comparison.row(row, strategy, quantity);
        check("losses", losses, lived(Quantity::Losses));
        if let Some(any) = screening.p_any_loss(row, strategy) {
            check("any loss", any, lived(Quantity::AnyLoss));
        }
        check("replaced", screening.blades_replaced(row, strategy).expect("screened"), lived(Quantity::BladesReplaced));
        check(
            "falsely",
            screening.falsely_replaced(row, strategy).expect("screened"),
            lived(Quantity::FalselyReplaced),
        );
        let years = screening.losses_by_year(row, strategy).expect("screened");
        for (year, (ours, lived)) in years.into_iter().zip(comparison.row_losses_by_year(row, strategy)).enumerate() {
            if lived.events > 30.0 {
                check(&format!("losses in year {year}"), ours, lived);
            }
        }
    }
    assert!(compared >= at_least, "only {compared} numbers were compared");
}

/// The small study with frequent losses, looked at by schedule: tabulated surface cracks, blades of different stress,
/// rows that differ, a bend in the duty, a past with a look and renewed blades, false calls, misses that persist.
fn small_with_losses() -> StudyParts {
    let mut study = load("small");
    study.growth[0].coefficient_m_per_start = 1e-10;
    study.initiation[0].shape = InitiationShape::Weibull { shape: 2.0, scale: 6000.0 };
    for strategy in &mut study.strategies {
        strategy.dispositions = vec![Disposition::last(Action::Replace)];
        strategy.after_loss = AfterLoss::ReplaceBlade;
        strategy.row_end = None;
        strategy.looks.iter_mut().for_each(|look| look.coverage.blades = Sample::ALL);
    }
    study.techniques.iter_mut().for_each(|technique| technique.inspection_sigma = 0.0);
    study
}

#[test]
fn a_row_with_a_past_and_tabulated_cracks_is_as_lived() {
    compare_with_lives(&small_with_losses(), 20_000, 20);
}

#[test]
fn shifts_that_a_look_shares_are_counted_for_losses_alone() {
    let mut study = small_with_losses();
    study.rows[0].past_looks.clear();
    let spot = &mut study.roots[0].hot_spots[0];
    (spot.serrations, spot.sides) = (vec![1], vec![Side::Suction]);
    study.techniques.iter_mut().for_each(|technique| technique.inspection_sigma = 0.4);
    let screening = screened(&study);
    let (row, strategies) = (screening.study().row_ids().next().expect("a row"), screening.study().strategy_ids());
    let any: Vec<bool> = strategies.map(|strategy| screening.p_any_loss(row, strategy).is_some()).collect();
    assert_eq!(any, [false, true], "of looks, and of none");
    compare_with_lives(&study, 20_000, 15);
}

/// Two hot spots on different clocks, by depth and by a toughness that blades' stress takes from; rows that grow cracks
/// faster than others; two techniques at a time with a gate on depth; past looks by both.
#[test]
fn two_hot_spots_and_two_techniques_are_as_lived() {
    let mut study = load("everything_on");
    study.techniques.iter_mut().for_each(|technique| technique.inspection_sigma = 0.0);
    study.growth[0].coefficient_m_per_start *= 2.0;
    study.roots[0].hot_spots[1].limit =
        Limit::Toughness { toughness_mpa_sqrt_m: Distribution::Lognormal { median: 52.0, sigma_log: 0.13 } };
    let mut none = study.strategies[4].clone();
    (none.id, none.looks) = ("none".to_owned(), Vec::new());
    let mut part = study.strategies[4].clone();
    part.id = "part".to_owned();
    part.looks[0].techniques.truncate(1);
    part.looks[0].coverage.hot_spots = Some(vec!["h1".to_owned()]);
    study.techniques[0].false_call_probability = 0.0;
    study.strategies.extend([none, part]);
    compare_with_lives(&study, 20_000, 30);
}

/// Each place loses several blades: what renews what is lost matters, and what is missed.
#[test]
fn places_that_lose_blade_after_blade_are_as_lived() {
    let mut study = load("y1c");
    study.rows[0].blades = 20;
    study.initiation[0].shape = InitiationShape::Weibull { shape: 1.5, scale: 300.0 };
    study.growth[0].coefficient_m_per_start *= 4.0;
    compare_with_lives(&study, 4_000, 60);
}

#[test]
fn what_stands_in_the_way_is_listed() {
    let mut study = load("everything_on");
    let toughness = study.roots[0].hot_spots[1].limit.clone();
    study.roots[0].hot_spots[1].limit = Limit::Depth { depth_mm: 6.0 };
    let screening = screened(&study);
    let obstacles: Vec<String> = (screening.not_screened().iter())
        .flat_map(|strategy| strategy.obstacles.iter().map(|obstacle| obstacle.path.clone()))
        .collect();
    assert_eq!(
        obstacles,
        [
            "strategies.inplace.looks[1].escalation",
            "strategies.inplace.dispositions",
            "strategies.inplace.replace_row_from_blades",
            "strategies.confirmed.looks[1].escalation",
            "strategies.benchmix.looks[2].coverage.blade_fraction",
            "strategies.benchmix.looks[2].coverage.hot_spots",
            "strategies.benchmix.dispositions",
            "strategies.benchmix.after_loss",
            "strategies.newrow.row_end",
            "strategies.retired.row_end",
        ]
    );
    let refusal = |study: &StudyParts| study.study().screen().expect_err("not screened").to_string();
    study.roots[0].hot_spots[1].limit = toughness;
    let message = "screen: 1 fault
  roots.r.hot_spots.h2.limit.toughness_mpa_sqrt_m
    is neither fixed nor lognormal
    a lognormal one is screened; else simulate it";
    assert_eq!(refusal(&study), message);
    // Nothing is left to be screened.
    let message = "screen: 4 faults
  strategies.look.looks[1].coverage.blade_fraction
    cracks of one blade are seen together or not at all
    1 is screened; else simulate it
  strategies.look.dispositions
    blades stay, are dressed, or whole rows go, by what was measured
    replace is screened
  strategies.none.after_loss
    what one blade shows changes what is done to others: blades are not independent
    replace-blade is screened
  strategies.none.row_end
    rows that end or are renewed in a stated year are not screened
    simulate it instead";
    assert_eq!(refusal(&load("small")), message);
    let mut fixed = load("y1a");
    fixed.growth[0].crack_sigma_log = 0.0;
    let message = "screen: 1 fault
  growth.paris.crack_sigma_log
    is 0: lives of cracks that scatter by nothing but their initial size are not screened
    0.05 or more is, and hardly differs";
    assert_eq!(refusal(&fixed), message);
    let mut followed = small_with_losses();
    followed.roots[0].hot_spots[0].load_ratio = 0.1;
    let message = "screen: 1 fault
  roots.fork.hot_spots.pin
    its cracks are followed one by one: something beyond Paris' law in one line acts on them, or they join
    simulate it instead";
    assert_eq!(refusal(&followed), message);
    let mut together = load("y1a");
    together.roots[0].replaced_together = 2;
    let message = format!(
        "screen: 1 fault
  roots.{}.replaced_together
    what one blade shows has others replaced: blades are not independent
    simulate it instead",
        together.roots[0].id
    );
    assert_eq!(refusal(&together), message);
    let mut lost = load("y1c");
    (lost.start_year, lost.units[0].outages.years) = (200.0, vec![210.0]);
    assert!(refusal(&lost).starts_with("rows.row: no life in 1000 reaches the start"), "{}", refusal(&lost));
}

/// Few points, for a slider: each number is no further off than it says, within a tenth of itself.
#[test]
fn a_rough_screening_is_no_further_off_than_it_says() {
    for name in ["y1a", "y2", "y3"] {
        let path = format!("{}/tests/engine/data/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let study = serrata::Study::load(path).expect("a yardstick study");
        let fine = study.screen().unwrap_or_else(|error| panic!("{error}"));
        let rough = study.screen_roughly().unwrap_or_else(|error| panic!("{error}"));
        for strategy in study.strategy_ids() {
            let (Some(fine), Some(rough)) = (fine.fleet_losses(strategy), rough.fleet_losses(strategy)) else {
                continue;
            };
            let apart = (rough.value - fine.value).abs();
            assert!(apart <= rough.numerical_error + fine.numerical_error, "{name}: {rough:?} for {fine:?}");
            assert!(rough.numerical_error < 0.1 * rough.value, "{name}: {rough:?}");
        }
    }
}
