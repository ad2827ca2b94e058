//! Looks between outages: the unit is stopped for one some time after finds, or stands still after a loss.

use crate::model::strategy::{ExtraLook, LookAfterLoss, LookScope, Strategy};

/// The looks of a strategy between outages.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Stops {
    pub after_finds: Option<ExtraLook>,
    pub after_loss: Option<LookAfterLoss>,
}

impl Stops {
    pub fn new(strategy: &Strategy) -> Self {
        Stops { after_finds: strategy.extra_look.clone(), after_loss: strategy.look_after_loss.clone() }
    }

    pub fn use_technique(&self, technique: usize) -> bool {
        let after_finds = self.after_finds.iter().flat_map(|look| &look.techniques);
        after_finds.chain(self.after_loss.iter().flat_map(|look| &look.techniques)).any(|own| *own == technique)
    }

    /// The moment of the extra look that finds at an outage lead to, unless the next outage comes first.
    pub fn extra_look_year(&self, year: f64, next_year: f64) -> Option<f64> {
        self.after_finds.as_ref().map(|look| year + look.after_years).filter(|stop| *stop < next_year)
    }

    /// The techniques that look at a row after a loss on another one of its unit.
    pub fn after_loss_on_other(&self, is_on_rotor: bool) -> &[usize] {
        let is_looked_at = |of: LookScope| of == LookScope::Unit || of == LookScope::Rotor && is_on_rotor;
        self.after_loss.as_ref().filter(|look| is_looked_at(look.of)).map_or(&[], |look| &look.techniques)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by hand
    fn a_look_between_outages_uses_its_techniques() {
        let after_finds = ExtraLook { after_years: 1.0, techniques: vec![1, 2], stop_cost: 0.0, stop_days: 0.0 };
        let after_loss = LookAfterLoss { of: LookScope::Row, techniques: vec![4] };
        let used = |stops: Stops| (0..5).filter(|&technique| stops.use_technique(technique)).collect::<Vec<_>>();
        assert_eq!(used(Stops { after_finds: Some(after_finds.clone()), after_loss: None }), [1, 2]);
        assert_eq!(used(Stops { after_finds: Some(after_finds), after_loss: Some(after_loss) }), [1, 2, 4]);
        assert!(used(Stops::default()).is_empty());
    }

    #[test] // by hand
    fn an_outage_that_comes_no_later_takes_the_place_of_an_extra_look() {
        let after_finds = ExtraLook { after_years: 1.0, techniques: vec![1], stop_cost: 0.0, stop_days: 0.0 };
        let stops = Stops { after_finds: Some(after_finds), after_loss: None };
        let years = [2023.0, 2022.0, 2021.5].map(|next_year| stops.extra_look_year(2021.0, next_year));
        assert_eq!(years, [Some(2022.0), None, None]);
    }
}
