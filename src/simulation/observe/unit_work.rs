//! What the rows of a unit share at its outages: lifts of rotors, crews and the window.

use super::outage_schedule::{Crews, Job};
use super::work::WorkPlan;
use super::{LifeRecord, Quantity, StopDone};
use crate::bits::Numbers;
use crate::model::Study;
use crate::model::economics::{DAYS_PER_YEAR, DayCost, Money};
use crate::model::fleet::Row;
use crate::simulation::calendar::Calendar;

/// The shared work of a unit under one strategy.
#[derive(Debug)]
pub(crate) struct UnitWork {
    crews: Crews,
    /// The same at a stop between outages, which has no window.
    crews_at_stops: Crews,
    start_year: f64,
    money: Money,
    lift_cost: f64,
    /// Whether lifts cost anything, in money or days.
    lifts_count: bool,
    day_cost: DayCost,
    /// For each outage to come the end of its window, as a year.
    window_ends: Vec<f64>,
    /// Present value of one unit of money at each outage to come.
    value_at_outage: Vec<f64>,
    /// For each outage to come what is scheduled.
    scheduled: Vec<Scheduled>,
    /// For each row what all that comes to.
    scheduled_values: Vec<SharedValues>,
}

/// Scheduled work of one outage.
#[derive(Debug)]
struct Scheduled {
    jobs: Vec<Job>,
    shares: Vec<Share>,
}

/// A row's share at one outage.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Share {
    /// Of the days beyond the window, and what one of them costs in the mean over all.
    days_beyond: f64,
    day_cost: f64,
    /// Of the lift of its rotor.
    lift: f64,
}

/// What a row's shares come to; costs discounted.
#[derive(Debug, Clone, Copy, Default)]
struct SharedValues {
    days_beyond: f64,
    extra_day_cost: f64,
    lift_cost: f64,
    lift_days: f64,
}

/// Storage for settling the lives of a unit.
#[derive(Debug, Default)]
pub(crate) struct UnitBuffers {
    touched: Numbers,
    jobs: Vec<Job>,
    days_beyond: Vec<f64>,
    shares: Vec<Share>,
}

impl UnitWork {
    /// Of rows of one unit, with the work of each under the strategy.
    pub fn new(study: &Study, rows: &[&Row], calendar: &Calendar, work: &[&WorkPlan]) -> Self {
        let value = |&year: &f64| study.money.present_value(year - study.start_year);
        let crews = Crews::of_unit(study, rows);
        let mut shared = UnitWork {
            crews_at_stops: Crews { window_days: 0.0, ..crews.clone() },
            crews,
            start_year: study.start_year,
            money: study.money.clone(),
            lift_cost: study.costs.rotor_lift_cost,
            lifts_count: study.costs.rotor_lift_cost > 0.0 || study.costs.rotor_lift_days > 0.0,
            day_cost: study.costs.outage_day_cost.clone(),
            window_ends: Vec::new(),
            value_at_outage: calendar.years[calendar.start..].iter().map(value).collect(),
            scheduled: Vec::new(),
            scheduled_values: vec![SharedValues::default(); rows.len()],
        };
        let window_years = shared.crews.window_days / DAYS_PER_YEAR;
        shared.window_ends = calendar.years[calendar.start..].iter().map(|year| year + window_years).collect();
        let mut buffers = UnitBuffers::default();
        for outage in 0..calendar.to_come() {
            let jobs: Vec<Job> = work.iter().map(|work| work.scheduled_job(outage)).collect();
            shared.share(&shared.crews, shared.window_ends[outage], &jobs, &mut buffers);
            let value = shared.value_at_outage[outage];
            for (row, share) in buffers.shares.iter().enumerate() {
                shared.scheduled_values[row] = shared.plus(shared.scheduled_values[row], value, share, 1.0);
            }
            shared.scheduled.push(Scheduled { jobs, shares: buffers.shares.clone() });
        }
        shared
    }

