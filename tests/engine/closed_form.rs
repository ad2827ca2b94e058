//! A whole study with an answer on paper: one look half-way through the life of cracks that all
//! start at the beginning, with scatter on the growth coefficient alone.
//!
//! Values by quadrature (own case, computed), tolerance four standard errors.

use serrata::Study;
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

fn assert_agrees(ours: Estimate, per_blade: f64) {
    let distance = (ours.value / BLADES - per_blade) / (ours.standard_error / BLADES);
    assert!(distance.abs() <= 4.0, "{} against {per_blade}: {distance:.1} standard errors apart", ours.value / BLADES);
}
