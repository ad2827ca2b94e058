//! The answer: named numbers for every strategy, each with its uncertainty.
//!
//! A [`Comparison`] is the sums over all trials with the names they belong to. Its methods turn
//! sums into estimates; nothing is recomputed elsewhere.

mod cost_bound;
mod limits;
#[cfg(test)]
pub(super) mod made;
mod pooled;
mod rare;
mod spread;
mod warnings;
mod which_plan;

use super::length_bins::{LengthBins, bin_begin_mm};
use super::observe::{COST_LEVELS, Quantity, cost_levels};
use super::parallel::{Ended, Run};
use super::rare::Told;
use super::tally::{AfterOutage, LifeSums, PAIRED, RowSums, Tally};
use crate::math::{normal_cdf, normal_quantile};
use crate::model::{RowId, StrategyId, Study};
use crate::statistics::interval;
pub use limits::{LimitVerdict, Scope, Verdict};
pub(in crate::simulation) use limits::{all_of, with_error};
use pooled::Pools;
pub use rare::HowGot;
pub(crate) use spread::FEW_LIVES;
pub use spread::{Measure, SpreadEstimate, Statistic};
pub use which_plan::{MEASURES, Standing, Tie, WhichPlan};

/// An estimate with its standard error and an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error; not-a-number where one trial cannot tell.
    pub standard_error: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval; for a probability that was never seen it is the exact bound.
    pub high: f64,
    /// Lives in which the thing happened, for a probability; those that would be as sure, where lives with a planted
    /// crack tell of it; else not-a-number.
    pub events: f64,
}

/// A row's state just after one outage, under one strategy.
#[derive(Debug, Clone, PartialEq)]
pub struct AfterOutageEstimate {
    /// The outage, as a year.
    pub year: f64,
    /// Cracks in the row.
    pub cracks: Estimate,
    /// Probability that there is any.
    pub p_any_crack: Estimate,
    /// Mean length of a crack, in mm; `None` where none was ever there.
    pub mean_length_mm: Option<Estimate>,
    /// Length that the longest crack stays below with probability 50, 90, 95 and 99 %, in mm;
    /// zero where with that probability there is no crack at all.
    pub longest_mm: [f64; 4],
}

/// Probabilities of [`AfterOutageEstimate::longest_mm`].
pub const LONGEST_PROBABILITIES: [f64; 4] = [0.5, 0.9, 0.95, 0.99];

/// The difference of one strategy to the baseline, trial by trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// What differs.
    pub quantity: Quantity,
    /// Strategy minus baseline.
    pub difference: Estimate,
    /// Standard error if the two had been simulated apart, to show what pairing gains.
    pub unpaired_standard_error: f64,
}

/// Which strategy comes first by one quantity, smallest first, and how sure that is.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    /// What is ranked by.
    pub quantity: Quantity,
    /// Strategies from first to last.
    pub order: Vec<StrategyId>,
    /// Confidence that the first is truly first, given the study's inputs: one minus the sum, over
    /// the others, of the chance that the other is smaller (Bonferroni's bound), at least zero.
    pub confidence: f64,
}

/// What a run of a study came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The study.
    pub study: Study,
    /// How it was run; `trials` and `planted_lives` are what was finished.
    pub run: Run,
    /// Why it ended.
    pub ended: Ended,
    /// Version of serrata that ran it.
    pub version: String,
    pub(crate) tally: Tally,
    pools: Pools,
}

impl Comparison {
    /// What a run came to.
    pub(super) fn of(study: &Study, run: &Run, tally: Tally, ended: Ended) -> Self {
        let run = Run { trials: tally.trials, planted_lives: tally.planted_lives, ..run.clone() };
        Comparison {
            study: study.clone(),
            run,
            ended,
            version: crate::VERSION.to_owned(),
            tally,
            pools: Pools::default(),
        }
    }

