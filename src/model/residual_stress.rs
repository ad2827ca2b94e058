//! Residual stress of a peened or otherwise treated surface, and what it does to a crack.
//!
//! A thin layer under compression is balanced by the rest of the section: forces, and moments where
//! the section is free to bend, add up to nothing. Its stress intensity adds to that of the load at
//! each point of a crack front (superposition), by the same [weight function](super::fracture), with
//! the sign it comes out with.

use super::fracture::StressProfile;
use crate::bounds;
use crate::error::{Error, Result};

/// Which faces of a section carry the layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TreatedFaces {
    /// The cracked one alone; the section bows until forces and moments balance.
    One,
    /// Both alike; the core pulls evenly.
    Both,
}

/// Residual stress through a section, in balance with itself.
///
/// # Example
/// ```
/// use serrata::model::residual_stress::{ResidualStress, TreatedFaces};
/// // 600 MPa compression at the surface, none at 0.25 mm, in a section of 15 mm.
/// let peened = ResidualStress::layer(600.0, 0.25, 15.0, TreatedFaces::Both)?;
/// assert_eq!(peened.profile().at(0.0), -600.0);
/// assert!(peened.profile().at(0.25).abs() < 1e-9);
/// assert!(peened.profile().at(7.5) > 0.0);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct ResidualStress {
    profile: StressProfile,
}

/// Force that may be left of a given profile, over the sum of its pulls and pushes.
const LARGEST_IMBALANCE: f64 = 0.02;

impl ResidualStress {
    /// A compressive layer from what is measured of it: the compression at the surface as a size, in
    /// MPa, and the depth at which the stress passes through zero, in mm.
    ///
    /// The stress rises linearly through the layer. What balances it is uniform under
    /// [`TreatedFaces::Both`], and uniform and linear together under [`TreatedFaces::One`], so that
    /// force and moment vanish in closed form.
    ///
    /// # Errors
    /// Refuses numbers out of range, and a depth that leaves no core to balance the layer: a third of
    /// the thickness with one face treated, a quarter with both.
    pub fn layer(compression_mpa: f64, depth_mm: f64, thickness_mm: f64, faces: TreatedFaces) -> Result<Self> {
        bounds::COMPRESSION_MPA.check("compression_mpa", compression_mpa)?;
        bounds::LENGTH_MM.check("depth_mm", depth_mm)?;
        bounds::LENGTH_MM.check("thickness_mm", thickness_mm)?;
        let (most, share) = match faces {
            TreatedFaces::One => (thickness_mm / 3.0, "a third"),
            TreatedFaces::Both => (thickness_mm / 4.0, "a quarter"),
        };
        if depth_mm >= most {
            return Err(Error::argument(
                "depth_mm",
                depth_mm,
                &format!(
                    "must be below {share} of thickness_mm ({thickness_mm}): no core is left to balance the layer"
                ),
                &format!("lower depth_mm below {most}"),
            ));
        }
        // A layer -p (1 - x/l) on the treated face plus what balances it: with u = l/t,
        // one face:   p (2u - u^2) + p (2u^2 - 3u) x/t, surface -p (1 - u)^2, zero at l / (1 + 2u);
        // both faces: p u,                              surface -p (1 - u),   zero at l (1 - u).
        let zero = depth_mm / thickness_mm;
        let points = match faces {
            TreatedFaces::One => {
                let u = zero / (1.0 - 2.0 * zero);
                let p = compression_mpa / ((1.0 - u) * (1.0 - u));
                let balance = |x: f64| p * u * ((2.0 - u) + (2.0 * u - 3.0) * x);
                [[0.0, -compression_mpa], [u, balance(u)], [1.0, balance(1.0)]].to_vec()
            }
            TreatedFaces::Both => {
                let u = 0.5 * (1.0 - (1.0 - 4.0 * zero).sqrt());
                let core = compression_mpa * u / (1.0 - u);
                [[0.0, -compression_mpa], [u, core], [1.0 - u, core], [1.0, -compression_mpa]].to_vec()
            }
        };
        let points = points.into_iter().map(|[x, stress_mpa]| [x * thickness_mm, stress_mpa]).collect();
        Ok(ResidualStress { profile: StressProfile::from_points(points) })
    }

    /// A measured or computed profile through a section.
    ///
    /// # Errors
    /// Refuses a profile that does not end at the far side of the section, and one whose force does not
    /// balance within 2 % of all its pulls and pushes together.
    pub fn from_profile(profile: StressProfile, thickness_mm: f64) -> Result<Self> {
        bounds::LENGTH_MM.check("thickness_mm", thickness_mm)?;
        if (profile.reach_mm() / thickness_mm - 1.0).abs() > 1e-9 {
            return Err(Error::argument(
                "profile",
                format!("down to {} mm", profile.reach_mm()),
                &format!("must end at the far side of the section, {thickness_mm} mm"),
                "give the residual stress through the whole section, so that its balance can be checked",
            ));
        }
        let (force, size) = profile.force_and_size();
        if force.abs() > LARGEST_IMBALANCE * size {
            return Err(Error::argument(
                "profile",
                format!("{force:.1} MPa mm in sum"),
                &format!("must balance within 2 % of its pulls and pushes ({size:.1} MPa mm): nothing else holds it"),
                "add the tension that balances the layer, or move stress from the assembly to the load",
            ));
        }
        Ok(ResidualStress { profile })
    }

    /// Stress against depth.
    pub fn profile(&self) -> &StressProfile {
        &self.profile
    }
}

/// Whether a crack's mouth is held closed: its surface point stays shut even under the load.
///
/// The rule: the stress intensity at the surface point, of load and residual stress together and at the
/// highest load, is zero or below. Such a crack does not grow along the surface, and what needs an open
/// mouth does not see it.
pub fn mouth_is_closed(highest_at_surface_mpa_sqrt_m: f64) -> bool {
    highest_at_surface_mpa_sqrt_m <= 0.0
}
