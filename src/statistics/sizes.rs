//! True sizes from records: a line's own, or that of another line on the same place.

use super::records::{Line, Records};
use crate::error::{Error, Result};
use crate::model::detection::SizeMeasure;
use std::collections::HashMap;

/// Why a line without a size is not used.
pub(super) const NO_SIZE: &str = "its true size is not known";

/// Row, blade, inspection, and place in the root.
type Spot<'r> = (&'r str, &'r str, &'r str, String);

/// Sizes by place, shared between the lines on it.
pub(super) struct Sizes<'r> {
    by_spot: HashMap<Spot<'r>, f64>,
    /// Whose looks these are, and whose sizes.
    pub from: String,
}

impl<'r> Sizes<'r> {
    /// Confirmed sizes, or those that the technique `by` measured, for the lines of a technique.
    ///
    /// # Errors
    /// Refuses a technique that the records do not have.
    pub fn of(records: &'r Records, technique: &str, measure: SizeMeasure, by: Option<&str>) -> Result<Self> {
        let known = records.techniques();
        if let Some(name) = [Some(technique), by].into_iter().flatten().find(|name| !known.contains(name)) {
            let (rule, remedy) = ("the records have no such technique", format!("choose one of {}", known.join(", ")));
            return Err(Error::argument("technique", format!("{name:?}"), rule, &remedy));
        }
        let mut by_spot = HashMap::new();
        for line in records.lines().iter().filter(|line| by.is_none_or(|by| line.technique == by)) {
            let (length, depth) = match by {
                None => (line.confirmed_length_mm, line.confirmed_depth_mm),
                Some(_) => (line.measured_length_mm, line.measured_depth_mm),
            };
            let size = match measure {
                SizeMeasure::Length => length,
                SizeMeasure::Depth => depth,
                SizeMeasure::GeometricMean => length.zip(depth).map(|(length, depth)| (length * depth).sqrt()),
            };
            if let Some(size) = size {
                by_spot.entry(spot(line)).or_insert(size);
            }
        }
        let measured = by.map_or_else(String::new, |by| format!(", sizes as measured by {by}"));
        Ok(Sizes { by_spot, from: format!("{technique} of {}{measured}", records.source()) })
    }

    /// Size at a line's place in mm, 0 where that is known to be free of cracks; `None` when it is not known.
    pub fn size_mm(&self, line: &'r Line) -> Option<f64> {
        if line.cracked == Some(false) { Some(0.0) } else { self.by_spot.get(&spot(line)).copied() }
    }
}

/// Counts a line that is not used, by reason.
pub(super) fn count_unused(unused: &mut Vec<(String, usize)>, why: &str) {
    match unused.iter_mut().find(|(known, _)| known == why) {
        Some((_, count)) => *count += 1,
        None => unused.push((why.to_owned(), 1)),
    }
}

fn spot(line: &Line) -> Spot<'_> {
    (&line.row, &line.blade, &line.inspection, format!("{:?}", line.place()))
}

/// How sizes spread that carry a normal error, on the scale of a fit.
pub(super) struct Spread {
    /// Mean.
    pub mean: f64,
    /// Standard deviation of the true sizes.
    pub of_true: f64,
    /// How far a measured size is to be drawn towards the mean: by one less this share.
    pub kept: f64,
}

impl Spread {
    /// Of measured sizes and the standard deviation of their errors.
    ///
    /// # Errors
    /// Refuses an error as large as the whole spread.
    pub fn of(sizes: &[f64], error: f64) -> Result<Spread> {
        let count = sizes.len() as f64;
        let mean = sizes.iter().sum::<f64>() / count;
        let spread = (sizes.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count).sqrt();
        let kept = 1.0 - (error / spread).powi(2);
        if kept > 0.0 {
            return Ok(Spread { mean, of_true: spread * kept.sqrt(), kept });
        }
        Err(Error::data(
            "size-error",
            format!(
                "the error of the sizes ({error}) is as large as their whole spread ({spread:.3} in the logarithm)"
            ),
            "such sizes say nothing of the true ones",
            "measure the sizes better, or take looks over a wider range",
        ))
    }
}
