//! Answers about losses from plain lives and from lives with a planted crack, put together with shares that the pilot set.

use super::pooled::Sums;
use super::{Comparison, Estimate};
use crate::math::normal_quantile;
use crate::model::{RowId, StrategyId};
use crate::simulation::observe::{COST_LEVELS, Quantity};
use crate::simulation::rare::{PlantedSums, Told};
use crate::simulation::tables::THIN_EVENTS;
use crate::simulation::tally::LifeSums;
use crate::statistics::interval;
use crate::statistics::tail::binomial_at_least;
use crate::statistics::tail_index::{largest_reliable_index, tail_index, tail_length};

/// One life that carries more than this share of all weight makes a number thin.
const LARGEST_SHARE: f64 = 0.1;
/// Halves that lie further apart than this, in standard errors, are said to disagree.
const FURTHEST_HALVES: f64 = 4.0;

/// A mean, its variance, and the most that one life adds to it.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Answer {
    pub value: f64,
    pub variance: f64,
    pub largest: f64,
}

impl Answer {
    /// A mean over plain lives, of which each adds no more than 1.
    pub(super) fn of_lives(lives: f64, sum: f64, square: f64) -> Answer {
        let mean = sum / lives;
        Answer {
            value: mean,
            variance: (square / lives - mean * mean).max(0.0) / (lives - 1.0).max(1.0),
            largest: if sum > 0.0 { 1.0 / lives } else { 0.0 },
        }
    }

    /// The same where a life adds no more than a share.
    fn with_largest(self, share: f64) -> Answer {
        Answer { largest: share * self.largest, ..self }
    }

    /// Of an independent part more.
    pub(super) fn and(self, other: Answer) -> Answer {
        Answer {
            value: self.value + other.value,
            variance: self.variance + other.variance,
            largest: self.largest.max(other.largest),
        }
    }

    /// Of a part more that may go with this one.
    fn beside(self, other: Answer) -> Answer {
        Answer { variance: (self.variance.sqrt() + other.variance.sqrt()).powi(2), ..self.and(other) }
    }

    pub(super) fn times(self, factor: f64) -> Answer {
        Answer { value: factor * self.value, variance: factor * factor * self.variance, largest: factor * self.largest }
    }

    /// As a count of rare events, each with a weight. The events that are told are those that would be as sure.
    fn rare(self, lives: f64) -> Estimate {
        self.rare_at(lives, 0.95)
    }

    /// With an interval of another confidence.
    fn rare_at(self, lives: f64, level: f64) -> Estimate {
        if self.value <= 0.0 {
            let (low, high) = interval::exact_proportion(0.0, lives, level);
            return Estimate { value: 0.0, standard_error: 0.0, low, high, events: 0.0 };
        }
        let (low, high) = interval::weighted_count(self.value, self.variance, self.largest, level);
        if self.variance == 0.0 {
            // Every life adds the same: they bound how many may add nothing.
            let share = if lives.is_finite() { interval::exact_proportion(lives, lives, level).0 } else { 1.0 };
            return Estimate { value: self.value, standard_error: 0.0, low: share * self.value, high, events: lives };
        }
        let events = self.value * self.value / self.variance;
        Estimate { value: self.value, standard_error: self.variance.sqrt(), low, high, events }
    }

    /// As a probability. A sum of weights may come out above 1, where a probability does not lie: 1 stands for it.
    fn probability(self, lives: f64) -> Estimate {
        self.probability_at(lives, 0.95)
    }

    /// With an interval of another confidence.
    pub(super) fn probability_at(self, lives: f64, level: f64) -> Estimate {
        let estimate = self.rare_at(lives, level);
        let [value, low, high] = [estimate.value, estimate.low, estimate.high].map(|number| number.min(1.0));
        Estimate { value, low, high, ..estimate }
    }
}

