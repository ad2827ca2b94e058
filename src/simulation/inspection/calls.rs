//! At which outages each technique would call each crack.
//!
//! Calls stand in lines of bits, by the places of the flat arrays of sizes, and are worked out in long loops.

use super::technique::TechniquePlan;
use super::{Inspections, draw};
use crate::bits::{Bits, lowest, pack};
use crate::math::{LANES, PART, exp_ten_figures, normal_each, reduced_ten_figures};
use crate::model::detection::{CurveShape, PodCurve, SizeMeasure};
use crate::random::{Draw, Key};
use crate::simulation::calendar::Calendar;
use crate::simulation::nature::{Crack, Nature, SPARE, Sizes, purpose, whole_blocks};
use multiversion::multiversion;
use std::ops::Range;

/// Calls by one technique.
#[derive(Debug)]
pub(super) struct Calls {
    /// Where it calls, by the places of the flat arrays.
    bits: Bits,
    /// Shift of ln q50 by inspection, for each life and outage, and as many behind the last as there are free places;
    /// zeros for one life where there is none.
    effects: Vec<f64>,
    /// From one life's effects to the next one's.
    stride: usize,
}

/// Storage for working out calls.
#[derive(Debug, Default)]
pub(super) struct CallBuffers {
    /// Keys of new cracks, and those of their calls by the technique at hand.
    keys: Vec<Key>,
    technique_keys: Vec<Key>,
    /// Standard normal numbers that persist in new cracks, for each source.
    persistent: Vec<f64>,
    /// Of the technique at hand: ln q50 with all shifts, the draws of its calls, and 1 where it calls, else 0.
    hidden: Vec<f64>,
    draws: Vec<Draw>,
    called: Vec<u8>,
    /// Shifts by inspection that are drawn together.
    effects: Vec<f64>,
}

impl Calls {
    pub fn new(about: &TechniquePlan, outages: usize) -> Self {
        let stride = if about.shifts { outages.next_multiple_of(LANES) } else { 0 };
        Calls { bits: Bits::default(), effects: vec![0.0; outages + SPARE], stride }
    }
}

