//! Rare losses, by lives with a planted crack.
//!
//! `data/yardstick_expected*.json`: quadrature and importance sampling by separately written programs. Thinned losses:
//! cracks start as a Poisson process and grow exponentially, each look misses by a logistic curve, and a called crack goes;
//! the expected losses are one integral, worked out by another program with two orders of quadrature.

use crate::support::ByNumber;
use serde_json::Value;
use serrata::Study;
use serrata::simulation::{Column, Comparison, Ended, Estimate, Quantity, Run};

/// Losses that are expected in 30 years where 0.02 cracks start a year: median and standard deviation of ln g for growth as
/// exp(g t), years between looks, losses.
const BY_SIZE: [(f64, f64, u32, f64); 4] = [
    (0.15, 0.3, 1, 2.527_066_365_380_421_8e-8),
    (0.15, 0.3, 2, 1.883_929_369_919_52e-5),
    (0.2, 0.4, 1, 7.165_828_614_409_965_5e-6),
    (0.1, 0.25, 1, 5.368_157_821_386_854e-12),
];
/// Stress intensity and law for which ln a grows by one a year, with one start a year.
const MEMBRANE_MPA: f64 = 100.0;

fn yardstick(problem: &str) -> String {
    let path = format!("{}/tests/engine/data/{problem}.toml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(path).expect("a yardstick study")
}

fn lived(text: &str, trials: u64, planted_lives: u64, seed: u64) -> Comparison {
    let study = Study::parse(text, "rare losses").unwrap_or_else(|error| panic!("{error}"));
    study.simulate(&Run { trials, planted_lives, seed, ..Run::default() }).unwrap_or_else(|error| panic!("{error}"))
}

/// The problem of [`BY_SIZE`] as a study: a crack as long as it is deep, from 1 mm to the loss at 20 mm, in a row of many
/// blades of which hardly any cracks.
fn by_size(median: f64, sigma_log: f64, every: u32, cracks_a_year: f64) -> String {
    const BLADES: f64 = 1_000.0;
    // da/dN = C (Y S)^2 pi a: its logarithm grows by C (Y S)^2 pi a start.
    let coefficient = median / (MEMBRANE_MPA * MEMBRANE_MPA * std::f64::consts::PI);
    let mut text = yardstick("y3");
    for (key, value) in [
        (
            "kind = \"weibull\"\nshape = 3\nscale = 40000",
            format!("kind = \"exponential\"\nmean = {}", BLADES / cracks_a_year),
        ),
        (
            "coefficient_m_per_start = 1.65e-11\nexponent = 3",
            format!("coefficient_m_per_start = {coefficient:e}\nexponent = 2"),
        ),
        ("crack_sigma_log = 0.6", format!("crack_sigma_log = {sigma_log}")),
        ("membrane_mpa = 1000", format!("membrane_mpa = {MEMBRANE_MPA}")),
        ("geometry_factor = 0.73, length_over_depth = 5", "geometry_factor = 1, length_over_depth = 1".to_owned()),
        (
            "initial_depth_mm = { kind = \"lognormal\", median = 0.3, sigma_log = 0.3 }",
            "initial_depth_mm = 1".to_owned(),
        ),
        ("depth_mm = 4", "depth_mm = 20".to_owned()),
        ("starts_per_year = 100", "starts_per_year = 1".to_owned()),
        ("blades = 480", format!("blades = {BLADES}")),
        ("q50_mm = 1.2, spread = 0.35", "q50_mm = 4, spread = 0.3".to_owned()),
        ("first_outage = 1, every_outages = 1", format!("first_outage = {every}, every_outages = {every}")),
    ] {
        assert!(text.contains(key), "{key}");
        text = text.replacen(key, &value, 1);
    }
    text
}

#[track_caller]
fn assert_near(what: &str, ours: Estimate, expected: f64, expected_error: f64, limit: f64) {
    let z = (ours.value - expected) / ours.standard_error.hypot(expected_error);
    assert!(z.abs() < limit, "{what}: {} +- {} for {expected}: {z:.2}", ours.value, ours.standard_error);
}

#[test]
fn rare_losses_of_the_yardstick_are_those_of_other_programs() {
    let exact: Value = serde_json::from_str(include_str!("data/yardstick_expected.json")).expect("JSON");
    let sampled: Value = serde_json::from_str(include_str!("data/yardstick_expected_rare.json")).expect("JSON");
    let mut compared = 0;
    for problem in ["y1a", "y1b", "y1c", "y2", "y3", "y3s"] {
        let text = if problem == "y3s" {
            yardstick("y3").replacen("scale = 40000", "scale = 400000", 1)
        } else {
            yardstick(problem)
        };
        let comparison = lived(&text, 1_000, 30_000, 18);
        for (index, strategy) in comparison.study.strategies.iter().enumerate() {
            let of = [&exact, &sampled].map(|values| &values["problems"][problem][&strategy.id]);
            // Quadrature where there is one.
            let of = if of[0]["method"] == "quadrature" || of[1].is_null() { of[0] } else { of[1] };
            for (key, quantity) in [("failures", Quantity::Losses), ("p_any_failure", Quantity::AnyLoss)] {
                let expected = of[key].as_f64().expect("an expected value");
                let error = of[format!("{key}_se")].as_f64().unwrap_or(0.0);
                let ours = comparison.row_of(0, index, quantity);
                assert_near(&format!("{problem} {} {key}", strategy.id), ours, expected, error, 4.0);
                let relative = ours.standard_error / ours.value;
                assert!(relative < 0.05, "{problem} {} {key} is known to {relative}", strategy.id);
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 36);
}

#[test]
fn thinned_losses_from_1e_5_to_5e_12_are_those_of_quadrature() {
    for (median, sigma_log, every, expected) in BY_SIZE {
        // A row factor changes neither the expected losses nor, as rare as they are, the chance of any.
        for row_factor in ["1", "{ kind = \"gamma\", mean = 1, cov = 1.4142135623730951 }"] {
            let text = by_size(median, sigma_log, every, 0.02).replacen(
                "row_factor = 1",
                &format!("row_factor = {row_factor}"),
                1,
            );
            let comparison = lived(&text, 1_000, 20_000, 7);
            for quantity in [Quantity::Losses, Quantity::AnyLoss] {
                let ours = comparison.row_of(0, 0, quantity);
                assert_near(&format!("{median} {sigma_log} {every} {row_factor}"), ours, expected, 0.0, 3.0);
                assert!(ours.standard_error < 0.03 * ours.value, "{ours:?} for {expected}");
            }
        }
    }
}

/// One crack in twenty has a closed mouth, at which nothing is ever called: these carry nearly all of the risk, and a
/// proposal that forgot them would be off by a factor of 10,000.
#[test]
fn cracks_that_can_never_be_called_carry_the_risk() {
    const CLOSED: f64 = 0.05;
    let (median, sigma_log, every, open) = BY_SIZE[0];
    let text = by_size(median, sigma_log, every, 0.02)
        .replacen(
            "initiation_life_factor = 1",
            &format!("initiation_life_factor = 1\nclosed_mouth_probability = {CLOSED}"),
            1,
        )
        .replacen("grade = \"standard\"", "grade = \"standard\"\nclosed_mouth_factor = 0", 1);
    // Without looks a crack is lost when g t = ln 20: the mean of what is left of 30 years then, by the midpoint rule.
    let normal = |z: f64| (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let step = 1e-4;
    let left = |z: f64| (30.0 - 20.0_f64.ln() / (median * (sigma_log * z).exp())).max(0.0);
    let unseen: f64 =
        0.02 * (-80_000..80_000).map(|i| step * (f64::from(i) + 0.5)).map(|z| step * normal(z) * left(z)).sum::<f64>();
    let expected = CLOSED * unseen + (1.0 - CLOSED) * open;
    let ours = lived(&text, 1_000, 40_000, 5).row_of(0, 0, Quantity::Losses);
    assert_near("never called", ours, expected, 0.0, 3.0);
    assert!(ours.standard_error < 0.06 * ours.value, "{ours:?} for {expected}");
}

/// 200 seeds each: the mean is right, and 95 % intervals hold the truth as often as they say.
#[test]
fn intervals_of_rare_losses_hold_the_truth_as_often_as_they_say() {
    const SEEDS: u64 = 200;
    for ((median, sigma_log, every, at_002), cracks_a_year) in
        [(BY_SIZE[1], 0.1), (BY_SIZE[2], 0.003), (BY_SIZE[0], 0.01), (BY_SIZE[0], 1e-4)]
    {
        let expected = at_002 * cracks_a_year / 0.02;
        let text = by_size(median, sigma_log, every, cracks_a_year).replacen(
            "row_factor = 1",
            "row_factor = { kind = \"lognormal\", mean = 1, sigma_log = 0.8 }",
            1,
        );
        let (mut sum, mut square, mut held) = (0.0, 0.0, 0);
        for seed in 0..SEEDS {
            let ours = lived(&text, 512, 1_000, seed).row_of(0, 0, Quantity::Losses);
            sum += ours.value;
            square += ours.value * ours.value;
            held += u32::from(ours.low <= expected && expected <= ours.high);
        }
        let n = SEEDS as f64;
        let (mean, error) = (sum / n, ((square / n - (sum / n) * (sum / n)) / n).sqrt());
        assert!((mean - expected).abs() < 3.0 * error, "{mean} +- {error} for {expected}");
        assert!((180..=200).contains(&held), "{held} of {SEEDS} intervals hold {expected}");
        eprintln!(
            "{expected:.3e}: mean {mean:.4e} +- {error:.1e}, {held} of {SEEDS} held, {:.1} % each",
            100.0 * error * n.sqrt() / mean
        );
    }
}

/// Runs that end when they know enough, at 3 %: stopping by what was seen leaves mean and intervals honest.
#[test]
fn runs_that_end_at_their_target_are_as_honest_as_others() {
    const SEEDS: u64 = 200;
    let (median, sigma_log, every, expected) = BY_SIZE[2];
    let study = Study::parse(&by_size(median, sigma_log, every, 0.02), "rare losses").expect("a good study");
    let (mut sum, mut square, mut held, mut trials) = (0.0, 0.0, 0, Vec::new());
    for seed in 0..SEEDS {
        let target_relative_error = Some(0.03);
        let run = Run { trials: 100_000, planted_lives: 100_000, seed, target_relative_error, ..Run::default() };
        let comparison = study.simulate(&run).expect("a run");
        let ours = comparison.row_of(0, 0, Quantity::Losses);
        assert!(comparison.ended == Ended::Target && ours.standard_error <= 0.03 * ours.value, "{ours:?}");
        sum += ours.value;
        square += ours.value * ours.value;
        held += u32::from(ours.low <= expected && expected <= ours.high);
        trials.push(comparison.trials());
    }
    let n = SEEDS as f64;
    let (mean, error) = (sum / n, ((square / n - (sum / n) * (sum / n)) / n).sqrt());
    assert!((mean - expected).abs() < 3.0 * error, "{mean} +- {error} for {expected}");
    assert!((180..=200).contains(&held), "{held} of {SEEDS} intervals hold {expected}");
    // They did not all end at the first look.
    trials.sort_unstable();
    assert!(trials[0] < trials[trials.len() - 1], "{trials:?}");
    eprintln!("{held} of {SEEDS} held; {} to {} trials", trials[0], trials[trials.len() - 1]);
}

/// A plan in which a call sends sharper looks to the whole row, so that cracks hang together: 200 seeds against one long run
/// of plain lives.
#[test]
fn an_escalating_plan_is_as_a_very_long_plain_run_has_it() {
    /// Losses in a life, and their standard error: 60 million plain lives of this engine, seed 77.
    const EXPECTED: [f64; 2] = [9.633e-5, 1.3e-6];
    const SEEDS: u64 = 200;
    let text = yardstick("y2").replace("baseline = \"none\"", "baseline = \"insitu_then_bench\"");
    let parts: Vec<&str> = text.split("[strategies.").collect();
    let text = format!("{}[strategies.{}", parts[0], parts[parts.len() - 1]);
    let [expected, of_expected] = EXPECTED;
    let (mut sum, mut square, mut held) = (0.0, 0.0, 0);
    for seed in 0..SEEDS {
        let ours = lived(&text, 512, 2_000, seed).row_of(0, 0, Quantity::Losses);
        sum += ours.value;
        square += ours.value * ours.value;
        held += u32::from(ours.low <= expected && expected <= ours.high);
    }
    let n = SEEDS as f64;
    let (mean, error) = (sum / n, ((square / n - (sum / n) * (sum / n)) / n).sqrt());
    assert!((mean - expected).abs() < 3.0 * error.hypot(of_expected), "{mean} +- {error} for {expected}");
    assert!((180..=200).contains(&held), "{held} of {SEEDS} intervals hold {expected}");
    eprintln!("{expected:.3e}: mean {mean:.4e} +- {error:.1e}, {held} of {SEEDS} held");
}

/// Two rows that only their names tell apart: each is told by the lives of both, and the fleet by each row's own.
#[test]
fn rows_that_are_alike_share_what_their_lives_tell() {
    let one = by_size(BY_SIZE[0].0, BY_SIZE[0].1, BY_SIZE[0].2, 0.02);
    let start = one.find("[rows.row]").expect("a row");
    let end = start + one[start..].find("[techniques").expect("what follows");
    let twin = one[start..end].replace("[rows.row]", "[rows.twin]");
    let two = format!("{}{twin}{}", &one[..end], &one[end..]);
    let comparison = lived(&two, 512, 4_000, 3);
    let strategy = comparison.study.baseline;
    let row = |number: usize, quantity| comparison.row(comparison.row_number(number), strategy, quantity);
    let fleet = |quantity| comparison.fleet(strategy, quantity);
    for quantity in [Quantity::Losses, Quantity::AnyLoss] {
        let [first, second] = [0, 1].map(|number| row(number, quantity));
        assert_eq!(first, second);
        // The fleet's number is the sum, and hangs on both rows' lives as the mean of both does.
        let all = fleet(quantity);
        assert!((all.value / (2.0 * first.value) - 1.0).abs() < 1e-6, "{all:?} {first:?}");
        assert!((all.standard_error / (2.0 * first.standard_error) - 1.0).abs() < 1e-3, "{all:?} {first:?}");
    }
    // All rows are of one unit.
    let unit = comparison.unit_losses(0, strategy).expect("no sisters are looked at");
    assert_eq!(unit, [Quantity::Losses, Quantity::AnyLoss].map(fleet));
    let alone = lived(&one, 512, 4_000, 3).row_of(0, 0, Quantity::Losses);
    let gain = row(0, Quantity::Losses).standard_error / alone.standard_error;
    // The root of a half, but for what the errors themselves are known to.
    assert!((0.6..0.85).contains(&gain), "{gain}");
    // The mean over rows is as sure as the fleet, not surer because two rows say the same.
    let summary = comparison.table("summary").expect("a table");
    let Some(Column::Text(quantities)) = summary.column("quantity") else { panic!("quantities are texts") };
    let Some(Column::Number(errors)) = summary.column("standard_error") else { panic!("errors are numbers") };
    let line = quantities.iter().position(|quantity| quantity == "p_any_loss_mean_row").expect("the mean over rows");
    assert!((2.0 * errors[line] / fleet(Quantity::AnyLoss).standard_error - 1.0).abs() < 1e-3);
}

/// Two ways that share no code but the plans: quadrature over one blade, and lives with planted cracks.
#[test]
fn planted_lives_agree_with_quadrature_where_both_can_answer() {
    let with_row_factor = |text: String| {
        text.replacen("row_factor = 1", "row_factor = { kind = \"lognormal\", mean = 1, sigma_log = 0.6 }", 1)
    };
    let persistent = |text: String| text.replacen("crack_sigma = 0", "crack_sigma = 0.4", 1);
    let mut compared = 0;
    for (name, text) in [
        ("y1a", with_row_factor(yardstick("y1a"))),
        ("y1b", yardstick("y1b")),
        ("y3", persistent(with_row_factor(yardstick("y3")))),
        ("by size", persistent(by_size(0.2, 0.4, 1, 0.02))),
    ] {
        let comparison = lived(&text, 1_000, 20_000, 11);
        let screening = comparison.study.screen().unwrap_or_else(|error| panic!("{error}"));
        let row = comparison.row_number(0);
        for strategy in comparison.study.strategy_ids() {
            let Some(expected) = screening.losses(row, strategy) else { continue };
            let ours = comparison.row(row, strategy, Quantity::Losses);
            assert_near(name, ours, expected.value, expected.numerical_error, 4.0);
            compared += 1;
        }
    }
    assert!(compared >= 8, "{compared}");
}
