//! What each technique would see of each crack at each outage.

use super::super::plan::{TechniquePlan, Ways};
use super::super::record::BLOCK;
use super::sow::whole;
use super::{Crack, Population, View, draw, purpose};
use crate::math::{exp, exp_into, ln_each, normal_each};
use crate::model::detection::SizeMeasure;
use crate::random::{Key, Stream};
use std::cell::Cell;

impl Population<'_> {
    /// Works out sizes and probabilities of detection of the cracks from one index on.
    pub(super) fn see(&mut self, from: usize) {
        let row = self.row;
        let begin = self.ln_depth.len();
        let mut end = begin;
        for crack in &mut self.cracks[from..] {
            crack.place = end;
            end += (crack.last - crack.first) as usize;
        }
        self.ln_depth.resize(end, 0.0);
        self.ln_length.resize(end, 0.0);
        for crack in &self.cracks[from..] {
            let places = crack.places();
            let (y, ln_ratio) = (&mut self.ln_depth[places.clone()], &mut self.ln_length[places.clone()]);
            match &row.classes[crack.class as usize].ways {
                Ways::Tabled(path) => {
                    let starts = &row.starts_at_outage[crack.first as usize..crack.last as usize];
                    path.sizes_at(crack.course, crack.rate, crack.born_starts, starts, y, ln_ratio);
                }
                Ways::Followed(_) => {
                    let end = crack.sizes as usize;
                    let sizes = &self.sizes[end - y.len()..end];
                    for ((y, ln_ratio), size) in y.iter_mut().zip(ln_ratio).zip(sizes) {
                        (*y, *ln_ratio) = (size.per_depth, size.ln_ratio);
                    }
                }
            }
        }
        if row.minds_closed_mouths {
            self.closed.resize(end, 0.0);
            for crack in &self.cracks[from..] {
                if let Ways::Followed(_) = &row.classes[crack.class as usize].ways {
                    let places = crack.places();
                    let sizes = &self.sizes[crack.sizes as usize - places.len()..];
                    for (closed, size) in self.closed[places].iter_mut().zip(sizes) {
                        *closed = size.closed;
                    }
                }
            }
        }
        let (depths, lengths) = (&mut self.ln_depth[begin..], &mut self.ln_length[begin..]);
        ln_each(depths);
        let scale = |depths: &mut [f64], lengths: &mut [f64], power: f64| {
            for (depth, length) in depths.iter_mut().zip(lengths) {
                *depth *= -power;
                *length += *depth;
            }
        };
        if let Some(power) = row.depth_power {
            scale(depths, lengths, power);
        } else {
            for crack in &self.cracks[from..] {
                let places = crack.place - begin..crack.places().end - begin;
                let power = row.classes[crack.class as usize].depth_power;
                scale(&mut depths[places.clone()], &mut lengths[places], power);
            }
        }
        self.length_mm.resize(end + 2 * BLOCK, 0.0);
        exp_into(lengths, &mut self.length_mm[begin + BLOCK..]);
        if row.uses_mean_size {
            self.ln_mean.extend(depths.iter().zip(lengths).map(|(depth, length)| 0.5 * (*depth + *length)));
        }
        self.kept.clear();
        if !row.kept_sources.is_empty() {
            for crack in &self.cracks[from..] {
                self.kept.extend(row.kept_sources.iter().map(|&source| crack.key.child(source).uniform(draw::KEPT)));
            }
            normal_each(&mut self.kept);
        }
        for (index, crack) in self.cracks[from..].iter().enumerate() {
            let kept = &self.kept[index * row.kept_sources.len()..];
            self.views.extend(row.used_techniques.iter().map(|&technique| {
                let about = &row.techniques[technique];
                View { hidden: about.ln_q50 + kept_shift(about, kept), key: crack.key.child(about.name) }
            }));
        }
    }

    /// How one technique looks at one crack, outage after outage.
    #[inline(always)]
    pub fn look(&self, crack: usize, technique: usize) -> LookAt<'_> {
        let row = self.row;
        let about = &row.techniques[technique];
        let View { hidden, key } = self.views[crack * row.used_techniques.len() + about.used];
        let crack = &self.cracks[crack];
        let sizes = match about.size {
            SizeMeasure::Length => &self.ln_length,
            SizeMeasure::Depth => &self.ln_depth,
            SizeMeasure::GeometricMean => &self.ln_mean,
        };
        LookAt {
            people: self,
            about,
            sizes: &sizes[crack.places()],
            effects: &self.effects[technique],
            first: crack.first as usize,
            place: crack.place,
            hidden,
            key,
        }
    }

    /// [`LookAt::calls`] at one outage only.
    #[inline(always)]
    pub fn calls(&self, crack: usize, technique: usize, outage: usize) -> bool {
        let row = self.row;
        let about = &row.techniques[technique];
        if about.is_particular() || about.size != SizeMeasure::Length {
            return self.look(crack, technique).calls(outage);
        }
        // The same for the commonest technique.
        let View { hidden, key } = self.views[crack * row.used_techniques.len() + about.used];
        let z = (self.ln_length[self.cracks[crack].place(outage)] - hidden) * about.per_spread;
        about.quick.is_below(key.uniform(draw::CALL + outage as u64), z)
    }

    /// Length that a technique reports for a crack at an outage, in mm.
    pub fn measured_mm(&self, crack: &Crack, technique: usize, outage: usize) -> f64 {
        let about = &self.row.techniques[technique];
        let scatter = crack.key.child(about.name).normal(draw::SIZE + outage as u64);
        self.length_mm[crack.place(outage) + BLOCK] * about.sizing_bias * exp(about.sizing_sigma * scatter)
    }

    /// Length that a technique reports for a false indication, in mm.
    pub fn false_length_mm(&self, blade: u32, technique: usize, outage: usize) -> f64 {
        let about = &self.row.techniques[technique];
        let key = self.key.child(purpose::FALSE_CALLS).child(about.name).child(u64::from(blade));
        about.false_call_length.quantile(key.uniform(draw::SIZE + outage as u64))
    }

    /// False calls of a technique as if it were used at every outage, by skipping.
    pub(super) fn draw_false_calls(&mut self, technique: usize) {
        let about = &self.row.techniques[technique];
        let calls = &mut self.false_calls[technique];
        calls.clear();
        if about.false_call_hazard <= 0.0 {
            return;
        }
        let blades = u64::from(self.row.blades);
        let looks = (blades * self.row.outages.len() as u64) as f64;
        let mut stream = Stream::new(self.key.child(purpose::FALSE_CALLS).child(about.name));
        let mut position = 0.0;
        loop {
            position += whole(stream.exponential() / about.false_call_hazard);
            if position >= looks {
                return;
            }
            let place = position as u64;
            calls.push(((place / blades) as u32, (place % blades) as u32));
            position += 1.0;
        }
    }
}

