//! Logarithms of sums of likelihoods, with slope and curvature.

use super::likelihood::Point;
use super::row_factor::Along;
use nalgebra::{DMatrix, DVector};

/// The logarithm of a likelihood with slope and curvature.
pub(super) struct Term {
    pub log: f64,
    pub slope: DVector<f64>,
    pub bend: DMatrix<f64>,
}

/// One of many likelihoods that make a sum: its logarithm, with how it changes with y at two points.
pub(super) struct Step<'p> {
    pub along: Along,
    pub points: [&'p Point; 2],
    pub slopes: [f64; 2],
    /// Of the likelihood itself over the likelihood: at the one, at the other, and at both.
    pub bends: [f64; 3],
}

/// The logarithm of their sum.
pub(super) fn mixed_steps(steps: &[Step], count: usize) -> Term {
    let highest = steps.iter().map(|step| step.along.log).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = steps.iter().map(|step| (step.along.log - highest).exp()).sum();
    let mut sum = Term { log: highest + total.ln(), slope: DVector::zeros(count), bend: DMatrix::zeros(count, count) };
    for step in steps {
        let share = (step.along.log - highest).exp() / total;
        if share > 0.0 {
            let [from, to] = step.points.map(|point| &point.weights);
            sum.slope.axpy(share * step.slopes[0], from, 1.0);
            sum.slope.axpy(share * step.slopes[1], to, 1.0);
            for (bend, one, other) in [
                (step.bends[0], from, from),
                (step.bends[1], to, to),
                (step.bends[2], from, to),
                (step.bends[2], to, from),
            ] {
                sum.bend.ger(share * bend, one, other, 1.0);
            }
        }
    }
    let slope = sum.slope.clone();
    sum.bend.ger(-1.0, &slope, &slope, 1.0);
    sum
}

/// The same by the logarithm of a factor alone.
pub(super) fn mixed_along(parts: Vec<Along>) -> Along {
    let highest = parts.iter().map(|part| part.log).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = parts.iter().map(|part| (part.log - highest).exp()).sum();
    let share = |part: &Along| (part.log - highest).exp() / total;
    let slope: f64 = parts.iter().map(|part| share(part) * part.slope).sum();
    let square: f64 = parts.iter().map(|part| share(part) * (part.bend + part.slope * part.slope)).sum();
    Along { log: highest + total.ln(), slope, bend: square - slope * slope }
}

/// The logarithm of a sum of likelihoods, from their logarithms.
pub(super) fn mixed(terms: impl Iterator<Item = impl Into<Term>>) -> Term {
    let mut terms: Vec<Term> = terms.map(Into::into).collect();
    if terms.len() == 1 {
        return terms.remove(0);
    }
    let highest = terms.iter().map(|term| term.log).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = terms.iter().map(|term| (term.log - highest).exp()).sum();
    let count = terms.first().map_or(0, |term| term.slope.len());
    let mut sum = Term { log: highest + total.ln(), slope: DVector::zeros(count), bend: DMatrix::zeros(count, count) };
    for term in terms {
        let share = (term.log - highest).exp() / total;
        if share > 0.0 {
            sum.slope.axpy(share, &term.slope, 1.0);
            sum.bend += (term.bend + &term.slope * term.slope.transpose()) * share;
        }
    }
    sum.bend -= &sum.slope * sum.slope.transpose();
    sum
}
