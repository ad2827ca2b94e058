//! Cracked and sound blades told apart: the numbers that come out.

use serde::Serialize;

/// An estimate with its interval by profile likelihood.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// The estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Whether the estimate is none or all: the interval then has one end by itself.
    pub at_edge: bool,
}

/// One technique.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TechniqueChances {
    /// Its name.
    pub technique: String,
    /// Blades that it looked at.
    pub looked: u64,
    /// Blades that it called.
    pub called: u64,
    /// Chance that it calls a cracked blade.
    pub detection: Interval,
    /// Chance that it calls a sound blade.
    pub false_calls: Interval,
    /// Cracked blades among those that it looked at and did not call.
    pub cracked_not_called: Interval,
}

/// Correlations of the calls of a dependent pair.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DependentPair {
    /// The first of the pair.
    pub first: String,
    /// The second.
    pub second: String,
    /// Correlation of their calls on cracked blades.
    pub correlation_cracked: f64,
    /// Correlation of their calls on sound blades.
    pub correlation_sound: f64,
}

/// Blades that the same techniques looked at and the same ones called.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pattern {
    /// Techniques that called them.
    pub called_by: Vec<String>,
    /// Techniques that looked and did not call.
    pub silent: Vec<String>,
    /// Blades.
    pub blades: u64,
    /// Blades that the fit expects among those that the same techniques looked at.
    pub expected: f64,
    /// Probability that such a blade is cracked.
    pub cracked: f64,
}

/// Method of the p of a [`Goodness`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum GoodnessMethod {
    /// There is none: nothing is left to check the fit by, or counts are small and nothing was simulated.
    None,
    /// From the chi-square distribution.
    ChiSquare,
    /// From campaigns simulated from the fit.
    Simulated,
}

/// Goodness of fit to all calls.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Goodness {
    /// Twice the distance in log-likelihood to a perfect fit.
    pub g2: f64,
    /// Independent numbers less unknown chances; with none left nothing can be checked.
    pub degrees_of_freedom: usize,
    /// Probability of a distance as large, were the model true.
    pub p: Option<f64>,
    /// Method.
    pub method: GoodnessMethod,
    /// Campaigns simulated and fitted.
    pub simulated: usize,
    /// Campaigns simulated that had no best fit; they are left out.
    pub failed: usize,
}

/// Goodness of fit to the agreement of two techniques.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairFit {
    /// The first technique.
    pub first: String,
    /// The second.
    pub second: String,
    /// Blades that both looked at.
    pub blades: u64,
    /// Correlation of their calls that the fit expects.
    pub expected: f64,
    /// Correlation of their calls less that: above zero where they agree more than the fit accounts for.
    pub residual: f64,
    /// Its standard error; `None` where nothing is left to check the fit by.
    pub standard_error: Option<f64>,
}

/// Effect of a given dependence of one pair on cracked blades.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sensitivity {
    /// The first of the pair.
    pub first: String,
    /// The second.
    pub second: String,
    /// Odds ratio of a call of the second after a call of the first.
    pub odds_ratio: f64,
    /// Chance that a blade is cracked.
    pub prevalence: f64,
    /// Cracked blades that none called.
    pub cracked_called_by_none: f64,
    /// Each technique's chance to call a cracked blade.
    pub detection: Vec<f64>,
    /// Log-likelihood less that of the fit; near zero the calls do not speak against it.
    pub log_likelihood_change: f64,
}

/// Blades whose truth is known, beside what the fit makes of them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Confirmed {
    /// Blades confirmed to be cracked.
    pub cracked: u64,
    /// Blades that the fit expects to be cracked among these.
    pub cracked_by_fit: f64,
    /// Blades confirmed to be sound.
    pub sound: u64,
    /// Blades that the fit expects to be sound among these.
    pub sound_by_fit: f64,
    /// Standard deviation, by the fit, of the number of cracked blades among all of them.
    pub spread: f64,
    /// Whether more, or fewer, of them are cracked than chance lets the fit have: its numbers are not to be relied on.
    pub contradicts: bool,
}

impl Confirmed {
    /// Cracked blades beyond those that the fit expects; below zero where there are fewer.
    pub(super) fn excess(&self) -> f64 {
        let by_fit = self.cracked_by_fit + self.sound as f64 - self.sound_by_fit;
        self.cracked as f64 - by_fit
    }
}

/// Cracked and sound blades told apart by what several techniques called.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LatentClasses {
    /// Confidence of every interval.
    pub level: f64,
    /// Blades that at least one technique looked at.
    pub blades: u64,
    /// Blades that not all techniques looked at.
    pub incomplete: u64,
    /// Blades that none of those who looked called.
    pub called_by_none: u64,
    /// Chance that a blade is cracked.
    pub prevalence: Interval,
    /// Cracked blades.
    pub cracked: Interval,
    /// Cracked blades that none of those who looked called.
    pub cracked_called_by_none: Interval,
    /// Each technique, in the order given.
    pub techniques: Vec<TechniqueChances>,
    /// Each pair that may depend on each other.
    pub dependent_pairs: Vec<DependentPair>,
    /// Each history that some blade has, most blades first.
    pub patterns: Vec<Pattern>,
    /// Goodness of fit to all calls.
    pub goodness: Goodness,
    /// The same, pair by pair.
    pub pairs: Vec<PairFit>,
    /// Effect of dependence that is not estimated, one pair at a time.
    pub sensitivity: Vec<Sensitivity>,
    /// Largest log-likelihood of the calls, without factorials.
    pub log_likelihood: f64,
    /// Unknown chances.
    pub parameters: usize,
    /// Least information left, in any direction, of that which known classes would give; near zero the calls hardly
    /// tell two sets of chances apart.
    pub information_left: f64,
    /// Blades whose truth is known; `None` where there are none.
    pub confirmed: Option<Confirmed>,
    /// Notes on the numbers.
    pub notes: Vec<String>,
}
