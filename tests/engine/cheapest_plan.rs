//! Which plan of a family is the cheapest that meets the limits.

use serrata::Study;
use serrata::simulation::{CheapestQuestion, Run};
use serrata::model::limits::LossLimits;

#[test]
fn demo() {
    let study = Study::load("demo-data/demo-study.toml").unwrap();
    let varied = |path: &str, values: &[&str]| serrata::study_file::Varied { path: path.to_owned(), values: values.iter().map(|v| v.to_string()).collect() };
    let n: u64 = std::env::var("TRIALS").map_or(4096, |t| t.parse().unwrap());
    let grid = study.plan_grid("in-place-every-second", &[varied("looks[1].every_outages", &["1", "2", "3", "4"]), varied("looks[1].techniques", &["[\"phased-array\"]", "[\"eddy-array\"]", "[\"mpi-standard\"]"])]).unwrap();
    for plans in [Vec::new(), grid.plans] {
        let begun = std::time::Instant::now();
        let question = CheapestQuestion { plans, limits: Some(LossLimits { row: Some(0.01), unit: None, fleet: Some(0.05), basis: None }), run: Run { trials: n, planted_lives: 3 * n, seed: 1, ..Run::default() }, ..Default::default() };
        let answer = study.cheapest_plan(&question).unwrap();
        eprintln!("{:?} {:?} {:?} {:?} delta {}", begun.elapsed(), answer.outcome, answer.cheapest.map(|c| &answer.study.strategy(c).id), answer.plan_lives, answer.indifference);
        eprintln!("{:?} {:?}", answer.rounds, answer.warnings);
        for (plan, strategy) in answer.plans.iter().zip(&answer.study.strategies) {
            eprintln!("{:50} {:.4e} +- {:.1e} {:?} {} {:?} {:?} {:?}", strategy.id, plan.cost.value, plan.cost.standard_error, plan.verdict, plan.lives, plan.dropped, plan.dearer.map(|d| (d.value, d.standard_error)), plan.lives_needed);
        }
    }
}
