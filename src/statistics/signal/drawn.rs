//! A line as the data leave it open: one draw of its parameters, at a threshold.

use super::Decision;
use super::decision::dot;
use crate::error::{Error, Result};
use crate::math::{exp, normal_cdf};
use crate::random::Key;
use crate::statistics::censored::CensoredRegression;
use crate::statistics::evidence::Evidence;
use crate::statistics::newton::inverse;
use nalgebra::{Cholesky, DVector};

impl Decision<'_> {
    /// What a study would take from the fit, were its parameters one draw of what the data leave open.
    ///
    /// The logarithms of q50 and of the spread are drawn as normal about the estimate, with the covariance that the
    /// delta method gives, and so is the normal quantile of the share of false calls.
    ///
    /// # Errors
    /// As [`Decision::evidence`], and refuses a fit whose information is singular.
    ///
    /// # Example
    /// ```
    /// use serrata::model::detection::SizeMeasure;
    /// use serrata::random::Key;
    /// use serrata::statistics::signal::{Model, Responses, fit};
    ///
    /// let signals: Vec<(f64, f64)> =
    ///     (1..=12).map(|i| (0.4 * f64::from(i), 0.3 * f64::from(i) * (1.0 + 0.3 * f64::from(i % 3)))).collect();
    /// let fit = fit(&Responses::new(SizeMeasure::Length, &signals, None, None)?, &Model::default())?;
    /// let at = fit.at_threshold(1.0)?;
    /// let [one, other] = [1, 2].map(|seed| at.drawn_evidence(Key::from_seed(seed)));
    /// assert_ne!(one?.pod.q50_mm, other?.pod.q50_mm);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn drawn_evidence(&self, key: Key) -> Result<Evidence> {
        let mut evidence = self.evidence_without_basis()?;
        let (line, noise) = (self.fit().line(), self.fit().noise());
        let change = change(line, key.named("line"))?;
        // q50 = exp(-(b0 - threshold) / b1) and spread = 1 / b1, all parameters over the scatter.
        let row = self.row(evidence.pod.q50_mm.ln());
        evidence.pod.q50_mm *= exp(-row.iter().zip(change.iter()).map(|(a, b)| a * b).sum::<f64>() / line.theta[1]);
        evidence.pod.spread *= exp(-change[1] / line.theta[1]);
        if let Some(noise) = noise {
            let row = DVector::from_row_slice(&self.noise_row());
            let moved = dot(row.as_slice(), noise) + row.dot(&self::change(noise, key.named("noise"))?);
            evidence.false_call_probability = Some(normal_cdf(moved));
        }
        let signals = self.fit().responses().cracked().len();
        evidence.basis = format!("one draw of what {signals} signals leave open, call above {}", self.threshold());
        Ok(evidence)
    }
}

/// A draw of the distance of the parameters from their estimate.
fn change(line: &CensoredRegression, key: Key) -> Result<DVector<f64>> {
    let factor = inverse(&line.information).and_then(Cholesky::new).ok_or_else(|| {
        let rule = "cannot be drawn from: its information is singular";
        Error::argument("fit", "this one", rule, "take more signals between the noise and saturation")
    })?;
    Ok(factor.l() * DVector::from_fn(line.theta.len(), |index, _| key.normal(index as u64)))
}
