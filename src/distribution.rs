//! The few distributions the models need: quantile, mean and spread.
//!
//! A draw is one uniform number put through the quantile function, so that a quantity is a monotone function of the
//! number that is keyed to it. Gamma distributions alone are sampled by rejection, from a stream of their own.

use crate::error::{Error, Result};
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
    /// Pareto: above its minimum, the chance of more than `x` falls as `(minimum / x)` to a power.
    Pareto {
        /// Least value.
        minimum: f64,
        /// That power.
        tail_exponent: f64,
        /// What lies above counts as this much; infinite for no cap.
        capped_at: f64,
    },
    /// A few values, each with its probability.
    Outcomes(Outcomes),
}

/// Values in rising order, each with its probability.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcomes {
    values: Vec<f64>,
    probabilities: Vec<f64>,
}

impl Outcomes {
    /// How far from 1 the sum of probabilities may lie by rounding.
    const ROUNDING: f64 = 1e-9;

    /// Values with their probabilities.
    ///
    /// # Errors
    /// Refuses lists that are empty or of different lengths, values that do not rise, and probabilities that are not above
    /// 0 or do not sum to 1.
    pub fn new(values: Vec<f64>, probabilities: Vec<f64>) -> Result<Self> {
        let refuse =
            |name: &str, value: String, rule: &str, remedy: &str| Err(Error::argument(name, value, rule, remedy));
        if values.is_empty() || values.len() != probabilities.len() {
            let found = format!("{} for {} values", probabilities.len(), values.len());
            return refuse(
                "probabilities",
                found,
                "must be as many as values, and at least one",
                "give one for each value",
            );
        }
        if let Some(pair) = values.windows(2).find(|pair| !(pair[0] < pair[1])) {
            let found = format!("{} before {}", pair[0], pair[1]);
            return refuse("values", found, "must rise", "sort them, each once, and their probabilities with them");
        }
        if let Some(&wrong) = values.iter().find(|value| !value.is_finite()) {
            return refuse("values", wrong.to_string(), "must be finite numbers", "correct it");
        }
        if let Some(&wrong) = probabilities.iter().find(|probability| !(**probability > 0.0)) {
            return refuse("probabilities", wrong.to_string(), "must be above 0", "leave out what cannot happen");
        }
        let sum: f64 = probabilities.iter().sum();
        if !((sum - 1.0).abs() <= Outcomes::ROUNDING) {
            return refuse("sum of probabilities", sum.to_string(), "must be 1", "correct the probabilities");
        }
        Ok(Outcomes { values, probabilities })
    }

    /// The values.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The probability of each.
    pub fn probabilities(&self) -> &[f64] {
        &self.probabilities
    }

    /// The least value at or below which the fraction `u` lies.
    fn quantile(&self, u: f64) -> f64 {
        let mut passed = 0.0;
        for (value, probability) in self.values.iter().zip(&self.probabilities) {
            passed += probability;
            if u <= passed {
                return *value;
            }
        }
        // The sum may fall short of 1 by rounding.
        self.values.last().copied().unwrap_or(f64::NAN)
    }

    fn mean(&self) -> f64 {
        self.values.iter().zip(&self.probabilities).map(|(value, probability)| value * probability).sum()
    }
}

