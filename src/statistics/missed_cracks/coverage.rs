//! Three and more techniques: sample coverage and lower bounds, which need no model of the dependence.

use super::estimate::Estimate;
use serde::Serialize;

/// Coverage below which the high-coverage estimate is not to be used (Chao, Tsay, Lin, Shau and Chao 2001).
pub const LEAST_COVERAGE: f64 = 0.55;

/// Estimates by sample coverage (Chao, Tsay, Lin, Shau and Chao, Statistics in Medicine 20, 2001, 3123-3157)
/// and lower bounds (Chao, Biometrics 43, 1987), all as total numbers of cracked blades.
///
/// Standard errors are asymptotic, by the counts' multinomial variance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Coverage {
    /// Share of the finds that another technique made too, averaged over techniques.
    pub sample_coverage: f64,
    /// Blades found, less the mean number found by one technique alone.
    pub mean_overlap: f64,
    /// Total were the techniques to err independently, equation 9; `None` at zero coverage.
    pub independent: Option<f64>,
    /// Total with dependence between pairs, one step from the former, equation 13.
    pub one_step: Option<f64>,
    /// Its standard error.
    pub one_step_se: Option<f64>,
    /// Total with dependence between pairs, equation 12; `None` where the equation has no positive root.
    pub high_coverage: Option<f64>,
    /// Its standard error.
    pub high_coverage_se: Option<f64>,
    /// Whether the coverage is high enough for it.
    pub covered_enough: bool,
    /// Blades found by exactly one, two, ... techniques.
    pub found_by_exactly: Vec<u64>,
    /// Lower bound of the total, as when blades differ in how easily their cracks are found: found + f1^2 / (2 f2);
    /// `None` when no blade was found exactly twice.
    pub lower_bound: Option<f64>,
    /// The same with the factor (t - 1) / t for t techniques.
    pub lower_bound_techniques: Option<f64>,
    /// The same almost free of bias; always a number.
    pub lower_bound_unbiased: f64,
    /// The missed blades by the last bound with its interval, which is of the bound and not of the truth.
    pub bound: Option<Estimate>,
}

/// From the blades for each pattern of finds, pattern 0 not counted.
pub(super) fn coverage(counts: &[u64], techniques: usize, level: f64) -> Coverage {
    let counts: Vec<f64> = counts.iter().map(|count| *count as f64).collect();
    let sums = Sums::new(&counts, techniques);
    let mut found_by_exactly = vec![0; techniques];
    for (pattern, count) in counts.iter().enumerate().skip(1) {
        found_by_exactly[pattern.count_ones() as usize - 1] += *count as u64;
    }
    let f = |times: usize| found_by_exactly.get(times - 1).map_or(0.0, |count| *count as f64);
    let (t, f1, f2) = (techniques as f64, f(1), f(2));
    let seen: f64 = counts.iter().skip(1).sum();
    let plain = f1 * f1 / (2.0 * f2);
    let factor = (t - 1.0) / t;
    let unbiased = factor * f1 * (f1 - 1.0) / (2.0 * (f2 + 1.0));
    let (one_step, high_coverage) = (sums.one_step(), sums.high_coverage());
    Coverage {
        sample_coverage: sums.coverage,
        mean_overlap: sums.overlap,
        independent: sums.independent(),
        one_step,
        one_step_se: one_step.and_then(|total| standard_error(&counts, techniques, total, Sums::one_step)),
        high_coverage,
        high_coverage_se: high_coverage
            .and_then(|total| standard_error(&counts, techniques, total, Sums::high_coverage)),
        covered_enough: sums.coverage >= LEAST_COVERAGE,
        lower_bound: (f2 > 0.0).then_some(seen + plain),
        lower_bound_techniques: (f2 > 0.0).then_some(seen + factor * plain),
        lower_bound_unbiased: seen + unbiased,
        bound: Estimate::log_normal(unbiased, bound_variance(factor, f1, f2), level),
        found_by_exactly,
    }
}

/// Variance of the bound almost free of bias, with f1 and f2 as Poisson numbers and the bound as fixed.
fn bound_variance(factor: f64, f1: f64, f2: f64) -> f64 {
    let by_f1 = factor * (2.0 * f1 - 1.0) / (2.0 * (f2 + 1.0));
    let by_f2 = factor * f1 * (f1 - 1.0) / (2.0 * (f2 + 1.0).powi(2));
    // A count of zero is not known without error.
    by_f1 * by_f1 * f1.max(1.0) + by_f2 * by_f2 * f2.max(1.0)
}

/// Inputs of the estimates.
struct Sums {
    techniques: f64,
    coverage: f64,
    overlap: f64,
    /// For each pair: the sum A of counts found by no other technique, and its dependence for a total of 1.
    pairs: Vec<(f64, f64)>,
}

impl Sums {
    fn new(counts: &[f64], techniques: usize) -> Self {
        let of = |wanted: &dyn Fn(usize) -> bool| -> f64 {
            counts.iter().enumerate().skip(1).filter(|(pattern, _)| wanted(*pattern)).map(|(_, count)| count).sum()
        };
        let finds: Vec<f64> = (0..techniques).map(|at| of(&|pattern| pattern >> at & 1 == 1)).collect();
        let alone: Vec<f64> = (0..techniques).map(|at| counts[1 << at]).collect();
        let t = techniques as f64;
        let mut pairs = Vec::new();
        for a in 0..techniques {
            for b in a + 1..techniques {
                let both = of(&|pattern| pattern >> a & pattern >> b & 1 == 1);
                let only = alone[a] + alone[b] + 2.0 * counts[1 << a | 1 << b];
                pairs.push((only, both / (finds[a] * finds[b])));
            }
        }
        Sums {
            techniques: t,
            coverage: 1.0 - alone.iter().zip(&finds).map(|(alone, finds)| alone / finds).sum::<f64>() / t,
            overlap: counts.iter().skip(1).sum::<f64>() - alone.iter().sum::<f64>() / t,
            pairs,
        }
    }

    fn independent(&self) -> Option<f64> {
        (self.coverage > 0.0).then(|| self.overlap / self.coverage)
    }

    fn step(&self, from: f64) -> f64 {
        let added: f64 = self.pairs.iter().map(|(only, dependence)| only * (from * dependence - 1.0)).sum();
        self.overlap / self.coverage + added / (self.techniques * self.coverage)
    }

    fn one_step(&self) -> Option<f64> {
        self.independent().map(|start| self.step(self.step(start)))
    }

    /// Where a step leads back to where it began; a step is a straight line.
    fn high_coverage(&self) -> Option<f64> {
        let start = self.independent()?;
        let at_zero = self.step(0.0);
        let slope = (self.step(start) - at_zero) / start;
        (slope < 1.0).then(|| at_zero / (1.0 - slope)).filter(|total| *total > 0.0)
    }
}

/// Standard error of an estimate by its slopes against the counts: counts are multinomial out of `total`.
fn standard_error(counts: &[f64], techniques: usize, total: f64, of: impl Fn(&Sums) -> Option<f64>) -> Option<f64> {
    let (mut square, mut mean) = (0.0, 0.0);
    for (pattern, count) in counts.iter().enumerate().skip(1) {
        let step = 1e-4 * (count + 1.0);
        let moved = |by: f64| {
            let mut moved = counts.to_vec();
            moved[pattern] += by;
            of(&Sums::new(&moved, techniques))
        };
        let slope = (moved(step)? - moved(-step)?) / (2.0 * step);
        square += slope * slope * count;
        mean += slope * count;
    }
    let variance = square - mean * mean / total;
    (variance >= 0.0).then(|| variance.sqrt())
}
