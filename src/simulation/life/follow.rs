//! One life of a row under one strategy.

use super::Room;
use super::first_event::{FirstCracks, FirstEvents};
use super::row_state::WINDOW;
use crate::bits::{WORD, set_bits};
use crate::simulation::nature::Crack;
use crate::simulation::observe::{LifeRecord, Occupancy};
use crate::simulation::plan::{RowPlan, StrategyPlan};
use crate::simulation::policy::Stocks;
use crate::simulation::row_batch::RowBatch;
use std::ops::{ControlFlow, Range};

/// One life, on its way.
pub(super) struct Life<'a, 'p> {
    pub row: &'p RowPlan,
    pub strategy: &'p StrategyPlan,
    pub batch: &'a mut RowBatch<'p>,
    pub first: &'a FirstCracks,
    pub events: &'a FirstEvents,
    pub room: &'a mut Room,
    pub record: &'a mut LifeRecord,
    /// Spare blades, which others may share.
    pub stocks: &'a mut Stocks,
    pub life: usize,
}

impl Life<'_, '_> {
    /// Lives it from the start of the study to its end, or until the row leaves service.
    pub fn live(&mut self) {
        let calendar = &self.row.nature.calendar;
        self.begin();
        // One more, for losses behind the last outage.
        let _ = self.live_outages(calendar.start..calendar.len() + 1);
    }

    /// Begins it at the start of the study.
    pub fn begin(&mut self) {
        self.room.state.begin(self.strategy, self.row.nature.calendar.start, 0);
        self.room.stops = (usize::MAX, 0);
        self.room.planted.begin();
        self.strategy.policy.begin(&mut self.room.policy);
        self.enter_first();
    }

    /// Lives it from the row's entry into service, with the cracks that it begins with, to the last outage before the
    /// study; a loss ends it.
    pub fn live_past(&mut self, first: Range<u32>) -> ControlFlow<()> {
        /// Numbers new blades apart from those of the study.
        const GENERATION: u64 = 1 << 31;
        self.room.state.begin(self.strategy, 0, GENERATION);
        self.room.planted.begin();
        self.strategy.policy.begin(&mut self.room.policy);
        self.enter(first);
        self.live_outages(0..self.row.nature.calendar.start)
    }

    /// The cracks in the row.
    pub fn cracks(&self) -> impl Iterator<Item = &Crack> {
        let state = &self.room.state;
        let numbers = state.words().flat_map(|word| numbers(word, state.alive[word]));
        numbers.map(|number| &self.batch.nature.cracks[state.cracks[number] as usize])
    }

    fn live_outages(&mut self, outages: Range<usize>) -> ControlFlow<()> {
        for window in outages.clone().step_by(WINDOW) {
            self.open_window(window);
            while let Some(outage) = self.room.state.next_outage().filter(|outage| outages.contains(outage)) {
                self.live_outage(outage)?;
                if self.can_no_longer_be_lost() {
                    return ControlFlow::Break(());
                }
            }
        }
        ControlFlow::Continue(())
    }

    /// An outage, and the time before it.
    fn live_outage(&mut self, outage: usize) -> ControlFlow<()> {
        if self.meet(outage)? { self.act(outage) } else { ControlFlow::Continue(()) }
    }

    /// Losses before an outage, and its own looks at the row: whether anything is to be decided.
    pub fn meet(&mut self, outage: usize) -> ControlFlow<(), bool> {
        if self.room.state.take_losses_and_stops(outage) {
            self.lose_before(outage)?;
        }
        let (is_visited, calls_are_due) = self.room.state.take_visit(outage);
        ControlFlow::Continue(is_visited && self.look(outage, calls_are_due))
    }

    /// Does what the policy decides at an outage.
    pub fn act(&mut self, outage: usize) -> ControlFlow<()> {
        let (year, time_for) = (self.year_of(outage), self.time_for_new_blades(outage));
        let Room { findings, policy, acts, .. } = &mut *self.room;
        self.strategy.policy.decide((outage, year), findings, time_for, policy, self.stocks, acts);
        for (look, next) in self.strategy.policy.due_next(&self.room.policy) {
            self.room.state.set_due(self.strategy, look, next);
        }
        for index in 0..self.room.acts.len() {
            self.apply(self.room.acts[index], outage)?;
        }
        if self.may_be_damaged_at(outage) {
            self.damage_in_handling(outage);
        }
        if self.strategy.policy.stops.after_finds.is_some() {
            self.plan_extra_look(outage);
        }
        let short = &self.room.policy.short;
        if short.wait_days > 0.0 || short.run_on > 0 || !short.used.is_empty() {
            self.record.work.be_short_of_spares(outage, short);
        }
        self.room.state.forget_calls_of_gone(self.strategy, outage + 1);
        ControlFlow::Continue(())
    }

    /// The year of an outage; behind the last one, where nothing is called, none comes.
    pub fn year_of(&self, outage: usize) -> f64 {
        self.row.nature.calendar.years.get(outage).copied().unwrap_or(f64::INFINITY)
    }

    /// For how many new blades the window of an outage leaves time, as far as its work is known.
    #[inline(always)]
    pub fn time_for_new_blades(&self, outage: usize) -> usize {
        let StrategyPlan { policy, work, .. } = self.strategy;
        if policy.window_closes { self.record.work.time_for_new_blades(work, outage) } else { usize::MAX }
    }

    /// Takes blades for some, in order of their numbers, that cannot run on, at a moment.
    pub fn take_blades(&mut self, blades: &[u32], year: f64) {
        self.strategy.policy.take_blades(blades, year, &mut self.room.policy, self.stocks);
    }

    /// Puts the first blades' cracks into the row: all, or those to which more than one thing may happen.
    fn enter_first(&mut self) {
        let own = self.batch.nature.first_cracks(self.life);
        if self.strategy.policy.keeps_blades_apart {
            self.events.for_each_followed(self.first, own, |index| {
                self.room.state.enter(self.strategy, self.batch, index);
                self.record.cracks_left.enter(&self.batch.nature.cracks[index as usize]);
            });
        } else {
            let (there, places) = (&self.first.there[..], &self.first.places[..]);
            self.record.cracks_left.enter_first(&Occupancy { there, places, range: own.clone() });
            self.room.state.enter_first(self.strategy, self.first, self.life, own);
        }
        self.find_planted(0);
    }

    pub fn open_window(&mut self, window: usize) {
        let state = &mut self.room.state;
        state.open_window(self.strategy, self.batch, window);
        self.room.planted.look_ahead(state, self.batch, self.strategy);
        state.visit_each(self.events.followed_calls(&self.strategy.policy).outages(self.life));
        self.strategy.policy.alarm().into_iter().for_each(|outage| state.visit(outage));
        self.room.policy.watched.iter().for_each(|watched| state.visit(watched.outage));
        if self.room.policy.extra_look_year.is_some() {
            state.stop_before(window);
        }
        for (look, next) in self.strategy.policy.due_next(&self.room.policy) {
            state.set_due(self.strategy, look, next);
        }
        self.strategy.policy.remembering.iter().for_each(|&look| state.visit_when_due(look));
        if self.strategy.policy.may_be_damaged {
            state.visit_each(self.batch.inspections.damaged.outages(self.life));
        }
    }
}

/// Numbers of the bits of a word.
#[inline(always)]
pub(super) fn numbers(word: usize, bits: u64) -> impl Iterator<Item = usize> {
    set_bits(bits).map(move |bit| word * WORD + bit)
}
