//! Two techniques: McNemar's test, the difference with its interval, and the gain of using both.

use crate::statistics::capture_histories::{self, CaptureHistories};
use crate::statistics::interval::{Proportion, wilson_proportion};
use crate::statistics::tail::{binomial_at_most, binomial_exactly, chi_square_exceeds};
use serde::Serialize;

/// Whether two techniques find alike, from the blades that just one of them found (McNemar,
/// Psychometrika 12, 1947). All values of p are two-sided.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct McNemar {
    /// Exact binomial p.
    pub p_exact: f64,
    /// Mid-p: half of the probability of what was seen counts; less cautious than the exact one
    /// (Fagerland, Lydersen and Laake, BMC Medical Research Methodology 13, 2013).
    pub p_mid: f64,
    /// Chi-square statistic; `None` when no blade was found by just one.
    pub chi_square: Option<f64>,
    /// Its p, one degree of freedom.
    pub p_chi_square: Option<f64>,
    /// Chi-square statistic with continuity correction.
    pub chi_square_corrected: Option<f64>,
    /// Its p.
    pub p_chi_square_corrected: Option<f64>,
}

impl McNemar {
    /// From the numbers of blades that only the first and that only the second found.
    pub fn new(only_first: u64, only_second: u64) -> Self {
        let (fewer, all) = (only_first.min(only_second) as f64, (only_first + only_second) as f64);
        if all == 0.0 {
            return McNemar {
                p_exact: 1.0,
                p_mid: 1.0,
                chi_square: None,
                p_chi_square: None,
                chi_square_corrected: None,
                p_chi_square_corrected: None,
            };
        }
        let (so_few, just_these) = (binomial_at_most(fewer, all, 0.5), binomial_exactly(fewer, all, 0.5));
        let apart = only_first.abs_diff(only_second) as f64;
        let plain = apart * apart / all;
        let corrected = (apart - 1.0).max(0.0).powi(2) / all;
        McNemar {
            p_exact: (2.0 * so_few).min(1.0),
            p_mid: (2.0 * so_few - just_these).min(1.0),
            chi_square: Some(plain),
            p_chi_square: Some(chi_square_exceeds(plain, 1.0)),
            chi_square_corrected: Some(corrected),
            p_chi_square_corrected: Some(chi_square_exceeds(corrected, 1.0)),
        }
    }
}

/// Two techniques on the blades that both looked at.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// The first technique.
    pub first: String,
    /// The second technique.
    pub second: String,
    /// Blades that both looked at, without those known to be free of cracks.
    pub blades: u64,
    /// Found by both.
    pub both: u64,
    /// Found by the first and not by the second.
    pub only_first: u64,
    /// Found by the second and not by the first.
    pub only_second: u64,
    /// Called by neither: free of cracks, or missed by both.
    pub neither: u64,
    /// Whether they find alike.
    pub mcnemar: McNemar,
    /// Exact p of McNemar's test after Holm (Scandinavian Journal of Statistics 6, 1979) for all pairs at once.
    pub p_holm: f64,
    /// Finds of the first minus those of the second, as a share of the blades; `None` without a blade.
    pub difference: Option<f64>,
    /// Its standard error (Wald).
    pub difference_se: Option<f64>,
    /// Its interval (Newcombe, Statistics in Medicine 17, 1998, 2635-2650, method 10); stays between -1 and 1.
    pub difference_interval: Option<(f64, f64)>,
    /// Of what the second found, the share that the first found too.
    ///
    /// It is the first's probability of detection where the two err independently; too high where cracks that
    /// one misses tend to be missed by the other.
    pub first_of_second: Option<Proportion>,
    /// Of what the first found, the share that the second found too; likewise.
    pub second_of_first: Option<Proportion>,
    /// Found by at least one of the two.
    pub together: u64,
    /// The technique of the two that found more, or the first when they found alike.
    pub better: String,
    /// Blades that using both found beyond the better of the two, as a share of `together`.
    pub gain: Option<Proportion>,
}

