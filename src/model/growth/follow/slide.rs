//! A point of the front that keeps to its threshold while the other grows.
//!
//! Above the threshold its own growth would take it below, and below it the other's growth takes it
//! above: between two points with a jump of the growth rate at the threshold this is the only solution
//! (a sliding solution in the sense of A. F. Filippov, "Differential Equations with Discontinuous
//! Righthand Sides", 1988). The point's coordinate then follows from the other's, and the sliding ends when
//! the growth that this takes is outside what the point can give.

use super::{DEPTH_TOLERANCE, Here, Regime, Slope, TIME_TOLERANCE, Walk};
use crate::model::growth::trajectory::{Dense, Piece, Place};

/// Longest step in s, halved where it is not exact enough, where the sliding ends, and where another mechanism sets
/// in, down to the shortest.
const STEP: f64 = 0.1;
const SHORTEST: f64 = 2e-4;
/// For slopes of the margin by differences, in logarithms.
const NUDGE: f64 = 1e-5;

/// Whether a point can slide on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Slides {
    On,
    /// It would have to grow faster than it can: it falls behind, and is above the threshold from now on.
    Above,
    /// It would have to grow slower than it does without the mechanism: it is below from now on.
    Below,
}

/// A place on the threshold.
struct Node {
    place: Place,
    regimes: [Regime; 2],
    slope: Slope,
    slides: Slides,
}

