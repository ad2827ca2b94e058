//! What one life of a row under one strategy comes to: counted, priced, kept.

mod cracks_left;
mod losses;
mod outage_schedule;
mod quantity;
mod unit_work;
mod work;

pub(crate) use cracks_left::{CracksLeft, GROUP, Occupancy};
pub use quantity::Quantity;
pub(crate) use quantity::{NOTHING, Values};
pub(crate) use unit_work::{UnitBuffers, UnitWork};
pub(crate) use work::{Unscheduled, WorkDone, WorkPlan};

use super::calendar::Calendar;
use super::policy::ShortOfSpares;
use crate::model::Study;
use crate::random::Key;
#[cfg(test)]
pub(super) use losses::DAYS_AHEAD;
pub(crate) use losses::{COST_LEVELS, cost_levels};
use losses::{LossPrices, Lost};
pub(crate) use outage_schedule::{Crews, Job, rotor_numbers};

/// Cost and days of a life, losses and all.
pub(crate) type Whole = [f64; 2];

/// What one life comes to; its storage is kept from life to life.
#[derive(Debug, Clone)]
pub(crate) struct LifeRecord {
    /// Weight of the life in every sum; 1 for a plain one.
    pub weight: f64,
    pub values: Values,
    /// Its whole cost and days, when the life is over: a share of what losses come to may be left to other lives.
    pub whole: Whole,
    /// Study year of each loss, from 0; the hot spot of its crack; and the present value of what all cost.
    pub loss_years: Vec<u32>,
    pub loss_spots: Vec<u32>,
    pub lost_value: f64,
    pub cracks_left: CracksLeft,
    pub work: WorkDone,
    /// All work of the outages to come at which any was not scheduled, when the life is over.
    jobs: Vec<(u32, Job)>,
    /// Most days of them.
    most_days: f64,
    /// Work between outages.
    stops: Vec<StopDone>,
    loss_prices: LossPrices,
}

/// Work on a row between outages.
#[derive(Debug, Clone, Copy)]
struct StopDone {
    year: f64,
    job: Job,
    /// What stopping the unit costs, and for how many days beside the work; none where it stood still anyway.
    stopped: Option<[f64; 2]>,
}

impl LifeRecord {
    pub fn new(study: &Study, calendar: &Calendar) -> Self {
        LifeRecord {
            weight: 1.0,
            values: NOTHING,
            whole: [0.0; 2],
            loss_years: Vec::new(),
            loss_spots: Vec::new(),
            lost_value: 0.0,
            cracks_left: CracksLeft::new(calendar),
            work: WorkDone::new(calendar.len()),
            jobs: Vec::new(),
            most_days: 0.0,
            stops: Vec::new(),
            loss_prices: LossPrices::new(study),
        }
    }

    /// Begins another life, with what is scheduled.
    pub fn begin(&mut self, plan: &WorkPlan) {
        self.values = plan.scheduled_values;
        self.loss_years.clear();
        self.loss_spots.clear();
        self.lost_value = 0.0;
        self.stops.clear();
        self.cracks_left.begin();
    }

    /// A blade was lost in a year from a hot spot, and new ones are waited for, or used ones fitted; draw `counter` of a key says
    /// what that costs, which is returned.
    pub fn lose(&mut self, year: f64, hot_spot: usize, (key, counter): (Key, u64), short: &ShortOfSpares) -> f64 {
        let wait_days = short.wait_days;
        let prices = &self.loss_prices;
        let values = &mut self.values;
        values[Quantity::AnyLoss as usize] = 1.0;
        values[Quantity::Losses as usize] += 1.0;
        let Lost { cost, days } = prices.of_loss(year, (key, counter), wait_days);
        values[Quantity::LossCost as usize] += cost;
        values[Quantity::ForcedDays as usize] += days;
        values[Quantity::WaitDays as usize] += wait_days;
        values[Quantity::UsedBladesFitted as usize] += short.used.len() as f64;
        self.loss_years.push(prices.years(year) as u32);
        self.loss_spots.push(hot_spot as u32);
        self.lost_value += cost;
        cost
    }

    /// How many of the levels the losses cost more than.
    pub fn levels_passed(&self) -> usize {
        self.loss_prices.levels_passed(self.lost_value)
    }

    /// Leaves only a share of what losses come to: the rest is told by other lives.
    pub fn share_losses(&mut self, share: f64) {
        for (part, whole) in [(Quantity::LossCost, Quantity::Cost), (Quantity::ForcedDays, Quantity::Days)] {
            let left_out = (1.0 - share) * self.values[part as usize];
            self.values[part as usize] -= left_out;
            self.values[whole as usize] -= left_out;
        }
        self.values[Quantity::Losses as usize] *= share;
    }

