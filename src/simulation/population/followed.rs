//! Cracks of a row that are followed one by one, as the outages see them.

use super::super::plan::{Followed, RowPlan};
use super::place::{Place, Track};
use super::{Crack, Population, Seed, is_closed_for_life, is_held_shut};
use crate::math::{exp, ln};
use crate::model::growth::Course;

/// Size of a followed crack at a moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size {
    /// As tabled ways have it: `ln depth_mm = -ln(y) * depth_power`, with the power of its class.
    pub y: f64,
    /// Logarithm of surface length over depth.
    pub ln_ratio: f64,
    /// Whether its mouth is closed.
    pub closed: bool,
}

impl Population<'_> {
    /// Follows the cracks of one place in a blade: `scatter` has the initial depth in mm and the growth factor of each.
    pub(super) fn start_followed(&mut self, followed: &Followed, seeds: &[Seed], scatter: &[[f64; 2]]) {
        let row = self.row;
        let Some((life, class)) = seeds.first().map(|seed| (seed.life as usize, seed.class as usize)) else { return };
        let class_rate = self.class_rate[life * row.classes.len() + class];
        let mut tracks = std::mem::take(&mut self.tracks);
        tracks.clear();
        let mut place = Place { row, followed, end_year: row.end_year, tracks: &mut tracks, notes: &mut self.notes };
        for (seed, &[depth_mm, growth]) in seeds.iter().zip(scatter) {
            let about = &row.classes[class];
            let aspect = about.aspect(seed.key);
            place.begin(about, *seed, class_rate * growth, depth_mm, depth_mm / aspect);
        }
        place.join();
        for track in &tracks.tracks {
            self.settle(followed, track);
        }
        self.tracks = tracks;
    }

    /// Makes a crack of a track, with its sizes at outages.
    fn settle(&mut self, followed: &Followed, track: &Track) {
        let row = self.row;
        let Seed { key, life, blade, class, origin, born_year, .. } = track.seed;
        let first = row.calendar.count_before(born_year);
        let last = if track.end_year < f64::INFINITY {
            row.calendar.count_before(track.end_year).max(first)
        } else {
            row.calendar.len()
        };
        for &year in &row.calendar.years[first..last] {
            self.sizes.push(size_at(row, followed, track, year, row.classes[class as usize].depth_power));
        }
        let crack = Crack {
            key,
            life,
            blade,
            first: first as u32,
            last: last as u32,
            class,
            origin,
            place: 0,
            lost_year: if track.joined { f64::INFINITY } else { track.end_year },
            born_starts: f64::NAN,
            course: NOWHERE,
            rate: f64::NAN,
            sizes: self.sizes.len() as u32,
        };
        self.cracks.push(crack);
    }
}

/// What stands for the tabulated way of a crack that has none.
const NOWHERE: Course = Course { start: f64::NAN, line: f64::NAN };

fn size_at(row: &RowPlan, followed: &Followed, track: &Track, year: f64, depth_power: f64) -> Size {
    let [depth_mm, half_length_mm] = track.way.size_at_mm(year);
    let halves = if followed.is_corner { 1.0 } else { 2.0 };
    Size {
        y: if depth_power == 1.0 { 1.0 / depth_mm } else { exp(-ln(depth_mm) / depth_power) },
        ln_ratio: ln(halves * half_length_mm / depth_mm),
        closed: is_closed_for_life(row, track.seed.key) || is_held_shut(row, &followed.site, depth_mm, half_length_mm),
    }
}
