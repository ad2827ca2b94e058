//! Integrals of likelihoods, in logarithms, and functions of one number that are worked out once.

use crate::statistics::quadrature::even_rule;
use crate::statistics::search::largest;
use std::sync::OnceLock;

/// What lies this far below the highest, in logarithms, adds less than rounding does.
const DROP: f64 = 36.0;

/// Logarithm of the integral of exp(f) between two ends, for an f of one hill; minus infinity where it is nowhere finite.
pub(super) fn ln_integral(low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    /// Enough for a normal curve over the eight and a half deviations to either side that [`DROP`] leaves.
    const POINTS: usize = 48;
    static RULE: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    let rule = RULE.get_or_init(|| even_rule(POINTS));
    /// A stretch this short, of logarithms, holds nothing, and leaves a search no room between numbers.
    const SHORT: f64 = 1e-9;
    if !(high - low > SHORT) {
        return f64::NEG_INFINITY;
    }
    let (place, top) = largest(low, high, 1e-7 * (high - low), &f);
    if !top.is_finite() {
        return f64::NEG_INFINITY;
    }
    let reach = |end: f64| if f(end) >= top - DROP { end } else { fallen(place, end, |x| f(x) < top - DROP) };
    let (from, to) = (reach(low), reach(high));
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    let sum: f64 = rule.iter().map(|(point, weight)| weight * (f(middle + half * point) - top).exp()).sum();
    top + (2.0 * half * sum).ln()
}

/// Where, on the way from the top to an end, it first has fallen, to a part of the way that matters to nothing.
fn fallen(top: f64, end: f64, is_low: impl Fn(f64) -> bool) -> f64 {
    let (mut inside, mut outside) = (top, end);
    for _ in 0..60 {
        let middle = 0.5 * (inside + outside);
        if is_low(middle) {
            outside = middle
        } else {
            inside = middle
        }
        if (outside - inside).abs() < 0.02 * (inside - top).abs() {
            break;
        }
    }
    outside
}

/// A smooth function of one number, known at points that stand close about a centre and ever further apart from it.
///
/// To the left it is level from some place on; from some place on to the right it is minus infinity.
#[derive(Debug, Clone)]
pub(super) struct Known {
    pub centre: f64,
    pub width: f64,
    first: f64,
    values: Vec<f64>,
}

/// Spacing of the points, in the number whose hyperbolic sine is the distance from the centre over the width.
const SPACING: f64 = 0.05;

impl Known {
    /// Works a function out from one place to another, about a centre.
    pub fn new(centre: f64, width: f64, [from, to]: [f64; 2], f: impl Fn(f64) -> f64) -> Self {
        let z = |x: f64| ((x - centre) / width).asinh();
        let first = z(from);
        let count = ((z(to) - first) / SPACING).ceil() as usize + 1;
        let place = |index: usize| centre + width * (first + SPACING * index as f64).sinh();
        let values = (0..count).map(|index| f(place(index))).take_while(|value| value.is_finite()).collect();
        Known { centre, width, first, values }
    }

    pub fn at(&self, x: f64) -> f64 {
        let part = (((x - self.centre) / self.width).asinh() - self.first) / SPACING;
        if !(part > 0.0) {
            return self.level();
        }
        if part > self.values.len() as f64 - 1.0 {
            return f64::NEG_INFINITY;
        }
        through_six(&self.values, part)
    }

    /// Its value far to the left.
    pub fn level(&self) -> f64 {
        self.values.first().copied().unwrap_or(f64::NEG_INFINITY)
    }

    /// From where on it is minus infinity.
    pub fn end(&self) -> f64 {
        let last = self.values.len().saturating_sub(1) as f64;
        self.centre + self.width * (self.first + SPACING * last).sinh()
    }
}

