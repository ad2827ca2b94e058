//! Whether finds of a series of periods came at one rate, at two with a change between, or as the duty did.
//!
//! A rate has a gamma law before the counts are seen, and a gamma law after; counts are Poisson. What speaks for one account
//! against another is the ratio of the chances that they give the counts, averaged over their rates: the Bayes factor. It
//! hangs on the law before, and so on the unit of exposure: rates should be of the order of the law's mean.

use crate::error::{Error, Result};
use serde::Serialize;
use statrs::function::gamma::ln_gamma;

/// A rate that is known to a gamma law.
///
/// ```
/// use serrata::statistics::rate_change::GammaRate;
///
/// let before = GammaRate { shape: 3.0, rate: 3.0 };
/// let after = [(0, 1.0), (2, 2.0), (0, 0.5), (1, 1.5)].iter().fold(before, |rate, (count, exposure)| rate.seen(*count, *exposure));
/// assert_eq!(after.mean(), 0.75);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GammaRate {
    /// Its shape: of finds, as many as it is worth, and one over the squared variation.
    pub shape: f64,
    /// Its rate: the exposure it is worth.
    pub rate: f64,
}

impl GammaRate {
    /// The same after a count over an exposure.
    #[must_use]
    pub fn seen(self, count: u64, exposure: f64) -> Self {
        GammaRate { shape: self.shape + count as f64, rate: self.rate + exposure }
    }

    /// Mean of the rate.
    pub fn mean(self) -> f64 {
        self.shape / self.rate
    }

    /// Chance of no find over an exposure.
    pub fn chance_of_none(self, exposure: f64) -> f64 {
        (-self.shape * (exposure / self.rate).ln_1p()).exp()
    }

    /// Logarithm of the chance of counts over their exposures.
    pub fn log_evidence(self, periods: &[Period]) -> f64 {
        let after = periods.iter().fold(self, |rate, period| rate.seen(period.count, period.exposure));
        let log_norm = |rate: GammaRate| ln_gamma(rate.shape) - rate.shape * rate.rate.ln();
        // A count over no exposure is 0, and certain.
        let own = |period: &Period| match period.count {
            0 => 0.0,
            count => count as f64 * period.exposure.ln() - ln_gamma(count as f64 + 1.0),
        };
        log_norm(after) - log_norm(self) + periods.iter().map(own).sum::<f64>()
    }
}

/// Finds of a period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Period {
    /// How many.
    pub count: u64,
    /// Over what: years, starts, hours, looks, or products of these.
    pub exposure: f64,
}

/// A change of the rate at one place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Periods before it.
    pub after: usize,
    /// Logarithm of the chance of the counts, were it there.
    pub log_evidence: f64,
    /// Chance that it is there, if there is one and all places are as likely.
    pub posterior: f64,
    /// Mean of the rate before it, after the counts.
    pub rate_before: f64,
    /// Mean of the rate after it.
    pub rate_after: f64,
}

/// What counts say of a change of their rate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RateChange {
    /// Law of each rate before the counts are seen.
    pub prior: GammaRate,
    /// Logarithm of the chance of the counts at one rate.
    pub one_rate: f64,
    /// Mean of that rate, after the counts.
    pub rate: f64,
    /// The same with a change at an unknown place, all places being as likely.
    pub changed: f64,
    /// The same at one rate for each unit of duty; `None` where no duty was stated.
    pub duty: Option<f64>,
    /// For a change against one rate: logarithm of the Bayes factor.
    pub log_bayes_factor: f64,
    /// For a change against the duty.
    pub log_bayes_factor_to_duty: Option<f64>,
    /// Changes by their place.
    pub changes: Vec<Change>,
}

/// Sets a change of the rate at an unknown place against one rate, and against a rate that follows the duty.
///
/// `duty` has one ratio for each period, of which only the proportions count: they are taken over their mean.
///
/// # Errors
/// Refuses fewer than two periods, exposures that are not above 0 and finite, a law before that is not of two numbers
/// above 0, and duties that are another number or not above 0.
///
/// ```
/// use serrata::statistics::rate_change::{GammaRate, Period, rate_change};
///
/// let periods = [0, 1, 0, 7, 9, 6].map(|count| Period { count, exposure: 1.0 });
/// let found = rate_change(&periods, GammaRate { shape: 1.0, rate: 1.0 }, None)?;
/// let likeliest = found.changes.iter().max_by(|a, b| a.posterior.total_cmp(&b.posterior)).unwrap();
/// assert!(found.log_bayes_factor > 3.0 && likeliest.after == 3);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn rate_change(periods: &[Period], prior: GammaRate, duty: Option<&[f64]>) -> Result<RateChange> {
    check(periods, prior, duty)?;
    let one_rate = prior.log_evidence(periods);
    let after_all = |periods: &[Period]| periods.iter().fold(prior, |rate, one| rate.seen(one.count, one.exposure));
    let logs: Vec<f64> = (1..periods.len())
        .map(|after| prior.log_evidence(&periods[..after]) + prior.log_evidence(&periods[after..]))
        .collect();
    let highest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|log| (log - highest).exp()).sum();
    let changed = highest + (sum / logs.len() as f64).ln();
    let changes = logs.iter().enumerate().map(|(place, log)| Change {
        after: place + 1,
        log_evidence: *log,
        posterior: (log - highest).exp() / sum,
        rate_before: after_all(&periods[..=place]).mean(),
        rate_after: after_all(&periods[place + 1..]).mean(),
    });
    let duty = duty.map(|duty| {
        let exposure: f64 = periods.iter().map(|period| period.exposure).sum();
        let mean = periods.iter().zip(duty).map(|(period, duty)| period.exposure * duty).sum::<f64>() / exposure;
        let at_duty = |(period, duty): (&Period, &f64)| Period { exposure: period.exposure * duty / mean, ..*period };
        prior.log_evidence(&periods.iter().zip(duty).map(at_duty).collect::<Vec<_>>())
    });
    Ok(RateChange {
        prior,
        one_rate,
        rate: after_all(periods).mean(),
        changed,
        duty,
        log_bayes_factor: changed - one_rate,
        log_bayes_factor_to_duty: duty.map(|duty| changed - duty),
        changes: changes.collect(),
    })
}

fn check(periods: &[Period], prior: GammaRate, duty: Option<&[f64]>) -> Result<()> {
    let positive = |x: f64| x > 0.0 && x.is_finite();
    if periods.len() < 2 {
        let what = format!("{} periods", periods.len());
        return Err(Error::argument("counts", what, "a change needs two periods at least", "give counts of more"));
    }
    if let Some(place) = periods.iter().position(|period| !positive(period.exposure)) {
        let name = format!("exposure of period {}", place + 1);
        let remedy = "leave out periods without exposure";
        return Err(Error::argument(&name, periods[place].exposure, "must be finite and above 0", remedy));
    }
    if !positive(prior.shape) || !positive(prior.rate) {
        let shown = format!("({}, {})", prior.shape, prior.rate);
        return Err(Error::argument("prior", shown, "must be two finite numbers above 0", "(1, 1) is usual"));
    }
    match duty {
        Some(duty) if duty.len() != periods.len() => {
            let rule = format!("must be as many as counts, of which there are {}", periods.len());
            Err(Error::argument("duty", format!("{} values", duty.len()), &rule, "give one for every period"))
        }
        Some(duty) if !duty.iter().all(|one| positive(*one)) => {
            let rule = "must be finite and above 0";
            Err(Error::argument("duty", format!("{duty:?}"), rule, "leave out periods without duty"))
        }
        _ => Ok(()),
    }
}
