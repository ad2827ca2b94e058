//! Problems with answers that were found in other ways.

use super::past::RowPast;
use super::{Belief, Given, Learning, RowBelief, Sampled};
use crate::distribution::Distribution;
use crate::model::detection::{DepthSizing, PodCurve};
use crate::model::fleet::{Found, PastLook, Renewal, Row};
use crate::model::growth::{Limit, Section};
use crate::model::initiation::InitiationShape;
use crate::model::strategy::{Action, Disposition, Dressing, Strategy};
use crate::model::{RowId, Study, StudyParts};
use crate::simulation::{Quantity, Run};
use crate::statistics::records::{Format, Records};
use std::ops::ControlFlow;

/// Answers to three problems, by two separately written programs: weighted plain lives (90, 50 and 36 million), and
/// conditional sums; with the standard error of both together.
const EXPECTED: &str = include_str!("../../../tests/engine/data/given/expected.csv");

fn study(problem: &str) -> Study {
    let text = match problem {
        "c" => include_str!("../../../tests/engine/data/given/c.toml"),
        _ => include_str!("../../../tests/engine/data/given/a.toml"),
    };
    Study::parse(text, problem).expect("a good study")
}

fn records(problem: &str) -> Records {
    let text = match problem {
        "a" => include_str!("../../../tests/engine/data/given/a.csv"),
        "b" => include_str!("../../../tests/engine/data/given/b.csv"),
        _ => include_str!("../../../tests/engine/data/given/c.csv"),
    };
    Records::parse(text, problem, &Format::default()).expect("good records")
}

/// A study given records, without lives that tell of rare losses.
pub(super) fn believed(study: &Study, records: &Records, learning: &Learning) -> Given {
    let pasts = RowPast::all(study, records).expect("histories");
    study.given_now(&pasts, learning).expect("a belief")
}

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

fn of_row(study: &Study, row: &RowBelief, quantity: &str) -> Sampled {
    let until = |wanted: f64| {
        let found = row.p_loss_by_month.iter().find(|(year, _)| (year - wanted).abs() < 1e-9);
        found.expect("a year that is asked for").1
    };
    match quantity {
        "cracks_present" => row.cracks,
        "p_none" => row.p_none,
        "mean_longest_mm" => row.longest_mean_mm,
        "longest_95_mm" => row.longest_95_mm,
        "mean_length_mm" => row.mean_length_mm,
        "p_loss_next" => until(row.next_outage_year.expect("an outage")),
        "p_loss_five" => until(study.start_year + 5.0),
        "called_next" => row.called_next[0],
        "row_factor_mean" => row.row_factor.mean,
        "row_factor_sd" => row.row_factor.sd,
        "ln_growth_mean" => row.ln_growth[0].mean,
        "ln_growth_sd" => row.ln_growth[0].sd,
        _ => {
            let (look, what) = quantity.strip_prefix("crew_").and_then(|rest| rest.split_once('_')).expect("a crew");
            let shift = row.shifts[look.parse::<usize>().expect("a number") - 1];
            if what == "mean" { shift.mean } else { shift.sd }
        }
    }
}

fn answer(study: &Study, belief: &Belief, quantity: &str) -> Sampled {
    match quantity {
        "log_marginal" => belief.ln_evidence,
        "s_mean" => belief.uncertain[0].mean,
        "s_sd" => belief.uncertain[0].sd,
        "w_mean" => belief.uncertain[1].mean,
        "w_sd" => belief.uncertain[1].sd,
        // Of two numbers drawn so often: the correlation has an error of one over the root.
        "s_w_correlation" => {
            Sampled { value: belief.correlations[0][1], standard_error: belief.effective_draws.powf(-0.5) }
        }
        _ => {
            let (row, quantity) = quantity.split_once('.').unwrap_or(("", quantity));
            let own = belief.rows.iter().find(|own| row.is_empty() || study.rows[own.row.0].id == row);
            of_row(study, own.expect("a row with records"), quantity)
        }
    }
}

