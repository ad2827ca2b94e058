//! A study with what records say of a technique in it.

use super::write;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::statistics::evidence::Evidence;
use toml_edit::{DocumentMut, Item, Table, Value};

impl Study {
    /// The study with a technique's detection as its records have it; checked as a whole, like a study file.
    ///
    /// Replaces the curve, the basis and whatever else the evidence knows in technique `id`. What it is silent
    /// about (access, sizing, costs, ...) stays as it is; for a new technique, it is that of technique `like`. A
    /// curve whose records do not tell grades apart is of the procedure as it was used: its `grade_shift_log` is 0.
    /// `closed_mouth_factor` stays: where the records held cracks with closed mouths, the curve has their effect already
    /// and the study counts it once more, which errs towards missing more; set it to 1 to count it once.
    ///
    /// # Errors
    /// Refuses a technique that the study does not have, a surface that it does not know, and a study that breaks
    /// a rule.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::statistics::hit_miss::{Looks, Model, fit};
    ///
    /// let looks: Vec<(f64, bool)> = (1..40).map(|look| (0.1 * f64::from(look), look % 7 < look / 5)).collect();
    /// let fitted = fit(&Looks::from_pairs(&looks)?.from_source("a trial in 2031"), &Model::default())?;
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let id = study.techniques[0].id.clone();
    /// let changed = study.with_technique(&id, None, &fitted.evidence()?)?;
    /// assert_eq!(changed.techniques[0].pod, fitted.pod_curve()?);
    /// assert!(changed.techniques[0].basis.as_ref().is_some_and(|basis| basis.contains("a trial in 2031")));
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn with_technique(&self, id: &str, like: Option<&str>, evidence: &Evidence) -> Result<Study> {
        let (name, like) = like.map_or(("technique", id), |like| ("like", like));
        let Some(model) = self.techniques.iter().find(|technique| technique.id == like) else {
            let known: Vec<&str> = self.techniques.iter().map(|technique| technique.id.as_str()).collect();
            let remedy = format!("access, sizing and costs come from one that it has: {}", known.join(", "));
            return Err(Error::argument(name, format!("{like:?}"), "the study has no such technique", &remedy));
        };
        let mut technique = model.clone();
        technique.id = id.to_owned();
        technique.pod = evidence.pod;
        let of_grade = evidence.grade_shift_log.iter().find(|(grade, _)| *grade == technique.grade);
        technique.grade_shift_log = of_grade.map_or(0.0, |(_, shift)| *shift);
        for (surface, shift) in &evidence.surface_shift_log {
            let index = self.surfaces.iter().position(|known| known.id == *surface).ok_or_else(|| {
                let known: Vec<&str> = self.surfaces.iter().map(|surface| surface.id.as_str()).collect();
                let remedy = format!("name surfaces alike in both; the study has {}", known.join(", "));
                Error::argument("surface", format!("{surface:?}"), "the study has no such surface", &remedy)
            })?;
            technique.surface_shift_log[index] = *shift;
        }
        technique.inspection_sigma = evidence.inspection_sigma.unwrap_or(technique.inspection_sigma);
        technique.false_call_probability = evidence.false_call_probability.unwrap_or(technique.false_call_probability);
        technique.basis = Some(evidence.basis.clone());
        let mut document: DocumentMut = self.to_toml().parse().expect("the text of a study is TOML");
        let entries = &mut document["techniques"];
        if !self.techniques.iter().any(|known| known.id == id) {
            let mut new = entries[like].clone();
            if let Some(table) = new.as_table_mut() {
                // What stands above the other is said of the other.
                table.decor_mut().set_prefix("\n");
                move_to_end(table);
            }
            entries[id] = new;
        }
        for (key, value) in write::detection(&technique, &self.surfaces) {
            entries[id][key] = value
                .map_or(Item::None, |value| Item::Value(value.parse::<Value>().expect("the text of a value is TOML")));
        }
        self.changed(&document)
    }
}

/// Puts a table, and those in it, behind all others of its text.
fn move_to_end(table: &mut Table) {
    table.set_position(Some(isize::MAX));
    for (_, item) in table.iter_mut() {
        item.as_table_mut().into_iter().for_each(move_to_end);
    }
}
