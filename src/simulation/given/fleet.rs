//! What all rows share: inputs that are not known, sampled given all histories.
//!
//! They enter a row only in sums: the scale of initiation with the row factor, growth with the row's growth, what a
//! technique sees with the shifts of its looks. So the lives of possible cracks, once they are lived, hold for all values of
//! them: only weights change. Rows meet in them alone.

use super::lattice::Lattice;
use super::row::RowSample;
use super::shared::SharedNumber;
use super::sums::normalised;
use crate::error::{Error, Fault, Result};
use crate::math::normal_quantile;
use crate::model::Study;
use crate::model::uncertain::{Uncertain, UncertainInput};
use crate::simulation::normal_component::{Component, effective_number, moments};
use crate::simulation::uncertain::UncertainInRow;

/// How what is uncertain enters what the blades of a row share, for a standard deviation of each.
#[derive(Debug, Clone)]
pub(super) struct Entries {
    pub row: UncertainInRow,
    /// Into each number that the row's blades share, in its standard deviations.
    pub numbers: Vec<Vec<f64>>,
}

impl Entries {
    /// Of a row, whose blades share some numbers, and that was looked at by some techniques.
    pub fn new(row: UncertainInRow, numbers: &[SharedNumber], looks: &[usize]) -> Self {
        let of_input = |growth: &[f64], techniques: &[f64]| {
            let number = |number: &SharedNumber| match number {
                SharedNumber::Growth { hot_spots, sigma } => growth[hot_spots[0]] / sigma,
                SharedNumber::Look { look, sigma } => techniques[looks[*look]] / sigma,
            };
            numbers.iter().map(number).collect()
        };
        let inputs = row.growth.iter().zip(&row.techniques);
        Entries { numbers: inputs.map(|(growth, techniques)| of_input(growth, techniques)).collect(), row }
    }

    /// Variance of the logarithm of the hazard by what is uncertain.
    pub fn hazard_variance(&self) -> f64 {
        self.row.hazard.iter().map(|entry| entry * entry).sum()
    }

    /// Covariance of the numbers before anything was known, in their standard deviations.
    pub fn prior(&self, size: usize) -> Vec<f64> {
        let mut covariance = vec![0.0; size * size];
        for row in 0..size {
            covariance[row * size + row] += 1.0;
            for column in 0..size {
                covariance[row * size + column] +=
                    self.numbers.iter().map(|entries| entries[row] * entries[column]).sum::<f64>();
            }
        }
        covariance
    }
}

fn refused(uncertain: &Uncertain, rule: &str, remedy: &str) -> Error {
    let path = format!("uncertain.{}", uncertain.id);
    let fault = Fault { line: None, path, value: String::new(), rule: rule.to_owned(), remedy: remedy.to_owned() };
    Error::study("given", vec![fault])
}

/// What is uncertain and cannot be learned, each with the reason.
pub(super) fn check(study: &Study) -> Result<()> {
    for uncertain in &study.uncertain {
        for input in &uncertain.factor_on {
            match *input {
                UncertainInput::InitiationScale(_) if study.scatter.row_factor.fixed().is_some() => {
                    let rule = "can be learned only where rows differ too, and scatter.row_factor is fixed";
                    return Err(refused(uncertain, rule, "let the row factor scatter, be it little"));
                }
                UncertainInput::GrowthCoefficient(law) if study.growth[law].row_sigma_log <= 0.0 => {
                    let rule = format!(
                        "can be learned only where rows differ too, and growth.{}.row_sigma_log is 0",
                        study.growth[law].id
                    );
                    return Err(refused(uncertain, &rule, "let it scatter between rows, be it little"));
                }
                UncertainInput::Q50(technique) if study.techniques[technique].inspection_sigma <= 0.0 => {
                    let rule = format!(
                        "can be learned only where inspections differ too, and techniques.{}.inspection_sigma is 0",
                        study.techniques[technique].id
                    );
                    return Err(refused(uncertain, &rule, "let inspections differ, be it little"));
                }
                _ => {}
            }
        }
    }
    Ok(())
}

/// A row's samples, made ready to be weighed for any values of what is uncertain.
#[derive(Debug)]
pub(super) struct RowWeights {
    lattice: Lattice,
    entries: Entries,
    samples: Vec<RowSample>,
    /// Chances of the history over the largest of each sample, samples outermost; and the logarithm of that.
    chances: Vec<f64>,
    ln_largest: Vec<f64>,
}

impl RowWeights {
    pub fn new(lattice: Lattice, entries: Entries, samples: Vec<RowSample>) -> Self {
        let largest = |sample: &RowSample| sample.ln_chances.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let ln_largest: Vec<f64> = samples.iter().map(largest).collect();
        let scaled = samples.iter().zip(&ln_largest).flat_map(|(sample, ln_largest)| {
            sample
                .ln_chances
                .iter()
                .map(move |ln| if *ln_largest > f64::NEG_INFINITY { (ln - ln_largest).exp() } else { 0.0 })
        });
        RowWeights { chances: scaled.collect(), ln_largest, lattice, entries, samples }
    }

    pub fn samples(&self) -> &[RowSample] {
        &self.samples
    }

