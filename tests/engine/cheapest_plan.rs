//! Which plan of a family is the cheapest that meets the limits: against closed forms, one long run, and shares of wrong answers
//! over many seeds.

use crate::delay_time::{self, Model};
use crate::support::Lived;
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::limits::LossLimits;
use serrata::model::strategy::{Strategy, When};
use serrata::simulation::{CheapestPlan, CheapestQuestion, Run};

const MODEL: Model = Model { crack_rate: 0.05, failure_rate: 0.4, pod: 0.8, blades: 1 };
const YEARS: u32 = 31;
const LOSS: f64 = 50.0;
const NEW_BLADE: f64 = 2.0;

fn any_loss() -> Option<LossLimits> {
    Some(LossLimits { row: None, unit: None, fleet: Some(1.0), basis: None })
}

/// A plan that looks at these outages, counted from 1.
fn looking(study: &Study, name: &str, outages: Vec<u32>) -> Strategy {
    let mut plan = study.strategies[0].clone();
    plan.id = name.to_owned();
    plan.looks[0].when = When::Outages(outages);
    plan
}

/// What a plan costs on paper, in looks: a blade is cracked with a probability that has a closed form between looks.
fn cost(model: Model, outages: &[u32]) -> f64 {
    let Model { crack_rate, failure_rate, pod, blades } = model;
    let (sum, mut cracked, mut cost) = (crack_rate + failure_rate, 0.0, 0.0);
    let settled = crack_rate / sum;
    let blades = f64::from(blades);
    for year in 1..=YEARS {
        // The integral over a year of the chance to be cracked.
        let over_the_year = settled + (cracked - settled) * -(-sum).exp_m1() / sum;
        cost += blades * LOSS * failure_rate * over_the_year;
        cracked = settled + (cracked - settled) * (-sum).exp();
        if outages.contains(&year) {
            cost += 1.0 + blades * NEW_BLADE * pod * cracked;
            cracked *= 1.0 - pod;
        }
    }
    cost
}

/// All plans that look from an outage on, at every so many: 200 of them, in a study where losses cost.
fn grid(model: Model) -> (Study, Vec<Strategy>, Vec<f64>) {
    let mut parts = delay_time::study(model, YEARS, "first_outage = 1, every_outages = 1");
    parts.costs.loss_cost = Distribution::Fixed(LOSS);
    parts.costs.new_blade_cost = NEW_BLADE;
    let study = parts.study();
    let (mut plans, mut costs) = (Vec::new(), Vec::new());
    for (first, every) in (1..=20).flat_map(|first| (1..=10).map(move |every| (first, every))) {
        let outages: Vec<u32> = (first..YEARS).step_by(every as usize).collect();
        costs.push(cost(model, &outages));
        plans.push(looking(&study, &format!("from {first}, every {every}"), outages));
    }
    (study, plans, costs)
}

fn asked(plans: &[Strategy], trials: u64, seed: u64) -> CheapestQuestion {
    CheapestQuestion {
        plans: plans.to_vec(),
        limits: any_loss(),
        run: Run { trials, seed, threads: 1, ..Run::default() },
        ..CheapestQuestion::default()
    }
}

#[test]
fn speed() {
    let (study, plans, costs) = grid(MODEL);
    let mut sorted = costs.clone();
    sorted.sort_by(f64::total_cmp);
    eprintln!("{sorted:?}");
    for seed in 0..4 {
        let begun = std::time::Instant::now();
        let mut question = asked(&plans, 32_768, seed);
        question.indifference = Some(0.05 * sorted[0]);
        let answer: CheapestPlan = study.cheapest_plan(&question).unwrap();
        let c = answer.study.strategy_ids().position(|id| Some(id) == answer.cheapest).unwrap();
        eprintln!(
            "{:?} {:?} {} {} {:?} kept {} {:?}",
            begun.elapsed(),
            answer.outcome,
            study.strategies.len(),
            costs[c],
            answer.plan_lives,
            answer.kept().count(),
            answer.rounds
        );
        for (t, exact) in answer.plans.iter().zip(&costs) {
            let z = (t.cost.value - exact) / t.cost.standard_error;
            if z.abs() > 3.0 {
                eprintln!("{z} {exact} {t:?}");
            }
        }
    }
}
