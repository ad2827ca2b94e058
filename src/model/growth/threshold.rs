//! The range of stress intensity below which a crack does not grow.

use super::MPA_SQRT_M_PER_N_MM;
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

    /// From points of ratio and threshold in MPa sqrt(m).
    ///
    /// # Errors
    /// Refuses an empty table, ratios that do not increase or are not from 0 to below 1, and thresholds
    /// out of range; the message names the point, counted from 1.
    pub fn table(points: Vec<[f64; 2]>) -> Result<Self> {
        if points.is_empty() {
            return Err(Error::argument("points", "none", "must be one or more", "give a ratio and its threshold"));
        }
        for (i, &[ratio, threshold]) in points.iter().enumerate() {
            bounds::PROBABILITY_BELOW_ONE.check(&format!("points[{}].ratio", i + 1), ratio)?;
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
        Ok(Threshold::Table(ThresholdTable(points)))
    }

    /// Threshold in MPa sqrt(m) at a ratio; a ratio below 0 counts as 0.
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
            Threshold::Table(ThresholdTable(points)) => {
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
            Threshold::Table(ThresholdTable(points)) => points.iter().map(|point| point[1]).fold(0.0, f64::max),
            Threshold::BarsomRolfe => self.at_mpa_sqrt_m(0.1),
            _ => self.at_mpa_sqrt_m(0.0),
        }
    }
}

/// A threshold for all ratios, valid by construction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConstantThreshold(f64);

/// Points of ratio and threshold, valid by construction.
#[derive(Debug, Clone, PartialEq)]
pub struct ThresholdTable(Vec<[f64; 2]>);

impl ThresholdTable {
    /// Pairs of ratio and threshold, in MPa sqrt(m).
    pub fn points(&self) -> &[[f64; 2]] {
        &self.0
    }
}
