//! What capability an interval needs: a technique whose curve is made sharper and blunter, at longer and longer intervals.
//!
//! The curve keeps its shape, ceiling and depth gate; its sizes are multiplied by a factor, as cleaning does, so that all these
//! techniques meet the same cracks with the same draws.

use super::Family;
use crate::error::{Error, Result};
use crate::model::StrategyId;
use crate::model::strategy::{Look, Strategy};
use crate::model::surface_treatment::Cleaning;
use crate::simulation::estimate::{Comparison, Verdict};
use crate::simulation::parallel::Run;
use std::ops::ControlFlow;

/// Runs that a map takes: over all factors, and between the two that hold the answer.
pub(super) const STEPS: u64 = 2;
/// Factors on the technique's own sizes, from an eighth to eight times, and how many lie between two in the second step.
const FACTORS: i32 = 7;
const BETWEEN: u32 = 3;

/// What capability each interval needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Capability {
    /// The technique whose curve is made sharper and blunter.
    pub technique: usize,
    /// Size that it finds with 90 % itself, in mm.
    pub own_q90_mm: f64,
    /// Sizes of the map that are found with 90 %, in mm.
    pub q90_mm: Vec<f64>,
    /// For each interval, of one outage first, and each size.
    pub cells: Vec<Vec<Cell>>,
    /// For each interval what it needs.
    pub needed: Vec<Needed>,
}

/// One plan of a map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Size that is found with 90 %, in mm.
    pub q90_mm: f64,
    /// Chance of a loss over its limit, the largest of all limits and years: estimate, and the ends of its interval.
    pub over_limit: [f64; 3],
    /// Whether all limits are kept.
    pub verdict: Verdict,
}

/// The bluntest technique that an interval bears: size found with 90 %, in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Needed {
    /// Outages from look to look.
    pub every_outages: u32,
    /// By the estimates; infinite where even the bluntest of the map will do, 0 where even the sharpest does not.
    pub q90_mm: f64,
    /// The bluntest that surely will do, likewise.
    pub surely_mm: f64,
    /// The sharpest that surely will not do, likewise.
    pub surely_not_mm: f64,
}

