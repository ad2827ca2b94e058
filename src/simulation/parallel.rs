//! Cuts the trials into batches, lives them on threads in order, and merges them in order.

use super::estimate::Comparison;
use super::life::UnitLives;
use super::merge_tree::{MergeTree, Parts};
use super::nature::LifeKey;
use super::plan::{GroupPlan, RowPlan};
use super::rare::{self, Company, PlantedLife, PlantedLives, Proposal, Tuned, tune_all};
use super::tally::{FleetRecord, Tally};
use super::uncertain::fleet_key;
use crate::error::{Error, Kind, Result};
use crate::model::Study;
use crate::random::{Key, hash_name};
use serde::{Deserialize, Serialize};
use std::ops::{ControlFlow, Range};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError, mpsc};
use std::time::{Duration, Instant};

/// Trials of a batch, whose sums are added one by one; a part of what makes results equal.
pub(super) const BATCH_TRIALS: u64 = 512;

/// Trials that are lived together: enough to fill vector registers, few enough to stay near the processor.
/// Changes no result.
const TRIALS_TOGETHER: usize = 32;

/// How often the caller is told and asked.
const ASK_EVERY: Duration = Duration::from_millis(100);

/// How long a run that was asked to stop may take to finish what it has in hand.
const GRACE: Duration = Duration::from_millis(700);

/// How much is to be simulated, and with what.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Trials: lives of the whole fleet.
    pub trials: u64,
    /// Lives of each row with a planted crack, which tell of rare losses; 0 for none.
    pub planted_lives: u64,
    /// Seed; the same seed gives the same bytes.
    pub seed: u64,
    /// Threads; 0 for as many as the machine gives.
    pub threads: usize,
    /// Trials that a thread takes at a time, rounded up to whole batches; 0 to choose. Changes no result.
    pub block_trials: u64,
    /// Whether a run that is stopped gives back the trials that were finished, in order.
    pub keep_finished: bool,
    /// Ends the run before all trials are lived, once the fleet's number of losses is known under each strategy to this
    /// share of itself, as one standard error.
    pub target_relative_error: Option<f64>,
    /// Ends it after so many seconds, with the trials that were finished.
    pub most_seconds: Option<f64>,
}

/// Why a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Ended {
    /// Its trials were lived: all, or those that were finished when it was stopped.
    Lived,
    /// Its numbers were known as well as was asked for.
    Target,
    /// Its time was over.
    Time,
}

impl Default for Run {
    fn default() -> Self {
        Run {
            trials: 10_000,
            planted_lives: 0,
            seed: 1,
            threads: 0,
            block_trials: 0,
            keep_finished: false,
            target_relative_error: None,
            most_seconds: None,
        }
    }
}

impl Run {
    /// Largest number of trials: every count fits its 32 bits.
    pub const MOST_TRIALS: u64 = 4_000_000_000;

    pub(super) fn check(&self) -> Result<()> {
        if self.trials == 0 || self.trials > Run::MOST_TRIALS {
            return Err(Error::argument(
                "trials",
                self.trials,
                "must be a whole number from 1 to 4000000000",
                "10000 trials give a first answer; 1000000 resolve rare losses",
            ));
        }
        if self.planted_lives > Run::MOST_TRIALS {
            return Err(Error::argument(
                "planted_lives",
                self.planted_lives,
                "must be a whole number from 0 to 4000000000",
                "as many as trials tell losses of any size to a few per cent",
            ));
        }
        if self.block_trials > Run::MOST_TRIALS {
            return Err(Error::argument(
                "block_trials",
                self.block_trials,
                "must be at most 4000000000",
                "leave it out: it changes no result",
            ));
        }
        if let Some(target) = self.target_relative_error
            && !(target > 0.0 && target < 1.0)
        {
            return Err(Error::argument(
                "target_relative_error",
                target,
                "must be above 0 and below 1",
                "0.05 asks for standard errors of 5 % of the fleet's losses",
            ));
        }
        if let Some(seconds) = self.most_seconds
            && !(seconds > 0.0 && seconds.is_finite())
        {
            return Err(Error::argument(
                "most_seconds",
                seconds,
                "must be above 0 and finite",
                "leave it out to live all trials",
            ));
        }
        if self.threads > 4096 {
            return Err(Error::argument(
                "threads",
                self.threads,
                "must be at most 4096",
                "0 uses what the machine gives",
            ));
        }
        Ok(())
    }

