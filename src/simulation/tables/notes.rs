//! What has to be said beside a number that few trials showed, or none.

use crate::model::Study;
use crate::model::detection::Access;
use crate::model::fleet::Root;
use crate::model::strategy::{Action, AfterLoss, RowEndAction, Strategy};
use crate::simulation::estimate::{Comparison, Difference, Estimate, FEW_LIVES, Statistic};
use crate::simulation::observe::Quantity;
use crate::simulation::tally::LifeSums;
use crate::statistics::interval;

/// Said of a number that no trial showed and whose upper end is therefore a bound.
pub(super) const NONE_SEEN: &str = "none seen: high is an upper bound";
/// Said of a number that the strategy itself makes zero.
const CANNOT_HAPPEN: &str = "cannot happen under this strategy";
/// Said of a sum of money or days that is made of things that no trial showed.
const ZERO_IN_EVERY_TRIAL: &str = "zero in every trial";
/// Said of an estimate that rests on so few events that its interval is wide.
const FEW_EVENTS: &str = "few events";
/// Below this many events an estimate is called thin: its relative standard error is above 18 %.
pub(crate) const THIN_EVENTS: f64 = 30.0;

impl Comparison {
    /// An estimate made fit to be shown, and what has to be said with it; `events` are the lives with any loss.
    pub(super) fn noted(
        &self,
        strategy: &Strategy,
        sums: &LifeSums,
        quantity: Quantity,
        estimate: Estimate,
        events: f64,
    ) -> (Estimate, &'static str) {
        let estimate = if kind(quantity) == Kind::Probability { estimate } else { self.without_rounding(estimate) };
        let nothing = sums.sum[quantity as usize] == 0.0 && estimate.value == 0.0;
        if nothing && cannot_happen(&self.study, strategy, quantity) {
            return (Estimate { value: 0.0, standard_error: 0.0, low: 0.0, high: 0.0, events: 0.0 }, CANNOT_HAPPEN);
        }
        // The exact bound on the chance that a life shows the thing at all.
        let bound = || interval::exact_proportion(0.0, self.tally.trials as f64, 0.95).1;
        let unseen = |high: f64| Estimate { value: 0.0, standard_error: f64::NAN, low: 0.0, high, events: 0.0 };
        let costs = &self.study.costs;
        match (kind(quantity), quantity) {
            (_, Quantity::LossCost | Quantity::ForcedDays | Quantity::Losses) => {
                let each = match quantity {
                    // After a loss blades are waited for no longer than they are on order.
                    Quantity::LossCost => {
                        let lead_days = strategy.spares.iter().map(|stock| stock.lead_days).fold(0.0, f64::max);
                        costs.dearest_mean_loss() + lead_days * costs.outage_day_cost.highest()
                    }
                    Quantity::ForcedDays => costs.loss_days.mean(),
                    _ => 1.0,
                };
                if events == 0.0 {
                    (unseen(bound() * each), NONE_SEEN)
                } else {
                    let shown = Estimate { low: estimate.low.max(0.0), events, ..estimate };
                    (shown, note_of(&shown))
                }
            }
            (Kind::Probability, _) => {
                let shown = without_error_if_unseen(estimate);
                (shown, note_of(&shown))
            }
            (Kind::Count, _) if nothing => (unseen(bound()), NONE_SEEN),
            (Kind::Money | Kind::Days, _) if nothing => (estimate, ZERO_IN_EVERY_TRIAL),
            (Kind::Count | Kind::Money | Kind::Days, _) => (Estimate { low: estimate.low.max(0.0), ..estimate }, ""),
        }
    }

    /// Two strategies that agree in every trial may still differ; the bound says by how much at most.
    pub(super) fn noted_difference(&self, difference: &Difference) -> (Estimate, &'static str) {
        let estimate = difference.difference;
        match kind(difference.quantity) {
            Kind::Probability | Kind::Count if estimate.standard_error == 0.0 && estimate.value == 0.0 => {
                let bound = interval::exact_proportion(0.0, self.tally.trials as f64, 0.95).1;
                let shown = Estimate { standard_error: f64::NAN, low: -bound, high: bound, ..estimate };
                (shown, "no difference in any trial: low and high are bounds")
            }
            _ => (estimate, ""),
        }
    }

    /// What is the same in every trial has no scatter but that of rounding, which is taken away.
    fn without_rounding(&self, estimate: Estimate) -> Estimate {
        /// Standard deviation over mean that rounding may leave: a leaf's sum of 256 squares is good to
        /// 256 times 2.2e-16, the root of which is 2.4e-7.
        const ROUNDING: f64 = 1e-6;
        let deviation = estimate.standard_error * (self.tally.trials as f64).sqrt();
        if estimate.value != 0.0 && deviation <= ROUNDING * estimate.value.abs() {
            Estimate { standard_error: 0.0, low: estimate.value, high: estimate.value, ..estimate }
        } else {
            estimate
        }
    }

    /// Unit of a quantity, in words.
    pub(super) fn unit(&self, quantity: Quantity) -> &str {
        match kind(quantity) {
            Kind::Probability => "probability",
            Kind::Count => "count",
            Kind::Money => &self.study.money.currency,
            Kind::Days => "days",
        }
    }
}

/// What a quantity is measured in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Probability,
    Count,
    Money,
    Days,
}

