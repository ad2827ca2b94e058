//! The cracks in a row at some moment of a life under a strategy.
//!
//! They are numbered as they enter, and sets of them are words of bits. For each stands at which outages each technique
//! would call it, so that what is due is read off: the calls, of the looks that are due, of the cracks that are there.

use super::first_event::FirstCracks;
use crate::bits::{Bits, WORD, clear, equal_to, lowest, set_bits, with_bit};
use crate::simulation::nature::Crack;
use crate::simulation::plan::{RowPlan, StrategyPlan};
use crate::simulation::row_batch::RowBatch;
use multiversion::multiversion;
use std::ops::Range;

/// Outages that are looked ahead to at once.
pub(super) const WINDOW: usize = Bits::READ;

/// See above. What stands behind the last crack, up to the end of a word of numbers, means nothing.
#[derive(Debug, Default)]
pub(super) struct RowState {
    /// The outage that the lowest bit of a word of outages stands for.
    window: usize,
    /// Outages before which a blade is lost, those at which a crack in the row is called, and those at which a clean blade
    /// may be called or something is due whatever is called; as bits.
    losses: u64,
    calls_due: u64,
    alarms: u64,
    /// Those before which the unit is stopped.
    stops: u64,
    /// Those at which looks at a planted crack count, whether they call it or not.
    planted: u64,
    /// For each scheduled look the outages at which it is due, as bits.
    looks_due: Vec<u64>,
    count: usize,
    /// Index of each crack, and its blade.
    pub cracks: Vec<u32>,
    pub blades: Vec<u32>,
    /// For each crack the outage before which its blade is lost, as a bit.
    lost: Vec<u64>,
    /// For each technique that is used the outages at which it would call each crack, as bits.
    calls: Vec<Vec<u64>>,
    /// Words of numbers: cracks in the row.
    pub alive: Vec<u64>,
    /// Words of numbers: cracks that are alone in blades whose replacements are known to stay sound, and those of them
    /// that were replaced.
    sound: Vec<u64>,
    renewed: Vec<u64>,
    /// Words of blades: those that may have cracks in the row; the others have none.
    cracked: Vec<u64>,
    /// Whether calls may be due of cracks that are gone, or by looks that are not.
    is_stale: bool,
    /// How often each blade was renewed since the whole row was; the stamp tells which life and row that was.
    renewals: Vec<(u64, u64)>,
    stamp: u64,
    row_generation: u64,
}

impl RowState {
    pub fn new(row: &RowPlan) -> Self {
        RowState {
            renewals: vec![(0, 0); row.nature.blades as usize],
            cracked: vec![0; (row.nature.blades as usize).div_ceil(WORD)],
            calls: vec![Vec::new(); row.inspection.techniques.len()],
            ..RowState::default()
        }
    }

    /// Empties it, for a life from an outage on, and looks at the outages from there on.
    pub fn begin(&mut self, strategy: &StrategyPlan, outage: usize, row_generation: u64) {
        self.look_from(strategy, outage);
        self.count = 0;
        self.alive.clear();
        self.sound.clear();
        self.renewed.clear();
        clear(&mut self.cracked);
        self.is_stale = false;
        self.stamp += 1;
        self.row_generation = row_generation;
    }

    /// Puts the cracks of the first blades of a life into the row.
    #[inline(always)]
    pub fn enter_first(&mut self, strategy: &StrategyPlan, first: &FirstCracks, life: usize, own: Range<usize>) {
        self.make_room(own.len());
        self.cracked.copy_from_slice(first.cracked(life));
        for word in self.words() {
            let (from, to) = (own.start + word * WORD, word * WORD);
            self.blades[to..][..WORD].copy_from_slice(&first.blades[from..][..WORD]);
            self.lost[to..][..WORD].copy_from_slice(&first.lost[from..][..WORD]);
            for &technique in &strategy.techniques {
                self.calls[technique][to..][..WORD].copy_from_slice(&first.calls[technique][from..][..WORD]);
            }
            (from as u32..).zip(&mut self.cracks[to..][..WORD]).for_each(|(index, crack)| *crack = index);
            self.sound[word] = first.is_sound.word(from) & self.alive[word];
        }
        self.losses = any(&self.lost, &self.alive);
        self.find_calls_due(strategy, self.window);
    }

