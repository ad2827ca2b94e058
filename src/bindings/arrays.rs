//! Tables to dicts of numpy arrays, moved without a copy, and of lists of text.

use crate::simulation::{Column, Table};
use numpy::IntoPyArray;
use pyo3::prelude::*;
use pyo3::types::PyDict;

pub(super) fn dict(py: Python<'_>, table: Table) -> PyResult<Bound<'_, PyDict>> {
    let columns = PyDict::new(py);
    for (name, column) in table.columns {
        match column {
            Column::Text(texts) => columns.set_item(name, texts)?,
            Column::Number(numbers) => columns.set_item(name, numbers.into_pyarray(py))?,
            Column::Count(counts) => columns.set_item(name, counts.into_pyarray(py))?,
        }
    }
    Ok(columns)
}
