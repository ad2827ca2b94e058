//! One line of the records: what one technique answered on one blade at one inspection.

use crate::model::detection::{Access, Grade};
use crate::model::fleet::Side;
use jiff::civil::Date;
use std::fmt;

/// One look: what a technique answered on a blade, or on one place of its root, at an inspection.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Place in the file, counted from 1.
    pub line: usize,
    /// Row of blades.
    pub row: String,
    /// Blade within the row.
    pub blade: String,
    /// Inspection: its name where the file names it, else its date as 2031-03-31, or its year.
    pub inspection: String,
    /// Date or year of the look.
    pub when: When,
    /// Technique.
    pub technique: String,
    /// Grade of the procedure.
    pub grade: Option<Grade>,
    /// Surface condition of the root.
    pub surface: Option<String>,
    /// Where the blade was.
    pub access: Option<Access>,
    /// Who looked.
    pub inspector: Option<String>,
    /// Whether the technique called the blade (or the place).
    pub called: bool,
    /// Surface length that the technique reported, in mm.
    pub measured_length_mm: Option<f64>,
    /// Depth that the technique reported, in mm.
    pub measured_depth_mm: Option<f64>,
    /// Strength of the signal, in the technique's own unit.
    pub signal: Option<f64>,
    /// Whether there is a crack, where that was confirmed by other means.
    pub cracked: Option<bool>,
    /// Confirmed surface length, in mm.
    pub confirmed_length_mm: Option<f64>,
    /// Confirmed depth, in mm.
    pub confirmed_depth_mm: Option<f64>,
    /// Side of the root.
    pub side: Option<Side>,
    /// Serration, counted from the platform.
    pub serration: Option<u32>,
    /// Position along the serration.
    pub position: Option<u32>,
    /// Cells of the extra columns.
    pub extra: Vec<Option<String>>,
}

impl Line {
    /// Place in the root: side, serration and position, each where given.
    pub fn place(&self) -> (Option<Side>, Option<u32>, Option<u32>) {
        (self.side, self.serration, self.position)
    }

    /// Whether the line is of one place in the root, not of the blade as a whole.
    pub fn has_place(&self) -> bool {
        self.place() != (None, None, None)
    }
}

/// When a look took place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum When {
    /// On a day.
    Date(Date),
    /// In a year; a fraction is a part of it.
    Year(f64),
}

impl When {
    /// Calendar year with its fraction; 1 January is the whole number.
    pub fn year(self) -> f64 {
        match self {
            When::Date(date) => {
                let day = f64::from(date.day_of_year() - 1);
                f64::from(date.year()) + day / f64::from(date.days_in_year())
            }
            When::Year(year) => year,
        }
    }
}

impl fmt::Display for When {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            When::Date(date) => write!(f, "{date}"),
            When::Year(year) => write!(f, "{year}"),
        }
    }
}
