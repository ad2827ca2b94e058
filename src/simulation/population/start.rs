//! When cracks begin, how they grow, and when their blades are lost.

use super::super::plan::{Class, Followed, RowPlan, Ways};
use super::{Crack, Population, Seed, Sprout, draw};
use crate::math::{LANES, exp, exp_each, normal_each};
use crate::model::growth::{Course, CrackEnd, DiagramLimit, FixedFactor, GrowthPath, Limit};
use crate::random::Key;
use multiversion::multiversion;
use std::ops::Range;

/// Numbers of the cracks that are started together, worked out one after another for all of them.
#[derive(Debug, Default)]
pub(super) struct Starts {
    keys: Vec<Key>,
    numbers: Vec<u64>,
    /// Of each crack the initial depth in mm, then of each the factor on growth; both in whole blocks.
    scatter: Vec<f64>,
    /// First the cumulative hazard, then the year in which it begins.
    born_years: Vec<f64>,
    /// Clock readings at which the blades were installed.
    installed: Vec<f64>,
    born_starts: Vec<f64>,
    /// Starts at which the blade is lost.
    lost_starts: Vec<f64>,
    coordinates: Vec<f64>,
    rates: Vec<f64>,
}

impl Population<'_> {
    /// Works out the growth of the cracks that were sown, and when their blades are lost.
    pub(super) fn start_cracks(&mut self) {
        let row = self.row;
        let sprouts = std::mem::take(&mut self.sprouts);
        let mut starts = std::mem::take(&mut self.starts);
        starts.draw(row, &sprouts);
        let mut index = 0;
        while index < sprouts.len() {
            let class = sprouts[index].class;
            let alike = sprouts[index..].iter().take_while(|sprout| sprout.class == class).count();
            let run = index..index + alike;
            index = run.end;
            let class = &row.classes[class as usize];
            starts.begin(class, run.clone());
            match (&class.ways, class.end_coordinate) {
                (Ways::Tabled { path: GrowthPath::FixedFactor(path), .. }, Some(end)) => {
                    self.start_straight(path, end, &sprouts, &mut starts, run);
                }
                (Ways::Tabled { path, beyond }, _) => {
                    for index in run {
                        let (seed, scatter) = (starts.seed(&sprouts, index), starts.scatter(index));
                        self.start_tabled(path, beyond.as_deref(), &seed, scatter);
                    }
                }
                (Ways::Followed(followed), _) => self.start_places(followed, &sprouts, &starts, run),
            }
        }
        (self.sprouts, self.starts) = (sprouts, starts);
        self.sprouts.clear();
    }

    /// Cracks of one class, on a straight way to one end.
    fn start_straight(&mut self, path: &FixedFactor, end: f64, all: &[Sprout], starts: &mut Starts, run: Range<usize>) {
        let row = self.row;
        starts.born_starts.clear();
        starts.born_starts.extend_from_slice(&starts.born_years[run.clone()]);
        row.starts.at_each(&mut starts.born_starts);
        let room = starts.scatter.len() / 2;
        starts.coordinates.clear();
        starts.coordinates.extend_from_slice(&starts.scatter[run.clone()]);
        path.coordinate_each(&mut starts.coordinates);
        let growths = &starts.scatter[room..][run.clone()];
        let sprouts = &all[run.clone()];
        starts.rates.clear();
        let class_rate =
            |sprout: &Sprout| self.class_rate[sprout.life as usize * row.classes.len() + sprout.class as usize];
        starts.rates.extend(sprouts.iter().zip(growths).map(|(sprout, growth)| class_rate(sprout) * growth));
        starts.lost_starts.clear();
        let ways = starts.coordinates.iter().zip(&starts.rates).zip(&starts.born_starts);
        let lost_starts = ways.map(|((&start, rate), born)| born + path.advance_between(start, end) / rate);
        starts.lost_starts.extend(lost_starts);
        for (index, place) in run.enumerate() {
            let course = Course { start: starts.coordinates[index], line: 0.0 };
            let (rate, born_starts) = (starts.rates[index], starts.born_starts[index]);
            let crack = self.crack(&starts.seed(all, place), course, rate, born_starts, starts.lost_starts[index]);
            self.cracks.push(crack);
        }
        self.notes.tabled += sprouts.len() as u64;
    }

    /// Cracks of one class that are followed, place by place.
    fn start_places(&mut self, followed: &Followed, sprouts: &[Sprout], starts: &Starts, run: Range<usize>) {
        let mut seeds: Vec<Seed> = Vec::with_capacity(run.len());
        let mut scatter: Vec<[f64; 2]> = Vec::with_capacity(run.len());
        for index in run {
            let seed = starts.seed(sprouts, index);
            // By rounding a crack can seem to begin when the study is over.
            if seed.born_year < self.row.end_year {
                seeds.push(seed);
                scatter.push(starts.scatter(index));
            }
        }
        let mut begin = 0;
        for group in seeds.chunk_by(|one, other| followed.at_one_place(one, other)) {
            self.start_followed(followed, group, &scatter[begin..begin + group.len()]);
            begin += group.len();
        }
    }

    /// A crack on a tabulated way, or one that is followed because that way does not hold for it.
    #[inline(always)]
    fn start_tabled(
        &mut self,
        path: &GrowthPath,
        beyond: Option<&Followed>,
        seed: &Seed,
        [depth_mm, growth]: [f64; 2],
    ) {
        let row = self.row;
        let Seed { key, life, class: index, stress, born_year, .. } = *seed;
        let class = &row.classes[index as usize];
        let rate = self.class_rate[life as usize * row.classes.len() + index as usize] * growth;
        let begin = [depth_mm, class.aspect(key)];
        let born_starts = row.starts.at(born_year);
        let way = TabledWay::new(row, class, path, key, stress, begin, rate, born_starts, row.starts_at_end);
        match beyond {
            Some(followed) if !way.holds && born_year < row.end_year => {
                // A followed crack has its stress where its loads are, not in its rate.
                let own_growth = growth * exp(-class.growth_exponent * stress) / class.rate;
                self.start_followed(followed, &[*seed], &[[depth_mm, own_growth]]);
            }
            _ => {
                let crack = self.crack(seed, way.course, rate, born_starts, way.lost_starts);
                self.cracks.push(crack);
                self.notes.tabled += 1;
            }
        }
    }

    /// A crack on a tabulated way.
    #[inline(always)]
    fn crack(&self, seed: &Seed, course: Course, rate: f64, born_starts: f64, lost_starts: f64) -> Crack {
        let row = self.row;
        let Seed { key, life, blade, class, origin, born_year, .. } = *seed;
        let (lost_year, last) = if lost_starts <= row.starts_at_end {
            let year = row.starts.year_of(lost_starts).max(born_year);
            (year, row.calendar.count_before(year))
        } else {
            (f64::INFINITY, row.calendar.len())
        };
        let first = row.calendar.count_before(born_year);
        Crack {
            key,
            life,
            blade,
            first: first as u32,
            last: last.max(first) as u32,
            class,
            origin,
            place: 0,
            lost_year,
            born_starts,
            course,
            rate,
            sizes: self.sizes.len() as u32,
        }
    }
}

