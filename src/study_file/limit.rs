//! When a crack ends in the loss of its blade.

use super::section::Section;
use crate::bounds;
use crate::model::fracture::Restraint;
use crate::model::growth::{DiagramCurve, DiagramLimit, Limit};

/// What the study file calls the restraint of a section.
pub(super) const RESTRAINTS: [(&str, Restraint); 2] =
    [("normal", Restraint::Normal), ("negligible-bending", Restraint::NegligibleBending)];

/// Reads a limit.
pub(super) fn limit(section: &Section) -> Option<Limit> {
    #[derive(Clone, Copy)]
    enum Kind {
        Depth,
        Toughness,
        SectionFraction,
        Diagram,
    }
    let kinds = [
        ("depth", Kind::Depth),
        ("toughness", Kind::Toughness),
        ("section-fraction", Kind::SectionFraction),
        ("assessment-diagram", Kind::Diagram),
    ];
    Some(match section.kind(&kinds)? {
        Kind::Depth => Limit::Depth { depth_mm: section.number("depth_mm", bounds::LENGTH_MM)? },
        Kind::Toughness => Limit::Toughness {
            toughness_mpa_sqrt_m: section.distribution("toughness_mpa_sqrt_m", bounds::TOUGHNESS_MPA_SQRT_M)?,
        },
        Kind::SectionFraction => Limit::SectionFraction { fraction: section.number("fraction", bounds::FRACTION)? },
        Kind::Diagram => Limit::Diagram(diagram(section)?),
    })
}

fn diagram(section: &Section) -> Option<DiagramLimit> {
    let curve = match section.choice("curve", &[("option-1", true), ("level-2a", false)]) {
        Some(true) => {
            section.number("modulus_mpa", bounds::MODULUS_MPA).map(|modulus_mpa| DiagramCurve::Option1 { modulus_mpa })
        }
        Some(false) => Some(DiagramCurve::Level2A),
        None => {
            section.be_lenient();
            None
        }
    };
    let yield_mpa = section.number("yield_mpa", bounds::STRENGTH_MPA);
    let ultimate_mpa = section.number("ultimate_mpa", bounds::STRENGTH_MPA);
    let restraint = section.choice("restraint", &RESTRAINTS);
    let toughness = section.distribution("toughness_mpa_sqrt_m", bounds::TOUGHNESS_MPA_SQRT_M);
    let limit = DiagramLimit {
        curve: curve?,
        yield_mpa: yield_mpa?,
        ultimate_mpa: ultimate_mpa?,
        restraint: restraint?,
        toughness_mpa_sqrt_m: toughness?,
    };
    section.accept("yield_mpa", limit.diagram())?;
    Some(limit)
}
