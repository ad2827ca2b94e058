//! What is believed, as tables.

use super::Given;
use super::belief::{Believed, RowBelief, Sampled};
use crate::error::{Error, Result};
use crate::simulation::tables::{Cell, Head, Table};

/// Years ahead of which the chance of a loss is told.
pub(super) const YEARS_AHEAD: f64 = 5.0;
/// Years by which a moment may be off by rounding.
const NEAR: f64 = 1e-9;

impl Given {
    /// Names of its tables.
    pub const TABLES: [&str; 7] = ["summary", "by_row", "inputs", "lengths", "losses", "losses_by_month", "next_look"];

    /// A table by name.
    ///
    /// `summary` has what was learned from and how well it was sampled; `by_row` what is in each row at the start of the
    /// study; `inputs` what was believed of inputs before the records and after; `lengths` the chance that no crack of a row
    /// is longer than a length; `losses` the chance that a row loses a blade until a moment if nobody looks, from lives with
    /// planted cracks, and `losses_by_month` the same month by month where it is not rare; `next_look` how many blades each
    /// technique would call at the next outage.
    ///
    /// # Errors
    /// Refuses another name.
    pub fn table(&self, name: &str) -> Result<Table> {
        match name {
            "summary" => Ok(self.summary()),
            "by_row" => Ok(self.by_row()),
            "inputs" => Ok(self.inputs()),
            "lengths" => Ok(self.lengths()),
            "losses" => Ok(self.losses()),
            "losses_by_month" => Ok(self.losses_by_month()),
            "next_look" => Ok(self.next_look()),
            _ => {
                Err(Error::argument("name", name, "must be a table", &format!("there are {}", Self::TABLES.join(", "))))
            }
        }
    }

    fn row_id(&self, row: &RowBelief) -> &str {
        &self.study.row(row.row).id
    }

    fn summary(&self) -> Table {
        let heads = [Head::Text("quantity"), Head::Number("value"), Head::Number("standard_error")];
        let mut table = Table::new("summary", &heads);
        let belief = &self.belief;
        let sum = |of: &dyn Fn(&RowBelief) -> usize| belief.rows.iter().map(of).sum::<usize>() as f64;
        let known = |value: f64| Sampled { value, standard_error: 0.0 };
        let lines = [
            ("rows", known(belief.rows.len() as f64)),
            ("looks", known(sum(&|row| row.looks.len()))),
            ("blades_called", known(sum(&|row| row.finds))),
            ("ln_evidence", belief.ln_evidence),
            ("effective_draws", known(belief.effective_draws)),
        ];
        for (quantity, number) in lines {
            table.line([quantity.into(), number.value.into(), Cell::from(number.standard_error)]);
        }
        table
    }

