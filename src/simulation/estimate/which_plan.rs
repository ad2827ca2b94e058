//! Which plan to take: chances to be best, ties, and plans that another one beats on every measure.

use super::limits::Verdict;
use super::{Comparison, Estimate};
use crate::error::Result;
use crate::math::{normal_cdf, normal_quantile};
use crate::model::StrategyId;
use crate::simulation::observe::Quantity;
use crate::simulation::tally::PAIRED;
use crate::statistics::selection::{chances_to_be_smallest, pairs_to_separate};
use nalgebra::DMatrix;

/// What plans are weighed by: risk, cost and time.
pub const MEASURES: [Quantity; 3] = [Quantity::AnyLoss, Quantity::Cost, Quantity::Days];

/// Confidence from which on two plans count as told apart, or one as beaten.
const SURE: f64 = 0.95;

/// What a comparison says of which plan to take.
///
/// All chances are of the error of the lives alone: they take the study's inputs, and draws from records, as they stand.
#[derive(Debug, Clone, PartialEq)]
pub struct WhichPlan {
    /// The plans, in the study's order.
    pub plans: Vec<Standing>,
    /// On each of [`MEASURES`] the smallest plan, and those that the lives do not tell apart from it.
    pub ties: Vec<Tie>,
    /// The cheapest plan of those that meet the study's limits, with the chance that it is, if it is known. None where no plan is
    /// known to meet them, or there are none: then cost alone decides nothing.
    pub cheapest: Option<(StrategyId, Option<f64>)>,
}

/// One plan among the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The plan.
    pub strategy: StrategyId,
    /// Its measures over the fleet and the horizon.
    pub measures: [Estimate; MEASURES.len()],
    /// Chance that it has the smallest of each; none where nothing is known of how far the lives scatter, as of one life.
    pub chances_to_be_best: [Option<f64>; MEASURES.len()],
    /// Whether it meets the study's limits, if there are any.
    pub limits: Option<Verdict>,
    /// A plan that is no worse on any measure and better on one, as far as the lives say, with the confidence that it is no
    /// worse on any; the surest of several. Plans without one are the frontier.
    pub beaten_by: Option<(StrategyId, f64)>,
    /// What each loss costs that it avoids beside the baseline, or saves where it has more of them, and the ends of its 95 %
    /// interval; none where the lives do not tell both money and losses from the baseline's, or where it has less of both or
    /// more of both.
    pub cost_of_each_loss_avoided: Option<[f64; 3]>,
}

impl Standing {
    /// Whether another plan surely is no worse on any measure.
    pub fn is_surely_beaten(&self) -> bool {
        self.beaten_by.is_some_and(|(_, confidence)| confidence >= SURE)
    }
}

/// Two plans that the lives do not tell apart on a measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Tie {
    /// The measure.
    pub quantity: Quantity,
    /// The plan with the smallest estimate.
    pub first: StrategyId,
    /// The other one.
    pub other: StrategyId,
    /// Other minus first.
    pub difference: Estimate,
    /// Trials that would tell them apart, were the difference what it is estimated to be, with planted lives in proportion;
    /// none where it is nothing, or not known.
    pub trials_needed: Option<u64>,
    /// Whether it never happened under either: then they are not alike, but both below the bound of each.
    pub is_unseen: bool,
}

