//! Number of cracked blades that every technique missed.
//!
//! The number that all techniques missed follows from their finds on the same blades: the fewer finds two techniques
//! share, the more both must have missed. Each estimate rests on assumptions, which its sentence states.
//! [`missed_cracks`] makes all estimates that the blades allow:
//!
//! - [`TwoLists`], for each pair, as if the two erred independently;
//! - [`LogLinear`], from three techniques on: pairs may depend on each other, models averaged by AIC;
//! - [`Coverage`], from three techniques on: sample coverage, and a lower bound that holds when cracks
//!   differ in how easily they are found;
//! - [`ByLength`], where crack lengths are known: detection rises with length, so that small missed cracks
//!   are estimated and not assumed away.
//!
//! # How often the intervals hold the truth
//!
//! Of 1,000 simulated campaigns each (`tests/statistics/missed_cracks_coverage.rs`): techniques that find a crack with
//! a chance of 0.6, 0.7 and, where there is a third, 0.5. Where they are *dependent*, the second copies the first's
//! answer four times in ten. Where some cracks are *hard for all*, the log-odds of each find are shifted by a normal
//! number of the crack's own, with a standard deviation of 1.5. Nominal 95 %, ends in whole blades; no lengths.
//!
//! | techniques | cracks | dependence | covered | mean estimate over mean truth |
//! |---|---|---|---|---|
//! | 2 | 40 | none | 94.0 % | 1.02 |
//! | 2 | 80 | none | 93.5 % | 1.00 |
//! | 2 | 200 | none | 96.0 % | 1.00 |
//! | 2 | 80 | dependent | **2.0 %** | 0.16 |
//! | 2 | 200 | dependent | **0 %** | 0.16 |
//! | 3 | 40 | none | 98.5 % | 1.12 |
//! | 3 | 80 | none | 97.9 % | 1.04 |
//! | 3 | 200 | none | 97.6 % | 1.02 |
//! | 3 | 80 | dependent | 97.8 % | 1.05 |
//! | 3 | 200 | dependent | 97.9 % | 1.07 |
//! | 3 | 80 | hard for all | **81.9 %** | 0.44 |
//! | 3 | 200 | hard for all | **61.1 %** | 0.43 |
//!
//! Where some cracks are hard for all, models of pairs account for few of the missed cracks, and every miss of the
//! interval lies on the unsafe side; the lower bound of [`Coverage`] is no higher than the truth in 96 and 99 % of
//! those campaigns. So the bound stands beside what the methods leave together. Two dependent techniques give no
//! information on what both miss, and their finds cannot show the dependence: use a third of another kind.

mod by_length;
mod coverage;
mod estimate;
mod fit;
mod log_linear;
mod text;
mod two_lists;

pub use by_length::{AtLength, ByLength, LengthModel};
pub use coverage::Coverage;
pub use estimate::Estimate;
pub use log_linear::{Fitted, LogLinear, Model, Outcome};
pub use two_lists::TwoLists;

use super::capture_histories::{CaptureHistories, counted};
use crate::bounds::CONFIDENCE;
use crate::error::{Error, Result};
use serde::Serialize;

/// Number of cracked blades that every technique missed, by each method that the blades allow.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MissedCracks {
    /// The techniques, in the order given.
    pub techniques: Vec<String>,
    /// Confidence of every interval.
    pub level: f64,
    /// Cracked blades that at least one technique found, of those that all looked at.
    pub found: u64,
    /// Blades that all looked at and none called: the missed cracks are among them. Zero where such blades
    /// were not counted.
    pub called_by_none: u64,
    /// Blades left out of all but the pairs, as not all techniques looked at them.
    pub left_out: u64,
    /// Of the blades that none called, those confirmed to be cracked: missed for certain. No estimate uses them.
    pub confirmed_missed: u64,
    /// Least and most that the methods together leave, in whole blades; the most is `None` where nothing sets it.
    pub range: (f64, Option<f64>),
    /// Number by each method that takes all techniques together, the one that takes least for granted first.
    pub methods: Vec<Answer>,
    /// The first of them, within what is known of the blades that none called.
    pub answer: Answer,
    /// Each pair of techniques.
    pub pairs: Vec<TwoLists>,
    /// Log-linear models; `None` for two techniques, and for more than five.
    pub log_linear: Option<LogLinear>,
    /// Sample coverage and lower bounds; `None` for two techniques.
    pub coverage: Option<Coverage>,
    /// Standard deviation of the logarithm of one measurement of a length, as it was given.
    pub length_error_log: f64,
    /// Detection against length; `None` where too few lengths are known, or they scatter no more than by their error.
    pub by_length: Option<ByLength>,
    /// Notes on the numbers.
    pub notes: Vec<String>,
}

