//! Expected losses by quadrature instead of lives: in milliseconds, without chance, for what keeps blades independent.
//!
//! It shares with the simulation the plans of rows, the growth curves and the detection curves, and nothing of how lives
//! are drawn and lived: each checks the other.

mod blade;
mod cracks;
mod grid;
mod level;
mod limits;
mod nodes;
mod row;
mod sight;

use super::nature::NaturePlan;
use super::observe::Quantity;
use super::parallel::Run;
use super::tables::{Cell, Head, Table};
use crate::error::{Error, Fault, Result};
use crate::model::{RowId, StrategyId, Study};
use level::Level;
use limits::Obstacles;
use row::{RowAnswer, RowScreen};

/// A number worked out by quadrature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Screened {
    /// The number.
    pub value: f64,
    /// By how much it differs from the same on a coarser grid: about as much as it may be wrong, mostly more.
    pub numerical_error: f64,
}

/// A strategy that is not screened, with all that stands in the way.
#[derive(Debug, Clone, PartialEq)]
pub struct NotScreened {
    /// The strategy.
    pub strategy: StrategyId,
    /// What stands in the way: where, why, and what would be right.
    pub obstacles: Vec<Fault>,
}

/// What [`Study::screen`] found.
#[derive(Debug, Clone)]
pub struct Screening {
    study: Study,
    /// For each strategy that is screened, and each row.
    answers: Vec<Option<Vec<Answer>>>,
    not_screened: Vec<NotScreened>,
}

/// Of one row.
#[derive(Debug, Clone)]
struct Answer {
    fine: RowAnswer,
    coarse: RowAnswer,
    /// Whether looks have shifts that all blades share.
    looks_are_shared: bool,
}

impl Study {
    /// Works out expected losses by quadrature, for the strategies under which blades are independent given what their
    /// row shares.
    ///
    /// These have looks at all blades of a row, at every so many outages, after which every called blade is replaced, and
    /// nothing that depends on more than one blade. Losses have one blade replaced. Cracks grow on a curve, in closed form
    /// or tabulated, up to a depth, a fraction of the section or a toughness, and their growth scatters.
    /// Looks before the study and the fact that no blade was lost until then are counted in.
    ///
    /// What looks share by inspection makes blades of a row dependent. Expected losses are then those of cracks that meet
    /// each look's shift by themselves, which is exact while blades have one crack at most and the row no past; the
    /// chance of any loss is left out.
    ///
    /// # Errors
    /// Lists all that stands in the way, if no strategy can be screened. Refuses hot spots whose growth law, loads and
    /// limit do not fit together, and a study whose rows could not have come to its start.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// let study = Study::load("tests/engine/data/y1a.toml")?;
    /// let screening = study.screen()?;
    /// let losses = screening.fleet_losses(study.strategy_id("none")?).expect("screened");
    /// assert!((losses.value - 1.0933).abs() < 1e-4);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn screen(&self) -> Result<Screening> {
        self.screen_at(&Level::coarse(), &Level::fine())
    }

    /// As [`Study::screen`], in about a tenth of the time: for a slider. Each number has its numerical error, as there; it is
    /// mostly below 1 %.
    ///
    /// # Errors
    /// As there.
    pub fn screen_roughly(&self) -> Result<Screening> {
        let [rougher, rough] = Level::rough();
        self.screen_at(&rougher, &rough)
    }

    fn screen_at(&self, coarse: &Level, fine: &Level) -> Result<Screening> {
        // Threads of its own: those of a library do not outlive a fork.
        let threads = Run::default().threads_used();
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().map_err(|reason| {
            Error::argument("threads", threads, &format!("threads cannot be started: {reason}"), "ask for fewer")
        })?;
        pool.install(|| self.screen_in_pool(coarse, fine))
    }

    fn screen_in_pool(&self, coarse: &Level, fine: &Level) -> Result<Screening> {
        let natures: Vec<NaturePlan> = self.rows.iter().map(|row| NaturePlan::new(self, row)).collect::<Result<_>>()?;
        limits::of_rows(self, &natures).refuse()?;
        let mut not_screened = Vec::new();
        let mut screened = Vec::new();
        for strategy in self.strategy_ids() {
            let Obstacles { faults: obstacles } = limits::of_strategy(self, self.strategy(strategy));
            if obstacles.is_empty() {
                screened.push(strategy);
            } else {
                not_screened.push(NotScreened { strategy, obstacles });
            }
        }
        if screened.is_empty() {
            let faults = not_screened.into_iter().flat_map(|strategy| strategy.obstacles).collect();
            return Err(Error::study("screen", faults));
        }
        let mut answers = vec![None; self.strategies.len()];
        for &strategy in &screened {
            answers[strategy.0] = Some(Vec::with_capacity(self.rows.len()));
        }
        for (row, nature) in natures.iter().enumerate() {
            let [coarse, fine] = [coarse, fine].map(|level| RowScreen::new(self, row, nature, level));
            for &strategy in &screened {
                let answer = Answer {
                    fine: fine.answer(strategy.0)?,
                    coarse: coarse.answer(strategy.0)?,
                    looks_are_shared: self.looks_share_shifts(row, strategy),
                };
                answers[strategy.0].iter_mut().for_each(|answers| answers.push(answer.clone()));
            }
        }
        Ok(Screening { study: self.clone(), answers, not_screened })
    }

    /// Whether any look at a row shifts the calls of all its blades together.
    fn looks_share_shifts(&self, row: usize, strategy: StrategyId) -> bool {
        let looks = self.strategy(strategy).looks.iter();
        let at_row = looks.filter(|look| look.coverage.rows.as_ref().is_none_or(|rows| rows.contains(&row)));
        let past = self.rows[row].past_looks.iter().map(|look| look.technique);
        let mut used = at_row.flat_map(|look| look.techniques.iter().copied()).chain(past);
        used.any(|technique| self.techniques[technique].inspection_sigma > 0.0)
    }
}