impl Comparison {
    /// Which plan to take, by risk, cost and days.
    ///
    /// # Errors
    /// None for a comparison that was simulated; a tally whose sums are no numbers is refused.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::Run;
    ///
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let comparison = study.simulate(&Run { trials: 200, seed: 1, ..Run::default() })?;
    /// let which = comparison.which_plan()?;
    /// assert_eq!(which.plans.len(), study.strategies.len());
    /// // The cheapest of all is beaten by none.
    /// assert!(which.plans.iter().any(|plan| plan.beaten_by.is_none()));
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn which_plan(&self) -> Result<WhichPlan> {
        let all: Vec<StrategyId> = self.study.strategy_ids().collect();
        let chances: Vec<Option<Vec<f64>>> =
            MEASURES.iter().map(|quantity| self.chances_to_be_best(&all, *quantity)).collect::<Result<_>>()?;
        let standing = |&strategy: &StrategyId| Standing {
            strategy,
            measures: MEASURES.map(|quantity| self.fleet(strategy, quantity)),
            chances_to_be_best: std::array::from_fn(|measure| {
                chances[measure].as_ref().map(|chances| chances[strategy.0])
            }),
            limits: self.meets_limits(strategy),
            beaten_by: self.beaten_by(strategy, &all),
            cost_of_each_loss_avoided: (strategy != self.study.baseline)
                .then(|| self.cost_of_each_loss_avoided(strategy, self.study.baseline))
                .flatten(),
        };
        let plans: Vec<Standing> = all.iter().map(standing).collect();
        let meeting: Vec<StrategyId> =
            plans.iter().filter(|plan| plan.limits == Some(Verdict::Meets)).map(|plan| plan.strategy).collect();
        let cost = |strategy: &StrategyId| self.fleet(*strategy, Quantity::Cost).value;
        let cheapest = match meeting.iter().min_by(|one, other| cost(one).total_cmp(&cost(other))) {
            Some(&cheapest) => {
                let place = meeting.iter().position(|other| *other == cheapest).unwrap_or(0);
                Some((cheapest, self.chances_to_be_best(&meeting, Quantity::Cost)?.map(|chances| chances[place])))
            }
            None => None,
        };
        Ok(WhichPlan {
            plans,
            ties: MEASURES.iter().flat_map(|quantity| self.ties(&all, *quantity)).collect(),
            cheapest,
        })
    }

    /// Chance that each of some plans has the smallest of a quantity, by the error of paired differences; none where an error is
    /// not known.
    fn chances_to_be_best(&self, plans: &[StrategyId], quantity: Quantity) -> Result<Option<Vec<f64>>> {
        let means: Vec<f64> = plans.iter().map(|plan| self.fleet(*plan, quantity).value).collect();
        let variances = DMatrix::from_fn(plans.len(), plans.len(), |one, other| {
            if one == other { 0.0 } else { self.paired(plans[one], plans[other], quantity).standard_error.powi(2) }
        });
        if variances.iter().any(|variance| !variance.is_finite()) {
            return Ok(None);
        }
        chances_to_be_smallest(&means, &variances).map(Some)
    }

    /// The paired difference of two plans.
    fn paired(&self, strategy: StrategyId, other: StrategyId, quantity: Quantity) -> Estimate {
        let index = PAIRED.iter().position(|paired| *paired == quantity).unwrap_or(0);
        self.difference(strategy, other, index).difference
    }

    fn beaten_by(&self, plan: StrategyId, all: &[StrategyId]) -> Option<(StrategyId, f64)> {
        let others = all.iter().filter(|other| **other != plan).filter_map(|&other| {
            let differences = MEASURES.map(|quantity| self.paired(plan, other, quantity));
            let is_beaten = differences.iter().all(|difference| difference.value >= 0.0)
                && differences.iter().any(|difference| difference.value > 0.0);
            // Bonferroni's bound: the chances that the other is worse on one of them add up.
            let doubts = MEASURES.iter().zip(&differences).map(|(quantity, difference)| {
                if self.is_unseen(plan, other, *quantity) { 0.5 } else { chance_below_zero(difference) }
            });
            let doubt: f64 = doubts.sum();
            is_beaten.then_some((other, (1.0 - doubt).max(0.0)))
        });
        others.max_by(|one, other| one.1.total_cmp(&other.1))
    }

    /// By Bonferroni's bound: the differences of cost and of losses lie in their intervals together with 95 %, so their ratio
    /// does between the least and the most of these.
    fn cost_of_each_loss_avoided(&self, plan: StrategyId, baseline: StrategyId) -> Option<[f64; 3]> {
        let of = |quantity: Quantity, sign: f64| {
            let difference = self.paired(plan, baseline, quantity);
            let half = normal_quantile(1.0 - 0.25 * (1.0 - SURE)) * difference.standard_error;
            [-half, 0.0, half].map(|off| sign * difference.value + off)
        };
        // A plan with more losses that is cheaper is the baseline's avoiding them, dearer.
        let is_safer = of(Quantity::Losses, -1.0)[1] > 0.0;
        let sign = if is_safer { 1.0 } else { -1.0 };
        let ([cost_low, cost, cost_high], [low, avoided, high]) =
            (of(Quantity::Cost, sign), of(Quantity::Losses, -sign));
        // Not-a-number, where nobody knows the error, is not above 0.
        (cost_low > 0.0 && low > 0.0).then(|| [cost / avoided, cost_low / high, cost_high / low])
    }

