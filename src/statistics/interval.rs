//! Confidence intervals for proportions.

use super::search::crossing;
use super::tail::{Tails, binomial, chi_square_exceeds};
use crate::math::normal_quantile;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A counted share with its exact interval, which is asymmetric.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Proportion {
    /// How many were counted.
    pub events: u64,
    /// Out of how many.
    pub trials: u64,
    /// The share itself.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Proportion {
    /// `events` of `trials` with the interval of [`exact_proportion`]; `None` where there is nothing to count.
    pub fn exact(events: u64, trials: u64, level: f64) -> Option<Self> {
        let (counted, of) = (events as f64, trials as f64);
        let (low, high) = exact_proportion(counted, of, level);
        low.is_finite().then_some(Proportion { events, trials, value: counted / of, low, high })
    }
}

/// Exact interval of a proportion (Clopper and Pearson, Biometrika 26, 1934), two-sided.
///
/// `events` of `trials`, at a confidence `level` between 0 and 1. With no event the lower end is 0
/// and the upper end the value at which seeing none has probability `(1 - level) / 2`; likewise at
/// the other end. Not-a-number where the counts make no sense.
///
/// ```
/// use serrata::statistics::interval::exact_proportion;
///
/// // The lower end of a one-sided 95 % bound is that of a two-sided 90 % interval.
/// let (low, high) = exact_proportion(29.0, 29.0, 0.90);
/// assert!((low - 0.9018554).abs() < 1e-7);
/// assert_eq!(high, 1.0);
/// ```
pub fn exact_proportion(events: f64, trials: f64, level: f64) -> (f64, f64) {
    let tail = 0.5 * (1.0 - level);
    ends(events, trials, tail, |ends, p| if ends == End::Low { p.at_least } else { p.at_most })
}

/// Interval of a proportion by inversion of the mid-p test (Lancaster, Journal of the American
/// Statistical Association 56, 1961): half of the probability of what was seen counts in each tail.
///
/// Narrower than [`exact_proportion`]; its coverage is near the level on average, and may be below it.
pub fn mid_p_proportion(events: f64, trials: f64, level: f64) -> (f64, f64) {
    let tail = 0.5 * (1.0 - level);
    ends(events, trials, tail, |ends, p| {
        if ends == End::Low { p.at_least - 0.5 * p.exactly } else { p.at_most - 0.5 * p.exactly }
    })
}

/// Interval of a proportion by inversion of the score test (Wilson, Journal of the American
/// Statistical Association 22, 1927), without continuity correction.
pub fn wilson_proportion(events: f64, trials: f64, level: f64) -> (f64, f64) {
    if !(events >= 0.0 && events <= trials && trials > 0.0) {
        return (f64::NAN, f64::NAN);
    }
    let z = normal_quantile(0.5 + 0.5 * level);
    let (proportion, square) = (events / trials, z * z / trials);
    let centre = proportion + 0.5 * square;
    let half = (square * (proportion * (1.0 - proportion) + 0.25 * square)).sqrt();
    let low = if events == 0.0 { 0.0 } else { (centre - half) / (1.0 + square) };
    let high = if events == trials { 1.0 } else { (centre + half) / (1.0 + square) };
    (low.max(0.0), high.min(1.0))
}

