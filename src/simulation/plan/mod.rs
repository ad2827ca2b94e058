//! A study made ready to be lived: for each row, every number that does not change from life to life.

mod class;
mod cohort;
mod technique;

pub(crate) use class::{Class, Followed, Ways};
pub(crate) use cohort::Cohort;
pub(crate) use technique::TechniquePlan;

use super::calendar::Calendar;
use super::observe::WorkPlan;
use super::policy::Policy;
use super::population::SPARE;
use crate::distribution::Distribution;
use crate::error::Result;
use crate::model::Study;
use crate::model::detection::SizeMeasure;
use crate::model::fleet::Row;
use crate::model::usage::{Clock, Overspeed, Readings};
use crate::random::hash_name;
use class::TabledWays;
use cohort::cohorts;

/// One row of the fleet, ready to be lived.
#[derive(Debug)]
pub(crate) struct RowPlan {
    /// Number of the row's name, which keys its draws.
    pub name: u64,
    pub blades: u32,
    pub start_year: f64,
    pub end_year: f64,
    pub calendar: Calendar,
    /// The unit's starts at each of them, and as many to spare as there are free places.
    pub starts_at_outage: Vec<f64>,
    pub starts: Readings,
    pub starts_at_end: f64,
    pub overspeed: Option<Overspeed>,
    pub row_factor: Distribution,
    pub blade_stress_sigma: f64,
    pub classes: Vec<Class>,
    /// Blades of equal age when the row's life begins.
    pub cohorts: Vec<Cohort>,
    /// A new blade at each outage.
    pub fresh: Vec<Cohort>,
    /// Its hazard until the end, for row factor 1; and one that no blade outlives.
    pub fresh_hazards: Vec<f64>,
    /// Largest share that each class has in that hazard, over the outages: what one class of origins outlives says for
    /// the whole blade.
    pub fresh_shares: Vec<f64>,
    /// Whether every initial depth is lognormal or fixed.
    pub lognormal_depths: bool,
    pub techniques: Vec<TechniquePlan>,
    /// Techniques that any strategy uses, as indices.
    pub used_techniques: Vec<usize>,
    /// Chance that the mouth of a crack is closed; none where it goes by the layer.
    pub closed_mouth_probability: Option<f64>,
    /// Whether any crack may have a closed mouth.
    pub mouths_may_close: bool,
    /// Whether any of them goes by the geometric mean of depth and length.
    pub uses_mean_size: bool,
    /// Names whose standard normal numbers make the shifts that cracks keep.
    pub kept_sources: Vec<u64>,
    /// The power that is common to all classes, if it is; see [`GrowthPath::depth_power`].
    pub depth_power: Option<f64>,
    /// What was done before the study, if the row's life begins there.
    pub past: Option<StrategyPlan>,
    pub strategies: Vec<StrategyPlan>,
    /// Whether new blades can be made ready before they are asked for: each origin that cracks has a crack.
    pub makes_ready: bool,
    /// Number of different schedules among them.
    pub schedules: usize,
    pub loss_cost: Distribution,
    pub forced_days: f64,
    pub forced_day_cost: f64,
    /// Present value of one unit of money at each outage.
    pub value_at_outage: Vec<f64>,
}

/// A strategy on a row: what is done, and what that costs.
#[derive(Debug)]
pub(crate) struct StrategyPlan {
    pub policy: Policy,
    /// Techniques that it may use, by their places among those in use.
    pub techniques: Vec<usize>,
    /// Place of each technique of the study among those in use.
    places: Vec<usize>,
    pub work: WorkPlan,
}

impl StrategyPlan {
    fn new(study: &Study, row: &RowPlan, policy: Policy, window_days: f64) -> Self {
        let places: Vec<usize> = row.techniques.iter().map(|technique| technique.used).collect();
        // A watched blade is looked at by any technique that called it.
        let techniques =
            (0..places.len()).filter(|&technique| policy.uses(technique)).map(|technique| places[technique]);
        let techniques = techniques.collect();
        StrategyPlan { techniques, places, work: WorkPlan::new(study, row, &policy, window_days), policy }
    }

    /// Place of a technique among those in use.
    #[inline(always)]
    pub fn place(&self, technique: usize) -> usize {
        self.places[technique]
    }
}

impl RowPlan {
    /// Makes all rows of a study ready.
    ///
    /// # Errors
    /// Refuses hot spots whose growth law, loads and limit do not fit together.
    pub fn all(study: &Study) -> Result<Vec<Self>> {
        Self::several(study, study.rows.iter())
    }

