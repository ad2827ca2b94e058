//! Two studies lived by separately written programs that share no code and no random numbers with the engine:
//! `everything_on` by plain Python, outage by outage; `demo_fleet` by a compiled program that reads study files.
//! What they count, and how, stands in the head lines of their tables.

use super::support::{Distance, assert_agrees, count_distance};
use crate::support::{ByNumber, Lived};
use serrata::Study;
use serrata::model::StudyParts;
use serrata::simulation::{Comparison, Estimate, Quantity, Run};
use std::collections::BTreeMap;

/// One line of a table, by column.
type Line = BTreeMap<String, String>;

#[test]
fn one_row_with_nearly_everything_on_agrees_with_another_program() {
    assert_agrees("everything_on", &distances("everything_on", 100_000, 90_000.0, |study| study), 260);
}

#[test]
fn the_demonstration_fleet_agrees_with_another_program() {
    assert_agrees("demo_fleet", &distances("demo_fleet", 100_000, 2_000_000.0, |study| study), 3_200);
}

#[test]
#[should_panic(expected = "standard errors apart")]
fn a_wrong_price_of_a_row_is_noticed() {
    let slip = |mut study: StudyParts| {
        study.costs.new_row_cost *= 1.02;
        study
    };
    assert_agrees("everything_on", &distances("everything_on", 100_000, 90_000.0, slip), 260);
}

/// Compares every line of a table with what a study comes to.
fn distances(name: &str, trials: u64, other_trials: f64, change: impl Fn(StudyParts) -> StudyParts) -> Vec<Distance> {
    let folder = format!("{}/tests/engine/data", env!("CARGO_MANIFEST_DIR"));
    let study = change(Study::load(format!("{folder}/{name}.toml")).expect("a valid study").into_parts());
    let comparison = study.simulate(&Run { trials, seed: 20_271, ..Run::default() }).expect("a run");
    let path = format!("{folder}/{name}_expected.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).expect("a table");
    let lines = reader.deserialize().map(|line| line.expect("a line"));
    lines.filter_map(|line: Line| distance(&comparison, &line, other_trials)).collect()
}

/// The distance of one line; none for a mean length where no crack was left.
fn distance(comparison: &Comparison, line: &Line, other_trials: f64) -> Option<Distance> {
    let study = &comparison.study;
    let number = |column: &str| line[column].parse::<f64>().expect("a number");
    let strategy = study.strategies.iter().position(|other| other.id == line["strategy"]).expect("a strategy");
    let row_id = line.get("row").filter(|row| !row.is_empty());
    let row = row_id.map(|id| study.rows.iter().position(|other| other.id == *id).expect("a row"));
    // A study of one row: the fleet is the row.
    let only_row = row.or((study.rows.len() == 1).then_some(0));
    let quantity = line["quantity"].as_str();
    let after = |row: usize, year: f64| {
        let mut all = comparison.after_outages_of(row, strategy).into_iter();
        all.find(|after| (after.year - year).abs() < 1e-6).expect("an outage")
    };
    let ours = match quantity {
        "losses_in_year" => {
            let year = (number("year") - study.start_year) as usize;
            let years = match row {
                Some(row) => comparison.row_losses_of(row, strategy),
                None => comparison.fleet_losses_of(strategy),
            };
            years[year]
        }
        "cracks_left" | "cracks_after_outage" => after(only_row.expect("a row"), number("year")).cracks,
        "p_any_crack_after_outage" => after(only_row.expect("a row"), number("year")).p_any_crack,
        "mean_length_mm" | "mean_length_mm_after_outage" => {
            after(only_row.expect("a row"), number("year")).mean_length_mm?
        }
        "cracks_left_after_last_outage" => {
            let rows = 0..study.rows.len();
            let lasts =
                rows.filter_map(|row| comparison.after_outages_of(row, strategy).pop()).map(|after| after.cracks);
            // Rows are independent.
            lasts.reduce(|sum, cracks| Estimate {
                value: sum.value + cracks.value,
                standard_error: sum.standard_error.hypot(cracks.standard_error),
                ..sum
            })?
        }
        name => {
            let quantity = Quantity::ALL.into_iter().find(|quantity| quantity.name() == name).expect("a quantity");
            match row {
                Some(row) => comparison.row_of(row, strategy, quantity),
                None => comparison.fleet_of(strategy, quantity),
            }
        }
    };
    let (expected, error) = (number("value"), number("standard_error"));
    let trials = comparison.trials() as f64;
    let is_count = matches!(quantity, "losses_in_year" | "losses" | "p_any_loss");
    let z = if is_count && expected * trials < 400.0 {
        count_distance((ours.value * trials).round(), trials, expected, Some(other_trials))
    } else {
        // The scatter of a life is that of the program that saw more of it: losses are rare in some rows.
        let ours_by_theirs = error * (other_trials / trials).sqrt();
        let spread = ours.standard_error.max(ours_by_theirs).hypot(error);
        // What does not scatter is equal but for rounding in the table; a deviation of 1e-6 counts as 4.
        let floor = 2.5e-7 * expected.abs().max(1e-6);
        (ours.value - expected) / spread.max(floor)
    };
    let place = [row_id.map_or("", |id| id), &line["strategy"], quantity, &line["year"]].join(" ");
    Some(Distance { what: place, ours: ours.value, expected, z })
}
