//! When a crack appears at an origin.
//!
//! The cumulative hazard of one origin is `H = Z exp(k s) H0(x)`: `x` the reading of the law's
//! clock since the blade was new, `Z` the row factor of mean 1, `s` the blade's log stress factor,
//! `k` the exponent of the stress-life line. `H0` is the law's own.

use super::usage::Clock;
use crate::math::{exp, ln, normal_cdf, normal_quantile};

/// An initiation law.
#[derive(Debug, Clone, PartialEq)]
pub struct InitiationLaw {
    /// Name.
    pub id: String,
    /// The clock it runs on.
    pub clock: Clock,
    /// Its shape.
    pub shape: InitiationShape,
    /// Exponent k of the stress-life line: the hazard goes with stress to this power.
    pub stress_exponent: f64,
    /// Source of the numbers.
    pub basis: Option<String>,
}

/// Distribution of the clock reading at which an origin of an average blade cracks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InitiationShape {
    /// Weibull: `H0 = (x / scale) ** shape`.
    Weibull {
        /// Shape: above 1, the hazard rises with age.
        shape: f64,
        /// Reading by which 63.2 % of origins have cracked.
        scale: f64,
    },
    /// Lognormal: `H0 = -ln(1 - Phi((ln x - ln median) / sigma_log))`.
    Lognormal {
        /// Reading by which half the origins have cracked.
        median: f64,
        /// Standard deviation of the logarithm of the reading.
        sigma_log: f64,
    },
    /// Exponential: `H0 = x / mean`.
    Exponential {
        /// Mean reading.
        mean: f64,
    },
}

impl InitiationShape {
    /// Cumulative hazard at a reading of the clock.
    pub fn cumulative_hazard(&self, reading: f64) -> f64 {
        if reading <= 0.0 {
            return 0.0;
        }
        match *self {
            InitiationShape::Weibull { shape, scale } => power(reading / scale, shape),
            InitiationShape::Lognormal { median, sigma_log } => {
                let z = (ln(reading) - ln(median)) / sigma_log;
                // Whichever tail is small is the one that is known to full accuracy.
                if z < 0.0 { -(-normal_cdf(z)).ln_1p() } else { -normal_cdf(-z).max(f64::MIN_POSITIVE).ln() }
            }
            InitiationShape::Exponential { mean } => reading / mean,
        }
    }

    /// Reading at which a cumulative hazard is reached.
    #[inline]
    pub fn reading_at(&self, hazard: f64) -> f64 {
        match *self {
            InitiationShape::Weibull { shape, scale } => scale * root(hazard, shape),
            InitiationShape::Lognormal { median, sigma_log } => {
                let survival = exp(-hazard);
                // For a small hazard 1 - survival has lost its figures; the hazard itself is exact there.
                let z = if hazard < 1e-5 {
                    normal_quantile(hazard * (1.0 - 0.5 * hazard))
                } else {
                    -normal_quantile(survival)
                };
                median * exp(sigma_log * z)
            }
            InitiationShape::Exponential { mean } => mean * hazard,
        }
    }
}

impl InitiationShape {
    /// Turns hazards into the readings at which they are reached.
    pub fn reading_at_each(&self, hazards: &mut [f64]) {
        hazards.iter_mut().for_each(|hazard| *hazard = self.reading_at(*hazard));
    }
}

/// `x ** exponent` for x > 0; the common whole exponents need no logarithm.
#[inline]
fn power(x: f64, exponent: f64) -> f64 {
    if exponent == 1.0 {
        x
    } else if exponent == 2.0 {
        x * x
    } else {
        exp(exponent * ln(x))
    }
}

/// The inverse of [`power`].
#[inline]
fn root(x: f64, exponent: f64) -> f64 {
    if exponent == 1.0 {
        x
    } else if exponent == 2.0 {
        x.sqrt()
    } else {
        exp(ln(x) / exponent)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shape_inverts_its_hazard() {
        let shapes = [
            InitiationShape::Weibull { shape: 2.0, scale: 500.0 },
            InitiationShape::Weibull { shape: 3.3, scale: 500.0 },
            InitiationShape::Lognormal { median: 400.0, sigma_log: 0.7 },
            InitiationShape::Exponential { mean: 900.0 },
        ];
        for shape in shapes {
            for hazard in [1e-9, 1e-6, 1e-3, 0.1, 1.0, 4.0] {
                let back = shape.cumulative_hazard(shape.reading_at(hazard));
                assert!((back / hazard - 1.0).abs() < 1e-7, "{shape:?} at {hazard}: {back}");
            }
        }
    }

    #[test] // the survival function of each law, by its textbook formula
    fn hazards_give_the_textbook_survival() {
        let weibull = InitiationShape::Weibull { shape: 2.5, scale: 100.0 };
        assert!(((-weibull.cumulative_hazard(100.0)).exp() - (-1.0_f64).exp()).abs() < 1e-15);
        let lognormal = InitiationShape::Lognormal { median: 100.0, sigma_log: 0.5 };
        assert!(((-lognormal.cumulative_hazard(100.0)).exp() - 0.5).abs() < 1e-14);
    }
}
