//! A study made ready to be lived: for each row, every number that does not change from life to life.

use super::record::Quantity;
use crate::distribution::Distribution;
use crate::model::Study;
use crate::model::detection::{Access, DepthGate, PodCurve, QuickCall, SizeMeasure, Technique};
use crate::model::fleet::{HotSpot, Row};
use crate::model::growth::{GrowthPath, Limit};
use crate::model::initiation::InitiationShape;
use crate::model::strategy::{Action, AfterLoss, Disposition, RowEndAction, Strategy};
use crate::model::usage::{Clock, Readings};
use crate::random::hash_name;

/// One row of the fleet, ready to be lived.
#[derive(Debug)]
pub(crate) struct RowPlan {
    /// Number of the row's name, which keys its draws.
    pub name: u64,
    pub blades: u32,
    pub start_year: f64,
    pub end_year: f64,
    /// Moments of the outages, as years.
    pub outages: Vec<f64>,
    /// The unit's starts at each of them.
    pub starts_at_outage: Vec<f64>,
    pub starts: Readings,
    pub starts_at_end: f64,
    pub finder: OutageFinder,
    pub row_factor: Distribution,
    pub blade_stress_sigma: f64,
    pub classes: Vec<Class>,
    /// Blades of equal age when the row's life begins.
    pub cohorts: Vec<Cohort>,
    /// A new blade at each outage.
    pub fresh: Vec<Cohort>,
    /// Whether every initial depth is lognormal or fixed.
    pub lognormal_depths: bool,
    pub techniques: Vec<TechniquePlan>,
    /// Techniques that any strategy uses, as indices.
    pub used_techniques: Vec<usize>,
    /// Whether any of them goes by the geometric mean of depth and length.
    pub uses_mean_size: bool,
    /// Names whose standard normal numbers make the shifts that cracks keep.
    pub kept_sources: Vec<u64>,
    /// The power that is common to all classes, if it is; see [`GrowthPath::depth_power`].
    pub depth_power: Option<f64>,
    pub past_looks: Vec<(f64, usize)>,
    pub strategies: Vec<StrategyPlan>,
    /// Number of different schedules among the strategies.
    pub schedules: usize,
    pub loss_cost: Distribution,
    pub forced_days: f64,
    pub forced_day_cost: f64,
    /// Present value of one unit of money at each outage.
    pub value_at_outage: Vec<f64>,
}

/// Blades installed at one moment.
#[derive(Debug)]
pub(crate) struct Cohort {
    pub blades: Vec<u32>,
    /// Reading of each class's clock at that moment.
    pub installed: Vec<f64>,
    /// Cumulative hazard of one origin of each class, from then until the end, for row factor 1.
    pub hazards: Vec<f64>,
    /// The same of a whole blade of average stress.
    pub hazard: f64,
}

impl Cohort {
    pub fn new(classes: &[Class], year: f64, blades: Vec<u32>) -> Self {
        let installed: Vec<f64> = classes.iter().map(|class| class.clock.at(year)).collect();
        let hazards: Vec<f64> = classes
            .iter()
            .zip(&installed)
            .map(|(class, reading)| class.shape.cumulative_hazard(class.clock_at_end - reading))
            .collect();
        let hazard = classes.iter().zip(&hazards).map(|(class, hazard)| class.origins * hazard).sum();
        Cohort { blades, installed, hazards, hazard }
    }
}

/// One hot spot of the row's root.
#[derive(Debug)]
pub(crate) struct Class {
    pub name: u64,
    pub origins: f64,
    pub shape: InitiationShape,
    pub clock: Readings,
    pub clock_at_end: f64,
    pub stress_exponent: f64,
    pub path: GrowthPath,
    pub rate: f64,
    pub growth_exponent: f64,
    pub crack_sigma: f64,
    pub row_sigma: f64,
    pub growth_name: u64,
    pub initial_depth: Distribution,
    /// Median and standard deviation of the logarithm of the initial depth; not-a-number where it
    /// is neither lognormal nor fixed.
    pub ln_depth_median: f64,
    pub depth_sigma: f64,
    pub initial_aspect: Distribution,
    pub limit: Limit,
    pub depth_power: f64,
}

