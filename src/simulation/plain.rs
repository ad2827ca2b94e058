//! A plain interpreter of a row's life, to hold the engine against: every outage, every crack, no bit sets, no
//! shortcut, no plan made beforehand.
//!
//! The cracks are the engine's own draws. Who calls them, what is done about it and what that costs is worked out here
//! from the study alone.

#[cfg(test)]
mod properties;
mod studies;

pub(super) use studies::texts;

use super::inspection::draw;
use super::nature::{Crack, Mark, purpose};
use super::observe::{Crews, DAYS_AHEAD, Job, Quantity};
use super::row_batch::RowBatch;
use crate::model::Study;
use crate::model::detection::{Access, SizeMeasure};
use crate::model::economics::DayCost;
use crate::model::fleet::Row;
use crate::model::strategy::{Action, AfterLoss, Look, RowEndAction, SisterScope, Strategy};
use crate::model::uncertain::UncertainInput;

/// What one life comes to.
#[derive(Debug, Default)]
pub(super) struct PlainLife {
    pub values: [f64; Quantity::ALL.len()],
    /// Study year of each loss, from 0.
    pub loss_years: Vec<u32>,
    /// After each outage: cracks in the row, the sum of their lengths and the longest, in mm.
    pub after_outage: Vec<[f64; 3]>,
    /// Work at each outage, without the lift of the rotor.
    pub jobs: Vec<Job>,
}

/// The only one that is drawn.
const LIFE: usize = 0;

/// A call that stands.
struct Indication {
    blade: u32,
    /// Index of the crack; none where the blade is clean.
    crack: Option<usize>,
    length_mm: f64,
    technique: usize,
}

/// The pace of one look: outages are counted from 1.
#[derive(Debug, Clone)]
struct Pace {
    next: u32,
    every: u32,
    clean: u32,
    short_until: u32,
    lost: bool,
}

impl Pace {
    fn new(look: &Look) -> Self {
        Pace { next: look.first_outage, every: look.every_outages, clean: 0, short_until: 0, lost: false }
    }

    /// The look took place at an outage.
    fn go_on(&mut self, look: &Look, number: u32, finds: bool) {
        if finds || self.lost {
            (self.every, self.clean) = (look.every_outages, 0);
            self.short_until = look.after_finds.map_or(0, |after| number + after.for_outages);
        } else {
            self.clean += 1;
            if let Some(after) = look.after_clean
                && self.clean.is_multiple_of(after.looks)
            {
                self.every = after.at_most.min(self.every + after.longer_by);
            }
        }
        self.lost = false;
        let mut wait = self.every;
        if let Some(after) = look.after_finds
            && number < self.short_until
        {
            wait = after.every_outages;
        }
        if look.skip_after_clean.is_some_and(|looks| self.clean > 0 && self.clean.is_multiple_of(looks)) {
            wait += wait;
        }
        self.next = number + wait;
    }
}

/// What is done at one outage.
#[derive(Default)]
struct Work {
    look_cost: f64,
    look_days: f64,
    blades_out: bool,
    new_blades: u32,
    new_row: bool,
}

/// A row in one life, under one strategy.
pub(super) struct PlainRow<'a, 'p> {
    study: &'a Study,
    row_index: usize,
    strategy: &'a Strategy,
    batch: &'a mut RowBatch<'p>,
    /// Number of the first outage to come.
    start: usize,
    /// Indices of the cracks in the row.
    cracks: Vec<usize>,
    row_generation: u64,
    /// New blades so far at each position, of this generation of the row.
    renewals: Vec<u64>,
    /// Blades to be looked at again at the next outage, and by which technique.
    watched: Vec<(u32, usize)>,
    /// When each look of the strategy is due next, and what it makes of finds.
    pace: Vec<Pace>,
    /// Of the outage at hand: what is done there, what stands, and which techniques looked again.
    work: Work,
    indications: Vec<Indication>,
    second_looks: Vec<usize>,
    result: PlainLife,
}

impl<'a, 'p> PlainRow<'a, 'p> {
    /// A row of which one life is drawn.
    pub fn new(study: &'a Study, row_index: usize, strategy: &'a Strategy, batch: &'a mut RowBatch<'p>) -> Self {
        PlainRow {
            cracks: (0..batch.nature.cracks.len()).collect(),
            row_generation: 0,
            renewals: vec![0; study.rows[row_index].blades as usize],
            watched: Vec::new(),
            pace: strategy.looks.iter().map(Pace::new).collect(),
            work: Work::default(),
            indications: Vec::new(),
            second_looks: Vec::new(),
            result: PlainLife {
                after_outage: vec![[0.0; 3]; batch.nature.plan.calendar.to_come()],
                jobs: vec![Job::default(); batch.nature.plan.calendar.to_come()],
                ..PlainLife::default()
            },
            start: batch.nature.plan.calendar.start,
            study,
            row_index,
            strategy,
            batch,
        }
    }

