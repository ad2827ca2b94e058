//! Rules one at a time, with answers worked out by hand: a row whose every origin cracks at the very beginning, whose
//! cracks grow alike by a closed form, and whose looks see all or nothing, or a stated part.

use crate::support::{ByNumber, Lived, again_by};
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::math::normal_cdf;
use serrata::model::StudyParts;
use serrata::model::detection::{Access, DepthSizing, Persistence};
use serrata::model::economics::DayCost;
use serrata::model::economics::Payments;
use serrata::model::fleet::{Consequences, PastLook};
use serrata::model::initiation::InitiationShape;
use serrata::model::strategy::{
    Action, AfterLoss, Deferral, Disposition, Dressing, Look, RowEnd, RowEndAction, Sample, SisterRows, SisterScope,
    Spares, StartsLimit, UsedBlades, Watch, When, WithoutSpare,
};
use serrata::model::usage::{Clock, DutyPeriod};
use serrata::simulation::{Comparison, Quantity, Run};

const STARTS_PER_YEAR: f64 = 20_000.0;
const INITIAL_MM: f64 = 0.5;
pub const LIMIT_MM: f64 = 10.0;
const RATE: f64 = 0.06;

/// Paris' law with m = 3 and K = Y S sqrt(pi a), in closed form: a**-1/2 falls in proportion to starts.
fn fall_per_start() -> f64 {
    let (c, y_s) = (5e-12, 1.12 * 300.0_f64);
    0.5 * c * y_s.powi(3) * std::f64::consts::PI.powf(1.5)
}

fn root(depth_mm: f64) -> f64 {
    (depth_mm / 1e3).powf(-0.5)
}

/// Depth after some years, in mm; the surface length is twice that.
fn depth_mm(years: f64) -> f64 {
    1e3 * (root(INITIAL_MM) - fall_per_start() * STARTS_PER_YEAR * years).powi(-2)
}

/// Years from the beginning to the loss: 3.29.
pub fn life_years() -> f64 {
    (root(INITIAL_MM) - root(LIMIT_MM)) / (fall_per_start() * STARTS_PER_YEAR)
}

/// The row, with some blades, six years and five outages; the first strategy does nothing, the second looks in place at
/// every outage, sees everything from 0.1 mm on, and replaces.
pub fn study(blades: u32) -> StudyParts {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/closed_case.toml");
    let mut study = Study::load(path).expect("a valid study").into_parts();
    study.horizon_years = 6.0;
    study.growth[0].crack_sigma_log = 0.0;
    study.units[0].duty = [(0.0, 8_760.0), (0.001, 0.0)]
        .map(|(from_year, hours_per_year)| DutyPeriod { from_year, starts_per_year: STARTS_PER_YEAR, hours_per_year })
        .to_vec();
    study.units[0].outages.years = vec![1.0, 2.0, 3.0, 4.0, 5.0];
    study.rows[0].blades = blades;
    study.money.discount_rate = RATE;
    sees_from(&mut study, 0, 0.1);
    study
}

/// A technique sees every crack longer than this, and none that is shorter.
fn sees_from(study: &mut StudyParts, technique: usize, length_mm: f64) {
    let pod = &mut study.techniques[technique].pod;
    pod.size = serrata::model::detection::SizeMeasure::Length;
    (pod.q50_mm, pod.spread, pod.floor, pod.ceiling) = (length_mm, 1e-3, 0.0, 1.0);
}

/// Longer than any crack.
const UNSEEN_MM: f64 = 900.0;

pub const NONE: usize = 0;
pub const LOOK: usize = 1;

fn lived(study: &StudyParts, trials: u64) -> Comparison {
    study.simulate(&Run { trials, seed: 3, ..Run::default() }).expect("a run")
}

fn value(study: &StudyParts, strategy: usize, quantity: Quantity) -> f64 {
    lived(study, 20).fleet_of(strategy, quantity).value
}

#[track_caller]
fn assert_equal(ours: f64, by_hand: f64) {
    assert!((ours - by_hand).abs() <= 1e-9 * by_hand.abs().max(1e-3), "{ours} for {by_hand}");
}

#[track_caller]
fn assert_near(ours: serrata::simulation::Estimate, by_hand: f64) {
    let distance = (ours.value - by_hand) / ours.standard_error;
    assert!(distance.abs() <= 4.0, "{} for {by_hand}: {distance:.1} standard errors apart", ours.value);
}

fn worth(years: f64) -> f64 {
    (1.0 + RATE).powf(-years)
}

#[test]
fn a_loss_is_paid_when_it_happens_by_each_convention() {
    let mut study = study(10);
    study.costs.loss_cost = Distribution::Fixed(700.0);
    study.costs.loss_days = Distribution::Fixed(3.0);
    study.costs.outage_day_cost = DayCost::Same(50.0);
    let lost = life_years();
    assert!((3.2..3.4).contains(&lost));
    for (payments, reckoned) in
        [(Payments::WhenDue, lost), (Payments::YearStart, 3.0), (Payments::YearMiddle, 3.5), (Payments::YearEnd, 4.0)]
    {
        study.money.payments = payments;
        let comparison = lived(&study, 20);
        let ours = |quantity| comparison.fleet_of(NONE, quantity).value;
        assert_equal(ours(Quantity::Losses), 10.0);
        // The crack begins a moment after the year does.
        assert!((ours(Quantity::LossCost) / (10.0 * 850.0 * worth(reckoned)) - 1.0).abs() < 1e-6, "{payments:?}");
        assert_equal(ours(Quantity::ForcedDays), 30.0);
        let years: Vec<f64> = comparison.fleet_losses_of(NONE).iter().map(|year| year.value).collect();
        assert_eq!(years, [0.0, 0.0, 0.0, 10.0, 0.0, 0.0]);
    }
}

#[test]
fn looks_are_paid_at_their_outage_by_each_convention() {
    let mut study = study(10);
    study.units[0].outages.years = vec![0.5, 2.25];
    study.strategies[LOOK].looks[0].coverage.blades = Sample::ByChance(0.3);
    study.techniques[0].cost_per_row = 11.0;
    study.techniques[0].cost_per_blade = 2.0;
    study.techniques[0].days_per_row = 1.5;
    // Nothing is found.
    sees_from(&mut study, 0, UNSEEN_MM);
    for (payments, reckoned) in [
        (Payments::WhenDue, [0.5, 2.25]),
        (Payments::YearStart, [0.0, 2.0]),
        (Payments::YearMiddle, [0.5, 2.5]),
        (Payments::YearEnd, [1.0, 3.0]),
    ] {
        study.money.payments = payments;
        let by_hand = (11.0 + 0.3 * 10.0 * 2.0) * (worth(reckoned[0]) + worth(reckoned[1]));
        assert_equal(value(&study, LOOK, Quantity::LookCost), by_hand);
        assert_equal(value(&study, LOOK, Quantity::LookDays), 3.0);
    }
}

#[test]
fn a_new_row_after_a_loss_is_paid_at_the_loss_and_has_no_days() {
    let mut study = study(1);
    study.strategies[NONE].after_loss = AfterLoss::ReplaceRow;
    (study.costs.new_row_cost, study.costs.new_row_days, study.costs.blades_out_cost) = (400.0, 9.0, 60.0);
    let ours = |quantity| value(&study, NONE, quantity);
    assert_equal(ours(Quantity::RowsReplaced), 1.0);
    assert!((ours(Quantity::ReplacementCost) / (400.0 * worth(life_years())) - 1.0).abs() < 1e-6);
    assert_equal(ours(Quantity::ReplacementDays), 0.0);
    assert_equal(ours(Quantity::BladesOutCost), 0.0);
}

#[test]
fn a_new_row_at_an_outage_takes_the_blades_out() {
    let mut study = study(10);
    study.strategies[NONE].row_end = Some(RowEnd { year: 1.5, then: RowEndAction::NewRow });
    (study.costs.new_row_cost, study.costs.new_row_days) = (400.0, 9.0);
    (study.costs.blades_out_cost, study.costs.blades_out_days) = (60.0, 5.0);
    (study.units[0].outages.window_days, study.costs.outage_day_cost) = (8.0, DayCost::Same(100.0));
    for (quantity, by_hand) in [
        (Quantity::RowsReplaced, 1.0),
        (Quantity::TimesOut, 1.0),
        (Quantity::ReplacementCost, 400.0 * worth(2.0)),
        (Quantity::BladesOutCost, 60.0 * worth(2.0)),
        (Quantity::ReplacementDays, 9.0),
        (Quantity::BladesOutDays, 5.0),
        (Quantity::ExtraDayCost, 600.0 * worth(2.0)),
        (Quantity::Losses, 0.0),
    ] {
        assert_equal(value(&study, NONE, quantity), by_hand);
    }
}

