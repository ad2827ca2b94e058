//! One number held at a value after another, everything else at its best for each: how far the data speak against it.
//!
//! The distance is the signed root r of the deviance, and it is roughly a standard normal number. In small samples
//! that is not near enough: r has a mean and a spread of its own. Skovgaard's modification adds
//! `ln(u / r) / r` to it, where u is made of covariances under the fitted curve between the slope of the
//! log-likelihood there, that slope under the held value, and the difference of the two log-likelihoods. Answers are
//! independent of each other and are 0 or 1, so that these covariances are sums in closed form. For a logit u is
//! exactly the statistic of the canonical parameter in an exponential family (Barndorff-Nielsen, Biometrika 73 (1986)
//! 307-322).
//!
//! Source of the formula: I. M. Skovgaard, An explicit large-deviation approximation to one-parameter tests,
//! Bernoulli 2 (1996) 145-165; T. A. Severini, Likelihood Methods in Statistics, Oxford 2000, chapter 7. Both from
//! memory; what checks it is named beside the tests.

use super::fit::Fit;
use super::likelihood::Odds;
use super::problem::{Best, Constraint};
use crate::statistics::bound::{Bounds, Method, one_sided, reached};
use nalgebra::{Cholesky, DMatrix, DVector};

/// A number that constraints hold at one value after another.
pub(super) struct Profile<'f, C: Fn(f64) -> Constraint> {
    pub fit: &'f Fit,
    /// Its estimate.
    pub from: f64,
    /// About a standard error.
    pub step: f64,
    /// Holds it at a value.
    pub constraint: C,
}

impl<C: Fn(f64) -> Constraint> Profile<'_, C> {
    /// Lower and upper bound by the likelihood ratio or by its modification.
    pub fn bounds(&self, confidence: f64, method: Method) -> Bounds {
        if method != Method::ModifiedLikelihoodRatio {
            return self.search(confidence, |value| Some(self.root(self.held(value).as_ref(), value)));
        }
        let Some(modification) = Modification::new(self.fit) else { return Bounds { low: None, high: None } };
        let near = self.across(&modification);
        self.search(confidence, |value| self.modified(&modification, near?, value))
    }

    /// Where a root that rises with the value reaches the normal quantile, to either side.
    fn search(&self, confidence: f64, root: impl Fn(f64) -> Option<f64>) -> Bounds {
        let quantile = one_sided(confidence).sqrt();
        let bound =
            |way: f64| reached(self.from, way * self.step, quantile, |value| root(value).map(|root| way * root));
        Bounds { low: bound(-1.0), high: bound(1.0) }
    }

    /// The best parameters that have the value.
    fn held(&self, value: f64) -> Option<Best> {
        let Fit { problem, best, .. } = self.fit;
        problem.best(&problem.weights(), &best.theta, &(self.constraint)(value))
    }

    /// Signed root of the deviance: positive above the estimate.
    fn root(&self, held: Option<&Best>, value: f64) -> f64 {
        let deviance = held.map_or(f64::INFINITY, |held| 2.0 * (self.fit.best.value - held.value).max(0.0));
        deviance.min(1e12).sqrt().copysign(value - self.from)
    }

    /// The root with the modification; `None` where that does not exist. Close to the estimate it is drawn across.
    fn modified(&self, modification: &Modification, [low, high]: [Corrected; 2], value: f64) -> Option<f64> {
        let held = self.held(value)?;
        let root = self.root(Some(&held), value);
        if root.abs() >= NEAR {
            return Some(root + modification.correction(&held, &(self.constraint)(value), root)?);
        }
        let share = (root - low.root) / (high.root - low.root);
        Some(root + (1.0 - share) * low.correction + share * high.correction)
    }

    /// Roots just beyond [`NEAR`] on either side of the estimate, with their corrections.
    fn across(&self, modification: &Modification) -> Option<[Corrected; 2]> {
        let corrected = |way: f64| {
            let mut reach = 1.5 * NEAR * self.step;
            for _ in 0..40 {
                let value = self.from + way * reach;
                let held = self.held(value)?;
                let root = self.root(Some(&held), value);
                if (NEAR..2.0 * NEAR).contains(&root.abs()) {
                    let correction = modification.correction(&held, &(self.constraint)(value), root)?;
                    return Some(Corrected { root, correction });
                }
                // The root is nearly straight here; half as much at least, and twice as much at most.
                reach *= (1.5 * NEAR / root.abs()).clamp(0.5, 2.0);
            }
            None
        };
        Some([corrected(-1.0)?, corrected(1.0)?])
    }
}

/// Nearer to zero `ln(u / r) / r` loses its figures; it is smooth, and a line across is as good.
const NEAR: f64 = 0.1;

/// A signed root, and what is to be added to it.
#[derive(Clone, Copy)]
struct Corrected {
    root: f64,
    correction: f64,
}

