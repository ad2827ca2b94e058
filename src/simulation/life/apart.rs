//! Blades followed one by one, under a strategy that does nothing to a row because of one blade.

use super::super::plan::StrategyPlan;
use super::super::population::{FalseCall, NEVER};
use super::super::record::Record;
use super::{Lives, next_slot};
use crate::bits::{Bits, lowest, set_bits};
use crate::model::strategy::RowEndAction;
use std::ops::Range;

impl Lives<'_> {
    /// Follows blades one by one, for a strategy that does not couple them.
    pub(super) fn follow_blades(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        let row = self.row;
        let (end, renewed) = match strategy.row_end {
            Some((outage, action)) => (outage as usize, action == RowEndAction::NewRow),
            None => (row.outages.len(), false),
        };
        self.called_blades.clear(row.blades as usize);
        let events = &self.first_events[self.schedule];
        for call in events.simple_calls.of(self.life) {
            record.replace_blade(call.outage as usize, 0);
        }
        for call in events.other_calls.of(self.life).iter().filter(|call| (call.outage as usize) < end) {
            self.called_blades.insert(call.blade);
        }
        self.follow_first_blades(strategy, end, record);
        self.follow_called(strategy, 0, end, record);
        if renewed {
            record.replace_row(end);
            self.begin_row_generation();
            let new = self.people.renew_row(self.life, self.row_generation << 16, row.outages[end]);
            let Range { start: mut next, end: until } = new;
            let calls = self.first_events[self.schedule].other_calls.of(self.life);
            for call in calls.iter().filter(|call| (call.outage as usize) >= end) {
                self.called_blades.insert(call.blade);
            }
            while next < until {
                let cracks = self.cracks_of_blade(next, until);
                next = cracks.end;
                self.follow_cracked(strategy, cracks, end, row.outages.len(), record);
            }
            self.follow_called(strategy, end, row.outages.len(), record);
        }
    }

    /// Follows the first blades that crack until an outage. Most have but one event, or none: what comes first is
    /// known, and only the blades to which something happens are gone through one by one.
    fn follow_first_blades(&mut self, strategy: &StrategyPlan, end: usize, record: &mut Record) {
        let Range { start, end: until } = self.people.first_cracks(self.life);
        let own = start as usize..until as usize;
        for begin in own.clone().step_by(Bits::READ) {
            let here = lowest(Bits::READ.min(own.end - begin));
            let events = &self.first_events[self.schedule];
            for number in set_bits(events.simple.read(begin) & here) {
                record.replace_blade(events.blade_slots[begin + number] as usize / 2, 1);
            }
            let (eventful, called) = (events.eventful.read(begin) & here, events.called.read(begin) & here);
            for number in set_bits(eventful) {
                self.meet_first_event(strategy, begin + number, until, end, record);
            }
            for number in set_bits(called & !self.first_cracks.is_further.read(begin)) {
                let first = (begin + number) as u32;
                let cracks = self.cracks_of_blade(first, until);
                // One that is called before it cracks goes as others do that never crack.
                if !self.is_clean_when_called(self.first_cracks.blades[first as usize], cracks.clone()) {
                    self.follow_cracked(strategy, cracks, 0, end, record);
                }
            }
        }
    }

    /// The first event of a first blade, given by its first crack.
    #[inline(always)]
    fn meet_first_event(&mut self, strategy: &StrategyPlan, first: usize, until: u32, end: usize, record: &mut Record) {
        let events = &self.first_events[self.schedule];
        let slot = events.blade_slots[first];
        let (mut found, mut lost_year) = (1, self.people.cracks[first].lost_year);
        // The second crack of a blade is the exception.
        if self.first_cracks.is_further.is_set(first + 1) {
            let of_blade = self.cracks_of_blade(first as u32, until);
            let due = of_blade.filter(|index| events.slots[*index as usize] == slot);
            let due = due.map(|index| self.people.cracks[index as usize].lost_year);
            (found, lost_year) = due.fold((0, f64::INFINITY), |(count, least), year| (count + 1, year.min(least)));
        }
        let blade = self.first_cracks.blades[first];
        let (from, cracks) = if slot.is_multiple_of(2) {
            self.lose_blade(blade, slot / 2, lost_year, record)
        } else {
            self.replace_blade(blade, slot / 2, found, record)
        };
        if !cracks.is_empty() {
            self.follow_blade(strategy, blade, cracks, false, from, end, record);
        }
    }

    /// The false calls that are not simple.
    #[inline(always)]
    fn other_calls(&self) -> &[FalseCall] {
        self.first_events[self.schedule].other_calls.of(self.life)
    }

    /// Whether the first false call on a blade comes before all of its cracks.
    fn is_clean_when_called(&self, blade: u32, mut cracks: Range<u32>) -> bool {
        let first_call = self.other_calls().iter().find(|call| call.blade == blade);
        first_call.is_some_and(|call| cracks.all(|index| self.people.cracks[index as usize].first > call.outage))
    }

    /// The cracks of one blade: they stand together, from one on, and before another.
    #[inline(always)]
    fn cracks_of_blade(&self, from: u32, until: u32) -> Range<u32> {
        let cracks = &self.people.cracks[from as usize..until as usize];
        let mut count = 1;
        while count < cracks.len() && cracks[count].blade == cracks[0].blade {
            count += 1;
        }
        from..from + count as u32
    }

    /// Follows a blade that cracks.
    #[inline(never)]
    fn follow_cracked(
        &mut self,
        strategy: &StrategyPlan,
        cracks: Range<u32>,
        begin: usize,
        end: usize,
        record: &mut Record,
    ) {
        let blade = self.people.cracks[cracks.start as usize].blade;
        let is_called = self.called_blades.remove(blade);
        self.follow_blade(strategy, blade, cracks, is_called, begin, end, record);
    }

    /// Follows the other blades that are called, call by call: each is clean, and so nearly always is the new one.
    fn follow_called(&mut self, strategy: &StrategyPlan, begin: usize, end: usize, record: &mut Record) {
        for index in 0..self.other_calls().len() {
            let FalseCall { blade, outage, .. } = self.other_calls()[index];
            let is_meant = (begin..end).contains(&(outage as usize)) && self.called_blades.contains(blade);
            // Two techniques may call a blade at one outage.
            let again = self.other_calls()[..index].iter().rev().take_while(|call| call.outage == outage);
            if !is_meant || again.filter(|call| call.blade == blade).count() > 0 {
                continue;
            }
            let (from, cracks) = self.replace_blade(blade, outage, 0, record);
            if !cracks.is_empty() {
                self.follow_cracked(strategy, cracks, from, end, record);
            }
        }
    }

    /// A blade is lost before an outage: returns that outage, and the cracks of the new blade.
    fn lose_blade(&mut self, blade: u32, outage: u32, year: f64, record: &mut Record) -> (usize, Range<u32>) {
        let generation = self.next_generation(blade);
        self.tally_loss(year, blade, generation, record);
        (outage as usize, self.people.renew_at(self.life, blade, generation, year))
    }

    /// A blade is replaced at an outage for cracks found: returns the next outage, and the cracks of the new blade.
    #[inline(always)]
    fn replace_blade(&mut self, blade: u32, outage: u32, found: u32, record: &mut Record) -> (usize, Range<u32>) {
        let generation = self.next_generation(blade);
        record.replace_blade(outage as usize, found);
        (outage as usize + 1, self.people.renew_at_outage(self.life, blade, generation, outage as usize))
    }

    /// Follows one position of the row from an outage to another.
    #[allow(clippy::too_many_arguments)]
    fn follow_blade(
        &mut self,
        strategy: &StrategyPlan,
        blade: u32,
        mut cracks: Range<u32>,
        is_called: bool,
        begin: usize,
        end: usize,
        record: &mut Record,
    ) {
        let mut from = begin;
        loop {
            let mut slot = NEVER;
            let mut found = 0;
            let mut lost_year = f64::INFINITY;
            for index in cracks.clone() {
                let crack = &self.people.cracks[index as usize];
                let next = next_slot(&self.people, strategy, crack, from);
                if next < slot {
                    (slot, found, lost_year) = (next, 1, crack.lost_year);
                } else if next == slot {
                    found += 1;
                    lost_year = lost_year.min(crack.lost_year);
                }
            }
            if is_called {
                for call in self.other_calls() {
                    let outage = call.outage as usize;
                    let sooner = call.blade == blade && outage >= from && 2 * call.outage + 1 < slot;
                    if sooner && cracks.clone().all(|index| self.people.cracks[index as usize].first > call.outage) {
                        (slot, found) = (2 * call.outage + 1, 0);
                    }
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
            (from, cracks) = if slot.is_multiple_of(2) {
                self.lose_blade(blade, slot / 2, lost_year, record)
            } else {
                self.replace_blade(blade, slot / 2, found, record)
            };
            if cracks.is_empty() && !is_called {
                return;
            }
        }
    }
}
