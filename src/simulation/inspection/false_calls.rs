//! Calls on blades without a crack.

use super::TechniquePlan;
use super::calls::draw_rows;
use crate::math::{LANES, in_two_steps, ln, ln_of_split, split, whole};
use crate::random::{Draw, Key};
use crate::simulation::nature::{Nature, purpose};
use multiversion::multiversion;
use std::ops::Range;

/// A call on a blade, which counts if that has no crack.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
pub(crate) struct FalseCall {
    pub life: u32,
    pub outage: u32,
    pub blade: u32,
    /// The policy's scheduled look that makes it, where it is one of a schedule.
    pub look: u32,
}

/// False calls in some lives; each life's stand together, in order of time.
#[derive(Debug, Default)]
pub(crate) struct FalseCalls {
    all: Vec<FalseCall>,
    /// Where each life's begin; behind the last life, their number.
    begins: Vec<u32>,
    /// For each life the outages on which any fall, as bits; where there are more, each bit stands for several.
    outages: Vec<u64>,
}

impl FalseCalls {
    /// Those of one life.
    #[inline(always)]
    pub fn of(&self, life: usize) -> &[FalseCall] {
        &self.all[self.begins[life] as usize..self.begins[life + 1] as usize]
    }

    /// The outages on which a life's fall, as bits of which each stands for every 64th outage.
    #[inline(always)]
    pub fn outages(&self, life: usize) -> u64 {
        self.outages[life]
    }

    /// Whether a life can have any at an outage: mostly it is known to have none.
    #[inline(always)]
    pub fn may_fall_on(&self, life: usize, outage: usize) -> bool {
        self.outages[life] >> (outage as u32 % u64::BITS) & 1 != 0
    }

    /// Those of one life at an outage, as indices.
    #[inline(always)]
    pub fn range_at(&self, life: usize, outage: usize) -> Range<usize> {
        if !self.may_fall_on(life, outage) {
            return 0..0;
        }
        let calls = self.of(life);
        let begin = calls.iter().take_while(|call| (call.outage as usize) < outage).count();
        let count = calls[begin..].iter().take_while(|call| call.outage as usize == outage).count();
        let begin = self.begins[life] as usize + begin;
        begin..begin + count
    }

    /// Those of one life at an outage.
    #[inline(always)]
    pub fn at(&self, life: usize, outage: usize) -> &[FalseCall] {
        &self.all[self.range_at(life, outage)]
    }

    /// Those of all lives.
    pub fn all(&self) -> &[FalseCall] {
        &self.all
    }

    pub fn clear(&mut self) {
        self.all.clear();
    }

    /// Adds those of some calls that count.
    pub fn add(&mut self, calls: &[FalseCall], count: impl Iterator<Item = bool>) {
        let mut end = self.all.len();
        self.all.resize(end + calls.len(), FalseCall::default());
        for (call, counts) in calls.iter().zip(count) {
            // Branch-free: which calls count is unpredictable.
            self.all[end] = *call;
            end += usize::from(counts);
        }
        self.all.truncate(end);
    }

    /// Notes which scheduled look makes those from one on.
    pub fn made_by(&mut self, from: usize, look: u32) {
        self.all[from..].iter_mut().for_each(|call| call.look = look);
    }

    /// Puts them in order of lives and time.
    pub fn sort(&mut self) {
        self.all.sort_by_key(|call| (call.life, call.outage));
    }

    /// Finds each life's own, when all are there.
    pub fn find(&mut self, lives: usize) {
        self.begins.clear();
        self.begins.resize(lives + 1, 0);
        self.outages.clear();
        self.outages.resize(lives, 0);
        for (end, call) in (1..).zip(&self.all) {
            self.begins[call.life as usize + 1] = end;
            self.outages[call.life as usize] |= 1 << (call.outage % u64::BITS);
        }
        let mut last = 0;
        for begin in &mut self.begins {
            // Lives without any begin where the one before ends.
            last = last.max(*begin);
            *begin = last;
        }
    }
}

