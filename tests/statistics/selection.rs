//! Which of several means is the smallest, against values computed apart from this program with scipy
//! (`data/decisions_expected.csv`).

use crate::decisions::{Line, lines};
use approx::assert_relative_eq;
use nalgebra::DMatrix;
use serrata::statistics::selection::{
    budget_shares, chance_that_first_is_smallest, chances_to_be_smallest, elimination_bound, pairs_to_separate,
};

/// Means and sigmas of a case of the table.
fn systems(line: &Line) -> [Vec<f64>; 2] {
    let inputs = &line.inputs;
    if inputs.contains("0..9") {
        [(0..10).map(f64::from).collect(), vec![6.0; 10]]
    } else if inputs.starts_with("five") {
        [(1..6).map(f64::from).collect(), (1..6).map(f64::from).collect()]
    } else {
        assert!(inputs.starts_with("four, means 0,.1,.5,1, sd 1"), "{inputs}");
        [vec![0.0, 0.1, 0.5, 1.0], vec![1.0; 4]]
    }
}

#[test]
fn shares_of_a_budget_are_those_of_the_table() {
    let all = lines("ocba");
    for line in &all {
        let [means, sigmas] = systems(line);
        let design: usize = line.inputs.rsplit(' ').next().expect("a number").parse().expect("a number");
        line.assert(budget_shares(&means, &sigmas).expect("shares")[design - 1]);
    }
    assert_eq!(all.len(), 16);
}

#[test]
fn chances_of_a_right_choice_are_those_of_the_table() {
    for line in lines("prob_correct_selection") {
        let [means, sigmas] = systems(&line);
        let runs: Vec<f64> = if line.quantity.contains("OCBA") {
            budget_shares(&means, &sigmas).expect("shares").iter().map(|share| 1000.0 * share).collect()
        } else {
            let each = line.inputs.rsplit(';').next().expect("runs").trim().trim_end_matches(" runs each");
            vec![each.parse().expect("a number"); 10]
        };
        let sigmas: Vec<f64> = sigmas.iter().zip(&runs).map(|(sigma, runs)| sigma / runs.sqrt()).collect();
        let first = chance_that_first_is_smallest(&means, &sigmas);
        line.assert(first);
        // The same by points of all together, which know it less well.
        let variances =
            DMatrix::from_fn(
                10,
                10,
                |one, other| {
                    if one == other { 0.0 } else { sigmas[one].powi(2) + sigmas[other].powi(2) }
                },
            );
        let shares = chances_to_be_smallest(&means, &variances).expect("chances");
        assert!((shares[0] - first).abs() < 0.002, "{} for {first}", shares[0]);
        assert_relative_eq!(shares.iter().sum::<f64>(), 1.0, max_relative = 1e-12);
    }
    for line in lines("prob_best_two_correlated") {
        let correlation: f64 = line
            .inputs
            .split("correlation ")
            .nth(1)
            .and_then(|rest| rest.split(';').next())
            .expect("one")
            .parse()
            .expect("a number");
        let variance = 2.0 * 36.0 * (1.0 - correlation) / 100.0;
        let variances = DMatrix::from_row_slice(2, 2, &[0.0, variance, variance, 0.0]);
        line.assert(chances_to_be_smallest(&[0.0, 1.0], &variances).expect("chances")[0]);
    }
}

#[test]
fn bounds_and_pairs_are_those_of_the_table() {
    for line in lines("sequential_elimination") {
        let bound = elimination_bound(line.count("k"), line.count("n0"), line.input("alpha")).expect("a bound");
        line.assert(if line.quantity.starts_with("eta") { bound.slope } else { bound.square });
    }
    for line in lines("pairs_to_separate") {
        let correlation: f64 = line.inputs.rsplit(' ').next().expect("one").parse().expect("a number");
        let sigma = 6.0 * (2.0 * (1.0 - correlation)).sqrt();
        line.assert(pairs_to_separate(1.0, sigma).expect("a number") as f64);
    }
}

/// Three numbers, of which the last two go together: by symmetry, and by an integral over the angle of two normal numbers.
#[test]
fn what_goes_together_shares_its_chance() {
    // The second and the third are one: each has half of what they have together.
    let variances = DMatrix::from_row_slice(3, 3, &[0.0, 2.0, 2.0, 2.0, 0.0, 0.0, 2.0, 0.0, 0.0]);
    let shares = chances_to_be_smallest(&[0.0, 0.0, 0.0], &variances).expect("chances");
    assert!((shares[0] - 0.5).abs() < 0.002 && (shares[1] - 0.25).abs() < 0.002, "{shares:?}");
    // Independent and alike: a third each; nothing in doubt: the smallest.
    let apart = DMatrix::from_fn(3, 3, |one, other| if one == other { 0.0 } else { 2.0 });
    assert!(
        chances_to_be_smallest(&[1.0; 3], &apart)
            .expect("chances")
            .iter()
            .all(|share| (share - 1.0 / 3.0).abs() < 0.002)
    );
    let none = DMatrix::zeros(3, 3);
    assert_eq!(chances_to_be_smallest(&[2.0, 1.0, 1.0], &none).expect("chances"), [0.0, 0.5, 0.5]);
    assert_eq!(chances_to_be_smallest(&[3.0], &DMatrix::zeros(1, 1)).expect("chances"), [1.0]);
    assert_eq!(chances_to_be_smallest(&[1.0, 1.0], &DMatrix::zeros(2, 2)).expect("chances"), [0.5, 0.5]);
    assert_eq!(chances_to_be_smallest(&[1.0, 2.0], &DMatrix::zeros(2, 2)).expect("chances"), [1.0, 0.0]);
}

#[test]
fn what_cannot_be_told_apart_is_refused() {
    assert!(budget_shares(&[1.0, 1.0, 2.0], &[1.0; 3]).is_err());
    assert!(budget_shares(&[1.0, 2.0], &[1.0, 0.0]).is_err());
    assert!(elimination_bound(1, 10, 0.05).is_err() && elimination_bound(2, 10, 0.5).is_err());
    assert!(chances_to_be_smallest(&[1.0, f64::NAN], &DMatrix::zeros(2, 2)).is_err());
    assert!(chances_to_be_smallest(&[1.0, 2.0], &DMatrix::zeros(3, 3)).is_err());
    assert_eq!(pairs_to_separate(f64::NAN, 1.0), None);
}
