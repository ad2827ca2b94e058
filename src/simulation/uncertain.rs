//! How inputs that are not known enter the lives of a row.

use crate::error::{Error, Fault, Result};
use crate::model::Study;
use crate::model::fleet::HotSpot;
use crate::model::initiation::InitiationShape;
use crate::model::uncertain::{Uncertain, UncertainInput};
use crate::random::{Key, hash_name};

/// By how much a standard deviation of each uncertain input changes a row.
#[derive(Debug, Clone, Default)]
pub(crate) struct UncertainInRow {
    /// The logarithm of its hazard.
    pub hazard: Vec<f64>,
    /// The logarithm of growth, by hot spot.
    pub growth: Vec<Vec<f64>>,
    /// The shift of ln q50, by technique.
    pub techniques: Vec<Vec<f64>>,
}

impl UncertainInRow {
    /// In the row of a root.
    ///
    /// # Errors
    /// Refuses what would change the hot spots of one root by different factors.
    pub fn new(study: &Study, root: usize) -> Result<Self> {
        let spots = &study.roots[root].hot_spots;
        let mut entries = UncertainInRow::default();
        for uncertain in &study.uncertain {
            let sigma = uncertain.sigma_log;
            let of_spot = |spot: &HotSpot| {
                let shape = match study.initiation[spot.initiation].shape {
                    InitiationShape::Weibull { shape, .. } => shape,
                    InitiationShape::Exponential { .. } | InitiationShape::Lognormal { .. } => 1.0,
                };
                if has(uncertain, UncertainInput::InitiationScale(spot.initiation)) { -shape * sigma } else { 0.0 }
            };
            let hazard = of_spot(&spots[0]);
            if spots.iter().any(|spot| of_spot(spot) != hazard) {
                let fault = Fault {
                    line: None,
                    path: format!("uncertain.{}.factor_on", uncertain.id),
                    value: String::new(),
                    rule: format!("changes hazards in root {:?} by different factors", study.roots[root].id),
                    remedy: "name the initiation laws of all its hot spots, of one shape".to_owned(),
                };
                return Err(Error::study(&study.name, vec![fault]));
            }
            entries.hazard.push(hazard);
            let in_growth = |spot: &HotSpot| has(uncertain, UncertainInput::GrowthCoefficient(spot.growth));
            entries.growth.push(spots.iter().map(|spot| if in_growth(spot) { sigma } else { 0.0 }).collect());
            let in_technique = |technique: usize| has(uncertain, UncertainInput::Q50(technique));
            let techniques = 0..study.techniques.len();
            entries.techniques.push(techniques.map(|at| if in_technique(at) { sigma } else { 0.0 }).collect());
        }
        Ok(entries)
    }

    /// Changes of the logarithm of the hazard, for values of what is uncertain.
    pub fn of_hazard(&self, values: &[f64]) -> f64 {
        self.hazard.iter().zip(values).map(|(entry, value)| entry * value).sum()
    }

    /// The same of growth at a hot spot.
    pub fn of_growth(&self, hot_spot: usize, values: &[f64]) -> f64 {
        self.growth.iter().zip(values).map(|(entries, value)| entries[hot_spot] * value).sum()
    }

    /// The same of the shift of a technique.
    pub fn of_technique(&self, technique: usize, values: &[f64]) -> f64 {
        self.techniques.iter().zip(values).map(|(entries, value)| entries[technique] * value).sum()
    }
}

fn has(uncertain: &Uncertain, input: UncertainInput) -> bool {
    uncertain.factor_on.contains(&input)
}

/// Key of what a whole fleet shares in a trial, from a seed.
pub(crate) fn fleet_key(seed: u64) -> Key {
    Key::from_seed(seed).child(hash_name("what is uncertain"))
}
