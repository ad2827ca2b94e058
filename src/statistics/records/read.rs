//! From bytes to a table of cells: encoding, delimiter, quotes, header.

use super::columns::{Sheet, folded};
use super::format::{Decimal, Format};
use super::quotes;
use crate::error::{Error, Fault, Kind, Result};
use crate::foreign;
use std::path::Path;
use std::{fs, io};

/// Names and cells as they stand in the file.
pub(super) struct Table {
    pub source: String,
    pub header_line: usize,
    pub header: Vec<String>,
    pub rows: Vec<Row>,
    /// How cells are separated, in words; `None` for a table that was no text.
    pub separated_by: Option<&'static str>,
    /// Whether a comma within a number can be nothing but a mark of it.
    pub comma_is_free: bool,
}

/// One line of cells.
pub(super) struct Row {
    pub line: usize,
    pub cells: Vec<String>,
}

const DELIMITERS: [(char, &str); 3] = [(',', "commas"), (';', "semicolons"), ('\t', "tabs")];
const BYTE_ORDER_MARK: char = '\u{feff}';

/// The text of a CSV file.
///
/// # Errors
/// Refuses a file that cannot be read, a workbook, and text that is not UTF-8, and says how to save it.
pub fn text(path: &Path) -> Result<String> {
    let shown = path.display().to_string();
    if path.is_dir() {
        return Err(Error::file(&shown, "is a directory, not a file of records", "name the file inside it"));
    }
    let bytes = fs::read(path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => {
            Error::file(&shown, "there is no such file or directory", "check the name and the directory")
        }
        _ => Error::file(&shown, &error.to_string(), "check that the file can be read"),
    })?;
    const SAVE: &str = "save it as CSV UTF-8";
    if let Some(what) = foreign::seems(&bytes) {
        return Err(Error::file(&shown, &format!("is {what}, not CSV text"), "save the sheet as CSV UTF-8"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = 1 + good.iter().filter(|byte| **byte == b'\n').count();
        Error::file(&shown, &format!("is not UTF-8 text (line {line})"), SAVE)
    })
}

/// The cells of a table that is no text; lines count from 1, and numbers have a decimal point.
pub(super) fn cells(header: Vec<String>, rows: Vec<Vec<String>>, source: &str) -> Table {
    let rows = rows.into_iter().enumerate().map(|(index, cells)| Row { line: index + 1, cells });
    let rows = rows.filter(|row| has_content(&row.cells)).collect();
    Table { source: source.to_owned(), header_line: 0, header, rows, separated_by: None, comma_is_free: false }
}

