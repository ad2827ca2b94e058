//! A semi-elliptical surface crack that grows in depth and in length, tabulated for speed.
//!
//! Paris' law holds at the deepest point and at the surface with one coefficient:
//! `da/dN = C dK_deepest**m`, `dc/dN = C dK_surface**m`, K by [Newman and Raju](super::fracture).
//! C and a factor on the stress only set the pace, so the ways of all cracks of a hot spot are one
//! family of lines in the plane of depth and aspect. A crack's place is the number of its line,
//! between lines where need be, and its *phase*: the advance that is left before the end of the
//! table, over that which was left where the line enters. Phase runs downwards from 1. Lines at
//! equal phase are so alike that cubic interpolation between few of them is enough.
//!
//! Initial depths are held between 0.01 mm and 80 % of the thickness, and initial aspects between
//! 0.1 and 2. The table ends where a crack is 95 % through the thickness or 90 % across the width.
//! A crack that comes there has met any limit. Note that Newman and Raju vouch for their equation
//! only up to half the width.

use super::fleet::HotSpot;
use super::fracture::{Point, SurfaceCrackGeometry};
use super::growth::{Course, CrackEnd, GrowthLaw, Stress};
use std::f64::consts::LN_2;

/// Initial aspects, depth over half length, that the table covers.
const ASPECTS: [f64; 2] = [0.1, 2.0];
/// Smallest initial depth that the table covers, in mm.
const SMALLEST_DEPTH_MM: f64 = 0.01;
/// Largest initial depth that the table covers, over the thickness.
const LARGEST_DEPTH_FRACTION: f64 = 0.5;
/// The table ends at this depth over thickness ...
const END_DEPTH_FRACTION: f64 = 0.95;
/// ... or at this length over width.
const END_LENGTH_FRACTION: f64 = 0.9;
/// Where bending presses a point shut it still creeps with this fraction of the stress.
const LEAST_STRESS_FRACTION: f64 = 1e-3;

/// Spacing of the lines where they enter, in the parameter of the entry curve.
const LINE_SPACING: f64 = 0.125;
/// Step of the integration, in the logarithm of the crack's size sqrt(a c).
const STEP: f64 = 0.03;
/// Growth between neighbouring nodes of a line that is aimed at, in the same logarithm.
const NODE_SPACING: f64 = 0.12;
/// Spacing of the depths at which a crack's line is looked for, in the logarithm.
const COLUMN_SPACING: f64 = 0.1;

const FRACTION_BITS: u32 = 52;

/// The ways of the surface cracks of one hot spot.
#[derive(Debug, Clone)]
pub struct SurfaceCrack {
    rate: f64,
    depth_power: f64,
    /// Area of the section over that of a crack 1 mm deep and 1 mm of half length.
    section_over_unit_crack: f64,
    depths_mm: [f64; 2],
    longest_half_length_mm: f64,
    lines: usize,
    /// Number of the last line with two above it.
    last_stencil: f64,
    /// Of each line: phase per advance.
    phase_per_advance: Vec<f64>,
    /// Of each line: phase where the table ends.
    end_phase: Vec<f64>,
    grid: PhaseGrid,
    /// y and ln(length / depth), by cell of phase, then by line.
    sizes: Vec<Cubics>,
    /// Logarithms of the stress intensity at the deepest point and at the surface, likewise.
    intensities: Vec<Cubics>,
    /// Whether the stress intensity never falls on any line.
    intensity_rises: bool,
    first_column: f64,
    /// By column of equal depth, then by line.
    columns: Vec<Column>,
}

/// Two cubics of the place within a cell, coefficient by coefficient; single precision (1e-7) is
/// far beyond that of the interpolation, and twice as much fits in the cache.
type Cubics = [f32; 8];
/// Where a line has a certain depth: ln aspect and phase.
type Column = [f64; 2];

