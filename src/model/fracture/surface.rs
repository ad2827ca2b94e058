//! Stress intensity of a semi-elliptical surface crack in a plate under tension and bending.
//!
//! J. C. Newman and I. S. Raju, "An empirical stress-intensity factor equation for the surface
//! crack", Engineering Fracture Mechanics 15 (1981) 185-192:
//! `K = (S_membrane + H S_bending) F sqrt(pi a / Q)`, with a the depth and 2c the surface length.
//! The coefficients of tension were read in the JCSS Probabilistic Model Code, part 3.12, annex A;
//! those of H are from memory.
//!
//! The authors state it for 0 <= a/c <= 2, a/t < 1 (and a/t < 1.25 (a/c + 0.6) where a/c <= 0.2)
//! and c/b < 0.5, with t the thickness and 2b the width of the plate. [`SurfaceCrackGeometry::held`]
//! says whether a crack is outside of that and brings it back to the edge of the range. The
//! functions that evaluate the equation evaluate it as it stands; the secant of the finite width is
//! finite as long as (c/b) sqrt(a/t) < 1.
//!
//! The two branches, a/c below and above 1, do not join exactly: F jumps by about 0.1 % there.

use super::{Outside, Point};
use crate::bounds;
use crate::error::{Error, Result};
use crate::math::{exp, ln};
use std::f64::consts::{FRAC_PI_2, PI};

/// Largest a/c for which the equation is stated.
const DEEPEST_ASPECT: f64 = 2.0;
/// Largest c/b for which it is stated.
const LONGEST_FRACTION: f64 = 0.5;

/// A semi-elliptical surface crack in a plate.
///
/// # Example
/// ```
/// use serrata::model::fracture::{Point, SurfaceCrackGeometry};
/// let crack = SurfaceCrackGeometry {
///     depth_mm: 3.0,
///     half_length_mm: 7.5,
///     thickness_mm: 15.0,
///     half_width_mm: 50.0,
/// };
/// // 200 MPa membrane stress and 50 MPa bending stress at the cracked surface.
/// let deepest = crack.stress_intensity_mpa_sqrt_m(200.0, 50.0, Point::Deepest);
/// let surface = crack.stress_intensity_mpa_sqrt_m(200.0, 50.0, Point::Surface);
/// assert!((deepest - 22.746).abs() < 0.001);
/// assert!((surface - 16.603).abs() < 0.001);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceCrackGeometry {
    /// Depth a, in mm.
    pub depth_mm: f64,
    /// Half the surface length, c, in mm.
    pub half_length_mm: f64,
    /// Thickness of the plate t, in the direction of depth, in mm.
    pub thickness_mm: f64,
    /// Half the width of the plate, b, in the direction of length, in mm.
    pub half_width_mm: f64,
}

/// The factors of the equation at one point of the front.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShapeFactors {
    /// F: tension, with the width of the plate in it.
    pub tension: f64,
    /// H: bending over tension, for equal stress at the surface.
    pub bending_over_tension: f64,
    /// Q: the square of the complete elliptic integral, as the authors fit it.
    pub ellipse: f64,
}

impl SurfaceCrackGeometry {
    /// A crack within its plate, lengths in mm.
    ///
    /// # Errors
    /// Refuses a length that is not above zero, a depth at or above the thickness, and a half length
    /// above the half width.
    pub fn new(depth_mm: f64, half_length_mm: f64, thickness_mm: f64, half_width_mm: f64) -> Result<Self> {
        for (name, x) in [
            ("depth_mm", depth_mm),
            ("half_length_mm", half_length_mm),
            ("thickness_mm", thickness_mm),
            ("half_width_mm", half_width_mm),
        ] {
            bounds::LENGTH_MM.check(name, x)?;
        }
        if depth_mm >= thickness_mm {
            return Err(Error::argument(
                "depth_mm",
                depth_mm,
                &format!("must be below thickness_mm ({thickness_mm}): a deeper crack has cut through the section"),
                &format!("lower depth_mm below {thickness_mm}, or raise thickness_mm"),
            ));
        }
        if half_length_mm > half_width_mm {
            return Err(Error::argument(
                "half_length_mm",
                half_length_mm,
                &format!("must not exceed half_width_mm ({half_width_mm}): a longer crack spans the section"),
                &format!("lower half_length_mm to {half_width_mm}, or use an edge crack of that depth"),
            ));
        }
        Ok(SurfaceCrackGeometry { depth_mm, half_length_mm, thickness_mm, half_width_mm })
    }

