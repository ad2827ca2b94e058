//! Inputs that are not known: one value for the whole fleet, whatever scatters from row to row.

use super::StudyParts;
use super::initiation::InitiationShape;

/// Inputs that are all multiplied by one factor, which nobody knows.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertain {
    /// Name.
    pub id: String,
    /// Which inputs.
    pub factor_on: Vec<UncertainInput>,
    /// Standard deviation of the logarithm of the factor, whose median is 1.
    pub sigma_log: f64,
    /// Source of the number.
    pub basis: Option<String>,
}

/// An input that may be uncertain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UncertainInput {
    /// Scale of a Weibull law of initiation, or mean of an exponential one, by its number.
    InitiationScale(usize),
    /// Rate of growth by a law, by its number.
    GrowthCoefficient(usize),
    /// Size that a technique finds with half its probability, by its number.
    Q50(usize),
}

impl UncertainInput {
    /// Its key in a study file.
    pub fn key(self, study: &StudyParts) -> String {
        match self {
            UncertainInput::InitiationScale(law) => {
                let InitiationShape::Exponential { .. } = study.initiation[law].shape else {
                    return format!("initiation.{}.scale", study.initiation[law].id);
                };
                format!("initiation.{}.mean", study.initiation[law].id)
            }
            UncertainInput::GrowthCoefficient(law) => {
                format!("growth.{}.coefficient_m_per_start", study.growth[law].id)
            }
            UncertainInput::Q50(technique) => format!("techniques.{}.pod.q50_mm", study.techniques[technique].id),
        }
    }
}
