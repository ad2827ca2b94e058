//! The end of a row in a stated year.

use crate::model::strategy::{RowEndAction, Strategy};
use crate::simulation::calendar::Calendar;

/// The outage at which a row ends, and how.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RowEnd {
    pub outage: usize,
    pub then: RowEndAction,
}

impl RowEnd {
    /// The first outage in or after the stated year, if there is one.
    pub fn new(strategy: &Strategy, calendar: &Calendar) -> Option<Self> {
        let end = strategy.row_end?;
        let ahead = calendar.years[calendar.start..].iter().position(|&year| year >= end.year)?;
        Some(RowEnd { outage: calendar.start + ahead, then: end.then })
    }
}
