//! The perfect fit of the calls: what a model's fit is held against.

use super::cells::{Cell, blades};
use std::collections::BTreeSet;

/// Largest log-likelihood of the calls when every pattern of calls may have any probability.
///
/// Where not all techniques looked, the patterns are summed over what was not seen, and the probabilities are found
/// by expectation and maximisation (Little and Rubin, Statistical Analysis with Missing Data, 2002, section 13.2): a
/// look may hang on the calls that were seen, not on those that were not.
pub(super) fn log_likelihood(cells: &[Cell], techniques: usize) -> f64 {
    /// Gain of a step below which the top is reached, and steps after which it is taken as it is.
    const GAIN: f64 = 1e-8;
    const MOST_STEPS: usize = 5_000;
    let all = (1_usize << techniques) - 1;
    let total = blades(cells, |_| true);
    if cells.iter().all(|cell| cell.looked == all) {
        return cells.iter().map(|cell| cell.count * (cell.count / total).ln()).sum();
    }
    // The patterns that a history leaves open.
    let open =
        |cell: &Cell| -> Vec<usize> { (0..=all).filter(|pattern| pattern & cell.looked == cell.called).collect() };
    let opens: Vec<Vec<usize>> = cells.iter().map(open).collect();
    let mut probabilities = vec![1.0 / (all + 1) as f64; all + 1];
    let mut value = f64::NEG_INFINITY;
    for _ in 0..MOST_STEPS {
        let mut expected = vec![0.0; all + 1];
        let mut next = 0.0;
        for (cell, open) in cells.iter().zip(&opens) {
            let sum: f64 = open.iter().map(|pattern| probabilities[*pattern]).sum();
            next += cell.count * sum.ln();
            open.iter().for_each(|pattern| expected[*pattern] += cell.count * probabilities[*pattern] / sum);
        }
        if next - value < GAIN {
            return next;
        }
        value = next;
        probabilities = expected.iter().map(|count| count / total).collect();
    }
    value
}

/// How many independent numbers the calls hold: one for each set of techniques that looked at a blade together.
pub(super) fn free_numbers(cells: &[Cell], techniques: usize) -> usize {
    let looked: BTreeSet<usize> = cells.iter().map(|cell| cell.looked).collect();
    (1..1_usize << techniques).filter(|set| looked.iter().any(|looked| looked & set == *set)).count()
}
