//! Parts of a run that are lived elsewhere, and their assembly: the same bytes as a run in one place.

use super::estimate::Comparison;
use super::merge_tree::{MergeTree, Parts};
use super::parallel::{self, BATCH_TRIALS, Ended, Run};
use super::plan::RowPlan;
use super::rare::Tuned;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::random::{GENERATOR, hash_name};
use serde::{Deserialize, Serialize};
use std::ops::{ControlFlow, Range};

/// First words of a part; another form gets another number.
const FORM: &str = "serrata part, form 6";

/// Sums over a part of a run, as bytes that travel.
#[derive(Serialize, Deserialize)]
struct Stored {
    form: String,
    version: String,
    generator: String,
    /// Of the study's text.
    study: u64,
    seed: u64,
    trials: u64,
    planted_lives: u64,
    first_batch: u64,
    batches: u64,
    sums: MergeTree,
    /// Of all that stands before it; tells damaged bytes, and whether two are the same.
    checksum: u64,
}

impl Stored {
    fn sum(&self) -> u64 {
        let run = (&self.form, &self.version, &self.generator, self.study, self.seed, self.trials, self.planted_lives);
        let content = serde_json::to_string(&(run, self.first_batch, self.batches, &self.sums));
        hash_name(&content.expect("text, counts and finite numbers always have a JSON form"))
    }
}

/// Parts of one run, numbered from 0; each is of the same number of trials, but for the last.
#[derive(Debug, Clone, PartialEq)]
pub struct Partition {
    run: Run,
    batches_each: u64,
    tuned: Tuned,
}

impl Partition {
    /// Parts of at least so many trials, rounded up to whole batches.
    ///
    /// # Errors
    /// Refuses a run without trials, or with too many.
    pub fn new(run: Run, trials_each: u64) -> Result<Self> {
        run.check()?;
        let batches_each = trials_each.div_ceil(BATCH_TRIALS).max(1);
        Ok(Partition { run, batches_each, tuned: Tuned::default() })
    }

    /// How many parts there are.
    pub fn count(&self) -> u64 {
        self.run.batches().div_ceil(self.batches_each)
    }

    /// Trials of each part but the last, in whole batches.
    pub fn trials_each(&self) -> u64 {
        self.batches_each * BATCH_TRIALS
    }

    fn batches(&self, part: u64) -> Range<u64> {
        let first = part * self.batches_each;
        first..(first + self.batches_each).min(self.run.batches())
    }

    /// Lives one part of a run of a study: its sums, for [`Assembly::add`]. `ask` may stop it.
    ///
    /// # Errors
    /// As [`Study::simulate_with`], and for a part that there is not.
    pub fn live(&self, study: &Study, part: u64, ask: &mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<Vec<u8>> {
        if part >= self.count() {
            let rule = format!("there are {}, counted from 0", self.count());
            return Err(Error::argument("part", part, &rule, "ask for one of them"));
        }
        let batches = self.batches(part);
        let rows = RowPlan::all(study)?;
        let sums = parallel::live_part(study, &rows, &self.run, batches.clone(), &self.tuned, ask)?;
        let mut stored = Stored {
            form: FORM.to_owned(),
            version: crate::VERSION.to_owned(),
            generator: GENERATOR.to_owned(),
            study: hash_name(&study.to_toml()),
            seed: self.run.seed,
            trials: self.run.trials,
            planted_lives: self.run.planted_lives,
            first_batch: batches.start,
            batches: batches.end - batches.start,
            sums,
            checksum: 0,
        };
        stored.checksum = stored.sum();
        Ok(serde_json::to_vec(&stored).expect("text, counts and finite numbers always have a JSON form"))
    }
}

/// How a part that was added stands to those that came before by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    /// The first.
    First,
    /// Once more, with the same sums.
    Again,
    /// Once more, with other sums: a machine that takes part computes wrongly. Not added.
    Otherwise,
}

/// A run that is put together of parts, in whatever order they come.
#[derive(Debug)]
pub struct Assembly {
    study: Study,
    partition: Partition,
    parts: Parts,
    /// Checksums of the parts that came.
    came: Vec<Option<u64>>,
    /// Trials of the parts that came.
    trials: u64,
}

impl Assembly {
    /// Without any part yet.
    pub fn new(study: &Study, partition: Partition) -> Self {
        let came = vec![None; partition.count() as usize];
        Assembly { study: study.clone(), partition, parts: Parts::default(), came, trials: 0 }
    }