/// Which method an answer is by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Two techniques that err independently: [`TwoLists`].
    TwoLists,
    /// The average of log-linear models: [`LogLinear`].
    LogLinear,
    /// The average of models of detection against length: [`ByLength`].
    ByLength,
    /// A lower bound and no estimate: [`Coverage`], or [`TwoLists`] where no blade was found by both.
    LowerBound,
    /// Neither an estimate nor a lower bound that is worth a number: the models contradict known counts, or rest on too
    /// few finds.
    CannotBeTold,
}

/// One number of missed blades.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Answer {
    /// Method.
    pub method: Method,
    /// Cracked blades that nobody found, or a lower bound of them; `None` where there is neither.
    pub missed: Option<f64>,
    /// Lower end of its interval, in whole blades.
    pub low: f64,
    /// Upper end, in whole blades, never more than the blades that none called, where these were counted; `None` where
    /// nothing sets an upper bound.
    pub high: Option<f64>,
    /// Nine in ten of the missed cracks are shorter than this, in mm, where lengths are known.
    pub mostly_shorter_mm: Option<f64>,
}

/// Estimates how many cracked blades every technique missed.
///
/// A find is a call on a blade that is not known to be free of cracks.
///
/// ```
/// use serrata::statistics::capture_histories::CaptureHistories;
/// use serrata::statistics::missed_cracks::missed_cracks;
///
/// // 12 cracked blades found by both, 5 by the first alone, 3 by the second alone.
/// let counts = [(vec![true, true], 12), (vec![true, false], 5), (vec![false, true], 3)];
/// let missed = missed_cracks(&CaptureHistories::from_counts(&["magnetic-particle", "penetrant"], &counts)?, 0.95)?;
/// // Chapman: (17 + 1) (15 + 1) / (12 + 1) - 1 = 21.15 in all, of which 20 were found.
/// assert!((missed.pairs[0].chapman - 21.1538).abs() < 1e-4);
/// assert!(missed.answer.missed.is_some_and(|missed| (missed - 1.1538).abs() < 1e-4));
/// # Ok::<(), serrata::Error>(())
/// ```
///
/// # Errors
/// Refuses a level below 0.5 or not below 1, blades among which nothing was found, and a technique that
/// found nothing, of which its finds can say nothing.
pub fn missed_cracks(histories: &CaptureHistories, level: f64) -> Result<MissedCracks> {
    CONFIDENCE.check("level", level)?;
    let names = histories.techniques();
    let patterns = histories.found();
    let found: u64 = patterns.counts.iter().skip(1).sum();
    for (at, name) in names.iter().enumerate() {
        let finds: u64 =
            patterns.counts.iter().enumerate().filter(|(set, _)| set >> at & 1 == 1).map(|(_, count)| count).sum();
        if finds == 0 {
            let what = format!("{name} found no crack on blades that all of {} looked at", names.join(", "));
            let rule = "what was missed is told from what several techniques found on the same blades";
            return Err(Error::data("found-nothing", what, rule, "leave it out, or take the others two by two"));
        }
    }
    let several = names.len() > 2;
    let log_linear = (several && names.len() <= log_linear::MOST_TECHNIQUES)
        .then(|| log_linear::log_linear(&patterns.counts, names, level));
    let coverage = several.then(|| coverage::coverage(&patterns.counts, names.len(), level));
    let by_length = by_length::by_length(histories, found, level);
    let pairs = pairs(histories, level);
    let confirmed_missed = histories.confirmed_and_called_by_none();
    let first = answer(found, &pairs, log_linear.as_ref(), coverage.as_ref(), by_length.as_ref());
    let methods = methods(first, log_linear.as_ref(), coverage.as_ref());
    let counted_none = patterns.counts[0];
    let known = Known {
        least: confirmed_missed as f64,
        most: if counted_none > 0 { counted_none as f64 } else { f64::INFINITY },
    };
    let answer = first.within(known);
    let mut missed = MissedCracks {
        techniques: names.to_vec(),
        level,
        found,
        called_by_none: counted_none,
        left_out: patterns.left_out,
        confirmed_missed,
        range: range(answer, &methods, known),
        methods,
        answer,
        pairs,
        log_linear,
        coverage,
        length_error_log: histories.length_error_log(),
        by_length,
        notes: Vec::new(),
    };
    missed.notes = notes(&missed, histories);
    Ok(missed)
}

/// Each two techniques, on the blades that both looked at.
fn pairs(histories: &CaptureHistories, level: f64) -> Vec<TwoLists> {
    let pair = |(first, second)| {
        let two = histories.of_techniques(&[first, second]);
        let counts = two.found().counts;
        let both = counts[0b11];
        let finds = (counts[0b01] + both, counts[0b10] + both, both);
        TwoLists::new((&two.techniques()[0], &two.techniques()[1]), finds, level)
    };
    super::capture_histories::pairs(histories.techniques().len()).map(pair).collect()
}

