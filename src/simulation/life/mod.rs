//! Lives of a row: what nature does, what looks find and what a policy does about it meet here, outage after outage.
//!
//! [`Lives`] holds what all strategies share in some lives of a row. [`follow::Life`] is one of them under one strategy.
//! Blades to which exactly one thing happens are counted without being followed, where a policy keeps blades apart
//! ([`first_event`]): the one shortcut.

mod acts;
mod dressing;
mod first_event;
mod follow;
mod given;
mod looks;
mod losses;
mod past;
mod planted;
mod row_state;
mod stops;
mod unit;

use super::nature::{Crack, IntegrationCounts, LifeKey, Mark, Replacement};
pub(crate) use unit::UnitLives;

use super::calendar::Calendar;
use super::observe::{LifeRecord, Occupancy};
use super::plan::RowPlan;
use super::policy::{Act, Findings, FirstCall, Policy, PolicyState, Stocks};
use super::row_batch::RowBatch;
use crate::bits::{Bits, lowest, set_bits};
use crate::model::Study;
use first_event::{FirstCracks, FirstEvents};
use follow::Life;
use looks::SeenAgain;
use planted::PlantedInRow;
pub(crate) use planted::{LossCounts, PlantedFate};
use row_state::RowState;

/// Lives of one row; keeps its storage from life to life.
#[derive(Debug)]
pub(crate) struct Lives<'p> {
    row: &'p RowPlan,
    batch: RowBatch<'p>,
    first_cracks: FirstCracks,
    /// What comes first to them, for each schedule.
    first_events: Vec<FirstEvents>,
    /// First replacements that schedules alone lead to.
    expected: Vec<Replacement>,
    room: Room,
    /// Of lives before the study, of which nothing is kept.
    record: LifeRecord,
    /// Of lives with a planted crack, whether each came to the start of the study.
    came_through: Vec<bool>,
    /// The same lives where strategies have the unit run or stop otherwise.
    variants: Vec<Lives<'p>>,
}

/// Storage of the life that is followed.
#[derive(Debug, Default)]
struct Room {
    state: RowState,
    policy: PolicyState,
    findings: Findings,
    /// Cracks called by looks that stand at the outage being lived, by their numbers in the row, as bits.
    called: Vec<u64>,
    /// Blades without a crack that are called there.
    clean_called: Vec<u32>,
    /// Watched blades that are looked at there for that alone, after their techniques.
    watched_now: Vec<(usize, u32)>,
    /// Calls there of looks that ask which blades they are on.
    first_calls: Vec<FirstCall>,
    /// Who looked at called blades again there.
    seen_again: Vec<SeenAgain>,
    /// Blades that are new there, where that is asked for.
    replaced: Vec<u32>,
    acts: Vec<Act>,
    /// Blades that turned out too deeply cracked to be dressed there.
    too_deep: Vec<u32>,
    /// The outage to which the last stop came before, and how many stops there were before that outage.
    stops: (usize, u64),
    planted: PlantedInRow,
}

impl<'p> Lives<'p> {
    pub fn new(row: &'p RowPlan, study: &Study) -> Self {
        Lives {
            row,
            batch: RowBatch::new(&row.nature, &row.inspection),
            first_cracks: FirstCracks::default(),
            first_events: (0..row.schedules).map(|_| FirstEvents::default()).collect(),
            expected: Vec::new(),
            room: Room { state: RowState::new(row), ..Room::default() },
            record: LifeRecord::new(study, &row.nature.calendar),
            came_through: Vec::new(),
            variants: row.variants.iter().map(|variant| Lives::new(variant, study)).collect(),
        }
    }

    /// The lives as they are under a strategy.
    fn under(&mut self, strategy: usize) -> &mut Self {
        match self.row.variant_of.get(strategy).copied().flatten() {
            Some(variant) => &mut self.variants[variant],
            None => self,
        }
    }

    /// Draws lives of the row up to the start of the study; the keys are those of the row in each trial.
    ///
    /// Returns the number of attempts until all reached the start without a loss, or `None` if one never did.
    pub fn begin<K: Into<LifeKey>>(&mut self, keys: impl ExactSizeIterator<Item = K>) -> Option<u64> {
        if self.variants.is_empty() {
            self.batch.begin(keys);
        } else {
            let keys: Vec<LifeKey> = keys.map(Into::into).collect();
            for variant in &mut self.variants {
                variant.begin(keys.iter().copied())?;
            }
            self.batch.begin(keys.into_iter());
        }
        let attempts = self.draw_and_live_past()?;
        self.prepare();
        Some(attempts)
    }

