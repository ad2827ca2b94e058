//! What one life of a row under one strategy comes to.

use super::plan::{RowPlan, StrategyPlan};
use super::population::{Crack, SPARE};
use crate::bits::{Numbers, WORD, lowest};
use crate::math::LANES;
use crate::model::detection::Access;
use crate::model::economics::Money;
use multiversion::multiversion;
use std::ops::Range;

/// A number that each life has, and whose mean over lives is an answer.
///
/// Costs are discounted; days are not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
pub enum Quantity {
    /// 1 if any blade was lost.
    AnyLoss,
    /// Blades lost.
    Losses,
    /// Blades replaced at outages one by one.
    BladesReplaced,
    /// Of them, blades without a crack.
    FalselyReplaced,
    /// Whole rows replaced.
    RowsReplaced,
    /// Cracks called by a look that stood: each once at each outage at which it was called, whoever called it.
    CracksFound,
    /// Outages at which a scheduled look called something.
    OutagesWithCalls,
    /// 1 if a second look was ever called for.
    Escalated,
    /// Times that the blades came out.
    TimesOut,
    /// All costs.
    Cost,
    /// Costs of looks.
    LookCost,
    /// Costs of taking blades out and putting them back.
    BladesOutCost,
    /// Costs of new blades and rows.
    ReplacementCost,
    /// Costs of days beyond the window.
    ExtraDayCost,
    /// Costs of losses, forced days included.
    LossCost,
    /// Days of work at outages and of forced outages.
    Days,
    /// Days of looks.
    LookDays,
    /// Days of taking blades out and putting them back.
    BladesOutDays,
    /// Days of fitting new blades.
    ReplacementDays,
    /// Days of forced outages.
    ForcedDays,
}

impl Quantity {
    /// Every quantity, in order.
    pub const ALL: [Quantity; 20] = [
        Quantity::AnyLoss,
        Quantity::Losses,
        Quantity::BladesReplaced,
        Quantity::FalselyReplaced,
        Quantity::RowsReplaced,
        Quantity::CracksFound,
        Quantity::OutagesWithCalls,
        Quantity::Escalated,
        Quantity::TimesOut,
        Quantity::Cost,
        Quantity::LookCost,
        Quantity::BladesOutCost,
        Quantity::ReplacementCost,
        Quantity::ExtraDayCost,
        Quantity::LossCost,
        Quantity::Days,
        Quantity::LookDays,
        Quantity::BladesOutDays,
        Quantity::ReplacementDays,
        Quantity::ForcedDays,
    ];

    /// Name of the result column.
    pub fn name(self) -> &'static str {
        match self {
            Quantity::AnyLoss => "p_any_loss",
            Quantity::Losses => "losses",
            Quantity::BladesReplaced => "blades_replaced",
            Quantity::FalselyReplaced => "blades_replaced_on_false_calls",
            Quantity::RowsReplaced => "rows_replaced",
            Quantity::CracksFound => "cracks_found",
            Quantity::OutagesWithCalls => "outages_with_calls",
            Quantity::Escalated => "p_escalated",
            Quantity::TimesOut => "times_blades_out",
            Quantity::Cost => "cost",
            Quantity::LookCost => "look_cost",
            Quantity::BladesOutCost => "blades_out_cost",
            Quantity::ReplacementCost => "replacement_cost",
            Quantity::ExtraDayCost => "extra_day_cost",
            Quantity::LossCost => "loss_cost",
            Quantity::Days => "days",
            Quantity::LookDays => "look_days",
            Quantity::BladesOutDays => "blades_out_days",
            Quantity::ReplacementDays => "replacement_days",
            Quantity::ForcedDays => "forced_days",
        }
    }

    /// Whether it is 0 or 1 in each life, so that its mean is a probability.
    pub fn is_probability(self) -> bool {
        matches!(self, Quantity::AnyLoss | Quantity::Escalated)
    }
}

/// One number for each [`Quantity`].
pub(crate) type Values = [f64; Quantity::ALL.len()];

/// What is done at an outage beyond what was planned there.
#[derive(Debug, Clone, Copy, Default)]
struct Extra {
    look_cost: f64,
    look_days: f64,
    new_blades: u32,
    /// Of them, in place of blades without a crack.
    falsely: u32,
    cracks_found: u32,
    new_row: bool,
    blades_out: bool,
    called: bool,
}

