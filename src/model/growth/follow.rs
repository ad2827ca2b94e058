//! Follows one crack through time by a law that the tables do not cover: thresholds, two stages, residual
//! stress, stress corrosion, vibration.
//!
//! Dormand and Prince's pair of orders 5 and 4 steps in s = ln(depth half length); ln depth and time are
//! integrated, both smooth in s where rates by time run over many powers of ten. Within a step the
//! mechanisms that act are held fixed ([`Regime`]), so that it never meets a jump; where the set changes
//! the step is cut off and the next begins. A point whose growth would take it back below the threshold
//! that it has just passed keeps to the threshold: it *slides*.

mod slide;

use super::intensity_map::{IntensityMap, MappedLoads};
use super::loss_rule::{LossRule, SectionAtLoss};
use super::rate_law::{Margins, RateLaw, Regime};
use super::section::THROUGH_FRACTION;
use super::site::{LoadFactors, Site};
use super::trajectory::{Dense, LossCause, Notes, Outcome, Piece, Place, Trajectory};
use crate::error::Result;
use crate::math::{exp, ln};
use crate::model::usage::DutyPeriod;
use crate::model::vibration::Runaway;
use std::f64::consts::LN_2;

/// Steps after which a crack is left where it is.
const MOST_STEPS: usize = 2_000;
/// Error of ln depth in a step that is aimed at.
const DEPTH_TOLERANCE: f64 = 2e-5;
/// Error of the time of a step, over that time.
const TIME_TOLERANCE: f64 = 4e-5;
/// First step in s.
const FIRST_STEP: f64 = 0.3;
/// Longest step in s: a factor of 1.6 in depth and in length.
const LONGEST_STEP: f64 = 1.0;
/// A step that is cut off before this part of it is taken again, as short as that: its error is one of
/// the whole step.
const LEAST_PART: f64 = 0.5;
/// A step this short is accepted at any error: the rates have a kink there.
const SHORTEST_STEP: f64 = 1e-4;

/// The cracks of one hot spot, followed one by one.
///
/// # Example
/// ```
/// use serrata::model::fracture::{CrackPlace, CrackedSection, StressField};
/// use serrata::model::growth::{
///     Following, GrowthLines, LossRule, Outcome, ParisLine, RateLaw, Seed, Site, StartRate, Threshold, Trajectory,
/// };
/// use serrata::model::usage::DutyPeriod;
///
/// let stress = StressField::Linear { membrane_mpa: 300.0, bending_mpa: 0.0 };
/// let site = Site::new(CrackedSection::new(20.0, 100.0, CrackPlace::Along, stress)?, 0.0, None, None)?;
/// let lines = GrowthLines::Paris(ParisLine::new(1e-11, 3.0)?);
/// let per_start = StartRate::new(lines, Threshold::constant(5.0)?, None)?;
/// let law = RateLaw { per_start, stress_corrosion: None, vibration: None };
/// let following = Following::new(&site, law)?;
///
/// let duty = [DutyPeriod { from_year: 2000.0, starts_per_year: 250.0, hours_per_year: 4000.0 }];
/// let mut trajectory = Trajectory::new();
/// following.follow(&Seed::new(2000.0, 0.5, 0.7), &duty, 3000.0, &LossRule::Depth(10.0), &mut trajectory);
/// let Outcome::Lost { year, .. } = trajectory.outcome() else { panic!("must be lost") };
/// assert!(2000.0 < year && year < 3000.0);
/// let [depth_mm, _] = trajectory.size_at_mm(year);
/// assert!((depth_mm - 10.0).abs() < 1e-3);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Following {
    map: IntensityMap,
    section: SectionAtLoss,
    law: RateLaw,
    ln_through: f64,
}

/// A crack as it begins, with its own factors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seed {
    /// When.
    pub year: f64,
    /// Depth, in mm.
    pub depth_mm: f64,
    /// Half the surface length, in mm; the length for a corner crack.
    pub half_length_mm: f64,
    /// Its blade's factors on stress.
    pub factors: LoadFactors,
    /// Factor on growth per cycle, of starts and of vibration.
    pub start_rate_factor: f64,
    /// Factor on growth by stress corrosion.
    pub corrosion_rate_factor: f64,
    /// Factor on the threshold of fatigue.
    pub threshold_factor: f64,
}

impl Seed {
    /// A crack of median growth in a blade of nominal stress.
    pub fn new(year: f64, depth_mm: f64, half_length_mm: f64) -> Self {
        Seed {
            year,
            depth_mm,
            half_length_mm,
            factors: LoadFactors::default(),
            start_rate_factor: 1.0,
            corrosion_rate_factor: 1.0,
            threshold_factor: 1.0,
        }
    }
}

