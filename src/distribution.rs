//! The few distributions the models need: quantile, mean and spread.
//!
//! A draw is one uniform number put through the quantile function, so that a quantity is a monotone function of the
//! number that is keyed to it. Gamma distributions alone are sampled by rejection, from a stream of their own.

use crate::math::{exp, ln, normal_cdf, normal_density, normal_quantile};
use crate::random::{Key, Stream};
use rand_distr::Distribution as _;
use statrs::distribution::{Continuous, ContinuousCDF, Gamma, Weibull};

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

    /// The quantile that lies where a standard normal number does.
    pub fn at_normal(&self, number: f64) -> f64 {
        match *self {
            Distribution::Normal { mean, sd } => mean + sd * number,
            Distribution::Lognormal { median, sigma_log } => median * exp(sigma_log * number),
            // Beyond 8 standard deviations probabilities are no longer told from 1.
            _ => self.quantile(normal_cdf(number).min(1.0 - 0.5 * f64::EPSILON)),
        }
    }

    /// Draw `counter` of a key.
    ///
    /// Gamma distributions: G. Marsaglia and W. W. Tsang, "A simple method for generating gamma variables", ACM
    /// Transactions on Mathematical Software 26 (2000), as in `rand_distr`.
    #[inline]
    pub fn draw(&self, key: Key, counter: u64) -> f64 {
        match *self {
            Distribution::Gamma { mean, cov } => {
                let shape = 1.0 / (cov * cov);
                let mut stream = Stream::new(key.child(counter));
                rand_distr::Gamma::new(shape, mean / shape).map_or(f64::NAN, |gamma| gamma.sample(&mut stream))
            }
            _ => self.quantile(key.uniform(counter)),
        }
    }

    /// The fixed value, when there is no scatter.
    pub fn fixed(&self) -> Option<f64> {
        match *self {
            Distribution::Fixed(value) => Some(value),
            _ => None,
        }
    }

    /// Probability density at a value; zero for a fixed value, which has none.
    pub(crate) fn density(&self, value: f64) -> f64 {
        match *self {
            Distribution::Fixed(_) => 0.0,
            Distribution::Normal { mean, sd } => normal_density((value - mean) / sd) / sd,
            Distribution::Lognormal { median, sigma_log } if value > 0.0 => {
                normal_density((value.ln() - median.ln()) / sigma_log) / (sigma_log * value)
            }
            Distribution::Weibull { shape, scale } if value > 0.0 => {
                Weibull::new(shape, scale).map_or(f64::NAN, |weibull| weibull.pdf(value))
            }
            Distribution::Gamma { mean, cov } if value > 0.0 => {
                let shape = 1.0 / (cov * cov);
                Gamma::new(shape, shape / mean).map_or(f64::NAN, |gamma| gamma.pdf(value))
            }
            Distribution::Lognormal { .. } | Distribution::Weibull { .. } | Distribution::Gamma { .. } => 0.0,
            Distribution::Uniform { low, high } => {
                if (low..=high).contains(&value) {
                    1.0 / (high - low)
                } else {
                    0.0
                }
            }
            Distribution::Triangular { low, mode, high } => {
                let top = 2.0 / (high - low);
                if value < low || value > high {
                    0.0
                } else if value < mode {
                    top * (value - low) / (mode - low)
                } else if value > mode {
                    top * (high - value) / (high - mode)
                } else {
                    top
                }
            }
        }
    }

    /// Standard deviation of a factor: fixed, lognormal or gamma; not-a-number for another distribution.
    pub(crate) fn sd(&self) -> f64 {
        match *self {
            Distribution::Fixed(_) => 0.0,
            Distribution::Lognormal { sigma_log, .. } => self.mean() * (sigma_log * sigma_log).exp_m1().sqrt(),
            Distribution::Gamma { mean, cov } => mean * cov,
            Distribution::Normal { sd, .. } => sd,
            _ => f64::NAN,
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

    /// Largest distance between the distribution function of draws and that of statrs, which shares no code with the
    /// sampler; and the 99.9 % point of Kolmogorov's statistic (1.95 / sqrt n, a textbook value, from memory).
    fn distance_of_gamma_draws(drawn: &Distribution, cov: f64) -> [f64; 2] {
        const DRAWS: u64 = 20_000;
        let shape = 1.0 / (cov * cov);
        let gamma = Gamma::new(shape, shape / 3.0).expect("a gamma distribution");
        let key = Key::from_seed(4);
        let mut below: Vec<f64> = (0..DRAWS).map(|counter| gamma.cdf(drawn.draw(key, counter))).collect();
        below.sort_unstable_by(f64::total_cmp);
        let expected = |rank: usize| (rank as f64 + 0.5) / DRAWS as f64;
        let distances = below.iter().enumerate().map(|(rank, below)| (below - expected(rank)).abs());
        [distances.fold(0.0, f64::max), 1.95 / (DRAWS as f64).sqrt()]
    }

    #[test]
    fn gamma_draws_follow_the_distribution_up_to_the_widest() {
        for cov in [0.01, 0.1, 0.5, 1.0, 2.0, 3.0] {
            let [distance, most] = distance_of_gamma_draws(&Distribution::Gamma { mean: 3.0, cov }, cov);
            assert!(distance < most, "cov {cov}: {distance} against {most}");
            let [distance, most] = distance_of_gamma_draws(&Distribution::Gamma { mean: 3.1, cov: 1.2 * cov }, cov);
            assert!(distance > most, "cov {cov}: another distribution is not told apart");
        }
    }

    #[test] // the slope of the quantile function
    fn densities_are_the_slopes_of_the_distributions() {
        let all = [
            Distribution::Normal { mean: 2.0, sd: 0.5 },
            Distribution::Lognormal { median: 2.0, sigma_log: 0.4 },
            Distribution::Weibull { shape: 2.5, scale: 3.0 },
            Distribution::Gamma { mean: 2.0, cov: 0.6 },
            Distribution::Uniform { low: 1.0, high: 4.0 },
            Distribution::Triangular { low: 1.0, mode: 2.0, high: 5.0 },
        ];
        for law in all {
            for u in [0.1, 0.3, 0.5, 0.9] {
                let slope = (law.quantile(u + 1e-5) - law.quantile(u - 1e-5)) / 2e-5;
                let density = law.density(law.quantile(u));
                assert!((density * slope - 1.0).abs() < 1e-6, "{law:?} at {u}: {density} for {}", 1.0 / slope);
            }
            assert_eq!(law.density(-3.0) * 0.0, 0.0);
        }
        assert_eq!(Distribution::Uniform { low: 1.0, high: 4.0 }.density(4.5), 0.0);
    }

    /// Another version of the sampler would give other lives for a seed.
    #[test]
    fn recorded_gamma_draws_stay() {
        let key = Key::from_seed(1).named("row-a");
        let draws = [0, 1, 2].map(|counter| Distribution::Gamma { mean: 1.0, cov: 0.6 }.draw(key, counter).to_bits());
        assert_eq!(draws, [0x3ff4_755e_f012_2368, 0x3ff2_3fac_553e_79ea, 0x3ff5_62e2_25ba_6774]);
    }
}
