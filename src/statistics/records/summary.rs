//! Records on one screen.

use super::Records;
use super::blade_looks::BladeLooks;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// Counts of what the records hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Source of the records.
    pub source: String,
    /// Format of the file.
    pub style: String,
    /// Lines read: those kept and those left out.
    pub lines_read: usize,
    /// Lines kept.
    pub lines: usize,
    /// Places of the lines left out.
    pub left_out: Vec<usize>,
    /// Rows of blades.
    pub rows: usize,
    /// Blades.
    pub blades: usize,
    /// Inspections of a row.
    pub inspections: usize,
    /// First and last year.
    pub years: (f64, f64),
    /// Each technique.
    pub techniques: Vec<TechniqueCount>,
    /// Blades at inspections: each blade counts once for each inspection of it.
    pub blade_inspections: usize,
    /// Those of them that several techniques looked at.
    pub seen_by_several: usize,
    /// Techniques that looked at the same blades, and at how many; most first.
    pub together: Vec<(Vec<String>, usize)>,
    /// Those of them that no technique called.
    pub clean: usize,
    /// Lines with a confirmed size.
    pub confirmed_sizes: usize,
    /// Lines on places confirmed to be free of cracks.
    pub confirmed_free: usize,
    /// Columns with blank cells, and how many.
    pub blanks: Vec<(String, usize)>,
    /// Columns that serrata does not know.
    pub extra_columns: Vec<String>,
    /// Notes on possible slips.
    pub notes: Vec<String>,
}

/// Looks and calls of one technique.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TechniqueCount {
    /// Name.
    pub technique: String,
    /// Lines.
    pub looks: usize,
    /// Lines with a call.
    pub calls: usize,
    /// Blades looked at.
    pub blades: usize,
}

impl Records {
    /// Counts for one screen.
    pub fn summary(&self) -> Summary {
        Summary::new(self)
    }
}

impl Summary {
    pub(super) fn new(records: &Records) -> Summary {
        let lines = records.lines();
        let looks = records.side_by_side();
        let count = |keep: &dyn Fn(&super::Line) -> bool| lines.iter().filter(|line| keep(line)).count();
        let techniques = records.techniques().into_iter().map(|technique| TechniqueCount {
            technique: technique.to_owned(),
            looks: records.of_technique(technique).count(),
            calls: records.of_technique(technique).filter(|line| line.called).count(),
            blades: distinct(records.of_technique(technique).map(|line| (&line.row, &line.blade))),
        });
        let several = |look: &&BladeLooks| look.lines.iter().any(|line| line.technique != look.lines[0].technique);
        let years = lines.iter().map(|line| line.when.year());
        Summary {
            source: records.source().to_owned(),
            style: records.style().to_owned(),
            lines_read: records.lines_read(),
            lines: lines.len(),
            left_out: records.left_out().lines.clone(),
            rows: distinct(lines.iter().map(|line| line.row.as_str())),
            blades: distinct(lines.iter().map(|line| (line.row.as_str(), line.blade.as_str()))),
            inspections: distinct(lines.iter().map(|line| (line.row.as_str(), line.inspection.as_str()))),
            years: (years.clone().fold(f64::INFINITY, f64::min), years.fold(f64::NEG_INFINITY, f64::max)),
            techniques: techniques.collect(),
            blade_inspections: looks.len(),
            seen_by_several: looks.iter().filter(several).count(),
            together: together(&looks),
            clean: looks.iter().filter(|look| look.lines.iter().all(|line| !line.called)).count(),
            confirmed_sizes: count(&|line| line.confirmed_length_mm.is_some() || line.confirmed_depth_mm.is_some()),
            confirmed_free: count(&|line| line.cracked == Some(false)),
            blanks: blanks(records),
            extra_columns: records.extra_columns().to_vec(),
            notes: records.notes().to_vec(),
        }
    }
}

/// Blade inspections by the set of techniques that looked, where they are several.
fn together(looks: &[BladeLooks]) -> Vec<(Vec<String>, usize)> {
    let mut sets: BTreeMap<BTreeSet<&str>, usize> = BTreeMap::new();
    for look in looks {
        let techniques: BTreeSet<&str> = look.lines.iter().map(|line| line.technique.as_str()).collect();
        *sets.entry(techniques).or_default() += 1;
    }
    let several = sets.into_iter().filter(|(techniques, _)| techniques.len() > 1);
    let mut counted: Vec<(Vec<String>, usize)> =
        several.map(|(techniques, count)| (techniques.into_iter().map(str::to_owned).collect(), count)).collect();
    counted.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    counted
}

