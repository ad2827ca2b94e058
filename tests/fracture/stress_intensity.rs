//! Stress intensities against equation tables, limits and an independent integration.
//!
//! The surface crack has a file of its own.

use crate::support::{off, rows};
use serrata::model::fracture::{
    CornerCrackGeometry, CrackPlace, CrackedSection, EdgeCrack, Point, StressField, StressProfile,
    SurfaceCrackGeometry, ThroughCrack, WeightFunction,
};
use serrata::model::growth::{LoadFactors, Site};
use serrata::model::residual_stress::{ResidualStress, TreatedFaces};

/// Equation of NASA TM-85793 from memory, its table computed by a separate program.
#[test]
fn corner_cracks_give_the_equation_table() {
    let table = rows(include_str!("data/nr_equation_corner_crack_tension.csv"));
    assert!(table.len() > 200);
    for row in table {
        let [aspect, depth_fraction, width_fraction, angle_deg, factor] = row[..] else { panic!("five columns") };
        // Depth fractions of zero stand for a plate without end.
        let thickness_mm = if depth_fraction > 0.0 { 1.0 / depth_fraction } else { 1e12 };
        let width_mm = if width_fraction > 0.0 { 1.0 / aspect / width_fraction } else { 1e12 };
        let crack = CornerCrackGeometry { depth_mm: 1.0, length_mm: 1.0 / aspect, thickness_mm, width_mm };
        let ours = crack.tension_factor(angle_deg.to_radians());
        // The table is rounded to 1e-6.
        assert!((ours - factor).abs() < 1.5e-6, "{row:?}: {ours}");
    }
}

/// Tada's polynomial and his form by tangents, both from memory. Each claims half a per cent, yet they differ by
/// 1.3 % at u = 0.05, so that ours, between them, can be held to 1 % of either.
#[test]
fn the_edge_crack_agrees_with_two_handbook_forms_and_its_limit() {
    for u in [0.0001, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6_f64] {
        let polynomial = 1.12 - 0.231 * u + 10.55 * u.powi(2) - 21.72 * u.powi(3) + 30.39 * u.powi(4);
        let (sin, cos) = (0.5 * std::f64::consts::PI * u).sin_cos();
        let root = (sin / cos / (0.5 * std::f64::consts::PI * u)).sqrt();
        let tangents = root * (0.752 + 2.02 * u + 0.37 * (1.0 - sin).powi(3)) / cos;
        let ours = EdgeCrack { depth_mm: u, thickness_mm: 1.0 }.tension_factor();
        for handbook in [polynomial, tangents] {
            assert!(off(ours, handbook) < 0.01, "u = {u}: {ours} against {handbook}");
        }
    }
    let shallow = EdgeCrack { depth_mm: 1e-6, thickness_mm: 1.0 };
    assert!(off(shallow.tension_factor(), 1.1215) < 1e-4);
    assert!(off(shallow.bending_factor(), 1.1215) < 1e-4);
}

#[test]
fn a_long_shallow_surface_crack_tends_to_the_edge_crack() {
    let long = SurfaceCrackGeometry { depth_mm: 0.1, half_length_mm: 1e3, thickness_mm: 1e4, half_width_mm: 1e6 };
    let edge = EdgeCrack { depth_mm: 0.1, thickness_mm: 1e4 }.stress_intensity_mpa_sqrt_m(100.0, 0.0);
    // The equation has 1.13 where the exact factor is 1.1215: 0.8 %.
    assert!(off(long.stress_intensity_mpa_sqrt_m(100.0, 0.0, Point::Deepest), edge) < 0.01);
}

/// Feddersen's secant, with the exact 1 in an endless plate.
#[test]
fn a_through_crack_rises_by_the_secant() {
    let factor = |half_length_mm| ThroughCrack { half_length_mm, half_width_mm: 50.0 }.tension_factor();
    assert!((factor(1e-6) - 1.0).abs() < 1e-9);
    assert!(off(factor(25.0), std::f64::consts::SQRT_2.sqrt()) < 1e-12);
}

/// The handed-over crack lies between what it was and the edge crack, and is the edge crack once it spans.
#[test]
fn a_crack_that_spans_its_serration_is_an_edge_crack() {
    let stress = StressField::Linear { membrane_mpa: 200.0, bending_mpa: 80.0 };
    let section = CrackedSection::new(20.0, 60.0, CrackPlace::Along, stress).expect("a section");
    let edge = EdgeCrack { depth_mm: 5.0, thickness_mm: 20.0 }.stress_intensity_mpa_sqrt_m(200.0, 80.0);
    let spanning = section.intensities(5.0, section.spanning_mm());
    assert!(off(spanning.deepest_mpa_sqrt_m, edge) < 1e-12);
    let mut before = 0.0;
    for part in [0.2, 0.4, 0.6, 0.8, 0.9, 0.99] {
        let deepest = section.intensities(5.0, part * section.spanning_mm()).deepest_mpa_sqrt_m;
        assert!(before < deepest && deepest <= edge * (1.0 + 1e-9), "{part}: {deepest}");
        before = deepest;
    }
}

/// A weight function must give back both solutions from which it is made, and a linear stress in between.
#[test]
fn weight_functions_give_back_tension_and_bending() {
    for (depth_mm, half_length_mm) in [(0.5, 0.5), (2.0, 5.0), (6.0, 7.0), (12.0, 15.0), (3.0, 30.0)] {
        let crack = SurfaceCrackGeometry { depth_mm, half_length_mm, thickness_mm: 20.0, half_width_mm: 100.0 };
        for point in [Point::Deepest, Point::Surface] {
            let weight = WeightFunction::surface_crack(&crack, point);
            for [membrane_mpa, bending_mpa] in [[100.0, 0.0], [0.0, 100.0], [70.0, -30.0]] {
                let profile = StressProfile::linear(membrane_mpa, bending_mpa, 20.0).expect("a profile");
                let ours = weight.stress_intensity_mpa_sqrt_m(&profile);
                let equation = crack.stress_intensity_mpa_sqrt_m(membrane_mpa, bending_mpa, point);
                assert!(
                    (ours - equation).abs() < 1e-9 * equation.abs().max(1.0),
                    "{crack:?} {point:?}: {ours}, {equation}"
                );
            }
        }
    }
}

