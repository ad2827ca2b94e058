//! What is allowed yet may be a slip.

use super::line::Line;
use std::collections::{BTreeMap, HashMap};

/// Sentences about the lines, each with the first line that it is about.
pub(super) fn oddities(lines: &[Line]) -> Vec<String> {
    let mut notes = Vec::new();
    notes.extend(sizes_without_a_call(lines));
    notes.extend(inspections_soon_after_another(lines));
    notes.extend(sizes_too_small(lines));
    notes.extend(names_alike(lines));
    notes
}

/// Sizes that are all so small that they are likely to stand in another unit.
fn sizes_too_small(lines: &[Line]) -> Option<String> {
    /// Smaller than what techniques find (common practice, no source).
    const SMALL_MM: f64 = 0.1;
    let of = |line: &Line| {
        [line.measured_length_mm, line.confirmed_length_mm, line.measured_depth_mm, line.confirmed_depth_mm]
    };
    let largest = lines.iter().flat_map(of).flatten().reduce(f64::max).filter(|largest| *largest < SMALL_MM)?;
    Some(format!("no size exceeds {largest} mm: do they stand in metres or inches? state the unit in the header"))
}

fn sizes_without_a_call(lines: &[Line]) -> Option<String> {
    let sized = |line: &&Line| !line.called && (line.measured_length_mm.is_some() || line.measured_depth_mm.is_some());
    let first = lines.iter().find(sized)?;
    let count = lines.iter().filter(sized).count();
    Some(format!("lines without a call that have a measured size: {count} (first: line {})", first.line))
}

/// Looks of one outage on several days, in a file that does not name its inspections.
fn inspections_soon_after_another(lines: &[Line]) -> Option<String> {
    /// An outage is commonly shorter (common practice, no source).
    const APART_YEARS: f64 = 0.25;
    let mut of_blades: HashMap<(&str, &str), Vec<&Line>> = HashMap::new();
    for line in lines.iter().filter(|line| line.inspection == line.when.to_string()) {
        of_blades.entry((&line.row, &line.blade)).or_default().push(line);
    }
    let mut soon: Vec<(usize, usize)> = Vec::new();
    for looks in of_blades.values_mut() {
        looks.sort_by(|a, b| a.when.year().total_cmp(&b.when.year()));
        let near = |two: &&[&Line]| {
            two[0].inspection != two[1].inspection && two[1].when.year() - two[0].when.year() < APART_YEARS
        };
        soon.extend(looks.windows(2).find(near).map(|two| (two[0].line, two[1].line)));
    }
    let (one, other) = soon.iter().min()?;
    Some(format!(
        "blades with looks less than three months apart that count as different inspections: {} (first: lines {one} and \
         {other}); name the inspection in a column of its own if they are one",
        soon.len()
    ))
}

fn names_alike(lines: &[Line]) -> Vec<String> {
    type Kind = (&'static str, fn(&Line) -> Option<&str>);
    let kinds: [Kind; 4] = [
        ("row", |line| Some(&line.row)),
        ("technique", |line| Some(&line.technique)),
        ("surface", |line| line.surface.as_deref()),
        ("inspector", |line| line.inspector.as_deref()),
    ];
    let mut notes = Vec::new();
    for (kind, name) in kinds {
        let mut names: Vec<&str> = lines.iter().filter_map(name).collect();
        names.sort_unstable();
        names.dedup();
        let mut by_letters: HashMap<String, &str> = HashMap::new();
        for name in names {
            if let Some(other) = by_letters.insert(letters(name), name) {
                notes.push(format!("{kind} {other:?} and {kind} {name:?} count as two; are they one?"));
            }
        }
    }
    notes.extend(blades_alike(lines));
    notes
}

/// Blades of one row whose names differ by case, marks or zeros before a number.
fn blades_alike(lines: &[Line]) -> Vec<String> {
    /// More would drown the other notes.
    const MOST: usize = 5;
    let mut alike: BTreeMap<(String, Vec<String>), BTreeMap<&str, usize>> = BTreeMap::new();
    for line in lines {
        let names = alike.entry((letters(&line.row), parts(&line.blade))).or_default();
        let first = names.entry(&line.blade).or_insert(line.line);
        *first = line.line.min(*first);
    }
    let alike: Vec<_> = alike.values().filter(|names| names.len() > 1).collect();
    let mut notes: Vec<String> = alike
        .iter()
        .take(MOST)
        .map(|names| {
            let each: Vec<String> = names.iter().map(|(name, line)| format!("{name:?} (line {line})")).collect();
            format!("blades {} count as {}; are they one?", each.join(" and "), names.len())
        })
        .collect();
    if alike.len() > MOST {
        notes.push(format!("{} more sets of blades look alike in the same way", alike.len() - MOST));
    }
    notes
}

/// A name's letters and digits, whatever their case.
fn letters(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).collect::<String>().to_lowercase()
}

/// The same of a blade, its numbers without the zeros before them: B07 is B7, and 1-01 is not 101.
fn parts(blade: &str) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    let mut before: Option<bool> = None;
    for c in blade.chars() {
        let digit = c.is_alphanumeric().then(|| c.is_ascii_digit());
        if let Some(digit) = digit {
            if before != Some(digit) {
                parts.push(String::new());
            }
            if let Some(part) = parts.last_mut() {
                part.extend(c.to_lowercase());
            }
        }
        before = digit;
    }
    let without_zeros = |part: String| match part.trim_start_matches('0') {
        "" => part,
        rest => rest.to_owned(),
    };
    parts.into_iter().map(without_zeros).collect()
}
