//! From the cells of a line to what they mean.

use super::columns::{ACCESS, Column, GRADES, SIDES, YES_NO};
use super::faults::Faults;
use super::format::{DateOrder, Decimal, Format};
use super::header::{Header, is_size};
use super::line::{Line, When};
use super::read::{Row, Table};
use super::units::{KNOWN, Unit, unit};
use crate::bounds::{self, Bound, Count};
use crate::text::{is_formula, is_unseen};
use jiff::ToSpan;
use jiff::civil::Date;

/// First year that has four figures.
const FIRST_YEAR: f64 = 1_000.0;

/// Larger than the root of any blade, in mm.
const LARGEST_MM: f64 = 1_000.0;

/// The decimal mark: as declared, else the only one that the numbers of the file have.
///
/// A file is ambiguous where every mark could also stand between thousands, as in 1,234 and 12,000.
pub(super) fn decimal(table: &Table, header: &Header, format: &Format) -> std::result::Result<Decimal, Faults> {
    if let Some(decimal) = format.decimal {
        return Ok(decimal);
    }
    if !table.comma_is_free {
        return Ok(Decimal::Point);
    }
    let numbers: Vec<usize> = header
        .sheet
        .columns
        .iter()
        .zip(&header.places)
        .filter(|(column, _)| is_number(column))
        .filter_map(|(_, place)| *place)
        .collect();
    let cells = || {
        table.rows.iter().flat_map(|row| {
            numbers.iter().filter_map(move |place| row.cells.get(*place).map(|cell| (row.line, cell.trim())))
        })
    };
    let first = |mark: char| {
        cells().find(|(_, cell)| cell.contains(mark) && cell.starts_with(|c: char| c.is_ascii_digit() || c == '-'))
    };
    let mut faults = Faults::default();
    match (first('.'), first(',')) {
        (Some((line, cell)), Some((other, comma))) => {
            let rule = format!("has a point, and {comma} in line {other} a comma");
            faults.add(Some(line), "decimal", cell, &rule, "write one mark throughout, or declare the decimal mark");
            Err(faults)
        }
        (None, None) => Ok(Decimal::Point),
        (point, comma) => {
            let decimal = if point.is_some() { Decimal::Point } else { Decimal::Comma };
            let marked = || cells().filter(|(_, cell)| cell.contains(decimal.mark()));
            if marked().all(|(_, cell)| could_be_thousands(cell, decimal.mark()))
                && let Some((line, cell)) = point.or(comma)
            {
                let rule = "may be a decimal number or thousands, as every number with a mark in this file";
                faults.add(Some(line), "decimal", cell, rule, "declare the decimal mark");
                return Err(faults);
            }
            Ok(decimal)
        }
    }
}

fn is_number(column: &Column) -> bool {
    is_size(column.name) || column.takes == "number" || column.takes == "year"
}

/// Whether a number is one to three digits and then groups of three.
fn could_be_thousands(cell: &str, mark: char) -> bool {
    let mut groups = cell.split(mark);
    let digits = |group: &str| !group.is_empty() && group.bytes().all(|byte| byte.is_ascii_digit());
    // A zero in front, as in 0,125, is no thousand.
    groups.next().is_some_and(|first| digits(first) && first.len() <= 3 && !first.starts_with('0'))
        && groups.all(|group| digits(group) && group.len() == 3)
}

/// Whether a line has a cell for each column; adds a fault if not.
pub(super) fn is_whole(row: &Row, header: &Header, faults: &mut Faults) -> bool {
    let beyond = row.cells.iter().skip(header.width).any(|cell| !cell.trim().is_empty());
    if row.cells.len() < header.width || beyond {
        let rule = format!("has {} cells where the header has {}", row.cells.len(), header.width);
        let shown = row.cells.join(" ");
        faults.add(
            Some(row.line),
            "line",
            &shown,
            &rule,
            "give every column a cell, blank where unknown, and quote cells that hold the delimiter",
        );
        return false;
    }
    true
}

