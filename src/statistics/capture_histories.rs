//! Capture histories: for each blade, which of the techniques that looked called it.

use super::interval::Proportion;
use super::records::{BladeLooks, GRADES, Records, word};
use crate::bounds::{LENGTH_MM, SIGMA_LOG};
use crate::error::{Error, Result};
use std::collections::BTreeMap;

/// Answers of each technique on one blade, or on several blades alike.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CaptureHistory {
    /// For each technique whether it called the blade; `None` where it did not look.
    pub called: Vec<Option<bool>>,
    /// Number of blades with this history.
    pub count: u64,
    /// Whether the blade is known to be cracked or known to be free of cracks.
    pub cracked: Option<bool>,
    /// Length of its longest crack, in mm: confirmed where known, else as measured by those who called it.
    pub length_mm: Option<f64>,
    /// Measurements that the length is the mean of, on the scale of logarithms; 0 for a confirmed length.
    pub measurements: u32,
    /// Surface condition.
    pub surface: Option<String>,
    /// Grade of the procedure, where all looks were of one grade.
    pub grade: Option<String>,
}

/// Techniques and what each answered on the same blades.
///
/// ```
/// use serrata::statistics::capture_histories::CaptureHistories;
///
/// // 12 blades called by both, 5 by the first alone, 3 by the second alone, 40 by neither.
/// let counts = [(vec![true, true], 12), (vec![true, false], 5), (vec![false, true], 3), (vec![false, false], 40)];
/// let histories = CaptureHistories::from_counts(&["magnetic-particle", "penetrant"], &counts)?;
/// assert_eq!(histories.blades(), 60);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureHistories {
    techniques: Vec<String>,
    blades: Vec<CaptureHistory>,
    notes: Vec<String>,
    length_error_log: f64,
}

/// By what blades are put into classes.
#[derive(Debug, Clone, PartialEq)]
pub enum Class {
    /// Surface condition.
    Surface,
    /// Grade of the procedure.
    Grade,
    /// Crack length: classes between these lengths in mm, and below and above them.
    LengthMm(Vec<f64>),
}

/// Finds by pattern: bit `i` of a pattern is set when technique `i` found the crack.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Patterns {
    /// Cracked blades for each pattern; pattern 0 has those that nobody called.
    pub counts: Vec<u64>,
    /// Blades that not all techniques looked at, left out.
    pub left_out: u64,
}

impl CaptureHistories {
    /// Most techniques at a time.
    pub const MOST_TECHNIQUES: usize = 10;
    /// Most blades; sums of counts stay exact up to there.
    pub const MOST_BLADES: u64 = 1_000_000_000;

    /// Takes the techniques' names and the blades' histories.
    ///
    /// # Errors
    /// Refuses fewer than two or more than [`CaptureHistories::MOST_TECHNIQUES`] techniques, a name given twice,
    /// a history of another number of techniques, and lengths that are none.
    pub fn new(techniques: &[&str], blades: Vec<CaptureHistory>) -> Result<Self> {
        let count = techniques.len();
        if !(2..=Self::MOST_TECHNIQUES).contains(&count) {
            let rule = format!("must be from 2 to {}", Self::MOST_TECHNIQUES);
            return Err(Error::argument(
                "number of techniques",
                count,
                &rule,
                "name the techniques to set side by side",
            ));
        }
        if let Some(twice) = techniques.iter().enumerate().find(|(at, name)| techniques[..*at].contains(name)) {
            return Err(Error::argument("techniques", twice.1, "stands there twice", "name each technique once"));
        }
        let mut blades_in_all = 0_u64;
        for (index, blade) in blades.iter().enumerate() {
            if blade.called.len() != count {
                let name = format!("history {}", index + 1);
                let rule = format!("must have an answer for each of the {count} techniques");
                return Err(Error::argument(
                    &name,
                    blade.called.len(),
                    &rule,
                    "give None where a technique did not look",
                ));
            }
            if let Some(length) = blade.length_mm {
                LENGTH_MM.check(&format!("length_mm of history {}", index + 1), length)?;
            }
            blades_in_all = blades_in_all.saturating_add(blade.count);
        }
        if blades_in_all > Self::MOST_BLADES {
            let rule = format!("must be at most {}", Self::MOST_BLADES);
            return Err(Error::argument("number of blades", blades_in_all, &rule, "count in rows, not in fleets"));
        }
        let techniques = techniques.iter().map(|name| (*name).to_owned()).collect();
        Ok(CaptureHistories { techniques, blades, notes: Vec::new(), length_error_log: 0.0 })
    }

