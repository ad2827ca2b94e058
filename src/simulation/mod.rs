//! From a study to a comparison of its strategies.

mod after_look;
mod calendar;
mod cheapest_plan;
mod elsewhere;
mod estimate;
mod given;
mod grown;
mod growth_fit;
mod inspection;
mod inspection_interval;
mod length_bins;
mod life;
mod merge_tree;
mod nature;
mod normal_component;
mod observe;
mod parallel;
#[cfg(test)]
mod plain;
mod plan;
mod policy;
mod rare;
mod row_batch;
mod screen;
mod single_inspection;
mod store;
mod tables;
mod tally;
mod uncertain;
mod value_bins;
mod work_calendar;

pub use after_look::{
    CrackLeftIn, CriticalLength, Deferral, Left, LeftIn, LeftInRow, LimitPassed, Longer, RowAfterLook, RunOn,
    RunOnQuestion,
};
pub use cheapest_plan::{CheapestPlan, CheapestQuestion, Dropped, Outcome, Round, Tried, Why};
pub use elsewhere::{Assembly, Came, Partition};
pub use estimate::{
    AfterOutageEstimate, Comparison, Difference, Estimate, HowGot, LONGEST_PROBABILITIES, LimitVerdict, MEASURES,
    Measure, Ranking, Scope, SpreadEstimate, Standing, Statistic, Tie, Verdict, WhichPlan,
};
pub use given::{
    Assumption, Belief, Believed, ClockFit, Explanation, Explanations, Given, Hindcast, InitiationClocks,
    InitiationOnStudy, InventedPast, Learning, PredictedLook, RowBelief, Sampled, TrueRow,
};
pub use grown::{GrownCrack, GrownCracks, GrownRow, GrownWay, GrowthQuestion, LostBefore, PlaceCrack};
pub use growth_fit::{FollowedAt, GrowthFit, OwnFactor, SizeKind};
pub use inspection_interval::{
    Capability, Cell as CapabilityCell, DeterministicCheck, Held, InspectionInterval, IntervalQuestion, Needed,
    WayOfLooking,
};
pub use observe::Quantity;
pub use parallel::{Ended, Run};
pub use screen::{NotScreened, Screened, Screening};
pub use single_inspection::{Confirmed, Inspected, Inspection};
pub use tables::{Column, TABLES, Table, Texts};
pub use value_bins::RELATIVE_ERROR as SPREAD_RELATIVE_ERROR;

use crate::error::Result;
use crate::model::Study;
use std::ops::ControlFlow;

impl Study {
    /// Lives the fleet under every strategy, many times, and compares.
    ///
    /// Every strategy meets the same blades, cracks and crews in one trial, so that differences
    /// between strategies are sharper than if each had been simulated apart: by a little for rare losses, by
    /// much for costs.
    ///
    /// # Errors
    /// Refuses a run without trials, and a study whose rows could not have come to its start.
    pub fn simulate(&self, run: &Run) -> Result<Comparison> {
        self.simulate_with(run, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::simulate`]; `ask` is told, ten times a second and once at the end, how many
    /// trials are done, and stops the run by breaking.
    ///
    /// # Errors
    /// As there; a stopped run is an error too, unless it keeps what was finished.
    pub fn simulate_with(&self, run: &Run, ask: &mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<Comparison> {
        let rows = plan::RowPlan::all(self)?;
        let (tally, ended) = parallel::live_all(self, &rows, run, ask)?;
        Ok(Comparison::of(self, run, tally, ended))
    }
}