    /// Whether something was never seen under either of two plans, so that only a bound is known of both.
    fn is_unseen(&self, one: StrategyId, other: StrategyId, quantity: Quantity) -> bool {
        quantity.is_probability() && [one, other].iter().all(|plan| self.fleet(*plan, quantity).value == 0.0)
    }

    fn ties(&self, plans: &[StrategyId], quantity: Quantity) -> Vec<Tie> {
        let value = |plan: &StrategyId| self.fleet(*plan, quantity).value;
        let Some(&first) = plans.iter().min_by(|one, other| value(one).total_cmp(&value(other))) else {
            return Vec::new();
        };
        let lives = self.trials() as f64;
        let tie = |&other: &StrategyId| {
            let difference = self.paired(other, first, quantity);
            let is_tied = !(difference.low > 0.0);
            is_tied.then(|| Tie {
                quantity,
                first,
                other,
                difference,
                trials_needed: pairs_to_separate(difference.value, difference.standard_error * lives.sqrt()),
                is_unseen: self.is_unseen(first, other, quantity),
            })
        };
        plans.iter().filter(|other| **other != first).filter_map(tie).collect()
    }
}

/// Chance that a difference lies below 0, by its error; none where it is the same in every life, a half where nobody knows.
fn chance_below_zero(difference: &Estimate) -> f64 {
    if difference.standard_error > 0.0 {
        normal_cdf(-difference.value / difference.standard_error)
    } else if difference.standard_error == 0.0 {
        0.0
    } else {
        0.5
    }
}

#[cfg(test)]
mod tests {
    use super::super::made::{self, fleet_values};
    use super::*;

    /// Mean and standard error of a paired difference, life by life.
    fn by_hand(one: usize, other: usize, quantity: Quantity) -> [f64; 2] {
        let lives = made::TRIALS as f64;
        let differences: Vec<f64> = (0..made::TRIALS)
            .map(|trial| fleet_values(trial, one)[quantity as usize] - fleet_values(trial, other)[quantity as usize])
            .collect();
        let mean = differences.iter().sum::<f64>() / lives;
        let square: f64 = differences.iter().map(|difference| (difference - mean).powi(2)).sum();
        [mean, (square / (lives - 1.0) / lives).sqrt()]
    }

    #[test]
    fn ties_are_differences_that_the_lives_leave_open() {
        let made = made::comparison(made::TRIALS);
        let mean = |plan: usize, quantity: Quantity| -> f64 {
            (0..made::TRIALS).map(|trial| fleet_values(trial, plan)[quantity as usize]).sum()
        };
        let pairs = (0..made::STRATEGIES).flat_map(|other| (0..other).map(move |one| [one, other]));
        let mut told = [0, 0];
        for (quantity, pair) in
            MEASURES.into_iter().flat_map(|quantity| pairs.clone().map(move |pair| (quantity, pair)))
        {
            let [first, other] =
                if mean(pair[1], quantity) < mean(pair[0], quantity) { [pair[1], pair[0]] } else { pair };
            let [difference, error] = by_hand(other, first, quantity);
            let ties = made.ties(&pair.map(StrategyId), quantity);
            let is_tied = difference <= normal_quantile(0.975) * error;
            assert_eq!(ties.len(), usize::from(is_tied), "{quantity:?}, {pair:?}");
            told[usize::from(is_tied)] += 1;
            let Some(tie) = ties.first() else { continue };
            assert_eq!([tie.first.0, tie.other.0], [first, other]);
            assert!((tie.difference.value - difference).abs() < 1e-12);
            let needed = made::TRIALS as f64 * (normal_quantile(0.975) * error / difference).powi(2);
            assert_eq!(tie.trials_needed, needed.is_finite().then_some(needed.ceil() as u64));
        }
        assert!(told[0] > 10 && told[1] > 10, "{told:?} told apart, and not");
        let which = made.which_plan().expect("an answer");
        assert!(which.ties.iter().any(|tie| tie.quantity == Quantity::Days && tie.trials_needed.is_none()));
    }

