//! How probable what was found is under a study, and which of its inputs would have to be otherwise to make it more so.
//!
//! The evidence of records under a study is the chance of all that was found and not found. Of two studies the one with the
//! larger evidence explains them better, by the ratio of the two.

use super::Learning;
use super::belief::Sampled;
use super::learning::Watch;
use super::past::RowPast;
use crate::distribution::Distribution;
use crate::error::Result;
use crate::math::exp;
use crate::model::initiation::InitiationShape;
use crate::model::{Study, StudyParts};
use crate::simulation::tables::{Cell, Head, Table};
use crate::statistics::records::Records;
use std::ops::ControlFlow;

/// What is taken to be otherwise, all over the fleet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Assumption {
    /// The reading of the clock at which cracks start.
    CracksStart,
    /// The rate at which they grow.
    Growth,
    /// The size that techniques find with half their probability.
    Detection,
    /// By how much rows differ.
    RowsDiffer,
}

impl Assumption {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::CracksStart, Self::Growth, Self::Detection, Self::RowsDiffer];

    /// What a factor on it is on, in words.
    pub fn name(self) -> &'static str {
        match self {
            Assumption::CracksStart => "time until cracks start",
            Assumption::Growth => "rate of growth",
            Assumption::Detection => "size found with half the probability",
            Assumption::RowsDiffer => "spread of row factors",
        }
    }

    fn apply(self, factor: f64, parts: &mut StudyParts) {
        match self {
            Assumption::CracksStart => parts.initiation.iter_mut().for_each(|law| match &mut law.shape {
                InitiationShape::Weibull { scale, .. } => *scale *= factor,
                InitiationShape::Lognormal { median, .. } => *median *= factor,
                InitiationShape::Exponential { mean } => *mean *= factor,
            }),
            Assumption::Growth => parts.growth.iter_mut().for_each(|law| {
                law.coefficient_m_per_start *= factor;
            }),
            Assumption::Detection => {
                parts.techniques.iter_mut().for_each(|technique| technique.pod.q50_mm *= factor);
            }
            Assumption::RowsDiffer => match &mut parts.scatter.row_factor {
                Distribution::Gamma { cov, .. } => *cov *= factor,
                Distribution::Lognormal { median, sigma_log } => {
                    *sigma_log *= factor;
                    // Its mean stays 1.
                    *median = exp(-0.5 * *sigma_log * *sigma_log);
                }
                _ => {}
            },
        }
    }
}

/// Records under a study with one assumption changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// Which.
    pub assumption: Assumption,
    /// By what factor; 1 for the study as it stands.
    pub factor: f64,
    /// Logarithm of the chance of the records.
    pub ln_evidence: Sampled,
}

/// What would explain records.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanations {
    /// For each assumption the same factors, in rising order, 1 among them.
    pub all: Vec<Explanation>,
    /// Blades that were called, and as many in pasts invented under the study: for each of these the number.
    pub called: usize,
    /// See there.
    pub called_in_invented: Vec<usize>,
}

/// Factors that are tried.
const FACTORS: [f64; 7] = [0.25, 0.5, 0.7, 1.0, 1.4, 2.0, 4.0];
/// Pasts that are invented.
const INVENTED: u64 = 1000;

impl Study {
    /// How probable the records are under the study, and under studies with one assumption changed.
    ///
    /// # Errors
    /// As [`Study::given`]. A change under which the records are impossible has an evidence of minus infinity.
    pub fn explanations(&self, records: &Records, learning: &Learning) -> Result<Explanations> {
        self.explanations_with(records, learning, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::explanations`]; from time to time `ask` is told how many draws were taken, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn explanations_with(
        &self,
        records: &Records,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Explanations> {
        learning.check()?;
        super::fleet::check(self)?;
        let records = &*self.with_found(records)?;
        let pasts = RowPast::all(self, records)?;
        let all = |watch: &Watch| -> Result<Vec<Explanation>> {
            let as_it_is = self.evidence(&pasts, learning, watch)?;
            let mut all = Vec::new();
            for (assumption, factor) in Assumption::ALL.iter().flat_map(|all| FACTORS.map(|factor| (*all, factor))) {
                let ln_evidence = if factor == 1.0 {
                    as_it_is
                } else {
                    self.evidence_if(records, assumption, factor, learning, watch)?
                };
                all.push(Explanation { assumption, factor, ln_evidence });
            }
            Ok(all)
        };
        let all = learning.watched(ask, all)?;
        let mut parts = self.clone().into_parts();
        for past in &pasts {
            parts.rows[past.row].past_looks.clone_from(&past.history.looks);
        }
        let looked_at = Study::of_checked(parts).sharing_paths(self);
        let finds = |seed: u64| -> Result<usize> {
            let past = looked_at.invented_past(learning.seed.wrapping_add(seed))?;
            Ok(pasts.iter().map(|own| past.rows[own.row].finds).sum())
        };
        Ok(Explanations {
            all,
            called: pasts.iter().map(|past| past.history.finds).sum(),
            called_in_invented: (0..INVENTED).map(finds).collect::<Result<_>>()?,
        })
    }

    fn evidence_if(
        &self,
        records: &Records,
        assumption: Assumption,
        factor: f64,
        learning: &Learning,
        watch: &Watch,
    ) -> Result<Sampled> {
        let mut parts = self.clone().into_parts();
        assumption.apply(factor, &mut parts);
        let changed = Study::of_checked(parts).sharing_paths(self);
        let pasts = RowPast::all(&changed, records)?;
        match changed.evidence(&pasts, learning, watch) {
            Err(error) if error.is_contradiction() => {
                Ok(Sampled { value: f64::NEG_INFINITY, standard_error: f64::NAN })
            }
            other => other,
        }
    }
}

impl Explanations {
    /// Share of the invented pasts in which at least as many blades were called, and in which at most as many.
    pub fn chances(&self) -> [f64; 2] {
        let count = self.called_in_invented.len() as f64;
        let share = |is: &dyn Fn(usize) -> bool| {
            self.called_in_invented.iter().filter(|called| is(**called)).count() as f64 / count
        };
        [share(&|called| called >= self.called), share(&|called| called <= self.called)]
    }

    /// A line for each assumption and factor: logarithm of the evidence, its standard error, and how much more probable the
    /// records are than under the study as it stands, as a factor.
    pub fn table(&self) -> Table {
        let heads = [
            Head::Text("assumption"),
            Head::Number("factor"),
            Head::Number("ln_evidence"),
            Head::Number("standard_error"),
            Head::Number("times_as_probable"),
        ];
        let mut table = Table::new("explanations", &heads);
        let as_it_is = self.all.iter().find(|one| one.factor == 1.0).map_or(f64::NAN, |one| one.ln_evidence.value);
        for Explanation { assumption, factor, ln_evidence } in &self.all {
            let Sampled { value, standard_error } = *ln_evidence;
            let numbers = [*factor, value, standard_error, (value - as_it_is).exp()].map(Cell::from);
            table.line(std::iter::once(assumption.name().into()).chain(numbers));
        }
        table
    }
}