    /// Makes some rows ready.
    ///
    /// # Errors
    /// As [`RowPlan::all`].
    pub fn several<'s>(study: &'s Study, rows: impl Iterator<Item = &'s Row>) -> Result<Vec<Self>> {
        let mut tabled = TabledWays::new();
        rows.map(|row| Self::make(study, row, &[], &mut tabled)).collect()
    }

    /// Makes one row ready.
    pub fn new(study: &Study, row: &Row) -> Result<Self> {
        Self::with_techniques(study, row, &[])
    }

    /// As `new`, for techniques that no strategy may use.
    pub fn with_techniques(study: &Study, row: &Row, others: &[usize]) -> Result<Self> {
        Self::make(study, row, others, &mut TabledWays::new())
    }

    fn make(study: &Study, row: &Row, others: &[usize], tabled: &mut TabledWays) -> Result<Self> {
        let unit = &study.units[row.unit];
        let end_year = study.start_year + study.horizon_years;
        let past = row.past_looks.iter().map(|look| look.year);
        let calendar = Calendar::new(past, &unit.outages.years, row.in_service_year, end_year);
        let starts = Readings::new(&unit.duty, Clock::STARTS);
        let root = &study.roots[row.root];
        let surface = &study.surfaces[row.surface];
        let classes = (0..root.hot_spots.len()).map(|spot| Class::new(study, row, spot, end_year, tabled));
        let classes: Vec<Class> = classes.collect::<Result<_>>()?;
        let techniques: Vec<TechniquePlan> =
            (0..study.techniques.len()).map(|index| TechniquePlan::new(study, row, index)).collect();
        let fresh: Vec<Cohort> = calendar.years.iter().map(|&year| Cohort::new(&classes, year, Vec::new())).collect();
        let mut plan = RowPlan {
            name: hash_name(&row.id),
            blades: row.blades,
            start_year: study.start_year,
            end_year,
            starts_at_outage: calendar
                .years
                .iter()
                .chain(std::iter::repeat_n(calendar.years.last().unwrap_or(&study.start_year), SPARE))
                .map(|&year| starts.at(year))
                .collect(),
            starts_at_end: starts.at(end_year),
            overspeed: unit.overspeed,
            starts,
            row_factor: study.scatter.row_factor.clone(),
            blade_stress_sigma: study.scatter.blade_stress_sigma_log,
            depth_power: classes
                .first()
                .map(|class| class.depth_power)
                .filter(|power| classes.iter().all(|class| class.depth_power == *power)),
            cohorts: cohorts(row, &classes),
            fresh_hazards: fresh.iter().map(|cohort| cohort.hazard).chain([f64::NAN]).collect(),
            fresh_shares: fresh_shares(&classes, &fresh),
            fresh,
            lognormal_depths: classes.iter().all(|class| class.depth_sigma.is_finite()),
            classes,
            used_techniques: Vec::new(),
            uses_mean_size: study.techniques.iter().any(|technique| technique.pod.size == SizeMeasure::GeometricMean),
            kept_sources: Vec::new(),
            closed_mouth_probability: surface.closed_mouth_probability,
            mouths_may_close: surface.may_close_mouths(),
            techniques,
            past: None,
            strategies: Vec::new(),
            makes_ready: false,
            schedules: 0,
            loss_cost: study.costs.loss_cost.clone(),
            forced_days: study.costs.loss_days,
            forced_day_cost: study.costs.outage_day_cost,
            value_at_outage: calendar
                .years
                .iter()
                .map(|&year| study.money.present_value(year - study.start_year))
                .collect(),
            calendar,
        };
        let row_index = study.rows.iter().position(|other| other.id == row.id).unwrap_or(0);
        let policy = |strategy| Policy::new(strategy, row_index, &root.hot_spots, &plan.calendar);
        let mut policies: Vec<Policy> = study.strategies.iter().map(policy).collect();
        for index in 0..policies.len() {
            let (before, rest) = policies.split_at_mut(index);
            let own = &mut rest[0];
            let alike = before.iter().find(|other| other.scheduled == own.scheduled && other.row_end == own.row_end);
            own.schedule = alike.map_or(plan.schedules, |other| other.schedule);
            plan.schedules = plan.schedules.max(own.schedule + 1);
        }
        plan.used_techniques = (0..study.techniques.len())
            .filter(|technique| {
                others.contains(technique)
                    || row.past_looks.iter().any(|look| look.technique == *technique)
                    || policies.iter().any(|policy| policy.uses(*technique))
            })
            .collect();
        for (place, &technique) in plan.used_techniques.iter().enumerate() {
            plan.techniques[technique].used = place;
        }
        let window_days = unit.outages.window_days;
        let strategy = |policy: Policy| StrategyPlan::new(study, &plan, policy, window_days);
        let strategies = policies.into_iter().map(strategy).collect();
        let past = (row.in_service_year < study.start_year).then(|| {
            let techniques = row.past_looks.iter().map(|look| look.technique);
            strategy(Policy::of_past_looks(techniques, &plan.calendar))
        });
        (plan.strategies, plan.past) = (strategies, past);
        let is_tabled = |class: &Class| matches!(class.ways, Ways::Tabled { .. });
        plan.makes_ready = plan.blade_stress_sigma == 0.0 && plan.classes.iter().all(is_tabled);
        plan.number_kept_sources(study);
        Ok(plan)
    }
}

impl RowPlan {
    /// Numbers the techniques whose normal numbers any technique in use asks for.
    fn number_kept_sources(&mut self, study: &Study) {
        let mut sources: Vec<usize> = Vec::new();
        for &technique in &self.used_techniques {
            for (source, _) in &mut self.techniques[technique].persistence {
                let known = sources.iter().position(|other| other == source);
                let place = known.unwrap_or(sources.len());
                if known.is_none() {
                    sources.push(*source);
                }
                *source = place;
            }
        }
        self.kept_sources = sources.iter().map(|&source| hash_name(&study.techniques[source].id)).collect();
    }
}

/// See [`RowPlan::fresh_shares`].
fn fresh_shares(classes: &[Class], fresh: &[Cohort]) -> Vec<f64> {
    let share = |(index, class): (usize, &Class)| {
        let of_class = fresh.iter().filter(|cohort| cohort.hazard > 0.0);
        of_class.map(|cohort| class.origins * cohort.hazards[index] / cohort.hazard).fold(0.0, f64::max)
    };
    classes.iter().enumerate().map(share).collect()
}
