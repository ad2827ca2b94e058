//! A table being read. It remembers which keys it was asked for; at the end of its reading it refuses missing and
//! unknown ones.

use super::reader::{Node, Place, Report, all};
use super::wording::{a, join, join_plain, nearest, one_of};
use crate::bounds::{Bound, Count};
use crate::error::{Kind, Result};
use std::cell::{Cell, RefCell};
use toml_edit::{Item, TableLike};

/// How the refusal of an unknown key begins where a known one is near.
pub(super) const DID_YOU_MEAN: &str = "unknown key; did you mean ";

/// A table being read.
pub(super) struct Section<'a> {
    place: Place<'a>,
    entries: &'a dyn TableLike,
    asked: RefCell<Vec<Asked>>,
    /// Keys of earlier studies that were refused by name.
    replaced: RefCell<Vec<&'static str>>,
    /// Whether unknown keys are passed over, because it is not known which should be here.
    lenient: Cell<bool>,
}

struct Asked {
    key: &'static str,
    takes: String,
    optional: bool,
}

impl<'a> Section<'a> {
    pub fn new(place: Place<'a>, entries: &'a dyn TableLike) -> Self {
        Section { place, entries, asked: RefCell::default(), replaced: RefCell::default(), lenient: Cell::new(false) }
    }

    /// Walks a table that is not there, to learn which keys it would have to hold; gives them in words.
    pub fn required_keys<T>(report: &'a Report<'a>, pattern: String, read: impl FnOnce(&Self) -> Option<T>) -> String {
        let before = report.muted.replace(true);
        let place = Place { pattern, ..Place::of_file(report, &report.nothing) };
        let section = Section::new(place, &report.nothing);
        let _ = read(&section);
        report.muted.set(before);
        let asked = section.asked.into_inner();
        let keys: Vec<&str> = asked.iter().filter(|asked| !asked.optional).map(|asked| asked.key).collect();
        format!("the key{} {}", if keys.len() == 1 { "" } else { "s" }, keys.join(", "))
    }

