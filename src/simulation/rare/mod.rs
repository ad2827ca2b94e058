//! Rare losses: lives with a planted crack, and what they say.
//!
//! Each loss ends exactly one crack. So the expected number of losses is the sum, over the places where a crack can begin,
//! of the probability that it does and ends in a loss; one place is chosen in each life, with numbers that favour a loss
//! ([`proposal`]), and the life's weight makes up for that. Where losses come from is learned from lives that count for
//! nothing else ([`pilot`]).

mod pilot;
mod proposal;
mod sums;

pub(crate) use pilot::tune;
pub(crate) use proposal::Proposal;
pub(crate) use sums::{PlantedSums, Place};

use super::life::{PlantedFate, UnitLives};
use super::plan::{RowPlan, UnitPlan};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::random::Key;
use std::ops::Range;

/// What draws of lives with planted cracks are for, by the child of the row's key; others are trials, by number.
mod purpose {
    use crate::random::hash_name;

    pub fn planted() -> u64 {
        hash_name("planted lives")
    }

    pub fn pilot() -> u64 {
        hash_name("pilot lives")
    }
}

/// Lives of one row with a planted crack each.
pub(crate) struct PlantedLives<'a, 'p> {
    pub study: &'a Study,
    pub rows: &'p [RowPlan],
    pub unit: &'p UnitPlan,
    /// Place of the row in its unit.
    pub place: usize,
    /// Key of the lives of a row, from which each has a child by number.
    pub key: &'a dyn Fn(usize) -> Key,
}

impl PlantedLives<'_, '_> {
    /// Lives some, by number, under every strategy; `told` learns of each loss of a planted crack.
    pub fn live(
        &self,
        lives: &mut UnitLives,
        proposal: &Proposal,
        numbers: Range<u64>,
        mut told: impl FnMut(usize, usize, &PlantedFate),
    ) -> Result<()> {
        let row = self.unit.rows[self.place];
        let keys = |place: usize| {
            let key = (self.key)(self.unit.rows[place]);
            numbers.clone().map(|number| key.child(number)).collect::<Vec<Key>>()
        };
        let planted = keys(self.place).into_iter().map(|key| proposal.draw(&self.rows[row].nature, key)).collect();
        let never = |place: usize| Error::never_comes_through(&self.study.rows[self.unit.rows[place]].id);
        lives.begin_planted(self.place, keys, planted).map_err(never)?;
        for life in 0..(numbers.end - numbers.start) as usize {
            for strategy in 0..self.study.strategies.len() {
                if let Some(fate) = lives.follow_planted(self.place, life, strategy) {
                    told(life, strategy, &fate);
                }
            }
        }
        Ok(())
    }
}
