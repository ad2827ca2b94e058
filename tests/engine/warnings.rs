//! What a study says of strategies that may not be meant as they stand.

use crate::support::Lived;
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::StudyParts;
use serrata::model::initiation::InitiationShape;
use serrata::model::strategy::{
    Action, Choice, Disposition, Dressing, RowEnd, RowEndAction, Sample, SampleSize, Spares, Watch, When, WithoutSpare,
};

/// The warnings of the small study with one thing changed.
fn warnings(change: impl Fn(&mut StudyParts)) -> Vec<String> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
    let mut study = Study::load(path).expect("a valid study").into_parts();
    change(&mut study);
    study.study().warnings()
}

#[test]
fn a_plan_that_says_what_it_means_has_no_warning() {
    assert_eq!(warnings(|_| ()), Vec::<String>::new());
    for name in ["demo-data/demo-study.toml", "demo-data/reference-study.toml", "tests/engine/data/everything_on.toml"]
    {
        let study = Study::load(format!("{}/{name}", env!("CARGO_MANIFEST_DIR"))).expect("a valid study").into_parts();
        let expected: &[&str] = match name {
            name if name.contains("everything") => &["strategies.inplace: a blade that is watched"],
            name if name.contains("reference") => &["past_looks of north-a say what was found, which is not used"],
            _ => &[],
        };
        let found = study.study().warnings();
        assert_eq!(found.len(), expected.len(), "{name}: {found:?}");
        assert!(found.iter().zip(expected).all(|(found, expected)| found.starts_with(expected)), "{name}: {found:?}");
    }
}

#[test]
fn a_strategy_that_never_looks_is_named() {
    let found = warnings(|study| study.strategies[0].looks[0].when = When::every(20, 1));
    assert_eq!(
        found,
        [
            "strategies.look.looks[1] never looks at any row: first_outage is 20, and there are 3 outages in the study. The \
          strategy never looks at all."
        ]
    );
    let found = warnings(|study| {
        study.strategies[0].row_end = Some(RowEnd { year: 2020.5, then: RowEndAction::Retired });
    });
    assert_eq!(found.len(), 1);
    assert!(found[0].contains("no outage that is due comes before the row ends"), "{found:?}");
}

#[test]
fn a_loss_is_not_the_only_sign_of_a_strategy_that_never_looks() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
    let mut study = Study::load(path).expect("a valid study").into_parts();
    study.strategies[0].looks[0].when = When::every(20, 1);
    let run = serrata::simulation::Run { trials: 100, ..serrata::simulation::Run::default() };
    let comparison = study.simulate(&run).expect("a run");
    assert!(comparison.warnings()[0].starts_with("strategies.look.looks[1] never looks"));
}

#[test]
fn two_looks_at_one_outage_are_named() {
    let found = warnings(|study| {
        study.strategies[0].dispositions = vec![Disposition::last(Action::Replace)];
        let mut second = study.strategies[0].looks[0].clone();
        (second.techniques, second.when) = (vec![1], When::every(2, 2));
        study.strategies[0].looks.push(second);
    });
    assert_eq!(
        found,
        [
            "strategies.look: looks[1] (ultrasonic) and looks[2] (eddy-current) fall on one outage, as the 2nd of row A1: both are \
          done and paid. If the one is meant instead of the other, say so (instead_of_others = true), or change when they are due."
        ]
    );
    let found = warnings(|study| {
        let mut second = study.strategies[0].looks[0].clone();
        second.when = When::every(1, 2);
        study.strategies[0].looks[0].when = When::every(2, 2);
        study.strategies[0].looks.push(second);
    });
    assert_eq!(found, Vec::<String>::new(), "looks that take turns");
}

