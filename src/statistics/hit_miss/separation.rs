//! Whether hits and misses overlap at all: without that no regression has a finite best fit.
//!
//! Separation is a property of the data, not of a link or of an optimiser (Albert and Anderson, Biometrika
//! 71 (1984) 1-10), and is decided here before any fit is shown.

use super::likelihood::{Design, SIZE, dot};
use super::link::Link;
use super::looks::Looks;
use crate::error::{Error, Result};
use crate::statistics::newton::Local;
use nalgebra::{Cholesky, DVector};

/// How hits and misses lie to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// They overlap: there is one finite best fit.
    Overlap,
    /// Something tells every hit from every miss.
    Complete,
    /// Something tells them apart but for some on the border between.
    Quasi,
}

/// Refuses looks whose hits and misses do not overlap.
pub(super) fn refuse(looks: &Looks, design: &Design, weights: &[f64]) -> Result<()> {
    let (reason, kind) = match verdict(design, weights) {
        Verdict::Overlap => return Ok(()),
        Verdict::Complete => ("separation", "completely"),
        Verdict::Quasi => ("quasi-separation", "but for a border"),
    };
    let rule = "the steeper the curve, the better it fits, without end: no finite slope is best";
    let (what, remedy) = if looks.factors().is_empty() {
        let border = border(looks);
        let remedy = format!("{}, or fit with penalised = true", border.remedy);
        (format!("hits and misses do not overlap: {}", border.what), remedy)
    } else {
        let names: Vec<&str> = looks.factors().iter().map(|factor| factor.name.as_str()).collect();
        let alike = alike(looks);
        let alike = if alike.is_empty() { String::new() } else { format!(" ({alike})") };
        let what = format!("size and {} tell hits from misses {kind}{alike}", names.join(", "));
        (what, "take more looks where they would overlap, leave a factor out, or fit with penalised = true".to_owned())
    };
    Err(Error::data(reason, what, rule, &remedy))
}

struct Border {
    what: String,
    remedy: String,
}

/// Where hits end and misses begin, for size alone.
fn border(looks: &Looks) -> Border {
    let ends = |called: bool| {
        let sizes = looks.cracked.iter().filter(|look| look.called == called).map(|look| look.size_mm);
        (sizes.clone().fold(f64::INFINITY, f64::min), sizes.fold(0.0, f64::max))
    };
    let ((small_hit, large_hit), (small_miss, large_miss)) = (ends(true), ends(false));
    if large_miss <= small_hit {
        Border {
            what: format!("the largest miss is {large_miss} mm, the smallest hit {small_hit} mm"),
            remedy: format!("take more looks between {:.3} and {:.3} mm", 0.7 * large_miss, 1.4 * small_hit),
        }
    } else {
        Border {
            what: format!("the largest hit is {large_hit} mm, the smallest miss {small_miss} mm, the wrong way round"),
            remedy: "check that calls and sizes are paired as they should be".to_owned(),
        }
    }
}

/// Levels of factors on which every look is a hit, or none is.
fn alike(looks: &Looks) -> String {
    let mut found = Vec::new();
    for (index, factor) in looks.factors().iter().enumerate() {
        for (level, name) in factor.levels.iter().enumerate() {
            let of_level = looks.cracked.iter().filter(|look| look.levels[index] == level);
            let (hits, count) = (of_level.clone().filter(|look| look.called).count(), of_level.count());
            if count > 0 && (hits == 0 || hits == count) {
                found.push(format!("{} = {name}: {hits} hits of {count}", factor.name));
            }
        }
    }
    found.join("; ")
}

/// Decides for looks that count by weight; those of weight zero do not exist.
pub(super) fn verdict(design: &Design, weights: &[f64]) -> Verdict {
    if design.width == 2 {
        by_size(design, weights)
    } else if certainly_overlap(design, weights) {
        Verdict::Overlap
    } else {
        by_linear_program(design, weights)
    }
}

/// With size alone, hits and misses must overlap as intervals, in both directions.
fn by_size(design: &Design, weights: &[f64]) -> Verdict {
    let nowhere = (f64::INFINITY, f64::NEG_INFINITY);
    let mut ends = [nowhere; 2];
    for (look, hit) in design.hits.iter().enumerate().filter(|(look, _)| weights[*look] > 0.0) {
        let (x, end) = (design.row(look)[SIZE], &mut ends[usize::from(*hit)]);
        *end = (end.0.min(x), end.1.max(x));
    }
    let [(miss_low, miss_high), (hit_low, hit_high)] = ends;
    if miss_high < hit_low || hit_high < miss_low {
        Verdict::Complete
    } else if miss_high <= hit_low || hit_high <= miss_low {
        Verdict::Quasi
    } else {
        Verdict::Overlap
    }
}

/// Whether a logistic fit proves the overlap.
///
/// If a direction separates, the step of Newton's method can gain no less than half of exp(-|eta|) at the
/// farthest look: its gain is at least that along the direction, where each look that the direction moves adds
/// |y - p| and p (1 - p) is no more than |y - p|. A smaller gain is therefore proof of the contrary.
fn certainly_overlap(design: &Design, weights: &[f64]) -> bool {
    let mut theta = DVector::zeros(design.width);
    for _ in 0..30 {
        let Local { gradient, information, .. } = logistic(design, weights, &theta);
        let Some(factor) = Cholesky::new(information) else { return false };
        let step = factor.solve(&gradient);
        let gain = gradient.dot(&step);
        let looks = (0..design.hits.len()).filter(|look| weights[*look] > 0.0);
        let farthest = looks.map(|look| dot(design.row(look), theta.as_slice()).abs()).fold(0.0, f64::max);
        if gain < 0.25 * (-farthest).exp() {
            return true;
        }
        // Long steps only overshoot; where nothing separates, short ones arrive too.
        theta += step.scale(1.0 / (1.0_f64).max(0.2 * gain.sqrt()));
        if !theta.iter().all(|x| x.abs() < 1e6) {
            return false;
        }
    }
    false
}