/// One line, or its faults.
pub(super) fn line(row: &Row, header: &Header, decimal: Decimal, format: &Format, faults: &mut Faults) -> Option<Line> {
    let before = faults.count;
    if !is_whole(row, header, faults) {
        return None;
    }
    let mut cells = Cells { row, header, decimal, faults };
    // A line without a time has a fault, so that the stand-in goes no further; likewise needed texts.
    let when = cells.when(format).unwrap_or(When::Year(f64::NAN));
    let inspection = cells.text("inspection").unwrap_or_else(|| when.to_string());
    let confirmed_length_mm = cells.size("confirmed_length_mm");
    let confirmed_depth_mm = cells.size("confirmed_depth_mm");
    let cracked = cells.cracked(confirmed_length_mm.is_some() || confirmed_depth_mm.is_some());
    let line = Line {
        line: row.line,
        row: cells.needed("row"),
        blade: cells.needed("blade"),
        inspection,
        when,
        technique: cells.needed("technique"),
        grade: cells.choice("grade", &GRADES),
        surface: cells.text("surface"),
        access: cells.choice("access", &ACCESS),
        inspector: cells.text("inspector"),
        called: cells.called(),
        measured_length_mm: cells.size("measured_length_mm"),
        measured_depth_mm: cells.size("measured_depth_mm"),
        signal: cells.number("signal").filter(|signal| signal.is_finite()),
        cracked,
        confirmed_length_mm,
        confirmed_depth_mm,
        side: cells.choice("side", &SIDES),
        serration: cells.count("serration", bounds::SERRATION),
        position: cells.count("position", bounds::PLACES),
        extra: header.extra.iter().map(|(_, place)| known(&row.cells[*place]).map(str::to_owned)).collect(),
    };
    (faults.count == before).then_some(line)
}

/// The cell's content; `None` when it is blank.
fn known(cell: &str) -> Option<&str> {
    Some(cell.trim()).filter(|cell| !cell.is_empty())
}

/// The cells of one line by column name; adds a fault for each that breaks its rule.
pub(super) struct Cells<'r> {
    pub row: &'r Row,
    pub header: &'r Header,
    pub decimal: Decimal,
    pub faults: &'r mut Faults,
}