#[test]
fn blades_that_come_out_only_to_be_watched_are_named() {
    let watch = |study: &mut StudyParts| {
        study.strategies[0].looks[0].techniques = vec![1];
        study.strategies[0].looks[0].when = When::every(1, 2);
        study.strategies[0].dispositions = vec![Disposition::last(Action::Watch)];
    };
    let found = warnings(watch);
    assert_eq!(found.len(), 1);
    assert!(found[0].starts_with(
        "strategies.look: a blade that is watched after the 1st outage (row A1) has the blades of its row taken out at the next, \
         only to be looked at by eddy-current again"
    ), "{found:?}");
    let in_place = Watch { technique: 0, cost_per_row: None, cost_per_blade: None, days_per_row: None };
    let found = warnings(|study| {
        watch(study);
        study.strategies[0].watch = Some(in_place);
    });
    assert_eq!(found, Vec::<String>::new());
}

#[test]
fn a_row_end_that_never_comes_is_named() {
    let found = warnings(|study| {
        study.strategies[1].row_end = Some(RowEnd { year: 2029.0, then: RowEndAction::NewRow });
    });
    assert_eq!(
        found,
        ["strategies.none.row_end never comes for rows A1: they have no outage in the study in or after 2029."]
    );
}

#[test]
fn dressing_that_surprises_is_named() {
    let dress = |study: &mut StudyParts, dressing: Dressing| {
        study.strategies[0].dispositions = vec![Disposition::last(Action::Dress)];
        study.strategies[0].dressing = Some(dressing);
        (study.costs.dressing_cost, study.costs.dressing_days) = (Some(1.0), Some(0.1));
    };
    let good = Dressing { gone_probability: 0.9, life_factor: 0.5, at_most_depth_mm: 3.0, blades_out: false };
    assert_eq!(warnings(|study| dress(study, good)), Vec::<String>::new());
    let found = warnings(|study| {
        dress(study, Dressing { life_factor: 1.5, at_most_depth_mm: 0.001, ..good });
        study.strategies[0].looks.clear();
        study.roots[0].replaced_together = 2;
    });
    let told = [
        "strategies.look dresses blades, and never looks at any",
        "strategies.look dresses blades without taking the row's blades out, and those of roots fork come out in groups only",
        "strategies.look.dressing.life_factor is 1.5",
        "strategies.look: every crack begins deeper, at the median, than may be ground away (0.001 mm)",
    ];
    assert!(found.len() == 4 && found.iter().zip(told).all(|(one, told)| one.starts_with(told)), "{found:?}");
}

/// The row has 3 outages.
#[test]
fn blades_that_no_sample_covers_are_told() {
    let sampled = |blades: u32, study: &mut StudyParts| {
        study.strategies[0].looks[0].coverage.blades = Sample::Number(SampleSize::Blades(blades), Choice::Rotating);
    };
    assert_eq!(warnings(|study| sampled(27, study)), Vec::<String>::new());
    let told = "strategies.look: its samples cover at most 78 of the 80 blades of row A1 in the whole study, as long as nothing is found: \
                the others are never looked at.";
    assert_eq!(warnings(|study| sampled(26, study)), [told]);
    // A look at the whole row, once.
    let found = warnings(|study| {
        sampled(26, study);
        let mut whole = study.strategies[0].looks[0].clone();
        (whole.coverage.blades, whole.when, whole.instead_of_others) = (Sample::ALL, When::Outages(vec![2]), true);
        study.strategies[0].looks.push(whole);
    });
    assert_eq!(found, Vec::<String>::new());
}

#[test]
fn no_warning_has_a_gap_in_it() {
    let found = warnings(|study| {
        study.costs.loss_cost = Distribution::Pareto { minimum: 1.0, tail_exponent: 1.5, capped_at: f64::INFINITY };
    });
    assert!(found.len() == 1 && !found[0].contains("  "), "{found:?}");
}

#[test]
fn spares_that_arrive_after_the_end_are_told() {
    let spares = |lead_days: f64, study: &mut StudyParts| {
        let without = WithoutSpare::RunOnWatched;
        study.strategies[0].spares =
            vec![Spares { roots: None, blades: 1, lead_days, without, cost_per_year: 0.0, used_blades: None }];
    };
    // Ten years.
    assert_eq!(warnings(|study| spares(3652.0, study)), Vec::<String>::new());
    let told = "strategies.look.spares[1].lead_days is 3652.5, and the study is as long or shorter: nothing that is ordered in it \
                arrives in it, and rows wait beyond its end.";
    assert_eq!(warnings(|study| spares(3652.5, study)), [told]);
}