/// Distances from what is expected, in standard errors of both.
fn distances(study: &Study, belief: &Belief, problem: &str) -> Vec<(String, f64)> {
    let distance = |(quantity, expected): (String, Sampled)| {
        let ours = answer(study, belief, &quantity);
        let error = ours.standard_error.hypot(expected.standard_error);
        let z = (ours.value - expected.value) / error;
        // What is not known to 3 % would be near anything.
        let scale = expected.value.abs().max(0.2);
        let is_known = ["log_marginal", "s_w_correlation"].contains(&quantity.as_str())
            || error < 0.03 * scale
            || quantity.contains("p_loss");
        assert!(is_known, "{quantity}: an error of {error} in {}", expected.value);
        (format!("{quantity}: {ours:?} and {expected:?}"), z)
    };
    expected(problem).into_iter().map(distance).collect()
}

#[test]
fn problems_have_the_answers_that_others_found() {
    for (problem, learning) in [
        ("a", Learning { draws: 128, cracks: 4096, repeats: 8, asked: 128, seed: 2, threads: 0 }),
        ("b", Learning { draws: 160, cracks: 2048, repeats: 8, asked: 160, seed: 2, threads: 0 }),
        ("c", Learning { draws: 192, cracks: 1024, repeats: 16, asked: 64, seed: 2, threads: 0 }),
    ] {
        let study = study(problem);
        let belief = believed(&study, &records(problem), &learning).belief;
        let mut distances = distances(&study, &belief, problem);
        let count = distances.len() as f64;
        let square = distances.iter().map(|(_, z)| z * z).sum::<f64>() / count;
        distances.sort_by(|one, other| other.1.abs().total_cmp(&one.1.abs()));
        // Errors by so few repeats have so few degrees of freedom: the mean square of such distances is 1.4, or 1.15.
        assert!(distances[0].1.abs() < 4.0 && square < 2.5, "{problem}: {square}, {distances:?}");
    }
}

/// What is left out or taken wrongly is seen: by the answers that the other program gives then, too.
#[test]
fn each_mistake_moves_the_answers_as_it_should() {
    type Mistake = fn(&mut StudyParts);
    let mistakes: [(&str, Mistake, [f64; 3]); 6] = [
        // Cracks now, 95 % longest, chance of a loss in 5 years: one scramble of 65,536 cracks, some 0.3 % each.
        ("persistent effects", |parts| parts.techniques[0].crack_sigma = 0.0, [3.006, 7.613, 0.2324]),
        ("effects of crews", |parts| parts.techniques[0].inspection_sigma = 0.0, [2.848, 8.272, 0.2424]),
        ("false calls", |parts| parts.techniques[0].false_call_probability = 0.0, [3.012, 8.834, 0.2619]),
        ("bias of lengths", |parts| parts.techniques[0].sizing.length_bias = 1.0, [2.930, 8.529, 0.2384]),
        ("scatter of lengths", |parts| parts.techniques[0].sizing.length_sigma_log = 0.8, [2.877, 8.037, 0.2050]),
        ("growth of rows", |parts| parts.growth[0].row_sigma_log = 0.0, [3.072, 8.429, 0.1949]),
    ];
    let learning = Learning { draws: 160, cracks: 2048, repeats: 4, asked: 160, seed: 3, threads: 0 };
    let right = expected("b");
    let right = |wanted: &str| right.iter().find(|(quantity, _)| quantity == wanted).expect("one").1.value;
    let right = ["cracks_present", "longest_95_mm", "p_loss_five"].map(right);
    let check = |what: &str, row: &RowBelief, study: &Study, wrong: [f64; 3]| {
        let ours = ["cracks_present", "longest_95_mm", "p_loss_five"].map(|quantity| of_row(study, row, quantity));
        let furthest =
            ours.iter().zip(&right).map(|(ours, right)| (ours.value / right - 1.0).abs()).fold(0.0, f64::max);
        assert!(furthest > 0.03, "{what}: {ours:?} are the right answers");
        for (ours, wrong) in ours.iter().zip(wrong) {
            let error = ours.standard_error.hypot(0.004 * wrong);
            assert!((ours.value - wrong).abs() < 4.0 * error, "{what}: {ours:?} and {wrong}");
        }
    };
    for (what, mistake, wrong) in mistakes {
        let mut parts = study("b").into_parts();
        mistake(&mut parts);
        let study = Study::new(parts).expect("a good study");
        let belief = believed(&study, &records("b"), &learning).belief;
        check(what, &belief.rows[0], &study, wrong);
    }
    // New blades taken to be as old as the row.
    let study = study("b");
    let mut pasts = RowPast::all(&study, &records("b")).expect("histories");
    pasts[0].history.kinds.iter_mut().for_each(|kind| kind.installed_year = 2004.0);
    let belief = study.given_now(&pasts, &learning).expect("a belief").belief;
    check("age of new blades", &belief.rows[0], &study, [3.272, 10.255, 0.2939]);
}

