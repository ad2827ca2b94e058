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
        let critical = one_sided(confidence).sqrt();
        let bound = |way: f64| {
            reached(self.from, way * self.step, critical, |value| match method {
                Method::ModifiedLikelihoodRatio => self.modified(value).map(|root| way * root),
                _ => Some(way * self.root(value)),
            })
        };
        Bounds { low: bound(-1.0), high: bound(1.0) }
    }

    /// Signed root of the deviance: positive above the estimate.
    fn root(&self, value: f64) -> f64 {
        let deviance = self.fit.deviance(&(self.constraint)(value));
        deviance.min(1e12).sqrt().copysign(value - self.from)
    }

    /// The same with Skovgaard's modification; `None` where that is not known.
    fn modified(&self, value: f64) -> Option<f64> {
        /// Nearer to zero `ln(u / r) / r` loses its figures; it is smooth, and a line across is as good.
        const NEAR: f64 = 0.1;
        let correction = |value: f64, root: f64| self.fit.correction(&(self.constraint)(value), root);
        let root = self.root(value);
        if root.abs() >= NEAR {
            return Some(root + correction(value, root)?);
        }
        let [(low, of_low), (high, of_high)] = [-1.0, 1.0].map(|way| {
            let (mut reach, mut root) = (self.step * NEAR, 0.0);
            for _ in 0..30 {
                root = self.root(self.from + way * reach);
                if (NEAR..2.0 * NEAR).contains(&root.abs()) {
                    break;
                }
                reach *= if root.abs() < NEAR { 1.5 } else { 0.6 };
            }
            (root, correction(self.from + way * reach, root))
        });
        let share = (root - low) / (high - low);
        Some(root + (1.0 - share) * of_low? + share * of_high?)
    }
}

impl Fit {
    /// Skovgaard's `ln(u / r) / r` for the parameters that obey a constraint; `None` where it does not exist.
    fn correction(&self, constraint: &Constraint, root: f64) -> Option<f64> {
        let (problem, best) = (&self.problem, &self.best);
        let held = problem.best(&problem.weights(), &best.theta, constraint)?;
        let plane = problem.plane(best.floor, best.ceiling, constraint)?;
        let along = plane.directions();
        let Covariances { expected, slopes, likelihoods } = self.covariances(&held);
        // Which of the two ways across the plane leads to the estimate is a matter of sign alone.
        let toward = determinant(&(&best.theta - &held.theta), along);
        let across = determinant(&likelihoods, &(slopes * along)) * toward.signum();
        let within = along.tr_mul(&(&held.information * along));
        let log_u = across.ln() - log_determinant(expected)?
            + 0.5 * (log_determinant(best.information.clone())? - log_determinant(within)?);
        Some((log_u - root.abs().ln()) / root).filter(|correction| correction.is_finite())
    }

    /// Covariances, were the fitted curve the true one.
    fn covariances(&self, held: &Best) -> Covariances {
        let (design, weights) = (&self.problem.design, self.problem.weights());
        let likelihood = self.problem.likelihood(&weights, self.best.floor, self.best.ceiling);
        let count = design.parameters();
        let square = || DMatrix::zeros(count, count);
        let mut sums = Covariances { expected: square(), slopes: square(), likelihoods: DVector::zeros(count) };
        for look in 0..design.hits.len() {
            let [fitted, held] = [&self.best, held].map(|curve| likelihood.odds(look, &curve.theta));
            // An answer, less its mean, times the slope of the log odds is the slope of its log-likelihood.
            let variance = fitted.variance;
            sums.expected.ger(variance, &fitted.slope, &fitted.slope, 1.0);
            sums.slopes.ger(variance, &fitted.slope, &held.slope, 1.0);
            sums.likelihoods.axpy(variance * (fitted.log - held.log), &fitted.slope, 1.0);
        }
        sums
    }
}

/// Covariances with the slope of the log-likelihood at the estimate.
struct Covariances {
    /// With itself: the expected information.
    expected: DMatrix<f64>,
    /// With the slope under the held value.
    slopes: DMatrix<f64>,
    /// With the log-likelihood at the estimate less that under the held value.
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

    fn through(fit: &Fit, size_mm: f64) -> (Constraint, f64) {
        let x = size_mm.ln();
        let constraint = Constraint::Through { row: fit.row_at(x), pod: 0.9 };
        let root = fit.deviance(&constraint).sqrt().copysign(x - fit.place_at(0.9).expect("reached"));
        (constraint, root)
    }

    /// Barndorff-Nielsen 1986 (from memory): with a canonical parameter psi, u is its distance in standard errors of a
    /// kind: (psi at best - psi held) sqrt(det j at best / det j along the nuisance, held).
    #[test]
    fn for_a_logit_it_is_the_statistic_of_a_canonical_parameter() {
        let fit = fitted(Model::default(), ANSWERS);
        for size_mm in [1.5, 2.0, 5.0, 8.0, 20.0] {
            let (constraint, root) = through(&fit, size_mm);
            let held = fit.problem.best(&fit.problem.weights(), &fit.best.theta, &constraint).expect("a curve");
            // psi is the predictor at the size, and the slope is the nuisance: level = psi - z slope.
            let row = fit.row_at(size_mm.ln());
            let psi = |best: &Best| dot(&row, best.theta.as_slice());
            let (z, j) = (row[SIZE], &held.information);
            let along = j[(0, 0)] * z * z - 2.0 * z * j[(0, 1)] + j[(1, 1)];
            let u = (psi(&fit.best) - psi(&held)) * (fit.best.information.determinant() / along).sqrt();
            let (ours, theirs) = (fit.correction(&constraint, root).expect("known"), (u / root).ln() / root);
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
            let (constraint, _) = through(&few, 6.0);
            let held = few.problem.best(&few.problem.weights(), &few.best.theta, &constraint).expect("a curve");
            let ours = few.covariances(&held);
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
        let at = |step: i32| profile.modified(x + 0.004 * f64::from(step)).expect("known");
        // Of a smooth function second differences are of the order of the square of a step, here 0.013 standard errors.
        for step in -30..30 {
            let (rise, bend) = (at(step + 1) - at(step), at(step + 1) - 2.0 * at(step) + at(step - 1));
            assert!(rise > 0.0 && bend.abs() < 0.02 * rise + 1e-3, "{step}: {rise} {bend}");
        }
        // At the estimate itself r is zero, and what is left is the mean of r in small samples.
        assert!(at(0).abs() > 0.01 && at(0).abs() < 1.0, "{}", at(0));
    }
}
