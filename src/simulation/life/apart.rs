//! Blades followed one by one, under a strategy that does nothing to a row because of one blade.

use super::super::plan::StrategyPlan;
use super::super::population::NEVER;
use super::super::record::Record;
use super::{FalseCall, Lives, group_by_blade, next_slot};
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
}
