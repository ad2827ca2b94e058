//! Growth from records, for Python.

use super::arguments::choice;
use super::arrays;
use super::doorway::released;
use super::errors::exception;
use super::study::Study;
use crate::error::Error;
use crate::simulation::{self, FollowedAt};
use crate::statistics::evidence;
use crate::statistics::records::{Decimal, Format, Sizes};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde_json::json;

/// A factor on growth, fitted to sizes of cracks that were followed.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct GrowthFit {
    fit: simulation::GrowthFit,
}

type Pairs = Vec<(String, String)>;

/// Fit the sizes in the text of a CSV file; source names it in messages.
#[pyfunction]
#[pyo3(signature = (study, text, source, *, hot_spot, row, delimiter, decimal, columns, values))]
#[allow(clippy::too_many_arguments)]
pub(super) fn fit_growth_text(
    py: Python<'_>,
    study: &Study,
    text: &str,
    source: &str,
    hot_spot: Option<String>,
    row: Option<String>,
    delimiter: Option<char>,
    decimal: Option<&str>,
    columns: Pairs,
    values: Pairs,
) -> PyResult<GrowthFit> {
    let marks = [("point", Decimal::Point), ("comma", Decimal::Comma)];
    let decimal = decimal.map(|decimal| choice(py, "decimal", decimal, &marks)).transpose()?;
    let format = Format { delimiter, decimal, columns, values, ..Format::default() };
    let at = FollowedAt { hot_spot, row };
    released(py, || study.study.fit_growth(&Sizes::parse(text, source, &format)?, &at)).map(|fit| GrowthFit { fit })
}

/// Fit the sizes in a table: names of its columns, and a text for each cell.
#[pyfunction]
#[pyo3(signature = (study, header, rows, source, *, hot_spot, row, columns, values))]
#[allow(clippy::too_many_arguments)]
pub(super) fn fit_growth_cells(
    py: Python<'_>,
    study: &Study,
    header: Vec<String>,
    rows: Vec<Vec<String>>,
    source: &str,
    hot_spot: Option<String>,
    row: Option<String>,
    columns: Pairs,
    values: Pairs,
) -> PyResult<GrowthFit> {
    let format = Format { columns, values, ..Format::default() };
    let at = FollowedAt { hot_spot, row };
    released(py, || study.study.fit_growth(&Sizes::from_cells(header, rows, source, &format)?, &at))
        .map(|fit| GrowthFit { fit })
}

#[pymethods]
impl GrowthFit {
    /// One of the tables, as columns by name.
    fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table = released(py, || self.fit.table(name))?;
        arrays::dict(py, table)
    }

    /// One screen about the fit.
    fn summary(&self, py: Python<'_>) -> PyResult<String> {
        released(py, || Ok(self.fit.summary()))
    }

    /// What the numbers mean, in sentences.
    fn notes(&self) -> Vec<String> {
        self.fit.notes()
    }

    /// What limits the numbers, in sentences.
    fn warnings(&self) -> Vec<String> {
        self.fit.warnings()
    }

    /// Bounds on the factor, each by itself.
    fn bounds(&self, py: Python<'_>, confidence: f64) -> PyResult<(Option<f64>, Option<f64>)> {
        let bounds = released(py, || self.fit.bounds(confidence))?;
        Ok((bounds.low, bounds.high))
    }

    /// Log-likelihood of a factor.
    fn log_likelihood_at(&self, py: Python<'_>, factor: f64) -> PyResult<f64> {
        released(py, || self.fit.log_likelihood_at(factor))
    }

    /// What the sizes say, in the words of a study.
    fn evidence(&self, py: Python<'_>) -> PyResult<GrowthEvidence> {
        released(py, || self.fit.evidence()).map(|evidence| GrowthEvidence { evidence })
    }

    #[getter]
    fn is_bound_only(&self) -> bool {
        self.fit.is_bound_only()
    }

    #[getter]
    fn factor(&self) -> Option<f64> {
        self.fit.factor()
    }

    #[getter]
    fn standard_error_log(&self) -> Option<f64> {
        self.fit.standard_error_log()
    }

    #[getter]
    fn sigma_log(&self) -> Option<f64> {
        self.fit.sigma_log()
    }

    #[getter]
    fn coefficient_m_per_start(&self) -> f64 {
        self.fit.coefficient_m_per_start()
    }

    #[getter]
    fn law(&self) -> &str {
        self.fit.law()
    }

    #[getter]
    fn log_likelihood(&self) -> f64 {
        self.fit.log_likelihood()
    }

    #[getter]
    fn log_likelihood_of_study(&self) -> f64 {
        self.fit.log_likelihood_of_study()
    }

    #[getter]
    fn p_of_study(&self) -> f64 {
        self.fit.p_of_study()
    }
}

/// Growth by a law as sizes of cracks have it, in the words of a study.
#[pyclass(frozen, eq, module = "serrata._engine")]
#[derive(PartialEq)]
pub(super) struct GrowthEvidence {
    pub evidence: evidence::GrowthEvidence,
}

#[pymethods]
impl GrowthEvidence {
    #[getter]
    fn law(&self) -> &str {
        &self.evidence.law
    }

    #[getter]
    fn coefficient_m_per_start(&self) -> f64 {
        self.evidence.coefficient_m_per_start
    }

    #[getter]
    fn sigma_log(&self) -> f64 {
        self.evidence.sigma_log
    }

    #[getter]
    fn basis(&self) -> &str {
        &self.evidence.basis
    }

    fn __repr__(&self) -> String {
        let evidence::GrowthEvidence { law, coefficient_m_per_start, sigma_log, basis } = &self.evidence;
        format!("<GrowthEvidence: {law}, {coefficient_m_per_start:.3e} m per start, sigma_log {sigma_log:.3}; {basis}>")
    }

    fn _repr_html_<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        super::evidence::card(slf.as_any())
    }

    /// Read what was pickled.
    #[staticmethod]
    fn _read(py: Python<'_>, json: &str) -> PyResult<Self> {
        let evidence = serde_json::from_str(json).map_err(|error| {
            exception(py, &Error::argument("json", "pickled evidence", &error.to_string(), "pickle it anew"))
        })?;
        Ok(GrowthEvidence { evidence })
    }

    fn __reduce__<'py>(&self, py: Python<'py>) -> PyResult<(Bound<'py, PyAny>, (String,))> {
        let json = json!(self.evidence).to_string();
        Ok((py.get_type::<GrowthEvidence>().getattr("_read")?, (json,)))
    }
}
