//! Which blades crack, where, when, and until when: only blades that crack are visited.

use super::super::plan::{Class, Cohort, Followed, RowPlan, Ways};
use super::{Crack, Population, Seed, draw, purpose};
use crate::math::{LANES, exp, exp_each, ln, normal_cdf, normal_each, normal_quantile, vectorised};
use crate::model::growth::{Course, CrackEnd, DiagramLimit, GrowthPath, Limit};
use crate::random::{Draw, Key, Stream};

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

vectorised! {
/// Seeks blades that crack, from a draw on.
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
}

vectorised! {
/// A draw of each key.
fn draw_each(keys: &[Key], counter: u64, numbers: &mut [f64]) {
    for (number, key) in numbers.iter_mut().zip(keys) {
        *number = key.uniform(counter);
    }
}
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
                let blade = cohort.blades[position as usize];
                let blade_key = self.blade_key(life, blade, generation);
                self.crack_blade(life, blade, blade_key, stress, cohort, first, &mut stream);
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
                let blade = cohort.blades[position as usize];
                let key = self.blade_key(life, blade, generation);
                position += 1.0;
                if sought.has_more[lane] != 0.0 {
                    let mut stream = Stream::from(next.ahead(2 * lane as u64 + 1));
                    self.crack_blade(life, blade, key, 0.0, cohort, sought.reach[lane], &mut stream);
                    next = stream.next();
                    continue 'seek;
                }
                let (class, origin) = (sought.class[lane] as usize, sought.origin[lane] as u32);
                self.plant(life, blade, key, 0.0, cohort, class, origin, sought.hazard[lane]);
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
        let sigma = self.row.blade_stress_sigma;
        let mut stream = Stream::new(key.child(0));
        let stress = if sigma > 0.0 { sigma * normal_quantile(stream.uniform()) } else { 0.0 };
        let first = -ln(u);
        if first < self.lives[life].row_factor * total_hazard(&self.row.classes, &fresh.hazards, stress) {
            self.crack_blade(life, blade, key, stress, fresh, first, &mut stream);
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
        cohort: &Cohort,
        first: f64,
        stream: &mut Stream,
    ) {
        let row = self.row;
        let row_factor = self.lives[life].row_factor;
        let mut reach = first;
        let mut begin = 0.0;
        for (index, class) in row.classes.iter().enumerate() {
            let factor = row_factor * stress_factor(class, stress);
            let per_origin = factor * cohort.hazards[index];
            let end = begin + class.origins * per_origin;
            while reach < end {
                let origin = whole((reach - begin) / per_origin).min(class.origins - 1.0);
                let hazard = (reach - begin - origin * per_origin).max(0.0) / factor;
                self.plant(life, blade, key, stress, cohort, index, origin as u32, hazard);
                let passed = begin + (origin + 1.0) * per_origin;
                let u = stream.uniform();
                // As above, the common case needs no logarithm.
                let rest = end - passed;
                reach = if index + 1 == row.classes.len() && u <= 1.0 - rest { end } else { passed - ln(u) };
            }
            begin = end;
        }
    }

    /// A crack begins at an origin when a cumulative hazard is reached.
    #[allow(clippy::too_many_arguments)]
    #[inline(always)]
    fn plant(
        &mut self,
        life: usize,
        blade: u32,
        key: Key,
        stress: f64,
        cohort: &Cohort,
        index: usize,
        origin: u32,
        hazard: f64,
    ) {
        let class = &self.row.classes[index];
        let born_year = class.clock.year_of(cohort.installed[index] + class.shape.reading_at(hazard));
        if born_year < self.row.end_year {
            let key = key.child(class.name.wrapping_add(u64::from(origin)));
            self.seed_keys.push(key);
            self.seeds.push(Seed { key, life: life as u32, blade, class: index as u32, origin, stress, born_year });
        }
    }

    /// Works out the growth of the cracks that were sown, and when their blades are lost.
    pub(super) fn start_cracks(&mut self) {
        let row = self.row;
        let seeds = std::mem::take(&mut self.seeds);
        let mut scatter = std::mem::take(&mut self.scatter);
        let room = seeds.len().next_multiple_of(LANES);
        scatter.clear();
        scatter.resize(2 * room, 0.5);
        let (depths, growths) = scatter.split_at_mut(room);
        draw_each(&self.seed_keys, draw::DEPTH, depths);
        draw_each(&self.seed_keys, draw::GROWTH, growths);
        if row.lognormal_depths {
            normal_each(&mut scatter);
        } else {
            for (depth, seed) in depths.iter_mut().zip(&seeds) {
                *depth = row.classes[seed.class as usize].initial_depth.quantile(*depth);
            }
            normal_each(growths);
        }
        let (depths, growths) = scatter.split_at_mut(room);
        for ((depth, growth), seed) in depths.iter_mut().zip(growths.iter_mut()).zip(&seeds) {
            let class = &row.classes[seed.class as usize];
            *growth = class.crack_sigma * *growth + class.growth_exponent * seed.stress;
            if row.lognormal_depths {
                *depth = class.ln_depth_median + class.depth_sigma * *depth;
            }
        }
        exp_each(growths);
        if row.lognormal_depths {
            exp_each(depths);
        }
        let mut index = 0;
        while index < seeds.len() {
            let seed = &seeds[index];
            match &row.classes[seed.class as usize].ways {
                Ways::Tabled(path) => {
                    let crack = self.start_crack(path, seed, depths[index], growths[index]);
                    self.cracks.push(crack);
                    index += 1;
                }
                Ways::Followed(followed) => {
                    let here = seeds[index..].iter().take_while(|other| followed.at_one_place(seed, other)).count();
                    let group = index..index + here;
                    self.start_followed(
                        followed,
                        &seeds[group.clone()],
                        &depths[group.clone()],
                        &growths[group],
                    );
                    index += here;
                }
            }
        }
        (self.scatter, self.seeds) = (scatter, seeds);
        self.seeds.clear();
        self.seed_keys.clear();
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
    if let (GrowthPath::FixedFactor(path), Some(end)) = (path, class.end_coordinate) {
        return born_starts + path.advance_between(course.start, end) / rate;
    }
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
