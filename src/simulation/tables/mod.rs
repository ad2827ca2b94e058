//! A comparison as tables: named columns of equal length, ready for a data frame, a CSV or JSON.
//!
//! Long form: one line for each number, with its unit, its standard error and its 95 % interval; the columns that say what
//! it is of are the same in every table. A number that no trial showed never stands as a bare zero: its `high` is a bound
//! and its `note` says so.

mod notes;
mod table;

pub(crate) use notes::THIN_EVENTS;
pub use table::{Column, Table};

use super::estimate::{Comparison, Estimate, LONGEST_PROBABILITIES, quantile_mm};
use super::observe::Quantity;
use super::tally::LENGTH_BINS;
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use crate::model::StrategyId;
use crate::statistics::interval;
use notes::{note_of, without_error_if_unseen};
pub(crate) use table::{Cell, Head};

/// Names of every table, in the order in which they are best read.
pub const TABLES: [&str; 6] = ["summary", "by_row", "by_year", "by_outage", "differences", "rankings"];

/// Name, in tables, of the mean over rows of the chance that a row loses a blade.
const MEAN_ROW: &str = "p_any_loss_mean_row";
/// Name, in tables, of the number of cracks that stay in the fleet after each row's last outage.
const CRACKS_LEFT: &str = "cracks_left_after_last_outage";

/// Columns of every table of estimates.
const ESTIMATE_COLUMNS: [Head; 13] = [
    Head::Text("level"),
    Head::Text("row"),
    Head::Text("strategy"),
    Head::Number("year"),
    Head::Text("quantity"),
    Head::Number("probability"),
    Head::Text("unit"),
    Head::Number("value"),
    Head::Number("standard_error"),
    Head::Number("low"),
    Head::Number("high"),
    Head::Number("events"),
    Head::Text("note"),
];

/// One estimate, and what it is of.
#[derive(Clone, Copy)]
struct Line<'a> {
    /// The row; the fleet where there is none.
    row: Option<&'a str>,
    strategy: &'a str,
    /// Beginning of a study year, or the moment of an outage; not-a-number for the whole horizon.
    year: f64,
    quantity: &'a str,
    /// Of a quantile; else not-a-number.
    probability: f64,
    unit: &'a str,
    estimate: Estimate,
    note: &'a str,
}

impl<'a> Line<'a> {
    /// Over the fleet and the horizon.
    fn new(strategy: &'a str, quantity: &'a str, unit: &'a str, (estimate, note): (Estimate, &'a str)) -> Self {
        Line { row: None, strategy, year: f64::NAN, quantity, probability: f64::NAN, unit, estimate, note }
    }

    fn cells(&self) -> [Cell; ESTIMATE_COLUMNS.len()] {
        let Estimate { value, standard_error, low, high, events } = self.estimate;
        [
            if self.row.is_some() { "row" } else { "fleet" }.into(),
            self.row.unwrap_or("").into(),
            self.strategy.into(),
            self.year.into(),
            self.quantity.into(),
            self.probability.into(),
            self.unit.into(),
            value.into(),
            standard_error.into(),
            low.into(),
            high.into(),
            events.into(),
            self.note.into(),
        ]
    }
}

impl Comparison {
    /// One of the [`TABLES`], by name.
    ///
    /// `summary`: every quantity over the fleet and the horizon, for each strategy. `by_row`: the
    /// same for each row. `by_year`: losses in each study year, for the fleet and each row.
    /// `by_outage`: what is in each row just after each outage. `differences`: each strategy
    /// against the baseline, paired trial by trial. `rankings`: the strategies in order. All but the last have the
    /// same columns, so that their lines can be put together.
    ///
    /// # Errors
    /// Refuses an unknown name, and lists the known ones.
    pub fn table(&self, name: &str) -> Result<Table> {
        match name {
            "summary" => Ok(self.summary()),
            "by_row" => Ok(self.by_row()),
            "by_year" => Ok(self.by_year()),
            "by_outage" => Ok(self.by_outage()),
            "differences" => Ok(self.difference_table()),
            "rankings" => Ok(self.ranking_table()),
            _ => Err(Error::argument(
                "table",
                format!("{name:?}"),
                "is not the name of a table",
                &format!("choose one of {}", TABLES.join(", ")),
            )),
        }
    }

