//! Which origins crack, and when.
//!
//! The origins of one hot spot on blades of equal age crack one after another, in the order of their hazard: the
//! arrivals of a Poisson process, of which only the first at each origin counts. Arrivals beyond the end of the study
//! are not drawn, and nothing that is drawn depends on where that end is. Work goes with the origins that crack.

use super::super::plan::{Class, Cohort};
use super::{Population, Ready, Replacement, Sprout, purpose};
use crate::math::{LANES, exp, exp_each, in_two_steps, ln, ln_of_split, normal_each, normal_quantile, split};
use crate::random::{Draw, Key};
use multiversion::multiversion;
use std::ops::Range;

/// Hazard per origin up to which origins are drawn as arrivals; each that has not cracked by then draws its own. Without
/// this an origin sure to crack would arrive again and again.
const MOST_PER_ORIGIN: f64 = 1.0;

/// Child of a blade's key from which its origins draw when they crack; other children are its cracks'.
const ORIGINS: u64 = 1;

/// A blade that is new.
#[derive(Debug, Clone, Copy)]
struct NewBlade {
    life: usize,
    blade: u32,
    generation: u64,
}

impl NewBlade {
    /// What keys its draws.
    #[inline(always)]
    fn number(&self) -> u64 {
        self.generation << 32 | u64::from(self.blade)
    }
}

/// An origin that cracks.
#[derive(Debug, Clone, Copy)]
struct Arrival {
    /// Its blade among those that are drawn together, class and origin: in this order cracks are kept.
    place: u64,
    /// Cumulative hazard at which it cracks, for row factor and stress factor 1.
    hazard: f64,
}

impl Arrival {
    #[inline(always)]
    fn new(blade: usize, class: usize, origin: u32, hazard: f64) -> Self {
        Arrival { place: (blade as u64) << 48 | (class as u64) << 32 | u64::from(origin), hazard }
    }

    #[inline(always)]
    fn blade(&self) -> usize {
        (self.place >> 48) as usize
    }

    #[inline(always)]
    fn class(&self) -> usize {
        (self.place >> 32 & 0xffff) as usize
    }

    #[inline(always)]
    fn origin(&self) -> u32 {
        self.place as u32
    }
}

/// Room for drawing cracks; kept from life to life.
#[derive(Debug, Default)]
pub(super) struct Sower {
    arrivals: Vec<Arrival>,
    /// The first draw of each block of exponential numbers that is drawn beforehand, and the numbers.
    blocks: Vec<Draw>,
    exponentials: Vec<f64>,
    /// Of blades drawn together: logarithms of their stress factors, and for the class at hand sums of their factors on
    /// the hazard, up to each.
    stresses: Vec<f64>,
    sums: Vec<f64>,
}

