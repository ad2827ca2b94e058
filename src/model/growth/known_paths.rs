//! Growth paths that are worked out already.

use super::{CrackShape, GrowthLaw, GrowthPath, Section, Stress};
use crate::distribution::Distribution;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

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
    /// Of those that nobody uses so many are kept, the last ones: a table takes some megabytes.
    const MOST: usize = 16;

    /// The path of some inputs.
    pub fn path(&self, inputs: PathInputs) -> GrowthPath {
        if let Some(path) = Self::take(&mut self.lock(), &inputs) {
            return path;
        }
        // Made without the lock, which a process that is forked meanwhile would never get.
        let path = GrowthPath::new(&inputs.law, inputs.crack, inputs.stress, inputs.section, &inputs.initial_depth_mm);
        let mut known = self.lock();
        if let Some(path) = Self::take(&mut known, &inputs) {
            return path;
        }
        known.push((inputs, path.clone()));
        while known.len() > Self::MOST
            && let Some(unused) = known.iter().position(|(_, path)| !path.is_shared())
        {
            known.remove(unused);
        }
        path
    }

    fn lock(&self) -> MutexGuard<'_, Vec<(PathInputs, GrowthPath)>> {
        // Nothing is left half done by a panic.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The path of some inputs, which becomes the last one, if it is known.
    fn take(known: &mut Vec<(PathInputs, GrowthPath)>, inputs: &PathInputs) -> Option<GrowthPath> {
        let at = known.iter().position(|(other, _)| other == inputs)?;
        let found = known.remove(at);
        let path = found.1.clone();
        known.push(found);
        Some(path)
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
        // Those in use stay; of the others a few.
        let changes = (0..20).map(|number| {
            let changed = study.with_values(&[(&path, &format!("2.{}", 100 + number))]).expect("a good change");
            changed.growth_path(&changed.roots[0].hot_spots[0])
        });
        let used: Vec<GrowthPath> = changes.collect();
        let kept = || study.paths.0.lock().expect("no panic").len();
        assert!(kept() >= used.len());
        drop(used);
        table(&study);
        assert_eq!(kept(), super::KnownPaths::MOST);
    }
}