/// How a row's number of losses under a strategy was got, and how much planted lives can be relied on for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HowGot {
    /// Share that planted lives have in the answer; plain ones have the rest.
    pub planted_share: f64,
    /// Planted lives in which the planted crack was lost.
    pub planted_losses: u64,
    /// The number of equal weights that would scatter as much as theirs; not-a-number without planted lives.
    pub effective_losses: f64,
    /// Share of the largest in all weight.
    pub largest_share: f64,
    /// Shape of the tail of the weights: above 0.7, or for few losses less, they are not to be relied on; not-a-number
    /// where they are too few.
    pub tail_index: f64,
    /// By how many standard errors even lives differ from odd ones.
    pub halves_apart: f64,
    /// Whether plain lives had more losses than planted ones let expect, over the horizon or in a single year: so many are seen
    /// once in a thousand times, were the upper end of what these say true.
    pub plain_had_more: bool,
}

impl HowGot {
    /// What is to be said of it; nothing where all is well.
    pub fn note(&self) -> &'static str {
        if self.planted_share == 0.0 {
            return "plain lives only";
        }
        if self.plain_had_more {
            return "thin: plain lives had more losses";
        }
        if self.planted_losses == 0 {
            return "thin: no planted crack was lost";
        }
        if self.effective_losses < THIN_EVENTS || self.largest_share > LARGEST_SHARE {
            return "thin: few lives carry the weight";
        }
        if self.tail_index > largest_reliable_index(self.planted_losses as f64) {
            return "thin: weights have a heavy tail";
        }
        if self.halves_apart.abs() > FURTHEST_HALVES {
            return "thin: the halves disagree";
        }
        ""
    }

    /// Whether the number is not to be relied on.
    pub fn is_thin(&self) -> bool {
        self.note().starts_with("thin")
    }
}

/// Tail index of the weights of lost planted cracks, of as many as are kept.
fn tail_index_of(sums: &PlantedSums) -> f64 {
    let length = tail_length(sums.events as usize).min(sums.largest.len().saturating_sub(1));
    let Some(&below) = sums.largest.get(length) else { return f64::NAN };
    let excesses: Vec<f64> = sums.largest[..length].iter().rev().map(|weight| weight - below).collect();
    tail_index(&excesses)
}

/// See [`HowGot::plain_had_more`]: over the horizon, or in one of its years, which share the doubt among them.
fn plain_had_more(sums: &Sums) -> bool {
    const SELDOM: f64 = 1e-3;
    /// Lives with a loss from which on their number is nearly normal.
    const ENOUGH: f64 = 20.0;
    let had = sums.lives.sum[Quantity::AnyLoss as usize];
    let most = sums.planted(Told::AnyLoss).rare(f64::INFINITY).high;
    // Without any planted loss there is no upper end, and every plain one is more.
    if had > 0.0 && (most.is_nan() || (most < 1.0 && binomial_at_least(had, sums.trials(), most) < SELDOM)) {
        return true;
    }
    let years = &sums.lives.years_with_loss;
    let furthest = normal_quantile(1.0 - SELDOM / years.len() as f64);
    let heaviest = sums.planted(Told::Losses).largest;
    years.iter().enumerate().filter(|(_, had)| **had >= ENOUGH).any(|(year, _)| {
        let told = Told::YearLosses(year);
        let (plain, planted) = (sums.plain(sums.plain_of(told)), sums.planted(told));
        // One loss more with the most weight might have been seen.
        let largest = if planted.largest > 0.0 { planted.largest } else { heaviest };
        let variance = plain.variance + planted.variance + largest * largest;
        plain.value - planted.value > furthest * variance.sqrt()
    })
}

impl Comparison {
    /// Lives of each row in which a crack was planted.
    pub fn planted_lives(&self) -> u64 {
        self.tally.planted_lives
    }

    pub(super) fn has_planted(&self) -> bool {
        self.tally.planted_lives > 0
    }

    pub(super) fn planted_sums(&self, row: RowId, strategy: StrategyId) -> &PlantedSums {
        &self.tally.planted[row.0 * self.study.strategies.len() + strategy.0]
    }

