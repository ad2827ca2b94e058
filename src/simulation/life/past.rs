//! Lives before the study: the same loop, over the looks that took place then.

use super::Lives;
use super::first_event::FirstEvents;
use super::follow::Life;
use crate::simulation::nature::Crack;
use crate::simulation::plan::StrategyPlan;
use crate::simulation::policy::Stocks;
use std::ops::Range;

/// A row that loses a blade in so many attempts contradicts the fact that it runs.
const MOST_ATTEMPTS: u64 = 1000;

impl<'p> Lives<'p> {
    /// Draws lives, and lives them up to the start of the study; one that loses a blade before is drawn again.
    ///
    /// Returns the number of attempts that all took, or `None` if one never came to the start.
    pub(super) fn draw_and_live_past(&mut self) -> Option<u64> {
        if let Some(given) = self.row.nature.given_records() {
            return self.draw_given_records(given);
        }
        let mut pending: Vec<u32> = (0..self.batch.nature.lives.len() as u32).collect();
        let Some(past) = &self.row.past else {
            self.batch.draw(&pending);
            return Some(pending.len() as u64);
        };
        let (mut attempts, mut kept) = (0, Vec::new());
        for attempt in 0..MOST_ATTEMPTS {
            attempts += pending.len() as u64;
            if attempt > 0 {
                pending.iter().for_each(|&life| self.batch.nature.try_again(life, attempt));
            }
            let mut drawn = self.batch.draw(&pending);
            pending.retain(|&life| {
                let first = self.first_of(life, &mut drawn);
                !self.live_past(past, life, first, &mut kept)
            });
            if pending.is_empty() {
                // Lives that were drawn again came later.
                kept.sort_by_key(|crack| crack.life);
                self.batch.nature.keep(&kept);
                return Some(attempts);
            }
        }
        None
    }

    /// The same for lives with a planted crack, each of which is drawn once.
    pub(super) fn live_planted_past(&mut self) {
        if let Some(given) = self.row.nature.given_records() {
            if self.draw_given_records(given).is_none() {
                self.came_through.fill(false);
            }
            return;
        }
        let lives: Vec<u32> = (0..self.batch.nature.lives.len() as u32).collect();
        let mut drawn = self.batch.draw(&lives);
        self.came_through.clear();
        self.came_through.resize(lives.len(), true);
        let Some(past) = &self.row.past else { return };
        let mut kept = Vec::new();
        for life in lives {
            let first = self.first_of(life, &mut drawn);
            self.came_through[life as usize] = self.live_past(past, life, first, &mut kept);
        }
        self.batch.nature.keep(&kept);
    }

    /// Takes the cracks of a life off those that were drawn, which stand life by life.
    pub(super) fn first_of(&self, life: u32, drawn: &mut Range<u32>) -> Range<u32> {
        let cracks = &self.batch.nature.cracks[drawn.start as usize..drawn.end as usize];
        let own = cracks.iter().take_while(|crack| crack.life == life).count() as u32;
        let first = drawn.start..drawn.start + own;
        drawn.start += own;
        first
    }

    /// Lives one life up to the start of the study, with the cracks that it begins with: whether it came there without
    /// a loss. Then its cracks are kept.
    fn live_past(&mut self, past: &'p StrategyPlan, life: u32, first: Range<u32>, kept: &mut Vec<Crack>) -> bool {
        let start_year = self.row.nature.start_year;
        let nothing = FirstEvents::without_calls(self.batch.nature.lives.len());
        self.record.begin(&past.work);
        let mut followed = Life {
            row: self.row,
            strategy: past,
            batch: &mut self.batch,
            first: &self.first_cracks,
            events: &nothing,
            room: &mut self.room,
            record: &mut self.record,
            // Nothing was taken from stock before the study.
            stocks: &mut Stocks::default(),
            life: life as usize,
        };
        if followed.live_past(first).is_break() {
            return false;
        }
        let cracks = followed.cracks();
        let before = kept.len();
        kept.extend(cracks.cloned());
        if kept[before..].iter().any(|crack| crack.lost_year < start_year) {
            kept.truncate(before);
            return false;
        }
        true
    }
}
