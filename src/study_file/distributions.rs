//! Distributions: a bare number, or a table with a kind and its parameters.

use super::reader::Place;
use super::section::Section;
use crate::bounds::{self, Bound};
use crate::distribution::{Distribution, Outcomes};

/// The pairs of numbers that say what a lognormal distribution is.
const LOGNORMAL_PAIRS: &str = "median and sigma_log, median and cov, mean and cov, mean and sd, or mean and sigma_log";

#[derive(Clone, Copy)]
enum Kind {
    Normal,
    Lognormal,
    Weibull,
    Gamma,
    Uniform,
    Triangular,
    Pareto,
    Outcomes,
}

/// Kinds, those first that suit every quantity; the others say what a loss comes to.
const KINDS: [(&str, Kind); 8] = [
    ("normal", Kind::Normal),
    ("lognormal", Kind::Lognormal),
    ("weibull", Kind::Weibull),
    ("gamma", Kind::Gamma),
    ("uniform", Kind::Uniform),
    ("triangular", Kind::Triangular),
    ("pareto", Kind::Pareto),
    ("outcomes", Kind::Outcomes),
];

/// How many suit every quantity.
const SMOOTH: usize = 6;

impl<'a> Section<'a> {
    /// Reads a distribution of a quantity whose middle and ends must lie in a range.
    pub fn distribution(&self, key: &'static str, bound: Bound) -> Option<Distribution> {
        read(self.get(key, format!("a number or distribution {bound}"))?, bound, &KINDS[..SMOOTH])
    }

    /// Reads the distribution of what a loss comes to, which may have a heavy tail or a few values alone.
    pub fn consequence(&self, key: &'static str, bound: Bound) -> Option<Distribution> {
        read(self.get(key, format!("a number or distribution {bound}"))?, bound, &KINDS)
    }
}

fn read(place: Place, bound: Bound, kinds: &[(&str, Kind)]) -> Option<Distribution> {
    if place.is_list() {
        place.fault(
            "must be a number or a table with a kind: bare numbers in a list do not say what they are",
            format!("write for example {{ kind = \"lognormal\", median = ..., sigma_log = ... }}; a lognormal takes {LOGNORMAL_PAIRS}"),
        );
        return None;
    }
    if !place.is_table() {
        return place.number(bound).map(Distribution::Fixed);
    }
    let above_zero = bound.positive_part();
    place.known_as("DISTRIBUTION").table(|section| match section.kind(kinds)? {
        Kind::Pareto => pareto(section, above_zero),
        Kind::Outcomes => outcomes(section, bound),
        Kind::Normal => normal(section, bound),
        Kind::Lognormal => lognormal(section, above_zero),
        Kind::Weibull => {
            let (shape, scale) = (section.number("shape", bounds::WEIBULL_SHAPE), section.number("scale", above_zero));
            Some(Distribution::Weibull { shape: shape?, scale: scale? })
        }
        Kind::Gamma => {
            let (mean, cov) = (section.number("mean", above_zero), section.number("cov", bounds::COV));
            Some(Distribution::Gamma { mean: mean?, cov: cov? })
        }
        Kind::Uniform => {
            let (low, high) = (section.number("low", bound), section.number("high", bound));
            let (low, high) = (low?, high?);
            in_order(section, "high", high, "low", low, true)?;
            Some(Distribution::Uniform { low, high })
        }
        Kind::Triangular => {
            let low = section.number("low", bound);
            let (mode, high) = (section.number("mode", bound), section.number("high", bound));
            let (low, mode, high) = (low?, mode?, high?);
            in_order(section, "mode", mode, "low", low, false)?;
            in_order(section, "high", high, "mode", mode, false)?;
            in_order(section, "high", high, "low", low, true)?;
            Some(Distribution::Triangular { low, mode, high })
        }
    })
}

