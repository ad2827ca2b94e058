//! The mouth of a crack: open or closed, one state for all techniques and all its life.

use crate::support::ByNumber;
use serrata::Study;
use serrata::simulation::{Comparison, GrowthQuestion, Inspected, Inspection, Quantity, Run};

const SMALL: &str = include_str!("data/small.toml");

fn edited(edits: &[(&str, &str)]) -> Study {
    let text = edits.iter().fold(SMALL.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from:?} is not there");
        text.replace(from, to)
    });
    Study::parse(&text, "small").unwrap_or_else(|error| panic!("{error}"))
}

fn inspected(study: &Study, techniques: &[&str], lives: u64) -> Vec<Inspected> {
    let techniques = techniques.iter().map(|&id| id.to_owned()).collect();
    let asked = Inspection { row: "A1".to_owned(), techniques, lives, seed: 3 };
    let mut lines = study.inspect(&asked).expect("an inspection");
    lines.retain(|line| line.place.is_some());
    lines
}

fn lived(study: &Study, trials: u64) -> Comparison {
    study.simulate(&Run { trials, seed: 5, ..Run::default() }).expect("a run")
}

const SURFACE: &str = "initiation_life_factor = 1\n";
const THREE_TENTHS: (&str, &str) = (SURFACE, "initiation_life_factor = 1\nclosed_mouth_probability = 0.3\n");
/// Both techniques that the tests use have this line; the floors differ.
const GRADE: &str = "grade_shift_log = 0\n";
const FOUR_TENTHS: (&str, &str) = (GRADE, "grade_shift_log = 0\nclosed_mouth_factor = 0.4\n");
const BLIND: (&str, &str) = (GRADE, "grade_shift_log = 0\nclosed_mouth_factor = 0\n");

/// More cracks, larger ones, no scatter of detection, and no look before.
const MANY: [(&str, &str); 5] = [
    ("past_looks = [{ year = 2015, technique = \"eddy-current\" }]\n", ""),
    ("scale = 20000", "scale = 6000"),
    ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 4e-10"),
    ("inspection_sigma = 0.1", "inspection_sigma = 0"),
    ("crack_sigma = 0.4", "crack_sigma = 0"),
];

/// A threshold of zero changes no crack, but has each followed.
const FOLLOWED: (&str, &str) =
    ("row_sigma_log = 0\n", "row_sigma_log = 0\nthreshold = { kind = \"constant\", range_mpa_sqrt_m = 0 }\n");