    fn summary(&self) -> Table {
        let mut table = Table::new("summary", &ESTIMATE_COLUMNS);
        for strategy_id in self.study.strategy_ids() {
            let strategy = self.study.strategy(strategy_id);
            let mut add = |quantity: &str, unit: &str, noted: (Estimate, &str)| {
                table.line(Line::new(&strategy.id, quantity, unit, noted).cells());
            };
            for (name, unit, estimate) in [
                (MEAN_ROW, "probability", self.mean_row(strategy_id)),
                (CRACKS_LEFT, "count", self.cracks_left(strategy_id)),
            ] {
                add(name, unit, (estimate, note_of(&estimate)));
            }
            for quantity in Quantity::ALL {
                let noted =
                    self.noted(strategy, &self.tally.fleet[strategy_id.0], quantity, self.fleet(strategy_id, quantity));
                add(quantity.name(), self.unit(quantity), noted);
            }
        }
        table
    }

    fn by_row(&self) -> Table {
        let mut table = Table::new("by_row", &ESTIMATE_COLUMNS);
        for row_id in self.study.row_ids() {
            let row = self.study.row(row_id);
            for strategy_id in self.study.strategy_ids() {
                let strategy = self.study.strategy(strategy_id);
                let sums = &self.row_sums(row_id, strategy_id).lives;
                for quantity in Quantity::ALL {
                    let noted = self.noted(strategy, sums, quantity, self.row(row_id, strategy_id, quantity));
                    let line = Line::new(&strategy.id, quantity.name(), self.unit(quantity), noted);
                    table.line(Line { row: Some(&row.id), ..line }.cells());
                }
            }
        }
        table
    }

    fn by_year(&self) -> Table {
        let mut table = Table::new("by_year", &ESTIMATE_COLUMNS);
        for strategy_id in self.study.strategy_ids() {
            let strategy = self.study.strategy(strategy_id);
            let mut add = |row: Option<&str>, losses: Vec<Estimate>, any: Vec<Estimate>| {
                for (year, (losses, any)) in losses.into_iter().zip(any).enumerate() {
                    let year = self.study.start_year + year as f64;
                    let losses = Estimate { low: losses.low.max(0.0), events: any.events, ..losses };
                    for (quantity, unit, estimate) in
                        [(Quantity::Losses, "count", losses), (Quantity::AnyLoss, "probability", any)]
                    {
                        let noted = (without_error_if_unseen(estimate), note_of(&any));
                        let line = Line::new(&strategy.id, quantity.name(), unit, noted);
                        table.line(Line { row, year, ..line }.cells());
                    }
                }
            };
            add(None, self.fleet_losses_by_year(strategy_id), self.fleet_any_loss_by_year(strategy_id));
            for row_id in self.study.row_ids() {
                let row = self.study.row(row_id);
                let losses = self.row_losses_by_year(row_id, strategy_id);
                add(Some(&row.id), losses, self.row_any_loss_by_year(row_id, strategy_id));
            }
        }
        table
    }

