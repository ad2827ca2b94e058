//! A row just after a look at the start of the study, which found nothing, or so many blades: what it left there, and how long
//! the row can run with it.
//!
//! Nothing is added to what is known: lives of the study as it stands, or given its records, come to its start, and count by
//! how probable the look's outcome is in each. So cracks that join, blades that go together and past looks of which nobody
//! knows what they found are as they are in every other answer.

mod blades;
mod first_losses;
mod left;
mod run_on;
#[cfg(test)]
mod tests;

pub use left::{CriticalLength, Left, LeftInRow, Longer};
pub use run_on::{CrackLeftIn, Deferral, LeftIn, LimitPassed, RunOn, RunOnQuestion};

use super::estimate::Estimate;
use super::parallel::{Run, ask_while};
use super::plan::RowPlan;
use super::policy::Groups;
use super::single_inspection::named;
use crate::error::{Error, Kind, Result};
use crate::model::strategy::{
    Action, AfterLoss, Agreement, Coverage, Disposition, Look, Sample, Strategy, When, WhenWindowCloses,
};
use crate::model::{Posterior, StrategyId, Study, StudyParts};
use crate::random::Key;
use crate::statistics::interval;
use std::ops::{ControlFlow, Range};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// A row at the start of the study, and a look at it there.
#[derive(Debug, Clone, PartialEq)]
pub struct RowAfterLook {
    /// Id of the row.
    pub row: String,
    /// Id of the technique that looked at all its blades; nobody looked where `None`.
    pub technique: Option<String>,
    /// How many blades it called; new ones took their place.
    pub found: u32,
    /// Lives of the row.
    pub lives: u64,
    /// Seed.
    pub seed: u64,
    /// Threads; 0 for as many as the machine gives. They change no result.
    pub threads: usize,
}

impl RowAfterLook {
    /// Most lives.
    pub const MOST_LIVES: u64 = 10_000_000;

    /// A row that nobody looked at, in 100,000 lives.
    pub fn new(row: &str) -> Self {
        RowAfterLook { row: row.to_owned(), technique: None, found: 0, lives: 100_000, seed: 1, threads: 0 }
    }

    /// The same after a look by a technique that found so many.
    pub fn looked_at(self, technique: &str, found: u32) -> Self {
        RowAfterLook { technique: Some(technique.to_owned()), found, ..self }
    }
}

/// A question whose names have been found.
#[derive(Debug, Clone, Copy)]
struct Asked {
    row: usize,
    technique: Option<usize>,
}

/// Lives that count in full, below which nobody can say.
const FEWEST_LIVES: f64 = 50.0;
/// Parts of the draws of what records say, if these can be parted so: what parts differ by holds the error of the draws.
const PARTS: usize = 4;
/// Confidence of every interval.
const LEVEL: f64 = 0.95;
/// Lives of a batch, and those that are drawn together.
const BATCH: u64 = 256;
const TOGETHER: u64 = 32;

impl Study {
    fn look_up(&self, question: &RowAfterLook) -> Result<Asked> {
        let row = named("row", &question.row, "in the study", self.rows.iter().map(|row| row.id.as_str()))?;
        let known = || self.techniques.iter().map(|technique| technique.id.as_str());
        let technique = question.technique.as_deref().map(|id| named("technique", id, "in the study", known()));
        let technique = technique.transpose()?;
        if technique.is_none() && question.found > 0 {
            let remedy = "name the technique that found them, or leave found out";
            return Err(Error::argument("found", question.found, "must be 0 where nobody looked", remedy));
        }
        let blades = self.rows[row].blades;
        if question.found > blades {
            let rule = format!("must be at most the {blades} blades of the row");
            return Err(Error::argument("found", question.found, &rule, "count each blade once"));
        }
        if !(BATCH..=RowAfterLook::MOST_LIVES).contains(&question.lives) {
            let rule = format!("must be from {BATCH} to {}", RowAfterLook::MOST_LIVES);
            return Err(Error::argument(
                "lives",
                question.lives,
                &rule,
                "100000 tell chances of one in a hundred to 3 %",
            ));
        }
        Ok(Asked { row, technique })
    }

