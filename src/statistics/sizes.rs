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