/// Numbers, counted from 1, of the values between which the quantile of `share` lies with a confidence of at least `level`,
/// two-sided, when so many independent ones are sorted: by the binomial number of values at or below it. No number where
/// there are too few values for an end.
///
/// ```
/// use serrata::statistics::interval::ranks_of_quantile;
///
/// // Of the median of ten the second and the ninth: with 97.9 %, and no other pair with less but 95 % or more.
/// assert_eq!(ranks_of_quantile(10.0, 0.5, 0.95), [Some(2.0), Some(9.0)]);
/// assert_eq!(ranks_of_quantile(100.0, 0.99, 0.95)[1], None);
/// ```
pub fn ranks_of_quantile(values: f64, share: f64, level: f64) -> [Option<f64>; 2] {
    let tail = 0.5 * (1.0 - level);
    if !(values >= 1.0 && share > 0.0 && share < 1.0 && tail > 0.0) {
        return [None; 2];
    }
    // The largest count up to which there are no more values at or below the quantile with a probability of a tail.
    let most_seldom = |share: f64| {
        let is_seldom = |count: f64| binomial(count, values, share, 1.0 - share).at_most <= tail;
        if !is_seldom(0.0) {
            return None;
        }
        let (mut seldom, mut often) = (0.0, values.floor());
        while often - seldom > 1.0 {
            let middle = (0.5 * (seldom + often)).floor();
            if is_seldom(middle) { seldom = middle } else { often = middle }
        }
        Some(seldom + 1.0)
    };
    [most_seldom(share), most_seldom(1.0 - share).map(|from_above| values.floor() + 1.0 - from_above)]
}

/// Interval of an expected number of events that were counted with weights (Fay and Feuer, Statistics in Medicine 16, 1997,
/// 791): never too narrow where each event is a Poisson one, and the exact interval of a count where all weights are equal.
///
/// `sum` is the sum of the weights of the events, `square` that of their squares, `largest` the largest weight that an
/// event can have. Not-a-number where these make no sense.
///
/// ```
/// use serrata::statistics::interval::weighted_count;
///
/// // Three events of weight 1: the interval of a Poisson count of 3.
/// let (low, high) = weighted_count(3.0, 3.0, 1.0, 0.95);
/// assert!((low - 0.618672).abs() < 1e-6 && (high - 8.767273).abs() < 1e-6);
/// ```
pub fn weighted_count(sum: f64, square: f64, largest: f64, level: f64) -> (f64, f64) {
    if !(sum >= 0.0 && square >= 0.0 && largest > 0.0) {
        return (f64::NAN, f64::NAN);
    }
    let tail = 0.5 * (1.0 - level);
    let quantile =
        |sum: f64, square: f64, probability: f64| gamma_quantile(sum * sum / square, probability) * square / sum;
    let low = if sum > 0.0 { quantile(sum, square, tail) } else { 0.0 };
    (low, quantile(sum + largest, square + largest * largest, 1.0 - tail))
}

/// Half the width of an interval of a mean, in standard errors: by Student's t with so many degrees of freedom, or by the
/// normal distribution where these are infinite.
pub(crate) fn half_width(degrees_of_freedom: f64, level: f64) -> f64 {
    let probability = 0.5 + 0.5 * level;
    match StudentsT::new(0.0, 1.0, degrees_of_freedom) {
        Ok(student) if degrees_of_freedom.is_finite() => student.inverse_cdf(probability),
        _ => normal_quantile(probability),
    }
}

/// Quantile of the gamma distribution with scale 1.
fn gamma_quantile(shape: f64, probability: f64) -> f64 {
    /// From here on the cube root is normal to ten figures (Wilson and Hilferty, PNAS 17, 1931).
    const MANY: f64 = 1e5;
    if shape > MANY {
        let ninth = 1.0 / (9.0 * shape);
        return shape * (1.0 - ninth + normal_quantile(probability) * ninth.sqrt()).powi(3);
    }
    // On the logarithmic scale, so that small quantiles keep their figures.
    let excess = |ln: f64| chi_square_exceeds(2.0 * ln.exp(), 2.0 * shape);
    rising_root(|ln| (1.0 - probability).ln() - excess(ln).max(f64::MIN_POSITIVE).ln(), shape.max(0.1).ln()).exp()
}

#[derive(Clone, Copy, PartialEq)]
enum End {
    Low,
    High,
}

