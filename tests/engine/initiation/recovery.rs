//! Fleets that the engine invents: bounds hold the truth as often as they should, and looks taken for perfect mislead.

use super::{parts, study, with_rows};
use rayon::prelude::*;
use serrata::simulation::InitiationOnStudy;
use serrata::statistics::initiation::{InitiationFit, Law, Method, Model, Observation, Observations, fit};
use serrata::statistics::records::{Format, Records};
use std::collections::BTreeMap;

const FLEETS: u64 = 300;
const YEARS: [f64; 4] = [2010.0, 2014.0, 2018.0, 2022.0];
const IN_SERVICE: f64 = 2004.0;
const STARTS_PER_YEAR: f64 = 100.0;
const TRUTH: [(&str, f64); 2] = [("scale", 2500.0), ("shape", 2.0)];

/// Every look believed: a crack began after the last clean look, and a clean blade had none.
fn as_if_perfect(records: &str) -> InitiationFit {
    // Of the blade that is now at each place: installed, and its last clean look.
    let mut now: BTreeMap<(&str, &str), (f64, f64)> = BTreeMap::new();
    let mut list = Vec::new();
    let reading = |installed: f64, year: f64| (year - installed) * STARTS_PER_YEAR;
    for line in records.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let year: f64 = cells[3].parse().expect("a year");
        let own = now.entry((cells[0], cells[1])).or_insert((IN_SERVICE, IN_SERVICE));
        if cells[8] == "yes" {
            list.push(Observation::interval(reading(own.0, own.1), reading(own.0, year)));
            *own = (year, year);
        } else {
            own.1 = year;
        }
    }
    list.extend(now.values().filter(|own| own.1 > own.0).map(|own| Observation::clean(reading(own.0, own.1))));
    let observations = Observations::new(list, &[]).expect("good observations");
    fit(&observations, &Model { law: Law::Weibull, shape: None, row_factor: false }).expect("a fit")
}

fn holds(fit: &InitiationFit, (name, truth): (&str, f64)) -> bool {
    let bounds = fit.parameter_bounds(name, 0.975, Method::LikelihoodRatio).expect("bounds");
    bounds.low.is_none_or(|low| low <= truth) && bounds.high.is_none_or(|high| truth <= high)
}

fn value(fit: &InitiationFit, number: usize) -> f64 {
    fit.parameters()[number].value.expect("a value")
}

/// Of fits to fleets: how many intervals of 95 % hold scale and shape, and mean and standard error of the logarithm of each
/// over the truth.
struct Held {
    counts: [usize; 2],
    biases: [(f64, f64); 2],
}

impl Held {
    fn of(fits: &[InitiationFit]) -> Self {
        let number = fits.len() as f64;
        let count = |place: usize| fits.par_iter().filter(|fit| holds(fit, TRUTH[place])).count();
        let bias = |place: usize| {
            let all: Vec<f64> = fits.iter().map(|fit| (value(fit, place) / TRUTH[place].1).ln()).collect();
            let mean = all.iter().sum::<f64>() / number;
            let square: f64 = all.iter().map(|one| (one - mean).powi(2)).sum();
            (mean, (square / (number * (number - 1.0))).sqrt())
        };
        Held { counts: [count(0), count(1)], biases: [bias(0), bias(1)] }
    }

    fn tell(&self, what: &str) {
        let [(scale, of_scale), (shape, of_shape)] = self.biases;
        eprintln!(
            "{what}: scale held {}, shape {}; logarithm over the truth: scale {scale:.4} +- {of_scale:.4}, shape {shape:.4} \
             +- {of_shape:.4}",
            self.counts[0], self.counts[1]
        );
    }
}

/// Fleets of some rows, with scatter of what blades share, fitted on the study and with every look believed.
fn fleets(
    seeds: std::ops::Range<u64>,
    (rows, shared): (usize, f64),
    row_factor: bool,
) -> (Vec<InitiationFit>, Vec<InitiationFit>) {
    let mut parts = parts();
    let [scale, shape] = TRUTH.map(|(_, value)| value);
    parts.initiation[0].shape = serrata::model::initiation::InitiationShape::Weibull { shape, scale };
    // Hardly a blade is lost before the study: pasts with losses are drawn again, and would be other ones.
    parts.growth[0].coefficient_m_per_start *= 0.6;
    parts.growth[0].row_sigma_log = shared;
    parts.techniques[0].inspection_sigma = shared;
    if row_factor {
        parts.scatter.row_factor = serrata::distribution::Distribution::Gamma { mean: 1.0, cov: shared };
    }
    parts.techniques[0].pod.q50_mm = 2.5;
    with_rows(&mut parts, rows, 40, &YEARS);
    let study = study(parts);
    let options = InitiationOnStudy { cracks: 512, ..InitiationOnStudy::default() };
    seeds
        .into_par_iter()
        .map(|seed| {
            let past = study.invented_past(seed).expect("a past");
            let records = Records::parse(&past.records, "invented", &Format::default()).expect("records");
            (study.fit_initiation(&records, &options).expect("a fit"), as_if_perfect(&past.records))
        })
        .unzip()
}

#[test]
fn bounds_hold_scale_and_shape_as_often_as_they_should() {
    let (fits, perfect) = fleets(0..FLEETS, (4, 0.0), false);
    let finds: f64 = fits.iter().map(|fit| fit.observations().counts().1).sum::<f64>() / FLEETS as f64;
    let (ours, believed) = (Held::of(&fits), Held::of(&perfect));
    eprintln!("{finds} calls of a fleet");
    ours.tell("on the study");
    believed.tell("every look believed");
    // Of 300 intervals of 95 %, 285 hold the truth, with a spread of 3.8; beyond four spreads lies one count in 16,000.
    assert!(ours.counts.iter().all(|count| (270..=300).contains(count)), "{:?}", ours.counts);
    // Maximum likelihood is biased by the order of one in the number of finds.
    let allowed = |(_, error): (f64, f64)| 4.0 * error + 1.0 / finds;
    assert!(ours.biases.iter().all(|bias| bias.0.abs() < allowed(*bias)), "{:?}", ours.biases);
    // Cracks that are missed, and found late, seem to begin late and rarely.
    let [(scale, error), _] = believed.biases;
    assert!(scale > 10.0 * error && scale > allowed(believed.biases[0]), "{scale} +- {error}");
    assert!(believed.counts[0] < 240, "{}", believed.counts[0]);
}

/// What taking blades as independent costs where they are not: the table in the documentation of `Study::fit_initiation`.
#[test]
#[ignore = "a table that takes long"]
fn bounds_hold_less_often_where_blades_share_more() {
    let scatter = |rows: usize, shared: f64, row_factor: bool| {
        let (fits, _) = fleets(FLEETS..2 * FLEETS, (rows, shared), row_factor);
        let held = Held::of(&fits);
        held.tell(&format!("{rows} rows, shared scatter {shared}, row factor {row_factor}"));
        held.counts
    };
    for rows in [4, 12] {
        assert!(scatter(rows, 0.0, false).iter().all(|count| (270..=300).contains(count)), "{rows} rows");
    }
    scatter(4, 0.25, false);
    for row_factor in [false, true] {
        assert!(scatter(4, 0.5, row_factor).iter().all(|count| *count < 270), "row factor {row_factor}");
    }
}
