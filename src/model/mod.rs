//! The fleet and what happens to it. No threads, files or Python here.

mod alike;
mod assumptions;
mod conditions;
pub mod detection;
pub mod economics;
pub mod fleet;
pub mod fracture;
pub mod growth;
mod ids;
pub mod initiation;
pub mod joining;
pub mod limits;
mod parts;
mod posterior;
pub mod residual_stress;
mod rules;
pub mod strategy;
pub mod stress_corrosion;
pub mod surface_treatment;
pub mod uncertain;
pub mod usage;
pub mod vibration;
mod warnings;

use crate::distribution::Distribution;
use alike::AlikeRows;
use growth::{GrowthPath, KnownPaths, PathInputs};
pub use ids::{RowId, StrategyId};
pub use parts::StudyParts;
pub(crate) use posterior::{Posterior, RowPosterior, SharedDraw, inputs_number};
use std::ops::{Deref, Range};
use std::sync::{Arc, OnceLock};

/// The valid whole: fleet, laws, techniques, strategies, costs, horizon.
///
/// A study comes from a study file ([`Study::load`](crate::study_file)), or from parts that a file could hold
/// ([`Study::new`]), and never changes. Its parts are read as fields of it.
#[derive(Debug, Clone)]
pub struct Study {
    parts: StudyParts,
    /// The file that said so, word for word; none for a study of parts.
    text: Option<Arc<str>>,
    paths: KnownPaths,
    alike: Arc<OnceLock<AlikeRows>>,
}

impl PartialEq for Study {
    fn eq(&self, other: &Self) -> bool {
        self.parts == other.parts
    }
}

impl Study {
    /// Of parts that are known to be valid.
    pub(crate) fn of_checked(parts: StudyParts) -> Self {
        Study { parts, text: None, paths: KnownPaths::default(), alike: Arc::default() }
    }

    /// Whether it was given records, from which its lives go on.
    pub fn is_given_records(&self) -> bool {
        self.posterior.is_some()
    }

    /// The same, with the text that it was read from.
    pub(crate) fn read_from(self, text: &str) -> Self {
        Study { text: Some(text.into()), ..self }
    }

    /// The text that it was read from.
    pub(crate) fn text(&self) -> Option<&str> {
        self.text.as_deref()
    }

    /// The same, with growth paths that another study knows.
    pub(crate) fn sharing_paths(self, other: &Study) -> Self {
        Study { paths: other.paths.clone(), ..self }
    }

    /// The same, with one unit that runs or stops otherwise.
    pub(crate) fn with_unit(&self, unit: usize, other: fleet::Unit) -> Self {
        let mut parts = self.parts.clone();
        parts.units[unit] = other;
        Study::of_checked(parts).sharing_paths(self)
    }

    /// Whether lives of rows may hang together under a strategy: finds on one send people to others, a loss on one wrecks
    /// others, or they share a stock of spare blades.
    pub(crate) fn rows_hang_together(&self, strategy: &strategy::Strategy) -> bool {
        strategy.ties_rows_of_a_unit()
            || !strategy.spares.is_empty()
            || (0..self.units.len()).any(|unit| self.may_wreck_other_rows(unit))
    }

    /// The units, in runs of neighbours: no stock of spare blades of some strategies is shared by rows of two runs.
    pub(crate) fn units_by_stock(&self, strategies: &[strategy::Strategy]) -> Vec<Range<usize>> {
        let mut goes_on = vec![false; self.units.len()];
        for stock in strategies.iter().flat_map(|strategy| &strategy.spares) {
            let own = || self.rows.iter().filter(|row| stock.is_of(row.root)).map(|row| row.unit);
            if let (Some(first), Some(last)) = (own().min(), own().max()) {
                goes_on[first..last].fill(true);
            }
        }
        let mut runs: Vec<Range<usize>> = Vec::new();
        for unit in 0..self.units.len() {
            match runs.last_mut() {
                Some(run) if goes_on[unit - 1] => run.end = unit + 1,
                _ => runs.push(unit..unit + 1),
            }
        }
        runs
    }

    /// For each row the number of the rows that it is lived together with under a strategy, less than that of units and rows
    /// together: those of its unit, unless a stock of spare blades tells otherwise.
    pub(crate) fn rows_lived_together(&self, strategy: &strategy::Strategy) -> Vec<usize> {
        if strategy.spares.is_empty() {
            return self.rows.iter().map(|row| row.unit).collect();
        }
        let runs = self.units_by_stock(std::slice::from_ref(strategy));
        let run_of = |row: &fleet::Row| runs.iter().position(|run| run.contains(&row.unit)).unwrap_or(0);
        let hang_together = |run: usize| {
            self.rows.iter().filter(|row| run_of(row) == run).any(|row| self.lives_with_others(row, strategy))
        };
        let number = |(index, row): (usize, &fleet::Row)| match run_of(row) {
            run if hang_together(run) => run,
            _ => self.units.len() + index,
        };
        self.rows.iter().enumerate().map(number).collect()
    }

    /// Whether what happens on a row may concern others under a strategy.
    pub(crate) fn lives_with_others(&self, row: &fleet::Row, strategy: &strategy::Strategy) -> bool {
        strategy.ties_rows_of_a_unit()
            || self.may_wreck_other_rows(row.unit)
            || strategy.spares.iter().any(|stock| stock.is_of(row.root))
    }

    /// Whether a loss on a row of a unit may wreck others.
    pub(crate) fn may_wreck_other_rows(&self, unit: usize) -> bool {
        let of_unit = || self.rows.iter().filter(|row| row.unit == unit);
        of_unit().any(|one| {
            self.roots[one.root].consequences.rotor_wrecked_probability > 0.0
                && of_unit().filter(|other| other.rotor == one.rotor).count() > 1
        })
    }

    /// The rows that nothing but their names tells from a row, itself among them.
    pub(crate) fn rows_like(&self, row: RowId) -> &[RowId] {
        self.alike.get_or_init(|| AlikeRows::of(&self.parts)).to(row)
    }

    /// Growth of the cracks of one of its hot spots by Paris' law in one line, tabulated or in closed form.
    pub fn growth_path(&self, spot: &fleet::HotSpot) -> GrowthPath {
        let law = self.growth[spot.growth].clone();
        let &fleet::HotSpot { crack, stress, section, .. } = spot;
        self.paths.path(PathInputs { law, crack, stress, section, initial_depth_mm: spot.initial_depth_mm.clone() })
    }

    /// Its parts, to be changed.
    pub fn into_parts(self) -> StudyParts {
        self.parts
    }
}

impl Deref for Study {
    type Target = StudyParts;

    fn deref(&self) -> &StudyParts {
        &self.parts
    }
}

/// Scatter between rows and between blades.
#[derive(Debug, Clone, PartialEq)]
pub struct Scatter {
    /// Factor on the initiation hazard of a row, of mean 1.
    pub row_factor: Distribution,
    /// Standard deviation of a blade's log stress factor, shared by initiation and growth.
    pub blade_stress_sigma_log: f64,
    /// Source of the numbers.
    pub basis: Option<String>,
}
