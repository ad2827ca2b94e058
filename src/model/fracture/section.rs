//! Which solution holds for a crack in a section, and how one hands over to the next.
//!
//! A crack along a serration is a semi-elliptical surface crack while its length is at most half the
//! width of the section, and an edge crack of the same depth once it spans the width. Between the two
//! neither solution holds: the stress intensity at the deepest point goes over from one to the other
//! in proportion to the length, and that at the surface stays that of a crack of half the width. A
//! crack at the end of a serration is a quarter-elliptical corner crack and hands over likewise.
//! Wherever a crack is outside the range of its solution, it is held at the edge of the range and
//! [`Intensities::outside`] says so.

use super::{CornerCrackGeometry, EdgeCrack, Outside, Point, StressProfile, SurfaceCrackGeometry, WeightFunction};
use crate::bounds;
use crate::error::{Error, Result};
use std::f64::consts::PI;

/// Share of the width up to which a crack is one within a wide plate.
const WIDEST: f64 = 0.5;

/// Where along a serration a crack lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrackPlace {
    /// Away from its ends: a surface crack with two ends.
    Along,
    /// At one end: a corner crack.
    AtEnd,
}

/// Stress that acts across the plane of a crack, before there is one.
#[derive(Debug, Clone, PartialEq)]
pub enum StressField {
    /// A uniform part and one that falls linearly to its negative on the far side.
    Linear {
        /// Uniform part, in MPa.
        membrane_mpa: f64,
        /// Value of the other at the cracked surface, in MPa.
        bending_mpa: f64,
    },
    /// Against depth, by a weight function.
    Profile(StressProfile),
}

/// A section with its stress, for cracks of any size in it.
///
/// # Example
/// ```
/// use serrata::model::fracture::{CrackPlace, CrackedSection, StressField};
/// let stress = StressField::Linear { membrane_mpa: 200.0, bending_mpa: 50.0 };
/// let section = CrackedSection::new(15.0, 100.0, CrackPlace::Along, stress)?;
/// let within = section.intensities(3.0, 7.5);
/// assert!((within.deepest_mpa_sqrt_m - 22.746).abs() < 0.001 && !within.outside.any());
/// let spanning = section.intensities(3.0, 50.0); // an edge crack now
/// assert!(spanning.deepest_mpa_sqrt_m > within.deepest_mpa_sqrt_m);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct CrackedSection {
    thickness_mm: f64,
    width_mm: f64,
    place: CrackPlace,
    stress: StressField,
}

/// Stress intensities at both points of a crack front.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intensities {
    /// At the deepest point, in MPa sqrt(m).
    pub deepest_mpa_sqrt_m: f64,
    /// Where the front meets the surface, in MPa sqrt(m); zero once the crack spans the section.
    pub surface_mpa_sqrt_m: f64,
    /// In what the crack was held at the edge of its solution's range.
    pub outside: Outside,
}

impl CrackedSection {
    /// A section of a thickness, in the direction of depth, and a width, in that of length.
    ///
    /// # Errors
    /// Refuses lengths and stresses out of range, a profile that does not reach through the thickness,
    /// and any stress but a uniform one for a corner crack, for which no other solution is at hand.
    pub fn new(thickness_mm: f64, width_mm: f64, place: CrackPlace, stress: StressField) -> Result<Self> {
        bounds::LENGTH_MM.check("thickness_mm", thickness_mm)?;
        bounds::LENGTH_MM.check("width_mm", width_mm)?;
        let corner_needs = |name: &str, value: &str| {
            Err(Error::argument(
                name,
                value,
                "must be uniform for a crack at the end of a serration: its solution knows no other stress",
                "give the stress at the surface as membrane_mpa, which is on the safe side where stress falls with depth",
            ))
        };
        match &stress {
            StressField::Linear { membrane_mpa, bending_mpa } => {
                bounds::STRESS_MPA.check("membrane_mpa", *membrane_mpa)?;
                bounds::STRESS_MPA.check("bending_mpa", *bending_mpa)?;
                if place == CrackPlace::AtEnd && *bending_mpa != 0.0 {
                    return corner_needs("bending_mpa", &bending_mpa.to_string());
                }
            }
            StressField::Profile(_) if place == CrackPlace::AtEnd => return corner_needs("stress", "a profile"),
            StressField::Profile(profile) if profile.reach_mm() < thickness_mm => {
                return Err(Error::argument(
                    "profile",
                    format!("down to {} mm", profile.reach_mm()),
                    &format!("must reach through the section, {thickness_mm} mm"),
                    "add the stress at the far side",
                ));
            }
            StressField::Profile(_) => (),
        }
        Ok(CrackedSection { thickness_mm, width_mm, place, stress })
    }

