//! Demonstration plans and outcomes.
//!
//! Plans 29/29, 45/46, 59/61 for 90 % at 95 %: NASA-STD-5009 and MIL-HDBK-1823A (pairs from memory);
//! every bound computed with scipy 1.17 (`data/statistics_expected.csv`, `data/binomial_demo.csv`).

use crate::expected::{between, expected, rows};
use serrata::statistics::demonstration::{Demonstration, MOST_SPECIMENS, Plan, specimens_needed};
use serrata::statistics::interval::{exact_proportion, wilson_proportion};

#[test]
fn every_expected_plan_and_bound_is_met() {
    for wanted in expected("binomial_demo") {
        let ours = if let Some(plan) = between(wanted.quantity, "n_min[", "]") {
            let number = |name: &str| -> f64 {
                let value = plan.split(';').find_map(|part| part.strip_prefix(name)).expect("a part");
                value.parse().expect("a number")
            };
            specimens_needed(number("pod="), number("conf="), number("misses=") as u64).expect("a plan") as f64
        } else {
            let counts = wanted.quantity.split_once('[').expect("counts").1.trim_end_matches(']');
            let (found, specimens) = counts.split_once('/').expect("two counts");
            let number = |text: &str| text.parse::<u64>().expect("a count");
            let test = Demonstration::new(number(found), number(specimens), 0.95).expect("an outcome");
            match wanted.quantity.split_once('[').expect("counts").0 {
                "cp_lower_one_sided95" => test.lower_bound,
                "cp_two_sided95_low" => test.interval.0,
                "cp_two_sided95_high" => test.interval.1,
                other => panic!("no check of {other}"),
            }
        };
        wanted.assert(ours);
    }
}

#[test]
fn every_plan_of_the_table_is_the_smallest_of_its_kind() {
    for row in rows(include_str!("data/binomial_demo.csv")) {
        let number = |index: usize| row[index].parse::<f64>().expect("a number");
        let (pod, confidence, misses, specimens) = (number(0), number(1), number(2) as u64, number(3) as u64);
        let plan = Plan::new(pod, confidence, misses).expect("a plan");
        assert_eq!((plan.specimens, plan.specimens - misses), (specimens, number(4) as u64), "{row:?}");
        // The table has eight decimals.
        assert!((plan.lower_bound - number(5)).abs() < 1e-7, "{row:?}");
        let one_fewer = Demonstration::new(specimens - 1 - misses, specimens - 1, confidence).expect("an outcome");
        assert!((one_fewer.lower_bound - number(6)).abs() < 1e-7, "{row:?}");
        assert!(!one_fewer.shows(pod) && plan.lower_bound >= pod);
    }
}

#[test] // Newcombe, Statistics in Medicine 17 (1998), table I; recomputed with scipy
fn every_expected_interval_of_a_proportion_is_met() {
    for wanted in expected("proportion_ci") {
        let (name, counts) = wanted.quantity.trim_end_matches(']').split_once('[').expect("counts");
        let (events, trials) = counts.split_once('/').expect("two counts");
        let number = |text: &str| text.parse::<f64>().expect("a count");
        let method = if name.starts_with("wilson") { wilson_proportion } else { exact_proportion };
        let (low, high) = method(number(events), number(trials), 0.95);
        wanted.assert(if name.ends_with("low") { low } else { high });
    }
}

#[test] // a plan with no miss has a closed form: pod to the power n
fn a_plan_without_misses_is_a_power() {
    for pod in [0.5, 0.8, 0.9, 0.99, 0.999] {
        for confidence in [0.5, 0.9, 0.95, 0.999] {
            let n = specimens_needed(pod, confidence, 0).expect("a plan");
            let fails = 1.0 - confidence;
            assert!(pod.powi(n as i32) <= fails * (1.0 + 1e-9), "{pod} {confidence} {n}");
            assert!(n == 1 || pod.powi(n as i32 - 1) > fails * (1.0 - 1e-9), "{pod} {confidence} {n}");
            let test = Demonstration::new(n, n, confidence).expect("an outcome");
            assert!((test.lower_bound - fails.powf(1.0 / n as f64)).abs() < 1e-12);
            assert!((test.confidence_in(pod) - (1.0 - pod.powi(n as i32))).abs() < 1e-12);
        }
    }
    // A tail that meets its limit exactly passes: 0.5 squared is 1 - 0.75.
    assert_eq!(specimens_needed(0.5, 0.75, 0).expect("a plan"), 2);
}

