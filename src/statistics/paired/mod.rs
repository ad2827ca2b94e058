//! Techniques side by side on the same blades: what each found, what each missed, and whether they differ.

mod cochran;
mod pair;
mod text;

pub use cochran::{Cochran, cochran};
pub use pair::{McNemar, Pair};
pub(super) use text::p_value;

use super::capture_histories::{CaptureHistories, Class, counted};
use super::interval::Proportion;
use crate::bounds::CONFIDENCE;
use crate::error::{Error, Result};
use serde::Serialize;

/// Finds of one technique on the blades that all techniques looked at.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TechniqueFinds {
    /// Its name.
    pub technique: String,
    /// Cracked blades that it found.
    pub found: u64,
    /// Of these, blades that no other technique found.
    pub found_alone: u64,
    /// Blades that some other technique found and it did not.
    pub missed: u64,
    /// Its finds as a share of those of all techniques together: an upper limit of its probability of
    /// detection, as cracks that all of them missed are not counted against it.
    pub share_of_union: Option<Proportion>,
    /// Calls on blades known to be free of cracks, among all that it looked at.
    pub false_calls: Option<Proportion>,
}

/// Number of cracked blades found by just these techniques.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pattern {
    /// The techniques that found them; all others missed them.
    pub found_by: Vec<String>,
    /// Blades.
    pub blades: u64,
}

/// Techniques side by side on the same blades.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Overlap {
    /// Which blades: `all`, or the class by which they were told apart.
    pub class: String,
    /// Confidence of every interval.
    pub level: f64,
    /// Blades that all techniques looked at, without those known to be free of cracks.
    pub blades: u64,
    /// Blades left out of everything but the pairs, as not all techniques looked at them.
    pub left_out: u64,
    /// Blades found by at least one technique.
    pub found_by_any: u64,
    /// Blades that all looked at and none called: free of cracks, or missed by all.
    pub found_by_none: u64,
    /// The techniques, in the order given.
    pub techniques: Vec<TechniqueFinds>,
    /// Every pattern of finds, most blades first; who found none is not among them.
    pub patterns: Vec<Pattern>,
    /// Each technique with each other.
    pub pairs: Vec<Pair>,
    /// Whether all techniques find alike; `None` when no blade tells them apart.
    pub cochran: Option<Cochran>,
    /// Notes on the numbers.
    pub notes: Vec<String>,
}

/// Sets techniques side by side.
///
/// A find is a call on a blade that is not known to be free of cracks. Numbers of single techniques and of
/// patterns are of the blades that all techniques looked at; a pair takes all blades that both looked at.
///
/// ```
/// use serrata::statistics::capture_histories::CaptureHistories;
/// use serrata::statistics::paired::compare;
///
/// let counts = [(vec![true, true], 12), (vec![true, false], 5), (vec![false, true], 3), (vec![false, false], 40)];
/// let overlap = compare(&CaptureHistories::from_counts(&["magnetic-particle", "penetrant"], &counts)?, 0.95)?;
/// assert_eq!(overlap.found_by_any, 20);
/// assert_eq!(overlap.techniques[0].found_alone, 5);
/// assert!((overlap.pairs[0].mcnemar.p_exact - 0.7266).abs() < 1e-4);
/// # Ok::<(), serrata::Error>(())
/// ```
///
/// # Errors
/// Refuses a level below 0.5 or not below 1, and blades of which no two techniques saw the same.
pub fn compare(histories: &CaptureHistories, level: f64) -> Result<Overlap> {
    CONFIDENCE.check("level", level)?;
    let overlap = overlap("all", histories, level);
    if overlap.pairs.iter().all(|pair| pair.blades == 0) {
        let what = format!("no two of {} looked at the same blade", histories.techniques().join(", "));
        let rule = "techniques are set side by side on blades that two of them looked at at the same inspection";
        return Err(Error::data("no-common-blades", what, rule, "check the names of blades and inspections"));
    }
    Ok(overlap)
}

/// Sets techniques side by side, for all blades and then apart for each class of them.
///
/// # Errors
/// As [`compare`] and [`CaptureHistories::by`].
pub fn compare_by(histories: &CaptureHistories, class: &Class, level: f64) -> Result<Vec<Overlap>> {
    let mut overlaps = vec![compare(histories, level)?];
    for (name, part) in histories.by(class)? {
        let mut overlap = overlap(&name, &part, level);
        if matches!(class, Class::LengthMm(_)) && overlap.found_by_none == 0 {
            overlap.notes.push(
                "Blades are put into classes of length by what was measured or confirmed: those that nobody called have \
                 no length and are in none."
                    .into(),
            );
        }
        overlaps.push(overlap);
    }
    Ok(overlaps)
}

fn overlap(class: &str, histories: &CaptureHistories, level: f64) -> Overlap {
    let patterns = histories.found();
    let found_by_none = patterns.counts[0];
    let blades: u64 = patterns.counts.iter().sum();
    let found_by_any = blades - found_by_none;
    let names = histories.techniques();
    let sum = |wanted: &dyn Fn(usize) -> bool| -> u64 {
        patterns.counts.iter().enumerate().filter(|(pattern, _)| wanted(*pattern)).map(|(_, count)| count).sum()
    };
    let techniques = names.iter().enumerate().map(|(at, name)| {
        let bit = 1 << at;
        let found = sum(&|pattern| pattern & bit != 0);
        TechniqueFinds {
            technique: name.clone(),
            found,
            found_alone: patterns.counts[bit],
            missed: found_by_any - found,
            share_of_union: Proportion::exact(found, found_by_any, level),
            false_calls: histories.false_calls(at, level),
        }
    });
    let techniques: Vec<TechniqueFinds> = techniques.collect();
    let named = |pattern: usize| -> Vec<String> {
        (0..names.len()).filter(|at| pattern >> at & 1 == 1).map(|at| names[at].clone()).collect()
    };
    let pattern = |(pattern, blades): &(usize, u64)| Pattern { found_by: named(*pattern), blades: *blades };
    let mut seen: Vec<(usize, u64)> = patterns.counts.iter().copied().enumerate().skip(1).collect();
    seen.retain(|(_, count)| *count > 0);
    seen.sort_by_key(|(pattern, count)| (std::cmp::Reverse(*count), pattern.count_ones(), *pattern));
    Overlap {
        class: class.to_owned(),
        level,
        blades,
        left_out: patterns.left_out,
        found_by_any,
        found_by_none,
        techniques,
        patterns: seen.iter().map(pattern).collect(),
        pairs: pair::all(histories, level),
        cochran: cochran(&patterns.counts),
        notes: notes(histories, patterns.left_out, found_by_any),
    }
}

fn notes(histories: &CaptureHistories, left_out: u64, found_by_any: u64) -> Vec<String> {
    let mut notes = histories.notes().to_vec();
    if left_out > 0 {
        notes.push(format!(
            "{} left out of all but the pairs: not all techniques looked at {}. Where a look was made because another \
             technique called, what is left is no fair sample.",
            counted(left_out, "blade is", "blades are"),
            if left_out == 1 { "it" } else { "them" }
        ));
    }
    let unconfirmed = histories.called_unconfirmed();
    if unconfirmed > 0 {
        notes.push(format!(
            "{} called and not confirmed: the calls are taken for finds, false ones among them.",
            counted(unconfirmed, "blade was", "blades were")
        ));
    }
    if found_by_any > 0 {
        notes.push(
            "Shares of the union are upper limits of the probability of detection: cracks that all techniques missed are \
             not counted."
                .into(),
        );
    }
    notes
}
