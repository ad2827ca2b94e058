//! What a technique sees: the probability of a call, false calls, and the size it reports.

use crate::distribution::Distribution;
use crate::math::{exp, normal_cdf, normal_quantile};
use serde::{Deserialize, Serialize};

/// Where the blades are while they are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// In the rotor.
    InPlace,
    /// Taken out of it.
    BladesOut,
}

/// The size that detection depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SizeMeasure {
    /// Surface length.
    Length,
    /// Depth.
    Depth,
    /// Geometric mean of surface length and depth.
    GeometricMean,
}

/// Shape of the probability of detection against the logarithm of size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum CurveShape {
    /// Logistic.
    Logistic,
    /// Normal distribution function.
    Normal,
}

impl CurveShape {
    /// Value at a standardised log size, between 0 and 1.
    #[inline(always)]
    pub fn at(self, z: f64) -> f64 {
        match self {
            CurveShape::Logistic => 1.0 / (1.0 + exp(-z)),
            CurveShape::Normal => normal_cdf(z),
        }
    }
}

/// Probability of detection: `floor + (ceiling - floor) * F((ln q - ln q50 - shifts) / spread)`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PodCurve {
    /// The size q.
    pub size: SizeMeasure,
    /// F.
    pub shape: CurveShape,
    /// Size that is found half-way between floor and ceiling, in mm.
    pub q50_mm: f64,
    /// Scale of the curve in the logarithm of size.
    pub spread: f64,
    /// Probability of a call at the smallest sizes.
    pub floor: f64,
    /// Probability of a call at the largest sizes.
    pub ceiling: f64,
}

impl PodCurve {
    /// Probability at a standardised log size, between floor and ceiling.
    #[inline]
    pub fn at(&self, z: f64) -> f64 {
        self.floor + (self.ceiling - self.floor) * self.shape.at(z)
    }

    /// Size in mm that is found with a probability, where nothing shifts the curve; none where it is at most the floor, or not
    /// reached.
    ///
    /// ```
    /// use serrata::model::detection::{CurveShape, PodCurve, SizeMeasure};
    ///
    /// let curve =
    ///     PodCurve { size: SizeMeasure::Length, shape: CurveShape::Logistic, q50_mm: 1.0, spread: 0.3, floor: 0.0, ceiling: 0.95 };
    /// // At a logit of ln 18.
    /// assert!((curve.size_mm(0.9).expect("below its ceiling") - 18.0_f64.powf(0.3)).abs() < 1e-12);
    /// assert_eq!(curve.size_mm(0.95), None);
    /// ```
    pub fn size_mm(&self, probability: f64) -> Option<f64> {
        let share = (probability - self.floor) / (self.ceiling - self.floor);
        let z = match self.shape {
            CurveShape::Logistic => (share / (1.0 - share)).ln(),
            CurveShape::Normal => normal_quantile(share),
        };
        (0.0 < share && share < 1.0).then(|| self.q50_mm * (self.spread * z).exp())
    }
}

/// A second condition, on depth, for beams that need a reflector: the POD is multiplied by its curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DepthGate {
    /// Depth at which the factor is one half, in mm.
    pub q50_mm: f64,
    /// Scale in the logarithm of depth.
    pub spread: f64,
}

/// How measured lengths differ from true ones: `measured = true * bias * exp(sigma_log * normal)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sizing {
    /// Measured over true length, at the median.
    pub length_bias: f64,
    /// Standard deviation of the logarithm.
    pub length_sigma_log: f64,
}

/// How measured depths differ from true ones, likewise; and the depth that a false indication is reported with.
#[derive(Debug, Clone, PartialEq)]
pub struct DepthSizing {
    /// Measured over true depth, at the median.
    pub bias: f64,
    /// Standard deviation of the logarithm.
    pub sigma_log: f64,
    /// Depth of a false indication, in mm.
    pub false_call_mm: Distribution,
}

/// Grade of the written procedure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Grade {
    /// The usual one.
    Standard,
    /// With more preparation, time or aids.
    Enhanced,
}

impl Grade {
    /// Name, as study files and records have it.
    pub fn name(self) -> &'static str {
        match self {
            Grade::Standard => "standard",
            Grade::Enhanced => "enhanced",
        }
    }
}

