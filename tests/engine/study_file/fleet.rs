//! Refusals of fleets, calendars and strategies, and of references that lead nowhere.

use super::assert_refused;

#[test]
fn an_unknown_technique_is_refused_with_the_nearest_known_one() {
    assert_refused(
        &[(r#"technique = "eddy-current""#, r#"technique = "edy-current""#)],
        r#"small.toml: 1 fault
  line 61, rows.A1.past_looks[1].technique = "edy-current"
    there is no technique "edy-current"
    did you mean "eddy-current"?"#,
    );
}

#[test]
fn an_unknown_technique_of_a_look_is_refused() {
    assert_refused(
        &[(r#"looks = [{ techniques = ["ultrasonic"]"#, r#"looks = [{ techniques = ["radiography"]"#)],
        r#"small.toml: 1 fault
  line 116, strategies.look.looks[1].techniques[1] = "radiography"
    there is no technique "radiography"
    known: ultrasonic, eddy-current, penetrant"#,
    );
}

#[test]
fn an_unknown_root_is_refused() {
    assert_refused(
        &[(r#"root = "fork""#, r#"root = "fir-tree""#)],
        r#"small.toml: 1 fault
  line 57, rows.A1.root = "fir-tree"
    there is no root "fir-tree"
    known: fork"#,
    );
}

#[test]
fn an_unknown_baseline_is_refused() {
    assert_refused(
        &[(r#"baseline = "look""#, r#"baseline = "loook""#)],
        r#"small.toml: 1 fault
  line 6, study.baseline = "loook"
    there is no strategy "loook"
    did you mean "look"?"#,
    );
}

#[test]
fn an_unknown_surface_of_a_shift_is_refused() {
    assert_refused(
        &[("plain = 0.1", "plan = 0.1")],
        r#"small.toml: 1 fault
  line 96, techniques.penetrant.surface_shift_log.plan = 0.1
    there is no surface "plan"
    did you mean "plain"?"#,
    );
}

#[test]
fn an_unknown_hot_spot_of_a_look_is_refused() {
    assert_refused(
        &[("blade_fraction = 0.5", r#"hot_spots = ["pins"]"#)],
        r#"small.toml: 1 fault
  line 116, strategies.look.looks[1].coverage.hot_spots[1] = "pins"
    there is no hot spot "pins"
    did you mean "pin"?"#,
    );
}

#[test]
fn an_outage_before_the_study_is_refused() {
    assert_refused(
        &[("[2021, 2024, 2027]", "[2019, 2024, 2027]")],
        "small.toml: 1 fault
  line 51, units.A.outages.years[1] = 2019
    must not be before the study (the study runs from 2020 to 2030)
    remove it",
    );
}

#[test]
fn an_outage_at_the_end_of_the_study_is_refused() {
    assert_refused(
        &[("[2021, 2024, 2027]", "[2021, 2024, 2030]")],
        "small.toml: 1 fault
  line 51, units.A.outages.years[3] = 2030
    must be before the end of the study (the study runs from 2020 to 2030)
    remove it, or lengthen the study: an outage at its end decides nothing",
    );
}

#[test]
fn outages_out_of_order_are_refused() {
    assert_refused(
        &[("[2021, 2024, 2027]", "[2021, 2027, 2024]")],
        "small.toml: 1 fault
  line 51, units.A.outages.years[3] = 2024
    an outage must be after the one before it (2027)
    put them in the order of time",
    );
}

#[test]
fn an_outage_before_the_row_exists_is_refused() {
    assert_refused(
        &[(
            r#"in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#,
            "in_service_year = 2022",
        )],
        "small.toml: 1 fault
  line 59, rows.A1.in_service_year = 2022
    must not be after an outage of its unit (2021): an outage before the row exists
    remove the outage, or give the row a unit of its own",
    );
}

#[test]
fn outages_without_years_are_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027], ", "")],
        "small.toml: 1 fault
  line 51, units.A.outages = { window_days = 20 }
    must have years or a period
    give either years = [...], or first_year and every_years",
    );
}

#[test]
fn outages_both_by_list_and_by_period_are_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027], ", "years = [2021], every_years = 3, ")],
        "small.toml: 1 fault
  line 51, units.A.outages = { years = [2021], every_years = 3, window_days = 20 }
    must not have both years and a period
    give either years = [...], or first_year and every_years",
    );
}

#[test]
fn too_many_outages_are_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027]", "first_year = 2020, every_years = 0.02")],
        "small.toml: 1 fault
  line 51, units.A.outages.every_years = 0.02
    must leave at most 400 outages (the study runs from 2020 to 2030)
    raise every_years, or shorten the study",
    );
}

#[test]
fn a_period_that_never_comes_is_refused() {
    assert_refused(
        &[("years = [2021, 2024, 2027]", "first_year = 2030, every_years = 2")],
        "small.toml: 1 fault
  line 51, units.A.outages.first_year = 2030
    must be before the end of the study (the study runs from 2020 to 2030)
    correct it; a unit that never stops has years = []",
    );
}

#[test]
fn a_row_older_than_the_duty_of_its_unit_is_refused() {
    assert_refused(
        &[("in_service_year = 2005", "in_service_year = 1999")],
        "small.toml: 1 fault
  line 59, rows.A1.in_service_year = 1999
    must not be before the first duty period of its unit (2000)
    begin the unit's duty earlier, or correct the year",
    );
}

#[test]
fn a_row_that_comes_after_the_study_is_refused() {
    assert_refused(
        &[(
            r#"in_service_year = 2005
renewed = [{ year = 2015, blades = [3, 17] }]
past_looks = [{ year = 2015, technique = "eddy-current" }]"#,
            "in_service_year = 2030",
        )],
        "small.toml: 1 fault
  line 59, rows.A1.in_service_year = 2030
    must be before the end of the study (the study runs from 2020 to 2030)
    correct the year, or remove the row",
    );
}

#[test]
fn a_row_without_blades_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 0")],
        "small.toml: 1 fault
  line 56, rows.A1.blades = 0
    must be at least 1
    raise blades to 1 or more",
    );
}