    /// Share that plain lives have in a row's number of losses, in its cost and its forced days.
    pub(super) fn plain_share(&self, row: RowId, strategy: StrategyId) -> f64 {
        if self.has_planted() { self.planted_sums(row, strategy).plain_share(Told::Losses) } else { 1.0 }
    }

    /// How a row's number of losses was got.
    pub fn how_got(&self, row: RowId, strategy: StrategyId) -> HowGot {
        if !self.has_planted() {
            let unknown = f64::NAN;
            return HowGot {
                planted_share: 0.0,
                planted_losses: 0,
                effective_losses: unknown,
                largest_share: unknown,
                tail_index: unknown,
                halves_apart: unknown,
                plain_had_more: false,
            };
        }
        let alike = self.alike(row, strategy);
        let (sums, n) = (alike.planted, alike.planted_lives());
        let [sum, square] = sums.of(Told::Losses);
        let half_error = (2.0 * (square / n - (sum / n) * (sum / n)) / n).sqrt();
        let [even, odd] = sums.halves;
        HowGot {
            planted_share: 1.0 - sums.plain_share(Told::Losses),
            planted_losses: sums.events,
            effective_losses: if square > 0.0 { sum * sum / square } else { 0.0 },
            largest_share: sums.largest.first().map_or(f64::NAN, |largest| largest / sum),
            tail_index: tail_index_of(sums),
            halves_apart: (even - odd) / (0.5 * n) / (half_error * std::f64::consts::SQRT_2),
            plain_had_more: plain_had_more(&alike),
        }
    }

    /// What plain lives alone and planted lives alone say of a row.
    #[cfg(test)]
    pub(crate) fn plain_and_planted(&self, row: RowId, strategy: StrategyId) -> Vec<(String, Answer, Answer)> {
        let own = self.own(row, strategy);
        let mut all = Vec::new();
        let mut add = |what: String, told: Told| all.push((what, own.plain(own.plain_of(told)), own.planted(told)));
        add("any loss".to_owned(), Told::AnyLoss);
        (0..COST_LEVELS).for_each(|level| add(format!("cost above level {level}"), Told::CostAbove(level)));
        let spots = self.row_sums(row, strategy).spots.len();
        (0..spots).for_each(|spot| add(format!("losses from hot spot {spot}"), Told::HotSpot(spot)));
        for year in self.years() {
            add(format!("losses in year {year}"), Told::YearLosses(year));
            add(format!("first loss in year {year}"), Told::YearFirstLoss(year));
        }
        all
    }

    /// Over the fleet: sums over rows.
    fn fleet_sum(&self, strategy: StrategyId, told: Told) -> Answer {
        let rows = self.study.row_ids();
        rows.map(|row| self.own(row, strategy).both(told)).fold(Answer::default(), self.adding())
    }

    /// How answers of rows add up: rows are independent, but for what is uncertain of them all.
    fn adding(&self) -> fn(Answer, Answer) -> Answer {
        if self.study.uncertain.is_empty() { Answer::and } else { Answer::beside }
    }

    /// Mean over rows of the chance that a row loses a blade.
    pub(crate) fn mean_row_any(&self, strategy: StrategyId) -> Estimate {
        let mean = self.fleet_sum(strategy, Told::AnyLoss).times(1.0 / self.study.rows.len() as f64);
        mean.probability(self.tally.trials as f64)
    }