    #[test]
    fn a_plan_is_beaten_where_another_is_no_worse_on_any_measure() {
        let made = made::comparison(made::TRIALS);
        let which = made.which_plan().expect("an answer");
        let mut beaten = 0;
        for plan in &which.plans {
            let differences = |other: usize| MEASURES.map(|quantity| by_hand(plan.strategy.0, other, quantity));
            let beats = |other: &usize| {
                *other != plan.strategy.0
                    && differences(*other).iter().all(|difference| difference[0] >= 0.0)
                    && differences(*other).iter().any(|difference| difference[0] > 0.0)
            };
            let by: Vec<usize> = (0..made::STRATEGIES).filter(beats).collect();
            assert_eq!(plan.beaten_by.is_some(), !by.is_empty(), "{:?}", plan.strategy);
            let Some((other, confidence)) = plan.beaten_by else { continue };
            assert!(by.contains(&other.0));
            let doubt: f64 = differences(other.0)
                .iter()
                .map(|[mean, error]| if *error > 0.0 { normal_cdf(-mean / error) } else { 0.0 })
                .sum();
            assert!((confidence - (1.0 - doubt).max(0.0)).abs() < 1e-12);
            assert_eq!(plan.is_surely_beaten(), confidence >= 0.95);
            beaten += 1;
        }
        assert!((1..made::STRATEGIES).contains(&beaten), "{beaten} beaten");
        // The plan that never loses a blade has the smallest risk, and nobody beats it.
        assert!(which.plans[5].beaten_by.is_none() && which.plans[5].chances_to_be_best[0] > Some(0.9));
        for measure in 0..MEASURES.len() {
            let sum: f64 = which.plans.iter().map(|plan| plan.chances_to_be_best[measure].expect("known")).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{sum}");
        }
        // The first two have equally many days in every life: nothing tells them apart.
        assert_eq!(which.plans[0].chances_to_be_best[2], Some(0.5));
        assert_eq!(which.plans[1].chances_to_be_best[2], Some(0.5));
    }

