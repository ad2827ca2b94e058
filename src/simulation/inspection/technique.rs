//! A technique on the row's surface, as it is or cleaned.

use crate::distribution::Distribution;
use crate::model::Study;
use crate::model::detection::{Access, DepthGate, DepthSizing, PodCurve, SizeMeasure, Technique};
use crate::model::fleet::Row;
use crate::model::uncertain::UncertainInput;
use crate::random::{Key, hash_name};
use crate::simulation::inspection::draw;

/// The number of a technique of a study on a cleaned surface, or on one that is as it is: first stand the study's own
/// techniques, and then for each cleaning all of them.
pub(crate) fn on_surface(study: &Study, technique: usize, cleaning: Option<usize>) -> usize {
    technique + cleaning.map_or(0, |cleaning| 1 + cleaning) * study.techniques.len()
}

/// A technique on this row's surface. On a cleaned one it has the name, and so the draws, that it has on others.
#[derive(Debug)]
pub(crate) struct TechniquePlan {
    pub name: u64,
    /// Its number in the study.
    pub of: usize,
    pub access: Access,
    pub size: SizeMeasure,
    pub curve: PodCurve,
    /// ln q50 with the shifts of surface and grade.
    pub ln_q50: f64,
    pub per_spread: f64,
    pub gate: Option<DepthGate>,
    pub inspection_sigma: f64,
    /// Whether its looks differ from trial to trial in any way.
    pub shifts: bool,
    /// Factor on the probability of detection at cracks whose mouth is closed.
    pub closed_mouth_factor: f64,
    /// Whether the cleaning of the surface smears mouths shut.
    pub smears: Option<Smears>,
    /// Weights of the standard normal numbers (by place in `persistent_sources`) that make the
    /// shift a crack keeps.
    pub persistence: Vec<(usize, f64)>,
    /// -ln(1 - p) of the false-call probability p of a blade.
    pub false_call_hazard: f64,
    pub false_call_length: Distribution,
    pub sizing_bias: f64,
    pub sizing_sigma: f64,
    pub depth_sizing: Option<DepthSizing>,
    pub cost_per_row: f64,
    pub cost_per_blade: f64,
    pub days_per_row: f64,
}

/// A cleaning that smears mouths of cracks shut.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Smears {
    /// Number of its name.
    cleaning: u64,
    probability: f64,
}

impl Smears {
    /// Whether it shuts the mouth of a crack at an outage to come: one state for all techniques.
    #[inline]
    pub fn shuts(&self, crack: Key, to_come: usize) -> bool {
        crack.child(self.cleaning).uniform(draw::SMEARED + to_come as u64) < self.probability
    }
}

impl TechniquePlan {
    /// Of all techniques of a study, numbered by [`on_surface`].
    pub fn all(study: &Study, row: &Row) -> Vec<Self> {
        let cleanings = std::iter::once(None).chain((0..study.cleaning.len()).map(Some));
        let of =
            |cleaning| (0..study.techniques.len()).map(move |index| TechniquePlan::new(study, row, index, cleaning));
        cleanings.flat_map(of).collect()
    }

    fn new(study: &Study, row: &Row, index: usize, cleaning: Option<usize>) -> Self {
        let cleaning = cleaning.map(|cleaning| &study.cleaning[cleaning]);
        let Technique { id, access, pod, depth_gate, .. } = &study.techniques[index];
        let technique = &study.techniques[index];
        let persistence = study.persistence.factor[index]
            .iter()
            .enumerate()
            .filter(|(_, weight)| **weight != 0.0 && technique.crack_sigma > 0.0)
            .map(|(source, weight)| (source, technique.crack_sigma * weight))
            .collect();
        TechniquePlan {
            name: hash_name(id),
            of: index,
            access: *access,
            size: pod.size,
            curve: *pod,
            ln_q50: pod.q50_mm.ln()
                + technique.grade_shift_log
                + technique.surface_shift_log[row.surface]
                + cleaning.map_or(0.0, |cleaning| cleaning.q50_factors[index].ln()),
            per_spread: 1.0 / pod.spread,
            gate: *depth_gate,
            inspection_sigma: technique.inspection_sigma,
            shifts: technique.inspection_sigma > 0.0
                || study.uncertain.iter().any(|input| input.factor_on.contains(&UncertainInput::Q50(index))),
            closed_mouth_factor: technique.closed_mouth_factor,
            smears: cleaning.filter(|cleaning| cleaning.closes_mouth_probability > 0.0).map(|cleaning| Smears {
                cleaning: hash_name(&cleaning.id),
                probability: cleaning.closes_mouth_probability,
            }),
            persistence,
            false_call_hazard: -(-technique.false_call_probability).ln_1p(),
            false_call_length: technique.false_call_length_mm.clone(),
            sizing_bias: technique.sizing.length_bias,
            sizing_sigma: technique.sizing.length_sigma_log,
            depth_sizing: technique.depth_sizing.clone(),
            cost_per_row: technique.cost_per_row,
            cost_per_blade: technique.cost_per_blade,
            days_per_row: technique.days_per_row,
        }
    }

    /// Probability of detection by the logarithm of size, all that hides a crack from it, and the logarithm of depth.
    #[inline(always)]
    pub fn pod(&self, ln_size: f64, hidden: f64, ln_depth: f64, mouth_is_closed: bool) -> f64 {
        let open = self.curve.at((ln_size - hidden) * self.per_spread) * self.gate_factor(ln_depth);
        if mouth_is_closed { self.closed_mouth_factor * open } else { open }
    }

    /// Factor of the second condition on depth.
    fn gate_factor(&self, ln_depth: f64) -> f64 {
        self.gate.map_or(1.0, |gate| self.curve.shape.at((ln_depth - gate.q50_mm.ln()) / gate.spread))
    }

    /// The shift of ln q50 that persists in a crack, from the normal numbers that it keeps.
    #[inline(always)]
    pub fn persistent_shift(&self, number: impl Fn(usize) -> f64) -> f64 {
        self.persistence.iter().map(|&(source, weight)| weight * number(source)).sum()
    }
}
