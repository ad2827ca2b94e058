//! Follows the lines of [`SurfaceCrack`] and tabulates them.

use super::{ASPECTS, END_LENGTH_FRACTION, PhaseGrid, SurfaceCrack};
use crate::distribution::Distribution;
use crate::model::fracture::{Point, SurfaceCrackGeometry};
use crate::model::growth::law::GrowthLaw;
use crate::model::growth::section::{Section, Stress, THROUGH_FRACTION};
use std::f64::consts::{FRAC_PI_2, LN_2};

/// Smallest initial depth that the table covers, in mm.
const SMALLEST_DEPTH_MM: f64 = 0.01;
/// Largest initial depth that the table covers, over the thickness.
const LARGEST_DEPTH_FRACTION: f64 = 0.5;
/// A point that bending presses shut still creeps under this fraction of the stress.
const LEAST_STRESS_FRACTION: f64 = 1e-3;

/// Spacing of the lines where they enter, in the parameter of the entry curve, and the growth
/// exponent above which lines bend so sharply that they are set closer in proportion.
const LINE_SPACING: f64 = 0.125;
const SHARP_EXPONENT: f64 = 4.0;
/// Step of the integration, in the logarithm of the crack's size sqrt(a c).
const STEP: f64 = 0.03;
/// Growth between neighbouring nodes of a line that is aimed at, in the same logarithm.
const NODE_SPACING: f64 = 0.12;
/// Spacing of the depths at which a crack's line is looked for, in the logarithm, over that of lines.
const COLUMN_SPACING: f64 = 0.8;

impl SurfaceCrack {
    /// Tabulates the growth curves of cracks from the smallest to the deepest that matter.
    ///
    /// The stress is meant to open the crack at the surface. Where bending presses the deepest point
    /// shut, it is taken to creep on under 0.1 % of the stress.
    ///
    /// A hot spot without a section has no thickness: all sizes are then not-a-number.
    pub fn new(law: &GrowthLaw, stress: Stress, section: Option<Section>, initial_depth_mm: &Distribution) -> Self {
        let (thickness_mm, width_mm) = section.map_or((f64::NAN, f64::NAN), |s| (s.thickness_mm, s.width_mm));
        let flow = Flow { exponent: law.exponent, stress, thickness_mm, half_width_mm: 0.5 * width_mm };
        let deepest_mm = LARGEST_DEPTH_FRACTION * thickness_mm;
        let depths_mm = [1e-12, 1.0 - 1e-12]
            .map(|u| initial_depth_mm.quantile(u).max(SMALLEST_DEPTH_MM.min(deepest_mm)).min(deepest_mm));
        let p = (0.5 * law.exponent - 1.0).max(0.1);
        Lines::follow(&flow, depths_mm).tabulate(&flow, p, law.coefficient_m_per_start, depths_mm)
    }
}

/// Motion of cracks in s = ln sqrt(a c) and q = ln(a / c), lengths in mm.
#[derive(Debug, Clone, Copy)]
struct Flow {
    exponent: f64,
    stress: Stress,
    thickness_mm: f64,
    half_width_mm: f64,
}

/// Relative growth of depth and of length by advance.
struct Rates {
    depth: f64,
    length: f64,
}

impl Rates {
    fn size(&self) -> f64 {
        0.5 * (self.depth + self.length)
    }

    fn aspect(&self) -> f64 {
        self.depth - self.length
    }
}

impl Flow {
    /// Stress intensity at the deepest point and at the surface, in MPa sqrt(m).
    ///
    /// A little beyond the end of the table the plate is taken to grow with the crack, so that the
    /// lines run on and can be interpolated up to the end.
    fn intensities(&self, s: f64, q: f64) -> [f64; 2] {
        let (depth_mm, half_length_mm) = ((s + 0.5 * q).exp(), (s - 0.5 * q).exp());
        let crack = SurfaceCrackGeometry {
            depth_mm,
            half_length_mm,
            thickness_mm: self.thickness_mm.max(depth_mm / (THROUGH_FRACTION + 0.03)),
            half_width_mm: self.half_width_mm.max(half_length_mm / (END_LENGTH_FRACTION + 0.03)),
        };
        let Stress { membrane_mpa, bending_mpa } = self.stress;
        let least_mpa = (LEAST_STRESS_FRACTION * (membrane_mpa.abs() + bending_mpa.abs())).max(f64::EPSILON);
        [Point::Deepest, Point::Surface].map(|point| crack.intensity_of(least_mpa, membrane_mpa, bending_mpa, point))
    }

