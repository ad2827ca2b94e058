//! Inspection records: what is read, what is refused and in which words, and that no line is lost.
//!
//! Ids such as F2 are those of the users' requests that a test answers.

use crate::repeatable;
use proptest::prelude::*;
use serrata::Error;
use serrata::model::fleet::Side;
use serrata::statistics::records::{BadLines, COLUMNS, DateOrder, Decimal, Format, Records, When, template};

fn parse(text: &str) -> Result<Records, Error> {
    Records::parse(text, "records.csv", &Format::default())
}

fn refusal(text: &str) -> String {
    parse(text).expect_err("must be refused").to_string()
}

const GOOD: &str = "row,blade,year,technique,called\nR1,007,2031,ET,yes\nR1,008,2031,ET,no\n";

#[test]
fn a_byte_order_mark_is_stripped_before_a_quoted_first_name() {
    // F3
    let records = parse(&format!("\u{feff}{}", GOOD.replacen("row", "\"row\"", 1))).expect("good");
    assert_eq!(records.lines().len(), 2);
}

#[test]
fn ids_stay_text() {
    // F5
    let records = parse(GOOD).expect("good");
    assert_eq!(records.lines()[0].blade, "007");
}

#[test]
fn commas_semicolons_and_tabs_read_the_same() {
    let comma = parse(GOOD).expect("good");
    for mark in [";", "\t"] {
        let other = parse(&GOOD.replace(',', mark)).expect("good");
        assert_eq!(comma.lines(), other.lines());
    }
    let declared_inside = parse(&format!("sep=;\r\n{}", GOOD.replace(',', ";").replace('\n', "\r\n"))).expect("good");
    assert_eq!(declared_inside.lines()[0].line, 3);
    assert_eq!(declared_inside.style(), "semicolons between cells, decimal point");
}

#[test]
fn lines_may_end_in_any_way_and_keep_their_numbers() {
    let plain = parse(GOOD).expect("good");
    for end in ["\r\n", "\r"] {
        assert_eq!(parse(&GOOD.replace('\n', end)).expect("good").lines(), plain.lines());
    }
    // A lone carriage return within a file of line feeds must not make two lines one.
    let text = format!("{GOOD}R1,009,2031,ET,no\rR1,010,2031,ET,perhaps\nR1,011,2031,ET,no\n");
    assert!(refusal(&text).contains("line 5, called = perhaps"), "{}", refusal(&text));
    let format = Format { bad_lines: BadLines::LeaveOut, ..Format::default() };
    let records = Records::parse(&text, "records.csv", &format).expect("on request");
    assert_eq!((records.lines().len(), records.lines_read()), (4, 5));
}

#[test]
fn a_decimal_comma_is_read_where_nothing_else_can_be_meant() {
    // F1
    let text = "row;blade;year;technique;called;confirmed_length_mm\nR1;1;2031;ET;yes;1,25\nR1;2;2031;ET;no;12,000\n";
    let records = parse(text).expect("good");
    assert_eq!(records.lines()[0].confirmed_length_mm, Some(1.25));
    assert_eq!(records.lines()[1].confirmed_length_mm, Some(12.0));
    assert_eq!(records.style(), "semicolons between cells, decimal comma");
}

#[test]
fn numbers_that_could_be_thousands_are_refused_until_the_mark_is_declared() {
    // F1
    let text = "row;blade;year;technique;called;signal\nR1;1;2031;ET;yes;1,234\nR1;2;2031;ET;no;12,000\n";
    assert_eq!(
        refusal(text),
        "records.csv: 1 fault\n  line 2, decimal = 1,234\n    may be a decimal number or thousands, as every number with a \
         mark in this file\n    declare the decimal mark"
    );
    let declared = Format { decimal: Some(Decimal::Comma), ..Format::default() };
    let records = Records::parse(text, "records.csv", &declared).expect("declared");
    assert_eq!(records.lines()[0].signal, Some(1.234));
    let point = Format { decimal: Some(Decimal::Point), ..Format::default() };
    let message = Records::parse(text, "records.csv", &point).expect_err("a comma is no point").to_string();
    assert!(message.contains("line 2, signal = 1,234\n    is not a number with a decimal point"), "{message}");
}

