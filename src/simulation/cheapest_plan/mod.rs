//! Which plan of a family is the cheapest that meets the limits on the chance of a loss.
//!
//! All plans are lived on the same draws, in rounds of more and more lives. After each round those go that surely miss a limit,
//! or are surely dearer than a plan that is known to meet all; the sums of the others go on. So most lives are lived under the
//! few plans that are hard to tell apart.

mod search;

use super::estimate::{Estimate, LimitVerdict, Scope, Verdict};
use super::parallel::{BATCH_TRIALS, Run};
use crate::error::{Error, Result};
use crate::model::limits::LossLimits;
use crate::model::strategy::Strategy;
use crate::model::{StrategyId, Study};
use std::ops::ControlFlow;

/// Share of the cost of the cheapest plan, by the first round, that counts as no difference where none is stated.
pub(super) const INDIFFERENT_SHARE: f64 = 0.01;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct CheapestQuestion {
    /// The plans to choose from, as strategies of the study; its own where empty. [`Study::plan_grid`] makes such.
    pub plans: Vec<Strategy>,
    /// Limits on the chance of a loss in a year; the study's own where `None`.
    pub limits: Option<LossLimits>,
    /// Difference in cost that is as good as none, in the study's currency; a hundredth of the cost of the cheapest plan, by the
    /// first round, where `None`.
    pub indifference: Option<f64>,
    /// Confidence that the cheapest plan which meets the limits is kept, and that what is said of the one named is right.
    pub confidence: f64,
    /// Lives of the fleet that all plans may have together; as many as trials of each of them where `None`.
    pub most_plan_lives: Option<u64>,
    /// The lives of a plan that stays to the end.
    pub run: Run,
}

impl Default for CheapestQuestion {
    fn default() -> Self {
        CheapestQuestion {
            plans: Vec::new(),
            limits: None,
            indifference: None,
            confidence: 0.95,
            most_plan_lives: None,
            run: Run { trials: 8_192, planted_lives: 24_576, ..Run::default() },
        }
    }
}

/// The cheapest plan, and what became of the others.
#[derive(Debug, Clone, PartialEq)]
pub struct CheapestPlan {
    /// The study, with all plans that were tried and the limits that were asked for.
    pub study: Study,
    /// Whether one was found.
    pub outcome: Outcome,
    /// The cheapest plan of those that are known to meet the limits, by the estimates; none where none is known to.
    pub cheapest: Option<StrategyId>,
    /// The plans, in the study's order.
    pub plans: Vec<Tried>,
    /// The rounds that were lived.
    pub rounds: Vec<Round>,
    /// Difference in cost that is as good as none.
    pub indifference: f64,
    /// What to beware of, in sentences.
    pub warnings: Vec<String>,
    /// Lives of the fleet that all plans had together, and those they would have had if none had been dropped before the end.
    pub plan_lives: [u64; 2],
    /// Lives that a plan has which stays to the end, and those with a planted crack in each row beside them.
    pub lives: [u64; 2],
}

/// How a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// The plan named meets the limits, and no plan that does is cheaper by more than the indifference.
    Found,
    /// A plan is known to meet the limits; but others may meet them too, and be cheaper by more.
    Open,
    /// Of no plan it is known that it meets the limits; of some it is not known that they miss them.
    NoneKnown,
    /// All plans miss a limit.
    NoneMeets,
}

impl Outcome {
    /// Name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Outcome::Found => "found",
            Outcome::Open => "open",
            Outcome::NoneKnown => "none known",
            Outcome::NoneMeets => "none meets",
        }
    }
}

/// A plan that was tried.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// What it costs over the fleet and the horizon, by the lives that it had, with a plain interval of 95 %.
    pub cost: Estimate,
    /// Chance of any loss in the fleet over the horizon.
    pub any_loss: Estimate,
    /// For each limit the row, unit or fleet that decides.
    pub limits: Vec<LimitVerdict>,
    /// Whether it meets all.
    pub verdict: Verdict,
    /// Lives that it had.
    pub lives: u64,
    /// When it was dropped, and why; none for a plan that stayed.
    pub dropped: Option<Dropped>,
    /// Of a plan that stayed beside the one named: how much dearer it is, by a plain interval of 95 %.
    pub dearer: Option<Estimate>,
    /// Lives that would tell the two apart, were the difference what it is estimated to be.
    pub lives_needed: Option<u64>,
}

/// A plan left the search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dropped {
    /// After which round, counted from 1.
    pub round: u32,
    /// Why.
    pub why: Why,
}

/// Why a plan was dropped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// It surely misses a limit.
    Misses,
    /// It is surely dearer than this plan, which is known to meet the limits, by at least so much.
    Dearer(StrategyId, f64),
}

/// One round of lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Round {
    /// Plans that were lived.
    pub plans: u32,
    /// Lives that each of them has after it.
    pub lives: u64,
}