fn kind(quantity: Quantity) -> Kind {
    match quantity {
        Quantity::AnyLoss | Quantity::Escalated => Kind::Probability,
        Quantity::Losses
        | Quantity::BladesReplaced
        | Quantity::FalselyReplaced
        | Quantity::BladesDressed
        | Quantity::BladesDamaged
        | Quantity::BladesRunOn
        | Quantity::UsedBladesFitted
        | Quantity::RowsReplaced
        | Quantity::CracksFound
        | Quantity::OutagesWithCalls
        | Quantity::TimesOut
        | Quantity::ExtraStops => Kind::Count,
        Quantity::Cost
        | Quantity::LookCost
        | Quantity::BladesOutCost
        | Quantity::ReplacementCost
        | Quantity::DressingCost
        | Quantity::StopCost
        | Quantity::SurfaceCost
        | Quantity::ExtraDayCost
        | Quantity::StartsLimitCost
        | Quantity::SparesCost
        | Quantity::LossCost => Kind::Money,
        Quantity::Days
        | Quantity::LookDays
        | Quantity::BladesOutDays
        | Quantity::ReplacementDays
        | Quantity::DressingDays
        | Quantity::StopDays
        | Quantity::WaitDays
        | Quantity::SurfaceDays
        | Quantity::ForcedDays
        | Quantity::DaysBeyondWindow => Kind::Days,
    }
}

/// Whether a strategy as such leaves a quantity at zero, so that zero is exact.
fn cannot_happen(study: &Study, strategy: &Strategy, quantity: Quantity) -> bool {
    let techniques = || {
        let seconds = strategy.looks.iter().filter_map(|look| look.escalation.as_ref());
        let by_schedule = strategy.looks.iter().flat_map(|look| &look.techniques);
        let all = by_schedule.chain(seconds.flat_map(|next| &next.techniques)).chain(strategy.techniques_at_stops());
        all.map(|&technique| &study.techniques[technique])
    };
    let row_is_replaced = || {
        strategy.row_end.is_some_and(|end| end.then == RowEndAction::NewRow)
            || strategy.after_loss == AfterLoss::ReplaceRow
            || strategy.replace_row_from_blades.is_some()
            || strategy.dispositions.iter().any(|rule| rule.action == Action::ReplaceRow)
    };
    let nobody_looks = strategy.looks.is_empty() && strategy.look_after_loss.is_none();
    match quantity {
        Quantity::BladesReplaced => {
            let is_single = |root: &Root| root.replaced_together == 1;
            nobody_looks && study.rows.iter().all(|row| is_single(&study.roots[row.root]))
        }
        Quantity::CracksFound | Quantity::LookCost | Quantity::LookDays => nobody_looks,
        Quantity::OutagesWithCalls => strategy.looks.is_empty(),
        Quantity::ExtraStops | Quantity::StopCost | Quantity::StopDays => strategy.extra_look.is_none(),
        Quantity::FalselyReplaced => techniques().all(|technique| technique.false_call_probability == 0.0),
        Quantity::BladesDressed | Quantity::DressingCost | Quantity::DressingDays => strategy.dressing.is_none(),
        Quantity::UsedBladesFitted => {
            strategy.spares.iter().all(|stock| stock.used_blades.is_none_or(|used| used.blades == 0))
        }
        Quantity::BladesRunOn => !strategy.may_run_on(),
        Quantity::SparesCost => strategy.spares.iter().all(|stock| stock.cost_per_year == 0.0),
        Quantity::WaitDays => strategy.spares.is_empty(),
        Quantity::Escalated => strategy.looks.iter().all(|look| look.escalation.is_none()),
        Quantity::RowsReplaced => !row_is_replaced(),
        Quantity::TimesOut | Quantity::BladesOutCost | Quantity::BladesOutDays => {
            !row_is_replaced()
                && techniques().all(|technique| technique.access == Access::InPlace)
                && strategy.dressing.is_none_or(|dressing| !dressing.blades_out)
        }
        _ => false,
    }
}

pub(super) fn without_error_if_unseen(estimate: Estimate) -> Estimate {
    if estimate.events == 0.0 { Estimate { standard_error: f64::NAN, ..estimate } } else { estimate }
}

pub(super) fn note_of(estimate: &Estimate) -> &'static str {
    match estimate.events {
        0.0 => NONE_SEEN,
        events if events < THIN_EVENTS => FEW_EVENTS,
        _ => "",
    }
}

/// Of a percentile, or of a mean of the worst lives.
pub(super) fn note_of_spread(statistic: Statistic, estimate: &Estimate) -> &'static str {
    let is_thin = estimate.events < FEW_LIVES;
    match statistic {
        Statistic::Percentile if estimate.high.is_nan() => "too few lives beyond: no upper end",
        Statistic::Percentile if is_thin => "fewer than 10 lives beyond",
        Statistic::WorstMean if is_thin => "fewer than 10 lives: no interval",
        Statistic::WorstMean if estimate.high.is_nan() => "what a loss comes to has an infinite variance: no interval",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::estimate::made;

    fn estimate(value: f64, standard_error: f64, events: f64) -> Estimate {
        Estimate { value, standard_error, low: value - 1.0, high: value + 1.0, events }
    }

    #[test]
    fn a_scatter_of_rounding_is_taken_away_and_no_other() {
        let made = made::comparison(made::TRIALS);
        // The deviation is sqrt(8) standard errors.
        for (value, standard_error, is_rounding) in
            [(1.0, 3e-7, true), (1.0, 4e-7, false), (-100.0, 3e-5, true), (-100.0, 4e-5, false), (0.0, 0.0, false)]
        {
            let before = estimate(value, standard_error, 5.0);
            let after = Estimate { standard_error: 0.0, low: value, high: value, ..before };
            assert_eq!(made.without_rounding(before), if is_rounding { after } else { before });
        }
    }

    #[test]
    fn few_events_are_less_than_thirty() {
        let note = |events| note_of(&estimate(0.5, 0.1, events));
        assert_eq!([0.0, 1.0, 29.0, 30.0, 31.0].map(note), [NONE_SEEN, FEW_EVENTS, FEW_EVENTS, "", ""]);
    }
}
