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

    /// Chance, at a guess, that a blade stays with an indication of some length: others may be longer.
    pub fn keeps(&self, length_mm: f64) -> f64 {
        let longer = self.rules.iter().filter(|rule| length_mm < rule.below_mm);
        match self.action(length_mm) {
            Action::Watch => 1.0,
            _ if longer.clone().any(|rule| rule.action == Action::Watch) => 0.5,
            _ => 0.0,
        }
    }

    /// Whether every indication has its blade replaced.
    pub fn always_replace(&self) -> bool {
        self.rules.iter().all(|rule| rule.action == Action::Replace)
    }
}