    /// Adds what the rows of a unit share in one life, when the work of each is added up.
    pub fn settle(&self, records: &mut [LifeRecord], buffers: &mut UnitBuffers) {
        for (record, scheduled) in records.iter_mut().zip(&self.scheduled_values) {
            record.share(scheduled);
        }
        // Nothing is shared where no lift counts and all work fits into the window even if one crew does it.
        let most_days: f64 = records.iter().map(|record| record.most_days).sum();
        if self.lifts_count || most_days > self.crews.window_days {
            self.settle_unscheduled(records, buffers);
        }
        if records.iter().any(|record| !record.stops.is_empty()) {
            self.settle_stops(records, buffers);
        }
        records.iter_mut().for_each(LifeRecord::sum_up);
    }

    /// Adds what the work that was not scheduled changes in the shares.
    fn settle_unscheduled(&self, records: &mut [LifeRecord], buffers: &mut UnitBuffers) {
        buffers.touched.clear(self.scheduled.len());
        for (outage, _) in records.iter().flat_map(|record| &record.jobs) {
            buffers.touched.insert(*outage);
        }
        while let Some(outage) = buffers.touched.pop() {
            let scheduled = &self.scheduled[outage as usize];
            let mut jobs = std::mem::take(&mut buffers.jobs);
            jobs.clone_from(&scheduled.jobs);
            for (job, record) in jobs.iter_mut().zip(records.iter()) {
                let done = record.jobs.iter().find(|(other, _)| *other == outage);
                done.iter().for_each(|(_, done)| *job = *done);
            }
            if jobs != scheduled.jobs {
                let value = self.value_at_outage[outage as usize];
                self.share(&self.crews, self.window_ends[outage as usize], &jobs, buffers);
                let shares = buffers.shares.iter().zip(&scheduled.shares);
                for (record, (share, before)) in records.iter_mut().zip(shares) {
                    let added = self.plus(SharedValues::default(), value, share, 1.0);
                    record.share(&self.plus(added, value, before, -1.0));
                }
            }
            buffers.jobs = jobs;
        }
    }

    /// Adds the stops between outages: rows that are looked at at one moment share it.
    #[inline(never)]
    fn settle_stops(&self, records: &mut [LifeRecord], buffers: &mut UnitBuffers) {
        let mut years: Vec<f64> = records.iter().flat_map(|record| &record.stops).map(|stop| stop.year).collect();
        years.sort_unstable_by(f64::total_cmp);
        years.dedup();
        for year in years {
            let value = self.money.present_value(year - self.start_year);
            let at = |record: &LifeRecord| {
                let mut all = StopDone { year, job: Job::default(), stopped: None };
                for stop in record.stops.iter().filter(|stop| stop.year == year) {
                    all.job.days += stop.job.days;
                    all.job.blades_out |= stop.job.blades_out;
                    all.stopped = all.stopped.or(stop.stopped);
                }
                all
            };
            let stops: Vec<StopDone> = records.iter().map(at).collect();
            let jobs: Vec<Job> = stops.iter().map(|stop| stop.job).collect();
            let count = stops.iter().filter(|stop| stop.stopped.is_some()).count() as f64;
            let [cost, days] = stops.iter().find_map(|stop| stop.stopped).unwrap_or_default();
            self.share(&self.crews_at_stops, year + days / DAYS_PER_YEAR, &jobs, buffers);
            let standing_cost = self.day_cost.of_days(year, days);
            for ((record, stop), share) in records.iter_mut().zip(&stops).zip(&buffers.shares) {
                record.share(&self.plus(SharedValues::default(), value, share, 1.0));
                if stop.stopped.is_some() {
                    for (quantity, amount) in [
                        (Quantity::ExtraStops, 1.0),
                        (Quantity::StopCost, value * cost),
                        (Quantity::StopDays, days),
                        (Quantity::DaysBeyondWindow, days),
                        (Quantity::ExtraDayCost, value * standing_cost),
                    ] {
                        record.values[quantity as usize] += amount / count;
                    }
                }
            }
        }
    }

