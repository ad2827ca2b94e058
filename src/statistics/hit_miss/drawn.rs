//! A fit as the data leave it open: one draw of its parameters.

use super::fit::Fit;
use super::likelihood::SIZE;
use crate::error::{Error, Result};
use crate::math::exp;
use crate::random::Key;
use crate::statistics::evidence::Evidence;
use crate::statistics::newton::inverse;
use nalgebra::Cholesky;
use statrs::distribution::{Beta, ContinuousCDF};

impl Fit {
    /// What a study would take from the fit, were its parameters one draw of what the data leave open.
    ///
    /// The logarithms of q50 and of the spread, and the shifts, are drawn as normal about the estimate, with the
    /// covariance that the delta method gives; a fitted floor or ceiling stays as it is. The share of false calls
    /// is drawn from its beta distribution under Jeffreys' prior.
    ///
    /// # Errors
    /// As [`Fit::evidence`], and refuses a fit whose information is singular.
    ///
    /// # Example
    /// ```
    /// use serrata::random::Key;
    /// use serrata::statistics::hit_miss::{Looks, Model, fit};
    ///
    /// let looks: Vec<(f64, bool)> =
    ///     (1..60).map(|i| (0.1 * f64::from(i), i % 5 != 0 && i > 12 || i % 7 == 0)).collect();
    /// let fit = fit(&Looks::from_pairs(&looks)?, &Model::default())?;
    /// let [one, other] = [1, 2].map(|seed| fit.drawn_evidence(Key::from_seed(seed)));
    /// assert_ne!(one?.pod.q50_mm, other?.pod.q50_mm);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn drawn_evidence(&self, key: Key) -> Result<Evidence> {
        /// Draw of the share of false calls; those of parameters come before it.
        const FALSE_CALLS: u64 = 1 << 20;
        let (calls, clean) = self.looks.false_calls();
        let (mut evidence, _) = self.drawn(key)?.evidence_without_basis()?;
        if clean > 0 {
            let share = Beta::new(calls as f64 + 0.5, (clean - calls) as f64 + 0.5).ok();
            evidence.false_call_probability = share.map(|share| share.inverse_cdf(key.uniform(FALSE_CALLS)));
        }
        let (hits, count) = self.looks.hits();
        evidence.basis = format!("one draw of what {count} looks, {hits} of them hits, leave open");
        Ok(evidence)
    }

    fn drawn(&self, key: Key) -> Result<Fit> {
        let factor = inverse(&self.best.information).and_then(Cholesky::new).ok_or_else(|| {
            let rule = "cannot be drawn from: its information is singular";
            Error::argument("fit", "this one", rule, "fit fewer factors, or with the penalty")
        })?;
        let normal = nalgebra::DVector::from_fn(self.best.theta.len(), |index, _| key.normal(index as u64));
        let change = factor.l() * normal;
        let mut drawn = self.clone();
        let slope = self.best.theta[SIZE];
        let steeper = exp(change[SIZE] / slope);
        for (index, value) in drawn.best.theta.iter_mut().enumerate() {
            // A parameter over the slope is a size or a shift on the scale of the logarithm.
            let shift = *value / slope;
            let moved = shift + (change[index] - shift * change[SIZE]) / slope;
            *value = slope * steeper * if index == SIZE { 1.0 } else { moved };
        }
        Ok(drawn)
    }
}
