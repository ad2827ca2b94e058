//! Demonstration tests for Python.

use super::arguments::whole;
use super::doorway::released;
use super::errors::exception;
use crate::statistics::demonstration::{self, MOST_SPECIMENS, Plan};
use pyo3::prelude::*;

const COUNT: &str = "give a count of specimens";

/// The outcome of a demonstration test.
#[pyclass(frozen, eq, module = "serrata._engine")]
#[derive(PartialEq)]
pub(super) struct Demonstration {
    test: demonstration::Demonstration,
}

#[pymethods]
impl Demonstration {
    #[new]
    #[pyo3(signature = (found, specimens, confidence, lengths_mm, false_calls))]
    fn new<'py>(
        py: Python<'py>,
        found: &Bound<'py, PyAny>,
        specimens: &Bound<'py, PyAny>,
        confidence: f64,
        lengths_mm: Option<(f64, f64)>,
        false_calls: Option<(Bound<'py, PyAny>, Bound<'py, PyAny>)>,
    ) -> PyResult<Self> {
        let found = whole("found", found, 0..=MOST_SPECIMENS, COUNT)?;
        let specimens = whole("specimens", specimens, 0..=MOST_SPECIMENS, COUNT)?;
        let false_calls = match false_calls {
            Some((calls, clean)) => Some((
                whole("false_calls", &calls, 0..=MOST_SPECIMENS, COUNT)?,
                whole("clean_specimens", &clean, 0..=MOST_SPECIMENS, COUNT)?,
            )),
            None => None,
        };
        let test = released(py, || {
            let mut test = demonstration::Demonstration::new(found, specimens, confidence)?;
            if let Some((shortest, longest)) = lengths_mm {
                test = test.with_lengths_mm(shortest, longest)?;
            }
            match false_calls {
                Some((calls, clean)) => test.with_false_calls(calls, clean),
                None => Ok(test),
            }
        })?;
        Ok(Demonstration { test })
    }

    fn shows(&self, pod: f64) -> bool {
        self.test.shows(pod)
    }

    fn confidence_in(&self, pod: f64) -> f64 {
        self.test.confidence_in(pod)
    }

    #[pyo3(signature = (pod))]
    fn statements(&self, py: Python<'_>, pod: Option<f64>) -> PyResult<Vec<String>> {
        self.test.statements(pod).map_err(|error| exception(py, &error))
    }

    #[getter]
    fn lower_bound(&self) -> f64 {
        self.test.lower_bound
    }

    #[getter]
    fn interval(&self) -> (f64, f64) {
        self.test.interval
    }

    /// Share of false calls with its interval.
    #[getter]
    fn false_call_share(&self) -> Option<(f64, f64, f64)> {
        self.test.false_calls.map(|share| (share.value, share.low, share.high))
    }
}

/// A plan of a demonstration test.
#[pyclass(frozen, eq, module = "serrata._engine")]
#[derive(PartialEq)]
pub(super) struct DemonstrationPlan {
    plan: Plan,
}

#[pymethods]
impl DemonstrationPlan {
    #[new]
    #[pyo3(signature = (pod, confidence, misses))]
    fn new(py: Python<'_>, pod: f64, confidence: f64, misses: &Bound<'_, PyAny>) -> PyResult<Self> {
        let misses = whole("misses", misses, 0..=MOST_SPECIMENS, "0 allows no miss")?;
        released(py, || Plan::new(pod, confidence, misses)).map(|plan| DemonstrationPlan { plan })
    }

    fn chance_of_passing(&self, py: Python<'_>, true_pod: f64) -> PyResult<f64> {
        self.plan.chance_of_passing(true_pod).map_err(|error| exception(py, &error))
    }

    #[getter]
    fn specimens(&self) -> u64 {
        self.plan.specimens
    }

    #[getter]
    fn lower_bound(&self) -> f64 {
        self.plan.lower_bound
    }
}
