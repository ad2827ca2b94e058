//! The factor on the hazard that all blades of a row share: gamma, of mean 1.

use statrs::function::gamma::{digamma, ln_gamma};

/// A gamma law of mean 1.
pub(super) struct RowLaw {
    /// One over the variance.
    shape: f64,
}

/// A logarithm of a likelihood with slope and bend by the logarithm of the factor.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Along {
    pub log: f64,
    pub slope: f64,
    pub bend: f64,
}

impl Along {
    /// Adds so many times another.
    pub fn add(&mut self, number: f64, other: &Along) {
        self.log += number * other.log;
        self.slope += number * other.slope;
        self.bend += number * other.bend;
    }
}

impl RowLaw {
    /// A variance to begin with.
    pub const USUAL: f64 = 0.3;
    /// Variances below are those of no factor.
    pub const SMALLEST: f64 = 1e-5;
    /// Variances beyond are those of no rows.
    const LARGEST: f64 = 1e3;

    /// Whether a variance, by its logarithm, is one whose law keeps its figures.
    pub fn can_be(log_variance: f64) -> bool {
        (RowLaw::SMALLEST.ln()..=RowLaw::LARGEST.ln()).contains(&log_variance)
    }

    pub fn of_log_variance(log_variance: f64) -> Self {
        RowLaw { shape: (-log_variance).exp() }
    }

    /// Logarithm of the density of the factor's logarithm, with slope and bend by the logarithm of the variance.
    pub fn log_density(&self, log_factor: f64) -> [f64; 3] {
        let a = self.shape;
        let log = a * a.ln() - ln_gamma(a) + a * (log_factor - log_factor.exp());
        let slope = a.ln() + 1.0 - digamma(a) + log_factor - log_factor.exp();
        let bend = 1.0 / a - trigamma(a);
        [log, -a * slope, a * a * bend + a * slope]
    }
}

/// Places and logarithms of widths over which a row's likelihood times the density of its factor is summed.
///
/// The trapezoid rule on the logarithm of the factor: there the integrand is smooth and falls off at both ends, so that
/// its error falls with the exponential of one over the step, squared where the integrand is like a normal density.
pub(super) fn nodes(law: &RowLaw, row: impl Fn(f64) -> Along) -> Vec<(f64, f64)> {
    /// Of a normal density's spread: the error is below 1e-15 of the sum.
    const STEP: f64 = 0.65;
    /// Where the gamma law is broad, and falls like the exponential of an exponential.
    const WIDEST: f64 = 0.25;
    /// Logarithm of what is left out at the ends.
    const DEPTH: f64 = 40.0;
    /// Of nodes to one side, whatever the row.
    const MOST: usize = 4000;
    let whole = |u: f64| {
        let Along { log, slope, bend } = row(u);
        let a = law.shape;
        Along { log: log + a * (u - u.exp()), slope: slope + a * (1.0 - u.exp()), bend: bend - a * u.exp() }
    };
    // The top; the search need not end on it, only near.
    let (mut middle, mut here) = (0.0, whole(0.0));
    for _ in 0..100 {
        let step = if here.bend < 0.0 { (-here.slope / here.bend).clamp(-2.0, 2.0) } else { here.slope.signum() };
        middle += step;
        here = whole(middle);
        if step.abs() < 1e-3 * WIDEST {
            break;
        }
    }
    let width = (STEP / (-here.bend).max(f64::MIN_POSITIVE).sqrt()).min(WIDEST);
    let mut places = vec![middle];
    for way in [-1.0, 1.0] {
        let mut places_there = (1..MOST).map(|step| middle + way * width * step as f64);
        places.extend(places_there.by_ref().take_while(|place| whole(*place).log > here.log - DEPTH));
    }
    places.into_iter().map(|place| (place, width.ln())).collect()
}

/// Derivative of the digamma function, by its recurrence and Abramowitz and Stegun 6.4.12 from 10 on, where the first
/// term left out is below 1e-14.
fn trigamma(mut x: f64) -> f64 {
    let mut sum = 0.0;
    while x < 10.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let r = 1.0 / (x * x);
    let series =
        1.0 / 6.0 - r * (1.0 / 30.0 - r * (1.0 / 42.0 - r * (1.0 / 30.0 - r * (5.0 / 66.0 - r * 691.0 / 2730.0))));
    sum + (1.0 + 0.5 / x + r * series) / x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // pi^2 / 6 at 1, and pi^2 / 2 at 1/2 (Abramowitz and Stegun 6.4)
    fn trigamma_has_its_known_values() {
        let square = std::f64::consts::PI.powi(2);
        assert!((trigamma(1.0) - square / 6.0).abs() < 1e-13);
        assert!((trigamma(0.5) - square / 2.0).abs() < 1e-13);
    }

    #[test]
    fn the_density_adds_up_to_one_with_mean_one_and_its_variance() {
        for variance in [1e-4_f64, 0.3, 1.0, 8.0] {
            let law = RowLaw::of_log_variance(variance.ln());
            let (mut moments, nodes) = ([0.0; 3], nodes(&law, |_| Along::default()));
            for (u, log_width) in nodes {
                let mass = (law.log_density(u)[0] + log_width).exp();
                for (power, moment) in moments.iter_mut().enumerate() {
                    *moment += mass * (power as f64 * u).exp();
                }
            }
            let wanted = [1.0, 1.0, 1.0 + variance];
            for (ours, wanted) in moments.into_iter().zip(wanted) {
                assert!((ours - wanted).abs() < 1e-9, "{variance}: {ours} {wanted}");
            }
        }
    }
}
