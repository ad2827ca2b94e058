//! Cracks that are followed one by one, and join with their neighbours.
//!
//! A crack that joins ends there without a loss, and the joined one begins: a crack like any other, which
//! keeps the growth, the toughness and the visibility of the deeper of the two.

use super::super::plan::{Class, Followed};
use super::{Crack, Population, Seed, draw};
use crate::distribution::Distribution;
use crate::math::{exp, ln};
use crate::model::fleet::{Joining, Placement};
use crate::model::growth::{self, Course, Limit, LoadFactors, LossRule, Outcome, Trajectory};
use crate::model::joining::PlacedCrack;
use crate::model::residual_stress::mouth_is_closed;
use crate::random::Key;

/// Size of a followed crack at a moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size {
    /// One over the depth in mm.
    pub per_depth: f64,
    /// Logarithm of surface length over depth.
    pub ln_ratio: f64,
    /// 1 if its mouth is held closed, else 0.
    pub closed: f64,
}

/// A crack on its way.
#[derive(Debug, Clone)]
struct Track {
    seed: Seed,
    way: Trajectory,
    /// As it began.
    beginning: growth::Seed,
    rule: LossRule,
    /// Middle of the crack along its serration, in mm.
    position_mm: f64,
    /// Year in which it was lost or joined; infinite if neither.
    end_year: f64,
    joined: bool,
}

/// Tracks of the cracks at one place; storage kept from place to place.
#[derive(Debug, Default)]
pub(super) struct Tracks {
    tracks: Vec<Track>,
    /// Ways to be used again.
    spare: Vec<Trajectory>,
}

impl Tracks {
    fn clear(&mut self) {
        self.spare.extend(self.tracks.drain(..).map(|track| track.way));
    }

    fn take(&mut self, index: usize) {
        self.spare.push(self.tracks.remove(index).way);
    }
}

