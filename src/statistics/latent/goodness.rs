//! Whether the calls are such as the fit would give: the likelihood-ratio statistic, and pair by pair.

use super::cells::{Cell, blades};
use super::chances::{CRACKED, PREVALENCE, SOUND, Structure, chance};
use super::classes::{Goodness, GoodnessMethod, PairFit};
use super::fit::{Held, Top, best_near};
use super::likelihood::Problem;
use super::saturated;
use crate::random::{Key, Stream};
use crate::statistics::capture_histories::pairs;
use crate::statistics::tail::chi_square_exceeds;
use nalgebra::DVector;
use std::collections::BTreeMap;

/// The model, its best fit and the blades.
pub(super) struct Fitted<'p> {
    pub problem: &'p Problem,
    pub top: &'p Top,
    pub cells: &'p [Cell],
}

impl Fitted<'_> {
    fn techniques(&self) -> usize {
        self.problem.structure.calls.len()
    }

    /// Goodness of fit, all at once and pair by pair, with so many campaigns simulated from the fit.
    pub fn goodness(&self, names: &[String], resamples: usize, seed: u64) -> (Goodness, Vec<PairFit>) {
        let g2 = deviance(self.problem, &self.top.theta, self.cells);
        let parameters = self.problem.structure.parameters;
        let degrees_of_freedom = saturated::free_numbers(self.cells, self.techniques()).saturating_sub(parameters);
        let sparse = self.sparse();
        let simulate = sparse && degrees_of_freedom > 0;
        let simulated = if simulate { self.simulated(resamples, seed) } else { Simulated::default() };
        let beyond = simulated.g2.iter().filter(|one| **one >= g2 - 1e-9).count();
        let (p, method) = match (degrees_of_freedom, simulated.g2.len()) {
            (0, _) => (None, GoodnessMethod::None),
            (_, 0) if sparse => (None, GoodnessMethod::None),
            (free, 0) => (Some(chi_square_exceeds(g2, free as f64)), GoodnessMethod::ChiSquare),
            // With what was seen counted among them (Davison and Hinkley, Bootstrap Methods, 1997, equation 4.11).
            (_, made) => (Some((1 + beyond) as f64 / (1 + made) as f64), GoodnessMethod::Simulated),
        };
        let goodness =
            Goodness { g2, degrees_of_freedom, p, method, simulated: simulated.g2.len(), failed: simulated.failed };
        (goodness, self.pairs(names, degrees_of_freedom, &simulated))
    }

    /// Whether chi-square is no guide to G2: a fifth of the patterns, or more, are expected on fewer than five blades
    /// (Cochran, Biometrics 10, 1954), and there are few enough blades to simulate.
    fn sparse(&self) -> bool {
        const MOST_BLADES: f64 = 100_000.0;
        let expected = self.expected_cells();
        let few = expected.iter().filter(|cell| cell.count < 5.0).count();
        5 * few > expected.len() && blades(self.cells, |_| true) <= MOST_BLADES
    }

    /// Every pattern of calls of the sets of techniques that looked, with the blades that the fit expects.
    pub fn expected_cells(&self) -> Vec<Cell> {
        let mut looked: BTreeMap<usize, f64> = BTreeMap::new();
        self.cells.iter().for_each(|cell| *looked.entry(cell.looked).or_default() += cell.count);
        let mut cells: Vec<Cell> = Vec::new();
        for (looked, count) in looked {
            // The subsets of a set, counted upwards.
            let mut called = 0_usize;
            loop {
                cells.push(Cell { looked, called, count });
                called = (called.wrapping_sub(looked)) & looked;
                if called == 0 {
                    break;
                }
            }
        }
        let logs = Problem::new(self.problem.structure.clone(), &cells).log_probabilities(&self.top.theta);
        cells.iter_mut().zip(logs).for_each(|(cell, log)| cell.count *= log.exp());
        cells
    }

    /// Campaigns in which the fit is the truth, each fitted in its turn.
    fn simulated(&self, resamples: usize, seed: u64) -> Simulated {
        let expected = self.expected_cells();
        let mut problem = Problem::new(self.problem.structure.clone(), &expected);
        let mut simulated = Simulated::default();
        for resample in 0..resamples {
            let mut draws = Stream::new(Key::from_seed(seed).named("latent classes").child(resample as u64));
            let drawn: Vec<Cell> = drawn(&expected, &mut draws);
            problem.set_counts(drawn.iter().map(|cell| cell.count));
            match best_near(&problem, &self.top.theta, Held::Nothing) {
                Some(top) => {
                    let seen: Vec<Cell> = drawn.iter().copied().filter(|cell| cell.count > 0.0).collect();
                    simulated.g2.push(deviance(&problem, &top.theta, &seen));
                    simulated.residuals.push(residuals(&problem.structure, &top.theta, &seen));
                }
                None => simulated.failed += 1,
            }
        }
        simulated
    }

    fn pairs(&self, names: &[String], degrees_of_freedom: usize, simulated: &Simulated) -> Vec<PairFit> {
        let structure = &self.problem.structure;
        let made = simulated.residuals.len() as f64;
        let residuals = residuals(structure, &self.top.theta, self.cells);
        let each = pairs(names.len()).zip(residuals).enumerate();
        let pair = |(place, ((first, second), residual)): (usize, ((usize, usize), f64))| {
            let both = 1 << first | 1 << second;
            let looked = blades(self.cells, |cell| cell.looked & both == both);
            let of = simulated.residuals.iter().map(|residuals| residuals[place]);
            let mean = of.clone().sum::<f64>() / made;
            let spread = (of.map(|one| (one - mean).powi(2)).sum::<f64>() / (made - 1.0)).sqrt();
            // Without simulated campaigns: that of a correlation of independent answers, which is too large, as the
            // fit has bent towards the calls.
            let standard_error = if made > 1.0 { spread } else { 1.0 / looked.sqrt() };
            PairFit {
                first: names[first].clone(),
                second: names[second].clone(),
                blades: looked as u64,
                expected: correlation(expected_of(structure, &self.top.theta, (first, second))),
                residual,
                standard_error: (degrees_of_freedom > 0).then_some(standard_error),
            }
        };
        each.map(pair).collect()
    }
}

