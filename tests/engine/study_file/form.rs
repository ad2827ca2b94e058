//! Refusals of a file's form: keys, types, what is missing, what is not TOML.

use super::assert_refused;

#[test]
fn an_unknown_key_is_refused_with_the_nearest_known_one() {
    assert_refused(
        &[("q50_mm = 4,", "q50_m = 4,")],
        "small.toml: 1 fault
  line 65, techniques.ultrasonic.pod.q50_m = 4
    unknown key; did you mean q50_mm?
    rename it to q50_mm, or remove it",
    );
}

#[test]
fn an_unknown_key_without_a_near_one_lists_the_keys() {
    assert_refused(
        &[("initiation_life_factor = 1", "initiation_life_factor = 1\nroughness_um = 3")],
        "small.toml: 1 fault
  line 20, surfaces.plain.roughness_um = 3
    unknown key
    remove it; the keys here are initiation_life_factor, layer, closed_mouth_probability, basis",
    );
}

#[test]
fn an_unknown_table_is_refused_with_the_nearest_known_one() {
    assert_refused(
        &[("[money]", "[mony]")],
        "small.toml: 1 fault
  line 8, mony
    unknown key; did you mean money?
    rename it to money, or remove it",
    );
}

#[test]
fn text_where_a_number_belongs_is_refused() {
    assert_refused(
        &[("exponent = 3", r#"exponent = "3""#)],
        r#"small.toml: 1 fault
  line 30, growth.steel.exponent = "3"
    must be a number, not text
    remove the quotes"#,
    );
}

#[test]
fn a_word_where_a_number_belongs_is_refused() {
    assert_refused(
        &[("shape = 2", r#"shape = "two""#)],
        r#"small.toml: 1 fault
  line 24, initiation.fatigue.shape = "two"
    must be a number, not text
    give shape a number from 0.1 to 100"#,
    );
}

#[test]
fn a_flag_where_a_number_belongs_is_refused() {
    assert_refused(
        &[("scale = 20000", "scale = true")],
        "small.toml: 1 fault
  line 25, initiation.fatigue.scale = true
    must be a number, not true or false
    give scale a number above 0 and at most 1e12",
    );
}

#[test]
fn a_fraction_where_a_whole_number_belongs_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 80.5")],
        "small.toml: 1 fault
  line 56, rows.A1.blades = 80.5
    must be a whole number, not a number with a decimal point
    give blades a whole number from 1 to 1000",
    );
}

#[test]
fn a_number_where_a_table_belongs_is_refused() {
    assert_refused(
        &[(r#"limit = { kind = "depth", depth_mm = 8 }"#, "limit = 8")],
        "small.toml: 1 fault
  line 44, roots.fork.hot_spots.pin.limit = 8
    must be a table, not a whole number
    write it as a table with the key kind",
    );
}

#[test]
fn a_number_where_text_belongs_is_refused() {
    assert_refused(
        &[(r#"currency = "kEUR""#, "currency = 1")],
        "small.toml: 1 fault
  line 9, money.currency = 1
    must be text, not a whole number
    put currency in quotes",
    );
}

#[test]
fn a_missing_table_is_named_with_its_keys() {
    assert_refused(
        &[(
            r#"[scatter]
row_factor = { kind = "lognormal", mean = 1, sigma_log = 0.5 }
blade_stress_sigma_log = 0.1
"#,
            "",
        )],
        "small.toml: 1 fault
  scatter
    is missing
    add scatter: a table with the keys row_factor, blade_stress_sigma_log",
    );
}

#[test]
fn a_missing_key_is_named_with_what_it_takes() {
    assert_refused(
        &[("stress_exponent = 4\n", "")],
        "small.toml: 1 fault
  line 21, initiation.fatigue.stress_exponent
    is missing
    add stress_exponent: a number from 0 to 50",
    );
}

#[test]
fn a_missing_list_of_units_is_named() {
    assert_refused(
        &[("[units.A]", "[unit.A]")],
        r#"small.toml: 2 faults
  line 46, unit
    unknown key; did you mean units?
    rename it to units, or remove it
  line 54, rows.A1.unit = "A"
    there is no unit "A"
    define the unit "A" first"#,
    );
}

#[test]
fn a_missing_fleet_is_refused() {
    assert_refused(
        &[(
            r#"[rows.A1]
unit = "A"
rotor = "A-1"
blades = 80
root = "fork"
surface = "plain"
in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#,
            "",
        )],
        "small.toml: 1 fault
  rows
    is missing
    add rows: at least one table [rows.ID] with the keys unit, rotor, blades, root, surface, in_service_year",
    );
}

#[test]
fn a_duplicate_id_is_refused() {
    assert_refused(
        &[("[strategies.none]", "[strategies.look]")],
        "small.toml: 1 fault
  line 120, [strategies.look]
    this key or id is there already, on line 114
    rename it, or remove one of the two",
    );
}

#[test]
fn a_duplicate_key_is_refused() {
    assert_refused(
        &[(
            r#"rotor = "A-1""#,
            r#"rotor = "A-1"
rotor = "A-2""#,
        )],
        r#"small.toml: 1 fault
  line 56, rotor = "A-2"
    this key or id is there already, on line 55
    rename it, or remove one of the two"#,
    );
}

#[test]
fn a_text_that_is_not_toml_is_refused() {
    assert_refused(
        &[(r#"rotor = "A-1""#, "rotor = A-1")],
        "small.toml: 1 fault
  line 55, rotor = A-1
    is not TOML: text must stand in quotes
    correct the line; text stands in quotes, lists in brackets, tables in braces",
    );
}

#[test]
fn an_open_bracket_is_refused() {
    assert_refused(
        &[("[techniques.penetrant]", "[techniques.penetrant")],
        "small.toml: 1 fault
  line 91, [techniques.penetrant
    is not TOML: unclosed header, expected `]`
    correct the line; text stands in quotes, lists in brackets, tables in braces",
    );
}

#[test]
fn an_id_with_a_space_is_refused() {
    assert_refused(
        &[("[surfaces.plain]", r#"[surfaces."very plain"]"#)],
        r#"small.toml: 3 faults
  line 18, surfaces."very plain"
    an id has 1 to 64 letters (a-z, A-Z), digits, '-', '_' or '.', and begins with a letter or a digit
    rename it
  line 58, rows.A1.surface = "plain"
    there is no surface "plain"
    known: very plain
  line 96, techniques.penetrant.surface_shift_log.plain = 0.1
    there is no surface "plain"
    known: very plain"#,
    );
}

#[test]
fn an_unknown_kind_is_refused() {
    assert_refused(
        &[(
            r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#,
            r#"kind = "log-normal", median = 0.3, sigma_log = 0.3"#,
        )],
        r#"small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm.kind = "log-normal"
    must be "normal", "lognormal", "weibull", "gamma", "uniform" or "triangular"
    did you mean "lognormal"?"#,
    );
}

#[test]
fn an_empty_name_is_refused() {
    assert_refused(
        &[(r#"name = "small""#, r#"name = " ""#)],
        r#"small.toml: 1 fault
  line 3, study.name = " "
    must not be empty
    say something in name"#,
    );
}

#[test]
fn several_faults_are_all_listed_in_the_order_of_the_file() {
    assert_refused(
        &[
            ("horizon_years = 10", "horizon_years = -10"),
            ("exponent = 3", "exponent = 30"),
            ("blades = 80", "blades = 0"),
            (r#"technique = "eddy-current""#, r#"technique = "magnetic""#),
            ("floor = 0.01, ceiling", "floor = 0.01, celing"),
            ("every_outages = 1,", r#"every_outages = "1","#),
            ("loss_days = 50", "loss_days = 50\ndays_lost = 3\nlos_days = 3"),
        ],
        r#"small.toml: 8 faults
  line 5, study.horizon_years = -10
    must exceed 0
    raise horizon_years above 0
  line 30, growth.steel.exponent = 30
    must be at most 10
    lower exponent to 10 or less
  line 56, rows.A1.blades = 0
    must be at least 1
    raise blades to 1 or more
  line 61, rows.A1.past_looks[1].technique = "magnetic"
    there is no technique "magnetic"
    known: ultrasonic, eddy-current, penetrant
  line 65, techniques.ultrasonic.pod.celing = 0.98
    unknown key; did you mean ceiling?
    rename it to ceiling, or remove it
  line 116, strategies.look.looks[1].every_outages = "1"
    must be a whole number, not text
    give every_outages a whole number from 1 to 400
  line 134, costs.days_lost = 3
    unknown key
    remove it; the keys here are blades_out_cost, blades_out_days, blades_out_cost_per_blade, blades_out_days_per_blade, rotor_lift_cost, rotor_lift_days, new_blade_cost, new_blade_days, dressing_cost, dressing_days, new_row_cost, new_row_days, loss_cost, loss_days, outage_day_cost, basis
  line 135, costs.los_days = 3
    unknown key; did you mean loss_days?
    remove one of the two: loss_days is there already"#,
    );
}

#[test]
fn a_whole_number_too_large_to_read_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 99999999999999999999")],
        "small.toml: 1 fault
  line 56, blades = 99999999999999999999
    is not TOML: whole number is too large
    correct the line; text stands in quotes, lists in brackets, tables in braces",
    );
}

#[test]
fn a_table_list_where_named_tables_belong_is_refused() {
    assert_refused(
        &[("[surfaces.plain]", "[[surfaces]]")],
        r#"small.toml: 3 faults
  line 18, surfaces
    must be tables, not a list of tables
    write [surfaces.ID] for each surface
  line 58, rows.A1.surface = "plain"
    there is no surface "plain"
    define the surface "plain" first
  line 96, techniques.penetrant.surface_shift_log.plain = 0.1
    there is no surface "plain"
    define the surface "plain" first"#,
    );
}

#[test]
fn a_list_where_a_single_id_belongs_is_refused() {
    assert_refused(
        &[(r#"unit = "A""#, r#"unit = ["A"]"#)],
        r#"small.toml: 1 fault
  line 54, rows.A1.unit = ["A"]
    must be text, not a list
    give unit a single text, without brackets"#,
    );
}

#[test]
fn a_single_id_where_a_list_belongs_is_refused() {
    assert_refused(
        &[(r#"looks = [{ techniques = ["ultrasonic"]"#, r#"looks = [{ techniques = "ultrasonic""#)],
        r#"small.toml: 1 fault
  line 116, strategies.look.looks[1].techniques = "ultrasonic"
    must be a list, not text
    put techniques in square brackets"#,
    );
}

#[test]
fn an_escalation_without_its_flag_is_refused() {
    assert_refused(
        &[("coverage = { blade_fraction = 0.5 }", r#"escalation = { techniques = ["eddy-current"] }"#)],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].escalation.first_call_stands
    is missing
    add first_call_stands: true or false",
    );
}

#[test]
fn a_date_where_a_year_belongs_is_refused() {
    assert_refused(
        &[("start_year = 2020", "start_year = 2020-01-01")],
        "small.toml: 1 fault
  line 4, study.start_year = 2020-01-01
    must be a number, not a date
    give start_year a number from -1000 to 3000",
    );
}

#[test]
fn a_missing_kind_is_one_fault() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, "median = 0.3, sigma_log = 0.3")],
        r#"small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm.kind
    is missing
    add kind: "normal", "lognormal", "weibull", "gamma", "uniform" or "triangular""#,
    );
}

#[test]
fn a_mistyped_kind_is_one_fault() {
    assert_refused(
        &[(r#"kind = "weibull""#, r#"knd = "weibull""#)],
        r#"small.toml: 1 fault
  line 23, initiation.fatigue.knd = "weibull"
    unknown key; did you mean kind?
    rename it to kind, or remove it"#,
    );
}