/// With one trial, or few, no warning says a number that means nothing.
#[test]
fn warnings_of_few_trials_make_sense() {
    let names = ["tests/engine/data/y1c.toml", "tests/engine/data/small.toml", "demo-data/reference-study.toml"];
    for name in names {
        let mut study =
            Study::load(format!("{}/{name}", env!("CARGO_MANIFEST_DIR"))).expect("a valid study").into_parts();
        for (trials, sure) in [(1, false), (1, true), (2, false), (20, true)] {
            if sure {
                // Every life loses a blade.
                study.initiation.iter_mut().for_each(|law| law.shape = InitiationShape::Exponential { mean: 1_000.0 });
                study.growth.iter_mut().for_each(|law| law.coefficient_m_per_start = 1e-9);
                study.rows.iter_mut().for_each(|row| row.in_service_year = study.start_year);
                study.rows.iter_mut().for_each(|row| row.renewed.clear());
                study.rows.iter_mut().for_each(|row| row.past_looks.clear());
            }
            let run = serrata::simulation::Run { trials, ..serrata::simulation::Run::default() };
            let warnings = study.simulate(&run).expect("a run").warnings();
            for text in &warnings {
                for nonsense in ["NaN", "inf ", "inf)", "(0.00 %)", "to 0 %", "about 0 trials", "confidence 1.00"] {
                    assert!(!text.contains(nonsense), "{name}, {trials} trials: {text}");
                }
            }
            let said = |words: &str| warnings.iter().any(|text| text.contains(words));
            assert!(!sure || said("a loss in every one of"), "{name}, {trials} trials: {warnings:?}");
        }
    }
}

#[test]
fn cleaning_and_peening_that_surprise_are_told() {
    let text = include_str!("data/small.toml").replace(
        "[strategies.look]\n",
        "[cleaning.blasting]\nq50_factor = 0.8\ncloses_mouth_probability = 0.2\n[strategies.look]\n",
    );
    let warned = |looks: &str, rest: &str| {
        let from = text.find("\nlooks = [").expect("looks") + 1;
        let to = from + text[from..].find('\n').expect("a line");
        let text = format!("{}looks = [{looks}]\n{rest}{}", &text[..from], &text[to..]);
        serrata::Study::parse(&text, "small").unwrap_or_else(|error| panic!("{error}")).warnings()
    };
    let cleaned = "{ techniques = [\"ultrasonic\"], cleaning = \"blasting\", first_outage = 1, every_outages = 1 }";
    let minds_nothing = "strategies.look.looks[1]: cleaning.blasting closes mouths of cracks, and none of its techniques minds: their \
                         closed_mouth_factor is 1.";
    assert_eq!(warned(cleaned, ""), [minds_nothing]);
    let other = "{ techniques = [\"penetrant\"], first_outage = 2, every_outages = 1 }";
    let unseen = "strategies.look.looks[1] is at blades after blasting, and looks[2] falls on the same outage, as the 2nd of row A1, \
                  and is taken to see them as if nobody had cleaned. If it comes after the cleaning, give it the same one.";
    assert!(warned(&format!("{cleaned}, {other}"), "").contains(&unseen.to_owned()));
    let peening = |when: &str, factor: f64| {
        format!(
            "peening = [{{ {when}, life_factor = {factor}, cost_per_row = 0, days_per_row = 0, blades_out = false }}]"
        )
    };
    let look = "{ techniques = [\"ultrasonic\"], first_outage = 1, every_outages = 1 }";
    assert!(warned(look, &peening("at_outages = [1]", 2.0)).is_empty());
    assert_eq!(
        warned(look, &peening("at_outages = [1]", 0.5)),
        ["strategies.look.peening[1].life_factor is 0.5: it has cracks begin sooner than if nobody peened."]
    );
    assert_eq!(
        warned(look, &peening("at_outages = [9]", 2.0)),
        ["strategies.look.peening[1] never comes for rows A1: no outage that is due comes before the row ends."]
    );
}