impl Walk<'_> {
    /// The mechanism, and its point, that has set in or out against given regimes, and that the growth
    /// that follows takes back at once.
    pub(super) fn turns_back(&self, here: &Here, regimes: [Regime; 2]) -> Option<(usize, usize)> {
        let new = here.regimes();
        for point in 0..2 {
            for mechanism in [Regime::FATIGUE, Regime::CORROSION, Regime::VIBRATION] {
                let is_on = new[point].has(mechanism);
                if regimes[point].has(mechanism) == is_on {
                    continue;
                }
                let slope = self.slope(&here.loads, new);
                if !slope.years.is_finite() {
                    continue;
                }
                let Place { years, ln_depth, s } = here.place;
                let ahead = Place { years, ln_depth: ln_depth + NUDGE * slope.ln_depth, s: s + NUDGE };
                if (self.look(ahead).margins[point][mechanism] > 0.0) != is_on {
                    return Some((point, mechanism));
                }
            }
        }
        None
    }

    /// Slides from a place until the point leaves its threshold; gives the place and the regimes from
    /// there, `None` at the end of the trajectory.
    pub(super) fn slide(&mut self, from: Here, point: usize, mechanism: usize) -> Option<(Here, [Regime; 2])> {
        let mut here = from;
        let mut step = STEP;
        while self.trajectory.pieces.len() < super::MOST_STEPS {
            let regimes = here.regimes();
            let node = |place| self.on_threshold(place, regimes, point, mechanism);
            let Some(first) = node(here.place) else { return Some((here, regimes)) };
            let leave = |mechanism_on: bool| {
                let mut regimes = regimes;
                let this = regimes[point];
                regimes[point] = if mechanism_on { this.with(mechanism) } else { this.without(mechanism) };
                Some((here, regimes))
            };
            match first.slides {
                Slides::Above => return leave(true),
                Slides::Below => return leave(false),
                Slides::On => (),
            }
            let ahead = |part: f64| {
                let Place { years, ln_depth, s } = first.place;
                node(Place { years, ln_depth: ln_depth + part * step * first.slope.ln_depth, s: s + part * step })
            };
            let (Some(early), Some(middle), Some(late), Some(last)) =
                (ahead(0.25), ahead(0.5), ahead(0.75), ahead(1.0))
            else {
                if step > SHORTEST {
                    step *= 0.5;
                    continue;
                }
                return self.step_aside(&here, regimes, point, mechanism);
            };
            let others_change = (0..2).any(|i| {
                let change = |regime: Regime| if i == point { regime.without(mechanism) } else { regime };
                change(last.regimes[i]) != change(regimes[i])
            });
            if (last.slides != Slides::On || others_change) && step > SHORTEST {
                step *= 0.5;
                continue;
            }
            // Simpson's rule over the halves, and over the whole to see how exact that is.
            let [first_years, last_years] = [&first, &last].map(|node| node.slope.years);
            let (quarters, mid) = (early.slope.years + late.slope.years, middle.slope.years);
            let years = step / 12.0 * (first_years + 4.0 * quarters + 2.0 * mid + last_years);
            let roughly = step / 6.0 * (first_years + 4.0 * mid + last_years);
            let start = first.place.years;
            let (first_deeper, last_deeper) = (first.slope.ln_depth, last.slope.ln_depth);
            let piece = Piece {
                s: first.place.s,
                step,
                until: 1.0,
                ln_depth: Dense::hermite(first.place.ln_depth, last.place.ln_depth, first_deeper, last_deeper, step),
                years: Dense::hermite(start, start + years, first_years, last_years, step),
            };
            let depth_error = (piece.place(0.5).ln_depth - middle.place.ln_depth).abs() / DEPTH_TOLERANCE;
            let time_error = (years - roughly).abs() / (TIME_TOLERANCE * years);
            if !(depth_error.max(time_error) <= 1.0) {
                if step > SHORTEST {
                    step *= 0.5;
                    continue;
                }
                return self.step_aside(&here, regimes, point, mechanism);
            }
            let end = self.look(piece.place(1.0));
            let (piece, end, ends) = self.ends_within(piece, end);
            here = self.add(piece, end, ends)?;
            step = (2.0 * step).min(STEP);
        }
        Some((here, here.regimes()))
    }

    /// Lets a crack grow for the shortest step without the mechanism: across a jump of the threshold, beyond which it
    /// may be that the point grows freely, or stays behind. `None` at the end of the trajectory.
    fn step_aside(
        &mut self,
        here: &Here,
        mut regimes: [Regime; 2],
        point: usize,
        mechanism: usize,
    ) -> Option<(Here, [Regime; 2])> {
        regimes[point] = regimes[point].without(mechanism);
        let slope = self.slope(&here.loads, regimes);
        if !slope.years.is_finite() {
            return Some((*here, here.regimes()));
        }
        let straight = |from: f64, slope: f64| Dense::hermite(from, from + SHORTEST * slope, slope, slope, SHORTEST);
        let piece = Piece {
            s: here.place.s,
            step: SHORTEST,
            until: 1.0,
            ln_depth: straight(here.place.ln_depth, slope.ln_depth),
            years: straight(here.place.years, slope.years),
        };
        let end = self.look(piece.place(1.0));
        let (piece, end, ends) = self.ends_within(piece, end);
        let reached = self.add(piece, end, ends)?;
        Some((reached, reached.regimes()))
    }

    /// The place on the threshold at an s, near a given one, with the slopes of sliding.
    fn on_threshold(&self, near: Place, regimes: [Regime; 2], point: usize, mechanism: usize) -> Option<Node> {
        let margin = |ln_depth: f64, s: f64| self.look(Place { ln_depth, s, ..near }).margins[point][mechanism];
        let mut ln_depth = near.ln_depth;
        let mut by_depth = f64::NAN;
        for _ in 0..3 {
            let there = margin(ln_depth, near.s);
            by_depth = (margin(ln_depth + NUDGE, near.s) - there) / NUDGE;
            let change = there / by_depth;
            if !(change.abs() < 0.2) {
                return None;
            }
            ln_depth -= change;
        }
        let by_s = (margin(ln_depth, near.s + NUDGE) - margin(ln_depth, near.s)) / NUDGE;
        let along = -by_s / by_depth;
        let place = Place { ln_depth, ..near };
        let here = self.look(place);
        let growth = |on: bool| {
            let mut regimes = regimes;
            let this = regimes[point];
            regimes[point] = if on { this.with(mechanism) } else { this.without(mechanism) };
            let [deeper, longer] = self.rates(&here.loads, regimes);
            [deeper / here.loads.depth_mm, longer / here.loads.half_length_mm]
        };
        let (below, above) = (growth(false), growth(true));
        // Shares of s that the sliding point and the other take; the other grows as it can.
        let shares = if point == 0 { [along, 1.0 - along] } else { [1.0 - along, along] };
        let other = above[1 - point];
        let years = shares[1] / other;
        if !(years.is_finite() && years > 0.0) {
            return None;
        }
        let needed = shares[0] / years;
        let slides = if needed > above[point] {
            Slides::Above
        } else if needed < below[point] {
            Slides::Below
        } else {
            Slides::On
        };
        Some(Node { place, regimes: here.regimes(), slope: Slope { ln_depth: along, years }, slides })
    }
}
