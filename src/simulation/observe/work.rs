//! Work at outages, and what it costs in money and days.

use super::outage_schedule::{Job, ROUNDING_DAYS};
use super::{NOTHING, Quantity, Values};
use crate::bits::Numbers;
use crate::model::Study;
use crate::model::detection::Access;
use crate::model::fleet::Row;
use crate::model::strategy::RowEndAction;
use crate::model::surface_treatment::Cleaning;
use crate::simulation::calendar::Calendar;
use crate::simulation::inspection::TechniquePlan;
use crate::simulation::policy::{Policy, ShortOfSpares};

/// What a row's work under a policy is planned to cost, and what it would cost beyond that.
#[derive(Debug)]
pub(crate) struct WorkPlan {
    /// Scheduled work of each outage.
    scheduled: Vec<Scheduled>,
    /// What it comes to over all outages, costs discounted.
    pub scheduled_values: Values,
    /// By technique of the study.
    looks: Vec<LookTerms>,
    cleanings: Vec<CleaningTerms>,
    /// Number of blades of the row.
    blades: f64,
    prices: Prices,
    /// Present value of one unit of money at each outage.
    value_at_outage: Vec<f64>,
    /// Days that each outage lasts anyway, and those of lifting a rotor.
    window_days: f64,
    lift_days: f64,
    /// Number of the first outage to come.
    start: usize,
    /// Most days of scheduled work at an outage to come.
    pub most_scheduled_days: f64,
    /// For each outage to come the work that is due whatever is found, and all work as long as nothing is.
    scheduled_jobs: Vec<Job>,
    planned_jobs: Vec<Job>,
}

/// Prices and days of acts other than looks.
#[derive(Debug, Clone, Copy)]
struct Prices {
    blades_out: f64,
    blades_out_days: f64,
    /// For each blade that comes out, beside that.
    blade_out: f64,
    blade_out_days: f64,
    blade: f64,
    blade_days: f64,
    used_blade: f64,
    dressing: f64,
    dressing_days: f64,
    row: f64,
    row_days: f64,
}

/// What looks by a technique cost.
#[derive(Debug, Clone, Copy)]
struct LookTerms {
    cost_per_row: f64,
    cost_per_blade: f64,
    days_per_row: f64,
    blades_out: bool,
}

/// What a cleaning before looks costs.
#[derive(Debug, Clone, Copy)]
struct CleaningTerms {
    cost_per_row: f64,
    cost_per_blade: f64,
    days_per_row: f64,
}

/// Cost and days of a look.
#[derive(Debug, Clone, Copy, Default)]
struct LookPrice {
    cost: f64,
    days: f64,
}

/// Work that is scheduled at one outage.
#[derive(Debug, Clone, Copy, Default)]
struct Scheduled {
    look_cost: f64,
    look_days: f64,
    surface_cost: f64,
    surface_days: f64,
    blades_out: bool,
    /// Share of the row's blades that come out.
    out_share: f64,
}

