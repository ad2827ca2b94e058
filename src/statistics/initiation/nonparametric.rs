//! The most likely distribution of any shape.

use super::observation::Observations;
use crate::statistics::newton::inverse;
use nalgebra::{DMatrix, DVector};

/// A stretch of time with its share of the cracks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mass {
    /// Beginning, not in it.
    pub from: f64,
    /// End, in it; the beginning again for a moment that is known, infinite for cracks beyond all looks.
    pub to: f64,
    /// Share of the cracks that begin in it; where in it, nothing tells.
    pub mass: f64,
}

/// The distribution that makes the observations most likely, of all there are (Turnbull, Journal of the Royal Statistical
/// Society B 38 (1976) 290-295); for one look at each blade, that of pooled adjacent violators.
#[derive(Debug, Clone, PartialEq)]
pub struct Nonparametric {
    /// Stretches with cracks, in the order of time.
    pub masses: Vec<Mass>,
    /// The log-likelihood, without what known moments add to it: there is no density.
    pub log_likelihood: f64,
}

impl Nonparametric {
    /// Of observations, whatever their covariates and rows.
    ///
    /// `None` where the search does not arrive.
    pub fn of(observations: &Observations) -> Option<Self> {
        let places = Places::of(observations);
        let rows: Vec<Vec<f64>> = observations.list.iter().map(|one| places.row(one)).collect();
        let counts: Vec<f64> = observations.list.iter().map(|one| one.count).collect();
        // Neighbours that nobody tells apart are one.
        let mut runs: Vec<(usize, usize)> = vec![(0, 0)];
        for place in 1..places.count() {
            match runs.last_mut() {
                Some(run) if rows.iter().all(|row| row[place] == row[run.0]) => run.1 = place,
                _ => runs.push((place, place)),
            }
        }
        // Beside one that nobody favours to its left neighbour, or to its right one, that neighbour is no worse.
        let favoured = |run: usize, other: usize| rows.iter().any(|row| row[runs[run].0] > row[runs[other].0]);
        let kept: Vec<usize> = (0..runs.len())
            .filter(|run| (*run == 0 || favoured(*run, run - 1)) && (run + 1 == runs.len() || favoured(*run, run + 1)))
            .collect();
        let chances = DMatrix::from_fn(rows.len(), kept.len(), |one, column| rows[one][runs[kept[column]].0]);
        let (shares, log_likelihood) = most_likely(&chances, &counts)?;
        let shares = kept.iter().zip(&shares).filter(|(_, share)| **share > 0.0);
        let masses = shares.map(|(run, share)| places.stretch(runs[*run], *share)).collect();
        Some(Nonparametric { masses, log_likelihood })
    }

    /// Fraction cracked by a time, at least and at most: they differ within a stretch, where nothing tells.
    pub fn fraction_at(&self, time: f64) -> (f64, f64) {
        let sum = |which: &dyn Fn(&Mass) -> bool| -> f64 {
            self.masses.iter().filter(|one| which(one)).map(|one| one.mass).sum()
        };
        let least = sum(&|one| one.to <= time);
        (least, least + sum(&|one| one.from < time && one.to > time))
    }
}

/// Moments at which a step function can step, and the stretches between them, in the order of time.
struct Places {
    times: Vec<f64>,
}

impl Places {
    fn of(observations: &Observations) -> Self {
        let mut times: Vec<f64> = observations.list.iter().flat_map(|one| one.times().collect::<Vec<_>>()).collect();
        times.push(0.0);
        times.sort_by(f64::total_cmp);
        times.dedup();
        Places { times }
    }

    /// Places 2 i are the times, 2 i + 1 the stretches after them.
    fn count(&self) -> usize {
        2 * self.times.len()
    }

    /// Chances of what was seen, place by place.
    fn row(&self, one: &super::observation::Observation) -> Vec<f64> {
        let at = |time: f64| 2 * self.times.partition_point(|known| *known < time);
        let mut row = vec![0.0; self.count()];
        for cell in &one.cells {
            // A stretch has its end in it, and not its beginning.
            let from = if cell.to > cell.from { at(cell.from) + 1 } else { at(cell.from) };
            row[from..=at(cell.to)].fill(cell.coefficient);
        }
        row[at(one.last) + 1..].fill(one.never);
        row
    }

