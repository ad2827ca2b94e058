//! The cracks of one life of a row: when they start, how they grow, what would see them.
//!
//! Work goes with the cracks that start: an origin that never cracks before the end costs nothing.
//! Numbers for outages stand in flat arrays, one place for each crack and outage that it lives to
//! see, so that logarithms and exponentials run over the whole row at once.

use super::plan::{Class, Cohort, RowPlan, TechniquePlan};
use super::record::BLOCK;
use crate::math::{exp, exp_each, exp_into, ln, ln_each, normal_each, normal_quantile};
use crate::model::detection::SizeMeasure;
use crate::model::growth::{Course, CrackEnd, Limit};
use crate::random::{Key, Stream};
use std::cell::Cell;

/// What a draw of a row's life is for.
mod purpose {
    pub const ROW_FACTOR: u64 = 0;
    pub const ROW_GROWTH: u64 = 1;
    pub const FIRST_BLADES: u64 = 2;
    pub const BLADE: u64 = 3;
    pub const INSPECTION: u64 = 4;
    pub const FALSE_CALLS: u64 = 5;
    pub const COVERAGE: u64 = 6;
    pub const LOSS: u64 = 7;
}

/// Draws of a crack, by counter.
mod draw {
    pub const DEPTH: u64 = 0;
    pub const ASPECT: u64 = 1;
    pub const GROWTH: u64 = 2;
    pub const TOUGHNESS: u64 = 3;
    /// Of a crack and a technique: first what the crack keeps, then calls and sizes by outage.
    pub const KEPT: u64 = 0;
    pub const CALL: u64 = 1;
    pub const SIZE: u64 = 1 << 32;
    /// Calls at looks before the study starts.
    pub const PAST_CALL: u64 = 2 << 32;
}

/// Upper ends of the bands of the standard normal blade stress in which cracked blades are sought.
const BANDS: [f64; 9] = [0.0, 0.7, 1.3, 1.8, 2.3, 2.8, 3.4, 4.2, f64::INFINITY];

/// A slot beyond every event; slots are explained in `life`.
pub(crate) const NEVER: u32 = u32::MAX;

/// One crack.
#[derive(Debug, Clone)]
pub(crate) struct Crack {
    pub key: Key,
    pub blade: u32,
    /// The first outage that is not before its start.
    pub first: u32,
    /// The outage before which the blade is lost; their number if none.
    pub last: u32,
    class: u32,
    /// Its place in the flat arrays, for outage `first`.
    place: usize,
    /// Year of the loss; infinite beyond the end of the study.
    pub lost_year: f64,
    born_year: f64,
    born_starts: f64,
    course: Course,
    rate: f64,
}

impl Crack {
    /// Its place in the flat arrays at an outage that it lives to see.
    #[inline(always)]
    pub fn place(&self, outage: usize) -> usize {
        self.place + outage - self.first as usize
    }

    /// Its places in the flat arrays, for all outages that it lives to see.
    #[inline(always)]
    fn places(&self) -> std::ops::Range<usize> {
        self.place..self.place + (self.last - self.first) as usize
    }

    /// Slot of the loss it ends in, if nothing is done.
    #[inline(always)]
    pub fn loss_slot(&self) -> u32 {
        if self.lost_year < f64::INFINITY { 2 * self.last } else { NEVER }
    }

    /// Index of its hot spot.
    pub fn class(&self) -> usize {
        self.class as usize
    }

    /// Whether it is in the blade at an outage, unless removed earlier.
    #[inline(always)]
    pub fn is_present(&self, outage: usize) -> bool {
        self.first as usize <= outage && outage < self.last as usize
    }
}

/// Cracks and what all strategies of one life share.
#[derive(Debug)]
pub(crate) struct Population<'p> {
    row: &'p RowPlan,
    /// Key of this row in this trial.
    pub key: Key,
    pub cracks: Vec<Crack>,
    row_factor: f64,
    /// Median advance per start of each class in this row.
    class_rate: Vec<f64>,
    ln_depth: Vec<f64>,
    ln_length: Vec<f64>,
    /// Logarithm of the geometric mean of depth and length, where a technique goes by it.
    ln_mean: Vec<f64>,
    /// Surface lengths in mm, each [`BLOCK`] places further on than the others, and as many to spare.
    pub length_mm: Vec<f64>,
    /// Standard normal numbers that new cracks keep, one for each of the row's sources.
    kept: Vec<f64>,
    /// What each technique in use makes of each crack, cracks outermost.
    views: Vec<View>,
    /// Shift of ln q50 by inspection, for each technique and outage; not-a-number until asked for.
    effects: Vec<Vec<Cell<f64>>>,
    /// (outage, blade) of false calls by each technique, in order, were it used at every outage.
    pub false_calls: Vec<Vec<(u32, u32)>>,
    bands: Vec<Band>,
    seeds: Vec<Seed>,
    depth_draws: Vec<f64>,
    growth_draws: Vec<f64>,
}

