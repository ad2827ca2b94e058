//! Simulated data sets: how often bounds hold the truth they were drawn from.

use super::{WEIBULL, of_law, value};
use serrata::random::Key;
use serrata::statistics::initiation::{Law, Method, Model, Observation, Observations, PlannedLook, fit};

const SETS: u64 = 300;
/// Of 300 intervals of 95 %, 285 hold the truth, with a spread of 3.8; beyond four spreads lies one count in 16,000.
const HOLDING: std::ops::RangeInclusive<u64> = 270..=300;

/// A blade with a crack from `begins` on, looked at until the first find.
fn looked_at(begins: f64, looks: &[PlannedLook], key: Key) -> Observation {
    for (place, look) in looks.iter().enumerate() {
        if begins < look.time && key.uniform(place as u64) < look.pod {
            return Observation::of_looks(&looks[..=place], true);
        }
    }
    Observation::of_looks(looks, false)
}

/// Times of a Weibull law by its hazard.
fn begins(hazard: f64, scale: f64, shape: f64) -> f64 {
    scale * hazard.powf(1.0 / shape)
}

fn holds(fit: &serrata::statistics::initiation::InitiationFit, name: &str, truth: f64) -> bool {
    let bounds = fit.parameter_bounds(name, 0.975, Method::LikelihoodRatio).expect("bounds");
    bounds.low.is_none_or(|low| low <= truth) && bounds.high.is_none_or(|high| truth <= high)
}

#[test]
fn shape_and_scale_lie_within_their_bounds_as_often_as_they_should() {
    let (scale, shape) = (60e3, 2.5);
    for pod in [1.0, 0.6] {
        let (mut shapes, mut scales, mut short) = (0, 0, 0);
        for set in 0..SETS {
            let key = Key::from_seed(7).named("recovery").child(set);
            let blades = (0..80).map(|blade| {
                let key = key.child(blade);
                // Each blade is looked at on its own outages: every 15,000 hours from a first one on.
                let first = 5e3 + 15e3 * key.uniform(100);
                let looks: Vec<PlannedLook> =
                    (0..4).map(|look| PlannedLook { time: first + 15e3 * f64::from(look), pod }).collect();
                looked_at(begins(-key.uniform(101).ln(), scale, shape), &looks, key)
            });
            let observations = Observations::new(blades.collect(), &[]).expect("good observations");
            let fit = of_law(&observations, Law::Weibull);
            shapes += u64::from(holds(&fit, "shape", shape));
            scales += u64::from(holds(&fit, "scale", scale));
            short += u64::from(value(&fit, "scale") < scale);
        }
        assert!(HOLDING.contains(&shapes) && HOLDING.contains(&scales), "{pod}: {shapes} {scales}");
        // Neither too long nor too short as a rule: 150 of 300, spread 8.7; five spreads leave room for a slight bias.
        assert!((107..=193).contains(&short), "{pod}: {short}");
    }
}

#[test]
fn looks_taken_for_perfect_that_are_not_are_noticed() {
    let (scale, shape) = (60e3, 2.5);
    let mut scales = 0;
    for set in 0..SETS {
        let key = Key::from_seed(7).named("recovery").child(set);
        let blades = (0..80).map(|blade| {
            let key = key.child(blade);
            let first = 5e3 + 15e3 * key.uniform(100);
            let looks: Vec<PlannedLook> =
                (0..4).map(|look| PlannedLook { time: first + 15e3 * f64::from(look), pod: 0.6 }).collect();
            let seen = looked_at(begins(-key.uniform(101).ln(), scale, shape), &looks, key);
            // What is left of it where every look is believed.
            match (seen.never > 0.0, seen.cells.last()) {
                (false, Some(cell)) => Observation::interval(cell.from, cell.to),
                _ => Observation::clean(seen.last),
            }
        });
        let fit = of_law(&Observations::new(blades.collect(), &[]).expect("good observations"), Law::Weibull);
        scales += u64::from(holds(&fit, "scale", scale));
    }
    assert!(scales < *HOLDING.start() / 2, "{scales}");
}

#[test]
fn the_variance_of_the_row_factor_lies_within_its_bounds_as_often_as_it_should() {
    const SETS: u64 = 60;
    /// The truth lies inside, so that the bounds are as elsewhere: 57 of 60, spread 1.7, four of them.
    const HOLDING: std::ops::RangeInclusive<u64> = 50..=60;
    let (scale, shape) = (60e3, 2.0);
    let mut variances = 0;
    for set in 0..SETS {
        let key = Key::from_seed(9).named("rows").child(set);
        let mut list = Vec::new();
        for row in 0..30 {
            let key = key.child(row);
            // An exponential number is gamma of mean and variance 1.
            let factor = -key.uniform(0).ln();
            for blade in 0..20 {
                let key = key.child(blade);
                let looks = [20e3, 40e3, 60e3].map(|time| PlannedLook { time, pod: 1.0 });
                let begins = begins(-key.uniform(10).ln() / factor, scale, shape);
                list.push(Observation { row: row as usize, ..looked_at(begins, &looks, key) });
            }
        }
        let observations = Observations::new(list, &[]).expect("good observations");
        let fit = fit(&observations, &Model { row_factor: true, ..WEIBULL }).expect("a fit");
        variances += u64::from(holds(&fit, "row_variance", 1.0));
    }
    assert!(HOLDING.contains(&variances), "{variances}");
}