/// Work at an outage that was not scheduled, or at a stop between outages.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Unscheduled {
    look_cost: f64,
    look_days: f64,
    surface_cost: f64,
    surface_days: f64,
    new_blades: f64,
    /// Of them, in place of blades without a crack.
    falsely: f64,
    dressed: f64,
    cracks_found: f64,
    /// Blades damaged on their way out or in.
    damaged: f64,
    /// Days of waiting for new blades, and blades that run on without.
    wait_days: f64,
    run_on: f64,
    /// Of the new blades, those that are used.
    used: f64,
    new_row: bool,
    blades_out: bool,
    /// Share of the row's blades that come out for it, as if chosen apart from those by schedule.
    out_share: f64,
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
        let used_blades = policy.spares.as_ref().and_then(|spares| spares.used_blades);
        let prices = Prices {
            blades_out: costs.blades_out_cost,
            blades_out_days: costs.blades_out_days,
            blade_out: costs.blades_out_cost_per_blade,
            blade_out_days: costs.blades_out_days_per_blade,
            blade: costs.new_blade_cost,
            blade_days: costs.new_blade_days,
            used_blade: used_blades.map_or(costs.new_blade_cost, |used| used.cost_per_blade),
            dressing: costs.dressing_cost.unwrap_or(0.0),
            dressing_days: costs.dressing_days.unwrap_or(0.0),
            row: costs.new_row_cost,
            row_days: costs.new_row_days,
        };
        let value = |&year: &f64| study.money.present_value(year - study.start_year);
        let mut plan = WorkPlan {
            scheduled: Vec::new(),
            scheduled_values: NOTHING,
            looks: techniques[..study.techniques.len()].iter().map(LookTerms::new).collect(),
            cleanings: study.cleaning.iter().map(CleaningTerms::new).collect(),
            blades: f64::from(row.blades),
            prices,
            value_at_outage: calendar.years.iter().map(value).collect(),
            window_days: study.units[row.unit].outages.window_days,
            lift_days: costs.rotor_lift_days,
            start: calendar.start,
            scheduled_jobs: Vec::new(),
            planned_jobs: Vec::new(),
            most_scheduled_days: 0.0,
        };
        let fixed = |outage: usize| plan.by_schedule(policy, outage, |look| policy.scheduled[look].is_fixed(outage));
        plan.scheduled = (0..calendar.len()).map(fixed).collect();
        plan.scheduled_values = plan.scheduled_values();
        if let Some(limit) = policy.starts_limit.as_ref().filter(|limit| limit.is_of(row.unit)) {
            let stream = study.money.present_value_of_stream(limit.from_year - study.start_year, study.horizon_years);
            let rows = study.rows.iter().filter(|other| other.unit == row.unit).count();
            plan.scheduled_values[Quantity::StartsLimitCost as usize] = limit.cost_per_year * stream / rows as f64;
        }
        if let Some(spares) = &policy.spares {
            let stream = study.money.present_value_of_stream(0.0, study.horizon_years);
            plan.scheduled_values[Quantity::SparesCost as usize] = spares.cost_per_year * stream;
        }
        plan.scheduled_jobs = plan.scheduled[calendar.start..].iter().map(|work| plan.job(work)).collect();
        plan.most_scheduled_days = plan.scheduled_jobs.iter().map(|job| job.days).fold(0.0, f64::max);
        plan.planned_jobs = (calendar.start..calendar.len()).map(|outage| plan.plan_job(policy, outage)).collect();
        plan
    }

    /// The looks of some techniques by schedule at an outage, where some looks are due, by number; with what is done to
    /// surfaces.
    fn by_schedule(&self, policy: &Policy, outage: usize, is_due: impl Fn(usize) -> bool) -> Scheduled {
        let mut work = Scheduled::default();
        for (technique, terms) in self.looks.iter().enumerate() {
            if let Some(fraction) = policy.scheduled_fraction(technique, &is_due) {
                work.look_cost += terms.cost_per_row + terms.cost_per_blade * self.blades * fraction;
                work.look_days += terms.days_per_row;
                work.blades_out |= terms.blades_out;
                if terms.blades_out {
                    work.out_share = either(work.out_share, fraction);
                }
            }
        }
        for (cleaning, terms) in self.cleanings.iter().enumerate() {
            if let Some(fraction) = policy.cleaned_fraction(cleaning, &is_due) {
                work.surface_cost += terms.cost_per_row + terms.cost_per_blade * self.blades * fraction;
                work.surface_days += terms.days_per_row;
            }
        }
        for peening in policy.peenings.iter().filter(|peening| peening.outage == outage) {
            work.surface_cost += peening.cost;
            work.surface_days += peening.days;
            work.blades_out |= peening.blades_out;
            if peening.blades_out {
                work.out_share = 1.0;
            }
        }
        work
    }

    /// Price of a further look by a technique: of what it does not look at by schedule.
    fn rest_of_row(&self, policy: &Policy, technique: usize, is_due: impl Fn(usize) -> bool) -> LookPrice {
        let terms = &self.looks[technique];
        match policy.scheduled_fraction(technique, &is_due) {
            None => {
                LookPrice { cost: terms.cost_per_row + terms.cost_per_blade * self.blades, days: terms.days_per_row }
            }
            // Blades of which only some hot spots were looked at are looked at once more.
            Some(_) => {
                let unseen = 1.0 - policy.wholly_seen_fraction(technique, is_due);
                LookPrice { cost: terms.cost_per_blade * self.blades * unseen, days: 0.0 }
            }
        }
    }

    /// Price of a further look at so many blades, of those that the technique does not look at by schedule; it may be at the
    /// row for watched ones.
    fn blades(
        &self,
        policy: &Policy,
        technique: usize,
        blades: usize,
        is_there: bool,
        is_due: impl Fn(usize) -> bool,
    ) -> LookPrice {
        let terms = &self.looks[technique];
        let of_blades = terms.cost_per_blade * blades as f64;
        if is_there || policy.scheduled_fraction(technique, is_due).is_some() {
            return LookPrice { cost: of_blades, days: 0.0 };
        }
        LookPrice { cost: terms.cost_per_row + of_blades, days: terms.days_per_row }
    }

    /// Price of looking, for that alone, at so many watched blades of the row.
    fn watch(&self, policy: &Policy, technique: usize, blades: usize, is_due: impl Fn(usize) -> bool) -> LookPrice {
        let (terms, watch) = (&self.looks[technique], policy.watch);
        let per_blade = watch.and_then(|watch| watch.cost_per_blade).unwrap_or(terms.cost_per_blade);
        let of_blades = per_blade * blades as f64;
        if policy.scheduled_fraction(technique, is_due).is_some() {
            // The technique is at the row for other blades, or other hot spots.
            return LookPrice { cost: of_blades, days: 0.0 };
        }
        LookPrice {
            cost: watch.and_then(|watch| watch.cost_per_row).unwrap_or(terms.cost_per_row) + of_blades,
            days: watch.and_then(|watch| watch.days_per_row).unwrap_or(terms.days_per_row),
        }
    }

    fn plan_job(&self, policy: &Policy, outage: usize) -> Job {
        if policy.row_end.is_some_and(|end| end.then == RowEndAction::NewRow && end.outage == outage) {
            return Job { days: self.prices.row_days + self.out_days(1.0, 1.0), blades_out: true };
        }
        self.job(&self.by_schedule(policy, outage, |look| policy.scheduled[look].is_planned(outage)))
    }

    fn job(&self, work: &Scheduled) -> Job {
        let times_out = f64::from(u8::from(work.blades_out));
        Job {
            days: work.look_days + work.surface_days + self.out_days(times_out, work.out_share),
            blades_out: work.blades_out,
        }
    }

    /// Cost and days of taking out a share of the row's blades, so many times.
    fn out_cost(&self, times: f64, share: f64) -> f64 {
        times * self.prices.blades_out + share * self.blades * self.prices.blade_out
    }

    fn out_days(&self, times: f64, share: f64) -> f64 {
        times * self.prices.blades_out_days + share * self.blades * self.prices.blade_out_days
    }

    /// What scheduled work comes to over all outages, costs discounted.
    fn scheduled_values(&self) -> Values {
        let scheduled = || self.scheduled.iter().zip(&self.value_at_outage);
        let mut values = NOTHING;
        for (work, value) in scheduled() {
            let out = f64::from(u8::from(work.blades_out));
            for (quantity, amount) in [
                (Quantity::LookCost, value * work.look_cost),
                (Quantity::BladesOutCost, value * self.out_cost(out, work.out_share)),
                (Quantity::SurfaceCost, value * work.surface_cost),
                (Quantity::SurfaceDays, work.surface_days),
                (Quantity::LookDays, work.look_days),
                (Quantity::BladesOutDays, self.out_days(out, work.out_share)),
                (Quantity::TimesOut, out),
            ] {
                values[quantity as usize] += amount;
            }
        }
        values
    }

    /// All work at an outage to come as long as nothing is found and nothing lost.
    pub fn planned_job(&self, outage: usize) -> Job {
        self.planned_jobs[outage]
    }

    /// Work at an outage to come that is due whatever is found.
    pub fn scheduled_job(&self, outage: usize) -> Job {
        self.scheduled_jobs[outage]
    }

    /// For how many new blades the window leaves time behind some work, with a crew for the row alone.
    pub fn time_for_new_blades(&self, job: &Job) -> usize {
        let lift_days = if job.blades_out { self.lift_days } else { 0.0 };
        let left = self.window_days - (lift_days + job.days);
        // None where nothing is left, all where a blade takes no time.
        ((left + ROUNDING_DAYS) / self.prices.blade_days).floor() as usize
    }

    /// Cost of a new blade, or of a used one.
    pub fn blade_cost(&self, is_used: bool) -> f64 {
        if is_used { self.prices.used_blade } else { self.prices.blade }
    }

    /// Cost of a new row.
    pub fn new_row_cost(&self) -> f64 {
        self.prices.row
    }
}