/// One technique looking at one crack.
pub(crate) struct LookAt<'a> {
    people: &'a Population<'a>,
    about: &'a TechniquePlan,
    /// Logarithms of the sizes that it goes by, from outage `first` on.
    sizes: &'a [f64],
    effects: &'a [Cell<f64>],
    first: usize,
    place: usize,
    /// ln q50 with all shifts but the inspection's.
    hidden: f64,
    key: Key,
}

impl LookAt<'_> {
    /// Whether the crack is called at an outage that it lives to see. The answer depends on the
    /// crack, the technique and the outage alone, whatever the strategy.
    #[inline(always)]
    pub fn calls(&self, outage: usize) -> bool {
        let about = self.about;
        let seen = outage - self.first;
        let mut hidden = self.hidden + self.effect(outage);
        if about.closed_mouth_shift != 0.0 {
            hidden += about.closed_mouth_shift * self.people.closed[self.place + seen];
        }
        let z = (self.sizes[seen] - hidden) * about.per_spread;
        let draw = self.key.uniform(draw::CALL + outage as u64);
        if about.gate.is_some() {
            draw < about.curve.at(z) * about.gate_factor(self.people.ln_depth[self.place + seen])
        } else {
            about.quick.is_below(draw, z)
        }
    }

    /// The first of some outages, all of which the crack lives to see, at which it is called.
    #[inline]
    pub fn first_call(&self, outages: &[u32]) -> Option<u32> {
        let about = self.about;
        if about.is_particular() {
            return self.first_call_of_any(outages);
        }
        // The same as `calls`, for the commonest technique, with all that stays the same at hand.
        let (quick, per_spread, hidden, key) = (&about.quick, about.per_spread, self.hidden, self.key);
        let (sizes, first) = (self.sizes, self.first);
        outages.iter().copied().find(|&outage| {
            let z = (sizes[outage as usize - first] - hidden) * per_spread;
            quick.is_below(key.uniform(draw::CALL + u64::from(outage)), z)
        })
    }

    #[inline(never)]
    fn first_call_of_any(&self, outages: &[u32]) -> Option<u32> {
        outages.iter().copied().find(|&outage| self.calls(outage as usize))
    }

    /// The shift that all blades of an inspection share; drawn when it is first asked for.
    #[inline(always)]
    fn effect(&self, outage: usize) -> f64 {
        let Some(effect) = self.effects.get(outage) else { return 0.0 };
        let known = effect.get();
        if known.is_nan() { self.draw_effect(outage) } else { known }
    }

    #[cold]
    #[inline(never)]
    fn draw_effect(&self, outage: usize) -> f64 {
        let key = self.people.key.child(purpose::INSPECTION).child(self.about.name);
        let effect = self.about.inspection_sigma * key.normal(outage as u64);
        self.effects[outage].set(effect);
        effect
    }
}

/// The shift of ln q50 that a crack keeps for a technique, from the normal numbers it keeps.
#[inline(always)]
pub(super) fn kept_shift(technique: &TechniquePlan, kept: &[f64]) -> f64 {
    technique.persistence.iter().map(|&(source, weight)| weight * kept[source]).sum()
}
