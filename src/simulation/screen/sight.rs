//! How likely a technique is to miss a crack.

use super::nodes::{self, Node};
use crate::math::{exp, ln};
use crate::model::Study;
use crate::model::detection::{CurveShape, PodCurve, SizeMeasure};
use crate::model::fleet::Row;

/// A technique on a row's surface.
#[derive(Debug)]
pub(super) struct Sight {
    curve: PodCurve,
    ln_q50: f64,
    /// ln q50 and spread of a second condition on depth.
    gate: Option<[f64; 2]>,
    closed_mouth_factor: f64,
    per_spread: f64,
    /// The curve turned round, over the shifts of a look that all its cracks share, of which each look has its own; none
    /// where it has none.
    over_shifts: Option<OverShifts>,
    /// Technique and weight of the normal numbers that make the shift that persists in a crack.
    pub persistent: Vec<(usize, f64)>,
}

/// What persists in a crack.
#[derive(Debug, Clone, Default)]
pub(super) struct Kept {
    /// A normal number for each technique.
    pub numbers: Vec<f64>,
    pub mouth_is_closed: bool,
}

impl Sight {
    pub fn new(study: &Study, row: &Row, technique: usize) -> Self {
        let about = &study.techniques[technique];
        let factor = study.persistence.factor[technique].iter().enumerate();
        let persistent = factor.map(|(source, weight)| (source, about.crack_sigma * weight));
        Sight {
            curve: about.pod,
            ln_q50: about.pod.q50_mm.ln() + about.grade_shift_log + about.surface_shift_log[row.surface],
            gate: about.depth_gate.map(|gate| [gate.q50_mm.ln(), gate.spread]),
            closed_mouth_factor: about.closed_mouth_factor,
            per_spread: 1.0 / about.pod.spread,
            over_shifts: (about.inspection_sigma > 0.0)
                .then(|| OverShifts::new(about.pod.shape, about.inspection_sigma / about.pod.spread)),
            persistent: persistent.filter(|(_, weight)| *weight != 0.0).collect(),
        }
    }

    /// Logarithm of the size that detection depends on, over q50.
    pub fn ln_over_q50(&self, ln_depth: f64, ln_length_over_depth: f64) -> f64 {
        let share = match self.curve.size {
            SizeMeasure::Depth => 0.0,
            SizeMeasure::GeometricMean => 0.5,
            SizeMeasure::Length => 1.0,
        };
        ln_depth + share * ln_length_over_depth - self.ln_q50
    }

    /// What hides a crack from it, by the numbers that persist.
    pub fn hidden(&self, kept: &Kept) -> f64 {
        self.persistent.iter().map(|(source, weight)| weight * kept.numbers[*source]).sum()
    }

    /// Probability of a miss.
    pub fn miss(&self, ln_over_q50: f64, ln_depth: f64, hidden: f64, mouth_is_closed: bool) -> f64 {
        let PodCurve { floor, ceiling, shape, .. } = self.curve;
        let z = (hidden - ln_over_q50) * self.per_spread;
        // Both shapes are symmetric: a small chance of a miss keeps its figures.
        let below = self.over_shifts.as_ref().map_or_else(|| shape.at(z), |over| over.at(z));
        let missed = (1.0 - ceiling) + (ceiling - floor) * below;
        let gate = self.gate.map_or(1.0, |[ln_q50, spread]| shape.at((ln_depth - ln_q50) / spread));
        let factor = if mouth_is_closed { self.closed_mouth_factor * gate } else { gate };
        if factor == 1.0 { missed } else { 1.0 - factor * (1.0 - missed) }
    }
}

/// The mean of a curve over normal shifts: its logarithm at equal steps, as it is worked out often.
#[derive(Debug)]
struct OverShifts {
    logarithms: Vec<f64>,
}

impl OverShifts {
    const STEP: f64 = 0.1;
    /// Beyond this chances are nothing, or all.
    const REACH: f64 = 60.0;

    fn new(shape: CurveShape, sigma: f64) -> Self {
        let shifts: Vec<Node> = nodes::far_out(0.25);
        let mean = |z: f64| shifts.iter().map(|(shift, weight)| weight * shape.at(z + sigma * shift)).sum::<f64>();
        let steps = (2.0 * Self::REACH / Self::STEP) as u32;
        let at = |step: u32| mean(f64::from(step) * Self::STEP - Self::REACH).max(f64::MIN_POSITIVE).ln();
        OverShifts { logarithms: (0..=steps).map(at).collect() }
    }

    /// By the cubic through the four steps about it.
    fn at(&self, z: f64) -> f64 {
        let place = ((z + Self::REACH) / Self::STEP).clamp(1.0, (self.logarithms.len() - 3) as f64);
        let first = place as usize - 1;
        let x = (place - (first + 1) as f64).clamp(0.0, 1.0);
        let [a, b, c, d] = [0, 1, 2, 3].map(|ahead| self.logarithms[first + ahead]);
        let (before, after, further) = (x + 1.0, x - 1.0, x - 2.0);
        exp(-a * x * after * further / 6.0
            + 0.5 * (b * before * after * further - c * before * x * further)
            + d * before * x * after / 6.0)
    }
}

/// Logarithm of a depth in mm from the form in which growth curves give it.
pub(super) fn ln_depth(y: f64, depth_power: f64) -> f64 {
    -ln(y.max(f64::MIN_POSITIVE)) * depth_power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // A normal curve over normal shifts is a flatter normal curve.
    fn a_curve_over_shifts_is_its_mean() {
        let over = OverShifts::new(CurveShape::Normal, 0.75);
        for z in [-6.0, -2.03, -0.5, 0.0, 0.31, 1.7, 4.0] {
            let exact = CurveShape::Normal.at(z / 1.25);
            assert!((over.at(z) / exact - 1.0).abs() < 2e-6, "{z}: {} for {exact}", over.at(z));
        }
    }
}
