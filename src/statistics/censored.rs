//! Straight-line regression with normal scatter, of values some of which are only known to lie below or above a limit.

use super::newton::{Local, Peak, Plane, climb, inverse};
use super::profile::Covariances;
use super::quadrature::even_rule;
use super::tail::{non_central_t, normal_log_and_ratio};
use crate::error::{Error, Result};
use crate::math::normal_cdf;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;
use std::sync::LazyLock;

/// What was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// The value.
    Exact(f64),
    /// No more than that it lies at or below a limit.
    Below(f64),
    /// No more than that it lies at or above a limit.
    Above(f64),
}

impl Reading {
    /// The value, or the limit that stands for it.
    pub fn value(self) -> f64 {
        match self {
            Reading::Exact(value) | Reading::Below(value) | Reading::Above(value) => value,
        }
    }

    /// The same with its value changed.
    pub(super) fn map(self, change: impl Fn(f64) -> f64) -> Reading {
        match self {
            Reading::Exact(value) => Reading::Exact(change(value)),
            Reading::Below(value) => Reading::Below(change(value)),
            Reading::Above(value) => Reading::Above(change(value)),
        }
    }
}

/// `value = coefficients . regressors + scale * e`, e standard normal: maximum likelihood (Tobin, Econometrica 26 (1958)
/// 24-36).
///
/// Worked out for coefficients over scale and one over scale, in which the log-likelihood has one hill only (Olsen,
/// Econometrica 46 (1978) 1211-1215).
///
/// ```
/// use serrata::statistics::censored::{CensoredRegression, Reading};
///
/// // Nothing is cut off: the mean, and the spread about it.
/// let readings = [1.0, 2.0, 6.0].map(Reading::Exact);
/// let fit = CensoredRegression::fit(&[vec![1.0], vec![1.0], vec![1.0]], &readings)?;
/// assert!((fit.coefficients()[0] - 3.0).abs() < 1e-6);
/// assert!((fit.scale() - (14.0_f64 / 3.0).sqrt()).abs() < 1e-6);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct CensoredRegression {
    /// Regressors with their sign changed, then the value: their product with the parameters is the residual.
    rows: Vec<(DVector<f64>, Reading)>,
    /// A regressor whose value is not exact, and the variance of its normal error; its row has the mean.
    inexact: Option<(usize, f64)>,
    pub(super) theta: DVector<f64>,
    pub(super) information: DMatrix<f64>,
    pub(super) value: f64,
}

impl CensoredRegression {
    /// Fits readings, each with its regressors; a constant is a regressor of ones.
    ///
    /// # Errors
    /// Refuses numbers that are not finite and rows of unequal length, and readings without a finite best fit: fewer
    /// exact ones than parameters, regressors that cannot be told apart, or no scatter at all (`not-converged`).
    pub fn fit(regressors: &[Vec<f64>], readings: &[Reading]) -> Result<CensoredRegression> {
        CensoredRegression::fit_inexact(regressors, readings, None)
    }

    /// The same where one regressor is normal about the value given, with a variance that is given.
    ///
    /// A reading then scatters by that too: its variance is the squared scale and, on top, the squared coefficient
    /// times that variance.
    pub(super) fn fit_inexact(
        regressors: &[Vec<f64>],
        readings: &[Reading],
        inexact: Option<(usize, f64)>,
    ) -> Result<CensoredRegression> {
        let width = regressors.first().map_or(0, Vec::len);
        let finite =
            regressors.iter().flatten().all(|x| x.is_finite()) && readings.iter().all(|one| one.value().is_finite());
        let even = regressors.len() == readings.len() && regressors.iter().all(|row| row.len() == width);
        if !finite || !even || width == 0 {
            let rule = "each reading needs a finite value and as many finite regressors as the others";
            return Err(Error::argument(
                "regressors",
                "of unequal length or not finite",
                rule,
                "complete or leave out the row",
            ));
        }
        let row = |(row, reading): (&Vec<f64>, &Reading)| {
            let entries = row.iter().map(|x| -x).chain([reading.value()]);
            (DVector::from_iterator(width + 1, entries), *reading)
        };
        let rows: Vec<(DVector<f64>, Reading)> = regressors.iter().zip(readings).map(row).collect();
        // One over the spread of all values, and no slope: in reach of the one hill, in any unit.
        let count = readings.len() as f64;
        let mean = readings.iter().map(|one| one.value()).sum::<f64>() / count;
        let spread = (readings.iter().map(|one| (one.value() - mean).powi(2)).sum::<f64>() / count).sqrt();
        let mut start = DVector::zeros(width + 1);
        start[width] = 1.0 / spread;
        let mut unfitted =
            CensoredRegression { rows, inexact, theta: start, information: DMatrix::zeros(0, 0), value: f64::NAN };
        let peak = climb(&Plane::whole(width + 1), &unfitted.theta, |theta| unfitted.at(theta));
        // Where regressors cannot be told apart the curvature is singular but for rounding.
        let peak =
            peak.filter(|peak| inverse(&peak.information).is_some_and(|inverse| inverse.iter().all(|x| x.is_finite())));
        let Some(peak) = peak else {
            return Err(Error::data(
                "not-converged",
                "no best line is found",
                "a line needs readings that scatter, enough of them within the limits, and regressors that differ",
                "take more readings within the limits, or fewer regressors",
            ));
        };
        unfitted.theta = peak.at;
        unfitted.information = peak.information;
        unfitted.value = peak.value;
        Ok(unfitted)
    }

