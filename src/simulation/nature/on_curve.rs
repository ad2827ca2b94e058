//! A crack on a growth curve: its position there, and when its blade is lost.

use super::draw;
use super::hot_spot_plan::HotSpotPlan;
use super::plan::NaturePlan;
use super::planted::CrackDraws;
use crate::math::exp;
use crate::model::growth::{Course, CrackEnd, DiagramLimit, GrowthPath, Limit};
use crate::random::Key;

/// A crack on a growth curve.
#[derive(Debug, Clone, Copy)]
pub(crate) struct OnCurve {
    pub course: Course,
    /// Starts at which its blade is lost; infinite where that is seen at a glance to be later than is asked for.
    pub lost_starts: f64,
    /// Whether the curve holds from the crack's beginning to its loss, or as far as is asked for.
    pub holds: bool,
}

impl OnCurve {
    /// From where the crack begins: its depth in mm and aspect, and the starts until then.
    #[allow(clippy::too_many_arguments)]
    #[inline(always)]
    pub fn new(
        plan: &NaturePlan,
        spot: &HotSpotPlan,
        curve: &GrowthPath,
        draws: &CrackDraws,
        stress: f64,
        [depth_mm, aspect]: [f64; 2],
        rate: f64,
        born_starts: f64,
        until_starts: f64,
    ) -> Self {
        let course = curve.course(depth_mm, aspect);
        let lost_starts = loss(plan, spot, curve, draws, stress, course, rate, born_starts, until_starts);
        let last_starts = if lost_starts < until_starts { lost_starts } else { until_starts };
        let holds = curve.begins(depth_mm, aspect) && curve.covers(course, rate * (last_starts - born_starts));
        OnCurve { course, lost_starts, holds }
    }
}

/// Starts at which the blade of a crack on a growth curve is lost: when the crack is critical in an ordinary start, or at
/// the first overspeed that finds it critical under its higher stress. Infinite where that is seen at a glance to be later
/// than `until_starts`.
#[allow(clippy::too_many_arguments)]
#[inline(always)]
fn loss(
    plan: &NaturePlan,
    spot: &HotSpotPlan,
    curve: &GrowthPath,
    draws: &CrackDraws,
    stress: f64,
    course: Course,
    rate: f64,
    born_starts: f64,
    until_starts: f64,
) -> f64 {
    if let (GrowthPath::FixedFactor(curve), Some(end)) = (curve, spot.end_coordinate) {
        return born_starts + curve.advance_between(course.start, end) / rate;
    }
    let end = crack_end(spot, stress, draws);
    let at_overspeed = match (plan.overspeed, end) {
        (Some(overspeed), CrackEnd::Intensity(intensity)) => {
            Some((overspeed, CrackEnd::Intensity(intensity / overspeed.stress_factor())))
        }
        _ => None,
    };
    let first_end = at_overspeed.map_or(end, |(_, end)| end);
    if curve.outlasts(course, first_end, rate * (until_starts - born_starts)) {
        return f64::INFINITY;
    }
    let ordinary = born_starts + curve.advance_to(course, end) / rate;
    at_overspeed.map_or(ordinary, |(overspeed, end)| {
        ordinary.min(overspeed.next_at_starts(born_starts + curve.advance_to(course, end) / rate))
    })
}

/// The end of a crack with the toughness that is its own; `stress` is the logarithm of its blade's factor on stress.
#[inline(always)]
fn crack_end(spot: &HotSpotPlan, stress: f64, draws: &CrackDraws) -> CrackEnd {
    match &spot.limit {
        Limit::Depth { depth_mm } => CrackEnd::Depth(*depth_mm),
        Limit::SectionFraction { fraction } => CrackEnd::SectionFraction(*fraction),
        // Cracks with a diagram are integrated.
        Limit::Toughness { toughness_mpa_sqrt_m } | Limit::Diagram(DiagramLimit { toughness_mpa_sqrt_m, .. }) => {
            CrackEnd::Intensity(draws.draw(toughness_mpa_sqrt_m, draw::TOUGHNESS) * exp(-stress))
        }
    }
}

/// Toughness of a crack's blade, where its limit has one.
pub(crate) fn own_toughness(spot: &HotSpotPlan, key: Key) -> Option<f64> {
    spot.limit.toughness().map(|toughness| toughness.draw(key, draw::TOUGHNESS))
}

#[cfg(test)]
mod tests {
    use super::super::HotSpotGrowth;
    use super::*;
    use crate::model::Study;
    use crate::simulation::plan::RowPlan;

    #[test]
    fn a_loss_that_a_glance_leaves_out_is_beyond_what_is_asked_for() {
        let fixed = include_str!("../../../tests/engine/data/everything_on.toml");
        let surface = include_str!("../../../tests/engine/data/small.toml").replace(
            "limit = { kind = \"depth\", depth_mm = 8 }",
            "limit = { kind = \"toughness\", toughness_mpa_sqrt_m = 60 }",
        );
        // The hot spots with a toughness; nothing is seen at a glance where the factor is fixed.
        for (text, spot, least) in [(fixed, 1, 0), (surface.as_str(), 0, 40)] {
            let study = Study::parse(text, "study").expect("a good study");
            let plan = &RowPlan::new(&study, &study.rows[0]).expect("a good row").nature;
            let spot = &plan.hot_spots[spot];
            let HotSpotGrowth::Curve { curve, .. } = &spot.growth else { panic!("a curve") };
            let (mut before, mut left_out) = (0, 0);
            for key in (0..400).map(|crack| Key::from_seed(9).child(crack)) {
                let stress = 0.1 * key.normal(100);
                let rate = spot.rate * exp(1.5 * key.normal(101));
                let born = 100.0 + 900.0 * key.uniform(102);
                let until = born + 12_000.0;
                let lost = |until: f64| {
                    OnCurve::new(plan, spot, curve, &CrackDraws::of(key), stress, [0.4, 0.8], rate, born, until)
                        .lost_starts
                };
                let exact = lost(f64::MAX);
                if exact <= until {
                    assert_eq!(lost(until), exact);
                    before += 1;
                } else {
                    assert!(lost(until) > until);
                    left_out += u32::from(lost(until) == f64::INFINITY);
                }
            }
            assert!(before > 40 && left_out >= least, "{before} before, {left_out} left out");
        }
    }

    #[test]
    fn a_toughness_is_drawn_where_the_limit_has_one() {
        let study =
            Study::parse(include_str!("../../../tests/engine/data/everything_on.toml"), "study").expect("a study");
        let plan = &RowPlan::new(&study, &study.rows[0]).expect("a good row").nature;
        let key = Key::from_seed(9);
        assert_eq!(own_toughness(&plan.hot_spots[0], key), None);
        // Weibull: shape 8, scale 55.
        let own = own_toughness(&plan.hot_spots[1], key).expect("a toughness");
        let expected = 55.0 * (-(1.0 - key.uniform(draw::TOUGHNESS)).ln()).powf(1.0 / 8.0);
        assert!((own / expected - 1.0).abs() < 1e-9, "{own} and {expected}");
    }
}
