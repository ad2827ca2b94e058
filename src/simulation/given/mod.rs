//! A study given its records: what to believe of its rows, and lives that go on from there.

mod belief;
mod draws;
mod explanations;
mod find;
mod fleet;
mod found;
mod grid;
mod hindcast;
mod history;
mod initiation;
mod invented;
mod lattice;
mod learning;
mod likelihood;
mod outlook;
mod past;
mod pool;
mod risk;
mod row;
mod shared;
mod sums;
mod tables;
mod unused;

#[cfg(test)]
mod calibration;
#[cfg(test)]
mod rejection;
#[cfg(test)]
mod tests;

pub use belief::{Belief, Believed, RowBelief, Sampled};
pub use explanations::{Assumption, Explanation, Explanations};
pub use hindcast::{Hindcast, PredictedLook};
pub use initiation::{ClockFit, InitiationClocks, InitiationOnStudy};
pub use invented::{InventedPast, TrueRow};
pub use learning::Learning;
pub(super) use risk::over_repeats;

use crate::error::Result;
use crate::model::{Posterior, Study};
use crate::random::Key;
use crate::simulation::estimate::Estimate;
use crate::simulation::normal_component::Component;
use crate::simulation::single_inspection::named;
use crate::statistics::records::Records;
use fleet::{FleetSamples, RowWeights};
use learning::Watch;
use past::{RowPast, RowRepeat};
use rayon::prelude::*;
use std::ops::ControlFlow;
use std::sync::Arc;
#[cfg(test)]
use std::sync::atomic::{AtomicBool, AtomicU64};
use sums::RowSums;
use tables::YEARS_AHEAD;

/// A study given its records.
#[derive(Debug, Clone)]
pub struct Given {
    /// The study, whose lives go on from what was found and what was not.
    pub study: Study,
    /// What is believed of it now.
    pub belief: Belief,
    /// What the records say and is not used, and what had to be taken for granted, in sentences.
    pub notes: Vec<String>,
}

