//! Blades alike: who looked at them and who called them.

use crate::statistics::capture_histories::CaptureHistories;
use std::collections::BTreeMap;

/// Blades of one history; bit `i` of a set stands for technique `i`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub looked: usize,
    pub called: usize,
    pub count: f64,
}

impl Cell {
    /// Answer of a technique; `None` where it did not look.
    pub fn answer(&self, technique: usize) -> Option<bool> {
        (self.looked >> technique & 1 == 1).then_some(self.called >> technique & 1 == 1)
    }
}

/// The blades by history, in a fixed order. Whether a blade is known to be cracked does not tell them apart.
pub(super) fn cells(histories: &CaptureHistories) -> Vec<Cell> {
    let mut counts: BTreeMap<(usize, usize), u64> = BTreeMap::new();
    for blade in histories.histories().iter().filter(|blade| blade.count > 0) {
        let set = |wanted: &dyn Fn(Option<bool>) -> bool| -> usize {
            blade.called.iter().enumerate().map(|(at, called)| usize::from(wanted(*called)) << at).sum()
        };
        let key = (set(&|called| called.is_some()), set(&|called| called == Some(true)));
        if key.0 != 0 {
            *counts.entry(key).or_default() += blade.count;
        }
    }
    counts.into_iter().map(|((looked, called), count)| Cell { looked, called, count: count as f64 }).collect()
}

/// The same blades as only some of the techniques see them.
pub(super) fn seen_by(cells: &[Cell], techniques: usize) -> Vec<Cell> {
    let mut counts: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    for cell in cells.iter().filter(|cell| cell.looked & techniques != 0) {
        *counts.entry((cell.looked & techniques, cell.called & techniques)).or_default() += cell.count;
    }
    counts.into_iter().map(|((looked, called), count)| Cell { looked, called, count }).collect()
}

/// Blades of the cells that are wanted.
pub(super) fn blades(cells: &[Cell], wanted: impl Fn(&Cell) -> bool) -> f64 {
    cells.iter().filter(|cell| wanted(cell)).map(|cell| cell.count).sum()
}
