//! Growth per start at a point of a crack front.

use super::cycle::Cycle;
use super::paris::{GrowthLines, ParisLine};
use super::threshold::Threshold;
use crate::bounds;
use crate::error::{Error, Result};
use crate::math::{exp, ln};

/// Growth per start: lines, the threshold below which there is none, and the effect of the ratio.
///
/// Walker's correction: the lines are read at `dK / (1 - R)**(1 - gamma)`, which is
/// `dK**gamma K_max**(1 - gamma)`. The threshold is one of dK itself.
///
/// # Example
/// ```
/// use serrata::model::growth::{Cycle, GrowthLines, ParisLine, StartRate, Threshold};
/// let lines = GrowthLines::Paris(ParisLine::new(1e-11, 3.0)?);
/// let law = StartRate::new(lines, Threshold::constant(5.0)?, None)?;
/// let rate = law.rate_m_per_start(&Cycle::from_range(10.0, 0.1)?);
/// assert!((rate - 1e-8).abs() < 1e-20);
/// assert_eq!(law.rate_m_per_start(&Cycle::from_range(4.9, 0.1)?), 0.0);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct StartRate {
    lines: GrowthLines,
    threshold: Threshold,
    walker_exponent: Option<f64>,
}

impl StartRate {
    /// From its lines, its threshold and, with Walker's correction, his gamma.
    ///
    /// # Errors
    /// Refuses a gamma outside 0 to 1.
    pub fn new(lines: GrowthLines, threshold: Threshold, walker_exponent: Option<f64>) -> Result<Self> {
        if let Some(gamma) = walker_exponent {
            bounds::WALKER_EXPONENT.check("walker_exponent", gamma)?;
        }
        Ok(StartRate { lines, threshold, walker_exponent })
    }

    /// Paris' line and nothing else.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn paris(coefficient_m_per_start: f64, exponent: f64) -> Result<Self> {
        Self::new(GrowthLines::Paris(ParisLine::new(coefficient_m_per_start, exponent)?), Threshold::None, None)
    }

    /// Refuses a threshold at or above the toughness: no crack could grow before it breaks its blade.
    ///
    /// # Errors
    /// As said, and a toughness out of range.
    pub fn check_toughness(&self, toughness_mpa_sqrt_m: f64) -> Result<()> {
        bounds::TOUGHNESS_MPA_SQRT_M.check("toughness_mpa_sqrt_m", toughness_mpa_sqrt_m)?;
        let threshold = self.threshold.highest_mpa_sqrt_m();
        if threshold < toughness_mpa_sqrt_m {
            return Ok(());
        }
        Err(Error::argument(
            "threshold_mpa_sqrt_m",
            threshold,
            &format!("must be below toughness_mpa_sqrt_m ({toughness_mpa_sqrt_m}): no crack could grow at all"),
            "lower the threshold or raise the toughness; both are in MPa sqrt(m)",
        ))
    }

    /// The lines.
    pub fn lines(&self) -> &GrowthLines {
        &self.lines
    }

    /// The threshold.
    pub fn threshold(&self) -> &Threshold {
        &self.threshold
    }

    /// Walker's gamma.
    pub fn walker_exponent(&self) -> Option<f64> {
        self.walker_exponent
    }

    /// Growth in m per start under a cycle.
    pub fn rate_m_per_start(&self, cycle: &Cycle) -> f64 {
        if self.above_threshold(cycle, 1.0) > 0.0 {
            let ln_range = self.ln_effective_range(cycle, cycle.lowest() > 0.0);
            self.lines.at_ln(ln_range, self.lines.is_high(exp(ln_range)))
        } else {
            0.0
        }
    }

    /// By how much the open range is above the threshold times a factor; negative below.
    #[inline]
    pub(in crate::model) fn above_threshold(&self, cycle: &Cycle, threshold_factor: f64) -> f64 {
        let threshold = threshold_factor * self.threshold.at_mpa_sqrt_m(cycle.open_ratio());
        // A crack pressed shut is below by as much as it is pressed, so that the excess has no flat part.
        if cycle.highest() > 0.0 { cycle.open_range() - threshold } else { cycle.highest() - threshold }
    }

    /// Logarithm of the range at which the lines are read. Whether the crack is taken to stay open over
    /// the whole cycle is for the caller to say.
    #[inline(always)]
    pub(in crate::model) fn ln_effective_range(&self, cycle: &Cycle, stays_open: bool) -> f64 {
        /// A crack that is shut has no range; this is less than any that matters.
        const LEAST: f64 = 1e-9;
        let at_least = |x: f64| if x > LEAST { x } else { LEAST };
        let range = at_least(if stays_open { cycle.highest() - cycle.lowest() } else { cycle.highest() });
        match self.walker_exponent {
            Some(gamma) if stays_open => gamma * ln(range) + (1.0 - gamma) * ln(at_least(cycle.highest())),
            _ => ln(range),
        }
    }
}
