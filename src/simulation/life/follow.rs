//! One life of a row under one strategy.

use super::Room;
use super::first_event::{FirstCracks, FirstEvents};
use super::planted::PlantedLoss;
use super::row_state::WINDOW;
use crate::bits::{WORD, clear, set_bits};
use crate::model::fleet::Consequences;
use crate::model::strategy::AfterLoss;
use crate::simulation::inspection::FalseCall;
use crate::simulation::nature::Crack;
use crate::simulation::observe::{LifeRecord, Occupancy};
use crate::simulation::plan::{RowPlan, StrategyPlan};
use crate::simulation::policy::{Act, CalledBlade, FirstCall, Further, Harm, ScheduledLook, neighbours};
use crate::simulation::row_batch::RowBatch;
use std::ops::{ControlFlow, Range};

/// One life, on its way.
pub(super) struct Life<'a, 'p> {
    pub row: &'p RowPlan,
    pub strategy: &'p StrategyPlan,
    pub batch: &'a mut RowBatch<'p>,
    pub first: &'a FirstCracks,
    pub events: &'a FirstEvents,
    pub room: &'a mut Room,
    pub record: &'a mut LifeRecord,
    pub life: usize,
}

impl Life<'_, '_> {
    /// Lives it from the start of the study to its end, or until the row leaves service.
    pub fn live(&mut self) {
        let calendar = &self.row.nature.calendar;
        self.begin();
        // One more, for losses behind the last outage.
        let _ = self.live_outages(calendar.start..calendar.len() + 1);
    }

    /// Begins it at the start of the study.
    pub fn begin(&mut self) {
        self.room.state.begin(self.strategy, self.row.nature.calendar.start, 0);
        self.room.planted.begin();
        self.strategy.policy.begin(&mut self.room.policy);
        self.enter_first();
    }

    /// Lives it from the row's entry into service, with the cracks that it begins with, to the last outage before the
    /// study; a loss ends it.
    pub fn live_past(&mut self, first: Range<u32>) -> ControlFlow<()> {
        /// Numbers new blades apart from those of the study.
        const GENERATION: u64 = 1 << 31;
        self.room.state.begin(self.strategy, 0, GENERATION);
        self.room.planted.begin();
        self.strategy.policy.begin(&mut self.room.policy);
        self.enter(first);
        self.live_outages(0..self.row.nature.calendar.start)
    }

    /// The cracks in the row.
    pub fn cracks(&self) -> impl Iterator<Item = &Crack> {
        let state = &self.room.state;
        let numbers = state.words().flat_map(|word| numbers(word, state.alive[word]));
        numbers.map(|number| &self.batch.nature.cracks[state.cracks[number] as usize])
    }

    fn live_outages(&mut self, outages: Range<usize>) -> ControlFlow<()> {
        for window in outages.clone().step_by(WINDOW) {
            self.open_window(window);
            while let Some(outage) = self.room.state.next_outage().filter(|outage| outages.contains(outage)) {
                self.live_outage(outage)?;
                if self.can_no_longer_be_lost() {
                    return ControlFlow::Break(());
                }
            }
        }
        ControlFlow::Continue(())
    }

    /// An outage, and the time before it.
    fn live_outage(&mut self, outage: usize) -> ControlFlow<()> {
        if self.meet(outage)? { self.act(outage) } else { ControlFlow::Continue(()) }
    }

    /// Losses before an outage, and its own looks at the row: whether anything is to be decided.
    pub fn meet(&mut self, outage: usize) -> ControlFlow<(), bool> {
        if self.room.state.take_losses(outage) {
            self.lose_before(outage)?;
        }
        let (is_visited, calls_are_due) = self.room.state.take_visit(outage);
        ControlFlow::Continue(is_visited && self.look(outage, calls_are_due))
    }

