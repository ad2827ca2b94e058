//! The fitting itself: the best parameters, free or under a constraint.

use super::likelihood::{Design, Likelihood, SIZE};
use super::looks::Looks;
use super::model::{Limit, Model};
use crate::error::{Error, Result};
use crate::statistics::newton::{Plane, climb};
use crate::statistics::quadrature::normal_rule;
use crate::statistics::search::largest;
use crate::statistics::sizes::Spread;
use nalgebra::{DMatrix, DVector};

/// Looks and model, ready to be fitted.
#[derive(Debug, Clone)]
pub(super) struct Problem {
    pub model: Model,
    pub design: Design,
    /// Mean and standard deviation of size on the scale of the fit; the design has standardised sizes, so that
    /// nothing depends on the unit.
    pub mean: f64,
    pub sd: f64,
}

/// The best parameters.
#[derive(Debug, Clone)]
pub(super) struct Best {
    pub theta: DVector<f64>,
    pub floor: f64,
    pub ceiling: f64,
    pub value: f64,
    pub information: DMatrix<f64>,
}

/// What the parameters must obey.
#[derive(Debug, Clone)]
pub(super) enum Constraint {
    /// Nothing.
    None,
    /// One of them has a value.
    Holding(usize, f64),
    /// The curve goes through a POD, at a row of the design.
    Through { row: Vec<f64>, pod: f64 },
}

/// Points of an average over true sizes, and over inspectors.
const SIZE_POINTS: usize = 15;
const INSPECTOR_POINTS: usize = 15;

impl Problem {
    pub fn new(looks: &Looks, model: &Model) -> Result<Problem> {
        let sizes: Vec<f64> = looks.cracked.iter().map(|look| model.scale.of(look.size_mm)).collect();
        let error = model.size_error_log;
        let Spread { mean, of_true: sd, kept } = Spread::of(&sizes, error)?;
        let width = 2 + looks.factors.iter().map(|factor| factor.levels.len() - 1).sum::<usize>();
        let mut rows = Vec::with_capacity(width * sizes.len());
        for (look, x) in looks.cracked.iter().zip(&sizes) {
            rows.extend(row(looks, &look.levels, kept * (x - mean) / sd));
        }
        let mut by_inspector = Vec::new();
        if model.between_inspectors {
            by_inspector = vec![Vec::new(); looks.inspectors.len()];
            for (index, look) in looks.cracked.iter().enumerate() {
                let inspector = look.inspector.ok_or_else(|| {
                    Error::data(
                        "inspectors",
                        "some looks do not say who looked",
                        "a spread between inspectors is asked for",
                        "name the inspector of every look, or leave the spread out",
                    )
                })?;
                by_inspector[inspector].push(index);
            }
            by_inspector.retain(|looks: &Vec<usize>| !looks.is_empty());
            if by_inspector.len() < 3 {
                return Err(Error::data(
                    "inspectors",
                    format!("{} inspectors", by_inspector.len()),
                    "a spread between inspectors needs at least 3 of them",
                    "make the inspector a factor instead",
                ));
            }
        }
        let nodes = if error > 0.0 { normal_rule(SIZE_POINTS) } else { Vec::new() };
        let way = error * kept.sqrt() / sd;
        let design = Design {
            width,
            rows,
            hits: looks.cracked.iter().map(|look| look.called).collect(),
            inspector_rule: if by_inspector.is_empty() { Vec::new() } else { normal_rule(INSPECTOR_POINTS) },
            by_inspector,
            size_nodes: nodes.into_iter().map(|(point, weight)| (way * point, weight)).collect(),
        };
        Ok(Problem { model: model.clone(), design, mean, sd })
    }

    /// Size on the scale of the fit as the design has it.
    pub fn standardised(&self, x: f64) -> f64 {
        (x - self.mean) / self.sd
    }

    /// Every look once.
    pub fn weights(&self) -> Vec<f64> {
        vec![1.0; self.design.hits.len()]
    }

