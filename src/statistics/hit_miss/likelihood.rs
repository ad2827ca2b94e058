//! The log-likelihood of hits and misses, with slope and curvature.

use super::link::Link;
use crate::statistics::newton::Local;
use nalgebra::{Cholesky, DMatrix, DVector};

/// Numbers that the looks put before the parameters, a row for each look.
#[derive(Debug, Clone)]
pub(super) struct Design {
    /// Parameters: one for the level, one for size, and those of the factors.
    pub width: usize,
    /// Rows one after the other: 1, standardised size, then 1 for the look's level of each factor, else 0.
    pub rows: Vec<f64>,
    pub hits: Vec<bool>,
    /// Looks of each inspector; empty when inspectors are alike.
    pub by_inspector: Vec<Vec<usize>>,
    /// Ways of the true size from the row's, in standardised size, with their weights; empty when sizes are exact.
    pub size_nodes: Vec<(f64, f64)>,
    /// Rule for averages over inspectors.
    pub inspector_rule: Vec<(f64, f64)>,
}

impl Design {
    pub fn row(&self, look: usize) -> &[f64] {
        &self.rows[look * self.width..(look + 1) * self.width]
    }

    /// Parameters, the spread between inspectors included, which comes last.
    pub fn parameters(&self) -> usize {
        self.width + usize::from(!self.by_inspector.is_empty())
    }
}

/// The log-likelihood for given ends of the curve.
pub(super) struct Likelihood<'d> {
    pub design: &'d Design,
    pub link: Link,
    pub floor: f64,
    pub ceiling: f64,
    /// How often each look counts.
    pub weights: &'d [f64],
    pub penalised: bool,
}

/// The odds of a hit at a look.
pub(super) struct Odds {
    /// Their logarithm.
    pub log: f64,
    /// Its derivative by the predictor.
    pub slope: f64,
    /// What the parameter of size adds to that, where sizes are not exact.
    pub slope_over_sizes: f64,
    /// Variance of the answer, 1 for a hit and 0 for a miss.
    pub variance: f64,
}

impl Odds {
    /// Derivatives of the logarithm by the parameters, given the look's row.
    pub fn slopes(&self, row: &[f64], slopes: &mut [f64]) {
        slopes.iter_mut().zip(row).for_each(|(slope, x)| *slope = self.slope * x);
        slopes[SIZE] += self.slope_over_sizes;
    }
}

/// Column of the design that holds size.
pub(super) const SIZE: usize = 1;

/// A sum of terms with its derivatives.
struct Sums {
    value: f64,
    gradient: Vec<f64>,
    /// Minus the second derivatives; the lower triangle, the rest zero.
    information: Vec<f64>,
}

impl Sums {
    fn new(width: usize) -> Self {
        Sums { value: 0.0, gradient: vec![0.0; width], information: vec![0.0; width * width] }
    }

    fn clear(&mut self) {
        self.value = 0.0;
        self.gradient.fill(0.0);
        self.information.fill(0.0);
    }

    fn add(&mut self, weight: f64, row: &[f64], moments: &Moments) {
        let width = row.len();
        self.value += weight * moments.log;
        let bend = moments.bend();
        for a in 0..width {
            self.gradient[a] += weight * moments.slope * row[a];
            let line = &mut self.information[a * width..a * width + a + 1];
            for (cell, other) in line.iter_mut().zip(row) {
                *cell -= weight * bend * row[a] * other;
            }
        }
        if let Some(over) = &moments.over_sizes {
            // The true size differs from the row's, so that its column does too.
            self.gradient[SIZE] += weight * over.slope;
            let mixed = over.square - moments.slope * over.slope;
            for (a, x) in row.iter().enumerate() {
                let (high, low) = (a.max(SIZE), a.min(SIZE));
                let twice = if a == SIZE { 2.0 } else { 1.0 };
                self.information[high * width + low] -= weight * twice * mixed * x;
            }
            self.information[SIZE * width + SIZE] -= weight * (over.double - over.slope * over.slope);
        }
    }

    fn local(self) -> Local {
        let width = self.gradient.len();
        let lower = DMatrix::from_row_slice(width, width, &self.information);
        let information = DMatrix::from_fn(width, width, |a, b| lower[(a.max(b), a.min(b))]);
        Local { value: self.value, gradient: DVector::from_vec(self.gradient), information }
    }
}

/// Logarithm of the probability of one answer, averaged over what its true size may be, with derivatives.
struct Moments {
    log: f64,
    /// Average slope by the predictor.
    slope: f64,
    /// Average of bend plus squared slope.
    square: f64,
    over_sizes: Option<OverSizes>,
}