#[test]
fn two_decimal_marks_in_one_file_are_refused_with_a_line_of_each() {
    let text = "row;blade;year;technique;called;signal\nR1;1;2031;ET;yes;1.2\nR1;2;2031;ET;no;1,5\n";
    assert!(refusal(text).contains("line 2, decimal = 1.2\n    has a point, and 1,5 in line 3 a comma"));
}

#[test]
fn a_missing_column_is_named_with_the_nearest_there_is() {
    let text = GOOD.replacen("blade", "Blade No.", 1).replacen("called", "found", 1);
    assert_eq!(
        refusal(&text),
        "records.csv: 2 faults\n  line 1, blade\n    the column is missing\n    the nearest column is \"Blade No.\": if it is \
         meant, rename it, or say columns = {\"blade\": \"Blade No.\"}\n  line 1, called\n    the column is missing\n    if one \
         of \"Blade No.\", \"found\" is meant, rename it, or say columns = {\"called\": its name}"
    );
    let columns =
        [("blade", "blade no."), ("called", "found")].map(|(ours, theirs)| (ours.to_owned(), theirs.to_owned()));
    let format = Format { columns: columns.to_vec(), ..Format::default() };
    assert_eq!(Records::parse(&text, "records.csv", &format).expect("renamed").lines().len(), 2);
}

#[test]
fn a_column_that_is_not_known_is_kept_and_a_near_name_is_noted() {
    // F9
    let text = GOOD
        .replace("called", "called,measured_lenght_mm,crew")
        .replace("yes", "yes,2.5,night")
        .replace("no\n", "no,,\n");
    let records = parse(&text).expect("good");
    assert_eq!(records.extra_columns(), ["measured_lenght_mm", "crew"]);
    assert_eq!(records.lines()[0].extra, [Some("2.5".to_owned()), Some("night".to_owned())]);
    assert_eq!(records.lines()[1].extra, [None, None]);
    let note = "column \"measured_lenght_mm\" is kept but not used; rename it if measured_length_mm is meant";
    assert_eq!(records.notes(), [note]);
}

#[test]
fn every_fault_of_every_line_is_told_with_line_value_and_rule() {
    // F2, F10, F11
    let text = "row,blade,date,technique,called,confirmed_length_mm,side,serration\n\
                R1,1,2031-02-30,ET,perhaps,-2,suction,1\n\
                R1,,2031-03-01,ET,yes,1.5 mm,top,1.5\n\
                R1,3,01.03.2031,ET,no,0,,99\n\
                R1,4,2031-03-01,ET,no\n";
    let error = parse(text).expect_err("faulty");
    let told: Vec<(Option<usize>, &str, &str)> =
        error.faults().iter().map(|fault| (fault.line, fault.path.as_str(), fault.value.as_str())).collect();
    assert_eq!(
        told,
        [
            (Some(2), "date", "2031-02-30"),
            (Some(2), "confirmed_length_mm", "-2"),
            (Some(2), "called", "perhaps"),
            (Some(3), "confirmed_length_mm", "1.5 mm"),
            (Some(3), "blade", ""),
            (Some(3), "side", "top"),
            (Some(3), "serration", "1.5"),
            (Some(4), "date", "01.03.2031"),
            (Some(4), "confirmed_length_mm", "0"),
            (Some(4), "serration", "99"),
            (Some(5), "line", "R1 4 2031-03-01 ET no"),
        ]
    );
    let message = error.to_string();
    assert!(message.starts_with("records.csv: 11 faults\n"), "{message}");
    let zero = "line 4, confirmed_length_mm = 0\n    must exceed 0\n    for a place found free of cracks write no under cracked";
    assert!(message.contains(zero), "{message}");
}

#[test]
fn many_faults_are_counted_and_the_first_are_shown() {
    let mut text = GOOD.to_owned();
    (0..500).for_each(|blade| text.push_str(&format!("R1,{blade},2031,ET,maybe\n")));
    let error = parse(&text).expect_err("faulty");
    assert_eq!(error.faults().len(), Records::MOST_FAULTS);
    assert!(error.to_string().starts_with("records.csv: 500 faults\n"));
    assert!(error.to_string().ends_with("\n  and 450 more"));
}