    /// The largest standard error of the fleet's number of losses under a strategy, over that number; none where a
    /// strategy had no loss.
    pub fn largest_relative_error(&self) -> Option<f64> {
        let errors = self.study.strategy_ids().map(|strategy| {
            let losses = self.fleet(strategy, Quantity::Losses);
            (losses.value > 0.0).then(|| losses.standard_error / losses.value)
        });
        errors.collect::<Option<Vec<f64>>>()?.into_iter().reduce(f64::max)
    }

    /// Trials finished.
    pub fn trials(&self) -> u64 {
        self.tally.trials
    }

    /// Whole fleet, one strategy, over the horizon.
    pub fn fleet(&self, strategy: StrategyId, quantity: Quantity) -> Estimate {
        let with_planted = self.has_planted().then(|| self.fleet_losses(strategy, quantity)).flatten();
        with_planted.unwrap_or_else(|| self.estimate(&self.tally.fleet[strategy.0], quantity))
    }

    /// One row, one strategy, over the horizon.
    pub fn row(&self, row: RowId, strategy: StrategyId, quantity: Quantity) -> Estimate {
        let with_planted = self.has_planted().then(|| self.row_losses(row, strategy, quantity)).flatten();
        with_planted.unwrap_or_else(|| self.estimate(&self.row_sums(row, strategy).lives, quantity))
    }

