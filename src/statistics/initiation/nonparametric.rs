//! The most likely distribution of any shape.

use super::observation::{Observation, Observations};
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
    /// `None` where there are too many that differ for a computer's memory, or the search does not arrive.
    pub fn of(observations: &Observations) -> Option<Self> {
        /// Chances that are kept, of 8 bytes each.
        const MOST_CHANCES: usize = 20_000_000;
        let places = Places::of(observations);
        let steps: Vec<Steps> = observations.list.iter().map(|one| places.steps(one)).collect();
        // Where somebody's chance rises, or falls, from the place before. A run of places that nobody tells apart is one;
        // beside one to which nobody's rises, or after which nobody's falls, a neighbour is no worse.
        let (mut rises, mut falls) = (vec![false; places.count()], vec![false; places.count()]);
        for pair in steps.iter().flat_map(|steps| steps.windows(2)) {
            rises[pair[1].0] |= pair[1].1 > pair[0].1;
            falls[pair[1].0] |= pair[1].1 < pair[0].1;
        }
        let begins: Vec<usize> = (0..places.count()).filter(|at| *at == 0 || rises[*at] || falls[*at]).collect();
        let runs = begins.iter().enumerate().map(|(at, begin)| (*begin, begins.get(at + 1).map(|next| next - 1)));
        let kept: Vec<(usize, usize)> = runs
            .filter(|(begin, end)| (*begin == 0 || rises[*begin]) && end.is_none_or(|end| falls[end + 1]))
            .map(|(begin, end)| (begin, end.unwrap_or(places.count() - 1)))
            .collect();
        if steps.len().saturating_mul(kept.len()) > MOST_CHANCES {
            return None;
        }
        let chance = |steps: &Steps, place: usize| steps[steps.partition_point(|step| step.0 <= place) - 1].1;
        let chances = DMatrix::from_fn(steps.len(), kept.len(), |one, column| chance(&steps[one], kept[column].0));
        let counts: Vec<f64> = observations.list.iter().map(|one| one.count).collect();
        let (shares, log_likelihood) = most_likely(&chances, &counts)?;
        let shares = kept.iter().zip(&shares).filter(|(_, share)| **share > 0.0);
        let masses = shares.map(|(run, share)| places.stretch(*run, *share)).collect();
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

/// Places with the chances that hold from each of them on.
type Steps = Vec<(usize, f64)>;

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

    /// Chances of what was seen: the places from which each holds.
    fn steps(&self, one: &Observation) -> Steps {
        let at = |time: f64| 2 * self.times.partition_point(|known| *known < time);
        let mut steps = vec![(0, 0.0)];
        for cell in &one.cells {
            // A stretch has its end in it, and not its beginning.
            let from = if cell.to > cell.from { at(cell.from) + 1 } else { at(cell.from) };
            steps.extend([(from, cell.coefficient), (at(cell.to) + 1, 0.0)]);
        }
        steps.push((at(one.last) + 1, one.never));
        // Where two begin at one place the later one holds.
        steps.reverse();
        steps.dedup_by_key(|step| step.0);
        steps.reverse();
        steps
    }

    fn stretch(&self, (first, last): (usize, usize), mass: f64) -> Mass {
        let to = self.times.get(last.div_ceil(2)).copied().unwrap_or(f64::INFINITY);
        Mass { from: self.times[first / 2], to, mass }
    }
}