#[test]
fn replaced_blades_are_paid_one_by_one() {
    let mut study = study(10);
    (study.costs.new_blade_cost, study.costs.new_blade_days) = (7.0, 0.25);
    (study.units[0].outages.window_days, study.costs.outage_day_cost) = (2.0, DayCost::Same(100.0));
    study.techniques[0].days_per_row = 1.0;
    for (quantity, by_hand) in [
        (Quantity::BladesReplaced, 10.0),
        (Quantity::FalselyReplaced, 0.0),
        (Quantity::CracksFound, 10.0),
        (Quantity::OutagesWithCalls, 1.0),
        (Quantity::ReplacementCost, 70.0 * worth(1.0)),
        (Quantity::ReplacementDays, 2.5),
        (Quantity::TimesOut, 0.0),
        (Quantity::ExtraDayCost, 150.0 * worth(1.0)),
        (Quantity::Days, 5.0 + 2.5),
    ] {
        assert_equal(value(&study, LOOK, quantity), by_hand);
    }
}

fn watched(study: &mut StudyParts) {
    study.strategies[LOOK].dispositions = vec![Disposition::last(Action::Watch)];
    study.strategies[LOOK].looks[0].when = When::every(1, 100);
    study.techniques[0].cost_per_row = 11.0;
    study.techniques[0].cost_per_blade = 2.0;
    study.techniques[0].days_per_row = 1.5;
}

/// Looked at by schedule at outage 1, watched at 2 and 3, all lost before 4.
#[test]
fn watched_blades_are_looked_at_at_the_next_outage_and_paid_once_a_row() {
    let mut study = study(10);
    watched(&mut study);
    let ours = |study: &StudyParts, quantity| value(study, LOOK, quantity);
    let all: f64 = [1.0, 2.0, 3.0].into_iter().map(worth).sum();
    assert_equal(ours(&study, Quantity::LookCost), (11.0 + 20.0) * all);
    assert_equal(ours(&study, Quantity::LookDays), 4.5);
    assert_equal(ours(&study, Quantity::CracksFound), 30.0);
    assert_equal(ours(&study, Quantity::OutagesWithCalls), 1.0);
    assert_equal(ours(&study, Quantity::BladesReplaced), 0.0);
    assert_equal(ours(&study, Quantity::Losses), 10.0);
    // At a price and days of its own.
    study.strategies[LOOK].watch =
        Some(Watch { technique: 0, cost_per_row: Some(5.0), cost_per_blade: Some(0.5), days_per_row: Some(0.25) });
    assert_equal(ours(&study, Quantity::LookCost), 31.0 * worth(1.0) + 10.0 * (worth(2.0) + worth(3.0)));
    assert_equal(ours(&study, Quantity::LookDays), 2.0);
    // The schedule's own look is the watch's.
    study.strategies[LOOK].looks[0].when = When::every(1, 1);
    let scheduled: f64 = (1..=5).map(|outage| worth(f64::from(outage))).sum();
    assert_equal(ours(&study, Quantity::LookCost), 31.0 * scheduled);
    assert_equal(ours(&study, Quantity::CracksFound), 30.0);
    // Not at the outage at which the row ends.
    study.strategies[LOOK].looks[0].when = When::every(1, 100);
    study.strategies[LOOK].row_end = Some(RowEnd { year: 3.0, then: RowEndAction::NewRow });
    assert_equal(ours(&study, Quantity::LookCost), 31.0 * worth(1.0) + 10.0 * worth(2.0));
    assert_equal(ours(&study, Quantity::CracksFound), 20.0);
}

#[test]
fn a_watch_by_another_technique_takes_its_access_and_its_sight() {
    let mut study = study(10);
    watched(&mut study);
    let mut bench = study.techniques[0].clone();
    bench.id = "bench".to_owned();
    bench.access = serrata::model::detection::Access::BladesOut;
    study.techniques.push(bench);
    let mut correlation = vec![vec![0.0; 2]; 2];
    (0..2).for_each(|index| correlation[index][index] = 1.0);
    study.persistence = serrata::model::detection::Persistence::new(correlation).expect("a correlation matrix");
    // It sees what is there at outage 3, not at outage 2: a blade that is not called again is watched no more.
    sees_from(&mut study, 1, 2.0 * 0.5 * (depth_mm(2.0) + depth_mm(3.0)));
    (study.costs.blades_out_cost, study.costs.blades_out_days) = (60.0, 5.0);
    study.strategies[LOOK].watch =
        Some(Watch { technique: 1, cost_per_row: None, cost_per_blade: None, days_per_row: None });
    for (quantity, by_hand) in [
        (Quantity::LookCost, 31.0 * (worth(1.0) + worth(2.0))),
        (Quantity::LookDays, 3.0),
        (Quantity::TimesOut, 1.0),
        (Quantity::BladesOutCost, 60.0 * worth(2.0)),
        (Quantity::BladesOutDays, 5.0),
        (Quantity::CracksFound, 10.0),
    ] {
        assert_equal(value(&study, LOOK, quantity), by_hand);
    }
}

/// A row of one blade: the one that is new after the loss is not the one that was watched.
#[test]
fn a_watch_ends_with_its_blade() {
    let mut study = study(1);
    watched(&mut study);
    study.units[0].outages.years = vec![3.0, 4.0, 5.0];
    assert_equal(value(&study, LOOK, Quantity::LookCost), 13.0 * worth(3.0));
}

/// Clean blades only: a falsely called blade that is watched is called again by chance, no more.
#[test]
fn watched_clean_blades_are_called_falsely_anew_at_each_look() {
    let mut study = study(1_000);
    watched(&mut study);
    study.initiation[0].shape = InitiationShape::Exponential { mean: 1e12 };
    study.techniques[0].false_call_probability = 0.3;
    study.techniques[0].cost_per_row = 0.0;
    study.techniques[0].cost_per_blade = 1.0;
    study.money.discount_rate = 0.0;
    let comparison = lived(&study, 1_000);
    let seen: f64 = (1..=4).map(|look| 0.3_f64.powi(look)).sum();
    assert_near(comparison.fleet_of(LOOK, Quantity::LookCost), 1_000.0 * (1.0 + seen));
}

/// Lengths at the one outage: twice the depth. The rule lies between true and measured length.
#[test]
fn lengths_are_judged_as_measured() {
    let mut study = study(10);
    study.units[0].outages.years = vec![2.0];
    let true_mm = 2.0 * depth_mm(2.0);
    study.strategies[LOOK].dispositions =
        vec![Disposition::below_mm(1.2 * true_mm, Action::Watch), Disposition::last(Action::Replace)];
    for (length_bias, replaced) in [(1.0, 0.0), (1.1, 0.0), (1.3, 10.0)] {
        study.techniques[0].sizing.length_bias = length_bias;
        assert_equal(value(&study, LOOK, Quantity::BladesReplaced), replaced);
    }
    // A third of the measured lengths lie above the rule when it is 0.43 standard deviations off.
    study.techniques[0].sizing.length_bias = 1.0;
    study.techniques[0].sizing.length_sigma_log = 1.2_f64.ln() / 0.43;
    let replaced = lived(&study, 4_000).fleet_of(LOOK, Quantity::BladesReplaced);
    assert_near(replaced, 10.0 * normal_cdf(-0.43));
}

#[test]
fn shifts_of_surface_and_grade_move_what_is_seen() {
    let mut study = study(10);
    study.units[0].outages.years = vec![2.0];
    let length_mm = 2.0 * depth_mm(2.0);
    sees_from(&mut study, 0, length_mm);
    for (surface, grade, found) in [(0.1, 0.0, 0.0), (-0.1, 0.0, 10.0), (0.1, -0.2, 10.0), (-0.1, 0.2, 0.0)] {
        study.techniques[0].surface_shift_log = vec![surface];
        study.techniques[0].grade_shift_log = grade;
        assert_equal(value(&study, LOOK, Quantity::CracksFound), found);
    }
}

