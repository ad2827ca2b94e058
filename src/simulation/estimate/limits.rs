//! Whether the chance of a loss stays within the study's limits, year by year.

use super::rare::Answer;
use super::{Comparison, Estimate};
use crate::math::normal_quantile;
use crate::model::{RowId, StrategyId};
use crate::simulation::rare::Told;

/// Confidence with which the intervals of all years of one row, unit or fleet hold together.
const LEVEL: f64 = 0.95;

/// What a limit is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// One row.
    Row(RowId),
    /// One unit, by number.
    Unit(usize),
    /// The whole fleet.
    Fleet,
}

impl Scope {
    /// Name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Scope::Row(_) => "row",
            Scope::Unit(_) => "unit",
            Scope::Fleet => "fleet",
        }
    }
}

/// Whether a limit is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// In each year the interval lies below the limit, or ends on it.
    Meets,
    /// In some year it lies above.
    Misses,
    /// Neither.
    Undecided,
}

impl Verdict {
    /// Name in tables.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Meets => "meets",
            Verdict::Misses => "misses",
            Verdict::Undecided => "undecided",
        }
    }
}

/// A limit held against the year that decides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitVerdict {
    /// What it is on.
    pub scope: Scope,
    /// Beginning of the year whose interval reaches highest; where the limit is missed, of the one that lies highest above.
    pub year: f64,
    /// Chance of any loss in that year, with an interval at the confidence with which those of all years hold together.
    pub chance: Estimate,
    /// The limit.
    pub limit: f64,
    /// Whether it is kept.
    pub verdict: Verdict,
    /// Whether planted lives tell of its rows too badly, so that plain lives alone decide.
    pub is_thin: bool,
    /// Whether the chance is an upper bound, which can show that a limit is met, and not that it is missed.
    pub is_bound: bool,
    /// Whether lives go on from draws of what records say, whose error nobody knows: then nothing is decided.
    pub is_unsure: bool,
}

impl LimitVerdict {
    /// Of several lines the one that decides: what lies highest above its limit, or else what reaches highest.
    pub(in crate::simulation) fn deciding<'l>(lines: impl Iterator<Item = &'l Self> + Clone) -> Option<&'l Self> {
        let missed = lines.clone().filter(|line| line.verdict == Verdict::Misses);
        let most_missed = missed.max_by(|one, other| one.chance.low.total_cmp(&other.chance.low));
        most_missed.or_else(|| lines.max_by(|one, other| one.chance.high.total_cmp(&other.chance.high)))
    }

    /// What is to be said of it; nothing where all is well.
    pub fn note(&self) -> &'static str {
        if self.is_unsure {
            return "the error of the draws from records is not known: nothing is decided";
        }
        match (self.is_bound, self.chance.events == 0.0, self.is_thin) {
            (true, _, _) => "upper bound, which cannot show a miss: rows share what is uncertain",
            (_, true, true) => "none seen in plain lives: high is an upper bound; planted lives tell badly",
            (_, true, _) => "none seen: high is an upper bound",
            (_, _, true) => "plain lives alone: planted lives tell badly",
            _ => "",
        }
    }
}

impl Comparison {
    /// The limits of the study held against one strategy: each row, each unit, the fleet; none where it has no limits.
    ///
    /// The chance of any loss is judged in each study year; the last, where the horizon cuts it, by the part that is there.
    /// The interval of each year has one minus a twentieth of the number of years as its confidence, so that those of all
    /// years of a line hold together with 95 % (Bonferroni's bound). A year of which neither plain nor planted lives show a
    /// loss has the bound of plain lives: planted ones go where losses are, and say little of where none is.
    pub fn limit_verdicts(&self, strategy: StrategyId) -> Vec<LimitVerdict> {
        self.limit_verdicts_at(strategy, LEVEL)
    }

    /// The same with another confidence for all years of a line together.
    pub(in crate::simulation) fn limit_verdicts_at(&self, strategy: StrategyId, confidence: f64) -> Vec<LimitVerdict> {
        let Some(limits) = &self.study.limits else { return Vec::new() };
        let rows =
            limits.row.into_iter().flat_map(|limit| self.study.row_ids().map(move |row| (Scope::Row(row), limit)));
        let has_rows = |unit: &usize| self.study.rows.iter().any(|row| row.unit == *unit);
        let units = (0..self.study.units.len()).filter(has_rows);
        let units = limits.unit.into_iter().flat_map(|limit| units.clone().map(move |unit| (Scope::Unit(unit), limit)));
        let fleet = limits.fleet.map(|limit| (Scope::Fleet, limit));
        rows.chain(units)
            .chain(fleet)
            .map(|(scope, limit)| self.held_against(strategy, scope, limit, confidence))
            .collect()
    }

    /// Whether a strategy keeps all limits: it misses them if it misses one; none where the study has no limits.
    pub fn meets_limits(&self, strategy: StrategyId) -> Option<Verdict> {
        self.study.limits.as_ref()?;
        Some(all_of(self.limit_verdicts(strategy).iter().map(|line| line.verdict)))
    }

