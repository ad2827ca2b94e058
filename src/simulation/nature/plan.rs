//! What nature does in a row, made ready: every number that does not change from life to life.

use super::cohort::{Cohort, cohorts};
use super::hot_spot_plan::{HotSpotGrowth, HotSpotPlan};
use super::sizes::SPARE;
use crate::distribution::Distribution;
use crate::error::Result;
use crate::model::Study;
use crate::model::detection::SizeMeasure;
use crate::model::fleet::Row;
use crate::model::usage::{Clock, Overspeed, Readings};
use crate::model::{Posterior, RowPosterior};
use crate::random::hash_name;
use crate::simulation::calendar::Calendar;
use crate::simulation::uncertain::UncertainInRow;
use std::sync::Arc;

/// The cracks of one row, ready to be drawn.
#[derive(Debug)]
pub(crate) struct NaturePlan {
    /// Number of the row's name, which keys its draws.
    pub name: u64,
    pub blades: u32,
    pub start_year: f64,
    pub end_year: f64,
    pub calendar: Calendar,
    /// The unit's starts at each outage, and as many to spare as there are free places.
    pub starts_at_outage: Vec<f64>,
    pub starts: Readings,
    pub starts_at_end: f64,
    pub overspeed: Option<Overspeed>,
    pub row_factor: Distribution,
    pub blade_stress_sigma: f64,
    pub hot_spots: Vec<HotSpotPlan>,
    /// Blades of equal age when the row's life begins.
    pub cohorts: Vec<Cohort>,
    /// A new blade at each outage.
    pub new_blades: Vec<Cohort>,
    /// The most that its hazard until the end comes to, at that outage or a later one, for row factor 1; and one that no blade
    /// survives.
    pub new_blade_hazards: Vec<f64>,
    /// Largest share that each hot spot has in that hazard, over the outages: the hazard that one hot spot survives tells
    /// how much the whole blade does.
    pub new_blade_shares: Vec<f64>,
    /// Whether new blades can be drawn before they are asked for: each origin that cracks has a crack.
    pub draws_new_blades_ahead: bool,
    /// Whether every initial depth is lognormal or fixed.
    pub lognormal_depths: bool,
    /// The power that is common to all hot spots, if it is; see [`HotSpotPlan::depth_power`].
    pub depth_power: Option<f64>,
    /// Chance that the mouth of a crack is closed; none where it goes by the layer.
    pub closed_mouth_probability: Option<f64>,
    /// Whether any crack may have a closed mouth.
    pub mouths_may_close: bool,
    /// How what is uncertain enters.
    pub uncertain: UncertainInRow,
    /// What records say, with the number of the row there.
    pub posterior: Option<(Arc<Posterior>, usize)>,
    /// Whether any technique goes by the geometric mean of depth and length.
    pub uses_mean_size: bool,
}

impl NaturePlan {
    /// Makes a row ready.
    ///
    /// # Errors
    /// Refuses hot spots whose growth law, loads and limit do not fit together.
    pub fn new(study: &Study, row: &Row) -> Result<Self> {
        Self::peened(study, row, &[])
    }

