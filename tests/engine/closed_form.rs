//! A whole study with an answer on paper: one look half-way through the life of cracks that all
//! start at the beginning, with scatter on the growth coefficient alone.
//!
//! Values by quadrature (own case, computed), tolerance four standard errors.

use crate::support::{ByNumber, Lived};
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::StudyParts;
use serrata::model::economics::{Money, Payments, Terms};
use serrata::model::initiation::InitiationShape;
use serrata::simulation::{Estimate, Quantity, Run};

const TRIALS: u64 = 1_000;
const BLADES: f64 = 1_000.0;
const LOST_WITHOUT_A_LOOK: f64 = 0.409_475_962_210_928_1;
const LOST_WITH_A_LOOK: f64 = 0.208_455_719_366_994_83;
const FOUND: f64 = 0.298_344_254_393_322_5;

#[test]
fn one_look_half_way_finds_and_saves_as_much_as_on_paper() {
    let study = Study::load(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/closed_case.toml"))
        .expect("a study")
        .into_parts();
    let comparison = study.simulate(&Run { trials: TRIALS, seed: 8, ..Run::default() }).expect("a run");
    let strategy = |id: &str| study.strategies.iter().position(|strategy| strategy.id == id).expect("a strategy");
    let (none, one_look) = (strategy("none"), strategy("one-look"));
    assert_agrees(comparison.fleet_of(none, Quantity::Losses), LOST_WITHOUT_A_LOOK);
    assert_agrees(comparison.fleet_of(one_look, Quantity::Losses), LOST_WITH_A_LOOK);
    assert_agrees(comparison.fleet_of(one_look, Quantity::CracksFound), FOUND);
    assert_agrees(comparison.fleet_of(one_look, Quantity::BladesReplaced), FOUND);
}

/// How many origins have cracked by an outage, on paper: 1 - exp(-Z h) each, h the Weibull hazard, over the row factor Z
/// and the blade's stress. From few to nearly all: an origin cracks once.
#[test]
fn origins_have_cracked_as_often_as_on_paper() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
    for (scale, sigma) in [(20_000.0, 0.1), (1_000.0, 0.1), (1_000.0, 0.0), (300.0, 0.2)] {
        let mut study = Study::load(path).expect("a study").into_parts();
        study.initiation[0].shape = InitiationShape::Weibull { shape: 2.0, scale };
        study.scatter.blade_stress_sigma_log = sigma;
        study.scatter.row_factor = Distribution::Fixed(1.0);
        // Nothing is lost, nothing is called: cracks hardly grow.
        study.growth[0].coefficient_m_per_start = 1e-22;
        study.rows[0].past_looks.clear();
        study.strategies.iter_mut().for_each(|strategy| strategy.looks.clear());
        let comparison = study.simulate(&Run { trials: 2_000, seed: 4, ..Run::default() }).expect("a run");
        let starts = |from: f64, to: f64| 20.0 * (to.min(2010.0) - from.min(2010.0)) + 150.0 * (to - from.max(2010.0));
        let spots = study.roots[0].hot_spots[0].origins_per_blade();
        for after in comparison.after_outages_of(0, 0) {
            let cracked = |from: f64| {
                let hazard = (starts(from, after.year) / scale).powi(2);
                // The mean over the normal logarithm of stress, by the trapezoidal rule.
                let at = |z: f64| 1.0 - f64::exp(-hazard * f64::exp(4.0 * sigma * z));
                let weight = |z: f64| f64::exp(-0.5 * z * z) * 0.01 / (2.0 * std::f64::consts::PI).sqrt();
                (-800..=800).map(|step| f64::from(step) * 0.01).map(|z| weight(z) * at(z)).sum::<f64>()
            };
            let exact = f64::from(spots) * (78.0 * cracked(2005.0) + 2.0 * cracked(2015.0));
            let distance = (after.cracks.value - exact) / after.cracks.standard_error;
            assert!(distance.abs() <= 4.0, "{scale} {sigma} {}: {} for {exact}", after.year, after.cracks.value);
        }
    }
}

fn assert_agrees(ours: Estimate, per_blade: f64) {
    let distance = (ours.value / BLADES - per_blade) / (ours.standard_error / BLADES);
    assert!(distance.abs() <= 4.0, "{} against {per_blade}: {distance:.1} standard errors apart", ours.value / BLADES);
}