impl Inspections<'_> {
    /// Works out the calls of new cracks, by all techniques in use.
    pub fn inspect(&mut self, nature: &Nature, new: Range<u32>) {
        if new.is_empty() {
            return;
        }
        let places = nature.places(new.clone());
        let new = &nature.cracks[new.start as usize..new.end as usize];
        let mut buffers = std::mem::take(&mut self.buffers);
        buffers.make_room(nature.sizes.ln_depth.len());
        buffers.keys.clear();
        buffers.keys.extend(new.iter().map(|crack| crack.key));
        buffers.draw_persistent(&self.plan.persistent_sources);
        buffers.state_persistent(nature, new);
        for &technique in &self.plan.in_use {
            let about = &self.plan.techniques[technique];
            let calls = &mut self.calls[technique];
            calls.bits.make_room(nature.sizes.ln_depth.len());
            buffers.begin(about, calls, &nature.plan.calendar, new);
            buffers.call(about, nature, places.clone());
            if about.smears.is_some() && about.closed_mouth_factor < 1.0 {
                buffers.smear(about, nature, new);
            }
            pack_each(&buffers.called[places.clone()], calls.bits.bytes_from(places.start));
        }
        self.buffers = buffers;
    }

    /// Whether a technique calls a crack at an outage that it lives to see.
    #[inline(always)]
    pub fn calls(&self, crack: &Crack, technique: usize, outage: usize) -> bool {
        self.calls[technique].bits.is_set(crack.place(outage))
    }

    /// The outages from one on, of those that a crack lives to see, at which a technique looks and calls it: as bits, the
    /// lowest for that outage, of [`Bits::READ`] outages.
    #[inline(always)]
    pub fn calls_from(&self, crack: &Crack, technique: usize, looks_at: &Bits, outage: usize) -> u64 {
        let lives_to_see = (crack.last as usize).saturating_sub(outage).min(Bits::READ);
        let calls = self.calls[technique].bits.read(crack.place(outage));
        calls & looks_at.read(outage) & !(u64::MAX << lives_to_see)
    }

    /// The outages from one on at which a technique in use would call a crack, as bits, of [`Bits::READ`] outages.
    #[inline(always)]
    pub fn calls_in_window(&self, crack: &Crack, technique: usize, from: usize) -> u64 {
        let (first, last) = (crack.first as usize, crack.last as usize);
        let begin = from.max(first);
        if begin >= last || begin >= from + Bits::READ {
            return 0;
        }
        let there = lowest(last - begin);
        (self.calls[technique].bits.read(crack.place(begin)) & there) << (begin - from) & lowest(Bits::READ)
    }

    /// Probability that a technique calls a crack at an outage that it lives to see, given the numbers that persist in it.
    pub fn pod(&self, nature: &Nature, crack: &Crack, technique: usize, outage: usize, persistent: &[f64]) -> f64 {
        let Calls { effects, stride, .. } = &self.calls[technique];
        let effect = effects[crack.life as usize * stride + outage];
        let about = &self.plan.techniques[technique];
        about.pod_of(nature, crack, outage, about.persistent_shift(|source| persistent[source]) + effect)
    }

    /// The shift of an inspection in a life, beside what is uncertain.
    pub fn shift_alone(&self, nature: &Nature, life: usize, technique: usize, outage: usize) -> f64 {
        let Calls { effects, stride, .. } = &self.calls[technique];
        effects[life * stride + outage] - nature.uncertain_shift(life, self.plan.techniques[technique].of)
    }

    /// The uniform number that decides whether a technique calls a crack at an outage.
    pub fn call_draw(&self, nature: &Nature, crack: &Crack, technique: usize, outage: usize) -> f64 {
        let key = crack.key.child(self.plan.techniques[technique].name);
        let to_come = outage.checked_sub(nature.plan.calendar.start);
        key.uniform(to_come.map_or(draw::PAST_CALL + outage as u64, |to_come| draw::CALL + to_come as u64))
    }

    /// Draws the shifts that all blades of an inspection share, in some lives.
    pub fn draw_effects(&mut self, nature: &Nature, lives: &[u32]) {
        let calendar = &nature.plan.calendar;
        if calendar.len() == 0 {
            return;
        }
        for &technique in &self.plan.in_use {
            let about = &self.plan.techniques[technique];
            if !about.shifts {
                continue;
            }
            let Calls { effects, stride, .. } = &mut self.calls[technique];
            // Room for what is read behind the last life's, which means nothing.
            effects.resize(nature.lives.len() * *stride + SPARE, 0.0);
            let new = &mut self.buffers.effects;
            new.resize(lives.len() * *stride, 0.0);
            for (&life, own) in lives.iter().zip(new.chunks_mut(*stride)) {
                let key = nature.lives[life as usize].key.child(purpose::INSPECTION).child(about.name);
                let (past, to_come) = own.split_at_mut(calendar.start);
                if !past.is_empty() {
                    draw_uniforms(key, draw::PAST_CALL, past);
                }
                draw_uniforms(key, 0, to_come);
            }
            normal_each(new);
            scale_each(about.inspection_sigma, new);
            for (&life, own) in lives.iter().zip(new.chunks_mut(*stride)) {
                nature.add_what_is_not_known(life as usize, about.of, own);
                effects[life as usize * *stride..][..*stride].copy_from_slice(own);
            }
        }
    }
}

impl TechniquePlan {
    /// Logarithms of the sizes that it goes by, by the places of the flat arrays.
    fn sizes<'s>(&self, sizes: &'s Sizes) -> &'s [f64] {
        match self.size {
            SizeMeasure::Length => &sizes.ln_length,
            SizeMeasure::Depth => &sizes.ln_depth,
            SizeMeasure::GeometricMean => &sizes.ln_mean,
        }
    }

    /// Probability that it calls a crack at an outage that the crack lives to see; `shift` is the sum of what persists in
    /// the crack and of what its inspection shares.
    pub fn pod_of(&self, nature: &Nature, crack: &Crack, outage: usize, shift: f64) -> f64 {
        let (place, sizes) = (crack.place(outage), &nature.sizes);
        let ln_size = self.sizes(sizes)[place];
        let is_closed = nature.mouth_is_closed(crack, outage) || self.is_smeared(nature, crack, outage);
        self.pod(ln_size, self.ln_q50 + shift, sizes.ln_depth[place], is_closed)
    }

    /// Whether the cleaning of the surface shuts the mouth of a crack at an outage.
    fn is_smeared(&self, nature: &Nature, crack: &Crack, outage: usize) -> bool {
        let to_come = outage.checked_sub(nature.plan.calendar.start);
        self.smears.zip(to_come).is_some_and(|(smears, to_come)| smears.shuts(crack.key, to_come))
    }
}

