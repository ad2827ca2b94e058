//! Rows and strategies of a study, by name.

use super::StudyParts;
use super::fleet::Row;
use super::strategy::Strategy;
use crate::error::{Error, Result};

/// A row of a study; see [`StudyParts::row_id`]. It means nothing to another study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RowId(pub(crate) usize);

/// A strategy of a study; see [`StudyParts::strategy_id`]. It means nothing to another study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StrategyId(pub(crate) usize);

impl StudyParts {
    /// The row with a name.
    ///
    /// # Errors
    /// Refuses a name that no row has, and lists those there are.
    pub fn row_id(&self, name: &str) -> Result<RowId> {
        find("row", name, self.rows.iter().map(|row| row.id.as_str())).map(RowId)
    }

    /// The strategy with a name.
    ///
    /// # Errors
    /// Refuses a name that no strategy has, and lists those there are.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let strategy = study.strategy_id("bench-sometimes")?;
    /// assert_eq!(study.strategy(strategy).id, "bench-sometimes");
    /// assert!(study.strategy_id("bench-somtimes").is_err());
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn strategy_id(&self, name: &str) -> Result<StrategyId> {
        find("strategy", name, self.strategies.iter().map(|strategy| strategy.id.as_str())).map(StrategyId)
    }

    /// All rows, in order.
    pub fn row_ids(&self) -> impl ExactSizeIterator<Item = RowId> + use<> {
        (0..self.rows.len()).map(RowId)
    }

    /// All strategies, in order.
    pub fn strategy_ids(&self) -> impl ExactSizeIterator<Item = StrategyId> + use<> {
        (0..self.strategies.len()).map(StrategyId)
    }

    /// A row.
    pub fn row(&self, row: RowId) -> &Row {
        &self.rows[row.0]
    }

    /// A strategy.
    pub fn strategy(&self, strategy: StrategyId) -> &Strategy {
        &self.strategies[strategy.0]
    }
}

fn find<'a>(what: &str, name: &str, mut names: impl Iterator<Item = &'a str> + Clone) -> Result<usize> {
    let known = names.clone();
    names.position(|other| other == name).ok_or_else(|| {
        let known: Vec<&str> = known.collect();
        Error::argument(
            what,
            format!("{name:?}"),
            &format!("there is no such {what}"),
            &format!("choose one of {}", known.join(", ")),
        )
    })
}
