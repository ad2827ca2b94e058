//! How long the interval between inspections may be, and how sharp a technique must be for it.
//!
//! Each technique in turn takes the place of a plan's scheduled looks, at every outage, every second one and so on, and the lives
//! of all these plans are held against the limits on the chance of a loss. What stands around the looks, as what is done about
//! finds and losses, stays as the plan has it.

mod capability;
mod check;

pub use capability::{Capability, Cell, Needed};
pub use check::DeterministicCheck;

use super::estimate::{Comparison, LimitVerdict, Scope, Verdict};
use super::parallel::Run;
use super::single_inspection::named;
use crate::error::{Error, Result};
use crate::model::limits::LossLimits;
use crate::model::strategy::{Action, Agreement, Coverage, Disposition, Look, Sample, Strategy, When};
use crate::model::surface_treatment::Cleaning;
use crate::model::{StrategyId, Study, StudyParts};
use std::ops::ControlFlow;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct IntervalQuestion {
    /// Techniques by id, each of which is to look alone; where empty, those by which any plan of the study looks by schedule, or
    /// after calls.
    pub techniques: Vec<String>,
    /// The plan of which all but the scheduled looks is kept; the baseline where `None`.
    pub plan: Option<String>,
    /// Longest interval that is tried, in outages; no more than any unit has outages to come.
    pub most_outages: u32,
    /// Outage of the first look, counted from 1, whatever the interval; where `None`, the first interval is as long as the others.
    pub first_outage: Option<u32>,
    /// Limits on the chance of a loss in a year; the study's own where `None`.
    pub limits: Option<LossLimits>,
    /// Technique whose detection curve is made sharper and blunter for the map of what capability an interval needs; none for no
    /// map.
    pub map_of: Option<String>,
    /// How much is lived.
    pub run: Run,
}

impl Default for IntervalQuestion {
    fn default() -> Self {
        IntervalQuestion {
            techniques: Vec::new(),
            plan: None,
            most_outages: 4,
            first_outage: None,
            limits: None,
            map_of: None,
            run: Run { trials: 4_000, planted_lives: 12_000, ..Run::default() },
        }
    }
}

/// How long the interval may be, by each way of looking.
#[derive(Debug, Clone, PartialEq)]
pub struct InspectionInterval {
    /// The study, with the limits that were asked for.
    pub study: Study,
    /// The plan of which all but the scheduled looks is kept.
    pub plan: StrategyId,
    /// The plan's own looks at longer and longer intervals, where it has any, and then each technique by itself.
    pub ways: Vec<WayOfLooking>,
    /// If nobody looks.
    pub unseen: Held,
    /// What capability each interval needs, where a map was asked for.
    pub capability: Option<Capability>,
    /// What to beware of, in sentences.
    pub warnings: Vec<String>,
    /// Lives, and those with a planted crack.
    pub lives: [u64; 2],
}

/// One way of looking, at intervals.
#[derive(Debug, Clone, PartialEq)]
pub struct WayOfLooking {
    /// The technique, by number; none for the plan's own looks.
    pub technique: Option<usize>,
    /// Size that is found with 90 %, in mm, on a surface that shifts nothing; none where the curve does not come so high.
    pub q90_mm: Option<f64>,
    /// At every outage, at every second one and so on.
    pub held: Vec<Held>,
    /// The plain check beside it, of a technique that finds some size with 90 %.
    pub check: Option<DeterministicCheck>,
}

/// A plan that looks at every so many outages, held against the limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Outages from look to look; none where nobody looks.
    pub every_outages: Option<u32>,
    /// The same in years, in the mean: of the unit whose outages lie closest, and of the one whose are furthest apart.
    pub years: [f64; 2],
    /// For each limit the row, unit or fleet that decides.
    pub limits: Vec<LimitVerdict>,
    /// Whether all are kept.
    pub verdict: Verdict,
}