    fn rates(&self, s: f64, q: f64) -> Rates {
        self.rates_under(self.intensities(s, q).map(f64::ln), s, q)
    }

    /// Rates under given logarithms of the stress intensities.
    fn rates_under(&self, [deepest, surface]: [f64; 2], s: f64, q: f64) -> Rates {
        // Lengths are in mm here and in m in the growth law.
        let relative = |ln_intensity: f64, ln_mm: f64| 1e3 * (self.exponent * ln_intensity - ln_mm).exp();
        Rates { depth: relative(deepest, s + 0.5 * q), length: relative(surface, s - 0.5 * q) }
    }

    /// Change of q and of advance by s.
    fn slopes(&self, s: f64, q: f64) -> [f64; 2] {
        let rates = self.rates(s, q);
        [rates.aspect() / rates.size(), 1.0 / rates.size()]
    }

    /// Size and stress intensity, each as two numbers and their slopes by phase.
    fn node(&self, [s, q]: [f64; 2], p: f64, advance_per_phase: f64) -> [[f64; 4]; 2] {
        const NUDGE: f64 = 1e-4;
        let [deepest, surface] = self.intensities(s, q).map(f64::ln);
        let rates = self.rates_under([deepest, surface], s, q);
        let y = (-p * (s + 0.5 * q)).exp();
        let nudged = self.intensities(s + NUDGE, q + NUDGE * rates.aspect() / rates.size()).map(f64::ln);
        // Phase falls as the crack grows.
        let slope = |nudged: f64, here: f64| -advance_per_phase * rates.size() * (nudged - here) / NUDGE;
        [
            [y, LN_2 - q, advance_per_phase * p * y * rates.depth, advance_per_phase * rates.aspect()],
            [deepest, surface, slope(nudged[0], deepest), slope(nudged[1], surface)],
        ]
    }

    /// By how much a crack is beyond the end of the table, in logarithms; negative before it.
    fn beyond_end(&self, s: f64, q: f64) -> f64 {
        let depth = s + 0.5 * q - (THROUGH_FRACTION * self.thickness_mm).ln();
        let length = s - 0.5 * q - (END_LENGTH_FRACTION * self.half_width_mm).ln();
        depth.max(length)
    }

    /// Whether a crack is outside the range of its solution.
    fn is_outside(&self, s: f64, q: f64) -> bool {
        let crack = SurfaceCrackGeometry {
            depth_mm: (s + 0.5 * q).exp(),
            half_length_mm: (s - 0.5 * q).exp(),
            thickness_mm: self.thickness_mm,
            half_width_mm: self.half_width_mm,
        };
        crack.held().1.any()
    }

    /// Size at which the advance left is counted from: beyond that of every crack at the table's end.
    fn last_size(&self) -> f64 {
        0.5 * (THROUGH_FRACTION * self.thickness_mm * END_LENGTH_FRACTION * self.half_width_mm).ln() + 0.2
    }

    /// Follows a line by the classical Runge-Kutta rule in s until past the last size.
    fn trace(&self, entry: [f64; 2]) -> Vec<Step> {
        let [mut s, mut q] = entry;
        let span = self.last_size() - s;
        let steps = (span / STEP).ceil().clamp(1.0, 1e4);
        let h = span / steps;
        let mut advance = 0.0;
        let mut line = Vec::with_capacity(steps as usize + 20);
        for step in 0..steps as usize + (0.5 / STEP) as usize {
            let k1 = self.slopes(s, q);
            line.push(Step { s, q, aspect_slope: k1[0], advance, advance_slope: k1[1], left: 0.0 });
            let k2 = self.slopes(s + 0.5 * h, q + 0.5 * h * k1[0]);
            let k3 = self.slopes(s + 0.5 * h, q + 0.5 * h * k2[0]);
            let k4 = self.slopes(s + h, q + h * k3[0]);
            q += h / 6.0 * (k1[0] + 2.0 * (k2[0] + k3[0]) + k4[0]);
            advance += h / 6.0 * (k1[1] + 2.0 * (k2[1] + k3[1]) + k4[1]);
            s = entry[0] + h * (step + 1) as f64;
        }
        let last = line[(steps as usize).min(line.len() - 1)].advance;
        for step in &mut line {
            step.left = last - step.advance;
        }
        line
    }
}

