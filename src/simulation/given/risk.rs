//! Chances of a loss if nobody looks, from lives that go on with planted cracks: sums over possible cracks are too coarse where
//! losses are rare.

use super::Learning;
use crate::error::Result;
use crate::model::strategy::{AfterLoss, Strategy};
use crate::model::{Posterior, RowId, StrategyId, Study};
use crate::simulation::{Estimate, Run};
use std::ops::ControlFlow;
use std::sync::Arc;

/// Years from the start of a study, and the chance that a row loses a blade until then.
pub(super) type Risks = Vec<(f64, Estimate)>;

/// Plain lives, and then lives of each row with a planted crack.
const PLAIN: u64 = 100_000;
const PLANTED: u64 = 30_000;
/// Losses among plain lives from which on these are enough.
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
        let mut parts = self.clone().into_parts();
        parts.rows = rows.iter().map(|&row| parts.rows[row].clone()).collect();
        parts.horizon_years = horizon_years;
        let end = self.start_year + horizon_years;
        parts.units.iter_mut().for_each(|unit| unit.outages.years.retain(|year| *year <= end));
        parts.strategies = vec![Strategy {
            id: "nobody-looks".to_owned(),
            description: String::new(),
            looks: Vec::new(),
            dispositions: Vec::new(),
            watch: None,
            sister_rows: None,
            replace_row_from_blades: None,
            after_loss: AfterLoss::ReplaceBlade,
            row_end: None,
            basis: None,
        }];
        parts.baseline = StrategyId(0);
        parts.posterior = parts.posterior.map(|posterior| {
            let own = rows.iter().map(|&row| posterior.rows[row].clone()).collect();
            Arc::new(Posterior { uncertain: posterior.uncertain.clone(), rows: own })
        });
        let study = Study::of_checked(parts).sharing_paths(self);
        let plain = Run { trials: PLAIN, seed: learning.seed, threads: learning.threads, ..Run::default() };
        let planted = Run { trials: 512, planted_lives: PLANTED, ..plain.clone() };
        let (plain, planted) = (study.simulate_with(&plain, ask)?, study.simulate_with(&planted, ask)?);
        let until = |place: usize| {
            let (row, strategy) = (RowId(place), StrategyId(0));
            let often = plain.row_any_loss_until(row, strategy);
            let is_rare = often.last().is_some_and(|chance| chance.events < ENOUGH);
            let rare = planted.row_any_loss_until(row, strategy);
            let is_seen = rare.last().is_some_and(|chance| chance.value > 0.0);
            // Weights that few lives carry say less than that plain lives saw none.
            if is_rare && is_seen && !planted.how_got(row, strategy).is_thin() { rare } else { often }
        };
        Ok(rows.iter().enumerate().map(|(place, &row)| (row, until(place))).collect())
    }
}
