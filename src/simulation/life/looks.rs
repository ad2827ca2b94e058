//! The looks of an outage at a row.

use super::follow::{Life, numbers};
use crate::bits::{WORD, clear, set_bits};
use crate::simulation::inspection::FalseCall;
use crate::simulation::policy::{CalledBlade, FirstCall, Further, FurtherLook, ScheduledLook};
use crate::simulation::row_batch::RowBatch;

impl Life<'_, '_> {
    /// The looks of an outage: those by schedule, those at watched blades, and those that their findings lead to. Whether
    /// anything is to be decided: mostly nothing is, since what was to be called is gone.
    pub(super) fn look(&mut self, outage: usize, calls_are_due: bool) -> bool {
        let policy = &self.strategy.policy;
        self.begin_look(outage);
        if calls_are_due {
            self.look_by_schedule(outage);
        }
        self.call_falsely(outage);
        if !self.room.first_calls.is_empty() {
            self.judge_first_calls(outage);
        }
        let is_quiet =
            self.room.findings.calling == 0 && self.room.policy.watched.is_empty() && !self.may_be_damaged_at(outage);
        if is_quiet && policy.reacting.is_empty() && policy.alarm() != Some(outage) {
            self.room.findings.any = false;
            return false;
        }
        if policy.reacting.iter().any(|&look| self.room.state.is_due(look, outage)) {
            let is_due = |look| self.room.state.is_due(look, outage);
            self.record.work.look_by_schedule(&self.strategy.work, policy, outage, is_due);
        }
        if !self.room.policy.watched.is_empty() && policy.alarm() != Some(outage) {
            self.look_at_watched(outage);
        }
        for (look, of) in policy.further_looks(self.room.findings.leading) {
            self.look_further(look, of, outage);
        }
        if self.room.findings.calling != 0 {
            self.record.work.call(outage);
        }
        self.note_finds(outage, 0);
        true
    }

    fn begin_look(&mut self, outage: usize) {
        (self.room.findings.calling, self.room.findings.leading) = (0, 0);
        self.room.findings.blades.clear();
        self.room.clean_called.clear();
        self.room.first_calls.clear();
        self.room.watched_now.clear();
        self.room.seen_again.clear();
        self.room.replaced.clear();
        self.room.called.resize(self.room.state.words().len(), 0);
        clear(&mut self.room.called);
        let is_due = |look| self.room.state.is_due(look, outage);
        let draw = |look, blade| self.batch.coverage_draw(self.life, blade, look, outage);
        self.strategy.policy.choose_samples(&mut self.room.policy, outage, is_due, draw);
        if self.room.planted.is_known() {
            self.foresee_running_on(outage);
        }
    }

    /// Number of cracks that are called by looks that stand.
    fn found(&self) -> u32 {
        self.room.called.iter().map(|called| called.count_ones()).sum()
    }

    /// Notes what was found beyond some cracks that were before.
    fn note_finds(&mut self, outage: usize, before: u32) {
        let found = self.found();
        self.room.findings.any = found > 0 || !self.room.clean_called.is_empty();
        if found > before {
            self.record.work.find(outage, found - before);
        }
    }

    fn look_by_schedule(&mut self, outage: usize) {
        for (number, look) in self.strategy.policy.scheduled.iter().enumerate() {
            if self.room.state.is_due(number, outage) {
                self.look_at_planted(look.technique, outage, Some(look), Whom::Row);
                for word in self.room.state.words() {
                    let mut calls = self.room.state.called_by(look.technique, word, outage);
                    if !look.covers_all {
                        calls = self.covered(look, word, calls, outage);
                    }
                    if calls != 0 {
                        self.call_first(look, word, calls, outage);
                    }
                }
            }
        }
    }

