//! The one fit behind log-linear models and behind detection that depends on length.
//!
//! A cracked blade is found by a set y of techniques with probability proportional to
//! exp(sum of a_j over its members, plus sum of g_jk over its linked pairs), where a_j may rise with the
//! logarithm of length. Only blades found by at least one technique are seen, so the likelihood is that of
//! y given that it is not empty: for blades alike it is that of the Poisson log-linear model without the cell of
//! no finds (Sandland and Cormack, Biometrika 71, 1984); without links it is that of Huggins (Biometrika
//! 76, 1989) and Alho (Biometrics 46, 1990). The logarithm of it is concave, so there is one top or none. Where lengths
//! are measured with error it is averaged over the lengths that a measured one leaves possible, and is concave no more;
//! it is climbed from the same start.

use crate::statistics::newton::{Local, Plane, climb, inverse};
use nalgebra::{DMatrix, DVector};

/// Cracked blades alike: same length, if lengths count.
pub(super) struct Group {
    /// Logarithms of length over the middle length, with their weights, which sum to one: one only where the length
    /// is known, several where it is measured with error, a zero where lengths do not count.
    pub log_lengths: Vec<(f64, f64)>,
    /// For each pattern of finds how many blades; pattern 0 is not seen.
    pub counts: Vec<f64>,
}

/// Dependence of detection on length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Slope {
    None,
    /// By the same factor for every technique.
    Common,
    /// By a factor of its own for each.
    Own,
}

/// Which terms a model has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Form {
    /// Pairs of techniques that may depend on each other.
    pub links: Vec<(usize, usize)>,
    pub slope: Slope,
}

/// A fitted model.
pub(super) struct Fit {
    pub parameters: usize,
    /// Of the patterns, given that they were seen.
    pub log_likelihood: f64,
    /// Cracked blades that nobody found (Horvitz and Thompson: each found one stands for the missed cracks like it).
    pub missed: f64,
    /// Variance of their number, chance of being found included.
    pub variance: f64,
    /// For each group and length of it, missed blades for each seen one.
    pub odds: Vec<Vec<f64>>,
    /// For each technique, how its log-odds of finding rise with the logarithm of length.
    pub slopes: Vec<f64>,
    /// For each group and pattern, the probability given that the blade was seen.
    pub probabilities: Vec<Vec<f64>>,
}

/// Why a model has no estimate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoFit {
    /// The best value of a parameter is without limit; the number missed grows without limit too.
    Endless,
    /// Likewise, but the number missed falls to zero or stays.
    Edge,
}

/// Fits a model to groups of blades.
pub(super) fn fit(groups: &[Group], techniques: usize, form: &Form) -> Result<Fit, NoFit> {
    /// A change of a log-probability that is not that of a converged fit: there it is below 1e-6, and about 1
    /// where a parameter runs away.
    const RUNNING: f64 = 1e-3;
    let model = Model::new(techniques, form);
    let function = |at: &DVector<f64>| model.local(groups, at);
    let peak = climb(&Plane::whole(model.parameters), &model.start(groups), function).ok_or(NoFit::Edge)?;
    let last = model.local(groups, &peak.at);
    let Some(covariance) = inverse(&last.information) else { return Err(model.where_to(groups, &peak.at)) };
    let step = &covariance * &last.gradient;
    let runs = groups.iter().any(|group| model.change(group, &step) > RUNNING);
    if runs || !step.iter().all(|x| x.is_finite()) {
        return Err(model.where_to(groups, &peak.at));
    }
    let (mut missed, mut chance, mut slope) = (0.0, 0.0, DVector::zeros(model.parameters));
    let (mut odds, mut probabilities) = (Vec::new(), Vec::new());
    for group in groups {
        let mut of_group = vec![0.0; 1 << techniques];
        let mut odds_of_group = Vec::new();
        for (log_length, share) in &group.log_lengths {
            let (weights, sum) = model.weights(*log_length, &peak.at);
            let (seen, odd) = (share * group.total(), 1.0 / sum);
            missed += seen * odd;
            chance += seen * odd * (1.0 + odd);
            let all_of = model.all_of(&weights, sum);
            model.add(*log_length, &mut slope, |members| -seen * odd * all_of[members]);
            odds_of_group.push(odd);
            of_group.iter_mut().zip(&weights).for_each(|(all, weight)| *all += share * weight / sum);
        }
        odds.push(odds_of_group);
        probabilities.push(of_group);
    }
    let variance = chance + slope.dot(&(&covariance * &slope));
    if !(missed.is_finite() && variance.is_finite()) {
        return Err(NoFit::Endless);
    }
    let slopes = (0..techniques).map(|at| model.terms[at].slope.map_or(0.0, |place| peak.at[place])).collect();
    Ok(Fit { parameters: model.parameters, log_likelihood: peak.value, missed, variance, odds, slopes, probabilities })
}