/// What Skovgaard's modification takes from the fit, whatever is held.
struct Modification<'f> {
    fit: &'f Fit,
    /// Every look's odds at the estimate.
    odds: Vec<Odds>,
    /// Half the logarithm of the determinant of the observed information, less that of the expected one.
    log_scale: f64,
}

impl<'f> Modification<'f> {
    fn new(fit: &'f Fit) -> Option<Self> {
        let modification = Modification { fit, odds: odds(fit, &fit.best), log_scale: 0.0 };
        let expected = modification.covariances(&modification.odds).slopes;
        let observed = log_determinant(fit.best.information.clone())?;
        Some(Modification { log_scale: 0.5 * observed - log_determinant(expected)?, ..modification })
    }

    /// `ln(u / r) / r` for the best parameters that obey a constraint; `None` where it does not exist.
    fn correction(&self, held: &Best, constraint: &Constraint, root: f64) -> Option<f64> {
        let best = &self.fit.best;
        let plane = self.fit.problem.plane(best.floor, best.ceiling, constraint)?;
        let along = plane.directions();
        let Covariances { slopes, likelihoods } = self.covariances(&odds(self.fit, held));
        // Which of the two ways across the plane leads to the estimate is a matter of sign alone.
        let toward = determinant(&(&best.theta - &held.theta), along);
        let across = determinant(&likelihoods, &(slopes * along)) * toward.signum();
        let within = log_determinant(along.tr_mul(&(&held.information * along)))?;
        let log_u = across.ln() + self.log_scale - 0.5 * within;
        Some((log_u - root.abs().ln()) / root).filter(|correction| correction.is_finite())
    }

    /// Covariances with what each look says under other parameters, were the fitted curve the true one.
    fn covariances(&self, others: &[Odds]) -> Covariances {
        let design = &self.fit.problem.design;
        let count = design.parameters();
        let mut sums = Covariances { slopes: DMatrix::zeros(count, count), likelihoods: DVector::zeros(count) };
        let (mut here, mut there) = (DVector::zeros(count), DVector::zeros(count));
        for (look, (fitted, other)) in self.odds.iter().zip(others).enumerate() {
            // An answer, less its mean, times the slope of the log odds is the slope of its log-likelihood.
            fitted.slopes(design.row(look), here.as_mut_slice());
            other.slopes(design.row(look), there.as_mut_slice());
            sums.slopes.ger(fitted.variance, &here, &there, 1.0);
            sums.likelihoods.axpy(fitted.variance * (fitted.log - other.log), &here, 1.0);
        }
        sums
    }
}

/// Every look's odds under parameters.
fn odds(fit: &Fit, curve: &Best) -> Vec<Odds> {
    let weights = fit.problem.weights();
    let likelihood = fit.problem.likelihood(&weights, curve.floor, curve.ceiling);
    (0..fit.problem.design.hits.len()).map(|look| likelihood.odds(look, &curve.theta)).collect()
}

/// Covariances with the slope of the log-likelihood at the estimate.
struct Covariances {
    /// With the slope under other parameters.
    slopes: DMatrix<f64>,
    /// With the log-likelihood at the estimate less that under other parameters.
    likelihoods: DVector<f64>,
}

/// Determinant of a column with further columns beside it.
fn determinant(column: &DVector<f64>, further: &DMatrix<f64>) -> f64 {
    let count = column.len();
    let entry = |row: usize, place: usize| if place == 0 { column[row] } else { further[(row, place - 1)] };
    DMatrix::from_fn(count, count, entry).determinant()
}

/// Logarithm of the determinant; `None` unless the matrix is positive definite.
fn log_determinant(matrix: DMatrix<f64>) -> Option<f64> {
    let factor = Cholesky::new(matrix)?;
    Some(2.0 * factor.l_dirty().diagonal().iter().map(|x| x.ln()).sum::<f64>())
}

#[cfg(test)]
mod tests {
    use super::super::likelihood::{SIZE, dot};
    use super::super::{Link, Looks, Model, fit};
    use super::*;

    /// Sizes in mm from 0.4 to 4.9; those of the answers are found.
    fn fitted(model: Model, answers: &[u8]) -> Fit {
        let count = answers.len() as f64 - 1.0;
        let size = |look: usize| 0.4 * (2.5 * look as f64 / count).exp();
        let looks: Vec<(f64, bool)> =
            answers.iter().enumerate().map(|(look, hit)| (size(look), *hit == b'1')).collect();
        fit(&Looks::from_pairs(&looks).expect("good"), &model).expect("a fit")
    }

    const ANSWERS: &[u8] = b"00000100010011010111101111";

    fn through(fit: &Fit, size_mm: f64) -> (Constraint, Best, f64) {
        let x = size_mm.ln();
        let constraint = Constraint::Through { row: fit.row_at(x), pod: 0.9 };
        let held = fit.problem.best(&fit.problem.weights(), &fit.best.theta, &constraint).expect("a curve");
        let root = (2.0 * (fit.best.value - held.value)).sqrt().copysign(x - fit.place_at(0.9).expect("reached"));
        (constraint, held, root)
    }