    fn stretch(&self, (first, last): (usize, usize), mass: f64) -> Mass {
        let to = self.times.get(last.div_ceil(2)).copied().unwrap_or(f64::INFINITY);
        Mass { from: self.times[first / 2], to, mass }
    }
}

/// Shares of the columns that make the rows most likely, and the log-likelihood.
///
/// Newton steps among the columns that have a share; one that would go below nothing is left out, and one with which the
/// likelihood rises is let in, until there is none.
fn most_likely(chances: &DMatrix<f64>, counts: &[f64]) -> Option<(Vec<f64>, f64)> {
    const MOST_STEPS: usize = 2000;
    /// Of the log-likelihood, for each blade: what is left to gain.
    const GAIN: f64 = 1e-11;
    let columns = chances.ncols();
    let total: f64 = counts.iter().sum();
    let value = |shares: &DVector<f64>| -> f64 {
        let rows = chances * shares;
        rows.iter().zip(counts).map(|(row, count)| count * row.ln()).sum()
    };
    let mut shares = DVector::from_element(columns, 1.0 / columns as f64);
    let mut here = value(&shares);
    for _ in 0..MOST_STEPS {
        let rows = chances * &shares;
        let weights = DVector::from_iterator(counts.len(), rows.iter().zip(counts).map(|(row, count)| count / row));
        let slopes = chances.tr_mul(&weights);
        // At the top no column's slope is above the number of blades, and that bounds what is left to gain.
        let steepest = (0..columns).max_by(|a, b| slopes[*a].total_cmp(&slopes[*b]))?;
        if slopes[steepest] - total < GAIN * total {
            let sum = shares.sum();
            return Some((shares.iter().map(|share| share / sum).collect(), here));
        }
        // One step of expectation and maximisation never falls; it moves a little of all to where it is wanted.
        let mut next = shares.component_mul(&slopes) / total;
        next[steepest] = next[steepest].max(1e-6);
        next /= next.sum();
        if let Some(newton) = newton(chances, counts, &next) {
            let (plain, better) = (value(&next), value(&newton));
            if better >= plain {
                next = newton;
            }
        }
        (here, shares) = (value(&next), next);
    }
    None
}

/// A Newton step among the columns that have a share, which keeps their sum; as far as none goes below nothing.
fn newton(chances: &DMatrix<f64>, counts: &[f64], shares: &DVector<f64>) -> Option<DVector<f64>> {
    let used: Vec<usize> = (0..shares.len()).filter(|column| shares[*column] > 0.0).collect();
    let rows = chances * shares;
    let part = DMatrix::from_fn(chances.nrows(), used.len(), |row, column| {
        counts[row].sqrt() * chances[(row, used[column])] / rows[row]
    });
    let slopes = DVector::from_fn(used.len(), |column, _| {
        (0..chances.nrows()).map(|row| counts[row] * chances[(row, used[column])] / rows[row]).sum::<f64>()
    });
    let mut curvature = part.tr_mul(&part);
    let ridge = 1e-10 * curvature.diagonal().amax();
    for index in 0..used.len() {
        curvature[(index, index)] += ridge;
    }
    let inverse = inverse(&curvature)?;
    let (toward, level) = (&inverse * &slopes, &inverse * DVector::from_element(used.len(), 1.0));
    let step = &toward - &level * (toward.sum() / level.sum());
    let reach = |index: usize| if step[index] < 0.0 { shares[used[index]] / -step[index] } else { f64::INFINITY };
    let nearest = (0..used.len()).min_by(|a, b| reach(*a).total_cmp(&reach(*b)))?;
    let length = reach(nearest).min(1.0);
    let mut next = shares.clone();
    for (index, column) in used.iter().enumerate() {
        next[*column] = (next[*column] + length * step[index]).max(0.0);
    }
    if reach(nearest) <= 1.0 {
        next[used[nearest]] = 0.0;
    }
    Some(next)
}