/// A place on a line that is being followed.
#[derive(Debug, Clone, Copy)]
struct Step {
    s: f64,
    q: f64,
    /// dq/ds.
    aspect_slope: f64,
    advance: f64,
    /// d advance / ds.
    advance_slope: f64,
    /// Advance left.
    left: f64,
}

impl Step {
    /// s and q between this step and the next, by cubic interpolation in the advance left.
    fn toward(&self, next: &Step, left: f64) -> [f64; 2] {
        let span = next.left - self.left;
        let u = (left - self.left) / span;
        let rest = 1.0 - u;
        let cubic = |from: f64, to: f64, from_slope: f64, to_slope: f64| {
            rest * rest * ((1.0 + 2.0 * u) * from + u * span * from_slope)
                + u * u * ((3.0 - 2.0 * u) * to - rest * span * to_slope)
        };
        let by_left = |step: &Step| (-1.0 / step.advance_slope, -step.aspect_slope / step.advance_slope);
        let (from, to) = (by_left(self), by_left(next));
        [cubic(self.s, next.s, from.0, to.0), cubic(self.q, next.q, from.1, to.1)]
    }
}

/// Lines from the smallest initial sizes to past the end of the table.
struct Lines {
    /// Their spacing in the parameter of the entry curve.
    spacing: f64,
    lines: Vec<Vec<Step>>,
    /// Of each line: advance left where the table ends.
    end_left: Vec<f64>,
}

/// Where lines enter: a curve round the initial sizes, as s and q, by a parameter from the long and
/// shallow ones over the smallest to the short and deep ones.
fn entry(least_ln_depth: f64, parameter: f64) -> [f64; 2] {
    const MARGIN: f64 = 0.1;
    let [lowest, highest] = ASPECTS.map(f64::ln);
    let half_range = 0.5 * (highest - lowest);
    let corner = (half_range / (half_range + MARGIN)).atanh();
    let q = 0.5 * (lowest + highest) + (half_range + MARGIN) * parameter.tanh();
    let x = least_ln_depth - MARGIN + parameter.cosh().ln() - corner.cosh().ln();
    [x - 0.5 * q, q]
}

impl Lines {
    /// Follows as many lines as it takes to enclose the initial sizes.
    fn follow(flow: &Flow, depths_mm: [f64; 2]) -> Self {
        let [least, most] = depths_mm.map(f64::ln);
        let spacing = LINE_SPACING * (SHARP_EXPONENT / flow.exponent).min(1.0);
        // Goes on to either side while there are initial sizes to enclose and cracks enter there.
        let reach = |side: f64| {
            let serves = |count: usize| {
                let parameter = side * spacing * count as f64;
                let [s, q] = entry(least, parameter);
                let [ds, dq] = {
                    let nudged = entry(least, parameter + 1e-6);
                    [nudged[0] - s, nudged[1] - q]
                };
                let enters = dq - flow.slopes(s, q)[0] * ds > 0.0;
                enters && s + 0.5 * q < most + 2.0 * spacing && flow.beyond_end(s, q) < 0.25
            };
            (1..1000).take_while(|&count| count <= 2 || serves(count)).last().unwrap_or(2)
        };
        let (below, above) = (reach(-1.0), reach(1.0));
        let parameters = (0..=below + above).map(|i| spacing * (i as f64 - below as f64));
        let mut lines: Vec<_> = parameters.map(|parameter| flow.trace(entry(least, parameter))).collect();
        // The last size is given some advance of its own, so that phases of lines keep in proportion.
        let last = lines[below].iter().rfind(|step| step.left >= 0.0).map_or(f64::NAN, |step| 0.3 * step.advance_slope);
        for line in &mut lines {
            line.iter_mut().for_each(|step| step.left += last);
            line.retain(|step| step.left > 0.0 || step.left.is_nan());
        }
        let end_left = lines.iter().map(|line| end_left(flow, line)).collect();
        Lines { spacing, lines, end_left }
    }