    /// Whole fleet, one strategy: blades lost in each study year.
    pub fn fleet_losses_by_year(&self, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.fleet_years(strategy), false);
        }
        self.losses_by_year(&self.tally.fleet[strategy.0])
    }

    /// One row, one strategy: blades lost in each study year.
    pub fn row_losses_by_year(&self, row: RowId, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.row_years(row, strategy, Told::YearLosses), false);
        }
        self.losses_by_year(&self.row_sums(row, strategy).lives)
    }

    /// Whole fleet, one strategy: probability of any loss in each study year.
    pub fn fleet_any_loss_by_year(&self, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.fleet_any_years(strategy), true);
        }
        self.any_loss_by_year(&self.tally.fleet[strategy.0])
    }

    /// One row, one strategy: probability of any loss in each study year.
    pub fn row_any_loss_by_year(&self, row: RowId, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.row_years(row, strategy, Told::YearAnyLoss), true);
        }
        self.any_loss_by_year(&self.row_sums(row, strategy).lives)
    }

    /// Whole fleet, one strategy: probability that a loss has come by the end of each study year.
    pub fn fleet_any_loss_until(&self, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.fleet_any_until_years(strategy), true);
        }
        self.any_loss_until(&self.tally.fleet[strategy.0])
    }

    /// One row, one strategy: probability that a loss has come by the end of each study year.
    pub fn row_any_loss_until(&self, row: RowId, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.row_any_until_years(row, strategy), true);
        }
        self.any_loss_until(&self.row_sums(row, strategy).lives)
    }

    /// Levels of what the losses of one row cost: 1/4, 1/2, 1, 2, 4 and 8 times the mean cost of one loss, in the study's
    /// currency.
    pub fn cost_levels(&self) -> [f64; COST_LEVELS] {
        cost_levels(&self.study)
    }

    /// One row, one strategy: probability that the present value of its losses is above each level.
    pub fn row_cost_above(&self, row: RowId, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.row_costs_above(row, strategy), true);
        }
        self.proportions(&self.row_sums(row, strategy).lives.cost_above)
    }

    /// Whole fleet, one strategy: probability that the losses of any one row are above each level. Where rows are lived
    /// together with their sisters and planted lives tell of it, an upper bound of it: the sum over rows.
    pub fn fleet_cost_above(&self, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.fleet_costs_above(strategy), true);
        }
        self.proportions(&self.tally.fleet[strategy.0].cost_above)
    }

    /// One row, one strategy: blades lost from each hot spot of its roots.
    pub fn row_losses_by_hot_spot(&self, row: RowId, strategy: StrategyId) -> Vec<Estimate> {
        if self.has_planted() {
            return self.as_estimates(self.row_hot_spots(row, strategy), false);
        }
        let none = self.proportion(0.0);
        let of = |&[sum, square]: &[f64; 2]| if sum > 0.0 { self.mean(sum, square) } else { none };
        self.row_sums(row, strategy).spots.iter().map(of).collect()
    }

    /// One row, one strategy: what is in the row just after each outage.
    pub fn after_outages(&self, row: RowId, strategy: StrategyId) -> Vec<AfterOutageEstimate> {
        let sums = self.row_sums(row, strategy);
        let unit = self.study.unit_under(self.study.row(row).unit, &self.study.strategies[strategy.0]);
        let years = &unit.outages.years;
        let after = &sums.after_outage;
        years
            .iter()
            .enumerate()
            .zip(sums.longest.iter().map(LengthBins::all))
            .map(|((outage, &year), bins)| AfterOutageEstimate {
                year,
                cracks: self.mean(after.cracks[outage], after.cracks_square[outage]),
                p_any_crack: self.proportion(self.tally.trials as f64 - bins[0]),
                mean_length_mm: self.mean_length(after, outage),
                longest_mm: LONGEST_PROBABILITIES.map(|p| quantile_mm(&bins, p)),
            })
            .collect()
    }

    /// Differences of a strategy to the baseline over the fleet, for losses, cost and days.
    pub fn differences(&self, strategy: StrategyId) -> Vec<Difference> {
        let baseline = self.study.baseline;
        (0..PAIRED.len()).map(|index| self.difference(strategy, baseline, index)).collect()
    }

    /// Order of the strategies by losses, by cost and by days, smallest first.
    pub fn rankings(&self) -> Vec<Ranking> {
        (0..PAIRED.len()).map(|index| self.ranking(index)).collect()
    }

    /// Probability that a row comes to the start of the study without a loss, by the study's own
    /// inputs; lives in which it does not are drawn again.
    pub fn p_came_through(&self, row: RowId) -> f64 {
        self.tally.trials as f64 / self.tally.tries[row.0] as f64
    }

    pub(super) fn row_sums(&self, row: RowId, strategy: StrategyId) -> &RowSums {
        &self.tally.rows[row.0 * self.study.strategies.len() + strategy.0]
    }

    fn estimate(&self, sums: &LifeSums, quantity: Quantity) -> Estimate {
        let (sum, square) = (sums.sum[quantity as usize], sums.square[quantity as usize]);
        match quantity {
            quantity if quantity.is_probability() => self.proportion(sum),
            // No loss seen: the bound on the chance of any stands for their number too.
            Quantity::Losses if sum == 0.0 => Estimate { standard_error: f64::NAN, ..self.proportion(0.0) },
            _ => self.mean(sum, square),
        }
    }

    fn losses_by_year(&self, sums: &LifeSums) -> Vec<Estimate> {
        let mut years: Vec<Estimate> =
            sums.losses.iter().zip(&sums.losses_square).map(|(&sum, &square)| self.mean(sum, square)).collect();
        for (year, &events) in years.iter_mut().zip(&sums.years_with_loss) {
            year.events = events;
            if events == 0.0 {
                // Nothing was seen: the bound on the chance of any loss stands for the count too.
                year.high = interval::exact_proportion(0.0, self.tally.trials as f64, 0.95).1;
            }
        }
        years
    }

    fn any_loss_by_year(&self, sums: &LifeSums) -> Vec<Estimate> {
        self.proportions(&sums.years_with_loss)
    }

    fn any_loss_until(&self, sums: &LifeSums) -> Vec<Estimate> {
        let mut lives = 0.0;
        let until = |first: &f64| {
            lives += first;
            lives
        };
        self.proportions(&sums.first_losses.iter().map(until).collect::<Vec<f64>>())
    }

    fn proportions(&self, events: &[f64]) -> Vec<Estimate> {
        events.iter().map(|events| self.proportion(*events)).collect()
    }

    fn mean(&self, sum: f64, square: f64) -> Estimate {
        let n = self.tally.trials as f64;
        let value = sum / n;
        let standard_error = ((square / n - value * value).max(0.0) / (n - 1.0)).sqrt();
        normal_interval(value, standard_error)
    }

    fn proportion(&self, events: f64) -> Estimate {
        self.proportion_at(events, 0.95)
    }

    /// With an interval of another confidence.
    fn proportion_at(&self, events: f64, level: f64) -> Estimate {
        let n = self.tally.trials as f64;
        let value = events / n;
        let (low, high) = interval::exact_proportion(events, n, level);
        let standard_error = if n > 1.0 { (value * (1.0 - value) / n).sqrt() } else { f64::NAN };
        Estimate { value, standard_error, low, high, events }
    }

    /// Ratio of expectations, with the standard error of a ratio (delta method).
    fn mean_length(&self, after: &AfterOutage, outage: usize) -> Option<Estimate> {
        let (cracks, total_mm) = (after.cracks[outage], after.total_mm[outage]);
        if cracks == 0.0 {
            return None;
        }
        let n = self.tally.trials as f64;
        let ratio = total_mm / cracks;
        let residual = after.total_mm_square[outage] - 2.0 * ratio * after.cracks_total_mm[outage]
            + ratio * ratio * after.cracks_square[outage];
        let standard_error = (residual.max(0.0) / (n - 1.0) * n).sqrt() / cracks;
        Some(normal_interval(ratio, standard_error))
    }

    fn difference(&self, strategy: StrategyId, other: StrategyId, index: usize) -> Difference {
        let quantity = PAIRED[index];
        let n = self.tally.trials as f64;
        let (a, b) = (&self.tally.fleet[strategy.0], &self.tally.fleet[other.0]);
        let (at, sum_a, sum_b) = (quantity as usize, a.sum[quantity as usize], b.sum[quantity as usize]);
        let plain = (sum_a - sum_b) / n;
        let square = a.square[at] + b.square[at] - 2.0 * self.product(strategy, other, index);
        let variance = if strategy == other { 0.0 } else { (square / n - plain * plain).max(0.0) / (n - 1.0) };
        let apart = |sum: f64, square: f64| (square / n - (sum / n) * (sum / n)).max(0.0) / (n - 1.0);
        let apart = apart(sum_a, a.square[at]) + apart(sum_b, b.square[at]);
        if !self.has_planted() {
            let difference = normal_interval(plain, variance.sqrt());
            return Difference { quantity, difference, unpaired_standard_error: apart.sqrt() };
        }
        let value = self.fleet(strategy, quantity).value - self.fleet(other, quantity).value;
        let [standard_error, unpaired_standard_error] = if quantity == Quantity::AnyLoss {
            self.any_loss_errors(strategy, other)
        } else {
            let [planted, planted_apart] = self.planted_variance(strategy, other, quantity);
            [(variance + planted).sqrt(), (apart + planted_apart).sqrt()]
        };
        let standard_error = if strategy == other { 0.0 } else { standard_error };
        Difference { quantity, difference: normal_interval(value, standard_error), unpaired_standard_error }
    }

    fn product(&self, one: StrategyId, other: StrategyId, index: usize) -> f64 {
        let (i, j) = (one.0.max(other.0), one.0.min(other.0));
        self.tally.products[i * (i + 1) / 2 + j][index]
    }

    fn ranking(&self, index: usize) -> Ranking {
        let quantity = PAIRED[index];
        let means: Vec<f64> = self.study.strategy_ids().map(|strategy| self.fleet(strategy, quantity).value).collect();
        let mean = |strategy: &StrategyId| means[strategy.0];
        let mut order: Vec<StrategyId> = self.study.strategy_ids().collect();
        order.sort_by(|a, b| mean(a).total_cmp(&mean(b)));
        let first = order[0];
        let doubt: f64 = order[1..]
            .iter()
            .map(|&other| {
                let difference = self.difference(other, first, index).difference;
                if difference.standard_error > 0.0 {
                    normal_cdf(-difference.value / difference.standard_error)
                } else if difference.value > 0.0 && difference.standard_error == 0.0 {
                    0.0
                } else {
                    // Alike in every trial; or one trial, which settles nothing.
                    0.5
                }
            })
            .sum();
        Ranking { quantity, order, confidence: (1.0 - doubt).max(0.0) }
    }
}

