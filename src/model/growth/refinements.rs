//! Refinements of a growth law beyond Paris' line and its scatter.

use super::paris::ParisLine;
use super::threshold::Threshold;
use crate::error::Result;
use crate::model::stress_corrosion::{HOURS_PER_YEAR, StressCorrosion};

/// Refinements of a growth law beyond Paris' line and its scatter; none by default.
#[derive(Debug, Clone, PartialEq)]
pub struct Refinements {
    /// The steeper line for small ranges, of a law in two stages.
    pub low_stage: Option<ParisLine>,
    /// Range below which a start does not grow a crack.
    pub threshold: Threshold,
    /// Walker's exponent of the stress ratio.
    pub walker_exponent: Option<f64>,
    /// Growth by running hours.
    pub stress_corrosion: Option<CorrosionLaw>,
}

impl Default for Refinements {
    fn default() -> Self {
        Refinements { low_stage: None, threshold: Threshold::None, walker_exponent: None, stress_corrosion: None }
    }
}

/// Growth by stress corrosion, with its own scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CorrosionLaw {
    /// K_ISCC, in MPa sqrt(m).
    pub threshold_mpa_sqrt_m: f64,
    /// Rate above it.
    pub plateau: PlateauRate,
    /// Standard deviation of the logarithm of the rate from crack to crack.
    pub crack_sigma_log: f64,
}

/// Rate of stress corrosion above its threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlateauRate {
    /// As stated.
    Stated {
        /// Median, in mm per year of steady running.
        mm_per_year: f64,
    },
    /// From temperature and yield stress, by [`StressCorrosion::rotor_steel`].
    RotorSteel {
        /// In °C.
        temperature_c: f64,
        /// In MPa.
        yield_mpa: f64,
    },
}

impl CorrosionLaw {
    /// The law that it describes.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn law(&self) -> Result<StressCorrosion> {
        match self.plateau {
            PlateauRate::Stated { mm_per_year } => {
                StressCorrosion::new(self.threshold_mpa_sqrt_m, mm_per_year * 1e-3 / HOURS_PER_YEAR)
            }
            PlateauRate::RotorSteel { temperature_c, yield_mpa } => {
                StressCorrosion::rotor_steel(self.threshold_mpa_sqrt_m, temperature_c, yield_mpa)
            }
        }
    }
}
