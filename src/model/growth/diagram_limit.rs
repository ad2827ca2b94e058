//! The failure assessment diagram as a limit, with a material's scatter of toughness.

use super::loss_rule::LossRule;
use crate::distribution::Distribution;
use crate::error::Result;
use crate::model::fracture::{AssessmentDiagram, Restraint};

/// A loss when the crack's point leaves the failure assessment diagram.
#[derive(Debug, Clone, PartialEq)]
pub struct DiagramLimit {
    /// Which curve.
    pub curve: DiagramCurve,
    /// Yield stress, in MPa.
    pub yield_mpa: f64,
    /// Tensile strength, in MPa.
    pub ultimate_mpa: f64,
    /// Of the section against bending.
    pub restraint: Restraint,
    /// Toughness, which scatters from crack to crack, in MPa sqrt(m).
    pub toughness_mpa_sqrt_m: Distribution,
}

/// Curve of a failure assessment diagram.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DiagramCurve {
    /// Option 1 of BS 7910:2013, for continuous yielding.
    Option1 {
        /// Young's modulus, in MPa.
        modulus_mpa: f64,
    },
    /// Level 2A of BS 7910:2005.
    Level2A,
}

impl DiagramLimit {
    /// The diagram.
    ///
    /// # Errors
    /// Refuses a yield stress above the tensile strength, and numbers out of range.
    pub fn diagram(&self) -> Result<AssessmentDiagram> {
        match self.curve {
            DiagramCurve::Option1 { modulus_mpa } => {
                AssessmentDiagram::option_1(modulus_mpa, self.yield_mpa, self.ultimate_mpa)
            }
            DiagramCurve::Level2A => AssessmentDiagram::level_2a(self.yield_mpa, self.ultimate_mpa),
        }
    }

    /// The rule for a crack with its own toughness.
    ///
    /// # Errors
    /// As [`DiagramLimit::diagram`].
    pub fn rule(&self, toughness_mpa_sqrt_m: f64) -> Result<LossRule> {
        Ok(LossRule::Diagram { diagram: self.diagram()?, toughness_mpa_sqrt_m, restraint: self.restraint })
    }
}
