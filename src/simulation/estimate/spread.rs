//! How far lives lie apart in cost and days: percentiles, and the mean of the worst share. Of plain lives alone.

use super::{Comparison, Estimate, normal_interval};
use crate::model::{RowId, StrategyId};
use crate::simulation::tally::{Spread, Weights};
use crate::simulation::value_bins::ValueBins;
use crate::statistics::interval;

/// Shares of lives that percentiles are not passed by.
pub const PERCENTILES: [f64; 4] = [0.5, 0.9, 0.95, 0.99];
/// Shares of lives with the largest values, of which the mean is told.
pub const WORST_SHARES: [f64; 3] = [0.1, 0.05, 0.01];

/// Below this many lives beyond, a number of the spread is called thin, and a mean over them has no interval.
pub(crate) const FEW_LIVES: f64 = 10.0;

/// What the lives of a row, a unit or the fleet are spread in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Cost in present value.
    Cost,
    /// Days of work at outages and of forced outages.
    Days,
}

impl Measure {
    /// Both.
    pub const ALL: [Measure; 2] = [Measure::Cost, Measure::Days];

    /// Name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Measure::Cost => "cost",
            Measure::Days => "days",
        }
    }
}

/// A number that says how lives are spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Statistic {
    /// The least value at or below which a share of lives lies.
    Percentile,
    /// The mean of the share of lives with the largest values.
    WorstMean,
}

impl Statistic {
    /// Name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Statistic::Percentile => "percentile",
            Statistic::WorstMean => "mean of the worst",
        }
    }
}

/// One number of a spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadEstimate {
    /// What it is.
    pub statistic: Statistic,
    /// Share of lives at or below a percentile; share of the worst lives.
    pub share: f64,
    /// The number; `events` are the lives beyond a percentile, or the worst ones: those that would be as sure, where lives
    /// have weights.
    pub estimate: Estimate,
}

impl Comparison {
    /// Whole fleet, one strategy.
    pub fn fleet_spread(&self, strategy: StrategyId, measure: Measure) -> Vec<SpreadEstimate> {
        let sums = &self.tally.fleet[strategy.0];
        self.spread(&sums.spread, &sums.weights, measure)
    }

    /// One row, one strategy.
    pub fn row_spread(&self, row: RowId, strategy: StrategyId, measure: Measure) -> Vec<SpreadEstimate> {
        let sums = &self.row_sums(row, strategy).lives;
        self.spread(&sums.spread, &sums.weights, measure)
    }

    /// One unit, by number, one strategy; nothing for a unit without rows.
    pub fn unit_spread(&self, unit: usize, strategy: StrategyId, measure: Measure) -> Vec<SpreadEstimate> {
        let sums = &self.tally.units[unit * self.study.strategies.len() + strategy.0];
        if sums.weights.sum > 0.0 { self.spread(&sums.spread, &sums.weights, measure) } else { Vec::new() }
    }

    fn spread(&self, spread: &Spread, weights: &Weights, measure: Measure) -> Vec<SpreadEstimate> {
        let bins = match measure {
            Measure::Cost => &spread.cost,
            Measure::Days => &spread.days,
        };
        // Lives of one weight that would be as sure (L. Kish, Survey Sampling, 1965).
        let lives = weights.sum * weights.sum / weights.square;
        let costs = &self.study.costs;
        let damage_settles = measure == Measure::Days || !costs.loss_cost.has_infinite_variance();
        let settles = damage_settles && !costs.loss_days.has_infinite_variance();
        let percentile = |&share: &f64| SpreadEstimate {
            statistic: Statistic::Percentile,
            share,
            estimate: percentile(bins, lives, share),
        };
        let worst = |&share: &f64| SpreadEstimate {
            statistic: Statistic::WorstMean,
            share,
            estimate: worst_mean(bins, lives, share, settles),
        };
        PERCENTILES.iter().map(percentile).chain(WORST_SHARES.iter().map(worst)).collect()
    }
}

/// With the interval between two lives in order (H. A. David and H. N. Nagaraja, Order Statistics, 2003, section 7.1; from
/// memory), widened to the ends of their bins.
fn percentile(bins: &ValueBins, lives: f64, share: f64) -> Estimate {
    let [low, high] = interval::ranks_of_quantile(lives, share, 0.95);
    // The middle of a life's part of all weight, away from its ends.
    let part = |rank: f64| (rank - 0.5) / lives;
    Estimate {
        value: bins.quantile(share),
        standard_error: f64::NAN,
        low: low.map_or(f64::NAN, |rank| bins.ends_of_quantile(part(rank))[0]),
        high: high.map_or(f64::NAN, |rank| bins.ends_of_quantile(part(rank))[1]),
        events: lives * (1.0 - share),
    }
}

/// With the standard error of such a mean (B. J. Manistre and G. H. Hancock, "Variance of the CTE estimator", North American
/// Actuarial Journal 9 (2005); from memory), where enough lives are beyond and the tail has a variance.
fn worst_mean(bins: &ValueBins, lives: f64, share: f64, settles: bool) -> Estimate {
    let (worst, events) = (bins.worst(share), lives * share);
    if events < FEW_LIVES || !settles {
        let none = f64::NAN;
        return Estimate { value: worst.mean, standard_error: none, low: none, high: none, events };
    }
    Estimate { events, ..normal_interval(worst.mean, (worst.variance / (lives - 1.0)).sqrt()) }
}
