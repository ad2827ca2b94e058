//! Lives of a row: what nature does, what looks find and what a policy does about it meet here, outage after outage.
//!
//! [`Lives`] holds what all strategies share in some lives of a row. [`follow::Life`] is one of them under one strategy.
//! Blades to which exactly one thing happens are counted without being followed, where a policy keeps blades apart
//! ([`first_event`]): the one shortcut.

mod first_event;
mod follow;
mod past;
mod row_state;

use super::notes::Notes;
use super::observe::{LifeRecord, Occupancy};
use super::plan::RowPlan;
use super::policy::{Act, Findings, PolicyState};
use super::population::{Crack, Population, Replacement};
use crate::bits::{Bits, lowest, set_bits};
use crate::model::economics::Money;
use crate::random::Key;
use first_event::{FirstCracks, FirstEvents};
use follow::Life;
use row_state::RowState;

/// Lives of one row; keeps its storage from life to life.
#[derive(Debug)]
pub(crate) struct Lives<'p> {
    row: &'p RowPlan,
    people: Population<'p>,
    first_cracks: FirstCracks,
    /// What comes first to them, for each schedule.
    first_events: Vec<FirstEvents>,
    /// First replacements that schedules alone lead to.
    expected: Vec<Replacement>,
    room: Room,
    /// Of lives before the study, of which nothing is kept.
    record: LifeRecord,
}

/// Storage of the life that is followed.
#[derive(Debug, Default)]
struct Room {
    state: RowState,
    policy: PolicyState,
    findings: Findings,
    /// Cracks called by looks that stand at the outage being lived, by their numbers in the row, as bits.
    called: Vec<u64>,
    /// Blades without a crack that are called there.
    clean_called: Vec<u32>,
    /// Watched blades that are looked at there for that alone, after their techniques.
    watched_now: Vec<(usize, u32)>,
    acts: Vec<Act>,
}

impl<'p> Lives<'p> {
    pub fn new(row: &'p RowPlan, money: &Money) -> Self {
        Lives {
            row,
            people: Population::new(row),
            first_cracks: FirstCracks::default(),
            first_events: (0..row.schedules).map(|_| FirstEvents::default()).collect(),
            expected: Vec::new(),
            room: Room { state: RowState::new(row), ..Room::default() },
            record: LifeRecord::new(row, money),
        }
    }

    /// Draws lives of the row up to the start of the study; the keys are those of the row in each trial.
    ///
    /// Returns the number of attempts until all reached the start without a loss, or `None` if one never did.
    pub fn begin(&mut self, keys: impl ExactSizeIterator<Item = Key>) -> Option<u64> {
        self.people.begin(keys);
        let attempts = self.draw_and_live_past()?;
        self.people.draw_shared();
        let (row, people) = (self.row, &self.people);
        self.first_cracks.find(people);
        for (schedule, events) in self.first_events.iter_mut().enumerate() {
            let of_schedule = || row.strategies.iter().filter(|strategy| strategy.policy.schedule == schedule);
            let Some(strategy) = of_schedule().next() else { continue };
            events.find_false_calls(people, &strategy.policy);
            let asks = |strategy: &super::plan::StrategyPlan| {
                strategy.policy.keeps_blades_apart()
                    || (row.makes_ready && strategy.policy.replaces_every_called_blade())
            };
            if of_schedule().any(asks) {
                events.find(people, &self.first_cracks, &strategy.policy);
            }
        }
        if self.row.makes_ready {
            self.make_ready();
        }
        Some(attempts)
    }

    /// Makes new blades ready that schedules alone lead to.
    fn make_ready(&mut self) {
        let (people, expected) = (&self.people, &mut self.expected);
        expected.clear();
        for (schedule, events) in self.first_events.iter().enumerate() {
            let mut strategies = self.row.strategies.iter().map(|strategy| &strategy.policy);
            if !strategies.any(|policy| policy.schedule == schedule && policy.replaces_every_called_blade()) {
                continue;
            }
            for begin in (0..people.cracks.len()).step_by(Bits::READ) {
                expected.extend(set_bits(events.unsound.read(begin) & lowest(Bits::READ)).map(|number| {
                    let Crack { life, blade, .. } = people.cracks[begin + number];
                    Replacement { life, blade, outage: events.blade_slots[begin + number] / 2 }
                }));
            }
            expected.extend_from_slice(&events.replaced_falsely);
        }
        self.people.make_ready(&self.expected);
    }

    /// One of the lives goes on under one strategy, into a record.
    pub fn follow(&mut self, life: usize, strategy_index: usize, record: &mut LifeRecord) {
        let strategy = &self.row.strategies[strategy_index];
        let events = &self.first_events[strategy.policy.schedule];
        let shared = self.people.mark();
        record.begin(strategy);
        let first = self.people.first_cracks(life);
        let (mut there, mut range) = (&self.first_cracks.there, 0..0);
        if strategy.policy.keeps_blades_apart() {
            (there, range) = (&events.there, first.start as usize..first.end as usize);
            events.count_single(life, range.clone(), &mut record.work);
        }
        let counted = Occupancy { there, places: &self.first_cracks.places, range };
        let mut followed = Life {
            row: self.row,
            strategy,
            people: &mut self.people,
            first: &self.first_cracks,
            events,
            room: &mut self.room,
            record,
            life,
        };
        followed.live();
        record.settle(self.row, strategy, &counted, &self.people.length_mm);
        self.people.release(shared);
    }

    /// The cracks of the lives, as they stand at the start of the study, and who would call them.
    pub fn people(&self) -> &Population<'p> {
        &self.people
    }

    /// What happened to followed cracks since this was last asked.
    pub fn take_notes(&mut self) -> Notes {
        std::mem::take(&mut self.people.notes)
    }
}