/// A way of looking at blades.
#[derive(Debug, Clone, PartialEq)]
pub struct Technique {
    /// Name.
    pub id: String,
    /// Where the blades are.
    pub access: Access,
    /// Probability of detection on the reference surface by the standard procedure.
    pub pod: PodCurve,
    /// Second condition on depth.
    pub depth_gate: Option<DepthGate>,
    /// Grade of the procedure.
    pub grade: Grade,
    /// Shift of ln q50 by the grade; negative is better.
    pub grade_shift_log: f64,
    /// Shift of ln q50 by surface condition, one for each of the study's surfaces; positive is worse.
    pub surface_shift_log: Vec<f64>,
    /// Factor on the probability of detection at cracks whose mouth is closed: 1 where the technique needs no open
    /// mouth, 0 where it never finds a closed one.
    pub closed_mouth_factor: f64,
    /// Standard deviation of the shift that all blades of one inspection share (crew, day).
    pub inspection_sigma: f64,
    /// Standard deviation of the shift that a crack keeps (tight, closed, filled).
    pub crack_sigma: f64,
    /// Probability that a look calls a crack-free blade.
    pub false_call_probability: f64,
    /// Length that a false indication is reported with, in mm.
    pub false_call_length_mm: Distribution,
    /// Error of measured lengths.
    pub sizing: Sizing,
    /// Error of measured depths, where it measures them.
    pub depth_sizing: Option<DepthSizing>,
    /// Cost of a look at a row, however many blades.
    pub cost_per_row: f64,
    /// Cost of a look at a blade.
    pub cost_per_blade: f64,
    /// Days that a look at a whole row takes.
    pub days_per_row: f64,
    /// Source of the numbers.
    pub basis: Option<String>,
}

impl Technique {
    /// All that says what it finds, in words.
    pub(crate) fn without_costs(&self) -> String {
        let free = Technique { cost_per_row: 0.0, cost_per_blade: 0.0, days_per_row: 0.0, basis: None, ..self.clone() };
        format!("{free:?}")
    }
}

/// Correlation of the shifts that a crack keeps, between techniques.
#[derive(Debug, Clone, PartialEq)]
pub struct Persistence {
    /// Correlation matrix, one line per technique.
    pub correlation: Vec<Vec<f64>>,
    /// Lower triangular factor of it: the shift of technique i is the sum of `factor[i][j]` times
    /// a standard normal number of technique j.
    pub factor: Vec<Vec<f64>>,
}

impl Persistence {
    /// Factors a correlation matrix; `None` when it is not one (an eigenvalue below zero).
    pub fn new(correlation: Vec<Vec<f64>>) -> Option<Self> {
        /// What rounding leaves of a zero in a matrix of ones and given correlations.
        const ROUNDING: f64 = 1e-12;
        let n = correlation.len();
        let mut factor = vec![vec![0.0; n]; n];
        for i in 0..n {
            for j in 0..=i {
                let dot: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
                let rest = correlation[i][j] - dot;
                if i == j {
                    if rest < -ROUNDING {
                        return None;
                    }
                    factor[i][i] = if rest < ROUNDING { 0.0 } else { rest.sqrt() };
                } else if factor[j][j] > 0.0 {
                    factor[i][j] = rest / factor[j][j];
                } else if rest.abs() > ROUNDING.sqrt() {
                    return None;
                }
            }
        }
        Some(Persistence { correlation, factor })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_factor_multiplies_back_to_its_matrix_even_when_singular() {
        let correlation = vec![vec![1.0, 1.0, 0.3], vec![1.0, 1.0, 0.3], vec![0.3, 0.3, 1.0]];
        let factor = Persistence::new(correlation.clone()).map(|p| p.factor).unwrap_or_default();
        for i in 0..3 {
            for j in 0..3 {
                let product: f64 = (0..3).map(|k| factor[i][k] * factor[j][k]).sum();
                assert!((product - correlation[i][j]).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn an_impossible_correlation_is_refused() {
        let impossible = vec![vec![1.0, 0.9, -0.9], vec![0.9, 1.0, 0.9], vec![-0.9, 0.9, 1.0]];
        assert!(Persistence::new(impossible).is_none());
    }
}
