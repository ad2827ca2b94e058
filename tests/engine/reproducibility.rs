//! The same study and seed give the same bytes, whatever is cut, added or taken away.

use serrata::Study;
use serrata::simulation::{Comparison, Quantity, Run};

fn study(name: &str) -> Study {
    Study::load(format!("{}/{name}", env!("CARGO_MANIFEST_DIR"))).expect("a valid study")
}

fn run(study: &Study, threads: usize, block_trials: u64) -> Comparison {
    let run = Run { trials: 3_000, seed: 5, threads, block_trials, keep_finished: false };
    study.simulate(&run).expect("a run")
}

#[test]
fn threads_and_blocks_change_no_bit() {
    for name in ["tests/engine/data/y2.toml", "demo-data/demo-study.toml"] {
        let study = study(name);
        let reference = run(&study, 1, 0).to_json();
        for (threads, block) in [(2, 0), (7, 0), (1, 1), (2, 700), (7, 2_048), (3, 1_000_000)] {
            assert_eq!(run(&study, threads, block).to_json(), reference, "{name}: {threads} threads, block {block}");
        }
    }
}

#[test]
fn another_seed_gives_other_numbers() {
    let study = study("tests/engine/data/y2.toml");
    let other = study.simulate(&Run { trials: 3_000, seed: 6, ..Run::default() }).expect("a run");
    assert_ne!(other.fleet(0, Quantity::Losses).value, run(&study, 1, 0).fleet(0, Quantity::Losses).value);
}

/// Every bit of a result as text; not-a-number is equal to itself here.
fn shown(result: impl std::fmt::Debug) -> String {
    format!("{result:?}")
}

/// All numbers of one strategy, by name.
fn answers(comparison: &Comparison, strategy: &str) -> Vec<String> {
    let index = comparison.study.strategies.iter().position(|other| other.id == strategy).expect("a strategy");
    let mut answers: Vec<String> =
        Quantity::ALL.iter().map(|quantity| format!("{:?}", comparison.fleet(index, *quantity))).collect();
    for row in 0..comparison.study.rows.len() {
        answers.extend(comparison.after_outages(row, index).iter().map(|after| format!("{after:?}")));
        answers.push(format!("{:?}", comparison.row_losses_by_year(row, index)));
    }
    answers
}

#[test]
fn taking_strategies_away_changes_no_other_number() {
    for name in ["tests/engine/data/y2.toml", "demo-data/demo-study.toml"] {
        let whole = study(name);
        let reference = run(&whole, 2, 0);
        for keep in 0..whole.strategies.len() {
            let mut part = whole.clone();
            part.strategies = vec![whole.strategies[keep].clone()];
            part.baseline = 0;
            let id = &whole.strategies[keep].id;
            assert_eq!(answers(&run(&part, 2, 0), id), answers(&reference, id), "{name}, {id}");
        }
    }
}

#[test]
fn an_unused_technique_changes_no_number() {
    let whole = study("tests/engine/data/y2.toml");
    let mut more = whole.clone();
    let mut technique = whole.techniques[1].clone();
    technique.id = "another".to_owned();
    more.techniques.insert(0, technique);
    for strategy in &mut more.strategies {
        for look in &mut strategy.looks {
            look.techniques.iter_mut().for_each(|technique| *technique += 1);
            if let Some(escalation) = &mut look.escalation {
                escalation.techniques.iter_mut().for_each(|technique| *technique += 1);
            }
        }
    }
    let mut correlation = vec![vec![0.0; 3]; 3];
    correlation[0][0] = 1.0;
    for i in 0..2 {
        for j in 0..2 {
            correlation[i + 1][j + 1] = whole.persistence.correlation[i][j];
        }
    }
    more.persistence = serrata::model::detection::Persistence::new(correlation).expect("a correlation matrix");
    let (with, without) = (run(&more, 2, 0), run(&whole, 2, 0));
    for strategy in &whole.strategies {
        assert_eq!(answers(&with, &strategy.id), answers(&without, &strategy.id));
    }
}

#[test]
fn a_row_of_another_unit_changes_no_number_of_this_one() {
    let whole = study("demo-data/demo-study.toml");
    let mut part = whole.clone();
    part.rows.remove(0);
    let (with, without) = (run(&whole, 2, 0), run(&part, 2, 0));
    for strategy in 0..whole.strategies.len() {
        let found = |comparison: &Comparison, row| shown(comparison.row(row, strategy, Quantity::CracksFound));
        assert_eq!(found(&with, 3), found(&without, 2));
        assert_eq!(shown(with.after_outages(5, strategy)), shown(without.after_outages(4, strategy)));
    }
}

#[test]
fn a_look_that_sees_nothing_changes_nothing_but_its_cost() {
    let mut study = study("tests/engine/data/y2.toml");
    for technique in &mut study.techniques {
        technique.pod.ceiling = 0.0;
        technique.pod.floor = 0.0;
        technique.false_call_probability = 0.0;
    }
    let comparison = run(&study, 2, 0);
    for strategy in 1..study.strategies.len() {
        for quantity in [Quantity::Losses, Quantity::AnyLoss, Quantity::BladesReplaced] {
            assert_eq!(shown(comparison.fleet(strategy, quantity)), shown(comparison.fleet(0, quantity)));
        }
        for (with, without) in comparison.after_outages(0, strategy).iter().zip(comparison.after_outages(0, 0)) {
            assert_eq!(shown(with.cracks), shown(without.cracks));
            assert_eq!(with.longest_mm, without.longest_mm);
            // Lengths are added crack by crack, in another order when blades are followed one by one.
            let lengths = with.mean_length_mm.zip(without.mean_length_mm).expect("cracks after every outage");
            assert!((lengths.0.value / lengths.1.value - 1.0).abs() < 1e-12);
        }
    }
}

#[test]
fn sums_of_a_kept_part_are_those_of_a_shorter_run() {
    let study = study("tests/engine/data/y2.toml");
    let mut asked = 0;
    let stopped =
        study.simulate_with(&Run { trials: 50_000_000, seed: 5, keep_finished: true, ..Run::default() }, &mut |_| {
            asked += 1;
            if asked > 3 { std::ops::ControlFlow::Break(()) } else { std::ops::ControlFlow::Continue(()) }
        });
    let part = stopped.expect("what was finished");
    assert!(part.trials() < 50_000_000);
    let again = study.simulate(&Run { trials: part.trials(), seed: 5, ..Run::default() }).expect("a run");
    assert_eq!(shown(again.fleet(3, Quantity::BladesReplaced)), shown(part.fleet(3, Quantity::BladesReplaced)));
}

#[test]
fn a_stopped_run_is_an_error_unless_it_keeps_what_was_finished() {
    let study = study("tests/engine/data/y2.toml");
    let stopped =
        study.simulate_with(&Run { trials: 50_000_000, ..Run::default() }, &mut |_| std::ops::ControlFlow::Break(()));
    assert!(stopped.is_err_and(|error| error.is_interrupted()));
}
