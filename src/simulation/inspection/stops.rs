//! What a technique answers at a stop between outages.

use super::technique::TechniquePlan;
use super::{Inspections, draw};
use crate::math::exp;
use crate::model::detection::SizeMeasure;
use crate::random::Key;
use crate::simulation::nature::{Crack, Nature, Seen, purpose};

/// A stop between outages: its moment, the number of the outage that comes next, and its own number among all stops.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stop {
    pub year: f64,
    pub next: usize,
    number: u64,
}

impl Stop {
    /// Most stops between two outages that are numbered apart.
    const MOST: u64 = 1 << 12;

    /// The so-manyth between two outages.
    pub fn new(nature: &Nature, year: f64, next: usize, before: u64) -> Self {
        let to_come = (next - nature.plan.calendar.start) as u64;
        Stop { year, next, number: to_come * Self::MOST + before.min(Self::MOST - 1) }
    }
}

impl Inspections<'_> {
    /// Probability that a technique calls a crack at a stop, from what it sees there and the numbers that persist in the
    /// crack.
    pub fn pod_at(
        &self,
        nature: &Nature,
        crack: &Crack,
        seen: &Seen,
        technique: usize,
        stop: Stop,
        persistent: &[f64],
    ) -> f64 {
        let about = &self.plan.techniques[technique];
        let key = nature.lives[crack.life as usize].key.child(purpose::INSPECTION).child(about.name);
        let effect = about.inspection_sigma * key.normal(draw::STOP_CALL + stop.number)
            + nature.uncertain_shift(crack.life as usize, technique);
        let shift = about.persistent_shift(|source| persistent[source]) + effect;
        let ln_size = match about.size {
            SizeMeasure::Length => seen.ln_length,
            SizeMeasure::Depth => seen.ln_depth,
            SizeMeasure::GeometricMean => 0.5 * (seen.ln_depth + seen.ln_length),
        };
        about.pod(ln_size, about.ln_q50 + shift, seen.ln_depth, seen.mouth_is_closed)
    }

    /// The numbers that persist in a crack.
    pub fn persistent(&self, crack: &Crack) -> Vec<f64> {
        let sources = self.plan.persistent_sources.iter();
        sources.map(|&source| crack.key.child(source).normal(draw::PERSISTENT)).collect()
    }

    /// The uniform number that decides whether a technique calls a crack at a stop.
    pub fn call_draw_at(&self, crack: &Crack, technique: usize, stop: Stop) -> f64 {
        crack.key.child(self.plan.techniques[technique].name).uniform(draw::STOP_CALL + stop.number)
    }

    /// Whether a technique calls a blade without a crack at a stop.
    pub fn is_falsely_called_at(&self, nature: &Nature, life: usize, blade: u32, technique: usize, stop: Stop) -> bool {
        let about = &self.plan.techniques[technique];
        let chance = -(-about.false_call_hazard).exp_m1();
        chance > 0.0 && false_call_key(nature, about, life, blade).uniform(draw::STOP_CALL + stop.number) < chance
    }

    /// Length and depth that a technique reports at a stop for a crack that it sees, in mm; the depth is infinite where it
    /// measures none.
    pub fn measured_at_mm(&self, crack: &Crack, seen: &Seen, technique: usize, stop: Stop) -> [f64; 2] {
        let about = &self.plan.techniques[technique];
        let key = crack.key.child(about.name);
        let scatter = about.sizing_sigma * key.normal(draw::STOP_SIZE + stop.number);
        let depth_mm = about.depth_sizing.as_ref().map_or(f64::INFINITY, |sizing| {
            let scatter = sizing.sigma_log * key.normal(draw::STOP_DEPTH + stop.number);
            exp(seen.ln_depth) * sizing.bias * exp(scatter)
        });
        [exp(seen.ln_length) * about.sizing_bias * exp(scatter), depth_mm]
    }

    /// The same for a false indication.
    pub fn false_sizes_at_mm(
        &self,
        nature: &Nature,
        life: usize,
        blade: u32,
        technique: usize,
        stop: Stop,
    ) -> [f64; 2] {
        let about = &self.plan.techniques[technique];
        let key = false_call_key(nature, about, life, blade);
        let depth_mm = about
            .depth_sizing
            .as_ref()
            .map_or(f64::INFINITY, |sizing| sizing.false_call_mm.draw(key, draw::STOP_DEPTH + stop.number));
        [about.false_call_length.draw(key, draw::STOP_SIZE + stop.number), depth_mm]
    }

    /// Whether a blade is damaged on its way out or in at a stop.
    pub fn is_damaged_at(&self, nature: &Nature, life: usize, blade: u32, stop: Stop) -> bool {
        let chance = -(-self.plan.handling_hazard).exp_m1();
        let key = nature.lives[life].key.child(purpose::HANDLING).child(u64::from(blade));
        chance > 0.0 && key.uniform(draw::STOP_CALL + stop.number) < chance
    }
}

fn false_call_key(nature: &Nature, about: &TechniquePlan, life: usize, blade: u32) -> Key {
    nature.lives[life].key.child(purpose::FALSE_CALLS).child(about.name).child(u64::from(blade))
}
