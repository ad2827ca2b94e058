//! The numbers that the fate of a crack hangs on.

use super::draw;
use super::hot_spot_plan::{HotSpotGrowth, HotSpotPlan};
use super::plan::NaturePlan;
use super::planted::Numbers;
use crate::distribution::Distribution;

/// A number that a crack's fate hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Driver {
    Time,
    Stress,
    /// Of the row's hazard, where records say something of it.
    RowHazard,
    RowGrowth,
    /// By the counter of its draw.
    Crack(usize),
    /// By source.
    Persistent(usize),
}

impl Driver {
    pub fn of(self, numbers: &Numbers) -> f64 {
        match self {
            Driver::Time => numbers.time,
            Driver::Stress => numbers.stress,
            Driver::RowHazard => numbers.row_hazard,
            Driver::RowGrowth => numbers.row_growth,
            Driver::Crack(counter) => numbers.crack[counter],
            Driver::Persistent(source) => numbers.persistent[source],
        }
    }

    pub fn set(self, numbers: &mut Numbers, number: f64) {
        match self {
            Driver::Time => numbers.time = number,
            Driver::Stress => numbers.stress = number,
            Driver::RowHazard => numbers.row_hazard = number,
            Driver::RowGrowth => numbers.row_growth = number,
            Driver::Crack(counter) => numbers.crack[counter] = number,
            Driver::Persistent(source) => numbers.persistent[source] = number,
        }
    }

    /// Of a hot spot; what records say of the row is drawn apart.
    pub fn all(nature: &NaturePlan, spot: &HotSpotPlan, sources: usize) -> Vec<Driver> {
        let integration = match &spot.growth {
            HotSpotGrowth::Curve { beyond, .. } => beyond.as_deref(),
            HotSpotGrowth::Integrated(integration) => Some(&**integration),
        };
        let scatters = |distribution: &Distribution| distribution.fixed().is_none();
        let crack = |counter: u64| Driver::Crack(counter as usize);
        let candidates = [
            (Driver::Time, true),
            (Driver::Stress, nature.blade_stress_sigma > 0.0),
            (Driver::RowGrowth, spot.row_sigma > 0.0 && nature.given_records().is_none()),
            (crack(draw::GROWTH), spot.crack_sigma > 0.0),
            (crack(draw::DEPTH), scatters(&spot.initial_depth)),
            (crack(draw::ASPECT), scatters(&spot.initial_aspect)),
            (crack(draw::TOUGHNESS), spot.limit.toughness().is_some_and(scatters)),
            (crack(draw::CORROSION), integration.is_some_and(|integration| integration.corrosion_sigma > 0.0)),
        ];
        let chosen = candidates.into_iter().filter(|(_, is_used)| *is_used).map(|(driver, _)| driver);
        chosen.chain((0..sources).map(Driver::Persistent)).collect()
    }
}
