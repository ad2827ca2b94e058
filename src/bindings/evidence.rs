//! `Evidence` for Python.

use super::arguments::whole;
use crate::random::Key;
use crate::statistics::evidence;
use pyo3::prelude::*;

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
}

/// Key of one draw of what the data leave open about a technique, apart from those of others.
pub(super) fn draw_key(technique: &str, seed: &Bound<'_, PyAny>, draw: &Bound<'_, PyAny>) -> PyResult<Key> {
    let seed = whole("seed", seed, u64::MAX, "any such number will do")?;
    let draw = whole("draw", draw, u64::MAX, "0 is the first")?;
    Ok(Key::from_seed(seed).named("detection").named(technique).child(draw))
}
