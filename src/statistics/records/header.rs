//! Which column of a file is which.

use super::check::Faults;
use super::columns::{COLUMNS, folded, index_of, likeness};
use super::format::Format;
use super::read::Table;
use std::collections::{HashMap, HashSet};

/// Where the columns are.
pub(super) struct Header {
    pub width: usize,
    /// For each of [`COLUMNS`], its place in the file.
    pub places: Vec<Option<usize>>,
    /// Name and place of the others.
    pub extra: Vec<(String, usize)>,
    pub notes: Vec<String>,
}

impl Header {
    pub fn of(table: &Table, format: &Format) -> std::result::Result<Header, Faults> {
        let mut faults = Faults::default();
        let at = (table.header_line > 0).then_some(table.header_line);
        let names: Vec<String> = table.header.iter().map(|name| folded(name)).collect();
        let mut seen: HashMap<&str, usize> = HashMap::new();
        for (index, name) in names.iter().enumerate().filter(|(_, name)| !name.is_empty()) {
            if let Some(first) = seen.insert(name, index) {
                let rule = format!("stands in columns {} and {}", first + 1, index + 1);
                faults.add(at, "header", &table.header[index], &rule, "give each column its own name");
            }
        }
        let mut places = vec![None; COLUMNS.len()];
        let mut renamed = HashSet::new();
        for (ours, theirs) in &format.columns {
            match (index_of(&folded(ours)), seen.get(folded(theirs).as_str())) {
                (Some(column), Some(place)) => {
                    places[column] = Some(*place);
                    renamed.insert(*place);
                }
                (None, _) => {
                    let near = nearest(ours, COLUMNS.iter().map(|column| column.name));
                    faults.add(
                        at,
                        "columns",
                        ours,
                        "is not a column that serrata knows",
                        &format!("did you mean {near}?"),
                    );
                }
                (_, None) => {
                    let near = nearest(theirs, table.header.iter().map(String::as_str));
                    faults.add(at, "columns", theirs, "is not in the file", &format!("the nearest there is {near:?}"));
                }
            }
        }
        for (column, place) in COLUMNS.iter().zip(&mut places) {
            *place = place.or_else(|| seen.get(column.name).copied().filter(|place| !renamed.contains(place)));
        }
        let taken: HashSet<usize> = places.iter().flatten().copied().collect();
        let free: Vec<&str> = (0..names.len())
            .filter(|place| !taken.contains(place) && !names[*place].is_empty())
            .map(|place| table.header[place].trim())
            .collect();
        let missing = |name: &str, rule: &str, faults: &mut Faults| {
            /// Below this, the nearest name has nothing to do with the missing one.
            const ALIKE: f64 = 0.6;
            let near = nearest(name, free.iter().copied());
            let remedy = match () {
                () if free.is_empty() => "add it".to_owned(),
                () if likeness(name, near) < ALIKE => format!(
                    "if one of {} is meant, rename it, or say columns = {{\"{name}\": its name}}",
                    free.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ")
                ),
                () => format!(
                    "the nearest column is {near:?}: if it is meant, rename it, or say columns = {{\"{name}\": {near:?}}}"
                ),
            };
            faults.add(at, name, "", rule, &remedy);
        };
        for (column, place) in COLUMNS.iter().zip(&places) {
            if column.required && place.is_none() {
                missing(column.name, "the column is missing", &mut faults);
            }
        }
        if ["date", "year"].iter().all(|name| index_of(name).and_then(|column| places[column]).is_none()) {
            missing("date", "the column is missing, and there is no year either", &mut faults);
        }
        if faults.count > 0 {
            return Err(faults);
        }
        let notes = free.iter().filter_map(|name| {
            /// Names this alike are one name misspelt more often than not.
            const ALIKE: f64 = 0.9;
            let near = nearest(name, COLUMNS.iter().map(|column| column.name));
            (likeness(name, near) > ALIKE && places[index_of(near)?].is_none())
                .then(|| format!("column {name:?} is kept but not used; rename it if {near} is meant"))
        });
        let notes = notes.collect();
        let extra = (0..names.len()).filter(|place| !taken.contains(place)).map(|place| {
            let name = table.header[place].trim();
            (if name.is_empty() { format!("column {}", place + 1) } else { name.to_owned() }, place)
        });
        let extra = extra.collect();
        Ok(Header { width: names.len(), places, extra, notes })
    }
}

/// The most alike of some names.
fn nearest<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> &'n str {
    known.max_by(|a, b| likeness(name, a).total_cmp(&likeness(name, b))).unwrap_or("")
}
