//! Loads on the cracks of one hot spot: start, residual stress and vibration, at any size.

use super::cycle::Cycle;
use super::rate_law::PointLoad;
use crate::bounds;
use crate::error::{Error, Result};
use crate::model::fracture::{CrackPlace, CrackedSection, Intensities, Outside, StressField};
use crate::model::residual_stress::ResidualStress;
use crate::model::vibration::Vibration;

/// The section of a hot spot with all its stresses.
///
/// The load of a start goes from `load_ratio` times the stress to the stress; residual stress adds to
/// both. Everything is linear elastic, so a blade's own stress factor scales the load's part alone.
///
/// # Example
/// ```
/// use serrata::model::fracture::{CrackPlace, CrackedSection, StressField};
/// use serrata::model::growth::{LoadFactors, Site};
/// use serrata::model::residual_stress::{ResidualStress, TreatedFaces};
///
/// let stress = StressField::Linear { membrane_mpa: 300.0, bending_mpa: 0.0 };
/// let section = CrackedSection::new(20.0, 100.0, CrackPlace::Along, stress)?;
/// let peened = ResidualStress::layer(600.0, 0.25, 20.0, TreatedFaces::Both)?;
/// let site = Site::new(section, 0.0, Some(peened), None)?;
/// let ([deepest, surface], _) = site.loads(0.1, 0.15, LoadFactors::default());
/// assert!(deepest.start.highest() < 0.0 && surface.start.highest() < 0.0); // held closed by the layer
/// let ([deepest, _], _) = site.loads(2.0, 3.0, LoadFactors::default());
/// assert!(deepest.start.highest() > 0.0); // open below it
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    start: CrackedSection,
    load_ratio: f64,
    residual: Option<CrackedSection>,
    vibration: Option<CrackedSection>,
}

/// Factors of one blade on the stresses of its hot spot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadFactors {
    /// On the stress of a start.
    pub stress: f64,
    /// On the range of the vibration.
    pub vibration: f64,
}

impl Default for LoadFactors {
    fn default() -> Self {
        LoadFactors { stress: 1.0, vibration: 1.0 }
    }
}

impl Site {
    /// A section under the stress of full load; the lowest load of a start as a ratio of that; residual
    /// stress; vibration.
    ///
    /// # Errors
    /// Refuses a load ratio of 1 or more; a residual stress that does not reach through the section;
    /// and residual stress or bending vibration at a corner crack, for which there is no solution.
    pub fn new(
        start: CrackedSection,
        load_ratio: f64,
        residual: Option<ResidualStress>,
        vibration: Option<Vibration>,
    ) -> Result<Self> {
        bounds::LOAD_RATIO.check("load_ratio", load_ratio)?;
        let under = |stress| CrackedSection::new(start.thickness_mm(), start.width_mm(), start.place(), stress);
        if residual.is_some() && start.place() == CrackPlace::AtEnd {
            return Err(Error::argument(
                "residual",
                "a profile",
                "cannot act on a crack at the end of a serration: its solution knows uniform stress alone",
                "leave the residual stress out, which is on the safe side for a compressive layer",
            ));
        }
        let residual = match residual {
            Some(residual) => Some(under(StressField::Profile(residual.profile().clone()))?),
            None => None,
        };
        let vibration = match vibration {
            Some(vibration) => {
                let [membrane_mpa, bending_mpa] = vibration.range_mpa();
                Some(under(StressField::Linear { membrane_mpa, bending_mpa })?)
            }
            None => None,
        };
        Ok(Site { start, load_ratio, residual, vibration })
    }

    /// The section under full load.
    pub fn start(&self) -> &CrackedSection {
        &self.start
    }

    /// Lowest over highest load of a start.
    pub fn load_ratio(&self) -> f64 {
        self.load_ratio
    }

    /// The section under residual stress.
    pub fn residual(&self) -> Option<&CrackedSection> {
        self.residual.as_ref()
    }

    /// The section under the range of the vibration.
    pub fn vibration(&self) -> Option<&CrackedSection> {
        self.vibration.as_ref()
    }

    /// Lowest and highest ratio of the open part of a load cycle that can occur at a crack here.
    ///
    /// Of a start under its own load alone it is the load ratio, or 0 where that is below. Residual stress shifts it to
    /// anything, and a vibration about full load may have any.
    pub fn open_ratios(&self) -> [f64; 2] {
        if self.residual.is_some() || self.vibration.is_some() {
            return [0.0, 1.0];
        }
        [self.load_ratio.max(0.0); 2]
    }

    /// Loads at the deepest point and at the surface of a crack, and in what the crack is outside the
    /// range of its solution.
    pub fn loads(&self, depth_mm: f64, half_length_mm: f64, factors: LoadFactors) -> ([PointLoad; 2], Outside) {
        let points = |intensities: Intensities| [intensities.deepest_mpa_sqrt_m, intensities.surface_mpa_sqrt_m];
        let of = |section: &Option<CrackedSection>| {
            section.as_ref().map_or([0.0; 2], |section| points(section.intensities(depth_mm, half_length_mm)))
        };
        let start = self.start.intensities(depth_mm, half_length_mm);
        let (residual, vibration) = (of(&self.residual), of(&self.vibration));
        let load = |i: usize| {
            PointLoad::new(
                factors.stress * points(start)[i],
                self.load_ratio,
                residual[i],
                factors.vibration * vibration[i],
            )
        };
        ([load(0), load(1)], start.outside)
    }
}

impl PointLoad {
    /// From the stress intensity of full load, the ratio of lowest to full load, the residual stress
    /// intensity and the range of the vibration.
    #[inline(always)]
    pub(in crate::model) fn new(full: f64, load_ratio: f64, residual: f64, vibratory_range: f64) -> Self {
        // A load that presses the point shut is highest where it is lowest.
        let (lowest, highest) = if full >= 0.0 { (load_ratio * full, full) } else { (full, load_ratio * full) };
        PointLoad {
            start: Cycle::between(lowest + residual, highest + residual),
            vibratory_range: vibratory_range.abs(),
        }
    }
}