    /// The coefficients, in the order of the regressors.
    pub fn coefficients(&self) -> Vec<f64> {
        let inner = self.theta.len() - 1;
        self.theta.iter().take(inner).map(|over_scale| over_scale * self.scale()).collect()
    }

    /// Standard deviation of the scatter.
    pub fn scale(&self) -> f64 {
        1.0 / self.theta[self.theta.len() - 1]
    }

    /// Largest log-likelihood.
    pub fn log_likelihood(&self) -> f64 {
        self.value
    }

    /// Covariance of the coefficients and, last, the scale, from the observed information.
    pub fn covariance(&self) -> Vec<Vec<f64>> {
        let (count, scale) = (self.theta.len(), self.scale());
        // Coefficient = its parameter times scale; scale = one over the last parameter.
        let mut change = DMatrix::identity(count, count) * scale;
        for row in 0..count - 1 {
            change[(row, count - 1)] = -self.theta[row] * scale * scale;
        }
        change[(count - 1, count - 1)] = -scale * scale;
        let covariance = inverse(&self.information).map_or_else(
            || DMatrix::from_element(count, count, f64::NAN),
            |covariance| &change * covariance * change.transpose(),
        );
        covariance.row_iter().map(|row| row.iter().copied().collect()).collect()
    }

    /// Twice the log-likelihood that it costs to hold `row . parameters` at a value; `solved` is a parameter whose
    /// weight in the row is not small.
    pub(super) fn deviance(&self, row: &[f64], solved: usize, value: f64) -> f64 {
        let best = self.held(row, solved, value);
        best.map_or(f64::INFINITY, |best| 2.0 * (self.value - best.value).max(0.0))
    }

    /// The best parameters with `row . parameters` held at a value.
    pub(super) fn held(&self, row: &[f64], solved: usize, value: f64) -> Option<Peak> {
        climb(&Plane::through(row, solved, value), &self.theta, |theta| self.at(theta))
    }

    /// The fit with nothing held.
    pub(super) fn peak(&self) -> Peak {
        Peak { at: self.theta.clone(), value: self.value, information: self.information.clone() }
    }

    /// Whether every reading is exact, and every regressor.
    pub(super) fn is_exact(&self) -> bool {
        self.inexact.is_none() && self.rows.iter().all(|(_, reading)| matches!(reading, Reading::Exact(_)))
    }

    /// Covariances with the slope of the log-likelihood at the estimate, were the fitted line the true one and readings
    /// cut off at these limits: averages over what each reading may be.
    pub(super) fn covariances(&self, (low, high): (f64, f64), other: &DVector<f64>) -> Covariances {
        /// Readings that far out count for nothing.
        const FAR: f64 = 8.0;
        /// Averages of a normal density times a polynomial of degree four, over 16 standard deviations: right to 1e-10.
        static RULE: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| even_rule(40));
        let count = self.theta.len();
        let mut sums = Covariances::zeros(count);
        for (row, _) in &self.rows {
            let mut add = |reading: Reading, chance: f64| {
                let mut row = row.clone();
                row[count - 1] = reading.value();
                let [(log, slope), (other_log, other_slope)] =
                    [&self.theta, other].map(|theta| self.part(theta).log_and_slope(&row, reading));
                sums.slopes.ger(chance, &slope, &other_slope, 1.0);
                sums.likelihoods.axpy(chance * (log - other_log), &slope, 1.0);
            };
            let part = self.part(&self.theta);
            // The reading whose residual is z, and the residual of a limit.
            let middle = row.rows(0, count - 1).dot(&self.theta.rows(0, count - 1));
            let inverse_scale = self.theta[count - 1];
            let reading = |z: f64| (z / part.narrowed - middle) / inverse_scale;
            let residual = |limit: f64| (limit * inverse_scale + middle) * part.narrowed;
            let (from, to) = (residual(low).max(-FAR), residual(high).min(FAR));
            if low.is_finite() {
                add(Reading::Below(low), normal_cdf(residual(low)));
            }
            if high.is_finite() {
                add(Reading::Above(high), normal_cdf(-residual(high)));
            }
            if from < to {
                for (point, weight) in RULE.iter() {
                    let z = 0.5 * (from + to) + 0.5 * (to - from) * point;
                    let chance = weight * (to - from) * (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
                    add(Reading::Exact(reading(z)), chance);
                }
            }
        }
        sums
    }

