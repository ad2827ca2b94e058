//! Times, fractions and parameters of a fit, with their bounds.

use super::fit::{Found, InitiationFit, ROW_VARIANCE};
use super::law::Law;
use super::likelihood::Problem;
use super::row_factor::RowLaw;
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use crate::statistics::bound::{Bounds, Method, check_confidence, reached};
use crate::statistics::newton::{Peak, Plane, climb};
use crate::statistics::search::crossing;
use nalgebra::DVector;

/// A number that the fit gives, on the scale on which it is searched.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Quantity {
    /// Logarithm of the time at which y has a value.
    Time { y: f64, covariates: Vec<f64> },
    /// The y at a time, given by its logarithm.
    Height { log_time: f64, covariates: Vec<f64> },
    /// Logarithm of the slope.
    Slope,
    /// A covariate by its place: on the log hazard, or on the log median.
    Covariate(usize),
    /// Logarithm of the variance of the row factor.
    Variance,
}

/// What holds a quantity at a value: weights of the parameters, which of them follows from the others, and their sum.
struct Hold {
    weights: DVector<f64>,
    solved: usize,
    sum: f64,
}

impl InitiationFit {
    /// Time by which a fraction has cracked; `None` where nothing was found.
    ///
    /// # Errors
    /// Refuses a fraction that is not between 0 and 1, and another number of covariates than the fit has.
    pub fn time_at(&self, fraction: f64, covariates: &[f64]) -> Result<Option<f64>> {
        let quantity = self.time(fraction, covariates)?;
        Ok(self.found.as_ref().map(|found| self.estimate(found, &quantity).exp()))
    }

    /// Bounds on that time, each by itself: one-sided.
    ///
    /// Where nothing was found, the lower one is the time for which the chance of finding nothing is 1 - confidence, which is
    /// exact; there is no upper one.
    ///
    /// # Errors
    /// As [`InitiationFit::time_at`]; and a method other than the likelihood ratio and Wald's, of which the latter has no
    /// meaning without finds.
    pub fn time_bounds(&self, fraction: f64, covariates: &[f64], confidence: f64, method: Method) -> Result<Bounds> {
        let bounds = self.searched(&self.time(fraction, covariates)?, confidence, method)?;
        Ok(Bounds { low: bounds.low.map(f64::exp), high: bounds.high.map(f64::exp) })
    }

    /// Fraction that has cracked by a time; `None` where nothing was found.
    ///
    /// # Errors
    /// Refuses a time that is negative or not finite, and another number of covariates than the fit has.
    pub fn fraction_at(&self, time: f64, covariates: &[f64]) -> Result<Option<f64>> {
        let quantity = self.height(time, covariates)?;
        let of = |found| if time > 0.0 { self.model.law.fraction(self.estimate(found, &quantity)) } else { 0.0 };
        Ok(self.found.as_ref().map(of))
    }

    /// Bounds on that fraction, each by itself, within 0 and 1.
    ///
    /// # Errors
    /// As [`InitiationFit::fraction_at`] and [`InitiationFit::time_bounds`].
    pub fn fraction_bounds(
        &self,
        time: f64,
        covariates: &[f64],
        confidence: f64,
        method: Method,
    ) -> Result<(f64, f64)> {
        let quantity = self.height(time, covariates)?;
        if time == 0.0 {
            return Ok((0.0, 0.0));
        }
        let Bounds { low, high } = self.searched(&quantity, confidence, method)?;
        let fraction = |y| self.model.law.fraction(y);
        // Where the data exclude nothing, all may have cracked.
        Ok((low.map_or(0.0, fraction), high.map_or(1.0, fraction)))
    }

    /// Bounds on a parameter by its name, each by itself.
    ///
    /// # Errors
    /// Refuses a name that is none, and a parameter that was assumed; methods as [`InitiationFit::time_bounds`].
    pub fn parameter_bounds(&self, name: &str, confidence: f64, method: Method) -> Result<Bounds> {
        let names: Vec<String> = self.parameters().into_iter().map(|parameter| parameter.name).collect();
        if !names.iter().any(|known| known == name) {
            let rule = format!("must be one of {}", names.join(", "));
            return Err(Error::argument("parameter", name, &rule, "give one of these"));
        }
        if Some(name) == self.model.law.shape_name() && self.model.shape.is_some() {
            let rule = "was assumed: the data say nothing of it";
            return Err(Error::argument("parameter", name, rule, "leave it free to have it estimated"));
        }
        if self.found.is_none() && name != self.model.law.time_name() {
            let rule = "nothing was found: the data say nothing of it";
            return Err(Error::argument("parameter", name, rule, "ask for the time or for fractions"));
        }
        let quantity = match self.observations.covariates.iter().position(|known| known == name) {
            Some(place) => Quantity::Covariate(place),
            None if name == ROW_VARIANCE => return self.variance_bounds(confidence, method),
            None if Some(name) == self.model.law.shape_name() => Quantity::Slope,
            None => self.law_time(),
        };
        let Bounds { low, high } = self.searched(&quantity, confidence, method)?;
        let [low, high] = [low, high].map(|bound| bound.map(|x| self.natural(&quantity, x)));
        // A large slope is a small spread.
        let turned = quantity == Quantity::Slope && self.model.law == Law::Lognormal;
        Ok(if turned { Bounds { low: high, high: low } } else { Bounds { low, high } })
    }

