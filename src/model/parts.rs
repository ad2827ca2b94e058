//! What a study consists of.

use super::posterior::Posterior;
use super::uncertain::UncertainInput;
use super::{
    Scatter, StrategyId, detection, economics, fleet, growth, initiation, limits, strategy, surface_treatment,
    uncertain,
};
use crate::error::{Error, Result};
use std::sync::Arc;

/// What a study consists of; see [`Study::new`](super::Study::new).
#[derive(Debug, Clone, PartialEq)]
pub struct StudyParts {
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
    /// Inputs that are not known.
    pub uncertain: Vec<uncertain::Uncertain>,
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
    /// Ways of cleaning blades before looks.
    pub cleaning: Vec<surface_treatment::Cleaning>,
    /// Strategies.
    pub strategies: Vec<strategy::Strategy>,
    /// Costs.
    pub costs: economics::Costs,
    /// Limits on the chance of a loss, if there are any.
    pub limits: Option<limits::LossLimits>,
    /// What its records say; none for a study as it stands.
    pub(crate) posterior: Option<Arc<Posterior>>,
}

impl StudyParts {
    /// Checks that whatever is named by its number is there, and that there is one number for each where there should be.
    ///
    /// # Errors
    /// Names the first that is not.
    pub(crate) fn check_numbers(&self) -> Result<()> {
        let techniques = ("technique", self.techniques.len());
        exists("baseline", self.baseline.0, ("strategy", self.strategies.len()))?;
        for row in &self.rows {
            let key = |name: &str| format!("rows.{}.{name}", row.id);
            exists(&key("unit"), row.unit, ("unit", self.units.len()))?;
            exists(&key("root"), row.root, ("root", self.roots.len()))?;
            exists(&key("surface"), row.surface, ("surface", self.surfaces.len()))?;
            row.past_looks.iter().try_for_each(|look| exists(&key("past_looks"), look.technique, techniques))?;
        }
        for spot in self.roots.iter().flat_map(|root| &root.hot_spots) {
            exists(&format!("{}.initiation", spot.id), spot.initiation, ("initiation law", self.initiation.len()))?;
            exists(&format!("{}.growth", spot.id), spot.growth, ("growth law", self.growth.len()))?;
        }
        for strategy in &self.strategies {
            let key = format!("strategies.{}", strategy.id);
            let looks = strategy.looks.iter().flat_map(|look| &look.techniques);
            let escalations = strategy.looks.iter().filter_map(|look| look.escalation.as_ref());
            let second_looks = escalations.flat_map(|escalation| &escalation.techniques);
            let sisters = strategy.sister_rows.iter().flat_map(|sisters| &sisters.techniques);
            let watch = strategy.watch.iter().map(|watch| &watch.technique);
            let mut named = looks.chain(second_looks).chain(sisters).chain(watch).chain(strategy.techniques_at_stops());
            named.try_for_each(|technique| exists(&key, *technique, techniques))?;
            let peened = strategy.peening.iter().flat_map(|peening| peening.rows.iter().flatten());
            let mut rows = strategy.looks.iter().flat_map(|look| look.coverage.rows.iter().flatten()).chain(peened);
            rows.try_for_each(|row| exists(&key, *row, ("row", self.rows.len())))?;
            let mut cleaned = strategy.looks.iter().filter_map(|look| look.cleaning);
            cleaned.try_for_each(|cleaning| exists(&key, cleaning, ("cleaning", self.cleaning.len())))?;
            let deferred = strategy.deferrals.iter().flat_map(|deferral| deferral.units.iter().flatten());
            let mut units = deferred.chain(strategy.starts_limit.iter().flat_map(|limit| limit.units.iter().flatten()));
            units.try_for_each(|unit| exists(&key, *unit, ("unit", self.units.len())))?;
            let mut roots = strategy.spares.iter().flat_map(|stock| stock.roots.iter().flatten());
            roots.try_for_each(|root| exists(&key, *root, ("root", self.roots.len())))?;
        }
        for uncertain in &self.uncertain {
            let key = format!("uncertain.{}.factor_on", uncertain.id);
            for input in &uncertain.factor_on {
                match *input {
                    UncertainInput::InitiationScale(law) => {
                        exists(&key, law, ("initiation law", self.initiation.len()))?;
                    }
                    UncertainInput::GrowthCoefficient(law) => exists(&key, law, ("growth law", self.growth.len()))?,
                    UncertainInput::Q50(technique) => exists(&key, technique, techniques)?,
                }
            }
        }
        for technique in &self.techniques {
            let shifts = technique.surface_shift_log.len();
            has(&format!("techniques.{}.surface_shift_log", technique.id), shifts, self.surfaces.len())?;
        }
        for cleaning in &self.cleaning {
            let factors = cleaning.q50_factors.len();
            has(&format!("cleaning.{}.q50_factor", cleaning.id), factors, self.techniques.len())?;
        }
        has("persistence.correlation", self.persistence.correlation.len(), self.techniques.len())
    }
}

fn exists(key: &str, number: usize, (what, count): (&str, usize)) -> Result<()> {
    if number < count {
        return Ok(());
    }
    let rule = format!("is the number of no {what}; there are {count}, counted from 0");
    Err(Error::argument(key, number, &rule, "take the number from the study's own list"))
}

fn has(key: &str, length: usize, count: usize) -> Result<()> {
    if length == count {
        return Ok(());
    }
    Err(Error::argument(key, format!("{length} of them"), &format!("must be {count}"), "give one for each"))
}