/// Cracks that were in the row, and after which outages.
#[derive(Debug, Default)]
struct Stays {
    count: usize,
    /// For each word's worth of outages those after which each crack was there, as bits. What stands behind the last
    /// crack means nothing.
    there: Vec<Vec<u64>>,
    /// Of each the place of the length that it would have at the first outage; see [`Crack::origin_place`].
    places: Vec<u32>,
}

/// A range of many cracks that were in a row; see [`Stays`].
pub(crate) struct Presence<'a> {
    pub there: &'a [Vec<u64>],
    pub places: &'a [u32],
    pub range: Range<usize>,
}

impl Stays {
    /// Makes room for more, in whole blocks.
    #[inline(always)]
    fn make_room(&mut self, more: usize) {
        let room = (self.count + more).next_multiple_of(BLOCK);
        if self.places.len() < room {
            self.there.iter_mut().for_each(|there| there.resize(room, 0));
            self.places.resize(room, 0);
        }
    }
}

/// Stays that are copied together.
const BLOCK: usize = 2 * LANES;

/// Copies a list in whole blocks, without a guess how long it is.
#[inline(always)]
fn copy_blocks<T: Copy>(from: &[T], to: &mut [T], count: usize) {
    let blocks = to.as_chunks_mut::<BLOCK>().0.iter_mut().zip(from.as_chunks::<BLOCK>().0);
    blocks.take(count.div_ceil(BLOCK)).for_each(|(to, from)| *to = *from);
}

/// What one life of a row under one strategy comes to; reused from life to life.
#[derive(Debug)]
pub(crate) struct Record {
    pub values: Values,
    /// Study year of each loss, from 0.
    pub loss_years: Vec<u32>,
    /// Cracks in the row just after each outage.
    pub cracks: Vec<[f64; GROUP]>,
    /// Sum of their lengths, in mm.
    pub total_mm: Vec<[f64; GROUP]>,
    /// Length of the longest, in mm; zero if there is none.
    pub longest_mm: Vec<[f64; GROUP]>,
    stays: Stays,
    extras: Vec<Extra>,
    touched: Numbers,
    money: Money,
}

impl Record {
    pub fn new(outages: usize, money: &Money) -> Self {
        let mut touched = Numbers::default();
        touched.clear(outages);
        Record {
            values: [0.0; Quantity::ALL.len()],
            loss_years: Vec::new(),
            cracks: vec![[0.0; GROUP]; outages.div_ceil(GROUP)],
            total_mm: vec![[0.0; GROUP]; outages.div_ceil(GROUP)],
            longest_mm: vec![[0.0; GROUP]; outages.div_ceil(GROUP)],
            stays: Stays { there: vec![Vec::new(); outages.div_ceil(WORD)], ..Stays::default() },
            extras: vec![Extra::default(); outages],
            touched,
            money: money.clone(),
        }
    }

    /// Makes it ready for another life under a strategy: with what that plans.
    pub fn begin(&mut self, strategy: &StrategyPlan) {
        self.values = strategy.planned_values;
        self.loss_years.clear();
        self.stays.count = 0;
    }

    #[inline(always)]
    pub fn add(&mut self, quantity: Quantity, amount: f64) {
        self.values[quantity as usize] += amount;
    }

    #[inline(always)]
    pub fn set(&mut self, quantity: Quantity, amount: f64) {
        self.values[quantity as usize] = amount;
    }

    /// A blade was lost so many years after the start of the study.
    pub fn lose(&mut self, years: f64, cost: f64, forced_days: f64) {
        self.set(Quantity::AnyLoss, 1.0);
        self.add(Quantity::Losses, 1.0);
        self.loss_years.push(years.max(0.0) as u32);
        if cost != 0.0 {
            self.add(Quantity::LossCost, cost * self.money.present_value(years));
        }
        self.add(Quantity::ForcedDays, forced_days);
    }

    #[inline(always)]
    fn extra(&mut self, outage: usize) -> &mut Extra {
        self.touched.insert(outage as u32);
        &mut self.extras[outage]
    }

    /// A blade on which some cracks, or none, were called was replaced at an outage.
    #[inline]
    pub fn replace_blade(&mut self, outage: usize, cracks: u32) {
        let extra = self.extra(outage);
        extra.cracks_found += cracks;
        extra.new_blades += 1;
        extra.falsely += u32::from(cracks == 0);
        extra.called = true;
    }