    /// The crack brought to the edge of the range of the equation, and in what it was outside.
    ///
    /// The depth is kept. A crack narrower than a/c = 2 is widened to that, which is on the safe
    /// side; where it is too deep or too long for its plate, the plate is taken as large as the
    /// equation needs, which is not.
    pub fn held(&self) -> (Self, Outside) {
        let mut held = *self;
        let mut outside = Outside::default();
        if self.depth_mm > DEEPEST_ASPECT * self.half_length_mm {
            held.half_length_mm = self.depth_mm / DEEPEST_ASPECT;
            outside.narrow = true;
        }
        let aspect = held.depth_mm / held.half_length_mm;
        let deepest = if aspect <= 0.2 { (1.25 * (aspect + 0.6)).min(1.0) } else { 1.0 };
        if self.depth_mm > deepest * self.thickness_mm {
            held.thickness_mm = self.depth_mm / deepest;
            outside.depth = true;
        }
        if held.half_length_mm > LONGEST_FRACTION * self.half_width_mm {
            held.half_width_mm = held.half_length_mm / LONGEST_FRACTION;
            outside.length = true;
        }
        (held, outside)
    }

    /// Stress intensity in MPa sqrt(m), for a uniform stress and the surface value of a stress
    /// that falls linearly through the thickness to its negative on the far side.
    ///
    /// Negative where the bending stress presses the point shut.
    pub fn stress_intensity_mpa_sqrt_m(&self, membrane_mpa: f64, bending_mpa: f64, point: Point) -> f64 {
        self.intensity_of(f64::NEG_INFINITY, membrane_mpa, bending_mpa, point)
    }

    /// The same with the stress that acts at the point, `S_membrane + H S_bending`, held to a least value.
    pub(in crate::model) fn intensity_of(
        &self,
        least_mpa: f64,
        membrane_mpa: f64,
        bending_mpa: f64,
        point: Point,
    ) -> f64 {
        let factors = match point {
            Point::Deepest => self.factors(1.0, 0.0),
            Point::Surface => self.factors(0.0, 1.0),
        };
        let stress_mpa = (membrane_mpa + factors.bending_over_tension * bending_mpa).max(least_mpa);
        stress_mpa * factors.tension * (PI * 1e-3 * self.depth_mm / factors.ellipse).sqrt()
    }

    /// The factors at a parametric angle of the ellipse: 0 at the surface, pi/2 at the deepest
    /// point, pi at the surface on the other side.
    pub fn shape_factors(&self, angle_rad: f64) -> ShapeFactors {
        let (sin, cos) = angle_rad.sin_cos();
        self.factors(sin.max(0.0), cos)
    }

    /// The factors at the deepest point and at the surface, by functions that are quick and have the
    /// same bits on every machine; to 1e-14 those of [`SurfaceCrackGeometry::shape_factors`].
    ///
    /// The angle of the width correction, (pi/2) (c/b) sqrt(a/t), must not exceed pi/2.
    #[inline]
    pub(in crate::model) fn end_factors(&self) -> [ShapeFactors; 2] {
        let aspect = self.depth_mm / self.half_length_mm;
        let r = if aspect <= 1.0 { aspect } else { 1.0 / aspect };
        let ellipse = 1.0 + 1.464 * exp(1.65 * ln(r));
        let depth_fraction = self.depth_mm / self.thickness_mm;
        let width = (1.0 / cosine(FRAC_PI_2 * self.half_length_mm / self.half_width_mm * depth_fraction.sqrt())).sqrt();
        [self.factors_given(1.0, 0.0, ellipse, width), self.factors_given(0.0, 1.0, ellipse, width)]
    }

    /// Names as in the paper; r is the smaller of a/c and c/a.
    fn factors(&self, sin: f64, cos: f64) -> ShapeFactors {
        let aspect = self.depth_mm / self.half_length_mm;
        let t1 = (self.depth_mm / self.thickness_mm).powi(2).sqrt();
        let r = if aspect <= 1.0 { aspect } else { 1.0 / aspect };
        let ellipse = 1.0 + 1.464 * r.powf(1.65);
        let width = (1.0 / (FRAC_PI_2 * self.half_length_mm / self.half_width_mm * t1.sqrt()).cos()).sqrt();
        self.factors_given(sin, cos, ellipse, width)
    }

