//! Which blades crack, and where: only blades that crack are visited.

use super::super::plan::{Class, Cohort};
use super::{Population, Sprout, purpose};
use crate::math::{LANES, exp, ln, normal_cdf, normal_quantile};
use crate::random::{Draw, Key, Stream};
use multiversion::multiversion;

/// Upper ends of the bands of the standard normal blade stress in which cracked blades are sought.
const BANDS: [f64; 9] = [0.0, 0.7, 1.3, 1.8, 2.3, 2.8, 3.4, 4.2, f64::INFINITY];

/// Blades whose stress lies in one band.
#[derive(Debug, Clone, Copy)]
pub(super) struct Band {
    /// Distribution function of the standard normal at the lower end.
    below: f64,
    probability: f64,
    /// Probability that such a blade cracks.
    cracks: f64,
}

/// A new blade.
#[derive(Debug, Clone, Copy)]
struct NewBlade {
    life: usize,
    blade: u32,
    generation: u64,
    /// Logarithm of its factor on stress.
    stress: f64,
}

impl NewBlade {
    /// What keys its draws.
    #[inline(always)]
    fn number(&self) -> u64 {
        self.generation << 32 | u64::from(self.blade)
    }
}

/// The origins of a class on a blade of average stress, in a line with those of other classes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strip {
    class: f64,
    /// Cumulative hazard, until the end, of the classes before it.
    begin: f64,
    per_origin: f64,
    origins: f64,
}

/// Blades that crack, in order, as long as each has but one crack.
#[derive(Debug, Default)]
struct Sought {
    /// Blades that do not crack before it.
    skipped: [f64; LANES],
    /// Hazard of the classes and origins before its first crack, with that of the crack.
    reach: [f64; LANES],
    /// Class and origin of its first crack, and the cumulative hazard at which that begins.
    class: [f64; LANES],
    origin: [f64; LANES],
    hazard: [f64; LANES],
    /// 1 if it has more cracks than this, or may have, else 0.
    has_more: [f64; LANES],
}

/// Seeks blades that crack, from a draw on.
#[multiversion(targets = "simd")]
fn seek(first: Draw, per_blade: f64, row_factor: f64, strips: &[Strip], sought: &mut Sought) {
    let [mut ways, mut more, mut reach] = [[0.0; LANES]; 3];
    for lane in 0..LANES {
        ways[lane] = -ln(first.ahead(2 * lane as u64).uniform());
        more[lane] = first.ahead(2 * lane as u64 + 1).uniform();
    }
    for lane in 0..LANES {
        sought.skipped[lane] = whole(ways[lane] / per_blade);
        reach[lane] = ways[lane] - sought.skipped[lane] * per_blade;
    }
    let [mut class, mut begin, mut per_origin, mut last] = [[0.0; LANES]; 4];
    for strip in strips {
        for lane in 0..LANES {
            let is_here = reach[lane] >= strip.begin;
            class[lane] = if is_here { strip.class } else { class[lane] };
            begin[lane] = if is_here { strip.begin } else { begin[lane] };
            per_origin[lane] = if is_here { strip.per_origin } else { per_origin[lane] };
            last[lane] = if is_here { strip.origins - 1.0 } else { last[lane] };
        }
    }
    for lane in 0..LANES {
        let origin = whole((reach[lane] - begin[lane]) / per_origin[lane]).min(last[lane]);
        let rest = (reach[lane] - begin[lane] - origin * per_origin[lane]).max(0.0);
        let passed = begin[lane] + (origin + 1.0) * per_origin[lane];
        sought.hazard[lane] = rest / row_factor;
        sought.origin[lane] = origin;
        // The way to the next crack is -ln(u), and exp(-x) >= 1 - x.
        sought.has_more[lane] = if more[lane] <= 1.0 - (per_blade - passed) { 0.0 } else { 1.0 };
    }
    (sought.class, sought.reach) = (class, reach);
}

