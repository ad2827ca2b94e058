//! A study given its records.

mod belief;
mod draws;
mod find;
mod fleet;
mod grid;
mod history;
mod invented;
mod lattice;
mod likelihood;
mod outlook;
mod pool;
mod row;
mod shared;
mod tables;

pub use belief::{Belief, Believed, Given, Learning, RowBelief, Sampled};
pub use invented::{InventedPast, TrueRow};

#[cfg(test)]
mod tests;
#[cfg(test)]
mod calibration;