    fn held_against(&self, strategy: StrategyId, scope: Scope, limit: f64, confidence: f64) -> LimitVerdict {
        let rows: Vec<RowId> = match scope {
            Scope::Row(row) => vec![row],
            Scope::Unit(unit) => self.study.row_ids().filter(|row| self.study.row(*row).unit == unit).collect(),
            Scope::Fleet => self.study.row_ids().collect(),
        };
        let is_thin = self.has_planted() && rows.iter().any(|row| self.how_got(*row, strategy).is_thin());
        let tells_planted = self.has_planted() && !is_thin;
        let years = self.tally.fleet[strategy.0].losses.len();
        let level = 1.0 - (1.0 - confidence) / years as f64;
        let error = self.study.posterior.as_ref().map(|posterior| posterior.relative_error);
        let chances: Vec<Estimate> = if tells_planted {
            let lives = self.tally.trials as f64;
            let of_year = |year: usize| self.any_in_year(strategy, scope, &rows, year).probability_at(lives, level);
            (0..years).map(of_year).collect()
        } else {
            self.plain_years(strategy, scope).iter().map(|events| self.proportion_at(*events, level)).collect()
        };
        let widened = |chance: Estimate| match error {
            Some(Some(error)) => with_error(chance, error, level),
            _ => chance,
        };
        let chances: Vec<Estimate> = chances.into_iter().map(widened).collect();
        let is_bound = tells_planted && rows.len() > 1 && !self.study.uncertain.is_empty();
        let is_unsure = error == Some(None);
        let (year, verdict) = judged(&chances, limit, !is_bound);
        LimitVerdict {
            scope,
            year: self.study.start_year + year as f64,
            chance: chances[year],
            limit,
            verdict: if is_unsure { Verdict::Undecided } else { verdict },
            is_thin,
            is_bound,
            is_unsure,
        }
    }

    /// Plain lives with any loss in each year.
    fn plain_years(&self, strategy: StrategyId, scope: Scope) -> &[f64] {
        match scope {
            Scope::Row(row) => &self.row_sums(row, strategy).lives.years_with_loss,
            Scope::Unit(unit) => &self.tally.units[unit * self.study.strategies.len() + strategy.0].years_with_loss,
            Scope::Fleet => &self.tally.fleet[strategy.0].years_with_loss,
        }
    }

    /// Chance of any loss in a year, by plain and planted lives.
    fn any_in_year(&self, strategy: StrategyId, scope: Scope, rows: &[RowId], year: usize) -> Answer {
        if let Scope::Row(row) = scope {
            return self.alike(row, strategy).both(Told::YearAnyLoss(year));
        }
        let of_row = |row| self.own(row, strategy).both(Told::YearAnyLoss(year));
        let of_those =
            if matches!(scope, Scope::Unit(_)) { Told::YearAnyInUnit(year) } else { Told::YearAnyInGroup(year) };
        self.any_among(rows, strategy, of_row, |row| self.own(row, strategy).planted(of_those))
    }
}

/// The year that decides, and what it decides.
fn judged(chances: &[Estimate], limit: f64, may_miss: bool) -> (usize, Verdict) {
    let most = |of: fn(&Estimate) -> f64| {
        let higher = |best: usize, year: usize| if of(&chances[year]) > of(&chances[best]) { year } else { best };
        (1..chances.len()).fold(0, higher)
    };
    let (lowest_end, highest_end) = (most(|chance| chance.low), most(|chance| chance.high));
    if may_miss && chances[lowest_end].low > limit {
        return (lowest_end, Verdict::Misses);
    }
    // Not-a-number meets nothing.
    let meets = chances.iter().all(|chance| chance.high <= limit);
    (highest_end, if meets { Verdict::Meets } else { Verdict::Undecided })
}

/// The verdict on several limits together. That all are met is wrong only where one that is met is wrong, so that it is as
/// sure as the least sure of them (R. L. Berger, Technometrics 24 (1982) 295, from memory).
pub(in crate::simulation) fn all_of(verdicts: impl Iterator<Item = Verdict> + Clone) -> Verdict {
    if verdicts.clone().any(|verdict| verdict == Verdict::Misses) {
        Verdict::Misses
    } else if verdicts.clone().all(|verdict| verdict == Verdict::Meets) {
        Verdict::Meets
    } else {
        Verdict::Undecided
    }
}

