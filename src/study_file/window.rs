//! When a study begins and ends.

/// When a study begins and ends, as years.
#[derive(Clone, Copy)]
pub(super) struct Window {
    pub start: f64,
    pub end: f64,
}

impl Window {
    /// Words for the window in a message.
    pub fn words(self) -> String {
        format!("the study runs from {} to {}", self.start, self.end)
    }
}
