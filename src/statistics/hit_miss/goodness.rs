//! Whether the curve suits the looks it was fitted to.

use super::fit::Fit;
use crate::statistics::tail::chi_square_exceeds;

/// Hits found and hits expected, in groups of looks that the curve gives like chances.
#[derive(Debug, Clone, PartialEq)]
pub struct Goodness {
    /// The groups, in rising order of chance.
    pub groups: Vec<Group>,
    /// Sum of the squared distances between found and expected, in standard errors.
    pub chi_square: f64,
    /// Chance of a sum as large when the curve is right; small speaks against the curve.
    pub p_value: f64,
}

/// Looks that the curve gives like chances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// Looks.
    pub looks: usize,
    /// Hits found.
    pub hits: usize,
    /// Hits expected.
    pub expected: f64,
}

impl Fit {
    /// Compares hits found with hits expected in up to ten groups of equal number (Hosmer and Lemeshow,
    /// Communications in Statistics A 9 (1980) 1043-1069: chi-square with two degrees of freedom less than groups).
    ///
    /// `None` for fewer than 30 looks, and where inspectors differ, so that the looks of one are not independent.
    pub fn goodness(&self) -> Option<Goodness> {
        /// Three groups of ten leave one degree of freedom.
        const FEWEST_LOOKS: usize = 10;
        const MOST_GROUPS: usize = 10;
        let count = self.looks.cracked.len();
        let groups = (count / FEWEST_LOOKS).min(MOST_GROUPS);
        if groups < 3 || self.model().between_inspectors {
            return None;
        }
        let weights = self.problem.weights();
        let likelihood = self.problem.likelihood(&weights, self.best.floor, self.best.ceiling);
        let chance = |look: usize| likelihood.chance(look, &self.best.theta);
        let mut looks: Vec<(f64, bool)> =
            self.looks.cracked.iter().enumerate().map(|(index, look)| (chance(index), look.called)).collect();
        // Among equal chances the order of the file would decide who goes where; the answers must not.
        looks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let groups: Vec<Group> = (0..groups)
            .map(|group| &looks[group * count / groups..(group + 1) * count / groups])
            .map(|looks| Group {
                looks: looks.len(),
                hits: looks.iter().filter(|(_, called)| *called).count(),
                expected: looks.iter().map(|(chance, _)| chance).sum(),
            })
            .collect();
        let chi_square: f64 = groups.iter().map(Group::squared_distance).sum();
        let p_value = chi_square_exceeds(chi_square, groups.len() as f64 - 2.0);
        Some(Goodness { groups, chi_square, p_value })
    }
}

impl Group {
    fn squared_distance(&self) -> f64 {
        let variance = self.expected * (1.0 - self.expected / self.looks as f64);
        let distance = self.hits as f64 - self.expected;
        if distance == 0.0 { 0.0 } else { distance * distance / variance }
    }
}
