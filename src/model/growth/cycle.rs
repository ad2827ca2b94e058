//! One start at a point of a crack front: the highest and the lowest stress intensity.

use crate::bounds;
use crate::error::{Error, Result};

/// Highest and lowest stress intensity of a load cycle, in MPa sqrt(m).
///
/// While it is zero or below the crack is shut there. Only the open part of the cycle counts for
/// growth: from the lowest stress intensity, or from zero if that is higher, to the highest. So a
/// residual compression, which lowers both, takes away range or lowers the ratio.
///
/// # Example
/// ```
/// use serrata::model::growth::Cycle;
/// let cycle = Cycle::from_range(20.0, 0.5)?;
/// assert_eq!((cycle.highest(), cycle.lowest()), (40.0, 20.0));
/// let peened = cycle.superposed(-25.0);
/// assert_eq!((peened.open_range(), peened.open_ratio()), (15.0, 0.0));
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    highest: f64,
    lowest: f64,
}

impl Cycle {
    /// From the highest and the lowest stress intensity.
    ///
    /// # Errors
    /// Refuses numbers out of range, and a lowest above the highest.
    pub fn new(highest_mpa_sqrt_m: f64, lowest_mpa_sqrt_m: f64) -> Result<Self> {
        bounds::INTENSITY_MPA_SQRT_M.check("highest_mpa_sqrt_m", highest_mpa_sqrt_m)?;
        bounds::INTENSITY_MPA_SQRT_M.check("lowest_mpa_sqrt_m", lowest_mpa_sqrt_m)?;
        if lowest_mpa_sqrt_m > highest_mpa_sqrt_m {
            return Err(Error::argument(
                "lowest_mpa_sqrt_m",
                lowest_mpa_sqrt_m,
                &format!("must not exceed highest_mpa_sqrt_m ({highest_mpa_sqrt_m})"),
                "exchange the two",
            ));
        }
        Ok(Cycle { highest: highest_mpa_sqrt_m, lowest: lowest_mpa_sqrt_m })
    }

    /// From a range and the ratio R of lowest to highest, which is below 1.
    ///
    /// # Errors
    /// Refuses numbers out of range, so also a ratio of 1 or more.
    pub fn from_range(range_mpa_sqrt_m: f64, ratio: f64) -> Result<Self> {
        bounds::INTENSITY_MPA_SQRT_M.positive_part().check("range_mpa_sqrt_m", range_mpa_sqrt_m)?;
        bounds::LOAD_RATIO.check("ratio", ratio)?;
        let highest = range_mpa_sqrt_m / (1.0 - ratio);
        Self::new(highest, ratio * highest)
    }

    /// Between two values that are in order.
    #[inline(always)]
    pub(in crate::model) fn between(lowest: f64, highest: f64) -> Self {
        Cycle { highest, lowest }
    }

    /// The same cycle with the stress intensity of a residual stress added, tension positive.
    pub fn superposed(&self, residual_mpa_sqrt_m: f64) -> Self {
        Cycle { highest: self.highest + residual_mpa_sqrt_m, lowest: self.lowest + residual_mpa_sqrt_m }
    }

    /// Highest stress intensity.
    #[inline]
    pub fn highest(&self) -> f64 {
        self.highest
    }

    /// Lowest stress intensity.
    #[inline]
    pub fn lowest(&self) -> f64 {
        self.lowest
    }

    /// Range over which the crack is open.
    #[inline]
    pub fn open_range(&self) -> f64 {
        positive(self.highest) - positive(self.lowest)
    }

    /// Ratio R of that range, from 0 to below 1; zero for a crack that stays shut.
    #[inline]
    pub fn open_ratio(&self) -> f64 {
        if self.highest > 0.0 { positive(self.lowest) / self.highest } else { 0.0 }
    }
}

#[inline(always)]
fn positive(x: f64) -> f64 {
    if x > 0.0 { x } else { 0.0 }
}
