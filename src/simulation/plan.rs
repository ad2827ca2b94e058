//! A study made ready to be lived: for each row what nature does, what techniques answer and what each strategy does.

use super::inspection::InspectionPlan;
use super::nature::NaturePlan;
use super::observe::{UnitWork, WorkPlan, rotor_numbers};
use super::policy::{Groups, Policy};
use crate::error::Result;
use crate::model::Study;
use crate::model::fleet::{Row, Unit};
use crate::model::strategy::{Spares, Strategy};
use std::ops::Range;

/// One row of the fleet, ready to be lived.
#[derive(Debug)]
pub(crate) struct RowPlan {
    pub nature: NaturePlan,
    pub inspection: InspectionPlan,
    /// Techniques of the looks before the study.
    pub past_techniques: Vec<usize>,
    /// What was done before the study, if the row's life begins there.
    pub past: Option<StrategyPlan>,
    pub strategies: Vec<StrategyPlan>,
    /// Number of different schedules among them.
    pub schedules: usize,
    /// The same row where strategies have its unit run or stop otherwise, or its blades peened, and which of these each strategy has, if any.
    pub variants: Vec<RowPlan>,
    pub variant_of: Vec<Option<usize>>,
}

/// Neighbouring units with rows that some strategy may have share spare blades; mostly one.
#[derive(Debug)]
pub(crate) struct GroupPlan {
    pub units: Vec<UnitPlan>,
    /// Indices of their rows, unit by unit.
    pub rows: Vec<usize>,
    /// By strategy: runs of the units of which no two share spare blades under it.
    pub runs: Vec<Vec<Range<usize>>>,
    /// By strategy: blades in each of its stocks at the start, new ones and used ones.
    pub stocks: Vec<Vec<[u32; 2]>>,
}

impl GroupPlan {
    /// All units of a study that have rows.
    pub fn all(study: &Study, plans: &[RowPlan]) -> Vec<Self> {
        let groups = study.units_by_stock(&study.strategies).into_iter();
        groups.map(|units| Self::new(study, plans, units)).filter(|group| !group.rows.is_empty()).collect()
    }

    fn new(study: &Study, plans: &[RowPlan], units: Range<usize>) -> Self {
        let rows_of = |unit: usize| (0..study.rows.len()).filter(|&row| study.rows[row].unit == unit).collect();
        let (mut group, mut rows) = (Vec::new(), Vec::new());
        for own in units.map(rows_of).filter(|own: &Vec<usize>| !own.is_empty()) {
            let first = rows.len();
            rows.extend_from_slice(&own);
            group.push(UnitPlan::new(study, plans, own, first));
        }
        let runs = |strategy: &Strategy| {
            let runs = study.units_by_stock(std::slice::from_ref(strategy));
            let run_of = |unit: &UnitPlan| runs.iter().position(|run| run.contains(&study.rows[unit.rows[0]].unit));
            let mut first = 0;
            let alike = group.chunk_by(|one, other| run_of(one) == run_of(other)).map(|run: &[UnitPlan]| {
                first += run.len();
                first - run.len()..first
            });
            alike.collect()
        };
        let of_stock = |stock: &Spares| [stock.blades, stock.used_blades.map_or(0, |used| used.blades)];
        let stocks = |strategy: &Strategy| strategy.spares.iter().map(of_stock).collect();
        GroupPlan {
            runs: study.strategies.iter().map(runs).collect(),
            stocks: study.strategies.iter().map(stocks).collect(),
            units: group,
            rows,
        }
    }

    /// Places of the rows of some of its units.
    pub fn places(&self, units: Range<usize>) -> Range<usize> {
        match (self.units[units.clone()].first(), self.units[units].last()) {
            (Some(first), Some(last)) => first.places().start..last.places().end,
            _ => 0..0,
        }
    }
}

/// Rows of one unit, in the order of the study.
#[derive(Debug)]
pub(crate) struct UnitPlan {
    /// Indices of the rows.
    pub rows: Vec<usize>,
    /// Place of the first of them among those of the group.
    first: usize,
    /// Rotor of each, by number.
    pub rotors: Vec<usize>,
    /// What the rows share at outages, by strategy.
    pub work: Vec<UnitWork>,
}

impl UnitPlan {
    fn new(study: &Study, plans: &[RowPlan], rows: Vec<usize>, first: usize) -> Self {
        let own: Vec<&Row> = rows.iter().map(|&row| &study.rows[row]).collect();
        let work = |strategy: usize| {
            let under = |row: &usize| plans[*row].under(strategy);
            let work: Vec<&WorkPlan> = rows.iter().map(|row| &under(row).strategies[strategy].work).collect();
            UnitWork::new(study, &own, &under(&rows[0]).nature.calendar, &work)
        };
        UnitPlan { work: (0..study.strategies.len()).map(work).collect(), rotors: rotor_numbers(&own), rows, first }
    }