/// Each technique with each later one.
pub(super) fn all(histories: &CaptureHistories, level: f64) -> Vec<Pair> {
    let mut pairs: Vec<Pair> = capture_histories::pairs(histories.techniques().len())
        .map(|(first, second)| pair(&histories.of_techniques(&[first, second]), level))
        .collect();
    holm(&mut pairs);
    pairs
}

fn pair(histories: &CaptureHistories, level: f64) -> Pair {
    let names = histories.techniques();
    // Bit 0 of a pattern stands for the first technique, bit 1 for the second.
    let counts = histories.found().counts;
    let (neither, only_first, only_second, both) = (counts[0b00], counts[0b01], counts[0b10], counts[0b11]);
    let blades = both + only_first + only_second + neither;
    let together = blades - neither;
    let better = if only_second > only_first { &names[1] } else { &names[0] };
    let mcnemar = McNemar::new(only_first, only_second);
    let difference = Difference::new([both, only_first, only_second, neither].map(|count| count as f64), level);
    Pair {
        first: names[0].clone(),
        second: names[1].clone(),
        blades,
        both,
        only_first,
        only_second,
        neither,
        mcnemar,
        p_holm: mcnemar.p_exact,
        difference: difference.map(|difference| difference.value),
        difference_se: difference.map(|difference| difference.standard_error),
        difference_interval: difference.map(|difference| difference.interval),
        first_of_second: Proportion::exact(both, both + only_second, level),
        second_of_first: Proportion::exact(both, both + only_first, level),
        together,
        better: better.clone(),
        gain: Proportion::exact(only_first.min(only_second), together, level),
    }
}

/// Steps down from the smallest p: each is multiplied by the number of those not yet passed.
fn holm(pairs: &mut [Pair]) {
    let mut order: Vec<usize> = (0..pairs.len()).collect();
    order.sort_by(|a, b| pairs[*a].mcnemar.p_exact.total_cmp(&pairs[*b].mcnemar.p_exact));
    let mut before = 0.0_f64;
    for (passed, at) in order.into_iter().enumerate() {
        let left = (pairs.len() - passed) as f64;
        before = before.max(left * pairs[at].mcnemar.p_exact).min(1.0);
        pairs[at].p_holm = before;
    }
}

/// The difference of two shares of the same blades.
#[derive(Clone, Copy)]
struct Difference {
    value: f64,
    standard_error: f64,
    interval: (f64, f64),
}

impl Difference {
    fn new([both, only_first, only_second, neither]: [f64; 4], level: f64) -> Option<Self> {
        let n = both + only_first + only_second + neither;
        if n == 0.0 {
            return None;
        }
        let value = (only_first - only_second) / n;
        let standard_error = (only_first + only_second - (only_first - only_second).powi(2) / n).max(0.0).sqrt() / n;
        let (first, second) = ((both + only_first) / n, (both + only_second) / n);
        let (low_1, high_1) = wilson_proportion(both + only_first, n, level);
        let (low_2, high_2) = wilson_proportion(both + only_second, n, level);
        // Correlation of the two shares, drawn towards zero by a continuity correction when it is positive.
        let product = both * neither - only_first * only_second;
        let drawn = if product > 0.0 { (product - 0.5 * n).max(0.0) } else { product };
        let margins = (both + only_first) * (only_second + neither) * (both + only_second) * (only_first + neither);
        let correlation = if margins > 0.0 { drawn / margins.sqrt() } else { 0.0 };
        let reach = |a: f64, b: f64| (a * a - 2.0 * correlation * a * b + b * b).max(0.0).sqrt();
        let low = value - reach(first - low_1, high_2 - second);
        let high = value + reach(high_1 - first, second - low_2);
        Some(Difference { value, standard_error, interval: (low.max(-1.0), high.min(1.0)) })
    }
}
