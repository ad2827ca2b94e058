//! The loads of a [`Site`], worked out quickly.
//!
//! What start, residual stress and vibration have in common is evaluated once: the solutions for tension and
//! bending at both points, of which their weight functions are made.

use super::rate_law::PointLoad;
use super::site::{LoadFactors, Site};
use crate::math::{exp, ln};
use crate::model::fracture::{
    CornerCrackGeometry, CrackPlace, EdgeCrack, Moments, Outside, Point, StressField, StressProfile,
    SurfaceCrackGeometry, WeightFunction, hand_over,
};
use std::f64::consts::PI;

/// More than rounding makes of a logarithm, less than matters.
const ROUNDING: f64 = 1e-10;

/// A [`Site`] made ready for many cracks.
#[derive(Debug, Clone)]
pub(super) struct IntensityMap {
    thickness_mm: f64,
    width_mm: f64,
    spanning_mm: f64,
    ln_spanning: f64,
    place: CrackPlace,
    load_ratio: f64,
    start: Field,
    residual: Option<Ramps>,
    /// Membrane and bending range, in MPa.
    vibration: [f64; 2],
    /// Whether any stress enters by a weight function.
    weighs: bool,
}

/// A [`StressField`] made ready.
#[derive(Debug, Clone)]
enum Field {
    /// Membrane and bending, in MPa.
    Linear([f64; 2]),
    Profile(Ramps),
}

/// Source of the loads at both points of a crack.
#[derive(Debug, Clone, Copy)]
pub(super) struct MappedLoads {
    pub(super) depth_mm: f64,
    pub(super) half_length_mm: f64,
    /// At the deepest point and at the surface.
    pub(super) points: [PointLoad; 2],
    /// Highest stress intensity at either point under full load alone.
    pub(super) applied: f64,
    /// Stress intensity under residual stress at that point.
    pub(super) residual: f64,
    pub(super) outside: Outside,
}

/// The solutions at one point that everything else is made of.
struct References {
    point: Point,
    /// `K / S` under uniform stress, in sqrt(m).
    tension: f64,
    bending_over_tension: f64,
    weight: Option<WeightFunction>,
}

impl IntensityMap {
    /// Makes a site ready.
    pub(super) fn new(site: &Site) -> Self {
        let field = |stress: &StressField| match stress {
            StressField::Linear { membrane_mpa, bending_mpa } => Field::Linear([*membrane_mpa, *bending_mpa]),
            StressField::Profile(profile) => Field::Profile(Ramps::new(profile)),
        };
        let start = field(site.start().stress());
        let residual = site.residual().and_then(|section| match field(section.stress()) {
            Field::Profile(ramps) => Some(ramps),
            Field::Linear(_) => None,
        });
        let vibration = site.vibration().map_or([0.0; 2], |section| match section.stress() {
            StressField::Linear { membrane_mpa, bending_mpa } => [*membrane_mpa, *bending_mpa],
            StressField::Profile(_) => [0.0; 2],
        });
        IntensityMap {
            thickness_mm: site.start().thickness_mm(),
            width_mm: site.start().width_mm(),
            spanning_mm: site.start().spanning_mm(),
            ln_spanning: ln(site.start().spanning_mm()),
            place: site.start().place(),
            load_ratio: site.load_ratio(),
            weighs: residual.is_some() || matches!(start, Field::Profile(_)),
            start,
            residual,
            vibration,
        }
    }

    pub(super) fn thickness_mm(&self) -> f64 {
        self.thickness_mm
    }

    pub(super) fn ln_spanning(&self) -> f64 {
        self.ln_spanning
    }

    /// Loads of a crack, as [`Site::loads`] gives them.
    #[inline]
    pub(super) fn loads(&self, ln_depth: f64, ln_half_length: f64, factors: LoadFactors) -> MappedLoads {
        let depth_mm = exp(ln_depth);
        // A crack that spans its section does so after rounding of its length too.
        let spans = ln_half_length > self.ln_spanning - ROUNDING;
        let half_length_mm = if spans { self.spanning_mm } else { exp(ln_half_length) };
        let across = hand_over(half_length_mm / self.spanning_mm);
        let ([mut deepest, mut surface], mut outside) = ([[0.0; 3]; 2], Outside::default());
        if across < 1.0 {
            let references;
            (references, outside) = self.within(depth_mm, half_length_mm);
            [deepest, surface] = references.map(|references| self.intensities(depth_mm, &references));
        }
        if across > 0.0 {
            let edge = self.intensities(depth_mm, &self.spanning(depth_mm));
            let share = across.min(1.0);
            for (within, edge) in deepest.iter_mut().zip(edge) {
                *within += share * (edge - *within);
            }
        }
        let load = |[start, residual, vibration]: [f64; 3]| {
            PointLoad::new(factors.stress * start, self.load_ratio, residual, factors.vibration * vibration)
        };
        let total = |[start, residual, _]: [f64; 3]| factors.stress * start + residual;
        let highest = if total(surface) > total(deepest) { surface } else { deepest };
        MappedLoads {
            depth_mm,
            half_length_mm,
            points: [load(deepest), load(surface)],
            applied: factors.stress * highest[0],
            residual: highest[1],
            outside,
        }
    }

