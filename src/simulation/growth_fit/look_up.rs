//! From lines of sizes to cracks that were followed in a study: every rule, every fault.

use super::FollowedAt;
use super::crack::{Followed, Size};
use super::curve::{Median, SizeKind};
use super::places::{Place, Places};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::statistics::records::{Faults, SizeLine, Sizes};
use std::collections::BTreeMap;

/// How far a later size may be smaller than an earlier one, in standard deviations of their errors: a chance of
/// 1 in 30,000 where nothing has grown.
const SHRINKS: f64 = 4.0;

/// A line with what the study has to say of it.
struct Known<'r> {
    line: &'r SizeLine,
    place: Place,
    kind: SizeKind,
    size: Size,
}

/// The cracks, in the order of their names.
pub(super) fn cracks(
    study: &Study,
    sizes: &Sizes,
    at: &FollowedAt,
    places: &mut Places,
) -> Result<Vec<(Followed, Place)>> {
    let mut faults = Faults::default();
    let mut by_crack: BTreeMap<&str, Vec<Known>> = BTreeMap::new();
    for line in sizes.lines() {
        match known(study, line, at, places, &mut faults)? {
            Some(known) => by_crack.entry(&line.crack).or_default().push(known),
            // Its crack is there all the same, so that it is not said to have one size.
            None => _ = by_crack.entry(&line.crack).or_default(),
        }
    }
    let is_whole = faults.count == 0;
    if is_whole {
        for lines in by_crack.values_mut() {
            lines.sort_by(|one, other| one.size.starts.total_cmp(&other.size.starts));
            check(lines, &mut faults);
        }
    }
    if faults.count > 0 {
        return Err(faults.refusal(sizes.source()));
    }
    let followed = |(name, lines): (&str, Vec<Known>)| {
        let sizes = lines.iter().map(|known| known.size).collect();
        (Followed { name: name.to_owned(), kind: lines[0].kind, sizes }, lines[0].place)
    };
    Ok(by_crack.into_iter().map(followed).collect())
}

fn known<'r>(
    study: &Study,
    line: &'r SizeLine,
    at: &FollowedAt,
    places: &mut Places,
    faults: &mut Faults,
) -> Result<Option<Known<'r>>> {
    let before = faults.count;
    let place = places.find(study, line, at, faults)?;
    let (kind, mm) = match (line.depth_mm, line.length_mm) {
        (Some(mm), None) => (SizeKind::Depth, mm),
        (None, Some(mm)) => (SizeKind::Length, mm),
        _ => {
            let rule = "must have either a depth or a length";
            faults.add(Some(line.line), "depth_mm", "", rule, "give one of the two");
            return Ok(None);
        }
    };
    let error = sizing(study, line, kind, faults);
    let (Some(place), Some((bias, sigma))) = (place, error) else { return Ok(None) };
    let size = Size { line: line.line, starts: line.starts, ln_size: (mm / bias).ln(), sigma };
    within(study, line, &place, kind, size.ln_size, faults);
    Ok((faults.count == before).then_some(Known { line, place, kind, size }))
}

/// Bias and standard deviation of the logarithm of a measured size.
fn sizing(study: &Study, line: &SizeLine, kind: SizeKind, faults: &mut Faults) -> Option<(f64, f64)> {
    let Some(id) = &line.technique else {
        if line.sizing_sigma_log.is_none() {
            let rule = "must not be blank where no technique is: growth is told from sizing error by its size";
            let remedy = "state the standard deviation of the logarithm of the size, or name the technique";
            faults.add(Some(line.line), "sizing_sigma_log", "", rule, remedy);
        }
        return line.sizing_sigma_log.map(|sigma| (1.0, sigma));
    };
    let Some(technique) = study.techniques.iter().find(|technique| technique.id == *id) else {
        let known: Vec<&str> = study.techniques.iter().map(|technique| technique.id.as_str()).collect();
        let remedy = format!("name one of {}, or leave it blank and state sizing_sigma_log", known.join(", "));
        faults.add(Some(line.line), "technique", id, "there is no such technique in the study", &remedy);
        return None;
    };
    let sizing = technique.sizing;
    let remedy = "state sizing_sigma_log in this line";
    match (kind, line.sizing_sigma_log) {
        (SizeKind::Length, Some(sigma)) => Some((sizing.length_bias, sigma)),
        (SizeKind::Length, None) if sizing.length_sigma_log > 0.0 => {
            Some((sizing.length_bias, sizing.length_sigma_log))
        }
        (SizeKind::Length, None) => {
            let rule = "has no sizing error in the study, so that any change of size would be growth";
            faults.add(Some(line.line), "technique", id, rule, remedy);
            None
        }
        // The study knows how techniques size lengths alone.
        (SizeKind::Depth, Some(sigma)) => Some((1.0, sigma)),
        (SizeKind::Depth, None) => {
            let rule = "has a sizing error of lengths in the study, and this is a depth";
            faults.add(Some(line.line), "technique", id, rule, remedy);
            None
        }
    }
}

