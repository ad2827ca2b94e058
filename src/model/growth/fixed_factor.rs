//! A crack of fixed shape and geometry factor, in closed form.

use super::course::CrackEnd;
use super::law::GrowthLaw;
use super::section::{Section, THROUGH_FRACTION};
use crate::math::{LANES, exp, ln};

/// Paris' law with a fixed geometry factor, integrated in closed form.
///
/// With p = m/2 - 1 and y = a**(-p), `y(n) = y0 - n p C (Y S sqrt(pi))**m`, a straight line; for
/// m = 2 the logarithm of the depth is the straight line. Depths here are in mm.
///
/// Where the section is given, a crack meets its end at the latest when it is 95 % through the thickness, as cracks of
/// free shape do, or as long as the section is wide: the fixed shape has no place there any more.
#[derive(Debug, Clone, PartialEq)]
pub struct FixedFactor {
    /// m/2 - 1, or zero for m = 2.
    p: f64,
    pub(super) depth_power: f64,
    /// Change of the coordinate per start, downwards.
    pub(super) rate: f64,
    pub(super) ln_length_over_depth: f64,
    /// Y S sqrt(pi): K in MPa sqrt(m) is this times sqrt(a in m).
    intensity: f64,
    /// Section area over the cracked area of a crack 1 mm deep; not-a-number without a section.
    section_over_unit_crack: f64,
    /// Depth at which the section ends every crack; infinite without a section.
    deepest_mm: f64,
}

impl FixedFactor {
    /// Works out the line.
    pub fn new(
        law: &GrowthLaw,
        geometry_factor: f64,
        stress_mpa: f64,
        length_over_depth: f64,
        section: Option<Section>,
    ) -> Self {
        let p = 0.5 * law.exponent - 1.0;
        let p = if p.abs() < 1e-9 { 0.0 } else { p };
        let intensity = geometry_factor * stress_mpa * std::f64::consts::PI.sqrt();
        // da/dN in m = C (Y S sqrt(pi a))**m; the factor turns metres into mm in y = a**(-p).
        let per_start = law.coefficient_m_per_start * intensity.powf(law.exponent);
        let rate = if p == 0.0 { per_start } else { p * per_start * 1e-3_f64.powf(p) };
        let section_mm2 = section.map_or(f64::NAN, |section| section.thickness_mm * section.width_mm);
        let deepest_mm = section.map_or(f64::INFINITY, |section| {
            (THROUGH_FRACTION * section.thickness_mm).min(section.width_mm / length_over_depth)
        });
        FixedFactor {
            p,
            depth_power: if p == 0.0 { 1.0 } else { 1.0 / p },
            rate,
            ln_length_over_depth: length_over_depth.ln(),
            intensity,
            section_over_unit_crack: section_mm2 / (std::f64::consts::FRAC_PI_4 * length_over_depth),
            deepest_mm,
        }
    }

    /// `a**(-p)`, or `-ln a` for m = 2.
    #[inline(always)]
    pub(super) fn coordinate(&self, depth_mm: f64) -> f64 {
        if self.p == 0.0 {
            -ln(depth_mm)
        } else if self.p == 0.5 {
            1.0 / depth_mm.sqrt()
        } else {
            exp(-self.p * ln(depth_mm))
        }
    }

    /// Turns depths in mm into coordinates.
    pub fn coordinate_each(&self, depths_mm: &mut [f64]) {
        depths_mm.iter_mut().for_each(|depth| *depth = self.coordinate(*depth));
    }

    #[inline]
    pub(super) fn advance_to(&self, start: f64, end: CrackEnd) -> f64 {
        self.advance_between(start, self.end_coordinate(end))
    }

    /// The coordinate at which a crack meets its end.
    pub fn end_coordinate(&self, end: CrackEnd) -> f64 {
        let depth_mm = match end {
            CrackEnd::Depth(depth_mm) => depth_mm,
            CrackEnd::Intensity(toughness) => 1e3 * (toughness / self.intensity).powi(2),
            CrackEnd::SectionFraction(fraction) => (fraction * self.section_over_unit_crack).sqrt(),
        };
        // Not-a-number stays that.
        self.coordinate(if depth_mm > self.deepest_mm { self.deepest_mm } else { depth_mm })
    }

    /// Advance from one coordinate to another; zero where the other is passed already.
    #[inline(always)]
    pub fn advance_between(&self, start: f64, end: f64) -> f64 {
        // For m < 2 the coordinate rises with depth and the rate is negative.
        let advance = if self.rate < 0.0 { end - start } else { start - end };
        advance.max(0.0)
    }