impl SurfaceCrack {
    /// Tabulates the ways of cracks from the smallest to the deepest that matter.
    ///
    /// A hot spot without a section has no thickness: all answers are then not-a-number, and the
    /// study file refuses it.
    pub fn new(law: &GrowthLaw, spot: &HotSpot) -> Self {
        let (thickness_mm, width_mm) = spot.section.map_or((f64::NAN, f64::NAN), |s| (s.thickness_mm, s.width_mm));
        let flow = Flow { exponent: law.exponent, stress: spot.stress, thickness_mm, half_width_mm: 0.5 * width_mm };
        let deepest_mm = LARGEST_DEPTH_FRACTION * thickness_mm;
        let depths_mm = [1e-12, 1.0 - 1e-12]
            .map(|u| spot.initial_depth_mm.quantile(u).max(SMALLEST_DEPTH_MM.min(deepest_mm)).min(deepest_mm));
        let p = (0.5 * law.exponent - 1.0).max(0.1);
        Table::new(&flow, depths_mm).into_paths(&flow, p, law.coefficient_m_per_start, depths_mm)
    }

    /// The course of a crack that initiates with a depth in mm and an aspect, depth over half length.
    ///
    /// Values outside the table are held at its edge; a crack longer than the table is at its end.
    pub fn course(&self, depth_mm: f64, aspect: f64) -> Course {
        let x = depth_mm.clamp(self.depths_mm[0], self.depths_mm[1]).ln();
        let q = aspect.clamp(ASPECTS[0], ASPECTS[1]).ln().max(x - self.longest_half_length_mm.ln());
        let (mut line, mut phase) = self.guess(x, q);
        let (y, v) = ((-x / self.depth_power).exp(), LN_2 - q);
        for _ in 0..3 {
            let (size, by_line, by_phase) = self.size_and_slopes(line, phase);
            let (dy, dv) = (y - size[0], v - size[1]);
            let determinant = by_line[0] * by_phase[1] - by_line[1] * by_phase[0];
            // Lines that have run together leave the number of the line open, and any will do.
            let across = ((dy * by_phase[1] - dv * by_phase[0]) / determinant);
            let across = if across.is_finite() { across.clamp(-1.0, 1.0) } else { 0.0 };
            let next = (line + across).clamp(0.0, (self.lines - 1) as f64);
            let along = (dy - (next - line) * by_line[0]) / by_phase[0] / phase;
            line = next;
            phase *= 1.0 + if along.is_finite() { along.clamp(-0.3, 0.3) } else { 0.0 };
        }
        Course { start: phase, line }
    }

    /// Advance per start for the median coefficient and unit stress factor.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Advance from initiation until the crack meets its end, or that of the table.
    pub fn advance_to(&self, course: Course, end: CrackEnd) -> f64 {
        let (first, weights) = self.neighbours(course.line);
        let end_phase = blend(&weights, &self.end_phase[first..]);
        let met_at = match end {
            CrackEnd::Depth(depth_mm) => {
                let y = depth_mm.powf(-1.0 / self.depth_power);
                let excess = |phase| y - self.size(first, &weights, phase).0;
                self.first_crossing(course.start, end_phase, true, excess)
            }
            CrackEnd::SectionFraction(fraction) => {
                let ln_product = (fraction * self.section_over_unit_crack).ln();
                let excess = |phase| {
                    let (y, v) = self.size(first, &weights, phase);
                    -2.0 * self.depth_power * crate::math::ln(y) + v - LN_2 - ln_product
                };
                self.first_crossing(course.start, end_phase, true, excess)
            }
            CrackEnd::Intensity(intensity) => {
                let ln_intensity = intensity.ln();
                let excess = |phase| {
                    let (deepest, surface) = self.grid.interpolate(&self.intensities, self.lines, first, &weights, phase);
                    deepest.max(surface) - ln_intensity
                };
                self.first_crossing(course.start, end_phase, self.intensity_rises, excess)
            }
        };
        ((course.start - met_at) / blend(&weights, &self.phase_per_advance[first..])).max(0.0)
    }

