//! A study made ready to be lived: for each row what nature does, what techniques answer and what each strategy does.

use super::inspection::InspectionPlan;
use super::nature::NaturePlan;
use super::observe::{UnitWork, WorkPlan, rotor_numbers};
use super::policy::{Groups, Policy};
use crate::error::Result;
use crate::model::Study;
use crate::model::fleet::Row;

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
}

/// Rows of one unit, in the order of the study.
#[derive(Debug)]
pub(crate) struct UnitPlan {
    /// Indices of the rows.
    pub rows: Vec<usize>,
    /// Rotor of each, by number.
    pub rotors: Vec<usize>,
    /// What the rows share at outages, by strategy.
    pub work: Vec<UnitWork>,
}

impl UnitPlan {
    /// All units of a study that have rows.
    pub fn all(study: &Study, plans: &[RowPlan]) -> Vec<Self> {
        let rows_of = |unit: usize| (0..study.rows.len()).filter(|&row| study.rows[row].unit == unit).collect();
        let rows: Vec<Vec<usize>> = (0..study.units.len()).map(rows_of).collect();
        rows.into_iter().filter(|rows| !rows.is_empty()).map(|rows| Self::new(study, plans, rows)).collect()
    }

    fn new(study: &Study, plans: &[RowPlan], rows: Vec<usize>) -> Self {
        let own: Vec<&Row> = rows.iter().map(|&row| &study.rows[row]).collect();
        let calendar = &plans[rows[0]].nature.calendar;
        let work = |strategy: usize| {
            let work: Vec<&WorkPlan> = rows.iter().map(|&row| &plans[row].strategies[strategy].work).collect();
            UnitWork::new(study, &own, calendar, &work)
        };
        UnitPlan { work: (0..study.strategies.len()).map(work).collect(), rotors: rotor_numbers(&own), rows }
    }
}

/// A strategy on a row: what is done, and what that costs.
#[derive(Debug)]
pub(crate) struct StrategyPlan {
    pub policy: Policy,
    pub work: WorkPlan,
    /// Techniques that it may use.
    pub techniques: Vec<usize>,
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

    /// Makes one row ready, also for techniques that no strategy may use.
    pub fn with_techniques(study: &Study, row: &Row, others: &[usize]) -> Result<Self> {
        let nature = NaturePlan::new(study, row)?;
        let row_index = study.rows.iter().position(|other| other.id == row.id).unwrap_or(0);
        let spots = &study.roots[row.root].hot_spots;
        let groups = Groups::new(study.roots[row.root].replaced_together, row.blades);
        let policy = |strategy| Policy::new(strategy, row_index, spots, groups, &nature.calendar);
        let mut policies: Vec<Policy> = study.strategies.iter().map(policy).collect();
        let schedules = number_schedules(&mut policies);
        let past = (row.in_service_year < study.start_year).then(|| {
            let techniques = row.past_looks.iter().map(|look| look.technique);
            Policy::of_past_looks(techniques, groups, &nature.calendar)
        });
        let inspection = InspectionPlan::new(study, row, |technique| {
            others.contains(&technique) || policies.iter().chain(&past).any(|policy| policy.uses(technique))
        });
        let strategy = |policy: Policy| {
            let work = WorkPlan::new(study, row, &nature.calendar, &inspection.techniques, &policy);
            let used = inspection.in_use.iter().copied().filter(|&technique| policy.uses(technique));
            StrategyPlan { techniques: used.collect(), work, policy }
        };
        let strategies = policies.into_iter().map(strategy).collect();
        let past_techniques = row.past_looks.iter().map(|look| look.technique).collect();
        Ok(RowPlan { past_techniques, past: past.map(strategy), strategies, schedules, nature, inspection })
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
