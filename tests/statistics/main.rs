//! The estimators, against published values, general-purpose libraries' values and each other.

mod demonstration;
mod expected;
mod hit_miss;
mod latent;
mod paired;
mod records;
mod signal;
mod unseen;
mod unseen_coverage;