fn normal_interval(value: f64, standard_error: f64) -> Estimate {
    let reach = normal_quantile(0.975) * standard_error;
    Estimate { value, standard_error, low: value - reach, high: value + reach, events: f64::NAN }
}

/// Quantile of the longest crack from its bins; zero for no crack.
///
/// The distribution within a bin is read off the monotone cubic through the counts up to the bins' ends (Fritsch and
/// Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246; slopes at the ends by the harmonic mean of Fritsch and Butland, SIAM
/// J. Sci. Stat. Comput. 5 (1984) 300-304). For smooth distributions it is within 0.05 %; straight lines erred by up to
/// 0.5 % to the high side where the density falls.
pub(super) fn quantile_mm(bins: &[f64], probability: f64) -> f64 {
    let total: f64 = bins.iter().sum();
    let wanted = probability * total;
    let mut passed = bins[0];
    if wanted <= passed {
        return 0.0;
    }
    for (bin, &count) in bins.iter().enumerate().skip(1) {
        if passed + count >= wanted {
            let (begin, width) = (bin_begin_mm(bin), bin_width_mm(bin));
            let slopes = [bin - 1, bin].map(|left| width / count * slope_between(bins, left));
            return begin + width * place_in_bin((wanted - passed) / count, slopes);
        }
        passed += count;
    }
    f64::NAN
}