impl Answer {
    /// By a method, in whole blades, rounded outwards.
    fn of(method: Method, estimate: Estimate) -> Answer {
        Answer {
            method,
            missed: Some(estimate.missed),
            low: estimate.low.floor(),
            high: Some(estimate.high.ceil()),
            mostly_shorter_mm: None,
        }
    }

    /// The lower bound of a coverage, which sets no upper end.
    fn bound(coverage: &Coverage) -> Answer {
        let none = Estimate { missed: 0.0, standard_error: 0.0, low: 0.0, high: f64::INFINITY };
        Answer { high: None, ..Answer::of(Method::LowerBound, coverage.bound.unwrap_or(none)) }
    }

    /// The same within what is known.
    fn within(self, known: Known) -> Answer {
        let is_bound = self.method == Method::LowerBound;
        let too_few = !is_bound && self.missed.is_some_and(|missed| missed < known.least);
        let told = !too_few && self.missed.is_none_or(|missed| missed <= known.most) && self.low <= known.most;
        let low = if self.low <= known.most { self.low.max(known.least) } else { known.least };
        let high = self.high.filter(|_| !too_few).unwrap_or(f64::INFINITY).min(known.most);
        Answer {
            method: if told { self.method } else { Method::CannotBeTold },
            missed: self.missed.filter(|_| told).map(|missed| missed.max(known.least)),
            low,
            high: high.is_finite().then_some(high),
            mostly_shorter_mm: self.mostly_shorter_mm.filter(|_| told),
        }
    }
}

/// Least and most blades that can have been missed, whatever the finds say.
#[derive(Clone, Copy)]
struct Known {
    least: f64,
    most: f64,
}

/// The number by each method, the answer first.
fn methods(answer: Answer, log_linear: Option<&LogLinear>, coverage: Option<&Coverage>) -> Vec<Answer> {
    let models = log_linear.and_then(|models| models.average).map(|average| Answer::of(Method::LogLinear, average));
    let bound = coverage.filter(|coverage| coverage.bound.is_some()).map(Answer::bound);
    let others = models.into_iter().chain(bound).filter(|other| other.method != answer.method);
    std::iter::once(answer).filter(|answer| answer.method != Method::CannotBeTold).chain(others).collect()
}

/// Least and most that the methods together leave: none is believed so far as to rule out what another one leaves.
fn range(answer: Answer, methods: &[Answer], known: Known) -> (f64, Option<f64>) {
    if !matches!(answer.method, Method::ByLength | Method::LogLinear) {
        return (answer.low, answer.high);
    }
    let least = methods.iter().map(|method| method.low).fold(f64::INFINITY, f64::min).max(known.least);
    let most = methods.iter().filter_map(|method| method.high).fold(0.0, f64::max);
    let bound = methods.iter().find(|method| method.method == Method::LowerBound).and_then(|bound| bound.missed);
    // Where at least so many were missed, no smaller number is the most.
    let most = if bound.is_some_and(|bound| bound > most) { f64::INFINITY } else { most }.min(known.most);
    (least, most.is_finite().then_some(most))
}

/// The estimate that takes least for granted, of those that there are.
///
/// Blades are whole, so that its ends are rounded outwards to whole ones.
fn answer(
    found: u64,
    pairs: &[TwoLists],
    log_linear: Option<&LogLinear>,
    coverage: Option<&Coverage>,
    by_length: Option<&ByLength>,
) -> Answer {
    // Lengths of fewer than half of the finds may not be those of all.
    if let Some(by_length) = by_length.filter(|by_length| 2 * by_length.found_with_length >= found)
        && let Some(estimate) = by_length.average
    {
        if drawn_out(&estimate, found) {
            // Detection by length says nothing; what needs no length stays.
            let low = coverage
                .map_or_else(|| pairs[0].interval().0, |coverage| coverage.bound.map_or(0.0, |bound| bound.low));
            let (missed, high, mostly_shorter_mm) = (None, None, None);
            return Answer { method: Method::CannotBeTold, missed, low: low.floor(), high, mostly_shorter_mm };
        }
        return Answer { mostly_shorter_mm: by_length.most_shorter_mm, ..Answer::of(Method::ByLength, estimate) };
    }
    if let Some(estimate) = log_linear.and_then(|models| models.average) {
        return Answer::of(Method::LogLinear, estimate);
    }
    if let Some(coverage) = coverage {
        return Answer::bound(coverage);
    }
    let pair = &pairs[0];
    let (low, high) = pair.interval();
    match pair.missed {
        Some(missed) => {
            // Where nearly all was found by both, the estimate is a fraction of a blade and the interval may hold none.
            let high = high.map(|high| high.max(missed.ceil()));
            Answer { method: Method::TwoLists, missed: Some(missed), low, high, mostly_shorter_mm: None }
        }
        None => Answer { method: Method::LowerBound, missed: Some(low), low, high, mostly_shorter_mm: None },
    }
}