    /// The study with one row alone, which has an outage where the study starts and none after it; over a horizon, and with one
    /// strategy: the look at that outage, and none after it.
    fn at_the_look(&self, asked: Asked, horizon_years: f64) -> StudyParts {
        let mut parts = self.clone().into_parts();
        parts.rows = vec![self.rows[asked.row].clone()];
        parts.posterior = parts.posterior.map(|posterior| {
            let rows = vec![posterior.rows[asked.row].clone()];
            Arc::new(Posterior { rows, ..(*posterior).clone() })
        });
        parts.horizon_years = horizon_years;
        parts.units[self.rows[asked.row].unit].outages.years = vec![self.start_year];
        parts.cleaning.clear();
        parts.strategies = vec![Strategy {
            looks: asked.technique.map(look_at_once).into_iter().collect(),
            dispositions: vec![Disposition::last(Action::Replace)],
            ..Strategy::nobody_looks()
        }];
        parts.baseline = StrategyId(0);
        parts
    }

    /// The parts of which the lives of a row are lived apart: equal shares of the draws of what records say of it, or the study
    /// itself.
    fn in_parts(&self, parts: &StudyParts) -> Vec<Study> {
        let made = |parts: StudyParts| Study::of_checked(parts).sharing_paths(self);
        let Some(posterior) = parts.posterior.as_ref().filter(|posterior| posterior.rows[0].is_some()) else {
            return vec![made(parts.clone())];
        };
        // Draws of one repeat of the sampling hang together; repeats, or equal numbers of draws of each, stand one after another.
        let repeats = posterior.uncertain.len();
        let divides = |parts: &usize| repeats % parts == 0;
        let count = std::iter::once(PARTS).chain(2..=repeats).find(divides).unwrap_or(1);
        let part = |part| {
            let posterior = Some(Arc::new(posterior.of_repeat(part, count)));
            made(StudyParts { posterior, ..parts.clone() })
        };
        (0..count).map(part).collect()
    }
}

/// All blades looked at, at the first outage.
fn look_at_once(technique: usize) -> Look {
    Look {
        techniques: vec![technique],
        cleaning: None,
        when: When::Outages(vec![1]),
        instead_of_others: false,
        agreement: Agreement::Any,
        coverage: Coverage { blades: Sample::ALL, hot_spots: None, rows: None },
        escalation: None,
        after_finds: None,
        after_clean: None,
        skip_after_clean: None,
    }
}

impl Strategy {
    /// Nobody looks at anything, and lost blades are replaced.
    pub(super) fn nobody_looks() -> Strategy {
        Strategy {
            id: "nobody-looks".to_owned(),
            description: String::new(),
            looks: Vec::new(),
            dispositions: Vec::new(),
            dressing: None,
            watch: None,
            sister_rows: None,
            replace_row_from_blades: None,
            extra_look: None,
            after_loss: AfterLoss::ReplaceBlade,
            look_after_loss: None,
            row_end: None,
            peening: Vec::new(),
            deferrals: Vec::new(),
            starts_limit: None,
            spares: Vec::new(),
            when_window_closes: WhenWindowCloses::Overrun,
            basis: None,
        }
    }
}

/// Groups of the blades of the one row of a study.
fn groups(study: &Study) -> Groups {
    Groups::new(study.roots[study.rows[0].root].replaced_together, study.rows[0].blades)
}

/// Key of a row's lives in one of the parts.
fn key_of(seed: u64, plan: &RowPlan, part: usize) -> Key {
    Key::from_seed(seed).child(plan.nature.name).named("after a look").child(part as u64)
}

/// Numbers of lives of each part, batch by batch.
fn batches(lives: u64, parts: usize) -> Vec<(usize, Range<u64>)> {
    let each = lives.div_ceil(parts as u64);
    let of_part =
        |part: usize| (0..each).step_by(BATCH as usize).map(move |first| (part, first..(first + BATCH).min(each)));
    (0..parts).flat_map(of_part).collect()
}

/// Whether the work goes on.
#[derive(Debug, Clone, Copy)]
struct Watch<'a> {
    stop: &'a AtomicBool,
    done: &'a AtomicU64,
    wanted: u64,
}

impl Watch<'_> {
    fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// So many lives more are lived; it is an error to go on when stopped.
    fn add(&self, lives: u64) -> Result<()> {
        let done = self.done.fetch_add(lives, Ordering::Relaxed) + lives;
        if self.is_stopped() { Err(self.interrupted(done)) } else { Ok(()) }
    }

    fn interrupted(&self, done: u64) -> Error {
        Error { kind: Kind::Interrupted { done, wanted: self.wanted, of: "lives" } }
    }
}

