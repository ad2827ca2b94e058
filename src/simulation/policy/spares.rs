//! Spare blades in stock: who gets one, new or used, who waits for one, and who runs on without.

use crate::model::economics::DAYS_PER_YEAR;
use crate::model::fleet::Row;
use crate::model::strategy::{Strategy, UsedBlades, WithoutSpare};
use std::collections::VecDeque;

/// The stocks of a strategy in one life, which rows of several units may share.
#[derive(Debug, Default)]
pub(crate) struct Stocks(Vec<Stock>);

/// What is there, and the moments from which what was ordered is, in order: who asks later never gets one earlier.
#[derive(Debug, Default)]
struct Stock {
    there: u32,
    /// Used ones that are left.
    used: usize,
    arrivals: VecDeque<f64>,
}

impl Stock {
    /// Blades that are there at a moment.
    fn there_by(&self, year: f64) -> usize {
        self.there as usize + self.arrivals.iter().take_while(|arrival| **arrival <= year).count()
    }
}

impl Stocks {
    /// Begins a life, with so many blades in each, new ones and used ones.
    pub fn begin(&mut self, blades: &[[u32; 2]]) {
        self.0.resize_with(blades.len(), Stock::default);
        for (stock, &[new, used]) in self.0.iter_mut().zip(blades) {
            (stock.there, stock.used) = (new, used as usize);
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
    pub used_blades: Option<UsedBlades>,
}

/// Which blades are at hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum AtHand {
    New,
    Used,
}

/// What spares, or the want of them, did to a row at one outage.
#[derive(Debug, Default)]
pub(crate) struct ShortOfSpares {
    /// Days until the last blade that is waited for is there.
    pub wait_days: f64,
    /// Called blades that run on.
    pub run_on: u32,
    /// Blades whose place used ones take.
    pub used: Vec<u32>,
}

impl ShortOfSpares {
    pub fn clear(&mut self) {
        (self.wait_days, self.run_on) = (0.0, 0);
        self.used.clear();
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
            used_blades: stated.used_blades,
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
            } else if let Some(arrival) = stock.arrivals.pop_front() {
                last = last.max(arrival);
            }
        }
        (last - year) * DAYS_PER_YEAR
    }

    /// Orders blades at a moment.
    pub fn order(&self, stocks: &mut Stocks, blades: usize, year: f64) {
        stocks.0[self.stock].arrivals.extend(std::iter::repeat_n(year + self.lead_years, blades));
    }

    /// Takes used blades, in place of which none are ordered.
    pub fn take_used(&self, stocks: &mut Stocks, blades: usize) {
        stocks.0[self.stock].used -= blades;
    }

    /// Which blades are at hand at a moment, so many of one kind: new ones before used ones.
    pub fn at_hand(&self, stocks: &Stocks, blades: usize, year: f64) -> Option<AtHand> {
        let stock = &stocks.0[self.stock];
        if stock.there_by(year) >= blades {
            return Some(AtHand::New);
        }
        (stock.used >= blades).then_some(AtHand::Used)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAD_YEARS: f64 = 0.5;
    const LEAD_DAYS: f64 = 0.5 * DAYS_PER_YEAR;
    const NEW: Option<AtHand> = Some(AtHand::New);
    const USED: Option<AtHand> = Some(AtHand::Used);

    fn spares(blades: u32) -> (Spares, Stocks) {
        let spares =
            Spares { stock: 0, lead_years: LEAD_YEARS, may_run_on: true, cost_per_year: 0.0, used_blades: None };
        let mut stocks = Stocks::default();
        stocks.begin(&[[blades, 0]]);
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
        assert_eq!(spares.at_hand(&stocks, 2, 1.0), None);
        spares.order(&mut stocks, 2, 1.0);
        assert_eq!([(2, 1.25), (3, 1.5)].map(|(blades, year)| spares.at_hand(&stocks, blades, year)), [None, NEW]);
        // They take what was ordered for them, and none is ordered in its place: one is left, as in the beginning.
        assert_eq!(spares.take(&mut stocks, 2, 0, 1.5), 0.0);
        assert_eq!([(1, 1.5), (2, 9.0)].map(|(blades, year)| spares.at_hand(&stocks, blades, year)), [NEW, None]);
    }

    #[test] // by hand
    fn used_blades_are_at_hand_where_too_few_new_ones_are_and_do_not_come_again() {
        let (spares, mut stocks) = spares(1);
        stocks.begin(&[[1, 3]]);
        let at_hand = |stocks: &Stocks, blades| spares.at_hand(stocks, blades, 1.0);
        assert_eq!([1, 2, 3, 4].map(|blades| at_hand(&stocks, blades)), [NEW, USED, USED, None]);
        spares.take_used(&mut stocks, 2);
        assert_eq!([1, 2].map(|blades| at_hand(&stocks, blades)), [NEW, None]);
        spares.take(&mut stocks, 1, 1, 1.0);
        assert_eq!([1, 2].map(|blades| at_hand(&stocks, blades)), [USED, None]);
        spares.take_used(&mut stocks, 1);
        // The new one that was ordered, and no other.
        let later = |stocks: &Stocks, blades| spares.at_hand(stocks, blades, 1.5);
        assert_eq!((at_hand(&stocks, 1), later(&stocks, 1), later(&stocks, 2)), (None, NEW, None));
        // Another life has them all again.
        stocks.begin(&[[1, 3]]);
        assert_eq!(at_hand(&stocks, 3), USED);
    }
}
