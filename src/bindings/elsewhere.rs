//! Parts of a run for Python, lived by executors.

use super::arguments::{MOST_THREADS, PLANTED_REMEDY, whole};
use super::comparison::Comparison;
use super::doorway::{interruptible, released};
use super::errors::exception;
use super::study::Study;
use crate::simulation::{self, Came, Partition, Run};
use pyo3::prelude::*;
use pyo3::types::PyBytes;
use std::sync::{Mutex, PoisonError};

/// A run that is put together of parts.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct Assembly {
    partition: Partition,
    /// Gone once the run is finished.
    assembly: Mutex<Option<simulation::Assembly>>,
}

#[pymethods]
impl Assembly {
    /// Of a run in parts of so many trials.
    #[new]
    #[pyo3(signature = (study, *, trials, planted_lives, seed, trials_each))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        study: &Study,
        trials: &Bound<'_, PyAny>,
        planted_lives: &Bound<'_, PyAny>,
        seed: &Bound<'_, PyAny>,
        trials_each: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let partition = partition(py, trials, planted_lives, seed, trials_each, 0)?;
        let assembly = simulation::Assembly::new(&study.study, partition.clone());
        Ok(Assembly { partition, assembly: Mutex::new(Some(assembly)) })
    }

    /// How many parts there are.
    #[getter]
    fn parts(&self) -> u64 {
        self.partition.count()
    }

    /// Trials of each part but the last.
    #[getter]
    fn trials_each(&self) -> u64 {
        self.partition.trials_each()
    }

    /// Adds a part: its number, and whether it came first, again, or otherwise.
    fn add(&self, py: Python<'_>, part: &[u8]) -> PyResult<(u64, &'static str)> {
        let (number, came) = released(py, || {
            let mut assembly = self.assembly.lock().unwrap_or_else(PoisonError::into_inner);
            assembly.as_mut().map_or(Ok((0, Came::Again)), |assembly| assembly.add(part))
        })?;
        let came = match came {
            Came::First => "first",
            Came::Again => "again",
            Came::Otherwise => "otherwise",
        };
        Ok((number, came))
    }

    /// Trials of the parts that came.
    #[getter]
    fn trials(&self) -> u64 {
        let assembly = self.assembly.lock().unwrap_or_else(PoisonError::into_inner);
        assembly.as_ref().map_or(0, simulation::Assembly::trials)
    }

    /// The comparison.
    fn finish(&self, py: Python<'_>) -> PyResult<Comparison> {
        let assembly = self.assembly.lock().unwrap_or_else(PoisonError::into_inner).take();
        let finished = assembly.ok_or_else(|| pyo3::exceptions::PyRuntimeError::new_err("finished before"))?.finish();
        finished.map(Comparison::by_others).map_err(|error| exception(py, &error))
    }
}

/// Lives one part of a run.
#[pyfunction]
#[pyo3(signature = (study, *, trials, planted_lives, seed, trials_each, threads, part))]
#[allow(clippy::too_many_arguments)]
pub(super) fn live_part<'py>(
    py: Python<'py>,
    study: &Study,
    trials: &Bound<'_, PyAny>,
    planted_lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    trials_each: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    part: u64,
) -> PyResult<Bound<'py, PyBytes>> {
    let threads = whole("threads", threads, 0..=MOST_THREADS, "0 uses what the machine gives")? as usize;
    let partition = known(partition(py, trials, planted_lives, seed, trials_each, threads)?);
    let bytes = interruptible(py, |ask| partition.live(&study.study, part, ask))?;
    Ok(PyBytes::new(py, &bytes))
}

/// The partition that this process lived parts of before, if it is the same: what was tuned for it is not tuned anew.
fn known(partition: Partition) -> Partition {
    const MOST: usize = 4;
    static KNOWN: Mutex<Vec<Partition>> = Mutex::new(Vec::new());
    let mut known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(same) = known.iter().find(|other| **other == partition) {
        return same.clone();
    }
    known.truncate(MOST - 1);
    known.insert(0, partition.clone());
    partition
}

fn partition(
    py: Python<'_>,
    trials: &Bound<'_, PyAny>,
    planted_lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    trials_each: &Bound<'_, PyAny>,
    threads: usize,
) -> PyResult<Partition> {
    const MOST: u64 = Run::MOST_TRIALS;
    let run = Run {
        trials: whole("trials", trials, 1..=MOST, "10000 trials give a first answer; 1000000 resolve rare losses")?,
        planted_lives: whole("planted_lives", planted_lives, 0..=MOST, PLANTED_REMEDY)?,
        seed: whole("seed", seed, 0..=u64::MAX, "any such number will do; leave it out to have one drawn")?,
        threads,
        ..Run::default()
    };
    let trials_each = whole("block_trials", trials_each, 1..=MOST, "leave it out: it changes no result")?;
    Partition::new(run, trials_each).map_err(|error| exception(py, &error))
}
