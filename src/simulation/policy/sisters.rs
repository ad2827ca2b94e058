//! Rows that are looked at because another one has finds.

use crate::model::strategy::{SisterScope, Strategy};

/// Which rows of the unit are looked at, and by which techniques.
#[derive(Debug, Clone)]
pub(crate) struct Sisters {
    of: SisterScope,
    pub techniques: Vec<usize>,
}

impl Sisters {
    pub fn new(strategy: &Strategy) -> Option<Self> {
        let sisters = strategy.sister_rows.as_ref()?;
        Some(Sisters { of: sisters.of, techniques: sisters.techniques.clone() })
    }

    /// Whether two rows of a unit, by the numbers of their rotors, are sisters.
    pub fn are(&self, rotor: usize, other: usize) -> bool {
        self.of == SisterScope::Unit || rotor == other
    }
}
