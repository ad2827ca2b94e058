//! The yardstick problem: near-exact values by quadrature where they can be had, long Monte Carlo
//! values by separately written programs elsewhere (`data/yardstick_expected.json`), and sharper
//! values for rare losses by importance sampling (`data/yardstick_expected_rare.json`).

use super::support::{Distance, assert_agrees, count_distance};
use crate::support::{ByNumber, Lived};
use serde_json::Value;
use serrata::Study;
use serrata::model::StudyParts;
use serrata::simulation::{Comparison, Estimate, Quantity, Run};

/// There are about 1,300 comparisons, many of them correlated; a right engine has one beyond
/// [`ALLOWED`](super::support::ALLOWED) for about one seed in fifteen.
const TRIALS: u64 = 400_000;
const SEED: u64 = 20_271;

#[test]
fn independent_sites_agree_with_quadrature() {
    assert_agrees("y1a", &distances("y1a", TRIALS, |study| study), 250);
}

#[test]
fn several_sites_on_a_blade_agree_with_other_programs() {
    assert_agrees("y1b", &distances("y1b", TRIALS, |study| study), 250);
}

#[test]
fn frequent_losses_after_missed_inspections_agree_with_quadrature() {
    assert_agrees("y1c", &distances("y1c", TRIALS / 2, |study| study), 250);
}

#[test]
fn dependence_false_calls_and_escalation_agree_with_other_programs() {
    assert_agrees("y2", &distances("y2", TRIALS, |study| study), 250);
}

// Twins that must fail: each is a plausible slip, and each is far outside.

#[test]
#[should_panic(expected = "standard errors apart")]
fn a_wrong_pod_scale_is_noticed() {
    let slip = |mut study: StudyParts| {
        study.techniques.iter_mut().for_each(|technique| technique.pod.q50_mm *= 1.02);
        study
    };
    assert_agrees("y1a", &distances("y1a", TRIALS, slip), 250);
}

#[test]
#[should_panic(expected = "standard errors apart")]
fn a_wrong_growth_exponent_is_noticed() {
    let slip = |mut study: StudyParts| {
        study.growth.iter_mut().for_each(|law| law.exponent = 3.005);
        study
    };
    assert_agrees("y1a", &distances("y1a", TRIALS, slip), 250);
}

#[test]
#[should_panic(expected = "standard errors apart")]
fn correlation_left_out_is_noticed() {
    let slip = |mut study: StudyParts| {
        study.techniques.iter_mut().for_each(|technique| technique.crack_sigma = 0.0);
        study
    };
    assert_agrees("y2", &distances("y2", TRIALS, slip), 250);
}

fn distances(problem: &str, trials: u64, change: impl Fn(StudyParts) -> StudyParts) -> Vec<Distance> {
    let path = format!("{}/tests/engine/data/{problem}.toml", env!("CARGO_MANIFEST_DIR"));
    let study = change(Study::load(path).expect("a valid yardstick study").into_parts());
    let comparison = study.simulate(&Run { trials, seed: SEED, ..Run::default() }).expect("a run");
    let expected: Value = serde_json::from_str(include_str!("data/yardstick_expected.json")).expect("JSON");
    let rare: Value = serde_json::from_str(include_str!("data/yardstick_expected_rare.json")).expect("JSON");
    let mut found = Vec::new();
    for (index, strategy) in study.strategies.iter().enumerate() {
        let of = &expected["problems"][problem][&strategy.id];
        let rare = &rare["problems"][problem][&strategy.id];
        assert!(of.is_object(), "no expected values for {problem} {}", strategy.id);
        compare_strategy(&comparison, index, of, rare, &strategy.id, &mut found);
    }
    found
}

fn compare_strategy(
    comparison: &Comparison,
    strategy: usize,
    expected: &Value,
    rare: &Value,
    name: &str,
    found: &mut Vec<Distance>,
) {
    let trials = comparison.trials() as f64;
    let rows = expected["rows"].as_f64();
    let mut add = |what: String, ours: Estimate, expected: f64, se: f64| {
        let spread = ours.standard_error.hypot(se);
        let z = if spread > 0.0 { (ours.value - expected) / spread } else { 1e9 * (ours.value - expected) };
        found.push(Distance { what: format!("{name} {what}"), ours: ours.value, expected, z });
    };
    for (key, quantity) in [
        ("replaced", Quantity::BladesReplaced),
        ("false_replaced", Quantity::FalselyReplaced),
        ("p_bench_triggered", Quantity::Escalated),
    ] {
        let se = expected[format!("{key}_se")].as_f64().unwrap_or(0.0);
        add(key.into(), comparison.fleet_of(strategy, quantity), expected[key].as_f64().unwrap_or(0.0), se);
    }
    for (outage, after) in comparison.after_outages_of(0, strategy).iter().enumerate() {
        let number = |key: &str| expected[key][outage].as_f64().unwrap_or(0.0);
        add(
            format!("cracks {}", after.year),
            after.cracks,
            number("cracks_after_outage"),
            number("cracks_after_outage_se"),
        );
        if let Some(length) = after.mean_length_mm {
            add(format!("length {}", after.year), length, number("mean_length_mm"), number("mean_length_mm_se"));
        }
    }
    // Losses: counts, few or many; the distance is that of the exact test of counts.
    let mut add_count = |what: String, ours: Estimate, expected: f64, se: f64, rows: Option<f64>| {
        let expected_count = expected * trials;
        let z = if expected_count > 400.0 {
            (ours.value - expected) / ours.standard_error.hypot(se)
        } else {
            count_distance((ours.value * trials).round(), trials, expected, rows)
        };
        found.push(Distance { what: format!("{name} {what}"), ours: ours.value, expected, z });
    };
    for (key, quantity) in [("p_any_failure", Quantity::AnyLoss), ("failures", Quantity::Losses)] {
        let ours = comparison.fleet_of(strategy, quantity);
        if let Some(sharp) = rare[key].as_f64() {
            add_count(format!("{key} (rare)"), ours, sharp, rare[format!("{key}_se")].as_f64().unwrap_or(0.0), None);
        }
        let se = expected[format!("{key}_se")].as_f64().unwrap_or(0.0);
        add_count(key.into(), ours, expected[key].as_f64().unwrap_or(f64::NAN), se, rows);
    }
    for (year, ours) in comparison.fleet_losses_of(strategy).into_iter().enumerate() {
        let value = expected["yearly_failures"][year].as_f64().unwrap_or(f64::NAN);
        let se = expected["yearly_failures_se"][year].as_f64().unwrap_or(0.0);
        add_count(format!("losses in year {year}"), ours, value, se, rows);
    }
}