    fn by_row(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Text("quantity"),
            Head::Text("unit"),
            Head::Number("value"),
            Head::Number("standard_error"),
        ];
        let mut table = Table::new("by_row", &heads);
        for row in &self.belief.rows {
            let known = |count: usize| Sampled { value: count as f64, standard_error: 0.0 };
            let until = |year: Option<f64>| {
                let at =
                    |year: f64| row.p_loss.iter().find(|(own, _)| (own - year).abs() < NEAR).map(|(_, chance)| *chance);
                year.and_then(at).map(|chance| Sampled { value: chance.value, standard_error: chance.standard_error })
            };
            let last = Some(self.study.start_year + YEARS_AHEAD);
            let lines = [
                ("looks", "count", Some(known(row.looks.len()))),
                ("blades_called", "count", Some(known(row.finds))),
                ("cracks", "count", Some(row.cracks)),
                ("p_no_crack", "probability", Some(row.p_none)),
                ("mean_length_mm", "mm", Some(row.mean_length_mm)),
                ("longest_mean_mm", "mm", Some(row.longest_mean_mm)),
                ("longest_95_mm", "mm", Some(row.longest_95_mm)),
                ("p_loss_to_next_outage", "probability", until(row.next_outage_year)),
                ("p_loss_in_5_years", "probability", until(last)),
                ("effective_draws", "count", Some(Sampled { value: row.effective_draws, standard_error: 0.0 })),
            ];
            for (quantity, unit, number) in lines {
                let Some(Sampled { value, standard_error }) = number else { continue };
                table.line([
                    self.row_id(row).into(),
                    quantity.into(),
                    unit.into(),
                    value.into(),
                    standard_error.into(),
                ]);
            }
        }
        table
    }

    fn inputs(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Text("input"),
            Head::Text("technique"),
            Head::Number("year"),
            Head::Number("mean_before"),
            Head::Number("sd_before"),
            Head::Number("mean"),
            Head::Number("sd"),
            Head::Number("standard_error"),
        ];
        let mut table = Table::new("inputs", &heads);
        let study = &self.study;
        let mut line = |row: &str, input: String, technique: &str, year: f64, before: [f64; 2], now: &Believed| {
            table.line([
                row.into(),
                Cell::Text(input),
                technique.into(),
                year.into(),
                before[0].into(),
                before[1].into(),
                now.mean.value.into(),
                now.sd.value.into(),
                now.mean.standard_error.into(),
            ]);
        };
        for (input, now) in study.uncertain.iter().zip(&self.belief.uncertain) {
            line("", format!("ln factor {}", input.id), "", f64::NAN, [0.0, input.sigma_log], now);
        }
        for row in &self.belief.rows {
            let id = self.row_id(row);
            let law = &study.scatter.row_factor;
            if law.fixed().is_none() {
                line(id, "row factor".to_owned(), "", f64::NAN, [law.mean(), law.sd()], &row.row_factor);
            }
            let mut told: Vec<usize> = Vec::new();
            let spots = &study.roots[study.row(row.row).root].hot_spots;
            for (spot, now) in spots.iter().zip(&row.ln_growth) {
                let law = &study.growth[spot.growth];
                if law.row_sigma_log > 0.0 && !told.contains(&spot.growth) {
                    told.push(spot.growth);
                    line(id, format!("ln growth {}", law.id), "", f64::NAN, [0.0, law.row_sigma_log], now);
                }
            }
            for ((year, technique), now) in row.looks.iter().zip(&row.shifts) {
                let technique = &study.techniques[*technique];
                if technique.inspection_sigma > 0.0 {
                    let before = [0.0, technique.inspection_sigma];
                    line(id, "shift of inspection".to_owned(), &technique.id, *year, before, now);
                }
            }
        }
        table
    }

    fn lengths(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Number("length_mm"),
            Head::Number("p_none_longer"),
            Head::Number("standard_error"),
        ];
        let mut table = Table::new("lengths", &heads);
        for row in &self.belief.rows {
            let none = std::iter::once((0.0, row.p_none));
            for (length_mm, chance) in none.chain(row.p_none_longer.iter().copied()) {
                let numbers = [length_mm, chance.value, chance.standard_error].map(Cell::from);
                table.line(std::iter::once(self.row_id(row).into()).chain(numbers));
            }
        }
        table
    }

    fn losses(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Number("year"),
            Head::Number("p_loss_until"),
            Head::Number("standard_error"),
            Head::Number("low"),
            Head::Number("high"),
        ];
        let mut table = Table::new("losses", &heads);
        for row in &self.belief.rows {
            for (year, chance) in &row.p_loss {
                let numbers = [*year, chance.value, chance.standard_error, chance.low, chance.high].map(Cell::from);
                table.line(std::iter::once(self.row_id(row).into()).chain(numbers));
            }
        }
        table
    }

    /// A month is told where it is known to a fifth.
    fn losses_by_month(&self) -> Table {
        const KNOWN: f64 = 0.2;
        let heads =
            [Head::Text("row"), Head::Number("year"), Head::Number("p_loss_until"), Head::Number("standard_error")];
        let mut table = Table::new("losses_by_month", &heads);
        for row in &self.belief.rows {
            for (year, chance) in &row.p_loss_by_month {
                let is_known = chance.value > 0.0 && chance.standard_error < KNOWN * chance.value;
                let known = |number: f64| if is_known { number } else { f64::NAN };
                let numbers = [*year, known(chance.value), known(chance.standard_error)].map(Cell::from);
                table.line(std::iter::once(self.row_id(row).into()).chain(numbers));
            }
        }
        table
    }

    fn next_look(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Number("year"),
            Head::Text("technique"),
            Head::Number("blades_called"),
            Head::Number("standard_error"),
        ];
        let mut table = Table::new("next_look", &heads);
        for row in &self.belief.rows {
            let Some(year) = row.next_outage_year else { continue };
            for (technique, called) in self.study.techniques.iter().zip(&row.called_next) {
                table.line([
                    self.row_id(row).into(),
                    year.into(),
                    technique.id.as_str().into(),
                    called.value.into(),
                    called.standard_error.into(),
                ]);
            }
        }
        table
    }

    /// What to beware of, in sentences; what is not used of the records, first.
    pub fn warnings(&self) -> Vec<String> {
        /// Errors of the logarithm of the evidence from which on it is too coarse.
        const COARSE: f64 = 0.5;
        /// Draws that count in full, below which it is said.
        const FEW: f64 = 1000.0;
        let mut warnings = self.notes.clone();
        let belief = &self.belief;
        if belief.ln_evidence.standard_error > COARSE {
            warnings.push(format!(
                "Repeats differ: the logarithm of the evidence has a standard error of {:.2}. Ask for more cracks or draws.",
                belief.ln_evidence.standard_error
            ));
        }
        if belief.effective_draws < FEW {
            warnings.push(format!(
                "Of the draws {:.0} count in full: spreads and small chances are coarse. Ask for more draws.",
                belief.effective_draws
            ));
        }
        let joins = |row: &RowBelief| {
            let spots = &self.study.roots[self.study.row(row.row).root].hot_spots;
            spots.iter().any(|spot| spot.joining.is_some() && spot.origins > 1)
        };
        if belief.rows.iter().any(joins) {
            warnings.push(
                "Cracks can join, and each is weighed as if it stood alone: counts of them are somewhat too high, and the \
                 longest is some per cent too short. Lives that go on have them join."
                    .to_owned(),
            );
        }
        let unknown = |row: &crate::model::fleet::Row| !row.past_looks.is_empty();
        let without: Vec<&str> = self
            .study
            .row_ids()
            .filter(|row| !belief.rows.iter().any(|own| own.row == *row) && unknown(self.study.row(*row)))
            .map(|row| self.study.row(row).id.as_str())
            .collect();
        if !without.is_empty() {
            warnings.push(format!(
                "Rows with past_looks and no records are as the study has them: {}. What these looks found is not known.",
                without.join(", ")
            ));
        }
        warnings
    }
}