    /// False calls by schedule.
    fn call_falsely(&mut self, outage: usize) {
        let false_calls = self.events.followed_calls(&self.strategy.policy).at(self.life, outage);
        for &FalseCall { blade, look, .. } in false_calls {
            let is_due = self.room.state.is_due(look as usize, outage);
            let look = &self.strategy.policy.scheduled[look as usize];
            let is_covered = || look.sampler.is_none() || self.covers(look, blade, outage);
            if is_due && is_covered() && self.is_clean(blade, outage) {
                if self.strategy.policy.by_blade(look.look).is_some() {
                    let (look, technique) = (look.look, look.technique);
                    self.room.first_calls.push(FirstCall { look, blade, technique, crack: None });
                    continue;
                }
                self.room.findings.calling |= 1 << look.look;
                self.room.findings.leading |= 1 << look.look;
                if look.stands {
                    self.call_clean(blade, look.technique, outage);
                }
            }
        }
    }

    /// Notes calls of cracks by a scheduled look.
    #[inline(always)]
    fn call_first(&mut self, look: &ScheduledLook, word: usize, calls: u64, outage: usize) {
        if self.strategy.policy.by_blade(look.look).is_some() {
            let blades = &self.room.state.blades;
            let call = |number: usize| FirstCall {
                look: look.look,
                blade: blades[number],
                technique: look.technique,
                crack: Some(number),
            };
            self.room.first_calls.extend(numbers(word, calls).map(call));
            return;
        }
        self.room.findings.calling |= 1 << look.look;
        self.room.findings.leading |= 1 << look.look;
        if look.stands {
            self.call_cracks(word, calls, look.technique, outage);
        }
    }

    /// Judges the calls of looks that ask which blades they are on.
    #[inline(never)]
    fn judge_first_calls(&mut self, outage: usize) {
        let mut all = std::mem::take(&mut self.room.first_calls);
        all.sort_unstable();
        let mut kept = Vec::new();
        for of_look in all.chunk_by(|one, other| one.look == other.look) {
            let look = of_look[0].look;
            let Some(rule) = self.strategy.policy.by_blade(look) else { continue };
            let mut calls = of_look.to_vec();
            let blades = rule.keep_indications(&mut calls);
            if blades == 0 {
                continue;
            }
            self.room.findings.calling |= 1 << look;
            if rule.leads_on(blades) {
                self.room.findings.leading |= 1 << look;
            }
            if self.strategy.policy.stands(look) {
                for call in &calls {
                    match call.crack {
                        Some(number) => {
                            self.call_cracks(number / WORD, 1 << (number % WORD), call.technique, outage);
                        }
                        None => self.call_clean(call.blade, call.technique, outage),
                    }
                }
            }
            kept.extend(calls);
        }
        self.room.first_calls = kept;
    }

    /// A look that findings lead to, at the whole row or at blades that were called.
    #[inline(never)]
    fn look_further(&mut self, look: &FurtherLook, of: Further, outage: usize) {
        let is_due = |look| self.room.state.is_due(look, outage);
        let (plan, policy, technique) = (&self.strategy.work, &self.strategy.policy, look.technique);
        self.record.escalate();
        match of {
            Further::Row => self.record.work.look_at_rest(plan, policy, technique, outage, None, is_due),
            Further::CalledBy(looks) => {
                let blades = self.blades_called_by(looks);
                let unseen = blades.iter().filter(|&&blade| !self.sees_whole_blade(technique, blade, outage)).count();
                let is_there = self.room.watched_now.iter().any(|watched| watched.0 == technique);
                self.record.work.look_at_blades(plan, policy, technique, outage, unseen, is_there, is_due);
                self.room.seen_again.push(SeenAgain { technique, blades: unseen });
            }
        }
        for (technique, of) in look.on_surfaces(self.room.findings.leading) {
            match of {
                Further::Row => self.look_again(technique, outage, Whom::Row),
                Further::CalledBy(looks) => {
                    let blades = self.blades_called_by(looks);
                    self.look_again(technique, outage, Whom::Blades(&blades));
                }
            }
        }
    }

    /// Blades that some of the strategy's looks called, which are given as bits.
    fn blades_called_by(&self, looks: u64) -> Vec<u32> {
        let called = self.room.first_calls.iter().filter(|call| looks >> call.look & 1 != 0);
        let mut blades: Vec<u32> = called.map(|call| call.blade).collect();
        blades.sort_unstable();
        blades.dedup();
        blades
    }

