//! Reference stress of a surface crack: how close the cracked section is to plastic collapse.
//!
//! BS 7910, annex P, from memory. With a the depth, c the half length, B the thickness and W the width:
//! `alpha = (a/B) / (1 + B/c)` where W >= 2 (c + B), else `(2a/B) (c/W)`, and
//! `s = (Pb + sqrt(Pb**2 + 9 Pm**2 (1 - alpha)**2)) / (3 (1 - alpha)**2)`.

use super::SurfaceCrackGeometry;

/// How far the neighbourhood keeps the cracked section from bending.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Restraint {
    /// As usual in a structure.
    Normal,
    /// Hardly: the section bends freely, and the crack's eccentricity adds `3 Pm alpha` to Pb.
    NegligibleBending,
}

/// Reference stress in MPa, from the membrane and bending stresses of the section without the crack.
///
/// Infinite when the crack takes up the whole section.
///
/// # Example
/// ```
/// use serrata::model::fracture::{Restraint, SurfaceCrackGeometry, reference_stress_mpa};
/// let crack = SurfaceCrackGeometry::new(3.0, 7.5, 15.0, 50.0)?;
/// let stress_mpa = reference_stress_mpa(&crack, 200.0, 50.0, Restraint::Normal);
/// assert!((stress_mpa - 234.27).abs() < 0.01);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn reference_stress_mpa(
    crack: &SurfaceCrackGeometry,
    membrane_mpa: f64,
    bending_mpa: f64,
    restraint: Restraint,
) -> f64 {
    let SurfaceCrackGeometry { depth_mm, half_length_mm, thickness_mm, half_width_mm } = *crack;
    let depth_fraction = depth_mm / thickness_mm;
    let alpha = if half_width_mm >= half_length_mm + thickness_mm {
        depth_fraction / (1.0 + thickness_mm / half_length_mm)
    } else {
        depth_fraction * half_length_mm / half_width_mm
    };
    let bending_mpa = match restraint {
        Restraint::Normal => bending_mpa,
        Restraint::NegligibleBending => bending_mpa + 3.0 * membrane_mpa * alpha,
    };
    let left = (1.0 - alpha).max(0.0);
    (bending_mpa + (bending_mpa.powi(2) + 9.0 * (membrane_mpa * left).powi(2)).sqrt()) / (3.0 * left * left)
}