/// A crack about to be worked out.
#[derive(Debug, Clone, Copy)]
struct Seed {
    key: Key,
    blade: u32,
    class: u32,
    stress: f64,
    born_year: f64,
}

/// What a technique makes of a crack, whatever the outage.
#[derive(Debug, Clone, Copy)]
struct View {
    /// ln q50 with all shifts but the inspection's.
    hidden: f64,
    /// Key of its calls.
    key: Key,
}

/// Blades whose stress lies in one band.
#[derive(Debug, Clone, Copy)]
struct Band {
    /// Distribution function of the standard normal at the lower end.
    below: f64,
    probability: f64,
    /// Hazard of a blade at the upper end.
    hazard: f64,
    /// Probability that such a blade cracks.
    cracks: f64,
}

impl<'p> Population<'p> {
    pub fn new(row: &'p RowPlan) -> Self {
        Population {
            row,
            key: Key::from_seed(0),
            cracks: Vec::new(),
            row_factor: 1.0,
            class_rate: vec![0.0; row.classes.len()],
            ln_depth: Vec::new(),
            ln_length: Vec::new(),
            ln_mean: Vec::new(),
            length_mm: vec![0.0; 2 * BLOCK],
            kept: Vec::new(),
            views: Vec::new(),
            effects: row
                .techniques
                .iter()
                .map(|technique| if technique.inspection_sigma > 0.0 { row.outages.len() } else { 0 })
                .map(|outages| vec![Cell::new(f64::NAN); outages])
                .collect(),
            false_calls: vec![Vec::new(); row.techniques.len()],
            bands: Vec::new(),
            seeds: Vec::new(),
            depth_draws: Vec::new(),
            growth_draws: Vec::new(),
        }
    }

    /// Draws the row as it stands at the start of the study. Returns whether it came that far
    /// without a loss; if not, it is to be drawn again with another key.
    pub fn begin(&mut self, key: Key) -> bool {
        let row = self.row;
        self.key = key;
        self.truncate(0);
        self.effects.iter().flatten().for_each(|effect| effect.set(f64::NAN));
        self.row_factor = match row.row_factor.fixed() {
            Some(factor) => factor,
            None => row.row_factor.quantile(key.uniform(purpose::ROW_FACTOR)),
        };
        for (rate, class) in self.class_rate.iter_mut().zip(&row.classes) {
            *rate = class.rate;
            if class.row_sigma > 0.0 {
                let scatter = key.child(purpose::ROW_GROWTH).child(class.growth_name).normal(0);
                *rate *= exp(class.row_sigma * scatter);
            }
        }
        for (index, cohort) in row.cohorts.iter().enumerate() {
            self.sow(cohort, key.child(purpose::FIRST_BLADES).child(index as u64), 0);
        }
        self.start_cracks();
        let came_through = self.live_the_past();
        for &technique in &row.used_techniques {
            self.draw_false_calls(technique);
        }
        self.see(0);
        came_through
    }

    /// Forgets the cracks from one index on.
    pub fn truncate(&mut self, count: usize) {
        self.cracks.truncate(count);
        let places = self.cracks.last().map_or(0, |crack| crack.places().end);
        self.ln_depth.truncate(places);
        self.ln_length.truncate(places);
        self.ln_mean.truncate(places);
        self.length_mm.truncate(places + 2 * BLOCK);
        self.views.truncate(count * self.row.used_techniques.len());
    }

