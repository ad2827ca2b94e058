//! Stress intensity under any stress through the section, by weight functions.
//!
//! `K` is the integral of the stress, as it is without the crack, times a weight `m(x)` over the depth.
//! G. Shen and G. Glinka, "Weight functions for a surface semi-elliptical crack in a finite thickness
//! plate", Theoretical and Applied Fracture Mechanics 15 (1991), give it the form
//!
//! - deepest point, and edge crack: `2/sqrt(2 pi (a-x)) (1 + M1 r**0.5 + M2 r + M3 r**1.5)`, r = 1 - x/a;
//! - surface point: `2/sqrt(pi x) (1 + M1 s**0.5 + M2 s + M3 s**1.5)`, s = x/a.
//!
//! Two of the factors follow from two known solutions, here tension and bending by Newman and Raju
//! (and by Kaya and Erdogan for the edge crack); the third from a condition: the second derivative
//! vanishes at the mouth (M2 = 3), and the weight of the surface point vanishes at the deepest point
//! (M1 + M2 + M3 = -1). Forms and conditions are from memory; they lead to the published factors,
//! `M1 = pi (4 Y0 - 6 Y1) / sqrt(2 Q) - 24/5` and so on, also from memory.
//!
//! A stress that is straight between points is a sum of ramps, each integrated in closed form, the singular
//! end included.
//!
//! What it is worth: uniform and linear stress are met exactly. Steeper ones come out low at the deepest point,
//! which is on the unsafe side: against the half plane (computed by its singular integral equation), for a stress
//! `exp(-x/d)` over a depth a,
//!
//! | d/a | 1 | 0.5 | 0.3 | 0.2 | 0.1 | 0.05 |
//! |---|---|---|---|---|---|---|
//! | edge crack | -0.2 % | -0.7 % | -1.7 % | -3.1 % | -5.7 % | -7.5 % |
//! | long shallow surface crack | +0.4 % | -0.2 % | -1.5 % | -3.0 % | -6.0 % | -7.9 % |
//!
//! For surface cracks of other shape and for edge cracks in plates of finite width no independent values for such
//! stresses were at hand.

use super::{EdgeCrack, Point, StressProfile, SurfaceCrackGeometry};
use std::f64::consts::PI;

/// The weight function of one point of one crack.
///
/// # Example
/// ```
/// use serrata::model::fracture::{Point, StressProfile, SurfaceCrackGeometry, WeightFunction};
/// let crack = SurfaceCrackGeometry::new(3.0, 7.5, 15.0, 50.0)?;
/// let weight = WeightFunction::surface_crack(&crack, Point::Deepest);
/// let linear = StressProfile::linear(200.0, 50.0, 15.0)?;
/// assert!((weight.stress_intensity_mpa_sqrt_m(&linear) - 22.74631).abs() < 1e-5);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeightFunction {
    depth_mm: f64,
    point: Point,
    /// M1, M2, M3.
    factors: [f64; 3],
}

impl WeightFunction {
    /// Of a point of a semi-elliptical surface crack, from tension and bending by Newman and Raju.
    pub fn surface_crack(crack: &SurfaceCrackGeometry, point: Point) -> Self {
        let angle_rad = match point {
            Point::Deepest => 0.5 * PI,
            Point::Surface => 0.0,
        };
        let shape = crack.shape_factors(angle_rad);
        let tension = shape.tension / shape.ellipse.sqrt();
        Self::from_references(crack.depth_mm, point, tension, crack.gradient_over_tension(point))
    }

    /// Of an edge crack, from tension and bending by Kaya and Erdogan.
    pub fn edge_crack(crack: &EdgeCrack) -> Self {
        Self::from_references(crack.depth_mm, Point::Deepest, crack.tension_factor(), crack.gradient_over_tension())
    }

    /// The factors that give two known solutions: `K / (S sqrt(pi a))` under uniform stress, and the
    /// stress intensity under a stress that rises as x/a over that.
    #[inline]
    pub(in crate::model) fn from_references(
        depth_mm: f64,
        point: Point,
        tension: f64,
        gradient_over_tension: f64,
    ) -> Self {
        let factors = match point {
            Point::Deepest => {
                let uniform = PI / 2_f64.sqrt() * tension;
                let rising = uniform * gradient_over_tension;
                let m3 = 6.0 * uniform - 12.0 * rising + 1.6;
                [uniform - 4.0 - 0.5 * m3, 3.0, m3]
            }
            Point::Surface => {
                let uniform = 0.5 * PI * tension;
                let falling = uniform * (1.0 - gradient_over_tension);
                let m1 = 30.0 * falling - 18.0 * uniform - 8.0;
                let m2 = 60.0 * uniform - 90.0 * falling + 15.0;
                [m1, m2, -1.0 - m1 - m2]
            }
        };
        WeightFunction { depth_mm, point, factors }
    }

