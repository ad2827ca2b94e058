//! Growth per start and per hour against published constants and worked examples.

use crate::support::{cells, off, rows};
use serrata::model::growth::{
    Cycle, Environment, GrowthLines, ParisLine, RatioClass, ScatterLine, StartRate, Threshold, TwoStage, bs7910,
};
use serrata::model::stress_corrosion::StressCorrosion;

/// Ranges in N/mm**1.5 at which the published stages meet: from memory, and all eight follow from the
/// constants, of which four are read in JCSS part 3.12. The published values are rounded to whole numbers.
#[test]
fn two_stage_laws_meet_where_they_are_published_to() {
    use Environment::{Air, Marine};
    use RatioClass::{BelowHalf, HalfAndAbove};
    let published = [
        (Air, BelowHalf, 363.0, 315.0),
        (Air, HalfAndAbove, 196.0, 144.0),
        (Marine, BelowHalf, 1336.0, 993.0),
        (Marine, HalfAndAbove, 1098.0, 748.0),
    ];
    for (environment, ratio, mean, above) in published {
        for (line, published) in [(ScatterLine::Mean, mean), (ScatterLine::TwoDeviationsAbove, above)] {
            let ours = bs7910(environment, ratio, line).transition_mpa_sqrt_m() / 0.031_622_776_6;
            // Constants have three figures, of which the stages' difference of exponents makes up to 0.4 %.
            assert!(off(ours, published) < 0.005, "{environment:?} {ratio:?} {line:?}: {ours} against {published}");
        }
    }
}

/// Rates in mm per start at 10 and 20 MPa sqrt(m), computed by a separate program from each row's constants.
#[test]
fn tabled_constants_give_the_tabled_rates() {
    let mut compared = 0;
    for row in cells(include_str!("data/growth_constants.csv")) {
        let number = |i: usize| row[i].parse::<f64>().ok();
        let (Some(exponent), Some(coefficient_m), Some(at_10), Some(at_20)) =
            (number(7), number(9), number(10), number(11))
        else {
            continue;
        };
        let line = GrowthLines::Paris(ParisLine::new(coefficient_m, exponent).expect("constants in range"));
        for (range, rate_mm) in [(10.0, at_10), (20.0, at_20)] {
            assert!(off(1e3 * line.rate_m_per_start(range), rate_mm) < 1e-6, "{row:?}");
        }
        compared += 1;
    }
    assert!(compared > 15, "{compared} rows");
}

#[test]
fn a_two_stage_law_is_the_lower_of_its_lines() {
    let two = bs7910(Environment::Air, RatioClass::BelowHalf, ScatterLine::Mean);
    let lines = GrowthLines::TwoStage(two);
    for range in [5.0, 8.0, 11.0, 12.0, 20.0, 60.0_f64] {
        let at = |line: ParisLine| line.coefficient_m_per_start() * range.powf(line.exponent());
        assert!(off(lines.rate_m_per_start(range), at(two.low()).min(at(two.high()))) < 1e-9, "{range}");
    }
    let [low, high] = [two.high(), two.low()];
    assert!(TwoStage::new(low, high).is_err(), "the steeper line comes first");
}

/// Thresholds of BS 7910 and of Barsom and Rolfe, both from memory, in MPa sqrt(m).
#[test]
fn thresholds_give_their_tables() {
    for (ratio, expected) in [(-0.5, 5.376), (0.0, 5.376), (0.1, 4.699), (0.5, 1.992), (0.8, 1.992)] {
        assert!((Threshold::SteelInAir.at_mpa_sqrt_m(ratio) - expected).abs() < 5e-4, "{ratio}");
    }
    for (ratio, expected) in [(0.0, 6.0), (0.1, 6.405), (0.5, 4.025), (0.8, 2.240)] {
        assert!((Threshold::BarsomRolfe.at_mpa_sqrt_m(ratio) - expected).abs() < 5e-4, "{ratio}");
    }
}

#[test]
fn nothing_grows_at_or_below_the_threshold() {
    let law =
        |threshold| StartRate::new(GrowthLines::Paris(ParisLine::new(1e-11, 3.0).expect("a line")), threshold, None);
    let law = law(Threshold::constant(5.0).expect("a threshold")).expect("a law");
    let at = |range| law.rate_m_per_start(&Cycle::from_range(range, 0.0).expect("a cycle"));
    assert_eq!(at(4.999), 0.0);
    assert!(off(at(5.001), 1e-11 * 5.001_f64.powi(3)) < 1e-9);
}

/// Example L7b: 1 in long centre crack, 5,000 starts of 5 to 15 ksi, C = 6.75e-10 in with ksi sqrt(in),
/// m = 3.89, Walker's (1 - R)**0.6 on the highest: 1.307765 in (problem read, answer computed).
#[test]
fn walkers_law_gives_the_worked_example() {
    const KSI_SQRT_IN: f64 = 1.098_843_5;
    let exponent = 3.89;
    let coefficient_m = 6.75e-10 * 0.0254 * KSI_SQRT_IN.powf(-exponent);
    let lines = GrowthLines::Paris(ParisLine::new(coefficient_m, exponent).expect("a line"));
    let law = StartRate::new(lines, Threshold::None, Some(0.6)).expect("a law");
    let rate_in = |half_in: f64| {
        let highest = 15.0 * KSI_SQRT_IN * (std::f64::consts::PI * half_in).sqrt();
        law.rate_m_per_start(&Cycle::new(highest, highest / 3.0).expect("a cycle")) / 0.0254
    };
    // Starts as they come, by the midpoint rule in steps of a tenth of a start.
    let mut half_in = 0.5;
    for _ in 0..50_000 {
        let middle = half_in + 0.05 * rate_in(half_in);
        half_in += 0.1 * rate_in(middle);
    }
    assert!(off(2.0 * half_in, 1.307_765) < 1e-5, "{}", 2.0 * half_in);
}

/// Clark, Seth and Shaffer (1981), from memory; the table computed by a separate program.
#[test]
fn stress_corrosion_of_rotor_steel_gives_its_table() {
    let table = rows(include_str!("data/scc_rotor_steel_rate.csv"));
    assert!(table.len() > 20);
    for row in table {
        let law = StressCorrosion::rotor_steel(20.0, row[0], row[1]).expect("within the table");
        assert!(off(law.plateau_m_per_hour() / 3600.0, row[3]) < 1e-6, "{row:?}: {law:?}");
        assert!(off(law.plateau_mm_per_year(), row[2]) < 1e-6, "{row:?}");
        assert_eq!(law.rate_m_per_hour(20.0), 0.0);
        assert_eq!(law.rate_m_per_hour(20.1), law.plateau_m_per_hour());
    }
}

#[test]
fn a_threshold_above_toughness_and_a_ratio_of_one_are_refused() {
    let lines = GrowthLines::Paris(ParisLine::new(1e-11, 3.0).expect("a line"));
    let law = StartRate::new(lines, Threshold::constant(90.0).expect("a threshold"), None).expect("a law");
    let message = law.check_toughness(80.0).expect_err("refused").to_string();
    assert!(message.contains("must be below toughness_mpa_sqrt_m (80)"), "{message}");
    let message = Cycle::from_range(10.0, 1.0).expect_err("refused").to_string();
    assert!(message.contains("ratio"), "{message}");
}