/// Both ends of the interval of all proportions at which `measure` exceeds `tail`.
fn ends(events: f64, trials: f64, tail: f64, measure: impl Fn(End, Tails) -> f64) -> (f64, f64) {
    if !(events >= 0.0 && events <= trials && trials > 0.0 && tail > 0.0) {
        return (f64::NAN, f64::NAN);
    }
    // On the logit scale both ends keep their figures, however near they are to 0 or 1.
    let end = |which: End| {
        let excess = |logit: f64| {
            let (p, q) = (1.0 / (1.0 + (-logit).exp()), 1.0 / (1.0 + logit.exp()));
            // Far from the end the tail may be too small for a number.
            let at = measure(which, binomial(events, trials, p, q)).max(f64::MIN_POSITIVE);
            if which == End::Low { at.ln() - tail.ln() } else { tail.ln() - at.ln() }
        };
        let logit = rising_root(excess, ((events + 0.5) / (trials - events + 0.5)).ln());
        1.0 / (1.0 + (-logit).exp())
    };
    let low = if events == 0.0 { 0.0 } else { end(End::Low) };
    let high = if events == trials { 1.0 } else { end(End::High) };
    (low, high)
}

/// Where a rising function crosses zero, from a bracket grown around a start.
fn rising_root(f: impl Fn(f64) -> f64, start: f64) -> f64 {
    /// Beyond it a probability is nothing, or everything.
    const FURTHEST: f64 = 700.0;
    let (mut a, mut b) = (start, start);
    let (mut fa, mut fb) = (f(start), f(start));
    let mut step = 0.5;
    while fa > 0.0 && a > -FURTHEST {
        (b, fb) = (a, fa);
        a -= step;
        fa = f(a);
        step *= 2.0;
    }
    while fb < 0.0 && b < FURTHEST {
        (a, fa) = (b, fb);
        b += step;
        fb = f(b);
        step *= 2.0;
    }
    crossing((a, fa), (b, fb), 1e-15 * a.abs().max(1.0), f)
}

#[cfg(test)]
mod tests {
    use super::super::tail::{binomial_at_least, binomial_exactly};
    use super::*;

    /// By binomial probabilities, summed.
    #[test]
    fn ranks_of_a_quantile_hold_it_and_no_narrower_ones_do() {
        for (values, share) in [(10_u32, 0.5), (72, 0.95), (73, 0.95), (200, 0.9), (130, 0.99)] {
            let mut exactly = vec![(1.0_f64 - share).powi(values as i32)];
            for count in 1..=values {
                let odds = f64::from(values - count + 1) / f64::from(count) * share / (1.0 - share);
                exactly.push(exactly[exactly.len() - 1] * odds);
            }
            // Of so many or fewer, and of so many or more, at or below the quantile.
            let at_most = |count: usize| exactly[..=count].iter().sum::<f64>();
            let at_least = |count: usize| exactly[count..].iter().sum::<f64>();
            let [low, high] = ranks_of_quantile(f64::from(values), share, 0.95);
            let low = low.expect("enough values") as usize;
            assert!(at_most(low - 1) <= 0.025 && at_most(low) > 0.025, "{values} {share}: {low}");
            match high {
                Some(high) => {
                    let high = high as usize;
                    assert!(at_least(high) <= 0.025 && at_least(high - 1) > 0.025, "{values} {share}: {high}");
                }
                None => assert!(at_least(values as usize) > 0.025, "{values} {share}"),
            }
        }
        // 0.95^71 is 2.62 %, 0.95^72 2.49 %.
        assert_eq!(ranks_of_quantile(71.0, 0.95, 0.95)[1], None);
        assert_eq!(ranks_of_quantile(72.0, 0.95, 0.95)[1], Some(72.0));
        assert_eq!([0.0, f64::NAN].map(|values| ranks_of_quantile(values, 0.5, 0.95)), [[None; 2]; 2]);
        // As the normal distribution has it, in no time.
        let [low, high] = ranks_of_quantile(4e9, 0.99, 0.95).map(|rank| rank.expect("a rank"));
        let reach = 1.959_964 * (4e9 * 0.99 * 0.01_f64).sqrt();
        assert!((low - (3.96e9 - reach)).abs() < 3.0 && (high - (3.96e9 + reach)).abs() < 3.0, "{low} {high}");
    }