    /// Size after an advance: a number y with `ln depth_mm = -ln(y) * depth_power()`, and `ln(length / depth)`.
    #[inline(always)]
    pub fn size_at(&self, course: Course, advance: f64) -> (f64, f64) {
        let (first, weights) = self.neighbours(course.line);
        let phase = course.start - advance * blend(&weights, &self.phase_per_advance[first..]);
        self.size(first, &weights, phase)
    }

    /// Power that turns `-ln y` into the logarithm of the depth.
    pub fn depth_power(&self) -> f64 {
        self.depth_power
    }

    /// temporary
    pub fn about(&self) -> String {
        format!("{}x{} rises {}", self.lines, self.sizes.len()/self.lines, self.intensity_rises)
    }

    #[inline(always)]
    fn size(&self, first: usize, weights: &[f64; 4], phase: f64) -> (f64, f64) {
        self.grid.interpolate(&self.sizes, self.lines, first, weights, phase)
    }

    /// The first of the four lines about a place between lines, and their weights.
    #[inline(always)]
    fn neighbours(&self, line: f64) -> (usize, [f64; 4]) {
        const TO_INTEGER: f64 = 4_503_599_627_370_496.0; // 2^52: adding it rounds to an integer
        let below = line.min(self.last_stencil).max(1.0) - 0.499;
        let shifted = below + TO_INTEGER;
        let u = line - (shifted - TO_INTEGER);
        let first = (shifted.to_bits() as u32) as usize - 1;
        let (below, above, far) = (u + 1.0, u - 1.0, u - 2.0);
        let (inner, outer) = (0.5 * below * far, u * above * (1.0 / 6.0));
        (first, [-outer * far, inner * above, -inner * u, outer * below])
    }

    /// Phase at which an excess that grows as the phase falls first reaches zero.
    fn first_crossing(&self, start: f64, end: f64, rises: bool, excess: impl Fn(f64) -> f64) -> f64 {
        let (mut before, mut after) = (start, end.min(start));
        let (mut excess_before, mut excess_after) = (excess(before), excess(after));
        if excess_before >= 0.0 {
            return before;
        }
        if rises && !(excess_after > 0.0) {
            return after;
        }
        let (mut high, mut low) = (self.grid.cell(before) + 1, self.grid.cell(after));
        while high - low > 1 {
            // All nodes in order when the excess may fall back, half of those left otherwise.
            let middle = if rises { low + (high - low) / 2 } else { high - 1 };
            let phase = self.grid.phase(middle);
            let there = excess(phase);
            if there >= 0.0 {
                (after, excess_after, low) = (phase, there, if rises { middle } else { high - 1 });
            } else {
                (before, excess_before, high) = (phase, there, middle);
            }
        }
        if !(excess_after > 0.0) {
            return after;
        }
        // The Illinois rule: false position with the stale end's value halved.
        for _ in 0..6 {
            let phase = (before * excess_after - after * excess_before) / (excess_after - excess_before);
            let there = excess(phase);
            if there >= 0.0 {
                (after, excess_after, excess_before) = (phase, there, 0.5 * excess_before);
            } else {
                (before, excess_before, excess_after) = (phase, there, 0.5 * excess_after);
            }
        }
        after
    }

