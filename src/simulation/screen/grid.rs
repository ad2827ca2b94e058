//! Time, cut where anything begins, ends or happens: between two lines everything is smooth.

use super::nodes::Node;
use crate::model::usage::Readings;

/// Lines that cut time into cells.
#[derive(Debug)]
pub(super) struct Grid {
    /// Years of the lines.
    pub years: Vec<f64>,
    /// The unit's starts at each.
    pub starts: Vec<f64>,
    /// Moments in the cells, at which cracks begin.
    pub births: Vec<Birth>,
}

/// A moment at which cracks begin.
#[derive(Debug)]
pub(super) struct Birth {
    pub cell: usize,
    pub year: f64,
    pub starts: f64,
    /// Years that it stands for.
    pub years: f64,
    /// Fractions of its cell between which those lie, were they taken as a stretch.
    pub stretch: [f64; 2],
}

impl Grid {
    /// Two moments closer than this are one: years are written with some ten figures.
    const SAME_YEARS: f64 = 1e-9;
    /// More cells would take minutes: the error of the numbers says whether this many are enough.
    const MOST_CELLS: f64 = 600.0;

    /// Lines at given years, and between them none further apart than asked for.
    pub fn new(mut marks: Vec<f64>, widest_years: f64, starts: &Readings, nodes: &[Node]) -> Self {
        marks.sort_by(f64::total_cmp);
        marks.dedup_by(|later, earlier| *later - *earlier < Self::SAME_YEARS);
        let whole = marks.last().unwrap_or(&0.0) - marks.first().unwrap_or(&0.0);
        let widest = widest_years.max(whole / Self::MOST_CELLS);
        let mut years: Vec<f64> = marks.first().copied().into_iter().collect();
        for pair in marks.windows(2) {
            let pieces = ((pair[1] - pair[0]) / widest - 1e-6).ceil().max(1.0);
            let inner = (1..pieces as u32).map(|piece| pair[0] + f64::from(piece) / pieces * (pair[1] - pair[0]));
            years.extend(inner.chain([pair[1]]));
        }
        let mut births = Vec::new();
        for cell in 0..years.len().saturating_sub(1) {
            let width = years[cell + 1] - years[cell];
            let mut passed = 0.0;
            for (x, weight) in nodes {
                let (year, before) = (years[cell] + x * width, passed);
                passed += weight;
                let stretch = [before, passed];
                births.push(Birth { cell, year, starts: starts.at(year), years: weight * width, stretch });
            }
        }
        Grid { starts: years.iter().map(|&year| starts.at(year)).collect(), years, births }
    }

    pub fn cells(&self) -> usize {
        self.years.len() - 1
    }

    /// The line of a year that it was cut at.
    pub fn line(&self, year: f64) -> usize {
        let distance = |line: &usize| (self.years[*line] - year).abs();
        (0..self.years.len()).min_by(|one, other| distance(one).total_cmp(&distance(other))).unwrap_or(0)
    }
}
