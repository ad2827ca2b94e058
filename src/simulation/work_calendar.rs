//! What each strategy schedules, outage by outage: the work of all rows of a unit, and how it fits into the window.
//!
//! Nothing is simulated: what looks find comes on top, and is said in words.

use super::calendar::Calendar;
use super::inspection::TechniquePlan;
use super::observe::{Crews, Job, WorkPlan};
use super::policy::Policy;
use super::tables::{Head, Table};
use crate::model::Study;
use crate::model::fleet::Row;
use crate::model::strategy::RowEndAction;
use std::fmt::Write;

/// The scheduled work of a unit at one outage.
struct UnitOutage {
    strategy: usize,
    unit: usize,
    /// Number of the outage, from 0.
    outage: usize,
    rows: Vec<RowWork>,
    /// Rotors that are lifted.
    lifts: usize,
    done_after_days: f64,
}

/// The scheduled work on one row there.
struct RowWork {
    row: usize,
    what: String,
    job: Job,
    /// For how many new blades the window leaves time, where it closes.
    time_for: Option<usize>,
    done_after_days: f64,
    days_beyond_window: f64,
}

impl Study {
    /// What each strategy schedules on each row at each outage, with its days against the window: a line for each row with
    /// work, in a table `work_calendar`.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    ///
    /// let calendar = Study::load("demo-data/demo-study.toml")?.work_calendar();
    /// assert_eq!(calendar.name, "work_calendar");
    /// assert!(calendar.len() > 0);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn work_calendar(&self) -> Table {
        use Head::{Count, Number, Text};
        let heads = [
            Text("strategy"),
            Text("unit"),
            Text("row"),
            Text("rotor"),
            Count("outage"),
            Number("year"),
            Text("work"),
            Number("days"),
            Number("done_after_days"),
            Number("window_days"),
            Number("days_beyond_window"),
        ];
        let mut table = Table::new("work_calendar", &heads);
        for at in self.unit_outages() {
            let unit = &self.units[at.unit];
            for work in &at.rows {
                let row = &self.rows[work.row];
                let years = &self.unit_under(at.unit, &self.strategies[at.strategy]).outages.years;
                table.line([
                    self.strategies[at.strategy].id.as_str().into(),
                    unit.id.as_str().into(),
                    row.id.as_str().into(),
                    row.rotor.as_str().into(),
                    (at.outage as u64 + 1).into(),
                    years[at.outage].into(),
                    work.what.as_str().into(),
                    work.job.days.into(),
                    work.done_after_days.into(),
                    unit.outages.window_days.into(),
                    work.days_beyond_window.into(),
                ]);
            }
        }
        table
    }

    /// The same as text for people, a line for each unit and outage with work.
    pub fn work_calendar_text(&self) -> String {
        let mut text = String::new();
        let outages = self.unit_outages();
        for (index, strategy) in self.strategies.iter().enumerate() {
            let _ = writeln!(text, "{}: {}", strategy.id, strategy.description);
            for rule in self.rules_in_words(strategy) {
                let _ = writeln!(text, "  - {rule}");
            }
            let own: Vec<&UnitOutage> = outages.iter().filter(|at| at.strategy == index).collect();
            if own.is_empty() {
                let _ = writeln!(text, "  nothing is scheduled");
            }
            for unit_outages in own.chunk_by(|one, other| one.unit == other.unit) {
                let unit = &self.units[unit_outages[0].unit];
                let strategy = &self.strategies[index];
                if let Some(limit) = strategy.starts_limit.as_ref().filter(|limit| limit.is_of(unit_outages[0].unit)) {
                    let (starts, year) = (limit.starts_per_year, limit.from_year);
                    let _ = writeln!(text, "  {}: at most {starts} starts a year from {year} on", unit.id);
                }
                let crews = match unit.crews {
                    Some(1) => "1 crew".to_owned(),
                    Some(crews) => format!("{crews} crews"),
                    None => "a crew for each row".to_owned(),
                };
                let _ = writeln!(text, "  {} ({crews}, window {})", unit.id, days(unit.outages.window_days));
                for at in unit_outages {
                    let _ = writeln!(text, "    {}", self.line(at));
                }
            }
        }
        text
    }

    fn line(&self, at: &UnitOutage) -> String {
        let unit = self.unit_under(at.unit, &self.strategies[at.strategy]);
        let outages = &unit.outages;
        let as_planned = self.units[at.unit].outages.years[at.outage];
        let put_off =
            if outages.years[at.outage] == as_planned { String::new() } else { format!(", put off from {as_planned}") };
        let alike = at.rows.chunk_by(|one, other| one.what == other.what);
        let mut work: Vec<String> = alike
            .map(|rows| {
                let names: Vec<&str> = rows.iter().map(|work| self.rows[work.row].id.as_str()).collect();
                let each = if rows.len() > 1 { " each" } else { "" };
                let of_unit = self.rows.iter().filter(|row| row.unit == at.unit).count();
                let whom =
                    if rows.len() == of_unit && of_unit > 1 { format!("all {of_unit} rows") } else { names.join(", ") };
                format!("{whom}: {}, {}{each}", rows[0].what, days(rows[0].job.days))
            })
            .collect();
        if at.lifts > 0 {
            let lift_days = days(self.costs.rotor_lift_days);
            let rotors = if at.lifts == 1 { "1 rotor".to_owned() } else { format!("{} rotors", at.lifts) };
            work.push(format!("{rotors} lifted, {lift_days} each"));
        }
        let beyond = at.done_after_days - outages.window_days;
        let beyond = if beyond > 0.0 { format!(", {} beyond the window", days(beyond)) } else { String::new() };
        format!(
            "outage {} ({}{put_off}): {}; done after {}{beyond}",
            at.outage + 1,
            outages.years[at.outage],
            work.join("; "),
            days(at.done_after_days),
        )
    }

    /// Strategies whose windows close behind the planned work before a single blade is replaced, in sentences.
    pub(crate) fn windows_without_time(&self) -> Vec<String> {
        let all = self.unit_outages();
        let without = self.strategies.iter().enumerate().filter_map(|(index, strategy)| {
            let mut own = all.iter().filter(|at| at.strategy == index);
            let (at, work) =
                own.find_map(|at| Some((at, at.rows.iter().find(|work| work.time_for == Some(0))?)))?;
            let unit = &self.units[at.unit];
            Some(format!(
                "strategies.{}: at outage {} of unit {} the planned work on row {} takes {} of a window of {}, which leaves no time \
                 for a new blade: what is called there runs on.",
                strategy.id,
                at.outage + 1,
                unit.id,
                self.rows[work.row].id,
                days(work.done_after_days),
                days(unit.outages.window_days),
            ))
        });
        without.collect()
    }

    fn unit_outages(&self) -> Vec<UnitOutage> {
        let mut all = Vec::new();
        for strategy in 0..self.strategies.len() {
            for unit in 0..self.units.len() {
                let rows: Vec<usize> = (0..self.rows.len()).filter(|&row| self.rows[row].unit == unit).collect();
                if !rows.is_empty() {
                    self.add_unit_outages(strategy, unit, &rows, &mut all);
                }
            }
        }
        all
    }

    fn add_unit_outages(&self, strategy: usize, unit: usize, rows: &[usize], all: &mut Vec<UnitOutage>) {
        let plans: Vec<(Policy, WorkPlan)> = rows.iter().map(|&row| self.row_work(strategy, row)).collect();
        let own: Vec<&Row> = rows.iter().map(|&row| &self.rows[row]).collect();
        let crews = Crews::of_unit(self, &own);
        for outage in 0..self.units[unit].outages.years.len() {
            let jobs: Vec<Job> = plans.iter().map(|(_, work)| work.planned_job(outage)).collect();
            let finish = crews.finish_days(&jobs);
            let mut beyond = vec![0.0; rows.len()];
            crews.split_days_beyond(&jobs, &mut beyond);
            let works = (0..rows.len()).filter_map(|place| {
                let (policy, work) = &plans[place];
                let time_for = policy.window_closes.then(|| work.time_for_new_blades(&jobs[place]));
                let what = self.what(policy, rows[place], outage)?;
                Some(RowWork {
                    row: rows[place],
                    what: time_for.map_or_else(|| what.clone(), |blades| format!("{what}, {}", time_in_words(blades))),
                    job: jobs[place],
                    time_for,
                    done_after_days: finish[place],
                    days_beyond_window: beyond[place],
                })
            });
            let works: Vec<RowWork> = works.collect();
            if !works.is_empty() {
                let lifted = |rotor: &usize| crews.lift_days > 0.0 && crews.is_lifted(*rotor, &jobs);
                all.push(UnitOutage {
                    strategy,
                    unit,
                    outage,
                    rows: works,
                    lifts: (0..rows.len()).filter(lifted).count(),
                    done_after_days: finish.iter().copied().fold(0.0, f64::max),
                });
            }
        }
    }

    /// The rules of a strategy on a row, and what they cost.
    fn row_work(&self, strategy: usize, row: usize) -> (Policy, WorkPlan) {
        let about = &self.rows[row];
        let unit = self.unit_under(about.unit, &self.strategies[strategy]);
        let calendar = Calendar::new(
            std::iter::empty(),
            &unit.outages.years,
            self.start_year,
            self.start_year + self.horizon_years,
        );
        let policy = Policy::new(self, about, &self.strategies[strategy], &calendar);
        let work = WorkPlan::new(self, about, &calendar, &TechniquePlan::all(self, about), &policy);
        (policy, work)
    }

    /// What is scheduled on a row at an outage, in words; none where nothing is.
    fn what(&self, policy: &Policy, row: usize, outage: usize) -> Option<String> {
        if policy.row_end.is_some_and(|end| end.outage == outage && end.then == RowEndAction::NewRow) {
            return Some("new row".to_owned());
        }
        let due = policy.scheduled.iter().filter(|look| look.is_planned(outage));
        let looks = due.map(|look| {
            let technique = &self.techniques[policy.own(look.technique)];
            let after =
                look.cleaning.map_or_else(String::new, |cleaning| format!(" after {}", self.cleaning[cleaning].id));
            let part = match (policy.sample_of(look), look.blade_fraction) {
                (Some((blades, choice)), _) => format!(" on {blades} blades {choice}"),
                (None, fraction) if fraction < 1.0 => format!(" on {} % of blades", 1e2 * fraction),
                _ => String::new(),
            };
            let spots = self.roots[self.rows[row].root].hot_spots.iter().zip(&look.hot_spots);
            let spots: Vec<&str> = spots.filter(|(_, seen)| **seen).map(|(spot, _)| spot.id.as_str()).collect();
            let at = if spots.is_empty() { String::new() } else { format!(" at {}", spots.join(", ")) };
            let reacts = if look.interval.is_some() { " (as long as nothing is found)" } else { "" };
            format!("{}{after}{part}{at}{reacts}", technique.id)
        });
        let peenings = || policy.peenings.iter().filter(|peening| peening.outage == outage);
        let work: Vec<String> = looks.chain(peenings().take(1).map(|_| "peening".to_owned())).collect();
        let blades_out = policy.scheduled.iter().any(|look| {
            look.is_planned(outage)
                && self.techniques[policy.own(look.technique)].access == crate::model::detection::Access::BladesOut
        });
        let out = if blades_out || peenings().any(|peening| peening.blades_out) { ", blades out" } else { "" };
        (!work.is_empty()).then(|| format!("{}{out}", work.join(" and ")))
    }
}

/// For how many new blades there is time.
fn time_in_words(blades: usize) -> String {
    match blades {
        0 => "no time for a new blade".to_owned(),
        1 => "time for 1 new blade".to_owned(),
        usize::MAX => "time for any number of new blades".to_owned(),
        _ => format!("time for {blades} new blades"),
    }
}

/// Days as a person writes them.
fn days(days: f64) -> String {
    let rounded = (1e2 * days).round() / 1e2;
    if rounded == 1.0 { "1 day".to_owned() } else { format!("{rounded} days") }
}