    /// Whether a technique, on any surface, looks at a blade with all its hot spots by schedule.
    fn sees_whole_blade(&self, technique: usize, blade: u32, outage: usize) -> bool {
        self.strategy.policy.scheduled.iter().enumerate().any(|(number, look)| {
            self.strategy.policy.own(look.technique) == technique
                && self.room.state.is_due(number, outage)
                && look.hot_spots.is_empty()
                && self.covers(look, blade, outage)
        })
    }

    /// Whether a scheduled look covers a blade at the outage that is lived.
    #[inline]
    pub(super) fn covers(&self, look: &ScheduledLook, blade: u32, outage: usize) -> bool {
        match look.sampler {
            Some(sampler) => self.room.policy.covers(sampler, blade, outage),
            None => covers_by_chance(self.batch, self.life, look, blade, outage),
        }
    }

    /// Of calls, those that a scheduled look covers.
    #[inline(never)]
    fn covered(&self, look: &ScheduledLook, word: usize, calls: u64, outage: usize) -> u64 {
        let is_covered = |bit: &usize| {
            let crack = &self.batch.nature.cracks[self.room.state.cracks[word * WORD + bit] as usize];
            (look.hot_spots.is_empty() || look.hot_spots[crack.hot_spot()]) && self.covers(look, crack.blade, outage)
        };
        set_bits(calls).filter(is_covered).fold(0, |covered, bit| covered | 1 << bit)
    }

    /// Looks again at the blades that are watched, but for those that another look by the same technique covers at this
    /// outage: a scheduled one, or one that its findings lead to.
    #[inline(never)]
    fn look_at_watched(&mut self, outage: usize) {
        let policy = &self.strategy.policy;
        let mut watched = std::mem::take(&mut self.room.watched_now);
        watched.clear();
        let due = self.room.policy.watched.iter().filter(|watched| watched.outage == outage);
        watched.extend(due.map(|watched| (watched.technique, watched.blade)));
        watched.retain(|&(technique, blade)| {
            let is_further = |(look, of): (&FurtherLook, Further)| {
                look.technique == technique
                    && match of {
                        Further::Row => true,
                        Further::CalledBy(looks) => {
                            let mut calls = self.room.first_calls.iter();
                            calls.any(|call| call.blade == blade && looks >> call.look & 1 != 0)
                        }
                    }
            };
            !self.sees_whole_blade(technique, blade, outage)
                && !policy.further_looks(self.room.findings.leading).any(is_further)
        });
        watched.sort_unstable();
        for group in watched.chunk_by(|one, other| one.0 == other.0) {
            let technique = group[0].0;
            let is_due = |look| self.room.state.is_due(look, outage);
            self.record.work.look_at_watched(&self.strategy.work, policy, technique, outage, group.len(), is_due);
            for (_, blade) in group {
                self.look_again(technique, outage, Whom::Blades(std::slice::from_ref(blade)));
            }
        }
        self.room.watched_now = watched;
    }

    /// A look that was not scheduled.
    fn look_again(&mut self, technique: usize, outage: usize, whom: Whom) {
        self.look_at_planted(technique, outage, None, whom);
        for word in self.room.state.words() {
            let calls = self.room.state.called_by(technique, word, outage);
            let meant = match whom {
                Whom::Row => u64::MAX,
                Whom::Blades(blades) => blades.iter().map(|&blade| self.room.state.in_blade(word, blade)).sum(),
            };
            self.call_cracks(word, calls & meant, technique, outage);
        }
        for index in self.batch.inspections.false_calls(technique).range_at(self.life, outage) {
            let called = self.batch.inspections.false_calls(technique).all()[index].blade;
            if whom.includes(called) && self.is_clean(called, outage) {
                self.call_clean(called, technique, outage);
            }
        }
    }

    /// Notes calls of cracks that stand. A crack counts once an outage, whoever calls it.
    #[inline(always)]
    fn call_cracks(&mut self, word: usize, calls: u64, technique: usize, outage: usize) {
        self.room.called[word] |= calls;
        if self.strategy.policy.asks_for_blades {
            for number in numbers(word, calls) {
                let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
                let (inspections, nature) = (&self.batch.inspections, &self.batch.nature);
                let length_mm = inspections.measured_mm(nature, crack, technique, outage);
                let asks_for_depth = self.strategy.policy.asks_for_depth;
                let depth_mm = || inspections.measured_depth_mm(nature, crack, technique, outage);
                let depth_mm = if asks_for_depth { depth_mm() } else { f64::INFINITY };
                note(&mut self.room.findings.blades, crack.blade, [length_mm, depth_mm], technique);
            }
        }
    }

