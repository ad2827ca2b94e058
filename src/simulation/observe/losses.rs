//! Losses in service, and what they cost.

use crate::distribution::Distribution;
use crate::model::Study;
use crate::model::economics::Money;
use crate::random::Key;

/// What a loss costs in money and days.
#[derive(Debug, Clone)]
pub(super) struct LossPrices {
    /// Damage and repair.
    damage: Distribution,
    pub forced_days: f64,
    forced_cost: f64,
    start_year: f64,
    money: Money,
}

impl LossPrices {
    pub fn new(study: &Study) -> Self {
        let costs = &study.costs;
        LossPrices {
            damage: costs.loss_cost.clone(),
            forced_days: costs.loss_days,
            forced_cost: costs.loss_days * costs.outage_day_cost,
            start_year: study.start_year,
            money: study.money.clone(),
        }
    }

    /// Years from the start of the study on.
    pub fn years(&self, year: f64) -> f64 {
        year - self.start_year
    }

    /// Present value of what a loss in a year costs, by draw `counter` of a key.
    pub fn cost(&self, year: f64, key: Key, counter: u64) -> f64 {
        let damage = match self.damage.fixed() {
            Some(cost) => cost,
            None => self.damage.draw(key, counter),
        };
        let cost = damage + self.forced_cost;
        if cost == 0.0 { 0.0 } else { cost * self.value(year) }
    }

    /// Present value of a payment in a year.
    pub fn value(&self, year: f64) -> f64 {
        self.money.present_value(self.years(year))
    }
}
