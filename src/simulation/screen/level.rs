//! How finely everything is cut.

use super::nodes::{self, Node};

/// Numbers of nodes.
#[derive(Debug)]
pub(super) struct Level {
    /// Moments in a cell at which cracks begin.
    pub births: Vec<Node>,
    /// Times of loss in a cell.
    pub lives: Vec<Node>,
    /// Rates in a stretch of those too slow to end in a loss.
    pub tail: Vec<Node>,
    pub depths: Vec<Node>,
    pub aspects: usize,
    /// In standard deviations.
    pub toughness_step: f64,
    /// Normal numbers that persist in a crack: if one does, or for each of several.
    pub one_persists: Vec<Node>,
    pub several_persist: Vec<Node>,
    pub row_growth: usize,
    pub blade_stress: usize,
    pub row_factor: usize,
    /// A blade lost within a cell is renewed at the two lines so many cells further away than its ends.
    pub renewal_reach: usize,
}

impl Level {
    /// Coarser still, for a first look; and what that is held against.
    pub fn rough() -> [Self; 2] {
        let rough = Level {
            births: nodes::on_unit(2),
            lives: nodes::on_unit(3),
            tail: nodes::on_unit(2),
            depths: nodes::far_out(1.2),
            aspects: 3,
            toughness_step: 1.4,
            one_persists: nodes::far_out(1.4),
            several_persist: nodes::of_normal(5),
            row_growth: 6,
            blade_stress: 4,
            row_factor: 8,
            renewal_reach: 0,
        };
        let rougher = Level {
            births: nodes::on_unit(2),
            lives: nodes::on_unit(2),
            tail: nodes::on_unit(1),
            depths: nodes::far_out(1.5),
            aspects: 2,
            toughness_step: 1.7,
            one_persists: nodes::far_out(1.7),
            several_persist: nodes::of_normal(4),
            row_growth: 5,
            blade_stress: 3,
            row_factor: 6,
            renewal_reach: 1,
        };
        [rougher, rough]
    }

    pub fn coarse() -> Self {
        Level {
            births: nodes::on_unit(4),
            lives: nodes::on_unit(5),
            tail: nodes::on_unit(3),
            depths: nodes::far_out(1.0),
            aspects: 3,
            toughness_step: 1.2,
            one_persists: nodes::far_out(1.1),
            several_persist: nodes::of_normal(6),
            row_growth: 8,
            blade_stress: 5,
            row_factor: 12,
            renewal_reach: 1,
        }
    }

    pub fn fine() -> Self {
        Level {
            births: nodes::on_unit(5),
            lives: nodes::on_unit(6),
            tail: nodes::on_unit(4),
            depths: nodes::far_out(0.75),
            aspects: 5,
            toughness_step: 0.8,
            one_persists: nodes::far_out(0.8),
            several_persist: nodes::of_normal(8),
            row_growth: 10,
            blade_stress: 7,
            row_factor: 18,
            renewal_reach: 0,
        }
    }
}