    /// Places of the rows in the group.
    pub fn places(&self) -> Range<usize> {
        self.first..self.first + self.rows.len()
    }
}

/// A strategy on a row: what is done, and what that costs.
#[derive(Debug)]
pub(crate) struct StrategyPlan {
    pub policy: Policy,
    pub work: WorkPlan,
    /// Techniques that it may use; and by their numbers on each those that it uses on several surfaces.
    pub techniques: Vec<usize>,
    pub on_several_surfaces: Vec<Vec<usize>>,
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
        rows.map(|row| Self::with_techniques(study, row, &[])).collect()
    }

    /// Makes one row ready.
    #[cfg(test)]
    pub fn new(study: &Study, row: &Row) -> Result<Self> {
        Self::with_techniques(study, row, &[])
    }

    /// The row as it runs and stops under a strategy.
    pub fn under(&self, strategy: usize) -> &Self {
        self.variant_of[strategy].map_or(self, |variant| &self.variants[variant])
    }

    /// Makes one row ready, also for techniques that no strategy may use.
    pub fn with_techniques(study: &Study, row: &Row, others: &[usize]) -> Result<Self> {
        let mut plan = Self::under_conditions(study, row, &[], others)?;
        let row_index = study.rows.iter().position(|other| other.id == row.id).unwrap_or(0);
        let mut conditions: Vec<(Unit, Vec<(f64, f64)>)> = Vec::new();
        for strategy in &study.strategies {
            let own = (study.unit_under(row.unit, strategy).into_owned(), study.peenings_under(row_index, strategy));
            let known = conditions.iter().position(|known| *known == own);
            let is_other = own.0 != study.units[row.unit] || !own.1.is_empty();
            let variant = known.or_else(|| is_other.then_some(conditions.len()));
            if variant == Some(conditions.len()) {
                let other = study.with_unit(row.unit, own.0.clone());
                plan.variants.push(Self::under_conditions(&other, row, &own.1, others)?);
                conditions.push(own);
            }
            plan.variant_of.push(variant);
        }
        Ok(plan)
    }

    fn under_conditions(study: &Study, row: &Row, peenings: &[(f64, f64)], others: &[usize]) -> Result<Self> {
        let nature = NaturePlan::peened(study, row, peenings)?;
        let policy = |strategy| Policy::new(study, row, strategy, &nature.calendar);
        let mut policies: Vec<Policy> = study.strategies.iter().map(policy).collect();
        let schedules = number_schedules(&mut policies);
        let past = (row.in_service_year < study.start_year).then(|| {
            let techniques = row.past_looks.iter().map(|look| look.technique);
            let groups = Groups::new(study.roots[row.root].replaced_together, row.blades);
            Policy::of_past_looks(techniques, groups, &nature.calendar)
        });
        let inspection = InspectionPlan::new(study, row, |technique| {
            others.contains(&technique) || policies.iter().chain(&past).any(|policy| policy.uses(technique))
        });
        let strategy = |policy: Policy| {
            let work = WorkPlan::new(study, row, &nature.calendar, &inspection.techniques, &policy);
            let used = inspection.in_use.iter().copied().filter(|&technique| policy.uses(technique));
            let techniques: Vec<usize> = used.collect();
            StrategyPlan { on_several_surfaces: inspection.on_several_surfaces(&techniques), techniques, work, policy }
        };
        let strategies = policies.into_iter().map(strategy).collect();
        let past_techniques = row.past_looks.iter().map(|look| look.technique).collect();
        let past = past.map(strategy);
        let (variants, variant_of) = (Vec::new(), Vec::new());
        Ok(RowPlan { past_techniques, past, strategies, schedules, nature, inspection, variants, variant_of })
    }
}

/// Gives policies with the same schedule the same number: returns how many there are.
fn number_schedules(policies: &mut [Policy]) -> usize {
    let mut schedules = 0;
    for index in 0..policies.len() {
        let (before, rest) = policies.split_at_mut(index);
        let own = &mut rest[0];
        let alike = before.iter().find(|other| other.scheduled == own.scheduled && other.row_end == own.row_end);
        own.schedule = alike.map_or(schedules, |other| other.schedule);
        schedules = schedules.max(own.schedule + 1);
    }
    schedules
}