/// Averages with the way of the true size from the row's.
struct OverSizes {
    /// Of slope times way.
    slope: f64,
    /// Of bend plus squared slope, times way.
    square: f64,
    /// The same times the squared way.
    double: f64,
}

impl Moments {
    /// Second derivative of the logarithm by the predictor.
    fn bend(&self) -> f64 {
        self.square - self.slope * self.slope
    }
}

impl Likelihood<'_> {
    /// Value, slope and curvature; for the penalised likelihood, the expected information stands for the curvature.
    pub fn at(&self, theta: &DVector<f64>) -> Local {
        let theta = theta.as_slice();
        if self.design.by_inspector.is_empty() {
            let mut sums = Sums::new(self.design.width);
            for look in 0..self.design.hits.len() {
                self.add_look(look, theta, self.design.row(look), &mut sums);
            }
            if self.penalised { self.penalise(sums, theta) } else { sums.local() }
        } else {
            self.over_inspectors(theta)
        }
    }

    /// Probability that a look is a hit, averaged over what is not known of it.
    pub fn chance(&self, look: usize, theta: &DVector<f64>) -> f64 {
        let theta = theta.as_slice();
        let eta = dot(self.design.row(look), theta);
        let spread = theta.get(self.design.width).copied().unwrap_or(0.0);
        let average = |nodes: &[(f64, f64)], function: &dyn Fn(f64) -> f64| match nodes.is_empty() {
            true => function(0.0),
            false => nodes.iter().map(|(way, weight)| weight * function(*way)).sum(),
        };
        average(&self.design.inspector_rule, &|z| {
            average(&self.design.size_nodes, &|way| {
                self.floor + (self.ceiling - self.floor) * self.link.probability(eta + spread * z + theta[SIZE] * way)
            })
        })
    }

    /// Log odds of a hit at a look, inspectors being alike.
    pub fn odds(&self, look: usize, theta: &DVector<f64>) -> Odds {
        let theta = theta.as_slice();
        let eta = dot(self.design.row(look), theta);
        let [miss, hit] = [false, true].map(|hit| self.moments(hit, eta, theta[SIZE]));
        let over_sizes = |moments: &Moments| moments.over_sizes.as_ref().map_or(0.0, |over| over.slope);
        Odds {
            log: hit.log - miss.log,
            slope: hit.slope - miss.slope,
            slope_over_sizes: over_sizes(&hit) - over_sizes(&miss),
            variance: (hit.log + miss.log).exp(),
        }
    }

    fn add_look(&self, look: usize, theta: &[f64], row: &[f64], sums: &mut Sums) {
        let weight = self.weights[look];
        if weight > 0.0 {
            sums.add(weight, row, &self.moments(self.design.hits[look], dot(row, theta), theta[SIZE]));
        }
    }

    fn moments(&self, hit: bool, eta: f64, per_size: f64) -> Moments {
        let term = |eta| self.link.term_between(eta, hit, self.floor, self.ceiling);
        let nodes = &self.design.size_nodes;
        if nodes.is_empty() {
            let term = term(eta);
            let square = term.bend + term.slope * term.slope;
            return Moments { log: term.log, slope: term.slope, square, over_sizes: None };
        }
        let highest = nodes.iter().map(|(way, _)| term(eta + per_size * way).log).fold(f64::NEG_INFINITY, f64::max);
        let mut over = OverSizes { slope: 0.0, square: 0.0, double: 0.0 };
        let (mut total, mut slope, mut square) = (0.0, 0.0, 0.0);
        for (way, weight) in nodes {
            let term = term(eta + per_size * way);
            let part = weight * (term.log - highest).exp();
            let bent = part * (term.bend + term.slope * term.slope);
            total += part;
            slope += part * term.slope;
            square += bent;
            over.slope += part * term.slope * way;
            over.square += bent * way;
            over.double += bent * way * way;
        }
        let over = OverSizes { slope: over.slope / total, square: over.square / total, double: over.double / total };
        let (slope, square) = (slope / total, square / total);
        Moments { log: highest + total.ln(), slope, square, over_sizes: Some(over) }
    }

    /// Adds half the logarithm of the determinant of the expected information.
    fn penalise(&self, sums: Sums, theta: &[f64]) -> Local {
        let design = self.design;
        let width = design.width;
        let mut information = DMatrix::zeros(width, width);
        let expected: Vec<(f64, f64)> =
            (0..design.hits.len()).map(|look| self.link.expected(dot(design.row(look), theta))).collect();
        for (look, (weight, _)) in expected.iter().enumerate() {
            let row = design.row(look);
            for a in 0..width {
                for b in 0..width {
                    information[(a, b)] += self.weights[look] * weight * row[a] * row[b];
                }
            }
        }
        let mut local = Local { value: f64::NEG_INFINITY, gradient: DVector::from_vec(sums.gradient), information };
        if let Some(factor) = Cholesky::new(local.information.clone()) {
            local.value = sums.value + factor.l().diagonal().iter().map(|x| x.ln()).sum::<f64>();
            let inverse = factor.inverse();
            for (look, (weight, change)) in expected.iter().enumerate() {
                let row = design.row(look);
                let leverage: f64 =
                    (0..width).map(|a| row[a] * (0..width).map(|b| inverse[(a, b)] * row[b]).sum::<f64>()).sum();
                let pull = 0.5 * self.weights[look] * weight * leverage * change;
                row.iter().enumerate().for_each(|(a, x)| local.gradient[a] += pull * x);
            }
        }
        local
    }

    /// Averages over what each inspector's shift may be, by Gauss-Hermite points laid around its likeliest
    /// value (Liu and Pierce, Biometrika 81 (1994) 624-629).
    fn over_inspectors(&self, theta: &[f64]) -> Local {
        let design = self.design;
        let width = design.width + 1;
        let (per_size, spread) = (theta[SIZE], theta[design.width]);
        let mut whole = Sums::new(width);
        let mut row = vec![0.0; width];
        let mut nodes: Vec<(f64, Sums)> = design.inspector_rule.iter().map(|_| (0.0, Sums::new(width))).collect();
        for looks in design.by_inspector.iter().filter(|looks| looks.iter().any(|look| self.weights[*look] > 0.0)) {
            let etas: Vec<f64> = looks.iter().map(|look| dot(design.row(*look), theta)).collect();
            let (middle, scale) = self.likeliest_shift(looks, &etas, per_size, spread);
            for ((point, weight), (log, sums)) in design.inspector_rule.iter().zip(&mut nodes) {
                let shift = middle + scale * point;
                sums.clear();
                row[design.width] = shift;
                for (look, eta) in looks.iter().zip(&etas) {
                    row[..design.width].copy_from_slice(design.row(*look));
                    let count = self.weights[*look];
                    if count > 0.0 {
                        sums.add(count, &row, &self.moments(design.hits[*look], eta + spread * shift, per_size));
                    }
                }
                *log = (weight * scale).ln() + 0.5 * (point * point - shift * shift) + sums.value;
            }
            let highest = nodes.iter().map(|(log, _)| *log).fold(f64::NEG_INFINITY, f64::max);
            let total: f64 = nodes.iter().map(|(log, _)| (log - highest).exp()).sum();
            let parts = || nodes.iter().map(|(log, sums)| ((log - highest).exp() / total, sums));
            let gradient: Vec<f64> =
                (0..width).map(|a| parts().map(|(part, sums)| part * sums.gradient[a]).sum()).collect();
            whole.value += highest + total.ln();
            for a in 0..width {
                whole.gradient[a] += gradient[a];
                for b in 0..=a {
                    let inner: f64 = parts()
                        .map(|(part, sums)| {
                            part * (sums.information[a * width + b] - sums.gradient[a] * sums.gradient[b])
                        })
                        .sum();
                    whole.information[a * width + b] += inner + gradient[a] * gradient[b];
                }
            }
        }
        whole.local()
    }

    /// Where an inspector's shift, a standard normal number, is likeliest given the looks, and how closely.
    fn likeliest_shift(&self, looks: &[usize], etas: &[f64], per_size: f64, spread: f64) -> (f64, f64) {
        let mut shift = 0.0;
        let mut scale = 1.0;
        for _ in 0..30 {
            let (mut slope, mut bend) = (-shift, -1.0);
            for (look, eta) in looks.iter().zip(etas) {
                let weight = self.weights[*look];
                if weight > 0.0 {
                    let moments = self.moments(self.design.hits[*look], eta + spread * shift, per_size);
                    slope += weight * spread * moments.slope;
                    bend += weight * spread * spread * moments.bend();
                }
            }
            // Between floor and ceiling the curvature can have the wrong sign; the prior's keeps the step sane.
            let curvature = (-bend).max(1.0);
            scale = 1.0 / curvature.sqrt();
            let step = (slope / curvature).clamp(-2.0, 2.0);
            shift += step;
            if step.abs() < 1e-9 {
                break;
            }
        }
        (shift, scale)
    }
}

pub(super) fn dot(row: &[f64], theta: &[f64]) -> f64 {
    row.iter().zip(theta).map(|(x, parameter)| x * parameter).sum()
}
