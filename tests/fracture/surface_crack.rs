//! The surface crack's equation against its table, finite elements and false forms.

use crate::support::rows;
use serrata::model::fracture::{CrackPlace, CrackedSection, Point, StressField, SurfaceCrackGeometry};
use serrata::model::growth::{Following, LossRule, Outcome, RateLaw, Seed, Site, StartRate, Trajectory};
use serrata::model::usage::DutyPeriod;
use std::f64::consts::{FRAC_PI_2, PI};

/// A crack by its ratios a/c, a/t and c/b, in a plate of thickness 1.
fn crack(a_over_c: f64, a_over_t: f64, c_over_b: f64) -> SurfaceCrackGeometry {
    // a/t = 0 and c/b = 0 are limits; 1e-12 is closer to them than any tolerance here.
    let (depth_mm, c_over_b) = (f64::max(a_over_t, 1e-12), f64::max(c_over_b, 1e-12));
    let half_length_mm = depth_mm / a_over_c;
    SurfaceCrackGeometry { depth_mm, half_length_mm, thickness_mm: 1.0, half_width_mm: half_length_mm / c_over_b }
}

#[test] // Table computed with another implementation of the same equation, printed to 6 decimals.
fn factors_agree_with_the_tabulated_equation() {
    let table = rows(include_str!("data/nr_equation_surface_crack.csv"));
    assert_eq!(table.len(), 480);
    for row in table {
        let factors = crack(row[0], row[1], row[2]).shape_factors(row[3].to_radians());
        let bending = factors.tension * factors.bending_over_tension;
        let root = factors.ellipse.sqrt();
        let ours = [
            factors.ellipse,
            factors.tension,
            factors.bending_over_tension,
            bending,
            factors.tension / root,
            bending / root,
        ];
        for (value, printed) in ours.iter().zip(&row[4..]) {
            assert!((value - printed).abs() < 1e-6, "{value} against {printed} in {row:?}");
        }
    }
}

/// Computed with another implementation; the tension coefficients were read in the JCSS Probabilistic Model Code, part
/// 3.12, annex A; those of H are from memory.
#[test]
fn factors_take_the_expected_values() {
    for (a_over_c, a_over_t, degrees, tension, bending_over_tension) in [
        (1.0, 0.0, 90.0, 1.040000, 1.0),
        (1.0, 0.0, 0.0, 1.144000, 1.0),
        (0.4, 0.4, 90.0, 1.233354, 0.515325),
        (0.4, 0.4, 0.0, 0.901728, 0.846400),
        (0.2, 0.6, 90.0, 1.639498, 0.353685),
        (0.2, 0.6, 0.0, 0.898910, 0.782800),
        (2.0, 0.4, 90.0, 0.511290, 0.337421),
        (2.0, 0.4, 0.0, 0.815626, 0.884451),
    ] {
        let factors = crack(a_over_c, a_over_t, 0.0).shape_factors(f64::to_radians(degrees));
        assert!((factors.tension - tension).abs() < 1e-6, "F {a_over_c} {a_over_t} {degrees}");
        assert!((factors.bending_over_tension - bending_over_tension).abs() < 1e-6, "H {a_over_c} {a_over_t}");
    }
    let crack = SurfaceCrackGeometry { depth_mm: 3.0, half_length_mm: 7.5, thickness_mm: 15.0, half_width_mm: 50.0 };
    assert!((crack.stress_intensity_mpa_sqrt_m(200.0, 50.0, Point::Deepest) - 22.74631).abs() < 1e-5);
    assert!((crack.stress_intensity_mpa_sqrt_m(200.0, 50.0, Point::Surface) - 16.60330).abs() < 1e-5);
}

/// Largest distance of a form of F from the finite-element end points, relative.
///
/// The finite-element table is that of Raju and Newman, Engineering Fracture Mechanics 11
/// (1979) 817-829, from memory; 5 % is the accuracy the authors claim, from memory too.
fn worst_against_finite_elements(form: impl Fn(SurfaceCrackGeometry, f64) -> f64) -> f64 {
    let table = rows(include_str!("data/nr1979_fe_tension_endpoints.csv"));
    assert_eq!(table.len(), 40);
    let off = |row: &Vec<f64>| (form(crack(row[0], row[1], 0.0), row[2] * FRAC_PI_2) / row[3] - 1.0).abs();
    table.iter().map(off).fold(0.0, f64::max)
}

#[test]
fn tension_is_within_5_percent_of_finite_elements_at_both_points() {
    let worst = worst_against_finite_elements(|crack, angle| crack.shape_factors(angle).tension);
    assert!(worst < 0.05, "{worst}");
}

#[test]
fn misprinted_forms_are_outside_the_5_percent() {
    // g with (a/c)**2 where (a/t)**2 belongs, as it is misprinted here and there.
    let wrong_g = |crack: SurfaceCrackGeometry, angle: f64| {
        let squares = |ratio: f64| 1.0 + (0.1 + 0.35 * ratio * ratio) * (1.0 - angle.sin()).powi(2);
        let (right, wrong) = (crack.depth_mm / crack.thickness_mm, crack.depth_mm / crack.half_length_mm);
        crack.shape_factors(angle).tension / squares(right) * squares(wrong)
    };
    assert!(worst_against_finite_elements(wrong_g) > 0.05);
    // sqrt(c/a) where sqrt(a/c) belongs at the surface point of a shallow crack.
    let wrong_angle = |crack: SurfaceCrackGeometry, angle: f64| {
        let aspect = crack.depth_mm / crack.half_length_mm;
        let at_surface = angle == 0.0 && aspect <= 1.0;
        crack.shape_factors(angle).tension / if at_surface { aspect } else { 1.0 }
    };
    assert!(worst_against_finite_elements(wrong_angle) > 0.05);
    // f_phi to the power 4 instead of 1/4, at the surface of a shallow crack: r**8 for r**(1/2).
    let wrong_power = |crack: SurfaceCrackGeometry, angle: f64| {
        let aspect = (crack.depth_mm / crack.half_length_mm).min(1.0);
        crack.shape_factors(angle).tension * if angle == 0.0 { aspect.powf(7.5) } else { 1.0 }
    };
    assert!(worst_against_finite_elements(wrong_power) > 0.05);
}

