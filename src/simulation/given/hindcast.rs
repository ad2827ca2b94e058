//! What each past inspection would have been expected to find, given all that was known before it, and what it found.

use super::Learning;
use super::learning::Watch;
use super::past::RowPast;
use crate::error::Result;
use crate::model::Study;
use crate::simulation::tables::{Cell, Head, Table};
use crate::statistics::records::{Line, Records};
use std::collections::BTreeSet;
use std::ops::ControlFlow;

/// One look at a row, predicted and found.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedLook {
    /// Number of the row.
    pub row: usize,
    /// Year of the look.
    pub year: f64,
    /// Number of the technique.
    pub technique: usize,
    /// Blades that it called.
    pub called: usize,
    /// Chances of so many, from none on, by what was known before; the last is of all that are more.
    pub chances: Vec<f64>,
}

/// All past looks, predicted and found.
#[derive(Debug, Clone)]
pub struct Hindcast {
    study: Study,
    /// In order of time.
    pub looks: Vec<PredictedLook>,
}

impl PredictedLook {
    /// Expected number of called blades.
    pub fn mean(&self) -> f64 {
        self.chances.iter().enumerate().map(|(count, chance)| count as f64 * chance).sum()
    }

    /// Chance of fewer than were called, and of so many.
    pub fn at_found(&self) -> [f64; 2] {
        let found = self.called.min(self.chances.len() - 1);
        [self.chances[..found].iter().sum(), self.chances[found]]
    }

    /// The smallest number that no fewer than a share of the chances lie at or below.
    fn quantile(&self, share: f64) -> usize {
        let mut sum = 0.0;
        let reached = self.chances.iter().position(|chance| {
            sum += chance;
            sum >= share
        });
        reached.unwrap_or(self.chances.len() - 1)
    }
}

/// Largest number of called blades that is told from more.
const MOST_CALLED: usize = 24;

impl Study {
    /// Predicts each inspection of the records from those before it, over the whole fleet, and holds it against what it found.
    ///
    /// Looks at one moment are predicted together, from the records of all rows before it.
    ///
    /// # Errors
    /// As [`Study::given`].
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::Learning;
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("tests/engine/data/given/a.toml")?;
    /// let records = Records::load("tests/engine/data/given/b.csv", &Format::default())?;
    /// let learning = Learning { draws: 64, cracks: 256, repeats: 2, ..Learning::default() };
    /// let hindcast = study.hindcast(&records, &learning)?;
    /// assert_eq!(hindcast.looks.iter().map(|look| look.called).collect::<Vec<usize>>(), [0, 2, 1]);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn hindcast(&self, records: &Records, learning: &Learning) -> Result<Hindcast> {
        self.hindcast_with(records, learning, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::hindcast`]; from time to time `ask` is told how many draws were taken, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn hindcast_with(
        &self,
        records: &Records,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Hindcast> {
        learning.check()?;
        super::fleet::check(self)?;
        let records = &*self.with_found(records)?;
        // All lines are held against the study before anything is worked out.
        RowPast::all(self, records)?;
        let mut years: Vec<f64> = records.lines().iter().map(|line| line.when.year()).collect();
        years.sort_by(f64::total_cmp);
        years.dedup();
        let all = |watch: &Watch| -> Result<Vec<PredictedLook>> {
            let mut looks = Vec::new();
            for &year in &years {
                looks.append(&mut self.predicted(records, year, learning, watch)?);
            }
            Ok(looks)
        };
        let looks = learning.watched(ask, all)?;
        Ok(Hindcast { study: self.clone(), looks })
    }

    /// The looks of one moment, predicted from all before it.
    fn predicted(
        &self,
        records: &Records,
        year: f64,
        learning: &Learning,
        watch: &Watch,
    ) -> Result<Vec<PredictedLook>> {
        /// Years before it when what is known ends.
        const BEFORE: f64 = 1e-6;
        let now: Vec<&Line> = records.lines().iter().filter(|line| line.when.year() == year).collect();
        let row_of = |line: &Line| self.rows.iter().position(|row| row.id == line.row);
        let technique_of = |line: &Line| self.techniques.iter().position(|technique| technique.id == line.technique);
        let looked_at: BTreeSet<(usize, usize)> =
            now.iter().filter_map(|line| Some((row_of(line)?, technique_of(line)?))).collect();
        let mut parts = self.clone().into_parts();
        parts.start_year = year - BEFORE;
        parts.units.iter_mut().for_each(|unit| unit.outages.years = vec![year]);
        for row in &mut parts.rows {
            row.past_looks.clear();
            row.renewed.retain(|renewal| renewal.year < year);
        }
        let study = Study::of_checked(parts).sharing_paths(self);
        let before = records.before(year);
        let mut pasts = RowPast::all(&study, &before)?;
        for past in &mut pasts {
            let own = looked_at.iter().filter(|(row, _)| *row == past.row);
            past.question.techniques = own.map(|(_, technique)| *technique).collect();
            past.question.most_called = Some(MOST_CALLED);
            past.question.years.clear();
        }
        let belief = study.given_pasts(&pasts, learning, watch)?.belief;
        let mut looks = Vec::new();
        for (past, row) in pasts.iter().zip(&belief.rows) {
            for (place, &technique) in past.question.techniques.iter().enumerate() {
                let is_own = |line: &&&Line| row_of(line) == Some(past.row) && technique_of(line) == Some(technique);
                let blades: BTreeSet<&str> =
                    now.iter().filter(is_own).filter(|line| line.called).map(|line| line.blade.as_str()).collect();
                let chances = row.counts_next[place * (MOST_CALLED + 2)..][..MOST_CALLED + 2].to_vec();
                looks.push(PredictedLook { row: past.row, year, technique, called: blades.len(), chances });
            }
        }
        Ok(looks)
    }
}

impl Hindcast {
    /// A line for each look: row, year, technique, blades called, what was expected (mean, 5 % and 95 %), the chance of fewer
    /// and of so many, and the score: less the logarithm of the chance of what was found.
    pub fn table(&self) -> Table {
        let heads = [
            Head::Text("row"),
            Head::Number("year"),
            Head::Text("technique"),
            Head::Count("called"),
            Head::Number("expected"),
            Head::Number("low"),
            Head::Number("high"),
            Head::Number("p_fewer"),
            Head::Number("p_so_many"),
            Head::Number("score"),
        ];
        let mut table = Table::new("looks", &heads);
        for look in &self.looks {
            let [fewer, so_many] = look.at_found();
            table.line([
                Cell::from(self.study.rows[look.row].id.as_str()),
                look.year.into(),
                self.study.techniques[look.technique].id.as_str().into(),
                (look.called as u64).into(),
                look.mean().into(),
                (look.quantile(0.05) as f64).into(),
                (look.quantile(0.95) as f64).into(),
                fewer.into(),
                so_many.into(),
                (-so_many.ln()).into(),
            ]);
        }
        table
    }

    /// Mean score over all looks: the lower the better.
    pub fn score(&self) -> f64 {
        let scores = self.looks.iter().map(|look| -look.at_found()[1].ln());
        scores.sum::<f64>() / self.looks.len() as f64
    }
}
