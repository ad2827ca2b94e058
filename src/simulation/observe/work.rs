//! Work at outages, and what it costs in money and days.

use super::{Quantity, Values};
use crate::bits::Numbers;
use crate::model::Study;
use crate::model::detection::Access;
use crate::simulation::plan::{RowPlan, TechniquePlan};
use crate::simulation::policy::Policy;

/// What a row's work under a policy is planned to cost, and what it would cost beyond that.
#[derive(Debug)]
pub(crate) struct WorkPlan {
    /// Scheduled work of each outage.
    scheduled: Vec<Scheduled>,
    /// What it comes to over all outages, costs discounted.
    pub scheduled_values: Values,
    /// Cost and days of each further look, for each outage.
    further_looks: Vec<Vec<LookPrice>>,
    prices: Prices,
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
    /// Of a day beyond the window.
    day: f64,
    window_days: f64,
}

/// Cost and days of a look.
#[derive(Debug, Clone, Copy)]
struct LookPrice {
    cost: f64,
    days: f64,
}

/// Work that is scheduled at one outage.
#[derive(Debug, Clone, Copy, Default)]
struct Scheduled {
    look_cost: f64,
    look_days: f64,
    blades_out: bool,
    /// Days of all of it, and those of them beyond the window.
    days: f64,
    days_beyond: f64,
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
#[derive(Debug)]
pub(crate) struct WorkDone {
    outages: Vec<Unscheduled>,
    /// Outages with any.
    touched: Numbers,
}

impl WorkPlan {
    pub fn new(study: &Study, row: &RowPlan, policy: &Policy, window_days: f64) -> Self {
        let costs = &study.costs;
        let prices = Prices {
            blades_out: costs.blades_out_cost,
            blades_out_days: costs.blades_out_days,
            blade: costs.new_blade_cost,
            blade_days: costs.new_blade_days,
            row: costs.new_row_cost,
            row_days: costs.new_row_days,
            day: costs.outage_day_cost,
            window_days,
        };
        let outages = 0..row.calendar.len();
        let scheduled: Vec<Scheduled> =
            outages.clone().map(|outage| Scheduled::new(row, policy, &prices, outage)).collect();
        let price = |technique| outages.clone().map(|outage| rest_of_row(row, policy, technique, outage)).collect();
        WorkPlan {
            scheduled_values: scheduled_values(row, &scheduled, &prices),
            further_looks: policy.further_looks.iter().map(|look| price(look.technique)).collect(),
            scheduled,
            prices,
        }
    }

