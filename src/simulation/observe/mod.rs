//! What one life of a row under one strategy comes to: counted, priced, kept.

mod cracks_left;
mod quantity;
mod work;

pub(crate) use cracks_left::{CracksLeft, GROUP, Occupancy};
pub use quantity::Quantity;
pub(crate) use quantity::Values;
pub(crate) use work::{WorkDone, WorkPlan};

use super::plan::{RowPlan, StrategyPlan};
use crate::model::economics::Money;

/// What one life comes to; its storage is kept from life to life.
#[derive(Debug)]
pub(crate) struct LifeRecord {
    pub values: Values,
    /// Study year of each loss, from 0.
    pub loss_years: Vec<u32>,
    pub cracks_left: CracksLeft,
    pub work: WorkDone,
    money: Money,
}

impl LifeRecord {
    pub fn new(row: &RowPlan, money: &Money) -> Self {
        LifeRecord {
            values: [0.0; Quantity::ALL.len()],
            loss_years: Vec::new(),
            cracks_left: CracksLeft::new(&row.calendar),
            work: WorkDone::new(row.calendar.len()),
            money: money.clone(),
        }
    }

    /// Begins another life, with what is scheduled.
    pub fn begin(&mut self, strategy: &StrategyPlan) {
        self.values = strategy.work.scheduled_values;
        self.loss_years.clear();
        self.cracks_left.begin();
    }

    /// A blade was lost in a year, with damage of some cost.
    pub fn lose(&mut self, row: &RowPlan, year: f64, damage_cost: f64) {
        let years = year - row.start_year;
        self.values[Quantity::AnyLoss as usize] = 1.0;
        self.loss_years.push(years.max(0.0) as u32);
        let cost = damage_cost + row.forced_days * row.forced_day_cost;
        if cost != 0.0 {
            self.values[Quantity::LossCost as usize] += cost * self.money.present_value(years);
        }
        self.values[Quantity::Losses as usize] += 1.0;
        self.values[Quantity::ForcedDays as usize] += row.forced_days;
    }

    /// The whole row was replaced after a loss, during the forced outage.
    pub fn replace_row_after_loss(&mut self, row: &RowPlan, strategy: &StrategyPlan, year: f64) {
        let value = self.money.present_value(year - row.start_year);
        self.values[Quantity::RowsReplaced as usize] += 1.0;
        self.values[Quantity::ReplacementCost as usize] += value * strategy.work.new_row_cost();
    }

    /// A further look at the whole row was called for, by its number in the policy.
    pub fn look_further(&mut self, row: &RowPlan, strategy: &StrategyPlan, look: usize, outage: usize) {
        self.values[Quantity::Escalated as usize] = 1.0;
        self.work.look_further(row, &strategy.work, &strategy.policy, look, outage);
    }

    /// Prices what was done, and adds up what was in the row: cracks that entered, and others.
    pub fn settle(&mut self, row: &RowPlan, strategy: &StrategyPlan, others: &Occupancy, length_mm: &[f64]) {
        self.work.add_up(row, &strategy.work, &mut self.values);
        let sum = |from: Quantity, to: Quantity| self.values[from as usize..=to as usize].iter().sum::<f64>();
        let (cost, days) = (sum(Quantity::LookCost, Quantity::LossCost), sum(Quantity::LookDays, Quantity::ForcedDays));
        self.values[Quantity::Cost as usize] = cost;
        self.values[Quantity::Days as usize] = days;
        self.cracks_left.add_up(others, length_mm);
    }
}
