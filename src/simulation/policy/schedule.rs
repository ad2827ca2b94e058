//! Looks by schedule.

use super::RowEnd;
use super::interval::Interval;
use crate::bits::Bits;
use crate::model::fleet::HotSpot;
use crate::model::strategy::{RowEndAction, Strategy};
use crate::simulation::calendar::Calendar;

/// Looks of one technique by schedule.
#[derive(Debug, PartialEq)]
pub(crate) struct ScheduledLook {
    pub technique: usize,
    /// Whether it looks, for each outage; whether it may, where it reacts.
    pub looks_at: Bits,
    /// Whether it looks as long as nothing is found.
    planned: Bits,
    /// How it reacts to finds, if it does.
    pub interval: Option<Interval>,
    pub blade_fraction: f64,
    /// Whether each hot spot is looked at; empty when all are.
    pub hot_spots: Vec<bool>,
    /// Whether every blade and hot spot is looked at.
    pub covers_all: bool,
    /// Number of the strategy's look that it belongs to.
    pub look: usize,
    /// Whether its indications count without a further look.
    pub stands: bool,
}

impl ScheduledLook {
    /// A look at the whole row at one outage.
    pub fn once(technique: usize, outage: usize, calendar: &Calendar) -> Self {
        let looks_at: Bits = (0..calendar.len()).map(|other| other == outage).collect();
        ScheduledLook {
            technique,
            planned: looks_at.clone(),
            looks_at,
            interval: None,
            blade_fraction: 1.0,
            hot_spots: Vec::new(),
            covers_all: true,
            look: 0,
            stands: true,
        }
    }

    /// Whether it is due at an outage; whether it may be, where it reacts.
    #[inline(always)]
    pub fn is_due(&self, outage: usize) -> bool {
        self.looks_at.is_set(outage)
    }

    /// Whether it is due at an outage whatever is found.
    pub fn is_fixed(&self, outage: usize) -> bool {
        self.interval.is_none() && self.is_due(outage)
    }

    /// Whether it is due at an outage as long as nothing is found.
    pub fn is_planned(&self, outage: usize) -> bool {
        self.planned.is_set(outage)
    }
}

/// A strategy's scheduled looks at a row.
pub(super) fn scheduled_looks(
    strategy: &Strategy,
    row_index: usize,
    spots: &[HotSpot],
    calendar: &Calendar,
    row_end: Option<RowEnd>,
) -> Vec<ScheduledLook> {
    let mut scheduled = Vec::new();
    // Nobody looks at a row that is replaced at the same outage, or has left service.
    let is_looked_at = |outage: usize| match row_end {
        Some(end) if end.then == RowEndAction::Retired => outage < end.outage,
        Some(end) => outage != end.outage,
        None => true,
    };
    for (index, look) in strategy.looks.iter().enumerate() {
        if look.coverage.rows.as_ref().is_some_and(|rows| !rows.contains(&row_index)) {
            continue;
        }
        let (first, every) = (calendar.start + look.first_outage as usize - 1, look.every_outages as usize);
        let interval = Interval::new(look, calendar);
        let clean = interval.as_ref().map(|interval| interval.due_if_clean(calendar.len()));
        let by_count = |outage: usize| outage >= first && (outage - first).is_multiple_of(every);
        let is_planned = |outage: usize| {
            is_looked_at(outage) && clean.as_ref().map_or_else(|| by_count(outage), |due| due.contains(&outage))
        };
        let is_due = |outage: usize| {
            if clean.is_some() { outage >= first && is_looked_at(outage) } else { is_planned(outage) }
        };
        let names = look.coverage.hot_spots.as_ref();
        let hot_spots: Vec<bool> =
            names.map_or_else(Vec::new, |names| spots.iter().map(|spot| names.contains(&spot.id)).collect());
        let blade_fraction = look.coverage.blade_fraction;
        for &technique in &look.techniques {
            scheduled.push(ScheduledLook {
                technique,
                looks_at: (0..calendar.len()).map(is_due).collect(),
                planned: (0..calendar.len()).map(is_planned).collect(),
                interval: interval.clone(),
                blade_fraction,
                covers_all: hot_spots.is_empty() && blade_fraction >= 1.0,
                hot_spots: hot_spots.clone(),
                look: index,
                stands: look.escalation.as_ref().is_none_or(|escalation| escalation.first_call_stands),
            });
        }
    }
    scheduled
}
