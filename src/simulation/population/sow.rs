//! Which blades crack, where, when, and until when: only blades that crack are visited.

use super::super::plan::{Class, Cohort, Followed, RowPlan, Ways};
use super::{Crack, Population, Seed, draw, purpose};
use crate::math::{exp, exp_each, ln, normal_cdf, normal_each, normal_quantile};
use crate::model::growth::{Course, CrackEnd, DiagramLimit, GrowthPath, Limit};
use crate::random::{Key, Stream};

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

impl Population<'_> {
    /// New blades of equal age, all at once: only blades that crack are visited.
    ///
    /// Blades are sought by skipping: a blade is a candidate with the probability that a blade at
    /// the upper end of its stress band cracks, and is kept if its own hazard reaches the draw.
    pub(super) fn sow(&mut self, life: usize, cohort: &Cohort, key: Key, generation: u64) {
        let row = self.row;
        let sigma = row.blade_stress_sigma;
        let Cohort { installed, hazards, .. } = cohort;
        let row_factor = self.lives[life].row_factor;
        let hazard_at = |stress: f64| row_factor * total_hazard(&row.classes, hazards, stress);
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
                (0.0, per_blade, rest)
            };
            if first < hazard {
                let blade = cohort.blades[position as usize];
                let blade_key = self.blade_key(life, blade, generation);
                self.crack_blade(life, blade, blade_key, stress, installed, hazards, first, &mut stream);
            }
            position += 1.0;
        }
        self.bands = bands;
    }

    /// A new blade at an outage.
    #[inline]
    pub fn renew_at_outage(&mut self, life: usize, blade: u32, generation: u64, outage: usize) {
        let row = self.row;
        let fresh = &row.fresh[outage];
        let key = self.blade_key(life, blade, generation);
        // Most new blades never crack, and this is seen without a logarithm: exp(-x) >= 1 - x.
        let u = key.uniform(0);
        if row.blade_stress_sigma == 0.0 && u <= 1.0 - self.lives[life].row_factor * fresh.hazard {
            return;
        }
        self.renew_and_see(life, blade, key, u, fresh);
    }

    /// A new blade at any moment.
    pub fn renew_at(&mut self, life: usize, blade: u32, generation: u64, year: f64) {
        let key = self.blade_key(life, blade, generation);
        let fresh = Cohort::new(&self.row.classes, year, Vec::new());
        self.renew_and_see(life, blade, key, key.uniform(0), &fresh);
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
    pub(super) fn renew_unseen(&mut self, life: usize, blade: u32, key: Key, year: f64) {
        let fresh = Cohort::new(&self.row.classes, year, Vec::new());
        self.renew(life, blade, key, key.uniform(0), &fresh);
    }

    #[inline(never)]
    fn renew_and_see(&mut self, life: usize, blade: u32, key: Key, u: f64, fresh: &Cohort) {
        let from = self.cracks.len();
        self.renew(life, blade, key, u, fresh);
        self.see(from);
    }

    fn renew(&mut self, life: usize, blade: u32, key: Key, u: f64, fresh: &Cohort) {
        let Cohort { installed, hazards, .. } = fresh;
        let sigma = self.row.blade_stress_sigma;
        let mut stream = Stream::new(key.child(0));
        let stress = if sigma > 0.0 { sigma * normal_quantile(stream.uniform()) } else { 0.0 };
        let first = -ln(u);
        if first < self.lives[life].row_factor * total_hazard(&self.row.classes, hazards, stress) {
            self.crack_blade(life, blade, key, stress, installed, hazards, first, &mut stream);
            self.start_cracks();
        }
    }

    /// Cracks of one blade, the first at a given cumulative hazard: origins stand in a line, each
    /// with its hazard until the end, and the next to crack is an exponential step further on.
    #[allow(clippy::too_many_arguments)]
    fn crack_blade(
        &mut self,
        life: usize,
        blade: u32,
        key: Key,
        stress: f64,
        installed: &[f64],
        hazards: &[f64],
        first: f64,
        stream: &mut Stream,
    ) {
        let row = self.row;
        let row_factor = self.lives[life].row_factor;
        let mut reach = first;
        let mut begin = 0.0;
        for (index, class) in row.classes.iter().enumerate() {
            let factor = row_factor * stress_factor(class, stress);
            let per_origin = factor * hazards[index];
            let end = begin + class.origins * per_origin;
            while reach < end {
                let origin = whole((reach - begin) / per_origin).min(class.origins - 1.0);
                let hazard = (reach - begin - origin * per_origin).max(0.0) / factor;
                let crack_key = key.child(class.name.wrapping_add(origin as u64));
                let born_year = class.clock.year_of(installed[index] + class.shape.reading_at(hazard));
                if born_year < row.end_year {
                    let (life, class, origin) = (life as u32, index as u32, origin as u32);
                    self.seeds.push(Seed { key: crack_key, life, blade, class, origin, stress, born_year });
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
    pub(super) fn start_cracks(&mut self) {
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
        let depth_draws = std::mem::take(&mut self.depth_draws);
        let growth_draws = std::mem::take(&mut self.growth_draws);
        let mut index = 0;
        while index < seeds.len() {
            let seed = &seeds[index];
            match &row.classes[seed.class as usize].ways {
                Ways::Tabled(path) => {
                    let crack = self.start_crack(path, seed, depth_draws[index], growth_draws[index]);
                    self.cracks.push(crack);
                    index += 1;
                }
                Ways::Followed(followed) => {
                    let here = seeds[index..].iter().take_while(|other| followed.at_one_place(seed, other)).count();
                    let group = index..index + here;
                    self.start_followed(
                        followed,
                        &seeds[group.clone()],
                        &depth_draws[group.clone()],
                        &growth_draws[group],
                    );
                    index += here;
                }
            }
        }
        (self.depth_draws, self.growth_draws) = (depth_draws, growth_draws);
        self.seeds = seeds;
        self.seeds.clear();
    }

    #[inline(always)]
    fn start_crack(&self, path: &GrowthPath, seed: &Seed, depth_mm: f64, growth_factor: f64) -> Crack {
        let row = self.row;
        let Seed { key, life, blade, class: index, origin, stress, born_year } = *seed;
        let class = &row.classes[index as usize];
        let aspect = match class.initial_aspect.fixed() {
            Some(aspect) => aspect,
            None => class.initial_aspect.quantile(key.uniform(draw::ASPECT)),
        };
        let course = path.course(depth_mm, aspect);
        let rate = self.class_rate[life as usize * row.classes.len() + index as usize] * growth_factor;
        let born_starts = row.starts.at(born_year);
        let lost_starts = tabled_loss(row, class, path, key, stress, course, rate, born_starts);
        let (lost_year, last) = if lost_starts <= row.starts_at_end {
            let year = row.starts.year_of(lost_starts).max(born_year);
            (year, row.finder.count_before(year, &row.outages))
        } else {
            (f64::INFINITY, row.outages.len())
        };
        let first = row.finder.count_before(born_year, &row.outages);
        Crack {
            key,
            life,
            blade,
            first: first as u32,
            last: last.max(first) as u32,
            class: index,
            origin,
            place: 0,
            lost_year,
            end_year: lost_year,
            born_year,
            born_starts,
            course,
            rate,
            sizes: self.sizes.len() as u32,
        }
    }
}

/// Starts at which the blade of a crack on a tabulated way is lost: when the crack is critical in an ordinary
/// start, or at the first overspeed that finds it critical under its higher stress.
#[allow(clippy::too_many_arguments)]
#[inline(always)]
pub(in crate::simulation) fn tabled_loss(
    row: &RowPlan,
    class: &Class,
    path: &GrowthPath,
    key: Key,
    stress: f64,
    course: Course,
    rate: f64,
    born_starts: f64,
) -> f64 {
    let end = crack_end(class, stress, key);
    let ordinary = born_starts + path.advance_to(course, end) / rate;
    match (row.overspeed, end) {
        (Some(overspeed), CrackEnd::Intensity(intensity)) => {
            let end = CrackEnd::Intensity(intensity / overspeed.stress_factor());
            ordinary.min(overspeed.next_at_starts(born_starts + path.advance_to(course, end) / rate))
        }
        _ => ordinary,
    }
}

/// The end of a crack with the toughness that is its own; `stress` is the logarithm of its blade's factor on
/// stress.
#[inline(always)]
fn crack_end(class: &Class, stress: f64, key: Key) -> CrackEnd {
    match &class.limit {
        Limit::Depth { depth_mm } => CrackEnd::Depth(*depth_mm),
        Limit::SectionFraction { fraction } => CrackEnd::SectionFraction(*fraction),
        // Cracks with a diagram are followed one by one.
        Limit::Toughness { toughness_mpa_sqrt_m } | Limit::Diagram(DiagramLimit { toughness_mpa_sqrt_m, .. }) => {
            CrackEnd::Intensity(toughness_mpa_sqrt_m.quantile(key.uniform(draw::TOUGHNESS)) * exp(-stress))
        }
    }
}

/// Toughness of a crack's blade, where its limit has one.
pub(in crate::simulation) fn own_toughness(class: &Class, key: Key) -> Option<f64> {
    match &class.limit {
        Limit::Toughness { toughness_mpa_sqrt_m } | Limit::Diagram(DiagramLimit { toughness_mpa_sqrt_m, .. }) => {
            Some(toughness_mpa_sqrt_m.quantile(key.uniform(draw::TOUGHNESS)))
        }
        Limit::Depth { .. } | Limit::SectionFraction { .. } => None,
    }
}

impl Followed {
    /// Whether two origins stand at one place, where their cracks can join.
    fn at_one_place(&self, one: &Seed, other: &Seed) -> bool {
        let place = |seed: &Seed| {
            // Cracks that never join are each at a place of their own.
            (seed.life, seed.blade, seed.class, if self.joining.is_some() { seed.origin / self.origins } else { seed.origin })
        };
        place(one) == place(other)
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