impl LookTerms {
    fn new(technique: &TechniquePlan) -> Self {
        LookTerms {
            cost_per_row: technique.cost_per_row,
            cost_per_blade: technique.cost_per_blade,
            days_per_row: technique.days_per_row,
            blades_out: technique.access == Access::BladesOut,
        }
    }
}

/// Share of blades that one or the other of two looks takes out, if they choose apart from each other.
fn either(one: f64, other: f64) -> f64 {
    1.0 - (1.0 - one) * (1.0 - other)
}

impl CleaningTerms {
    fn new(cleaning: &Cleaning) -> Self {
        let &Cleaning { cost_per_row, cost_per_blade, days_per_row, .. } = cleaning;
        CleaningTerms { cost_per_row, cost_per_blade, days_per_row }
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
        self.at(outage).cracks_found += f64::from(cracks);
    }

    /// Blades were replaced one by one: cracked ones and clean ones.
    #[inline]
    pub fn replace_blades(&mut self, outage: usize, blades: [u32; 2]) {
        self.at(outage).replace_blades(blades);
    }

    /// A blade was dressed.
    pub fn dress_blade(&mut self, outage: usize, blades_out: bool) {
        let work = self.at(outage);
        work.dressed += 1.0;
        work.take_out(blades_out, 1.0);
    }

