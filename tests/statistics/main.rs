//! The estimators, against published values, general-purpose libraries' values and each other.

mod blades_to_look_at;
mod decisions;
mod demonstration;
mod expected;
mod history;
mod hit_miss;
mod initiation;
mod latent;
mod missed_cracks;
mod missed_cracks_coverage;
mod paired;
mod rate_change;
mod records;
mod selection;
mod signal;

use proptest::test_runner::{Config, RngSeed};

/// Generated inputs that are the same in every run, so that a change is what makes a test fail.
fn repeatable() -> Config {
    Config { failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..Config::default() }
}
