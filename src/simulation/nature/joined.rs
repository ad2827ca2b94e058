//! The cracks at one place of a blade, each integrated by itself: they grow, and join with their neighbours.
//!
//! A crack that joins ends there without a loss, and the joined one begins: a crack like any other, which
//! keeps the growth, the toughness, the visibility and the mouth of the deeper of the two.

use super::draw;
use super::growth::NewCrack;
use super::hot_spot_plan::{HotSpotPlan, Integration};
use super::integration_counts::IntegrationCounts;
use super::plan::NaturePlan;
use super::planted::CrackDraws;
use crate::distribution::Distribution;
use crate::math::exp;
use crate::model::fleet::{Joining, Placement};
use crate::model::growth::{self, Limit, LoadFactors, LossRule, Outcome, Trajectory};
use crate::model::joining::PlacedCrack;

/// A crack whose growth is integrated.
#[derive(Debug, Clone)]
pub(crate) struct IntegratedCrack {
    pub new: NewCrack,
    pub trajectory: Trajectory,
    /// As it began.
    beginning: growth::Seed,
    rule: LossRule,
    /// Middle of the crack along its serration, in mm.
    pub position_mm: f64,
    /// Year in which it was lost or joined; infinite if neither.
    pub end_year: f64,
    pub joined: bool,
}

impl IntegratedCrack {
    /// Whether it is there in a year; in the year of its loss it still is.
    pub fn lives(&self, year: f64) -> bool {
        self.new.born_year <= year && if self.joined { year < self.end_year } else { year <= self.end_year }
    }
}

/// The cracks at one place; their storage is kept from place to place.
#[derive(Debug, Default)]
pub(crate) struct IntegratedCracks {
    pub all: Vec<IntegratedCrack>,
    /// Trajectories to be used again.
    spare: Vec<Trajectory>,
}

impl IntegratedCracks {
    pub fn clear(&mut self) {
        self.spare.extend(self.all.drain(..).map(|crack| crack.trajectory));
    }

    fn take(&mut self, index: usize) {
        self.spare.push(self.all.remove(index).trajectory);
    }
}

/// One place, and until when its cracks grow.
pub(crate) struct Place<'a> {
    pub plan: &'a NaturePlan,
    pub integration: &'a Integration,
    pub end_year: f64,
    pub cracks: &'a mut IntegratedCracks,
    pub counts: &'a mut IntegrationCounts,
}

impl Place<'_> {
    /// Lets a crack begin: its blade's growth factor, depth and half surface length in mm are given.
    pub fn begin(
        &mut self,
        spot: &HotSpotPlan,
        new: NewCrack,
        draws: &CrackDraws,
        rate: f64,
        depth_mm: f64,
        half_length_mm: f64,
    ) {
        let integration = self.integration;
        let beginning = beginning(integration, &new, draws, rate, depth_mm, half_length_mm);
        let rule = loss_rule(spot, integration, draws);
        let position_mm = integration.joining.map_or(0.0, |joining| position_mm(&joining, integration.origins, &new));
        self.integrate(new, beginning, rule, position_mm);
    }

    /// Lets a crack that is there already go on from its depth and half surface length in mm.
    pub fn go_on(
        &mut self,
        spot: &HotSpotPlan,
        now: NewCrack,
        draws: &CrackDraws,
        rate: f64,
        [depth_mm, half_length_mm]: [f64; 2],
        position_mm: f64,
    ) {
        let beginning = beginning(self.integration, &now, draws, rate, depth_mm, half_length_mm);
        self.integrate(now, beginning, loss_rule(spot, self.integration, draws), position_mm);
    }

    /// Integrates the growth of one crack.
    fn integrate(&mut self, new: NewCrack, beginning: growth::Seed, rule: LossRule, position_mm: f64) {
        let Place { plan, integration, end_year, .. } = *self;
        let mut trajectory = self.cracks.spare.pop().unwrap_or_default();
        integration.following.follow(&beginning, &integration.duty, end_year, &rule, &mut trajectory);
        if let Some(overspeed) = plan.overspeed {
            let years = overspeed.years(&plan.starts, beginning.year, end_year);
            integration.following.meet_overspeeds(&beginning, overspeed.stress_factor(), years, &rule, &mut trajectory);
        }
        let end_year = match trajectory.outcome() {
            Outcome::Lost { year, .. } if year <= end_year => year,
            _ => f64::INFINITY,
        };
        self.counts.add_integrated(trajectory.notes());
        self.cracks.all.push(IntegratedCrack {
            new,
            trajectory,
            beginning,
            rule,
            position_mm,
            end_year,
            joined: false,
        });
    }

    /// Joins neighbours, the earliest first, until none are left that meet before the end.
    pub fn join(&mut self) {
        let Some(joining) = &self.integration.joining else { return };
        while let Some((year, one, other)) = next_meeting(&self.cracks.all, joining, self.end_year) {
            let cracks = &mut *self.cracks;
            let sizes = [one, other].map(|index| placed(&cracks.all[index], year));
            let [Some(first), Some(second)] = sizes else { return };
            let begins = |index: usize| cracks.all[index].new.born_year >= year;
            // A crack that begins within another was never one of its own.
            if begins(one) && lies_within(&first, &second) {
                cracks.take(one);
                continue;
            }
            if begins(other) && lies_within(&second, &first) {
                cracks.take(other);
                continue;
            }
            let joined = first.joined_with(&second);
            let deeper = if first.depth_mm() >= second.depth_mm() { one } else { other };
            let IntegratedCrack { new, beginning, rule, .. } = cracks.all[deeper];
            for index in [one, other] {
                cracks.all[index].end_year = year;
                cracks.all[index].joined = true;
            }
            self.counts.joins += 1;
            self.counts.joins_outside_rule +=
                u64::from(!(joining.rule.is_stated_for(&first) && joining.rule.is_stated_for(&second)));
            let beginning = growth::Seed {
                year,
                depth_mm: joined.depth_mm(),
                half_length_mm: 0.5 * joined.length_mm(),
                ..beginning
            };
            self.integrate(NewCrack { born_year: year, ..new }, beginning, rule, joined.position_mm());
        }
    }
}

