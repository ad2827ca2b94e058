//! Whether a row can run on after a look: to the next outage, to one that is put off, and with cracks that are left in.

use super::first_losses::{Cracks, FirstLosses};
use super::{RowAfterLook, refuse_if_thin, watched};
use crate::bounds;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::simulation::estimate::Estimate;
use crate::simulation::grown::{GrownCrack, GrowthQuestion, find_hot_spot};
use crate::statistics::interval;
use std::ops::ControlFlow;

/// Whether a row can run on after a look.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOnQuestion {
    /// The row and the look.
    pub after: RowAfterLook,
    /// Lives with a planted crack, which tell of rare losses.
    pub planted_lives: u64,
    /// Cracks that are left in the row on purpose.
    pub left_in: Vec<LeftIn>,
    /// Chance of a loss in twelve months that is not to be passed; that of the study's limits where `None`.
    pub yearly_limit: Option<f64>,
}

/// A crack that is left in a row on purpose.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftIn {
    /// Its hot spot, as `root.hot-spot`, or by its own id where no other root has one of that id.
    pub hot_spot: String,
    /// Its surface length in mm.
    pub length_mm: f64,
}

/// How probable it is that a row loses a blade after a look, if nobody looks again.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOn {
    /// What was asked.
    pub question: RunOnQuestion,
    /// When the row is looked at: the start of the study.
    pub year: f64,
    /// The next outage of its unit after that.
    pub next_outage_year: f64,
    /// Chance that the look finds so many; 1 where nobody looks.
    pub p_outcome: Estimate,
    /// Month by month the year, and the chance of a loss until then.
    pub by_month: Vec<(f64, Estimate)>,
    /// The same in the twelve months before it, or since the look.
    pub in_year_before: Vec<(f64, Estimate)>,
    /// Chance of a loss before the next outage.
    pub to_next: Estimate,
    /// What it is to put that outage off.
    pub deferrals: Vec<Deferral>,
    /// The limit on the chance of a loss in twelve months, and when it is passed; `None` where none is stated.
    pub limit: Option<LimitPassed>,
    /// Cracks that are left in.
    pub left_in: Vec<CrackLeftIn>,
    /// Whether lives with planted cracks tell; plain ones do where losses are frequent.
    pub are_planted: bool,
    /// What to beware of, in sentences.
    pub warnings: Vec<String>,
}

/// An outage that is put off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deferral {
    /// By so many months.
    pub months: u32,
    /// The year it is put off to.
    pub year: f64,
    /// Chance of a loss until then.
    pub until: Estimate,
    /// Of that, what putting it off adds.
    pub added: Estimate,
}

/// When a limit is passed, by the row with the cracks that are left in: their chances are added, which holds whatever they share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitPassed {
    /// Chance of a loss in twelve months.
    pub limit: f64,
    /// What it is on: "row", or "unit" where the study has none on rows and the row alone is held against that.
    pub on: &'static str,
    /// The end of the first month from which on the chance of the last twelve months is above it, by the estimate; `None` where
    /// none is as far as was looked.
    pub passed: Option<f64>,
    /// The same by the upper end of the interval: before it, the limit is known to be kept.
    pub may_be_passed: Option<f64>,
}

/// What becomes of a crack that is left in a row on purpose.
#[derive(Debug, Clone, PartialEq)]
pub struct CrackLeftIn {
    /// Which.
    pub crack: LeftIn,
    /// Share of such cracks that are past their limit already: one that is there is not, and they are left out.
    pub p_past_limit: f64,
    /// Month by month, as [`RunOn::by_month`], the chance that its blade is lost.
    pub by_month: Vec<Estimate>,
    /// The same in the twelve months before, or since the look.
    pub in_year_before: Vec<Estimate>,
    /// The same before the next outage, and before it where that is put off, as [`RunOn::deferrals`].
    pub to_next: Estimate,
    /// See there.
    pub deferred: Vec<Estimate>,
}

/// Months by which outages are put off.
const DEFERRALS: [u32; 4] = [3, 6, 12, 24];
/// Cracks that are grown for each that is left in.
const GROWN: u64 = 40_000;
const MONTHS: f64 = 12.0;

impl RunOnQuestion {
    /// Most lives with a planted crack.
    pub const MOST_LIVES: u64 = 10_000_000;

    /// In 100,000 planted lives, with nothing left in on purpose.
    pub fn new(after: RowAfterLook) -> Self {
        RunOnQuestion { after, planted_lives: 100_000, left_in: Vec::new(), yearly_limit: None }
    }
}

