//! Intervals by profile likelihood: the values that the likelihood does not speak against, everything else being at
//! its best for each.

use super::cells::Cell;
use super::chances::{CRACKED, PREVALENCE, SOUND, Structure, chance, logit};
use super::classes::Interval;
use super::fit::{Held, Top, at_edge, best_near};
use super::likelihood::Problem;
use crate::statistics::bound::{boundary, one_sided};
use nalgebra::DVector;
use std::cell::RefCell;

/// Profiles about a best fit.
pub(super) struct Profiles<'p> {
    problem: &'p Problem,
    cells: &'p [Cell],
    pairs: &'p [(usize, usize)],
    top: &'p Top,
    critical: f64,
}

impl<'p> Profiles<'p> {
    pub fn new(problem: &'p Problem, cells: &'p [Cell], pairs: &'p [(usize, usize)], top: &'p Top, level: f64) -> Self {
        Profiles { problem, cells, pairs, top, critical: one_sided(0.5 + 0.5 * level) }
    }

    /// The chance that a blade is cracked.
    pub fn prevalence(&self) -> Interval {
        self.parameter(self.problem, &self.top.theta, PREVALENCE, self.problem.counts().iter().sum())
    }

    /// The chance that a technique calls a sound, and a cracked blade.
    pub fn calls(&self, technique: usize) -> [Interval; 2] {
        let paired = self.pairs.iter().position(|(_, second)| *second == technique);
        let Some(place) = paired else { return self.alone(self.problem, &self.top.theta, technique) };
        // Of a pair it is the first whose chance is a parameter.
        let mut pairs = self.pairs.to_vec();
        pairs[place] = (pairs[place].1, pairs[place].0);
        let turned = Problem::new(Structure::new(self.problem.structure.calls.len(), &pairs), self.cells);
        let theta = self.problem.structure.translated(&self.top.theta, &turned.structure);
        self.alone(&turned, &theta, technique)
    }

    fn alone(&self, problem: &Problem, theta: &DVector<f64>, technique: usize) -> [Interval; 2] {
        let tried = problem.expected(theta, None);
        [SOUND, CRACKED].map(|class| {
            let parameter = problem.structure.calls[technique][class].parameters()[0];
            self.parameter(problem, theta, parameter, tried[parameter].0)
        })
    }

    /// The chance whose logit is a parameter; it was tried so many times.
    fn parameter(&self, problem: &Problem, theta: &DVector<f64>, parameter: usize, tries: f64) -> Interval {
        let near = RefCell::new(theta.clone());
        let deviance = |logit: f64| {
            if logit.abs() > FURTHEST {
                return 0.0;
            }
            self.deviance(problem, &near, Held::Parameter(parameter, logit))
        };
        let value = chance(theta[parameter]);
        let (low, high) = self.ends(value, tries, deviance);
        Interval { value, low, high, at_edge: at_edge(value, tries) }
    }

    /// Number of cracked blades in some of the cells, ends rounded outwards to whole blades.
    pub fn number(&self, group: &[bool]) -> Interval {
        let counts = self.problem.counts();
        let all: f64 = counts.iter().zip(group).filter(|(_, member)| **member).map(|(count, _)| count).sum();
        if all == 0.0 {
            return Interval { value: 0.0, low: 0.0, high: 0.0, at_edge: true };
        }
        let cracked = self.problem.cracked(&self.top.theta);
        let each = cracked.iter().zip(counts).zip(group).filter(|(_, member)| **member);
        let value = each.map(|((cracked, count), _)| cracked * count).sum::<f64>().min(all);
        let near = RefCell::new(self.top.theta.clone());
        let deviance = |logit: f64| {
            let number = all * chance(logit);
            if logit.abs() > FURTHEST || !(number > 0.0 && number < all) {
                return 0.0;
            }
            self.deviance(self.problem, &near, Held::Number(group, number))
        };
        let (low, high) = self.ends(value / all, all, deviance);
        Interval { value, low: (all * low).floor(), high: (all * high).ceil(), at_edge: at_edge(value / all, all) }
    }

    /// Twice what it costs in log-likelihood; nothing where the classes would change names, as then nothing speaks
    /// against a value, and without end where no fit is found.
    ///
    /// The search begins at the best fit of the value before, as values follow closely.
    fn deviance(&self, problem: &Problem, near: &RefCell<DVector<f64>>, held: Held) -> f64 {
        let start = near.borrow().clone();
        match best_near(problem, &start, held) {
            Some(best) if problem.structure.well_named(&best.theta) => {
                near.replace(best.theta);
                2.0 * (self.top.value - best.value).max(0.0)
            }
            Some(_) => 0.0,
            None => f64::INFINITY,
        }
    }

    /// Both ends on the scale of chances. At none or all there is one end by itself, at the same distance in
    /// likelihood, so that the level is kept or exceeded.
    fn ends(&self, value: f64, tries: f64, deviance: impl Fn(f64) -> f64) -> (f64, f64) {
        /// Of a blade, in place of none or all.
        const HARDLY: f64 = 0.01;
        let edge = at_edge(value, tries);
        let least = (HARDLY / tries.max(1.0)).min(0.4);
        let from = logit(if edge { value.clamp(least, 1.0 - least) } else { value });
        // About a standard error, were the classes known.
        let step = (1.0 / (tries * value * (1.0 - value)).sqrt()).clamp(0.05, 1.0);
        let none = edge && value < 0.5;
        let all = edge && value >= 0.5;
        let end = |step: f64| boundary(from, step, self.critical, &deviance).map(chance);
        let low = if none { Some(0.0) } else { end(-step) };
        let high = if all { Some(1.0) } else { end(step) };
        (low.unwrap_or(0.0), high.unwrap_or(1.0))
    }
}

/// Logit beyond which a chance is none or all.
const FURTHEST: f64 = 30.0;
