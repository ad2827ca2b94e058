//! Stress intensity of cracks in a root's section, and when they break it.
//!
//! - [`SurfaceCrackGeometry`], [`CornerCrackGeometry`], [`EdgeCrack`], [`ThroughCrack`]: one published
//!   solution each, evaluated as it stands.
//! - [`WeightFunction`]: the stress intensity under any [`StressProfile`] through the section, for
//!   steep gradients at a fillet and for residual stress.
//! - [`CrackedSection`]: which solution holds for a crack of given depth and length, and how one
//!   hands over to the next.
//! - [`AssessmentDiagram`] with [`reference_stress_mpa`] and [`plasticity_interaction`]: whether a
//!   crack of given stress intensity and load breaks the section.

mod assessment;
mod corner;
mod edge;
mod reference_stress;
mod section;
mod stress_profile;
mod surface;
mod weight_function;

pub use assessment::{AssessmentDiagram, plasticity_interaction};
pub use corner::CornerCrackGeometry;
pub use edge::{EdgeCrack, ThroughCrack};
pub use reference_stress::{Restraint, reference_stress_mpa};
pub(in crate::model) use section::hand_over;
pub use section::{CrackPlace, CrackedSection, Intensities, StressField};
pub use stress_profile::StressProfile;
pub use surface::{ShapeFactors, SurfaceCrackGeometry};
pub(in crate::model) use weight_function::Moments;
pub use weight_function::WeightFunction;

/// A point of the crack front.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Point {
    /// Where the front is deepest.
    Deepest,
    /// Where the front meets the surface.
    Surface,
}

/// In what a crack lies outside the range for which its solution was published.
///
/// Whoever evaluates a solution there holds the crack at the edge of the range and counts it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Outside {
    /// Too short for its depth: taken as longer, which is on the safe side.
    pub narrow: bool,
    /// Too long for its depth, of a corner crack: taken as shorter, which is on the unsafe side.
    pub flat: bool,
    /// Too deep for its section, which is taken as thicker: on the unsafe side.
    pub depth: bool,
    /// Too long for its section, which is taken as wider: on the unsafe side where the crack lengthens. How it hands
    /// over to an edge crack at the deepest point is in [`CrackedSection`].
    pub length: bool,
}

impl Outside {
    /// Whether it is outside in anything.
    pub fn any(self) -> bool {
        self.narrow || self.flat || self.depth || self.length
    }

    /// Outside in what either is.
    pub(in crate::model) fn or(self, other: Self) -> Self {
        Outside {
            narrow: self.narrow || other.narrow,
            flat: self.flat || other.flat,
            depth: self.depth || other.depth,
            length: self.length || other.length,
        }
    }
}