    /// Asks for a key; `takes` says in words what it holds.
    pub fn get(&self, key: &'static str, takes: impl Into<String>) -> Option<Place<'a>> {
        let takes = takes.into();
        let found = Place::of(&self.place, self.entries, key, key);
        #[cfg(test)]
        self.record(key, &takes, found.is_some());
        let mut asked = self.asked.borrow_mut();
        if !asked.iter().any(|asked| asked.key == key) {
            asked.push(Asked { key, takes, optional: false });
        }
        found
    }

    #[cfg(test)]
    fn record(&self, key: &str, takes: &str, present: bool) {
        let mut keys = self.place.report.keys.borrow_mut();
        let known = keys.entry(join_plain(&self.place.pattern, key)).or_default();
        known.takes = takes.to_owned();
        known.present |= present;
    }

    /// Whether a key is there.
    pub fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// Reads a key that may be left out.
    pub fn optional<T>(
        &self,
        key: &'static str,
        read: impl FnOnce(&Self, &'static str) -> Option<T>,
    ) -> Option<Option<T>> {
        let found = if self.has(key) {
            read(self, key).map(Some)
        } else {
            self.muted(|| read(self, key));
            Some(None)
        };
        self.let_be_missing(key);
        found
    }

    fn let_be_missing(&self, key: &str) {
        if let Some(asked) = self.asked.borrow_mut().iter_mut().find(|asked| asked.key == key) {
            asked.optional = true;
        }
        #[cfg(test)]
        if let Some(known) = self.place.report.keys.borrow_mut().get_mut(&join_plain(&self.place.pattern, key)) {
            known.optional = true;
        }
    }

    /// Notes a fault at a key, or at the table itself where the key is not there.
    pub fn fault(&self, key: &str, rule: impl Into<String>, remedy: impl Into<String>) {
        Place::of(&self.place, self.entries, key, key)
            .unwrap_or_else(|| Place { path: join(&self.place.path, key), span: None, ..self.place.clone() })
            .fault(rule, remedy);
    }

    /// Refuses a key that earlier studies had and that another one replaces.
    pub fn replaced(&self, key: &'static str, rule: &str, remedy: &str) {
        if self.has(key) {
            self.fault(key, format!("is no longer a key: {rule}"), remedy);
            self.replaced.borrow_mut().push(key);
        }
    }

    /// Notes a fault of the table as a whole.
    pub fn fault_here(&self, rule: impl Into<String>, remedy: impl Into<String>) {
        self.place.fault(rule, remedy);
    }

    /// Result of a constructor; a refusal becomes a fault at a key.
    pub fn accept<T>(&self, key: &str, made: Result<T>) -> Option<T> {
        match made {
            Ok(thing) => Some(thing),
            Err(error) => {
                let (rule, remedy) = match error.kind {
                    Kind::Argument { name, value, rule, remedy } => (format!("{name} = {value}: {rule}"), remedy),
                    _ => (error.to_string(), String::from("correct it")),
                };
                self.fault(key, rule, remedy);
                None
            }
        }
    }

    /// A list of pairs of numbers.
    pub fn pairs(&self, key: &'static str, takes: &str, bounds: [Bound; 2]) -> Option<Vec<[f64; 2]>> {
        self.get(key, takes)?.each(|place| {
            let elements = place.elements()?;
            let [first, second] = elements.as_slice() else {
                place.fault("must be a pair of numbers", format!("give {takes}"));
                return None;
            };
            let (first, second) = (first.number(bounds[0]), second.number(bounds[1]));
            Some([first?, second?])
        })
    }

    /// Passes over unknown keys, unless they are near to one that is missing.
    pub fn be_lenient(&self) {
        self.lenient.set(true);
    }

    pub fn number(&self, key: &'static str, bound: Bound) -> Option<f64> {
        self.get(key, format!("a number {bound}"))?.number(bound)
    }

    pub fn whole(&self, key: &'static str, count: Count) -> Option<u32> {
        self.get(key, format!("a whole number {count}"))?.whole(count)
    }

    pub fn text(&self, key: &'static str) -> Option<String> {
        self.get(key, "text")?.text()
    }

    pub fn flag(&self, key: &'static str) -> Option<bool> {
        self.get(key, "true or false")?.flag()
    }

    /// Source of the numbers; may always be left out.
    pub fn basis(&self) -> Option<Option<String>> {
        self.optional("basis", |section, key| section.get(key, "text")?.prose())
    }

    pub fn choice<T: Clone>(&self, key: &'static str, choices: &[(&str, T)]) -> Option<T> {
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        self.get(key, one_of(&names))?.choice(choices)
    }

    /// The choice that decides which other keys there are.
    pub fn kind<T: Clone>(&self, choices: &[(&str, T)]) -> Option<T> {
        let kind = self.choice("kind", choices);
        if kind.is_none() {
            self.be_lenient();
        }
        kind
    }

    pub fn reference(&self, key: &'static str, noun: &str, ids: &[String]) -> Option<usize> {
        self.get(key, format!("the id of {}", a(noun)))?.reference(noun, ids)
    }

    /// Ids in a list, at least one and none twice.
    pub fn references(&self, key: &'static str, noun: &str, ids: &[String]) -> Option<Vec<usize>> {
        self.get(key, format!("a list of ids of {noun}s"))?.each_once(|place| place.reference(noun, ids))
    }

    /// Reads a table.
    pub fn table<T>(&self, key: &'static str, read: impl FnOnce(&Section<'a>) -> Option<T>) -> Option<T> {
        let place = self.get(key, "a table");
        match place {
            Some(place) => place.table(read),
            None => {
                let keys = self.keys_of(key, read);
                self.specify(key, format!("a table with {keys}"));
                None
            }
        }
    }

    /// Reads tables that are named by their ids, in the order of the file.
    pub fn tables<T>(
        &self,
        key: &'static str,
        noun: &str,
        read: impl Fn(&Section<'a>, &str) -> Option<T>,
    ) -> Vec<Option<T>> {
        let Some(place) = self.get(key, format!("tables, one for each {noun}")) else {
            let keys = self.keys_of(key, |section| read(section, "ID"));
            let header = join(&self.place.path, key);
            self.specify(key, format!("at least one table [{header}.ID] with {keys}"));
            return vec![None];
        };
        let Node::Table(entries) = place.node else {
            place.wrong_type::<T>("tables", format!("write [{}.ID] for each {noun}", place.path));
            return vec![None];
        };
        if entries.is_empty() {
            place.fault(format!("must hold at least one {noun}"), format!("add a table [{}.ID]", place.path));
            return vec![None];
        }
        let read_one = |id: &str| {
            let place = Place::of(&place, entries, id, "ID")?;
            let good_id = check_id(&place, id);
            place.table(|section| read(section, id)).filter(|_| good_id)
        };
        entries.iter().map(|(id, _)| read_one(id)).collect()
    }

    /// As [`Section::tables`], where there may be none.
    pub fn optional_tables<T>(
        &self,
        key: &'static str,
        noun: &str,
        read: impl Fn(&Section<'a>, &str) -> Option<T>,
    ) -> Vec<Option<T>> {
        let found = if self.has(key) {
            self.tables(key, noun, read)
        } else {
            self.muted(|| self.tables(key, noun, read));
            Vec::new()
        };
        self.let_be_missing(key);
        found
    }

    /// The ids of tables that are named by their ids; the tables may have faults.
    pub fn ids(&self, key: &str) -> Vec<String> {
        let tables = self.entries.get(key).and_then(Item::as_table_like);
        tables.map_or_else(Vec::new, |tables| tables.iter().map(|(id, _)| id.to_owned()).collect())
    }

    /// The ids of tables within such tables, each id once.
    pub fn ids_within(&self, key: &str, inner: &str) -> Vec<String> {
        let mut ids: Vec<String> = Vec::new();
        let tables = self.entries.get(key).and_then(Item::as_table_like);
        for table in tables.iter().flat_map(|tables| tables.iter()).filter_map(|(_, table)| table.as_table_like()) {
            for (id, _) in table.get(inner).and_then(Item::as_table_like).iter().flat_map(|inner| inner.iter()) {
                if !ids.iter().any(|known| known == id) {
                    ids.push(id.to_owned());
                }
            }
        }
        ids
    }

    /// Numbers named by the ids of other things, in the order of those; none where left out.
    pub fn numbers_by_id(&self, noun: &str, ids: &[String], bound: Bound) -> Option<Vec<Option<f64>>> {
        // The keys are ids, which only this function knows: it refuses the unknown ones itself.
        self.be_lenient();
        let mut good = true;
        for (key, _) in self.entries.iter().filter(|(key, _)| !ids.iter().any(|id| id == key)) {
            if let Some(place) = Place::of(&self.place, self.entries, key, "ID") {
                place.unknown(key, noun, ids);
            }
            good = false;
        }
        let numbers = all(ids.iter().map(|id| match Place::of(&self.place, self.entries, id, "ID") {
            Some(place) => place.number(bound).map(Some),
            None => Some(None),
        }));
        numbers.filter(|_| good)
    }

    /// Does something without noting faults.
    fn muted<T>(&self, act: impl FnOnce() -> T) -> T {
        let before = self.place.report.muted.replace(true);
        let found = act();
        self.place.report.muted.set(before);
        found
    }

    fn keys_of<T>(&self, key: &str, read: impl FnOnce(&Section<'a>) -> Option<T>) -> String {
        Section::required_keys(self.place.report, join_plain(&self.place.pattern, key), read)
    }

    /// Says more exactly what a key takes.
    fn specify(&self, key: &str, takes: String) {
        if let Some(asked) = self.asked.borrow_mut().iter_mut().find(|asked| asked.key == key) {
            asked.takes = takes;
        }
    }

    /// Refuses unknown and missing keys.
    pub fn finish(self) {
        let (asked, replaced) = (self.asked.into_inner(), self.replaced.into_inner());
        let absent: Vec<&str> =
            asked.iter().map(|asked| asked.key).filter(|key| !self.entries.contains_key(key)).collect();
        let known: Vec<&str> = asked.iter().map(|asked| asked.key).collect();
        let mut suggested = Vec::new();
        for (key, _) in self.entries.iter().filter(|(key, _)| !known.contains(key) && !replaced.contains(key)) {
            let Some(place) = Place::of(&self.place, self.entries, key, key) else { continue };
            match (nearest(key, &absent), nearest(key, &known)) {
                (Some(near), _) => {
                    suggested.push(near);
                    place.fault(format!("{DID_YOU_MEAN}{near}?"), format!("rename it to {near}, or remove it"));
                }
                _ if self.lenient.get() => {}
                (None, Some(near)) => place
                    .fault(format!("{DID_YOU_MEAN}{near}?"), format!("remove one of the two: {near} is there already")),
                (None, None) => {
                    place.fault("unknown key", format!("remove it; the keys here are {}", known.join(", ")))
                }
            }
        }
        for Asked { key, takes, optional } in &asked {
            // A mistyped key is one fault, not two.
            if !optional && absent.contains(key) && !suggested.contains(key) {
                let (report, path) = (self.place.report, join(&self.place.path, key));
                report.note(self.place.at, path, String::new(), "is missing".into(), format!("add {key}: {takes}"));
            }
        }
    }
}

impl<'a> Place<'a> {
    /// Reads a table, then refuses the keys it was not asked for.
    pub fn table<T>(self, read: impl FnOnce(&Section<'a>) -> Option<T>) -> Option<T> {
        match self.node {
            Node::Table(entries) => {
                let section = Section::new(self, entries);
                let found = read(&section);
                section.finish();
                found
            }
            _ => {
                let keys = Section::required_keys(self.report, self.pattern.clone(), read);
                self.wrong_type("a table", format!("write it as a table with {keys}"))
            }
        }
    }
}

/// Refuses an id that could not stand in a column name or a file name.
fn check_id(place: &Place, id: &str) -> bool {
    const LONGEST: usize = 64;
    let good_letter = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
    let good = (1..=LONGEST).contains(&id.len())
        && id.chars().all(good_letter)
        && id.starts_with(|first: char| first.is_ascii_alphanumeric());
    if !good {
        let rule = format!(
            "an id has 1 to {LONGEST} letters (a-z, A-Z), digits, '-', '_' or '.', and begins with a letter or a digit"
        );
        place.report.note(place.at, place.path.clone(), String::new(), rule, "rename it".into());
    }
    good
}