/// An interval that reaches so much further as the relative error of what lives go on from may shift it.
pub(in crate::simulation) fn with_error(chance: Estimate, relative_error: f64, level: f64) -> Estimate {
    let reach = normal_quantile(0.5 + 0.5 * level) * relative_error;
    let (low, high) = (chance.low * (1.0 - reach).max(0.0), (chance.high * (1.0 + reach)).min(1.0));
    Estimate { low, high, ..chance }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::simulation::plain::{hurried, texts_that_run_short};
    use crate::simulation::{Quantity, Run};
    use proptest::strategy::{Strategy, ValueTree};
    use proptest::test_runner::{Config, RngSeed, TestRunner};

    fn chances(ends: &[[f64; 2]]) -> Vec<Estimate> {
        let of = |&[low, high]: &[f64; 2]| Estimate {
            value: 0.5 * (low + high),
            standard_error: 0.0,
            low,
            high,
            events: 9.0,
        };
        ends.iter().map(of).collect()
    }

    #[test]
    fn a_limit_is_met_in_all_years_and_missed_in_one() {
        let years = chances(&[[0.1, 0.2], [0.15, 0.3], [0.18, 0.25]]);
        assert_eq!(judged(&years, 0.31, true), (1, Verdict::Meets));
        assert_eq!(judged(&years, 0.3, true), (1, Verdict::Meets));
        assert_eq!(judged(&years, 0.29, true), (1, Verdict::Undecided));
        assert_eq!(judged(&years, 0.18, true), (1, Verdict::Undecided));
        // The year whose interval lies highest above it.
        assert_eq!(judged(&years, 0.17, true), (2, Verdict::Misses));
        assert_eq!(judged(&years, 0.17, false), (1, Verdict::Undecided));
        assert_eq!(judged(&chances(&[[0.0, f64::NAN]]), 0.5, true), (0, Verdict::Undecided));
    }

    #[test]
    fn one_miss_is_a_miss_and_one_doubt_a_doubt() {
        use Verdict::{Meets, Misses, Undecided};
        for (verdicts, all) in [
            ([Meets, Meets, Meets], Meets),
            ([Meets, Undecided, Meets], Undecided),
            ([Undecided, Misses, Meets], Misses),
        ] {
            assert_eq!(all_of(verdicts.into_iter()), all);
        }
    }

    /// Losses of two units hang together where they share spare blades, and blades run on where windows close: of each unit, and
    /// of both, planted lives say what plain ones do.
    #[test]
    fn planted_lives_say_of_units_that_run_short_what_plain_lives_do() {
        let mut runner = TestRunner::new(Config { rng_seed: RngSeed::Fixed(20), ..Config::default() });
        let mut distances: Vec<(f64, String)> = Vec::new();
        let mut run_on = [0.0; 2];
        for number in 0..8 {
            let text = texts_that_run_short("").new_tree(&mut runner).expect("a study").current();
            let text = if number < 6 { text } else { hurried(&text) };
            let study = Study::parse(&text, "random").unwrap_or_else(|error| panic!("{error}\n{text}"));
            // Losses are frequent here, which planted lives are not for: it takes many.
            let run = Run { trials: 2_000, planted_lives: 8_000, seed: number, ..Run::default() };
            let Ok(comparison) = study.simulate(&run) else { continue };
            let strategy = StrategyId(0);
            if study.row_ids().any(|row| comparison.how_got(row, strategy).is_thin()) {
                continue;
            }
            run_on[usize::from(study.strategies[0].spares.is_empty())] +=
                comparison.fleet(strategy, Quantity::BladesRunOn).value;
            for scope in [Scope::Unit(0), Scope::Unit(1), Scope::Fleet] {
                let is_of = |row: &RowId| !matches!(scope, Scope::Unit(unit) if study.row(*row).unit != unit);
                let rows: Vec<RowId> = study.row_ids().filter(is_of).collect();
                for (year, events) in comparison.plain_years(strategy, scope).iter().enumerate() {
                    let plain = events / run.trials as f64;
                    let planted = comparison.any_in_year(strategy, scope, &rows, year);
                    let most = plain.max(planted.value);
                    if most * run.trials as f64 > 20.0 {
                        let variance = (most * (1.0 - most).max(0.0)) / run.trials as f64 + planted.variance;
                        let z = (plain - planted.value) / variance.sqrt();
                        distances.push((z, format!("{number}, {scope:?}, {year}: {plain} and {}", planted.value)));
                    }
                }
            }
        }
        distances.sort_by(|one, other| other.0.abs().total_cmp(&one.0.abs()));
        let square = distances.iter().map(|(z, _)| z * z).sum::<f64>() / distances.len() as f64;
        let worst = &distances[..distances.len().min(8)];
        assert!(run_on.iter().all(|blades| *blades > 1.0), "{run_on:?} ran on, for want of spares and of time");
        assert!(distances.len() > 60, "{} distances", distances.len());
        assert!(square < 1.5 && distances[0].0.abs() < 4.0, "mean square {square}: {worst:#?}");
    }

    #[test] // by hand: 1.96 times 10 %
    fn the_error_of_draws_widens_an_interval() {
        let wide = with_error(chances(&[[0.1, 0.2]])[0], 0.1, 0.95);
        assert!((wide.low - 0.1 * 0.804).abs() < 1e-6 && (wide.high - 0.2 * 1.196).abs() < 1e-6, "{wide:?}");
        assert_eq!(with_error(chances(&[[0.1, 0.9]])[0], 2.0, 0.95).high, 1.0);
    }
}