/// A hazard beyond all bounds: every origin has cracked, once, and nothing runs out of memory.
#[test]
fn origins_that_must_have_cracked_have_cracked_once() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
    for sigma in [0.0, 0.1] {
        let mut study = Study::load(path).expect("a study").into_parts();
        study.initiation[0].shape = InitiationShape::Weibull { shape: 30.0, scale: 100.0 };
        study.scatter.blade_stress_sigma_log = sigma;
        study.growth[0].coefficient_m_per_start = 1e-22;
        study.rows[0].past_looks.clear();
        study.strategies.iter_mut().for_each(|strategy| strategy.looks.clear());
        let comparison = study.simulate(&Run { trials: 50, seed: 4, ..Run::default() }).expect("a run");
        let after = &comparison.after_outages_of(0, 0)[2];
        assert_eq!(after.cracks.value, 80.0 * f64::from(study.roots[0].hot_spots[0].origins_per_blade()));
    }
}

/// 80 blades, each cracking after an exponential time of mean 500,000 h and lost just 40,000 h later unless a look that finds
/// 70 % of cracks, whatever their size, has it replaced; a new blade starts afresh. Over 100,000 h.
fn exponential_then_fixed(looks_h: &[f64], pod: f64, delay_h: f64) -> StudyParts {
    const HOURS_PER_YEAR: f64 = 8_000.0;
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/closed_case.toml");
    let mut study = Study::load(path).expect("a study").into_parts();
    // Growth from 0.5 to 10 mm by Paris' law with m = 3 and K = 1.12 S sqrt(pi a), in closed form.
    let fall = |depth_mm: f64| (depth_mm / 1e3_f64).powf(-0.5);
    let per_start = 0.5 * 5e-12 * (1.12 * 300.0_f64).powi(3) * std::f64::consts::PI.powf(1.5);
    let life_starts = (fall(0.5) - fall(10.0)) / per_start;
    study.growth[0].crack_sigma_log = 0.0;
    study.initiation[0].shape = InitiationShape::Exponential { mean: 500_000.0 };
    study.units[0].duty.truncate(1);
    study.units[0].duty[0].hours_per_year = HOURS_PER_YEAR;
    study.units[0].duty[0].starts_per_year = life_starts * HOURS_PER_YEAR / delay_h;
    study.horizon_years = 100_000.0 / HOURS_PER_YEAR;
    study.units[0].outages.years = looks_h.iter().map(|hours| hours / HOURS_PER_YEAR).collect();
    study.rows[0].blades = 80;
    // Flat: its ends lie a hair apart.
    let [floor, ceiling] = if pod > 0.0 { [pod - 1e-14, pod] } else { [0.0, 1e-15] };
    (study.techniques[0].pod.floor, study.techniques[0].pod.ceiling) = (floor, ceiling);
    study.techniques[0].cost_per_row = 30.0;
    study.costs.new_blade_cost = 5.0;
    study.costs.loss_cost = Distribution::Fixed(2_000.0);
    study
}

const LOOKED_AT: usize = 1;
const LOOKS_H: [f64; 3] = [25_000.0, 50_000.0, 75_000.0];

#[track_caller]
fn assert_within(ours: Estimate, exact: f64) {
    let distance = (ours.value - exact) / ours.standard_error;
    assert!(distance.abs() <= 4.0, "{} against {exact}: {distance:.1} standard errors apart", ours.value);
}

