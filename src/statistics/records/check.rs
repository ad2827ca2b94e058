//! From a table to records: every rule, every fault.

use super::cells::{decimal, line};
use super::columns::{COLUMNS, Column, LOOKS, folded};
use super::conflicts::conflicts;
use super::faults::Faults;
use super::format::{BadLines, Format};
use super::header::Header;
use super::oddities::oddities;
use super::read::{Row, Table};
use super::units::{Unit, unit};
use super::{LeftOut, Records};
use crate::error::{Error, Kind, Result};
use std::collections::{BTreeMap, HashSet};

/// Checks a table and makes records of it.
pub(super) fn records(mut table: Table, format: &Format) -> Result<Records> {
    let source = table.source.clone();
    let refused = |faults: Faults| {
        let Faults { shown, count } = faults;
        Error { kind: Kind::Records { source: source.clone(), faults: shown, count } }
    };
    let header = Header::of(&table, format, &LOOKS).map_err(refused)?;
    let replaced = replace_values(&mut table, &header, format);
    let decimal = decimal(&table, &header, format).map_err(refused)?;
    let mut faults = Faults::default();
    if table.rows.is_empty() {
        faults.add(None, "lines", "", "there is no line below the header", "add a line for each look");
        return Err(refused(faults));
    }
    let mut notes = header.notes.clone();
    notes.extend(replaced);
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
    notes.extend(units_of_lines(&table, &header, &bad));
    notes.extend(trimmed(&table, &header));
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

/// Puts what is meant in place of what is written; says how often.
pub(super) fn replace_values(table: &mut Table, header: &Header, format: &Format) -> Vec<String> {
    let is_name = |column: &&(usize, &Column)| column.1.takes == "text";
    let places: Vec<usize> = header
        .sheet
        .columns
        .iter()
        .enumerate()
        .filter(|column| !is_name(&column))
        .filter_map(|(index, _)| header.places[index])
        .collect();
    let mut counts = vec![0; format.values.len()];
    for row in &mut table.rows {
        for cell in row.cells.iter_mut().enumerate().filter(|(place, _)| places.contains(place)).map(|(_, cell)| cell) {
            let found = format.values.iter().position(|(written, _)| folded(written) == folded(cell));
            if let Some(found) = found {
                cell.clone_from(&format.values[found].1);
                counts[found] += 1;
            }
        }
    }
    let note = |((written, meant), count): (&(String, String), usize)| {
        let meant = if meant.trim().is_empty() { "not known" } else { meant };
        format!("cells where {written:?} stands for {meant}: {count}")
    };
    format.values.iter().zip(counts).map(note).collect()
}

/// Which units the column of units states, and in how many lines that are kept.
pub(super) fn units_of_lines(table: &Table, header: &Header, bad: &HashSet<usize>) -> Option<String> {
    let place = header.unit_column?;
    let mut counts: BTreeMap<&str, (f64, usize)> = BTreeMap::new();
    for row in table.rows.iter().filter(|row| !bad.contains(&row.line)) {
        if let Some(unit) = unit(&row.cells[place]).filter(|unit| *unit != Unit::MM) {
            counts.entry(unit.name).or_insert((unit.mm, 0)).1 += 1;
        }
    }
    let each: Vec<String> =
        counts.iter().map(|(name, (mm, lines))| format!("{name} in {lines} lines, times {mm}")).collect();
    let name = table.header[place].trim();
    (!each.is_empty()).then(|| format!("sizes are converted to mm by column {name:?}: {}", each.join("; ")))
}

/// Names that stand with blanks at an end; they are taken without.
fn trimmed(table: &Table, header: &Header) -> Option<String> {
    let names = ["row", "blade", "inspection", "technique", "surface", "inspector"];
    let places: Vec<usize> = names.iter().filter_map(|name| header.places[header.sheet.index_of(name)?]).collect();
    let blank_at_end = |row: &&Row| {
        places.iter().filter_map(|place| row.cells.get(*place)).any(|cell| cell.len() != cell.trim().len())
    };
    let first = table.rows.iter().find(blank_at_end)?;
    let count = table.rows.iter().filter(blank_at_end).count();
    Some(format!("lines with blanks at the end of a name, which are taken off: {count} (first: line {})", first.line))
}
