//! What acts on the cracks of a hot spot, and how they stand to each other.

use super::section::Section;
use crate::bounds;
use crate::model::fleet::{Joining, Layer, Placement};
use crate::model::fracture::StressProfile;
use crate::model::growth::Stress;
use crate::model::joining::JoiningRule;
use crate::model::residual_stress::TreatedFaces;
use crate::model::vibration::{Runaway, Vibration};

/// What the study file calls the rules of joining.
pub(super) const RULES: [(&str, JoiningRule); 4] = [
    ("touching", JoiningRule::Touching),
    ("bs7910-2013", JoiningRule::Bs7910Of2013),
    ("asme-xi", JoiningRule::AsmeXi),
    ("bs7910-2005", JoiningRule::Older),
];

/// What the study file calls the ways in which origins stand.
pub(super) const PLACEMENTS: [(&str, Placement); 2] = [("even", Placement::Even), ("random", Placement::Random)];

/// What the study file calls the faces that carry a layer.
pub(super) const FACES: [(&str, TreatedFaces); 2] = [("cracked", TreatedFaces::One), ("both", TreatedFaces::Both)];

/// What the study file calls what vibration above the threshold does.
pub(super) const RUNAWAYS: [(&str, Runaway); 2] = [("at-once", Runaway::AtOnce), ("by-law", Runaway::ByLaw)];

/// Stress of a start, in either form.
pub(super) enum StartStress {
    Linear(Stress),
    Profile(StressProfile),
}

/// Reads the stress of a start.
pub(super) fn stress(section: &Section) -> Option<StartStress> {
    let profile = section.optional("profile", |section, key| {
        let pairs = section.pairs(
            key,
            "a list of pairs [depth in mm, stress in MPa]",
            [bounds::PROFILE_DEPTH_MM, bounds::STRESS_MPA],
        )?;
        section.accept(key, StressProfile::new(pairs))
    })?;
    if let Some(profile) = profile {
        for key in ["membrane_mpa", "bending_mpa"].into_iter().filter(|key| section.has(key)) {
            section.get(key, "");
            section.fault(
                key,
                "must not stand beside a profile, which says it all",
                format!("remove {key}, or profile"),
            );
        }
        let at_surface = profile.at(0.0);
        if at_surface <= 0.0 {
            section.fault(
                "profile",
                format!("must begin with a stress above 0 at the surface, not {at_surface}"),
                "give the stress of a start as a positive number",
            );
            return None;
        }
        return Some(StartStress::Profile(profile));
    }
    let membrane_mpa = section.number("membrane_mpa", bounds::STRESS_MPA);
    let bending_mpa = section.number("bending_mpa", bounds::STRESS_MPA);
    let (membrane_mpa, bending_mpa) = (membrane_mpa?, bending_mpa?);
    let surface = membrane_mpa + bending_mpa;
    if surface <= 0.0 {
        section.fault_here(
            format!("membrane_mpa and bending_mpa must add up to more than 0, not {surface}"),
            "give the stress range at the surface as a positive number",
        );
        return None;
    }
    Some(StartStress::Linear(Stress { membrane_mpa, bending_mpa }))
}

/// Reads a vibration.
pub(super) fn vibration(section: &Section) -> Option<Vibration> {
    let membrane_mpa = section.number("membrane_mpa", bounds::STRESS_MPA);
    let bending_mpa = section.number("bending_mpa", bounds::STRESS_MPA);
    let frequency_hz = section.number("frequency_hz", bounds::FREQUENCY_HZ);
    let runaway = section.choice("above_threshold", &RUNAWAYS);
    section.accept("membrane_mpa", Vibration::new(membrane_mpa?, bending_mpa?, frequency_hz?, runaway?))
}

/// Reads how origins stand and join.
pub(super) fn joining(section: &Section) -> Option<Joining> {
    let rule = section.choice("rule", &RULES);
    let spacing_mm = section.number("spacing_mm", bounds::LENGTH_MM);
    let placement = section.choice("placement", &PLACEMENTS);
    Some(Joining { rule: rule?, spacing_mm: spacing_mm?, placement: placement? })
}

/// Reads a compressive layer.
pub(super) fn layer(section: &Section) -> Option<Layer> {
    let compression_mpa = section.number("compression_mpa", bounds::COMPRESSION_MPA);
    let depth_mm = section.number("depth_mm", bounds::LENGTH_MM);
    let faces = section.choice("faces", &FACES);
    Some(Layer { compression_mpa: compression_mpa?, depth_mm: depth_mm?, faces: faces? })
}
