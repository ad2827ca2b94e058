//! Plans that differ from one of a study in some values, in every way: a grid to choose from.

use super::edit::set;
use crate::error::{Error, Result};
use crate::model::strategy::Strategy;
use crate::model::{Study, StudyParts};
use std::collections::BTreeSet;
use toml_edit::{DocumentMut, Value};

/// More plans than this are not made at once.
const MOST_PLANS: usize = 2_000;

/// Values that a key of a plan takes in turn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Varied {
    /// Key path within the plan, such as `looks[1].every_outages`, list elements counted from 1.
    pub path: String,
    /// Values as a study file has them.
    pub values: Vec<String>,
}

/// Plans made of one by changing some of its values in every way.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanGrid {
    /// The plans, named by their values; those of the last path vary fastest.
    pub plans: Vec<Strategy>,
    /// For each plan its values, one for each path.
    pub values: Vec<Vec<String>>,
    /// Combinations that break a rule, by name, with what is wrong.
    pub refused: Vec<(String, String)>,
}

impl Study {
    /// Plans like one of the study's, with some values changed: each value of one path meets each of the others.
    ///
    /// Combinations that the study refuses are told, and left out.
    ///
    /// # Errors
    /// Refuses a plan that is not in the study, a path that leads nowhere, values that are none or stand twice, and a grid
    /// without any plan that keeps the rules.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::study_file::Varied;
    ///
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let path = "looks[1].every_outages".to_owned();
    /// let every = Varied { path, values: ["1", "2", "0"].map(str::to_owned).to_vec() };
    /// let grid = study.plan_grid("in-place-every-second", &[every])?;
    /// assert_eq!(grid.plans.iter().map(|plan| &plan.id[..]).collect::<Vec<_>>(), ["every_outages = 1", "every_outages = 2"]);
    /// assert_eq!(grid.refused[0].0, "every_outages = 0");
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn plan_grid(&self, plan: &str, varied: &[Varied]) -> Result<PlanGrid> {
        let number = self.strategies.iter().position(|strategy| strategy.id == plan).ok_or_else(|| {
            let known: Vec<&str> = self.strategies.iter().map(|strategy| strategy.id.as_str()).collect();
            let remedy = format!("choose one of {}", known.join(", "));
            Error::argument("plan", plan, "there is no such strategy in the study", &remedy)
        })?;
        check(varied)?;
        // What records say is of no plan, and long to read.
        let study = Study::of_checked(StudyParts { posterior: None, ..self.clone().into_parts() }).sharing_paths(self);
        let document: DocumentMut = study.to_toml().parse().expect("the text of a study is TOML");
        let mut grid = PlanGrid { plans: Vec::new(), values: Vec::new(), refused: Vec::new() };
        let mut first_fault = None;
        for values in combinations(varied) {
            let mut changed = document.clone();
            for (Varied { path, .. }, value) in varied.iter().zip(&values) {
                let parsed: Value = value.parse().map_err(|_| {
                    let remedy = "text needs quotes, lists need brackets";
                    Error::argument(path, value, "is not a value of a study file", remedy)
                })?;
                set(changed.as_item_mut(), &format!("strategies.\"{plan}\".{path}"), parsed)?;
            }
            let name = name(varied, &values);
            match study.changed(&changed) {
                Ok(made) => {
                    grid.plans.push(Strategy { id: name, ..made.strategies[number].clone() });
                    grid.values.push(values);
                }
                Err(fault) => {
                    grid.refused.push((name, fault.to_string()));
                    first_fault.get_or_insert(fault);
                }
            }
        }
        match first_fault {
            Some(fault) if grid.plans.is_empty() => Err(fault),
            _ => Ok(grid),
        }
    }
}

fn check(varied: &[Varied]) -> Result<()> {
    let refuse = |shown: String, rule: &str, remedy: &str| Err(Error::argument("vary", shown, rule, remedy));
    if varied.is_empty() {
        return refuse(
            "nothing".to_owned(),
            "must name a value of the plan",
            "such as looks[1].every_outages = 1, 2, 3",
        );
    }
    for (place, Varied { path, values }) in varied.iter().enumerate() {
        if varied[..place].iter().any(|other| other.path == *path) {
            return refuse(path.clone(), "stands twice", "give all its values at once");
        }
        if values.is_empty() || values.iter().collect::<BTreeSet<&String>>().len() < values.len() {
            let rule = if values.is_empty() { "must have at least one value" } else { "must have each value once" };
            return refuse(format!("{path} = {}", values.join(", ")), rule, "change the list");
        }
    }
    let plans = varied.iter().try_fold(1_usize, |plans, one| plans.checked_mul(one.values.len()));
    match plans.filter(|plans| *plans <= MOST_PLANS) {
        Some(_) => Ok(()),
        None => {
            let rule = format!("makes more than {MOST_PLANS} plans");
            refuse(format!("{} paths", varied.len()), &rule, "leave out values that are out of the question")
        }
    }
}

/// Each value with each of the others, those of the last path varying fastest.
fn combinations(varied: &[Varied]) -> Vec<Vec<String>> {
    varied.iter().fold(vec![Vec::new()], |made, one| {
        let longer = |before: Vec<String>| {
            one.values.iter().map(move |value| before.iter().chain([value]).cloned().collect::<Vec<String>>())
        };
        made.into_iter().flat_map(longer).collect()
    })
}

/// Values by the last keys of their paths, or by whole paths where two end alike.
fn name(varied: &[Varied], values: &[String]) -> String {
    let last = |path: &str| path.rsplit('.').next().unwrap_or(path).to_owned();
    let keys: BTreeSet<String> = varied.iter().map(|one| last(&one.path)).collect();
    let key = |path: &str| if keys.len() == varied.len() { last(path) } else { path.to_owned() };
    let named = varied.iter().zip(values).map(|(one, value)| format!("{} = {value}", key(&one.path)));
    named.collect::<Vec<String>>().join(", ")
}
