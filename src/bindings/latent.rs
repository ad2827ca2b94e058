//! Detection without known truth, for Python.

use super::arguments::whole;
use super::doorway::released;
use super::records::Records;
use crate::error::Result;
use crate::statistics::capture_histories::{CaptureHistories, CaptureHistory};
use crate::statistics::latent::{Question, latent_classes};
use pyo3::prelude::*;
use serde_json::json;

/// Tells cracked from sound blades of records, as JSON.
#[pyfunction]
pub(super) fn latent_classes_of_records(
    py: Python<'_>,
    records: &Bound<'_, Records>,
    techniques: Vec<String>,
    dependent_pairs: Vec<(String, String)>,
    level: f64,
    resamples: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
) -> PyResult<String> {
    let records = &records.get().records;
    let question = question(dependent_pairs, level, resamples, seed)?;
    released(py, || {
        let names: Vec<&str> = techniques.iter().map(String::as_str).collect();
        as_json(&CaptureHistories::from_records(records, &names)?, &question)
    })
}

/// Tells cracked from sound blades of counts by what each technique answered, as JSON.
#[pyfunction]
pub(super) fn latent_classes_of_counts(
    py: Python<'_>,
    techniques: Vec<String>,
    counts: Vec<(Vec<Option<bool>>, u64)>,
    dependent_pairs: Vec<(String, String)>,
    level: f64,
    resamples: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
) -> PyResult<String> {
    let question = question(dependent_pairs, level, resamples, seed)?;
    released(py, || {
        let names: Vec<&str> = techniques.iter().map(String::as_str).collect();
        let blade = |(called, count)| CaptureHistory { called, count, ..CaptureHistory::default() };
        let histories = CaptureHistories::new(&names, counts.into_iter().map(blade).collect())?;
        as_json(&histories, &question)
    })
}

fn question(
    dependent_pairs: Vec<(String, String)>,
    level: f64,
    resamples: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
) -> PyResult<Question> {
    let resamples = whole("resamples", resamples, 0..=Question::MOST_RESAMPLES as u64, "200 are usual")? as usize;
    let seed = whole("seed", seed, 0..=u64::MAX, "give a whole number")?;
    Ok(Question { dependent_pairs, level, resamples, seed })
}

fn as_json(histories: &CaptureHistories, question: &Question) -> Result<String> {
    let found = latent_classes(histories, question)?;
    let contradicted = found.is_contradicted();
    Ok(json!({"latent_classes": found, "contradicted": contradicted, "sentences": found.sentences()}).to_string())
}
