//! A row after a look, for Python: what is left in it, and whether it can run on.

use super::arguments::{MOST_THREADS, number_or_none, whole};
use super::doorway::{Asker, released};
use super::study::Study;
use crate::error::Result;
use crate::simulation::{Estimate, Left, LeftIn, RowAfterLook, RunOn, RunOnQuestion};
use pyo3::prelude::*;
use serde_json::{Value, json};
use std::ops::ControlFlow;

/// The row and the look, as Python says them.
fn row_after_look(
    row: String,
    technique: Option<String>,
    found: &Bound<'_, PyAny>,
    lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
) -> PyResult<RowAfterLook> {
    Ok(RowAfterLook {
        row,
        technique,
        found: whole("found", found, 0..=u32::MAX.into(), "give the number of called blades")? as u32,
        lives: whole("lives", lives, 0..=u64::MAX, "100000 will do")?,
        seed: whole("seed", seed, 0..=u64::MAX, "any such number will do")?,
        threads: whole("threads", threads, 0..=MOST_THREADS, "0 uses what the machine gives")? as usize,
    })
}

/// As [`released`], with progress told and Ctrl-C answered.
fn told<T: Send>(
    py: Python<'_>,
    progress: Option<Py<PyAny>>,
    work: impl FnOnce(&mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<T> + Send,
) -> PyResult<T> {
    let mut asker = Asker::new(progress);
    let outcome = released(py, || work(&mut |done| asker.ask(done)));
    match asker.stopped_by {
        Some(reason) => Err(reason),
        None => outcome,
    }
}

/// What is still in a row after a look, as JSON.
#[pyfunction]
#[pyo3(signature = (study, row, technique, *, found, lives, seed, threads, progress))]
#[allow(clippy::too_many_arguments)]
pub(super) fn left_in_row(
    py: Python<'_>,
    study: &Study,
    row: String,
    technique: Option<String>,
    found: &Bound<'_, PyAny>,
    lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    progress: Option<Py<PyAny>>,
) -> PyResult<String> {
    let question = row_after_look(row, technique, found, lives, seed, threads)?;
    let answer = told(py, progress, |ask| study.study.left_in_row_with(&question, ask))?;
    let looks =
        study.study.techniques.iter().zip(&answer.if_clean).map(
            |(technique, left)| json!({"technique": technique.id, "found": 0, "left": left.as_ref().map(left_json)}),
        );
    let looks: Vec<Value> = looks.collect();
    let critical = answer.critical.iter().map(|critical| {
        json!({
            "hot_spot": critical.hot_spot,
            "length_05_mm": critical.lengths_mm[0],
            "length_50_mm": critical.lengths_mm[1],
            "depth_05_mm": critical.depths_mm[0],
            "depth_50_mm": critical.depths_mm[1],
        })
    });
    let critical: Vec<Value> = critical.collect();
    Ok(json!({
        "study": study.study.name,
        "is_given_records": study.study.is_given_records(),
        "question": question_json(&question),
        "blades": answer.blades,
        "year": answer.year,
        "next_outage_year": answer.next_outage_year,
        "left": left_json(&answer.left),
        "unseen": left_json(&answer.unseen),
        "if_clean": looks,
        "critical": critical,
        "warnings": answer.warnings,
    })
    .to_string())
}

/// Whether a row can run on after a look, as JSON.
#[pyfunction]
#[pyo3(signature = (study, row, technique, *, found, left_in, yearly_limit, lives, planted_lives, seed, threads, progress))]
#[allow(clippy::too_many_arguments)]
pub(super) fn can_it_run(
    py: Python<'_>,
    study: &Study,
    row: String,
    technique: Option<String>,
    found: &Bound<'_, PyAny>,
    left_in: Vec<(String, Bound<'_, PyAny>)>,
    yearly_limit: Option<&Bound<'_, PyAny>>,
    lives: &Bound<'_, PyAny>,
    planted_lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    progress: Option<Py<PyAny>>,
) -> PyResult<String> {
    let crack = |(hot_spot, length): (String, Bound<'_, PyAny>)| {
        let length = number_or_none("left_in", Some(&length), "give its length in mm")?;
        Ok(LeftIn { hot_spot, length_mm: length.unwrap_or(f64::NAN) })
    };
    let question = RunOnQuestion {
        after: row_after_look(row, technique, found, lives, seed, threads)?,
        planted_lives: whole("planted_lives", planted_lives, 0..=u64::MAX, "100000 will do")?,
        left_in: left_in.into_iter().map(crack).collect::<PyResult<_>>()?,
        yearly_limit: number_or_none("yearly_limit", yearly_limit, "give a chance of a loss in twelve months")?,
    };
    let answer = told(py, progress, |ask| study.study.can_it_run_with(&question, ask))?;
    Ok(run_on_json(study, &answer).to_string())
}

fn run_on_json(study: &Study, answer: &RunOn) -> Value {
    let question = &answer.question;
    let of =
        |at: &dyn Fn(&crate::simulation::CrackLeftIn) -> Estimate| answer.left_in.iter().map(at).collect::<Vec<_>>();
    // The row's own chance, and with the cracks that are left in.
    let with_cracks = |row: &Estimate, cracks: &[Estimate]| {
        let both = (!cracks.is_empty()).then(|| {
            let [least, most] = RunOn::with_left_in(row, cracks);
            json!({"least": least, "most": most})
        });
        json!({"row": estimate(row), "cracks": cracks.iter().map(estimate).collect::<Vec<_>>(), "both": both})
    };
    let months: Vec<Value> = answer
        .by_month
        .iter()
        .zip(&answer.in_year_before)
        .enumerate()
        .map(|(month, ((year, until), (_, in_year)))| {
            let in_year = with_cracks(in_year, &of(&|crack| crack.in_year_before[month]));
            let chances = with_cracks(until, &of(&|crack| crack.by_month[month]));
            json!({"month": month + 1, "year": year, "until": chances, "in_year_before": in_year})
        })
        .collect();
    let deferrals: Vec<Value> = answer
        .deferrals
        .iter()
        .enumerate()
        .map(|(number, deferral)| {
            let until = with_cracks(&deferral.until, &of(&|crack| crack.deferred[number]));
            json!({"months": deferral.months, "year": deferral.year, "until": until, "added": estimate(&deferral.added)})
        })
        .collect();
    let left_in = answer.left_in.iter().map(|crack| {
        json!({
            "hot_spot": crack.crack.hot_spot,
            "length_mm": crack.crack.length_mm,
            "p_past_limit": crack.p_past_limit,
            "to_next": estimate(&crack.to_next),
        })
    });
    let left_in: Vec<Value> = left_in.collect();
    json!({
        "study": study.study.name,
        "is_given_records": study.study.is_given_records(),
        "question": question_json(&question.after),
        "planted_lives": question.planted_lives,
        "year": answer.year,
        "next_outage_year": answer.next_outage_year,
        "p_outcome": estimate(&answer.p_outcome),
        "to_next": with_cracks(&answer.to_next, &of(&|crack| crack.to_next)),
        "by_month": months,
        "deferrals": deferrals,
        "limit": answer.limit.map(|limit| {
            json!({
                "limit": limit.limit,
                "on": limit.on,
                "passed": limit.passed,
                "may_be_passed": limit.may_be_passed,
            })
        }),
        "left_in": left_in,
        "are_planted": answer.are_planted,
        "warnings": answer.warnings,
    })
}

fn question_json(question: &RowAfterLook) -> Value {
    json!({
        "row": question.row,
        "technique": question.technique,
        "found": question.found,
        "lives": question.lives,
        "seed": question.seed,
    })
}

fn left_json(left: &Left) -> Value {
    let longer = left.longer.iter().map(|longer| {
        json!({"length_mm": longer.length_mm, "p_any": estimate(&longer.p_any), "cracks": estimate(&longer.cracks)})
    });
    let critical = left.p_longer_than_critical.iter().map(|[low, median]| json!([estimate(low), estimate(median)]));
    json!({
        "p_outcome": estimate(&left.p_outcome),
        "equal_lives": left.equal_lives,
        "p_number": left.p_number.iter().map(estimate).collect::<Vec<_>>(),
        "cracks": estimate(&left.cracks),
        "mean_length_mm": estimate(&left.mean_length_mm),
        "longest_mean_mm": estimate(&left.longest_mean_mm),
        "longest_95_mm": left.longest_95_mm,
        "longer": longer.collect::<Vec<_>>(),
        "p_longer_than_critical": critical.collect::<Vec<_>>(),
        "p_lost_before_next": left.p_lost_before_next.as_ref().map(estimate),
    })
}

/// What is no number is null.
fn estimate(estimate: &Estimate) -> Value {
    json!({
        "value": estimate.value,
        "standard_error": estimate.standard_error,
        "low": estimate.low,
        "high": estimate.high,
    })
}
