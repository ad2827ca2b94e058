//! Python arguments to Rust values, with refusals in our own words.

use super::errors;
use crate::error::Error;
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyDict, PyFloat, PyInt, PyString};
use std::ops::RangeInclusive;
use toml_edit::{Array, InlineTable, Value};

/// More threads than any machine has.
pub(super) const MOST_THREADS: u64 = 4096;

/// What to do about a number of planted lives that is none.
pub(super) const PLANTED_REMEDY: &str = "as many as trials tell losses of any size to a few per cent; 0 is for none";

pub(super) const TARGET_REMEDY: &str = "0.05 asks for standard errors of 5 % of the fleet's losses";

/// A whole number between 0 and `most`; a bool, a float or a text is none.
pub(super) fn whole(name: &str, value: &Bound<'_, PyAny>, range: RangeInclusive<u64>, remedy: &str) -> PyResult<u64> {
    let refusal = |rule: &str| {
        let shown = value.repr().map_or_else(|_| "a value".to_owned(), |text| text.to_string());
        Err(errors::exception(value.py(), &Error::argument(name, shown, rule, remedy)))
    };
    let rule = format!("must be a whole number from {} to {}", range.start(), range.end());
    if value.is_instance_of::<PyBool>() {
        return refusal(&format!("{rule}, not True or False"));
    }
    // Integers of other libraries say that they are by __index__; floats have none.
    let Ok(number) = value.call_method0("__index__") else {
        return refusal(&format!("{rule}, not {}", value.get_type().name()?));
    };
    match number.extract::<u64>() {
        Ok(number) if range.contains(&number) => Ok(number),
        _ => refusal(&rule),
    }
}

/// A number, if there is one.
pub(super) fn number_or_none(name: &str, value: Option<&Bound<'_, PyAny>>, remedy: &str) -> PyResult<Option<f64>> {
    let Some(value) = value else { return Ok(None) };
    let number = if value.is_instance_of::<PyBool>() { None } else { value.extract::<f64>().ok() };
    number.map(Some).ok_or_else(|| {
        let shown = value.repr().map_or_else(|_| "a value".to_owned(), |text| text.to_string());
        errors::exception(value.py(), &Error::argument(name, shown, "must be a number", remedy))
    })
}

/// One of a few words.
pub(super) fn choice<T: Clone>(py: Python<'_>, name: &str, value: &str, known: &[(&str, T)]) -> PyResult<T> {
    if let Some((_, chosen)) = known.iter().find(|(word, _)| *word == value) {
        return Ok(chosen.clone());
    }
    let words: Vec<&str> = known.iter().map(|(word, _)| *word).collect();
    let rule = format!("must be {}", words.join(" or "));
    Err(errors::exception(py, &Error::argument(name, format!("{value:?}"), &rule, "give one of these")))
}

/// A value of a study file.
pub(super) fn file_value(path: &str, value: &Bound<'_, PyAny>) -> PyResult<Value> {
    if let Ok(flag) = value.cast::<PyBool>() {
        return Ok(flag.is_true().into());
    }
    if let Ok(text) = value.cast::<PyString>() {
        return Ok(text.to_string().into());
    }
    if value.is_instance_of::<PyFloat>() {
        return Ok(value.extract::<f64>()?.into());
    }
    if let Ok(table) = value.cast::<PyDict>() {
        let mut entries = InlineTable::new();
        for (key, value) in table {
            let key = key.str()?.to_string();
            entries.insert(&key, file_value(&format!("{path}.{key}"), &value)?);
        }
        return Ok(entries.into());
    }
    if let Some(number) = value.call_method0("__index__").ok().and_then(|number| number.extract::<i64>().ok()) {
        return Ok(number.into());
    }
    if !value.is_instance_of::<PyInt>() {
        if let Some(number) = value.call_method0("__float__").ok().and_then(|number| number.extract::<f64>().ok()) {
            return Ok(number.into());
        }
        if let Ok(elements) = value.try_iter() {
            let elements = elements.map(|element| file_value(path, &element?));
            return Ok(elements.collect::<PyResult<Array>>()?.into());
        }
    }
    let shown = value.repr()?.to_string();
    let rule = "is not a value of a study file";
    let remedy = "give a number, a text, True or False, a list of them, or a dict";
    Err(errors::exception(value.py(), &Error::argument(path, shown, rule, remedy)))
}
