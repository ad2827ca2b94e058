//! The clock of a hot spot's initiation where blades are peened anew.
//!
//! A peening with a factor f has the clock of the blades that stand there run f times slower from then on, so that f times
//! the time is left until each crack that has not begun. Several multiply.

use crate::model::usage::Readings;

/// Peenings to come, as the clock of a hot spot has them.
#[derive(Debug, Clone, Default)]
pub(crate) struct PeenedClock {
    /// In order of time.
    peenings: Vec<Peened>,
}

#[derive(Debug, Clone, Copy)]
struct Peened {
    year: f64,
    reading: f64,
    life_factor: f64,
}

impl PeenedClock {
    /// From years and factors, in order of time.
    pub fn new(clock: &Readings, peenings: &[(f64, f64)]) -> Self {
        let peened = |&(year, life_factor): &(f64, f64)| Peened { year, reading: clock.at(year), life_factor };
        PeenedClock { peenings: peenings.iter().map(peened).collect() }
    }

    /// Whether nobody peens.
    #[inline(always)]
    pub fn is_plain(&self) -> bool {
        self.peenings.is_empty()
    }

    /// Number of peenings that a blade which is new in a year does not get: one that is new at an outage is not peened there.
    pub fn before_new(&self, year: f64) -> usize {
        self.peenings.partition_point(|peened| peened.year <= year)
    }

    /// The same of a place of a blade that is dressed at an outage: it is peened there.
    pub fn before_dressed(&self, year: f64) -> usize {
        self.peenings.partition_point(|peened| peened.year < year)
    }

    /// How much of the time to a crack is used up at a reading by what was new at another one, and gets no peening before one
    /// by number.
    pub fn used(&self, new_at: f64, first: usize, reading: f64) -> f64 {
        let (mut from, mut used, mut factor) = (new_at, 0.0, 1.0);
        for peened in self.peenings[first..].iter().take_while(|peened| peened.reading < reading) {
            used += (peened.reading - from) / factor;
            (from, factor) = (peened.reading, factor * peened.life_factor);
        }
        used + (reading - from) / factor
    }

    /// The reading at which so much is used up.
    pub fn reading_when_used(&self, new_at: f64, first: usize, used: f64) -> f64 {
        let (mut from, mut left, mut factor) = (new_at, used, 1.0);
        for peened in &self.peenings[first..] {
            let until = (peened.reading - from) / factor;
            if left <= until {
                break;
            }
            left -= until;
            (from, factor) = (peened.reading, factor * peened.life_factor);
        }
        from + left * factor
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::usage::{Clock, DutyPeriod};

    fn clock() -> Readings {
        let duty = [DutyPeriod { from_year: 2000.0, starts_per_year: 10.0, hours_per_year: 0.0 }];
        Readings::new(&duty, Clock::STARTS)
    }

    #[test] // by hand
    fn a_peening_stretches_what_is_left_and_several_multiply() {
        let peened = PeenedClock::new(&clock(), &[(2010.0, 2.0), (2020.0, 5.0)]);
        // New in 2004: 60 starts until the first peening, 100 at half the pace until the second, then a tenth.
        let used = |reading: f64| peened.used(40.0, 0, reading);
        assert_eq!([100.0, 150.0, 200.0, 250.0].map(used), [60.0, 85.0, 110.0, 115.0]);
        let reading = |used: f64| peened.reading_when_used(40.0, 0, used);
        assert_eq!([60.0, 85.0, 110.0, 115.0].map(reading), [100.0, 150.0, 200.0, 250.0]);
        // New after the first peening, and after both.
        assert_eq!([(150.0, 1), (210.0, 2)].map(|(new, first)| peened.used(new, first, 300.0)), [70.0, 90.0]);
        assert_eq!([2009.9, 2010.0, 2015.0, 2020.0].map(|year| peened.before_new(year)), [0, 1, 1, 2]);
        assert_eq!([2009.9, 2010.0, 2015.0, 2020.0].map(|year| peened.before_dressed(year)), [0, 0, 1, 1]);
    }

    #[test]
    fn where_nobody_peens_readings_are_differences() {
        let plain = PeenedClock::default();
        for (new_at, reading) in [(0.1, 0.3), (1e-3, 7.7), (123.456, 789.012)] {
            assert_eq!(plain.used(new_at, 0, reading).to_bits(), (reading - new_at).to_bits());
            assert_eq!(plain.reading_when_used(new_at, 0, reading).to_bits(), (reading + new_at).to_bits());
        }
    }
}
