//! The one fit behind log-linear models and behind detection that depends on length.
//!
//! A cracked blade is found by a set y of techniques with probability proportional to
//! exp(sum of a_j over its members, plus sum of g_jk over its linked pairs), where a_j may rise with the
//! logarithm of length. Only blades found by at least one technique are seen, so the likelihood is that of
//! y given that it is not empty: for blades alike it is that of the Poisson log-linear model with the unseen
//! cell left out (Sandland and Cormack, Biometrika 71, 1984); without links it is that of Huggins (Biometrika
//! 76, 1989) and Alho (Biometrics 46, 1990). The logarithm of it is concave, so there is one top or none.

use crate::statistics::newton::{Local, Plane, climb, inverse};
use nalgebra::{DMatrix, DVector};

/// Cracked blades alike: same length, if lengths count.
pub(super) struct Group {
    /// Logarithm of length over the middle length; zero where lengths do not count.
    pub log_length: f64,
    /// For each pattern of finds how many blades; pattern 0 is not seen.
    pub counts: Vec<f64>,
}

/// How detection depends on length.
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
    /// Cracked blades that nobody found (Horvitz and Thompson: each found one stands for the unseen like it).
    pub unseen: f64,
    /// Variance of their number, chance of being found included.
    pub variance: f64,
    /// For each group, unseen blades for each seen one.
    pub odds: Vec<f64>,
    /// For each technique, how its log-odds of finding rise with the logarithm of length.
    pub slopes: Vec<f64>,
    /// For each group and pattern, the probability given that the blade was seen.
    pub probabilities: Vec<Vec<f64>>,
}

/// Why a model has no estimate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoFit {
    /// The best value of a parameter is without limit; the unseen number grows without limit too.
    Endless,
    /// Likewise, but the unseen number falls to zero or stays.
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
    let (mut unseen, mut chance, mut slope) = (0.0, 0.0, DVector::zeros(model.parameters));
    let (mut odds, mut probabilities) = (Vec::new(), Vec::new());
    for group in groups {
        let (weights, sum) = model.weights(group.log_length, &peak.at);
        let (seen, odd) = (group.total(), 1.0 / sum);
        unseen += seen * odd;
        chance += seen * odd * (1.0 + odd);
        let all_of = model.all_of(&weights, sum);
        model.add(group.log_length, &mut slope, |members| -seen * odd * all_of[members]);
        odds.push(odd);
        probabilities.push(weights.iter().map(|weight| weight / sum).collect());
    }
    let variance = chance + slope.dot(&(&covariance * &slope));
    if !(unseen.is_finite() && variance.is_finite()) {
        return Err(NoFit::Endless);
    }
    let slopes = (0..techniques).map(|at| model.terms[at].slope.map_or(0.0, |place| peak.at[place])).collect();
    Ok(Fit { parameters: model.parameters, log_likelihood: peak.value, unseen, variance, odds, slopes, probabilities })
}

/// What the members of a set of techniques add to a pattern that has all of them.
struct Term {
    members: usize,
    /// Where its slope against log length stands among the parameters; its own parameter stands at its place.
    slope: Option<usize>,
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

    /// The sum of terms of each pattern; 0 for the unseen one.
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

    /// The weights of the seen patterns over that of the unseen one, and their sum.
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
        let mut value = 0.0;
        let mut gradient = DVector::zeros(self.parameters);
        let mut information = DMatrix::zeros(self.parameters, self.parameters);
        for group in groups {
            let z = group.log_length;
            let sums = self.log_weights(z, at);
            let (weights, sum) = self.weights(z, at);
            let all_of = self.all_of(&weights, sum);
            for (pattern, count) in group.seen() {
                value += count * (sums[pattern] - sum.ln());
                self.add(z, &mut gradient, |members| if pattern & members == members { count } else { 0.0 });
            }
            let total = group.total();
            self.add(z, &mut gradient, |members| -total * all_of[members]);
            for (i, a) in self.terms.iter().enumerate() {
                for (j, b) in self.terms.iter().enumerate() {
                    let spread = total * (all_of[a.members | b.members] - all_of[a.members] * all_of[b.members]);
                    information[(i, j)] += spread;
                    if let Some(row) = a.slope {
                        information[(row, j)] += z * spread;
                    }
                    if let Some(column) = b.slope {
                        information[(i, column)] += z * spread;
                    }
                    if let (Some(row), Some(column)) = (a.slope, b.slope) {
                        information[(row, column)] += z * z * spread;
                    }
                }
            }
        }
        Local { value, gradient, information }
    }

    /// Largest change of a pattern's log-weight that a step makes.
    fn change(&self, group: &Group, step: &DVector<f64>) -> f64 {
        self.log_weights(group.log_length, step).iter().map(|change| change.abs()).fold(0.0, f64::max)
    }

    /// Where the unseen number goes when a parameter runs away: it is large by then, or it is not.
    fn where_to(&self, groups: &[Group], at: &DVector<f64>) -> NoFit {
        const LARGE: f64 = 1e4;
        let seen: f64 = groups.iter().map(Group::total).sum();
        let unseen: f64 = groups.iter().map(|group| group.total() / self.weights(group.log_length, at).1).sum();
        if unseen <= LARGE * seen { NoFit::Edge } else { NoFit::Endless }
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