#[test]
fn a_repeated_look_is_refused_with_both_lines() {
    // F6
    let message = refusal(&format!("{GOOD}R1,007,2031,ET,no\n"));
    assert_eq!(
        message,
        "records.csv: 2 faults\n  line 2, blade, technique, inspection = R1, 007, ET\n    is the same blade, technique and \
         inspection as line 4\n    keep one, or tell them apart by inspector, side, serration or position\n  line 4, blade, \
         technique, inspection = R1, 007, ET\n    is the same blade, technique and inspection as line 2\n    keep one, or \
         tell them apart by inspector, side, serration or position"
    );
}

#[test]
fn looks_by_two_inspectors_or_at_two_places_are_not_repeated() {
    let text = "row,blade,year,technique,called,inspector,serration\n\
                R1,1,2031,ET,yes,A,\nR1,1,2031,ET,yes,B,\nR1,2,2031,ET,yes,A,1\nR1,2,2031,ET,no,A,2\n";
    assert_eq!(parse(text).expect("good").lines().len(), 4);
    let mixed = text.replace("R1,2,2031,ET,no,A,2", "R1,2,2031,ET,no,A,");
    let message = refusal(&mixed);
    assert!(message.contains("line 4, side, serration, position"), "{message}");
    assert!(message.contains("as to line 5"), "{message}");
}

#[test]
fn two_truths_about_one_place_are_refused() {
    let text = "row,blade,year,technique,called,cracked,confirmed_length_mm\n\
                R1,1,2031,ET,yes,yes,2.5\nR1,1,2031,PT,yes,,2.6\nR1,2,2031,ET,no,no,\nR1,2,2031,PT,yes,yes,\n";
    let error = parse(text).expect_err("contradictions");
    let told: Vec<(Option<usize>, &str)> =
        error.faults().iter().map(|fault| (fault.line, fault.value.as_str())).collect();
    assert_eq!(told, [(Some(2), "2.5"), (Some(3), "2.6"), (Some(4), "no"), (Some(5), "yes")]);
}

#[test]
fn a_confirmed_size_says_that_there_is_a_crack() {
    let text = "row,blade,year,technique,called,confirmed_depth_mm\nR1,1,2031,ET,yes,0.5\nR1,2,2031,ET,yes,\n";
    let records = parse(text).expect("good");
    assert_eq!((records.lines()[0].cracked, records.lines()[1].cracked), (Some(true), None));
}

#[test]
fn quotes_that_would_swallow_lines_are_refused_and_good_ones_kept() {
    let broken = "row,blade,year,technique,called,note\nR1,1,2031,ET,yes,\"open\nR1,2,2031,ET,yes,fine\n";
    assert!(refusal(broken).contains("line 2, quotes\n    a quoted cell is not closed"), "{}", refusal(broken));
    let good = "row,blade,year,technique,called,note\nR1,1,2031,ET,yes,\"two\nlines; 3\"\" long\"\n\nR1,2,2031,ET,yes,3\" long\n";
    let records = parse(good).expect("good");
    assert_eq!(records.lines()[0].extra, [Some("two\nlines; 3\" long".to_owned())]);
    assert_eq!(records.lines()[1].line, 5);
}

#[test]
fn dates_follow_one_declared_order() {
    // F4
    let text = "row,blade,date,technique,called\nR1,1,03/04/2031,ET,yes\nR1,2,25/04/2031,ET,no\n";
    assert!(refusal(text).contains("line 2, date = 03/04/2031\n    is not a date like 2031-03-31"));
    let read = |dates| Records::parse(text, "records.csv", &Format { dates, ..Format::default() });
    let records = read(DateOrder::DayMonthYear).expect("days first");
    let When::Date(date) = records.lines()[0].when else { panic!("a date") };
    assert_eq!((date.day(), date.month()), (3, 4));
    let message = read(DateOrder::MonthDayYear).expect_err("there is no month 25").to_string();
    assert!(message.contains("line 3, date = 25/04/2031"), "{message}");
    let two_figures = text.replace("2031", "31");
    assert!(
        Records::parse(&two_figures, "records.csv", &Format { dates: DateOrder::DayMonthYear, ..Format::default() })
            .is_err()
    );
}

