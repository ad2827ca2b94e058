//! What the samples of a row come to.

use super::belief::{Believed, RowBelief, Sampled};
use super::fleet::FleetSamples;
use super::learning::Learning;
use super::past::{RowPast, RowRepeat};
use super::shared::{Shared, SharedNumber};
use crate::math::normal_density;
use crate::model::{RowId, Study};
use crate::simulation::normal_component::effective_number;
use crate::statistics::quadrature::normal_rule;

/// One repeat of what a row says, given the fleet.
pub(super) struct RowSums {
    row_factor: [f64; 2],
    numbers: Vec<[f64; 2]>,
    answers: Vec<f64>,
    effective: f64,
}

impl RowPast {
    /// What one repeat says of the row.
    pub fn sums(&self, sampled: &mut RowRepeat, fleet: &FleetSamples, learning: &Learning) -> RowSums {
        let weights = &sampled.weights;
        let (count, width) = (weights.samples().len(), weights.lattice().len());
        let mut joint = vec![0.0; count * width];
        let (mut row_factor, mut numbers) = ([0.0; 2], vec![[0.0; 2]; self.numbers.len()]);
        // For each sample how likely the shifts of the next look are, by technique.
        let techniques = self.inspection.techniques.len();
        let nodes: Vec<ShiftNodes> = (0..techniques).map(|at| ShiftNodes::new(self, at)).collect();
        let mut shifts: Vec<Vec<f64>> = (0..count).flat_map(|_| nodes.iter().map(ShiftNodes::weights)).collect();
        let mut ln_weights = Vec::new();
        for (values, weight) in fleet.values.iter().zip(&fleet.weights).filter(|(_, weight)| **weight > 1e-9) {
            weights.ln_weights(values, &mut ln_weights);
            let own = normalised(&ln_weights);
            let prior = weights.prior(values);
            let entry = |entries: &dyn Fn(usize) -> f64| -> f64 {
                values.iter().enumerate().map(|(uncertain, t)| entries(uncertain) * t).sum()
            };
            let of_hazard = (-self.entries.row.of_hazard(values)).exp();
            let of_numbers: Vec<f64> =
                (0..numbers.len()).map(|number| entry(&|uncertain| self.entries.numbers[uncertain][number])).collect();
            let of_techniques: Vec<f64> = (0..techniques).map(|at| self.entries.row.of_technique(at, values)).collect();
            for (sample, own) in own.iter().enumerate().filter(|(_, own)| **own > 1e-9) {
                let own = weight * own;
                for (at, part) in weights.hazard_weights(sample, &prior).into_iter().enumerate() {
                    joint[sample * width + at] += own * part;
                    let factor = weights.lattice().factors[at] * of_hazard;
                    row_factor[0] += own * part * factor;
                    row_factor[1] += own * part * factor * factor;
                }
                let values = &weights.samples()[sample].values;
                for ((sums, value), of_uncertain) in numbers.iter_mut().zip(values).zip(&of_numbers) {
                    let alone = value - of_uncertain;
                    sums[0] += own * alone;
                    sums[1] += own * alone * alone;
                }
                let of_sample = shifts[sample * techniques..].iter_mut();
                for ((weights, nodes), shift) in of_sample.zip(&nodes).zip(&of_techniques) {
                    nodes.add(own, *shift, weights);
                }
            }
        }
        let of_sample: Vec<f64> = joint.chunks(width).map(|own| own.iter().sum()).collect();
        let likely = |sample: usize| -> Vec<Vec<(f64, f64)>> {
            let own = shifts[sample * techniques..].iter().zip(&nodes);
            own.map(|(weights, nodes)| nodes.normalised(weights)).collect()
        };
        let answers = self.answers(sampled, &joint, &of_sample, &likely, learning);
        RowSums {
            row_factor: mean_and_sd(row_factor),
            numbers: numbers.into_iter().map(mean_and_sd).collect(),
            answers,
            // Without anything to draw the sum over row factors is exact.
            effective: if self.numbers.is_empty() { f64::from(learning.draws) } else { effective_number(&of_sample) },
        }
    }

