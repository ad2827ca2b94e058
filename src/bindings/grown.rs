//! `GrownCracks` for Python.

use super::arguments::whole;
use super::arrays;
use super::doorway::{interruptible, released};
use super::study::Study;
use crate::simulation::{self, GrowthQuestion};
use pyo3::prelude::*;
use pyo3::types::PyDict;

/// Cracks of one hot spot, grown to the loss of their blades.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct GrownCracks {
    grown: simulation::GrownCracks,
}

#[pymethods]
impl GrownCracks {
    /// One of the tables, as columns by name.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table = released(py, || self.grown.table(name))?;
        arrays::dict(py, table)
    }

    /// Chance that at least so many looks at equal intervals fall into the window, and its interval.
    fn p_looks(&self, at_least: u32, interval_years: f64) -> (f64, f64, f64) {
        let chance = self.grown.p_looks(at_least, interval_years);
        (chance.value, chance.low, chance.high)
    }

    /// Chance that a crack is not lost within the years that it is followed, and its interval.
    fn p_remains(&self) -> (f64, f64, f64) {
        let chance = self.grown.p_remains();
        (chance.value, chance.low, chance.high)
    }

    /// Warnings.
    fn warnings(&self) -> Vec<String> {
        self.grown.warnings()
    }

    /// With what the cracks begin where it was asked for, in words.
    fn beginning(&self) -> Option<String> {
        self.grown.beginning()
    }

    #[getter]
    fn joins(&self) -> bool {
        self.grown.joins()
    }

    #[getter]
    fn mean_years_between_outages(&self) -> f64 {
        self.grown.mean_years_between_outages()
    }

    #[getter]
    fn outage_years(&self) -> Vec<f64> {
        self.grown.outage_years()
    }

    #[getter]
    fn row(&self) -> &str {
        self.grown.row()
    }
}

/// Grow cracks of one hot spot to the loss of their blades.
#[pyfunction]
#[pyo3(signature = (study, hot_spot, *, row, from_depth_mm, from_length_mm, technique, detectable_at, cracks, seed))]
#[allow(clippy::too_many_arguments)]
pub(super) fn grow(
    py: Python<'_>,
    study: &Study,
    hot_spot: String,
    row: Option<String>,
    from_depth_mm: Option<f64>,
    from_length_mm: Option<f64>,
    technique: Option<String>,
    detectable_at: f64,
    cracks: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
) -> PyResult<GrownCracks> {
    const MOST: u64 = GrowthQuestion::MOST_CRACKS;
    let question = GrowthQuestion {
        hot_spot,
        row,
        from_depth_mm,
        from_length_mm,
        technique,
        detectable_at,
        cracks: whole("cracks", cracks, 1..=MOST, "10000 give the tenth of a window within 6 %")?,
        seed: whole("seed", seed, 0..=u64::MAX, "any such number will do")?,
    };
    interruptible(py, |ask| study.study.grow_with(&question, ask)).map(|grown| GrownCracks { grown })
}
