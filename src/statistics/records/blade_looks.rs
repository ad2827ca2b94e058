//! All looks at one blade at one inspection, whatever technique they are of.

use super::line::Line;

/// All looks at one blade at one inspection.
#[derive(Debug, Clone, PartialEq)]
pub struct BladeLooks<'r> {
    /// Row.
    pub row: &'r str,
    /// Blade.
    pub blade: &'r str,
    /// Inspection: its name, date or year.
    pub inspection: &'r str,
    /// The lines, in the order of the file.
    pub lines: Vec<&'r Line>,
}

impl BladeLooks<'_> {
    /// Whether a technique called the blade; `None` when it did not look.
    pub fn called_by(&self, technique: &str) -> Option<bool> {
        let mut looks = self.lines.iter().filter(|line| line.technique == technique).peekable();
        looks.peek()?;
        Some(looks.any(|line| line.called))
    }

    /// The blade's longest confirmed length, in mm.
    pub fn confirmed_length_mm(&self) -> Option<f64> {
        self.lines.iter().filter_map(|line| line.confirmed_length_mm).reduce(f64::max)
    }

    /// Whether the blade is known to be cracked or known to be free of cracks; `None` when it is not known.
    ///
    /// One line that knows of a crack is enough; all lines that know must agree on a blade free of cracks.
    pub fn cracked(&self) -> Option<bool> {
        let mut known = self.lines.iter().filter_map(|line| line.cracked).peekable();
        known.peek()?;
        Some(known.any(|cracked| cracked))
    }
}