#[test]
fn a_row_of_too_many_blades_is_refused() {
    assert_refused(
        &[("blades = 80", "blades = 99999999999")],
        "small.toml: 1 fault
  line 56, rows.A1.blades = 99999999999
    must be at most 1000
    lower blades to 1000 or less",
    );
}

#[test]
fn an_empty_fleet_is_refused() {
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
            "[rows]",
        )],
        "small.toml: 1 fault
  line 53, rows
    must hold at least one row
    add a table [rows.ID]",
    );
}

#[test]
fn a_blade_number_outside_the_row_is_refused() {
    assert_refused(
        &[("[3, 17]", "[3, 81]")],
        "small.toml: 1 fault
  line 60, rows.A1.renewed[1].blades[2] = 81
    must be at most 80, the number of blades of the row
    correct the blade number",
    );
}

#[test]
fn a_blade_listed_twice_is_refused() {
    assert_refused(
        &[("[3, 17]", "[17, 17]")],
        "small.toml: 1 fault
  line 60, rows.A1.renewed[1].blades[2] = 17
    is listed twice
    list it once",
    );
}

#[test]
fn a_renewal_before_the_row_existed_is_refused() {
    assert_refused(
        &[("{ year = 2015, blades", "{ year = 2004, blades")],
        "small.toml: 1 fault
  line 60, rows.A1.renewed[1].year = 2004
    must not be before the row's in_service_year (2005)
    correct one of the two years",
    );
}

#[test]
fn a_past_look_after_the_start_is_refused() {
    assert_refused(
        &[("{ year = 2015, technique", "{ year = 2020, technique")],
        "small.toml: 1 fault
  line 61, rows.A1.past_looks[1].year = 2020
    must be before the start of the study (2020)
    correct one of the two years",
    );
}