/// Some number of a row.
type OfRow<'a> = &'a dyn Fn(&RowAnswer) -> f64;

impl Answer {
    fn number(&self, of: OfRow) -> Screened {
        let value = of(&self.fine);
        Screened { value, numerical_error: (value - of(&self.coarse)).abs() }
    }
}

fn losses(answer: &RowAnswer) -> f64 {
    answer.losses_by_year.iter().sum()
}

impl Screening {
    /// The study that was screened.
    pub fn study(&self) -> &Study {
        &self.study
    }

    /// Strategies that are not screened, with what stands in the way.
    pub fn not_screened(&self) -> &[NotScreened] {
        &self.not_screened
    }

    fn row(&self, row: RowId, strategy: StrategyId) -> Option<&Answer> {
        self.answers[strategy.0].as_ref().map(|answers| &answers[row.0])
    }

    /// Expected losses of a row over the horizon; none if the strategy is not screened.
    pub fn losses(&self, row: RowId, strategy: StrategyId) -> Option<Screened> {
        self.row(row, strategy).map(|answer| answer.number(&losses))
    }

    /// Expected losses of a row in each study year; none if the strategy is not screened.
    pub fn losses_by_year(&self, row: RowId, strategy: StrategyId) -> Option<Vec<Screened>> {
        let answer = self.row(row, strategy)?;
        let years = 0..answer.fine.losses_by_year.len();
        Some(years.map(|year| answer.number(&|answer| answer.losses_by_year[year])).collect())
    }

    /// Chance that a row loses a blade; none if the strategy is not screened, or if looks share shifts by inspection.
    pub fn p_any_loss(&self, row: RowId, strategy: StrategyId) -> Option<Screened> {
        let answer = self.row(row, strategy).filter(|answer| !answer.looks_are_shared)?;
        Some(answer.number(&|answer| answer.p_any_loss))
    }

    /// Expected blades of a row replaced at outages; none if the strategy is not screened.
    pub fn blades_replaced(&self, row: RowId, strategy: StrategyId) -> Option<Screened> {
        self.row(row, strategy).map(|answer| answer.number(&|answer| answer.replaced))
    }

    /// Those of them that were called without a crack.
    pub fn falsely_replaced(&self, row: RowId, strategy: StrategyId) -> Option<Screened> {
        self.row(row, strategy).map(|answer| answer.number(&|answer| answer.falsely_replaced))
    }

    /// Expected losses of all rows over the horizon; none if the strategy is not screened.
    pub fn fleet_losses(&self, strategy: StrategyId) -> Option<Screened> {
        self.answers[strategy.0].as_ref().map(|answers| sum(answers, &losses))
    }

    /// Names of its tables.
    pub const TABLES: [&str; 4] = ["summary", "by_row", "by_year", "not_screened"];

    /// A table by name.
    ///
    /// `summary` has losses, the chance of any, and blades replaced over fleet and horizon, `by_row` the same for each
    /// row, `by_year` losses in each study year, for the fleet and each row, and `not_screened` a line for each thing
    /// that stands in the way of a strategy.
    ///
    /// # Errors
    /// Refuses another name.
    pub fn table(&self, name: &str) -> Result<Table> {
        match name {
            "summary" => Ok(self.summary()),
            "by_row" => Ok(self.by_row()),
            "by_year" => Ok(self.by_year()),
            "not_screened" => Ok(self.obstacle_table()),
            _ => {
                Err(Error::argument("name", name, "must be a table", &format!("there are {}", Self::TABLES.join(", "))))
            }
        }
    }

    /// The strategies that are screened, with what came of them in each row.
    fn screened(&self) -> impl Iterator<Item = (StrategyId, &[Answer])> {
        let strategies = self.study.strategy_ids().zip(&self.answers);
        strategies.filter_map(|(strategy, answers)| answers.as_deref().map(|answers| (strategy, answers)))
    }