impl Following {
    fn vibration_takes_at_once(&self) -> bool {
        self.law.vibration.is_some_and(|vibration| vibration.runaway() == Runaway::AtOnce)
    }

    /// Makes a hot spot ready.
    ///
    /// # Errors
    /// Refuses a law whose threshold does not say what holds at the stress ratios of the site.
    pub fn new(site: &Site, law: RateLaw) -> Result<Self> {
        law.per_start.threshold().check_ratios(site.open_ratios())?;
        let map = IntensityMap::new(site);
        let ln_through = ln(THROUGH_FRACTION * map.thickness_mm());
        Ok(Following { section: SectionAtLoss::new(site), map, law, ln_through })
    }

    /// By how much a crack of a depth and half length in mm is past its loss rule or through the section;
    /// negative before.
    pub fn excess(&self, rule: &LossRule, [depth_mm, half_length_mm]: [f64; 2], seed: &Seed) -> f64 {
        let loads = self.map.loads(ln(depth_mm), ln(half_length_mm), seed.factors);
        self.excess_of(rule, &loads, seed)
    }

    fn excess_of(&self, rule: &LossRule, loads: &MappedLoads, seed: &Seed) -> f64 {
        rule.excess(&self.section, loads, seed.factors).max(ln(loads.depth_mm) - self.ln_through)
    }

    /// Follows a crack from its beginning to its end, or until a step passes a year, and writes its trajectory.
    ///
    /// `duty` has at least one period; they are in order, the first one holds before it begins and the
    /// last goes on. Both clocks run in fixed ratio within a period.
    pub fn follow(
        &self,
        seed: &Seed,
        duty: &[DutyPeriod],
        until_year: f64,
        rule: &LossRule,
        trajectory: &mut Trajectory,
    ) {
        let ln_spanning = self.map.ln_spanning();
        let (ln_depth, ln_half_length) = (ln(seed.depth_mm), ln(seed.half_length_mm).min(ln_spanning));
        trajectory.pieces.clear();
        trajectory.born_year = seed.year;
        trajectory.ln_spanning = ln_spanning;
        trajectory.outcome = Outcome::Remains;
        trajectory.notes = Notes::default();
        trajectory.last = Place { years: 0.0, ln_depth, s: ln_depth + ln_half_length };
        let period = duty.iter().rposition(|period| period.from_year <= seed.year).unwrap_or(0);
        let Some((running, later)) = duty.get(period..).and_then(<[_]>::split_first) else { return };
        let mut walk =
            Walk { of: self, seed, rule, running: *running, later, years_left: until_year - seed.year, trajectory };
        walk.go();
    }

    /// Lets a crack that was followed meet overspeeds, whose years are in order and none before it began: the
    /// first that finds it past its loss rule, with the stress of a start raised by a factor, ends it there.
    pub fn meet_overspeeds(
        &self,
        seed: &Seed,
        stress_factor: f64,
        years: impl Iterator<Item = f64>,
        rule: &LossRule,
        trajectory: &mut Trajectory,
    ) {
        let factors = LoadFactors { stress: stress_factor * seed.factors.stress, ..seed.factors };
        let raised = Seed { factors, ..*seed };
        let end_year = match trajectory.outcome {
            Outcome::Lost { year, .. } => year,
            Outcome::Remains => f64::INFINITY,
        };
        let mut piece = 0;
        for year in years.take_while(|year| *year < end_year) {
            let [ln_depth, ln_half_length] = trajectory.ln_size_at(year, &mut piece);
            let loads = self.map.loads(ln_depth, ln_half_length, factors);
            if !(self.excess_of(rule, &loads, &raised) < 0.0) {
                trajectory.outcome = Outcome::Lost { year, cause: LossCause::Overspeed };
                return;
            }
        }
    }
}

/// The integration of one crack's trajectory.
struct Walk<'a> {
    of: &'a Following,
    seed: &'a Seed,
    rule: &'a LossRule,
    running: DutyPeriod,
    later: &'a [DutyPeriod],
    years_left: f64,
    trajectory: &'a mut Trajectory,
}

/// Change of ln depth and of time by s.
#[derive(Debug, Clone, Copy, Default)]
struct Slope {
    ln_depth: f64,
    years: f64,
}

/// A place with all that acts there.
#[derive(Debug, Clone, Copy)]
struct Here {
    place: Place,
    loads: MappedLoads,
    margins: [Margins; 2],
}

