//! A planted crack in a life of its row: its looks are weights, and only where its blade may stay in spite of a call are
//! they drawn.
//!
//! An answer that takes the blade out ends what is counted. So it is not drawn: the weight of the life is multiplied by the
//! chance of the other one. A rule of a policy needs nothing here but [`Policy::stays_if_called`]: whatever that guesses
//! short of 0, the weights make up for it.
//!
//! [`Policy::stays_if_called`]: crate::simulation::policy::Policy::stays_if_called

use super::Lives;
use super::follow::Life;
use super::looks::Whom;
use super::row_state::RowState;
use crate::simulation::nature::{Crack, LifeKey, Planted, Standing};
use crate::simulation::plan::StrategyPlan;
use crate::simulation::policy::ScheduledLook;
use crate::simulation::row_batch::RowBatch;

/// The loss of the blade in which a crack was planted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PlantedLoss {
    /// Study year, from 0.
    pub year: u32,
    /// Present value of what it costs.
    pub cost: f64,
}

/// The planted crack of a life in its row.
#[derive(Debug, Default)]
pub(super) struct PlantedInRow {
    /// Its numbers in the row: those of cracks that carry its key, one after another where it joins.
    numbers: Vec<usize>,
    /// For each technique and outage what it answers, and the factor on the weight if that is asked for.
    answers: Vec<Answer>,
    /// For each technique the outage at which it was last asked.
    asked: Vec<usize>,
    pub lost: Option<PlantedLoss>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Answer {
    is_call: bool,
    factor: f64,
    /// Chance that it calls the crack, and that the blade stays if it does.
    pod: f64,
    stays: f64,
    /// Whether the technique may look at the crack at all.
    may_be_asked: bool,
}

/// Guess how often a look on one surface does not cover a blade that another look does.
const SHARE_IF_NOT_COVERED: f64 = 0.25;

impl PlantedInRow {
    pub fn begin(&mut self) {
        self.numbers.clear();
        self.asked.clear();
        self.lost = None;
    }

    /// Whether it is in the row, or was.
    pub fn is_known(&self) -> bool {
        !self.numbers.is_empty()
    }

    /// Whether it has a number in the row.
    pub fn is(&self, number: usize) -> bool {
        self.numbers.contains(&number)
    }

    /// Has what was worked out for it stand in the row that looks at other outages now.
    pub fn look_ahead(&self, state: &mut RowState, batch: &RowBatch, strategy: &StrategyPlan) {
        for &number in &self.numbers {
            if state.is_alive(number) {
                self.stand(number, state, batch, strategy);
            }
        }
    }

    /// Has what was worked out for a number of it stand in the row.
    fn stand(&self, number: usize, state: &mut RowState, batch: &RowBatch, strategy: &StrategyPlan) {
        let crack = &batch.nature.cracks[state.cracks[number] as usize];
        let outages = batch.nature.plan.calendar.len();
        let is_call = |technique: usize, outage: usize| self.answers[technique * outages + outage].is_call;
        state.plant(number, crack, &strategy.techniques, is_call);
    }

    /// Works out the answers of all techniques for a crack.
    fn work_out(&mut self, batch: &RowBatch, strategy: &StrategyPlan, index: u32, from: usize) {
        let crack = &batch.nature.cracks[index as usize];
        for outage in (crack.first as usize).max(from)..crack.last as usize {
            // Where a blade may run on for want of a spare or of time, they are worked out anew when it is known what is there.
            self.work_out_at(batch, strategy, crack, outage, 0.0);
        }
    }

    /// The same at one outage, where a called blade that should be replaced runs on with a chance.
    fn work_out_at(&mut self, batch: &RowBatch, strategy: &StrategyPlan, crack: &Crack, outage: usize, runs_on: f64) {
        let outages = batch.nature.plan.calendar.len();
        let persistent = &batch.nature.planted[crack.life as usize].numbers.persistent;
        self.answers.resize(batch.inspections.plan.techniques.len() * outages, Answer::default());
        self.asked.resize(batch.inspections.plan.techniques.len(), usize::MAX);
        let miss = |technique: usize| 1.0 - batch.inspections.pod(&batch.nature, crack, technique, outage, persistent);
        for &technique in &strategy.techniques {
            let measured = || {
                let (inspections, nature) = (&batch.inspections, &batch.nature);
                let length_mm = inspections.measured_mm(nature, crack, technique, outage);
                [length_mm, inspections.measured_depth_mm(nature, crack, technique, outage)]
            };
            let stays = strategy.policy.stays_if_called(technique, outage, miss, measured, runs_on);
            let own = miss(technique);
            let may_be_asked = strategy.policy.may_look(technique, outage, crack.hot_spot());
            // As probable as the crack is to stay: with an answer, and in all.
            let in_all = own + (1.0 - own) * stays;
            let is_call =
                batch.inspections.call_draw(&batch.nature, crack, technique, outage) * in_all < (1.0 - own) * stays;
            let factor = if is_call { in_all / stays } else { in_all };
            self.answers[technique * outages + outage] =
                Answer { is_call, factor, pod: 1.0 - own, stays, may_be_asked };
        }
        for surfaces in &strategy.on_several_surfaces {
            let u = batch.inspections.call_draw(&batch.nature, crack, surfaces[0], outage);
            self.answer_together(surfaces, outages, outage, u);
        }
    }