/// The closed form of every ramp against a quadrature of the weight itself times the stress.
#[test]
fn a_steep_profile_integrates_as_a_quadrature_of_weight_times_stress() {
    let crack = SurfaceCrackGeometry { depth_mm: 3.0, half_length_mm: 5.0, thickness_mm: 20.0, half_width_mm: 100.0 };
    let points = vec![[0.0, 900.0], [0.3, 500.0], [1.0, 250.0], [4.0, 100.0], [20.0, 20.0]];
    let profile = StressProfile::new(points).expect("a profile");
    for point in [Point::Deepest, Point::Surface] {
        let weight = WeightFunction::surface_crack(&crack, point);
        // The weight is singular at one end: substitute x there by a square, then the midpoint rule.
        let n = 400_000;
        let mut sum = 0.0;
        for i in 0..n {
            let v = (f64::from(i) + 0.5) / f64::from(n);
            let u = v * v;
            let depth_mm = 3.0 * if point == Point::Deepest { 1.0 - u } else { u };
            sum += weight.at(depth_mm) * profile.at(depth_mm) * 2.0 * v / f64::from(n);
        }
        let quadrature = sum * 3e-3;
        let ours = weight.stress_intensity_mpa_sqrt_m(&profile);
        assert!(off(ours, quadrature) < 1e-6, "{point:?}: {ours} against {quadrature}");
    }
}

/// Residual stress of a layer balances in force, and in moment where the section is free to bow.
#[test]
fn a_layer_balances_and_shuts_only_the_crack_that_lies_in_it() {
    for faces in [TreatedFaces::One, TreatedFaces::Both] {
        let layer = ResidualStress::layer(600.0, 0.3, 20.0, faces).expect("a layer");
        let profile = layer.profile();
        let n = 2_000_000;
        let (mut force, mut moment, mut size) = (0.0, 0.0, 0.0);
        for i in 0..n {
            let x = 20.0 * (f64::from(i) + 0.5) / f64::from(n);
            let pull = profile.at(x) * 20.0 / f64::from(n);
            (force, moment, size) = (force + pull, moment + pull * (x - 10.0), size + pull.abs());
        }
        assert!(force.abs() < 1e-6 * size, "{faces:?}: {force} of {size}");
        assert!(moment.abs() < 1e-5 * size * 10.0, "{faces:?}: {moment}");
        let stress = StressField::Linear { membrane_mpa: 300.0, bending_mpa: 0.0 };
        let section = CrackedSection::new(20.0, 100.0, CrackPlace::Along, stress).expect("a section");
        let site = Site::new(section, 0.0, Some(layer), None).expect("a site");
        let highest = |depth_mm: f64| {
            let ([deepest, surface], _) = site.loads(depth_mm, 1.25 * depth_mm, LoadFactors::default());
            [deepest.start.highest(), surface.start.highest()]
        };
        assert!(highest(0.1).iter().all(|k| *k < 0.0), "{faces:?}: shut within the layer");
        let deep = highest(3.0);
        assert!(deep[0] > 0.0 && deep[0] > deep[1], "{faces:?}: open below, and more so at depth than at the mouth");
    }
}

/// Of an edge crack in a half plane under exp(-x/d), with the depth 1: K / (S sqrt(pi a)) by the singular integral equation
/// with the kernel of Gupta and Erdogan (1974), from memory, solved in Python with 400 Gauss-Chebyshev nodes; the same
/// program gives 1.12152 (by which it is scaled), 0.68286, 0.52549 and 0.44098 for 1, x, x^2 and x^3, as handbooks do.
const DECAYING: [(f64, f64); 6] =
    [(1.0, 0.641_512), (0.5, 0.406_079), (0.3, 0.254_328), (0.2, 0.167_899), (0.1, 0.082_650), (0.05, 0.041_269)];

#[test]
fn a_stress_that_decays_within_the_crack_comes_out_as_low_as_is_said() {
    // In per cent, as the documentation of weight functions and the key reference have it.
    let said = [[-0.2, 0.4], [-0.7, -0.2], [-1.7, -1.5], [-3.1, -3.0], [-5.7, -6.0], [-7.5, -7.9]];
    let edge = EdgeCrack { depth_mm: 1.0, thickness_mm: 1e4 };
    let flat = SurfaceCrackGeometry::new(1.0, 2e3, 1e4, 1e5).expect("a long shallow crack");
    let weights = [WeightFunction::edge_crack(&edge), WeightFunction::surface_crack(&flat, Point::Deepest)];
    for ((decay, exact), said) in DECAYING.into_iter().zip(said) {
        let points = (0..=4_000).map(|i| f64::from(i) * 2.5e-4).chain([2e4]);
        let points = points.map(|x| [x, 100.0 * f64::exp(-x / decay)]).collect();
        let stress = StressProfile::new(points).expect("a profile");
        for (weight, said) in weights.iter().zip(said) {
            let ours = weight.stress_intensity_mpa_sqrt_m(&stress) / (100.0 * (1e-3 * std::f64::consts::PI).sqrt());
            let off = 100.0 * (ours / exact - 1.0);
            assert!((off - said).abs() < 0.1, "d = {decay}: {off} % where {said} % is said");
        }
    }
}