    #[inline(always)]
    pub(super) fn sizes_at(
        &self,
        start: f64,
        rate: f64,
        born: f64,
        starts: &[f64],
        y: &mut [f64],
        ln_ratio: &mut [f64],
    ) {
        let signed = if self.rate < 0.0 { -rate } else { rate };
        let ((y, y_rest), (starts, starts_rest)) = (y.as_chunks_mut::<LANES>(), starts.as_chunks::<LANES>());
        for (y, starts) in y.iter_mut().zip(starts) {
            *y = starts.map(|starts| start - signed * (starts - born));
        }
        for (y, starts) in y_rest.iter_mut().zip(starts_rest) {
            *y = start - signed * (starts - born);
        }
        if self.p == 0.0 {
            y.as_flattened_mut().iter_mut().chain(y_rest).for_each(|y| *y = exp(*y));
        }
        let (ratios, rest) = ln_ratio.as_chunks_mut::<LANES>();
        ratios.fill([self.ln_length_over_depth; LANES]);
        rest.fill(self.ln_length_over_depth);
    }

    #[inline(always)]
    pub(super) fn y_at(&self, start: f64, advance: f64) -> f64 {
        let coordinate = start - if self.rate < 0.0 { -advance } else { advance };
        if self.p == 0.0 { exp(coordinate) } else { coordinate }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Course, GrowthPath, Refinements};
    use super::*;

    fn law(coefficient_m_per_start: f64, exponent: f64) -> GrowthLaw {
        GrowthLaw {
            id: String::new(),
            coefficient_m_per_start,
            exponent,
            crack_sigma_log: 0.0,
            row_sigma_log: 0.0,
            refinements: Refinements::default(),
            basis: None,
        }
    }

    fn starts(path: &GrowthPath, course: Course, end: CrackEnd) -> f64 {
        path.advance_to(course, end) / path.rate()
    }

    fn depth_mm(path: &GrowthPath, course: Course, starts: f64) -> f64 {
        let (y, _) = path.size_at(course, starts * path.rate());
        (-y.ln() * path.depth_power()).exp()
    }

    /// One row of the published and computed lives: C, m, Y, stress range, depths, and the life.
    struct Example {
        id: String,
        law: GrowthLaw,
        geometry_factor: f64,
        stress_mpa: f64,
        from_mm: f64,
        to_mm: f64,
        starts: f64,
    }

    /// L1: a textbook problem, from memory. L2, L3, L6: constants from textbooks, from memory.
    /// L4, L5: invented. L7: a problem read in open lecture notes. All lives were computed with
    /// another program and checked by quadrature. (L7b needs Walker's correction: `tests/fracture/growth_law.rs`.)
    fn examples() -> Vec<Example> {
        // 1 ksi = 6.894757293168361 MPa and 1 in = 0.0254 m.
        const MPA_PER_KSI: f64 = 6.894_757_293_168_361;
        const M_PER_IN: f64 = 0.0254;
        let table = include_str!("../../../tests/engine/data/life_examples.csv");
        let example = |line: &str| {
            // Quoted cells hold commas: mask those first.
            let mut quoted = false;
            let mask = |letter| {
                quoted ^= letter == '"';
                if quoted && letter == ',' { ';' } else { letter }
            };
            let line: String = line.chars().map(mask).collect();
            let cells: Vec<&str> = line.split(',').collect();
            let number = |i: usize| cells[i].parse::<f64>().expect("a number");
            let (stress_unit, length_unit) =
                if cells[8].contains("ksi") { (MPA_PER_KSI, M_PER_IN) } else { (1.0, 1.0) };
            let exponent = number(3);
            let coefficient = number(2) * length_unit / (stress_unit * length_unit.sqrt()).powf(exponent);
            Example {
                id: cells[0].to_owned(),
                law: law(coefficient, exponent),
                geometry_factor: number(4),
                stress_mpa: number(5) * stress_unit,
                from_mm: number(6) * length_unit * 1e3,
                to_mm: number(7) * length_unit * 1e3,
                starts: number(9),
            }
        };
        table.lines().filter(|line| line.starts_with('L')).map(example).collect()
    }

