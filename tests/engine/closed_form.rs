//! A whole study with an answer on paper: one look half-way through the life of cracks that all
//! start at the beginning, with scatter on the growth coefficient alone.
//!
//! Values by quadrature (own case, computed), tolerance four standard errors.

use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::initiation::InitiationShape;
use serrata::simulation::{Estimate, Quantity, Run};

const TRIALS: u64 = 1_000;
const BLADES: f64 = 1_000.0;
const LOST_WITHOUT_A_LOOK: f64 = 0.409_475_962_210_928_1;
const LOST_WITH_A_LOOK: f64 = 0.208_455_719_366_994_83;
const FOUND: f64 = 0.298_344_254_393_322_5;

#[test]
fn one_look_half_way_finds_and_saves_as_much_as_on_paper() {
    let study =
        Study::load(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/closed_case.toml")).expect("a study");
    let comparison = study.simulate(&Run { trials: TRIALS, seed: 8, ..Run::default() }).expect("a run");
    let strategy = |id: &str| study.strategies.iter().position(|strategy| strategy.id == id).expect("a strategy");
    let (none, one_look) = (strategy("none"), strategy("one-look"));
    assert_agrees(comparison.fleet(none, Quantity::Losses), LOST_WITHOUT_A_LOOK);
    assert_agrees(comparison.fleet(one_look, Quantity::Losses), LOST_WITH_A_LOOK);
    assert_agrees(comparison.fleet(one_look, Quantity::CracksFound), FOUND);
    assert_agrees(comparison.fleet(one_look, Quantity::BladesReplaced), FOUND);
}

/// How many origins have cracked by an outage, on paper: 1 - exp(-Z h) each, h the Weibull hazard, over the row factor Z
/// and the blade's stress. From few to nearly all: an origin cracks once.
#[test]
fn origins_have_cracked_as_often_as_on_paper() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
    for (scale, sigma) in [(20_000.0, 0.1), (1_000.0, 0.1), (1_000.0, 0.0), (300.0, 0.2)] {
        let mut study = Study::load(path).expect("a study");
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
        for after in comparison.after_outages(0, 0) {
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
