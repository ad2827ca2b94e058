//! Refusals of numbers and distributions, and of numbers that do not fit together.

use super::assert_refused;

#[test]
fn a_negative_number_is_refused() {
    assert_refused(
        &[("row_sigma_log = 0", "row_sigma_log = -0.1")],
        "small.toml: 1 fault
  line 32, growth.steel.row_sigma_log = -0.1
    must be at least 0
    raise row_sigma_log to 0 or more",
    );
}

#[test]
fn a_length_of_zero_is_refused() {
    assert_refused(
        &[("depth_mm = 8", "depth_mm = 0")],
        "small.toml: 1 fault
  line 44, roots.fork.hot_spots.pin.limit.depth_mm = 0
    must exceed 0
    raise depth_mm above 0",
    );
}

#[test]
fn a_size_that_no_technique_finds_is_taken_for_one_in_another_unit() {
    for (q50, rule, mm) in [
        ("0.004", "is smaller than anything that a technique finds: is it in metres?", "4"),
        ("4000", "is larger than any root: is it in micrometres?", "4"),
    ] {
        assert_refused(
            &[("q50_mm = 4", &format!("q50_mm = {q50}"))],
            &format!(
                "small.toml: 1 fault
  line 65, techniques.ultrasonic.pod.q50_mm = {q50}
    {rule}
    give it in mm, then {mm}"
            ),
        );
    }
}

#[test]
fn not_a_number_is_refused() {
    assert_refused(
        &[("scale = 20000", "scale = nan")],
        "small.toml: 1 fault
  line 25, initiation.fatigue.scale = nan
    must be a finite number
    give scale a number above 0 and at most 1e12",
    );
}

#[test]
fn an_infinite_number_is_refused() {
    assert_refused(
        &[("loss_days = 50", "loss_days = inf")],
        "small.toml: 1 fault
  line 133, costs.loss_days = inf
    must be a finite number
    give loss_days a number from 0 to 100000",
    );
}

#[test]
fn a_minus_infinite_number_is_refused() {
    assert_refused(
        &[("bending_mpa = 100", "bending_mpa = -inf")],
        "small.toml: 1 fault
  line 39, roots.fork.hot_spots.pin.stress.bending_mpa = -inf
    must be a finite number
    give bending_mpa a number from -10000 to 10000",
    );
}

#[test]
fn a_chance_of_a_closed_mouth_above_one_is_refused() {
    assert_refused(
        &[("initiation_life_factor = 1\n", "initiation_life_factor = 1\nclosed_mouth_probability = 30\n")],
        "small.toml: 1 fault
  line 20, surfaces.plain.closed_mouth_probability = 30
    must be at most 1
    if 30 % is meant, write 0.3; else lower closed_mouth_probability to 1 or less",
    );
}

#[test]
fn a_shift_at_closed_mouths_is_refused_with_what_replaces_it() {
    assert_refused(
        &[(
            "surface_shift_log = { plain = 0.1 }\n",
            "surface_shift_log = { plain = 0.1 }\nclosed_mouth_shift_log = 0.8\n",
        )],
        "small.toml: 1 fault
  line 97, techniques.penetrant.closed_mouth_shift_log = 0.8
    is no longer a key: a shift of size does not say what a closed mouth hides
    give closed_mouth_factor: the probability of detection at a closed mouth over that at an open one",
    );
}

#[test]
fn a_detection_floor_above_its_ceiling_is_refused() {
    assert_refused(
        &[("floor = 0.01, ceiling = 0.98", "floor = 0.5, ceiling = 0.4")],
        "small.toml: 1 fault
  line 65, techniques.ultrasonic.pod.ceiling = 0.4
    must exceed floor (0.5): larger cracks are easier to find
    raise ceiling above 0.5, or lower floor below 0.4",
    );
}

