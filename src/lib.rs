//! serrata lives many possible lives of rows of steam-turbine last-stage blades: cracks start in the
//! serrations of their roots, grow with every start of the machine, are found or missed at outages,
//! and in some lives let a blade go. It does so under competing inspection strategies, on the same
//! blades and cracks, and says which strategy carries which risk at which cost.
//!
//! ```
//! use serrata::Study;
//! use serrata::simulation::{Quantity, Run};
//!
//! let study = Study::load("demo-data/reference-study.toml")?;
//! let comparison = study.simulate(&Run { trials: 500, seed: 1, ..Run::default() })?;
//! for strategy in study.strategy_ids() {
//!     let risk = comparison.fleet(strategy, Quantity::AnyLoss);
//!     println!("{}: between {:.1e} and {:.1e}", study.strategy(strategy).id, risk.low, risk.high);
//!     assert!(risk.low <= risk.value && risk.value <= risk.high);
//! }
//! # Ok::<(), serrata::Error>(())
//! ```
//!
//! It is decision support. Local codes, the maker's guidance and licensed or certified practice
//! stand above it.
//!
//! # The story, module by module
//!
//! - [`study_file`] reads a study from its file, and refuses a bad one with every fault at once.
//! - [`model`] is what exists and what happens to it: a crack **initiates**, **grows**, may be
//!   **detected** at an outage, is acted on by a **strategy**, or reaches its **limit**.
//! - [`simulation`] lives it all and gives a [`Comparison`](simulation::Comparison); what can be had without lives, a
//!   [`Screening`](simulation::Screening) gives by quadrature.
//! - [`statistics`] reads inspection records and says what they show; it has the intervals that estimates
//!   come with.
//! - [`random`], [`math`], [`distribution`] and [`bounds`] are the ground it stands on.
//!
//! # Words
//!
//! unit > rotor > row (one ring of blades) > blade > root > serration > hot spot (a place in a root
//! where cracks start) > origin (one of several starting points in a hot spot) > crack. Length is the
//! surface length in mm, depth is in mm. A *look* is one use of a technique at an outage; a *call* is
//! its answer on a blade. A *loss* is a blade liberated in service. A *life* is one simulated history
//! of one row; a *trial* is one life of every row of the fleet.

#[cfg(feature = "python")]
mod bindings;
mod bits;
pub mod bounds;
pub mod distribution;
pub mod error;
mod foreign;
pub mod math;
pub mod model;
pub mod random;
pub mod simulation;
pub mod statistics;
pub mod study_file;
mod text;

pub use error::{Error, Fault, Result};
pub use model::Study;

/// Version of serrata.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// What stands with every result that a person reads.
pub const CAUTION: &str = "This is decision support. Local codes, the maker's guidance and licensed or certified practice \
                           stand above it.";

/// The README's example in Rust, run with the other examples.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct ReadmeExamples;