    /// Lives the row from its entry into service to the start of the study. Returns its cracks then, unless a blade was
    /// lost before.
    pub fn live_past(mut self) -> Option<Vec<Crack>> {
        self.row_generation = 1 << 31 >> 16;
        let row = self.row();
        for (outage, look) in row.past_looks.iter().enumerate() {
            if self.cracks.iter().any(|&index| self.crack(index).lost_year <= look.year) {
                return None;
            }
            let called = |crack: &&Crack| crack.is_present(outage) && self.is_called(crack, look.technique, outage);
            let mut blades: Vec<u32> =
                self.cracks.iter().map(|&index| self.crack(index)).filter(called).map(|crack| crack.blade).collect();
            blades.sort_unstable();
            blades.dedup();
            for blade in blades {
                self.remove(blade);
                let generation = self.next_generation(blade);
                let new = self.batch.new_blade_in(LIFE, blade, generation, look.year);
                self.cracks.extend(new.start as usize..new.end as usize);
            }
        }
        if self.cracks.iter().any(|&index| self.crack(index).lost_year < self.study.start_year) {
            return None;
        }
        Some(self.cracks.iter().map(|&index| self.crack(index).clone()).collect())
    }

    /// The outage at which the row ends, and how.
    fn end(&self) -> Option<(usize, RowEndAction)> {
        let end = self.strategy.row_end?;
        let outage = self.outages().iter().position(|&year| year >= end.year)?;
        Some((outage, end.then))
    }

    fn retired(&self) -> Option<usize> {
        self.end().filter(|end| end.1 == RowEndAction::Retired).map(|end| end.0)
    }

    /// The time before an outage, and the row's own looks there. The last is no outage, but the end of the study.
    fn meet(&mut self, outage: usize) {
        let years = self.outages();
        if self.retired().is_some_and(|retired| outage > retired) {
            return;
        }
        let before = if outage == 0 { f64::NEG_INFINITY } else { years[outage - 1] };
        self.lose(before, years.get(outage).copied().unwrap_or(f64::MAX));
        self.work = Work::default();
        self.indications.clear();
        self.second_looks.clear();
        if self.is_looked_at(outage) {
            self.look(outage);
        }
    }

    /// Whether anybody may look at the row at an outage.
    fn is_looked_at(&self, outage: usize) -> bool {
        let runs = self.retired().is_none_or(|retired| outage < retired);
        outage < self.outages().len() && runs && self.end().is_none_or(|end| end.0 != outage)
    }

    /// A look because of finds on a sister.
    fn look_as_sister(&mut self, technique: usize, outage: usize) {
        if self.is_looked_at(outage) && !self.second_looks.contains(&technique) {
            let mut work = std::mem::take(&mut self.work);
            self.plan_second(technique, outage, &mut work);
            self.work = work;
            let calls = self.calls(technique, outage, &|_, _| true, &|_, _| true);
            self.indications.extend(calls);
        }
    }

    /// What follows from the looks of an outage.
    fn act(&mut self, outage: usize) {
        if self.is_looked_at(outage) {
            for (pace, look) in self.pace.iter_mut().zip(&self.strategy.looks) {
                if pace.next == outage as u32 + 1 {
                    pace.go_on(look, outage as u32 + 1, !self.indications.is_empty());
                }
            }
            let (mut work, indications) = (std::mem::take(&mut self.work), std::mem::take(&mut self.indications));
            self.dispose(outage, self.retired(), indications, &mut work);
            self.pay(outage, &work);
        } else if self.end() == Some((outage, RowEndAction::NewRow)) {
            for (pace, look) in self.pace.iter_mut().zip(&self.strategy.looks) {
                if pace.next == outage as u32 + 1 {
                    *pace = Pace { next: pace.next + look.every_outages, ..Pace::new(look) };
                }
            }
            self.replace_row_at(outage);
            self.pay(outage, &Work { new_row: true, ..Work::default() });
        }
        if outage < self.outages().len() && self.retired().is_none_or(|retired| outage < retired) {
            self.count_cracks(outage);
        }
    }

