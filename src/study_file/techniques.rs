//! Techniques.

use super::ids::Ids;
use super::reader::Place;
use super::section::Section;
use crate::bounds;
use crate::model::detection::{
    Access, CurveShape, DepthGate, DepthSizing, Grade, PodCurve, SizeMeasure, Sizing, Technique,
};

/// Words of the study file for the place of the blades.
pub(super) const ACCESS: [(&str, Access); 2] = [("in-place", Access::InPlace), ("blades-out", Access::BladesOut)];

/// Words of the study file for the size that detection depends on.
pub(super) const SIZES: [(&str, SizeMeasure); 3] =
    [("length", SizeMeasure::Length), ("depth", SizeMeasure::Depth), ("geometric-mean", SizeMeasure::GeometricMean)];

/// Words of the study file for the shapes of a detection curve.
pub(super) const SHAPES: [(&str, CurveShape); 2] = [("logistic", CurveShape::Logistic), ("normal", CurveShape::Normal)];

/// Words of the study file for the grades of a procedure.
pub(super) const GRADES: [(&str, Grade); 2] = [("standard", Grade::Standard), ("enhanced", Grade::Enhanced)];

/// Reads a technique.
pub(super) fn technique(section: &Section, id: &str, ids: &Ids) -> Option<Technique> {
    let number = |key, bound| section.number(key, bound);
    let access = section.choice("access", &ACCESS);
    let pod = section.table("pod", pod);
    let depth_gate = section.optional("depth_gate", |section, key| section.table(key, depth_gate));
    let grade = section.choice("grade", &GRADES);
    let grade_shift_log = number("grade_shift_log", bounds::SHIFT_LOG);
    let surface_shift_log = section.optional("surface_shift_log", |section, key| {
        surface_shifts(section.get(key, "a table with a shift for each surface, 0 where left out")?, ids)
    });
    let closed_mouth_factor =
        section.optional("closed_mouth_factor", |section, key| section.number(key, bounds::PROBABILITY));
    section.replaced(
        "closed_mouth_shift_log",
        "a shift of size does not say what a closed mouth hides",
        "give closed_mouth_factor: the probability of detection at a closed mouth over that at an open one",
    );
    let inspection_sigma = number("inspection_sigma", bounds::SIGMA_LOG);
    let crack_sigma = number("crack_sigma", bounds::SIGMA_LOG);
    let false_call_probability = number("false_call_probability", bounds::PROBABILITY_BELOW_ONE);
    let false_call_length_mm = section.distribution("false_call_length_mm", bounds::LENGTH_MM);
    let sizing = section.table("sizing", sizing);
    let false_call_depth_mm =
        section.optional("false_call_depth_mm", |section, key| section.distribution(key, bounds::LENGTH_MM));
    let cost_per_row = number("cost_per_row", bounds::COST);
    let cost_per_blade = number("cost_per_blade", bounds::COST);
    let days_per_row = number("days_per_row", bounds::DAYS);
    let basis = section.basis();
    let (sizing, depth_error) = sizing?;
    let depth_sizing = match (depth_error, false_call_depth_mm?) {
        (Some((bias, sigma_log)), Some(false_call_mm)) => Some(DepthSizing { bias, sigma_log, false_call_mm }),
        (None, None) => None,
        (Some(_), None) => return missing(section, "false_call_depth_mm", "sizing.depth_bias"),
        (None, Some(_)) => return missing(section, "sizing", "false_call_depth_mm"),
    };
    Some(Technique {
        id: id.to_owned(),
        access: access?,
        pod: pod?,
        depth_gate: depth_gate?,
        grade: grade?,
        grade_shift_log: grade_shift_log?,
        surface_shift_log: surface_shift_log?.unwrap_or_else(|| vec![0.0; ids.surfaces.len()]),
        closed_mouth_factor: closed_mouth_factor?.unwrap_or(1.0),
        inspection_sigma: inspection_sigma?,
        crack_sigma: crack_sigma?,
        false_call_probability: false_call_probability?,
        false_call_length_mm: false_call_length_mm?,
        sizing,
        depth_sizing,
        cost_per_row: cost_per_row?,
        cost_per_blade: cost_per_blade?,
        days_per_row: days_per_row?,
        basis: basis?,
    })
}