impl Population<'_> {
    /// The first blades of some lives.
    pub(super) fn sow_cohorts(&mut self, lives: &[u32]) {
        let row = self.row;
        let own = |cohort: usize, key: Key| key.child(purpose::FIRST_BLADES).child(cohort as u64);
        // The first arrivals of all lives are drawn at once.
        let mut sower = std::mem::take(&mut self.sower);
        sower.blocks.clear();
        for life in lives.iter().map(|&life| life as usize) {
            for (index, cohort) in row.cohorts.iter().enumerate() {
                let key = own(index, self.lives[life].key);
                for (class, hazard) in row.classes.iter().zip(&cohort.hazards) {
                    let first = key.child(class.name).draw(0);
                    let count = blocks_foreseen(class, cohort, self.lives[life].row_factor * hazard);
                    sower.blocks.extend((0..count).map(|block| first.ahead(2 * (block * LANES) as u64)));
                }
            }
        }
        sower.exponentials.resize(sower.blocks.len() * LANES, 0.0);
        draw_exponentials(&sower.blocks, &mut sower.exponentials);
        let exponentials = std::mem::take(&mut sower.exponentials);
        self.sower = sower;
        let mut foreseen = &exponentials[..];
        for life in lives.iter().map(|&life| life as usize) {
            for (index, cohort) in row.cohorts.iter().enumerate() {
                let key = own(index, self.lives[life].key);
                self.sow(life, cohort, key, 0, &mut foreseen);
            }
        }
        self.sower.exponentials = exponentials;
    }

    /// New blades of equal age; the first exponential numbers of each class may have been drawn already.
    fn sow(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64, foreseen: &mut &[f64]) {
        let row = self.row;
        let row_factor = self.lives[life].row_factor;
        let mut sower = std::mem::take(&mut self.sower);
        sower.arrivals.clear();
        self.draw_stresses(life, cohort, generation, &mut sower.stresses);
        let mut sure = false;
        for (index, (class, &end)) in row.classes.iter().zip(&cohort.hazards).enumerate() {
            let key = key.child(class.name);
            let drawn = LANES * blocks_foreseen(class, cohort, row_factor * end).min(foreseen.len() / LANES);
            let (exponentials, rest) = foreseen.split_at(drawn);
            *foreseen = rest;
            let blades = cohort.blades.len() as f64;
            let factors = if sower.stresses.is_empty() { blades } else { sower.sum_factors(class) };
            let most = MOST_PER_ORIGIN * blades / (row_factor * factors);
            sure |= most < end;
            let until = most.min(end);
            let rate = row_factor * class.origins * factors;
            for_each_arrival(key, rate, until, exponentials, |hazard, u| {
                let (blade, origin) = sower.place(class, blades, u);
                sower.arrivals.push(Arrival::new(blade, index, origin, hazard));
            });
        }
        if sower.arrivals.len() > 1 {
            // Those of one blade stand together; of an origin the first counts.
            sower
                .arrivals
                .sort_unstable_by(|one, other| one.place.cmp(&other.place).then(one.hazard.total_cmp(&other.hazard)));
            sower.arrivals.dedup_by_key(|arrival| arrival.place);
        }
        if sure {
            self.add_sure_cracks(life, cohort, generation, &mut sower);
        }
        for arrival in &sower.arrivals {
            let blade = arrival.blade();
            let stress = sower.stresses.get(blade).copied().unwrap_or(0.0);
            self.plant(&NewBlade { life, blade: cohort.blades[blade], generation }, cohort, stress, arrival);
        }
        self.sower = sower;
    }

    /// Logarithms of the stress factors of blades; none where stress does not scatter.
    fn draw_stresses(&self, life: usize, cohort: &Cohort, generation: u64, stresses: &mut Vec<f64>) {
        let sigma = self.row.blade_stress_sigma;
        stresses.clear();
        if sigma > 0.0 {
            let key = |&blade: &u32| self.lives[life].blades.child(NewBlade { life, blade, generation }.number());
            stresses.extend(cohort.blades.iter().map(|blade| key(blade).uniform(0)));
            normal_each(stresses);
            stresses.iter_mut().for_each(|stress| *stress *= sigma);
        }
    }

    /// Cracks of origins that have not cracked by [`MOST_PER_ORIGIN`]: each draws the rest of its hazard.
    #[inline(never)]
    fn add_sure_cracks(&mut self, life: usize, cohort: &Cohort, generation: u64, sower: &mut Sower) {
        let row = self.row;
        let row_factor = self.lives[life].row_factor;
        let blades = cohort.blades.len() as f64;
        let early = std::mem::take(&mut sower.arrivals);
        let mut early = early.into_iter().peekable();
        let factors: Vec<f64> = row
            .classes
            .iter()
            .map(|class| if sower.stresses.is_empty() { blades } else { sower.sum_factors(class) })
            .collect();
        for (at, &blade) in cohort.blades.iter().enumerate() {
            let key = self.lives[life].blades.child(NewBlade { life, blade, generation }.number()).child(ORIGINS);
            let stress = sower.stresses.get(at).copied().unwrap_or(0.0);
            for (index, class) in row.classes.iter().enumerate() {
                let most = MOST_PER_ORIGIN * blades / (row_factor * factors[index]);
                let per_hazard = 1.0 / (row_factor * stress_factor(class, stress));
                let key = key.child(class.name);
                for origin in 0..class.origins as u32 {
                    let here = Arrival::new(at, index, origin, 0.0).place;
                    if let Some(arrival) = early.next_if(|arrival| arrival.place == here) {
                        sower.arrivals.push(arrival);
                    } else if most < cohort.hazards[index] {
                        let hazard = most - ln(key.child(u64::from(origin)).uniform(0)) * per_hazard;
                        if hazard < cohort.hazards[index] {
                            sower.arrivals.push(Arrival { place: here, hazard });
                        }
                    }
                }
            }
        }
    }

    /// A crack begins at an origin.
    #[inline(always)]
    fn plant(&mut self, new: &NewBlade, cohort: &Cohort, stress: f64, arrival: &Arrival) {
        let class = arrival.class();
        self.sprouts.push(Sprout {
            parent: self.lives[new.life].blades,
            blade_number: new.number(),
            crack_number: self.row.classes[class].name.wrapping_add(u64::from(arrival.origin())),
            hazard: arrival.hazard,
            installed: cohort.installed[class],
            stress,
            life: new.life as u32,
            class: class as u32,
            origin: arrival.origin(),
        });
    }

    /// The cracks of one new blade, if it has any: returns whether.
    fn sow_blade(&mut self, new: NewBlade, fresh: &Cohort) -> bool {
        let row = self.row;
        let before = self.sprouts.len();
        let key = self.lives[new.life].blades.child(new.number());
        let row_factor = self.lives[new.life].row_factor;
        let sigma = row.blade_stress_sigma;
        let stress = if sigma > 0.0 { sigma * normal_quantile(key.uniform(0)) } else { 0.0 };
        for (index, (class, &end)) in row.classes.iter().zip(&fresh.hazards).enumerate() {
            let factor = row_factor * stress_factor(class, stress);
            let (rate, most) = (factor * class.origins, MOST_PER_ORIGIN / factor);
            let key = key.child(ORIGINS).child(class.name);
            // Most do not crack, which is seen without a logarithm: exp(-x) >= 1 - x.
            if rate * end <= 1.0 - key.uniform(0) {
                continue;
            }
            self.sow_origins(&new, fresh, stress, index, key, rate, [most, end]);
        }
        self.sprouts.len() > before
    }

    /// The cracks of one class in one new blade: arrivals until `most`, then each origin by itself until `end`.
    #[inline(never)]
    #[allow(clippy::too_many_arguments)]
    fn sow_origins(
        &mut self,
        new: &NewBlade,
        fresh: &Cohort,
        stress: f64,
        index: usize,
        key: Key,
        rate: f64,
        [most, end]: [f64; 2],
    ) {
        let class = &self.row.classes[index];
        let mut arrivals = std::mem::take(&mut self.sower.arrivals);
        arrivals.clear();
        for_each_arrival(key, rate, most.min(end), &[], |hazard, u| {
            let origin = whole(u * class.origins).min(class.origins - 1.0) as u32;
            if !arrivals.iter().any(|arrival: &Arrival| arrival.origin() == origin) {
                arrivals.push(Arrival::new(0, index, origin, hazard));
            }
        });
        if most < end {
            let early = arrivals.len();
            for origin in 0..class.origins as u32 {
                if !arrivals[..early].iter().any(|arrival| arrival.origin() == origin) {
                    let hazard = most - ln(key.child(u64::from(origin)).uniform(0)) * class.origins / rate;
                    if hazard < end {
                        arrivals.push(Arrival::new(0, index, origin, hazard));
                    }
                }
            }
        }
        arrivals.sort_unstable_by_key(|arrival| arrival.place);
        for arrival in &arrivals {
            self.plant(new, fresh, stress, arrival);
        }
        self.sower.arrivals = arrivals;
    }

    /// A new blade at an outage: its cracks, as indices.
    #[inline]
    pub fn renew_at_outage(&mut self, life: usize, blade: u32, generation: u64, outage: usize) -> Range<u32> {
        if generation == 1 && self.stays_sound(life, blade, outage) {
            return 0..0;
        }
        self.renew_or_take(NewBlade { life, blade, generation }, outage)
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
        first_blade_each(&mut self.keys, &self.replaced);
        self.kept.resize(self.replaced.len(), 0.0);
        for (class, share) in self.row.classes.iter().zip(&self.row.fresh_shares) {
            draw_next_each(&self.keys, class.name, &mut self.kept);
            for (&(life, blade), u) in self.replaced.iter().zip(&self.kept) {
                // Without a logarithm: exp(-x) >= 1 - x.
                let outlived = (1.0 - u) / (self.lives[life as usize].row_factor * share);
                let known = &mut self.outlived[(life * blades + blade) as usize];
                // Not `min`, which minds not-a-numbers.
                *known = if *known <= outlived { *known } else { outlived };
            }
        }
    }

    /// A new blade at any moment: its cracks, as indices.
    pub fn renew_at(&mut self, life: usize, blade: u32, generation: u64, year: f64) -> Range<u32> {
        // A blade that is new later has less time to crack in.
        if let Some(before) = self.row.calendar.count_before(year).checked_sub(1)
            && generation == 1
            && self.stays_sound(life, blade, before)
        {
            return 0..0;
        }
        let from = self.cracks.len();
        let mut fresh = std::mem::take(&mut self.fresh);
        fresh.install(&self.row.classes, year);
        if self.sow_blade(NewBlade { life, blade, generation }, &fresh) {
            self.start_cracks();
        }
        self.fresh = fresh;
        self.see(from)
    }

    /// New blades in the whole row: their cracks, as indices.
    #[inline(never)]
    pub fn renew_row(&mut self, life: usize, generation: u64, year: f64) -> Range<u32> {
        let from = self.cracks.len();
        let cohort = Cohort::new(&self.row.classes, year, (0..self.row.blades).collect());
        let key = self.lives[life].key.child(purpose::FIRST_BLADES).child(1 << 32 | generation);
        self.sow(life, &cohort, key, generation, &mut &[][..]);
        self.start_cracks();
        self.see(from)
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
            self.sow_blade(NewBlade { life: at, blade, generation: 1 }, &self.row.fresh[outage as usize]);
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
}

