//! A row under a strategy that replaces every blade with an indication there and then, and does nothing else
//! because of it but look again at the same outage: no measured length matters, and no crack that was called stays.
//!
//! What is called at an outage is one set of cracks, by their numbers in the row, as bits. An event costs work only
//! for cracks that it concerns.

use super::super::plan::StrategyPlan;
use super::super::population::{Crack, Population};
use super::super::record::Record;
use super::together::numbers;
use super::{FalseCall, Lives, covers_crack, looks_at, next_slot};
use crate::bits::set_bits;
use multiversion::multiversion;
use std::ops::Range;

/// Numbers in a word of bits.
const WORD: usize = 64;

/// The cracks of such a row, numbered as they come; those of one blade stand together.
#[derive(Debug, Default)]
pub(super) struct Standing {
    /// Index of each, and the outage at which it leaves.
    cracks: Vec<(u32, u32)>,
    /// Blade of each; what stands behind the last, in whole words, means nothing.
    blades: Vec<u32>,
    /// For each second look: the outages at which it would call each crack, as bits; likewise.
    seconds: Vec<Vec<u64>>,
    /// Words of numbers: those still in the row; and those with others in the same blade.
    alive: Vec<u64>,
    shared: Vec<u64>,
    /// For each word: the numbers whose next event falls in each slot.
    agenda: Vec<u64>,
    outages: usize,
    /// Slots with an event, as bits: there are at most [`Bits::READ`](crate::bits::Bits::READ) outages.
    due: u128,
    /// Blades with a crack, now, later or before, as bits; where there are more blades, each bit stands for several.
    cracked: u128,
}

impl Standing {
    fn clear(&mut self, outages: usize, second_looks: usize) {
        self.outages = outages;
        self.cracks.clear();
        self.alive.clear();
        self.shared.clear();
        self.agenda.clear();
        (self.due, self.cracked) = (0, 0);
        self.seconds.resize_with(self.seconds.len().max(second_looks), Vec::new);
    }

    /// The slots of events, and one for cracks that have none.
    fn slots(&self) -> usize {
        2 * self.outages + 2
    }

    /// Puts cracks into the row, each with the slot of its next event.
    #[inline(always)]
    fn enter<'a>(
        &mut self,
        people: &Population,
        strategy: &StrategyPlan,
        from: u32,
        cracks: impl ExactSizeIterator<Item = (&'a Crack, u32)>,
    ) {
        let (slots, none, before) = (self.slots(), self.slots() as u32 - 1, self.cracks.len());
        let words = (before + cracks.len()).div_ceil(WORD);
        self.alive.resize(words, 0);
        self.shared.resize(words, 0);
        self.agenda.resize(words * slots, 0);
        let room = self.blades.len().max(words * WORD);
        self.blades.resize(room, 0);
        self.seconds.iter_mut().for_each(|seconds| seconds.resize(room, 0));
        self.cracks.resize(before + cracks.len(), (0, self.outages as u32));
        // In registers: through memory each crack would wait for the one before.
        let [mut due, mut cracked] = [0_u128; 2];
        let mut blade_before = u32::MAX;
        for (ahead, (crack, slot)) in cracks.enumerate() {
            let (number, slot) = (before + ahead, slot.min(none));
            let bit = 1 << (number % WORD);
            self.cracks[number].0 = from + ahead as u32;
            self.blades[number] = crack.blade;
            for (seconds, look) in self.seconds.iter_mut().zip(&strategy.second_looks) {
                seconds[number] = people.all_calls(crack, look.technique);
            }
            if crack.blade == blade_before {
                self.shared[number / WORD] |= bit;
                self.shared[(number - 1) / WORD] |= 1 << ((number - 1) % WORD);
            }
            self.agenda[number / WORD * slots + slot as usize] |= bit;
            due |= 1 << slot;
            cracked |= 1 << (crack.blade % u128::BITS);
            blade_before = crack.blade;
        }
        self.due |= due;
        self.cracked |= cracked;
        for word in before / WORD..words {
            let upto = |number: usize| match number.saturating_sub(word * WORD) {
                bits if bits < WORD => (1 << bits) - 1,
                _ => u64::MAX,
            };
            self.alive[word] |= upto(self.cracks.len()) & !upto(before);
        }
    }