fn beginning(
    integration: &Integration,
    new: &NewCrack,
    draws: &CrackDraws,
    start_rate_factor: f64,
    depth_mm: f64,
    half_length_mm: f64,
) -> growth::Seed {
    let stress = exp(new.stress);
    let corrosion_rate_factor = match integration.corrosion_sigma {
        0.0 => 1.0,
        sigma => exp(sigma * draws.normal(draw::CORROSION)),
    };
    growth::Seed {
        factors: LoadFactors { stress, vibration: stress },
        start_rate_factor,
        corrosion_rate_factor,
        ..growth::Seed::new(new.born_year, depth_mm, half_length_mm)
    }
}

/// When a crack's blade is lost, with the toughness that is its own.
fn loss_rule(spot: &HotSpotPlan, integration: &Integration, draws: &CrackDraws) -> LossRule {
    let toughness = |toughness: &Distribution| draws.draw(toughness, draw::TOUGHNESS);
    match (&spot.limit, integration.diagram) {
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
fn position_mm(joining: &Joining, origins: u32, new: &NewCrack) -> f64 {
    let rank = f64::from(new.origin % origins);
    joining.spacing_mm
        * match joining.placement {
            Placement::Even => rank,
            Placement::Random => f64::from(origins) * new.key.uniform(draw::POSITION),
        }
}

fn placed(crack: &IntegratedCrack, year: f64) -> Option<PlacedCrack> {
    let [depth_mm, half_length_mm] = crack.trajectory.size_at_mm(year);
    PlacedCrack::new(crack.position_mm, depth_mm, 2.0 * half_length_mm).ok()
}

fn lies_within(inner: &PlacedCrack, outer: &PlacedCrack) -> bool {
    let ([left, right], [outer_left, outer_right]) = (inner.tips_mm(), outer.tips_mm());
    outer_left <= left && right <= outer_right && inner.depth_mm() <= outer.depth_mm()
}

/// The first moment at which two cracks join, and which they are.
fn next_meeting(cracks: &[IntegratedCrack], joining: &Joining, end_year: f64) -> Option<(f64, usize, usize)> {
    let mut next: Option<(f64, usize, usize)> = None;
    for (one, first) in cracks.iter().enumerate().filter(|(_, crack)| !crack.joined) {
        for (other, second) in cracks.iter().enumerate().skip(one + 1).filter(|(_, crack)| !crack.joined) {
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
fn meeting(one: &IntegratedCrack, other: &IntegratedCrack, joining: &Joining, until: f64) -> Option<f64> {
    /// Moments at which it is asked whether they have joined, in a year: about every hour. They do not hang on when the
    /// study ends.
    const MOMENTS: f64 = 8_192.0;
    let are_joined = |year: f64| {
        let (Some(first), Some(second)) = (placed(one, year), placed(other, year)) else { return false };
        let (left, right) = if one.position_mm <= other.position_mm { (&first, &second) } else { (&second, &first) };
        right.tips_mm()[0] - left.tips_mm()[1] <= joining.rule.widest_gap_mm(&first, &second)
    };
    let begin = one.new.born_year.max(other.new.born_year);
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

#[cfg(test)]
mod tests {
    use super::super::HotSpotGrowth;
    use super::*;
    use crate::model::Study;
    use crate::model::joining::JoiningRule;
    use crate::random::Key;
    use crate::simulation::plan::RowPlan;

    fn plan() -> NaturePlan {
        let study = Study::parse(include_str!("../../../tests/engine/data/small.toml"), "small").expect("a good study");
        RowPlan::new(&study, &study.rows[0]).expect("a good row").nature
    }

    fn new_crack(origin: u32) -> NewCrack {
        let key = Key::from_seed(4).child(origin.into());
        NewCrack { key, life: 0, blade: 0, hot_spot: 0, origin, stress: 0.1, born_year: 2022.0 }
    }

    /// What integrates the cracks of the hot spot, with a scatter of stress corrosion.
    fn integration(plan: &mut NaturePlan) -> Integration {
        let growth =
            std::mem::replace(&mut plan.hot_spots[0].growth, HotSpotGrowth::Curve { curve: curve(), beyond: None });
        let HotSpotGrowth::Curve { beyond: Some(mut beyond), .. } = growth else { panic!("a curve with a beyond") };
        beyond.corrosion_sigma = 0.3;
        *beyond
    }

    fn curve() -> growth::GrowthPath {
        let HotSpotGrowth::Curve { curve, .. } = plan().hot_spots.remove(0).growth else { panic!("a curve") };
        curve
    }

    #[test]
    fn a_crack_is_there_from_its_birth_to_its_loss_and_until_it_joins() {
        let mut plan = plan();
        let integration = integration(&mut plan);
        let (mut cracks, mut counts) = (IntegratedCracks::default(), IntegrationCounts::default());
        let (cracks_there, counts_there) = (&mut cracks, &mut counts);
        let mut place = Place {
            plan: &plan,
            integration: &integration,
            end_year: 2030.0,
            cracks: cracks_there,
            counts: counts_there,
        };
        place.begin(&plan.hot_spots[0], new_crack(0), &CrackDraws::of(new_crack(0).key), 1.0, 0.5, 0.6);
        let mut crack = cracks.all.remove(0);
        crack.end_year = 2025.0;
        let lives = |crack: &IntegratedCrack| [2021.9, 2022.0, 2024.0, 2025.0, 2025.1].map(|year| crack.lives(year));
        assert_eq!(lives(&crack), [false, true, true, true, false]);
        crack.joined = true;
        assert_eq!(lives(&crack), [false, true, true, false, false]);
        // Its growth by stress corrosion is a draw of its own.
        let expected = (0.3 * new_crack(0).key.normal(draw::CORROSION)).exp();
        assert!((crack.beginning.corrosion_rate_factor - expected).abs() < 1e-9);
    }

    /// What becomes of two cracks 1.5 mm apart: the cracks of their place, and how often two joined in it.
    fn pair(rule: JoiningRule, seeds: [(f64, f64, f64); 2]) -> (Vec<IntegratedCrack>, [u64; 2]) {
        let text = include_str!("../../../tests/engine/data/small.toml");
        let text = text.replace("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-9");
        let study = Study::parse(&text, "small").expect("a good study");
        let mut plan = RowPlan::new(&study, &study.rows[0]).expect("a good row").nature;
        let mut integration = integration(&mut plan);
        integration.joining = Some(Joining { rule, spacing_mm: 1.5, placement: Placement::Even });
        integration.origins = 2;
        let (mut cracks, mut counts) = (IntegratedCracks::default(), IntegrationCounts::default());
        let (cracks_there, counts_there) = (&mut cracks, &mut counts);
        let mut place = Place {
            plan: &plan,
            integration: &integration,
            end_year: 2030.0,
            cracks: cracks_there,
            counts: counts_there,
        };
        for (origin, (born_year, depth_mm, half_length_mm)) in seeds.into_iter().enumerate() {
            let new = NewCrack { born_year, ..new_crack(origin as u32) };
            place.begin(&plan.hot_spots[0], new, &CrackDraws::of(new.key), 1.0, depth_mm, half_length_mm);
        }
        place.join();
        (cracks.all, [counts.joins, counts.joins_outside_rule])
    }

    #[test]
    fn the_deeper_of_two_cracks_that_meet_goes_on_as_long_as_both() {
        for depths_mm in [[0.6, 0.5], [0.5, 0.6]] {
            let (cracks, joins) = pair(JoiningRule::Touching, depths_mm.map(|depth_mm| (2022.0, depth_mm, 0.6)));
            assert_eq!((cracks.len(), joins), (3, [1, 0]));
            let deeper = usize::from(depths_mm[1] > depths_mm[0]);
            let [one, other, joined] = &cracks[..] else { panic!("three cracks") };
            assert_eq!(joined.new.key, cracks[deeper].new.key);
            assert!(one.joined && other.joined && !joined.joined);
            assert!(one.end_year == joined.new.born_year && other.end_year == joined.new.born_year);
            assert!((2022.0..2030.0).contains(&joined.new.born_year));
        }
    }

    /// The rule is stated for cracks less deep than half as long.
    #[test]
    fn a_join_of_which_one_crack_lies_outside_the_rule_is_counted() {
        for (depths_mm, outside) in [([0.5, 0.5], 0), ([0.5, 0.9], 1), ([0.9, 0.5], 1), ([0.9, 0.9], 1)] {
            let (_, joins) = pair(JoiningRule::Bs7910Of2013, depths_mm.map(|depth_mm| (2022.0, depth_mm, 0.7)));
            assert_eq!(joins, [1, outside], "{depths_mm:?}");
        }
    }

    #[test]
    fn a_crack_that_begins_within_another_was_never_one_of_its_own() {
        let long = (2022.0, 1.5, 3.0);
        for (seeds, kept) in [([long, (2022.01, 0.1, 0.1)], 0), ([(2022.01, 0.1, 0.1), long], 1)] {
            let (cracks, joins) = pair(JoiningRule::Touching, seeds);
            assert_eq!((cracks.len(), joins), (1, [0, 0]));
            assert_eq!(cracks[0].new.origin, kept);
            assert!(!cracks[0].joined);
        }
        // One that begins deeper than the other joins it.
        let deep = (2022.01, 4.0, 1.0);
        for (seeds, deeper) in [([long, deep], 1), ([deep, long], 0)] {
            let (cracks, joins) = pair(JoiningRule::Touching, seeds);
            assert_eq!((cracks.len(), joins[0]), (3, 1));
            assert_eq!(cracks[2].new.origin, deeper);
        }
    }

    #[test]
    fn origins_stand_in_a_line_or_anywhere_on_it() {
        let even = Joining { rule: JoiningRule::Touching, spacing_mm: 1.5, placement: Placement::Even };
        let positions = [0, 1, 5, 6, 8].map(|origin| position_mm(&even, 6, &new_crack(origin)));
        assert_eq!(positions, [0.0, 1.5, 7.5, 0.0, 3.0]);
        let random = Joining { placement: Placement::Random, ..even };
        let mean = (0..1_000).map(|origin| position_mm(&random, 6, &new_crack(origin))).sum::<f64>() / 1e3;
        // Uniform on 9 mm.
        assert!((mean - 4.5).abs() < 4.0 * 9.0 / 12_000.0_f64.sqrt(), "{mean} mm");
    }

    #[test]
    fn a_crack_lies_within_another_that_is_as_deep_and_reaches_as_far_to_both_sides() {
        let placed =
            |position_mm, depth_mm, length_mm| PlacedCrack::new(position_mm, depth_mm, length_mm).expect("a crack");
        let outer = placed(10.0, 2.0, 6.0);
        for (inner, is_within) in [
            (placed(10.0, 1.0, 2.0), true),
            (placed(10.0, 2.0, 6.0), true),
            (placed(12.0, 1.0, 2.0), true),
            (placed(12.5, 1.0, 2.0), false),
            (placed(7.5, 1.0, 2.0), false),
            (placed(10.0, 2.5, 2.0), false),
        ] {
            assert_eq!(lies_within(&inner, &outer), is_within, "{inner:?}");
        }
    }
}
