//! Growth at a point of a crack front by all that acts there: per start and per hour.

use super::cycle::Cycle;
use super::start_rate::StartRate;
use crate::error::Result;
use crate::math::exp;
use crate::model::stress_corrosion::StressCorrosion;
use crate::model::vibration::{Runaway, Vibration};

/// Loads on a crack at a point of its front.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointLoad {
    /// A start: from standstill, or the lowest load, to full load.
    pub start: Cycle,
    /// Range of stress intensity of the vibration about full load, in MPa sqrt(m).
    pub vibratory_range: f64,
}

impl PointLoad {
    /// The vibration as a cycle.
    #[inline]
    fn vibration(&self) -> Cycle {
        let half = 0.5 * self.vibratory_range;
        Cycle::between(self.start.highest() - half, self.start.highest() + half)
    }
}

/// Growth rates at a point of a crack front.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Rates {
    /// By starts.
    pub m_per_start: f64,
    /// By stress corrosion, while running.
    pub corrosion_m_per_hour: f64,
    /// By vibration, while running.
    pub vibration_m_per_hour: f64,
}

/// A material's law of growth: what a start adds, and what an hour adds. Both add up.
#[derive(Debug, Clone, PartialEq)]
pub struct RateLaw {
    /// Fatigue, by starts.
    pub per_start: StartRate,
    /// Stress corrosion, by running hours.
    pub stress_corrosion: Option<StressCorrosion>,
    /// Vibration, by its cycles within running hours.
    pub vibration: Option<Vibration>,
}

impl RateLaw {
    /// Refuses a threshold at or above the toughness.
    ///
    /// # Errors
    /// As said, and a toughness out of range.
    pub fn check_toughness(&self, toughness_mpa_sqrt_m: f64) -> Result<()> {
        self.per_start.check_toughness(toughness_mpa_sqrt_m)
    }

    /// Growth rates under a load; `threshold_factor` scales the threshold of fatigue and of vibration.
    pub fn rates(&self, load: &PointLoad, threshold_factor: f64) -> Rates {
        self.rates_in(Regime::of(&self.margins(load, threshold_factor)), load)
    }

    /// Whether vibration takes the blade at once.
    pub fn is_lost_to_vibration(&self, load: &PointLoad, threshold_factor: f64) -> bool {
        self.vibration.is_some_and(|vibration| vibration.runaway() == Runaway::AtOnce)
            && self.margins(load, threshold_factor)[Regime::VIBRATION] > 0.0
    }

    /// By how much each mechanism is above the place where it sets in.
    #[inline]
    pub(in crate::model) fn margins(&self, load: &PointLoad, threshold_factor: f64) -> Margins {
        const NEVER: f64 = -1.0;
        let mut margins = [NEVER; Regime::COUNT];
        margins[Regime::OPEN] = load.start.lowest();
        margins[Regime::FATIGUE] = self.per_start.above_threshold(&load.start, threshold_factor);
        if let super::GrowthLines::TwoStage(two) = self.per_start.lines() {
            let range = exp(self.per_start.ln_effective_range(&load.start, load.start.lowest() > 0.0));
            margins[Regime::HIGH_STAGE] = range - two.transition_mpa_sqrt_m();
        }
        if let Some(corrosion) = &self.stress_corrosion {
            margins[Regime::CORROSION] = load.start.highest() - corrosion.threshold_mpa_sqrt_m();
        }
        if self.vibration.is_some() && load.vibratory_range > 0.0 {
            margins[Regime::VIBRATION] = self.per_start.above_threshold(&load.vibration(), threshold_factor);
        }
        margins
    }

    /// Rates as if a regime held at any load.
    #[inline]
    pub(in crate::model) fn rates_in(&self, regime: Regime, load: &PointLoad) -> Rates {
        let mut rates = Rates::default();
        if regime.has(Regime::FATIGUE) {
            let ln_range = self.per_start.ln_effective_range(&load.start, regime.has(Regime::OPEN));
            rates.m_per_start = self.per_start.lines().at_ln(ln_range, regime.has(Regime::HIGH_STAGE));
        }
        if regime.has(Regime::CORROSION) {
            rates.corrosion_m_per_hour = self.stress_corrosion.map_or(0.0, |corrosion| corrosion.plateau_m_per_hour());
        }
        if regime.has(Regime::VIBRATION) {
            rates.vibration_m_per_hour = self.vibration_m_per_hour(load);
        }
        rates
    }

    fn vibration_m_per_hour(&self, load: &PointLoad) -> f64 {
        match &self.vibration {
            Some(vibration) if vibration.runaway() == Runaway::ByLaw => {
                let cycle = load.vibration();
                let ln_range = self.per_start.ln_effective_range(&cycle, cycle.lowest() > 0.0);
                let lines = self.per_start.lines();
                vibration.cycles_per_hour() * lines.at_ln(ln_range, lines.is_high(exp(ln_range)))
            }
            _ => 0.0,
        }
    }
}

/// By how much each mechanism of a [`Regime`] is above the place where it sets in.
pub(in crate::model) type Margins = [f64; Regime::COUNT];

/// Which mechanisms act at a point: within a regime its rates are smooth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::model) struct Regime(u8);

impl Regime {
    /// The crack stays open over the whole start.
    pub(in crate::model) const OPEN: usize = 0;
    /// A start is above the threshold.
    pub(in crate::model) const FATIGUE: usize = 1;
    /// It is on the line for large ranges.
    pub(in crate::model) const HIGH_STAGE: usize = 2;
    /// Stress corrosion acts.
    pub(in crate::model) const CORROSION: usize = 3;
    /// Vibration is above the threshold.
    pub(in crate::model) const VIBRATION: usize = 4;
    pub(in crate::model) const COUNT: usize = 5;

    #[inline]
    pub(in crate::model) fn of(margins: &Margins) -> Self {
        Regime(margins.iter().enumerate().fold(0, |bits, (i, margin)| bits | (u8::from(*margin > 0.0) << i)))
    }

    #[inline(always)]
    pub(in crate::model) fn has(self, mechanism: usize) -> bool {
        self.0 & (1 << mechanism) != 0
    }

    /// The same without a mechanism.
    pub(in crate::model) fn without(self, mechanism: usize) -> Self {
        Regime(self.0 & !(1 << mechanism))
    }

    /// The same with a mechanism.
    pub(in crate::model) fn with(self, mechanism: usize) -> Self {
        Regime(self.0 | (1 << mechanism))
    }
}
