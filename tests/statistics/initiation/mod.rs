//! Laws of the time to a crack, against published data and fits, closed forms, small cases and simulated data.

mod cases;
mod no_finds;
mod published;
mod recovery;

use serrata::statistics::initiation::{InitiationFit, Law, Method, Model, Observations, Record, fit};

const WEIBULL: Model = Model { law: Law::Weibull, shape: None, row_factor: false };

/// Blades with their count, last clean reading and the one at a find; infinite where there was none.
fn records(groups: &[(f64, f64, f64)]) -> Vec<Record> {
    groups.iter().map(|(clean, cracked, count)| Record { count: *count, ..Record::new(*clean, *cracked) }).collect()
}

fn observed(records: &[Record]) -> Observations {
    Observations::from_records(records, &[]).expect("good records")
}

fn of_law(observations: &Observations, law: Law) -> InitiationFit {
    fit(observations, &Model { law, ..WEIBULL }).expect("a fit")
}

fn value(fit: &InitiationFit, name: &str) -> f64 {
    let found = fit.parameters().into_iter().find(|parameter| parameter.name == name);
    found.and_then(|parameter| parameter.value).unwrap_or_else(|| panic!("no {name}"))
}

fn error(fit: &InitiationFit, name: &str) -> f64 {
    let found = fit.parameters().into_iter().find(|parameter| parameter.name == name);
    found.and_then(|parameter| parameter.standard_error).unwrap_or_else(|| panic!("no error of {name}"))
}

fn log_likelihood(fit: &InitiationFit) -> f64 {
    fit.log_likelihood().expect("finds")
}

/// Both ends of the two-sided interval of 95 %.
fn interval(fit: &InitiationFit, name: &str, method: Method) -> (f64, f64) {
    let bounds = fit.parameter_bounds(name, 0.975, method).expect("bounds");
    (bounds.low.expect("a lower bound"), bounds.high.expect("an upper bound"))
}