/// Term that a set of techniques adds to a pattern that has all of them.
struct Term {
    members: usize,
    /// Where its slope against log length stands among the parameters; its own parameter stands at its place.
    slope: Option<usize>,
}

/// Parts of the likelihood at one length: log-weights of the patterns, the logarithm of their sum over the seen
/// ones, and mean and spread of the terms among these.
struct OneLength {
    log_weights: Vec<f64>,
    log_sum: f64,
    expected: DVector<f64>,
    spread: DMatrix<f64>,
}

/// The terms of a model: single techniques first, then linked pairs.
struct Model {
    techniques: usize,
    parameters: usize,
    terms: Vec<Term>,
}

impl Model {
    fn new(techniques: usize, form: &Form) -> Self {
        let first_slope = techniques + form.links.len();
        let slope = |technique: usize| match form.slope {
            Slope::None => None,
            Slope::Common => Some(first_slope),
            Slope::Own => Some(first_slope + technique),
        };
        let singles = (0..techniques).map(|at| Term { members: 1 << at, slope: slope(at) });
        let links = form.links.iter().map(|(a, b)| Term { members: 1 << a | 1 << b, slope: None });
        let slopes = match form.slope {
            Slope::None => 0,
            Slope::Common => 1,
            Slope::Own => techniques,
        };
        Model { techniques, parameters: first_slope + slopes, terms: singles.chain(links).collect() }
    }

    /// Techniques that find what they found of the others' finds: the odds that independence would give.
    fn start(&self, groups: &[Group]) -> DVector<f64> {
        let mut start = DVector::zeros(self.parameters);
        for at in 0..self.techniques {
            let (mut again, mut missed) = (0.5, 0.5);
            for (pattern, count) in groups.iter().flat_map(|group| group.counts.iter().enumerate()) {
                if pattern >> at & 1 == 0 && pattern != 0 {
                    missed += count;
                } else if pattern.count_ones() > 1 {
                    again += count;
                }
            }
            start[at] = f64::ln(again / missed);
        }
        start
    }

    /// The sum of terms of each pattern; 0 for the pattern without a find.
    fn log_weights(&self, log_length: f64, at: &DVector<f64>) -> Vec<f64> {
        let mut sums = vec![0.0; 1 << self.techniques];
        for (term, Term { members, slope }) in self.terms.iter().enumerate() {
            let value = at[term] + slope.map_or(0.0, |place| at[place]) * log_length;
            for (pattern, sum) in sums.iter_mut().enumerate() {
                *sum += if pattern & members == *members { value } else { 0.0 };
            }
        }
        sums
    }

    /// The weights of the other patterns over that of the pattern without a find, and their sum.
    fn weights(&self, log_length: f64, at: &DVector<f64>) -> (Vec<f64>, f64) {
        let mut weights = self.log_weights(log_length, at);
        weights.iter_mut().for_each(|weight| *weight = weight.exp());
        weights[0] = 0.0;
        let sum = weights.iter().sum();
        (weights, sum)
    }

    /// For every set of techniques the probability that all of them found a blade that was seen.
    fn all_of(&self, weights: &[f64], sum: f64) -> Vec<f64> {
        let mut all_of: Vec<f64> = weights.iter().map(|weight| weight / sum).collect();
        for technique in 0..self.techniques {
            for set in 0..all_of.len() {
                if set >> technique & 1 == 0 {
                    all_of[set] += all_of[set | 1 << technique];
                }
            }
        }
        all_of
    }

    /// Adds, for every parameter, what each term has times its factor in that parameter.
    fn add(&self, log_length: f64, to: &mut DVector<f64>, of_term: impl Fn(usize) -> f64) {
        for (index, term) in self.terms.iter().enumerate() {
            let value = of_term(term.members);
            to[index] += value;
            if let Some(place) = term.slope {
                to[place] += log_length * value;
            }
        }
    }

