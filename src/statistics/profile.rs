//! One number held at a value after another, everything else at its best for each: how far the data speak against it.
//!
//! The distance is the signed root r of the deviance, and it is roughly a standard normal number. In small samples
//! that is not near enough: r has a mean and a spread of its own. Skovgaard's modification adds
//! `ln(u / r) / r` to it, where u is made of covariances under the fitted curve between the slope of the
//! log-likelihood there, that slope under the held value, and the difference of the two log-likelihoods. Data are
//! independent of each other, so that these covariances are sums over them. For a logit u is
//! exactly the statistic of the canonical parameter in an exponential family (Barndorff-Nielsen, Biometrika 73 (1986)
//! 307-322).
//!
//! Source of the formula: I. M. Skovgaard, An explicit large-deviation approximation to one-parameter tests,
//! Bernoulli 2 (1996) 145-165; T. A. Severini, Likelihood Methods in Statistics, Oxford 2000, chapter 7. Both from
//! memory; what checks it is named beside the tests of `hit_miss` and `signal`.

use super::bound::{Bounds, Method, one_sided, reached};
use super::newton::Peak;
use nalgebra::{Cholesky, DMatrix, DVector};

/// A fit, one number of which is held at one value after another.
pub(super) trait Held {
    /// The fit with nothing held.
    fn best(&self) -> Peak;
    /// The best parameters that have the value; `None` where there are none.
    fn at(&self, value: f64) -> Option<Peak>;
    /// Directions that leave the value as it is, a column each.
    fn along(&self, value: f64) -> Option<DMatrix<f64>>;
    /// Covariances with what the data say under other parameters, were the fitted ones the true ones.
    fn covariances(&self, other: &DVector<f64>) -> Covariances;
}

/// Covariances with the slope of the log-likelihood at the estimate.
pub(super) struct Covariances {
    /// With the slope under other parameters.
    pub slopes: DMatrix<f64>,
    /// With the log-likelihood at the estimate less that under other parameters.
    pub likelihoods: DVector<f64>,
}

impl Covariances {
    pub fn zeros(parameters: usize) -> Self {
        Covariances { slopes: DMatrix::zeros(parameters, parameters), likelihoods: DVector::zeros(parameters) }
    }
}

/// A number that is held at one value after another.
pub(super) struct Profile<'h, H: Held> {
    held: &'h H,
    best: Peak,
    /// Its estimate.
    from: f64,
    /// About a standard error.
    step: f64,
}

impl<'h, H: Held> Profile<'h, H> {
    /// From its estimate, and about a standard error of it.
    pub fn new(held: &'h H, from: f64, step: f64) -> Self {
        Profile { held, best: held.best(), from, step }
    }

    /// Lower and upper bound by the likelihood ratio or by its modification.
    pub fn bounds(&self, confidence: f64, method: Method) -> Bounds {
        if method != Method::ModifiedLikelihoodRatio {
            return self.search(confidence, |value| Some(self.root(self.held.at(value).as_ref(), value)));
        }
        let Some(modification) = Modification::new(self.held) else { return Bounds { low: None, high: None } };
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

    /// Signed root of the deviance: positive above the estimate.
    fn root(&self, held: Option<&Peak>, value: f64) -> f64 {
        // At the estimate it is zero by its meaning, whatever a search for the best of all else makes of it there.
        if value == self.from {
            return 0.0;
        }
        let deviance = held.map_or(f64::INFINITY, |held| 2.0 * (self.best.value - held.value).max(0.0));
        deviance.min(1e12).sqrt().copysign(value - self.from)
    }

    /// The root with the modification; `None` where that does not exist. Close to the estimate it is drawn across.
    pub fn modified(&self, modification: &Modification<H>, [low, high]: [Corrected; 2], value: f64) -> Option<f64> {
        let held = self.held.at(value)?;
        let root = self.root(Some(&held), value);
        if root.abs() >= NEAR {
            return Some(root + modification.correction(&held, value, root)?);
        }
        let share = (root - low.root) / (high.root - low.root);
        Some(root + (1.0 - share) * low.correction + share * high.correction)
    }

    /// Roots just beyond [`NEAR`] on either side of the estimate, with their corrections.
    pub fn across(&self, modification: &Modification<H>) -> Option<[Corrected; 2]> {
        let corrected = |way: f64| {
            let mut reach = 1.5 * NEAR * self.step;
            for _ in 0..40 {
                let value = self.from + way * reach;
                let held = self.held.at(value)?;
                let root = self.root(Some(&held), value);
                if (NEAR..2.0 * NEAR).contains(&root.abs()) {
                    let correction = modification.correction(&held, value, root)?;
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
pub(super) struct Corrected {
    root: f64,
    correction: f64,
}

/// What Skovgaard's modification takes from the fit, whatever is held.
pub(super) struct Modification<'h, H: Held> {
    held: &'h H,
    best: Peak,
    /// Half the logarithm of the determinant of the observed information, less that of the expected one.
    log_scale: f64,
}

impl<'h, H: Held> Modification<'h, H> {
    pub fn new(held: &'h H) -> Option<Self> {
        let best = held.best();
        let expected = held.covariances(&best.at).slopes;
        let observed = log_determinant(best.information.clone())?;
        Some(Modification { held, log_scale: 0.5 * observed - log_determinant(expected)?, best })
    }

    /// `ln(u / r) / r` for the best parameters that have a value; `None` where it does not exist.
    pub fn correction(&self, at: &Peak, value: f64, root: f64) -> Option<f64> {
        let along = self.held.along(value)?;
        let Covariances { slopes, likelihoods } = self.held.covariances(&at.at);
        // Which of the two ways across the plane leads to the estimate is a matter of sign alone.
        let toward = determinant(&(&self.best.at - &at.at), &along);
        let across = determinant(&likelihoods, &(slopes * &along)) * toward.signum();
        let within = log_determinant(along.tr_mul(&(&at.information * &along)))?;
        let log_u = across.ln() + self.log_scale - 0.5 * within;
        Some((log_u - root.abs().ln()) / root).filter(|correction| correction.is_finite())
    }
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