fn pareto(section: &Section, bound: Bound) -> Option<Distribution> {
    let minimum = section.number("minimum", bound);
    let tail_exponent = section.number("tail_exponent", bounds::TAIL_EXPONENT);
    let capped_at = section.optional("capped_at", |section, key| section.number(key, bound));
    let (minimum, tail_exponent, capped_at) = (minimum?, tail_exponent?, capped_at?);
    match capped_at {
        Some(cap) => in_order(section, "capped_at", cap, "minimum", minimum, true)?,
        None if tail_exponent <= 1.0 => {
            section.fault(
                "tail_exponent",
                "must exceed 1 where there is no cap: the mean of such a tail is infinite, and no number of lives tells it",
                "give capped_at, the most that it can come to, or raise tail_exponent above 1",
            );
            return None;
        }
        None => {}
    }
    Some(Distribution::Pareto { minimum, tail_exponent, capped_at: capped_at.unwrap_or(f64::INFINITY) })
}

fn outcomes(section: &Section, bound: Bound) -> Option<Distribution> {
    let numbers = |key, takes, bound| section.get(key, takes)?.each(|place: Place| place.number(bound));
    let values = numbers("values", "a list of numbers in the range of the quantity, in rising order", bound);
    let probabilities = numbers("probabilities", "a list of numbers above 0 that sum to 1", bounds::FRACTION);
    section.accept("probabilities", Outcomes::new(values?, probabilities?)).map(Distribution::Outcomes)
}

/// A normal distribution reaches every number, so it only suits quantities that may be negative.
fn normal(section: &Section, bound: Bound) -> Option<Distribution> {
    let mean = section.number("mean", bound);
    let sd = section.number("sd", bound.positive_part());
    if bound.low() >= 0.0 {
        section.fault(
            "kind",
            "a normal distribution reaches below 0, which this quantity cannot",
            "choose \"lognormal\", with the same mean and sd",
        );
        return None;
    }
    Some(Distribution::Normal { mean: mean?, sd: sd? })
}

fn lognormal(section: &Section, bound: Bound) -> Option<Distribution> {
    let given: Vec<&str> =
        ["median", "mean", "sigma_log", "cov", "sd"].into_iter().filter(|key| section.has(key)).collect();
    let spread = |cov: f64| (cov * cov).ln_1p().sqrt();
    let (median, sigma_log) = match given.as_slice() {
        ["median", "sigma_log"] => (section.number("median", bound), section.number("sigma_log", bounds::SIGMA_LOG)),
        ["median", "cov"] => (section.number("median", bound), section.number("cov", bounds::COV).map(spread)),
        ["mean", "cov"] => {
            let (mean, cov) = (section.number("mean", bound), section.number("cov", bounds::COV));
            (mean.zip(cov).map(|(mean, cov)| mean / cov.hypot(1.0)), cov.map(spread))
        }
        ["mean", "sd"] => {
            let (mean, sd) = (section.number("mean", bound), section.number("sd", bound));
            let (mean, sd) = (mean?, sd?);
            let cov = sd / mean;
            if !bounds::COV.admits(cov) {
                section.fault("sd", format!("sd over mean must be {}, not {cov}", bounds::COV), "correct sd or mean");
                return None;
            }
            (Some(mean / cov.hypot(1.0)), Some(spread(cov)))
        }
        ["mean", "sigma_log"] => {
            let (mean, sigma) = (section.number("mean", bound), section.number("sigma_log", bounds::SIGMA_LOG));
            (mean.zip(sigma).map(|(mean, sigma)| mean * (-0.5 * sigma * sigma).exp()), sigma)
        }
        _ => {
            section.be_lenient();
            let found = if given.is_empty() { "none of them".to_owned() } else { given.join(", ") };
            section.fault_here(
                format!("a lognormal takes exactly two numbers that fix it; here: {found}"),
                format!("give {LOGNORMAL_PAIRS}"),
            );
            return None;
        }
    };
    Some(Distribution::Lognormal { median: median?, sigma_log: sigma_log? })
}

/// Refuses an upper number that is not above (or at least at) a lower one.
fn in_order(section: &Section, upper: &str, high: f64, lower: &str, low: f64, strictly: bool) -> Option<()> {
    if high > low || (!strictly && high == low) {
        return Some(());
    }
    let rule = if strictly { "must exceed" } else { "must not be below" };
    section.fault(upper, format!("{rule} {lower} ({low})"), format!("raise {upper}, or lower {lower}"));
    None
}
