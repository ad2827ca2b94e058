//! Looks that indications lead to at the same outage, at the whole row or at the blades that were called.

use crate::model::Study;
use crate::model::strategy::{Agreement, EscalationScope, Strategy};
use crate::simulation::inspection::on_surface;

/// A look by one technique, which may see blades of several looks on several surfaces.
#[derive(Debug)]
pub(crate) struct FurtherLook {
    pub technique: usize,
    /// The strategy's looks that send it to the whole row, as bits, and those that send it to the blades that they called.
    at_row_after: u64,
    at_blades_after: u64,
    /// What it is on each of these surfaces, by number, and after which of the looks, as bits.
    surfaces: Vec<(usize, u64)>,
}

/// Whom a further look is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Further {
    Row,
    /// Blades called by these of the strategy's looks, as bits.
    CalledBy(u64),
}

impl FurtherLook {
    /// Whom it is at when some of the strategy's looks lead to others, if anybody.
    pub fn of(&self, leading: u64) -> Option<Further> {
        if self.at_row_after & leading != 0 {
            return Some(Further::Row);
        }
        let looks = self.at_blades_after & leading;
        (looks != 0).then_some(Further::CalledBy(looks))
    }

    /// The same for each of the surfaces on which it sees blades then.
    pub fn on_surfaces(&self, leading: u64) -> impl Iterator<Item = (usize, Further)> {
        self.surfaces.iter().filter_map(move |&(technique, looks)| Some((technique, self.of(leading & looks)?)))
    }

    /// What it is on the surface that a look of the strategy leaves, by number.
    pub fn on_surface_after(&self, look: usize) -> Option<usize> {
        self.surfaces.iter().find(|(_, looks)| looks >> look & 1 != 0).map(|(technique, _)| *technique)
    }

    /// Whether it is a technique on one of them.
    pub fn uses(&self, technique: usize) -> bool {
        self.surfaces.iter().any(|(own, _)| *own == technique)
    }

    /// Whether a look of the strategy may lead to it.
    pub fn follows(&self, look: usize) -> bool {
        (self.at_row_after | self.at_blades_after) >> look & 1 != 0
    }
}

/// All of a strategy, in the order in which it names them; each technique once.
pub(super) fn further_looks(study: &Study, strategy: &Strategy) -> Vec<FurtherLook> {
    let mut further: Vec<FurtherLook> = Vec::new();
    for (index, look) in strategy.looks.iter().enumerate() {
        let Some(escalation) = &look.escalation else { continue };
        let [at_row, at_blades] =
            [EscalationScope::Row, EscalationScope::CalledBlades].map(|of| u64::from(escalation.of == of) << index);
        for &technique in &escalation.techniques {
            let place = further.iter().position(|known| known.technique == technique).unwrap_or(further.len());
            if place == further.len() {
                further.push(FurtherLook { technique, at_row_after: 0, at_blades_after: 0, surfaces: Vec::new() });
            }
            let known = &mut further[place];
            known.at_row_after |= at_row;
            known.at_blades_after |= at_blades;
            let own = on_surface(study, technique, look.cleaning);
            match known.surfaces.iter_mut().find(|(other, _)| *other == own) {
                Some((_, looks)) => *looks |= 1 << index,
                None => known.surfaces.push((own, 1 << index)),
            }
        }
    }
    further
}

/// What a look makes of its calls, where it asks which blades they are on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ByBlade {
    /// The number of techniques that must call a blade for an indication.
    agreeing: usize,
    /// The number of blades with an indication from which on others are looked at.
    from_blades: usize,
}

/// Of each look of a strategy, if it asks.
pub(super) fn by_blade(strategy: &Strategy) -> Vec<Option<ByBlade>> {
    let rule = |look: &crate::model::strategy::Look| {
        let escalation = look.escalation.as_ref();
        let from_blades = escalation.map_or(1, |escalation| escalation.from_blades as usize);
        let is_of_blades = escalation.is_some_and(|escalation| escalation.of == EscalationScope::CalledBlades);
        let agreeing = if look.agreement == Agreement::All { look.techniques.len() } else { 1 };
        (agreeing > 1 || from_blades > 1 || is_of_blades).then_some(ByBlade { agreeing, from_blades })
    };
    strategy.looks.iter().map(rule).collect()
}