    #[test]
    fn the_closed_form_gives_the_examples_in_both_directions() {
        let examples = examples();
        assert_eq!(examples.len(), 8, "L1, L1b and L2 to L7");
        for example in examples {
            let Example { id, law, geometry_factor, stress_mpa, from_mm, to_mm, starts: expected } = example;
            let path = GrowthPath::FixedFactor(FixedFactor::new(&law, geometry_factor, stress_mpa, 2.0, None));
            let course = path.course(from_mm, 1.0);
            let life = starts(&path, course, CrackEnd::Depth(to_mm));
            assert!((life / expected - 1.0).abs() < 1e-6, "{id}: {life} against {expected}");
            let reached_mm = depth_mm(&path, course, expected);
            assert!((reached_mm / to_mm - 1.0).abs() < 1e-5, "{id}: {reached_mm} against {to_mm}");
            assert!((depth_mm(&path, course, 0.0) / from_mm - 1.0).abs() < 1e-12, "{id}");
        }
    }

    #[test] // Against the midpoint rule in ln a, whose error is below 1e-8 here.
    fn exponents_about_two_and_below_agree_with_quadrature() {
        for exponent in [1.3, 1.999, 2.0, 2.001, 2.25, 3.0, 4.0] {
            let (coefficient, factor, stress_mpa, from_mm, to_mm) = (1e-11, 1.12, 150.0, 0.5, 8.0_f64);
            let steps = 20_000;
            let width = (to_mm / from_mm).ln() / f64::from(steps);
            let slice = |i: i32| {
                let depth_m = 1e-3 * from_mm * ((f64::from(i) + 0.5) * width).exp();
                let intensity = factor * stress_mpa * (std::f64::consts::PI * depth_m).sqrt();
                width * depth_m / (coefficient * intensity.powf(exponent))
            };
            let expected: f64 = (0..steps).map(slice).sum();
            let path = FixedFactor::new(&law(coefficient, exponent), factor, stress_mpa, 2.0, None);
            let path = GrowthPath::FixedFactor(path);
            let course = path.course(from_mm, 1.0);
            assert!(path.rate() > 0.0, "{exponent}");
            let life = starts(&path, course, CrackEnd::Depth(to_mm));
            assert!((life / expected - 1.0).abs() < 1e-7, "m = {exponent}: {life} against {expected}");
            assert!((depth_mm(&path, course, expected) / to_mm - 1.0).abs() < 1e-5, "m = {exponent}");
            let rate = path.rate();
            let moments: [f64; 2 * LANES + 3] = std::array::from_fn(|moment| moment as f64 / 40.0 * expected);
            let (mut y, mut ln_ratio) = (moments, moments);
            path.sizes_at(course, rate, 100.0, &moments.map(|at| 100.0 + at), &mut y, &mut ln_ratio);
            assert_eq!(ln_ratio, [path.size_at(course, 0.0).1; 2 * LANES + 3]);
            for (y, at) in y.iter().zip(moments) {
                assert!((y / path.size_at(course, at * rate).0 - 1.0).abs() < 1e-12, "m = {exponent}");
            }
        }
    }

    #[test]
    fn every_kind_of_end_is_the_depth_it_amounts_to() {
        // Y = 0.7, 300 MPa, length twice the depth, section 20 mm x 50 mm.
        let section = Section { thickness_mm: 20.0, width_mm: 50.0 };
        let path_of = |length_over_depth| {
            GrowthPath::FixedFactor(FixedFactor::new(&law(1e-11, 3.0), 0.7, 300.0, length_over_depth, Some(section)))
        };
        let path = path_of(2.0);
        let course = path.course(0.5, 1.0);
        let same = |end, depth_mm: f64| {
            let expected = starts(&path, course, CrackEnd::Depth(depth_mm));
            assert!((starts(&path, course, end) / expected - 1.0).abs() < 1e-12, "{end:?}");
        };
        // K = Y S sqrt(pi a); a half ellipse of depth a and length 2a covers pi a**2 / 2.
        same(CrackEnd::Intensity(0.7 * 300.0 * (std::f64::consts::PI * 4e-3).sqrt()), 4.0);
        same(CrackEnd::SectionFraction(std::f64::consts::PI * 16.0 / 2.0 / 1000.0), 4.0);
        assert_eq!(starts(&path, course, CrackEnd::Depth(0.4)), 0.0, "met already");
        // Through the thickness at 95 % of 20 mm; of a crack that is four times as long as deep, across 50 mm at 12.5 mm.
        for end in [CrackEnd::Depth(19.5), CrackEnd::Intensity(1e4), CrackEnd::SectionFraction(0.99)] {
            same(end, 19.0);
            let (long, same_depth) = (path_of(4.0), CrackEnd::Depth(12.5));
            assert_eq!(starts(&long, course, end), starts(&long, course, same_depth), "{end:?}");
        }
        assert!(
            starts(&path_of(4.0), course, CrackEnd::Depth(12.4)) < starts(&path_of(4.0), course, CrackEnd::Depth(13.0))
        );
    }
}
