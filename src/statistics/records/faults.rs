//! Faults of the records, as many as a reader can take in.

use crate::error::{Error, Fault, Kind};

/// Faults that are kept in full; all are counted.
pub(super) const MOST_FAULTS: usize = 50;

/// Faults found; the first of them in full.
#[derive(Default)]
pub(crate) struct Faults {
    pub shown: Vec<Fault>,
    pub count: usize,
}

impl Faults {
    pub fn add(&mut self, line: Option<usize>, path: &str, value: &str, rule: &str, remedy: &str) {
        /// A cell may hold a whole page.
        const LONGEST: usize = 60;
        self.count += 1;
        if self.shown.len() < MOST_FAULTS {
            let mut value = value.trim().replace(['\n', '\r'], " ");
            if let Some((end, _)) = value.char_indices().nth(LONGEST) {
                value.truncate(end);
                value.push_str(" ...");
            }
            let (path, rule, remedy) = (path.to_owned(), rule.to_owned(), remedy.to_owned());
            self.shown.push(Fault { line, path, value, rule, remedy });
        }
    }

    /// The refusal of a source with these faults, in the order of its lines.
    pub fn refusal(mut self, source: &str) -> Error {
        self.shown.sort_by_key(|fault| fault.line);
        Error { kind: Kind::Records { source: source.to_owned(), faults: self.shown, count: self.count } }
    }
}