/// A call by a look that asks for blades, before it is an indication.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct FirstCall {
    /// Number of the strategy's look.
    pub look: usize,
    pub blade: u32,
    pub technique: usize,
    /// Number of the crack in the row; none where the blade is clean.
    pub crack: Option<usize>,
}

impl ByBlade {
    /// Of the calls of the look, in order of blades and techniques, keeps those that are indications: returns the number of
    /// blades that have any.
    pub fn keep_indications(&self, calls: &mut Vec<FirstCall>) -> usize {
        let mut kept = Vec::new();
        let mut blades = 0;
        for of_blade in calls.chunk_by(|one, other| one.blade == other.blade) {
            let techniques = of_blade.chunk_by(|one, other| one.technique == other.technique).count();
            if techniques >= self.agreeing {
                kept.extend_from_slice(of_blade);
                blades += 1;
            }
        }
        *calls = kept;
        blades
    }

    /// Whether indications on so many blades have others looked at.
    pub fn leads_on(&self, blades: usize) -> bool {
        blades >= self.from_blades
    }

    /// Whether a call alone may be no indication, or lead to nothing.
    pub fn needs_others(&self) -> bool {
        self.agreeing > 1 || self.from_blades > 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::strategy::{Escalation, Look};

    #[test] // by hand
    fn a_blade_has_an_indication_where_all_techniques_call_it() {
        let call = |blade: u32, technique: usize| FirstCall { look: 0, blade, technique, crack: None };
        let calls = [call(1, 0), call(1, 0), call(2, 0), call(2, 3), call(2, 3), call(5, 3)];
        let kept = |agreeing: usize| {
            let mut calls = calls.to_vec();
            let blades = ByBlade { agreeing, from_blades: 2 }.keep_indications(&mut calls);
            (blades, calls)
        };
        assert_eq!(kept(2), (1, calls[2..5].to_vec()));
        assert_eq!(kept(1), (3, calls.to_vec()));
        assert_eq!(kept(3), (0, Vec::new()));
        let rule = ByBlade { agreeing: 1, from_blades: 2 };
        assert!(!rule.leads_on(1) && rule.leads_on(2));
        let needs = |agreeing: usize, from_blades: usize| ByBlade { agreeing, from_blades }.needs_others();
        assert!(!needs(1, 1) && needs(2, 1) && needs(1, 2) && needs(2, 2));
    }

    #[test] // by hand
    fn a_further_look_is_on_the_surfaces_of_the_looks_that_lead_to_it() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
        let study = Study::load(path).expect("a valid study");
        let mut strategy = study.strategies[0].clone();
        // Of four looks the first and the third send the second technique to the row, the second one, which cleans, sends it
        // to called blades, and the last one sends nobody.
        let look = |leads_to: Option<EscalationScope>, cleaning: Option<usize>| Look {
            escalation: leads_to.map(|of| Escalation {
                techniques: vec![1],
                of,
                from_blades: 1,
                first_call_stands: true,
            }),
            cleaning,
            ..strategy.looks[0].clone()
        };
        let [row, called] = [EscalationScope::Row, EscalationScope::CalledBlades].map(Some);
        strategy.looks = vec![look(row, None), look(called, Some(0)), look(row, None), look(None, None)];
        let cleaned = on_surface(&study, 1, Some(0));
        let all = further_looks(&study, &strategy);
        let [further] = &all[..] else { panic!("{all:?}") };
        let on = |leading: u64| further.on_surfaces(leading).collect::<Vec<_>>();
        assert_eq!(on(0b0101), [(1, Further::Row)]);
        assert_eq!(on(0b0100), [(1, Further::Row)]);
        assert_eq!(on(0b0010), [(cleaned, Further::CalledBy(0b0010))]);
        assert_eq!(on(0b0011), [(1, Further::Row), (cleaned, Further::CalledBy(0b0010))]);
        assert!(on(0b1000).is_empty());
        let after = [0, 1, 2, 3].map(|look| (further.follows(look), further.on_surface_after(look)));
        assert_eq!(after, [(true, Some(1)), (true, Some(cleaned)), (true, Some(1)), (false, None)]);
        assert!(further.uses(1) && further.uses(cleaned) && !further.uses(0));
    }
}
