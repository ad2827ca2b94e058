//! The trajectory of one crack that was followed: its size at any moment.

use crate::math::exp;
use crate::model::fracture::Outside;

/// Size of a crack against time, piece by piece; refilled for each crack, so that nothing is allocated.
///
/// Times are years since the crack began.
#[derive(Debug, Clone, Default)]
pub struct Trajectory {
    pub(super) born_year: f64,
    pub(super) pieces: Vec<Piece>,
    pub(super) last: Place,
    /// Largest ln half length: that of a crack that spans its section.
    pub(super) ln_spanning: f64,
    pub(super) outcome: Outcome,
    pub(super) notes: Notes,
}

/// End of a crack's trajectory.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Outcome {
    /// It was still there, growing or at rest, when it was left.
    #[default]
    Remains,
    /// Its blade was lost.
    Lost {
        /// When.
        year: f64,
        /// Why.
        cause: LossCause,
    },
}

/// Why a blade was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LossCause {
    /// The crack met its loss rule.
    Rule,
    /// It cut through the section before that.
    CutThrough,
    /// The crack met its loss rule under the stress of an overspeed.
    Overspeed,
    /// Vibration rose above the threshold of growth, and takes the blade at once.
    Vibration,
}

/// Notes on a crack's trajectory, to be counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Notes {
    /// In what the crack was outside the range of its stress-intensity solution, and held at its edge.
    pub outside: Outside,
    /// It took more steps than are allowed, and was left where it was.
    pub unfinished: bool,
}

/// A place on the trajectory.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Place {
    pub(super) years: f64,
    pub(super) ln_depth: f64,
    /// ln depth + ln half length.
    pub(super) s: f64,
}

/// A piece of the trajectory: ln depth and time against s = ln(depth half length), as polynomials of the part
/// of the step that is done.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub(super) s: f64,
    pub(super) step: f64,
    /// Part of the step up to which the piece is used.
    pub(super) until: f64,
    pub(super) ln_depth: Dense,
    pub(super) years: Dense,
}

/// The interpolation that comes with a step of Dormand and Prince (Hairer, Nørsett and Wanner, "Solving
/// Ordinary Differential Equations I", II.6); with its last number zero, Hermite's.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dense(pub(super) [f64; 5]);

impl Dense {
    /// Hermite's cubic from values and slopes at both ends.
    pub(super) fn hermite(from: f64, to: f64, slope_from: f64, slope_to: f64, step: f64) -> Self {
        let rise = to - from;
        let bend = step * slope_from - rise;
        Dense([from, rise, bend, rise - step * slope_to - bend, 0.0])
    }

    #[inline]
    pub(super) fn at(&self, part: f64) -> f64 {
        let [r1, r2, r3, r4, r5] = self.0;
        let rest = 1.0 - part;
        r1 + part * (r2 + rest * (r3 + part * (r4 + rest * r5)))
    }

    /// The part at which a rising interpolation takes a value, between 0 and an upper end.
    pub(super) fn part_at(&self, value: f64, upper: f64) -> f64 {
        // Sought in the whole piece, so that where it is cut off changes no digit of what comes before.
        let (mut low, mut high) = (0.0, 1.0);
        let (mut below, mut above) = (self.at(low) - value, self.at(high) - value);
        if below >= 0.0 || above <= 0.0 {
            return if below >= 0.0 { low } else { upper };
        }
        // The Illinois rule: false position with the stale end's value halved.
        let mut middle = low;
        for _ in 0..30 {
            middle = (low * above - high * below) / (above - below);
            let there = self.at(middle) - value;
            if there.abs() <= 1e-10 * value.abs() || high - low < 1e-9 {
                break;
            }
            if there >= 0.0 {
                (high, above, below) = (middle, there, 0.5 * below);
            } else {
                (low, below, above) = (middle, there, 0.5 * above);
            }
        }
        middle.min(upper)
    }
}

impl Piece {
    pub(super) fn place(&self, part: f64) -> Place {
        Place { years: self.years.at(part), ln_depth: self.ln_depth.at(part), s: self.s + part * self.step }
    }
}

impl Trajectory {
    /// An empty trajectory, to be filled.
    pub fn new() -> Self {
        Trajectory::default()
    }

    /// Year in which the crack began.
    pub fn born_year(&self) -> f64 {
        self.born_year
    }

    /// How it ended.
    pub fn outcome(&self) -> Outcome {
        self.outcome
    }

    /// Notes on it, to be counted.
    pub fn notes(&self) -> Notes {
        self.notes
    }

    /// Steps that it took.
    pub fn steps(&self) -> usize {
        self.pieces.len()
    }

    /// Depth and half length (length, for a corner crack) in a year, in mm; before the crack began those
    /// it began with, after its end those it ended with.
    pub fn size_at_mm(&self, year: f64) -> [f64; 2] {
        let [ln_depth, ln_half_length] = self.ln_size_at(year, &mut 0);
        [exp(ln_depth), exp(ln_half_length)]
    }

    /// Sizes in years that are in order, in mm: depth and half length of each.
    pub fn sizes_at_mm(&self, years: &[f64], depth_mm: &mut [f64], half_length_mm: &mut [f64]) {
        let mut piece = 0;
        for (year, (depth_mm, half_length_mm)) in years.iter().zip(depth_mm.iter_mut().zip(half_length_mm)) {
            let [ln_depth, ln_half_length] = self.ln_size_at(*year, &mut piece);
            (*depth_mm, *half_length_mm) = (exp(ln_depth), exp(ln_half_length));
        }
    }

    /// Logarithms of depth and half length; `piece` is where to look first, and where it was found.
    pub(super) fn ln_size_at(&self, year: f64, piece: &mut usize) -> [f64; 2] {
        let end_year = match self.outcome {
            Outcome::Lost { year, .. } => year,
            Outcome::Remains => f64::INFINITY,
        };
        let years = year.min(end_year) - self.born_year;
        while *piece + 1 < self.pieces.len() && self.pieces[*piece + 1].years.at(0.0) <= years {
            *piece += 1;
        }
        let place = match self.pieces.get(*piece) {
            Some(piece) => piece.place(piece.years.part_at(years, piece.until)),
            None => self.last,
        };
        [place.ln_depth, (place.s - place.ln_depth).min(self.ln_spanning)]
    }
}