/// Shares of the columns that make the rows most likely, and the log-likelihood.
///
/// Newton steps among the columns that have a share; one that would go below nothing is left out, and those with which the
/// likelihood rises most are let in, until there is none.
fn most_likely(chances: &DMatrix<f64>, counts: &[f64]) -> Option<(Vec<f64>, f64)> {
    /// Steps of expectation and maximisation, which show where the shares are.
    const FIRST_STEPS: usize = 20;
    const MOST_STEPS: usize = 1000;
    /// Of the log-likelihood, for each blade: what is left to gain.
    const GAIN: f64 = 1e-11;
    let columns = chances.ncols();
    let total: f64 = counts.iter().sum();
    let value = |shares: &DVector<f64>| -> f64 {
        (chances * shares).iter().zip(counts).map(|(row, count)| count * row.ln()).sum()
    };
    let slopes = |shares: &DVector<f64>| {
        let rows = chances * shares;
        chances.tr_mul(&DVector::from_iterator(counts.len(), rows.iter().zip(counts).map(|(row, count)| count / row)))
    };
    let mut shares = DVector::from_element(columns, 1.0 / columns as f64);
    for _ in 0..FIRST_STEPS {
        shares = shares.component_mul(&slopes(&shares)) / total;
    }
    shares = worth_keeping(chances, &shares);
    for _ in 0..MOST_STEPS {
        let slopes = slopes(&shares);
        // At the top no column's slope is above the number of blades, and that bounds what is left to gain.
        if slopes.max() - total < GAIN * total {
            let sum = shares.sum();
            return Some((shares.iter().map(|share| share / sum).collect(), value(&shares)));
        }
        // One step of expectation and maximisation never falls.
        let mut next = shares.component_mul(&slopes) / total;
        let beside = |column: usize| slopes.get(column).copied().unwrap_or(0.0);
        for column in (0..columns).filter(|column| shares[*column] == 0.0 && slopes[*column] > total) {
            if slopes[column] >= beside(column.wrapping_sub(1)) && slopes[column] >= beside(column + 1) {
                next[column] = 1e-3 / columns as f64;
            }
        }
        next /= next.sum();
        if let Some(step) = newton(chances, counts, &next) {
            let here = value(&next);
            let mut tries = (0..20).map(|halvings| &next + &step * 0.5_f64.powi(halvings));
            if let Some(better) = tries.find(|shares| value(shares) > here) {
                next = better.map(|share| if share > 1e-15 { share } else { 0.0 });
            }
        }
        shares = next;
    }
    None
}

/// The columns whose share is above those beside them, and one at least for each row: few, as at the top.
fn worth_keeping(chances: &DMatrix<f64>, shares: &DVector<f64>) -> DVector<f64> {
    let beside = |column: usize| shares.get(column).copied().unwrap_or(0.0);
    let is_peak =
        |column: usize| shares[column] >= beside(column.wrapping_sub(1)) && shares[column] >= beside(column + 1);
    let mut kept = DVector::from_fn(shares.len(), |column, _| if is_peak(column) { shares[column] } else { 0.0 });
    for row in chances.row_iter() {
        if !(row.tr_dot(&kept) > 0.0) {
            let chance = |column: &usize| row[*column] * shares[*column];
            if let Some(best) = (0..shares.len()).max_by(|a, b| chance(a).total_cmp(&chance(b))) {
                kept[best] = shares[best];
            }
        }
    }
    &kept / kept.sum()
}

/// A Newton step among the columns that have a share, which keeps their sum; as far as none goes below nothing.
fn newton(chances: &DMatrix<f64>, counts: &[f64], shares: &DVector<f64>) -> Option<DVector<f64>> {
    let used: Vec<usize> = (0..shares.len()).filter(|column| shares[*column] > 0.0).collect();
    let rows = chances * shares;
    let part = DMatrix::from_fn(chances.nrows(), used.len(), |row, column| {
        counts[row].sqrt() * chances[(row, used[column])] / rows[row]
    });
    let slopes = part.tr_mul(&DVector::from_iterator(counts.len(), counts.iter().map(|count| count.sqrt())));
    let mut curvature = part.tr_mul(&part);
    let ridge = 1e-10 * curvature.diagonal().amax();
    for index in 0..used.len() {
        curvature[(index, index)] += ridge;
    }
    let inverse = inverse(&curvature)?;
    let (toward, level) = (&inverse * &slopes, &inverse * DVector::from_element(used.len(), 1.0));
    let step = &toward - &level * (toward.sum() / level.sum());
    let reach = |index: usize| if step[index] < 0.0 { shares[used[index]] / -step[index] } else { f64::INFINITY };
    let length = (0..used.len()).map(reach).fold(1.0, f64::min);
    let mut whole = DVector::zeros(shares.len());
    for (index, column) in used.iter().enumerate() {
        whole[*column] = length * step[index];
    }
    Some(whole)
}