    /// New blades of equal age, all at once: only blades that crack are visited.
    ///
    /// Blades are sought by skipping: a blade is a candidate with the probability that a blade at
    /// the upper end of its stress band cracks, and is kept if its own hazard reaches the draw.
    fn sow(&mut self, cohort: &Cohort, key: Key, generation: u64) {
        let row = self.row;
        let sigma = row.blade_stress_sigma;
        let Cohort { installed, hazards, .. } = cohort;
        let row_factor = self.row_factor;
        let hazard_at = |stress: f64| row_factor * total_hazard(&row.classes, hazards, stress);
        let mut bands = std::mem::take(&mut self.bands);
        bands.clear();
        let upper_ends = if sigma > 0.0 { &BANDS[..] } else { &BANDS[..1] };
        let mut below = 0.0;
        for &end in upper_ends {
            let up_to = if sigma > 0.0 { crate::math::normal_cdf(end) } else { 1.0 };
            let hazard = if end.is_finite() { hazard_at(sigma * end) } else { f64::INFINITY };
            bands.push(Band { below, probability: up_to - below, hazard, cracks: -(-hazard).exp_m1() });
            below = up_to;
        }
        let candidates: f64 = bands.iter().map(|band| band.probability * band.cracks).sum();
        // A blade that cracks for certain is a candidate but for one chance in 2^53.
        let per_blade =
            if sigma > 0.0 { -(-candidates.min(1.0 - f64::EPSILON / 2.0)).ln_1p() } else { bands[0].hazard };
        let mut stream = Stream::new(key);
        let mut position = 0.0;
        let count = cohort.blades.len() as f64;
        // Without hazard the reach in blades is infinite, which ends it at once.
        loop {
            let reach = stream.exponential();
            let skipped = whole(reach / per_blade);
            position += skipped;
            if position >= count {
                break;
            }
            let rest = reach - skipped * per_blade;
            let (stress, hazard, first) = if sigma > 0.0 {
                // The remainder is one more uniform number: it picks the band and the draw within.
                let mut rank = -(-rest).exp_m1();
                let mut chosen = bands[bands.len() - 1];
                for band in &bands {
                    let share = band.probability * band.cracks;
                    if rank < share {
                        chosen = *band;
                        break;
                    }
                    rank -= share;
                }
                let within = (rank / chosen.probability).min(chosen.cracks);
                let stress = sigma * normal_quantile(chosen.below + chosen.probability * stream.uniform());
                (stress, hazard_at(stress), -(-within).ln_1p())
            } else {
                (0.0, bands[0].hazard, rest)
            };
            if first < hazard {
                let blade = cohort.blades[position as usize];
                let blade_key = self.blade_key(blade, generation);
                self.crack_blade(blade, blade_key, stress, installed, hazards, first, &mut stream);
            }
            position += 1.0;
        }
        self.bands = bands;
    }

    /// A new blade at an outage.
    pub fn renew_at_outage(&mut self, blade: u32, generation: u64, outage: usize) {
        let row = self.row;
        let fresh = &row.fresh[outage];
        let key = self.blade_key(blade, generation);
        // Most new blades never crack, and this is seen without a logarithm: exp(-x) >= 1 - x.
        let u = key.uniform(0);
        if row.blade_stress_sigma == 0.0 && u <= 1.0 - self.row_factor * fresh.hazard {
            return;
        }
        let from = self.cracks.len();
        self.renew(blade, key, u, &fresh.installed, &fresh.hazards);
        self.see(from);
    }

    /// A new blade at any moment.
    pub fn renew_at(&mut self, blade: u32, generation: u64, year: f64) {
        let from = self.cracks.len();
        let key = self.blade_key(blade, generation);
        self.renew_unseen(blade, key, year);
        self.see(from);
    }

    /// New blades in the whole row.
    pub fn renew_row(&mut self, generation: u64, year: f64) {
        let from = self.cracks.len();
        let cohort = Cohort::new(&self.row.classes, year, (0..self.row.blades).collect());
        let key = self.key.child(purpose::FIRST_BLADES).child(1 << 32 | generation);
        self.sow(&cohort, key, generation);
        self.start_cracks();
        self.see(from);
    }

    /// A new blade at any moment, before sizes at outages are asked for.
    fn renew_unseen(&mut self, blade: u32, key: Key, year: f64) {
        let fresh = Cohort::new(&self.row.classes, year, Vec::new());
        self.renew(blade, key, key.uniform(0), &fresh.installed, &fresh.hazards);
    }

    fn renew(&mut self, blade: u32, key: Key, u: f64, installed: &[f64], hazards: &[f64]) {
        let sigma = self.row.blade_stress_sigma;
        let mut stream = Stream::new(key.child(0));
        let stress = if sigma > 0.0 { sigma * normal_quantile(stream.uniform()) } else { 0.0 };
        let first = -ln(u);
        if first < self.row_factor * total_hazard(&self.row.classes, hazards, stress) {
            self.crack_blade(blade, key, stress, installed, hazards, first, &mut stream);
            self.start_cracks();
        }
    }

    fn blade_key(&self, blade: u32, generation: u64) -> Key {
        self.key.child(purpose::BLADE).child(generation << 32 | u64::from(blade))
    }

