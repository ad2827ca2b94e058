//! One inspection of a row, with the truth beside the calls.

use serrata::Study;
use serrata::simulation::{Confirmed, Inspected, Inspection};
use serrata::statistics::records::{Format, Records};
use std::collections::HashSet;
use std::ops::ControlFlow;

const SMALL: &str = include_str!("data/small.toml");

fn edited(edits: &[(&str, &str)]) -> Study {
    let text = edits.iter().fold(SMALL.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from:?} is not there");
        text.replace(from, to)
    });
    Study::parse(&text, "small").unwrap_or_else(|error| panic!("{error}"))
}

fn inspected(edits: &[(&str, &str)], techniques: &[&str], lives: u64) -> Vec<Inspected> {
    let study = edited(edits);
    let techniques = techniques.iter().map(|&id| id.to_owned()).collect();
    study.inspect(&Inspection { row: "A1".to_owned(), techniques, lives, seed: 3 }).expect("an inspection")
}

/// More cracks, larger ones, and no scatter of detection.
const MANY: [(&str, &str); 4] = [
    ("scale = 20000", "scale = 6000"),
    ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-10"),
    ("inspection_sigma = 0.1", "inspection_sigma = 0"),
    ("crack_sigma = 0.4", "crack_sigma = 0"),
];

/// The curve of the file, floor 0 and ceiling 0.99, on the true lengths; the number called is a sum of
/// independent calls, so that its standard error follows from the curve itself.
#[test]
fn cracks_are_called_as_often_as_the_curve_says() {
    let lines = inspected(&MANY, &["eddy-current"], 300);
    let (mut expected, mut variance, mut called) = (0.0, 0.0, 0.0);
    for line in lines.iter().filter(|line| !line.length_mm.is_nan()) {
        let p = 0.99 * serrata::math::normal_cdf((line.length_mm / 1.5).ln() / 0.4);
        (expected, variance) = (expected + p, variance + p * (1.0 - p));
        called += f64::from(u8::from(!line.measured_mm[0].is_nan()));
    }
    assert!(variance > 100.0, "{} lines", lines.len());
    assert!((called - expected).abs() < 4.0 * variance.sqrt(), "{called} called, {expected} expected, {variance}");
}

#[test]
fn clean_blades_are_called_as_often_as_stated() {
    let lives = 2_000;
    let lines = inspected(&MANY, &["ultrasonic"], lives);
    let mut cracked: Vec<(u64, u32)> =
        lines.iter().filter(|line| !line.length_mm.is_nan()).map(|line| (line.life, line.blade)).collect();
    cracked.sort_unstable();
    cracked.dedup();
    let clean = 80.0 * lives as f64 - cracked.len() as f64;
    let falsely = lines.iter().filter(|line| line.length_mm.is_nan()).count() as f64;
    let expected = 0.002 * clean;
    assert!((falsely - expected).abs() < 4.0 * expected.sqrt(), "{falsely} of {clean}, {expected} expected");
    assert!(lines.iter().all(|line| (1..=80).contains(&line.blade)));
}

#[test]
fn a_technique_more_changes_nothing_of_the_others() {
    let one = inspected(&MANY, &["eddy-current"], 40);
    let two = inspected(&MANY, &["eddy-current", "penetrant"], 40);
    let of = |lines: &[Inspected]| {
        let cracks = lines.iter().filter(|line| !line.length_mm.is_nan());
        cracks
            .map(|line| format!("{} {} {} {:?}", line.life, line.blade, line.length_mm, line.measured_mm[0]))
            .collect::<Vec<_>>()
    };
    assert_eq!(of(&one), of(&two));
}

/// Two techniques that both call clean blades, each as it does alone.
#[test]
fn a_clean_blade_has_one_line_with_what_each_technique_called() {
    let edits = [
        ("false_call_probability = 0.002", "false_call_probability = 0.3"),
        ("false_call_probability = 0.001", "false_call_probability = 0.3"),
    ];
    let clean = |techniques: &[&str]| {
        let lines = inspected(&edits, techniques, 20).into_iter().filter(|line| line.length_mm.is_nan());
        lines.map(|line| ((line.life, line.blade), line.measured_mm)).collect::<Vec<_>>()
    };
    let both = clean(&["ultrasonic", "eddy-current"]);
    let alone = ["ultrasonic", "eddy-current"].map(|technique| clean(&[technique]));
    let known: HashSet<(u64, u32)> = both.iter().map(|(blade, _)| *blade).collect();
    assert_eq!(known.len(), both.len());
    let mut twice = 0;
    for (blade, measured_mm) in &both {
        for (ours, alone) in measured_mm.iter().zip(&alone) {
            let expected =
                alone.iter().find(|(other, _)| other == blade).map_or(f64::NAN, |(_, measured_mm)| measured_mm[0]);
            assert!(ours.total_cmp(&expected).is_eq(), "{blade:?}: {ours} and {expected}");
        }
        twice += u32::from(measured_mm.iter().all(|size| !size.is_nan()));
    }
    assert!(twice > 50 && both.len() > 500, "{twice} of {} called by both", both.len());
}

