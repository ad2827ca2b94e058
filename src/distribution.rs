//! The few distributions the models need: quantile, mean and spread.
//!
//! Every draw is one uniform number put through the quantile function, so that a quantity is a
//! monotone function of the one number that is keyed to it.

use crate::math::{exp, exp_each, ln, normal_each, normal_quantile};
use statrs::distribution::{ContinuousCDF, Gamma};

/// How a number scatters. Constructed by the study file, which refuses parameters out of range.
#[derive(Debug, Clone, PartialEq)]
pub enum Distribution {
    /// Always the same value.
    Fixed(f64),
    /// Normal, by mean and standard deviation.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// Lognormal, by median and the standard deviation of the natural logarithm.
    Lognormal {
        /// Median.
        median: f64,
        /// Standard deviation of the natural logarithm.
        sigma_log: f64,
    },
    /// Weibull, by shape and scale.
    Weibull {
        /// Shape.
        shape: f64,
        /// Scale: the 63.2 % quantile.
        scale: f64,
    },
    /// Gamma, by mean and coefficient of variation.
    Gamma {
        /// Mean.
        mean: f64,
        /// Coefficient of variation.
        cov: f64,
    },
    /// Uniform between two ends.
    Uniform {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// Triangular between two ends with a most likely value.
    Triangular {
        /// Lower end.
        low: f64,
        /// Most likely value.
        mode: f64,
        /// Upper end.
        high: f64,
    },
}

impl Distribution {
    /// The value below which the fraction `u` (between 0 and 1, ends excluded) lies.
    pub fn quantile(&self, u: f64) -> f64 {
        match *self {
            Distribution::Fixed(value) => value,
            Distribution::Normal { mean, sd } => mean + sd * normal_quantile(u),
            Distribution::Lognormal { median, sigma_log } => median * exp(sigma_log * normal_quantile(u)),
            Distribution::Weibull { shape, scale } => scale * exp(ln(-ln(1.0 - u)) / shape),
            Distribution::Gamma { mean, cov } => {
                let shape = 1.0 / (cov * cov);
                Gamma::new(shape, shape / mean).map_or(f64::NAN, |gamma| gamma.inverse_cdf(u))
            }
            Distribution::Uniform { low, high } => low + (high - low) * u,
            Distribution::Triangular { low, mode, high } => {
                let at_mode = (mode - low) / (high - low);
                if u < at_mode {
                    low + ((high - low) * (mode - low) * u).sqrt()
                } else {
                    high - ((high - low) * (high - mode) * (1.0 - u)).sqrt()
                }
            }
        }
    }

    /// [`Distribution::quantile`] of every number of a slice.
    pub fn quantile_each(&self, numbers: &mut [f64]) {
        match *self {
            Distribution::Lognormal { median, sigma_log } => {
                normal_each(numbers);
                numbers.iter_mut().for_each(|number| *number *= sigma_log);
                exp_each(numbers);
                numbers.iter_mut().for_each(|number| *number *= median);
            }
            _ => numbers.iter_mut().for_each(|number| *number = self.quantile(*number)),
        }
    }

    /// The fixed value, when there is no scatter.
    pub fn fixed(&self) -> Option<f64> {
        match *self {
            Distribution::Fixed(value) => Some(value),
            _ => None,
        }
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        match *self {
            Distribution::Fixed(value) => value,
            Distribution::Normal { mean, .. } | Distribution::Gamma { mean, .. } => mean,
            Distribution::Lognormal { median, sigma_log } => median * (0.5 * sigma_log * sigma_log).exp(),
            Distribution::Weibull { shape, scale } => scale * statrs::function::gamma::gamma(1.0 + 1.0 / shape),
            Distribution::Uniform { low, high } => 0.5 * (low + high),
            Distribution::Triangular { low, mode, high } => (low + mode + high) / 3.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bounds::MOST_GAMMA_COV;

    /// Largest error of a probability below a gamma quantile, over all quantiles and over those above a millionth of the
    /// mean: the quantile cannot tell smaller numbers from one another.
    fn worst_of_gamma(cov: f64) -> [f64; 2] {
        let shape = 1.0 / (cov * cov);
        let gamma = Gamma::new(shape, shape / 3.0).expect("a gamma distribution");
        (1..2_000).map(|i| f64::from(i) / 2_000.0).chain([1e-5, 1e-4, 0.999_9]).fold([0.0; 2], |worst, u| {
            let quantile = Distribution::Gamma { mean: 3.0, cov }.quantile(u);
            let error = (gamma.cdf(quantile) - u).abs();
            [worst[0].max(error), if quantile > 3e-6 { worst[1].max(error) } else { worst[1] }]
        })
    }

    #[test]
    fn a_gamma_quantile_has_its_probability_below_it_up_to_the_most_that_is_allowed() {
        for cov in [0.01, 0.1, 0.5, 1.0, 1.5, MOST_GAMMA_COV] {
            let [all, above] = worst_of_gamma(cov);
            assert!(all < 5e-3 && above < 1e-6, "cov {cov}: {all}, {above}");
        }
        assert!(worst_of_gamma(3.0)[0] > 0.05, "the limit has lost its reason");
    }
}
