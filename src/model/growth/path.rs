//! Growth of the cracks of one hot spot by Paris' law in one line, in closed form or from a table.

use super::course::{Course, CrackEnd};
use super::fixed_factor::FixedFactor;
use super::law::GrowthLaw;
use super::section::{Section, Stress};
use super::shape::CrackShape;
use super::surface_crack::SurfaceCrack;
use crate::distribution::Distribution;
use std::sync::Arc;

/// Growth curves of all cracks of one hot spot.
#[derive(Debug, Clone)]
pub enum GrowthPath {
    /// Fixed geometry factor, in closed form.
    FixedFactor(FixedFactor),
    /// Semi-elliptical surface crack, tabulated; clones share the tables.
    SurfaceCrack(Arc<SurfaceCrack>),
}

impl GrowthPath {
    /// Works out the growth curves of a hot spot's cracks under a growth law.
    pub fn new(
        law: &GrowthLaw,
        crack: CrackShape,
        stress: Stress,
        section: Option<Section>,
        initial_depth_mm: &Distribution,
    ) -> Self {
        match crack {
            CrackShape::FixedFactor { geometry_factor, length_over_depth } => {
                GrowthPath::FixedFactor(FixedFactor::new(
                    law,
                    geometry_factor,
                    stress.membrane_mpa + stress.bending_mpa,
                    length_over_depth,
                    section,
                ))
            }
            CrackShape::SemiElliptical | CrackShape::QuarterElliptical => {
                GrowthPath::SurfaceCrack(Arc::new(SurfaceCrack::new(law, stress, section, initial_depth_mm)))
            }
        }
    }

    /// Whether clones share its tables.
    pub(super) fn is_shared(&self) -> bool {
        matches!(self, GrowthPath::SurfaceCrack(tables) if Arc::strong_count(tables) > 1)
    }

    /// Whether cracks that initiate with a depth in mm and an aspect, depth over half length, are on the path;
    /// the course of another is held at the path's edge.
    #[inline]
    pub fn begins(&self, depth_mm: f64, aspect: f64) -> bool {
        match self {
            GrowthPath::FixedFactor(_) => true,
            GrowthPath::SurfaceCrack(path) => path.begins(depth_mm, aspect),
        }
    }

    /// Whether a crack is still where the path holds after an advance from initiation.
    #[inline]
    pub fn covers(&self, course: Course, advance: f64) -> bool {
        match self {
            GrowthPath::FixedFactor(_) => true,
            GrowthPath::SurfaceCrack(path) => path.covers(course, advance),
        }
    }

    /// The course of a crack that initiates with a depth in mm and an aspect, depth over half length.
    #[inline]
    pub fn course(&self, depth_mm: f64, aspect: f64) -> Course {
        match self {
            GrowthPath::FixedFactor(path) => Course { start: path.coordinate(depth_mm), line: 0.0 },
            GrowthPath::SurfaceCrack(path) => path.course(depth_mm, aspect),
        }
    }

    /// Advance per start for the median coefficient and unit stress factor.
    pub fn rate(&self) -> f64 {
        match self {
            GrowthPath::FixedFactor(path) => path.rate.abs(),
            GrowthPath::SurfaceCrack(path) => path.rate(),
        }
    }

    /// Advance from initiation until the crack meets its end; zero when it is there already.
    #[inline]
    pub fn advance_to(&self, course: Course, end: CrackEnd) -> f64 {
        match self {
            GrowthPath::FixedFactor(path) => path.advance_to(course.start, end),
            GrowthPath::SurfaceCrack(path) => path.advance_to(course, end),
        }
    }

    /// Whether the crack is known not to meet its end within an advance; false where this is not known, or as costly as
    /// [`GrowthPath::advance_to`].
    pub fn outlasts(&self, course: Course, end: CrackEnd, advance: f64) -> bool {
        match self {
            GrowthPath::FixedFactor(_) => false,
            GrowthPath::SurfaceCrack(path) => path.outlasts(course, end, advance),
        }
    }

    /// Size after an advance, in the form in which one logarithm gives the depth:
    /// a number y with `ln depth_mm = -ln(y) * depth_power()`, and `ln(length / depth)`.
    #[inline(always)]
    pub fn size_at(&self, course: Course, advance: f64) -> (f64, f64) {
        match self {
            GrowthPath::FixedFactor(path) => (path.y_at(course.start, advance), path.ln_length_over_depth),
            GrowthPath::SurfaceCrack(path) => path.size_at(course, advance),
        }
    }

    /// [`GrowthPath::size_at`] at many moments: `starts` are readings, the crack began at `born`
    /// and advances by `rate` per start.
    #[inline]
    pub fn sizes_at(&self, course: Course, rate: f64, born: f64, starts: &[f64], y: &mut [f64], ln_ratio: &mut [f64]) {
        match self {
            GrowthPath::FixedFactor(path) => path.sizes_at(course.start, rate, born, starts, y, ln_ratio),
            GrowthPath::SurfaceCrack(path) => {
                for ((y, ratio), starts) in y.iter_mut().zip(ln_ratio).zip(starts) {
                    (*y, *ratio) = path.size_at(course, rate * (starts - born));
                }
            }
        }
    }

    /// Whether it is a straight line, on which it costs next to nothing to work out more sizes than needed.
    pub fn is_straight(&self) -> bool {
        matches!(self, GrowthPath::FixedFactor(_))
    }

    /// Power that turns `-ln y` of [`GrowthPath::size_at`] into the logarithm of the depth.
    pub fn depth_power(&self) -> f64 {
        match self {
            GrowthPath::FixedFactor(path) => path.depth_power,
            GrowthPath::SurfaceCrack(path) => path.depth_power(),
        }
    }
}
