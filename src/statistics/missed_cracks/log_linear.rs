//! Three and more techniques: log-linear models in which pairs of them may depend on each other.

use super::estimate::{Estimate, averaged};
use super::fit::{Fit, Form, Group, NoFit, Slope, fit};
use crate::statistics::capture_histories;
use crate::statistics::tail::chi_square_exceeds;
use serde::Serialize;
use statrs::function::gamma::ln_gamma;

/// One model: which pairs depend on each other, and what it makes of the counts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Model {
    /// Pairs that may depend on each other, such as `penetrant + magnetic-particle`; none for independence.
    pub links: Vec<String>,
    /// Pairs, as places of techniques.
    #[serde(skip)]
    pub pairs: Vec<(usize, usize)>,
    /// Outcome; a model without an estimate says why.
    pub outcome: Outcome,
}

/// Outcome of a model.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It has an estimate.
    Fitted(Fitted),
    /// It has none, for this reason.
    Dropped(String),
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fitted {
    /// All cracked blades: found and missed.
    pub total: f64,
    /// Cracked blades that nobody found.
    pub missed: f64,
    /// Standard error of the total as a random number.
    pub standard_error: f64,
    /// Standard error of the expected number of missed blades.
    pub standard_error_missed: f64,
    /// Twice the distance of the log-likelihood to that of a perfect fit.
    pub deviance: f64,
    /// Observed patterns less parameters; with none left nothing can be checked.
    pub degrees_of_freedom: usize,
    /// Akaike's criterion, from the full Poisson log-likelihood.
    pub aic: f64,
    /// Weight in the average; `None` for a model that is shown and not averaged.
    pub weight: Option<f64>,
}

/// All models and their average.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LogLinear {
    /// Every model, best first; those without an estimate last.
    pub models: Vec<Model>,
    /// The average over the models that leave a degree of freedom; `None` when none of them has an estimate.
    pub average: Option<Estimate>,
    /// Probability of a deviance as large as that of the best averaged model, were it true; `None` without one.
    pub best_fits_p: Option<f64>,
    /// Least and most missed blades among averaged models of a weight of at least 1 %.
    pub range: Option<(f64, f64)>,
}

impl Model {
    /// The fitted model, if it has an estimate.
    pub fn fitted(&self) -> Option<&Fitted> {
        match &self.outcome {
            Outcome::Fitted(fitted) => Some(fitted),
            Outcome::Dropped(_) => None,
        }
    }
}

/// Most techniques of which every set of linked pairs is tried: 1024 models.
pub const MOST_TECHNIQUES: usize = 5;

/// Fits every hierarchical model with dependence between pairs to the counts of patterns.
///
/// A model with as many unknowns as patterns fits anything, so that nothing speaks for it: it is shown and
/// not averaged. There must be three techniques or more, each with a find.
pub(super) fn log_linear(counts: &[u64], names: &[String], level: f64) -> LogLinear {
    let techniques = names.len();
    let counts: Vec<f64> = counts.iter().map(|count| *count as f64).collect();
    let group = [Group { log_lengths: vec![(0.0, 1.0)], counts: counts.clone() }];
    let mut models: Vec<Model> = all_links(techniques)
        .into_iter()
        .map(|pairs| {
            let form = Form { links: pairs.clone(), slope: Slope::None };
            let outcome = match fit(&group, techniques, &form) {
                Ok(found) => Outcome::Fitted(fitted(&found, &counts)),
                Err(reason) => Outcome::Dropped(why(reason, &pairs, &counts, names)),
            };
            Model {
                links: pairs.iter().map(|(a, b)| format!("{} + {}", names[*a], names[*b])).collect(),
                pairs,
                outcome,
            }
        })
        .collect();
    let counted: Vec<usize> =
        (0..models.len()).filter(|at| models[*at].fitted().is_some_and(|f| f.degrees_of_freedom > 0)).collect();
    let of = |at: &usize| {
        models[*at].fitted().map_or((f64::NAN, f64::NAN, f64::NAN), |f| (f.aic, f.missed, f.standard_error.powi(2)))
    };
    let mut average = None;
    if let Some((weights, estimate)) = averaged(&counted.iter().map(of).collect::<Vec<_>>(), level) {
        average = Some(estimate);
        for (at, weight) in counted.iter().zip(weights) {
            if let Outcome::Fitted(fitted) = &mut models[*at].outcome {
                fitted.weight = Some(weight);
            }
        }
    }
    models.sort_by(|a, b| {
        let aic = |model: &Model| model.fitted().map_or(f64::INFINITY, |fitted| fitted.aic);
        aic(a).total_cmp(&aic(b))
    });
    let weighty = || models.iter().filter_map(Model::fitted).filter(|fitted| fitted.weight.is_some());
    let best_fits_p = weighty().next().map(|best| chi_square_exceeds(best.deviance, best.degrees_of_freedom as f64));
    let range =
        weighty().filter(|fitted| fitted.weight >= Some(0.01)).map(|fitted| fitted.missed).fold(None, |range, x| {
            let (least, most) = range.unwrap_or((x, x));
            Some((f64::min(least, x), f64::max(most, x)))
        });
    LogLinear { models, average, best_fits_p, range }
}

/// Every set of pairs.
pub(super) fn all_links(techniques: usize) -> Vec<Vec<(usize, usize)>> {
    let pairs: Vec<(usize, usize)> = capture_histories::pairs(techniques).collect();
    let chosen =
        |set: u32| pairs.iter().enumerate().filter(|(at, _)| set >> at & 1 == 1).map(|(_, pair)| *pair).collect();
    (0..1_u32 << pairs.len()).map(chosen).collect()
}

fn fitted(found: &Fit, counts: &[f64]) -> Fitted {
    let seen: f64 = counts.iter().skip(1).sum();
    let (mut deviance, mut log_likelihood) = (0.0, 0.0);
    for (count, probability) in counts.iter().zip(&found.probabilities[0]).skip(1) {
        let mean = seen * probability;
        let term = if *count > 0.0 { count * (count / mean).ln() } else { 0.0 };
        deviance += 2.0 * (term - (count - mean));
        log_likelihood += if *count > 0.0 { count * mean.ln() } else { 0.0 } - mean - ln_gamma(count + 1.0);
    }
    // The Poisson model has one parameter more, that of the number of blades.
    let parameters = found.parameters + 1;
    Fitted {
        total: seen + found.missed,
        missed: found.missed,
        standard_error: found.variance.sqrt(),
        standard_error_missed: (found.variance - found.missed).max(0.0).sqrt(),
        deviance: deviance.max(0.0),
        degrees_of_freedom: (counts.len() - 1).saturating_sub(parameters),
        aic: -2.0 * log_likelihood + 2.0 * parameters as f64,
        weight: None,
    }
}

/// The reason in words.
pub(super) fn why(reason: NoFit, pairs: &[(usize, usize)], counts: &[f64], names: &[String]) -> String {
    let of_both = |a: usize, b: usize| -> f64 {
        counts
            .iter()
            .enumerate()
            .filter(|(pattern, _)| pattern >> a & pattern >> b & 1 == 1)
            .map(|(_, count)| count)
            .sum()
    };
    if let Some((a, b)) = pairs.iter().find(|(a, b)| of_both(*a, *b) == 0.0) {
        return format!("{} and {} never found the same blade: their dependence has no limit", names[*a], names[*b]);
    }
    match reason {
        NoFit::Endless => "too few blades were found twice: the estimate runs to infinity".into(),
        NoFit::Edge => "some pattern that it needs was never seen: a parameter runs to infinity".into(),
    }
}