    pub fn lattice(&self) -> &Lattice {
        &self.lattice
    }

    /// For some values of what is uncertain: logarithm of the weight of each sample.
    pub fn ln_weights(&self, uncertain: &[f64], ln_weights: &mut Vec<f64>) {
        let prior = self.prior(uncertain);
        let size = self.samples.first().map_or(0, |sample| sample.values.len());
        let shifts: Vec<f64> = (0..size)
            .map(|number| self.entries.numbers.iter().zip(uncertain).map(|(entry, t)| entry[number] * t).sum())
            .collect();
        let square: f64 = shifts.iter().map(|shift| shift * shift).sum();
        ln_weights.clear();
        for (index, sample) in self.samples.iter().enumerate() {
            let chances = &self.chances[index * prior.len()..][..prior.len()];
            let sum: f64 = chances.iter().zip(&prior).map(|(chance, prior)| chance * prior).sum();
            let product: f64 = sample.values.iter().zip(&shifts).map(|(value, shift)| value * shift).sum();
            ln_weights.push(sample.ln_ratio + self.ln_largest[index] + sum.ln() + product - 0.5 * square);
        }
    }

    /// Prior weights of the lattice of hazards, given what is uncertain.
    pub fn prior(&self, uncertain: &[f64]) -> Vec<f64> {
        self.lattice.prior(self.entries.row.of_hazard(uncertain))
    }

    /// Weights of the lattice of hazards given a sample and what is uncertain; they add up to 1.
    pub fn hazard_weights(&self, sample: usize, prior: &[f64]) -> Vec<f64> {
        let chances = &self.chances[sample * prior.len()..][..prior.len()];
        let weights: Vec<f64> = chances.iter().zip(prior).map(|(chance, prior)| chance * prior).collect();
        let sum: f64 = weights.iter().sum();
        weights.into_iter().map(|weight| weight / sum).collect()
    }

    /// Logarithm of the probability of the row's history, given what is uncertain.
    fn ln_chance(&self, uncertain: &[f64], room: &mut Vec<f64>) -> f64 {
        self.ln_weights(uncertain, room);
        ln_mean(room)
    }
}

/// Logarithm of the mean of numbers, by their logarithms.
pub(super) fn ln_mean(ln: &[f64]) -> f64 {
    let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + (ln.iter().map(|ln| (ln - most).exp()).sum::<f64>() / ln.len() as f64).ln()
}

/// Values of what is uncertain, with their weights, which add up to 1.
#[derive(Debug, Clone)]
pub(super) struct FleetSamples {
    pub values: Vec<Vec<f64>>,
    pub weights: Vec<f64>,
    /// Logarithm of the probability of all histories.
    pub ln_chance: f64,
}

/// Samples what is uncertain, by importance sampling from a normal distribution that is fitted round by round.
pub(super) fn sample(rows: &[&RowWeights], size: usize, count: usize, seed: u32) -> FleetSamples {
    const ROUNDS: u32 = 4;
    const DEFENSIVE: f64 = 0.15;
    const WIDER: f64 = 1.1;
    let (mut room, mut solved) = (Vec::new(), vec![0.0; size]);
    let mut draw = |proposal: Option<&Component>, count: usize, seed: u32| {
        let mut values = Vec::with_capacity(count);
        let mut ln_weights = Vec::with_capacity(count);
        for index in 0..count {
            let normals: Vec<f64> =
                (0..size).map(|number| normal_quantile(super::pool::point(index, number, seed))).collect();
            let mut own = normals.clone();
            let mut ln_weight = 0.0;
            if let Some(proposal) = proposal {
                if super::pool::point(index, size, seed) >= DEFENSIVE {
                    proposal.place(&normals, &mut own);
                }
                ln_weight = -(DEFENSIVE + (1.0 - DEFENSIVE) * proposal.density_ratio(&own, &mut solved)).ln();
            }
            ln_weight += rows.iter().map(|row| row.ln_chance(&own, &mut room)).sum::<f64>();
            values.push(own);
            ln_weights.push(ln_weight);
        }
        (values, ln_weights)
    };
    if size == 0 {
        let (values, ln_weights) = draw(None, 1, seed);
        return FleetSamples { values, weights: vec![1.0], ln_chance: ln_weights[0] };
    }
    let mut proposal: Option<Component> = None;
    for round in 1..ROUNDS {
        let (values, ln_weights) = draw(proposal.as_ref(), (count / 4).max(64), seed.wrapping_add(round * 65_537));
        let weights = normalised(&ln_weights);
        if proposal.is_some() && effective_number(&weights) > 0.8 * weights.len() as f64 {
            break;
        }
        let values: Vec<&[f64]> = values.iter().map(Vec::as_slice).collect();
        proposal = moments(&values, &weights, size).and_then(|(mean, covariance)| {
            Component::new(1.0, mean, &covariance.iter().map(|number| WIDER * number).collect::<Vec<f64>>())
        });
    }
    let (values, ln_weights) = draw(proposal.as_ref(), count, seed);
    FleetSamples { weights: normalised(&ln_weights), ln_chance: ln_mean(&ln_weights), values }
}
