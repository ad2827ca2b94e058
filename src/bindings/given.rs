//! `Given` for Python.

use super::arguments::{MOST_THREADS, whole};
use super::arrays;
use super::doorway::{Asker, interruptible, released};
use super::records::Records;
use super::study::Study;
use crate::simulation::{self, Learning};
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

/// How a study is given its records, as Python says it.
fn learning(
    draws: &Bound<'_, PyAny>,
    cracks: &Bound<'_, PyAny>,
    repeats: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
) -> PyResult<Learning> {
    let number = |name: &str, value: &Bound<'_, PyAny>| {
        whole(name, value, 0..=u64::from(u32::MAX), "a few hundred will do").map(|number| number as u32)
    };
    Ok(Learning {
        draws: number("draws", draws)?,
        cracks: number("cracks", cracks)?,
        repeats: number("repeats", repeats)?,
        seed: whole("seed", seed, 0..=u64::MAX, "any such number will do")?,
        threads: whole("threads", threads, 0..=MOST_THREADS, "0 uses what the machine gives")? as usize,
        ..Learning::default()
    })
}

/// Give a study its records; progress is called with the number of draws done.
#[pyfunction]
#[pyo3(signature = (study, records, *, draws, cracks, repeats, seed, threads, progress))]
#[allow(clippy::too_many_arguments)]
pub(super) fn given(
    py: Python<'_>,
    study: &Study,
    records: &Records,
    draws: &Bound<'_, PyAny>,
    cracks: &Bound<'_, PyAny>,
    repeats: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    progress: Option<Py<PyAny>>,
) -> PyResult<Given> {
    let learning = learning(draws, cracks, repeats, seed, threads)?;
    let mut asker = Asker::new(progress);
    let outcome = released(py, || study.study.given_with(&records.records, &learning, &mut |done| asker.ask(done)));
    match asker.stopped_by {
        Some(reason) => Err(reason),
        None => outcome.map(|given| Given { given }),
    }
}

/// Predict each past look from those before it: columns by name, and the mean score.
#[pyfunction]
#[pyo3(signature = (study, records, *, draws, cracks, repeats, seed, threads))]
#[allow(clippy::too_many_arguments)]
pub(super) fn hindcast<'py>(
    py: Python<'py>,
    study: &Study,
    records: &Records,
    draws: &Bound<'_, PyAny>,
    cracks: &Bound<'_, PyAny>,
    repeats: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
) -> PyResult<(Bound<'py, PyDict>, f64)> {
    let learning = learning(draws, cracks, repeats, seed, threads)?;
    let hindcast = interruptible(py, |ask| study.study.hindcast_with(&records.records, &learning, ask))?;
    Ok((arrays::dict(py, hindcast.table())?, hindcast.score()))
}

/// Evidence of the records under the study and with one assumption changed: columns by name; blades called, and the
/// shares of invented pasts with at least and with at most as many.
#[pyfunction]
#[pyo3(signature = (study, records, *, draws, cracks, repeats, seed, threads))]
#[allow(clippy::too_many_arguments, clippy::type_complexity)]
pub(super) fn explanations<'py>(
    py: Python<'py>,
    study: &Study,
    records: &Records,
    draws: &Bound<'_, PyAny>,
    cracks: &Bound<'_, PyAny>,
    repeats: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
) -> PyResult<(Bound<'py, PyDict>, usize, f64, f64)> {
    let learning = learning(draws, cracks, repeats, seed, threads)?;
    let found = interruptible(py, |ask| study.study.explanations_with(&records.records, &learning, ask))?;
    let [at_least, at_most] = found.chances();
    Ok((arrays::dict(py, found.table())?, found.called, at_least, at_most))
}
