//! What happens to a blade by the longest and the deepest of its indications.

use crate::model::strategy::{Action, Disposition, Strategy};

/// Actions by measured length and depth, in the order in which they are asked.
#[derive(Debug)]
pub(super) struct Dispositions {
    rules: Vec<Disposition>,
    /// Chance that a crack stays in a blade that is dressed.
    stays_if_dressed: f64,
}

impl Dispositions {
    pub fn new(strategy: &Strategy) -> Self {
        let stays_if_dressed = strategy.dressing.map_or(0.0, |dressing| 1.0 - dressing.gone_probability);
        Dispositions { rules: strategy.dispositions.clone(), stays_if_dressed }
    }

    /// Every blade with an indication is replaced.
    pub fn replace_all() -> Self {
        Dispositions { rules: Vec::new(), stays_if_dressed: 0.0 }
    }

    /// Whether any of them asks how deep indications are.
    pub fn ask_for_depth(&self) -> bool {
        self.rules.iter().any(Disposition::asks_for_depth)
    }

    /// What happens to a blade with indications of some length and depth.
    pub fn action(&self, longest_mm: f64, deepest_mm: f64) -> Action {
        let rule = self.rules.iter().find(|rule| rule.holds(longest_mm, deepest_mm));
        rule.or(self.rules.last()).map_or(Action::Replace, |rule| rule.action)
    }

    /// Chance, at a guess, that a crack stays with an indication of some length and depth: others in its blade may be longer
    /// or deeper.
    pub fn keeps(&self, length_mm: f64, depth_mm: f64) -> f64 {
        let stays = |action: Action| match action {
            Action::Watch | Action::RunOn => 1.0,
            Action::Dress => self.stays_if_dressed,
            Action::Replace | Action::ReplaceRow => 0.0,
        };
        let own = stays(self.action(length_mm, depth_mm));
        if own > 0.0 {
            return own;
        }
        // Only rules that hold for it can hold for what is longer or deeper.
        let others = self.rules.iter().filter(|rule| rule.holds(length_mm, depth_mm));
        0.5 * others.map(|rule| stays(rule.action)).fold(0.0, f64::max)
    }

    /// Whether every indication has its blade replaced.
    pub fn always_replace(&self) -> bool {
        self.rules.iter().all(|rule| rule.action == Action::Replace)
    }
}
