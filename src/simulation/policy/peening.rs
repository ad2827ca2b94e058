//! Blades that are peened anew, by schedule. What that does to cracks is nature's.

use super::RowEnd;
use crate::model::strategy::{RowEndAction, Strategy};
use crate::simulation::calendar::Calendar;

/// The work of peening a row at an outage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ScheduledPeening {
    pub outage: usize,
    pub cost: f64,
    pub days: f64,
    pub blades_out: bool,
}

/// A strategy's peenings of a row; none of a row that is replaced at the same outage, or has left service.
pub(super) fn scheduled_peenings(
    strategy: &Strategy,
    row_index: usize,
    row_end: Option<RowEnd>,
    calendar: &Calendar,
) -> Vec<ScheduledPeening> {
    let is_peened = |outage: usize| match row_end {
        Some(end) if end.then == RowEndAction::Retired => outage < end.outage,
        Some(end) => outage != end.outage,
        None => true,
    };
    let years = &calendar.years[calendar.start..];
    let mut all = Vec::new();
    for peening in strategy.peening.iter().filter(|peening| peening.is_of(row_index)) {
        let outages = peening.when.outages(years).into_iter().map(|outage| calendar.start + outage);
        all.extend(outages.filter(|outage| is_peened(*outage)).map(|outage| ScheduledPeening {
            outage,
            cost: peening.cost_per_row,
            days: peening.days_per_row,
            blades_out: peening.blades_out,
        }));
    }
    all
}