impl CallBuffers {
    fn make_room(&mut self, places: usize) {
        if self.hidden.len() < places {
            self.hidden.resize(places, 0.0);
            self.draws.resize(places, Draw::default());
            self.called.resize(places, 0);
        }
    }

    /// The standard normal numbers that persist in new cracks.
    fn draw_persistent(&mut self, sources: &[u64]) {
        self.persistent.clear();
        self.persistent.resize(sources.len() * self.keys.len(), 0.0);
        for (numbers, &source) in self.persistent.chunks_mut(self.keys.len()).zip(sources) {
            draw_each(&self.keys, source, numbers);
        }
        normal_each(&mut self.persistent);
    }

    /// States what planted cracks do not draw.
    fn state_persistent(&mut self, nature: &Nature, new: &[Crack]) {
        if nature.planted.is_empty() {
            return;
        }
        for (index, crack) in new.iter().enumerate() {
            let planted = &nature.planted[crack.life as usize];
            if planted.standing.key == Some(crack.key) {
                for (source, number) in planted.numbers.persistent.iter().enumerate() {
                    self.persistent[source * new.len() + index] = *number;
                }
            }
        }
    }

    /// Writes what the calls of a technique start from: what hides a crack, and the draws.
    fn begin(&mut self, about: &TechniquePlan, calls: &Calls, calendar: &Calendar, new: &[Crack]) {
        let Calls { effects, stride, .. } = calls;
        self.technique_keys.resize(new.len(), Key::from_seed(0));
        child_each(&self.keys, about.name, &mut self.technique_keys);
        for (index, (crack, key)) in new.iter().zip(&self.technique_keys).enumerate() {
            let persistent = about.persistent_shift(|source| self.persistent[source * new.len() + index]);
            let hidden_here = about.ln_q50 + persistent;
            let (first, last) = (crack.first as usize, crack.last as usize);
            let start = calendar.start.clamp(first, last);
            let mut write = |outages: Range<usize>, counter: u64| {
                let (begin, count) = (crack.place(outages.start), whole_blocks(outages.len()));
                let mut block = key.draw(counter).block();
                let effects = &effects[crack.life as usize * *stride + outages.start..][..count];
                let hidden = self.hidden[begin..][..count].as_chunks_mut::<LANES>().0;
                let draws = self.draws[begin..][..count].as_chunks_mut::<LANES>().0;
                for ((hidden, draws), effects) in hidden.iter_mut().zip(draws).zip(effects.as_chunks::<LANES>().0) {
                    *hidden = effects.map(|effect| hidden_here + effect);
                    *draws = block;
                    block = block.map(|draw| draw.ahead(LANES as u64));
                }
            };
            // Past outages first: what is written beyond them, in whole blocks, is overwritten.
            if first < start {
                write(first..start, draw::PAST_CALL + first as u64);
            }
            if start < last {
                write(start..last, draw::CALL + (start - calendar.start) as u64);
            }
        }
    }

    /// What a technique calls. The answer depends on the crack, the technique and the outage alone, whatever the
    /// strategy.
    fn call(&mut self, about: &TechniquePlan, nature: &Nature, all: Range<usize>) {
        let all_sizes = &nature.sizes;
        let sizes = about.sizes(all_sizes);
        let [sizes, hidden, depths] = [sizes, &self.hidden, &all_sizes.ln_depth].map(|numbers| &numbers[all.clone()]);
        let (draws, calls) = (&self.draws[all.clone()], &mut self.called[all.clone()]);
        if about.curve.shape == CurveShape::Logistic && about.gate.is_none() {
            call_each(&about.curve, about.per_spread, sizes, hidden, draws, calls);
        } else {
            let looks = sizes.iter().zip(hidden).zip(depths).zip(draws);
            for (call, (((size, hidden), depth), draw)) in calls.iter_mut().zip(looks) {
                *call = u8::from(draw.uniform() < about.pod(*size, *hidden, *depth, false));
            }
        }
        if nature.plan.mouths_may_close && about.closed_mouth_factor < 1.0 {
            // What is not called with an open mouth is not called with a closed one either: few are worked out again.
            let closed = &all_sizes.closed[all];
            let looks = sizes.iter().zip(hidden).zip(depths).zip(draws);
            for ((call, closed), (((size, hidden), depth), draw)) in calls.iter_mut().zip(closed).zip(looks) {
                if *closed && *call != 0 {
                    *call = u8::from(draw.uniform() < about.pod(*size, *hidden, *depth, true));
                }
            }
        }
    }

