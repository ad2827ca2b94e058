//! What each technique would answer, here, at each outage.
//!
//! An answer is a pure function of the crack, the technique and the outage, whatever the strategy.

mod calls;
mod false_calls;
mod plan;
mod sizing;
mod stops;
mod technique;

pub(crate) use false_calls::{FalseCall, FalseCalls};
pub(crate) use plan::InspectionPlan;
pub(crate) use stops::Stop;
pub(crate) use technique::{TechniquePlan, on_surface};

use super::nature::{Nature, NaturePlan, purpose};
use calls::{CallBuffers, Calls};
use false_calls::FalseCaller;

/// Draws of a crack and a technique, by counter.
pub(crate) mod draw {
    /// What persists in the crack.
    pub const PERSISTENT: u64 = 0;
    /// Calls, by outages to come.
    pub const CALL: u64 = 1;
    /// Measured lengths, by outages to come.
    pub const SIZE: u64 = 1 << 32;
    /// Calls at outages before the study starts.
    pub const PAST_CALL: u64 = 2 << 32;
    /// Measured lengths there.
    pub const PAST_SIZE: u64 = 3 << 32;
    /// Measured depths, by outages to come.
    pub const DEPTH: u64 = 4 << 32;
    /// Calls, measured lengths and measured depths at stops between outages.
    pub const STOP_CALL: u64 = 5 << 32;
    pub const STOP_SIZE: u64 = 6 << 32;
    pub const STOP_DEPTH: u64 = 7 << 32;
    /// Whether a cleaning, in place of a technique, shuts the mouth, by outages to come.
    pub const SMEARED: u64 = 8 << 32;
}

/// The answers of all techniques in use, in some lives of a row.
#[derive(Debug)]
pub(crate) struct Inspections<'p> {
    pub plan: &'p InspectionPlan,
    /// By technique; empty where one is not in use.
    calls: Vec<Calls>,
    false_calls: Vec<FalseCalls>,
    /// Blades that would be damaged at each outage to come, did they come out there.
    pub damaged: FalseCalls,
    // Storage that is kept from life to life.
    buffers: CallBuffers,
    false_caller: FalseCaller,
}

impl<'p> Inspections<'p> {
    pub fn new(plan: &'p InspectionPlan, nature: &NaturePlan) -> Self {
        let outages = nature.calendar.len();
        Inspections {
            calls: plan.techniques.iter().map(|technique| Calls::new(technique, outages)).collect(),
            false_calls: plan.techniques.iter().map(|_| FalseCalls::default()).collect(),
            damaged: FalseCalls::default(),
            buffers: CallBuffers::default(),
            false_caller: FalseCaller::default(),
            plan,
        }
    }

    /// Draws the false calls of all lives.
    pub fn draw_false_calls(&mut self, nature: &Nature) {
        for &technique in &self.plan.in_use {
            let about = &self.plan.techniques[technique];
            self.false_caller.draw(about, nature, &mut self.false_calls[technique]);
        }
        let (hazard, names) = (self.plan.handling_hazard, [purpose::HANDLING, 0]);
        if hazard > 0.0 {
            self.false_caller.draw_by_hazard(hazard, names, nature, &mut self.damaged);
        }
    }

    /// False calls by a technique in every life, were it used at every outage to come and the blades clean.
    pub fn false_calls(&self, technique: usize) -> &FalseCalls {
        &self.false_calls[technique]
    }

    /// Lives and blades with any.
    pub fn falsely_called(&self) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.false_calls.iter().flat_map(|calls| calls.all().iter().map(|call| (call.life, call.blade)))
    }
}

#[cfg(test)]
mod tests {
    use super::draw;

    /// No two of them meet, for any number of outages.
    #[test]
    fn draws_of_a_crack_and_a_technique_lie_far_apart() {
        let mut firsts = vec![draw::CALL, draw::SIZE, draw::PAST_CALL, draw::PAST_SIZE, draw::DEPTH];
        firsts.extend([draw::STOP_CALL, draw::STOP_SIZE, draw::STOP_DEPTH, draw::SMEARED]);
        assert!(
            draw::PERSISTENT < draw::CALL && firsts.windows(2).all(|pair| pair[1] - pair[0] > u64::from(u32::MAX >> 1))
        );
    }
}
