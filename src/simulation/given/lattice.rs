//! Numbers that the hazard of a row may be multiplied by, evenly spaced in their logarithm.

use crate::distribution::Distribution;
use statrs::function::gamma::ln_gamma;

/// See above.
#[derive(Debug, Clone)]
pub(super) struct Lattice {
    law: Distribution,
    pub ln_factors: Vec<f64>,
    pub factors: Vec<f64>,
    step: f64,
}

impl Lattice {
    /// For a law of row factors, of which a history with so many finds is known, and what else is uncertain of the hazard, by
    /// the variance of its logarithm. The trapezoidal rule is as good as exact if it steps by less than a standard deviation
    /// of what comes out.
    pub fn new(law: &Distribution, variance: f64, finds: usize) -> Self {
        /// In standard deviations.
        const STEP: f64 = 0.5;
        /// Chance of what lies beyond each end.
        const BEYOND: [f64; 2] = [1e-8, 1e-12];
        /// Standard deviations of what else is uncertain.
        const FURTHER: f64 = 4.5;
        let law = law.clone();
        if let Some(factor) = law.fixed() {
            return Lattice { ln_factors: vec![factor.ln()], factors: vec![factor], step: 1.0, law };
        }
        let step = STEP / (finds as f64 + 1.0 / (prior_sd(&law).powi(2) + variance)).sqrt();
        let step = step.min(STEP * prior_sd(&law));
        let low = match law {
            // Of numbers so small the distribution function is a power.
            Distribution::Gamma { mean, cov } => {
                let shape = 1.0 / (cov * cov);
                (BEYOND[0].ln() + ln_gamma(shape + 1.0)) / shape + (mean / shape).ln()
            }
            _ => law.quantile(BEYOND[0]).ln(),
        };
        let high = law.quantile(1.0 - BEYOND[1]).ln();
        let further = FURTHER * variance.sqrt();
        let count = ((high - low + 2.0 * further) / step).ceil() as usize + 1;
        let ln_factors: Vec<f64> = (0..count).map(|number| low - further + step * number as f64).collect();
        Lattice { factors: ln_factors.iter().map(|ln_factor| ln_factor.exp()).collect(), ln_factors, step, law }
    }

    pub fn len(&self) -> usize {
        self.factors.len()
    }

    /// Prior weight of each number, if the hazard is multiplied by a factor besides the row factor, by its logarithm.
    pub fn prior(&self, ln_hazard: f64) -> Vec<f64> {
        if self.law.fixed().is_some() {
            return vec![1.0];
        }
        self.ln_factors.iter().map(|ln_factor| self.step * ln_density(&self.law, ln_factor - ln_hazard).exp()).collect()
    }
}

/// About the standard deviation of the logarithm of a row factor where it is likely.
fn prior_sd(law: &Distribution) -> f64 {
    match *law {
        Distribution::Lognormal { sigma_log, .. } => sigma_log,
        // Its upper end is as sharp whatever its spread.
        Distribution::Gamma { cov, .. } => cov.min(1.0),
        _ => 1.0,
    }
}

/// Logarithm of the density of the logarithm of a row factor.
fn ln_density(law: &Distribution, ln_factor: f64) -> f64 {
    match *law {
        Distribution::Lognormal { median, sigma_log } => {
            let z = (ln_factor - median.ln()) / sigma_log;
            -0.5 * z * z - sigma_log.ln() - 0.5 * (2.0 * std::f64::consts::PI).ln()
        }
        Distribution::Gamma { mean, cov } => {
            let shape = 1.0 / (cov * cov);
            let rate = shape / mean;
            shape * rate.ln() - ln_gamma(shape) + shape * ln_factor - rate * ln_factor.exp()
        }
        // Study files have no other law of row factors.
        _ => f64::NEG_INFINITY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // a gamma factor of mean 1 has mean 1, and so on
    fn sums_over_the_lattice_are_moments_of_the_law() {
        for (law, second) in [
            (Distribution::Gamma { mean: 1.0, cov: 0.8 }, 1.64),
            (Distribution::Gamma { mean: 1.0, cov: 1.5 }, 3.25),
            (Distribution::Lognormal { median: (-0.125_f64).exp(), sigma_log: 0.5 }, 0.25_f64.exp()),
            (Distribution::Fixed(1.0), 1.0),
        ] {
            for (finds, variance) in [(0, 0.0), (30, 0.0), (3, 0.6)] {
                let lattice = Lattice::new(&law, variance, finds);
                let prior = lattice.prior(0.0);
                let moment = |power: i32| {
                    prior.iter().zip(&lattice.factors).map(|(prior, factor)| prior * factor.powi(power)).sum::<f64>()
                };
                for (power, exact) in [(0, 1.0), (1, 1.0), (2, second)] {
                    let error = (moment(power) / exact - 1.0).abs();
                    assert!(error < 2e-6, "{law:?}, {finds} finds, moment {power}: off by {error}");
                }
            }
        }
    }
}