    /// The weight at a depth, in 1/sqrt(m): the stress intensity in MPa sqrt(m) of a stress of 1 MPa
    /// over 1 m of depth there. Infinite at the point itself, zero beyond the crack.
    pub fn at(&self, depth_mm: f64) -> f64 {
        if !(0.0..=self.depth_mm).contains(&depth_mm) {
            return 0.0;
        }
        let [m1, m2, m3] = self.factors;
        let u = match self.point {
            Point::Deepest => 1.0 - depth_mm / self.depth_mm,
            Point::Surface => depth_mm / self.depth_mm,
        };
        let root = u.sqrt();
        self.scale() / (1e-3 * self.depth_mm) * (1.0 / root + m1 + root * (m2 + root * m3))
    }

    /// Stress intensity in MPa sqrt(m); negative where the stress presses the point shut.
    pub fn stress_intensity_mpa_sqrt_m(&self, stress: &StressProfile) -> f64 {
        self.intensity_of(&Moments::of(stress.surface_mpa(), stress.ramps(), self.depth_mm, self.point))
    }

    /// The same from the moments of the stress.
    #[inline]
    pub(in crate::model) fn intensity_of(&self, moments: &Moments) -> f64 {
        let [m0, m1, m2, m3] = moments.0;
        let [f1, f2, f3] = self.factors;
        self.scale() * (m0 + f1 * m1 + f2 * m2 + f3 * m3)
    }

    /// sqrt(2 a / pi), or sqrt(4 a / pi), with a in m.
    fn scale(&self) -> f64 {
        let times = match self.point {
            Point::Deepest => 2.0,
            Point::Surface => 4.0,
        };
        (times * 1e-3 * self.depth_mm / PI).sqrt()
    }
}

/// All that a weight function needs to know of a stress down to a depth: the integrals of the stress
/// times u**-0.5, 1, u**0.5 and u over u from 0 to 1, with u = 1 - x/a for the deepest point and
/// u = x/a for the surface point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::model) struct Moments([f64; 4]);

impl Moments {
    /// Of a stress with a value at the surface and ramps: from each one's depth in mm on it changes by a
    /// slope in MPa per mm.
    #[inline]
    pub(in crate::model) fn of(
        surface_mpa: f64,
        ramps: impl IntoIterator<Item = [f64; 2]>,
        depth_mm: f64,
        point: Point,
    ) -> Self {
        // With p = 1/2, 1, 3/2, 2 one power above those of the weight.
        let mut sums = [2.0 * surface_mpa, surface_mpa, 2.0 / 3.0 * surface_mpa, 0.5 * surface_mpa];
        let mut add =
            |size: f64, parts: [f64; 4]| sums.iter_mut().zip(parts).for_each(|(sum, part)| *sum += size * part);
        for [from_mm, slope] in ramps {
            if from_mm >= depth_mm {
                break;
            }
            let rise = slope * depth_mm;
            match point {
                // The integral of (v - u) u**(p - 1) up to v: v**(p + 1) / (p (p + 1)).
                Point::Deepest => {
                    let v = 1.0 - from_mm / depth_mm;
                    let root = v.sqrt();
                    add(rise * v, [4.0 / 3.0 * root, 0.5 * v, 4.0 / 15.0 * v * root, v * v / 6.0]);
                }
                // The integral of (u - v) u**(p - 1) from v: (1 - v**(p + 1)) / (p + 1) - v (1 - v**p) / p.
                Point::Surface => {
                    let v = from_mm / depth_mm;
                    let root = v.sqrt();
                    add(
                        rise,
                        [
                            2.0 / 3.0 + v * (4.0 / 3.0 * root - 2.0),
                            0.5 + v * (0.5 * v - 1.0),
                            0.4 + v * (4.0 / 15.0 * v * root - 2.0 / 3.0),
                            1.0 / 3.0 + v * (v * v / 6.0 - 0.5),
                        ],
                    );
                }
            }
        }
        Moments(sums)
    }
}
