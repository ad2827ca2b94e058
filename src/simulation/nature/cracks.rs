//! One crack.

use crate::bits::{Bits, WORD, lowest};
use crate::model::growth::Course;
use crate::random::Key;
use std::ops::Range;

/// One crack of a life.
#[derive(Debug, Clone)]
pub(crate) struct Crack {
    pub key: Key,
    /// Year of the loss; infinite beyond the end of the study.
    pub lost_year: f64,
    pub blade: u32,
    /// The first outage that is not before its start.
    pub first: u32,
    /// The outage before which it ends: its blade is lost, or it joins another crack; their number if neither.
    pub last: u32,
    /// Its place in the flat arrays of sizes, for outage `first`.
    pub(super) place: u32,
    pub life: u32,
    pub(super) hot_spot: u32,
    /// Which of the origins of its hot spot it began at.
    pub origin: u32,
    /// Logarithm of its blade's factor on stress.
    pub stress: f64,
    /// Where its sizes end in their list, if its growth was integrated.
    pub(super) sizes: u32,
    pub(super) born_starts: f64,
    pub(super) course: Course,
    pub(super) rate: f64,
}

impl Crack {
    /// Its place in the flat arrays at an outage that it lives to see.
    #[inline(always)]
    pub fn place(&self, outage: usize) -> usize {
        self.place as usize + outage - self.first as usize
    }

    /// Its places in the flat arrays, for all outages that it lives to see.
    #[inline(always)]
    pub(super) fn places(&self) -> Range<usize> {
        let begin = self.place as usize;
        begin..begin + (self.last - self.first) as usize
    }

    /// The place that it would have in the flat arrays at an outage, were it there; it wraps around.
    #[inline(always)]
    pub fn place_at(&self, outage: usize) -> u32 {
        self.place.wrapping_add(outage as u32).wrapping_sub(self.first)
    }

    /// Of a word's worth of outages, counted from one on, those that it lives to see, as bits.
    #[inline(always)]
    pub fn there(&self, from: usize, word: usize) -> u64 {
        let upto = |outage: u32| lowest((outage as usize).saturating_sub(from + word * WORD));
        upto(self.last) & !upto(self.first)
    }

    /// Whether its growth was integrated: its sizes stand in a list of their own.
    #[inline(always)]
    pub(super) fn is_integrated(&self) -> bool {
        self.course.start.is_nan()
    }

    /// Whether its blade is lost, if nothing is done.
    #[inline(always)]
    pub fn ends_in_loss(&self) -> bool {
        self.lost_year < f64::INFINITY
    }

    /// The outage before which its blade is lost, as a bit, of [`Bits::READ`] outages from one on; none if it is not.
    #[inline(always)]
    pub fn loss_in_window(&self, from: usize) -> u64 {
        let ahead = (self.last as usize).wrapping_sub(from);
        if self.ends_in_loss() && ahead < Bits::READ { 1 << ahead } else { 0 }
    }

    /// Index of its hot spot.
    pub fn hot_spot(&self) -> usize {
        self.hot_spot as usize
    }

    /// Whether it is in the blade at an outage, unless removed earlier.
    #[inline(always)]
    pub fn is_present(&self, outage: usize) -> bool {
        self.first as usize <= outage && outage < self.last as usize
    }
}