    /// One unit, by number, one strategy: blades lost, and the probability of any; none where its rows may be lived together,
    /// and no planted lives tell of them.
    pub fn unit_losses(&self, unit: usize, strategy: StrategyId) -> Option<[Estimate; 2]> {
        let rows: Vec<RowId> = self.study.row_ids().filter(|row| self.study.row(*row).unit == unit).collect();
        let lives = self.tally.trials as f64;
        let has_planted = self.has_planted();
        if !has_planted && self.study.rows_hang_together(self.study.strategy(strategy)) {
            return None;
        }
        let plain = |row: &RowId, quantity: Quantity| {
            let sums = &self.row_sums(*row, strategy).lives;
            Answer::of_lives(lives, sums.sum[quantity as usize], sums.square[quantity as usize])
        };
        let losses = |row: &RowId| {
            let own = self.plain_part(&[*row], strategy, Quantity::Losses);
            if has_planted { own.and(self.planted_part(&self.own(*row, strategy), Quantity::Losses)) } else { own }
        };
        let any = |row: RowId| match has_planted {
            true => self.own(row, strategy).both(Told::AnyLoss),
            false => plain(&row, Quantity::AnyLoss),
        };
        let in_unit = |row| self.own(row, strategy).planted(Told::AnyInUnit);
        Some([
            rows.iter().map(losses).fold(Answer::default(), self.adding()).rare(lives),
            self.any_among(&rows, strategy, any, in_unit).probability(lives),
        ])
    }

    fn fleet_any(
        &self,
        strategy: StrategyId,
        of_row: impl Fn(RowId) -> Answer,
        in_group: impl Fn(RowId) -> Answer,
    ) -> Answer {
        let rows: Vec<RowId> = self.study.row_ids().collect();
        self.any_among(&rows, strategy, of_row, in_group)
    }

    /// Chance that anything happens in some rows: those that are lived together have each its part of their chance, and others
    /// are independent. Where something is uncertain of them all, it is no more than this.
    pub(super) fn any_among(
        &self,
        rows: &[RowId],
        strategy: StrategyId,
        of_row: impl Fn(RowId) -> Answer,
        in_group: impl Fn(RowId) -> Answer,
    ) -> Answer {
        let independent: Vec<Answer> = if self.study.rows_hang_together(self.study.strategy(strategy)) {
            let mut groups = vec![Answer::default(); self.study.units.len() + self.study.rows.len()];
            let numbers = self.study.rows_lived_together(self.study.strategy(strategy));
            for &row in rows {
                let group = &mut groups[numbers[row.0]];
                *group = group.and(in_group(row));
            }
            groups
        } else {
            rows.iter().map(|row| of_row(*row)).collect()
        };
        let chance = |answer: &Answer| answer.value.min(1.0);
        // The chance that none comes before each, and after it.
        let mut none_after = vec![1.0; independent.len() + 1];
        for (index, answer) in independent.iter().enumerate().rev() {
            none_after[index] = none_after[index + 1] * (1.0 - chance(answer));
        }
        // Not one minus a product, which loses the figures of small chances.
        let (mut any, mut none_before, mut sum) = (0.0, 1.0, Answer::default());
        for (answer, none_after) in independent.iter().zip(&none_after[1..]) {
            sum = self.adding()(sum, answer.times(none_before * none_after));
            any += none_before * chance(answer);
            none_before *= 1.0 - chance(answer);
        }
        Answer { value: any, ..sum }
    }

    pub(super) fn row_losses(&self, row: RowId, strategy: StrategyId, quantity: Quantity) -> Option<Estimate> {
        let lives = self.tally.trials as f64;
        match quantity {
            Quantity::AnyLoss => Some(self.alike(row, strategy).both(Told::AnyLoss).probability(lives)),
            Quantity::Losses => {
                let alike = self.alike(row, strategy);
                let planted = alike.planted(Told::Losses).times(1.0 - self.plain_share(row, strategy));
                let share = self.plain_share(row, strategy);
                let plain = alike.plain([alike.lives.sum, alike.lives.square].map(|sums| sums[quantity as usize]));
                Some(plain.with_largest(share).and(planted).rare(lives))
            }
            _ => of_losses(quantity).then(|| {
                let planted = self.planted_part(&self.alike(row, strategy), quantity);
                normal(self.plain_part(&[row], strategy, quantity).and(planted))
            }),
        }
    }

