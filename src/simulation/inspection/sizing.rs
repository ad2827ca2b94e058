//! Lengths that techniques report.

use super::{Inspections, draw};
use crate::math::exp;
use crate::simulation::nature::{Crack, Nature, purpose};

impl Inspections<'_> {
    /// Length that a technique reports for a crack at an outage to come, in mm.
    pub fn measured_mm(&self, nature: &Nature, crack: &Crack, technique: usize, outage: usize) -> f64 {
        let about = &self.plan.techniques[technique];
        let to_come = (outage - nature.plan.calendar.start) as u64;
        let scatter = crack.key.child(about.name).normal(draw::SIZE + to_come);
        nature.sizes.length_mm[crack.place(outage)] * about.sizing_bias * exp(about.sizing_sigma * scatter)
    }

    /// Length that a technique reports for a false indication, in mm.
    pub fn false_length_mm(&self, nature: &Nature, life: usize, blade: u32, technique: usize, outage: usize) -> f64 {
        let about = &self.plan.techniques[technique];
        let to_come = (outage - nature.plan.calendar.start) as u64;
        let key = nature.lives[life].key.child(purpose::FALSE_CALLS).child(about.name).child(u64::from(blade));
        about.false_call_length.draw(key, draw::SIZE + to_come)
    }
}
