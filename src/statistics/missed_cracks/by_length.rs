//! Detection that depends on length: small missed cracks are estimated, not assumed away.

use super::estimate::{Estimate, averaged};
use super::fit::{Fit, Form, Group, Slope, fit};
use super::log_linear::all_links;
use crate::statistics::capture_histories::CaptureHistories;
use crate::statistics::quadrature::normal_rule;
use serde::Serialize;

/// Fewest cracked blades of known length that a fit against length takes.
pub const FEWEST: u64 = 10;

/// Estimate of the missed cracks with detection that rises with crack length (Huggins, Biometrika 76, 1989; Alho,
/// Biometrics 46, 1990), pairs of techniques depending on each other or not.
///
/// Where measured lengths are known to scatter ([`CaptureHistories::with_length_error`]) each stands for the true
/// lengths that it leaves possible, with a log-normal distribution of the lengths of found cracks. Without this,
/// measured lengths would flatten detection against length (Carroll, Ruppert, Stefanski and Crainiceanu, Measurement
/// Error in Nonlinear Models, 2006, chapter 3): of 60 simulated campaigns with a spread of 0.5, intervals at 95 % held
/// the truth in 34, and in 58 where the spread was given (`tests/statistics/missed_cracks.rs`).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ByLength {
    /// Found cracked blades of known length; all numbers scale from these to all found ones.
    pub found_with_length: u64,
    /// Every model, best first; those without an estimate last.
    pub models: Vec<LengthModel>,
    /// The average over the models that have an estimate; `None` when none has one.
    pub average: Option<Estimate>,
    /// Missed blades for each length, by the average, lengths rising.
    pub lengths: Vec<AtLength>,
    /// Half of the missed cracks are shorter than this, in mm.
    pub half_shorter_mm: Option<f64>,
    /// Nine in ten of the missed cracks are shorter than this, in mm.
    pub most_shorter_mm: Option<f64>,
    /// Share of the missed cracks that rests on cracks of which fewer than one in ten are found.
    pub from_rarely_found: f64,
    /// Whether the best model has longer cracks found less often than shorter ones, by some technique.
    pub falls_with_length: bool,
}

/// One model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LengthModel {
    /// Whether length counts: `no`, `alike for all` or `for each technique`.
    pub length_counts: String,
    /// Pairs that may depend on each other.
    pub links: Vec<String>,
    /// Cracked blades that nobody found; `None` for a model without an estimate.
    pub missed: Option<f64>,
    /// Standard error of it.
    pub standard_error: Option<f64>,
    /// Akaike's criterion of the patterns given that they were seen; not to be compared with that of models
    /// of counts.
    pub aic: Option<f64>,
    /// Weight in the average.
    pub weight: Option<f64>,
    /// For each technique, rise of the log-odds of finding with the logarithm of length.
    pub slopes: Vec<f64>,
}

/// Cracks of one length.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtLength {
    /// Length in mm.
    pub length_mm: f64,
    /// Cracked blades found; where lengths are measured with error, as many as are likely to be of this length.
    pub found: f64,
    /// Cracked blades like these that nobody found.
    pub missed: f64,
}

/// Most links at a time: more could not be separated but by luck.
fn most_links(techniques: usize) -> usize {
    match techniques {
        0..=2 => 0,
        3 => 2,
        _ => 1,
    }
}

/// Fits the models to the found blades of known length; `found` counts all found ones.
///
/// `None` when fewer than [`FEWEST`] lengths are known, or all are one, or they scatter no more than by their error.
pub(super) fn by_length(histories: &CaptureHistories, found: u64, level: f64) -> Option<ByLength> {
    let names = histories.techniques();
    let mut blades: Vec<(f64, u32, usize, u64)> = histories
        .histories()
        .iter()
        .filter(|blade| blade.cracked != Some(false) && blade.count > 0)
        .filter_map(|blade| {
            let pattern = blade.pattern().filter(|pattern| *pattern > 0)?;
            Some((blade.length_mm?, blade.measurements, pattern, blade.count))
        })
        .collect();
    blades.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let found_with_length: u64 = blades.iter().map(|(.., count)| count).sum();
    if found_with_length < FEWEST || blades.first()?.0 == blades.last()?.0 {
        return None;
    }
    let error = Error::new(histories.length_error_log(), &blades)?;
    let mut lengths: Vec<(f64, u32)> = Vec::new();
    let mut groups: Vec<Group> = Vec::new();
    for (length, measurements, pattern, count) in blades {
        if lengths.last() != Some(&(length, measurements)) {
            lengths.push((length, measurements));
            groups.push(Group {
                log_lengths: error.log_lengths(length, measurements),
                counts: vec![0.0; 1 << names.len()],
            });
        }
        if let Some(group) = groups.last_mut() {
            group.counts[pattern] += count as f64;
        }
    }
    let scale = found as f64 / found_with_length as f64;
    let mut tried: Vec<(Form, Option<Fit>)> = Vec::new();
    for slope in [Slope::None, Slope::Common, Slope::Own] {
        for links in all_links(names.len()).into_iter().filter(|links| links.len() <= most_links(names.len())) {
            let form = Form { links, slope };
            let fit = fit(&groups, names.len(), &form).ok();
            tried.push((form, fit));
        }
    }
    let aic = |fit: &Fit| -2.0 * fit.log_likelihood + 2.0 * fit.parameters as f64;
    tried.sort_by(|(_, a), (_, b)| {
        let order = |fit: &Option<Fit>| fit.as_ref().map_or(f64::INFINITY, aic);
        order(a).total_cmp(&order(b))
    });
    let fits: Vec<&Fit> = tried.iter().filter_map(|(_, fit)| fit.as_ref()).collect();
    let numbers: Vec<_> = fits.iter().map(|fit| (aic(fit), scale * fit.missed, scale * scale * fit.variance)).collect();
    let (weights, average) = averaged(&numbers, level).unzip();
    let weights = weights.unwrap_or_default();
    let at_lengths = at_lengths(&groups, &error, &fits, &weights, average);
    let models = tried.iter().enumerate().map(|(place, (form, fit))| LengthModel {
        length_counts: match form.slope {
            Slope::None => "no",
            Slope::Common => "alike for all",
            Slope::Own => "for each technique",
        }
        .into(),
        links: form.links.iter().map(|(a, b)| format!("{} + {}", names[*a], names[*b])).collect(),
        missed: fit.as_ref().map(|fit| scale * fit.missed),
        standard_error: fit.as_ref().map(|fit| scale * fit.variance.sqrt()),
        aic: fit.as_ref().map(aic),
        // Models without an estimate stand last, so that places and weights agree.
        weight: weights.get(place).copied(),
        slopes: fit.as_ref().map_or_else(Vec::new, |fit| fit.slopes.clone()),
    });
    Some(ByLength {
        found_with_length,
        models: models.collect(),
        average,
        half_shorter_mm: quantile(&at_lengths, 0.5),
        most_shorter_mm: quantile(&at_lengths, 0.9),
        from_rarely_found: share(&at_lengths, |at| at.missed > 9.0 * at.found),
        falls_with_length: fits.first().is_some_and(|fit| fit.slopes.iter().any(|slope| *slope < 0.0)),
        lengths: at_lengths,
    })
}

