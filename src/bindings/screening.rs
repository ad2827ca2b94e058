//! `Screening` for Python.

use super::arrays;
use super::doorway::released;
use super::study::Study;
use crate::simulation;
use pyo3::prelude::*;
use pyo3::types::PyDict;

/// Expected losses by quadrature.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct Screening {
    screening: simulation::Screening,
}

#[pymethods]
impl Screening {
    /// One of the tables, as columns by name.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table = released(py, || self.screening.table(name))?;
        arrays::dict(py, table)
    }
}

/// Work out expected losses by quadrature.
#[pyfunction]
#[pyo3(signature = (study, *, rough))]
pub(super) fn screen(py: Python<'_>, study: &Study, rough: bool) -> PyResult<Screening> {
    released(py, || if rough { study.study.screen_roughly() } else { study.study.screen() })
        .map(|screening| Screening { screening })
}
