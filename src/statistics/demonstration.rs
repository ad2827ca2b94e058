//! Demonstration tests: what so many finds in so many specimens show, and how many specimens a claim needs.

use super::interval::{Proportion, exact_proportion};
use super::tail::{binomial_at_least, binomial_at_most};
use crate::bounds::{CONFIDENCE, LENGTH_MM, PROBABILITY, PROBABILITY_BELOW_ONE};
use crate::error::{Error, Result};
use serde::Serialize;

/// Most specimens that are counted; bounds keep their figures up to there.
pub const MOST_SPECIMENS: u64 = 1_000_000_000;

/// What rounding may take from a tail that meets its limit exactly.
const ROUNDING: f64 = 1e-12;

/// The outcome of a demonstration test: cracks of known size, and how many of them were found.
///
/// ```
/// use serrata::statistics::demonstration::Demonstration;
///
/// let test = Demonstration::new(29, 29, 0.95)?;
/// assert!(test.shows(0.90) && !test.shows(0.91));
/// assert!((test.lower_bound - 0.90186).abs() < 1e-5);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Demonstration {
    /// Cracked specimens found.
    pub found: u64,
    /// Cracked specimens looked at.
    pub specimens: u64,
    /// Confidence of the bound and of the interval.
    pub confidence: f64,
    /// One-sided lower bound of the probability of detection (Clopper and Pearson 1934).
    ///
    /// Where the specimens differ in size it bounds the mean over them: a sum of unequal chances is no
    /// wider in its tail than a binomial of their mean (Hoeffding, Annals of Mathematical Statistics 27,
    /// 1956) where finds exceed their expectation by one or more, as they do at any bound worth showing.
    pub lower_bound: f64,
    /// Two-sided exact interval of the same confidence.
    pub interval: (f64, f64),
    /// Shortest and longest crack of the specimens, in mm.
    pub lengths_mm: Option<(f64, f64)>,
    /// Calls on specimens without a crack.
    pub false_calls: Option<Proportion>,
}

impl Demonstration {
    /// Takes `found` of `specimens`.
    ///
    /// # Errors
    /// Refuses no specimens, more than [`MOST_SPECIMENS`], more found than there are, and a confidence
    /// below 0.5 or not below 1.
    pub fn new(found: u64, specimens: u64, confidence: f64) -> Result<Self> {
        check_count("specimens", specimens)?;
        if found > specimens {
            let rule = format!("must be at most the {specimens} specimens");
            return Err(Error::argument("found", found, &rule, "count each specimen once"));
        }
        CONFIDENCE.check("confidence", confidence)?;
        let (events, trials) = (found as f64, specimens as f64);
        // The lower end of a two-sided interval with both tails as large as the one of the bound.
        let (lower_bound, _) = exact_proportion(events, trials, 2.0 * confidence - 1.0);
        let interval = exact_proportion(events, trials, confidence);
        Ok(Demonstration { found, specimens, confidence, lower_bound, interval, lengths_mm: None, false_calls: None })
    }

    /// Says which crack lengths the specimens have, in mm.
    ///
    /// # Errors
    /// Refuses lengths that are none, and a shortest above the longest.
    pub fn with_lengths_mm(self, shortest: f64, longest: f64) -> Result<Self> {
        LENGTH_MM.check("shortest_mm", shortest)?;
        LENGTH_MM.check("longest_mm", longest)?;
        if shortest > longest {
            let rule = format!("must be at least shortest_mm ({shortest})");
            return Err(Error::argument("longest_mm", longest, &rule, "exchange the two"));
        }
        Ok(Demonstration { lengths_mm: Some((shortest, longest)), ..self })
    }

    /// Adds the calls made on specimens without a crack.
    ///
    /// # Errors
    /// As [`Demonstration::new`].
    pub fn with_false_calls(self, calls: u64, clean_specimens: u64) -> Result<Self> {
        check_count("clean_specimens", clean_specimens)?;
        if calls > clean_specimens {
            let rule = format!("must be at most the {clean_specimens} specimens without a crack");
            return Err(Error::argument("false_calls", calls, &rule, "count each specimen once"));
        }
        Ok(Demonstration { false_calls: Proportion::exact(calls, clean_specimens, self.confidence), ..self })
    }