/// The part of origins that have cracked by an outage, on a surface that doubles the time, by each law.
#[test]
fn the_surface_scales_the_time_to_a_crack_whatever_the_law() {
    let mut study = study(1_000);
    study.surfaces[0].initiation_life_factor = 2.0;
    study.initiation[0].clock = Clock::STARTS;
    study.growth[0].coefficient_m_per_start = 1e-22;
    study.units[0].outages.years = vec![3.0];
    let reading = 3.0 * STARTS_PER_YEAR / 2.0;
    for (shape, cracked) in [
        (
            InitiationShape::Lognormal { median: 50_000.0, sigma_log: 0.5 },
            normal_cdf((reading / 50_000.0_f64).ln() / 0.5),
        ),
        (InitiationShape::Weibull { shape: 3.0, scale: 50_000.0 }, 1.0 - (-(reading / 50_000.0_f64).powi(3)).exp()),
        (InitiationShape::Exponential { mean: 50_000.0 }, 1.0 - (-reading / 50_000.0_f64).exp()),
    ] {
        study.initiation[0].shape = shape;
        assert_near(lived(&study, 500).after_outages_of(0, NONE)[0].cracks, 1_000.0 * cracked);
    }
}

/// Mean over a standard normal number, by the trapezoidal rule.
fn mean_over_normal(of: impl Fn(f64) -> f64) -> f64 {
    let weight = |z: f64| (-0.5 * z * z).exp() * 0.005 / (2.0 * std::f64::consts::PI).sqrt();
    (-1_800..=1_800).map(|step| f64::from(step) * 0.005).map(|z| weight(z) * of(z)).sum()
}

/// Probability of a call on a crack with a shift of ln q50, of the technique of [`vague`].
fn chance(shift: f64) -> f64 {
    1.0 / (1.0 + (shift / 0.5).exp())
}

/// A technique that finds half of the cracks that are two years old, with a wide curve.
fn vague(study: &mut StudyParts) {
    sees_from(study, 0, 2.0 * depth_mm(2.0));
    study.techniques[0].pod.spread = 0.5;
    study.techniques[0].pod.shape = serrata::model::detection::CurveShape::Logistic;
}

fn binomial_at_least(least: u32, of: u32, p: f64) -> f64 {
    let mut terms = vec![0.0; of as usize + 1];
    terms[0] = 1.0;
    for _ in 0..of {
        for k in (0..=of as usize).rev() {
            terms[k] = terms[k] * (1.0 - p) + if k > 0 { terms[k - 1] * p } else { 0.0 };
        }
    }
    terms[least as usize..].iter().sum()
}

/// The crew's shift is shared by all blades of one look: a row is replaced from so many calls more often than if each
/// blade were seen by itself; and it is another at the next outage.
#[test]
fn a_shared_crew_calls_many_blades_or_few() {
    let mut study = study(10);
    vague(&mut study);
    let sigma = 0.8;
    study.techniques[0].inspection_sigma = sigma;
    study.strategies[LOOK].dispositions = vec![Disposition::last(Action::Watch)];
    study.strategies[LOOK].replace_row_from_blades = Some(8);
    study.units[0].outages.years = vec![2.0];
    let once = mean_over_normal(|z| binomial_at_least(8, 10, chance(sigma * z)));
    let alone = binomial_at_least(8, 10, mean_over_normal(|z| chance(sigma * z)));
    assert!(once > 2.0 * alone, "{once} {alone}");
    assert_near(lived(&study, 20_000).fleet_of(LOOK, Quantity::RowsReplaced), once);
    // Three outages so close together that nothing grows between.
    study.units[0].outages.years = vec![2.0, 2.000_01, 2.000_02];
    let ever = 1.0 - (1.0 - once).powi(3);
    let with_one_crew = mean_over_normal(|z| 1.0 - (1.0 - binomial_at_least(8, 10, chance(sigma * z))).powi(3));
    let ours = lived(&study, 20_000).fleet_of(LOOK, Quantity::RowsReplaced);
    assert!((ever - with_one_crew).abs() > 10.0 * ours.standard_error);
    assert_near(ours, ever);
}

/// One crew sees cracks of all ages: half of the blades have cracked before the first outage, the rest between it and the
/// second, at which alone somebody looks.
#[test]
fn cracks_of_all_ages_meet_the_same_crew() {
    let mut study = study(10);
    study.growth[0].coefficient_m_per_start = 1e-22;
    study.units[0].outages.years = vec![1.0, 2.0];
    study.strategies[LOOK].looks[0].when = When::every(2, 1);
    vague(&mut study);
    study.techniques[0].pod.q50_mm = 2.0 * INITIAL_MM;
    study.techniques[0].inspection_sigma = 0.8;
    study.strategies[LOOK].replace_row_from_blades = Some(8);
    let hours = |from_year: f64, hours_per_year: f64| DutyPeriod { from_year, starts_per_year: 1.0, hours_per_year };
    study.units[0].duty = vec![hours(0.0, 8_760.0), hours(0.001, 0.0), hours(1.5, 8_760.0), hours(1.51, 0.0)];
    let mean = 8.76 / 2.0_f64.ln();
    study.initiation[0].shape = InitiationShape::Exponential { mean };
    let cracked = 1.0 - (-11.0 * 8.76 / mean).exp();
    let once = mean_over_normal(|z| binomial_at_least(8, 10, cracked * chance(0.8 * z)));
    let comparison = lived(&study, 20_000);
    assert_near(comparison.after_outages_of(0, NONE)[0].cracks, 5.0);
    assert_near(comparison.fleet_of(LOOK, Quantity::RowsReplaced), once);
}

/// What a crack keeps makes it as hard to find the next time.
#[test]
fn a_crack_missed_once_is_missed_again_by_what_it_keeps() {
    let mut study = study(1_000);
    vague(&mut study);
    study.techniques[0].crack_sigma = 1.5;
    study.units[0].outages.years = vec![2.0, 2.000_01];
    let missed_twice = mean_over_normal(|z| (1.0 - chance(1.5 * z)).powi(2));
    assert_near(lived(&study, 500).after_outages_of(0, LOOK)[1].cracks, 1_000.0 * missed_twice);
}

/// The same row, eight years in service when the study begins, with two looks behind it.
fn with_a_past(study: &mut StudyParts, looks: &[f64]) {
    study.start_year = 2.5;
    study.units[0].outages.years = vec![3.0];
    study.horizon_years = 0.6;
    study.rows[0].past_looks = looks.iter().map(|&year| PastLook { year, technique: 0, found: None }).collect();
}

/// Each crack that is still there was missed by every past look.
#[test]
fn past_looks_leave_what_they_missed() {
    for (looks, sigma) in [(&[][..], 0.0), (&[2.0], 0.0), (&[2.0, 2.000_01], 0.0), (&[2.0, 2.000_01], 1.5)] {
        let mut study = study(1_000);
        vague(&mut study);
        study.techniques[0].crack_sigma = sigma;
        with_a_past(&mut study, looks);
        let missed = mean_over_normal(|z| (1.0 - chance(sigma * z)).powi(looks.len() as i32));
        let left = lived(&study, 400).after_outages_of(0, NONE)[0].cracks;
        if looks.is_empty() {
            assert_equal(left.value, 1_000.0);
        } else {
            assert_near(left, 1_000.0 * missed);
        }
    }
}

/// Past looks and the study's own share what a crack keeps.
#[test]
fn what_a_past_look_missed_the_next_is_likely_to_miss() {
    let mut study = study(1_000);
    vague(&mut study);
    study.techniques[0].crack_sigma = 1.5;
    with_a_past(&mut study, &[2.0]);
    study.start_year = 2.000_005;
    study.units[0].outages.years = vec![2.000_01];
    let missed_twice = mean_over_normal(|z| (1.0 - chance(1.5 * z)).powi(2));
    assert_near(lived(&study, 400).after_outages_of(0, LOOK)[0].cracks, 1_000.0 * missed_twice);
}

/// All blades of a past look are seen by one crew: the row is clean more often than if each were seen by itself.
#[test]
fn a_past_look_has_a_crew_too() {
    let mut study = study(4);
    vague(&mut study);
    study.techniques[0].inspection_sigma = 0.8;
    with_a_past(&mut study, &[2.0]);
    let any_left = 1.0 - mean_over_normal(|z| chance(0.8 * z).powi(4));
    let alone = 1.0 - mean_over_normal(|z| chance(0.8 * z)).powi(4);
    let ours = lived(&study, 40_000).after_outages_of(0, NONE)[0].p_any_crack;
    assert!((any_left - alone).abs() > 10.0 * ours.standard_error);
    assert_near(ours, any_left);
}

