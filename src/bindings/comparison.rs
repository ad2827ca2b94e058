//! `Comparison` for Python.

use super::arguments::{MOST_THREADS, PLANTED_REMEDY, TARGET_REMEDY, number_or_none, whole};
use super::arrays;
use super::doorway::{Asker, released};
use super::errors::exception;
use super::study::Study;
use crate::model::StrategyId;
use crate::simulation::{self, Estimate, MEASURES, Run, Verdict};
use pyo3::exceptions::PyKeyboardInterrupt;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyDict};
use serde_json::{Value, json};

/// Results of a run of a study.
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

    /// Of work that was done elsewhere, by who knows how many threads.
    pub fn by_others(comparison: simulation::Comparison) -> Self {
        Comparison { comparison, threads: 0 }
    }
}

#[pymethods]
impl Comparison {
    /// One of the tables, as columns by name.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table = released(py, || self.comparison.table(name))?;
        arrays::dict(py, table)
    }

    /// Everything, or all with some tables alone, as one JSON object.
    #[pyo3(signature = (tables=None))]
    fn to_json(&self, py: Python<'_>, tables: Option<Vec<String>>) -> PyResult<String> {
        let Some(tables) = tables else { return released(py, || Ok(self.comparison.to_json())) };
        let known = |name: &String| simulation::TABLES.into_iter().find(|known| known == name);
        if let Some(unknown) = tables.iter().find(|name| known(name).is_none()) {
            // Refused as a table is that there is not.
            return released(py, || self.comparison.table(unknown).map(|_| String::new()));
        }
        let tables: Vec<&str> = tables.iter().filter_map(known).collect();
        released(py, || Ok(self.comparison.to_json_with(&tables)))
    }

    /// Which plan to take, as JSON.
    fn which_plan(&self, py: Python<'_>) -> PyResult<String> {
        released(py, || {
            let which = self.comparison.which_plan()?;
            let id = |strategy: StrategyId| &self.comparison.study.strategy(strategy).id;
            let names: Vec<&str> = MEASURES.iter().map(|quantity| quantity.name()).collect();
            let plans = which.plans.iter().map(|plan| {
                json!({
                    "strategy": id(plan.strategy),
                    "measures": plan.measures.iter().zip(&names).map(|(measure, name)| estimate(name, measure)).collect::<Vec<_>>(),
                    "chances_to_be_best": plan.chances_to_be_best,
                    "limits": plan.limits.map(Verdict::name),
                    "beaten_by": plan.beaten_by.map(|(other, _)| id(other)),
                    "beaten_confidence": plan.beaten_by.map(|(_, confidence)| confidence),
                    "cost_of_each_loss_avoided": plan.cost_of_each_loss_avoided,
                })
            });
            let ties = which.ties.iter().map(|tie| {
                json!({
                    "quantity": tie.quantity.name(),
                    "first": id(tie.first),
                    "other": id(tie.other),
                    "difference": estimate(tie.quantity.name(), &tie.difference),
                    "trials_needed": tie.trials_needed,
                    "is_unseen": tie.is_unseen,
                })
            });
            let study = &self.comparison.study;
            Ok(json!({
                "study": study.name,
                "currency": study.money.currency,
                "horizon_years": study.horizon_years,
                "trials": self.comparison.trials(),
                "planted_lives": self.comparison.planted_lives(),
                "has_limits": study.limits.is_some(),
                "plans": plans.collect::<Vec<_>>(),
                "ties": ties.collect::<Vec<_>>(),
                "cheapest": which.cheapest.map(|(strategy, _)| id(strategy)),
                "cheapest_chance": which.cheapest.and_then(|(_, chance)| chance),
                "has_records": study.posterior.is_some(),
            })
            .to_string())
        })
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
        let threads = whole("threads", threads, 0..=MOST_THREADS, "0 stands for unknown")? as usize;
        let comparison = simulation::Comparison::from_bytes(data).map_err(|error| exception(py, &error))?;
        Ok(Comparison { comparison, threads })
    }

    /// Version of serrata that ran it.
    #[getter]
    fn version(&self) -> &str {
        &self.comparison.version
    }

    /// Warnings, in sentences.
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

    /// Lives of each row with a planted crack.
    #[getter]
    fn planted_lives(&self) -> u64 {
        self.comparison.planted_lives()
    }

    /// Why it ended, in words.
    #[getter]
    fn ended(&self) -> &'static str {
        self.comparison.ended.name()
    }

    /// Standard error over value that was asked for.
    #[getter]
    fn target_relative_error(&self) -> Option<f64> {
        self.comparison.run.target_relative_error
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

/// Live the fleet under every strategy, many times, and compare.
#[pyfunction]
#[pyo3(signature = (study, *, trials, planted_lives, seed, threads, block_trials, keep_finished, target_relative_error, most_seconds, progress))]
#[allow(clippy::too_many_arguments)]
pub(super) fn simulate(
    py: Python<'_>,
    study: &Study,
    trials: &Bound<'_, PyAny>,
    planted_lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    block_trials: &Bound<'_, PyAny>,
    keep_finished: bool,
    target_relative_error: Option<&Bound<'_, PyAny>>,
    most_seconds: Option<&Bound<'_, PyAny>>,
    progress: Option<Py<PyAny>>,
) -> PyResult<Comparison> {
    const MOST: u64 = Run::MOST_TRIALS;
    let run = Run {
        trials: whole("trials", trials, 1..=MOST, "10000 trials give a first answer; 1000000 resolve rare losses")?,
        planted_lives: whole("planted_lives", planted_lives, 0..=MOST, PLANTED_REMEDY)?,
        seed: whole("seed", seed, 0..=u64::MAX, "any such number will do; leave it out to have one drawn")?,
        threads: whole("threads", threads, 0..=MOST_THREADS, "0 uses what the machine gives")? as usize,
        block_trials: whole("block_trials", block_trials, 0..=MOST, "leave it out: it changes no result")?,
        keep_finished,
        target_relative_error: number_or_none("target_relative_error", target_relative_error, TARGET_REMEDY)?,
        most_seconds: number_or_none("most_seconds", most_seconds, "leave it out to live all trials")?,
    };
    let mut asker = Asker::new(progress);
    let outcome = released(py, || Ok(study.study.simulate_with(&run, &mut |done| asker.ask(done))))?;
    match (asker.stopped_by, outcome) {
        // Ctrl-C with something to keep is answered by what there is; any other exception goes on.
        (Some(reason), Ok(found)) if keep_finished && reason.is_instance_of::<PyKeyboardInterrupt>(py) => {
            Ok(Comparison::new(found))
        }
        (Some(reason), Err(error)) if keep_finished && reason.is_instance_of::<PyKeyboardInterrupt>(py) => {
            Err(exception(py, &error))
        }
        (Some(reason), _) => Err(reason),
        (None, outcome) => outcome.map(Comparison::new).map_err(|error| exception(py, &error)),
    }
}

/// An estimate with its name; what is no number is null.
fn estimate(name: &str, estimate: &Estimate) -> Value {
    json!({"quantity": name, "value": estimate.value, "low": estimate.low, "high": estimate.high})
}
