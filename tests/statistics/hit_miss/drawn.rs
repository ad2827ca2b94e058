//! Draws of what the data leave open.

use super::{GENERATED, fitted, pairs};
use serrata::random::Key;
use serrata::statistics::hit_miss::{Link, Looks, Model, fit};

/// Of the generated data (statistics_expected.csv, computed): ln q50 of the logit fit has standard error
/// 0.146230, and ln spread, which is -ln b1, sqrt(0.351172) / 2.476582.
#[test]
fn drawn_curves_scatter_as_the_covariance_says() {
    const DRAWS: u64 = 4_000;
    let fit = fitted(Link::Logit);
    let draws: Vec<[f64; 2]> = (0..DRAWS)
        .map(|draw| {
            let pod = fit.drawn_evidence(Key::from_seed(4).child(draw)).expect("a draw").pod;
            [pod.q50_mm.ln(), pod.spread.ln()]
        })
        .collect();
    let count = DRAWS as f64;
    let expected = [(1.279_87_f64.ln(), 0.146_230), ((1.0 / 2.476_582_f64).ln(), 0.351_172_f64.sqrt() / 2.476_582)];
    for (index, (mean, spread)) in expected.into_iter().enumerate() {
        let numbers = || draws.iter().map(|draw| draw[index]);
        let found = numbers().sum::<f64>() / count;
        let deviation = (numbers().map(|x| (x - found).powi(2)).sum::<f64>() / count).sqrt();
        // Four standard errors of a mean, and of a standard deviation: s / sqrt(2 n).
        assert!((found - mean).abs() < 4.0 * spread / count.sqrt(), "{found} {mean}");
        assert!((deviation / spread - 1.0).abs() < 4.0 / (2.0 * count).sqrt(), "{deviation} {spread}");
    }
    let same = fit.drawn_evidence(Key::from_seed(4).child(7)).expect("a draw");
    assert_eq!(same.pod.q50_mm.ln(), draws[7][0]);
    assert_eq!(same.basis, "one draw of what 60 looks, 32 of them hits, leave open");
}

/// Where sizes lie mostly beyond q50, level and slope hang together. Delta method on ln q50 = -b0 / b1, with the
/// covariance that other tests hold to reference values.
#[test]
fn level_and_slope_move_together() {
    const DRAWS: u64 = 4_000;
    let larger: Vec<(f64, bool)> = pairs(GENERATED).into_iter().filter(|(size_mm, _)| *size_mm > 1.0).collect();
    let fit = fit(&Looks::from_pairs(&larger).expect("looks"), &Model::default()).expect("a fit");
    let covariance = fit.covariance().expect("a covariance");
    let slope = fit.coefficients()[1].value;
    let x = fit.size_at(0.5).expect("a size").ln();
    let variance = covariance[0][0] + 2.0 * x * covariance[0][1] + x * x * covariance[1][1];
    let expected = variance.sqrt() / slope;
    let key = Key::from_seed(9);
    let logs: Vec<f64> =
        (0..DRAWS).map(|draw| fit.drawn_evidence(key.child(draw)).expect("a draw").pod.q50_mm.ln()).collect();
    let mean = logs.iter().sum::<f64>() / DRAWS as f64;
    let found = (logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>() / DRAWS as f64).sqrt();
    assert!((found / expected - 1.0).abs() < 4.0 / (2.0 * DRAWS as f64).sqrt(), "{found} against {expected}");
}