    /// The whole row was replaced after a loss, during the forced outage.
    pub fn replace_row_after_loss(&mut self, plan: &WorkPlan, year: f64) {
        self.values[Quantity::RowsReplaced as usize] += 1.0;
        self.values[Quantity::ReplacementCost as usize] += self.loss_prices.value(year) * plan.new_row_cost();
    }

    /// A blade was replaced together with a lost one, which may have damaged it, during the forced outage.
    pub fn replace_blade_after_loss(&mut self, plan: &WorkPlan, year: f64, is_damaged: bool, is_used: bool) {
        self.values[Quantity::BladesReplaced as usize] += 1.0;
        self.values[Quantity::BladesDamaged as usize] += f64::from(u8::from(is_damaged));
        self.values[Quantity::ReplacementCost as usize] += self.loss_prices.value(year) * plan.blade_cost(is_used);
    }

    /// The unit stood still in a year between outages, and work was done on the row; whether it was stopped for that, at
    /// what cost and for how many days.
    pub fn stop(&mut self, plan: &WorkPlan, year: f64, work: &Unscheduled, stopped: Option<[f64; 2]>) {
        let job = work.add_alone(plan, self.loss_prices.value(year), &mut self.values);
        self.stops.push(StopDone { year, job, stopped });
    }

    /// A further look was called for.
    pub fn escalate(&mut self) {
        self.values[Quantity::Escalated as usize] = 1.0;
    }

    /// Prices what was done, but for what the rows of a unit share, and adds up what was in the row: cracks that entered,
    /// and others.
    pub fn settle(&mut self, plan: &WorkPlan, others: &Occupancy, length_mm: &[f64]) {
        self.work.add_up(plan, &mut self.values, &mut self.jobs);
        // Not `max`, which minds not-a-numbers: days are finite.
        let longer = |most: f64, (_, job): &(u32, Job)| if job.days > most { job.days } else { most };
        self.most_days = self.jobs.iter().fold(plan.most_scheduled_days, longer);
        self.cracks_left.add_up(others, length_mm);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::Distribution;
    use crate::simulation::plan::RowPlan;

    #[test] // by hand
    fn a_share_of_the_losses_is_a_share_of_what_they_come_to() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
        let study = Study::load(path).expect("a valid study");
        let mut record = LifeRecord::new(&study, &Calendar::new([].into_iter(), &[2021.0], 2020.0, 2030.0));
        let of = |[losses, loss_cost, cost, forced_days, days]: [f64; 5]| {
            let mut values = NOTHING;
            values[Quantity::Losses as usize] = losses;
            values[Quantity::LossCost as usize] = loss_cost;
            values[Quantity::Cost as usize] = cost;
            values[Quantity::ForcedDays as usize] = forced_days;
            values[Quantity::Days as usize] = days;
            values
        };
        record.values = of([2.0, 80.0, 100.0, 8.0, 10.0]);
        record.share_losses(0.25);
        assert_eq!(record.values, of([0.5, 20.0, 40.0, 2.0, 4.0]));
    }

    #[test] // by hand
    fn a_life_begins_with_no_loss_of_the_one_before() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
        let mut parts = Study::load(path).expect("a valid study").into_parts();
        (parts.costs.loss_cost, parts.costs.loss_days) = (Distribution::Fixed(3000.0), Distribution::Fixed(50.0));
        let study = Study::of_checked(parts);
        let row = &RowPlan::all(&study).expect("good rows")[0];
        let mut record = LifeRecord::new(&study, &row.nature.calendar);
        record.begin(&row.strategies[0].work);
        let short = ShortOfSpares::default();
        let costs = [(2021.5, 0), (2023.5, 1)]
            .map(|(year, hot_spot)| record.lose(year, hot_spot, (Key::from_seed(1), 0), &short));
        // Each costs 3000, and 50 days at 100, less by discounting: both together more than one does in the mean.
        assert!(costs[0] < 8000.0 && costs[1] < costs[0] && costs[1] > 6400.0, "{costs:?}");
        assert_eq!((&record.loss_years[..], &record.loss_spots[..]), (&[1, 3][..], &[0, 1][..]));
        assert_eq!((record.lost_value, record.levels_passed()), (costs[0] + costs[1], 3));
        record.begin(&row.strategies[0].work);
        assert!(record.loss_years.is_empty() && record.loss_spots.is_empty());
        assert_eq!((record.lost_value, record.levels_passed()), (0.0, 0));
    }
}
