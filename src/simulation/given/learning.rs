//! How a fleet is sampled given its records, and whether that goes on.

use crate::error::{Error, Result};
use crate::random::Key;
use crate::simulation::parallel::{Run, ask_while};
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// How a fleet is sampled given its records.
#[derive(Debug, Clone, PartialEq)]
pub struct Learning {
    /// Draws of what the blades of each row share, in each repeat.
    pub draws: u32,
    /// Possible cracks of each hot spot; a power of two at most 32,768.
    pub cracks: u32,
    /// Repeats with cracks and draws of their own: what they differ by is the error.
    pub repeats: u32,
    /// Draws of each row that are asked what is in it and what comes of it; the others only say how probable each is.
    pub asked: u32,
    /// Seed.
    pub seed: u64,
    /// Threads; 0 for as many as the machine has.
    pub threads: usize,
}

impl Default for Learning {
    fn default() -> Self {
        Learning { draws: 320, cracks: 1024, repeats: 4, asked: 40, seed: 1, threads: 0 }
    }
}

impl Learning {
    /// Refuses what cannot be done.
    pub(super) fn check(&self) -> Result<()> {
        let least = |name: &str, number: u32, least: u32| {
            if number >= least {
                return Ok(());
            }
            Err(Error::argument(name, number, &format!("must be at least {least}"), "ask for more"))
        };
        least("draws", self.draws, 32)?;
        least("cracks", self.cracks, 64)?;
        least("repeats", self.repeats, 2)?;
        least("asked", self.asked, 1)?;
        /// Points that can be scrambled.
        const MOST: u32 = 1 << 15;
        if self.cracks > MOST || self.draws > MOST {
            let rule = format!("must be at most {MOST}");
            return Err(Error::argument("draws, cracks", self.cracks.max(self.draws), &rule, "ask for more repeats"));
        }
        Ok(())
    }

    /// Scrambles the points of a row in a repeat.
    pub(super) fn seed_of(&self, row: usize, repeat: u32) -> u32 {
        Key::from_seed(self.seed).child(row as u64).child(repeat.into()).draw(0).bits() as u32
    }

    /// Works on threads of its own, while `ask` is told how many draws were taken and may stop the work.
    pub(super) fn watched<T: Send>(
        &self,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
        work: impl FnOnce(&Watch) -> Result<T> + Send,
    ) -> Result<T> {
        let run = Run { threads: self.threads, ..Run::default() };
        // Threads of its own: those of a library do not outlive a fork.
        let pool = rayon::ThreadPoolBuilder::new().num_threads(run.threads_used()).build().map_err(|reason| {
            let rule = format!("threads cannot be started: {reason}");
            Error::argument("threads", self.threads, &rule, "ask for fewer")
        })?;
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        let watch = Watch { stop: &stop, done: &done };
        ask_while(|| pool.install(|| work(&watch)), &stop, &done, ask)
    }
}

/// Whether the work goes on.
pub(super) struct Watch<'a> {
    pub stop: &'a AtomicBool,
    /// Draws done.
    pub done: &'a AtomicU64,
}

impl Watch<'_> {
    pub fn is_stopped(&self) -> bool {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.stop.load(Ordering::Relaxed)
    }
}
