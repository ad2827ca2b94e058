//! Spare blades in stock: who gets one, who waits for one, and who runs on without.

use crate::model::economics::DAYS_PER_YEAR;
use crate::model::fleet::Row;
use crate::model::strategy::{Strategy, WithoutSpare};
use std::collections::VecDeque;

/// The stocks of a strategy in one life, which rows of several units may share.
#[derive(Debug, Default)]
pub(crate) struct Stocks(Vec<Stock>);

/// What is there, and the moments from which what was ordered is, in order: who asks later never gets one earlier.
#[derive(Debug, Default)]
struct Stock {
    there: u32,
    arrivals: VecDeque<f64>,
}

impl Stock {
    /// Blades that are there at a moment.
    fn there_by(&self, year: f64) -> usize {
        self.there as usize + self.arrivals.iter().take_while(|arrival| **arrival <= year).count()
    }
}

impl Stocks {
    /// Begins a life, with so many blades in each.
    pub fn begin(&mut self, blades: &[u32]) {
        self.0.resize_with(blades.len(), Stock::default);
        for (stock, &blades) in self.0.iter_mut().zip(blades) {
            stock.there = blades;
            stock.arrivals.clear();
        }
    }
}

/// How a row takes blades from one of them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spares {
    /// Number of the stock.
    stock: usize,
    lead_years: f64,
    /// Whether called blades run on where none is there.
    pub may_run_on: bool,
    /// What holding the stock costs each year, as far as the row bears it.
    pub cost_per_year: f64,
}

/// What spares, or the want of them, did to a row at one outage.
#[derive(Debug, Default)]
pub(crate) struct ShortOfSpares {
    /// Days until the last blade that is waited for is there.
    pub wait_days: f64,
    /// Called blades that run on.
    pub run_on: u32,
    /// Blades of groups for which not all were there.
    pub refused: Vec<u32>,
}

impl ShortOfSpares {
    pub fn clear(&mut self) {
        (self.wait_days, self.run_on) = (0.0, 0);
        self.refused.clear();
    }

    /// New blades are waited for so long.
    pub fn wait(&mut self, days: f64) {
        self.wait_days = self.wait_days.max(days);
    }
}

impl Spares {
    /// Of a row under a strategy; rows of the same stock, itself among them, are so many.
    pub fn new(
        row: &Row,
        strategy: &Strategy,
        rows: impl Fn(&crate::model::strategy::Spares) -> usize,
    ) -> Option<Self> {
        let stock = strategy.spares.iter().position(|stock| stock.is_of(row.root))?;
        let stated = &strategy.spares[stock];
        Some(Spares {
            stock,
            lead_years: stated.lead_days / DAYS_PER_YEAR,
            may_run_on: stated.without == WithoutSpare::RunOnWatched,
            cost_per_year: stated.cost_per_year / rows(stated) as f64,
        })
    }

    /// Takes blades at a moment, in place of which so many are ordered: the days until the last is there. Others were ordered
    /// before.
    pub fn take(&self, stocks: &mut Stocks, blades: usize, orders: usize, year: f64) -> f64 {
        self.order(stocks, orders, year);
        let stock = &mut stocks.0[self.stock];
        let mut last = year;
        for _ in 0..blades {
            if stock.there > 0 {
                stock.there -= 1;
            } else if let Some(arrival) = stock.arrivals.pop_front()
                && arrival > last
            {
                last = arrival;
            }
        }
        (last - year) * DAYS_PER_YEAR
    }

    /// Orders blades at a moment.
    pub fn order(&self, stocks: &mut Stocks, blades: usize, year: f64) {
        stocks.0[self.stock].arrivals.extend(std::iter::repeat_n(year + self.lead_years, blades));
    }

    /// Whether so many are there at a moment.
    pub fn are_there(&self, stocks: &Stocks, blades: usize, year: f64) -> bool {
        stocks.0[self.stock].there_by(year) >= blades
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAD_YEARS: f64 = 0.5;
    const LEAD_DAYS: f64 = 0.5 * DAYS_PER_YEAR;

    fn spares(blades: u32) -> (Spares, Stocks) {
        let spares = Spares { stock: 0, lead_years: LEAD_YEARS, may_run_on: true, cost_per_year: 0.0 };
        let mut stocks = Stocks::default();
        stocks.begin(&[blades]);
        (spares, stocks)
    }

    #[test] // by hand; all moments are binary fractions
    fn who_asks_for_a_blade_waits_for_the_one_that_comes_next() {
        let (spares, mut stocks) = spares(2);
        let mut take = |blades, year| spares.take(&mut stocks, blades, blades, year);
        assert_eq!(take(1, 1.0), 0.0);
        // One is there, and the other comes at 1.5.
        assert_eq!(take(2, 1.25), 0.25 * DAYS_PER_YEAR);
        // Both come at 1.75, and so does none before.
        assert_eq!(take(1, 1.25), 0.5 * DAYS_PER_YEAR);
        assert_eq!(take(1, 2.0), 0.0);
        assert_eq!(take(3, 2.0), LEAD_DAYS);
        let (none, mut stocks) = self::spares(0);
        assert_eq!([1.0, 1.125, 4.0].map(|year| none.take(&mut stocks, 1, 1, year)), [LEAD_DAYS; 3]);
    }

    #[test] // by hand
    fn a_blade_that_runs_on_has_one_ordered_for_it_once() {
        let (spares, mut stocks) = spares(1);
        // Two are not there, and two are ordered: of the one that is and them, two are from 1.5 on.
        assert!(!spares.are_there(&stocks, 2, 1.0));
        spares.order(&mut stocks, 2, 1.0);
        assert!(!spares.are_there(&stocks, 2, 1.25) && spares.are_there(&stocks, 3, 1.5));
        // They take what was ordered for them, and none is ordered in its place: one is left, as in the beginning.
        assert_eq!(spares.take(&mut stocks, 2, 0, 1.5), 0.0);
        assert!(spares.are_there(&stocks, 1, 1.5) && !spares.are_there(&stocks, 2, 9.0));
    }

    #[test]
    fn a_blade_may_run_on_by_any_guess_where_it_is_not_waited_for() {
        let (spares, stocks) = spares(1);
        let guess = |spares: &Spares, blades| spares.guessed_chance_to_run_on(&stocks, blades, 1.0);
        let [there, not_there] = [1, 2].map(|blades| guess(&spares, blades));
        assert!(0.0 < there && there < not_there && not_there < 1.0);
        let waits = Spares { may_run_on: false, ..spares };
        assert_eq!([1, 2].map(|blades| guess(&waits, blades)), [0.0; 2]);
    }
}
