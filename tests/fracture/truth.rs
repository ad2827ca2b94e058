//! The slow truth: coupled growth at both points, integrated in time to 1e-10 by Dormand and Prince's
//! method of order 8 from the library `differential-equations`.
//!
//! The law is written down once more, by powers and from plain numbers. Where a mechanism sets in, its
//! rate ramps up over a small part of the threshold instead of jumping, so that nothing needs to be known
//! about what happens at a jump. Usually that is a 100,000th. Where a point is held at its threshold this
//! makes the equations so stiff that only Radau's implicit method of order 5 gets through, with two ramps that are a
//! little wider and from which the way without a ramp is extrapolated ([`Truth`]).

use differential_equations::prelude::*;
use serrata::model::growth::PointLoad;
use serrata::model::usage::DutyPeriod;

/// Width of the ramp over the threshold: the usual one, and those to extrapolate from with their doubles, of which the
/// first is taken that an integrator gets through.
const RAMP: f64 = 1e-5;
const WIDE_RAMPS: [f64; 3] = [3e-5, 1e-4, 1e-3];

/// A law by plain numbers.
#[derive(Debug, Clone)]
pub struct PlainLaw {
    /// C in m per start with MPa sqrt(m), and m; two for a two-stage law.
    pub lines: Vec<(f64, f64)>,
    /// Threshold in MPa sqrt(m) against R.
    pub threshold: fn(f64) -> f64,
    pub threshold_factor: f64,
    pub walker_exponent: f64,
    /// K_ISCC in MPa sqrt(m) and the plateau in m per hour.
    pub corrosion: Option<(f64, f64)>,
    /// Cycles per hour of the vibration.
    pub vibration_per_hour: f64,
    /// Width of the ramp over the threshold.
    pub ramp: f64,
}

impl PlainLaw {
    pub fn paris(coefficient: f64, exponent: f64) -> Self {
        PlainLaw {
            lines: vec![(coefficient, exponent)],
            threshold: |_| 0.0,
            threshold_factor: 1.0,
            walker_exponent: 1.0,
            corrosion: None,
            vibration_per_hour: 0.0,
            ramp: RAMP,
        }
    }

    /// Growth by a cycle, in m.
    pub fn per_cycle(&self, highest: f64, lowest: f64) -> f64 {
        if highest <= 0.0 {
            return 0.0;
        }
        let lowest = lowest.max(0.0);
        let (range, ratio) = (highest - lowest, lowest / highest);
        let threshold = self.threshold_factor * (self.threshold)(ratio);
        let effective = range / (1.0 - ratio).powf(1.0 - self.walker_exponent);
        let rates = self.lines.iter().map(|(c, m)| c * effective.powf(*m));
        rates.fold(f64::INFINITY, f64::min) * self.ramp(range, threshold)
    }

    fn ramp(&self, x: f64, threshold: f64) -> f64 {
        if threshold == 0.0 { 1.0 } else { ((x / threshold - 1.0) / self.ramp + 0.5).clamp(0.0, 1.0) }
    }

    /// Growth at a point in m per year.
    fn per_year(&self, load: &PointLoad, duty: &DutyPeriod) -> f64 {
        let (highest, lowest, half) = (load.start.highest(), load.start.lowest(), 0.5 * load.vibratory_range);
        let start = self.per_cycle(highest, lowest);
        let vibration = if half > 0.0 && self.vibration_per_hour > 0.0 {
            self.per_cycle(highest + half, highest - half) * self.vibration_per_hour
        } else {
            0.0
        };
        let corrosion = self.corrosion.map_or(0.0, |(threshold, plateau)| plateau * self.ramp(highest, threshold));
        duty.starts_per_year * start + duty.hours_per_year * (vibration + corrosion)
    }
}

/// A crack with all that acts on it.
#[derive(Clone)]
pub struct Growing<'a> {
    /// Loads at both points from depth and half length in mm.
    pub loads: &'a dyn Fn([f64; 2]) -> [PointLoad; 2],
    pub law: PlainLaw,
    /// Periods, in years since the crack began.
    pub duty: &'a [DutyPeriod],
    /// Depth at which every crack has met its end, and half length at which it spans the section, in mm.
    pub largest_mm: [f64; 2],
}

/// Within one period.
struct InPeriod<'a>(&'a Growing<'a>, DutyPeriod);

/// ln depth and ln half length in mm, by years. Past the end of any crack it stands still, so that the
/// integration has no pole.
impl ODE<f64, [f64; 2]> for InPeriod<'_> {
    fn diff(&self, _years: f64, y: &[f64; 2], change: &mut [f64; 2]) {
        let InPeriod(growing, duty) = self;
        let size_mm = y.map(f64::exp);
        *change = [0.0; 2];
        if size_mm[0] < growing.largest_mm[0] {
            let loads = (growing.loads)(size_mm);
            for i in 0..2 {
                if size_mm[i] < growing.largest_mm[i] {
                    change[i] = 1e3 * growing.law.per_year(&loads[i], duty) / size_mm[i];
                }
            }
        }
    }
}

