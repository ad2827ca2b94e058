//! The cracks at one place of a blade, followed one by one: they grow, and join with their neighbours.
//!
//! A crack that joins ends there without a loss, and the joined one begins: a crack like any other, which
//! keeps the growth, the toughness, the visibility and the mouth of the deeper of the two.

use super::super::notes::Notes;
use super::super::plan::{Class, Followed, RowPlan};
use super::{Seed, draw};
use crate::distribution::Distribution;
use crate::math::exp;
use crate::model::fleet::{Joining, Placement};
use crate::model::growth::{self, Limit, LoadFactors, LossRule, Outcome, Trajectory};
use crate::model::joining::PlacedCrack;
use crate::random::Key;

/// A crack on its way.
#[derive(Debug, Clone)]
pub(in crate::simulation) struct Track {
    pub seed: Seed,
    pub way: Trajectory,
    /// As it began.
    beginning: growth::Seed,
    rule: LossRule,
    /// Middle of the crack along its serration, in mm.
    pub position_mm: f64,
    /// Year in which it was lost or joined; infinite if neither.
    pub end_year: f64,
    pub joined: bool,
}

impl Track {
    /// Whether it is there in a year; in the year of its loss it still is.
    pub fn lives(&self, year: f64) -> bool {
        self.seed.born_year <= year && if self.joined { year < self.end_year } else { year <= self.end_year }
    }
}

/// Tracks of the cracks at one place; storage kept from place to place.
#[derive(Debug, Default)]
pub(in crate::simulation) struct Tracks {
    pub tracks: Vec<Track>,
    /// Ways to be used again.
    spare: Vec<Trajectory>,
}

impl Tracks {
    pub fn clear(&mut self) {
        self.spare.extend(self.tracks.drain(..).map(|track| track.way));
    }

    fn take(&mut self, index: usize) {
        self.spare.push(self.tracks.remove(index).way);
    }
}

/// One place, and until when its cracks are followed.
pub(in crate::simulation) struct Place<'a> {
    pub row: &'a RowPlan,
    pub followed: &'a Followed,
    pub end_year: f64,
    pub tracks: &'a mut Tracks,
    pub notes: &'a mut Notes,
}

impl Place<'_> {
    /// Lets a crack begin: its blade's growth factor, depth and half surface length in mm are given.
    pub fn begin(&mut self, class: &Class, seed: Seed, rate: f64, depth_mm: f64, half_length_mm: f64) {
        let followed = self.followed;
        let beginning = beginning(followed, &seed, rate, depth_mm, half_length_mm);
        let rule = loss_rule(class, followed, seed.key);
        let position_mm = followed.joining.map_or(0.0, |joining| position_mm(&joining, followed.origins, &seed));
        self.follow(seed, beginning, rule, position_mm);
    }

    /// Follows one crack by itself.
    fn follow(&mut self, seed: Seed, beginning: growth::Seed, rule: LossRule, position_mm: f64) {
        let Place { row, followed, end_year, .. } = *self;
        let mut way = self.tracks.spare.pop().unwrap_or_default();
        followed.following.follow(&beginning, &followed.duty, end_year, &rule, &mut way);
        if let Some(overspeed) = row.overspeed {
            let years = overspeed.years(&row.starts, beginning.year, end_year);
            followed.following.meet_overspeeds(&beginning, overspeed.stress_factor(), years, &rule, &mut way);
        }
        let end_year = match way.outcome() {
            Outcome::Lost { year, .. } if year <= end_year => year,
            _ => f64::INFINITY,
        };
        self.notes.add_followed(way.notes());
        self.tracks.tracks.push(Track { seed, way, beginning, rule, position_mm, end_year, joined: false });
    }

    /// Joins neighbours, the earliest first, until none are left that meet before the end.
    pub fn join(&mut self) {
        let Some(joining) = &self.followed.joining else { return };
        while let Some((year, one, other)) = next_meeting(&self.tracks.tracks, joining, self.end_year) {
            let tracks = &mut *self.tracks;
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
            self.follow(Seed { born_year: year, ..seed }, beginning, rule, joined.position_mm());
        }
    }
}

fn beginning(
    followed: &Followed,
    seed: &Seed,
    start_rate_factor: f64,
    depth_mm: f64,
    half_length_mm: f64,
) -> growth::Seed {
    let stress = exp(seed.stress);
    let corrosion_rate_factor = match followed.corrosion_sigma {
        0.0 => 1.0,
        sigma => exp(sigma * seed.key.normal(draw::CORROSION)),
    };
    growth::Seed {
        factors: LoadFactors { stress, vibration: stress },
        start_rate_factor,
        corrosion_rate_factor,
        ..growth::Seed::new(seed.born_year, depth_mm, half_length_mm)
    }
}

/// When a crack's blade is lost, with the toughness that is its own.
fn loss_rule(class: &Class, followed: &Followed, key: Key) -> LossRule {
    let toughness = |toughness: &Distribution| toughness.draw(key, draw::TOUGHNESS);
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
    /// Moments at which it is asked whether they have joined, in a year: about every hour. They do not hang on when the
    /// study ends.
    const MOMENTS: f64 = 8_192.0;
    let are_joined = |year: f64| {
        let (Some(first), Some(second)) = (placed(one, year), placed(other, year)) else { return false };
        let (left, right) = if one.position_mm <= other.position_mm { (&first, &second) } else { (&second, &first) };
        right.tips_mm()[0] - left.tips_mm()[1] <= joining.rule.widest_gap_mm(&first, &second)
    };
    let begin = one.seed.born_year.max(other.seed.born_year);
    let end = until.min(one.end_year).min(other.end_year);
    if begin >= end || !are_joined(end) {
        return None;
    }
    if are_joined(begin) {
        return Some(begin);
    }
    let (mut apart, mut joined) = ((begin * MOMENTS).floor(), (end * MOMENTS).ceil());
    while joined - apart > 1.0 {
        let middle = (0.5 * (apart + joined)).floor();
        if are_joined(middle / MOMENTS) {
            joined = middle;
        } else {
            apart = middle;
        }
    }
    Some((joined / MOMENTS).min(end))
}
