//! Nothing found: bounds, and how they weaken with the looks.

use super::{WEIBULL, observed, records};
use crate::expected::{number, rows};
use crate::history::assert_group;
use serrata::statistics::initiation::{
    InitiationFit, Law, Method, Model, Observation, Observations, PlannedLook, Record, fit,
};

const CLEAN: &str = include_str!("../data/clean_service_hours.csv");

fn of_shape(observations: &Observations, shape: f64) -> InitiationFit {
    fit(observations, &Model { shape: Some(shape), ..WEIBULL }).expect("a bound")
}

fn upper(fit: &InitiationFit, time: f64, confidence: f64) -> f64 {
    fit.fraction_bounds(time, &[], confidence, Method::LikelihoodRatio).expect("bounds").1
}

fn lower(fit: &InitiationFit, name: &str) -> f64 {
    let bounds = fit.parameter_bounds(name, 0.95, Method::LikelihoodRatio).expect("bounds");
    assert_eq!(bounds.high, None);
    bounds.low.expect("a bound")
}

fn clean() -> Observations {
    let groups: Vec<_> = rows(CLEAN).iter().map(|cells| (number(cells[2]), f64::INFINITY, number(cells[1]))).collect();
    observed(&records(&groups))
}

#[test] // invented blades; values worked out apart from serrata by -ln 0.05 = 2.99573 and (sum t^b / 2.99573)^(1/b)
fn forty_clean_blades_bound_rate_and_scale() {
    let blades = clean();
    let exponential = fit(&blades, &Model { law: Law::Exponential, ..WEIBULL }).expect("a bound");
    assert!((1.0 / lower(&exponential, "mean") - 1.555_417e-6).abs() < 1e-12);
    for (shape, scale, fraction) in [(1.5, 280_860.0, 0.191_40), (2.5, 150_268.0, 0.303_21), (3.5, 118_523.0, 0.424_02)]
    {
        let fit = of_shape(&blades, shape);
        assert!((lower(&fit, "scale") - scale).abs() < 0.5);
        assert!((upper(&fit, 100e3, 0.95) - fraction).abs() < 5e-6);
        assert_eq!(fit.fraction_at(100e3, &[]).expect("a time"), None);
        assert!(fit.is_bound_only() && fit.log_likelihood().is_none() && fit.laws().is_empty());
        assert!(fit.summary().contains("nothing was found"));
    }
}

#[test]
fn nothing_found_says_nothing_of_a_shape_a_covariate_or_rows() {
    let refused = |observations: &Observations, model: &Model| {
        let error = fit(observations, model).expect_err("no finds");
        assert_eq!(error.reason(), Some("no-finds"));
        error.to_string()
    };
    let free = refused(&clean(), &WEIBULL);
    assert!(free.contains("nothing is known of the shape: it must be assumed"), "{free}");
    let spread = refused(&clean(), &Model { law: Law::Lognormal, ..WEIBULL });
    assert!(spread.contains("sigma_log"), "{spread}");
    refused(&clean(), &Model { shape: Some(2.0), row_factor: true, ..WEIBULL });
    let blade = Record { covariates: vec![1.0], ..Record::new(5.0, f64::INFINITY) };
    let with = Observations::from_records(&[blade], &["heat".to_owned()]).expect("good records");
    refused(&with, &Model { shape: Some(2.0), ..WEIBULL });
    let wald = of_shape(&clean(), 2.0).parameter_bounds("scale", 0.95, Method::Wald).expect_err("no Wald bound");
    assert_eq!(wald.reason(), Some("no-wald"));
}

#[test] // closed forms
fn bounds_have_their_closed_forms() {
    let at_once = |count: f64, pod: f64| observed(&[Record { count, pod, ..Record::new(1000.0, f64::INFINITY) }]);
    let bound = |count: f64, pod: f64| upper(&of_shape(&at_once(count, pod), 2.0), 1000.0, 0.95);
    let poisson = |confidence: f64| {
        let fit = of_shape(&at_once(1.0, 1.0), 1.0);
        -(1.0 - upper(&fit, 1000.0, confidence)).ln()
    };
    let starts = observed(&[Record { count: 80.0, ..Record::new(3000.0, f64::INFINITY) }]);
    let sets = [60.0, 80.0, 480.0];
    let mut ours = vec![
        ("upper bound of a Poisson mean with none seen [confidence 0.95]".to_owned(), poisson(0.95)),
        ("upper bound of a Poisson mean with none seen [confidence 0.99]".to_owned(), poisson(0.99)),
        (
            "lower 95 % bound of Weibull scale, fixed shape, none cracked".to_owned(),
            lower(&of_shape(&starts, 2.0), "scale"),
        ),
    ];
    for count in sets {
        let perfect = "upper bound of a proportion, none of n, perfect looks";
        ours.push((format!("{perfect} [n={count}; 95 %]"), bound(count, 1.0)));
        ours.push((format!("same with pod 0.7 [n={count}; 95 %]"), bound(count, 0.7)));
    }
    let ours: Vec<(&str, f64)> = ours.iter().map(|(name, value)| (name.as_str(), *value)).collect();
    assert_group("no_finds", &ours);
}

#[test]
fn blunter_looks_give_weaker_bounds_and_hardly_any_looks_none() {
    for law in [Law::Weibull, Law::Lognormal] {
        let mut before = 0.0;
        for pod in [1.0, 0.9, 0.7, 0.5, 0.3, 0.1] {
            let looks = [2e3, 4e3, 6e3].map(|time| PlannedLook { time, pod });
            let seen = Observation { count: 60.0, ..Observation::of_looks(&looks, false) };
            let blades = Observations::new(vec![seen], &[]).expect("good observations");
            let fit = fit(&blades, &Model { law, shape: Some(1.2), row_factor: false }).expect("a bound");
            let now = upper(&fit, 6e3, 0.95);
            assert!(now > before, "{law:?} {pod}: {now} after {before}");
            before = now;
        }
    }
    // Two blades, each cracked one missed with 9 in 10: even if both are, 0.81 is the chance of two clean looks.
    let two = observed(&[Record { count: 2.0, pod: 0.1, ..Record::new(1e3, f64::INFINITY) }]);
    let fit = of_shape(&two, 2.0);
    let bounds = fit.parameter_bounds("scale", 0.95, Method::LikelihoodRatio).expect("bounds");
    assert_eq!((bounds.low, bounds.high), (None, None));
    assert_eq!(upper(&fit, 1e3, 0.95), 1.0);
}

#[test] // more confidence, fewer blades and earlier looks all give weaker bounds
fn bounds_rise_and_fall_as_they_should() {
    let with = |count: f64, time: f64, confidence: f64| {
        let blades = observed(&[Record { count, ..Record::new(time, f64::INFINITY) }]);
        upper(&of_shape(&blades, 2.0), 1e3, confidence)
    };
    let middle = with(50.0, 1e3, 0.95);
    assert!(with(50.0, 1e3, 0.99) > middle && with(40.0, 1e3, 0.95) > middle && with(50.0, 9e2, 0.95) > middle);
}