impl<'r> Cells<'r> {
    pub fn cell(&self, name: &str) -> Option<&'r str> {
        known(&self.row.cells[self.header.places[self.header.sheet.index_of(name)?]?])
    }

    pub fn fault(&mut self, name: &str, value: &str, rule: &str, remedy: &str) {
        self.faults.add(Some(self.row.line), name, value, rule, remedy);
    }

    pub fn text(&mut self, name: &str) -> Option<String> {
        let text = self.cell(name)?;
        if let Some(sign) = text.chars().find(|sign| is_unseen(*sign)) {
            let rule = format!("holds a character that nobody sees, U+{:04X}", u32::from(sign));
            self.fault(name, text, &rule, "write it anew");
        } else if is_formula(text) {
            self.fault(name, text, "begins like a formula of a spreadsheet", "begin it with a letter or a digit");
        }
        Some(text.to_owned())
    }

    pub fn needed(&mut self, name: &str) -> String {
        self.text(name).unwrap_or_else(|| {
            self.fault(name, "", "must not be blank", &format!("write the {name}, or take the line out"));
            String::new()
        })
    }

    fn choice<T: Copy>(&mut self, name: &str, known: &[(&str, T)]) -> Option<T> {
        let cell = self.cell(name)?;
        let found = known.iter().find(|(word, _)| *word == cell.to_lowercase());
        if found.is_none() {
            let words: Vec<&str> = known.iter().map(|(word, _)| *word).collect();
            let remedy = format!("write one of these, leave it blank, or say values = {{{cell:?}: {:?}}}", words[0]);
            self.fault(name, cell, &format!("must be {}", words.join(" or ")), &remedy);
        }
        found.map(|(_, value)| *value)
    }

    fn yes_or_no(&mut self, name: &str) -> Option<bool> {
        let cell = self.cell(name)?;
        let found = YES_NO.iter().find(|(word, _)| *word == cell.to_lowercase());
        if found.is_none() {
            let remedy = format!(
                "write yes or no (true, false, y, n, 1 and 0 will do too), or, if no is meant, say values = {{{cell:?}: \"no\"}}"
            );
            self.fault(name, cell, "must be yes or no", &remedy);
        }
        found.map(|(_, value)| *value)
    }

    fn called(&mut self) -> bool {
        if self.cell("called").is_none() {
            let remedy = "write yes or no; a look whose answer is not known is no record";
            self.fault("called", "", "must not be blank", remedy);
        }
        self.yes_or_no("called").unwrap_or(false)
    }

    fn cracked(&mut self, has_confirmed_size: bool) -> Option<bool> {
        let cracked = self.yes_or_no("cracked");
        if has_confirmed_size && cracked == Some(false) {
            self.fault("cracked", "no", "contradicts the confirmed size", "correct one of the two");
        }
        cracked.or(has_confirmed_size.then_some(true))
    }

    /// A number, finite.
    fn number(&mut self, name: &str) -> Option<f64> {
        let cell = self.cell(name)?;
        let (ours, other) = match self.decimal {
            Decimal::Point => ('.', "comma"),
            Decimal::Comma => (',', "point"),
        };
        let allowed = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | 'e' | 'E') || c == ours;
        let number = cell.replace(ours, ".").parse::<f64>().ok().filter(|x| x.is_finite() && cell.chars().all(allowed));
        if number.is_none() {
            let rule = format!("is not a number with a {}", self.decimal.words());
            let remedy = format!(
                "write it like 1{ours}5 without a unit and without marks between thousands, leave it blank if unknown (for all such cells: say values = {{{cell:?}: \"\"}}), or declare a decimal {other}"
            );
            self.fault(name, cell, &rule, &remedy);
        }
        number
    }

    pub fn within(&mut self, name: &str, bound: Bound) -> Option<f64> {
        let number = self.number(name)?;
        match bound.refusal(name, number) {
            Some((rule, remedy)) => {
                let cell = self.cell(name).unwrap_or_default();
                self.fault(name, cell, &rule, &remedy);
                None
            }
            None => Some(number),
        }
    }

    /// A size in mm.
    pub fn size(&mut self, name: &str) -> Option<f64> {
        if self.cell(name).is_some() && self.zero(name) {
            let remedy = match name.starts_with("confirmed") {
                true => "for a place found free of cracks write no under cracked and leave the size blank",
                false => "leave it blank where nothing was measured",
            };
            self.fault(name, "0", "must exceed 0", remedy);
            return None;
        }
        let number = self.number(name)?;
        let unit = self.unit(name)?;
        let (mm, cell) = (number * unit.mm, self.cell(name).unwrap_or_default());
        let converted = if unit == Unit::MM { String::new() } else { format!("{cell} {} is {mm} mm: ", unit.name) };
        if mm > LARGEST_MM {
            let rule = format!("{converted}no root is larger than {LARGEST_MM} mm");
            self.fault(name, cell, &rule, "state its unit in the header, such as measured_length [um], or correct it");
            return None;
        }
        match bounds::LENGTH_MM.refusal(name, mm) {
            Some((rule, remedy)) => {
                self.fault(name, cell, &format!("{converted}{rule}"), &remedy);
                None
            }
            None => Some(mm),
        }
    }

    /// The unit of a size, by its header or by the column of units.
    fn unit(&mut self, name: &str) -> Option<Unit> {
        let Some(place) = self.header.unit_column else {
            return Some(self.header.sheet.index_of(name).map_or(Unit::MM, |column| self.header.units[column]));
        };
        let stated = known(&self.row.cells[place]);
        let found = stated.and_then(unit);
        if found.is_none() {
            let (value, rule) = match stated {
                Some(word) => (word, format!("is no unit of length that is known, and {name} stands in it")),
                None => ("", format!("must not be blank, as {name} stands in it")),
            };
            self.fault("unit", value, &rule, &format!("write {KNOWN}"));
        }
        found
    }

    fn zero(&self, name: &str) -> bool {
        self.cell(name).is_some_and(|cell| cell.replace(self.decimal.mark(), ".").parse() == Ok(0.0))
    }

    fn count(&mut self, name: &str, count: Count) -> Option<u32> {
        let number = self.number(name)?;
        let cell = self.cell(name).unwrap_or_default();
        if number.fract() != 0.0 || number.abs() > 1e9 {
            self.fault(name, cell, "must be a whole number", &format!("give {name} a whole number {count}"));
            return None;
        }
        match count.refusal(name, number as i64) {
            Some((rule, remedy)) => {
                self.fault(name, cell, &rule, &remedy);
                None
            }
            None => count.admit(number as i64),
        }
    }

    fn when(&mut self, format: &Format) -> Option<When> {
        let date = match self.cell("date") {
            Some(cell) => match date(cell, format.dates) {
                Ok(date) => Some(date),
                Err((rule, remedy)) => {
                    self.fault("date", cell, &rule, &remedy);
                    return None;
                }
            },
            None => None,
        };
        let year = match self.cell("year") {
            Some(cell) => {
                let year = self.within("year", bounds::YEAR)?;
                if year < FIRST_YEAR {
                    self.fault(
                        "year",
                        cell,
                        "has fewer than four figures",
                        "is the century missing? write it like 2031",
                    );
                    return None;
                }
                Some(year)
            }
            None => None,
        };
        match (date, year) {
            (Some(date), Some(year)) if year.floor() != f64::from(date.year()) => {
                let cell = self.cell("year").unwrap_or_default();
                self.fault("year", cell, &format!("is not the year of the date, {date}"), "correct one of the two");
                None
            }
            (Some(date), _) => Some(When::Date(date)),
            (None, Some(year)) => Some(When::Year(year)),
            (None, None) => {
                self.fault("date", "", "must not be blank where the year is", "write the date, or the year");
                None
            }
        }
    }
}

