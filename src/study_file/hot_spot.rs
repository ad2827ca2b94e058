//! Hot spots.

use super::ids::Ids;
use super::section::Section;
use super::{limit, loads};
use crate::bounds;
use crate::distribution::Distribution;
use crate::model::fleet::{HotSpot, Side, Surface};
use crate::model::growth::{CrackShape, GrowthLaw, Limit, Section as CrossSection, Site, Stress};

/// Words of the study file for the sides of a blade.
pub(super) const SIDES: [(&str, Side); 2] = [("suction", Side::Suction), ("pressure", Side::Pressure)];

/// Reads a hot spot, with the growth laws there are.
pub(super) fn hot_spot(section: &Section, id: &str, ids: &Ids, laws: &[Option<GrowthLaw>]) -> Option<HotSpot> {
    let serrations = section
        .get("serrations", format!("a list of whole numbers {}", bounds::SERRATION))
        .and_then(|place| place.each_once(|place| place.whole(bounds::SERRATION)));
    let sides = section
        .get("sides", "a list of \"suction\" and \"pressure\"")
        .and_then(|place| place.each_once(|place| place.choice(&SIDES)));
    let places = |key| section.optional(key, |section, key| section.whole(key, bounds::PLACES));
    let (positions, origins) = (places("positions"), places("origins"));
    let joining = section.optional("joining", |section, key| section.table(key, loads::joining));
    let initiation = section.reference("initiation", "initiation law", &ids.initiation);
    let growth = section.reference("growth", "growth law", &ids.growth);
    let stress = section.table("stress", loads::stress);
    let load_ratio = section.optional("load_ratio", |section, key| section.number(key, bounds::LOAD_RATIO));
    let vibration = section.optional("vibration", |section, key| section.table(key, loads::vibration));
    let cross_section = section.optional("section", |section, key| section.table(key, cross_section));
    let crack = section.table("crack", crack);
    let initial_depth_mm = section.distribution("initial_depth_mm", bounds::LENGTH_MM);
    let initial_aspect = initial_aspect(section, crack);
    let limit = section.table("limit", limit::limit);
    let basis = section.basis();
    let cross_section = cross_section?;
    let (stress, stress_profile) = match stress? {
        loads::StartStress::Linear(stress) => (stress, None),
        loads::StartStress::Profile(profile) => {
            let thickness_mm = cross_section.map_or_else(|| profile.reach_mm(), |section| section.thickness_mm);
            let [membrane_mpa, bending_mpa] = profile.linearised(thickness_mm.min(profile.reach_mm()));
            (Stress { membrane_mpa, bending_mpa }, Some(profile))
        }
    };
    let spot = HotSpot {
        id: id.to_owned(),
        serrations: serrations?,
        sides: sides?,
        positions: positions?.unwrap_or(1),
        origins: origins?.unwrap_or(1),
        joining: joining?,
        initiation: initiation?,
        growth: growth?,
        stress,
        stress_profile,
        load_ratio: load_ratio?.unwrap_or(0.0),
        vibration: vibration?,
        section: cross_section,
        crack: crack?,
        initial_depth_mm: initial_depth_mm?,
        initial_aspect: initial_aspect?,
        limit: limit?,
        basis: basis?,
    };
    if !fits(section, &spot) {
        return None;
    }
    // A growth law with a fault of its own is refused there.
    let law = laws.get(spot.growth).and_then(Option::as_ref);
    law.is_none_or(|law| fits_law(section, &spot, law)).then_some(spot)
}

fn cross_section(section: &Section) -> Option<CrossSection> {
    let thickness_mm = section.number("thickness_mm", bounds::LENGTH_MM);
    let width_mm = section.number("width_mm", bounds::LENGTH_MM);
    Some(CrossSection { thickness_mm: thickness_mm?, width_mm: width_mm? })
}

fn crack(section: &Section) -> Option<CrackShape> {
    #[derive(Clone, Copy)]
    enum Kind {
        FixedFactor,
        SemiElliptical,
        QuarterElliptical,
    }
    let kinds = [
        ("fixed-factor", Kind::FixedFactor),
        ("semi-elliptical", Kind::SemiElliptical),
        ("quarter-elliptical", Kind::QuarterElliptical),
    ];
    match section.kind(&kinds)? {
        Kind::FixedFactor => {
            let geometry_factor = section.number("geometry_factor", bounds::GEOMETRY_FACTOR);
            let length_over_depth = section.number("length_over_depth", bounds::FACTOR);
            Some(CrackShape::FixedFactor { geometry_factor: geometry_factor?, length_over_depth: length_over_depth? })
        }
        Kind::SemiElliptical => Some(CrackShape::SemiElliptical),
        Kind::QuarterElliptical => Some(CrackShape::QuarterElliptical),
    }
}

/// The aspect is stated only where the shape is free; a fixed shape has its own.
fn initial_aspect(section: &Section, crack: Option<CrackShape>) -> Option<Distribution> {
    match crack {
        Some(CrackShape::SemiElliptical | CrackShape::QuarterElliptical) => {
            section.distribution("initial_aspect", bounds::ASPECT)
        }
        Some(CrackShape::FixedFactor { length_over_depth, .. }) => {
            if section.has("initial_aspect") {
                // Asked for, so that it is not refused a second time as unknown.
                section.get("initial_aspect", "");
                section.fault(
                    "initial_aspect",
                    "a fixed-factor crack has its shape from length_over_depth",
                    "remove initial_aspect, or choose kind = \"semi-elliptical\"",
                );
                return None;
            }
            Some(Distribution::Fixed(2.0 / length_over_depth))
        }
        None => section.optional("initial_aspect", |section, key| section.distribution(key, bounds::ASPECT))?,
    }
}