    fn row(&self) -> &'a Row {
        &self.study.rows[self.row_index]
    }

    fn outages(&self) -> &'a [f64] {
        &self.study.units[self.row().unit].outages.years
    }

    fn crack(&self, index: usize) -> &Crack {
        &self.batch.nature.cracks[index]
    }

    fn add(&mut self, quantity: Quantity, amount: f64) {
        self.result.values[quantity as usize] += amount;
    }

    fn value_at(&self, year: f64) -> f64 {
        self.study.money.present_value(year - self.study.start_year)
    }

    /// Losses after one moment and not after another, in order of time.
    fn lose(&mut self, after: f64, until: f64) {
        loop {
            let lost = self.cracks.iter().map(|&index| (self.crack(index).lost_year, self.crack(index).blade));
            let lost = lost.filter(|&(year, _)| after < year && year <= until);
            let Some((year, blade)) = lost.min_by(|one, other| one.0.total_cmp(&other.0)) else { return };
            let costs = &self.study.costs;
            self.pace.iter_mut().for_each(|pace| pace.lost = true);
            let generation = self.next_generation(blade);
            let key = self.batch.loss_key(LIFE, blade);
            let damage = costs.loss_cost.draw(key, generation);
            let days = costs.loss_days.draw(key, DAYS_AHEAD + generation);
            self.result.loss_years.push((year - self.study.start_year) as u32);
            self.result.values[Quantity::AnyLoss as usize] = 1.0;
            self.add(Quantity::Losses, 1.0);
            self.add(Quantity::ForcedDays, days);
            let cost = damage + cost_of_days(&costs.outage_day_cost, year, days);
            self.add(Quantity::LossCost, cost * self.value_at(year));
            match self.strategy.after_loss {
                AfterLoss::ReplaceBlade => {
                    self.watched.retain(|watched| watched.0 != blade);
                    self.remove(blade);
                    let new = self.batch.new_blade_in(LIFE, blade, generation, year);
                    self.cracks.extend(new.start as usize..new.end as usize);
                }
                AfterLoss::ReplaceRow => {
                    self.add(Quantity::RowsReplaced, 1.0);
                    self.add(Quantity::ReplacementCost, costs.new_row_cost * self.value_at(year));
                    self.replace_row(year);
                }
            }
        }
    }

    fn next_generation(&mut self, blade: u32) -> u64 {
        self.renewals[blade as usize] += 1;
        (self.row_generation << 16) + self.renewals[blade as usize]
    }

    fn remove(&mut self, blade: u32) {
        let cracks = std::mem::take(&mut self.cracks);
        self.cracks = cracks.into_iter().filter(|&index| self.crack(index).blade != blade).collect();
    }

    fn replace_row(&mut self, year: f64) {
        self.cracks.clear();
        self.watched.clear();
        self.renewals.fill(0);
        self.row_generation += 1;
        let new = self.batch.new_row(LIFE, self.row_generation << 16, year);
        self.cracks.extend(new.start as usize..new.end as usize);
    }

    fn replace_row_at(&mut self, outage: usize) {
        self.add(Quantity::RowsReplaced, 1.0);
        self.replace_row(self.outages()[outage]);
    }

    /// Looks at one outage.
    fn look(&mut self, outage: usize) {
        let strategy = self.strategy;
        let mut work = Work::default();
        let mut indications = Vec::new();
        let mut calling = vec![false; strategy.looks.len()];
        for (index, look) in strategy.looks.iter().enumerate().filter(|(_, look)| self.is_due(look, outage)) {
            for &technique in &look.techniques {
                let covers_blade = |row: &Self, blade| row.covers(look, index, blade, outage);
                let covers_spot = |row: &Self, crack: &Crack| row.covers_spot(look, crack);
                let calls = self.calls(technique, outage, &covers_blade, &covers_spot);
                calling[index] |= !calls.is_empty();
                if look.escalation.as_ref().is_none_or(|after| after.first_call_stands) {
                    indications.extend(calls);
                }
            }
        }
        self.add(Quantity::OutagesWithCalls, f64::from(u8::from(calling.contains(&true))));
        // In the order in which the strategy names them.
        let mut second_looks: Vec<usize> = Vec::new();
        for technique in strategy.looks.iter().flat_map(escalations) {
            let leads_here = |look: &Look| escalations(look).any(|other| other == technique);
            let is_called_for = strategy.looks.iter().zip(&calling).any(|(look, calls)| *calls && leads_here(look));
            if is_called_for && !second_looks.contains(&technique) {
                second_looks.push(technique);
            }
        }
        self.plan_scheduled(outage, &mut work);
        self.look_at_watched(outage, &second_looks, &mut work, &mut indications);
        for &technique in &second_looks {
            self.result.values[Quantity::Escalated as usize] = 1.0;
            self.plan_second(technique, outage, &mut work);
            indications.extend(self.calls(technique, outage, &|_, _| true, &|_, _| true));
        }
        (self.work, self.indications, self.second_looks) = (work, indications, second_looks);
    }

    fn is_due(&self, look: &Look, outage: usize) -> bool {
        let index =
            self.strategy.looks.iter().position(|other| std::ptr::eq(other, look)).expect("one of the strategy's");
        self.pace[index].next == outage as u32 + 1
            && look.coverage.rows.as_ref().is_none_or(|rows| rows.contains(&self.row_index))
    }

    fn covers(&self, look: &Look, index: usize, blade: u32, outage: usize) -> bool {
        self.batch.coverage_draw(LIFE, blade, index, self.start + outage) < look.coverage.blade_fraction
    }

    fn covers_spot(&self, look: &Look, crack: &Crack) -> bool {
        let spot = &self.study.roots[self.row().root].hot_spots[crack.hot_spot()];
        look.coverage.hot_spots.as_ref().is_none_or(|names| names.contains(&spot.id))
    }

    /// Calls by a technique at an outage: cracks in place that it calls, and clean blades.
    fn calls(
        &self,
        technique: usize,
        outage: usize,
        covers_blade: &dyn Fn(&Self, u32) -> bool,
        covers_spot: &dyn Fn(&Self, &Crack) -> bool,
    ) -> Vec<Indication> {
        let mut calls = Vec::new();
        for &index in &self.cracks {
            let crack = self.crack(index);
            if self.is_there(crack, outage)
                && covers_blade(self, crack.blade)
                && covers_spot(self, crack)
                && self.is_called(crack, technique, self.start + outage)
            {
                let length_mm =
                    self.batch.inspections.measured_mm(&self.batch.nature, crack, technique, self.start + outage);
                calls.push(Indication { blade: crack.blade, crack: Some(index), length_mm, technique });
            }
        }
        let false_calls = self.batch.inspections.false_calls(technique).of(LIFE).iter();
        for call in false_calls.filter(|call| call.outage as usize == self.start + outage) {
            let blade = call.blade;
            let has_begun = |crack: &Crack| crack.first as usize <= self.start + outage;
            let is_cracked = |&index: &usize| self.crack(index).blade == blade && has_begun(self.crack(index));
            if covers_blade(self, blade) && !self.cracks.iter().any(is_cracked) {
                let length_mm = self.batch.inspections.false_length_mm(
                    &self.batch.nature,
                    LIFE,
                    blade,
                    technique,
                    self.start + outage,
                );
                calls.push(Indication { blade, crack: None, length_mm, technique });
            }
        }
        calls
    }

    /// What is uncertain of a technique, in this life.
    fn uncertain_shift(&self, technique: usize) -> f64 {
        let values = &self.batch.nature.lives[LIFE].uncertain;
        let inputs = self.study.uncertain.iter().zip(values);
        let of_technique = inputs.filter(|(input, _)| input.factor_on.contains(&UncertainInput::Q50(technique)));
        of_technique.map(|(input, value)| input.sigma_log * value).sum()
    }

    fn is_there(&self, crack: &Crack, outage: usize) -> bool {
        crack.is_present(self.start + outage)
    }

    /// One draw against the probability of detection, at an outage of the calendar.
    fn is_called(&self, crack: &Crack, index: usize, outage: usize) -> bool {
        let (call, effect) = match outage.checked_sub(self.start) {
            Some(to_come) => (draw::CALL + to_come as u64, to_come as u64),
            None => (draw::PAST_CALL + outage as u64, draw::PAST_CALL + outage as u64),
        };
        let technique = &self.study.techniques[index];
        let [depth_mm, length_mm] = self.batch.nature.size_mm(crack, outage);
        let size_mm = match technique.pod.size {
            SizeMeasure::Length => length_mm,
            SizeMeasure::Depth => depth_mm,
            SizeMeasure::GeometricMean => (depth_mm * length_mm).sqrt(),
        };
        let inspection = self.batch.nature.lives[LIFE].key.child(purpose::INSPECTION).named(&technique.id);
        let kept = self.study.techniques.iter().zip(&self.study.persistence.factor[index]);
        let kept =
            kept.map(|(source, weight)| weight * crack.key.named(&source.id).normal(draw::PERSISTENT)).sum::<f64>();
        let shift = technique.grade_shift_log
            + technique.surface_shift_log[self.row().surface]
            + technique.inspection_sigma * inspection.normal(effect)
            + self.uncertain_shift(index)
            + technique.crack_sigma * kept;
        let mut pod = technique.pod.at(((size_mm / technique.pod.q50_mm).ln() - shift) / technique.pod.spread);
        if let Some(gate) = technique.depth_gate {
            pod *= technique.pod.shape.at((depth_mm / gate.q50_mm).ln() / gate.spread);
        }
        if self.batch.nature.mouth_is_closed(crack, outage) {
            pod *= technique.closed_mouth_factor;
        }
        crack.key.named(&technique.id).uniform(call) < pod
    }

    /// The fractions of the row's blades that a technique's scheduled looks cover at an outage; `whole` leaves out those
    /// that keep to some hot spots.
    fn fractions(&self, technique: usize, outage: usize, whole: bool) -> Vec<f64> {
        let due = self.strategy.looks.iter().filter(|look| self.is_due(look, outage));
        let due = due.filter(|look| look.techniques.contains(&technique));
        let due = due.filter(|look| !whole || look.coverage.hot_spots.is_none());
        due.map(|look| look.coverage.blade_fraction).collect()
    }

    fn plan_scheduled(&self, outage: usize, work: &mut Work) {
        for (index, technique) in self.study.techniques.iter().enumerate() {
            let fractions = self.fractions(index, outage, false);
            if !fractions.is_empty() {
                let unseen: f64 = fractions.iter().map(|fraction| 1.0 - fraction).product();
                let blades = f64::from(self.row().blades) * (1.0 - unseen);
                work.look_cost += technique.cost_per_row + technique.cost_per_blade * blades;
                work.look_days += technique.days_per_row;
                work.blades_out |= technique.access == Access::BladesOut;
            }
        }
    }

    fn plan_second(&self, index: usize, outage: usize, work: &mut Work) {
        let technique = &self.study.techniques[index];
        let blades = f64::from(self.row().blades);
        if self.fractions(index, outage, false).is_empty() {
            work.look_cost += technique.cost_per_row + technique.cost_per_blade * blades;
            work.look_days += technique.days_per_row;
        } else {
            let whole = self.fractions(index, outage, true);
            let unseen: f64 = whole.iter().map(|fraction| 1.0 - fraction).product();
            work.look_cost += technique.cost_per_blade * blades * unseen;
        }
        work.blades_out |= technique.access == Access::BladesOut;
    }

    fn look_at_watched(
        &mut self,
        outage: usize,
        second_looks: &[usize],
        work: &mut Work,
        indications: &mut Vec<Indication>,
    ) {
        let mut watched = std::mem::take(&mut self.watched);
        watched.retain(|&(blade, technique)| {
            let mut looks = self.strategy.looks.iter().enumerate().filter(|(_, look)| self.is_due(look, outage));
            let is_seen = looks.any(|(index, look)| {
                look.techniques.contains(&technique)
                    && look.coverage.hot_spots.is_none()
                    && self.covers(look, index, blade, outage)
            });
            !is_seen && !second_looks.contains(&technique)
        });
        for (index, technique) in self.study.techniques.iter().enumerate() {
            let blades: Vec<u32> =
                watched.iter().filter(|watched| watched.1 == index).map(|watched| watched.0).collect();
            if blades.is_empty() {
                continue;
            }
            let stated = self.strategy.watch;
            let per_blade = stated.and_then(|watch| watch.cost_per_blade).unwrap_or(technique.cost_per_blade);
            work.look_cost += per_blade * blades.len() as f64;
            if self.fractions(index, outage, false).is_empty() {
                work.look_cost += stated.and_then(|watch| watch.cost_per_row).unwrap_or(technique.cost_per_row);
                work.look_days += stated.and_then(|watch| watch.days_per_row).unwrap_or(technique.days_per_row);
            }
            work.blades_out |= technique.access == Access::BladesOut;
            indications.extend(self.calls(index, outage, &|_, blade| blades.contains(&blade), &|_, _| true));
        }
    }

    /// What happens to the blades with indications.
    fn dispose(&mut self, outage: usize, retired: Option<usize>, indications: Vec<Indication>, work: &mut Work) {
        let mut found: Vec<usize> = indications.iter().filter_map(|indication| indication.crack).collect();
        found.sort_unstable();
        found.dedup();
        self.add(Quantity::CracksFound, found.len() as f64);
        let mut blades: Vec<u32> = indications.iter().map(|indication| indication.blade).collect();
        blades.sort_unstable();
        blades.dedup();
        let longest = |blade: u32| {
            let own = indications.iter().filter(|indication| indication.blade == blade);
            // The first of equal ones.
            own.reduce(|longest, other| if other.length_mm > longest.length_mm { other } else { longest })
                .expect("a blade with an indication")
        };
        let action = |blade: u32| {
            let length_mm = longest(blade).length_mm;
            let rule = self.strategy.dispositions.iter().find(|rule| length_mm < rule.below_mm);
            rule.map_or(Action::Replace, |rule| rule.action)
        };
        let actions: Vec<Action> = blades.iter().map(|&blade| action(blade)).collect();
        let most = self.strategy.replace_row_from_blades.unwrap_or(u32::MAX);
        if actions.contains(&Action::ReplaceRow) || blades.len() >= most as usize {
            work.new_row = true;
            self.replace_row_at(outage);
            return;
        }
        for (&blade, action) in blades.iter().zip(&actions) {
            if *action == Action::Watch {
                let next = outage + 1;
                if next < self.outages().len() && retired != Some(next) {
                    let technique = self.strategy.watch.map_or(longest(blade).technique, |watch| watch.technique);
                    self.watched.push((blade, technique));
                }
                continue;
            }
            let is_cracked = indications.iter().any(|call| call.blade == blade && call.crack.is_some());
            work.new_blades += 1;
            self.add(Quantity::BladesReplaced, 1.0);
            self.add(Quantity::FalselyReplaced, f64::from(u8::from(!is_cracked)));
            self.remove(blade);
            let generation = self.next_generation(blade);
            let new = self.batch.new_blade_at(LIFE, blade, generation, self.start + outage);
            self.cracks.extend(new.start as usize..new.end as usize);
        }
    }

    fn pay(&mut self, outage: usize, work: &Work) {
        let costs = &self.study.costs;
        let value = self.value_at(self.outages()[outage]);
        let out = f64::from(u8::from(work.blades_out || work.new_row));
        let (mut new_cost, mut new_days) =
            (f64::from(work.new_blades) * costs.new_blade_cost, f64::from(work.new_blades) * costs.new_blade_days);
        if work.new_row {
            (new_cost, new_days) = (costs.new_row_cost, costs.new_row_days);
        }
        let days = work.look_days + out * costs.blades_out_days + new_days;
        self.result.jobs[outage] = Job { days, blades_out: out > 0.0 };
        self.add(Quantity::TimesOut, out);
        self.add(Quantity::LookCost, value * work.look_cost);
        self.add(Quantity::BladesOutCost, value * out * costs.blades_out_cost);
        self.add(Quantity::ReplacementCost, value * new_cost);
        self.add(Quantity::LookDays, work.look_days);
        self.add(Quantity::BladesOutDays, out * costs.blades_out_days);
        self.add(Quantity::ReplacementDays, new_days);
    }

    fn count_cracks(&mut self, outage: usize) {
        let there = self.cracks.iter().filter(|&&index| self.is_there(self.crack(index), outage));
        let lengths: Vec<f64> =
            there.map(|&index| self.batch.nature.size_mm(self.crack(index), self.start + outage)[1]).collect();
        let longest = lengths.iter().copied().fold(0.0, f64::max);
        self.result.after_outage[outage] = [lengths.len() as f64, lengths.iter().sum(), longest];
    }
}

