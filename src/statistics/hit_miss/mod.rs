//! Probability of detection from hits and misses.
//!
//! [`Looks`] holds looks at cracks of known size and what each answered; [`fit`] makes a [`Fit`] of them by a
//! [`Model`]: a regression on size or its logarithm, with factors that shift the curve, a floor and a ceiling,
//! inspectors that differ, and sizes that are not exact. Data that cannot carry a curve are refused.
//!
//! # How often the bounds hold
//!
//! Share of data sets whose bound on q90 holds, out of 4000 with sizes log-uniform from 0.3 to 12 mm and a true curve
//! with q50 1.5 mm; the standard error of a share of 95 % is 0.34 %. A curve's slope is that of a logit; a probit of
//! about the same curve has 1 / 1.7 of it. *Quoted* is q90/95 as the summary quotes it, over all data sets: by the
//! modified likelihood ratio or, where the looks are refused (*refused*), by the penalised fit that the refusal names.
//! The other columns leave refused data sets out; the last has two bounds at 97.5 %.
//!
//! | curve | looks | refused | quoted | modified ratio | likelihood ratio | penalised | Wald | pointwise band | interval, modified |
//! |---|---|---|---|---|---|---|---|---|---|
//! | logit, slope 1.5 | 40 | 19 | 95.0 % | 95.0 % | 92.8 % | 96.4 % | 87.6 % | 97.3 % | 95.0 % |
//! |  | 80 | 0 | 95.5 % | 95.5 % | 94.2 % | 96.4 % | 90.1 % | 96.2 % | 95.0 % |
//! |  | 200 | 0 | 95.3 % | 95.3 % | 94.5 % | 95.9 % | 91.8 % | 95.7 % | 94.7 % |
//! | logit, slope 3 | 40 | 80 | 95.1 % | 95.8 % | 91.2 % | 97.7 % | 85.8 % | 99.9 % | 95.5 % |
//! |  | 80 | 0 | 95.3 % | 95.3 % | 93.0 % | 96.9 % | 90.0 % | 97.2 % | 95.0 % |
//! |  | 200 | 0 | 94.8 % | 94.8 % | 93.7 % | 95.7 % | 91.7 % | 95.5 % | 94.3 % |
//! | logit, slope 6 | 40 | 787 | 99.5 % | 99.4 % | 95.4 % | 99.9 % | 86.6 % | 100.0 % | 97.3 % |
//! |  | 80 | 77 | 96.5 % | 97.0 % | 92.0 % | 98.3 % | 86.1 % | 99.9 % | 95.7 % |
//! |  | 200 | 0 | 94.5 % | 94.5 % | 92.4 % | 96.1 % | 89.5 % | 96.0 % | 95.0 % |
//! | probit, slope 1.5 | 40 | 17 | 95.0 % | 95.0 % | 92.4 % | 96.1 % | 87.2 % | 96.3 % | 94.9 % |
//! |  | 80 | 0 | 95.3 % | 95.3 % | 93.5 % | 96.0 % | 90.1 % | 95.6 % | 94.8 % |
//! |  | 200 | 0 | 95.1 % | 95.1 % | 94.5 % | 95.4 % | 92.2 % | 95.1 % | 94.5 % |
//! | probit, slope 3 | 40 | 84 | 95.5 % | 96.2 % | 90.5 % | 97.4 % | 84.4 % | 99.3 % | 96.0 % |
//! |  | 80 | 1 | 94.8 % | 94.9 % | 92.5 % | 96.3 % | 89.0 % | 96.0 % | 94.4 % |
//! |  | 200 | 0 | 94.9 % | 94.9 % | 93.7 % | 95.5 % | 91.6 % | 95.1 % | 94.4 % |
//! | probit, slope 6 | 40 | 847 | 99.4 % | 99.5 % | 95.1 % | 99.7 % | 85.2 % | 100.0 % | 97.0 % |
//! |  | 80 | 83 | 96.6 % | 97.1 % | 91.3 % | 98.3 % | 84.7 % | 99.6 % | 96.1 % |
//! |  | 200 | 0 | 95.0 % | 95.0 % | 92.0 % | 96.0 % | 88.7 % | 95.5 % | 95.1 % |
//!
//! So the quoted bound holds as often as it says, and more often where few looks lie on a steep curve's rise. The plain
//! likelihood ratio's upper bound falls short in small samples, since the estimate of q90 is then biased downwards, and
//! Wald's bound throughout. The upper bound of a penalised fit is on the safe side everywhere.
//! `tests/statistics/hit_miss/coverage.rs` makes this table (ignored by default: it takes twenty minutes) and fails where
//! it no longer holds.

mod bounds;
mod drawn;
mod evidence;
mod fit;
mod goodness;
mod likelihood;
mod link;
mod looks;
mod model;
mod problem;
mod profile;
mod refit;
mod separation;
mod summary;

pub use fit::{Coefficient, Fit, LEAST, LEAST_PENALISED, fit};
pub use goodness::{Goodness, Group};
pub use link::Link;
pub use looks::{Factor, Look, Looks, Selection};
pub use model::{Limit, Model, SizeScale};
pub use refit::{Influence, Resampled};

pub use crate::statistics::bound::{Bounds, Method};
