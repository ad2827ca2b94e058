//! What each technique would see of each crack at each outage.

use super::super::plan::{RowPlan, TechniquePlan, Ways};
use super::{Crack, Population, SPARE, Sight, draw, is_closed_for_life, purpose};
use crate::bits::{Bits, lowest, pack};
use crate::math::{
    LANES, PART, exp, exp_of_reduced, exp_ten_figures, in_two_steps, ln_of_split, normal_each, reduced,
    reduced_ten_figures, split,
};
use crate::model::detection::{CurveShape, PodCurve, SizeMeasure};
use crate::random::{Draw, Key};
use multiversion::multiversion;
use std::ops::Range;

impl Population<'_> {
    /// Works out sizes and calls of the cracks from one index on: returns their indices.
    pub(super) fn see(&mut self, from: usize) -> Range<u32> {
        let new = from as u32..self.cracks.len() as u32;
        if new.is_empty() {
            return new;
        }
        let places = self.place(from);
        self.keys.clear();
        self.keys.extend(self.cracks[from..].iter().map(|crack| crack.key));
        self.draw_kept();
        self.begin_sizes(from);
        self.size_up(from, places.clone());
        for used in 0..self.row.used_techniques.len() {
            self.begin_calls(from, used);
            self.look(used, places.clone());
        }
        new
    }

    /// Gives the cracks from one index on their places in the flat arrays: returns these, in whole blocks.
    fn place(&mut self, from: usize) -> Range<usize> {
        // Room for all outages before the first and behind the last: lengths are read there for cracks that are not.
        let spare = self.row.calendar.len() + SPARE;
        let begin = self.places.max(spare).next_multiple_of(LANES);
        let mut end = begin;
        for crack in &mut self.cracks[from..] {
            crack.place = end as u32;
            end += (crack.last - crack.first) as usize;
        }
        self.places = end;
        let row = self.row;
        let needed = end + spare;
        if self.ln_depth.len() < needed {
            let numbers = [&mut self.ln_depth, &mut self.ln_length, &mut self.length_mm, &mut self.hidden];
            numbers.into_iter().for_each(|numbers| numbers.resize(needed, 0.0));
            self.draws.resize(needed, Draw::default());
            self.sights.iter_mut().for_each(|sight| sight.calls.make_room(needed));
            self.called.resize(needed, 0);
            if row.uses_mean_size {
                self.ln_mean.resize(needed, 0.0);
            }
            if row.mouths_may_close {
                self.closed.resize(needed, false);
            }
        }
        begin..begin + (end - begin).next_multiple_of(LANES)
    }

    /// Writes what the long loops start from: y and ln(length / depth). A crack is written in whole blocks: what goes
    /// beyond its end is overwritten by the next.
    fn begin_sizes(&mut self, from: usize) {
        let row = self.row;
        for crack in &self.cracks[from..] {
            let places = crack.places();
            match &row.classes[crack.class as usize].ways {
                Ways::Tabled { path, .. } if !crack.is_followed() => {
                    let count = if path.is_straight() { whole_blocks(places.len()) } else { places.len() };
                    let starts = &row.starts_at_outage[crack.first as usize..][..count];
                    let (y, ln_ratio) =
                        (&mut self.ln_depth[places.start..][..count], &mut self.ln_length[places.start..][..count]);
                    path.sizes_at(crack.course, crack.rate, crack.born_starts, starts, y, ln_ratio);
                    if row.mouths_may_close {
                        self.closed[places].fill(is_closed_for_life(row, crack.key));
                    }
                }
                _ => {
                    let end = crack.sizes as usize;
                    let sizes = &self.sizes[end - places.len()..end];
                    for (place, size) in places.zip(sizes) {
                        (self.ln_depth[place], self.ln_length[place]) = (size.y, size.ln_ratio);
                        if row.mouths_may_close {
                            self.closed[place] = size.closed;
                        }
                    }
                }
            }
        }
    }

    /// Writes what the calls of a technique start from: what hides a crack, and the draws.
    fn begin_calls(&mut self, from: usize, used: usize) {
        let row = self.row;
        let about = &row.techniques[row.used_techniques[used]];
        let Sight { effects, stride, .. } = &self.sights[used];
        let new = self.keys.len();
        self.technique_keys.resize(new, Key::from_seed(0));
        child_each(&self.keys, about.name, &mut self.technique_keys);
        for (index, (crack, key)) in self.cracks[from..].iter().zip(&self.technique_keys).enumerate() {
            let kept = |source| self.kept[source * new + index];
            let hidden_here = about.ln_q50 + kept_shift(about, kept);
            let (first, last) = (crack.first as usize, crack.last as usize);
            let start = row.calendar.start.clamp(first, last);
            // Past outages first: what goes beyond them, in whole blocks, is overwritten.
            for outages in [first..start, start..last].into_iter().filter(|outages| !outages.is_empty()) {
                let (begin, count) = (crack.place(outages.start), whole_blocks(outages.len()));
                let mut block = key.draw(call_counter(row, outages.start)).block();
                let effects = &effects[crack.life as usize * *stride + outages.start..][..count];
                let hidden = self.hidden[begin..][..count].as_chunks_mut::<LANES>().0;
                let draws = self.draws[begin..][..count].as_chunks_mut::<LANES>().0;
                for ((hidden, draws), effects) in hidden.iter_mut().zip(draws).zip(effects.as_chunks::<LANES>().0) {
                    *hidden = effects.map(|effect| hidden_here + effect);
                    *draws = block;
                    block = block.map(|draw| draw.ahead(LANES as u64));
                }
            }
        }
    }

    /// Depths and lengths.
    fn size_up(&mut self, from: usize, all: Range<usize>) {
        let row = self.row;
        let powers = |crack: &Crack| row.classes[crack.class as usize].depth_power;
        if let Some(power) = row.depth_power {
            let (depths, lengths) = (&mut self.ln_depth[all.clone()], &mut self.ln_length[all.clone()]);
            size_each(power, depths, lengths, &mut self.length_mm[all.clone()]);
        } else {
            for crack in &self.cracks[from..] {
                let own = crack.places();
                let (depths, lengths) = (&mut self.ln_depth[own.clone()], &mut self.ln_length[own.clone()]);
                size_each(powers(crack), depths, lengths, &mut self.length_mm[own]);
            }
        }
        if row.uses_mean_size {
            let sizes = self.ln_depth[all.clone()].iter().zip(&self.ln_length[all.clone()]);
            for (mean, (depth, length)) in self.ln_mean[all].iter_mut().zip(sizes) {
                *mean = 0.5 * (depth + length);
            }
        }
    }

    /// The standard normal numbers that new cracks keep.
    fn draw_kept(&mut self) {
        let sources = &self.row.kept_sources;
        self.kept.clear();
        self.kept.resize(sources.len() * self.keys.len(), 0.0);
        for (kept, &source) in self.kept.chunks_mut(self.keys.len()).zip(sources) {
            draw_each(&self.keys, source, kept);
        }
        normal_each(&mut self.kept);
    }

    /// What a technique calls. The answer depends on the crack, the technique and the outage alone, whatever the
    /// strategy.
    fn look(&mut self, used: usize, all: Range<usize>) {
        let row = self.row;
        let about = &row.techniques[row.used_techniques[used]];
        let sizes = match about.size {
            SizeMeasure::Length => &self.ln_length,
            SizeMeasure::Depth => &self.ln_depth,
            SizeMeasure::GeometricMean => &self.ln_mean,
        };
        let [sizes, hidden, depths] = [sizes, &self.hidden, &self.ln_depth].map(|numbers| &numbers[all.clone()]);
        let (draws, calls) = (&self.draws[all.clone()], &mut self.called[all.clone()]);
        if about.curve.shape == CurveShape::Logistic && about.gate.is_none() {
            call_each(&about.curve, about.per_spread, sizes, hidden, draws, calls);
        } else {
            let looks = sizes.iter().zip(hidden).zip(depths).zip(draws);
            for (call, (((size, hidden), depth), draw)) in calls.iter_mut().zip(looks) {
                *call = u8::from(draw.uniform() < about.pod(*size, *hidden, *depth, false));
            }
        }
        if row.mouths_may_close && about.closed_mouth_factor < 1.0 {
            // What is not called with an open mouth is not called with a closed one either: few are worked out again.
            let closed = &self.closed[all.clone()];
            let looks = sizes.iter().zip(hidden).zip(depths).zip(draws);
            for ((call, closed), (((size, hidden), depth), draw)) in calls.iter_mut().zip(closed).zip(looks) {
                if *closed && *call != 0 {
                    *call = u8::from(draw.uniform() < about.pod(*size, *hidden, *depth, true));
                }
            }
        }
        pack_each(calls, self.sights[used].calls.bytes_from(all.start));
    }

    /// Whether a technique calls a crack at an outage that it lives to see.
    #[inline(always)]
    pub fn calls(&self, crack: &Crack, technique: usize, outage: usize) -> bool {
        self.sights[self.row.techniques[technique].used].calls.is_set(crack.place(outage))
    }

    /// The outages from one on, of those that a crack lives to see, at which a technique looks and calls it: as bits, the
    /// lowest for that outage, of [`Bits::READ`] outages.
    #[inline(always)]
    pub fn calls_from(&self, crack: &Crack, technique: usize, looks_at: &Bits, outage: usize) -> u64 {
        calls_from(&self.sights[self.row.techniques[technique].used].calls, crack, looks_at, outage)
    }

    /// The outages from one on at which a technique, by its place among those in use, would call a crack, as bits, of
    /// [`Bits::READ`] outages.
    #[inline(always)]
    pub fn calls_in_window(&self, crack: &Crack, place: usize, from: usize) -> u64 {
        let (first, last) = (crack.first as usize, crack.last as usize);
        let begin = from.max(first);
        if begin >= last || begin >= from + Bits::READ {
            return 0;
        }
        let there = lowest(last - begin);
        (self.sights[place].calls.read(crack.place(begin)) & there) << (begin - from) & lowest(Bits::READ)
    }

    /// Where a technique stands among those in use.
    pub fn used(&self, technique: usize) -> usize {
        self.row.techniques[technique].used
    }

    /// Length that a technique reports for a crack at an outage, in mm.
    pub fn measured_mm(&self, crack: &Crack, technique: usize, outage: usize) -> f64 {
        let about = &self.row.techniques[technique];
        let outage_to_come = (outage - self.row.calendar.start) as u64;
        let scatter = crack.key.child(about.name).normal(draw::SIZE + outage_to_come);
        self.length_mm[crack.place(outage)] * about.sizing_bias * exp(about.sizing_sigma * scatter)
    }

    /// Length that a technique reports for a false indication, in mm.
    pub fn false_length_mm(&self, life: usize, blade: u32, technique: usize, outage: usize) -> f64 {
        let about = &self.row.techniques[technique];
        let key = self.lives[life].key.child(purpose::FALSE_CALLS).child(about.name).child(u64::from(blade));
        let outage_to_come = (outage - self.row.calendar.start) as u64;
        about.false_call_length.draw(key, draw::SIZE + outage_to_come)
    }

    /// The shifts that all blades of an inspection share, in some lives.
    pub(super) fn draw_effects(&mut self, technique: usize, lives: &[u32]) {
        let about = &self.row.techniques[technique];
        if about.inspection_sigma <= 0.0 || self.row.calendar.len() == 0 {
            return;
        }
        let start = self.row.calendar.start;
        let Sight { effects, stride, .. } = &mut self.sights[about.used];
        // Room for what is read behind the last life's, which means nothing.
        effects.resize(self.lives.len() * *stride + SPARE, 0.0);
        for life in lives.iter().map(|&life| life as usize) {
            let key = self.lives[life].key.child(purpose::INSPECTION).child(about.name);
            let own = &mut effects[life * *stride..][..*stride];
            let (past, to_come) = own.split_at_mut(start);
            draw_uniforms(key, draw::PAST_CALL, past);
            draw_uniforms(key, 0, to_come);
            normal_each(own);
            scale_each(about.inspection_sigma, own);
        }
    }
}