/// Largest distance from the open finite-element rows after one common scale, relative.
///
/// The 20 stress intensities were read in the notebook of the open SIFBench data set (Gautam
/// and others, 2025). Plate size and stress are not printed there, so that only their ratios
/// can be compared: K is proportional to F sqrt(a/t / Q).
fn worst_against_open_rows(width_scale: f64) -> f64 {
    let table = rows(include_str!("data/open_fe_benchmark_surface_rows.csv"));
    assert_eq!(table.len(), 20);
    let ratio = |row: &Vec<f64>| {
        let factors = crack(row[0], row[1], row[2] * width_scale).shape_factors(row[3]);
        row[4] / (factors.tension * (PI * row[1] / factors.ellipse).sqrt())
    };
    let ratios: Vec<f64> = table.iter().map(ratio).collect();
    let lowest = ratios.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = ratios.iter().copied().fold(0.0, f64::max);
    (highest - lowest) / (highest + lowest) // the best common scale lies half way
}

#[test]
fn tension_is_within_2_5_percent_of_the_open_finite_element_rows() {
    assert!(worst_against_open_rows(1.0) < 0.025, "{}", worst_against_open_rows(1.0));
    // The data set calls b the width of the plate; taken at its word, half that is the half width.
    assert!(worst_against_open_rows(2.0) > 0.025, "b as the whole width must not fit");
}

/// Q stands for the square of the complete elliptic integral of the second kind, here by quadrature; the reference page
/// computed a distance of 0.138 %.
#[test]
fn the_ellipse_is_within_0_14_percent_of_the_elliptic_integral() {
    const STEPS: usize = 2_000;
    let worst = (0..=100).map(|i| f64::from(i) / 100.0).map(|aspect: f64| {
        let integrand = |i: usize| {
            let sin = (FRAC_PI_2 * (i as f64 + 0.5) / STEPS as f64).sin();
            (1.0 - (1.0 - aspect * aspect) * sin * sin).sqrt()
        };
        let integral = FRAC_PI_2 / STEPS as f64 * (0..STEPS).map(integrand).sum::<f64>();
        (crack(aspect.max(1e-9), 0.0, 0.0).shape_factors(0.0).ellipse / (integral * integral) - 1.0).abs()
    });
    let worst = worst.fold(0.0, f64::max);
    assert!(0.0013 < worst && worst < 0.0014, "{worst}");
}

#[test] // Published jump of the equation, computed with another implementation: 1.1e-3 and 1.4e-3 at a/t = 0.6.
fn the_branches_nearly_join() {
    for (angle, jump) in [(FRAC_PI_2, 1.1e-3), (0.0, 1.4e-3)] {
        let below = crack(1.0, 0.6, 0.0).shape_factors(angle).tension;
        let above = crack(1.0 + 1e-9, 0.6, 0.0).shape_factors(angle).tension;
        assert!(((above - below).abs() - jump).abs() < 5e-5, "{below} {above}");
    }
}

/// Depth over half length at two depths, of a crack that began at a twentieth of the thickness.
fn aspects_on_the_way(aspect: f64, membrane_mpa: f64, bending_mpa: f64) -> [f64; 2] {
    let stress = StressField::Linear { membrane_mpa, bending_mpa };
    let section = CrackedSection::new(20.0, 400.0, CrackPlace::Along, stress).expect("a section");
    let site = Site::new(section, 0.0, None, None).expect("a site");
    let law =
        RateLaw { per_start: StartRate::paris(1e-11, 3.0).expect("a law"), stress_corrosion: None, vibration: None };
    let duty = [DutyPeriod { from_year: 0.0, starts_per_year: 100.0, hours_per_year: 0.0 }];
    [0.4, 0.8].map(|depth_fraction| {
        let mut way = Trajectory::new();
        let (seed, rule) = (Seed::new(0.0, 1.0, 1.0 / aspect), LossRule::Depth(20.0 * depth_fraction));
        Following::new(&site, law.clone()).expect("a law for the site").follow(
            &seed,
            &duty,
            f64::INFINITY,
            &rule,
            &mut way,
        );
        let Outcome::Lost { year, .. } = way.outcome() else { panic!("it grows to any depth") };
        let [depth_mm, half_length_mm] = way.size_at_mm(year);
        depth_mm / half_length_mm
    })
}

/// Computed for the reference page (section 5), by another program: under tension and with m = 3 cracks of any aspect
/// tend to 0.80 to 0.86 by a/t = 0.4, and to 0.77 to 0.78 at 0.8; with two thirds of bending to 0.66 and 0.40.
#[test]
fn cracks_of_any_aspect_tend_to_one_way() {
    for aspect in [0.2, 0.5, 1.0] {
        let [early, late] = aspects_on_the_way(aspect, 150.0, 0.0);
        assert!((0.795..0.865).contains(&early) && (0.765..0.785).contains(&late), "{aspect}: {early} {late}");
    }
    let [early, late] = aspects_on_the_way(0.5, 50.0, 100.0);
    assert!((0.655..0.665).contains(&early) && (0.395..0.405).contains(&late), "{early} {late}");
}