    /// Barndorff-Nielsen 1986 (from memory): with a canonical parameter psi, u is its distance in standard errors of a
    /// kind: (psi at best - psi held) sqrt(det j at best / det j along the nuisance, held).
    #[test]
    fn for_a_logit_it_is_the_statistic_of_a_canonical_parameter() {
        let fit = fitted(Model::default(), ANSWERS);
        let modification = Modification::new(&fit).expect("known");
        for size_mm in [1.5, 2.0, 5.0, 8.0, 20.0] {
            let (constraint, held, root) = through(&fit, size_mm);
            // psi is the predictor at the size, and the slope is the nuisance: level = psi - z slope.
            let row = fit.row_at(size_mm.ln());
            let psi = |best: &Best| dot(&row, best.theta.as_slice());
            let (z, j) = (row[SIZE], &held.information);
            let along = j[(0, 0)] * z * z - 2.0 * z * j[(0, 1)] + j[(1, 1)];
            let u = (psi(&fit.best) - psi(&held)) * (fit.best.information.determinant() / along).sqrt();
            let (ours, theirs) =
                (modification.correction(&held, &constraint, root).expect("known"), (u / root).ln() / root);
            assert!((ours - theirs).abs() < 1e-9, "{size_mm}: {ours} {theirs}");
        }
    }

    /// Every one of the 2^8 outcomes, weighted by its probability under the fitted curve.
    #[test]
    fn covariances_are_those_of_all_possible_answers() {
        for model in
            [Model { link: Link::Probit, ..Model::default() }, Model { size_error_log: 0.3, ..Model::default() }]
        {
            let fit = fitted(Model { penalised: false, ..model }, b"0001000101110111"); // 5 of each are the least
            let few = Fit { problem: halved(&fit), ..fit };
            let (_, held, _) = through(&few, 6.0);
            let ours = Modification::new(&few).expect("known").covariances(&odds(&few, &held));
            let count = few.problem.design.hits.len();
            assert_eq!(count, 8);
            let (mut mean, mut of_slopes, mut of_likelihoods) =
                (DVector::zeros(2), DMatrix::zeros(2, 2), DVector::zeros(2));
            let mut total = 0.0;
            for answers in 0..1_u32 << count {
                let mut problem = few.problem.clone();
                (0..count).for_each(|look| problem.design.hits[look] = answers >> look & 1 == 1);
                let weights = problem.weights();
                let likelihood = problem.likelihood(&weights, 0.0, 1.0);
                let [best, held] = [&few.best.theta, &held.theta].map(|theta| likelihood.at(theta));
                let probability = best.value.exp();
                total += probability;
                mean += probability * &best.gradient;
                of_slopes += probability * &best.gradient * held.gradient.transpose();
                of_likelihoods += probability * (best.value - held.value) * &best.gradient;
            }
            assert!((total - 1.0).abs() < 1e-12 && mean.amax() < 1e-12, "{total} {mean}");
            assert!((of_slopes - ours.slopes).amax() < 1e-10 && (of_likelihoods - ours.likelihoods).amax() < 1e-10);
        }
    }

    /// Every other look.
    fn halved(fit: &Fit) -> super::super::problem::Problem {
        let mut problem = fit.problem.clone();
        let design = &mut problem.design;
        let kept = |look: &usize| look.is_multiple_of(2);
        design.rows =
            (0..design.hits.len()).filter(kept).flat_map(|look| fit.problem.design.row(look).to_vec()).collect();
        design.hits = (0..design.hits.len()).filter(kept).map(|look| fit.problem.design.hits[look]).collect();
        problem
    }

    #[test]
    fn it_runs_smoothly_across_the_estimate() {
        let fit = fitted(Model { link: Link::Probit, ..Model::default() }, ANSWERS);
        let x = fit.place_at(0.9).expect("reached");
        let constraint = |x: f64| Constraint::Through { row: fit.row_at(x), pod: 0.9 };
        let profile = Profile { fit: &fit, from: x, step: 0.3, constraint };
        let modification = Modification::new(&fit).expect("known");
        let near = profile.across(&modification).expect("known");
        let at = |step: i32| profile.modified(&modification, near, x + 0.004 * f64::from(step)).expect("known");
        // Of a smooth function second differences are of the order of the square of a step, here 0.013 standard errors.
        for step in -30..30 {
            let (rise, bend) = (at(step + 1) - at(step), at(step + 1) - 2.0 * at(step) + at(step - 1));
            assert!(rise > 0.0 && bend.abs() < 0.02 * rise + 1e-3, "{step}: {rise} {bend}");
        }
        // At the estimate itself r is zero, and what is left is the mean of r in small samples.
        assert!(at(0).abs() > 0.01 && at(0).abs() < 1.0, "{}", at(0));
    }
}
