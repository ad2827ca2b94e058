//! The largest value of a smooth log-likelihood on a plane, by damped Newton steps.

use nalgebra::{Cholesky, DMatrix, DVector};

/// A function at a point: its value, its slope, and minus its curvature (or a stand-in for it that is
/// positive definite, such as the expected information).
pub(super) struct Local {
    pub value: f64,
    pub gradient: DVector<f64>,
    pub information: DMatrix<f64>,
}

/// Points `base + directions * free`: the parameters that a constraint leaves.
#[derive(Debug, Clone)]
pub(super) struct Plane {
    base: DVector<f64>,
    directions: DMatrix<f64>,
    /// The parameters that are free themselves.
    free: Vec<usize>,
}

impl Plane {
    /// All of space.
    pub fn whole(count: usize) -> Self {
        Plane { base: DVector::zeros(count), directions: DMatrix::identity(count, count), free: (0..count).collect() }
    }

    /// One parameter held at a value.
    pub fn holding(count: usize, held: usize, value: f64) -> Self {
        let mut weights = vec![0.0; count];
        weights[held] = 1.0;
        Plane::through(&weights, held, value)
    }

    /// Where the weighted sum of the parameters has a value; `solved`, whose weight is not zero, follows
    /// from the others.
    pub fn through(weights: &[f64], solved: usize, value: f64) -> Self {
        let count = weights.len();
        let free: Vec<usize> = (0..count).filter(|index| *index != solved).collect();
        let mut base = DVector::zeros(count);
        base[solved] = value / weights[solved];
        let mut directions = DMatrix::zeros(count, free.len());
        for (column, index) in free.iter().enumerate() {
            directions[(*index, column)] = 1.0;
            directions[(solved, column)] = -weights[*index] / weights[solved];
        }
        Plane { base, directions, free }
    }

    /// Directions along the plane, a column each.
    pub fn directions(&self) -> &DMatrix<f64> {
        &self.directions
    }

    fn point(&self, free: &DVector<f64>) -> DVector<f64> {
        &self.base + &self.directions * free
    }
}

/// Where the function is largest on the plane.
#[derive(Debug, Clone)]
pub(super) struct Peak {
    pub at: DVector<f64>,
    pub value: f64,
    /// Minus the curvature over all parameters.
    pub information: DMatrix<f64>,
}

/// Climbs from the point of the plane nearest in its free parameters to `start`.
///
/// `None` when the top is not reached, as where the function rises for ever.
pub(super) fn climb(plane: &Plane, start: &DVector<f64>, function: impl Fn(&DVector<f64>) -> Local) -> Option<Peak> {
    /// Newton needs about ten; scoring, which converges by a factor a step, some tens.
    const MOST_STEPS: usize = 200;
    /// What a further step would gain; parameters are then right to a millionth of a standard error.
    const GAIN: f64 = 1e-13;
    let mut free = DVector::from_iterator(plane.free.len(), plane.free.iter().map(|index| start[*index]));
    let mut at = plane.point(&free);
    let mut here = function(&at);
    for _ in 0..MOST_STEPS {
        if !here.value.is_finite() {
            return None;
        }
        if free.is_empty() {
            return Some(Peak { at, value: here.value, information: here.information });
        }
        let gradient = plane.directions.tr_mul(&here.gradient);
        let information = plane.directions.tr_mul(&(&here.information * &plane.directions));
        let mut step = solved(information, &gradient)?;
        let gain = 0.5 * gradient.dot(&step);
        let last = gain < GAIN;
        let mut halvings = 0;
        let (next_free, next_at, next) = loop {
            /// Rounding of a sum of logarithms.
            const ROUNDING: f64 = 1e-12;
            let next_free = &free + &step;
            let next_at = plane.point(&next_free);
            let next = function(&next_at);
            if next.value >= here.value - ROUNDING * here.value.abs() {
                break (next_free, next_at, next);
            }
            halvings += 1;
            if halvings > 50 {
                // No way up is left: the top, or a place where slope and value disagree.
                return (gain < 1e-8).then_some(Peak { at, value: here.value, information: here.information });
            }
            step *= 0.5;
        };
        (free, at, here) = (next_free, next_at, next);
        if last {
            return Some(Peak { at, value: here.value, information: here.information });
        }
    }
    None
}

/// Solves for the step; where the curvature is not that of a hill, it is bent until it is.
fn solved(information: DMatrix<f64>, gradient: &DVector<f64>) -> Option<DVector<f64>> {
    let largest = information.diagonal().amax();
    if !largest.is_finite() {
        return None;
    }
    let mut added = 0.0;
    loop {
        let mut bent = information.clone();
        for index in 0..bent.nrows() {
            bent[(index, index)] += added;
        }
        if let Some(factor) = Cholesky::new(bent) {
            return Some(factor.solve(gradient)).filter(|step| step.iter().all(|x| x.is_finite()));
        }
        added = if added == 0.0 { 1e-8 * largest.max(1e-12) } else { added * 10.0 };
        if added > 1e6 * largest.max(1.0) {
            return None;
        }
    }
}

/// Inverse of an information matrix; `None` when it is singular.
pub(super) fn inverse(information: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    Cholesky::new(information.clone()).map(|factor| factor.inverse())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hill with its top at (1, 2): value, slope and curvature by hand.
    fn hill(at: &DVector<f64>) -> Local {
        let (x, y) = (at[0] - 1.0, at[1] - 2.0);
        let value = -(x * x + x * y + 2.0 * y * y) - x.powi(4);
        let gradient = DVector::from_vec(vec![-(2.0 * x + y) - 4.0 * x.powi(3), -(x + 4.0 * y)]);
        let information = DMatrix::from_row_slice(2, 2, &[2.0 + 12.0 * x * x, 1.0, 1.0, 4.0]);
        Local { value, gradient, information }
    }

    #[test]
    fn the_top_is_found_from_afar() {
        let peak = climb(&Plane::whole(2), &DVector::from_vec(vec![50.0, -30.0]), hill).expect("a hill has a top");
        assert!((peak.at[0] - 1.0).abs() < 1e-6 && (peak.at[1] - 2.0).abs() < 1e-6, "{}", peak.at);
    }

    #[test] // on x = 3 the slope in y is zero at y = 2 - (3 - 1) / 4
    fn a_held_parameter_stays_and_the_other_follows() {
        let peak = climb(&Plane::holding(2, 0, 3.0), &DVector::zeros(2), hill).expect("a ridge has a top");
        assert_eq!(peak.at[0], 3.0);
        assert!((peak.at[1] - 1.5).abs() < 1e-9, "{}", peak.at);
    }

    #[test]
    fn a_plane_keeps_its_weighted_sum() {
        let peak = climb(&Plane::through(&[1.0, 4.0], 0, 5.0), &DVector::zeros(2), hill).expect("a ridge has a top");
        assert!((peak.at[0] + 4.0 * peak.at[1] - 5.0).abs() < 1e-12);
    }

    #[test]
    fn an_endless_rise_has_no_top() {
        let rise = |at: &DVector<f64>| Local {
            value: at[0],
            gradient: DVector::from_element(1, 1.0),
            information: DMatrix::from_element(1, 1, 1e-3),
        };
        assert!(climb(&Plane::whole(1), &DVector::zeros(1), rise).is_none());
    }
}
