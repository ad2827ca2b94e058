//! A comparison as tables: named columns of equal length, ready for a data frame, a CSV or JSON.
//!
//! Long form: one line for each number, with its unit, its standard error and its 95 % interval.
//! A number that no trial showed never stands as a bare zero: its `high` is a bound and its `note`
//! says so.

mod notes;
mod table;

pub(crate) use notes::THIN_EVENTS;
pub use table::{Column, Table};

use super::estimate::{Comparison, Estimate, LONGEST_PROBABILITIES, quantile_mm};
use super::observe::Quantity;
use super::tally::LENGTH_BINS;
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use crate::statistics::interval;
use notes::{note_of, without_error_if_unseen};
pub(crate) use table::{Cell, Head};

/// Names of every table, in the order in which they are best read.
pub const TABLES: [&str; 6] = ["summary", "by_row", "by_year", "by_outage", "differences", "rankings"];

/// Name, in tables, of the mean over rows of the chance that a row loses a blade.
const MEAN_ROW: &str = "p_any_loss_mean_row";
/// Name, in tables, of the number of cracks that stay in the fleet after each row's last outage.
const CRACKS_LEFT: &str = "cracks_left_after_last_outage";

/// Columns of the quantiles of [`LONGEST_PROBABILITIES`], each with its interval.
const LONGEST_COLUMNS: [[&str; 3]; 4] = [
    ["longest_mm_50", "longest_mm_50_low", "longest_mm_50_high"],
    ["longest_mm_90", "longest_mm_90_low", "longest_mm_90_high"],
    ["longest_mm_95", "longest_mm_95_low", "longest_mm_95_high"],
    ["longest_mm_99", "longest_mm_99_low", "longest_mm_99_high"],
];