    #[test] // Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, methods 5 and 3, to 4 decimals
    fn exact_and_score_intervals_are_those_of_the_published_table() {
        for (events, trials, exact, score) in [
            (81.0, 263.0, (0.2527, 0.3676), (0.2553, 0.3662)),
            (15.0, 148.0, (0.0578, 0.1617), (0.0624, 0.1605)),
            (0.0, 20.0, (0.0, 0.1684), (0.0, 0.1611)),
            (1.0, 29.0, (0.0009, 0.1776), (0.0061, 0.1718)),
        ] {
            for (ours, published) in
                [(exact_proportion(events, trials, 0.95), exact), (wilson_proportion(events, trials, 0.95), score)]
            {
                assert!((ours.0 - published.0).abs() < 6e-5, "{events} of {trials}: {ours:?}");
                assert!((ours.1 - published.1).abs() < 6e-5, "{events} of {trials}: {ours:?}");
            }
        }
    }

    /// Weights of 1e-9, 2e-9 and 5e-9 that were counted 4, 2 and 1 times, and never; equal weights are a Poisson count.
    #[test] // Fay and Feuer 1997, worked out by another program with its own quantiles
    fn weighted_counts_have_the_published_interval() {
        let near = |ours: f64, expected: f64| assert!((ours / expected - 1.0).abs() < 1e-9, "{ours} and {expected}");
        let (low, high) = weighted_count(1.3e-8, 4e-18 + 8e-18 + 25e-18, 5e-9, 0.95);
        near(low, 3.945_949_891_539_665e-9);
        near(high, 3.639_879_861_039_415e-8);
        let (low, high) = weighted_count(0.0, 0.0, 5e-9, 0.95);
        assert_eq!(low, 0.0);
        near(high, 1.844_439_727_056_967_7e-8);
        // Many events: the normal interval, which the cube root joins.
        for count in [9e4_f64, 1.1e5, 1e8] {
            let (low, high) = weighted_count(count, count, 1.0, 0.95);
            let reach = 1.959_964 * count.sqrt();
            assert!((high - count - reach).abs() < 3.0 && (count - low - reach).abs() < 3.0, "{low} to {high}");
        }
        assert!(weighted_count(1.0, 1.0, 0.0, 0.95).0.is_nan());
    }

    #[test]
    fn nothing_seen_still_has_a_bound() {
        let (low, high) = exact_proportion(0.0, 1e9, 0.95);
        assert_eq!(low, 0.0);
        assert!((high * 1e9 - 3.688_879_4).abs() < 1e-5, "{high}"); // -ln(0.025)
    }

    #[test] // request B2: computed with scipy 1.17, stats.beta.ppf
    fn bounds_hold_for_tiny_tails_and_a_thousand_million_trials() {
        for (events, trials, tail, low, high) in REFERENCE {
            let ours = exact_proportion(events, trials, 1.0 - 2.0 * tail);
            // The level is given as 1 - 2 tail, which keeps about 1e-16 of a tail of 1e-7.
            assert!((ours.0 / low - 1.0).abs() < 2e-9, "{events} of {trials}, {tail}: {} not {low}", ours.0);
            assert!((ours.1 / high - 1.0).abs() < 2e-9, "{events} of {trials}, {tail}: {} not {high}", ours.1);
        }
    }

