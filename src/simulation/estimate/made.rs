//! Comparisons made of known numbers, to hold what is shown of them against the textbook.

use super::Comparison;
use crate::model::strategy::{Action, AfterLoss, Disposition, Strategy};
use crate::model::{RowId, Study};
use crate::simulation::observe::{LifeRecord, NOTHING, Quantity, Values};
use crate::simulation::plan::RowPlan;
use crate::simulation::tally::{FleetRecord, Tally};
use crate::simulation::{Ended, Run};

pub(crate) const TRIALS: usize = 8;
pub(crate) const STRATEGIES: usize = 7;
pub(crate) const YEARS: usize = 3;
pub(crate) const OUTAGES: usize = 7;
/// Row "row" and row "second".
pub(crate) const ROWS: [RowId; 2] = [RowId(0), RowId(1)];

/// Whole numbers without a pattern.
fn number(trial: usize, strategy: usize, what: usize, most: usize) -> f64 {
    ((trial * trial * 7 + strategy * 5 + trial * strategy * 3 + what * 11 + trial * what) % (most + 1)) as f64
}

/// What a trial comes to on a row under a strategy. Days are the same in every trial, and the first two strategies have as
/// many; the sixth is without losses, and the last has one more than the first in every trial.
pub(crate) fn row_values(row: usize, trial: usize, strategy: usize) -> Values {
    let mut values: Values = std::array::from_fn(|what| number(trial + row, strategy, what, 12));
    values[Quantity::Losses as usize] = match strategy {
        5 => 0.0,
        6 => number(trial + row, 0, 1, 3) + if row == 0 { 1.0 } else { 0.0 },
        _ => number(trial + row, strategy, 1, 3),
    };
    values[Quantity::AnyLoss as usize] = values[Quantity::Losses as usize].min(1.0);
    values[Quantity::Escalated as usize] = number(trial + row, strategy, 2, 1);
    values[Quantity::Cost as usize] = number(trial + row, strategy, 9, 12) + if strategy == 3 { 0.0 } else { 6.0 };
    values[Quantity::Days as usize] = strategy.max(1) as f64;
    values
}

/// The same of both rows.
pub(crate) fn fleet_values(trial: usize, strategy: usize) -> Values {
    let [one, other] = [0, 1].map(|row| row_values(row, trial, strategy));
    let mut values: Values = std::array::from_fn(|what| one[what] + other[what]);
    for probability in [Quantity::AnyLoss, Quantity::Escalated] {
        values[probability as usize] = values[probability as usize].min(1.0);
    }
    values
}

/// What a loss costs: a little more than the mean.
const LOSS_VALUE: f64 = 1.1 * (4000.0 + 60.0 * 110.0);

/// The study year in which all losses of a row are, in a trial.
pub(crate) fn loss_year(row: usize, trial: usize) -> usize {
    (trial + row) % 2
}

/// Cracks, their total length and the longest after an outage; none after the first one, nor under the last strategy.
pub(crate) fn left(row: usize, trial: usize, strategy: usize, outage: usize) -> [f64; 3] {
    let is_empty = outage == 0 || strategy + 1 == STRATEGIES;
    let cracks = if is_empty { 0.0 } else { number(trial + row, strategy, outage, 3) };
    [cracks, cracks * (1.0 + number(trial + row, strategy, outage, 4)), 2.0 * cracks]
}

/// A row with nearly everything on, twice; seven strategies, of which the last does nothing.
fn study() -> Study {
    let text = include_str!("../../../tests/engine/data/everything_on.toml");
    let mut study = Study::parse(text, "study").expect("a good study").into_parts();
    let mut second = study.rows[0].clone();
    second.id = "second".to_owned();
    study.rows.push(second);
    study.techniques[0].false_call_probability = 0.0;
    // One replaces rows after losses alone, another one by indications alone.
    let replace = |action: Action| vec![Disposition::last(action)];
    study.strategies[2].dispositions = replace(Action::Replace);
    study.strategies[4].dispositions = replace(Action::ReplaceRow);
    let none = Strategy { id: "none".to_owned(), looks: Vec::new(), ..study.strategies[1].clone() };
    study.strategies.push(Strategy { after_loss: AfterLoss::ReplaceBlade, ..none });
    Study::of_checked(study)
}

fn of_numbers(
    trials: usize,
    values: impl Fn(usize, usize, usize) -> Values,
    left: impl Fn(usize, usize, usize, usize) -> [f64; 3],
) -> Comparison {
    let study = study();
    let rows = RowPlan::all(&study).expect("good rows");
    let mut tally = Tally::new(&rows, 1, STRATEGIES, YEARS);
    let mut record = LifeRecord::new(&study, &rows[0].nature.calendar);
    for trial in 0..trials {
        let mut fleet = FleetRecord::new(STRATEGIES);
        let mut units = vec![Vec::new(); STRATEGIES];
        for (row, strategy) in (0..2).flat_map(|row| (0..STRATEGIES).map(move |strategy| (row, strategy))) {
            record.values = values(row, trial, strategy);
            record.whole = [Quantity::Cost, Quantity::Days].map(|quantity| record.values[quantity as usize]);
            let losses = record.values[Quantity::Losses as usize] as usize;
            record.loss_years = vec![loss_year(row, trial) as u32; losses];
            record.loss_spots = (0..losses as u32).map(|loss| loss % 2).collect();
            record.lost_value = LOSS_VALUE * losses as f64;
            for outage in 0..OUTAGES {
                let lists = &mut record.cracks_left;
                let lists = [&mut lists.cracks, &mut lists.total_mm, &mut lists.longest_mm];
                for (list, number) in lists.into_iter().zip(left(row, trial, strategy, outage)) {
                    list.as_flattened_mut()[outage] = number;
                }
            }
            tally.add_life(row, strategy, &mut record);
            fleet.add(strategy, &record);
            units[strategy].push(record.clone());
        }
        units.iter().enumerate().for_each(|(strategy, records)| tally.add_unit(0, strategy, records));
        tally.add_trial(&mut fleet);
        tally.tries.iter_mut().for_each(|tries| *tries += 2);
    }
    let run = Run { trials: trials as u64, ..Run::default() };
    Comparison::of(&study, &run, tally, Ended::Lived)
}

/// Of the numbers above.
pub(crate) fn comparison(trials: usize) -> Comparison {
    of_numbers(trials, row_values, left)
}

/// Of trials in which nothing happens and nothing is paid.
pub(crate) fn of_nothing(trials: usize) -> Comparison {
    of_numbers(trials, |_, _, _| NOTHING, |_, _, _, _| [0.0; 3])
}

/// The mean of numbers, and its standard error, by the textbook.
pub(crate) fn mean(numbers: &[f64]) -> [f64; 2] {
    let n = numbers.len() as f64;
    let mean = numbers.iter().sum::<f64>() / n;
    let spread: f64 = numbers.iter().map(|number| (number - mean).powi(2)).sum();
    [mean, (spread / (n - 1.0) / n).sqrt()]
}

/// A number of each trial.
pub(crate) fn all(of: impl Fn(usize) -> f64) -> Vec<f64> {
    (0..TRIALS).map(of).collect()
}

#[track_caller]
pub(crate) fn assert_equal(ours: f64, expected: f64) {
    assert!((ours - expected).abs() < 1e-9 * (1.0 + expected.abs()), "{ours} and {expected}");
}