    /// For a line through exact readings: how far the predictor, a row of regressors over the scale, lies above a value,
    /// as the chance that readings anew would put it no higher than these do, were that value the true one.
    ///
    /// The estimate over its standard error is of the non-central t distribution then, exactly.
    pub(super) fn chance_no_higher(&self, row: &[f64], value: f64) -> f64 {
        let (count, inner) = (self.rows.len() as f64, self.theta.len() - 1);
        let regressors = DMatrix::from_fn(self.rows.len(), inner, |look, column| -self.rows[look].0[column]);
        let at = DVector::from_column_slice(&row[..inner]);
        let Some(inverse) = inverse(&regressors.tr_mul(&regressors)) else { return f64::NAN };
        let error = at.dot(&(inverse * &at)).sqrt();
        let predictor: f64 = row.iter().zip(self.theta.iter()).map(|(weight, parameter)| weight * parameter).sum();
        let freedom = count - inner as f64;
        // The largest likelihood divides the squares by the number of readings, t by what is left after the fit.
        let t = predictor * (freedom / count).sqrt() / error;
        non_central_t(t, freedom, value / error)
    }

    /// The log-likelihood with slope and curvature.
    fn at(&self, theta: &DVector<f64>) -> Local {
        let (count, inverse_scale) = (theta.len(), theta[theta.len() - 1]);
        let mut local =
            Local { value: 0.0, gradient: DVector::zeros(count), information: DMatrix::zeros(count, count) };
        let part = self.part(theta);
        let Part { column, narrowed, pull, wide, variance, .. } = part;
        for (row, reading) in &self.rows {
            let Term { log, slope, bend, residual, change } = part.term(row, *reading);
            local.value += log;
            local.gradient.axpy(slope, &change, 1.0);
            local.information.ger(-bend, &change, &change, 1.0);
            if self.inexact.is_some() {
                for at in 0..count {
                    let turn = -row[at] * narrowed * pull;
                    local.information[(at, column)] -= slope * turn;
                    local.information[(column, at)] -= slope * turn;
                }
                let turn = residual * (3.0 * pull * pull - variance / wide);
                local.information[(column, column)] -= slope * turn;
            }
            if matches!(reading, Reading::Exact(_)) {
                part.add_of_scale(&mut local.gradient);
                local.information[(count - 1, count - 1)] += 1.0 / (inverse_scale * inverse_scale);
                local.information[(column, column)] += variance / wide - 2.0 * pull * pull;
            }
        }
        if !(inverse_scale > 0.0) {
            local.value = f64::NEG_INFINITY;
        }
        local
    }

    /// What readings have in common under parameters.
    fn part<'p>(&self, theta: &'p DVector<f64>) -> Part<'p> {
        // Of the residual over its own spread, which an inexact regressor widens with its coefficient.
        let (column, variance) = self.inexact.unwrap_or((0, 0.0));
        let coefficient = theta[column];
        let wide = 1.0 + coefficient * coefficient * variance;
        Part { theta, column, variance, wide, narrowed: 1.0 / wide.sqrt(), pull: coefficient * variance / wide }
    }
}

/// Parameters, and what an inexact regressor makes of them.
struct Part<'p> {
    theta: &'p DVector<f64>,
    column: usize,
    variance: f64,
    wide: f64,
    narrowed: f64,
    pull: f64,
}

/// Log-likelihood of one reading, its slope and bend by the residual, and how the residual changes.
struct Term {
    log: f64,
    slope: f64,
    bend: f64,
    residual: f64,
    change: DVector<f64>,
}

