//! The likelihood of calls when it is not known which blades are cracked.
//!
//! The likelihood is summed over what nobody saw: the class of a blade, and what the first of a dependent pair would
//! have answered where only the second looked.

use super::cells::Cell;
use super::chances::{CRACKED, Calls, PREVALENCE, SOUND, Structure, Term, chance};
use crate::statistics::newton::Local;
use nalgebra::{DMatrix, DVector};

/// One way in which a history can have come about: a class, and answers that nobody saw.
struct Way {
    class: usize,
    /// Its chances, and whether what they are of came about; no parameter stands there twice.
    terms: Vec<(Term, bool)>,
}

/// The blades with the ways in which their histories can have come about.
pub(super) struct Problem {
    pub structure: Structure,
    counts: Vec<f64>,
    ways: Vec<Vec<Way>>,
}

/// A number added to the logarithm of the chance of being cracked, for some of the cells.
#[derive(Clone, Copy)]
pub(super) struct Tilt<'g> {
    pub group: &'g [bool],
    pub by: f64,
}

impl Tilt<'_> {
    fn of(tilt: Option<Self>, cell: usize, class: usize) -> f64 {
        tilt.map_or(0.0, |tilt| if class == CRACKED && tilt.group[cell] { tilt.by } else { 0.0 })
    }
}

/// The log-likelihood about a point, and how it bends with a tilt.
pub(super) struct Tilted {
    pub local: Local,
    /// The diagonal of the information, were the classes known.
    pub complete: DVector<f64>,
    /// Slopes of the number of cracked blades of the group by the tilt and by the parameters.
    pub by_tilt: f64,
    pub by_parameter: DVector<f64>,
}

/// The chances at a point, with their logarithms, worked out once.
struct Chances<'t> {
    theta: &'t DVector<f64>,
    each: Vec<Chance>,
}

#[derive(Clone, Copy)]
struct Chance {
    value: f64,
    /// Logarithms of it, and of what it leaves.
    ln: f64,
    ln_other: f64,
}

impl Chance {
    fn of(logit: f64) -> Self {
        let small = (-logit.abs()).exp().ln_1p();
        Chance { value: chance(logit), ln: logit.min(0.0) - small, ln_other: (-logit).min(0.0) - small }
    }
}

impl<'t> Chances<'t> {
    fn at(theta: &'t DVector<f64>) -> Self {
        Chances { theta, each: theta.iter().map(|logit| Chance::of(*logit)).collect() }
    }

    fn of(&self, term: Term) -> Chance {
        if term.added == 0.0 { self.each[term.parameter] } else { Chance::of(self.theta[term.parameter] + term.added) }
    }
}

impl Problem {
    pub fn new(structure: Structure, cells: &[Cell]) -> Self {
        let ways = cells.iter().map(|cell| ways(&structure, cell)).collect();
        Problem { structure, counts: cells.iter().map(|cell| cell.count).collect(), ways }
    }

    /// Takes other numbers of blades of the same histories.
    pub fn set_counts(&mut self, counts: impl Iterator<Item = f64>) {
        self.counts = counts.collect();
    }

    /// Blades of each cell.
    pub fn counts(&self) -> &[f64] {
        &self.counts
    }

    /// Logarithm of the probability of each way of a cell.
    fn log_ways(&self, cell: usize, chances: &Chances, tilt: Option<Tilt>) -> Vec<f64> {
        let log = |way: &Way| -> f64 {
            let each = way.terms.iter().map(|(term, came)| {
                let chance = chances.of(*term);
                if *came { chance.ln } else { chance.ln_other }
            });
            Tilt::of(tilt, cell, way.class) + each.sum::<f64>()
        };
        self.ways[cell].iter().map(log).collect()
    }

    /// Logarithm of the probability of each cell's history among blades that the same techniques looked at.
    pub fn log_probabilities(&self, theta: &DVector<f64>) -> Vec<f64> {
        let chances = Chances::at(theta);
        (0..self.ways.len()).map(|cell| log_sum(self.log_ways(cell, &chances, None).into_iter())).collect()
    }

    /// For each cell, the log-odds that a blade of it is cracked.
    pub fn log_odds(&self, theta: &DVector<f64>) -> Vec<f64> {
        let chances = Chances::at(theta);
        let odds = |cell: usize| {
            let logs = self.log_ways(cell, &chances, None);
            let of = |class: usize| {
                let ways = self.ways[cell].iter().zip(&logs).filter(move |(way, _)| way.class == class);
                log_sum(ways.map(|(_, log)| *log))
            };
            of(CRACKED) - of(SOUND)
        };
        (0..self.ways.len()).map(odds).collect()
    }

    /// For each cell, the probability that a blade of it is cracked.
    pub fn cracked(&self, theta: &DVector<f64>) -> Vec<f64> {
        self.log_odds(theta).into_iter().map(chance).collect()
    }

    pub fn log_likelihood(&self, theta: &DVector<f64>) -> f64 {
        self.log_probabilities(theta).iter().zip(&self.counts).map(|(log, count)| count * log).sum()
    }