    /// A blade was damaged on its way out or in.
    pub fn damage(&mut self, outage: usize) {
        self.at(outage).damaged += 1.0;
    }

    /// New blades were waited for, called ones ran on without, or used ones were fitted.
    pub fn be_short_of_spares(&mut self, outage: usize, short: &ShortOfSpares) {
        self.at(outage).be_short_of_spares(short);
    }

    /// Whether the blades come out at an outage, by schedule or by what was done so far.
    pub fn are_blades_out(&self, plan: &WorkPlan, outage: usize) -> bool {
        plan.scheduled[outage].blades_out || self.outages[outage].blades_out
    }

    /// Whether the row is new at an outage.
    pub fn has_new_row(&self, outage: usize) -> bool {
        self.outages[outage].new_row
    }

    /// For how many new blades the window of an outage leaves time, behind all work so far, with a crew for the row alone.
    /// Behind the last outage nothing is called.
    pub fn time_for_new_blades(&self, plan: &WorkPlan, outage: usize) -> usize {
        let Some((work, scheduled)) = self.outages.get(outage).zip(plan.scheduled.get(outage)) else { return 0 };
        let blades_out = work.blades_out || scheduled.blades_out;
        let out_days = plan.out_days(f64::from(u8::from(blades_out)), either(scheduled.out_share, work.out_share));
        let looks = scheduled.look_days + work.look_days + scheduled.surface_days + work.surface_days;
        plan.time_for_new_blades(&Job { days: looks + out_days, blades_out })
    }

    /// The whole row was replaced.
    pub fn replace_row(&mut self, outage: usize) {
        self.at(outage).new_row = true;
    }

