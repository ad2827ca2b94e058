//! From a table to records: every rule, every fault.

use super::cells::{decimal, line};
use super::columns::COLUMNS;
use super::conflicts::conflicts;
use super::format::{BadLines, Format};
use super::header::Header;
use super::oddities::oddities;
use super::read::Table;
use super::{LeftOut, Records};
use crate::error::{Error, Fault, Kind, Result};
use std::collections::HashSet;

/// Checks a table and makes records of it.
pub(super) fn records(table: Table, format: &Format) -> Result<Records> {
    let refused = |faults: Faults| {
        let Faults { shown, count } = faults;
        Error { kind: Kind::Records { source: table.source.clone(), faults: shown, count } }
    };
    let header = Header::of(&table, format).map_err(refused)?;
    let decimal = decimal(&table, &header, format).map_err(refused)?;
    let mut faults = Faults::default();
    if table.rows.is_empty() {
        faults.add(None, "lines", "", "there is no line below the header", "add a line for each look");
        return Err(refused(faults));
    }
    let mut notes = header.notes.clone();
    let (mut lines, mut bad) = (Vec::new(), HashSet::new());
    for row in &table.rows {
        match line(row, &header, decimal, format, &mut faults) {
            Some(line) => lines.push(line),
            None => _ = bad.insert(row.line),
        }
    }
    for (line, other, fault) in conflicts(&lines) {
        faults.add(Some(line), fault.path, &fault.value, &fault.rule(other), fault.remedy);
        bad.insert(line);
    }
    faults.shown.sort_by_key(|fault| fault.line);
    if !bad.is_empty() && (format.bad_lines == BadLines::Refuse || bad.len() == table.rows.len()) {
        return Err(refused(faults));
    }
    lines.retain(|line| !bad.contains(&line.line));
    notes.extend(oddities(&lines));
    let mut bad: Vec<usize> = bad.into_iter().collect();
    bad.sort_unstable();
    let separated = table.separated_by.map_or_else(String::new, |words| format!("{words} between cells, "));
    Ok(Records {
        source: table.source,
        style: format!("{separated}{}", decimal.words()),
        lines,
        present: COLUMNS
            .iter()
            .zip(&header.places)
            .filter(|(_, at)| at.is_some())
            .map(|(column, _)| column.name)
            .collect(),
        extra_columns: header.extra.iter().map(|(name, _)| name.clone()).collect(),
        notes,
        left_out: LeftOut { lines: bad, faults: faults.shown, fault_count: faults.count },
    })
}

/// Faults found; the first of them in full.
#[derive(Default)]
pub(super) struct Faults {
    pub shown: Vec<Fault>,
    pub count: usize,
}

impl Faults {
    pub fn add(&mut self, line: Option<usize>, path: &str, value: &str, rule: &str, remedy: &str) {
        /// A cell may hold a whole page.
        const LONGEST: usize = 60;
        self.count += 1;
        if self.shown.len() < Records::MOST_FAULTS {
            let mut value = value.trim().replace(['\n', '\r'], " ");
            if let Some((end, _)) = value.char_indices().nth(LONGEST) {
                value.truncate(end);
                value.push_str(" ...");
            }
            let (path, rule, remedy) = (path.to_owned(), rule.to_owned(), remedy.to_owned());
            self.shown.push(Fault { line, path, value, rule, remedy });
        }
    }
}
