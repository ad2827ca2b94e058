//! Losses in service, and what they cost.

use crate::distribution::Distribution;
use crate::model::Study;
use crate::model::economics::{DayCost, Money};
use crate::random::Key;

/// Levels of what the losses of one row cost, above which lives are counted: multiples of what one loss costs in the mean.
pub(crate) const COST_LEVELS: usize = 6;
const COST_MULTIPLES: [f64; COST_LEVELS] = [0.25, 0.5, 1.0, 2.0, 4.0, 8.0];

/// The levels of a study, in its currency.
pub(crate) fn cost_levels(study: &Study) -> [f64; COST_LEVELS] {
    let mean = study.costs.mean_loss();
    COST_MULTIPLES.map(|multiple| multiple * mean)
}

/// Draws of the days of a loss lie beyond those of its damage, which go by the generation of the new blade.
pub(in crate::simulation) const DAYS_AHEAD: u64 = 1 << 62;

/// What one loss comes to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lost {
    pub cost: f64,
    pub days: f64,
}

/// What a loss costs in money and days.
#[derive(Debug, Clone)]
pub(super) struct LossPrices {
    /// Damage and repair.
    damage: Distribution,
    forced_days: Distribution,
    day_cost: DayCost,
    levels: [f64; COST_LEVELS],
    start_year: f64,
    money: Money,
}

impl LossPrices {
    pub fn new(study: &Study) -> Self {
        let costs = &study.costs;
        LossPrices {
            damage: costs.loss_cost.clone(),
            forced_days: costs.loss_days.clone(),
            day_cost: costs.outage_day_cost.clone(),
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

    /// Present value of what a loss in a year costs, and its days of forced outage, by draw `counter` of a key. The outage
    /// lasts longer by the days for which new blades are waited for.
    pub fn of_loss(&self, year: f64, (key, counter): (Key, u64), wait_days: f64) -> Lost {
        let days = drawn(&self.forced_days, key, DAYS_AHEAD + counter);
        let cost = drawn(&self.damage, key, counter) + self.day_cost.of_days(year, days + wait_days);
        Lost { cost: if cost == 0.0 { 0.0 } else { cost * self.value(year) }, days }
    }

    /// Present value of a payment in a year.
    pub fn value(&self, year: f64) -> f64 {
        self.money.present_value(self.years(year))
    }
}

/// A number that does not scatter is not drawn.
fn drawn(distribution: &Distribution, key: Key, counter: u64) -> f64 {
    distribution.fixed().unwrap_or_else(|| distribution.draw(key, counter))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by hand
    fn losses_pass_the_levels_that_they_cost_more_than() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
        let mut parts = Study::load(path).expect("a valid study").into_parts();
        // A loss costs 3000 and 50 days at 100.
        let mean = 8000.0;
        let prices = LossPrices::new(&Study::of_checked(parts.clone()));
        let passed = [0.0, 0.25, 0.26, 1.0, 1.01, 8.0, 8.01].map(|multiple| prices.levels_passed(multiple * mean));
        assert_eq!(passed, [0, 0, 1, 2, 3, 5, 6]);
        // Where losses cost nothing, none costs more than that.
        (parts.costs.loss_cost, parts.costs.loss_days) = (Distribution::Fixed(0.0), Distribution::Fixed(0.0));
        assert_eq!(LossPrices::new(&Study::of_checked(parts)).levels_passed(0.0), 0);
    }
}
