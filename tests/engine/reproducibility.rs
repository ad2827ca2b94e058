//! The same study and seed give the same bytes, whatever is cut, added or taken away.

use crate::support::{ByNumber, Lived};
use serrata::Study;
use serrata::model::StudyParts;
use serrata::model::detection::{DepthGate, Persistence};
use serrata::model::fleet::PastLook;
use serrata::model::growth::Limit;
use serrata::model::initiation::InitiationShape;
use serrata::simulation::{Comparison, Ended, Quantity, Run};

fn study(name: &str) -> StudyParts {
    Study::load(format!("{}/{name}", env!("CARGO_MANIFEST_DIR"))).expect("a valid study").into_parts()
}

fn run(study: &StudyParts, threads: usize, block_trials: u64) -> Comparison {
    let run = Run { trials: 1_600, planted_lives: 0, seed: 5, threads, block_trials, ..Run::default() };
    study.simulate(&run).expect("a run")
}

/// Fewer trials, for studies whose cracks are followed one by one.
fn short_run(study: &StudyParts) -> Comparison {
    study.simulate(&Run { trials: 600, seed: 5, ..Run::default() }).expect("a run")
}

#[test]
fn threads_and_blocks_change_no_bit() {
    for name in ["tests/engine/data/y2.toml", "demo-data/demo-study.toml"] {
        let study = study(name);
        let reference = run(&study, 1, 0).to_json();
        for (threads, block) in [(2, 0), (7, 0), (1, 1), (2, 700), (7, 1_024), (3, 1_000_000)] {
            assert_eq!(run(&study, threads, block).to_json(), reference, "{name}: {threads} threads, block {block}");
        }
    }
}

#[test]
fn another_seed_gives_other_numbers() {
    let study = study("tests/engine/data/y2.toml");
    let other = study.simulate(&Run { trials: 1_600, seed: 6, ..Run::default() }).expect("a run");
    assert_ne!(other.fleet_of(0, Quantity::Losses).value, run(&study, 1, 0).fleet_of(0, Quantity::Losses).value);
}

/// Every bit of a result as text; not-a-number is equal to itself here.
fn shown(result: impl std::fmt::Debug) -> String {
    format!("{result:?}")
}

/// All numbers of one strategy, by name.
fn answers(comparison: &Comparison, strategy: &str) -> Vec<String> {
    let index = comparison.study.strategies.iter().position(|other| other.id == strategy).expect("a strategy");
    let mut answers: Vec<String> =
        Quantity::ALL.iter().map(|quantity| format!("{:?}", comparison.fleet_of(index, *quantity))).collect();
    for row in 0..comparison.study.rows.len() {
        answers.extend(comparison.after_outages_of(row, index).iter().map(|after| format!("{after:?}")));
        answers.push(format!("{:?}", comparison.row_losses_of(row, index)));
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
            part.baseline = part.strategy_ids().next().expect("a strategy");
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
        let found = |comparison: &Comparison, row| shown(comparison.row_of(row, strategy, Quantity::CracksFound));
        assert_eq!(found(&with, 3), found(&without, 2));
        assert_eq!(shown(with.after_outages_of(5, strategy)), shown(without.after_outages_of(4, strategy)));
    }
}

