//! Losses in service, and what they cost.

use crate::distribution::Distribution;
use crate::model::Study;
use crate::model::economics::Money;
use crate::random::Key;

/// Levels of what the losses of one row cost, above which lives are counted: multiples of what one loss costs in the mean.
pub(crate) const COST_LEVELS: usize = 6;
const COST_MULTIPLES: [f64; COST_LEVELS] = [0.25, 0.5, 1.0, 2.0, 4.0, 8.0];

/// The levels of a study, in its currency.
pub(crate) fn cost_levels(study: &Study) -> [f64; COST_LEVELS] {
    let costs = &study.costs;
    let mean = costs.loss_cost.mean() + costs.loss_days * costs.outage_day_cost;
    COST_MULTIPLES.map(|multiple| multiple * mean)
}

/// What a loss costs in money and days.
#[derive(Debug, Clone)]
pub(super) struct LossPrices {
    /// Damage and repair.
    damage: Distribution,
    pub forced_days: f64,
    forced_cost: f64,
    levels: [f64; COST_LEVELS],
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
            levels: cost_levels(study),
            start_year: study.start_year,
            money: study.money.clone(),
        }
    }

    /// How many of the levels a cost is above.
    pub fn levels_passed(&self, cost: f64) -> usize {
        self.levels.iter().take_while(|level| cost > **level).count()
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
