//! Three problems with answers that were found in two independent ways.

use super::{Belief, Learning, RowBelief, Sampled};
use crate::model::Study;
use crate::simulation::Run;
use crate::statistics::records::{Format, Records};

const EXPECTED: &str = include_str!("../../../tests/engine/data/given/expected.csv");

/// Value and standard error of each quantity of a problem.
fn expected(problem: &str) -> Vec<(String, Sampled)> {
    let of_problem = EXPECTED.lines().filter_map(|line| line.strip_prefix(problem)?.strip_prefix(','));
    let read = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |cell: &str| cell.parse().expect("a number");
        (cells[0].to_owned(), Sampled { value: number(cells[1]), standard_error: number(cells[2]) })
    };
    of_problem.map(read).collect()
}

fn of_row(study: &Study, row: &RowBelief, quantity: &str) -> Option<Sampled> {
    let year = |wanted: f64| row.p_loss.iter().find(|(year, _)| (year - wanted).abs() < 1e-9).map(|(_, chance)| *chance);
    let next = || study.units[study.rows[row.row.0].unit].outages.years[0];
    Some(match quantity {
        "cracks_present" => row.cracks,
        "p_none" => row.p_none,
        "mean_longest_mm" => row.longest_mean_mm,
        "longest_95_mm" => row.longest_95_mm,
        "mean_length_mm" => row.mean_length_mm,
        "p_loss_next" => year(next())?,
        "p_loss_five" => year(2029.0)?,
        "called_next" => row.called_next[0],
        "row_factor_mean" => row.row_factor.mean,
        "row_factor_sd" => row.row_factor.sd,
        "ln_growth_mean" => row.ln_growth[0].mean,
        "ln_growth_sd" => row.ln_growth[0].sd,
        _ => {
            let (look, what) = quantity.strip_prefix("crew_")?.split_once('_')?;
            let shift = row.shifts[look.parse::<usize>().ok()? - 1];
            if what == "mean" { shift.mean } else { shift.sd }
        }
    })
}

fn answer(study: &Study, belief: &Belief, quantity: &str) -> Option<Sampled> {
    match quantity {
        "log_marginal" => Some(belief.ln_evidence),
        "s_w_correlation" => Some(Sampled { value: belief.correlations[0][1], standard_error: 0.005 }),
        "s_mean" => Some(belief.uncertain[0].mean),
        "s_sd" => Some(belief.uncertain[0].sd),
        "w_mean" => Some(belief.uncertain[1].mean),
        "w_sd" => Some(belief.uncertain[1].sd),
        _ => {
            let (row, quantity) = quantity.split_once('.').unwrap_or(("", quantity));
            let row = belief.rows.iter().find(|own| row.is_empty() || study.rows[own.row.0].id == row)?;
            of_row(study, row, quantity)
        }
    }
}

#[test]
fn trial() {
    let folder = "tests/engine/data/given";
    for (problem, learning) in [
        ("a", Learning { draws: 256, cracks: 8192, repeats: 8, asked: 256, seed: 1, threads: 0 }),
        ("b", Learning { draws: 256, cracks: 4096, repeats: 8, asked: 256, seed: 1, threads: 0 }),
        ("c", Learning { draws: 512, cracks: 2048, repeats: 8, asked: 256, seed: 1, threads: 0 }),
    ] {
        let begin = std::time::Instant::now();
        if std::env::var("ONLY").is_ok_and(|only| only != problem) {
            continue;
        }
        let file = if problem == "c" { "c" } else { "a" };
        let study = Study::load(format!("{folder}/{file}.toml")).expect("a study");
        let records = Records::load(format!("{folder}/{problem}.csv"), &Format::default()).expect("records");
        let given = study.given(&records, &learning).expect("a belief");
        let belief = &given.belief;
        println!("{problem}: {:?}, {} effective of {}", begin.elapsed(), belief.effective_draws, learning.draws * learning.repeats);
        let mut squares = 0.0;
        for (quantity, expected) in expected(problem) {
            let Some(ours) = answer(&study, belief, &quantity) else { println!("no {quantity}"); continue };
            let error = ours.standard_error.hypot(expected.standard_error);
            let z = (ours.value - expected.value) / error;
            squares += z * z;
            if problem == "c" && z.abs() < 2.5 && quantity.contains('.') && !quantity.starts_with("west-2") { continue }
            println!("{quantity:20} {:10.6} +- {:.6}, expected {:10.6} +- {:.6}: {z:6.2}", ours.value, ours.standard_error, expected.value, expected.standard_error);
        }
        println!("{squares}");
        let begin = std::time::Instant::now();
        let run = Run { trials: 40_000, planted_lives: 20_000, seed: 3, ..Run::default() };
        let comparison = given.study.simulate(&run).expect("lives");
        println!("{:?}", begin.elapsed());
        for row in study.row_ids() {
            for (what, plain, planted) in comparison.plain_and_planted(row, study.strategy_id("none").expect("one")) {
                println!(
                    "{} {what}: {:.6} +- {:.6} plain, {:.6} +- {:.6} planted",
                    study.row(row).id, plain.value, plain.variance.sqrt(), planted.value, planted.variance.sqrt()
                );
            }
        }
    }
}
