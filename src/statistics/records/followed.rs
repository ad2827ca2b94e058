//! Sizes of cracks that were followed: one line a size.

use super::cells::{Cells, decimal, is_whole};
use super::check::{replace_values, units_of_lines};
use super::columns::{Column, Sheet};
use super::faults::Faults;
use super::format::Format;
use super::header::Header;
use super::read::{self, Table};
use crate::bounds;
use crate::error::Result;
use std::collections::HashSet;
use std::path::Path;

const fn column(name: &'static str, takes: &'static str, meaning: &'static str) -> Column {
    Column { name, required: false, takes, meaning }
}

/// Columns of sizes of cracks that were followed. One of `depth_mm` and `length_mm` must be there too.
pub const SIZE_COLUMNS: [Column; 8] = [
    Column { required: true, ..column("crack", "text", "crack; the sizes of one crack have the same name") },
    Column {
        required: true,
        ..column("starts", "number", "starts of the machine until then, counted from any one moment")
    },
    column("depth_mm", "mm", "depth; each line has it or the length"),
    column("length_mm", "mm", "surface length"),
    column("hot_spot", "text", "hot spot in the study, as root.hot-spot, where not all lines are of one"),
    column("row", "text", "row in the study, where not all lines are of one"),
    column("technique", "text", "technique in the study, whose sizing error of lengths the size has"),
    column("sizing_sigma_log", "number", "standard deviation of the logarithm of the size, where it is no technique's"),
];

const SIZES: Sheet = Sheet {
    columns: &SIZE_COLUMNS,
    is_dated: false,
    example: "crack, starts, depth_mm, sizing_sigma_log",
    template: "",
};

/// One size of one crack.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SizeLine {
    /// Its place in the file, counted from 1.
    pub line: usize,
    /// The crack.
    pub crack: String,
    /// Starts of the machine until then.
    pub starts: f64,
    /// Depth, in mm; either this or the length.
    pub depth_mm: Option<f64>,
    /// Surface length, in mm.
    pub length_mm: Option<f64>,
    /// Hot spot, where the line says so.
    pub hot_spot: Option<String>,
    /// Row, where the line says so.
    pub row: Option<String>,
    /// Technique that it was measured with.
    pub technique: Option<String>,
    /// Standard deviation of the logarithm of the measured size.
    pub sizing_sigma_log: Option<f64>,
}

/// Sizes of cracks that were followed, in the order of the file.
///
/// # Example
/// ```
/// use serrata::statistics::records::{Format, Sizes};
///
/// let text = "crack,starts,depth_mm,sizing_sigma_log\nA,1200,0.8,0.1\nA,1900,1.4,0.1\n";
/// let sizes = Sizes::parse(text, "example", &Format::default())?;
/// assert_eq!((sizes.lines().len(), sizes.lines()[1].depth_mm), (2, Some(1.4)));
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Sizes {
    source: String,
    lines: Vec<SizeLine>,
    notes: Vec<String>,
}

impl Sizes {
    /// Reads a CSV file; see [`SIZE_COLUMNS`] for its columns and [`Format`] for what may vary.
    ///
    /// A line that breaks a rule refuses the file, whatever [`Format::bad_lines`] says: a crack without one of its sizes
    /// tells something else.
    ///
    /// # Errors
    /// Refuses a file that cannot be read or is not UTF-8 text, and lines that break a rule, all in one error.
    pub fn load(path: impl AsRef<Path>, format: &Format) -> Result<Sizes> {
        let path = path.as_ref();
        Sizes::parse(&read::text(path)?, &path.display().to_string(), format)
    }

    /// Reads the text of a CSV file; `source` names it in messages.
    ///
    /// # Errors
    /// As [`Sizes::load`].
    pub fn parse(text: &str, source: &str, format: &Format) -> Result<Sizes> {
        sizes(read::table(text, source, format, &SIZES)?, format)
    }

    /// Takes a table that some other program holds: names of its columns, and a text for each cell.
    ///
    /// Numbers are written with a decimal point; a blank text is unknown. Lines count from 1.
    ///
    /// # Errors
    /// As [`Sizes::load`].
    pub fn from_cells(header: Vec<String>, rows: Vec<Vec<String>>, source: &str, format: &Format) -> Result<Sizes> {
        sizes(read::cells(header, rows, source), format)
    }

    /// Source of the sizes.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The sizes.
    pub fn lines(&self) -> &[SizeLine] {
        &self.lines
    }

    /// Notes on how the file was read, in sentences.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }
}

fn sizes(mut table: Table, format: &Format) -> Result<Sizes> {
    let source = table.source.clone();
    let refused = |faults: Faults| faults.refusal(&source);
    let header = Header::of(&table, format, &SIZES).map_err(refused)?;
    let replaced = replace_values(&mut table, &header, format);
    let decimal = decimal(&table, &header, format).map_err(refused)?;
    let mut faults = Faults::default();
    let has = |name: &str| SIZES.index_of(name).is_some_and(|column| header.places[column].is_some());
    if !has("depth_mm") && !has("length_mm") {
        let at = (table.header_line > 0).then_some(table.header_line);
        faults.add(at, "depth_mm", "", "the column is missing, and there is no length_mm either", "add one of the two");
    }
    if table.rows.is_empty() {
        faults.add(None, "lines", "", "there is no line below the header", "add a line for each size");
    }
    if faults.count > 0 {
        return Err(refused(faults));
    }
    let mut lines = Vec::new();
    for row in &table.rows {
        if is_whole(row, &header, &mut faults) {
            lines.push(line(Cells { row, header: &header, decimal, faults: &mut faults }));
        }
    }
    if faults.count > 0 {
        return Err(refused(faults));
    }
    let mut notes = header.notes.clone();
    notes.extend(replaced);
    notes.extend(units_of_lines(&table, &header, &HashSet::new()));
    Ok(Sizes { source: table.source, lines, notes })
}

/// One line; where it has a fault, what stands in its place goes no further.
fn line(mut cells: Cells) -> SizeLine {
    let needs_starts = cells.cell("starts").is_none();
    if needs_starts {
        cells.fault("starts", "", "must not be blank", "write the starts until then: growth hangs on them");
    }
    let [depth_mm, length_mm] = ["depth_mm", "length_mm"].map(|name| (cells.cell(name).is_some(), cells.size(name)));
    match (depth_mm.0, length_mm.0) {
        (true, true) => {
            let rule = "stands beside a depth: a line has one size";
            let value = cells.cell("length_mm").unwrap_or_default();
            cells.fault("length_mm", value, rule, "give the other one a line of its own, of a crack of its own");
        }
        (false, false) => {
            let remedy = "write depth_mm or length_mm, or take the line out";
            cells.fault("depth_mm", "", "must not be blank where the length is", remedy);
        }
        _ => {}
    }
    SizeLine {
        line: cells.row.line,
        crack: cells.needed("crack"),
        starts: cells.within("starts", bounds::STARTS).unwrap_or(0.0),
        depth_mm: depth_mm.1,
        length_mm: length_mm.1,
        hot_spot: cells.text("hot_spot"),
        row: cells.text("row"),
        technique: cells.text("technique"),
        sizing_sigma_log: cells.within("sizing_sigma_log", bounds::SIGMA_LOG_ABOVE_ZERO),
    }
}
