//! Named columns of equal length, filled line by line.

use serde::{Serialize, Serializer};
use std::collections::HashMap;
use std::fmt::{Debug, Formatter};

/// Texts, line by line. Each word is kept once: a table of a large fleet says the same names in millions of lines.
#[derive(Clone, Default)]
pub struct Texts {
    words: Vec<String>,
    /// Number of the word of each line.
    lines: Vec<u32>,
    known: HashMap<String, u32>,
}

impl Texts {
    fn push(&mut self, text: String) {
        let number = match self.known.get(&text) {
            Some(number) => *number,
            None => {
                let number = self.words.len() as u32;
                self.words.push(text.clone());
                self.known.insert(text, number);
                number
            }
        };
        self.lines.push(number);
    }

    /// Number of lines.
    pub fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether there is no line.
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// The words that occur.
    pub fn words(&self) -> &[String] {
        &self.words
    }

    /// For each line the number of its word.
    pub fn lines(&self) -> &[u32] {
        &self.lines
    }

    /// The text of each line.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &str> {
        self.lines.iter().map(|number| self.words[*number as usize].as_str())
    }
}

impl Debug for Texts {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> std::fmt::Result {
        formatter.debug_list().entries(self.iter()).finish()
    }
}

impl PartialEq for Texts {
    fn eq(&self, other: &Self) -> bool {
        self.len() == other.len() && self.iter().eq(other.iter())
    }
}

impl FromIterator<String> for Texts {
    fn from_iter<T: IntoIterator<Item = String>>(texts: T) -> Self {
        let mut all = Texts::default();
        texts.into_iter().for_each(|text| all.push(text));
        all
    }
}

impl Serialize for Texts {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_seq(self.iter())
    }
}

/// A column of a [`Table`].
#[derive(Debug, Clone, PartialEq)]
pub enum Column {
    /// Names and notes.
    Text(Texts),
    /// Numbers; not-a-number where there is none.
    Number(Vec<f64>),
    /// Whole numbers.
    Count(Vec<u64>),
}

/// Named columns of equal length.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Its name.
    pub name: &'static str,
    /// Its columns, in order.
    pub columns: Vec<(&'static str, Column)>,
}

/// One cell of a line.
#[derive(Clone)]
pub(crate) enum Cell {
    Text(String),
    Number(f64),
    Count(u64),
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Cell::Text(text.to_owned())
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        Cell::Number(number)
    }
}

impl From<u64> for Cell {
    fn from(count: u64) -> Self {
        Cell::Count(count)
    }
}

/// Name and type of a column.
#[derive(Clone, Copy)]
pub(crate) enum Head {
    Text(&'static str),
    Number(&'static str),
    Count(&'static str),
}

impl Table {
    pub(crate) fn new(name: &'static str, heads: &[Head]) -> Self {
        let column = |head: &Head| match *head {
            Head::Text(name) => (name, Column::Text(Texts::default())),
            Head::Number(name) => (name, Column::Number(Vec::new())),
            Head::Count(name) => (name, Column::Count(Vec::new())),
        };
        Table { name, columns: heads.iter().map(column).collect() }
    }

    pub(crate) fn line(&mut self, cells: impl IntoIterator<Item = Cell>) {
        let mut columns = self.columns.iter_mut();
        for cell in cells {
            match (columns.next(), cell) {
                (Some((_, Column::Text(texts))), Cell::Text(text)) => texts.push(text),
                (Some((_, Column::Number(numbers))), Cell::Number(number)) => numbers.push(number),
                (Some((_, Column::Count(counts))), Cell::Count(count)) => counts.push(count),
                (column, _) => debug_assert!(false, "a cell does not fit the column {column:?} of {}", self.name),
            }
        }
        debug_assert!(columns.next().is_none(), "a line of {} is short", self.name);
    }

    /// Number of lines.
    pub fn len(&self) -> usize {
        self.columns.first().map_or(0, |(_, column)| match column {
            Column::Text(texts) => texts.len(),
            Column::Number(numbers) => numbers.len(),
            Column::Count(counts) => counts.len(),
        })
    }

    /// Whether it has no lines.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// A column by name.
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|(known, _)| *known == name).map(|(_, column)| column)
    }
}
