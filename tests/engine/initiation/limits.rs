//! Where detection does not hang on size, the fit is one to looks with a chance of a find each.

use super::{HEADER, lines, parts, records, study};
use serrata::model::initiation::InitiationShape;
use serrata::model::{Study, StudyParts};
use serrata::simulation::InitiationOnStudy;
use serrata::statistics::initiation::{InitiationFit, Law, Method, Model, Observation, Observations, PlannedLook, fit};

const YEARS: [f64; 4] = [2009.0, 2014.0, 2018.0, 2022.0];
/// Blades that are called, and when; they are replaced then.
const CALLED: [(u32, f64); 6] = [(2, 2014.0), (5, 2018.0), (6, 2018.0), (9, 2022.0), (13, 2022.0), (17, 2022.0)];
/// Scatter of points cannot enter, so that only rounding is left.
const NEAR: f64 = 1e-9;

/// Cracks that hardly grow, and looks that find any of them with one chance, and call nothing else.
fn blunt(pod: f64) -> StudyParts {
    let mut parts = parts();
    parts.growth[0].coefficient_m_per_start *= 1e-6;
    let technique = &mut parts.techniques[0];
    (technique.pod.q50_mm, technique.pod.spread, technique.pod.ceiling) = (0.1, 0.02, pod);
    (technique.crack_sigma, technique.false_call_probability) = (0.0, 0.0);
    parts
}

fn on_study(study: &Study, law: Law) -> InitiationFit {
    let called = |blade: u32, year: f64| CALLED.contains(&(blade, year)).then_some(None);
    let text = format!("{HEADER}{}", lines("row", 20, &YEARS, called));
    let options = InitiationOnStudy { law: Some(law), cracks: 256, ..InitiationOnStudy::default() };
    study.fit_initiation(&records(&text), &options).expect("a fit")
}

/// The same looks by hand, by a clock that makes so much a year.
fn by_hand(pod: f64, per_year: f64, law: Law, renewed_are_new: bool) -> InitiationFit {
    let mut list = Vec::new();
    let mut watched = |installed: f64, until: f64, found: bool| {
        let looks = YEARS.into_iter().filter(|year| *year > installed && *year <= until);
        let installed = if renewed_are_new { installed } else { 2004.0 };
        let looks: Vec<PlannedLook> =
            looks.map(|year| PlannedLook { time: (year - installed) * per_year, pod }).collect();
        if !looks.is_empty() {
            list.push(Observation::of_looks(&looks, found));
        }
    };
    for blade in 1..=20 {
        match CALLED.iter().find(|called| called.0 == blade) {
            Some((_, year)) => {
                watched(2004.0, *year, true);
                watched(*year, 2024.0, false);
            }
            None => watched(2004.0, 2024.0, false),
        }
    }
    let observations = Observations::new(list, &[]).expect("good observations");
    fit(&observations, &Model { law, shape: None, row_factor: false }).expect("a fit")
}

fn assert_same(ours: &InitiationFit, theirs: &InitiationFit) {
    let near = |what: &str, ours: f64, theirs: f64| {
        assert!((ours - theirs).abs() < NEAR * (1.0 + theirs.abs()) * 1e3, "{what}: {ours} {theirs}");
    };
    near("log-likelihood", ours.log_likelihood().expect("finds"), theirs.log_likelihood().expect("finds"));
    for (own, other) in ours.parameters().iter().zip(theirs.parameters()) {
        near(&own.name, own.value.expect("a value"), other.value.expect("a value"));
        let bounds =
            |fit: &InitiationFit| fit.parameter_bounds(&own.name, 0.975, Method::LikelihoodRatio).expect("bounds");
        let (own, other) = (bounds(ours), bounds(theirs));
        for (own, other) in [(own.low, other.low), (own.high, other.high)] {
            match (own, other) {
                (Some(own), Some(other)) => near("a bound", own, other),
                (own, other) => assert_eq!(own, other),
            }
        }
    }
}

#[test]
fn looks_that_find_everything_leave_the_interval_in_which_a_crack_began() {
    let study = study(blunt(1.0));
    for law in Law::ALL {
        assert_same(&on_study(&study, law), &by_hand(1.0, 100.0, law, true));
    }
}

#[test]
fn looks_that_find_a_share_of_all_cracks_count_by_that_share() {
    let study = study(blunt(0.6));
    for law in Law::ALL {
        assert_same(&on_study(&study, law), &by_hand(0.6, 100.0, law, true));
    }
}

#[test]
fn new_blades_are_new() {
    // The same by hand with blades as old as the row is far from it.
    let ours = on_study(&study(blunt(0.6)), Law::Weibull);
    let as_old = by_hand(0.6, 100.0, Law::Weibull, false);
    let scale = |fit: &InitiationFit| fit.parameters()[0].value.expect("a value");
    assert!((scale(&ours) / scale(&as_old) - 1.0).abs() > 0.01, "{} {}", scale(&ours), scale(&as_old));
}

#[test]
fn lives_are_counted_by_the_clock_and_the_surface() {
    let mut parts = blunt(0.6);
    parts.initiation[0].clock = serrata::model::usage::Clock { per_start: 1.0, per_hour: 0.01 };
    parts.surfaces[0].initiation_life_factor = 2.0;
    // 100 starts and 6000 hours a year, on a surface that makes lives twice as long.
    assert_same(&on_study(&study(parts), Law::Weibull), &by_hand(0.6, 160.0 / 2.0, Law::Weibull, true));
}

