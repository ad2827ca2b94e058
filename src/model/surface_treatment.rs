//! What is done to the surface of blades at an outage: cleaning before a look, and peening anew.

use super::strategy::When;

/// A way of cleaning blades before a look.
#[derive(Debug, Clone, PartialEq)]
pub struct Cleaning {
    /// Name.
    pub id: String,
    /// Factor on the size that each of the study's techniques finds half-way between floor and ceiling.
    pub q50_factors: Vec<f64>,
    /// Chance that it smears a crack's mouth shut, for all techniques on the cleaned surface, at that outage.
    pub closes_mouth_probability: f64,
    /// Cost once an outage, however many blades of the row.
    pub cost_per_row: f64,
    /// Cost of each blade.
    pub cost_per_blade: f64,
    /// Days once an outage.
    pub days_per_row: f64,
    /// Source of the numbers.
    pub basis: Option<String>,
}

/// Blades that stand in a row are peened anew: the time that is left until each crack that has not begun changes by a
/// factor, on the clock of its initiation. Cracks that have begun stay as they are.
#[derive(Debug, Clone, PartialEq)]
pub struct Peening {
    /// At which outages.
    pub when: When,
    /// Indices of the rows; all where `None`.
    pub rows: Option<Vec<usize>>,
    /// The factor.
    pub life_factor: f64,
    /// Cost of peening a row.
    pub cost_per_row: f64,
    /// Days of it.
    pub days_per_row: f64,
    /// Whether the blades come out for it.
    pub blades_out: bool,
}

impl Peening {
    /// Whether it is meant for a row.
    pub fn is_of(&self, row: usize) -> bool {
        self.rows.as_ref().is_none_or(|rows| rows.contains(&row))
    }
}