    /// The same where its blades are peened in some years, each by a factor on the time that is left.
    pub fn peened(study: &Study, row: &Row, peenings: &[(f64, f64)]) -> Result<Self> {
        let unit = &study.units[row.unit];
        let end_year = study.start_year + study.horizon_years;
        let past = row.past_looks.iter().map(|look| look.year);
        let calendar = Calendar::new(past, &unit.outages.years, row.in_service_year, end_year);
        let starts = Readings::new(&unit.duty, Clock::STARTS);
        let root = &study.roots[row.root];
        let surface = &study.surfaces[row.surface];
        let hot_spots = (0..root.hot_spots.len()).map(|spot| HotSpotPlan::new(study, row, spot, end_year, peenings));
        let hot_spots: Vec<HotSpotPlan> = hot_spots.collect::<Result<_>>()?;
        let new_blade = |&year: &f64| Cohort::new(&hot_spots, year, Vec::new());
        let new_blades: Vec<Cohort> = calendar.years.iter().map(new_blade).collect();
        let last_year = calendar.years.last().unwrap_or(&study.start_year);
        let years = calendar.years.iter().chain(std::iter::repeat_n(last_year, SPARE));
        let is_curve = |spot: &HotSpotPlan| matches!(spot.growth, HotSpotGrowth::Curve { .. });
        let blade_stress_sigma = study.scatter.blade_stress_sigma_log;
        let first_power = hot_spots.first().map(|spot| spot.depth_power);
        Ok(NaturePlan {
            name: hash_name(&row.id),
            blades: row.blades,
            start_year: study.start_year,
            end_year,
            starts_at_outage: years.map(|&year| starts.at(year)).collect(),
            starts_at_end: starts.at(end_year),
            overspeed: unit.overspeed,
            starts,
            row_factor: study.scatter.row_factor.clone(),
            blade_stress_sigma,
            cohorts: cohorts(row, &hot_spots),
            new_blade_hazards: most_from_each(&new_blades),
            new_blade_shares: new_blade_shares(&hot_spots, &new_blades),
            new_blades,
            draws_new_blades_ahead: blade_stress_sigma == 0.0 && hot_spots.iter().all(is_curve),
            lognormal_depths: hot_spots.iter().all(|spot| spot.depth_sigma.is_finite()),
            depth_power: first_power.filter(|power| hot_spots.iter().all(|spot| spot.depth_power == *power)),
            hot_spots,
            closed_mouth_probability: surface.closed_mouth_probability,
            mouths_may_close: surface.may_close_mouths(),
            uncertain: UncertainInRow::new(study, row.root)?,
            posterior: posterior(study, row),
            uses_mean_size: study.techniques.iter().any(|technique| technique.pod.size == SizeMeasure::GeometricMean),
            calendar,
        })
    }
}

impl NaturePlan {
    /// What records say of the row, if there are any of it.
    pub fn given_records(&self) -> Option<&RowPosterior> {
        let (posterior, row) = self.posterior.as_ref()?;
        posterior.rows[*row].as_ref()
    }

    /// The draw of what records say of all rows that one of its own draws goes with.
    pub fn shared_draw(&self, draw: usize) -> Option<usize> {
        let (posterior, row) = self.posterior.as_ref()?;
        let own = posterior.rows[*row].as_ref()?;
        Some(draw / (own.hazards.len() / posterior.uncertain.len()))
    }
}

/// What records say of a study, with the number of a row there.
fn posterior(study: &Study, row: &Row) -> Option<(Arc<Posterior>, usize)> {
    let number = study.rows.iter().position(|other| other.id == row.id)?;
    study.posterior.as_ref().map(|posterior| (Arc::clone(posterior), number))
}

/// See [`NaturePlan::new_blade_hazards`]. A later blade may crack sooner, since it misses a peening.
fn most_from_each(new_blades: &[Cohort]) -> Vec<f64> {
    let mut most = vec![f64::NAN; new_blades.len() + 1];
    let mut so_far = 0.0;
    for (outage, cohort) in new_blades.iter().enumerate().rev() {
        so_far = if cohort.hazard > so_far { cohort.hazard } else { so_far };
        most[outage] = so_far;
    }
    most
}

/// See [`NaturePlan::new_blade_shares`].
fn new_blade_shares(hot_spots: &[HotSpotPlan], new_blades: &[Cohort]) -> Vec<f64> {
    let share = |(index, spot): (usize, &HotSpotPlan)| {
        let of_spot = new_blades.iter().filter(|cohort| cohort.hazard > 0.0);
        of_spot.map(|cohort| spot.origins * cohort.hazards[index] / cohort.hazard).fold(0.0, f64::max)
    };
    hot_spots.iter().enumerate().map(share).collect()
}
