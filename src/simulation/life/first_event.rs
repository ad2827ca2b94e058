//! The first blades of all lives, and what comes first to them: worked out together, in long loops over arrays.
//!
//! Blades to which exactly one thing happens are counted, where a policy keeps blades apart. It is a shortcut only: they
//! could be followed as all others are.

use super::looks::covers_by_chance;
use crate::bits::{Bits, WORD, lowest, set_bits};
use crate::simulation::inspection::{FalseCall, FalseCalls};
use crate::simulation::nature::{Crack, Replacement};
use crate::simulation::observe::WorkDone;
use crate::simulation::policy::{Policy, ScheduledLook};
use crate::simulation::row_batch::RowBatch;
use multiversion::multiversion;
use std::ops::Range;

/// An index beyond every event. Events are numbered two an outage: `2 j` for losses before outage j, `2 j + 1` for outage
/// j itself.
const NEVER: u32 = u32::MAX;

/// The cracks of the first blades of all lives. Behind the last stands a word's worth of numbers that mean nothing.
#[derive(Debug, Default)]
pub(super) struct FirstCracks {
    pub blades: Vec<u32>,
    /// The hazard that a new blade in place of its own would outlive, for row factor 1, where it is known.
    survived: Vec<f64>,
    /// For each life words of blades: those with any.
    cracked: Vec<u64>,
    /// Words of one life.
    words: usize,
    loss_events: Vec<u32>,
    /// For each the outage before which its blade is lost, as a bit, among those that are looked ahead to first.
    pub lost: Vec<u64>,
    /// See [`Crack::origin_place`].
    pub places: Vec<u32>,
    /// For each word's worth of outages those that each lives to see, as bits.
    pub there: Vec<Vec<u64>>,
    /// For each technique, if it is in use, the outages at which it would call each of them, as bits, of those that
    /// are looked ahead to first.
    pub calls: Vec<Vec<u64>>,
    /// Whether each is in the same blade as the one before it; and the indices of those that are.
    pub is_further: Bits,
    further: Vec<u32>,
    /// Whether each is alone in its blade, and a new blade there would stay sound from its first outage on.
    pub is_sound: Bits,
    /// Room for the same, one by one.
    flags: Vec<u8>,
}

impl FirstCracks {
    pub fn find(&mut self, batch: &RowBatch) {
        fn list<T: Copy + Default>(numbers: &mut Vec<T>, cracks: &[Crack], of: impl Fn(&Crack) -> T) {
            numbers.clear();
            numbers.extend(cracks.iter().map(of));
            numbers.resize(cracks.len() + WORD, T::default());
        }
        let (cracks, calendar) = (&batch.nature.cracks, &batch.nature.plan.calendar);
        list(&mut self.blades, cracks, |crack| crack.blade);
        list(&mut self.survived, cracks, |crack| batch.nature.survived(crack.life, crack.blade));
        self.words = (batch.nature.plan.blades as usize).div_ceil(WORD);
        self.cracked.clear();
        self.cracked.resize(batch.nature.lives.len() * self.words, 0);
        for crack in cracks {
            let blade = crack.blade as usize;
            self.cracked[crack.life as usize * self.words + blade / WORD] |= 1 << (blade % WORD);
        }
        list(&mut self.loss_events, cracks, loss_event);
        list(&mut self.lost, cracks, |crack| crack.loss_in_window(calendar.start));
        list(&mut self.places, cracks, |crack| crack.place_at(calendar.start));
        self.there.resize_with(calendar.to_come().div_ceil(WORD), Vec::new);
        for (word, there) in self.there.iter_mut().enumerate() {
            list(there, cracks, |crack| crack.there(calendar.start, word));
        }
        self.calls.resize_with(batch.inspections.plan.techniques.len(), Vec::new);
        for &technique in &batch.inspections.plan.in_use {
            let of = |crack: &Crack| batch.inspections.calls_in_window(crack, technique, calendar.start);
            list(&mut self.calls[technique], cracks, of);
        }
        let is_further = cracks.windows(2).map(|pair| pair[0].blade == pair[1].blade && pair[0].life == pair[1].life);
        self.is_further.fill(cracks.first().map(|_| false).into_iter().chain(is_further));
        self.further.clear();
        for begin in (0..cracks.len()).step_by(Bits::READ) {
            let numbers = set_bits(self.is_further.read(begin) & lowest(Bits::READ));
            self.further.extend(numbers.map(|number| (begin + number) as u32));
        }
        self.flags.clear();
        let is_sound = |(survived, crack): (&f64, &Crack)| u8::from(batch.nature.survives(*survived, crack.first));
        self.flags.extend(self.survived.iter().zip(cracks).map(is_sound));
        for &index in &self.further {
            self.flags[index as usize - 1..=index as usize].fill(0);
        }
        self.is_sound.fill(self.flags.iter().map(|flag| *flag != 0));
    }

