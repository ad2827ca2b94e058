//! Derivatives by differences, and closed forms.

use super::super::observation::{Origins, PlannedLook};
use super::*;

/// Intervals, clean ones, known moments and looks that miss, in three rows, with one covariate.
fn observations() -> Observations {
    let blunt = |found| {
        let looks = [(3.0, 0.6), (7.0, 0.8), (11.0, 0.5)].map(|(time, pod)| PlannedLook { time, pod });
        Observation::of_looks(&looks, found)
    };
    // Two origins of one kind and one of another, under two sizes of the hazard.
    let several_ways = || {
        let origins = |number: f64, seen: Observation| Origins { number, cells: seen.cells, never: seen.never };
        let way = |weight: f64, hazard_factor: f64| {
            let origins = vec![origins(1.0, blunt(true)), origins(2.0, blunt(false))];
            Way { weight, hazard_factor, origins }
        };
        Observation::of_ways(vec![way(0.7, 0.6), way(0.3, 1.9)], 11.0)
    };
    let list = [
        Observation::interval(0.0, 4.0),
        Observation::interval(4.0, 9.0),
        Observation::exact(6.0),
        Observation::clean(12.0),
        blunt(true),
        blunt(false),
        several_ways(),
    ];
    let of_row = |(place, one): (usize, Observation)| Observation {
        row: place % 3,
        count: 1.0 + place as f64,
        covariates: vec![0.3 * place as f64 - 0.5],
        ..one
    };
    let list = list.into_iter().enumerate().map(of_row).collect();
    Observations::new(list, &["heat".to_owned()]).expect("good observations")
}

#[test] // by central differences, whose error is of the order of the squared step
fn slope_and_curvature_are_those_of_the_value() {
    const STEP: f64 = 1e-4;
    for law in Law::ALL {
        for has_factor in [false, true] {
            let problem = Problem::new(law, None, has_factor, &observations());
            let mut theta = problem.start();
            theta[0] = -0.4;
            let place = problem.first_covariate();
            theta[place] = 0.7;
            let here = problem.at(&theta);
            for index in 0..problem.parameters() {
                let moved = |way: f64| {
                    let mut theta = theta.clone();
                    theta[index] += way * STEP;
                    problem.at(&theta)
                };
                let (below, above) = (moved(-1.0), moved(1.0));
                let near = |ours: f64, difference: f64| {
                    let difference = difference / (2.0 * STEP);
                    let allowed = 1e-5 * (1.0 + ours.abs());
                    assert!((ours - difference).abs() < allowed, "{law:?} {index}: {ours} {difference}");
                };
                near(here.gradient[index], above.value - below.value);
                for other in 0..problem.parameters() {
                    let difference = above.gradient[other] - below.gradient[other];
                    near(-here.information[(other, index)], difference);
                }
            }
        }
    }
}

#[test] // the mean over a gamma factor of exp(-Z H) is (1 + v H)^(-1/v), and so on for a moment
fn a_row_of_known_and_clean_moments_has_its_closed_form() {
    let list = vec![Observation::exact(2.0), Observation { count: 3.0, ..Observation::clean(5.0) }];
    let observations = Observations::new(list, &[]).expect("good observations");
    for variance in [1e-4_f64, 0.02, 0.5, 3.0, 20.0] {
        let problem = Problem::new(Law::Weibull, Some(1.5), true, &observations);
        let theta = DVector::from_vec(vec![-0.3, variance.ln()]);
        let hazard = |time: f64| (-0.3 + 1.5 * (time / problem.unit).ln()).exp();
        // One event: mean of Z exp(-Z H) is (1 + v H)^(-1/v - 1).
        let all = hazard(2.0) + 3.0 * hazard(5.0);
        let rate = 1.5 * hazard(2.0) / 2.0;
        let closed = rate.ln() - (1.0 / variance + 1.0) * (variance * all).ln_1p();
        let ours = problem.at(&theta).value;
        assert!((ours - closed).abs() < 1e-9 * (1.0 + closed.abs()), "{variance}: {ours} {closed}");
    }
}

#[test] // quadrature at 40 digits by another program; Z of shape 2 and rate 2 has the variance 1/2
fn a_row_of_looks_that_miss_has_the_reference_chance_of_being_clean() {
    for (hazards, pod, chance) in [
        (vec![0.01, 0.02, 0.03], 0.6, 0.341_295_086_026_412_73),
        (vec![0.01, 0.03, 0.06, 0.1], 0.5, 0.105_939_391_593_978_65),
    ] {
        // By a law whose hazard is the time itself.
        let looks: Vec<PlannedLook> = hazards.into_iter().map(|time| PlannedLook { time, pod }).collect();
        let seen = Observation { count: 60.0, ..Observation::of_looks(&looks, false) };
        let observations = Observations::new(vec![seen], &[]).expect("good observations");
        let problem = Problem::new(Law::Exponential, None, true, &observations);
        let theta = DVector::from_vec(vec![problem.unit.ln(), 0.5_f64.ln()]);
        let ours = problem.at(&theta).value.exp();
        assert!((ours - chance).abs() < 1e-10, "{ours} {chance}");
    }
}
