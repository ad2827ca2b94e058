//! Growth laws.

use super::reader::Place;
use super::section::Section;
use crate::bounds;
use crate::model::growth::{BeyondPoints, CorrosionLaw, GrowthLaw, ParisLine, PlateauRate, Refinements, Threshold};

/// What the study file calls what holds beyond the points of a threshold table.
pub(super) const BEYOND_POINTS: [(&str, BeyondPoints); 2] =
    [("refused", BeyondPoints::Refused), ("nearest", BeyondPoints::Nearest)];

/// Reads a growth law.
pub(super) fn growth(section: &Section, id: &str) -> Option<GrowthLaw> {
    let coefficient = section.number("coefficient_m_per_start", bounds::GROWTH_COEFFICIENT);
    let exponent = section.number("exponent", bounds::GROWTH_EXPONENT);
    let crack_sigma_log = section.number("crack_sigma_log", bounds::SIGMA_LOG);
    let row_sigma_log = section.number("row_sigma_log", bounds::SIGMA_LOG);
    let low_stage = section.optional("low_stage", |section, key| section.table(key, low_stage));
    let threshold = section.optional("threshold", |section, key| section.table(key, threshold));
    let walker_exponent =
        section.optional("walker_exponent", |section, key| section.number(key, bounds::WALKER_EXPONENT));
    let stress_corrosion = section.optional("stress_corrosion", |section, key| section.table(key, stress_corrosion));
    let basis = section.basis();
    let law = GrowthLaw {
        id: id.to_owned(),
        coefficient_m_per_start: coefficient?,
        exponent: exponent?,
        crack_sigma_log: crack_sigma_log?,
        row_sigma_log: row_sigma_log?,
        refinements: Refinements {
            low_stage: low_stage?,
            threshold: threshold?.unwrap_or(Threshold::None),
            walker_exponent: walker_exponent?,
            stress_corrosion: stress_corrosion?,
        },
        basis: basis?,
    };
    section.accept("low_stage", law.rate_law(None))?;
    Some(law)
}

fn low_stage(section: &Section) -> Option<ParisLine> {
    let coefficient = section.number("coefficient_m_per_start", bounds::GROWTH_COEFFICIENT);
    let exponent = section.number("exponent", bounds::GROWTH_EXPONENT);
    section.accept("coefficient_m_per_start", ParisLine::new(coefficient?, exponent?))
}

fn threshold(section: &Section) -> Option<Threshold> {
    #[derive(Clone, Copy)]
    enum Kind {
        Constant,
        SteelInAir,
        BarsomRolfe,
        Table,
    }
    let kinds = [
        ("constant", Kind::Constant),
        ("steel-in-air", Kind::SteelInAir),
        ("barsom-rolfe", Kind::BarsomRolfe),
        ("table", Kind::Table),
    ];
    match section.kind(&kinds)? {
        Kind::Constant => {
            let range = section.number("range_mpa_sqrt_m", bounds::THRESHOLD_MPA_SQRT_M)?;
            section.accept("range_mpa_sqrt_m", Threshold::constant(range))
        }
        Kind::SteelInAir => Some(Threshold::SteelInAir),
        Kind::BarsomRolfe => Some(Threshold::BarsomRolfe),
        Kind::Table => {
            let points = section.pairs(
                "points",
                "a list of pairs [stress ratio, threshold range in MPa sqrt(m)]",
                [bounds::PROBABILITY, bounds::THRESHOLD_MPA_SQRT_M],
            );
            let beyond = section.optional("beyond_points", |section, key| section.choice(key, &BEYOND_POINTS));
            section.accept("points", Threshold::table(points?, beyond?.unwrap_or(BeyondPoints::Refused)))
        }
    }
}

fn stress_corrosion(section: &Section) -> Option<CorrosionLaw> {
    let threshold = section.number("threshold_mpa_sqrt_m", bounds::THRESHOLD_MPA_SQRT_M);
    let plateau = section.get("plateau", "a table").and_then(|place: Place| place.table(plateau));
    let crack_sigma_log = section.number("crack_sigma_log", bounds::SIGMA_LOG);
    let law = CorrosionLaw { threshold_mpa_sqrt_m: threshold?, plateau: plateau?, crack_sigma_log: crack_sigma_log? };
    section.accept("plateau", law.law())?;
    Some(law)
}

fn plateau(section: &Section) -> Option<PlateauRate> {
    if section.kind(&[("stated", true), ("rotor-steel", false)])? {
        Some(PlateauRate::Stated { mm_per_year: section.number("mm_per_year", bounds::CORROSION_MM_PER_YEAR)? })
    } else {
        let temperature_c = section.number("temperature_c", bounds::ROTOR_STEEL_TEMPERATURE_C);
        let yield_mpa = section.number("yield_mpa", bounds::ROTOR_STEEL_YIELD_MPA);
        Some(PlateauRate::RotorSteel { temperature_c: temperature_c?, yield_mpa: yield_mpa? })
    }
}
