//! Cracks that are in the row just after each outage.

use crate::bits::{WORD, lowest, set_bits};
use crate::math::LANES;
use crate::simulation::calendar::Calendar;
use crate::simulation::nature::{Crack, SPARE};
use multiversion::multiversion;
use std::ops::Range;

/// Outages that are added up together, in registers: as many as there are lengths to spare.
pub(crate) const GROUP: usize = SPARE;

/// Occupancies that are copied together.
const BLOCK: usize = 2 * LANES;

/// Occupancy of the row by cracks, and what it comes to outage by outage.
#[derive(Debug, Clone)]
pub(crate) struct CracksLeft {
    /// Cracks in the row just after each outage.
    pub cracks: Vec<[f64; GROUP]>,
    /// Sum of their lengths, in mm.
    pub total_mm: Vec<[f64; GROUP]>,
    /// Length of the longest, in mm; zero if there is none.
    pub longest_mm: Vec<[f64; GROUP]>,
    count: usize,
    /// Number of the first outage to come.
    start: usize,
    /// For each word's worth of outages those after which each crack is there, as bits. What stands behind the last
    /// crack means nothing.
    there: Vec<Vec<u64>>,
    /// Of each the place of the length that it would have at the first outage; see [`Crack::place_at`].
    places: Vec<u32>,
}

/// A range of many cracks that were in a row, whose occupancy is kept elsewhere.
pub(crate) struct Occupancy<'a> {
    pub there: &'a [Vec<u64>],
    pub places: &'a [u32],
    pub range: Range<usize>,
}

impl CracksLeft {
    pub fn new(calendar: &Calendar) -> Self {
        let outages = calendar.to_come();
        let zero = vec![[0.0; GROUP]; outages.div_ceil(GROUP)];
        CracksLeft {
            cracks: zero.clone(),
            total_mm: zero.clone(),
            longest_mm: zero,
            count: 0,
            start: calendar.start,
            there: vec![Vec::new(); outages.div_ceil(WORD)],
            places: Vec::new(),
        }
    }

    pub fn begin(&mut self) {
        self.count = 0;
    }

    /// A crack enters the row, and stays as long as it lives.
    #[inline(always)]
    pub fn enter(&mut self, crack: &Crack) {
        self.make_room(1);
        for (word, there) in self.there.iter_mut().enumerate() {
            there[self.count] = crack.there(self.start, word);
        }
        self.places[self.count] = crack.place_at(self.start);
        self.count += 1;
    }

    /// A life's own of the first cracks enter, before any other. Behind the last of all lives stands a block of numbers
    /// that mean nothing.
    #[inline(always)]
    pub fn enter_first(&mut self, first: &Occupancy) {
        self.make_room(first.range.len());
        for (to, from) in self.there.iter_mut().zip(first.there) {
            copy_blocks(&from[first.range.start..], to, first.range.len());
        }
        copy_blocks(&first.places[first.range.start..], &mut self.places, first.range.len());
        self.count = first.range.len();
    }

    /// A crack leaves at an outage, by its number in the order of entering.
    #[inline(always)]
    pub fn leave(&mut self, number: usize, outage: usize) {
        for (word, there) in self.there.iter_mut().enumerate() {
            there[number] &= lowest(outage.saturating_sub(self.start + word * WORD));
        }
    }

    /// As [`CracksLeft::leave`], for cracks from a number on, as bits.
    #[inline(always)]
    pub fn leave_each(&mut self, from: usize, numbers: u64, outage: usize) {
        for (word, there) in self.there.iter_mut().enumerate() {
            let until = lowest(outage.saturating_sub(self.start + word * WORD));
            set_bits(numbers).for_each(|number| there[from + number] &= until);
        }
    }

    /// Adds up the cracks that entered, and others; `length_mm` has the lengths.
    pub fn add_up(&mut self, others: &Occupancy, length_mm: &[f64]) {
        let own = Occupancy { there: &self.there, places: &self.places, range: 0..self.count };
        add_occupancies(&[others, &own], length_mm, &mut self.cracks, &mut self.total_mm, &mut self.longest_mm);
    }

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

/// Copies a list in whole blocks, without a guess how long it is.
#[inline(always)]
fn copy_blocks<T: Copy>(from: &[T], to: &mut [T], count: usize) {
    let blocks = to.as_chunks_mut::<BLOCK>().0.iter_mut().zip(from.as_chunks::<BLOCK>().0);
    blocks.take(count.div_ceil(BLOCK)).for_each(|(to, from)| *to = *from);
}

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

/// Adds occupancies up, outage by outage.
#[multiversion(targets = "simd")]
fn add_occupancies(
    occupancies: &[&Occupancy; 2],
    length_mm: &[f64],
    cracks: &mut [[f64; GROUP]],
    total_mm: &mut [[f64; GROUP]],
    longest_mm: &mut [[f64; GROUP]],
) {
    let groups = cracks.iter_mut().zip(total_mm).zip(longest_mm);
    for (begin, ((cracks, total_mm), longest_mm)) in (0..).step_by(GROUP).zip(groups) {
        let (mut count, mut total, mut longest) = ([0_u64; GROUP], [0.0; GROUP], [0.0; GROUP]);
        for Occupancy { there, places, range } in occupancies {
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