fn logistic(design: &Design, weights: &[f64], theta: &DVector<f64>) -> Local {
    let plain =
        Design { by_inspector: Vec::new(), size_nodes: Vec::new(), inspector_rule: Vec::new(), ..design.clone() };
    super::likelihood::Likelihood {
        design: &plain,
        link: Link::Logit,
        floor: 0.0,
        ceiling: 1.0,
        weights,
        penalised: false,
    }
    .at(theta)
}

/// Looks for a direction that moves no look towards its wrong answer and at least one towards its right one
/// (Konis, Linear programming algorithms for detecting separated data in binary logistic regression models, 2007).
fn by_linear_program(design: &Design, weights: &[f64]) -> Verdict {
    /// Of sums of numbers of order one, in the program's arithmetic.
    const ROUNDING: f64 = 1e-7;
    let looks: Vec<usize> = (0..design.hits.len()).filter(|look| weights[*look] > 0.0).collect();
    // The zero direction obeys every rule and no direction is longer than the box: there is always a best one. Where
    // the program does not find it, nothing is known, and nothing known is not an overlap.
    match farthest(design, &looks, false) {
        Some(sum) if sum < ROUNDING * looks.len() as f64 => Verdict::Overlap,
        Some(_) if farthest(design, &looks, true).is_some_and(|least| least > ROUNDING) => Verdict::Complete,
        _ => Verdict::Quasi,
    }
}

/// How far looks can be moved towards their right answers, none towards its wrong one: in sum, or the `least` of all.
fn farthest(design: &Design, looks: &[usize], least: bool) -> Option<f64> {
    use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome, Variable};
    let signed = |look: usize| {
        let sign = if design.hits[look] { 1.0 } else { -1.0 };
        design.row(look).iter().map(move |x| sign * x)
    };
    let mut totals = vec![0.0; design.width];
    if !least {
        looks.iter().for_each(|look| totals.iter_mut().zip(signed(*look)).for_each(|(total, x)| *total += x));
    }
    let mut program = Problem::new(OptimizationDirection::Maximize);
    let direction: Vec<Variable> = totals.iter().map(|total| program.add_var(*total, (-1.0, 1.0))).collect();
    let gap = least.then(|| program.add_var(1.0, (0.0, f64::INFINITY)));
    for look in looks {
        let terms = direction.iter().copied().zip(signed(*look)).chain(gap.map(|gap| (gap, -1.0)));
        program.add_constraint(&terms.collect::<Vec<_>>()[..], ComparisonOp::Ge, 0.0);
    }
    match program.solve() {
        Ok(SolveOutcome::Solution(solution)) => Some(solution.objective()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn design(width: usize, rows: &[&[f64]], hits: &[bool]) -> Design {
        Design {
            width,
            rows: rows.concat(),
            hits: hits.to_vec(),
            by_inspector: Vec::new(),
            size_nodes: Vec::new(),
            inspector_rule: Vec::new(),
        }
    }

    /// Sizes overlap, but the factor tells every hit from every miss: its level 1 finds everything.
    fn told_apart_by_a_factor() -> Design {
        let rows: [&[f64]; 6] =
            [&[1., -1., 0.], &[1., 0., 0.], &[1., 1., 0.], &[1., -1., 1.], &[1., 0., 1.], &[1., 1., 1.]];
        design(3, &rows, &[false, false, false, true, true, true])
    }

    #[test]
    fn separation_by_a_factor_is_found_though_sizes_overlap() {
        let apart = told_apart_by_a_factor();
        assert_eq!(verdict(&apart, &[1.0; 6]), Verdict::Complete);
        let mut border = apart.clone();
        border.hits[1] = true; // one hit among the misses of level 0: level 1 alone is still all hits
        border.hits[0] = false;
        assert_eq!(verdict(&border, &[1.0; 6]), Verdict::Quasi);
    }

    #[test]
    fn both_tests_agree_where_both_answer() {
        // 64 ways of answering at 6 looks with two levels: proof by Newton and linear program never contradict.
        let mut overlaps = 0;
        for answers in 0..64_u32 {
            let mut design = told_apart_by_a_factor();
            (0..6).for_each(|look| design.hits[look] = answers >> look & 1 == 1);
            let program = by_linear_program(&design, &[1.0; 6]);
            let proof = certainly_overlap(&design, &[1.0; 6]);
            assert_eq!(proof, program == Verdict::Overlap, "{answers:b}: {proof} {program:?}");
            overlaps += u32::from(proof);
        }
        assert!(overlaps > 0 && overlaps < 64, "{overlaps}");
    }

    #[test]
    fn intervals_and_linear_program_agree_for_size_alone() {
        for answers in 0..32_u32 {
            let rows: [&[f64]; 5] = [&[1., -1.], &[1., -0.5], &[1., 0.], &[1., 0.], &[1., 1.]];
            let hits: Vec<bool> = (0..5).map(|look| answers >> look & 1 == 1).collect();
            let design = design(2, &rows, &hits);
            let program = by_linear_program(&design, &[1.0; 5]);
            assert_eq!(by_size(&design, &[1.0; 5]), program, "{answers:05b}");
        }
    }
}