/// A row that lost a blade before the study does not run: lives are drawn again until one comes through, also between the
/// last past look and the start. Growth scatters; the life's logarithm is normal.
#[test]
fn lives_that_lose_a_blade_before_the_study_are_drawn_again() {
    let sigma = 0.5;
    let (start, end) = (3.5, 4.1);
    let lost_by = |year: f64| normal_cdf((year / life_years()).ln() / sigma);
    for looks in [&[][..], &[1.0]] {
        let mut study = study(1);
        study.growth[0].crack_sigma_log = sigma;
        // The past look sees nothing.
        sees_from(&mut study, 0, UNSEEN_MM);
        with_a_past(&mut study, looks);
        study.start_year = start;
        study.units[0].outages.years = vec![4.0];
        let comparison = lived(&study, 20_000);
        let came = 1.0 - lost_by(start);
        // Tries are geometric: their mean over lives has this standard error.
        let error = came * ((1.0 - came) / 20_000.0).sqrt();
        assert!(
            (comparison.p_came_through_of(0) - came).abs() < 4.0 * error,
            "{} for {came}",
            comparison.p_came_through_of(0)
        );
        assert_near(comparison.fleet_of(NONE, Quantity::Losses), (lost_by(end) - lost_by(start)) / came);
    }
}

/// One technique looks at a row once an outage, however many rules ask for it.
#[test]
fn one_technique_is_paid_once_an_outage() {
    let base = |study: &mut StudyParts| {
        study.units[0].outages.years = vec![1.0];
        study.techniques[0].cost_per_row = 11.0;
        study.techniques[0].cost_per_blade = 2.0;
        study.techniques[0].days_per_row = 1.5;
    };
    let again = |fraction: f64, hot_spots: Option<Vec<String>>| {
        let mut study = study(10);
        base(&mut study);
        let look: &mut Look = &mut study.strategies[LOOK].looks[0];
        (look.coverage.blades, look.coverage.hot_spots) = (Sample::ByChance(fraction), hot_spots);
        look.escalation = Some(again_by(vec![0], true));
        study
    };
    // By schedule and as second look: only what the schedule leaves out is paid.
    let whole = again(1.0, None);
    assert_equal(value(&whole, LOOK, Quantity::LookCost), 31.0 * worth(1.0));
    assert_equal(value(&whole, LOOK, Quantity::LookDays), 1.5);
    assert_equal(value(&whole, LOOK, Quantity::CracksFound), 10.0);
    let spot = again(1.0, Some(vec!["fillet".to_owned()]));
    assert_equal(value(&spot, LOOK, Quantity::LookCost), 51.0 * worth(1.0));
    // Half of the blades by chance; the second look, which one call leads to, finds the others.
    let mut few = again(0.5, None);
    few.rows[0].blades = 4;
    let half = lived(&few, 4_000);
    let led_to = 1.0 - 0.5_f64.powi(4);
    assert_near(half.fleet_of(LOOK, Quantity::LookCost), (15.0 + led_to * 4.0) * worth(1.0));
    assert_near(half.fleet_of(LOOK, Quantity::CracksFound), 4.0 * led_to);
    assert_equal(half.fleet_of(LOOK, Quantity::LookDays).value, 1.5);
    // Two lines of the schedule at one outage.
    let mut twice = study(10);
    base(&mut twice);
    let mut look = twice.strategies[LOOK].looks[0].clone();
    look.coverage.blades = Sample::ByChance(0.5);
    twice.strategies[LOOK].looks.push(look);
    assert_equal(value(&twice, LOOK, Quantity::LookCost), 31.0 * worth(1.0));
    // Two looks that lead to the same second look.
    let mut both = again(1.0, None);
    let mut second = both.techniques[0].clone();
    second.id = "second".to_owned();
    both.techniques.push(second);
    both.persistence =
        serrata::model::detection::Persistence::new(vec![vec![1.0, 0.0], vec![0.0, 1.0]]).expect("a matrix");
    let escalation = Some(again_by(vec![1], false));
    both.strategies[LOOK].looks[0].escalation = escalation.clone();
    let mut other = both.strategies[LOOK].looks[0].clone();
    other.escalation = escalation;
    both.strategies[LOOK].looks.push(other);
    assert_equal(value(&both, LOOK, Quantity::LookCost), 62.0 * worth(1.0));
    assert_equal(value(&both, LOOK, Quantity::CracksFound), 10.0);
}

/// A first call that does not stand counts for nothing, on a blade too that another look calls.
#[test]
fn an_overruled_indication_counts_for_nothing() {
    let mut study = study(10);
    study.units[0].outages.years = vec![2.0];
    // Two hot spots a blade; the second look sees one of them only, and reports it short.
    let spots = &mut study.roots[0].hot_spots;
    let mut deeper = spots[0].clone();
    deeper.id = "deeper".to_owned();
    deeper.initial_depth_mm = Distribution::Fixed(0.8);
    spots.push(deeper);
    let mut second = study.techniques[0].clone();
    second.id = "second".to_owned();
    study.techniques.push(second);
    study.persistence =
        serrata::model::detection::Persistence::new(vec![vec![1.0, 0.0], vec![0.0, 1.0]]).expect("a matrix");
    sees_from(&mut study, 1, 2.0 * depth_mm(2.0) * 1.05);
    study.techniques[1].sizing.length_bias = 0.01;
    study.strategies[LOOK].dispositions =
        vec![Disposition::below_mm(2.0 * depth_mm(2.0), Action::Watch), Disposition::last(Action::Replace)];
    for (first_call_stands, found, replaced) in [(false, 10.0, 0.0), (true, 20.0, 10.0)] {
        study.strategies[LOOK].looks[0].escalation = Some(again_by(vec![1], first_call_stands));
        assert_equal(value(&study, LOOK, Quantity::CracksFound), found);
        assert_equal(value(&study, LOOK, Quantity::BladesReplaced), replaced);
    }
}

/// Three rows of ten blades: the first two on one rotor. In place only the first is looked at; its sisters are looked at
/// with blades out, by a technique of which nothing else makes use.
fn three_rows(of: SisterScope) -> StudyParts {
    let mut study = study(10);
    for (id, rotor) in [("sister", "rotor"), ("apart", "other")] {
        let mut row = study.rows[0].clone();
        (row.id, row.rotor) = (id.to_owned(), rotor.to_owned());
        study.rows.push(row);
    }
    study.rows[0].rotor = "rotor".to_owned();
    let mut second = study.techniques[0].clone();
    (second.id, second.access) = ("second".to_owned(), Access::BladesOut);
    (second.cost_per_row, second.cost_per_blade, second.days_per_row) = (20.0, 3.0, 2.0);
    study.techniques.push(second);
    study.techniques[0].days_per_row = 1.0;
    study.persistence = Persistence::new(vec![vec![1.0, 0.0], vec![0.0, 1.0]]).expect("a correlation matrix");
    let strategy = &mut study.strategies[LOOK];
    strategy.looks[0].coverage.rows = Some(vec![0]);
    strategy.sister_rows = Some(SisterRows { of, techniques: vec![1] });
    study
}

#[test]
fn finds_on_a_row_send_people_to_its_sisters_at_the_same_outage() {
    for (of, visited) in [(SisterScope::Rotor, [true, true, false]), (SisterScope::Unit, [true; 3])] {
        let study = three_rows(of);
        let comparison = lived(&study, 20);
        for (row, visited) in visited.into_iter().enumerate() {
            let ours = |quantity| comparison.row_of(row, LOOK, quantity).value;
            // All ten are found at the first outage, and new blades never crack; or all ten are lost.
            let [found, lost] = if visited { [10.0, 0.0] } else { [0.0, 10.0] };
            assert_equal(ours(Quantity::CracksFound), found);
            assert_equal(ours(Quantity::BladesReplaced), found);
            assert_equal(ours(Quantity::Losses), lost);
            let sister_look = if row > 0 && visited { (20.0 + 10.0 * 3.0) * worth(1.0) } else { 0.0 };
            assert_equal(ours(Quantity::LookCost), sister_look);
            // Nothing is found later, so that nobody comes again.
            assert_equal(ours(Quantity::TimesOut), if row > 0 && visited { 1.0 } else { 0.0 });
            assert_equal(ours(Quantity::Escalated), 0.0);
        }
    }
}