    /// Answers of one technique on several surfaces, of which one draw tells: with each part of the draw's range as probable
    /// as the crack is to stay there.
    fn answer_together(&mut self, surfaces: &[usize], outages: usize, outage: usize, u: f64) {
        let at = |technique: &usize| technique * outages + outage;
        let ranges = self.ranges(surfaces, outages, outage);
        let wanted = u * ranges.iter().map(|range| range.chance * range.stays).sum::<f64>();
        let mut passed = 0.0;
        let drawn = ranges.iter().find(|range| {
            passed += range.chance * range.stays;
            wanted < passed
        });
        // By the last, no surface has the crack called.
        let below = drawn.map_or(f64::INFINITY, |range| range.end);
        surfaces
            .iter()
            .for_each(|technique| self.answers[at(technique)].is_call = self.answers[at(technique)].pod >= below);
    }

    /// The parts of the range of a draw that tells of a technique on several surfaces, between their chances of a call.
    fn ranges(&self, surfaces: &[usize], outages: usize, outage: usize) -> Vec<DrawRange> {
        let answers = || surfaces.iter().map(|technique| self.answers[technique * outages + outage]);
        let mut ends: Vec<f64> = answers().map(|answer| answer.pod).collect();
        ends.sort_by(f64::total_cmp);
        ends.push(1.0);
        let mut begin = 0.0;
        let range = |(number, end): (usize, f64)| {
            let chance = end - std::mem::replace(&mut begin, end);
            let calls = |answer: &Answer| number < surfaces.len() && answer.may_be_asked && answer.pod >= end;
            let calling = || answers().filter(calls);
            let least = calling().map(|answer| answer.stays).fold(1.0, f64::min);
            // A look on one of the surfaces may not cover the blade: then it stays as it may by the others.
            let most = calling().map(|answer| answer.stays).fold(0.0, f64::max);
            let stays = least.max(SHARE_IF_NOT_COVERED * most);
            let end = if number < surfaces.len() { end } else { f64::INFINITY };
            DrawRange { end, chance, stays }
        };
        ends.into_iter().enumerate().map(range).collect()
    }

    /// How much more probable the answers on some of the surfaces are than they were drawn.
    fn ratio(&self, surfaces: &[usize], asked: &[usize], outages: usize, outage: usize) -> f64 {
        let answer = |technique: &usize| self.answers[technique * outages + outage];
        let agrees = |range: &&DrawRange| {
            asked.iter().all(|technique| answer(technique).is_call == (answer(technique).pod >= range.end))
        };
        let ranges = self.ranges(surfaces, outages, outage);
        let in_all: f64 = ranges.iter().map(|range| range.chance * range.stays).sum();
        let true_chance: f64 = ranges.iter().filter(agrees).map(|range| range.chance).sum();
        let drawn: f64 = ranges.iter().filter(agrees).map(|range| range.chance * range.stays).sum();
        if true_chance > 0.0 && in_all > 0.0 { true_chance * in_all / drawn } else { 0.0 }
    }

