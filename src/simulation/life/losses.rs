//! Losses in service, what they do to others of the row, and stops between outages.

use super::follow::{Life, numbers};
use super::planted::PlantedLoss;
use crate::model::fleet::Consequences;
use crate::model::strategy::AfterLoss;
use crate::simulation::policy::{Harm, neighbours};
use std::ops::ControlFlow;

/// A loss, or a stop between outages.
#[derive(Debug, Clone, Copy)]
pub(super) struct Event {
    pub year: f64,
    /// The crack that loses its blade, by number.
    lost: Option<usize>,
}

impl Life<'_, '_> {
    /// Losses and stops in the interval before an outage, in order of time; before the study a loss ends the life.
    #[inline(never)]
    pub(super) fn lose_before(&mut self, outage: usize) -> ControlFlow<()> {
        if outage < self.row.nature.calendar.start {
            return if self.next_loss(outage).is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
        }
        while let Some(event) = self.next_event(outage) {
            self.live_event(event, outage);
        }
        ControlFlow::Continue(())
    }

    /// The next loss or stop before an outage.
    pub(super) fn next_event(&self, outage: usize) -> Option<Event> {
        let lost = self.next_loss(outage);
        let stop = self.room.policy.extra_look_year.filter(|stop| lost.is_none_or(|(_, year)| *stop < year));
        let loss = || lost.map(|(number, year)| Event { year, lost: Some(number) });
        stop.map(|year| Event { year, lost: None }).or_else(loss)
    }

    /// Lives it: what a loss does to others.
    pub(super) fn live_event(&mut self, event: Event, outage: usize) -> Option<Harm> {
        let Event { year, lost } = event;
        if let Some(number) = lost {
            return Some(self.lose(number, year, outage));
        }
        self.room.policy.extra_look_year = None;
        self.look_extra(year, outage);
        None
    }

    /// The next crack, by number, that loses its blade before an outage, and the year.
    fn next_loss(&self, outage: usize) -> Option<(usize, f64)> {
        let (state, cracks) = (&self.room.state, &self.batch.nature.cracks);
        let lost = state.words().flat_map(|word| numbers(word, state.lost_before(word, outage)));
        let lost = lost.map(|number| (number, cracks[state.cracks[number] as usize].lost_year));
        lost.min_by(|(_, a), (_, b)| a.total_cmp(b))
    }

    /// A crack, by number, loses its blade before an outage: what that does to others.
    fn lose(&mut self, number: usize, lost_year: f64, outage: usize) -> Harm {
        let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
        let (blade, hot_spot) = (crack.blade, crack.hot_spot());
        let (key, generation) = (self.batch.loss_key(self.life, blade), self.room.state.next_generation(blade));
        let policy = &self.strategy.policy;
        let harm = if policy.consequences == Consequences::default() {
            Harm::Nothing
        } else {
            Harm::of(&policy.consequences, self.batch.consequence_draw(self.life, blade, generation))
        };
        let is_wrecked = policy.after_loss == AfterLoss::ReplaceRow || matches!(harm, Harm::Row | Harm::Rotor);
        let damaged = self.damaged_by(blade, harm);
        let replaced = if is_wrecked { Vec::new() } else { self.replaced_with_lost(blade, &damaged) };
        self.room.policy.short.clear();
        // A whole row is a set of its own.
        if !is_wrecked && policy.spares.is_some() {
            let mut gone = [&[blade][..], &replaced].concat();
            gone.sort_unstable();
            self.take_blades(&gone, lost_year);
        }
        let cost = self.record.lose(lost_year, hot_spot, (key, generation), &self.room.policy.short);
        if self.room.planted.is(number) {
            self.room.planted.lost = self.record.loss_years.last().map(|&year| PlantedLoss { year, cost });
        }
        self.strategy.policy.lose(&mut self.room.policy);
        if is_wrecked {
            self.wreck(lost_year, outage);
            return harm;
        }
        self.renew_blade_in(blade, generation, lost_year, outage);
        for other in replaced {
            let is_used = self.room.policy.short.used.contains(&other);
            self.record.replace_blade_after_loss(&self.strategy.work, lost_year, damaged.contains(&other), is_used);
            let generation = self.room.state.next_generation(other);
            self.renew_blade_in(other, generation, lost_year, outage);
        }
        if let Some(look) = &policy.stops.after_loss {
            self.look_after_loss(&look.techniques, lost_year, outage);
        }
        harm
    }

    /// The row is replaced after a loss on it, or on another one of its rotor.
    pub(super) fn wreck(&mut self, year: f64, outage: usize) {
        self.record.replace_row_after_loss(&self.strategy.work, year);
        self.renew_row(year, outage);
    }

    /// Neighbours that a lost blade damaged.
    fn damaged_by(&self, lost: u32, harm: Harm) -> Vec<u32> {
        match harm {
            Harm::Neighbours(number) => neighbours(lost, number, self.row.nature.blades).collect(),
            _ => Vec::new(),
        }
    }

    /// Others that are replaced with a lost blade, at once: those of its group, and neighbours that it damaged with theirs.
    fn replaced_with_lost(&self, lost: u32, damaged: &[u32]) -> Vec<u32> {
        let groups = self.strategy.policy.groups;
        if groups.are_single() && damaged.is_empty() {
            return Vec::new();
        }
        let mut blades: Vec<u32> = damaged.iter().flat_map(|blade| groups.of(*blade)).chain(groups.of(lost)).collect();
        blades.sort_unstable();
        blades.dedup();
        blades.retain(|blade| *blade != lost);
        blades
    }

    /// A new blade takes the place of one between outages, or a used one.
    pub(super) fn renew_blade_in(&mut self, blade: u32, generation: u64, year: f64, outage: usize) {
        self.clear_blade(blade, outage);
        self.room.policy.renew_blade(blade);
        let new = match self.strategy.policy.used_life_factor(blade, &self.room.policy) {
            None => self.batch.new_blade_in(self.life, blade, generation, year),
            Some(factor) => self.batch.used_blade_in(self.life, blade, generation, year, factor),
        };
        self.enter(new);
    }
}
