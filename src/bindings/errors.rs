//! Error kind to exception: one match. The exceptions are defined in `serrata.errors`, and only there.

use crate::error::{Error, Fault, Kind};
use pyo3::exceptions::PyKeyboardInterrupt;
use pyo3::prelude::*;

/// The Python exception for an error.
pub(super) fn exception(py: Python<'_>, error: &Error) -> PyErr {
    let message = error.to_string();
    let made = match &error.kind {
        Kind::Study { faults, .. } => raised_with_faults(py, "StudyError", message, faults),
        Kind::Records { faults, .. } => raised_with_faults(py, "RecordsError", message, faults),
        Kind::Data { reason, .. } => raised_for_data(py, message, reason),
        Kind::Argument { .. } => raised(py, "ArgumentError", message),
        Kind::File { .. } => raised(py, "FileError", message),
        Kind::Contradiction { .. } => raised(py, "ContradictionError", message),
        Kind::Interrupted { .. } | Kind::NothingFinished { .. } => Ok(PyKeyboardInterrupt::new_err(message)),
    };
    // Where the exception cannot be made, the reason for that is what there is to tell.
    made.unwrap_or_else(|reason| reason)
}

/// The exception for a panic, which is always our mistake.
pub(super) fn internal_error(py: Python<'_>, what: &str) -> PyErr {
    let message = format!(
        "serrata made a mistake of its own: {what}\n    no input should cause this\n    please report it, with the study \
         file, trials and seed"
    );
    raised(py, "InternalError", message).unwrap_or_else(|reason| reason)
}

fn raised(py: Python<'_>, class: &str, message: String) -> PyResult<PyErr> {
    Ok(PyErr::from_value(errors(py)?.getattr(class)?.call1((message,))?))
}

fn raised_for_data(py: Python<'_>, message: String, reason: &str) -> PyResult<PyErr> {
    Ok(PyErr::from_value(errors(py)?.getattr("DataError")?.call1((message, reason))?))
}

fn raised_with_faults(py: Python<'_>, class: &str, message: String, faults: &[Fault]) -> PyResult<PyErr> {
    let errors = errors(py)?;
    let fault_class = errors.getattr("Fault")?;
    let made = |fault: &Fault| fault_class.call1((fault.line, &fault.path, &fault.value, &fault.rule, &fault.remedy));
    let faults: Vec<Bound<'_, PyAny>> = faults.iter().map(made).collect::<PyResult<_>>()?;
    Ok(PyErr::from_value(errors.getattr(class)?.call1((message, faults))?))
}

fn errors(py: Python<'_>) -> PyResult<Bound<'_, PyModule>> {
    py.import("serrata.errors")
}