#[test]
fn a_rule_for_sisters_that_never_fires_changes_no_bit() {
    let mut with = three_rows(SisterScope::Unit);
    // Nothing is found in place.
    sees_from(&mut with, 0, UNSEEN_MM);
    let mut without = with.clone();
    without.strategies[LOOK].sister_rows = None;
    let (with, without) = (lived(&with, 50), lived(&without, 50));
    for (row, quantity) in (0..3).flat_map(|row| Quantity::ALL.map(|quantity| (row, quantity))) {
        let [one, other] = [&with, &without].map(|comparison| comparison.row_of(row, LOOK, quantity));
        assert_eq!(one.value.to_bits(), other.value.to_bits(), "row {row}: {}", quantity.name());
    }
}

#[test]
fn rows_of_a_unit_share_its_crews_its_window_and_the_lift_of_a_rotor() {
    let mut study = three_rows(SisterScope::Rotor);
    let strategy = &mut study.strategies[LOOK];
    // Every row is looked at with blades out at the first outage, and never again.
    strategy.sister_rows = None;
    strategy.looks = vec![Look { techniques: vec![1], when: When::every(1, 400), ..strategy.looks[0].clone() }];
    strategy.looks[0].coverage.rows = None;
    study.units[0].outages.window_days = 12.0;
    let costs = &mut study.costs;
    (costs.blades_out_cost, costs.blades_out_days) = (30.0, 4.0);
    (costs.rotor_lift_cost, costs.rotor_lift_days) = (50.0, 3.0);
    (costs.new_blade_days, costs.outage_day_cost) = (0.1, DayCost::Same(100.0));
    // Each row: 2 days of looking, 4 out and in, 1 for ten new blades. Two rotors are lifted in 3 days each.
    let shares = |crews| {
        let mut study = study.clone();
        study.units[0].crews = crews;
        let comparison = lived(&study, 20);
        [0, 1, 2].map(|row| comparison.row_of(row, LOOK, Quantity::DaysBeyondWindow).value)
    };
    // One crew: 6 + 21 days, 15 beyond; without one of the two 7 are saved, without the third 7 and its lift.
    let one = shares(Some(1));
    for (ours, saved) in one.into_iter().zip([7.0, 7.0, 10.0]) {
        assert_equal(ours, 15.0 * saved / 24.0);
    }
    // Two crews: both rotors are up on day 3, two rows done on day 10, the third on day 17: 5 beyond. Without any row all
    // is done on day 10 (without the third one crew lifts the rotor, and the other waits), and so each saves 5.
    for ours in shares(Some(2)) {
        assert_equal(ours, 5.0 / 3.0);
    }
    assert_eq!(shares(None), [0.0; 3]);
    study.units[0].crews = Some(1);
    let comparison = lived(&study, 20);
    let ours = |row, quantity| comparison.row_of(row, LOOK, quantity).value;
    for (row, lift) in [(0, 0.5), (1, 0.5), (2, 1.0)] {
        assert_equal(ours(row, Quantity::BladesOutCost), (30.0 + lift * 50.0) * worth(1.0));
        assert_equal(ours(row, Quantity::BladesOutDays), 4.0 + lift * 3.0);
        assert_equal(ours(row, Quantity::ExtraDayCost), one[row] * 100.0 * worth(1.0));
        assert_equal(ours(row, Quantity::Days), 7.0 + lift * 3.0);
    }
}

#[test]
fn after_two_clean_looks_in_a_row_the_next_is_skipped() {
    let mut study = study(10);
    study.money.discount_rate = 0.0;
    study.techniques[0].cost_per_row = 11.0;
    study.strategies[LOOK].looks[0].skip_after_clean = Some(2);
    // All cracks are there from the beginning. All are found at 1, and new blades stay sound: clean at 2 and 3, 4 is
    // skipped, then 5.
    assert_equal(value(&study, LOOK, Quantity::LookCost), 4.0 * 11.0);
    assert_equal(value(&study, LOOK, Quantity::CracksFound), 10.0);
    // None is found before any is lost, all between 3 and 4: clean at 1 and 2, 3 is skipped, and 4 is not clean.
    sees_from(&mut study, 0, UNSEEN_MM);
    assert_equal(value(&study, LOOK, Quantity::LookCost), 4.0 * 11.0);
    assert_equal(value(&study, LOOK, Quantity::Losses), 10.0);
    // Without losses: 1, 2, 4, 5.
    study.growth[0].coefficient_m_per_start = 1e-22;
    assert_equal(value(&study, LOOK, Quantity::LookCost), 4.0 * 11.0);
    assert_equal(value(&study, LOOK, Quantity::Losses), 0.0);
    study.strategies[LOOK].looks[0].skip_after_clean = Some(1);
    assert_equal(value(&study, LOOK, Quantity::LookCost), 3.0 * 11.0);
}

/// Twice the depth that a crack has at the second outage is seen there only if that is put off.
#[test]
fn an_outage_that_is_put_off_is_lived_and_paid_at_its_new_moment() {
    let mut study = study(10);
    study.techniques[0].cost_per_row = 11.0;
    study.strategies[LOOK].looks[0].when = When::Outages(vec![2]);
    let between = 2.0 * depth_mm(2.3);
    sees_from(&mut study, 0, between);
    assert_equal(value(&study, LOOK, Quantity::CracksFound), 0.0);
    assert_equal(value(&study, LOOK, Quantity::LookCost), 11.0 * worth(2.0));
    study.strategies[LOOK].deferrals = vec![Deferral { outage: 2, by_years: 0.6, units: None }];
    assert_equal(value(&study, LOOK, Quantity::CracksFound), 10.0);
    assert_equal(value(&study, LOOK, Quantity::LookCost), 11.0 * worth(2.6));
    assert_equal(value(&study, LOOK, Quantity::Losses), 0.0);
    let after = lived(&study, 20).after_outages_of(0, LOOK);
    assert_eq!(after.iter().map(|after| after.year).collect::<Vec<f64>>(), [1.0, 2.6, 3.0, 4.0, 5.0]);
    // The other strategy stops as planned.
    let after = lived(&study, 20).after_outages_of(0, NONE);
    assert_eq!(after.iter().map(|after| after.year).collect::<Vec<f64>>(), [1.0, 2.0, 3.0, 4.0, 5.0]);
    // Of another unit, nothing is put off here.
    let other = serrata::model::fleet::Unit { id: "other".to_owned(), ..study.units[0].clone() };
    study.units.push(other);
    study.strategies[LOOK].deferrals[0].units = Some(vec![1]);
    assert_equal(value(&study, LOOK, Quantity::CracksFound), 0.0);
    study.strategies[LOOK].deferrals[0].units = Some(vec![7]);
    let refused = Study::new(study).expect_err("no such unit").to_string();
    assert!(refused.contains("is the number of no unit"), "{refused}");
}

/// Half the starts from the first year on: what is left of a crack's life takes twice as long.
#[test]
fn fewer_starts_put_losses_off_and_cost_what_is_stated() {
    let mut study = study(10);
    study.costs.loss_cost = Distribution::Fixed(700.0);
    study.strategies[LOOK].looks.clear();
    let limit =
        StartsLimit { starts_per_year: 0.5 * STARTS_PER_YEAR, from_year: 1.0, units: None, cost_per_year: 40.0 };
    study.strategies[LOOK].starts_limit = Some(limit);
    let comparison = lived(&study, 20);
    let lost = 1.0 + 2.0 * (life_years() - 1.0);
    let years: Vec<f64> = comparison.fleet_losses_of(LOOK).iter().map(|year| year.value).collect();
    assert_eq!(years, [0.0, 0.0, 0.0, 0.0, 0.0, 10.0]);
    assert!((comparison.fleet_of(LOOK, Quantity::LossCost).value / (7_000.0 * worth(lost)) - 1.0).abs() < 1e-6);
    let stream = (worth(1.0) - worth(6.0)) / (1.0 + RATE).ln();
    assert_equal(comparison.fleet_of(LOOK, Quantity::StartsLimitCost).value, 40.0 * stream);
    let all = comparison.fleet_of(LOOK, Quantity::Cost).value;
    assert_equal(all, comparison.fleet_of(LOOK, Quantity::LossCost).value + 40.0 * stream);
    assert_eq!(comparison.fleet_losses_of(NONE)[3].value, 10.0);
    assert_equal(comparison.fleet_of(NONE, Quantity::StartsLimitCost).value, 0.0);
    // A limit that is no limit changes no loss.
    let limit = study.strategies[LOOK].starts_limit.as_mut().expect("a limit");
    limit.starts_per_year = STARTS_PER_YEAR;
    assert_eq!(lived(&study, 20).fleet_losses_of(LOOK)[3].value, 10.0);
}

