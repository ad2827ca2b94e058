//! Equally likely draws of what is not known, from weighted ones: lives go on from these.

use super::fleet::{FleetSamples, RowWeights};
use super::history::BladeEnd;
use super::past::RowPast;
use super::row::RowSample;
use super::shared::Shared;
use super::sums::normalised;
use crate::model::{RowPosterior, SharedDraw};

/// Draws of a row in all.
pub(super) const DRAWS: usize = 4_096;

/// Numbers of equally likely ones of some weighted draws: a weight of one in so many comes about once, and where the count
/// of one is not whole, chance decides.
pub(super) fn pick(weights: &[f64], count: usize, u: f64) -> Vec<usize> {
    let (mut passed, mut picked) = (0.0, Vec::with_capacity(count));
    for (index, weight) in weights.iter().enumerate() {
        passed += weight * count as f64;
        while (picked.len() as f64 + u) < passed && picked.len() < count {
            picked.push(index);
        }
    }
    // By rounding the last may be missing.
    let last = weights.iter().rposition(|weight| *weight > 0.0).unwrap_or(0);
    picked.resize(count, last);
    picked
}

/// Numbers on (0, 1) that fill it evenly: the digits of a count in a base, behind the point.
fn even(count: usize, base: usize) -> f64 {
    let (mut rest, mut unit, mut sum) = (count + 1, 1.0, 0.0);
    while rest > 0 {
        unit /= base as f64;
        sum += unit * (rest % base) as f64;
        rest /= base;
    }
    sum
}

impl RowPast {
    /// Adds draws of one repeat of the row for each of some values of what is uncertain, as many for each.
    pub fn add_draws(&self, weights: &RowWeights, fleet: &[&Vec<f64>], each: usize, row: &mut RowPosterior) {
        // Where each sample stands among those that are drawn.
        let mut places: Vec<Option<u32>> = vec![None; weights.samples().len()];
        let mut ln_weights = Vec::new();
        for (number, values) in fleet.iter().enumerate() {
            weights.ln_weights(values, &mut ln_weights);
            let prior = weights.prior(values);
            for (place, sample) in pick(&normalised(&ln_weights), each, even(number, 2)).into_iter().enumerate() {
                // Even over all draws, and in no step with the samples.
                let u = even(number * each + place, 3);
                let hazard = pick(&weights.hazard_weights(sample, &prior), 1, u)[0];
                let place = *places[sample].get_or_insert_with(|| {
                    row.shared.push(self.shared(&weights.samples()[sample]));
                    row.shared.len() as u32 - 1
                });
                row.shared_of_draw.push(place);
                row.hazards.push(weights.lattice().factors[hazard]);
                row.chances.extend(weights.samples()[sample].of_kinds.iter().map(|chances| chances[hazard]));
            }
        }
    }

    fn shared(&self, sample: &RowSample) -> SharedDraw {
        let shared = Shared::of(&self.numbers, &sample.values, self.nature.hot_spots.len(), self.history.looks.len());
        SharedDraw { ln_growth: shared.ln_growth, shifts: shared.shifts }
    }

    /// What the row's draws are of.
    pub fn without_draws(&self) -> RowPosterior {
        let now =
            self.history.kinds.iter().filter(
                |kind| matches!(kind.end, BladeEnd::Clean { until_year } if until_year == self.nature.start_year),
            );
        RowPosterior {
            kind_of_blade: self.history.kind_of_blade.clone(),
            kinds: now.map(|kind| kind.clean.iter().map(|&look| look as u32).collect()).collect(),
            ..RowPosterior::default()
        }
    }
}

/// Equally likely values of what is uncertain.
pub(super) fn of_fleet(samples: &FleetSamples, count: usize, u: f64) -> Vec<&Vec<f64>> {
    pick(&samples.weights, count, u).into_iter().map(|number| &samples.values[number]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn even_numbers_fill_the_unit() {
        let [two, three] = [2, 3].map(|base| (0..6).map(|count| even(count, base)).collect::<Vec<f64>>());
        assert_eq!(two, [0.5, 0.25, 0.75, 0.125, 0.625, 0.375]);
        assert!((three[0] - 1.0 / 3.0).abs() < 1e-15 && (three[4] - 7.0 / 9.0).abs() < 1e-15, "{three:?}");
    }

    #[test]
    fn each_comes_about_as_often_as_its_weight_says() {
        assert_eq!(pick(&[0.5, 0.25, 0.25], 4, 0.5), [0, 0, 1, 2]);
        let mut counts = [0; 3];
        for u in (0..1000).map(|number| (f64::from(number) + 0.5) / 1000.0) {
            pick(&[0.2, 0.0, 0.8], 2, u).into_iter().for_each(|picked| counts[picked] += 1);
        }
        assert_eq!(counts, [400, 0, 1600]);
        assert_eq!(pick(&[0.3, 0.7, 0.0], 1, 0.999_999), [1]);
    }
}