/// How a crack grows, as the limit of ever narrower ramps.
pub enum Truth<'a> {
    /// So narrow that it makes no difference.
    Narrow(Way<'a>),
    /// A wide one and one of twice its width.
    Wide(Way<'a>, Way<'a>),
}

impl<'a> Truth<'a> {
    /// Follows a crack of a depth and half length in mm for some years; `None` where no method gets through.
    pub fn follow(growing: &Growing<'a>, size_mm: [f64; 2], years: f64) -> Option<Self> {
        if let Some(way) = Way::follow(growing.clone(), size_mm, years, false) {
            return Some(Truth::Narrow(way));
        }
        let wide = |ramp: f64| {
            let law = PlainLaw { ramp, ..growing.law.clone() };
            Way::follow(Growing { law, ..growing.clone() }, size_mm, years, true)
        };
        WIDE_RAMPS.iter().find_map(|ramp| Some(Truth::Wide(wide(*ramp)?, wide(2.0 * ramp)?)))
    }

    /// Depth and half length after some years, in mm.
    pub fn size_mm(&self, years: f64) -> [f64; 2] {
        match self {
            Truth::Narrow(way) => way.size_mm(years),
            Truth::Wide(way, wider) => {
                let (way, wider) = (way.size_mm(years), wider.size_mm(years));
                [0, 1].map(|i| 2.0 * way[i] - wider[i])
            }
        }
    }

    /// Years until a measure of depth and half length is first above zero; `None` when it never is.
    pub fn years_until(&self, measure: impl Fn([f64; 2]) -> f64) -> Option<f64> {
        match self {
            Truth::Narrow(way) => way.years_until(measure),
            Truth::Wide(way, wider) => Some(2.0 * way.years_until(&measure)? - wider.years_until(&measure)?),
        }
    }
}

/// The way of a crack, step by step.
pub struct Way<'a> {
    growing: Growing<'a>,
    steps: Vec<Step>,
}

/// Years, ln depth and ln half length in mm at the beginning of a step, and its period.
#[derive(Debug, Clone, Copy)]
struct Step {
    years: f64,
    y: [f64; 2],
    period: usize,
}

impl<'a> Way<'a> {
    /// Follows a crack of a depth and half length for some years.
    fn follow(growing: Growing<'a>, size_mm: [f64; 2], years: f64, stiff: bool) -> Option<Self> {
        let mut steps = vec![Step { years: 0.0, y: size_mm.map(f64::ln), period: 0 }];
        for period in 0..growing.duty.len() {
            let end = growing.duty.get(period + 1).map_or(years, |next| next.from_year.min(years));
            let begin = Step { period, ..*steps.last()? };
            if end > begin.years {
                let solution = solve(&growing, &begin, end, stiff)?;
                steps.extend(solution.iter().map(|(t, y)| Step { years: *t, y: *y, period }));
            }
        }
        Some(Way { growing, steps })
    }

    fn size_mm(&self, years: f64) -> [f64; 2] {
        let step = self.steps.partition_point(|step| step.years <= years).saturating_sub(1);
        self.from(step, years).map(f64::exp)
    }

    /// Where a measure is above zero at the end of a step for the first time, and when in that step.
    fn years_until(&self, measure: impl Fn([f64; 2]) -> f64) -> Option<f64> {
        let is_past = |y: [f64; 2]| measure(y.map(f64::exp)) >= 0.0;
        let past = self.steps.iter().position(|step| is_past(step.y))?;
        let Some(step) = past.checked_sub(1) else { return Some(0.0) };
        let (mut low, mut high) = (self.steps[step].years, self.steps[past].years);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if is_past(self.from(step, middle)) { high = middle } else { low = middle }
        }
        Some(high)
    }

    /// From a step's beginning to a time within it.
    fn from(&self, step: usize, years: f64) -> [f64; 2] {
        let step = self.steps[step];
        if years - step.years <= 1e-13 * years {
            return step.y;
        }
        *solve(&self.growing, &step, years, true).expect("a part of a step").last().expect("a place").1
    }
}

/// Every place is integrated to: the dense output of order 8 in version 0.7 of the library, on which its
/// events rest, was found to be wrong by up to 1 %.
fn solve(growing: &Growing<'_>, from: &Step, to: f64, stiff: bool) -> Option<Solution<f64, [f64; 2]>> {
    let system = InPeriod(growing, growing.duty[from.period]);
    let explicit = ExplicitRungeKutta::dop853().rtol(1e-10).atol(1e-12).max_steps(10_000).max_rejects(10_000);
    let implicit = ImplicitRungeKutta::radau5().rtol(1e-9).atol(1e-11).max_steps(100_000).max_rejects(100_000);
    let problem = || IVP::ode(&system, from.years, to, from.y);
    problem().method(explicit).solve().ok().or_else(|| {
        let implicit = || problem().method(implicit).solve().ok();
        stiff.then(implicit).flatten()
    })
}
