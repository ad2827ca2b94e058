//! Work at outages, and what it costs in money and days.

use super::outage_schedule::Job;
use super::{Quantity, Values};
use crate::bits::Numbers;
use crate::model::Study;
use crate::model::detection::Access;
use crate::model::fleet::Row;
use crate::model::strategy::RowEndAction;
use crate::simulation::calendar::Calendar;
use crate::simulation::inspection::TechniquePlan;
use crate::simulation::policy::Policy;

/// What a row's work under a policy is planned to cost, and what it would cost beyond that.
#[derive(Debug)]
pub(crate) struct WorkPlan {
    /// Scheduled work of each outage.
    scheduled: Vec<Scheduled>,
    /// What it comes to over all outages, costs discounted.
    pub scheduled_values: Values,
    /// Price of each further look, for each outage.
    further_looks: Vec<Vec<LookPrice>>,
    /// Price of looking, for that alone, at watched blades by each technique, for each outage.
    watch_looks: Vec<Vec<LookPrice>>,
    prices: Prices,
    /// Present value of one unit of money at each outage.
    value_at_outage: Vec<f64>,
    /// Number of the first outage to come.
    start: usize,
    /// The outage at which the row is replaced by plan.
    row_replaced_at: Option<usize>,
}

/// Prices and days of acts other than looks.
#[derive(Debug, Clone, Copy)]
struct Prices {
    blades_out: f64,
    blades_out_days: f64,
    blade: f64,
    blade_days: f64,
    row: f64,
    row_days: f64,
}

/// What a look costs, in money and days.
#[derive(Debug, Clone, Copy)]
struct LookPrice {
    cost: f64,
    /// Of each blade beside that.
    cost_per_blade: f64,
    days: f64,
    blades_out: bool,
}

/// Work that is scheduled at one outage.
#[derive(Debug, Clone, Copy, Default)]
struct Scheduled {
    look_cost: f64,
    look_days: f64,
    blades_out: bool,
}

/// Work at an outage that was not scheduled.
#[derive(Debug, Clone, Copy, Default)]
struct Unscheduled {
    look_cost: f64,
    look_days: f64,
    new_blades: u32,
    /// Of them, in place of blades without a crack.
    falsely: u32,
    cracks_found: u32,
    new_row: bool,
    blades_out: bool,
    called: bool,
}

/// Work of one life that was not scheduled, outage by outage.
#[derive(Debug, Clone)]
pub(crate) struct WorkDone {
    outages: Vec<Unscheduled>,
    /// Outages with any.
    touched: Numbers,
}

impl WorkPlan {
    pub fn new(study: &Study, row: &Row, calendar: &Calendar, techniques: &[TechniquePlan], policy: &Policy) -> Self {
        let costs = &study.costs;
        let prices = Prices {
            blades_out: costs.blades_out_cost,
            blades_out_days: costs.blades_out_days,
            blade: costs.new_blade_cost,
            blade_days: costs.new_blade_days,
            row: costs.new_row_cost,
            row_days: costs.new_row_days,
        };
        let blades = f64::from(row.blades);
        let outages = 0..calendar.len();
        let scheduled = outages.clone().map(|outage| Scheduled::new(techniques, policy, blades, outage));
        let scheduled: Vec<Scheduled> = scheduled.collect();
        let value = |&year: &f64| study.money.present_value(year - study.start_year);
        let value_at_outage: Vec<f64> = calendar.years.iter().map(value).collect();
        let further = |technique: usize| {
            let about = &techniques[technique];
            outages.clone().map(|outage| rest_of_row(about, policy, technique, blades, outage)).collect()
        };
        let watch =
            |(technique, about)| outages.clone().map(|outage| watch_price(about, policy, technique, outage)).collect();
        WorkPlan {
            scheduled_values: scheduled_values(&scheduled, &prices, &value_at_outage),
            further_looks: policy.further_looks.iter().map(|look| further(look.technique)).collect(),
            watch_looks: techniques.iter().enumerate().map(watch).collect(),
            scheduled,
            prices,
            value_at_outage,
            start: calendar.start,
            row_replaced_at: policy.row_end.filter(|end| end.then == RowEndAction::NewRow).map(|end| end.outage),
        }
    }

