//! What records say and a study given them does not use.

use super::past::RowPast;
use crate::model::Study;
use crate::statistics::records::{Line, Records};

/// In sentences; `with_found` has the records and what `past_looks` say.
pub(super) fn notes(study: &Study, records: &Records, with_found: &Records, pasts: &[RowPast]) -> Vec<String> {
    let mut notes = Vec::new();
    let mut note = |count: usize, of: &str, words: &str| {
        if count > 0 {
            notes.push(format!("{count} {of}{} {words}", if count == 1 { "" } else { "s" }));
        }
    };
    let called = |says: &dyn Fn(&Line) -> bool| records.lines().iter().filter(|line| line.called && says(line)).count();
    let has_depth = |line: &Line| line.measured_depth_mm.or(line.confirmed_depth_mm).is_some();
    note(called(&has_depth), "called line", "with a depth, which is not used: lengths alone are weighed.");
    note(called(&Line::has_place), "called line", "with a place, which is not used: the crack may be at any hot spot.");
    let unweighed: usize = pasts.iter().map(|past| past.history.finds_with_unused_lengths()).sum();
    note(unweighed, "find", "with more than two lengths, of which the two finest count.");
    let told = |row: &&crate::model::fleet::Row| {
        let of_row = |records: &Records| records.lines().iter().any(|line| line.row == row.id && line.called);
        of_row(with_found) && !of_row(records)
    };
    let told: Vec<&str> = study.rows.iter().filter(told).map(|row| row.id.as_str()).collect();
    if !told.is_empty() {
        notes.push(format!(
            "Which blades of {} were called is not said. Those renewed then are taken, or else the oldest: if younger ones \
             were, cracks start and grow faster there than is believed.",
            told.join(", ")
        ));
    }
    notes
}
