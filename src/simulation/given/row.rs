//! What a row's blades share, sampled given its history.
//!
//! Row factors are summed over, so that only the growth of the row and the shifts of its looks are drawn, by importance
//! sampling: from a normal distribution that is fitted to the weights of a round before, and for a part from the prior, so
//! that no weight runs away.

use super::fleet::Entries;
use super::lattice::Lattice;
use super::learning::Watch;
use super::likelihood::RowModel;
use super::pool::point;
use super::shared::{Shared, SharedNumber};
use crate::math::normal_quantile;
use crate::simulation::normal_component::{Component, effective_number, moments};
use crate::statistics::quadrature::normal_rule;

/// One draw of what a row's blades share.
#[derive(Debug, Clone)]
pub(super) struct RowSample {
    /// In standard deviations of each.
    pub values: Vec<f64>,
    /// Logarithm of the density of standard normal numbers there over that with which they were drawn.
    pub ln_ratio: f64,
    /// Logarithm of the probability of the history, for each row factor of the lattice.
    pub ln_chances: Vec<f64>,
    /// Probability of each kind of blades that is there when the study starts, for each row factor.
    pub of_kinds: Vec<Vec<f64>>,
}

/// Rounds that fit the proposal, at the most.
const ROUNDS: u32 = 3;
/// Share of the effective number in that of draws from which on a proposal is good enough.
const GOOD: f64 = 0.8;
/// Share of the draws that must count in full; else they are taken anew, twice as many, up to so often.
const ENOUGH: f64 = 0.5;
const DOUBLINGS: u32 = 3;
/// Share of draws from the prior.
const DEFENSIVE: f64 = 0.15;

/// What is known of a row before its history.
#[derive(Debug)]
pub(super) struct RowPrior {
    /// Of its shared numbers.
    numbers: Component,
    /// Of the lattice of hazards.
    hazards: Vec<f64>,
}

impl RowPrior {
    /// Of some numbers, given how what is uncertain enters.
    pub fn new(size: usize, entries: &Entries, lattice: &Lattice) -> Option<Self> {
        /// What is uncertain of the hazard, in so many pieces.
        const PIECES: usize = 15;
        let mut hazards = vec![0.0; lattice.len()];
        let sd = entries.hazard_variance().sqrt();
        for (number, weight) in if sd > 0.0 { normal_rule(PIECES) } else { vec![(0.0, 1.0)] } {
            hazards.iter_mut().zip(lattice.prior(sd * number)).for_each(|(sum, prior)| *sum += weight * prior);
        }
        Some(RowPrior { numbers: Component::new(1.0, vec![0.0; size], &entries.prior(size))?, hazards })
    }
}

/// Fits a proposal for what a row's blades share, by rounds of so many draws; none where the prior serves. Stopped, there
/// is no answer.
pub(super) fn fit(
    model: &mut RowModel,
    numbers: &[SharedNumber],
    prior: &RowPrior,
    (count, seed): (usize, u32),
    watch: &Watch,
) -> Option<Option<Component>> {
    let mut proposal = None;
    for round in 0..ROUNDS {
        if numbers.is_empty() {
            break;
        }
        let seed = seed.wrapping_add(65_537 * (round + 1));
        let samples = draw(model, numbers, prior, proposal.as_ref(), (count, seed), watch)?;
        let weights = weights(&samples, prior);
        if effective_number(&weights) > GOOD * samples.len() as f64 {
            break;
        }
        proposal = fitted(&samples, weights);
    }
    Some(proposal)
}