/// A row whose cracks stay as they are and are each called with one probability.
fn still(blades: u32, shape: f64, looks_at: &[f64], pod: f64) -> Study {
    let mut parts = study("a").into_parts();
    parts.scatter.row_factor = Distribution::Gamma { mean: 1.0, cov: shape.powf(-0.5) };
    // A year for each unit of hazard: the study starts with the last look.
    parts.initiation[0].shape = InitiationShape::Exponential { mean: 100.0 };
    parts.growth[0].coefficient_m_per_start = 1e-18;
    (parts.growth[0].crack_sigma_log, parts.growth[0].row_sigma_log) = (0.0, 0.0);
    let technique = &mut parts.techniques[0];
    technique.pod = PodCurve { q50_mm: 0.1, spread: 0.05, floor: 0.0, ceiling: pod, ..technique.pod };
    (technique.inspection_sigma, technique.crack_sigma, technique.false_call_probability) = (0.0, 0.0, 0.0);
    let last = looks_at.iter().copied().fold(0.0, f64::max);
    parts.start_year = 2004.0 + last + 1e-9;
    parts.units[0].duty[0].starts_per_year = 100.0;
    parts.units[0].outages.years = vec![parts.start_year + 1.0];
    parts.rows[0] = Row { blades, ..parts.rows[0].clone() };
    Study::new(parts).expect("a good study")
}

pub(super) fn looks(years: &[f64], blades: u32, called: u32) -> Records {
    let mut text = "row,blade,inspection,year,technique,called\n".to_owned();
    for (look, year) in years.iter().enumerate() {
        for blade in 1..=blades {
            let is_called = blade <= called && look + 1 == years.len();
            text.push_str(&format!("row,{blade},{look},{year},insitu,{}\n", if is_called { "yes" } else { "no" }));
        }
    }
    Records::parse(&text, "made by hand", &Format::default()).expect("good records")
}

/// Quadrature at forty digits: a gamma row factor, blades each cracked with 1 - exp(-Z H), called with one probability.
#[test]
fn rows_that_cracks_stand_still_in_are_exact() {
    let learning = Learning { draws: 32, cracks: 64, repeats: 2, asked: 1, seed: 1, threads: 1 };
    // A unit of hazard is a year; shape of the factor, blades, hazards at looks, POD, called.
    for (shape, blades, hazards, pod, called, expected) in [
        (2.0, 60, &[0.02][..], 1.0, 0, [0.390625, 0.625, 0.4419417382, 0.0, 1.0]),
        (2.0, 60, &[0.02], 0.7, 0, [0.4968694589, 0.7055587959, 0.4993816523, 0.2550704038, 0.7861722893]),
        (4.0, 80, &[0.03], 0.8, 5, [0.0400818673, 1.5369910698, 0.5131956573, f64::NAN, 0.5073301713]),
        (1.0, 60, &[0.01], 0.5, 1, [0.1779842541, 1.5425372167, 1.0921884851, 0.4550213429, 0.6625559596]),
        (2.0, 60, &[0.01, 0.02, 0.03], 0.6, 0, [0.341295086, 0.5845725576, f64::NAN, 0.2195101771, f64::NAN]),
        (2.0, 60, &[0.01, 0.03, 0.06, 0.1], 0.5, 0, [0.1059393916, f64::NAN, f64::NAN, 0.6010589243, f64::NAN]),
    ] {
        let years: Vec<f64> = hazards.iter().map(|hazard| 2004.0 + hazard).collect();
        let study = still(blades, shape, hazards, pod);
        // 100 starts make a mean life.
        let belief = believed(&study, &looks(&years, blades, called), &learning).belief;
        let row = &belief.rows[0];
        // Which blades were called is known here, how many there.
        let ways: f64 = (0..called).map(|k| f64::from(blades - k) / f64::from(k + 1)).product();
        let chance = belief.ln_evidence.value.exp() * ways;
        let ours = [chance, row.row_factor.mean.value, row.row_factor.sd.value, row.cracks.value, row.p_none.value];
        for (place, (ours, expected)) in ours.into_iter().zip(expected).enumerate() {
            // By the lattice of row factors, and by the moment between the last look and the start.
            let is_right = expected.is_nan() || (ours - expected).abs() < 2e-6 * expected.abs().max(0.1);
            assert!(is_right, "{blades} blades, {hazards:?}, {called} called, {place}: {ours} and {expected}");
        }
    }
}