impl CheapestPlan {
    /// Plans that stayed.
    pub fn kept(&self) -> impl Iterator<Item = StrategyId> {
        self.study.strategy_ids().filter(|plan| self.plans[plan.0].dropped.is_none())
    }
}

impl Study {
    /// Which plan of a family is the cheapest that keeps the limits on the chance of a loss in each year.
    ///
    /// A plan is dropped as soon as it surely misses a limit, or is surely dearer than one that is known to meet all: a cheaper
    /// plan that may yet turn out to miss one drops nobody (selection under constraints: S. Andradóttir and S.-H. Kim, Naval
    /// Research Logistics 57 (2010) 403-421, from memory). Half of the doubt is for limits, half for costs; each is shared out
    /// evenly over all looks at the sums and all plans or limits of which one could be wrong (Bonferroni's bound), so that
    /// looking again and again costs no confidence. Of the indifference only the end of the search knows: no plan is dropped
    /// for a difference that might be smaller than none.
    ///
    /// Costs are held apart by paired differences on the same lives. What losses and work that no life has shown might add to a
    /// plan's cost is allowed for before it drops another.
    ///
    /// # Errors
    /// Refuses a study without limits where none are given, a budget that the first round passes, plans of one name, and what
    /// [`Study::simulate`] refuses.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::{CheapestQuestion, Run};
    ///
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let run = Run { trials: 512, planted_lives: 512, ..Run::default() };
    /// let answer = study.cheapest_plan(&CheapestQuestion { run, ..Default::default() })?;
    /// assert_eq!(answer.plans.len(), study.strategies.len());
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn cheapest_plan(&self, question: &CheapestQuestion) -> Result<CheapestPlan> {
        self.cheapest_plan_with(question, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::cheapest_plan`]; from time to time `ask` is told how many lives each plan that is left has, of the run's
    /// trials, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn cheapest_plan_with(
        &self,
        question: &CheapestQuestion,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<CheapestPlan> {
        let family = self.family_of(question)?;
        search::Search::new(&family, question).run(ask)
    }

    /// The study with the plans and limits that are asked about.
    fn family_of(&self, question: &CheapestQuestion) -> Result<Study> {
        let mut parts = self.clone().into_parts();
        if !question.plans.is_empty() {
            parts.strategies.clone_from(&question.plans);
            parts.baseline = StrategyId(0);
        }
        for (place, plan) in parts.strategies.iter().enumerate() {
            if parts.strategies[..place].iter().any(|other| other.id == plan.id) {
                return Err(Error::argument("plans", &plan.id, "is the name of two plans", "give each its own"));
            }
        }
        if let Some(limits) = &question.limits {
            limits.check()?;
            parts.limits = Some(limits.clone());
        }
        if !parts.limits.as_ref().is_some_and(LossLimits::is_any) {
            let rule = "must be stated: the cheapest plan of all may be one that buys off losses with money";
            let remedy = "give a chance of a loss in a year that is borne, or state it under [limits]; 1 bears any";
            return Err(Error::argument("limits", "none", rule, remedy));
        }
        check(question, parts.strategies.len() as u64)?;
        Ok(Study::of_checked(parts).sharing_paths(self))
    }
}

fn check(question: &CheapestQuestion, plans: u64) -> Result<()> {
    question.run.check()?;
    let confidence = question.confidence;
    if !(confidence > 0.5 && confidence < 1.0) {
        let rule = "must be above 0.5 and below 1";
        return Err(Error::argument("confidence", confidence, rule, "0.95 is usual"));
    }
    if let Some(money) = question.indifference
        && !(money > 0.0 && money.is_finite())
    {
        let rule = "must be above 0: no number of lives tells plans of equal cost apart";
        return Err(Error::argument("indifference", money, rule, "give a sum of money that does not matter"));
    }
    let first = plans * search::first_round(&question.run);
    if let Some(most) = question.most_plan_lives
        && most < first
    {
        let rule = format!("is over before the first round: {plans} plans of {BATCH_TRIALS} lives are {first}");
        return Err(Error::argument("most_plan_lives", most, &rule, "allow more, or try fewer plans"));
    }
    Ok(())
}

/// Of the lines of a plan those that decide: one for rows, one for units, one for the fleet.
fn deciding(lines: &[LimitVerdict]) -> Vec<LimitVerdict> {
    let is_of = [
        |scope: Scope| matches!(scope, Scope::Row(_)),
        |scope: Scope| matches!(scope, Scope::Unit(_)),
        |scope: Scope| scope == Scope::Fleet,
    ];
    let of_level =
        |is_of: fn(Scope) -> bool| LimitVerdict::deciding(lines.iter().filter(move |line| is_of(line.scope)));
    is_of.into_iter().filter_map(of_level).copied().collect()
}
