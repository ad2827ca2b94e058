//! What the blades of a row share and nobody knows: how fast its cracks grow, and how well each inspection saw.

use super::history::History;
use crate::simulation::inspection::InspectionPlan;
use crate::simulation::nature::NaturePlan;

/// One number of these, standard normal before anything is known.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum SharedNumber {
    /// Scatter between rows of a growth law, which some hot spots have.
    Growth { hot_spots: Vec<usize>, sigma: f64 },
    /// The shift of a look.
    Look { look: usize, sigma: f64 },
}

/// All of them, put in place.
#[derive(Debug, Clone)]
pub(super) struct Shared {
    /// By hot spot, the logarithm of the factor on the median rate.
    pub ln_growth: Vec<f64>,
    /// By look, the shift of ln q50.
    pub shifts: Vec<f64>,
}

/// The numbers that a row has.
pub(super) fn shared_numbers(nature: &NaturePlan, inspection: &InspectionPlan, history: &History) -> Vec<SharedNumber> {
    let mut numbers: Vec<(u64, SharedNumber)> = Vec::new();
    for (index, spot) in nature.hot_spots.iter().enumerate().filter(|(_, spot)| spot.row_sigma > 0.0) {
        match numbers.iter_mut().find(|(name, _)| *name == spot.growth_name) {
            Some((_, SharedNumber::Growth { hot_spots, .. })) => hot_spots.push(index),
            _ => {
                let number = SharedNumber::Growth { hot_spots: vec![index], sigma: spot.row_sigma };
                numbers.push((spot.growth_name, number));
            }
        }
    }
    let growths = numbers.into_iter().map(|(_, number)| number);
    let looks = history.looks.iter().enumerate().filter_map(|(look, past)| {
        let sigma = inspection.techniques[past.technique].inspection_sigma;
        (sigma > 0.0).then_some(SharedNumber::Look { look, sigma })
    });
    growths.chain(looks).collect()
}

impl Shared {
    pub fn of(numbers: &[SharedNumber], values: &[f64], hot_spots: usize, looks: usize) -> Self {
        let mut shared = Shared { ln_growth: vec![0.0; hot_spots], shifts: vec![0.0; looks] };
        for (number, value) in numbers.iter().zip(values) {
            match number {
                SharedNumber::Growth { hot_spots, sigma } => {
                    hot_spots.iter().for_each(|&spot| shared.ln_growth[spot] = sigma * value);
                }
                SharedNumber::Look { look, sigma } => shared.shifts[*look] = sigma * value,
            }
        }
        shared
    }
}