    /// All that was estimated, in the order of the parameters.
    pub(super) fn estimated(&self) -> Vec<Quantity> {
        let slope = self.problem.slope.is_none().then_some(Quantity::Slope);
        let covariates = (0..self.problem.covariates).map(Quantity::Covariate);
        let variance = self.problem.has_factor.then_some(Quantity::Variance);
        [self.law_time()].into_iter().chain(slope).chain(covariates).chain(variance).collect()
    }

    pub(super) fn name_of(&self, quantity: &Quantity) -> &str {
        match quantity {
            Quantity::Slope => self.model.law.shape_name().unwrap_or(""),
            Quantity::Covariate(place) => &self.observations.covariates[*place],
            Quantity::Variance => ROW_VARIANCE,
            _ => self.model.law.time_name(),
        }
    }

    /// The estimate as people read it.
    pub(super) fn natural_value(&self, found: &Found, quantity: &Quantity) -> f64 {
        self.natural(quantity, self.estimate(found, quantity))
    }

    /// How the estimate, as people read it, changes with the parameters.
    pub(super) fn natural_gradient(&self, found: &Found, quantity: &Quantity) -> DVector<f64> {
        let value = self.natural_value(found, quantity);
        let factor = match quantity {
            Quantity::Covariate(_) | Quantity::Height { .. } => 1.0,
            Quantity::Slope if self.model.law == Law::Lognormal => -value,
            _ => value,
        };
        self.gradient(found, quantity) * factor
    }

    fn natural(&self, quantity: &Quantity, x: f64) -> f64 {
        match quantity {
            Quantity::Covariate(_) | Quantity::Height { .. } => x,
            Quantity::Slope => self.model.law.turned(x.exp()),
            _ => x.exp(),
        }
    }

    fn law_time(&self) -> Quantity {
        Quantity::Time { y: 0.0, covariates: vec![0.0; self.problem.covariates] }
    }

    fn time(&self, fraction: f64, covariates: &[f64]) -> Result<Quantity> {
        if !(fraction > 0.0 && fraction < 1.0) {
            let rule = "must lie between 0 and 1, ends excluded";
            return Err(Error::argument("fraction", fraction, rule, "0.1 is that of the B10 life"));
        }
        self.check_covariates(covariates)?;
        Ok(Quantity::Time { y: self.model.law.y_at(fraction), covariates: covariates.to_vec() })
    }

    fn height(&self, time: f64, covariates: &[f64]) -> Result<Quantity> {
        if !(time >= 0.0 && time.is_finite()) {
            let rule = "must be a finite number, at least 0";
            return Err(Error::argument("time", time, rule, "give a reading of the clock"));
        }
        self.check_covariates(covariates)?;
        Ok(Quantity::Height { log_time: time.ln(), covariates: covariates.to_vec() })
    }

    fn check_covariates(&self, covariates: &[f64]) -> Result<()> {
        let names = &self.observations.covariates;
        if covariates.len() == names.len() && covariates.iter().all(|x| x.is_finite()) {
            return Ok(());
        }
        let rule = match names.is_empty() {
            true => "the fit has none".to_owned(),
            false => format!("needs a finite number for each of {}", names.join(", ")),
        };
        Err(Error::argument("covariates", format!("{covariates:?}"), &rule, "give those of the blades meant"))
    }

    fn estimate(&self, found: &Found, quantity: &Quantity) -> f64 {
        let (problem, theta) = (&self.problem, &found.peak.at);
        match quantity {
            Quantity::Time { y, covariates } => {
                let at_unit = problem.point(problem.unit.ln(), covariates);
                problem.unit.ln() + (y - at_unit.weights.dot(theta)) / problem.slope_of(theta)
            }
            Quantity::Height { log_time, covariates } => {
                let point = problem.point(*log_time, covariates);
                point.weights.dot(theta) + point.offset
            }
            Quantity::Slope => problem.slope_of(theta).ln(),
            Quantity::Covariate(place) => {
                let coefficient = theta[problem.first_covariate() + place];
                if self.model.law.shifts_time() { -coefficient / problem.slope_of(theta) } else { coefficient }
            }
            Quantity::Variance => theta[problem.parameters() - 1],
        }
    }

