//! How bounds of fitted curves are made.

use super::search::crossing;
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// How a bound is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The same as the likelihood ratio, made right to a higher order: the bound of a small sample then holds about
    /// as often as that of a large one (Skovgaard, Bernoulli 2 (1996) 145-165).
    ModifiedLikelihoodRatio,
    /// The values that the likelihood does not speak against, everything else being at its best for each.
    LikelihoodRatio,
    /// The exact bound of a line through signals none of which is cut off, whose sizes are exact: by the non-central t
    /// distribution (Johnson and Welch, Biometrika 31 (1940) 362-389).
    NonCentralT,
    /// Estimate and standard error, on the scale of the fit.
    Wald,
    /// Where the pointwise Wald band of the curve reaches the probability (for sizes: Fieller's limits).
    PointwiseBand,
    /// The same for the band that holds the whole curve (Cheng and Iles, Technometrics 25 (1983) 77-86 and 30
    /// (1988) 85-89: chi-square with two degrees of freedom).
    SimultaneousBand,
}

impl Method {
    /// Whether the bound holds a value and puts everything else at its best, as a band does not.
    pub(super) fn is_of_likelihood(self) -> bool {
        matches!(self, Method::LikelihoodRatio | Method::ModifiedLikelihoodRatio)
    }

    /// Words that fit over two columns of numbers.
    pub(super) fn short(self) -> &'static str {
        match self {
            Method::ModifiedLikelihoodRatio => "modified ratio",
            method => method.words(),
        }
    }

    /// Words for reports.
    pub fn words(self) -> &'static str {
        match self {
            Method::ModifiedLikelihoodRatio => "modified likelihood ratio",
            Method::LikelihoodRatio => "likelihood ratio",
            Method::NonCentralT => "non-central t",
            Method::Wald => "Wald",
            Method::PointwiseBand => "pointwise band",
            Method::SimultaneousBand => "simultaneous band",
        }
    }
}

/// Lower and upper bound, each one-sided at the confidence asked for.
///
/// Two bounds at 95 % make a 90 % interval. `None` where no bound exists: the data do not exclude any value on
/// that side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Lower bound.
    pub low: Option<f64>,
    /// Upper bound.
    pub high: Option<f64>,
}

/// The likelihood ratio that leaves a chance of 1 - confidence on one side: the squared normal quantile.
pub(super) fn one_sided(confidence: f64) -> f64 {
    normal_quantile(confidence).powi(2)
}

/// Where the deviance reaches a value, going from the estimate by steps that grow; `None` when it never does.
pub(super) fn boundary(from: f64, step: f64, critical: f64, deviance: impl Fn(f64) -> f64) -> Option<f64> {
    // The root of the deviance is close to a straight line, so that its crossing is soon found.
    // At the estimate it is zero by its meaning, whatever a search for the best of all else makes of it there.
    reached(from, step, critical.sqrt(), |x| Some(if x == from { 0.0 } else { deviance(x).min(1e12).sqrt() }))
}

/// Where a function that rises along the step reaches a value, going by steps that grow; back, where it lies beyond
/// the value already. `None` when it never does, or is not known on the way.
pub(super) fn reached(from: f64, step: f64, wanted: f64, function: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    /// The last step is two to this power of the first.
    const DOUBLINGS: usize = 24;
    let short = |x: f64| function(x).map(|value| value - wanted);
    let (mut inner, mut at_inner) = (from, short(from)?);
    let ahead = at_inner <= 0.0;
    let mut step = if ahead { step } else { -step };
    for _ in 0..DOUBLINGS {
        let outer = inner + step;
        let at_outer = short(outer)?;
        if (at_outer > 0.0) == ahead {
            let tolerance = 1e-8 * step.abs().max(1e-3);
            let place = crossing((inner, at_inner), (outer, at_outer), tolerance, |x| short(x).unwrap_or(f64::NAN));
            return short(place).map(|_| place);
        }
        (inner, at_inner) = (outer, at_outer);
        step *= 2.0;
    }
    None
}

