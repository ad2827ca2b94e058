//! What is believed of a fleet given its records: draws of what is not known, from which lives go on.

use super::StudyParts;
use super::fleet::{Row, Unit};
use crate::random::hash_name;
use serde::{Deserialize, Serialize};

/// Equally likely draws.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Posterior {
    /// Values of what is uncertain, in standard deviations of the logarithm, in the order of the study; for each draw.
    pub uncertain: Vec<Vec<f64>>,
    /// For each row of the study, if there are records of it.
    pub rows: Vec<Option<RowPosterior>>,
    /// Standard error of a chance of a loss over that chance, as repeats have it: lives that go on from the draws cannot
    /// show it. `None` where it was not asked for.
    pub relative_error: Option<f64>,
}

/// Draws of what the blades of a row share.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(crate) struct RowPosterior {
    /// For each blade the number of its kind.
    pub kind_of_blade: Vec<u32>,
    /// For each kind of blades the looks, by number, that did not call it since it was new.
    pub kinds: Vec<Vec<u32>>,
    /// Growth and shifts, of which several draws may have the same.
    pub shared: Vec<SharedDraw>,
    /// As many draws for each of what is uncertain, one after another: which growth and shifts each has.
    pub shared_of_draw: Vec<u32>,
    /// Factor on the hazard: the row's, and what is uncertain of it.
    pub hazards: Vec<f64>,
    /// For each draw and kind of blades, draws outermost, the chance that a blade came through its looks as it did.
    pub chances: Vec<f64>,
}

/// Growth of a row, and shifts of its looks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct SharedDraw {
    /// By hot spot, the logarithm of the factor on growth: the row's, and what is uncertain of it.
    pub ln_growth: Vec<f64>,
    /// Shift of each look before the study: the inspection's, and what is uncertain of it.
    pub shifts: Vec<f64>,
}

impl Posterior {
    /// The draws of one of the repeats that they stand in, one after another.
    pub fn of_repeat(&self, repeat: usize, repeats: usize) -> Self {
        let part = |all: usize| repeat * (all / repeats)..(repeat + 1) * (all / repeats);
        let of_row = |row: &RowPosterior| {
            let (draws, kinds) = (part(row.hazards.len()), row.kinds.len());
            RowPosterior {
                shared_of_draw: row.shared_of_draw[draws.clone()].to_vec(),
                hazards: row.hazards[draws.clone()].to_vec(),
                chances: row.chances[draws.start * kinds..draws.end * kinds].to_vec(),
                ..row.clone()
            }
        };
        Posterior {
            uncertain: self.uncertain[part(self.uncertain.len())].to_vec(),
            rows: self.rows.iter().map(|row| row.as_ref().map(of_row)).collect(),
            relative_error: self.relative_error,
        }
    }

    /// Whether it has the numbers that a study asks for.
    pub fn fits(&self, study: &StudyParts) -> bool {
        let fleets = self.uncertain.len();
        let of_row = |(row, own): (&Row, &Option<RowPosterior>)| {
            let Some(own) = own else { return true };
            let (draws, kinds) = (own.hazards.len(), own.kinds.len());
            let spots = study.roots[row.root].hot_spots.len();
            let are_numbers = |numbers: &[f64]| numbers.iter().all(|number| number.is_finite());
            draws > 0
                && draws % fleets == 0
                && own.shared_of_draw.len() == draws
                && own.chances.len() == draws * kinds
                && own.kind_of_blade.len() == row.blades as usize
                && own.kind_of_blade.iter().all(|kind| (*kind as usize) < kinds)
                && own.kinds.iter().flatten().all(|look| (*look as usize) < row.past_looks.len())
                && own.shared_of_draw.iter().all(|shared| (*shared as usize) < own.shared.len())
                && own.shared.iter().all(|shared| {
                    shared.ln_growth.len() == spots
                        && shared.shifts.len() == row.past_looks.len()
                        && are_numbers(&shared.ln_growth)
                        && are_numbers(&shared.shifts)
                })
                && own.hazards.iter().chain(&own.chances).all(|number| *number > 0.0 && number.is_finite())
        };
        fleets > 0
            && self.relative_error.is_none_or(|error| error >= 0.0 && error.is_finite())
            && self.rows.len() == study.rows.len()
            && self.uncertain.iter().all(|values| values.len() == study.uncertain.len())
            && study.rows.iter().zip(&self.rows).all(of_row)
    }
}

/// A number of all inputs that records are held against: where it differs, what they said holds no more. Names of units,
/// sources, strategies, costs, outages to come and the horizon are none of them.
pub(crate) fn inputs_number(study: &StudyParts) -> u64 {
    let row = |row: &Row| format!("{:?}", Row { basis: None, ..row.clone() });
    let unit = |unit: &Unit| format!("{:?}{:?}", unit.duty, unit.overspeed);
    let rows: Vec<String> = study.rows.iter().map(row).collect();
    let units: Vec<String> = study.units.iter().map(unit).collect();
    let techniques: Vec<String> = study.techniques.iter().map(|technique| technique.without_costs()).collect();
    hash_name(&format!(
        "{:?}{:?}{:?}{:?}{:?}{:?}{rows:?}{units:?}{techniques:?}{:?}{:?}",
        study.start_year,
        study.scatter.row_factor,
        study.scatter.blade_stress_sigma_log,
        study.surfaces,
        study.initiation,
        study.growth,
        study.roots,
        (&study.persistence, &study.uncertain),
    ))
}

impl RowPosterior {
    /// Growth and shifts of a draw.
    pub fn shared(&self, draw: usize) -> &SharedDraw {
        &self.shared[self.shared_of_draw[draw] as usize]
    }

    /// The chance that a blade of a kind came through its looks, in a draw.
    pub fn chance(&self, draw: usize, kind: usize) -> f64 {
        self.chances[draw * self.kinds.len() + kind]
    }
}