    /// Works out what all strategies share, when the lives stand at the start of the study.
    fn prepare(&mut self) {
        self.batch.draw_shared();
        let (row, batch) = (self.row, &self.batch);
        self.first_cracks.find(batch);
        for (schedule, events) in self.first_events.iter_mut().enumerate() {
            let of_schedule = || row.strategies.iter().filter(|strategy| strategy.policy.schedule == schedule);
            let Some(strategy) = of_schedule().next() else { continue };
            events.find_false_calls(batch, &strategy.policy);
            let asks = |strategy: &super::plan::StrategyPlan| {
                strategy.policy.keeps_blades_apart
                    || (row.nature.draws_new_blades_ahead && strategy.policy.replaces_every_called_blade())
            };
            if of_schedule().any(asks) {
                events.find(batch, &self.first_cracks, &strategy.policy);
            }
        }
        if self.row.nature.draws_new_blades_ahead {
            self.draw_ahead();
        }
    }

    /// Draws new blades that schedules alone lead to.
    fn draw_ahead(&mut self) {
        let (batch, expected) = (&self.batch, &mut self.expected);
        expected.clear();
        for (schedule, events) in self.first_events.iter().enumerate() {
            let mut strategies = self.row.strategies.iter().map(|strategy| &strategy.policy);
            if !strategies.any(|policy| policy.schedule == schedule && policy.replaces_every_called_blade()) {
                continue;
            }
            for begin in (0..batch.nature.cracks.len()).step_by(Bits::READ) {
                expected.extend(set_bits(events.unsound.read(begin) & lowest(Bits::READ)).map(|number| {
                    let Crack { life, blade, .. } = batch.nature.cracks[begin + number];
                    Replacement { life, blade, outage: events.blade_events[begin + number] / 2 }
                }));
            }
            expected.extend_from_slice(&events.replaced_falsely);
        }
        self.batch.draw_ahead(&self.expected);
    }

    /// One of the lives goes on under one strategy, into a record.
    pub fn follow(&mut self, life: usize, strategy: usize, record: &mut LifeRecord) {
        let own = self.under(strategy);
        let shared = own.begin_life(life, strategy, record);
        // Lives that take blades from a stock are lived with others.
        own.life(life, strategy, record, &mut Stocks::default()).live();
        own.end_life(life, strategy, record, shared);
    }

    /// One of the lives under one strategy.
    fn life<'a>(
        &'a mut self,
        life: usize,
        strategy: usize,
        record: &'a mut LifeRecord,
        stocks: &'a mut Stocks,
    ) -> Life<'a, 'p> {
        let strategy = &self.row.strategies[strategy];
        Life {
            row: self.row,
            strategy,
            batch: &mut self.batch,
            first: &self.first_cracks,
            events: &self.first_events[strategy.policy.schedule],
            room: &mut self.room,
            record,
            stocks,
            life,
        }
    }

    /// Begins the record of a life, with blades to which exactly one thing happens. Returns what is to be given back at
    /// its end.
    fn begin_life(&mut self, life: usize, strategy: usize, record: &mut LifeRecord) -> Mark {
        let strategy = &self.row.strategies[strategy];
        record.begin(&strategy.work);
        if strategy.policy.keeps_blades_apart {
            let events = &self.first_events[strategy.policy.schedule];
            events.count_single(life, self.batch.nature.first_cracks(life), &mut record.work);
        }
        self.batch.mark()
    }

    /// Settles the record of a life, and forgets the cracks that came in it.
    fn end_life(&mut self, life: usize, strategy: usize, record: &mut LifeRecord, shared: Mark) {
        let strategy = &self.row.strategies[strategy];
        let (mut there, mut range) = (&self.first_cracks.there, 0..0);
        if strategy.policy.keeps_blades_apart {
            there = &self.first_events[strategy.policy.schedule].there;
            range = self.batch.nature.first_cracks(life);
        }
        let counted = Occupancy { there, places: &self.first_cracks.places, range };
        record.settle(&strategy.work, &counted, &self.batch.nature.sizes.length_mm);
        self.batch.release(shared);
    }

    fn calendar(&self) -> &'p Calendar {
        &self.row.nature.calendar
    }

    fn policy(&self, strategy: usize) -> &'p Policy {
        &self.row.strategies[strategy].policy
    }

    /// The cracks of the lives, as they stand at the start of the study, and who would call them.
    pub fn batch(&self) -> &RowBatch<'p> {
        &self.batch
    }

    /// What happened to cracks since this was last asked.
    pub fn take_counts(&mut self) -> IntegrationCounts {
        std::mem::take(&mut self.batch.nature.counts)
    }
}