    /// Reads the lines off at the nodes of phase and at the columns of depth.
    fn tabulate(self, flow: &Flow, p: f64, rate: f64, depths_mm: [f64; 2]) -> SurfaceCrack {
        let lines = self.lines.len();
        let entry_left: Vec<f64> = self.lines.iter().map(|line| line[0].left).collect();
        let end_phase: Vec<f64> = self.end_left.iter().zip(&entry_left).map(|(end, entry)| end / entry).collect();
        let edges = self.lines.iter().zip(&self.end_left).zip(&entry_left);
        let edge_phase = edges.map(|((line, end_left), entry)| edge_left(flow, line, *end_left) / entry).collect();
        let lowest = end_phase.iter().copied().fold(0.5, f64::min);
        let on_table = self.lines.iter().zip(&self.end_left);
        let on_table = on_table.flat_map(|(line, end_left)| line.iter().filter(move |step| step.left >= *end_left));
        let longest = on_table.map(|step| step.left / step.advance_slope).fold(0.0, f64::max);
        let grid = PhaseGrid::new(0.6 * lowest, longest / NODE_SPACING);

        let mut sizes = vec![[[f32::NAN; 4]; 2]; (grid.nodes() - 1) * lines];
        let mut intensities = sizes.clone();
        let first_column = depths_mm[0].ln();
        let column_spacing = COLUMN_SPACING * self.spacing;
        let column_count = ((depths_mm[1] / depths_mm[0]).ln() / column_spacing).ceil() as usize + 2;
        let mut columns = vec![[f64::NAN; 2]; column_count * lines];
        let mut intensity_rises = true;
        for (index, line) in self.lines.iter().enumerate() {
            let entry_left = entry_left[index];
            let mut at = 0;
            let mut above: Option<[[f64; 4]; 2]> = None;
            for node in (0..grid.nodes()).rev() {
                let left = entry_left * grid.phase(node).min(1.0);
                while at + 1 < line.len() && line[at + 1].left > left {
                    at += 1;
                }
                let here = match line.get(at + 1) {
                    Some(next) => flow.node(line[at].toward(next, left), p, entry_left),
                    None => flow.node([line[at].s, line[at].q], p, 0.0),
                };
                if let Some(above) = above {
                    sizes[node * lines + index] = grid.cubics(node, [here[0], above[0]]);
                    intensities[node * lines + index] = grid.cubics(node, [here[1], above[1]]);
                    let highest = |node: [[f64; 4]; 2]| node[1][0].max(node[1][1]);
                    let on_table = grid.phase(node) > end_phase[index];
                    intensity_rises &= !on_table || highest(here) >= highest(above);
                }
                above = Some(here);
            }

            let mut at = 0;
            for column in 0..column_count {
                let x = first_column + column_spacing * column as f64;
                let depth = |step: &Step| step.s + 0.5 * step.q;
                while at + 2 < line.len() && depth(&line[at + 1]) < x {
                    at += 1;
                }
                let (from, to) = (&line[at], &line[at + 1]);
                let u = ((x - depth(from)) / (depth(to) - depth(from)).max(1e-6)).min(1.0);
                let left = from.left + u * (to.left - from.left);
                columns[column * lines + index] = [from.q + u * (to.q - from.q), left / entry_left];
            }
        }
        let section_mm2 = 2.0 * flow.thickness_mm * flow.half_width_mm;
        SurfaceCrack {
            rate,
            depth_power: 1.0 / p,
            section_over_unit_crack: section_mm2 / FRAC_PI_2,
            depths_mm,
            longest_half_length_mm: END_LENGTH_FRACTION * flow.half_width_mm,
            lines,
            last_stencil: (lines - 3) as f64,
            phase_per_advance: entry_left.iter().map(|left| 1.0 / left).collect(),
            end_phase,
            edge_phase,
            grid,
            sizes,
            intensities,
            intensity_rises,
            first_column,
            column_spacing,
            columns,
        }
    }
}

/// Advance left where a line, once within the range of the solution, is about to leave it again; zero where it does not
/// before the end of the table, infinite where it is never within.
fn edge_left(flow: &Flow, line: &[Step], end_left: f64) -> f64 {
    let is_outside = |step: &Step| flow.is_outside(step.s, step.q);
    let Some(first) = line.iter().position(|step| !is_outside(step)) else { return f64::INFINITY };
    let last = line[first..].iter().position(is_outside).map(|count| &line[first + count - 1]);
    last.map_or(0.0, |last| if last.left >= end_left { last.left } else { 0.0 })
}

/// Advance left where a line meets the end of the table.
fn end_left(flow: &Flow, line: &[Step]) -> f64 {
    let beyond = |step: &Step| flow.beyond_end(step.s, step.q);
    let Some(after) = line.iter().position(|step| beyond(step) >= 0.0) else { return f64::NAN };
    let Some(before) = after.checked_sub(1) else { return line[0].left };
    let (from, to) = (&line[before], &line[after]);
    from.left + (to.left - from.left) * beyond(from) / (beyond(from) - beyond(to))
}
