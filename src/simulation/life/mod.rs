//! One row's life under each strategy, event by event.
//!
//! Time between outages is not stepped through. Every crack knows its next event: the outage at
//! which it is first called, or the interval in which its blade is lost. Events are numbered by
//! slots, two an outage: `2 j` for losses before outage j, `2 j + 1` for outage j itself.
//!
//! What comes first to the blades of all lives under each schedule is found beforehand ([`first`]); where it is all that
//! ever happens it is counted, and no more.
//!
//! Where a strategy does nothing to a row because of one blade, blades live apart and each is
//! followed on its own ([`Lives::follow_blades`]). Where it does (a second look at the whole row,
//! a whole new row, a blade watched), the row is followed in order of time ([`Lives::follow_row`]; leaner where called
//! blades are replaced at once and nothing happens to a whole row, [`Lives::follow_at_once`]).

mod apart;
mod at_once;
mod first;
mod together;

use super::notes::Notes;
use super::plan::{Line, RowPlan, StrategyPlan};
use super::population::{Crack, FalseCall, NEVER, Population, Replacement};
use super::record::{Presence, Record};
use crate::bits::{Bits, Numbers, lowest, set_bits};
use crate::random::Key;
use at_once::Standing;
use first::{FirstCracks, FirstEvents};
use std::ops::Range;
use together::RowCracks;

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
    /// The life that is followed.
    life: usize,
    /// The schedule of the strategy that is followed.
    schedule: usize,
    /// So many false calls at its looks are past.
    past_false_calls: usize,
    /// The blades that they call.
    called_blades: Numbers,
    in_row: RowCracks,
    standing: Standing,
    called: Vec<Called>,
    /// Cracks called by a look that stands at the outage being lived, by their numbers in the row.
    found: Numbers,
    /// Blades without a crack that are called at the outage being lived.
    clean_called: Vec<u32>,
    watched: Vec<Watched>,
    /// Watched blades that are looked at for that alone at the outage being lived, by technique.
    watched_now: Vec<(u32, u32)>,
    /// How often each blade was renewed in this life; the stamp tells which life that was.
    renewals: Vec<(u64, u64)>,
    stamp: u64,
    row_generation: u64,
}

