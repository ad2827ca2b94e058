//! Inspection records: read, checked, grouped.
//!
//! One [`Line`] says what one technique answered on one blade (or on one place of its root) at one
//! inspection. What is not known is `None`; nothing is guessed. A line that breaks a rule is either
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

mod cells;
mod check;
mod columns;
mod conflicts;
mod format;
mod header;
mod line;
mod oddities;
mod quotes;
mod read;
mod summary;
mod template;
mod units;

pub use columns::{ACCESS, COLUMNS, Column, GRADES, SIDES, word};
pub use format::{BadLines, DateOrder, Decimal, Format};
pub use line::{Line, When};
pub use read::text as read_text;
pub use summary::{Summary, TechniqueCount};
pub use template::template;

use crate::error::{Fault, Result};
use std::collections::BTreeMap;
use std::path::Path;

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
    /// What is wrong with them; at most [`Records::MOST_FAULTS`].
    pub faults: Vec<Fault>,
    /// How many faults there are in all.
    pub fault_count: usize,
}

/// All looks at one blade at one inspection.
#[derive(Debug, Clone, PartialEq)]
pub struct BladeLooks<'r> {
    /// Row.
    pub row: &'r str,
    /// Blade.
    pub blade: &'r str,
    /// Inspection: its name, date or year.
    pub inspection: &'r str,
    /// The lines, in the order of the file.
    pub lines: Vec<&'r Line>,
}

impl BladeLooks<'_> {
    /// Whether a technique called the blade; `None` when it did not look.
    pub fn called_by(&self, technique: &str) -> Option<bool> {
        let mut looks = self.lines.iter().filter(|line| line.technique == technique).peekable();
        looks.peek()?;
        Some(looks.any(|line| line.called))
    }

    /// The blade's longest confirmed length, in mm.
    pub fn confirmed_length_mm(&self) -> Option<f64> {
        self.lines.iter().filter_map(|line| line.confirmed_length_mm).reduce(f64::max)
    }

    /// Whether the blade is known to be cracked or known to be free of cracks; `None` when it is not known.
    ///
    /// One line that knows of a crack is enough; all lines that know must agree on a blade free of cracks.
    pub fn cracked(&self) -> Option<bool> {
        let mut known = self.lines.iter().filter_map(|line| line.cracked).peekable();
        known.peek()?;
        Some(known.any(|cracked| cracked))
    }
}

impl Records {
    /// Faults that a refusal shows in full; it always says how many there are.
    pub const MOST_FAULTS: usize = 50;

    /// Reads a CSV file; see the [`template`] for its columns and [`Format`] for what may vary.
    ///
    /// # Errors
    /// Refuses a file that cannot be read or is not UTF-8 text, and one with a line that breaks a rule,
    /// naming line, value and rule; lines are left out instead only when [`Format::bad_lines`] says so.
    pub fn load(path: impl AsRef<Path>, format: &Format) -> Result<Records> {
        let path = path.as_ref();
        Records::parse(&read_text(path)?, &path.display().to_string(), format)
    }

    /// Reads the text of a CSV file; `source` names it in messages.
    ///
    /// # Errors
    /// As [`Records::load`].
    pub fn parse(text: &str, source: &str, format: &Format) -> Result<Records> {
        check::records(read::table(text, source, format)?, format)
    }

    /// Takes a table that some other program holds: names of its columns, and a text for each cell.
    ///
    /// Numbers are written with a decimal point; a blank text is unknown. Lines count from 1.
    ///
    /// # Errors
    /// As [`Records::load`].
    pub fn from_cells(header: Vec<String>, rows: Vec<Vec<String>>, source: &str, format: &Format) -> Result<Records> {
        check::records(read::cells(header, rows, source), format)
    }

    /// The lines, in the order of the file.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// What the records were read from.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// How the file is written, such as `semicolons, decimal comma`.
    pub fn style(&self) -> &str {
        &self.style
    }

    /// Names of the columns that serrata does not know; each line keeps their cells, in this order.
    pub fn extra_columns(&self) -> &[String] {
        &self.extra_columns
    }

    /// Columns of serrata that the file has.
    pub fn present_columns(&self) -> &[&'static str] {
        &self.present
    }

    /// What is allowed yet may be a slip, in sentences.
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

    /// Counts for one screen.
    pub fn summary(&self) -> Summary {
        Summary::new(self)
    }
}