    /// Cost of a new row.
    pub fn new_row_cost(&self) -> f64 {
        self.prices.row
    }
}

impl Scheduled {
    fn new(row: &RowPlan, policy: &Policy, prices: &Prices, outage: usize) -> Self {
        let mut work = Scheduled::default();
        for (technique, about) in row.techniques.iter().enumerate() {
            if let Some(fraction) = scheduled_fraction(policy, technique, outage) {
                work.look_cost += about.cost(f64::from(row.blades) * fraction);
                work.look_days += about.days_per_row;
                work.blades_out |= about.access == Access::BladesOut;
            }
        }
        work.days = work.look_days + if work.blades_out { prices.blades_out_days } else { 0.0 };
        work.days_beyond = (work.days - prices.window_days).max(0.0);
        work
    }
}

fn scheduled_values(row: &RowPlan, scheduled: &[Scheduled], prices: &Prices) -> Values {
    let discounted = |amount: &dyn Fn(&Scheduled) -> f64| -> f64 {
        scheduled.iter().zip(&row.value_at_outage).map(|(work, value)| value * amount(work)).sum()
    };
    let out = |work: &Scheduled| f64::from(u8::from(work.blades_out));
    let times_out: f64 = scheduled.iter().map(out).sum();
    let mut values = [0.0; Quantity::ALL.len()];
    for (quantity, amount) in [
        (Quantity::LookCost, discounted(&|work| work.look_cost)),
        (Quantity::BladesOutCost, discounted(&|work| out(work) * prices.blades_out)),
        (Quantity::ExtraDayCost, discounted(&|work| work.days_beyond * prices.day)),
        (Quantity::LookDays, scheduled.iter().map(|work| work.look_days).sum()),
        (Quantity::BladesOutDays, times_out * prices.blades_out_days),
        (Quantity::TimesOut, times_out),
    ] {
        values[quantity as usize] = amount;
    }
    values
}

/// The fraction of the row's blades that a technique is scheduled to look at, at an outage; none if it does not look.
/// Several looks by one technique are one: each blade is looked at once.
fn scheduled_fraction(policy: &Policy, technique: usize, outage: usize) -> Option<f64> {
    let due = policy.scheduled.iter().filter(|look| look.technique == technique && look.is_due(outage));
    let unseen = due.map(|look| 1.0 - look.blade_fraction).reduce(|all, unseen| all * unseen)?;
    Some(1.0 - unseen)
}

/// Cost and days of a further look: of what the technique does not look at by schedule.
fn rest_of_row(row: &RowPlan, policy: &Policy, technique: usize, outage: usize) -> LookPrice {
    let about = &row.techniques[technique];
    let blades = f64::from(row.blades);
    match scheduled_fraction(policy, technique, outage) {
        None => LookPrice { cost: about.cost(blades), days: about.days_per_row },
        // Blades of which only some hot spots were looked at are looked at once more.
        Some(_) => {
            let due = policy.scheduled.iter().filter(|look| look.technique == technique && look.is_due(outage));
            let unseen: f64 =
                due.filter(|look| look.hot_spots.is_empty()).map(|look| 1.0 - look.blade_fraction).product();
            LookPrice { cost: about.cost_per_blade * blades * unseen, days: 0.0 }
        }
    }
}

/// Cost and days of looking, for that alone, at watched blades of the row by a technique at an outage.
fn watch_price(policy: &Policy, about: &TechniquePlan, technique: usize, outage: usize, blades: usize) -> LookPrice {
    let watch = policy.watch;
    let of_blades = watch.and_then(|watch| watch.cost_per_blade).unwrap_or(about.cost_per_blade) * blades as f64;
    if scheduled_fraction(policy, technique, outage).is_some() {
        // The technique is at the row for other blades, or other hot spots.
        return LookPrice { cost: of_blades, days: 0.0 };
    }
    LookPrice {
        cost: watch.and_then(|watch| watch.cost_per_row).unwrap_or(about.cost_per_row) + of_blades,
        days: watch.and_then(|watch| watch.days_per_row).unwrap_or(about.days_per_row),
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
    pub fn look_further(&mut self, row: &RowPlan, plan: &WorkPlan, policy: &Policy, look: usize, outage: usize) {
        let access = row.techniques[policy.further_looks[look].technique].access;
        self.look(outage, plan.further_looks[look][outage], access);
    }

    /// A look at so many watched blades, for that alone.
    pub fn look_at_watched(&mut self, row: &RowPlan, policy: &Policy, technique: usize, outage: usize, blades: usize) {
        let about = &row.techniques[technique];
        self.look(outage, watch_price(policy, about, technique, outage, blades), about.access);
    }

    fn look(&mut self, outage: usize, price: LookPrice, access: Access) {
        let work = self.at(outage);
        work.look_cost += price.cost;
        work.look_days += price.days;
        work.blades_out |= access == Access::BladesOut;
    }

    /// Adds what the work comes to, and forgets it.
    pub fn add_up(&mut self, row: &RowPlan, plan: &WorkPlan, values: &mut Values) {
        while let Some(outage) = self.touched.pop() {
            let work = std::mem::take(&mut self.outages[outage as usize]);
            work.add(plan, outage as usize, row.value_at_outage[outage as usize], values);
        }
    }
}

impl Unscheduled {
    fn add(&self, plan: &WorkPlan, outage: usize, value: f64, values: &mut Values) {
        let (scheduled, prices) = (&plan.scheduled[outage], &plan.prices);
        let new_blades = f64::from(self.new_blades);
        let (new_cost, new_days) = if self.new_row {
            (prices.row, prices.row_days)
        } else {
            (new_blades * prices.blade, new_blades * prices.blade_days)
        };
        let out = if (self.blades_out || self.new_row) && !scheduled.blades_out { 1.0 } else { 0.0 };
        let out_days = out * prices.blades_out_days;
        let days = scheduled.days + self.look_days + out_days + new_days;
        let beyond = (days - prices.window_days).max(0.0) - scheduled.days_beyond;
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
            (Quantity::ExtraDayCost, value * beyond * prices.day),
            (Quantity::LookDays, self.look_days),
            (Quantity::BladesOutDays, out_days),
            (Quantity::ReplacementDays, new_days),
        ] {
            values[quantity as usize] += amount;
        }
    }
}