    /// A blade was replaced at an outage.
    #[inline]
    pub fn replace_one(&mut self, outage: usize, falsely: bool) {
        let extra = self.extra(outage);
        extra.new_blades += 1;
        extra.falsely += u32::from(falsely);
    }

    /// Blades were called and replaced at an outage: cracked ones, clean ones, and the cracks that were called.
    #[inline]
    pub fn replace_called(&mut self, outage: usize, [cracked, clean]: [u32; 2], cracks: u32) {
        let extra = self.extra(outage);
        extra.new_blades += cracked + clean;
        extra.falsely += clean;
        extra.cracks_found += cracks;
        extra.called = true;
    }

    /// Cracks were called at an outage by looks that counted.
    #[inline]
    pub fn find(&mut self, outage: usize, cracks: u32) {
        self.extra(outage).cracks_found += cracks;
    }

    /// The whole row was replaced at an outage.
    pub fn replace_row(&mut self, outage: usize) {
        self.add(Quantity::RowsReplaced, 1.0);
        self.extra(outage).new_row = true;
    }

    /// The whole row was replaced after a loss, during the forced outage.
    pub fn pay_row(&mut self, row: &RowPlan, strategy: &StrategyPlan, year: f64) {
        let value = self.money.present_value(year - row.start_year);
        self.add(Quantity::ReplacementCost, value * strategy.prices.row);
    }

    /// A look at an outage that was not planned.
    pub fn look(&mut self, outage: usize, cost: f64, days: f64, access: Access) {
        let extra = self.extra(outage);
        extra.look_cost += cost;
        extra.look_days += days;
        extra.blades_out |= access == Access::BladesOut;
    }

    /// A scheduled look called something at an outage.
    #[inline]
    pub fn mark_called(&mut self, outage: usize) {
        self.extra(outage).called = true;
    }

    /// A crack was in the row after each outage from its start up to, not including, `until`.
    #[inline(always)]
    pub fn present(&mut self, crack: &Crack, until: usize) {
        let stays = &mut self.stays;
        stays.make_room(1);
        for (word, there) in stays.there.iter_mut().enumerate() {
            there[stays.count] = crack.there(word) & lowest(until.saturating_sub(word * WORD));
        }
        stays.places[stays.count] = crack.origin_place();
        stays.count += 1;
    }

    /// A life's own of the first cracks were in the row for as long as they live; said before any other. Behind the
    /// last of all lives stands a block of numbers that mean nothing.
    #[inline(always)]
    pub fn present_first(&mut self, there: &[Vec<u64>], places: &[u32], own: Range<usize>) {
        let stays = &mut self.stays;
        stays.make_room(own.len());
        for (to, from) in stays.there.iter_mut().zip(there) {
            copy_blocks(&from[own.start..], to, own.len());
        }
        copy_blocks(&places[own.start..], &mut stays.places, own.len());
        stays.count = own.len();
    }

    /// A crack that was said to be present, by its number in that order, left at an outage.
    #[inline(always)]
    pub fn leave(&mut self, number: usize, outage: usize) {
        for (word, there) in self.stays.there.iter_mut().enumerate() {
            there[number] &= lowest(outage.saturating_sub(word * WORD));
        }
    }

    /// As [`Record::leave`], for cracks from a number on, as bits.
    #[inline(always)]
    pub fn leave_each(&mut self, from: usize, numbers: u64, outage: usize) {
        for (word, there) in self.stays.there.iter_mut().enumerate() {
            keep_each(&mut there[from..], numbers, lowest(outage.saturating_sub(word * WORD)));
        }
    }

    /// Prices what was done, and counts what was in the row: the cracks that were said to be present, and `first`;
    /// `length_mm` has the lengths.
    pub fn settle(&mut self, row: &RowPlan, strategy: &StrategyPlan, first: &Presence, length_mm: &[f64]) {
        while let Some(outage) = self.touched.pop() {
            let extra = std::mem::take(&mut self.extras[outage as usize]);
            self.price(row, strategy, outage as usize, &extra);
        }
        let sum =
            |values: &Values, from: Quantity, to: Quantity| values[from as usize..=to as usize].iter().sum::<f64>();
        self.set(Quantity::Cost, sum(&self.values, Quantity::LookCost, Quantity::LossCost));
        self.set(Quantity::Days, sum(&self.values, Quantity::LookDays, Quantity::ForcedDays));
        let own = Presence { there: &self.stays.there, places: &self.stays.places, range: 0..self.stays.count };
        add_stays(&[first, &own], length_mm, &mut self.cracks, &mut self.total_mm, &mut self.longest_mm);
    }