impl WayOfLooking {
    /// The longest interval, in outages, which is known to keep all limits while no shorter one is known to miss any; none where
    /// none is.
    ///
    /// Of a shorter one the lives may leave open whether it does: the seldomer losses are, the fewer lives tell of them.
    pub fn longest(&self) -> Option<u32> {
        let not_missed = self.held.iter().take_while(|held| held.verdict != Verdict::Misses);
        not_missed.filter(|held| held.verdict == Verdict::Meets).last().and_then(|held| held.every_outages)
    }

    /// The shortest interval, in outages, that surely misses a limit; none where none does.
    pub fn shortest_missed(&self) -> Option<u32> {
        self.held.iter().find(|held| held.verdict == Verdict::Misses).and_then(|held| held.every_outages)
    }
}

impl Study {
    /// How long the interval between inspections may be so that the chance of a loss in each year keeps the limits.
    ///
    /// Intervals count from the start of the study, unless the first outage with a look is stated: the first look comes as many
    /// outages after it as later ones come after each other, so that rows should have been looked at just before.
    ///
    /// # Errors
    /// Refuses names that are not in the study, an interval of no outage, and a study without limits where none are given; and
    /// what [`Study::simulate`] refuses.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::{IntervalQuestion, Run};
    ///
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let run = Run { trials: 100, planted_lives: 100, ..Run::default() };
    /// let question = IntervalQuestion { techniques: vec!["in-place-ut".to_owned()], most_outages: 2, run, ..Default::default() };
    /// let answer = study.inspection_interval(&question)?;
    /// // The plan's own looks, and the technique alone: at every outage, and at every second one.
    /// assert_eq!(answer.ways.iter().map(|way| way.held.len()).collect::<Vec<usize>>(), [2, 2]);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn inspection_interval(&self, question: &IntervalQuestion) -> Result<InspectionInterval> {
        self.inspection_interval_with(question, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::inspection_interval`]; from time to time `ask` is told how many trials are done, of
    /// [`IntervalQuestion::trials`], and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn inspection_interval_with(
        &self,
        question: &IntervalQuestion,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<InspectionInterval> {
        let family = Family::new(self, question)?;
        let own = !family.plan().looks.is_empty();
        let ways: Vec<Option<usize>> =
            own.then_some(None).into_iter().chain(family.techniques.iter().copied().map(Some)).collect();
        let mut plans = vec![family.looking("nobody looks", Vec::new())];
        for &technique in &ways {
            for every in 1..=family.most_outages {
                let (name, looks) = match technique {
                    Some(technique) => (self.techniques[technique].id.as_str(), vec![family.alone(technique, every)]),
                    None => ("as planned", family.own_looks(every)),
                };
                plans.push(family.looking(&format!("{name}, every {every}"), looks));
            }
        }
        let comparison = family.live(plans, Vec::new(), &question.run, ask)?;
        let capability = match &question.map_of {
            Some(id) => {
                let technique = family.technique(self, id)?;
                let done = question.run.trials;
                Some(capability::map(&family, technique, &question.run, &mut |trials| ask(done + trials))?)
            }
            None => None,
        };
        let intervals = family.most_outages as usize;
        let mut way = |(place, &technique): (usize, &Option<usize>)| -> Result<WayOfLooking> {
            let first = 1 + place * intervals;
            let held = |number: usize| family.held(&comparison, StrategyId(first + number), Some(number as u32 + 1));
            let mut ask_again = || ask(question.trials());
            let check = technique.map(|technique| check::of(self, technique, &mut ask_again)).transpose()?.flatten();
            Ok(WayOfLooking {
                technique,
                q90_mm: technique.and_then(|technique| self.techniques[technique].pod.size_mm(0.9)),
                held: (0..intervals).map(held).collect(),
                check,
            })
        };
        let ways = ways.iter().enumerate().map(&mut way).collect::<Result<_>>()?;
        Ok(InspectionInterval {
            plan: family.plan,
            ways,
            unseen: family.held(&comparison, StrategyId(0), None),
            capability,
            warnings: family.warnings(&comparison),
            lives: [comparison.trials(), comparison.planted_lives()],
            study: Study::of_checked(family.parts).sharing_paths(self),
        })
    }
}

impl IntervalQuestion {
    /// Trials that an answer takes: of the ways of looking, and of the map in two steps.
    pub fn trials(&self) -> u64 {
        self.run.trials * if self.map_of.is_some() { 1 + capability::STEPS } else { 1 }
    }
}

/// Plans that differ in their looks alone.
struct Family<'s> {
    study: &'s Study,
    /// The study with the limits.
    parts: StudyParts,
    plan: StrategyId,
    techniques: Vec<usize>,
    most_outages: u32,
    first_outage: Option<u32>,
}

impl<'s> Family<'s> {
    fn new(study: &'s Study, question: &IntervalQuestion) -> Result<Self> {
        let known = study.strategies.iter().map(|strategy| strategy.id.as_str());
        let plan = match &question.plan {
            Some(id) => StrategyId(named("strategy", id, "in the study", known)?),
            None => study.baseline,
        };
        let mut family = Family {
            study,
            parts: study.clone().into_parts(),
            plan,
            techniques: used(study),
            most_outages: 0,
            first_outage: question.first_outage,
        };
        if !question.techniques.is_empty() {
            family.techniques =
                question.techniques.iter().map(|id| family.technique(study, id)).collect::<Result<_>>()?;
        }
        if let Some(limits) = &question.limits {
            limits.check()?;
            family.parts.limits = Some(limits.clone());
        }
        if !family.parts.limits.as_ref().is_some_and(LossLimits::is_any) {
            let rule = "must be stated: no interval is too long for a study that bears any chance of a loss";
            let remedy = "give a chance of a loss in a year that is borne, or state it under [limits]";
            return Err(Error::argument("limits", "none", rule, remedy));
        }
        let most = (0..study.units.len())
            .filter(|unit| study.rows.iter().any(|row| row.unit == *unit))
            .map(|unit| family.outages_to_come(unit).len() as u32)
            .min()
            .unwrap_or(0);
        let counted = |name: &str, outages: u32, is_good: bool| {
            let rule = format!("must be from 1 to the {most} outages that each unit has to come");
            if is_good { Ok(()) } else { Err(Error::argument(name, outages, &rule, "count outages from the next on")) }
        };
        counted("most_outages", question.most_outages, question.most_outages > 0 && most > 0)?;
        question.first_outage.map_or(Ok(()), |first| counted("first_outage", first, (1..=most).contains(&first)))?;
        family.most_outages = question.most_outages.min(most);
        Ok(family)
    }

    fn technique(&self, study: &Study, id: &str) -> Result<usize> {
        named("technique", id, "in the study", study.techniques.iter().map(|technique| technique.id.as_str()))
    }

    fn plan(&self) -> &Strategy {
        self.study.strategy(self.plan)
    }

    /// Years of the outages of a unit within the study.
    fn outages_to_come(&self, unit: usize) -> Vec<f64> {
        let (start, end) = (self.study.start_year, self.study.start_year + self.study.horizon_years);
        let years = self.study.units[unit].outages.years.iter().copied();
        years.filter(|year| *year > start && *year < end).collect()
    }

    /// The plan with other looks by schedule.
    fn looking(&self, id: &str, looks: Vec<Look>) -> Strategy {
        let mut strategy = Strategy { id: id.to_owned(), looks, ..self.plan().clone() };
        if strategy.dispositions.is_empty() {
            strategy.dispositions = vec![Disposition::last(Action::Replace)];
        }
        strategy
    }

    fn when(&self, every: u32) -> When {
        When::every(self.first_outage.unwrap_or(every), every)
    }

    /// A look by one technique at all blades.
    fn alone(&self, technique: usize, every: u32) -> Look {
        Look {
            techniques: vec![technique],
            cleaning: None,
            when: self.when(every),
            instead_of_others: false,
            agreement: Agreement::Any,
            coverage: Coverage { blades: Sample::ALL, hot_spots: None, rows: None },
            escalation: None,
            after_finds: None,
            after_clean: None,
            skip_after_clean: None,
        }
    }

    /// The plan's own looks at another interval, which nothing changes.
    fn own_looks(&self, every: u32) -> Vec<Look> {
        let look = |look: &Look| Look {
            when: self.when(every),
            after_finds: None,
            after_clean: None,
            skip_after_clean: None,
            ..look.clone()
        };
        self.plan().looks.iter().map(look).collect()
    }

    /// Lives the fleet under some plans, with more ways of cleaning.
    fn live(
        &self,
        strategies: Vec<Strategy>,
        cleaning: Vec<Cleaning>,
        run: &Run,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Comparison> {
        let mut parts = StudyParts { strategies, baseline: StrategyId(0), ..self.parts.clone() };
        parts.cleaning.extend(cleaning);
        Study::of_checked(parts).sharing_paths(self.study).simulate_with(run, ask)
    }

    fn held(&self, comparison: &Comparison, strategy: StrategyId, every_outages: Option<u32>) -> Held {
        let lines = comparison.limit_verdicts(strategy);
        let mut limits: Vec<LimitVerdict> = Vec::new();
        for is_of in [is_row, is_unit, is_fleet] {
            limits.extend(LimitVerdict::deciding(lines.iter().filter(|line| is_of(line.scope))).copied());
        }
        let units = (0..self.study.units.len()).filter(|unit| self.study.rows.iter().any(|row| row.unit == *unit));
        let gaps = units.map(|unit| {
            let years = self.outages_to_come(unit);
            let last = years.last().copied().unwrap_or(f64::NAN);
            (last - self.study.start_year) / years.len() as f64 * f64::from(every_outages.unwrap_or(0))
        });
        let years = gaps.fold([f64::INFINITY, 0.0], |[least, most], gap| [gap.min(least), gap.max(most)]);
        let verdict = comparison.meets_limits(strategy).unwrap_or(Verdict::Undecided);
        Held { every_outages, years, limits, verdict }
    }

    fn warnings(&self, comparison: &Comparison) -> Vec<String> {
        let mut warnings = Vec::new();
        let thin = comparison.study.strategy_ids().any(|strategy| {
            let rows = comparison.study.row_ids();
            comparison.planted_lives() > 0 && rows.into_iter().any(|row| comparison.how_got(row, strategy).is_thin())
        });
        let limits = self.parts.limits.iter().flat_map(|limits| [limits.row, limits.unit, limits.fleet]);
        let least = limits.flatten().fold(f64::INFINITY, f64::min);
        if thin || comparison.planted_lives() == 0 {
            // None seen of so many has its bound just at the limit, of an interval for each year.
            let years = self.study.horizon_years.ceil();
            let lives = ((2.0 * years / 0.05).ln() / least).ceil();
            warnings.push(format!(
                "Plain lives alone decide of some rows, of which lives with a planted crack tell badly: with fewer than {lives} of \
                 them a limit of {least} is left open even where none is lost."
            ));
        }
        if self.study.rows.iter().any(|row| row.past_looks.is_empty()) && !self.study.is_given_records() {
            warnings.push(
                "Some rows state no look before the start of the study: their first interval is longer than it is called."
                    .to_owned(),
            );
        }
        warnings
    }
}

/// Techniques by which the plans of a study look by schedule, or after calls, in the order of the study.
fn used(study: &Study) -> Vec<usize> {
    let looks = study.strategies.iter().flat_map(|strategy| &strategy.looks);
    let by_look = |look: &Look, technique: usize| {
        look.techniques.contains(&technique)
            || look.escalation.as_ref().is_some_and(|second| second.techniques.contains(&technique))
    };
    (0..study.techniques.len()).filter(|technique| looks.clone().any(|look| by_look(look, *technique))).collect()
}

fn is_row(scope: Scope) -> bool {
    matches!(scope, Scope::Row(_))
}

fn is_unit(scope: Scope) -> bool {
    matches!(scope, Scope::Unit(_))
}

fn is_fleet(scope: Scope) -> bool {
    scope == Scope::Fleet
}
