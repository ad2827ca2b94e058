//! The calendar of scheduled work, against schedules made by hand.

use crate::support::Lived;
use serrata::Study;
use serrata::model::StudyParts;
use serrata::model::strategy::{Coverage, Look, RowEnd, RowEndAction, Sample, When};
use serrata::simulation::Column;

/// Three rows of unit A on two rotors, with one crew and a window of 15 days, and one row of unit B with a window of two.
///
/// Looks in place last two days, those with blades out three and five for the blades; a lift lasts two days, a new row
/// 20 and five for the blades.
fn study() -> StudyParts {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
    let mut study = Study::load(path).expect("a valid study").into_parts();
    study.costs.rotor_lift_days = 2.0;
    let mut unit = study.units[0].clone();
    unit.id = "B".to_owned();
    (unit.outages.years, unit.outages.window_days) = (vec![2022.5], 2.0);
    unit.crews = Some(2);
    study.units.push(unit);
    study.units[0].crews = Some(1);
    study.units[0].outages.window_days = 15.0;
    for (id, rotor, unit) in [("A2", "A-1", 0), ("A3", "A-2", 0), ("B1", "B-1", 1)] {
        let mut row = study.rows[0].clone();
        (row.id, row.rotor, row.unit) = (id.to_owned(), rotor.to_owned(), unit);
        study.rows.push(row);
    }
    let [look, none] = [0, 1].map(|index| study.strategies[index].clone());
    let mut strategies = vec![look; 3];
    // In place on half of the blades of all rows at every outage; at the second also out at the pins of the first row.
    let in_place = strategies[0].looks[0].clone();
    let coverage = Coverage { blades: Sample::ALL, hot_spots: Some(vec!["pin".to_owned()]), rows: Some(vec![0]) };
    let out = Look { techniques: vec![1], when: When::every(2, 2), coverage, ..in_place.clone() };
    strategies[0].looks.push(out);
    // In place on the whole row; a clean look puts off the next one.
    let coverage = Coverage { blades: Sample::ALL, hot_spots: None, rows: None };
    strategies[1].looks = vec![Look { skip_after_clean: Some(1), coverage, ..in_place }];
    strategies[2].row_end = Some(RowEnd { year: 2026.0, then: RowEndAction::NewRow });
    strategies.push(none);
    for (strategy, id) in strategies.iter_mut().zip(["half", "skips", "renews", "retires"]) {
        (strategy.id, strategy.description) = (id.to_owned(), format!("It {id}."));
    }
    study.strategies = strategies;
    study
}

#[test]
fn a_person_reads_what_is_scheduled_at_each_outage() {
    let expected = "\
half: It half.
  - a called blade is watched below 2 mm long, or else is replaced below 5 mm long, or else has its row replaced
  - after a loss the blade is replaced
  A (1 crew, window 15 days)
    outage 1 (2021): all 3 rows: ultrasonic on 50 % of blades, 2 days each; done after 6 days
    outage 2 (2024): A1: ultrasonic on 50 % of blades and eddy-current at pin, blades out, 10 days; A2, A3: ultrasonic on \
                    50 % of blades, 2 days each; 1 rotor lifted, 2 days each; done after 16 days, 1 day beyond the window
    outage 3 (2027): all 3 rows: ultrasonic on 50 % of blades, 2 days each; done after 6 days
  B (2 crews, window 2 days)
    outage 1 (2022.5): B1: ultrasonic on 50 % of blades, 2 days; done after 2 days
skips: It skips.
  - after a clean look ultrasonic skips one
  - a called blade is watched below 2 mm long, or else is replaced below 5 mm long, or else has its row replaced
  - after a loss the blade is replaced
  A (1 crew, window 15 days)
    outage 1 (2021): all 3 rows: ultrasonic (as long as nothing is found), 2 days each; done after 6 days
    outage 3 (2027): all 3 rows: ultrasonic (as long as nothing is found), 2 days each; done after 6 days
  B (2 crews, window 2 days)
    outage 1 (2022.5): B1: ultrasonic (as long as nothing is found), 2 days; done after 2 days
renews: It renews.
  - a called blade is watched below 2 mm long, or else is replaced below 5 mm long, or else has its row replaced
  - after a loss the blade is replaced
  A (1 crew, window 15 days)
    outage 1 (2021): all 3 rows: ultrasonic on 50 % of blades, 2 days each; done after 6 days
    outage 2 (2024): all 3 rows: ultrasonic on 50 % of blades, 2 days each; done after 6 days
    outage 3 (2027): all 3 rows: new row, 25 days each; 2 rotors lifted, 2 days each; done after 79 days, 64 days beyond the \
                    window
  B (2 crews, window 2 days)
    outage 1 (2022.5): B1: ultrasonic on 50 % of blades, 2 days; done after 2 days
retires: It retires.
  - after a loss the row is replaced
  nothing is scheduled
";
    assert_eq!(study().study().work_calendar_text(), expected);
    let mut study = study();
    study.units[1].crews = None;
    study.costs.rotor_lift_days = 0.0;
    let text = study.study().work_calendar_text();
    assert!(text.contains("\n  B (a crew for each row, window 2 days)\n"), "{text}");
    assert!(!text.contains("lifted"), "{text}");
}

