//! Whether the mouth of a crack is open or closed.
//!
//! One state for all techniques: a draw of the crack's own, kept for its life, or a layer that holds it shut at the
//! moment of a look. A crack that comes of joining has the key of the deeper of the two, and with it that one's mouth.

use super::super::plan::RowPlan;
use super::draw;
use crate::model::growth::Site;
use crate::model::residual_stress::mouth_is_closed;
use crate::random::Key;

/// Whether a crack's mouth is closed for all its life.
#[inline(always)]
pub(in crate::simulation) fn is_closed_for_life(row: &RowPlan, crack: Key) -> bool {
    row.closed_mouth_probability > 0.0 && crack.uniform(draw::MOUTH) < row.closed_mouth_probability
}

/// Whether a layer holds the mouth of a crack of this size shut. The machine stands still while it is looked at.
pub(in crate::simulation) fn is_held_shut(site: &Site, depth_mm: f64, half_length_mm: f64) -> bool {
    site.residual().is_some_and(|section| {
        mouth_is_closed(section.intensities(depth_mm, half_length_mm).surface_mpa_sqrt_m)
    })
}
