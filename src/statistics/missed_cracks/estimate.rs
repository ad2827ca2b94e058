//! A number of missed blades with its interval, on the scale of logarithms.

use crate::math::normal_quantile;
use serde::Serialize;

/// Number of cracked blades that nobody found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// Cracked blades that nobody found.
    pub missed: f64,
    /// Standard error of their number.
    pub standard_error: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Estimate {
    /// With a log-normal interval, which cannot fall below zero (Chao, Biometrics 43, 1987).
    ///
    /// `None` where nothing is estimated to be missed: such an interval would have no width.
    pub(super) fn log_normal(missed: f64, variance: f64, level: f64) -> Option<Self> {
        let spread = (variance / (missed * missed)).ln_1p().sqrt();
        Estimate::spread(missed, variance.sqrt(), spread, level)
    }

    /// With the spread of its logarithm given.
    pub(super) fn spread(missed: f64, standard_error: f64, spread: f64, level: f64) -> Option<Self> {
        let reach = (normal_quantile(0.5 + 0.5 * level) * spread).exp();
        let estimate = Estimate { missed, standard_error, low: missed / reach, high: missed * reach };
        (missed > 0.0 && estimate.high.is_finite() && standard_error.is_finite()).then_some(estimate)
    }
}

/// The average of several models' numbers, on the scale of logarithms; `None` without a model.
///
/// Weights are exp(-AIC/2), normed; the spread of the logarithm counts each model's own and its distance
/// to the average (Buckland, Burnham and Augustin, Biometrics 53, 1997, equation 9).
pub(super) fn averaged(models: &[(f64, f64, f64)], level: f64) -> Option<(Vec<f64>, Estimate)> {
    if models.is_empty() {
        return None;
    }
    let least = models.iter().map(|(aic, _, _)| *aic).fold(f64::INFINITY, f64::min);
    let raw: Vec<f64> = models.iter().map(|(aic, _, _)| (0.5 * (least - aic)).exp()).collect();
    let sum: f64 = raw.iter().sum();
    let weights: Vec<f64> = raw.iter().map(|weight| weight / sum).collect();
    let each = || weights.iter().zip(models);
    let mean: f64 = each().map(|(weight, (_, missed, _))| weight * missed.ln()).sum();
    let spread: f64 = each()
        .map(|(weight, (_, missed, variance))| {
            let own = (variance / (missed * missed)).ln_1p();
            weight * (own + (missed.ln() - mean).powi(2)).sqrt()
        })
        .sum();
    let missed = mean.exp();
    // The standard error of a log-normal number of this middle and spread, to first order.
    let estimate = Estimate::spread(missed, missed * (spread * spread).exp_m1().sqrt(), spread, level)?;
    Some((weights, estimate))
}
