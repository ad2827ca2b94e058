//! How sure a fit is: bounds on sizes, on probabilities, on slope, floor and ceiling, and bands.

use super::fit::{Fit, checked_size};
use super::likelihood::{SIZE, dot};
use super::model::{Limit, Model};
use super::problem::Constraint;
use super::profile::OfLooks;
use crate::error::{Error, Result};
use crate::statistics::bound::{Bounds, Method, check_confidence, check_pod, fieller, one_sided, whole_curve};
use crate::statistics::newton::inverse;
use crate::statistics::search::crossing;
use nalgebra::DVector;

impl Fit {
    /// Bounds on the size in mm that is found with a probability; `high` at 0.9 and 95 % is q90/95.
    ///
    /// # Errors
    /// Refuses a probability or a confidence out of range, and Wald and band bounds where floor or ceiling was
    /// fitted: their estimates lie near an edge, where such bounds are wrong.
    pub fn size_bounds(&self, pod: f64, confidence: f64, method: Method) -> Result<Bounds> {
        check_pod(pod)?;
        check_confidence(confidence)?;
        self.check_method(method)?;
        let Some(x) = self.place_at(pod) else { return Ok(Bounds { low: None, high: None }) };
        let (low, high) = match method {
            Method::LikelihoodRatio | Method::ModifiedLikelihoodRatio => {
                let held = OfLooks::new(self, |x: f64| Constraint::Through { row: self.row_at(x), pod });
                let Bounds { low, high } = held.bounds(x, self.step_at(x), confidence, method);
                (low, high)
            }
            Method::Wald => match self.variance_at(x) {
                Some(variance) => {
                    let reach = one_sided(confidence).sqrt() * variance.sqrt() / self.slope();
                    (Some(x - reach), Some(x + reach))
                }
                None => (None, None),
            },
            Method::PointwiseBand => self.fieller(pod, one_sided(confidence)),
            Method::SimultaneousBand => self.fieller(pod, whole_curve(confidence)),
            // Refused above.
            Method::NonCentralT => (None, None),
        };
        // A bound beyond the largest number there is excludes nothing.
        let mm = |x: Option<f64>| x.map(|x| self.model().scale.size_mm(x)).filter(|size| size.is_finite());
        Ok(Bounds { low: mm(low), high: mm(high) })
    }

    /// Bounds on the probability of detection at a size in mm, in [0, 1]: a point of a band.
    ///
    /// The Wald bound on a probability is the pointwise band.
    ///
    /// # Errors
    /// As [`Fit::size_bounds`].
    pub fn pod_bounds(&self, size_mm: f64, confidence: f64, method: Method) -> Result<(f64, f64)> {
        let x = self.model().scale.of(checked_size(size_mm)?);
        check_confidence(confidence)?;
        self.check_method(method)?;
        if method.is_of_likelihood() {
            // On the scale of log odds, which no probability leaves.
            let pod = |odds: f64| 1.0 / (1.0 + (-odds).exp());
            let here = self.pod_at(size_mm)?;
            let odds = (here / (1.0 - here)).ln();
            if !odds.is_finite() {
                return Ok((0.0, 1.0));
            }
            let held = OfLooks::new(self, |odds: f64| Constraint::Through { row: self.row_at(x), pod: pod(odds) });
            let Bounds { low, high } = held.bounds(odds, 1.0, confidence, method);
            return Ok((low.map_or(0.0, pod), high.map_or(1.0, pod)));
        }
        let critical = match method {
            Method::SimultaneousBand => whole_curve(confidence),
            _ => one_sided(confidence),
        };
        let Some(variance) = self.variance_at(x) else { return Ok((0.0, 1.0)) };
        let (eta, reach) = (self.predictor(x), (critical * variance).sqrt());
        let pod = |eta: f64| {
            let inner = self.model().link.probability(eta);
            (self.best.floor + (self.best.ceiling - self.best.floor) * inner).clamp(0.0, 1.0)
        };
        Ok((pod(eta - reach), pod(eta + reach)))
    }

    /// Bounds on the slope, on the scale of the link and of the size.
    ///
    /// # Errors
    /// Refuses a confidence out of range, and bands, which a slope does not have.
    pub fn slope_bounds(&self, confidence: f64, method: Method) -> Result<Bounds> {
        check_confidence(confidence)?;
        let (value, sd) = (self.best.theta[SIZE], self.problem.sd);
        let error = inverse(&self.best.information).map(|covariance| covariance[(SIZE, SIZE)].sqrt());
        self.check_method(method)?;
        match method {
            Method::Wald => {
                let reach = error.map(|error| one_sided(confidence).sqrt() * error);
                Ok(Bounds {
                    low: reach.map(|reach| (value - reach) / sd),
                    high: reach.map(|reach| (value + reach) / sd),
                })
            }
            Method::LikelihoodRatio | Method::ModifiedLikelihoodRatio => {
                let held = OfLooks::new(self, |slope: f64| Constraint::Holding(SIZE, slope));
                let Bounds { low, high } = held.bounds(value, error.unwrap_or(value), confidence, method);
                Ok(Bounds { low: low.map(|slope| slope / sd), high: high.map(|slope| slope / sd) })
            }
            _ => Err(Error::argument(
                "method",
                method.words(),
                "is a band, which a slope has not",
                "use likelihood ratio or Wald",
            )),
        }
    }