    /// Where to begin when nothing is known.
    pub fn start(&self) -> DVector<f64> {
        /// A moderate spread between inspectors; none at all is a saddle.
        const SPREAD: f64 = 0.5;
        let mut start = DVector::zeros(self.design.parameters());
        if self.design.parameters() > self.design.width {
            start[self.design.width] = SPREAD;
        }
        start
    }

    pub fn likelihood<'d>(&'d self, weights: &'d [f64], floor: f64, ceiling: f64) -> Likelihood<'d> {
        let Model { link, penalised, .. } = self.model;
        Likelihood { design: &self.design, link, floor, ceiling, weights, penalised }
    }

    /// The best parameters under a constraint; `None` when there are none.
    ///
    /// A fitted floor or ceiling is searched for over its whole range, with everything else at its best for each
    /// value tried: profile likelihood.
    pub fn best(&self, weights: &[f64], start: &DVector<f64>, constraint: &Constraint) -> Option<Best> {
        /// Of floor and ceiling.
        const TOLERANCE: f64 = 1e-6;
        let pod = match constraint {
            Constraint::Through { pod, .. } => *pod,
            _ => Model::MIDDLE,
        };
        let ends = |limit, low: f64, high: f64| match limit {
            Limit::Fixed(value) => (value, value),
            Limit::Free => (low, high),
        };
        let (low_floor, high_floor) = ends(self.model.floor, 0.0, pod.min(Model::MIDDLE) - TOLERANCE);
        let (low_ceiling, high_ceiling) = ends(self.model.ceiling, pod.max(Model::MIDDLE) + TOLERANCE, 1.0);
        let mut found: Option<Best> = None;
        largest(low_ceiling, high_ceiling, TOLERANCE, |ceiling| {
            largest(low_floor, high_floor, TOLERANCE, |floor| {
                // From the best so far; where that leads nowhere, from the beginning.
                let near = found.as_ref().map_or(start, |best| &best.theta);
                let tried = self.best_between(floor, ceiling, weights, near, constraint);
                let again = || self.best_between(floor, ceiling, weights, start, constraint);
                let Some(tried) = tried.or_else(again) else { return f64::NEG_INFINITY };
                let value = tried.value;
                if found.as_ref().is_none_or(|best| value > best.value) {
                    found = Some(tried);
                }
                value
            })
            .1
        });
        found
    }

    fn best_between(
        &self,
        floor: f64,
        ceiling: f64,
        weights: &[f64],
        start: &DVector<f64>,
        constraint: &Constraint,
    ) -> Option<Best> {
        let plane = self.plane(floor, ceiling, constraint)?;
        let likelihood = self.likelihood(weights, floor, ceiling);
        let peak = climb(&plane, start, |theta| likelihood.at(theta))?;
        Some(Best { theta: peak.at, floor, ceiling, value: peak.value, information: peak.information })
    }

    /// The parameters that a constraint leaves; `None` where no curve between floor and ceiling obeys it.
    pub fn plane(&self, floor: f64, ceiling: f64, constraint: &Constraint) -> Option<Plane> {
        let count = self.design.parameters();
        Some(match constraint {
            Constraint::None => Plane::whole(count),
            Constraint::Holding(parameter, value) => Plane::holding(count, *parameter, *value),
            Constraint::Through { row, pod } => {
                let inner = (pod - floor) / (ceiling - floor);
                if !(inner > 0.0 && inner < 1.0) {
                    return None;
                }
                let mut row = row.clone();
                row.resize(count, 0.0);
                // Far out, the level would follow from the slope with little left of its figures.
                let solved = if row[SIZE].abs() > 1.0 { SIZE } else { 0 };
                Plane::through(&row, solved, self.model.link.quantile(inner))
            }
        })
    }
}

/// A row of the design.
pub(super) fn row(looks: &Looks, levels: &[usize], standardised: f64) -> Vec<f64> {
    let mut row = vec![1.0, standardised];
    for (factor, level) in looks.factors.iter().zip(levels) {
        row.extend((1..factor.levels.len()).map(|other| f64::from(u8::from(other == *level))));
    }
    row
}
