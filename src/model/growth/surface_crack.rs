//! A semi-elliptical surface crack that grows in depth and in length, tabulated for speed.
//!
//! Paris' law holds at the deepest point and at the surface with one coefficient:
//! `da/dN = C dK_deepest**m`, `dc/dN = C dK_surface**m`, K by [Newman and Raju](crate::model::fracture).
//! C and a factor on the stress only set the pace, so the growth curves of all cracks of a hot spot are one
//! family of lines in the plane of depth and aspect. A crack's place is the number of its line,
//! between lines where need be, and its *phase*: the advance that is left before the end of the
//! table, over that which was left where the line enters. Phase runs downwards from 1. Lines at
//! equal phase are so alike that cubic interpolation between few of them is enough.
//!
//! The table takes initial depths between 0.01 mm and half the thickness, within the quantiles 1e-12 and 1 - 1e-12 of
//! their distribution, and initial aspects between 0.1 and 2: see [`SurfaceCrack::begins`]. It holds while the crack is
//! within the range of Newman and Raju's solution (half the width, an aspect of 2 and so on): see
//! [`SurfaceCrack::covers`]. It ends where a crack is 95 % through the thickness, which ends any crack. Lines run on
//! somewhat further, so that they can be interpolated up to there. Cracks that begin or come outside have to be
//! followed one by one.
//!
//! For growth exponents up to 4 the table keeps lives within 0.1 % and lengths within 0.5 % of an
//! accurate integration. A life to a stress intensity may be 1 % off where that hardly changes.

mod tabulate;
#[cfg(test)]
mod tests;

use super::course::{Course, CrackEnd};
use crate::math::{exp, ln};
use std::f64::consts::LN_2;

/// Initial aspects, depth over half length, that the table covers.
const ASPECTS: [f64; 2] = [0.1, 2.0];
/// The table ends where a crack is through the thickness, or at this length over width.
const END_LENGTH_FRACTION: f64 = 0.9;
const FRACTION_BITS: u32 = 52;

/// Growth curves of the surface cracks of one hot spot.
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
    /// Of each line: phase from which on it is outside the range of its solution; zero where it stays within up to
    /// the table's end.
    edge_phase: Vec<f64>,
    grid: PhaseGrid,
    /// y and ln(length / depth), by cell of phase, then by line.
    sizes: Vec<Cubics>,
    /// Logarithms of the stress intensity at the deepest point and at the surface, likewise.
    intensities: Vec<Cubics>,
    /// Whether the stress intensity never falls on any line.
    intensity_rises: bool,
    first_column: f64,
    column_spacing: f64,
    /// By column of equal depth, then by line.
    columns: Vec<Column>,
}

/// Two cubics of the place within a cell, coefficient by coefficient; single precision (1e-7) is
/// far beyond that of the interpolation, and twice as much fits in the cache.
type Cubics = [[f32; 4]; 2];
/// Point of a line at a certain depth: ln aspect and phase.
type Column = [f64; 2];

impl SurfaceCrack {
    /// Whether the table has cracks that initiate with a depth in mm and an aspect, depth over half length.
    #[inline]
    pub fn begins(&self, depth_mm: f64, aspect: f64) -> bool {
        // Quantiles are drawn in more than one way: the last digits differ.
        const ROUNDING: f64 = 1e-9;
        let within = |x: f64, [low, high]: [f64; 2]| x >= low * (1.0 - ROUNDING) && x <= high * (1.0 + ROUNDING);
        within(depth_mm, self.depths_mm) && within(aspect, ASPECTS) && depth_mm < aspect * self.longest_half_length_mm
    }

    /// Whether a crack is within the range of its solution from initiation until it has advanced so far.
    ///
    /// It is taken to leave with the first of the lines about it.
    #[inline]
    pub fn covers(&self, course: Course, advance: f64) -> bool {
        let (first, weights) = self.neighbours(course.line);
        let phase = course.start - advance * blend(&weights, &self.phase_per_advance[first..]);
        self.edge_phase[first..first + 4].iter().all(|edge| phase > *edge)
    }

