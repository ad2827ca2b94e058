//! serrata (front page to be written)

#[cfg(feature = "python")]
mod bindings;
pub mod bounds;
pub mod distribution;
pub mod error;
pub mod math;
pub mod model;
pub mod random;
pub mod study_file;
pub mod simulation;
pub mod statistics;

pub use error::{Error, Fault, Result};
pub use model::Study;

/// What stands with every result that a person reads.
pub const CAUTION: &str = "This is decision support. Local codes, the maker's guidance and licensed or certified practice \
                           stand above it.";
