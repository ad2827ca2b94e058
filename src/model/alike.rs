//! Rows that nothing but their names tells apart: what is learned of one holds for the others.

use super::fleet::{Row, Unit};
use super::{RowId, StudyParts};
use std::collections::HashMap;

/// The rows of a study, by kind.
#[derive(Debug)]
pub(super) struct AlikeRows {
    kinds: Vec<Vec<RowId>>,
    /// Of each row.
    kind: Vec<usize>,
}

impl AlikeRows {
    /// Rows are alike if they and their units differ in nothing that a life hangs on. Where rows are lived together with
    /// their sisters, it hangs on who these are: then only rows of one rotor are.
    pub fn of(study: &StudyParts) -> Self {
        let have_sisters = study.strategies.iter().any(|strategy| strategy.sister_rows.is_some());
        // Where something is shared by all rows, or known of some, lives of two rows are not those of one.
        let is_apart = study.posterior.is_some() || !study.uncertain.is_empty();
        let description = |(index, row): (usize, &Row)| {
            if is_apart {
                return index.to_string();
            }
            let nameless = Row { id: String::new(), rotor: String::new(), unit: 0, basis: None, ..row.clone() };
            let unit = Unit { id: String::new(), crews: None, basis: None, ..study.units[row.unit].clone() };
            let place = have_sisters.then_some((row.unit, &row.rotor));
            format!("{nameless:?} {unit:?} {place:?}")
        };
        let mut numbers: HashMap<String, usize> = HashMap::new();
        let (mut kinds, mut kind): (Vec<Vec<RowId>>, Vec<usize>) = (Vec::new(), Vec::new());
        for (index, row) in study.rows.iter().enumerate() {
            let number = *numbers.entry(description((index, row))).or_insert(kinds.len());
            if number == kinds.len() {
                kinds.push(Vec::new());
            }
            kinds[number].push(RowId(index));
            kind.push(number);
        }
        AlikeRows { kinds, kind }
    }

    /// The rows that are like a row, itself among them, in their order.
    pub fn to(&self, row: RowId) -> &[RowId] {
        &self.kinds[self.kind[row.0]]
    }
}

#[cfg(test)]
mod tests {
    use crate::model::Study;

    #[test]
    fn rows_are_alike_if_only_names_tell_them_apart() {
        let text = include_str!("../../demo-data/demo-study.toml");
        let firsts = |text: &str| {
            let study = Study::parse(text, "demo").expect("a good study");
            study.row_ids().map(|row| study.rows_like(row)[0].0).collect::<Vec<usize>>()
        };
        // Three blades of the fourth row were renewed.
        assert_eq!(firsts(text), [0, 0, 2, 3, 4, 4, 6, 6, 8, 8, 10, 10]);
        let earlier = "year = 2012, technique = \"mpi-standard\" }, { year = 2020";
        let same_looks = text.replace(earlier, "year = 2014, technique = \"mpi-standard\" }, { year = 2022");
        assert_eq!(firsts(&same_looks)[..4], [0, 0, 0, 3]);
        let basis = "basis = \"fewer, sharper looks\"\n";
        assert!(text.contains(basis));
        let sisters = "sister_rows = { of = \"rotor\", techniques = [\"mpi-enhanced\"] }\n";
        assert_eq!(firsts(&same_looks.replace(basis, &format!("{basis}{sisters}")))[..4], [0, 0, 2, 3]);
    }
}
