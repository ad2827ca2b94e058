//! Techniques on a row, made ready.

use super::technique::TechniquePlan;
use crate::model::Study;
use crate::model::fleet::Row;
use crate::random::hash_name;

/// The techniques of a study on one row's surface, as it is and cleaned.
#[derive(Debug)]
pub(crate) struct InspectionPlan {
    pub techniques: Vec<TechniquePlan>,
    /// Techniques that may look at the row, as indices.
    pub in_use: Vec<usize>,
    /// Names whose standard normal numbers make the effects that persist in a crack.
    pub persistent_sources: Vec<u64>,
    /// -ln(1 - p) of the chance p that a blade is damaged on its way out or in.
    pub handling_hazard: f64,
}

impl InspectionPlan {
    /// Of all techniques, on surfaces as they are and cleaned, those for which `is_in_use` says so.
    pub fn new(study: &Study, row: &Row, is_in_use: impl Fn(usize) -> bool) -> Self {
        let techniques = TechniquePlan::all(study, row);
        let mut plan = InspectionPlan {
            in_use: (0..techniques.len()).filter(|&technique| is_in_use(technique)).collect(),
            techniques,
            persistent_sources: Vec::new(),
            handling_hazard: -(-study.roots[row.root].handling_damage_probability).ln_1p(),
        };
        plan.number_persistent_sources(study);
        plan
    }

    /// Those of some techniques that are one technique on several surfaces, put together.
    pub fn on_several_surfaces(&self, techniques: &[usize]) -> Vec<Vec<usize>> {
        let mut all: Vec<Vec<usize>> = Vec::new();
        for &technique in techniques {
            match all.iter_mut().find(|known| self.techniques[known[0]].of == self.techniques[technique].of) {
                Some(known) => known.push(technique),
                None => all.push(vec![technique]),
            }
        }
        all.retain(|surfaces| surfaces.len() > 1);
        all
    }

    /// Numbers the techniques whose normal numbers any technique in use asks for.
    fn number_persistent_sources(&mut self, study: &Study) {
        let mut sources: Vec<usize> = Vec::new();
        // In the order of the study: a cleaned surface changes no number.
        let mut in_use = self.in_use.clone();
        in_use.sort_by_key(|&technique| self.techniques[technique].of);
        for technique in in_use {
            for (source, _) in &mut self.techniques[technique].persistence {
                let known = sources.iter().position(|other| other == source);
                let place = known.unwrap_or(sources.len());
                if known.is_none() {
                    sources.push(*source);
                }
                *source = place;
            }
        }
        self.persistent_sources = sources.iter().map(|&source| hash_name(&study.techniques[source].id)).collect();
    }
}