/// Chances that a position loses a blade by hand (first rows of an invented case, closed forms); numbers of losses and of
/// replaced blades with renewal after losses too by a renewal equation solved backwards in time, 20,000 steps.
#[test]
fn exponential_initiation_and_a_fixed_delay_are_as_on_paper() {
    let any_of_80 = |per_position: f64| 1.0 - (1.0_f64 - per_position).powi(80);
    let base = exponential_then_fixed(&LOOKS_H, 0.7, 40_000.0);
    let run = Run { trials: 20_000, seed: 17, ..Run::default() };
    let comparison = base.simulate(&run).expect("a run");
    assert_within(comparison.fleet_of(LOOKED_AT, Quantity::AnyLoss), any_of_80(0.022_774_177_3));
    assert_within(comparison.fleet_of(LOOKED_AT, Quantity::Losses), 80.0 * 0.022_819_911_7);
    assert_within(comparison.fleet_of(LOOKED_AT, Quantity::BladesReplaced), 80.0 * 0.113_572_530_8);
    let cost = 90.0 + 80.0 * (5.0 * 0.113_572_530_8 + 2_000.0 * 0.022_819_911_7);
    assert_within(comparison.fleet_of(LOOKED_AT, Quantity::Cost), cost);
    let unseen = comparison.fleet_of(0, Quantity::AnyLoss);
    assert!((unseen.value - any_of_80(0.113_079_6)).abs() < 4.0 * (7e-5_f64 / 20_000.0).sqrt(), "{}", unseen.value);
    let single = exponential_then_fixed(&[50_000.0], 0.7, 40_000.0).simulate(&run).expect("a run");
    assert_within(single.fleet_of(LOOKED_AT, Quantity::AnyLoss), any_of_80(0.061_371_261_6));
}

/// Certain and blind looks, and a crack that outlasts the study.
#[test]
fn looks_that_see_all_or_nothing_are_exact() {
    let run = Run { trials: 5_000, seed: 17, ..Run::default() };
    let lived = |pod, delay_h| exponential_then_fixed(&LOOKS_H, pod, delay_h).simulate(&run).expect("a run");
    let perfect = lived(1.0, 40_000.0).fleet_of(LOOKED_AT, Quantity::AnyLoss);
    assert_eq!(perfect.value, 0.0);
    // Nothing seen is a bound, not a zero.
    assert!((perfect.high - 3.0 / 5_000.0).abs() < 2e-4 && perfect.high > 0.0, "{}", perfect.high);
    let blind = lived(0.0, 40_000.0);
    let losses = |strategy| blind.fleet_of(strategy, Quantity::Losses).value;
    assert!(losses(0) > 5.0);
    assert_eq!(losses(LOOKED_AT) - losses(0), 0.0);
    let slow = lived(0.7, 200_000.0);
    assert_eq!(slow.fleet_of(0, Quantity::Losses).value, 0.0);
}

/// The interval holds as often as it says: binomial(200, 0.95) lies within 180 to 200 but for 3 in 10,000.
#[test]
fn intervals_of_the_chance_of_a_loss_hold_for_two_hundred_seeds() {
    let study = exponential_then_fixed(&LOOKS_H, 0.7, 40_000.0);
    let exact = 1.0 - (1.0 - 0.022_774_177_3_f64).powi(80);
    let holds = |seed: &u64| {
        let run = Run { trials: 400, seed: *seed, ..Run::default() };
        let ours = study.simulate(&run).expect("a run").fleet_of(LOOKED_AT, Quantity::AnyLoss);
        (ours.low..=ours.high).contains(&exact)
    };
    let held = (0..200).filter(holds).count();
    assert!((180..=200).contains(&held), "{held} of 200");
}

/// Present values at 8 % of -500 now and 120, 120, 120, 120, 380 after each year, by each convention (closed forms).
#[test]
fn money_is_discounted_by_each_convention() {
    let flows = [-500.0, 120.0, 120.0, 120.0, 120.0, 380.0];
    let value = |payments, rate, moment: &dyn Fn(f64) -> f64| {
        let money = Money { currency: "kEUR".to_owned(), discount_rate: rate, terms: Terms::Nominal, payments };
        let years = (0..6).map(f64::from);
        years.zip(flows).map(|(year, flow)| flow * money.present_value(moment(year))).sum::<f64>()
    };
    let at = |year| year;
    assert!((value(Payments::WhenDue, 0.08, &at) - 156.0768).abs() < 1e-4);
    assert!((value(Payments::YearEnd, 0.08, &at) - 144.5156).abs() < 1e-4);
    // Within the years 1 to 5, reckoned to their middle; what is due now is undiscounted.
    let within = |year: f64| year - 0.3;
    let later = value(Payments::YearMiddle, 0.08, &within) + 500.0 * 1.08_f64.powf(0.5);
    assert!((later - 500.0 - 181.8150).abs() < 1e-4);
    let real_rate = 1.08 / 1.02 - 1.0;
    assert!((value(Payments::WhenDue, real_rate, &at) - 202.4745).abs() < 1e-4);
}
