//! What a reader of a comparison has to beware of, in words.

use super::{Comparison, LimitVerdict, Ranking, Verdict};
use crate::model::strategy::Strategy;
use crate::model::{RowId, StrategyId};
use crate::simulation::nature::{thousands, two_figures};
use crate::simulation::observe::Quantity;
use crate::simulation::parallel::Ended;
use crate::simulation::tables::THIN_EVENTS;
use crate::statistics::interval;

/// Below this, a ranking's first place is called unsure.
const SURE: f64 = 0.95;
/// Below this, a row's inputs are called hard to reconcile with its being in service.
const LIKELY: f64 = 0.5;

impl Comparison {
    /// What to beware of: plans that may not say what was meant, thin evidence, unsure rankings, inputs at odds with the
    /// fleet's past.
    ///
    /// Empty when there is nothing to say.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = self.study.warnings();
        warnings.extend(self.study.windows_without_time());
        warnings.extend(self.missed_target());
        warnings.extend(self.any_loss_is_a_bound());
        warnings.extend(self.draws_have_an_error());
        warnings.extend(self.dressed_places_are_thin());
        warnings.extend(self.used_blades_are_thin());
        warnings.extend(self.study.strategy_ids().filter_map(|strategy| self.thin_evidence(strategy)));
        warnings.extend(self.limits_that_none_meets());
        warnings.extend(self.study.row_ids().filter_map(|row| self.unlikely_past(row)));
        warnings.extend(self.study.row_ids().flat_map(|row| self.integration_notes(row)));
        let anything_lost =
            self.study.strategy_ids().any(|strategy| self.fleet(strategy, Quantity::AnyLoss).events > 0.0);
        if !anything_lost && self.study.strategies.len() > 1 {
            warnings.push("No strategy had a loss, so that they cannot be ranked by losses.".to_owned());
        }
        // The chance of any loss ranks as the number of losses does; saying both says nothing more.
        let rankings = self.rankings().into_iter().filter(|ranking| ranking.quantity != Quantity::AnyLoss);
        warnings.extend(rankings.filter_map(|ranking| self.unsure(&ranking)));
        warnings
    }

    /// That chances over several rows are bounds.
    fn any_loss_is_a_bound(&self) -> Option<String> {
        let is_bound = !self.study.uncertain.is_empty() && self.study.rows.len() > 1;
        is_bound.then(|| {
            let of = if self.planted_lives() > 0 { "units and of the fleet" } else { "units" };
            format!(
                "Chances that any row of several loses a blade are upper bounds, for {of}: they take rows as independent, \
                 which share what is uncertain. Numbers of losses are no bounds."
            )
        })
    }

    /// That lives with planted cracks tell little of dressed places.
    fn dressed_places_are_thin(&self) -> Option<String> {
        let dress = self.study.strategies.iter().filter(|strategy| strategy.dressing.is_some());
        let names: Vec<&str> = dress.map(|strategy| strategy.id.as_str()).collect();
        (self.planted_lives() > 0 && !names.is_empty()).then(|| {
            format!(
                "Lives with a planted crack seldom reach a place that begins anew after dressing ({}): with few of them, losses \
                 there come out too low, and their intervals too narrow. Hold them against those of plain lives alone \
                 (planted_lives = 0), or live many more.",
                names.join(", ")
            )
        })
    }

    /// That lives with planted cracks tell little of used blades.
    fn used_blades_are_thin(&self) -> Option<String> {
        let takes_used = |strategy: &&Strategy| strategy.spares.iter().any(|stock| stock.used_blades.is_some());
        let names: Vec<&str> =
            self.study.strategies.iter().filter(takes_used).map(|strategy| strategy.id.as_str()).collect();
        (self.planted_lives() > 0 && !names.is_empty()).then(|| {
            format!(
                "Lives with a planted crack tell of used blades ({}) by few of them: losses in single late years may come out \
                 far too low, with intervals too narrow. Hold them against those of plain lives alone (planted_lives = 0), or \
                 live many more.",
                names.join(", ")
            )
        })
    }

    /// Limits that no strategy is known to meet.
    fn limits_that_none_meets(&self) -> Vec<String> {
        let Some(limits) = &self.study.limits else { return Vec::new() };
        let all: Vec<Vec<LimitVerdict>> = self.study.strategy_ids().map(|one| self.limit_verdicts(one)).collect();
        let named = [("row", limits.row), ("unit", limits.unit), ("fleet", limits.fleet)];
        let limits = named.into_iter().filter_map(|(scope, limit)| Some((scope, limit?)));
        let said = |(scope, limit): (&str, f64)| {
            let of_scope = |held: &&LimitVerdict| held.scope.name() == scope;
            let count = |verdict: Verdict| {
                all.iter().filter(|held| held.iter().filter(of_scope).any(|held| held.verdict == verdict)).count()
            };
            let (missing, met) = (
                count(Verdict::Misses),
                all.iter().any(|held| held.iter().filter(of_scope).all(|held| held.verdict == Verdict::Meets)),
            );
            (!met).then(|| {
                let what =
                    if missing == all.len() { "every one misses it" } else { "more lives may show one that does" };
                format!("limits.{scope}_loss_probability_per_year = {limit}: no strategy is known to meet it; {what}.")
            })
        };
        limits.filter_map(said).collect()
    }

    /// That intervals are of lives, and not of the draws that lives go on from.
    fn draws_have_an_error(&self) -> Option<String> {
        let error = self.study.posterior.as_ref()?.relative_error;
        let known = error.map_or_else(
            || "an error of their own".to_owned(),
            |error| format!("a standard error of some {} % in chances of a loss", two_figures(100.0 * error)),
        );
        Some(format!(
            "Lives go on from draws of what records say, which have {known}. Intervals of losses and of what they cost do not \
             hold it. More draws and cracks, when the study is given its records, make it smaller."
        ))
    }

    /// That the numbers are not known as well as was asked for.
    fn missed_target(&self) -> Option<String> {
        let target = self.run.target_relative_error.filter(|_| self.ended != Ended::Target)?;
        let reached = match self.largest_relative_error() {
            Some(error) => format!("the least known has a standard error of {} %", two_figures(100.0 * error)),
            None => "under one strategy none was seen".to_owned(),
        };
        Some(format!(
            "The fleet's losses were to be known to {} % under each strategy, but the {} came first: {reached}.",
            two_figures(100.0 * target),
            if self.ended == Ended::Time { "end of the time" } else { "last trial" },
        ))
    }

    fn thin_evidence(&self, strategy: StrategyId) -> Option<String> {
        if self.planted_lives() > 0 {
            return self.thin_planted(strategy);
        }
        let events = self.fleet(strategy, Quantity::AnyLoss).events;
        let what = thin_evidence(events, self.trials() as f64)?;
        Some(format!("{}: {what}", self.study.strategy(strategy).id))
    }

    /// Rows whose losses planted lives do not tell well enough, and of which they are a part worth naming.
    fn thin_planted(&self, strategy: StrategyId) -> Option<String> {
        /// Share of a fleet's losses from which a row is named.
        const NAMED: f64 = 0.01;
        let all = self.fleet(strategy, Quantity::Losses).value;
        let is_thin = |row: &RowId| {
            self.how_got(*row, strategy).is_thin() && self.row(*row, strategy, Quantity::Losses).value >= NAMED * all
        };
        let thin: Vec<&str> = self.study.row_ids().filter(is_thin).map(|row| self.study.row(row).id.as_str()).collect();
        (!thin.is_empty()).then(|| {
            format!(
                "{}: planted lives tell the losses of {} badly, and the true number may lie outside its range; table \
                 rare_losses says why. More planted lives sharpen it.",
                self.study.strategy(strategy).id,
                thin.join(", ")
            )
        })
    }

    fn unlikely_past(&self, row: RowId) -> Option<String> {
        let probability = self.p_came_through(row);
        (probability < LIKELY).then(|| {
            format!(
                "rows.{}: by the study's inputs a row like it reaches {} without a loss with probability {} \
                 only; lives that do not were drawn again. Look at its initiation, growth and past looks.",
                self.study.row(row).id,
                self.study.start_year,
                two_figures(probability)
            )
        })
    }

    /// What happened to a row's cracks and was not wholly by the book.
    fn integration_notes(&self, row: RowId) -> Vec<String> {
        let id = &self.study.row(row).id;
        self.tally.counts[row.0].sentences().into_iter().map(|sentence| format!("rows.{id}: {sentence}")).collect()
    }

    fn unsure(&self, ranking: &Ranking) -> Option<String> {
        let (&[first, second, ..], Some(&last)) = (&ranking.order[..], ranking.order.last()) else { return None };
        let value = |strategy| self.fleet(strategy, ranking.quantity).value;
        // Where all are exactly alike, as costs are in a study without prices, there is no first place to doubt.
        (ranking.confidence < SURE && value(first) != value(last)).then(|| {
            let id = |strategy: StrategyId| &self.study.strategy(strategy).id;
            format!(
                "{}: first place of {} is not settled (confidence {:.2}; next is {}). More trials sharpen it unless the two \
                 are truly alike.",
                ranking.quantity.name(),
                id(first),
                ranking.confidence,
                id(second)
            )
        })
    }
}