/// Draws false calls; keeps its storage.
#[derive(Debug, Default)]
pub(super) struct FalseCaller {
    keys: Vec<Key>,
    numbers: Vec<f64>,
    places: Vec<[(u32, u32); LANES]>,
}

impl FalseCaller {
    /// False calls of a technique in every life, as if it were used at every outage to come.
    pub fn draw(&mut self, about: &TechniquePlan, nature: &Nature, calls: &mut FalseCalls) {
        self.draw_by_hazard(about.false_call_hazard, [purpose::FALSE_CALLS, about.name], nature, calls);
    }

    /// What befalls a blade at an outage with some hazard, in every life and as if at every outage to come, by skipping;
    /// its draws are keyed by what it is.
    pub fn draw_by_hazard(&mut self, hazard: f64, names: [u64; 2], nature: &Nature, calls: &mut FalseCalls) {
        let (plan, lives) = (nature.plan, &nature.lives);
        calls.all.clear();
        if hazard > 0.0 {
            // The first of all lives at once: nearly always enough.
            self.keys.clear();
            self.keys.extend(lives.iter().map(|life| life.key.child(names[0]).child(names[1])));
            let looks = f64::from(plan.blades) * plan.calendar.to_come() as f64;
            let start = plan.calendar.start as u32;
            let skip = |draw: Draw| whole(-ln(draw.uniform()) / hazard);
            self.numbers.resize(self.keys.len() * LANES, 0.0);
            draw_rows(&self.keys, LANES, &mut self.numbers);
            self.places.resize(self.keys.len(), [(0, 0); LANES]);
            place_each(hazard, plan.blades, &mut self.numbers, &mut self.places);
            let firsts = self.places.iter().zip(self.numbers.as_chunks::<LANES>().0);
            for ((life, key), (places, ends)) in (0..).zip(&self.keys).zip(firsts) {
                let call = |(outage, blade): (u32, u32)| FalseCall { life, outage: start + outage, blade, look: 0 };
                // All are written, and those beyond the last outage forgotten: how many there are is unpredictable.
                let before = calls.all.len();
                calls.all.extend_from_slice(&places.map(call));
                calls.all.truncate(before + ends.iter().filter(|end| **end <= looks).count());
                let (mut end, mut draw) = (ends[LANES - 1], key.draw(LANES as u64));
                while end < looks {
                    end += skip(draw) + 1.0;
                    draw = draw.ahead(1);
                    if end <= looks {
                        calls.all.push(call(place(end - 1.0, plan.blades)));
                    }
                }
            }
        }
        calls.find(lives.len());
    }
}

/// From numbers on (0, 1), rows of a block each, the places of false calls: every look skips an exponential number of
/// blades of a hazard. In their stead it leaves how many blades were passed with each call.
#[multiversion(targets = "simd")]
fn place_each(hazard: f64, blades: u32, numbers: &mut [f64], places: &mut [[(u32, u32); LANES]]) {
    in_two_steps(numbers, split, |u| whole(-ln_of_split(u) / hazard) + 1.0);
    for (numbers, places) in numbers.as_chunks_mut::<LANES>().0.iter_mut().zip(places) {
        for lane in 1..LANES {
            numbers[lane] += numbers[lane - 1];
        }
        *places = numbers.map(|end| place(end - 1.0, blades));
    }
}

/// Outage and blade, of a number of blades looked at before, outage by outage.
#[inline(always)]
fn place(position: f64, blades: u32) -> (u32, u32) {
    /// Adding it puts a whole number into the lowest bits.
    const TWO_52: f64 = 4_503_599_627_370_496.0;
    let count = f64::from(blades);
    let outage = whole(position / count);
    // Not a conversion, which minds what does not fit: those are forgotten.
    let small = |number: f64| (number + TWO_52).to_bits() as u32;
    (small(outage), small(position - outage * count))
}
