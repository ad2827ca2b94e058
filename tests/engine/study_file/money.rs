//! What losses come to, what days cost, and limits on the chance of a loss: what is read, and what is refused.

use super::{assert_refused, spoiled};
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::economics::DayCost;

const LOSS_COST: &str = "loss_cost = { kind = \"gamma\", mean = 3000, cov = 0.5 }";
const END: &str = "outage_day_cost = 100";

fn read(edits: &[(&str, &str)]) -> Study {
    let study = Study::parse(&spoiled(edits), "small.toml").unwrap_or_else(|error| panic!("{error}"));
    let again = Study::parse(&study.to_toml(), "again.toml").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(again, study, "it comes back as it was written");
    study
}

#[test]
fn heavy_tails_seasons_and_limits_are_read_and_written() {
    let pareto = "loss_cost = { kind = \"pareto\", minimum = 900, tail_exponent = 1.5 }";
    let study = read(&[(LOSS_COST, pareto)]);
    let Distribution::Pareto { minimum, tail_exponent, capped_at } = study.costs.loss_cost else { panic!("a pareto") };
    assert_eq!((minimum, tail_exponent, capped_at), (900.0, 1.5, f64::INFINITY));
    let study = read(&[
        (LOSS_COST, "loss_cost = { kind = \"pareto\", minimum = 900, tail_exponent = 0.8, capped_at = 1e5 }"),
        ("loss_days = 50", "loss_days = { kind = \"outcomes\", values = [0, 30], probabilities = [0.25, 0.75] }"),
        (
            END,
            "outage_day_cost = [{ from_month = 11, cost = 200 }, { from_month = 4, cost = 80 }]
[limits]
row_loss_probability_per_year = 1e-4
fleet_loss_probability_per_year = 0.002
basis = \"the operator\"",
        ),
    ]);
    assert_eq!(study.costs.loss_days.mean(), 22.5);
    let DayCost::Seasons(seasons) = &study.costs.outage_day_cost else { panic!("seasons") };
    let months: Vec<(u32, f64)> = seasons.all().iter().map(|season| (season.from_month, season.cost)).collect();
    assert_eq!(months, [(4, 80.0), (11, 200.0)], "in order of their months");
    let limits = study.limits.as_ref().expect("limits");
    assert_eq!((limits.row, limits.unit, limits.fleet), (Some(1e-4), None, Some(0.002)));
}

#[test]
fn a_tail_without_a_variance_is_warned_of_and_one_without_a_mean_is_refused() {
    let pareto = |rest: &str| format!("loss_cost = {{ kind = \"pareto\", minimum = 900, tail_exponent = {rest} }}");
    let warned = |rest: &str| {
        let warnings = read(&[(LOSS_COST, &pareto(rest))]).warnings();
        warnings.iter().any(|text| text.starts_with("costs.loss_cost has a tail_exponent of 2 or less and no cap"))
    };
    assert_eq!(["1.5", "2", "2.01", "1.5, capped_at = 1e6"].map(warned), [true, true, false, false]);
    assert_refused(
        &[(LOSS_COST, &pareto("1"))],
        "small.toml: 1 fault
  line 132, costs.loss_cost.tail_exponent = 1
    must exceed 1 where there is no cap: the mean of such a tail is infinite, and no number of lives tells it
    give capped_at, the most that it can come to, or raise tail_exponent above 1",
    );
    assert_refused(
        &[(LOSS_COST, &pareto("3, capped_at = 900"))],
        "small.toml: 1 fault
  line 132, costs.loss_cost.capped_at = 900
    must exceed minimum (900)
    raise capped_at, or lower minimum",
    );
}

#[test]
fn what_only_losses_come_to_is_refused_elsewhere() {
    assert_refused(
        &[(
            "kind = \"lognormal\", median = 0.3, sigma_log = 0.3",
            "kind = \"pareto\", minimum = 0.3, tail_exponent = 3",
        )],
        "small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm.kind = \"pareto\"
    must be \"normal\", \"lognormal\", \"weibull\", \"gamma\", \"uniform\" or \"triangular\"
    choose one of them",
    );
}

#[test]
fn outcomes_that_do_not_fit_are_refused() {
    let with = |rest: &str| format!("loss_cost = {{ kind = \"outcomes\", {rest} }}");
    assert_refused(
        &[(LOSS_COST, &with("values = [1, 3, 20], probabilities = [0.6, 0.3, 0.2]"))],
        "small.toml: 1 fault
  line 132, costs.loss_cost.probabilities = [0.6, 0.3, 0.2]
    sum of probabilities = 1.0999999999999999: must be 1
    correct the probabilities",
    );
    assert_refused(
        &[(LOSS_COST, &with("values = [3, 1], probabilities = [0.5, 0.5]"))],
        "small.toml: 1 fault
  line 132, costs.loss_cost.probabilities = [0.5, 0.5]
    values = 3 before 1: must rise
    sort them, each once, and their probabilities with them",
    );
}

#[test]
fn seasons_that_make_no_year_are_refused() {
    assert_refused(
        &[(END, "outage_day_cost = [{ from_month = 13, cost = 1 }, { from_month = 2, price = 2 }]")],
        "small.toml: 3 faults
  line 134, costs.outage_day_cost[1].from_month = 13
    must be at most 12
    lower from_month to 12 or less
  line 134, costs.outage_day_cost[2].cost
    is missing
    add cost: a number from 0 to 1e15
  line 134, costs.outage_day_cost[2].price = 2
    unknown key
    remove it; the keys here are from_month, cost",
    );
    assert_refused(
        &[(END, "outage_day_cost = [{ from_month = 4, cost = 1 }, { from_month = 4, cost = 2 }]")],
        "small.toml: 1 fault
  line 134, costs.outage_day_cost = [{ from_month = 4, cost = 1 }, { from_month = 4, cost = 2 }]
    seasons = 4: two seasons begin in this month
    leave one of them out",
    );
}

#[test]
fn limits_that_limit_nothing_are_refused() {
    assert_refused(
        &[(END, "outage_day_cost = 100\n[limits]\nbasis = \"nobody\"")],
        "small.toml: 1 fault
  line 135, limits
    must hold at least one limit
    give row_loss_probability_per_year, unit_loss_probability_per_year or fleet_loss_probability_per_year",
    );
    assert_refused(
        &[(END, "outage_day_cost = 100\n[limits]\nunit_loss_probability_per_year = 2")],
        "small.toml: 1 fault
  line 136, limits.unit_loss_probability_per_year = 2
    must be at most 1
    if 2 % is meant, write 0.02; else lower unit_loss_probability_per_year to 1 or less",
    );
}
