//! What is asked of the cracks of a hot spot, and where it stands in the study.

use super::super::inspection::named;
use crate::bounds;
use crate::error::{Error, Result};
use crate::model::Study;

/// What is asked of the cracks of one hot spot.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthQuestion {
    /// The hot spot, as `root.hot-spot`, or by its own id where no other root has one of that id.
    pub hot_spot: String,
    /// The row whose duty, surface and row-to-row scatter they meet; none: the first one with that root.
    pub row: Option<String>,
    /// Depth at which they begin, in mm; none: as the study says.
    pub from_depth_mm: Option<f64>,
    /// The technique that is to find them.
    pub technique: Option<String>,
    /// Probability of detection from which on a crack is called detectable, in one look of median quality.
    pub detectable_at: f64,
    /// How many.
    pub cracks: u64,
    /// Seed.
    pub seed: u64,
}

impl GrowthQuestion {
    /// Most cracks at a time.
    pub const MOST_CRACKS: u64 = 10_000_000;

    /// About a hot spot, of 10,000 cracks.
    pub fn new(hot_spot: &str) -> Self {
        GrowthQuestion {
            hot_spot: hot_spot.to_owned(),
            row: None,
            from_depth_mm: None,
            technique: None,
            detectable_at: 0.5,
            cracks: 10_000,
            seed: 1,
        }
    }

    /// Finds what is named in a study.
    pub(super) fn look_up(&self, study: &Study) -> Result<Asked> {
        let (root, class) = self.find_hot_spot(study)?;
        let row = self.find_row(study, root)?;
        if !(1..=Self::MOST_CRACKS).contains(&self.cracks) {
            let rule = format!("must be a whole number from 1 to {}", Self::MOST_CRACKS);
            return Err(Error::argument("cracks", self.cracks, &rule, "10000 give the tenth of a window within 6 %"));
        }
        if let Some(depth_mm) = self.from_depth_mm {
            let most = study.roots[root].hot_spots[class].section.map_or(f64::INFINITY, |section| section.thickness_mm);
            bounds::LENGTH_MM.positive_part().check("from_depth_mm", depth_mm)?;
            if depth_mm >= most {
                return Err(Error::argument(
                    "from_depth_mm",
                    depth_mm,
                    &format!("must be below the thickness of the section ({most} mm)"),
                    "give the depth at which the crack begins",
                ));
            }
        }
        let technique = self.technique.as_deref().map(|id| {
            let known = study.techniques.iter().map(|technique| technique.id.as_str());
            named("technique", id, known)
        });
        let technique = technique.transpose()?;
        if let Some(technique) = technique {
            let curve = study.techniques[technique].pod;
            bounds::PROBABILITY_BELOW_ONE.check("detectable_at", self.detectable_at)?;
            if !(curve.floor < self.detectable_at && self.detectable_at < curve.ceiling) {
                return Err(Error::argument(
                    "detectable_at",
                    self.detectable_at,
                    &format!(
                        "must lie between floor and ceiling of the technique ({} and {})",
                        curve.floor, curve.ceiling
                    ),
                    "give a probability that its curve takes at some size",
                ));
            }
        }
        Ok(Asked { root, row, class, technique })
    }

    fn find_hot_spot(&self, study: &Study) -> Result<(usize, usize)> {
        let mut found = Vec::new();
        let mut known = Vec::new();
        for (root, about) in study.roots.iter().enumerate() {
            for (class, spot) in about.hot_spots.iter().enumerate() {
                let full = format!("{}.{}", about.id, spot.id);
                if self.hot_spot == full {
                    return Ok((root, class));
                }
                if self.hot_spot == spot.id {
                    found.push((root, class));
                }
                known.push(full);
            }
        }
        let known = known.join(", ");
        match found.as_slice() {
            [only] => Ok(*only),
            [] => Err(Error::argument("hot_spot", &self.hot_spot, "must be in the study", &format!("it has {known}"))),
            _ => Err(Error::argument(
                "hot_spot",
                &self.hot_spot,
                "must be one hot spot: several roots have one of that id",
                &format!("give its root too: {known}"),
            )),
        }
    }

    fn find_row(&self, study: &Study, root: usize) -> Result<usize> {
        let with_root = || study.rows.iter().filter(|row| row.root == root).map(|row| row.id.as_str());
        let id = match &self.row {
            Some(row) => row.as_str(),
            None => with_root().next().ok_or_else(|| {
                Error::argument("hot_spot", &self.hot_spot, "must be in a root that some row has", "add a row with it")
            })?,
        };
        let row = named("row", id, with_root())?;
        let index = study.rows.iter().enumerate().filter(|(_, other)| other.root == root).nth(row);
        Ok(index.map_or(0, |(index, _)| index))
    }
}

/// Where what is named stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked {
    pub root: usize,
    pub row: usize,
    /// Index of the hot spot in its root.
    pub class: usize,
    pub technique: Option<usize>,
}
