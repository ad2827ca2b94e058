//! What is allowed yet may be a slip.

use super::line::Line;
use std::collections::HashMap;

/// Sentences about the lines, each with the first line that it is about.
pub(super) fn oddities(lines: &[Line]) -> Vec<String> {
    let mut notes = Vec::new();
    notes.extend(sizes_without_a_call(lines));
    notes.extend(inspections_soon_after_another(lines));
    notes.extend(names_alike(lines));
    notes
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
            let bare: String = name.chars().filter(|c| c.is_alphanumeric()).collect::<String>().to_lowercase();
            if let Some(other) = by_letters.insert(bare, name) {
                notes.push(format!("{kind} {other:?} and {kind} {name:?} count as two; are they one?"));
            }
        }
    }
    notes
}