    /// The factor on the weight of what a technique answers at an outage, given what it answered there on other surfaces.
    fn factor(&self, technique: usize, outages: usize, outage: usize, surfaces: Option<&Vec<usize>>) -> f64 {
        let Some(surfaces) = surfaces else { return self.answers[technique * outages + outage].factor };
        let mut asked: Vec<usize> =
            surfaces.iter().copied().filter(|&other| other != technique && self.asked[other] == outage).collect();
        let before = self.ratio(surfaces, &asked, outages, outage);
        asked.push(technique);
        if before > 0.0 { self.ratio(surfaces, &asked, outages, outage) / before } else { 0.0 }
    }
}

/// A part of the range of a draw.
#[derive(Debug, Clone, Copy)]
struct DrawRange {
    /// Where it ends: surfaces with a chance of a call from there on have the crack called. Infinite for the last.
    end: f64,
    /// Its length, and the chance that the blade stays there.
    chance: f64,
    stays: f64,
}

impl Life<'_, '_> {
    /// Finds the planted crack among those that entered the row, from a number on.
    #[inline(always)]
    pub fn find_planted(&mut self, from: usize) {
        if !self.batch.nature.planted.is_empty() {
            self.enter_planted(from);
        }
    }

    #[inline(never)]
    fn enter_planted(&mut self, from: usize) {
        let state = &mut self.room.state;
        for number in from..state.count() {
            if self.batch.nature.is_planted(state.cracks[number]) {
                // The past has no rule that asks for lengths.
                let first = if self.strategy.policy.asks_for_blades { self.row.nature.calendar.start } else { 0 };
                self.room.planted.work_out(self.batch, self.strategy, state.cracks[number], first);
                self.room.planted.numbers.push(number);
                self.room.planted.stand(number, state, self.batch, self.strategy);
            }
        }
    }

    /// Works out what is answered at an outage anew, now that it is known what spares are there, and time for how many.
    #[inline(never)]
    pub fn foresee_running_on(&mut self, outage: usize) {
        let policy = &self.strategy.policy;
        if !policy.may_run_on() {
            return;
        }
        let (year, time_for) = (self.year_of(outage), self.time_for_new_blades(outage));
        for index in 0..self.room.planted.numbers.len() {
            let number = self.room.planted.numbers[index];
            let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
            if !self.room.state.is_alive(number) || !crack.is_present(outage) {
                continue;
            }
            let runs_on = policy.guessed_chance_to_run_on(self.stocks, crack.blade, year, time_for);
            self.room.planted.work_out_at(self.batch, self.strategy, crack, outage, runs_on);
            let outages = self.row.nature.calendar.len();
            for &technique in &self.strategy.techniques {
                let is_call = self.room.planted.answers[technique * outages + outage].is_call;
                self.room.state.set_call(number, technique, outage, is_call);
            }
        }
    }

    /// A technique looks at the planted crack at an outage, if it is there and the look covers it: the life's weight is
    /// multiplied by what its answer is worth, once an outage.
    #[inline(always)]
    pub fn look_at_planted(&mut self, technique: usize, outage: usize, look: Option<&ScheduledLook>, whom: Whom) {
        if !self.room.planted.numbers.is_empty() {
            self.weigh_look(technique, outage, look, whom);
        }
    }

    #[inline(never)]
    fn weigh_look(&mut self, technique: usize, outage: usize, look: Option<&ScheduledLook>, whom: Whom) {
        let surfaces = self.strategy.on_several_surfaces.iter().find(|surfaces| surfaces.contains(&technique));
        for index in 0..self.room.planted.numbers.len() {
            let (state, number) = (&self.room.state, self.room.planted.numbers[index]);
            let crack = &self.batch.nature.cracks[state.cracks[number] as usize];
            let is_there = state.is_alive(number) && crack.is_present(outage);
            let is_covered = |look: &ScheduledLook| {
                (look.hot_spots.is_empty() || look.hot_spots[crack.hot_spot()])
                    && self.covers(look, crack.blade, outage)
            };
            if is_there
                && whom.includes(crack.blade)
                && look.is_none_or(is_covered)
                && self.room.planted.asked[technique] != outage
            {
                let outages = self.row.nature.calendar.len();
                let factor = self.room.planted.factor(technique, outages, outage, surfaces);
                self.room.planted.asked[technique] = outage;
                self.batch.nature.planted[self.life].standing.factor *= factor;
            }
        }
    }

    /// Whether a crack is planted in this life that was not lost and never will be.
    #[inline(always)]
    pub fn can_no_longer_be_lost(&self) -> bool {
        !self.batch.nature.planted.is_empty() && self.is_planted_gone()
    }