/// Where a band about a straight predictor `u + v z` reaches zero: roots of a quadratic (Fieller). Given are u and v,
/// the variance of u, their covariance and the variance of v.
pub(super) fn fieller([u, v]: [f64; 2], [var_u, cov, var_v]: [f64; 3], critical: f64) -> (Option<f64>, Option<f64>) {
    // (u + v z)^2 = critical (var_u + 2 z cov + z^2 var_v)
    let (a, b, c) = (v * v - critical * var_v, u * v - critical * cov, u * u - critical * var_u);
    let root = b * b - a * c;
    if !(a > 0.0) || !(root >= 0.0) {
        return (None, None);
    }
    (Some((-b - root.sqrt()) / a), Some((-b + root.sqrt()) / a))
}

/// The square that a band for the whole curve has in place of [`one_sided`].
pub(super) fn whole_curve(confidence: f64) -> f64 {
    // Two-sided, as two one-sided bounds at this confidence are.
    ChiSquared::new(2.0).map_or(f64::NAN, |law| law.inverse_cdf(2.0 * confidence - 1.0))
}

pub(crate) fn check_confidence(confidence: f64) -> Result<()> {
    if confidence > 0.5 && confidence < 1.0 {
        return Ok(());
    }
    Err(Error::argument("confidence", confidence, "must lie between 0.5 and 1, ends excluded", "0.95 is usual"))
}

pub(crate) fn check_pod(pod: f64) -> Result<()> {
    if pod > 0.0 && pod < 1.0 {
        return Ok(());
    }
    Err(Error::argument("pod", pod, "must lie between 0 and 1, ends excluded", "0.9 is usual"))
}

/// What is said of a size beyond the largest crack that was looked at; nothing of one that is not.
pub(super) fn beyond_note(size_mm: Option<f64>, largest_mm: f64) -> &'static str {
    if is_beyond(size_mm, largest_mm) { ", beyond the largest crack looked at" } else { "" }
}

/// What is said of sizes that no crack in a root has: they stand in another unit, most likely.
pub(super) fn unlikely_sizes((smallest_mm, largest_mm): (f64, f64)) -> Option<String> {
    /// Larger than the root of any blade.
    const LARGEST_MM: f64 = 1_000.0;
    /// No technique finds half of all cracks so small (common practice, no source).
    const SMALLEST_MM: f64 = 0.05;
    (!(SMALLEST_MM..=LARGEST_MM).contains(&largest_mm))
        .then(|| format!("sizes from {smallest_mm} to {largest_mm} mm are none of cracks in a root: are they in mm?"))
}

/// The same as a sentence, about q90 and q90/95.
pub(super) fn beyond_sentence(q90: Option<f64>, q90_95: Option<f64>, largest_mm: f64) -> Option<String> {
    let what = match (is_beyond(q90, largest_mm), is_beyond(q90_95, largest_mm)) {
        (true, true) => "q90 and q90/95 lie",
        (true, false) => "q90 lies",
        (false, true) => "q90/95 lies",
        (false, false) => return None,
    };
    Some(format!(
        "{what} beyond the largest crack looked at, {largest_mm} mm: no look shows that; look at larger cracks"
    ))
}

/// Whether a size lies beyond the largest crack that was looked at, so that no look speaks of it.
pub(super) fn is_beyond(size_mm: Option<f64>, largest_mm: f64) -> bool {
    size_mm.is_some_and(|size_mm| size_mm > largest_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_boundary_lies_on_its_own_side_of_the_estimate_even_where_the_deviance_is_not_known_there() {
        // A parabola whose search for the best of all else fails at the estimate itself.
        let deviance = |x: f64| if x == 2.0 { f64::INFINITY } else { (x - 2.0).powi(2) };
        for (step, wanted) in [(0.3, 5.0), (-0.3, -1.0)] {
            let found = boundary(2.0, step, 9.0, deviance).expect("there is one");
            assert!((found - wanted).abs() < 1e-6, "{step}: {found}");
        }
    }
}