/// Lives that go on: without looks, those of the problems; and those with planted cracks say what plain ones say.
#[test]
fn lives_go_on_from_what_is_believed() {
    let study = study("b");
    let learning = Learning { draws: 256, cracks: 2048, repeats: 4, asked: 32, seed: 4, threads: 0 };
    let given = believed(&study, &records("b"), &learning);
    let run = Run { trials: 40_000, planted_lives: 20_000, seed: 5, ..Run::default() };
    let comparison = given.study.simulate(&run).expect("lives");
    let (row, none) = (RowId(0), study.strategy_id("none").expect("one"));
    let both = comparison.plain_and_planted(row, none);
    let mut any = [[0.0; 2]; 2];
    for (what, plain, planted) in &both {
        let z = (plain.value - planted.value) / (plain.variance + planted.variance).sqrt();
        assert!(!(z.abs() > 4.0), "{what}: {plain:?} plain and {planted:?} planted");
        let is_early = (0..5).any(|year| *what == format!("first loss in year {year}"));
        if is_early {
            for (sum, answer) in any.iter_mut().zip([plain, planted]) {
                *sum = [sum[0] + answer.value, sum[1] + answer.variance];
            }
        }
    }
    let expected = expected("b").into_iter().find(|(quantity, _)| quantity == "p_loss_five").expect("one").1;
    // Of so many draws of the row, whose chances scatter by about as much as they are.
    let of_draws = 0.25 / 64.0;
    for [value, variance] in any {
        let error = (variance + of_draws * of_draws + expected.standard_error.powi(2)).sqrt();
        assert!((value - expected.value).abs() < 4.0 * error, "{value} +- {error}, not {}", expected.value);
    }
}

/// Under each rule of what is done with a called blade, lives with planted cracks say what plain ones say.
#[test]
fn lives_go_on_under_each_disposition() {
    let learning = Learning { draws: 128, cracks: 1024, repeats: 2, asked: 32, seed: 4, threads: 0 };
    for together in [1, 4] {
        let mut parts = study("b").into_parts();
        parts.roots[0].replaced_together = together;
        (parts.costs.dressing_cost, parts.costs.dressing_days) = (Some(1.0), Some(0.1));
        let depth_sizing = DepthSizing { bias: 1.0, sigma_log: 0.3, false_call_mm: Distribution::Fixed(0.5) };
        parts.techniques[0].depth_sizing = Some(depth_sizing);
        let dressing = Dressing { gone_probability: 0.8, life_factor: 0.1, at_most_depth_mm: 2.5, blades_out: false };
        let last = Disposition::last;
        for (id, dispositions) in [
            ("run-on", vec![Disposition::below_mm(4.0, Action::RunOn), last(Action::Replace)]),
            ("dress", vec![last(Action::Dress)]),
            ("by-depth", vec![Disposition::below_depth_mm(1.0, Action::Dress), last(Action::Replace)]),
            ("watch-by-depth", vec![Disposition::below_depth_mm(1.0, Action::Watch), last(Action::Replace)]),
        ] {
            let dresses = dispositions.iter().any(|rule| rule.action == Action::Dress);
            let dressing = dresses.then_some(dressing);
            parts.strategies.push(Strategy {
                id: id.to_owned(),
                dispositions,
                dressing,
                ..parts.strategies[1].clone()
            });
        }
        let study = Study::new(parts).expect("a good study");
        let given = believed(&study, &records("b"), &learning);
        // Years and strategies of one run hang together: a mean square of three runs scatters by about 0.2.
        let mut squares = Vec::new();
        let lived = |seed: u64| {
            let run = Run { trials: 20_000, planted_lives: 20_000, seed, ..Run::default() };
            given.study.simulate(&run).expect("lives")
        };
        let runs = [6, 7, 8].map(lived);
        for comparison in &runs {
            for strategy in comparison.study.strategy_ids() {
                let id = &comparison.study.strategy(strategy).id;
                for (what, plain, planted) in comparison.plain_and_planted(RowId(0), strategy) {
                    if plain.value.max(planted.value) * 20_000.0 > 20.0 {
                        let z = (plain.value - planted.value) / (plain.variance + planted.variance).sqrt();
                        assert!(
                            z.abs() < 4.0,
                            "{together} together, {id}: {what}: {plain:?} plain and {planted:?} planted"
                        );
                        squares.push(z * z);
                    }
                }
            }
        }
        let comparison = &runs[0];
        let mean = squares.iter().sum::<f64>() / squares.len() as f64;
        assert!(squares.len() > 60 && mean < 1.8, "{} distances with a mean square of {mean}", squares.len());
        // Dressing is not what replacing is: its places are lost again.
        let losses = |id: &str| comparison.fleet(study.strategy_id(id).expect("one"), Quantity::Losses);
        let (dress, replace) = (losses("dress"), losses("insitu-every"));
        let error = dress.standard_error.hypot(replace.standard_error);
        assert!(dress.value - replace.value > 5.0 * error, "{dress:?} dressed, {replace:?} replaced");
    }
}

