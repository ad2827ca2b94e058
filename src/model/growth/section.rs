//! The uncracked section at a hot spot and the stress of a start in it.

/// A crack is through its section at this depth over the thickness.
pub(super) const THROUGH_FRACTION: f64 = 0.95;

/// The section that a crack cuts through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Thickness in the direction of depth, in mm.
    pub thickness_mm: f64,
    /// Width in the direction of surface length, in mm.
    pub width_mm: f64,
}

/// Stress range of a start at a hot spot, uncracked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stress {
    /// Uniform part, in MPa.
    pub membrane_mpa: f64,
    /// Outer-fibre value of the part that falls linearly with depth, in MPa.
    pub bending_mpa: f64,
}
