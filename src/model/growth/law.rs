//! A growth law: Paris' line, its scatter and its refinements.

use super::paris::{GrowthLines, ParisLine, TwoStage};
use super::rate_law::RateLaw;
use super::refinements::Refinements;
use super::start_rate::StartRate;
use crate::error::Result;
use crate::model::vibration::Vibration;

/// A growth law, shared by hot spots of one material and environment.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthLaw {
    /// Name.
    pub id: String,
    /// Median of C, in m per start with the stress intensity in MPa sqrt(m).
    pub coefficient_m_per_start: f64,
    /// Exponent m.
    pub exponent: f64,
    /// Standard deviation of ln C from crack to crack.
    pub crack_sigma_log: f64,
    /// Standard deviation of ln C from row to row.
    pub row_sigma_log: f64,
    /// Refinements of the law.
    pub refinements: Refinements,
    /// Source of the numbers.
    pub basis: Option<String>,
}

impl GrowthLaw {
    /// The law's rates per start and per hour, with a vibration where there is one.
    ///
    /// # Errors
    /// Refuses a law whose parts do not fit together: a first stage that is not the steeper, or numbers
    /// out of range.
    pub fn rate_law(&self, vibration: Option<Vibration>) -> Result<RateLaw> {
        let Refinements { low_stage, threshold, walker_exponent, stress_corrosion } = &self.refinements;
        let line = ParisLine::new(self.coefficient_m_per_start, self.exponent)?;
        let lines = match low_stage {
            Some(low) => GrowthLines::TwoStage(TwoStage::new(*low, line)?),
            None => GrowthLines::Paris(line),
        };
        Ok(RateLaw {
            per_start: StartRate::new(lines, threshold.clone(), *walker_exponent)?,
            stress_corrosion: stress_corrosion.map(|corrosion| corrosion.law()).transpose()?,
            vibration,
        })
    }
}
