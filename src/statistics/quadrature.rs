//! Points and weights for averages: over a normal distribution, and evenly over a stretch.

use nalgebra::{DMatrix, SymmetricEigen};

/// Gauss-Hermite rule for the standard normal distribution: the average of f is about the sum of
/// `weight * f(point)`.
pub(crate) fn normal_rule(count: usize) -> Vec<(f64, f64)> {
    rule(count, |order| order.sqrt())
}

/// Gauss-Legendre rule: the average of f from -1 to 1 is about the sum of `weight * f(point)`.
pub(crate) fn even_rule(count: usize) -> Vec<(f64, f64)> {
    rule(count, |order| order / (4.0 * order * order - 1.0).sqrt())
}

/// Golub and Welsch, Mathematics of Computation 23 (1969) 221-230: the points are the eigenvalues of the
/// matrix of the polynomials' recurrence, the weights the squared first components of its eigenvectors.
fn rule(count: usize, recurrence: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let recurrence = DMatrix::from_fn(count, count, |row, column| {
        if row.abs_diff(column) == 1 { recurrence(row.max(column) as f64) } else { 0.0 }
    });
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

    #[test] // of x to the power n from -1 to 1: 1 / (n + 1) where n is even
    fn averages_of_powers_are_exact() {
        let rule = even_rule(15);
        for power in 0..=28 {
            let ours: f64 = rule.iter().map(|(point, weight)| weight * point.powi(power)).sum();
            let average = if power % 2 == 0 { 1.0 / f64::from(power + 1) } else { 0.0 };
            assert!((ours - average).abs() < 1e-13, "{power}: {ours}");
        }
    }
}