/// A technique on this row's surface.
#[derive(Debug)]
pub(crate) struct TechniquePlan {
    pub name: u64,
    /// Its place among the techniques in use, if it is one.
    pub used: usize,
    pub access: Access,
    pub size: SizeMeasure,
    pub curve: PodCurve,
    pub quick: QuickCall,
    /// ln q50 with the shifts of surface and grade.
    pub ln_q50: f64,
    pub per_spread: f64,
    pub gate: Option<DepthGate>,
    pub inspection_sigma: f64,
    /// Weights of the standard normal numbers (by place in the row's `kept_sources`) that make the
    /// shift a crack keeps.
    pub persistence: Vec<(usize, f64)>,
    /// -ln(1 - p) of the false-call probability p of a blade.
    pub false_call_hazard: f64,
    pub false_call_length: Distribution,
    pub sizing_bias: f64,
    pub sizing_sigma: f64,
    pub cost_per_row: f64,
    pub cost_per_blade: f64,
    pub days_per_row: f64,
}

/// Looks of one technique by schedule.
#[derive(Debug, PartialEq, Clone)]
pub(crate) struct Line {
    pub technique: usize,
    /// Outages looked at, in order.
    pub outages: Vec<u32>,
    /// For each outage, the place in `outages` of the first that is not before it.
    pub next: Vec<u32>,
    pub blade_fraction: f64,
    /// Whether each class is looked at; empty when all are.
    pub classes: Vec<bool>,
    /// Whether every blade and class is looked at.
    pub covers_all: bool,
    /// Which of the strategy's looks it belongs to.
    pub look: usize,
    /// Whether its indications count without a second look.
    pub stands: bool,
}

/// What an indication leads to.
#[derive(Debug)]
pub(crate) struct EscalationPlan {
    pub techniques: Vec<usize>,
}

/// A strategy on this row.
#[derive(Debug)]
pub(crate) struct StrategyPlan {
    pub lines: Vec<Line>,
    /// Strategies with the same number have the same lines.
    pub schedule: usize,
    /// Escalation of each look.
    pub escalations: Vec<Option<EscalationPlan>>,
    pub dispositions: Vec<Disposition>,
    /// Whether every indication has its blade replaced, so that sizes need not be measured.
    pub replaces_always: bool,
    /// Whether what is found on one blade can change what is done to others or to it later.
    pub couples_blades: bool,
    pub replace_row_from: u32,
    pub after_loss: AfterLoss,
    /// Outage at which the row ends, and how.
    pub row_end: Option<(u32, RowEndAction)>,
    /// Number of outages before the row leaves service.
    runs_until: u32,
    /// Scheduled work of each outage.
    pub planned: Vec<Planned>,
    /// Its sum over all outages, costs discounted.
    pub planned_sum: [(Quantity, f64); 6],
    pub prices: Prices,
}

/// Prices and days of acts other than looks.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Prices {
    pub blades_out: f64,
    pub blades_out_days: f64,
    pub blade: f64,
    pub blade_days: f64,
    pub row: f64,
    pub row_days: f64,
    /// Of a day beyond the window.
    pub day: f64,
    pub window_days: f64,
}

/// Work that a schedule plans at one outage.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Planned {
    pub look_cost: f64,
    pub look_days: f64,
    pub blades_out: bool,
    /// Days of all of it, and those of them beyond the window.
    pub days: f64,
    pub days_beyond: f64,
}

/// Finds the first outage at or after a year without searching: a table over equal steps.
#[derive(Debug)]
pub(crate) struct OutageFinder {
    begin: f64,
    per_year: f64,
    first: Vec<u32>,
}

impl OutageFinder {
    fn new(outages: &[f64], start: f64, end: f64) -> Self {
        let steps = 4 * outages.len().max(1);
        let per_year = steps as f64 / (end - start);
        let first = (0..=steps)
            .map(|step| outages.partition_point(|&year| year < start + step as f64 / per_year) as u32)
            .map(|first| first.saturating_sub(1))
            .collect();
        OutageFinder { begin: start, per_year, first }
    }

    /// Number of outages before a year.
    #[inline]
    pub fn count_before(&self, year: f64, outages: &[f64]) -> usize {
        let step = ((year - self.begin) * self.per_year).max(0.0) as i64 as usize;
        let mut count = self.first[step.min(self.first.len() - 1)] as usize;
        while count < outages.len() && outages[count] < year {
            count += 1;
        }
        count
    }
}

