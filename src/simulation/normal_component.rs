//! A normal distribution to draw numbers from that are standard normal by themselves.

use crate::math::{exp, ln, normal_quantile};
use crate::random::Stream;

/// A normal distribution of the numbers of a crack.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Component {
    pub share: f64,
    mean: Vec<f64>,
    /// Lower triangle whose square is the covariance, by rows.
    root: Vec<f64>,
    /// Logarithm of its determinant.
    ln_root: f64,
}

impl Component {
    /// From its mean and covariance; none where that is not one.
    pub fn new(share: f64, mean: Vec<f64>, covariance: &[f64]) -> Option<Self> {
        let size = mean.len();
        let mut root = vec![0.0; size * size];
        let mut ln_root = 0.0;
        for row in 0..size {
            for column in 0..=row {
                let before: f64 = (0..column).map(|k| root[row * size + k] * root[column * size + k]).sum();
                let rest = covariance[row * size + column] - before;
                root[row * size + column] = if row == column {
                    if !(rest > 0.0) {
                        return None;
                    }
                    ln_root += 0.5 * ln(rest);
                    rest.sqrt()
                } else {
                    rest / root[column * size + column]
                };
            }
        }
        Some(Component { share, mean, root, ln_root })
    }

    /// Draws numbers, given the first `known` of them.
    pub fn draw(&self, stream: &mut Stream, numbers: &mut [f64], known: usize) {
        let size = numbers.len();
        let mut normals = vec![0.0; size];
        for row in 0..size {
            let before: f64 = (0..row).map(|column| self.root[row * size + column] * normals[column]).sum();
            if row < known {
                normals[row] = (numbers[row] - self.mean[row] - before) / self.root[row * size + row];
            } else {
                normals[row] = normal_quantile(stream.uniform());
                numbers[row] = self.mean[row] + (before + self.root[row * size + row] * normals[row]);
            }
        }
    }

    /// The distribution of the first of its numbers alone.
    pub fn of_first(&self, count: usize) -> Self {
        let size = self.mean.len();
        let root: Vec<f64> = (0..count).flat_map(|row| self.root[row * size..row * size + count].to_vec()).collect();
        let ln_root = (0..count).map(|row| ln(root[row * count + row])).sum();
        Component { share: self.share, mean: self.mean[..count].to_vec(), root, ln_root }
    }

    /// The numbers that stand where independent standard normal ones do.
    pub fn place(&self, normals: &[f64], numbers: &mut [f64]) {
        let size = numbers.len();
        for (row, number) in numbers.iter_mut().enumerate() {
            let scatter: f64 = (0..=row).map(|column| self.root[row * size + column] * normals[column]).sum();
            *number = self.mean[row] + scatter;
        }
    }

    /// Its density over that of independent standard normal numbers.
    pub fn density_ratio(&self, numbers: &[f64], solved: &mut [f64]) -> f64 {
        let size = numbers.len();
        let mut exponent = 0.0;
        for row in 0..size {
            let before: f64 = (0..row).map(|column| self.root[row * size + column] * solved[column]).sum();
            solved[row] = (numbers[row] - self.mean[row] - before) / self.root[row * size + row];
            exponent += 0.5 * (numbers[row] * numbers[row] - solved[row] * solved[row]);
        }
        exp(exponent - self.ln_root)
    }
}

/// Mean and covariance of some weighted points, drawn towards those of standard normal numbers where the points are few;
/// none without weight.
pub(crate) fn moments(values: &[&[f64]], weights: &[f64], size: usize) -> Option<(Vec<f64>, Vec<f64>)> {
    /// Standard deviation below which no distribution is made.
    const NARROWEST: f64 = 0.05;
    let total: f64 = weights.iter().sum();
    if !(total > 0.0) {
        return None;
    }
    let count = effective_number(weights);
    // A mean that may as well be that of the law is taken for it: in many numbers small errors add up.
    let mean = |driver: usize| {
        let mean = values.iter().zip(weights).map(|(value, weight)| weight * value[driver]).sum::<f64>() / total;
        let clear = 1.0 - 1.0 / (count * mean * mean);
        mean * clear.max(0.0)
    };
    let mean: Vec<f64> = (0..size).map(mean).collect();
    // Few points say little: for the rest the law stands.
    let trusted = count / (count + 2.0 * size as f64);
    let mut covariance = vec![0.0; size * size];
    for (value, weight) in values.iter().zip(weights) {
        for row in 0..size {
            for column in 0..size {
                covariance[row * size + column] +=
                    weight / total * (value[row] - mean[row]) * (value[column] - mean[column]);
            }
        }
    }
    for (place, number) in covariance.iter_mut().enumerate() {
        let of_law = if place % (size + 1) == 0 { 1.0 } else { 0.0 };
        *number = trusted * *number + ((1.0 - trusted) + NARROWEST * NARROWEST) * of_law;
    }
    Some((mean, covariance))
}

/// The number of equal weights that would scatter as much.
pub(crate) fn effective_number(weights: &[f64]) -> f64 {
    let (sum, square) =
        weights.iter().fold((0.0, 0.0), |(sum, square), weight| (sum + weight, square + weight * weight));
    if square > 0.0 { sum * sum / square } else { 0.0 }
}