    /// Cracks of one blade, the first at a given cumulative hazard: origins stand in a line, each
    /// with its hazard until the end, and the next to crack is an exponential step further on.
    #[allow(clippy::too_many_arguments)]
    fn crack_blade(
        &mut self,
        blade: u32,
        key: Key,
        stress: f64,
        installed: &[f64],
        hazards: &[f64],
        first: f64,
        stream: &mut Stream,
    ) {
        let row = self.row;
        let mut reach = first;
        let mut begin = 0.0;
        for (index, class) in row.classes.iter().enumerate() {
            let factor = self.row_factor * stress_factor(class, stress);
            let per_origin = factor * hazards[index];
            let end = begin + class.origins * per_origin;
            while reach < end {
                let origin = whole((reach - begin) / per_origin).min(class.origins - 1.0);
                let hazard = (reach - begin - origin * per_origin).max(0.0) / factor;
                let crack_key = key.child(class.name.wrapping_add(origin as u64));
                let born_year = class.clock.year_of(installed[index] + class.shape.reading_at(hazard));
                if born_year < row.end_year {
                    self.seeds.push(Seed { key: crack_key, blade, class: index as u32, stress, born_year });
                }
                let passed = begin + (origin + 1.0) * per_origin;
                let u = stream.uniform();
                // As above, the common case needs no logarithm.
                let rest = end - passed;
                reach = if index + 1 == row.classes.len() && u <= 1.0 - rest { end } else { passed - ln(u) };
            }
            begin = end;
        }
    }

    /// Works out the growth of the cracks that were sown, and when their blades are lost.
    fn start_cracks(&mut self) {
        let row = self.row;
        let seeds = std::mem::take(&mut self.seeds);
        self.depth_draws.clear();
        self.depth_draws.extend(seeds.iter().map(|seed| seed.key.uniform(draw::DEPTH)));
        self.growth_draws.clear();
        self.growth_draws.extend(seeds.iter().map(|seed| seed.key.uniform(draw::GROWTH)));
        normal_each(&mut self.growth_draws);
        for (scatter, seed) in self.growth_draws.iter_mut().zip(&seeds) {
            let class = &row.classes[seed.class as usize];
            *scatter = class.crack_sigma * *scatter + class.growth_exponent * seed.stress;
        }
        exp_each(&mut self.growth_draws);
        if row.lognormal_depths {
            normal_each(&mut self.depth_draws);
            for (depth, seed) in self.depth_draws.iter_mut().zip(&seeds) {
                let class = &row.classes[seed.class as usize];
                *depth = class.ln_depth_median + class.depth_sigma * *depth;
            }
            exp_each(&mut self.depth_draws);
        } else {
            for (depth, seed) in self.depth_draws.iter_mut().zip(&seeds) {
                *depth = row.classes[seed.class as usize].initial_depth.quantile(*depth);
            }
        }
        for (index, seed) in seeds.iter().enumerate() {
            let (depth_mm, factor) = (self.depth_draws[index], self.growth_draws[index]);
            self.cracks.push(self.start_crack(seed, depth_mm, factor));
        }
        self.seeds = seeds;
        self.seeds.clear();
    }

    #[inline(always)]
    fn start_crack(&self, seed: &Seed, depth_mm: f64, growth_factor: f64) -> Crack {
        let row = self.row;
        let Seed { key, blade, class: index, stress, born_year } = *seed;
        let class = &row.classes[index as usize];
        let aspect = match class.initial_aspect.fixed() {
            Some(aspect) => aspect,
            None => class.initial_aspect.quantile(key.uniform(draw::ASPECT)),
        };
        let course = class.path.course(depth_mm, aspect);
        let rate = self.class_rate[index as usize] * growth_factor;
        let end = match &class.limit {
            Limit::Depth { depth_mm } => CrackEnd::Depth(*depth_mm),
            Limit::SectionFraction { fraction } => CrackEnd::SectionFraction(*fraction),
            Limit::Toughness { toughness_mpa_sqrt_m } => {
                CrackEnd::Intensity(toughness_mpa_sqrt_m.quantile(key.uniform(draw::TOUGHNESS)) * exp(-stress))
            }
        };
        let born_starts = row.starts.at(born_year);
        let lost_starts = born_starts + class.path.advance_to(course, end) / rate;
        let (lost_year, last) = if lost_starts <= row.starts_at_end {
            let year = row.starts.year_of(lost_starts).max(born_year);
            (year, row.finder.count_before(year, &row.outages))
        } else {
            (f64::INFINITY, row.outages.len())
        };
        let first = row.finder.count_before(born_year, &row.outages);
        Crack {
            key,
            blade,
            first: first as u32,
            last: last.max(first) as u32,
            class: index,
            place: 0,
            lost_year,
            born_year,
            born_starts,
            course,
            rate,
        }
    }