impl RowPlan {
    /// Makes one row of a study ready.
    pub fn new(study: &Study, row: &Row) -> Self {
        let unit = &study.units[row.unit];
        let end_year = study.start_year + study.horizon_years;
        let outages = unit.outages.years.clone();
        let starts = Readings::new(&unit.duty, Clock::STARTS);
        let root = &study.roots[row.root];
        let classes: Vec<Class> = root.hot_spots.iter().map(|spot| Class::new(study, row, spot, end_year)).collect();
        let techniques: Vec<TechniquePlan> =
            (0..study.techniques.len()).map(|index| TechniquePlan::new(study, row, index)).collect();
        let prices = Prices {
            blades_out: study.costs.blades_out_cost,
            blades_out_days: study.costs.blades_out_days,
            blade: study.costs.new_blade_cost,
            blade_days: study.costs.new_blade_days,
            row: study.costs.new_row_cost,
            row_days: study.costs.new_row_days,
            day: study.costs.outage_day_cost,
            window_days: unit.outages.window_days,
        };
        let mut plan = RowPlan {
            name: hash_name(&row.id),
            blades: row.blades,
            start_year: study.start_year,
            end_year,
            starts_at_outage: outages.iter().map(|&year| starts.at(year)).collect(),
            starts_at_end: starts.at(end_year),
            finder: OutageFinder::new(&outages, study.start_year, end_year),
            starts,
            row_factor: study.scatter.row_factor.clone(),
            blade_stress_sigma: study.scatter.blade_stress_sigma_log,
            depth_power: classes
                .first()
                .map(|class| class.depth_power)
                .filter(|power| classes.iter().all(|class| class.depth_power == *power)),
            cohorts: cohorts(row, &classes),
            fresh: outages.iter().map(|&year| Cohort::new(&classes, year, Vec::new())).collect(),
            lognormal_depths: classes.iter().all(|class| class.depth_sigma.is_finite()),
            classes,
            used_techniques: Vec::new(),
            uses_mean_size: study.techniques.iter().any(|technique| technique.pod.size == SizeMeasure::GeometricMean),
            kept_sources: Vec::new(),
            techniques,
            past_looks: row.past_looks.iter().map(|look| (look.year, look.technique)).collect(),
            strategies: Vec::new(),
            schedules: 0,
            loss_cost: study.costs.loss_cost.clone(),
            forced_days: study.costs.loss_days,
            forced_day_cost: study.costs.outage_day_cost,
            value_at_outage: outages.iter().map(|&year| study.money.present_value(year - study.start_year)).collect(),
            outages,
        };
        let row_index = study.rows.iter().position(|other| other.id == row.id).unwrap_or(0);
        let strategies =
            study.strategies.iter().map(|strategy| StrategyPlan::new(study, &plan, row_index, strategy, prices));
        let mut strategies: Vec<StrategyPlan> = strategies.collect();
        let mut distinct: Vec<Vec<Line>> = Vec::new();
        for strategy in &mut strategies {
            let known = distinct.iter().position(|lines| *lines == strategy.lines);
            strategy.schedule = known.unwrap_or_else(|| {
                distinct.push(strategy.lines.clone());
                distinct.len() - 1
            });
        }
        plan.schedules = distinct.len();
        plan.used_techniques = (0..study.techniques.len())
            .filter(|technique| {
                strategies.iter().any(|strategy| {
                    strategy.lines.iter().any(|line| line.technique == *technique)
                        || strategy.escalations.iter().flatten().any(|after| after.techniques.contains(technique))
                })
            })
            .collect();
        for (place, &technique) in plan.used_techniques.iter().enumerate() {
            plan.techniques[technique].used = place;
        }
        plan.strategies = strategies;
        plan.number_kept_sources(study);
        plan
    }
}

