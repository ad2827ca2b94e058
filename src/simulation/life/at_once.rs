//! A row under a strategy that replaces every blade with an indication there and then, and does nothing else
//! because of it but look again at the same outage: no measured length matters, and no crack that was called stays.
//!
//! What is called at an outage is one set of cracks, by their numbers in the row, as bits. An event costs work only
//! for cracks that it concerns.

use super::super::plan::StrategyPlan;
use super::super::population::{Crack, NEVER};
use super::super::record::Record;
use super::together::numbers;
use super::{FalseCall, Lives, covers_crack, looks_at, next_slot};
use crate::bits::{WORD, equal_to, lowest, set_bits, with_bit};
use crate::math::LANES;
use multiversion::multiversion;
use std::ops::Range;

/// The cracks of such a row, numbered as they come; those of one blade stand together. What stands behind the last, up
/// to the end of a word of numbers, means nothing.
#[derive(Debug, Default)]
pub(super) struct Standing {
    count: usize,
    /// Index of each.
    cracks: Vec<u32>,
    blades: Vec<u32>,
    /// Slot of the next event of each.
    slots: Vec<u32>,
    /// For each second look: the outages at which it would call each crack, as bits.
    seconds: Vec<Vec<u64>>,
    /// Words of numbers: those still in the row, and those called at the outage at hand.
    alive: Vec<u64>,
    called: Vec<u64>,
    /// Words of numbers: those that are alone in blades whose replacements are known to stay sound, and those of them
    /// that were replaced.
    simple: Vec<u64>,
    renewed: Vec<u64>,
    /// Outages before which a blade is lost, and those at which something is called, as bits: there are at most
    /// [`Bits::READ`](crate::bits::Bits::READ) outages.
    losses: u64,
    looks: u64,
}

impl Standing {
    fn clear(&mut self, second_looks: usize) {
        self.count = 0;
        self.alive.clear();
        self.simple.clear();
        self.renewed.clear();
        (self.losses, self.looks) = (0, 0);
        self.seconds.resize_with(self.seconds.len().max(second_looks), Vec::new);
    }

    /// Makes room for more cracks.
    #[inline(always)]
    fn make_room(&mut self, more: usize) {
        let (before, words) = (self.count, (self.count + more).div_ceil(WORD));
        self.count += more;
        self.alive.resize(words, 0);
        self.simple.resize(words, 0);
        self.renewed.resize(words, 0);
        self.called.resize(words.max(self.called.len()), 0);
        if self.blades.len() < words * WORD {
            let lists = [&mut self.cracks, &mut self.blades, &mut self.slots];
            lists.into_iter().for_each(|list| list.resize(words * WORD, 0));
        }
        self.seconds.iter_mut().for_each(|seconds| seconds.resize(self.blades.len(), 0));
        for word in before / WORD..words {
            let upto = |number: usize| lowest(number.saturating_sub(word * WORD));
            self.alive[word] |= upto(self.count) & !upto(before);
        }
    }

    fn words(&self) -> Range<usize> {
        0..self.alive.len()
    }

    /// Of a word, the cracks in the row whose next event falls in a slot.
    #[inline(always)]
    fn due_in(&self, word: usize, slot: u32) -> u64 {
        equal_to(&self.slots.as_chunks().0[word], slot) & self.alive[word]
    }

    /// Of a word, the cracks in the row that are in a blade.
    #[inline(always)]
    fn in_blade(&self, word: usize, blade: u32) -> u64 {
        equal_to(&self.blades.as_chunks().0[word], blade) & self.alive[word]
    }

    /// How often a simple crack's blade was replaced at a position.
    #[inline(always)]
    fn renewals(&self, blade: u32) -> u64 {
        let here = |word: usize| equal_to(&self.blades.as_chunks().0[word], blade) & self.renewed[word];
        self.words().map(|word| u64::from(here(word).count_ones())).sum()
    }

    /// Of a word, the cracks in the row that a second look calls at an outage.
    #[inline(always)]
    fn called_by(&self, second: usize, word: usize, outage: u32) -> u64 {
        with_bit(&self.seconds[second].as_chunks().0[word], outage) & self.alive[word]
    }

    /// Takes the cracks of a blade out of the row at an outage.
    #[inline(always)]
    fn clear_blade(&mut self, blade: u32, outage: u32, record: &mut Record) {
        for word in self.words() {
            let here = self.in_blade(word, blade);
            self.alive[word] &= !here;
            numbers(word, here).for_each(|number| record.leave(number, outage as usize));
        }
    }
}