    /// A look at the whole row because of finds on another; the row may have been visited already.
    pub fn look_as_sister(&mut self, technique: usize, outage: usize, is_visited: bool) {
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

    /// Does what the policy decides at an outage.
    pub fn act(&mut self, outage: usize) -> ControlFlow<()> {
        let Room { findings, policy, acts, .. } = &mut *self.room;
        self.strategy.policy.decide(outage, findings, policy, acts);
        for (look, next) in self.strategy.policy.due_next(&self.room.policy) {
            self.room.state.set_due(self.strategy, look, next);
        }
        for index in 0..self.room.acts.len() {
            self.apply(self.room.acts[index], outage)?;
        }
        if self.may_be_damaged_at(outage) {
            self.damage_in_handling(outage);
        }
        self.room.state.forget_calls_of_gone(self.strategy, outage + 1);
        ControlFlow::Continue(())
    }

    /// Puts the first blades' cracks into the row: all, or those to which more than one thing may happen.
    fn enter_first(&mut self) {
        let own = self.batch.nature.first_cracks(self.life);
        if self.strategy.policy.keeps_blades_apart() {
            self.events.for_each_followed(self.first, own, |index| {
                self.room.state.enter(self.strategy, self.batch, index);
                self.record.cracks_left.enter(&self.batch.nature.cracks[index as usize]);
            });
        } else {
            let (there, places) = (&self.first.there[..], &self.first.places[..]);
            self.record.cracks_left.enter_first(&Occupancy { there, places, range: own.clone() });
            self.room.state.enter_first(self.strategy, self.first, self.life, own);
        }
        self.find_planted(0);
    }

    pub fn open_window(&mut self, window: usize) {
        let state = &mut self.room.state;
        state.open_window(self.strategy, self.batch, window);
        self.room.planted.look_ahead(state, self.batch, self.strategy);
        state.visit_each(self.events.followed_calls(&self.strategy.policy).outages(self.life));
        self.strategy.policy.alarm().into_iter().for_each(|outage| state.visit(outage));
        self.room.policy.watched.iter().for_each(|watched| state.visit(watched.outage));
        for (look, next) in self.strategy.policy.due_next(&self.room.policy) {
            state.set_due(self.strategy, look, next);
        }
        self.strategy.policy.remembering.iter().for_each(|&look| state.visit_when_due(look));
        if self.strategy.policy.may_be_damaged {
            state.visit_each(self.batch.inspections.damaged.outages(self.life));
        }
    }

    /// Losses in the interval before an outage, in order of time; before the study they end the life.
    #[inline(never)]
    fn lose_before(&mut self, outage: usize) -> ControlFlow<()> {
        if outage < self.row.nature.calendar.start {
            return if self.next_loss(outage).is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
        }
        while self.lose_next(outage).is_some() {}
        ControlFlow::Continue(())
    }

    /// The next crack, by number, that loses its blade before an outage, and the year.
    pub fn next_loss(&self, outage: usize) -> Option<(usize, f64)> {
        let (state, cracks) = (&self.room.state, &self.batch.nature.cracks);
        let lost = state.words().flat_map(|word| numbers(word, state.lost_before(word, outage)));
        let lost = lost.map(|number| (number, cracks[state.cracks[number] as usize].lost_year));
        lost.min_by(|(_, a), (_, b)| a.total_cmp(b))
    }

    /// Has the next blade lost before an outage, if there is one: what that does to others.
    pub fn lose_next(&mut self, outage: usize) -> Option<Harm> {
        let (number, lost_year) = self.next_loss(outage)?;
        let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
        let (blade, hot_spot) = (crack.blade, crack.hot_spot());
        let (key, generation) = (self.batch.loss_key(self.life, blade), self.room.state.next_generation(blade));
        let cost = self.record.lose(lost_year, hot_spot, key, generation);
        if self.room.planted.is(number) {
            self.room.planted.lost = self.record.loss_years.last().map(|&year| PlantedLoss { year, cost });
        }
        let policy = &self.strategy.policy;
        policy.lose(&mut self.room.policy);
        let harm = if policy.consequences == Consequences::default() {
            Harm::Nothing
        } else {
            Harm::of(&policy.consequences, self.batch.consequence_draw(self.life, blade, generation))
        };
        match (policy.after_loss, harm) {
            (AfterLoss::ReplaceRow, _) | (_, Harm::Row | Harm::Rotor) => self.wreck(lost_year, outage),
            (AfterLoss::ReplaceBlade, _) => {
                self.renew_blade_in(blade, generation, lost_year, outage);
                if !policy.groups.are_single() || harm != Harm::Nothing {
                    self.replace_with_lost(blade, harm, lost_year, outage);
                }
            }
        }
        Some(harm)
    }

    /// The row is replaced after a loss on it, or on another one of its rotor.
    pub fn wreck(&mut self, year: f64, outage: usize) {
        self.record.replace_row_after_loss(&self.strategy.work, year);
        self.renew_row(year, outage);
    }

    /// Others that are replaced with a lost blade, at once: those of its group, and neighbours that it damaged with theirs.
    #[inline(never)]
    fn replace_with_lost(&mut self, lost: u32, harm: Harm, lost_year: f64, outage: usize) {
        let (groups, count) = (self.strategy.policy.groups, self.row.nature.blades);
        let damaged: Vec<u32> = match harm {
            Harm::Neighbours(number) => neighbours(lost, number, count).collect(),
            _ => Vec::new(),
        };
        let mut blades: Vec<u32> = damaged.iter().flat_map(|blade| groups.of(*blade)).chain(groups.of(lost)).collect();
        blades.sort_unstable();
        blades.dedup();
        for blade in blades.into_iter().filter(|blade| *blade != lost) {
            self.record.replace_blade_after_loss(&self.strategy.work, lost_year, damaged.contains(&blade));
            let generation = self.room.state.next_generation(blade);
            self.renew_blade_in(blade, generation, lost_year, outage);
        }
    }

    /// A new blade takes the place of one between outages.
    fn renew_blade_in(&mut self, blade: u32, generation: u64, year: f64, outage: usize) {
        self.clear_blade(blade, outage);
        self.room.policy.renew_blade(blade);
        let new = self.batch.new_blade_in(self.life, blade, generation, year);
        self.enter(new);
    }

    /// The looks of an outage: those by schedule, those at watched blades, and those that their findings lead to. Whether
    /// anything is to be decided: mostly nothing is, since what was to be called is gone.
    fn look(&mut self, outage: usize, calls_are_due: bool) -> bool {
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
        for (technique, of) in policy.further_looks(self.room.findings.leading) {
            self.look_further(technique, of, outage);
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
    fn look_further(&mut self, technique: usize, of: Further, outage: usize) {
        let is_due = |look| self.room.state.is_due(look, outage);
        let (plan, policy) = (&self.strategy.work, &self.strategy.policy);
        self.record.escalate();
        let Further::CalledBy(looks) = of else {
            self.record.work.look_at_rest(plan, policy, technique, outage, None, is_due);
            self.look_again(technique, outage, Whom::Row);
            return;
        };
        let called = self.room.first_calls.iter().filter(|call| looks >> call.look & 1 != 0);
        let mut blades: Vec<u32> = called.map(|call| call.blade).collect();
        blades.sort_unstable();
        blades.dedup();
        let unseen = blades.iter().filter(|&&blade| !self.sees_whole_blade(technique, blade, outage)).count();
        let is_there = self.room.watched_now.iter().any(|watched| watched.0 == technique);
        self.record.work.look_at_blades(plan, policy, technique, outage, unseen, is_there, is_due);
        self.look_again(technique, outage, Whom::Blades(&blades));
        self.room.seen_again.push(SeenAgain { technique, blades: unseen });
    }

    /// Whether a technique looks at a blade with all its hot spots by schedule.
    fn sees_whole_blade(&self, technique: usize, blade: u32, outage: usize) -> bool {
        self.strategy.policy.scheduled.iter().enumerate().any(|(number, look)| {
            look.technique == technique
                && self.room.state.is_due(number, outage)
                && look.hot_spots.is_empty()
                && self.covers(look, blade, outage)
        })
    }

    /// Whether a scheduled look covers a blade at the outage that is lived.
    #[inline]
    pub fn covers(&self, look: &ScheduledLook, blade: u32, outage: usize) -> bool {
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
            let is_further = |(own, of): (usize, Further)| {
                own == technique
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

    fn apply(&mut self, act: Act, outage: usize) -> ControlFlow<()> {
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
    fn may_be_damaged_at(&self, outage: usize) -> bool {
        self.strategy.policy.may_be_damaged
            && outage < self.row.nature.calendar.len()
            && self.batch.inspections.damaged.may_fall_on(self.life, outage)
    }

    /// Replaces the blades that were damaged on their way out or in, if the blades came out: not those that are new.
    #[inline(never)]
    fn damage_in_handling(&mut self, outage: usize) {
        if !self.record.work.are_blades_out(&self.strategy.work, outage) || self.record.work.has_new_row(outage) {
            return;
        }
        for index in self.batch.inspections.damaged.range_at(self.life, outage) {
            let blade = self.batch.inspections.damaged.all()[index].blade;
            if !self.room.replaced.contains(&blade) {
                self.record.work.damage(outage);
                for own in self.strategy.policy.groups.of(blade) {
                    if !self.room.replaced.contains(&own) {
                        self.record.work.replace_blades(outage, [1, 0]);
                        self.replace_blade(own, outage);
                    }
                }
            }
        }
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
        let (state, groups) = (&self.room.state, self.strategy.policy.groups);
        let words = state.words().map(|word| (word, self.room.called[word]));
        let cracked = words.flat_map(|(word, called)| numbers(word, called)).map(|number| state.blades[number]);
        let called = cracked.chain(self.room.clean_called.iter().copied());
        let mut blades: Vec<u32> = called.flat_map(|blade| groups.of(blade)).collect();
        blades.sort_unstable();
        blades.dedup();
        blades.into_iter().for_each(|blade| self.replace_and_count(blade, outage));
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
        let new = self.batch.new_blade_at(self.life, blade, generation, outage);
        self.enter(new);
    }

    fn renew_row(&mut self, year: f64, outage: usize) {
        self.clear_row(outage);
        self.room.policy.renew_row();
        let generation = self.room.state.renew_row();
        let new = self.batch.new_row(self.life, generation, year);
        self.enter(new);
    }

    /// Takes the cracks of a blade out of the row at an outage.
    #[inline(always)]
    fn clear_blade(&mut self, blade: u32, outage: usize) {
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

    /// Puts the cracks of new blades into the row.
    #[inline(always)]
    pub(super) fn enter(&mut self, new: Range<u32>) {
        let before = self.room.state.count();
        for index in new {
            self.room.state.enter(self.strategy, self.batch, index);
            self.record.cracks_left.enter(&self.batch.nature.cracks[index as usize]);
        }
        self.find_planted(before);
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

/// Numbers of the bits of a word.
#[inline(always)]
pub(super) fn numbers(word: usize, bits: u64) -> impl Iterator<Item = usize> {
    set_bits(bits).map(move |bit| word * WORD + bit)
}

/// Notes an indication, by length and depth; of equal lengths the first counts.
fn note(blades: &mut Vec<CalledBlade>, blade: u32, [length_mm, depth_mm]: [f64; 2], technique: usize) {
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