/// A date of three numbers with one kind of mark between them, or the rule that is broken and how to mend it.
fn date(cell: &str, order: DateOrder) -> std::result::Result<Date, (String, String)> {
    let rule = format!("is not a date like {}", order.example());
    let Some([year, month, day]) = three_numbers(cell).map(|numbers| order.sorted(numbers)) else {
        let remedy = match stored_by_spreadsheet(cell) {
            Some(date) => format!("spreadsheets store {date} so: give the cells the form of dates, and save again"),
            None => "write it so, or declare the order of day, month and year".to_owned(),
        };
        return Err((rule, remedy));
    };
    if f64::from(year) < FIRST_YEAR {
        // Two figures of a year leave the century to be guessed.
        return Err((rule, "write the year with four figures, or declare the order of day, month and year".to_owned()));
    }
    let whole_month = i8::try_from(month).ok().and_then(|month| Date::new(year, month, 1).ok());
    let Some(whole_month) = whole_month else {
        return Err((rule, format!("there is no month {month}: declare the order of day, month and year")));
    };
    let found = i8::try_from(day).ok().and_then(|day| Date::new(year, whole_month.month(), day).ok());
    found.ok_or_else(|| {
        let rule = format!("is no day: month {month} of {year} has {} days", whole_month.days_in_month());
        (rule, "correct the day, or declare the order of day, month and year".to_owned())
    })
}

fn three_numbers(cell: &str) -> Option<[i16; 3]> {
    let mark = cell.chars().find(|c| !c.is_ascii_digit()).filter(|mark| matches!(mark, '-' | '.' | '/'))?;
    let numbers: Option<Vec<i16>> = cell.split(mark).map(|part| part.parse().ok()).collect();
    numbers?.try_into().ok()
}

/// The date that a spreadsheet stores as a number: its days from 30 December 1899 on.
fn stored_by_spreadsheet(cell: &str) -> Option<Date> {
    let days = cell.parse::<i64>().ok().filter(|days| (10_000..100_000).contains(days))?;
    Date::constant(1899, 12, 30).checked_add(days.days()).ok()
}
