//! The columns of inspection records, declared once: they make the template, the checks and the messages.

use crate::model::detection::{Access, Grade};
use crate::model::fleet::Side;

/// A column that serrata knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Name in the header line.
    pub name: &'static str,
    /// Whether it must be there, with no blank cell.
    pub required: bool,
    /// What its cells may hold.
    pub takes: &'static str,
    /// What it says.
    pub meaning: &'static str,
}

const fn required(name: &'static str, takes: &'static str, meaning: &'static str) -> Column {
    Column { name, required: true, takes, meaning }
}

const fn optional(name: &'static str, takes: &'static str, meaning: &'static str) -> Column {
    Column { name, required: false, takes, meaning }
}

/// All columns, in the order of the template. One of `date` and `year` must be there too.
pub const COLUMNS: [Column; 20] = [
    required("row", "text", "row of blades"),
    required("blade", "text", "blade within the row; 007 stays 007"),
    optional("inspection", "text", "name of the inspection; without it, lines of one date or year belong together"),
    optional("date", "date", "day of the look"),
    optional("year", "year", "year of the look, where the day is not known; 2031.5 is its middle"),
    required("technique", "text", "technique"),
    optional("grade", "standard or enhanced", "grade of the written procedure"),
    optional("surface", "text", "surface condition of the root"),
    optional("access", "in-place or blades-out", "where the blade was"),
    optional("inspector", "text", "who looked"),
    required("called", "yes or no", "whether the technique called it"),
    optional("measured_length_mm", "mm", "surface length that the technique reported"),
    optional("measured_depth_mm", "mm", "depth that the technique reported"),
    optional("signal", "number", "strength of the signal, in the technique's own unit"),
    optional("cracked", "yes or no", "whether there is a crack, where confirmed by other means"),
    optional("confirmed_length_mm", "mm", "confirmed surface length"),
    optional("confirmed_depth_mm", "mm", "confirmed depth"),
    optional("side", "suction or pressure", "side of the root: suction is convex"),
    optional("serration", "whole number", "serration, counted from the platform"),
    optional("position", "whole number", "position along the serration, counted"),
];

/// What may be written for yes and no, in small letters.
pub(super) const YES_NO: [(&str, bool); 8] = [
    ("yes", true),
    ("no", false),
    ("true", true),
    ("false", false),
    ("y", true),
    ("n", false),
    ("1", true),
    ("0", false),
];
/// How grades of a procedure are written.
pub const GRADES: [(&str, Grade); 2] = [("standard", Grade::Standard), ("enhanced", Grade::Enhanced)];
/// How it is written where a blade was.
pub const ACCESS: [(&str, Access); 2] = [("in-place", Access::InPlace), ("blades-out", Access::BladesOut)];
/// How sides of a root are written.
pub const SIDES: [(&str, Side); 2] = [("suction", Side::Suction), ("pressure", Side::Pressure)];

/// How one of these values is written, by one of these lists.
pub fn word<T: PartialEq>(words: &[(&'static str, T)], value: T) -> &'static str {
    words.iter().find(|(_, known)| *known == value).map_or("", |(word, _)| word)
}

/// A header cell as it is compared: without case and outer blanks.
pub(super) fn folded(name: &str) -> String {
    name.trim().to_lowercase()
}

/// What a kind of file holds: its columns, and how messages speak of it.
pub(super) struct Sheet {
    pub columns: &'static [Column],
    /// Whether each line needs a date or a year.
    pub is_dated: bool,
    /// Names of columns to begin with.
    pub example: &'static str,
    /// What writes such a file, as the end of a sentence; may be empty.
    pub template: &'static str,
}

/// Inspection records.
pub(super) const LOOKS: Sheet = Sheet {
    columns: &COLUMNS,
    is_dated: true,
    example: "row, blade, year, technique, called",
    template: "; `serrata records template` writes one",
};

impl Sheet {
    /// Index of a column by its name.
    pub fn index_of(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.name == name)
    }
}

/// How alike two names are, from 0 to 1, whatever their case and punctuation.
pub(super) fn likeness(one: &str, other: &str) -> f64 {
    let bare = |name: &str| name.chars().filter(|c| c.is_alphanumeric()).collect::<String>().to_lowercase();
    strsim::jaro_winkler(&bare(one), &bare(other))
}