    fn by_outage(&self) -> Table {
        let mut table = Table::new("by_outage", &ESTIMATE_COLUMNS);
        for row_id in self.study.row_ids() {
            let row = self.study.row(row_id);
            for strategy_id in self.study.strategy_ids() {
                let strategy = self.study.strategy(strategy_id);
                let sums = self.row_sums(row_id, strategy_id);
                let bins = sums.longest.chunks_exact(LENGTH_BINS);
                for (after, bins) in self.after_outages(row_id, strategy_id).into_iter().zip(bins) {
                    let any = without_error_if_unseen(after.p_any_crack);
                    let cracks = if any.events == 0.0 {
                        Estimate { standard_error: f64::NAN, high: any.high, ..after.cracks }
                    } else {
                        Estimate { low: after.cracks.low.max(0.0), ..after.cracks }
                    };
                    let cracks = Estimate { events: any.events, ..cracks };
                    let mean_length_mm = after.mean_length_mm.unwrap_or(NOTHING);
                    let mut add = |quantity: &str, unit: &str, noted: (Estimate, &str), probability: f64| {
                        let line = Line::new(&strategy.id, quantity, unit, noted);
                        table.line(Line { row: Some(&row.id), year: after.year, probability, ..line }.cells());
                    };
                    let note = note_of(&any);
                    add("cracks", "count", (cracks, note), f64::NAN);
                    add("p_any_crack", "probability", (any, note), f64::NAN);
                    add("mean_length_mm", "mm", (mean_length_mm, ""), f64::NAN);
                    for (value, probability) in after.longest_mm.into_iter().zip(LONGEST_PROBABILITIES) {
                        let (low, high) = self.quantile_interval_mm(bins, probability);
                        add("longest_mm", "mm", (Estimate { value, low, high, ..NOTHING }, ""), probability);
                    }
                }
            }
        }
        table
    }

    fn difference_table(&self) -> Table {
        let mut heads = ESTIMATE_COLUMNS.to_vec();
        heads.extend([Head::Text("baseline"), Head::Number("unpaired_standard_error")]);
        let mut table = Table::new("differences", &heads);
        let baseline = self.study.strategy(self.study.baseline).id.as_str();
        for strategy_id in self.study.strategy_ids() {
            let strategy = self.study.strategy(strategy_id);
            if strategy_id == self.study.baseline {
                continue;
            }
            for difference in self.differences(strategy_id) {
                let quantity = difference.quantity;
                let noted = self.noted_difference(&difference);
                let line = Line::new(&strategy.id, quantity.name(), self.unit(quantity), noted);
                let others = [baseline.into(), difference.unpaired_standard_error.into()];
                table.line(line.cells().into_iter().chain(others));
            }
        }
        table
    }

    fn ranking_table(&self) -> Table {
        let heads = [Head::Text("strategy"), Head::Text("quantity"), Head::Count("place")];
        let mut table = Table::new("rankings", &[&heads[..], &[Head::Number("confidence_in_first")]].concat());
        for ranking in self.rankings() {
            for (place, &strategy) in (1..).zip(&ranking.order) {
                let id = self.study.strategy(strategy).id.as_str();
                table.line([id.into(), ranking.quantity.name().into(), Cell::Count(place), ranking.confidence.into()]);
            }
        }
        table
    }

    /// Mean over rows of the chance that a row loses any blade.
    ///
    /// Rows live independently given the study's inputs, so that lives of all rows count as trials
    /// of one proportion; where rows differ its exact interval is a little too wide, never too narrow.
    fn mean_row(&self, strategy: StrategyId) -> Estimate {
        let count = self.study.rows.len();
        let rows: Vec<Estimate> = self.study.row_ids().map(|row| self.row(row, strategy, Quantity::AnyLoss)).collect();
        let events: f64 = rows.iter().map(|row| row.events).sum();
        let (low, high) = interval::exact_proportion(events, self.tally.trials as f64 * count as f64, 0.95);
        let variance: f64 = rows.iter().map(|row| row.standard_error * row.standard_error).sum();
        let value = rows.iter().map(|row| row.value).sum::<f64>() / count as f64;
        let estimate = Estimate { value, standard_error: variance.sqrt() / count as f64, low, high, events };
        without_error_if_unseen(estimate)
    }

    /// 95 % interval of a quantile: the quantiles at the ends of the interval of its rank.
    fn quantile_interval_mm(&self, bins: &[f64], probability: f64) -> (f64, f64) {
        let reach = normal_quantile(0.975) * (probability * (1.0 - probability) / self.tally.trials as f64).sqrt();
        (quantile_mm(bins, (probability - reach).max(0.0)), quantile_mm(bins, (probability + reach).min(1.0)))
    }

