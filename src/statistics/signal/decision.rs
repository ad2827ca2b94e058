//! What a threshold for a call makes of a line: detection, and false calls.

use super::fit::SignalFit;
use super::profile::OfSignals;
use super::responses::{Responses, Scale};
use crate::bounds;
use crate::error::{Error, Result};
use crate::math::{normal_cdf, normal_quantile};
use crate::model::detection::{CurveShape, PodCurve};
use crate::statistics::bound::{
    Bounds, Method, beyond_note, check_confidence, check_pod, fieller, is_beyond, one_sided, whole_curve,
};
use crate::statistics::censored::CensoredRegression;
use crate::statistics::evidence::Evidence;
use crate::statistics::hit_miss::SizeScale;
use crate::statistics::newton::inverse;
use nalgebra::{DMatrix, DVector};

/// A line with a threshold above which a signal is a call.
///
/// The probability of a call is `Phi(b0/tau + b1/tau * f(size) - g(threshold)/tau)`: a normal curve.
#[derive(Debug, Clone)]
pub struct Decision<'f> {
    fit: &'f SignalFit,
    threshold: f64,
    /// The threshold on the scale of the fit.
    at: f64,
    covariance: DMatrix<f64>,
}

/// Detection and false calls at one threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trade {
    /// The threshold.
    pub threshold: f64,
    /// Size found with the probability asked for, in mm.
    pub size_mm: f64,
    /// Its bounds.
    pub size_bounds: Bounds,
    /// Whether the upper bound, or the size itself, lies beyond the largest crack looked at.
    pub beyond_largest: bool,
    /// Probability of a call at a sound place; `None` where the noise is not known.
    pub false_calls: Option<f64>,
    /// Its bounds.
    pub false_call_bounds: Option<(f64, f64)>,
}

impl SignalFit {
    /// The line with a threshold.
    ///
    /// # Errors
    /// Refuses a threshold below the floor or above saturation, where signals are not told apart, and one that is not
    /// positive where the fit is on log signals.
    pub fn at_threshold(&self, threshold: f64) -> Result<Decision<'_>> {
        let responses = &self.responses;
        let low = responses.floor.unwrap_or(f64::NEG_INFINITY);
        let high = responses.saturation.unwrap_or(f64::INFINITY);
        let positive = self.model.signal == Scale::Plain || threshold > 0.0;
        if !threshold.is_finite() || !positive || threshold < low || threshold > high {
            let rule = match (responses.floor, responses.saturation) {
                (None, None) => "must be a signal".to_owned(),
                (low, high) => {
                    let part = |limit: Option<f64>, word: &str| limit.map(|limit| format!("{word} {limit}"));
                    let parts: Vec<String> =
                        [part(low, "at least"), part(high, "at most")].into_iter().flatten().collect();
                    format!("must be {}: beyond that, signals are not told apart", parts.join(" and "))
                }
            };
            return Err(Error::argument("threshold", threshold, &rule, "choose a threshold that signals are read at"));
        }
        let covariance = inverse(&self.line.information).unwrap_or_else(|| DMatrix::from_element(3, 3, f64::NAN));
        Ok(Decision { fit: self, threshold, at: self.model.signal.of(threshold), covariance })
    }

    /// Detection against false calls: the size found with a probability, and the false calls, at each threshold.
    ///
    /// # Errors
    /// As [`SignalFit::at_threshold`] and [`Decision::size_bounds`].
    pub fn trade(&self, thresholds: &[f64], pod: f64, confidence: f64, method: Method) -> Result<Vec<Trade>> {
        let at = |threshold: &f64| {
            let decision = self.at_threshold(*threshold)?;
            let (size_mm, size_bounds) = (decision.size_at(pod), decision.size_bounds(pod, confidence, method)?);
            let largest = self.responses.range_mm().1;
            Ok(Trade {
                threshold: *threshold,
                size_mm,
                size_bounds,
                beyond_largest: is_beyond(Some(size_mm), largest) || is_beyond(size_bounds.high, largest),
                false_calls: decision.false_calls(),
                false_call_bounds: decision.false_call_bounds(confidence)?,
            })
        };
        thresholds.iter().map(at).collect()
    }
}

