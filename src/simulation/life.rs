//! One row's life under each strategy, event by event.
//!
//! Time between outages is not stepped through. Every crack knows its next event: the outage at
//! which it is first called, or the interval in which its blade is lost. Events are numbered by
//! slots, two an outage: `2 j` for losses before outage j, `2 j + 1` for outage j itself.
//!
//! Where a strategy does nothing to a row because of one blade, blades live apart and each is
//! followed on its own ([`Lives::follow_blades`]). Where it does (a second look at the whole row,
//! a whole new row, a blade watched), the row is followed in order of time ([`Lives::follow_row`]).

use super::plan::{Line, RowPlan, StrategyPlan};
use super::population::{Crack, NEVER, Population};
use super::record::{Quantity, Record, Slots};
use crate::model::strategy::{Action, AfterLoss, RowEndAction};
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
        /// A row that loses a blade in so many tries contradicts the fact that it runs.
        const TRIES: u64 = 1000;
        let tries =
            (0..TRIES).find(|&attempt| self.people.begin(if attempt == 0 { key } else { key.child(attempt) }))?;
        group_by_blade(&self.people, 0, &mut self.blades);
        for schedule in 0..self.row.schedules {
            self.prepare(schedule);
        }
        Some(tries + 1)
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

    /// Follows blades one by one, for a strategy that does not couple them.
    fn follow_blades(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        let row = self.row;
        let (end, renewed) = match strategy.row_end {
            Some((outage, action)) => (outage as usize, action == RowEndAction::NewRow),
            None => (row.outages.len(), false),
        };
        let blades = std::mem::take(&mut self.blades);
        self.follow_cracked_and_called(strategy, &blades, 0, end, record);
        self.blades = blades;
        if renewed {
            record.replace_row(end);
            let from = self.people.cracks.len();
            self.begin_row_generation();
            self.people.renew_row(self.row_generation << 16, row.outages[end]);
            let mut blades = Vec::new();
            group_by_blade(&self.people, from, &mut blades);
            self.follow_cracked_and_called(strategy, &blades, end, row.outages.len(), record);
        }
    }

    /// Follows the blades that crack, and then those that do not but are called.
    fn follow_cracked_and_called(
        &mut self,
        strategy: &StrategyPlan,
        blades: &[Range<u32>],
        begin: usize,
        end: usize,
        record: &mut Record,
    ) {
        let alone = self.false_calls[strategy.schedule].is_empty();
        for cracks in blades {
            let index = cracks.start as usize;
            let crack = &self.people.cracks[index];
            let slot = self.first_slots[strategy.schedule].get(index).copied().unwrap_or(0);
            if alone && cracks.len() == 1 && slot as usize > 2 * end {
                // The commonest life of all: one crack, never called, and no loss.
                record.present(crack, end);
            } else {
                self.follow_blade(strategy, crack.blade, cracks.clone(), begin, end, record);
            }
        }
        if alone {
            return;
        }
        for index in 0..self.false_calls[strategy.schedule].len() {
            let FalseCall { blade, outage, .. } = self.false_calls[strategy.schedule][index];
            let people = &self.people;
            let cracked = |cracks: &Range<u32>| people.cracks[cracks.start as usize].blade == blade;
            // A blade is followed once: at the first of its calls.
            let first = self.false_calls[strategy.schedule]
                .iter()
                .position(|call| call.blade == blade && (begin..end).contains(&(call.outage as usize)));
            if (begin..end).contains(&(outage as usize)) && first == Some(index) && !blades.iter().any(cracked) {
                self.follow_blade(strategy, blade, 0..0, begin, end, record);
            }
        }
    }

    /// Follows one position of the row from an outage to another.
    fn follow_blade(
        &mut self,
        strategy: &StrategyPlan,
        blade: u32,
        mut cracks: Range<u32>,
        begin: usize,
        end: usize,
        record: &mut Record,
    ) {
        let mut from = begin;
        loop {
            let mut slot = NEVER;
            let mut found = 0;
            let mut lost_year = f64::INFINITY;
            let first_slots = &self.first_slots[strategy.schedule];
            for index in cracks.clone() {
                let crack = &self.people.cracks[index as usize];
                let next = match first_slots.get(index as usize) {
                    Some(&slot) => slot,
                    None => next_slot(&self.people, strategy, index as usize, from),
                };
                if next < slot {
                    (slot, found, lost_year) = (next, 1, crack.lost_year);
                } else if next == slot {
                    found += 1;
                    lost_year = lost_year.min(crack.lost_year);
                }
            }
            for call in &self.false_calls[strategy.schedule] {
                let outage = call.outage as usize;
                let sooner = call.blade == blade && outage >= from && 2 * call.outage + 1 < slot;
                if sooner && cracks.clone().all(|index| self.people.cracks[index as usize].first > call.outage) {
                    (slot, found) = (2 * call.outage + 1, 0);
                }
            }
            let outage = (slot / 2) as usize;
            let over = slot as usize > 2 * end;
            for index in cracks {
                record.present(&self.people.cracks[index as usize], if over { end } else { outage });
            }
            if over {
                return;
            }
            let generation = self.next_generation(blade);
            let new = self.people.cracks.len();
            if slot.is_multiple_of(2) {
                self.tally_loss(lost_year, blade, generation, record);
                self.people.renew_at(blade, generation, lost_year);
                from = outage;
            } else {
                record.replace_blade(outage, found);
                self.people.renew_at_outage(blade, generation, outage);
                from = outage + 1;
            }
            cracks = new as u32..self.people.cracks.len() as u32;
            if cracks.is_empty() && self.false_calls[strategy.schedule].is_empty() {
                return;
            }
        }
    }

    fn tally_loss(&self, year: f64, blade: u32, generation: u64, record: &mut Record) {
        let row = self.row;
        let cost = match row.loss_cost.fixed() {
            Some(cost) => cost,
            None => row.loss_cost.quantile(self.people.loss_draw(blade, generation)),
        };
        record.lose(year - row.start_year, cost + row.forced_days * row.forced_day_cost, row.forced_days);
    }

    /// Follows the whole row in order of time.
    fn follow_row(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        let outages = self.row.outages.len();
        self.watched.clear();
        self.due.clear(2 * outages + 1);
        let first_slots = &self.first_slots[strategy.schedule];
        self.live.clear();
        self.live.extend(0..first_slots.len() as u32);
        self.slots.clear();
        self.slots.extend_from_slice(first_slots);
        for &slot in first_slots.iter().filter(|slot| **slot != NEVER) {
            self.due.insert(slot);
        }
        for call in &self.false_calls[strategy.schedule] {
            self.due.insert(2 * call.outage + 1);
        }
        if let Some((outage, _)) = strategy.row_end {
            self.due.insert(2 * outage + 1);
        }
        let mut until = outages;
        while let Some(slot) = self.due.pop() {
            let outage = slot / 2;
            let end = strategy.row_end.filter(|end| end.0 == outage && slot % 2 == 1).map(|end| end.1);
            if slot.is_multiple_of(2) {
                self.lose(strategy, slot, record);
            } else if end == Some(RowEndAction::Retired) {
                until = outage as usize;
                break;
            } else {
                self.inspect(strategy, outage, end.is_some(), record);
            }
        }
        for &crack in &self.live {
            record.present(&self.people.cracks[crack as usize], until);
        }
    }

    /// Losses in the interval before an outage, in order of time.
    fn lose(&mut self, strategy: &StrategyPlan, slot: u32, record: &mut Record) {
        let outage = slot as usize / 2;
        loop {
            let cracks = &self.people.cracks;
            let lost = self.live.iter().zip(&self.slots).filter(|(_, next)| **next == slot);
            let earliest =
                lost.map(|(&crack, _)| &cracks[crack as usize]).min_by(|a, b| a.lost_year.total_cmp(&b.lost_year));
            let Some(&Crack { blade, lost_year, .. }) = earliest else { return };
            let generation = self.next_generation(blade);
            self.tally_loss(lost_year, blade, generation, record);
            match strategy.after_loss {
                AfterLoss::ReplaceBlade => {
                    self.remove_blade(blade, outage, record);
                    let from = self.people.cracks.len();
                    self.people.renew_at(blade, generation, lost_year);
                    self.enter(strategy, from, outage);
                }
                AfterLoss::ReplaceRow => {
                    record.add(Quantity::RowsReplaced, 1.0);
                    record.pay_row(self.row, strategy, lost_year);
                    self.renew_row(strategy, lost_year, outage, record);
                }
            }
        }
    }

    /// One outage at which something was called, was falsely called, or is due.
    fn inspect(&mut self, strategy: &StrategyPlan, outage: u32, row_ends: bool, record: &mut Record) {
        let row = self.row;
        let at = outage as usize;
        let slot = 2 * outage + 1;
        self.called.clear();
        let escalated = self.scheduled_calls(strategy, slot, record);
        self.watched_calls(strategy, outage, record);
        if escalated != 0 {
            for (look, escalation) in strategy.escalations.iter().enumerate() {
                if let Some(escalation) = escalation
                    && escalated & (1 << look) != 0
                {
                    record.set(Quantity::Escalated, 1.0);
                    for &technique in &escalation.techniques {
                        let about = &row.techniques[technique];
                        record.look(at, about.cost(f64::from(row.blades)), about.days_per_row, about.access);
                        self.second_look(strategy, technique, outage);
                    }
                }
            }
        }
        let mut replace_row = row_ends;
        let mut counted = 0;
        for called in self.called.iter().filter(|called| called.stands) {
            record.add(Quantity::CracksFound, f64::from(called.cracks));
            counted += 1;
            replace_row |= action_for(strategy, called.longest_mm) == Action::ReplaceRow;
        }
        replace_row |= counted >= strategy.replace_row_from;
        if replace_row {
            record.replace_row(at);
            self.watched.clear();
            self.renew_row(strategy, row.outages[at], at, record);
            return;
        }
        let mut stays = false;
        for index in 0..self.called.len() {
            let Called { blade, cracks, longest_mm, technique, stands } = self.called[index];
            if !stands {
                stays = true;
            } else if action_for(strategy, longest_mm) == Action::Watch {
                stays = true;
                let next = outage + 1;
                if strategy.runs_at(next) {
                    self.watched.push(Watched { outage: next, blade, technique });
                    self.due.insert(2 * next + 1);
                }
            } else {
                record.replace_one(at, cracks == 0);
                self.remove_blade(blade, at, record);
                let generation = self.next_generation(blade);
                let from = self.people.cracks.len();
                self.people.renew_at_outage(blade, generation, at);
                self.enter(strategy, from, at + 1);
            }
        }
        self.watched.retain(|watched| watched.outage > outage);
        if stays {
            // Cracks that were called and stay have their next event later.
            for index in 0..self.live.len() {
                if self.slots[index] == slot {
                    let next = next_slot(&self.people, strategy, self.live[index] as usize, at + 1);
                    self.slots[index] = next;
                    if next != NEVER {
                        self.due.insert(next);
                    }
                }
            }
        }
    }

    /// Calls by the scheduled looks; returns the set of looks with an indication.
    fn scheduled_calls(&mut self, strategy: &StrategyPlan, slot: u32, record: &mut Record) -> u64 {
        let outage = slot / 2;
        let at = outage as usize;
        let mut escalated = 0_u64;
        for index in 0..self.live.len() {
            if self.slots[index] != slot {
                continue;
            }
            let crack = self.live[index] as usize;
            let blade = self.people.cracks[crack].blade;
            let mut fresh = 1;
            for line in &strategy.lines {
                // With one line the slot itself says who called.
                let calls = strategy.lines.len() == 1
                    || looks_at(line, outage)
                        && covers_crack(&self.people, line, &self.people.cracks[crack], at)
                        && self.people.calls(crack, line.technique, at);
                if calls {
                    escalated |= 1 << line.look;
                    let length_mm = self.measured_mm(strategy, crack, line.technique, at);
                    self.call(blade, fresh, length_mm, line.technique, line.stands);
                    fresh = 0;
                }
            }
        }
        for index in 0..self.false_calls[strategy.schedule].len() {
            let FalseCall { outage: due, blade, line } = self.false_calls[strategy.schedule][index];
            if due == outage && self.is_crack_free(blade, at) {
                let line = &strategy.lines[line as usize];
                escalated |= 1 << line.look;
                let length_mm = self.people.false_length_mm(blade, line.technique, at);
                self.call(blade, 0, length_mm, line.technique, line.stands);
            }
        }
        if escalated != 0 {
            record.mark_called(at);
        }
        escalated
    }

    /// Blades that are watched are looked at again by the technique that called them.
    fn watched_calls(&mut self, strategy: &StrategyPlan, outage: u32, record: &mut Record) {
        let at = outage as usize;
        for index in 0..self.watched.len() {
            let Watched { outage: due, blade, technique } = self.watched[index];
            if due != outage {
                continue;
            }
            let technique = technique as usize;
            let about = &self.row.techniques[technique];
            record.look(at, about.cost(1.0), 0.0, about.access);
            for index in 0..self.live.len() {
                let crack = self.live[index] as usize;
                let about = &self.people.cracks[crack];
                if about.blade == blade && about.is_present(at) && self.people.calls(crack, technique, at) {
                    let length_mm = self.measured_mm(strategy, crack, technique, at);
                    let counted = self.slots[index] == 2 * outage + 1;
                    self.call(blade, u32::from(!counted), length_mm, technique, true);
                }
            }
        }
    }

    /// A second look at the whole row, after an indication.
    fn second_look(&mut self, strategy: &StrategyPlan, technique: usize, outage: u32) {
        let at = outage as usize;
        for index in 0..self.live.len() {
            let crack = self.live[index] as usize;
            let about = &self.people.cracks[crack];
            if about.is_present(at) && self.people.calls(crack, technique, at) {
                let blade = about.blade;
                let length_mm = self.measured_mm(strategy, crack, technique, at);
                // A crack that a scheduled look called is counted already.
                self.call(blade, u32::from(self.slots[index] != 2 * outage + 1), length_mm, technique, true);
            }
        }
        let begin = self.people.false_calls[technique].partition_point(|call| call.0 < outage);
        for index in begin..self.people.false_calls[technique].len() {
            let (due, blade) = self.people.false_calls[technique][index];
            if due != outage {
                break;
            }
            if self.is_crack_free(blade, at) {
                let length_mm = self.people.false_length_mm(blade, technique, at);
                self.call(blade, 0, length_mm, technique, true);
            }
        }
    }

    /// Length reported for a crack; not asked for where every indication has its blade replaced.
    fn measured_mm(&self, strategy: &StrategyPlan, crack: usize, technique: usize, outage: usize) -> f64 {
        if strategy.replaces_always {
            return f64::NAN;
        }
        self.people.measured_mm(&self.people.cracks[crack], technique, outage)
    }

    /// Notes an indication on a blade.
    fn call(&mut self, blade: u32, cracks: u32, length_mm: f64, technique: usize, stands: bool) {
        let technique = technique as u32;
        match self.called.iter_mut().find(|called| called.blade == blade) {
            Some(called) => {
                called.cracks += cracks;
                called.stands |= stands;
                if length_mm > called.longest_mm {
                    called.longest_mm = length_mm;
                    called.technique = technique;
                }
            }
            None => self.called.push(Called { blade, cracks, longest_mm: length_mm, technique, stands }),
        }
    }

    /// Whether no crack has started in a blade by an outage.
    fn is_crack_free(&self, blade: u32, outage: usize) -> bool {
        !self.live.iter().any(|&crack| {
            let crack = &self.people.cracks[crack as usize];
            crack.blade == blade && crack.first as usize <= outage
        })
    }

    /// Takes a blade's cracks out of the row; they were there at the outages before `outage`.
    fn remove_blade(&mut self, blade: u32, outage: usize, record: &mut Record) {
        let mut index = 0;
        while index < self.live.len() {
            let crack = &self.people.cracks[self.live[index] as usize];
            if crack.blade == blade {
                record.present(crack, outage);
                self.live.swap_remove(index);
                self.slots.swap_remove(index);
            } else {
                index += 1;
            }
        }
    }

    fn renew_row(&mut self, strategy: &StrategyPlan, year: f64, outage: usize, record: &mut Record) {
        for &crack in &self.live {
            record.present(&self.people.cracks[crack as usize], outage);
        }
        self.live.clear();
        self.slots.clear();
        self.begin_row_generation();
        let from = self.people.cracks.len();
        self.people.renew_row(self.row_generation << 16, year);
        self.enter(strategy, from, outage);
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

    /// Puts new cracks into the row, from an outage on.
    fn enter(&mut self, strategy: &StrategyPlan, from: usize, outage: usize) {
        for index in from..self.people.cracks.len() {
            let slot = next_slot(&self.people, strategy, index, outage);
            self.live.push(index as u32);
            self.slots.push(slot);
            if slot != NEVER {
                self.due.insert(slot);
            }
        }
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

fn action_for(strategy: &StrategyPlan, longest_mm: f64) -> Action {
    strategy
        .dispositions
        .iter()
        .find(|rule| longest_mm < rule.below_mm)
        .or(strategy.dispositions.last())
        .map_or(Action::Replace, |rule| rule.action)
}