    /// Looks that react took place, where some scheduled looks are due: what they add to those that are due anyway.
    pub fn look_by_schedule(
        &mut self,
        plan: &WorkPlan,
        policy: &Policy,
        outage: usize,
        is_due: impl Fn(usize) -> bool,
    ) {
        let (all, fixed) = (plan.by_schedule(policy, outage, is_due), &plan.scheduled[outage]);
        let price = LookPrice { cost: all.look_cost - fixed.look_cost, days: all.look_days - fixed.look_days };
        let more = if fixed.out_share < 1.0 { 1.0 - (1.0 - all.out_share) / (1.0 - fixed.out_share) } else { 0.0 };
        self.look(price, all.blades_out, more, outage);
        let work = self.at(outage);
        work.surface_cost += all.surface_cost - fixed.surface_cost;
        work.surface_days += all.surface_days - fixed.surface_days;
    }

    /// A further look at the whole row by a technique; it may have looked at so many called blades again.
    pub fn look_at_rest(
        &mut self,
        plan: &WorkPlan,
        policy: &Policy,
        technique: usize,
        outage: usize,
        seen_again: Option<usize>,
        is_due: impl Fn(usize) -> bool,
    ) {
        let (terms, mut price) = (&plan.looks[technique], plan.rest_of_row(policy, technique, &is_due));
        if let Some(blades) = seen_again {
            price.cost -= terms.cost_per_blade * blades as f64;
            if policy.scheduled_fraction(technique, is_due).is_none() {
                price.cost -= terms.cost_per_row;
                price.days = 0.0;
            }
        }
        self.look(price, terms.blades_out, 1.0, outage);
    }

    /// A further look by a technique at so many called blades.
    #[allow(clippy::too_many_arguments)]
    pub fn look_at_blades(
        &mut self,
        plan: &WorkPlan,
        policy: &Policy,
        technique: usize,
        outage: usize,
        blades: usize,
        is_there: bool,
        is_due: impl Fn(usize) -> bool,
    ) {
        let price = plan.blades(policy, technique, blades, is_there, is_due);
        self.look(price, plan.looks[technique].blades_out, blades as f64 / plan.blades, outage);
    }

    /// A look at so many watched blades by a technique, for that alone.
    pub fn look_at_watched(
        &mut self,
        plan: &WorkPlan,
        policy: &Policy,
        technique: usize,
        outage: usize,
        blades: usize,
        is_due: impl Fn(usize) -> bool,
    ) {
        let price = plan.watch(policy, technique, blades, is_due);
        self.look(price, plan.looks[technique].blades_out, blades as f64 / plan.blades, outage);
    }

    fn look(&mut self, price: LookPrice, blades_out: bool, share: f64, outage: usize) {
        self.at(outage).look(price, blades_out, share);
    }

    /// Adds what the work comes to, and forgets it; leaves all work of the outages at which any was not scheduled.
    pub fn add_up(&mut self, plan: &WorkPlan, values: &mut Values, jobs: &mut Vec<(u32, Job)>) {
        jobs.clear();
        while let Some(outage) = self.touched.pop() {
            let work = std::mem::take(&mut self.outages[outage as usize]);
            let (scheduled, value) = (&plan.scheduled[outage as usize], plan.value_at_outage[outage as usize]);
            let planned = plan.scheduled_job(outage as usize - plan.start);
            jobs.push((outage - plan.start as u32, work.add(plan, scheduled, planned, value, values)));
        }
    }
}

impl Unscheduled {
    /// A technique looked at a whole row, for that alone.
    pub fn look_at_row(&mut self, plan: &WorkPlan, technique: usize) {
        let terms = &plan.looks[technique];
        let cost = terms.cost_per_row + terms.cost_per_blade * plan.blades;
        self.look(LookPrice { cost, days: terms.days_per_row }, terms.blades_out, 1.0);
    }

    fn look(&mut self, price: LookPrice, blades_out: bool, share: f64) {
        self.look_cost += price.cost;
        self.look_days += price.days;
        self.take_out(blades_out, share);
    }

    /// A share of the blades may come out.
    fn take_out(&mut self, blades_out: bool, share: f64) {
        if blades_out {
            self.blades_out = true;
            self.out_share = either(self.out_share, share);
        }
    }

    /// Cracks were called by looks that stand.
    pub fn find(&mut self, cracks: u32) {
        self.cracks_found += f64::from(cracks);
    }