/// Refuses a size that is not on the growth curve.
fn within(study: &Study, line: &SizeLine, place: &Place, kind: SizeKind, ln_size: f64, faults: &mut Faults) {
    /// Smaller than any size that is admitted, in logarithms of mm.
    const LEAST: f64 = -14.0;
    let spot = &study.roots[place.root].hot_spots[place.class];
    let curve = Median::new(study, spot, kind, LEAST);
    let name = format!("{}.{}", study.roots[place.root].id, spot.id);
    let (words, shown) = (kind.words(), line.depth_mm.or(line.length_mm).unwrap_or(f64::NAN).to_string());
    let corrected = match ((ln_size.exp() / line.length_mm.unwrap_or(f64::NAN)) - 1.0).abs() > 1e-12 {
        true => format!(", {:.4} mm without its bias,", ln_size.exp()),
        false => String::new(),
    };
    if let Some(begins) = curve.begins.filter(|begins| ln_size < *begins) {
        let rule = format!(
            "is{corrected} below the beginning of the growth curve of {name}: its median crack begins with a {words} of \
             {:.4} mm",
            begins.exp()
        );
        let remedy = "the study says nothing of growth below it: leave the line out, or lower initial_depth_mm";
        faults.add(Some(line.line), kind.column(), &shown, &rule, remedy);
    }
    if ln_size >= curve.end {
        let rule = format!(
            "is{corrected} beyond the end of the growth curve of {name}, a {words} of {:.4} mm",
            curve.end.exp()
        );
        let remedy = "its section ends there: correct the size, or look whether the crack is of another hot spot";
        faults.add(Some(line.line), kind.column(), &shown, &rule, remedy);
    }
}

/// Refuses a crack whose sizes, in the order of starts, say nothing of growth.
fn check(lines: &[Known], faults: &mut Faults) {
    let first = &lines[0];
    let name = &first.line.crack;
    let more = "add a size after more starts, or take the crack out";
    if lines.len() < 2 {
        faults.add(Some(first.line.line), "crack", name, "has one size only, which says nothing of growth", more);
        return;
    }
    for other in &lines[1..] {
        let at = Some(other.line.line);
        if other.kind != first.kind {
            let rule = format!(
                "stands beside a {} of crack {name} in line {}: one crack is followed by one size",
                first.kind.words(),
                first.line.line
            );
            let shown = other.line.depth_mm.or(other.line.length_mm).unwrap_or(f64::NAN).to_string();
            faults.add(at, other.kind.column(), &shown, &rule, "leave the sizes of the other kind out");
            return;
        }
        if other.place != first.place {
            let rule =
                format!("is not in the row and hot spot of line {}, where it is the same crack", first.line.line);
            faults.add(at, "crack", name, &rule, "give each crack its own name");
            return;
        }
    }
    let last = &lines[lines.len() - 1];
    if !(last.size.starts > first.size.starts) {
        let rule =
            format!("are those of line {} too: no start lies between the sizes of crack {name}", first.line.line);
        faults.add(Some(last.line.line), "starts", &last.size.starts.to_string(), &rule, more);
        return;
    }
    for (index, later) in lines.iter().enumerate() {
        for earlier in &lines[..index] {
            let error = later.size.sigma.hypot(earlier.size.sigma);
            let shrinks = (earlier.size.ln_size - later.size.ln_size) / error;
            if shrinks > SHRINKS {
                let rule = format!(
                    "is smaller than in line {} by {shrinks:.1} standard deviations of their errors: no growth explains it",
                    earlier.line.line
                );
                let shown = later.line.depth_mm.or(later.line.length_mm).unwrap_or(f64::NAN).to_string();
                let remedy = "look whether both are of one crack, in one unit, and whether the sizing errors are right";
                faults.add(Some(later.line.line), later.kind.column(), &shown, &rule, remedy);
                return;
            }
        }
    }
}

/// Refuses a study in which growth from records has no meaning.
pub(super) fn check_study(study: &Study) -> Result<()> {
    if study.is_given_records() {
        let rule = "was given records, from which its growth has been learnt already";
        return Err(Error::argument("study", "a study given records", rule, "fit in the study as it was before"));
    }
    Ok(())
}
