//! A walk through a parsed file that collects every fault instead of stopping at the first.
//!
//! A [`Section`] is a table being read. It remembers which keys it was asked for, so that what is
//! missing and what is unknown come out by themselves when its reading ends. A [`Place`] is a value
//! with its line and its path. Reading functions give `None` when they have noted a fault.

use crate::bounds::{Bound, Count};
use crate::error::Fault;
use std::cell::{Cell, RefCell};
use std::ops::Range;
use toml_edit::{ArrayOfTables, Item, Table, TableLike, Value};

/// The faults of one file, found so far.
pub(super) struct Report<'t> {
    text: &'t str,
    faults: RefCell<Vec<(usize, Fault)>>,
    /// While a missing table is walked only to learn its keys, nothing is noted.
    muted: Cell<bool>,
    nothing: Table,
    /// Every key asked for, in tests: the key reference is held against it.
    #[cfg(test)]
    pub keys: RefCell<std::collections::BTreeMap<String, super::keys::Key>>,
}

impl<'t> Report<'t> {
    pub fn new(text: &'t str) -> Self {
        Report {
            text,
            faults: RefCell::default(),
            muted: Cell::new(false),
            nothing: Table::new(),
            #[cfg(test)]
            keys: RefCell::default(),
        }
    }

    /// The faults in the order of the file; those without a place come last.
    pub fn into_faults(self) -> Vec<Fault> {
        let mut faults = self.faults.into_inner();
        faults.sort_by_key(|(offset, _)| *offset);
        faults.into_iter().map(|(_, fault)| fault).collect()
    }

    pub fn has_faults(&self) -> bool {
        !self.faults.borrow().is_empty()
    }

    /// Notes a fault at an offset into the text.
    pub fn note(&self, offset: Option<usize>, path: String, value: String, rule: String, remedy: String) {
        if !self.muted.get() {
            let line = offset.map(|offset| line_at(self.text, offset));
            let fault = Fault { line, path, value, rule, remedy };
            self.faults.borrow_mut().push((offset.unwrap_or(usize::MAX), fault));
        }
    }

    /// Walks a table that is not there, to learn which keys it would have to hold; gives them in words.
    fn required_keys<'a, T>(&'a self, pattern: String, read: impl FnOnce(&Section<'a>) -> Option<T>) -> String
    where
        't: 'a,
    {
        let before = self.muted.replace(true);
        let place = Place { pattern, ..Place::of_file(self, &self.nothing) };
        let section = Section::new(place, &self.nothing);
        let _ = read(&section);
        self.muted.set(before);
        let asked = section.asked.into_inner();
        let keys: Vec<&str> = asked.iter().filter(|asked| !asked.optional).map(|asked| asked.key).collect();
        format!("the key{} {}", if keys.len() == 1 { "" } else { "s" }, keys.join(", "))
    }
}

/// A passage of the file on one line and not too long.
pub(super) fn shortened(passage: &str) -> String {
    const LONGEST: usize = 60;
    let mut line = passage.split_whitespace().collect::<Vec<_>>().join(" ");
    if let Some((end, _)) = line.char_indices().nth(LONGEST) {
        line.truncate(end);
        line.push_str(" ...");
    }
    line
}

/// Line of an offset, counted from 1.
pub(super) fn line_at(text: &str, offset: usize) -> usize {
    1 + text.as_bytes().iter().take(offset).filter(|byte| **byte == b'\n').count()
}

#[derive(Clone, Copy)]
enum Node<'a> {
    Nothing,
    Value(&'a Value),
    Table(&'a dyn TableLike),
    Tables(&'a ArrayOfTables),
}

impl<'a> Node<'a> {
    fn of_item(item: &'a Item) -> Self {
        match item {
            Item::Value(value) => Node::of_value(value),
            Item::ArrayOfTables(tables) => Node::Tables(tables),
            Item::Table(table) => Node::Table(table),
            Item::None => Node::Nothing,
        }
    }

    fn of_value(value: &'a Value) -> Self {
        match value {
            Value::InlineTable(table) => Node::Table(table),
            _ => Node::Value(value),
        }
    }

    /// What it is, in plain words.
    fn what(self) -> &'static str {
        match self {
            Node::Nothing => "nothing",
            Node::Table(_) => "a table",
            Node::Tables(_) => "a list of tables",
            Node::Value(value) => match value {
                Value::String(_) => "text",
                Value::Integer(_) => "a whole number",
                Value::Float(_) => "a number with a decimal point",
                Value::Boolean(_) => "true or false",
                Value::Datetime(_) => "a date",
                Value::Array(_) => "a list",
                Value::InlineTable(_) => "a table",
            },
        }
    }
}

/// A value of the file: what it is, where it stands, how it is called.
#[derive(Clone)]
pub(super) struct Place<'a> {
    report: &'a Report<'a>,
    path: String,
    /// The key alone, for remedies.
    name: String,
    /// The path with ids and numbers replaced by words, as in the key reference.
    pattern: String,
    node: Node<'a>,
    /// Offset at which it stands.
    at: Option<usize>,
    /// The text of the value; none for tables with a header of their own.
    span: Option<Range<usize>>,
}

impl<'a> Place<'a> {
    /// The whole file.
    pub fn of_file(report: &'a Report<'a>, entries: &'a dyn TableLike) -> Self {
        Place {
            report,
            path: String::new(),
            name: String::new(),
            pattern: String::new(),
            node: Node::Table(entries),
            at: None,
            span: None,
        }
    }