    /// Takes out the first slot with an event.
    fn pop(&mut self) -> Option<u32> {
        let slot = (self.due != 0).then(|| self.due.trailing_zeros());
        self.due &= self.due.wrapping_sub(1);
        slot
    }

    /// Whether a blade may have a crack, now, later or before: mostly it is known to have none.
    fn may_be_cracked(&self, blade: u32) -> bool {
        self.cracked >> (blade % u128::BITS) & 1 != 0
    }

    fn words(&self) -> Range<usize> {
        0..self.alive.len()
    }

    /// Of a word, the cracks in the row whose next event falls in a slot.
    #[inline(always)]
    fn due_in(&self, word: usize, slot: u32) -> u64 {
        self.agenda[word * self.slots() + slot as usize] & self.alive[word]
    }

    /// More cracks are called in a slot: those that a second look calls there.
    fn call_more(&mut self, second: usize, slot: u32) {
        for word in self.words() {
            let place = word * self.slots() + slot as usize;
            let seconds = self.seconds[second].as_chunks::<WORD>().0;
            self.agenda[place] |= with_bit(&seconds[word], slot / 2) & self.alive[word];
        }
    }

    /// Of a word, the cracks in the row that are in a blade.
    fn in_blade(&self, word: usize, blade: u32) -> u64 {
        let blades = self.blades.as_chunks::<WORD>().0;
        equal_to(&blades[word], blade) & self.alive[word]
    }

    /// Takes the cracks of a blade out of the row at an outage.
    #[inline(always)]
    fn clear_blade(&mut self, blade: u32, outage: u32) {
        for word in self.words() {
            for bit in set_bits(self.in_blade(word, blade)) {
                self.take(word, bit, outage);
            }
        }
    }

    #[inline(always)]
    fn take(&mut self, word: usize, bit: usize, outage: u32) {
        self.alive[word] &= !(1 << bit);
        self.cracks[word * WORD + bit].1 = outage;
    }
}

/// Which words have a bit.
#[multiversion(targets = "simd")]
fn with_bit(words: &[u64; WORD], bit: u32) -> u64 {
    (0..WORD).fold(0, |set, number| set | ((words[number] >> bit & 1) << number))
}

/// Which numbers are equal to one.
#[multiversion(targets = "simd")]
fn equal_to(numbers: &[u32; WORD], wanted: u32) -> u64 {
    (0..WORD).fold(0, |set, number| set | u64::from(numbers[number] == wanted) << number)
}