#[test]
fn duty_years_out_of_order_are_refused() {
    assert_refused(
        &[("from_year = 2010", "from_year = 2000")],
        "small.toml: 1 fault
  line 49, units.A.duty[2] = { from_year = 2000, starts_per_year = 150, hours_per_year =  ...
    from_year must be after the one before it (2000)
    put them in the order of time",
    );
}

#[test]
fn a_unit_that_never_runs_is_refused() {
    assert_refused(
        &[(
            "starts_per_year = 20, hours_per_year = 7000 },\n  { from_year = 2010, starts_per_year = 150, hours_per_year = 4000 }",
            "starts_per_year = 0, hours_per_year = 0 }",
        )],
        "small.toml: 1 fault
  line 47, units.A.duty = [ { from_year = 2000, starts_per_year = 0, hours_per_year =  ...
    must have a period with starts or hours
    say how the unit runs, or remove it",
    );
}

#[test]
fn dispositions_out_of_order_are_refused() {
    assert_refused(
        &[("below_mm = 5", "below_mm = 1")],
        "small.toml: 1 fault
  line 117, strategies.look.dispositions[2].below_mm = 1
    must exceed the one before it (2)
    put the dispositions in the order of length",
    );
}

#[test]
fn a_last_disposition_with_an_end_is_refused() {
    assert_refused(
        &[(r#"{ action = "replace-row" }]"#, r#"{ below_mm = 9, action = "replace-row" }]"#)],
        "small.toml: 1 fault
  line 117, strategies.look.dispositions[3].below_mm = 9
    the last disposition holds for every length above the others
    remove below_mm",
    );
}

#[test]
fn looks_without_dispositions_are_refused() {
    assert_refused(
        &[(
            r#"dispositions = [{ below_mm = 2, action = "watch" }, { below_mm = 5, action = "replace" }, { action = "replace-row" }]
"#,
            "",
        )],
        "small.toml: 1 fault
  line 114, strategies.look.dispositions
    is missing
    add dispositions: a list of tables with the key action",
    );
}

#[test]
fn a_row_end_outside_the_study_is_refused() {
    assert_refused(
        &[("year = 2026", "year = 2036")],
        "small.toml: 1 fault
  line 123, strategies.none.row_end.year = 2036
    must lie within the study (the study runs from 2020 to 2030)
    correct the year, or remove row_end",
    );
}

#[test]
fn an_empty_list_of_techniques_is_refused() {
    assert_refused(
        &[(r#"looks = [{ techniques = ["ultrasonic"]"#, "looks = [{ techniques = []")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].techniques = []
    must not be empty
    name at least one in techniques",
    );
}

#[test]
fn past_looks_out_of_order_are_refused() {
    assert_refused(
        &[(
            r#"past_looks = [{ year = 2015, technique = "eddy-current" }]"#,
            r#"past_looks = [{ year = 2015, technique = "eddy-current" }, { year = 2012, technique = "penetrant" }]"#,
        )],
        r#"small.toml: 1 fault
  line 61, rows.A1.past_looks[2] = { year = 2012, technique = "penetrant" }
    a past look must not be before the one before it (2015)
    put them in the order of time"#,
    );
}

#[test]
fn finds_of_more_blades_than_there_are_and_lengths_of_none_are_refused() {
    assert_refused(
        &[(
            r#"past_looks = [{ year = 2015, technique = "eddy-current" }]"#,
            r#"past_looks = [
    { year = 2012, technique = "penetrant", found = 901 },
    { year = 2013, technique = "penetrant", found = 1, measured_lengths_mm = [2, 3] },
    { year = 2014, technique = "penetrant", measured_lengths_mm = [2] },
    { year = 2015, technique = "penetrant", found = -1 },
]"#,
        )],
        r#"small.toml: 4 faults
  line 62, rows.A1.past_looks[1].found = 901
    must be at most 80, the number of blades of the row
    correct one of them
  line 63, rows.A1.past_looks[2].measured_lengths_mm = [2, 3]
    must not be more lengths than blades that were found (1)
    give the longest of each blade
  line 64, rows.A1.past_looks[3].measured_lengths_mm = [2]
    are lengths of blades of which found says nothing
    add found, the number of blades called
  line 65, rows.A1.past_looks[4].found = -1
    must be at least 0
    raise found to 0 or more"#,
    );
}

#[test]
fn a_watch_that_nothing_leads_to_is_refused() {
    assert_refused(
        &[
            (r#"{ below_mm = 2, action = "watch" }, "#, ""),
            (
                r#"after_loss = "replace-blade""#,
                "after_loss = \"replace-blade\"\nwatch = { technique = \"penetrant\" }",
            ),
        ],
        "small.toml: 1 fault
  line 119, strategies.look.watch = { technique = \"penetrant\" }
    belongs with a disposition of action \"watch\"
    remove it, or add the disposition",
    );
}

#[test]
fn a_watch_by_an_unknown_technique_or_at_a_negative_price_is_refused() {
    assert_refused(
        &[(
            r#"after_loss = "replace-blade""#,
            "after_loss = \"replace-blade\"\nwatch = { technique = \"penetrants\", cost_per_row = -1 }",
        )],
        "small.toml: 2 faults
  line 119, strategies.look.watch.technique = \"penetrants\"
    there is no technique \"penetrants\"
    did you mean \"penetrant\"?
  line 119, strategies.look.watch.cost_per_row = -1
    must be at least 0
    raise cost_per_row to 0 or more",
    );
}
