//! How each unit gathers starts and hours, and when it stops.

/// A stretch of time with one way of running.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DutyPeriod {
    /// Year in which it begins.
    pub from_year: f64,
    /// Starts per year.
    pub starts_per_year: f64,
    /// Running hours per year.
    pub hours_per_year: f64,
}

/// Outages of a unit.
#[derive(Debug, Clone, PartialEq)]
pub struct OutageCalendar {
    /// Moments of the outages, as years, in order.
    pub years: Vec<f64>,
    /// Days that each outage lasts anyway.
    pub window_days: f64,
}

/// A clock that a mechanism runs on: weights of starts and of hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// Clock units per start.
    pub per_start: f64,
    /// Clock units per running hour.
    pub per_hour: f64,
}

impl Clock {
    /// Runs on starts.
    pub const STARTS: Clock = Clock { per_start: 1.0, per_hour: 0.0 };
    /// Runs on running hours.
    pub const HOURS: Clock = Clock { per_start: 0.0, per_hour: 1.0 };
}

/// Reading of one clock of one unit at every moment: piecewise linear, and its inverse.
#[derive(Debug, Clone)]
pub struct Readings {
    /// (year, reading, units per year) at the beginning of each period.
    pieces: Vec<(f64, f64, f64)>,
}

impl Readings {
    /// Reading zero at the beginning of the first period.
    pub fn new(duty: &[DutyPeriod], clock: Clock) -> Self {
        let mut pieces: Vec<(f64, f64, f64)> = Vec::with_capacity(duty.len());
        for period in duty {
            let rate = clock.per_start * period.starts_per_year + clock.per_hour * period.hours_per_year;
            let reading =
                pieces.last().map_or(0.0, |&(year, reading, rate)| reading + rate * (period.from_year - year));
            pieces.push((period.from_year, reading, rate));
        }
        Readings { pieces }
    }

    /// Reading in a year; before the first period the first rate holds.
    #[inline]
    pub fn at(&self, year: f64) -> f64 {
        let (begin, reading, rate) = self.piece(|piece| piece.0 <= year);
        reading + rate * (year - begin)
    }

    /// Year in which a reading is reached; infinite when the clock stands still before it.
    #[inline]
    pub fn year_of(&self, reading: f64) -> f64 {
        let (begin, at_begin, rate) = self.piece(|piece| piece.1 <= reading);
        let ahead = reading - at_begin;
        if ahead == 0.0 {
            begin
        } else if rate > 0.0 {
            begin + ahead / rate
        } else {
            f64::INFINITY
        }
    }

    /// The last piece that satisfies a condition which holds up to some piece; at least the first.
    #[inline(always)]
    fn piece(&self, reached: impl Fn(&(f64, f64, f64)) -> bool) -> (f64, f64, f64) {
        let mut found = self.pieces[0];
        for piece in &self.pieces[1..] {
            if !reached(piece) {
                break;
            }
            found = *piece;
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_regime_bends_the_clock() {
        let duty = [
            DutyPeriod { from_year: 2000.0, starts_per_year: 10.0, hours_per_year: 8000.0 },
            DutyPeriod { from_year: 2010.0, starts_per_year: 200.0, hours_per_year: 4000.0 },
        ];
        let starts = Readings::new(&duty, Clock::STARTS);
        assert_eq!(starts.at(2005.0), 50.0);
        assert_eq!(starts.at(2011.0), 300.0);
        assert_eq!(starts.year_of(300.0), 2011.0);
        assert_eq!(starts.year_of(50.0), 2005.0);
        let mixed = Readings::new(&duty, Clock { per_start: 1.0, per_hour: 0.01 });
        assert_eq!(mixed.at(2010.0), 900.0);
    }

    #[test]
    fn a_clock_that_stands_still_never_gets_there() {
        let duty = [DutyPeriod { from_year: 0.0, starts_per_year: 0.0, hours_per_year: 100.0 }];
        assert_eq!(Readings::new(&duty, Clock::STARTS).year_of(1.0), f64::INFINITY);
    }
}