#[test]
fn a_date_and_a_year_must_agree() {
    let text = "row,blade,date,year,technique,called\nR1,1,2031-07-02,2031,ET,yes\nR1,2,,2031.5,ET,no\nR1,3,2031-01-01,2032,ET,no\n";
    assert!(refusal(text).contains("line 4, year = 2032\n    is not the year of the date, 2031-01-01"));
    let records = parse(&text.replace("2031-01-01,2032", "2031-01-01,")).expect("good");
    assert_eq!(records.lines()[1].when.year(), 2031.5);
    assert!((records.lines()[0].when.year() - 2031.4986).abs() < 1e-4); // 182 of 365 days have passed
    assert_eq!(records.lines()[2].when.year(), 2031.0);
}

#[test]
fn looks_at_one_blade_at_one_inspection_stand_side_by_side() {
    let text = "row,blade,inspection,date,technique,called,confirmed_length_mm\n\
                R1,1,2031-outage,2031-04-02,ET,no,\nR1,1,2031-outage,2031-04-05,PT,yes,2.5\nR1,1,2035-outage,2035-04-05,PT,no,\n";
    let records = parse(text).expect("good");
    let looks = records.side_by_side();
    assert_eq!(looks.len(), 2);
    assert_eq!(
        (looks[0].called_by("ET"), looks[0].called_by("PT"), looks[0].called_by("MT")),
        (Some(false), Some(true), None)
    );
    assert_eq!((looks[0].confirmed_length_mm(), looks[0].cracked()), (Some(2.5), Some(true)));
    assert!(records.notes().is_empty(), "{:?}", records.notes());
    let by_date = parse(&text.replace("inspection,", "outage,")).expect("good");
    assert_eq!(by_date.side_by_side().len(), 3);
    let note =
        "blades with looks less than three months apart that count as different inspections: 1 (first: lines 2 and 3)";
    assert!(by_date.notes()[0].starts_with(note), "{:?}", by_date.notes());
}

#[test]
fn one_day_is_one_inspection_however_it_is_written() {
    let text = "row,blade,date,technique,called\nR1,1,02.04.2031,ET,no\nR1,1,2/4/2031,PT,yes\n";
    let format = Format { dates: DateOrder::DayMonthYear, ..Format::default() };
    let records = Records::parse(text, "records.csv", &format).expect("good");
    assert_eq!(records.side_by_side().len(), 1);
    assert_eq!(records.lines()[0].inspection, "2031-04-02");
}

#[test]
fn bad_lines_are_left_out_only_on_request_and_then_told() {
    // F8
    let text = format!("{GOOD}R1,009,2031,ET,perhaps\nR1,010,2031,ET,no\nR1,010,2031,ET,yes\n");
    assert!(parse(&text).is_err());
    let format = Format { bad_lines: BadLines::LeaveOut, ..Format::default() };
    let records = Records::parse(&text, "records.csv", &format).expect("on request");
    // Which of two answers is right is not guessed: both go.
    assert_eq!((records.lines().len(), records.lines_read()), (2, 5));
    assert_eq!(records.left_out().lines, [4, 5, 6]);
    assert!(records.summary().to_string().contains("left out: 3 of 5 lines (line 4, 5, 6)"));
    let nothing_left = Records::parse(&GOOD.replace("yes", "x").replace("no", "x"), "records.csv", &format);
    assert!(nothing_left.is_err());
}

