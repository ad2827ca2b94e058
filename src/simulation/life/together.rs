//! A row followed in order of time, under a strategy that can do something to a whole row, or later to
//! a blade, because of what one look called.
//!
//! The cracks in the row are numbered as they come, and the sets of numbers are words of bits: whose next event
//! falls in a slot, which have started, which are still there. An event costs work only for cracks that it
//! concerns.

use super::super::plan::{Line, LookPrice, SecondLook, StrategyPlan};
use super::super::population::Crack;
use super::super::record::{Quantity, Record};
use super::{Called, FalseCall, Lives, Watched, covers, covers_crack, looks_at, next_slot};
use crate::bits::{Numbers, set_bits};
use crate::model::strategy::{Action, AfterLoss, RowEndAction};
use std::ops::Range;

/// The cracks of a row that is followed in order of time.
#[derive(Debug, Default)]
pub(super) struct RowCracks {
    /// Index of each crack, by number.
    pub cracks: Vec<u32>,
    /// Words of 64 numbers: those still in the row.
    pub alive: Vec<u64>,
    /// For each word: the numbers whose next event falls in each slot.
    agenda: Vec<u64>,
    /// For each word: the numbers that start before each outage.
    started: Vec<u64>,
    /// For each word: the numbers of cracks in the same blade as the one before.
    further: Vec<u64>,
    outages: usize,
    /// Slots with an event.
    due: Numbers,
    /// Blades with a crack, now, later or before.
    cracked: Numbers,
}

impl RowCracks {
    fn clear(&mut self, outages: usize, blades: u32) {
        self.outages = outages;
        self.cracks.clear();
        self.alive.clear();
        self.agenda.clear();
        self.started.clear();
        self.further.clear();
        self.due.clear(self.slots());
        self.cracked.clear(blades as usize);
    }

    /// The slots of events, and one for cracks that have none.
    fn slots(&self) -> usize {
        2 * self.outages + 2
    }

    /// Puts cracks into the row, each with the slot of its next event; those of one blade stand together.
    #[inline(always)]
    fn enter<'a>(&mut self, from: u32, cracks: impl Iterator<Item = (&'a Crack, u32)>) {
        let (slots, none, starts) = (self.slots(), self.none(), self.outages + 1);
        let first_word = self.cracks.len() / 64;
        let mut blade_before = u32::MAX;
        for (index, (crack, slot)) in (from..).zip(cracks) {
            let number = self.cracks.len();
            self.cracks.push(index);
            if number.is_multiple_of(64) {
                self.alive.push(0);
                self.further.push(0);
                self.agenda.resize(self.alive.len() * slots, 0);
                self.started.resize(self.alive.len() * starts, 0);
            }
            // Without a branch: nobody foresees which cracks have an event.
            let (word, bit, slot) = (number / 64, 1 << (number % 64), slot.min(none));
            self.alive[word] |= bit;
            self.further[word] |= u64::from(crack.blade == blade_before) << (number % 64);
            self.started[word * starts + crack.first as usize] |= bit;
            self.agenda[word * slots + slot as usize] |= bit;
            self.due.insert(slot);
            self.cracked.insert(crack.blade);
            blade_before = crack.blade;
        }
        for started in self.started.chunks_exact_mut(starts).skip(first_word) {
            let mut until_now = 0;
            for started in started {
                until_now |= *started;
                *started = until_now;
            }
        }
    }

    /// Notes a crack's next event.
    #[inline(always)]
    fn plan(&mut self, number: usize, slot: u32) {
        let (slots, slot) = (self.slots(), slot.min(self.none()));
        self.agenda[number / 64 * slots + slot as usize] |= 1 << (number % 64);
        self.due.insert(slot);
    }

    /// The slot of cracks that have no event.
    fn none(&self) -> u32 {
        2 * self.outages as u32 + 1
    }

    pub fn words(&self) -> usize {
        self.alive.len()
    }

    /// Of a word, the cracks in the row whose next event falls in a slot.
    #[inline(always)]
    pub fn due_in(&self, word: usize, slot: u32) -> u64 {
        self.agenda[word * self.slots() + slot as usize] & self.alive[word]
    }

    /// Of a word, the cracks in the row that start before an outage.
    #[inline(always)]
    pub fn started(&self, word: usize, outage: usize) -> u64 {
        self.started[word * (self.outages + 1) + outage] & self.alive[word]
    }

    /// Whether a crack came with no other in its blade.
    #[inline(always)]
    fn is_alone(&self, number: usize) -> bool {
        let next = number + 1;
        let next_is_further = self.further.get(next / 64).is_some_and(|further| further >> (next % 64) & 1 != 0);
        self.further[number / 64] >> (number % 64) & 1 == 0 && !next_is_further
    }

    /// Takes a crack out of the row; whether it was there.
    #[inline(always)]
    fn remove(&mut self, number: usize) -> bool {
        let alive = &mut self.alive[number / 64];
        let was_there = *alive >> (number % 64) & 1 != 0;
        *alive &= !(1 << (number % 64));
        was_there
    }

    /// Cracks in the row, as (number, index).
    fn alive(&self) -> impl Iterator<Item = (usize, usize)> {
        let numbers = self.alive.iter().enumerate().flat_map(|(word, alive)| numbers(word, *alive));
        numbers.map(|number| (number, self.cracks[number] as usize))
    }
}