/// Takes a text apart.
pub(super) fn table(text: &str, source: &str, format: &Format, sheet: &Sheet) -> Result<Table> {
    // Lines end in one way from here on: a lone carriage return ends a line too, and lines must count so.
    let text = &text.replace("\r\n", "\n").replace('\r', "\n");
    let refusal = |line, path: &str, value: &str, rule: &str, remedy: &str| {
        let fault = Fault {
            line,
            path: path.to_owned(),
            value: value.to_owned(),
            rule: rule.to_owned(),
            remedy: remedy.to_owned(),
        };
        Error { kind: Kind::Records { source: source.to_owned(), faults: vec![fault], count: 1 } }
    };
    let preamble = Preamble::of(text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text));
    let (body, before) = (preamble.body, preamble.lines);
    let header_line = before + 1;
    if body.trim().is_empty() {
        let remedy = format!("begin with a line of column names{}", sheet.template);
        return Err(refusal(None, "header", "", "there is no content", &remedy));
    }
    let first = body.lines().next().unwrap_or_default();
    let delimiter = match format.delimiter.or(preamble.delimiter) {
        Some(delimiter) => delimiter,
        None => delimiter_of(first, format, sheet).ok_or_else(|| {
            let rule = "is no header: with commas, semicolons or tabs between cells no known column shows clearly";
            let remedy = match first.starts_with('[') {
                true => "this seems to be a study; records begin with a line of column names, such as row, blade, year"
                    .to_owned(),
                false => format!("begin with a line of column names, such as {}", sheet.example),
            };
            refusal(Some(header_line), "header", &format!("{:.60}", first), rule, &remedy)
        })?,
    };
    let Some((_, words)) = DELIMITERS.into_iter().find(|(known, _)| *known == delimiter) else {
        let rule = "must be a comma, a semicolon or a tab";
        return Err(Error::argument("delimiter", format!("{delimiter:?}"), rule, "leave it out to have it read off"));
    };
    if delimiter == ',' && format.decimal == Some(Decimal::Comma) && !body.contains('"') {
        let rule = "cannot stand with commas between cells unless such numbers are in quotes";
        return Err(Error::argument("decimal", "comma", rule, "save the file with semicolons between cells"));
    }
    if let Some(line) = quotes::first_broken(body, delimiter as u8) {
        let rule = "a quoted cell is not closed, or has text after its closing quote";
        return Err(refusal(
            Some(before + line),
            "quotes",
            "",
            rule,
            "close it, and double a quote that is part of it",
        ));
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter as u8)
        .from_reader(body.as_bytes());
    let mut rows = Vec::new();
    let mut places = Places { body: body.as_bytes(), offset: 0, line: header_line };
    for record in reader.records() {
        // The text is UTF-8 and lines may differ in length, so that nothing is left to go wrong.
        let record = record.map_err(|error| Error::file(source, &error.to_string(), "save it anew as CSV UTF-8"))?;
        let line = places.line_of(record.position().map_or(0, |position| position.byte() as usize));
        rows.push(Row { line, cells: record.iter().map(str::to_owned).collect() });
    }
    let header = rows.remove(0).cells;
    rows.retain(|row| has_content(&row.cells));
    Ok(Table {
        source: source.to_owned(),
        header_line,
        header,
        rows,
        separated_by: Some(words),
        comma_is_free: delimiter != ',',
    })
}

/// Lines of offsets that come in order.
struct Places<'b> {
    body: &'b [u8],
    offset: usize,
    line: usize,
}

impl Places<'_> {
    /// Line on which a record begins; the reader's offset may still stand before blank lines.
    fn line_of(&mut self, offset: usize) -> usize {
        let blank = self.body[offset..].iter().take_while(|byte| **byte == b'\n').count();
        let begin = offset + blank;
        self.line += self.body[self.offset..begin].iter().filter(|byte| **byte == b'\n').count();
        self.offset = begin;
        self.line
    }
}

fn has_content(cells: &[String]) -> bool {
    cells.iter().any(|cell| !cell.trim().is_empty())
}

/// What stands before the header: blank lines, comments that begin with `#`, and `sep=` of spreadsheets.
struct Preamble<'t> {
    lines: usize,
    delimiter: Option<char>,
    body: &'t str,
}

impl<'t> Preamble<'t> {
    fn of(text: &'t str) -> Self {
        let mut preamble = Preamble { lines: 0, delimiter: None, body: text };
        while let Some((first, rest)) = preamble.body.split_once('\n') {
            match first.strip_prefix("sep=").map(|after| after.chars().collect::<Vec<_>>()) {
                Some(after) if after.len() == 1 => preamble.delimiter = Some(after[0]),
                _ if first.trim().is_empty() || first.starts_with('#') => {}
                _ => break,
            }
            preamble.lines += 1;
            preamble.body = rest;
        }
        preamble
    }
}

/// The one delimiter with which the header holds most known columns.
fn delimiter_of(header: &str, format: &Format, sheet: &Sheet) -> Option<char> {
    let known = |cell: &str| {
        let cell = folded(cell.trim().trim_matches('"'));
        sheet.columns.iter().any(|column| column.name == cell)
            || format.columns.iter().any(|(_, theirs)| folded(theirs) == cell)
    };
    let counted =
        DELIMITERS.map(|(delimiter, _)| (header.split(delimiter).filter(|cell| known(cell)).count(), delimiter));
    let most = counted.iter().map(|(count, _)| *count).max().filter(|most| *most > 0)?;
    let mut best = counted.iter().filter(|(count, _)| *count == most);
    match (best.next(), best.next()) {
        (Some((_, delimiter)), None) => Some(*delimiter),
        _ => None,
    }
}
