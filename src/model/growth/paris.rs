//! Lines of growth per start against the range of stress intensity, straight on logarithmic axes.

use crate::bounds;
use crate::error::{Error, Result};
use crate::math::{exp, ln};

/// 1 N/mm^1.5 in MPa sqrt(m).
pub const MPA_SQRT_M_PER_N_MM: f64 = 0.031_622_776_601_683_79;

/// Paris' line: `da/dN = C dK**m`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ParisLine {
    ln_coefficient: f64,
    exponent: f64,
}

impl ParisLine {
    /// From C in m per start with the range in MPa sqrt(m), and m.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn new(coefficient_m_per_start: f64, exponent: f64) -> Result<Self> {
        bounds::GROWTH_COEFFICIENT.check("coefficient_m_per_start", coefficient_m_per_start)?;
        bounds::GROWTH_EXPONENT.check("exponent", exponent)?;
        Ok(ParisLine { ln_coefficient: coefficient_m_per_start.ln(), exponent })
    }

    /// From C in mm per start with the range in N/mm^1.5, the units of BS 7910.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn from_newton_and_mm(coefficient: f64, exponent: f64) -> Result<Self> {
        Self::new(1e-3 * coefficient * MPA_SQRT_M_PER_N_MM.powf(-exponent), exponent)
    }

    /// C, in m per start with the range in MPa sqrt(m).
    pub fn coefficient_m_per_start(&self) -> f64 {
        self.ln_coefficient.exp()
    }

    /// m.
    pub fn exponent(&self) -> f64 {
        self.exponent
    }

    /// Growth in m per start, from the logarithm of a range in MPa sqrt(m).
    #[inline(always)]
    pub(in crate::model) fn at_ln(&self, ln_range: f64) -> f64 {
        exp(self.ln_coefficient + self.exponent * ln_range)
    }

    /// Where the line meets another, as the logarithm of the range.
    fn ln_meeting(&self, other: &ParisLine) -> f64 {
        (other.ln_coefficient - self.ln_coefficient) / (self.exponent - other.exponent)
    }
}

/// One line, or two that meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GrowthLines {
    /// One line for all ranges.
    Paris(ParisLine),
    /// A steep line for small ranges, and a flatter one from where they meet.
    TwoStage(TwoStage),
}

/// Two lines that meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoStage {
    low: ParisLine,
    high: ParisLine,
    transition: f64,
}

impl TwoStage {
    /// From the line for small ranges and that for large ones.
    ///
    /// # Errors
    /// Refuses lines of which the first is not the steeper: the two would not make one falling curve.
    pub fn new(low: ParisLine, high: ParisLine) -> Result<Self> {
        if low.exponent <= high.exponent {
            return Err(Error::argument(
                "low.exponent",
                low.exponent,
                &format!("must exceed high.exponent ({}): the line for small ranges is the steeper", high.exponent),
                "exchange the two lines, or use one",
            ));
        }
        Ok(TwoStage { low, high, transition: exp(low.ln_meeting(&high)) })
    }

    /// The line for small ranges.
    pub fn low(&self) -> ParisLine {
        self.low
    }

    /// The line for large ranges.
    pub fn high(&self) -> ParisLine {
        self.high
    }

    /// Range at which they meet, in MPa sqrt(m).
    pub fn transition_mpa_sqrt_m(&self) -> f64 {
        self.transition
    }
}

impl GrowthLines {
    /// Growth in m per start at a range in MPa sqrt(m) above zero.
    pub fn rate_m_per_start(&self, range_mpa_sqrt_m: f64) -> f64 {
        self.at_ln(ln(range_mpa_sqrt_m), self.is_high(range_mpa_sqrt_m))
    }

    /// Whether a range is on the line for large ranges.
    #[inline]
    pub(in crate::model) fn is_high(&self, range: f64) -> bool {
        match self {
            GrowthLines::Paris(_) => false,
            GrowthLines::TwoStage(two) => range > two.transition,
        }
    }

    /// Growth by the line for large or for small ranges, whichever the range.
    #[inline(always)]
    pub(in crate::model) fn at_ln(&self, ln_range: f64, high: bool) -> f64 {
        match self {
            GrowthLines::Paris(line) => line.at_ln(ln_range),
            GrowthLines::TwoStage(two) => if high { two.high } else { two.low }.at_ln(ln_range),
        }
    }
}

/// Where steel is, for [`bs7910`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Environment {
    /// Air.
    Air,
    /// Sea water, freely corroding; tested at 0.1 to 0.2 Hz and 4 to 10 °C.
    Marine,
}

/// Ratio R for which the lines of [`bs7910`] were fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RatioClass {
    /// R below 0.5.
    BelowHalf,
    /// R of 0.5 and above.
    HalfAndAbove,
}

/// Which line of the scatter, for [`bs7910`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScatterLine {
    /// The mean.
    Mean,
    /// Two standard deviations of ln C above it.
    TwoDeviationsAbove,
}

/// The two-stage lines of BS 7910 for steels.
///
/// The means for R of 0.5 and above were read in the JCSS Probabilistic Model Code, part 3.12; the other
/// six pairs are from memory, and the transitions that BS 7910 prints (from memory) follow from them.
///
/// # Example
/// ```
/// use serrata::model::growth::{Environment, RatioClass, ScatterLine, bs7910};
/// let lines = bs7910(Environment::Air, RatioClass::BelowHalf, ScatterLine::Mean);
/// assert!((lines.transition_mpa_sqrt_m() - 363.0 * 0.0316228).abs() < 0.02); // printed as 363 N/mm^1.5
/// ```
pub fn bs7910(environment: Environment, ratio: RatioClass, scatter: ScatterLine) -> TwoStage {
    use Environment::{Air, Marine};
    use RatioClass::{BelowHalf, HalfAndAbove};
    // Of each stage: C of the mean and of two deviations above, in mm and N/mm^1.5, and m.
    let ([low, high], [low_exponent, high_exponent]) = match (environment, ratio) {
        (Air, BelowHalf) => ([[1.21e-26, 4.37e-26], [3.98e-13, 6.77e-13]], [8.16, 2.88]),
        (Air, HalfAndAbove) => ([[4.80e-18, 2.10e-17], [5.86e-13, 1.29e-12]], [5.10, 2.88]),
        (Marine, BelowHalf) => ([[3.00e-14, 8.55e-14], [1.27e-7, 1.93e-7]], [3.42, 1.30]),
        (Marine, HalfAndAbove) => ([[5.37e-14, 1.72e-13], [5.67e-7, 7.48e-7]], [3.42, 1.11]),
    };
    let which = match scatter {
        ScatterLine::Mean => 0,
        ScatterLine::TwoDeviationsAbove => 1,
    };
    let line = |coefficients: [f64; 2], exponent: f64| ParisLine {
        ln_coefficient: (1e-3 * coefficients[which] * MPA_SQRT_M_PER_N_MM.powf(-exponent)).ln(),
        exponent,
    };
    let (low, high) = (line(low, low_exponent), line(high, high_exponent));
    TwoStage { low, high, transition: exp(low.ln_meeting(&high)) }
}