    /// The blades of a life that have any, as bits.
    #[inline(always)]
    pub fn cracked(&self, life: usize) -> &[u64] {
        &self.cracked[life * self.words..][..self.words]
    }

    fn is_cracked(&self, life: u32, blade: u32) -> bool {
        self.cracked(life as usize)[blade as usize / WORD] >> (blade as usize % WORD) & 1 != 0
    }
}

/// What comes first to first blades under one schedule.
#[derive(Debug, Default)]
pub(super) struct FirstEvents {
    /// The next event of each crack, by its index.
    pub events: Vec<u32>,
    /// The least of them in the crack's blade, from the crack on: of the whole blade at its first crack.
    pub blade_events: Vec<u32>,
    /// The same for the first crack of each blade, and [`NEVER`] for the others.
    head_events: Vec<u32>,
    /// For each word's worth of outages those at which a crack is there if that ends its stay, as bits; none if its
    /// blade is followed.
    pub there: Vec<Vec<u64>>,
    /// Cracks whose blades are falsely called before the row ends.
    pub called: Bits,
    /// First cracks of the other blades that have an event before the row ends. Single are those of which a call is
    /// all that happens: they are alone in their blades, and a new blade stays sound.
    pub single: Bits,
    pub followed: Bits,
    /// First cracks of blades that are called first, and whose new blade may crack.
    pub unsound: Bits,
    /// Of each crack which of these it is: [`CALLED`] and so on.
    flags: Vec<u8>,
    /// False calls at the looks of the schedule.
    pub false_calls: FalseCalls,
    /// Of them, those before the row ends that are all that happens: their blades do not crack, are called once, and
    /// a new blade stays sound. And the others.
    pub single_calls: FalseCalls,
    pub other_calls: FalseCalls,
    are_single: Vec<bool>,
    /// New blades that may crack in place of such as are falsely called the first time.
    pub replaced_falsely: Vec<Replacement>,
    /// How often each blade is falsely called, beside [`SEEN`].
    counts: Vec<u8>,
}

/// Of a blade: its first false call is dealt with.
const SEEN: u8 = 0x80;

/// Of a crack: see [`FirstEvents`].
const CALLED: u8 = 1;
const SINGLE: u8 = 2;
const FOLLOWED: u8 = 4;
const UNSOUND: u8 = 8;

impl FirstEvents {
    /// Of so many lives in which nothing is called falsely.
    pub fn without_calls(lives: usize) -> Self {
        let mut events = FirstEvents::default();
        events.other_calls.find(lives);
        events.false_calls.find(lives);
        events
    }

    /// Finds them, under a policy; its false calls are found already.
    pub fn find(&mut self, batch: &RowBatch, cracks: &FirstCracks, policy: &Policy) {
        let end = policy.row_end.map_or(batch.nature.plan.calendar.len(), |end| end.outage) as u32;
        self.find_events(batch, cracks, policy);
        self.sort_cracks(batch, cracks, end);
        self.sort_calls(batch, cracks, end);
        let flags = &self.flags[..batch.nature.cracks.len()];
        let lists = [
            (&mut self.called, CALLED),
            (&mut self.single, SINGLE),
            (&mut self.followed, FOLLOWED),
            (&mut self.unsound, UNSOUND),
        ];
        for (list, flag) in lists {
            list.fill(flags.iter().map(|flags| flags & flag != 0));
        }
        self.forget_followed(batch, cracks);
    }

    /// Cracks in blades that are followed enter the row there.
    fn forget_followed(&mut self, batch: &RowBatch, cracks: &FirstCracks) {
        let mut there = std::mem::take(&mut self.there);
        self.for_each_followed(cracks, 0..batch.nature.cracks.len(), |index| {
            there.iter_mut().for_each(|there| there[index as usize] = 0);
        });
        self.there = there;
    }