/// Ten blades are lost at one moment, and four are in stock: the first four are there, and the others come in ten days each
/// time. Nothing else of the losses changes.
#[test]
fn lost_blades_wait_for_spares_in_outages_that_last_longer() {
    let mut study = study(10);
    study.costs.loss_cost = Distribution::Fixed(700.0);
    study.costs.loss_days = Distribution::Fixed(3.0);
    study.costs.outage_day_cost = DayCost::Same(50.0);
    study.strategies[NONE].spares = vec![Spares {
        roots: None,
        blades: 4,
        lead_days: 10.0,
        without: WithoutSpare::Wait,
        cost_per_year: 5.0,
        used_blades: None,
    }];
    let expect = |study: &StudyParts, strategy: usize, losses: f64, wait_days: f64| {
        let comparison = lived(study, 20);
        let ours = |quantity| comparison.fleet_of(strategy, quantity).value;
        assert_equal(ours(Quantity::Losses), losses);
        assert!((ours(Quantity::WaitDays) - wait_days).abs() < 1e-6, "{} for {wait_days}", ours(Quantity::WaitDays));
        assert_equal(ours(Quantity::ForcedDays), 3.0 * losses);
        let days = [Quantity::LookDays, Quantity::ForcedDays, Quantity::WaitDays].map(ours).iter().sum();
        assert_equal(ours(Quantity::Days), days);
        let cost = (850.0 * losses + 50.0 * wait_days) * worth(life_years());
        assert!((ours(Quantity::LossCost) / cost - 1.0).abs() < 1e-6, "{} for {cost}", ours(Quantity::LossCost));
        ours(Quantity::SparesCost)
    };
    let spares_cost = expect(&study, NONE, 10.0, 60.0);
    assert_equal(spares_cost, 5.0 * (1.0 - worth(6.0)) / (1.0 + RATE).ln());
    // What lives with planted cracks tell of costs has the wait in it, too.
    let run = Run { trials: 600, planted_lives: 600, seed: 3, ..Run::default() };
    let planted = study.simulate(&run).expect("a run");
    let cost = planted.fleet_of(NONE, Quantity::LossCost);
    assert_near(cost, (8_500.0 + 3_000.0) * worth(life_years()));
    // Blades run on for want of a spare at outages alone.
    study.strategies[LOOK].spares = study.strategies[NONE].spares.clone();
    study.strategies[LOOK].spares[0].without = WithoutSpare::RunOnWatched;
    sees_from(&mut study, 0, UNSEEN_MM);
    expect(&study, LOOK, 10.0, 60.0);
    // Five blades go with each loss: at the first one is missing, and at the second five are.
    study.roots[0].replaced_together = 5;
    expect(&study, NONE, 2.0, 20.0);
    study.strategies[NONE].spares[0].blades = 5;
    expect(&study, NONE, 2.0, 10.0);
    // Used blades take the place of two groups, or of the second, and are paid with the losses and the rest of the groups.
    for (new, used, fitted, wait_days) in [(0, 10, 10.0, 0.0), (5, 7, 5.0, 0.0), (4, 9, 5.0, 10.0), (4, 4, 0.0, 20.0)] {
        let mut study = study.clone();
        study.costs.new_blade_cost = 10.0;
        let stock = &mut study.strategies[NONE].spares[0];
        stock.blades = new;
        stock.used_blades = Some(UsedBlades { blades: used, life_factor: 1.0, cost_per_blade: 2.0 });
        expect(&study, NONE, 2.0, wait_days);
        let comparison = lived(&study, 20);
        let ours = |quantity| comparison.fleet_of(NONE, quantity).value;
        assert_equal(ours(Quantity::UsedBladesFitted), fitted);
        assert_equal(ours(Quantity::BladesReplaced), 8.0);
        // Of each group one was lost.
        let cost = (80.0 - 8.0 * 0.8 * fitted) * worth(life_years());
        assert!(
            (ours(Quantity::ReplacementCost) / cost - 1.0).abs() < 1e-6,
            "{} for {cost}",
            ours(Quantity::ReplacementCost)
        );
    }
    // Whole rows come as sets of their own. Single blades may be damaged; nobody takes them out.
    study.strategies[NONE].after_loss = AfterLoss::ReplaceRow;
    study.roots[0].handling_damage_probability = 0.1;
    expect(&study, NONE, 1.0, 0.0);
    study.strategies[NONE].spares[0].roots = Some(vec![7]);
    let refused = Study::new(study).expect_err("no such root").to_string();
    assert!(refused.contains("is the number of no root"), "{refused}");
}

/// Every blade that is called is dressed, at the first outage alone.
fn dressed(study: &mut StudyParts, dressing: Dressing) {
    study.strategies[LOOK].dispositions = vec![Disposition::last(Action::Dress)];
    study.strategies[LOOK].dressing = Some(dressing);
    study.strategies[LOOK].looks[0].when = When::every(1, 100);
    (study.costs.dressing_cost, study.costs.dressing_days) = (Some(5.0), Some(0.5));
    (study.costs.blades_out_cost, study.costs.blades_out_days) = (60.0, 5.0);
    (study.costs.new_blade_cost, study.costs.new_blade_days) = (7.0, 0.25);
}

fn hours(periods: &[(f64, f64)]) -> Vec<DutyPeriod> {
    let period = |&(from_year, hours_per_year): &(f64, f64)| DutyPeriod {
        from_year,
        starts_per_year: STARTS_PER_YEAR,
        hours_per_year,
    };
    periods.iter().map(period).collect()
}

const SURELY_GONE: Dressing =
    Dressing { gone_probability: 1.0, life_factor: 0.25, at_most_depth_mm: 100.0, blades_out: false };

/// A crack that is not gone grows on, and is lost when it would have been.
#[test]
fn a_dressed_crack_is_gone_or_stays_as_it_was() {
    let mut study = study(10);
    (study.units[0].outages.window_days, study.costs.outage_day_cost) = (4.0, DayCost::Same(100.0));
    for blades_out in [false, true] {
        dressed(&mut study, Dressing { gone_probability: 0.7, blades_out, ..SURELY_GONE });
        let comparison = lived(&study, 4_000);
        let ours = |quantity| comparison.fleet_of(LOOK, quantity);
        let out = if blades_out { 1.0 } else { 0.0 };
        for (quantity, by_hand) in [
            (Quantity::BladesDressed, 10.0),
            (Quantity::CracksFound, 10.0),
            (Quantity::BladesReplaced, 0.0),
            (Quantity::FalselyReplaced, 0.0),
            (Quantity::DressingCost, 50.0 * worth(1.0)),
            (Quantity::DressingDays, 5.0),
            (Quantity::ReplacementCost, 0.0),
            (Quantity::TimesOut, out),
            (Quantity::BladesOutCost, 60.0 * out * worth(1.0)),
            (Quantity::BladesOutDays, 5.0 * out),
            (Quantity::ExtraDayCost, 100.0 * (1.0 + 5.0 * out) * worth(1.0)),
            (Quantity::Cost, (50.0 + 60.0 * out + 100.0 * (1.0 + 5.0 * out)) * worth(1.0)),
            (Quantity::Days, 5.0 + 5.0 * out),
        ] {
            assert_equal(ours(quantity).value, by_hand);
        }
        assert_near(ours(Quantity::Losses), 3.0);
        assert_near(comparison.after_outages_of(0, LOOK)[0].cracks, 3.0);
        assert_near(comparison.fleet_losses_of(LOOK)[3], 3.0);
    }
}

