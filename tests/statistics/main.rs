//! The estimators, against published values, general-purpose libraries' values and each other.

mod demonstration;
mod expected;
mod paired;
mod records;
mod unseen;
mod unseen_coverage;
