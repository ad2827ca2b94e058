//! Initiation laws, growth laws, and the hot spots that they act on.

use super::check::Ids;
use super::reader::Place;
use super::section::Section;
use crate::bounds;
use crate::distribution::Distribution;
use crate::model::fleet::{HotSpot, Section as CrossSection, Side};
use crate::model::growth::{CrackShape, GrowthLaw, Limit, Stress};
use crate::model::initiation::{InitiationLaw, InitiationShape};
use crate::model::usage::Clock;

/// Reads an initiation law.
pub(super) fn initiation(section: &Section, id: &str) -> Option<InitiationLaw> {
    #[derive(Clone, Copy)]
    enum Kind {
        Weibull,
        Lognormal,
        Exponential,
    }
    let clock = section.get("clock", "\"starts\", \"hours\", or a table with per_start and per_hour").and_then(clock);
    let kind =
        section.kind(&[("weibull", Kind::Weibull), ("lognormal", Kind::Lognormal), ("exponential", Kind::Exponential)]);
    let stress_exponent = section.number("stress_exponent", bounds::STRESS_EXPONENT);
    let basis = section.basis();
    let reading = |key| section.number(key, bounds::CLOCK_READING);
    let shape = match kind? {
        Kind::Weibull => {
            let (shape, scale) = (section.number("shape", bounds::WEIBULL_SHAPE), reading("scale"));
            InitiationShape::Weibull { shape: shape?, scale: scale? }
        }
        Kind::Lognormal => {
            let (median, sigma_log) = (reading("median"), section.number("sigma_log", bounds::SIGMA_LOG_ABOVE_ZERO));
            InitiationShape::Lognormal { median: median?, sigma_log: sigma_log? }
        }
        Kind::Exponential => InitiationShape::Exponential { mean: reading("mean")? },
    };
    Some(InitiationLaw { id: id.to_owned(), clock: clock?, shape, stress_exponent: stress_exponent?, basis: basis? })
}

fn clock(place: Place) -> Option<Clock> {
    if !place.is_table() {
        return place.choice(&[("starts", Clock::STARTS), ("hours", Clock::HOURS)]);
    }
    place.table(|section| {
        let per_start = section.number("per_start", bounds::CLOCK_WEIGHT);
        let per_hour = section.number("per_hour", bounds::CLOCK_WEIGHT);
        let (per_start, per_hour) = (per_start?, per_hour?);
        if per_start == 0.0 && per_hour == 0.0 {
            section.fault_here("per_start and per_hour must not both be 0", "give the clock something to run on");
            return None;
        }
        Some(Clock { per_start, per_hour })
    })
}

/// Reads a growth law.
pub(super) fn growth(section: &Section, id: &str) -> Option<GrowthLaw> {
    let coefficient = section.number("coefficient_m_per_start", bounds::GROWTH_COEFFICIENT);
    let exponent = section.number("exponent", bounds::GROWTH_EXPONENT);
    let crack_sigma_log = section.number("crack_sigma_log", bounds::SIGMA_LOG);
    let row_sigma_log = section.number("row_sigma_log", bounds::SIGMA_LOG);
    let basis = section.basis();
    Some(GrowthLaw {
        id: id.to_owned(),
        coefficient_m_per_start: coefficient?,
        exponent: exponent?,
        crack_sigma_log: crack_sigma_log?,
        row_sigma_log: row_sigma_log?,
        basis: basis?,
    })
}

/// What the study file calls the sides of a blade.
pub(super) const SIDES: [(&str, Side); 2] = [("suction", Side::Suction), ("pressure", Side::Pressure)];