    /// Of what a technique calls, works out again where the cleaning of the surface shuts mouths.
    fn smear(&mut self, about: &TechniquePlan, nature: &Nature, new: &[Crack]) {
        let sizes = about.sizes(&nature.sizes);
        for crack in new {
            for outage in nature.plan.calendar.start.max(crack.first as usize)..crack.last as usize {
                let place = crack.place(outage);
                // What is not called with an open mouth is not called with a closed one either.
                if self.called[place] != 0 && about.is_smeared(nature, crack, outage) {
                    let (hidden, ln_depth) = (self.hidden[place], nature.sizes.ln_depth[place]);
                    let pod = about.pod(sizes[place], hidden, ln_depth, true);
                    self.called[place] = u8::from(self.draws[place].uniform() < pod);
                }
            }
        }
    }
}

/// The number that each key draws for a source.
#[multiversion(targets = "simd")]
fn draw_each(keys: &[Key], source: u64, numbers: &mut [f64]) {
    for (number, key) in numbers.iter_mut().zip(keys) {
        *number = key.child(source).uniform(draw::PERSISTENT);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::model::surface_treatment::Cleaning;
    use crate::simulation::life::Lives;
    use crate::simulation::plan::RowPlan;

    /// What planted cracks are weighed by is what plain ones are called by: effects of the inspection, what persists, the
    /// gate, the mouth.
    #[test]
    fn a_crack_is_called_where_its_draw_lies_below_the_probability_of_detection() {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let mut study = Study::parse(text, "study").expect("a good study").into_parts();
        // The same on a surface that was cleaned.
        study.cleaning = vec![Cleaning {
            id: "blasting".to_owned(),
            q50_factors: vec![0.7; study.techniques.len()],
            closes_mouth_probability: 0.5,
            cost_per_row: 0.0,
            cost_per_blade: 0.0,
            days_per_row: 0.0,
            basis: None,
        }];
        study.techniques.iter_mut().for_each(|technique| technique.closed_mouth_factor = 0.3);
        let looks = study.strategies.iter_mut().flat_map(|strategy| &mut strategy.looks);
        looks.step_by(2).for_each(|look| look.cleaning = Some(0));
        let study = Study::of_checked(study);
        assert!(
            study.techniques.iter().all(|technique| technique.inspection_sigma > 0.0 && technique.crack_sigma > 0.0)
        );
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let mut lives = Lives::new(&plan, &study);
        lives.begin((0..100_u32).map(|trial| Key::from_seed(6).child(trial.into()))).expect("lives that come through");
        let (nature, inspections) = (&lives.batch().nature, &lives.batch().inspections);
        let is_cleaned = |technique: &usize| *technique >= study.techniques.len();
        assert!(plan.inspection.in_use.iter().any(is_cleaned) && !plan.inspection.in_use.iter().all(is_cleaned));
        let mut counts = [0; 2];
        for crack in &nature.cracks {
            let sources = plan.inspection.persistent_sources.iter();
            let persistent: Vec<f64> =
                sources.map(|&source| crack.key.child(source).normal(draw::PERSISTENT)).collect();
            for &technique in &plan.inspection.in_use {
                for outage in crack.first as usize..crack.last as usize {
                    let pod = inspections.pod(nature, crack, technique, outage, &persistent);
                    let is_called = inspections.call_draw(nature, crack, technique, outage) < pod;
                    assert_eq!(is_called, inspections.calls(crack, technique, outage), "{pod}");
                    counts[usize::from(is_called)] += 1;
                }
            }
        }
        assert!(counts.iter().all(|count| *count > 1_000), "{counts:?}");
    }
}
