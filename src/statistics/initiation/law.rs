//! The laws, each as a cumulative hazard of a straight line in the logarithm of time.

use crate::statistics::tail::normal_log_and_ratio;
use serde::Serialize;
use statrs::function::erf::erfc;
use std::f64::consts::FRAC_1_SQRT_2;

/// Law of the time to a crack.
///
/// Its cumulative hazard is a function of `y = level + slope * ln(time) + covariates`. Both the logarithm of a chance and
/// that of a density are concave in these parameters, so that the likelihood of exact, censored and interval-censored
/// times has one hill only (Burridge, Biometrika 68 (1981) 717-724, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Law {
    /// Weibull, of proportional hazards: a covariate adds to the logarithm of the hazard.
    Weibull,
    /// Log-normal, of accelerated time: a covariate adds to the logarithm of the median.
    Lognormal,
    /// Weibull of shape 1: the hazard does not change with age.
    Exponential,
}

impl Law {
    /// All of them.
    pub const ALL: [Law; 3] = [Law::Weibull, Law::Lognormal, Law::Exponential];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Law::Weibull => "weibull",
            Law::Lognormal => "lognormal",
            Law::Exponential => "exponential",
        }
    }

    /// Name of the time at which y = 0.
    pub fn time_name(self) -> &'static str {
        match self {
            Law::Weibull => "scale",
            Law::Lognormal => "median",
            Law::Exponential => "mean",
        }
    }

    /// Name of the parameter that the slope stands for; the exponential law has none.
    pub fn shape_name(self) -> Option<&'static str> {
        match self {
            Law::Weibull => Some("shape"),
            Law::Lognormal => Some("sigma_log"),
            Law::Exponential => None,
        }
    }

    /// That parameter, from the slope, or the slope from it.
    pub(super) fn turned(self, slope: f64) -> f64 {
        if self == Law::Lognormal { 1.0 / slope } else { slope }
    }

    /// Whether covariates shift the logarithm of time, and not that of the hazard.
    pub(super) fn shifts_time(self) -> bool {
        self == Law::Lognormal
    }

    /// The cumulative hazard at y.
    pub(super) fn hazard(self, y: f64) -> Hazard {
        match self {
            Law::Weibull | Law::Exponential => {
                let value = y.exp();
                Hazard { value, slope: value, bend: value, log_slope: y, log_slope_change: 1.0, log_slope_bend: 0.0 }
            }
            Law::Lognormal => {
                let (log_survival, ratio) = normal_log_and_ratio(-y);
                // Where cracks are rare the logarithm of the survival has lost its figures.
                let value = if y < 0.0 { -(-normal_below(y)).ln_1p() } else { -log_survival };
                let change = ratio - y;
                Hazard {
                    value,
                    slope: ratio,
                    bend: ratio * change,
                    log_slope: ratio.ln(),
                    log_slope_change: change,
                    log_slope_bend: ratio * change - 1.0,
                }
            }
        }
    }

    /// Fraction cracked at y.
    pub(super) fn fraction(self, y: f64) -> f64 {
        -(-self.hazard(y).value).exp_m1()
    }

    /// The y at which a fraction is cracked.
    pub(super) fn y_at(self, fraction: f64) -> f64 {
        match self {
            Law::Weibull | Law::Exponential => (-(-fraction).ln_1p()).ln(),
            Law::Lognormal => crate::math::normal_quantile(fraction),
        }
    }
}

/// A cumulative hazard with its derivatives by y, and the logarithm of its slope with those of that.
pub(super) struct Hazard {
    pub value: f64,
    pub slope: f64,
    pub bend: f64,
    pub log_slope: f64,
    pub log_slope_change: f64,
    pub log_slope_bend: f64,
}

fn normal_below(y: f64) -> f64 {
    0.5 * erfc(-y * FRAC_1_SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by central differences, whose error is of the order of the squared step
    fn derivatives_are_those_of_the_hazard() {
        const STEP: f64 = 1e-5;
        for law in Law::ALL {
            for y in [-6.0, -1.0, 0.0, 0.7, 2.5] {
                let [below, here, above] = [y - STEP, y, y + STEP].map(|y| law.hazard(y));
                let near = |ours: f64, difference: f64| {
                    let difference = difference / (2.0 * STEP);
                    assert!((ours - difference).abs() < 1e-8 * (1.0 + ours.abs()), "{law:?} {y}: {ours} {difference}");
                };
                near(here.slope, above.value - below.value);
                near(here.bend, above.slope - below.slope);
                near(here.log_slope_change, above.log_slope - below.log_slope);
                near(here.log_slope_bend, above.log_slope_change - below.log_slope_change);
                assert!((law.y_at(law.fraction(y)) - y).abs() < 1e-7, "{law:?} {y}");
            }
        }
    }
}
