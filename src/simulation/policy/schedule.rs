//! Looks by schedule.

use super::interval::Interval;
use super::{RowEnd, Sampler};
use crate::bits::Bits;
use crate::model::Study;
use crate::model::fleet::HotSpot;
use crate::model::strategy::{Look, RowEndAction, Strategy};
use crate::simulation::calendar::Calendar;
use crate::simulation::inspection::on_surface;

/// Looks of one technique by schedule.
#[derive(Debug, PartialEq)]
pub(crate) struct ScheduledLook {
    pub technique: usize,
    /// How the blades that it covers are cleaned before it, by number.
    pub cleaning: Option<usize>,
    /// Whether it looks, for each outage; whether it may, where it reacts.
    pub looks_at: Bits,
    /// Whether it looks as long as nothing is found.
    planned: Bits,
    /// How it reacts to finds, if it does.
    pub interval: Option<Interval>,
    pub blade_fraction: f64,
    /// Number of the policy's sampler that says which blades, where they are so many.
    pub sampler: Option<usize>,
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
            cleaning: None,
            planned: looks_at.clone(),
            looks_at,
            interval: None,
            blade_fraction: 1.0,
            sampler: None,
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

/// What looks at a row are scheduled by.
pub(super) struct OfRow<'a> {
    pub row_index: usize,
    pub blades: u32,
    pub spots: &'a [HotSpot],
    pub row_end: Option<RowEnd>,
}

/// A strategy's scheduled looks at a row.
pub(super) fn scheduled_looks(
    study: &Study,
    strategy: &Strategy,
    of_row: &OfRow,
    calendar: &Calendar,
) -> Vec<ScheduledLook> {
    let &OfRow { row_index, blades, spots, row_end } = of_row;
    let mut scheduled = Vec::new();
    // Nobody looks at a row that is replaced at the same outage, or has left service.
    let is_looked_at = |outage: usize| match row_end {
        Some(end) if end.then == RowEndAction::Retired => outage < end.outage,
        Some(end) => outage != end.outage,
        None => true,
    };
    let years = &calendar.years[calendar.start..];
    let covers_row = |look: &Look| look.coverage.rows.as_ref().is_none_or(|rows| rows.contains(&row_index));
    let outages = |look: &Look| -> Vec<usize> {
        look.when.outages(years).into_iter().map(|outage| calendar.start + outage).collect()
    };
    // Outages at which one look takes the place of all others.
    let displacing = strategy.looks.iter().filter(|look| look.instead_of_others && covers_row(look));
    let displacing: Vec<usize> = displacing.flat_map(outages).collect();
    for (index, look) in strategy.looks.iter().enumerate().filter(|(_, look)| covers_row(look)) {
        let interval = Interval::new(look, calendar);
        let clean = interval.as_ref().map(|interval| interval.due_if_clean(calendar.len()));
        let by_count = outages(look);
        let may_look =
            |outage: usize| is_looked_at(outage) && (look.instead_of_others || !displacing.contains(&outage));
        let is_planned = |outage: usize| may_look(outage) && clean.as_ref().unwrap_or(&by_count).contains(&outage);
        let is_due = |outage: usize| match &interval {
            Some(interval) => outage >= interval.first() && may_look(outage),
            None => is_planned(outage),
        };
        let names = look.coverage.hot_spots.as_ref();
        let hot_spots: Vec<bool> =
            names.map_or_else(Vec::new, |names| spots.iter().map(|spot| names.contains(&spot.id)).collect());
        let blade_fraction = look.coverage.blades.fraction(blades);
        for &technique in &look.techniques {
            scheduled.push(ScheduledLook {
                technique: on_surface(study, technique, look.cleaning),
                cleaning: look.cleaning,
                looks_at: (0..calendar.len()).map(is_due).collect(),
                planned: (0..calendar.len()).map(is_planned).collect(),
                interval: interval.clone(),
                blade_fraction,
                sampler: None,
                covers_all: hot_spots.is_empty() && blade_fraction >= 1.0,
                hot_spots: hot_spots.clone(),
                look: index,
                stands: look.escalation.as_ref().is_none_or(|escalation| escalation.first_call_stands),
            });
        }
    }
    scheduled
}

/// The samples of a strategy's looks at a row of so many blades, which are numbered in its scheduled looks.
pub(super) fn samplers(strategy: &Strategy, blades: u32, scheduled: &mut [ScheduledLook]) -> Vec<Sampler> {
    let mut samplers: Vec<Sampler> = Vec::new();
    for own in scheduled.chunk_by_mut(|one, other| one.look == other.look) {
        let look = own[0].look;
        if let Some(sampler) = Sampler::new(strategy.looks[look].coverage.blades, blades, look) {
            own.iter_mut().for_each(|look| look.sampler = Some(samplers.len()));
            samplers.push(sampler);
        }
    }
    samplers
}