impl Population<'_> {
    /// New blades of equal age, all at once: only blades that crack are visited.
    ///
    /// Blades are sought by skipping: a blade is a candidate with the probability that a blade at
    /// the upper end of its stress band cracks, and is kept if its own hazard reaches the draw.
    pub(super) fn sow(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64) {
        let row = self.row;
        let sigma = row.blade_stress_sigma;
        let row_factor = self.lives[life].row_factor;
        let hazard_at = |stress: f64| row_factor * total_hazard(&row.classes, &cohort.hazards, stress);
        let mut bands = std::mem::take(&mut self.bands);
        bands.clear();
        let per_blade = if sigma > 0.0 {
            let mut below = 0.0;
            for &end in &BANDS {
                let up_to = normal_cdf(end);
                let hazard = if end.is_finite() { hazard_at(sigma * end) } else { f64::INFINITY };
                bands.push(Band { below, probability: up_to - below, cracks: -(-hazard).exp_m1() });
                below = up_to;
            }
            let candidates: f64 = bands.iter().map(|band| band.probability * band.cracks).sum();
            // A blade that cracks for certain is a candidate but for one chance in 2^53.
            -(-candidates.min(1.0 - f64::EPSILON / 2.0)).ln_1p()
        } else {
            hazard_at(0.0)
        };
        self.bands = bands;
        if sigma > 0.0 {
            self.sow_scattered(life, cohort, key, generation, per_blade);
        } else {
            self.sow_alike(life, cohort, key, generation, per_blade);
        }
    }

    /// Blades of scattered stress: `per_blade` is the hazard of being a candidate.
    fn sow_scattered(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64, per_blade: f64) {
        let row = self.row;
        let sigma = row.blade_stress_sigma;
        let row_factor = self.lives[life].row_factor;
        let bands = std::mem::take(&mut self.bands);
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
            let first = -(-within).ln_1p();
            if first < row_factor * total_hazard(&row.classes, &cohort.hazards, stress) {
                let new = NewBlade { life, blade: cohort.blades[position as usize], generation, stress };
                self.crack_blade(&new, cohort, first, &mut stream);
            }
            position += 1.0;
        }
        self.bands = bands;
    }

    /// Blades of equal stress, each with the hazard `per_blade`: blades that crack are sought some at a time. Each
    /// takes a draw for the way to it and its first crack, and one for whether it has more; if it has, those take
    /// more draws, and the seeking begins anew behind them.
    fn sow_alike(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64, per_blade: f64) {
        let row = self.row;
        let row_factor = self.lives[life].row_factor;
        let mut strips = std::mem::take(&mut self.strips);
        strips.clear();
        let mut begin = 0.0;
        for (index, (class, hazard)) in row.classes.iter().zip(&cohort.hazards).enumerate() {
            let per_origin = row_factor * hazard;
            if per_origin > 0.0 {
                strips.push(Strip { class: index as f64, begin, per_origin, origins: class.origins });
            }
            begin += class.origins * per_origin;
        }
        let (mut next, mut position, count) = (key.draw(0), 0.0, cohort.blades.len() as f64);
        let mut sought = Sought::default();
        'seek: loop {
            seek(next, per_blade, row_factor, &strips, &mut sought);
            for lane in 0..LANES {
                position += sought.skipped[lane];
                if position >= count {
                    break 'seek;
                }
                let new = NewBlade { life, blade: cohort.blades[position as usize], generation, stress: 0.0 };
                position += 1.0;
                if sought.has_more[lane] != 0.0 {
                    let mut stream = Stream::from(next.ahead(2 * lane as u64 + 1));
                    self.crack_blade(&new, cohort, sought.reach[lane], &mut stream);
                    next = stream.next();
                    continue 'seek;
                }
                let (class, origin) = (sought.class[lane] as usize, sought.origin[lane] as u32);
                self.plant(&new, cohort, class, origin, sought.hazard[lane]);
            }
            next = next.ahead(2 * LANES as u64);
        }
        self.strips = strips;
    }

    /// A new blade at an outage.
    #[inline]
    pub fn renew_at_outage(&mut self, life: usize, blade: u32, generation: u64, outage: usize) {
        let row = self.row;
        let fresh = &row.fresh[outage];
        let new = NewBlade { life, blade, generation, stress: 0.0 };
        // Most new blades never crack, and this is seen without a logarithm: exp(-x) >= 1 - x.
        let u = self.blade_key(&new).uniform(0);
        if row.blade_stress_sigma == 0.0 && u <= 1.0 - self.lives[life].row_factor * fresh.hazard {
            return;
        }
        self.renew_and_see(new, fresh);
    }

    /// A new blade at any moment.
    pub fn renew_at(&mut self, life: usize, blade: u32, generation: u64, year: f64) {
        let from = self.cracks.len();
        self.renew_unseen(life, blade, generation, year);
        self.see(from);
    }

    /// New blades in the whole row.
    pub fn renew_row(&mut self, life: usize, generation: u64, year: f64) {
        let from = self.cracks.len();
        let cohort = Cohort::new(&self.row.classes, year, (0..self.row.blades).collect());
        let key = self.lives[life].key.child(purpose::FIRST_BLADES).child(1 << 32 | generation);
        self.sow(life, &cohort, key, generation);
        self.start_cracks();
        self.see(from);
    }

    /// A new blade at any moment, before sizes at outages are asked for.
    pub(super) fn renew_unseen(&mut self, life: usize, blade: u32, generation: u64, year: f64) {
        let mut fresh = std::mem::take(&mut self.fresh);
        fresh.install(&self.row.classes, year);
        self.renew(NewBlade { life, blade, generation, stress: 0.0 }, &fresh);
        self.fresh = fresh;
    }

    #[inline(never)]
    fn renew_and_see(&mut self, new: NewBlade, fresh: &Cohort) {
        let from = self.cracks.len();
        self.renew(new, fresh);
        self.see(from);
    }

    fn renew(&mut self, new: NewBlade, fresh: &Cohort) {
        let sigma = self.row.blade_stress_sigma;
        let key = self.blade_key(&new);
        let mut stream = Stream::new(key.child(0));
        let stress = if sigma > 0.0 { sigma * normal_quantile(stream.uniform()) } else { 0.0 };
        let first = -ln(key.uniform(0));
        if first < self.lives[new.life].row_factor * total_hazard(&self.row.classes, &fresh.hazards, stress) {
            self.crack_blade(&NewBlade { stress, ..new }, fresh, first, &mut stream);
            self.start_cracks();
        }
    }

    #[inline(always)]
    fn blade_key(&self, new: &NewBlade) -> Key {
        self.lives[new.life].blades.child(new.number())
    }

    /// Cracks of one blade, the first at a given cumulative hazard: origins stand in a line, each
    /// with its hazard until the end, and the next to crack is an exponential step further on.
    fn crack_blade(&mut self, new: &NewBlade, cohort: &Cohort, first: f64, stream: &mut Stream) {
        let row = self.row;
        let row_factor = self.lives[new.life].row_factor;
        let mut reach = first;
        let mut begin = 0.0;
        for (index, class) in row.classes.iter().enumerate() {
            let factor = row_factor * stress_factor(class, new.stress);
            let per_origin = factor * cohort.hazards[index];
            let end = begin + class.origins * per_origin;
            while reach < end {
                let origin = whole((reach - begin) / per_origin).min(class.origins - 1.0);
                let hazard = (reach - begin - origin * per_origin).max(0.0) / factor;
                self.plant(new, cohort, index, origin as u32, hazard);
                let passed = begin + (origin + 1.0) * per_origin;
                let u = stream.uniform();
                // As above, the common case needs no logarithm.
                let rest = end - passed;
                reach = if index + 1 == row.classes.len() && u <= 1.0 - rest { end } else { passed - ln(u) };
            }
            begin = end;
        }
    }

    /// A crack begins at an origin of a class of hot spots, when a cumulative hazard is reached.
    #[inline(always)]
    fn plant(&mut self, new: &NewBlade, cohort: &Cohort, index: usize, origin: u32, hazard: f64) {
        self.sprouts.push(Sprout {
            parent: self.lives[new.life].blades,
            blade_number: new.number(),
            crack_number: self.row.classes[index].name.wrapping_add(u64::from(origin)),
            hazard,
            installed: cohort.installed[index],
            stress: new.stress,
            life: new.life as u32,
            class: index as u32,
            origin,
        });
    }
}

/// Whole part of a number that is not negative; numbers beyond what a row can hold stay beyond.
#[inline(always)]
pub(super) fn whole(number: f64) -> f64 {
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
