//! Cleaning before looks, and peening anew.

use super::ids::Ids;
use super::section::Section;
use super::strategies::when;
use super::window::Window;
use crate::bounds;
use crate::model::surface_treatment::{Cleaning, Peening};

/// Reads a way of cleaning.
pub(super) fn cleaning(section: &Section, id: &str, ids: &Ids) -> Option<Cleaning> {
    let q50_factors = q50_factors(section, ids);
    let optional = |key, bound| section.optional(key, |section, key| section.number(key, bound));
    let closes_mouth_probability = optional("closes_mouth_probability", bounds::PROBABILITY);
    let (cost_per_row, cost_per_blade) =
        (optional("cost_per_row", bounds::COST), optional("cost_per_blade", bounds::COST));
    let days_per_row = optional("days_per_row", bounds::DAYS);
    let basis = section.basis();
    Some(Cleaning {
        id: id.to_owned(),
        q50_factors: q50_factors?,
        closes_mouth_probability: closes_mouth_probability?.unwrap_or(0.0),
        cost_per_row: cost_per_row?.unwrap_or(0.0),
        cost_per_blade: cost_per_blade?.unwrap_or(0.0),
        days_per_row: days_per_row?.unwrap_or(0.0),
        basis: basis?,
    })
}

/// One factor for all techniques, or one for each that is named.
fn q50_factors(section: &Section, ids: &Ids) -> Option<Vec<f64>> {
    let takes = format!("a number {}, or a table with one for each technique, 1 where left out", bounds::FACTOR);
    let place = section.get("q50_factor", takes)?;
    if !place.is_table() {
        let factor = place.number(bounds::FACTOR)?;
        return Some(vec![factor; ids.techniques.len()]);
    }
    place.table(|section| {
        let factors = section.numbers_by_id("technique", &ids.techniques, bounds::FACTOR)?;
        Some(factors.into_iter().map(|factor| factor.unwrap_or(1.0)).collect())
    })
}

/// Reads a peening of a strategy.
pub(super) fn peening(section: &Section, ids: &Ids, window: Option<Window>) -> Option<Peening> {
    let when = when(section, "peening", window);
    let rows = section.optional("rows", |section, key| section.references(key, "row", &ids.rows));
    let life_factor = section.number("life_factor", bounds::FACTOR);
    let cost_per_row = section.number("cost_per_row", bounds::COST);
    let days_per_row = section.number("days_per_row", bounds::DAYS);
    let blades_out = section.flag("blades_out");
    Some(Peening {
        when: when?,
        rows: rows?,
        life_factor: life_factor?,
        cost_per_row: cost_per_row?,
        days_per_row: days_per_row?,
        blades_out: blades_out?,
    })
}
