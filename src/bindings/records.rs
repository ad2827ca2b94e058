//! `Records` for Python.

use super::arguments::choice;
use super::doorway::released;
use crate::statistics::capture_histories::{CaptureHistories, Class};
use crate::statistics::paired::{compare, compare_by};
use crate::statistics::records::{self, ACCESS, BadLines, DateOrder, Decimal, Format, GRADES, Line, SIDES, When, word};
use numpy::IntoPyArray;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde_json::json;
use std::path::PathBuf;

/// Inspection records that keep every rule.
#[pyclass(frozen, eq, module = "serrata._engine")]
#[derive(PartialEq)]
pub(super) struct Records {
    pub records: records::Records,
}

#[pymethods]
impl Records {
    /// Read the text of a CSV file; source names it in messages.
    #[staticmethod]
    #[pyo3(signature = (text, source, *, delimiter, decimal, dates, columns, values, bad_lines))]
    #[allow(clippy::too_many_arguments)]
    fn parse(
        py: Python<'_>,
        text: &str,
        source: &str,
        delimiter: Option<char>,
        decimal: Option<&str>,
        dates: &str,
        columns: Vec<(String, String)>,
        values: Vec<(String, String)>,
        bad_lines: &str,
    ) -> PyResult<Self> {
        let format = Format { delimiter, ..format(py, decimal, dates, columns, values, bad_lines)? };
        released(py, || records::Records::parse(text, source, &format)).map(|records| Records { records })
    }

    /// Take a table: names of its columns, and a text for each cell.
    #[staticmethod]
    #[pyo3(signature = (header, rows, source, *, dates, columns, values, bad_lines))]
    #[allow(clippy::too_many_arguments)]
    fn from_cells(
        py: Python<'_>,
        header: Vec<String>,
        rows: Vec<Vec<String>>,
        source: &str,
        dates: &str,
        columns: Vec<(String, String)>,
        values: Vec<(String, String)>,
        bad_lines: &str,
    ) -> PyResult<Self> {
        let format = format(py, None, dates, columns, values, bad_lines)?;
        released(py, || records::Records::from_cells(header, rows, source, &format)).map(|records| Records { records })
    }

    /// One screen about what the records hold.
    fn summary(&self) -> String {
        self.records.summary().to_string()
    }