    pub(super) fn fleet_losses(&self, strategy: StrategyId, quantity: Quantity) -> Option<Estimate> {
        let lives = self.tally.trials as f64;
        match quantity {
            Quantity::AnyLoss => Some(self.fleet_any_loss(strategy).probability(lives)),
            Quantity::Losses => Some(self.fleet_sum_of_losses(strategy, quantity).rare(lives)),
            _ => of_losses(quantity).then(|| normal(self.fleet_sum_of_losses(strategy, quantity))),
        }
    }

    /// A quantity with losses in it, over the fleet.
    fn fleet_sum_of_losses(&self, strategy: StrategyId, quantity: Quantity) -> Answer {
        let rows: Vec<RowId> = self.study.row_ids().collect();
        let planted = rows.iter().map(|row| self.planted_part(&self.own(*row, strategy), quantity));
        planted.fold(self.plain_part(&rows, strategy, quantity), Answer::and)
    }

    /// Losses of the fleet, with an interval of another confidence.
    pub(super) fn fleet_losses_at(&self, strategy: StrategyId, level: f64) -> Estimate {
        let lives = self.tally.trials as f64;
        let losses = if self.has_planted() {
            self.fleet_sum_of_losses(strategy, Quantity::Losses)
        } else {
            let LifeSums { sum, square, .. } = &self.tally.fleet[strategy.0];
            Answer::of_lives(lives, sum[Quantity::Losses as usize], square[Quantity::Losses as usize])
        };
        losses.rare_at(lives, level)
    }

    pub(super) fn row_years(&self, row: RowId, strategy: StrategyId, told: impl Fn(usize) -> Told) -> Vec<Answer> {
        self.years().map(|year| self.alike(row, strategy).both(told(year))).collect()
    }

    pub(super) fn fleet_years(&self, strategy: StrategyId) -> Vec<Answer> {
        self.years().map(|year| self.fleet_sum(strategy, Told::YearLosses(year))).collect()
    }

    pub(super) fn fleet_any_years(&self, strategy: StrategyId) -> Vec<Answer> {
        self.years()
            .map(|year| self.fleet_told(strategy, Told::YearAnyLoss(year), Told::YearAnyInGroup(year)))
            .collect()
    }

    fn fleet_any_loss(&self, strategy: StrategyId) -> Answer {
        self.fleet_told(strategy, Told::AnyLoss, Told::AnyInGroup)
    }

    fn fleet_told(&self, strategy: StrategyId, of_row: Told, in_group: Told) -> Answer {
        let of_row = |row| self.own(row, strategy).both(of_row);
        self.fleet_any(strategy, of_row, |row| self.own(row, strategy).planted(in_group))
    }

    pub(super) fn row_any_until_years(&self, row: RowId, strategy: StrategyId) -> Vec<Answer> {
        self.years().map(|year| self.alike(row, strategy).any_until(year)).collect()
    }

    pub(super) fn fleet_any_until_years(&self, strategy: StrategyId) -> Vec<Answer> {
        let until = |year: usize| {
            let in_group = |row| self.own(row, strategy).planted_any((0..=year).map(Told::YearFirstInGroup));
            self.fleet_any(strategy, |row| self.own(row, strategy).any_until(year), in_group)
        };
        self.years().map(until).collect()
    }

    /// Chances that the losses of a row cost more than each level.
    pub(super) fn row_costs_above(&self, row: RowId, strategy: StrategyId) -> Vec<Answer> {
        (0..COST_LEVELS).map(|level| self.alike(row, strategy).both(Told::CostAbove(level))).collect()
    }

    /// Chances that those of any row of the fleet do; where rows are lived together, no less than these.
    pub(super) fn fleet_costs_above(&self, strategy: StrategyId) -> Vec<Answer> {
        let above = |level| self.fleet_told(strategy, Told::CostAbove(level), Told::CostAbove(level));
        (0..COST_LEVELS).map(above).collect()
    }

    pub(super) fn row_hot_spots(&self, row: RowId, strategy: StrategyId) -> Vec<Answer> {
        let count = self.row_sums(row, strategy).spots.len();
        (0..count).map(|spot| self.alike(row, strategy).both(Told::HotSpot(spot))).collect()
    }