    #[inline(never)]
    fn is_planted_gone(&self) -> bool {
        let planted = &self.batch.nature.planted[self.life];
        let dresses = self.strategy.policy.dressing.is_some();
        let ends_in_loss = |number: &usize| {
            let crack = &self.batch.nature.cracks[self.room.state.cracks[*number] as usize];
            // Where the crack that it would join is ground out, it goes on by itself.
            let may_go_on = || dresses && self.row.nature.hot_spots[crack.hot_spot()].joins();
            self.room.state.is_alive(*number) && (crack.ends_in_loss() || may_go_on())
        };
        self.room.planted.lost.is_none()
            && planted.standing.births > planted.generation
            && !self.room.planted.numbers.iter().any(ends_in_loss)
    }
}

/// What became of a planted crack that was lost.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PlantedFate {
    pub loss: PlantedLoss,
    /// Weight of the life.
    pub weight: f64,
    /// Losses of the row in this life; of those that were lived together, those of its unit, and those of all.
    pub of_row: LossCounts,
    pub of_unit: LossCounts,
    pub of_group: LossCounts,
    /// How many levels the losses of the row cost more than.
    pub levels_passed: usize,
}

/// Numbers of losses: in all, in the year of one of them, and in years before it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LossCounts {
    pub all: u32,
    pub same_year: u32,
    pub before: u32,
}

impl LossCounts {
    /// Of losses in some years, about one in a given year.
    pub(super) fn of(years: &[u32], year: u32) -> Self {
        let count = |is: fn(&u32, &u32) -> bool| years.iter().filter(|other| is(other, &year)).count() as u32;
        LossCounts { all: years.len() as u32, same_year: count(u32::eq), before: count(u32::lt) }
    }

    pub(super) fn and(self, other: Self) -> Self {
        LossCounts {
            all: self.all + other.all,
            same_year: self.same_year + other.same_year,
            before: self.before + other.before,
        }
    }
}

impl Lives<'_> {
    /// As [`Lives::begin`], with a crack planted in each life. A life that loses a blade before the study is not drawn again:
    /// nothing of it counts.
    pub fn begin_planted(
        &mut self,
        keys: impl ExactSizeIterator<Item = LifeKey>,
        planted: Vec<Planted>,
        are_alone: bool,
    ) {
        let keys: Vec<LifeKey> = keys.collect();
        for variant in &mut self.variants {
            variant.begin_planted(keys.iter().copied(), planted.clone(), are_alone);
        }
        self.batch.begin(keys.into_iter());
        self.batch.nature.only_planted = are_alone;
        self.batch.nature.plant(planted);
        self.live_planted_past();
        self.prepare();
    }

    /// How near cracks that are planted in some lives come to a loss, alone in their rows, under the strategy that lets them come
    /// nearest: one that is planted by its share of the cracks that begin in the study may begin sooner where fewer do; see
    /// [`Nature::planted_alone`](crate::simulation::nature::Nature::planted_alone).
    pub fn try_alone(&mut self, keys: impl ExactSizeIterator<Item = LifeKey>, planted: &[Planted]) -> Vec<Option<f64>> {
        let keys: Vec<LifeKey> = keys.collect();
        let mut nearest = self.try_own_alone(&keys, planted);
        for variant in &mut self.variants {
            for (nearest, other) in nearest.iter_mut().zip(variant.try_own_alone(&keys, planted)) {
                *nearest = nearest.zip(other).map(|(one, other)| one.max(other));
            }
        }
        nearest
    }

    fn try_own_alone(&mut self, keys: &[LifeKey], planted: &[Planted]) -> Vec<Option<f64>> {
        self.batch.begin(keys.iter().copied());
        self.batch.nature.plant(planted.iter().cloned());
        self.batch.nature.planted_alone()
    }

    /// Whether a life came to the start of the study, with its planted crack as it begins under a strategy.
    pub fn came_through(&mut self, life: usize, strategy: usize) -> bool {
        self.under(strategy).came_through[life]
    }

    /// Where the planted crack of a life stands under a strategy; and to put it back there.
    pub fn standing(&mut self, life: usize, strategy: usize) -> &mut Standing {
        &mut self.under(strategy).batch.nature.planted[life].standing
    }

    /// The loss of the blade in which a crack was planted, in the life that was just lived under a strategy, and the weight
    /// of that.
    pub fn planted_loss(&mut self, life: usize, strategy: usize) -> Option<(PlantedLoss, f64)> {
        let own = self.under(strategy);
        own.own_planted_loss(life)
    }

    fn own_planted_loss(&self, life: usize) -> Option<(PlantedLoss, f64)> {
        self.room.planted.lost.map(|loss| (loss, self.batch.nature.planted[life].total_weight()))
    }
}
