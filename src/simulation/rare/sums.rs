//! Sums over lives with a planted crack.

use super::PlantedLoss;
use serde::{Deserialize, Serialize};

/// Largest contributions that are kept, for the weight of the tail.
pub(crate) const LARGEST: usize = 100;

/// A number that planted lives tell of, and whose mean over lives is an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Told {
    /// Blades lost in the row.
    Losses,
    /// Probability of any loss in the row.
    AnyLoss,
    /// Its part of the probability of any loss in the rows that are lived together.
    AnyInGroup,
    /// Cost of losses.
    Cost,
    /// The same by study year, but for cost; and the chance that the row's first loss is in that year.
    YearLosses(usize),
    YearAnyLoss(usize),
    YearAnyInGroup(usize),
    YearFirstLoss(usize),
    /// Losses by hot spot.
    HotSpot(usize),
}

/// Sums for one row and one strategy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct PlantedSums {
    years: usize,
    /// Sums and squares of weighted values.
    sum: Vec<f64>,
    square: Vec<f64>,
    /// The most that one life added to each.
    most: Vec<f64>,
    /// Share that plain lives have in each answer, where these tell of it too; the pilot sets it.
    plain_share: Vec<f64>,
    /// Lives in which the planted crack was lost.
    pub events: u64,
    /// Largest weighted losses, the largest first.
    pub largest: Vec<f64>,
    /// Weighted losses of even and of odd batches.
    pub halves: [f64; 2],
}

impl PlantedSums {
    pub fn new(years: usize, hot_spots: usize) -> Self {
        let zero = vec![0.0; 4 + 4 * years + hot_spots];
        PlantedSums {
            years,
            sum: zero.clone(),
            square: zero.clone(),
            most: zero.clone(),
            plain_share: zero,
            events: 0,
            largest: Vec::new(),
            halves: [0.0; 2],
        }
    }

    /// Without any life yet, for a run whose plain and planted lives are so many; `outlook` has what some planted lives of
    /// a pilot came to.
    ///
    /// Where a value is rare, a plain life tells of it with a relative variance of one over its mean.
    pub fn expecting(outlook: &Self, outlook_lives: u64, hot_spots: usize, plain: f64, planted: f64) -> Self {
        let mut sums = PlantedSums::new(outlook.years, hot_spots);
        let n = outlook_lives as f64;
        for (index, share) in sums.plain_share.iter_mut().enumerate() {
            let (sum, square) = (outlook.sum[index], outlook.square[index]);
            if sum > 0.0 {
                let information = plain * sum / n;
                let planted_information = planted / (n * square / (sum * sum) - 1.0).max(0.0);
                *share = information / (information + planted_information);
            }
        }
        if outlook.events == 0 {
            // A pilot that saw no loss says nothing of where they come from: plain lives are all there is.
            sums.plain_share.fill(1.0);
        }
        // The cost of losses goes with their number.
        sums.plain_share[3] = sums.plain_share[0];
        sums
    }

    fn index(&self, told: Told) -> usize {
        match told {
            Told::Losses => 0,
            Told::AnyLoss => 1,
            Told::AnyInGroup => 2,
            Told::Cost => 3,
            Told::YearLosses(year) => 4 + year,
            Told::YearAnyLoss(year) => 4 + self.years + year,
            Told::YearAnyInGroup(year) => 4 + 2 * self.years + year,
            Told::YearFirstLoss(year) => 4 + 3 * self.years + year,
            Told::HotSpot(spot) => 4 + 4 * self.years + spot,
        }
    }

    /// Sum, and sum of squares.
    pub fn of(&self, told: Told) -> [f64; 2] {
        let index = self.index(told);
        [self.sum[index], self.square[index]]
    }

    /// The most that one life added.
    pub fn most_of(&self, told: Told) -> f64 {
        self.most[self.index(told)]
    }

    /// Share that plain lives have in an answer.
    pub fn plain_share(&self, told: Told) -> f64 {
        self.plain_share[self.index(told)]
    }

    /// Leaves all answers to planted lives.
    pub fn leave_plain_out(&mut self) {
        self.plain_share.fill(0.0);
    }

    /// Adds a loss of the planted crack.
    pub fn add(&mut self, &PlantedLoss { fate, hot_spot }: &PlantedLoss, batch: u64) {
        let year = (fate.loss.year as usize).min(self.years - 1);
        let share = |count: u32| fate.weight / f64::from(count);
        let ([losses, of_year], [in_group, in_group_of_year]) = (fate.of_row, fate.of_group);
        for (told, value) in [
            (Told::Losses, fate.weight),
            (Told::AnyLoss, share(losses)),
            (Told::AnyInGroup, share(in_group)),
            (Told::Cost, fate.weight * fate.loss.cost),
            (Told::YearLosses(year), fate.weight),
            (Told::YearAnyLoss(year), share(of_year)),
            (Told::YearAnyInGroup(year), share(in_group_of_year)),
            (Told::YearFirstLoss(year), if fate.loss.is_first { fate.weight } else { 0.0 }),
            (Told::HotSpot(hot_spot as usize), fate.weight),
        ] {
            let index = self.index(told);
            self.sum[index] += value;
            self.square[index] += value * value;
            self.most[index] = self.most[index].max(value);
        }
        self.events += 1;
        self.halves[(batch % 2) as usize] += fate.weight;
        self.keep(fate.weight);
    }

    fn keep(&mut self, weight: f64) {
        let place = self.largest.partition_point(|other| *other >= weight);
        if place < LARGEST {
            self.largest.insert(place, weight);
            self.largest.truncate(LARGEST);
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.sum.iter_mut().zip(&other.sum).for_each(|(to, from)| *to += from);
        self.square.iter_mut().zip(&other.square).for_each(|(to, from)| *to += from);
        self.most.iter_mut().zip(&other.most).for_each(|(to, from)| *to = to.max(*from));
        self.events += other.events;
        self.halves.iter_mut().zip(other.halves).for_each(|(to, from)| *to += from);
        other.largest.iter().for_each(|weight| self.keep(*weight));
    }
}
