//! Adds the sums of batches to the same bits, however the work was cut.
//!
//! The order of additions depends on the number of batches alone: not on threads, not on block sizes, not on where a block
//! was computed.

use super::tally::Tally;

/// Sums over batches, added along a fixed binary tree.
///
/// Two neighbours of one level are added as soon as both are there, the left to the right one's
/// left; what is left over at the end is added from the largest to the smallest.
#[derive(Debug, Default)]
pub(crate) struct MergeTree {
    /// (level, number at that level, sums), in order of batches.
    subtrees: Vec<(u32, u64, Tally)>,
}

impl MergeTree {
    /// Adds the batch that follows those that are there.
    pub fn push(&mut self, batch: u64, tally: Tally) {
        self.join(0, batch, tally);
    }

    /// Adds the batches of another tree, which follow those that are there.
    pub fn append(&mut self, other: MergeTree) {
        for (level, number, tally) in other.subtrees {
            self.join(level, number, tally);
        }
    }

    fn join(&mut self, mut level: u32, mut number: u64, mut tally: Tally) {
        while number % 2 == 1
            && let Some((left_level, left_number, _)) = self.subtrees.last()
            && *left_level == level
            && *left_number == number - 1
            && let Some((_, _, mut left)) = self.subtrees.pop()
        {
            left.merge(&tally);
            tally = left;
            level += 1;
            number /= 2;
        }
        self.subtrees.push((level, number, tally));
    }

    /// The sum over all batches.
    pub fn total(self) -> Option<Tally> {
        self.subtrees.into_iter().map(|(_, _, tally)| tally).reduce(|mut total, tally| {
            total.merge(&tally);
            total
        })
    }
}
