//! How a unit runs and when it stops, and how a row is peened, where a strategy changes that.

use super::Study;
use super::fleet::Unit;
use super::strategy::{Deferral, StartsLimit, Strategy};
use super::surface_treatment::Peening;
use super::usage::DutyPeriod;
use std::borrow::Cow;

impl Study {
    /// A unit as it runs and stops under a strategy: with outages put off, and with fewer starts.
    pub fn unit_under(&self, unit: usize, strategy: &Strategy) -> Cow<'_, Unit> {
        let mut own = Cow::Borrowed(&self.units[unit]);
        for deferral in strategy.deferrals.iter().filter(|deferral| deferral.is_of(unit)) {
            own.to_mut().outages.years[deferral.outage as usize - 1] += deferral.by_years;
        }
        if let Some(limit) = strategy.starts_limit.as_ref().filter(|limit| limit.is_of(unit)) {
            own.to_mut().duty = limit.limited(&self.units[unit].duty);
        }
        own
    }

    /// Peenings of a row under a strategy that change anything, in order of time: each the year of its outage and its
    /// factor on the time that is left.
    pub(crate) fn peenings_under(&self, row: usize, strategy: &Strategy) -> Vec<(f64, f64)> {
        let unit = self.unit_under(self.rows[row].unit, strategy);
        let years = &unit.outages.years;
        let own = strategy.peening.iter().filter(|peening| peening.is_of(row) && peening.life_factor != 1.0);
        let of_outages = |peening: &Peening| {
            let factor = peening.life_factor;
            peening.when.outages(years).into_iter().map(move |outage| (years[outage], factor)).collect::<Vec<_>>()
        };
        let mut peenings: Vec<(f64, f64)> = own.flat_map(of_outages).collect();
        peenings.sort_by(|one, other| one.0.total_cmp(&other.0));
        peenings
    }
}

impl Deferral {
    /// Whether it is meant for a unit.
    pub fn is_of(&self, unit: usize) -> bool {
        self.units.as_ref().is_none_or(|units| units.contains(&unit))
    }
}

impl StartsLimit {
    /// Whether it is meant for a unit.
    pub fn is_of(&self, unit: usize) -> bool {
        self.units.as_ref().is_none_or(|units| units.contains(&unit))
    }

    /// Periods of duty under the limit.
    fn limited(&self, duty: &[DutyPeriod]) -> Vec<DutyPeriod> {
        let mut periods: Vec<DutyPeriod> = duty.to_vec();
        let running = duty.iter().rposition(|period| period.from_year <= self.from_year);
        if let Some(running) = running.filter(|&running| duty[running].from_year < self.from_year) {
            periods.insert(running + 1, DutyPeriod { from_year: self.from_year, ..duty[running] });
        }
        for period in periods.iter_mut().filter(|period| period.from_year >= self.from_year) {
            period.starts_per_year = period.starts_per_year.min(self.starts_per_year);
        }
        periods
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by hand
    fn a_limit_cuts_starts_from_its_year_on_and_no_hours() {
        let period =
            |from_year: f64, starts_per_year: f64| DutyPeriod { from_year, starts_per_year, hours_per_year: 3e3 };
        let duty = [period(2000.0, 100.0), period(2030.0, 20.0), period(2035.0, 200.0)];
        let limit = |from_year: f64| StartsLimit { starts_per_year: 50.0, from_year, units: None, cost_per_year: 0.0 };
        assert_eq!(
            limit(2026.0).limited(&duty),
            [period(2000.0, 100.0), period(2026.0, 50.0), period(2030.0, 20.0), period(2035.0, 50.0)]
        );
        assert_eq!(limit(2030.0).limited(&duty), [period(2000.0, 100.0), period(2030.0, 20.0), period(2035.0, 50.0)]);
    }
}
