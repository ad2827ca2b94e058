//! The study file: TOML text to [`Study`] and back.
//!
//! A study file says everything there is to say about a study: the fleet, how it is run, how cracks
//! start and grow, the techniques, the strategies and the costs. No number that drives risk has a
//! default. Every fault is found in one pass and named with its line, its key and its remedy.
//!
//! ```
//! use serrata::Study;
//!
//! let study = Study::load("demo-data/reference-study.toml")?;
//! let again = Study::parse(&study.to_toml(), "a copy")?;
//! assert_eq!(again, study);
//!
//! let refused = Study::parse("[study]\nname = 3", "mine.toml").unwrap_err();
//! assert!(refused.to_string().contains("line 2, study.name = 3\n    must be text, not a whole number"));
//! # Ok::<(), serrata::Error>(())
//! ```
//!
#![doc = include_str!("keys.md")]

mod check;
mod distributions;
mod edit;
mod evidence;
mod fleet;
mod given;
mod growth;
mod hot_spot;
mod ids;
mod initiation;
#[cfg(test)]
mod keys;
mod limit;
mod loads;
mod persistence;
mod plan_grid;
mod reader;
mod section;
mod strategies;
mod surface_treatment;
mod techniques;
mod uncertain;
mod window;
mod wording;
mod write;

pub use plan_grid::{PlanGrid, Varied};

use crate::error::{Error, Fault, Result};
use crate::foreign;
use crate::model::{Study, StudyParts};
use reader::{Place, Report};
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use toml_edit::{Document, TomlError};
use wording::{line_at, shortened, without_comma};

impl Study {
    /// Reads a study file.
    ///
    /// # Errors
    /// Refuses a file that cannot be read, that is not UTF-8 text or not TOML, and a study that breaks
    /// a rule; [`Error::faults`] then holds every fault in the order of the file.
    pub fn load(path: impl AsRef<Path>) -> Result<Study> {
        let path = path.as_ref();
        let shown = path.display().to_string();
        if path.is_dir() {
            return Err(Error::file(&shown, "is a directory, not a study file", "name the study file inside it"));
        }
        let bytes = fs::read(path).map_err(|error| {
            let remedy = match error.kind() {
                io::ErrorKind::NotFound => "check the name and the directory",
                _ => "check that the file can be read",
            };
            Error::file(&shown, &reason(&error), remedy)
        })?;
        if let Some(what) = foreign::seems(&bytes) {
            let remedy = "name the study file: text that begins like `serrata template`";
            return Err(Error::file(&shown, &format!("is {what}, not a study file"), remedy));
        }
        let text = str::from_utf8(&bytes).map_err(|error| {
            let line = 1 + bytes[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count();
            Error::file(&shown, &format!("is not UTF-8 text (line {line})"), "save it as UTF-8 in a text editor")
        })?;
        Study::parse(text, &shown)
    }

    /// Reads the text of a study file; `source` names it in messages.
    ///
    /// # Errors
    /// As [`Study::load`].
    pub fn parse(text: &str, source: &str) -> Result<Study> {
        let document = Document::parse(text).map_err(|error| Error::study(source, vec![not_toml(text, &error)]))?;
        let report = Report::new(text);
        let study = Place::of_file(&report, document.as_table()).table(check::study);
        match study {
            Some(study) if !report.has_faults() => Ok(study.read_from(text)),
            _ => Err(Error::study(source, report.into_faults())),
        }
    }

    /// A study of parts.
    ///
    /// # Errors
    /// Refuses what a study file with these parts would be refused for, with every fault, and parts that name another one
    /// by a number that it does not have.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    ///
    /// let mut parts = Study::load("demo-data/reference-study.toml")?.into_parts();
    /// parts.costs.new_blade_cost *= 1.1;
    /// let dear = Study::new(parts.clone())?;
    /// parts.costs.new_blade_cost = -1.0;
    /// assert!(Study::new(parts).unwrap_err().to_string().contains("costs.new_blade_cost = -1"));
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn new(parts: StudyParts) -> Result<Study> {
        parts.check_numbers()?;
        // The rules have one home: those of the file.
        Study::parse(&Study::of_checked(parts).to_toml(), "study")
    }

    /// Text of a small study file to begin with: invented, commented, and ready to run.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    ///
    /// assert_eq!(Study::parse(Study::template(), "template")?.rows.len(), 1);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn template() -> &'static str {
        include_str!("template.toml")
    }

    /// The text of a study file that reads back as exactly this study.
    ///
    /// It is the file that the study was read from, word for word, with its comments and in its form; changed values
    /// stand in it where the old ones stood. A study of parts is worded anew.
    pub fn to_toml(&self) -> String {
        self.text().map_or_else(|| write::study(self), str::to_owned)
    }