    /// Batches of the run.
    pub(super) fn batches(&self) -> u64 {
        self.trials.div_ceil(BATCH_TRIALS)
    }

    /// Trials of some batches.
    pub(super) fn trials_of(&self, batches: &Range<u64>) -> u64 {
        (batches.end * BATCH_TRIALS).min(self.trials) - batches.start * BATCH_TRIALS
    }

    /// Lives with a planted crack that belong to a batch, by number.
    fn planted_of(&self, batch: u64) -> Range<u64> {
        let upto =
            |batch: u64| (u128::from(self.planted_lives) * u128::from(batch) / u128::from(self.batches())) as u64;
        upto(batch)..upto(batch + 1)
    }

    /// The number of threads that a run will use: as asked, else by the environment variable
    /// `SERRATA_THREADS`, else what the machine or its container gives.
    pub fn threads_used(&self) -> usize {
        let asked = (self.threads > 0).then_some(self.threads);
        let environment = || std::env::var("SERRATA_THREADS").ok()?.parse().ok().filter(|count| *count > 0);
        asked
            .or_else(environment)
            .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, std::num::NonZero::get))
    }
}

impl Ended {
    /// The same in words.
    pub fn name(self) -> &'static str {
        match self {
            Ended::Lived => "trials lived",
            Ended::Target => "target reached",
            Ended::Time => "time over",
        }
    }
}