/// Running hours after the outage crack a part of the dressed places by the law with a quarter of its time: 1 - exp(-h / (m f)).
/// Their cracks begin then, and are lost as long after that as others are.
#[test]
fn a_dressed_place_cracks_anew_in_a_part_of_the_time() {
    let mut study = study(1_000);
    dressed(&mut study, SURELY_GONE);
    study.initiation[0].shape = InitiationShape::Exponential { mean: 0.5 };
    study.units[0].duty = hours(&[(0.0, 8_760.0), (0.001, 0.0), (1.0, 8_760.0), (1.000_01, 0.0)]);
    let cracked = 1.0 - (-0.087_6_f64 / (0.5 * 0.25)).exp();
    let comparison = lived(&study, 60);
    let after = comparison.after_outages_of(0, LOOK);
    assert_equal(after[0].cracks.value, 0.0);
    assert_near(after[1].cracks, 1_000.0 * cracked);
    assert_near(comparison.fleet_of(LOOK, Quantity::Losses), 1_000.0 * cracked);
    assert_near(comparison.fleet_losses_of(LOOK)[4], 1_000.0 * cracked);
    assert!((1.0 + life_years()).floor() == 4.0);
    // By Weibull's law and the lognormal one the time is a part of theirs, too.
    let reading = 0.087_6 / 0.25;
    for (shape, cracked) in [
        (InitiationShape::Weibull { shape: 2.5, scale: 0.5 }, 1.0 - (-(reading / 0.5_f64).powf(2.5)).exp()),
        (InitiationShape::Lognormal { median: 0.5, sigma_log: 0.4 }, normal_cdf((reading / 0.5_f64).ln() / 0.4)),
    ] {
        study.initiation[0].shape = shape;
        assert_near(lived(&study, 60).after_outages_of(0, LOOK)[1].cracks, 1_000.0 * cracked);
    }
}

/// A hot spot of two positions with two origins each. One technique sees the crack of one hot spot alone; the origins of the
/// place begin anew, those of other places do not.
#[test]
fn all_origins_of_a_place_begin_anew_and_no_others() {
    let mut study = study(1_000);
    dressed(&mut study, SURELY_GONE);
    (study.roots[0].hot_spots[0].positions, study.roots[0].hot_spots[0].origins) = (2, 2);
    // Half of the origins crack at once, which takes no other into account; all that have not do so after the outage.
    study.initiation[0].shape = InitiationShape::Exponential { mean: 8.76 / 2.0_f64.ln() };
    study.units[0].duty = hours(&[(0.0, 8_760.0), (0.001, 0.0), (1.0, 8_760.0), (1.000_01, 0.0)]);
    let (rate, after) = (2.0_f64.ln() / 8.76, 0.087_6);
    // A place without a crack, of four: its origins are as they were. Any other has two that are new.
    let old = 2.0 * 0.25 * (1.0 - (-rate * after).exp());
    let new = 2.0 * 0.75 * (1.0 - (-rate * after / 0.25).exp());
    let comparison = lived(&study, 100);
    assert_near(comparison.fleet_of(LOOK, Quantity::CracksFound), 1_000.0 * 2.0);
    assert_near(comparison.fleet_of(LOOK, Quantity::BladesDressed), 1_000.0 * (1.0 - 0.5_f64.powi(4)));
    assert_equal(comparison.after_outages_of(0, LOOK)[0].cracks.value, 0.0);
    assert_near(comparison.after_outages_of(0, LOOK)[1].cracks, 1_000.0 * 2.0 * (old + new));
}

/// Each place cracks at once and is ground down by a year's growth at every outage: two of them may go, the third may not.
#[test]
fn what_is_ground_away_adds_up_until_the_blade_is_replaced() {
    let mut study = study(10);
    let year_mm = depth_mm(1.0);
    dressed(&mut study, Dressing { at_most_depth_mm: 2.5 * year_mm, ..SURELY_GONE });
    study.strategies[LOOK].looks[0].when = When::every(1, 1);
    let moments = (0..6).flat_map(|year| [(f64::from(year), 8_760.0), (f64::from(year) + 0.001, 0.0)]);
    study.units[0].duty = hours(&moments.collect::<Vec<_>>());
    let all: f64 = (1..=5).map(|year| worth(f64::from(year))).sum();
    for (quantity, by_hand) in [
        (Quantity::BladesDressed, 50.0),
        (Quantity::BladesReplaced, 10.0),
        (Quantity::FalselyReplaced, 0.0),
        (Quantity::DressingCost, 50.0 * all),
        (Quantity::DressingDays, 25.0),
        (Quantity::ReplacementCost, 70.0 * worth(3.0)),
        (Quantity::ReplacementDays, 2.5),
        (Quantity::CracksFound, 50.0),
        (Quantity::Losses, 0.0),
    ] {
        assert_equal(value(&study, LOOK, quantity), by_hand);
    }
    // Those that lie too deep at once are never ground away.
    study.strategies[LOOK].dressing = Some(Dressing { at_most_depth_mm: 0.9 * year_mm, ..SURELY_GONE });
    assert_equal(value(&study, LOOK, Quantity::BladesReplaced), 50.0);
    assert_equal(value(&study, LOOK, Quantity::BladesDressed), 50.0);
    // Where a crack is not gone, what was ground away is gone all the same: at the second outage too little is left.
    let never =
        Dressing { gone_probability: 0.0, at_most_depth_mm: 0.5 * (2.0 * year_mm + depth_mm(2.0)), ..SURELY_GONE };
    study.strategies[LOOK].dressing = Some(never);
    study.units[0].outages.years = vec![1.0, 2.0];
    assert_equal(value(&study, LOOK, Quantity::BladesDressed), 20.0);
    assert_equal(value(&study, LOOK, Quantity::BladesReplaced), 10.0);
}

#[test]
fn a_false_indication_is_dressed_at_a_cost_and_nothing_else() {
    let mut study = study(1_000);
    dressed(&mut study, SURELY_GONE);
    study.initiation[0].shape = InitiationShape::Exponential { mean: 1e12 };
    study.strategies[LOOK].looks[0].when = When::every(1, 1);
    study.techniques[0].false_call_probability = 0.3;
    study.money.discount_rate = 0.0;
    let comparison = lived(&study, 400);
    assert_near(comparison.fleet_of(LOOK, Quantity::BladesDressed), 1_500.0);
    assert_near(comparison.fleet_of(LOOK, Quantity::DressingCost), 7_500.0);
    assert_equal(comparison.fleet_of(LOOK, Quantity::BladesReplaced).value, 0.0);
}

/// Called at outages 1, 2 and 3 by schedule, and lost before 4; nobody comes for it in between.
#[test]
fn a_blade_that_runs_on_is_left_alone() {
    let mut study = study(10);
    watched(&mut study);
    study.strategies[LOOK].dispositions = vec![Disposition::last(Action::RunOn)];
    for (every, looks, found) in [(100, vec![1.0], 10.0), (1, vec![1.0, 2.0, 3.0, 4.0, 5.0], 30.0)] {
        study.strategies[LOOK].looks[0].when = When::every(1, every);
        let looks: f64 = looks.into_iter().map(worth).sum();
        assert_equal(value(&study, LOOK, Quantity::LookCost), 31.0 * looks);
        assert_equal(value(&study, LOOK, Quantity::CracksFound), found);
        assert_equal(value(&study, LOOK, Quantity::BladesReplaced), 0.0);
        assert_equal(value(&study, LOOK, Quantity::Losses), 10.0);
    }
}

/// As [`lengths_are_judged_as_measured`], by depth; and by both, of which either has the blade replaced.
#[test]
fn depths_are_judged_as_measured() {
    let mut study = study(10);
    study.units[0].outages.years = vec![2.0];
    let true_mm = depth_mm(2.0);
    let measured = |bias: f64, sigma_log: f64| {
        Some(DepthSizing { bias, sigma_log, false_call_mm: Distribution::Uniform { low: 0.5, high: 2.5 } })
    };
    study.strategies[LOOK].dispositions =
        vec![Disposition::below_depth_mm(1.2 * true_mm, Action::RunOn), Disposition::last(Action::Replace)];
    for (bias, replaced) in [(1.0, 0.0), (1.1, 0.0), (1.3, 10.0)] {
        study.techniques[0].depth_sizing = measured(bias, 0.0);
        assert_equal(value(&study, LOOK, Quantity::BladesReplaced), replaced);
    }
    study.strategies[LOOK].dispositions[0].below_mm = 1.2 * 2.0 * true_mm;
    for (length_bias, bias, replaced) in [(1.1, 1.1, 0.0), (1.3, 1.1, 10.0), (1.1, 1.3, 10.0)] {
        study.techniques[0].sizing.length_bias = length_bias;
        study.techniques[0].depth_sizing = measured(bias, 0.0);
        assert_equal(value(&study, LOOK, Quantity::BladesReplaced), replaced);
    }
    study.techniques[0].sizing.length_bias = 1.0;
    study.techniques[0].depth_sizing = measured(1.0, 1.2_f64.ln() / 0.43);
    let replaced = lived(&study, 4_000).fleet_of(LOOK, Quantity::BladesReplaced);
    assert_near(replaced, 10.0 * normal_cdf(-0.43));
    // Of false indications a quarter are deeper than 2 mm.
    study.initiation[0].shape = InitiationShape::Exponential { mean: 1e12 };
    study.techniques[0].false_call_probability = 0.3;
    study.strategies[LOOK].dispositions[0] = Disposition::below_depth_mm(2.0, Action::RunOn);
    let replaced = lived(&study, 20_000).fleet_of(LOOK, Quantity::FalselyReplaced);
    assert_near(replaced, 10.0 * 0.3 * 0.25);
}

