//! What grown cracks do in one row: how long they take, and whether their blades outlast the next outages.

use super::super::estimate::Estimate;
use super::{GrownCrack, LEVEL};
use crate::model::Study;
use crate::statistics::interval;

/// Outages for which the chance of a loss before them is given: the next, and the one after.
const OUTAGES: usize = 2;

/// Cracks of the hot spot that was asked about, in one row.
#[derive(Debug, Clone, PartialEq)]
pub struct GrownRow {
    /// Index of the row.
    pub row: usize,
    /// Years to the loss: the time that 5 % of the cracks do not take, and the median.
    pub years_to_loss: [Estimate; 2],
    /// Share of the cracks that are past their limit where they begin.
    pub p_past_limit: f64,
    /// Losses before the next outage after the start of the study and before the one after that; fewer where the study
    /// has fewer.
    pub before_outages: Vec<LostBefore>,
}

/// Chance that the blade of a crack that is there at the start of the study is lost before an outage, if nobody looks at
/// it and nothing is done before.
///
/// A crack that is there has not met its limit: those past it where they begin are left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LostBefore {
    /// Year of the outage.
    pub year: f64,
    /// Chance, with the exact interval of a proportion; not-a-number where every crack is past its limit.
    pub chance: Estimate,
}

impl GrownRow {
    pub(super) fn new(study: &Study, row: usize, cracks: &[GrownCrack]) -> Self {
        let outages = study.units[study.rows[row].unit].outages.years.iter();
        let there = || cracks.iter().filter(|crack| crack.years_to_loss > 0.0);
        let count = there().count() as f64;
        let before = |&year: &f64| {
            let is_lost = |crack: &&GrownCrack| study.start_year + crack.years_to_loss < year;
            let lost = there().filter(is_lost).count() as f64;
            let none = f64::NAN;
            let (low, high) = if count > 0.0 { interval::exact_proportion(lost, count, LEVEL) } else { (none, none) };
            let value = lost / count;
            let standard_error = if lost > 0.0 { (value * (1.0 - value) / count).sqrt() } else { none };
            LostBefore { year, chance: Estimate { value, standard_error, low, high, events: lost } }
        };
        GrownRow {
            row,
            years_to_loss: [0.05, 0.5].map(|probability| quantile(cracks, probability, |crack| crack.years_to_loss)),
            p_past_limit: 1.0 - count / cracks.len() as f64,
            before_outages: outages.filter(|&&year| year > study.start_year).take(OUTAGES).map(before).collect(),
        }
    }
}

/// See [`super::GrownCracks::quantile`].
pub(super) fn quantile(cracks: &[GrownCrack], probability: f64, of: impl Fn(&GrownCrack) -> f64) -> Estimate {
    let mut numbers: Vec<f64> = cracks.iter().map(of).filter(|number| !number.is_nan()).collect();
    numbers.sort_by(f64::total_cmp);
    let count = numbers.len();
    let at = |rank: f64| {
        let rank = (rank.max(0.0) as usize).min(count.saturating_sub(1));
        numbers.get(rank).copied().unwrap_or(f64::NAN)
    };
    // The number below the quantile is binomial; its normal quantiles, outwards by one rank.
    let mean = count as f64 * probability;
    let reach = crate::math::normal_quantile(0.5 + 0.5 * LEVEL) * (mean * (1.0 - probability)).sqrt() + 1.0;
    Estimate {
        value: at((mean - 1e-9).ceil() - 1.0),
        standard_error: f64::NAN,
        low: at((mean - reach).floor()),
        high: at((mean + reach).ceil()),
        events: f64::NAN,
    }
}
