//! What is asked of the cracks of a hot spot, and where it stands in the study.

use super::super::single_inspection::named;
use crate::bounds;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::model::fleet::HotSpot;
use crate::model::growth::CrackShape;

/// What is asked of the cracks of one hot spot.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthQuestion {
    /// The hot spot, as `root.hot-spot`, or by its own id where no other root has one of that id.
    pub hot_spot: String,
    /// The row whose duty, surface and row-to-row scatter they meet; none: each one with that root, the first in full.
    pub row: Option<String>,
    /// Depth at which they begin, in mm; none: as the study says, or by the length.
    pub from_depth_mm: Option<f64>,
    /// Surface length at which they begin, in mm; none: as the study says, or by the depth.
    ///
    /// Where only one of the two is given, the other follows from each crack's own initial aspect, as the study has it.
    pub from_length_mm: Option<f64>,
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
            from_length_mm: None,
            technique: None,
            detectable_at: 0.5,
            cracks: 10_000,
            seed: 1,
        }
    }

    /// Finds what is named in a study.
    pub(super) fn look_up(&self, study: &Study) -> Result<Asked> {
        let (root, class) = find_hot_spot(study, &self.hot_spot)?;
        let row = self.find_row(study, root)?;
        if !(1..=Self::MOST_CRACKS).contains(&self.cracks) {
            let rule = format!("must be a whole number from 1 to {}", Self::MOST_CRACKS);
            return Err(Error::argument("cracks", self.cracks, &rule, "10000 give the tenth of a window within 6 %"));
        }
        self.check_size(&study.roots[root].hot_spots[class])?;
        let technique = self.technique.as_deref().map(|id| {
            let known = study.techniques.iter().map(|technique| technique.id.as_str());
            named("technique", id, "in the study", known)
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
        let others = study.rows.iter().enumerate().filter(|(_, other)| other.root == root && self.row.is_none());
        let others = others.map(|(index, _)| index).filter(|index| *index != row).collect();
        Ok(Asked { root, row, others, class, technique })
    }

    /// Refuses sizes that do not fit into the section, and shapes that the crack cannot have.
    fn check_size(&self, spot: &HotSpot) -> Result<()> {
        let [thickness_mm, width_mm] =
            spot.section.map_or([f64::INFINITY; 2], |section| [section.thickness_mm, section.width_mm]);
        if let Some(depth_mm) = self.from_depth_mm {
            bounds::LENGTH_MM.check("from_depth_mm", depth_mm)?;
            if depth_mm >= thickness_mm {
                return Err(Error::argument(
                    "from_depth_mm",
                    depth_mm,
                    &format!("must be below the thickness of the section ({thickness_mm} mm)"),
                    "give the depth at which the crack begins",
                ));
            }
        }
        let Some(length_mm) = self.from_length_mm else { return Ok(()) };
        bounds::LENGTH_MM.check("from_length_mm", length_mm)?;
        if length_mm >= width_mm {
            return Err(Error::argument(
                "from_length_mm",
                length_mm,
                &format!("must be below the width of the section ({width_mm} mm)"),
                "give the surface length at which the crack begins",
            ));
        }
        if self.from_depth_mm.is_some() && matches!(spot.crack, CrackShape::FixedFactor { .. }) {
            return Err(Error::argument(
                "from_length_mm",
                length_mm,
                "must not stand beside from_depth_mm: a fixed-factor crack has the one from the other",
                "give one of the two",
            ));
        }
        let [depth_mm, aspect] = self.begins(spot, [f64::NAN, spot.initial_aspect.quantile(0.5)]);
        if let Some((rule, _)) = bounds::ASPECT.refusal("depth over half length", aspect) {
            return Err(Error::argument(
                "from_length_mm",
                length_mm,
                &format!("with from_depth_mm = {depth_mm} makes a shape of {aspect}, which {rule}"),
                "correct the length or the depth",
            ));
        }
        if depth_mm >= thickness_mm {
            return Err(Error::argument(
                "from_length_mm",
                length_mm,
                &format!(
                    "makes a crack {depth_mm} mm deep by the median initial aspect ({aspect}), which must be below the \
                     thickness of the section ({thickness_mm} mm)"
                ),
                "give from_depth_mm too: cracks that are long in their section are seldom that deep",
            ));
        }
        Ok(())
    }

    /// Depth in mm and aspect at the beginning of a crack that would begin with others.
    pub(super) fn begins(&self, spot: &HotSpot, [depth_mm, aspect]: [f64; 2]) -> [f64; 2] {
        let half_length_mm = self.from_length_mm.map(|length_mm| length_mm / spot.crack.halves());
        match (self.from_depth_mm, half_length_mm) {
            (None, None) => [depth_mm, aspect],
            (Some(depth_mm), None) => [depth_mm, aspect],
            (None, Some(half_length_mm)) => [half_length_mm * aspect, aspect],
            (Some(depth_mm), Some(half_length_mm)) => [depth_mm, depth_mm / half_length_mm],
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
        let row = named("row", id, &format!("with root {}", study.roots[root].id), with_root())?;
        let index = study.rows.iter().enumerate().filter(|(_, other)| other.root == root).nth(row);
        Ok(index.map_or(0, |(index, _)| index))
    }
}

/// Root and hot spot in it of a name, `root.hot-spot` or the id of one that only one root has.
pub(in crate::simulation) fn find_hot_spot(study: &Study, name: &str) -> Result<(usize, usize)> {
    let mut found = Vec::new();
    let mut known = Vec::new();
    for (root, about) in study.roots.iter().enumerate() {
        for (class, spot) in about.hot_spots.iter().enumerate() {
            let full = format!("{}.{}", about.id, spot.id);
            if name == full {
                return Ok((root, class));
            }
            if name == spot.id {
                found.push((root, class));
            }
            known.push(full);
        }
    }
    let known = known.join(", ");
    match found.as_slice() {
        [only] => Ok(*only),
        [] => Err(Error::argument("hot_spot", name, "must be in the study", &format!("it has {known}"))),
        _ => Err(Error::argument(
            "hot_spot",
            name,
            "must be one hot spot: several roots have one of that id",
            &format!("give its root too: {known}"),
        )),
    }
}

/// Where what is named stands.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub root: usize,
    pub row: usize,
    /// The other rows with that root, where none was asked for.
    pub others: Vec<usize>,
    /// Index of the hot spot in its root.
    pub class: usize,
    pub technique: Option<usize>,
}
