//! When a crack that is followed step by step ends in the loss of its blade.

use super::intensity_map::MappedLoads;
use super::site::{LoadFactors, Site};
use crate::model::fracture::{
    AssessmentDiagram, Restraint, StressField, SurfaceCrackGeometry, plasticity_interaction, reference_stress_mpa,
};

/// When a crack ends in a loss, with the crack's own toughness; at the latest when it is 95 % through
/// the section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LossRule {
    /// At a depth, in mm.
    Depth(f64),
    /// When a fraction of the section's area is cut.
    SectionFraction(f64),
    /// When the highest stress intensity of a start, residual stress included, reaches the toughness, in
    /// MPa sqrt(m).
    Intensity(f64),
    /// When its point leaves the failure assessment diagram.
    Diagram {
        /// The diagram.
        diagram: AssessmentDiagram,
        /// Toughness, in MPa sqrt(m).
        toughness_mpa_sqrt_m: f64,
        /// Of the section against bending.
        restraint: Restraint,
    },
}

/// Properties of a section for a loss rule, worked out once.
#[derive(Debug, Clone, Copy)]
pub(super) struct SectionAtLoss {
    thickness_mm: f64,
    spanning_mm: f64,
    /// Membrane and bending stress of the section under full load, in MPa.
    stress_mpa: [f64; 2],
    /// Area of a quarter or half ellipse of depth and half length 1 mm over that of the section.
    unit_crack_fraction: f64,
}

impl SectionAtLoss {
    pub(super) fn new(site: &Site) -> Self {
        let section = site.start();
        let stress_mpa = match section.stress() {
            StressField::Linear { membrane_mpa, bending_mpa } => [*membrane_mpa, *bending_mpa],
            StressField::Profile(profile) => profile.linearised(section.thickness_mm()),
        };
        SectionAtLoss {
            thickness_mm: section.thickness_mm(),
            spanning_mm: section.spanning_mm(),
            stress_mpa,
            unit_crack_fraction: section.cut_fraction(1.0, 0.5 * section.spanning_mm()) / (0.5 * section.spanning_mm()),
        }
    }

    /// Lr and Kr of a crack.
    fn assessment_point(
        &self,
        loads: &MappedLoads,
        factors: LoadFactors,
        toughness_mpa_sqrt_m: f64,
        restraint: Restraint,
        yield_mpa: f64,
    ) -> [f64; 2] {
        // A corner crack and its mirror image are a surface crack in a plate of twice the width.
        let crack = SurfaceCrackGeometry {
            depth_mm: loads.depth_mm,
            half_length_mm: loads.half_length_mm.min(self.spanning_mm),
            thickness_mm: self.thickness_mm,
            half_width_mm: self.spanning_mm,
        };
        let [membrane_mpa, bending_mpa] = self.stress_mpa.map(|stress_mpa| factors.stress * stress_mpa);
        let lr = reference_stress_mpa(&crack, membrane_mpa, bending_mpa, restraint) / yield_mpa;
        let rho = plasticity_interaction(loads.residual, loads.applied, lr);
        [lr, (loads.applied + loads.residual) / toughness_mpa_sqrt_m + rho]
    }
}

impl LossRule {
    /// By how much a crack is past its end; negative before.
    pub(super) fn excess(&self, section: &SectionAtLoss, loads: &MappedLoads, factors: LoadFactors) -> f64 {
        match *self {
            LossRule::Depth(depth_mm) => loads.depth_mm - depth_mm,
            LossRule::SectionFraction(fraction) => {
                let spans = loads.half_length_mm >= section.spanning_mm;
                let cut = if spans {
                    loads.depth_mm / section.thickness_mm
                } else {
                    section.unit_crack_fraction * loads.depth_mm * loads.half_length_mm
                };
                cut - fraction
            }
            LossRule::Intensity(toughness) => loads.applied + loads.residual - toughness,
            LossRule::Diagram { diagram, toughness_mpa_sqrt_m, restraint } => {
                let yield_mpa = diagram.yield_mpa();
                let [lr, kr] = section.assessment_point(loads, factors, toughness_mpa_sqrt_m, restraint, yield_mpa);
                diagram.excess(lr, kr)
            }
        }
    }
}