/// Under each rule about surfaces, blades at hand, time, samples and moments, lives with planted cracks say what plain ones say.
#[test]
fn lives_go_on_under_each_rule_of_work_and_time() {
    const LOOKS: &str = "looks = [{ techniques = [\"insitu\"], first_outage = 1, every_outages = 1 }]";
    let rules = [
        (
            "peened",
            "peening = [{ at_outages = [1], life_factor = 3, cost_per_row = 0, days_per_row = 0, blades_out = false }]",
        ),
        (
            "cleaned",
            "looks = [{ techniques = [\"insitu\"], cleaning = \"wiping\", first_outage = 1, every_outages = 1 }]",
        ),
        ("short-of-spares", "spares = [{ blades = 0, lead_days = 900, without = \"run-on-watched\" }]"),
        ("short-of-time", "when_window_closes = \"run-on-watched\""),
        (
            "stopped",
            "extra_look = { after_years = 0.7, techniques = [\"insitu\"], stop_cost = 0, stop_days = 0 }\nlook_after_loss = { of = \
             \"row\", techniques = [\"insitu\"] }",
        ),
        (
            "sampled",
            "looks = [{ techniques = [\"insitu\"], first_outage = 1, every_outages = 1, coverage = { blades = 7, chosen = \
             \"rotating\" }, escalation = { techniques = [\"insitu\"], first_call_stands = true } }]",
        ),
        ("fewer-starts", "starts_limit = { starts_per_year = 60, cost_per_year = 0 }"),
        ("put-off", "deferrals = [{ outage = 1, by_years = 1.5 }]"),
    ];
    let section = |(id, rule): &(&str, &str)| {
        let looks = if rule.starts_with("looks") { "" } else { LOOKS };
        format!(
            "[strategies.{id}]\ndescription = \"A rule.\"\n{looks}\ndispositions = [{{ action = \"replace\" }}]\nafter_loss = \
             \"replace-blade\"\n{rule}\n"
        )
    };
    let rules = "[cleaning.wiping]\nq50_factor = 0.6\n".to_owned() + &rules.iter().map(section).collect::<String>();
    // A look takes two days, and the window leaves time for one blade.
    let text = include_str!("../../../tests/engine/data/given/a.toml")
        .replace("window_days = 0", "window_days = 3")
        .replace("days_per_row = 0\n", "days_per_row = 2\n")
        .replace("new_blade_days = 0", "new_blade_days = 1");
    let study = Study::parse(&(text + &rules), "rules").unwrap_or_else(|error| panic!("{error}"));
    let learning = Learning { draws: 128, cracks: 1024, repeats: 2, asked: 32, seed: 4, threads: 0 };
    let given = believed(&study, &records("b"), &learning);
    let mut squares = Vec::new();
    for seed in [6, 7] {
        let run = Run { trials: 20_000, planted_lives: 20_000, seed, ..Run::default() };
        let comparison = given.study.simulate(&run).expect("lives");
        for strategy in comparison.study.strategy_ids() {
            let id = &comparison.study.strategy(strategy).id;
            for (what, plain, planted) in comparison.plain_and_planted(RowId(0), strategy) {
                if plain.value.max(planted.value) * 20_000.0 > 20.0 {
                    let z = (plain.value - planted.value) / (plain.variance + planted.variance).sqrt();
                    assert!(z.abs() < 4.0, "{id}: {what}: {plain:?} plain and {planted:?} planted");
                    squares.push(z * z);
                }
            }
        }
        // Each rule does something.
        let of = |id: &str, quantity| comparison.fleet(study.strategy_id(id).expect("one"), quantity).value;
        let losses = |id: &str| of(id, Quantity::Losses);
        assert!(losses("cleaned") < losses("insitu-every") && losses("sampled") > losses("insitu-every"));
        assert!(losses("peened") < losses("insitu-every") && losses("fewer-starts") < losses("insitu-every"));
        assert!(
            of("short-of-spares", Quantity::BladesRunOn) > 0.01 && of("short-of-time", Quantity::BladesRunOn) > 0.01
        );
        assert!(of("stopped", Quantity::ExtraStops) > 0.01 && losses("put-off") != losses("insitu-every"));
    }
    let mean = squares.iter().sum::<f64>() / squares.len() as f64;
    assert!(squares.len() > 120 && mean < 1.8, "{} distances with a mean square of {mean}", squares.len());
}

