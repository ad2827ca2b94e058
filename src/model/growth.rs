//! How a crack deepens and lengthens with starts.
//!
//! Paris' law, `da/dN = C dK**m` per start, with `dK = Y dS sqrt(pi a)`; `a` in m, `dK` in
//! MPa sqrt(m). The law's coefficient and the blade's stress only set how fast a crack runs along
//! its way, so each crack has a [`Course`] in *advance*, which grows by [`GrowthPath::rate`] per
//! start, and the way itself is worked out once per hot spot.
//!
//! Where more than Paris' law acts, ways are not alike: thresholds, two stages, residual stress, stress
//! corrosion and vibration make a [`RateLaw`], and each crack at a [`Site`] is followed on its own
//! ([`Following`]).

mod cycle;
mod diagram_limit;
mod fixed_factor;
mod follow;
mod intensity_map;
mod loss_rule;
mod paris;
mod rate_law;
mod refinements;
mod site;
mod start_rate;
mod threshold;
mod trajectory;

pub use cycle::Cycle;
pub use diagram_limit::{DiagramCurve, DiagramLimit};
pub use fixed_factor::FixedFactor;
pub use follow::{Following, Seed};
pub use loss_rule::LossRule;
pub use paris::{Environment, GrowthLines, MPA_SQRT_M_PER_N_MM, ParisLine, RatioClass, ScatterLine, TwoStage, bs7910};
pub use rate_law::{PointLoad, RateLaw, Rates};
pub use refinements::{CorrosionLaw, PlateauRate, Refinements};
pub use site::{LoadFactors, Site};
pub use start_rate::StartRate;
pub use threshold::{BeyondPoints, ConstantThreshold, Threshold, ThresholdTable};
pub use trajectory::{LossCause, Notes, Outcome, Trajectory};

use super::fleet::HotSpot;
use super::surface_crack::SurfaceCrack;
use crate::distribution::Distribution;
use std::sync::Arc;

/// A crack is through its section at this depth over the thickness.
pub(super) const THROUGH_FRACTION: f64 = 0.95;

/// A growth law, shared by hot spots of one material and environment.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthLaw {
    /// Name.
    pub id: String,
    /// Median of C, in m per start with the stress intensity in MPa sqrt(m).
    pub coefficient_m_per_start: f64,
    /// Exponent m.
    pub exponent: f64,
    /// Standard deviation of ln C from crack to crack.
    pub crack_sigma_log: f64,
    /// Standard deviation of ln C from row to row.
    pub row_sigma_log: f64,
    /// What the law has beyond that.
    pub refinements: Refinements,
    /// Where the numbers come from.
    pub basis: Option<String>,
}

/// Stress range of a start at a hot spot, uncracked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stress {
    /// Uniform part, in MPa.
    pub membrane_mpa: f64,
    /// Outer-fibre value of the part that falls linearly with depth, in MPa.
    pub bending_mpa: f64,
}

/// How the crack's shape goes with its depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CrackShape {
    /// A fixed geometry factor Y and a fixed ratio of surface length to depth.
    FixedFactor {
        /// Y in `K = Y S sqrt(pi a)`.
        geometry_factor: f64,
        /// Surface length over depth.
        length_over_depth: f64,
    },
    /// A semi-elliptical surface crack that grows in depth and in length, by Newman and Raju (1981).
    SemiElliptical,
    /// A quarter-elliptical crack at a serration's end, by Newman and Raju.
    QuarterElliptical,
}

impl CrackShape {
    /// How often the half length of a crack goes into its surface length: once for a corner crack, which has its length in
    /// its place.
    pub fn halves(&self) -> f64 {
        match self {
            CrackShape::QuarterElliptical => 1.0,
            CrackShape::FixedFactor { .. } | CrackShape::SemiElliptical => 2.0,
        }
    }
}

/// When a crack ends in the loss of its blade.
#[derive(Debug, Clone, PartialEq)]
pub enum Limit {
    /// At a depth.
    Depth {
        /// In mm.
        depth_mm: f64,
    },
    /// When the stress intensity of a start reaches the toughness, which scatters from crack to crack.
    Toughness {
        /// In MPa sqrt(m).
        toughness_mpa_sqrt_m: Distribution,
    },
    /// When the crack has cut through a fraction of the section's area.
    SectionFraction {
        /// Between 0 and 1.
        fraction: f64,
    },
    /// When the crack's point leaves the failure assessment diagram.
    Diagram(DiagramLimit),
}

/// The end of one crack, with its own toughness and its blade's stress.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CrackEnd {
    /// At a depth in mm.
    Depth(f64),
    /// At a stress intensity for unit stress factor, in MPa sqrt(m).
    Intensity(f64),
    /// At a fraction of the section.
    SectionFraction(f64),
}

/// The way of one crack: where it enters and on which line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Coordinate at initiation; the meaning is the path's own.
    pub start: f64,
    /// Which of the path's lines the crack follows; 0 for a path with one line.
    pub line: f64,
}

/// The ways of all cracks of one hot spot.
#[derive(Debug, Clone)]
pub enum GrowthPath {
    /// Fixed geometry factor, in closed form.
    FixedFactor(FixedFactor),
    /// Semi-elliptical surface crack, tabulated; clones share the tables.
    SurfaceCrack(Arc<SurfaceCrack>),
}

impl GrowthPath {
    /// Works out the ways of a hot spot's cracks under a growth law.
    pub fn new(law: &GrowthLaw, spot: &HotSpot) -> Self {
        match spot.crack {
            CrackShape::FixedFactor { geometry_factor, length_over_depth } => {
                GrowthPath::FixedFactor(FixedFactor::new(
                    law,
                    geometry_factor,
                    spot.stress.membrane_mpa + spot.stress.bending_mpa,
                    length_over_depth,
                    spot.section,
                ))
            }
            CrackShape::SemiElliptical | CrackShape::QuarterElliptical => {
                GrowthPath::SurfaceCrack(Arc::new(SurfaceCrack::new(law, spot)))
            }
        }
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

    /// Whether the crack is known not to meet its end within an advance. Where this is not known, or costs as much as
    /// [`GrowthPath::advance_to`], it is not said.
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
