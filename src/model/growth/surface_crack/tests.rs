//! The table against an independent adaptive integration and against a computed reference.

use super::*;
use crate::distribution::Distribution;
use crate::model::fracture::{Point, SurfaceCrackGeometry};
use crate::model::growth::law::GrowthLaw;
use crate::model::growth::refinements::Refinements;
use crate::model::growth::section::{Section, Stress, THROUGH_FRACTION};
use std::f64::consts::PI;

/// Parameters of a crack's growth.
#[derive(Debug, Clone, Copy)]
struct Case {
    coefficient_m_per_start: f64,
    exponent: f64,
    membrane_mpa: f64,
    bending_mpa: f64,
    thickness_mm: f64,
    half_width_mm: f64,
}

/// ln a, ln c (in mm) and the number of starts.
type State = [f64; 3];

impl Case {
    fn table(&self, initial_depth_mm: Distribution) -> SurfaceCrack {
        let law = GrowthLaw {
            id: String::new(),
            coefficient_m_per_start: self.coefficient_m_per_start,
            exponent: self.exponent,
            crack_sigma_log: 0.0,
            row_sigma_log: 0.0,
            refinements: Refinements::default(),
            basis: None,
        };
        SurfaceCrack::new(&law, self.stress(), Some(self.section()), &initial_depth_mm)
    }

    fn stress(&self) -> Stress {
        Stress { membrane_mpa: self.membrane_mpa, bending_mpa: self.bending_mpa }
    }

    fn section(&self) -> Section {
        Section { thickness_mm: self.thickness_mm, width_mm: 2.0 * self.half_width_mm }
    }

    fn intensities(&self, [ln_depth, ln_half_length, _]: State) -> [f64; 2] {
        let crack = SurfaceCrackGeometry {
            depth_mm: ln_depth.exp(),
            half_length_mm: ln_half_length.exp(),
            thickness_mm: self.thickness_mm,
            half_width_mm: self.half_width_mm,
        };
        let least_mpa = 1e-3 * (self.membrane_mpa + self.bending_mpa);
        [Point::Deepest, Point::Surface]
            .map(|point| crack.intensity_of(least_mpa, self.membrane_mpa, self.bending_mpa, point))
    }

    fn highest_intensity(&self, state: State) -> f64 {
        self.intensities(state).into_iter().fold(0.0, f64::max)
    }

    fn section_fraction(&self, state: State) -> f64 {
        PI * (state[0] + state[1]).exp() / (4.0 * self.thickness_mm * self.half_width_mm)
    }

    /// Positive where the table has ended.
    fn beyond_table(&self, state: State) -> f64 {
        f64::max(
            state[0] - (THROUGH_FRACTION * self.thickness_mm).ln(),
            state[1] - (END_LENGTH_FRACTION * self.half_width_mm).ln(),
        )
    }

    /// Change of the state by ln(a c).
    fn slope(&self, state: State) -> State {
        let [deepest, surface] = self.intensities(state);
        let relative = |intensity: f64, ln_mm: f64| {
            1e3 * self.coefficient_m_per_start * intensity.powf(self.exponent) / ln_mm.exp()
        };
        let (depth, length) = (relative(deepest, state[0]), relative(surface, state[1]));
        [depth / (depth + length), length / (depth + length), 1.0 / (depth + length)]
    }

