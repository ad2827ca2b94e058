//! Inputs that are not known.

use super::ids::Ids;
use super::reader::{Place, all};
use super::section::Section;
use crate::bounds;
use crate::model::initiation::{InitiationLaw, InitiationShape};
use crate::model::uncertain::{Uncertain, UncertainInput};

/// Reads all of them. No input may stand in two.
pub(super) fn read(root: &Section, initiation: &[Option<InitiationLaw>], ids: &Ids) -> Option<Vec<Uncertain>> {
    let inputs = inputs(initiation, ids);
    let taken = std::cell::RefCell::new(Vec::new());
    let found = root.optional_tables("uncertain", "uncertain input", |section, id| {
        let places = section.get("factor_on", "a list of keys of inputs");
        let factor_on = places.and_then(|place| place.each_once(|place| input(&place, &inputs, &taken)));
        let sigma_log = section.number("sigma_log", bounds::SIGMA_LOG_ABOVE_ZERO);
        let basis = section.basis();
        Some(Uncertain { id: id.to_owned(), factor_on: factor_on?, sigma_log: sigma_log?, basis: basis? })
    });
    all(found.into_iter())
}

/// Inputs that may be uncertain, by their keys.
fn inputs(initiation: &[Option<InitiationLaw>], ids: &Ids) -> Vec<(String, UncertainInput)> {
    let scales = initiation.iter().enumerate().filter_map(|(number, law)| {
        let law = law.as_ref()?;
        let key = match law.shape {
            InitiationShape::Weibull { .. } => "scale",
            InitiationShape::Exponential { .. } => "mean",
            // Its hazard does not change by a factor.
            InitiationShape::Lognormal { .. } => return None,
        };
        Some((format!("initiation.{}.{key}", law.id), UncertainInput::InitiationScale(number)))
    });
    let growth = ids.growth.iter().enumerate().map(|(number, id)| {
        (format!("growth.{id}.coefficient_m_per_start"), UncertainInput::GrowthCoefficient(number))
    });
    let sizes = ids.techniques.iter().enumerate();
    let sizes = sizes.map(|(number, id)| (format!("techniques.{id}.pod.q50_mm"), UncertainInput::Q50(number)));
    scales.chain(growth).chain(sizes).collect()
}

fn input(
    place: &Place,
    inputs: &[(String, UncertainInput)],
    taken: &std::cell::RefCell<Vec<UncertainInput>>,
) -> Option<UncertainInput> {
    let key = place.text()?;
    let Some((_, input)) = inputs.iter().find(|(known, _)| *known == key) else {
        let known: Vec<String> = inputs.iter().map(|(key, _)| key.clone()).collect();
        place.unknown(&key, "input that may be uncertain named", &known);
        return None;
    };
    if taken.borrow().contains(input) {
        place.fault("is uncertain twice", "name each input once");
        return None;
    }
    taken.borrow_mut().push(*input);
    Some(*input)
}