    /// Scheduled work at an outage to come.
    pub fn scheduled_job(&self, outage: usize) -> Job {
        let work = &self.scheduled[self.start + outage];
        let out_days = if work.blades_out { self.prices.blades_out_days } else { 0.0 };
        Job { days: work.look_days + out_days, blades_out: work.blades_out }
    }

    /// Scheduled work at an outage to come, and a new row where that is planned.
    pub fn planned_job(&self, outage: usize) -> Job {
        if self.row_replaced_at == Some(self.start + outage) {
            return Job { days: self.prices.row_days + self.prices.blades_out_days, blades_out: true };
        }
        self.scheduled_job(outage)
    }

    /// Cost of a new row.
    pub fn new_row_cost(&self) -> f64 {
        self.prices.row
    }
}

impl Scheduled {
    fn new(techniques: &[TechniquePlan], policy: &Policy, blades: f64, outage: usize) -> Self {
        let mut work = Scheduled::default();
        for (technique, about) in techniques.iter().enumerate() {
            if let Some(fraction) = policy.scheduled_fraction(technique, outage) {
                work.look_cost += about.cost(blades * fraction);
                work.look_days += about.days_per_row;
                work.blades_out |= about.access == Access::BladesOut;
            }
        }
        work
    }
}

fn scheduled_values(scheduled: &[Scheduled], prices: &Prices, value_at_outage: &[f64]) -> Values {
    let discounted = |amount: &dyn Fn(&Scheduled) -> f64| -> f64 {
        scheduled.iter().zip(value_at_outage).map(|(work, value)| value * amount(work)).sum()
    };
    let out = |work: &Scheduled| f64::from(u8::from(work.blades_out));
    let times_out: f64 = scheduled.iter().map(out).sum();
    let mut values = [0.0; Quantity::ALL.len()];
    for (quantity, amount) in [
        (Quantity::LookCost, discounted(&|work| work.look_cost)),
        (Quantity::BladesOutCost, discounted(&|work| out(work) * prices.blades_out)),
        (Quantity::LookDays, scheduled.iter().map(|work| work.look_days).sum()),
        (Quantity::BladesOutDays, times_out * prices.blades_out_days),
        (Quantity::TimesOut, times_out),
    ] {
        values[quantity as usize] = amount;
    }
    values
}

/// Price of a further look: of what the technique does not look at by schedule.
fn rest_of_row(about: &TechniquePlan, policy: &Policy, technique: usize, blades: f64, outage: usize) -> LookPrice {
    let blades_out = about.access == Access::BladesOut;
    let (cost, days) = match policy.scheduled_fraction(technique, outage) {
        None => (about.cost(blades), about.days_per_row),
        // Blades of which only some hot spots were looked at are looked at once more.
        Some(_) => (about.cost_per_blade * blades * (1.0 - policy.wholly_seen_fraction(technique, outage)), 0.0),
    };
    LookPrice { cost, cost_per_blade: 0.0, days, blades_out }
}

/// Price of looking, for that alone, at watched blades of the row.
fn watch_price(about: &TechniquePlan, policy: &Policy, technique: usize, outage: usize) -> LookPrice {
    let watch = policy.watch;
    let blades_out = about.access == Access::BladesOut;
    let cost_per_blade = watch.and_then(|watch| watch.cost_per_blade).unwrap_or(about.cost_per_blade);
    if policy.scheduled_fraction(technique, outage).is_some() {
        // The technique is at the row for other blades, or other hot spots.
        return LookPrice { cost: 0.0, cost_per_blade, days: 0.0, blades_out };
    }
    LookPrice {
        cost: watch.and_then(|watch| watch.cost_per_row).unwrap_or(about.cost_per_row),
        cost_per_blade,
        days: watch.and_then(|watch| watch.days_per_row).unwrap_or(about.days_per_row),
        blades_out,
    }
}