    fn of(parent: &Place<'a>, table: &'a dyn TableLike, key: &str, pattern: &str) -> Option<Self> {
        let (key_there, item) = table.get_key_value(key)?;
        let span = if item.is_value() { item.span() } else { None };
        Some(Place {
            report: parent.report,
            path: join(&parent.path, key),
            name: key.to_owned(),
            pattern: join_plain(&parent.pattern, pattern),
            node: Node::of_item(item),
            at: key_there.span().map(|span| span.start).or_else(|| item.span().map(|span| span.start)).or(parent.at),
            span,
        })
    }

    /// What the file says here.
    fn value(&self) -> String {
        self.span.clone().and_then(|span| self.report.text.get(span)).map(shortened).unwrap_or_default()
    }

    pub fn fault(&self, rule: impl Into<String>, remedy: impl Into<String>) {
        self.report.note(self.at, self.path.clone(), self.value(), rule.into(), remedy.into());
    }

    fn wrong_type<T>(&self, wanted: &str, remedy: String) -> Option<T> {
        self.fault(format!("must be {wanted}, not {}", self.node.what()), remedy);
        None
    }

    /// The same place, for which the key reference has a chapter of its own.
    pub fn known_as(self, pattern: &str) -> Self {
        Place { pattern: pattern.to_owned(), ..self }
    }

    pub fn is_table(&self) -> bool {
        matches!(self.node, Node::Table(_))
    }