#[test]
fn the_summary_fits_one_screen_and_counts() {
    let text = "row,blade,year,technique,called,confirmed_length_mm,crew\n\
                R1,1,2031,ET,yes,2.5,a\nR1,1,2031,et,no,,a\nR1,2,2031,ET,no,,\nR2,1,2035,ET,no,,\n";
    let summary = parse(text).expect("good").summary();
    assert_eq!((summary.rows, summary.blades, summary.inspections), (2, 3, 2));
    assert_eq!((summary.blade_inspections, summary.seen_by_several, summary.clean), (3, 1, 2));
    let screen = summary.to_string();
    assert!(screen.lines().count() <= 24);
    for part in [
        "records.csv: 4 lines (commas between cells, decimal point)",
        "2 rows, 3 blades, 2 inspections, 2031 to 2035",
        "ET                3        1        3",
        "seen by several techniques: 1\n      ET, et: 1\n    clean, called by none: 2",
        "blank cells: confirmed_length_mm 3",
        "further columns, kept: crew",
        "technique \"ET\" and technique \"et\" count as two",
    ] {
        assert!(screen.contains(part), "{part} in {screen}");
    }
}

#[test]
fn a_workbook_and_foreign_encodings_are_refused_with_the_way_out() {
    let place = std::env::temp_dir().join(format!("serrata-records-{}", std::process::id()));
    let read = |bytes: &[u8]| {
        std::fs::write(&place, bytes).expect("temporary directory");
        Records::load(&place, &Format::default()).expect_err("must be refused").to_string()
    };
    let workbook = "is a workbook or another packed file, not CSV text\n    save the sheet as CSV UTF-8";
    assert!(read(b"PK\x03\x04rest").ends_with(workbook));
    assert!(read(b"\xff\xfer\x00").contains("is UTF-16 text"));
    assert!(read(b"[study]\nname = 1\n").contains("this seems to be a study"));
    assert!(read(b"row,blade\n\xe4,2\n").contains("is not UTF-8 text (line 2)"));
    assert!(read(b"").contains("there is no content"));
    assert!(read(b"row,blade,year,technique,called\n").contains("there is no line below the header"));
    std::fs::remove_file(&place).expect("it was written above");
    assert!(Records::load(&place, &Format::default()).expect_err("gone").to_string().contains("no such file"));
}

/// What a look in a year or on a day is refused for.
fn refused_time(column: &str, cell: &str) -> String {
    refusal(&format!("row,blade,{column},technique,called\nR1,1,{cell},ET,no\n"))
}

#[test]
fn a_year_without_its_century_is_asked_about() {
    for year in ["31", "-500", "999.5"] {
        let message = refused_time("year", year);
        assert!(message.contains("has fewer than four figures\n    is the century missing?"), "{message}");
    }
}

#[test]
fn a_date_that_a_spreadsheet_stored_as_a_number_is_recognised() {
    // Excel's serial date 45567 is 2 October 2024: 2024-01-01 is 45292 there (Microsoft's documentation of DATEVALUE
    // and of the 1900 date system, from memory), and 2 October is 275 days later.
    let message = refused_time("date", "45567");
    assert!(message.contains("is not a date like 2031-03-31\n    spreadsheets store 2024-10-02 so"), "{message}");
}

#[test]
fn a_day_that_does_not_exist_is_named() {
    assert!(refused_time("date", "2023-02-29").contains("is no day: month 2 of 2023 has 28 days"));
    assert!(refused_time("date", "2023-13-01").contains("there is no month 13"));
}

#[test]
fn a_stated_value_stands_for_another() {
    let text = "row,blade,year,technique,called,measured_length_mm,side\nNRI,1,2031,ET,nri,n/a,CC\nNRI,2,2031,ET,yes,<1mm,CC\n";
    let message = refusal(text);
    for part in ["say values = {\"nri\": \"no\"}", "say values = {\"n/a\": \"\"}", "say values = {\"CC\": \"suction\"}"]
    {
        assert!(message.contains(part), "{message}");
    }
    let pairs = [("NRI", "no"), ("n/a", ""), ("<1mm", "0.9"), ("CC", "pressure"), ("ok", "no")];
    let values = pairs.map(|(written, meant)| (written.to_owned(), meant.to_owned())).to_vec();
    let records = Records::parse(text, "t", &Format { values, ..Format::default() }).expect("all values are stated");
    let [first, second] = records.lines() else { panic!("two lines") };
    assert_eq!((first.row.as_str(), first.called, first.measured_length_mm), ("NRI", false, None));
    assert_eq!((second.measured_length_mm, second.side), (Some(0.9), Some(Side::Pressure)));
    for note in [
        "cells where \"NRI\" stands for no: 1",
        "cells where \"n/a\" stands for not known: 1",
        "\"CC\" stands for pressure: 2",
        "\"ok\" stands for no: 0",
    ] {
        assert!(records.notes().iter().any(|said| said.contains(note)), "{note}: {:?}", records.notes());
    }
}