/// Lives the rows of a unit to the end of the study.
pub(super) fn live_unit(study: &Study, mut rows: Vec<PlainRow>) -> Vec<PlainLife> {
    let marks: Vec<Mark> = rows.iter().map(|row| row.batch.mark()).collect();
    for outage in 0..=rows[0].outages().len() {
        rows.iter_mut().for_each(|row| row.meet(outage));
        let finds: Vec<bool> = rows.iter().map(|row| !row.indications.is_empty()).collect();
        if let Some(sisters) = &rows[0].strategy.sister_rows {
            for place in 0..rows.len() {
                let is_sister = |other: usize| {
                    other != place
                        && (sisters.of == SisterScope::Unit || rows[other].row().rotor == rows[place].row().rotor)
                };
                if (0..rows.len()).any(|other| is_sister(other) && finds[other]) {
                    sisters.techniques.iter().for_each(|&technique| rows[place].look_as_sister(technique, outage));
                }
            }
        }
        rows.iter_mut().for_each(|row| row.act(outage));
    }
    let indices: Vec<usize> = rows.iter().map(|row| row.row_index).collect();
    let settle = |(row, mark): (PlainRow, Mark)| {
        row.batch.release(mark);
        row.result
    };
    let mut lives: Vec<PlainLife> = rows.into_iter().zip(marks).map(settle).collect();
    share_outages(study, &indices, &mut lives);
    lives
}

