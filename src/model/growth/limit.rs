//! When a crack ends in the loss of its blade.

use super::diagram_limit::DiagramLimit;
use crate::distribution::Distribution;

/// When a crack ends in the loss of its blade.
#[derive(Debug, Clone, PartialEq)]
pub enum Limit {
    /// At a depth.
    Depth {
        /// In mm.
        depth_mm: f64,
    },
    /// When the stress intensity of a start reaches the toughness, which scatters from crack to crack.
    Toughness {
        /// In MPa sqrt(m).
        toughness_mpa_sqrt_m: Distribution,
    },
    /// When the crack has cut through a fraction of the section's area.
    SectionFraction {
        /// Between 0 and 1.
        fraction: f64,
    },
    /// When the crack's point leaves the failure assessment diagram.
    Diagram(DiagramLimit),
}

impl Limit {
    /// Toughness in MPa sqrt(m), where the limit has one.
    pub fn toughness(&self) -> Option<&Distribution> {
        match self {
            Limit::Toughness { toughness_mpa_sqrt_m } | Limit::Diagram(DiagramLimit { toughness_mpa_sqrt_m, .. }) => {
                Some(toughness_mpa_sqrt_m)
            }
            Limit::Depth { .. } | Limit::SectionFraction { .. } => None,
        }
    }
}
