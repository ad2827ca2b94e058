//! Tails of the binomial, the chi-square and the normal distribution, with all their figures.
//!
//! Binomial tails are worked out here and not by a general library: those at hand lose their accuracy,
//! or never end, for more than about a million trials.

use super::quadrature::even_rule;
use crate::math::{normal_cdf, normal_density};
use statrs::function::erf::erfc;
use statrs::function::gamma::{checked_gamma_ur, ln_gamma};
use std::f64::consts::{FRAC_1_SQRT_2, PI};
use std::sync::LazyLock;

/// Probability of at most `events` in `trials`, each with probability `p`.
pub fn binomial_at_most(events: f64, trials: f64, p: f64) -> f64 {
    binomial(events, trials, p, 1.0 - p).at_most
}

/// Probability of at least `events` in `trials`, each with probability `p`.
pub fn binomial_at_least(events: f64, trials: f64, p: f64) -> f64 {
    binomial(events, trials, p, 1.0 - p).at_least
}

/// Probability of exactly `events` in `trials`, each with probability `p`.
pub fn binomial_exactly(events: f64, trials: f64, p: f64) -> f64 {
    probability(events, trials, p, 1.0 - p)
}

/// Probability that a chi-square number with so many degrees of freedom exceeds `x`.
pub fn chi_square_exceeds(x: f64, degrees_of_freedom: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    checked_gamma_ur(0.5 * degrees_of_freedom, 0.5 * x).unwrap_or(f64::NAN)
}

/// Logarithm of the normal distribution function, and the density over it.
pub(super) fn normal_log_and_ratio(z: f64) -> (f64, f64) {
    /// Below this the distribution function loses figures before it vanishes.
    const FAR: f64 = -30.0;
    if z > FAR {
        let chance = 0.5 * erfc(-z * FRAC_1_SQRT_2);
        (chance.ln(), normal_density(z) / chance)
    } else {
        // Asymptotic series (Abramowitz and Stegun 26.2.12); the next term is below 1e-9 here.
        let r = 1.0 / (z * z);
        let series = 1.0 - r * (1.0 - 3.0 * r * (1.0 - 5.0 * r));
        (-0.5 * z * z - (-z * (2.0 * PI).sqrt() / series).ln(), -z / series)
    }
}

/// Where what was seen stands in a binomial distribution.
#[derive(Clone, Copy)]
pub(super) struct Tails {
    pub at_most: f64,
    pub exactly: f64,
    pub at_least: f64,
}

/// The tails of a binomial distribution; `q` is `1 - p`, given apart to keep its figures.
pub(super) fn binomial(events: f64, trials: f64, p: f64, q: f64) -> Tails {
    let exactly = probability(events, trials, p, q);
    let above = upper_tail(events + 1.0, trials, p, q);
    let below = upper_tail(trials - events + 1.0, trials, q, p);
    // The smaller tail is worked out with all its figures, and the larger one is what it leaves.
    let (at_most, at_least) =
        if above < below { (1.0 - above, above + exactly) } else { (below + exactly, 1.0 - below) };
    Tails { at_most: at_most.clamp(0.0, 1.0), exactly, at_least: at_least.clamp(0.0, 1.0) }
}

/// Probability of at least `events`, by the continued fraction of the incomplete beta function
/// (Abramowitz and Stegun 26.5.8, evaluated after Lentz).
fn upper_tail(events: f64, trials: f64, p: f64, q: f64) -> f64 {
    if events > trials {
        return 0.0;
    }
    if events <= 0.0 {
        return 1.0;
    }
    let (a, b) = (events, trials - events + 1.0);
    if p > (a + 1.0) / (a + b + 2.0) { 1.0 - beta_fraction(b, a, q, p) } else { beta_fraction(a, b, p, q) }
}

