//! `Evidence` for Python.

use super::arguments::whole;
use super::errors::exception;
use crate::error::Error;
use crate::random::Key;
use crate::statistics::evidence;
use pyo3::prelude::*;
use serde_json::json;

/// What records say of a technique, in the words of a study.
#[pyclass(frozen, eq, module = "serrata._engine")]
#[derive(PartialEq)]
pub(super) struct Evidence {
    pub evidence: evidence::Evidence,
}

#[pymethods]
impl Evidence {
    /// Half-way size in mm, spread, floor and ceiling of the curve.
    #[getter]
    fn pod(&self) -> (f64, f64, f64, f64) {
        let pod = self.evidence.pod;
        (pod.q50_mm, pod.spread, pod.floor, pod.ceiling)
    }

    #[getter]
    fn surface_shift_log(&self) -> Vec<(String, f64)> {
        self.evidence.surface_shift_log.clone()
    }

    #[getter]
    fn grade_shift_log(&self) -> Vec<(&'static str, f64)> {
        self.evidence.grade_shift_log.iter().map(|(grade, shift)| (grade.name(), *shift)).collect()
    }

    #[getter]
    fn inspection_sigma(&self) -> Option<f64> {
        self.evidence.inspection_sigma
    }

    #[getter]
    fn false_call_probability(&self) -> Option<f64> {
        self.evidence.false_call_probability
    }

    #[getter]
    fn basis(&self) -> &str {
        &self.evidence.basis
    }

    fn __repr__(&self) -> String {
        let pod = self.evidence.pod;
        format!("<Evidence: q50 {:.3} mm, spread {:.3}; {}>", pod.q50_mm, pod.spread, self.evidence.basis)
    }

    fn _repr_html_<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        card(slf.as_any())
    }

    /// Read what was pickled.
    #[staticmethod]
    fn _read(py: Python<'_>, json: &str) -> PyResult<Self> {
        let evidence = serde_json::from_str(json).map_err(|error| {
            exception(py, &Error::argument("json", "pickled evidence", &error.to_string(), "pickle it anew"))
        })?;
        Ok(Evidence { evidence })
    }

    fn __reduce__<'py>(&self, py: Python<'py>) -> PyResult<(Bound<'py, PyAny>, (String,))> {
        let json = json!(self.evidence).to_string();
        Ok((py.get_type::<Evidence>().getattr("_read")?, (json,)))
    }
}

/// What a notebook shows of it: cards are made in Python.
pub(super) fn card<'py>(evidence: &Bound<'py, PyAny>) -> PyResult<Bound<'py, PyAny>> {
    evidence.py().import("serrata.card")?.getattr("of_evidence")?.call1((evidence,))
}

/// Key of one draw of what the data leave open about a technique, apart from those of others.
pub(super) fn draw_key(technique: &str, seed: &Bound<'_, PyAny>, draw: &Bound<'_, PyAny>) -> PyResult<Key> {
    let seed = whole("seed", seed, 0..=u64::MAX, "any such number will do")?;
    let draw = whole("draw", draw, 0..=u64::MAX, "0 is the first")?;
    Ok(Key::from_seed(seed).named("detection").named(technique).child(draw))
}