impl Decision<'_> {
    /// The line.
    pub fn fit(&self) -> &SignalFit {
        self.fit
    }

    /// The threshold.
    pub fn threshold(&self) -> f64 {
        self.threshold
    }

    /// Size in mm that is found with a probability between 0 and 1; not a number outside.
    pub fn size_at(&self, pod: f64) -> f64 {
        self.fit.model.size.size_mm(self.place_at(pod))
    }

    /// Probability of a call at a size in mm.
    ///
    /// # Errors
    /// Refuses a size that is not a length.
    pub fn pod_at(&self, size_mm: f64) -> Result<f64> {
        bounds::LENGTH_MM.check("size_mm", size_mm)?;
        Ok(normal_cdf(self.predictor(self.fit.model.size.of(size_mm))))
    }

    /// Bounds on the size in mm that is found with a probability; `high` at 0.9 and 95 % is q90/95.
    ///
    /// # Errors
    /// Refuses a probability or a confidence out of range, and the non-central t where signals are cut off or sizes are
    /// not exact.
    pub fn size_bounds(&self, pod: f64, confidence: f64, method: Method) -> Result<Bounds> {
        check_pod(pod)?;
        check_confidence(confidence)?;
        check_method(&self.fit.line, method)?;
        let (x, slope) = (self.place_at(pod), self.slope());
        let reach = (one_sided(confidence) * self.variance_at(x)).sqrt() / slope;
        let (low, high) = match method {
            Method::LikelihoodRatio | Method::ModifiedLikelihoodRatio | Method::NonCentralT => {
                let wanted = normal_quantile(pod);
                let held = self.fit.held(&self.fit.line, 1.0, |x| (self.row(x).to_vec(), wanted));
                let Bounds { low, high } = held.bounds(x, reach, confidence, method);
                (low, high)
            }
            Method::Wald => (Some(x - reach), Some(x + reach)),
            Method::PointwiseBand => self.fieller(pod, one_sided(confidence)),
            Method::SimultaneousBand => self.fieller(pod, whole_curve(confidence)),
        };
        // A plain size has no sizes below none.
        let mm = |x: Option<f64>| x.map(|x| self.fit.model.size.size_mm(x).max(0.0));
        Ok(Bounds { low: mm(low), high: mm(high) })
    }

    /// Bounds on the probability of a call at a size in mm, in [0, 1].
    ///
    /// # Errors
    /// Refuses a size that is not a length; else as [`Decision::size_bounds`].
    pub fn pod_bounds(&self, size_mm: f64, confidence: f64, method: Method) -> Result<(f64, f64)> {
        bounds::LENGTH_MM.check("size_mm", size_mm)?;
        check_confidence(confidence)?;
        check_method(&self.fit.line, method)?;
        let x = self.fit.model.size.of(size_mm);
        Ok(self.fit.band(&self.fit.line, &self.row(x), &self.covariance, confidence, method))
    }

    /// Probability of a call at a place free of cracks; `None` where the noise is not known.
    pub fn false_calls(&self) -> Option<f64> {
        self.fit.noise.as_ref().map(|noise| normal_cdf(dot(&self.noise_row(), noise)))
    }

    /// Bounds on that probability, by the method that suits the noise.
    ///
    /// # Errors
    /// Refuses a confidence out of range.
    pub fn false_call_bounds(&self, confidence: f64) -> Result<Option<(f64, f64)>> {
        check_confidence(confidence)?;
        Ok(self.fit.noise.as_ref().map(|noise| {
            let covariance = inverse(&noise.information).unwrap_or_else(|| DMatrix::from_element(2, 2, f64::NAN));
            self.fit.band(noise, &self.noise_row(), &covariance, confidence, usual_method(noise))
        }))
    }

    /// Signals of cracks above the threshold, and of all; where nearly all lie on one side, the curve is drawn out of
    /// the line more than seen.
    pub fn calls(&self) -> (usize, usize) {
        let cracked = &self.fit.responses.cracked;
        let above = cracked.iter().filter(|(_, reading)| reading.value() > self.threshold).count();
        (above, cracked.len())
    }

    /// The curve, as a study takes it.
    ///
    /// # Errors
    /// Refuses a fit on plain size: a study has no such curve.
    pub fn pod_curve(&self) -> Result<PodCurve> {
        if self.fit.model.size == SizeScale::Plain {
            return Err(Error::argument("size scale", "plain", "is no curve that a study has", "fit on log size"));
        }
        Ok(PodCurve {
            size: self.fit.responses.measure,
            shape: CurveShape::Normal,
            q50_mm: self.size_at(0.5),
            spread: 1.0 / self.slope(),
            floor: 0.0,
            ceiling: 1.0,
        })
    }

    /// What a study takes from the fit at this threshold.
    ///
    /// # Errors
    /// As [`Decision::pod_curve`].
    pub fn evidence(&self) -> Result<Evidence> {
        Ok(Evidence { basis: self.basis()?, ..self.evidence_without_basis()? })
    }

    pub(super) fn evidence_without_basis(&self) -> Result<Evidence> {
        Ok(Evidence {
            pod: self.pod_curve()?,
            surface_shift_log: Vec::new(),
            grade_shift_log: Vec::new(),
            inspection_sigma: None,
            false_call_probability: self.false_calls(),
            basis: String::new(),
        })
    }

    /// Where the curve comes from, in one line.
    ///
    /// # Errors
    /// None that a fit can cause; a bound is asked for as it can be had.
    pub fn basis(&self) -> Result<String> {
        let responses = &self.fit.responses;
        let (smallest, largest) = responses.range_mm();
        let from = if responses.source().is_empty() { String::new() } else { format!(", {}", responses.source()) };
        let (q90, method) = (self.size_at(0.9), self.fit.usual_method());
        let bound = self.size_bounds(0.9, 0.95, method)?.high;
        let shown = bound.map_or("not reached".to_owned(), |bound| format!("{bound:.3} mm"));
        Ok(format!(
            "fitted to {} signals at cracks of {smallest} to {largest} mm and {} at sound places{from}: call above {}, q90 \
             {q90:.3} mm{}, q90/95 {shown} by {}{}",
            responses.cracked.len(),
            responses.sound.len(),
            self.threshold,
            beyond_note(Some(q90), largest),
            method.words(),
            beyond_note(bound, largest)
        ))
    }

    /// Weights of the line's parameters in the predictor at a size on the scale of the fit.
    pub(super) fn row(&self, x: f64) -> [f64; 3] {
        [1.0, x, -self.at]
    }

    /// Weights of the noise's parameters in the predictor of a false call.
    pub(super) fn noise_row(&self) -> [f64; 2] {
        [1.0, -self.at]
    }

    fn predictor(&self, x: f64) -> f64 {
        dot(&self.row(x), &self.fit.line)
    }

    fn slope(&self) -> f64 {
        self.fit.line.theta[1]
    }

    fn place_at(&self, pod: f64) -> f64 {
        (normal_quantile(pod) - self.predictor(0.0)) / self.slope()
    }

    fn variance_at(&self, x: f64) -> f64 {
        variance(&self.row(x), &self.row(x), &self.covariance)
    }

    fn fieller(&self, pod: f64, critical: f64) -> (Option<f64>, Option<f64>) {
        let (zero, size) = (self.row(0.0), [0.0, 1.0, 0.0]);
        let terms = [(&zero, &zero), (&zero, &size), (&size, &size)].map(|(a, b)| variance(a, b, &self.covariance));
        fieller([self.predictor(0.0) - normal_quantile(pod), self.slope()], terms, critical)
    }
}

