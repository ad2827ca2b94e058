//! Rates of counts, for Python.

use super::doorway::released;
use crate::error::{Error, Result};
use crate::statistics::pooled_rates::pooled_rates as pooled;
use crate::statistics::rate_change::{GammaRate, Period, rate_change as changed};
use pyo3::prelude::*;
use serde_json::json;

/// What counts say of a change of their rate, as JSON.
#[pyfunction]
pub(super) fn rate_change(
    py: Python<'_>,
    counts: Vec<u64>,
    exposures: Vec<f64>,
    prior: (f64, f64),
    duty: Option<Vec<f64>>,
) -> PyResult<String> {
    released(py, || {
        let prior = GammaRate { shape: prior.0, rate: prior.1 };
        let found = changed(&periods(&counts, &exposures)?, prior, duty.as_deref())?;
        Ok(json!({"rate_change": found, "counts": counts, "exposures": exposures}).to_string())
    })
}

/// Rates of rows that learn from each other, as JSON.
#[pyfunction]
pub(super) fn pooled_rates(py: Python<'_>, counts: Vec<u64>, exposures: Vec<f64>) -> PyResult<String> {
    released(py, || {
        let found = pooled(&periods(&counts, &exposures)?)?;
        Ok(json!({"pooled_rates": found, "counts": counts, "exposures": exposures}).to_string())
    })
}

fn periods(counts: &[u64], exposures: &[f64]) -> Result<Vec<Period>> {
    if counts.len() != exposures.len() {
        let rule = format!("must be as long as counts, which has {}", counts.len());
        let shown = format!("{} values", exposures.len());
        return Err(Error::argument("exposures", shown, &rule, "give one for every count"));
    }
    Ok(counts.iter().zip(exposures).map(|(count, exposure)| Period { count: *count, exposure: *exposure }).collect())
}