/// The map of a technique.
pub(super) fn map(
    family: &Family,
    technique: usize,
    run: &Run,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<Capability> {
    let pod = family.study.techniques[technique].pod;
    let Some(own_q90_mm) = pod.size_mm(0.9) else {
        let rule = format!(
            "must find some sizes with 90 % and others with less; its curve goes from {} to {}",
            pod.floor, pod.ceiling
        );
        return Err(Error::argument("map_of", &family.study.techniques[technique].id, &rule, "choose another one"));
    };
    let factors: Vec<f64> = (-FACTORS / 2..=FACTORS / 2).map(|step| 2.0_f64.powi(step)).collect();
    let intervals = 1..=family.most_outages;
    let wide: Vec<(u32, f64)> =
        intervals.clone().flat_map(|every| factors.iter().map(move |factor| (every, *factor))).collect();
    let cells = lived(family, (technique, own_q90_mm), &wide, run, ask)?;
    let cells: Vec<Vec<Cell>> = cells.chunks(factors.len()).map(<[Cell]>::to_vec).collect();
    // Between the two sizes that hold each end of the answer.
    let narrow: Vec<(u32, f64)> = intervals
        .clone()
        .flat_map(|every| {
            between(&cells[every as usize - 1], own_q90_mm).into_iter().map(move |factor| (every, factor))
        })
        .collect();
    let done = run.trials;
    let finer = lived(family, (technique, own_q90_mm), &narrow, run, &mut |trials| ask(done + trials))?;
    let needed = |every: u32| {
        let own = narrow.iter().zip(&finer).filter(|((other, _), _)| *other == every).map(|(_, cell)| *cell);
        let mut line: Vec<Cell> = cells[every as usize - 1].iter().copied().chain(own).collect();
        line.sort_by(|one, other| one.q90_mm.total_cmp(&other.q90_mm));
        Needed {
            every_outages: every,
            q90_mm: crossing(&line, 0),
            surely_mm: surely(&line),
            surely_not_mm: crossing(&line, 1),
        }
    };
    Ok(Capability {
        technique,
        own_q90_mm,
        q90_mm: factors.iter().map(|factor| factor * own_q90_mm).collect(),
        needed: intervals.map(needed).collect(),
        cells,
    })
}

/// Plans that look at intervals with a curve whose sizes have a factor, lived together.
fn lived(
    family: &Family,
    (technique, own_q90_mm): (usize, f64),
    plans: &[(u32, f64)],
    run: &Run,
    ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
) -> Result<Vec<Cell>> {
    if plans.is_empty() {
        return Ok(Vec::new());
    }
    let mut factors: Vec<f64> = plans.iter().map(|(_, factor)| *factor).collect();
    factors.sort_by(f64::total_cmp);
    factors.dedup();
    let cleaning: Vec<Cleaning> = factors.iter().map(|factor| as_sharp(family, technique, *factor)).collect();
    let first = family.parts.cleaning.len();
    let plan = |(every, factor): &(u32, f64)| -> Strategy {
        let place = factors.partition_point(|other| other < factor);
        let look = Look { cleaning: Some(first + place), ..family.alone(technique, *every) };
        family.looking(&format!("every {every}, sizes times {factor}"), vec![look])
    };
    let comparison = family.live(plans.iter().map(plan).collect(), cleaning, run, ask)?;
    let cell = |(number, (_, factor)): (usize, &(u32, f64))| Cell {
        q90_mm: factor * own_q90_mm,
        over_limit: over_limit(&comparison, StrategyId(number)),
        verdict: comparison.meets_limits(StrategyId(number)).unwrap_or(Verdict::Undecided),
    };
    Ok(plans.iter().enumerate().map(cell).collect())
}

/// Makes a technique's sizes so many times as large; changes nothing else.
fn as_sharp(family: &Family, technique: usize, factor: f64) -> Cleaning {
    let mut q50_factors = vec![1.0; family.parts.techniques.len()];
    q50_factors[technique] = factor;
    Cleaning {
        id: format!("sizes times {factor}"),
        q50_factors,
        closes_mouth_probability: 0.0,
        cost_per_row: 0.0,
        cost_per_blade: 0.0,
        days_per_row: 0.0,
        basis: None,
    }
}

fn over_limit(comparison: &Comparison, strategy: StrategyId) -> [f64; 3] {
    comparison.limit_verdicts(strategy).iter().fold([0.0; 3], |[value, low, high]: [f64; 3], line| {
        let of = |chance: f64| chance / line.limit;
        [value.max(of(line.chance.value)), low.max(of(line.chance.low)), high.max(of(line.chance.high))]
    })
}

/// Factors between the neighbours that hold the answer, and those that hold its ends.
fn between(cells: &[Cell], own_q90_mm: f64) -> Vec<f64> {
    let mut factors: Vec<f64> = Vec::new();
    for end_mm in [crossing(cells, 0), crossing(cells, 1), surely(cells)] {
        let place = cells.partition_point(|cell| cell.q90_mm < end_mm);
        if (1..cells.len()).contains(&place) {
            let [below, above] = [place - 1, place].map(|place| cells[place].q90_mm / own_q90_mm);
            let step = (above / below).powf(1.0 / f64::from(BETWEEN + 1));
            factors.extend((1..=BETWEEN).map(|number| below * step.powi(number as i32)));
        }
    }
    factors.sort_by(f64::total_cmp);
    factors.dedup();
    factors
}

/// The size at which a number passes its limit first.
fn crossing(line: &[Cell], which: usize) -> f64 {
    let place = line.iter().position(|cell| cell.over_limit[which] > 1.0);
    place.map_or(f64::INFINITY, |place| between_cells(line, place, which))
}

/// The size up to which the limits are known to be kept somewhere and nowhere known to be missed: of sharper techniques the lives
/// may leave it open, since fewer of them tell of what is seldom.
fn surely(line: &[Cell]) -> f64 {
    let missed = line.iter().position(|cell| cell.over_limit[1] > 1.0).unwrap_or(line.len());
    let kept = line[..missed].iter().rposition(|cell| cell.over_limit[2] <= 1.0);
    match kept {
        Some(place) if place + 1 == line.len() => f64::INFINITY,
        kept => between_cells(line, kept.map_or(0, |place| place + 1), 2),
    }
}

/// Where a number passes its limit before a cell, by a straight line over the logarithm of size; 0 for the first.
fn between_cells(line: &[Cell], place: usize, which: usize) -> f64 {
    if place == 0 {
        return 0.0;
    }
    let [below, above] = [line[place - 1], line[place]];
    let part = (1.0 - below.over_limit[which]) / (above.over_limit[which] - below.over_limit[which]);
    below.q90_mm * (above.q90_mm / below.q90_mm).powf(part)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(over_limits: &[[f64; 3]]) -> Vec<Cell> {
        let cell = |(step, over_limit): (i32, &[f64; 3])| Cell {
            q90_mm: 2.0_f64.powi(step),
            over_limit: *over_limit,
            verdict: Verdict::Undecided,
        };
        (0..).zip(over_limits).map(cell).collect()
    }

    #[test] // by hand
    fn the_bluntest_that_will_do_lies_where_a_straight_line_passes_the_limit() {
        let cells = line(&[[0.2, 0.1, 0.5], [0.5, 0.3, 0.8], [1.5, 1.2, 1.8], [3.0, 2.0, 4.0]]);
        assert_eq!(crossing(&cells, 0), 2.0 * 2.0_f64.powf(0.5));
        assert!((surely(&cells) - 2.0 * 2.0_f64.powf(0.2)).abs() < 1e-12, "{}", surely(&cells));
        assert!((crossing(&cells, 1) - 2.0 * 2.0_f64.powf(0.7 / 0.9)).abs() < 1e-12);
        // Three steps between 2 and 4.
        let factors = between(&cells, 1.0);
        let expected = [2.0_f64.powf(1.25), 2.0_f64.powf(1.5), 2.0_f64.powf(1.75)];
        assert!(factors.iter().zip(expected).all(|(ours, expected)| (ours - expected).abs() < 1e-12), "{factors:?}");
        assert_eq!(factors.len(), 3);
    }

    #[test]
    fn what_the_lives_leave_open_stands_in_the_way_of_no_blunter_technique() {
        let cells = line(&[[0.1, 0.0, 1.3], [0.5, 0.3, 0.8], [1.5, 1.2, 1.8], [0.5, 0.4, 0.6]]);
        assert!((surely(&cells) - 2.0 * 2.0_f64.powf(0.2)).abs() < 1e-12, "{}", surely(&cells));
        // What is known to be missed does, whatever comes after it.
        assert_eq!(surely(&cells[2..]), 0.0);
        let good = line(&[[0.1, 0.0, 0.2], [0.5, 0.3, 0.8]]);
        assert_eq!([crossing(&good, 0), surely(&good)], [f64::INFINITY; 2]);
        assert!(between(&good, 1.0).is_empty());
    }
}
