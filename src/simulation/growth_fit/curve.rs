//! The growth curve of the median crack of a hot spot: starts against size, and back.

use super::integral::{cubic, slopes};
use crate::math::{exp, ln};
use crate::model::Study;
use crate::model::fleet::HotSpot;
use crate::model::growth::{Course, CrackEnd, GrowthPath};

/// Which size of a crack was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SizeKind {
    /// Depth.
    Depth,
    /// Surface length.
    Length,
}

impl SizeKind {
    /// Its column in a file of sizes.
    pub fn column(self) -> &'static str {
        match self {
            SizeKind::Depth => "depth_mm",
            SizeKind::Length => "length_mm",
        }
    }

    /// Its name in sentences.
    pub fn words(self) -> &'static str {
        match self {
            SizeKind::Depth => "depth",
            SizeKind::Length => "surface length",
        }
    }
}

/// Starts at the median rate against the logarithm of a size in mm, tabled at equal steps of that logarithm.
///
/// A tabled growth curve begins where the median crack does. Below, it goes on as Paris' law has it for a crack that keeps
/// its shape: only true sizes that nobody knows are sought there, never measured ones.
#[derive(Debug, Clone)]
pub(super) struct GrowthCurve {
    /// Where the crack leaves the range of its published solution, if that is before the end.
    pub leaves_solution: Option<f64>,
    /// Exponent of size in growth, `m/2 - 1`, below the beginning.
    power: f64,
    first: f64,
    step: f64,
    starts: Vec<f64>,
    slopes: Vec<f64>,
}

/// The median crack of a hot spot on its growth path.
pub(super) struct Median {
    path: GrowthPath,
    kind: SizeKind,
    course: Course,
    /// Advance until the path ends.
    deepest: f64,
    /// Logarithm of the size with which it begins; none for a closed form, which holds for any.
    pub begins: Option<f64>,
    /// Logarithm of the size at which the path ends, infinite or nearly so where it has no section.
    pub end: f64,
}

impl Median {
    /// For sizes from a logarithm on, where the path is a closed form.
    pub fn new(study: &Study, spot: &HotSpot, kind: SizeKind, low: f64) -> Self {
        /// Deeper than any section is thick, so that the path's own end comes first where it has one.
        const DEEPEST_MM: f64 = 1e12;
        let path = study.growth_path(spot);
        let aspect = spot.initial_aspect.quantile(0.5);
        let is_tabled = !path.is_straight();
        // Of a closed form length is a fixed multiple of depth.
        let of_1_mm = ln_size(&path, kind, path.course(1.0, aspect), 0.0);
        let depth_mm = if is_tabled { spot.initial_depth_mm.quantile(0.5) } else { exp(low - of_1_mm) };
        let course = path.course(depth_mm, aspect);
        let deepest = path.advance_to(course, CrackEnd::Depth(DEEPEST_MM));
        Median {
            begins: is_tabled.then(|| ln_size(&path, kind, course, 0.0)),
            end: ln_size(&path, kind, course, deepest),
            path,
            kind,
            course,
            deepest,
        }
    }

    fn ln_size(&self, advance: f64) -> f64 {
        ln_size(&self.path, self.kind, self.course, advance)
    }

    /// Advance until a size, between the beginning and the end.
    fn advance_at(&self, ln_size: f64) -> f64 {
        let (mut below, mut above) = (0.0, self.deepest);
        loop {
            let middle = 0.5 * (below + above);
            if middle <= below || middle >= above {
                return middle;
            }
            if self.ln_size(middle) < ln_size { below = middle } else { above = middle }
        }
    }

    /// Logarithm of the size at which it leaves the range of its published solution, if it does before the end.
    fn leaves_solution(&self) -> Option<f64> {
        if self.path.covers(self.course, self.deepest * (1.0 - 1e-9)) {
            return None;
        }
        let (mut inside, mut outside) = (0.0, self.deepest);
        for _ in 0..60 {
            let middle = 0.5 * (inside + outside);
            if self.path.covers(self.course, middle) { inside = middle } else { outside = middle }
        }
        Some(self.ln_size(inside))
    }
}

fn ln_size(path: &GrowthPath, kind: SizeKind, course: Course, advance: f64) -> f64 {
    let (y, ln_ratio) = path.size_at(course, advance);
    let ln_depth = -ln(y) * path.depth_power();
    if kind == SizeKind::Depth { ln_depth } else { ln_depth + ln_ratio }
}

impl GrowthCurve {
    /// For sizes between two, in logarithms of mm.
    pub fn new(study: &Study, spot: &HotSpot, kind: SizeKind, [low, high]: [f64; 2]) -> Self {
        const STEPS: usize = 240;
        let median = Median::new(study, spot, kind, low);
        // Beyond sizes that no measurement comes near nothing is tabled.
        let last = median.end.min(high);
        let first = median.begins.map_or(low, |begins| begins.max(low));
        let step = (last - first).max(1e-9) / STEPS as f64;
        let rate = median.path.rate();
        let starts: Vec<f64> = (0..=STEPS).map(|index| median.advance_at(first + step * index as f64) / rate).collect();
        GrowthCurve {
            leaves_solution: median.leaves_solution(),
            power: 0.5 * study.growth[spot.growth].exponent - 1.0,
            first,
            step,
            slopes: slopes(&starts),
            starts,
        }
    }