    /// The factors with Q and f_w worked out.
    #[inline(always)]
    fn factors_given(&self, sin: f64, cos: f64, ellipse: f64, width: f64) -> ShapeFactors {
        let aspect = self.depth_mm / self.half_length_mm;
        let t2 = (self.depth_mm / self.thickness_mm).powi(2);
        let t1 = t2.sqrt();
        let shallow = aspect <= 1.0;
        let r = if shallow { aspect } else { 1.0 / aspect };
        let r_three_quarters = (r * r.sqrt()).sqrt();
        let r_three_halves = r * r.sqrt();

        let (m1, m2, m3, g1, along, across) = if shallow {
            let m3 = 0.5 - 1.0 / (0.65 + r) + 14.0 * (1.0 - r).powi(24);
            (1.13 - 0.09 * r, -0.54 + 0.89 / (0.2 + r), m3, 0.1 + 0.35 * t2, cos, sin)
        } else {
            let r4 = r.powi(4);
            (r.sqrt() * (1.0 + 0.04 * r), 0.2 * r4, -0.11 * r4, 0.1 + 0.35 * r * t2, sin, cos)
        };
        let g = 1.0 + g1 * (1.0 - sin).powi(2);
        let angle = ((r * along).powi(2) + across * across).sqrt().sqrt();

        let (h1, h2) = if shallow {
            (
                1.0 - 0.34 * t1 - 0.11 * r * t1,
                1.0 + (-1.22 - 0.12 * r) * t1 + (0.55 - 1.05 * r_three_quarters + 0.47 * r_three_halves) * t2,
            )
        } else {
            (
                1.0 + (-0.04 - 0.41 * r) * t1 + (0.55 - 1.93 * r_three_quarters + 1.38 * r_three_halves) * t2,
                1.0 + (-2.11 + 0.77 * r) * t1 + (0.55 - 0.72 * r_three_quarters + 0.14 * r_three_halves) * t2,
            )
        };
        let toward_deepest = if sin == 0.0 || sin == 1.0 { sin } else { sin.powf(0.2 + r + 0.6 * t1) };

        ShapeFactors {
            tension: (m1 + m2 * t2 + m3 * t2 * t2) * g * angle * width,
            bending_over_tension: h1 + (h2 - h1) * toward_deepest,
            ellipse,
        }
    }

    /// Stress intensity under a stress that rises as x/a from the surface, over that under a uniform
    /// stress of the value it has at the depth a.
    ///
    /// Bending is tension less 2a/t of this, so it is (1 - H) / (2a/t). H is 1 plus a quadratic in
    /// a/t, which two plates of other thickness give away; so this stays exact for shallow cracks.
    pub(super) fn gradient_over_tension(&self, point: Point) -> f64 {
        let slope = |depth_fraction: f64| {
            let plate = SurfaceCrackGeometry { thickness_mm: self.depth_mm / depth_fraction, ..*self };
            let factors = match point {
                Point::Deepest => plate.factors(1.0, 0.0),
                Point::Surface => plate.factors(0.0, 1.0),
            };
            (factors.bending_over_tension - 1.0) / depth_fraction
        };
        let (at_half, at_one) = (slope(0.5), slope(1.0));
        let curvature = 2.0 * (at_one - at_half);
        -0.5 * (at_one - curvature + curvature * self.depth_mm / self.thickness_mm)
    }
}

/// Cosine on ±pi/2, by its Taylor polynomial of degree 20; the remainder is below 2e-17.
#[inline(always)]
fn cosine(angle_rad: f64) -> f64 {
    let square = angle_rad * angle_rad;
    let mut sum = 1.0;
    for pair in [380.0, 306.0, 240.0, 182.0, 132.0, 90.0, 56.0, 30.0, 12.0, 2.0] {
        sum = 1.0 - square * (1.0 / pair) * sum;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quick_factors_are_those_of_the_equation() {
        for aspect in [0.02, 0.1, 0.35, 0.999, 1.0, 1.001, 1.4, 2.0] {
            for depth_fraction in [1e-6, 0.1, 0.4, 0.8, 0.95] {
                for length_fraction in [1e-6, 0.2, 0.5, 0.9] {
                    let crack = SurfaceCrackGeometry {
                        depth_mm: 1.0,
                        half_length_mm: 1.0 / aspect,
                        thickness_mm: 1.0 / depth_fraction,
                        half_width_mm: 1.0 / aspect / length_fraction,
                    };
                    for (quick, point) in crack.end_factors().iter().zip([Point::Deepest, Point::Surface]) {
                        let (sin, cos) = if point == Point::Deepest { (1.0, 0.0) } else { (0.0, 1.0) };
                        let exact = crack.factors(sin, cos);
                        let off = |a: f64, b: f64| (a - b).abs() / b.abs();
                        assert!(off(quick.tension, exact.tension) < 1e-13, "{crack:?}");
                        assert!(off(quick.ellipse, exact.ellipse) < 1e-14, "{crack:?}");
                        assert_eq!(quick.bending_over_tension, exact.bending_over_tension, "{crack:?}");
                        let bending = 1.0 - 2.0 * depth_fraction * crack.gradient_over_tension(point);
                        assert!((bending - exact.bending_over_tension).abs() < 1e-13, "{crack:?}");
                    }
                }
            }
        }
    }
}