#[test]
fn several_origins_share_the_finds_of_a_blade() {
    // Three origins of one hazard crack as one of three times that hazard, as long as no second one is likely.
    let mut parts = blunt(1.0);
    parts.roots[0].hot_spots[0].positions = 3;
    let three = on_study(&study(parts), Law::Weibull);
    let one = by_hand(1.0, 100.0, Law::Weibull, true);
    let value = |fit: &InitiationFit, number: usize| fit.parameters()[number].value.expect("a value");
    let shape = value(&one, 1);
    let expected = value(&one, 0) * 3.0_f64.powf(1.0 / shape);
    // A look that finds everything: of called blades with two cracks only one is counted, a third of a half of 6 in 20.
    let (ours, shapes) = (value(&three, 0) / expected, value(&three, 1) / shape);
    assert!((ours - 1.0).abs() < 0.03 && (shapes - 1.0).abs() < 0.03, "{ours} {shapes}");
}

#[test]
fn a_law_that_is_held_and_never_cracks_leaves_the_other_as_it_was() {
    let two = |scale: f64| {
        let mut parts = blunt(0.6);
        let mut other = parts.initiation[0].clone();
        (other.id, other.shape) = ("other".to_owned(), InitiationShape::Weibull { shape: 2.0, scale });
        parts.initiation.push(other);
        let mut spot = parts.roots[0].hot_spots[0].clone();
        (spot.id, spot.initiation) = ("lower".to_owned(), 1);
        parts.roots[0].hot_spots.push(spot);
        let called = |blade: u32, year: f64| CALLED.contains(&(blade, year)).then_some(None);
        let text = format!("{HEADER}{}", lines("row", 20, &YEARS, called));
        let initiation = Some("fatigue".to_owned());
        let options = InitiationOnStudy { initiation, cracks: 256, ..InitiationOnStudy::default() };
        study(parts).fit_initiation(&records(&text), &options).expect("a fit")
    };
    assert_same(&two(1e9), &by_hand(0.6, 100.0, Law::Weibull, true));
    // One that cracks explains some of the calls, so that the other cracks less often: by 1800 starts its hazard is a fifth.
    let fraction = |scale: f64| two(scale).fraction_at(1800.0, &[]).expect("a time").expect("finds");
    assert!(fraction(4000.0) < fraction(1e9) - 0.05, "{} {}", fraction(4000.0), fraction(1e9));
}

#[test]
fn no_find_is_a_bound() {
    let text = format!("{HEADER}{}", lines("row", 20, &YEARS, |_, _| None));
    let options = InitiationOnStudy { shape: Some(2.0), cracks: 256, ..InitiationOnStudy::default() };
    let found = |study: &Study| study.fit_initiation(&records(&text), &options).expect("a bound");
    let bounds = |fit: &InitiationFit| {
        assert!(fit.is_bound_only() && fit.log_likelihood().is_none());
        fit.parameter_bounds("scale", 0.95, Method::LikelihoodRatio).expect("bounds")
    };
    // Of looks that find everything: 20 (1800 / scale)^2 = -ln 0.05.
    let sharp = bounds(&found(&study(blunt(1.0))));
    let closed = 1800.0 * (20.0 / -0.05_f64.ln()).sqrt();
    let low = sharp.low.expect("a lower bound");
    assert!(sharp.high.is_none() && (low / closed - 1.0).abs() < 1e-9, "{low} {closed}");
    // Looks that miss say less.
    let weaker = bounds(&found(&study(parts()))).low.expect("a lower bound");
    assert!(weaker < low, "{weaker} {low}");
    let refused = study(parts()).fit_initiation(&records(&text), &InitiationOnStudy::default()).expect_err("no shape");
    assert_eq!(refused.reason(), Some("no-finds"));
}

#[test]
fn what_does_not_fit_is_refused() {
    let two_laws = {
        let mut parts = parts();
        let other = serrata::model::initiation::InitiationLaw { id: "other".to_owned(), ..parts.initiation[0].clone() };
        parts.initiation.push(other);
        let mut spot = parts.roots[0].hot_spots[0].clone();
        (spot.id, spot.initiation) = ("lower".to_owned(), 1);
        parts.roots[0].hot_spots.push(spot);
        study(parts)
    };
    let text = format!("{HEADER}{}", lines("row", 20, &YEARS, |_, _| None));
    let options = InitiationOnStudy { shape: Some(2.0), ..InitiationOnStudy::default() };
    let refused = two_laws.fit_initiation(&records(&text), &options).expect_err("two laws");
    assert_eq!(refused.reason(), Some("several-laws"));
    assert!(refused.to_string().contains("fatigue, other"), "{refused}");
    let named = |name: &str| InitiationOnStudy { initiation: Some(name.to_owned()), ..options.clone() };
    let refused = two_laws.fit_initiation(&records(&text), &named("none")).expect_err("no such law");
    assert!(refused.to_string().contains("fatigue, other"), "{refused}");
    // A crack of a section's length by the first start cannot be.
    let mut certain = parts();
    certain.techniques[0].false_call_probability = 0.0;
    certain.growth[0].coefficient_m_per_start *= 1e-6;
    let long = |blade: u32, year: f64| (blade == 3 && year == 2009.0).then_some(Some(19.0));
    let text = format!("{HEADER}{}", lines("row", 20, &YEARS, long));
    let refused = study(certain).fit_initiation(&records(&text), &options).expect_err("too long");
    assert!(refused.to_string().contains("rows.row: what its records say cannot come about"), "{refused}");
    // Lines that do not fit the study are named.
    let unknown = records(&format!("{HEADER}row,21,x,2014,insitu,standard,no,\n"));
    let refused = study(parts()).fit_initiation(&unknown, &options).expect_err("blade 21 of 20");
    assert_eq!(refused.faults()[0].line, Some(2));
}
