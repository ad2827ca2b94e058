//! Faults of configuration that people make, one file each: refused before anything is simulated, with line and key.

use super::spoiled;
use serrata::Study;

/// What is changed, and what the refusal must say: its line, and further words.
type Fault = (&'static [(&'static str, &'static str)], &'static [&'static str]);

const FAULTS: [Fault; 22] = [
    // A typing error.
    (
        &[("horizon_years = 10", "horizon_yeras = 10")],
        &["line 5, study.horizon_yeras", "unknown key; did you mean horizon_years?"],
    ),
    // A key in the wrong table.
    (&[("[money]\n", "[money]\nhorizon_years = 20\n")], &["line 9, money.horizon_years = 20", "unknown key"]),
    // Percent for a fraction.
    (
        &[("ceiling = 0.98", "ceiling = 98")],
        &["line 65, techniques.ultrasonic.pod.ceiling = 98", "must be at most 1", "if 98 % is meant, write 0.98"],
    ),
    (&[("scale = 20000", "scale = -20000")], &["line 25, initiation.fatigue.scale = -20000", "must exceed 0"]),
    (&[("blades = 80", "blades = \"80\"")], &["line 56, rows.A1.blades", "must be a whole number, not text"]),
    (
        &[("start_year = 2020\n", "start_year = 2020\nstart_year = 2021\n")],
        &["line 5, start_year", "is there already, on line 4"],
    ),
    (&[("scale = 20000", "scale = nan")], &["line 25, initiation.fatigue.scale = nan", "must be a finite number"]),
    (
        &[("horizon_years = 10", "horizon_years = inf")],
        &["line 5, study.horizon_years = inf", "must be a finite number"],
    ),
    // The line of a missing key is that of its table, not the end of the file.
    (
        &[("coefficient_m_per_start = 1e-11\n", "")],
        &["line 28, growth.steel.coefficient_m_per_start", "is missing", "add coefficient_m_per_start"],
    ),
    (&[("[strategies.none]", "[strategies.look]")], &["line 120, [strategies.look]", "is there already, on line 114"]),
    (
        &[("horizon_years = 10", "Horizon_years = 10")],
        &["line 5, study.Horizon_years", "unknown key; did you mean horizon_years?"],
    ),
    // Marks between thousands.
    (
        &[("scale = 20000", "scale = 20,000")],
        &["line 25, scale = 20,000", "has a comma in a number", "write 20000, or 20.000 if that is meant"],
    ),
    // Several at once are told in one go.
    (
        &[
            ("horizon_years = 10", "horizon_years = 0"),
            ("discount_rate_per_year", "discount_rat_per_year"),
            ("scale = 20000", "scale = \"long\""),
            ("blades = 80", "blades = -80"),
            ("ceiling = 0.98", "ceiling = 1.7"),
        ],
        &["5 faults", "line 5,", "line 10,", "line 25,", "line 56,", "line 65,"],
    ),
    // Looks at no distance from each other would never end.
    (
        &[("every_outages = 1", "every_outages = 0")],
        &["line 116, strategies.look.looks[1].every_outages = 0", "must be at least 1"],
    ),
    // 800 % a year.
    (
        &[("discount_rate_per_year = 0.03", "discount_rate_per_year = 8")],
        &["line 10, money.discount_rate_per_year = 8", "must be below 1", "if 8 % is meant, write 0.08"],
    ),
    (
        &[("false_call_probability = 0.002", "false_call_probability = 2")],
        &["false_call_probability = 2", "must be below 1", "if 2 % is meant, write 0.02"],
    ),
    // Decimal commas.
    (
        &[("discount_rate_per_year = 0.03", "discount_rate_per_year = 0,06")],
        &["line 10, discount_rate_per_year = 0,06", "has a comma in a number", "write 0.06"],
    ),
    (
        &[("discount_rate_per_year = 0.03", "discount_rate_per_year = \"0,06\"")],
        &["line 10, money.discount_rate_per_year", "must be a number, not text", "write 0.06, without quotes"],
    ),
    (&[("ceiling = 0.98", "ceiling = 0,98")], &["line 65, pod = ", "has a comma in a number", "write 0.98"]),
    // Text that would steer a terminal, break a table or be run by a spreadsheet.
    (
        &[("name = \"small\"", "name = \"\\u001b[31msmall\"")],
        &["line 3, study.name = ", "holds a character that nobody sees, U+001B"],
    ),
    (
        &[("currency = \"kEUR\"", "currency = \"=1+1\"")],
        &["line 9, money.currency = ", "begins like a formula of a spreadsheet"],
    ),
    (&[("[strategies.none]", "[strategies.-none]")], &["strategies.-none", "begins with a letter or a digit"]),
];

#[test]
fn faults_of_configuration_are_refused_with_their_line_and_key() {
    for (edits, parts) in FAULTS {
        let said = Study::parse(&spoiled(edits), "small.toml").expect_err("must be refused").to_string();
        for part in parts {
            assert!(said.contains(part), "{edits:?}: {part} in {said}");
        }
    }
}