/// What to say of a chance that so many events in so many trials leave open; nothing where they settle it well enough.
fn thin_evidence(events: f64, trials: f64) -> Option<String> {
    let of = format!("{} trials", thousands(trials));
    if events == 0.0 {
        let bound = interval::exact_proportion(0.0, trials, 0.95).1;
        return Some(format!(
            "no loss in {of}, so only an upper bound is known (chance of any loss below {bound:.1e}); costs and days hold \
             no loss. More trials may show one."
        ));
    }
    if events == trials {
        let bound = interval::exact_proportion(events, trials, 0.95).0;
        let bound = two_figures(bound);
        return (trials < THIN_EVENTS).then(|| {
            format!("a loss in every one of {of}, so only a lower bound is known (chance of any loss above {bound}).")
        });
    }
    // relative error squared = (1 - p) / (n p)
    let relative = ((trials - events) / (events * trials)).sqrt();
    let needed = relative * relative * trials / 0.01;
    (relative > THIN_EVENTS.sqrt().recip()).then(|| {
        format!(
            "only {} of {of} had a loss, so the chance of one is known to {:.0} % (one standard error); about {} trials \
             give 10 %.",
            thousands(events),
            100.0 * relative,
            thousands(rounded_up(needed))
        )
    })
}

/// Rounded up to two figures, as a number of trials is asked for.
fn rounded_up(x: f64) -> f64 {
    let unit = 10.0_f64.powf((x.log10() - 1.0).floor().max(0.0));
    (x / unit).ceil() * unit
}

