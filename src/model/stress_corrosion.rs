//! Growth of cracks by stress corrosion, by the hour.
//!
//! Above a threshold K_ISCC cracks grow at a plateau rate that does not depend on the stress intensity
//! (M. O. Speidel and co-workers: threshold near 20 MPa sqrt(m) in rotor steels, a strong effect of
//! temperature and yield stress, none of oxygen, carbon dioxide or impurities of the steel; read).
//! Published scatter was not found; a factor of 2 to 3 either way is an assumption.

use crate::bounds;
use crate::error::Result;

/// Hours of a year of 365 days.
pub(crate) const HOURS_PER_YEAR: f64 = 8760.0;
const M_PER_INCH: f64 = 0.0254;
const MPA_PER_KSI: f64 = 6.894_757_293_168_361;

/// Stress corrosion of one material and environment.
///
/// # Example
/// ```
/// use serrata::model::stress_corrosion::StressCorrosion;
/// let rotor_steel = StressCorrosion::rotor_steel(20.0, 90.0, 827.0)?;
/// assert!((rotor_steel.plateau_mm_per_year() - 0.6117).abs() < 1e-4);
/// assert_eq!(rotor_steel.rate_m_per_hour(19.0), 0.0);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StressCorrosion {
    threshold_mpa_sqrt_m: f64,
    plateau_m_per_hour: f64,
}

impl StressCorrosion {
    /// From K_ISCC in MPa sqrt(m) and the median plateau rate in m per hour; a crack's own scatter is a
    /// factor on the rate.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn new(threshold_mpa_sqrt_m: f64, plateau_m_per_hour: f64) -> Result<Self> {
        bounds::THRESHOLD_MPA_SQRT_M.check("threshold_mpa_sqrt_m", threshold_mpa_sqrt_m)?;
        bounds::RATE_M_PER_HOUR.check("plateau_m_per_hour", plateau_m_per_hour)?;
        Ok(StressCorrosion { threshold_mpa_sqrt_m, plateau_m_per_hour })
    }

    /// With the plateau rate of rotor steels at a temperature in °C and a yield stress in MPa.
    ///
    /// W. G. Clark, B. B. Seth and D. H. Shaffer (1981): `ln R = -4.968 - 7302/T + 0.0278 s`, R in inches
    /// per hour, T in degrees Rankine, s in ksi; from memory. It is for discs of 3 to 3.5 % NiCrMoV
    /// steel in wet steam and condensate, not for blade steels with 12 % chromium.
    ///
    /// # Errors
    /// Refuses temperatures outside 60 to 150 °C and yield stresses outside 600 to 1000 MPa.
    pub fn rotor_steel(threshold_mpa_sqrt_m: f64, temperature_c: f64, yield_mpa: f64) -> Result<Self> {
        bounds::ROTOR_STEEL_TEMPERATURE_C.check("temperature_c", temperature_c)?;
        bounds::ROTOR_STEEL_YIELD_MPA.check("yield_mpa", yield_mpa)?;
        let temperature_rankine = (temperature_c + 273.15) * 1.8;
        let ln_inches_per_hour = -4.968 - 7302.0 / temperature_rankine + 0.0278 * yield_mpa / MPA_PER_KSI;
        Self::new(threshold_mpa_sqrt_m, M_PER_INCH * ln_inches_per_hour.exp())
    }

    /// K_ISCC, in MPa sqrt(m).
    pub fn threshold_mpa_sqrt_m(&self) -> f64 {
        self.threshold_mpa_sqrt_m
    }

    /// Rate above the threshold, in m per hour.
    pub fn plateau_m_per_hour(&self) -> f64 {
        self.plateau_m_per_hour
    }

    /// The same in mm per year of steady running.
    pub fn plateau_mm_per_year(&self) -> f64 {
        1e3 * HOURS_PER_YEAR * self.plateau_m_per_hour
    }

    /// Rate at a stress intensity in MPa sqrt(m), in m per hour: the plateau above the threshold.
    pub fn rate_m_per_hour(&self, intensity_mpa_sqrt_m: f64) -> f64 {
        if intensity_mpa_sqrt_m > self.threshold_mpa_sqrt_m { self.plateau_m_per_hour } else { 0.0 }
    }
}