/// Several cracks at one place are one line of a record: as long as the longest, and called if any is.
#[test]
fn records_have_a_line_for_each_place_with_its_longest_crack() {
    let study = edited(
        &[&MANY[..], &[("sides = [\"suction\", \"pressure\"]", "sides = [\"suction\", \"pressure\"]\norigins = 6")]]
            .concat(),
    );
    let techniques = ["ultrasonic", "eddy-current"].map(str::to_owned).to_vec();
    let inspection = Inspection { row: "A1".to_owned(), techniques, lives: 20, seed: 3 };
    let mut places = std::collections::BTreeMap::<String, Vec<Inspected>>::new();
    for line in study.inspect(&inspection).expect("an inspection").into_iter().filter(|line| line.place.is_some()) {
        places.entry(format!("{} {} {:?}", line.life, line.blade, line.place)).or_default().push(line);
    }
    assert!(places.values().filter(|cracks| cracks.len() > 1).count() > 50, "{} places", places.len());
    let text = study.inspection_records(&inspection, Confirmed::Every).expect("records");
    let records = Records::parse(&text, "simulated", &Format::default()).unwrap_or_else(|error| panic!("{error}"));
    let longest = places.values().map(|cracks| cracks.iter().map(|crack| crack.length_mm).fold(0.0, f64::max));
    for (at, technique) in inspection.techniques.iter().enumerate() {
        let lines: Vec<_> = records.of_technique(technique).filter(|line| line.cracked == Some(true)).collect();
        assert_eq!(lines.len(), places.len());
        let is_called = |cracks: &&Vec<Inspected>| cracks.iter().any(|crack| !crack.measured_mm[at].is_nan());
        assert_eq!(lines.iter().filter(|line| line.called).count(), places.values().filter(is_called).count());
        let ours: f64 = lines.iter().filter_map(|line| line.confirmed_length_mm).sum();
        let theirs: f64 = longest.clone().sum();
        assert!((ours - theirs).abs() < 1e-4 * places.len() as f64, "{ours} {theirs}");
    }
}

#[test]
fn records_say_of_every_blade_what_the_inspection_says() {
    let study = edited(&MANY);
    let techniques = ["ultrasonic", "eddy-current"].map(str::to_owned).to_vec();
    let inspection = Inspection { row: "A1".to_owned(), techniques, lives: 30, seed: 3 };
    let inspected = study.inspect(&inspection).expect("an inspection");
    let read = |confirmed| {
        let text = study.inspection_records(&inspection, confirmed).expect("records");
        Records::parse(&text, "simulated", &Format::default()).unwrap_or_else(|error| panic!("{error}"))
    };
    let every = read(Confirmed::Every);
    let blades: HashSet<(&str, &str)> =
        every.lines().iter().map(|line| (line.inspection.as_str(), line.blade.as_str())).collect();
    assert_eq!(blades.len(), 30 * 80);
    // Places of one blade differ here, so that each crack has its lines.
    let cracks = inspected.iter().filter(|line| line.place.is_some()).count();
    assert!(cracks > 100, "{cracks}");
    assert_eq!(every.lines().iter().filter(|line| line.cracked == Some(true)).count(), 2 * cracks);
    for (place, technique) in inspection.techniques.iter().enumerate() {
        let called = inspected.iter().filter(|line| !line.measured_mm[place].is_nan()).count();
        assert_eq!(every.of_technique(technique).filter(|line| line.called).count(), called);
        let length = |lengths: &mut dyn Iterator<Item = f64>| lengths.sum::<f64>();
        let ours = length(&mut every.of_technique(technique).filter_map(|line| line.confirmed_length_mm));
        let theirs = length(&mut inspected.iter().map(|line| line.length_mm).filter(|length| !length.is_nan()));
        // Written to a ten-thousandth of a millimetre.
        assert!((ours - theirs).abs() < 1e-4 * cracks as f64, "{ours} {theirs}");
    }
    // After an outage nothing is known of what nobody called.
    let after = read(Confirmed::Called);
    let known = |line: &&serrata::statistics::records::Line| line.cracked.is_some();
    assert_eq!(after.lines().len(), every.lines().len());
    let called = inspected.iter().filter(|line| line.measured_mm.iter().any(|size| !size.is_nan())).count();
    assert_eq!(after.lines().iter().filter(known).count(), 2 * called);
}