#[cfg(test)]
mod tests {
    use super::super::made;
    use super::*;

    /// Whatever the counts, a number that is said means something: no percentage of 0, no number of trials below those
    /// that there were, no not-a-number.
    #[test]
    fn warnings_make_sense_for_every_count() {
        for trials in [1.0, 2.0, 3.0, 19.0, 20.0, 29.0, 30.0, 31.0, 1e3, 1e6, 4e9] {
            let counts = [0.0, 1.0, 2.0, 5.0, 15.0, 29.0, 30.0, 31.0, trials - 1.0, trials];
            for events in counts.into_iter().filter(|events| (0.0..=trials).contains(events)) {
                let Some(text) = thin_evidence(events, trials) else {
                    // Nothing is said where the chance, or the chance of none, rests on enough.
                    assert!(
                        events > 0.0 && (events >= THIN_EVENTS || trials - events <= 0.5 * trials),
                        "{events} of {trials}"
                    );
                    continue;
                };
                for nonsense in ["NaN", "inf", "to 0 %", "about 0 trials", "above 0.00", "below 0e", "above 1.0"] {
                    assert!(!text.contains(nonsense), "{events} of {trials}: {text}");
                }
                if let Some(needed) = text.split("about ").nth(1) {
                    let needed: f64 =
                        needed.split(' ').next().expect("a number").replace(',', "").parse().expect("one");
                    assert!(needed > trials, "{events} of {trials}: {text}");
                }
            }
        }
        let all = thin_evidence(20.0, 20.0).expect("a warning");
        assert_eq!(
            all,
            "a loss in every one of 20 trials, so only a lower bound is known (chance of any loss above 0.83)."
        );
        assert_eq!(two_figures(3.2e-5), "3.2e-5");
    }