/// The counter of a crack's call at an outage.
#[inline(always)]
pub(in crate::simulation) fn call_counter(row: &RowPlan, outage: usize) -> u64 {
    match outage.checked_sub(row.calendar.start) {
        Some(to_come) => draw::CALL + to_come as u64,
        None => draw::PAST_CALL + outage as u64,
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

/// The number that each key draws for a source.
#[multiversion(targets = "simd")]
fn draw_each(keys: &[Key], source: u64, numbers: &mut [f64]) {
    for (number, key) in numbers.iter_mut().zip(keys) {
        *number = key.child(source).uniform(draw::KEPT);
    }
}

/// A child of each key.
#[multiversion(targets = "simd")]
fn child_each(keys: &[Key], name: u64, children: &mut [Key]) {
    for (child, key) in children.iter_mut().zip(keys) {
        *child = key.child(name);
    }
}

/// The first draws of each key, in rows of whole blocks.
#[multiversion(targets = "simd")]
pub(super) fn draw_rows(keys: &[Key], row: usize, numbers: &mut [f64]) {
    for (numbers, key) in numbers.chunks_mut(row).zip(keys) {
        let mut block = key.draw(0).block();
        for numbers in numbers.as_chunks_mut::<LANES>().0 {
            *numbers = block.map(Draw::uniform);
            block = block.map(|draw| draw.ahead(LANES as u64));
        }
    }
}

/// Draws of one key, from a counter on.
#[multiversion(targets = "simd")]
fn draw_uniforms(key: Key, counter: u64, numbers: &mut [f64]) {
    let first = key.draw(counter);
    for (ahead, number) in numbers.iter_mut().enumerate() {
        *number = first.ahead(ahead as u64).uniform();
    }
}

#[multiversion(targets = "simd")]
fn scale_each(factor: f64, numbers: &mut [f64]) {
    for number in numbers {
        *number *= factor;
    }
}

/// 1 where a logistic curve lies above a draw, else 0.
#[multiversion(targets = "simd")]
fn call_each(curve: &PodCurve, per_spread: f64, sizes: &[f64], hidden: &[f64], draws: &[Draw], calls: &mut [u8]) {
    // draw < floor + (ceiling - floor) / (1 + exp(-z)), without the division. Ten figures decide as sixteen would,
    // but for one call in ten thousand million. In short loops, as in `in_two_steps`.
    let [mut above_floor, mut rests, mut scales] = [[0.0; PART]; 3];
    let numbers = sizes.chunks(PART).zip(hidden.chunks(PART)).zip(draws.chunks(PART));
    for (calls, ((sizes, hidden), draws)) in calls.chunks_mut(PART).zip(numbers) {
        for (above_floor, draw) in above_floor.iter_mut().zip(draws) {
            *above_floor = draw.uniform() - curve.floor;
        }
        for ((rest, scale), (size, hidden)) in rests.iter_mut().zip(&mut scales).zip(sizes.iter().zip(hidden)) {
            [*rest, *scale] = reduced_ten_figures((hidden - size) * per_spread);
        }
        for (call, ((rest, scale), above_floor)) in calls.iter_mut().zip(rests.iter().zip(&scales).zip(&above_floor)) {
            let odds_against = exp_ten_figures([*rest, *scale]);
            *call = u8::from(above_floor * (1.0 + odds_against) < curve.ceiling - curve.floor);
        }
    }
}

/// [`pack`], in long loops.
#[multiversion(targets = "simd")]
fn pack_each(numbers: &[u8], bytes: &mut [u8]) {
    pack(numbers, bytes);
}

#[inline(always)]
fn calls_from(calls: &Bits, crack: &Crack, looks_at: &Bits, outage: usize) -> u64 {
    let lives_to_see = (crack.last as usize).saturating_sub(outage).min(Bits::READ);
    calls.read(crack.place(outage)) & looks_at.read(outage) & !(u64::MAX << lives_to_see)
}

/// Places that are written for so many outages: whole blocks, and two at least, since one or two would be a guess
/// for the processor.
#[inline(always)]
fn whole_blocks(outages: usize) -> usize {
    outages.next_multiple_of(LANES).max(2 * LANES)
}

/// The shift of ln q50 that a crack keeps for a technique, from the normal numbers it keeps.
#[inline(always)]
pub(super) fn kept_shift(technique: &TechniquePlan, kept: impl Fn(usize) -> f64) -> f64 {
    technique.persistence.iter().map(|&(source, weight)| weight * kept(source)).sum()
}
