//! Growth paths that are worked out already.

use super::{CrackShape, GrowthLaw, GrowthPath, Section, Stress};
use crate::distribution::Distribution;
use std::sync::{Arc, Mutex, PoisonError};

/// Paths that studies share with their copies and with those that are made of them by changes, so that each is tabulated
/// once. A path is a pure function of what it is kept by: keeping it changes no result.
#[derive(Debug, Clone, Default)]
pub(crate) struct KnownPaths(Arc<Mutex<Vec<(PathInputs, GrowthPath)>>>);

/// All that a path depends on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PathInputs {
    pub law: GrowthLaw,
    pub crack: CrackShape,
    pub stress: Stress,
    pub section: Option<Section>,
    pub initial_depth_mm: Distribution,
}

impl KnownPaths {
    /// So many are kept: those that were asked for last. A table takes some hundred thousand bytes.
    const MOST: usize = 64;

    /// The path of some inputs.
    pub fn path(&self, inputs: PathInputs) -> GrowthPath {
        // Nothing is left half done by a panic.
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let found = match known.iter().position(|(other, _)| *other == inputs) {
            Some(at) => known.remove(at),
            None => {
                let path =
                    GrowthPath::new(&inputs.law, inputs.crack, inputs.stress, inputs.section, &inputs.initial_depth_mm);
                (inputs, path)
            }
        };
        let path = found.1.clone();
        known.push(found);
        if known.len() > Self::MOST {
            known.remove(0);
        }
        path
    }
}

#[cfg(test)]
mod tests {
    use crate::model::Study;
    use crate::model::growth::GrowthPath;
    use std::sync::Arc;

    fn table(study: &Study) -> *const u8 {
        let spot = &study.roots[0].hot_spots[0];
        match study.growth_path(spot) {
            GrowthPath::SurfaceCrack(table) => Arc::as_ptr(&table).cast(),
            GrowthPath::FixedFactor(_) => panic!("not a table"),
        }
    }

    #[test]
    fn a_table_is_made_once_for_a_study_and_those_that_are_made_of_it() {
        let text = include_str!("../../../demo-data/demo-study.toml");
        let study = Study::parse(text, "study").expect("a good study");
        let first = table(&study);
        assert_eq!(table(&study.clone()), first);
        let changed = study.with_values(&[("money.discount_rate_per_year", "0.01")]).expect("a good change");
        assert_eq!(table(&changed), first);
        let law = &study.growth[study.roots[0].hot_spots[0].growth].id;
        let path = format!("growth.{law}.exponent");
        let other = study.with_values(&[(&path, "2.9")]).expect("a good change");
        assert_ne!(table(&other), first);
        for number in 0..70 {
            let exponent = format!("2.{}", 100 + number);
            table(&study.with_values(&[(&path, &exponent)]).expect("a good change"));
        }
        assert_eq!(study.paths.0.lock().expect("no panic").len(), super::KnownPaths::MOST);
    }
}
