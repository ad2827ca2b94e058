//! Records from a file, from its text or from a table of another program.

use super::columns::LOOKS;
use super::format::Format;
use super::{Records, check, read};
use crate::error::Result;
use std::path::Path;

impl Records {
    /// Reads a CSV file; see the [`template`](super::template()) for its columns and [`Format`] for what may vary.
    ///
    /// # Errors
    /// Refuses a file that cannot be read or is not UTF-8 text, and one with a line that breaks a rule,
    /// naming line, value and rule; lines are left out instead only if [`Format::bad_lines`] asks for it.
    pub fn load(path: impl AsRef<Path>, format: &Format) -> Result<Records> {
        let path = path.as_ref();
        Records::parse(&read::text(path)?, &path.display().to_string(), format)
    }

    /// Reads the text of a CSV file; `source` names it in messages.
    ///
    /// # Errors
    /// As [`Records::load`].
    pub fn parse(text: &str, source: &str, format: &Format) -> Result<Records> {
        check::records(read::table(text, source, format, &LOOKS)?, format)
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
}