impl Population<'_> {
    /// Follows the cracks of one place in a blade: `scatter` has the growth factor and `depths_mm` the
    /// initial depth of each.
    pub(super) fn start_followed(&mut self, followed: &Followed, seeds: &[Seed], depths_mm: &[f64], scatter: &[f64]) {
        let row = self.row;
        let Some(class) = seeds.first().map(|seed| seed.class as usize) else { return };
        let mut tracks = std::mem::take(&mut self.tracks);
        tracks.clear();
        for ((seed, &depth_mm), &scatter) in seeds.iter().zip(depths_mm).zip(scatter) {
            let about = &row.classes[class];
            let aspect = match about.initial_aspect.fixed() {
                Some(aspect) => aspect,
                None => about.initial_aspect.quantile(seed.key.uniform(draw::ASPECT)),
            };
            let rate = self.class_rate[class] * scatter;
            let beginning =
                beginning(followed, seed.key, seed.born_year, seed.stress, rate, depth_mm, depth_mm / aspect);
            let rule = loss_rule(about, followed, seed.key);
            let position_mm = followed.joining.map_or(0.0, |joining| position_mm(&joining, followed.origins, seed));
            self.follow(&mut tracks, followed, *seed, beginning, rule, position_mm);
        }
        if let Some(joining) = followed.joining {
            self.join(&mut tracks, followed, &joining);
        }
        for track in &tracks.tracks {
            self.settle(followed, track);
        }
        self.tracks = tracks;
    }

    fn follow(
        &mut self,
        tracks: &mut Tracks,
        followed: &Followed,
        seed: Seed,
        beginning: growth::Seed,
        rule: LossRule,
        position_mm: f64,
    ) {
        let mut way = tracks.spare.pop().unwrap_or_default();
        followed.following.follow(&beginning, &followed.duty, self.row.end_year, &rule, &mut way);
        if let Some(overspeed) = self.row.overspeed {
            let years = overspeed.years(&self.row.starts, beginning.year, self.row.end_year);
            followed.following.meet_overspeeds(&beginning, overspeed.stress_factor(), years, &rule, &mut way);
        }
        let end_year = match way.outcome() {
            Outcome::Lost { year, .. } if year <= self.row.end_year => year,
            _ => f64::INFINITY,
        };
        self.notes.followed += 1;
        self.notes.outside_solution += u64::from(way.notes().outside_solution);
        self.notes.unfinished += u64::from(way.notes().unfinished);
        tracks.tracks.push(Track { seed, way, beginning, rule, position_mm, end_year, joined: false });
    }

    /// Joins neighbours, the earliest first, until none are left that meet before the end.
    fn join(&mut self, tracks: &mut Tracks, followed: &Followed, joining: &Joining) {
        let end_year = self.row.end_year;
        while let Some((year, one, other)) = next_meeting(&tracks.tracks, joining, end_year) {
            let sizes = [one, other].map(|index| placed(&tracks.tracks[index], year));
            let [Some(first), Some(second)] = sizes else { return };
            let begins = |index: usize| tracks.tracks[index].seed.born_year >= year;
            // A crack that begins within another was never one of its own.
            if begins(one) && lies_within(&first, &second) {
                tracks.take(one);
                continue;
            }
            if begins(other) && lies_within(&second, &first) {
                tracks.take(other);
                continue;
            }
            let joined = first.joined_with(&second);
            let deeper = if first.depth_mm() >= second.depth_mm() { one } else { other };
            let Track { seed, beginning, rule, .. } = tracks.tracks[deeper];
            for index in [one, other] {
                tracks.tracks[index].end_year = year;
                tracks.tracks[index].joined = true;
            }
            self.notes.joins += 1;
            self.notes.joins_outside_rule +=
                u64::from(!(joining.rule.is_stated_for(&first) && joining.rule.is_stated_for(&second)));
            let beginning = growth::Seed {
                year,
                depth_mm: joined.depth_mm(),
                half_length_mm: 0.5 * joined.length_mm(),
                ..beginning
            };
            self.follow(tracks, followed, Seed { born_year: year, ..seed }, beginning, rule, joined.position_mm());
        }
    }

    /// Makes a crack of a track, with its sizes at past looks and at outages.
    fn settle(&mut self, followed: &Followed, track: &Track) {
        let row = self.row;
        let Seed { key, blade, class, born_year, .. } = track.seed;
        let first = row.finder.count_before(born_year, &row.outages);
        let last = if track.end_year < f64::INFINITY {
            row.finder.count_before(track.end_year, &row.outages).max(first)
        } else {
            row.outages.len()
        };
        let past = row.past_looks.iter().map(|look| look.0);
        let past = past.filter(|&year| born_year <= year && year < track.end_year);
        for year in past.chain(row.outages[first..last].iter().copied()) {
            self.sizes.push(size_at(followed, track, year));
        }
        let crack = Crack {
            key,
            blade,
            first: first as u32,
            last: last as u32,
            class,
            place: 0,
            lost_year: if track.joined { f64::INFINITY } else { track.end_year },
            end_year: track.end_year,
            born_year,
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

/// A crack as it begins to be followed; `stress` is the logarithm of its blade's factor on stress.
pub(in crate::simulation) fn beginning(
    followed: &Followed,
    key: Key,
    year: f64,
    stress: f64,
    start_rate_factor: f64,
    depth_mm: f64,
    half_length_mm: f64,
) -> growth::Seed {
    let stress = exp(stress);
    let corrosion_rate_factor = match followed.corrosion_sigma {
        0.0 => 1.0,
        sigma => exp(sigma * key.normal(draw::CORROSION)),
    };
    growth::Seed {
        factors: LoadFactors { stress, vibration: stress },
        start_rate_factor,
        corrosion_rate_factor,
        ..growth::Seed::new(year, depth_mm, half_length_mm)
    }
}

/// When a crack's blade is lost, with the toughness that is its own.
pub(in crate::simulation) fn loss_rule(class: &Class, followed: &Followed, key: Key) -> LossRule {
    let toughness = |toughness: &Distribution| toughness.quantile(key.uniform(draw::TOUGHNESS));
    match (&class.limit, followed.diagram) {
        (Limit::Diagram(limit), Some(diagram)) => LossRule::Diagram {
            diagram,
            toughness_mpa_sqrt_m: toughness(&limit.toughness_mpa_sqrt_m),
            restraint: limit.restraint,
        },
        (Limit::Toughness { toughness_mpa_sqrt_m }, _) => LossRule::Intensity(toughness(toughness_mpa_sqrt_m)),
        (Limit::SectionFraction { fraction }, _) => LossRule::SectionFraction(*fraction),
        (Limit::Depth { depth_mm }, _) => LossRule::Depth(*depth_mm),
        (Limit::Diagram(limit), None) => LossRule::Intensity(toughness(&limit.toughness_mpa_sqrt_m)),
    }
}

/// Where along its serration an origin stands, in mm.
fn position_mm(joining: &Joining, origins: u32, seed: &Seed) -> f64 {
    let rank = f64::from(seed.origin % origins);
    joining.spacing_mm
        * match joining.placement {
            Placement::Even => rank,
            Placement::Random => f64::from(origins) * seed.key.uniform(draw::POSITION),
        }
}

fn placed(track: &Track, year: f64) -> Option<PlacedCrack> {
    let [depth_mm, half_length_mm] = track.way.size_at_mm(year);
    PlacedCrack::new(track.position_mm, depth_mm, 2.0 * half_length_mm).ok()
}

fn lies_within(inner: &PlacedCrack, outer: &PlacedCrack) -> bool {
    let ([left, right], [outer_left, outer_right]) = (inner.tips_mm(), outer.tips_mm());
    outer_left <= left && right <= outer_right && inner.depth_mm() <= outer.depth_mm()
}

/// The first moment at which two cracks join, and which they are.
fn next_meeting(tracks: &[Track], joining: &Joining, end_year: f64) -> Option<(f64, usize, usize)> {
    let mut next: Option<(f64, usize, usize)> = None;
    for (one, first) in tracks.iter().enumerate().filter(|(_, track)| !track.joined) {
        for (other, second) in tracks.iter().enumerate().skip(one + 1).filter(|(_, track)| !track.joined) {
            let until = next.map_or(end_year, |(year, _, _)| year);
            if let Some(year) = meeting(first, second, joining, until)
                && next.is_none_or(|(earliest, _, _)| year < earliest)
            {
                next = Some((year, one, other));
            }
        }
    }
    next
}

/// When two cracks join, if they do before a year: the gap falls and what bridges it grows.
fn meeting(one: &Track, other: &Track, joining: &Joining, until: f64) -> Option<f64> {
    /// An hour, in years.
    const CLOSE_YEARS: f64 = 1e-4;
    let are_joined = |year: f64| {
        let (Some(first), Some(second)) = (placed(one, year), placed(other, year)) else { return false };
        let (left, right) = if one.position_mm <= other.position_mm { (&first, &second) } else { (&second, &first) };
        right.tips_mm()[0] - left.tips_mm()[1] <= joining.rule.widest_gap_mm(&first, &second)
    };
    let (mut apart, mut joined) =
        (one.seed.born_year.max(other.seed.born_year), until.min(one.end_year).min(other.end_year));
    if apart >= joined || !are_joined(joined) {
        return None;
    }
    if are_joined(apart) {
        return Some(apart);
    }
    while joined - apart > CLOSE_YEARS {
        let middle = 0.5 * (apart + joined);
        if are_joined(middle) {
            joined = middle;
        } else {
            apart = middle;
        }
    }
    Some(joined)
}

fn size_at(followed: &Followed, track: &Track, year: f64) -> Size {
    let [depth_mm, half_length_mm] = track.way.size_at_mm(year);
    let halves = if followed.is_corner { 1.0 } else { 2.0 };
    let closed = followed.site.residual().is_some_and(|section| {
        // The machine stands still while it is looked at.
        mouth_is_closed(section.intensities(depth_mm, half_length_mm).surface_mpa_sqrt_m)
    });
    Size {
        per_depth: 1.0 / depth_mm,
        ln_ratio: ln(halves * half_length_mm / depth_mm),
        closed: if closed { 1.0 } else { 0.0 },
    }
}
