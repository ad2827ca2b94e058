//! A fit to hits and misses with one number held at a value: what bounds by the likelihood ask for.
//!
//! Answers are 0 or 1, so that the covariances of the modification are sums in closed form.

use super::fit::Fit;
use super::likelihood::Odds;
use super::problem::{Best, Constraint};
use crate::statistics::bound::{Bounds, Method};
use crate::statistics::newton::Peak;
use crate::statistics::profile::{Covariances, Held, Profile};
use nalgebra::{DMatrix, DVector};

/// A fit, and what holds a number of it at a value.
pub(super) struct OfLooks<'f, C: Fn(f64) -> Constraint> {
    fit: &'f Fit,
    constraint: C,
    /// Every look's odds at the estimate.
    odds: Vec<Odds>,
}

impl<'f, C: Fn(f64) -> Constraint> OfLooks<'f, C> {
    pub fn new(fit: &'f Fit, constraint: C) -> Self {
        OfLooks { fit, constraint, odds: odds(fit, &fit.best.theta) }
    }

    /// Bounds on the number by the likelihood ratio or by its modification, from its estimate and about a standard error.
    pub fn bounds(&self, from: f64, step: f64, confidence: f64, method: Method) -> Bounds {
        Profile::new(self, from, step).bounds(confidence, method)
    }
}

impl<C: Fn(f64) -> Constraint> Held for OfLooks<'_, C> {
    fn best(&self) -> Peak {
        peak(self.fit.best.clone())
    }

    fn at(&self, value: f64) -> Option<Peak> {
        let Fit { problem, best, .. } = self.fit;
        problem.best(&problem.weights(), &best.theta, &(self.constraint)(value)).map(peak)
    }

    fn along(&self, value: f64) -> Option<DMatrix<f64>> {
        let best = &self.fit.best;
        let plane = self.fit.problem.plane(best.floor, best.ceiling, &(self.constraint)(value))?;
        Some(plane.directions().clone())
    }

    fn covariances(&self, other: &DVector<f64>) -> Covariances {
        let design = &self.fit.problem.design;
        let count = design.parameters();
        let mut sums = Covariances::zeros(count);
        let (mut here, mut there) = (DVector::zeros(count), DVector::zeros(count));
        for (look, (fitted, other)) in self.odds.iter().zip(&odds(self.fit, other)).enumerate() {
            // An answer, less its mean, times the slope of the log odds is the slope of its log-likelihood.
            fitted.slopes(design.row(look), here.as_mut_slice());
            other.slopes(design.row(look), there.as_mut_slice());
            sums.slopes.ger(fitted.variance, &here, &there, 1.0);
            sums.likelihoods.axpy(fitted.variance * (fitted.log - other.log), &here, 1.0);
        }
        sums
    }
}

fn peak(best: Best) -> Peak {
    Peak { at: best.theta, value: best.value, information: best.information }
}

/// Every look's odds under parameters; floor and ceiling are those of the fit, as the modification takes them for known.
fn odds(fit: &Fit, theta: &DVector<f64>) -> Vec<Odds> {
    let weights = fit.problem.weights();
    let likelihood = fit.problem.likelihood(&weights, fit.best.floor, fit.best.ceiling);
    (0..fit.problem.design.hits.len()).map(|look| likelihood.odds(look, theta)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::likelihood::{SIZE, dot};
    use super::super::{Link, Looks, Model, fit};
    use super::*;
    use crate::statistics::profile::Modification;

    /// Sizes in mm from 0.4 to 4.9; those of the answers are found.
    fn fitted(model: Model, answers: &[u8]) -> Fit {
        let count = answers.len() as f64 - 1.0;
        let size = |look: usize| 0.4 * (2.5 * look as f64 / count).exp();
        let looks: Vec<(f64, bool)> =
            answers.iter().enumerate().map(|(look, hit)| (size(look), *hit == b'1')).collect();
        fit(&Looks::from_pairs(&looks).expect("good"), &model).expect("a fit")
    }

    const ANSWERS: &[u8] = b"00000100010011010111101111";

    /// Found with 0.9 at the logarithm of a size.
    fn found_at(fit: &Fit) -> OfLooks<'_, impl Fn(f64) -> Constraint> {
        OfLooks::new(fit, |x| Constraint::Through { row: fit.row_at(x), pod: 0.9 })
    }

    fn through(fit: &Fit, size_mm: f64) -> (Peak, f64) {
        let x = size_mm.ln();
        let held = found_at(fit).at(x).expect("a curve");
        let root = (2.0 * (fit.best.value - held.value)).sqrt().copysign(x - fit.place_at(0.9).expect("reached"));
        (held, root)
    }

    /// Barndorff-Nielsen 1986 (from memory): with a canonical parameter psi, u is its distance in standard errors of a
    /// kind: (psi at best - psi held) sqrt(det j at best / det j along the nuisance, held).
    #[test]
    fn for_a_logit_it_is_the_statistic_of_a_canonical_parameter() {
        let fit = fitted(Model::default(), ANSWERS);
        let found = found_at(&fit);
        let modification = Modification::new(&found).expect("known");
        for size_mm in [1.5, 2.0, 5.0, 8.0, 20.0_f64] {
            let (held, root) = through(&fit, size_mm);
            // psi is the predictor at the size, and the slope is the nuisance: level = psi - z slope.
            let row = fit.row_at(size_mm.ln());
            let psi = |theta: &DVector<f64>| dot(&row, theta.as_slice());
            let (z, j) = (row[SIZE], &held.information);
            let along = j[(0, 0)] * z * z - 2.0 * z * j[(0, 1)] + j[(1, 1)];
            let u = (psi(&fit.best.theta) - psi(&held.at)) * (fit.best.information.determinant() / along).sqrt();
            let (ours, theirs) =
                (modification.correction(&held, size_mm.ln(), root).expect("known"), (u / root).ln() / root);
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
            let (held, _) = through(&few, 6.0);
            let ours = found_at(&few).covariances(&held.at);
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
                let [best, held] = [&few.best.theta, &held.at].map(|theta| likelihood.at(theta));
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
        let found = found_at(&fit);
        let profile = Profile::new(&found, x, 0.3);
        let modification = Modification::new(&found).expect("known");
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
