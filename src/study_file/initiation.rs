//! Initiation laws.

use super::reader::Place;
use super::section::Section;
use crate::bounds;
use crate::model::initiation::{InitiationLaw, InitiationShape};
use crate::model::usage::Clock;

/// Reads an initiation law.
pub(super) fn initiation(section: &Section, id: &str) -> Option<InitiationLaw> {
    #[derive(Clone, Copy)]
    enum Kind {
        Weibull,
        Lognormal,
        Exponential,
    }
    let clock = section.get("clock", "\"starts\", \"hours\", or a table with per_start and per_hour").and_then(clock);
    let kind =
        section.kind(&[("weibull", Kind::Weibull), ("lognormal", Kind::Lognormal), ("exponential", Kind::Exponential)]);
    let stress_exponent = section.number("stress_exponent", bounds::STRESS_EXPONENT);
    let basis = section.basis();
    let reading = |key| section.number(key, bounds::CLOCK_READING);
    let shape = match kind? {
        Kind::Weibull => {
            let (shape, scale) = (section.number("shape", bounds::WEIBULL_SHAPE), reading("scale"));
            InitiationShape::Weibull { shape: shape?, scale: scale? }
        }
        Kind::Lognormal => {
            let (median, sigma_log) = (reading("median"), section.number("sigma_log", bounds::SIGMA_LOG_ABOVE_ZERO));
            InitiationShape::Lognormal { median: median?, sigma_log: sigma_log? }
        }
        Kind::Exponential => InitiationShape::Exponential { mean: reading("mean")? },
    };
    Some(InitiationLaw { id: id.to_owned(), clock: clock?, shape, stress_exponent: stress_exponent?, basis: basis? })
}

fn clock(place: Place) -> Option<Clock> {
    if !place.is_table() {
        return place.choice(&[("starts", Clock::STARTS), ("hours", Clock::HOURS)]);
    }
    place.table(|section| {
        let per_start = section.number("per_start", bounds::CLOCK_WEIGHT);
        let per_hour = section.number("per_hour", bounds::CLOCK_WEIGHT);
        let (per_start, per_hour) = (per_start?, per_hour?);
        if per_start == 0.0 && per_hour == 0.0 {
            section.fault_here("per_start and per_hour must not both be 0", "give the clock something to run on");
            return None;
        }
        Some(Clock { per_start, per_hour })
    })
}
