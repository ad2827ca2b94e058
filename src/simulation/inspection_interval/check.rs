//! The plain check beside the simulation: from the size that is found with 90 % probability to the critical size.

use crate::error::Result;
use crate::math::normal_quantile;
use crate::model::uncertain::UncertainInput;
use crate::model::{RowId, Study};
use crate::simulation::Estimate;
use crate::simulation::grown::GrowthQuestion;
use std::ops::ControlFlow;

/// Cracks that are grown for each place.
const CRACKS: u64 = 400;
/// Share of cracks that grow faster than what the check calls fast.
const FAST: f64 = 0.05;

/// Years from the size that a technique finds with 90 % probability to the loss of the blade, where these are fewest.
#[derive(Debug, Clone, PartialEq)]
pub struct DeterministicCheck {
    /// The row, and its hot spot as `root.hot-spot`.
    pub row: usize,
    /// The hot spot.
    pub hot_spot: String,
    /// Whether the size has 95 % confidence, by what the study says is uncertain of the technique; else it is the curve as it
    /// stands, which is too favourable.
    pub has_confidence: bool,
    /// Years of the median crack.
    pub years: Estimate,
    /// Years that only one crack in twenty falls short of.
    pub fast_years: Estimate,
    /// Years from outage to outage of the row's unit, in the mean.
    pub outage_years: f64,
}

/// The check of a technique; none where it finds no size with 90 %.
pub(super) fn of(
    study: &Study,
    technique: usize,
    ask: &mut dyn FnMut() -> ControlFlow<()>,
) -> Result<Option<DeterministicCheck>> {
    let pod = study.techniques[technique].pod;
    if pod.size_mm(0.9).is_none() {
        return Ok(None);
    }
    let is_of = |input: &UncertainInput| *input == UncertainInput::Q50(technique);
    let variance: f64 = study
        .uncertain
        .iter()
        .filter(|uncertain| uncertain.factor_on.iter().any(is_of))
        .map(|uncertain| uncertain.sigma_log * uncertain.sigma_log)
        .sum();
    let mut parts = study.clone().into_parts();
    parts.techniques[technique].pod.q50_mm *= (normal_quantile(0.95) * variance.sqrt()).exp();
    let study = Study::of_checked(parts).sharing_paths(study);
    let mut worst: Option<DeterministicCheck> = None;
    for row in study.row_ids().filter(|row: &RowId| study.rows_like(*row)[0] == *row) {
        let root = &study.roots[study.row(row).root];
        for spot in &root.hot_spots {
            let question = GrowthQuestion {
                row: Some(study.row(row).id.clone()),
                technique: Some(study.techniques[technique].id.clone()),
                detectable_at: 0.9,
                cracks: CRACKS,
                ..GrowthQuestion::new(&format!("{}.{}", root.id, spot.id))
            };
            let grown = study.grow_with(&question, &mut |_| ask())?;
            let years = grown.quantile(0.5, |crack| crack.window_years());
            if worst.as_ref().is_none_or(|worst| years.value < worst.years.value) {
                worst = Some(DeterministicCheck {
                    row: row.0,
                    hot_spot: question.hot_spot,
                    has_confidence: variance > 0.0,
                    years,
                    fast_years: grown.quantile(FAST, |crack| crack.window_years()),
                    outage_years: grown.mean_years_between_outages(),
                });
            }
        }
    }
    Ok(worst)
}