    /// Takes counts of blades by who called them, every technique having looked at every blade.
    ///
    /// # Errors
    /// As [`CaptureHistories::new`].
    pub fn from_counts(techniques: &[&str], counts: &[(Vec<bool>, u64)]) -> Result<Self> {
        let blade = |(called, count): &(Vec<bool>, u64)| CaptureHistory {
            called: called.iter().map(|called| Some(*called)).collect(),
            count: *count,
            ..CaptureHistory::default()
        };
        CaptureHistories::new(techniques, counts.iter().map(blade).collect())
    }

    /// Takes the records' blades, each at each inspection, for the techniques named.
    ///
    /// A blade is called by a technique when any of its lines on that blade is a call. Blades that none of
    /// the techniques looked at do not count.
    ///
    /// # Errors
    /// Refuses a technique that the records do not have; else as [`CaptureHistories::new`].
    pub fn from_records(records: &Records, techniques: &[&str]) -> Result<Self> {
        let known = records.techniques();
        if let Some(stranger) = techniques.iter().find(|name| !known.contains(name)) {
            let remedy = format!("choose from {}", known.join(", "));
            return Err(Error::argument("techniques", stranger, "is not in the records", &remedy));
        }
        let sides = records.side_by_side();
        let mut seen_again = 0_u64;
        let mut before: Option<(&str, &str)> = None;
        let mut blades = Vec::with_capacity(sides.len());
        for looks in &sides {
            let blade = CaptureHistory::of_looks(looks, techniques);
            if blade.called.iter().all(Option::is_none) {
                continue;
            }
            seen_again += u64::from(before == Some((looks.row, looks.blade)));
            before = Some((looks.row, looks.blade));
            blades.push(blade);
        }
        let mut histories = CaptureHistories::new(techniques, blades)?;
        if seen_again > 0 {
            histories.notes.push(format!(
                "{} looked at again in a later inspection: each inspection of a blade counts as a blade of its own.",
                counted(seen_again, "blade was", "blades were")
            ));
        }
        Ok(histories)
    }

    /// The same histories with an error of measured lengths: the standard deviation of the logarithm of one measurement
    /// about that of the true length, 0 if there is none. Measurements by several techniques are taken to err
    /// independently, and confirmed lengths to be exact.
    ///
    /// # Errors
    /// Refuses a spread below 0 or above 3.
    pub fn with_length_error(self, length_error_log: f64) -> Result<Self> {
        SIGMA_LOG.check("length_error_log", length_error_log)?;
        Ok(CaptureHistories { length_error_log, ..self })
    }

    /// Standard deviation of the logarithm of one measurement of a length about that of the true one.
    pub fn length_error_log(&self) -> f64 {
        self.length_error_log
    }

    /// The techniques, in the order of their answers.
    pub fn techniques(&self) -> &[String] {
        &self.techniques
    }

    /// The histories.
    pub fn histories(&self) -> &[CaptureHistory] {
        &self.blades
    }

    /// Notes on how the histories were made, in sentences.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Blades in all.
    pub fn blades(&self) -> u64 {
        self.blades.iter().map(|blade| blade.count).sum()
    }

    /// The histories apart by class, each with its name; blades of unknown class come last, as `not known`.
    ///
    /// # Errors
    /// Refuses lengths between classes that are none, or that do not rise.
    pub fn by(&self, class: &Class) -> Result<Vec<(String, CaptureHistories)>> {
        if let Class::LengthMm(edges) = class {
            for (index, edge) in edges.iter().enumerate() {
                LENGTH_MM.check(&format!("length {} between classes, in mm,", index + 1), *edge)?;
            }
            if !edges.is_sorted_by(|a, b| a < b) {
                let shown = edges.iter().map(f64::to_string).collect::<Vec<_>>().join(", ");
                return Err(Error::argument("lengths between classes", shown, "must rise", "put them in order"));
            }
        }
        // Classes of length come in order of length, the others by name.
        let mut classes: BTreeMap<(bool, usize, String), Vec<CaptureHistory>> = BTreeMap::new();
        for blade in &self.blades {
            let (place, name) = match (class, blade.length_mm) {
                (Class::Surface, _) => (0, blade.surface.clone()),
                (Class::Grade, _) => (0, blade.grade.clone()),
                (Class::LengthMm(_), None) => (0, None),
                (Class::LengthMm(edges), Some(length)) => {
                    let place = edges.iter().take_while(|edge| length >= **edge).count();
                    (place, Some(length_class(edges, place)))
                }
            };
            let key = (name.is_none(), place, name.unwrap_or_else(|| "not known".into()));
            classes.entry(key).or_default().push(blade.clone());
        }
        let part =
            |blades| CaptureHistories { blades, notes: Vec::new(), techniques: self.techniques.clone(), ..*self };
        Ok(classes.into_iter().map(|((_, _, name), blades)| (name, part(blades))).collect())
    }