    fn local(&self, groups: &[Group], at: &DVector<f64>) -> Local {
        let zeros = || (DVector::zeros(self.parameters), DMatrix::zeros(self.parameters, self.parameters));
        let (mut value, (mut gradient, mut information)) = (0.0, zeros());
        for group in groups {
            let each: Vec<OneLength> = group.log_lengths.iter().map(|(z, _)| self.at_length(*z, at)).collect();
            for (pattern, count) in group.seen() {
                let shares = group.log_lengths.iter().zip(&each);
                let logs = shares.map(|((_, share), one)| share.ln() + one.log_weights[pattern] - one.log_sum);
                let logs: Vec<f64> = logs.collect();
                let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let all = largest + logs.iter().map(|log| (log - largest).exp()).sum::<f64>().ln();
                value += count * all;
                // Of the lengths that the pattern leaves possible: slopes averaged, and their spread, which takes
                // from the information.
                let mut mean = DVector::zeros(self.parameters);
                for (((z, _), one), log) in group.log_lengths.iter().zip(&each).zip(&logs) {
                    let share = (log - all).exp();
                    let mut slope = -&one.expected;
                    self.add(*z, &mut slope, |members| if pattern & members == members { 1.0 } else { 0.0 });
                    mean.axpy(share, &slope, 1.0);
                    information += &one.spread * (count * share);
                    if each.len() > 1 {
                        information.ger(-count * share, &slope, &slope, 1.0);
                    }
                }
                gradient.axpy(count, &mean, 1.0);
                if each.len() > 1 {
                    information.ger(count, &mean, &mean, 1.0);
                }
            }
        }
        Local { value, gradient, information }
    }

    /// Parts of the likelihood at one length.
    fn at_length(&self, z: f64, at: &DVector<f64>) -> OneLength {
        let log_weights = self.log_weights(z, at);
        let (weights, sum) = self.weights(z, at);
        let all_of = self.all_of(&weights, sum);
        let mut expected = DVector::zeros(self.parameters);
        self.add(z, &mut expected, |members| all_of[members]);
        let mut spread = DMatrix::zeros(self.parameters, self.parameters);
        for (i, a) in self.terms.iter().enumerate() {
            for (j, b) in self.terms.iter().enumerate() {
                let of_both = all_of[a.members | b.members] - all_of[a.members] * all_of[b.members];
                spread[(i, j)] += of_both;
                if let Some(row) = a.slope {
                    spread[(row, j)] += z * of_both;
                }
                if let Some(column) = b.slope {
                    spread[(i, column)] += z * of_both;
                }
                if let (Some(row), Some(column)) = (a.slope, b.slope) {
                    spread[(row, column)] += z * z * of_both;
                }
            }
        }
        OneLength { log_weights, log_sum: sum.ln(), expected, spread }
    }

    /// Largest change of a pattern's log-weight that a step makes.
    fn change(&self, group: &Group, step: &DVector<f64>) -> f64 {
        let changes = group.log_lengths.iter().flat_map(|(z, _)| self.log_weights(*z, step));
        changes.map(f64::abs).fold(0.0, f64::max)
    }

    /// Whether the number missed grows without limit with a parameter: it is large by then, or it is not.
    fn where_to(&self, groups: &[Group], at: &DVector<f64>) -> NoFit {
        const LARGE: f64 = 1e4;
        let seen: f64 = groups.iter().map(Group::total).sum();
        let of_group = |group: &Group| -> f64 {
            let each = group.log_lengths.iter().map(|(z, share)| share / self.weights(*z, at).1);
            group.total() * each.sum::<f64>()
        };
        let missed: f64 = groups.iter().map(of_group).sum();
        if missed <= LARGE * seen { NoFit::Edge } else { NoFit::Endless }
    }
}

impl Group {
    /// The seen patterns that some blade has.
    fn seen(&self) -> impl Iterator<Item = (usize, f64)> {
        self.counts.iter().copied().enumerate().skip(1).filter(|(_, count)| *count > 0.0)
    }

    /// Seen blades.
    pub fn total(&self) -> f64 {
        self.counts.iter().skip(1).sum()
    }
}
