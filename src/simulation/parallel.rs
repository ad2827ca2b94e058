//! Cuts the trials into blocks, lives them on threads, and merges them in order.

use super::life::Lives;
use super::plan::RowPlan;
use super::record::Record;
use super::tally::{FleetRecord, Forest, LEAF_TRIALS, Tally};
use crate::error::{Error, Kind, Result};
use crate::model::Study;
use crate::random::Key;
use rayon::prelude::*;
use std::ops::{ControlFlow, Range};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc;
use std::time::Duration;

/// Trials that are lived together: enough to fill vector registers, few enough to stay near the processor.
/// Changes no result.
const BATCH_TRIALS: u64 = 32;

/// How often the caller is told and asked.
const ASK_EVERY: Duration = Duration::from_millis(100);

/// How much is to be simulated, and with what.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Trials: lives of the whole fleet.
    pub trials: u64,
    /// Seed; the same seed gives the same bytes.
    pub seed: u64,
    /// Threads; 0 for as many as the machine gives.
    pub threads: usize,
    /// Trials that a thread lives at a time, rounded up to whole leaves; 0 to choose. Changes no result.
    pub block_trials: u64,
    /// Whether a run that is stopped gives back the trials that were finished, in order.
    pub keep_finished: bool,
}

impl Default for Run {
    fn default() -> Self {
        Run { trials: 10_000, seed: 1, threads: 0, block_trials: 0, keep_finished: false }
    }
}

impl Run {
    /// Largest number of trials: every count fits its 32 bits.
    pub const MOST_TRIALS: u64 = 4_000_000_000;

