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

    /// What happens to a blade with indications of some length and depth; where there are rules, the last one holds for all.
    pub fn action(&self, longest_mm: f64, deepest_mm: f64) -> Action {
        let rule = self.rules.iter().find(|rule| rule.holds(longest_mm, deepest_mm));
        rule.map_or(Action::Replace, |rule| rule.action)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::model::strategy::Dressing;

    fn dispositions(rules: &[Disposition]) -> Dispositions {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
        let strategy = Study::load(path).expect("a valid study").strategies[0].clone();
        let dressing = Dressing { gone_probability: 0.75, life_factor: 1.0, at_most_depth_mm: 9.0, blades_out: false };
        Dispositions::new(&Strategy { dispositions: rules.to_vec(), dressing: Some(dressing), ..strategy })
    }

    /// Lives with a planted crack leave out what has no chance.
    #[test] // by hand
    fn a_crack_may_stay_wherever_a_longer_or_deeper_indication_may_keep_its_blade() {
        let last = Disposition::last;
        let short = |action| Disposition::below_mm(2.0, action);
        // Lengths of 1 and 3 mm.
        let keeps = |rules: &[Disposition]| [1.0, 3.0].map(|length_mm| dispositions(rules).keeps(length_mm, 1.0));
        assert_eq!(keeps(&[short(Action::Watch), last(Action::Replace)]), [1.0, 0.0]);
        assert_eq!(keeps(&[short(Action::RunOn), last(Action::ReplaceRow)]), [1.0, 0.0]);
        assert_eq!(keeps(&[short(Action::Dress), last(Action::Replace)]), [0.25, 0.0]);
        let [short_kept, long_kept] = keeps(&[short(Action::Replace), last(Action::Watch)]);
        assert!(short_kept > 0.0 && short_kept < 1.0 && long_kept == 1.0);
        let [short_kept, long_kept] = keeps(&[short(Action::Replace), last(Action::Dress)]);
        assert!(short_kept > 0.0 && short_kept < 0.25 && long_kept == 0.25);
        // What is not deep is replaced, and so is what is long: only the first may have a deeper crack beside it.
        let rules = [
            Disposition { below_mm: 2.0, ..Disposition::below_depth_mm(1.0, Action::Replace) },
            short(Action::Watch),
            last(Action::Replace),
        ];
        let keeps = |length_mm, depth_mm| dispositions(&rules).keeps(length_mm, depth_mm);
        assert!(keeps(1.0, 0.5) > 0.0 && keeps(1.0, 2.0) == 1.0 && keeps(3.0, 0.5) == 0.0 && keeps(3.0, 2.0) == 0.0);
    }

    #[test] // by hand
    fn one_rule_by_depth_is_enough_to_ask_for_depths() {
        let last = || Disposition::last(Action::Replace);
        let asks = |rules: &[Disposition]| dispositions(rules).ask_for_depth();
        assert!(asks(&[Disposition::below_depth_mm(1.0, Action::Watch), last()]) && !asks(&[last()]));
    }
}
