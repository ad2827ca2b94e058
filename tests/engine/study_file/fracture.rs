//! Refusals of what a crack cannot be: sections, profiles, thresholds, steels, neighbours.

use super::{REFERENCE, changed, message};
use serrata::Study;

#[track_caller]
fn assert_refused(from: &str, to: &str, expected: &str) {
    let text = changed(REFERENCE, &[(from, to)]);
    assert_eq!(message(Study::parse(&text, "reference.toml")), format!("reference.toml: 1 fault\n{expected}"));
}

#[test]
fn an_initial_depth_beyond_the_section_is_refused() {
    assert_refused(
        "initial_depth_mm = { kind = \"lognormal\", median = 0.4, sigma_log = 0.3 }",
        "initial_depth_mm = 22.5",
        "  line 168, roots.curved-tree.hot_spots.tang.initial_depth_mm = 22.5
    the median (22.5) must be below the section's thickness (22)
    lower the initial depth, or correct the section",
    );
}

#[test]
fn a_spacing_below_zero_is_refused() {
    assert_refused(
        "spacing_mm = 5",
        "spacing_mm = -5",
        "  line 148, roots.curved-tree.hot_spots.fillet.joining.spacing_mm = -5
    must exceed 0
    raise spacing_mm above 0",
    );
}

#[test]
fn a_yield_above_the_ultimate_stress_is_refused() {
    assert_refused(
        "yield_mpa = 650",
        "yield_mpa = 850",
        "  line 158, roots.curved-tree.hot_spots.fillet.limit.yield_mpa = 850
    yield_mpa = 850: must be below ultimate_mpa (800): no steel breaks before it yields
    lower yield_mpa below 800, or raise ultimate_mpa",
    );
}

#[test]
fn a_threshold_above_the_toughness_is_refused() {
    assert_refused(
        "range_mpa_sqrt_m = 3 }",
        "range_mpa_sqrt_m = 120 }",
        "  line 150, roots.curved-tree.hot_spots.fillet.growth = \"steel-in-wet-steam\"
    threshold_mpa_sqrt_m = 120: must be below toughness_mpa_sqrt_m (90.746): no crack could grow at all
    lower the threshold or raise the toughness; both are in MPa sqrt(m)",
    );
}

#[test]
fn a_load_ratio_of_one_is_refused() {
    assert_refused(
        "load_ratio = 0.05",
        "load_ratio = 1",
        "  line 152, roots.curved-tree.hot_spots.fillet.load_ratio = 1
    must be below 1
    lower load_ratio below 1",
    );
}

#[test]
fn a_stress_profile_that_goes_back_is_refused() {
    assert_refused(
        "[1, 450], [3, 330]",
        "[3, 450], [1, 330]",
        "  line 151, roots.curved-tree.hot_spots.fillet.stress.profile = [[0, 600], [3, 450], [1, 330], [22, 250]]
    points[3] = 1: must be deeper than the point before it (3 mm)
    give each depth once, in increasing order",
    );
}

#[test]
fn a_stress_profile_that_ends_within_the_section_is_refused() {
    assert_refused(
        "[22, 250]]",
        "[12, 250]]",
        "  line 151, roots.curved-tree.hot_spots.fillet.stress = { profile = [[0, 600], [1, 450], [3, 330], [12, 250]] }
    profile = down to 12 mm: must reach through the section, 22 mm
    add the stress at the far side",
    );
}

#[test]
fn a_first_stage_that_is_not_the_steeper_is_refused() {
    assert_refused(
        "exponent = 8.16",
        "exponent = 2",
        "  line 84, growth.steel-in-wet-steam.low_stage = { coefficient_m_per_start = 2.1e-17, exponent = 2 }
    low.exponent = 2: must exceed high.exponent (2.88): the line for small ranges is the steeper
    exchange the two lines, or use one",
    );
}

#[test]
fn an_overspeed_slower_than_running_speed_is_refused() {
    assert_refused(
        "speed_ratio = 1.1",
        "speed_ratio = 0.9",
        "  line 180, units.north.overspeed.speed_ratio = 0.9
    must be at least 1
    raise speed_ratio to 1 or more",
    );
}
