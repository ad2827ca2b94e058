//! Limits on the chance of a loss, which no saving buys off.

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