    /// Starts at the median rate until a size.
    pub fn starts_at(&self, ln_size: f64) -> f64 {
        let part = (ln_size - self.first) / self.step;
        if part < 0.0 {
            let below = self.first - ln_size;
            let per_log = self.slopes[0] / self.step;
            let spent = if self.power.abs() < 1e-9 { below } else { (self.power * below).exp_m1() / self.power };
            return self.starts[0] - per_log * spent;
        }
        let index = (part as usize).min(self.starts.len() - 2);
        cubic(&self.starts[index..], &self.slopes[index..], (part - index as f64).min(1.0))
    }

    /// Logarithm of the size after so many; infinite beyond the last.
    pub fn ln_size_at(&self, starts: f64) -> f64 {
        if starts > self.end_starts() {
            return f64::INFINITY;
        }
        if starts < self.starts[0] {
            let spent = (self.starts[0] - starts) * self.step / self.slopes[0];
            let below = if self.power.abs() < 1e-9 { spent } else { (self.power * spent).ln_1p() / self.power };
            return self.first - below;
        }
        let index = self.starts.partition_point(|known| *known <= starts).clamp(1, self.starts.len() - 1) - 1;
        let (values, slopes) = (&self.starts[index..], &self.slopes[index..]);
        let (mut low, mut high) = (0.0, 1.0);
        let mut part = (starts - values[0]) / (values[1] - values[0]);
        for _ in 0..40 {
            let there = cubic(values, slopes, part) - starts;
            if there > 0.0 {
                high = part
            } else {
                low = part
            }
            if there.abs() <= 1e-13 * values[1].abs() || high - low < 1e-12 {
                break;
            }
            // Newton's rule by the chord's slope, and by halves where that leaves the bracket.
            let nudge = 1e-6;
            let slope = (cubic(values, slopes, part + nudge) - cubic(values, slopes, part - nudge)) / (2.0 * nudge);
            let next = part - there / slope;
            part = if next > low && next < high { next } else { 0.5 * (low + high) };
        }
        self.first + self.step * (index as f64 + part)
    }

    /// Starts at the last size of the table.
    pub fn end_starts(&self) -> f64 {
        self.starts[self.starts.len() - 1]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(text: &str, spot: usize, kind: SizeKind, mm: [f64; 2]) -> (Study, GrowthCurve) {
        let study = Study::parse(text, "study").expect("a good study");
        let curve = GrowthCurve::new(&study, &study.roots[0].hot_spots[spot], kind, mm.map(f64::ln));
        (study, curve)
    }

    #[test] // the closed form of the growth path itself, m = 2.8
    fn a_closed_form_is_tabled_to_seven_figures_and_back() {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let (study, curve) = curve(text, 0, SizeKind::Depth, [0.05, 6.0]);
        let spot = &study.roots[0].hot_spots[0];
        let path = study.growth_path(spot);
        for (from, to) in [(0.1_f64, 0.2_f64), (0.4, 4.0), (1.0, 1.01)] {
            let expected = path.advance_to(path.course(from, 1.0), CrackEnd::Depth(to)) / path.rate();
            let ours = curve.starts_at(to.ln()) - curve.starts_at(from.ln());
            assert!((ours / expected - 1.0).abs() < 1e-6, "{from} to {to} mm: {ours} and {expected}");
            let back = curve.ln_size_at(curve.starts_at(to.ln()));
            assert!((back - to.ln()).abs() < 1e-9, "{to} mm: {back}");
        }
    }

    #[test]
    fn a_tabled_curve_begins_with_the_median_crack_and_goes_on_below_it() {
        let text = include_str!("../../../tests/engine/data/small.toml");
        for kind in [SizeKind::Depth, SizeKind::Length] {
            let (study, curve) = curve(text, 0, kind, [0.01, 1e3]);
            let spot = &study.roots[0].hot_spots[0];
            let path = study.growth_path(spot);
            let (depth_mm, aspect) = (spot.initial_depth_mm.quantile(0.5), spot.initial_aspect.quantile(0.5));
            let course = path.course(depth_mm, aspect);
            let size = |advance: f64| {
                let (y, ln_ratio) = path.size_at(course, advance);
                -ln(y) * path.depth_power() + if kind == SizeKind::Length { ln_ratio } else { 0.0 }
            };
            let begins = Median::new(&study, spot, kind, 0.0).begins.expect("a beginning");
            assert!((begins - size(0.0)).abs() < 1e-12);
            let whole = path.advance_to(course, CrackEnd::Depth(1e12)) / path.rate();
            assert!((curve.end_starts() / whole - 1.0).abs() < 1e-6);
            for part in [0.01, 0.3, 0.8, 0.99] {
                let (ours, expected) = (curve.ln_size_at(part * whole), size(part * whole * path.rate()));
                assert!((ours - expected).abs() < 2e-5, "{kind:?} {part}: {ours} and {expected}");
                assert!((curve.starts_at(ours) / (part * whole) - 1.0).abs() < 1e-8);
            }
            // As smooth across the beginning as on both sides of it, and back again.
            let rate = |at: f64| (curve.starts_at(at + 1e-3) - curve.starts_at(at - 1e-3)) / 2e-3;
            assert!((rate(begins - 2e-3) / rate(begins + 2e-3) - 1.0).abs() < 0.02);
            let below = begins - 0.7;
            assert!((curve.ln_size_at(curve.starts_at(below)) - below).abs() < 1e-9);
            assert_eq!(curve.ln_size_at(1.001 * whole), f64::INFINITY);
        }
    }
}