    fn price(&mut self, row: &RowPlan, strategy: &StrategyPlan, outage: usize, extra: &Extra) {
        let planned = &strategy.planned[outage];
        let prices = &strategy.prices;
        let value = row.value_at_outage[outage];
        let (new_cost, new_days) = if extra.new_row {
            (prices.row, prices.row_days)
        } else {
            (f64::from(extra.new_blades) * prices.blade, f64::from(extra.new_blades) * prices.blade_days)
        };
        let out = if (extra.blades_out || extra.new_row) && !planned.blades_out { 1.0 } else { 0.0 };
        let out_days = out * prices.blades_out_days;
        let days = planned.days + extra.look_days + out_days + new_days;
        let beyond = (days - prices.window_days).max(0.0) - planned.days_beyond;
        self.add(Quantity::BladesReplaced, f64::from(extra.new_blades));
        self.add(Quantity::FalselyReplaced, f64::from(extra.falsely));
        self.add(Quantity::CracksFound, f64::from(extra.cracks_found));
        self.add(Quantity::OutagesWithCalls, f64::from(u8::from(extra.called)));
        self.add(Quantity::TimesOut, out);
        self.add(Quantity::LookCost, value * extra.look_cost);
        self.add(Quantity::BladesOutCost, value * out * prices.blades_out);
        self.add(Quantity::ReplacementCost, value * new_cost);
        self.add(Quantity::ExtraDayCost, value * beyond * prices.day);
        self.add(Quantity::LookDays, extra.look_days);
        self.add(Quantity::BladesOutDays, out_days);
        self.add(Quantity::ReplacementDays, new_days);
    }
}

/// Outages that are added up together, in registers: as many as there are lengths to spare.
pub(crate) const GROUP: usize = SPARE;

/// The outages of a group as single bits.
const BITS: [u64; GROUP] = {
    let mut bits = [1; GROUP];
    let mut outage = 1;
    while outage < GROUP {
        bits[outage] = 2 * bits[outage - 1];
        outage += 1;
    }
    bits
};

/// Of the words that some bits stand for, keeps the bits that another word has.
#[multiversion(targets = "simd")]
fn keep_each(words: &mut [u64], numbers: u64, keep: u64) {
    for (begin, words) in (0..WORD).step_by(BLOCK).zip(words.as_chunks_mut::<BLOCK>().0) {
        for (ahead, word) in words.iter_mut().enumerate() {
            *word &= if numbers >> (begin + ahead) & 1 != 0 { keep } else { u64::MAX };
        }
    }
}

/// Adds stays up, outage by outage.
#[multiversion(targets = "simd")]
fn add_stays(
    present: &[&Presence; 2],
    length_mm: &[f64],
    cracks: &mut [[f64; GROUP]],
    total_mm: &mut [[f64; GROUP]],
    longest_mm: &mut [[f64; GROUP]],
) {
    let groups = cracks.iter_mut().zip(total_mm).zip(longest_mm);
    for (begin, ((cracks, total_mm), longest_mm)) in (0..).step_by(GROUP).zip(groups) {
        let (mut count, mut total, mut longest) = ([0_u64; GROUP], [0.0; GROUP], [0.0; GROUP]);
        for Presence { there, places, range } in present {
            for (there, place) in there[begin / WORD][range.clone()].iter().zip(&places[range.clone()]) {
                let there = there >> (begin % WORD);
                let lengths = &length_mm[*place as usize + begin..][..GROUP].as_chunks::<GROUP>().0[0];
                for outage in 0..GROUP {
                    let is_there = there & BITS[outage] != 0;
                    let length = if is_there { lengths[outage] } else { 0.0 };
                    count[outage] += u64::from(is_there);
                    total[outage] += length;
                    // Not `max`, which minds not-a-numbers: lengths are finite.
                    longest[outage] = if length > longest[outage] { length } else { longest[outage] };
                }
            }
        }
        (*cracks, *total_mm, *longest_mm) = (count.map(|count| count as f64), total, longest);
    }
}