    /// Specimens missed.
    pub fn misses(&self) -> u64 {
        self.specimens - self.found
    }

    /// Whether the outcome shows a probability of detection of at least `pod` at its confidence.
    pub fn shows(&self, pod: f64) -> bool {
        pod <= 0.0 || passes(self.misses(), self.specimens, pod, self.confidence)
    }

    /// Confidence with which the outcome shows a probability of detection of at least `pod`.
    pub fn confidence_in(&self, pod: f64) -> f64 {
        if pod <= 0.0 { 1.0 } else { 1.0 - binomial_at_least(self.found as f64, self.specimens as f64, pod) }
    }

    /// What the outcome shows and does not show, in sentences; `claimed_pod` is what was to be shown.
    ///
    /// # Errors
    /// Refuses a claim that is no probability, and certainty, which no test can show.
    pub fn statements(&self, claimed_pod: Option<f64>) -> Result<Vec<String>> {
        let percent = percent(self.confidence);
        let mut said = vec![
            format!(
                "{} of {} found: the probability of detection is at least {:.4} at {percent} confidence (one-sided, exact).",
                self.found,
                self.specimens,
                floor(self.lower_bound)
            ),
            format!(
                "Two-sided {percent} interval: {:.4} to {:.4} (Clopper and Pearson; not symmetric).",
                floor(self.interval.0),
                1.0 - floor(1.0 - self.interval.1)
            ),
        ];
        if let Some(pod) = claimed_pod {
            said.push(self.verdict(pod)?);
        }
        said.push(match self.lengths_mm {
            Some((shortest, longest)) if shortest < longest => format!(
                "It holds on average for cracks as in the specimens, {shortest} to {longest} mm; for all cracks of \
                 {longest} mm and longer where longer cracks are no harder to find."
            ),
            Some((length, _)) => format!(
                "It holds for cracks of {length} mm as in the specimens; for longer ones where they are no harder to find."
            ),
            None => "The crack lengths of the specimens were not given: for other lengths nothing is shown.".into(),
        });
        said.push(match self.false_calls {
            Some(calls) => format!(
                "False calls: {} of {} specimens without a crack, at most {:.4} ({percent}, two-sided).",
                calls.events,
                calls.trials,
                1.0 - floor(1.0 - calls.high)
            ),
            None => "False calls were not given: calling every specimen passes such a test too.".into(),
        });
        said.push(
            "It counts these people, this procedure and these surfaces; finds in the field are commonly fewer.".into(),
        );
        Ok(said)
    }

    fn verdict(&self, pod: f64) -> Result<String> {
        PROBABILITY_BELOW_ONE.check("pod", pod)?;
        let confidence = percent(self.confidence);
        if self.shows(pod) {
            let two_sided = if self.interval.0 < pod { "; the two-sided interval does not show it" } else { "" };
            return Ok(format!(
                "A probability of detection of {pod} is shown at {confidence} confidence, one-sided{two_sided}."
            ));
        }
        let needed = specimens_needed(pod, self.confidence, self.misses())?;
        Ok(format!(
            "A probability of detection of {pod} is not shown: the confidence in it is {:.1} %, not {confidence}. With \
             {} {needed} specimens would be needed. Adding specimens after the outcome is known proves less than \
             the figures say; plan a new test.",
            // Never rounded up to the wanted confidence.
            (1000.0 * self.confidence_in(pod)).floor() / 10.0,
            match self.misses() {
                0 => "no miss".into(),
                1 => "1 miss".into(),
                misses => format!("{misses} misses"),
            },
        ))
    }
}

