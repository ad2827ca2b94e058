//! Fits that go into a study.

use super::{GENERATED, pairs};
use serrata::Study;
use serrata::model::detection::{Grade, SizeMeasure};
use serrata::statistics::hit_miss::{Fit, Look, Looks, Model, fit};

fn study() -> Study {
    Study::load("demo-data/demo-study.toml").expect("a study")
}

/// The generated looks on two surfaces and by two grades, told apart by turns; 20 looks at sound places, one called.
fn factored() -> Fit {
    let looks: Vec<Look> = pairs(GENERATED)
        .into_iter()
        .chain((0..20).map(|look| (0.0, look == 0)))
        .enumerate()
        .map(|(index, (size_mm, called))| Look {
            size_mm,
            called,
            levels: vec![
                if index % 2 == 0 { "as-machined" } else { "peened" }.to_owned(),
                if index % 3 == 0 { "enhanced" } else { "standard" }.to_owned(),
            ],
            inspector: None,
        })
        .collect();
    let factors = [("surface", Some("as-machined")), ("grade", None)];
    let looks = Looks::new(SizeMeasure::Length, &factors, &looks).expect("good").from_source("a trial in 2031");
    fit(&looks, &Model::default()).expect("a fit")
}

#[test]
fn a_fit_goes_into_a_study_with_its_shifts_false_calls_and_basis() {
    let (study, fit) = (study(), factored());
    let known = study.techniques[0].clone();
    let changed = study.with_technique(&known.id, None, &fit.evidence().expect("evidence")).expect("a study");
    let technique = &changed.techniques[0];
    assert_eq!(technique.pod, fit.pod_curve().expect("a curve"));
    assert_eq!(technique.false_call_probability, 1.0 / 20.0);
    let peened = study.surfaces.iter().position(|surface| surface.id == "peened").expect("a surface");
    assert_eq!(technique.surface_shift_log[peened], fit.shifts_log("surface").expect("a factor")[1].1);
    let by_grade = if known.grade == Grade::Enhanced { fit.shifts_log("grade").expect("a factor")[1].1 } else { 0.0 };
    assert_eq!(technique.grade_shift_log, by_grade);
    let basis = technique.basis.as_deref().expect("a basis");
    assert!(basis.starts_with("fitted to 60 looks at cracks of 0.31 to 5.37 mm, "), "{basis}");
    assert!(basis.contains("32 hits, a trial in 2031: logit, q90 2.933 mm"), "{basis}");
    // What the looks are silent about stays; so does everything else.
    assert_eq!((technique.crack_sigma, technique.cost_per_blade), (known.crack_sigma, known.cost_per_blade));
    assert_eq!(changed.techniques[1..], study.techniques[1..]);
    assert_eq!(changed.strategies, study.strategies);
    assert_ne!(changed, study);
}

#[test]
fn a_new_technique_takes_the_rest_from_one_that_is_there() {
    let (study, evidence) = (study(), factored().evidence().expect("evidence"));
    let model = study.techniques[0].id.clone();
    let changed = study.with_technique("trial", Some(&model), &evidence).expect("a study");
    assert_eq!(changed.techniques.len(), study.techniques.len() + 1);
    let added = changed.techniques.last().expect("a technique");
    assert_eq!((added.id.as_str(), added.access), ("trial", study.techniques[0].access));
    assert_eq!(added.pod, evidence.pod);
    assert_eq!(changed.techniques[..study.techniques.len()], study.techniques[..]);
}

#[test]
fn a_technique_or_surface_that_the_study_does_not_know_is_refused() {
    let (study, evidence) = (study(), factored().evidence().expect("evidence"));
    let error = study.with_technique("sonar", None, &evidence).expect_err("no such technique").to_string();
    assert!(
        error.starts_with(
            "technique = \"sonar\"\n    the study has no such technique\n    access, sizing and costs come"
        ),
        "{error}"
    );
    let mut elsewhere = evidence.clone();
    elsewhere.surface_shift_log[1].0 = "mirror".to_owned();
    let id = study.techniques[0].id.clone();
    let error = study.with_technique(&id, None, &elsewhere).expect_err("no such surface").to_string();
    assert!(
        error.starts_with("surface = \"mirror\"\n    the study has no such surface\n    name surfaces alike in both"),
        "{error}"
    );
}
