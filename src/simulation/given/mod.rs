//! A study given its records.

mod belief;
mod draws;
mod explanations;
mod find;
mod fleet;
mod grid;
mod hindcast;
mod history;
mod invented;
mod lattice;
mod likelihood;
mod outlook;
mod pool;
mod risk;
mod row;
mod shared;
mod tables;

pub use belief::{Belief, Believed, Given, Learning, RowBelief, Sampled};
pub use explanations::{Assumption, Explanation, Explanations};
pub use hindcast::{Hindcast, PredictedLook};
pub use invented::{InventedPast, TrueRow};

#[cfg(test)]
mod calibration;
#[cfg(test)]
mod tests;
