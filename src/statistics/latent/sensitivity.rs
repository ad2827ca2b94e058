//! Effect of dependence that is not estimated.

use super::cells::Cell;
use super::chances::{CRACKED, PREVALENCE, chance};
use super::classes::Sensitivity;
use super::fit::{Held, Top, best_near};
use super::likelihood::Problem;
use crate::statistics::capture_histories;

/// Odds ratios of a medium and of a strong dependence (judgement, no source).
const ODDS_RATIOS: [f64; 2] = [3.0, 10.0];

/// Fits once more with each pair of techniques that stands in no dependent pair made dependent on cracked blades, by
/// odds ratios that are given; one such pair at a time.
pub(super) fn sensitivity(
    names: &[String],
    problem: &Problem,
    top: &Top,
    cells: &[Cell],
    pairs: &[(usize, usize)],
) -> Vec<Sensitivity> {
    let taken = |at: usize| pairs.iter().any(|(first, second)| *first == at || *second == at);
    let none_called: Vec<bool> = cells.iter().map(|cell| cell.called == 0).collect();
    let mut found = Vec::new();
    for (first, second) in
        capture_histories::pairs(names.len()).filter(|(first, second)| !taken(*first) && !taken(*second))
    {
        let mut near = top.theta.clone();
        for odds_ratio in ODDS_RATIOS {
            let structure = problem.structure.clone().with_odds_ratio((first, second), odds_ratio);
            let dependent = Problem::new(structure, cells);
            let best = best_near(&dependent, &near, Held::Nothing);
            let Some(best) = best.filter(|best| dependent.structure.well_named(&best.theta)) else { continue };
            let cracked = dependent.cracked(&best.theta);
            let missed = cracked.iter().zip(cells).zip(&none_called).filter(|(_, none)| **none);
            found.push(Sensitivity {
                first: names[first].clone(),
                second: names[second].clone(),
                odds_ratio,
                prevalence: chance(best.theta[PREVALENCE]),
                cracked_called_by_none: missed.map(|((cracked, cell), _)| cracked * cell.count).sum(),
                detection: (0..names.len()).map(|at| dependent.structure.calls(at, CRACKED, &best.theta)).collect(),
                log_likelihood_change: best.value - top.value,
            });
            near = best.theta;
        }
    }
    found
}