    /// One step of Dormand and Prince (1980), order 5, and its estimated relative error.
    fn step(&self, from: State, h: f64) -> (State, f64) {
        const STAGES: [&[f64]; 7] = [
            &[],
            &[1.0 / 5.0],
            &[3.0 / 40.0, 9.0 / 40.0],
            &[44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0],
            &[19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
            &[9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
            &[35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
        ];
        const ERROR: [f64; 7] =
            [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339_200.0, 22.0 / 525.0, -1.0 / 40.0];
        let mut slopes = [[0.0; 3]; 7];
        let mut to = from;
        for (stage, factors) in STAGES.iter().enumerate() {
            to = from;
            for (factor, slope) in factors.iter().zip(&slopes) {
                (0..3).for_each(|i| to[i] += h * factor * slope[i]);
            }
            slopes[stage] = self.slope(to);
        }
        let error =
            |i: usize| ERROR.iter().zip(&slopes).map(|(factor, slope)| h * factor * slope[i]).sum::<f64>().abs();
        (to, error(0).max(error(1)).max(error(2) / to[2].max(f64::MIN_POSITIVE)))
    }

    /// Follows a crack to the first moment at which a measure of it is positive.
    fn follow(&self, depth_mm: f64, half_length_mm: f64, measure: impl Fn(State) -> f64) -> State {
        const TOLERANCE: f64 = 1e-10;
        let mut state = [depth_mm.ln(), half_length_mm.ln(), 0.0];
        let mut h = 0.01;
        while measure(state) < 0.0 {
            let (next, error) = self.step(state, h);
            let change = (0.9 * (TOLERANCE / error.max(1e-16)).powf(0.2)).clamp(0.2, 3.0);
            if error > TOLERANCE && h > 1e-6 {
                h *= change;
            } else if measure(next) < 0.0 {
                state = next;
                h = (h * change).min(0.1);
            } else {
                let (mut before, mut after) = (0.0, h);
                for _ in 0..50 {
                    let middle = 0.5 * (before + after);
                    if measure(self.step(state, middle).0) < 0.0 { before = middle } else { after = middle }
                }
                return self.step(state, after).0;
            }
        }
        state
    }
}

/// Depth and half length of a course after some starts, in mm.
fn size(path: &SurfaceCrack, course: Course, starts: f64) -> [f64; 2] {
    let (y, ln_length_over_depth) = path.size_at(course, starts * path.rate());
    let depth_mm = (-y.ln() * path.depth_power()).exp();
    [depth_mm, 0.5 * depth_mm * ln_length_over_depth.exp()]
}

/// Point i of a sequence that fills the four-dimensional unit cube evenly (powers of the root of x^5 = x + 1).
fn spread(i: usize) -> [f64; 4] {
    [0.856_674_883_854_502_9, 0.733_891_856_627_126, 0.628_706_721_037_808_7, 0.538_597_257_223_610_1]
        .map(|step| (0.5 + step * i as f64).fract())
}

/// Largest relative errors of the table.
#[derive(Debug, Default)]
struct Worst {
    cracks: usize,
    life: f64,
    cracks_to_intensity: usize,
    outside_a_thousandth: usize,
    life_to_intensity: f64,
    length: f64,
    depth: f64,
}

/// Compares lives to ends of all kinds and sizes on the way over cracks that fill the table's range.
fn compare(table_of: Case, truth: Case, cracks: usize, worst: &mut Worst) {
    let depths_mm = [0.05, 0.5 * truth.thickness_mm];
    let path = table_of.table(Distribution::Uniform { low: depths_mm[0], high: depths_mm[1] });
    for i in 0..cracks {
        let [u, v, w, kind] = spread(i);
        let depth_mm = depths_mm[0] * (depths_mm[1] / depths_mm[0]).powf(u);
        let half_length_mm = depth_mm / (0.1 * 20_f64.powf(v));
        if half_length_mm > 0.5 * truth.half_width_mm {
            continue; // longer than the equation allows
        }
        let course = path.course(depth_mm, depth_mm / half_length_mm);
        let start = [depth_mm.ln(), half_length_mm.ln(), 0.0];
        let last = truth.follow(depth_mm, half_length_mm, |state| truth.beyond_table(state));
        // Ends between a start grown by a fifth and the end of the table.
        let between = |from: f64, to: f64| 1.2 * from * (to / (1.2 * from)).powf(w);
        let measure: Box<dyn Fn(State) -> f64>;
        let end;
        if kind < 1.0 / 3.0 {
            let limit = between(depth_mm, last[0].exp());
            measure = Box::new(move |state| state[0] - limit.ln());
            end = CrackEnd::Depth(limit);
        } else if kind < 2.0 / 3.0 {
            let limit = between(truth.section_fraction(start), truth.section_fraction(last));
            measure = Box::new(move |state| truth.section_fraction(state) - limit);
            end = CrackEnd::SectionFraction(limit);
        } else {
            let limit = between(truth.highest_intensity(start), truth.highest_intensity(last));
            measure = Box::new(move |state| truth.highest_intensity(state) - limit);
            end = CrackEnd::Intensity(limit);
        }
        if measure(start) >= 0.0 {
            continue; // shorter than a fifth of growth: no life to compare
        }
        let met = truth.follow(depth_mm, half_length_mm, |state| measure(state).max(truth.beyond_table(state)));
        let life = path.advance_to(course, end) / path.rate();
        let life_error = (life / met[2] - 1.0).abs();
        if let CrackEnd::Intensity(_) = end {
            worst.cracks_to_intensity += 1;
            worst.outside_a_thousandth += usize::from(life_error > 1e-3);
            worst.life_to_intensity = worst.life_to_intensity.max(life_error);
        } else {
            worst.life = worst.life.max(life_error);
        }
        for fraction in [0.0, 0.2, 0.6, 0.9] {
            let starts = fraction * met[2];
            let there = truth.follow(depth_mm, half_length_mm, |state| state[2] - starts);
            let [depth, half_length] = size(&path, course, starts);
            worst.depth = worst.depth.max((depth / there[0].exp() - 1.0).abs());
            worst.length = worst.length.max((half_length / there[1].exp() - 1.0).abs());
        }
        worst.cracks += 1;
    }
}

const PLATES: [(f64, f64); 3] = [(20.0, 50.0), (8.0, 30.0), (40.0, 20.0)];
const STRESSES: [(f64, f64); 4] = [(300.0, 0.0), (150.0, 100.0), (50.0, 150.0), (0.0, 200.0)];

fn case(exponent: f64, (membrane_mpa, bending_mpa): (f64, f64), (thickness_mm, half_width_mm): (f64, f64)) -> Case {
    Case { coefficient_m_per_start: 1e-11, exponent, membrane_mpa, bending_mpa, thickness_mm, half_width_mm }
}

#[test]
fn lives_are_within_a_thousandth_and_lengths_within_five_of_an_accurate_integration() {
    let mut worst = Worst::default();
    for exponent in [1.3, 2.0, 2.25, 3.0, 4.0] {
        for stress in STRESSES {
            for plate in PLATES {
                let case = case(exponent, stress, plate);
                compare(case, case, 50, &mut worst);
            }
        }
    }
    assert!(worst.cracks > 2_000, "{worst:?}");
    assert!(worst.life < 1e-3 && worst.length < 5e-3 && worst.depth < 5e-3, "{worst:?}");
    // Where the stress intensity hardly changes, a small error of it is a large one of the life.
    assert!(worst.outside_a_thousandth * 100 <= worst.cracks_to_intensity, "{worst:?}");
    assert!(worst.life_to_intensity < 1e-2, "{worst:?}");
}

#[test]
fn a_slightly_wrong_law_is_outside_that() {
    let right = case(3.0, STRESSES[1], PLATES[0]);
    for wrong in [
        Case { exponent: 3.001, ..right },
        Case { bending_mpa: 101.0, ..right },
        Case { thickness_mm: 20.5, ..right },
        Case { half_width_mm: 45.0, ..right },
    ] {
        let mut worst = Worst::default();
        compare(wrong, right, 50, &mut worst);
        assert!(worst.life > 1e-3, "{wrong:?} {worst:?}");
    }
}

#[test] // Computed with another program (DOP853, relative tolerance 1e-11) from the same equations.
fn the_computed_growth_of_five_cracks_is_met() {
    let table = include_str!("../../../../tests/engine/data/coupled_growth_reference.csv");
    let rows: Vec<Vec<f64>> = table
        .lines()
        .filter(|line| line.starts_with('G'))
        .map(|line| line.split(',').skip(1).map(|cell| cell.parse().expect("a number")).collect())
        .collect();
    assert_eq!(rows.len(), 40);
    for row in rows {
        let (depth_mm, half_length_mm, end_mm) = (row[0], row[1], row[8]);
        let case = Case {
            coefficient_m_per_start: 1e-3 * row[6],
            exponent: row[7],
            membrane_mpa: row[4],
            bending_mpa: row[5],
            thickness_mm: row[2],
            half_width_mm: row[3],
        };
        let ours = case.follow(depth_mm, half_length_mm, |state| state[0] - end_mm.ln());
        assert!((ours[1].exp() / row[10] - 1.0).abs() < 1e-6, "half length by integration {row:?}");
        assert!((ours[2] / row[12] - 1.0).abs() < 1e-6, "starts by integration {row:?}");

        let path = case.table(Distribution::Fixed(depth_mm));
        let course = path.course(depth_mm, depth_mm / half_length_mm);
        let starts = path.advance_to(course, CrackEnd::Depth(end_mm)) / path.rate();
        assert!((starts / row[12] - 1.0).abs() < 1e-4, "starts by table {starts} {row:?}");
        let [depth, half_length] = size(&path, course, row[12]);
        assert!((depth / end_mm - 1.0).abs() < 5e-4, "depth by table {depth} {row:?}");
        assert!((half_length / row[10] - 1.0).abs() < 5e-4, "half length by table {half_length} {row:?}");
    }
}

#[test]
fn a_crack_begins_at_its_own_size() {
    let path = case(3.0, STRESSES[1], PLATES[0]).table(Distribution::Lognormal { median: 0.5, sigma_log: 0.3 });
    for i in 0..2_000 {
        let [u, v, ..] = spread(i);
        let (depth_mm, aspect) = (0.1 * 25_f64.powf(u), 0.1 * 20_f64.powf(v));
        let [depth, half_length] = size(&path, path.course(depth_mm, aspect), 0.0);
        assert!((depth / depth_mm - 1.0).abs() < 2e-5, "{depth_mm} {aspect} {depth}");
        assert!((half_length * aspect / depth_mm - 1.0).abs() < 4e-5, "{depth_mm} {aspect} {half_length}");
    }
}

#[test]
fn a_crack_outside_the_table_is_held_at_its_edge() {
    let path = case(3.0, STRESSES[0], PLATES[0]).table(Distribution::Fixed(0.5));
    assert_eq!(path.course(0.5, 5.0), path.course(0.5, 2.0));
    assert_eq!(path.course(0.5, 0.01), path.course(0.5, 0.1));
    assert_eq!(path.course(0.001, 1.0), path.course(0.5, 1.0));
    // A depth beyond half the thickness counts as half the thickness.
    let deep = case(3.0, STRESSES[0], PLATES[0]).table(Distribution::Fixed(19.0));
    let [depth_mm, _] = size(&deep, deep.course(19.0, 1.0), 0.0);
    assert!((depth_mm - 10.0).abs() < 1e-3, "{depth_mm}");
}

#[test]
fn an_end_that_is_met_already_leaves_no_life_and_one_beyond_the_table_ends_with_it() {
    let case = case(3.0, STRESSES[0], PLATES[0]);
    let path = case.table(Distribution::Fixed(2.0));
    let course = path.course(2.0, 1.0);
    for end in [CrackEnd::Depth(1.9), CrackEnd::Intensity(1.0), CrackEnd::SectionFraction(0.001)] {
        assert_eq!(path.advance_to(course, end), 0.0, "{end:?}");
    }
    let last = case.follow(2.0, 2.0, |state| case.beyond_table(state));
    for end in [CrackEnd::Depth(19.9), CrackEnd::Intensity(1e6), CrackEnd::SectionFraction(0.99)] {
        let starts = path.advance_to(course, end) / path.rate();
        assert!((starts / last[2] - 1.0).abs() < 1e-3, "{end:?} {starts} {last:?}");
        let [depth, _] = size(&path, course, 2.0 * starts);
        assert!(depth >= THROUGH_FRACTION * case.thickness_mm * 0.999, "stays at the end: {depth}");
    }
}

#[test]
fn the_first_time_counts_when_the_stress_intensity_rises_and_falls() {
    // Pure bending: K rises while the crack is small, falls as the far side closes it, and rises last.
    let case = case(3.0, STRESSES[3], PLATES[1]);
    let path = case.table(Distribution::Fixed(0.5));
    assert!(!path.intensity_rises);
    let half_length_mm = 5.0;
    let course = path.course(0.5, 0.5 / half_length_mm);
    let highest =
        |depth_mm: f64| case.highest_intensity(case.follow(0.5, half_length_mm, |state| state[0] - depth_mm.ln()));
    let peak = (0..60).map(|i| highest(0.5 + 0.05 * f64::from(i))).fold(0.0, f64::max);
    let limit = 0.99 * peak;
    let met = case.follow(0.5, half_length_mm, |state| case.highest_intensity(state) - limit);
    let starts = path.advance_to(course, CrackEnd::Intensity(limit)) / path.rate();
    assert!((starts / met[2] - 1.0).abs() < 2e-3, "{starts} {met:?}");
}

#[test]
fn what_outlasts_an_advance_meets_its_end_after_it() {
    let (mut outlasting, mut all) = (0, 0);
    for stress in STRESSES {
        let path = case(3.0, stress, PLATES[0]).table(Distribution::Fixed(0.5));
        for aspect in [0.2, 0.5, 1.0] {
            let course = path.course(0.5, aspect);
            for end in [CrackEnd::Depth(3.0), CrackEnd::Intensity(60.0), CrackEnd::SectionFraction(0.1)] {
                let life = path.advance_to(course, end);
                for part in [0.01, 0.3, 0.9, 0.999, 1.001, 1.1, 3.0] {
                    let outlasts = path.outlasts(course, end, part * life);
                    // Nothing is known where the stress intensity may have fallen back.
                    assert_eq!(outlasts, part < 1.0 && life > 0.0 && path.rises(end), "{end:?} {aspect} {part}");
                    (outlasting, all) = (outlasting + u32::from(outlasts), all + 1);
                }
                assert!(!path.outlasts(course, end, f64::INFINITY));
            }
        }
    }
    assert!(outlasting > all / 4, "{outlasting} of {all}");
}

#[test]
fn odd_hot_spots_give_no_panic() {
    let depth_mm = Distribution::Fixed(0.5);
    let law = |exponent| GrowthLaw {
        id: String::new(),
        coefficient_m_per_start: 1e-11,
        exponent,
        crack_sigma_log: 0.0,
        row_sigma_log: 0.0,
        refinements: Refinements::default(),
        basis: None,
    };
    for (thickness_mm, width_mm) in [(3.0, 300.0), (300.0, 3.0), (0.01, 0.01), (1e9, 1e9)] {
        for (membrane_mpa, bending_mpa) in [(300.0, -150.0), (-300.0, 0.0), (0.0, 0.0), (1e-9, 0.0)] {
            for exponent in [1.0, 3.0, 8.2] {
                let section = Section { thickness_mm, width_mm };
                let stress = Stress { membrane_mpa, bending_mpa };
                let path = SurfaceCrack::new(&law(exponent), stress, Some(section), &depth_mm);
                let course = path.course(0.5, 0.8);
                let life = path.advance_to(course, CrackEnd::Intensity(50.0));
                assert!(life >= 0.0, "{section:?} {stress:?} {life}");
                assert!(path.size_at(course, 0.5 * life).0 > 0.0, "{section:?} {stress:?}");
            }
        }
    }
    let stress = Stress { membrane_mpa: STRESSES[0].0, bending_mpa: STRESSES[0].1 };
    let path = SurfaceCrack::new(&law(3.0), stress, None, &depth_mm);
    let course = path.course(0.5, 0.8);
    assert!(path.size_at(course, 0.0).0.is_nan());
    assert!(path.advance_to(course, CrackEnd::Depth(2.0)) >= 0.0);
}
