//! What a reader of a comparison has to beware of, in words.

use super::comparison::{Comparison, Ranking};
use super::notes::thousands;
use super::record::Quantity;
use super::tables::THIN_EVENTS;
use crate::statistics::interval;

/// Below this, a ranking's first place is called unsure.
const SURE: f64 = 0.95;
/// Below this, a row's inputs are called hard to reconcile with its being in service.
const LIKELY: f64 = 0.5;

impl Comparison {
    /// What to beware of: thin evidence, unsure rankings, inputs at odds with the fleet's past.
    ///
    /// Empty when there is nothing to say.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings: Vec<String> =
            (0..self.study.strategies.len()).filter_map(|strategy| self.thin_evidence(strategy)).collect();
        warnings.extend((0..self.study.rows.len()).filter_map(|row| self.unlikely_past(row)));
        warnings.extend((0..self.study.rows.len()).flat_map(|row| self.notes(row)));
        let anything_lost =
            (0..self.study.strategies.len()).any(|strategy| self.fleet(strategy, Quantity::AnyLoss).events > 0.0);
        if !anything_lost {
            warnings.push("No strategy had a loss, so that they cannot be ranked by losses.".to_owned());
        }
        // The chance of any loss ranks as the number of losses does; saying both says nothing more.
        let rankings = self.rankings().into_iter().filter(|ranking| match ranking.quantity {
            Quantity::AnyLoss => false,
            Quantity::Losses => anything_lost,
            _ => true,
        });
        warnings.extend(rankings.filter_map(|ranking| self.unsure(&ranking)));
        warnings
    }

    fn thin_evidence(&self, strategy: usize) -> Option<String> {
        let estimate = self.fleet(strategy, Quantity::AnyLoss);
        let id = &self.study.strategies[strategy].id;
        let trials = thousands(self.trials() as f64);
        if estimate.events == 0.0 {
            let bound = interval::exact_proportion(0.0, self.trials() as f64, 0.95).1;
            return Some(format!(
                "{id}: no loss in {trials} trials, so only an upper bound is known (chance of any loss below {bound:.1e}); \
                 costs and days hold no loss. More trials may show one."
            ));
        }
        (estimate.events < THIN_EVENTS).then(|| {
            let relative = 100.0 * estimate.standard_error / estimate.value;
            // relative error squared = (1 - p) / (n p)
            let needed = (1.0 - estimate.value) / (estimate.value * 0.01);
            format!(
                "{id}: only {} of {trials} trials had a loss, so the chance of one is known to {relative:.0} % (one standard \
                 error); about {} trials give 10 %.",
                estimate.events,
                thousands(rounded_up(needed))
            )
        })
    }

    fn unlikely_past(&self, row: usize) -> Option<String> {
        let probability = self.p_came_through(row);
        (probability < LIKELY).then(|| {
            format!(
                "rows.{}: by the study's inputs a row like it reaches {} without a loss with probability {probability:.2} \
                 only; lives that do not were drawn again. Look at its initiation, growth and past looks.",
                self.study.rows[row].id, self.study.start_year
            )
        })
    }

    /// What happened to a row's cracks and was not wholly by the book.
    fn notes(&self, row: usize) -> Vec<String> {
        let id = &self.study.rows[row].id;
        self.tally.notes[row].sentences().into_iter().map(|sentence| format!("rows.{id}: {sentence}")).collect()
    }

    fn unsure(&self, ranking: &Ranking) -> Option<String> {
        let (&[first, second, ..], Some(&last)) = (&ranking.order[..], ranking.order.last()) else { return None };
        let value = |strategy| self.fleet(strategy, ranking.quantity).value;
        // Where all are exactly alike, as costs are in a study without prices, there is no first place to doubt.
        (ranking.confidence < SURE && value(first) != value(last)).then(|| {
            let id = |strategy: usize| &self.study.strategies[strategy].id;
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

/// Rounded up to two figures, as a number of trials is asked for.
fn rounded_up(x: f64) -> f64 {
    let unit = 10.0_f64.powf((x.log10() - 1.0).floor().max(0.0));
    (x / unit).ceil() * unit
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_trials_read_well() {
        assert_eq!(rounded_up(123_456.0), 130_000.0);
        assert_eq!(rounded_up(100.0), 100.0);
        assert_eq!(rounded_up(7.0), 7.0);
    }
}
