//! Two techniques: how many cracked blades both missed.

use super::estimate::Estimate;
use crate::math::normal_quantile;
use crate::statistics::search::crossing;
use crate::statistics::tail::stirling_rest;
use serde::Serialize;
use statrs::function::gamma::ln_gamma;

/// Number of cracked blades that two techniques missed, if they err independently.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TwoLists {
    /// The two techniques.
    pub techniques: (String, String),
    /// Found by the first, found by the second, found by both.
    pub found: (u64, u64, u64),
    /// All cracked blades by the plain ratio (Petersen); `None` where no blade was found by both.
    pub petersen: Option<f64>,
    /// All cracked blades, almost free of bias (Chapman, University of California Publications in
    /// Statistics 1, 1951).
    pub chapman: f64,
    /// Its standard error (Seber, Biometrika 57, 1970).
    pub chapman_se: f64,
    /// Normal interval of it; its lower end may be below the number found.
    pub chapman_normal: (f64, f64),
    /// Cracked blades that both missed, after Chapman; `None` where no blade was found by both, as there is then only
    /// a lower bound.
    pub missed: Option<f64>,
    /// Log-type interval of the missed cracks (Chao, Biometrics 43, 1987); `None` where no blade was found by both,
    /// as there is then no upper bound, and where Chapman leaves nothing missed. Its upper end is far too low where few
    /// blades were found by both.
    pub log_interval: Option<(f64, f64)>,
    /// Interval of the missed cracks by profile likelihood (Cormack, Biometrics 48, 1992), the one to read; no upper
    /// end where no blade was found by both.
    pub likelihood_interval: (f64, Option<f64>),
}

impl TwoLists {
    /// From the blades found by each and by both; the counts must fit each other.
    pub(super) fn new(techniques: (&str, &str), (first, second, both): (u64, u64, u64), level: f64) -> Self {
        let (n1, n2, m) = (first as f64, second as f64, both as f64);
        let chapman = (n1 + 1.0) * (n2 + 1.0) / (m + 1.0) - 1.0;
        let variance = (n1 + 1.0) * (n2 + 1.0) * (n1 - m) * (n2 - m) / ((m + 1.0).powi(2) * (m + 2.0));
        let seen = n1 + n2 - m;
        let half = normal_quantile(0.5 + 0.5 * level) * variance.sqrt();
        // With every find of one technique made by the other too, rounding may leave less than nothing.
        let missed = (chapman - seen).max(0.0);
        let estimate = Estimate::log_normal(missed, variance, level).filter(|_| both > 0);
        TwoLists {
            techniques: (techniques.0.to_owned(), techniques.1.to_owned()),
            found: (first, second, both),
            petersen: (both > 0).then(|| n1 * n2 / m),
            chapman,
            chapman_se: variance.sqrt(),
            chapman_normal: (chapman - half, chapman + half),
            missed: (both > 0).then_some(missed),
            log_interval: estimate.map(|estimate| (estimate.low, estimate.high)),
            likelihood_interval: likelihood_interval(seen, &[n1, n2], level),
        }
    }

    /// The least and the largest whole number of missed blades within the likelihood interval.
    pub fn interval(&self) -> (f64, Option<f64>) {
        let (low, high) = self.likelihood_interval;
        (low.ceil(), high.map(f64::floor))
    }
}