    /// Counts the blades of a life to which exactly one thing happens; `own` are the cracks of the life.
    pub fn count_single(&self, life: usize, own: Range<usize>, work: &mut WorkDone) {
        for call in self.single_calls.of(life) {
            work.call(call.outage as usize);
            work.replace_blades(call.outage as usize, [0, 1]);
        }
        for begin in own.clone().step_by(Bits::READ) {
            let here = lowest(Bits::READ.min(own.end - begin));
            for number in set_bits(self.single.read(begin) & here) {
                let outage = self.blade_events[begin + number] as usize / 2;
                work.call(outage);
                work.find(outage, 1);
                work.replace_blades(outage, [1, 0]);
            }
        }
    }

    /// Visits the cracks of a life in blades to which more may happen; `own` are all cracks of the life.
    pub fn for_each_followed(&self, cracks: &FirstCracks, own: Range<usize>, mut visit: impl FnMut(u32)) {
        for begin in own.clone().step_by(Bits::READ) {
            let here = lowest(Bits::READ.min(own.end - begin));
            let heads = (self.followed.read(begin) | self.called.read(begin)) & !cracks.is_further.read(begin) & here;
            for head in set_bits(heads).map(|number| begin + number) {
                visit(head as u32);
                let of_blade = (head + 1..own.end).take_while(|index| cracks.is_further.is_set(*index));
                of_blade.for_each(|index| visit(index as u32));
            }
        }
    }

    /// False calls at the looks of the schedule that are lived, not counted.
    pub fn followed_calls(&self, policy: &Policy) -> &FalseCalls {
        if policy.keeps_blades_apart { &self.other_calls } else { &self.false_calls }
    }

    fn find_events(&mut self, batch: &RowBatch, cracks: &FirstCracks, policy: &Policy) {
        let calendar = &batch.nature.plan.calendar;
        self.events.clone_from(&cracks.loss_events);
        for look in &policy.scheduled {
            if look.covers_all && calendar.to_come() <= Bits::READ {
                let (calls, start) = (&cracks.calls[look.technique], calendar.start as u32);
                call_first(&mut self.events, calls, look.looks_at.read(calendar.start), start);
            } else {
                for (event, crack) in self.events.iter_mut().zip(&batch.nature.cracks) {
                    *event = event_with(batch, look, crack, *event, (crack.first as usize).max(calendar.start));
                }
            }
        }
        self.blade_events.clone_from(&self.events);
        // Cracks of a blade stand together.
        for &index in cracks.further.iter().rev() {
            let (before, own) = (index as usize - 1, index as usize);
            self.blade_events[before] = self.blade_events[before].min(self.blade_events[own]);
        }
        self.head_events.clone_from(&self.blade_events);
        cracks.further.iter().for_each(|&index| self.head_events[index as usize] = NEVER);
    }

    /// Finds the false calls at the scheduled looks of a policy.
    pub fn find_false_calls(&mut self, batch: &RowBatch, policy: &Policy) {
        self.false_calls.clear();
        for (index, look) in (0..).zip(&policy.scheduled) {
            let calls = batch.inspections.false_calls(look.technique).all();
            let count = |call: &FalseCall| {
                look.is_due(call.outage as usize)
                    && covers_by_chance(batch, call.life as usize, look, call.blade, call.outage as usize)
            };
            let before = self.false_calls.all().len();
            self.false_calls.add(calls, calls.iter().map(count));
            self.false_calls.made_by(before, index);
        }
        if policy.scheduled.len() > 1 {
            self.false_calls.sort();
        }
        self.false_calls.find(batch.nature.lives.len());
    }

    /// Sorts cracks as if no blade were falsely called.
    fn sort_cracks(&mut self, batch: &RowBatch, cracks: &FirstCracks, end: u32) {
        let events = self.head_events.iter().zip(&cracks.survived);
        self.flags.clear();
        self.flags.extend(events.map(|(event, survived)| u8::from(batch.nature.survives(*survived, event / 2))));
        sort_each(&self.head_events, end, &mut self.flags);
        for &index in &cracks.further {
            // Blades with more than one crack are not single.
            let before = &mut self.flags[index as usize - 1];
            *before = if *before & SINGLE != 0 { *before ^ (SINGLE | FOLLOWED) } else { *before };
        }
        self.there.resize_with(cracks.there.len(), Vec::new);
        let start = batch.nature.plan.calendar.start;
        for (word, (there, first)) in self.there.iter_mut().zip(&cracks.there).enumerate() {
            let until = |event: u32| lowest((end.min(event / 2) as usize).saturating_sub(start + word * WORD));
            there.clear();
            there.extend(first.iter().zip(&self.blade_events).map(|(there, event)| there & until(*event)));
        }
    }