fn beta_fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const SMALLEST: f64 = 1e-300;
    /// The fraction needs a few times the square root of the larger parameter.
    const MOST_TERMS: u32 = 1_000_000;
    let guarded = |x: f64| if x.abs() < SMALLEST { SMALLEST } else { x };
    let mut c = 1.0;
    let mut d = 1.0 / guarded(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for m in 1..MOST_TERMS {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guarded(1.0 + even * d);
        c = guarded(1.0 + even / c);
        fraction *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guarded(1.0 + odd * d);
        c = guarded(1.0 + odd / c);
        fraction *= d * c;
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    // x^a y^b / (a B(a, b)), written as a binomial probability.
    probability(a, a + b, x, y) * b / (a + b) * fraction
}

/// Binomial probability by the saddle-point expansion (Loader, "Fast and accurate computation of
/// binomial probabilities", 2000), also for counts that are not whole.
fn probability(events: f64, trials: f64, p: f64, q: f64) -> f64 {
    let others = trials - events;
    if !(events >= 0.0 && others >= 0.0) {
        return 0.0;
    }
    if trials == 0.0 {
        return 1.0;
    }
    if events == 0.0 {
        return (trials * ln_of_complement(q, p)).exp();
    }
    if others == 0.0 {
        return (trials * ln_of_complement(p, q)).exp();
    }
    if p == 0.0 || q == 0.0 {
        return 0.0;
    }
    let log = stirling_rest(trials)
        - stirling_rest(events)
        - stirling_rest(others)
        - deviance(events, trials * p)
        - deviance(others, trials * q);
    (trials / (std::f64::consts::TAU * events * others)).sqrt() * log.exp()
}

/// `ln x` where `y = 1 - x`, with the figures of the smaller of the two.
fn ln_of_complement(x: f64, y: f64) -> f64 {
    if y < 0.5 { (-y).ln_1p() } else { x.ln() }
}

/// What Stirling's formula leaves of `ln(n!)`.
pub(super) fn stirling_rest(n: f64) -> f64 {
    if n < 16.0 {
        return ln_gamma(n + 1.0) - (n + 0.5) * n.ln() + n - 0.5 * std::f64::consts::TAU.ln();
    }
    let square = n * n;
    (1.0 / 12.0 - (1.0 / 360.0 - (1.0 / 1260.0 - (1.0 / 1680.0 - 1.0 / (1188.0 * square)) / square) / square) / square)
        / n
}

/// `x ln(x / mean) + mean - x`, without cancellation where the two are near.
fn deviance(x: f64, mean: f64) -> f64 {
    let difference = x - mean;
    if difference.abs() < 0.1 * (x + mean) {
        let v = difference / (x + mean);
        let mut sum = difference * v;
        let mut term = 2.0 * x * v;
        for j in 1..1000 {
            term *= v * v;
            let next = sum + term / f64::from(2 * j + 1);
            if next == sum {
                break;
            }
            sum = next;
        }
        return sum;
    }
    x * (x / mean).ln() + mean - x
}

/// Distribution function of the non-central t distribution: of (z + shift) / sqrt(chi-square / freedom).
///
/// The average of the normal distribution function over what the root may be, which lies about 1.
pub(super) fn non_central_t(t: f64, freedom: f64, shift: f64) -> f64 {
    /// Standard deviations of the root, about one over sqrt(2 freedom), beyond which nothing counts.
    const FAR: f64 = 10.0;
    static RULE: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| even_rule(96));
    let half = 0.5 * freedom;
    let constant = 2_f64.ln() + half * half.ln() - ln_gamma(half);
    let reach = FAR / (2.0 * freedom).sqrt();
    let (from, to) = ((1.0 - reach).max(0.0), 1.0 + reach);
    let each = RULE.iter().map(|(point, weight)| {
        let root = 0.5 * (from + to) + 0.5 * (to - from) * point;
        let density = (constant + (freedom - 1.0) * root.ln() - half * root * root).exp();
        weight * (to - from) * density * normal_cdf(t * root - shift)
    });
    each.sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // scipy 1.17, nct.cdf; central: the t distribution with 8 degrees at 1.859548 is 0.95 (any table)
    fn the_non_central_t_distribution_is_that_of_a_library() {
        for (t, freedom, shift, wanted) in NON_CENTRAL {
            let ours = non_central_t(t, freedom, shift);
            assert!((ours - wanted).abs() < 1e-9, "{t} {freedom} {shift}: {ours} {wanted}");
        }
        assert!((non_central_t(1.859_548, 8.0, 0.0) - 0.95).abs() < 1e-7);
    }

    const NON_CENTRAL: [(f64, f64, f64, f64); 8] = [
        (2.5, 8.0, 1.2, 0.851_467_299_230_551_8),
        (12.0, 38.0, 9.0, 0.959_236_777_099_251_1),
        (18.0, 198.0, 18.12, 0.456_850_967_058_550_1),
        (-1.0, 10.0, 1.5, 0.007_779_095_354_336_685),
        (60.0, 1998.0, 57.3, 0.974_730_170_706_644_5),
        (5.0, 8.0, 12.0, 1.249_703_237_821_775_3e-5),
        (140.0, 1998.0, 138.0, 0.792_520_286_410_564_8),
        (0.0, 8.0, 2.0, 0.022_750_131_948_179_22),
    ];

    #[test] // the binomial sum itself
    fn tails_are_sums_of_probabilities() {
        for p in [0.0, 1e-9, 0.01, 0.3, 0.5, 0.9, 0.999_999, 1.0] {
            let each: Vec<f64> = (0..=40).map(|x| binomial_exactly(f64::from(x), 40.0, p)).collect();
            let choose = |x: usize| (0..x).map(|i| (40 - i) as f64 / (i + 1) as f64).product::<f64>();
            for x in 0..=40_usize {
                let plain = choose(x) * p.powi(x as i32) * (1.0 - p).powi(40 - x as i32);
                assert!((each[x] - plain).abs() <= 1e-12 * plain + 1e-300, "{x} at {p}: {} {plain}", each[x]);
                let below: f64 = each[..=x].iter().sum();
                let above: f64 = each[x..].iter().rev().sum();
                let (at_most, at_least) = (binomial_at_most(x as f64, 40.0, p), binomial_at_least(x as f64, 40.0, p));
                assert!((at_most - below).abs() <= 1e-12 * below, "{x} at {p}: {at_most} {below}");
                assert!((at_least - above).abs() <= 1e-12 * above, "{x} at {p}: {at_least} {above}");
            }
        }
    }

    #[test]
    fn no_trial_has_no_event_for_sure() {
        for p in [0.0, 0.3, 1.0] {
            assert_eq!([binomial_exactly(0.0, 0.0, p), binomial_at_most(0.0, 0.0, p)], [1.0; 2]);
            assert_eq!([binomial_exactly(1.0, 0.0, p), binomial_at_least(1.0, 0.0, p)], [0.0; 2]);
        }
    }

    #[test] // Abramowitz and Stegun, table 26.8: upper points of chi-square
    fn chi_square_tails_give_the_tabulated_points() {
        for (x, degrees, tail) in
            [(3.841_458_8, 1.0, 0.05), (6.634_896_6, 1.0, 0.01), (5.991_464_5, 2.0, 0.05), (18.307_038, 10.0, 0.05)]
        {
            assert!((chi_square_exceeds(x, degrees) - tail).abs() < 1e-8, "{x} {degrees}");
        }
        assert_eq!(chi_square_exceeds(0.0, 3.0), 1.0);
        assert!(chi_square_exceeds(f64::NAN, 1.0).is_nan());
    }

    #[test]
    fn the_far_normal_tail_joins_the_near_one() {
        let (near, far) = (normal_log_and_ratio(-30.0 + 1e-9), normal_log_and_ratio(-30.0 - 1e-9));
        assert!((near.0 - far.0).abs() < 1e-6 && (near.1 - far.1).abs() < 1e-6);
    }
}