    /// Splits the lifts and the days beyond the window over the rows; these days follow each other, and cost all rows alike.
    fn share(&self, crews: &Crews, window_end: f64, jobs: &[Job], buffers: &mut UnitBuffers) {
        buffers.days_beyond.resize(jobs.len(), 0.0);
        crews.split_days_beyond(jobs, &mut buffers.days_beyond);
        let day_cost = self.day_cost.mean_of_days(window_end, buffers.days_beyond.iter().sum());
        buffers.shares.clear();
        let rotors = &crews.rotors;
        for (row, (job, &days_beyond)) in jobs.iter().zip(&buffers.days_beyond).enumerate() {
            let alike = jobs.iter().zip(rotors).filter(|(other, rotor)| other.blades_out && **rotor == rotors[row]);
            let lift = if job.blades_out { 1.0 / alike.count() as f64 } else { 0.0 };
            buffers.shares.push(Share { days_beyond, day_cost, lift });
        }
    }

    /// Values with a share at a moment, so many times; `value` is the present value of one unit of money then.
    fn plus(&self, values: SharedValues, value: f64, share: &Share, times: f64) -> SharedValues {
        SharedValues {
            days_beyond: values.days_beyond + times * share.days_beyond,
            extra_day_cost: values.extra_day_cost + times * value * share.days_beyond * share.day_cost,
            lift_cost: values.lift_cost + times * value * share.lift * self.lift_cost,
            lift_days: values.lift_days + times * share.lift * self.crews.lift_days,
        }
    }
}

impl LifeRecord {
    /// Adds what a row has in the shared work of its unit.
    fn share(&mut self, shared: &SharedValues) {
        for (quantity, amount) in [
            (Quantity::DaysBeyondWindow, shared.days_beyond),
            (Quantity::ExtraDayCost, shared.extra_day_cost),
            (Quantity::BladesOutCost, shared.lift_cost),
            (Quantity::BladesOutDays, shared.lift_days),
        ] {
            self.values[quantity as usize] += amount;
        }
    }