/// The study that comes of it is saved and read as any other, and holds for the inputs that it was learned under.
#[test]
fn what_is_believed_is_kept_in_the_study_and_nowhere_else() {
    let study = study("b");
    let learning = Learning { draws: 32, cracks: 64, repeats: 2, asked: 1, seed: 4, threads: 1 };
    let given = believed(&study, &records("b"), &learning).study;
    let text = given.to_toml();
    let again = Study::parse(&text, "again").expect("a good study");
    assert!(again == given && again.is_given_records() && given != study);
    let refused = given.given(&Records::none(), &learning).expect_err("a refusal").to_string();
    assert!(refused.contains("give all records, the earlier ones too"), "{refused}");
    let run = Run { trials: 600, seed: 1, ..Run::default() };
    let lived = |study: &Study| format!("{:?}", study.simulate(&run).expect("lives").table("by_row"));
    assert_eq!(lived(&given), lived(&again));
    // What its strategies do and cost may change; what its cracks do may not.
    let dear = again.with_values(&[("costs.new_blade_cost", "12")]).expect("a good study");
    assert!(dear.is_given_records());
    for (path, value) in [("growth.paris.exponent", "3.1"), ("techniques.insitu.pod.q50_mm", "2.9")] {
        let refused = again.with_values(&[(path, value)]).expect_err("a refusal").to_string();
        assert!(refused.contains("given.draws") && refused.contains("was learned under other inputs"), "{refused}");
    }
    let damaged = text.replace("draws = \"A", "draws = \"B");
    assert!(damaged != text);
    let refused = Study::parse(&damaged, "damaged").expect_err("a refusal").to_string();
    assert!(refused.contains("given.draws") && refused.contains("damaged"), "{refused}");
}