impl Study {
    /// How probable it is that a row loses a blade after a look at the start of the study: month by month, to the next outage,
    /// with that outage put off by 3, 6, 12 and 24 months, and with cracks that are left in on purpose.
    ///
    /// Nobody looks again. New blades that took the place of called ones are taken to last; what is told is the chance of the
    /// first loss. A crack that is left in grows as [`Study::grow`] has it, in a row like others: it and the row's own cracks
    /// share the growth of their row, so that their chances are not independent, and the sum of both is the bound that holds
    /// whatever they share.
    ///
    /// # Errors
    /// As [`Study::left_in_row`]; and refuses a row whose unit has no outage to come, and sizes that fit into no section.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::{RowAfterLook, RunOnQuestion};
    ///
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let after = RowAfterLook { lives: 1_024, ..RowAfterLook::new("cedar-lp1-front") };
    /// let question = RunOnQuestion { planted_lives: 1_024, ..RunOnQuestion::new(after.looked_at("eddy-array", 0)) };
    /// let answer = study.can_it_run(&question)?;
    /// assert!(answer.deferrals[3].until.value >= answer.to_next.value);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn can_it_run(&self, question: &RunOnQuestion) -> Result<RunOn> {
        self.can_it_run_with(question, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::can_it_run`]; from time to time `ask` is told how many lives were lived, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn can_it_run_with(
        &self,
        question: &RunOnQuestion,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<RunOn> {
        let asked = self.look_up(&question.after)?;
        let row = &self.rows[asked.row];
        if question.planted_lives > RunOnQuestion::MOST_LIVES {
            let rule = format!("must be at most {}", RunOnQuestion::MOST_LIVES);
            return Err(Error::argument(
                "planted_lives",
                question.planted_lives,
                &rule,
                "100000 tell most risks to 10 %",
            ));
        }
        if let Some(limit) = question.yearly_limit {
            bounds::PROBABILITY.check("yearly_limit", limit)?;
        }
        let outages = &self.units[row.unit].outages.years;
        let next = outages.iter().copied().find(|year| *year > self.start_year).ok_or_else(|| {
            let rule = "must have an outage to come";
            Error::argument("row", &question.after.row, rule, "add one to the calendar of its unit")
        })?;
        let last = next + f64::from(DEFERRALS[DEFERRALS.len() - 1]) / MONTHS;
        let months = ((last - self.start_year) * MONTHS - 1e-9).ceil() as u32;
        let horizon_years = f64::from(months) / MONTHS + 0.01;
        let year_of = |month: u32| self.start_year + f64::from(month) / MONTHS;
        let deferred: Vec<f64> = DEFERRALS.iter().map(|months| next + f64::from(*months) / MONTHS).collect();
        let moments = Moments { months: (1..=months).map(year_of).collect(), next, deferred };
        let left_in: Vec<CrackLeftIn> = question
            .left_in
            .iter()
            .map(|crack| self.left_in(asked.row, question, crack, &moments, ask))
            .collect::<Result<_>>()?;
        let wanted = question.after.lives + question.planted_lives;
        let mut losses = watched(question.after.threads, wanted, ask, |watch| {
            FirstLosses::of(self, asked, &question.after, question.planted_lives, horizon_years, Cracks::All, &watch)
        })?;
        refuse_if_thin(self, &question.after, losses.p_outcome.value, losses.equal_lives())?;
        losses.choose(next);
        let by_month = bounded_by_later(moments.months.iter().map(|&year| (year, losses.until(year))).collect());
        let in_year_before = |(month, &year): (usize, &f64)| {
            (year, if month < MONTHS as usize { by_month[month].1 } else { losses.within(year - 1.0, year) })
        };
        let in_year_before: Vec<(f64, Estimate)> = moments.months.iter().enumerate().map(in_year_before).collect();
        let deferral = |(&months, &year): (&u32, &f64)| Deferral {
            months,
            year,
            until: losses.until(year),
            added: losses.within(next, year),
        };
        Ok(RunOn {
            question: question.clone(),
            year: self.start_year,
            next_outage_year: next,
            p_outcome: losses.p_outcome,
            by_month,
            to_next: losses.until(next),
            deferrals: DEFERRALS.iter().zip(&moments.deferred).map(deferral).collect(),
            limit: self.limit_passed(question, &in_year_before, &left_in),
            in_year_before,
            left_in,
            are_planted: losses.are_planted,
            warnings: self.warnings_of_looks(asked.row).into_iter().chain(losses.warning(next)).collect(),
        })
    }

    fn limit_passed(
        &self,
        question: &RunOnQuestion,
        in_year_before: &[(f64, Estimate)],
        left_in: &[CrackLeftIn],
    ) -> Option<LimitPassed> {
        let limits = self.limits.as_ref();
        let of_study = || {
            let of_row = limits.and_then(|limits| limits.row).map(|limit| (limit, "row"));
            of_row.or_else(|| limits.and_then(|limits| limits.unit).map(|limit| (limit, "unit")))
        };
        let (limit, on) = question.yearly_limit.map(|limit| (limit, "row")).or_else(of_study)?;
        let first = |of: fn(&Estimate) -> f64| {
            let passes = |(month, (year, chance)): (usize, &(f64, Estimate))| {
                let of_cracks: f64 = left_in.iter().map(|crack| of(&crack.in_year_before[month])).sum();
                (of(chance) + of_cracks > limit).then_some(*year)
            };
            in_year_before.iter().enumerate().find_map(passes)
        };
        Some(LimitPassed {
            limit,
            on,
            passed: first(|chance| chance.value),
            may_be_passed: first(|chance| chance.high),
        })
    }

    /// What becomes of a crack that is left in.
    fn left_in(
        &self,
        row: usize,
        question: &RunOnQuestion,
        crack: &LeftIn,
        moments: &Moments,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<CrackLeftIn> {
        let (root, _) = find_hot_spot(self, &crack.hot_spot)?;
        if root != self.rows[row].root {
            let rule = format!("must be in the root of the row, {}", self.roots[self.rows[row].root].id);
            return Err(Error::argument("left_in", &crack.hot_spot, &rule, "name one of its hot spots"));
        }
        let asked = GrowthQuestion {
            row: Some(self.rows[row].id.clone()),
            from_length_mm: Some(crack.length_mm),
            cracks: GROWN,
            seed: question.after.seed,
            ..GrowthQuestion::new(&crack.hot_spot)
        };
        let grown = self.grow_with(&asked, &mut |_| ask(0))?;
        let there: Vec<&GrownCrack> = grown.cracks.iter().filter(|crack| crack.years_to_loss > 0.0).collect();
        let count = there.len() as f64;
        if there.is_empty() {
            let rule = "is past the limit of all such cracks: its blade would be lost at once";
            return Err(Error::argument("left_in", crack.length_mm, rule, "replace the blade, or correct the length"));
        }
        let within = |from: f64, to: f64| {
            let [from, to] = [from, to].map(|year| year - self.start_year);
            let is_lost = |crack: &&&GrownCrack| crack.years_to_loss > from && crack.years_to_loss <= to;
            let lost = there.iter().filter(is_lost).count() as f64;
            let (low, high) = interval::exact_proportion(lost, count, super::LEVEL);
            let value = lost / count;
            Estimate { value, standard_error: (value * (1.0 - value) / count).sqrt(), low, high, events: lost }
        };
        let until = |year: f64| within(f64::NEG_INFINITY, year);
        Ok(CrackLeftIn {
            crack: crack.clone(),
            p_past_limit: 1.0 - count / grown.cracks.len() as f64,
            by_month: moments.months.iter().map(|&year| until(year)).collect(),
            in_year_before: moments.months.iter().map(|&year| within(year - 1.0, year)).collect(),
            to_next: until(moments.next),
            deferred: moments.deferred.iter().map(|&year| until(year)).collect(),
        })
    }
}

/// Where none is seen until a moment, the upper end until the first later one with any holds there too: chances until then only
/// grow.
fn bounded_by_later(mut by_month: Vec<(f64, Estimate)>) -> Vec<(f64, Estimate)> {
    let first_seen = by_month.iter().position(|(_, chance)| chance.value > 0.0);
    if let Some(first_seen) = first_seen {
        let high = by_month[first_seen].1.high;
        by_month[..first_seen].iter_mut().for_each(|(_, chance)| chance.high = chance.high.min(high));
    }
    by_month
}

/// Moments at which chances are told.
struct Moments {
    months: Vec<f64>,
    next: f64,
    deferred: Vec<f64>,
}

impl RunOn {
    /// The row with the cracks that are left in: the least and the most that its chance of a loss can be until a moment, whatever
    /// they share; of the row's own chance and those of the cracks. The largest lower end of their intervals, and the sum of the
    /// upper ends.
    pub fn with_left_in(row: &Estimate, cracks: &[Estimate]) -> [f64; 2] {
        let least = cracks.iter().map(|crack| crack.low).fold(row.low, f64::max);
        let most = row.high + cracks.iter().map(|crack| crack.high).sum::<f64>();
        [least, most.min(1.0)]
    }
}
