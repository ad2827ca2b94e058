//! Fleet, units, rows, blades, roots and the places in them where cracks start.

use super::fracture::{CrackPlace, CrackedSection, StressField, StressProfile};
use super::growth::{CrackShape, GrowthLaw, Limit, Refinements, Section, Site, Stress};
use super::joining::JoiningRule;
use super::residual_stress::{ResidualStress, TreatedFaces};
use super::vibration::Vibration;
use crate::distribution::Distribution;
use crate::error::{Error, Result};

/// A generating unit: how it is run and when it stops.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// Name.
    pub id: String,
    /// Periods of duty in order of time; the last one goes on.
    pub duty: Vec<super::usage::DutyPeriod>,
    /// Runs above the running speed, if any.
    pub overspeed: Option<super::usage::Overspeed>,
    /// When it stops for inspection.
    pub outages: super::usage::OutageCalendar,
    /// Rows that are worked on at the same time at an outage; each row has a crew of its own where `None`.
    pub crews: Option<u32>,
    /// Source of the numbers.
    pub basis: Option<String>,
}

/// One ring of last-stage blades.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Name.
    pub id: String,
    /// Index of its unit.
    pub unit: usize,
    /// The rotor it sits on; rows of one rotor come out with one lift.
    pub rotor: String,
    /// Number of blades.
    pub blades: u32,
    /// Index of its root design.
    pub root: usize,
    /// Index of the surface condition of its roots.
    pub surface: usize,
    /// Year in which its blades entered service.
    pub in_service_year: f64,
    /// Blades renewed since then.
    pub renewed: Vec<Renewal>,
    /// Looks that were taken before the study starts; blades called then were replaced.
    pub past_looks: Vec<PastLook>,
    /// Source of the numbers.
    pub basis: Option<String>,
}

/// Blades that were renewed before the study starts.
#[derive(Debug, Clone, PartialEq)]
pub struct Renewal {
    /// Year.
    pub year: f64,
    /// Blade numbers, from 1.
    pub blades: Vec<u32>,
}

/// A look at the whole row before the study starts.
#[derive(Debug, Clone, PartialEq)]
pub struct PastLook {
    /// Year.
    pub year: f64,
    /// Index of the technique.
    pub technique: usize,
    /// What it found, where that is known; see [`Study::given`](crate::Study::given).
    pub found: Option<Found>,
}

/// Blades that a look called; new ones took their places.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// How many.
    pub blades: u32,
    /// Measured lengths of these, in mm, each the longest of its blade; at most as many as blades.
    pub measured_lengths_mm: Vec<f64>,
}

/// A root design with its hot spots.
#[derive(Debug, Clone, PartialEq)]
pub struct Root {
    /// Name.
    pub id: String,
    /// Places where cracks start.
    pub hot_spots: Vec<HotSpot>,
    /// Its blades come out in groups of so many neighbours, which are replaced together.
    pub replaced_together: u32,
    /// Chance that a blade is damaged each time the blades of its row come out and go back.
    pub handling_damage_probability: f64,
    /// What a lost blade does to others.
    pub consequences: Consequences,
    /// Source of the numbers.
    pub basis: Option<String>,
}

/// Side of the blade.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Convex.
    Suction,
    /// Concave.
    Pressure,
}

/// What a lost blade does to others, of its row and its rotor: one of these at most.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Consequences {
    /// Chance that its neighbours are damaged.
    pub neighbours_damaged_probability: f64,
    /// Number of them, on both sides in turn.
    pub neighbours: u32,
    /// Chance that its row is wrecked.
    pub row_wrecked_probability: f64,
    /// Chance that its rotor is, with all rows on it.
    pub rotor_wrecked_probability: f64,
}

/// A place in a root where cracks start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Serration, counted from the platform.
    pub serration: u32,
    /// Side of the blade.
    pub side: Side,
    /// Position along the serration, from 1.
    pub position: u32,
}

/// A class of alike places in a root where cracks start: serrations, sides and positions along them.
#[derive(Debug, Clone, PartialEq)]
pub struct HotSpot {
    /// Name.
    pub id: String,
    /// Serrations, counted from the platform.
    pub serrations: Vec<u32>,
    /// Sides.
    pub sides: Vec<Side>,
    /// Positions along each serration.
    pub positions: u32,
    /// Origins at each of these places; each starts at most one crack in a blade's life.
    pub origins: u32,
    /// Spacing of the origins of a place and the rule by which their cracks join; none: they are far apart.
    pub joining: Option<Joining>,
    /// Index of the initiation law.
    pub initiation: usize,
    /// Index of the growth law.
    pub growth: usize,
    /// Stress of a start at full load. Where it is given against depth, what carries the same force and
    /// moment.
    pub stress: Stress,
    /// The same against depth, where it is steeper than a line.
    pub stress_profile: Option<StressProfile>,
    /// Lowest stress of a start over the highest.
    pub load_ratio: f64,
    /// Vibration at full load.
    pub vibration: Option<Vibration>,
    /// Depth and width of the section that cracks cut through, in mm.
    pub section: Option<Section>,
    /// Shape of the crack as a function of its depth.
    pub crack: CrackShape,
    /// Depth at which a crack begins to grow by the growth law, in mm.
    pub initial_depth_mm: Distribution,
    /// Depth over half surface length at that moment; unused where the shape is fixed.
    pub initial_aspect: Distribution,
    /// When the blade is lost.
    pub limit: Limit,
    /// Source of the numbers.
    pub basis: Option<String>,
}