/// Numbers of the bits of a word.
#[inline(always)]
pub(super) fn numbers(word: usize, bits: u64) -> impl Iterator<Item = usize> {
    set_bits(bits).map(move |bit| word * 64 + bit)
}

impl Lives<'_> {
    /// Follows the whole row in order of time.
    #[inline(never)]
    pub(super) fn follow_row(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        let outages = self.row.outages.len();
        self.watched.clear();
        self.in_row.clear(outages, self.row.blades);
        let own = self.people.first_cracks(self.life);
        let (from, own) = (own.start, own.start as usize..own.end as usize);
        let slots = &self.first_events[strategy.schedule].slots[own.clone()];
        self.in_row.enter(from, self.people.cracks[own].iter().zip(slots.iter().copied()));
        for call in self.first_events[self.schedule].false_calls.of(self.life) {
            self.in_row.due.insert(2 * call.outage + 1);
        }
        if let Some((outage, _)) = strategy.row_end {
            self.in_row.due.insert(2 * outage + 1);
        }
        let mut until = outages;
        while let Some(slot) = self.in_row.due.pop().filter(|slot| *slot < self.in_row.none()) {
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
        for (_, index) in self.in_row.alive() {
            record.present(&self.people.cracks[index], until);
        }
    }

    /// Losses in the interval before an outage, in order of time.
    fn lose(&mut self, strategy: &StrategyPlan, slot: u32, record: &mut Record) {
        let outage = slot as usize / 2;
        loop {
            let cracks = &self.people.cracks;
            let lost = (0..self.in_row.words()).flat_map(|word| numbers(word, self.in_row.due_in(word, slot)));
            let lost = lost.map(|number| (number, &cracks[self.in_row.cracks[number] as usize]));
            let earliest = lost.min_by(|a, b| a.1.lost_year.total_cmp(&b.1.lost_year));
            let Some((number, &Crack { blade, lost_year, .. })) = earliest else { return };
            let generation = self.next_generation(blade);
            self.tally_loss(lost_year, blade, generation, record);
            match strategy.after_loss {
                AfterLoss::ReplaceBlade => {
                    self.watched.retain(|watched| watched.blade != blade);
                    self.remove_blade(blade, Some(number), outage, record);
                    let new = self.people.renew_at(self.life, blade, generation, lost_year);
                    self.enter(strategy, new, outage);
                }
                AfterLoss::ReplaceRow => {
                    record.add(Quantity::RowsReplaced, 1.0);
                    record.pay_row(self.row, strategy, lost_year);
                    self.watched.clear();
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
        self.found.clear(self.in_row.cracks.len());
        let (escalated, mut stays) = self.scheduled_calls(strategy, slot, record);
        if !row_ends {
            self.watched_calls(strategy, outage, escalated, record);
        }
        for second in strategy.second_looks.iter().filter(|second| escalated & second.after != 0) {
            self.pay_second_look(second, at, record);
            self.look_again(strategy, second.technique, outage, None);
        }
        let mut replace_row = row_ends;
        for called in &self.called {
            record.find(at, called.cracks);
            replace_row |= !strategy.replaces_always && action_for(strategy, called.longest_mm) == Action::ReplaceRow;
        }
        replace_row |= self.called.len() >= strategy.replace_row_from as usize;
        if replace_row {
            record.replace_row(at);
            self.watched.clear();
            self.renew_row(strategy, row.outages[at], at, record);
            return;
        }
        for index in 0..self.called.len() {
            let Called { blade, crack, cracks, longest_mm, technique } = self.called[index];
            if !strategy.replaces_always && action_for(strategy, longest_mm) == Action::Watch {
                stays = true;
                let next = outage + 1;
                if strategy.runs_at(next) {
                    let technique = strategy.watch.map_or(technique, |watch| watch.technique as u32);
                    self.watched.push(Watched { outage: next, blade, technique });
                    self.in_row.due.insert(2 * next + 1);
                }
            } else {
                self.replace(strategy, blade, crack.map(|number| number as usize), cracks == 0, at, record);
            }
        }
        if !self.watched.is_empty() {
            self.watched.retain(|watched| watched.outage > outage);
        }
        if stays {
            // Cracks that were called and stay have their next event later.
            for word in 0..self.in_row.words() {
                for number in numbers(word, self.in_row.due_in(word, slot)) {
                    let crack = &self.people.cracks[self.in_row.cracks[number] as usize];
                    self.in_row.plan(number, next_slot(&self.people, strategy, crack, at + 1));
                }
            }
        }
    }

    /// Calls by the scheduled looks; returns the set of looks with an indication, and whether any of the cracks called
    /// stays because its indication does not stand.
    fn scheduled_calls(&mut self, strategy: &StrategyPlan, slot: u32, record: &mut Record) -> (u64, bool) {
        let outage = slot / 2;
        let at = outage as usize;
        let (mut escalated, mut stays) = (0_u64, false);
        for word in 0..self.in_row.words() {
            for number in numbers(word, self.in_row.due_in(word, slot)) {
                let index = self.in_row.cracks[number] as usize;
                let blade = self.people.cracks[index].blade;
                for line in &strategy.lines {
                    let crack = &self.people.cracks[index];
                    // With one line the slot itself says who called.
                    let calls = strategy.lines.len() == 1
                        || looks_at(line, outage)
                            && covers_crack(&self.people, line, crack, at)
                            && self.people.calls(crack, line.technique, at);
                    if calls {
                        escalated |= 1 << line.look;
                        if line.stands {
                            let length_mm = self.measured_mm(strategy, index, line.technique, at);
                            self.call(blade, Some(number as u32), length_mm, line.technique);
                        } else {
                            stays = true;
                        }
                    }
                }
            }
        }
        while let Some(FalseCall { blade, line, .. }) = self.next_false_call_at(outage) {
            if self.is_crack_free(blade, at) {
                let line = &strategy.lines[line as usize];
                escalated |= 1 << line.look;
                if line.stands {
                    let length_mm = self.false_length_mm(strategy, blade, line.technique, at);
                    self.call(blade, None, length_mm, line.technique);
                }
            }
        }
        if escalated != 0 {
            record.mark_called(at);
        }
        (escalated, stays)
    }

    /// Looks again at the blades that are watched, but for those that another look by the same technique covers at
    /// this outage: a scheduled one, or a second look after an indication (`escalated`).
    fn watched_calls(&mut self, strategy: &StrategyPlan, outage: u32, escalated: u64, record: &mut Record) {
        let at = outage as usize;
        self.watched_now.clear();
        for &Watched { outage: due, blade, technique } in &self.watched {
            let by_technique = |line: &&Line| line.technique == technique as usize && looks_at(line, outage);
            let covers = |line: &Line| line.classes.is_empty() && covers(&self.people, self.life, line, blade, at);
            let second = |second: &SecondLook| second.technique == technique as usize && escalated & second.after != 0;
            if due == outage
                && !strategy.lines.iter().filter(by_technique).any(covers)
                && !strategy.second_looks.iter().any(second)
            {
                self.watched_now.push((technique, blade));
            }
        }
        self.watched_now.sort_unstable();
        let mut begin = 0;
        while let Some(&(technique, _)) = self.watched_now.get(begin) {
            let blades = self.watched_now[begin..].iter().take_while(|watched| watched.0 == technique).count();
            let technique = technique as usize;
            let about = &self.row.techniques[technique];
            let LookPrice { cost, days } = strategy.watch_price(about, technique, at, blades);
            record.look(at, cost, days, about.access);
            for index in begin..begin + blades {
                self.look_again(strategy, technique, outage, Some(self.watched_now[index].1));
            }
            begin += blades;
        }
    }

    /// Notes the price of a second look.
    pub(super) fn pay_second_look(&self, second: &SecondLook, outage: usize, record: &mut Record) {
        let LookPrice { cost, days } = second.prices[outage];
        record.set(Quantity::Escalated, 1.0);
        record.look(outage, cost, days, self.row.techniques[second.technique].access);
    }

    /// A look that was not scheduled, at the whole row or at one blade.
    fn look_again(&mut self, strategy: &StrategyPlan, technique: usize, outage: u32, blade: Option<u32>) {
        let at = outage as usize;
        let is_meant = |other: u32| blade.is_none_or(|blade| blade == other);
        for word in 0..self.in_row.words() {
            for number in numbers(word, self.in_row.started(word, at)) {
                let index = self.in_row.cracks[number] as usize;
                let crack = &self.people.cracks[index];
                if is_meant(crack.blade) && crack.is_present(at) && self.people.calls(crack, technique, at) {
                    let blade = crack.blade;
                    let length_mm = self.measured_mm(strategy, index, technique, at);
                    self.call(blade, Some(number as u32), length_mm, technique);
                }
            }
        }
        for index in self.false_calls_at(technique, outage) {
            let blade = self.people.false_calls(technique).of(self.life)[index].blade;
            if is_meant(blade) && self.is_crack_free(blade, at) {
                let length_mm = self.false_length_mm(strategy, blade, technique, at);
                self.call(blade, None, length_mm, technique);
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

    /// Length reported for a false indication; likewise.
    fn false_length_mm(&self, strategy: &StrategyPlan, blade: u32, technique: usize, outage: usize) -> f64 {
        if strategy.replaces_always {
            return f64::NAN;
        }
        self.people.false_length_mm(self.life, blade, technique, outage)
    }

    /// Notes an indication that stands. A crack counts once an outage, whoever calls it.
    fn call(&mut self, blade: u32, crack: Option<u32>, length_mm: f64, technique: usize) {
        let cracks = u32::from(crack.is_some_and(|number| self.found.insert_new(number)));
        let technique = technique as u32;
        match self.called.iter_mut().find(|called| called.blade == blade) {
            Some(called) => {
                called.crack = called.crack.or(crack);
                called.cracks += cracks;
                if length_mm > called.longest_mm {
                    called.longest_mm = length_mm;
                    called.technique = technique;
                }
            }
            None => self.called.push(Called { blade, crack, cracks, longest_mm: length_mm, technique }),
        }
    }

    /// Whether no crack has started in a blade by an outage.
    pub(super) fn is_crack_free(&self, blade: u32, outage: usize) -> bool {
        !self.in_row.cracked.contains(blade)
            || !self.in_row.alive().any(|(_, index)| {
                let crack = &self.people.cracks[index];
                crack.blade == blade && crack.first as usize <= outage
            })
    }

    /// Replaces a blade with an indication at an outage. One of its cracks is given by number, where it is known.
    #[inline(always)]
    pub(super) fn replace(
        &mut self,
        strategy: &StrategyPlan,
        blade: u32,
        crack: Option<usize>,
        falsely: bool,
        outage: usize,
        record: &mut Record,
    ) {
        record.replace_one(outage, falsely);
        self.remove_blade(blade, crack, outage, record);
        let generation = self.next_generation(blade);
        let new = self.people.renew_at_outage(self.life, blade, generation, outage);
        self.enter(strategy, new, outage + 1);
    }

    /// Takes a blade's cracks out of the row; they were there at the outages before `outage`. One of them is given
    /// by number, where it is known.
    #[inline(always)]
    fn remove_blade(&mut self, blade: u32, known: Option<usize>, outage: usize, record: &mut Record) {
        let known = known.or_else(|| {
            if !self.in_row.cracked.contains(blade) {
                return None;
            }
            let mut alive = self.in_row.alive();
            alive.find(|(_, index)| self.people.cracks[*index].blade == blade).map(|(number, _)| number)
        });
        let Some(known) = known else { return };
        if self.in_row.is_alone(known) {
            self.in_row.remove(known);
            record.present(&self.people.cracks[self.in_row.cracks[known] as usize], outage);
            return;
        }
        // Cracks of one blade came together.
        let numbers = &self.in_row.cracks;
        let is_here = |number: usize| self.people.cracks[numbers[number] as usize].blade == blade;
        let mut first = known;
        while first > 0 && is_here(first - 1) {
            first -= 1;
        }
        let mut number = first;
        while number < self.in_row.cracks.len() {
            let crack = &self.people.cracks[self.in_row.cracks[number] as usize];
            if crack.blade != blade {
                break;
            }
            if self.in_row.remove(number) {
                record.present(crack, outage);
            }
            number += 1;
        }
    }

    fn renew_row(&mut self, strategy: &StrategyPlan, year: f64, outage: usize, record: &mut Record) {
        for word in 0..self.in_row.words() {
            for number in numbers(word, self.in_row.alive[word]) {
                record.present(&self.people.cracks[self.in_row.cracks[number] as usize], outage);
                self.in_row.remove(number);
            }
        }
        self.begin_row_generation();
        let new = self.people.renew_row(self.life, self.row_generation << 16, year);
        self.enter(strategy, new, outage);
    }

    /// Puts cracks into the row, from an outage on.
    fn enter(&mut self, strategy: &StrategyPlan, new: Range<u32>, outage: usize) {
        if new.is_empty() {
            return;
        }
        let people = &self.people;
        let cracks = people.cracks[new.start as usize..new.end as usize].iter();
        let events = cracks.map(|crack| (crack, next_slot(people, strategy, crack, outage)));
        self.in_row.enter(new.start, events);
    }
}

fn action_for(strategy: &StrategyPlan, longest_mm: f64) -> Action {
    strategy
        .dispositions
        .iter()
        .find(|rule| longest_mm < rule.below_mm)
        .or(strategy.dispositions.last())
        .map_or(Action::Replace, |rule| rule.action)
}
