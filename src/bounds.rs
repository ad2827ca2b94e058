//! Each allowed range, declared once.
//!
//! The same declaration does the checking, words the refusal and stands in the key reference of
//! the study file. Ends are wide enough for any machine and narrow enough that nothing overflows.

use crate::error::{Error, Result};
use std::fmt;

/// An allowed range of a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    low: f64,
    high: f64,
    high_included: bool,
    /// Whether the range is meant to begin just above zero; `low` is then the smallest number
    /// that keeps its figures in the calculation.
    positive: bool,
    /// Whether people also state it in per cent.
    share: bool,
}

impl Bound {
    const fn from(low: f64, high: f64) -> Self {
        Bound { low, high, high_included: true, positive: false, share: false }
    }

    const fn from_to_below(low: f64, high: f64) -> Self {
        Bound { low, high, high_included: false, positive: false, share: false }
    }

    const fn above_zero(smallest: f64, high: f64) -> Self {
        Bound { low: smallest, high, high_included: true, positive: true, share: false }
    }

    const fn share(self) -> Self {
        Bound { share: true, ..self }
    }

    /// Whether a number lies in the range; not-a-number and the infinities never do.
    pub fn admits(&self, x: f64) -> bool {
        x >= self.low && if self.high_included { x <= self.high } else { x < self.high }
    }

    /// Refuses a number outside the range, by the name of the argument it was given for.
    pub(crate) fn check(&self, name: &str, x: f64) -> Result<()> {
        match self.refusal(name, x) {
            None => Ok(()),
            Some((rule, remedy)) => Err(Error::argument(name, x, &rule, &remedy)),
        }
    }

    /// The part of the range above zero.
    pub const fn positive_part(self) -> Self {
        if self.positive { self } else { Bound { low: 1e-9, positive: true, ..self } }
    }

    /// Least number of the range.
    pub fn low(&self) -> f64 {
        self.low
    }

    /// The rule that a number breaks and how to mend it; `None` when it breaks none.
    pub fn refusal(&self, name: &str, x: f64) -> Option<(String, String)> {
        let (low, high) = (plain(self.low), plain(self.high));
        let (rule, remedy) = self.plain_refusal(name, x, &low, &high)?;
        match self.share && x > self.high && self.admits(x / 100.0) {
            true => Some((rule, format!("if {x} % is meant, write {}; else {remedy}", x / 100.0))),
            false => Some((rule, remedy)),
        }
    }

    fn plain_refusal(&self, name: &str, x: f64, low: &str, high: &str) -> Option<(String, String)> {
        if self.admits(x) {
            None
        } else if !x.is_finite() {
            Some(("must be a finite number".into(), format!("give {name} a number {self}")))
        } else if x >= self.low && self.high_included {
            Some((format!("must be at most {high}"), format!("lower {name} to {high} or less")))
        } else if x >= self.low {
            Some((format!("must be below {high}"), format!("lower {name} below {high}")))
        } else if self.positive && x <= 0.0 {
            Some(("must exceed 0".into(), format!("raise {name} above 0")))
        } else {
            Some((format!("must be at least {low}"), format!("raise {name} to {low} or more")))
        }
    }
}

impl fmt::Display for Bound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let high = plain(self.high);
        match (self.positive, self.high_included) {
            (true, _) => write!(f, "above 0 and at most {high}"),
            (false, true) => write!(f, "from {} to {high}", plain(self.low)),
            (false, false) => write!(f, "from {} to below {high}", plain(self.low)),
        }
    }
}

/// A number as people write it: very small and very large ones with a power of ten.
fn plain(x: f64) -> String {
    if x != 0.0 && !(1e-4..1e7).contains(&x.abs()) { format!("{x:e}") } else { x.to_string() }
}

/// An allowed range of a whole number, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Count {
    low: u32,
    high: u32,
}

impl Count {
    const fn from(low: u32, high: u32) -> Self {
        Count { low, high }
    }