/// What the rows of a unit share: lifts of rotors, and the days beyond the window. Then costs and days are summed up.
fn share_outages(study: &Study, rows: &[usize], lives: &mut [PlainLife]) {
    let unit = &study.units[study.rows[rows[0]].unit];
    let costs = &study.costs;
    let rotor = |row: &usize| {
        let alike = |other: &usize| study.rows[*other].rotor == study.rows[*row].rotor;
        rows.iter().position(alike).expect("the row itself")
    };
    let crews = Crews {
        count: unit.crews.map_or(rows.len(), |crews| crews as usize),
        window_days: unit.outages.window_days,
        lift_days: costs.rotor_lift_days,
        rotors: rows.iter().map(rotor).collect(),
    };
    for (outage, year) in unit.outages.years.iter().enumerate() {
        let value = study.money.present_value(year - study.start_year);
        let jobs: Vec<Job> = lives.iter().map(|life| life.jobs[outage]).collect();
        let mut beyond = vec![0.0; rows.len()];
        crews.split_days_beyond(&jobs, &mut beyond);
        let all_beyond: f64 = beyond.iter().sum();
        let cost_beyond = cost_of_days(&costs.outage_day_cost, year + crews.window_days / 365.25, all_beyond);
        for (place, life) in lives.iter_mut().enumerate() {
            let alike =
                (0..rows.len()).filter(|&other| jobs[other].blades_out && crews.rotors[other] == crews.rotors[place]);
            let lift = if jobs[place].blades_out { 1.0 / alike.count() as f64 } else { 0.0 };
            life.values[Quantity::DaysBeyondWindow as usize] += beyond[place];
            if all_beyond > 0.0 {
                life.values[Quantity::ExtraDayCost as usize] += value * cost_beyond * beyond[place] / all_beyond;
            }
            life.values[Quantity::BladesOutCost as usize] += value * lift * costs.rotor_lift_cost;
            life.values[Quantity::BladesOutDays as usize] += lift * costs.rotor_lift_days;
        }
    }
    for life in lives {
        let sum = |from: Quantity, to: Quantity| life.values[from as usize..=to as usize].iter().sum::<f64>();
        let (cost, days) = (sum(Quantity::LookCost, Quantity::LossCost), sum(Quantity::LookDays, Quantity::ForcedDays));
        life.values[Quantity::Cost as usize] = cost;
        life.values[Quantity::Days as usize] = days;
    }
}