    /// Stress intensities under full load, residual stress and the range of vibration.
    #[inline]
    fn intensities(&self, depth_mm: f64, references: &References) -> [f64; 3] {
        let linear =
            |[membrane, bending]: [f64; 2]| references.tension * (membrane + references.bending_over_tension * bending);
        let weighed = |ramps: &Ramps| {
            let weight = references.weight.as_ref();
            weight.map_or(f64::NAN, |weight| weight.intensity_of(&ramps.moments(depth_mm, references.point)))
        };
        let start = match &self.start {
            Field::Linear(stress) => linear(*stress),
            Field::Profile(ramps) => weighed(ramps),
        };
        [start, self.residual.as_ref().map_or(0.0, weighed), linear(self.vibration)]
    }

    /// As a crack within a plate, held at the edge of its solution's range.
    #[inline]
    fn within(&self, depth_mm: f64, half_length_mm: f64) -> ([References; 2], Outside) {
        const POINTS: [Point; 2] = [Point::Deepest, Point::Surface];
        match self.place {
            CrackPlace::Along => {
                let crack = SurfaceCrackGeometry {
                    depth_mm,
                    half_length_mm,
                    thickness_mm: self.thickness_mm,
                    half_width_mm: self.spanning_mm,
                };
                let (crack, outside) = crack.held();
                let [deepest, surface] = crack.end_factors();
                let depth_fraction = crack.depth_mm / crack.thickness_mm;
                let references = |point: Point| {
                    let shape = if point == Point::Deepest { deepest } else { surface };
                    let tension = shape.tension / shape.ellipse.sqrt();
                    let weight = self.weighs.then(|| {
                        let gradient = (1.0 - shape.bending_over_tension) / (2.0 * depth_fraction);
                        WeightFunction::from_references(depth_mm, point, tension, gradient)
                    });
                    References {
                        point,
                        tension: tension * (PI * 1e-3 * depth_mm).sqrt(),
                        bending_over_tension: shape.bending_over_tension,
                        weight,
                    }
                };
                (POINTS.map(references), outside)
            }
            CrackPlace::AtEnd => {
                let crack = CornerCrackGeometry {
                    depth_mm,
                    length_mm: half_length_mm,
                    thickness_mm: self.thickness_mm,
                    width_mm: self.width_mm,
                };
                let (crack, outside) = crack.held();
                let references = |point: Point| References {
                    point,
                    tension: crack.stress_intensity_mpa_sqrt_m(1.0, point),
                    bending_over_tension: 0.0, // a site refuses bending there
                    weight: None,
                };
                (POINTS.map(references), outside)
            }
        }
    }

    /// As an edge crack.
    #[inline]
    fn spanning(&self, depth_mm: f64) -> References {
        let crack = EdgeCrack { depth_mm, thickness_mm: self.thickness_mm };
        let tension = crack.tension_factor();
        References {
            point: Point::Deepest,
            tension: tension * (PI * 1e-3 * depth_mm).sqrt(),
            bending_over_tension: crack.bending_factor() / tension,
            weight: self.weighs.then(|| WeightFunction::edge_crack(&crack)),
        }
    }
}

/// A stress profile as a value at the surface and ramps.
#[derive(Debug, Clone)]
struct Ramps {
    surface_mpa: f64,
    ramps: Vec<[f64; 2]>,
}

impl Ramps {
    fn new(profile: &StressProfile) -> Self {
        Ramps { surface_mpa: profile.surface_mpa(), ramps: profile.ramps().collect() }
    }

    #[inline]
    fn moments(&self, depth_mm: f64, point: Point) -> Moments {
        Moments::of(self.surface_mpa, self.ramps.iter().copied(), depth_mm, point)
    }
}
