//! Study files: what is read back, and what is refused in which words.

use proptest::prelude::{ProptestConfig, any, prop, proptest};
use serrata::{Result, Study};
use std::fs;
use std::path::PathBuf;

/// A valid study that the tests below spoil, one edit at a time.
const SMALL: &str = include_str!("data/small.toml");
const REFERENCE: &str = include_str!("../../demo-data/reference-study.toml");

fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/engine/data").join(name)
}

/// A place of its own for a file that a test writes.
fn scratch(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("serrata-study-file-{}-{name}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// The small study with some passages replaced, each of which it holds once.
fn spoiled(edits: &[(&str, &str)]) -> String {
    edits.iter().fold(SMALL.to_owned(), |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from:?} is not there once");
        text.replacen(from, to, 1)
    })
}

fn message<T: std::fmt::Debug>(result: Result<T>) -> String {
    result.expect_err("must be refused").to_string()
}

#[track_caller]
fn assert_refused(edits: &[(&str, &str)], expected: &str) {
    assert_eq!(message(Study::parse(&spoiled(edits), "small.toml")), expected);
}

#[test]
fn studies_come_back_as_they_were_saved() {
    let folder = scratch("round-trip");
    let names = ["y1a", "y1b", "y1c", "y2", "y3", "closed_case", "small"];
    let mut paths: Vec<PathBuf> = names.iter().map(|name| data(&format!("{name}.toml"))).collect();
    paths.push(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-data/reference-study.toml"));
    for path in paths {
        let study = Study::load(&path).unwrap_or_else(|error| panic!("{error}"));
        let copy = folder.join("copy.toml");
        study.save(&copy).unwrap();
        assert_eq!(Study::load(&copy).unwrap_or_else(|error| panic!("{error}")), study);
        let left_behind = fs::read_dir(&folder).unwrap().count();
        assert_eq!(left_behind, 1, "only the copy is there");
    }
    fs::remove_dir_all(folder).unwrap();
}

// ---- refusals
#[test]
fn an_unknown_key_is_refused_with_the_nearest_known_one() {
    assert_refused(
        &[("q50_mm = 4,", "q50_m = 4,")],
        "",
    );
}

#[test]
fn an_unknown_key_without_a_near_one_lists_the_keys() {
    assert_refused(
        &[("initiation_life_factor = 1", "initiation_life_factor = 1\nroughness_um = 3")],
        "",
    );
}

#[test]
fn an_unknown_table_is_refused_with_the_nearest_known_one() {
    assert_refused(
        &[("[money]", "[mony]")],
        "",
    );
}

#[test]
fn text_where_a_number_belongs_is_refused() {
    assert_refused(
        &[("exponent = 3\n", r#"exponent = "3"
"#)],
        "",
    );
}

#[test]
fn a_word_where_a_number_belongs_is_refused() {
    assert_refused(
        &[("shape = 2\n", r#"shape = "two"
"#)],
        "",
    );
}

#[test]
fn a_flag_where_a_number_belongs_is_refused() {
    assert_refused(
        &[("scale = 20000", "scale = true")],
        "",
    );
}

#[test]
fn a_fraction_where_a_whole_number_belongs_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 80.5")],
        "",
    );
}

#[test]
fn a_number_where_a_table_belongs_is_refused() {
    assert_refused(
        &[(r#"limit = { kind = "depth", depth_mm = 8 }"#, "limit = 8")],
        "",
    );
}

#[test]
fn a_number_where_text_belongs_is_refused() {
    assert_refused(
        &[(r#"currency = "kEUR""#, "currency = 1")],
        "",
    );
}

#[test]
fn a_missing_table_is_named_with_its_keys() {
    assert_refused(
        &[(r#"[scatter]
row_factor = { kind = "lognormal", mean = 1, sigma_log = 0.5 }
blade_stress_sigma_log = 0.1
"#, "")],
        "",
    );
}

#[test]
fn a_missing_key_is_named_with_what_it_takes() {
    assert_refused(
        &[("stress_exponent = 4\n", "")],
        "",
    );
}

#[test]
fn a_missing_list_of_units_is_named() {
    assert_refused(
        &[("[units.A]", "[unit.A]")],
        "",
    );
}

#[test]
fn a_negative_number_is_refused() {
    assert_refused(
        &[("row_sigma_log = 0\n", "row_sigma_log = -0.1\n")],
        "",
    );
}

#[test]
fn a_length_of_zero_is_refused() {
    assert_refused(
        &[("depth_mm = 8", "depth_mm = 0")],
        "",
    );
}

#[test]
fn not_a_number_is_refused() {
    assert_refused(
        &[("scale = 20000", "scale = nan")],
        "",
    );
}

#[test]
fn an_infinite_number_is_refused() {
    assert_refused(
        &[("loss_days = 50", "loss_days = inf")],
        "",
    );
}

#[test]
fn a_minus_infinite_number_is_refused() {
    assert_refused(
        &[("bending_mpa = 100", "bending_mpa = -inf")],
        "",
    );
}

#[test]
fn a_detection_floor_above_its_ceiling_is_refused() {
    assert_refused(
        &[("floor = 0.01, ceiling = 0.98", "floor = 0.5, ceiling = 0.4")],
        "",
    );
}

#[test]
fn correlations_that_contradict_each_other_are_refused() {
    assert_refused(
        &[("correlation = 0.6", r#"correlation = 0.9

[[persistence]]
techniques = ["ultrasonic", "penetrant"]
correlation = -0.9"#)],
        "",
    );
}

#[test]
fn a_pair_stated_twice_is_refused() {
    assert_refused(
        &[(r#"["penetrant", "eddy-current"]"#, r#"["eddy-current", "ultrasonic"]"#)],
        "",
    );
}

#[test]
fn a_correlation_of_a_technique_with_itself_is_refused() {
    assert_refused(
        &[(r#"["penetrant", "eddy-current"]"#, r#"["penetrant", "penetrant"]"#)],
        "",
    );
}

#[test]
fn an_unknown_technique_is_refused_with_the_nearest_known_one() {
    assert_refused(
        &[(r#"technique = "eddy-current""#, r#"technique = "edy-current""#)],
        "",
    );
}

#[test]
fn an_unknown_technique_of_a_look_is_refused() {
    assert_refused(
        &[(r#"looks = [{ techniques = ["ultrasonic"]"#, r#"looks = [{ techniques = ["radiography"]"#)],
        "",
    );
}

#[test]
fn an_unknown_root_is_refused() {
    assert_refused(
        &[(r#"root = "fork""#, r#"root = "fir-tree""#)],
        "",
    );
}

#[test]
fn an_unknown_baseline_is_refused() {
    assert_refused(
        &[(r#"baseline = "look""#, r#"baseline = "loook""#)],
        "",
    );
}

#[test]
fn an_unknown_surface_of_a_shift_is_refused() {
    assert_refused(
        &[("plain = 0.1", "plan = 0.1")],
        "",
    );
}

#[test]
fn an_unknown_hot_spot_of_a_look_is_refused() {
    assert_refused(
        &[("blade_fraction = 0.5", r#"hot_spots = ["pins"]"#)],
        "",
    );
}

#[test]
fn an_outage_before_the_study_is_refused() {
    assert_refused(
        &[("[2021, 2024, 2027]", "[2019, 2024, 2027]")],
        "",
    );
}

#[test]
fn an_outage_at_the_end_of_the_study_is_refused() {
    assert_refused(
        &[("[2021, 2024, 2027]", "[2021, 2024, 2030]")],
        "",
    );
}

#[test]
fn outages_out_of_order_are_refused() {
    assert_refused(
        &[("[2021, 2024, 2027]", "[2021, 2027, 2024]")],
        "",
    );
}

#[test]
fn an_outage_before_the_row_exists_is_refused() {
    assert_refused(
        &[(r#"in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#, "in_service_year = 2022")],
        "",
    );
}

#[test]
fn outages_without_years_are_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027], ", "")],
        "",
    );
}

#[test]
fn outages_both_by_list_and_by_period_are_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027], ", "years = [2021], every_years = 3, ")],
        "",
    );
}

#[test]
fn too_many_outages_are_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027]", "first_year = 2020, every_years = 0.02")],
        "",
    );
}

#[test]
fn a_period_that_never_comes_is_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027]", "first_year = 2030, every_years = 2")],
        "",
    );
}

#[test]
fn a_row_older_than_the_duty_of_its_unit_is_refused() {
    assert_refused(
        &[("in_service_year = 2005", "in_service_year = 1999")],
        "",
    );
}

#[test]
fn a_row_that_comes_after_the_study_is_refused() {
    assert_refused(
        &[(r#"in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#, "in_service_year = 2030")],
        "",
    );
}

#[test]
fn a_row_without_blades_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 0")],
        "",
    );
}

#[test]
fn a_row_of_too_many_blades_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 99999999999")],
        "",
    );
}

#[test]
fn an_empty_fleet_is_refused() {
    assert_refused(
        &[(r#"[rows.A1]
unit = "A"
rotor = "A-1"
blades = 80
root = "fork"
surface = "plain"
in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#, "[rows]")],
        "",
    );
}

#[test]
fn a_missing_fleet_is_refused() {
    assert_refused(
        &[(r#"[rows.A1]
unit = "A"
rotor = "A-1"
blades = 80
root = "fork"
surface = "plain"
in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#, "")],
        "",
    );
}

#[test]
fn a_horizon_of_zero_is_refused() {
    assert_refused(
        &[("horizon_years = 10", "horizon_years = 0")],
        "",
    );
}

#[test]
fn a_fraction_above_one_is_refused() {
    assert_refused(
        &[("blade_fraction = 0.5", "blade_fraction = 1.5")],
        "",
    );
}

#[test]
fn a_certain_false_call_is_refused() {
    assert_refused(
        &[("false_call_probability = 0.002", "false_call_probability = 1")],
        "",
    );
}

#[test]
fn a_duplicate_id_is_refused() {
    assert_refused(
        &[("[strategies.none]", "[strategies.look]")],
        "",
    );
}

#[test]
fn a_duplicate_key_is_refused() {
    assert_refused(
        &[(r#"rotor = "A-1""#, r#"rotor = "A-1"
rotor = "A-2""#)],
        "",
    );
}

#[test]
fn a_text_that_is_not_toml_is_refused() {
    assert_refused(
        &[(r#"rotor = "A-1""#, "rotor = A-1")],
        "",
    );
}

#[test]
fn an_open_bracket_is_refused() {
    assert_refused(
        &[("[techniques.penetrant]", "[techniques.penetrant")],
        "",
    );
}

#[test]
fn an_id_with_a_space_is_refused() {
    assert_refused(
        &[("[surfaces.plain]", r#"[surfaces."very plain"]"#)],
        "",
    );
}

#[test]
fn a_bare_pair_is_no_lognormal() {
    assert_refused(
        &[(r#"initial_depth_mm = { kind = "lognormal", median = 0.3, sigma_log = 0.3 }"#, "initial_depth_mm = [0.3, 0.3]")],
        "",
    );
}

#[test]
fn a_lognormal_of_an_unknown_pair_is_refused() {
    assert_refused(
        &[("median = 0.3, sigma_log = 0.3", "median = 0.3, sd = 0.1")],
        "",
    );
}

#[test]
fn a_lognormal_of_three_numbers_is_refused() {
    assert_refused(
        &[("median = 0.3, sigma_log = 0.3", "median = 0.3, cov = 0.2, sd = 0.1")],
        "",
    );
}

#[test]
fn a_normal_depth_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, r#"kind = "normal", mean = 0.3, sd = 0.1"#)],
        "",
    );
}

#[test]
fn a_uniform_depth_from_zero_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, r#"kind = "uniform", low = 0, high = 0.5"#)],
        "",
    );
}

#[test]
fn a_triangle_out_of_order_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, r#"kind = "triangular", low = 0.2, mode = 0.1, high = 0.5"#)],
        "",
    );
}

#[test]
fn an_unknown_kind_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, r#"kind = "log-normal", median = 0.3, sigma_log = 0.3"#)],
        "",
    );
}

#[test]
fn a_row_factor_of_another_mean_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", mean = 1, sigma_log = 0.5"#, r#"kind = "lognormal", median = 1, sigma_log = 0.5"#)],
        "",
    );
}

#[test]
fn a_row_factor_of_another_kind_is_refused() {
    assert_refused(
        &[(r#"row_factor = { kind = "lognormal", mean = 1, sigma_log = 0.5 }"#, r#"row_factor = { kind = "uniform", low = 0.5, high = 1.5 }"#)],
        "",
    );
}

#[test]
fn a_blade_number_outside_the_row_is_refused() {
    assert_refused(
        &[("[3, 17]", "[3, 81]")],
        "",
    );
}

#[test]
fn a_blade_listed_twice_is_refused() {
    assert_refused(
        &[("[3, 17]", "[17, 17]")],
        "",
    );
}

#[test]
fn a_renewal_before_the_row_existed_is_refused() {
    assert_refused(
        &[("{ year = 2015, blades", "{ year = 2004, blades")],
        "",
    );
}

#[test]
fn a_past_look_after_the_start_is_refused() {
    assert_refused(
        &[("{ year = 2015, technique", "{ year = 2020, technique")],
        "",
    );
}

#[test]
fn duty_years_out_of_order_are_refused() {
    assert_refused(
        &[("from_year = 2010", "from_year = 2000")],
        "",
    );
}

#[test]
fn a_unit_that_never_runs_is_refused() {
    assert_refused(
        &[("starts_per_year = 20, hours_per_year = 7000 },\n  { from_year = 2010, starts_per_year = 150, hours_per_year = 4000 }", "starts_per_year = 0, hours_per_year = 0 }")],
        "",
    );
}

#[test]
fn dispositions_out_of_order_are_refused() {
    assert_refused(
        &[("below_mm = 5", "below_mm = 1")],
        "",
    );
}

#[test]
fn a_last_disposition_with_an_end_is_refused() {
    assert_refused(
        &[(r#"{ action = "replace-row" }]"#, r#"{ below_mm = 9, action = "replace-row" }]"#)],
        "",
    );
}

#[test]
fn looks_without_dispositions_are_refused() {
    assert_refused(
        &[(r#"dispositions = [{ below_mm = 2, action = "watch" }, { below_mm = 5, action = "replace" }, { action = "replace-row" }]
"#, "")],
        "",
    );
}

#[test]
fn a_row_end_outside_the_study_is_refused() {
    assert_refused(
        &[("year = 2026", "year = 2036")],
        "",
    );
}

#[test]
fn stresses_that_cancel_are_refused() {
    assert_refused(
        &[("bending_mpa = 100", "bending_mpa = -400")],
        "",
    );
}

#[test]
fn a_clock_that_stands_still_is_refused() {
    assert_refused(
        &[(r#"clock = "starts""#, "clock = { per_start = 0, per_hour = 0 }")],
        "",
    );
}

#[test]
fn a_semi_elliptical_crack_without_a_section_is_refused() {
    assert_refused(
        &[("section = { thickness_mm = 20, width_mm = 80 }\n", "")],
        "",
    );
}

#[test]
fn a_semi_elliptical_crack_without_an_aspect_is_refused() {
    assert_refused(
        &[("initial_aspect = 0.8\n", "")],
        "",
    );
}

#[test]
fn an_aspect_of_a_fixed_shape_is_refused() {
    assert_refused(
        &[(r#"crack = { kind = "semi-elliptical" }"#, r#"crack = { kind = "fixed-factor", geometry_factor = 0.7, length_over_depth = 3 }"#)],
        "",
    );
}

#[test]
fn a_limit_beyond_the_section_is_refused() {
    assert_refused(
        &[("depth_mm = 8", "depth_mm = 20")],
        "",
    );
}

#[test]
fn a_limit_short_of_the_initial_depth_is_refused() {
    assert_refused(
        &[("depth_mm = 8", "depth_mm = 0.3")],
        "",
    );
}

#[test]
fn an_empty_name_is_refused() {
    assert_refused(
        &[(r#"name = "small""#, r#"name = " ""#)],
        "",
    );
}

#[test]
fn an_empty_list_of_techniques_is_refused() {
    assert_refused(
        &[(r#"looks = [{ techniques = ["ultrasonic"]"#, "looks = [{ techniques = []")],
        "",
    );
}

#[test]
fn several_faults_are_all_listed_in_the_order_of_the_file() {
    assert_refused(
        &[("horizon_years = 10", "horizon_years = -10"), ("exponent = 3\n", "exponent = 30\n"), ("blades = 80", "blades = 0"), (r#"technique = "eddy-current""#, r#"technique = "magnetic""#), ("floor = 0.01, ceiling", "floor = 0.01, celing"), ("every_outages = 1,", r#"every_outages = "1","#), ("loss_days = 50", "loss_days = 50\ndays_lost = 3\nlos_days = 3")],
        "",
    );
}

#[test]
fn a_whole_number_too_large_to_read_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 99999999999999999999")],
        "",
    );
}

#[test]
fn a_table_list_where_named_tables_belong_is_refused() {
    assert_refused(
        &[("[surfaces.plain]", "[[surfaces]]")],
        "",
    );
}

#[test]
fn a_list_where_a_single_id_belongs_is_refused() {
    assert_refused(
        &[(r#"unit = "A""#, r#"unit = ["A"]"#)],
        "",
    );
}

#[test]
fn a_single_id_where_a_list_belongs_is_refused() {
    assert_refused(
        &[(r#"looks = [{ techniques = ["ultrasonic"]"#, r#"looks = [{ techniques = "ultrasonic""#)],
        "",
    );
}

#[test]
fn an_escalation_without_its_flag_is_refused() {
    assert_refused(
        &[("coverage = { blade_fraction = 0.5 }", r#"escalation = { techniques = ["eddy-current"] }"#)],
        "",
    );
}

#[test]
fn past_looks_out_of_order_are_refused() {
    assert_refused(
        &[(r#"past_looks = [{ year = 2015, technique = "eddy-current" }]"#, r#"past_looks = [{ year = 2015, technique = "eddy-current" }, { year = 2012, technique = "penetrant" }]"#)],
        "",
    );
}

#[test]
fn a_date_where_a_year_belongs_is_refused() {
    assert_refused(
        &[("start_year = 2020", "start_year = 2020-01-01")],
        "",
    );
}