/// Cost of some days from a moment on, month by month.
fn cost_of_days(cost: &DayCost, year: f64, days: f64) -> f64 {
    let seasons = match cost {
        DayCost::Same(cost) => return cost * days,
        DayCost::Seasons(seasons) => seasons.all(),
    };
    let (mut month, mut left) = ((year - year.floor()) * 12.0, days * 12.0 / 365.25);
    let mut cost = 0.0;
    while left > 0.0 {
        let number = month.floor() as u32 % 12 + 1;
        let begun = seasons.iter().rfind(|season| season.from_month <= number);
        let season = begun.or(seasons.last()).expect("a season");
        let step = left.min(month.floor() + 1.0 - month);
        cost += step * 365.25 / 12.0 * season.cost;
        (month, left) = (month.floor() + 1.0, left - step);
    }
    cost
}

/// Techniques that an indication by a look leads to.
fn escalations(look: &Look) -> impl Iterator<Item = usize> + '_ {
    look.escalation.iter().flat_map(|escalation| escalation.techniques.iter().copied())
}

#[cfg(test)]
mod tests {
    use super::super::life::UnitLives;
    use super::super::observe::{CracksLeft, LifeRecord};
    use super::super::plan::{RowPlan, UnitPlan};
    use super::*;
    use crate::random::Key;
    use proptest::prelude::*;
    use proptest::test_runner::{RngSeed, TestRunner};

