//! How many blades to look at, against values computed apart from this program with scipy (`data/decisions_expected.csv`), by
//! the formula of Cameron and Baldock (1998) and by Bayes' rule.

use crate::decisions::lines;
use approx::assert_relative_eq;
use serrata::statistics::blades_to_look_at::{BladesToLookAt, HowMany, LookAtRow, Prior, Question, Remaining};

fn without_prior(
    blades: u32,
    fewer_than: u32,
    found: u32,
    pod: f64,
    confidence: f64,
) -> serrata::Result<BladesToLookAt> {
    let question = Question { blades, fewer_than, found, pod, confidence };
    HowMany::new(&question, None).map(|answer| answer.if_left)
}

fn by_prior(fewer_than: u32, pod: f64, prior: &Prior) -> BladesToLookAt {
    let question = Question { blades: 80, fewer_than, found: 0, pod, confidence: 0.95 };
    HowMany::new(&question, Some(prior)).expect("an answer").by_prior.expect("a prior").1
}

#[test]
fn the_smallest_numbers_of_looks_without_a_call_are_those_of_the_table() {
    let all = lines("sample_size");
    for line in &all {
        let (blades, fewer_than, pod) = (line.count("N"), line.count("k"), line.input("pod"));
        let ours = without_prior(blades, fewer_than, 0, pod, 0.95).expect("an answer");
        let expected = (line.value != "none").then(|| line.value.parse().expect("a count"));
        assert_eq!(ours.blades, expected, "{}", line.inputs);
        if expected.is_none() {
            // By hand: the whole row is looked at, and all k are missed.
            assert_relative_eq!(ours.chance_left, (1.0 - pod).powi(fewer_than as i32), max_relative = 1e-9);
            let needed = 1.0 - 0.05_f64.powf(1.0 / f64::from(fewer_than));
            assert_relative_eq!(ours.pod_needed.expect("a perfect look is enough"), needed, max_relative = 1e-9);
        } else {
            assert!(ours.chance_left <= 0.05 + 1e-12 && ours.pod_needed.is_none(), "{ours:?}");
        }
    }
    assert!(all.len() > 130 && all.iter().filter(|line| line.value == "none").count() > 20, "{}", all.len());
}

#[test]
fn chances_of_calls_are_those_of_the_table() {
    for line in lines("zero_calls") {
        let look = LookAtRow::new(line.count("N"), line.count("n"), line.input("pod"), 0.0).expect("a look");
        line.assert(look.calls(line.count("D")).expect("chances")[0]);
    }
    for line in lines("calls_distribution") {
        let look = LookAtRow::new(line.count("N"), line.count("n"), line.input("pod"), line.input("false"));
        line.assert(look.expect("a look").calls(line.count("D")).expect("chances")[line.count("x") as usize]);
    }
    for line in lines("detect_at_least_c") {
        // More blades than a row has: animals of a herd.
        let look = LookAtRow {
            blades: line.count("N"),
            looked_at: line.count("n"),
            pod: line.input("pod"),
            false_call_probability: line.input("false"),
        };
        line.assert(look.at_least(line.count("c"), line.count("D")).expect("a chance"));
    }
}

#[test]
fn what_remains_after_a_clean_look_is_that_of_the_table() {
    for line in lines("clean_look_posterior") {
        let prior = Prior::each_blade(line.input("prior")).expect("a prior");
        let pod = line.input("pod");
        if line.quantity.contains("one blade") {
            line.assert(Remaining::after(1, 1, 0, pod, &prior).expect("an answer").at_least(1));
            continue;
        }
        let remaining = Remaining::after(line.count("N"), line.count("n"), 0, pod, &prior).expect("an answer");
        let ours = if line.quantity.starts_with("E(") { remaining.mean() } else { remaining.at_least(line.count("k")) };
        line.assert(ours);
    }
    for line in lines("clean_look_posterior_row_effect") {
        // Beta(1, 49): a mean of 0.02, worth 50 blades.
        let prior = Prior::row(0.02, 50.0).expect("a prior");
        let remaining = Remaining::after(80, 80, 0, line.input("pod"), &prior).expect("an answer");
        line.assert(remaining.at_least(line.count("k")));
    }
}

/// With the beta prior all sums have closed forms: after x of n were called by a perfect look, the chance of a blade that nobody
/// looked at is (a + x) / (a + b + n) in the mean.
#[test]
fn finds_tell_of_the_blades_that_nobody_looked_at() {
    for (shapes, n, x) in
        [([1.0, 49.0], 20_u32, 0_u32), ([1.0, 49.0], 20, 3), ([0.4, 7.6], 60, 1), ([30.0, 70.0], 50, 22)]
    {
        let [a, b] = shapes;
        let prior = Prior::row(a / (a + b), a + b).expect("a prior");
        let remaining = Remaining::after(80, n, x, 1.0, &prior).expect("an answer");
        let expected = f64::from(80 - n) * (a + f64::from(x)) / (a + b + f64::from(n));
        assert_relative_eq!(remaining.mean(), expected, max_relative = 1e-6);
        assert_relative_eq!(remaining.chances.iter().sum::<f64>(), 1.0, max_relative = 1e-12);
    }
}