impl Lives<'_> {
    /// Follows such a row in order of time.
    pub(super) fn follow_at_once(&mut self, strategy: &StrategyPlan, record: &mut Record) {
        self.standing.clear(self.row.outages.len(), strategy.second_looks.len());
        let own = self.people.first_cracks(self.life);
        let (from, own) = (own.start, own.start as usize..own.end as usize);
        let slots = &self.first_events[strategy.schedule].slots[own.clone()];
        let cracks = self.people.cracks[own].iter().zip(slots.iter().copied());
        self.standing.enter(&self.people, strategy, from, cracks);
        for call in &self.false_calls {
            self.standing.due |= 1 << (2 * call.outage + 1);
        }
        let none = self.standing.slots() as u32 - 1;
        while let Some(slot) = self.standing.pop().filter(|slot| *slot < none) {
            if slot.is_multiple_of(2) {
                self.lose_at_once(strategy, slot, record);
            } else {
                self.replace_called(strategy, slot / 2, record);
            }
        }
        let cracks = &self.people.cracks;
        let stays = self.standing.cracks.iter();
        record.present_each(stays.map(|&(index, until)| (&cracks[index as usize], until as usize)));
    }

    /// Losses in the interval before an outage, in order of time.
    #[inline(never)]
    fn lose_at_once(&mut self, strategy: &StrategyPlan, slot: u32, record: &mut Record) {
        loop {
            let standing = &self.standing;
            let lost = standing.words().flat_map(|word| numbers(word, standing.due_in(word, slot)));
            let lost = lost.map(|number| &self.people.cracks[standing.cracks[number].0 as usize]);
            let earliest = lost.min_by(|a, b| a.lost_year.total_cmp(&b.lost_year));
            let Some(&Crack { blade, lost_year, .. }) = earliest else { return };
            let generation = self.next_generation(blade);
            self.tally_loss(lost_year, blade, generation, record);
            self.standing.clear_blade(blade, slot / 2);
            let new = self.people.renew_at(self.life, blade, generation, lost_year);
            self.enter_at_once(strategy, new, slot as usize / 2);
        }
    }

    /// Looks, and replaces what was called.
    fn replace_called(&mut self, strategy: &StrategyPlan, outage: u32, record: &mut Record) {
        let (at, slot) = (outage as usize, 2 * outage + 1);
        self.clean_called.clear();
        let looks = self.looks_that_call(strategy, outage);
        if looks == 0 {
            return;
        }
        record.mark_called(at);
        for (index, second) in strategy.second_looks.iter().enumerate() {
            if looks >> second.after & 1 != 0 {
                self.pay_second_look(second.technique, at, record);
                self.standing.call_more(index, slot);
                for call in self.false_calls_at(second.technique, outage) {
                    let (_, blade) = self.people.false_calls(self.life, second.technique)[call];
                    self.note_clean(blade, outage);
                }
            }
        }
        // All are counted before any is gone for another in its blade.
        let found = self.standing.words().map(|word| self.standing.due_in(word, slot).count_ones()).sum();
        record.find(at, found);
        for word in self.standing.words() {
            for bit in set_bits(self.standing.due_in(word, slot)) {
                // Its blade may be gone for another crack.
                if self.standing.alive[word] >> bit & 1 != 0 {
                    let blade = self.standing.blades[word * WORD + bit];
                    if self.standing.shared[word] >> bit & 1 != 0 {
                        self.standing.clear_blade(blade, outage);
                    } else {
                        self.standing.take(word, bit, outage);
                    }
                    self.replace_at_once(strategy, blade, false, outage, record);
                }
            }
        }
        for index in 0..self.clean_called.len() {
            let blade = self.clean_called[index];
            if self.standing.may_be_cracked(blade) {
                self.standing.clear_blade(blade, outage);
            }
            self.replace_at_once(strategy, blade, true, outage, record);
        }
    }

    /// The scheduled looks with an indication; notes the clean blades that they call.
    #[inline(always)]
    fn looks_that_call(&mut self, strategy: &StrategyPlan, outage: u32) -> u64 {
        let at = outage as usize;
        let mut looks = 0;
        for word in self.standing.words() {
            let due = self.standing.due_in(word, 2 * outage + 1);
            if let [line] = &strategy.lines[..] {
                // With one line the slot itself says who called.
                looks |= u64::from(due != 0) << line.look;
                continue;
            }
            for number in numbers(word, due) {
                let crack = &self.people.cracks[self.standing.cracks[number].0 as usize];
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
        let started = |number: usize| {
            let (index, _) = self.standing.cracks[number];
            self.people.cracks[index as usize].first <= outage
        };
        let mut here = self.standing.words().flat_map(|word| numbers(word, self.standing.in_blade(word, blade)));
        let is_clean = !self.standing.may_be_cracked(blade) || !here.any(started);
        if is_clean && !self.clean_called.contains(&blade) {
            self.clean_called.push(blade);
        }
        is_clean
    }

    /// A blade whose cracks are taken out is replaced.
    #[inline(always)]
    fn replace_at_once(
        &mut self,
        strategy: &StrategyPlan,
        blade: u32,
        falsely: bool,
        outage: u32,
        record: &mut Record,
    ) {
        record.replace_one(outage as usize, falsely);
        let generation = self.next_generation(blade);
        let new = self.people.renew_at_outage(self.life, blade, generation, outage as usize);
        self.enter_at_once(strategy, new, outage as usize + 1);
    }

    /// Puts the cracks of a new blade into the row, from an outage on.
    #[inline(always)]
    fn enter_at_once(&mut self, strategy: &StrategyPlan, new: Range<u32>, outage: usize) {
        if new.is_empty() {
            return;
        }
        let people = &self.people;
        let cracks = people.cracks[new.start as usize..new.end as usize].iter();
        let events = cracks.map(|crack| (crack, next_slot(people, strategy, crack, outage)));
        self.standing.enter(people, strategy, new.start, events);
    }
}
