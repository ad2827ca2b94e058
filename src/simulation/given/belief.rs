//! What is believed of a fleet given its records.

use super::fleet::FleetSamples;
use crate::error::{Error, Result};
use crate::model::{RowId, Study};
use crate::simulation::estimate::Estimate;
use crate::simulation::normal_component::effective_number;

/// A number that is known but for sampling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sampled {
    /// The number.
    pub value: f64,
    /// Its standard error, from the repeats.
    pub standard_error: f64,
}

/// Mean and standard deviation of something that is not known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Believed {
    /// Mean.
    pub mean: Sampled,
    /// Standard deviation.
    pub sd: Sampled,
}

/// What is believed of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct RowBelief {
    /// The row.
    pub row: RowId,
    /// Its looks before the study: year and technique, by number.
    pub looks: Vec<(f64, usize)>,
    /// Blades that were called then.
    pub finds: usize,
    /// Row factor; not-a-number where it is fixed.
    pub row_factor: Believed,
    /// Logarithm of the row's factor on growth, by hot spot, beside what is uncertain.
    pub ln_growth: Vec<Believed>,
    /// Shift of ln q50 by the inspection at each look, beside what is uncertain.
    pub shifts: Vec<Believed>,
    /// Expected cracks.
    pub cracks: Sampled,
    /// Mean length of these, in mm.
    pub mean_length_mm: Sampled,
    /// Chance that there is none.
    pub p_none: Sampled,
    /// Lengths in mm, and the chance that no crack is longer.
    pub p_none_longer: Vec<(f64, Sampled)>,
    /// Mean length of the longest crack in mm, 0 where there is none; and its 95 % point.
    pub longest_mean_mm: Sampled,
    /// See there.
    pub longest_95_mm: Sampled,
    /// The next outage, if there is one.
    pub next_outage_year: Option<f64>,
    /// Moments, years apart and the next outage, and the chance that a blade is lost until then if nobody looks.
    pub p_loss: Vec<(f64, Estimate)>,
    /// The same month by month, from sums over possible cracks: coarse where losses are rare.
    pub p_loss_by_month: Vec<(f64, Sampled)>,
    /// Blades that each technique would call at the next outage; none without an outage.
    pub called_next: Vec<Sampled>,
    /// Chances of numbers of blades that the techniques asked for call then, one technique after another.
    pub(super) counts_next: Vec<f64>,
    /// Effective number of draws.
    pub effective_draws: f64,
}

/// What is believed of a fleet.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// Logarithm of the probability of the records, and that no blade was lost before the study starts.
    pub ln_evidence: Sampled,
    /// What is uncertain, in the order of the study: logarithm of each factor.
    pub uncertain: Vec<Believed>,
    /// Correlations of these.
    pub correlations: Vec<Vec<f64>>,
    /// Rows with records.
    pub rows: Vec<RowBelief>,
    /// Effective number of draws of what is uncertain; that of draws where nothing is.
    pub effective_draws: f64,
}

impl Sampled {
    /// The mean over repeats.
    pub(super) fn over(repeats: impl Iterator<Item = f64> + Clone) -> Self {
        let count = repeats.clone().count() as f64;
        let value = repeats.clone().sum::<f64>() / count;
        let square: f64 = repeats.map(|one| (one - value).powi(2)).sum();
        Sampled { value, standard_error: (square / (count * (count - 1.0))).sqrt() }
    }
}

/// Draws that count in full, below which nothing is said.
const FEWEST_DRAWS: f64 = 50.0;

impl Belief {
    /// Refuses answers of too few draws.
    pub(super) fn refuse_if_thin(&self, study: &Study) -> Result<()> {
        let of_rows = self.rows.iter().map(|row| (format!("rows.{}", study.row(row.row).id), row.effective_draws));
        let all = of_rows.chain([("what is uncertain".to_owned(), self.effective_draws)]);
        let Some((what, draws)) = all.min_by(|one, other| one.1.total_cmp(&other.1)) else { return Ok(()) };
        if draws >= FEWEST_DRAWS {
            return Ok(());
        }
        Err(Error::data(
            "thin",
            format!(
                "{what}: the records leave {draws:.0} draws that count, of which at least {FEWEST_DRAWS} are needed"
            ),
            "what is found must not lie far out of what the study lets expect, or the draws must be many",
            "ask for more draws; if that does not help, look which input the finds contradict",
        ))
    }

    pub(super) fn of(study: &Study, fleets: &[FleetSamples], rows: Vec<RowBelief>) -> Self {
        let size = study.uncertain.len();
        let moment = |fleet: &FleetSamples, of: &dyn Fn(&[f64]) -> f64| {
            fleet.values.iter().zip(&fleet.weights).map(|(values, weight)| weight * of(values)).sum::<f64>()
        };
        let mean = |fleet: &FleetSamples, at: usize| moment(fleet, &|values| values[at]);
        let covariance = |fleet: &FleetSamples, one: usize, other: usize| {
            moment(fleet, &|values| values[one] * values[other]) - mean(fleet, one) * mean(fleet, other)
        };
        let over = |of: &dyn Fn(&FleetSamples) -> f64| Sampled::over(fleets.iter().map(of));
        let believed = |at: usize| {
            let sigma = study.uncertain[at].sigma_log;
            Believed {
                mean: over(&|fleet| sigma * mean(fleet, at)),
                sd: over(&|fleet| sigma * covariance(fleet, at, at).max(0.0).sqrt()),
            }
        };
        let correlation = |one: usize, other: usize| {
            let own = |at: usize| over(&|fleet| covariance(fleet, at, at)).value;
            over(&|fleet| covariance(fleet, one, other)).value / (own(one) * own(other)).sqrt()
        };
        let effective = || fleets.iter().map(|fleet| effective_number(&fleet.weights)).sum();
        let of_rows = rows.iter().map(|row| row.effective_draws).fold(f64::INFINITY, f64::min);
        Belief {
            ln_evidence: over(&|fleet| fleet.ln_chance),
            uncertain: (0..size).map(believed).collect(),
            correlations: (0..size).map(|one| (0..size).map(|other| correlation(one, other)).collect()).collect(),
            rows,
            effective_draws: if size > 0 { effective() } else { of_rows },
        }
    }
}