    fn gradient(&self, found: &Found, quantity: &Quantity) -> DVector<f64> {
        let (problem, theta) = (&self.problem, &found.peak.at);
        let slope = problem.slope_of(theta);
        let unit = |index: usize, value: f64| {
            let mut gradient = DVector::zeros(problem.parameters());
            gradient[index] = value;
            gradient
        };
        match quantity {
            Quantity::Time { covariates, .. } => {
                problem.point(self.estimate(found, quantity), covariates).weights / -slope
            }
            Quantity::Height { log_time, covariates } => problem.point(*log_time, covariates).weights,
            Quantity::Slope => unit(1, 1.0 / slope),
            Quantity::Covariate(place) if self.model.law.shifts_time() => {
                let mut gradient = unit(problem.first_covariate() + place, -1.0 / slope);
                if problem.slope.is_none() {
                    gradient[1] = -self.estimate(found, quantity) / slope;
                }
                gradient
            }
            Quantity::Covariate(place) => unit(problem.first_covariate() + place, 1.0),
            Quantity::Variance => unit(problem.parameters() - 1, 1.0),
        }
    }

    /// Bounds on the scale of the search.
    fn searched(&self, quantity: &Quantity, confidence: f64, method: Method) -> Result<Bounds> {
        check_confidence(confidence)?;
        check_method(method)?;
        let Some(found) = &self.found else { return self.without_finds(quantity, confidence, method) };
        let from = self.estimate(found, quantity);
        let gradient = self.gradient(found, quantity);
        let error = (gradient.transpose() * &found.covariance * &gradient)[(0, 0)].sqrt();
        let wanted = normal_quantile(confidence);
        if method == Method::Wald {
            return Ok(Bounds { low: Some(from - wanted * error), high: Some(from + wanted * error) });
        }
        let root = |value: f64| {
            if value == from {
                return Some(0.0);
            }
            let held = self.held(found, quantity, value)?;
            Some((2.0 * (found.peak.value - held).max(0.0)).sqrt())
        };
        // Where a search does not arrive there is no bound, and not one too near.
        let bound = |way: f64| reached(from, way * error, wanted, root);
        Ok(Bounds { low: bound(-1.0), high: bound(1.0) })
    }

    /// The largest log-likelihood with which a quantity has a value.
    fn held(&self, found: &Found, quantity: &Quantity, value: f64) -> Option<f64> {
        if *quantity == Quantity::Variance && !RowLaw::can_be(value) {
            // As good as no factor, or as none that rows have: from there on nothing is excluded.
            return None;
        }
        let problem = &self.problem;
        let hold = self.hold(problem, quantity, value);
        // About where the best of all else lies, as in a likelihood of normal shape.
        let toward = &found.covariance * &hold.weights;
        let ahead = (hold.sum - hold.weights.dot(&found.peak.at)) / hold.weights.dot(&toward);
        let start = &found.peak.at + toward * ahead;
        // Where there may be several hills the highest counts: a lower one would put the bound too near.
        let mut tops = vec![self.climbed(problem, &hold, &start)];
        let has_hills = problem.is_mixed || (problem.has_factor && *quantity != Quantity::Variance);
        if has_hills || tops[0].is_none() {
            tops.push(self.climbed(problem, &hold, &found.peak.at));
        }
        // A factor whose variance is best at nothing may do better with some once the quantity is held.
        if let Some(with) = &found.with_factor {
            let factor = start.clone().insert_row(start.len(), RowLaw::USUAL.ln());
            tops.push(self.climbed(with, &self.hold(with, quantity, value), &factor));
        }
        // Without intervals a line that falls has a likelihood too, but is no law: the best one is nearly level then.
        let is_free = problem.slope.is_none() && *quantity != Quantity::Slope;
        let top = tops.into_iter().flatten().max_by(|a, b| a.value.total_cmp(&b.value));
        if !(is_free && top.as_ref().is_some_and(|top| !(top.at[1] > 0.0))) {
            return top.map(|top| top.value);
        }
        /// Of the slope: as good as none.
        const LEVEL: f64 = 1e-9;
        let level = problem.with_slope(&self.observations, LEVEL);
        self.climbed(&level, &self.hold(&level, quantity, value), &start.remove_row(1)).map(|top| top.value)
    }

    fn climbed(&self, problem: &Problem, hold: &Hold, start: &DVector<f64>) -> Option<Peak> {
        let plane = Plane::through(hold.weights.as_slice(), hold.solved, hold.sum);
        climb(&plane, start, |theta| problem.at(theta))
    }