    /// Likelihood-ratio bounds on a fitted floor; both are the floor itself where it was held.
    ///
    /// # Errors
    /// Refuses a confidence out of range.
    pub fn floor_bounds(&self, confidence: f64) -> Result<(f64, f64)> {
        self.limit_bounds(confidence, self.model().floor, self.best.floor, (0.0, Model::MIDDLE), |model, value| {
            model.floor = Limit::Fixed(value);
        })
    }

    /// Likelihood-ratio bounds on a fitted ceiling; both are the ceiling itself where it was held.
    ///
    /// # Errors
    /// Refuses a confidence out of range.
    pub fn ceiling_bounds(&self, confidence: f64) -> Result<(f64, f64)> {
        self.limit_bounds(confidence, self.model().ceiling, self.best.ceiling, (Model::MIDDLE, 1.0), |model, value| {
            model.ceiling = Limit::Fixed(value);
        })
    }

    fn limit_bounds(
        &self,
        confidence: f64,
        limit: Limit,
        value: f64,
        (lowest, highest): (f64, f64),
        hold: impl Fn(&mut Model, f64),
    ) -> Result<(f64, f64)> {
        check_confidence(confidence)?;
        if limit != Limit::Free {
            return Ok((value, value));
        }
        let critical = one_sided(confidence);
        let weights = self.problem.weights();
        let excess = |held: f64| {
            let mut problem = self.problem.clone();
            hold(&mut problem.model, held);
            let best = problem.best(&weights, &self.best.theta, &Constraint::None);
            best.map_or(f64::INFINITY, |best| 2.0 * (self.best.value - best.value)) - critical
        };
        let bound = |end: f64| {
            let at_end = excess(end);
            if at_end <= 0.0 || end == value {
                return end;
            }
            crossing((value, -critical), (end, at_end.min(1e6)), 1e-6, excess)
        };
        Ok((bound(lowest), bound(highest)))
    }

    /// A step on the scale of the fit: a standard error of the place of the curve.
    fn step_at(&self, x: f64) -> f64 {
        let error = self.variance_at(x).map(|variance| variance.sqrt() / self.slope());
        error.filter(|error| error.is_finite() && *error > 0.0).unwrap_or(self.problem.sd)
    }

    /// Variance of the predictor at a size on the scale of the fit.
    pub(super) fn variance_at(&self, x: f64) -> Option<f64> {
        let mut row = self.row_at(x);
        row.resize(self.problem.design.parameters(), 0.0);
        let covariance = inverse(&self.best.information)?;
        let row = DVector::from_vec(row);
        Some((row.transpose() * covariance * &row)[(0, 0)].max(0.0))
    }

    /// Where the band reaches the probability.
    fn fieller(&self, pod: f64, critical: f64) -> (Option<f64>, Option<f64>) {
        let link = self.model().link;
        let wanted = link.quantile((pod - self.best.floor) / (self.best.ceiling - self.best.floor));
        let Some(covariance) = inverse(&self.best.information) else { return (None, None) };
        // The predictor is u + v z at standardised size z; u belongs to the levels.
        let mut levels = self.row_at(self.problem.mean);
        levels.resize(self.problem.design.parameters(), 0.0);
        let u = dot(&levels, self.best.theta.as_slice()) - wanted;
        let levels = DVector::from_vec(levels);
        let of_size = covariance.column(SIZE);
        let (var_u, cov, var_v) =
            ((levels.transpose() * &covariance * &levels)[(0, 0)], levels.dot(&of_size), of_size[SIZE]);
        let v = self.best.theta[SIZE];
        let place = |z: Option<f64>| z.map(|z| self.problem.mean + self.problem.sd * z);
        let (low, high) = fieller([u, v], [var_u, cov, var_v], critical);
        (place(low), place(high))
    }

    /// The method of bounds that suits the fit: the modified likelihood ratio, or where that cannot be had, as with a
    /// fitted floor or ceiling, inspectors that differ or a penalty, the likelihood ratio.
    pub fn usual_method(&self) -> Method {
        match self.check_method(Method::ModifiedLikelihoodRatio) {
            Ok(()) => Method::ModifiedLikelihoodRatio,
            Err(_) => Method::LikelihoodRatio,
        }
    }

    /// Refuses a method that does not hold here.
    pub(super) fn check_method(&self, method: Method) -> Result<()> {
        let Model { penalised, between_inspectors, .. } = *self.model();
        if method == Method::NonCentralT {
            let rule = "is for signals, not for hits and misses";
            return Err(Error::argument("method", method.words(), rule, "use modified likelihood ratio"));
        }
        if method == Method::ModifiedLikelihoodRatio && (penalised || between_inspectors) {
            let rule = "is known for looks that are independent of each other and for a likelihood without a penalty";
            return Err(Error::argument("method", method.words(), rule, "use likelihood ratio"));
        }
        if self.model().has_free_limit() && method != Method::LikelihoodRatio {
            let rule = "does not hold where floor or ceiling is fitted: they lie near an edge";
            return Err(Error::argument("method", method.words(), rule, "use likelihood ratio"));
        }
        Ok(())
    }
}