pub(super) fn dot(row: &[f64], line: &CensoredRegression) -> f64 {
    row.iter().zip(line.theta.iter()).map(|(weight, parameter)| weight * parameter).sum()
}

fn variance(a: &[f64], b: &[f64], covariance: &DMatrix<f64>) -> f64 {
    (DVector::from_row_slice(a).transpose() * covariance * DVector::from_row_slice(b))[(0, 0)]
}

/// The method of bounds that suits a line: exact where nothing is cut off and sizes are exact, else the modified
/// likelihood ratio.
fn usual_method(line: &CensoredRegression) -> Method {
    if line.is_exact() { Method::NonCentralT } else { Method::ModifiedLikelihoodRatio }
}

/// Refuses a method that does not hold for a line.
fn check_method(line: &CensoredRegression, method: Method) -> Result<()> {
    if method != Method::NonCentralT || line.is_exact() {
        return Ok(());
    }
    let rule = "holds where no signal is cut off and sizes are exact";
    Err(Error::argument("method", method.words(), rule, "use modified likelihood ratio"))
}

impl SignalFit {
    /// The method of bounds that suits the fit: the non-central t, which is exact, or where signals are cut off or sizes
    /// not exact, the modified likelihood ratio.
    pub fn usual_method(&self) -> Method {
        usual_method(&self.line)
    }

    /// A line with a weighted sum of its parameters held at a value.
    fn held<'l, F>(&self, line: &'l CensoredRegression, way: f64, at: F) -> OfSignals<'l, F>
    where
        F: Fn(f64) -> (Vec<f64>, f64),
    {
        let Responses { floor, saturation, .. } = self.responses;
        let limit = |limit: Option<f64>, none: f64| limit.map_or(none, |limit| self.model.signal.of(limit));
        OfSignals { line, limits: (limit(floor, f64::NEG_INFINITY), limit(saturation, f64::INFINITY)), at, way }
    }

    /// Bounds on the normal distribution function of `row . parameters`.
    fn band(
        &self,
        line: &CensoredRegression,
        row: &[f64],
        covariance: &DMatrix<f64>,
        confidence: f64,
        method: Method,
    ) -> (f64, f64) {
        let critical = if method == Method::SimultaneousBand { whole_curve(confidence) } else { one_sided(confidence) };
        let (eta, error) = (dot(row, line), variance(row, row, covariance).sqrt());
        if matches!(method, Method::Wald | Method::PointwiseBand | Method::SimultaneousBand) {
            let reach = critical.sqrt() * error;
            return (normal_cdf(eta - reach), normal_cdf(eta + reach));
        }
        let held = self.held(line, -1.0, |eta| (row.to_vec(), eta));
        let Bounds { low, high } = held.bounds(eta, error, confidence, method);
        (low.map_or(0.0, normal_cdf), high.map_or(1.0, normal_cdf))
    }
}