/// Sums of independent calls, so that standard errors follow from the curves themselves.
#[test]
fn closed_mouths_are_as_many_as_stated_and_hide_cracks_by_the_factor() {
    let logistic = |z: f64| 1.0 / (1.0 + (-z).exp());
    let ultrasonic = |length_mm: f64, _: f64| 0.01 + 0.97 * logistic((length_mm / 4.0).ln() / 0.3);
    let gated = |length_mm: f64, depth_mm: f64| ultrasonic(length_mm, depth_mm) * logistic(depth_mm.ln() / 0.5);
    let eddy = |length_mm: f64, _: f64| 0.99 * serrata::math::normal_cdf((length_mm / 1.5).ln() / 0.4);
    type Curve<'a> = &'a dyn Fn(f64, f64) -> f64;
    let curves: [(&str, Curve<'_>); 3] = [("ultrasonic", &ultrasonic), ("ultrasonic", &gated), ("eddy-current", &eddy)];
    let gate = ("ceiling = 0.98 }\n", "ceiling = 0.98 }\ndepth_gate = { q50_mm = 1, spread = 0.5 }\n");
    for (case, (technique, curve)) in curves.into_iter().enumerate() {
        for way in [vec![], vec![FOLLOWED]] {
            let gate = if case == 1 { vec![gate] } else { vec![] };
            let study = edited(&[&MANY[..], &[THREE_TENTHS, FOUR_TENTHS], &way, &gate].concat());
            let cracks = inspected(&study, &[technique], if way.is_empty() { 150 } else { 90 });
            let count = cracks.len() as f64;
            let closed = cracks.iter().filter(|crack| crack.mouth_is_closed).count() as f64;
            assert!((closed / count - 0.3).abs() < 4.0 * (0.21 / count).sqrt(), "{closed} of {count}");
            for is_closed in [false, true] {
                let (mut expected, mut variance, mut called) = (0.0, 0.0, 0.0);
                for crack in cracks.iter().filter(|crack| crack.mouth_is_closed == is_closed) {
                    let p = curve(crack.length_mm, crack.depth_mm) * if is_closed { 0.4 } else { 1.0 };
                    (expected, variance) = (expected + p, variance + p * (1.0 - p));
                    called += f64::from(u8::from(!crack.measured_mm[0].is_nan()));
                }
                assert!(expected > 10.0, "case {case}: {expected} calls expected");
                let out = (called - expected) / variance.sqrt();
                assert!(out.abs() < 4.0, "case {case}, closed {is_closed}: {called} called, {expected} expected");
            }
        }
    }
}

/// Where both are blind to closed mouths, both are blind to the same cracks; nothing else moves by a bit.
#[test]
fn one_state_for_all_techniques_and_no_other_draw_moves() {
    for way in [vec![], vec![FOLLOWED]] {
        let lives = if way.is_empty() { 100 } else { 40 };
        let open = inspected(&edited(&[&MANY[..], &way].concat()), &["ultrasonic", "eddy-current"], lives);
        let with = edited(&[&MANY[..], &[THREE_TENTHS, BLIND], &way].concat());
        let with = inspected(&with, &["ultrasonic", "eddy-current"], lives);
        assert_eq!(open.len(), with.len());
        let mut hidden = [0; 2];
        for (open, with) in open.iter().zip(&with) {
            assert_eq!(open.length_mm, with.length_mm);
            for (technique, hidden) in hidden.iter_mut().enumerate() {
                let [open_mm, with_mm] = [open, with].map(|crack| crack.measured_mm[technique]);
                if with.mouth_is_closed {
                    assert!(with_mm.is_nan());
                    *hidden += u32::from(!open_mm.is_nan());
                } else {
                    assert_eq!(open_mm.to_bits(), with_mm.to_bits());
                }
            }
        }
        assert!(hidden.iter().all(|hidden| *hidden > 10), "{hidden:?}");
    }
}

/// A draw that something else of the crack uses too would make closed cracks longer or shorter than open ones.
#[test]
fn the_mouth_is_a_draw_of_its_own() {
    let scatter = ("crack_sigma_log = 0.3", "crack_sigma_log = 1.5");
    let cracks = inspected(&edited(&[&MANY[..], &[THREE_TENTHS, scatter]].concat()), &[], 300);
    let lengths = |is_closed: bool| {
        let some = cracks.iter().filter(|crack| crack.mouth_is_closed == is_closed);
        let logs: Vec<f64> = some.map(|crack| crack.length_mm.ln()).collect();
        let (count, mean) = (logs.len() as f64, logs.iter().sum::<f64>() / logs.len() as f64);
        assert!(count > 400.0, "{count} cracks");
        (mean, logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>() / (count * (count - 1.0)))
    };
    let ((open, variance), (closed, more)) = (lengths(false), lengths(true));
    assert!((open - closed).abs() < 4.0 * (variance + more).sqrt(), "{open} against {closed}");
}

#[test]
fn a_chance_of_zero_changes_no_bit() {
    let plain = lived(&edited(&[]), 1_000);
    let zero = (SURFACE, "initiation_life_factor = 1\nclosed_mouth_probability = 0\n");
    let with = lived(&edited(&[zero, FOUR_TENTHS]), 1_000);
    for name in serrata::simulation::TABLES {
        assert_eq!(format!("{:?}", plain.table(name)), format!("{:?}", with.table(name)), "{name}");
    }
}

/// What finds every crack with an open mouth, or none at all with a closed one.
const CERTAIN: [(&str, &str); 6] = [
    ("q50_mm = 4", "q50_mm = 0.05"),
    ("q50_mm = 1.5", "q50_mm = 0.05"),
    ("ceiling = 0.98", "ceiling = 1"),
    ("ceiling = 0.99", "ceiling = 1"),
    ("inspection_sigma = 0.1", "inspection_sigma = 0"),
    ("crack_sigma = 0.4", "crack_sigma = 0"),
];

/// Of the cracks that are old enough to have been there, a past look leaves those with a closed mouth, which the
/// inspection after it finds closed too.
#[test]
fn a_past_look_sees_the_same_mouth() {
    let past = [
        ("past_looks = [{ year = 2015,", "past_looks = [{ year = 2019.9,"),
        // Length then follows age.
        ("{ kind = \"lognormal\", median = 0.3, sigma_log = 0.3 }", "0.3"),
        ("crack_sigma_log = 0.3", "crack_sigma_log = 0"),
        ("blade_stress_sigma_log = 0.1", "blade_stress_sigma_log = 0"),
    ];
    for way in [vec![], vec![FOLLOWED]] {
        let edits = [&MANY[1..3], &CERTAIN[..], &past, &[THREE_TENTHS, BLIND], &way].concat();
        let mut cracks = inspected(&edited(&edits), &["eddy-current"], 60);
        cracks.sort_by(|one, other| other.length_mm.total_cmp(&one.length_mm));
        let old: Vec<&Inspected> = cracks.iter().filter(|crack| crack.length_mm > 1.2).collect();
        assert!(old.len() > 100, "{} of {}", old.len(), cracks.len());
        assert!(old.iter().all(|crack| crack.mouth_is_closed));
        assert!(cracks.iter().any(|crack| !crack.mouth_is_closed), "younger ones were not there");
    }
}

/// What is blind to mouths that a layer holds shut removed nothing in the past.
#[test]
fn a_past_look_sees_that_a_layer_holds_mouths_shut() {
    let layer = "initiation_life_factor = 1\nlayer = { compression_mpa = 500, depth_mm = 0.4, faces = \"both\" }\n";
    let edits = [&MANY[1..3], &CERTAIN[..], &[(SURFACE, layer)]].concat();
    let lengths = |edits: &[(&str, &str)]| {
        inspected(&edited(edits), &[], 10).iter().map(|crack| crack.length_mm).collect::<Vec<f64>>()
    };
    let never = lengths(&[&edits[..], &MANY[..1]].concat());
    assert!(never.len() > 100, "{} cracks", never.len());
    assert_eq!(lengths(&[&edits[..], &[BLIND]].concat()), never);
    assert!(lengths(&edits).len() < never.len(), "what minds no mouth removed some");
}

/// Three looks that find every open crack leave the closed ones, three of ten; were the state drawn anew at each
/// look, they would leave fewer. Cracks are few, so that hardly a blade has two.
#[test]
fn a_mouth_stays_as_it_is_from_outage_to_outage() {
    let none = (
        "after_loss = \"replace-row\"\nrow_end = { year = 2026, then = \"retired\" }\n",
        "after_loss = \"replace-blade\"\n",
    );
    let replace = (
        "[{ below_mm = 2, action = \"watch\" }, { below_mm = 5, action = \"replace\" }, { action = \"replace-row\" }]",
        "[{ action = \"replace\" }]",
    );
    let all = (", coverage = { blade_fraction = 0.5 }", "");
    let no_false = ("false_call_probability = 0.002", "false_call_probability = 0");
    let rare = ("scale = 20000", "scale = 60000");
    let no_floor = ("floor = 0.01", "floor = 0");
    let past = ("past_looks = [{ year = 2015, technique = \"eddy-current\" }]\n", "");
    for way in [vec![], vec![FOLLOWED]] {
        let edits =
            [&CERTAIN[..], &[none, replace, all, no_false, rare, no_floor, past, THREE_TENTHS, BLIND], &way].concat();
        let trials = if way.is_empty() { 8_000 } else { 2_000 };
        let lived = lived(&edited(&edits), trials);
        let left = |strategy| lived.after_outages_of(0, strategy)[2].cracks.value;
        let (looked_at, never) = (left(0), left(1));
        let trials = trials as f64;
        assert!(never * trials > 400.0, "{never} cracks a trial");
        // Of n cracks 0.3 n are left; rows differ (sigma 0.5), but alike under both.
        let spread = (0.21 / (never * trials)).sqrt();
        let share = looked_at / never;
        assert!((share - 0.3).abs() < 4.0 * spread, "{share} left, {spread} either way");
    }
}

/// A technique that is blind to closed mouths has no window for them.
#[test]
fn the_window_of_a_closed_crack_is_that_of_its_factor() {
    let quick = ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 4e-10");
    for way in [vec![], vec![FOLLOWED]] {
        let grown = |edits: &[(&str, &str)]| {
            let study = edited(&[&[quick], edits, &way].concat());
            let question = GrowthQuestion {
                technique: Some("ultrasonic".to_owned()),
                cracks: if way.is_empty() { 4_000 } else { 500 },
                ..GrowthQuestion::new("pin")
            };
            study.grow(&question).expect("grown cracks").cracks
        };
        let (open, with) = (grown(&[]), grown(&[THREE_TENTHS, FOUR_TENTHS]));
        let mut never = 0.0;
        for (open, with) in open.iter().zip(&with) {
            assert_eq!(open.years_to_loss, with.years_to_loss);
            // Half of the probability of detection is asked for, which 0.4 of it never is.
            if with.years_to_detectable == f64::INFINITY {
                assert_eq!(with.window_years(), 0.0);
                never += 1.0;
            } else {
                assert_eq!(open.years_to_detectable, with.years_to_detectable);
            }
        }
        assert!(open.iter().all(|crack| crack.years_to_detectable < f64::INFINITY));
        let count = open.len() as f64;
        assert!((never / count - 0.3).abs() < 4.0 * (0.21 / count).sqrt(), "{never} of {count}");
    }
}

/// Were a joined crack open where any of its parts is, hardly one of many parts would be closed.
#[test]
fn a_joined_crack_has_the_mouth_of_one_of_its_parts() {
    let sides = "sides = [\"suction\", \"pressure\"]\n";
    let joining = "sides = [\"suction\", \"pressure\"]\norigins = 8\njoining = { rule = \"bs7910-2013\", spacing_mm = 1.5, \
                   placement = \"even\" }\n";
    let study = edited(&[
        (sides, joining),
        THREE_TENTHS,
        ("shape = 2", "shape = 6"),
        ("scale = 20000", "scale = 600"),
        ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 4e-10"),
        ("in_service_year = 2005", "in_service_year = 2018"),
        ("renewed = [{ year = 2015, blades = [3, 17] }]\n", ""),
        ("past_looks = [{ year = 2015, technique = \"eddy-current\" }]\n", ""),
        ("[2021, 2024, 2027]", "[2024]"),
        ("blades = 80", "blades = 20"),
    ]);
    let cracks = inspected(&study, &[], 12);
    let long: Vec<&Inspected> = cracks.iter().filter(|crack| crack.length_mm > 8.0).collect();
    let closed = long.iter().filter(|crack| crack.mouth_is_closed).count() as f64;
    let count = long.len() as f64;
    assert!(count > 200.0, "{count} of {}", cracks.len());
    assert!((closed / count - 0.3).abs() < 4.0 * (0.21 / count).sqrt(), "{closed} of {count}");
}

/// The layer's own rule holds nearly all shut; a stated chance stands in its place, and changes no growth.
#[test]
fn a_stated_chance_stands_in_place_of_the_layers_rule() {
    let layer = "initiation_life_factor = 1\nlayer = { compression_mpa = 500, depth_mm = 0.4, faces = \"both\" }\n";
    let stated = format!("{layer}closed_mouth_probability = 0.3\n");
    let [held, stated] =
        [layer, &stated].map(|surface| inspected(&edited(&[&MANY[..], &[(SURFACE, surface)]].concat()), &[], 60));
    assert_eq!(held.len(), stated.len());
    assert!(held.iter().zip(&stated).all(|(held, stated)| held.length_mm == stated.length_mm));
    let closed =
        |cracks: &[Inspected]| cracks.iter().filter(|crack| crack.mouth_is_closed).count() as f64 / cracks.len() as f64;
    assert!(closed(&held) > 0.99, "{}", closed(&held));
    let count = stated.len() as f64;
    assert!((closed(&stated) - 0.3).abs() < 4.0 * (0.21 / count).sqrt(), "{} of {count}", closed(&stated));
}

#[test]
fn closed_mouths_leave_more_cracks_and_more_losses() {
    let quick = ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 4e-10");
    let half = (SURFACE, "initiation_life_factor = 1\nclosed_mouth_probability = 0.5\n");
    let (open, with) = (lived(&edited(&[quick]), 3_000), lived(&edited(&[quick, half, BLIND]), 3_000));
    let value = |lived: &Comparison, quantity| lived.fleet_of(0, quantity).value;
    assert!(value(&with, Quantity::CracksFound) < 0.8 * value(&open, Quantity::CracksFound));
    assert!(value(&with, Quantity::Losses) > value(&open, Quantity::Losses));
}

#[test]
fn what_is_taken_for_granted_about_mouths_is_said() {
    let said = |edits: &[(&str, &str)], text: &str| edited(edits).assumptions().iter().any(|line| line.contains(text));
    let not_stated = "Every crack's mouth is open: closed_mouth_probability is not stated (plain)";
    let held_shut = "holds nearly every crack's mouth shut: closed_mouth_probability is not stated (plain)";
    let layer =
        (SURFACE, "initiation_life_factor = 1\nlayer = { compression_mpa = 500, depth_mm = 0.4, faces = \"both\" }\n");
    let for_life = "has the mouth of the deeper of the two, over its whole length (plain)";
    let indifferent = "A closed mouth hides no crack: closed_mouth_factor 1 (ultrasonic, eddy-current, penetrant)";
    assert!(said(&[], not_stated) && !said(&[], for_life) && !said(&[], indifferent));
    assert!(
        said(&[THREE_TENTHS], for_life) && said(&[THREE_TENTHS], indifferent) && !said(&[THREE_TENTHS], not_stated)
    );
    assert!(said(&[layer], held_shut) && said(&[layer], indifferent) && !said(&[layer], not_stated));
    assert!(!said(&[THREE_TENTHS, FOUR_TENTHS], "A closed mouth hides no crack"));
}
