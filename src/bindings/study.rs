//! `Study` for Python.

use super::arguments::{choice, file_value, whole};
use super::arrays;
use super::doorway::{interruptible, released};
use super::evidence::Evidence;
use super::growth_fit::GrowthEvidence;
use crate::model;
use crate::random::hash_name;
use crate::simulation::{Confirmed, Inspected, Inspection};
use numpy::IntoPyArray;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use std::path::PathBuf;

/// A valid study.
#[pyclass(frozen, eq, module = "serrata._engine")]
#[derive(PartialEq)]
pub(super) struct Study {
    pub study: model::Study,
}

#[pymethods]
impl Study {
    /// Read a study file.
    #[staticmethod]
    fn load(py: Python<'_>, path: PathBuf) -> PyResult<Self> {
        released(py, || model::Study::load(path)).map(|study| Study { study })
    }

    /// Read the text of a study file; source names it in messages.
    #[staticmethod]
    fn parse(py: Python<'_>, text: &str, source: &str) -> PyResult<Self> {
        released(py, || model::Study::parse(text, source)).map(|study| Study { study })
    }

    /// Text of a study file to begin with.
    #[staticmethod]
    fn template() -> &'static str {
        model::Study::template()
    }

    /// The text of a study file that reads back as this study.
    fn to_toml(&self) -> String {
        self.study.to_toml()
    }

    /// Equal studies have the same, whatever the form of their files.
    fn __hash__(&self) -> u64 {
        hash_name(&model::Study::of_checked(self.study.clone().into_parts()).to_toml())
    }

    /// Write a study file, in whole or not at all.
    fn save(&self, py: Python<'_>, path: PathBuf) -> PyResult<()> {
        released(py, || self.study.save(path))
    }

    /// The study with values changed, by key path.
    fn with_values(&self, py: Python<'_>, values: &Bound<'_, PyDict>) -> PyResult<Self> {
        let mut changes = Vec::with_capacity(values.len());
        for (path, value) in values {
            let path: String = path.extract()?;
            let value = file_value(&path, &value)?.to_string();
            changes.push((path, value));
        }
        let changes: Vec<(&str, &str)> = changes.iter().map(|(path, value)| (path.as_str(), value.as_str())).collect();
        released(py, || self.study.with_values(&changes)).map(|study| Study { study })
    }

    /// The study with a technique's detection as its records have it.
    fn with_technique(&self, py: Python<'_>, id: &str, like: Option<&str>, evidence: &Evidence) -> PyResult<Self> {
        released(py, || self.study.with_technique(id, like, &evidence.evidence)).map(|study| Study { study })
    }

    /// The study with a growth law's coefficient as sizes of cracks have it.
    fn with_growth(&self, py: Python<'_>, evidence: &GrowthEvidence, uncertain: Option<&str>) -> PyResult<Self> {
        released(py, || self.study.with_growth(&evidence.evidence, uncertain)).map(|study| Study { study })
    }

    /// Inspect a row at its first outage, in many lives: a column for each number, by name.
    #[pyo3(signature = (row, techniques, *, lives, seed))]
    fn inspect<'py>(
        &self,
        py: Python<'py>,
        row: String,
        techniques: Vec<String>,
        lives: &Bound<'_, PyAny>,
        seed: &Bound<'_, PyAny>,
    ) -> PyResult<Bound<'py, PyDict>> {
        let inspection = inspection(row, techniques, lives, seed)?;
        let lines = interruptible(py, |ask| self.study.inspect_with(&inspection, ask))?;
        let number = |of: &dyn Fn(&Inspected) -> f64| lines.iter().map(of).collect::<Vec<f64>>().into_pyarray(py);
        let columns = PyDict::new(py);
        columns.set_item("life", lines.iter().map(|line| line.life).collect::<Vec<u64>>().into_pyarray(py))?;
        let blades = lines.iter().map(|line| u64::from(line.blade)).collect::<Vec<u64>>();
        columns.set_item("blade", blades.into_pyarray(py))?;
        columns.set_item("depth_mm", number(&|line| line.depth_mm))?;
        columns.set_item("length_mm", number(&|line| line.length_mm))?;
        let closed = lines.iter().map(|line| line.mouth_is_closed).collect::<Vec<bool>>();
        columns.set_item("mouth_is_closed", closed.into_pyarray(py))?;
        for (place, technique) in inspection.techniques.iter().enumerate() {
            columns.set_item(technique, number(&|line| line.measured_mm[place]))?;
        }
        Ok(columns)
    }

    /// The same as the text of a file of inspection records.
    #[pyo3(signature = (row, techniques, *, lives, seed, confirmed))]
    fn inspection_records(
        &self,
        py: Python<'_>,
        row: String,
        techniques: Vec<String>,
        lives: &Bound<'_, PyAny>,
        seed: &Bound<'_, PyAny>,
        confirmed: &str,
    ) -> PyResult<String> {
        let known = [("every", Confirmed::Every), ("called", Confirmed::Called)];
        let confirmed = choice(py, "confirmed", confirmed, &known)?;
        let inspection = inspection(row, techniques, lives, seed)?;
        interruptible(py, |ask| self.study.inspection_records_with(&inspection, confirmed, ask))
    }

    /// A past that might have been: the text of its records, and for each row the truth.
    #[allow(clippy::type_complexity)]
    fn invented_past(
        &self,
        py: Python<'_>,
        seed: &Bound<'_, PyAny>,
    ) -> PyResult<(String, Vec<(f64, usize, Vec<f64>)>)> {
        let seed = whole("seed", seed, 0..=u64::MAX, "any such number will do")?;
        let past = released(py, || self.study.invented_past(seed))?;
        let rows = past.rows.into_iter().map(|row| (row.row_factor, row.finds, row.cracks_mm));
        Ok((past.records, rows.collect()))
    }

    /// Whether its lives go on from records.
    #[getter]
    fn is_given_records(&self) -> bool {
        self.study.is_given_records()
    }

    /// Ids of all hot spots, as root and hot spot.
    #[getter]
    fn hot_spots(&self) -> Vec<String> {
        let roots = self.study.roots.iter();
        roots.flat_map(|root| root.hot_spots.iter().map(|spot| format!("{}.{}", root.id, spot.id))).collect()
    }

    /// Assumptions of the study, in sentences.
    fn assumptions(&self) -> Vec<String> {
        self.study.assumptions()
    }

    /// Scheduled work of each strategy, outage by outage, as columns by name.
    fn work_calendar<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        arrays::dict(py, self.study.work_calendar())
    }

    /// The same as text.
    fn work_calendar_text(&self) -> String {
        self.study.work_calendar_text()
    }

    /// Warnings about the strategies, in sentences.
    fn warnings(&self) -> Vec<String> {
        self.study.warnings()
    }

    #[getter]
    fn name(&self) -> &str {
        &self.study.name
    }

    #[getter]
    fn start_year(&self) -> f64 {
        self.study.start_year
    }

    #[getter]
    fn horizon_years(&self) -> f64 {
        self.study.horizon_years
    }

    #[getter]
    fn baseline(&self) -> &str {
        &self.study.strategy(self.study.baseline).id
    }

    #[getter]
    fn currency(&self) -> &str {
        &self.study.money.currency
    }

    /// Ids and one-line descriptions.
    #[getter]
    fn strategies(&self) -> Vec<(&str, &str)> {
        let strategies = self.study.strategies.iter();
        strategies.map(|strategy| (strategy.id.as_str(), strategy.description.as_str())).collect()
    }

    #[getter]
    fn units(&self) -> Vec<&str> {
        self.study.units.iter().map(|unit| unit.id.as_str()).collect()
    }

    /// Ids and numbers of blades.
    #[getter]
    fn rows(&self) -> Vec<(&str, u32)> {
        self.study.rows.iter().map(|row| (row.id.as_str(), row.blades)).collect()
    }

    #[getter]
    fn techniques(&self) -> Vec<&str> {
        self.study.techniques.iter().map(|technique| technique.id.as_str()).collect()
    }
}

fn inspection(
    row: String,
    techniques: Vec<String>,
    lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
) -> PyResult<Inspection> {
    Ok(Inspection {
        row,
        techniques,
        lives: whole("lives", lives, 1..=Inspection::MOST_LIVES, "100 lives show what a row is up against")?,
        seed: whole("seed", seed, 0..=u64::MAX, "any such number will do")?,
    })
}
