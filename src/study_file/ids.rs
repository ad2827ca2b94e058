//! Ids of everything that other things refer to.

use super::section::Section;

/// Ids of everything that other things refer to, in the order of the file.
pub(super) struct Ids {
    pub surfaces: Vec<String>,
    pub initiation: Vec<String>,
    pub growth: Vec<String>,
    pub roots: Vec<String>,
    pub hot_spots: Vec<String>,
    pub units: Vec<String>,
    pub rows: Vec<String>,
    pub techniques: Vec<String>,
    pub cleaning: Vec<String>,
    pub strategies: Vec<String>,
}

impl Ids {
    /// The ids of a study, good or not: a reference to a table with faults is no second fault.
    pub fn of(root: &Section) -> Self {
        Ids {
            surfaces: root.ids("surfaces"),
            initiation: root.ids("initiation"),
            growth: root.ids("growth"),
            roots: root.ids("roots"),
            hot_spots: root.ids_within("roots", "hot_spots"),
            units: root.ids("units"),
            rows: root.ids("rows"),
            techniques: root.ids("techniques"),
            cleaning: root.ids("cleaning"),
            strategies: root.ids("strategies"),
        }
    }
}