    /// Cracks in the fleet after each row's last outage; rows live independently, so variances add.
    fn cracks_left(&self, strategy: StrategyId) -> Estimate {
        let (mut value, mut variance, mut seen) = (0.0, 0.0, 0.0);
        for row in self.study.row_ids() {
            if let Some(last) = self.after_outages(row, strategy).last() {
                value += last.cracks.value;
                variance += last.cracks.standard_error * last.cracks.standard_error;
                seen += last.p_any_crack.events;
            }
        }
        if seen == 0.0 {
            let high = interval::exact_proportion(0.0, self.tally.trials as f64, 0.95).1;
            return Estimate { value, standard_error: f64::NAN, low: 0.0, high, events: 0.0 };
        }
        let (standard_error, reach) = (variance.sqrt(), normal_quantile(0.975) * variance.sqrt());
        Estimate { value, standard_error, low: (value - reach).max(0.0), high: value + reach, events: f64::NAN }
    }
}

/// Where there is nothing to estimate.
const NOTHING: Estimate =
    Estimate { value: f64::NAN, standard_error: f64::NAN, low: f64::NAN, high: f64::NAN, events: f64::NAN };

#[cfg(test)]
mod tests {
    use super::notes::NONE_SEEN;
    use super::*;
    use crate::model::Study;
    use crate::simulation::Run;

    fn comparison(study: &str, trials: u64) -> Comparison {
        let study = Study::parse(study, "test").expect("a good study");
        study.simulate(&Run { trials, seed: 3, ..Run::default() }).expect("a good run")
    }

    #[test]
    fn every_table_is_there_and_its_columns_are_equally_long() {
        let comparison = comparison(include_str!("../../../tests/engine/data/y2.toml"), 300);
        for name in TABLES {
            let table = comparison.table(name).expect("a known name");
            assert_eq!(table.name, name);
            assert!(!table.is_empty(), "{name}");
            for (column, cells) in &table.columns {
                let length = match cells {
                    Column::Text(texts) => texts.len(),
                    Column::Number(numbers) => numbers.len(),
                    Column::Count(counts) => counts.len(),
                };
                assert_eq!(length, table.len(), "{name}.{column}");
            }
        }
        assert!(comparison.table("summaries").is_err());
    }

    #[test]
    fn every_note_of_nothing_seen_stands_beside_a_bound() {
        let comparison = comparison(include_str!("../../../tests/engine/data/y1a.toml"), 300);
        let table = comparison.table("summary").expect("a known name");
        let (Some(Column::Text(notes)), Some(Column::Number(highs)), Some(Column::Number(values))) =
            (table.column("note"), table.column("high"), table.column("value"))
        else {
            panic!("columns are missing");
        };
        let unseen: Vec<usize> = (0..table.len()).filter(|&line| notes[line] == NONE_SEEN).collect();
        assert!(unseen.iter().all(|&line| values[line] == 0.0));
        // A study without prices and days has a bound of zero on what losses cost.
        assert!(unseen.iter().filter(|&&line| highs[line] > 0.0).count() >= 3 * 2);
    }

    #[test] // a constant summed over trials leaves a scatter of rounding alone
    fn what_is_the_same_in_every_trial_has_no_scatter() {
        let priced =
            include_str!("../../../tests/engine/data/y1a.toml").replace("cost_per_row = 0", "cost_per_row = 0.1");
        let comparison = comparison(&priced, 300);
        let Some(Column::Number(errors)) =
            comparison.table("summary").ok().and_then(|t| t.column("standard_error").cloned())
        else {
            panic!("the column is missing");
        };
        assert!(errors.iter().all(|error| error.is_nan() || *error == 0.0 || *error > 1e-6), "{errors:?}");
    }
}