impl Distribution {
    /// The value below which the fraction `u` (between 0 and 1, ends excluded) lies.
    pub fn quantile(&self, u: f64) -> f64 {
        match *self {
            Distribution::Pareto { minimum, tail_exponent, capped_at } => {
                (minimum * exp(-ln(1.0 - u) / tail_exponent)).min(capped_at)
            }
            Distribution::Outcomes(ref outcomes) => outcomes.quantile(u),
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

    /// Probability density at a value; zero for single values, which have none, as the cap of a Pareto distribution is.
    pub(crate) fn density(&self, value: f64) -> f64 {
        match *self {
            Distribution::Fixed(_) | Distribution::Outcomes(_) => 0.0,
            Distribution::Pareto { minimum, tail_exponent, capped_at } => {
                if value < minimum || value >= capped_at {
                    0.0
                } else {
                    tail_exponent / value * (minimum / value).powf(tail_exponent)
                }
            }
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
            Distribution::Pareto { minimum, tail_exponent, capped_at } => {
                // The integral of the chance of more, from zero to the cap.
                let excess = tail_exponent - 1.0;
                let logs = (capped_at / minimum).ln();
                let beyond = if excess == 0.0 { logs } else { -(-excess * logs).exp_m1() / excess };
                if excess < 0.0 && capped_at == f64::INFINITY { f64::INFINITY } else { minimum * (1.0 + beyond) }
            }
            Distribution::Outcomes(ref outcomes) => outcomes.mean(),
        }
    }

    /// Whether its variance is infinite, so that a mean over draws never settles as means do.
    pub fn has_infinite_variance(&self) -> bool {
        matches!(*self, Distribution::Pareto { tail_exponent, capped_at, .. }
            if tail_exponent <= 2.0 && capped_at == f64::INFINITY)
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
            Distribution::Pareto { minimum: 1.5, tail_exponent: 2.5, capped_at: 50.0 },
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

    /// A group of `tests/engine/data/money_expected.csv`: quantity, inputs, value and tolerance.
    fn heavy_tails() -> Vec<(String, String, f64, f64)> {
        let text = include_str!("../tests/engine/data/money_expected.csv");
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).flexible(true).from_reader(text.as_bytes());
        let lines = reader.records().map(|line| line.expect("a line")).filter(|line| &line[0] == "heavy_tail");
        let number = |text: &str| text.parse().expect("a number");
        lines.map(|line| (line[1].to_owned(), line[2].to_owned(), number(&line[3]), number(&line[4]))).collect()
    }

    /// Mean of the values above a quantile, over their density by Simpson's rule in the logarithm of the value.
    fn mean_above(law: &Distribution, share: f64) -> f64 {
        const STEPS: u32 = 400_000;
        let from = law.quantile(1.0 - share);
        let (reach, mut sum) = (60.0, 0.0);
        for step in 0..=STEPS {
            let x = from * (reach * f64::from(step) / f64::from(STEPS)).exp();
            let weight = if step == 0 || step == STEPS { 1.0 } else { 2.0 + 2.0 * f64::from(step % 2) };
            sum += weight * x * x * law.density(x);
        }
        sum * reach / f64::from(STEPS) / 3.0 / share
    }

    #[test] // closed forms
    fn heavy_tails_are_as_on_paper() {
        let after = |inputs: &str, name: &str| -> f64 {
            let rest = inputs.split(name).nth(1).expect("a name");
            rest.split(';').next().expect("a part").parse().expect("a number")
        };
        let mut count = 0;
        for (quantity, inputs, value, tolerance) in heavy_tails() {
            let pareto = |capped_at: f64| Distribution::Pareto {
                minimum: 1.0,
                tail_exponent: after(&inputs, "alpha="),
                capped_at,
            };
            let ours = match quantity.as_str() {
                "Pareto mean" => pareto(f64::INFINITY).mean(),
                "Pareto 99 % quantile" => pareto(f64::INFINITY).quantile(0.99),
                "mean with a cap at 100 x minimum" => pareto(100.0).mean(),
                "mean of the worst 1 %" => mean_above(&pareto(f64::INFINITY), 0.01),
                "lognormal mean of the worst 1 %" => {
                    let sigma_log = after(&inputs, "sd ln=");
                    mean_above(
                        &Distribution::Lognormal { median: (-0.5 * sigma_log * sigma_log).exp(), sigma_log },
                        0.01,
                    )
                }
                other => panic!("{other}"),
            };
            assert!((ours - value).abs() <= tolerance, "{quantity} {inputs}: {ours} for {value}");
            count += 1;
        }
        assert_eq!(count, 10);
    }

    #[test]
    fn a_capped_tail_has_a_mean_whatever_its_exponent() {
        // E min(X, c) by the trapezoidal rule over the chance of more.
        for tail_exponent in [0.5, 0.999_999, 1.0, 1.000_001, 2.0, 30.0] {
            let law = Distribution::Pareto { minimum: 2.0, tail_exponent, capped_at: 90.0 };
            let steps = 200_000;
            let of_logs = |step: u32| {
                let x = 2.0 * (45.0_f64.ln() * f64::from(step) / f64::from(steps)).exp();
                x * (2.0 / x).powf(tail_exponent)
            };
            let sum: f64 = (0..steps).map(|step| 0.5 * (of_logs(step) + of_logs(step + 1))).sum();
            let mean = 2.0 + sum * 45.0_f64.ln() / f64::from(steps);
            assert!((law.mean() / mean - 1.0).abs() < 1e-7, "{tail_exponent}: {} for {mean}", law.mean());
            assert!(law.quantile(1.0 - 1e-16) <= 90.0 && !law.has_infinite_variance());
        }
        let open = |tail_exponent| Distribution::Pareto { minimum: 2.0, tail_exponent, capped_at: f64::INFINITY };
        assert_eq!([1.0, 0.5].map(|exponent| open(exponent).mean()), [f64::INFINITY; 2]);
        assert_eq!([1.5, 2.0, 2.001].map(|exponent| open(exponent).has_infinite_variance()), [true, true, false]);
    }

    #[test]
    fn outcomes_come_as_often_as_they_should() {
        let outcomes = Outcomes::new(vec![1.0, 3.0, 20.0], vec![0.6, 0.3, 0.1]).expect("outcomes");
        let law = Distribution::Outcomes(outcomes);
        assert_eq!(
            [1e-9, 0.6, 0.600_001, 0.899_999, 0.900_001, 1.0 - 1e-16].map(|u| law.quantile(u)),
            [1.0, 1.0, 3.0, 3.0, 20.0, 20.0]
        );
        assert!((law.mean() - 3.5).abs() < 1e-14);
        let third = 1.0 / 3.0;
        assert!(Outcomes::new(vec![1.0, 2.0, 3.0], vec![third; 3]).is_ok(), "rounding is let be");
        for (values, probabilities, word) in [
            (vec![], vec![], "at least one"),
            (vec![1.0], vec![0.5, 0.5], "as many"),
            (vec![1.0, 1.0], vec![0.5, 0.5], "must rise"),
            (vec![1.0, f64::NAN], vec![0.5, 0.5], "must rise"),
            (vec![1.0, f64::INFINITY], vec![0.5, 0.5], "finite"),
            (vec![1.0, 2.0], vec![0.5, 0.6], "must be 1"),
            (vec![1.0, 2.0], vec![1.0, 0.0], "above 0"),
            (vec![1.0, 2.0], vec![1.0, f64::NAN], "above 0"),
        ] {
            let error = Outcomes::new(values, probabilities).expect_err("refused").to_string();
            assert!(error.contains(word), "{error}");
        }
    }

    /// Another version of the sampler would give other lives for a seed.
    #[test]
    fn recorded_gamma_draws_stay() {
        let key = Key::from_seed(1).named("row-a");
        let draws = [0, 1, 2].map(|counter| Distribution::Gamma { mean: 1.0, cov: 0.6 }.draw(key, counter).to_bits());
        assert_eq!(draws, [0x3ff4_755e_f012_2368, 0x3ff2_3fac_553e_79ea, 0x3ff5_62e2_25ba_6774]);
    }
}