fn notes(missed: &MissedCracks, histories: &CaptureHistories) -> Vec<String> {
    let mut notes = histories.notes().to_vec();
    let alone = histories.called_unconfirmed();
    if alone > 0 {
        notes.push(format!(
            "{} called and not confirmed: each false call among them looks like a find and raises the estimate.",
            counted(alone, "blade was", "blades were")
        ));
    }
    if missed.left_out > 0 {
        notes.push(format!(
            "{} left out of all but the pairs: not all techniques looked at {}.",
            counted(missed.left_out, "blade is", "blades are"),
            if missed.left_out == 1 { "it" } else { "them" }
        ));
    }
    if missed.confirmed_missed > 0 {
        notes.push(format!(
            "Confirmed to be cracked, though none called: {}; no method uses that.",
            counted(missed.confirmed_missed, "blade", "blades")
        ));
    }
    let none = missed.called_by_none;
    if none > 0 && missed.answer.high == Some(none as f64) {
        notes.push(format!(
            "{} called by none: no more than these can hold a missed crack.",
            counted(none, "blade was", "blades were")
        ));
    }
    if let [pair] = missed.pairs.as_slice() {
        notes.extend(of_two_lists(pair));
    }
    if missed.techniques.len() > log_linear::MOST_TECHNIQUES {
        notes.push(format!("Log-linear models take at most {} techniques.", log_linear::MOST_TECHNIQUES));
    }
    let lengths = histories.histories().iter().filter(|blade| blade.measurements > 0 && blade.length_mm.is_some());
    if missed.by_length.is_none() && missed.length_error_log > 0.0 && lengths.count() > 0 {
        notes.push(
            "Detection against length is not told: lengths are too few, or scatter no more than by their error.".into(),
        );
    }
    if let Some(by_length) = &missed.by_length {
        if by_length.found_with_length < missed.found {
            notes.push(format!(
                "Lengths are known of {} of the {} finds; the others are taken to be alike.",
                by_length.found_with_length, missed.found
            ));
        }
        if by_length.falls_with_length {
            notes.push("The best model against length has longer cracks found less often, by some technique.".into());
        }
        if by_length.from_rarely_found > 0.5 {
            notes.push(
                "Most of the missed cracks stand for finds of lengths that are found fewer than one time in ten: they \
                 rest on few finds."
                    .into(),
            );
        }
    }
    notes
}

/// Whether an estimate is drawn out of the finds further than they carry: more missed than found, and perhaps many
/// times as many.
///
/// Of 500 simulated sets each of 60 cracks, two or three techniques, lengths log-uniform or log-normal, an estimate was
/// more than five times the truth in 8 to 18 %; all of those were drawn out so (`tests/statistics/missed_cracks.rs`).
fn drawn_out(estimate: &Estimate, found: u64) -> bool {
    /// Times as many as were found.
    const MANY: f64 = 5.0;
    estimate.missed > found as f64 && estimate.high > MANY * found as f64
}

/// Notes on an estimate from two techniques.
fn of_two_lists(pair: &TwoLists) -> Vec<String> {
    /// Finds by both below which one more or less changes the answer beyond recognition.
    const FEW: u64 = 5;
    let ((first, second), (by_first, by_second, both)) = (&pair.techniques, pair.found);
    let mut notes = Vec::new();
    if both > 0 && both < FEW {
        notes.push(format!(
            "Everything rests on {} found by both: one more or less changes the answer beyond recognition.",
            counted(both, "blade", "blades")
        ));
    }
    if both == by_first || both == by_second {
        let (all_of, other) = if both == by_first { (first, second) } else { (second, first) };
        notes.push(format!(
            "All that {all_of} found, {other} found too, so that the standard error is zero: that is no proof that \
             nothing is left."
        ));
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(method: Method, missed: f64, low: f64, high: Option<f64>) -> Answer {
        Answer { method, missed: Some(missed), low, high, mostly_shorter_mm: None }
    }

    #[test]
    fn a_lower_bound_beyond_what_the_other_methods_leave_opens_the_range() {
        let by_length = answer(Method::ByLength, 3.0, 1.0, Some(9.0));
        let of = |bound: f64, most: f64| {
            let methods = [by_length, answer(Method::LowerBound, bound, 2.0, None)];
            range(by_length, &methods, Known { least: 0.0, most })
        };
        assert_eq!(of(8.5, f64::INFINITY), (1.0, Some(9.0)));
        assert_eq!(of(12.0, f64::INFINITY), (1.0, None));
        // No more than the blades that none called.
        assert_eq!(of(12.0, 40.0), (1.0, Some(40.0)));
    }
}
