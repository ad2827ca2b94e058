//! Rows that nothing but their names tells apart: what is learned of one holds for the others.

use super::fleet::{Row, Unit};
use super::strategy::{Look, Strategy};
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
        let have_sisters = study.strategies.iter().any(Strategy::ties_rows_of_a_unit)
            || study.roots.iter().any(|root| root.consequences.rotor_wrecked_probability > 0.0);
        // Where something is shared by all rows, or known of some, lives of two rows are not those of one.
        let is_apart = study.posterior.is_some() || !study.uncertain.is_empty();
        // Which row gets a spare blade, and which one waits, hangs on all rows of the stock and their order.
        let takes_spares = |row: &Row| {
            study.strategies.iter().flat_map(|strategy| &strategy.spares).any(|stock| stock.is_of(row.root))
        };
        let description = |(index, row): (usize, &Row)| {
            if is_apart || takes_spares(row) {
                return index.to_string();
            }
            let nameless = Row { id: String::new(), rotor: String::new(), unit: 0, basis: None, ..row.clone() };
            let unit = Unit { id: String::new(), crews: None, basis: None, ..study.units[row.unit].clone() };
            let place = have_sisters.then_some((row.unit, &row.rotor));
            // Strategies may name rows and units.
            let is_meant = |look: &Look| look.coverage.rows.as_ref().is_none_or(|rows| rows.contains(&index));
            let meant = study.strategies.iter().map(|strategy| {
                let looks: Vec<bool> = strategy.looks.iter().map(is_meant).collect();
                let deferrals: Vec<bool> = strategy.deferrals.iter().map(|deferral| deferral.is_of(row.unit)).collect();
                let is_limited = strategy.starts_limit.as_ref().is_some_and(|limit| limit.is_of(row.unit));
                let peenings: Vec<bool> = strategy.peening.iter().map(|peening| peening.is_of(index)).collect();
                (looks, deferrals, is_limited, peenings)
            });
            format!("{nameless:?} {unit:?} {place:?} {:?}", meant.collect::<Vec<_>>())
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
    use super::{Row, Unit};
    use crate::model::strategy::{Deferral, Spares, StartsLimit, When, WithoutSpare};
    use crate::model::surface_treatment::Peening;
    use crate::model::{Study, StudyParts};

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
        // A plan that looks at one of them alone, or puts off outages of one unit, or limits its starts.
        let mut parts = Study::parse(&same_looks, "demo").expect("a good study").into_parts();
        let firsts = |parts: &StudyParts| {
            let study = Study::of_checked(parts.clone());
            study.row_ids().map(|row| study.rows_like(row)[0].0).collect::<Vec<usize>>()
        };
        assert_eq!(parts.rows[0].unit, parts.rows[1].unit);
        let strategy = parts.strategies.iter().position(|strategy| !strategy.looks.is_empty()).expect("a look");
        let mut named = parts.clone();
        named.strategies[strategy].looks[0].coverage.rows = Some(vec![1]);
        assert_eq!(firsts(&named)[..4], [0, 1, 0, 3]);
        // The fifth row is as the first, in a unit like its own.
        let (own, other) = (parts.rows[0].unit, parts.rows[4].unit);
        parts.units[other] = Unit { id: parts.units[other].id.clone(), ..parts.units[own].clone() };
        parts.rows[4] = Row { id: parts.rows[4].id.clone(), unit: other, ..parts.rows[0].clone() };
        assert_eq!(firsts(&parts)[..5], [0, 0, 0, 3, 0]);
        let mut stocked = parts.clone();
        stocked.strategies[strategy].spares = vec![Spares {
            roots: Some(vec![parts.rows[0].root]),
            blades: 1,
            lead_days: 90.0,
            without: WithoutSpare::Wait,
            cost_per_year: 0.0,
            used_blades: None,
        }];
        assert_eq!(firsts(&stocked)[..5], [0, 1, 2, 3, 4]);
        let mut limited = parts.clone();
        limited.strategies[strategy].starts_limit =
            Some(StartsLimit { starts_per_year: 9.0, from_year: 2030.0, units: Some(vec![other]), cost_per_year: 0.0 });
        assert_eq!(firsts(&limited)[..5], [0, 0, 0, 3, 4]);
        let mut peened = parts.clone();
        peened.strategies[strategy].peening = vec![Peening {
            when: When::every(1, 1),
            rows: Some(vec![4]),
            life_factor: 2.0,
            cost_per_row: 0.0,
            days_per_row: 0.0,
            blades_out: false,
        }];
        assert_eq!(firsts(&peened)[..5], [0, 0, 0, 3, 4]);
        parts.strategies[strategy].deferrals = vec![Deferral { outage: 1, by_years: 0.5, units: Some(vec![own]) }];
        assert_eq!(firsts(&parts)[..5], [0, 0, 0, 3, 4]);
    }
}