    fn hold(&self, problem: &Problem, quantity: &Quantity, value: f64) -> Hold {
        let unit = |index: usize| {
            let mut weights = DVector::zeros(problem.parameters());
            weights[index] = 1.0;
            weights
        };
        match quantity {
            Quantity::Time { y, covariates } => {
                let point = problem.point(value, covariates);
                Hold { weights: point.weights, solved: 0, sum: y - point.offset }
            }
            Quantity::Height { log_time, covariates } => {
                let point = problem.point(*log_time, covariates);
                Hold { weights: point.weights, solved: 0, sum: value - point.offset }
            }
            Quantity::Slope => Hold { weights: unit(1), solved: 1, sum: value.exp() },
            Quantity::Covariate(place) => {
                let solved = problem.first_covariate() + place;
                let mut weights = unit(solved);
                let mut sum = value;
                if self.model.law.shifts_time() {
                    // coefficient + shift * slope = 0
                    match problem.slope {
                        Some(slope) => sum = -value * slope,
                        None => (weights[1], sum) = (value, 0.0),
                    }
                }
                Hold { weights, solved, sum }
            }
            Quantity::Variance => {
                let last = problem.parameters() - 1;
                Hold { weights: unit(last), solved: last, sum: value }
            }
        }
    }

    /// Of the row factor's variance, which may be estimated at nothing: its lower bound is 0 where none is excluded.
    fn variance_bounds(&self, confidence: f64, method: Method) -> Result<Bounds> {
        let Some(Found { with_factor: Some(with), peak, .. }) = &self.found else {
            let Bounds { low, high } = self.searched(&Quantity::Variance, confidence, method)?;
            return Ok(Bounds { low: Some(low.map_or(0.0, f64::exp)), high: high.map(f64::exp) });
        };
        check_confidence(confidence)?;
        check_method(method)?;
        if method == Method::Wald {
            return Err(no_wald("the variance is estimated at 0, where it has no standard error"));
        }
        /// Variance at which the search begins, small beside any that matters.
        const FROM: f64 = 1e-4;
        let last = with.parameters() - 1;
        let start = peak.at.clone().insert_row(last, 0.0);
        let root = |log_variance: f64| {
            let plane = Plane::holding(with.parameters(), last, log_variance);
            let held = climb(&plane, &start, |theta| with.at(theta))?;
            Some((2.0 * (peak.value - held.value).max(0.0)).sqrt())
        };
        let high = reached(FROM.ln(), 1.0, normal_quantile(confidence), root);
        Ok(Bounds { low: Some(0.0), high: high.map(f64::exp) })
    }

    /// Where the chance of finding nothing is 1 - confidence: exact, since that chance falls as cracks get more frequent.
    fn without_finds(&self, quantity: &Quantity, confidence: f64, method: Method) -> Result<Bounds> {
        if method == Method::Wald {
            return Err(no_wald("nothing was found: there is no estimate, and no standard error"));
        }
        let problem = &self.problem;
        let never = self.observations.without_cracks();
        // On the logarithm of the drop, which for looks that miss nothing is a straight line.
        let excess = |level: f64| {
            let drop = never - problem.at(&DVector::from_element(1, level)).value;
            (drop.clamp(f64::MIN_POSITIVE, f64::MAX) / -(1.0 - confidence).ln()).ln()
        };
        let level = reached(0.0, 1.0, 0.0, |level| Some(excess(level))).map(|near| {
            /// More than the search leaves.
            const NEAR: f64 = 1e-6;
            let end = |at: f64| (at, excess(at));
            crossing(end(near - NEAR), end(near + NEAR), 1e-16, excess)
        });
        let slope = problem.slope.unwrap_or(1.0);
        Ok(match quantity {
            Quantity::Time { y, .. } => {
                Bounds { low: level.map(|level| problem.unit.ln() + (y - level) / slope), high: None }
            }
            Quantity::Height { log_time, .. } => {
                let above = slope * (log_time - problem.unit.ln());
                Bounds { low: None, high: level.map(|level| level + above) }
            }
            _ => Bounds { low: None, high: None },
        })
    }
}

fn check_method(method: Method) -> Result<()> {
    if matches!(method, Method::LikelihoodRatio | Method::Wald) {
        return Ok(());
    }
    let rule = "bounds on the time to a crack are by the likelihood ratio, or Wald's";
    Err(Error::argument("method", method.words(), rule, "leave it out for the likelihood ratio"))
}

fn no_wald(what: &str) -> Error {
    Error::data("no-wald", what, "Wald's bounds are made of the standard error", "take the likelihood ratio")
}