#[test]
fn the_table_has_a_line_for_each_row_with_work() {
    let table = study().study().work_calendar();
    let texts = |name: &str| match table.column(name) {
        Some(Column::Text(texts)) => texts.iter().map(str::to_owned).collect::<Vec<String>>(),
        other => panic!("{name}: {other:?}"),
    };
    let numbers = |name: &str| match table.column(name) {
        Some(Column::Number(numbers)) => numbers.clone(),
        other => panic!("{name}: {other:?}"),
    };
    let all = [vec!["half"; 10], vec!["skips"; 7], vec!["renews"; 10]].concat();
    assert_eq!(texts("strategy"), all);
    assert_eq!(texts("row")[..10], ["A1", "A2", "A3", "A1", "A2", "A3", "A1", "A2", "A3", "B1"]);
    assert_eq!(texts("rotor")[1..4], ["A-1", "A-2", "A-1"]);
    assert_eq!(texts("unit")[7..11], ["A", "A", "B", "A"]);
    assert_eq!(texts("work")[3], "ultrasonic on 50 % of blades and eddy-current at pin, blades out");
    let Some(Column::Count(outages)) = table.column("outage") else { panic!("outages are counted") };
    assert_eq!(outages[..], [1, 1, 1, 2, 2, 2, 3, 3, 3, 1, 1, 1, 1, 3, 3, 3, 1, 1, 1, 1, 2, 2, 2, 3, 3, 3, 1]);
    assert_eq!(numbers("year")[8..11], [2027.0, 2022.5, 2021.0]);
    assert_eq!(numbers("window_days")[8..11], [15.0, 2.0, 15.0]);
    assert_eq!(numbers("days")[..10], [2.0, 2.0, 2.0, 10.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0]);
    // One crew, the longest work first, and the lift of the rotor before it.
    assert_eq!(numbers("done_after_days")[..10], [2.0, 4.0, 6.0, 12.0, 14.0, 16.0, 2.0, 4.0, 6.0, 2.0]);
    assert_eq!(numbers("done_after_days")[23..26], [29.0, 54.0, 79.0]);
    // At the second outage each of the three rows would save the day; in place of rows that end each of the first two
    // saves 25 days, and the third its lift too: of 64.
    let mut expected = [0.0; 27];
    expected[3..6].fill(1.0 / 3.0);
    expected[23..26].copy_from_slice(&[25.0, 25.0, 27.0].map(|saved| 64.0 * saved / 77.0));
    let beyond = numbers("days_beyond_window");
    assert_eq!(beyond.len(), 27);
    for (ours, expected) in beyond.iter().zip(&expected) {
        assert!((ours - expected).abs() < 1e-9, "{beyond:?}");
    }
}

#[test]
fn every_rule_of_a_plan_is_said_in_words() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/reference-study.toml");
    let study = Study::load(path).expect("a valid study");
    let words = |id: &str| study.rules_in_words(study.strategy(study.strategy_id(id).expect("a strategy")));
    assert_eq!(
        words("sampled"),
        [
            "at outages of bench-mt other looks do not take place",
            "calls by bench-mt have the row looked at by bench-mt; they count anyway",
            "calls by in-place-ut have the called blades looked at by bench-mt; they count only if confirmed",
            "a blade is called where all of in-place-ut and bench-mt call it",
            "at outages of in-place-ut and bench-mt other looks do not take place",
            "a called blade is replaced",
            "finds on a row have its unit stopped 0.5 years later, if the next outage is not before that, and the row looked \
             at by in-place-ut",
            "after a loss the blade is replaced",
            "after a loss all rows of its unit are looked at by in-place-ut",
        ]
    );
    // So is whom a sample covers.
    assert!(study.work_calendar_text().contains("bench-mt on 24 blades in turn, blades out"));
    assert_eq!(
        words("in-place-always")[2..],
        [
            "watched blades are looked at by in-place-ut",
            "the row is replaced from 12 called blades on",
            "finds on a row have the others of its unit looked at by bench-mt",
            "after a loss the blade is replaced",
        ]
    );
    assert_eq!(
        words("bench-sometimes")[..3],
        [
            "after finds bench-mt comes at every outage for 2 outages",
            "after 2 clean looks bench-mt comes 1 outage later, at most 5 outages apart",
            "after 4 clean looks bench-mt skips one",
        ]
    );
    assert_eq!(
        words("bench-and-dress")[..5],
        [
            "bench-mt looks at blades after blasting",
            "a called blade runs on below 0.8 mm long, or else is dressed below 8 mm long and 2 mm deep, or else is replaced",
            "a dressed crack is gone with a chance of 0.95, its place has 0.5 times the life of a new one, and at most 3 mm are \
             ground away, with blades out",
            "peening of north-a gives 3 times the time that is left until a crack, with blades out",
            "peening gives 2 times the time that is left until a crack, with blades out",
        ]
    );
    assert_eq!(
        words("bench-and-dress").last().map(String::as_str),
        Some(
            "all rows with root fir-tree share 6 spares, ordered anew in 240 days, and where none is there 4 used ones with 0.4 \
             times the life of a new one; a called blade without one is waited for"
        )
    );
}