    /// Sums up costs and days.
    fn sum_up(&mut self) {
        let sum = |from: Quantity, to: Quantity| self.values[from as usize..=to as usize].iter().sum::<f64>();
        let (cost, days) = (sum(Quantity::LookCost, Quantity::LossCost), sum(Quantity::LookDays, Quantity::ForcedDays));
        self.values[Quantity::Cost as usize] = cost;
        self.values[Quantity::Days as usize] = days;
        self.whole = [cost, days];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::observe::{Occupancy, Unscheduled, Values};
    use crate::simulation::plan::RowPlan;

    /// The small study with two rows of two rotors, where money keeps its value: looks at three outages take two days and cost
    /// 20 each; a day beyond the window costs 100.
    fn two_rows(window: &str, costs: &str) -> Study {
        let text = include_str!("../../../tests/engine/data/small.toml");
        let row =
            &text[text.find("[rows.A1]").expect("rows")..text.find("[techniques.ultrasonic]").expect("techniques")];
        let text = text
            .replace("window_days = 20 }", window)
            .replace("discount_rate_per_year = 0.03", "discount_rate_per_year = 0")
            .replace(row, &format!("{row}{}", row.replace("A1", "A2").replace("A-1", "A-2")));
        Study::parse(&format!("{text}{costs}\n"), "a study").unwrap_or_else(|error| panic!("{error}"))
    }

    /// Does some work in a life in which nothing else happens, given the first outage to come: sums over both rows.
    fn sums(study: &Study, work: impl Fn(&mut [LifeRecord], &WorkPlan, usize)) -> Values {
        let plans = RowPlan::all(study).expect("good rows");
        let calendar = &plans[0].nature.calendar;
        let each: Vec<&WorkPlan> = plans.iter().map(|plan| &plan.strategies[0].work).collect();
        let unit = UnitWork::new(study, &study.rows.iter().collect::<Vec<_>>(), calendar, &each);
        let mut records: Vec<LifeRecord> = plans.iter().map(|_| LifeRecord::new(study, calendar)).collect();
        records.iter_mut().zip(&each).for_each(|(record, plan)| record.begin(plan));
        work(&mut records, each[0], calendar.start);
        let nothing = Occupancy { there: &[Vec::new()], places: &[], range: 0..0 };
        records.iter_mut().zip(&each).for_each(|(record, plan)| record.settle(plan, &nothing, &[]));
        unit.settle(&mut records, &mut UnitBuffers::default());
        for record in &records {
            assert_eq!(record.whole, [Quantity::Cost, Quantity::Days].map(|quantity| record.values[quantity as usize]));
        }
        std::array::from_fn(|quantity| records.iter().map(|record| record.values[quantity]).sum())
    }

    #[track_caller]
    fn assert_sums(sums: Values, by_hand: &[(Quantity, f64)]) {
        for &(quantity, by_hand) in by_hand {
            let sum = sums[quantity as usize];
            assert!((sum - by_hand).abs() < 1e-9, "{} {sum} for {by_hand}", quantity.name());
        }
    }

    /// One crew has nine days. 60 new blades take six days more than the look at their row, so the unit needs a day beyond the
    /// window, though neither row would alone.
    #[test] // by hand
    fn a_row_with_no_more_than_its_schedule_needs_the_window_too() {
        let study = two_rows("window_days = 9 }\ncrews = 1", "");
        let sums = sums(&study, |records, plan, first| {
            assert_eq!([0, 1, 2].map(|outage| plan.planned_job(outage)), [Job { days: 2.0, blades_out: false }; 3]);
            records[0].work.replace_blades(first, [60, 0]);
        });
        assert_sums(
            sums,
            &[
                (Quantity::DaysBeyondWindow, 1.0),
                (Quantity::ExtraDayCost, 100.0),
                (Quantity::Cost, 6.0 * 20.0 + 60.0 * 8.0 + 100.0),
                (Quantity::Days, 6.0 * 2.0 + 6.0),
            ],
        );
    }

    /// Taking blades out costs 100 and five days, and there is time for it.
    #[test] // by hand
    fn a_lift_counts_if_it_costs_money_or_days() {
        for (costs, cost, days) in
            [("", 100.0, 5.0), ("rotor_lift_cost = 50", 150.0, 5.0), ("rotor_lift_days = 2", 100.0, 7.0)]
        {
            let sums = sums(&two_rows("window_days = 20 }", costs), |records, _, first| {
                records[0].work.dress_blade(first, true);
            });
            let by_hand =
                [(Quantity::BladesOutCost, cost), (Quantity::BladesOutDays, days), (Quantity::DaysBeyondWindow, 0.0)];
            assert_sums(sums, &by_hand);
        }
    }

    /// The unit is stopped for three days at a cost of 7. Each look takes three days, and five for taking blades out; one row
    /// is looked at twice at the same moment, one after the other. The other row needs no day more, and its rotor a lift.
    #[test] // by hand
    fn looks_at_one_moment_share_a_stop() {
        let sums = sums(&two_rows("window_days = 20 }", "rotor_lift_cost = 50"), |records, plan, _| {
            let mut look = Unscheduled::default();
            look.look_at_row(plan, 1);
            for row in [0, 0, 1] {
                records[row].stop(plan, 2022.5, &look, Some([7.0, 3.0]));
            }
        });
        assert_sums(
            sums,
            &[
                (Quantity::ExtraStops, 1.0),
                (Quantity::StopCost, 7.0),
                (Quantity::StopDays, 3.0),
                (Quantity::DaysBeyondWindow, 3.0 + 2.0 * 8.0),
                (Quantity::ExtraDayCost, 1900.0),
                (Quantity::BladesOutCost, 3.0 * 100.0 + 2.0 * 50.0),
            ],
        );
    }
}