/// Finds that stand in the study itself say what records of the same looks say.
#[test]
fn finds_in_past_looks_count_as_those_of_records() {
    let learning = Learning { draws: 32, cracks: 64, repeats: 2, asked: 1, seed: 4, threads: 1 };
    let mut parts = study("b").into_parts();
    let look = |year: f64, lengths_mm: &[f64]| PastLook {
        year,
        technique: 0,
        found: Some(Found { blades: lengths_mm.len() as u32, measured_lengths_mm: lengths_mm.to_vec() }),
    };
    parts.rows[0].past_looks = vec![look(2014.0, &[]), look(2018.0, &[5.1, 3.4]), look(2022.0, &[6.3])];
    let study = Study::new(parts).expect("a good study");
    assert!(study.warnings()[0].contains("past_looks of row say what was found, which is not used"));
    let again = Study::parse(&study.to_toml(), "again").expect("a good study");
    assert!(again == study);
    let ours = study.given(&Records::none(), &learning).expect("a belief");
    let theirs = self::study("b").given(&records("b"), &learning).expect("a belief");
    // Blades have other numbers there, so that sums are added in another order.
    for (ours, theirs) in [
        (ours.belief.ln_evidence.value, theirs.belief.ln_evidence.value),
        (ours.belief.rows[0].cracks.value, theirs.belief.rows[0].cracks.value),
    ] {
        assert!((ours - theirs).abs() < 1e-9 * theirs.abs(), "{ours} and {theirs}");
    }
    assert!(ours.notes[0].starts_with("Which blades of row were called is not said"), "{:?}", ours.notes);
    assert!(theirs.notes.is_empty() && ours.study.warnings().iter().all(|warning| !warning.contains("not used")));
    // Records of the row stand above the study, which must not say otherwise.
    assert!(study.given(&records("b"), &learning).expect("a belief").belief == theirs.belief);
    let refused = |change: &dyn Fn(&mut StudyParts), records: &Records| {
        let mut parts = study.clone().into_parts();
        change(&mut parts);
        let changed = Study::new(parts).expect("a good study");
        changed.given(records, &learning).expect_err("a refusal").to_string()
    };
    let finds = |parts: &mut StudyParts| parts.rows[0].past_looks[0].found = None;
    assert!(refused(&finds, &Records::none()).contains("is said of 2 of 3 looks"));
    let more = |parts: &mut StudyParts| parts.rows[0].past_looks[1] = look(2018.0, &[5.1, 3.4, 2.0]);
    assert!(refused(&more, &records("b")).contains("2018 by insitu: 3 here, 2 in the records"));
    let together = |parts: &mut StudyParts| parts.rows[0].past_looks[2].year = 2018.0;
    assert!(refused(&together, &Records::none()).contains("2018 has finds by several techniques"));
}

/// Of blades that were renewed when a look found some, these were the found ones; then the oldest count.
#[test]
fn finds_are_of_blades_renewed_then_and_of_the_oldest() {
    let mut parts = study("b").into_parts();
    let look = |year: f64, blades: u32| PastLook {
        year,
        technique: 0,
        found: Some(Found { blades, measured_lengths_mm: vec![7.5; blades.min(1) as usize] }),
    };
    parts.rows[0].past_looks = vec![look(2014.0, 2), look(2018.0, 1)];
    parts.rows[0].renewed = vec![Renewal { year: 2010.0, blades: vec![1] }, Renewal { year: 2014.0, blades: vec![7] }];
    let study = Study::new(parts).expect("a good study");
    let none = Records::none();
    let records = study.with_found(&none).expect("records");
    let called = records.lines().iter().filter(|line| line.called);
    let called: Vec<(f64, &str, Option<f64>)> =
        called.map(|line| (line.when.year(), line.blade.as_str(), line.measured_length_mm)).collect();
    // The first blade is younger than the second, and those found in 2014 are gone.
    assert_eq!(called, [(2014.0, "2", None), (2014.0, "7", Some(7.5)), (2018.0, "3", Some(7.5))]);
}

#[test]
fn what_records_say_and_is_not_used_is_told() {
    let learning = Learning { draws: 32, cracks: 64, repeats: 2, asked: 1, seed: 4, threads: 1 };
    let text = "row,blade,inspection,year,technique,called,measured_length_mm,measured_depth_mm,side,confirmed_length_mm\n\
                row,1,a,2014,insitu,no,,,,\n\
                row,2,a,2014,insitu,yes,4.1,1.5,suction,4\n\
                row,3,a,2014,insitu,yes,4.1,1.5,,\n";
    let records = Records::parse(text, "a few", &Format::default()).expect("good records");
    let notes = study("b").given(&records, &learning).expect("a belief").notes;
    let expected = [
        "2 called lines with a depth, which is not used: lengths alone are weighed.",
        "1 called line with a place, which is not used: the crack may be at any hot spot.",
    ];
    assert_eq!(notes, expected);
}

