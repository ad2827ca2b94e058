//! Which blades crack, and where: only blades that crack are visited.

use super::super::plan::{Class, Cohort};
use super::{Population, Ready, Replacement, Sprout, purpose};
use crate::math::{LANES, exp, in_two_steps, ln, ln_of_split, normal_cdf, normal_quantile, split};
use crate::random::{Draw, Key, Stream};
use multiversion::multiversion;
use std::ops::Range;

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

/// Where some blades of a life that crack are sought, among those of average stress.
#[derive(Debug, Clone, Copy)]
pub(super) struct Search {
    life: usize,
    /// Which of the row's cohorts, where it is one of these.
    cohort: usize,
    row_factor: f64,
    /// The first of its draws: each blade takes one for the way to it and its first crack, and one for whether it has
    /// more.
    first: Draw,
}

/// Blades that crack, in order.
#[derive(Debug, Default, Clone)]
pub(super) struct Sought {
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

/// Carries out some searches; `ways` is room for a number to each blade.
#[multiversion(targets = "simd")]
fn seek_each<'c>(
    searches: &[Search],
    classes: &[Class],
    cohort: impl Fn(&Search) -> &'c Cohort,
    ways: &mut [f64],
    sought: &mut [Sought],
) {
    for (ways, search) in ways.as_chunks_mut::<LANES>().0.iter_mut().zip(searches) {
        *ways = std::array::from_fn(|lane| search.first.ahead(2 * lane as u64).uniform());
    }
    in_two_steps(ways, split, |u| -ln_of_split(u));
    let ways = ways.as_chunks::<LANES>().0;
    for ((search, ways), sought) in searches.iter().zip(ways).zip(sought) {
        seek(search, classes, cohort(search), ways, sought);
    }
}

/// Seeks blades that crack, each at the end of its way.
#[inline(always)]
fn seek(search: &Search, classes: &[Class], cohort: &Cohort, ways: &[f64; LANES], sought: &mut Sought) {
    let row_factor = search.row_factor;
    let per_blade = row_factor * total_hazard(classes, &cohort.hazards, 0.0);
    let mut reach = [0.0; LANES];
    // Products with what divides once: a division in every lane would cost more than all else here.
    let (blades_per, share_of_row) = (1.0 / per_blade, 1.0 / row_factor);
    for lane in 0..LANES {
        sought.skipped[lane] = whole(ways[lane] * blades_per);
        reach[lane] = (ways[lane] - sought.skipped[lane] * per_blade).max(0.0);
    }
    // Origins stand in a line, class by class.
    let [mut class, mut begin, mut per_origin, mut origins_per, mut last] = [[0.0; LANES]; 5];
    let mut passed = 0.0;
    for (index, (about, hazard)) in classes.iter().zip(&cohort.hazards).enumerate() {
        let here = row_factor * hazard;
        if here <= 0.0 {
            continue;
        }
        let inverse = 1.0 / here;
        for lane in 0..LANES {
            let is_here = reach[lane] >= passed;
            class[lane] = if is_here { index as f64 } else { class[lane] };
            begin[lane] = if is_here { passed } else { begin[lane] };
            per_origin[lane] = if is_here { here } else { per_origin[lane] };
            origins_per[lane] = if is_here { inverse } else { origins_per[lane] };
            last[lane] = if is_here { about.origins - 1.0 } else { last[lane] };
        }
        passed += about.origins * here;
    }
    for lane in 0..LANES {
        let origin = whole((reach[lane] - begin[lane]) * origins_per[lane]).min(last[lane]);
        let rest = (reach[lane] - begin[lane] - origin * per_origin[lane]).max(0.0);
        let passed = begin[lane] + (origin + 1.0) * per_origin[lane];
        sought.hazard[lane] = rest * share_of_row;
        sought.origin[lane] = origin;
        // The way to the next crack is -ln(u), and exp(-x) >= 1 - x.
        let u = search.first.ahead(2 * lane as u64 + 1).uniform();
        sought.has_more[lane] = if u <= 1.0 - (per_blade - passed) { 0.0 } else { 1.0 };
    }
    (sought.class, sought.reach) = (class, reach);
}

/// Blocks of blades that crack which are sought beforehand: enough for most lives.
fn blocks_foreseen(classes: &[Class], cohort: &Cohort, row_factor: f64) -> usize {
    const MOST: f64 = 8.0;
    let per_blade = row_factor * total_hazard(classes, &cohort.hazards, 0.0);
    let mean = cohort.blades.len() as f64 * per_blade.min(1.0);
    ((mean + mean.sqrt()) / LANES as f64).ceil().min(MOST) as usize
}

/// Draws that a search takes.
const DRAWS: u64 = 2 * LANES as u64;

