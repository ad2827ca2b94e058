//! How long the interval between inspections may be, for Python.

use super::arguments::{MOST_THREADS, PLANTED_REMEDY, whole};
use super::doorway::{Asker, released};
use super::limits;
use super::study::Study;
use crate::model::StrategyId;
use crate::model::strategy::When;
use crate::simulation::{
    Capability, DeterministicCheck, Held, InspectionInterval, IntervalQuestion, LimitVerdict, Run, Verdict,
    WayOfLooking,
};
use pyo3::prelude::*;
use serde_json::{Value, json};

/// How long the interval between inspections may be, as JSON.
#[pyfunction]
#[pyo3(signature = (
    study, *, techniques, plan, most_outages, first_outage, row_limit, unit_limit, fleet_limit, map_of, trials, planted_lives, seed, threads,
    progress
))]
#[allow(clippy::too_many_arguments)]
pub(super) fn inspection_interval(
    py: Python<'_>,
    study: &Study,
    techniques: Vec<String>,
    plan: Option<String>,
    most_outages: &Bound<'_, PyAny>,
    first_outage: Option<&Bound<'_, PyAny>>,
    row_limit: Option<&Bound<'_, PyAny>>,
    unit_limit: Option<&Bound<'_, PyAny>>,
    fleet_limit: Option<&Bound<'_, PyAny>>,
    map_of: Option<String>,
    trials: &Bound<'_, PyAny>,
    planted_lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    progress: Option<Py<PyAny>>,
) -> PyResult<String> {
    const MOST: u64 = Run::MOST_TRIALS;
    let outages = |name: &str, value: &Bound<'_, PyAny>| {
        whole(name, value, 1..=400, "count outages from the next on").map(|outages| outages as u32)
    };
    let question = IntervalQuestion {
        techniques,
        plan,
        most_outages: outages("most_outages", most_outages)?,
        first_outage: first_outage.map(|first| outages("first_outage", first)).transpose()?,
        limits: limits::stated(row_limit, unit_limit, fleet_limit)?,
        map_of,
        run: Run {
            trials: whole("trials", trials, 1..=MOST, "4000 trials give a first answer")?,
            planted_lives: whole("planted_lives", planted_lives, 0..=MOST, PLANTED_REMEDY)?,
            seed: whole("seed", seed, 0..=u64::MAX, "any such number will do; leave it out to have one drawn")?,
            threads: whole("threads", threads, 0..=MOST_THREADS, "0 uses what the machine gives")? as usize,
            ..Run::default()
        },
    };
    let mut asker = Asker::new(progress);
    let outcome = released(py, || {
        study
            .study
            .inspection_interval_with(&question, &mut |done| asker.ask(done))
            .map(|answer| written(&answer, &question))
    });
    match asker.stopped_by {
        Some(reason) => Err(reason),
        None => outcome,
    }
}

fn written(answer: &InspectionInterval, question: &IntervalQuestion) -> String {
    let study = &answer.study;
    let technique = |number: usize| &study.techniques[number].id;
    let line = |line: &LimitVerdict| limits::line(study, line);
    let held = |held: &Held| {
        json!({
            "every_outages": held.every_outages, "years": held.years, "verdict": held.verdict.name(),
            "limits": held.limits.iter().map(line).collect::<Vec<Value>>(),
        })
    };
    let check = |check: &DeterministicCheck| {
        json!({
            "row": study.rows[check.row].id, "hot_spot": check.hot_spot, "has_confidence": check.has_confidence,
            "years": [check.years.value, check.years.low, check.years.high], "fast_years": check.fast_years.value,
            "outage_years": check.outage_years,
        })
    };
    let way = |way: &WayOfLooking| {
        json!({
            "technique": way.technique.map(technique), "q90_mm": way.q90_mm, "longest": way.longest(),
            "shortest_missed": way.shortest_missed(), "held": way.held.iter().map(held).collect::<Vec<Value>>(),
            "check": way.check.as_ref().map(check),
        })
    };
    json!({
        "study": study.name,
        "plan": study.strategy(answer.plan).id,
        "horizon_years": study.horizon_years,
        "trials": answer.lives[0],
        "planted_lives": answer.lives[1],
        "seed": question.run.seed,
        "first_outage": question.first_outage,
        "present": present(study, answer.plan),
        "limits": limits::of(study),
        "ways": answer.ways.iter().map(way).collect::<Vec<Value>>(),
        "unseen": held(&answer.unseen),
        "capability": answer.capability.as_ref().map(|map| mapped(map, technique(map.technique))),
        "warnings": answer.warnings,
        "has_records": study.is_given_records(),
    })
    .to_string()
}

/// Where a plan stands that looks by one technique at every so many outages; null for another.
fn present(study: &crate::Study, plan: StrategyId) -> Option<Value> {
    let look = study.strategy(plan).looks.first()?;
    match (look.techniques.as_slice(), &look.when) {
        ([technique], When::Every { every_outages, .. }) => {
            Some(json!({"technique": study.techniques[*technique].id, "every_outages": every_outages}))
        }
        _ => None,
    }
}

/// What is known to lie beyond the map has a word.
fn mapped(map: &Capability, technique: &str) -> Value {
    let verdicts = |verdict: Verdict| verdict.name();
    let cells = map.cells.iter().enumerate().flat_map(|(interval, cells)| {
        cells.iter().map(move |cell| {
            json!({
                "every_outages": interval + 1, "q90_mm": cell.q90_mm, "over_limit": cell.over_limit,
                "verdict": verdicts(cell.verdict),
            })
        })
    });
    let size = |mm: f64| match mm {
        f64::INFINITY => json!("any"),
        0.0 => json!("none"),
        mm => json!(mm),
    };
    let needed = map.needed.iter().map(|needed| {
        json!({
            "every_outages": needed.every_outages, "q90_mm": size(needed.q90_mm), "surely_mm": size(needed.surely_mm),
            "surely_not_mm": size(needed.surely_not_mm),
        })
    });
    json!({
        "technique": technique, "own_q90_mm": map.own_q90_mm, "cells": cells.collect::<Vec<Value>>(),
        "needed": needed.collect::<Vec<Value>>(),
    })
}