impl Study {
    /// The study given the records of its looks: what was found, and what was not found.
    ///
    /// Blades that were called are taken as replaced at that inspection; a blade without a line at an inspection was not
    /// looked at there. A row without records whose `past_looks` say how many blades they `found` is given that; which blades
    /// these were is not known, so those renewed then are taken, or else the oldest. Rows without records and without
    /// `past_looks` are given the fact that they lost no blade. A row with `past_looks` of which nothing is known stays as it
    /// was, but for what is uncertain.
    ///
    /// Given the row factor, the growth of the row and the shifts of its looks, which are sampled, blades are independent and
    /// cracks that were missed are drawn exactly. Where cracks can join, each is weighed as if it stood alone; lives that go
    /// on have them join. Against brute force on a row of twenty blades, three origins each, row factors are up to a twentieth
    /// too high then, counts of cracks by as much or somewhat more, and the longest is one or two per cent too short; lives
    /// have the longest right.
    ///
    /// # Errors
    /// Lists all lines that do not fit the study; refuses what cannot be learned, and records that are impossible under it.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::Learning;
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("tests/engine/data/given/a.toml")?;
    /// let records = Records::load("tests/engine/data/given/b.csv", &Format::default())?;
    /// let learning = Learning { draws: 64, cracks: 256, ..Learning::default() };
    /// let given = study.given(&records, &learning)?;
    /// // Three blades of twenty were found cracked: this row is worse than most.
    /// assert!(given.belief.rows[0].row_factor.mean.value > 1.0);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn given(&self, records: &Records, learning: &Learning) -> Result<Given> {
        self.given_with(records, learning, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::given`]; from time to time `ask` is told how many draws were taken, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn given_with(
        &self,
        records: &Records,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Given> {
        learning.check()?;
        fleet::check(self)?;
        let with_found = self.with_found(records)?;
        let pasts = RowPast::all(self, &with_found)?;
        let mut taken = 0;
        let mut asked = |done: u64| {
            taken = done;
            ask(done)
        };
        let mut given = learning.watched(&mut asked, |watch| self.given_pasts(&pasts, learning, watch))?;
        let risks = given.study.risks_unseen(YEARS_AHEAD as u32, learning, &mut |_| ask(taken))?;
        for row in &mut given.belief.rows {
            let at = |(years, risk): &(f64, Estimate)| (self.start_year + years, *risk);
            row.p_loss = risks[row.row.0].iter().map(at).collect();
        }
        given.notes = unused::notes(self, records, &with_found, &pasts);
        given.study = given.study.with_posterior(|posterior| posterior.relative_error = risk::relative_error(&risks));
        Ok(given)
    }

    /// The study given its records as far as one row asks for them, which is far quicker: other rows stay as they are where they
    /// tell nothing of it, since nothing is uncertain that they share. No chance of a loss is lived.
    ///
    /// # Errors
    /// As [`Study::given_with`], of a row that is not in the study too.
    pub fn given_for_row_with(
        &self,
        row: &str,
        records: &Records,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Study> {
        learning.check()?;
        fleet::check(self)?;
        let row = named("row", row, "in the study", self.rows.iter().map(|row| row.id.as_str()))?;
        let mut pasts = RowPast::all(self, &*self.with_found(records)?)?;
        if self.uncertain.is_empty() {
            pasts.retain(|past| past.row == row);
        }
        if pasts.is_empty() {
            return Ok(self.clone());
        }
        Ok(learning.watched(ask, |watch| self.given_pasts(&pasts, learning, watch))?.study)
    }

    /// The same on the threads at hand, without asking.
    #[cfg(test)]
    fn given_now(&self, pasts: &[RowPast], learning: &Learning) -> Result<Given> {
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        self.given_pasts(pasts, learning, &Watch { stop: &stop, done: &done })
    }

    /// Samples all rows, and what is uncertain of all of them, in all repeats.
    fn sampled<'p>(
        &self,
        pasts: &'p [RowPast],
        learning: &Learning,
        watch: &Watch,
    ) -> Result<(Vec<Vec<RowRepeat<'p>>>, Vec<FleetSamples>)> {
        let tasks: Vec<(usize, u32)> =
            (0..learning.repeats).flat_map(|repeat| (0..pasts.len()).map(move |row| (row, repeat))).collect();
        let fit = |past: &RowPast| past.fit(self, learning, watch);
        let proposals: Vec<Option<Component>> = pasts.par_iter().map(fit).collect::<Result<_>>()?;
        let sample =
            |&(row, repeat): &(usize, u32)| pasts[row].sample(self, learning, repeat, proposals[row].as_ref(), watch);
        let mut sampled: Vec<RowRepeat> = tasks.par_iter().map(sample).collect::<Result<_>>()?;
        let mut repeats: Vec<Vec<RowRepeat>> = Vec::new();
        for _ in 0..learning.repeats {
            let rest = sampled.split_off(pasts.len());
            repeats.push(std::mem::replace(&mut sampled, rest));
        }
        let of_fleet = |(repeat, rows): (usize, &Vec<RowRepeat>)| {
            let weights: Vec<&RowWeights> = rows.iter().map(|row| &row.weights).collect();
            let seed = learning.seed_of(usize::MAX, repeat as u32);
            fleet::sample(&weights, self.uncertain.len(), 4 * learning.draws as usize, seed)
        };
        let fleets: Vec<FleetSamples> = repeats.par_iter().enumerate().map(of_fleet).collect();
        Ok((repeats, fleets))
    }

    /// The logarithm of the chance of some histories.
    fn evidence(&self, pasts: &[RowPast], learning: &Learning, watch: &Watch) -> Result<Sampled> {
        let (_, fleets) = self.sampled(pasts, learning, watch)?;
        Ok(Sampled::over(fleets.iter().map(|fleet| fleet.ln_chance)))
    }

    fn given_pasts(&self, pasts: &[RowPast], learning: &Learning, watch: &Watch) -> Result<Given> {
        let (repeats, fleets) = self.sampled(pasts, learning, watch)?;
        let posterior = self.posterior_of(pasts, &repeats, &fleets, learning);
        let parts = repeats
            .into_iter()
            .zip(&fleets)
            .flat_map(|(rows, fleet)| rows.into_iter().enumerate().map(move |(row, sampled)| (row, fleet, sampled)));
        let sums: Vec<(usize, RowSums)> = parts
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|(row, fleet, mut sampled)| (row, pasts[row].sums(&mut sampled, fleet, learning)))
            .collect();
        let of_row =
            |row: usize| sums.iter().filter(|(other, _)| *other == row).map(|(_, sums)| sums).collect::<Vec<_>>();
        let rows = pasts.iter().enumerate().map(|(row, past)| past.belief(self, &of_row(row))).collect();
        let belief = Belief::of(self, &fleets, rows);
        belief.refuse_if_thin(self)?;
        Ok(Given { study: self.going_on(pasts, posterior), belief, notes: Vec::new() })
    }

    /// Equally likely draws of all repeats.
    fn posterior_of(
        &self,
        pasts: &[RowPast],
        repeats: &[Vec<RowRepeat>],
        fleets: &[FleetSamples],
        learning: &Learning,
    ) -> Posterior {
        /// Values of what is uncertain, of all draws of a row.
        const FLEETS: usize = 1_024;
        let all = if self.uncertain.is_empty() { fleets.len() } else { FLEETS };
        let of_repeat = all.div_ceil(fleets.len());
        let each = (draws::DRAWS / (of_repeat * fleets.len())).max(1);
        let key = Key::from_seed(learning.seed).named("draws given records");
        let chosen: Vec<Vec<&Vec<f64>>> =
            (0..).zip(fleets).map(|(repeat, fleet)| draws::of_fleet(fleet, of_repeat, key.uniform(repeat))).collect();
        let mut rows = vec![None; self.rows.len()];
        for (place, past) in pasts.iter().enumerate() {
            let mut row = past.without_draws();
            for (repeat, chosen) in repeats.iter().zip(&chosen) {
                past.add_draws(&repeat[place].weights, chosen, each, &mut row);
            }
            rows[past.row] = Some(row);
        }
        let uncertain = chosen.into_iter().flatten().cloned().collect();
        Posterior { uncertain, rows, relative_error: None }
    }

    /// The same study with its posterior changed.
    fn with_posterior(self, change: impl FnOnce(&mut Posterior)) -> Study {
        let paths = self.clone();
        let mut parts = self.into_parts();
        if let Some(posterior) = &mut parts.posterior {
            change(Arc::make_mut(posterior));
        }
        Study::of_checked(parts).sharing_paths(&paths)
    }

    /// The study whose lives go on from the histories of its rows.
    fn going_on(&self, pasts: &[RowPast], posterior: Posterior) -> Study {
        let mut parts = self.clone().into_parts();
        for past in pasts {
            let row = &mut parts.rows[past.row];
            row.past_looks.clone_from(&past.history.looks);
            row.renewed = past.history.renewed(row.in_service_year);
        }
        parts.posterior = Some(Arc::new(posterior));
        Study::of_checked(parts).sharing_paths(self)
    }
}
