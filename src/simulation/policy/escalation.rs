//! Looks at the whole row that an indication leads to, at the same outage.

use crate::model::strategy::Strategy;

/// A look at the whole row by one technique.
#[derive(Debug)]
pub(crate) struct FurtherLook {
    pub technique: usize,
    /// The strategy's looks whose calls lead to it, as bits.
    pub after: u64,
}

/// All of a strategy, in the order in which it names them; each technique once.
pub(super) fn further_looks(strategy: &Strategy) -> Vec<FurtherLook> {
    let mut further: Vec<FurtherLook> = Vec::new();
    for (index, look) in strategy.looks.iter().enumerate() {
        for &technique in look.escalation.iter().flat_map(|escalation| &escalation.techniques) {
            match further.iter_mut().find(|known| known.technique == technique) {
                Some(known) => known.after |= 1 << index,
                None => further.push(FurtherLook { technique, after: 1 << index }),
            }
        }
    }
    further
}