    /// Writes a study file, in whole or not at all.
    ///
    /// # Errors
    /// Says why the file cannot be written; a file that was there before is then unchanged.
    pub fn save(&self, path: impl AsRef<Path>) -> Result<()> {
        static WRITTEN: AtomicU64 = AtomicU64::new(0);
        let path = path.as_ref();
        let shown = path.display().to_string();
        let refusal = |reason: &str| Error::file(&shown, reason, "choose a place that can be written to");
        if path.is_dir() {
            return Err(refusal("is a directory"));
        }
        // A link stays a link: what it points to is replaced.
        let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let name = target.file_name().ok_or_else(|| refusal("is not the name of a file"))?;
        let number = WRITTEN.fetch_add(1, Ordering::Relaxed);
        let mut beside = std::ffi::OsString::from(".");
        beside.push(name);
        beside.push(format!(".{}-{number}.part", std::process::id()));
        let beside = target.with_file_name(beside);
        write_and_rename(&self.to_toml(), &beside, &target).map_err(|error| {
            // Nothing half-written stays behind; that it cannot be removed adds nothing to the report.
            let _ = fs::remove_file(&beside);
            refusal(&reason(&error))
        })
    }
}

fn write_and_rename(text: &str, beside: &PathBuf, target: &Path) -> io::Result<()> {
    let mut file = File::create_new(beside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(beside, target)
}

fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file or directory".into(),
        io::ErrorKind::PermissionDenied => "permission is refused".into(),
        _ => format!("cannot be used: {error}"),
    }
}

/// Fault of a text that is not TOML, with its place.
fn not_toml(text: &str, error: &TomlError) -> Fault {
    let line = error.span().map(|span| line_at(text, span.start));
    let written = line.and_then(|line| text.lines().nth(line - 1)).map_or("", str::trim);
    let path = if written.is_empty() { "end of the text".to_owned() } else { shortened(written) };
    let (rule, remedy) = if error.message().contains("duplicate key") {
        let first = line.and_then(|line| first_of_two(text, line));
        let first = first.map_or_else(String::new, |first| format!(", on line {first}"));
        (format!("this key or id is there already{first}"), "rename it, or remove one of the two".to_owned())
    } else if let Some(meant) = number_with_comma(written) {
        ("has a comma in a number".to_owned(), format!("write {meant}"))
    } else if text.trim_start().starts_with('{') {
        ("is not TOML but seems to be JSON".to_owned(), NOT_A_STUDY.to_owned())
    } else if line == Some(1) && written.matches([',', ';', '\t']).count() > 1 && !written.contains('=') {
        ("is not TOML but seems to be a table, such as inspection records".to_owned(), NOT_A_STUDY.to_owned())
    } else {
        let rule = format!("is not TOML: {}", in_plain_words(error.message()));
        (rule, "correct the line; text stands in quotes, lists in brackets, tables in braces".to_owned())
    };
    Fault { line, path, value: String::new(), rule, remedy }
}

const NOT_A_STUDY: &str = "a study begins like `serrata template`; records are read by `serrata records`";

/// Line on which the key or the header of a line stood before.
fn first_of_two(text: &str, line: usize) -> Option<usize> {
    let bare = |line: &str| line.split('#').next().unwrap_or_default().trim().to_owned();
    let lines: Vec<String> = text.lines().take(line).map(bare).collect();
    let (last, before) = lines.split_last()?;
    if last.starts_with('[') {
        return before.iter().position(|line| line == last).map(|index| index + 1);
    }
    let key = |line: &str| line.split_once('=').map(|(key, _)| key.trim().to_owned());
    let of_table = before.iter().enumerate().rev().take_while(|(_, line)| !line.starts_with('['));
    of_table.filter(|(_, line)| key(line) == key(last)).last().map(|(index, _)| index + 1)
}

/// What is meant by a number with a comma in it, in a line of keys and values.
fn number_with_comma(line: &str) -> Option<String> {
    line.split('=').skip(1).find_map(|after| {
        let value = after.trim_start();
        without_comma(
            &value[..value.find(|c: char| !(c.is_ascii_digit() || "+-.,".contains(c))).unwrap_or(value.len())],
        )
    })
}

/// The parser's reason in the words of this crate.
fn in_plain_words(reason: &str) -> String {
    let words = [
        ("string values must be quoted, expected literal string", "text must stand in quotes"),
        ("inline table", "table in braces"),
        ("array table", "header of a list of tables"),
        ("unclosed table", "unclosed header"),
        ("array", "list"),
        ("basic string", "text"),
        ("literal string", "text"),
        ("string", "text"),
        ("floating-point number", "number"),
        ("float", "number"),
        ("integer number", "whole number"),
        ("boolean", "true or false"),
        ("overflowed", "is too large"),
    ];
    words.iter().fold(reason.to_owned(), |reason, (from, to)| reason.replace(from, to))
}
