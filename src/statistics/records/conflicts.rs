//! Lines that cannot both stand.

use super::line::Line;
use crate::model::fleet::Side;
use std::collections::HashMap;

/// Where a line stands: row, blade, inspection.
type Blade<'l> = (&'l str, &'l str, &'l str);
/// Who looked: technique, inspector.
type Look<'l> = (&'l str, Option<&'l str>);
/// A place in the root, as a key.
type Place = (Option<bool>, Option<u32>, Option<u32>);

/// What is wrong between two lines.
pub(super) struct Conflict {
    pub path: &'static str,
    pub value: String,
    what: &'static str,
    pub remedy: &'static str,
}

impl Conflict {
    pub fn rule(&self, other: usize) -> String {
        format!("{} line {other}", self.what)
    }
}

/// Lines that cannot both stand, each with the line that it conflicts with.
pub(super) fn conflicts(lines: &[Line]) -> Vec<(usize, usize, Conflict)> {
    let mut looks: HashMap<(Blade, Look), Vec<&Line>> = HashMap::new();
    let mut places: HashMap<(Blade, Place), Vec<&Line>> = HashMap::new();
    for line in lines {
        let blade = (line.row.as_str(), line.blade.as_str(), line.inspection.as_str());
        let look = (line.technique.as_str(), line.inspector.as_deref());
        looks.entry((blade, look)).or_default().push(line);
        places.entry((blade, place(line))).or_default().push(line);
    }
    let mut found = Vec::new();
    let shown = |line: &Line| format!("{}, {}, {}", line.row, line.blade, line.technique);
    for group in looks.values().filter(|group| group.len() > 1) {
        let mut first_of: HashMap<Place, Vec<&Line>> = HashMap::new();
        group.iter().for_each(|line| first_of.entry(place(line)).or_default().push(line));
        let whole = group.iter().find(|line| !line.has_place());
        let part = group.iter().find(|line| line.has_place());
        for line in group {
            let twins = &first_of[&place(line)];
            if let Some(twin) = twins.iter().find(|twin| twin.line != line.line) {
                let what = "is the same blade, technique and inspection as";
                let remedy = "keep one, or tell them apart by inspector, side, serration or position";
                found.push((
                    line.line,
                    twin.line,
                    Conflict { path: "blade, technique, inspection", value: shown(line), what, remedy },
                ));
            } else if let (Some(whole), Some(part)) = (whole, part) {
                let other = if line.has_place() { whole.line } else { part.line };
                let what = "speaks of the whole blade where the other speaks of a place, or the other way round, as to";
                let remedy = "give the place in all lines of this look, or in none";
                found.push((
                    line.line,
                    other,
                    Conflict { path: "side, serration, position", value: shown(line), what, remedy },
                ));
            }
        }
    }
    type Fact = (&'static str, fn(&Line) -> Option<f64>);
    let facts: [Fact; 3] = [
        ("cracked", |line| line.cracked.map(f64::from)),
        ("confirmed_length_mm", |line| line.confirmed_length_mm),
        ("confirmed_depth_mm", |line| line.confirmed_depth_mm),
    ];
    for group in places.values().filter(|group| group.len() > 1) {
        for (path, fact) in facts {
            let Some((first, value)) = group.iter().find_map(|line| Some((*line, fact(line)?))) else { continue };
            for line in group.iter().filter(|line| fact(line).is_some_and(|other| other != value)) {
                for (one, other) in [(line, &first), (&first, line)] {
                    let what = "contradicts, on the same place at the same inspection,";
                    let remedy = "what is confirmed can have but one value; correct one of the two";
                    let value = match (path, fact(one)) {
                        ("cracked", Some(cracked)) => if cracked > 0.0 { "yes" } else { "no" }.to_owned(),
                        (_, fact) => fact.map_or_else(String::new, |value| value.to_string()),
                    };
                    found.push((one.line, other.line, Conflict { path, value, what, remedy }));
                }
            }
        }
    }
    // The maps have no order of their own.
    found.sort_by_key(|(line, other, conflict)| (*line, *other, conflict.path));
    found.dedup_by_key(|(line, other, conflict)| (*line, *other, conflict.path));
    found
}

fn place(line: &Line) -> Place {
    let (side, serration, position) = line.place();
    (side.map(|side| side == Side::Suction), serration, position)
}