    fn check(&self) -> Result<()> {
        if self.trials == 0 || self.trials > Run::MOST_TRIALS {
            return Err(Error::argument(
                "trials",
                self.trials,
                "must be at least 1 and at most 4000000000",
                "10000 trials give a first answer; 1000000 resolve rare losses",
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

/// Lives all trials; `ask` is told how many are done and may stop the run.
pub(crate) fn live_all(
    study: &Study,
    rows: &[RowPlan],
    run: &Run,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<Tally> {
    run.check()?;
    let stop = AtomicBool::new(false);
    let done = AtomicU64::new(0);
    let pool = rayon::ThreadPoolBuilder::new().num_threads(run.threads_used()).build().map_err(|reason| {
        Error::argument("threads", run.threads, &format!("threads cannot be started: {reason}"), "ask for fewer")
    })?;
    let work = || pool.install(|| live_blocks(study, rows, run, &stop, &done));
    let (forest, failure) = ask_while(work, &stop, &done, ask);
    if let Some(error) = failure {
        return Err(error);
    }
    let total = forest.total();
    let lived = total.as_ref().map_or(0, |tally| tally.trials);
    match total {
        Some(tally) if lived == run.trials || (run.keep_finished && lived > 0) => {
            // The last word: the caller may show that the run is over.
            let _ = ask(lived);
            Ok(tally)
        }
        _ => Err(Error { kind: Kind::Interrupted { done: lived, wanted: run.trials, of: "trials" } }),
    }
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

/// Waves of blocks, so that memory does not grow with trials; blocks merge in order.
fn live_blocks(
    study: &Study,
    rows: &[RowPlan],
    run: &Run,
    stop: &AtomicBool,
    done: &AtomicU64,
) -> (Forest, Option<Error>) {
    /// Blocks of a wave per thread: enough that no thread waits long for another.
    const BLOCKS_PER_THREAD: u64 = 16;
    /// Leaves of a block at most: each block keeps but one tally when it is done.
    const MOST_LEAVES: u64 = 8;
    let leaves = run.trials.div_ceil(LEAF_TRIALS);
    let threads = rayon::current_num_threads() as u64;
    let block = match run.block_trials {
        0 => (leaves / (threads * BLOCKS_PER_THREAD)).clamp(1, MOST_LEAVES),
        trials => trials.div_ceil(LEAF_TRIALS).min(leaves),
    };
    let wave = block.saturating_mul(BLOCKS_PER_THREAD * threads);
    let mut forest = Forest::default();
    let mut begin = 0;
    while begin < leaves {
        let end = begin.saturating_add(wave).min(leaves);
        let blocks: Vec<std::result::Result<Forest, Stopped>> = (begin..end)
            .step_by(block as usize)
            .collect::<Vec<u64>>()
            .into_par_iter()
            .map_init(
                || Worker::new(study, rows),
                |worker, first| worker.live_leaves(first..(first + block).min(end), run, stop, done),
            )
            .collect();
        for block in blocks {
            match block {
                Ok(part) => forest.append(part),
                Err(Stopped::Asked) => return (forest, None),
                Err(Stopped::Failed(error)) => return (forest, Some(error)),
            }
        }
        begin = end;
    }
    (forest, None)
}

/// Why a block was not finished.
enum Stopped {
    Asked,
    Failed(Error),
}

/// Storage of one thread.
struct Worker<'p> {
    study: &'p Study,
    rows: &'p [RowPlan],
    lives: Vec<Lives<'p>>,
    records: Vec<Record>,
    fleets: Vec<FleetRecord>,
}

impl<'p> Worker<'p> {
    fn new(study: &'p Study, rows: &'p [RowPlan]) -> Self {
        Worker {
            study,
            rows,
            lives: rows.iter().map(Lives::new).collect(),
            records: rows.iter().map(|row| Record::new(row.outages.len(), &study.money)).collect(),
            fleets: vec![FleetRecord::new(study.strategies.len()); BATCH_TRIALS as usize],
        }
    }

    fn live_leaves(
        &mut self,
        leaves: Range<u64>,
        run: &Run,
        stop: &AtomicBool,
        done: &AtomicU64,
    ) -> std::result::Result<Forest, Stopped> {
        let years = self.study.horizon_years.ceil() as usize;
        let mut forest = Forest::default();
        for leaf in leaves {
            let mut tally = Tally::new(self.rows, self.study.strategies.len(), years);
            let trials = leaf * LEAF_TRIALS..((leaf + 1) * LEAF_TRIALS).min(run.trials);
            for first in trials.clone().step_by(BATCH_TRIALS as usize) {
                if stop.load(Ordering::Relaxed) {
                    return Err(Stopped::Asked);
                }
                let batch = first..(first + BATCH_TRIALS).min(trials.end);
                self.live_trials(run.seed, batch, &mut tally).map_err(Stopped::Failed)?;
            }
            done.fetch_add(trials.end - trials.start, Ordering::Relaxed);
            forest.push(leaf, tally);
        }
        Ok(forest)
    }

    /// Lives some trials together, strategy by strategy.
    fn live_trials(&mut self, seed: u64, trials: Range<u64>, tally: &mut Tally) -> Result<()> {
        let count = (trials.end - trials.start) as usize;
        let fleets = &mut self.fleets[..count];
        fleets.iter_mut().for_each(FleetRecord::clear);
        for (index, (lives, record)) in self.lives.iter_mut().zip(&mut self.records).enumerate() {
            let row_key = Key::from_seed(seed).child(self.rows[index].name);
            let keys = (0..count).map(|life| row_key.child(trials.start + life as u64));
            tally.tries[index] +=
                lives.begin(keys).ok_or_else(|| Error::never_comes_through(&self.study.rows[index].id))?;
            for strategy in 0..self.study.strategies.len() {
                for (life, fleet) in fleets.iter_mut().enumerate() {
                    lives.follow(life, strategy, record);
                    tally.add_life(index, strategy, record);
                    fleet.add(strategy, record);
                }
            }
            tally.add_notes(index, &lives.take_notes());
        }
        fleets.iter_mut().for_each(|fleet| tally.add_trial(fleet));
        Ok(())
    }
}
