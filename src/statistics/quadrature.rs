//! Points and weights for averages over a normal distribution.

use nalgebra::{DMatrix, SymmetricEigen};

/// Gauss-Hermite rule for the standard normal distribution: the average of f is about the sum of
/// `weight * f(point)`.
///
/// Golub and Welsch, Mathematics of Computation 23 (1969) 221-230: the points are the eigenvalues of the
/// matrix of the polynomials' recurrence, the weights the squared first components of its eigenvectors.
pub(super) fn normal_rule(count: usize) -> Vec<(f64, f64)> {
    let recurrence =
        DMatrix::from_fn(
            count,
            count,
            |row, column| {
                if row.abs_diff(column) == 1 { (row.max(column) as f64).sqrt() } else { 0.0 }
            },
        );
    let eigen = SymmetricEigen::new(recurrence);
    let weights = eigen.eigenvectors.row(0).map(|first| first * first);
    let mut rule: Vec<(f64, f64)> = eigen.eigenvalues.iter().copied().zip(weights.iter().copied()).collect();
    rule.sort_by(|a, b| a.0.total_cmp(&b.0));
    rule
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // moments of the standard normal distribution: 1, 0, 1, 0, 3, 0, 15
    fn moments_are_exact() {
        let rule = normal_rule(15);
        for (power, moment) in [(0, 1.0), (1, 0.0), (2, 1.0), (3, 0.0), (4, 3.0), (6, 15.0)] {
            let ours: f64 = rule.iter().map(|(point, weight)| weight * point.powi(power)).sum();
            assert!((ours - moment).abs() < 1e-10, "{power}: {ours}");
        }
    }
}