    /// The log-likelihood with slope and curvature.
    pub fn local(&self, theta: &DVector<f64>, tilt: Option<Tilt>) -> Tilted {
        let size = self.structure.parameters;
        let chances = Chances::at(theta);
        let mut local = Local { value: 0.0, gradient: DVector::zeros(size), information: DMatrix::zeros(size, size) };
        let mut complete = DVector::zeros(size);
        let (mut by_tilt, mut by_parameter) = (0.0, DVector::zeros(size));
        // Of one cell: slopes of its ways' logarithms, averaged, and those of cracked ways alone.
        let (mut mean, mut of_cracked) = (DVector::zeros(size), DVector::zeros(size));
        let mut slopes = Vec::new();
        for (cell, ways) in self.ways.iter().enumerate().filter(|(cell, _)| self.counts[*cell] > 0.0) {
            let count = self.counts[cell];
            let logs = self.log_ways(cell, &chances, tilt);
            let all = log_sum(logs.iter().copied());
            local.value += count * all;
            mean.fill(0.0);
            of_cracked.fill(0.0);
            let mut cracked = 0.0;
            for (way, log) in ways.iter().zip(&logs) {
                let share = (log - all).exp();
                slopes.clear();
                for (term, came) in &way.terms {
                    let chance = chances.of(*term).value;
                    slopes.push((term.parameter, f64::from(u8::from(*came)) - chance));
                    complete[term.parameter] += count * share * chance * (1.0 - chance);
                }
                // A way has few of all parameters.
                for (row, slope) in &slopes {
                    mean[*row] += share * slope;
                    for (column, other) in &slopes {
                        local.information[(*row, *column)] -= count * share * slope * other;
                    }
                }
                if way.class == CRACKED {
                    cracked += share;
                    slopes.iter().for_each(|(row, slope)| of_cracked[*row] += share * slope);
                }
            }
            local.gradient.axpy(count, &mean, 1.0);
            local.information.ger(count, &mean, &mean, 1.0);
            if tilt.is_some_and(|tilt| tilt.group[cell]) {
                by_tilt += count * cracked * (1.0 - cracked);
                by_parameter.axpy(count, &of_cracked, 1.0);
                by_parameter.axpy(-count * cracked, &mean, 1.0);
            }
        }
        (0..size).for_each(|at| local.information[(at, at)] += complete[at]);
        Tilted { local, complete, by_tilt, by_parameter }
    }

    /// For each parameter, how often its chance was tried and how often it came about, were the classes known: the
    /// expectation of expectation and maximisation (Dempster, Laird and Rubin, JRSS B 39, 1977).
    pub fn expected(&self, theta: &DVector<f64>, tilt: Option<Tilt>) -> Vec<(f64, f64)> {
        let chances = Chances::at(theta);
        let mut tried = vec![(0.0, 0.0); self.structure.parameters];
        for (cell, ways) in self.ways.iter().enumerate() {
            let logs = self.log_ways(cell, &chances, tilt);
            let all = log_sum(logs.iter().copied());
            for (way, log) in ways.iter().zip(&logs) {
                let blades = self.counts[cell] * (log - all).exp();
                for (term, came) in &way.terms {
                    tried[term.parameter].0 += blades;
                    tried[term.parameter].1 += if *came { blades } else { 0.0 };
                }
            }
        }
        tried
    }
}

/// The ways of a history.
fn ways(structure: &Structure, cell: &Cell) -> Vec<Way> {
    let mut ways = Vec::new();
    for class in [SOUND, CRACKED] {
        let mut of_class = vec![vec![(Term::of(PREVALENCE), class == CRACKED)]];
        for (technique, calls) in structure.calls.iter().enumerate() {
            // The second of a pair comes with the first.
            let Calls::Alone { parameter } = calls[class] else { continue };
            let second = structure.second_of(technique, class);
            let second = second.and_then(|(at, call, silence)| Some((call, silence, cell.answer(at)?)));
            let answers: &[bool] = match (cell.answer(technique), second) {
                (Some(true), _) => &[true],
                (Some(false), _) => &[false],
                (None, Some(_)) => &[true, false],
                (None, None) => continue,
            };
            let longer = |way: &Vec<(Term, bool)>, called: bool| {
                let mut way = way.clone();
                way.push((Term::of(parameter), called));
                way.extend(second.map(|(call, silence, answer)| (if called { call } else { silence }, answer)));
                way
            };
            of_class = of_class.iter().flat_map(|way| answers.iter().map(|called| longer(way, *called))).collect();
        }
        ways.extend(of_class.into_iter().map(|terms| Way { class, terms }));
    }
    ways
}

/// Logarithm of the sum of the numbers whose logarithms are given.
fn log_sum(logs: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = logs.clone().fold(f64::NEG_INFINITY, f64::max);
    if largest.is_finite() { largest + logs.map(|log| (log - largest).exp()).sum::<f64>().ln() } else { largest }
}