#[test]
fn a_look_that_sees_nothing_changes_nothing_but_its_cost() {
    let mut study = study("tests/engine/data/y2.toml");
    for technique in &mut study.techniques {
        technique.pod.ceiling = 1e-15;
        technique.pod.floor = 0.0;
        technique.false_call_probability = 0.0;
    }
    let comparison = run(&study, 2, 0);
    for strategy in 1..study.strategies.len() {
        for quantity in [Quantity::Losses, Quantity::AnyLoss, Quantity::BladesReplaced] {
            assert_eq!(shown(comparison.fleet_of(strategy, quantity)), shown(comparison.fleet_of(0, quantity)));
        }
        for (with, without) in comparison.after_outages_of(0, strategy).iter().zip(comparison.after_outages_of(0, 0)) {
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
    let stopped = study.study().simulate_with(
        &Run { trials: 50_000_000, seed: 5, keep_finished: true, ..Run::default() },
        &mut |_| {
            asked += 1;
            if asked > 3 { std::ops::ControlFlow::Break(()) } else { std::ops::ControlFlow::Continue(()) }
        },
    );
    let part = stopped.expect("what was finished");
    assert!(part.trials() < 50_000_000);
    let again = study.simulate(&Run { trials: part.trials(), seed: 5, ..Run::default() }).expect("a run");
    assert_eq!(shown(again.fleet_of(3, Quantity::BladesReplaced)), shown(part.fleet_of(3, Quantity::BladesReplaced)));
}

#[test]
fn a_stopped_run_is_an_error_unless_it_keeps_what_was_finished() {
    let study = study("tests/engine/data/y2.toml");
    let stopped = study
        .study()
        .simulate_with(&Run { trials: 50_000_000, ..Run::default() }, &mut |_| std::ops::ControlFlow::Break(()));
    assert!(stopped.is_err_and(|error| error.is_interrupted()));
}

/// Two runs of one row under one strategy say the same of every year and every outage before one.
fn assert_same_until(year: f64, one: &Comparison, other: &Comparison, row: usize, strategy: usize, name: &str) {
    let years = (year - one.study.start_year) as usize;
    let losses = |run: &Comparison| run.row_losses_of(row, strategy)[..years].iter().map(shown).collect::<Vec<_>>();
    assert!(losses(one) == losses(other), "{name}, row {row}, strategy {strategy}: losses");
    for (one, other) in one.after_outages_of(row, strategy).into_iter().zip(other.after_outages_of(row, strategy)) {
        if one.year >= year {
            break;
        }
        let place = format!("{name}, row {row}, strategy {strategy}, outage {}", one.year);
        assert!(shown(one.cracks) == shown(other.cracks), "{place}: cracks");
        assert!(one.longest_mm == other.longest_mm, "{place}: longest");
        // Lengths are added in the order in which cracks leave the row, which later outages may change; the error is a
        // small difference of large sums.
        if let Some((one, other)) = one.mean_length_mm.zip(other.mean_length_mm) {
            let apart = |one: f64, other: f64| (one - other).abs() / one;
            assert!(apart(one.value, other.value) < 1e-12, "{place}: mean length {} or {}", one.value, other.value);
            assert!(apart(one.standard_error, other.standard_error) < 1e-6, "{place}: error of the mean length");
        }
    }
}

fn rows_and_strategies(study: &StudyParts) -> impl Iterator<Item = (usize, usize)> {
    let strategies = study.strategies.len();
    (0..study.rows.len()).flat_map(move |row| (0..strategies).map(move |strategy| (row, strategy)))
}

/// Studies with much and little in them, and two in which nearly every origin cracks before the end.
fn studies() -> Vec<(String, StudyParts)> {
    let plain = ["tests/engine/data/y2.toml", "tests/engine/data/everything_on.toml", "demo-data/reference-study.toml"];
    let mut all: Vec<(String, StudyParts)> = plain.iter().map(|name| ((*name).to_owned(), study(name))).collect();
    for name in ["tests/engine/data/y2.toml", "tests/engine/data/small.toml"] {
        let mut sure = study(name);
        sure.initiation[0].shape = InitiationShape::Weibull { shape: 2.0, scale: 1_000.0 };
        sure.roots[0].hot_spots[0].limit = Limit::Depth { depth_mm: 8.0 };
        all.push((format!("{name} with sure cracks"), sure));
    }
    all
}

#[test]
fn a_longer_horizon_changes_no_year_that_was_there_before() {
    for (name, short) in studies() {
        let mut long = short.clone();
        let end = short.start_year + short.horizon_years;
        long.horizon_years += 7.0;
        long.units.iter_mut().for_each(|unit| unit.outages.years.push(end + 1.0));
        let (with, without) = (short_run(&long), short_run(&short));
        for (row, strategy) in rows_and_strategies(&short) {
            assert_same_until(end.floor(), &with, &without, row, strategy, &name);
        }
    }
}

#[test]
fn one_more_outage_at_the_end_changes_nothing_before_it() {
    for (name, whole) in studies() {
        let mut less = whole.clone();
        let last = |study: &StudyParts, row: usize| {
            *study.units[study.rows[row].unit].outages.years.last().expect("an outage")
        };
        less.units.iter_mut().for_each(|unit| _ = unit.outages.years.pop());
        let (with, without) = (short_run(&whole), short_run(&less));
        for (row, strategy) in rows_and_strategies(&whole) {
            assert_same_until(last(&whole, row).floor(), &with, &without, row, strategy, &name);
        }
    }
}

/// Adds a technique like the first one, with which no other has anything in common.
fn add_technique(study: &mut StudyParts, id: &str) {
    let known = study.techniques.len();
    let mut technique = study.techniques[0].clone();
    technique.id = id.to_owned();
    study.techniques.push(technique);
    let mut correlation = study.persistence.correlation.clone();
    correlation.iter_mut().for_each(|with| with.push(0.0));
    correlation.push((0..=known).map(|other| f64::from(u8::from(other == known))).collect());
    study.persistence = Persistence::new(correlation).expect("a correlation matrix");
}

#[test]
fn one_more_row_strategy_or_technique_changes_no_number() {
    let whole = study("tests/engine/data/everything_on.toml");
    let mut more = whole.clone();
    let mut row = whole.rows[0].clone();
    row.id = "another".to_owned();
    more.rows.insert(0, row);
    add_technique(&mut more, "third");
    let mut strategy = whole.strategies[0].clone();
    strategy.id = "by-the-third".to_owned();
    strategy.looks[0].techniques = vec![2];
    more.strategies.insert(0, strategy);
    more.baseline = more.strategy_id(&whole.strategy(whole.baseline).id).expect("the same strategy");
    let (with, without) = (run(&more, 2, 0), run(&whole, 2, 0));
    for strategy in 0..whole.strategies.len() {
        // Rows of a unit share the days beyond its window, and nothing else here.
        let shared = [Quantity::DaysBeyondWindow, Quantity::ExtraDayCost, Quantity::Cost];
        for quantity in Quantity::ALL.into_iter().filter(|quantity| !shared.contains(quantity)) {
            let [one, other] = [with.row_of(1, strategy + 1, quantity), without.row_of(0, strategy, quantity)];
            assert!(shown(one) == shown(other), "strategy {strategy}: {}", quantity.name());
        }
        assert!(shown(with.after_outages_of(1, strategy + 1)) == shown(without.after_outages_of(0, strategy)));
    }
}

#[test]
fn one_more_past_look_that_sees_nothing_changes_no_number() {
    let whole = study("tests/engine/data/everything_on.toml");
    let mut more = whole.clone();
    add_technique(&mut more, "blind");
    let blind = &mut more.techniques[2];
    (blind.pod.floor, blind.depth_gate) = (0.0, Some(DepthGate { q50_mm: 50.0, spread: 0.05 }));
    more.rows[0].past_looks.push(PastLook { year: 2025.0, technique: 2, found: None });
    let (with, without) = (run(&more, 2, 0), run(&whole, 2, 0));
    for strategy in &whole.strategies {
        assert!(answers(&with, &strategy.id) == answers(&without, &strategy.id), "{}", strategy.id);
    }
}

/// A study whose lives take long: nearly every origin cracked, each crack followed by itself.
fn slow_study() -> StudyParts {
    let mut slow = study("demo-data/reference-study.toml");
    slow.rows.iter_mut().for_each(|row| row.blades = 60);
    slow.initiation.iter_mut().for_each(|law| law.shape = InitiationShape::Exponential { mean: 1_000.0 });
    slow
}

#[test]
fn a_stopped_run_keeps_every_trial_that_was_said_to_be_done() {
    for threads in [1, 2, 7] {
        let (mut told, mut most, mut asked) = (0, 0, 0);
        let run = Run { trials: 50_000_000, seed: 5, threads, keep_finished: true, ..Run::default() };
        let part = study("tests/engine/data/y2.toml").study().simulate_with(&run, &mut |done| {
            (told, most, asked) = (done, most.max(done), asked + 1);
            if asked > 3 { std::ops::ControlFlow::Break(()) } else { std::ops::ControlFlow::Continue(()) }
        });
        let part = part.expect("what was finished");
        let kept = part.trials();
        assert!(kept > 0 && kept == told && kept == most, "{threads} threads: kept {kept} of {told} and {most}");
        assert_eq!(part.run.trials, kept);
    }
}

#[test]
fn a_run_stopped_before_anything_was_finished_says_so() {
    let run = Run { trials: 5_000, threads: 1, keep_finished: true, ..Run::default() };
    let stopped = slow_study().study().simulate_with(&run, &mut |_| std::ops::ControlFlow::Break(()));
    let error = stopped.expect_err("nothing was finished");
    assert!(error.is_interrupted());
    let said = "stopped on request before the first 512 trials were finished, so that there is nothing to keep";
    assert_eq!(error.to_string(), said);
    let run = Run { keep_finished: false, ..run };
    let stopped = slow_study().study().simulate_with(&run, &mut |_| std::ops::ControlFlow::Break(()));
    // The batch in hand is given up at once: were it finished first, 512 trials would be done.
    let error = stopped.expect_err("nothing was asked to be kept").to_string();
    assert_eq!(error, "stopped on request after 0 of 5000 trials");
}

/// Lives with planted cracks too: whatever the threads, and to the last bit.
#[test]
fn planted_lives_give_the_same_bytes_on_any_number_of_threads() {
    for text in [include_str!("data/everything_on.toml"), include_str!("data/y2.toml")] {
        let study = Study::parse(text, "study").expect("a good study");
        let lived = |threads: usize, block_trials: u64| {
            let run = Run { trials: 1_400, planted_lives: 700, seed: 5, threads, block_trials, ..Run::default() };
            study.simulate(&run).expect("a run").to_bytes()
        };
        let one = lived(1, 0);
        assert!(one == lived(3, 0) && one == lived(2, 512), "{}", study.name);
    }
}

/// Where a run ends that knows enough hangs on nothing but its lives.
#[test]
fn a_target_ends_a_run_at_the_same_trial_on_any_number_of_threads() {
    let study = study("tests/engine/data/y2.toml");
    let lived = |threads: usize, block_trials: u64| {
        let target_relative_error = Some(0.04);
        let run = Run {
            trials: 1_000_000,
            planted_lives: 1_000_000,
            seed: 5,
            threads,
            block_trials,
            target_relative_error,
            ..Run::default()
        };
        study.simulate(&run).expect("a run")
    };
    let one = lived(1, 0);
    assert_eq!(one.ended, Ended::Target);
    assert!(one.trials() < 100_000 && one.planted_lives().abs_diff(one.trials()) < 512, "{}", one.trials());
    assert!(one.largest_relative_error().is_some_and(|error| (0.02..=0.04).contains(&error)));
    for (threads, block_trials) in [(2, 0), (3, 2048), (1, 4096)] {
        assert_eq!(
            one.to_bytes(),
            lived(threads, block_trials).to_bytes(),
            "{threads} threads, blocks of {block_trials}"
        );
    }
    let kept = Comparison::from_bytes(&one.to_bytes()).expect("the same");
    assert_eq!((kept.ended, kept.to_bytes()), (Ended::Target, one.to_bytes()));
}

#[test]
fn a_run_that_does_not_come_to_its_target_says_so() {
    let study = study("tests/engine/data/y2.toml");
    let run = Run { trials: 1_100, seed: 5, target_relative_error: Some(0.001), ..Run::default() };
    let all = study.simulate(&run).expect("a run");
    assert_eq!((all.ended, all.trials()), (Ended::Lived, 1_100));
    let said = |comparison: &Comparison, what: &str| {
        let warnings = comparison.warnings();
        assert!(warnings.iter().any(|warning| warning.contains(what)), "{warnings:?}");
    };
    said(&all, "known to 0.10 % under each strategy, but the last trial came first");
    // A short run that knows enough at its last trial came to its target.
    let enough = Run { planted_lives: 1_100, target_relative_error: Some(0.5), ..run.clone() };
    let known = study.simulate(&enough).expect("a run");
    assert_eq!((known.ended, known.trials()), (Ended::Target, 1_100));
    let plain = Run { target_relative_error: None, ..run.clone() };
    let rows = |comparison: &Comparison| format!("{:?}", comparison.table("by_row").expect("a table"));
    assert_eq!(rows(&all), rows(&study.simulate(&plain).expect("a run")));
    let run = Run { trials: 4_000_000_000, most_seconds: Some(0.5), ..run };
    let begun = std::time::Instant::now();
    let short = study.simulate(&run).expect("a run");
    assert!(short.ended == Ended::Time && short.trials() >= 512, "{:?}", short.ended);
    assert!(begun.elapsed().as_secs_f64() < 10.0, "{:?}", begun.elapsed());
    said(&short, "but the end of the time came first");
    let none = Run { most_seconds: Some(1e-9), ..run };
    let error = slow_study().study().simulate(&none).expect_err("no time").to_string();
    assert!(error.contains("most_seconds = 0.000000001\n    is over before the first 512 trials"), "{error}");
}
