//! A row followed in order of time, under a strategy that can do something to a whole row, or later to
//! a blade, because of what one look called.

use super::super::plan::StrategyPlan;
use super::super::population::{Crack, NEVER};
use super::super::record::{Quantity, Record};
use super::{Called, FalseCall, Lives, Watched, covers_crack, looks_at, next_slot};
use crate::model::strategy::{Action, AfterLoss, RowEndAction};
use std::ops::Range;

impl Lives<'_> {
    /// Follows the whole row in order of time.
    pub(super) fn follow_row(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        let outages = self.row.outages.len();
        self.watched.clear();
        self.due.clear(2 * outages + 1);
        self.live.clear();
        self.slots.clear();
        self.enter(strategy, self.people.first_cracks(self.life), 0);
        for call in &self.false_calls {
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
                    self.watched.retain(|watched| watched.blade != blade);
                    self.remove_blade(blade, outage, record);
                    let from = self.people.cracks.len();
                    self.people.renew_at(self.life, blade, generation, lost_year);
                    self.enter_from(strategy, from, outage);
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
                self.people.renew_at_outage(self.life, blade, generation, at);
                self.enter_from(strategy, from, at + 1);
            }
        }
        self.watched.retain(|watched| watched.outage > outage);
        if stays {
            // Cracks that were called and stay have their next event later.
            for index in 0..self.live.len() {
                if self.slots[index] == slot {
                    let crack = &self.people.cracks[self.live[index] as usize];
                    let next = next_slot(&self.people, self.life, strategy, crack, at + 1);
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
                        && covers_crack(&self.people, self.life, line, &self.people.cracks[crack], at)
                        && self.people.calls(&self.people.cracks[crack], line.technique, at);
                if calls {
                    escalated |= 1 << line.look;
                    let length_mm = self.measured_mm(strategy, crack, line.technique, at);
                    self.call(blade, fresh, length_mm, line.technique, line.stands);
                    fresh = 0;
                }
            }
        }
        for index in 0..self.false_calls.len() {
            let FalseCall { outage: due, blade, line } = self.false_calls[index];
            if due == outage && self.is_crack_free(blade, at) {
                let line = &strategy.lines[line as usize];
                escalated |= 1 << line.look;
                let length_mm = self.false_length_mm(strategy, blade, line.technique, at);
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
                if about.blade == blade && about.is_present(at) && self.people.calls(about, technique, at) {
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
            if about.is_present(at) && self.people.calls(about, technique, at) {
                let blade = about.blade;
                let length_mm = self.measured_mm(strategy, crack, technique, at);
                // A crack that a scheduled look called is counted already.
                self.call(blade, u32::from(self.slots[index] != 2 * outage + 1), length_mm, technique, true);
            }
        }
        let calls = self.people.false_calls(self.life, technique);
        for index in calls.partition_point(|call| call.0 < outage)..calls.len() {
            let (due, blade) = self.people.false_calls(self.life, technique)[index];
            if due != outage {
                break;
            }
            if self.is_crack_free(blade, at) {
                let length_mm = self.false_length_mm(strategy, blade, technique, at);
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

    /// Length reported for a false indication; likewise.
    fn false_length_mm(&self, strategy: &StrategyPlan, blade: u32, technique: usize, outage: usize) -> f64 {
        if strategy.replaces_always {
            return f64::NAN;
        }
        self.people.false_length_mm(self.life, blade, technique, outage)
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
        self.people.renew_row(self.life, self.row_generation << 16, year);
        self.enter_from(strategy, from, outage);
    }

    /// Puts the cracks from one index on into the row, from an outage on.
    fn enter_from(&mut self, strategy: &StrategyPlan, from: usize, outage: usize) {
        self.enter(strategy, from as u32..self.people.cracks.len() as u32, outage);
    }

    /// Puts cracks into the row, from an outage on.
    fn enter(&mut self, strategy: &StrategyPlan, cracks: Range<u32>, outage: usize) {
        for index in cracks {
            let slot = next_slot(&self.people, self.life, strategy, &self.people.cracks[index as usize], outage);
            self.live.push(index);
            self.slots.push(slot);
            if slot != NEVER {
                self.due.insert(slot);
            }
        }
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