fn distinct<T: Ord>(names: impl Iterator<Item = T>) -> usize {
    names.collect::<BTreeSet<T>>().len()
}

fn blanks(records: &Records) -> Vec<(String, usize)> {
    type Blank = (&'static str, fn(&super::Line) -> bool);
    let columns: [Blank; 13] = [
        ("grade", |line| line.grade.is_none()),
        ("surface", |line| line.surface.is_none()),
        ("access", |line| line.access.is_none()),
        ("inspector", |line| line.inspector.is_none()),
        ("measured_length_mm", |line| line.measured_length_mm.is_none()),
        ("measured_depth_mm", |line| line.measured_depth_mm.is_none()),
        ("signal", |line| line.signal.is_none()),
        ("cracked", |line| line.cracked.is_none()),
        ("confirmed_length_mm", |line| line.confirmed_length_mm.is_none()),
        ("confirmed_depth_mm", |line| line.confirmed_depth_mm.is_none()),
        ("side", |line| line.side.is_none()),
        ("serration", |line| line.serration.is_none()),
        ("position", |line| line.position.is_none()),
    ];
    let present = columns.into_iter().filter(|(name, _)| records.present_columns().contains(name));
    let counted =
        present.map(|(name, blank)| (name.to_owned(), records.lines().iter().filter(|line| blank(line)).count()));
    counted.filter(|(_, count)| *count > 0).collect()
}

impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let many = |count: usize, noun: &str| format!("{count} {noun}{}", if count == 1 { "" } else { "s" });
        writeln!(f, "{}: {} ({})", self.source, many(self.lines, "line"), self.style)?;
        let (first, last) = (self.years.0.floor(), self.years.1.floor());
        let years = if first == last { format!("{first}") } else { format!("{first} to {last}") };
        let (rows, blades) = (many(self.rows, "row"), many(self.blades, "blade"));
        writeln!(f, "  {rows}, {blades}, {}, {years}", many(self.inspections, "inspection"))?;
        let width = self.techniques.iter().map(|one| one.technique.chars().count()).max().unwrap_or(0).max(10);
        writeln!(f, "  {:width$}  {:>7}  {:>7}  {:>7}", "technique", "looks", "calls", "blades")?;
        for TechniqueCount { technique, looks, calls, blades } in &self.techniques {
            writeln!(f, "  {technique:width$}  {looks:>7}  {calls:>7}  {blades:>7}")?;
        }
        let all = self.blade_inspections;
        writeln!(f, "  of {}:", many(all, "blade inspection"))?;
        writeln!(f, "    seen by several techniques: {}", self.seen_by_several)?;
        /// One screen has no room for more.
        const SETS: usize = 4;
        for (techniques, count) in self.together.iter().take(SETS) {
            writeln!(f, "      {}: {count}", techniques.join(", "))?;
        }
        if self.together.len() > SETS {
            let rest: usize = self.together[SETS..].iter().map(|(_, count)| count).sum();
            writeln!(f, "      other sets of techniques: {rest}")?;
        }
        writeln!(f, "    clean, called by none: {}", self.clean)?;
        writeln!(f, "  lines with a confirmed size: {}", self.confirmed_sizes)?;
        writeln!(f, "  lines confirmed to be free of cracks: {}", self.confirmed_free)?;
        if !self.left_out.is_empty() {
            /// Enough to begin with; the faults name the others.
            const NAMED: usize = 8;
            let named: Vec<String> = self.left_out.iter().take(NAMED).map(usize::to_string).collect();
            let more = if self.left_out.len() > NAMED { ", ..." } else { "" };
            let count = self.left_out.len();
            writeln!(f, "  left out: {count} of {} (line {}{more})", many(self.lines_read, "line"), named.join(", "))?;
        }
        if !self.blanks.is_empty() {
            let blanks: Vec<String> = self.blanks.iter().map(|(name, count)| format!("{name} {count}")).collect();
            writeln!(f, "  blank cells: {}", blanks.join(", "))?;
        }
        if !self.extra_columns.is_empty() {
            writeln!(f, "  further columns, kept: {}", self.extra_columns.join(", "))?;
        }
        self.notes.iter().try_for_each(|note| writeln!(f, "  note: {note}"))
    }
}