fn bin_width_mm(bin: usize) -> f64 {
    bin_begin_mm(bin + 1) - bin_begin_mm(bin)
}

/// Slope of the cumulative count, per mm, at the end of a bin: zero where one of its neighbours is empty, or is none.
fn slope_between(bins: &[f64], left: usize) -> f64 {
    let right = left + 1;
    if left == 0 || right >= bins.len() {
        return 0.0;
    }
    let [a, b] = [left, right].map(bin_width_mm);
    let [density_a, density_b] = [bins[left] / a, bins[right] / b];
    3.0 * (a + b) / ((a + 2.0 * b) / density_a + (2.0 * a + b) / density_b)
}

/// Where in a bin, from 0 to 1, a cubic that rises from 0 to 1 with given slopes at its ends reaches a height.
fn place_in_bin(height: f64, [first, last]: [f64; 2]) -> f64 {
    let cubic = |x: f64| x * (first + x * ((3.0 - 2.0 * first - last) + x * (first + last - 2.0)));
    let (mut below, mut above) = (0.0, 1.0);
    for _ in 0..52 {
        let middle = 0.5 * (below + above);
        if cubic(middle) < height {
            below = middle;
        } else {
            above = middle;
        }
    }
    0.5 * (below + above)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::length_bins::{LENGTH_BINS, length_bin};
    use made::{
        OUTAGES, ROWS, STRATEGIES, TRIALS, YEARS, all, assert_equal, comparison, fleet_values, mean, row_values,
    };

    /// Lognormal lengths, few and many to a bin's width, beside no crack in half of the lives.
    #[test]
    fn quantiles_of_binned_lengths_are_those_of_the_distribution() {
        for (median, sigma) in [(3.0_f64, 0.4_f64), (7.3, 0.15), (1.1, 0.8), (40.0, 0.3)] {
            let cdf = |length_mm: f64| normal_cdf((length_mm / median).ln() / sigma);
            let mut bins = vec![0.0_f64; LENGTH_BINS];
            let lives = 1e9_f64;
            bins[0] = (0.5 * lives).floor();
            for (bin, count) in bins.iter_mut().enumerate().skip(1).take(LENGTH_BINS - 2) {
                // What is shorter than the first bin counts in it.
                let before = if bin == 1 { 0.0 } else { cdf(bin_begin_mm(bin)) };
                *count = (0.5 * lives * (cdf(bin_begin_mm(bin + 1)) - before)).floor();
                assert_eq!(length_bin(bin_begin_mm(bin)), bin);
            }
            for probability in [0.6, 0.9, 0.95, 0.99] {
                let exact = median * (sigma * normal_quantile(2.0 * probability - 1.0)).exp();
                let ours = quantile_mm(&bins, probability);
                assert!((ours / exact - 1.0).abs() < 5e-4, "{median} {sigma} {probability}: {ours} for {exact}");
            }
            assert_eq!(quantile_mm(&bins, 0.4), 0.0);
        }
    }

    #[test]
    fn lengths_of_one_bin_stay_in_it() {
        for bin in [1, 50, LENGTH_BINS - 1] {
            let mut bins = vec![0.0_f64; LENGTH_BINS];
            (bins[0], bins[bin]) = (1.0, 7.0);
            assert_eq!(quantile_mm(&bins, 0.1), 0.0);
            for probability in [0.15, 0.5, 0.99] {
                assert!((bin_begin_mm(bin)..bin_begin_mm(bin + 1)).contains(&quantile_mm(&bins, probability)));
            }
        }
    }

    /// With the 95 % interval of a normal distribution.
    #[track_caller]
    fn assert_mean(ours: &Estimate, [value, standard_error]: [f64; 2]) {
        assert_equal(ours.value, value);
        assert_equal(ours.standard_error, standard_error);
        assert_equal(ours.low, value - 1.959_963_984_540_054 * standard_error);
        assert_equal(ours.high, value + 1.959_963_984_540_054 * standard_error);
        assert!(ours.events.is_nan());
    }

    #[track_caller]
    fn assert_proportion(ours: &Estimate, events: usize) {
        let (n, p) = (TRIALS as f64, events as f64 / TRIALS as f64);
        let (low, high) = interval::exact_proportion(events as f64, n, 0.95);
        assert_equal(ours.standard_error, (p * (1.0 - p) / n).sqrt());
        assert_eq!((ours.value, ours.low, ours.high, ours.events), (p, low, high, events as f64));
    }

    #[track_caller]
    fn assert_estimate(ours: &Estimate, strategy: usize, quantity: Quantity, numbers: &[f64]) {
        match quantity {
            Quantity::AnyLoss | Quantity::Escalated => {
                assert_proportion(ours, numbers.iter().filter(|number| **number > 0.0).count());
            }
            Quantity::Losses if strategy == 5 => {
                // None was seen, which leaves a bound.
                assert!(ours.standard_error.is_nan() && ours.value == 0.0);
                assert_eq!(ours.high, interval::exact_proportion(0.0, 8.0, 0.95).1);
            }
            _ => assert_mean(ours, mean(numbers)),
        }
    }

    #[test]
    fn estimates_are_means_and_proportions_over_trials() {
        let made = comparison(TRIALS);
        assert_eq!((made.trials(), made.p_came_through(ROWS[1])), (8, 0.5));
        for (strategy, quantity) in (0..STRATEGIES).flat_map(|strategy| Quantity::ALL.map(|one| (strategy, one))) {
            let (id, at) = (StrategyId(strategy), quantity as usize);
            let fleet = all(|trial| fleet_values(trial, strategy)[at]);
            assert_estimate(&made.fleet(id, quantity), strategy, quantity, &fleet);
            for row in ROWS {
                let numbers = all(|trial| row_values(row.0, trial, strategy)[at]);
                assert_estimate(&made.row(row, id, quantity), strategy, quantity, &numbers);
            }
        }
        assert!(comparison(1).fleet(StrategyId(0), Quantity::AnyLoss).standard_error.is_nan());
    }

    #[test]
    fn losses_of_each_year_are_told_apart() {
        let made = comparison(TRIALS);
        let lost_on = |rows: &[usize], year: usize, strategy: usize| {
            let of = |row: &&usize, trial: usize| made::loss_year(**row, trial) == year;
            all(|trial| {
                let there = rows.iter().filter(|row| of(row, trial));
                there.map(|row| row_values(*row, trial, strategy)[Quantity::Losses as usize]).sum()
            })
        };
        for (strategy, year) in (0..STRATEGIES).flat_map(|strategy| (0..YEARS).map(move |year| (strategy, year))) {
            let id = StrategyId(strategy);
            for (numbers, losses, any) in [
                (lost_on(&[0, 1], year, strategy), made.fleet_losses_by_year(id), made.fleet_any_loss_by_year(id)),
                (
                    lost_on(&[1], year, strategy),
                    made.row_losses_by_year(ROWS[1], id),
                    made.row_any_loss_by_year(ROWS[1], id),
                ),
            ] {
                assert_eq!((losses.len(), any.len()), (YEARS, YEARS));
                let events = numbers.iter().filter(|number| **number > 0.0).count();
                assert_proportion(&any[year], events);
                let [value, standard_error] = mean(&numbers);
                assert_equal(losses[year].value, value);
                assert_equal(losses[year].standard_error, standard_error);
                assert_eq!(losses[year].events, events as f64);
                // Where none was seen the bound on the chance of any stands.
                let high = if events == 0 { any[year].high } else { value + 1.959_963_984_540_054 * standard_error };
                assert_equal(losses[year].high, high);
            }
        }
    }

    #[test]
    fn losses_of_a_unit_are_those_of_its_rows_which_are_independent() {
        let made = comparison(TRIALS);
        for id in (0..STRATEGIES).map(StrategyId) {
            let [losses, any] = made.unit_losses(0, id).expect("no sisters are looked at");
            let rows =
                ROWS.map(|row| [Quantity::Losses, Quantity::AnyLoss].map(|quantity| made.row(row, id, quantity)));
            assert_equal(losses.value, rows[0][0].value + rows[1][0].value);
            let chances = rows.map(|[_, any]| any.value);
            assert_equal(any.value, 1.0 - (1.0 - chances[0]) * (1.0 - chances[1]));
            if losses.value > 0.0 {
                assert_equal(losses.standard_error, rows[0][0].standard_error.hypot(rows[1][0].standard_error));
                assert!(losses.low > 0.0 && losses.low < losses.value && losses.value < losses.high);
                assert!(any.low < any.value && any.value <= any.high && any.events.is_finite(), "{any:?}");
            } else {
                assert_eq!((any.events, any.high), (0.0, interval::exact_proportion(0.0, 8.0, 0.95).1));
            }
        }
    }

    #[test]
    fn losses_are_told_until_a_year_by_hot_spot_and_above_a_cost() {
        let made = comparison(TRIALS);
        let losses =
            |row: usize, strategy: usize| all(|trial| row_values(row, trial, strategy)[Quantity::Losses as usize]);
        let count = |of: &dyn Fn(usize) -> bool| (0..TRIALS).filter(|trial| of(*trial)).count();
        for (strategy, id) in (0..STRATEGIES).map(|strategy| (strategy, StrategyId(strategy))) {
            let [first, second] = [0, 1].map(|row| losses(row, strategy));
            for year in 0..YEARS {
                let until = |losses: &[f64], row: usize, trial: usize| {
                    losses[trial] > 0.0 && made::loss_year(row, trial) <= year
                };
                assert_proportion(
                    &made.row_any_loss_until(ROWS[1], id)[year],
                    count(&|trial| until(&second, 1, trial)),
                );
                let either = |trial: usize| until(&first, 0, trial) || until(&second, 1, trial);
                assert_proportion(&made.fleet_any_loss_until(id)[year], count(&either));
            }
            // A loss costs 1.1 times the mean, and one of a row's losses in two comes from its second hot spot.
            for (level, multiple) in [0.25, 0.5, 1.0, 2.0, 4.0, 8.0].into_iter().enumerate() {
                assert_equal(made.cost_levels()[level], multiple * (4000.0 + 60.0 * 110.0));
                let above = |losses: f64| 1.1 * losses > multiple;
                assert_proportion(&made.row_cost_above(ROWS[1], id)[level], count(&|trial| above(second[trial])));
                let either = |trial: usize| above(first[trial].max(second[trial]));
                assert_proportion(&made.fleet_cost_above(id)[level], count(&either));
            }
            let spots = made.row_losses_by_hot_spot(ROWS[1], id);
            for (spot, losses) in spots.iter().enumerate() {
                let of_spot = all(|trial| ((second[trial] + 1.0 - spot as f64) / 2.0).floor());
                if strategy == 5 {
                    assert_proportion(losses, 0);
                } else {
                    assert_mean(losses, mean(&of_spot));
                }
            }
        }
    }

    #[test]
    fn what_an_outage_leaves_is_a_mean_a_proportion_and_a_ratio() {
        let made = comparison(TRIALS);
        for (row, strategy) in ROWS.into_iter().flat_map(|row| (0..STRATEGIES).map(move |strategy| (row, strategy))) {
            let after = made.after_outages(row, StrategyId(strategy));
            assert_eq!(after.len(), OUTAGES);
            for (outage, after) in after.iter().enumerate() {
                let [cracks, total] = [0, 1].map(|what| all(|trial| made::left(row.0, trial, strategy, outage)[what]));
                assert_mean(&after.cracks, mean(&cracks));
                assert_proportion(&after.p_any_crack, cracks.iter().filter(|cracks| **cracks > 0.0).count());
                let Some(length_mm) = &after.mean_length_mm else {
                    assert!(outage == 0 || strategy + 1 == STRATEGIES);
                    continue;
                };
                // Ratio of two means: its standard error is that of the mean residual, over the mean below (W. G.
                // Cochran, Sampling Techniques, 1977, section 2.11).
                let ratio = mean(&total)[0] / mean(&cracks)[0];
                let residuals = all(|trial| total[trial] - ratio * cracks[trial]);
                assert_mean(length_mm, [ratio, mean(&residuals)[1] / mean(&cracks)[0]]);
            }
        }
    }

    #[test]
    fn differences_are_those_of_pairs() {
        let made = comparison(TRIALS);
        for strategy in 0..STRATEGIES {
            let differences = made.differences(StrategyId(strategy));
            assert_eq!(differences.len(), PAIRED.len());
            for (ours, quantity) in differences.iter().zip(PAIRED) {
                let [one, base] =
                    [strategy, 0].map(|strategy| all(|trial| fleet_values(trial, strategy)[quantity as usize]));
                assert_eq!(ours.quantity, quantity);
                assert_mean(&ours.difference, mean(&all(|trial| one[trial] - base[trial])));
                assert_equal(ours.unpaired_standard_error, mean(&one)[1].hypot(mean(&base)[1]));
            }
        }
    }

    #[test]
    fn the_first_is_as_sure_as_each_difference_to_it() {
        let rankings = comparison(TRIALS).rankings();
        for (ranking, quantity) in rankings.iter().zip(PAIRED) {
            let of = |strategy: usize| all(|trial| fleet_values(trial, strategy)[quantity as usize]);
            let mut order: Vec<usize> = (0..STRATEGIES).collect();
            order.sort_by(|one, other| mean(&of(*one))[0].total_cmp(&mean(&of(*other))[0]));
            assert_eq!(ranking.order, order.iter().map(|strategy| StrategyId(*strategy)).collect::<Vec<_>>());
            let first = of(order[0]);
            let doubt = |strategy: &usize| {
                let [value, standard_error] = mean(&all(|trial| of(*strategy)[trial] - first[trial]));
                // The same in every trial: nothing tells them apart, or nothing is in doubt.
                let same = if value == 0.0 { 0.5 } else { 0.0 };
                if standard_error == 0.0 { same } else { normal_cdf(-value / standard_error) }
            };
            let doubt: f64 = order[1..].iter().map(doubt).sum();
            assert_equal(ranking.confidence, (1.0 - doubt).max(0.0));
        }
        // One other is alike in days, and the rest have more in every trial.
        assert_eq!(rankings[3].confidence, 0.5);
        assert!(rankings[2].confidence > 0.01 && rankings[2].order[0] == StrategyId(3), "{:?}", rankings[2]);
    }
}
