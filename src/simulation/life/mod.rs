//! One row's life under each strategy, event by event.
//!
//! Time between outages is not stepped through. Every crack knows its next event: the outage at
//! which it is first called, or the interval in which its blade is lost. Events are numbered by
//! slots, two an outage: `2 j` for losses before outage j, `2 j + 1` for outage j itself.
//!
//! Where a strategy does nothing to a row because of one blade, blades live apart and each is
//! followed on its own ([`Lives::follow_blades`]). Where it does (a second look at the whole row,
//! a whole new row, a blade watched), the row is followed in order of time ([`Lives::follow_row`]).

mod apart;
mod together;

use super::plan::{Line, RowPlan, StrategyPlan};
use super::population::{Crack, Population};
use super::record::{Record, Slots};
use super::tally::Notes;
use crate::random::Key;
use std::ops::Range;

/// Lives of one row; keeps its storage from life to life.
#[derive(Debug)]
pub(crate) struct Lives<'p> {
    row: &'p RowPlan,
    people: Population<'p>,
    /// Cracks of each cracked blade among the first blades: they stand together.
    blades: Vec<Range<u32>>,
    /// Next event of each crack of the first blades, for each schedule.
    first_slots: Vec<Vec<u32>>,
    /// False calls at scheduled looks, for each schedule.
    false_calls: Vec<Vec<FalseCall>>,
    /// Cracks in the row, and the slot of the next event of each.
    live: Vec<u32>,
    slots: Vec<u32>,
    due: Slots,
    called: Vec<Called>,
    watched: Vec<Watched>,
    /// How often each blade was renewed in this life; the stamp tells which life that was.
    renewals: Vec<(u64, u64)>,
    stamp: u64,
    row_generation: u64,
}

#[derive(Debug, Clone, Copy)]
struct FalseCall {
    outage: u32,
    blade: u32,
    line: u32,
}

/// A blade with an indication at the outage being lived.
#[derive(Debug, Clone, Copy)]
struct Called {
    blade: u32,
    cracks: u32,
    longest_mm: f64,
    technique: u32,
    /// Whether the indication counts: it was not overruled by a second look.
    stands: bool,
}

/// A blade that stays with an indication and is looked at again at an outage.
#[derive(Debug, Clone, Copy)]
struct Watched {
    outage: u32,
    blade: u32,
    technique: u32,
}

impl<'p> Lives<'p> {
    pub fn new(row: &'p RowPlan) -> Self {
        Lives {
            row,
            people: Population::new(row),
            blades: Vec::new(),
            first_slots: vec![Vec::new(); row.schedules],
            false_calls: vec![Vec::new(); row.schedules],
            live: Vec::new(),
            slots: Vec::new(),
            due: Slots::default(),
            called: Vec::new(),
            watched: Vec::new(),
            renewals: vec![(0, 0); row.blades as usize],
            stamp: 0,
            row_generation: 0,
        }
    }

    /// Draws the row up to the start of the study; `key` is that of the row in this trial.
    /// Returns the number of tries it took to come there without a loss; none if it never did.
    pub fn begin(&mut self, key: Key) -> Option<u64> {
        let tries = self.people.begin_and_come_through(key)?;
        group_by_blade(&self.people, 0, &mut self.blades);
        for schedule in 0..self.row.schedules {
            self.prepare(schedule);
        }
        Some(tries)
    }

    /// What strategies with one schedule share: first calls of the first blades, false calls.
    fn prepare(&mut self, schedule: usize) {
        let row = self.row;
        let Some(strategy) = row.strategies.iter().find(|strategy| strategy.schedule == schedule) else { return };
        let people = &self.people;
        let slots = &mut self.first_slots[schedule];
        slots.clear();
        slots.extend(people.cracks.iter().map(Crack::loss_slot));
        for line in &strategy.lines {
            for (index, slot) in slots.iter_mut().enumerate() {
                *slot = slot_with(people, line, index, *slot, 0);
            }
        }
        let calls = &mut self.false_calls[schedule];
        calls.clear();
        for (index, line) in strategy.lines.iter().enumerate() {
            for &(outage, blade) in &people.false_calls[line.technique] {
                if looks_at(line, outage) && covers(people, line, blade, outage as usize) {
                    calls.push(FalseCall { outage, blade, line: index as u32 });
                }
            }
        }
    }

