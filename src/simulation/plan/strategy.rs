//! A strategy on the row: its looks by technique, and what they are planned to cost.

use super::super::record::{Quantity, Values};
use super::{RowPlan, TechniquePlan};
use crate::bits::Bits;
use crate::model::Study;
use crate::model::detection::Access;
use crate::model::strategy::{Action, AfterLoss, Disposition, RowEndAction, Strategy, Watch};

/// Looks of one technique by schedule.
#[derive(Debug, PartialEq)]
pub(crate) struct Line {
    pub technique: usize,
    /// Whether it looks, for each outage.
    pub looks_at: Bits,
    pub blade_fraction: f64,
    /// Whether each class is looked at; empty when all are.
    pub classes: Vec<bool>,
    /// Whether every blade and class is looked at.
    pub covers_all: bool,
    /// Which of the strategy's looks it belongs to.
    pub look: usize,
    /// Whether its indications count without a second look.
    pub stands: bool,
}

/// A look at the whole row that an indication leads to.
#[derive(Debug)]
pub(crate) struct SecondLook {
    /// The strategy's looks that lead to it, as bits.
    pub after: u64,
    pub technique: usize,
    /// What it costs at each outage, and its days.
    pub prices: Vec<LookPrice>,
}

/// Cost and days of a look.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LookPrice {
    pub cost: f64,
    pub days: f64,
}

/// A strategy on this row.
#[derive(Debug)]
pub(crate) struct StrategyPlan {
    pub lines: Vec<Line>,
    /// Strategies with the same number have the same lines, and the same end of the row.
    pub schedule: usize,
    pub second_looks: Vec<SecondLook>,
    /// How watched blades are looked at again, where that is stated.
    pub watch: Option<Watch>,
    pub dispositions: Vec<Disposition>,
    /// Whether every indication has its blade replaced, so that sizes need not be measured.
    pub replaces_always: bool,
    /// Whether every indication has its blade replaced there and then, and leads to nothing else but second looks; and
    /// nothing happens to the whole row, whose outages are few enough for a word of bits.
    pub replaces_at_once: bool,
    /// Whether what is found on one blade can change what is done to others or to it later.
    pub couples_blades: bool,
    pub replace_row_from: u32,
    pub after_loss: AfterLoss,
    /// Outage at which the row ends, and how.
    pub row_end: Option<(u32, RowEndAction)>,
    /// Number of outages before the row leaves service.
    runs_until: u32,
    /// Scheduled work of each outage.
    pub planned: Vec<Planned>,
    /// What it comes to over all outages, costs discounted.
    pub planned_values: Values,
    pub prices: Prices,
}

/// Prices and days of acts other than looks.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Prices {
    pub blades_out: f64,
    pub blades_out_days: f64,
    pub blade: f64,
    pub blade_days: f64,
    pub row: f64,
    pub row_days: f64,
    /// Of a day beyond the window.
    pub day: f64,
    pub window_days: f64,
}

/// Work that a schedule plans at one outage.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Planned {
    pub look_cost: f64,
    pub look_days: f64,
    pub blades_out: bool,
    /// Days of all of it, and those of them beyond the window.
    pub days: f64,
    pub days_beyond: f64,
}

impl StrategyPlan {
    /// Whether the row still runs at an outage, and there is one.
    pub fn runs_at(&self, outage: u32) -> bool {
        outage < self.runs_until
    }

    /// Cost and days of looking, for that alone, at watched blades of the row by a technique at an outage.
    pub fn watch_price(&self, about: &TechniquePlan, technique: usize, outage: usize, blades: usize) -> LookPrice {
        let stated = |of: fn(Watch) -> Option<f64>, own: f64| self.watch.and_then(of).unwrap_or(own);
        let of_blades = stated(|watch| watch.cost_per_blade, about.cost_per_blade) * blades as f64;
        if scheduled_fraction(&self.lines, technique, outage).is_some() {
            // The technique is at the row for other blades, or other hot spots.
            return LookPrice { cost: of_blades, days: 0.0 };
        }
        LookPrice {
            cost: stated(|watch| watch.cost_per_row, about.cost_per_row) + of_blades,
            days: stated(|watch| watch.days_per_row, about.days_per_row),
        }
    }

    /// Whether any rule of it uses a technique.
    pub fn uses(&self, technique: usize) -> bool {
        self.lines.iter().any(|line| line.technique == technique)
            || self.second_looks.iter().any(|look| look.technique == technique)
            || self.watch.is_some_and(|watch| watch.technique == technique)
    }

