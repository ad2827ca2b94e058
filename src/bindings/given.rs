//! `Given` for Python.

use super::arguments::{MOST_THREADS, whole};
use super::arrays;
use super::doorway::{Asker, interruptible, released};
use super::records::Records;
use super::study::Study;
use crate::simulation::{self, Learning};
use crate::statistics::records;
use pyo3::exceptions::PyTypeError;
use pyo3::prelude::*;
use pyo3::types::PyDict;

/// A study given its records.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct Given {
    given: simulation::Given,
}

#[pymethods]
impl Given {
    /// One of the tables, as columns by name.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table = released(py, || self.given.table(name))?;
        arrays::dict(py, table)
    }

    /// Warnings.
    fn warnings(&self) -> Vec<String> {
        self.given.warnings()
    }

    /// The study whose lives go on from the records.
    #[getter]
    fn study(&self) -> Study {
        Study { study: self.given.study.clone() }
    }
}

/// How a study is given its records, as Python says it: draws, cracks, repeats, seed and threads.
fn learning(sampling: &Bound<'_, PyDict>) -> PyResult<Learning> {
    let asked = |name: &str, most: u64, otherwise: &str| -> PyResult<u64> {
        let value = sampling.get_item(name)?.ok_or_else(|| PyTypeError::new_err(format!("{name} is missing")))?;
        whole(name, &value, 0..=most, otherwise)
    };
    let few = |name: &str| asked(name, u32::MAX.into(), "a few hundred will do").map(|number| number as u32);
    Ok(Learning {
        draws: few("draws")?,
        cracks: few("cracks")?,
        repeats: few("repeats")?,
        seed: asked("seed", u64::MAX, "any such number will do")?,
        threads: asked("threads", MOST_THREADS, "0 uses what the machine gives")? as usize,
        ..Learning::default()
    })
}

/// None are none: finds may stand in the study.
fn records_or_none(records: Option<&Records>) -> records::Records {
    records.map_or_else(records::Records::none, |records| records.records.clone())
}

/// Give a study its records; progress is called with the number of draws done.
#[pyfunction]
#[pyo3(signature = (study, records, sampling, progress))]
pub(super) fn given(
    py: Python<'_>,
    study: &Study,
    records: Option<&Records>,
    sampling: &Bound<'_, PyDict>,
    progress: Option<Py<PyAny>>,
) -> PyResult<Given> {
    let (learning, records) = (learning(sampling)?, records_or_none(records));
    let mut asker = Asker::new(progress);
    let outcome = released(py, || study.study.given_with(&records, &learning, &mut |done| asker.ask(done)));
    match asker.stopped_by {
        Some(reason) => Err(reason),
        None => outcome.map(|given| Given { given }),
    }
}

/// Give a study its records as far as one row asks for them.
#[pyfunction]
#[pyo3(signature = (study, row, records, sampling))]
pub(super) fn given_for_row(
    py: Python<'_>,
    study: &Study,
    row: &str,
    records: Option<&Records>,
    sampling: &Bound<'_, PyDict>,
) -> PyResult<Study> {
    let (learning, records) = (learning(sampling)?, records_or_none(records));
    interruptible(py, |ask| study.study.given_for_row_with(row, &records, &learning, ask)).map(|study| Study { study })
}

/// Predict each past look from those before it: columns by name, and the mean score.
#[pyfunction]
#[pyo3(signature = (study, records, sampling))]
pub(super) fn hindcast<'py>(
    py: Python<'py>,
    study: &Study,
    records: Option<&Records>,
    sampling: &Bound<'_, PyDict>,
) -> PyResult<(Bound<'py, PyDict>, f64)> {
    let (learning, records) = (learning(sampling)?, records_or_none(records));
    let hindcast = interruptible(py, |ask| study.study.hindcast_with(&records, &learning, ask))?;
    Ok((arrays::dict(py, hindcast.table())?, hindcast.score()))
}

/// Evidence of the records under the study and with one assumption changed: columns by name; blades called, and the
/// shares of invented pasts with at least and with at most as many.
#[pyfunction]
#[pyo3(signature = (study, records, sampling))]
pub(super) fn explanations<'py>(
    py: Python<'py>,
    study: &Study,
    records: Option<&Records>,
    sampling: &Bound<'_, PyDict>,
) -> PyResult<(Bound<'py, PyDict>, usize, f64, f64)> {
    let (learning, records) = (learning(sampling)?, records_or_none(records));
    let found = interruptible(py, |ask| study.study.explanations_with(&records, &learning, ask))?;
    let [at_least, at_most] = found.chances();
    Ok((arrays::dict(py, found.table())?, found.called, at_least, at_most))
}
