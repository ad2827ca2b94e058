//! What lives tell of a row: its own, or those of all rows that are like it, whose lives are independent.

use super::Comparison;
use super::rare::Answer;
use crate::model::{RowId, StrategyId};
use crate::simulation::observe::Quantity;
use crate::simulation::rare::{PlantedSums, Told};
use crate::simulation::tally::{LifeSums, RowSums};
use std::sync::OnceLock;

/// Sums over the lives of a row, or of several that are alike, under one strategy.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sums<'a> {
    pub lives: &'a LifeSums,
    spots: &'a [[f64; 2]],
    pub planted: &'a PlantedSums,
    /// Trials of all rows, and their lives with a planted crack.
    trials: f64,
    planted_lives: f64,
    /// Chance that a row comes to the start of the study.
    through: f64,
}

/// Sums over rows that are alike, for each row that comes first among them and each strategy; worked out when first asked for.
#[derive(Debug, Default)]
pub(crate) struct Pools(OnceLock<Vec<Option<Pool>>>);

/// It follows from what a comparison holds.
impl PartialEq for Pools {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Clone for Pools {
    fn clone(&self) -> Self {
        Pools::default()
    }
}

#[derive(Debug)]
struct Pool {
    lives: LifeSums,
    spots: Vec<[f64; 2]>,
    planted: PlantedSums,
    tries: u64,
}

impl Pool {
    fn of(comparison: &Comparison, rows: &[RowId], strategy: StrategyId) -> Self {
        let of_row = |row: &RowId| (comparison.row_sums(*row, strategy), comparison.planted_sums(*row, strategy));
        let (RowSums { lives, spots, .. }, planted) = of_row(&rows[0]);
        let tries = rows.iter().map(|row| comparison.tally.tries[row.0]).sum();
        let mut pool = Pool { lives: lives.clone(), spots: spots.clone(), planted: planted.clone(), tries };
        for (RowSums { lives, spots, .. }, planted) in rows[1..].iter().map(of_row) {
            pool.lives.merge(lives);
            let both = pool.spots.iter_mut().flatten().zip(spots.iter().flatten());
            both.for_each(|(to, from)| *to += from);
            pool.planted.merge(planted);
        }
        pool
    }
}

impl Comparison {
    /// What a row's own lives tell.
    pub(super) fn own(&self, row: RowId, strategy: StrategyId) -> Sums<'_> {
        let RowSums { lives, spots, .. } = self.row_sums(row, strategy);
        self.sums(lives, spots, self.planted_sums(row, strategy), 1, self.tally.tries[row.0])
    }

    /// What the lives of all rows tell that are like a row.
    pub(super) fn alike(&self, row: RowId, strategy: StrategyId) -> Sums<'_> {
        let rows = self.study.rows_like(row);
        let pools = self.pools.0.get_or_init(|| {
            let all = self.study.row_ids().flat_map(|row| self.study.strategy_ids().map(move |one| (row, one)));
            all.map(|(row, strategy)| {
                let rows = self.study.rows_like(row);
                (rows[0] == row && rows.len() > 1).then(|| Pool::of(self, rows, strategy))
            })
            .collect()
        });
        match &pools[rows[0].0 * self.study.strategies.len() + strategy.0] {
            Some(Pool { lives, spots, planted, tries }) => self.sums(lives, spots, planted, rows.len(), *tries),
            None => self.own(row, strategy),
        }
    }

    fn sums<'a>(
        &self,
        lives: &'a LifeSums,
        spots: &'a [[f64; 2]],
        planted: &'a PlantedSums,
        rows: usize,
        tries: u64,
    ) -> Sums<'a> {
        let rows = rows as f64;
        let trials = self.tally.trials as f64 * rows;
        let planted_lives = self.tally.planted_lives as f64 * rows;
        Sums { lives, spots, planted, trials, planted_lives, through: trials / tries as f64 }
    }
}

impl Sums<'_> {
    pub fn trials(&self) -> f64 {
        self.trials
    }

    pub fn planted_lives(&self) -> f64 {
        self.planted_lives
    }

    /// What planted lives tell, given that the row came to the start of the study.
    pub fn planted(&self, told: Told) -> Answer {
        self.planted_any(std::iter::once(told))
    }

    /// The same of one of several things, of which no life has two.
    pub fn planted_any(&self, told: impl Iterator<Item = Told>) -> Answer {
        let ([sum, square], most) = told.fold(([0.0; 2], 0.0_f64), |([sum, square], most), told| {
            let [own, own_square] = self.planted.of(told);
            ([sum + own, square + own_square], most.max(self.planted.most_of(told)))
        });
        let n = self.planted_lives;
        let (mean, square) = (sum / n, square / n);
        let scatter = (square - mean * mean).max(0.0) / n;
        // That chance is known from plain lives.
        let of_through = mean * mean * (1.0 - self.through) / self.trials;
        Answer {
            value: mean / self.through,
            variance: (scatter + of_through) / (self.through * self.through),
            largest: most / (n * self.through),
        }
    }

    /// Mean of a sum over plain lives, of which each adds no more than 1.
    pub fn plain(&self, [sum, square]: [f64; 2]) -> Answer {
        Answer::of_lives(self.trials, sum, square)
    }

    /// Sum, and sum of squares, over plain lives; zero where these do not tell of it.
    pub fn plain_of(&self, told: Told) -> [f64; 2] {
        let lives = self.lives;
        match told {
            Told::AnyLoss => [lives.sum[Quantity::AnyLoss as usize]; 2],
            Told::YearLosses(year) => [lives.losses[year], lives.losses_square[year]],
            Told::YearAnyLoss(year) => [lives.years_with_loss[year]; 2],
            Told::CostAbove(level) => [lives.cost_above[level]; 2],
            Told::YearFirstLoss(year) => [lives.first_losses[year]; 2],
            Told::HotSpot(spot) => self.spots[spot],
            Told::Losses
            | Told::Cost
            | Told::AnyInUnit
            | Told::YearAnyInUnit(_)
            | Told::AnyInGroup
            | Told::YearAnyInGroup(_)
            | Told::YearFirstInGroup(_) => [0.0; 2],
        }
    }

    /// Plain lives with their share, and planted ones with the rest.
    pub fn both(&self, told: Told) -> Answer {
        let share = self.planted.plain_share(told);
        self.plain(self.plain_of(told)).times(share).and(self.planted(told).times(1.0 - share))
    }

    /// That there was a loss until the end of a year.
    pub fn any_until(&self, year: usize) -> Answer {
        let plain: f64 = self.lives.first_losses[..=year].iter().sum();
        let planted = self.planted_any((0..=year).map(Told::YearFirstLoss));
        let share = self.planted.plain_share(Told::AnyLoss);
        self.plain([plain; 2]).times(share).and(planted.times(1.0 - share))
    }
}
