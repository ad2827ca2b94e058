//! Vibration in service: harmless below the threshold of growth, the end of a blade above it.
//!
//! A blade vibrates by the million cycles an hour. Under the steady load of running a crack sees a small
//! range at a high ratio; while that is below the threshold nothing happens, and once a crack has grown
//! so far that it is above, the blade has hours left.

use crate::bounds;
use crate::error::Result;

/// What a vibration above the threshold does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Runaway {
    /// The blade is lost at once.
    AtOnce,
    /// The crack grows by every cycle of the vibration, by the law of growth per start.
    ByLaw,
}

/// A vibration of a blade at a hot spot.
///
/// # Example
/// ```
/// use serrata::model::vibration::{Runaway, Vibration};
/// let first_mode = Vibration::new(15.0, 0.0, 120.0, Runaway::ByLaw)?;
/// assert_eq!(first_mode.cycles_per_hour(), 432_000.0);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vibration {
    membrane_mpa: f64,
    bending_mpa: f64,
    frequency_hz: f64,
    runaway: Runaway,
}

impl Vibration {
    /// From the stress range, uniform and falling linearly with depth, in MPa, and the frequency.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn new(membrane_mpa: f64, bending_mpa: f64, frequency_hz: f64, runaway: Runaway) -> Result<Self> {
        bounds::STRESS_MPA.check("membrane_mpa", membrane_mpa)?;
        bounds::STRESS_MPA.check("bending_mpa", bending_mpa)?;
        bounds::FREQUENCY_HZ.check("frequency_hz", frequency_hz)?;
        Ok(Vibration { membrane_mpa, bending_mpa, frequency_hz, runaway })
    }

    /// Uniform part and surface value of the linear part of the stress range, in MPa.
    pub fn range_mpa(&self) -> [f64; 2] {
        [self.membrane_mpa, self.bending_mpa]
    }

    /// Frequency, in Hz.
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }

    /// Cycles in an hour of running.
    pub fn cycles_per_hour(&self) -> f64 {
        3600.0 * self.frequency_hz
    }

    /// What it does above the threshold.
    pub fn runaway(&self) -> Runaway {
        self.runaway
    }
}