/// Samples what a row's blades share, from a proposal if there is one; none if it is stopped.
pub(super) fn sample(
    model: &mut RowModel,
    numbers: &[SharedNumber],
    prior: &RowPrior,
    proposal: Option<&Component>,
    (count, seed): (usize, u32),
    watch: &Watch,
) -> Option<Vec<RowSample>> {
    let mut samples = draw(model, numbers, prior, proposal, (count, seed), watch)?;
    // A history that is hard to explain takes more.
    for doubling in 1..=DOUBLINGS {
        let weights = weights(&samples, prior);
        if numbers.is_empty() || effective_number(&weights) > ENOUGH * count as f64 {
            break;
        }
        let better = fitted(&samples, weights);
        let seed = seed.wrapping_add(131_071 * doubling);
        samples = draw(model, numbers, prior, better.as_ref(), (count << doubling, seed), watch)?;
    }
    Some(samples)
}

/// Weights of samples, the largest of which is 1.
fn weights(samples: &[RowSample], prior: &RowPrior) -> Vec<f64> {
    let ln_prior: Vec<f64> = prior.hazards.iter().map(|prior| prior.ln()).collect();
    let mut solved = vec![0.0; samples[0].values.len()];
    let mut ln_weight = |sample: &RowSample| {
        let of_numbers = prior.numbers.density_ratio(&sample.values, &mut solved).ln();
        sample.ln_ratio + of_numbers + ln_sum(&ln_prior, &sample.ln_chances)
    };
    let ln: Vec<f64> = samples.iter().map(&mut ln_weight).collect();
    let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    ln.iter().map(|ln| (ln - most).exp()).collect()
}

/// Logarithm of the sum of products of numbers, by their logarithms.
fn ln_sum(one: &[f64], other: &[f64]) -> f64 {
    let ln = || one.iter().zip(other).map(|(one, other)| one + other);
    let most = ln().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY { most } else { most + ln().map(|ln| (ln - most).exp()).sum::<f64>().ln() }
}

/// A normal distribution like weighted samples, of which none counts for too much.
fn fitted(samples: &[RowSample], mut weights: Vec<f64>) -> Option<Component> {
    /// The largest weight, over the mean.
    const LARGEST: f64 = 20.0;
    /// A little wider than the samples.
    const WIDER: f64 = 1.1;
    let most = LARGEST * weights.iter().sum::<f64>() / weights.len() as f64;
    weights.iter_mut().for_each(|weight| *weight = weight.min(most));
    let values: Vec<&[f64]> = samples.iter().map(|sample| &sample.values[..]).collect();
    let (mean, covariance) = moments(&values, &weights, samples[0].values.len())?;
    Component::new(1.0, mean, &covariance.iter().map(|number| WIDER * number).collect::<Vec<f64>>())
}

/// Draws from the prior, and for the most from a proposal where there is one.
fn draw(
    model: &mut RowModel,
    numbers: &[SharedNumber],
    prior: &RowPrior,
    proposal: Option<&Component>,
    (count, seed): (usize, u32),
    watch: &Watch,
) -> Option<Vec<RowSample>> {
    let size = numbers.len();
    let (spots, looks) = (model.nature.hot_spots.len(), model.history.looks.len());
    let (mut solved, mut values) = (vec![0.0; size], vec![0.0; size]);
    let mut one = |index: usize| {
        if watch.is_stopped() {
            return None;
        }
        let normals: Vec<f64> = (0..size).map(|number| normal_quantile(point(index, number, seed))).collect();
        let from = proposal.filter(|_| point(index, size, seed) >= DEFENSIVE).unwrap_or(&prior.numbers);
        from.place(&normals, &mut values);
        let of_prior = prior.numbers.density_ratio(&values, &mut solved);
        let density = proposal.map_or(of_prior, |proposal| {
            DEFENSIVE * of_prior + (1.0 - DEFENSIVE) * proposal.density_ratio(&values, &mut solved)
        });
        let shared = Shared::of(numbers, &values, spots, looks);
        let (ln_chances, of_kinds) = model.ln_chances(&shared);
        Some(RowSample { ln_chances, of_kinds, values: values.clone(), ln_ratio: -density.ln() })
    };
    let count = if size == 0 { 1 } else { count };
    (0..count).map(&mut one).collect()
}
