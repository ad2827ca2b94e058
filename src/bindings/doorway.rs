//! The one doorway for long work: interpreter released, panics caught, errors converted, Ctrl-C answered.

use super::errors;
use crate::error::Result;
use pyo3::prelude::*;
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Does something while other Python threads run.
pub(super) fn released<T: Send>(py: Python<'_>, work: impl FnOnce() -> Result<T> + Send) -> PyResult<T> {
    // Whatever the work left half done is not used again.
    match py.detach(|| catch_unwind(AssertUnwindSafe(work))) {
        Ok(done) => done.map_err(|error| errors::exception(py, &error)),
        Err(panic) => {
            let text = panic.downcast_ref::<String>().map(String::as_str);
            let text = text.or_else(|| panic.downcast_ref::<&str>().copied());
            Err(errors::internal_error(py, text.unwrap_or("no details")))
        }
    }
}

/// As `released`, for work that asks from time to time whether to go on: Ctrl-C ends it.
pub(super) fn interruptible<T: Send>(
    py: Python<'_>,
    work: impl FnOnce(&mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<T> + Send,
) -> PyResult<T> {
    let mut asker = Asker::default();
    let outcome = released(py, || work(&mut |done| asker.ask(done)));
    match asker.stopped_by {
        Some(reason) => Err(reason),
        None => outcome,
    }
}

/// Asks Python, during released work, whether to go on; remembers why not.
#[derive(Default)]
pub(super) struct Asker {
    progress: Option<Py<PyAny>>,
    pub stopped_by: Option<PyErr>,
}

impl Asker {
    /// `progress` is called with the number of trials done.
    pub fn new(progress: Option<Py<PyAny>>) -> Self {
        Asker { progress, stopped_by: None }
    }

    /// Looks for Ctrl-C, and tells how far the work is.
    pub fn ask(&mut self, done: u64) -> ControlFlow<()> {
        if self.stopped_by.is_some() {
            return ControlFlow::Break(());
        }
        let answer = Python::attach(|py| {
            py.check_signals()?;
            self.progress.as_ref().map_or(Ok(()), |progress| progress.call1(py, (done,)).map(drop))
        });
        match answer {
            Ok(()) => ControlFlow::Continue(()),
            Err(reason) => {
                self.stopped_by = Some(reason);
                ControlFlow::Break(())
            }
        }
    }
}

/// Fails inside the engine on purpose; the tests see by it that a mistake of ours arrives as an exception.
#[pyfunction(name = "_fail_inside")]
pub(super) fn fail_inside(py: Python<'_>) -> PyResult<()> {
    released(py, || panic!("asked to fail"))
}
