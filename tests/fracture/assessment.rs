//! End of life: diagrams, reference stress and plasticity interaction.

use crate::support::{off, rows};
use serrata::model::fracture::{
    AssessmentDiagram, Restraint, SurfaceCrackGeometry, plasticity_interaction, reference_stress_mpa,
};

/// Curves from memory; the table computed by a separate program to 1e-6 and read without its cut-off.
#[test]
fn three_diagrams_give_their_tables() {
    let diagrams = [
        AssessmentDiagram::level_2a(650.0, 800.0),
        AssessmentDiagram::option_1(206_000.0, 650.0, 800.0),
        AssessmentDiagram::option_1(207_000.0, 300.0, 450.0),
    ]
    .map(|diagram| diagram.expect("a diagram"));
    let table = rows(include_str!("data/fad_curves.csv"));
    assert!(table.len() >= 8);
    for row in table {
        let lr = row[0];
        for (diagram, expected) in diagrams.iter().zip(&row[1..4]) {
            let kr = if lr <= diagram.cut_off() { *expected } else { 0.0 };
            assert!((diagram.highest_kr(lr) - kr).abs() < 1e-5, "{diagram:?} at {lr}: {}", diagram.highest_kr(lr));
            // On the curve itself nothing lies outside.
            if lr <= diagram.cut_off() {
                assert!(diagram.excess(lr, *expected).abs() < 1e-5);
            }
        }
    }
    assert!((diagrams[1].cut_off() - 1.115_385).abs() < 1e-6 && (diagrams[2].cut_off() - 1.25).abs() < 1e-12);
}

/// sqrt(1 - 0.14 Lr**2) in place of 1 - 0.14 Lr**2 circulates.
#[test]
fn the_false_form_of_level_2a_is_not_ours() {
    let diagram = AssessmentDiagram::level_2a(650.0, 800.0).expect("a diagram");
    let lr: f64 = 0.8;
    let false_form = (1.0 - 0.14 * lr * lr).sqrt() * (0.3 + 0.7 * (-0.65 * lr.powi(6)).exp());
    assert!((diagram.highest_kr(lr) - false_form).abs() > 0.03);
}

/// BS 7910 annex P from memory, computed by a separate program.
#[test]
fn reference_stresses_give_the_computed_values() {
    let crack = |width_mm: f64| SurfaceCrackGeometry {
        depth_mm: 3.0,
        half_length_mm: 7.5,
        thickness_mm: 15.0,
        half_width_mm: 0.5 * width_mm,
    };
    for (width_mm, bending_mpa, normal, free) in [
        (100.0, 0.0, 214.285_71, 230.137_79),
        (100.0, 50.0, 234.270_81, 251.474_25),
        (30.0, 0.0, 222.222_22, 248.281_11),
    ] {
        for (restraint, expected) in [(Restraint::Normal, normal), (Restraint::NegligibleBending, free)] {
            let ours = reference_stress_mpa(&crack(width_mm), 200.0, bending_mpa, restraint);
            assert!((ours - expected).abs() < 1e-4, "{width_mm} {bending_mpa} {restraint:?}: {ours}");
        }
    }
}

/// The polynomial read in the JCSS Probabilistic Model Code, worked out here by hand at x = 1 and x = 2.
#[test]
fn plasticity_interaction_follows_its_polynomial_and_fades_towards_collapse() {
    // x = Kres Lr / Kload.
    let at_one = 0.1 - 0.007 + 3e-5;
    assert!(off(plasticity_interaction(20.0, 10.0, 0.5), at_one) < 1e-12);
    let at_two = 0.1 * 2_f64.powf(0.714) - 0.028 + 9.6e-4;
    assert!(off(plasticity_interaction(40.0, 10.0, 0.5), at_two) < 1e-12);
    // Beyond Lr = 0.8 four times (1.05 - Lr) of it; here x = 1 again.
    assert!(off(plasticity_interaction(10.0 / 0.9, 10.0, 0.9), 4.0 * at_one * 0.15) < 1e-9);
    assert_eq!(plasticity_interaction(20.0, 10.0, 1.05), 0.0);
    assert_eq!(plasticity_interaction(-20.0, 10.0, 0.5), 0.0);
    assert!((plasticity_interaction(100.0, 10.0, 0.52) - 0.25).abs() < 0.005, "no step at x = 5.2");
}

#[test]
fn yield_above_ultimate_is_refused() {
    let message = AssessmentDiagram::option_1(206_000.0, 800.0, 650.0).expect_err("refused").to_string();
    assert!(message.contains("yield_mpa") && message.contains("must be below ultimate_mpa (650)"), "{message}");
}
