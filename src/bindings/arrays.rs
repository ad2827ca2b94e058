//! Tables to dicts of numpy arrays, moved without a copy, and of lists of text.

use crate::simulation::{Column, Table};
use numpy::IntoPyArray;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyList, PyString};

pub(super) fn dict(py: Python<'_>, table: Table) -> PyResult<Bound<'_, PyDict>> {
    let columns = PyDict::new(py);
    for (name, column) in table.columns {
        match column {
            Column::Text(texts) => {
                // Each word is one object, however many lines say it.
                let words: Vec<Bound<'_, PyString>> =
                    texts.words().iter().map(|word| PyString::new(py, word)).collect();
                columns.set_item(name, PyList::new(py, texts.lines().iter().map(|line| &words[*line as usize]))?)?;
            }
            Column::Number(numbers) => columns.set_item(name, numbers.into_pyarray(py))?,
            Column::Count(counts) => columns.set_item(name, counts.into_pyarray(py))?,
        }
    }
    Ok(columns)
}