/// Missed cracks of each length: the models' numbers by their weights, in all as many as the average says.
fn at_lengths(
    groups: &[Group],
    error: &Error,
    fits: &[&Fit],
    weights: &[f64],
    average: Option<Estimate>,
) -> Vec<AtLength> {
    let Some(average) = average else { return Vec::new() };
    let mut lengths = Vec::new();
    for (at, group) in groups.iter().enumerate() {
        for (place, (log_length, weight)) in group.log_lengths.iter().enumerate() {
            let found = weight * group.total();
            // Each model's share at this length, so that one with a large number does not drown the others.
            let models = fits.iter().zip(weights);
            let share: f64 = models.map(|(fit, weight)| weight * found * fit.odds[at][place] / fit.missed).sum();
            let length_mm = (log_length + error.middle).exp();
            lengths.push(AtLength { length_mm, found, missed: share * average.missed });
        }
    }
    lengths.sort_by(|a, b| a.length_mm.total_cmp(&b.length_mm));
    lengths
}

/// Error of measured lengths, and the lengths of found cracks.
struct Error {
    /// Of the logarithm of one measurement.
    variance: f64,
    /// Mean and variance of the logarithms of the true lengths of found cracks.
    middle: f64,
    of_true: f64,
}

impl Error {
    /// From the lengths with the measurements that each is of; `None` where they scatter no more than by their error.
    fn new(spread_log: f64, blades: &[(f64, u32, usize, u64)]) -> Option<Self> {
        let all: f64 = blades.iter().map(|(.., count)| *count as f64).sum();
        let mean = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
            let each = blades.iter().map(|(length, measurements, _, count)| {
                let variance = if *measurements > 0 { spread_log * spread_log / f64::from(*measurements) } else { 0.0 };
                *count as f64 * of(length.ln(), variance)
            });
            each.sum::<f64>() / all
        };
        let middle = mean(&|log, _| log);
        let of_true = mean(&|log, variance| (log - middle).powi(2) - variance);
        (of_true > 0.0).then_some(Error { variance: spread_log * spread_log, middle, of_true })
    }

    /// Logarithms, over the middle length, of the lengths that a length leaves possible, with their weights.
    ///
    /// The logarithms of the true lengths of found cracks and of the errors are assumed to be normal: given a
    /// measured one, the true one is normal too, drawn towards the middle.
    fn log_lengths(&self, length_mm: f64, measurements: u32) -> Vec<(f64, f64)> {
        /// Exact for averages of polynomials up to degree 17.
        const POINTS: usize = 9;
        let (away, variance) = (length_mm.ln() - self.middle, self.variance / f64::from(measurements.max(1)));
        if measurements == 0 || variance == 0.0 {
            return vec![(away, 1.0)];
        }
        let kept = self.of_true / (self.of_true + variance);
        let spread = (kept * variance).sqrt();
        normal_rule(POINTS).into_iter().map(|(point, weight)| (kept * away + spread * point, weight)).collect()
    }
}

/// Length below which a share of the missed cracks lies: the shortest that reaches it.
fn quantile(lengths: &[AtLength], wanted: f64) -> Option<f64> {
    let all: f64 = lengths.iter().map(|at| at.missed).sum();
    let mut below = 0.0;
    lengths.iter().find_map(|at| {
        below += at.missed;
        (all > 0.0 && below >= wanted * all).then_some(at.length_mm)
    })
}

fn share(lengths: &[AtLength], of: impl Fn(&AtLength) -> bool) -> f64 {
    let all: f64 = lengths.iter().map(|at| at.missed).sum();
    let part: f64 = lengths.iter().filter(|at| of(at)).map(|at| at.missed).sum();
    if all > 0.0 { part / all } else { 0.0 }
}