/// Whether the crack fits into its section and begins short of its limit.
fn fits(section: &Section, spot: &HotSpot) -> bool {
    let depth = spot.initial_depth_mm.quantile(0.5);
    let aspect = spot.initial_aspect.quantile(0.5);
    let mut all_good = true;
    let mut must = |good: bool, key: &str, rule: String, remedy: &str| {
        if !good {
            section.fault(key, rule, remedy);
            all_good = false;
        }
    };
    let needs_section = match (&spot.crack, &spot.limit) {
        (CrackShape::SemiElliptical, _) => Some("a semi-elliptical crack"),
        (CrackShape::QuarterElliptical, _) => Some("a quarter-elliptical crack"),
        (_, Limit::SectionFraction { .. }) => Some("a section-fraction limit"),
        _ => None,
    };
    if let Some(what) = needs_section {
        let rule = format!("{what} needs the section it cuts through");
        must(spot.section.is_some(), "section", rule, "add section = { thickness_mm = ..., width_mm = ... }");
    }
    if let Some(CrossSection { thickness_mm, width_mm }) = spot.section {
        let remedy = "lower the initial depth, or correct the section";
        let rule = format!("the median ({depth}) must be below the section's thickness ({thickness_mm})");
        must(depth < thickness_mm, "initial_depth_mm", rule, remedy);
        let halves = if spot.crack == CrackShape::QuarterElliptical { 1.0 } else { 2.0 };
        let length = halves * depth / aspect;
        let rule = format!("the initial crack's length ({length} mm) must be below the section's width ({width_mm})");
        must(length < width_mm, "initial_depth_mm", rule, remedy);
        // Half an ellipse of half length depth / aspect, or a quarter of one of that length.
        let part = if spot.crack == CrackShape::QuarterElliptical { 0.5 } else { 1.0 };
        let cracked = part * std::f64::consts::FRAC_PI_2 * depth * depth / aspect / (thickness_mm * width_mm);
        if let Some(joining) = spot.joining.filter(|_| spot.origins > 1) {
            let span = spot.origins_span_mm(&joining);
            let rule = format!(
                "{} origins {} mm apart take {span} mm, which must fit into the section's width ({width_mm})",
                spot.origins, joining.spacing_mm
            );
            must(
                span <= width_mm,
                "joining",
                rule,
                "lower spacing_mm or origins, or leave joining out if they are far apart",
            );
        }
        match &spot.limit {
            Limit::Depth { depth_mm } => {
                let rule = format!("depth_mm must be below the section's thickness ({thickness_mm})");
                must(*depth_mm < thickness_mm, "limit", rule, "lower depth_mm, or correct the section");
            }
            Limit::SectionFraction { fraction } => {
                let rule = format!("fraction must exceed what the initial crack has cut through ({cracked:.3})");
                must(*fraction > cracked, "limit", rule, "raise fraction, or lower the initial depth");
            }
            Limit::Toughness { .. } | Limit::Diagram(_) => {}
        }
    }
    match (&spot.limit, spot.crack) {
        (Limit::Depth { depth_mm }, _) => {
            let rule = format!("depth_mm must exceed the median initial depth ({depth})");
            must(*depth_mm > depth, "limit", rule, "raise depth_mm, or lower the initial depth");
        }
        (Limit::Toughness { toughness_mpa_sqrt_m }, CrackShape::FixedFactor { geometry_factor, .. }) => {
            let stress = spot.stress.membrane_mpa + spot.stress.bending_mpa;
            let intensity = geometry_factor * stress * (std::f64::consts::PI * depth * 1e-3).sqrt();
            let rule =
                format!("the median toughness must exceed the initial crack's stress intensity ({intensity:.1})");
            let good = toughness_mpa_sqrt_m.quantile(0.5) > intensity;
            must(good, "limit", rule, "raise the toughness, or lower the initial depth");
        }
        _ => {}
    }
    all_good
}

/// Whether the crack's shape knows everything that acts on it.
fn fits_law(section: &Section, spot: &HotSpot, law: &GrowthLaw) -> bool {
    let bare = Surface {
        id: String::new(),
        initiation_life_factor: 1.0,
        layer: None,
        closed_mouth_probability: None,
        basis: None,
    };
    if !spot.needs_following(law, &bare) {
        return true;
    }
    if let CrackShape::FixedFactor { .. } = spot.crack {
        section.fault(
            "crack",
            "a fixed-factor crack knows Paris' line and a stress range alone",
            format!(
                "choose kind = \"semi-elliptical\", or leave out what growth law {:?}, load_ratio, stress profile, \
                 vibration, joining and limit have beyond that",
                law.id
            ),
        );
        return false;
    }
    if spot.joining.is_some() && spot.crack == CrackShape::QuarterElliptical {
        section.fault(
            "joining",
            "is for cracks along a serration; a quarter-elliptical crack is at its end",
            "remove joining, or choose kind = \"semi-elliptical\"",
        );
        return false;
    }
    let toughness = match &spot.limit {
        Limit::Toughness { toughness_mpa_sqrt_m } => Some(toughness_mpa_sqrt_m),
        Limit::Diagram(limit) => Some(&limit.toughness_mpa_sqrt_m),
        _ => None,
    };
    let site = section.accept("stress", spot.site(&bare));
    let ratios = site.as_ref().map(Site::open_ratios);
    let held = ratios.and_then(|ratios| section.accept("growth", law.refinements.threshold.check_ratios(ratios)));
    let law = law.rate_law(spot.vibration).and_then(|law| {
        // To so many figures as a reader wants to see.
        let median = |toughness: &Distribution| (1e3 * toughness.quantile(0.5)).round() / 1e3;
        toughness.map_or(Ok(()), |toughness| law.check_toughness(median(toughness)))
    });
    held.is_some() & section.accept("growth", law).is_some()
}
