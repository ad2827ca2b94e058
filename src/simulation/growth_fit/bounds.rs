//! The estimate, its bounds, and what a study makes of them.

use super::GrowthFit;
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use crate::statistics::bound::{Bounds, check_confidence};
use crate::statistics::evidence::GrowthEvidence;
use crate::statistics::search::crossing;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Confidence of each bound that a summary shows: both make an interval of 95 %.
pub(super) const CONFIDENCE: f64 = 0.975;

/// Where the likelihood is largest.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Found {
    /// Logarithm of the factor.
    pub at: f64,
    pub top: f64,
    /// Log-likelihood of cracks that do not grow.
    pub level: f64,
    /// From the curvature at the top; not-a-number where there is none.
    pub standard_error: f64,
}

impl Found {
    pub fn new(at: f64, top: f64, level: f64, f: impl Fn(f64) -> f64) -> Self {
        // Of fourth order, over about a standard error, which ever narrower steps look for.
        let curved = |step: f64| {
            let side = |steps: f64| f(at + steps * step) + f(at - steps * step);
            -(16.0 * side(1.0) - side(2.0) - 30.0 * f(at)) / (12.0 * step * step)
        };
        let error = |step: f64| 1.0 / curved(step).sqrt();
        let steps = [0.3, 0.1, 0.03, 0.01, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5];
        let wide = steps.into_iter().map(error).zip(steps).find(|(error, step)| *error > 1.5 * step);
        let standard_error = wide.map_or(f64::NAN, |(rough, _)| error((0.3 * rough).min(0.3)));
        Found { at, top, level, standard_error }
    }

    fn root(&self, value: f64) -> f64 {
        (2.0 * (self.top - value).max(0.0)).sqrt()
    }
}

impl GrowthFit {
    /// Whether sizing error swamps the growth, so that there is an upper bound and no estimate: cracks that do not grow
    /// explain the sizes nearly as well.
    pub fn is_bound_only(&self) -> bool {
        !(self.found.root(self.found.level) > normal_quantile(CONFIDENCE))
    }

    /// The factor on the growth coefficient of the study that explains the sizes best; `None` where there is only a bound.
    pub fn factor(&self) -> Option<f64> {
        (!self.is_bound_only()).then(|| self.found.at.exp())
    }

    /// Standard error of the logarithm of the factor, from the observed information; `None` where there is only a bound.
    pub fn standard_error_log(&self) -> Option<f64> {
        (!self.is_bound_only()).then_some(self.found.standard_error)
    }

    /// Bounds on the factor by profile likelihood, each one-sided at the confidence asked for; `None` where no value is
    /// excluded on that side.
    ///
    /// # Errors
    /// Refuses a confidence that does not lie between 0.5 and 1.
    pub fn bounds(&self, confidence: f64) -> Result<Bounds> {
        check_confidence(confidence)?;
        let wanted = normal_quantile(confidence);
        let short = |x: f64| self.found.root(self.ln_likelihood(x)).min(1e6) - wanted;
        let [low, high] = self.range;
        let between = |end: f64| {
            let at_end = short(end);
            (at_end > 0.0).then(|| crossing((self.found.at, -wanted), (end, at_end), 1e-9, short).exp())
        };
        let is_low = self.found.root(self.found.level) > wanted;
        Ok(Bounds { low: if is_low { between(low) } else { None }, high: between(high) })
    }

    /// Standard deviation of the logarithm of the factor for a study's `uncertain`: that of a normal number whose upper
    /// 97.5 % lies where the upper bound does, or the standard error where that is larger. `None` where there is only a
    /// bound.
    pub fn sigma_log(&self) -> Option<f64> {
        let (error, high) = (self.standard_error_log()?, self.bounds(CONFIDENCE).ok()?.high?);
        Some(error.max((high.ln() - self.found.at) / normal_quantile(CONFIDENCE)))
    }

    /// Log-likelihood of a factor above 0.
    ///
    /// # Errors
    /// Refuses a factor that is none.
    pub fn log_likelihood_at(&self, factor: f64) -> Result<f64> {
        crate::bounds::FACTOR.check("factor", factor)?;
        Ok(self.ln_likelihood(factor.ln()))
    }

    /// The largest log-likelihood.
    pub fn log_likelihood(&self) -> f64 {
        self.found.top
    }

    /// Log-likelihood of the study as it stands: factor 1.
    pub fn log_likelihood_of_study(&self) -> f64 {
        self.ln_likelihood(0.0)
    }

    /// Chance that sizes speak at least as much against the study as it stands, were it right: likelihood ratio, chi-square
    /// with one degree of freedom.
    pub fn p_of_study(&self) -> f64 {
        let deviance = 2.0 * (self.found.top - self.log_likelihood_of_study()).max(0.0);
        ChiSquared::new(1.0).map_or(f64::NAN, |law| law.sf(deviance))
    }

    /// Name of the growth law.
    pub fn law(&self) -> &str {
        &self.study.growth[self.law].id
    }

    /// The growth coefficient of the study, in m per start.
    pub fn coefficient_m_per_start(&self) -> f64 {
        self.study.growth[self.law].coefficient_m_per_start
    }

    /// What the sizes say, in the words of a study: [`Study::with_growth`](crate::Study::with_growth) puts it into one.
    ///
    /// # Errors
    /// Refuses a fit with a bound only (`bound-only`).
    pub fn evidence(&self) -> Result<GrowthEvidence> {
        let (Some(factor), Some(sigma_log)) = (self.factor(), self.sigma_log()) else {
            return Err(Error::data(
                "bound-only",
                "sizing error swamps the growth: there is an upper bound on the factor and no estimate",
                "a study needs a value",
                "put a factor that you choose into the study: the upper bound is the safe side",
            ));
        };
        let (count, law) = (self.cracks.len(), &self.study.growth[self.law]);
        let cracks = if count == 1 { "one crack".to_owned() } else { format!("{count} cracks") };
        let said = law.basis.as_ref().map_or(String::new(), |basis| format!("; before: {basis}"));
        let basis = format!(
            "{factor:.4} times {:e}, fitted to sizes of {cracks} ({}){said}",
            law.coefficient_m_per_start,
            self.sizes.source()
        );
        let coefficient_m_per_start = factor * law.coefficient_m_per_start;
        Ok(GrowthEvidence { law: law.id.clone(), coefficient_m_per_start, sigma_log, basis })
    }
}