impl Part<'_> {
    fn term(&self, row: &DVector<f64>, reading: Reading) -> Term {
        let inverse_scale = self.theta[self.theta.len() - 1];
        let residual = row.dot(self.theta) * self.narrowed;
        let (log, slope, bend) = match reading {
            Reading::Exact(_) => (
                (inverse_scale * self.narrowed).ln() - 0.5 * residual * residual - 0.5 * (2.0 * PI).ln(),
                -residual,
                -1.0,
            ),
            Reading::Below(_) => below(residual),
            Reading::Above(_) => {
                let (log, slope, bend) = below(-residual);
                (log, -slope, bend)
            }
        };
        let mut change = row * self.narrowed;
        change[self.column] -= residual * self.pull;
        Term { log, slope, bend, residual, change }
    }

    /// Adds how the logarithm of the scale of an exact reading changes.
    fn add_of_scale(&self, gradient: &mut DVector<f64>) {
        let last = self.theta.len() - 1;
        gradient[last] += 1.0 / self.theta[last];
        gradient[self.column] -= self.pull;
    }

    fn log_and_slope(&self, row: &DVector<f64>, reading: Reading) -> (f64, DVector<f64>) {
        let Term { log, slope, mut change, .. } = self.term(row, reading);
        change *= slope;
        if matches!(reading, Reading::Exact(_)) {
            self.add_of_scale(&mut change);
        }
        (log, change)
    }
}

/// Logarithm of the chance to lie below a residual, with its derivatives.
fn below(residual: f64) -> (f64, f64, f64) {
    let (log, ratio) = normal_log_and_ratio(residual);
    (log, ratio, -ratio * (residual + ratio))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Key;

    /// Signals drawn from the fitted line and cut off at the limits, many times: what the averages stand for.
    #[test]
    fn covariances_are_those_of_readings_drawn_from_the_line() {
        const DRAWS: u64 = 20_000;
        let limits = (0.2, 1.6);
        let cut = |value: f64| match value {
            value if value <= limits.0 => Reading::Below(limits.0),
            value if value >= limits.1 => Reading::Above(limits.1),
            value => Reading::Exact(value),
        };
        let rows: Vec<Vec<f64>> = (0..12).map(|look| vec![1.0, 0.15 * f64::from(look)]).collect();
        let readings: Vec<Reading> = rows
            .iter()
            .enumerate()
            .map(|(look, row)| cut(0.1 + 0.9 * row[1] + 0.3 * [-1.0, 0.7, 0.4][look % 3]))
            .collect();
        for inexact in [None, Some((1, 0.04))] {
            let line = CensoredRegression::fit_inexact(&rows, &readings, inexact).expect("a line");
            let other = &line.theta * 0.9;
            let ours = line.covariances(limits, &other);
            let spread = line.scale() / line.part(&line.theta).narrowed;
            let key = Key::from_seed(3).named("readings");
            let (mut slopes, mut squares) = (DMatrix::zeros(3, 3), DMatrix::zeros(3, 3));
            for draw in 0..DRAWS {
                let (mut here, mut there) = (DVector::zeros(3), DVector::zeros(3));
                for (look, (row, _)) in line.rows.iter().enumerate() {
                    let mean = -row.rows(0, 2).dot(&line.theta.rows(0, 2)) * line.scale();
                    let reading = cut(mean + spread * key.child(draw).normal(look as u64));
                    let mut row = row.clone();
                    row[2] = reading.value();
                    here += line.part(&line.theta).log_and_slope(&row, reading).1;
                    there += line.part(&other).log_and_slope(&row, reading).1;
                }
                let product = here * there.transpose();
                squares += product.component_mul(&product);
                slopes += product;
            }
            let count = DRAWS as f64;
            for (at, (sum, square)) in slopes.iter().zip(squares.iter()).enumerate() {
                let mean = sum / count;
                let error = ((square / count - mean * mean) / count).sqrt();
                // Four standard errors: nine entries are all within for one seed in 1,700.
                assert!((ours.slopes[at] - mean).abs() < 4.0 * error, "{at}: {} {mean} {error}", ours.slopes[at]);
            }
            // The slope of the likelihoods' covariances by the other parameters is minus the expected information.
            let expected = line.covariances(limits, &line.theta).slopes;
            for column in 0..3 {
                let mut near = line.theta.clone();
                near[column] += 1e-5;
                let change = line.covariances(limits, &near).likelihoods / 1e-5;
                for row in 0..3 {
                    let scale = expected.amax();
                    assert!((change[row] + expected[(row, column)]).abs() < 1e-3 * scale, "{change} {expected}");
                }
            }
        }
    }
}