/// Searches, and what they come to; keeps its storage.
#[derive(Debug, Default)]
pub(super) struct Seeker {
    searches: Vec<Search>,
    sought: Vec<Sought>,
    ways: Vec<f64>,
}

impl Seeker {
    fn seek<'c>(&mut self, classes: &[Class], cohort: impl Fn(&Search) -> &'c Cohort) {
        self.sought.resize(self.sought.len().max(self.searches.len()), Sought::default());
        self.ways.resize(LANES * self.searches.len(), 0.0);
        seek_each(&self.searches, classes, cohort, &mut self.ways, &mut self.sought);
    }
}

impl Population<'_> {
    /// The first blades of some lives.
    pub(super) fn sow_cohorts(&mut self, lives: Range<usize>) {
        let row = self.row;
        let own = |cohort: usize, key: Key| key.child(purpose::FIRST_BLADES).child(cohort as u64);
        if row.blade_stress_sigma > 0.0 {
            for life in lives {
                for (index, cohort) in row.cohorts.iter().enumerate() {
                    self.sow_scattered(life, cohort, own(index, self.lives[life].key), 0);
                }
            }
            return;
        }
        // All are sought before any is planted: neither waits for the other.
        let mut seeker = std::mem::take(&mut self.seeker);
        seeker.searches.clear();
        for life in lives.clone() {
            for (index, cohort) in row.cohorts.iter().enumerate() {
                let key = own(index, self.lives[life].key);
                let mut search =
                    Search { life, cohort: index, row_factor: self.lives[life].row_factor, first: key.draw(0) };
                for _ in 0..blocks_foreseen(&row.classes, cohort, search.row_factor) {
                    seeker.searches.push(search);
                    search.first = search.first.ahead(DRAWS);
                }
            }
        }
        seeker.seek(&row.classes, |search| &row.cohorts[search.cohort]);
        let mut begin = 0;
        for life in lives {
            for (index, cohort) in row.cohorts.iter().enumerate() {
                let here = seeker.searches[begin..].iter();
                let count = here.take_while(|search| (search.life, search.cohort) == (life, index)).count();
                let foreseen = &seeker.sought[begin..begin + count];
                begin += count;
                self.plant_sought(life, cohort, own(index, self.lives[life].key), 0, foreseen);
            }
        }
        self.seeker = seeker;
    }

    /// New blades of equal age in the whole row.
    fn sow(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64) {
        if self.row.blade_stress_sigma > 0.0 {
            self.sow_scattered(life, cohort, key, generation);
        } else {
            self.plant_sought(life, cohort, key, generation, &[]);
        }
    }

    /// Blades of scattered stress.
    ///
    /// They are sought by skipping: a blade is a candidate with the probability that a blade at
    /// the upper end of its stress band cracks, and is kept if its own hazard reaches the draw.
    #[inline(never)]
    fn sow_scattered(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64) {
        let row = self.row;
        let sigma = row.blade_stress_sigma;
        let row_factor = self.lives[life].row_factor;
        let mut bands = std::mem::take(&mut self.bands);
        bands.clear();
        let mut below = 0.0;
        for &end in &BANDS {
            let up_to = normal_cdf(end);
            let stress = sigma * end;
            let hazard = if end.is_finite() {
                row_factor * total_hazard(&row.classes, &cohort.hazards, stress)
            } else {
                f64::INFINITY
            };
            bands.push(Band { below, probability: up_to - below, cracks: -(-hazard).exp_m1() });
            below = up_to;
        }
        let candidates: f64 = bands.iter().map(|band| band.probability * band.cracks).sum();
        // Hazard of being a candidate: a blade that cracks for certain is one but for one chance in 2^53.
        let per_blade = -(-candidates.min(1.0 - f64::EPSILON / 2.0)).ln_1p();
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
                self.crack_blade(&new, cohort, first, || stream.take());
            }
            position += 1.0;
        }
        self.bands = bands;
    }

    /// Blades of average stress that crack: the first have been sought, the others are as they are needed.
    fn plant_sought(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64, foreseen: &[Sought]) {
        let row = self.row;
        let (mut position, count) = (0.0, cohort.blades.len() as f64);
        let mut search = Search { life, cohort: 0, row_factor: self.lives[life].row_factor, first: key.draw(0) };
        let mut foreseen = foreseen.iter();
        let mut unforeseen = Sought::default();
        loop {
            let sought = foreseen.next().unwrap_or_else(|| {
                let (mut ways, unforeseen) = ([0.0; LANES], std::slice::from_mut(&mut unforeseen));
                seek_each(&[search], &row.classes, |_| cohort, &mut ways, unforeseen);
                &unforeseen[0]
            });
            for lane in 0..LANES {
                position += sought.skipped[lane];
                if position >= count {
                    return;
                }
                let new = NewBlade { life, blade: cohort.blades[position as usize], generation, stress: 0.0 };
                position += 1.0;
                if sought.has_more[lane] == 0.0 {
                    let (class, origin) = (sought.class[lane] as usize, sought.origin[lane] as u32);
                    self.plant(&new, cohort, class, origin, sought.hazard[lane]);
                } else {
                    // What says that it has more is the way to the next; other draws are the blade's own.
                    let mut next = Some(search.first.ahead(2 * lane as u64 + 1));
                    let mut later = Stream::new(key.child(u64::from(new.blade)));
                    let draws = || next.take().unwrap_or_else(|| later.take());
                    self.crack_blade(&new, cohort, sought.reach[lane], draws);
                }
            }
            search.first = search.first.ahead(DRAWS);
        }
    }

    /// A new blade at an outage: its cracks, as indices.
    #[inline]
    pub fn renew_at_outage(&mut self, life: usize, blade: u32, generation: u64, outage: usize) -> Range<u32> {
        if generation == 1 && self.stays_sound(life, blade, outage) {
            return 0..0;
        }
        self.renew_or_take(NewBlade { life, blade, generation, stress: 0.0 }, outage)
    }

    /// Whether the first new blade at a position is known not to crack, if it is new from an outage on: most are.
    #[inline(always)]
    fn stays_sound(&self, life: usize, blade: u32, outage: usize) -> bool {
        self.outlives(self.outlived(life as u32, blade), outage as u32)
    }

    /// The same for a hazard that a blade is known to outlive; never beyond the last outage.
    #[inline(always)]
    pub fn outlives(&self, outlived: f64, outage: u32) -> bool {
        let hazards = &self.row.fresh_hazards;
        // Without a branch: nobody foresees which outages there are.
        hazards[(outage as usize).min(hazards.len() - 1)] <= outlived
    }

    /// The hazard that the first new blade at a position outlives, for row factor 1, where it is known.
    #[inline(always)]
    pub fn outlived(&self, life: u32, blade: u32) -> f64 {
        self.outlived[self.position(life, blade)]
    }

    /// Works out what hazard the first new blades outlive, for all that may be needed soon: in place of those that
    /// crack, and of those that are falsely called.
    pub(super) fn draw_next(&mut self) {
        let blades = self.row.blades;
        self.outlived.clear();
        self.outlived.resize(self.positions(), f64::NAN);
        if self.row.blade_stress_sigma > 0.0 {
            return;
        }
        self.replaced.clear();
        self.replaced.extend(self.cracks.iter().map(|crack| (crack.life, crack.blade)));
        for calls in &self.false_calls {
            self.replaced.extend(calls.all().iter().map(|call| (call.life, call.blade)));
        }
        self.keys.clear();
        self.keys.extend(self.replaced.iter().map(|&(life, _)| self.lives[life as usize].blades));
        self.kept.resize(self.replaced.len(), 0.0);
        draw_next_each(&self.keys, &self.replaced, &mut self.kept);
        for (&(life, blade), u) in self.replaced.iter().zip(&self.kept) {
            // Without a logarithm: exp(-x) >= 1 - x.
            let outlived = (1.0 - u) / self.lives[life as usize].row_factor;
            self.outlived[(life * blades + blade) as usize] = outlived;
        }
    }

    /// A new blade at any moment: its cracks, as indices.
    pub fn renew_at(&mut self, life: usize, blade: u32, generation: u64, year: f64) -> Range<u32> {
        // A blade that is new later has less time to crack in.
        if let Some(before) = self.row.finder.count_before(year).checked_sub(1)
            && generation == 1
            && self.stays_sound(life, blade, before)
        {
            return 0..0;
        }
        let from = self.cracks.len();
        self.renew_unseen(life, blade, generation, year);
        self.see(from)
    }

    /// New blades in the whole row: their cracks, as indices.
    #[inline(never)]
    pub fn renew_row(&mut self, life: usize, generation: u64, year: f64) -> Range<u32> {
        let from = self.cracks.len();
        let cohort = Cohort::new(&self.row.classes, year, (0..self.row.blades).collect());
        let key = self.lives[life].key.child(purpose::FIRST_BLADES).child(1 << 32 | generation);
        self.sow(life, &cohort, key, generation);
        self.start_cracks();
        self.see(from)
    }

    /// A new blade at any moment, before sizes at outages are asked for.
    pub(super) fn renew_unseen(&mut self, life: usize, blade: u32, generation: u64, year: f64) {
        let mut fresh = std::mem::take(&mut self.fresh);
        fresh.install(&self.row.classes, year);
        if self.sow_blade(NewBlade { life, blade, generation, stress: 0.0 }, &fresh) {
            self.start_cracks();
        }
        self.fresh = fresh;
    }

    /// Makes ready the first new blades that are expected at outages, all together: one by one, as they are asked
    /// for, they would cost three times as much. Changes no number: a blade is the same whenever it is made.
    pub fn make_ready(&mut self, expected: &[Replacement]) {
        let from = self.cracks.len() as u32;
        self.lives.iter_mut().for_each(|life| life.ready.clear());
        for &Replacement { life, blade, outage } in expected {
            let at = life as usize;
            let is_ready = || self.lives[at].ready.iter().any(|ready| ready.is(blade, outage));
            if self.stays_sound(at, blade, outage as usize) || is_ready() {
                continue;
            }
            let begin = self.sprouts.len() as u32;
            self.sow_blade(NewBlade { life: at, blade, generation: 1, stress: 0.0 }, &self.row.fresh[outage as usize]);
            let cracks = from + begin..from + self.sprouts.len() as u32;
            self.lives[at].ready.push(Ready { blade, outage, cracks });
        }
        self.start_cracks();
        self.see(from as usize);
    }

    /// A new blade that may crack.
    #[inline(never)]
    fn renew_or_take(&mut self, new: NewBlade, outage: usize) -> Range<u32> {
        if new.generation == 1
            && let Some(ready) = self.lives[new.life].ready.iter().find(|ready| ready.is(new.blade, outage as u32))
        {
            return ready.cracks.clone();
        }
        let from = self.cracks.len();
        if self.sow_blade(new, &self.row.fresh[outage]) {
            self.start_cracks();
        }
        self.see(from)
    }

    /// The cracks of one new blade, if it has any: returns whether.
    fn sow_blade(&mut self, new: NewBlade, fresh: &Cohort) -> bool {
        let sigma = self.row.blade_stress_sigma;
        let (key, row_factor) = (self.blade_key(&new), self.lives[new.life].row_factor);
        let u = key.uniform(0);
        // Most do not, which is seen without a logarithm: exp(-x) >= 1 - x.
        if sigma <= 0.0 && row_factor * fresh.hazard <= 1.0 - u {
            return false;
        }
        let mut stream = Stream::new(key.child(0));
        let stress = if sigma > 0.0 { sigma * normal_quantile(stream.uniform()) } else { 0.0 };
        let first = -ln(u);
        let cracks = first < row_factor * total_hazard(&self.row.classes, &fresh.hazards, stress);
        if cracks {
            self.crack_blade(&NewBlade { stress, ..new }, fresh, first, || stream.take());
        }
        cracks
    }

    #[inline(always)]
    fn blade_key(&self, new: &NewBlade) -> Key {
        self.lives[new.life].blades.child(new.number())
    }

    /// Cracks of one blade, the first at a given cumulative hazard: origins stand in a line, each
    /// with its hazard until the end, and the next to crack is an exponential step further on.
    #[inline(never)]
    fn crack_blade(&mut self, new: &NewBlade, cohort: &Cohort, first: f64, mut draws: impl FnMut() -> Draw) {
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
                // Nearly always the last that is taken here: alone, it costs less than some together.
                let u = draws().uniform();
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

/// The draws that say whether the first new blades crack.
#[multiversion(targets = "simd")]
fn draw_next_each(lives: &[Key], replaced: &[(u32, u32)], draws: &mut [f64]) {
    for ((draw, key), &(_, blade)) in draws.iter_mut().zip(lives).zip(replaced) {
        *draw = key.child(1 << 32 | u64::from(blade)).uniform(0);
    }
}

/// Whole part of a number that is not negative; numbers beyond what a row can hold stay beyond.
#[inline(always)]
pub(super) fn whole(number: f64) -> f64 {
    const FAR: f64 = 1e15;
    const ROUND: f64 = 6_755_399_441_055_744.0; // 1.5 * 2^52: adding it rounds to an integer
    // Not through an integer: that conversion minds what does not fit, lane by lane.
    let nearest = (number + ROUND) - ROUND;
    let whole = if nearest > number { nearest - 1.0 } else { nearest };
    if number < FAR { whole } else { FAR }
}

/// Hazard of all origins of a blade until the end, for row factor 1.
fn total_hazard(classes: &[Class], hazards: &[f64], stress: f64) -> f64 {
    classes.iter().zip(hazards).map(|(class, hazard)| class.origins * hazard * stress_factor(class, stress)).sum()
}

#[inline]
fn stress_factor(class: &Class, stress: f64) -> f64 {
    if stress == 0.0 { 1.0 } else { exp(class.stress_exponent * stress) }
}
