//! Limits on the chance of a loss, for Python.

use super::arguments::number_or_none;
use crate::Study;
use crate::model::limits::LossLimits;
use crate::simulation::{LimitVerdict, Scope};
use pyo3::prelude::*;
use serde_json::{Value, json};

/// Limits that are stated with a question; none where all are left out.
pub(super) fn stated(
    row_limit: Option<&Bound<'_, PyAny>>,
    unit_limit: Option<&Bound<'_, PyAny>>,
    fleet_limit: Option<&Bound<'_, PyAny>>,
) -> PyResult<Option<LossLimits>> {
    let limit = |name: &str, value| number_or_none(name, value, "0.001 is one loss in a thousand years");
    let limits = LossLimits {
        row: limit("row_limit", row_limit)?,
        unit: limit("unit_limit", unit_limit)?,
        fleet: limit("fleet_limit", fleet_limit)?,
        basis: None,
    };
    Ok(limits.is_any().then_some(limits))
}

/// The limits of a study.
pub(super) fn of(study: &Study) -> Value {
    json!(study.limits.as_ref().map(|limits| json!({"row": limits.row, "unit": limits.unit, "fleet": limits.fleet})))
}

/// A limit held against the year that decides.
pub(super) fn line(study: &Study, line: &LimitVerdict) -> Value {
    let of = match line.scope {
        Scope::Row(row) => Some(&study.row(row).id),
        Scope::Unit(unit) => Some(&study.units[unit].id),
        Scope::Fleet => None,
    };
    let chance = [line.chance.value, line.chance.low, line.chance.high];
    json!({
        "level": line.scope.name(), "of": of, "year": line.year, "limit": line.limit, "p_loss": chance,
        "verdict": line.verdict.name(), "note": line.note(),
    })
}