/// Ten blades in groups of four, four and two. Each is called by half; a group goes where any of it is.
#[test]
fn a_group_of_blades_is_replaced_together() {
    let mut study = study(10);
    vague(&mut study);
    study.roots[0].replaced_together = 4;
    study.units[0].outages.years = vec![2.0];
    (study.costs.new_blade_cost, study.costs.new_blade_days) = (7.0, 0.25);
    let replaced = 8.0 * (1.0 - 0.5_f64.powi(4)) + 2.0 * (1.0 - 0.5_f64.powi(2));
    let comparison = lived(&study, 20_000);
    assert_near(comparison.fleet_of(LOOK, Quantity::CracksFound), 5.0);
    // Of a group that nobody called the first is lost later, and the others are replaced then.
    let (missed, later) = (2.0 * 0.5_f64.powi(4) + 0.5_f64.powi(2), 6.0 * 0.5_f64.powi(4) + 0.5_f64.powi(2));
    assert_near(comparison.fleet_of(LOOK, Quantity::Losses), missed);
    assert_near(comparison.fleet_of(LOOK, Quantity::BladesReplaced), replaced + later);
    let paid = 7.0 * (worth(2.0) * replaced + worth(life_years()) * later);
    assert_near(comparison.fleet_of(LOOK, Quantity::ReplacementCost), paid);
    assert_near(comparison.fleet_of(LOOK, Quantity::ReplacementDays), 0.25 * replaced);
    assert_near(comparison.after_outages_of(0, LOOK)[0].cracks, 10.0 - replaced);
    assert_equal(comparison.fleet_of(LOOK, Quantity::FalselyReplaced).value, 0.0);
    // The first to be lost takes its group with it, before any other of that is lost.
    let ours = |quantity| comparison.fleet_of(NONE, quantity).value;
    assert_equal(ours(Quantity::Losses), 3.0);
    assert_equal(ours(Quantity::BladesReplaced), 7.0);
    assert!((ours(Quantity::ReplacementCost) / (49.0 * worth(life_years())) - 1.0).abs() < 1e-6);
    assert_equal(ours(Quantity::ReplacementDays), 0.0);
    // False calls are counted by the blades that were called.
    study.initiation[0].shape = InitiationShape::Exponential { mean: 1e12 };
    study.techniques[0].false_call_probability = 0.5;
    let comparison = lived(&study, 20_000);
    assert_near(comparison.fleet_of(LOOK, Quantity::FalselyReplaced), 5.0);
    assert_near(comparison.fleet_of(LOOK, Quantity::BladesReplaced), replaced);
}

/// Blades that would be watched go with their group where one of it is replaced, and are watched no more.
#[test]
fn a_watched_blade_goes_with_its_group() {
    let mut study = study(2);
    watched(&mut study);
    study.units[0].outages.years = vec![1.0, 2.0];
    study.roots[0].replaced_together = 2;
    // Of two blades with one length each, half of the lengths are measured above the rule.
    study.techniques[0].sizing.length_sigma_log = 0.5;
    study.strategies[LOOK].dispositions =
        vec![Disposition::below_mm(2.0 * depth_mm(1.0), Action::Watch), Disposition::last(Action::Replace)];
    let comparison = lived(&study, 20_000);
    let watched_again = 0.25;
    // At the second outage none of two is below the rule.
    let below = normal_cdf((depth_mm(1.0) / depth_mm(2.0)).ln() / 0.5);
    assert_near(comparison.fleet_of(LOOK, Quantity::LookDays), 1.5 * (1.0 + watched_again));
    let replaced = 2.0 * 0.75 + 2.0 * watched_again * (1.0 - below * below);
    // If both are, one is lost later, and the other goes with it.
    let replaced = replaced + watched_again * below * below;
    assert_near(comparison.fleet_of(LOOK, Quantity::BladesReplaced), replaced);
}

/// Past looks replaced groups, too: a crack is left where all four of its group were missed.
#[test]
fn past_looks_replaced_groups() {
    let mut study = study(1_000);
    vague(&mut study);
    study.roots[0].replaced_together = 4;
    with_a_past(&mut study, &[2.0]);
    assert_near(lived(&study, 400).after_outages_of(0, NONE)[0].cracks, 1_000.0 * 0.5_f64.powi(4));
}

/// One of ten blades is cracked, and lost; what it does to the others.
#[test]
fn a_lost_blade_damages_neighbours_or_wrecks_its_row() {
    let mut study = study(10);
    study.start_year = 1.0;
    study.rows[0].renewed =
        vec![serrata::model::fleet::Renewal { year: 0.5, blades: vec![1, 2, 3, 4, 5, 6, 8, 9, 10] }];
    (study.costs.new_blade_cost, study.costs.new_row_cost) = (7.0, 400.0);
    study.units[0].outages.years = vec![2.0, 3.0, 4.0, 5.0];
    study.roots[0].consequences = Consequences {
        neighbours_damaged_probability: 0.3,
        neighbours: 4,
        row_wrecked_probability: 0.2,
        rotor_wrecked_probability: 0.1,
    };
    study.money.discount_rate = 0.0;
    let comparison = lived(&study, 20_000);
    let ours = |quantity| comparison.fleet_of(NONE, quantity);
    assert_equal(ours(Quantity::Losses).value, 1.0);
    assert_near(ours(Quantity::BladesDamaged), 0.3 * 4.0);
    assert_near(ours(Quantity::BladesReplaced), 0.3 * 4.0);
    // A rotor with one row: its wreck is that of the row.
    assert_near(ours(Quantity::RowsReplaced), 0.3);
    assert_near(ours(Quantity::ReplacementCost), 7.0 * 0.3 * 4.0 + 400.0 * 0.3);
    // Blades come in groups of three: the seventh's own two, and damaged ones with theirs: the fourth group has one blade.
    study.roots[0].replaced_together = 3;
    let comparison = lived(&study, 20_000);
    // Damaged are blades 8, 6, 9, 5: the groups 4-6 and 7-9 are new, six blades with the lost one.
    assert_near(comparison.fleet_of(NONE, Quantity::BladesReplaced), 0.3 * 5.0 + 0.4 * 2.0);
    assert_near(comparison.fleet_of(NONE, Quantity::BladesDamaged), 0.3 * 4.0);
}

/// Cracks of two rows on one rotor; the first to be lost wrecks it, so that the second never is. A third row, on a rotor of
/// its own, is none of it.
#[test]
fn a_wrecked_rotor_takes_its_other_rows_with_it() {
    let mut study = study(1);
    let mut later = study.roots[0].clone();
    later.id = "later".to_owned();
    later.hot_spots[0].initial_depth_mm = Distribution::Fixed(0.45);
    study.roots.push(later);
    for (id, rotor, root) in [("sister", "rotor", 1), ("apart", "other", 1)] {
        let mut row = study.rows[0].clone();
        (row.id, row.rotor, row.root) = (id.to_owned(), rotor.to_owned(), root);
        study.rows.push(row);
    }
    (study.costs.new_row_cost, study.money.discount_rate) = (400.0, 0.0);
    study.roots.iter_mut().for_each(|root| root.consequences.rotor_wrecked_probability = 0.25);
    let comparison = lived(&study, 20_000);
    let of_row = |row: usize, quantity| comparison.row_of(row, NONE, quantity);
    assert_equal(of_row(0, Quantity::Losses).value, 1.0);
    assert_near(of_row(1, Quantity::Losses), 0.75);
    assert_equal(of_row(2, Quantity::Losses).value, 1.0);
    // By the loss of the first, or else by its own.
    assert_near(of_row(1, Quantity::RowsReplaced), 0.25 + 0.75 * 0.25);
    // And the first by its own, or that of its sister, where that is still there to be lost.
    assert_near(of_row(0, Quantity::RowsReplaced), 0.25 + 0.75 * 0.25);
    assert_near(of_row(2, Quantity::RowsReplaced), 0.25);
    assert_near(comparison.fleet_of(NONE, Quantity::ReplacementCost), 400.0 * (2.0 * 0.4375 + 0.25));
}
