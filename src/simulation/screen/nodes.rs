//! Nodes and weights of quadrature rules.

use crate::distribution::Distribution;
use nalgebra::DMatrix;

/// A number, and the weight of what stands for it.
pub(super) type Node = (f64, f64);

/// Gauss-Legendre on (0, 1).
pub(super) fn on_unit(count: usize) -> Vec<Node> {
    let nodes = gauss(count, |_| 0.0, |k| k / (4.0 * k * k - 1.0).sqrt());
    nodes.into_iter().map(|(x, weight)| (0.5 * (x + 1.0), weight)).collect()
}

/// Gauss-Hermite for a standard normal number.
pub(super) fn of_normal(count: usize) -> Vec<Node> {
    gauss(count, |_| 0.0, f64::sqrt)
}

/// The trapezoidal rule for a standard normal number: better than Gauss's where what counts lies far out.
pub(super) fn far_out(step: f64) -> Vec<Node> {
    const REACH: f64 = 7.5;
    let steps = (REACH / step) as i32;
    let numbers = (-steps..=steps).map(|number| f64::from(number) * step);
    let nodes: Vec<Node> = numbers.map(|number| (number, (-0.5 * number * number).exp())).collect();
    let sum: f64 = nodes.iter().map(|node| node.1).sum();
    nodes.into_iter().map(|(number, weight)| (number, weight / sum)).collect()
}

/// Of a distribution.
pub(super) fn of(distribution: &Distribution, count: usize) -> Vec<Node> {
    match *distribution {
        Distribution::Fixed(value) => vec![(value, 1.0)],
        Distribution::Gamma { mean, cov } => {
            let shape = 1.0 / (cov * cov);
            let laguerre = gauss(count, |k| 2.0 * k + shape, |k| (k * (k + shape - 1.0)).sqrt());
            laguerre.into_iter().map(|(x, weight)| (x * mean / shape, weight)).collect()
        }
        _ => of_normal(count).into_iter().map(|(x, weight)| (distribution.at_normal(x), weight)).collect(),
    }
}

/// The normal numbers that stand for one of a standard deviation: one number where there is no scatter.
pub(super) fn scattered(sigma: f64, count: usize) -> Vec<Node> {
    if sigma > 0.0 {
        of_normal(count).into_iter().map(|(x, weight)| (sigma * x, weight)).collect()
    } else {
        vec![(0.0, 1.0)]
    }
}

/// Gauss's rule from the recurrence of its orthogonal polynomials (G. H. Golub and J. H. Welsch, "Calculation of Gauss
/// quadrature rules", Mathematics of Computation 23 (1969)).
fn gauss(count: usize, diagonal: impl Fn(f64) -> f64, beside: impl Fn(f64) -> f64) -> Vec<Node> {
    let matrix = DMatrix::from_fn(count, count, |row, column| match row.abs_diff(column) {
        0 => diagonal(row as f64),
        1 => beside(row.max(column) as f64),
        _ => 0.0,
    });
    let eigen = matrix.symmetric_eigen();
    let weight = |index: usize| eigen.eigenvectors[(0, index)].powi(2);
    let mut nodes: Vec<Node> = (0..count).map(|index| (eigen.eigenvalues[index], weight(index))).collect();
    nodes.sort_by(|one, other| one.0.total_cmp(&other.0));
    nodes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(nodes: &[Node], power: i32) -> f64 {
        nodes.iter().map(|(x, weight)| weight * x.powi(power)).sum()
    }

    #[test] // textbook moments
    fn rules_have_the_moments_of_what_they_stand_for() {
        for power in 0..8 {
            let exact = 1.0 / f64::from(power + 1);
            assert!((moment(&on_unit(4), power) - exact).abs() < 1e-13, "{power}");
        }
        for nodes in [of_normal(6), far_out(0.5)] {
            for (power, exact) in [(0, 1.0), (2, 1.0), (4, 3.0), (6, 15.0)] {
                assert!((moment(&nodes, power) - exact).abs() < 1e-6 * exact, "{power}");
            }
        }
        // Mean 3, coefficient of variation 0.5: shape 4, scale 0.75.
        let gamma = of(&Distribution::Gamma { mean: 3.0, cov: 0.5 }, 6);
        for (power, exact) in [(0, 1.0), (1, 3.0), (2, 11.25), (3, 50.625)] {
            assert!((moment(&gamma, power) / exact - 1.0).abs() < 1e-12, "{power}");
        }
    }
}
