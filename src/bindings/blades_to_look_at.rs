//! How many blades to look at, for Python.

use super::arguments::whole;
use super::doorway::released;
use crate::error::Error;
use crate::statistics::blades_to_look_at::{BladesToLookAt, Curves, HowMany, Prior, Question};
use pyo3::prelude::*;
use serde_json::{Value, json};

/// How many blades to look at, by each reading of the question, as JSON.
#[pyfunction]
#[pyo3(signature = (blades, fewer_than, pod, found, confidence, cracked_probability, worth_blades))]
#[allow(clippy::too_many_arguments)]
pub(super) fn how_many_blades(
    py: Python<'_>,
    blades: &Bound<'_, PyAny>,
    fewer_than: &Bound<'_, PyAny>,
    pod: f64,
    found: &Bound<'_, PyAny>,
    confidence: f64,
    cracked_probability: Option<f64>,
    worth_blades: Option<f64>,
) -> PyResult<String> {
    let count = |name: &str, value: &Bound<'_, PyAny>| {
        whole(name, value, 0..=u64::from(u32::MAX), "give a count of blades").map(|count| count as u32)
    };
    let question = Question {
        blades: count("blades", blades)?,
        fewer_than: count("fewer_than", fewer_than)?,
        found: count("found", found)?,
        pod,
        confidence,
    };
    released(py, || {
        let prior = match (cracked_probability, worth_blades) {
            (None, Some(worth)) => {
                let rule = "belongs with cracked_probability";
                return Err(Error::argument("worth_blades", worth, rule, "state both, or leave it out"));
            }
            (None, None) => None,
            (Some(chance), None) => Some(Prior::each_blade(chance)?),
            (Some(mean), Some(worth)) => Some(Prior::row(mean, worth)?),
        };
        let answer = HowMany::new(&question, prior.as_ref())?;
        let Curves { if_there, if_left, by_prior } = answer.curves();
        let line = |reading: &str, answer: &BladesToLookAt, curve: Vec<f64>| {
            // What cannot be, as fewer looks than finds, is null.
            let curve: Vec<Value> = curve.into_iter().map(|chance| json!(chance)).collect();
            json!({"reading": reading, "answer": answer, "chance_left_at": curve})
        };
        let mut readings = vec![line("if there", &answer.if_there, if_there)];
        if question.found > 0 {
            readings.push(line("if left", &answer.if_left, if_left));
        }
        if let (Some((_, answer)), Some(curve)) = (&answer.by_prior, by_prior) {
            readings.push(line("by prior", answer, curve));
        }
        let said = answer.statements();
        Ok(json!({"question": answer.question, "readings": readings, "statements": said}).to_string())
    })
}