    /// Puts a crack into the row.
    #[inline(always)]
    pub fn enter(&mut self, strategy: &StrategyPlan, batch: &RowBatch, index: u32) {
        let number = self.count;
        self.make_room(1);
        self.cracks[number] = index;
        let blade = batch.nature.cracks[index as usize].blade;
        self.blades[number] = blade;
        self.cracked[blade as usize / WORD] |= 1 << (blade as usize % WORD);
        self.look_ahead(strategy, batch, number);
    }

    /// Works out what comes to a crack in the window.
    #[inline(always)]
    fn look_ahead(&mut self, strategy: &StrategyPlan, batch: &RowBatch, number: usize) {
        let crack = &batch.nature.cracks[self.cracks[number] as usize];
        self.lost[number] = crack.loss_in_window(self.window);
        self.losses |= self.lost[number];
        for &technique in &strategy.techniques {
            self.calls[technique][number] = batch.inspections.calls_in_window(crack, technique, self.window);
        }
        for (look, due) in strategy.policy.scheduled.iter().zip(&self.looks_due) {
            self.calls_due |= self.calls[look.technique][number] & due;
        }
    }

    /// Looks at the outages from one on, if it does not yet.
    pub fn open_window(&mut self, strategy: &StrategyPlan, batch: &RowBatch, window: usize) {
        if window != self.window {
            self.look_from(strategy, window);
            for word in self.words() {
                set_bits(self.alive[word]).for_each(|bit| self.look_ahead(strategy, batch, word * WORD + bit));
            }
        }
    }

    /// Looks at the outages from one on, of which nothing is known yet.
    fn look_from(&mut self, strategy: &StrategyPlan, window: usize) {
        self.window = window;
        (self.losses, self.calls_due, self.alarms, self.stops, self.planted) = (0, 0, 0, 0, 0);
        self.looks_due.clear();
        let scheduled = strategy.policy.scheduled.iter();
        self.looks_due.extend(scheduled.map(|look| look.looks_at.read(window) & lowest(WINDOW)));
    }

    /// As [`RowState::find_calls_due`], where anything changed since.
    pub fn forget_calls_of_gone(&mut self, strategy: &StrategyPlan, from: usize) {
        if std::mem::take(&mut self.is_stale) {
            self.find_calls_due(strategy, from);
            // A crack may have entered anew at the outage before.
            self.planted &= !lowest(from - self.window);
        }
    }

    /// Finds the outages from one on at which a crack in the row is called by a look that is due.
    fn find_calls_due(&mut self, strategy: &StrategyPlan, from: usize) {
        self.calls_due = 0;
        for (look, due) in strategy.policy.scheduled.iter().zip(&self.looks_due) {
            self.calls_due |= any(&self.calls[look.technique], &self.alive) & due;
        }
        self.calls_due &= !lowest(from - self.window);
    }

    /// Says at which outage a look that reacts is due next, if it is; the row is visited there, even where another look
    /// takes its place.
    pub fn set_due(&mut self, strategy: &StrategyPlan, look: usize, outage: Option<usize>) {
        let in_window = outage.filter(|outage| (self.window..self.window + WINDOW).contains(outage));
        let due = in_window.map_or(0, |outage| 1 << (outage - self.window));
        self.looks_due[look] = due & strategy.policy.scheduled[look].looks_at.read(self.window);
        self.alarms |= due;
        self.is_stale = true;
    }

    /// Has the row visited at each outage at which a scheduled look is due.
    pub fn visit_when_due(&mut self, look: usize) {
        self.alarms |= self.looks_due[look];
    }

