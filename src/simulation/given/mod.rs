//! A study given its records.

mod belief;
mod find;
mod fleet;
mod grid;
mod history;
mod lattice;
mod likelihood;
mod outlook;
mod pool;
mod row;
mod shared;

pub use belief::{Belief, Believed, Learning, RowBelief, Sampled};

#[cfg(test)]
mod tests;