#[test]
fn names_that_steer_a_terminal_or_a_spreadsheet_are_refused() {
    let named = |name: &str| refusal(&format!("row,blade,year,technique,called\n{name},1,2031,ET,no\n"));
    assert!(named("R\u{1b}[31m").contains("holds a character that nobody sees, U+001B"));
    let header = refusal("row,blade,year,technique,called,cr\u{7}ew\nR1,1,2031,ET,no,A\n");
    assert!(header.contains("header = cr\u{fffd}ew\n    holds a character that nobody sees"), "{header}");
    let tabs = refusal("one\ttwo\nR1\t1\n");
    assert!(tabs.contains("header = one\ttwo\n    is no header"), "{tabs}");
    assert!(named("=HYPERLINK(1)").contains("row = =HYPERLINK(1)\n    begins like a formula of a spreadsheet"));
}

/// Two lines with sizes, the header and first cells as given.
fn sized(header: &str, cells: [&str; 2]) -> String {
    let line = |blade: usize| format!("R1,{blade},2031,ET,yes,{}\n", cells[blade]);
    format!("row,blade,year,technique,called,{header}\n{}{}", line(0), line(1))
}

fn lengths(records: &Records) -> Vec<f64> {
    records.lines().iter().filter_map(|line| line.measured_length_mm).collect()
}

#[test] // 1 in = 25.4 mm, 1 mil = 0.0254 mm exactly
fn a_unit_in_a_header_is_converted_with_a_note() {
    for (header, cell, mm, unit) in [
        ("measured_length [in]", "0.1", 2.54, "in"),
        ("measured_length_mil", "100", 2.54, "mil"),
        ("Measured_Length (cm)", "0.254", 2.54, "cm"),
        ("measured_length_um", "2540", 2.54, "\u{b5}m"),
    ] {
        let records = parse(&sized(header, [cell, ""])).expect("good");
        assert!((lengths(&records)[0] - mm).abs() < 1e-12, "{header}: {:?}", lengths(&records));
        let note = format!("is in {unit}: converted to mm");
        assert!(records.notes().iter().any(|said| said.contains(&note)), "{header}: {:?}", records.notes());
        assert!(records.extra_columns().is_empty(), "{header}");
    }
    // Renamed columns carry their units too.
    let columns = vec![("measured_length_mm".to_owned(), "depth [in]".to_owned())];
    let format = Format { columns, ..Format::default() };
    let records = Records::parse(&sized("depth [in]", ["0.1", ""]), "records.csv", &format).expect("good");
    assert!((lengths(&records)[0] - 2.54).abs() < 1e-12);
    // What is in mm is as it was, without a note.
    let plain = parse(&sized("measured_length_mm", ["2.54", ""])).expect("good");
    assert!(lengths(&plain) == [2.54] && plain.notes().is_empty(), "{:?}", plain.notes());
}

#[test]
fn a_column_of_units_is_converted_line_by_line_with_a_note() {
    let records = parse(&sized("measured_length,unit", ["0.1,in", "100,mils"])).expect("good");
    assert!(lengths(&records).iter().all(|mm| (mm - 2.54).abs() < 1e-12), "{:?}", lengths(&records));
    let note = "sizes are converted to mm by column \"unit\": in in 1 lines, times 25.4; mil in 1 lines, times 0.0254";
    assert!(records.notes().iter().any(|said| said == note), "{:?}", records.notes());
    assert!(records.extra_columns().is_empty());
    // A line without a size needs no unit.
    assert_eq!(parse(&sized("measured_length,unit", ["0.1,in", ","])).expect("good").lines().len(), 2);
}