    /// Sorts false calls, and the cracks in blades that they call.
    fn sort_calls(&mut self, batch: &RowBatch, cracks: &FirstCracks, end: u32) {
        let calls = self.false_calls.all();
        self.counts.resize(batch.nature.positions(), 0);
        for call in calls {
            let count = &mut self.counts[batch.nature.position(call.life, call.blade)];
            *count = (*count + 1).min(SEEN - 1);
        }
        self.are_single.clear();
        self.replaced_falsely.clear();
        for call in calls {
            let position = batch.nature.position(call.life, call.blade);
            let (is_before_end, is_cracked) = (call.outage < end, cracks.is_cracked(call.life, call.blade));
            let is_sound = batch.nature.survives(batch.nature.survived(call.life, call.blade), call.outage);
            self.are_single.push(is_before_end & !is_cracked & (self.counts[position] == 1) & is_sound);
            if !is_sound & (self.counts[position] & SEEN == 0) {
                let FalseCall { life, outage, blade, .. } = *call;
                self.replaced_falsely.push(Replacement { life, blade, outage });
            }
            self.counts[position] |= SEEN;
            if is_before_end & is_cracked {
                let own = batch.nature.first_cracks(call.life as usize);
                for index in own {
                    if cracks.blades[index] == call.blade {
                        self.flags[index] = CALLED;
                    }
                }
            }
        }
        for call in calls {
            self.counts[batch.nature.position(call.life, call.blade)] = 0;
        }
        let are_single = self.are_single.iter();
        self.single_calls.clear();
        self.single_calls.add(calls, are_single.clone().copied());
        self.other_calls.clear();
        self.other_calls.add(calls, are_single.map(|is_single| !is_single));
        self.single_calls.find(batch.nature.lives.len());
        self.other_calls.find(batch.nature.lives.len());
    }
}

/// Sorts cracks; in the place of flags stands whether a new blade stays sound.
#[multiversion(targets = "simd")]
fn sort_each(head_events: &[u32], end: u32, flags: &mut [u8]) {
    for (flags, &event) in flags.iter_mut().zip(head_events) {
        // Branch-free: none of this is predictable.
        let is_call = (event % 2 == 1) & (event != NEVER);
        let (is_sound, is_before_end) = (*flags != 0, event <= 2 * end);
        let is_single = is_before_end & is_call & is_sound;
        let flag = |is: bool, flag: u8| if is { flag } else { 0 };
        *flags =
            flag(is_single, SINGLE) | flag(is_before_end & !is_single, FOLLOWED) | flag(is_call & !is_sound, UNSOUND);
    }
}

/// The earlier of events and of those in which cracks are first called, by all calls and the outages that are looked
/// at, as bits from an outage on.
#[multiversion(targets = "simd")]
fn call_first(events: &mut [u32], calls: &[u64], looks_at: u64, start: u32) {
    for (event, calls) in events.iter_mut().zip(calls) {
        let calls = calls & looks_at;
        let first = if calls == 0 { NEVER } else { 2 * (start + calls.trailing_zeros()) + 1 };
        *event = (*event).min(first);
    }
}

/// The next event of a crack from an outage on, when one more look is scheduled.
#[inline(always)]
fn event_with(batch: &RowBatch, look: &ScheduledLook, crack: &Crack, event: u32, from: usize) -> u32 {
    let (mut begin, last) = (from, crack.last as usize);
    loop {
        let mut calls = batch.inspections.calls_from(crack, look.technique, &look.looks_at, begin);
        if !look.covers_all {
            calls = covered(batch, look, crack, begin, calls);
        }
        let first = if calls == 0 { NEVER } else { 2 * (begin as u32 + calls.trailing_zeros()) + 1 };
        begin += Bits::READ;
        if begin >= last || calls != 0 {
            return event.min(first);
        }
    }
}

/// Of calls, as bits from an outage on, those that a scheduled look covers.
#[inline(never)]
fn covered(batch: &RowBatch, look: &ScheduledLook, crack: &Crack, from: usize, calls: u64) -> u64 {
    let is_covered = |bit: &usize| {
        (look.hot_spots.is_empty() || look.hot_spots[crack.hot_spot()])
            && covers_by_chance(batch, crack.life as usize, look, crack.blade, from + bit)
    };
    set_bits(calls).filter(is_covered).fold(0, |covered, bit| covered | 1 << bit)
}

/// The loss that a crack ends in, if nothing is done.
fn loss_event(crack: &Crack) -> u32 {
    if crack.ends_in_loss() { 2 * crack.last } else { NEVER }
}
