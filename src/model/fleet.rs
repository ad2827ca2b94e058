//! What exists: fleet, units, rows, blades, roots and the places in them where cracks start.

use super::growth::{CrackShape, Limit, Stress};
use crate::distribution::Distribution;

/// A generating unit: how it is run and when it stops.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// Name.
    pub id: String,
    /// How it is run, in order of time; the last period goes on.
    pub duty: Vec<super::usage::DutyPeriod>,
    /// When it stops for inspection.
    pub outages: super::usage::OutageCalendar,
    /// Where the numbers come from.
    pub basis: Option<String>,
}

/// One ring of last-stage blades.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Name.
    pub id: String,
    /// Index of its unit.
    pub unit: usize,
    /// The rotor it sits on.
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
    /// Where the numbers come from.
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
}

/// A root design with its hot spots.
#[derive(Debug, Clone, PartialEq)]
pub struct Root {
    /// Name.
    pub id: String,
    /// Places where cracks start.
    pub hot_spots: Vec<HotSpot>,
    /// Where the numbers come from.
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
    /// Index of the initiation law.
    pub initiation: usize,
    /// Index of the growth law.
    pub growth: usize,
    /// Stress range of a start, and stress at the peak of it.
    pub stress: Stress,
    /// Depth and width of the section that cracks cut through, in mm.
    pub section: Option<Section>,
    /// How the crack's shape goes with its depth.
    pub crack: CrackShape,
    /// Depth at which a crack begins to grow by the growth law, in mm.
    pub initial_depth_mm: Distribution,
    /// Depth over half surface length at that moment; unused where the shape is fixed.
    pub initial_aspect: Distribution,
    /// When the blade is lost.
    pub limit: Limit,
    /// Where the numbers come from.
    pub basis: Option<String>,
}

impl HotSpot {
    /// Number of origins of this class in one blade.
    pub fn origins_per_blade(&self) -> u32 {
        self.serrations.len() as u32 * self.sides.len() as u32 * self.positions * self.origins
    }
}

/// The section that a crack cuts through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Thickness in the direction of depth, in mm.
    pub thickness_mm: f64,
    /// Width in the direction of surface length, in mm.
    pub width_mm: f64,
}

/// A surface condition of roots.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    /// Name.
    pub id: String,
    /// Factor on the scale of initiation: 2 doubles the time to a crack.
    pub initiation_life_factor: f64,
    /// Where the numbers come from.
    pub basis: Option<String>,
}
