//! Lives of all rows of a unit, which share its outages.

use super::Lives;
use super::planted::{LossCounts, PlantedFate};
use super::row_state::WINDOW;
use crate::model::Study;
use crate::simulation::nature::{IntegrationCounts, LifeKey, Mark, Planted};
use crate::simulation::observe::{LifeRecord, UnitBuffers};
use crate::simulation::plan::{RowPlan, UnitPlan};
use crate::simulation::policy::Harm;
use std::ops::ControlFlow;

/// Lives of the rows of one unit; keeps its storage from life to life.
#[derive(Debug)]
pub(crate) struct UnitLives<'p> {
    unit: &'p UnitPlan,
    rows: Vec<Lives<'p>>,
    records: Vec<LifeRecord>,
    buffers: UnitBuffers,
    // Of rows that are lived together.
    marks: Vec<Mark>,
    are_over: Vec<bool>,
    visited: Vec<bool>,
    finds: Vec<bool>,
}

impl<'p> UnitLives<'p> {
    pub fn new(study: &'p Study, plans: &'p [RowPlan], unit: &'p UnitPlan) -> Self {
        let plans = || unit.rows.iter().map(|&row| &plans[row]);
        UnitLives {
            unit,
            rows: plans().map(|plan| Lives::new(plan, study)).collect(),
            records: plans().map(|plan| LifeRecord::new(study, &plan.nature.calendar)).collect(),
            buffers: UnitBuffers::default(),
            marks: Vec::new(),
            are_over: Vec::new(),
            visited: Vec::new(),
            finds: Vec::new(),
        }
    }

    /// Draws lives of one of its rows, by place; see [`Lives::begin`].
    pub fn begin<K: Into<LifeKey>>(&mut self, place: usize, keys: impl ExactSizeIterator<Item = K>) -> Option<u64> {
        self.rows[place].begin(keys)
    }

    /// Draws lives of one of its rows, by place, with a crack planted in each, and no other if they are alone; and plain
    /// ones of the other rows, where a strategy lives them together.
    pub fn begin_planted(
        &mut self,
        place: usize,
        keys: impl Fn(usize) -> Vec<LifeKey>,
        planted: Vec<Planted>,
        are_alone: bool,
    ) -> std::result::Result<(), usize> {
        if self.rows[place].lives_with_others() {
            for other in (0..self.rows.len()).filter(|other| *other != place) {
                self.rows[other].begin(keys(other).into_iter()).ok_or(other)?;
            }
        }
        self.rows[place].begin_planted(keys(place).into_iter(), planted, are_alone);
        Ok(())
    }

    /// One of these lives goes on under one strategy: what became of the planted crack, if it was lost.
    pub fn follow_planted(&mut self, place: usize, life: usize, strategy: usize) -> Option<PlantedFate> {
        if !self.rows[place].came_through(life, strategy) {
            return None;
        }
        let standing = *self.rows[place].standing(life, strategy);
        let together = self.rows[place].policy(strategy).lives_with_others;
        if together {
            self.follow_together(life, strategy);
        } else {
            self.rows[place].follow(life, strategy, &mut self.records[place]);
        }
        let lost = self.rows[place].planted_loss(life, strategy);
        *self.rows[place].standing(life, strategy) = standing;
        let (loss, weight) = lost?;
        let counts = |row: usize| LossCounts::of(&self.records[row].loss_years, loss.year);
        let of_row = counts(place);
        let others = (0..self.rows.len()).filter(|other| together && *other != place);
        let of_group = others.map(counts).fold(of_row, LossCounts::and);
        Some(PlantedFate { loss, weight, of_row, of_group, levels_passed: self.records[place].levels_passed() })
    }