impl Sower {
    /// The sum of the blades' factors on the hazard of a class; notes the sums up to each blade.
    fn sum_factors(&mut self, class: &Class) -> f64 {
        self.sums.clear();
        self.sums.extend(self.stresses.iter().map(|stress| class.stress_exponent * stress));
        exp_each(&mut self.sums);
        let mut sum = 0.0;
        for factor in &mut self.sums {
            sum += *factor;
            *factor = sum;
        }
        sum
    }

    /// The blade and the origin that a uniform number picks, each as often as its hazard says.
    #[inline(always)]
    fn place(&self, class: &Class, blades: f64, u: f64) -> (usize, u32) {
        let (blade, within) = if self.stresses.is_empty() {
            let blade = whole(u * blades).min(blades - 1.0);
            (blade as usize, u * blades - blade)
        } else {
            let wanted = u * self.sums[self.sums.len() - 1];
            let blade = self.sums.partition_point(|sum| *sum <= wanted).min(self.sums.len() - 1);
            let before = if blade == 0 { 0.0 } else { self.sums[blade - 1] };
            (blade, (wanted - before) / (self.sums[blade] - before))
        };
        (blade, whole(within.max(0.0) * class.origins).min(class.origins - 1.0) as u32)
    }
}

/// Visits the arrivals of a Poisson process up to a hazard, each with a uniform number of its own. Arrival i takes draws
/// 2 i and 2 i + 1 of the key; the exponential numbers of the first may have been made already.
#[inline(always)]
fn for_each_arrival(key: Key, rate: f64, until: f64, made: &[f64], mut visit: impl FnMut(f64, f64)) {
    if !(rate * until > 0.0) {
        return;
    }
    let per_rate = 1.0 / rate;
    let (mut hazard, mut draw) = (0.0, key.draw(0));
    let mut made = made.iter();
    loop {
        hazard += per_rate * made.next().copied().unwrap_or_else(|| -ln(draw.uniform()));
        if hazard >= until {
            return;
        }
        visit(hazard, draw.ahead(1).uniform());
        draw = draw.ahead(2);
    }
}

