//! Missed cracks, for Python.

use super::doorway::released;
use super::records::Records;
use crate::error::Result;
use crate::statistics::capture_histories::CaptureHistories;
use crate::statistics::missed_cracks::missed_cracks;
use pyo3::prelude::*;
use serde_json::json;

/// Estimates from records, as JSON.
#[pyfunction]
pub(super) fn missed_cracks_of_records(
    py: Python<'_>,
    records: &Bound<'_, Records>,
    techniques: Vec<String>,
    level: f64,
    length_error_log: f64,
) -> PyResult<String> {
    let records = &records.get().records;
    released(py, || {
        let names: Vec<&str> = techniques.iter().map(String::as_str).collect();
        as_json(&CaptureHistories::from_records(records, &names)?.with_length_error(length_error_log)?, level)
    })
}

/// Estimates from counts of blades by who called them, as JSON.
#[pyfunction]
pub(super) fn missed_cracks_of_counts(
    py: Python<'_>,
    techniques: Vec<String>,
    counts: Vec<(Vec<bool>, u64)>,
    level: f64,
) -> PyResult<String> {
    released(py, || {
        let names: Vec<&str> = techniques.iter().map(String::as_str).collect();
        as_json(&CaptureHistories::from_counts(&names, &counts)?, level)
    })
}

fn as_json(histories: &CaptureHistories, level: f64) -> Result<String> {
    let missed = missed_cracks(histories, level)?;
    Ok(json!({"missed_cracks": missed, "sentences": missed.sentences()}).to_string())
}
