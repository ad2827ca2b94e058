//! Demonstration plans and outcomes.
//!
//! Plans 29/29, 45/46, 59/61 for 90 % at 95 %: NASA-STD-5009 and MIL-HDBK-1823A (pairs from memory);
//! every bound computed with scipy 1.17 (`data/statistics_expected.csv`, `data/binomial_demo.csv`).

use crate::expected::{between, expected, rows};
use approx::assert_relative_eq;
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

/// Events, trials, confidence; two-sided lower and upper, one-sided lower and upper end; exact binomial by an independent
/// program, to a millionth.
type Counts = (u64, u64, f64, [Option<f64>; 4]);

const COUNTS: [Counts; 13] = [
    (29, 29, 0.95, [Some(0.880_555_1), Some(1.0), Some(0.901_855_4), Some(1.0)]),
    (28, 29, 0.95, [Some(0.822_355_7), None, Some(0.846_608_0), None]),
    (45, 46, 0.95, [Some(0.884_728_2), None, Some(0.900_975_7), None]),
    (59, 61, 0.95, [Some(0.886_527_8), None, Some(0.900_365_1), None]),
    (0, 20, 0.95, [Some(0.0), Some(0.168_433_5), Some(0.0), Some(0.139_108_3)]),
    (20, 20, 0.95, [Some(0.831_566_5), Some(1.0), Some(0.860_891_7), Some(1.0)]),
    (0, 1_000_000, 0.95, [Some(0.0), Some(3.688_872_7e-6), Some(0.0), Some(2.995_727_8e-6)]),
    (3, 1_000_000, 0.95, [Some(6.186_725_5e-7), Some(8.767_247_8e-6), Some(8.176_919_3e-7), Some(7.753_638_1e-6)]),
    (0, 1_000_000_000, 0.95, [Some(0.0), Some(3.688_879_4e-9), Some(0.0), Some(2.995_732_3e-9)]),
    (7, 1_000_000_000, 0.95, [Some(2.814_363_1e-9), Some(1.442_267_5e-8), Some(3.285_315_7e-9), Some(1.314_811_4e-8)]),
    (0, 1000, 1.0 - 1e-7, [Some(0.0), Some(0.016_670_722_4), Some(0.0), Some(0.015_988_894_2)]),
    (1, 1000, 1.0 - 1e-7, [Some(5.000_000_1e-11), Some(0.019_662_593_6), Some(1.0e-10), Some(0.018_947_576_9)]),
    (1000, 1000, 1.0 - 1e-7, [Some(0.983_329_277_6), Some(1.0), Some(0.984_011_105_8), Some(1.0)]),
];

#[test]
fn exact_ends_keep_their_figures_for_no_event_all_events_and_many_trials() {
    for (events, trials, confidence, [low, high, one_low, one_high]) in COUNTS {
        let ends = |level| exact_proportion(events as f64, trials as f64, level);
        // One side at a confidence is one end of two sides with that much outside each.
        let (ours, one_sided) = (ends(confidence), ends(2.0 * confidence - 1.0));
        let pairs = [(ours.0, low), (ours.1, high), (one_sided.0, one_low), (one_sided.1, one_high)];
        for (ours, right) in pairs.into_iter().filter_map(|(ours, right)| Some((ours, right?))) {
            assert_relative_eq!(ours, right, max_relative = 1e-6, epsilon = 0.0);
            assert!((0.0..=1.0).contains(&ours));
        }
        if let (Ok(test), true) = (Demonstration::new(events, trials, confidence), one_low.is_some()) {
            assert_relative_eq!(test.lower_bound, one_low.unwrap_or(0.0), max_relative = 1e-6, epsilon = 0.0);
        }
    }
    for (events, trials) in [(0.0, 0.0), (5.0, 4.0), (-1.0, 10.0)] {
        assert!(exact_proportion(events, trials, 0.95).1.is_nan());
    }
    assert!(Demonstration::new(0, 0, 0.95).is_err() && Demonstration::new(5, 4, 0.95).is_err());
}

#[test]
fn twenty_nine_of_twenty_nine_show_ninety_percent_on_one_side_alone() {
    let said = Demonstration::new(29, 29, 0.95).expect("an outcome").statements(Some(0.9)).expect("a claim").join(" ");
    assert!(said.contains("at least 0.9018 at 95 % confidence (one-sided, exact)"), "{said}");
    assert!(said.contains("Two-sided 95 % interval: 0.8805"), "{said}");
    let verdict = "A probability of detection of 0.9 is shown at 95 % confidence, one-sided; the two-sided interval does not \
                   show it.";
    assert!(said.contains(verdict), "{said}");
    // No find at all has an upper bound, and no plus or minus nothing.
    let none = Demonstration::new(0, 20, 0.95).expect("an outcome").statements(None).expect("no claim").join(" ");
    assert!(none.contains("Two-sided 95 % interval: 0.0000 to 0.1685"), "{none}");
    // Nor are false calls that were never seen impossible.
    let clean = Demonstration::new(29, 29, 0.95).expect("an outcome").with_false_calls(0, 20).expect("counts");
    assert!(clean.statements(None).expect("no claim").join(" ").contains("at most 0.1685"));
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
         A probability of detection of 0.9 is shown at 95 % confidence, one-sided; the two-sided interval does not show \
         it.\n\
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