/// Blocks of arrivals that are drawn beforehand: enough for most lives.
fn blocks_foreseen(class: &Class, cohort: &Cohort, hazard: f64) -> usize {
    const MOST: f64 = 8.0;
    let mean = cohort.blades.len() as f64 * class.origins * hazard.min(MOST_PER_ORIGIN);
    ((mean + mean.sqrt()) / LANES as f64).ceil().min(MOST) as usize
}

/// Blocks of exponential numbers, of every second draw.
#[multiversion(targets = "simd")]
fn draw_exponentials(blocks: &[Draw], numbers: &mut [f64]) {
    for (numbers, first) in numbers.as_chunks_mut::<LANES>().0.iter_mut().zip(blocks) {
        *numbers = std::array::from_fn(|lane| first.ahead(2 * lane as u64).uniform());
    }
    in_two_steps(numbers, split, |u| -ln_of_split(u));
}

/// Keys of the origins of the first new blades at some positions, from those of their lives' blades.
#[multiversion(targets = "simd")]
fn first_blade_each(keys: &mut [Key], replaced: &[(u32, u32)]) {
    for (key, &(_, blade)) in keys.iter_mut().zip(replaced) {
        *key = key.child(1 << 32 | u64::from(blade)).child(ORIGINS);
    }
}

/// The draws that say whether a class of origins on some new blades cracks.
#[multiversion(targets = "simd")]
fn draw_next_each(keys: &[Key], class: u64, draws: &mut [f64]) {
    for (draw, key) in draws.iter_mut().zip(keys) {
        *draw = key.child(class).uniform(0);
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

#[inline]
fn stress_factor(class: &Class, stress: f64) -> f64 {
    if stress == 0.0 { 1.0 } else { exp(class.stress_exponent * stress) }
}