#[test]
fn an_outcome_shows_just_what_its_bound_says() {
    for (found, specimens) in [(29, 29), (28, 29), (45, 46), (3, 60), (0, 4)] {
        let test = Demonstration::new(found, specimens, 0.95).expect("an outcome");
        assert!(test.shows(test.lower_bound - 1e-9), "{found} of {specimens}");
        assert!(!test.shows(test.lower_bound + 1e-9), "{found} of {specimens}");
        let attained = if found == 0 { 0.95 } else { test.confidence_in(test.lower_bound) };
        assert!((attained - 0.95).abs() < 1e-9, "{found} of {specimens}: {attained}");
    }
}

#[test]
fn a_technique_passes_as_often_as_the_binomial_says() {
    let plan = Plan::new(0.90, 0.95, 0).expect("a plan");
    // 0.9^29, 0.95^29 and 0.99^29.
    for (true_pod, chance) in [(0.90, 0.047_101), (0.95, 0.225_936), (0.99, 0.747_172), (1.0, 1.0), (0.0, 0.0)] {
        let ours = plan.chance_of_passing(true_pod).expect("a chance");
        assert!((ours - chance).abs() < 1e-6, "{true_pod}: {ours}");
    }
    // Whatever the plan, one that just does not deserve it passes no oftener than the confidence allows.
    for misses in 0..6 {
        let plan = Plan::new(0.90, 0.95, misses).expect("a plan");
        assert!(plan.chance_of_passing(0.90).expect("a chance") <= 0.05);
    }
}

#[test] // request J3, J2
fn the_statements_tell_what_is_shown_for_which_sizes_and_what_is_not() {
    let test = Demonstration::new(29, 29, 0.95).expect("an outcome");
    let said = test.statements(Some(0.90)).expect("statements").join("\n");
    assert_eq!(
        said,
        "29 of 29 found: the probability of detection is at least 0.9018 at 95 % confidence (one-sided, exact).\n\
         Two-sided 95 % interval: 0.8805 to 1.0000 (Clopper and Pearson; not symmetric).\n\
         A probability of detection of 0.9 is shown at 95 % confidence.\n\
         The crack lengths of the specimens were not given: for other lengths nothing is shown.\n\
         False calls were not given: calling every specimen passes such a test too.\n\
         It counts these people, this procedure and these surfaces; finds in the field are commonly fewer."
    );
    let test = Demonstration::new(28, 29, 0.95).and_then(|test| test.with_lengths_mm(1.5, 2.0));
    let test = test.and_then(|test| test.with_false_calls(0, 50)).expect("an outcome");
    let said = test.statements(Some(0.90)).expect("statements");
    assert_eq!(
        said[2],
        "A probability of detection of 0.9 is not shown: the confidence in it is 80.1 %, not 95 %. With 1 miss 46 \
         specimens would be needed. Adding specimens after the outcome is known proves less than the figures say; plan \
         a new test."
    );
    assert!(said[3].contains("1.5 to 2 mm"), "{}", said[3]);
    assert_eq!(said[4], "False calls: 0 of 50 specimens without a crack, at most 0.0712 (95 %, two-sided).");
}

#[test]
fn a_printed_bound_is_never_better_than_the_bound() {
    let test = Demonstration::new(29, 29, 0.95).expect("an outcome");
    assert!(test.lower_bound > 0.90185 && test.statements(None).expect("statements")[0].contains("0.9018 "));
}

#[test]
fn impossible_tests_are_refused_in_plain_words() {
    let refusal = |outcome: serrata::Result<Demonstration>| outcome.expect_err("a refusal").to_string();
    assert_eq!(
        refusal(Demonstration::new(30, 29, 0.95)),
        "found = 30\n    must be at most the 29 specimens\n    count each specimen once"
    );
    assert_eq!(
        refusal(Demonstration::new(0, 0, 0.95)),
        "specimens = 0\n    must be a whole number from 1 to 1000000000\n    give the number of specimens looked at"
    );
    assert_eq!(
        refusal(Demonstration::new(1, 1, 1.0)),
        "confidence = 1\n    must be below 1\n    lower confidence below 1"
    );
    assert!(refusal(Demonstration::new(1, 1, f64::NAN)).contains("must be a finite number"));
    assert_eq!(
        specimens_needed(1.0, 0.95, 0).expect_err("certainty").to_string(),
        "pod = 1\n    must be below 1\n    lower pod below 1"
    );
    assert!(specimens_needed(1.0 - 1e-12, 0.95, 0).expect_err("too many").to_string().contains("needs more than"));
    assert!(specimens_needed(0.9, 0.95, u64::MAX).is_err());
    assert!(Demonstration::new(MOST_SPECIMENS, MOST_SPECIMENS, 0.95).is_ok());
}
