//! Adds the sums of batches to the same bits, however the work was cut.
//!
//! The order of additions depends on the number of batches alone: not on threads, not on block sizes, not on where a block
//! was computed.

use super::tally::Tally;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Sums over batches, added along a fixed binary tree.
///
/// Two neighbours of one level are added as soon as both are there, the left to the right one's
/// left; what is left over at the end is added from the largest to the smallest.
#[derive(Debug, Default, Clone, Serialize, Deserialize)]
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

    /// Leaves the sums of some strategies alone, by number, in their order.
    pub fn keep(&mut self, strategies: &[usize]) {
        self.subtrees.iter_mut().for_each(|(_, _, tally)| tally.keep(strategies));
    }

    /// Trials of all batches.
    pub fn trials(&self) -> u64 {
        self.subtrees.iter().map(|(_, _, tally)| tally.trials).sum()
    }

    /// The sum over all batches.
    pub fn total(self) -> Option<Tally> {
        self.subtrees.into_iter().map(|(_, _, tally)| tally).reduce(|mut total, tally| {
            total.merge(&tally);
            total
        })
    }
}

/// Parts of a run that come in any order.
#[derive(Debug, Default)]
pub(crate) struct Parts {
    /// Sums over the first of them, without a gap.
    pub tree: MergeTree,
    /// The batch that comes next.
    pub next: u64,
    /// Sums that wait for batches before theirs, by their first batch, with how many batches they are of.
    waiting: BTreeMap<u64, (u64, MergeTree)>,
}

impl Parts {
    /// Parts of which the first begins with a batch.
    pub fn from(batch: u64) -> Self {
        Parts { next: batch, ..Parts::default() }
    }

    /// Adds the sums over some batches.
    pub fn add(&mut self, first: u64, count: u64, part: MergeTree) {
        self.wait(first, count, part);
        self.add_until(u64::MAX);
    }

    /// Lets the sums over some batches wait.
    pub fn wait(&mut self, first: u64, count: u64, part: MergeTree) {
        self.waiting.insert(first, (count, part));
    }

    /// Adds those that wait and follow, until there are so many batches: whether there are. No part goes beyond.
    pub fn add_until(&mut self, batches: u64) -> bool {
        while self.next < batches
            && let Some((count, part)) = self.waiting.remove(&self.next)
        {
            self.next += count;
            self.tree.append(part);
            if count == 0 {
                break;
            }
        }
        self.next == batches
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers whose sum depends on the order of additions.
    const NUMBERS: [f64; 13] = [1.0, 1e16, -1e16, 1.0, 0.1, 0.3, 0.7, 1e15, 0.9, -1e15, 0.2, 1e14, 0.6];

    fn of(number: f64) -> Tally {
        let (rows, fleet, products) = (Vec::new(), Vec::new(), vec![[number; 4]]);
        let (planted, planted_products) = (Vec::new(), Vec::new());
        let (units, tries, counts) = (Vec::new(), Vec::new(), Vec::new());
        Tally { trials: 1, rows, units, fleet, products, planted_lives: 0, planted, planted_products, tries, counts }
    }

    fn tree(batches: std::ops::Range<usize>) -> MergeTree {
        let mut tree = MergeTree::default();
        batches.for_each(|batch| tree.push(batch as u64, of(NUMBERS[batch])));
        tree
    }

    fn total(tree: MergeTree) -> (u64, f64) {
        let tally = tree.total().expect("batches");
        (tally.trials, tally.products[0][0])
    }

    #[test]
    fn neighbours_are_added_first_wherever_the_work_is_cut() {
        let [a, b, c, d, e, f, g, h, i, j, k, l, m] = NUMBERS;
        let expected = ((((a + b) + (c + d)) + ((e + f) + (g + h))) + ((i + j) + (k + l))) + m;
        let in_pairs = (a + b) + (c + d) + (e + f) + (g + h) + (i + j) + (k + l) + m;
        assert!(expected != in_pairs && expected != NUMBERS.iter().sum::<f64>());
        assert_eq!(total(tree(0..13)), (13, expected));
        for (first, second) in (0..=13).flat_map(|first| (first..=13).map(move |second| (first, second))) {
            let mut whole = tree(0..first);
            whole.append(tree(first..second));
            whole.append(tree(second..13));
            assert_eq!(total(whole), (13, expected), "cut at {first} and {second}");
        }
    }
}