    pub fn is_list(&self) -> bool {
        matches!(self.node, Node::Value(Value::Array(_)) | Node::Tables(_))
    }

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
                let keys = self.report.required_keys(self.pattern.clone(), read);
                self.wrong_type("a table", format!("write it as a table with {keys}"))
            }
        }
    }

    pub fn number(&self, bound: Bound) -> Option<f64> {
        let x = match self.node {
            Node::Value(Value::Integer(x)) => *x.value() as f64,
            Node::Value(Value::Float(x)) => *x.value(),
            Node::Value(Value::String(text)) if text.value().trim().parse::<f64>().is_ok() => {
                return self.wrong_type("a number", "remove the quotes".into());
            }
            _ => return self.wrong_type("a number", format!("give {} a number {bound}", self.name)),
        };
        match bound.refusal(&self.name, x) {
            None => Some(x),
            Some((rule, remedy)) => {
                self.fault(rule, remedy);
                None
            }
        }
    }

    pub fn whole(&self, count: Count) -> Option<u32> {
        let Node::Value(Value::Integer(x)) = self.node else {
            return self.wrong_type("a whole number", format!("give {} a whole number {count}", self.name));
        };
        match count.refusal(&self.name, *x.value()) {
            None => count.admit(*x.value()),
            Some((rule, remedy)) => {
                self.fault(rule, remedy);
                None
            }
        }
    }

    fn string(&self) -> Option<&'a str> {
        match self.node {
            Node::Value(Value::String(text)) => Some(text.value()),
            _ if self.is_list() => self.wrong_type("text", format!("give {} a single text, without brackets", self.name)),
            _ => self.wrong_type("text", format!("put {} in quotes", self.name)),
        }
    }

    pub fn text(&self) -> Option<String> {
        let text = self.string()?;
        if text.trim().is_empty() {
            self.fault("must not be empty", format!("say something in {}", self.name));
            return None;
        }
        Some(text.to_owned())
    }

    pub fn flag(&self) -> Option<bool> {
        match self.node {
            Node::Value(Value::Boolean(flag)) => Some(*flag.value()),
            _ => self.wrong_type("true or false", format!("write {} = true or {0} = false", self.name)),
        }
    }

    pub fn choice<T: Clone>(&self, choices: &[(&str, T)]) -> Option<T> {
        let text = self.string()?;
        let found = choices.iter().find(|(name, _)| *name == text);
        if found.is_none() {
            let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
            self.fault(format!("must be {}", one_of(&names)), suggestion(text, &names, "choose one of them"));
        }
        found.map(|(_, choice)| choice.clone())
    }

    /// Index of the thing that an id names.
    pub fn reference(&self, noun: &str, ids: &[String]) -> Option<usize> {
        let text = self.string()?;
        let found = ids.iter().position(|id| id == text);
        if found.is_none() {
            self.unknown(text, noun, ids);
        }
        found
    }

    fn unknown(&self, id: &str, noun: &str, ids: &[String]) {
        let known: Vec<&str> = ids.iter().map(String::as_str).collect();
        let otherwise = match known.as_slice() {
            [] => format!("define the {noun} {id:?} first"),
            _ => format!("known: {}", known.join(", ")),
        };
        self.fault(format!("there is no {noun} {id:?}"), suggestion(id, &known, &otherwise));
    }

    /// The elements of a list.
    pub fn elements(&self) -> Option<Vec<Place<'a>>> {
        let element = |index: usize, node, span: Option<Range<usize>>, is_value| Place {
            report: self.report,
            path: format!("{}[{}]", self.path, index + 1),
            name: self.name.clone(),
            pattern: self.pattern.clone(),
            node,
            at: span.as_ref().map(|span| span.start).or(self.at),
            span: span.filter(|_| is_value),
        };
        match self.node {
            Node::Value(Value::Array(array)) => Some(
                array
                    .iter()
                    .enumerate()
                    .map(|(index, value)| element(index, Node::of_value(value), value.span(), true))
                    .collect(),
            ),
            Node::Tables(tables) => Some(
                tables
                    .iter()
                    .enumerate()
                    .map(|(index, table)| element(index, Node::Table(table), table.span(), false))
                    .collect(),
            ),
            _ => self.wrong_type("a list", format!("put {} in square brackets", self.name)),
        }
    }

    /// Reads every element of a list; all faults of all elements are noted.
    pub fn each<T>(&self, read: impl Fn(Place<'a>) -> Option<T>) -> Option<Vec<T>> {
        all(self.elements()?.into_iter().map(read))
    }

    /// As [`Place::each`], for lists that must hold something, and nothing twice.
    pub fn each_once<T: PartialEq>(&self, read: impl Fn(Place<'a>) -> Option<T>) -> Option<Vec<T>> {
        let elements = self.elements()?;
        if elements.is_empty() {
            self.fault("must not be empty", format!("name at least one in {}", self.name));
            return None;
        }
        let mut found: Vec<Option<T>> = Vec::with_capacity(elements.len());
        for element in elements {
            let place = element.clone();
            let read = read(element).filter(|new| {
                let repeated = found.iter().flatten().any(|old| old == new);
                if repeated {
                    place.fault("is listed twice", "list it once");
                }
                !repeated
            });
            found.push(read);
        }
        all(found.into_iter())
    }
}

/// All of them, when none is missing.
pub(super) fn all<T>(found: impl Iterator<Item = Option<T>>) -> Option<Vec<T>> {
    // Runs through to the end, so that every element has noted its faults.
    let found: Vec<Option<T>> = found.collect();
    found.into_iter().collect()
}

/// A table being read.
pub(super) struct Section<'a> {
    place: Place<'a>,
    entries: &'a dyn TableLike,
    asked: RefCell<Vec<Asked>>,
    /// Whether unknown and missing keys are passed over, because it is not known what should be here.
    lenient: Cell<bool>,
}

struct Asked {
    key: &'static str,
    takes: String,
    optional: bool,
}

