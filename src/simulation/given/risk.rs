//! Chances of a loss if nobody looks, from lives that go on with planted cracks: sums over possible cracks are too coarse where
//! losses are rare.
//!
//! Lives are lived from the draws of each repeat apart. What the repeats differ by holds all errors: that of the lives, and
//! that of the draws, which no number of lives shows.

use super::Learning;
use crate::error::Result;
use crate::model::strategy::Strategy;
use crate::model::{Posterior, RowId, StrategyId, Study, StudyParts};
use crate::simulation::{Estimate, Run};
use crate::statistics::interval;
use std::ops::ControlFlow;
use std::sync::Arc;

/// Years from the start of a study, and the chance that a row loses a blade until then.
pub(super) type Risks = Vec<(f64, Estimate)>;

/// Plain lives, and then lives of each row with a planted crack, over all repeats.
const PLAIN: u64 = 80_000;
const PLANTED: u64 = 30_000;
/// Plain lives beside the planted ones: the more lives there are, the better these are tuned.
const BESIDE: u64 = 5_120;
/// Losses in the first year among the plain lives of a repeat, from which on these are enough.
const ENOUGH: f64 = 100.0;

impl Study {
    /// For each row, after each of some years; rows of a unit also up to its next outage.
    pub(super) fn risks_unseen(
        &self,
        years: u32,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Vec<Risks>> {
        let mut risks: Vec<Risks> = vec![Vec::new(); self.rows.len()];
        let all: Vec<usize> = (0..self.rows.len()).collect();
        for (row, estimates) in self.unseen(&all, f64::from(years), learning, ask)? {
            risks[row].extend((1..).map(f64::from).zip(estimates));
        }
        for unit in 0..self.units.len() {
            let next = self.units[unit].outages.years.iter().find(|year| **year > self.start_year);
            let Some(next) = next else { continue };
            let ahead = next - self.start_year;
            let rows: Vec<usize> = all.iter().copied().filter(|&row| self.rows[row].unit == unit).collect();
            for (row, estimates) in self.unseen(&rows, ahead, learning, ask)? {
                let last = estimates.last().map(|estimate| (ahead, *estimate));
                risks[row].retain(|(years, _)| *years != ahead);
                risks[row].extend(last);
                risks[row].sort_by(|one, other| one.0.total_cmp(&other.0));
            }
        }
        Ok(risks)
    }

    /// Chances of a loss up to the end of each year for some rows, over a horizon.
    fn unseen(
        &self,
        rows: &[usize],
        horizon_years: f64,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Vec<(usize, Vec<Estimate>)>> {
        if rows.is_empty() {
            return Ok(Vec::new());
        }
        let mut parts = self.with_rows(rows).into_parts();
        parts.horizon_years = horizon_years;
        let end = self.start_year + horizon_years;
        parts.units.iter_mut().for_each(|unit| unit.outages.years.retain(|year| *year <= end));
        parts.strategies = vec![Strategy::nobody_looks()];
        parts.baseline = StrategyId(0);
        let Some(posterior) = parts.posterior.clone() else { return Ok(Vec::new()) };
        let mut repeats = Vec::new();
        for repeat in 0..learning.repeats as usize {
            let draws = Some(Arc::new(posterior.of_repeat(repeat, learning.repeats as usize)));
            let study = Study::of_checked(StudyParts { posterior: draws, ..parts.clone() }).sharing_paths(self);
            repeats.push(study.unseen_of_repeat(learning, ask)?);
        }
        let of_row = |place: usize| {
            let years = repeats[0][place].len();
            (0..years)
                .map(|year| over_repeats(&repeats.iter().map(|rows| rows[place][year]).collect::<Vec<_>>()))
                .collect()
        };
        Ok(rows.iter().enumerate().map(|(place, &row)| (row, of_row(place))).collect())
    }

    /// The same of one repeat, by place.
    fn unseen_of_repeat(
        &self,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Vec<Vec<Estimate>>> {
        let strategy = StrategyId(0);
        let share = |lives: u64| lives.div_ceil(u64::from(learning.repeats));
        let plain = Run { trials: share(PLAIN), seed: learning.seed, threads: learning.threads, ..Run::default() };
        let planted = Run { trials: BESIDE, planted_lives: share(PLANTED), ..plain.clone() };
        let plain = self.simulate_with(&plain, ask)?;
        let mut until: Vec<Vec<Estimate>> = self.row_ids().map(|row| plain.row_any_loss_until(row, strategy)).collect();
        let is_rare = |row: &usize| until[*row].first().is_some_and(|chance| chance.events < ENOUGH);
        let rare: Vec<usize> = (0..until.len()).filter(is_rare).collect();
        if rare.is_empty() {
            return Ok(until);
        }
        let planted = self.with_rows(&rare).simulate_with(&planted, ask)?;
        for (place, row) in rare.into_iter().enumerate() {
            let chances = planted.row_any_loss_until(RowId(place), strategy);
            let is_seen = chances.last().is_some_and(|chance| chance.value > 0.0);
            // Weights that few lives carry say less than that plain lives saw none.
            if is_seen && !planted.how_got(RowId(place), strategy).is_thin() {
                until[row] = chances;
            }
        }
        Ok(until)
    }

    /// Some of the rows, and what is believed of them.
    fn with_rows(&self, rows: &[usize]) -> Study {
        let mut parts = self.clone().into_parts();
        parts.rows = rows.iter().map(|&row| self.rows[row].clone()).collect();
        parts.posterior = parts.posterior.map(|posterior| {
            let own = rows.iter().map(|&row| posterior.rows[row].clone()).collect();
            Arc::new(Posterior { rows: own, ..(*posterior).clone() })
        });
        Study::of_checked(parts).sharing_paths(self)
    }
}

/// One chance from those of independent repeats.
pub(in crate::simulation) fn over_repeats(repeats: &[Estimate]) -> Estimate {
    let count = repeats.len() as f64;
    let mean = |of: &dyn Fn(&Estimate) -> f64| repeats.iter().map(of).sum::<f64>() / count;
    let value = mean(&|one| one.value);
    let events = repeats.iter().map(|one| one.events).sum();
    if value == 0.0 {
        // So many lives in all saw none.
        let high = mean(&|one| one.high) / count;
        return Estimate { value, standard_error: 0.0, low: 0.0, high, events };
    }
    let of_lives = (mean(&|one| one.standard_error * one.standard_error) / count).sqrt();
    let between = (mean(&|one| (one.value - value).powi(2)) / (count - 1.0)).sqrt();
    // Few repeats may lie near each other by chance.
    let half_width = (interval::half_width(f64::INFINITY, 0.95) * of_lives)
        .max(interval::half_width(count - 1.0, 0.95) * between)
        / value;
    Estimate {
        value,
        standard_error: of_lives.max(between),
        low: value * (-half_width).exp(),
        high: (value * half_width.exp()).min(1.0),
        events,
    }
}

/// Root mean square over rows of the relative standard errors of chances of a loss; none where nothing is lost.
pub(super) fn relative_error(risks: &[Risks]) -> Option<f64> {
    let last = risks.iter().filter_map(|risks| risks.last()).map(|(_, chance)| chance);
    let squares: Vec<f64> =
        last.filter(|chance| chance.value > 0.0).map(|chance| (chance.standard_error / chance.value).powi(2)).collect();
    (!squares.is_empty()).then(|| (squares.iter().sum::<f64>() / squares.len() as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, standard_error: f64, high: f64, events: f64) -> Estimate {
        Estimate { value, standard_error, low: 0.0, high, events }
    }

    #[test]
    fn repeats_that_differ_by_more_than_their_lives_say_widen_the_interval() {
        let alike = over_repeats(&[1.0, 1.01, 0.99, 1.0].map(|value| estimate(1e-3 * value, 1e-4, 2e-3, 100.0)));
        assert!((alike.value - 1e-3).abs() < 1e-12 && alike.events == 400.0);
        // Of lives: 1e-4 over the root of four.
        assert!((alike.standard_error - 5e-5).abs() < 1e-12, "{alike:?}");
        assert!((alike.high / alike.value - (1.959_964 * 0.05_f64).exp()).abs() < 1e-6, "{alike:?}");
        let apart = over_repeats(&[0.5, 1.5, 0.8, 1.2].map(|value| estimate(1e-3 * value, 1e-5, 2e-3, 100.0)));
        let deviation = (0.25_f64 + 0.25 + 0.04 + 0.04) / 12.0;
        assert!((apart.standard_error - 1e-3 * deviation.sqrt()).abs() < 1e-12, "{apart:?}");
        // Student's t with three degrees of freedom, from memory of any table: 3.1824.
        assert!((apart.low / apart.value - (-3.182_446 * deviation.sqrt()).exp()).abs() < 1e-6, "{apart:?}");
    }

    #[test]
    fn no_loss_in_any_repeat_is_a_bound_by_all_lives() {
        let none = over_repeats(&[estimate(0.0, 0.0, 4e-4, 0.0); 4]);
        assert!(none.value == 0.0 && (none.high - 1e-4).abs() < 1e-15, "{none:?}");
    }
}
