//! Cracks that are followed one by one, in the engine: against the tables, and against themselves.

use crate::support::ByNumber;
use serrata::Study;
use serrata::simulation::{Comparison, Quantity, Run};

const SMALL: &str = include_str!("data/small.toml");
const LOOK: usize = 0;
const NONE: usize = 1;

/// The small study under two strategies, with some passages replaced and growth that loses blades.
fn study(edits: &[(&str, &str)]) -> Study {
    let base = [
        ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 4e-10"),
        (
            "after_loss = \"replace-row\"\nrow_end = { year = 2026, then = \"retired\" }\n",
            "after_loss = \"replace-blade\"\n",
        ),
    ];
    let text = base.iter().chain(edits).fold(SMALL.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from:?} is not there");
        text.replacen(from, to, 1)
    });
    Study::parse(&text, "small").unwrap_or_else(|error| panic!("{error}"))
}

fn lived(study: &Study, trials: u64) -> Comparison {
    study.simulate(&Run { trials, seed: 5, ..Run::default() }).expect("a run")
}

/// A threshold of zero changes no crack, but has each followed.
const FOLLOWED: (&str, &str) =
    ("row_sigma_log = 0\n", "row_sigma_log = 0\nthreshold = { kind = \"constant\", range_mpa_sqrt_m = 0 }\n");

#[test] // both hold the accuracy of the ways they share: 0.1 % in life, 0.5 % in length
fn followed_cracks_give_what_the_tables_give() {
    let (tabled, followed) = (lived(&study(&[]), 4_000), lived(&study(&[FOLLOWED]), 4_000));
    for strategy in [NONE, LOOK] {
        // The same draws: a life differs only where a moment falls on the other side of an outage or of the end.
        for quantity in [Quantity::Losses, Quantity::CracksFound, Quantity::BladesReplaced] {
            let [one, other] = [&tabled, &followed].map(|lived| lived.fleet_of(strategy, quantity).value);
            assert!((one - other).abs() <= 0.01 * one.max(0.05), "{quantity:?}: {one} against {other}");
        }
        for (one, other) in tabled.after_outages_of(0, strategy).iter().zip(&followed.after_outages_of(0, strategy)) {
            let [one_mm, other_mm] = [one, other].map(|after| after.mean_length_mm.map_or(0.0, |mean| mean.value));
            assert!((one_mm / other_mm - 1.0).abs() < 0.005, "{one_mm} mm against {other_mm} mm");
        }
    }
    assert!(tabled.fleet_of(NONE, Quantity::Losses).value > 0.05, "losses are compared");
}

#[test]
fn a_threshold_keeps_cracks_at_rest() {
    let high = (FOLLOWED.0, "row_sigma_log = 0\nthreshold = { kind = \"constant\", range_mpa_sqrt_m = 900 }\n");
    let comparison = lived(&study(&[high]), 1_000);
    assert_eq!(comparison.fleet_of(NONE, Quantity::Losses).value, 0.0);
    let after = comparison.after_outages_of(0, NONE);
    let mean_mm = after[2].mean_length_mm.expect("cracks").value;
    // They keep their initial depth: median 0.3 mm, sigma 0.3, mean 0.3138 mm, and length 2 a / 0.8.
    let expected = 0.3 * f64::exp(0.045) * 2.0 / 0.8;
    let spread = expected * (f64::exp(0.09) - 1.0).sqrt() / (after[2].cracks.value * 1_000.0).sqrt();
    assert!((mean_mm - expected).abs() < 5.0 * spread, "{mean_mm} against {expected}, {spread} either way");
}

#[test]
fn a_layer_of_zero_compression_changes_no_bit() {
    let with = study(&[(
        "initiation_life_factor = 1\n",
        "initiation_life_factor = 1\nlayer = { compression_mpa = 0, depth_mm = 0.2, faces = \"both\" }\n",
    )]);
    let (plain, with) = (lived(&study(&[]), 600), lived(&with, 600));
    for name in serrata::simulation::TABLES {
        let [one, other] = [&plain, &with].map(|lived| format!("{:?}", lived.table(name)));
        assert_eq!(one, other, "{name}");
    }
}

