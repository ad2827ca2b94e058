//! Cracks that one dimension describes: across the whole width, or through the whole thickness.

use std::f64::consts::{FRAC_PI_2, PI};

/// F (1 - u)**1.5 of an edge crack under tension, at u = a/W = 0, 0.1, ... 1.
///
/// A. C. Kaya and F. Erdogan, "On the solution of integral equations with strongly singular
/// kernels", Quarterly of Applied Mathematics 45 (1987): F = 1.1892, 1.3673, 1.6599, 2.1114, 2.8246,
/// 4.0332, 6.3549, 11.955, 34.633 for u = 0.1 to 0.9, from memory; at u = 0 the half plane, computed
/// (1.12152); at u = 1 the deep crack, which has the same constant, from memory.
const TENSION: [f64; 11] = [
    1.121_522, 1.015_357, 0.978_360, 0.972_140, 0.981_290, 0.998_647, 1.020_328, 1.044_217, 1.069_288, 1.095_192,
    1.121_522,
];
/// The stress intensity under a stress that rises as x/a over that under a uniform one, likewise.
///
/// From the same tables, where bending has F = 1.0472, 1.0553, 1.1241, 1.2606, 1.4972, 1.9140, 2.7252,
/// 4.6764, 12.462: bending is tension less 2u of this. At u = 0 the half plane, computed
/// (0.682863 / 1.121522); at u = 1 bending is a third of tension, from memory.
const GRADIENT: [f64; 11] = [
    0.608_871, 0.597_040, 0.570_467, 0.537_984, 0.503_694, 0.469_943, 0.437_866, 0.407_975, 0.380_521, 0.355_650,
    0.333_333,
];

/// A crack of even depth along one edge of a plate: a surface crack that spans its section.
///
/// The plate is free to bend, as a long plate pulled at its ends.
///
/// # Example
/// ```
/// use serrata::model::fracture::EdgeCrack;
/// let shallow = EdgeCrack { depth_mm: 0.1, thickness_mm: 1000.0 };
/// assert!((shallow.tension_factor() - 1.1215).abs() < 1e-3);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeCrack {
    /// Depth a, in mm.
    pub depth_mm: f64,
    /// Thickness of the plate in the direction of depth, W, in mm.
    pub thickness_mm: f64,
}

impl EdgeCrack {
    /// F in `K = S F sqrt(pi a)` under a uniform stress; infinite when the crack is through.
    ///
    /// Interpolated in a table of Kaya and Erdogan (1987), see the source; within 0.1 % between its rows.
    pub fn tension_factor(&self) -> f64 {
        let left = 1.0 - self.depth_fraction();
        interpolate(&TENSION, 1.0 - left) / (left * left.sqrt())
    }

    /// The same for the surface value of a stress that falls linearly to its negative on the far side.
    pub fn bending_factor(&self) -> f64 {
        self.tension_factor() * (1.0 - 2.0 * self.depth_fraction() * self.gradient_over_tension())
    }

    /// Stress intensity in MPa sqrt(m), under a uniform stress and one that falls linearly.
    pub fn stress_intensity_mpa_sqrt_m(&self, membrane_mpa: f64, bending_mpa: f64) -> f64 {
        let stress_mpa = self.tension_factor() * membrane_mpa + self.bending_factor() * bending_mpa;
        stress_mpa * (PI * 1e-3 * self.depth_mm).sqrt()
    }

    /// Stress intensity under a stress that rises as x/a from the surface, over that under a uniform
    /// stress of the value it has at the depth a.
    pub(super) fn gradient_over_tension(&self) -> f64 {
        interpolate(&GRADIENT, self.depth_fraction())
    }

    fn depth_fraction(&self) -> f64 {
        (self.depth_mm / self.thickness_mm).min(1.0)
    }
}

/// A crack that has gone through the thickness, in the middle of a plate of finite width.
///
/// `K = S sqrt(pi c sec(pi c / (2 b)))`, Feddersen's form as in the handbook of Tada, Paris and Irwin,
/// from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThroughCrack {
    /// Half the length, c, in mm.
    pub half_length_mm: f64,
    /// Half the width of the plate, b, in mm.
    pub half_width_mm: f64,
}

impl ThroughCrack {
    /// F in `K = S F sqrt(pi c)`; infinite when the plate is cut through.
    pub fn tension_factor(&self) -> f64 {
        (1.0 / (FRAC_PI_2 * (self.half_length_mm / self.half_width_mm).min(1.0)).cos().max(0.0)).sqrt()
    }

    /// Stress intensity under a uniform stress, in MPa sqrt(m).
    pub fn stress_intensity_mpa_sqrt_m(&self, membrane_mpa: f64) -> f64 {
        membrane_mpa * self.tension_factor() * (PI * 1e-3 * self.half_length_mm).sqrt()
    }
}

/// Value at a place of a table with eleven rows from 0 to 1, by the cubic through the four nearest.
fn interpolate(table: &[f64; 11], place: f64) -> f64 {
    let first = ((place * 10.0 - 1.0).max(0.0) as usize).min(7);
    let u = place * 10.0 - first as f64;
    let [a, b, c, d] = [u, u - 1.0, u - 2.0, u - 3.0];
    -table[first] * b * c * d / 6.0 + table[first + 1] * a * c * d / 2.0 - table[first + 2] * a * b * d / 2.0
        + table[first + 3] * a * b * c / 6.0
}