    /// The whole number as a count, when it lies in the range.
    pub fn admit(&self, x: i64) -> Option<u32> {
        u32::try_from(x).ok().filter(|x| (self.low..=self.high).contains(x))
    }

    /// The rule that a whole number breaks and how to mend it; `None` when it breaks none.
    pub fn refusal(&self, name: &str, x: i64) -> Option<(String, String)> {
        let Count { low, high } = *self;
        if self.admit(x).is_some() {
            None
        } else if x < i64::from(low) {
            Some((format!("must be at least {low}"), format!("raise {name} to {low} or more")))
        } else {
            Some((format!("must be at most {high}"), format!("lower {name} to {high} or less")))
        }
    }
}

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "from {} to {}", self.low, self.high)
    }
}

/// A calendar year, or a year counted from a beginning of one's own.
pub const YEAR: Bound = Bound::from(-1000.0, 3000.0);
/// How far a study looks ahead, in years.
pub const HORIZON_YEARS: Bound = Bound::above_zero(1e-3, 200.0);
/// Time from one outage to the next, in years.
pub const OUTAGE_INTERVAL_YEARS: Bound = Bound::above_zero(1e-3, 200.0);
/// Outages of one unit within a study.
pub const MOST_OUTAGES: usize = 400;
/// Looks that a strategy may have: a set of them is kept in the bits of one number.
pub const MOST_LOOKS: usize = 32;
/// Interest per year.
pub const DISCOUNT_RATE: Bound = Bound::from_to_below(0.0, 1.0).share();
/// A probability.
pub const PROBABILITY: Bound = Bound::from(0.0, 1.0).share();
/// A probability that may not be certainty.
pub const PROBABILITY_BELOW_ONE: Bound = Bound::from_to_below(0.0, 1.0).share();
/// Confidence of a bound or of an interval.
pub const CONFIDENCE: Bound = Bound::from_to_below(0.5, 1.0).share();
/// A part of a whole.
pub const FRACTION: Bound = Bound::above_zero(1e-9, 1.0).share();
/// A factor on something.
pub const FACTOR: Bound = Bound::above_zero(1e-6, 1e6);
/// A factor on the time to a crack in a used blade.
pub const LIFE_FACTOR_OF_USED: Bound = Bound::above_zero(1e-6, 1.0);
/// Geometry factor Y of a stress intensity.
pub const GEOMETRY_FACTOR: Bound = Bound::above_zero(1e-3, 100.0);
/// A correlation.
pub const CORRELATION: Bound = Bound::from(-1.0, 1.0);
/// Standard deviation of a logarithm; 3 spreads the middle 95 % over five powers of ten.
pub const SIGMA_LOG: Bound = Bound::from(0.0, 3.0);
/// Standard deviation of a logarithm that may not be zero.
pub const SIGMA_LOG_ABOVE_ZERO: Bound = Bound::above_zero(1e-6, 3.0);
/// Standard deviation of a blade's log stress factor.
pub const STRESS_SIGMA_LOG: Bound = Bound::from(0.0, 1.0);
/// Coefficient of variation.
pub const COV: Bound = Bound::above_zero(0.01, 3.0);
/// Scale of a detection curve in the logarithm of size.
pub const SPREAD: Bound = Bound::above_zero(1e-6, 10.0);
/// Shift of a detection curve in the logarithm of size; 10 is a factor of 22,000.
pub const SHIFT_LOG: Bound = Bound::from(-10.0, 10.0);
/// Shape of a Weibull distribution.
pub const WEIBULL_SHAPE: Bound = Bound::from(0.1, 100.0);
/// Power by which the tail of a Pareto distribution falls.
pub const TAIL_EXPONENT: Bound = Bound::above_zero(0.01, 100.0);
/// A month, from 1 for January.
pub const MONTH: Count = Count::from(1, 12);
/// A chance that is not to be passed.
pub const LIMIT_PROBABILITY: Bound = Bound::above_zero(1e-15, 1.0).share();
/// Reading of an initiation clock, in starts, hours or their mixture.
pub const CLOCK_READING: Bound = Bound::above_zero(1e-12, 1e12);
/// Clock units per start or per hour.
pub const CLOCK_WEIGHT: Bound = Bound::from(0.0, 1e6);
/// Exponent of the stress-life line.
pub const STRESS_EXPONENT: Bound = Bound::from(0.0, 50.0);
/// Paris coefficient, in m per start with MPa sqrt(m).
pub const GROWTH_COEFFICIENT: Bound = Bound::above_zero(1e-60, 1e-2);
/// Paris exponent.
pub const GROWTH_EXPONENT: Bound = Bound::from(1.0, 10.0);
/// A length, in mm.
pub const LENGTH_MM: Bound = Bound::above_zero(1e-6, 1e5);
/// Depth over half surface length: the validity of the stress-intensity equation used.
pub const ASPECT: Bound = Bound::above_zero(0.01, 2.0);
/// A stress, in MPa.
pub const STRESS_MPA: Bound = Bound::from(-1e4, 1e4);
/// A toughness, in MPa sqrt(m).
pub const TOUGHNESS_MPA_SQRT_M: Bound = Bound::above_zero(1e-3, 1e4);
/// A threshold stress intensity, in MPa sqrt(m); zero is no threshold.
pub const THRESHOLD_MPA_SQRT_M: Bound = Bound::from(0.0, 1e3);
/// A stress intensity, in MPa sqrt(m).
pub const INTENSITY_MPA_SQRT_M: Bound = Bound::from(-1e5, 1e5);
/// Lowest over highest load of a start.
pub const LOAD_RATIO: Bound = Bound::from_to_below(-10.0, 1.0);
/// Walker's exponent gamma: 1 makes the growth rate independent of the ratio.
pub const WALKER_EXPONENT: Bound = Bound::from(0.0, 1.0);
/// Elastic modulus, in MPa.
pub const MODULUS_MPA: Bound = Bound::above_zero(1e3, 1e6);
/// Yield stress or ultimate strength, in MPa.
pub const STRENGTH_MPA: Bound = Bound::above_zero(1.0, 1e4);
/// A compressive stress, as a size, in MPa.
pub const COMPRESSION_MPA: Bound = Bound::from(0.0, 1e4);
/// A growth rate by time, in m per hour.
pub const RATE_M_PER_HOUR: Bound = Bound::above_zero(1e-30, 1.0);
/// A growth rate by steady running, in mm per year.
pub const CORROSION_MM_PER_YEAR: Bound = Bound::above_zero(1e-12, 1e6);
/// A depth in a table of stress, in mm.
pub const PROFILE_DEPTH_MM: Bound = Bound::from(0.0, 1e5);
/// Temperature of the correlation for stress corrosion in rotor steels: as far as its table goes.
pub const ROTOR_STEEL_TEMPERATURE_C: Bound = Bound::from(60.0, 150.0);
/// Yield stress of the same.
pub const ROTOR_STEEL_YIELD_MPA: Bound = Bound::from(600.0, 1000.0);
/// Frequency of a vibration, in Hz.
pub const FREQUENCY_HZ: Bound = Bound::above_zero(1e-3, 1e5);
/// A gap between two cracks, in mm.
pub const GAP_MM: Bound = Bound::from(0.0, 1e5);
/// A place along a serration, in mm.
pub const POSITION_MM: Bound = Bound::from(-1e5, 1e5);
/// Starts per year.
pub const STARTS_PER_YEAR: Bound = Bound::from(0.0, 1e6);
/// Starts counted from any one moment.
pub const STARTS: Bound = Bound::from(0.0, 1e9);
/// Starts from one overspeed to the next.
pub const EVERY_STARTS: Bound = Bound::from(1.0, 1e6);
/// Overspeed over running speed.
pub const SPEED_RATIO: Bound = Bound::from(1.0, 1.5);
/// Running hours per year; a leap year has 8784.
pub const HOURS_PER_YEAR: Bound = Bound::from(0.0, 8784.0);
/// Days.
pub const DAYS: Bound = Bound::from(0.0, 1e5);
/// Money.
pub const COST: Bound = Bound::from(0.0, 1e15);
/// Blades of a row.
pub const BLADES: Count = Count::from(1, 1000);
/// Spare blades in stock.
pub const SPARES: Count = Count::from(0, 100_000);
/// Days from the order of a blade to its arrival.
pub const LEAD_DAYS: Bound = Bound::above_zero(1e-3, 1e5);
/// Blades that a look called.
pub const FOUND: Count = Count::from(0, 1000);
/// Crews at an outage.
pub const CREWS: Count = Count::from(1, 100);
/// A serration, counted from the platform.
pub const SERRATION: Count = Count::from(1, 50);
/// Positions along a serration, or origins at one place.
pub const PLACES: Count = Count::from(1, 1000);
/// An outage, counted from 1, or a number of outages.
pub const OUTAGES: Count = Count::from(1, MOST_OUTAGES as u32);

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(bound: Bound, x: f64) -> String {
        bound.refusal("x", x).map_or("admitted".into(), |(rule, remedy)| format!("{rule}; {remedy}"))
    }

    #[test]
    fn a_refusal_says_which_end_was_passed() {
        assert_eq!(refusal(LENGTH_MM, 2.0), "admitted");
        assert_eq!(refusal(LENGTH_MM, 0.0), "must exceed 0; raise x above 0");
        assert_eq!(refusal(LENGTH_MM, -1.0), "must exceed 0; raise x above 0");
        assert_eq!(refusal(LENGTH_MM, 1e-9), "must be at least 1e-6; raise x to 1e-6 or more");
        assert_eq!(refusal(LENGTH_MM, 1e6), "must be at most 100000; lower x to 100000 or less");
        assert_eq!(refusal(STRESS_SIGMA_LOG, 2.0), "must be at most 1; lower x to 1 or less");
        assert_eq!(refusal(PROBABILITY, -0.1), "must be at least 0; raise x to 0 or more");
    }

    #[test]
    fn a_share_above_one_may_be_meant_in_per_cent() {
        assert_eq!(
            refusal(PROBABILITY, 97.0),
            "must be at most 1; if 97 % is meant, write 0.97; else lower x to 1 or less"
        );
        assert_eq!(refusal(DISCOUNT_RATE, 8.0), "must be below 1; if 8 % is meant, write 0.08; else lower x below 1");
        assert_eq!(refusal(DISCOUNT_RATE, 100.0), "must be below 1; lower x below 1");
        assert_eq!(refusal(PROBABILITY, 101.0), "must be at most 1; lower x to 1 or less");
    }

    #[test]
    fn numbers_that_are_none_are_refused() {
        for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(refusal(PROBABILITY, x), "must be a finite number; give x a number from 0 to 1");
            assert!(!LENGTH_MM.admits(x));
        }
    }

    #[test]
    fn a_count_is_refused_on_either_side() {
        assert_eq!(BLADES.admit(80), Some(80));
        let broken = |x| BLADES.refusal("blades", x).map(|(rule, _)| rule);
        assert_eq!(broken(0).as_deref(), Some("must be at least 1"));
        assert_eq!(broken(i64::MIN).as_deref(), Some("must be at least 1"));
        assert_eq!(broken(i64::MAX).as_deref(), Some("must be at most 1000"));
        assert_eq!(broken(1000), None);
    }

    #[test]
    fn a_range_reads_as_words() {
        assert_eq!(LENGTH_MM.to_string(), "above 0 and at most 100000");
        assert_eq!(DISCOUNT_RATE.to_string(), "from 0 to below 1");
        assert_eq!(BLADES.to_string(), "from 1 to 1000");
    }
}