/// Reads a hot spot.
pub(super) fn hot_spot(section: &Section, id: &str, ids: &Ids) -> Option<HotSpot> {
    let serrations = section
        .get("serrations", format!("a list of whole numbers {}", bounds::SERRATION))
        .and_then(|place| place.each_once(|place| place.whole(bounds::SERRATION)));
    let sides = section
        .get("sides", "a list of \"suction\" and \"pressure\"")
        .and_then(|place| place.each_once(|place| place.choice(&SIDES)));
    let places = |key| section.optional(key, |section, key| section.whole(key, bounds::PLACES));
    let (positions, origins) = (places("positions"), places("origins"));
    let initiation = section.reference("initiation", "initiation law", &ids.initiation);
    let growth = section.reference("growth", "growth law", &ids.growth);
    let stress = section.table("stress", stress);
    let cross_section = section.optional("section", |section, key| section.table(key, cross_section));
    let crack = section.table("crack", crack);
    let initial_depth_mm = section.distribution("initial_depth_mm", bounds::LENGTH_MM);
    let initial_aspect = initial_aspect(section, crack);
    let limit = section.table("limit", limit);
    let basis = section.basis();
    let spot = HotSpot {
        id: id.to_owned(),
        serrations: serrations?,
        sides: sides?,
        positions: positions?.unwrap_or(1),
        origins: origins?.unwrap_or(1),
        initiation: initiation?,
        growth: growth?,
        stress: stress?,
        section: cross_section?,
        crack: crack?,
        initial_depth_mm: initial_depth_mm?,
        initial_aspect: initial_aspect?,
        limit: limit?,
        basis: basis?,
    };
    fits(section, &spot).then_some(spot)
}

fn stress(section: &Section) -> Option<Stress> {
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
    Some(Stress { membrane_mpa, bending_mpa })
}

fn cross_section(section: &Section) -> Option<CrossSection> {
    let thickness_mm = section.number("thickness_mm", bounds::LENGTH_MM);
    let width_mm = section.number("width_mm", bounds::LENGTH_MM);
    Some(CrossSection { thickness_mm: thickness_mm?, width_mm: width_mm? })
}

fn crack(section: &Section) -> Option<CrackShape> {
    if section.kind(&[("fixed-factor", true), ("semi-elliptical", false)])? {
        let geometry_factor = section.number("geometry_factor", bounds::GEOMETRY_FACTOR);
        let length_over_depth = section.number("length_over_depth", bounds::FACTOR);
        Some(CrackShape::FixedFactor { geometry_factor: geometry_factor?, length_over_depth: length_over_depth? })
    } else {
        Some(CrackShape::SemiElliptical)
    }
}

/// The aspect is stated only where the shape is free; a fixed shape has its own.
fn initial_aspect(section: &Section, crack: Option<CrackShape>) -> Option<Distribution> {
    match crack {
        Some(CrackShape::SemiElliptical) => section.distribution("initial_aspect", bounds::ASPECT),
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

fn limit(section: &Section) -> Option<Limit> {
    #[derive(Clone, Copy)]
    enum Kind {
        Depth,
        Toughness,
        SectionFraction,
    }
    let kinds = [("depth", Kind::Depth), ("toughness", Kind::Toughness), ("section-fraction", Kind::SectionFraction)];
    Some(match section.kind(&kinds)? {
        Kind::Depth => Limit::Depth { depth_mm: section.number("depth_mm", bounds::LENGTH_MM)? },
        Kind::Toughness => Limit::Toughness {
            toughness_mpa_sqrt_m: section.distribution("toughness_mpa_sqrt_m", bounds::TOUGHNESS_MPA_SQRT_M)?,
        },
        Kind::SectionFraction => Limit::SectionFraction { fraction: section.number("fraction", bounds::FRACTION)? },
    })
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
        let length = 2.0 * depth / aspect;
        let rule = format!("the initial crack's length ({length} mm) must be below the section's width ({width_mm})");
        must(length < width_mm, "initial_depth_mm", rule, remedy);
        // Half an ellipse of half length depth / aspect.
        let cracked = std::f64::consts::FRAC_PI_2 * depth * depth / aspect / (thickness_mm * width_mm);
        match spot.limit {
            Limit::Depth { depth_mm } => {
                let rule = format!("depth_mm must be below the section's thickness ({thickness_mm})");
                must(depth_mm < thickness_mm, "limit", rule, "lower depth_mm, or correct the section");
            }
            Limit::SectionFraction { fraction } => {
                let rule = format!("fraction must exceed what the initial crack has cut through ({cracked:.3})");
                must(fraction > cracked, "limit", rule, "raise fraction, or lower the initial depth");
            }
            Limit::Toughness { .. } => {}
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