#[test]
fn a_unit_that_is_not_known_or_stated_twice_is_refused() {
    for (header, cells, parts) in [
        ("measured_length [furlong]", ["1", "1"], ["states \"furlong\"", "state mm, cm, m, um, in or mil"]),
        (
            "measured_length,unit",
            ["1,furlong", "1,mm"],
            ["line 2, unit = furlong", "is no unit of length that is known"],
        ),
        ("measured_length,unit", ["1,", "1,mm"], ["line 2, unit", "must not be blank"]),
        (
            "measured_length_mm,unit",
            ["0.1,in", "1,mm"],
            ["states a unit, and so does a column of units", "state it once"],
        ),
        ("measured_length_mm,measured_length_in", ["2.54,0.1", ","], ["once more", "leave one of the two out"]),
        ("in", ["0.1", ""], ["header = in", "is a unit and names no quantity"]),
    ] {
        let said = refusal(&sized(header, cells));
        assert!(parts.iter().all(|part| said.contains(part)), "{header}: {said}");
    }
}

#[test]
fn a_size_beyond_any_root_is_refused_and_sizes_too_small_are_noted() {
    let said = refusal(&sized("measured_length_mm", ["2540", ""]));
    assert!(
        said.contains("line 2, measured_length_mm = 2540") && said.contains("no root is larger than 1000 mm"),
        "{said}"
    );
    let said = refusal(&sized("measured_length_in", ["50", ""]));
    assert!(said.contains("50 in is 1270 mm: no root is larger"), "{said}");
    // 2.5 mm written in metres.
    let records = parse(&sized("measured_length_mm", ["0.0025", "0.004"])).expect("allowed");
    assert!(records.notes().iter().any(|said| said.contains("metres or inches")), "{:?}", records.notes());
}

#[test]
fn only_sizes_have_a_unit_of_length() {
    // A signal has its own unit, and years and counts have none.
    let records = parse(&sized("signal,serration", ["1.5,2", "2,3"])).expect("good");
    assert_eq!(records.lines()[0].signal, Some(1.5));
    let columns = vec![("signal".to_owned(), "amplitude [in]".to_owned())];
    let format = Format { columns, ..Format::default() };
    let records = Records::parse(&sized("amplitude [in]", ["1.5", "2"]), "records.csv", &format).expect("good");
    assert_eq!(records.lines()[0].signal, Some(1.5));
}

#[test]
fn blades_that_look_alike_are_noted_and_stay_apart() {
    // One technique writes R1-B01, the other R1-B1: thirty blades, nine of them with two names.
    let mut text = "row,blade,year,technique,called\n".to_owned();
    for blade in 1..=30 {
        text += &format!("R1,R1-B{blade:02},2031,ET,yes\nR1,R1-B{blade},2031,UT,yes\n");
    }
    let records = parse(&text).expect("good");
    assert_eq!(records.side_by_side().len(), 39);
    let alike: Vec<&String> = records.notes().iter().filter(|note| note.contains("are they one?")).collect();
    assert_eq!(alike.len(), 5, "{:?}", records.notes());
    let wanted = "blades \"R1-B01\" (line 2) and \"R1-B1\" (line 3) count as 2; are they one?";
    assert_eq!(alike[0], wanted);
    assert!(records.notes().iter().any(|note| note == "4 more sets of blades look alike in the same way"));
    // Numbers that differ are no look-alikes.
    let apart = parse("row,blade,year,technique,called\nR1,1-01,2031,ET,yes\nR1,101,2031,ET,no\n").expect("good");
    assert!(apart.notes().is_empty(), "{:?}", apart.notes());
}