    /// Has the row visited at some outages, as bits of which each stands for every 64th outage.
    pub fn visit_each(&mut self, outages: u64) {
        self.alarms |= outages.rotate_right(self.window as u32) & lowest(WINDOW);
    }

    /// Has the row visited at an outage.
    pub fn visit(&mut self, outage: usize) {
        if (self.window..self.window + WINDOW).contains(&outage) {
            self.alarms |= 1 << (outage - self.window);
        }
    }

    /// Cracks that entered so far.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Whether a crack is in the row, by number.
    pub fn is_alive(&self, number: usize) -> bool {
        self.alive[number / WORD] >> (number % WORD) & 1 != 0
    }

    /// States the calls of a crack by number, in place of its own, and has the row visited at all outages that it lives to
    /// see.
    pub fn plant(&mut self, number: usize, crack: &Crack, techniques: &[usize], calls: impl Fn(usize, usize) -> bool) {
        let outages = (crack.first as usize).max(self.window)..(crack.last as usize).min(self.window + WINDOW);
        for &technique in techniques {
            let called = outages.clone().filter(|outage| calls(technique, *outage));
            self.calls[technique][number] = called.fold(0, |bits, outage| bits | 1 << (outage - self.window));
        }
        self.planted |= outages.fold(0, |bits, outage| bits | 1 << (outage - self.window));
    }

    /// States whether a technique calls a crack, by number, at an outage of the window.
    pub fn set_call(&mut self, number: usize, technique: usize, outage: usize, is_call: bool) {
        let bit = 1 << (outage - self.window);
        let calls = &mut self.calls[technique][number];
        *calls = if is_call { *calls | bit } else { *calls & !bit };
    }

    /// The next outage of the window before which a blade is lost, or at which something may be called or is due.
    #[inline(always)]
    pub fn next_outage(&self) -> Option<usize> {
        let due = self.losses | self.stops | self.calls_due | self.alarms | self.planted;
        (due != 0).then(|| self.window + due.trailing_zeros() as usize)
    }

    /// Whether a blade may be lost or the unit stopped before an outage, which is asked once.
    #[inline(always)]
    pub fn take_losses_and_stops(&mut self, outage: usize) -> bool {
        take(&mut self.losses, outage - self.window) | take(&mut self.stops, outage - self.window)
    }

    /// The unit is stopped before an outage.
    pub fn stop_before(&mut self, outage: usize) {
        if (self.window..self.window + WINDOW).contains(&outage) {
            self.stops |= 1 << (outage - self.window);
        }
    }

    /// Whether the row is to be visited at an outage, and whether cracks may be called there by schedule; asked once.
    #[inline(always)]
    pub fn take_visit(&mut self, outage: usize) -> (bool, bool) {
        let ahead = outage - self.window;
        let calls_due = take(&mut self.calls_due, ahead) | take(&mut self.planted, ahead);
        (take(&mut self.alarms, ahead) | calls_due, calls_due)
    }

    /// Whether a scheduled look is due at an outage.
    #[inline(always)]
    pub fn is_due(&self, look: usize, outage: usize) -> bool {
        self.looks_due[look] >> (outage - self.window) & 1 != 0
    }

    pub fn words(&self) -> Range<usize> {
        0..self.alive.len()
    }

    /// Of a word, the cracks that a technique calls at an outage.
    #[inline(always)]
    pub fn called_by(&self, technique: usize, word: usize, outage: usize) -> u64 {
        let bit = (outage - self.window) as u32;
        with_bit(&self.calls[technique].as_chunks().0[word], bit) & self.alive[word]
    }

    /// Of a word, the cracks whose blades are lost before an outage.
    #[inline(always)]
    pub fn lost_before(&self, word: usize, outage: usize) -> u64 {
        let bit = (outage - self.window) as u32;
        with_bit(&self.lost.as_chunks().0[word], bit) & self.alive[word]
    }