impl RowPlan {
    /// Numbers the techniques whose normal numbers any technique in use asks for.
    fn number_kept_sources(&mut self, study: &Study) {
        let past = self.past_looks.iter().map(|look| look.1);
        let mut asked: Vec<usize> = self.used_techniques.iter().copied().chain(past).collect();
        asked.sort_unstable();
        asked.dedup();
        let mut sources: Vec<usize> = Vec::new();
        for technique in asked {
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

/// Blades by age, the row's own first.
fn cohorts(row: &Row, classes: &[Class]) -> Vec<Cohort> {
    let mut installed = vec![row.in_service_year; row.blades as usize];
    for renewal in &row.renewed {
        for &blade in &renewal.blades {
            let year = &mut installed[blade as usize - 1];
            *year = year.max(renewal.year);
        }
    }
    let mut groups: Vec<(f64, Vec<u32>)> = Vec::new();
    for (blade, &year) in (0..row.blades).zip(&installed) {
        match groups.iter_mut().find(|group| group.0 == year) {
            Some(group) => group.1.push(blade),
            None => groups.push((year, vec![blade])),
        }
    }
    groups.into_iter().map(|(year, blades)| Cohort::new(classes, year, blades)).collect()
}

impl Class {
    fn new(study: &Study, row: &Row, spot: &HotSpot, end_year: f64) -> Self {
        let unit = &study.units[row.unit];
        let law = &study.initiation[spot.initiation];
        let growth = &study.growth[spot.growth];
        let life = study.surfaces[row.surface].initiation_life_factor;
        let shape = match law.shape {
            InitiationShape::Weibull { shape, scale } => InitiationShape::Weibull { shape, scale: scale * life },
            InitiationShape::Lognormal { median, sigma_log } => {
                InitiationShape::Lognormal { median: median * life, sigma_log }
            }
            InitiationShape::Exponential { mean } => InitiationShape::Exponential { mean: mean * life },
        };
        let clock = Readings::new(&unit.duty, law.clock);
        let clock_at_end = clock.at(end_year);
        let path = GrowthPath::new(growth, spot);
        let (ln_depth_median, depth_sigma) = match spot.initial_depth_mm {
            Distribution::Fixed(depth_mm) => (depth_mm.ln(), 0.0),
            Distribution::Lognormal { median, sigma_log } => (median.ln(), sigma_log),
            _ => (f64::NAN, f64::NAN),
        };
        Class {
            ln_depth_median,
            depth_sigma,
            name: hash_name(&spot.id),
            origins: f64::from(spot.origins_per_blade()),
            shape,
            clock,
            clock_at_end,
            stress_exponent: law.stress_exponent,
            rate: path.rate(),
            depth_power: path.depth_power(),
            path,
            growth_exponent: growth.exponent,
            crack_sigma: growth.crack_sigma_log,
            row_sigma: growth.row_sigma_log,
            growth_name: hash_name(&growth.id),
            initial_depth: spot.initial_depth_mm.clone(),
            initial_aspect: spot.initial_aspect.clone(),
            limit: spot.limit.clone(),
        }
    }
}

impl TechniquePlan {
    fn new(study: &Study, row: &Row, index: usize) -> Self {
        let Technique { id, access, pod, depth_gate, .. } = &study.techniques[index];
        let technique = &study.techniques[index];
        let persistence = study.persistence.factor[index]
            .iter()
            .enumerate()
            .filter(|(_, weight)| **weight != 0.0 && technique.crack_sigma > 0.0)
            .map(|(source, weight)| (source, technique.crack_sigma * weight))
            .collect();
        TechniquePlan {
            name: hash_name(id),
            used: usize::MAX,
            access: *access,
            size: pod.size,
            curve: *pod,
            quick: QuickCall::new(*pod),
            ln_q50: pod.q50_mm.ln() + technique.grade_shift_log + technique.surface_shift_log[row.surface],
            per_spread: 1.0 / pod.spread,
            gate: *depth_gate,
            inspection_sigma: technique.inspection_sigma,
            persistence,
            false_call_hazard: -(-technique.false_call_probability).ln_1p(),
            false_call_length: technique.false_call_length_mm.clone(),
            sizing_bias: technique.sizing.length_bias,
            sizing_sigma: technique.sizing.length_sigma_log,
            cost_per_row: technique.cost_per_row,
            cost_per_blade: technique.cost_per_blade,
            days_per_row: technique.days_per_row,
        }
    }

    /// Factor of the second condition on depth.
    pub fn gate_factor(&self, ln_depth: f64) -> f64 {
        self.gate.map_or(1.0, |gate| self.curve.shape.at((ln_depth - gate.q50_mm.ln()) / gate.spread))
    }

    /// Cost of a look at some of the blades.
    pub fn cost(&self, blades: f64) -> f64 {
        self.cost_per_row + self.cost_per_blade * blades
    }
}

impl StrategyPlan {
    /// Whether the row still runs at an outage, and there is one.
    pub fn runs_at(&self, outage: u32) -> bool {
        outage < self.runs_until
    }

    fn new(study: &Study, row: &RowPlan, row_index: usize, strategy: &Strategy, prices: Prices) -> Self {
        let count = row.outages.len() as u32;
        let row_end = strategy.row_end.and_then(|end| {
            let outage = row.outages.iter().position(|&year| year >= end.year)?;
            Some((outage as u32, end.then))
        });
        let retired = match row_end {
            Some((outage, RowEndAction::Retired)) => outage,
            _ => count,
        };
        let spots = &study.roots[study.rows[row_index].root].hot_spots;
        let mut lines = Vec::new();
        let mut planned = vec![Planned::default(); row.outages.len()];
        for (index, look) in strategy.looks.iter().enumerate() {
            if look.coverage.rows.as_ref().is_some_and(|rows| !rows.contains(&row_index)) {
                continue;
            }
            // Nobody looks at a row that is replaced at the same outage.
            let outages: Vec<u32> = (look.first_outage - 1..retired)
                .step_by(look.every_outages as usize)
                .filter(|&outage| row_end.is_none_or(|(end, _)| end != outage))
                .collect();
            let classes = look
                .coverage
                .hot_spots
                .as_ref()
                .map_or_else(Vec::new, |names| spots.iter().map(|spot| names.contains(&spot.id)).collect());
            let fraction = look.coverage.blade_fraction;
            for &technique in &look.techniques {
                let about = &row.techniques[technique];
                for &outage in &outages {
                    let work = &mut planned[outage as usize];
                    work.look_cost += about.cost(f64::from(row.blades) * fraction);
                    work.look_days += about.days_per_row;
                    work.blades_out |= about.access == Access::BladesOut;
                }
                lines.push(Line {
                    technique,
                    next: (0..=count).map(|from| outages.partition_point(|&outage| outage < from) as u32).collect(),
                    outages: outages.clone(),
                    blade_fraction: fraction,
                    covers_all: classes.is_empty() && fraction >= 1.0,
                    classes: classes.clone(),
                    look: index,
                    stands: look.escalation.as_ref().is_none_or(|after| after.first_call_stands),
                });
            }
        }
        for work in &mut planned {
            work.days = work.look_days + if work.blades_out { prices.blades_out_days } else { 0.0 };
            work.days_beyond = (work.days - prices.window_days).max(0.0);
        }
        let discounted = |amount: &dyn Fn(&Planned) -> f64| -> f64 {
            planned.iter().zip(&row.value_at_outage).map(|(work, value)| value * amount(work)).sum()
        };
        let out = |work: &Planned| f64::from(u8::from(work.blades_out));
        let times_out: f64 = planned.iter().map(out).sum();
        let planned_sum = [
            (Quantity::LookCost, discounted(&|work| work.look_cost)),
            (Quantity::BladesOutCost, discounted(&|work| out(work) * prices.blades_out)),
            (Quantity::ExtraDayCost, discounted(&|work| work.days_beyond * prices.day)),
            (Quantity::LookDays, planned.iter().map(|work| work.look_days).sum()),
            (Quantity::BladesOutDays, times_out * prices.blades_out_days),
            (Quantity::TimesOut, times_out),
        ];
        let replaces_always = strategy.dispositions.iter().all(|rule| rule.action == Action::Replace);
        let couples_blades = !replaces_always
            || strategy.looks.iter().any(|look| look.escalation.is_some())
            || strategy.replace_row_from_blades.is_some()
            || strategy.after_loss == AfterLoss::ReplaceRow;
        StrategyPlan {
            lines,
            schedule: 0,
            escalations: strategy
                .looks
                .iter()
                .map(|look| Some(EscalationPlan { techniques: look.escalation.as_ref()?.techniques.clone() }))
                .collect(),
            dispositions: strategy.dispositions.clone(),
            replaces_always,
            couples_blades,
            replace_row_from: strategy.replace_row_from_blades.unwrap_or(u32::MAX),
            after_loss: strategy.after_loss,
            runs_until: retired,
            row_end,
            planned,
            planned_sum,
            prices,
        }
    }
}
