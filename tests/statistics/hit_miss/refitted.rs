//! Goodness of fit, and what the fit would be of other looks.

use super::{GENERATED, drawn, fitted, high, logistic, pairs};
use serrata::statistics::hit_miss::{Bounds, Link, Looks, Method, Model, Resampled, fit};

#[test]
fn leaving_a_look_out_is_a_fit_of_the_others() {
    let influence = fitted(Link::Logit).influence(0.9).expect("a fit");
    assert_eq!(influence.len(), 60);
    for left_out in [0, 17, 59] {
        let mut others = pairs(GENERATED);
        let (size_mm, called) = others.remove(left_out);
        assert_eq!((influence[left_out].size_mm, influence[left_out].called), (size_mm, called));
        let alone = fit(&Looks::from_pairs(&others).expect("good"), &Model::default()).expect("a fit");
        let (ours, theirs) = (influence[left_out].without_mm.expect("reached"), alone.size_at(0.9).expect("reached"));
        // Both are right to a millionth of a standard error of ln q90, which is 0.25.
        assert!((ours / theirs).ln().abs() < 1e-6, "{left_out}: {ours} {theirs}");
    }
}

#[test]
fn a_look_without_which_hits_and_misses_do_not_overlap_is_named() {
    // The miss at 2.05 mm is the only one above a hit.
    let looks: Vec<(f64, bool)> =
        (1..=20).map(|size| (0.1 * f64::from(size), size > 10)).chain([(2.05, false)]).collect();
    let fit = fit(&Looks::from_pairs(&looks).expect("good"), &Model::default()).expect("a fit");
    let alone: Vec<f64> = fit
        .influence(0.9)
        .expect("a fit")
        .iter()
        .filter(|one| one.without_mm.is_none())
        .map(|one| one.size_mm)
        .collect();
    assert_eq!(alone, [2.05]);
    let notes = fit.notes().expect("notes").join("; ");
    assert!(notes.contains("without the miss at 2.05 mm there is none"), "{notes}");
}

#[test]
fn a_right_curve_suits_the_looks_and_a_wrong_one_does_not() {
    let right = drawn(1000, 7, |size, _| logistic(size, 1.5, 3.0));
    let wrong = drawn(1000, 7, |size, _| 0.65 * logistic(size, 1.5, 8.0));
    let goodness = |looks: &[(f64, bool)]| {
        let fit = fit(&Looks::from_pairs(looks).expect("good"), &Model::default()).expect("a fit");
        let goodness = fit.goodness().expect("enough looks");
        // The logit's own equation: hits expected are hits found.
        let expected: f64 = goodness.groups.iter().map(|group| group.expected).sum();
        assert!((expected - fit.looks().hits().0 as f64).abs() < 1e-4, "{expected}");
        goodness.p_value
    };
    // A right curve gives less than this once in a thousand seeds.
    assert!(goodness(&right) > 1e-3);
    assert!(goodness(&wrong) < 1e-6);
}

#[test]
fn looks_drawn_anew_spread_as_the_standard_error_says() {
    const RESAMPLES: usize = 2000;
    let looks = Looks::from_pairs(&drawn(2000, 11, |size, _| logistic(size, 1.5, 3.0))).expect("good");
    let fit = fit(&looks, &Model::default()).expect("a fit");
    let resampled = fit.resampled(0.9, RESAMPLES, 1).expect("resamples");
    assert_eq!((resampled.without, resampled.sizes_mm.len()), (0, RESAMPLES));
    let logs: Vec<f64> = resampled.sizes_mm.iter().map(|size| size.ln()).collect();
    let mean = logs.iter().sum::<f64>() / RESAMPLES as f64;
    let spread = (logs.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / RESAMPLES as f64).sqrt();
    let wald = high(fit.size_bounds(0.9, 0.841_344_746_068_543, Method::Wald).expect("bounds"));
    let error = (wald / fit.size_at(0.9).expect("reached")).ln();
    // A standard deviation of 2000 is itself known to 1 / sqrt(4000) = 1.6 %; five of those.
    assert!((spread / error - 1.0).abs() < 0.08, "{spread} {error}");
    assert_eq!(resampled, fit.resampled(0.9, RESAMPLES, 1).expect("resamples"), "the same seed, the same resamples");
    assert!(fit.resampled(0.9, 10, 1).is_err());
}

#[test]
fn resamples_without_a_curve_are_counted_and_widen_the_bounds() {
    // A3: few looks, so that many resamples are separated.
    let looks: Vec<(f64, bool)> =
        (1..=20).map(|size| (0.1 * f64::from(size), size > 10)).chain([(2.05, false)]).collect();
    let fit = fit(&Looks::from_pairs(&looks).expect("good"), &Model::default()).expect("a fit");
    let resampled = fit.resampled(0.9, 400, 3).expect("resamples");
    assert!(resampled.without > 40, "{}", resampled.without); // the one miss is left out of exp(-1) of them
    assert_eq!(resampled.bounds(0.95).expect("bounds"), Bounds { low: None, high: None });
    // On paper: of 100 resamples, 2 without a size; 5 may lie beyond a 95 % bound, so 3 of those that have one.
    let counted = Resampled { sizes_mm: (1..=98).map(f64::from).collect(), without: 2 };
    assert_eq!(counted.bounds(0.95).expect("bounds"), Bounds { low: Some(4.0), high: Some(95.0) });
}
