//! The fleet and what happens to it. No threads, files or Python here.

mod assumptions;
pub mod detection;
pub mod economics;
pub mod fleet;
pub mod fracture;
pub mod growth;
mod ids;
pub mod initiation;
pub mod joining;
pub mod residual_stress;
pub mod strategy;
pub mod stress_corrosion;
pub mod usage;
pub mod vibration;
mod warnings;

use crate::distribution::Distribution;
pub use ids::{RowId, StrategyId};

/// The valid whole: fleet, laws, techniques, strategies, costs, horizon.
///
/// A study comes from a study file ([`Study::load`](crate::study_file)) and is valid from then on.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// Name.
    pub name: String,
    /// Year in which it begins.
    pub start_year: f64,
    /// Horizon, in years.
    pub horizon_years: f64,
    /// The strategy the others are compared with.
    pub baseline: StrategyId,
    /// Currency and discounting.
    pub money: economics::Money,
    /// Scatter between rows and between blades.
    pub scatter: Scatter,
    /// Surface conditions.
    pub surfaces: Vec<fleet::Surface>,
    /// Initiation laws.
    pub initiation: Vec<initiation::InitiationLaw>,
    /// Growth laws.
    pub growth: Vec<growth::GrowthLaw>,
    /// Root designs.
    pub roots: Vec<fleet::Root>,
    /// Generating units.
    pub units: Vec<fleet::Unit>,
    /// Blade rows.
    pub rows: Vec<fleet::Row>,
    /// Techniques.
    pub techniques: Vec<detection::Technique>,
    /// Correlation of what a crack keeps, between techniques.
    pub persistence: detection::Persistence,
    /// Strategies.
    pub strategies: Vec<strategy::Strategy>,
    /// Costs.
    pub costs: economics::Costs,
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