impl<'a> Section<'a> {
    fn new(place: Place<'a>, entries: &'a dyn TableLike) -> Self {
        Section { place, entries, asked: RefCell::default(), lenient: Cell::new(false) }
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

    /// Notes a fault of the table as a whole.
    pub fn fault_here(&self, rule: impl Into<String>, remedy: impl Into<String>) {
        self.place.fault(rule, remedy);
    }

    /// Passes over unknown and missing keys from here on.
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

    /// Where the numbers come from; may always be left out.
    pub fn basis(&self) -> Option<Option<String>> {
        self.optional("basis", Section::text)
    }

    pub fn choice<T: Clone>(&self, key: &'static str, choices: &[(&str, T)]) -> Option<T> {
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        self.get(key, one_of(&names))?.choice(choices)
    }

    /// The choice that decides which other keys there are.
    pub fn kind<T: Clone>(&self, choices: &[(&str, T)]) -> Option<T> {
        let kind = self.choice("kind", choices);
        if kind.is_none() && self.has("kind") {
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

    /// The ids of tables that are named by their ids, whatever those hold.
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
        self.place.report.required_keys(join_plain(&self.place.pattern, key), read)
    }

    /// Says more exactly what a key takes.
    fn specify(&self, key: &str, takes: String) {
        if let Some(asked) = self.asked.borrow_mut().iter_mut().find(|asked| asked.key == key) {
            asked.takes = takes;
        }
    }

    /// Refuses what is unknown and what is missing.
    fn finish(self) {
        if self.lenient.get() {
            return;
        }
        let asked = self.asked.into_inner();
        let absent: Vec<&str> =
            asked.iter().map(|asked| asked.key).filter(|key| !self.entries.contains_key(key)).collect();
        let known: Vec<&str> = asked.iter().map(|asked| asked.key).collect();
        let mut suggested = Vec::new();
        for (key, _) in self.entries.iter().filter(|(key, _)| !known.contains(key)) {
            let Some(place) = Place::of(&self.place, self.entries, key, key) else { continue };
            match (nearest(key, &absent), nearest(key, &known)) {
                (Some(near), _) => {
                    suggested.push(near);
                    place.fault(format!("unknown key; did you mean {near}?"), format!("rename it to {near}, or remove it"));
                }
                (None, Some(near)) => place.fault(
                    format!("unknown key; did you mean {near}?"),
                    format!("remove one of the two: {near} is there already"),
                ),
                (None, None) => place.fault("unknown key", format!("remove it; the keys here are {}", known.join(", "))),
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

/// Refuses an id that could not stand in a column name or a file name.
fn check_id(place: &Place, id: &str) -> bool {
    const LONGEST: usize = 64;
    let good_letter = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
    let good = (1..=LONGEST).contains(&id.len()) && id.chars().all(good_letter);
    if !good {
        let rule = format!("an id has 1 to {LONGEST} letters (a-z, A-Z), digits, '-', '_' or '.'");
        place.report.note(place.at, place.path.clone(), String::new(), rule, "rename it".into());
    }
    good
}

/// The nearest of some names, when one is near enough to be meant.
fn nearest<'n>(name: &str, known: &[&'n str]) -> Option<&'n str> {
    let far_enough = 2.max(name.chars().count() / 3);
    known
        .iter()
        .map(|known| (strsim::damerau_levenshtein(name, known), *known))
        .filter(|(distance, _)| *distance <= far_enough)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, known)| known)
}

/// A noun with its article.
fn a(noun: &str) -> String {
    format!("{} {noun}", if noun.starts_with(['a', 'e', 'i', 'o', 'u']) && noun != "unit" { "an" } else { "a" })
}

fn suggestion(name: &str, known: &[&str], otherwise: &str) -> String {
    nearest(name, known).map_or_else(|| otherwise.to_owned(), |near| format!("did you mean {near:?}?"))
}

/// `"a"`, `"b"` or `"c"`.
fn one_of(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("{name:?}")).collect();
    match quoted.as_slice() {
        [init @ .., last] if !init.is_empty() => format!("{} or {last}", init.join(", ")),
        _ => quoted.concat(),
    }
}

/// Path of a key under a path; a key with anything but letters, digits, `-` and `_` is quoted, as in the file.
fn join(path: &str, key: &str) -> String {
    join_plain(path, &toml_edit::Key::new(key).to_string())
}

fn join_plain(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}