    pub fn new(study: &Study, row: &RowPlan, row_index: usize, strategy: &Strategy, prices: Prices) -> Self {
        let count = row.outages.len() as u32;
        let row_end = strategy.row_end.and_then(|end| {
            let outage = row.outages.iter().position(|&year| year >= end.year)?;
            Some((outage as u32, end.then))
        });
        let retired = match row_end {
            Some((outage, RowEndAction::Retired)) => outage,
            _ => count,
        };
        let spots = &study.roots[study.rows[row_index].root].hot_spots;
        let mut lines = Vec::new();
        let mut planned = vec![Planned::default(); row.outages.len()];
        for (index, look) in strategy.looks.iter().enumerate() {
            if look.coverage.rows.as_ref().is_some_and(|rows| !rows.contains(&row_index)) {
                continue;
            }
            // Nobody looks at a row that is replaced at the same outage.
            let outages: Vec<u32> = (look.first_outage - 1..retired)
                .step_by(look.every_outages as usize)
                .filter(|&outage| row_end.is_none_or(|(end, _)| end != outage))
                .collect();
            let classes = look
                .coverage
                .hot_spots
                .as_ref()
                .map_or_else(Vec::new, |names| spots.iter().map(|spot| names.contains(&spot.id)).collect());
            let fraction = look.coverage.blade_fraction;
            for &technique in &look.techniques {
                lines.push(Line {
                    technique,
                    looks_at: (0..count).map(|outage| outages.contains(&outage)).collect(),
                    blade_fraction: fraction,
                    covers_all: classes.is_empty() && fraction >= 1.0,
                    classes: classes.clone(),
                    look: index,
                    stands: look.escalation.as_ref().is_none_or(|after| after.first_call_stands),
                });
            }
        }
        for (outage, work) in planned.iter_mut().enumerate() {
            for (technique, about) in row.techniques.iter().enumerate() {
                if let Some(fraction) = scheduled_fraction(&lines, technique, outage) {
                    work.look_cost += about.cost(f64::from(row.blades) * fraction);
                    work.look_days += about.days_per_row;
                    work.blades_out |= about.access == Access::BladesOut;
                }
            }
            work.days = work.look_days + if work.blades_out { prices.blades_out_days } else { 0.0 };
            work.days_beyond = (work.days - prices.window_days).max(0.0);
        }
        let discounted = |amount: &dyn Fn(&Planned) -> f64| -> f64 {
            planned.iter().zip(&row.value_at_outage).map(|(work, value)| value * amount(work)).sum()
        };
        let out = |work: &Planned| f64::from(u8::from(work.blades_out));
        let times_out: f64 = planned.iter().map(out).sum();
        let mut planned_values = [0.0; Quantity::ALL.len()];
        for (quantity, amount) in [
            (Quantity::LookCost, discounted(&|work| work.look_cost)),
            (Quantity::BladesOutCost, discounted(&|work| out(work) * prices.blades_out)),
            (Quantity::ExtraDayCost, discounted(&|work| work.days_beyond * prices.day)),
            (Quantity::LookDays, planned.iter().map(|work| work.look_days).sum()),
            (Quantity::BladesOutDays, times_out * prices.blades_out_days),
            (Quantity::TimesOut, times_out),
        ] {
            planned_values[quantity as usize] = amount;
        }
        let mut second_looks: Vec<SecondLook> = Vec::new();
        for (index, look) in strategy.looks.iter().enumerate() {
            for &technique in look.escalation.iter().flat_map(|escalation| &escalation.techniques) {
                match second_looks.iter_mut().find(|second| second.technique == technique) {
                    Some(second) => second.after |= 1 << index,
                    None => {
                        let price = |outage| rest_of_row(row, &lines, technique, outage);
                        let prices = (0..row.outages.len()).map(price).collect();
                        second_looks.push(SecondLook { after: 1 << index, technique, prices });
                    }
                }
            }
        }
        let replaces_always = strategy.dispositions.iter().all(|rule| rule.action == Action::Replace);
        let replaces_at_once = replaces_always
            && lines.iter().all(|line| line.stands)
            && strategy.replace_row_from_blades.is_none()
            && strategy.after_loss == AfterLoss::ReplaceBlade
            && row_end.is_none()
            && row.outages.len() <= Bits::READ;
        let couples_blades = !replaces_always
            || strategy.looks.iter().any(|look| look.escalation.is_some())
            || strategy.replace_row_from_blades.is_some()
            || strategy.after_loss == AfterLoss::ReplaceRow;
        StrategyPlan {
            lines,
            schedule: 0,
            second_looks,
            watch: strategy.watch,
            dispositions: strategy.dispositions.clone(),
            replaces_always,
            replaces_at_once,
            couples_blades,
            replace_row_from: strategy.replace_row_from_blades.unwrap_or(u32::MAX),
            after_loss: strategy.after_loss,
            runs_until: retired,
            row_end,
            planned,
            planned_values,
            prices,
        }
    }
}

/// The fraction of the row's blades that a technique is scheduled to look at, at an outage; none if it does not look.
/// Several looks by one technique are one: each blade is looked at once.
fn scheduled_fraction(lines: &[Line], technique: usize, outage: usize) -> Option<f64> {
    let due = lines.iter().filter(|line| line.technique == technique && line.looks_at.is_set(outage));
    let unseen = due.map(|line| 1.0 - line.blade_fraction).reduce(|all, unseen| all * unseen)?;
    Some(1.0 - unseen)
}

/// Cost and days of a second look: of what the technique does not look at by schedule.
fn rest_of_row(row: &RowPlan, lines: &[Line], technique: usize, outage: usize) -> LookPrice {
    let about = &row.techniques[technique];
    let blades = f64::from(row.blades);
    let is_whole =
        |line: &&Line| line.technique == technique && line.looks_at.is_set(outage) && line.classes.is_empty();
    match scheduled_fraction(lines, technique, outage) {
        None => LookPrice { cost: about.cost(blades), days: about.days_per_row },
        // Blades of which only some hot spots were looked at are looked at once more.
        Some(_) => {
            let unseen: f64 = lines.iter().filter(is_whole).map(|line| 1.0 - line.blade_fraction).product();
            LookPrice { cost: about.cost_per_blade * blades * unseen, days: 0.0 }
        }
    }
}
