//! When cracks begin, from what looks have shown.
//!
//! A look says of a blade that it was clean until a reading of the clock (starts or hours), or that a crack had begun by
//! one; hardly ever when. [`Observation`] holds what is known of one moment, in general as a step function of it, so
//! that looks which miss cracks count as such; [`Record`] is the usual case of two readings. [`fit`] finds the [`Law`] that
//! makes all that most likely, with bounds by profile likelihood; [`Nonparametric`] is the best distribution of any shape, to
//! hold it against.
//!
//! The law is that of an average blade, as a study's `initiation` has it. With a row factor, gamma of mean 1, it is that of
//! a row whose factor is 1; averaged over rows, somewhat fewer blades crack by any time.
//!
//! Where nothing was found there is a bound and no estimate. Blunter looks give a weaker one: with looks that find a share of
//! cracks, n blades looked at once at one time and all clean exclude fractions above `(1 - (1 - confidence)^(1/n)) / share`.
//!
//! # Limits
//!
//! Looks are taken as independent given the crack. A [`Record`]'s look has one chance of a find; that it hangs on the size of the
//! crack, and so on its age, is in the observations that a study makes of records (`Study::fit_initiation`). Blades are taken as looked at for reasons that have nothing to do with cracks.

mod bounds;
mod fit;
mod law;
mod likelihood;
mod mixtures;
mod nonparametric;
mod observation;
mod row_factor;
mod text;

pub use crate::statistics::bound::{Bounds, Method};
pub use fit::{InitiationFit, Model, Parameter, ROW_VARIANCE, fit};
pub use law::Law;
pub use nonparametric::{Mass, Nonparametric};
pub use observation::{ByStudy, Cell, Observation, Observations, Origins, PlannedLook, Record, Way};
pub use text::LawFit;
