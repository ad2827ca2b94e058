//! What the fit would be of other looks: each left out in turn, and all drawn anew.

use super::fit::Fit;
use super::likelihood::SIZE;
use super::problem::Constraint;
use super::separation::{Verdict, verdict};
use crate::error::{Error, Result};
use crate::random::{Key, Stream};
use crate::statistics::bound::{Bounds, check_confidence, check_pod};

/// What one look does to the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Influence {
    /// Size of the crack looked at, in mm.
    pub size_mm: f64,
    /// Whether it was called.
    pub called: bool,
    /// The size that is found with the probability asked for when this look is left out, in mm; `None` where the
    /// other looks carry no curve, or one that does not reach it.
    pub without_mm: Option<f64>,
}

/// Sizes from looks drawn anew, with replacement, from those there are.
#[derive(Debug, Clone, PartialEq)]
pub struct Resampled {
    /// The sizes in mm that are found with the probability asked for, in rising order.
    pub sizes_mm: Vec<f64>,
    /// Resamples that carry no curve, or one that does not reach the probability.
    pub without: usize,
}

impl Resampled {
    /// Percentile bounds, each one-sided at the confidence.
    ///
    /// A resample without a size speaks for neither side and so counts on both: the bounds are never the narrower
    /// for it, and `None` where too many have none.
    ///
    /// # Errors
    /// Refuses a confidence out of range.
    pub fn bounds(&self, confidence: f64) -> Result<Bounds> {
        check_confidence(confidence)?;
        let all = (self.sizes_mm.len() + self.without) as f64;
        // So many resamples lie beyond the bound.
        let beyond = ((1.0 - confidence) * all).floor() as usize;
        let place = beyond.checked_sub(self.without);
        let low = place.and_then(|place| self.sizes_mm.get(place)).copied();
        let high = place.and_then(|place| self.sizes_mm.iter().rev().nth(place)).copied();
        Ok(Bounds { low, high })
    }
}

impl Fit {
    /// The size found with a probability when each look is left out in turn.
    ///
    /// # Errors
    /// Refuses a probability out of range.
    pub fn influence(&self, pod: f64) -> Result<Vec<Influence>> {
        check_pod(pod)?;
        let mut weights = self.problem.weights();
        let mut influence = Vec::with_capacity(weights.len());
        for (index, look) in self.looks.cracked.iter().enumerate() {
            weights[index] = 0.0;
            let without_mm = self.refitted(&weights, pod);
            weights[index] = 1.0;
            influence.push(Influence { size_mm: look.size_mm, called: look.called, without_mm });
        }
        Ok(influence)
    }

    /// Draws the looks anew, with replacement, and fits each resample: the bootstrap, as a check of the bounds.
    ///
    /// A resample that carries no curve is counted, not an error. The same seed draws the same resamples.
    ///
    /// # Errors
    /// Refuses a probability out of range and fewer than 20 resamples.
    pub fn resampled(&self, pod: f64, resamples: usize, seed: u64) -> Result<Resampled> {
        /// A 95 % bound needs one in twenty.
        const FEWEST: usize = 20;
        check_pod(pod)?;
        if resamples < FEWEST {
            let rule = format!("must be at least {FEWEST}");
            return Err(Error::argument("resamples", resamples, &rule, "2000 are usual"));
        }
        let key = Key::from_seed(seed).named("hit-miss resamples");
        let count = self.looks.cracked.len();
        let mut weights = vec![0.0; count];
        let mut sizes_mm = Vec::with_capacity(resamples);
        for resample in 0..resamples {
            let mut stream = Stream::new(key.child(resample as u64));
            weights.fill(0.0);
            (0..count).for_each(|_| weights[(stream.uniform() * count as f64) as usize] += 1.0);
            sizes_mm.extend(self.refitted(&weights, pod));
        }
        sizes_mm.sort_by(f64::total_cmp);
        Ok(Resampled { without: resamples - sizes_mm.len(), sizes_mm })
    }

    /// The size found with a probability by the curve of looks that count by weight.
    fn refitted(&self, weights: &[f64], pod: f64) -> Option<f64> {
        if !self.model().penalised && verdict(&self.problem.design, weights) != Verdict::Overlap {
            return None;
        }
        let best = self.problem.best(weights, &self.best.theta, &Constraint::None)?;
        let rises = best.theta[SIZE] > 0.0;
        let place = self.place_on(&best, pod).filter(|_| rises)?;
        Some(self.model().scale.size_mm(place))
    }
}
