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
use std::ops::Deref;
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

    /// Whether lives of rows of one unit may hang together under a strategy: finds on one send people to others, or a loss
    /// on one wrecks others.
    pub(crate) fn rows_hang_together(&self, strategy: &strategy::Strategy) -> bool {
        strategy.sister_rows.is_some() || (0..self.units.len()).any(|unit| self.may_wreck_other_rows(unit))
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