impl Starts {
    /// What each crack draws: its key, its initial depth and its growth.
    fn draw(&mut self, row: &RowPlan, sprouts: &[Sprout]) {
        self.keys.clear();
        self.keys.extend(sprouts.iter().map(|sprout| sprout.parent));
        for number in [|sprout: &Sprout| sprout.blade_number, |sprout: &Sprout| sprout.crack_number] {
            self.numbers.clear();
            self.numbers.extend(sprouts.iter().map(number));
            descend_each(&mut self.keys, &self.numbers);
        }
        let room = sprouts.len().next_multiple_of(LANES);
        self.scatter.clear();
        self.scatter.resize(2 * room, 0.5);
        let (depths, growths) = self.scatter.split_at_mut(room);
        draw_each(&self.keys, draw::DEPTH, depths);
        draw_each(&self.keys, draw::GROWTH, growths);
        if row.lognormal_depths {
            normal_each(&mut self.scatter);
        } else {
            for ((depth, key), sprout) in depths.iter_mut().zip(&self.keys).zip(sprouts) {
                *depth = row.classes[sprout.class as usize].initial_depth.draw(*key, draw::DEPTH);
            }
            normal_each(growths);
        }
        let (depths, growths) = self.scatter.split_at_mut(room);
        for ((depth, growth), sprout) in depths.iter_mut().zip(growths.iter_mut()).zip(sprouts) {
            let class = &row.classes[sprout.class as usize];
            *growth = class.crack_sigma * *growth + class.growth_exponent * sprout.stress;
            if row.lognormal_depths {
                *depth = class.ln_depth_median + class.depth_sigma * *depth;
            }
        }
        exp_each(growths);
        if row.lognormal_depths {
            exp_each(depths);
        }
        self.born_years.clear();
        self.born_years.extend(sprouts.iter().map(|sprout| sprout.hazard));
        self.installed.clear();
        self.installed.extend(sprouts.iter().map(|sprout| sprout.installed));
    }

    /// When some cracks of one class begin.
    fn begin(&mut self, class: &Class, run: Range<usize>) {
        let years = &mut self.born_years[run.clone()];
        class.shape.reading_at_each(years);
        for (reading, installed) in years.iter_mut().zip(&self.installed[run]) {
            *reading += installed;
        }
        class.clock.year_of_each(years);
    }

    /// Initial depth in mm and factor on growth of a crack.
    fn scatter(&self, index: usize) -> [f64; 2] {
        [self.scatter[index], self.scatter[self.scatter.len() / 2 + index]]
    }