/// Rows are drawn, looked at, and asked what the reading says: of those in which so few were found, with as many cracked blades
/// as the reading supposes.
#[test]
fn the_second_reading_is_of_blades_left_beside_those_found() {
    let (blades, fewer_than, found, pod) = (80, 3, 2, 0.9);
    let answer = without_prior(blades, fewer_than, found, pod, 0.95).expect("an answer");
    let looked_at = answer.blades.expect("a number");
    // By a sum over all ways, as the first reading has none.
    let choose = |n: u32, k: u32| (0..k).map(|i| f64::from(n - i) / f64::from(i + 1)).product::<f64>();
    let chance = |n: u32| -> f64 {
        (0..=5_u32)
            .map(|there| {
                let ways = choose(5, there) * choose(75, n - there) / choose(80, n);
                let few: f64 = (0..=there.min(2))
                    .map(|calls| {
                        choose(there, calls) * pod.powi(calls as i32) * (1.0_f64 - pod).powi((there - calls) as i32)
                    })
                    .sum();
                ways * few
            })
            .sum()
    };
    assert!(chance(looked_at) <= 0.05 && chance(looked_at - 1) > 0.05, "{looked_at}: {}", chance(looked_at));
    assert_relative_eq!(answer.chance_left, chance(looked_at), max_relative = 1e-9);
    // More finds ask for more looks.
    let numbers: Vec<u32> =
        (0..4).map(|found| without_prior(80, 3, found, 0.9, 0.95).expect("an answer").blades.unwrap_or(81)).collect();
    assert!(numbers.is_sorted() && numbers[0] < numbers[3], "{numbers:?}");
}

#[test]
fn a_prior_makes_the_number_smaller_or_larger() {
    let needed = |prior: &Prior, pod: f64| by_prior(2, pod, prior);
    let rare = Prior::each_blade(0.001).expect("a prior");
    // Fewer than two are there anyway.
    assert_eq!(needed(&rare, 0.8).blades, Some(0));
    let frequent = Prior::each_blade(0.02).expect("a prior");
    let answer = needed(&frequent, 0.8);
    let enough = answer.blades.expect("a number");
    let left = |n: u32| Remaining::after(80, n, 0, 0.8, &frequent).expect("an answer").at_least(2);
    assert!(left(enough) <= 0.05 && left(enough - 1) > 0.05);
    // From the table: with all looked at at 0.5 the chance of two or more is 0.194, and no number is enough.
    let none = needed(&frequent, 0.5);
    assert_eq!(none.blades, None);
    let pod = none.pod_needed.expect("a perfect look is enough");
    let at_needed = Remaining::after(80, 80, 0, pod, &frequent).expect("an answer").at_least(2);
    assert_relative_eq!(at_needed, 0.05, max_relative = 1e-8);
}

#[test]
fn what_is_no_row_or_no_chance_is_refused_in_words() {
    let refused = |answer: serrata::Result<()>| answer.expect_err("refused").to_string();
    let looks = |blades, looked_at, pod, falsely| LookAtRow::new(blades, looked_at, pod, falsely).map(|_| ());
    assert!(refused(looks(80, 81, 0.5, 0.0)).contains("must be at most 80"));
    assert!(refused(looks(0, 0, 0.5, 0.0)).contains("must be at least 1"));
    assert!(refused(looks(80, 8, f64::NAN, 0.0)).contains("pod"));
    let needed = |fewer_than, found, confidence| without_prior(80, fewer_than, found, 0.9, confidence).map(|_| ());
    assert!(refused(needed(0, 0, 0.95)).contains("1 says that none remains"));
    assert!(refused(needed(60, 30, 0.95)).contains("must be at most 50"));
    assert!(refused(needed(1, 0, 1.0)).contains("confidence"));
    let sound = Prior::each_blade(0.0).expect("a prior");
    assert!(refused(Remaining::after(80, 20, 1, 0.9, &sound).map(|_| ())).contains("cannot come about"));
    assert!(Prior::row(0.0, 50.0).is_err() && Prior::row(0.1, 0.0).is_err() && Prior::row(0.1, f64::NAN).is_err());
}

#[test]
fn the_answers_are_said_in_words() {
    let question = Question { blades: 80, fewer_than: 2, found: 1, pod: 0.9, confidence: 0.95 };
    let prior = Prior::row(0.02, 50.0).expect("a prior");
    let answer = HowMany::new(&question, Some(&prior)).expect("an answer");
    let said = answer.statements();
    assert_eq!(
        said[0],
        "If there were 2 cracked blades in the row, 95 % sure to call one or more: look at 69 of 80 blades."
    );
    assert!(
        said[1].starts_with(
            "If 2 cracked blades were left beside the 1 found and replaced, 95 % sure to have called more: "
        )
    );
    assert!(said[2].contains("2.0 % of the blades are cracked in the mean before anybody looks"), "{}", said[2]);
    let blunt = HowMany::new(&Question { pod: 0.7, found: 0, fewer_than: 1, ..question }, None).expect("an answer");
    assert_eq!(
        blunt.statements()[0],
        "If there were 1 cracked blade in the row, 95 % sure to call one or more: no number is enough: after a look at all 80 a \
         chance of 30 % is left; the chance of detection would have to be 0.950 or more."
    );
    // The curves pass the limit where the answers say.
    let curves = answer.curves();
    for (curve, number) in [
        (&curves.if_there, answer.if_there.blades),
        (&curves.if_left, answer.if_left.blades),
        (curves.by_prior.as_ref().expect("a prior"), answer.by_prior.as_ref().expect("a prior").1.blades),
    ] {
        let first = curve.iter().position(|chance| *chance <= 0.05 + 1e-12).map(|n| n as u32);
        assert_eq!(first, number);
        assert!(curve.iter().skip(1).is_sorted_by(|one, other| one >= other), "{curve:?}");
    }
}
