//! Sizes of cracks at the outages that they live to see.
//!
//! They stand in flat arrays, one place for each crack and outage, so that logarithms and exponentials are worked out for
//! all lives at once, in long loops over vector registers.

use super::Nature;
use super::cracks::Crack;
use super::hot_spot_plan::HotSpotGrowth;
use super::mouth::is_closed_for_life;
use crate::math::{LANES, exp, exp_of_reduced, in_two_steps, ln_of_split, reduced, split};
use multiversion::multiversion;
use std::ops::Range;

/// Places that are free before the first crack's and behind the last one's in the flat arrays, so that those can be read
/// and written in whole blocks. What stands there is finite and means nothing.
pub(crate) const SPARE: usize = 32;

/// Sizes of all cracks, by the places of the flat arrays.
#[derive(Debug, Default)]
pub(crate) struct Sizes {
    pub ln_depth: Vec<f64>,
    pub ln_length: Vec<f64>,
    /// Logarithm of the geometric mean of depth and length, where a technique goes by it.
    pub ln_mean: Vec<f64>,
    /// Surface lengths in mm.
    pub length_mm: Vec<f64>,
    /// Whether a crack's mouth is closed; empty where none may be.
    pub closed: Vec<bool>,
    /// Where the places end that are taken.
    pub(super) taken: usize,
}

impl Nature<'_> {
    /// Works out the sizes of the cracks from one index on: returns their indices.
    pub(super) fn size_up(&mut self, from: usize) -> Range<u32> {
        let new = from as u32..self.cracks.len() as u32;
        if !new.is_empty() {
            self.place(from);
            self.begin_sizes(from);
            self.finish_sizes(from, self.places(new.clone()));
        }
        new
    }

    /// The places of some cracks in the flat arrays, in whole blocks.
    pub fn places(&self, cracks: Range<u32>) -> Range<usize> {
        let begin = self.cracks[cracks.start as usize].place as usize;
        let end = self.cracks[cracks.end as usize - 1].places().end;
        begin..begin + (end - begin).next_multiple_of(LANES)
    }

    /// Depth and surface length of a crack at an outage that it lives to see, in mm.
    pub fn size_mm(&self, crack: &Crack, outage: usize) -> [f64; 2] {
        let place = crack.place(outage);
        [exp(self.sizes.ln_depth[place]), self.sizes.length_mm[place]]
    }

    /// Whether the mouth of a crack is closed at an outage that it lives to see.
    pub fn mouth_is_closed(&self, crack: &Crack, outage: usize) -> bool {
        self.plan.mouths_may_close && self.sizes.closed[crack.place(outage)]
    }

    /// Gives the cracks from one index on their places in the flat arrays.
    fn place(&mut self, from: usize) {
        // Room for all outages before the first and behind the last: lengths are read there for cracks that are not.
        let spare = self.plan.calendar.len() + SPARE;
        let mut end = self.sizes.taken.max(spare).next_multiple_of(LANES);
        for crack in &mut self.cracks[from..] {
            crack.place = end as u32;
            end += (crack.last - crack.first) as usize;
        }
        let sizes = &mut self.sizes;
        sizes.taken = end;
        let needed = end + spare;
        if sizes.ln_depth.len() < needed {
            let numbers = [&mut sizes.ln_depth, &mut sizes.ln_length, &mut sizes.length_mm];
            numbers.into_iter().for_each(|numbers| numbers.resize(needed, 0.0));
            if self.plan.uses_mean_size {
                sizes.ln_mean.resize(needed, 0.0);
            }
            if self.plan.mouths_may_close {
                sizes.closed.resize(needed, false);
            }
        }
    }

    /// Writes what the long loops start from: y and ln(length / depth). A crack is written in whole blocks: what goes
    /// beyond its end is overwritten by the next.
    fn begin_sizes(&mut self, from: usize) {
        let plan = self.plan;
        for crack in &self.cracks[from..] {
            let places = crack.places();
            match &plan.hot_spots[crack.hot_spot as usize].growth {
                HotSpotGrowth::Curve { curve, .. } if !crack.is_integrated() => {
                    let count = if curve.is_straight() { whole_blocks(places.len()) } else { places.len() };
                    let starts = &plan.starts_at_outage[crack.first as usize..][..count];
                    let (y, ln_ratio) = (
                        &mut self.sizes.ln_depth[places.start..][..count],
                        &mut self.sizes.ln_length[places.start..][..count],
                    );
                    curve.sizes_at(crack.course, crack.rate, crack.born_starts, starts, y, ln_ratio);
                    if plan.mouths_may_close {
                        self.sizes.closed[places].fill(is_closed_for_life(plan, crack.key));
                    }
                }
                _ => {
                    let end = crack.sizes as usize;
                    let sizes = &self.integrated_sizes[end - places.len()..end];
                    for (place, size) in places.zip(sizes) {
                        (self.sizes.ln_depth[place], self.sizes.ln_length[place]) = (size.y, size.ln_ratio);
                        if plan.mouths_may_close {
                            self.sizes.closed[place] = size.closed;
                        }
                    }
                }
            }
        }
    }

    /// Depths and lengths.
    fn finish_sizes(&mut self, from: usize, all: Range<usize>) {
        let plan = self.plan;
        let powers = |crack: &Crack| plan.hot_spots[crack.hot_spot as usize].depth_power;
        if let Some(power) = plan.depth_power {
            let (depths, lengths) = (&mut self.sizes.ln_depth[all.clone()], &mut self.sizes.ln_length[all.clone()]);
            size_each(power, depths, lengths, &mut self.sizes.length_mm[all.clone()]);
        } else {
            for crack in &self.cracks[from..] {
                let own = crack.places();
                let (depths, lengths) = (&mut self.sizes.ln_depth[own.clone()], &mut self.sizes.ln_length[own.clone()]);
                size_each(powers(crack), depths, lengths, &mut self.sizes.length_mm[own]);
            }
        }
        if plan.uses_mean_size {
            let sizes = self.sizes.ln_depth[all.clone()].iter().zip(&self.sizes.ln_length[all.clone()]);
            for (mean, (depth, length)) in self.sizes.ln_mean[all].iter_mut().zip(sizes) {
                *mean = 0.5 * (depth + length);
            }
        }
    }
}

/// Logarithms of depths and lengths, and lengths in mm: `depths` holds y with `ln depth_mm = -ln(y) * power`, and
/// `lengths` holds ln(length / depth).
#[multiversion(targets = "simd")]
fn size_each(power: f64, depths: &mut [f64], lengths: &mut [f64], lengths_mm: &mut [f64]) {
    in_two_steps(depths, split, |depth| ln_of_split(depth) * -power);
    for ((depth, length), length_mm) in depths.iter().zip(lengths).zip(lengths_mm.iter_mut()) {
        *length += depth;
        *length_mm = *length;
    }
    in_two_steps(lengths_mm, reduced, exp_of_reduced);
}

/// Places that are written for so many outages: whole blocks, and two at least, since one or two would be a guess
/// for the processor.
#[inline(always)]
pub(crate) fn whole_blocks(outages: usize) -> usize {
    outages.next_multiple_of(LANES).max(2 * LANES)
}