    /// Adds a part; returns its number, and whether one by that number came before.
    ///
    /// # Errors
    /// Refuses bytes that are something else, are damaged, or are of another run.
    pub fn add(&mut self, bytes: &[u8]) -> Result<(u64, Came)> {
        let refusal =
            |rule: &str, remedy: &str| Err(Error::argument("part", format!("{} bytes", bytes.len()), rule, remedy));
        let Ok(stored) = serde_json::from_slice::<Stored>(bytes) else {
            return refusal("must be sums of a part, whole and unchanged", "live the part again");
        };
        let Stored { version, generator, study, seed, trials, planted_lives, first_batch, batches, checksum, .. } =
            &stored;
        if stored.form != FORM || version != crate::VERSION || generator != GENERATOR {
            let rule = format!("must come from serrata {} ({GENERATOR}), not {version} ({generator})", crate::VERSION);
            return refusal(&rule, "install the same version wherever parts are lived");
        }
        // Two ways to write a number are told apart too.
        if *checksum != stored.sum() || serde_json::to_vec(&stored).ok().as_deref() != Some(bytes) {
            return refusal("must be sums of a part, whole and unchanged", "live the part again");
        }
        let run = &self.partition.run;
        let part = first_batch / self.partition.batches_each;
        let range = *first_batch..first_batch.saturating_add(*batches);
        if (*study, *seed, *trials, *planted_lives)
            != (hash_name(&self.study.to_toml()), run.seed, run.trials, run.planted_lives)
            || part >= self.partition.count()
            || range != self.partition.batches(part)
        {
            return refusal("must be a part of this run", "live a part of this run");
        }
        match self.came[part as usize] {
            None => {
                self.came[part as usize] = Some(*checksum);
                self.trials += (range.end * BATCH_TRIALS).min(run.trials) - range.start * BATCH_TRIALS;
                self.parts.add(range.start, *batches, stored.sums);
                Ok((part, Came::First))
            }
            Some(first) if first == *checksum => Ok((part, Came::Again)),
            Some(_) => Ok((part, Came::Otherwise)),
        }
    }

    /// Trials of the parts that came.
    pub fn trials(&self) -> u64 {
        self.trials
    }

    /// Numbers of the parts that have not come.
    pub fn missing(&self) -> Vec<u64> {
        (0..self.partition.count()).filter(|part| self.came[*part as usize].is_none()).collect()
    }

    /// The comparison.
    ///
    /// # Errors
    /// Refuses to do without a part.
    pub fn finish(self) -> Result<Comparison> {
        let missing = self.missing();
        let total = self.parts.tree.total();
        match (missing.first(), total) {
            (None, Some(tally)) => Ok(Comparison::of(&self.study, &self.partition.run, tally, Ended::Lived)),
            (first, _) => Err(Error::argument(
                "parts",
                self.partition.count(),
                &format!("{} have not come, the first is {}", missing.len(), first.copied().unwrap_or_default()),
                "add them",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn study() -> Study {
        Study::parse(include_str!("../../tests/engine/data/y1c.toml"), "y1c").expect("a good study")
    }

    fn partition(seed: u64) -> Partition {
        let run = Run { trials: 5_000, seed, threads: 1, ..Run::default() };
        Partition::new(run, 1_000).expect("a good run")
    }

    fn part(seed: u64, number: u64) -> Vec<u8> {
        partition(seed).live(&study(), number, &mut |_| ControlFlow::Continue(())).expect("a part")
    }

    #[test]
    fn parts_in_any_order_make_the_bytes_of_a_run_in_one_place() {
        let whole = study().simulate(&partition(3).run).expect("a run");
        // 5,000 trials are 10 batches, two in each part.
        assert_eq!(partition(3).count(), 5);
        let parts: Vec<Vec<u8>> = (0..5).map(|number| part(3, number)).collect();
        for order in [[0, 1, 2, 3, 4], [4, 3, 2, 1, 0], [2, 0, 4, 1, 3]] {
            let mut assembly = Assembly::new(&study(), partition(3));
            for number in order {
                assert_eq!(assembly.add(&parts[number]).expect("a part"), (number as u64, Came::First));
                assert_eq!(assembly.add(&parts[number]).expect("the same again"), (number as u64, Came::Again));
            }
            assert_eq!(assembly.trials(), 5_000);
            assert_eq!(assembly.finish().expect("all parts").to_bytes(), whole.to_bytes());
        }
    }

    #[test]
    fn a_part_that_is_missing_damaged_or_foreign_is_refused() {
        let mut assembly = Assembly::new(&study(), partition(3));
        let good = part(3, 1);
        let mut refused = |bytes: &[u8]| assembly.add(bytes).expect_err("must be refused").to_string();
        for end in [0, good.len() / 2, good.len() - 1] {
            assert!(refused(&good[..end]).contains("whole and unchanged"));
        }
        let text = String::from_utf8(good.clone()).expect("JSON is text");
        assert!(
            refused(text.replacen("\"trials\":1024", "\"trials\":1023", 1).as_bytes()).contains("whole and unchanged")
        );
        assert!(refused(text.replacen(crate::VERSION, "9.9.9", 1).as_bytes()).contains("not 9.9.9"));
        assert!(refused(&part(4, 1)).contains("a part of this run"));
        assembly.add(&good).expect("a part");
        assert_eq!(assembly.missing(), [0, 2, 3, 4]);
        assert!(
            assembly.finish().expect_err("parts are missing").to_string().contains("4 have not come, the first is 0")
        );
    }

    #[test]
    fn other_sums_for_one_part_are_noticed_and_not_added() {
        let mut assembly = Assembly::new(&study(), partition(3));
        assembly.add(&part(3, 0)).expect("a part");
        let mut other: Stored = serde_json::from_slice(&part(3, 0)).expect("just written");
        let elsewhere: Stored = serde_json::from_slice(&part(3, 1)).expect("just written");
        other.sums = elsewhere.sums;
        other.checksum = other.sum();
        let bytes = serde_json::to_vec(&other).expect("a JSON form");
        assert_eq!(assembly.add(&bytes).expect("whole"), (0, Came::Otherwise));
        assert_eq!((assembly.trials(), assembly.missing()), (1_024, vec![1, 2, 3, 4]));
        assert_eq!(assembly.add(&part(3, 0)).expect("the first"), (0, Came::Again));
    }
}