    /// Thickness, in mm.
    pub fn thickness_mm(&self) -> f64 {
        self.thickness_mm
    }

    /// Width, in mm.
    pub fn width_mm(&self) -> f64 {
        self.width_mm
    }

    /// Where the crack lies.
    pub fn place(&self) -> CrackPlace {
        self.place
    }

    /// The stress.
    pub fn stress(&self) -> &StressField {
        &self.stress
    }

    /// The half length at which a crack spans the section, in mm; for a corner crack the length.
    pub fn spanning_mm(&self) -> f64 {
        match self.place {
            CrackPlace::Along => 0.5 * self.width_mm,
            CrackPlace::AtEnd => self.width_mm,
        }
    }

    /// Share of the section that a crack has cut through.
    pub fn cut_fraction(&self, depth_mm: f64, half_length_mm: f64) -> f64 {
        let along_mm = half_length_mm.min(self.spanning_mm());
        // The area of an ellipse's quarter or half; of a strip once the crack spans the section.
        let shape = if half_length_mm < self.spanning_mm() { 0.25 * PI } else { 1.0 };
        shape * depth_mm * along_mm / (self.thickness_mm * self.spanning_mm())
    }

    /// Stress intensities of a crack by its depth and its half length; the length for a corner crack.
    pub fn intensities(&self, depth_mm: f64, half_length_mm: f64) -> Intensities {
        let spanning_mm = self.spanning_mm();
        let across = hand_over(half_length_mm / spanning_mm);
        let edge = || match &self.stress {
            StressField::Linear { membrane_mpa, bending_mpa } => {
                self.edge_crack(depth_mm).stress_intensity_mpa_sqrt_m(*membrane_mpa, *bending_mpa)
            }
            StressField::Profile(profile) => {
                WeightFunction::edge_crack(&self.edge_crack(depth_mm)).stress_intensity_mpa_sqrt_m(profile)
            }
        };
        if across >= 1.0 {
            return Intensities { deepest_mpa_sqrt_m: edge(), surface_mpa_sqrt_m: 0.0, outside: Outside::default() };
        }
        let within = self.within(depth_mm, half_length_mm);
        if across <= 0.0 {
            return within;
        }
        let deepest = within.deepest_mpa_sqrt_m;
        Intensities { deepest_mpa_sqrt_m: deepest + across * (edge() - deepest), ..within }
    }

    /// As a crack within a plate, held at the edge of its solution's range.
    fn within(&self, depth_mm: f64, half_length_mm: f64) -> Intensities {
        let points = [Point::Deepest, Point::Surface];
        let ([deepest, surface], outside) = match (self.place, &self.stress) {
            (CrackPlace::Along, stress) => {
                let (crack, outside) = self.surface_crack(depth_mm, half_length_mm).held();
                let at = |point| match stress {
                    StressField::Linear { membrane_mpa, bending_mpa } => {
                        crack.stress_intensity_mpa_sqrt_m(*membrane_mpa, *bending_mpa, point)
                    }
                    StressField::Profile(profile) => {
                        WeightFunction::surface_crack(&crack, point).stress_intensity_mpa_sqrt_m(profile)
                    }
                };
                (points.map(at), outside)
            }
            (CrackPlace::AtEnd, StressField::Linear { membrane_mpa, .. }) => {
                let (crack, outside) = self.corner_crack(depth_mm, half_length_mm).held();
                (points.map(|point| crack.stress_intensity_mpa_sqrt_m(*membrane_mpa, point)), outside)
            }
            (CrackPlace::AtEnd, StressField::Profile(_)) => ([f64::NAN; 2], Outside::default()), // refused on making
        };
        Intensities { deepest_mpa_sqrt_m: deepest, surface_mpa_sqrt_m: surface, outside }
    }

    fn surface_crack(&self, depth_mm: f64, half_length_mm: f64) -> SurfaceCrackGeometry {
        SurfaceCrackGeometry {
            depth_mm,
            half_length_mm,
            thickness_mm: self.thickness_mm,
            half_width_mm: 0.5 * self.width_mm,
        }
    }

    fn corner_crack(&self, depth_mm: f64, length_mm: f64) -> CornerCrackGeometry {
        CornerCrackGeometry { depth_mm, length_mm, thickness_mm: self.thickness_mm, width_mm: self.width_mm }
    }

    fn edge_crack(&self, depth_mm: f64) -> EdgeCrack {
        EdgeCrack { depth_mm, thickness_mm: self.thickness_mm }
    }
}

/// How far a crack has gone over to one that spans the section, from its share of the width: 0 as
/// long as it is one within a wide plate, 1 when it spans.
pub(in crate::model) fn hand_over(width_fraction: f64) -> f64 {
    (width_fraction - WIDEST) / (1.0 - WIDEST)
}
