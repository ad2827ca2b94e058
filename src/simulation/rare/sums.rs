//! Sums over lives with a planted crack.

use super::PlantedLoss;
use crate::simulation::life::LossCounts;
use crate::simulation::observe::COST_LEVELS;
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
    /// The same of those of its unit.
    AnyInUnit,
    /// Cost of losses.
    Cost,
    /// By study year: blades lost, the probability of any, and its part of that of any in the rows that are lived together,
    /// and in those of its unit.
    YearLosses(usize),
    YearAnyLoss(usize),
    YearAnyInGroup(usize),
    YearAnyInUnit(usize),
    /// The probability that the first loss is in that year: of the row, and its part of that of all together.
    YearFirstLoss(usize),
    YearFirstInGroup(usize),
    /// The probability that all losses of the row cost more than a level.
    CostAbove(usize),
    /// Losses by hot spot.
    HotSpot(usize),
}

/// Where the numbers stand: those of the horizon first, then cost levels, years and hot spots.
const FIRST_LEVEL: usize = 5;
const YEARS: usize = FIRST_LEVEL + COST_LEVELS;
const YEARLY: usize = 6;

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
    /// Weighted losses of even and of odd lives.
    pub halves: [f64; 2],
}

impl PlantedSums {
    pub fn new(years: usize, hot_spots: usize) -> Self {
        let zero = vec![0.0; YEARS + YEARLY * years + hot_spots];
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

    fn of_year(&self, number: usize, year: usize) -> usize {
        YEARS + number * self.years + year
    }

    fn index(&self, told: Told) -> usize {
        match told {
            Told::Losses => 0,
            Told::AnyLoss => 1,
            Told::AnyInGroup => 2,
            Told::Cost => 3,
            Told::AnyInUnit => 4,
            Told::CostAbove(level) => FIRST_LEVEL + level,
            Told::YearLosses(year) => self.of_year(0, year),
            Told::YearAnyLoss(year) => self.of_year(1, year),
            Told::YearAnyInGroup(year) => self.of_year(2, year),
            Told::YearFirstLoss(year) => self.of_year(3, year),
            Told::YearFirstInGroup(year) => self.of_year(4, year),
            Told::YearAnyInUnit(year) => self.of_year(5, year),
            Told::HotSpot(spot) => YEARS + YEARLY * self.years + spot,
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
    pub fn add(&mut self, &PlantedLoss { fate, hot_spot }: &PlantedLoss, life: u64) {
        let year = (fate.loss.year as usize).min(self.years - 1);
        let share = |count: u32| fate.weight / f64::from(count);
        let (row, unit, group) = (fate.of_row, fate.of_unit, fate.of_group);
        let first = |of: LossCounts| if of.before == 0 { share(of.same_year) } else { 0.0 };
        let told = [
            (Told::Losses, fate.weight),
            (Told::AnyLoss, share(row.all)),
            (Told::AnyInGroup, share(group.all)),
            (Told::AnyInUnit, share(unit.all)),
            (Told::Cost, fate.weight * fate.loss.cost),
            (Told::YearLosses(year), fate.weight),
            (Told::YearAnyLoss(year), share(row.same_year)),
            (Told::YearAnyInGroup(year), share(group.same_year)),
            (Told::YearAnyInUnit(year), share(unit.same_year)),
            (Told::YearFirstLoss(year), first(row)),
            (Told::YearFirstInGroup(year), first(group)),
            (Told::HotSpot(hot_spot as usize), fate.weight),
        ];
        let levels = (0..fate.levels_passed).map(|level| (Told::CostAbove(level), share(row.all)));
        for (told, value) in told.into_iter().chain(levels) {
            let index = self.index(told);
            self.sum[index] += value;
            self.square[index] += value * value;
            self.most[index] = self.most[index].max(value);
        }
        self.events += 1;
        self.halves[(life % 2) as usize] += fate.weight;
        self.keep(fate.weight);
    }

    /// As if the lives told this share of the losses in a year.
    #[cfg(test)]
    pub fn tell_less_of(&mut self, year: usize, share: f64) {
        let index = self.index(Told::YearLosses(year));
        self.sum[index] *= share;
        self.square[index] *= share * share;
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
