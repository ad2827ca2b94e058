//! Blades that come out in groups of neighbours, and are replaced together.

use std::ops::Range;

/// The groups of a row: so many neighbours each, the last with what is left.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Groups {
    together: u32,
    blades: u32,
}

impl Groups {
    pub fn new(together: u32, blades: u32) -> Self {
        Groups { together, blades }
    }

    /// Whether each blade is a group of its own.
    #[inline(always)]
    pub fn are_single(&self) -> bool {
        self.together == 1
    }

    /// The group that a blade is of.
    pub fn of(&self, blade: u32) -> Range<u32> {
        let first = blade - blade % self.together;
        first..(first + self.together).min(self.blades)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by hand
    fn neighbours_go_together_and_the_last_group_may_be_smaller() {
        let groups = Groups::new(3, 8);
        assert_eq!([0, 2, 3, 5, 6, 7].map(|blade| groups.of(blade)), [0..3, 0..3, 3..6, 3..6, 6..8, 6..8]);
        let single = Groups::new(1, 8);
        assert!(single.are_single() && single.of(7) == (7..8) && !groups.are_single());
    }
}
