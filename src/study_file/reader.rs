//! A walk through a parsed file that collects every fault instead of stopping at the first.
//!
//! A [`Place`] is a value with its line and its path; reading it gives `None` when a fault was noted.
//! Tables are read through a `Section`.

use super::wording::{join, join_plain, line_at, one_of, shortened, suggestion, without_comma};
use crate::bounds::{Bound, Count};
use crate::error::Fault;
use crate::text::is_unseen;
use std::cell::{Cell, RefCell};
use std::ops::Range;
use toml_edit::{ArrayOfTables, Item, Table, TableLike, Value};

/// The faults of one file, found so far.
pub(super) struct Report<'t> {
    text: &'t str,
    faults: RefCell<Vec<(usize, Fault)>>,
    /// While a missing table is walked only to learn its keys, nothing is noted.
    pub muted: Cell<bool>,
    pub nothing: Table,
    /// Every key asked for, in tests: the key reference is held against it.
    #[cfg(test)]
    pub keys: RefCell<std::collections::BTreeMap<String, Key>>,
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
}

/// Facts about a key, gathered while files are read.
#[cfg(test)]
#[derive(Debug, Default, Clone, PartialEq)]
pub(super) struct Key {
    /// Values that it takes, in words.
    pub takes: String,
    /// Whether it may be left out.
    pub optional: bool,
    /// Whether the file holds it.
    pub present: bool,
}

#[derive(Clone, Copy)]
pub(super) enum Node<'a> {
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

    /// Its kind, in plain words.
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
    pub report: &'a Report<'a>,
    pub path: String,
    /// The key alone, for remedies.
    pub name: String,
    /// The path with ids and numbers replaced by words, as in the key reference.
    pub pattern: String,
    pub node: Node<'a>,
    /// Offset at which it stands.
    pub at: Option<usize>,
    /// The text of the value; none for tables with a header of their own.
    pub span: Option<Range<usize>>,
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

    pub fn of(parent: &Place<'a>, table: &'a dyn TableLike, key: &str, pattern: &str) -> Option<Self> {
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

    /// Text of the file here.
    fn value(&self) -> String {
        self.span.clone().and_then(|span| self.report.text.get(span)).map(shortened).unwrap_or_default()
    }

    pub fn fault(&self, rule: impl Into<String>, remedy: impl Into<String>) {
        self.report.note(self.at, self.path.clone(), self.value(), rule.into(), remedy.into());
    }

    pub fn wrong_type<T>(&self, wanted: &str, remedy: String) -> Option<T> {
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

    pub fn number(&self, bound: Bound) -> Option<f64> {
        let x = match self.node {
            Node::Value(Value::Integer(x)) => *x.value() as f64,
            // There is one zero: -0.0 is 0.0.
            Node::Value(Value::Float(x)) => *x.value() + 0.0,
            Node::Value(Value::String(text)) if text.value().trim().parse::<f64>().is_ok() => {
                return self.wrong_type("a number", "remove the quotes".into());
            }
            Node::Value(Value::String(text)) if without_comma(text.value().trim()).is_some() => {
                let meant = without_comma(text.value().trim()).unwrap_or_default();
                return self.wrong_type("a number", format!("write {meant}, without quotes"));
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
            _ if self.is_list() => {
                self.wrong_type("text", format!("give {} a single text, without brackets", self.name))
            }
            _ => self.wrong_type("text", format!("put {} in quotes", self.name)),
        }
    }

    /// A text on one line.
    pub fn text(&self) -> Option<String> {
        self.prose().filter(|text| {
            let one_line = !text.contains('\n');
            if !one_line {
                self.fault("must stand on one line", format!("take the line breaks out of {}", self.name));
            }
            one_line
        })
    }

    /// A text, on one line or more.
    pub fn prose(&self) -> Option<String> {
        let text = self.string()?;
        if text.trim().is_empty() {
            self.fault("must not be empty", format!("say something in {}", self.name));
            return None;
        }
        if let Some(sign) = text.chars().find(|sign| *sign != '\n' && is_unseen(*sign)) {
            let rule = format!("holds a character that nobody sees, U+{:04X}", u32::from(sign));
            self.fault(rule, format!("write {} anew", self.name));
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

    pub fn unknown(&self, id: &str, noun: &str, ids: &[String]) {
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