    #[test] // by hand
    fn a_loss_avoided_costs_what_both_differences_leave_open() {
        let text =
            include_str!("../../../tests/engine/data/y1c.toml").replace("blades_out_cost = 0", "blades_out_cost = 5");
        let study = crate::Study::parse(&text, "y1c").expect("a good study");
        let run = crate::simulation::Run { trials: 400, seed: 3, ..Default::default() };
        let (made, lived) = (made::comparison(made::TRIALS), study.simulate(&run).expect("lives"));
        let pairs = (0..made::STRATEGIES).flat_map(|plan| (0..made::STRATEGIES).map(move |other| [plan, other]));
        let pairs: Vec<[usize; 2]> = pairs.filter(|[plan, other]| plan != other).collect();
        // Both differences scatter in lives; those made by hand hold the paired ones against the textbook.
        let of_lived = |plan: usize, other: usize, quantity: Quantity| {
            let difference = lived.paired(StrategyId(plan), StrategyId(other), quantity);
            [difference.value, difference.standard_error]
        };
        let mut told = [0; 2];
        for (which, comparison, plans) in [(0, &made, made::STRATEGIES), (1, &lived, study.strategies.len())] {
            for &[plan, other] in pairs.iter().filter(|pair| pair.iter().all(|plan| *plan < plans)) {
                let of = |quantity| {
                    if which == 0 { by_hand(plan, other, quantity) } else { of_lived(plan, other, quantity) }
                };
                // Each with 97.5 %: from a table of the normal distribution.
                let ends =
                    |[mean, error]: [f64; 2]| [-1.0, 1.0].map(|sign| mean.abs() + sign * 2.241_402_727_6 * error);
                let (cost, losses) = (of(Quantity::Cost), of(Quantity::Losses));
                let ([cost_low, cost_high], [losses_low, losses_high]) = (ends(cost), ends(losses));
                let is_trade = cost[0] * losses[0] < 0.0 && cost_low > 0.0 && losses_low > 0.0;
                let found = comparison.cost_of_each_loss_avoided(StrategyId(plan), StrategyId(other));
                assert_eq!(found.is_some(), is_trade, "{plan} beside {other}");
                let Some(found) = found else { continue };
                let expected = [(cost[0] / losses[0]).abs(), cost_low / losses_high, cost_high / losses_low];
                assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9 * b), "{found:?} {expected:?}");
                told[which] += 1;
            }
        }
        assert!(told.iter().all(|told| (2..pairs.len() / 2).contains(told)), "{told:?} told");
        let which = lived.which_plan().expect("an answer");
        assert_eq!(which.plans[study.baseline.0].cost_of_each_loss_avoided, None);
        let told = which.plans.iter().filter(|plan| plan.cost_of_each_loss_avoided.is_some());
        assert!(told.count() > 0);
    }

    #[test]
    fn the_cheapest_is_one_that_meets_the_limits() {
        let text = include_str!("../../../demo-data/reference-study.toml");
        let strict = |limit: &str| {
            let text = text
                .replace("row_loss_probability_per_year = 0.02", &format!("row_loss_probability_per_year = {limit}"))
                .replace("unit_loss_probability_per_year = 0.03\n", "")
                .replace("fleet_loss_probability_per_year = 0.05\n", "");
            let study = crate::Study::parse(&text, "study").expect("a good study");
            let run = crate::simulation::Run { trials: 400, seed: 3, ..Default::default() };
            study.simulate(&run).expect("lives").which_plan().expect("an answer")
        };
        let cost = |plan: &Standing| plan.measures[1].value;
        let loose = strict("1");
        let (cheapest, chance) = loose.cheapest.expect("all meet it");
        let least = loose.plans.iter().map(cost).fold(f64::INFINITY, f64::min);
        assert_eq!(cost(&loose.plans[cheapest.0]), least);
        assert!(
            loose.plans.iter().all(|plan| plan.limits == Some(Verdict::Meets))
                && chance.is_some_and(|chance| (0.0..=1.0).contains(&chance))
        );
        let none = strict("1e-9");
        assert_eq!(none.cheapest, None);
        // Of one plan alone nothing is in doubt.
        let made = made::comparison(made::TRIALS);
        assert_eq!(made.chances_to_be_best(&[StrategyId(2)], Quantity::Cost).expect("chances"), Some(vec![1.0]));
    }

    #[test]
    fn one_life_says_nothing_of_how_sure_it_is() {
        let which = made::comparison(1).which_plan().expect("an answer");
        assert!(which.plans.iter().all(|plan| plan.chances_to_be_best == [None; MEASURES.len()]));
        assert!(which.plans.iter().all(|plan| !plan.is_surely_beaten()));
        assert_eq!(which.ties.len(), MEASURES.len() * (made::STRATEGIES - 1));
        assert!(which.ties.iter().all(|tie| tie.trials_needed.is_none()));
    }

    /// Two plans under which no blade was lost are not known to be alike, and none surely beats the other.
    #[test]
    fn what_was_never_seen_is_not_alike() {
        let text =
            include_str!("../../../tests/engine/data/y1c.toml").replace("blades_out_cost = 0", "blades_out_cost = 5");
        let study = crate::Study::parse(&text, "y1c").expect("a good study");
        let run = crate::simulation::Run { trials: 4, seed: 2, ..Default::default() };
        let comparison = study.simulate(&run).expect("lives");
        let unseen: Vec<StrategyId> =
            study.strategy_ids().filter(|plan| comparison.fleet(*plan, Quantity::AnyLoss).value == 0.0).collect();
        assert!(unseen.len() > 1, "{unseen:?}");
        let ties = comparison.ties(&unseen, Quantity::AnyLoss);
        assert!(ties.len() == unseen.len() - 1 && ties.iter().all(|tie| tie.is_unseen && tie.trials_needed.is_none()));
        assert!(comparison.ties(&unseen, Quantity::Cost).iter().all(|tie| !tie.is_unseen));
        let beaten: Vec<f64> =
            unseen.iter().filter_map(|plan| comparison.beaten_by(*plan, &unseen)).map(|(_, sure)| sure).collect();
        assert!(!beaten.is_empty() && beaten.iter().all(|sure| *sure <= 0.5), "{beaten:?}");
    }
}