/// Interval of the missed cracks by profile likelihood, for techniques that err independently.
///
/// `seen` blades were found in all, `finds` by each technique. Without any blade found twice the likelihood
/// never falls, so there is no upper end; the lower end stays that of a two-sided interval.
pub(super) fn likelihood_interval(seen: f64, finds: &[f64], level: f64) -> (f64, Option<f64>) {
    /// An upper end beyond so many times the number found says nothing.
    const FURTHEST: f64 = 1e9;
    let log_likelihood = |missed: f64| log_likelihood(seen, finds, missed);
    let overlap = finds.iter().sum::<f64>() > seen;
    let drop = 0.5 * normal_quantile(0.5 - 0.5 * level).powi(2);
    // On the scale of ln(missed + 1), where the likelihood is smooth and has one hill.
    let at = |x: f64| log_likelihood(x.exp_m1());
    let far = (seen * FURTHEST).ln();
    let mut top = (0.0, at(0.0));
    if overlap {
        let (mut a, mut b) = (0.0, far);
        for _ in 0..200 {
            let (c, d) = (a + (b - a) / 3.0, b - (b - a) / 3.0);
            if at(c) < at(d) { a = c } else { b = d }
        }
        let middle = 0.5 * (a + b);
        if at(middle) > top.1 {
            top = (middle, at(middle));
        }
    } else {
        top = (far, at(far));
    }
    let depth = |x: f64| at(x) - (top.1 - drop);
    let low = if depth(0.0) >= 0.0 { 0.0 } else { crossing((0.0, depth(0.0)), (top.0, drop), 1e-12, depth) };
    let high = (overlap && depth(far) < 0.0).then(|| crossing((top.0, drop), (far, depth(far)), 1e-12, depth).exp_m1());
    (low.exp_m1(), high)
}

/// Profile log-likelihood of a number of missed blades, each technique's probability of detection at its best.
fn log_likelihood(seen: f64, finds: &[f64], missed: f64) -> f64 {
    let all = seen + missed;
    // ln(all! / missed!), by Stirling's formula where both are large, so that their difference keeps its figures.
    let arrangements = if missed < 16.0 {
        ln_gamma(all + 1.0) - ln_gamma(missed + 1.0)
    } else {
        seen * all.ln() - (missed + 0.5) * (-seen / all).ln_1p() - seen + stirling_rest(all) - stirling_rest(missed)
    };
    let each = finds.iter().map(|found| {
        let not_found = all - found;
        let of_not_found = if not_found > 0.0 { not_found * (-found / all).ln_1p() } else { 0.0 };
        of_not_found + found * (found / all).ln()
    });
    arrangements + each.sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same interval by trying every whole number.
    fn by_hand(seen: u64, finds: &[f64], drop: f64) -> (u64, u64) {
        let at = |missed: u64| {
            let all = (seen + missed) as f64;
            let mut sum: f64 = (missed + 1..=missed + seen).map(|i| (i as f64).ln()).sum();
            for found in finds {
                sum += found * (found / all).ln();
                sum += if all > *found { (all - found) * (1.0 - found / all).ln() } else { 0.0 };
            }
            sum
        };
        let values: Vec<f64> = (0..3000).map(at).collect();
        let top = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let within = |value: &f64| *value >= top - drop;
        let first = values.iter().position(within).unwrap_or(0);
        let last = values.iter().rposition(within).unwrap_or(0);
        (first as u64, last as u64)
    }

    #[test] // 1.9207 is half of the 0.95 point of chi-square with one degree of freedom
    fn a_likelihood_interval_is_that_of_a_scan() {
        for (n1, n2, m) in [(30.0, 25.0, 12.0), (12.0, 9.0, 3.0), (40.0, 38.0, 36.0), (20.0, 8.0, 8.0)] {
            let seen = n1 + n2 - m;
            let (low, high) = likelihood_interval(seen, &[n1, n2], 0.95);
            let (first, last) = by_hand(seen as u64, &[n1, n2], 1.920_729);
            assert!(low.ceil() as u64 == first, "{n1} {n2} {m}: {low}, scan {first}");
            assert!(high.map(|high| high.floor() as u64) == Some(last), "{n1} {n2} {m}: {high:?}, scan {last}");
        }
    }

    #[test] // request G1
    fn without_a_common_blade_there_is_a_lower_end_and_no_upper_one() {
        let (low, high) = likelihood_interval(13.0, &[8.0, 5.0], 0.95);
        assert!(high.is_none() && low > 3.0, "{low}");
        let far = log_likelihood(13.0, &[8.0, 5.0], 1e9);
        assert!((far - log_likelihood(13.0, &[8.0, 5.0], low) - 1.920_729).abs() < 1e-5);
    }

    #[test]
    fn both_forms_of_the_likelihood_meet() {
        let (near, far) =
            (log_likelihood(20.0, &[15.0, 9.0], 15.999_999), log_likelihood(20.0, &[15.0, 9.0], 16.000_001));
        assert!((near - far).abs() < 1e-6, "{near} {far}");
    }
}
