//! A comparison as tables: named columns of equal length, ready for a data frame, a CSV or JSON.
//!
//! Long form: one line for each number, with its unit, its standard error and its 95 % interval; the columns that say what
//! it is of are the same in every table. A number that no trial showed never stands as a bare zero: its `high` is a bound
//! and its `note` says so.

mod notes;
mod table;

pub(crate) use notes::THIN_EVENTS;
pub use table::{Column, Table, Texts};

use super::estimate::{
    Comparison, Estimate, LONGEST_PROBABILITIES, Measure, Scope, SpreadEstimate, Verdict, quantile_mm,
};
use super::length_bins::LengthBins;
use super::observe::Quantity;
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use crate::model::StrategyId;
use crate::statistics::interval;
use notes::{note_of, note_of_spread, without_error_if_unseen};
pub(crate) use table::{Cell, Head};

/// Names of every table, in the order in which they are best read.
pub const TABLES: [&str; 12] = [
    "summary",
    "by_unit",
    "by_row",
    "by_year",
    "by_outage",
    "by_hot_spot",
    "loss_cost",
    "spread",
    "differences",
    "rankings",
    "limits",
    "rare_losses",
];

/// Name, in tables, of the chance that a loss has come by the end of a year.
const ANY_LOSS_UNTIL: &str = "p_any_loss_until";
/// Name, in tables, of the chance that the losses of one row cost more than a level.
const COST_ABOVE: &str = "p_loss_cost_above";

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
    /// `summary`: every quantity over the fleet and the horizon, for each strategy. `by_unit`: losses of each unit. `by_row`: the
    /// same as `summary` for each row. `by_year`: losses in each study year, for the fleet and each row.
    /// `by_outage`: what is in each row just after each outage. `by_hot_spot`: losses from each hot spot of a row's roots.
    /// `loss_cost`: how probable it is that the losses of a row cost more than some levels. `differences`: each strategy
    /// against the baseline, paired trial by trial. `rankings`: the strategies in order. `limits`: the study's limits on the
    /// chance of a loss held against each strategy, without lines where it has none. `rare_losses`: how each row's losses
    /// were got. `spread`: percentiles of cost and days, and means of the worst lives, of the fleet, each unit and each row;
    /// of plain lives alone, as lives with a planted crack are parts of lives, and off by less than one part in 128, which
    /// low and high do not hold where they are of a mean. All but `rankings`, `limits` and `rare_losses` begin with the same
    /// columns, so that their lines can be put together.
    ///
    /// # Errors
    /// Refuses an unknown name, and lists the known ones.
    pub fn table(&self, name: &str) -> Result<Table> {
        match name {
            "summary" => Ok(self.summary()),
            "by_unit" => Ok(self.by_unit()),
            "by_row" => Ok(self.by_row()),
            "by_year" => Ok(self.by_year()),
            "by_outage" => Ok(self.by_outage()),
            "by_hot_spot" => Ok(self.by_hot_spot()),
            "loss_cost" => Ok(self.loss_cost_table()),
            "spread" => Ok(self.spread_table()),
            "limits" => Ok(self.limit_table()),
            "differences" => Ok(self.difference_table()),
            "rankings" => Ok(self.ranking_table()),
            "rare_losses" => Ok(self.rare_loss_table()),
            _ => Err(Error::argument(
                "table",
                format!("{name:?}"),
                "is not the name of a table",
                &format!("choose one of {}", TABLES.join(", ")),
            )),
        }
    }

    fn summary(&self) -> Table {
        let has_limits = self.study.limits.is_some();
        let limits = if has_limits { &[Head::Text("meets_limits")][..] } else { &[] };
        let mut table = Table::new("summary", &[&ESTIMATE_COLUMNS[..], limits].concat());
        for strategy_id in self.study.strategy_ids() {
            let strategy = self.study.strategy(strategy_id);
            let meets = self.meets_limits(strategy_id).map(Verdict::name);
            let mut add = |quantity: &str, unit: &str, noted: (Estimate, &str)| {
                let line = Line::new(&strategy.id, quantity, unit, noted);
                table.line(line.cells().into_iter().chain(meets.map(Cell::from)));
            };
            for (name, unit, estimate) in [
                (MEAN_ROW, "probability", self.mean_row(strategy_id)),
                (CRACKS_LEFT, "count", self.cracks_left(strategy_id)),
            ] {
                add(name, unit, (estimate, note_of(&estimate)));
            }
            let events = self.fleet(strategy_id, Quantity::AnyLoss).events;
            for quantity in Quantity::ALL {
                let (sums, estimate) = (&self.tally.fleet[strategy_id.0], self.fleet(strategy_id, quantity));
                let noted = self.noted(strategy, sums, quantity, estimate, events);
                add(quantity.name(), self.unit(quantity), noted);
            }
        }
        table
    }

    fn by_unit(&self) -> Table {
        let mut table = Table::new("by_unit", &[&ESTIMATE_COLUMNS[..], &[Head::Text("of_unit")]].concat());
        for (number, unit) in self.study.units.iter().enumerate() {
            for strategy_id in self.study.strategy_ids() {
                let strategy = self.study.strategy(strategy_id);
                let Some([losses, any]) = self.unit_losses(number, strategy_id) else { continue };
                for (quantity, estimate) in [(Quantity::Losses, losses), (Quantity::AnyLoss, any)] {
                    let noted = (without_error_if_unseen(estimate), note_of(&any));
                    let line = Line::new(&strategy.id, quantity.name(), self.unit(quantity), noted);
                    let mut cells = line.cells().to_vec();
                    cells[0] = "unit".into();
                    cells.push(unit.id.as_str().into());
                    table.line(cells);
                }
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
                let events = self.row(row_id, strategy_id, Quantity::AnyLoss).events;
                for quantity in Quantity::ALL {
                    let noted = self.noted(strategy, sums, quantity, self.row(row_id, strategy_id, quantity), events);
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
            let mut add = |row: Option<&str>, losses: Vec<Estimate>, any: Vec<Estimate>, until: Vec<Estimate>| {
                for (year, ((losses, any), until)) in losses.into_iter().zip(any).zip(until).enumerate() {
                    let year = self.study.start_year + year as f64;
                    let losses = Estimate { low: losses.low.max(0.0), ..losses };
                    for (quantity, unit, estimate, seen) in [
                        (Quantity::Losses.name(), "count", losses, any),
                        (Quantity::AnyLoss.name(), "probability", any, any),
                        (ANY_LOSS_UNTIL, "probability", until, until),
                    ] {
                        let noted = (without_error_if_unseen(estimate), note_of(&seen));
                        let line = Line::new(&strategy.id, quantity, unit, noted);
                        table.line(Line { row, year, ..line }.cells());
                    }
                }
            };
            let any = self.fleet_any_loss_by_year(strategy_id);
            add(None, self.fleet_losses_by_year(strategy_id), any, self.fleet_any_loss_until(strategy_id));
            for row_id in self.study.row_ids() {
                let row = self.study.row(row_id);
                let losses = self.row_losses_by_year(row_id, strategy_id);
                let any = self.row_any_loss_by_year(row_id, strategy_id);
                add(Some(&row.id), losses, any, self.row_any_loss_until(row_id, strategy_id));
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
                let bins = sums.longest.iter().map(LengthBins::all);
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
                        let (low, high) = self.quantile_interval_mm(&bins, probability);
                        add("longest_mm", "mm", (Estimate { value, low, high, ..NOTHING }, ""), probability);
                    }
                }
            }
        }
        table
    }

    fn by_hot_spot(&self) -> Table {
        let mut table = Table::new("by_hot_spot", &[&ESTIMATE_COLUMNS[..], &[Head::Text("hot_spot")]].concat());
        for row_id in self.study.row_ids() {
            let row = self.study.row(row_id);
            let spots = &self.study.roots[row.root].hot_spots;
            for strategy_id in self.study.strategy_ids() {
                let strategy = self.study.strategy(strategy_id);
                for (spot, losses) in spots.iter().zip(self.row_losses_by_hot_spot(row_id, strategy_id)) {
                    let shown = Estimate { low: losses.low.max(0.0), ..losses };
                    let noted = (without_error_if_unseen(shown), note_of(&losses));
                    let line = Line::new(&strategy.id, Quantity::Losses.name(), "count", noted);
                    let line = Line { row: Some(&row.id), ..line };
                    table.line(line.cells().into_iter().chain([spot.id.as_str().into()]));
                }
            }
        }
        table
    }

    fn loss_cost_table(&self) -> Table {
        let mut table = Table::new("loss_cost", &[&ESTIMATE_COLUMNS[..], &[Head::Number("above")]].concat());
        for strategy_id in self.study.strategy_ids() {
            let strategy = self.study.strategy(strategy_id);
            let mut add = |row: Option<&str>, chances: Vec<Estimate>| {
                for (chance, above) in chances.into_iter().zip(self.cost_levels()) {
                    let noted = (without_error_if_unseen(chance), note_of(&chance));
                    let line = Line { row, ..Line::new(&strategy.id, COST_ABOVE, "probability", noted) };
                    table.line(line.cells().into_iter().chain([above.into()]));
                }
            };
            add(None, self.fleet_cost_above(strategy_id));
            for row in self.study.row_ids() {
                add(Some(&self.study.row(row).id), self.row_cost_above(row, strategy_id));
            }
        }
        table
    }

    /// Of plain lives, in which all costs are whole.
    fn spread_table(&self) -> Table {
        let mut heads = ESTIMATE_COLUMNS.to_vec();
        heads.extend([Head::Text("of_unit"), Head::Text("statistic")]);
        let mut table = Table::new("spread", &heads);
        for (strategy_id, measure) in
            self.study.strategy_ids().flat_map(|strategy| Measure::ALL.map(|measure| (strategy, measure)))
        {
            let strategy = self.study.strategy(strategy_id).id.as_str();
            let unit = self.unit(if measure == Measure::Cost { Quantity::Cost } else { Quantity::Days });
            let mut add = |level: &str, row: Option<&str>, of_unit: &str, numbers: Vec<SpreadEstimate>| {
                for SpreadEstimate { statistic, share, estimate } in numbers {
                    let shown = Estimate { low: if estimate.low < 0.0 { 0.0 } else { estimate.low }, ..estimate };
                    let note = match note_of_spread(statistic, &shown) {
                        "" if self.planted_lives() > 0 => "of plain lives alone",
                        note => note,
                    };
                    let line = Line::new(strategy, measure.name(), unit, (shown, note));
                    let mut cells = Line { row, probability: share, ..line }.cells().to_vec();
                    cells[0] = level.into();
                    cells.extend([of_unit.into(), statistic.name().into()]);
                    table.line(cells);
                }
            };
            add("fleet", None, "", self.fleet_spread(strategy_id, measure));
            for (number, unit) in self.study.units.iter().enumerate() {
                add("unit", None, &unit.id, self.unit_spread(number, strategy_id, measure));
            }
            for row in self.study.row_ids() {
                add("row", Some(&self.study.row(row).id), "", self.row_spread(row, strategy_id, measure));
            }
        }
        table
    }

    fn limit_table(&self) -> Table {
        let heads = [
            Head::Text("strategy"),
            Head::Text("level"),
            Head::Text("row"),
            Head::Text("of_unit"),
            Head::Number("limit"),
            Head::Number("year"),
            Head::Number("value"),
            Head::Number("low"),
            Head::Number("high"),
            Head::Number("events"),
            Head::Text("verdict"),
            Head::Text("note"),
        ];
        let mut table = Table::new("limits", &heads);
        for strategy in self.study.strategy_ids() {
            for held in self.limit_verdicts(strategy) {
                let (row, unit) = match held.scope {
                    Scope::Row(row) => (self.study.row(row).id.as_str(), ""),
                    Scope::Unit(unit) => ("", self.study.units[unit].id.as_str()),
                    Scope::Fleet => ("", ""),
                };
                table.line([
                    self.study.strategy(strategy).id.as_str().into(),
                    held.scope.name().into(),
                    row.into(),
                    unit.into(),
                    held.limit.into(),
                    held.year.into(),
                    held.chance.value.into(),
                    held.chance.low.into(),
                    held.chance.high.into(),
                    held.chance.events.into(),
                    held.verdict.name().into(),
                    held.note().into(),
                ]);
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

    /// How the number of losses of each row was got, and how much the part of it can be relied on that planted lives told.
    fn rare_loss_table(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Text("strategy"),
            Head::Number("planted_share"),
            Head::Count("planted_lives"),
            Head::Count("planted_losses"),
            Head::Number("effective_losses"),
            Head::Number("largest_share"),
            Head::Number("tail_index"),
            Head::Number("halves_apart"),
            Head::Text("note"),
        ];
        let mut table = Table::new("rare_losses", &heads);
        for (row, strategy) in
            self.study.row_ids().flat_map(|row| self.study.strategy_ids().map(move |strategy| (row, strategy)))
        {
            let got = self.how_got(row, strategy);
            table.line([
                self.study.row(row).id.as_str().into(),
                self.study.strategy(strategy).id.as_str().into(),
                got.planted_share.into(),
                (self.planted_lives() * self.study.rows_like(row).len() as u64).into(),
                got.planted_losses.into(),
                got.effective_losses.into(),
                got.largest_share.into(),
                got.tail_index.into(),
                got.halves_apart.into(),
                got.note().into(),
            ]);
        }
        table
    }

    /// Mean over rows of the chance that a row loses any blade.
    ///
    /// Rows live independently given the study's inputs, so that lives of all rows count as trials
    /// of one proportion; where rows differ its exact interval is a little too wide, never too narrow.
    fn mean_row(&self, strategy: StrategyId) -> Estimate {
        if self.planted_lives() > 0 {
            return without_error_if_unseen(self.mean_row_any(strategy));
        }
        let count = self.study.rows.len();
        let rows: Vec<Estimate> = self.study.row_ids().map(|row| self.row(row, strategy, Quantity::AnyLoss)).collect();
        let events: f64 = rows.iter().map(|row| row.events).sum();
        let variance: f64 = rows.iter().map(|row| row.standard_error * row.standard_error).sum();
        let value = rows.iter().map(|row| row.value).sum::<f64>() / count as f64;
        let (low, high) = interval::exact_proportion(events, self.tally.trials as f64 * count as f64, 0.95);
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
    use crate::simulation::estimate::made::{self, OUTAGES, ROWS, STRATEGIES, TRIALS, YEARS};
    use crate::simulation::length_bins::{LENGTH_BINS, length_bin};

    fn comparison(study: &str, trials: u64) -> Comparison {
        let study = Study::parse(study, "test").expect("a good study");
        study.simulate(&Run { trials, seed: 3, ..Run::default() }).expect("a good run")
    }

    #[test]
    fn every_table_is_there_and_its_columns_are_equally_long() {
        let limited = concat!(
            include_str!("../../../tests/engine/data/y2.toml"),
            "\n[limits]\nfleet_loss_probability_per_year = 0.01\n"
        );
        let comparison = comparison(limited, 300);
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
        assert!(Table::new("empty", &ESTIMATE_COLUMNS).is_empty());
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
        let notes: Vec<&str> = notes.iter().collect();
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

    /// A line of a table: value, standard error, low, high and events, with its unit and its note.
    type Shown = ([f64; 5], String, String);

    fn texts<'t>(table: &'t Table, name: &str) -> Vec<&'t str> {
        match table.column(name) {
            Some(Column::Text(texts)) => texts.iter().collect(),
            other => panic!("{name}: {other:?}"),
        }
    }

    fn numbers<'t>(table: &'t Table, name: &str) -> &'t [f64] {
        match table.column(name) {
            Some(Column::Number(numbers)) => numbers,
            other => panic!("{name}: {other:?}"),
        }
    }

    /// The one line of a row, or of the fleet, a strategy, a year and a quantity; not-a-number stands for none.
    fn shown(table: &Table, row: &str, strategy: &str, year: f64, quantity: &str, probability: f64) -> Shown {
        let is = |column: &str, text: &str, line: usize| texts(table, column)[line] == text;
        let at = |column: &str, number: f64, line: usize| numbers(table, column)[line].total_cmp(&number).is_eq();
        let level = if row.is_empty() { "fleet" } else { "row" };
        let found: Vec<usize> = (0..table.len())
            .filter(|&line| is("level", level, line) && is("row", row, line) && is("strategy", strategy, line))
            .filter(|&line| {
                is("quantity", quantity, line) && at("year", year, line) && at("probability", probability, line)
            })
            .collect();
        assert_eq!(found.len(), 1, "{row} {strategy} {year} {quantity} {probability}");
        let numbers = ["value", "standard_error", "low", "high", "events"].map(|name| numbers(table, name)[found[0]]);
        (numbers, texts(table, "unit")[found[0]].to_owned(), texts(table, "note")[found[0]].to_owned())
    }

    fn is_equal(one: [f64; 5], other: [f64; 5]) -> bool {
        one.iter().zip(other).all(|(one, other)| (one.is_nan() && other.is_nan()) || (one - other).abs() < 1e-9)
    }

    #[track_caller]
    fn assert_shown(ours: &Shown, estimate: [f64; 5], unit: &str, note: &str) {
        assert!(is_equal(ours.0, estimate), "{ours:?} and {estimate:?}");
        assert_eq!((ours.1.as_str(), ours.2.as_str()), (unit, note));
    }

    fn of(estimate: Estimate) -> [f64; 5] {
        let Estimate { value, standard_error, low, high, events } = estimate;
        [value, standard_error, low, high, events]
    }

    /// Upper end of the exact interval of a chance that no trial showed.
    fn bound(trials: usize) -> f64 {
        1.0 - 0.025_f64.powf((trials as f64).recip())
    }

    const FEW: &str = "few events";
    const NAN: f64 = f64::NAN;

    #[test]
    fn the_whole_horizon_is_shown_as_it_is_estimated() {
        let made = made::comparison(TRIALS);
        let (summary, by_row) = (made.table("summary").expect("it"), made.table("by_row").expect("it"));
        assert_eq!(by_row.len(), 2 * STRATEGIES * Quantity::ALL.len());
        for (id, quantity) in made.study.strategy_ids().flat_map(|id| Quantity::ALL.map(|quantity| (id, quantity))) {
            let strategy = made.study.strategy(id).id.as_str();
            let unit = match quantity.name() {
                "p_any_loss" | "p_escalated" => "probability",
                name if name.contains("cost") => "kEUR",
                name if name.contains("days") => "days",
                _ => "count",
            };
            let fleet = (shown(&summary, "", strategy, NAN, quantity.name(), NAN), made.fleet(id, quantity));
            let second = shown(&by_row, "second", strategy, NAN, quantity.name(), NAN);
            for ((ours, estimate), lost) in [fleet, (second, made.row(ROWS[1], id, quantity))]
                .into_iter()
                .zip([made.fleet(id, Quantity::AnyLoss).events, made.row(ROWS[1], id, Quantity::AnyLoss).events])
            {
                let [value, standard_error, low, high, events] = of(estimate);
                match quantity {
                    // No trial showed a loss of the sixth strategy.
                    Quantity::AnyLoss | Quantity::Losses if lost == 0.0 => {
                        assert_shown(&ours, [0.0, NAN, 0.0, bound(8), 0.0], unit, notes::NONE_SEEN);
                    }
                    // A loss costs 4000, and 60 days of 110.
                    Quantity::LossCost | Quantity::ForcedDays if lost == 0.0 => {
                        let each = if quantity == Quantity::LossCost { 4000.0 + 60.0 * 110.0 } else { 60.0 };
                        assert_shown(&ours, [0.0, NAN, 0.0, bound(8) * each, 0.0], unit, notes::NONE_SEEN);
                    }
                    Quantity::Losses | Quantity::LossCost | Quantity::ForcedDays => {
                        assert_shown(&ours, [value, standard_error, low.max(0.0), high, lost], unit, FEW);
                    }
                    Quantity::AnyLoss | Quantity::Escalated if events > 0.0 => {
                        assert_shown(&ours, of(estimate), unit, FEW);
                    }
                    Quantity::Escalated | Quantity::AnyLoss => {}
                    _ if value > 0.0 => {
                        assert_shown(&ours, [value, standard_error, low.max(0.0), high, NAN], unit, "");
                    }
                    _ => {}
                }
            }
        }
        for id in made.study.strategy_ids() {
            let strategy = made.study.strategy(id).id.as_str();
            let rows = ROWS.map(|row| made.row(row, id, Quantity::AnyLoss));
            // Lives of both rows are trials of one proportion.
            let events = rows[0].events + rows[1].events;
            let (low, high) = interval::exact_proportion(events, 16.0, 0.95);
            let standard_error =
                if events == 0.0 { NAN } else { rows[0].standard_error.hypot(rows[1].standard_error) / 2.0 };
            let note = if events == 0.0 { notes::NONE_SEEN } else { FEW };
            let ours = shown(&summary, "", strategy, NAN, MEAN_ROW, NAN);
            assert_shown(&ours, [events / 16.0, standard_error, low, high, events], "probability", note);
            // Variances of rows add.
            let ours = shown(&summary, "", strategy, NAN, CRACKS_LEFT, NAN);
            let last = ROWS.map(|row| made.after_outages(row, id)[OUTAGES - 1].cracks);
            let (value, error) = (last[0].value + last[1].value, last[0].standard_error.hypot(last[1].standard_error));
            if id.0 + 1 == STRATEGIES {
                assert_shown(&ours, [0.0, NAN, 0.0, bound(8), 0.0], "count", notes::NONE_SEEN);
            } else {
                let reach = 1.959_963_984_540_054 * error;
                assert_shown(&ours, [value, error, (value - reach).max(0.0), value + reach, NAN], "count", "");
            }
        }
    }

    #[test]
    fn each_year_and_each_outage_is_shown_as_it_is_estimated() {
        let made = made::comparison(TRIALS);
        let (by_year, by_outage) = (made.table("by_year").expect("it"), made.table("by_outage").expect("it"));
        assert_eq!(by_year.len(), STRATEGIES * 3 * YEARS * 3);
        for id in made.study.strategy_ids() {
            let strategy = made.study.strategy(id).id.as_str();
            let second = made.row_losses_by_year(ROWS[1], id);
            for (row, losses, any, until) in [
                ("", made.fleet_losses_by_year(id), made.fleet_any_loss_by_year(id), made.fleet_any_loss_until(id)),
                ("second", second, made.row_any_loss_by_year(ROWS[1], id), made.row_any_loss_until(ROWS[1], id)),
            ] {
                for (index, ((losses, any), until)) in losses.into_iter().zip(any).zip(until).enumerate() {
                    let year = 2026.0 + index as f64;
                    let is_unseen = any.events == 0.0;
                    let note = if is_unseen { notes::NONE_SEEN } else { FEW };
                    let error = |error: f64| if is_unseen { NAN } else { error };
                    let ours = shown(&by_year, row, strategy, year, "losses", NAN);
                    let Estimate { value, standard_error, low, high, .. } = losses;
                    assert_shown(&ours, [value, error(standard_error), low.max(0.0), high, any.events], "count", note);
                    let ours = shown(&by_year, row, strategy, year, "p_any_loss", NAN);
                    let [value, standard_error, low, high, events] = of(any);
                    assert_shown(&ours, [value, error(standard_error), low, high, events], "probability", note);
                    let ours = shown(&by_year, row, strategy, year, "p_any_loss_until", NAN);
                    let [value, standard_error, low, high, events] = of(until);
                    let (standard_error, note) =
                        if events == 0.0 { (NAN, notes::NONE_SEEN) } else { (standard_error, FEW) };
                    assert_shown(&ours, [value, standard_error, low, high, events], "probability", note);
                }
            }
            for (outage, after) in made.after_outages(ROWS[1], id).into_iter().enumerate() {
                let one =
                    |quantity, probability| shown(&by_outage, "second", strategy, after.year, quantity, probability);
                let any = after.p_any_crack;
                let is_unseen = any.events == 0.0;
                let note = if is_unseen { notes::NONE_SEEN } else { FEW };
                let [value, standard_error, low, high, _] = of(after.cracks);
                let expected = [value, standard_error, low.max(0.0), high, any.events];
                let expected = if is_unseen { [0.0, NAN, 0.0, bound(8), 0.0] } else { expected };
                assert_shown(&one("cracks", NAN), expected, "count", note);
                let expected = if is_unseen { [0.0, NAN, 0.0, bound(8), 0.0] } else { of(any) };
                assert_shown(&one("p_any_crack", NAN), expected, "probability", note);
                let length_mm = after.mean_length_mm.map_or([NAN; 5], of);
                assert_shown(&one("mean_length_mm", NAN), length_mm, "mm", "");
                let mut bins = vec![0.0; LENGTH_BINS];
                (0..TRIALS).for_each(|trial| bins[length_bin(made::left(1, trial, id.0, outage)[2])] += 1.0);
                // The interval of a rank: 1.96 standard errors of a proportion in eight trials.
                for (probability, reach) in [(0.5, 0.346_476), (0.9, 0.207_886), (0.95, 0.151_025), (0.99, 0.068_948)] {
                    let ours = one("longest_mm", probability).0;
                    let at = [probability, (probability - reach).max(0.0), (probability + reach).min(1.0)];
                    let expected = at.map(|probability| quantile_mm(&bins, probability));
                    for (ours, expected) in [ours[0], ours[2], ours[3]].into_iter().zip(expected) {
                        assert!((ours - expected).abs() < 1e-4, "{ours} and {expected}");
                    }
                    assert!(ours[1].is_nan() && ours[4].is_nan());
                }
            }
        }
    }

    #[test]
    fn no_count_and_no_sum_is_shown_to_be_below_zero() {
        // Of two trials nearly every interval is wider than its mean.
        let made = made::comparison(2);
        for name in ["summary", "by_row", "by_year", "by_outage"] {
            let table = made.table(name).expect("it");
            let (lows, values) = (numbers(&table, "low"), numbers(&table, "value"));
            // Mean lengths stand as they are.
            let is_sum = |line: &usize| texts(&table, "quantity")[*line] != "mean_length_mm";
            let cut = (0..table.len()).filter(is_sum).filter(|&line| values[line] > 0.0 && lows[line] == 0.0).count();
            assert!(cut > 10, "{name}: {cut}");
            assert!((0..table.len()).filter(is_sum).all(|line| !(lows[line] < 0.0)), "{name}");
        }
    }

    #[test]
    fn differences_are_shown_against_the_baseline() {
        let made = made::comparison(TRIALS);
        let table = made.table("differences").expect("it");
        assert_eq!(table.len(), (STRATEGIES - 1) * 4);
        let alike = "no difference in any trial: low and high are bounds";
        assert!(texts(&table, "baseline").iter().all(|id| *id == "inplace"));
        let expected = made.study.strategy_ids().skip(1).flat_map(|id| made.differences(id));
        for (line, difference) in expected.enumerate() {
            assert_eq!(numbers(&table, "unpaired_standard_error")[line], difference.unpaired_standard_error);
            let strategy = texts(&table, "strategy")[line];
            let ours = shown(&table, "", strategy, NAN, difference.quantity.name(), NAN);
            let of_trial = |strategy: usize, trial| made::fleet_values(trial, strategy)[difference.quantity as usize];
            let is_alike = (0..TRIALS).all(|trial| of_trial(1 + line / 4, trial) == of_trial(0, trial));
            if is_alike && [Quantity::AnyLoss, Quantity::Losses].contains(&difference.quantity) {
                assert_shown(&ours, [0.0, NAN, -bound(8), bound(8), NAN], &ours.1, alike);
            } else {
                assert_shown(&ours, of(difference.difference), &ours.1, "");
            }
        }
        let of_nothing = made::of_nothing(TRIALS).table("differences").expect("it");
        for quantity in ["p_any_loss", "losses"] {
            let ours = shown(&of_nothing, "", "both", NAN, quantity, NAN);
            assert!(is_equal(ours.0, [0.0, NAN, -bound(8), bound(8), NAN]) && ours.2 == alike, "{ours:?}");
        }
        let ours = shown(&of_nothing, "", "both", NAN, "cost", NAN);
        assert_shown(&ours, [0.0, 0.0, 0.0, 0.0, NAN], "kEUR", "");
    }

    #[test] // by hand, from the rules of each strategy
    fn a_zero_is_exact_where_the_strategy_leaves_no_other_number() {
        let made = made::of_nothing(40);
        let summary = made.table("summary").expect("it");
        let quantities =
            ["rows_replaced", "times_blades_out", "p_escalated", "blades_replaced_on_false_calls", "cracks_found"];
        let cannot = [
            ("inplace", [false, false, false, false, false]),
            ("confirmed", [true, false, false, false, false]),
            ("benchmix", [false, false, true, false, false]),
            ("newrow", [false, false, true, true, false]),
            ("both", [false, false, true, false, false]),
            ("retired", [true, true, true, true, false]),
            ("none", [true, true, true, true, true]),
        ];
        for (strategy, cannot) in cannot {
            for (quantity, cannot) in quantities.into_iter().zip(cannot) {
                let (numbers, _, note) = shown(&summary, "", strategy, NAN, quantity, NAN);
                if cannot {
                    assert!(
                        is_equal(numbers, [0.0; 5]) && note == "cannot happen under this strategy",
                        "{strategy} {quantity}"
                    );
                } else {
                    assert!(is_equal(numbers, [0.0, NAN, 0.0, bound(40), 0.0]), "{strategy} {quantity}: {numbers:?}");
                    assert_eq!(note, notes::NONE_SEEN, "{strategy} {quantity}");
                }
            }
        }
        assert_eq!(shown(&summary, "", "both", NAN, "look_cost", NAN).2, "zero in every trial");
    }
}