/// The polynomial through the six numbers about a place among some at equal steps, of which there are six at least.
fn through_six(values: &[f64], part: f64) -> f64 {
    /// Of Lagrange's polynomials: one over the product of the distances of each number from the others.
    const SCALES: [f64; 6] = [-1.0 / 120.0, 1.0 / 24.0, -1.0 / 12.0, 1.0 / 12.0, -1.0 / 24.0, 1.0 / 120.0];
    let begin = (part as usize).saturating_sub(2).min(values.len().saturating_sub(6));
    let from = part - begin as f64;
    let term = |index: usize| {
        let others = (0..6).filter(|other| *other != index).map(|other| from - other as f64);
        SCALES[index] * others.product::<f64>()
    };
    values[begin..].iter().take(6).enumerate().map(|(index, value)| term(index) * value).sum()
}

/// Slopes by step of numbers that stand at equal steps, of fourth order within.
pub(super) fn slopes(values: &[f64]) -> Vec<f64> {
    let last = values.len().saturating_sub(1);
    let slope = |index: usize| {
        if index >= 2 && index + 2 <= last {
            let at = |step: isize| values[index.wrapping_add_signed(step)];
            (8.0 * (at(1) - at(-1)) - (at(2) - at(-2))) / 12.0
        } else {
            let (before, after) = (index.saturating_sub(1), (index + 1).min(last));
            if after > before { (values[after] - values[before]) / (after - before) as f64 } else { 0.0 }
        }
    };
    (0..values.len()).map(slope).collect()
}

/// Hermite's cubic over the first of some steps.
pub(super) fn cubic(values: &[f64], slopes: &[f64], part: f64) -> f64 {
    let (rise, rest) = (values[1] - values[0], 1.0 - part);
    let bend = slopes[0] - rise;
    values[0] + part * (rise + rest * (bend + part * (2.0 * rise - slopes[0] - slopes[1])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // normal curves narrow and wide, whole and cut off, with the error function of a library
    fn an_integral_is_that_of_a_normal_curve_wherever_its_hill_is() {
        let area = |z: f64| statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2) / 2.0;
        for (mean, sigma, low, high) in
            [(0.3, 1e-4, -5.0, 5.0), (0.0, 1.0, -9.0, 9.0), (2.0, 0.5, -1.0, 2.3), (-4.0, 1.0, -1.0, 6.0)]
        {
            let ours = ln_integral(low, high, |x| -0.5 * ((x - mean) / sigma).powi(2));
            let whole = sigma * (2.0 * std::f64::consts::PI).sqrt();
            let expected = (whole * (area((high - mean) / sigma) - area((low - mean) / sigma))).ln();
            assert!((ours - expected).abs() < 1e-8, "{mean} {sigma}: {ours} and {expected}");
        }
        assert_eq!(ln_integral(0.0, 1.0, |_| f64::NEG_INFINITY), f64::NEG_INFINITY);
    }

    #[test]
    fn a_function_is_known_between_its_points_and_level_to_the_left() {
        // What two sizes with a normal error say of the logarithm of a rate.
        let f = |x: f64| -0.5 * ((x.exp() - 1.0) / 0.05).powi(2);
        let known = Known::new(0.0, 0.05, [-12.0, 3.0], f);
        for x in [-11.0, -2.0, -0.3, -0.05, -0.01, 0.0, 0.004, 0.03, 0.1, 0.2] {
            assert!((known.at(x) - f(x)).abs() < 1e-6 * (1.0 + f(x).abs()), "{x}: {} and {}", known.at(x), f(x));
        }
        assert_eq!(known.at(-100.0), known.level());
        assert_eq!(known.at(100.0), f64::NEG_INFINITY);
    }

    #[test] // a cubic is its own Hermite interpolation
    fn a_cubic_goes_through_values_with_their_slopes() {
        let f = |x: f64| 2.0 - x + 3.0 * x * x - 0.5 * x * x * x;
        let (values, slopes) = ([f(0.0), f(1.0)], [-1.0, -1.0 + 6.0 - 1.5]);
        for part in [0.0, 0.2, 0.7, 1.0] {
            assert!((cubic(&values, &slopes, part) - f(part)).abs() < 1e-12);
        }
    }
}