/// Results of simulated campaigns.
#[derive(Default)]
struct Simulated {
    g2: Vec<f64>,
    residuals: Vec<Vec<f64>>,
    failed: usize,
}

/// Twice the distance in log-likelihood to the perfect fit.
fn deviance(problem: &Problem, theta: &DVector<f64>, cells: &[Cell]) -> f64 {
    let perfect = saturated::log_likelihood(cells, problem.structure.calls.len());
    (2.0 * (perfect - problem.log_likelihood(theta))).max(0.0)
}

/// Blades drawn as expected: as many for each set of techniques that looked, their calls by chance.
fn drawn(expected: &[Cell], draws: &mut Stream) -> Vec<Cell> {
    let mut drawn: Vec<Cell> = expected.iter().map(|cell| Cell { count: 0.0, ..*cell }).collect();
    for group in drawn.chunk_by_mut(|a, b| a.looked == b.looked) {
        let of_group = expected.iter().filter(|cell| cell.looked == group[0].looked);
        let mut sum = 0.0;
        let upto: Vec<f64> = of_group
            .map(|cell| {
                sum += cell.count;
                sum
            })
            .collect();
        for _ in 0..sum.round() as u64 {
            let at = draws.uniform() * sum;
            let place = upto.partition_point(|upto| *upto < at);
            group[place.min(upto.len() - 1)].count += 1.0;
        }
    }
    drawn
}

/// Correlation of the calls of each pair, less what the fit expects; zero where one of them answers always alike.
fn residuals(structure: &Structure, theta: &DVector<f64>, cells: &[Cell]) -> Vec<f64> {
    let residual = |(first, second): (usize, usize)| {
        let mut shares = [0.0; 3];
        let mut looked = 0.0;
        for cell in cells {
            if let (Some(a), Some(b)) = (cell.answer(first), cell.answer(second)) {
                looked += cell.count;
                for (share, came) in shares.iter_mut().zip([a, b, a && b]) {
                    *share += if came { cell.count } else { 0.0 };
                }
            }
        }
        correlation(shares.map(|share| share / looked)) - correlation(expected_of(structure, theta, (first, second)))
    };
    pairs(structure.calls.len()).map(residual).collect()
}

/// Chances that the first, the second and both of a pair call a blade of unknown class.
fn expected_of(structure: &Structure, theta: &DVector<f64>, pair: (usize, usize)) -> [f64; 3] {
    let cracked = chance(theta[PREVALENCE]);
    let mixed = |of: &dyn Fn(usize) -> f64| cracked * of(CRACKED) + (1.0 - cracked) * of(SOUND);
    [
        mixed(&|class| structure.calls(pair.0, class, theta)),
        mixed(&|class| structure.calls(pair.1, class, theta)),
        mixed(&|class| structure.both_call(pair, class, theta)),
    ]
}

/// Correlation of two answers from the shares of calls of the first, the second and both.
pub(super) fn correlation([first, second, both]: [f64; 3]) -> f64 {
    let spread = (first * (1.0 - first) * second * (1.0 - second)).sqrt();
    if spread > 1e-12 { ((both - first * second) / spread).clamp(-1.0, 1.0) } else { 0.0 }
}