#[test]
fn origins_stand_at_every_place_of_their_hot_spot() {
    let study = Study::parse(SMALL, "small").expect("a study");
    let spot = &study.roots[0].hot_spots[0];
    let places: Vec<_> = (0..spot.origins_per_blade()).map(|origin| spot.place(origin)).collect();
    for place in &places {
        assert!(spot.serrations.contains(&place.serration) && spot.sides.contains(&place.side), "{place:?}");
        let count = places.iter().filter(|other| *other == place).count();
        assert!((1..=spot.positions).contains(&place.position) && count == spot.origins as usize, "{place:?}");
    }
}

/// Common practice, no source: cracks of one origin stay about as long as two to three depths; neighbours at
/// 5 mm make cracks several tens of mm long and a few mm deep.
#[test]
fn eight_origins_make_long_shallow_cracks_and_one_does_not() {
    let sides = "sides = [\"suction\", \"pressure\"]\n";
    let joining =
        format!("{sides}origins = 8\njoining = {{ rule = \"bs7910-2013\", spacing_mm = 5, placement = \"random\" }}\n");
    // Origins that start within a few years of each other, and eight years of growth.
    let ready = [
        ("shape = 2", "shape = 6"),
        ("scale = 20000", "scale = 600"),
        ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1.5e-10"),
        ("depth_mm = 8", "depth_mm = 18"),
        ("width_mm = 80", "width_mm = 160"),
        ("in_service_year = 2005", "in_service_year = 2020"),
        ("renewed = [{ year = 2015, blades = [3, 17] }]\n", ""),
        ("past_looks = [{ year = 2015, technique = \"eddy-current\" }]\n", ""),
        ("[2021, 2024, 2027]", "[2029]"),
        ("blades = 80", "blades = 12"),
    ];
    let grown = |edits: &[(&str, &str)]| {
        let lines = inspected(edits, &[], 20);
        let grown: Vec<[f64; 2]> = lines
            .iter()
            .filter(|line| line.depth_mm > 1.0)
            .map(|line| [line.length_mm, line.length_mm / line.depth_mm])
            .collect();
        assert!(grown.len() > 100, "{} cracks", grown.len());
        grown
    };
    let (alone, many) = (grown(&ready), grown(&[&ready[..], &[(sides, joining.as_str())]].concat()));
    let share = |cracks: &[[f64; 2]], is_such: &dyn Fn(&[f64; 2]) -> bool| {
        cracks.iter().filter(|crack| is_such(crack)).count() as f64 / cracks.len() as f64
    };
    let alone_long = share(&alone, &|[_, ratio]| *ratio > 3.0);
    assert!(alone_long < 0.05, "{alone_long}");
    // Long and shallow: several tens of mm, with more than four depths. Rare in number, and none without neighbours.
    let is_long = |&[length_mm, ratio]: &[f64; 2]| length_mm > 20.0 && ratio > 4.0;
    let [alone_long, many_long] = [&alone, &many].map(|cracks| cracks.iter().filter(|crack| is_long(crack)).count());
    assert!(alone_long == 0 && many_long >= 5, "{alone_long} of {}, {many_long} of {}", alone.len(), many.len());
}

#[test]
fn names_that_are_not_there_are_refused() {
    let study = Study::parse(SMALL, "small").expect("a study");
    let ask = |row: &str, technique: &str, lives| {
        let techniques = vec![technique.to_owned()];
        study.inspect(&Inspection { row: row.to_owned(), techniques, lives, seed: 1 }).expect_err("refused").to_string()
    };
    assert!(ask("B1", "ultrasonic", 1).contains("there is no such row in the study\n    choose one of A1"));
    assert!(ask("A1", "x-ray", 1).contains("choose one of ultrasonic"));
    for lives in [0, u64::MAX] {
        assert!(ask("A1", "ultrasonic", lives).contains("must be from 1 to 1000000"));
    }
}

/// Lines at the limit are begun: what stops them is the caller, who is asked before they are done.
#[test]
fn more_lines_than_a_machine_has_room_for_are_refused_and_no_fewer() {
    let study = edited(&MANY);
    let refusal = |lives| {
        let techniques = vec!["ultrasonic".to_owned(), "penetrant".to_owned()];
        let inspection = Inspection { row: "A1".to_owned(), techniques, lives, seed: 1 };
        let records = study.inspection_records_with(&inspection, Confirmed::Called, &mut |_| ControlFlow::Break(()));
        records.expect_err("refused or stopped")
    };
    let beyond = refusal(12_501).to_string();
    assert!(beyond.contains("makes 160 lines each; there may be at most 2000000 in all"), "{beyond}");
    let at = refusal(12_500);
    assert!(at.is_interrupted() && at.to_string().ends_with(" of 12500 lives"), "{at}");
}
