//! Blades followed one by one, under a strategy that does nothing to a row because of one blade.

use super::super::plan::StrategyPlan;
use super::super::population::NEVER;
use super::super::record::Record;
use super::{FalseCall, Lives, next_slot};
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
        self.follow_cracked_and_called(strategy, self.people.first_cracks(self.life), 0, end, record);
        if renewed {
            record.replace_row(end);
            let from = self.people.cracks.len() as u32;
            self.begin_row_generation();
            self.people.renew_row(self.life, self.row_generation << 16, row.outages[end]);
            let cracks = from..self.people.cracks.len() as u32;
            self.follow_cracked_and_called(strategy, cracks, end, row.outages.len(), record);
        }
    }

    /// Follows the blades that crack, and then those that do not but are called.
    fn follow_cracked_and_called(
        &mut self,
        strategy: &StrategyPlan,
        cracks: Range<u32>,
        begin: usize,
        end: usize,
        record: &mut Record,
    ) {
        self.called_blades.clear(self.row.blades as usize);
        for call in &self.false_calls {
            self.called_blades.insert(call.blade);
        }
        let mut next = cracks.start;
        while next < cracks.end {
            let from = next;
            let blade = self.people.cracks[from as usize].blade;
            while next < cracks.end && self.people.cracks[next as usize].blade == blade {
                next += 1;
            }
            let is_called = self.called_blades.remove(blade);
            self.follow_blade(strategy, blade, from..next, is_called, begin, end, record);
        }
        for index in 0..self.false_calls.len() {
            let FalseCall { blade, outage, .. } = self.false_calls[index];
            // A blade is followed once: at the first of its calls.
            if (begin..end).contains(&(outage as usize)) && self.called_blades.remove(blade) {
                self.follow_blade(strategy, blade, 0..0, true, begin, end, record);
            }
        }
    }

    /// Follows one position of the row from an outage to another.
    #[allow(clippy::too_many_arguments)]
    #[inline]
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
                let next = next_slot(&self.people, self.life, strategy, crack, from);
                if next < slot {
                    (slot, found, lost_year) = (next, 1, crack.lost_year);
                } else if next == slot {
                    found += 1;
                    lost_year = lost_year.min(crack.lost_year);
                }
            }
            if is_called {
                for call in &self.false_calls {
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
            let generation = self.next_generation(blade);
            let new = self.people.cracks.len();
            if slot.is_multiple_of(2) {
                self.tally_loss(lost_year, blade, generation, record);
                self.people.renew_at(self.life, blade, generation, lost_year);
                from = outage;
            } else {
                record.replace_blade(outage, found);
                self.people.renew_at_outage(self.life, blade, generation, outage);
                from = outage + 1;
            }
            cracks = new as u32..self.people.cracks.len() as u32;
            if cracks.is_empty() && !is_called {
                return;
            }
        }
    }
}