impl Comparison {
    /// One of the [`TABLES`], by name.
    ///
    /// `summary`: every quantity over the fleet and the horizon, for each strategy. `by_row`: the
    /// same for each row. `by_year`: losses in each study year, for the fleet and each row.
    /// `by_outage`: what is in each row just after each outage. `differences`: each strategy
    /// against the baseline, paired trial by trial. `rankings`: the strategies in order.
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
        let mut table = Table::new("summary", &[Head::Text("strategy")], &QUANTITY_COLUMNS);
        for (index, strategy) in self.study.strategies.iter().enumerate() {
            let mean_row = self.mean_row(index);
            let note = note_of(&mean_row);
            table.line([strategy.id.as_str().into()], quantity_cells(MEAN_ROW, "probability", (mean_row, note)));
            let left = self.cracks_left(index);
            let note = note_of(&left);
            table.line([strategy.id.as_str().into()], quantity_cells(CRACKS_LEFT, "count", (left, note)));
            for quantity in Quantity::ALL {
                let noted = self.noted(strategy, &self.tally.fleet[index], quantity, self.fleet(index, quantity));
                table.line([strategy.id.as_str().into()], quantity_cells(quantity.name(), self.unit(quantity), noted));
            }
        }
        table
    }

    fn by_row(&self) -> Table {
        let mut table = Table::new("by_row", &[Head::Text("row"), Head::Text("strategy")], &QUANTITY_COLUMNS);
        for (row_index, row) in self.study.rows.iter().enumerate() {
            for (index, strategy) in self.study.strategies.iter().enumerate() {
                let sums = &self.tally.rows[row_index * self.study.strategies.len() + index].lives;
                for quantity in Quantity::ALL {
                    let noted = self.noted(strategy, sums, quantity, self.row(row_index, index, quantity));
                    let names = [row.id.as_str().into(), strategy.id.as_str().into()];
                    table.line(names, quantity_cells(quantity.name(), self.unit(quantity), noted));
                }
            }
        }
        table
    }

    fn by_year(&self) -> Table {
        let names = [Head::Text("level"), Head::Text("row"), Head::Text("strategy"), Head::Number("year")];
        let mut columns = estimate_columns(["losses", "losses_standard_error", "losses_low", "losses_high"]).to_vec();
        columns.extend(estimate_columns([
            "p_any_loss",
            "p_any_loss_standard_error",
            "p_any_loss_low",
            "p_any_loss_high",
        ]));
        columns.extend([Head::Number("events"), Head::Text("note")]);
        let mut table = Table::new("by_year", &names, &columns);
        for (index, strategy) in self.study.strategies.iter().enumerate() {
            let mut add = |level: &str, row: &str, losses: Vec<Estimate>, any: Vec<Estimate>| {
                for (year, (losses, any)) in losses.into_iter().zip(any).enumerate() {
                    let names = [
                        level.into(),
                        row.into(),
                        strategy.id.as_str().into(),
                        (self.study.start_year + year as f64).into(),
                    ];
                    let note = note_of(&any);
                    let losses = Estimate { low: losses.low.max(0.0), events: any.events, ..losses };
                    let [losses, any] = [losses, any].map(without_error_if_unseen);
                    let mut cells = estimate_cells(losses).to_vec();
                    cells.extend(estimate_cells(any));
                    table.line(names, cells.into_iter().chain([any.events.into(), note.into()]));
                }
            };
            add("fleet", "", self.fleet_losses_by_year(index), self.fleet_any_loss_by_year(index));
            for (row_index, row) in self.study.rows.iter().enumerate() {
                let losses = self.row_losses_by_year(row_index, index);
                add("row", &row.id, losses, self.row_any_loss_by_year(row_index, index));
            }
        }
        table
    }

    fn by_outage(&self) -> Table {
        let names = [Head::Text("row"), Head::Text("strategy"), Head::Number("year")];
        let mut columns = estimate_columns(["cracks", "cracks_standard_error", "cracks_low", "cracks_high"]).to_vec();
        columns.extend(estimate_columns([
            "p_any_crack",
            "p_any_crack_standard_error",
            "p_any_crack_low",
            "p_any_crack_high",
        ]));
        columns.extend(estimate_columns([
            "mean_length_mm",
            "mean_length_mm_standard_error",
            "mean_length_mm_low",
            "mean_length_mm_high",
        ]));
        columns.extend(LONGEST_COLUMNS.as_flattened().iter().map(|name| Head::Number(name)));
        columns.extend([Head::Number("events"), Head::Text("note")]);
        let mut table = Table::new("by_outage", &names, &columns);
        for (row_index, row) in self.study.rows.iter().enumerate() {
            for (index, strategy) in self.study.strategies.iter().enumerate() {
                let sums = &self.tally.rows[row_index * self.study.strategies.len() + index];
                let bins = sums.longest.chunks_exact(LENGTH_BINS);
                for (after, bins) in self.after_outages(row_index, index).into_iter().zip(bins) {
                    let any = without_error_if_unseen(after.p_any_crack);
                    let cracks = if any.events == 0.0 {
                        Estimate { standard_error: f64::NAN, high: any.high, ..after.cracks }
                    } else {
                        Estimate { low: after.cracks.low.max(0.0), ..after.cracks }
                    };
                    let names = [row.id.as_str().into(), strategy.id.as_str().into(), after.year.into()];
                    let mut cells = estimate_cells(cracks).to_vec();
                    cells.extend(estimate_cells(any));
                    cells.extend(estimate_cells(after.mean_length_mm.unwrap_or(NOTHING)));
                    for (longest_mm, probability) in after.longest_mm.into_iter().zip(LONGEST_PROBABILITIES) {
                        let (low, high) = self.quantile_interval_mm(bins, probability);
                        cells.extend([longest_mm, low, high].map(Cell::Number));
                    }
                    table.line(names, cells.into_iter().chain([any.events.into(), note_of(&any).into()]));
                }
            }
        }
        table
    }

    fn difference_table(&self) -> Table {
        let names = [Head::Text("strategy"), Head::Text("baseline"), Head::Text("quantity"), Head::Text("unit")];
        let mut columns = estimate_columns(["value", "standard_error", "low", "high"]).to_vec();
        columns.extend([Head::Number("unpaired_standard_error"), Head::Text("note")]);
        let mut table = Table::new("differences", &names, &columns);
        let baseline = &self.study.strategies[self.study.baseline].id;
        for (index, strategy) in self.study.strategies.iter().enumerate() {
            if index == self.study.baseline {
                continue;
            }
            for difference in self.differences(index) {
                let quantity = difference.quantity;
                let (estimate, note) = self.noted_difference(&difference);
                let names = [
                    strategy.id.as_str().into(),
                    baseline.as_str().into(),
                    quantity.name().into(),
                    self.unit(quantity).into(),
                ];
                let cells = estimate_cells(estimate);
                table.line(names, cells.into_iter().chain([difference.unpaired_standard_error.into(), note.into()]));
            }
        }
        table
    }

    fn ranking_table(&self) -> Table {
        let names = [Head::Text("quantity"), Head::Count("place"), Head::Text("strategy")];
        let mut table = Table::new("rankings", &names, &[Head::Number("confidence_in_first")]);
        for ranking in self.rankings() {
            for (place, &strategy) in (1..).zip(&ranking.order) {
                let id = self.study.strategies[strategy].id.as_str();
                table
                    .line([ranking.quantity.name().into(), Cell::Count(place), id.into()], [ranking.confidence.into()]);
            }
        }
        table
    }

    /// Mean over rows of the chance that a row loses any blade.
    ///
    /// Rows live independently given the study's inputs, so that lives of all rows count as trials
    /// of one proportion; where rows differ its exact interval is a little too wide, never too narrow.
    fn mean_row(&self, strategy: usize) -> Estimate {
        let count = self.study.rows.len();
        let rows: Vec<Estimate> = (0..count).map(|row| self.row(row, strategy, Quantity::AnyLoss)).collect();
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
    fn cracks_left(&self, strategy: usize) -> Estimate {
        let (mut value, mut variance, mut seen) = (0.0, 0.0, 0.0);
        for row in 0..self.study.rows.len() {
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

const QUANTITY_COLUMNS: [Head; 8] = [
    Head::Text("quantity"),
    Head::Text("unit"),
    Head::Number("value"),
    Head::Number("standard_error"),
    Head::Number("low"),
    Head::Number("high"),
    Head::Number("events"),
    Head::Text("note"),
];

fn quantity_cells(quantity: &str, unit: &str, (estimate, note): (Estimate, &'static str)) -> Vec<Cell> {
    let mut cells = vec![quantity.into(), unit.into()];
    cells.extend(estimate_cells(estimate));
    cells.extend([estimate.events.into(), note.into()]);
    cells
}

fn estimate_columns(names: [&'static str; 4]) -> [Head; 4] {
    names.map(Head::Number)
}

fn estimate_cells(estimate: Estimate) -> [Cell; 4] {
    [estimate.value, estimate.standard_error, estimate.low, estimate.high].map(Cell::Number)
}

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