    /// Both add the same numbers, in another order.
    const ROUNDING: f64 = 1e-9;

    fn agree(one: f64, other: f64) -> bool {
        (one - other).abs() <= ROUNDING * (1.0 + one.abs().max(other.abs()))
    }

    /// Draws one life up to the start of the study: returns the attempts that it took.
    fn begin_plainly(study: &Study, row_index: usize, batch: &mut RowBatch, key: Key) -> u64 {
        batch.begin(std::iter::once(key));
        for attempt in 0.. {
            if attempt > 0 {
                batch.nature.try_again(0, attempt);
            }
            batch.nature.keep(&[]);
            batch.draw(&[0]);
            if let Some(cracks) = PlainRow::new(study, row_index, &study.strategies[0], batch).live_past() {
                batch.nature.keep(&cracks);
                batch.draw_shared();
                return attempt + 1;
            }
        }
        unreachable!("attempts never end")
    }

    /// Lives a study in both ways. Returns how often each quantity was above zero.
    fn hold_against(study: &Study, lives: u64, seed: u64) -> Result<[u64; Quantity::ALL.len()], String> {
        let mut seen = [0; Quantity::ALL.len()];
        let plans = RowPlan::all(study).map_err(|error| error.to_string())?;
        for unit in &UnitPlan::all(study, &plans) {
            let keys = |row: usize| {
                let key = Key::from_seed(seed).child(plans[row].nature.name);
                (0..lives).map(|trial| key.child(trial)).collect::<Vec<Key>>()
            };
            let mut engine = UnitLives::new(study, &plans, unit);
            let begin = |(place, row): (usize, &usize)| engine.begin(place, keys(*row).into_iter());
            let attempts: Vec<Option<u64>> = unit.rows.iter().enumerate().map(begin).collect();
            if attempts.contains(&None) {
                continue;
            }
            let mut plain_attempts = vec![0; unit.rows.len()];
            let batch = |row: &usize| RowBatch::new(&plans[*row].nature, &plans[*row].inspection);
            let mut batches: Vec<RowBatch> = unit.rows.iter().map(batch).collect();
            for life in 0..lives as usize {
                for (place, (&row, batch)) in unit.rows.iter().zip(&mut batches).enumerate() {
                    plain_attempts[place] += begin_plainly(study, row, batch, keys(row)[life]);
                }
                for (index, strategy) in study.strategies.iter().enumerate() {
                    let rows = unit.rows.iter().zip(&mut batches);
                    let rows = rows.map(|(&row, batch)| PlainRow::new(study, row, strategy, batch));
                    let plain = live_unit(study, rows.collect());
                    let records = engine.follow(life, index);
                    for ((record, plain), &row) in records.iter().zip(&plain).zip(&unit.rows) {
                        let about = format!("row {}, strategy {}, life {life}", study.rows[row].id, strategy.id);
                        compare(record, plain, &mut seen).map_err(|fault| format!("{about}: {fault}"))?;
                    }
                }
            }
            if attempts.iter().zip(&plain_attempts).any(|(one, other)| *one != Some(*other)) {
                return Err(format!("attempts {attempts:?}, plainly {plain_attempts:?}"));
            }
        }
        Ok(seen)
    }