    /// Notes a false call that stands.
    fn call_clean(&mut self, blade: u32, technique: usize, outage: usize) {
        if !self.room.clean_called.contains(&blade) {
            self.room.clean_called.push(blade);
        }
        if self.strategy.policy.asks_for_blades {
            let (inspections, nature) = (&self.batch.inspections, &self.batch.nature);
            let length_mm = inspections.false_length_mm(nature, self.life, blade, technique, outage);
            let asks_for_depth = self.strategy.policy.asks_for_depth;
            let depth_mm = || inspections.false_depth_mm(nature, self.life, blade, technique, outage);
            let depth_mm = if asks_for_depth { depth_mm() } else { f64::INFINITY };
            note(&mut self.room.findings.blades, blade, [length_mm, depth_mm], technique);
        }
    }

    /// Whether no crack has started in a blade by an outage.
    #[inline(always)]
    fn is_clean(&self, blade: u32, outage: usize) -> bool {
        let state = &self.room.state;
        if !state.may_have_cracks(blade) {
            return true;
        }
        let here = state.words().flat_map(|word| numbers(word, state.in_blade(word, blade)));
        let mut starts = here.map(|number| self.batch.nature.cracks[state.cracks[number] as usize].first);
        starts.all(|first| first as usize > outage)
    }

    /// A look at the whole row because of finds on another; the row may have been visited already.
    pub(super) fn look_as_sister(&mut self, technique: usize, outage: usize, is_visited: bool) {
        let policy = &self.strategy.policy;
        if !is_visited {
            self.begin_look(outage);
        }
        if policy.looks_at_row_again(technique, self.room.findings.leading) {
            return;
        }
        let is_due = |look| self.room.state.is_due(look, outage);
        let seen = self.room.seen_again.iter().find(|seen| seen.technique == technique);
        self.record.work.look_at_rest(
            &self.strategy.work,
            policy,
            technique,
            outage,
            seen.map(|seen| seen.blades),
            is_due,
        );
        let before = self.found();
        self.look_again(technique, outage, Whom::Row);
        self.note_finds(outage, before);
    }
}

/// Whom a look that was not scheduled is at.
#[derive(Debug, Clone, Copy)]
pub(super) enum Whom<'a> {
    Row,
    Blades(&'a [u32]),
}

impl Whom<'_> {
    pub fn includes(&self, blade: u32) -> bool {
        match self {
            Whom::Row => true,
            Whom::Blades(blades) => blades.contains(&blade),
        }
    }
}

/// Blades that a technique looked at again, because they were called.
#[derive(Debug, Clone, Copy)]
pub(super) struct SeenAgain {
    pub technique: usize,
    /// Number of them, without those that it looked at by schedule.
    pub blades: usize,
}

/// Notes an indication, by length and depth; of equal lengths the first counts.
pub(super) fn note(blades: &mut Vec<CalledBlade>, blade: u32, [length_mm, depth_mm]: [f64; 2], technique: usize) {
    match blades.iter_mut().find(|called| called.blade == blade) {
        Some(called) => {
            if length_mm > called.longest_mm {
                (called.longest_mm, called.technique) = (length_mm, technique);
            }
            if depth_mm > called.deepest_mm {
                called.deepest_mm = depth_mm;
            }
        }
        None => blades.push(CalledBlade { blade, longest_mm: length_mm, technique, deepest_mm: depth_mm }),
    }
}

/// Whether a scheduled look that covers each blade with some chance covers this one at an outage. A sample of so many is not
/// known before it is chosen: it may cover every blade.
#[inline]
pub(super) fn covers_by_chance(batch: &RowBatch, life: usize, look: &ScheduledLook, blade: u32, outage: usize) -> bool {
    look.blade_fraction >= 1.0
        || look.sampler.is_some()
        || batch.coverage_draw(life, blade, look.look, outage) < look.blade_fraction
}