/// Lives all trials; `ask` is told how many are done and may stop the run.
pub(super) fn live_all(
    study: &Study,
    rows: &[RowPlan],
    run: &Run,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<(Tally, Ended)> {
    let begun = Instant::now();
    let mut time_is_over = false;
    let tune = |is_stopped: &IsStopped| tune_all(study, rows, &GroupPlan::all(study, rows), run, is_stopped);
    let outcome = live(study, rows, run, 0..run.batches(), &tune, &mut |done| {
        time_is_over = run.most_seconds.is_some_and(|seconds| begun.elapsed().as_secs_f64() > seconds);
        if time_is_over { ControlFlow::Break(()) } else { ask(done) }
    });
    let too_short = || {
        let seconds = run.most_seconds.unwrap_or_default();
        let rule = format!("is over before the first {} trials are finished", BATCH_TRIALS.min(run.trials));
        Error::argument("most_seconds", seconds, &rule, "give it more time, or plant fewer cracks")
    };
    let (tree, is_known) = outcome.map_err(|error| if time_is_over { too_short() } else { error })?;
    let total = tree.total();
    let lived = total.as_ref().map_or(0, |tally| tally.trials);
    match total {
        Some(tally) if is_known || lived == run.trials || ((run.keep_finished || time_is_over) && lived > 0) => {
            // The last word: the caller may show that the run is over.
            let _ = ask(lived);
            let ended = match is_known || (Target { study, run }).is_reached(&tally) {
                true => Ended::Target,
                false if time_is_over && lived < run.trials => Ended::Time,
                false => Ended::Lived,
            };
            Ok((tally, ended))
        }
        None if time_is_over => Err(too_short()),
        None if run.keep_finished => Err(Error { kind: Kind::NothingFinished { first: BATCH_TRIALS.min(run.trials) } }),
        _ => Err(interrupted(lived, run.trials)),
    }
}

/// As [`live_all`], for some batches of the run, of which the sums stay apart; stopped, it is an error. A part knows no
/// target and no time.
pub(super) fn live_part(
    study: &Study,
    rows: &[RowPlan],
    run: &Run,
    batches: Range<u64>,
    tuned: &Tuned,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<MergeTree> {
    let tune = |is_stopped: &IsStopped| {
        let tune = || tune_all(study, rows, &GroupPlan::all(study, rows), run, is_stopped);
        tuned.proposals(hash_name(&study.to_toml()), tune)
    };
    let trials = run.trials_of(&batches);
    let (tree, _) = live(study, rows, run, batches, &tune, ask)?;
    if tree.trials() == trials { Ok(tree) } else { Err(interrupted(tree.trials(), trials)) }
}

/// How cracks are planted in a run whose batches are lived in rounds: tuned before the first, and kept from then on.
#[derive(Debug, Default)]
pub(super) struct Planting(OnceLock<Vec<Arc<Proposal>>>);

impl Planting {
    /// Leaves what is expected of some strategies alone, by number.
    pub fn keep(&mut self, strategies: &[usize]) {
        let proposals = self.0.get_mut().into_iter().flatten();
        proposals.for_each(|proposal| *proposal = Arc::new(proposal.keep(strategies)));
    }
}

/// As [`live_all`], for some batches of the run, of which the sums stay apart; stopped, it is an error. A round knows no target
/// and no time.
pub(super) fn live_round(
    study: &Study,
    rows: &[RowPlan],
    run: &Run,
    batches: Range<u64>,
    planting: &Planting,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<MergeTree> {
    let tune = |is_stopped: &IsStopped| match planting.0.get() {
        Some(proposals) => Ok(proposals.clone()),
        None => {
            let tuned = tune_all(study, rows, &GroupPlan::all(study, rows), run, is_stopped)?;
            Ok(planting.0.get_or_init(|| tuned).clone())
        }
    };
    let trials = run.trials_of(&batches);
    let (tree, _) = live(study, rows, run, batches, &tune, ask)?;
    if tree.trials() == trials { Ok(tree) } else { Err(interrupted(tree.trials(), trials)) }
}

pub(super) fn interrupted(done: u64, wanted: u64) -> Error {
    Error { kind: Kind::Interrupted { done, wanted, of: "trials" } }
}

/// Whether the caller asked to stop.
type IsStopped<'a> = dyn Fn() -> bool + Sync + 'a;

fn live(
    study: &Study,
    rows: &[RowPlan],
    run: &Run,
    batches: Range<u64>,
    tune: &(dyn Fn(&IsStopped) -> Result<Vec<Arc<Proposal>>> + Sync),
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<(MergeTree, bool)> {
    run.check()?;
    let groups = GroupPlan::all(study, rows);
    let stop = AtomicBool::new(false);
    let done = AtomicU64::new(0);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(run.threads_used()).build().map_err(|reason| {
        Error::argument("threads", run.threads, &format!("threads cannot be started: {reason}"), "ask for fewer")
    })?;
    // A run that keeps what is finished first finishes what is in hand, if that does not take long.
    let grace = if run.keep_finished || run.most_seconds.is_some() { GRACE } else { Duration::ZERO };
    let stopping = Stop { asked: &stop, ended: AtomicBool::new(false), since: OnceLock::new(), grace };
    let work = || {
        pool.install(|| {
            let is_stopped = || stopping.is_asked();
            let proposals = match tune(&is_stopped) {
                Ok(proposals) => proposals,
                Err(error) => return Merged { failure: Some((0, error)), ..Merged::from(0) },
            };
            live_blocks(study, rows, &groups, &proposals, run, batches, &stopping, &done)
        })
    };
    let merged = ask_while(work, &stop, &done, ask);
    merged.failure.map_or(Ok((merged.parts.tree, merged.is_known)), |(_, error)| Err(error))
}

/// Works on another thread while the caller is told how much is done and asked whether to go on; `stop` is set
/// once it is not.
pub(super) fn ask_while<T: Send>(
    work: impl FnOnce() -> T + Send,
    stop: &AtomicBool,
    done: &AtomicU64,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> T {
    std::thread::scope(|scope| {
        let (finished, wait) = mpsc::channel();
        let worker = scope.spawn(move || {
            let outcome = work();
            // The receiver waits for this; if it is gone there is nobody to tell.
            let _ = finished.send(());
            outcome
        });
        while wait.recv_timeout(ASK_EVERY) == Err(mpsc::RecvTimeoutError::Timeout) {
            if ask(done.load(Ordering::Relaxed)).is_break() {
                stop.store(true, Ordering::Relaxed);
            }
        }
        worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}

/// Threads take the next batches in turn, so that what is finished when a run is stopped is its beginning; sums merge in
/// order, so that memory does not grow with trials.
#[allow(clippy::too_many_arguments)]
fn live_blocks(
    study: &Study,
    rows: &[RowPlan],
    groups: &[GroupPlan],
    proposals: &[Arc<Proposal>],
    run: &Run,
    batches: Range<u64>,
    stop: &Stop,
    done: &AtomicU64,
) -> Merged {
    let next = AtomicU64::new(batches.start);
    let merged = Mutex::new(Merged::from(batches.start));
    let target = Target { study, run };
    rayon::broadcast(|_| {
        let mut worker = Worker::new(study, rows, groups, proposals);
        let mut count = 1;
        while !stop.is_asked() {
            let first = next.fetch_add(count, Ordering::Relaxed);
            if first >= batches.end {
                return;
            }
            let begun = Instant::now();
            let (part, outcome) = worker.live_batches(first..(first + count).min(batches.end), run, stop, done);
            if matches!(outcome, Err(Stopped::Failed(_))) {
                // Nothing is gained by what follows.
                next.store(batches.end, Ordering::Relaxed);
            }
            let mut merged = merged.lock().unwrap_or_else(PoisonError::into_inner);
            merged.add(first, part, outcome, &target);
            if merged.is_known {
                next.store(batches.end, Ordering::Relaxed);
                stop.end();
            }
            drop(merged);
            count = batches_at_once(run, count, begun.elapsed(), batches.end.saturating_sub(first));
        }
    });
    merged.into_inner().unwrap_or_else(PoisonError::into_inner)
}

/// How many batches a thread takes next: as many as keep it busy for some time, and few enough that all threads end
/// together. Changes no result.
fn batches_at_once(run: &Run, count: u64, took: Duration, left: u64) -> u64 {
    /// What a thread keeps to itself until it merges.
    const SHORT: Duration = Duration::from_millis(20);
    const MOST: u64 = 8;
    if run.target_relative_error.is_some() {
        // Where a run ends does not hang on how it was cut.
        return 1;
    }
    if run.block_trials > 0 {
        return run.block_trials.div_ceil(BATCH_TRIALS);
    }
    let fair = (left / (4 * rayon::current_num_threads() as u64)).clamp(1, MOST);
    if took < SHORT { (2 * count).min(fair) } else { count.div_ceil(2).min(fair) }
}

/// The sums of finished batches, and why others failed.
#[derive(Debug)]
struct Merged {
    parts: Parts,
    /// The first failure, with the batch where the thread began.
    failure: Option<(u64, Error)>,
    /// Whether the target was reached.
    is_known: bool,
}

impl Merged {
    fn from(batch: u64) -> Self {
        Merged { parts: Parts::from(batch), failure: None, is_known: false }
    }

    fn add(
        &mut self,
        first: u64,
        (count, part): (u64, MergeTree),
        outcome: std::result::Result<(), Stopped>,
        target: &Target,
    ) {
        if !self.is_known {
            self.parts.wait(first, count, part);
            // The sums over so many batches are the same on any threads, and so is where a run ends.
            while self.parts.add_until(target.next_look(self.parts.next)) {
                if self.parts.tree.clone().total().is_some_and(|tally| target.is_reached(&tally)) {
                    self.is_known = true;
                    break;
                }
            }
        }
        if let Err(Stopped::Failed(error)) = outcome
            && self.failure.as_ref().is_none_or(|(other, _)| first < *other)
        {
            self.failure = Some((first, error));
        }
    }
}

/// How well a run is to know its numbers.
struct Target<'a> {
    study: &'a Study,
    run: &'a Run,
}

impl Target<'_> {
    /// The number of batches, more than some, after which it is looked next: seldom, since each look is a chance to end by
    /// luck.
    fn next_look(&self, batches: u64) -> u64 {
        const FIRST: u64 = 4;
        if self.run.target_relative_error.is_none() {
            return u64::MAX;
        }
        let quarter = (batches.max(1).ilog2()).saturating_sub(2);
        (((batches >> quarter) + 1) << quarter).max(FIRST)
    }

    fn is_reached(&self, tally: &Tally) -> bool {
        let Some(target) = self.run.target_relative_error else { return false };
        let comparison = Comparison::of(self.study, self.run, tally.clone(), Ended::Target);
        comparison.largest_relative_error().is_some_and(|error| error <= target)
    }
}

/// Why batches were not finished.
enum Stopped {
    Asked,
    Failed(Error),
}

/// Whether the caller asked to stop, and for how long work in hand may go on; or whether enough is known.
struct Stop<'a> {
    asked: &'a AtomicBool,
    ended: AtomicBool,
    since: OnceLock<Instant>,
    grace: Duration,
}

impl Stop<'_> {
    fn is_asked(&self) -> bool {
        self.asked.load(Ordering::Relaxed) || self.ended.load(Ordering::Relaxed)
    }

    /// Whether work in hand is given up too.
    fn is_over(&self) -> bool {
        let asked = || self.is_asked() && self.since.get_or_init(Instant::now).elapsed() >= self.grace;
        self.ended.load(Ordering::Relaxed) || asked()
    }

    /// Ends all work at once.
    fn end(&self) {
        self.ended.store(true, Ordering::Relaxed);
    }
}

/// Rows of a fleet up to which threads keep the storage of their lives: that of a large fleet would fill the memory.
const MOST_KEPT_ROWS: usize = 100;

/// Storage of one thread.
struct Worker<'p> {
    study: &'p Study,
    rows: &'p [RowPlan],
    groups: &'p [GroupPlan],
    /// For each row how cracks are planted; empty where none are.
    proposals: &'p [Arc<Proposal>],
    /// Lives of each group of units, if they are kept.
    kept: Vec<UnitLives<'p>>,
    fleets: Vec<FleetRecord>,
}

impl<'p> Worker<'p> {
    fn new(study: &'p Study, rows: &'p [RowPlan], groups: &'p [GroupPlan], proposals: &'p [Arc<Proposal>]) -> Self {
        let kept = if rows.len() <= MOST_KEPT_ROWS { groups } else { &[] };
        Worker {
            study,
            rows,
            groups,
            proposals,
            kept: kept.iter().map(|group| UnitLives::new(study, rows, group)).collect(),
            fleets: vec![FleetRecord::new(study.strategies.len()); BATCH_TRIALS as usize],
        }
    }

    /// Lives batches; returns the sums of those that were finished, with their number.
    fn live_batches(
        &mut self,
        batches: Range<u64>,
        run: &Run,
        stop: &Stop,
        done: &AtomicU64,
    ) -> ((u64, MergeTree), std::result::Result<(), Stopped>) {
        let (mut count, mut tree) = (0, MergeTree::default());
        for batch in batches {
            match self.live_batch(batch, run, stop) {
                Ok(tally) => {
                    done.fetch_add(tally.trials, Ordering::Relaxed);
                    tree.push(batch, tally);
                    count += 1;
                }
                Err(reason) => return ((count, tree), Err(reason)),
            }
        }
        ((count, tree), Ok(()))
    }

    /// Lives a batch, unit by unit; those that share spare blades together.
    fn live_batch(&mut self, batch: u64, run: &Run, stop: &Stop) -> std::result::Result<Tally, Stopped> {
        let years = self.study.horizon_years.ceil() as usize;
        let mut tally = Tally::new(self.rows, self.study.units.len(), self.study.strategies.len(), years);
        tally.expect_planted(self.rows, self.proposals, run);
        let trials = batch * BATCH_TRIALS..((batch + 1) * BATCH_TRIALS).min(run.trials);
        let mut fleets = std::mem::take(&mut self.fleets);
        fleets.iter_mut().for_each(FleetRecord::clear);
        let mut kept = std::mem::take(&mut self.kept);
        let mut lived = Ok(());
        for (number, group) in self.groups.iter().enumerate() {
            let mut own = None;
            let lives = match kept.get_mut(number) {
                Some(lives) => lives,
                None => own.insert(UnitLives::new(self.study, self.rows, group)),
            };
            lived = self.live_group(group, lives, &mut fleets, trials.clone(), run, stop, &mut tally).and_then(|()| {
                let planted = run.planted_of(batch);
                self.live_planted(group, lives, planted, run, stop, &mut tally)
            });
            if lived.is_err() {
                break;
            }
        }
        if lived.is_ok() {
            let count = (trials.end - trials.start) as usize;
            fleets[..count].iter_mut().for_each(|fleet| tally.add_trial(fleet));
        }
        (self.fleets, self.kept) = (fleets, kept);
        lived.map(|()| tally)
    }

    /// Lives the trials of a group of units, some together, strategy by strategy.
    #[allow(clippy::too_many_arguments)]
    fn live_group(
        &self,
        group: &GroupPlan,
        lives: &mut UnitLives,
        fleets: &mut [FleetRecord],
        trials: Range<u64>,
        run: &Run,
        stop: &Stop,
        tally: &mut Tally,
    ) -> std::result::Result<(), Stopped> {
        for (first, fleets) in trials.clone().step_by(TRIALS_TOGETHER).zip(fleets.chunks_mut(TRIALS_TOGETHER)) {
            if stop.is_over() {
                return Err(Stopped::Asked);
            }
            let count = (trials.end - first).min(TRIALS_TOGETHER as u64);
            for (place, &row) in group.rows.iter().enumerate() {
                let row_key = Key::from_seed(run.seed).child(self.rows[row].nature.name);
                let fleet = fleet_key(run.seed);
                let key =
                    |trial: u64| LifeKey { row: row_key.child(trial), fleet: fleet.child(trial), shared_draw: None };
                let keys = (0..count as usize).map(|life| key(first + life as u64));
                let attempts = lives.begin(place, keys);
                tally.tries[row] +=
                    attempts.ok_or_else(|| Stopped::Failed(Error::never_comes_through(&self.study.rows[row].id)))?;
            }
            for strategy in 0..self.study.strategies.len() {
                for (life, fleet) in fleets[..count as usize].iter_mut().enumerate() {
                    let records = lives.follow(life, strategy);
                    for unit in &group.units {
                        tally.add_unit(self.study.rows[unit.rows[0]].unit, strategy, &records[unit.places()]);
                    }
                    for (record, &row) in records.iter_mut().zip(&group.rows) {
                        tally.share_losses(row, strategy, record);
                        tally.add_life(row, strategy, record);
                        fleet.add(strategy, record);
                    }
                }
            }
        }
        for (counts, &row) in lives.take_counts().zip(&group.rows) {
            tally.add_counts(row, &counts);
        }
        Ok(())
    }

    /// The lives with planted cracks of a group of units that belong to a batch.
    fn live_planted(
        &self,
        group: &GroupPlan,
        lives: &mut UnitLives,
        numbers: Range<u64>,
        run: &Run,
        stop: &Stop,
        tally: &mut Tally,
    ) -> std::result::Result<(), Stopped> {
        if self.proposals.is_empty() {
            return Ok(());
        }
        let key = |row: usize| rare::key_of(run.seed, &self.rows[row]);
        let (study, rows, company) = (self.study, self.rows, Company::All);
        for (place, &row) in group.rows.iter().enumerate() {
            let planted = PlantedLives { study, rows, group, place, key: &key, company };
            let is_over = || stop.is_over();
            let told = |life: &PlantedLife| tally.add_planted(row, life.losses, life.number);
            let all =
                planted.live(lives, &self.proposals[row], numbers.clone(), &is_over, told).map_err(Stopped::Failed)?;
            if !all {
                return Err(Stopped::Asked);
            }
        }
        // Notes are of plain lives.
        lives.take_counts().for_each(drop);
        tally.planted_lives = numbers.end - numbers.start;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_refused_beyond_their_limits_and_not_at_them() {
        let run = Run { trials: Run::MOST_TRIALS, block_trials: Run::MOST_TRIALS, threads: 4096, ..Run::default() };
        assert!(run.check().is_ok() && Run { trials: 1, ..run.clone() }.check().is_ok());
        for (beyond, name) in [
            (Run { trials: 0, ..run.clone() }, "trials"),
            (Run { trials: 4_000_000_001, ..run.clone() }, "trials"),
            (Run { block_trials: 4_000_000_001, ..run.clone() }, "block_trials"),
            (Run { threads: 4097, ..run }, "threads"),
        ] {
            let error = beyond.check().expect_err("a refusal").to_string();
            assert!(error.starts_with(name), "{error}");
        }
    }

    #[test]
    fn as_many_threads_are_used_as_are_asked_for_and_one_at_least() {
        assert_eq!(Run { threads: 3, ..Run::default() }.threads_used(), 3);
        assert!(Run::default().threads_used() >= 1);
    }

    #[test]
    fn work_in_hand_is_given_up_when_the_time_that_a_stop_leaves_it_is_over() {
        let asked = AtomicBool::new(false);
        let [none, endless] = [Duration::ZERO, Duration::MAX].map(|grace| Stop {
            asked: &asked,
            ended: AtomicBool::new(false),
            since: OnceLock::new(),
            grace,
        });
        assert!(!none.is_over() && !endless.is_over(), "nobody asked");
        asked.store(true, Ordering::Relaxed);
        assert!(none.is_over() && !endless.is_over(), "only what leaves time goes on");
        endless.end();
        assert!(endless.is_over() && endless.is_asked(), "enough is known");
    }

    #[test]
    fn of_several_failures_the_first_batch_is_reported() {
        let study = Study::parse(include_str!("../../tests/engine/data/y1c.toml"), "y1c").expect("a good study");
        let target = Target { study: &study, run: &Run::default() };
        let failed = |id: &str| Err(Stopped::Failed(Error::never_comes_through(id)));
        for order in [["3", "5", "8"], ["8", "3", "5"], ["5", "8", "3"]] {
            let mut merged = Merged::from(0);
            for id in order {
                merged.add(id.parse().expect("a number"), (0, MergeTree::default()), failed(id), &target);
            }
            let (first, error) = merged.failure.expect("a failure");
            assert!(first == 3 && error.to_string().contains('3'), "{first}: {error}");
        }
    }
}
