//! Named columns of equal length, filled line by line.

/// A column of a [`Table`].
#[derive(Debug, Clone, PartialEq)]
pub enum Column {
    /// Names and notes.
    Text(Vec<String>),
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
            Head::Text(name) => (name, Column::Text(Vec::new())),
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