    /// Lives on under one strategy, into a record.
    pub fn follow(&mut self, strategy_index: usize, record: &mut Record) {
        let row = self.row;
        let strategy = &row.strategies[strategy_index];
        let first_cracks = self.people.cracks.len();
        self.stamp += 1;
        self.row_generation = 0;
        if strategy.couples_blades {
            self.follow_row(strategy, record);
        } else {
            self.follow_blades(strategy, record);
        }
        record.settle(row, strategy, &self.people.length_mm);
        self.people.truncate(first_cracks);
    }

    /// What happened to followed cracks since this was last asked.
    pub fn take_notes(&mut self) -> Notes {
        std::mem::take(&mut self.people.notes)
    }

    fn tally_loss(&self, year: f64, blade: u32, generation: u64, record: &mut Record) {
        let row = self.row;
        let cost = match row.loss_cost.fixed() {
            Some(cost) => cost,
            None => row.loss_cost.quantile(self.people.loss_draw(blade, generation)),
        };
        record.lose(year - row.start_year, cost + row.forced_days * row.forced_day_cost, row.forced_days);
    }

    fn begin_row_generation(&mut self) {
        self.stamp += 1;
        self.row_generation += 1;
    }

    /// Number of the blade that comes next to a position.
    fn next_generation(&mut self, blade: u32) -> u64 {
        let (stamp, count) = &mut self.renewals[blade as usize];
        if *stamp != self.stamp {
            (*stamp, *count) = (self.stamp, 0);
        }
        *count += 1;
        (self.row_generation << 16) + *count
    }
}

/// Ranges of the cracks of one blade, from an index on.
fn group_by_blade(people: &Population, from: usize, groups: &mut Vec<Range<u32>>) {
    groups.clear();
    let mut begin = from;
    for group in people.cracks[from..].chunk_by(|a, b| a.blade == b.blade) {
        groups.push(begin as u32..(begin + group.len()) as u32);
        begin += group.len();
    }
}

/// The slot of a crack's next event from an outage on: its first scheduled call or its loss.
#[inline]
fn next_slot(people: &Population, strategy: &StrategyPlan, index: usize, from: usize) -> u32 {
    let loss = people.cracks[index].loss_slot();
    strategy.lines.iter().fold(loss, |slot, line| slot_with(people, line, index, slot, from))
}

/// The slot of a crack's next event from an outage on, when one more line looks.
#[inline(always)]
fn slot_with(people: &Population, line: &Line, index: usize, slot: u32, from: usize) -> u32 {
    let crack = &people.cracks[index];
    let limit = crack.last.min(slot / 2);
    let begin = line.next[from.max(crack.first as usize)] as usize;
    let end = line.next[limit as usize] as usize;
    if begin >= end {
        return slot;
    }
    let look = people.look(index, line.technique);
    let outages = &line.outages[begin..end];
    let called = if line.covers_all {
        look.first_call(outages)
    } else {
        let sees = |outage: usize| covers_crack(people, line, crack, outage) && look.calls(outage);
        outages.iter().copied().find(|&outage| sees(outage as usize))
    };
    called.map_or(slot, |outage| 2 * outage + 1)
}

/// Whether a line looks at an outage.
fn looks_at(line: &Line, outage: u32) -> bool {
    line.outages.get(line.next[outage as usize] as usize) == Some(&outage)
}

/// Whether a look covers a blade at an outage.
#[inline]
fn covers(people: &Population, line: &Line, blade: u32, outage: usize) -> bool {
    line.blade_fraction >= 1.0 || people.coverage_draw(blade, line.look, outage) < line.blade_fraction
}

#[inline]
fn covers_crack(people: &Population, line: &Line, crack: &Crack, outage: usize) -> bool {
    (line.classes.is_empty() || line.classes[crack.class()]) && covers(people, line, crack.blade, outage)
}