impl WorkDone {
    pub fn new(outages: usize) -> Self {
        let mut touched = Numbers::default();
        touched.clear(outages);
        WorkDone { outages: vec![Unscheduled::default(); outages], touched }
    }

    #[inline(always)]
    fn at(&mut self, outage: usize) -> &mut Unscheduled {
        self.touched.insert(outage as u32);
        &mut self.outages[outage]
    }

    /// A scheduled look called something.
    #[inline]
    pub fn call(&mut self, outage: usize) {
        self.at(outage).called = true;
    }

    /// Cracks were called by looks that stand.
    #[inline]
    pub fn find(&mut self, outage: usize, cracks: u32) {
        self.at(outage).cracks_found += cracks;
    }

    /// Blades were replaced one by one: cracked ones and clean ones.
    #[inline]
    pub fn replace_blades(&mut self, outage: usize, [cracked, clean]: [u32; 2]) {
        let work = self.at(outage);
        work.new_blades += cracked + clean;
        work.falsely += clean;
    }

    /// The whole row was replaced.
    pub fn replace_row(&mut self, outage: usize) {
        self.at(outage).new_row = true;
    }

    /// A further look at the whole row, by its number in the policy.
    pub fn look_further(&mut self, plan: &WorkPlan, look: usize, outage: usize) {
        self.look(&plan.further_looks[look][outage], 0, outage);
    }

    /// A look at so many watched blades, for that alone.
    pub fn look_at_watched(&mut self, plan: &WorkPlan, technique: usize, outage: usize, blades: usize) {
        self.look(&plan.watch_looks[technique][outage], blades, outage);
    }

    fn look(&mut self, price: &LookPrice, blades: usize, outage: usize) {
        let work = self.at(outage);
        work.look_cost += price.cost + price.cost_per_blade * blades as f64;
        work.look_days += price.days;
        work.blades_out |= price.blades_out;
    }

    /// Adds what the work comes to, and forgets it; leaves all work of the outages at which any was not scheduled.
    pub fn add_up(&mut self, plan: &WorkPlan, values: &mut Values, jobs: &mut Vec<(u32, Job)>) {
        jobs.clear();
        while let Some(outage) = self.touched.pop() {
            let work = std::mem::take(&mut self.outages[outage as usize]);
            jobs.push((outage - plan.start as u32, work.add(plan, outage as usize, values)));
        }
    }
}

impl Unscheduled {
    /// Adds what it comes to: returns all work of the outage.
    fn add(&self, plan: &WorkPlan, outage: usize, values: &mut Values) -> Job {
        let (scheduled, prices, value) = (&plan.scheduled[outage], &plan.prices, plan.value_at_outage[outage]);
        let new_blades = f64::from(self.new_blades);
        let (new_cost, new_days) = if self.new_row {
            (prices.row, prices.row_days)
        } else {
            (new_blades * prices.blade, new_blades * prices.blade_days)
        };
        let out = if (self.blades_out || self.new_row) && !scheduled.blades_out { 1.0 } else { 0.0 };
        let out_days = out * prices.blades_out_days;
        for (quantity, amount) in [
            (Quantity::BladesReplaced, new_blades),
            (Quantity::FalselyReplaced, f64::from(self.falsely)),
            (Quantity::RowsReplaced, f64::from(u8::from(self.new_row))),
            (Quantity::CracksFound, f64::from(self.cracks_found)),
            (Quantity::OutagesWithCalls, f64::from(u8::from(self.called))),
            (Quantity::TimesOut, out),
            (Quantity::LookCost, value * self.look_cost),
            (Quantity::BladesOutCost, value * out * prices.blades_out),
            (Quantity::ReplacementCost, value * new_cost),
            (Quantity::LookDays, self.look_days),
            (Quantity::BladesOutDays, out_days),
            (Quantity::ReplacementDays, new_days),
        ] {
            values[quantity as usize] += amount;
        }
        let planned = plan.scheduled_job(outage - plan.start);
        Job { days: planned.days + self.look_days + out_days + new_days, blades_out: planned.blades_out || out > 0.0 }
    }
}
