//! An outage under a strategy that replaces every blade with an indication there and then: no measured length
//! matters, and no crack that was called stays. What is called is one set of cracks.

use super::super::plan::StrategyPlan;
use super::super::record::Record;
use super::together::numbers;
use super::{FalseCall, Lives, covers_crack, looks_at};

impl Lives<'_> {
    /// Looks, and replaces what was called.
    pub(super) fn replace_called(&mut self, strategy: &StrategyPlan, outage: u32, record: &mut Record) {
        let at = outage as usize;
        self.clean_called.clear();
        let escalated = self.looks_that_call(strategy, outage);
        if escalated == 0 {
            return;
        }
        record.mark_called(at);
        for technique in Self::second_looks(strategy, escalated) {
            self.pay_second_look(technique, at, record);
            self.call_more(technique, outage);
        }
        let called = |word| self.in_row.due_in(word, 2 * outage + 1);
        let found: u32 = (0..self.in_row.words()).map(|word| called(word).count_ones()).sum();
        record.find(at, found);
        for word in 0..self.in_row.words() {
            let called = self.in_row.due_in(word, 2 * outage + 1);
            for number in numbers(word, called) {
                // Its blade may be gone for another crack.
                if self.in_row.alive[word] >> (number % 64) & 1 != 0 {
                    let blade = self.people.cracks[self.in_row.cracks[number] as usize].blade;
                    self.replace(strategy, blade, Some(number), false, at, record);
                }
            }
        }
        for index in 0..self.clean_called.len() {
            self.replace(strategy, self.clean_called[index], None, true, at, record);
        }
    }

    /// The scheduled looks with an indication; notes the clean blades that they call.
    fn looks_that_call(&mut self, strategy: &StrategyPlan, outage: u32) -> u64 {
        let at = outage as usize;
        let mut looks = 0;
        for word in 0..self.in_row.words() {
            let due = self.in_row.due_in(word, 2 * outage + 1);
            if let [line] = &strategy.lines[..] {
                // With one line the slot itself says who called.
                looks |= u64::from(due != 0) << line.look;
                continue;
            }
            for number in numbers(word, due) {
                let crack = &self.people.cracks[self.in_row.cracks[number] as usize];
                for line in &strategy.lines {
                    let calls = looks_at(line, outage)
                        && covers_crack(&self.people, line, crack, at)
                        && self.people.calls(crack, line.technique, at);
                    looks |= u64::from(calls) << line.look;
                }
            }
        }
        while let Some(FalseCall { blade, line, .. }) = self.next_false_call_at(outage) {
            if self.is_crack_free(blade, at) {
                looks |= 1 << strategy.lines[line as usize].look;
                self.note_clean(blade);
            }
        }
        looks
    }

    /// A second look at the whole row.
    fn call_more(&mut self, technique: usize, outage: u32) {
        let at = outage as usize;
        for word in 0..self.in_row.words() {
            let mut called = 0;
            for number in numbers(word, self.in_row.started(word, at)) {
                let crack = &self.people.cracks[self.in_row.cracks[number] as usize];
                // Without a branch: nobody foresees which cracks are called.
                let calls = crack.is_present(at) && self.people.calls(crack, technique, at);
                called |= u64::from(calls) << (number % 64);
            }
            self.in_row.call(word, 2 * outage + 1, called);
        }
        for index in self.false_calls_at(technique, outage) {
            let (_, blade) = self.people.false_calls(self.life, technique)[index];
            if self.is_crack_free(blade, at) {
                self.note_clean(blade);
            }
        }
    }

    fn note_clean(&mut self, blade: u32) {
        if !self.clean_called.contains(&blade) {
            self.clean_called.push(blade);
        }
    }
}