#[test]
fn ids_stay_as_they_are_and_repeats_contradictions_and_look_alikes_are_told() {
    let text = include_str!("data/ids_and_repeats.csv");
    let said = refusal(text);
    for part in ["line 16, blade", "must not be blank", "line 7, ", "line 8, ", "line 9, ", "line 10, "] {
        assert!(said.contains(part), "{part}: {said}");
    }
    assert!(said.contains("is the same blade, technique and inspection as line 8"), "{said}");
    assert!(said.contains("is the same blade, technique and inspection as line 10"), "{said}");
    // Neither of two lines that contradict each other is kept.
    let format = Format { bad_lines: BadLines::LeaveOut, ..Format::default() };
    let records = Records::parse(text, "ids.csv", &format).expect("on request");
    assert_eq!((records.lines_read(), records.left_out().lines.as_slice()), (14, &[7, 8, 9, 10, 16][..]));
    let blades: Vec<&str> = records.lines().iter().map(|line| line.blade.as_str()).collect();
    assert_eq!(blades, ["R1-B07", "r1-b07", "R1-B7", "R1-B07", "0012", "12", "1E5", "NA", "TRUE"]);
    let notes = records.notes().join("\n");
    let alike = "blades \"R1-B07\" (line 3) and \"R1-B7\" (line 5) and \"r1-b07\" (line 4) count as 3; are they one?";
    assert!(notes.contains(alike), "{notes}");
    assert!(notes.contains("blanks at the end of a name, which are taken off: 1 (first: line 6)"), "{notes}");
}

#[test]
fn the_template_reads_back_and_has_every_column() {
    let records = parse(&template()).expect("good");
    assert_eq!(records.present_columns().len(), COLUMNS.len());
    assert!(records.extra_columns().is_empty() && records.notes().is_empty(), "{:?}", records.notes());
}

/// A cell that is good, bad, blank, foreign or hostile.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        6 => prop_oneof!["R[12]", "[0-9]{1,3}", "ET|PT|UT", "yes|no|1|0", "203[0-9]", "[0-9]{1,2}[.,][0-9]{1,3}"],
        1 => Just(String::new()),
        1 => "suction|pressure|standard|in-place|x|-1|1e999|nan|inf|2031-02-30|[ ]{1,3}",
        1 => "[\\PC]{0,8}",
    ]
}

/// Lines of cells below a header with the needed columns; written with each delimiter, quoted where needed.
fn file() -> impl Strategy<Value = (String, usize)> {
    let width = 8_usize;
    let lines = prop::collection::vec(prop::collection::vec(cell(), width - 1..=width + 1), 0..20);
    let (marks, ends) =
        (prop_oneof![Just(','), Just(';'), Just('\t')], prop_oneof![Just("\n"), Just("\r\n"), Just("\r")]);
    (lines, marks, ends).prop_map(move |(lines, mark, end)| {
        let mut text = ["row", "blade", "year", "technique", "called", "confirmed_length_mm", "signal", "extra"]
            .join(&mark.to_string());
        let mut with_content = 0;
        for line in lines {
            with_content += usize::from(line.iter().any(|cell| !cell.trim().is_empty()));
            let quoted = line.iter().map(|cell| match cell.contains([mark, '"', '\n', '\r']) {
                true => format!("\"{}\"", cell.replace('"', "\"\"")),
                false => cell.clone(),
            });
            text.push_str(end);
            text.push_str(&quoted.collect::<Vec<_>>().join(&mark.to_string()));
        }
        (text, with_content)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, ..repeatable() })]

    #[test]
    fn lines_in_are_lines_kept_and_lines_reported((text, lines) in file()) {
        let format = Format { bad_lines: BadLines::LeaveOut, ..Format::default() };
        match Records::parse(&text, "generated", &format) {
            Ok(records) => {
                prop_assert_eq!(records.lines_read(), lines);
                prop_assert_eq!(records.lines().len() + records.left_out().lines.len(), lines);
                prop_assert!(records.lines().iter().all(|line| !records.left_out().lines.contains(&line.line)));
                prop_assert_eq!(records.left_out().lines.is_empty(), records.left_out().fault_count == 0);
            }
            Err(error) => prop_assert!(!error.faults().is_empty(), "{}", error),
        }
    }

    #[test]
    fn no_text_makes_it_panic(text in "[\\PC\r\n\t\";,]{0,200}", begin in any::<bool>()) {
        let text = if begin { format!("{GOOD}{text}") } else { text };
        for bad_lines in [BadLines::Refuse, BadLines::LeaveOut] {
            let _ = Records::parse(&text, "generated", &Format { bad_lines, ..Format::default() }).map(|records| records.summary().to_string());
        }
    }
}