    /// The histories of some of the techniques, by their places.
    pub(super) fn of_techniques(&self, chosen: &[usize]) -> CaptureHistories {
        let pick = |blade: &CaptureHistory| CaptureHistory {
            called: chosen.iter().map(|technique| blade.called[*technique]).collect(),
            ..blade.clone()
        };
        CaptureHistories {
            techniques: chosen.iter().map(|technique| self.techniques[*technique].clone()).collect(),
            blades: self.blades.iter().map(pick).collect(),
            notes: self.notes.clone(),
            ..*self
        }
    }

    /// Finds by pattern: calls on blades that are not known to be free of cracks.
    pub(super) fn found(&self) -> Patterns {
        let mut patterns = Patterns { counts: vec![0; 1 << self.techniques.len()], left_out: 0 };
        for blade in self.blades.iter().filter(|blade| blade.cracked != Some(false)) {
            match blade.pattern() {
                Some(pattern) => patterns.counts[pattern] += blade.count,
                None => patterns.left_out += blade.count,
            }
        }
        patterns
    }

    /// Blades confirmed to be cracked that all techniques looked at and none called.
    pub(super) fn confirmed_and_called_by_none(&self) -> u64 {
        let missed = |blade: &&CaptureHistory| blade.cracked == Some(true) && blade.pattern() == Some(0);
        self.blades.iter().filter(missed).map(|blade| blade.count).sum()
    }

    /// Calls of a technique on blades known to be free of cracks; `None` where it looked at none.
    pub fn false_calls(&self, technique: usize, level: f64) -> Option<Proportion> {
        let looks = self.blades.iter().filter(|blade| blade.cracked == Some(false));
        let (mut calls, mut clean) = (0, 0);
        for blade in looks {
            if let Some(called) = blade.called[technique] {
                clean += blade.count;
                calls += if called { blade.count } else { 0 };
            }
        }
        Proportion::exact(calls, clean, level)
    }

    /// Blades that somebody called without confirmation; their calls count as finds.
    pub(super) fn called_unconfirmed(&self) -> u64 {
        let called = |blade: &&CaptureHistory| blade.cracked.is_none() && blade.called.contains(&Some(true));
        self.blades.iter().filter(called).map(|blade| blade.count).sum()
    }
}

impl CaptureHistory {
    fn of_looks(looks: &BladeLooks<'_>, techniques: &[&str]) -> CaptureHistory {
        let ours: Vec<_> = looks.lines.iter().filter(|line| techniques.contains(&line.technique.as_str())).collect();
        // A blade is as cracked as its longest crack; what several techniques measure of that one is averaged, as the
        // longest of several measurements would be the longer the more techniques called.
        let longest = techniques.iter().filter_map(|technique| {
            let own = ours.iter().filter(|line| line.called && line.technique == **technique);
            own.filter_map(|line| line.measured_length_mm).reduce(f64::max)
        });
        let measured: Vec<f64> = longest.map(f64::ln).collect();
        let confirmed = looks.confirmed_length_mm();
        CaptureHistory {
            called: techniques.iter().map(|technique| looks.called_by(technique)).collect(),
            count: 1,
            cracked: looks.cracked(),
            length_mm: confirmed.or(mean(&measured).map(f64::exp)),
            measurements: if confirmed.is_some() { 0 } else { measured.len() as u32 },
            surface: the_one(ours.iter().map(|line| line.surface.clone())),
            grade: the_one(ours.iter().map(|line| line.grade.map(|grade| word(&GRADES, grade).to_owned()))),
        }
    }

    /// Bits of the techniques that called; `None` when not all of them looked.
    pub(super) fn pattern(&self) -> Option<usize> {
        self.called.iter().enumerate().try_fold(0, |bits, (at, called)| Some(bits | usize::from((*called)?) << at))
    }
}

/// The value that all known ones share.
fn the_one(values: impl Iterator<Item = Option<String>>) -> Option<String> {
    let mut known = values.flatten();
    let first = known.next()?;
    known.all(|value| value == first).then_some(first)
}

fn mean(numbers: &[f64]) -> Option<f64> {
    (!numbers.is_empty()).then(|| numbers.iter().sum::<f64>() / numbers.len() as f64)
}

fn length_class(edges: &[f64], place: usize) -> String {
    match (place.checked_sub(1).map(|below| edges[below]), edges.get(place)) {
        (None, None) => "all lengths".into(),
        (None, Some(end)) => format!("below {end} mm"),
        (Some(begin), Some(end)) => format!("{begin} to below {end} mm"),
        (Some(begin), None) => format!("{begin} mm and longer"),
    }
}

/// A number of blades as people write it.
pub(super) fn blades_shown(blades: f64) -> String {
    if blades < 9.95 { format!("{blades:.1}") } else { format!("{blades:.0}") }
}

/// Every pair of so many techniques, by their places.
pub(super) fn pairs(techniques: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..techniques).flat_map(move |first| (first + 1..techniques).map(move |second| (first, second)))
}

/// A number with the right form of a word.
pub(super) fn counted(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}