    fn compare(record: &LifeRecord, plain: &PlainLife, seen: &mut [u64]) -> Result<(), String> {
        for quantity in Quantity::ALL {
            let [one, other] = [record.values[quantity as usize], plain.values[quantity as usize]];
            if !agree(one, other) {
                return Err(format!("{} {one}, plainly {other}", quantity.name()));
            }
            seen[quantity as usize] += u64::from(one > 0.0);
        }
        let [mut one, mut other] = [record.loss_years.clone(), plain.loss_years.clone()];
        one.sort_unstable();
        other.sort_unstable();
        if one != other {
            return Err(format!("losses in years {one:?}, plainly {other:?}"));
        }
        let CracksLeft { cracks, total_mm, longest_mm, .. } = &record.cracks_left;
        let counted = cracks.as_flattened().iter().zip(total_mm.as_flattened()).zip(longest_mm.as_flattened());
        for (outage, (((cracks, total), longest), plain)) in counted.zip(&plain.after_outage).enumerate() {
            let one = [*cracks, *total, *longest];
            if !one.iter().zip(plain).all(|(one, other)| agree(*one, *other)) {
                return Err(format!("after outage {outage} {one:?}, plainly {plain:?}"));
            }
        }
        Ok(())
    }

    #[test]
    fn the_engine_lives_the_studies_at_hand_as_the_plain_interpreter_does() {
        for text in [
            include_str!("../../tests/engine/data/y2.toml"),
            include_str!("../../tests/engine/data/everything_on.toml"),
            include_str!("../../demo-data/demo-study.toml"),
            include_str!("../../demo-data/reference-study.toml"),
        ] {
            let study = Study::parse(text, "study").expect("a good study");
            hold_against(&study, 40, 11).unwrap_or_else(|fault| panic!("{}: {fault}", study.name));
        }
    }

    /// Random studies over all rules. The seed is fixed, so that a failure comes again.
    #[test]
    fn the_engine_lives_random_studies_as_the_plain_interpreter_does() {
        let config = ProptestConfig {
            cases: 600,
            failure_persistence: None,
            rng_seed: RngSeed::Fixed(16),
            ..ProptestConfig::default()
        };
        let seen = std::cell::RefCell::new([0; Quantity::ALL.len()]);
        TestRunner::new(config)
            .run(&(studies::texts(), any::<u64>()), |(text, seed)| {
                let study = Study::parse(&text, "random").map_err(|error| TestCaseError::fail(error.to_string()))?;
                let counts =
                    hold_against(&study, 6, seed).map_err(|fault| TestCaseError::fail(fault + "\n" + &text))?;
                seen.borrow_mut().iter_mut().zip(counts).for_each(|(seen, count)| *seen += count);
                Ok(())
            })
            .unwrap_or_else(|fault| panic!("{fault}"));
        // Each rule has fired often.
        for (quantity, count) in Quantity::ALL.iter().zip(seen.into_inner()) {
            assert!(count > 300, "{} was above zero in only {count} lives", quantity.name());
        }
    }
}
