//! Which plan of a family is the cheapest that meets the limits, for Python.

use super::arguments::{MOST_THREADS, PLANTED_REMEDY, file_value, number_or_none, whole};
use super::doorway::{Asker, released};
use super::limits;
use super::study::Study;
use crate::model::StrategyId;
use crate::simulation::{CheapestPlan, CheapestQuestion, Dropped, Estimate, LimitVerdict, Run, Tried, Why};
use crate::study_file::{PlanGrid, Varied};
use pyo3::prelude::*;
use serde_json::{Value, json};

/// The cheapest plan that meets the limits, as JSON.
#[pyfunction]
#[pyo3(signature = (
    study, *, plan, vary, row_limit, unit_limit, fleet_limit, indifference, confidence, most_plan_lives, trials, planted_lives, seed,
    threads, progress
))]
#[allow(clippy::too_many_arguments)]
pub(super) fn cheapest_plan(
    py: Python<'_>,
    study: &Study,
    plan: Option<String>,
    vary: Vec<(String, Vec<Bound<'_, PyAny>>)>,
    row_limit: Option<&Bound<'_, PyAny>>,
    unit_limit: Option<&Bound<'_, PyAny>>,
    fleet_limit: Option<&Bound<'_, PyAny>>,
    indifference: Option<&Bound<'_, PyAny>>,
    confidence: f64,
    most_plan_lives: Option<&Bound<'_, PyAny>>,
    trials: &Bound<'_, PyAny>,
    planted_lives: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
    threads: &Bound<'_, PyAny>,
    progress: Option<Py<PyAny>>,
) -> PyResult<String> {
    const MOST: u64 = Run::MOST_TRIALS;
    let varied = |(path, values): (String, Vec<Bound<'_, PyAny>>)| {
        let values =
            values.iter().map(|value| file_value(&path, value).map(|value| value.to_string().trim().to_owned()));
        values.collect::<PyResult<Vec<String>>>().map(|values| Varied { path, values })
    };
    let varied: Vec<Varied> = vary.into_iter().map(varied).collect::<PyResult<_>>()?;
    let most_remedy = "leave it out to live all plans to the end if need be";
    let question = CheapestQuestion {
        plans: Vec::new(),
        limits: limits::stated(row_limit, unit_limit, fleet_limit)?,
        indifference: number_or_none("indifference", indifference, "give a sum of money that does not matter")?,
        confidence,
        most_plan_lives: most_plan_lives
            .map(|most| whole("most_plan_lives", most, 1..=u64::MAX, most_remedy))
            .transpose()?,
        run: Run {
            trials: whole("trials", trials, 1..=MOST, "8192 trials give a first answer")?,
            planted_lives: whole("planted_lives", planted_lives, 0..=MOST, PLANTED_REMEDY)?,
            seed: whole("seed", seed, 0..=u64::MAX, "any such number will do; leave it out to have one drawn")?,
            threads: whole("threads", threads, 0..=MOST_THREADS, "0 uses what the machine gives")? as usize,
            ..Run::default()
        },
    };
    let study = &study.study;
    let baseline = || (!varied.is_empty()).then(|| study.strategy(study.baseline).id.clone());
    // A plan of which nothing varies is refused as a grid.
    let plan = plan.or_else(baseline);
    let mut asker = Asker::new(progress);
    let outcome = released(py, || {
        let grid = plan.as_ref().map(|plan| study.plan_grid(plan, &varied)).transpose()?;
        let plans = grid.as_ref().map(|grid| grid.plans.clone()).unwrap_or_default();
        let question = CheapestQuestion { plans, ..question };
        let answer = study.cheapest_plan_with(&question, &mut |done| asker.ask(done))?;
        let of_grid = plan.as_deref().zip(grid.as_ref());
        Ok(written(&answer, &question, of_grid, &varied))
    });
    match asker.stopped_by {
        Some(reason) => Err(reason),
        None => outcome,
    }
}

fn written(
    answer: &CheapestPlan,
    question: &CheapestQuestion,
    of_grid: Option<(&str, &PlanGrid)>,
    varied: &[Varied],
) -> String {
    let study = &answer.study;
    let id = |plan: StrategyId| &study.strategy(plan).id;
    let range = |estimate: &Estimate| [estimate.value, estimate.low, estimate.high];
    let dropped = |Dropped { round, why }: &Dropped| match why {
        Why::Misses => json!({"round": round, "why": "misses"}),
        Why::Dearer(than, by) => json!({"round": round, "why": "dearer", "than": id(*than), "by": by}),
    };
    let tried = |(number, plan): (usize, &Tried)| {
        json!({
            "strategy": study.strategies[number].id,
            "values": of_grid.map(|(_, grid)| &grid.values[number]),
            "cost": range(&plan.cost),
            "p_any_loss": range(&plan.any_loss),
            "limits": plan.limits.iter().map(|line: &LimitVerdict| limits::line(study, line)).collect::<Vec<Value>>(),
            "verdict": plan.verdict.name(),
            "lives": plan.lives,
            "dropped": plan.dropped.as_ref().map(dropped),
            "dearer": plan.dearer.as_ref().map(range),
            "lives_needed": plan.lives_needed,
        })
    };
    let refused = of_grid.into_iter().flat_map(|(_, grid)| &grid.refused);
    json!({
        "study": study.name,
        "currency": study.money.currency,
        "horizon_years": study.horizon_years,
        "plan": of_grid.map(|(plan, _)| plan),
        "vary": varied.iter().map(|one| json!({"path": one.path, "values": one.values})).collect::<Vec<Value>>(),
        "outcome": answer.outcome.name(),
        "cheapest": answer.cheapest.map(id),
        "plans": answer.plans.iter().enumerate().map(tried).collect::<Vec<Value>>(),
        "refused": refused.map(|(plan, why)| json!({"plan": plan, "why": why})).collect::<Vec<Value>>(),
        "rounds": answer.rounds.iter().map(|round| json!({"plans": round.plans, "lives": round.lives})).collect::<Vec<Value>>(),
        "plan_lives": answer.plan_lives[0],
        "plan_lives_of_all": answer.plan_lives[1],
        "most_plan_lives": question.most_plan_lives,
        "trials": answer.lives[0],
        "planted_lives": answer.lives[1],
        "seed": question.run.seed,
        "confidence": question.confidence,
        "indifference": answer.indifference,
        "indifference_is_stated": question.indifference.is_some(),
        "limits": limits::of(study),
        "warnings": answer.warnings,
        "has_records": study.is_given_records(),
    })
    .to_string()
}