    fn seed(&self, sprouts: &[Sprout], index: usize) -> Seed {
        let sprout = &sprouts[index];
        Seed {
            key: self.keys[index],
            life: sprout.life,
            blade: sprout.blade(),
            class: sprout.class,
            origin: sprout.origin,
            stress: sprout.stress,
            born_year: self.born_years[index],
        }
    }
}

/// The children of keys by number.
#[multiversion(targets = "simd")]
fn descend_each(keys: &mut [Key], numbers: &[u64]) {
    for (key, &number) in keys.iter_mut().zip(numbers) {
        *key = key.child(number);
    }
}

/// A draw of each key.
#[multiversion(targets = "simd")]
fn draw_each(keys: &[Key], counter: u64, numbers: &mut [f64]) {
    for (number, key) in numbers.iter_mut().zip(keys) {
        *number = key.uniform(counter);
    }
}

/// A crack on a tabulated way.
#[derive(Debug, Clone, Copy)]
pub(in crate::simulation) struct TabledWay {
    pub course: Course,
    /// Starts at which its blade is lost; infinite where that is seen at a glance to be later than is asked for.
    pub lost_starts: f64,
    /// Whether the way holds from the crack's beginning to its loss, or as far as is asked for.
    pub holds: bool,
}

impl TabledWay {
    /// From where the crack begins: its depth in mm and aspect, and the starts until then.
    #[allow(clippy::too_many_arguments)]
    #[inline(always)]
    pub fn new(
        row: &RowPlan,
        class: &Class,
        path: &GrowthPath,
        key: Key,
        stress: f64,
        [depth_mm, aspect]: [f64; 2],
        rate: f64,
        born_starts: f64,
        until_starts: f64,
    ) -> Self {
        let course = path.course(depth_mm, aspect);
        let lost_starts = tabled_loss(row, class, path, key, stress, course, rate, born_starts, until_starts);
        let last_starts = if lost_starts < until_starts { lost_starts } else { until_starts };
        let holds = path.begins(depth_mm, aspect) && path.covers(course, rate * (last_starts - born_starts));
        TabledWay { course, lost_starts, holds }
    }
}

/// Starts at which the blade of a crack on a tabulated way is lost: when the crack is critical in an ordinary
/// start, or at the first overspeed that finds it critical under its higher stress. Infinite where that is seen at a
/// glance to be later than `until_starts`.
#[allow(clippy::too_many_arguments)]
#[inline(always)]
fn tabled_loss(
    row: &RowPlan,
    class: &Class,
    path: &GrowthPath,
    key: Key,
    stress: f64,
    course: Course,
    rate: f64,
    born_starts: f64,
    until_starts: f64,
) -> f64 {
    if let (GrowthPath::FixedFactor(path), Some(end)) = (path, class.end_coordinate) {
        return born_starts + path.advance_between(course.start, end) / rate;
    }
    let end = crack_end(class, stress, key);
    let at_overspeed = match (row.overspeed, end) {
        (Some(overspeed), CrackEnd::Intensity(intensity)) => {
            Some((overspeed, CrackEnd::Intensity(intensity / overspeed.stress_factor())))
        }
        _ => None,
    };
    let first_end = at_overspeed.map_or(end, |(_, end)| end);
    if path.outlasts(course, first_end, rate * (until_starts - born_starts)) {
        return f64::INFINITY;
    }
    let ordinary = born_starts + path.advance_to(course, end) / rate;
    at_overspeed.map_or(ordinary, |(overspeed, end)| {
        ordinary.min(overspeed.next_at_starts(born_starts + path.advance_to(course, end) / rate))
    })
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
            CrackEnd::Intensity(toughness_mpa_sqrt_m.draw(key, draw::TOUGHNESS) * exp(-stress))
        }
    }
}

/// Toughness of a crack's blade, where its limit has one.
pub(in crate::simulation) fn own_toughness(class: &Class, key: Key) -> Option<f64> {
    match &class.limit {
        Limit::Toughness { toughness_mpa_sqrt_m } | Limit::Diagram(DiagramLimit { toughness_mpa_sqrt_m, .. }) => {
            Some(toughness_mpa_sqrt_m.draw(key, draw::TOUGHNESS))
        }
        Limit::Depth { .. } | Limit::SectionFraction { .. } => None,
    }
}

impl Class {
    /// Initial aspect of a crack.
    #[inline(always)]
    pub fn aspect(&self, key: Key) -> f64 {
        match self.initial_aspect.fixed() {
            Some(aspect) => aspect,
            None => self.initial_aspect.draw(key, draw::ASPECT),
        }
    }
}

impl Followed {
    /// Whether two origins stand at one place, where their cracks can join.
    fn at_one_place(&self, one: &Seed, other: &Seed) -> bool {
        let place = |seed: &Seed| {
            // Cracks that never join are each at a place of their own.
            (
                seed.life,
                seed.blade,
                seed.class,
                if self.joining.is_some() { seed.origin / self.origins } else { seed.origin },
            )
        };
        place(one) == place(other)
    }
}