    /// Of a word, the cracks in a blade.
    #[inline(always)]
    pub fn in_blade(&self, word: usize, blade: u32) -> u64 {
        equal_to(&self.blades.as_chunks().0[word], blade) & self.alive[word]
    }

    /// Whether a blade may have cracks in the row.
    #[inline(always)]
    pub fn may_have_cracks(&self, blade: u32) -> bool {
        self.cracked[blade as usize / WORD] >> (blade as usize % WORD) & 1 != 0
    }

    /// Takes the cracks of a word in a blade out of the row.
    pub fn take_out(&mut self, word: usize, blade: u32) -> u64 {
        let here = self.in_blade(word, blade);
        self.alive[word] &= !here;
        self.is_stale |= here != 0;
        here
    }

    /// Takes some cracks of a word out of the row.
    pub fn take_out_each(&mut self, word: usize, cracks: u64) {
        self.alive[word] &= !cracks;
        self.is_stale |= cracks != 0;
    }

    /// Of some cracks, replaces the blades of those whose new blades stay sound.
    #[inline(always)]
    pub fn renew_sound(&mut self, word: usize, cracks: u64) -> u64 {
        let sound = cracks & self.sound[word];
        self.alive[word] &= !sound;
        self.renewed[word] |= sound;
        self.is_stale |= sound != 0;
        sound
    }

    /// Numbers the next new blade at a position.
    #[inline(always)]
    pub fn next_generation(&mut self, blade: u32) -> u64 {
        let with_renewed = self.words().filter(|&word| self.renewed[word] != 0);
        let here = |word: usize| equal_to(&self.blades.as_chunks().0[word], blade) & self.renewed[word];
        let renewed: u64 = with_renewed.map(|word| u64::from(here(word).count_ones())).sum();
        let (stamp, count) = &mut self.renewals[blade as usize];
        if *stamp != self.stamp {
            (*stamp, *count) = (self.stamp, 0);
        }
        *count += 1;
        self.row_generation + *count + renewed
    }

    /// Takes all cracks out, and numbers the new blades of the whole row.
    pub fn renew_row(&mut self) -> u64 {
        self.alive.fill(0);
        self.renewed.fill(0);
        self.cracked.fill(0);
        self.is_stale = true;
        self.stamp += 1;
        self.row_generation += 1 << 16;
        self.row_generation
    }

    /// Makes room for more cracks.
    #[inline(always)]
    fn make_room(&mut self, more: usize) {
        let (before, words) = (self.count, (self.count + more).div_ceil(WORD));
        self.count += more;
        self.alive.resize(words, 0);
        self.sound.resize(words, 0);
        self.renewed.resize(words, 0);
        if self.blades.len() < words * WORD {
            [&mut self.cracks, &mut self.blades].into_iter().for_each(|list| list.resize(words * WORD, 0));
            self.lost.resize(words * WORD, 0);
            self.calls.iter_mut().for_each(|calls| calls.resize(words * WORD, 0));
        }
        for word in before / WORD..words {
            let upto = |number: usize| lowest(number.saturating_sub(word * WORD));
            self.alive[word] |= upto(self.count) & !upto(before);
        }
    }
}

/// Takes a bit out of a word: whether it was set.
#[inline(always)]
fn take(word: &mut u64, bit: usize) -> bool {
    let was_set = *word >> bit & 1 != 0;
    *word &= !(1 << bit);
    was_set
}

/// The bits that any of some words has, which are given by number.
#[multiversion(targets = "simd")]
fn any(words: &[u64], meant: &[u64]) -> u64 {
    let mut all = 0;
    for (words, meant) in words.as_chunks::<WORD>().0.iter().zip(meant) {
        all |= (0..WORD).fold(0, |any, number| any | (words[number] & (meant >> number & 1).wrapping_neg()));
    }
    all
}
