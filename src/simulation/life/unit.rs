//! Lives of all rows of a unit, which share its outages.

use super::Lives;
use crate::model::Study;
use crate::random::Key;
use crate::simulation::nature::IntegrationCounts;
use crate::simulation::observe::{LifeRecord, UnitBuffers};
use crate::simulation::plan::{RowPlan, UnitPlan};

/// Lives of the rows of one unit; keeps its storage from life to life.
#[derive(Debug)]
pub(crate) struct UnitLives<'p> {
    unit: &'p UnitPlan,
    rows: Vec<Lives<'p>>,
    records: Vec<LifeRecord>,
    buffers: UnitBuffers,
}

impl<'p> UnitLives<'p> {
    pub fn new(study: &'p Study, plans: &'p [RowPlan], unit: &'p UnitPlan) -> Self {
        let plans = || unit.rows.iter().map(|&row| &plans[row]);
        UnitLives {
            unit,
            rows: plans().map(|plan| Lives::new(plan, study)).collect(),
            records: plans().map(|plan| LifeRecord::new(study, &plan.nature.calendar)).collect(),
            buffers: UnitBuffers::default(),
        }
    }

    /// Draws lives of one of its rows, by place; see [`Lives::begin`].
    pub fn begin(&mut self, place: usize, keys: impl ExactSizeIterator<Item = Key>) -> Option<u64> {
        self.rows[place].begin(keys)
    }

    /// One of the lives goes on under one strategy: what each row comes to.
    pub fn follow(&mut self, life: usize, strategy: usize) -> &mut [LifeRecord] {
        for (row, record) in self.rows.iter_mut().zip(&mut self.records) {
            row.follow(life, strategy, record);
        }
        self.unit.work[strategy].settle(&mut self.records, &mut self.buffers);
        &mut self.records
    }

    /// What happened to the cracks of each row since this was last asked.
    pub fn take_counts(&mut self) -> impl Iterator<Item = IntegrationCounts> + '_ {
        self.rows.iter_mut().map(Lives::take_counts)
    }
}