#[test]
fn correlations_that_contradict_each_other_are_refused() {
    assert_refused(
        &[("correlation = 0.6", r#"correlation = 0.9

[[persistence]]
techniques = ["ultrasonic", "penetrant"]
correlation = -0.9"#)],
        "small.toml: 1 fault
  line 106, persistence
    the correlations of ultrasonic, eddy-current, penetrant contradict each other: the smallest eigenvalue of their matrix is -0.547, and none may be below 0
    bring the correlations closer to 0, or state the pairs that are left out",
    );
}

#[test]
fn a_pair_stated_twice_is_refused() {
    assert_refused(
        &[(r#"["penetrant", "eddy-current"]"#, r#"["eddy-current", "ultrasonic"]"#)],
        "small.toml: 1 fault
  line 110, persistence[2]
    the pair ultrasonic and eddy-current is stated twice
    state it once",
    );
}

#[test]
fn a_correlation_of_a_technique_with_itself_is_refused() {
    assert_refused(
        &[(r#"["penetrant", "eddy-current"]"#, r#"["penetrant", "penetrant"]"#)],
        r#"small.toml: 1 fault
  line 111, persistence[2].techniques[2] = "penetrant"
    is listed twice
    list it once"#,
    );
}

#[test]
fn a_horizon_of_zero_is_refused() {
    assert_refused(
        &[("horizon_years = 10", "horizon_years = 0")],
        "small.toml: 1 fault
  line 5, study.horizon_years = 0
    must exceed 0
    raise horizon_years above 0",
    );
}

#[test]
fn a_fraction_above_one_is_refused() {
    assert_refused(
        &[("blade_fraction = 0.5", "blade_fraction = 1.5")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].coverage.blade_fraction = 1.5
    must be at most 1
    if 1.5 % is meant, write 0.015; else lower blade_fraction to 1 or less",
    );
}

#[test]
fn a_certain_false_call_is_refused() {
    assert_refused(
        &[("false_call_probability = 0.002", "false_call_probability = 1")],
        "small.toml: 1 fault
  line 70, techniques.ultrasonic.false_call_probability = 1
    must be below 1
    lower false_call_probability below 1",
    );
}

#[test]
fn a_bare_pair_is_no_lognormal() {
    assert_refused(
        &[(
            r#"initial_depth_mm = { kind = "lognormal", median = 0.3, sigma_log = 0.3 }"#,
            "initial_depth_mm = [0.3, 0.3]",
        )],
        r#"small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm = [0.3, 0.3]
    must be a number or a table with a kind: bare numbers in a list do not say what they are
    write for example { kind = "lognormal", median = ..., sigma_log = ... }; a lognormal takes median and sigma_log, median and cov, mean and cov, mean and sd, or mean and sigma_log"#,
    );
}

#[test]
fn a_lognormal_of_an_unknown_pair_is_refused() {
    assert_refused(
        &[("median = 0.3, sigma_log = 0.3", "median = 0.3, sd = 0.1")],
        r#"small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm = { kind = "lognormal", median = 0.3, sd = 0.1 }
    a lognormal takes exactly two numbers that fix it; here: median, sd
    give median and sigma_log, median and cov, mean and cov, mean and sd, or mean and sigma_log"#,
    );
}

#[test]
fn a_lognormal_of_three_numbers_is_refused() {
    assert_refused(
        &[("median = 0.3, sigma_log = 0.3", "median = 0.3, cov = 0.2, sd = 0.1")],
        r#"small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm = { kind = "lognormal", median = 0.3, cov = 0.2, sd = 0.1 }
    a lognormal takes exactly two numbers that fix it; here: median, cov, sd
    give median and sigma_log, median and cov, mean and cov, mean and sd, or mean and sigma_log"#,
    );
}

#[test]
fn a_normal_depth_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, r#"kind = "normal", mean = 0.3, sd = 0.1"#)],
        r#"small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm.kind = "normal"
    a normal distribution reaches below 0, which this quantity cannot
    choose "lognormal", with the same mean and sd"#,
    );
}

#[test]
fn a_uniform_depth_from_zero_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#, r#"kind = "uniform", low = 0, high = 0.5"#)],
        "small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm.low = 0
    must exceed 0
    raise low above 0",
    );
}

#[test]
fn a_triangle_out_of_order_is_refused() {
    assert_refused(
        &[(
            r#"kind = "lognormal", median = 0.3, sigma_log = 0.3"#,
            r#"kind = "triangular", low = 0.2, mode = 0.1, high = 0.5"#,
        )],
        "small.toml: 1 fault
  line 42, roots.fork.hot_spots.pin.initial_depth_mm.mode = 0.1
    must not be below low (0.2)
    raise mode, or lower low",
    );
}

#[test]
fn a_row_factor_of_another_mean_is_refused() {
    assert_refused(
        &[(r#"kind = "lognormal", mean = 1, sigma_log = 0.5"#, r#"kind = "lognormal", median = 1, sigma_log = 0.5"#)],
        r#"small.toml: 1 fault
  line 15, scatter.row_factor = { kind = "lognormal", median = 1, sigma_log = 0.5 }
    must have a mean of 1, not 1.1331484530668263
    give mean = 1, and put what all rows share into the initiation law"#,
    );
}

#[test]
fn a_row_factor_of_another_kind_is_refused() {
    assert_refused(
        &[(
            r#"row_factor = { kind = "lognormal", mean = 1, sigma_log = 0.5 }"#,
            r#"row_factor = { kind = "uniform", low = 0.5, high = 1.5 }"#,
        )],
        r#"small.toml: 1 fault
  line 15, scatter.row_factor = { kind = "uniform", low = 0.5, high = 1.5 }
    must be the number 1, a lognormal or a gamma distribution
    choose one of these"#,
    );
}

#[test]
fn stresses_that_cancel_are_refused() {
    assert_refused(
        &[("bending_mpa = 100", "bending_mpa = -400")],
        "small.toml: 1 fault
  line 39, roots.fork.hot_spots.pin.stress = { membrane_mpa = 400, bending_mpa = -400 }
    membrane_mpa and bending_mpa must add up to more than 0, not 0
    give the stress range at the surface as a positive number",
    );
}

#[test]
fn a_clock_that_stands_still_is_refused() {
    assert_refused(
        &[(r#"clock = "starts""#, "clock = { per_start = 0, per_hour = 0 }")],
        "small.toml: 1 fault
  line 22, initiation.fatigue.clock = { per_start = 0, per_hour = 0 }
    per_start and per_hour must not both be 0
    give the clock something to run on",
    );
}

#[test]
fn a_semi_elliptical_crack_without_a_section_is_refused() {
    assert_refused(
        &[("section = { thickness_mm = 20, width_mm = 80 }\n", "")],
        "small.toml: 1 fault
  line 34, roots.fork.hot_spots.pin.section
    a semi-elliptical crack needs the section it cuts through
    add section = { thickness_mm = ..., width_mm = ... }",
    );
}

#[test]
fn a_semi_elliptical_crack_without_an_aspect_is_refused() {
    assert_refused(
        &[("initial_aspect = 0.8\n", "")],
        "small.toml: 1 fault
  line 34, roots.fork.hot_spots.pin.initial_aspect
    is missing
    add initial_aspect: a number or distribution above 0 and at most 2",
    );
}

#[test]
fn an_aspect_of_a_fixed_shape_is_refused() {
    assert_refused(
        &[(
            r#"crack = { kind = "semi-elliptical" }"#,
            r#"crack = { kind = "fixed-factor", geometry_factor = 0.7, length_over_depth = 3 }"#,
        )],
        r#"small.toml: 1 fault
  line 43, roots.fork.hot_spots.pin.initial_aspect = 0.8
    a fixed-factor crack has its shape from length_over_depth
    remove initial_aspect, or choose kind = "semi-elliptical""#,
    );
}

#[test]
fn a_limit_beyond_the_section_is_refused() {
    assert_refused(
        &[("depth_mm = 8", "depth_mm = 20")],
        r#"small.toml: 1 fault
  line 44, roots.fork.hot_spots.pin.limit = { kind = "depth", depth_mm = 20 }
    depth_mm must be below the section's thickness (20)
    lower depth_mm, or correct the section"#,
    );
}

#[test]
fn a_limit_short_of_the_initial_depth_is_refused() {
    assert_refused(
        &[("depth_mm = 8", "depth_mm = 0.3")],
        r#"small.toml: 1 fault
  line 44, roots.fork.hot_spots.pin.limit = { kind = "depth", depth_mm = 0.3 }
    depth_mm must exceed the median initial depth (0.3)
    raise depth_mm, or lower the initial depth"#,
    );
}