    const REFERENCE: [(f64, f64, f64, f64, f64); 22] = [
        (1.0, 1000.0, 0.025, 2.531748749129404e-05, 0.005558924279826673),
        (1.0, 1000.0, 1e-07, 1.0000000499500033e-10, 0.018947576875514162),
        (10.0, 1000.0, 0.025, 0.004805510691049307, 0.018313243055112453),
        (10.0, 1000.0, 1e-07, 0.0009921653313789591, 0.03705981539324124),
        (999.0, 1000.0, 0.025, 0.9944410757201734, 0.9999746825125088),
        (999.0, 1000.0, 1e-07, 0.9810524231244858, 0.9999999999),
        (500.0, 1000000.0, 0.025, 0.0004571381485584746, 0.0005457967656540888),
        (500.0, 1000000.0, 1e-07, 0.00039230252773621375, 0.0006261387108693855),
        (999990.0, 1000000.0, 0.025, 0.9999816097211087, 0.9999952046012225),
        (999990.0, 1000000.0, 1e-07, 0.9999624261392228, 0.9999990118096312),
        (1.0, 1000000000.0, 0.025, 2.531780798396938e-11, 5.571643378203115e-09),
        (1.0, 1000000000.0, 1e-07, 1.0000000500000033e-16, 1.9119799885476653e-08),
        (1000.0, 1000000000.0, 0.025, 9.38973046589561e-07, 1.0639521019952884e-06),
        (1000.0, 1000000000.0, 1e-07, 8.441658085214638e-07, 1.1742658667440174e-06),
        (999999990.0, 1000000000.0, 0.025, 0.999999981609644, 0.9999999952046112),
        (999999990.0, 1000000000.0, 1e-07, 0.9999999624256217, 0.9999999990118136),
        (500.0, 1000.0, 0.025, 4.685491729717919e-01, 5.314508270282081e-01),
        (500.0, 1000.0, 1e-07, 4.178730493413139e-01, 5.821269506586861e-01),
        (500000.0, 1000000.0, 0.025, 4.990195191953118e-01, 5.009804808046882e-01),
        (500000.0, 1000000.0, 1e-07, 4.973998494371729e-01, 5.026001505628271e-01),
        (500000000.0, 1000000000.0, 0.025, 4.999690097484223e-01, 5.000309902515777e-01),
        (500000000.0, 1000000000.0, 1e-07, 4.99917790755157e-01, 5.00082209244843e-01),
    ];

    #[test] // request B2
    fn bounds_rise_with_the_count_and_widen_with_the_level() {
        for level in [0.5, 0.95, 1.0 - 2e-7] {
            let mut before = (-1.0, 0.0);
            for events in 0..=1000 {
                let now = exact_proportion(f64::from(events), 1000.0, level);
                assert!(now.0 > before.0 && now.1 >= before.1 && now.0 < now.1, "{events} at {level}: {now:?}");
                before = now;
            }
        }
        let widths = [0.5, 0.9, 0.99, 1.0 - 1e-9].map(|level| {
            let (low, high) = exact_proportion(7.0, 40.0, level);
            high - low
        });
        assert!(widths.is_sorted());
    }

    #[test]
    fn a_mid_p_interval_lies_within_the_exact_one_and_solves_its_equation() {
        for (events, trials) in [(0.0, 29.0), (1.0, 29.0), (14.0, 29.0), (29.0, 29.0)] {
            let (exact, mid) = (exact_proportion(events, trials, 0.95), mid_p_proportion(events, trials, 0.95));
            assert!(exact.0 <= mid.0 && mid.1 <= exact.1, "{exact:?} {mid:?}");
            if events > 0.0 {
                let at = binomial_at_least(events, trials, mid.0) - 0.5 * binomial_exactly(events, trials, mid.0);
                assert!((at - 0.025).abs() < 1e-12, "{at}");
            }
        }
    }

    #[test]
    fn counts_that_make_no_sense_give_no_number() {
        for (events, trials) in [(-1.0, 5.0), (6.0, 5.0), (0.0, 0.0), (f64::NAN, 5.0), (1.0, f64::NAN)] {
            for (low, high) in [
                exact_proportion(events, trials, 0.95),
                mid_p_proportion(events, trials, 0.95),
                wilson_proportion(events, trials, 0.95),
            ] {
                assert!(low.is_nan() && high.is_nan(), "{events} of {trials}");
            }
        }
    }
}