    /// The course of a crack that initiates with a depth in mm and an aspect, depth over half length.
    ///
    /// A crack that the table does not have is held at its edge: see [`SurfaceCrack::begins`].
    pub fn course(&self, depth_mm: f64, aspect: f64) -> Course {
        let x = ln(depth_mm.clamp(self.depths_mm[0], self.depths_mm[1]));
        let q = ln(aspect.clamp(ASPECTS[0], ASPECTS[1])).max(x - ln(self.longest_half_length_mm));
        self.find(x, exp(-x / self.depth_power), q)
    }

    /// Advance per start for the median coefficient and unit stress factor.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Advance from initiation until the crack meets its end, or that of the table.
    pub fn advance_to(&self, course: Course, end: CrackEnd) -> f64 {
        let (first, weights) = self.neighbours(course.line);
        let end_phase = blend(&weights, &self.end_phase[first..]);
        let excess = self.excess(end, first, &weights);
        let met_at = self.first_crossing(course.start, end_phase, self.rises(end), excess);
        ((course.start - met_at) / blend(&weights, &self.phase_per_advance[first..])).max(0.0)
    }

    /// Whether the crack is known not to meet its end within an advance; its size there decides it for most.
    pub fn outlasts(&self, course: Course, end: CrackEnd, advance: f64) -> bool {
        let (first, weights) = self.neighbours(course.line);
        let phase = course.start - advance * blend(&weights, &self.phase_per_advance[first..]);
        self.rises(end)
            && phase > blend(&weights, &self.end_phase[first..])
            && self.excess(end, first, &weights)(phase) < 0.0
    }

    /// Whether what an end is measured by never falls.
    fn rises(&self, end: CrackEnd) -> bool {
        match end {
            CrackEnd::Depth(_) | CrackEnd::SectionFraction(_) => true,
            CrackEnd::Intensity(_) => self.intensity_rises,
        }
    }

