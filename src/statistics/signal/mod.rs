//! Probability of detection from the strength of signals.
//!
//! [`Responses`] holds signals at cracks of known size and at places free of cracks; [`fit`] makes a [`SignalFit`] of
//! them: a straight line with normal scatter, on chosen scales, in which signals below the noise and above saturation
//! count as what they are. A threshold for a call then decides on detection and on false calls alike:
//! [`SignalFit::at_threshold`] gives both, with their bounds, and [`SignalFit::trade`] sets the one against the other.

mod decision;
mod fit;
mod responses;
mod summary;

pub use crate::statistics::bound::{Bounds, Method};
pub use crate::statistics::hit_miss::SizeScale;
pub use decision::{Decision, Trade};
pub use fit::{Model, SignalFit, fit};
pub use responses::{Responses, Scale};