    /// Blades were replaced one by one: cracked ones and clean ones.
    #[inline]
    pub fn replace_blades(&mut self, [cracked, clean]: [u32; 2]) {
        self.new_blades += f64::from(cracked + clean);
        self.falsely += f64::from(clean);
    }

    /// A blade was damaged on its way out or in.
    pub fn damage(&mut self) {
        self.damaged += 1.0;
    }

    /// New blades are waited for, called ones run on without, or used ones are fitted.
    pub fn be_short_of_spares(&mut self, short: &ShortOfSpares) {
        (self.wait_days, self.run_on) = (short.wait_days, f64::from(short.run_on));
        self.used = short.used.len() as f64;
    }

    /// The whole row was replaced.
    pub fn replace_row(&mut self) {
        self.new_row = true;
    }

    /// Whether the blades come out, and stay what they are.
    pub fn is_at_old_blades_out(&self) -> bool {
        self.blades_out && !self.new_row
    }

    /// Adds what it comes to where nothing is scheduled: returns it as a job.
    pub fn add_alone(&self, plan: &WorkPlan, value: f64, values: &mut Values) -> Job {
        self.add(plan, &Scheduled::default(), Job::default(), value, values)
    }

    /// Adds what it comes to: returns all work of the outage.
    fn add(&self, plan: &WorkPlan, scheduled: &Scheduled, planned: Job, value: f64, values: &mut Values) -> Job {
        let prices = &plan.prices;
        let (new_cost, new_days) = if self.new_row {
            (prices.row, prices.row_days)
        } else {
            let more_for_used = self.used * (prices.used_blade - prices.blade);
            (self.new_blades * prices.blade + more_for_used, self.new_blades * prices.blade_days)
        };
        let out = if (self.blades_out || self.new_row) && !scheduled.blades_out { 1.0 } else { 0.0 };
        let share = if self.new_row { 1.0 } else { either(scheduled.out_share, self.out_share) };
        let more = share - scheduled.out_share;
        let out_days = plan.out_days(out, more);
        let dressing_days = self.dressed * prices.dressing_days;
        for (quantity, amount) in [
            (Quantity::BladesReplaced, self.new_blades),
            (Quantity::FalselyReplaced, self.falsely),
            (Quantity::BladesDressed, self.dressed),
            (Quantity::RowsReplaced, f64::from(u8::from(self.new_row))),
            (Quantity::CracksFound, self.cracks_found),
            (Quantity::BladesDamaged, self.damaged),
            (Quantity::BladesRunOn, self.run_on),
            (Quantity::UsedBladesFitted, self.used),
            (Quantity::OutagesWithCalls, f64::from(u8::from(self.called))),
            (Quantity::TimesOut, out),
            (Quantity::LookCost, value * self.look_cost),
            (Quantity::BladesOutCost, value * plan.out_cost(out, more)),
            (Quantity::ReplacementCost, value * new_cost),
            (Quantity::DressingCost, value * self.dressed * prices.dressing),
            (Quantity::SurfaceCost, value * self.surface_cost),
            (Quantity::SurfaceDays, self.surface_days),
            (Quantity::LookDays, self.look_days),
            (Quantity::BladesOutDays, out_days),
            (Quantity::ReplacementDays, new_days),
            (Quantity::DressingDays, dressing_days),
            (Quantity::WaitDays, self.wait_days),
        ] {
            values[quantity as usize] += amount;
        }
        let days =
            planned.days + self.look_days + self.surface_days + out_days + new_days + dressing_days + self.wait_days;
        Job { days, blades_out: planned.blades_out || out > 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::plan::{RowPlan, StrategyPlan};

    /// Its first strategy in the small study, with lines of the text replaced by others.
    fn strategy(lines: &[(&str, &str)]) -> StrategyPlan {
        let mut text = include_str!("../../../tests/engine/data/small.toml").to_string();
        for (line, other) in lines {
            assert!(text.contains(line), "{line}");
            text = text.replace(line, other);
        }
        let study = Study::parse(&text, "a study").unwrap_or_else(|error| panic!("{error}"));
        RowPlan::all(&study).expect("good rows").remove(0).strategies.remove(0)
    }

    const NEW_BLADE: &str = "new_blade_days = 0.1";
    const WITH_LIFT: (&str, &str) = (NEW_BLADE, "new_blade_days = 0.1\nrotor_lift_days = 3");

    #[test] // by hand
    fn a_row_that_ends_has_a_new_one_planned_or_nothing() {
        let planned = |row_end: &str| {
            let after_loss = "after_loss = \"replace-blade\"";
            let and_end = format!("{after_loss}\n{row_end}");
            let per_blade = format!("{NEW_BLADE}\nblades_out_days_per_blade = 0.01");
            let work = strategy(&[(after_loss, &and_end), (NEW_BLADE, &per_blade)]).work;
            [0, 1, 2].map(|outage| work.planned_job(outage))
        };
        let look = Job { days: 2.0, blades_out: false };
        assert_eq!(planned(""), [look; 3]);
        let [before, new_row, after] = planned("row_end = { year = 2024, then = \"new-row\" }");
        assert_eq!((before, new_row.blades_out, after), (look, true, look));
        assert!((new_row.days - 25.8).abs() < 1e-12, "{}", new_row.days);
        assert_eq!(planned("row_end = { year = 2024, then = \"retired\" }"), [look, Job::default(), Job::default()]);
    }

    /// A new blade takes a tenth of a day, and a lift three.
    #[test] // by hand
    fn a_window_of_twenty_days_has_time_for_ten_blades_a_day_that_is_left() {
        let plan = strategy(&[WITH_LIFT]).work;
        let time_for = |days: f64, blades_out: bool| plan.time_for_new_blades(&Job { days, blades_out });
        assert_eq!([2.0, 19.75, 20.0, 30.0].map(|days| time_for(days, false)), [180, 2, 0, 0]);
        assert_eq!([5.0, 17.0].map(|days| time_for(days, true)), [120, 0]);
    }

    /// Of the twenty days those of looks and of cleaning are gone, by schedule and beside it; taking blades out takes five.
    #[test] // by hand
    fn all_work_so_far_takes_its_days_of_the_window() {
        let mut plan = strategy(&[WITH_LIFT]).work;
        let outage = plan.start;
        (plan.scheduled[outage].look_days, plan.scheduled[outage].surface_days) = (2.0, 1.0);
        let mut work = WorkDone::new(plan.scheduled.len());
        assert_eq!(work.time_for_new_blades(&plan, outage), 170);
        (work.at(outage).look_days, work.at(outage).surface_days) = (3.0, 4.0);
        assert_eq!(work.time_for_new_blades(&plan, outage), 100);
        work.at(outage).blades_out = true;
        assert_eq!(work.time_for_new_blades(&plan, outage), 20);
        assert_eq!(work.time_for_new_blades(&plan, plan.scheduled.len()), 0);
    }

    /// Blades come out for two looks that choose a half each, apart from each other: one at every outage, one that reacts.
    #[test] // by hand
    fn a_look_that_reacts_takes_out_of_the_blades_that_are_in() {
        let looks = "looks = [{ techniques = [\"ultrasonic\"], first_outage = 1, every_outages = 1, coverage = { blade_fraction = 0.5 } }]";
        let half = |technique: &str, rest: &str| {
            looks["looks = [".len()..looks.len() - 1]
                .replace("ultrasonic", technique)
                .replace(" } }", &format!(" }}{rest} }}"))
        };
        let both = format!("looks = [{}, {}]", half("eddy-current", ""), half("penetrant", ", skip_after_clean = 1"));
        let StrategyPlan { policy, work: plan, .. } = strategy(&[(looks, &both)]);
        let outage = plan.start;
        let mut work = WorkDone::new(plan.scheduled.len());
        work.look_by_schedule(&plan, &policy, outage, |_| true);
        let Unscheduled { out_share, look_cost, look_days, blades_out, .. } = work.outages[outage];
        assert!((out_share - 0.5).abs() < 1e-12 && (look_cost - (5.0 + 0.1 * 40.0)).abs() < 1e-12);
        assert_eq!((look_days, blades_out), (3.0, true));
    }
}
