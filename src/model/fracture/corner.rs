//! Stress intensity of a quarter-elliptical corner crack in a plate under tension.
//!
//! J. C. Newman and I. S. Raju, NASA TM-85793 (1984): `K = S F sqrt(pi a / Q)`, with a the depth along
//! the one face and c the length along the other. The equation is from memory and no printed copy of
//! it could be compared. It is stated for 0.2 <= a/c <= 2, a/t < 1 and c/b < 0.5, with b the whole
//! width of the plate in the direction of c. A bending equation could not be recalled: there is none
//! here.

use super::{Outside, Point};
use std::f64::consts::PI;

const ASPECTS: [f64; 2] = [0.2, 2.0];
const LONGEST_FRACTION: f64 = 0.5;

/// A quarter-elliptical crack at the corner of a plate: at the end of a serration.
///
/// # Example
/// ```
/// use serrata::model::fracture::{CornerCrackGeometry, Point};
/// let crack = CornerCrackGeometry { depth_mm: 2.0, length_mm: 2.0, thickness_mm: 20.0, width_mm: 60.0 };
/// let deepest = crack.stress_intensity_mpa_sqrt_m(300.0, Point::Deepest);
/// assert!((deepest - 17.25).abs() < 0.01);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CornerCrackGeometry {
    /// Depth a, in mm.
    pub depth_mm: f64,
    /// Length along the surface c, from the corner, in mm.
    pub length_mm: f64,
    /// Thickness of the plate t, in the direction of depth, in mm.
    pub thickness_mm: f64,
    /// Width of the plate b, in the direction of length, in mm.
    pub width_mm: f64,
}

impl CornerCrackGeometry {
    /// The crack brought to the edge of the range of the equation, and in what it was outside.
    ///
    /// The depth is kept; the length is brought within the range of a/c, and where the crack is too
    /// deep or too long for its plate, the plate is taken as large as the equation needs.
    pub fn held(&self) -> (Self, Outside) {
        let mut held = *self;
        let mut outside = Outside::default();
        let aspect = self.depth_mm / self.length_mm;
        let within = aspect.clamp(ASPECTS[0], ASPECTS[1]);
        if within != aspect {
            held.length_mm = self.depth_mm / within;
            (outside.narrow, outside.flat) = (aspect > within, aspect < within);
        }
        if self.depth_mm > self.thickness_mm {
            held.thickness_mm = self.depth_mm;
            outside.depth = true;
        }
        if held.length_mm > LONGEST_FRACTION * self.width_mm {
            held.width_mm = held.length_mm / LONGEST_FRACTION;
            outside.length = true;
        }
        (held, outside)
    }

    /// Stress intensity under a uniform stress, in MPa sqrt(m).
    pub fn stress_intensity_mpa_sqrt_m(&self, membrane_mpa: f64, point: Point) -> f64 {
        let factor = match point {
            Point::Deepest => self.factor(1.0, 0.0),
            Point::Surface => self.factor(0.0, 1.0),
        };
        membrane_mpa * factor * (PI * 1e-3 * self.depth_mm / self.ellipse()).sqrt()
    }

    /// F at a parametric angle of the ellipse: 0 on the face along c, pi/2 on the face along a.
    pub fn tension_factor(&self, angle_rad: f64) -> f64 {
        let (sin, cos) = angle_rad.sin_cos();
        self.factor(sin, cos.max(0.0))
    }

    /// Q: the square of the complete elliptic integral, as the authors fit it.
    pub fn ellipse(&self) -> f64 {
        let aspect = self.depth_mm / self.length_mm;
        1.0 + 1.464 * aspect.min(1.0 / aspect).powf(1.65)
    }

    /// Names as in the paper; r is the smaller of a/c and c/a.
    fn factor(&self, sin: f64, cos: f64) -> f64 {
        let aspect = self.depth_mm / self.length_mm;
        let t2 = (self.depth_mm / self.thickness_mm).powi(2);
        let (m1, m2, m3, squares, along, across, r);
        if aspect <= 1.0 {
            r = aspect;
            m1 = 1.08 - 0.03 * r;
            m2 = -0.44 + 1.06 / (0.3 + r);
            m3 = -0.5 + 0.25 * r + 14.8 * (1.0 - r).powi(15);
            (squares, along, across) = (t2, cos, sin);
        } else {
            r = 1.0 / aspect;
            m1 = r.sqrt() * (1.08 - 0.03 * r);
            m2 = 0.375 * r * r;
            m3 = -0.25 * r * r;
            (squares, along, across) = (r * r * t2, sin, cos);
        }
        let g1 = 1.0 + (0.08 + 0.4 * squares) * (1.0 - sin).powi(3);
        let g2 = 1.0 + (0.08 + 0.15 * squares) * (1.0 - cos).powi(3);
        let angle = ((r * along).powi(2) + across * across).sqrt().sqrt();
        let l = self.length_mm / self.width_mm * t2.sqrt().sqrt();
        let width = 1.0 + l * (-0.2 + l * (9.4 + l * (-19.4 + l * 27.1)));
        (m1 + m2 * t2 + m3 * t2 * t2) * g1 * g2 * angle * width
    }
}