    fn years(&self) -> std::ops::Range<usize> {
        0..self.tally.fleet[0].losses.len()
    }

    /// Answers as estimates of counts, or of probabilities.
    pub(super) fn as_estimates(&self, answers: Vec<Answer>, are_probabilities: bool) -> Vec<Estimate> {
        let lives = self.tally.trials as f64;
        let of = |answer: Answer| if are_probabilities { answer.probability(lives) } else { answer.rare(lives) };
        answers.into_iter().map(of).collect()
    }

    /// A mean over plain lives, in which losses have the share of plain lives.
    fn plain_part(&self, rows: &[RowId], strategy: StrategyId, quantity: Quantity) -> Answer {
        let sums = match rows {
            [row] => &self.row_sums(*row, strategy).lives,
            _ => &self.tally.fleet[strategy.0],
        };
        let share = rows.iter().map(|row| self.plain_share(*row, strategy)).fold(0.0, f64::max);
        let [sum, square] = [sums.sum, sums.square].map(|sums| sums[quantity as usize]);
        Answer::of_lives(self.tally.trials as f64, sum, square).with_largest(share)
    }

    /// What planted lives add to a quantity that plain lives tell in part.
    pub(super) fn planted_part(&self, sums: &Sums, quantity: Quantity) -> Answer {
        let rest = 1.0 - sums.planted.plain_share(Told::Losses);
        match quantity {
            Quantity::Losses => sums.planted(Told::Losses).times(rest),
            Quantity::LossCost | Quantity::Cost => sums.planted(Told::Cost).times(rest),
            // Days are drawn apart from all else, so that their mean stands for those of each loss.
            Quantity::ForcedDays | Quantity::Days => {
                sums.planted(Told::Losses).times(rest * self.study.costs.loss_days.mean())
            }
            _ => Answer::default(),
        }
    }

    /// Variance of the part that planted lives have in a difference over the fleet, and the same if both strategies had
    /// been lived apart.
    pub(super) fn planted_variance(&self, one: StrategyId, other: StrategyId, quantity: Quantity) -> [f64; 2] {
        if !self.has_planted() || one == other {
            return [0.0; 2];
        }
        let (index, factor) = match quantity {
            Quantity::Losses => (0, 1.0),
            Quantity::Cost => (2, 1.0),
            _ => (0, self.study.costs.loss_days.mean()),
        };
        let mut variances = [0.0; 2];
        for row in self.study.row_ids() {
            let [a, b] = [one, other].map(|strategy| self.planted_part(&self.own(row, strategy), quantity));
            let rests = [one, other].map(|strategy| 1.0 - self.plain_share(row, strategy));
            let covariance = rests[0] * rests[1] * factor * factor * self.planted_covariance(row, one, other, index);
            variances[0] += (a.variance + b.variance - 2.0 * covariance).max(0.0);
            variances[1] += a.variance + b.variance;
        }
        variances
    }

    /// Covariance of what planted lives say of two strategies.
    fn planted_covariance(&self, row: RowId, one: StrategyId, other: StrategyId, index: usize) -> f64 {
        let (i, j, strategies) = (one.0.max(other.0), one.0.min(other.0), self.study.strategies.len());
        let pair = row.0 * strategies * (strategies + 1) / 2 + i * (i + 1) / 2 + j;
        let n = self.tally.planted_lives as f64;
        let through = self.p_came_through(row);
        let told = [Told::Losses, Told::AnyLoss, Told::Cost][index];
        let means = [one, other].map(|strategy| self.planted_sums(row, strategy).of(told)[0] / n);
        (self.tally.planted_products[pair][index] / n - means[0] * means[1]) / (n * through * through)
    }

