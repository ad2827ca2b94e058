//! What happens to a blade by the length of its longest indication.

use crate::model::strategy::{Action, Disposition};

/// Actions by measured length, in the order of length.
#[derive(Debug)]
pub(super) struct Dispositions {
    rules: Vec<Disposition>,
}

impl Dispositions {
    pub fn new(rules: &[Disposition]) -> Self {
        Dispositions { rules: rules.to_vec() }
    }

    /// What happens to a blade with an indication of some length.
    pub fn action(&self, longest_mm: f64) -> Action {
        let rule = self.rules.iter().find(|rule| longest_mm < rule.below_mm);
        rule.or(self.rules.last()).map_or(Action::Replace, |rule| rule.action)
    }

    /// Whether every indication has its blade replaced.
    pub fn always_replace(&self) -> bool {
        self.rules.iter().all(|rule| rule.action == Action::Replace)
    }
}
