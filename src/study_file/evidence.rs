//! A study with what records say of a technique in it.

use super::write;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::model::uncertain::UncertainInput;
use crate::statistics::evidence::{Evidence, GrowthEvidence};
use toml_edit::{Array, DocumentMut, Item, Table, Value, value};

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

    /// The study with the coefficient of a growth law as sizes of cracks have it; checked as a whole, like a study file.
    ///
    /// Where `uncertain` gives a name, what the sizes leave open of the coefficient becomes the uncertain input of that
    /// name; one that is there and has this coefficient alone is replaced. The law's own scatter from crack to crack and
    /// from row to row stays.
    ///
    /// # Errors
    /// Refuses a law that the study does not have, an uncertain input of that name that has others, one of another name
    /// that has this coefficient already, and a study that breaks a rule.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::statistics::evidence::GrowthEvidence;
    ///
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let (law, basis) = ("wet-steam".to_owned(), "a trial in 2031".to_owned());
    /// let evidence = GrowthEvidence { law, coefficient_m_per_start: 6e-10, sigma_log: 0.2, basis };
    /// let changed = study.with_growth(&evidence, Some("growth-rate"))?;
    /// assert_eq!(changed.growth[0].coefficient_m_per_start, 6e-10);
    /// assert_eq!(changed.uncertain[0].sigma_log, 0.2);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn with_growth(&self, evidence: &GrowthEvidence, uncertain: Option<&str>) -> Result<Study> {
        let id = evidence.law.as_str();
        let Some(law) = self.growth.iter().position(|law| law.id == id) else {
            let known: Vec<&str> = self.growth.iter().map(|law| law.id.as_str()).collect();
            let remedy = format!("fit in a study with the same laws; this one has {}", known.join(", "));
            return Err(Error::argument("law", format!("{id:?}"), "the study has no such growth law", &remedy));
        };
        let mut document: DocumentMut = self.to_toml().parse().expect("the text of a study is TOML");
        document["growth"][id]["coefficient_m_per_start"] = value(evidence.coefficient_m_per_start);
        document["growth"][id]["basis"] = value(evidence.basis.as_str());
        if let Some(name) = uncertain {
            let input = UncertainInput::GrowthCoefficient(law);
            let there = self.uncertain.iter().find(|entry| entry.id == name);
            if there.is_some_and(|entry| entry.factor_on != [input]) {
                let rule = "has other inputs than this coefficient, of which these sizes say nothing";
                return Err(Error::argument("uncertain", format!("{name:?}"), rule, "give a name of its own"));
            }
            if let Some(other) = self.uncertain.iter().find(|one| one.id != name && one.factor_on.contains(&input)) {
                let rule = format!("the coefficient is uncertain by {:?} already", other.id);
                let remedy = "give that name, where it has no other input, or leave uncertain out";
                return Err(Error::argument("uncertain", format!("{name:?}"), &rule, remedy));
            }
            let mut entry = Table::new();
            entry["factor_on"] = value(Array::from_iter([input.key(self)]));
            entry["sigma_log"] = value(evidence.sigma_log);
            entry["basis"] = value(evidence.basis.as_str());
            // At the end of the text, where it breaks no table in two.
            entry.set_position(Some(isize::MAX));
            entry.decor_mut().set_prefix("\n");
            if document.get("uncertain").is_none() {
                let mut all = Table::new();
                all.set_implicit(true);
                document["uncertain"] = Item::Table(all);
            }
            document["uncertain"][name] = Item::Table(entry);
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