    /// One of its rows, by place.
    pub fn row(&mut self, place: usize) -> &mut Lives<'p> {
        &mut self.rows[place]
    }

    /// One of the lives goes on under one strategy: what each row comes to.
    pub fn follow(&mut self, life: usize, strategy: usize) -> &mut [LifeRecord] {
        if self.rows[0].policy(strategy).lives_with_others {
            self.follow_together(life, strategy);
        } else {
            for (row, record) in self.rows.iter_mut().zip(&mut self.records) {
                row.follow(life, strategy, record);
            }
        }
        self.unit.work[strategy].settle(&mut self.records, &mut self.buffers);
        &mut self.records
    }

    /// All rows, outage by outage, where finds on one send people to others.
    fn follow_together(&mut self, life: usize, strategy: usize) {
        let mut marks = std::mem::take(&mut self.marks);
        marks.clear();
        for (row, record) in self.rows.iter_mut().zip(&mut self.records) {
            let own = row.under(strategy);
            marks.push(own.begin_life(life, strategy, record));
            own.life(life, strategy, record).begin();
        }
        self.are_over.clear();
        self.are_over.resize(self.rows.len(), false);
        let outages = self.rows[0].calendar().to_come();
        for window in (0..=outages).step_by(WINDOW) {
            for (row, record) in self.rows.iter_mut().zip(&mut self.records) {
                let start = row.calendar().start;
                row.under(strategy).life(life, strategy, record).open_window(start + window);
            }
            while let Some(outage) = self.next_outage(strategy) {
                self.live_outage(life, strategy, outage);
            }
        }
        for ((row, record), mark) in self.rows.iter_mut().zip(&mut self.records).zip(&marks) {
            row.under(strategy).end_life(life, strategy, record, *mark);
        }
        self.marks = marks;
    }

    /// The next outage to come at which anything is due on any row that runs.
    fn next_outage(&mut self, strategy: usize) -> Option<usize> {
        let rows = self.rows.iter_mut().zip(&self.are_over).filter(|(_, is_over)| !**is_over);
        let next =
            rows.filter_map(|(row, _)| Some(row.under(strategy).room.state.next_outage()? - row.calendar().start));
        next.min().filter(|outage| *outage <= self.rows[0].calendar().to_come())
    }

    /// An outage, and the time before it: first all rows' own looks, then those at their sisters, then what follows.
    fn live_outage(&mut self, life: usize, strategy: usize, outage: usize) {
        let count = self.rows.len();
        self.lose_before(life, strategy, outage);
        self.visited.clear();
        for place in 0..count {
            let at = self.rows[place].calendar().start + outage;
            let met = !self.are_over[place] && {
                let mut own = self.rows[place].under(strategy).life(life, strategy, &mut self.records[place]);
                // No life ends by a loss in the study.
                own.meet(at) == ControlFlow::Continue(true)
            };
            self.visited.push(met);
        }
        self.finds.clear();
        for place in 0..count {
            self.finds.push(self.visited[place] && self.rows[place].under(strategy).room.findings.any);
        }
        for place in 0..count {
            let Some(sisters) = &self.rows[place].row.strategies[strategy].policy.sisters else { continue };
            let rotors = &self.unit.rotors;
            let is_sister = |other: &usize| *other != place && sisters.are(rotors[*other], rotors[place]);
            if self.are_over[place] || !(0..count).filter(is_sister).any(|other| self.finds[other]) {
                continue;
            }
            let at = self.rows[place].calendar().start + outage;
            for &technique in &sisters.techniques {
                let mut own = self.rows[place].under(strategy).life(life, strategy, &mut self.records[place]);
                own.look_as_sister(technique, at, self.visited[place]);
                self.visited[place] = true;
            }
        }
        for place in 0..count {
            if self.visited[place] {
                let at = self.rows[place].calendar().start + outage;
                let mut own = self.rows[place].under(strategy).life(life, strategy, &mut self.records[place]);
                self.are_over[place] = own.act(at).is_break();
            }
        }
    }

    /// Losses of all rows before an outage, in order of time, where one may wreck other rows.
    fn lose_before(&mut self, life: usize, strategy: usize, outage: usize) {
        let may_wreck = |row: &Lives| row.policy(strategy).consequences.rotor_wrecked_probability > 0.0;
        if !self.rows.iter().any(may_wreck) {
            return;
        }
        loop {
            let mut earliest: Option<(f64, usize)> = None;
            for place in 0..self.rows.len() {
                let at = self.rows[place].calendar().start + outage;
                let own = self.rows[place].under(strategy).life(life, strategy, &mut self.records[place]);
                if let Some((_, year)) = own.next_loss(at)
                    && !self.are_over[place]
                    && earliest.is_none_or(|(before, _)| year < before)
                {
                    earliest = Some((year, place));
                }
            }
            let Some((year, place)) = earliest else { return };
            let at = self.rows[place].calendar().start + outage;
            let mut own = self.rows[place].under(strategy).life(life, strategy, &mut self.records[place]);
            if own.lose_next(at) != Some(Harm::Rotor) {
                continue;
            }
            let rotors = &self.unit.rotors;
            for other in (0..self.rows.len()).filter(|&other| other != place && rotors[other] == rotors[place]) {
                if !self.are_over[other] {
                    let at = self.rows[other].calendar().start + outage;
                    self.rows[other].under(strategy).life(life, strategy, &mut self.records[other]).wreck(year, at);
                }
            }
        }
    }

    /// What happened to the cracks of each row since this was last asked.
    pub fn take_counts(&mut self) -> impl Iterator<Item = IntegrationCounts> + '_ {
        self.rows.iter_mut().map(Lives::take_counts)
    }
}