impl HotSpot {
    /// Whether its cracks need to be followed one by one: something beyond Paris' law in one line acts
    /// on them, or they can join.
    pub fn needs_following(&self, law: &GrowthLaw, surface: &Surface) -> bool {
        law.refinements != Refinements::default()
            || surface.is_compressed()
            || self.stress_profile.is_some()
            || self.load_ratio != 0.0
            || self.vibration.is_some()
            || (self.joining.is_some() && self.origins > 1)
            || self.crack == CrackShape::QuarterElliptical
            || matches!(self.limit, Limit::Diagram(_))
    }

    /// Loads on its cracks on a surface.
    ///
    /// # Errors
    /// Refuses what [`Site::new`] refuses, and a hot spot without a section.
    pub fn site(&self, surface: &Surface) -> Result<Site> {
        let Some(Section { thickness_mm, width_mm }) = self.section else {
            return Err(Error::argument(
                "section",
                "none",
                "must be given: cracks that are followed cut through it",
                "add section = { thickness_mm = ..., width_mm = ... }",
            ));
        };
        let place = match self.crack {
            CrackShape::QuarterElliptical => CrackPlace::AtEnd,
            _ => CrackPlace::Along,
        };
        let stress = match &self.stress_profile {
            Some(profile) => StressField::Profile(profile.clone()),
            None => {
                let Stress { membrane_mpa, bending_mpa } = self.stress;
                StressField::Linear { membrane_mpa, bending_mpa }
            }
        };
        let section = CrackedSection::new(thickness_mm, width_mm, place, stress)?;
        let layer = surface.layer.filter(|layer| layer.compression_mpa > 0.0);
        let residual =
            layer.map(|layer| ResidualStress::layer(layer.compression_mpa, layer.depth_mm, thickness_mm, layer.faces));
        Site::new(section, self.load_ratio, residual.transpose()?, self.vibration)
    }

    /// Length along the serration that the origins of one place take, in mm.
    pub fn origins_span_mm(&self, joining: &Joining) -> f64 {
        let gaps = match joining.placement {
            Placement::Even => self.origins - 1,
            Placement::Random => self.origins,
        };
        f64::from(gaps) * joining.spacing_mm
    }

    /// Number of origins of this class in one blade.
    pub fn origins_per_blade(&self) -> u32 {
        self.serrations.len() as u32 * self.sides.len() as u32 * self.positions * self.origins
    }

    /// Place of one of these origins: serration, side and position along it, from 1.
    pub fn place(&self, origin: u32) -> Place {
        let place = origin / self.origins;
        let serration_and_side = (place / self.positions) as usize;
        let (serration, side) = (serration_and_side / self.sides.len(), serration_and_side % self.sides.len());
        Place { serration: self.serrations[serration], side: self.sides[side], position: place % self.positions + 1 }
    }
}

/// Spacing of the origins of one place along the serration, and the rule by which their cracks join.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Joining {
    /// When neighbours join.
    pub rule: JoiningRule,
    /// Distance of neighbouring origins, in mm; their mean distance where they stand at random.
    pub spacing_mm: f64,
    /// Placement.
    pub placement: Placement,
}

/// Placement of origins along a serration.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placement {
    /// At equal distances.
    Even,
    /// Each anywhere on the stretch that equal distances would take.
    Random,
}

/// A compressive layer at the surface, in balance with the section below it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Compression at the surface, in MPa.
    pub compression_mpa: f64,
    /// Depth at which the stress passes through zero, in mm.
    pub depth_mm: f64,
    /// Faces that carry it.
    pub faces: TreatedFaces,
}

/// A surface condition of roots.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    /// Name.
    pub id: String,
    /// Factor on the scale of initiation: 2 doubles the time to a crack.
    pub initiation_life_factor: f64,
    /// Compressive layer, as by peening.
    pub layer: Option<Layer>,
    /// Chance that a crack's mouth is closed, for all techniques and all its life. Not stated: by the layer, if any.
    pub closed_mouth_probability: Option<f64>,
    /// Source of the numbers.
    pub basis: Option<String>,
}

impl Surface {
    /// Whether a layer compresses it.
    pub fn is_compressed(&self) -> bool {
        self.layer.is_some_and(|layer| layer.compression_mpa > 0.0)
    }

    /// Whether any crack in it may have a closed mouth.
    pub fn may_close_mouths(&self) -> bool {
        self.closed_mouth_probability.map_or(self.is_compressed(), |chance| chance > 0.0)
    }
}