    /// All that is asked of the row, in one line of numbers.
    fn answers(
        &self,
        sampled: &mut RowRepeat,
        joint: &[f64],
        of_sample: &[f64],
        likely: &dyn Fn(usize) -> Vec<Vec<(f64, f64)>>,
        learning: &Learning,
    ) -> Vec<f64> {
        let RowRepeat { model, weights } = sampled;
        let width = weights.lattice().len();
        let mut sums: Vec<f64> = Vec::new();
        for (sample, share) in resampled(of_sample, learning.asked as usize) {
            let shared = Shared::of(
                &self.numbers,
                &weights.samples()[sample].values,
                self.nature.hot_spots.len(),
                self.history.looks.len(),
            );
            let answers = model.answers(&shared, &likely(sample), &self.question);
            let own = &joint[sample * width..][..width];
            let mean = |numbers: &Vec<f64>| {
                share / of_sample[sample] * own.iter().zip(numbers).map(|(weight, number)| weight * number).sum::<f64>()
            };
            let all = [&answers.cracks, &answers.lengths_mm, &answers.none].into_iter();
            let all = all.chain(&answers.none_longer).chain(&answers.none_lost).chain(&answers.called_next);
            let all = all.chain(answers.counts_next.iter().flatten());
            let means: Vec<f64> = all.map(mean).collect();
            if sums.is_empty() {
                sums = means;
            } else {
                sums.iter_mut().zip(means).for_each(|(sum, mean)| *sum += mean);
            }
        }
        sums
    }

    /// What all repeats together say.
    pub fn belief(&self, study: &Study, repeats: &[&RowSums]) -> RowBelief {
        let over = |of: &dyn Fn(&RowSums) -> f64| Sampled::over(repeats.iter().map(|sums| of(sums)));
        let (lengths, years) = (self.question.lengths_mm.len(), self.question.years.len());
        let called = 3 + lengths + years;
        let counts = called + self.question.next_outage.map_or(0, |_| self.question.techniques.len());
        let longest =
            |sums: &RowSums| longest(&self.question.lengths_mm, sums.answers[2], &sums.answers[3..3 + lengths]);
        let number = |wanted: &dyn Fn(&SharedNumber) -> Option<f64>| {
            let found = self.numbers.iter().position(|number| wanted(number).is_some());
            let known = |part: usize| {
                found.map_or(Sampled { value: 0.0, standard_error: 0.0 }, |index| {
                    let sigma = wanted(&self.numbers[index]).unwrap_or_default();
                    over(&|sums| sigma * sums.numbers[index][part])
                })
            };
            Believed { mean: known(0), sd: known(1) }
        };
        let growth = |spot: usize| {
            number(&|number| match number {
                SharedNumber::Growth { hot_spots, sigma } if hot_spots.contains(&spot) => Some(*sigma),
                _ => None,
            })
        };
        let shift = |wanted: usize| {
            number(&|number| match number {
                SharedNumber::Look { look, sigma } if *look == wanted => Some(*sigma),
                _ => None,
            })
        };
        let is_fixed = study.scatter.row_factor.fixed().is_some();
        let factor = |part: usize| {
            if is_fixed {
                Sampled { value: f64::NAN, standard_error: f64::NAN }
            } else {
                over(&|sums| sums.row_factor[part])
            }
        };
        RowBelief {
            row: RowId(self.row),
            looks: self.history.looks.iter().map(|look| (look.year, look.technique)).collect(),
            finds: self.history.finds,
            row_factor: Believed { mean: factor(0), sd: factor(1) },
            ln_growth: (0..self.nature.hot_spots.len()).map(growth).collect(),
            shifts: (0..self.history.looks.len()).map(shift).collect(),
            cracks: over(&|sums| sums.answers[0]),
            mean_length_mm: over(&|sums| sums.answers[1] / sums.answers[0]),
            p_none: over(&|sums| sums.answers[2]),
            p_none_longer: (0..lengths)
                .map(|at| (self.question.lengths_mm[at], over(&|sums| sums.answers[3 + at])))
                .collect(),
            longest_mean_mm: over(&|sums| longest(sums)[0]),
            longest_95_mm: over(&|sums| longest(sums)[1]),
            next_outage_year: self.question.next_outage.map(|outage| self.nature.calendar.years[outage]),
            p_loss: Vec::new(),
            p_loss_by_month: (0..years)
                .map(|at| (self.question.years[at], over(&|sums| 1.0 - sums.answers[3 + lengths + at])))
                .collect(),
            called_next: (called..counts).map(|at| over(&|sums| sums.answers[at])).collect(),
            counts_next: (counts..repeats[0].answers.len()).map(|at| over(&|sums| sums.answers[at]).value).collect(),
            effective_draws: repeats.iter().map(|sums| sums.effective).sum(),
        }
    }
}

/// Shifts of the next look by a technique, from which its calls are summed.
struct ShiftNodes {
    shifts: Vec<f64>,
    sigma: f64,
    /// Weights of the shifts where nothing is uncertain.
    known: Option<Vec<f64>>,
}