impl Here {
    fn regimes(&self) -> [Regime; 2] {
        self.margins.map(|margins| Regime::of(&margins))
    }

    /// The least margin, as a size, of what has changed since given regimes; negative once it has.
    fn until_change(&self, regimes: [Regime; 2], changed: [Regime; 2]) -> f64 {
        let mut least = f64::INFINITY;
        for i in 0..2 {
            for mechanism in 0..Regime::COUNT {
                let (was, is) = (regimes[i].has(mechanism), changed[i].has(mechanism));
                if was != is {
                    let margin = self.margins[i][mechanism];
                    least = least.min(if was { margin } else { -margin });
                }
            }
        }
        least
    }
}

/// Events that end a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ends {
    Not,
    /// A period of duty, or the time to follow the crack.
    Period,
    Lost(LossCause),
}

impl Walk<'_> {
    fn go(&mut self) {
        let mut here = self.look(self.trajectory.last);
        self.trajectory.notes.outside = here.loads.outside;
        if let Some(cause) = self.lost_at(&here) {
            self.trajectory.outcome = Outcome::Lost { year: self.seed.year, cause };
            return;
        }
        let mut regimes = here.regimes();
        let mut step = FIRST_STEP;
        while self.trajectory.pieces.len() < MOST_STEPS {
            let first = self.slope(&here.loads, regimes);
            if !first.years.is_finite() {
                // Nothing grows, unless in another period.
                if !self.rest() {
                    return;
                }
                here.place = self.trajectory.last;
                continue;
            }
            let Some((mut piece, mut end)) = self.step(&here, regimes, first, &mut step) else { break };
            let changed = end.regimes();
            if changed != regimes {
                let is_past = |here: &Here| here.regimes() != regimes;
                let until = |here: &Here| here.until_change(regimes, changed);
                (piece.until, end) = self.cut(&piece, end, is_past, until);
            }
            let (piece, end, ends) = self.ends_within(piece, end);
            if piece.until < LEAST_PART && piece.step > 4.0 * SHORTEST_STEP {
                step = (1.1 * piece.until * piece.step).max(SHORTEST_STEP);
                continue;
            }
            let Some(reached) = self.add(piece, end, ends) else { return };
            here = reached;
            let turned = self.turns_back(&here, regimes);
            regimes = here.regimes();
            if let Some((point, mechanism)) = turned {
                let Some((left, after)) = self.slide(here, point, mechanism) else { return };
                (here, regimes, step) = (left, after, FIRST_STEP);
            }
        }
        self.trajectory.notes.unfinished = true;
    }

    /// Mechanisms that act at a place.
    #[inline]
    fn look(&self, place: Place) -> Here {
        let loads = self.loads(place.ln_depth, place.s);
        let margins = loads.points.map(|load| self.of.law.margins(&load, self.seed.threshold_factor));
        Here { place, loads, margins }
    }

    #[inline]
    fn loads(&self, ln_depth: f64, s: f64) -> MappedLoads {
        self.of.map.loads(ln_depth, s - ln_depth, self.seed.factors)
    }

    /// Growth in mm per year at both points, in given regimes.
    #[inline]
    fn rates(&self, loads: &MappedLoads, regimes: [Regime; 2]) -> [f64; 2] {
        [0, 1].map(|i| {
            let rates = self.of.law.rates_in(regimes[i], &loads.points[i]);
            let cyclic = self.running.starts_per_year * rates.m_per_start
                + self.running.hours_per_year * rates.vibration_m_per_hour;
            let corrosion = self.running.hours_per_year * rates.corrosion_m_per_hour;
            1e3 * (self.seed.start_rate_factor * cyclic + self.seed.corrosion_rate_factor * corrosion)
        })
    }

    #[inline]
    fn slope(&self, loads: &MappedLoads, regimes: [Regime; 2]) -> Slope {
        let [deeper, longer] = self.rates(loads, regimes);
        let (depth, length) = (deeper / loads.depth_mm, longer / loads.half_length_mm);
        let years = 1.0 / (depth + length);
        Slope { ln_depth: depth * years, years }
    }

    /// Takes a step within a regime; `None` when no step is short enough.
    fn step(&self, here: &Here, regimes: [Regime; 2], first: Slope, step: &mut f64) -> Option<(Piece, Here)> {
        // Towards the end of all cracks lies a pole.
        let left = (self.of.ln_through - here.place.ln_depth) / first.ln_depth;
        *step = step.min((0.7 * left).max(0.05));
        loop {
            let h = *step;
            let (piece, to, error) = self.try_step(here, regimes, first, h);
            if let Some(joint) = self.joint_within(&piece) {
                *step = joint;
                continue;
            }
            if !error.is_finite() && h <= SHORTEST_STEP {
                return None;
            }
            let change = if error.is_finite() { 0.9 * exp(-0.2 * ln(error.max(1e-6))) } else { 0.0 };
            *step = (h * change.clamp(0.2, 4.0)).clamp(SHORTEST_STEP, LONGEST_STEP);
            if error <= 1.0 || h <= SHORTEST_STEP {
                return Some((piece, self.look(to)));
            }
        }
    }

    /// How far into a step the solution for the stress intensity passes a joint: from one branch of its
    /// equation to the other, into what holds it at the edge of its range, or into the hand-over to an edge
    /// crack. `None` when it passes none, or one close to either end.
    fn joint_within(&self, piece: &Piece) -> Option<f64> {
        const CLOSE: f64 = 1e-2;
        let side = |part: f64| {
            let Place { ln_depth, s, .. } = piece.place(part);
            let ln_aspect = 2.0 * ln_depth - s;
            [ln_aspect > 0.0, ln_aspect > LN_2, s - ln_depth > self.of.map.ln_spanning() - LN_2]
        };
        let (mut low, mut high) = (CLOSE / piece.step, 1.0 - 0.01 * CLOSE / piece.step);
        if low >= high || side(low) == side(high) {
            return None;
        }
        let first = side(low);
        while (high - low) * piece.step > 1e-6 {
            let middle = 0.5 * (low + high);
            if side(middle) == first { low = middle } else { high = middle }
        }
        Some(high * piece.step)
    }

    /// One step of Dormand and Prince (1980), and its estimated error over the tolerance.
    #[inline]
    fn try_step(&self, here: &Here, regimes: [Regime; 2], first: Slope, h: f64) -> (Piece, Place, f64) {
        const NODES: [f64; 7] = [0.0, 1.0 / 5.0, 3.0 / 10.0, 4.0 / 5.0, 8.0 / 9.0, 1.0, 1.0];
        const STAGES: [[f64; 6]; 7] = [
            [0.0; 6],
            [1.0 / 5.0, 0.0, 0.0, 0.0, 0.0, 0.0],
            [3.0 / 40.0, 9.0 / 40.0, 0.0, 0.0, 0.0, 0.0],
            [44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0, 0.0, 0.0, 0.0],
            [19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0, 0.0, 0.0],
            [9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0, 0.0],
            [35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
        ];
        const ERROR: [f64; 7] =
            [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339_200.0, 22.0 / 525.0, -1.0 / 40.0];
        const DENSE: [f64; 7] = [
            -12_715_105_075.0 / 11_282_082_432.0,
            0.0,
            87_487_479_700.0 / 32_700_410_799.0,
            -10_690_763_975.0 / 1_880_347_072.0,
            701_980_252_875.0 / 199_316_789_632.0,
            -1_453_857_185.0 / 822_651_844.0,
            69_997_945.0 / 29_380_423.0,
        ];
        let Place { years, ln_depth, s } = here.place;
        let mut slopes = [first; 7];
        let (mut deeper, mut longer) = (0.0, 0.0);
        for stage in 1..7 {
            (deeper, longer) = (0.0, 0.0);
            for (factor, slope) in STAGES[stage].iter().zip(&slopes[..stage]) {
                deeper += factor * slope.ln_depth;
                longer += factor * slope.years;
            }
            let loads = self.loads(ln_depth + h * deeper, s + h * NODES[stage]);
            slopes[stage] = self.slope(&loads, regimes);
        }
        let sum = |factors: &[f64; 7]| {
            factors.iter().zip(&slopes).fold([0.0, 0.0], |[x, t], (factor, slope)| {
                [x + h * factor * slope.ln_depth, t + h * factor * slope.years]
            })
        };
        let ([depth_error, time_error], [depth_dense, time_dense]) = (sum(&ERROR), sum(&DENSE));
        let dense = |from: f64, rise: f64, first: f64, last: f64, fifth: f64| {
            let bend = h * first - rise;
            Dense([from, rise, bend, rise - h * last - bend, fifth])
        };
        let last = slopes[6];
        let piece = Piece {
            s,
            step: h,
            until: 1.0,
            ln_depth: dense(ln_depth, h * deeper, first.ln_depth, last.ln_depth, depth_dense),
            years: dense(years, h * longer, first.years, last.years, time_dense),
        };
        let to = Place { years: years + h * longer, ln_depth: ln_depth + h * deeper, s: s + h };
        let error = (depth_error.abs() / DEPTH_TOLERANCE).max(time_error.abs() / (TIME_TOLERANCE * h * longer));
        (piece, to, error)
    }

    /// Where a piece is cut off: just after a condition comes true, which a measure shows by falling
    /// through zero. At the piece's end it is true.
    fn cut(
        &self,
        piece: &Piece,
        end: Here,
        is_past: impl Fn(&Here) -> bool,
        measure: impl Fn(&Here) -> f64,
    ) -> (f64, Here) {
        /// In s; far below any size that matters.
        const CLOSE: f64 = 1e-9;
        let (mut low, mut high, mut past) = (0.0, piece.until, end);
        let (mut before, mut after) = (measure(&self.look(piece.place(low))).max(0.0), measure(&end).min(0.0));
        for round in 1..60 {
            if (high - low) * piece.step < CLOSE {
                break;
            }
            // The Illinois rule, and halving now and then in case it is lost.
            let guess = (low * after - high * before) / (after - before);
            let within = guess > low && guess < high && round % 6 != 0;
            let nearest = 0.5 * CLOSE / piece.step;
            let middle = if within { guess.max(low + nearest).min(high - nearest) } else { 0.5 * (low + high) };
            let there = self.look(piece.place(middle));
            let value = measure(&there);
            if is_past(&there) {
                (high, after, before, past) = (middle, value.min(0.0), 0.5 * before, there);
            } else {
                (low, before, after) = (middle, value.max(0.0), 0.5 * after);
            }
        }
        (high, past)
    }

    /// A piece, up to where the crack meets its end or another period begins, and which.
    fn ends_within(&self, mut piece: Piece, mut end: Here) -> (Piece, Here, Ends) {
        let mut ends = self.lost_at(&end).map_or(Ends::Not, Ends::Lost);
        if ends != Ends::Not && !(self.excess(&end) < 0.0) {
            let is_past = |here: &Here| !(self.excess(here) < 0.0);
            (piece.until, end) = self.cut(&piece, end, is_past, |here| -self.excess(here));
        }
        let next = self.later.first().map_or(f64::INFINITY, |period| period.from_year - self.seed.year);
        if end.place.years >= next {
            piece.until = piece.years.part_at(next, piece.until);
            end = self.look(piece.place(piece.until));
            ends = Ends::Period;
        }
        (piece, end, ends)
    }

    /// Adds a piece; `None` at the end of the trajectory, else the place from which it goes on. The last piece may
    /// reach beyond the year until which the crack is followed: it is not cut off there, so that no digit depends on
    /// that year.
    fn add(&mut self, piece: Piece, end: Here, ends: Ends) -> Option<Here> {
        self.trajectory.notes.outside = self.trajectory.notes.outside.or(end.loads.outside);
        self.trajectory.pieces.push(piece);
        self.trajectory.last = end.place;
        match ends {
            Ends::Lost(cause) => {
                self.trajectory.outcome = Outcome::Lost { year: self.seed.year + end.place.years, cause };
                None
            }
            Ends::Period => self.next_period().then_some(end),
            Ends::Not => (end.place.years < self.years_left).then_some(end),
        }
    }

    /// Rests until another period; false when there is none before time is over.
    fn rest(&mut self) -> bool {
        let Some(next) = self.later.first() else { return false };
        self.trajectory.last.years = next.from_year - self.seed.year;
        self.next_period()
    }

    /// Goes over to the next period, if there is one before time is over.
    fn next_period(&mut self) -> bool {
        let Some((next, later)) = self.later.split_first() else { return false };
        (self.running, self.later) = (*next, later);
        next.from_year - self.seed.year < self.years_left
    }

    fn lost_at(&self, here: &Here) -> Option<LossCause> {
        let shaken = |margins: &Margins| margins[Regime::VIBRATION] > 0.0;
        if !(self.rule.excess(&self.of.section, &here.loads, self.seed.factors) < 0.0) {
            Some(LossCause::Rule)
        } else if !(here.place.ln_depth < self.of.ln_through) {
            Some(LossCause::CutThrough)
        } else if self.of.vibration_takes_at_once() && here.margins.iter().any(shaken) {
            Some(LossCause::Vibration)
        } else {
            None
        }
    }

    /// By how much the crack is past its loss rule or through the section; negative before.
    fn excess(&self, here: &Here) -> f64 {
        self.of.excess_of(self.rule, &here.loads, self.seed)
    }
}
