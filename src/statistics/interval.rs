//! Confidence intervals for proportions.

use statrs::distribution::{Beta, ContinuousCDF};

/// Exact interval of a proportion (Clopper and Pearson, Biometrika 26, 1934), two-sided.
///
/// `events` of `trials`, at a confidence `level` between 0 and 1. With no event the lower end is 0
/// and the upper end the value at which seeing none has probability `(1 - level) / 2`; likewise at
/// the other end.
pub fn exact_proportion(events: f64, trials: f64, level: f64) -> (f64, f64) {
    let tail = 0.5 * (1.0 - level);
    // The closed forms at the ends keep all figures for any number of trials.
    let low = if events <= 0.0 {
        0.0
    } else if events >= trials {
        (tail.ln() / trials).exp()
    } else {
        quantile(events, trials - events + 1.0, tail)
    };
    let high = if events >= trials {
        1.0
    } else if events <= 0.0 {
        -(tail.ln() / trials).exp_m1()
    } else {
        quantile(events + 1.0, trials - events, 1.0 - tail)
    };
    (low, high)
}

fn quantile(a: f64, b: f64, probability: f64) -> f64 {
    Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(probability))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 5, to 4 decimals
    fn exact_proportions_are_those_of_the_published_table() {
        for (events, trials, low, high) in [
            (81.0, 263.0, 0.2527, 0.3676),
            (15.0, 148.0, 0.0578, 0.1617),
            (0.0, 20.0, 0.0, 0.1684),
            (1.0, 29.0, 0.0009, 0.1776),
        ] {
            let (ours_low, ours_high) = exact_proportion(events, trials, 0.95);
            assert!((ours_low - low).abs() < 6e-5, "{events} of {trials}: {ours_low}");
            assert!((ours_high - high).abs() < 6e-5, "{events} of {trials}: {ours_high}");
        }
    }

    #[test]
    fn nothing_seen_still_has_a_bound() {
        let (low, high) = exact_proportion(0.0, 1e9, 0.95);
        assert_eq!(low, 0.0);
        assert!((high * 1e9 - 3.688_879_4).abs() < 1e-5, "{high}"); // -ln(0.025)
    }
}