    /// Line and phase near a place, from the two columns about its depth.
    fn guess(&self, x: f64, q: f64) -> (f64, f64) {
        let columns = self.columns.len() / self.lines;
        let place = (x - self.first_column) / COLUMN_SPACING;
        let column = (place as usize).min(columns - 2);
        let u = place - column as f64;
        let at = |line: usize| {
            let (left, right) =
                (self.columns[column * self.lines + line], self.columns[(column + 1) * self.lines + line]);
            [left[0] + u * (right[0] - left[0]), left[1] + u * (right[1] - left[1])]
        };
        let (mut low, mut high) = (0, self.lines - 1);
        while high - low > 1 {
            let middle = usize::midpoint(low, high);
            if at(middle)[0] <= q { low = middle } else { high = middle }
        }
        let (left, right) = (at(low), at(high));
        let between = (q - left[0]) / (right[0] - left[0]);
        let between = if between.is_finite() { between.clamp(0.0, 1.0) } else { 0.5 };
        (low as f64 + between, left[1] + between * (right[1] - left[1]))
    }

    /// Size at a place, and its slopes across and along the lines.
    fn size_and_slopes(&self, line: f64, phase: f64) -> ([f64; 2], [f64; 2], [f64; 2]) {
        const NUDGE: f64 = 1e-3;
        let (first, weights) = self.neighbours(line);
        let (y, v) = self.size(first, &weights, phase);
        let (y_along, v_along) = self.size(first, &weights, phase * (1.0 - NUDGE));
        let (first, weights) = self.neighbours(line + NUDGE);
        let (y_across, v_across) = self.size(first, &weights, phase);
        let along = -phase * NUDGE;
        (
            [y, v],
            [(y_across - y) / NUDGE, (v_across - v) / NUDGE],
            [(y_along - y) / along, (v_along - v) / along],
        )
    }
}

/// Weighted sum of four neighbours.
#[inline(always)]
fn blend(weights: &[f64; 4], values: &[f64]) -> f64 {
    weights[0] * values[0] + weights[1] * values[1] + weights[2] * values[2] + weights[3] * values[3]
}

/// Nodes of phase between a lowest one and 1, equally many in each halving of the phase.
///
/// They are the numbers whose fraction ends in zeros after a few bits, so that the bits of a phase
/// say at once between which nodes it lies.
#[derive(Debug, Clone, Copy)]
struct PhaseGrid {
    lowest: f64,
    /// Bits of the fraction that a node does not use.
    shift: u32,
    first: u64,
    /// Distance of nodes over the power of two below them.
    spacing: f64,
}

impl PhaseGrid {
    fn new(lowest: f64, nodes_per_halving: f64) -> Self {
        let bits = (nodes_per_halving.log2().ceil() as u32).clamp(2, 8);
        let shift = FRACTION_BITS - bits;
        PhaseGrid { lowest, shift, first: lowest.to_bits() >> shift, spacing: 0.5_f64.powi(bits as i32) }
    }

    fn nodes(&self) -> usize {
        self.cell(1.0) + 2
    }

    fn phase(&self, node: usize) -> f64 {
        f64::from_bits((node as u64 + self.first) << self.shift)
    }

    #[inline(always)]
    fn hold(&self, phase: f64) -> f64 {
        const BELOW_ONE: f64 = 1.0 - f64::EPSILON;
        let phase = if phase > self.lowest { phase } else { self.lowest };
        if phase < BELOW_ONE { phase } else { BELOW_ONE }
    }

    /// The node at or below a phase that is held to the grid.
    #[inline(always)]
    fn cell(&self, phase: f64) -> usize {
        ((self.hold(phase).to_bits() >> self.shift) - self.first) as usize
    }

    /// The two numbers of a table at a phase: cubic across four lines and along the phase.
    #[inline(always)]
    fn interpolate(&self, table: &[Cubics], lines: usize, first: usize, weights: &[f64; 4], phase: f64) -> (f64, f64) {
        const FRACTION: u64 = (1 << FRACTION_BITS) - 1;
        const ONE: u64 = 1.0_f64.to_bits();
        let at = self.cell(phase) * lines + first;
        let mut cubics = [0.0_f32; 8];
        for (weight, line) in weights.iter().zip(&table[at..at + 4]) {
            for i in 0..8 {
                cubics[i] += *weight as f32 * line[i];
            }
        }
        let within = (self.hold(phase).to_bits() << (FRACTION_BITS - self.shift)) & FRACTION;
        let u = f64::from_bits(within | ONE) - 1.0;
        let [a0, b0, a1, b1, a2, b2, a3, b3] = cubics.map(f64::from);
        (a0 + u * (a1 + u * (a2 + u * a3)), b0 + u * (b1 + u * (b2 + u * b3)))
    }

