//! An interval between looks that reacts: shorter after finds, longer after looks without, which may skip the next one.

use crate::model::strategy::{AfterClean, AfterFinds, Look, When};
use crate::simulation::calendar::Calendar;

/// When a look that reacts is due on a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Interval {
    /// The first outage looked at.
    first: usize,
    every: usize,
    after_finds: Option<AfterFinds>,
    after_clean: Option<AfterClean>,
    skip_after_clean: Option<u32>,
}

/// Where such a look stands in a life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct IntervalState {
    /// The outage at which it is due next.
    pub next: usize,
    every: usize,
    clean_looks: u32,
    /// The outage before which the interval is short.
    short_until: usize,
    /// Whether a blade was lost since the last look.
    lost: bool,
}

impl Interval {
    /// Of a look, if it reacts.
    pub fn new(look: &Look, calendar: &Calendar) -> Option<Self> {
        let When::Every { first_outage, every_outages } = look.when else { return None };
        look.reacts().then(|| Interval {
            first: calendar.start + first_outage as usize - 1,
            every: every_outages as usize,
            after_finds: look.after_finds,
            after_clean: look.after_clean,
            skip_after_clean: look.skip_after_clean,
        })
    }

    /// The first outage at which it may be due.
    pub fn first(&self) -> usize {
        self.first
    }

    /// Where it begins.
    pub fn begin(&self) -> IntervalState {
        IntervalState { next: self.first, every: self.every, clean_looks: 0, short_until: 0, lost: false }
    }

    /// The outages at which it is due as long as nothing is found and nothing lost.
    pub fn due_if_clean(&self, outages: usize) -> Vec<usize> {
        let mut state = self.begin();
        let mut due = Vec::new();
        while state.next < outages {
            due.push(state.next);
            state.look(self, state.next, false);
        }
        due
    }
}

impl IntervalState {
    /// A blade of the row was lost.
    pub fn lose(&mut self) {
        self.lost = true;
    }

    /// The look took place at an outage, with or without finds: sets when it is due next.
    pub fn look(&mut self, interval: &Interval, outage: usize, finds: bool) {
        if finds || self.lost {
            self.every = interval.every;
            self.clean_looks = 0;
            self.short_until = interval.after_finds.map_or(0, |after| outage + after.for_outages as usize);
        } else {
            self.clean_looks += 1;
            if let Some(after) = interval.after_clean.filter(|after| self.clean_looks.is_multiple_of(after.looks)) {
                self.every = (self.every + after.longer_by as usize).min(after.at_most as usize);
            }
        }
        self.lost = false;
        let short = interval.after_finds.filter(|_| outage < self.short_until);
        let every = short.map_or(self.every, |after| after.every_outages as usize);
        let skips = |looks: u32| self.clean_looks > 0 && self.clean_looks.is_multiple_of(looks);
        self.next = outage + if interval.skip_after_clean.is_some_and(skips) { 2 * every } else { every };
    }

    /// The look did not take place at an outage at which it was due, since the row was replaced.
    pub fn skip(&mut self, interval: &Interval, outage: usize) {
        *self = IntervalState { next: outage + interval.every, ..interval.begin() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outages(interval: &Interval, finds: &[usize], until: usize) -> Vec<usize> {
        let mut state = interval.begin();
        let mut due = Vec::new();
        while state.next <= until {
            let outage = state.next;
            due.push(outage);
            state.look(interval, outage, finds.contains(&outage));
        }
        due
    }

    #[test] // by hand
    fn finds_bring_looks_forward_and_clean_looks_put_them_off() {
        let after_finds = Some(AfterFinds { every_outages: 1, for_outages: 2 });
        let after_clean = Some(AfterClean { looks: 2, longer_by: 1, at_most: 4 });
        let interval = Interval { first: 1, every: 2, after_finds, after_clean, skip_after_clean: None };
        // Clean at 1, 3: then every 3; clean at 6, 9: then every 4, and no longer.
        assert_eq!(outages(&interval, &[], 30), [1, 3, 6, 9, 13, 17, 21, 25, 29]);
        assert_eq!(interval.due_if_clean(14), [1, 3, 6, 9, 13]);
        // Found at 6: then 7 and 8; clean at both, and so every 3 from 8 on.
        assert_eq!(outages(&interval, &[6], 16), [1, 3, 6, 7, 8, 11, 14]);
        let short_only = Interval { after_clean: None, ..interval.clone() };
        assert_eq!(outages(&short_only, &[3], 12), [1, 3, 4, 5, 7, 9, 11]);
        assert_eq!(outages(&short_only, &[3, 4], 12), [1, 3, 4, 5, 6, 8, 10, 12]);
        // Clean at 1 and 3: 5 is skipped; then found at 7, clean at 8 and 9.
        let skips = Interval { skip_after_clean: Some(2), ..short_only.clone() };
        assert_eq!(outages(&skips, &[7], 16), [1, 3, 7, 8, 9, 13, 15]);
        // A loss since the look before counts as a find.
        let mut state = short_only.begin();
        state.lose();
        state.look(&short_only, 1, false);
        assert_eq!(state.next, 2);
        state.look(&short_only, 2, false);
        assert_eq!(state.next, 3);
        state.look(&short_only, 3, false);
        assert_eq!(state.next, 5);
        state.skip(&short_only, 5);
        assert_eq!(state.next, 7);
    }
}