    /// By how much, in logarithms or in y, a crack is beyond its end at a phase.
    fn excess<'a>(&'a self, end: CrackEnd, first: usize, weights: &'a [f64; 4]) -> impl Fn(f64) -> f64 + 'a {
        let limit = match end {
            CrackEnd::Depth(depth_mm) => exp(-ln(depth_mm) / self.depth_power),
            CrackEnd::SectionFraction(fraction) => ln(fraction * self.section_over_unit_crack),
            CrackEnd::Intensity(intensity) => ln(intensity),
        };
        move |phase| match end {
            CrackEnd::Depth(_) => limit - self.size(first, weights, phase).0,
            CrackEnd::SectionFraction(_) => {
                let (y, v) = self.size(first, weights, phase);
                -2.0 * self.depth_power * ln(y) + v - LN_2 - limit
            }
            CrackEnd::Intensity(_) => {
                let (deepest, surface) = self.grid.interpolate(&self.intensities, self.lines, first, weights, phase);
                deepest.max(surface) - limit
            }
        }
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

    #[inline(always)]
    fn size(&self, first: usize, weights: &[f64; 4], phase: f64) -> (f64, f64) {
        self.grid.interpolate(&self.sizes, self.lines, first, weights, phase)
    }

    /// The first of the four lines about a place between lines, and their weights.
    #[inline(always)]
    fn neighbours(&self, line: f64) -> (usize, [f64; 4]) {
        const TO_INTEGER: f64 = 4_503_599_627_370_496.0; // 2^52: adding it rounds to an integer
        let below = if line < self.last_stencil { line } else { self.last_stencil };
        let shifted = if below > 1.0 { below } else { 1.0 } - 0.499 + TO_INTEGER;
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
        if rises && excess_after <= 0.0 {
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
        if excess_after <= 0.0 {
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

    /// The course on which a crack has a size: by Newton's rule from a good guess, and by halving
    /// where lines have run so close together that the rule is lost.
    fn find(&self, ln_depth: f64, y: f64, q: f64) -> Course {
        const CLOSE: f64 = 1e-5;
        let v = LN_2 - q;
        let (mut line, mut phase) = self.guess(ln_depth, q);
        for _ in 0..5 {
            let (size, by_line, by_phase) = self.size_and_slopes(line, phase);
            let (dy, dv) = (y - size[0], v - size[1]);
            if dy.abs() * self.depth_power < CLOSE * y && dv.abs() < CLOSE {
                return Course { start: phase, line };
            }
            let determinant = by_line[0] * by_phase[1] - by_line[1] * by_phase[0];
            line = (line + (dy * by_phase[1] - dv * by_phase[0]) / determinant).max(0.0).min((self.lines - 1) as f64);
            phase = (phase + (dv * by_line[0] - dy * by_line[1]) / determinant).max(0.5 * phase).min(1.0);
        }
        let halve = |low: f64, high: f64, is_low: &dyn Fn(f64) -> bool| {
            let step = |(low, high): (f64, f64), _| {
                let middle = 0.5 * (low + high);
                if is_low(middle) { (middle, high) } else { (low, middle) }
            };
            let (low, high) = (0..40).fold((low, high), step);
            0.5 * (low + high)
        };
        let phase_on = |line: f64| {
            let (first, weights) = self.neighbours(line);
            halve(self.grid.lowest, 1.0, &|phase| self.size(first, &weights, phase).0 < y)
        };
        // Along equal depth the aspect rises from line to line.
        let line = halve(0.0, (self.lines - 1) as f64, &|line| {
            let (first, weights) = self.neighbours(line);
            self.size(first, &weights, phase_on(line)).1 > v
        });
        Course { start: phase_on(line), line }
    }

    /// Line and phase near a place, from the two columns about its depth.
    fn guess(&self, x: f64, q: f64) -> (f64, f64) {
        let columns = self.columns.len() / self.lines;
        let place = (x - self.first_column) / self.column_spacing;
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
        // Wide enough for single precision.
        const ACROSS: f64 = 0.05;
        let along = -1e-3 * phase;
        let (first, weights) = self.neighbours(line);
        let (y, v) = self.size(first, &weights, phase);
        let (y_along, v_along) = self.size(first, &weights, phase + along);
        let (first, weights) = self.neighbours(line + ACROSS);
        let (y_across, v_across) = self.size(first, &weights, phase);
        ([y, v], [(y_across - y) / ACROSS, (v_across - v) / ACROSS], [(y_along - y) / along, (v_along - v) / along])
    }
}

/// Weighted sum of four neighbours.
#[inline(always)]
fn blend(weights: &[f64; 4], values: &[f64]) -> f64 {
    let values = &values[..4];
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
}

impl PhaseGrid {
    fn new(lowest: f64, nodes_per_halving: f64) -> Self {
        let bits = (nodes_per_halving.log2().ceil() as u32).clamp(2, 7);
        let shift = FRACTION_BITS - bits;
        PhaseGrid { lowest, shift, first: lowest.to_bits() >> shift }
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
        let [mut lower, mut upper] = [[0.0_f32; 4]; 2];
        for (weight, line) in weights.iter().zip(&table[at..at + 4]) {
            for i in 0..4 {
                lower[i] += *weight as f32 * line[0][i];
                upper[i] += *weight as f32 * line[1][i];
            }
        }
        let within = (self.hold(phase).to_bits() << (FRACTION_BITS - self.shift)) & FRACTION;
        let u = f64::from_bits(within | ONE) - 1.0;
        let ([a0, b0, a1, b1], [a2, b2, a3, b3]) = (lower.map(f64::from), upper.map(f64::from));
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
        [[a[0], b[0], a[1], b[1]], [a[2], b[2], a[3], b[3]]]
    }
}