/// The outages before which some slots say that a blade is lost, and those at which they say that one is called, as
/// bits: of so many slots.
#[multiversion(targets = "simd")]
fn outages_due(slots: &[u32], count: usize) -> [u64; 2] {
    let [mut losses, mut looks] = [[0; LANES]; 2];
    for (begin, slots) in (0..count).step_by(LANES).zip(slots.as_chunks::<LANES>().0) {
        for lane in 0..LANES {
            let is_due = (slots[lane] < 2 * u64::BITS) & (begin + lane < count);
            let outage = u64::from(is_due) << (slots[lane] / 2 % u64::BITS);
            let is_look = u64::from(slots[lane] % 2).wrapping_neg();
            losses[lane] |= outage & !is_look;
            looks[lane] |= outage & is_look;
        }
    }
    [losses, looks].map(|outages| outages.iter().fold(0, |all, outages| all | outages))
}

impl Lives<'_> {
    /// Follows such a row in order of time.
    pub(super) fn follow_at_once(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        let own = self.people.first_cracks(self.life);
        let own = own.start as usize..own.end as usize;
        let first = &self.first_cracks;
        record.present_first(&first.there, &first.places, own.clone());
        self.begin_standing(strategy, own);
        self.standing.looks |= self.first_events[self.schedule].false_calls.outages(self.life);
        loop {
            let Standing { losses, looks, .. } = &mut self.standing;
            let outage = (*losses | *looks).trailing_zeros();
            if outage == u64::BITS {
                break;
            }
            // Losses come before the outage itself.
            if *losses >> outage & 1 != 0 {
                *losses &= *losses - 1;
                self.lose_at_once(strategy, outage, record);
            } else {
                *looks &= *looks - 1;
                self.replace_called(strategy, outage, record);
            }
        }
    }

    /// Puts the cracks of the first blades into the row.
    #[inline(always)]
    fn begin_standing(&mut self, strategy: &StrategyPlan, own: Range<usize>) {
        let (standing, events) = (&mut self.standing, &self.first_events[strategy.schedule]);
        standing.clear(strategy.second_looks.len());
        standing.make_room(own.len());
        for word in standing.words() {
            let (from, to) = (own.start + word * WORD, word * WORD);
            standing.blades[to..][..WORD].copy_from_slice(&self.first_cracks.blades[from..][..WORD]);
            standing.slots[to..][..WORD].copy_from_slice(&events.slots[from..][..WORD]);
            for (seconds, look) in standing.seconds.iter_mut().zip(&strategy.second_looks) {
                let calls = &self.first_cracks.calls[self.row.techniques[look.technique].used];
                seconds[to..][..WORD].copy_from_slice(&calls[from..][..WORD]);
            }
            (from as u32..).zip(&mut standing.cracks[to..][..WORD]).for_each(|(index, crack)| *crack = index);
            standing.simple[word] = self.first_cracks.is_simple.word(from) & standing.alive[word];
        }
        [standing.losses, standing.looks] = outages_due(&standing.slots, own.len());
    }

    /// Losses in the interval before an outage, in order of time.
    #[inline(never)]
    fn lose_at_once(&mut self, strategy: &StrategyPlan, outage: u32, record: &mut Record) {
        loop {
            let standing = &self.standing;
            let lost = standing.words().flat_map(|word| numbers(word, standing.due_in(word, 2 * outage)));
            let lost = lost.map(|number| &self.people.cracks[standing.cracks[number] as usize]);
            let earliest = lost.min_by(|a, b| a.lost_year.total_cmp(&b.lost_year));
            let Some(&Crack { blade, lost_year, .. }) = earliest else { return };
            let generation = self.next_generation(blade) + self.standing.renewals(blade);
            self.tally_loss(lost_year, blade, generation, record);
            self.standing.clear_blade(blade, outage, record);
            let new = self.people.renew_at(self.life, blade, generation, lost_year);
            self.enter_at_once(strategy, new, outage as usize, record);
        }
    }

    /// Looks, and replaces what was called.
    fn replace_called(&mut self, strategy: &StrategyPlan, outage: u32, record: &mut Record) {
        let at = outage as usize;
        self.clean_called.clear();
        let looks = self.looks_that_call(strategy, outage);
        if looks == 0 {
            return;
        }
        for (index, second) in strategy.second_looks.iter().enumerate() {
            if looks & second.after != 0 {
                self.pay_second_look(second, at, record);
                for word in self.standing.words() {
                    self.standing.called[word] |= self.standing.called_by(index, word, outage);
                }
                for call in self.false_calls_at(second.technique, outage) {
                    let blade = self.people.false_calls(second.technique).of(self.life)[call].blade;
                    self.note_clean(blade, outage);
                }
            }
        }
        // All are counted before any is gone for another in its blade.
        let (mut found, mut cracked, clean) = (0, 0, self.clean_called.len() as u32);
        for word in self.standing.words() {
            let called = self.standing.called[word];
            found += called.count_ones();
            let simple = called & self.standing.simple[word];
            cracked += simple.count_ones();
            self.standing.alive[word] &= !simple;
            self.standing.renewed[word] |= simple;
            record.leave_each(word * WORD, simple, at);
            for bit in set_bits(called & !simple) {
                // Its blade may be gone for another crack.
                if self.standing.alive[word] >> bit & 1 != 0 {
                    let blade = self.standing.blades[word * WORD + bit];
                    self.standing.clear_blade(blade, outage, record);
                    cracked += 1;
                    self.replace_at_once(strategy, blade, outage, record);
                }
            }
        }
        for index in 0..self.clean_called.len() {
            let blade = self.clean_called[index];
            self.standing.clear_blade(blade, outage, record);
            self.replace_at_once(strategy, blade, outage, record);
        }
        record.replace_called(at, [cracked, clean], found);
    }

    /// The scheduled looks with an indication; notes the cracks and the clean blades that they call.
    #[inline(always)]
    fn looks_that_call(&mut self, strategy: &StrategyPlan, outage: u32) -> u64 {
        let at = outage as usize;
        let mut looks = 0;
        for word in self.standing.words() {
            let due = self.standing.due_in(word, 2 * outage + 1);
            self.standing.called[word] = due;
            if let [line] = &strategy.lines[..] {
                // With one line the slot itself says who called.
                looks |= u64::from(due != 0) << line.look;
                continue;
            }
            for number in numbers(word, due) {
                let crack = &self.people.cracks[self.standing.cracks[number] as usize];
                for line in &strategy.lines {
                    let calls = looks_at(line, outage)
                        && covers_crack(&self.people, line, crack, at)
                        && self.people.calls(crack, line.technique, at);
                    looks |= u64::from(calls) << line.look;
                }
            }
        }
        while let Some(FalseCall { blade, line, .. }) = self.next_false_call_at(outage) {
            if self.note_clean(blade, outage) {
                looks |= 1 << strategy.lines[line as usize].look;
            }
        }
        looks
    }

    /// Notes a blade that is falsely called at an outage, if no crack has started in it: returns whether.
    fn note_clean(&mut self, blade: u32, outage: u32) -> bool {
        let started = |number: usize| self.people.cracks[self.standing.cracks[number] as usize].first <= outage;
        let mut here = self.standing.words().flat_map(|word| numbers(word, self.standing.in_blade(word, blade)));
        let is_clean = !here.any(started);
        if is_clean && !self.clean_called.contains(&blade) {
            self.clean_called.push(blade);
        }
        is_clean
    }

    /// A blade whose cracks are taken out is replaced.
    #[inline(always)]
    fn replace_at_once(&mut self, strategy: &StrategyPlan, blade: u32, outage: u32, record: &mut Record) {
        let generation = self.next_generation(blade) + self.standing.renewals(blade);
        let new = self.people.renew_at_outage(self.life, blade, generation, outage as usize);
        self.enter_at_once(strategy, new, outage as usize + 1, record);
    }

    /// Puts the cracks of a new blade into the row, from an outage on.
    #[inline(always)]
    fn enter_at_once(&mut self, strategy: &StrategyPlan, new: Range<u32>, outage: usize, record: &mut Record) {
        if !new.is_empty() {
            self.enter_cracked(strategy, new, outage, record);
        }
    }

    #[inline(never)]
    fn enter_cracked(&mut self, strategy: &StrategyPlan, new: Range<u32>, outage: usize, record: &mut Record) {
        let (standing, people) = (&mut self.standing, &self.people);
        let before = standing.count;
        standing.make_room(new.len());
        for (number, index) in (before..).zip(new.clone()) {
            let crack = &people.cracks[index as usize];
            standing.cracks[number] = index;
            record.present(crack, self.row.outages.len());
            standing.blades[number] = crack.blade;
            standing.slots[number] = next_slot(people, strategy, crack, outage);
            for (seconds, look) in standing.seconds.iter_mut().zip(&strategy.second_looks) {
                seconds[number] = people.all_calls(crack, look.technique);
            }
        }
        for &slot in &standing.slots[before..standing.count] {
            let outage = if slot == NEVER { 0 } else { 1 << (slot / 2) };
            *(if slot % 2 == 0 { &mut standing.losses } else { &mut standing.looks }) |= outage;
        }
    }
}
