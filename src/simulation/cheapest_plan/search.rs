//! The rounds of a search: live, drop, go on.

use super::{CheapestPlan, CheapestQuestion, Dropped, INDIFFERENT_SHARE, Outcome, Round, Tried, Why, deciding};
use crate::error::Result;
use crate::model::fleet::Row;
use crate::model::{StrategyId, Study};
use crate::simulation::Quantity;
use crate::simulation::estimate::{Comparison, LimitVerdict, Verdict, all_of};
use crate::simulation::merge_tree::MergeTree;
use crate::simulation::parallel::{BATCH_TRIALS, Ended, Planting, Run, interrupted, live_round};
use crate::simulation::plan::RowPlan;
use std::ops::{ControlFlow, Range};

/// Lives of the first round, for each plan.
pub(super) fn first_round(run: &Run) -> u64 {
    run.trials_of(&(0..rounds(run)[0]))
}

/// Batches after which the sums are looked at: each time twice as many, and all at the end.
fn rounds(run: &Run) -> Vec<u64> {
    let mut ends: Vec<u64> = std::iter::successors(Some(run.batches()), |end| (*end > 1).then_some(end / 2)).collect();
    ends.reverse();
    ends
}

/// How many limits each plan is held against: one for each row, unit or fleet that has one.
fn limits_held(family: &Study) -> usize {
    let Some(limits) = &family.limits else { return 0 };
    let lines = [(limits.row, family.rows.len()), (limits.unit, family.units.len()), (limits.fleet, 1)];
    lines.iter().filter(|(limit, _)| limit.is_some()).map(|(_, lines)| lines).sum()
}

/// A search under way.
pub(super) struct Search<'a> {
    question: &'a CheapestQuestion,
    /// All plans.
    family: &'a Study,
    ends: Vec<u64>,
    /// Chances of an error that each look at a limit, and at a difference in cost, may have.
    doubt_of_limit: f64,
    doubt_of_cost: f64,
    /// Plans that are left, by number in the family, and the sums of their lives.
    left: Vec<StrategyId>,
    sums: MergeTree,
    planting: Planting,
    /// Techniques that any plan may use, by row: cracks are drawn for all of them, to the end.
    techniques: Vec<Vec<usize>>,
    plans: Vec<Option<Tried>>,
    rounds: Vec<Round>,
    plan_lives: u64,
    indifference: Option<f64>,
}

/// The plans that are left, at the end of a round.
struct Standing {
    /// By number in the family.
    of: Vec<StrategyId>,
    comparison: Comparison,
    lines: Vec<Vec<LimitVerdict>>,
    verdicts: Vec<Verdict>,
    /// What may be missing from the cost of each, and the chance that a bound on a difference is wrong.
    unseen: Vec<f64>,
    doubt_of_cost: f64,
}

impl<'a> Search<'a> {
    pub fn new(family: &'a Study, question: &'a CheapestQuestion) -> Self {
        let ends = rounds(&question.run);
        let (looks, plans) = (ends.len() as f64, family.strategies.len() as f64);
        let half = 0.5 * (1.0 - question.confidence);
        // One plan that misses a limit may be taken for one that meets it, of all; and the best for one that misses, by any line.
        let lines = limits_held(family) as f64;
        Search {
            question,
            family,
            ends,
            doubt_of_limit: half / (looks * (plans + lines)),
            // The best may be dropped by each other one, or be passed over for it.
            doubt_of_cost: half / (looks * (plans - 1.0).max(1.0)),
            left: family.strategy_ids().collect(),
            sums: MergeTree::default(),
            planting: Planting::default(),
            techniques: vec![Vec::new(); family.rows.len()],
            plans: vec![None; family.strategies.len()],
            rounds: Vec::new(),
            plan_lives: 0,
            indifference: question.indifference,
        }
    }

