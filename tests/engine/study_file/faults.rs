//! Faults of configuration that people make, one file each: refused before anything is simulated, with line and key.

use super::spoiled;
use serrata::Study;

/// What is changed, and what the refusal must say: its line, and further words.
type Fault = (&'static [(&'static str, &'static str)], &'static [&'static str]);

const FAULTS: [Fault; 37] = [
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
    // Dispositions that nothing is left for, and depths that nobody measures.
    (
        &[("{ below_mm = 2, action = \"watch\" }", "{ below_depth_mm = 2, action = \"watch\" }")],
        &[
            "line 117, strategies.look.dispositions",
            "go by depth, and calls of ultrasonic may stand, of which no depth is measured",
        ],
    ),
    (
        &[
            ("{ below_mm = 2, action = \"watch\" }", "{ below_mm = 5, action = \"watch\" }"),
            ("{ below_mm = 5, action = \"replace\" }", "{ below_mm = 4, below_depth_mm = 1, action = \"replace\" }"),
        ],
        &["line 117, strategies.look.dispositions[2]", "is never reached: disposition 1 holds wherever it does"],
    ),
    (
        &[("{ action = \"replace-row\" }]", "{ below_depth_mm = 9, action = \"replace-row\" }]")],
        &[
            "line 117, strategies.look.dispositions[3].below_depth_mm = 9",
            "the last disposition holds for every depth above the others",
        ],
    ),
    (
        &[("{ below_mm = 2, action = \"watch\" }", "{ action = \"watch\" }")],
        &["line 117, strategies.look.dispositions[1].below_mm", "is missing"],
    ),
    // All three that say how depths are measured, or none.
    (
        &[("length_bias = 1, length_sigma_log = 0.2", "length_bias = 1, depth_bias = 1, length_sigma_log = 0.2")],
        &["sizing.depth_sigma_log", "is missing, and depth_bias is there", "or none of them"],
    ),
    (
        &[("length_sigma_log = 0.2 }", "length_sigma_log = 0.2, depth_bias = 1, depth_sigma_log = 0.2 }")],
        &["techniques.ultrasonic.false_call_depth_mm", "is missing, and sizing.depth_bias is there"],
    ),
    (
        &[("false_call_length_mm = 3", "false_call_length_mm = 3\nfalse_call_depth_mm = 1")],
        &["line 73, techniques.ultrasonic.sizing", "has no depth_bias, and false_call_depth_mm is there"],
    ),
    // A dressing without its table, its prices or its rule.
    (
        &[("below_mm = 2, action = \"watch\"", "below_mm = 2, action = \"dress\"")],
        &["strategies.look.dressing", "is missing", "gone_probability, life_factor, at_most_depth_mm, blades_out"],
    ),
    (
        &[(
            "action = \"watch\" }, { below_mm = 5, action = \"replace\" }, { action = \"replace-row\" }]",
            "action = \"dress\" }, { action = \"replace\" }]\ndressing = { gone_probability = 0.9, life_factor = 0.5, at_most_depth_mm = 2, \
             blades_out = true }",
        )],
        &["2 faults", "costs.dressing_cost", "costs.dressing_days", "is missing, and strategies.look dresses blades"],
    ),
    (
        &[(
            "{ action = \"replace-row\" }]",
            "{ action = \"replace-row\" }]\ndressing = { gone_probability = 0.9, life_factor = 0.5, at_most_depth_mm = 2, blades_out = true }",
        )],
        &["line 118, strategies.look.dressing", "belongs with a disposition of action \"dress\""],
    ),
    (
        &[(
            "action = \"watch\" }, { below_mm = 5, action = \"replace\" }, { action = \"replace-row\" }]",
            "action = \"dress\" }, { action = \"replace\" }]\ndressing = { gone_probability = 90, life_factor = 0, at_most_depth_mm = 0 }",
        )],
        &[
            "gone_probability = 90",
            "if 90 % is meant, write 0.9",
            "life_factor = 0",
            "at_most_depth_mm = 0",
            "blades_out",
        ],
    ),
    (
        &[("[roots.fork.hot_spots", "[roots.fork]\nreplaced_together = 0\n[roots.fork.hot_spots")],
        &["roots.fork.replaced_together = 0", "must be at least 1"],
    ),
    (
        &[("[roots.fork.hot_spots", "[roots.fork]\nreplaced_together = 2.5\n[roots.fork.hot_spots")],
        &["roots.fork.replaced_together = 2.5", "must be a whole number"],
    ),
    (
        &[("below_mm = 2, action = \"watch\"", "below_mm = 2, action = \"grind\"")],
        &["action = \"grind\"", "\"replace\", \"watch\", \"run-on\", \"dress\" or \"replace-row\""],
    ),
    (
        &[("below_mm = 2, action = \"watch\"", "below_depth_mm = -2, action = \"watch\"")],
        &["below_depth_mm = -2", "must exceed 0"],
    ),
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
