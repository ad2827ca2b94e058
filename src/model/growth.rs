//! Growth of a crack in depth and length with starts.
//!
//! Paris' law, `da/dN = C dK**m` per start, with `dK = Y dS sqrt(pi a)`; `a` in m, `dK` in MPa sqrt(m). The law's
//! coefficient and the blade's stress only set the pace of growth: all cracks of a hot spot share its growth curves
//! ([`GrowthPath`]), worked out once. Each crack has a [`Course`] on them in *advance*, which grows by
//! [`GrowthPath::rate`] per start.
//!
//! Thresholds, two stages, residual stress, stress corrosion and vibration make a [`RateLaw`], under which growth
//! curves differ from crack to crack: each crack at a [`Site`] is followed on its own ([`Following`]).

mod course;
mod cycle;
mod diagram_limit;
mod fixed_factor;
mod follow;
mod intensity_map;
mod known_paths;
mod law;
mod limit;
mod loss_rule;
mod paris;
mod path;
mod rate_law;
mod refinements;
mod section;
mod shape;
mod site;
mod start_rate;
mod surface_crack;
mod threshold;
mod trajectory;

pub use course::{Course, CrackEnd};
pub use cycle::Cycle;
pub use diagram_limit::{DiagramCurve, DiagramLimit};
pub use fixed_factor::FixedFactor;
pub use follow::{Following, Seed};
pub(crate) use known_paths::{KnownPaths, PathInputs};
pub use law::GrowthLaw;
pub use limit::Limit;
pub use loss_rule::LossRule;
pub use paris::{Environment, GrowthLines, MPA_SQRT_M_PER_N_MM, ParisLine, RatioClass, ScatterLine, TwoStage, bs7910};
pub use path::GrowthPath;
pub use rate_law::{PointLoad, RateLaw, Rates};
pub use refinements::{CorrosionLaw, PlateauRate, Refinements};
pub use section::{Section, Stress};
pub use shape::CrackShape;
pub use site::{LoadFactors, Site};
pub use start_rate::StartRate;
pub use surface_crack::SurfaceCrack;
pub use threshold::{BeyondPoints, ConstantThreshold, Threshold, ThresholdTable};
pub use trajectory::{LossCause, Notes, Outcome, Trajectory};