    pub fn run(mut self, ask: &mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<CheapestPlan> {
        let run = &self.question.run;
        let mut begin = 0;
        let mut outcome = Outcome::NoneKnown;
        for end in self.ends.clone() {
            let Some(batches) = self.affordable(begin..end) else { break };
            begin = batches.end;
            let standing = self.live(batches, ask)?;
            outcome = self.drop_from(&standing);
            if matches!(outcome, Outcome::Found | Outcome::NoneMeets) || begin < end {
                break;
            }
        }
        let _ = ask(run.trials);
        Ok(self.answer(outcome))
    }

    /// As many batches of the next round as the budget still has lives for; none where it has none.
    fn affordable(&self, batches: Range<u64>) -> Option<Range<u64>> {
        let Some(most) = self.question.most_plan_lives else { return Some(batches) };
        let plans = self.left.len() as u64;
        let budget = most - self.plan_lives;
        if plans * self.question.run.trials_of(&batches) <= budget {
            return Some(batches);
        }
        let end = batches.start + budget / (plans * BATCH_TRIALS);
        (end > batches.start).then_some(batches.start..end)
    }

    /// Lives the plans that are left some batches on.
    fn live(&mut self, batches: Range<u64>, ask: &mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<Standing> {
        let run = &self.question.run;
        let study = self.study_of_left();
        let plan = |(row, others): (&Row, &Vec<usize>)| RowPlan::with_techniques(&study, row, others);
        let rows: Vec<RowPlan> = study.rows.iter().zip(&self.techniques).map(plan).collect::<Result<_>>()?;
        self.techniques = rows.iter().map(|row| row.inspection.in_use.clone()).collect();
        let before = run.trials_of(&(0..batches.start));
        let lived = live_round(&study, &rows, run, batches.clone(), &self.planting, &mut |done| ask(before + done));
        self.sums.append(lived?);
        self.plan_lives += self.left.len() as u64 * run.trials_of(&batches);
        let lives = before + run.trials_of(&batches);
        self.rounds.push(Round { plans: self.left.len() as u32, lives });
        let Some(tally) = self.sums.clone().total() else { return Err(interrupted(0, run.trials)) };
        let comparison = Comparison::of(&study, run, tally, Ended::Lived);
        let confidence = 1.0 - 2.0 * self.doubt_of_limit;
        let lines: Vec<Vec<LimitVerdict>> =
            study.strategy_ids().map(|plan| comparison.limit_verdicts_at(plan, confidence)).collect();
        let verdicts = lines.iter().map(|lines| all_of(lines.iter().map(|line| line.verdict))).collect();
        let doubt_of_cost = self.doubt_of_cost;
        let unseen = study.strategy_ids().map(|plan| comparison.unseen(plan, 0.5 * doubt_of_cost)).collect();
        Ok(Standing { of: self.left.clone(), comparison, lines, verdicts, unseen, doubt_of_cost })
    }

    fn study_of_left(&self) -> Study {
        let mut parts = self.family.clone().into_parts();
        parts.strategies = self.left.iter().map(|plan| self.family.strategy(*plan).clone()).collect();
        parts.baseline = StrategyId(0);
        Study::of_checked(parts).sharing_paths(self.family)
    }

    /// Writes down how plans stand, and drops those that are out of the question.
    fn drop_from(&mut self, standing: &Standing) -> Outcome {
        let round = self.rounds.len() as u32;
        let all: Vec<StrategyId> = standing.comparison.study.strategy_ids().collect();
        let meeting: Vec<StrategyId> = all.iter().copied().filter(|plan| standing.meets(*plan)).collect();
        let why = |&plan: &StrategyId| {
            if standing.verdicts[plan.0] == Verdict::Misses {
                return Some(Why::Misses);
            }
            let others = meeting.iter().filter(|other| **other != plan);
            let by = others.map(|other| (*other, -standing.most_dearer(*other, plan)));
            let (other, least) = by.max_by(|one, other| one.1.total_cmp(&other.1))?;
            (least > 0.0).then(|| Why::Dearer(standing.of[other.0], least))
        };
        let whys: Vec<Option<Why>> = all.iter().map(why).collect();
        let kept: Vec<StrategyId> = all.iter().copied().filter(|plan| whys[plan.0].is_none()).collect();
        let cheapest = standing.cheapest_of(&kept);
        for (&plan, why) in all.iter().zip(&whys) {
            self.plans[standing.of[plan.0].0] =
                Some(standing.tried(plan, why.map(|why| Dropped { round, why }), cheapest));
        }
        let indifference = *self.indifference.get_or_insert_with(|| {
            let cost = |plan: &StrategyId| standing.comparison.fleet(*plan, Quantity::Cost).value;
            INDIFFERENT_SHARE * all.iter().map(cost).fold(f64::INFINITY, f64::min)
        });
        if kept.len() < all.len() {
            let places: Vec<usize> = kept.iter().map(|plan| plan.0).collect();
            self.sums.keep(&places);
            self.planting.keep(&places);
            self.left = places.iter().map(|place| standing.of[*place]).collect();
        }
        match cheapest {
            None if kept.is_empty() => Outcome::NoneMeets,
            None => Outcome::NoneKnown,
            Some(cheapest) => {
                let mut others = kept.iter().filter(|other| **other != cheapest);
                let is_as_good = |other: &StrategyId| standing.most_dearer(cheapest, *other) < indifference;
                if others.all(is_as_good) { Outcome::Found } else { Outcome::Open }
            }
        }
    }

    fn answer(self, outcome: Outcome) -> CheapestPlan {
        let run = &self.question.run;
        // Every plan was there in the first round.
        let plans: Vec<Tried> = self.plans.into_iter().flatten().collect();
        let cost = |plan: &StrategyId| plans[plan.0].cost.value;
        let meeting = self.left.iter().copied().filter(|plan| plans[plan.0].verdict == Verdict::Meets);
        let cheapest = meeting.min_by(|one, other| cost(one).total_cmp(&cost(other)));
        CheapestPlan {
            study: self.family.clone(),
            outcome,
            cheapest,
            warnings: warnings(self.family, &plans, run),
            plans,
            rounds: self.rounds,
            indifference: self.indifference.unwrap_or(f64::NAN),
            plan_lives: [self.plan_lives, self.family.strategies.len() as u64 * run.trials],
            lives: [run.trials, run.planted_lives],
        }
    }
}

impl Standing {
    fn meets(&self, plan: StrategyId) -> bool {
        self.verdicts[plan.0] == Verdict::Meets
    }

    /// The most by which one plan may be dearer than another.
    fn most_dearer(&self, one: StrategyId, other: StrategyId) -> f64 {
        self.comparison.most_dearer(one, other, self.doubt_of_cost, self.unseen[one.0])
    }

    fn cheapest_of(&self, kept: &[StrategyId]) -> Option<StrategyId> {
        let cost = |plan: &StrategyId| self.comparison.fleet(*plan, Quantity::Cost).value;
        let meeting = kept.iter().copied().filter(|plan| self.meets(*plan));
        meeting.min_by(|one, other| cost(one).total_cmp(&cost(other)))
    }

    fn tried(&self, plan: StrategyId, dropped: Option<Dropped>, cheapest: Option<StrategyId>) -> Tried {
        let beside = cheapest.filter(|cheapest| *cheapest != plan && dropped.is_none());
        let apart = beside.map(|cheapest| self.comparison.cost_apart(plan, cheapest));
        Tried {
            cost: self.comparison.fleet(plan, Quantity::Cost),
            any_loss: self.comparison.fleet(plan, Quantity::AnyLoss),
            limits: deciding(&self.lines[plan.0]),
            verdict: self.verdicts[plan.0],
            lives: self.comparison.trials(),
            dropped,
            dearer: apart.map(|(dearer, _)| dearer),
            lives_needed: apart.and_then(|(_, lives)| lives),
        }
    }
}

impl Tried {
    /// Whether in the end it was not known to meet the limits, while none that is took its place.
    fn is_left_in_doubt(&self) -> bool {
        match self.dropped {
            None => self.verdict != Verdict::Meets,
            Some(dropped) => dropped.why == Why::Misses,
        }
    }
}

fn warnings(family: &Study, plans: &[Tried], run: &Run) -> Vec<String> {
    let mut warnings = Vec::new();
    let no_longer: Vec<&str> = family
        .strategy_ids()
        .filter(|plan| {
            plans
                .iter()
                .any(|other| matches!(other.dropped, Some(Dropped { why: Why::Dearer(than, _), .. }) if than == *plan))
        })
        .filter(|plan| plans[plan.0].is_left_in_doubt())
        .map(|plan| family.strategy(plan).id.as_str())
        .collect();
    if !no_longer.is_empty() {
        warnings.push(format!(
            "Dearer plans were dropped for {}, which more lives no longer know to meet the limits: one of them may be the answer. Ask \
             again with more lives, or without what was left in doubt.",
            no_longer.join(", ")
        ));
    }
    let limits = family.limits.iter().flat_map(|limits| [limits.row, limits.unit, limits.fleet]);
    if limits.flatten().all(|limit| limit >= 1.0) {
        warnings.push("The limits bear any loss: money alone decides, and what a loss costs buys it off.".to_owned());
    }
    if run.planted_lives == 0 {
        warnings.push(
            "No crack is planted: what losses cost is known from plain lives alone, of which few have any. Plans are dropped the later \
             for it."
                .to_owned(),
        );
    } else if plans.iter().filter(|plan| plan.dropped.is_none()).any(|plan| plan.limits.iter().any(|line| line.is_thin))
    {
        warnings
            .push("Of some rows plain lives alone decide, of which lives with a planted crack tell badly.".to_owned());
    }
    if plans.iter().any(|plan| plan.limits.iter().any(|line| line.is_unsure)) {
        warnings.push(
            "The error of the draws from records is not known: no plan is known to meet a limit, or to miss one."
                .to_owned(),
        );
    } else if family.is_given_records() {
        warnings.push(
            "Costs are held apart under what was drawn from the records: the error of these draws is in the chances of a loss, \
             and not in the costs."
                .to_owned(),
        );
    }
    warnings
}
