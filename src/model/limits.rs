//! Limits on the chance of a loss, which no saving buys off.

use crate::bounds;
use crate::error::Result;

/// Chances of any loss in a study year that are not to be passed; at least one of them.
#[derive(Debug, Clone, PartialEq)]
pub struct LossLimits {
    /// Of any blade of a row.
    pub row: Option<f64>,
    /// Of any blade of a unit.
    pub unit: Option<f64>,
    /// Of any blade of the fleet.
    pub fleet: Option<f64>,
    /// Who set them.
    pub basis: Option<String>,
}

impl LossLimits {
    /// Whether there is any.
    pub fn is_any(&self) -> bool {
        self.row.or(self.unit).or(self.fleet).is_some()
    }

    /// Refuses what is no chance.
    pub(crate) fn check(&self) -> Result<()> {
        for (name, limit) in [("row", self.row), ("unit", self.unit), ("fleet", self.fleet)] {
            limit.map_or(Ok(()), |limit| bounds::LIMIT_PROBABILITY.check(&format!("{name}_limit"), limit))?;
        }
        Ok(())
    }
}
