//! What is done to a row at an outage: blades and rows that are replaced.

use super::follow::{Life, numbers};
use crate::bits::{WORD, set_bits};
use crate::simulation::policy::Act;
use std::ops::{ControlFlow, Range};

impl Life<'_, '_> {
    pub(super) fn apply(&mut self, act: Act, outage: usize) -> ControlFlow<()> {
        match act {
            Act::ReplaceCalled => self.replace_called(outage),
            Act::ReplaceBlade(blade) => self.replace_and_count(blade, outage),
            Act::DressBlade(blade) => self.dress_blade(blade, outage),
            Act::ReplaceTooDeep => self.replace_too_deep(outage),
            Act::ReplaceRow => {
                self.record.work.replace_row(outage);
                self.renew_row(self.row.nature.calendar.years[outage], outage);
            }
            Act::WatchUntilNext => self.room.state.visit(outage + 1),
            Act::Retire => {
                self.clear_row(outage);
                return ControlFlow::Break(());
            }
        }
        ControlFlow::Continue(())
    }

    /// Whether a blade is damaged at an outage if blades come out.
    #[inline(always)]
    pub(super) fn may_be_damaged_at(&self, outage: usize) -> bool {
        self.strategy.policy.may_be_damaged
            && outage < self.row.nature.calendar.len()
            && self.batch.inspections.damaged.may_fall_on(self.life, outage)
    }

    /// Replaces the blades that were damaged on their way out or in, if the blades came out: not those that are new.
    #[inline(never)]
    pub(super) fn damage_in_handling(&mut self, outage: usize) {
        if !self.record.work.are_blades_out(&self.strategy.work, outage) || self.record.work.has_new_row(outage) {
            return;
        }
        for index in self.batch.inspections.damaged.range_at(self.life, outage) {
            let blade = self.batch.inspections.damaged.all()[index].blade;
            if !self.room.replaced.contains(&blade) {
                self.record.work.damage(outage);
                let group = self.group_to_replace(blade);
                self.take_blades(&group, self.year_of(outage));
                for own in group {
                    self.record.work.replace_blades(outage, [1, 0]);
                    self.replace_blade(own, outage);
                }
            }
        }
    }

    /// The group of a damaged blade, but for blades that are new.
    pub(super) fn group_to_replace(&self, blade: u32) -> Vec<u32> {
        self.strategy.policy.groups.of(blade).filter(|own| !self.room.replaced.contains(own)).collect()
    }

    /// Replaces every blade that was called.
    #[inline(always)]
    fn replace_called(&mut self, outage: usize) {
        if !self.strategy.policy.groups.are_single() {
            self.replace_called_groups(outage);
            return;
        }
        let (mut cracked, clean) = (0, self.room.clean_called.len() as u32);
        for word in 0..self.room.called.len() {
            let called = self.room.called[word];
            // Most are alone in their blades, and the new blades stay sound.
            let sound = self.room.state.renew_sound(word, called);
            cracked += sound.count_ones();
            if self.strategy.policy.asks_for_new_blades() {
                for blade in numbers(word, sound).map(|number| self.room.state.blades[number]) {
                    self.room.policy.renew_blade(blade);
                    self.room.replaced.push(blade);
                }
            }
            self.record.cracks_left.leave_each(word * WORD, sound, outage);
            for bit in set_bits(called & !sound) {
                // Its blade may be gone for another crack.
                if self.room.state.alive[word] >> bit & 1 != 0 {
                    cracked += 1;
                    self.replace_blade(self.room.state.blades[word * WORD + bit], outage);
                }
            }
        }
        for index in 0..self.room.clean_called.len() {
            self.replace_blade(self.room.clean_called[index], outage);
        }
        if cracked + clean > 0 {
            self.record.work.replace_blades(outage, [cracked, clean]);
        }
    }

    /// The same where blades are replaced together.
    #[inline(never)]
    fn replace_called_groups(&mut self, outage: usize) {
        self.called_groups().into_iter().for_each(|blade| self.replace_and_count(blade, outage));
    }

    /// Blades that are called, with those that are replaced together with them, in order.
    pub(super) fn called_groups(&self) -> Vec<u32> {
        let (state, groups) = (&self.room.state, self.strategy.policy.groups);
        let words = state.words().map(|word| (word, self.room.called[word]));
        let cracked = words.flat_map(|(word, called)| numbers(word, called)).map(|number| state.blades[number]);
        let called = cracked.chain(self.room.clean_called.iter().copied());
        let mut blades: Vec<u32> = called.flat_map(|blade| groups.of(blade)).collect();
        blades.sort_unstable();
        blades.dedup();
        blades
    }

    /// A blade is replaced: for a crack, on a false call, or together with one of its group.
    pub(super) fn replace_and_count(&mut self, blade: u32, outage: usize) {
        let is_clean = self.room.clean_called.contains(&blade);
        self.record.work.replace_blades(outage, [u32::from(!is_clean), u32::from(is_clean)]);
        self.replace_blade(blade, outage);
    }

    #[inline]
    fn replace_blade(&mut self, blade: u32, outage: usize) {
        self.clear_blade(blade, outage);
        self.room.policy.renew_blade(blade);
        if self.strategy.policy.may_be_damaged {
            self.room.replaced.push(blade);
        }
        let generation = self.room.state.next_generation(blade);
        let new = match self.strategy.policy.used_life_factor(blade, &self.room.policy) {
            None => self.batch.new_blade_at(self.life, blade, generation, outage),
            Some(factor) => self.batch.used_blade_in(self.life, blade, generation, self.year_of(outage), factor),
        };
        self.enter(new);
    }

    pub(super) fn renew_row(&mut self, year: f64, outage: usize) {
        self.clear_row(outage);
        self.room.policy.renew_row();
        let generation = self.room.state.renew_row();
        let new = self.batch.new_row(self.life, generation, year);
        self.enter(new);
    }

    /// Takes the cracks of a blade out of the row at an outage.
    #[inline(always)]
    pub(super) fn clear_blade(&mut self, blade: u32, outage: usize) {
        if self.room.state.may_have_cracks(blade) {
            for word in self.room.state.words() {
                let here = self.room.state.take_out(word, blade);
                numbers(word, here).for_each(|number| self.record.cracks_left.leave(number, outage));
            }
        }
    }

    /// Takes all cracks out of the row at an outage.
    fn clear_row(&mut self, outage: usize) {
        for word in self.room.state.words() {
            let here = std::mem::take(&mut self.room.state.alive[word]);
            numbers(word, here).for_each(|number| self.record.cracks_left.leave(number, outage));
        }
    }

    /// Puts the cracks of new blades into the row; most have none.
    #[inline(always)]
    pub(super) fn enter(&mut self, new: Range<u32>) {
        if !new.is_empty() {
            self.enter_each(new);
        }
    }

    #[inline(never)]
    fn enter_each(&mut self, new: Range<u32>) {
        let before = self.room.state.count();
        for index in new {
            self.room.state.enter(self.strategy, self.batch, index);
            self.record.cracks_left.enter(&self.batch.nature.cracks[index as usize]);
        }
        self.find_planted(before);
    }
}
