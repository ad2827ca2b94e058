//! Stress against depth through a section.

use crate::bounds;
use crate::error::{Error, Result};

/// A stress that acts across the plane of a crack, against depth below the cracked surface: straight
/// between given points.
///
/// # Example
/// ```
/// use serrata::model::fracture::StressProfile;
/// let fillet = StressProfile::new(vec![[0.0, 900.0], [1.0, 500.0], [4.0, 250.0], [20.0, 200.0]])?;
/// assert_eq!(fillet.at(0.5), 700.0);
/// assert!(StressProfile::new(vec![[0.0, 900.0], [0.0, 500.0]]).is_err());
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct StressProfile {
    /// Depth in mm and stress in MPa.
    points: Vec<[f64; 2]>,
}

impl StressProfile {
    /// From points of depth in mm and stress in MPa (tension positive).
    ///
    /// # Errors
    /// Refuses fewer than two points, a first depth other than zero, depths that do not increase, and
    /// numbers out of range; the message names the point, counted from 1.
    pub fn new(points: Vec<[f64; 2]>) -> Result<Self> {
        let refusal = |point: usize, value: f64, rule: &str, remedy: &str| {
            Err(Error::argument(&format!("points[{point}]"), value, rule, remedy))
        };
        if points.len() < 2 {
            let (count, remedy) = (points.len(), "give the stress at the surface and at the far side at least");
            return Err(Error::argument("points", format!("{count} points"), "must be two or more", remedy));
        }
        for (i, &[depth_mm, stress_mpa]) in points.iter().enumerate() {
            bounds::STRESS_MPA.check(&format!("points[{}].stress_mpa", i + 1), stress_mpa)?;
            if i == 0 {
                if depth_mm != 0.0 {
                    return refusal(1, depth_mm, "must stand at depth 0", "begin with the stress at the surface");
                }
                continue;
            }
            bounds::LENGTH_MM.check(&format!("points[{}].depth_mm", i + 1), depth_mm)?;
            let above_mm = points[i - 1][0];
            if depth_mm <= above_mm {
                return refusal(
                    i + 1,
                    depth_mm,
                    &format!("must be deeper than the point before it ({above_mm} mm)"),
                    "give each depth once, in increasing order",
                );
            }
        }
        Ok(StressProfile { points })
    }

    /// A uniform stress and one that falls linearly to its negative on the far side.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn linear(membrane_mpa: f64, bending_mpa: f64, thickness_mm: f64) -> Result<Self> {
        Self::new(vec![[0.0, membrane_mpa + bending_mpa], [thickness_mm, membrane_mpa - bending_mpa]])
    }

    /// Points that are valid by construction.
    pub(in crate::model) fn from_points(points: Vec<[f64; 2]>) -> Self {
        StressProfile { points }
    }

    /// Points of depth in mm and stress in MPa.
    pub fn points(&self) -> &[[f64; 2]] {
        &self.points
    }

    /// The deepest depth given, in mm.
    pub fn reach_mm(&self) -> f64 {
        self.points[self.points.len() - 1][0]
    }

    /// Stress at a depth, in MPa; below the last point that of the last point.
    pub fn at(&self, depth_mm: f64) -> f64 {
        let piece = self.points.windows(2).find(|piece| depth_mm <= piece[1][0]);
        piece.map_or(self.points[self.points.len() - 1][1], |piece| {
            let [from, to] = [piece[0], piece[1]];
            from[1] + (to[1] - from[1]) * ((depth_mm - from[0]) / (to[0] - from[0])).max(0.0)
        })
    }

    /// The membrane stress and the bending stress at the surface that carry the same force and moment
    /// over a thickness, in MPa; the profile must reach through it.
    pub fn linearised(&self, thickness_mm: f64) -> [f64; 2] {
        let (mut force, mut moment) = (0.0, 0.0);
        for [from_mm, to_mm, from, to] in self.pieces_to(thickness_mm) {
            let width = to_mm - from_mm;
            // By Simpson's rule, which is exact for a straight line times a distance.
            let (middle_mm, middle) = (0.5 * (from_mm + to_mm), 0.5 * (from + to));
            let arm = |depth_mm: f64| 0.5 * thickness_mm - depth_mm;
            force += width * middle;
            moment += width / 6.0 * (from * arm(from_mm) + 4.0 * middle * arm(middle_mm) + to * arm(to_mm));
        }
        [force / thickness_mm, 6.0 * moment / (thickness_mm * thickness_mm)]
    }

    /// Force per width in MPa mm, and the sum of all pulls and pushes as sizes.
    pub(in crate::model) fn force_and_size(&self) -> (f64, f64) {
        self.pieces_to(self.reach_mm()).fold((0.0, 0.0), |(force, size), [from_mm, to_mm, from, to]| {
            let width = to_mm - from_mm;
            let pieces_size = if from * to >= 0.0 {
                0.5 * (from + to).abs()
            } else {
                // Two triangles on either side of the zero.
                0.5 * (from * from + to * to) / (from.abs() + to.abs())
            };
            (force + 0.5 * width * (from + to), size + width * pieces_size)
        })
    }

    /// Stress at the surface, in MPa.
    pub(in crate::model) fn surface_mpa(&self) -> f64 {
        self.points[0][1]
    }

    /// The stress as ramps on top of that at the surface: from each one's depth in mm on it changes by a
    /// slope in MPa per mm. Level below the last point.
    pub(in crate::model) fn ramps(&self) -> impl Iterator<Item = [f64; 2]> {
        let pieces = self.points.windows(2);
        let slopes = pieces.map(|piece| (piece[1][1] - piece[0][1]) / (piece[1][0] - piece[0][0]));
        let mut before = 0.0;
        self.points.iter().zip(slopes.chain([0.0])).map(move |(point, slope)| {
            let change = slope - before;
            before = slope;
            [point[0], change]
        })
    }

    /// The straight pieces down to a depth: depths of both ends in mm, stresses of both in MPa.
    fn pieces_to(&self, depth_mm: f64) -> impl Iterator<Item = [f64; 4]> {
        let last = self.points[self.points.len() - 1];
        let beyond = (depth_mm > last[0]).then_some([last[0], depth_mm, last[1], last[1]]);
        let within = self.points.windows(2).take_while(move |piece| piece[0][0] < depth_mm).map(move |piece| {
            let [from, to] = [piece[0], piece[1]];
            if to[0] <= depth_mm {
                [from[0], to[0], from[1], to[1]]
            } else {
                let cut = from[1] + (to[1] - from[1]) * (depth_mm - from[0]) / (to[0] - from[0]);
                [from[0], depth_mm, from[1], cut]
            }
        });
        within.chain(beyond)
    }
}