    #[test] // by hand: sqrt(996 / (4 * 1000)) is 0.499, and 10 % takes 24.9 times the trials
    fn few_losses_are_said_with_their_error_and_the_trials_that_would_do() {
        let said = "only 4 of 1,000 trials had a loss, so the chance of one is known to 50 % (one standard error); about \
                    25,000 trials give 10 %.";
        assert_eq!(thin_evidence(4.0, 1e3).as_deref(), Some(said));
        // One in thirty events: 0.99 of a relative variance of 1 / 30 is not beyond it, and 29 are.
        assert_eq!(thin_evidence(30.0, 3e3), None);
        assert!(thin_evidence(29.0, 3e3).is_some());
        assert_eq!(thin_evidence(30.0, 30.0), None);
        assert!(thin_evidence(29.0, 29.0).is_some());
    }

    #[test]
    fn a_reader_is_warned_of_what_is_not_settled() {
        let mut made = made::comparison(made::TRIALS);
        let said = |made: &Comparison, start: &str| {
            made.warnings().into_iter().filter(|text| text.starts_with(start)).collect::<Vec<String>>()
        };
        // The first two have equally many days.
        let days = "days: first place of inplace is not settled (confidence 0.50; next is confirmed). More trials sharpen it \
                    unless the two are truly alike.";
        assert_eq!(said(&made, "days: "), [days]);
        assert!(said(&made, "p_any_loss: ").is_empty() && said(&made, "No strategy had a loss").is_empty());
        assert!(
            said(&made, "retired: ")[0].starts_with("retired: no loss in 8 trials, so only an upper bound is known")
        );
        // Eight lives that came through: of 16 that is one in two, of 17 it is less.
        assert!(said(&made, "rows.row: ").is_empty());
        made.tally.tries[0] = 17;
        assert!(said(&made, "rows.row: ")[0].contains("without a loss with probability 0.47 only"));
        assert!(said(&made, "rows.second: ").is_empty());
        // Where nothing happened there is nothing to rank.
        let nothing = made::of_nothing(made::TRIALS);
        assert_eq!(said(&nothing, "No strategy had a loss, so that they cannot be ranked by losses.").len(), 1);
        assert!(["losses: ", "cost: ", "days: "].iter().all(|start| said(&nothing, start).is_empty()));
    }

    #[test]
    fn one_strategy_is_not_ranked() {
        let text = include_str!("../../../tests/engine/data/small.toml");
        let mut study = crate::Study::parse(text, "small").expect("a good study").into_parts();
        study.strategies.truncate(1);
        let run = crate::simulation::Run { trials: 2, ..Default::default() };
        let made = crate::Study::of_checked(study).simulate(&run).expect("a good run");
        assert_eq!(made.fleet(StrategyId(0), Quantity::AnyLoss).events, 0.0);
        assert!(!made.warnings().iter().any(|text| text.contains("rank") || text.contains("first place")));
    }

    #[test]
    fn numbers_of_trials_read_well() {
        assert_eq!(rounded_up(123_456.0), 130_000.0);
        assert_eq!(rounded_up(100.0), 100.0);
        assert_eq!(rounded_up(7.0), 7.0);
    }
}