/// Works on threads of its own, while `ask` is told how many lives were lived and may stop the work.
fn watched<T: Send>(
    threads: usize,
    wanted: u64,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    work: impl FnOnce(Watch) -> Result<T> + Send,
) -> Result<T> {
    let run = Run { threads, ..Run::default() };
    run.check()?;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(run.threads_used()).build().map_err(|reason| {
        Error::argument("threads", threads, &format!("threads cannot be started: {reason}"), "ask for fewer")
    })?;
    let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
    let watch = Watch { stop: &stop, done: &done, wanted };
    ask_while(|| pool.install(|| work(watch)), &stop, &done, ask)
}

/// Sums over batches of lives, each with the part that it is of.
#[derive(Debug, Clone, Default)]
struct Batches {
    parts: Vec<usize>,
    sums: Vec<Vec<f64>>,
}

impl Batches {
    fn total(&self, index: usize) -> f64 {
        self.sums.iter().map(|sums| sums[index]).sum()
    }

    /// Sum of one number over that of another, with its standard error: the larger of that of batches and, where there are
    /// several parts, of that of parts, whose few degrees of freedom widen it.
    fn ratio(&self, above: usize, below: usize) -> (f64, f64) {
        let all = self.total(below);
        let ratio = self.total(above) / all;
        let error = |pairs: &[[f64; 2]]| {
            let count = pairs.len() as f64;
            let square: f64 = pairs.iter().map(|[above, below]| (above - ratio * below).powi(2)).sum();
            if count < 2.0 { f64::NAN } else { (count / (count - 1.0) * square).sqrt() / all }
        };
        let pairs: Vec<[f64; 2]> = self.sums.iter().map(|sums| [sums[above], sums[below]]).collect();
        let mut of_parts = vec![[0.0; 2]; self.parts.iter().max().map_or(0, |part| part + 1)];
        for (part, pair) in self.parts.iter().zip(&pairs) {
            of_parts[*part].iter_mut().zip(pair).for_each(|(sum, own)| *sum += own);
        }
        let degrees = of_parts.len() as f64 - 1.0;
        let between = if degrees > 0.0 {
            error(&of_parts) * interval::half_width(degrees, LEVEL) / interval::half_width(f64::INFINITY, LEVEL)
        } else {
            0.0
        };
        (ratio, error(&pairs).max(between))
    }

    /// A mean.
    fn mean(&self, above: usize, below: usize) -> Estimate {
        let (value, standard_error) = self.ratio(above, below);
        let reach = interval::half_width(f64::INFINITY, LEVEL) * standard_error;
        Estimate { value, standard_error, low: value - reach, high: value + reach, events: f64::NAN }
    }

    /// A chance, with the exact interval of as many equal lives as would be as sure.
    fn chance(&self, above: usize, below: usize, equal_lives: f64) -> Estimate {
        let (value, standard_error) = self.ratio(above, below);
        let value = value.clamp(0.0, 1.0);
        let scatter = value * (1.0 - value);
        let lives = if scatter > 0.0 && standard_error > 0.0 { scatter / standard_error.powi(2) } else { equal_lives };
        let (low, high) = interval::exact_proportion(value * lives, lives, LEVEL);
        Estimate { value, standard_error, low, high, events: value * lives }
    }
}

/// What is to be said where hardly any life has such an outcome of the look.
fn refuse_if_thin(study: &Study, question: &RowAfterLook, chance: f64, equal_lives: f64) -> Result<()> {
    if equal_lives >= FEWEST_LIVES {
        return Ok(());
    }
    let technique = question.technique.as_deref().unwrap_or("nobody");
    let found = if question.found == 0 { "nothing".to_owned() } else { format!("{} blades", question.found) };
    let known = if study.is_given_records() { "the study given its records" } else { "the study" };
    Err(Error::data(
        "thin",
        format!(
            "rows.{}: that {technique} finds {found} has a chance of {chance:.1e} by {known}; of {} lives {equal_lives:.0} \
             count, of which at least {FEWEST_LIVES} are needed",
            question.row, question.lives
        ),
        "what a look finds must not lie far out of what the study lets expect",
        "look which input that contradicts, or ask for more lives",
    ))
}
