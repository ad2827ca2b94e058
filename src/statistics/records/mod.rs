//! Inspection records: read, checked, grouped.
//!
//! One [`Line`] says what one technique answered on one blade (or on one place of its root) at one
//! inspection. Unknown values are `None`; nothing is guessed. A line that breaks a rule is either
//! refused with the whole file, or, on request, left out and reported: lines read = lines kept +
//! lines left out, always.
//!
//! # Grouping
//!
//! An *inspection* is named by the column `inspection` where there is one, else by the date or year: looks on
//! 2 and 3 April are then two inspections, and a note says so. [`Records::side_by_side`] gives, for each
//! blade of a row at each inspection, all lines of it, whatever technique they are of:
//! [`BladeLooks::called_by`] answers for a technique `Some(true)` when any of its lines on that blade is
//! a call, `Some(false)` when it looked and called nothing, and `None` when it did not look.
//!
//! ```
//! use serrata::statistics::records::{Format, Records};
//!
//! let text = "row,blade,year,technique,called\nR1,007,2031,eddy-current,yes\nR1,007,2031,penetrant,no\n";
//! let records = Records::parse(text, "example", &Format::default())?;
//! let blade = &records.side_by_side()[0];
//! assert_eq!((blade.blade, blade.called_by("eddy-current")), ("007", Some(true)));
//! assert_eq!(blade.called_by("in-place-ultrasonic"), None);
//! # Ok::<(), serrata::Error>(())
//! ```

mod blade_looks;
mod cells;
mod check;
mod columns;
mod conflicts;
mod faults;
mod followed;
mod format;
mod header;
mod line;
mod load;
mod oddities;
mod quotes;
mod read;
mod summary;
mod template;
mod units;

pub use blade_looks::BladeLooks;
pub use columns::{ACCESS, COLUMNS, Column, GRADES, SIDES, word};
pub(crate) use faults::Faults;
pub use followed::{SIZE_COLUMNS, SizeLine, Sizes};
pub use format::{BadLines, DateOrder, Decimal, Format};
pub use line::{Line, When};
pub use read::text as read_text;
pub use summary::{Summary, TechniqueCount};
pub use template::template;

use crate::error::Fault;
use std::collections::BTreeMap;

/// Inspection records that keep every rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Records {
    source: String,
    style: String,
    lines: Vec<Line>,
    present: Vec<&'static str>,
    extra_columns: Vec<String>,
    notes: Vec<String>,
    left_out: LeftOut,
}

/// Lines that broke a rule and were left out on request.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LeftOut {
    /// Their places in the file, counted from 1, in order.
    pub lines: Vec<usize>,
    /// Their faults; at most [`Records::MOST_FAULTS`].
    pub faults: Vec<Fault>,
    /// Number of faults in all.
    pub fault_count: usize,
}

impl Records {
    /// Faults that a refusal shows in full; it always says how many there are.
    pub const MOST_FAULTS: usize = faults::MOST_FAULTS;

    /// The lines, in the order of the file.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// Source of the records.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Format of the file, such as `semicolons, decimal comma`.
    pub fn style(&self) -> &str {
        &self.style
    }

    /// No records, for a study whose `past_looks` say what was found.
    pub fn none() -> Records {
        Records {
            source: "no records".to_owned(),
            style: String::new(),
            lines: Vec::new(),
            present: Vec::new(),
            extra_columns: Vec::new(),
            notes: Vec::new(),
            left_out: LeftOut::default(),
        }
    }

    /// These, and some more of other rows.
    pub(crate) fn and(&self, other: &Records) -> Records {
        Records { lines: self.lines.iter().chain(&other.lines).cloned().collect(), ..self.clone() }
    }

    /// Those of looks before a year.
    pub(crate) fn before(&self, year: f64) -> Records {
        let lines = self.lines.iter().filter(|line| line.when.year() < year).cloned().collect();
        Records { lines, ..self.clone() }
    }

    /// Names of the columns that serrata does not know; each line keeps their cells, in this order.
    pub fn extra_columns(&self) -> &[String] {
        &self.extra_columns
    }

    /// Columns of serrata that the file has.
    pub fn present_columns(&self) -> &[&'static str] {
        &self.present
    }

    /// Notes on values that are allowed but may be slips, in sentences.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Lines that were left out on request.
    pub fn left_out(&self) -> &LeftOut {
        &self.left_out
    }

    /// Lines read: those kept and those left out. Lines without any content do not count.
    pub fn lines_read(&self) -> usize {
        self.lines.len() + self.left_out.lines.len()
    }

    /// The techniques, in alphabetical order.
    pub fn techniques(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self.lines.iter().map(|line| line.technique.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The lines of one technique, in the order of the file.
    pub fn of_technique<'r>(&'r self, technique: &'r str) -> impl Iterator<Item = &'r Line> {
        self.lines.iter().filter(move |line| line.technique == technique)
    }

    /// Each blade at each inspection with all looks at it, in order of row, blade and inspection.
    pub fn side_by_side(&self) -> Vec<BladeLooks<'_>> {
        let mut groups: BTreeMap<[&str; 3], Vec<&Line>> = BTreeMap::new();
        for line in &self.lines {
            groups.entry([&line.row, &line.blade, &line.inspection]).or_default().push(line);
        }
        let groups = groups.into_iter();
        groups.map(|([row, blade, inspection], lines)| BladeLooks { row, blade, inspection, lines }).collect()
    }
}
