//! Cochran's test: whether several techniques find alike on the same blades.

use crate::statistics::tail::chi_square_exceeds;
use serde::Serialize;

/// Cochran's Q (Biometrika 37, 1950).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cochran {
    /// The statistic.
    pub q: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: u64,
    /// Probability of so large a value when all find alike: chi-square approximation.
    pub p: f64,
    /// Blades that tell the techniques apart: found by some and not by all.
    pub telling_blades: u64,
    /// Whether these are too few for the approximation: fewer than 24 over the number of techniques
    /// (common practice, no source).
    pub few: bool,
}

/// Q from the blades for each pattern of finds; bit `i` of a pattern stands for technique `i`.
///
/// `None` when no blade tells the techniques apart, or for a number of patterns that is no power of two.
pub fn cochran(counts: &[u64]) -> Option<Cochran> {
    let techniques = counts.len().checked_ilog2().filter(|k| *k >= 1 && counts.len() == 1 << k)?;
    let k = f64::from(techniques);
    let (mut finds, mut spread, mut telling_blades) = (vec![0.0; techniques as usize], 0.0, 0);
    for (pattern, count) in counts.iter().enumerate() {
        let found_by = f64::from(pattern.count_ones());
        for (technique, found) in finds.iter_mut().enumerate() {
            *found += (pattern >> technique & 1) as f64 * *count as f64;
        }
        spread += *count as f64 * found_by * (k - found_by);
        telling_blades += if pattern == 0 || pattern == counts.len() - 1 { 0 } else { *count };
    }
    if telling_blades == 0 {
        return None;
    }
    let mean = finds.iter().sum::<f64>() / k;
    let apart: f64 = finds.iter().map(|found| (found - mean).powi(2)).sum();
    let q = k * (k - 1.0) * apart / spread;
    let degrees_of_freedom = u64::from(techniques) - 1;
    let few = telling_blades * u64::from(techniques) < 24;
    Some(Cochran { q, degrees_of_freedom, p: chi_square_exceeds(q, k - 1.0), telling_blades, few })
}