/// A plan of a demonstration test: how many specimens, of which so many may be missed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Plan {
    /// Probability of detection to be shown.
    pub pod: f64,
    /// Confidence to show it at.
    pub confidence: f64,
    /// Misses that still pass.
    pub misses: u64,
    /// Specimens needed.
    pub specimens: u64,
    /// Lower bound that is shown when the plan is just passed.
    pub lower_bound: f64,
}

impl Plan {
    /// The smallest plan that allows so many misses.
    ///
    /// # Errors
    /// As [`specimens_needed`].
    pub fn new(pod: f64, confidence: f64, misses: u64) -> Result<Self> {
        let specimens = specimens_needed(pod, confidence, misses)?;
        let lower_bound = Demonstration::new(specimens - misses, specimens, confidence)?.lower_bound;
        Ok(Plan { pod, confidence, misses, specimens, lower_bound })
    }

    /// Chance that a technique passes whose true probability of detection is `true_pod`.
    ///
    /// # Errors
    /// Refuses what is no probability.
    pub fn chance_of_passing(&self, true_pod: f64) -> Result<f64> {
        PROBABILITY.check("true_pod", true_pod)?;
        Ok(binomial_at_most(self.misses as f64, self.specimens as f64, 1.0 - true_pod))
    }
}

/// Smallest number of specimens that shows a probability of detection of at least `pod`, when no more
/// than `misses` of them are missed.
///
/// ```
/// use serrata::statistics::demonstration::specimens_needed;
///
/// assert_eq!(specimens_needed(0.90, 0.95, 0)?, 29);
/// assert_eq!(specimens_needed(0.90, 0.95, 1)?, 46);
/// # Ok::<(), serrata::Error>(())
/// ```
///
/// # Errors
/// Refuses a probability of detection or a confidence of 1, which no number of specimens shows, and
/// a claim that needs more than [`MOST_SPECIMENS`].
pub fn specimens_needed(pod: f64, confidence: f64, misses: u64) -> Result<u64> {
    PROBABILITY_BELOW_ONE.check("pod", pod)?;
    CONFIDENCE.check("confidence", confidence)?;
    let too_many = || {
        let rule = format!("needs more than {MOST_SPECIMENS} specimens at {} confidence", percent(confidence));
        Error::argument("pod", pod, &rule, "lower pod, confidence or misses")
    };
    if misses >= MOST_SPECIMENS {
        return Err(too_many());
    }
    if pod == 0.0 {
        return Ok(misses + 1);
    }
    // More specimens with the same misses always show more.
    let (mut too_few, mut enough) = (misses, misses + 1);
    while !passes(misses, enough, pod, confidence) {
        if enough > MOST_SPECIMENS {
            return Err(too_many());
        }
        (too_few, enough) = (enough, 2 * enough);
    }
    while enough - too_few > 1 {
        let middle = too_few + (enough - too_few) / 2;
        if passes(misses, middle, pod, confidence) { enough = middle } else { too_few = middle }
    }
    if enough > MOST_SPECIMENS { Err(too_many()) } else { Ok(enough) }
}

/// Whether so few misses would be too rare, were the probability of detection no more than `pod`.
fn passes(misses: u64, specimens: u64, pod: f64, confidence: f64) -> bool {
    let so_few = binomial_at_most(misses as f64, specimens as f64, 1.0 - pod);
    so_few <= (1.0 - confidence) * (1.0 + ROUNDING)
}

fn check_count(name: &str, count: u64) -> Result<()> {
    if (1..=MOST_SPECIMENS).contains(&count) {
        return Ok(());
    }
    let rule = format!("must be a whole number from 1 to {MOST_SPECIMENS}");
    Err(Error::argument(name, count, &rule, "give the number of specimens looked at"))
}

/// Four decimals, never rounded up: a bound is not made better by printing it.
fn floor(x: f64) -> f64 {
    (1e4 * x + 1e-9).floor() / 1e4
}

/// A confidence as people write it.
fn percent(confidence: f64) -> String {
    let shown = format!("{:.6}", 100.0 * confidence);
    format!("{} %", shown.trim_end_matches('0').trim_end_matches('.'))
}
