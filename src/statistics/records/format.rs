//! Format of a file of records, as declared or read off the file.

/// Format of a file and the treatment of its bad lines.
///
/// Fields that are `None` are read off the file where it shows them without ambiguity; an ambiguous file is refused.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Format {
    /// What separates cells: `,`, `;` or a tab.
    pub delimiter: Option<char>,
    /// The decimal mark. Marks between thousands are never read.
    pub decimal: Option<Decimal>,
    /// Order of the parts of dates.
    pub dates: DateOrder,
    /// Names that differ: ours and the file's, such as `("blade", "Blade No.")`.
    pub columns: Vec<(String, String)>,
    /// Cells that say something in other words: what is written and what it stands for, such as `("NRI", "no")` or
    /// `("n/a", "")`. Case does not count, and names of rows, blades and the like stay as they are.
    pub values: Vec<(String, String)>,
    /// What happens to lines that break a rule.
    pub bad_lines: BadLines,
}

/// The mark before decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// 1.5
    Point,
    /// 1,5
    Comma,
}

impl Decimal {
    pub(super) fn mark(self) -> char {
        match self {
            Decimal::Point => '.',
            Decimal::Comma => ',',
        }
    }

    pub(super) fn words(self) -> &'static str {
        match self {
            Decimal::Point => "decimal point",
            Decimal::Comma => "decimal comma",
        }
    }
}

/// Order of the parts of a date; one order for the whole file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DateOrder {
    /// 2031-03-31
    #[default]
    YearMonthDay,
    /// 31.03.2031, 31/03/2031 or 31-03-2031
    DayMonthYear,
    /// 03/31/2031
    MonthDayYear,
}

impl DateOrder {
    pub(super) fn example(self) -> &'static str {
        match self {
            DateOrder::YearMonthDay => "2031-03-31",
            DateOrder::DayMonthYear => "31.03.2031",
            DateOrder::MonthDayYear => "03/31/2031",
        }
    }

    /// The three numbers of a date as year, month and day.
    pub(super) fn sorted(self, parts: [i16; 3]) -> [i16; 3] {
        let [a, b, c] = parts;
        match self {
            DateOrder::YearMonthDay => [a, b, c],
            DateOrder::DayMonthYear => [c, b, a],
            DateOrder::MonthDayYear => [c, a, b],
        }
    }
}

/// What happens to lines that break a rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BadLines {
    /// The whole file is refused.
    #[default]
    Refuse,
    /// They are left out, and the records say which.
    LeaveOut,
}