    /// Works out sizes and probabilities of detection of the cracks from one index on.
    fn see(&mut self, from: usize) {
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
            let path = &row.classes[crack.class as usize].path;
            let starts = &row.starts_at_outage[crack.first as usize..crack.last as usize];
            let (y, ln_ratio) = (&mut self.ln_depth[places.clone()], &mut self.ln_length[places]);
            path.sizes_at(crack.course, crack.rate, crack.born_starts, starts, y, ln_ratio);
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

    /// False calls of a technique as if it were used at every outage, by skipping.
    fn draw_false_calls(&mut self, technique: usize) {
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
        if about.gate.is_some() || about.inspection_sigma > 0.0 || about.size != SizeMeasure::Length {
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

    /// A draw for what the loss of a position's blade costs, that before a generation.
    pub fn loss_draw(&self, blade: u32, generation: u64) -> f64 {
        self.key.child(purpose::LOSS).child(u64::from(blade)).uniform(generation)
    }

    /// A draw for whether a look that covers part of the blades covers this one.
    pub fn coverage_draw(&self, blade: u32, look: usize, outage: usize) -> f64 {
        self.key.child(purpose::COVERAGE).child(look as u64).child(u64::from(blade)).uniform(outage as u64)
    }

    /// Looks before the study starts: called blades are renewed. Returns whether no blade was lost.
    fn live_the_past(&mut self) -> bool {
        let row = self.row;
        for (index, &(year, technique)) in row.past_looks.iter().enumerate() {
            if self.cracks.iter().any(|crack| crack.lost_year <= year) {
                return false;
            }
            let effect = row.techniques[technique].inspection_sigma
                * self
                    .key
                    .child(purpose::INSPECTION)
                    .child(row.techniques[technique].name)
                    .normal(draw::PAST_CALL + index as u64);
            let starts = row.starts.at(year);
            let mut renewed: Vec<u32> = self
                .cracks
                .iter()
                .filter(|crack| crack.born_year <= year)
                .filter(|crack| self.past_call(crack, technique, index, starts, effect))
                .map(|crack| crack.blade)
                .collect();
            renewed.sort_unstable();
            renewed.dedup();
            self.cracks.retain(|crack| !renewed.contains(&crack.blade));
            for blade in renewed {
                let key = self.blade_key(blade, (2 << 16) + index as u64);
                self.renew_unseen(blade, key, year);
            }
        }
        !self.cracks.iter().any(|crack| crack.lost_year < row.start_year)
    }

    fn past_call(&self, crack: &Crack, technique: usize, index: usize, starts: f64, effect: f64) -> bool {
        let about = &self.row.techniques[technique];
        let class = &self.row.classes[crack.class as usize];
        let (y, ratio) = class.path.size_at(crack.course, crack.rate * (starts - crack.born_starts));
        let ln_depth = -ln(y) * class.depth_power;
        let size = match about.size {
            SizeMeasure::Length => ln_depth + ratio,
            SizeMeasure::Depth => ln_depth,
            SizeMeasure::GeometricMean => ln_depth + 0.5 * ratio,
        };
        let kept: Vec<f64> =
            self.row.kept_sources.iter().map(|&source| crack.key.child(source).normal(draw::KEPT)).collect();
        let z = (size - about.ln_q50 - kept_shift(about, &kept) - effect) * about.per_spread;
        let pod = about.curve.at(z) * about.gate_factor(ln_depth);
        crack.key.child(about.name).uniform(draw::PAST_CALL + index as u64) < pod
    }
}

/// Whole part of a number that is not negative; numbers beyond what a row can hold stay beyond.
#[inline(always)]
fn whole(number: f64) -> f64 {
    const FAR: f64 = 1e15;
    if number < FAR { number as i64 as f64 } else { FAR }
}

/// Hazard of all origins of a blade until the end, for row factor 1.
fn total_hazard(classes: &[Class], hazards: &[f64], stress: f64) -> f64 {
    classes.iter().zip(hazards).map(|(class, hazard)| class.origins * hazard * stress_factor(class, stress)).sum()
}

#[inline]
fn stress_factor(class: &Class, stress: f64) -> f64 {
    if stress == 0.0 { 1.0 } else { exp(class.stress_exponent * stress) }
}

/// The shift of ln q50 that a crack keeps for a technique, from the normal numbers it keeps.
#[inline(always)]
fn kept_shift(technique: &TechniquePlan, kept: &[f64]) -> f64 {
    technique.persistence.iter().map(|&(source, weight)| weight * kept[source]).sum()
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
        let z = (self.sizes[seen] - self.hidden - self.effect(outage)) * about.per_spread;
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
        if about.gate.is_some() || !self.effects.is_empty() {
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
