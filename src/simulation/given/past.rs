//! A row with its history, ready to be sampled.

use super::fleet::{Entries, RowWeights};
use super::history::{History, histories};
use super::learning::{Learning, Watch};
use super::likelihood::{Fineness, RowModel};
use super::outlook::Question;
use super::row::{self, RowPrior};
use super::shared::{SharedNumber, shared_numbers};
use super::tables::YEARS_AHEAD;
use crate::error::{Error, Kind, Result};
use crate::model::Study;
use crate::simulation::inspection::InspectionPlan;
use crate::simulation::nature::NaturePlan;
use crate::simulation::normal_component::Component;
use crate::statistics::records::Records;
use std::sync::atomic::Ordering;

/// A row with its history, ready to be sampled.
pub(super) struct RowPast {
    pub row: usize,
    pub history: History,
    pub nature: NaturePlan,
    pub inspection: InspectionPlan,
    pub in_service_year: f64,
    pub numbers: Vec<SharedNumber>,
    pub entries: Entries,
    pub question: Question,
}

impl RowPast {
    /// All rows of which there are records.
    pub fn all(study: &Study, records: &Records) -> Result<Vec<Self>> {
        let histories = histories(study, records)?;
        let known = histories.into_iter().enumerate().filter_map(|(row, history)| Some((row, history?)));
        known.map(|(row, history)| Self::new(study, row, history)).collect()
    }

    pub fn new(study: &Study, row: usize, history: History) -> Result<Self> {
        // The start of the study stands in its calendar, so that sizes are known there.
        let mut parts = study.clone().into_parts();
        let unit = parts.rows[row].unit;
        let outages = &mut parts.units[unit].outages.years;
        let next = outages.iter().position(|year| *year > study.start_year);
        let next_year = next.map(|next| outages[next]);
        // No later outage is asked for, and each would cost its sizes.
        *outages = std::iter::once(study.start_year).chain(next_year).collect();
        let last = next_year.into_iter().fold(study.start_year + YEARS_AHEAD, f64::max);
        parts.horizon_years = last - study.start_year + 0.1;
        parts.rows[row].past_looks.clone_from(&history.looks);
        // No look of the past is at a cleaned surface.
        parts.cleaning.clear();
        let made = Study::of_checked(parts).sharing_paths(study);
        let nature = NaturePlan::new(&made, &made.rows[row])?;
        let inspection = InspectionPlan::new(&made, &made.rows[row], |_| true);
        let numbers = shared_numbers(&nature, &inspection, &history);
        let techniques: Vec<usize> = history.looks.iter().map(|look| look.technique).collect();
        let entries = Entries::new(nature.uncertain.clone(), &numbers, &techniques);
        let mut years: Vec<f64> =
            (1..=(12.0 * YEARS_AHEAD) as u32).map(|month| study.start_year + f64::from(month) / 12.0).collect();
        years.extend(next_year);
        years.sort_by(f64::total_cmp);
        years.dedup();
        let question = Question {
            lengths_mm: lengths_mm(&nature),
            years,
            next_outage: next_year.map(|_| nature.calendar.start + 1),
            techniques: (0..study.techniques.len()).collect(),
            most_called: None,
        };
        let in_service_year = study.rows[row].in_service_year;
        Ok(RowPast { row, history, nature, inspection, in_service_year, numbers, entries, question })
    }

    fn model(&self, fineness: Fineness) -> RowModel<'_> {
        let variance = self.entries.hazard_variance();
        let next = self.question.next_outage.map(|outage| self.nature.calendar.years[outage]);
        let ahead: Vec<f64> = self.question.years.iter().copied().chain(next).collect();
        RowModel::new((&self.nature, &self.inspection), &self.history, self.in_service_year, variance, &ahead, fineness)
    }
}

/// Lengths in equal ratios, from those that hardly any crack is shorter than to those that hardly any comes to.
fn lengths_mm(nature: &NaturePlan) -> Vec<f64> {
    const COUNT: i32 = 64;
    let initial = |spot: &crate::simulation::nature::HotSpotPlan| spot.initial_depth.at_normal(-3.0);
    let shortest = nature.hot_spots.iter().map(initial).fold(f64::INFINITY, f64::min).max(0.02);
    let longest = (250.0 * shortest).max(40.0);
    let ratio = (longest / shortest).powf(1.0 / f64::from(COUNT));
    (0..=COUNT).map(|number| shortest * ratio.powi(number)).collect()
}

/// One repeat of a row, sampled.
pub(super) struct RowRepeat<'p> {
    pub model: RowModel<'p>,
    pub weights: RowWeights,
}

impl RowPast {
    /// Fits what all repeats draw from, with fewer possible cracks: what is drawn hangs on no proposal.
    pub fn fit(&self, study: &Study, learning: &Learning, watch: &Watch) -> Result<Option<Component>> {
        const FEWER: usize = 4;
        let seed = learning.seed_of(self.row, u32::MAX);
        let (mut model, prior) = self.ready(study, (learning.cracks as usize / FEWER).max(64), seed)?;
        let draws = ((learning.draws as usize / 2).max(64), seed ^ 0x5555);
        let fitted = row::fit(&mut model, &self.numbers, &prior, draws, watch);
        fitted.ok_or_else(|| stopped(study, learning, watch))
    }

    fn ready(&self, study: &Study, cracks: usize, seed: u32) -> Result<(RowModel<'_>, RowPrior)> {
        // Some cracks in each cell.
        let cells = (cracks / 8).clamp(8, 96);
        let model = self.model(Fineness { cracks, cracks_of_find: (cracks / 8).max(32), cells, seed });
        let prior = RowPrior::new(self.numbers.len(), &self.entries, &model.lattice);
        Ok((model, prior.ok_or_else(|| self.impossible(study))?))
    }

    pub fn sample(
        &self,
        study: &Study,
        learning: &Learning,
        repeat: u32,
        proposal: Option<&Component>,
        watch: &Watch,
    ) -> Result<RowRepeat<'_>> {
        let seed = learning.seed_of(self.row, repeat);
        let (mut model, prior) = self.ready(study, learning.cracks as usize, seed)?;
        let draws = (learning.draws as usize, seed ^ 0x5555);
        let samples = row::sample(&mut model, &self.numbers, &prior, proposal, draws, watch);
        let samples = samples.ok_or_else(|| stopped(study, learning, watch))?;
        if samples.iter().all(|sample| sample.ln_chances.iter().all(|ln| *ln == f64::NEG_INFINITY)) {
            return Err(self.impossible(study));
        }
        let weights = RowWeights::new(model.lattice.clone(), self.entries.clone(), samples);
        Ok(RowRepeat { model, weights })
    }

    pub fn impossible(&self, study: &Study) -> Error {
        Error {
            kind: Kind::Contradiction {
                what: format!(
                    "rows.{}: what its records say cannot come about under the study",
                    study.rows[self.row].id
                ),
                remedy: "compare the measured lengths with what cracks of the study can come to".to_owned(),
            },
        }
    }
}

fn stopped(study: &Study, learning: &Learning, watch: &Watch) -> Error {
    Error {
        kind: Kind::Interrupted {
            done: watch.done.load(Ordering::Relaxed),
            wanted: u64::from(learning.repeats * learning.draws) * study.rows.len() as u64,
            of: "draws",
        },
    }
}