/// All records count at once, in whatever order they come.
#[test]
fn the_order_of_records_changes_nothing() {
    let text = include_str!("../../../tests/engine/data/given/b.csv");
    let (header, lines) = text.split_once('\n').expect("a header");
    let backwards: Vec<&str> = lines.lines().rev().collect();
    let backwards = format!("{header}\n{}\n", backwards.join("\n"));
    let backwards = Records::parse(&backwards, "b", &Format::default()).expect("good records");
    let learning = Learning { draws: 32, cracks: 64, repeats: 2, asked: 1, seed: 4, threads: 1 };
    let [one, other] = [&records("b"), &backwards].map(|records| believed(&study("b"), records, &learning));
    assert!(one.belief == other.belief && one.study == other.study);
}

#[test]
fn lines_that_do_not_fit_the_study_are_refused_with_their_numbers() {
    let mut parts = study("a").into_parts();
    parts.roots[0].hot_spots[0].section = Some(Section { thickness_mm: 20.0, width_mm: 90.0 });
    parts.roots[0].hot_spots[0].limit = Limit::Depth { depth_mm: 4.0 };
    let study = Study::new(parts).expect("a good study");
    let text = "row,blade,inspection,year,technique,surface,called,measured_length_mm,side,cracked,confirmed_length_mm\n\
                row,1,a,2003,insitu,,no,,,,\n\
                row,2,b,2024,insitu,,no,,,,\n\
                other,1,c,2014,insitu,,no,,,,\n\
                row,1,c,2014,bench,,no,,,,\n\
                row,21,c,2014,insitu,,no,,,,\n\
                row,2,c,2014,insitu,peened,no,,,,\n\
                row,3,c,2014,insitu,,yes,91,,,\n\
                row,4,c,2014,insitu,,no,,suction,,\n\
                row,5,c,2015,insitu,,yes,3,,,\n\
                row,5,d,2015,insitu,,no,,,,\n\
                row,6,d,2016,insitu,,no,,,yes,\n";
    let records = Records::parse(text, "hostile", &Format::default()).expect("records that keep every rule");
    let error = study.given(&records, &Learning::default()).expect_err("a refusal");
    let told: Vec<(usize, &str)> =
        error.faults().iter().map(|fault| (fault.line.expect("a line"), fault.path.as_str())).collect();
    let expected = [
        (2, "year"),
        (3, "year"),
        (4, "row"),
        (5, "technique"),
        (6, "blade"),
        (7, "surface"),
        (8, "measured_length_mm"),
        (9, "side, serration, position"),
        (11, "blade, year"),
        (12, "cracked"),
    ];
    assert_eq!(told, expected, "{error}");
    for words in ["must be after the row entered service (2004)", "was replaced at that moment, by line 10", "90 mm"] {
        assert!(error.to_string().contains(words), "{words:?} in {error}");
    }
}

/// Chances of a loss to the next outage, some so rare that plain lives hardly see them: lives with planted cracks favour
/// those draws of a row that lose blades. Intervals hold the errors of the draws too.
#[test]
fn chances_of_a_loss_to_the_next_outage_are_those_that_others_found() {
    let study = study("c");
    let learning = Learning { draws: 192, cracks: 1024, repeats: 4, asked: 1, seed: 2, threads: 0 };
    let given = believed(&study, &records("c"), &learning).study;
    let risks = given.risks_unseen(1, &learning, &mut |_| ControlFlow::Continue(())).expect("chances");
    let expected = expected("c");
    for row in given.row_ids() {
        let quantity = format!("{}.p_loss_next", given.row(row).id);
        let expected = expected.iter().find(|(own, _)| *own == quantity).expect("one").1;
        let outages = &given.units[given.row(row).unit].outages.years;
        let next = outages.iter().find(|year| **year > given.start_year).expect("an outage") - given.start_year;
        let ours = risks[row.0].iter().find(|(years, _)| *years == next).expect("a chance").1;
        let error = ours.standard_error.hypot(expected.standard_error);
        assert!((ours.value - expected.value).abs() < 4.0 * error, "{quantity}: {ours:?}, not {expected:?}");
        assert!(ours.standard_error < 0.1 * ours.value, "{quantity}: {ours:?}");
    }
}