    /// The lines, as columns by name.
    fn columns<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let lines = self.records.lines();
        let columns = PyDict::new(py);
        columns.set_item("line", lines.iter().map(|line| line.line as u64).collect::<Vec<_>>().into_pyarray(py))?;
        let text = |name: &str, of: &dyn Fn(&Line) -> Option<String>| {
            columns.set_item(name, lines.iter().map(of).collect::<Vec<_>>())
        };
        let number = |name: &str, of: &dyn Fn(&Line) -> Option<f64>| {
            let numbers: Vec<f64> = lines.iter().map(|line| of(line).unwrap_or(f64::NAN)).collect();
            columns.set_item(name, numbers.into_pyarray(py))
        };
        text("row", &|line| Some(line.row.clone()))?;
        text("blade", &|line| Some(line.blade.clone()))?;
        text("inspection", &|line| Some(line.inspection.clone()))?;
        text("date", &|line| match line.when {
            When::Date(date) => Some(date.to_string()),
            When::Year(_) => None,
        })?;
        number("year", &|line| Some(line.when.year()))?;
        text("technique", &|line| Some(line.technique.clone()))?;
        text("grade", &|line| line.grade.map(|grade| word(&GRADES, grade).into()))?;
        text("surface", &|line| line.surface.clone())?;
        text("access", &|line| line.access.map(|access| word(&ACCESS, access).into()))?;
        text("inspector", &|line| line.inspector.clone())?;
        columns.set_item("called", lines.iter().map(|line| line.called).collect::<Vec<_>>().into_pyarray(py))?;
        number("measured_length_mm", &|line| line.measured_length_mm)?;
        number("measured_depth_mm", &|line| line.measured_depth_mm)?;
        number("signal", &|line| line.signal)?;
        columns.set_item("cracked", lines.iter().map(|line| line.cracked).collect::<Vec<_>>())?;
        number("confirmed_length_mm", &|line| line.confirmed_length_mm)?;
        number("confirmed_depth_mm", &|line| line.confirmed_depth_mm)?;
        text("side", &|line| line.side.map(|side| word(&SIDES, side).into()))?;
        number("serration", &|line| line.serration.map(f64::from))?;
        number("position", &|line| line.position.map(f64::from))?;
        for (place, name) in self.records.extra_columns().iter().enumerate() {
            text(name, &|line| line.extra[place].clone())?;
        }
        Ok(columns)
    }

    /// The techniques side by side, as JSON: all blades, then each class.
    #[pyo3(signature = (techniques, *, by, lengths_mm, level))]
    fn side_by_side(
        &self,
        py: Python<'_>,
        techniques: Vec<String>,
        by: Option<&str>,
        lengths_mm: Vec<f64>,
        level: f64,
    ) -> PyResult<String> {
        let classes = [("surface", Class::Surface), ("grade", Class::Grade), ("length", Class::LengthMm(lengths_mm))];
        let by = by.map(|by| choice(py, "by", by, &classes)).transpose()?;
        released(py, || {
            let names: Vec<&str> = techniques.iter().map(String::as_str).collect();
            let histories = CaptureHistories::from_records(&self.records, &names)?;
            let overlaps = match by {
                Some(class) => compare_by(&histories, &class, level)?,
                None => vec![compare(&histories, level)?],
            };
            let told: Vec<_> =
                overlaps.iter().map(|overlap| json!({"overlap": overlap, "sentences": overlap.sentences()})).collect();
            Ok(json!(told).to_string())
        })
    }

    #[getter]
    fn source(&self) -> &str {
        self.records.source()
    }

    #[getter]
    fn style(&self) -> &str {
        self.records.style()
    }

    #[getter]
    fn techniques(&self) -> Vec<&str> {
        self.records.techniques()
    }

    #[getter]
    fn extra_columns(&self) -> Vec<String> {
        self.records.extra_columns().to_vec()
    }

    #[getter]
    fn notes(&self) -> Vec<String> {
        self.records.notes().to_vec()
    }

    #[getter]
    fn lines_read(&self) -> usize {
        self.records.lines_read()
    }

    /// Lines that were left out on request.
    #[getter]
    fn left_out(&self) -> Vec<usize> {
        self.records.left_out().lines.clone()
    }

    /// Their faults: line, column, value, rule, remedy; the first ones.
    #[getter]
    fn left_out_faults(&self) -> Vec<(Option<usize>, String, String, String, String)> {
        let faults = self.records.left_out().faults.iter().cloned();
        faults.map(|fault| (fault.line, fault.path, fault.value, fault.rule, fault.remedy)).collect()
    }

    fn __len__(&self) -> usize {
        self.records.lines().len()
    }
}

/// Text of a CSV file of records to begin with.
#[pyfunction]
pub(super) fn records_template() -> String {
    records::template()
}

/// Text of a CSV file; refuses text that is not UTF-8.
#[pyfunction]
pub(super) fn records_text(py: Python<'_>, path: PathBuf) -> PyResult<String> {
    released(py, || records::read_text(&path))
}

fn format(
    py: Python<'_>,
    decimal: Option<&str>,
    dates: &str,
    columns: Vec<(String, String)>,
    values: Vec<(String, String)>,
    bad_lines: &str,
) -> PyResult<Format> {
    let marks = [("point", Decimal::Point), ("comma", Decimal::Comma)];
    let decimal = decimal.map(|decimal| choice(py, "decimal", decimal, &marks)).transpose()?;
    let orders = [
        ("year-month-day", DateOrder::YearMonthDay),
        ("day-month-year", DateOrder::DayMonthYear),
        ("month-day-year", DateOrder::MonthDayYear),
    ];
    Ok(Format {
        delimiter: None,
        decimal,
        dates: choice(py, "dates", dates, &orders)?,
        columns,
        values,
        bad_lines: choice(
            py,
            "bad_lines",
            bad_lines,
            &[("refuse", BadLines::Refuse), ("leave-out", BadLines::LeaveOut)],
        )?,
    })
}
