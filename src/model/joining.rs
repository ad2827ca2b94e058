//! When neighbouring cracks of one serration join into one.
//!
//! Cracks lie in one plane. Those that a rule calls joined count from then on as one crack over the
//! span of both, as deep as the deeper. The rules are those by which flaws are combined for assessment;
//! that real cracks have grown together at that moment is not what they say.

use crate::bounds;
use crate::error::{Error, Result};

/// When two neighbours join, by the gap s between their tips, their depths a and their half lengths c.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JoiningRule {
    /// When their tips touch: s <= 0.
    Touching,
    /// BS 7910:2013: s <= max(a1, a2) / 2. Read in an abstract (PVP2018-51593) for a/c < 1.
    Bs7910Of2013,
    /// ASME XI: s <= half the depth of the deeper. Read in an abstract (PVP2015-56925).
    AsmeXi,
    /// BS 7910:2005 and PD 6493: s <= the length 2c of the shorter, for a/c <= 1; from memory.
    Older,
}

impl JoiningRule {
    /// Whether two cracks join across a gap in mm.
    ///
    /// # Errors
    /// Refuses a gap below zero: tips that have passed each other have a gap of zero.
    pub fn joins(self, one: &PlacedCrack, other: &PlacedCrack, gap_mm: f64) -> Result<bool> {
        bounds::GAP_MM.check("gap_mm", gap_mm)?;
        Ok(gap_mm <= self.widest_gap_mm(one, other))
    }

    /// The widest gap in mm across which two cracks join.
    pub fn widest_gap_mm(self, one: &PlacedCrack, other: &PlacedCrack) -> f64 {
        match self {
            JoiningRule::Touching => 0.0,
            JoiningRule::Bs7910Of2013 | JoiningRule::AsmeXi => 0.5 * one.depth_mm.max(other.depth_mm),
            JoiningRule::Older => one.length_mm.min(other.length_mm),
        }
    }

    /// Whether a crack has the shape for which the rule is stated; where it has not, the rule is
    /// applied all the same, and [`join`] counts it.
    pub fn is_stated_for(self, crack: &PlacedCrack) -> bool {
        let aspect = crack.depth_mm / (0.5 * crack.length_mm);
        match self {
            JoiningRule::Touching | JoiningRule::AsmeXi => true,
            JoiningRule::Bs7910Of2013 => aspect < 1.0,
            JoiningRule::Older => aspect <= 1.0,
        }
    }
}

/// A crack at a place along a serration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlacedCrack {
    position_mm: f64,
    depth_mm: f64,
    length_mm: f64,
}

impl PlacedCrack {
    /// By the position of its middle, its depth and its surface length, in mm.
    ///
    /// # Errors
    /// Refuses numbers out of range.
    pub fn new(position_mm: f64, depth_mm: f64, length_mm: f64) -> Result<Self> {
        bounds::POSITION_MM.check("position_mm", position_mm)?;
        bounds::LENGTH_MM.check("depth_mm", depth_mm)?;
        bounds::LENGTH_MM.check("length_mm", length_mm)?;
        Ok(PlacedCrack { position_mm, depth_mm, length_mm })
    }

    /// Position of its middle along the serration, in mm.
    pub fn position_mm(&self) -> f64 {
        self.position_mm
    }

    /// Depth, in mm.
    pub fn depth_mm(&self) -> f64 {
        self.depth_mm
    }

    /// Surface length, in mm.
    pub fn length_mm(&self) -> f64 {
        self.length_mm
    }

    /// Its two tips along the serration, in mm.
    pub fn tips_mm(&self) -> [f64; 2] {
        [self.position_mm - 0.5 * self.length_mm, self.position_mm + 0.5 * self.length_mm]
    }

    /// The crack that two make: from the first tip to the last, as deep as the deeper.
    pub fn joined_with(&self, other: &PlacedCrack) -> PlacedCrack {
        let ([left, right], [other_left, other_right]) = (self.tips_mm(), other.tips_mm());
        let (left, right) = (left.min(other_left), right.max(other_right));
        PlacedCrack {
            position_mm: 0.5 * (left + right),
            depth_mm: self.depth_mm.max(other.depth_mm),
            length_mm: right - left,
        }
    }
}

/// What [`join`] did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Joined {
    /// Times that two cracks were made one.
    pub joins: usize,
    /// Of these, times that one of the two did not have the shape for which the rule is stated.
    pub outside_the_rule: usize,
}

/// Joins the cracks of one serration until no two neighbours are left that a rule calls joined.
///
/// The cracks stand in order of their middles, and do so afterwards. A join can bring the joined crack
/// within reach of the next, so that a whole row may close at once.
///
/// # Errors
/// Refuses cracks that are not in order; the list is then unchanged.
///
/// # Example
/// ```
/// use serrata::model::joining::{JoiningRule, PlacedCrack, join};
/// // Lengths 6 mm and 8 mm, 1.2 mm apart: nearer than half the greater depth.
/// let mut cracks = vec![PlacedCrack::new(0.0, 2.0, 6.0)?, PlacedCrack::new(8.2, 3.0, 8.0)?];
/// join(&mut cracks, JoiningRule::Bs7910Of2013)?;
/// assert_eq!(cracks.len(), 1);
/// assert!((cracks[0].length_mm() - 15.2).abs() < 1e-12 && cracks[0].depth_mm() == 3.0);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn join(cracks: &mut Vec<PlacedCrack>, rule: JoiningRule) -> Result<Joined> {
    if let Some(i) = cracks.windows(2).position(|pair| !(pair[0].position_mm <= pair[1].position_mm)) {
        let [before, after] = [cracks[i].position_mm, cracks[i + 1].position_mm];
        return Err(Error::argument(
            &format!("cracks[{}].position_mm", i + 2),
            after,
            &format!("must not lie before that of the crack before it ({before})"),
            "sort the cracks by position_mm",
        ));
    }
    let mut joined = Joined::default();
    let mut kept = 0;
    for next in 0..cracks.len() {
        let mut crack = cracks[next];
        while kept > 0 {
            let before = cracks[kept - 1];
            // Tips that have passed each other are no further apart than touching ones.
            let gap_mm = (crack.tips_mm()[0] - before.tips_mm()[1]).max(0.0);
            if gap_mm > rule.widest_gap_mm(&before, &crack) {
                break;
            }
            joined.joins += 1;
            joined.outside_the_rule += usize::from(!(rule.is_stated_for(&before) && rule.is_stated_for(&crack)));
            crack = before.joined_with(&crack);
            kept -= 1;
        }
        cracks[kept] = crack;
        kept += 1;
    }
    cracks.truncate(kept);
    Ok(joined)
}