impl ShiftNodes {
    fn new(past: &RowPast, technique: usize) -> Self {
        /// Shifts where nothing is uncertain but the inspection.
        const SHIFTS: usize = 5;
        /// Else: so many in each standard deviation of an inspection, as far out, and at the most.
        const PER_SIGMA: f64 = 2.0;
        const REACH: f64 = 4.5;
        const MOST: f64 = 60.0;
        let sigma = past.inspection.techniques[technique].inspection_sigma;
        let uncertain = past.entries.row.techniques.iter().map(|entries| entries[technique].powi(2)).sum::<f64>();
        if uncertain == 0.0 {
            let rule = if sigma > 0.0 { normal_rule(SHIFTS) } else { vec![(0.0, 1.0)] };
            let (shifts, weights) = rule.into_iter().map(|(number, weight)| (sigma * number, weight)).unzip();
            return ShiftNodes { shifts, sigma, known: Some(weights) };
        }
        let reach = REACH * (sigma * sigma + uncertain).sqrt();
        let steps = (2.0 * reach * PER_SIGMA / sigma).ceil().min(MOST);
        let shifts = (0..=steps as u32).map(|step| 2.0 * reach * f64::from(step) / steps - reach);
        ShiftNodes { shifts: shifts.collect(), sigma: sigma.max(2.0 * reach / steps), known: None }
    }

    fn weights(&self) -> Vec<f64> {
        vec![0.0; if self.known.is_some() { 0 } else { self.shifts.len() }]
    }

    /// Adds an inspection about a shift of its technique.
    fn add(&self, weight: f64, about: f64, weights: &mut [f64]) {
        for (sum, shift) in weights.iter_mut().zip(&self.shifts) {
            *sum += weight * normal_density((shift - about) / self.sigma);
        }
    }

    fn normalised(&self, weights: &[f64]) -> Vec<(f64, f64)> {
        let weights = self.known.as_deref().unwrap_or(weights);
        let sum: f64 = weights.iter().sum();
        self.shifts.iter().zip(weights).map(|(shift, weight)| (*shift, weight / sum)).collect()
    }
}

/// Mean length of the longest crack and its 95 % point, from the chance that there is none and of none longer than some.
fn longest(lengths_mm: &[f64], none: f64, none_longer: &[f64]) -> [f64; 2] {
    const POINT: f64 = 0.95;
    let mut mean = lengths_mm[0] * (1.0 - none);
    let mut point = if none >= POINT { 0.0 } else { f64::NAN };
    for (ends, chances) in lengths_mm.windows(2).zip(none_longer.windows(2)) {
        // The chance is taken as a straight line over the logarithm of the length.
        let ln_ratio = (ends[1] / ends[0]).ln();
        let slope = (chances[1] - chances[0]) / ln_ratio;
        mean += (1.0 - chances[0]) * (ends[1] - ends[0]) - slope * (ends[1] * ln_ratio - ends[1] + ends[0]);
        if point.is_nan() && chances[1] >= POINT {
            point = ends[0] * ((POINT - chances[0]) / slope).max(0.0).exp();
        }
    }
    [mean, point]
}

/// Mean and standard deviation, from the means of a number and of its square.
fn mean_and_sd([mean, square]: [f64; 2]) -> [f64; 2] {
    [mean, (square - mean * mean).max(0.0).sqrt()]
}

/// Weights whose logarithms are given; they add up to 1.
pub(super) fn normalised(ln_weights: &[f64]) -> Vec<f64> {
    let most = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = ln_weights.iter().map(|ln| (ln - most).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|weight| weight / sum).collect()
}

/// So many of some weighted things, evenly, each with its share; all of them if they are no more.
fn resampled(weights: &[f64], count: usize) -> Vec<(usize, f64)> {
    if weights.len() <= count {
        return weights.iter().copied().enumerate().filter(|(_, weight)| *weight > 0.0).collect();
    }
    let mut chosen: Vec<(usize, f64)> = Vec::new();
    let (mut passed, mut wanted) = (0.0, 0.5);
    for (index, weight) in weights.iter().enumerate() {
        passed += weight * count as f64;
        while wanted < passed && wanted < count as f64 {
            match chosen.last_mut() {
                Some((last, share)) if *last == index => *share += 1.0 / count as f64,
                _ => chosen.push((index, 1.0 / count as f64)),
            }
            wanted += 1.0;
        }
    }
    chosen
}
