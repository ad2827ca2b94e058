//! `Comparison` for Python.

use super::arguments::{MOST_THREADS, whole};
use super::arrays;
use super::doorway::released;
use super::errors::exception;
use super::study::Study;
use crate::simulation;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyDict};

/// What a run of a study came to.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct Comparison {
    comparison: simulation::Comparison,
    /// Threads that did the work; read when it was done, as the machine's share may change.
    threads: usize,
}

impl Comparison {
    pub fn new(comparison: simulation::Comparison) -> Self {
        let threads = comparison.run.threads_used();
        Comparison { comparison, threads }
    }
}

#[pymethods]
impl Comparison {
    /// One of the tables, as columns by name.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table = released(py, || self.comparison.table(name))?;
        arrays::dict(py, table)
    }

    /// Everything, as one JSON object.
    fn to_json(&self, py: Python<'_>) -> PyResult<String> {
        released(py, || Ok(self.comparison.to_json()))
    }

    /// Bytes that from_bytes reads back as the same comparison.
    fn to_bytes<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyBytes>> {
        let bytes = released(py, || Ok(self.comparison.to_bytes()))?;
        Ok(PyBytes::new(py, &bytes))
    }

    /// Read what to_bytes wrote; threads says how many did the work.
    #[staticmethod]
    #[pyo3(signature = (data, threads))]
    fn from_bytes(py: Python<'_>, data: &[u8], threads: &Bound<'_, PyAny>) -> PyResult<Self> {
        let threads = whole("threads", threads, MOST_THREADS, "0 stands for unknown")? as usize;
        let comparison = simulation::Comparison::from_bytes(data).map_err(|error| exception(py, &error))?;
        Ok(Comparison { comparison, threads })
    }

    /// What to beware of, in sentences.
    fn warnings(&self) -> Vec<String> {
        self.comparison.warnings()
    }

    #[getter]
    fn study(&self) -> Study {
        Study { study: self.comparison.study.clone() }
    }

    #[getter]
    fn trials(&self) -> u64 {
        self.comparison.trials()
    }

    #[getter]
    fn seed(&self) -> u64 {
        self.comparison.run.seed
    }

    #[getter]
    fn threads(&self) -> usize {
        self.threads
    }
}
