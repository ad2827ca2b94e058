//! By how much one plan may be dearer than another, where losses are rare and dear.

use super::{Comparison, Estimate};
use crate::math::normal_quantile;
use crate::model::StrategyId;
use crate::simulation::observe::Quantity;
use crate::simulation::tally::PAIRED;
use crate::statistics::interval;
use crate::statistics::selection::pairs_to_separate;

/// Where the cost stands among what is paired.
const COST: usize = 2;
const _: () = assert!(matches!(PAIRED[COST], Quantity::Cost));

impl Comparison {
    /// The most by which the cost of one plan, in the mean, may lie above that of another; wrong with this chance.
    ///
    /// A normal bound of the paired difference knows nothing of what no life has shown: a plan under which no loss has been seen
    /// yet looks cheap, and surely so. What [`Comparison::unseen`] says of the first plan, for half of the chance, is added to it.
    pub(in crate::simulation) fn most_dearer(
        &self,
        one: StrategyId,
        other: StrategyId,
        doubt: f64,
        unseen: f64,
    ) -> f64 {
        let difference = self.difference(one, other, COST).difference;
        difference.value + normal_quantile(1.0 - 0.5 * doubt) * difference.standard_error + unseen
    }

    /// How much dearer one plan is than another, and the lives that would tell the two apart.
    pub(in crate::simulation) fn cost_apart(&self, one: StrategyId, other: StrategyId) -> (Estimate, Option<u64>) {
        let difference = self.difference(one, other, COST).difference;
        let of_a_life = difference.standard_error * (self.trials() as f64).sqrt();
        (difference, pairs_to_separate(difference.value, of_a_life))
    }

    /// What may be missing from a plan's cost because it is rare: what losses beyond the normal bound of their number would cost,
    /// by a bound of rare events, and a piece of work that was never called for.
    pub(in crate::simulation) fn unseen(&self, strategy: StrategyId, doubt: f64) -> f64 {
        let costs = &self.study.costs;
        let losses = self.fleet_losses_at(strategy, 1.0 - 2.0 * doubt);
        // Not-a-number where none was seen.
        let reach = (normal_quantile(1.0 - doubt) * losses.standard_error).max(0.0);
        let most = if self.has_planted() && self.tells_all_rows(strategy) {
            losses.high
        } else {
            self.most_losses_by_plain_lives(strategy, doubt)
        };
        let excess = most - losses.value - reach;
        // Not-a-number stays one: of such a plan nothing is known, and it drops no other.
        let in_excess = if excess < 0.0 { 0.0 } else { excess };
        in_excess * costs.dearest_mean_loss() + -doubt.ln() / self.trials() as f64 * self.dearest_work(strategy)
    }

    /// Whether planted lives tell of the losses of every row.
    fn tells_all_rows(&self, strategy: StrategyId) -> bool {
        let mut got = self.study.row_ids().map(|row| self.how_got(row, strategy));
        got.all(|got| got.planted_share > 0.0 && !got.is_thin())
    }

    /// The upper end of the number of losses, by the lives with any: where there was one there may be more.
    fn most_losses_by_plain_lives(&self, strategy: StrategyId, doubt: f64) -> f64 {
        let lives = self.trials() as f64;
        let with_any = self.tally.fleet[strategy.0].sum[Quantity::AnyLoss as usize];
        let years: f64 = self.tally.fleet[strategy.0].losses.iter().sum();
        let in_each = if with_any > 0.0 { (years / with_any).max(1.0) } else { 1.0 };
        in_each * interval::exact_proportion(with_any, lives, 1.0 - 2.0 * doubt).1
    }

    /// The dearest piece of work of a plan: a rotor lifted, the blades of the largest row out, and one of them or all new.
    fn dearest_work(&self, strategy: StrategyId) -> f64 {
        let (costs, plan) = (&self.study.costs, self.study.strategy(strategy));
        if plan.looks.is_empty() && plan.row_end.is_none() && plan.peening.is_empty() {
            return 0.0;
        }
        let blades = self.study.rows.iter().map(|row| row.blades).max().unwrap_or(0);
        let out = costs.rotor_lift_cost + costs.blades_out_cost + f64::from(blades) * costs.blades_out_cost_per_blade;
        let new = if plan.replace_row_from_blades.is_some() { costs.new_row_cost } else { costs.new_blade_cost };
        out + new
    }
}

#[cfg(test)]
mod tests {
    use super::super::made::{STRATEGIES, TRIALS, all, assert_equal, comparison, fleet_values, mean};
    use super::*;

    #[test]
    fn the_most_by_which_a_plan_is_dearer_is_a_bound_of_pairs() {
        let made = comparison(TRIALS);
        for (one, other) in (0..STRATEGIES).flat_map(|one| (0..one).map(move |other| (one, other))) {
            let cost = |strategy: usize, trial: usize| fleet_values(trial, strategy)[Quantity::Cost as usize];
            let [value, standard_error] = mean(&all(|trial| cost(one, trial) - cost(other, trial)));
            let most = made.most_dearer(StrategyId(one), StrategyId(other), 0.01, 3.0);
            assert_equal(most, value + 2.575_829_303_548_901 * standard_error + 3.0);
        }
    }
}
