//! Whether the mouth of a crack is open or closed.
//!
//! One state for all techniques. Where the surface states a chance, it is a draw of the crack's own, kept for its life;
//! a crack that comes of joining has the key of the deeper of the two, and with it that one's mouth. Where it states
//! none, a layer holds the mouth shut or does not, at the moment of a look.

use super::draw;
use super::plan::NaturePlan;
use crate::model::growth::Site;
use crate::model::residual_stress::mouth_is_closed;
use crate::random::Key;

/// Whether a crack's mouth is closed for all its life.
#[inline(always)]
pub(crate) fn is_closed_for_life(plan: &NaturePlan, crack: Key) -> bool {
    plan.closed_mouth_probability.is_some_and(|chance| chance > 0.0 && crack.uniform(draw::MOUTH) < chance)
}

/// Whether a layer holds the mouth of a crack of this size shut. The machine stands still while it is looked at.
pub(crate) fn is_held_shut(plan: &NaturePlan, site: &Site, depth_mm: f64, half_length_mm: f64) -> bool {
    let residual = site.residual().filter(|_| plan.closed_mouth_probability.is_none());
    residual.is_some_and(|section| mouth_is_closed(section.intensities(depth_mm, half_length_mm).surface_mpa_sqrt_m))
}
