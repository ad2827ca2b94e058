//! The one error: what was wrong, where, and what to do about it.

use crate::text::is_unseen;
use std::fmt::{self, Write};

/// One thing wrong with a study file: where it stands, what it says, the rule it breaks, the remedy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Line in the file, counted from 1; `None` when the fault has no place in a file.
    pub line: Option<usize>,
    /// Key path, such as `techniques.eddy-current.q50_mm`.
    pub path: String,
    /// What the file says there, as written; empty when something is missing.
    pub value: String,
    /// The rule that is broken.
    pub rule: String,
    /// What would be right.
    pub remedy: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "  line {line}, {}", self.path)?,
            None => write!(f, "  {}", self.path)?,
        }
        if !self.value.is_empty() {
            write!(f, " = {}", self.value)?;
        }
        write!(f, "\n    {}\n    {}", self.rule, self.remedy)
    }
}

/// Anything that serrata refuses or cannot finish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    pub(crate) kind: Kind,
}

/// What an [`Error`] is about; the bindings turn each kind into its own exception.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A study that cannot be read or breaks a rule.
    Study { source: String, faults: Vec<Fault> },
    /// A file that cannot be opened, read or written.
    File { path: String, reason: String, remedy: String },
    /// An argument of a call that breaks a rule.
    Argument { name: String, value: String, rule: String, remedy: String },
    /// The caller asked for the work to stop.
    Interrupted { done: u64, wanted: u64, of: &'static str },
    /// The caller asked to stop and to keep what was finished, and nothing was.
    NothingFinished { first: u64 },
    /// The study's inputs contradict a fact it states.
    Contradiction { what: String, remedy: String },
    /// Records with lines that break rules; the first faults stand for all of them.
    Records { source: String, faults: Vec<Fault>, count: usize },
    /// Data that cannot answer what is asked of them; `reason` is one short name for programs.
    Data { reason: &'static str, what: String, rule: String, remedy: String },
}

impl Error {
    /// A study with the faults found in it; `source` names the file.
    pub(crate) fn study(source: &str, faults: Vec<Fault>) -> Self {
        Error { kind: Kind::Study { source: source.to_owned(), faults } }
    }

    /// An argument outside its allowed range.
    pub(crate) fn argument(name: &str, value: impl fmt::Display, rule: &str, remedy: &str) -> Self {
        Error {
            kind: Kind::Argument {
                name: name.to_owned(),
                value: value.to_string(),
                rule: rule.to_owned(),
                remedy: remedy.to_owned(),
            },
        }
    }

    /// A file that cannot be used.
    pub(crate) fn file(path: &str, reason: &str, remedy: &str) -> Self {
        Error { kind: Kind::File { path: path.to_owned(), reason: reason.to_owned(), remedy: remedy.to_owned() } }
    }

    /// A row that runs though no life of it comes so far.
    pub(crate) fn never_comes_through(row: &str) -> Self {
        Error {
            kind: Kind::Contradiction {
                what: format!(
                    "rows.{row}: no life in 1000 reaches the start of the study without a loss, yet the row runs"
                ),
                remedy: "look at its initiation and growth, or state its past_looks and renewed blades".to_owned(),
            },
        }
    }

    /// Data that cannot answer what is asked of them.
    pub(crate) fn data(reason: &'static str, what: impl Into<String>, rule: &str, remedy: &str) -> Self {
        Error { kind: Kind::Data { reason, what: what.into(), rule: rule.to_owned(), remedy: remedy.to_owned() } }
    }

    /// The faults of a study or of records, empty for any other error.
    pub fn faults(&self) -> &[Fault] {
        match &self.kind {
            Kind::Study { faults, .. } | Kind::Records { faults, .. } => faults,
            _ => &[],
        }
    }

    /// Why data cannot answer, as one short name such as `separation`; `None` for any other error.
    pub fn reason(&self) -> Option<&'static str> {
        match &self.kind {
            Kind::Data { reason, .. } => Some(reason),
            _ => None,
        }
    }

    /// Whether inputs contradict a fact.
    pub(crate) fn is_contradiction(&self) -> bool {
        matches!(self.kind, Kind::Contradiction { .. })
    }

    /// Whether the work was stopped on request.
    pub fn is_interrupted(&self) -> bool {
        matches!(self.kind, Kind::Interrupted { .. } | Kind::NothingFinished { .. })
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut message = String::new();
        self.write(&mut message)?;
        // It quotes what it refuses, and what it refuses may be meant for a terminal.
        let steers = |sign: char| is_unseen(sign) && !matches!(sign, '\n' | '\t');
        let shown = |sign: char| if steers(sign) { char::REPLACEMENT_CHARACTER } else { sign };
        message.chars().try_for_each(|sign| f.write_char(shown(sign)))
    }
}

impl Error {
    fn write(&self, f: &mut String) -> fmt::Result {
        match &self.kind {
            Kind::Study { source, faults } => {
                let count = faults.len();
                write!(f, "{source}: {count} fault{}", if count == 1 { "" } else { "s" })?;
                faults.iter().try_for_each(|fault| write!(f, "\n{fault}"))
            }
            Kind::File { path, reason, remedy } => write!(f, "{path}: {reason}\n    {remedy}"),
            Kind::Argument { name, value, rule, remedy } => {
                write!(f, "{name} = {value}\n    {rule}\n    {remedy}")
            }
            Kind::Interrupted { done, wanted, of } => {
                write!(f, "stopped on request after {done} of {wanted} {of}")
            }
            Kind::NothingFinished { first } => write!(
                f,
                "stopped on request before the first {first} trials were finished, so that there is nothing to keep"
            ),
            Kind::Contradiction { what, remedy } => write!(f, "{what}\n    {remedy}"),
            Kind::Records { source, faults, count } => {
                write!(f, "{source}: {count} fault{}", if *count == 1 { "" } else { "s" })?;
                faults.iter().try_for_each(|fault| write!(f, "\n{fault}"))?;
                match count - faults.len() {
                    0 => Ok(()),
                    more => write!(f, "\n  and {more} more"),
                }
            }
            Kind::Data { what, rule, remedy, .. } => write!(f, "{what}\n    {rule}\n    {remedy}"),
        }
    }
}

impl std::error::Error for Error {}

/// What every fallible call of this crate returns.
pub type Result<T> = std::result::Result<T, Error>;