#[test]
fn a_compressive_layer_slows_cracks_and_hides_them() {
    let layer = "initiation_life_factor = 1\nlayer = { compression_mpa = 500, depth_mm = 0.4, faces = \"both\" }\n";
    let hidden = "grade_shift_log = 0\nclosed_mouth_factor = 0.1\n";
    let surface = ("initiation_life_factor = 1\n", layer);
    let bare = lived(&study(&[]), 2_000);
    let layered = lived(&study(&[surface]), 2_000);
    let closed = lived(&study(&[surface, ("grade_shift_log = 0\n", hidden)]), 2_000);
    let value = |lived: &Comparison, strategy, quantity| lived.fleet_of(strategy, quantity).value;
    assert!(value(&layered, NONE, Quantity::Losses) < 0.9 * value(&bare, NONE, Quantity::Losses));
    assert!(value(&closed, LOOK, Quantity::CracksFound) < value(&layered, LOOK, Quantity::CracksFound));
}

#[test]
fn origins_far_apart_never_join_and_near_ones_make_long_cracks() {
    // Room for origins that are far apart.
    let wide = ("width_mm = 80", "width_mm = 100000");
    let joining = |spacing: &str| {
        let joined = format!(
            "sides = [\"suction\", \"pressure\"]\norigins = 6\njoining = {{ rule = \"bs7910-2013\", spacing_mm = {spacing}, \
             placement = \"even\" }}\n"
        );
        study(&[
            ("sides = [\"suction\", \"pressure\"]\n", joined.as_str()),
            wide,
            ("scale = 20000", "scale = 6000"),
            ("4e-10", "8e-11"),
        ])
    };
    let alone = study(&[
        ("sides = [\"suction\", \"pressure\"]\n", "sides = [\"suction\", \"pressure\"]\norigins = 6\n"),
        wide,
        ("scale = 20000", "scale = 6000"),
        ("4e-10", "8e-11"),
        FOLLOWED,
    ]);
    let (alone, far, near) = (lived(&alone, 400), lived(&joining("10000"), 400), lived(&joining("1.5"), 400));
    for name in serrata::simulation::TABLES {
        assert_eq!(format!("{:?}", alone.table(name)), format!("{:?}", far.table(name)), "{name}");
    }
    let after = |lived: &Comparison| lived.after_outages_of(0, NONE)[2].clone();
    let (far, near) = (after(&far), after(&near));
    assert!(near.cracks.value < far.cracks.value, "joined cracks are fewer");
    let longest = |after: &serrata::simulation::AfterOutageEstimate| after.longest_mm[1];
    assert!(longest(&near) > longest(&far), "and longer: {} against {}", longest(&near), longest(&far));
}

#[test]
fn stress_corrosion_runs_on_hours_alone() {
    let corrosion = (
        FOLLOWED.0,
        "row_sigma_log = 0\nthreshold = { kind = \"constant\", range_mpa_sqrt_m = 900 }\nstress_corrosion = { \
         threshold_mpa_sqrt_m = 0, plateau = { kind = \"stated\", mm_per_year = 0.5 }, crack_sigma_log = 0 }\n",
    );
    let hours = ("hours_per_year = 4000", "hours_per_year = 8000");
    let slow = lived(&study(&[corrosion]), 800);
    let fast = lived(&study(&[corrosion, hours]), 800);
    let mean = |lived: &Comparison| lived.after_outages_of(0, NONE)[2].mean_length_mm.expect("cracks").value;
    // Initial cracks are 0.78 mm long on average; what is above that grows in proportion to the hours.
    let (slow, fast) = (mean(&slow) - 0.785, mean(&fast) - 0.785);
    assert!((fast / slow - 2.0).abs() < 0.2, "{fast} mm against {slow} mm");
}