    fn summary(&self) -> Table {
        let mut table = Table::new("summary", &COLUMNS);
        for (strategy, answers) in self.screened() {
            self.over_the_horizon(&mut table, None, strategy, answers);
        }
        table
    }

    fn by_row(&self) -> Table {
        let mut table = Table::new("by_row", &COLUMNS);
        for (row, strategy) in self.study.row_ids().flat_map(|row| self.screened().map(move |of| (row, of))) {
            let (strategy, answers) = strategy;
            self.over_the_horizon(&mut table, Some(row), strategy, &answers[row.0..=row.0]);
        }
        table
    }

    fn by_year(&self) -> Table {
        let mut table = Table::new("by_year", &COLUMNS);
        for (strategy, answers) in self.screened() {
            let rows = self.study.row_ids().map(|row| (Some(row), &answers[row.0..=row.0]));
            for (row, answers) in std::iter::once((None, answers)).chain(rows) {
                for index in 0..answers[0].fine.losses_by_year.len() {
                    let losses = sum(answers, &|answer| answer.losses_by_year[index]);
                    let year = self.study.start_year + index as f64;
                    let line = Line { row, strategy, year, quantity: Quantity::Losses, unit: "count" };
                    table.line(self.cells(&line, losses, note(answers)));
                }
            }
        }
        table
    }

    /// The lines of a row, or of the fleet.
    fn over_the_horizon(&self, table: &mut Table, row: Option<RowId>, strategy: StrategyId, answers: &[Answer]) {
        let note = note(answers);
        let mut add = |quantity, unit, number| {
            let line = Line { row, strategy, year: f64::NAN, quantity, unit };
            table.line(self.cells(&line, number, note));
        };
        add(Quantity::Losses, "count", sum(answers, &losses));
        if note.is_empty() {
            add(Quantity::AnyLoss, "probability", any_loss(answers));
        }
        add(Quantity::BladesReplaced, "count", sum(answers, &|answer| answer.replaced));
        add(Quantity::FalselyReplaced, "count", sum(answers, &|answer| answer.falsely_replaced));
    }

    fn cells(&self, line: &Line, number: Screened, note: &str) -> [Cell; COLUMNS.len()] {
        [
            if line.row.is_some() { "row" } else { "fleet" }.into(),
            line.row.map_or("", |row| &self.study.row(row).id).into(),
            self.study.strategy(line.strategy).id.as_str().into(),
            line.year.into(),
            line.quantity.name().into(),
            line.unit.into(),
            number.value.into(),
            number.numerical_error.into(),
            note.into(),
        ]
    }

    fn obstacle_table(&self) -> Table {
        let heads = [Head::Text("strategy"), Head::Text("path"), Head::Text("reason"), Head::Text("remedy")];
        let mut table = Table::new("not_screened", &heads);
        for NotScreened { strategy, obstacles } in &self.not_screened {
            for Fault { path, rule, remedy, .. } in obstacles {
                let texts = [&self.study.strategy(*strategy).id, path, rule, remedy];
                table.line(texts.map(|text| Cell::from(text.as_str())));
            }
        }
        table
    }
}

/// What a line of a table is of: the fleet where there is no row, the horizon where there is no year.
struct Line<'a> {
    row: Option<RowId>,
    strategy: StrategyId,
    year: f64,
    quantity: Quantity,
    unit: &'a str,
}

/// A sum over rows.
fn sum(answers: &[Answer], of: OfRow) -> Screened {
    let numbers = answers.iter().map(|answer| answer.number(of));
    // Rows are alike, and what is wrong with their numbers too: errors add up.
    numbers.fold(Screened { value: 0.0, numerical_error: 0.0 }, |sum, number| Screened {
        value: sum.value + number.value,
        numerical_error: sum.numerical_error + number.numerical_error,
    })
}

/// The chance of a loss in any of some rows, which are independent.
fn any_loss(answers: &[Answer]) -> Screened {
    let none = |of: fn(&Answer) -> &RowAnswer| {
        answers.iter().map(|answer| (-of(answer).p_any_loss.min(1.0)).ln_1p()).sum::<f64>()
    };
    let (value, coarse) = (-none(|answer| &answer.fine).exp_m1(), -none(|answer| &answer.coarse).exp_m1());
    Screened { value, numerical_error: (value - coarse).abs() }
}

fn note(answers: &[Answer]) -> &'static str {
    if answers.iter().any(|answer| answer.looks_are_shared) { SHARED } else { "" }
}

/// Columns of numbers: those of a comparison that they have in common, and the numerical error in place of a statistical
/// one.
const COLUMNS: [Head; 9] = [
    Head::Text("level"),
    Head::Text("row"),
    Head::Text("strategy"),
    Head::Number("year"),
    Head::Text("quantity"),
    Head::Text("unit"),
    Head::Number("value"),
    Head::Number("numerical_error"),
    Head::Text("note"),
];

const SHARED: &str = "blades of a row share shifts of looks: counted as if each crack met them by itself";