    /// Standard errors of a difference in the chance of any loss: with what planted lives share, and as if they shared
    /// nothing. What plain lives share is left out, so that the first is no smaller than it should be.
    pub(super) fn any_loss_errors(&self, one: StrategyId, other: StrategyId) -> [f64; 2] {
        let [a, b] = [one, other].map(|strategy| self.fleet_any_loss(strategy));
        let apart = a.variance + b.variance;
        let none = |strategy: StrategyId, answer: Answer, row: RowId| {
            (1.0 - answer.value) / (1.0 - self.own(row, strategy).both(Told::AnyLoss).value.min(1.0 - 1e-12))
        };
        let shared: f64 = self
            .study
            .row_ids()
            .map(|row| {
                let rest = |strategy| 1.0 - self.planted_sums(row, strategy).plain_share(Told::AnyLoss);
                let factors = none(one, a, row) * rest(one) * none(other, b, row) * rest(other);
                factors * self.planted_covariance(row, one, other, 1)
            })
            .sum();
        [(apart - 2.0 * shared).max(0.0).sqrt(), apart.sqrt()]
    }
}

/// Whether a quantity is made of losses alone, or has them in it.
fn of_losses(quantity: Quantity) -> bool {
    matches!(quantity, Quantity::LossCost | Quantity::Cost | Quantity::ForcedDays | Quantity::Days)
}

fn normal(answer: Answer) -> Estimate {
    let reach = normal_quantile(0.975) * answer.variance.sqrt();
    let Answer { value, variance, .. } = answer;
    Estimate { value, standard_error: variance.sqrt(), low: value - reach, high: value + reach, events: f64::NAN }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::simulation::Run;

    /// Planted lives that overlook where losses come from must not hide those that plain lives had.
    #[test]
    fn plain_losses_that_planted_lives_do_not_explain_are_told() {
        let study = Study::parse(include_str!("../../../tests/engine/data/y1c.toml"), "y1c").expect("a good study");
        let run = Run { trials: 600, planted_lives: 600, seed: 4, ..Run::default() };
        let mut comparison = study.simulate(&run).expect("a good run");
        let looks_well = |comparison: &Comparison| {
            let all = study.strategy_ids().map(|strategy| comparison.how_got(RowId(0), strategy));
            all.map(|got| got.plain_had_more).collect::<Vec<bool>>()
        };
        assert_eq!(looks_well(&comparison), [false; 4]);
        // A tenth of what they were.
        comparison.tally.planted_lives *= 10;
        assert_eq!(looks_well(&comparison), [true; 4]);
        assert!(comparison.how_got(RowId(0), StrategyId(1)).is_thin());
        assert!(comparison.warnings().iter().any(|warning| warning.contains("badly")));
        // A tenth of one year alone, which the whole does not show.
        let mut comparison = study.simulate(&Run { trials: 3_000, planted_lives: 3_000, ..run }).expect("a good run");
        let note = |comparison: &Comparison| comparison.how_got(RowId(0), StrategyId(1)).note();
        let lost = comparison.own(RowId(0), StrategyId(1)).lives.years_with_loss.clone();
        let year = (0..lost.len()).max_by(|one, other| lost[*one].total_cmp(&lost[*other])).expect("a year");
        comparison.tally.planted[1].tell_less_of(year, 0.1);
        assert_eq!(note(&comparison), "thin: plain lives had more losses", "{} lives lost a blade", lost[year]);
        comparison.tally.planted[1].tell_less_of(year, 10.0);
        assert_eq!(note(&comparison), "");
        // None at all, in the run and in the pilot: then plain lives are all there is.
        let none = PlantedSums::new(30, 1);
        comparison.tally.planted.fill(PlantedSums::expecting(&none, 600, 1, 600.0, 600.0));
        let strategy = StrategyId(1);
        let [ours, plain] = [Quantity::Losses, Quantity::AnyLoss].map(|what| comparison.row(RowId(0), strategy, what));
        assert_eq!(comparison.how_got(RowId(0), strategy).note(), "plain lives only");
        assert!(ours.value > 0.0 && plain.value > 0.1, "{ours:?} {plain:?}");
    }
}