/// A blade with an indication that stands, at the outage being lived.
#[derive(Debug, Clone, Copy)]
struct Called {
    blade: u32,
    /// One of the cracks that were called, by its number in the row; none where there is none.
    crack: Option<u32>,
    /// How many of its cracks were called.
    cracks: u32,
    longest_mm: f64,
    technique: u32,
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
            first_cracks: FirstCracks::default(),
            first_events: (0..row.schedules).map(|_| FirstEvents::default()).collect(),
            expected: Vec::new(),
            life: 0,
            schedule: 0,
            past_false_calls: 0,
            called_blades: Numbers::default(),
            in_row: RowCracks::default(),
            standing: Standing::default(),
            called: Vec::new(),
            found: Numbers::default(),
            clean_called: Vec::new(),
            watched: Vec::new(),
            watched_now: Vec::new(),
            renewals: vec![(0, 0); row.blades as usize],
            stamp: 0,
            row_generation: 0,
        }
    }

    /// Draws lives of the row up to the start of the study; the keys are those of the row in each trial.
    /// Returns the number of tries it took to come there without a loss; none if one never did.
    pub fn begin(&mut self, keys: impl ExactSizeIterator<Item = Key>) -> Option<u64> {
        let tries = self.people.begin(keys)?;
        let (row, people) = (self.row, &self.people);
        self.first_cracks.find(people, row.outages.len(), &row.used_techniques);
        for (schedule, events) in self.first_events.iter_mut().enumerate() {
            if let Some(strategy) = row.strategies.iter().find(|strategy| strategy.schedule == schedule) {
                let end = strategy.row_end.map_or(row.outages.len() as u32, |(outage, _)| outage);
                events.find(people, &self.first_cracks, strategy, end);
            }
        }
        if self.row.makes_ready {
            self.make_ready();
        }
        Some(tries)
    }

    /// Makes new blades ready that schedules alone lead to.
    fn make_ready(&mut self) {
        let (people, expected) = (&self.people, &mut self.expected);
        expected.clear();
        for (schedule, events) in self.first_events.iter().enumerate() {
            let replaces = |strategy: &StrategyPlan| strategy.schedule == schedule && strategy.replaces_always;
            if !self.row.strategies.iter().any(replaces) {
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
    pub fn follow(&mut self, life: usize, strategy_index: usize, record: &mut Record) {
        let row = self.row;
        let strategy = &row.strategies[strategy_index];
        let first_cracks = self.people.cracks.len();
        self.life = life;
        self.stamp += 1;
        self.row_generation = 0;
        (self.schedule, self.past_false_calls) = (strategy.schedule, 0);
        record.begin(strategy);
        if strategy.replaces_at_once && strategy.couples_blades {
            self.follow_at_once(strategy, record);
        } else if strategy.couples_blades {
            self.follow_row(strategy, record);
        } else {
            self.follow_blades(strategy, record);
        }
        let first = self.people.first_cracks(life);
        let first = Presence {
            there: &self.first_events[self.schedule].there,
            places: &self.first_cracks.places,
            // In a row that is followed in order of time they were said to be present.
            range: if strategy.couples_blades { 0..0 } else { first.start as usize..first.end as usize },
        };
        record.settle(row, strategy, &first, &self.people.length_mm);
        self.people.truncate(first_cracks);
    }

    /// The next false call of a scheduled look at an outage; earlier ones are past.
    fn next_false_call_at(&mut self, outage: u32) -> Option<FalseCall> {
        let calls = self.first_events[self.schedule].false_calls.of(self.life);
        while let Some(&call) = calls.get(self.past_false_calls)
            && call.outage <= outage
        {
            self.past_false_calls += 1;
            if call.outage == outage {
                return Some(call);
            }
        }
        None
    }

    /// Which of a technique's false calls, were it used at every outage, fall on one.
    fn false_calls_at(&self, technique: usize, outage: u32) -> Range<usize> {
        let all = self.people.false_calls(technique);
        if !all.may_fall_on(self.life, outage) {
            return 0..0;
        }
        let calls = all.of(self.life);
        let begin = calls.iter().take_while(|call| call.outage < outage).count();
        begin..begin + calls[begin..].iter().take_while(|call| call.outage == outage).count()
    }

    /// What happened to followed cracks since this was last asked.
    pub fn take_notes(&mut self) -> Notes {
        std::mem::take(&mut self.people.notes)
    }

    fn tally_loss(&self, year: f64, blade: u32, generation: u64, record: &mut Record) {
        let row = self.row;
        let cost = match row.loss_cost.fixed() {
            Some(cost) => cost,
            None => row.loss_cost.quantile(self.people.loss_draw(self.life, blade, generation)),
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

/// The slot of a crack's next event from an outage on: its first scheduled call or its loss.
fn next_slot(people: &Population, strategy: &StrategyPlan, crack: &Crack, from: usize) -> u32 {
    let from = from.max(crack.first as usize);
    strategy.lines.iter().fold(crack.loss_slot(), |slot, line| slot_with(people, line, crack, slot, from))
}

/// The slot of a crack's next event from an outage on, when one more line looks.
#[inline(always)]
fn slot_with(people: &Population, line: &Line, crack: &Crack, slot: u32, from: usize) -> u32 {
    let (mut begin, last) = (from, crack.last as usize);
    loop {
        let mut calls = people.calls_from(crack, line.technique, &line.looks_at, begin);
        if !line.covers_all {
            calls = covered(people, line, crack, begin, calls);
        }
        let first = if calls == 0 { NEVER } else { 2 * (begin as u32 + calls.trailing_zeros()) + 1 };
        begin += Bits::READ;
        if begin >= last || calls != 0 {
            return slot.min(first);
        }
    }
}

/// Of calls, as bits from an outage on, those that a line covers.
#[inline(never)]
fn covered(people: &Population, line: &Line, crack: &Crack, from: usize, calls: u64) -> u64 {
    let is_covered = |bit: &usize| covers_crack(people, line, crack, from + bit);
    set_bits(calls).filter(is_covered).fold(0, |covered, bit| covered | 1 << bit)
}

/// Whether a line looks at an outage.
fn looks_at(line: &Line, outage: u32) -> bool {
    line.looks_at.is_set(outage as usize)
}

/// Whether a look covers a blade at an outage.
#[inline]
fn covers(people: &Population, life: usize, line: &Line, blade: u32, outage: usize) -> bool {
    line.blade_fraction >= 1.0 || people.coverage_draw(life, blade, line.look, outage) < line.blade_fraction
}

#[inline]
fn covers_crack(people: &Population, line: &Line, crack: &Crack, outage: usize) -> bool {
    (line.classes.is_empty() || line.classes[crack.class()])
        && covers(people, crack.life as usize, line, crack.blade, outage)
}