fn pod(section: &Section) -> Option<PodCurve> {
    let size = section.choice("size", &SIZES);
    let shape = section.choice("shape", &SHAPES);
    let q50_mm = found_size(section, "q50_mm");
    let spread = section.number("spread", bounds::SPREAD);
    let floor = section.number("floor", bounds::PROBABILITY);
    let ceiling = section.number("ceiling", bounds::PROBABILITY);
    let (floor, ceiling) = (floor?, ceiling?);
    if ceiling <= floor {
        section.fault(
            "ceiling",
            format!("must exceed floor ({floor}): larger cracks are easier to find"),
            format!("raise ceiling above {floor}, or lower floor below {ceiling}"),
        );
        return None;
    }
    Some(PodCurve { size: size?, shape: shape?, q50_mm: q50_mm?, spread: spread?, floor, ceiling })
}

fn depth_gate(section: &Section) -> Option<DepthGate> {
    let q50_mm = found_size(section, "q50_mm");
    let spread = section.number("spread", bounds::SPREAD);
    Some(DepthGate { q50_mm: q50_mm?, spread: spread? })
}

/// A size that a technique finds half of all cracks at: one that no technique finds is likely in another unit.
fn found_size(section: &Section, key: &'static str) -> Option<f64> {
    /// No technique finds half of all cracks so small (common practice, no source).
    const SMALLEST_MM: f64 = 0.05;
    /// Larger than the root of any blade.
    const LARGEST_MM: f64 = 1_000.0;
    let size_mm = section.number(key, bounds::LENGTH_MM)?;
    let (rule, remedy) = if size_mm < SMALLEST_MM {
        ("is smaller than anything that a technique finds: is it in metres?", 1e3 * size_mm)
    } else if size_mm > LARGEST_MM {
        ("is larger than any root: is it in micrometres?", 1e-3 * size_mm)
    } else {
        return Some(size_mm);
    };
    section.fault(key, rule, format!("give it in mm, then {remedy}"));
    None
}

/// One shift for each of the study's surfaces.
fn surface_shifts(place: Place, ids: &Ids) -> Option<Vec<f64>> {
    place.table(|section| {
        let shifts = section.numbers_by_id("surface", &ids.surfaces, bounds::SHIFT_LOG)?;
        Some(shifts.into_iter().map(|shift| shift.unwrap_or(0.0)).collect())
    })
}

/// Error of lengths; and of depths its bias and standard deviation, where they are measured.
fn sizing(section: &Section) -> Option<(Sizing, Option<(f64, f64)>)> {
    let length_bias = section.number("length_bias", bounds::FACTOR);
    let length_sigma_log = section.number("length_sigma_log", bounds::SIGMA_LOG);
    let depth_bias = section.optional("depth_bias", |section, key| section.number(key, bounds::FACTOR));
    let depth_sigma_log = section.optional("depth_sigma_log", |section, key| section.number(key, bounds::SIGMA_LOG));
    let depth = match (depth_bias?, depth_sigma_log?) {
        (Some(bias), Some(sigma_log)) => Some((bias, sigma_log)),
        (None, None) => None,
        (Some(_), None) => return missing(section, "depth_sigma_log", "depth_bias"),
        (None, Some(_)) => return missing(section, "depth_bias", "depth_sigma_log"),
    };
    Some((Sizing { length_bias: length_bias?, length_sigma_log: length_sigma_log? }, depth))
}

/// Of what says how depths are measured, a part is there and another one not.
fn missing<T>(section: &Section, key: &str, other: &str) -> Option<T> {
    let lacks = if key == "sizing" { "has no depth_bias" } else { "is missing" };
    let rule = format!("{lacks}, and {other} is there: a technique that measures depths has all three");
    section.fault(key, rule, "give sizing.depth_bias, sizing.depth_sigma_log and false_call_depth_mm, or none of them");
    None
}
