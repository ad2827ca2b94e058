//! Which column of a file is which.

use super::columns::{Column, Sheet, folded, likeness};
use super::faults::Faults;
use super::format::Format;
use super::read::Table;
use super::units::{KNOWN, Stated, UNIT_COLUMNS, Unit, stated, unit};
use crate::text::is_unseen;
use std::collections::{HashMap, HashSet};

/// Places of the columns.
pub(super) struct Header {
    pub sheet: &'static Sheet,
    pub width: usize,
    /// For each column of the sheet, its place in the file.
    pub places: Vec<Option<usize>>,
    /// For each column of the sheet, the unit that its header states; mm where it states none.
    pub units: Vec<Unit>,
    /// Place of the column that states the unit of the sizes in its line.
    pub unit_column: Option<usize>,
    /// Name and place of the others.
    pub extra: Vec<(String, usize)>,
    pub notes: Vec<String>,
}

impl Header {
    pub fn of(table: &Table, format: &Format, sheet: &'static Sheet) -> std::result::Result<Header, Faults> {
        let columns = sheet.columns;
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
        // Spreadsheets break long headers into lines.
        let unseen = |sign: char| sign != '\n' && is_unseen(sign);
        for name in table.header.iter().filter(|name| name.trim().contains(unseen)) {
            faults.add(at, "header", name, "holds a character that nobody sees", "write the name anew");
        }
        let mut places = vec![None; columns.len()];
        let mut renamed = HashSet::new();
        for (ours, theirs) in &format.columns {
            match (sheet.index_of(&folded(ours)), seen.get(folded(theirs).as_str())) {
                (Some(column), Some(place)) => {
                    places[column] = Some(*place);
                    renamed.insert(*place);
                }
                (None, _) => {
                    // A part of a name, such as length, is nearer than what is spelt alike.
                    let part = columns.iter().map(|column| column.name).find(|name| name.contains(&folded(ours)));
                    let near = part.unwrap_or_else(|| nearest(ours, columns.iter().map(|column| column.name)));
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
        for (column, place) in columns.iter().zip(&mut places) {
            *place = place.or_else(|| seen.get(column.name).copied().filter(|place| !renamed.contains(place)));
        }
        let free = |place: &usize, places: &[Option<usize>]| !places.contains(&Some(*place));
        let mut unit_columns = (0..names.len()).filter(|place| UNIT_COLUMNS.contains(&names[*place].as_str()));
        let unit_column = unit_columns.next().filter(|place| free(place, &places));
        // A size may be named without its unit, or with another one.
        for (column, name) in columns.iter().enumerate().filter(|(_, column)| is_size(column.name)) {
            let bare = name.name.trim_end_matches("_mm");
            let named = |place: &usize| match stated(&names[*place]) {
                Stated::Unit(_, rest) => rest == bare,
                Stated::Unknown(_) => names[*place].starts_with(bare),
                Stated::Nothing => names[*place] == bare && unit_column.is_some(),
            };
            for place in (0..names.len()).filter(named) {
                match places[column] {
                    None => places[column] = Some(place),
                    Some(first) if first != place && !renamed.contains(&place) => {
                        let rule = format!("is {} once more, beside {:?}", name.name, table.header[first].trim());
                        faults.add(at, "header", &table.header[place], &rule, "leave one of the two out");
                    }
                    Some(_) => {}
                }
            }
        }
        let units = units(table, at, columns, &places, unit_column, &mut faults);
        let taken: HashSet<usize> = places.iter().flatten().copied().chain(unit_column).collect();
        for place in (0..names.len()).filter(|place| !taken.contains(place)) {
            if unit(&names[place]).is_some() && !names[place].is_empty() {
                let rule = "is a unit and names no quantity";
                let remedy = "give it the name of what it holds, such as measured_length [in]";
                faults.add(at, "header", &table.header[place], rule, remedy);
            }
        }
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
        for (column, place) in columns.iter().zip(&places) {
            if column.required && place.is_none() {
                missing(column.name, "the column is missing", &mut faults);
            }
        }
        if sheet.is_dated
            && ["date", "year"].iter().all(|name| sheet.index_of(name).and_then(|column| places[column]).is_none())
        {
            missing("date", "the column is missing, and there is no year either", &mut faults);
        }
        if faults.count > 0 {
            return Err(faults);
        }
        let notes = free.iter().filter_map(|name| {
            /// Names this alike are one name misspelt more often than not.
            const ALIKE: f64 = 0.9;
            let near = nearest(name, columns.iter().map(|column| column.name));
            (likeness(name, near) > ALIKE && places[sheet.index_of(near)?].is_none())
                .then(|| format!("column {name:?} is kept but not used; rename it if {near} is meant"))
        });
        let mut notes: Vec<String> = notes.collect();
        for (column, place) in places.iter().enumerate() {
            if let Some(place) = place.filter(|_| units[column] != Unit::MM) {
                let (name, unit) = (table.header[place].trim(), units[column]);
                notes.push(format!("column {name:?} is in {}: converted to mm, times {}", unit.name, unit.mm));
            }
        }
        let has_size = |column: usize| is_size(columns[column].name) && places[column].is_some();
        if let Some(place) = unit_column.filter(|_| !(0..columns.len()).any(has_size)) {
            notes.push(format!("column {:?} says nothing: there is no column of sizes", table.header[place].trim()));
        }
        let extra = (0..names.len()).filter(|place| !taken.contains(place)).map(|place| {
            let name = table.header[place].trim();
            (if name.is_empty() { format!("column {}", place + 1) } else { name.to_owned() }, place)
        });
        let extra = extra.collect();
        Ok(Header { sheet, width: names.len(), places, units, unit_column, extra, notes })
    }
}

/// Whether a column holds sizes: counts, years, signals and answers have no unit of length.
pub(super) fn is_size(name: &str) -> bool {
    name.ends_with("_mm")
}

/// The unit that the header of each column states.
fn units(
    table: &Table,
    at: Option<usize>,
    columns: &[Column],
    places: &[Option<usize>],
    unit_column: Option<usize>,
    faults: &mut Faults,
) -> Vec<Unit> {
    let mut unit = |(column, place): (&Column, &Option<usize>)| {
        let Some(name) = place.filter(|_| is_size(column.name)).map(|place| table.header[place].trim()) else {
            return Unit::MM;
        };
        match stated(name) {
            Stated::Nothing => Unit::MM,
            Stated::Unknown(word) => {
                let rule = format!("states {word:?}, which is no unit of length that is known");
                faults.add(at, "header", name, &rule, &format!("state {KNOWN}"));
                Unit::MM
            }
            Stated::Unit(..) if unit_column.is_some() => {
                let rule = "states a unit, and so does a column of units";
                faults.add(at, "header", name, rule, "state it once: leave one of the two out");
                Unit::MM
            }
            Stated::Unit(unit, _) => unit,
        }
    };
    columns.iter().zip(places).map(&mut unit).collect()
}

/// The most alike of some names.
fn nearest<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> &'n str {
    known.max_by(|a, b| likeness(name, a).total_cmp(&likeness(name, b))).unwrap_or("")
}
