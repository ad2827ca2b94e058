//! What records say of a technique or of growth, in the words of a study.

use crate::model::detection::{Grade, PodCurve};
use serde::{Deserialize, Serialize};

/// Detection by a technique as its records have it; [`Study::with_technique`](crate::Study::with_technique) puts it
/// into a study.
///
/// What the records are silent about is `None` or empty, and stays as the study has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// The curve, on the reference surface and by the standard procedure where those were told apart.
    pub pod: PodCurve,
    /// Shift of ln q50 on each surface; positive is worse.
    pub surface_shift_log: Vec<(String, f64)>,
    /// Shift of ln q50 by each grade of the procedure; negative is better.
    pub grade_shift_log: Vec<(Grade, f64)>,
    /// Spread of the shift that all blades of one inspection share.
    pub inspection_sigma: Option<f64>,
    /// Probability that a look calls a crack-free blade.
    pub false_call_probability: Option<f64>,
    /// Source of the numbers.
    pub basis: String,
}

/// Growth by a law as sizes of cracks that were followed have it; [`Study::with_growth`](crate::Study::with_growth) puts
/// it into a study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GrowthEvidence {
    /// The law.
    pub law: String,
    /// Median of its coefficient, in m per start with the stress intensity in MPa sqrt(m).
    pub coefficient_m_per_start: f64,
    /// Standard deviation of the logarithm of what is not known of it, one value for the whole fleet.
    pub sigma_log: f64,
    /// Source of the numbers.
    pub basis: String,
}