    /// The two cubics between a node and the next, from values there and slopes by phase.
    fn cubics(&self, node: usize, [low, high]: [[f64; 4]; 2]) -> Cubics {
        let step = self.phase(node + 1) - self.phase(node);
        let of = |i: usize| {
            let (rise, from, to) = (high[i] - low[i], step * low[i + 2], step * high[i + 2]);
            [low[i], from, 3.0 * rise - 2.0 * from - to, from + to - 2.0 * rise].map(|factor| factor as f32)
        };
        let (a, b) = (of(0), of(1));
        [a[0], b[0], a[1], b[1], a[2], b[2], a[3], b[3]]
    }
}

/// How cracks move, in s = ln sqrt(a c) and q = ln(a / c), lengths in mm.
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
            thickness_mm: self.thickness_mm.max(depth_mm / (END_DEPTH_FRACTION + 0.03)),
            half_width_mm: self.half_width_mm.max(half_length_mm / (END_LENGTH_FRACTION + 0.03)),
        };
        let Stress { membrane_mpa, bending_mpa } = self.stress;
        let least = LEAST_STRESS_FRACTION * (membrane_mpa.abs() + bending_mpa.abs());
        [(Point::Deepest, depth_mm), (Point::Surface, half_length_mm)].map(|(point, size_mm)| {
            let least = least * (std::f64::consts::PI * 1e-3 * size_mm).sqrt();
            crack.stress_intensity_mpa_sqrt_m(membrane_mpa, bending_mpa, point).max(least)
        })
    }

    fn rates(&self, s: f64, q: f64) -> Rates {
        let [deepest, surface] = self.intensities(s, q);
        let per_mm = |intensity: f64, ln_mm: f64| 1e3 * (self.exponent * intensity.ln() - ln_mm).exp();
        Rates { depth: per_mm(deepest, s + 0.5 * q), length: per_mm(surface, s - 0.5 * q) }
    }

    /// Change of q and of advance by s.
    fn slopes(&self, s: f64, q: f64) -> [f64; 2] {
        let rates = self.rates(s, q);
        [rates.aspect() / rates.size(), 1.0 / rates.size()]
    }

    /// Size and stress intensity, each as two numbers and their slopes by phase.
    fn node(&self, [s, q]: [f64; 2], p: f64, advance_per_phase: f64) -> [[f64; 4]; 2] {
        const NUDGE: f64 = 1e-4;
        let rates = self.rates(s, q);
        let y = (-p * (s + 0.5 * q)).exp();
        let [deepest, surface] = self.intensities(s, q).map(f64::ln);
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
        let depth = s + 0.5 * q - (END_DEPTH_FRACTION * self.thickness_mm).ln();
        let length = s - 0.5 * q - (END_LENGTH_FRACTION * self.half_width_mm).ln();
        depth.max(length)
    }

    /// Size at which the advance left is counted from: beyond that of every crack at the table's end.
    fn last_size(&self) -> f64 {
        0.5 * (END_DEPTH_FRACTION * self.thickness_mm * END_LENGTH_FRACTION * self.half_width_mm).ln() + 0.2
    }

    /// Follows a line by the classical Runge-Kutta rule in s until past the last size.
    fn trace(&self, entry: [f64; 2]) -> Vec<Step> {
        let [mut s, mut q] = entry;
        let span = self.last_size() - s;
        let steps = (span / STEP).ceil().max(1.0);
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

/// Lines from the smallest initial size to past the end of the table.
struct Table {
    lines: Vec<Vec<Step>>,
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

impl Table {
    fn new(flow: &Flow, depths_mm: [f64; 2]) -> Self {
        let [least, most] = depths_mm.map(f64::ln);
        // Goes on to either side while there are initial sizes to enclose and cracks enter there.
        let reach = |side: f64| {
            let serves = |count: usize| {
                let parameter = side * LINE_SPACING * count as f64;
                let [s, q] = entry(least, parameter);
                let [ds, dq] = {
                    let nudged = entry(least, parameter + 1e-6);
                    [nudged[0] - s, nudged[1] - q]
                };
                let enters = dq - flow.slopes(s, q)[0] * ds > 0.0;
                enters && s + 0.5 * q < most + 2.0 * LINE_SPACING && flow.beyond_end(s, q) < 0.0
            };
            (1..1000).take_while(|&count| count <= 2 || serves(count)).last().unwrap_or(2)
        };
        let (below, above) = (reach(-1.0), reach(1.0));
        let parameters = (0..=below + above).map(|i| LINE_SPACING * (i as f64 - below as f64));
        let mut lines: Vec<_> = parameters.map(|parameter| flow.trace(entry(least, parameter))).collect();
        // The last size is given some advance of its own, so that phases of lines keep in proportion.
        let last = lines[below].iter().rfind(|step| step.left >= 0.0).map_or(f64::NAN, |step| 0.3 * step.advance_slope);
        for line in &mut lines {
            line.iter_mut().for_each(|step| step.left += last);
            line.retain(|step| !(step.left <= 0.0));
        }
        let end_left = lines.iter().map(|line| end_left(flow, line)).collect();
        Table { lines, end_left }
    }

    fn into_paths(self, flow: &Flow, p: f64, rate: f64, depths_mm: [f64; 2]) -> SurfaceCrack {
        let lines = self.lines.len();
        let entry_left: Vec<f64> = self.lines.iter().map(|line| line[0].left).collect();
        let end_phase: Vec<f64> = self.end_left.iter().zip(&entry_left).map(|(end, entry)| end / entry).collect();
        let lowest = end_phase.iter().copied().fold(0.5, f64::min);
        let on_table = self.lines.iter().zip(&self.end_left);
        let on_table = on_table.flat_map(|(line, end_left)| line.iter().filter(move |step| step.left >= *end_left));
        let longest = on_table.map(|step| step.left / step.advance_slope).fold(0.0, f64::max);
        let grid = PhaseGrid::new(0.6 * lowest, longest / NODE_SPACING);

        let mut sizes = vec![[f32::NAN; 8]; (grid.nodes() - 1) * lines];
        let mut intensities = sizes.clone();
        let first_column = depths_mm[0].ln();
        let column_count = ((depths_mm[1] / depths_mm[0]).ln() / COLUMN_SPACING).ceil() as usize + 2;
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
                let x = first_column + COLUMN_SPACING * column as f64;
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
            section_over_unit_crack: section_mm2 / std::f64::consts::FRAC_PI_2,
            depths_mm,
            longest_half_length_mm: END_LENGTH_FRACTION * flow.half_width_mm,
            lines,
            last_stencil: (lines - 3) as f64,
            phase_per_advance: entry_left.iter().map(|left| 1.0 / left).collect(),
            end_phase,
            grid,
            sizes,
            intensities,
            intensity_rises,
            first_column,
            columns,
        }
    }
}

/// Advance left where a line meets the end of the table.
fn end_left(flow: &Flow, line: &[Step]) -> f64 {
    let beyond = |step: &Step| flow.beyond_end(step.s, step.q);
    let Some(after) = line.iter().position(|step| beyond(step) >= 0.0) else { return f64::NAN };
    let Some(before) = after.checked_sub(1) else { return line[0].left };
    let (from, to) = (&line[before], &line[after]);
    from.left + (to.left - from.left) * beyond(from) / (beyond(from) - beyond(to))
}
