//! The range of stress intensity below which a crack does not grow.

use super::paris::MPA_SQRT_M_PER_N_MM;
use crate::bounds;
use crate::error::{Error, Result};

/// Threshold range against the ratio R of the cycle's open part, which lies between 0 and 1.
#[derive(Debug, Clone, PartialEq)]
pub enum Threshold {
    /// Every range grows the crack.
    None,
    /// One threshold, in MPa sqrt(m).
    Constant(ConstantThreshold),
    /// Steel in air, BS 7910 and IIW, from memory: 170 - 214 R in N/mm^1.5 up to R = 0.5, then 63.
    SteelInAir,
    /// Barsom and Rolfe, from memory: 6 MPa sqrt(m) below R = 0.1, then 7 (1 - 0.85 R).
    BarsomRolfe,
    /// Between given ratios along straight lines.
    Table(ThresholdTable),
}

impl Threshold {
    /// One threshold for all ratios, in MPa sqrt(m).
    ///
    /// # Errors
    /// Refuses a number out of range.
    pub fn constant(threshold_mpa_sqrt_m: f64) -> Result<Self> {
        bounds::THRESHOLD_MPA_SQRT_M.check("threshold_mpa_sqrt_m", threshold_mpa_sqrt_m)?;
        Ok(Threshold::Constant(ConstantThreshold(threshold_mpa_sqrt_m)))
    }

    /// From points of ratio and threshold in MPa sqrt(m), and what holds at other ratios.
    ///
    /// # Errors
    /// Refuses an empty table, ratios that do not increase or are not from 0 to 1, and thresholds
    /// out of range; the message names the point, counted from 1.
    pub fn table(points: Vec<[f64; 2]>, beyond: BeyondPoints) -> Result<Self> {
        if points.is_empty() {
            return Err(Error::argument("points", "none", "must be one or more", "give a ratio and its threshold"));
        }
        for (i, &[ratio, threshold]) in points.iter().enumerate() {
            bounds::PROBABILITY.check(&format!("points[{}].ratio", i + 1), ratio)?;
            bounds::THRESHOLD_MPA_SQRT_M.check(&format!("points[{}].threshold_mpa_sqrt_m", i + 1), threshold)?;
            if i > 0 && ratio <= points[i - 1][0] {
                return Err(Error::argument(
                    &format!("points[{}].ratio", i + 1),
                    ratio,
                    &format!("must exceed that of the point before it ({})", points[i - 1][0]),
                    "give each ratio once, in increasing order",
                ));
            }
        }
        Ok(Threshold::Table(ThresholdTable { points, beyond }))
    }

    /// Refuses ratios, from a lowest to a highest, of which a table does not say what holds.
    ///
    /// # Errors
    /// As said.
    pub fn check_ratios(&self, [lowest, highest]: [f64; 2]) -> Result<()> {
        let Threshold::Table(ThresholdTable { points, beyond: BeyondPoints::Refused }) = self else { return Ok(()) };
        let (first, last) = (points[0][0], points[points.len() - 1][0]);
        if first <= lowest && highest <= last {
            return Ok(());
        }
        let occurring = if lowest == highest { format!("{lowest}") } else { format!("from {lowest} to {highest}") };
        Err(Error::argument(
            "threshold.points",
            format!("for stress ratios from {first} to {last}"),
            &format!("must reach the stress ratios that occur at the hot spot ({occurring})"),
            "add points up to there, or give threshold.beyond_points = \"nearest\" if the threshold of the nearest point is \
             to hold there: too high above the last point, where true thresholds fall on, which is on the unsafe side",
        ))
    }

    /// Threshold in MPa sqrt(m) at a ratio; a ratio below 0 counts as 0. Beyond the points of a table it is that of
    /// the nearest: [`Threshold::check_ratios`] tells whether that was agreed to.
    #[inline]
    pub fn at_mpa_sqrt_m(&self, ratio: f64) -> f64 {
        match self {
            Threshold::None => 0.0,
            Threshold::Constant(ConstantThreshold(threshold)) => *threshold,
            Threshold::SteelInAir => {
                let newton_mm = if ratio < 0.5 { 170.0 - 214.0 * ratio.max(0.0) } else { 63.0 };
                newton_mm * MPA_SQRT_M_PER_N_MM
            }
            Threshold::BarsomRolfe => {
                if ratio < 0.1 {
                    6.0
                } else {
                    7.0 * (1.0 - 0.85 * ratio)
                }
            }
            Threshold::Table(ThresholdTable { points, .. }) => {
                let after = points.iter().position(|point| point[0] >= ratio);
                match after {
                    Some(0) => points[0][1],
                    Some(after) => {
                        let ([r0, t0], [r1, t1]) = (points[after - 1], points[after]);
                        t0 + (t1 - t0) * (ratio - r0) / (r1 - r0)
                    }
                    None => points[points.len() - 1][1],
                }
            }
        }
    }

    /// The highest threshold at any ratio, in MPa sqrt(m).
    pub fn highest_mpa_sqrt_m(&self) -> f64 {
        match self {
            Threshold::Table(ThresholdTable { points, .. }) => points.iter().map(|point| point[1]).fold(0.0, f64::max),
            Threshold::BarsomRolfe => self.at_mpa_sqrt_m(0.1),
            _ => self.at_mpa_sqrt_m(0.0),
        }
    }
}

/// A threshold for all ratios, valid by construction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConstantThreshold(f64);

/// Rule for ratios beyond the points of a threshold table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BeyondPoints {
    /// Nothing: a hot spot where such ratios occur is refused.
    Refused,
    /// The threshold of the nearest point.
    Nearest,
}

/// Points of ratio and threshold, valid by construction.
#[derive(Debug, Clone, PartialEq)]
pub struct ThresholdTable {
    points: Vec<[f64; 2]>,
    beyond: BeyondPoints,
}

impl ThresholdTable {
    /// Pairs of ratio and threshold, in MPa sqrt(m).
    pub fn points(&self) -> &[[f64; 2]] {
        &self.points
    }

    /// Rule beyond them.
    pub fn beyond(&self) -> BeyondPoints {
        self.beyond
    }
}
